"""How a search ends, and that no clock but the emergency's has a say in it."""

from __future__ import annotations

import math
import signal
import threading
import time
from dataclasses import replace
from itertools import count
from types import SimpleNamespace

import pytest
from ortools.sat.python import cp_model

import cureplan.planning.schedule.construct as constructing
from cureplan.planning.schedule.construct import construct, limits_for, quick_ways
from cureplan.planning.schedule.floor_model import Tables
from cureplan.planning.schedule.lexicographic import Limits, solve_in_order
from cureplan.planning.schedule.outcome import HandStop, never, stopped_by_hand
from cureplan.planning.schedule.problem import Clear, Problem, Stage, score, stage_of
from cureplan.planning.schedule.tables import Sureness
from tests.schedule.rooms import few_rooms, pours_of, with_shifts

THREE = few_rooms("Cook line", "Servery", "Corridor")


def flow(rooms: int) -> Problem:
    """Rooms whose second stage needs what the first leaves over: an order matters."""
    takes = [(3 + 5 * r % 7, 2 + 3 * r % 5) for r in range(rooms)]
    slots = range(10 * rooms)

    def stage(crew: int, lasts: int) -> Stage:
        opens = [slot + lasts for slot in slots]
        return stage_of(crew=crew, begins=slots, lasts=lasts, opens=opens, closes=999)

    rooms_of = tuple((stage(0, first), stage(1, second)) for first, second in takes)
    return Problem(rooms=rooms_of, crosses=((),) * rooms)


@pytest.mark.thorough
def test_a_clock_that_races_changes_nothing(monkeypatch):
    # Were a busy machine's clock asked, an hour a glance would end every search at once.
    calm = construct(THREE, pours_of(THREE))
    hours = count(step=3600.0)
    limits = replace(limits_for(len(THREE.rooms)), emergency_s=1e9)
    monkeypatch.setattr(time, "monotonic", lambda: next(hours))
    hurried = construct(THREE, pours_of(THREE), limits=limits)
    assert hurried.ended == calm.ended
    assert [(p.room, p.start_s, p.option) for p in hurried.pours] == [
        (p.room, p.start_s, p.option) for p in calm.pours
    ]
    assert [(c.room, c.begins_s) for c in hurried.coats] == [
        (c.room, c.begins_s) for c in calm.coats
    ]


def test_no_room_is_tabled_for_somebody_who_waits_for_what_is_found_already():
    pours = pours_of(THREE)
    asked = iter([False, True])
    sure = Sureness(windows=0.9, margins=0.9)
    tables, limits = Tables(pours=pours), limits_for(3)
    given = constructing.construct_at(
        THREE, tables, sure, limits=limits, stop=never, ends=lambda: next(asked)
    )
    assert given == (None, 0.0)
    assert list(tables.by_room) == [THREE.rooms[0].name]


def test_the_emergency_is_told_as_such():
    solved = solve_in_order(flow(8), None, limits=Limits(work=50.0, emergency_s=0.0), seed=1)
    assert solved.ended == "out of time"
    assert solved.known == "unknown"
    assert not solved.infeasible


def test_no_work_is_not_impossible():
    solved = solve_in_order(flow(8), None, limits=Limits(work=1e-9), seed=1)
    assert solved.ended == "out of work"
    assert solved.known == "unknown"


def test_what_cannot_be_is_impossible_and_settled():
    problem = flow(2)
    tight = tuple((first, second.keep(second.begins < 3)) for first, second in problem.rooms)
    solved = solve_in_order(
        replace(problem, rooms=tight), None, limits=Limits(work=5.0), seed=1
    )
    assert (solved.known, solved.ended) == ("impossible", "settled")


@pytest.mark.thorough
def test_a_solver_that_gives_up_is_not_taken_for_ctrl_c(monkeypatch):
    # CP-SAT may come back before any of its limits; the later parts are still asked for.
    asked = []

    def gives_up(solver, model, listener):
        asked.append(solver.parameters.max_deterministic_time)
        return cp_model.UNKNOWN

    class Empty:
        deterministic_time = 0.0

    monkeypatch.setattr(cp_model.CpSolver, "solve", gives_up)
    monkeypatch.setattr(cp_model.CpSolver, "response_proto", property(lambda _: Empty))
    schedule = construct(THREE, pours_of(THREE))
    assert schedule.pours
    assert schedule.ended == "gave up"
    assert not schedule.stopped
    assert schedule.known == "found"
    assert len(asked) > 2


@pytest.mark.thorough
def test_unknown_is_not_taken_for_impossible(monkeypatch):
    # The quick pass finds nothing and the solver has no time to: then the plan may hold
    # to expected windows, but never claims that surer ones cannot be.
    def nothing(problem, start, **_):
        return constructing.Attempt(choice=None, score=None, stuck=(0, 1), placed=0)

    monkeypatch.setattr(constructing, "improve_orders", nothing)
    schedule = construct(THREE, pours_of(THREE), limits=Limits(work=1e-9))
    assert not schedule.pours
    assert schedule.known == "unknown"
    enough = construct(THREE, pours_of(THREE), limits=Limits(work=20.0))
    assert enough.held_frac is None
    assert enough.pours


def test_ctrl_c_before_the_first_order_still_gives_a_plan():
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        tables = Tables(pours=pours_of(THREE))
        of, pressed = tables.of, []

        class Pressing:
            pours = tables.pours

            def of(self, room):
                if not pressed:
                    pressed.append(room)
                    signal.raise_signal(signal.SIGINT)
                return of(room)

        schedule = construct(THREE, tables.pours, tables=Pressing())
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, before)
    assert pressed
    assert schedule.ended == "stopped by hand"
    assert len(schedule.pours) == len(THREE.rooms)


def test_a_second_ctrl_c_is_an_interrupt_as_ever():
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with stopped_by_hand() as stop:
            signal.raise_signal(signal.SIGINT)
            assert stop()
            with pytest.raises(KeyboardInterrupt):
                signal.raise_signal(signal.SIGINT)
    finally:
        signal.signal(signal.SIGINT, before)


@pytest.mark.parametrize(("handler", "elsewhere"), [(signal.SIG_IGN, False), (None, True)])
def test_what_is_not_pythons_to_handle_stays_as_it_is(handler, elsewhere):
    found = []

    def listen():
        with stopped_by_hand() as stop:
            found.append((signal.getsignal(signal.SIGINT), stop()))

    mine = handler or signal.default_int_handler
    before = signal.signal(signal.SIGINT, mine)
    try:
        if elsewhere:
            # Only the main thread may say who handles it.
            thread = threading.Thread(target=listen)
            thread.start()
            thread.join()
        else:
            listen()
        assert found == [(mine, False)]
        assert signal.getsignal(signal.SIGINT) is mine
    finally:
        signal.signal(signal.SIGINT, before)


@pytest.mark.thorough
def test_looking_for_help_ends_at_once_when_stopped(monkeypatch):
    job = with_shifts(THREE, coats=("11:00", "22:00"))
    tables = Tables(pours=pours_of(job))
    schedule = construct(job, tables.pours, tables=tables)
    assert not schedule.keeps_limits
    monkeypatch.setattr(HandStop, "__call__", lambda _: True)
    ways, _ = quick_ways(job, tables, schedule, HandStop(), math.inf)
    assert ways == ()


def test_ties_go_to_slack():
    # Two rooms may be coated at any hour from 0 to 300; all else is the same.
    slots = range(0, 301, 20)
    pour = stage_of(crew=0, begins=[0], lasts=1, opens=[10], closes=300)
    rest = stage_of(crew=1, begins=slots, lasts=1, opens=[400] * 16, closes=999)
    problem = Problem(
        rooms=((pour, rest),),
        crosses=((),),
        clear=Clear(band=10, opening=30, closing=60, ample=240),
    )
    solved = solve_in_order(problem, ((0, 15),), limits=Limits(work=5.0), seed=1)
    assert solved.proven
    assert solved.choice is not None
    begins = int(rest.begins[solved.choice[0][1]])
    assert 40 <= begins <= 60
    assert score(problem, solved.choice).tight == 0


def test_what_the_solver_worked_is_added_up(monkeypatch):
    told = SimpleNamespace(worked=7.0)
    monkeypatch.setattr(constructing, "solve_in_order", lambda *_, **__: told)
    search = constructing._Search(
        job=SimpleNamespace(seed=1), tables=None, progress=None, limits=None, stop=lambda: False
    )
    begun = SimpleNamespace(
        first=SimpleNamespace(choice=((0,),)), model=SimpleNamespace(problem=None), on_news=None
    )
    assert search.solved(begun) is told
    search.solved(begun)
    assert search.worked == 14.0
