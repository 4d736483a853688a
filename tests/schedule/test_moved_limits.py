"""Limits moved as a foreman may ask for, and how little of that works, by hand."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Heat, Shift
from cureplan.planning.floor.pour import Settled
from cureplan.planning.schedule import changes, lexicographic, near, trials
from cureplan.planning.schedule.placing import Span
from cureplan.planning.schedule.problem import Score, stage_of
from cureplan.planning.schedule.tables import Sureness

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()
LIMITS = Made(material_c=(10.0, 30.0))


@dataclass(frozen=True)
class Access:
    begins: datetime = NIGHT
    open_by: datetime = NIGHT + timedelta(days=3)


@dataclass(frozen=True)
class Crew:
    pour_shifts: tuple = (Shift(begins=time(20), ends=time(6)),)
    topcoat_shifts: tuple = ()
    people: tuple = ()
    longest_shift_s: float | None = None
    spiked_shoes: bool = False

    def most_s(self, person):
        return self.longest_shift_s if person is None else person.longest_shift_s


@dataclass(frozen=True)
class Who:
    longest_shift_s: float | None


@dataclass(frozen=True)
class Room:
    name: str
    open_for: str = "wash-down"
    open_by: datetime | None = None
    way_out: tuple = ()
    climate: str = "open"
    heat: Heat | None = None
    area_m2: float = 10.0
    topcoats: int = 1


@dataclass(frozen=True)
class Materials:
    storage_c: float | None = 20.0


@dataclass(frozen=True)
class Job:
    rooms: tuple = (Room("Bar"), Room("Hall"))
    access: Access = Access()
    crew: Crew = Crew()
    materials: Materials = Materials()
    cards: object = field(default_factory=lambda: Made(slurry=Made(limits=LIMITS)))
    site: object = field(default_factory=lambda: Made(zone=UTC))


# Shifts


def clocks(shifts):
    return None if shifts is None else [f"{s.begins:%H:%M}-{s.ends:%H:%M}" for s in shifts]


@pytest.mark.parametrize(
    ("shift", "begins", "ends", "moved"),
    [
        ((20, 0, 6, 0), -30, 0, ["19:30-06:00"]), ((20, 0, 6, 0), 0, 45, ["20:00-06:45"]),
        ((0, 15, 8, 0), -30, 0, ["23:45-08:00"]), ((8, 0, 23, 50), 0, 15, ["08:00-00:05"]),
        # A day less a minute is a shift, a day is none.
        ((8, 0, 7, 0), 0, 59, ["08:00-07:59"]), ((8, 0, 7, 0), 0, 60, None),
        ((8, 0, 7, 0), -59, 0, ["07:01-07:00"]), ((8, 0, 7, 0), -60, 0, None),
        ((0, 0, 0, 0), 0, 15, None), ((8, 0, 8, 0), -15, 0, None),
    ],
)  # fmt: skip
def test_shifts_are_moved_up_to_a_day(shift, begins, ends, moved):
    b_h, b_min, e_h, e_min = shift
    one = Shift(begins=time(b_h, b_min), ends=time(e_h, e_min))
    assert clocks(changes._all((one,), begins=begins, ends=ends)) == moved
    assert changes._all((), begins=begins, ends=ends) is None


@pytest.mark.parametrize(
    ("first_min", "minutes", "code", "begins", "shift"),
    [
        # Access from 20:00 on, a shift from 20:00: both begin sooner.
        (0, 30, "in_sooner", -30, "19:30-06:00"), (60, 30, "pour_sooner", 0, "20:00-06:00"),
        # A shift that the access cuts by an hour need not begin sooner by the clock.
        (60, 60, "pour_sooner", 0, "20:00-06:00"), (60, 90, "in_sooner", -30, "19:30-06:00"),
    ],
)  # fmt: skip
def test_the_first_shift_begins_sooner_and_the_access_where_it_must(
    monkeypatch, first_min, minutes, code, begins, shift
):
    spans = [
        Span(begins_s=NIGHT_S + 60.0 * at, ends_s=NIGHT_S + 9e4) for at in (first_min, 999)
    ]
    monkeypatch.setattr(changes, "crew_spans", lambda *_: spans)
    got = changes._in_sooner(Job(), minutes)
    assert got.say.code == f"relax.{code}"
    assert (
        got.say.values["from_at"]
        == (NIGHT + timedelta(minutes=first_min - minutes)).isoformat()
    )
    assert got.job.access.begins == NIGHT + timedelta(minutes=begins)
    assert clocks(got.job.crew.pour_shifts) == [shift]
    monkeypatch.setattr(changes, "crew_spans", lambda *_: [])
    assert changes._in_sooner(Job(), minutes) is None


def test_a_crews_shifts_begin_sooner_or_end_later():
    two = (Shift(begins=time(8), ends=time(12)), Shift(begins=time(13), ends=time(17)))
    job = Job(crew=Crew(topcoat_shifts=two))
    sooner = changes._coat_sooner(job, 30)
    assert clocks(sooner.job.crew.topcoat_shifts) == ["07:30-12:00", "12:30-17:00"]
    assert sooner.say.values["clock"] == "07:30"
    longer = changes._coat_longer(job, 30)
    assert clocks(longer.job.crew.topcoat_shifts) == ["08:00-12:30", "13:00-17:30"]
    assert longer.say.values["clock"] == "17:30"
    assert changes._pour_longer(job, 30).say.values["clock"] == "06:30"


@pytest.mark.parametrize(
    ("usual_h", "own_h", "minutes", "then_h"),
    [
        (10, (), 60, (11, ())), (None, (8, None), 60, (None, (9, None))),
        (10, (8,), 60, (11, (9,))), (23, (), 60, (24, ())), (23, (), 61, None),
        (10, (23.5,), 31, None), (None, (None,), 60, None), (None, (), 60, None),
    ],
)  # fmt: skip
def test_stays_are_longer_up_to_a_day(usual_h, own_h, minutes, then_h):
    def s(hours):
        return None if hours is None else 3600.0 * hours

    crew = Crew(longest_shift_s=s(usual_h), people=tuple(Who(s(h)) for h in own_h))
    got = changes._stay_longer(Job(crew=crew), minutes)
    if then_h is None:
        assert got is None
        return
    assert got.job.crew.longest_shift_s == s(then_h[0])
    assert [who.longest_shift_s for who in got.job.crew.people] == [s(h) for h in then_h[1]]


# Rooms


def test_a_room_is_wanted_later_but_never_after_the_kitchen():
    at = NIGHT + timedelta(days=2)
    job = Job(rooms=(Room("Bar", open_by=at), Room("Hall")))
    make = changes.room_later("Bar").make
    assert make(job, 60).job.rooms[0].open_by == at + timedelta(minutes=60)
    assert make(job, 9999).job.rooms[0].open_by == job.access.open_by
    assert make(job, 60).job.rooms[1].open_by is None
    assert changes.room_later("Hall").make(job, 60) is None


@pytest.mark.parametrize(
    ("uses", "less"),
    [
        (("wash-down", "feet"), {"carts": ("carts", "feet"), "feet": ("feet", "feet")}),
        (("carts", "carts"), {"feet": ("feet", "feet")}), (("feet", "feet"), {}),
    ],
)  # fmt: skip
def test_floors_are_opened_for_less(uses, less):
    job = Job(rooms=tuple(Room(str(n), open_for=use) for n, use in enumerate(uses)))
    got = {
        change.say.values["open_for"].removeprefix("open_for."): tuple(
            room.open_for for room in change.job.rooms
        )
        for change in changes.open_for_less(job)
    }
    assert got == less


@pytest.mark.parametrize(
    ("stored_c", "kept_c"), [(20.0, None), (10.0, None), (30.0, None), (9.9, 190 / 9),
                             (30.1, 190 / 9), (None, None)],
)  # fmt: skip
def test_kits_are_kept_where_their_card_allows(stored_c, kept_c):
    found = list(changes.elsewhere_stored(Job(materials=Materials(stored_c))))
    got = [change.job.materials.storage_c for change in found]
    # 70 °F is 21.1 °C.
    assert got == ([] if kept_c is None else [pytest.approx(kept_c)])


def test_second_coats_are_laid_in_spiked_shoes():
    two = Job(rooms=(Room("Bar", topcoats=1), Room("Hall", topcoats=2)))
    assert [c.job.crew.spiked_shoes for c in changes.in_spiked_shoes(two)] == [True]
    assert not list(changes.in_spiked_shoes(Job()))
    assert not list(changes.in_spiked_shoes(replace(two, crew=Crew(spiked_shoes=True))))


@pytest.mark.parametrize(
    ("names", "kept"),
    [(("Bar",), ["Hall"]), ((), None), (("Bar", "Hall"), None), (("Gone",), None)],
)
def test_rooms_are_left_out_where_others_are_left(names, kept):
    job = Job(rooms=(Room("Bar"), Room("Hall", way_out=("Bar",))))
    found = list(changes.left_out(job, names))
    assert [[r.name for r in c.job.rooms] for c in found] == ([] if kept is None else [kept])
    if kept:
        assert found[0].job.rooms[0].way_out == ()
        assert found[0].effort_min == 300.0


def test_heaters_are_put_where_none_are_or_weaker_ones():
    def heat(to_c):
        return Heat(to_c=to_c, from_at=NIGHT, runs=True)

    job = Job(
        rooms=(Room("A"), Room("B", climate="held"), Room("C", heat=heat(15.0)),
               Room("D", heat=heat(20.0)), Room("E"))
    )  # fmt: skip
    (got,) = changes.heated(job, ["A", "B", "C", "D"], to_c=20.0)
    assert got.say.values["rooms"] == "A; C"
    assert [r.name for r in got.job.rooms if r.heat and r.heat.to_c == 20.0] == ["A", "C", "D"]
    assert not list(changes.heated(job, ["B", "D"], to_c=20.0))


def test_the_two_largest_rooms_are_split(monkeypatch):
    def ways(job, room):
        parts = [Made(part_of=room.name), Made(part_of=room.name), Made(part_of=None)]
        return iter([] if room.name == "B" else [Made(rooms=parts)])

    monkeypatch.setattr(changes, "ways_to_split", ways)
    rooms_ = [Room(name, area_m2=area) for name, area in zip("ABCD", (1, 9, 7, 5), strict=True)]
    (got,) = changes.splits(Job(rooms=tuple(rooms_)))
    assert got.say.values == {"room": "C", "parts": 2}


def test_two_changes_cost_what_both_do():
    one = changes.Change(job=1, say=Message("relax.a", {}), effort_min=10.0)
    two = changes.Change(
        job=2, say=Message("relax.b", {}), effort_min=5.0,
        further=changes.Change(job=3, say=Message("relax.b", {}), effort_min=7.0),
    )  # fmt: skip
    both = two.after(one)
    assert (both.say.code, both.also.code, both.effort_min) == ("relax.a", "relax.b", 15.0)
    assert both.further.effort_min == 17.0
    less = changes.with_less(two, one)
    assert (less.say.code, less.also.code, less.effort_min) == ("relax.b", "relax.a", 15.0)
    assert less.further.effort_min == 17.0


# How little works


def graded(step_min=10, most_min=480, *, further=(60, 240)):
    def make(_, minutes):
        return changes.Change(job=minutes, say=Message("relax.a", {}), effort_min=minutes)

    return changes.Graded(make=make, step_min=step_min, most_min=most_min, further_min=further)


def looking(*, least_min=0, reach_min=10_000, pairs=False):
    """Finds a way once a limit is moved by so much."""
    asked = []

    def works(change):
        asked.append(change.job)
        return change.job >= least_min

    return Made(
        works=works, pairs=pairs, asked=asked,
        thinkable=lambda change: change is not None and change.job <= reach_min,
    )  # fmt: skip


def rooms(count):
    return Made(rooms=[None] * count)


@pytest.mark.parametrize(
    ("count", "pairs", "reach_min", "step_min", "most"),
    [
        (8, False, 10_000, 10, 48), (9, False, 10_000, 40, 12), (2, True, 10_000, 40, 12),
        # Less by an eighth as long as the weather does not reach: 48, 42, 37, 33.
        (8, False, 479, 10, 42), (8, False, 420, 10, 42), (8, False, 419, 10, 37),
        (8, False, 15, 10, 1), (8, False, 9, 10, None),
    ],
)  # fmt: skip
def test_a_limit_at_its_most_as_far_as_the_weather_is_known(
    count, pairs, reach_min, step_min, most
):
    found = trials.at_most(looking(reach_min=reach_min, pairs=pairs), rooms(count), graded())
    assert (found and found.most) == most
    if found:
        assert (found.step_min, found.enough) == (step_min, most)
    # Four steps in one, where there are four.
    for most_min, step in ((40, 40), (39, 10)):
        assert trials.at_most(looking(), rooms(9), graded(10, most_min)).step_min == step


@pytest.mark.parametrize("least_min", [1, 10, 11, 130, 240, 241, 470, 471])
def test_a_limit_is_moved_as_little_as_works(least_min):
    look = looking(least_min=least_min)
    top = trials.most_of(look, rooms(2), graded())
    got = trials.lessened(look, top)
    assert got.enough == -(-least_min // 10)
    # By halves: six looks find one of 48, and the first that all of it does.
    assert len(look.asked) <= 7


def test_a_limit_that_does_not_work_at_its_most_is_no_help():
    assert trials.most_of(looking(least_min=481), rooms(2), graded()) is None
    assert trials.most_of(looking(reach_min=0), rooms(2), graded()) is None


@pytest.mark.parametrize(
    ("least_min", "reach_min", "further"),
    [
        # An hour and four more, as far as the weather and the limit go.
        (100, 10_000, (160, 340)), (100, 159, ()), (100, 200, (160,)),
        (420, 10_000, (480, 660)),
        (480, 10_000, (540, 720)), (470, 475, ()), (480, 480, ()), (400, 485, (460, 480)),
    ],
)  # fmt: skip
def test_what_only_just_works_is_told_with_more(least_min, reach_min, further):
    look = looking(least_min=least_min, reach_min=reach_min)
    look.works = lambda change: change.job >= least_min
    top = trials.Top(rooms(2), graded(), 10, 48, 48)
    got, found = trials.least_of(look, top), []
    assert got.job == least_min
    while got.further is not None:
        got = got.further
        found.append(got.job)
    assert tuple(found) == further


@pytest.mark.parametrize(
    ("opened_min", "enough"), [(25, 3), (20, 2), (-100, 1), (999, 48), (4320, 48)]
)
def test_an_opening_is_no_later_than_what_was_found(opened_min, enough):
    job = Job()
    look = Made(opened_s=(job.access.open_by + timedelta(minutes=opened_min)).timestamp())
    top = trials.Top(job, changes.OPENING, 10, 48, 48)
    assert trials.opened(look, top).enough == enough
    other = trials.Top(job, graded(), 10, 48, 48)
    assert trials.opened(look, other).enough == 48


def failure(*names, limits=("opening",), codes=("limit.opening",)):
    return Made(rooms=names, limits=limits, says=[Message(code, {}) for code in codes])


@pytest.mark.parametrize(
    ("failures", "left"),
    [
        ([failure("A"), failure("B")], [("A", "B")]),
        ([failure("A"), failure("B", limits=("dew",))], [("B",)]),
        ([failure("A"), failure("B"), failure("C")], []),
        # Of those that do not go together each, the smallest first; three at most.
        ([failure("A", "B", "C", "D")], [("D",), ("C",), ("B",)]),
        ([failure("B", "A")], [("B",), ("A",)]),
    ],
)  # fmt: skip
def test_rooms_worth_leaving_are_never_more_than_half(failures, left):
    job = Made(rooms=[Room(n, area_m2=a) for n, a in zip("ABCD", (9, 7, 5, 3), strict=True)])
    assert trials._worth_leaving(job, failures) == left


def test_rooms_that_are_too_cold_or_wet_may_be_heated():
    failures = [
        failure("A", codes=("limit.opening", "limit.too_cold_always")),
        failure("B", codes=("limit.opening",)), failure("C", "D", codes=("limit.dew",)),
        failure("E", codes=("limit.too_hot",)), failure("F", codes=("limit.slow",)),
    ]  # fmt: skip
    assert trials._cold_rooms(failures) == ["A", "C", "D", "F"]


def test_rooms_whose_air_or_slab_is_too_hot_may_be_cooled():
    def hot(name, what, code="limit.too_hot"):
        says = [Message(code, {"what": f"limited.{what}"})]
        return Made(rooms=(name,), says=says)

    failures = [
        hot("A", "air"), hot("B", "slab", "limit.too_hot_always"), hot("C", "material"),
        hot("D", "mixed"), hot("E", "air", "limit.too_cold"), failure("F"),
    ]  # fmt: skip
    assert trials._hot_rooms(failures) == ["A", "B"]


@pytest.mark.parametrize(
    ("dew_c", "to_c"), [(10.0, 190 / 9), (15.2, 22.0), (16.0, 22.0), (30.0, 35.0)]
)
def test_heat_keeps_clear_of_the_dew_point_by_twice_what_is_asked(dew_c, to_c):
    # 3 K are asked; 70 °F is usual, 35 °C the most.
    pours = {
        name: Made(conditions=Made(dew_c=np.array([dew_c - off, np.nan])))
        for name, off in (("A", 0.0), ("B", 5.0))
    }
    look = Made(pours=pours, job=Made(policy=Made(dew_margin_k=3.0)))
    assert trials._clear_of_dew_c(look, ["A", "B"]) == pytest.approx(to_c)


@pytest.mark.parametrize(
    ("worked", "stopped", "over"), [(0.9, False, False), (1.0, False, True), (0.0, True, True)]
)
def test_looking_is_over_once_its_work_is_used_up(worked, stopped, over):
    look = Made(stop=lambda: stopped, took_s=worked, budget_s=1.0)
    assert trials.Trials.over(look) == over


def test_a_change_is_thinkable_as_far_as_the_weather_is_known():
    at = Made(job=Made(access=Made(open_by=NIGHT)))
    for reach_s, thinkable in ((NIGHT_S, True), (NIGHT_S - 1.0, False)):
        assert trials.Trials.thinkable(Made(reach_s=reach_s), at) == thinkable
    assert not trials.Trials.thinkable(Made(reach_s=1e12), None)


# The search's own words


@pytest.mark.parametrize(
    ("bound", "whole"),
    [(2.0, 2), (2.0000001, 2), (2.1, 3), (1.9999999, 2), (-0.5, 0), (-1.0, -1)],
)
def test_a_bound_is_rounded_up_but_for_a_hair(bound, whole):
    assert lexicographic._up(bound) == whole


@pytest.mark.parametrize(
    ("stopped", "worked", "late", "why"),
    [
        (True, 0.0, False, "stopped by hand"), (False, 0.98, False, "out of work"),
        (False, 0.97, False, "gave up"), (False, 0.97, True, "out of time"),
        (False, 0.99, True, "out of work"),
    ],
)  # fmt: skip
def test_why_a_solver_came_back(monkeypatch, stopped, worked, late, why):
    monkeypatch.setattr(lexicographic.time, "monotonic", lambda: 110.0 if late else 109.9)
    search = Made(stop=lambda: stopped, began_s=100.0, limits=Made(emergency_s=10.0))
    assert lexicographic._why(search, worked=worked, work=1.0) == why


def test_an_answer_is_proven_where_each_part_stands_at_its_bound():
    score = Score(*range(10))
    bounds = dict(zip(Score._fields, range(10), strict=True))
    given = {"choice": ((0,),), "score": score, "ended": "settled"}
    assert lexicographic.Solved(bounds=bounds, **given).known == "proven"
    assert lexicographic.Solved(bounds={**bounds, "ready": 5}, **given).known == "found"
    assert lexicographic.Solved(bounds={}, **given).known == "found"
    none = {"choice": None, "score": None, "bounds": bounds, "ended": "settled"}
    assert lexicographic.Solved(**none).known == "unknown"
    assert lexicographic.Solved(**none, infeasible=True).known == "impossible"


# Near schedules


def way(**more):
    given = {
        "order": ("A", "B", "C"), "options": {}, "from_s": {"A": 0.0, "B": 0.0, "C": 100.0},
        "windows": 0.9, "coats_s": {("A", 1): 5.0},
    }  # fmt: skip
    return near.Way(**{**given, **more})


def test_evenings_and_places_of_pours():
    assert way().evenings() == [["A", "B"], ["C"]]
    late = way(from_s={"A": 9.0, "B": 1.0, "C": 9.0})
    assert late.evenings() == [["B"], ["A", "C"]]
    moved = way().moved(("A", "C"), -30.0)
    assert moved.from_s == {"A": -30.0, "B": 0.0, "C": 70.0}
    assert moved.coats_s == {("A", 1): -25.0}
    swapped = way().swapped(0, 2)
    assert swapped.order == ("C", "B", "A")
    assert swapped.from_s == {"C": 0.0, "B": 0.0, "A": 100.0}


@pytest.mark.parametrize(
    ("second", "may_wait", "begins"),
    [
        # Pours of an hour; a way of 15 min and two whole minutes more are no waiting.
        (77, True, 0), (78, True, 78), (78, False, 0), (599, False, 0), (600, False, 600),
    ],
)  # fmt: skip
def test_pours_are_held_to_where_their_evening_begins(monkeypatch, second, may_wait, begins):
    shifts = [Span(begins_s=60.0 * b, ends_s=60.0 * e) for b, e in ((0, 600), (600, 1200))]
    monkeypatch.setattr(near, "crew_spans", lambda *_: shifts)
    pours = tuple(
        Made(room=name, begins_s=60.0 * at, end_s=60.0 * (at + 60), option=None)
        for name, at in (("A", 0), ("B", second))
    )
    job = Made(
        crew=Made(changeover_s=900.0, in_group_s=300.0, pour_shifts=()),
        policy=Made(remedies=("hour",) if may_wait else ()),
    )
    one = near.Near(job=job, tables=None, sure=Made(windows=0.9), schedule=Made(pours=pours))
    assert one.own.from_s == {"A": 0.0, "B": 60.0 * begins}


@pytest.mark.parametrize(
    ("clear", "coats_s", "off_s", "asked_clear", "kept"),
    [
        (True, {}, 0.0, True, True), (False, {}, 0.0, False, True),
        # Coats that are held to an hour are not kept clear as well.
        (True, {("A", 1): 5.0}, 0.0, False, True),
        # Twelve hours late is another night.
        (True, {}, 43_200.0, True, True), (True, {}, 43_201.0, True, False),
    ],
)  # fmt: skip
def test_a_way_is_timed_once_and_within_its_night(
    monkeypatch, clear, coats_s, off_s, asked_clear, kept
):
    asked = []
    own = [Made(room=name, begins_s=0.0, delayed=False) for name in "AB"]
    later = [Made(room="A", begins_s=0.0), Made(room="B", begins_s=100.0 + off_s)]
    model = Made(
        problem=Made(empty=()), names=("A", "B"), schedule=lambda _: Made(pours=later)
    )  # fmt: skip

    def time_order(_problem, order, **more):
        asked.append((order, more["clear"], more["crossed_last"]))
        return Made(choice=())

    monkeypatch.setattr(near, "floor_model", lambda *_, **__: model)
    monkeypatch.setattr(near, "order_work", lambda _: 0.25)
    monkeypatch.setattr(near, "time_order", time_order)
    monkeypatch.setattr(near.Near, "_held", lambda *_: None)
    waits = []
    monkeypatch.setattr(near.Near, "_twin", lambda _, *given: waits.append(given))
    one = near.Near(
        job=Made(policy=Made(remedies=())), tables=Made(pours={"A": None, "B": None}),
        sure=Sureness(windows=0.9, margins=0.9), schedule=Made(pours=own),
    )  # fmt: skip
    wanted = way(order=("B", "A"), from_s={"A": 0.0, "B": 100.0}, coats_s=coats_s, clear=clear)
    assert (one.placed(wanted) is not None) == kept
    assert asked == [([1, 0], asked_clear, False)]
    one.placed(wanted)
    assert one.worked == 0.5
    model.problem.empty = ((0, 0),)
    assert one.placed(wanted) is None
    assert (one.worked, len(asked)) == (0.75, 2)
    # A pour waits where it did, or where it is held to a later hour and may wait for one.
    for may_wait, delayed, held in (
        (False, False, [False, False]), (True, False, [False, True]), (False, True, [True] * 2)
    ):  # fmt: skip
        one.job.policy.remedies = ("hour",) if may_wait else ()
        for pour in own:
            pour.delayed = delayed
        waits.clear()
        one.placed(wanted)
        assert waits == list(zip("AB", held, strict=True))


def test_states_of_a_floor_are_tabled_once_and_held_to_their_hours(monkeypatch):
    made = []

    def room_stages(*_, within, **__):
        made.append((within.begins_s, within.ends_s))
        return tuple(
            stage_of(crew=0, begins=range(10 * n, 10 * n + 5), lasts=1, opens=99, closes=99)
            for n in (0, 1, 2)
        )

    monkeypatch.setattr(near, "room_stages", room_stages)
    monkeypatch.setattr(near, "crew_spans", lambda *_: (Span(begins_s=0.0, ends_s=9e4),))
    monkeypatch.setattr(near, "Tables", lambda **given: given)
    pours = Made(pour_task=1, settled=Settled())
    tables = Made(pours={"A": pours}, of=lambda _: Made(under=lambda _: None))
    job = Made(
        policy=Made(remedies=()), crew=Made(pour_shifts=()), room=lambda _: None,
        access=Made(begins=Made(timestamp=lambda: 0.0)),
    )  # fmt: skip
    one = near.Near(
        job=job, tables=tables, sure=Sureness(windows=0.9, margins=0.9), schedule=None
    )
    for from_min, coat_min, left in ((12, 23, (5, 3, 2)), (11, 20, (5, 4, 5))):
        wanted = way(
            order=("A",), options={"A": "as is"}, from_s={"A": 60.0 * from_min},
            coats_s={("A", 1): 60.0 * coat_min, ("B", 1): 1e6},
        )  # fmt: skip
        assert tuple(stage.size for stage in one._held("A", wanted)) == left
    assert made == [(720.0, 720.0 + 43_200.0)]
    assert one.worked == pytest.approx(15 * near.TABLE_WORK)
