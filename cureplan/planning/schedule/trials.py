"""Changed jobs planned as quickly as may be, and each limit moved as little as works."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from math import ceil, inf
from typing import Literal, NamedTuple, TypeGuard

import numpy as np

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.planning.floor.crew import bottleneck
from cureplan.planning.floor.pour import AS_IS, RoomPours
from cureplan.planning.schedule.bounds import lower_bounds
from cureplan.planning.schedule.changes import (
    GRADED,
    OPENING,
    Change,
    Graded,
    cooled,
    elsewhere_stored,
    hands,
    heated,
    in_spiked_shoes,
    left_out,
    rooms_later,
    unpinned,
)
from cureplan.planning.schedule.floor_model import (
    FloorModel,
    Tables,
    as_expected,
    floor_model,
)
from cureplan.planning.schedule.heuristic import Attempt, improve_orders
from cureplan.planning.schedule.lexicographic import Limits, solve_in_order
from cureplan.planning.schedule.outcome import Failure, Stop
from cureplan.planning.schedule.problem import Choice, Problem, score

__all__ = [
    "BUT_OPENING",
    "COLD",
    "FEW_LATE",
    "MOST_ORDERS",
    "PROBE",
    "SPEEDING_C",
    "Goal",
    "OverError",
    "Top",
    "Trials",
    "all_would_do",
    "at_most",
    "at_once",
    "hands_of",
    "is_cool",
    "least_of",
    "lessened",
    "most_of",
    "of_failures",
]

COLD = ("limit.too_cold", "limit.dew", "limit.slow")
"""What heat may mend."""
Goal = Literal["windows", "margin", "margin alone"]
"""What is to be had: every window as surely as asked, every margin too, or every margin
with windows as expected."""
MOST_ORDERS = 20
MOST_LEFT, FEW_LATE = 3, 0.5
"""Rooms that do not go together of which leaving one out is tried; and the share of all
that may be left out, or open later."""
WARM_C, WARMEST_C = (70.0 - 32.0) / 1.8, 35.0
"""What heaters keep usually, common practice, no source, and at most: invented."""
SPEEDING_C, COOLER_K = (75.0 - 32.0) / 1.8, 3.0
"""What they keep where a floor would be ready too late, and how far below a usual warmth it
lies at least for that to be worth it: invented."""
PROBE = Limits(work=0.6)
SOME_ROOMS = 8
"""Above so many, each trial takes seconds: coarser steps."""
COARSER = 4
BUT_OPENING = tuple(graded for graded in GRADED if graded is not OPENING)


@dataclass(slots=True, kw_only=True)
class Trials:
    """Changed jobs, planned as quickly as may be."""

    job: Job
    tables: Tables
    """Of the plan that falls short: most changes leave them as they are."""
    goal: Goal
    stop: Stop
    budget_s: float
    """What it may take of a processor, as it is counted [s]."""
    worked: float = 0.0
    """In the solver's own units."""
    tabled_s: float = field(init=False)
    """What tables had taken before."""
    pairs: bool = False
    """Whether two changes are tried at once: by hours, as they are then taken further."""
    opened_s: float = inf
    """When the last choice found opens [epoch s]."""
    failures: tuple[Failure, ...] = ()
    """Why there is no plan, where there is none."""

    def __post_init__(self) -> None:
        self.tabled_s = self.tables.tabled.processor_s

    @property
    def took_s(self) -> float:
        """What was taken of a processor so far [s]."""
        return self.tables.tabled.with_search_s(self.worked) - self.tabled_s

    @property
    def pours(self) -> Mapping[str, RoomPours]:
        """Air, slab and clocks of every room."""
        return self.tables.pours

    @property
    def reach_s(self) -> float:
        """How far the weather is known [epoch s]."""
        return max(room.conditions.last_s for room in self.pours.values())

    @property
    def tasks(self) -> tuple[str, ...]:
        """Tasks at which one more hand may help, films last."""
        films = ("topcoat",) if self.job.cards.primer is None else ("primer", "topcoat")
        slowest = bottleneck([room.plan(AS_IS) for room in self.pours.values()])
        return tuple(dict.fromkeys(("mixing", slowest, *films)))

    def model(self, job: Job) -> FloorModel:
        """The changed job's tables."""
        sure = as_expected(job) if self.goal == "margin alone" else None
        return floor_model(job, self.tables.of_changed(job, was=self.job), sure=sure)

    def choice(self, problem: Problem, order: tuple[int, ...]) -> Choice | None:
        """A choice that reaches the goal, or None where none was found."""
        if self.over():
            raise OverError
        if problem.empty:
            return None
        # No order mends a room that is short by itself at every hour.
        if self.goal != "windows" and lower_bounds(problem).short_most > 0:
            return None
        reached: list[Attempt] = []

        def on_news(attempt: Attempt) -> None:
            if self.enough(problem, attempt.choice):
                reached.append(attempt)

        first = improve_orders(
            problem,
            order,
            most=MOST_ORDERS,
            on_news=on_news,
            stop=lambda: self.stop() or bool(reached),
        )
        self.worked += first.work
        if self.enough(problem, first.choice):
            return first.choice
        parts = ("waited",) if self.goal == "windows" else ("waited", "short_most")
        solved = solve_in_order(
            problem, first.choice, limits=PROBE, seed=0, parts=parts, stop=self.stop
        )
        self.worked += solved.worked
        return solved.choice if self.enough(problem, solved.choice) else None

    def enough(self, problem: Problem, choice: Choice | None) -> bool:
        """Whether a choice reaches the goal."""
        if choice is None:
            return False
        return self.goal == "windows" or score(problem, choice).short_most == 0

    def over(self) -> bool:
        """Whether somebody stopped the looking, or its work is used up."""
        return self.stop() or self.took_s >= self.budget_s

    def thinkable(self, change: Change | None) -> TypeGuard[Change]:
        """Whether a change is one at all, and the weather known reaches that far."""
        return change is not None and change.job.access.open_by.timestamp() <= self.reach_s

    def works(self, change: Change) -> bool:
        """Whether a way was found once a limit is moved."""
        model = self.model(change.job)
        choice = self.choice(model.problem, model.first_order())
        if choice is None:
            return False
        self.opened_s = float(model.slots.at(score(model.problem, choice).ready))
        return True


class OverError(Exception):
    """Somebody stopped the looking, or its work is used up."""


class Top(NamedTuple):
    """A graded change that works at its most."""

    job: Job
    graded: Graded
    step_min: int
    most: int
    """Steps that may be thought of."""
    enough: int
    """Steps known to do, fewer where what was found opens sooner."""

    def change(self, steps: int) -> Change | None:
        return self.graded.make(self.job, steps * self.step_min)


def at_most(trials: Trials, job: Job, graded: Graded) -> Top | None:
    """A graded change at its most, as far as the weather is known; untried."""
    coarse = trials.pairs or len(job.rooms) > SOME_ROOMS
    coarse = coarse and graded.step_min * COARSER <= graded.most_min
    step_min = graded.step_min * (COARSER if coarse else 1)
    high = graded.most_min // step_min
    while high and not trials.thinkable(graded.make(job, high * step_min)):
        high -= max(1, high // 8)
    return Top(job, graded, step_min, high, high) if high else None


def most_of(trials: Trials, job: Job, graded: Graded) -> Top | None:
    """A graded change at its most; None when that is no help: less never is then."""
    top = at_most(trials, job, graded)
    change = None if top is None else top.change(top.most)
    if top is None or change is None or not trials.works(change):
        return None
    return opened(trials, top)


def all_would_do(trials: Trials, job: Job) -> bool:
    """Whether a job works with all hands and hours at their most but the opening: where it
    does not, none of them is a way by itself."""
    for held in unpinned(job):
        job = held.job
    change: Change | None = None
    for graded in (*hands_of(trials), *rooms_later(job), *BUT_OPENING):
        if top := at_most(trials, job, graded):
            change = top.change(top.most) or change
            job = job if change is None else change.job
    return change is None or trials.works(replace(change, job=job))


def opened(trials: Trials, top: Top) -> Top:
    """The same, as late as what was found just now opens: no later is needed."""
    if top.graded is not OPENING:
        return top
    late_min = (trials.opened_s - top.job.access.open_by.timestamp()) / 60.0
    return top._replace(enough=min(top.enough, max(1, ceil(late_min / top.step_min))))


def least_of(trials: Trials, top: Top) -> Change:
    """The least of a graded change that works; with it goes the same taken further, as what
    only just works often fails."""
    top = lessened(trials, top)
    best = top.change(top.enough)
    if best is None:
        raise AssertionError("a change that works is one")
    further: Change | None = None
    for more_min in reversed(top.graded.further_min):
        least_min, most_min = top.enough * top.step_min, top.most * top.step_min
        for minutes in (least_min + more_min, most_min):
            more = top.graded.make(top.job, minutes)
            if minutes > least_min and trials.thinkable(more):
                further = replace(more, further=further)
                break
    return replace(best, further=further)


def lessened(trials: Trials, top: Top) -> Top:
    """A graded change with as few steps as work, as far as work is left to look for them."""
    low, back = 0, 1
    with suppress(OverError):
        while top.enough - low > 1:
            middle = (low + top.enough) // 2
            if low == 0 and top.graded is OPENING:
                # What is found to open soonest mostly opens about as soon as may be.
                middle, back = max(middle, top.enough - back), 2 * back
            change = top.change(middle)
            if change is not None and trials.works(change):
                top = opened(trials, top._replace(enough=middle))
            else:
                low = middle
    return top


def at_once(trials: Trials, job: Job) -> list[Change]:
    """What is changed or not: hours that layers are held until, what a failure asks for."""
    return [*unpinned(job), *of_failures(trials, job)]


def hands_of(trials: Trials) -> list[Graded]:
    """More hands at each task at which they may help."""
    return [hands(task) for task in trials.tasks]


def of_failures(trials: Trials, job: Job) -> Iterator[Change]:
    """What acts on why there is no plan: another store, spiked shoes, heaters where it is too
    cold and coolers where too hot, rooms that fail left for another time."""
    if not trials.failures:
        return
    yield from elsewhere_stored(job)
    yield from in_spiked_shoes(job)
    if cold := _cold_rooms(trials.failures):
        yield from heated(job, cold, to_c=_clear_of_dew_c(trials, cold))
    elif slow := _slow_rooms(trials):
        yield from heated(job, slow, to_c=max(SPEEDING_C, _clear_of_dew_c(trials, slow)))
    if hot := _hot_rooms(trials.failures):
        yield from cooled(job, hot, to_c=_clear_of_dew_c(trials, hot))
    for names in _worth_leaving(job, trials.failures):
        yield from left_out(job, names)


def _rooms_of(failures: Sequence[Failure], asked: Callable[[Message], bool]) -> list[str]:
    """Rooms of which something that is said is as asked."""
    some = (failure for failure in failures if any(map(asked, failure.says)))
    return [name for failure in some for name in failure.rooms]


def _cold_rooms(failures: Sequence[Failure]) -> list[str]:
    """Rooms that heat may mend."""
    return _rooms_of(failures, lambda say: say.code.startswith(COLD))


def _slow_rooms(trials: Trials) -> list[str]:
    """Rooms ready too late that would be sooner in a usual warmth."""
    late = _rooms_of(trials.failures, lambda say: say.code.startswith("limit.opening"))
    return [name for name in late if is_cool(trials.pours[name].conditions)]


def is_cool(conditions: RoomConditions) -> bool:
    """Whether a floor lies mostly so far below a usual warmth that heat would speed it."""
    return bool(np.median(conditions.slab_c) < WARM_C - COOLER_K)


def _hot_rooms(failures: Sequence[Failure]) -> list[str]:
    """Rooms whose air or slab cooling may mend."""
    return _rooms_of(
        failures,
        lambda say: (
            say.code.startswith("limit.too_hot")
            and say.values["what"] in ("limited.air", "limited.slab")
        ),
    )


def _clear_of_dew_c(trials: Trials, rooms: Sequence[str]) -> float:
    """What heaters or coolers may keep: a usual warmth, or clear of the dew point by as much
    again as the job asks."""
    conditions = [trials.pours[name].conditions for name in rooms]
    dew_c = max(float(np.nanmax(one.dew_c)) for one in conditions)
    clear_c = dew_c + 2.0 * trials.job.policy.dew_margin_k
    return float(min(WARMEST_C, max(WARM_C, ceil(clear_c))))


def _worth_leaving(job: Job, failures: Sequence[Failure]) -> list[tuple[str, ...]]:
    """Rooms that each fail by themselves; of those that do not go together each one, the
    smallest first. Never more than half of all."""
    alone = [failure for failure in failures if len(failure.rooms) == 1]
    # Those at whose weather no hours mend anything; or else all.
    named = [f.rooms[0] for f in alone if _of_weather(f)] or [f.rooms[0] for f in alone]
    some = [tuple(named)]
    if not alone:
        area_m2 = {room.name: room.area_m2 for room in job.rooms}
        each = {name for failure in failures for name in failure.rooms} & set(area_m2)
        some = [(name,) for name in sorted(each, key=area_m2.__getitem__)]
    most = FEW_LATE * len(job.rooms)
    return [names for names in some if len(names) <= most][:MOST_LEFT]


def _of_weather(failure: Failure) -> bool:
    """Whether it is slab, air or dew that is at fault."""
    return bool({"weather", "temperature", "dew"} & set(failure.limits))
