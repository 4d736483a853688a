"""Where a night stands by its log, on both sides of each instant that decides."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.inputs.job.model import Shift
from cureplan.planning.replan import begun, coats, state
from cureplan.planning.replan.coats import CoatState

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


class RefusedError(Exception):
    """A line of a log that cannot be."""


def event(kind, minutes, *, room="Bar", bucket=None, role=None, until=None, coat=None):
    def fault(key, problem, cure, value=None):
        return RefusedError(f"{key}: {problem}; {cure}; {value}")

    return Made(
        event=kind, at=at(minutes), room=room, bucket=bucket, role=role, coat=coat,
        until=None if until is None else at(until), fault=fault, line=1, added=None,
        shift_at=None, opens_at=None, more_s=None, value="",
    )  # fmt: skip


# Shifts, stays and openings


@pytest.mark.parametrize(
    ("kind", "says_min", "pour", "coat"),
    [
        # Moved by as much as the last one ends, or the first begins, sooner or later; 20:00
        # and some minutes by the clock there. By half a day it is the other night's.
        ("pour shift until", 330, ("19:00", "01:30"), ("05:00", "17:00")),
        ("pour shift until", 225, ("19:00", "23:45"), ("05:00", "17:00")),
        ("topcoat shift from", 480, ("19:00", "01:00"), ("04:00", "17:00")),
        ("topcoat shift from", 180, ("19:00", "01:00"), ("23:00", "17:00")),
        ("topcoat shift from", 660, ("19:00", "01:00"), ("07:00", "17:00")),
        ("topcoat shift until", 1440, ("19:00", "01:00"), ("05:00", "20:00")),
    ],
)
def test_shifts_are_moved_as_the_log_says(demo_job, kind, says_min, pour, coat):
    whole = shifts_of(demo_job, "19:00", "01:00", "05:00", "17:00")
    line = event(kind, 5)
    line.shift_at = at(says_min)
    crew = state._as_moved(whole, [event("poured", 1), line]).crew
    assert crew == shifts_of(demo_job, *pour, *coat).crew


def shifts_of(job, *clocks):
    times = [time.fromisoformat(clock) for clock in clocks]
    crew = replace(
        job.crew,
        pour_shifts=(Shift(begins=times[0], ends=times[1]),),
        topcoat_shifts=(Shift(begins=times[2], ends=times[3]),),
    )
    return replace(job, crew=crew, site=replace(job.site, time_zone="UTC"))


def test_a_shift_can_neither_end_before_it_begins_nor_last_a_day(demo_job):
    # From 19:00 to 01:00: until 19:01 it would last a minute, until 19:00 none or a whole day.
    whole = shifts_of(demo_job, "19:00", "01:00", "05:00", "17:00")
    line = event("pour shift until", 5)
    for says_min, told in ((-59, False), (-60, True), (-61, True)):
        line.shift_at = at(says_min)
        if told:
            with pytest.raises(RefusedError, match="whole day, or not at all"):
                state._as_moved(whole, [line])
        else:
            assert state._as_moved(whole, [line]).crew.pour_shifts[0].ends == time(19, 1)
    # The last word counts.
    again = event("pour shift until", 9)
    line.shift_at, again.shift_at = at(330), at(345)
    assert state._as_moved(whole, [line, again]).crew.pour_shifts[0].ends == time(1, 45)


def test_the_kitchen_or_a_room_of_it_opens_as_the_log_says(demo_job):
    first, *others = demo_job.rooms
    rooms = (replace(first, open_by=at(600)), *(replace(room, open_by=None) for room in others))
    access = replace(demo_job.access, open_by=at(900))
    whole = replace(shifts_of(demo_job, "19:00", "01:00", "05:00", "17:00"), access=access)
    whole = replace(whole, rooms=rooms)

    def opened(*moves):
        """(kitchen, its first room, whether another room has an hour of its own)"""
        lines = [event("opens by", n, room=room) for n, (room, _) in enumerate(moves)]
        for line, (_, minutes) in zip(lines, moves, strict=True):
            line.opens_at = at(minutes)
        job = state._as_moved(whole, lines)
        own = [room.open_by for room in job.rooms]
        kitchen = job.access.open_by
        return kitchen, own[0], own[1]

    assert opened((None, 960)) == (at(960), at(600), None)
    # A room is never open after the kitchen; the last word counts.
    assert opened((None, 599)) == (at(599), at(599), None)
    assert opened((None, 960), (None, 930)) == (at(930), at(600), None)
    assert opened((first.name, 900)) == (at(900), at(900), None)
    assert opened((others[0].name, 700)) == (at(900), at(600), at(700))
    assert opened((None, 960), (first.name, 960)) == (at(960), at(960), None)
    # Told before the kitchen's own.
    assert opened((first.name, 960), (None, 970)) == (at(970), at(960), None)
    # Seen fault: it was told to check its date.
    after = f"{first.name} cannot open after the kitchen, which opens by 2026-07-18 11:00"
    with pytest.raises(RefusedError, match=after):
        opened((first.name, 901))


def test_everybody_stays_as_much_longer_as_the_log_says(demo_job):
    def stay_h(limit_h, *more_min):
        longest_s = None if limit_h is None else 3600.0 * limit_h
        crew = replace(demo_job.crew, people=(), longest_shift_s=longest_s, rest_s=None)
        lines = [event("stay longer", n) for n, _ in enumerate(more_min)]
        for line, minutes in zip(lines, more_min, strict=True):
            line.more_s = 60.0 * minutes
        job = state._as_moved(replace(demo_job, crew=crew), lines)
        return job.crew.longest_shift_s / 3600.0

    assert stay_h(10, 45) == 10.75
    # Said twice, they stay longer still; a day at most.
    assert stay_h(10, 45, 30) == 11.25
    assert stay_h(23, 60) == 24.0
    for limit_h, more_min in ((23, 61), (None, 45)):
        with pytest.raises(RefusedError, match="nobody's stay is limited"):
            stay_h(limit_h, more_min)


# Buckets


def rules(**more):
    return Made(**{"apart_s": 60.0, "kept_s": 1200.0, "in_mixer_s": 600.0, **more})


def plan(*rooms, **more):
    """Each room of so many buckets, 6 min apart, one room after the other."""
    buckets, found, at_min = [], [], 0.0
    for order, (name, kits) in enumerate(rooms):
        pours = [at(at_min + 6 * n) for n in range(kits)]
        buckets += [
            Made(room=name, number=n + 1, pour=pour, bay=1 + n // 2, row=1 + n % 2)
            for n, pour in enumerate(pours)
        ]
        found.append(Made(room=name, order=order, kits=kits))
        at_min += 6 * kits
    return Made(
        rooms=found, rules=rules(), night=None, coats=(), primers=(), calls=(),
        buckets_of=lambda name: [b for b in buckets if b.room == name], **more,
    )  # fmt: skip


def floors(*events, now=0.0, waits=(), laid=(), rooms=(("Bar", 4), ("Hall", 3))):
    found = state._floors(plan(*rooms), events, waits, laid, at(now).timestamp())
    return {
        name: [(s - NIGHT_S) / 60.0 for s in floor.poured_s] for name, floor in found.items()
    }


@pytest.mark.parametrize(
    ("now", "bar", "hall"),
    [
        (-1, 0, 0), (0, 1, 0), (5.99, 1, 0), (6, 2, 0), (18, 4, 0), (23.99, 4, 0), (24, 4, 1),
        (100, 4, 3),
    ],
)  # fmt: skip
def test_without_a_line_buckets_are_poured_as_planned(now, bar, hall):
    found = floors(now=now)
    assert (len(found["Bar"]), len(found["Hall"])) == (bar, hall)


@pytest.mark.parametrize(
    ("now", "bar"),
    [
        # Bucket 2 came 3 min late, at 9: the third is due at 15. For 20 min nobody need
        # write; after that it is taken as gone on.
        (10, [3, 9]), (15, [3, 9]), (29, [3, 9]), (29.1, [3, 9, 15, 21]),
    ],
)  # fmt: skip
def test_after_a_line_the_others_keep_step_once_it_is_old(now, bar):
    found = floors(event("poured", 9, bucket=2), now=now)
    assert found["Bar"] == bar
    # Bar came late, so Hall does.
    assert found["Hall"] == ([27] if now > 29 and now >= 27 else [])


def test_what_lies_between_two_lines_keeps_step_with_both():
    lines = [event("poured", 4, bucket=1), event("poured", 28, bucket=4)]
    # 4 min late, then 10: in between 6 and 8.
    assert floors(*lines, now=28)["Bar"] == [4, 12, 20, 28]
    found = state._floors(plan(("Bar", 4)), lines[1:], (), (), at(28).timestamp())["Bar"]
    assert found.assumed == (1, 2, 3)
    assert (found.done, found.complete) == (4, True)
    assert (found.bay.tolist(), found.row.tolist()) == ([0, 0, 1, 1], [0, 1, 0, 1])


@pytest.mark.parametrize(("wait", "bar"), [(5, 1), (6, 2), (12, 3), (-1, 0)])
def test_nothing_is_poured_after_a_word_to_wait(wait, bar):
    found = floors(now=100, waits=[event("wait", wait)])
    assert len(found["Bar"]) == bar
    # Unless a line says so later.
    later = floors(event("poured", 12, bucket=3), now=100, waits=[event("wait", wait)])
    assert len(later["Bar"]) == (4 if wait < 12 else 3)


@pytest.mark.parametrize(("number", "bar"), [(1, 4), (2, 4), (3, 2)])
def test_a_lost_kit_holds_its_patch_until_that_is_poured(number, bar):
    lines = [event("poured", 6, bucket=2), event("lost", 8, bucket=number)]
    assert len(floors(*lines, now=100)["Bar"]) == bar
    assert state._losses_s([event("lost", 8, bucket=3, room="Hall")], "Bar", after=0) == []
    assert state._losses_s([event("lost", 8)], "Bar", after=0) == []
    assert state._losses_s(lines[1:], "Bar", after=number - 1) == [at(8).timestamp()]


@pytest.mark.parametrize(
    ("minutes", "hall"), [(24, []), (36, []), (23.9, [24, 30, 36]), (36.1, [24, 30, 36])]
)
def test_a_floor_is_not_poured_while_the_crew_is_seen_elsewhere(minutes, hall):
    lines = [event("poured", minutes, room="Yard", bucket=1)]
    found = floors(*lines, now=60, rooms=(("Bar", 4), ("Hall", 3), ("Yard", 2)))
    assert found["Hall"] == hall


@pytest.mark.parametrize(("minutes", "hall"), [(38, []), (40, [27, 33, 39])])
def test_a_crew_that_is_late_is_seen_elsewhere_later(minutes, hall):
    # Bar came 3 min late, so Hall, planned from 24 to 36, is poured until 39.
    lines = [event("poured", 21, bucket=4), event("poured", minutes, room="Yard", bucket=1)]
    found = floors(*lines, now=60, rooms=(("Bar", 4), ("Hall", 3), ("Yard", 2)))
    assert found["Hall"] == hall


def test_a_floor_that_is_not_begun_leaves_the_next_to_its_hour():
    lines = [event("poured", 10, room="Yard", bucket=1)]
    found = floors(*lines, now=60, rooms=(("Bar", 4), ("Hall", 3), ("Yard", 2)))
    assert (found["Bar"], found["Hall"]) == ([], [24, 30, 36])


def test_no_floor_is_begun_while_one_before_it_is_open():
    lost = [event("lost", 3, bucket=2)]
    assert [len(rows) for rows in floors(*lost, now=60).values()] == [1, 0]


def test_a_floor_that_is_vacuumed_is_all_poured():
    over = event("vacuumed", 18)
    assert len(floors(now=12, laid=[over])["Bar"]) == 4
    with pytest.raises(RefusedError, match="bucket 4 of Bar is not poured by then"):
        floors(now=12, laid=[event("vacuumed", 17.9)])


@pytest.mark.parametrize(
    ("first", "second", "refused"),
    [
        ((1, 0), (2, 1), None), ((1, 0), (2, 0.9), "no time between"),
        ((1, 0), (3, 2), None), ((1, 0), (3, 1.9), "no time between"),
        ((1, 0), (1, 9), "poured twice"), ((2, 0), (1, 9), "bucket 2 of this room"),
    ],
)  # fmt: skip
def test_lines_of_a_room_follow_each_other(first, second, refused):
    lines = [event("poured", minutes, bucket=number) for number, minutes in (first, second)]
    lines.append(event("poured", 50))
    if refused is None:
        found = state._logged(lines, apart_s=60.0)
        assert found == {"Bar": {n: at(m).timestamp() for n, m in (first, second)}}
    else:
        with pytest.raises(RefusedError, match=refused):
            state._logged(lines, apart_s=60.0)


@pytest.mark.parametrize(
    ("first", "last", "asks"),
    [
        (0, 60, True), (0, 61, False), (-59, 30, True), (-60, 30, False), (-61, 30, False),
        (-59, 60, True),
    ],
)  # fmt: skip
def test_a_clock_an_hour_ahead_is_asked_about(first, last, asks):
    cure = state._clock_cure([event("x", last), event("x", first)], NIGHT_S, "CEST")
    assert ("is a clock an hour ahead" in cure) == asks


# Hands and halts


@dataclass(frozen=True)
class Hands:
    stations: int = 2
    rake: int = 1

    def with_more(self, what, by):
        return replace(self, **{what: getattr(self, what) + by})


def test_the_last_of_a_kind_that_is_lost_halts_the_night():
    first, second = event("drill down", 1), event("drill down", 2)
    rake, wait = event("short of", 3, role="rake"), event("wait", 4)
    crew, halts = state._crew(Hands(), [first, wait])
    assert (crew, halts) == (Hands(stations=1), [])
    crew, halts = state._crew(Hands(), [first, second, rake])
    assert (crew, halts) == (Hands(stations=1), [second, rake])


@pytest.mark.parametrize(
    ("later", "halted"),
    [
        (None, True), (("poured", 20, None), True), (("poured", 20.1, None), False),
        (("wait", 10, 30), False), (("wait", 9.9, 30), True), (("slab reads", 50, None), True),
    ],
)  # fmt: skip
def test_a_halt_ends_with_a_word_or_a_bucket_mixed_after_it(later, halted):
    # What was in the mixer when it stopped is poured within 10 min.
    halt = event("drill down", 10)
    events = [halt]
    if later is not None:
        kind, minutes, until = later
        events.append(event(kind, minutes, until=until))
    assert bool(state._unresolved([halt], events, in_mixer_s=600.0)) == halted


# Coats


def coat(number, start=100.0, end=130.0):
    return Made(room="Bar", coat=number, start=at(start), end=at(end))


def of_room(*lines, now=0.0, untold=False, coats_=((1, 100), (2, 400))):
    found = coats._of_room(
        [coat(n, start, start + 30) for n, start in coats_], lines, untold, at(now).timestamp()
    )
    return {
        number: (
            (one.begun_s - NIGHT_S) / 60.0,
            None if one.laid_s is None else (one.laid_s - NIGHT_S) / 60.0,
            one.ticked,
        )
        for number, one in found
    }


def test_coats_are_begun_as_ticked_or_as_planned():
    def ticked(kind, minutes, number=1):
        return event(kind, minutes, coat=number)

    assert of_room(now=100, untold=True) == {1: (100, None, False)}
    assert of_room(now=99.9, untold=True) == {}
    assert of_room(now=999) == {}
    assert of_room(ticked("coat begun", 110)) == {1: (110, None, True)}
    both = (ticked("batch mixed", 105), ticked("coat begun", 110), ticked("coat laid", 150))
    assert of_room(*both) == {1: (105, 150, True)}
    assert of_room(ticked("coat laid", 150)) == {1: (120, 150, True)}
    # The first lies under the second: as planned, or just in time for it.
    assert of_room(ticked("coat begun", 390, 2)) == {
        2: (390, None, True),
        1: (100, None, False),
    }
    assert of_room(ticked("coat begun", 110, 2)) == {2: (110, None, True), 1: (80, None, False)}


@pytest.mark.parametrize(
    ("lines", "refused"),
    [
        ([("coat begun", 110, 1), ("coat laid", 110, 1)], "begun after that"),
        ([("coat begun", 110, 1), ("coat laid", 110.1, 1)], None),
        ([("coat laid", 400, 1), ("coat begun", 400, 2)], "begun before it"),
        ([("coat laid", 399.9, 1), ("coat begun", 400, 2)], None),
    ],
)  # fmt: skip
def test_a_coat_is_laid_after_it_is_begun_and_before_the_next(lines, refused):
    events = [event(kind, minutes, coat=number) for kind, minutes, number in lines]
    if refused is None:
        assert of_room(*events)
    else:
        with pytest.raises(RefusedError, match=refused):
            of_room(*events)


@pytest.mark.parametrize(
    ("lines", "now", "found"),
    [
        ([], 10, (10, None, False)), ([], 9, None),
        ([("primer begun", 12)], 99, (12, None, True)),
        ([("primer laid", 50)], 99, (30, 50, True)),
        ([("primer begun", 12), ("primer laid", 40)], 99, (12, 40, True)),
        ([("primer begun", 12), ("primer laid", 12)], 99, "begun after that"),
    ],
)  # fmt: skip
def test_a_primer_is_begun_as_ticked_or_as_planned(lines, now, found):
    primed = plan(("Bar", 1))
    primed.primers = [Made(room="Bar", start=at(10), end=at(30))]
    events = [event(kind, minutes) for kind, minutes in lines]
    now_s = at(now).timestamp()
    if isinstance(found, str):
        with pytest.raises(RefusedError, match=found):
            coats.primer_states(primed, events, now_s=now_s)
        return
    got = coats.primer_states(primed, events, now_s=now_s).get("Bar")
    if found is None:
        assert got is None
        return
    begun_min, laid_min, ticked = found
    assert got == CoatState(
        begun_s=at(begun_min).timestamp(), ticked=ticked,
        laid_s=None if laid_min is None else at(laid_min).timestamp(),
    )  # fmt: skip


# The rhythm goes on


@pytest.mark.parametrize(
    ("due", "now", "wait", "said", "free", "lands"),
    [
        # A bucket takes 8 min from the first stir, the rhythm is 6 min.
        (10, 5, None, None, None, 10), (10, 10, None, None, None, 10),
        (10, 12, None, None, None, 12), (10, 16, None, None, None, 16),
        (10, 16.1, None, None, None, 24.1),
        # A word to wait until some minute: only from then on it is stirred.
        (10, 5, 2, 5, None, 10), (10, 1, 2.1, 5, None, 10.1), (10, 5, 2.1, 5, None, 13),
        (10, 5, 20, 5, None, 28), (10, 5, 20, 4, None, 28), (10, 5, 20, 3.9, None, 10),
        (10, 5, None, None, 15, 23), (10, 5, 20, 5, 15, 28), (10, 5, 12, 5, 15, 23),
    ],
)  # fmt: skip
def test_when_the_next_bucket_lands(due, now, wait, said, free, lands):
    def s(minutes):
        return -np.inf if minutes is None else at(minutes).timestamp()

    night = Made(now_s=s(now), wait_s=s(wait), wait_said_s=s(said))
    got_s = begun._next_pour_s(s(due), s(4), night, Made(interval_s=360.0), s(free), 480.0)
    assert (got_s - NIGHT_S) / 60.0 == pytest.approx(lands)


def test_a_floor_is_poured_as_its_plan_says():
    for remedies, cool in (((), False), (("cool filler",), True)):
        option = begun.option_of(Made(chilled=True, remedies=remedies, bays=2))
        assert (option.chilled, option.cool_filler, option.bays) == (True, cool, 2)
