"""What would have to give way: the least change of one limit that lets a job go.

Each limit is moved alone; of those that can be moved little or much, the least that was
found to do is named. The solver is asked only where the quick pass finds nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Literal

import numpy as np

from cureplan.job.model import Job
from cureplan.planning.crew import bottleneck
from cureplan.planning.pour import AS_IS, RoomPours
from cureplan.say import Say
from cureplan.schedule.changes import GRADED, Change, Graded, more_hands
from cureplan.schedule.floor_model import FloorModel, Tables, floor_model
from cureplan.schedule.forward import improve_orders
from cureplan.schedule.lexico import Limits, solve_in_order
from cureplan.schedule.outcome import Relaxation
from cureplan.schedule.problem import Choice, Problem, Stage, score

__all__ = ["Goal", "relaxations"]

Goal = Literal["windows", "margin"]
"""What is to be had: every window as surely as asked, or every margin too."""

MOST_ORDERS = 20
PROBE = Limits(work=0.6, wall_s=10.0)
LATE_EFFORT_MIN = 300.0
"""A room handed over a day late, against minutes of delay for all: invented."""
FEW_LATE = 0.5


@dataclass(slots=True, kw_only=True)
class _Trials:
    """Changed jobs, planned as quickly as may be."""

    job: Job
    pours: Mapping[str, RoomPours]
    goal: Goal
    tables: Tables = field(init=False)

    def __post_init__(self) -> None:
        self.tables = Tables(pours=self.pours)

    def model(self, job: Job) -> FloorModel:
        tables = self.tables
        if job.crew.pour_shifts is None or not _same_hands(job, self.job):
            tables = Tables(pours=_with_crew(job, self.pours))
        return floor_model(job, tables, windows="sure")

    def choice(self, problem: Problem, order: tuple[int, ...]) -> Choice | None:
        """A choice that reaches the goal, or None where none was found."""
        if problem.empty:
            return None
        first = improve_orders(problem, order, most=MOST_ORDERS)
        if self._enough(problem, first.choice):
            return first.choice
        parts = ("waited", "short_most") if self.goal == "margin" else ("waited",)
        solved = solve_in_order(problem, first.choice, limits=PROBE, seed=0, parts=parts)
        return solved.choice if self._enough(problem, solved.choice) else None

    def _enough(self, problem: Problem, choice: Choice | None) -> bool:
        if choice is None:
            return False
        return self.goal == "windows" or score(problem, choice).short_most == 0

    def works(self, change: Change) -> bool:
        reach_s = max(room.conditions.last_s for room in self.pours.values())
        if change.job.access.open_by.timestamp() > reach_s:
            return False
        model = self.model(change.job)
        return self.choice(model.problem, model.first_order()) is not None


def relaxations(
    job: Job, pours: Mapping[str, RoomPours], *, goal: Goal = "windows"
) -> tuple[Relaxation, ...]:
    """Single changes under which the job reaches a goal, cheapest first.

    Not a proof that less would not do: a change counts when a way was found quickly.

    Parameters
    ----------
    job : Job
        A job that does not reach the goal as it is.
    pours : mapping
        Its rooms; their conditions serve the changed jobs too.
    goal : {"windows", "margin"}
        Every hard limit and window kept, or every margin as well.

    Returns
    -------
    tuple of Relaxation
    """
    trials = _Trials(job=job, pours=pours, goal=goal)
    plans = [room.plan(AS_IS) for room in pours.values()]
    tasks = dict.fromkeys(("mixing", bottleneck(plans), "topcoat"))
    hands = [more_hands(job, task) for task in tasks]
    found = [change for change in hands if trials.works(change)]
    found += [change for graded in GRADED if (change := _least(trials, graded)) is not None]
    relaxed = [
        Relaxation(say=change.say, words=change.words, effort_min=change.effort_min)
        for change in found
    ]
    relaxed += _late_rooms(trials)
    return tuple(sorted(relaxed, key=lambda r: r.effort_min))


def _least(trials: _Trials, graded: Graded) -> Change | None:
    """The least of a graded change that works; None when not even the most does."""
    low, high = 0, graded.most_min // graded.step_min
    reach_s = max(room.conditions.last_s for room in trials.pours.values())
    best: Change | None = None
    while high > low:
        # First the most of all: what does not help then never does.
        at = high if best is None else (low + high) // 2
        if at == low:
            break
        change = graded.make(trials.job, at * graded.step_min)
        if best is None and (change is None or change.job.access.open_by.timestamp() > reach_s):
            high //= 2
            continue
        if change is not None and trials.works(change):
            best, high = change, at
        elif best is None:
            return None
        else:
            low = at
    return best


def _late_rooms(trials: _Trials) -> list[Relaxation]:
    """The fewest rooms that would have to open later, all others in time."""
    job = trials.job
    reach_s = max(room.conditions.last_s for room in trials.pours.values())
    far = datetime.fromtimestamp(reach_s, UTC)
    if far <= job.access.open_by:
        return []
    open_jobs = replace(
        job,
        access=replace(job.access, open_by=far),
        rooms=tuple(replace(room, open_by=None) for room in job.rooms),
    )
    model = trials.model(open_jobs)
    if model.problem.empty:
        return []
    due = [(room.open_by or job.access.open_by).timestamp() for room in job.rooms]
    problem = _counting_late(model, due)
    first = improve_orders(problem, model.first_order(), most=MOST_ORDERS)
    parts = ("waited", "short_most", "short_sum", "last_shift", "cost", "ready")
    solved = solve_in_order(problem, first.choice, limits=PROBE, seed=0, parts=parts)
    if solved.choice is None or solved.score is None:
        return []
    late = [
        room.name
        for room, stages, row in zip(job.rooms, problem.rooms, solved.choice, strict=True)
        if stages[-1].short[row[-1]] > 0
    ]
    if not late or len(late) > FEW_LATE * len(job.rooms):
        return []
    if trials.goal == "margin" and not trials._enough(model.problem, solved.choice):
        return []
    opens_s = float(model.slots.at(solved.score.ready))
    opens = datetime.fromtimestamp(opens_s, job.site.zone)
    rooms = ", ".join(late)
    return [
        Relaxation(
            say=Say("alternative.rooms_later", {"rooms": rooms, "open_at": opens.isoformat()}),
            words=f"hand over {rooms} later, {opens:%a %d %b %H:%M}, the rest in time",
            effort_min=LATE_EFFORT_MIN * len(late),
        )
    ]


def _counting_late(model: FloorModel, due_s: list[float]) -> Problem:
    """The problem in which nothing is missing but the hour of a room's opening."""

    def counted(stages: tuple[Stage, ...], due: float) -> tuple[Stage, ...]:
        free = [replace(stage, short=np.zeros_like(stage.short)) for stage in stages]
        last = stages[-1]
        late = (model.slots.at(last.opens) > due).astype(np.int64)
        return (*free[:-1], replace(last, short=late))

    rooms = [counted(s, due) for s, due in zip(model.problem.rooms, due_s, strict=True)]
    return replace(model.problem, rooms=tuple(rooms), may_wait=True)


def _same_hands(one: Job, two: Job) -> bool:
    """Whether two crews differ in their shifts at most."""
    return replace(one.crew, pour_shifts=(), topcoat_shifts=()) == replace(
        two.crew, pour_shifts=(), topcoat_shifts=()
    )


def _with_crew(job: Job, pours: Mapping[str, RoomPours]) -> dict[str, RoomPours]:
    return {
        name: type(room)(room.room, job, room.clocks, room.topcoat, room.conditions)
        for name, room in pours.items()
    }
