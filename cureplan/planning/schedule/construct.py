"""The schedule of a job: conditions, tables, order, proof."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.conditions import room_conditions
from cureplan.planning.floor.pour import AS_IS, RoomPours
from cureplan.planning.schedule.floor_model import FloorModel, Tables, floor_model
from cureplan.planning.schedule.heuristic import Attempt, improve_orders
from cureplan.planning.schedule.lexicographic import Limits, News, Solved, solve_in_order
from cureplan.planning.schedule.outcome import Failure, Relaxation, Schedule
from cureplan.planning.schedule.placing import Windows, crew_spans
from cureplan.planning.schedule.relax import relaxations
from cureplan.science.clocks import slurry_clocks, topcoat_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.weather.hours.series import HourlySeries

__all__ = [
    "Progress",
    "Schedule",
    "construct",
    "limits_for",
    "prepare_pours",
]


def prepare_pours(job: Job, series: HourlySeries) -> dict[str, RoomPours]:
    """Air, slab and clocks of every room."""
    conditions = room_conditions(job, series)
    slurry = slurry_clocks(
        job.cards.slurry,
        film_m=job.materials.thickness_m + job.materials.profile_allowance_m,
        slab_effusivity=SLAB_EFFUSIVITY,
    )
    topcoat = topcoat_clocks(job.cards.topcoat)
    return {
        room.name: RoomPours(room, job, slurry, topcoat, conditions[room.name])
        for room in job.rooms
    }


Progress = Callable[[str], None]

WINDOWS: tuple[tuple[Windows, bool], ...] = (
    ("sure", True),
    ("sure", False),
    ("expected", False),
)
"""How surely windows are kept, and whether with minutes to spare: tried in this order."""
MOST_ORDERS = 60
MOST_OF_EACH = 2
"""Ways named where windows and margins fail, of each."""
WORK_PER_ROOM2 = 0.1
LEAST_WORK, MOST_WORK = 1.5, 15.0
WALL_PER_WORK = 2.0
"""The clock may run twice as long as the work takes by itself: only a machine that is
slow or busy is stopped by it, and only then need the same answer not come twice."""


def limits_for(rooms: int) -> Limits:
    """How much to search for a job of so many rooms.

    A unit of work is about a second of one processor: five rooms are mostly settled in a
    tenth of what they are given, and twenty-four stop within the half minute.

    Examples
    --------
    >>> [limits_for(rooms).work for rooms in (5, 8, 12, 24)]
    [2.5, 6.4, 14.4, 15.0]
    """
    work = min(MOST_WORK, max(LEAST_WORK, round(WORK_PER_ROOM2 * rooms**2, 3)))
    return Limits(work=work, wall_s=WALL_PER_WORK * work)


def construct(
    job: Job,
    pours: Mapping[str, RoomPours],
    *,
    progress: Progress | None = None,
    limits: Limits | None = None,
    what_helps: bool = True,
) -> Schedule:
    """Place every pour and coat of a job."""
    schedule = _search(job, pours, progress, limits or limits_for(len(job.rooms)))
    if schedule.keeps_policy or schedule.stopped or not what_helps:
        return schedule
    if progress is not None:
        progress("looking for what would help")
    return replace(schedule, relaxed=_what_helps(job, pours, schedule))


def _what_helps(
    job: Job, pours: Mapping[str, RoomPours], schedule: Schedule
) -> tuple[Relaxation, ...]:
    """What would keep all limits; where windows and margins both fail, each by itself."""
    if schedule.windows == "sure" and not schedule.failures:
        return relaxations(job, pours, goal="margin", keeps="limits")
    if schedule.keeps_margins:
        return relaxations(job, pours, goal="windows", keeps="limits")
    windows = relaxations(job, pours, goal="windows", keeps="windows")
    if schedule.failures:
        return windows
    margins = relaxations(job, pours, goal="margin alone", keeps="margins")
    return (*windows[:MOST_OF_EACH], *margins[:MOST_OF_EACH])


def _search(
    job: Job, pours: Mapping[str, RoomPours], progress: Progress | None, limits: Limits
) -> Schedule:
    tables = Tables(pours=pours)
    stuck: tuple[FloorModel, Attempt] | None = None
    for windows, spare in WINDOWS:
        model = floor_model(job, tables, windows=windows, spare=spare)
        if model.problem.empty:
            alone = model.problem.empty[0]
            stuck = stuck or (model, Attempt(choice=None, score=None, stuck=alone, placed=0))
            continue
        told = None if progress is None else _Teller(progress, model)
        first = improve_orders(
            model.problem,
            model.first_order(),
            most=MOST_ORDERS,
            told=None if told is None else told.better,
        )
        if first.stopped and first.choice is not None:
            return replace(model.schedule(first.choice), stopped=True)
        # Spare minutes are a wish: only where the quick pass has them, with every margin.
        if spare and (first.score is None or first.score.waited or first.score.short_most):
            continue
        solved = solve_in_order(
            model.problem, first.choice, limits=limits, seed=job.seed, told=told
        )
        if solved.choice is not None:
            return _described(model.schedule(solved.choice), solved)
        stuck = (model, first)
        if progress is not None and windows == "sure":
            progress("no order keeps every window as surely as asked; trying as expected")
    return _failed(job, pours, stuck)


class _Teller:
    """Puts what the search finds into a few words."""

    def __init__(self, progress: Progress, model: FloorModel) -> None:
        self._progress, self._model = progress, model
        self._last = ""

    def better(self, attempt: Attempt) -> None:
        if attempt.score is not None:
            self._say(f"opens {self._clock(attempt.score.ready)}")

    def __call__(self, news: News) -> None:
        opens = f"opens {self._clock(news.found.ready)}"
        if news.part == "ready" and news.settled:
            opens += ", not sooner"
        elif news.part == "ready" and news.bound is not None:
            opens += f", not before {self._clock(news.bound)}"
        self._say(opens)

    def _clock(self, slot: int) -> str:
        instant = datetime.fromtimestamp(
            float(self._model.slots.at(slot)), self._model.job.site.zone
        )
        return f"{instant:%a %H:%M}"

    def _say(self, words: str) -> None:
        if words != self._last:
            self._progress(words)
            self._last = words


def _described(schedule: Schedule, solved: Solved) -> Schedule:
    gap_frac = None
    bound = solved.bounds.get("ready")
    if solved.score is not None and bound is not None and solved.score.ready > 0:
        gap_frac = max(0.0, (solved.score.ready - bound) / solved.score.ready)
    solver = "forward timing and CP-SAT" if solved.asked else "forward timing"
    if solved.out_of_time:
        solver += ", ended by the clock"
    return replace(
        schedule,
        solver=solver,
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
    """The task that found no place, all alone or in the best order tried."""
    due_s = job.access.open_by.timestamp()
    if stuck is None or stuck[1].stuck is None:
        return Failure(limit="together", room=job.rooms[0].name, wanted_s=due_s, found_s=due_s)
    model, attempt = stuck
    room, stage = attempt.stuck or (0, 0)
    if model.problem.empty:
        limit = "alone"
    else:
        limit = "pours together" if stage == 0 else f"coat {stage}"
    return Failure(limit=limit, room=job.rooms[room].name, wanted_s=due_s, found_s=due_s)
