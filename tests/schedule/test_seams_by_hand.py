"""Floors placed in time and met by the next of their group, worked out by hand."""

from __future__ import annotations

from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.schedule import placing
from cureplan.planning.schedule.placing import PlacedPour

POLICY = Made(policy=Made(margin_s=180.0))


def times(**more):
    """Of three buckets."""
    given = {
        "raked_s": [30.0, 50.0, 90.0], "smoothed_s": [40.0, 60.0, 100.0],
        "tied_in_s": [5.0, np.nan, np.nan], "broadcast_s": [80.0, 120.0, 110.0], **more,
    }  # fmt: skip
    nothing = dict.fromkeys(
        ("bay", "row", "station", "liquids_in_s", "filler_in_s", "pour_s"), np.zeros(3)
    )
    return placing.PourTimes(**{**nothing, **{k: np.array(v) for k, v in given.items()}})


def clocks(spare_s=180.0, least_s=0.0):
    """Edges of the last two buckets; the working time is never the one that ends."""
    margins_s = np.full((3, 1, 3), 900.0)
    margins_s[[0, 2], 0, 1:] = [[spare_s + 20.0, spare_s], [spare_s + 5.0, spare_s + 9.0]]
    margins_s[1] = -900.0
    return Made(margins_s=margins_s, least_s=np.array([least_s]))


def placed(room, start_s, margin_s=180.0, **more):
    given = {
        "option": "as is", "delayed": False, "end_s": 0.0, "margin_s": margin_s,
        "sure_margin_s": 0.0, "planning_margin_s": margin_s, "clocks": clocks(), "reached": {},
        "works": (), "times": times(), **more,
    }  # fmt: skip
    return PlacedPour(room=room, start_s=start_s, **given)


# Which floors meet


@pytest.mark.parametrize(
    ("groups", "met"),
    [
        ({"A": "g", "B": "g", "C": None, "D": None, "E": "h"}, ["A<", ">B", "C", "D", "E"]),
        ({"A": "g", "B": "g", "C": "g"}, ["A<", ">B<", ">C"]),
        ({"A": "g", "B": None, "C": "g"}, ["A", "B", "C"]), ({"A": "g"}, ["A"]), ({}, []),
    ],
)  # fmt: skip
def test_floors_of_a_group_are_met_by_the_next_poured(monkeypatch, groups, met):
    def met_by_next(one, other, before, after, confidence):
        assert (one.name, other.name) == (before.room.strip("<>"), after.room)
        assert confidence == 0.8
        return (
            Made(room=f"{before.room}<", start_s=before.start_s),
            Made(room=f">{after.room}", start_s=after.start_s),
        )

    class Pours(dict):
        def __missing__(self, name):
            return self[name.strip("<>")]

    monkeypatch.setattr(placing, "_met", met_by_next)
    pours = Pours({n: Made(name=n, room=Made(group=group)) for n, group in groups.items()})
    several = [Made(room=name, start_s=float(n)) for n, name in enumerate(groups)]
    got = placing.with_seams(pours, several[::-1], confidence=0.8)
    assert [pour.room for pour in got] == met


@pytest.mark.parametrize(
    ("spare_s", "margins_s", "thrown_s", "poured", "wet"),
    [
        # Margins: of the floor before, met by the next, and of the next; 180 s are asked.
        (180.0, (180, 180, 180), 120.0, None, True),
        (179.9, (180, 180, 180), 120.0, None, False),
        (180.0, (500, 179.9, 180), 120.0, None, False),
        (180.0, (180, 180, 179.9), 120.0, None, False),
        # What lacks some already may lack as much.
        (180.0, (170, 170, 180), 120.0, None, True),
        (180.0, (170, 169.9, 180), 120.0, None, False),
        # The strips may keep the broadcasters half a second longer than the floor does.
        (180.0, (180, 180, 180), 120.5, None, True),
        (180.0, (180, 180, 180), 120.6, None, False),
        (180.0, (500, 179.9, 180), 120.6, None, False),
        # Once it is being poured, no line is drawn where it is met in time.
        (0.0, (180, 0, 180), 120.6, "begun", True),
        (-0.1, (180, 180, 180), 120.0, "begun", False),
    ],
)  # fmt: skip
def test_a_seam_is_met_wet_where_its_buckets_keep_their_margin(
    monkeypatch, spare_s, margins_s, thrown_s, poured, wet
):
    before = placed("A", 1000.0, float(margins_s[0]))
    after = placed("B", 3000.0)
    timed = {}

    def run(_pours, one, its_times, _confidence):
        timed[one.room] = its_times
        return placed(
            one.room, one.start_s, float(margins_s[1 if one.room == "A" else 2]),
            clocks=clocks(spare_s), times=its_times,
        )  # fmt: skip

    # The last row of the one are its buckets 1 and 2, the first of the other 0 and 1.
    rows = {"A": ([0], [1, 2]), "B": ([0, 1], [2])}
    monkeypatch.setattr(
        placing, "ends_of", lambda layout, _: tuple(np.array(row) for row in rows[layout])
    )
    monkeypatch.setattr(
        placing, "_with_strips",
        lambda *_: (np.array([60.0, 70.0]), np.array([80.0, thrown_s, 110.0])),
    )  # fmt: skip
    monkeypatch.setattr(placing, "_timed", run)
    one, other = (
        Made(plan=lambda _, name=name: Made(layout=name), room=None, job=POLICY,
             settled=Made(poured=poured))
        for name in "AB"
    )  # fmt: skip
    got, goes_on = placing._met(one, other, before, after, None)
    # The next begins 2,000 s later and rakes its bucket 1, the last of its row, at 50 s.
    assert timed["A"].tied_in_s.tolist() == [5.0, 2050.0, 2050.0]
    assert timed["A"].broadcast_s.tolist() == [80.0, 2060.0, 2070.0]
    assert timed["B"].broadcast_s.tolist() == [80.0, thrown_s, 110.0]
    assert (got.seam.next_room, got.seam.closed_by, got.seam.spare_s) == ("B", 1, spare_s)
    assert (got.seam.wet, got.seam.busy) == (wet, thrown_s > 120.5)
    assert (got.times is timed["A"], goes_on.times is timed["B"]) == (wet, wet)


@pytest.mark.parametrize(
    ("shared", "poured", "turns"), [(True, None, True), (False, None, False),
                                    (True, "begun", False)],
)  # fmt: skip
def test_strips_along_a_seam_wait_for_the_bucket_that_meets_them(
    monkeypatch, shared, poured, turns
):
    asked = []

    def ends_s(smoothed_s, met, **more):
        asked.append((smoothed_s.tolist(), met.tolist(), more))
        if met.size == 5:
            return np.array([60.0, 70.0, 90.0, 130.0, 110.0])
        return np.array([80.0, 131.0, 110.0])

    plan = Made(
        layout=Made(kits=3), times=Made(liquids_in_s=np.array([1.0, 2.0, 3.0])),
        cadence=Made(
            strip_s=7.0, broadcast_s=20.0, shared=Made(broadcast_at_s=11.0) if shared else None
        ),
    )  # fmt: skip
    one = Made(plan=lambda _: Made(cadence=Made(strip_s=4.0)))
    other = Made(plan=lambda _: plan, settled=Made(poured=poured))
    monkeypatch.setattr(placing, "broadcast_ends_s", ends_s)
    monkeypatch.setattr(placing, "met_by", lambda _: np.array([1, 2, -1]))
    strips_s, thrown_s = placing._with_strips(
        one, other, placed("A", 0.0), placed("B", 9.0), np.array([1, 2]), 1
    )
    assert strips_s.tolist() == [60.0, 70.0]
    # The first patch is done ten seconds later than without strips, none sooner.
    assert thrown_s.tolist() == [90.0, 120.0, 110.0]
    with_them, without = asked
    # Both strips, there long ago, wait for bucket 1, which is now the fourth of five.
    assert with_them[:2] == ([-1e6, -1e6, 40.0, 60.0, 100.0], [3, 3, 3, 4, -1])
    assert without[:2] == ([40.0, 60.0, 100.0], [1, 2, -1])
    assert with_them[2]["strip_s"].tolist() == [4.0, 4.0, 7.0, 7.0, 7.0]
    assert with_them[2]["broadcast_s"].tolist() == [4.0, 4.0, 20.0, 20.0, 20.0]
    got = with_them[2]["turns_s"]
    assert (got is not None) == turns
    assert got is None or got.tolist() == [-1e6, -1e6, 12.0, 13.0, 14.0]


# Placed in time


@pytest.mark.parametrize(("least_s", "planning_s"), [(400.0, 280.0), (200.0, 200.0)])
@pytest.mark.parametrize(("thrown_s", "end_s"), [(1100.0, 1120.0), (1150.0, 1150.0)])
def test_a_pour_is_planned_on_by_what_is_sure_and_the_margin_asked(
    monkeypatch, least_s, planning_s, thrown_s, end_s
):
    # Surely 100 s are left: 180 more are what it is planned on, if no less is expected.
    landed = []

    def reached(one, **_):
        landed.append(one)
        return {}

    monkeypatch.setattr(placing, "landed_reached", reached)
    run = Made(
        least_s=np.array([least_s]), pour_age_s=[1], film_age_s=[2],
        broadcast_by_s=np.array([[900.0, thrown_s]]),
    )  # fmt: skip
    works = (Made(layer=None), Made(layer=Made(kind="slurry"), lead_s=300.0))
    pours = Made(
        plan=lambda _: Made(times=times(pour_s=[20.0, 30.0, 40.0])), works=lambda _: works,
        run=lambda *_, **__: run, pour_task=1, long_factors=lambda *_, **__: (1, 1),
        sure_margin_s=lambda *_, **__: 100.0, job=POLICY, room=Made(name="A"),
        clocks=Made(age_s=None), slurry_curve=None,
    )  # fmt: skip
    # 120 s after it begins its last grain falls, or when the hands are free for it.
    got = placing.place_pour(pours, "as is", 1000.0)
    assert (got.end_s, got.margin_s, got.planning_margin_s) == (end_s, least_s, planning_s)
    assert landed[0].pour_s.tolist() == [1020.0, 1030.0, 1040.0]
    assert PlacedPour.begins_s.fget(Made(start_s=1000.0, own=works[1])) == 700.0
    again = placing._timed(pours, placed("A", 1000.0), got.times, None)
    assert (again.margin_s, again.planning_margin_s) == (least_s, planning_s)


def test_a_layer_is_laid_after_what_leads_up_to_it(monkeypatch):
    asked = []

    def reached(laid_s, **_):
        asked.append(laid_s.tolist())
        return {}

    monkeypatch.setattr(placing, "film_reached", reached)
    works = [
        Made(lead_s=lead_s, duration_s=600.0, offset_s=np.array([0.0, 60.0]), layer=None)
        for lead_s in (300.0, 0.0, 900.0)
    ]
    pours = Made(
        works=lambda _: works, pour_task=1, material=lambda _: (Made(age_s=None), None),
        long_factors=lambda *_, **__: (1, 1), room=Made(name="A", open_needs=()),
    )  # fmt: skip
    # What lies under a pour is the task right before it.
    got = placing.place_under(pours, "as is", 1000.0)
    assert (got.begins_s, got.start_s, got.end_s) == (1000.0, 1300.0, 1900.0)
    assert asked == [[1300.0, 1360.0]]
