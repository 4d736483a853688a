"""Which timing of the night as planned is taken, and which floors are left out of it."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace as Made

import pytest

from cureplan.inputs.job.crew import Shift
from cureplan.planning.replan import carry_on, replan
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.problem import NEVER, Problem, stage_of


class Timed(Schedule):
    """A schedule of which nothing is asked but what the test tells."""

    def __init__(self, name):
        object.__setattr__(self, "name", name)


@pytest.mark.parametrize(
    ("stuck", "begun", "rooms", "found"),
    [
        # Floors that find no place are left out one by one; not one that is begun.
        ([], (), 3, ()), (["Bar"], (), 3, ("Bar",)), (["Bar", "Hall"], (), 3, ("Bar", "Hall")),
        (["Bar"], ("Bar",), 3, None), (["Bar", "Hall"], ("Hall",), 3, None),
        (["Bar"], ("Hall",), 3, ("Bar",)), (["Bar", "Hall", "Yard"], (), 3, None),
        (["Bar"], (), 1, None), (["Bar", "Hall"], (), 2, None),
    ],
)  # fmt: skip
def test_a_floor_that_finds_no_place_is_left_out(monkeypatch, stuck, begun, rooms, found):
    left = iter(stuck)
    asked = []

    def timed(job, *_):
        asked.append(job)
        return next(left, Timed("night"))

    monkeypatch.setattr(carry_on, "_timed", timed)
    monkeypatch.setattr(carry_on, "without", lambda _, names: names)
    floors = {name: Made(done=int(name in begun)) for name in ("Bar", "Hall")}
    got = carry_on.carry_on(Made(rooms=[None] * rooms), {}, None, Made(floors=floors))
    assert (got and got[1]) == found
    assert asked == [tuple(stuck[:n]) for n in range(len(asked))]


def taken(monkeypatch, held, free):
    """Which of the timings, each its layers too late, bands, and hour of opening, is taken."""
    rows = {"held": held, "free": free}
    asked = []

    def model(*_, held, waits):
        assert waits
        asked.append("held" if held else "free")
        return Made(
            name=asked[-1], names=["Bar", "Hall"],
            schedule=lambda choice, which=asked[-1]: Made(
                name=f"{which} {choice}", opens_s=rows[which][choice[0]][2],
                late=rows[which][choice[0]][:2],
            ),
        )  # fmt: skip

    def choices(model, *_):
        for n, row in enumerate(rows[model.name]):
            yield row if isinstance(row, int) else (n,)

    monkeypatch.setattr(carry_on, "_held", lambda *_: [(True, True), (False, True)])
    monkeypatch.setattr(carry_on, "_model", model)
    monkeypatch.setattr(carry_on, "_choices", choices)
    monkeypatch.setattr(carry_on, "lateness", lambda _, schedule: schedule.late)
    got = carry_on._timed(Made(rooms=[Made(name="Bar")]), {}, None, None)
    return getattr(got, "name", got), asked


@pytest.mark.parametrize(
    ("held", "free", "name", "asked"),
    [
        # Held to their hours, nothing comes too late: others are not looked at.
        ([(0, 0, 50.0)], [(0, 0, 10.0)], "held (0,)", 1),
        ([(0, 0, 50.0), (0, 0, 40.0)], [], "held (1,)", 1),
        ([(0, 0, 50.0), (0, 0, 50.0)], [], "held (0,)", 1),
        ([(0, 1, 50.0)], [(0, 0, 60.0)], "free (0,)", 2),
        ([(1, 0, 50.0)], [(0, 9, 60.0)], "free (0,)", 2),
        ([(1, 0, 50.0)], [(1, 0, 10.0)], "held (0,)", 2),
        ([(1, 1, 50.0)], [(1, 0, 99.0)], "free (0,)", 2),
        ([(0, 1, 50.0)], [(0, 1, 10.0)], "held (0,)", 2),
        # Who finds no place is told where nothing is found, the last of them.
        ([1], [(3, 9, 60.0)], "free (0,)", 2), ([1], [0], "Bar", 2), ([0], [1], "Hall", 2),
        ([], [], "Bar", 2), ([1, (0, 0, 9.0)], [], "held (1,)", 1),
    ],
)  # fmt: skip
def test_planned_hours_are_kept_but_where_something_comes_too_late(
    monkeypatch, held, free, name, asked
):
    got, looked = taken(monkeypatch, held, free)
    assert got == name
    assert looked == ["held", "free"][:asked]


def test_no_layer_is_too_old_and_pours_end_before_the_opening():
    pour = stage_of(crew=0, begins=[0, 5, 6], lasts=4, opens=10, closes=20)
    coat = stage_of(crew=1, begins=[12, 30], lasts=4, opens=40, closes=50)
    problem = Problem(rooms=((pour, coat), (pour, coat)), crosses=((), ()))
    got = carry_on._never_late(problem, [False, True], last=9)
    (first, above), (begun, _) = got.rooms
    # What ends at nine is kept, what ends at ten is not; what is begun stays, and coats.
    assert first.begins.tolist() == [0, 5]
    assert begun.begins.tolist() == [0, 5, 6]
    assert above.begins.tolist() == [12, 30]
    assert all((s.closes == NEVER).all() for row in got.rooms for s in row)
    assert got.loose == frozenset({0, 1})


@pytest.mark.parametrize(
    ("shift", "longer"),
    [
        # An hour and a half longer, but no longer than to its own beginning.
        (("18:00", "02:00"), "03:30"), (("18:00", "16:29"), "17:59"),
        (("18:00", "16:30"), None), (("18:00", "17:00"), None), (("18:00", "18:00"), None),
        (("06:00", "14:00"), "15:30"), (("06:00", "23:00"), "00:30"),
        (("01:00", "23:30"), None), (("01:00", "23:29"), "00:59"),
    ],
)  # fmt: skip
def test_a_shift_may_be_longer_but_not_round_the_clock(monkeypatch, shift, longer):
    monkeypatch.setattr(carry_on, "OVER_SHIFT", timedelta(hours=1.5))
    begins, ends = (time.fromisoformat(text) for text in shift)
    got = carry_on._longer(Shift(begins=begins, ends=ends))
    assert (got.begins, got.ends) == (begins, time.fromisoformat(longer) if longer else ends)


@pytest.mark.parametrize(
    ("ours", "theirs", "asked", "gain"),
    [
        (0.5, 0.8, 0.9, 0.3),
        (0.8, 0.5, 0.9, -0.3),
        (0.5, 0.99, 0.6, 0.1),
        (0.95, 0.99, 0.9, 0.0),
    ],
)
def test_a_gain_counts_up_to_what_was_asked(ours, theirs, asked, gain):
    job = Made(policy=Made(confidence=asked))
    got = carry_on._gain(job, Made(all_frac=ours, members=10**9), theirs)
    assert got == pytest.approx(gain)


def test_pours_a_day_apart_are_of_two_nights():
    days_s = [datetime(2001, 1, n, tzinfo=UTC).timestamp() for n in (1, 2)]
    assert carry_on.nights_of([days_s[0], days_s[0] + 1.0]) == 1
    assert carry_on.nights_of(days_s) == 2


@pytest.mark.parametrize(
    ("coats_s", "could", "found", "better", "taken", "searched"),
    [
        # Searched where a coat is to come, and another way could be better at all.
        ((50, 101), True, True, True, "other", 1), ((101,), True, True, False, "carried", 1),
        ((101,), True, False, True, "carried", 1), ((101,), False, True, True, "carried", 0),
        ((50, 100), True, True, True, "carried", 0), ((), True, True, True, "carried", 0),
    ],
)  # fmt: skip
def test_the_night_is_searched_where_that_could_be_better(
    monkeypatch, coats_s, could, found, better, taken, searched
):
    asked = []
    schedule = Made(coats=[Made(begins_s=at_s) for at_s in coats_s])
    carried = Made(name="carried", left_out=("Bar",), schedule=schedule)
    other = Made(name="other", schedule=Made(worked=2.5))

    def search(*_):
        asked.append("search")
        return other if found else None

    monkeypatch.setattr(replan, "_carried", lambda *_: carried)
    monkeypatch.setattr(replan, "_searched", search)
    monkeypatch.setattr(replan, "could_be_beaten", lambda *_: could)
    monkeypatch.setattr(replan, "beats", lambda *_: better)
    monkeypatch.setattr(replan, "without", lambda _, names: names)
    got = replan._better("job", None, Made(now_s=100), Made(pours={}))
    assert got.candidate.name == taken
    assert len(asked) == searched
    # What the search took counts, whatever becomes of what it found.
    assert got.worked == (2.5 if searched and found else 0.0)
    assert got.carries_on == (taken == "carried")
    assert got.job == (("Bar",) if taken == "carried" else "job")
