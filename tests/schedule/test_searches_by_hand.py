"""How the search for a job's schedule goes on after each of its answers, by hand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC
from types import SimpleNamespace as Made

import pytest

from cureplan.core.messages import Message
from cureplan.planning.floor import pour
from cureplan.planning.floor.layers import CREWS
from cureplan.planning.floor.pour import PourOption
from cureplan.planning.schedule import construct, together, tried
from cureplan.planning.schedule.construct import _Begun, _Search, construct_at, quick_ways
from cureplan.planning.schedule.heuristic import Attempt
from cureplan.planning.schedule.lexicographic import SHARES, Limits, News, Solved
from cureplan.planning.schedule.outcome import Failure, Schedule, never
from cureplan.planning.schedule.placing import Span
from cureplan.planning.schedule.problem import Score, stage_of
from cureplan.planning.schedule.slots import Slots

CHOICE = ((0,),)
SCHEDULE = Schedule(pours=(), coats=(), failures=(), required_s=0.0)
FAILED = Failure(limits=("dew",), rooms=("Bar",), says=())


def ready(slot):
    return Score(*[0] * 6, slot, 0, 0, 0)


# What a search is given


def test_tables_and_work_are_made_for_a_search_that_is_given_none(monkeypatch):
    asked = []

    def search(**given):
        asked.append((given["tables"], given["limits"]))
        return Made(run=lambda: SCHEDULE, worked=3.0)

    monkeypatch.setattr(construct, "_Search", search)
    monkeypatch.setattr(construct, "Tables", lambda *, pours: f"tables of {pours}")
    monkeypatch.setattr(construct, "limits_for", lambda rooms: f"limits for {rooms}")
    one = Made(rooms=["Bar", "Hall"])
    assert construct.construct(one, "pours", stop=never).worked == 3.0
    construct.construct(one, "pours", stop=never, tables="own tables", limits="own limits")
    assert asked == [("tables of pours", "limits for 2"), ("own tables", "own limits")]


def test_a_slurry_cures_in_its_film_with_what_the_profile_holds(monkeypatch, demo_job):
    monkeypatch.setattr(construct, "room_conditions", lambda *_: {"Bar": "its air"})
    monkeypatch.setattr(construct, "topcoat_clocks", lambda card: card)
    monkeypatch.setattr(pour, "slurry_clocks", lambda card, *, film_m, **_: (card, film_m))
    asked = []

    class Given(tuple):
        def require_hours(self):
            asked.append(self[0].name)

    monkeypatch.setattr(construct, "RoomPours", lambda *given: Given(given))
    bar = Made(name="Bar")
    one = Made(
        rooms=[bar], cards=Made(slurry="slurry", topcoat="topcoat"),
        materials=replace(demo_job.materials, thickness_m=0.006, profile_allowance_m=0.001),
    )  # fmt: skip
    got = construct.prepare_pours(one, None, "settled")
    slurry = ("slurry", pytest.approx(0.007))
    assert got == {"Bar": (bar, one, slurry, "topcoat", "its air", "settled")}
    assert asked == ["Bar"]


# Heaters


@dataclass(frozen=True)
class Heat:
    runs: bool


@dataclass(frozen=True)
class Room:
    name: str
    heat: Heat | None


@dataclass(frozen=True)
class Job:
    rooms: tuple


@pytest.mark.parametrize(
    ("failed", "run"),
    [
        (("A",), "AD"), (("A", "B"), "ABD"), (("C",), "ABD"), (("D",), "ABD"),
        (("A", "C"), "AD"), ((), None),
    ],
)  # fmt: skip
def test_heaters_run_where_it_failed_else_wherever_some_are(failed, run):
    heats = {"A": Heat(False), "B": Heat(False), "C": None, "D": Heat(True)}
    job = Job(tuple(Room(name, heat) for name, heat in heats.items()))
    failures = [replace(FAILED, rooms=(name,)) for name in failed]
    got = construct.with_heaters(job, failures)
    assert (got and "".join(r.name for r in got.rooms if r.heat and r.heat.runs)) == run
    running = Job((Room("D", Heat(True)), Room("C", None)))
    assert construct.with_heaters(running, [FAILED]) is None


# How near it is


@pytest.mark.parametrize(
    ("found", "bounds", "gap_frac"),
    [
        (20, {"ready": 15}, 0.25), (20, {"ready": 20}, 0.0), (20, {"ready": 25}, 0.0),
        (0, {"ready": 0}, None), (1, {"ready": 0}, 1.0), (20, {}, None),
        (None, {"ready": 15}, None),
    ],
)  # fmt: skip
def test_how_much_sooner_it_could_open_at_most(found, bounds, gap_frac):
    score = None if found is None else ready(found)
    assert construct._gap_frac(score, bounds) == gap_frac


def begun(choice=CHOICE, *, rooms=3, empty=(), stuck=None):
    problem = Made(rooms=[None] * rooms, empty=empty, name="problem")
    model = Made(problem=problem, schedule=lambda _: SCHEDULE)
    return _Begun(
        model=model, first=Attempt(choice=choice, score=None, stuck=stuck), on_news=None
    )


def searching(**more):
    given = {
        "job": Made(seed=7, policy=Made(margin_s=180.0)), "tables": None, "progress": None,
        "limits": Limits(work=2.0), "stop": never, **more,
    }  # fmt: skip
    return _Search(**given)


@pytest.mark.parametrize(
    ("wanted", "rooms", "soonest", "stops", "gap_frac"),
    [
        # Wanted, a solver sees it, but of many rooms that open within a twentieth.
        (True, 10, 100, False, "none"), (True, 11, 100, False, 0.0),
        (True, 11, 95, False, 0.05), (True, 11, 94, False, "none"), (False, 3, 50, False, 0.5),
        (False, 11, 94, False, 0.06), (True, 3, 100, True, None),
    ],
)  # fmt: skip
def test_no_solver_sees_what_nobody_wants_or_what_is_near_enough(
    monkeypatch, wanted, rooms, soonest, stops, gap_frac
):
    asked = []
    monkeypatch.setattr(construct, "score", lambda *_: ready(100))
    monkeypatch.setattr(construct, "lower_bounds", lambda _: ready(30))

    def least_possible(_problem, found, part, low):
        asked.append((found.ready, part, low))
        return soonest

    monkeypatch.setattr(construct, "least_possible", least_possible)
    search = searching(promising=lambda _: wanted, stop=lambda: stops)
    got = search.quickly(begun(rooms=rooms))
    assert ("none" if got is None else got.gap_frac) == gap_frac
    if got is not None:
        assert got.solver == "forward timing"
    assert asked in ([], [(100, "ready", 30)])
    assert searching().quickly(begun(rooms=rooms)) is None
    assert search.quickly(begun(None)) is None


# What is begun with


@pytest.mark.parametrize(
    ("each", "most"), [(0.01, 60), (1 / 60, 60), (0.04, 25), (0.1, 10), (0.5, 10)]
)
def test_as_many_orders_are_tried_as_a_unit_of_work_allows(monkeypatch, each, most):
    problem = Made(rooms=[None], empty=())
    model = Made(problem=problem, whole=Made(size=1000), first_order=lambda: (2, 1))
    asked = []

    def improve_orders(_problem, order, **given):
        asked.append((order, given["most"]))
        return Attempt(choice=CHOICE, score=None, work=0.75)

    monkeypatch.setattr(construct, "floor_model", lambda *_, **__: model)
    monkeypatch.setattr(construct, "order_work", lambda _: each)
    monkeypatch.setattr(construct, "improve_orders", improve_orders)
    search = searching()
    search.begun(None)
    assert search.worked == construct.TABLE_WORK * 1000 + 0.75
    search.order = (1, 2)
    search.begun(None)
    assert asked == [((2, 1), most), ((1, 2), most)]
    problem.empty = ((0, 1), (0, 2))
    stuck = search.begun(None).first
    assert (stuck.choice, stuck.stuck, len(asked)) == (None, (0, 1), 2)


def solved(choice=CHOICE, *, infeasible=False, worked=0.5, bounds=None):
    return Solved(
        choice=choice, score=choice and ready(20), bounds=bounds or {}, ended="settled",
        infeasible=infeasible, worked=worked,
    )  # fmt: skip


def solver(monkeypatch, *answers):
    """What each call of the solver begins with, works for and looks for."""
    asked, left = [], list(answers)

    def solve_in_order(_problem, choice, *, limits, **given):
        asked.append((choice, limits.work, given.get("parts")))
        return left.pop(0)

    monkeypatch.setattr(construct, "solve_in_order", solve_in_order)
    return asked


def test_more_work_goes_into_a_first_answer_than_into_the_best(monkeypatch):
    other = ((1,),)
    # Six times what is given to a first answer, of which "waited" has its share.
    first = pytest.approx(6.0 * 3.0 / SHARES["waited"])
    asked = solver(monkeypatch, solved(other), solved(((2,),), worked=0.25))
    search = searching(limits=Limits(work=2.0, any_work=3.0))
    assert search.solved(begun(None)).choice == ((2,),)
    assert asked == [(None, first, ("waited",)), (other, 2.0, None)]
    assert search.worked == 0.75
    asked = solver(monkeypatch, solved(None))
    assert search.solved(begun(None)).choice is None
    assert asked == [(None, first, ("waited",))]
    asked = solver(monkeypatch, solved())
    assert search.solved(begun()).choice == CHOICE
    assert asked == [(CHOICE, 2.0, None)]


# From sure windows to expected ones


def run(monkeypatch, sure, expected, *answers, stops=False):
    """By what is known of each kind of windows at first, and what the solver answers."""
    told = []
    search = searching(
        progress=told.append, stop=lambda: stops, limits=Limits(work=2.0, any_work=3.0)
    )
    kinds = iter((begun(sure), begun(expected)))
    monkeypatch.setattr(_Search, "begun", lambda *_: next(kinds))
    monkeypatch.setattr(construct, "as_expected", lambda _: None)
    monkeypatch.setattr(construct, "_failed", lambda *_: "failed")
    asked = solver(monkeypatch, *answers)
    got = search.run()
    if got != "failed":
        got = got.known, got.sure_known
    return got, [work for _, work, _ in asked], told


def test_windows_are_kept_as_expected_where_they_cannot_be_kept_surely(monkeypatch):
    none, share = solved(None), SHARES["waited"]
    no_way = solved(None, infeasible=True)
    surely, least = pytest.approx(18.0 / share), pytest.approx(3.0 / share)
    assert run(monkeypatch, CHOICE, None, solved())[:2] == (("found", None), [2.0])
    # Not even as expected: proven before the long search for what is sure.
    assert run(monkeypatch, None, None, no_way)[:2] == ("failed", [least])
    found, asked, told = run(monkeypatch, None, CHOICE, none, solved())
    assert (found, asked) == (("found", "unknown"), [surely, 2.0])
    assert len(told) == 1
    assert run(monkeypatch, None, CHOICE, no_way, solved())[0] == ("found", "impossible")
    assert run(monkeypatch, None, CHOICE, solved(), solved())[:2] == (
        ("found", None), [surely, 2.0],
    )  # fmt: skip
    # What the loosest limits were found to allow is where their search goes on.
    assert run(monkeypatch, None, None, solved(), none, solved())[1] == [least, surely, 2.0]
    assert run(monkeypatch, None, None, none, none, none)[:2] == (
        "failed", [least, surely, surely],
    )  # fmt: skip
    # Stopped, nobody looks first whether it goes at all.
    assert run(monkeypatch, None, None, none, none, stops=True)[1] == [surely, surely]


@pytest.mark.parametrize(
    ("first", "empty", "alone", "ends_at", "asked", "found"),
    [
        (CHOICE, (), False, None, [2.0], True), (CHOICE, (), True, None, [2.0], True),
        (None, (), False, None, [2.0 / SHARES["waited"], 2.0], True),
        (None, (), True, None, [], False), (None, ((0, 1),), False, None, [], False),
        (CHOICE, (), False, 1, [], False), (CHOICE, (), False, 2, [], False),
        (CHOICE, (), False, 3, [2.0], True),
    ],
)  # fmt: skip
def test_a_schedule_at_given_limits_is_looked_for_until_it_ends(
    monkeypatch, first, empty, alone, ends_at, asked, found
):
    # Two looks at whether it is to end: before the only room is tabled, and after.
    looks = []

    def ends():
        looks.append(None)
        return len(looks) == ends_at

    monkeypatch.setattr(construct, "room_stages", lambda *_, **__: "stages")
    monkeypatch.setattr(_Search, "begun", lambda *_: begun(first, empty=empty))
    calls = solver(monkeypatch, solved(), solved())
    job = Made(rooms=["Bar"], seed=7, policy=Made(remedies=()))
    got, worked = construct_at(
        job, None, None, limits=Limits(work=2.0), stop=never, alone=alone, ends=ends
    )
    assert [work for _, work, _ in calls] == [pytest.approx(work) for work in asked]
    assert (got is not None) == found
    assert worked == 0.5 * len(asked)
    assert got is None or got.worked == worked


# Why not, and what would help


@pytest.mark.parametrize(
    ("known", "empty", "by_itself", "why"),
    [
        (False, (), (), ("unknown",)), (True, ((0, 1),), (FAILED,), ("dew",)),
        (True, ((0, 1),), (), ("together",)), (True, (), (FAILED,), ("together",)),
        (False, ((0, 1),), (FAILED,), ("unknown",)),
    ],
)  # fmt: skip
def test_why_not_is_asked_of_each_room_where_one_has_no_way(
    monkeypatch, known, empty, by_itself, why
):
    both = replace(FAILED, limits=("together",))
    monkeypatch.setattr(construct, "alone", lambda *_: by_itself)
    monkeypatch.setattr(construct, "together", lambda *_, **__: (both,))
    job = Made(policy=Made(margin_s=180.0))
    got = construct._failed(
        job, None, begun(None, empty=empty), solved(None, infeasible=known), never
    )
    assert got.failures[0].limits == why
    assert (got.known, got.required_s) == ("impossible" if known else "unknown", 180.0)


@pytest.mark.parametrize(
    ("schedule", "margins", "asked"),
    [
        ({"keeps": True}, True, [("margin alone", "margins", 8.0)]),
        ({"keeps": False}, False, [("margin", "limits", 8.0)]),
        ({"keeps": True, "held_frac": 0.5}, False, [("windows", "limits", 8.0)]),
        ({"keeps": False, "failures": (FAILED,)}, False, [("windows", "windows", 8.0)]),
        ({"keeps": True, "failures": (FAILED,)}, False, [("windows", "limits", 8.0)]),
        ({"keeps": False, "held_frac": 0.5}, False,
         [("windows", "windows", 4.0), ("margin alone", "margins", 4.0)]),
    ],
)  # fmt: skip
def test_help_is_looked_for_where_it_falls_short(monkeypatch, schedule, margins, asked):
    calls = []

    def relaxations(_job, _tables, *, goal, keeps, budget_s, **_):
        calls.append((goal, keeps, budget_s))
        return (f"{goal} 1", f"{goal} 2", f"{goal} 3"), 1.5

    monkeypatch.setattr(construct, "relaxations", relaxations)
    one = Made(
        held_frac=schedule.get("held_frac"), failures=schedule.get("failures", ()),
        keeps_margins=schedule["keeps"],
    )  # fmt: skip
    got, worked = quick_ways(None, None, one, never, 8.0, margins_alone=margins)
    assert calls == asked
    assert worked == 1.5 * len(asked)
    assert got == (
        ("windows 1", "windows 2", "margin alone 1", "margin alone 2")
        if len(asked) == 2
        else tuple(f"{asked[0][0]} {n}" for n in (1, 2, 3))
    )


# What is told meanwhile


def test_news_are_told_once_with_what_they_are_worth():
    # Slots count from Thursday, 1 January 1970, 00:00.
    told = []
    model = Made(slots=Slots(origin_s=0.0), job=Made(site=Made(zone=UTC)))
    teller = construct._Teller(told.append, model)
    teller.better(Attempt(choice=None, score=None))
    teller.better(Attempt(choice=CHOICE, score=ready(60)))
    for part, slot, bound, settled in (
        ("cost", 60, None, False), ("cost", 61, 30, True), ("ready", 62, None, False),
        ("ready", 63, 30, False), ("ready", 63, 63, True), ("ready", 64, None, True),
    ):  # fmt: skip
        teller(News(part=part, found=ready(slot), bound=bound, settled=settled))
    assert told == [
        "opens Thu 01:00", "opens Thu 01:01", "opens Thu 01:02",
        "opens Thu 01:03, not before Thu 00:30", "opens Thu 01:03, not sooner",
        "opens Thu 01:04, not sooner",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("asked", "by"), [(True, "forward timing and CP-SAT"), (False, "forward timing")]
)
def test_it_is_said_who_found_a_schedule(asked, by):
    one = replace(solved(bounds={"ready": 15}), asked=asked)
    got = construct._described(SCHEDULE, one)
    assert (got.solver, got.known, got.ended, got.gap_frac) == (by, "found", "settled", 0.25)


def test_an_unknown_answer_says_how_its_search_ended():
    got = construct._why_not(None, None, begun(None), solved(None), never)
    assert got[0].says == (Message("limit.unknown", {"ended": "settled"}),)


# What does not go together, and what else is tried


def test_the_fewest_rooms_and_limits_that_do_not_go_together(monkeypatch):
    # Made up: A and C do not go together with both of these limits.
    def impossible(some, _stop):
        rooms, limits = some
        return {"A", "C"} <= set(rooms) and {"pour shift", "opening"} <= limits

    monkeypatch.setattr(together, "Some", lambda _job, _tables, rooms, limits: (rooms, limits))
    monkeypatch.setattr(together, "_impossible", impossible)
    monkeypatch.setattr(together, "_work_of", lambda *_: ())
    monkeypatch.setattr(together, "limits_of_job", lambda _: together.LIMITS)
    (got,) = together.together(Made(rooms=[Made(name=name) for name in "ABCD"]), None)
    assert (got.rooms, got.limits) == (("A", "C"), ("pour shift", "opening"))
    # A room by itself is never left out.
    monkeypatch.setattr(together, "_impossible", lambda some, _: some[0] != ("A",) or None)
    assert together.together(Made(rooms=[Made(name="A")]), None)[0].rooms == ("A",)


@pytest.mark.parametrize(
    ("empty", "first", "infeasible", "impossible"),
    [
        (((0, 0),), CHOICE, False, True), ((), CHOICE, True, False), ((), None, True, True),
        ((), None, False, False),
    ],
)  # fmt: skip
def test_what_is_left_open_is_taken_as_possible(
    monkeypatch, empty, first, infeasible, impossible
):
    monkeypatch.setattr(
        together, "improve_orders", lambda *_, **__: Attempt(choice=first, score=None)
    )
    monkeypatch.setattr(
        together, "solve_in_order", lambda *_, **__: solved(None, infeasible=infeasible)
    )
    some = Made(
        problem=Made(empty=empty), model=Made(first_order=lambda: (0,)), job=Made(seed=7)
    )
    assert together._impossible(some, never) == impossible


def test_the_work_of_each_crew_is_told_against_its_hours(monkeypatch):
    def stage(crew, *lasts):
        begins = list(range(len(lasts)))
        return stage_of(crew=CREWS.index(crew), begins=begins, lasts=lasts, opens=99, closes=99)

    # Two rooms; the shorter of two ways to pour. Ten minutes of set-up, five to move over.
    rooms = {
        "A": (stage("pour", 50, 40), stage("topcoat", 20)), "B": (stage("pour", 30),)
    }  # fmt: skip
    spans = [Span(begins_s=60.0, ends_s=6060.0), Span(begins_s=60.0, ends_s=360.0)]
    monkeypatch.setattr(together, "crew_spans", lambda *_: spans)
    monkeypatch.setattr(
        together, "Some", lambda *given: Made(problem=Made(rooms=[rooms[given[2][0]]]))
    )
    crew = Made(changeover_s=300.0, setup_s=600.0, pour_shifts=(), topcoat_shifts=())
    pour, topcoat = together._work_of(Made(crew=crew), None, ["A", "B"])
    assert (pour.code, topcoat.code) == ("limit.work_pour", "limit.work_topcoat")
    assert pour.values == {"work_s": 75 * 60.0, "have_s": 5400.0, "longest_s": 5400.0}
    assert topcoat.values == {"work_s": 20 * 60.0, "have_s": 5400.0, "longest_s": 5400.0}


@pytest.mark.parametrize(
    ("first_h", "last_h", "hours"),
    [
        (-99, 99, range(-12, 13)), (-2, 4, range(-2, 4)), (-1.99, 3.99, range(-1, 3)),
    ],
)  # fmt: skip
def test_other_hours_are_tried_as_far_as_the_weather_is_known(first_h, last_h, hours):
    # An hour of pouring from half past nine on: full hours around nine.
    nine_s = 9 * 3600.0
    pours = Made(
        conditions=Made(first_s=nine_s + 3600.0 * first_h, last_s=nine_s + 3600.0 * last_h),
        plan=lambda _: Made(times=Made(last_s=3600.0)),
    )  # fmt: skip
    tables = Made(pours=pours, least_s=lambda _, at_s: at_s)
    option = PourOption(chilled=False, cool_filler=False, bays=1)
    poured = Made(start_s=nine_s + 1800.0, option=option, margin_s=5.0)
    got = tried._floor(None, tables, poured)
    assert ((got.hours_s - nine_s) / 3600.0).tolist() == list(hours)
    assert got.options_s[option] == 5.0
