"""Which buckets of a pour are kept on a drawn night, followed by hand."""

from __future__ import annotations

from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.floor.pour import BINDINGS
from cureplan.planning.odds import buckets
from cureplan.planning.odds.nights import Visit

S = 1_374_019_200.0
WET, WORKED, CLOSED = (
    BINDINGS.index(c) for c in ("wet_edge", "working_time", "broadcast_closes")
)
N = 4


def visit(late_s=0.0, slow=0.0):
    return Visit(begins_s=S, late_s=np.array([0.0, late_s]), slow_frac=np.array([0.0, slow]))


class Table:
    """Margins of two nights, the same for all buckets of a clock but where told otherwise."""

    def __init__(self, wet=1e4, worked=1e4, closed=1e4):
        self.margins_s = np.empty((len(BINDINGS), 2, N))
        for clock, margin in ((WET, wet), (WORKED, worked), (CLOSED, closed)):
            self.margins_s[clock] = margin
        self.asked = None

    def at(self, kit_ln, **more):
        self.asked = {"kit_ln": kit_ln, **more}
        return self.margins_s.copy()


def poured(seam=None, *, ends_s=600.0, margin_s=60.0):
    """Four buckets, a thousand seconds between; each clock ends 600 s after its own pour."""
    ends = S + 1000.0 * np.arange(N) + ends_s
    clocks = Made(
        ends_s=np.repeat(ends[None, None, :], len(BINDINGS), axis=0),
        margins_s=np.full((len(BINDINGS), 1, N), margin_s),
    )
    own = Made(layer=Made(stage="pour"))
    return Made(room="Bar", start_s=S, option=None, own=own, clocks=clocks, seam=seam)


def kept(
    monkeypatch, table, *, come=None, stops=(0, 0, 0, 0), met=(1, 2, 3, -1), seam=None,
    next_visit=None, next_stops=(0, 0), bay=(0, 0, 0, 0), cut_at="line", known=-1.0, **more,
):  # fmt: skip
    """Of the second night: buckets kept, whether it is cut, lost by a stop, begun kept."""
    monkeypatch.setattr(buckets, "met_by", lambda _: np.array(met))
    errors_k = {"slab": 0.5, "air": 0.25}
    nights = Made(
        members=2, known_s=S + known, energy={"slurry": "energy"}, iced_k="iced",
        kit_ln={("Bar", "pour"): "kits"}, slab_k={"Bar": "slab"}, air_k={"Bar": "air"},
        stop_s={
            "Bar": np.array([[0.0] * N, stops], float),
            "Hall": np.array([[0.0] * 2, next_stops]),
        },
        error_k=lambda which, at_s: np.full(at_s.shape, errors_k[which]),
        patches_k=lambda _, patches: np.array([[0.0] * patches, [2.0] * patches]),
    )  # fmt: skip
    here = Made(
        last_s=S + more.pop("weather_s", 1e6),
        # A kelvin in a thousand seconds, and two for the air.
        slab_under=lambda at_s, _bay, _row: 20.0 + (at_s - S) / 1000.0,
        air_at=lambda at_s: 20.0 + (at_s - S) / 500.0,
    )
    layout = Made(bay=np.array(bay), row=np.zeros(N))
    pours = Made(
        conditions=here, job=Made(policy=Made(cut_at=cut_at)),
        plan=lambda _: Made(times=Made(pour_s=1000.0 * np.arange(N)), layout=layout),
    )  # fmt: skip
    got = buckets.kept_buckets(
        pours, poured(seam, **more), nights, come or visit(), table, next_visit=next_visit
    )
    assert got.kept[0].all()
    assert not got.cut[0]
    assert not got.stop_lost[0]
    return got.kept[1].tolist(), bool(got.cut[1]), bool(got.stop_lost[1]), got.begun_kept[1]


ALL = [True] * N


def test_a_late_crew_finds_slab_and_air_of_its_hour(monkeypatch):
    table = Table()
    assert kept(monkeypatch, table, come=visit(500.0))[0] == ALL
    asked = table.asked
    assert (asked["kit_ln"], asked["energy"], asked["iced_k"]) == ("kits", "energy", "iced")
    # In time: the errors alone. Late by 500 s: half a kelvin of slab and one of air more, and
    # two kelvin of a warmer patch.
    assert asked["slab_k"] == pytest.approx(np.array([[0.5] * N, [3.0] * N]))
    assert asked["air_k"] == pytest.approx(np.array([[0.25] * N, [1.25] * N]))


def test_a_stop_makes_all_after_it_later_and_nothing_is_known_beyond_the_weather(monkeypatch):
    table = Table()
    kept(monkeypatch, table, come=visit(0.0), stops=(0, 500, 0, 100), weather_s=3100.0)
    slab_k = 2.5 + np.array([0.0, 0.5, 0.5, 0.1])
    assert table.asked["slab_k"][1] == pytest.approx(slab_k)
    assert table.asked["air_k"][1] == pytest.approx(0.25 + np.array([0.0, 1.0, 1.0, 0.2]))


@pytest.mark.parametrize("clock", ["wet", "worked", "closed"])
@pytest.mark.parametrize(("margin_s", "holds"), [(0.0, True), (-0.01, False)])
def test_a_clock_that_ends_as_its_work_does_is_kept(monkeypatch, clock, margin_s, holds):
    margins_s = np.full((2, N), 100.0)
    margins_s[1, 2] = margin_s
    found = kept(monkeypatch, Table(**{clock: margins_s}), known=2000.0)
    assert found == ([True, True, holds, True], False, False, holds)
    # Poured just before or just after it was asked.
    assert kept(monkeypatch, Table(**{clock: margins_s}), known=1999.0)[3]


def test_a_slow_crew_falls_behind_between_a_pour_and_what_is_due(monkeypatch):
    # Due at 600 - 60 s after each pour: a tenth slower is 54 s.
    for margin_s, holds in ((54.0, True), (53.9, False)):
        come = visit(0.0, slow=0.1)
        for clock in ("wet", "worked", "closed"):
            table = Table(**{clock: margin_s})
            table.margins_s[:, 0] = 1e4
            assert kept(monkeypatch, table, come=come)[0] == [holds] * N
    # Where nothing is due nobody falls behind.
    table = Table(wet=1.0)
    assert kept(monkeypatch, table, come=visit(0.0, slow=0.1), margin_s=np.inf)[0] == ALL


@pytest.mark.parametrize(
    ("clock", "margin_s", "holds"),
    [
        # Of a stop of 300 s before the third bucket the second's edge waits for the third.
        ("wet", 300.0, ALL), ("wet", 299.0, [True, False, True, True]),
        ("closed", 300.0, ALL), ("closed", 299.0, [True, False, True, True]),
        # What is spread already is worked on meanwhile.
        ("worked", 0.0, ALL),
    ],
)  # fmt: skip
def test_an_edge_waits_for_the_bucket_that_meets_it(monkeypatch, clock, margin_s, holds):
    table = Table(**{clock: margin_s})
    found = kept(monkeypatch, table, stops=(0, 0, 300, 0))
    assert found[:3] == (holds, False, holds != ALL)
    # Cut where any row ends it is a cost and no loss.
    found = kept(monkeypatch, table, stops=(0, 0, 300, 0), cut_at="row")
    assert found[:3] == (ALL, holds != ALL, False)
    # Nobody meets the last.
    assert kept(monkeypatch, Table(wet=10.0), stops=(500, 0, 0, 0), met=(-1,) * N)[0] == ALL


def test_what_is_lost_all_the_same_is_not_lost_by_a_stop(monkeypatch):
    margins_s = np.full((2, N), 1e4)
    margins_s[1, 1] = -1.0
    found = kept(monkeypatch, Table(wet=margins_s), stops=(0, 0, 300, 0))
    assert found[:3] == ([True, False, True, True], False, False)
    found = kept(monkeypatch, Table(wet=margins_s), stops=(0, 0, 300, 0), cut_at="row")
    assert found[:3] == ([True, False, True, True], False, False)


def seam(patches=(3,), *, wet=True, closed_by=1):
    return Made(wet=wet, patches=np.array(patches), next_room="Hall", closed_by=closed_by)


@pytest.mark.parametrize(
    ("late_s", "margin_s", "cut"), [(200.0, 200.0, False), (201.0, 200.0, True)]
)
def test_an_edge_to_the_next_room_waits_for_who_comes_late_there(
    monkeypatch, late_s, margin_s, cut
):
    # Ends at the seam, as at a stop line: a cost.
    margins_s = np.full((2, N), 1e4)
    margins_s[1, 3] = margin_s
    for clock in ("wet", "closed"):
        table = Table(**{clock: margins_s})
        found = kept(
            monkeypatch, table, seam=seam(), next_visit=visit(late_s), met=(1, 2, 3, -1)
        )
        assert found[0] == [True, True, True, not cut]
        # As late already when it was poured: nobody falls behind.
        found = kept(
            monkeypatch, table, seam=seam(), come=visit(late_s), next_visit=visit(late_s)
        )
        assert found[0] == ALL
        # Sooner there than here gains nothing.
        found = kept(monkeypatch, table, seam=seam(), come=visit(500.0), next_visit=visit(0.0))
        assert found[0] == ALL
        # A seam that is not met wet waits for nobody.
        found = kept(monkeypatch, table, seam=seam(wet=False), next_visit=visit(late_s))
        assert found[0] == ALL
        # What is worked on is not waited with.
        table = Table(worked=margins_s)
        assert kept(monkeypatch, table, seam=seam(), next_visit=visit(late_s))[0] == ALL


@pytest.mark.parametrize(("margin_s", "kept_"), [(100.0, True), (99.0, False)])
def test_who_stopped_before_is_waited_for_so_much_less(monkeypatch, margin_s, kept_):
    # 200 s late to the next room, 100 of which the mixing stood still here as well.
    margins_s = np.full((2, N), 1e4)
    margins_s[1, 3] = margin_s
    found = kept(
        monkeypatch, Table(wet=margins_s), stops=(100, 0, 0, 0), seam=seam(),
        next_visit=visit(200.0),
    )  # fmt: skip
    assert found[0] == [True, True, True, kept_]


@pytest.mark.parametrize(
    ("stops", "next_stops", "closed_by", "margin_s", "cut"),
    [
        # The third and fourth buckets lie at the seam; stops after theirs, and up to the
        # bucket that closes it, are waited for.
        ((0, 0, 0, 300), (0, 0), 1, 300.0, False), ((0, 0, 0, 300), (0, 0), 1, 299.0, True),
        ((0, 0, 300, 0), (0, 0), 1, 0.0, False), ((0, 0, 0, 0), (100, 200), 1, 300.0, False),
        ((0, 0, 0, 0), (100, 200), 1, 299.0, True), ((0, 0, 0, 0), (100, 200), 0, 100.0, False),
        ((0, 0, 0, 0), (100, 200), 0, 99.0, True), ((0, 0, 0, 100), (100, 0), 0, 199.0, True),
        ((0, 0, 0, 100), (100, 0), 0, 200.0, False),
    ],
)  # fmt: skip
def test_a_floor_may_end_at_its_seam_when_the_mixing_stops(
    monkeypatch, stops, next_stops, closed_by, margin_s, cut
):
    margins_s = np.full((2, N), 1e4)
    margins_s[1, 2:] = margin_s
    for clock in ("wet", "closed"):
        found = kept(
            monkeypatch, Table(**{clock: margins_s}), stops=stops, next_stops=next_stops,
            seam=seam((2, 3), closed_by=closed_by), met=(1, 2, -1, -1),
        )  # fmt: skip
        assert found[:3] == (ALL, cut, False)


def test_a_pour_ends_between_two_bays_where_the_mixing_stops_for_long(monkeypatch):
    # The edges that are left to the second night are 200 s less what it drags.
    margins_s = np.full((2, N), 1e4)
    margins_s[1, 0] = 200.0
    met = (-1,) * N
    for stop_s, cut in ((200, False), (201, True)):
        stops = (0, 0, stop_s, 0)
        found = kept(monkeypatch, Table(wet=margins_s), stops=stops, bay=(0, 0, 1, 1), met=met)
        assert found == (ALL, cut, False, True)
    found = kept(
        monkeypatch, Table(wet=margins_s), stops=(0, 0, 150, 0), bay=(0, 0, 1, 1), met=met,
        come=visit(0.0, slow=0.1),
    )  # fmt: skip
    assert found[1]
