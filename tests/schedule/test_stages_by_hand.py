"""The states of pours and coats in the tables of a search, each worked out by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.floor.pour import PourOption
from cureplan.planning.schedule import tables
from cureplan.planning.schedule.placing import PlacedCoat, Span
from cureplan.planning.schedule.problem import stage_of
from cureplan.planning.schedule.slots import Slots
from cureplan.planning.schedule.tables import PourTables, Sureness, layer_stage

NIGHT_S = datetime(2026, 7, 17, 20, tzinfo=UTC).timestamp()
SLOTS = Slots(origin_s=NIGHT_S)
PLAIN = PourOption(chilled=False, cool_filler=False, bays=1)
HOUR_S = 3600.0


def minutes_after(start_s, minutes):
    return start_s + 60.0 * minutes


class Limits:
    """Limits that keep everything from a start on, and remember what they were asked."""

    def __init__(self, kept=True):
        self.kept_, self.asked = kept, []

    def kept(self, start_s, lasts_s, until_s):
        self.asked.append((np.array(start_s), lasts_s, np.array(until_s)))
        return np.full(np.shape(start_s), self.kept_)


def coat_stage(
    monkeypatch, *, task, begins=(10, 11), shift_min=1440.0, due_min=1e6, late_s=120.0
):
    """A coat of 20 min with 5 min of getting ready; the next one takes 10 to get ready."""
    layer = Made(crew="topcoat")
    works = [
        Made(crew=1, layer=layer, lead_s=300.0, duration_s=1200.0),
        Made(crew=1, layer=layer, lead_s=600.0, duration_s=1200.0),
    ]
    if task == 1:
        works.reverse()
    begin = np.array(begins)
    span = np.zeros(begin.size, dtype=np.int64)
    limits = Limits()
    pours = Made(
        tasks=(1, 2), job=Made(crew=Made(changeover_s=900.0)), begins_from_s=lambda _: -np.inf
    )
    monkeypatch.setattr(tables, "_distinct_works", lambda *_: [works])
    monkeypatch.setattr(tables, "_possible_begins", lambda *_, **__: (begin, span))
    monkeypatch.setattr(
        tables, "_windows_after",
        lambda _pours, _task, _variants, at_s, _sure: tuple(
            minutes_after(at_s, minutes) for minutes in (60, 120, 300)
        ),
    )  # fmt: skip
    sure = Sureness(windows=0.9, margins=0.9, late_s=late_s)
    monkeypatch.setattr(Sureness, "limits_of", lambda *_: limits)
    shift = Span(begins_s=NIGHT_S, ends_s=minutes_after(NIGHT_S, shift_min))
    stage = layer_stage(
        pours, task, [shift], SLOTS, options=[], sure=sure,
        due_s=minutes_after(NIGHT_S, due_min),
    )  # fmt: skip
    return stage, limits


def test_a_coats_states_stand_at_whole_minutes_after_it(monkeypatch):
    stage, limits = coat_stage(monkeypatch, task=0)
    # Begun after 10 min it is laid from 15 to 35, borne by feet at 75 and 5 s, coated again
    # from 135 min and 5 s on, less the 10 min the next takes to get ready, and up to 315 min
    # less those, 5 s and 2 min that the crew may be late.
    assert [stage.begins[0], stage.ends[0], stage.frees[0]] == [10, 35, 50]
    assert [stage.shuts[0], stage.walks[0]] == [15, 76]
    assert [stage.opens[0], stage.closes[0]] == [126, 302]
    assert stage.begins.tolist() == [10, 11]
    # First while it is laid, then until it bears feet.
    starts_s = minutes_after(NIGHT_S, np.array([15, 16]))
    assert [(a[0].tolist(), a[1], a[2].tolist()) for a in limits.asked] == [
        (starts_s.tolist(), 1200.0, starts_s.tolist()),
        (starts_s.tolist(), 1200.0, minutes_after(starts_s, 60).tolist()),
    ]


def test_after_the_last_coat_nobody_gets_ready_and_it_is_done_in_time(monkeypatch):
    stage, _ = coat_stage(monkeypatch, task=1)
    assert [stage.opens[0], stage.closes[0]] == [136, 312]
    # 15 min + 120 min + 5 s + 2 min late: 137 min and 5 s.
    for due_s, kept in ((137 * 60 + 5, 1), (137 * 60 + 4, 0), (138 * 60 + 5, 2)):
        assert coat_stage(monkeypatch, task=1, due_min=due_s / 60)[0].size == kept
    # A coat with another to come is due by no hour of its own.
    assert coat_stage(monkeypatch, task=0, due_min=0)[0].size == 2


@pytest.mark.parametrize(("shift_min", "kept"), [(37, 1), (36.9, 0), (38, 2)])
def test_a_coat_ends_in_its_shift_however_late_its_crew(monkeypatch, shift_min, kept):
    # Done at 35 and 36 min, and 2 min late.
    assert coat_stage(monkeypatch, task=0, shift_min=shift_min)[0].size == kept


class Table:
    """A table of one pour: 30 min long, walked on after 5 h, coated from 8 h to 20 h."""

    def __init__(self, *, margin_s=150.0, spare_k=0.0, opens_min=480.0, closes_min=1200.0):
        self.values = margin_s, spare_k, opens_min, closes_min

    def __call__(self, _option, at_s, **_sure):
        margin_s, spare_k, opens_min, closes_min = self.values
        like = np.ones(at_s.size)
        return Made(
            opens_s=minutes_after(at_s, opens_min), closes_s=minutes_after(at_s, closes_min),
            lasts_s=1800.0 * like, walkable_s=minutes_after(at_s, 300),
            margin_s=margin_s * like,
            mixed_spare_k=spare_k * like,
        )  # fmt: skip


def pour_stage(table, *, begins=(10, 11), shift_min=(600.0,), known_min=600.0, late_s=0.0):
    """A pour that takes 5 min to get ready; the coat after it 10."""
    limits = Limits()
    here = Made(
        pours=Made(
            job=Made(
                policy=Made(margin_s=180.0), crew=Made(changeover_s=900.0, in_group_s=240.0)
            ),
            plan=lambda _: Made(times=Made(last_s=1200.0)),
            conditions=Made(last_s=minutes_after(NIGHT_S, known_min)),
        ),
        tabled=Made(states=0), own=Made(lead_s=300.0), layer=Made(crew="topcoat"), table=table,
        _next=lambda _: Made(lead_s=600.0),
    )  # fmt: skip
    sure = Made(late_s=late_s, limits_of=lambda *_: limits, behind_s=lambda _: late_s)
    spans = [
        Span(begins_s=NIGHT_S, ends_s=minutes_after(NIGHT_S, minutes)) for minutes in shift_min
    ]
    span = np.minimum(np.arange(len(begins)), len(spans) - 1)
    stage = PourTables._states(here, PLAIN, np.array(begins), span, spans, SLOTS, sure)
    return stage, limits, here.tabled.states


def test_a_pours_states_stand_at_whole_minutes_after_it():
    stage, limits, counted = pour_stage(Table(), late_s=120.0)
    # Laid from 15 to 45 min, by the same crew's set-up another from 60, in a group from 49;
    # walked on from 315 min and 5 s, coated from 495 min and 5 s less 10 min on, up to
    # 1,215 min less those, 5 s and the 2 min its crew may be late.
    assert [stage.begins[0], stage.ends[0], stage.frees[0], stage.follows[0]] == [
        10,
        45,
        60,
        49,
    ]
    assert [stage.shuts[0], stage.walks[0]] == [15, 316]
    assert [stage.opens[0], stage.closes[0]] == [486, 1202]
    # Half a minute short of three minutes, in bands of so many seconds.
    assert stage.short[0] == np.ceil(30.0 / tables.BAND_S)
    assert counted == 2
    ((start_s, lasts_s, until_s),) = limits.asked
    assert start_s.tolist() == minutes_after(NIGHT_S, np.array([15, 16])).tolist()
    assert lasts_s.tolist() == [1800.0, 1800.0]
    assert until_s.tolist() == minutes_after(start_s, 300).tolist()


@pytest.mark.parametrize(
    ("table", "more", "kept"),
    [
        # Its last bucket, 20 min after it begins, is in the shift and in the weather known.
        (Table(), {"shift_min": (45.0,)}, 1), (Table(), {"shift_min": (44.9,)}, 0),
        (Table(), {"known_min": 35.0}, 1), (Table(), {"known_min": 34.9}, 0),
        (Table(), {"shift_min": (46.0,)}, 2), (Table(), {"shift_min": (47.0, 48.0)}, 2),
        (Table(), {"shift_min": (30.0, 46.0)}, 1),
        # Its end is too, as late as the crew may be.
        (Table(), {"shift_min": (47.0,), "late_s": 120.0}, 1),
        # A mix at the very limit is kept, one beyond it is not.
        (Table(spare_k=0.0), {}, 2), (Table(spare_k=-0.01), {}, 0),
        # A window of no minute is one; one that shuts before it opens is none.
        (Table(opens_min=479.0, closes_min=480.2), {}, 2),
        (Table(opens_min=479.0, closes_min=479.1), {}, 0),
    ],
)  # fmt: skip
def test_a_pour_is_kept_where_its_shift_its_mix_and_its_coat_allow_it(table, more, kept):
    assert pour_stage(table, **more)[0].size == kept


def test_a_margin_that_is_kept_lacks_nothing():
    assert pour_stage(Table(margin_s=180.0))[0].short.tolist() == [0, 0]
    assert pour_stage(Table(margin_s=500.0))[0].short.tolist() == [0, 0]
    assert pour_stage(Table(margin_s=179.0))[0].short.tolist() == [1, 1]


# Tables


def test_a_table_lies_straight_between_its_rows():
    asked = []

    def opens_after(_option, _rows, start_s, confidence):
        asked.append((start_s.tolist(), confidence))
        return tuple(start_s + hours * HOUR_S for hours in (3, 8, 20))

    rows = Made(
        at_s=np.array([0.0, 1800.0]), lasts_s=np.array([600.0, 1200.0]),
        coldest_c=np.array([10.0, 14.0]), hottest_c=np.array([30.0, 34.0]),
    )  # fmt: skip
    here = Made(
        _run_rows=lambda *_: rows, _windows={}, _opens_after=opens_after,
        _margins=lambda *_: np.array([100.0, 200.0]),
        pours=Made(job=Made(cards=Made(slurry=Made(limits=Made(mixed_c=(8.0, 35.0)))))),
    )  # fmt: skip
    sure, at_s = Made(windows=0.9), np.array([450.0, 900.0])
    got = PourTables.table(here, PLAIN, at_s, sure=sure)
    assert got.margin_s.tolist() == [125.0, 150.0]
    assert got.lasts_s.tolist() == [750.0, 900.0]
    # 3 K over the coldest, 4 K under the hottest; then 4 and 3.
    assert got.mixed_spare_k.tolist() == [3.0, 3.0]
    assert (got.walkable_s - at_s).tolist() == [3 * HOUR_S] * 2
    assert (got.opens_s - at_s).tolist() == [8 * HOUR_S] * 2
    assert (got.closes_s - at_s).tolist() == [20 * HOUR_S] * 2
    PourTables.table(here, PLAIN, at_s, sure=sure)
    assert len(asked) == 1
    PourTables.table(here, PLAIN, at_s, sure=Made(windows=0.8))
    assert [confidence for _, confidence in asked] == [0.9, 0.8]
    # The latest few are kept.
    for n in range(tables.MOST_WINDOWS - 2):
        PourTables.table(here, PLAIN, np.array([float(n)]), sure=sure)
    assert len(here._windows) == tables.MOST_WINDOWS
    PourTables.table(here, PLAIN, np.array([1000.0]), sure=sure)
    assert len(here._windows) == 1


def test_margins_are_run_at_the_rows_around_the_starts_alone():
    asked = []

    def rows(_pours, _option, at_s, _read, *, speed):
        asked.append((at_s, speed))
        return (np.array([100.0 + at / 18.0 for at in at_s]),)

    here = Made(
        _sure_s={}, tabled=Made(rows=rows),
        pours=Made(
            wet_factors=lambda at, confidence, times_sd: (at + confidence + times_sd, None),
            job=Made(policy=Made(margin_s=120.0)),
        ),
    )  # fmt: skip
    run = Made(at_s=1800.0 * np.arange(6), central_s=np.array([500.0, 500, 500, 510, 900, 900]))
    sure = Made(margins=0.5, times_sd=0.25)

    def margins(*start_s):
        return PourTables._margins(here, PLAIN, run, np.array(start_s), sure).tolist()

    # At half an hour before and after the start; what is sure, and two minutes, where that
    # is less than is expected; far rows carry none.
    assert margins(3600.0, 3600.0) == [120.0, 320.0, 420.0, 510.0, 120.0, 120.0]
    assert asked == [([1800.0, 3600.0, 5400.0], [1800.75, 3600.75, 5400.75])]
    assert margins(3600.0, 5400.0)[4] == 620.0
    assert [at_s for at_s, _ in asked[1:]] == [[7200.0]]
    # Of another doubt nothing is known.
    sure.times_sd = 0.5
    margins(3600.0)
    assert asked[2][0] == [1800.0, 3600.0, 5400.0]


def test_least_margins_are_run_where_no_row_has_them():
    asked = []

    def rows(_pours, _option, at_s, _read):
        asked.append(at_s)
        return (np.array([-at for at in at_s]),)

    known = {PLAIN: Made(at_s=np.array([0.0, 60.0]), central_s=np.array([7.0, 8.0]))}
    here = Made(_rows=known, tabled=Made(rows=rows), pours=None)
    assert PourTables.least_s(here, PLAIN, np.array([60.0, 90.0, 0.0])).tolist() == [8, -90, 7]
    assert asked == [[90.0]]
    assert PourTables.least_s(here, PLAIN, np.array([60.0, 0.0])).tolist() == [8, 7]
    assert len(asked) == 1
    here._rows = {}
    assert PourTables.least_s(here, PLAIN, np.array([60.0])).tolist() == [-60]


def staged(shorts, *, shut=(), idle=()):
    """Options of one, two and more bays in turn, with what each of three begins lacks."""
    begin, asked = np.array([10, 11, 12]), []

    def states(option, _begin, _span, *_):
        asked.append(option.bays)
        short = np.array(shorts[min(option.bays, len(shorts)) - 1])
        return stage_of(
            crew=0, begins=begin, lasts=30 + option.bays, opens=50, closes=99, short=short
        )

    here = Made(
        tabled=Made(floors=0), _states=states,
        _possible_begins=lambda *_: (begin, np.zeros(3, dtype=np.int64)),
        _is_open=lambda option: option.bays not in shut,
        _buys_nothing=lambda option: option.bays in idle,
    )  # fmt: skip
    stage = PourTables.stage(here, [], SLOTS, remedies=["bays"], sure=None)
    assert here.tabled.floors == 1
    return sorted(zip(stage.begins.tolist(), stage.option.tolist(), strict=True)), asked


def test_an_option_is_looked_at_where_no_cheaper_one_is_enough():
    # One bay is enough at 10, two at 11 as well; nothing is at 12, so all are looked at.
    every = [[0, 1, 3], [0, 0, 2], [0, 0, 1]]
    found, asked = staged(every)
    assert asked[:3] == [1, 2, 3]
    assert found[:1] == [(10, 0)]
    assert [option for begin, option in found if begin == 11] == [0, 1]
    assert {option for begin, option in found if begin == 12} >= {0, 1, 2}
    # Where two bays are enough for all, three are not looked at.
    assert staged([[0, 1, 3], [0, 0, 0], [0, 0, 0]])[1] == [1, 2]
    assert staged([[0, 0, 0]] * 3)[1] == [1]
    assert staged(every, shut=(2,))[1][:2] == [1, 3]
    assert staged(every, idle=(2,))[1][:2] == [1, 3]


@pytest.mark.parametrize(
    ("spans_min", "span"), [((5, 600), 1), ((10, 600), 1), ((11, 600), 0), ((5, 9), 0)]
)
def test_what_is_begun_stands_at_its_own_second(monkeypatch, spans_min, span):
    work = Made(crew=0, lead_s=300.0, layer=Made(stage="pour"))
    coat = Made(lead_s=600.0)
    placed = Made(
        end_s=minutes_after(NIGHT_S, 45) + 1.0, reached=None,
        closed=Span(
            begins_s=minutes_after(NIGHT_S, 15.5), ends_s=minutes_after(NIGHT_S, 315)
        ),
    )  # fmt: skip
    asked = []

    def place_pour(_pours, _option, begins_s, *, confidence):
        asked.append((begins_s, confidence))
        return placed

    monkeypatch.setattr(tables, "place_pour", place_pour)
    window = Made(opens_s=minutes_after(NIGHT_S, 500), closes_s=minutes_after(NIGHT_S, 1210))
    monkeypatch.setattr(tables, "window_over", lambda *_: window)
    pours = Made(
        works=lambda _: (work, coat), pour_task=0,
        settled=Made(
            begun_s={"pour": minutes_after(NIGHT_S, 15)}, poured=None, options=(PLAIN,)
        ),
        job=Made(
            policy=Made(confidence=0.8), crew=Made(changeover_s=900.0, in_group_s=240.0)
        ),
    )  # fmt: skip
    spans = [Span(begins_s=NIGHT_S, ends_s=minutes_after(NIGHT_S, ends)) for ends in spans_min]
    for windows, confidence in ((0.5, 0.5), (0.9, 0.8)):
        sure = Sureness(windows=windows, margins=0.5, late_s=120.0)
        stage = tables.begun_stage(pours, 0, spans, SLOTS, sure=sure)
        # Begun 5 min before its first bucket. Two seconds of rounding cost no minute: over
        # at 44:59, another from 59:59, in the group from 48:59.
        assert asked.pop() == (minutes_after(NIGHT_S, 10), confidence)
        assert [stage.begins[0], stage.ends[0], stage.frees[0]] == [10, 45, 60]
        assert [stage.follows[0], stage.shuts[0], stage.walks[0]] == [49, 15, 316]
        # From 500 min and 5 s less 10 of getting ready; to 1,210 less those, 5 s and 2 min.
        assert [stage.opens[0], stage.closes[0], stage.span[0]] == [491, 1197, span]


@pytest.mark.parametrize(("number", "opens", "closes"), [(0, 491, 1197), (1, 701, 1_000_000)])
def test_the_last_coat_that_is_begun_opens_its_room(monkeypatch, number, opens, closes):
    # Of two coats: under the second the window counts, after it when the room is ready.
    class Placed(PlacedCoat):
        end_s, reached = minutes_after(NIGHT_S, 45), None
        closed = Span(begins_s=NIGHT_S, ends_s=minutes_after(NIGHT_S, 315))
        after = Made(opens_s=minutes_after(NIGHT_S, 700))

        def __init__(self):
            pass

    works = tuple(Made(crew=1, lead_s=600.0, layer=Made(stage=f"coat_{n}")) for n in (1, 2))
    monkeypatch.setattr(tables, "place_layer", lambda *_, **__: Placed())
    window = Made(opens_s=minutes_after(NIGHT_S, 500), closes_s=minutes_after(NIGHT_S, 1210))
    monkeypatch.setattr(tables, "window_over", lambda *_: window)
    begun_s = {work.layer.stage: minutes_after(NIGHT_S, 20) for work in works}
    pours = Made(
        works=lambda _: works, pour_task=-1,
        settled=Made(begun_s=begun_s, poured=None, options=()),
        job=Made(
            policy=Made(confidence=0.8), crew=Made(changeover_s=900.0, in_group_s=240.0)
        ),
    )  # fmt: skip
    spans = [Span(begins_s=NIGHT_S, ends_s=minutes_after(NIGHT_S, 600))]
    sure = Sureness(windows=0.5, margins=0.5, late_s=120.0)
    stage = tables.begun_stage(pours, number, spans, SLOTS, sure=sure)
    assert (stage.begins[0], stage.opens[0], stage.closes[0]) == (10, opens, closes)
