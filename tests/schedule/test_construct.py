"""Order and start of whole jobs: what must hold of every answer, and what makes it worse."""

from __future__ import annotations

import math
import signal
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations, pairwise

import pytest

from cureplan.api import demo_job_path, read_job
from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.planning.schedule.construct import (
    Schedule,
    construct,
    limits_for,
    quick_ways,
)
from cureplan.planning.schedule.floor_model import Tables
from cureplan.planning.schedule.lexicographic import Limits
from cureplan.planning.schedule.outcome import never
from cureplan.planning.schedule.relax import explain
from tests.schedule.rooms import demo, due_sooner, few_rooms, pours_of, with_shifts

PLENTY = Limits(work=30.0)
LATE = datetime(2013, 7, 30, tzinfo=UTC)
THREE = few_rooms("Cook line", "Servery", "Corridor")
TWO = few_rooms("Dish room", "Corridor")


def planned(job: Job, *, what_helps: bool = False) -> Schedule:
    tables = Tables(pours=pours_of(job))
    schedule = construct(job, tables.pours, limits=PLENTY, tables=tables)
    helped = what_helps and not schedule.keeps_limits
    if not helped:
        return schedule
    ways, _ = quick_ways(job, tables, schedule, never, math.inf)
    return replace(schedule, relaxed=ways)


@pytest.fixture(scope="module")
def three() -> Schedule:
    return planned(THREE)


def least(schedule: Schedule) -> float:
    return min(pour.planning_margin_s for pour in schedule.pours)


@pytest.mark.thorough
def test_the_demo_is_settled_and_keeps_its_policy():
    job = read_job(demo_job_path("school-kitchen"))
    schedule = construct(job, pours_of(job), limits=PLENTY)
    assert schedule.proven
    assert schedule.gap_frac == 0.0
    assert schedule.keeps_limits
    assert schedule.opens_s <= job.access.open_by.timestamp()
    tasks = sorted(schedule.coats, key=lambda coat: coat.begins_s)
    for before, after in pairwise(tasks):
        assert after.begins_s >= before.end_s + job.crew.changeover_s
    for coat in schedule.coats:
        assert coat.window.opens_s <= coat.start_s <= coat.window.closes_s


@pytest.mark.thorough
def test_the_same_answer_comes_twice(three):
    again = planned(THREE)
    assert [(p.room, p.start_s, p.option) for p in again.pours] == [
        (p.room, p.start_s, p.option) for p in three.pours
    ]
    assert [(c.room, c.coat, c.begins_s) for c in again.coats] == [
        (c.room, c.coat, c.begins_s) for c in three.coats
    ]


def test_nobody_crosses_a_floor_that_is_shut(three):
    closed = [task.closed for task in (*three.pours, *three.coats) if task.room == "Corridor"]
    for task in (*three.pours, *three.coats):
        if task.room == "Corridor":
            continue
        begins_s = getattr(task, "begins_s", None) or task.start_s
        assert not any(span.meets(begins_s, task.end_s) for span in closed)


@pytest.mark.thorough
@pytest.mark.parametrize("stations", [3, 4])
def test_another_station_never_lowers_the_least_margin(three, stations):
    crew = replace(THREE.crew, stations=stations, mixer=stations)
    more = planned(replace(THREE, crew=crew))
    asked_s = THREE.policy.margin_s
    assert min(least(more), asked_s) >= min(least(three), asked_s) - 0.5


@pytest.mark.parametrize(
    "wider",
    [{"pours": ("18:00", "06:00")}, {"coats": ("04:00", "19:00")}],
    ids=["pours", "coats"],
)
def test_a_wider_shift_never_makes_it_worse(three, wider):
    # Where both keep every margin with as few remedies, the opening decides.
    more = planned(with_shifts(THREE, **wider))
    assert more.keeps_limits >= three.keeps_limits
    cost = [
        sum(len(p.option.remedies()) + p.option.bays for p in s.pours) for s in (more, three)
    ]
    assert cost[0] <= cost[1]
    if cost[0] == cost[1]:
        assert more.opens_s <= three.opens_s + 60.0


@pytest.mark.thorough
def test_pours_wait_where_their_first_coat_would_fall_before_the_shift():
    job = with_shifts(THREE, coats=("09:00", "21:00"))
    schedule = planned(job)
    assert schedule.keeps_limits
    first = min(pour.start_s for pour in schedule.pours)
    soonest_s = job.access.begins.timestamp() + job.crew.setup_s
    assert first > soonest_s + 600.0
    assert not any(pour.delayed for pour in schedule.pours)


@pytest.mark.thorough
def test_what_some_rooms_miss_does_not_hide_a_proof():
    # Asked for more than the heat leaves, floors fall short, and the cheapest way may miss
    # more than the least of each floor by itself.
    schedule = planned(replace(THREE, policy=replace(THREE.policy, margin_s=300.0)))
    assert not schedule.keeps_limits
    assert schedule.proven


def test_a_job_that_does_not_list_the_hour_starts_at_once():
    job = replace(THREE, policy=replace(THREE.policy, remedies=("chill", "bays")))
    # Coats may follow whenever they can: nothing else makes a pour wait.
    schedule = planned(with_shifts(job, coats=("03:00", "17:00")))
    starts = [pour.start_s for pour in schedule.pours]
    # At the first minute at which the tools for its coat still come in over a dry corridor.
    soonest_s = job.access.begins.timestamp() + job.crew.setup_s
    assert soonest_s <= starts[0] <= soonest_s + 900.0
    for before, after in pairwise(schedule.pours):
        assert after.start_s - before.end_s - job.crew.changeover_s < 61.0


def options(**crew_and_kits: object) -> set[tuple[str, ...]]:
    stations, storage_c = crew_and_kits["stations"], crew_and_kits["storage_c"]
    job = replace(
        THREE,
        crew=replace(THREE.crew, stations=stations, mixer=stations),
        materials=replace(THREE.materials, storage_c=storage_c),
        policy=replace(THREE.policy, remedies=crew_and_kits["remedies"]),
    )
    schedule = planned(job)
    assert schedule.keeps_limits
    return {pour.option.remedies() for pour in schedule.pours}


@pytest.mark.thorough
def test_remedies_are_taken_in_order_and_only_as_far_as_needed():
    # Cold kits and four stations need nothing; warm kits need ice alone.
    allowed = ("chill", "bays")
    assert options(stations=4, storage_c=12.0, remedies=allowed) == {()}
    assert options(stations=4, storage_c=29.0, remedies=allowed) == {("chill",)}
    # Three stations and cellar kits: either does, so the job's order decides.
    assert options(stations=3, storage_c=20.0, remedies=allowed) <= {(), ("chill",)}
    assert options(stations=3, storage_c=20.0, remedies=("bays", "chill")) == {(), ("bays",)}


def test_rooms_of_one_group_are_poured_in_one_go():
    rooms = tuple(
        replace(room, group="wing" if room.name in {"Preparation", "Dish room"} else None)
        for room in demo().rooms
        if room.name in {"Preparation", "Dish room", "Servery"}
    )
    job = replace(demo(), rooms=tuple(replace(room, way_out=()) for room in rooms))
    order = [pour.room for pour in planned(job).pours]
    assert abs(order.index("Preparation") - order.index("Dish room")) == 1


@pytest.mark.thorough
def test_nobody_leaves_over_a_wet_floor_behind_the_next_one():
    # Out of the cook line through the servery, out of that through the corridor.
    ways = {"Cook line": ("Servery",), "Servery": ("Corridor",), "Corridor": ()}
    rooms = tuple(replace(room, way_out=ways[room.name]) for room in THREE.rooms)
    job = replace(THREE, rooms=rooms)
    assert job.crossed_from("Cook line") == ("Servery", "Corridor")
    pours = {pour.room: pour for pour in planned(job).pours}
    for room in ("Cook line", "Servery"):
        for floor in job.crossed_from(room):
            crossed = pours[floor]
            wet_s = min(pours[room].end_s, crossed.walkable_s)
            assert wet_s <= max(pours[room].start_s, crossed.start_s), (room, floor)


def test_the_room_is_told_for_which_a_way_is_due_so_soon():
    def with_hours(**hours: int) -> Job:
        until = {name: THREE.access.open_by - timedelta(hours=h) for name, h in hours.items()}
        return replace(
            THREE, rooms=tuple(replace(r, open_by=until.get(r.name)) for r in THREE.rooms)
        )

    for job, wanted in (
        (with_hours(Servery=3), "Servery"),
        (with_hours(Servery=3, Corridor=2), "Servery"),
        (with_hours(Servery=2, Corridor=3), "Corridor"),
        (with_hours(), "Corridor"),
    ):
        assert job.due_for("Corridor") == wanted
        assert job.due("Corridor") == job.due(wanted)
    assert THREE.due_for("Servery") == "Servery"


@pytest.mark.thorough
def test_the_way_in_is_due_with_the_room_behind_it():
    sooner = THREE.access.open_by - timedelta(hours=3)
    rooms = tuple(
        replace(room, open_by=sooner) if room.name == "Cook line" else room
        for room in THREE.rooms
    )
    job = replace(THREE, rooms=rooms)
    assert job.due("Corridor") == job.due("Cook line") == sooner
    assert job.due("Servery") == job.access.open_by
    opens_s = {c.room: c.after.opens_s for c in planned(job).coats}
    assert opens_s["Corridor"] <= sooner.timestamp()


@pytest.mark.thorough
def test_a_room_wanted_sooner_is_poured_sooner():
    # Alone, the corridor comes last: it is their way out. Wanted a day sooner it cannot.
    rooms = [replace(room, way_out=()) for room in THREE.rooms]
    free = replace(THREE, rooms=tuple(rooms))
    before = planned(free)
    last = before.pours[-1].room
    opens_s = {c.room: c.after.opens_s for c in before.coats}
    wanted = min(opens_s.values())
    hurried = [
        replace(room, open_by=_at(free, wanted + 900.0)) if room.name == last else room
        for room in rooms
    ]
    schedule = planned(replace(THREE, rooms=tuple(hurried)))
    assert schedule.keeps_limits
    assert schedule.pours[-1].room != last


def _at(job: Job, epoch_s: float):
    from datetime import datetime

    return datetime.fromtimestamp(epoch_s, job.site.zone)


@pytest.mark.thorough
def test_what_cannot_be_sure_is_tried_as_expected_and_says_what_would_help():
    job = with_shifts(TWO, coats=("13:40", "18:00"))
    schedule = planned(job, what_helps=True)
    assert schedule.held_frac == 0.5
    assert not schedule.keeps_limits
    assert schedule.relaxed is not None
    assert len(schedule.relaxed) >= 2
    helped = {relaxed.say.code for relaxed in schedule.relaxed if relaxed.say is not None}
    assert "relax.coat_sooner" in helped


@pytest.mark.thorough
def test_the_relaxation_named_is_enough_and_no_more_than_needed():
    job = due_sooner(TWO, hours=24)
    schedule = planned(job, what_helps=True)
    assert schedule.relaxed is not None
    later = [r for r in schedule.relaxed if r.say and r.say.code == "relax.open_later"]
    assert len(later) == 1
    hours = 24 - later[0].effort_min / 60.0
    assert planned(due_sooner(TWO, hours=hours)).keeps_limits
    # Ten minutes are its step.
    assert not planned(due_sooner(TWO, hours=hours + 10 / 60)).keeps_limits


def codes(messages: tuple[Message, ...]) -> list[str]:
    return [message.code for message in messages]


@pytest.mark.thorough
def test_a_job_that_cannot_be_done_says_why_and_what_would_do():
    job = with_shifts(few_rooms("Servery", "Dish room"), pours=("19:00", "21:00"))
    job = due_sooner(job, hours=4)
    schedule = planned(job, what_helps=True)
    assert schedule.failures
    assert schedule.known == "impossible"
    why, ways = explain(schedule, job, known_until=LATE)
    assert why.code == "none.impossible"
    each = [codes(way.values["parts"]) for way in ways.values["ways"]]
    assert "relax.pour_longer" in [parts[0] for parts in each]
    silent = explain(replace(schedule, relaxed=None), job, known_until=LATE)
    assert codes(silent) == ["none.impossible"]


def test_a_later_opening_that_the_weather_does_not_reach_is_not_passed_over_in_silence():
    # A week of weather would have let it be tried; weather that ends with the job does not.
    job = due_sooner(few_rooms("Corridor"), hours=40)
    schedule = replace(planned(job), relaxed=())
    assert schedule.failures
    short = explain(schedule, job, known_until=job.access.open_by)
    assert codes(short)[1:] == ["none.no_way", "none.weather_ends"]
    assert short[-1].values == {"until_at": job.access.open_by.isoformat()}
    assert "none.weather_ends" not in codes(explain(schedule, job, known_until=LATE))


@pytest.fixture
def ctrl_c():
    """Ctrl-C as at a terminal; a shell's background job is started with it ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield signal.default_int_handler
    signal.signal(signal.SIGINT, before)


def test_what_it_finds_is_told_and_ctrl_c_keeps_the_best(ctrl_c):
    told: list[str] = []

    def hear(words: str) -> None:
        told.append(words)
        if len(told) == 1:
            signal.raise_signal(signal.SIGINT)

    schedule = construct(THREE, pours_of(THREE), progress=hear, limits=PLENTY)
    assert schedule.stopped
    assert not schedule.proven
    assert len(schedule.pours) == len(THREE.rooms)
    assert told[0].startswith("opens ")
    assert signal.getsignal(signal.SIGINT) is ctrl_c


@pytest.mark.thorough
def test_ctrl_c_while_the_solver_works_keeps_the_best(ctrl_c):
    # A margin no floor can keep leaves the solver much to look for.
    job = replace(THREE, policy=replace(THREE.policy, margin_s=300.0))
    told: list[str] = []

    def hear(words: str) -> None:
        told.append(words)
        if "not before" in words and "not before" not in "".join(told[:-1]):
            signal.raise_signal(signal.SIGINT)

    schedule = construct(job, pours_of(job), progress=hear, limits=PLENTY)
    assert "not before" in "".join(told)
    assert schedule.stopped
    assert not schedule.proven
    assert {pour.room for pour in schedule.pours} == {room.name for room in job.rooms}


def test_more_rooms_are_given_more_work_up_to_a_limit():
    works = [limits_for(rooms).work for rooms in (1, 5, 8, 12, 24, 60)]
    assert works == sorted(works)
    assert all(a < b or b == works[-1] for a, b in combinations(works, 2))


@pytest.mark.thorough
def test_two_ways_are_named_for_a_short_margin_and_each_mends_it():
    policy = replace(TWO.policy, remedies=("hour",))
    job = replace(TWO, policy=policy)
    schedule = planned(job, what_helps=True)
    assert not schedule.keeps_margins
    assert schedule.relaxed is not None
    assert len(schedule.relaxed) >= 2
    tried = 0
    for way in schedule.relaxed:
        said = {say.code.removeprefix("relax."): say.values
                for say in (way.say, way.also) if say is not None}  # fmt: skip
        if not said.keys() <= {"remedies", "more_mixing"}:
            continue
        allowed = str(said["remedies"]["remedies"]).split("; ") if "remedies" in said else []
        one_more = int("more_mixing" in said)
        crew = replace(
            job.crew, stations=job.crew.stations + one_more, mixer=job.crew.mixer + one_more
        )
        mended = replace(
            job, crew=crew, policy=replace(policy, remedies=(*policy.remedies, *allowed))
        )
        assert planned(mended).keeps_margins, way.say
        tried += 1
    assert tried
