"""Order and start: a quick answer by forward timing, then the solver's better one or proof.

Coats are held to the job's confidence; where no order and start can, they are held to
what is expected, and the plan is short of policy. Where even that fails, the limit that
is in the way is named.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from cureplan.job.model import Job
from cureplan.planning.pour import AS_IS, RoomPours
from cureplan.schedule.calendar import crew_spans
from cureplan.schedule.floor_model import FloorModel, Tables, floor_model
from cureplan.schedule.forward import Attempt, improve_orders
from cureplan.schedule.lexico import Limits, News, Solved, solve_in_order
from cureplan.schedule.outcome import Failure, Schedule
from cureplan.schedule.placing import Windows

__all__ = ["Progress", "Schedule", "can_be_done", "construct"]

Progress = Callable[[str], None]

WINDOWS: tuple[Windows, ...] = ("sure", "expected")
MOST_ORDERS = 60
WORK_PER_ROOM = 1.0
"""Solver work a room may cost, in the solver's own count; measured to settle 5 rooms in
well under a second and to stop 24 within the half minute."""
WALL_S = 25.0
"""A stop for slow machines only: past it the same answer need not come twice."""


def construct(
    job: Job,
    pours: Mapping[str, RoomPours],
    *,
    progress: Progress | None = None,
) -> Schedule:
    """Place every pour and coat of a job.

    Parameters
    ----------
    job : Job
        The job; its `seed` makes the search repeatable.
    pours : mapping
        `RoomPours` of every room, by name.
    progress : callable, optional
        Told in a few words what has been found.

    Returns
    -------
    Schedule
        The best found, with what is proven of it; its `failures` are empty when every
        hard limit is kept. Ctrl-C returns the best so far.
    """
    tables = Tables(pours=pours)
    stuck: tuple[FloorModel, Attempt] | None = None
    for windows in WINDOWS:
        model = floor_model(job, tables, windows=windows)
        if model.problem.empty:
            continue
        first = improve_orders(model.problem, model.first_order(), most=MOST_ORDERS)
        solved = solve_in_order(
            model.problem,
            first.choice,
            limits=Limits(work=WORK_PER_ROOM * len(job.rooms), wall_s=WALL_S),
            seed=job.seed,
            told=None if progress is None else _teller(progress),
        )
        if solved.choice is not None:
            return _described(model.schedule(solved.choice), solved)
        stuck = (model, first)
    return _failed(job, pours, stuck)


def can_be_done(job: Job, pours: Mapping[str, RoomPours]) -> bool:
    """Whether the quick pass finds any order and start, windows as expected.

    Not a proof of the contrary: it only looks for a way that works.
    """
    model = floor_model(job, Tables(pours=pours), windows="expected")
    if model.problem.empty:
        return False
    first = improve_orders(model.problem, model.first_order(), most=MOST_ORDERS)
    return first.choice is not None


def _teller(progress: Progress) -> Callable[[News], None]:
    def tell(news: News) -> None:
        state = "settled" if news.settled else "better"
        progress(f"{news.part.replace('_', ' ')}: {state}")

    return tell


def _described(schedule: Schedule, solved: Solved) -> Schedule:
    gap_frac = None
    bound = solved.bounds.get("ready")
    if solved.score is not None and bound is not None and solved.score.ready > 0:
        gap_frac = max(0.0, (solved.score.ready - bound) / solved.score.ready)
    return replace(
        schedule,
        solver="forward timing and CP-SAT" if solved.asked else "forward timing",
        proven=solved.proven,
        gap_frac=gap_frac,
        stopped=solved.stopped,
    )


def _failed(
    job: Job, pours: Mapping[str, RoomPours], stuck: tuple[FloorModel, Attempt] | None
) -> Schedule:
    failure = _no_room_for_a_pour(job, pours) or _no_place(job, stuck)
    return Schedule(pours=(), coats=(), failures=(failure,), required_s=job.policy.margin_s)


def _no_room_for_a_pour(job: Job, pours: Mapping[str, RoomPours]) -> Failure | None:
    """The first room whose pour no shift holds, all alone."""
    spans = crew_spans(job, job.crew.pour_shifts)
    longest_s = max((s.ends_s - s.begins_s - job.crew.setup_s for s in spans), default=0.0)
    for name, room in pours.items():
        lasts_s = room.plan(AS_IS).times.last_s
        if lasts_s > longest_s:
            return Failure(limit="pour shifts", room=name, wanted_s=lasts_s, found_s=longest_s)
    return None


def _no_place(job: Job, stuck: tuple[FloorModel, Attempt] | None) -> Failure:
    """The task that found no place in the best order tried."""
    due_s = job.access.open_by.timestamp()
    if stuck is None or stuck[1].stuck is None:
        return Failure(limit="together", room=job.rooms[0].name, wanted_s=due_s, found_s=due_s)
    room, stage = stuck[1].stuck
    limit = "pours together" if stage == 0 else f"coat {stage}"
    return Failure(limit=limit, room=job.rooms[room].name, wanted_s=due_s, found_s=due_s)
