"""The schedule of a job: conditions, tables, order, proof."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from datetime import datetime

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.conditions import room_conditions
from cureplan.planning.floor.pour import FREE, RoomPours, Settled, slurry_of
from cureplan.planning.schedule.bounds import least_possible, lower_bounds
from cureplan.planning.schedule.conflict import alone
from cureplan.planning.schedule.floor_model import (
    FloorModel,
    Tables,
    as_expected,
    floor_model,
    room_stages,
)
from cureplan.planning.schedule.heuristic import Attempt, improve_orders, order_work
from cureplan.planning.schedule.lexicographic import (
    SHARES,
    Limits,
    News,
    Solved,
    solve_in_order,
)
from cureplan.planning.schedule.outcome import (
    Failure,
    Relaxation,
    Schedule,
    Stop,
    never,
    stopped_by_hand,
)
from cureplan.planning.schedule.problem import Score, Stage, score
from cureplan.planning.schedule.relax import Goal, relaxations
from cureplan.planning.schedule.tabled import TABLE_WORK
from cureplan.planning.schedule.tables import Sureness
from cureplan.planning.schedule.together import together
from cureplan.science.clocks import topcoat_clocks
from cureplan.weather.hours.series import HourlySeries

__all__ = [
    "MANY_ROOMS",
    "Progress",
    "Promising",
    "Schedule",
    "construct",
    "construct_at",
    "limits_for",
    "prepare_pours",
    "quick_ways",
    "with_heaters",
]


def prepare_pours(
    job: Job, series: HourlySeries, settled: Settled = FREE
) -> dict[str, RoomPours]:
    """Air, slab and clocks of every room, and what is settled of each."""
    conditions = room_conditions(job, series)
    slurry = slurry_of(job)
    topcoat = topcoat_clocks(job.cards.topcoat)
    pours = {
        room.name: RoomPours(room, job, slurry, topcoat, conditions[room.name], settled)
        for room in job.rooms
    }
    for room in pours.values():
        room.require_hours()
    return pours


def with_heaters(job: Job, failures: Sequence[Failure]) -> Job | None:
    """The job with heaters running in the rooms that failed, else in all that have some.

    None where nothing failed, or no more heaters are at hand.
    """
    idle = {room.name for room in job.rooms if room.heat and not room.heat.runs}
    if not failures or not idle:
        return None
    named = idle & {name for failure in failures for name in failure.rooms}
    rooms = tuple(
        replace(room, heat=replace(room.heat, runs=True))
        if room.heat and room.name in (named or idle)
        else room
        for room in job.rooms
    )
    return replace(job, rooms=rooms)


Progress = Callable[[str], None]
QUICK = "forward timing"
Promising = Callable[[Schedule], bool]
"""Whether a quick schedule is worth the solver's work."""

MANY_ROOMS, NEAR_FRAC = 11, 0.05
"""From so many rooms on no solver sees a schedule that is so near to what no plan beats:
its model would take more memory than all else, and only break ties."""
MOST_ORDERS, FEWEST_ORDERS = 60, 10
ORDERS_WORK = 1.0
"""Of orders tried for one kind of windows: a large job's cost more each."""
MOST_OF_EACH = 2
"""Ways named where windows and margins fail, of each."""
WORK_PER_ROOM2 = 0.1
WORK_PER_ROOM, SMALL_ROOMS = 0.3, 5
"""Beyond a small job's rooms, each one more adds so much: the parts that count settle
within it, and what only breaks ties is cut short."""
LEAST_WORK, MOST_WORK = 1.5, 15.0
MORE_WORK = 6.0
"""How many times the work goes into finding any answer at all before a limit counts as
not known to hold: measured on one job, whose answer came at that."""


def limits_for(rooms: int) -> Limits:
    """How much to search for a job of so many rooms.

    A unit of work is one to two seconds of one processor: five rooms are mostly settled in
    a tenth of what they are given. Where no answer is known yet, more may go into one.

    Examples
    --------
    >>> [limits_for(rooms).work for rooms in (5, 8, 12, 24)]
    [2.5, 3.4, 4.6, 8.2]
    """
    small = WORK_PER_ROOM2 * min(rooms, SMALL_ROOMS) ** 2
    work = small + WORK_PER_ROOM * max(0, rooms - SMALL_ROOMS)

    def bounded(value: float) -> float:
        return min(MOST_WORK, max(LEAST_WORK, round(value, 3)))

    return Limits(work=bounded(work), any_work=bounded(WORK_PER_ROOM2 * rooms**2))


def construct(
    job: Job,
    pours: Mapping[str, RoomPours],
    *,
    progress: Progress | None = None,
    limits: Limits | None = None,
    tables: Tables | None = None,
    stop: Stop | None = None,
    promising: Promising | None = None,
) -> Schedule:
    """Place every pour and coat of a job; Ctrl-C ends the search with the best so far.

    Every limit is kept as surely as the job asks, or where that cannot be, the windows
    between layers as expected. `stop` is for a caller that hears Ctrl-C itself.
    """

    def hear() -> None:
        if progress is not None:
            progress("stopping with the best so far")

    with stopped_by_hand(hear) if stop is None else nullcontext(stop) as asked:
        search = _Search(
            job=job,
            tables=tables or Tables(pours=pours),
            progress=progress,
            limits=limits or limits_for(len(job.rooms)),
            stop=asked,
            promising=promising,
        )
        return replace(search.run(), worked=search.worked)


def construct_at(
    job: Job,
    tables: Tables,
    sure: Sureness,
    *,
    limits: Limits,
    stop: Stop,
    promising: Promising | None = None,
    order: tuple[int, ...] | None = None,
    alone: bool = False,
    ends: Stop = never,
) -> tuple[Schedule | None, float]:
    """The same with every limit kept as surely as said, and the work it took.

    None where no answer was found: within these limits on work there may still be one.
    With forward timing `alone` no solver looks for a first one. Where it `ends`, somebody
    waits for an answer that is known already.
    """
    search = _Search(
        job=job,
        tables=tables,
        progress=None,
        limits=limits,
        stop=stop,
        promising=promising,
        order=order,
    )
    stages = []
    for room in job.rooms:
        if ends():
            return None, search.worked
        stages.append(room_stages(job, room, tables, remedies=job.policy.remedies, sure=sure))
    begun = search.begun(sure, stages)
    if begun.model.problem.empty or ends():
        return None, search.worked
    if begun.first.choice is None and not alone:
        begun = begun.going_on_from(search.any_choice(begun, limits.work))
    if begun.first.choice is None:
        return None, search.worked
    found = search.quickly(begun) or search.finished(begun, search.solved(begun))
    return replace(found, worked=search.worked), search.worked


def quick_ways(
    job: Job,
    tables: Tables,
    schedule: Schedule,
    stop: Stop,
    budget_s: float,
    *,
    margins_alone: bool = False,
) -> tuple[tuple[Relaxation, ...], float]:
    """The least changes a quick search finds for limits that break, and the work it took.

    Where windows and margins both fail, each by itself.
    """
    worked = 0.0

    def ways(goal: Goal, keeps: str, share: float = 1.0) -> tuple[Relaxation, ...]:
        nonlocal worked
        found, spent = relaxations(
            job, tables, goal=goal, keeps=keeps, stop=stop, budget_s=share * budget_s,
            failures=schedule.failures,
        )  # fmt: skip
        worked += spent
        return found

    if margins_alone:
        return ways("margin alone", "margins"), worked
    if schedule.held_frac is None and not schedule.failures:
        return ways("margin", "limits"), worked
    if schedule.keeps_margins:
        return ways("windows", "limits"), worked
    if schedule.failures:
        return ways("windows", "windows"), worked
    windows, margins = ways("windows", "windows", 0.5), ways("margin alone", "margins", 0.5)
    return (*windows[:MOST_OF_EACH], *margins[:MOST_OF_EACH]), worked


@dataclass(slots=True, kw_only=True)
class _Search:
    """The search for one job's schedule: windows as surely as asked, else as expected."""

    job: Job
    tables: Tables
    progress: Progress | None
    limits: Limits
    stop: Stop
    promising: Promising | None = None
    order: tuple[int, ...] | None = None
    """To begin with; None for what a crew would."""
    worked: float = 0.0

    def run(self) -> Schedule:
        sure = self.begun(None)
        if sure.first.choice is not None:
            return self.quickly(sure) or self.finished(sure, self.solved(sure))
        expected = self.begun(as_expected(self.job))
        if expected.first.choice is None and not self.stop():
            # Before the long search: where not even the loosest limits hold together.
            solved = self.any_choice(expected, self.limits.for_any)
            if solved.known == "impossible":
                return _failed(self.job, self.tables, expected, solved, self.stop)
            expected = expected.going_on_from(solved)
        surely = self.solved(sure)
        if surely.choice is not None:
            return self.finished(sure, surely)
        if self.progress is not None:
            self.progress("no order found keeps every window as surely as asked")
        solved = self.solved(expected)
        if solved.choice is None:
            return _failed(self.job, self.tables, expected, solved, self.stop)
        return replace(self.finished(expected, solved), sure_known=surely.known)

    def quickly(self, begun: _Begun) -> Schedule | None:
        """The first order's schedule, where somebody finds that no solver need see it."""
        if begun.first.choice is None or self.promising is None:
            return None
        schedule = replace(begun.model.schedule(begun.first.choice), solver=QUICK)
        wanted, problem = self.promising(schedule), begun.model.problem
        if self.stop():
            return schedule
        if wanted and len(problem.rooms) < MANY_ROOMS:
            return None
        found = score(problem, begun.first.choice)
        soonest = least_possible(problem, found, "ready", lower_bounds(problem).ready)
        gap_frac = _gap_frac(found, {"ready": soonest})
        if wanted and (gap_frac is None or gap_frac > NEAR_FRAC):
            return None
        return replace(schedule, gap_frac=gap_frac)

    def begun(
        self, sure: Sureness | None, stages: Sequence[tuple[Stage, ...]] | None = None
    ) -> _Begun:
        """Tables and a first order, tried whether or not somebody wants to stop."""
        model = floor_model(self.job, self.tables, sure=sure, stages=stages)
        on_news = None if self.progress is None else _Teller(self.progress, model)
        if model.problem.empty:
            alone = model.problem.empty[0]
            first = Attempt(choice=None, score=None, stuck=alone, placed=0)
        else:
            each = order_work(model.problem)
            first = improve_orders(
                model.problem,
                self.order or model.first_order(),
                most=min(MOST_ORDERS, max(FEWEST_ORDERS, int(ORDERS_WORK / each))),
                on_news=None if on_news is None else on_news.better,
                stop=self.stop,
            )
        self.worked += TABLE_WORK * model.whole.size + first.work
        return _Begun(model=model, first=first, on_news=on_news)

    def solved(self, begun: _Begun) -> Solved:
        """The best choice; with more work for a first one where none is known yet."""
        choice = begun.first.choice
        if choice is None:
            found = self.any_choice(begun, MORE_WORK * self.limits.for_any)
            if found.choice is None:
                return found
            choice = found.choice
        solved = solve_in_order(
            begun.model.problem,
            choice,
            limits=self.limits,
            seed=self.job.seed,
            on_news=begun.on_news,
            stop=self.stop,
        )
        self.worked += solved.worked
        return solved

    def any_choice(self, begun: _Begun, work: float) -> Solved:
        solved = solve_in_order(
            begun.model.problem,
            None,
            limits=replace(self.limits, work=work / SHARES["waited"]),
            seed=self.job.seed,
            on_news=begun.on_news,
            parts=("waited",),
            stop=self.stop,
        )
        self.worked += solved.worked
        return solved

    def finished(self, begun: _Begun, solved: Solved) -> Schedule:
        if solved.choice is None:
            raise AssertionError("only an answer is put into hours")
        return _described(begun.model.schedule(solved.choice), solved)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Begun:
    """A job's tables under one kind of windows, and the best of the first orders."""

    model: FloorModel
    first: Attempt
    on_news: _Teller | None

    def going_on_from(self, solved: Solved) -> _Begun:
        """The same with a choice that the solver found."""
        if solved.choice is None:
            return self
        return replace(self, first=replace(self.first, choice=solved.choice))


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
    return replace(
        schedule,
        solver=f"{QUICK} and CP-SAT" if solved.asked else QUICK,
        known=solved.known,
        ended=solved.ended,
        gap_frac=_gap_frac(solved.score, solved.bounds),
    )


def _gap_frac(found: Score | None, bounds: Mapping[str, int]) -> float | None:
    bound = bounds.get("ready")
    if found is None or bound is None or found.ready <= 0:
        return None
    return max(0.0, (found.ready - bound) / found.ready)


def _failed(job: Job, tables: Tables, begun: _Begun, solved: Solved, stop: Stop) -> Schedule:
    return Schedule(
        pours=(),
        coats=(),
        failures=_why_not(job, tables, begun, solved, stop),
        required_s=job.policy.margin_s,
        known=solved.known,
        ended=solved.ended,
    )


def _why_not(
    job: Job, tables: Tables, begun: _Begun, solved: Solved, stop: Stop
) -> tuple[Failure, ...]:
    """The limits that cannot hold; where nobody knows, that nobody knows."""
    if solved.known != "impossible":
        unknown = Message("limit.unknown", {"ended": solved.ended})
        return (Failure(limits=("unknown",), rooms=(), says=(unknown,)),)
    if begun.model.problem.empty and (found := alone(job, tables)):
        return found
    return together(job, tables, stop=stop)
