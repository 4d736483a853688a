"""What no choice of an ordering problem beats, and which states no good choice has."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cureplan.planning.schedule.problem import Choice, IntArray, Problem, Score, Stage

__all__ = [
    "BY_WORK",
    "Pruned",
    "least_cost",
    "least_possible",
    "lower_bounds",
    "prune_dominated",
]


def lower_bounds(problem: Problem) -> Score:
    """A score that every choice which keeps all rules reaches at best, part by part.

    Not for a problem with an empty stage: that one has no choice at all.
    """
    stages = [stage for _, _, stage in problem.tasks()]
    short = [int(stage.short.min()) for stage in stages]
    return Score(
        waited=0,
        short_most=max(short),
        short_sum=sum(short),
        last_shift=_last_shift(problem),
        tight=0,
        cost=sum(least_cost(stage) for stage in stages),
        ready=max(_earliest_ready(room) for room in problem.rooms),
        calls=_fewest_calls(problem),
        on_site=_least_on_site(problem),
        hurried=0,
    )


def least_cost(stage: Stage, more_short: int = 0) -> int:
    """Least cost among states that miss the least margin, or so much more."""
    return int(stage.cost[stage.short <= stage.short.min() + more_short].min())


def _last_shift(problem: Problem) -> int:
    """The first shift by whose end all pours could have been worked off."""
    pours = problem.pour_list
    first = max(int(pour.span.min()) for pour in pours)
    work = sum(int(problem.busy(room, problem.pour(room)).min()) for room in range(len(pours)))
    spans = np.concatenate([pour.span for pour in pours])
    begins = np.concatenate([pour.begins for pour in pours])
    frees = np.concatenate([pour.frees for pour in pours])
    held = 0
    for span in np.unique(spans):
        there = spans == span
        held += int(frees[there].max() - begins[there].min())
        if span >= first and held >= work:
            return int(span)
    return int(spans.max())


def _earliest_ready(room: tuple[Stage, ...]) -> int:
    """When a room could be ready if it had all crews to itself."""
    at = int(room[0].opens.min())
    for stage in room[1:]:
        possible = stage.begins >= at
        if not possible.any():
            return int(stage.opens.max())
        at = int(stage.opens[possible].min())
    return at


def _fewest_calls(problem: Problem) -> int:
    return len({stage.crew for _, _, stage in problem.tasks()})


def _least_on_site(problem: Problem) -> int:
    return sum(int(problem.busy(room, n).min()) for room, n, _ in problem.tasks())


BoolArray = NDArray[np.bool_]
SWEEPS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pruned:
    """A problem with fewer states, and which states of the whole one they are."""

    problem: Problem
    states: tuple[tuple[NDArray[np.int64], ...], ...]

    def outer(self, choice: Choice) -> Choice:
        """A choice of the narrowed problem, counted in the whole one's states."""
        return tuple(
            tuple(int(states[k]) for states, k in zip(rows, row, strict=True))
            for rows, row in zip(self.states, choice, strict=True)
        )

    def inner(self, choice: Choice) -> Choice:
        """The reverse; the choice's states must all have been kept."""
        return tuple(
            tuple(int(np.searchsorted(states, k)) for states, k in zip(rows, row, strict=True))
            for rows, row in zip(self.states, choice, strict=True)
        )


def prune_dominated(problem: Problem, best: Score | None, parts: Collection[str]) -> Pruned:
    """Drop states beyond what some parts of a score allow, and what then leads nowhere."""
    masks = [[np.ones(s.size, dtype=np.bool_) for s in stages] for stages in problem.rooms]
    if best is not None:
        _cut(problem, best, parts, masks)
    for stages, kept in zip(problem.rooms, masks, strict=True):
        for _ in range(SWEEPS):
            _chain(stages, kept)
    return Pruned(
        problem=replace(
            problem,
            rooms=tuple(
                tuple(stage.keep(mask) for stage, mask in zip(stages, kept, strict=True))
                for stages, kept in zip(problem.rooms, masks, strict=True)
            ),
        ),
        states=tuple(tuple(np.flatnonzero(mask) for mask in kept) for kept in masks),
    )


def _cut(
    problem: Problem, best: Score, parts: Collection[str], masks: list[list[BoolArray]]
) -> None:
    """What a state may miss or cost beyond the least, given what all together may."""
    least = lower_bounds(problem)
    for room, (stages, kept) in enumerate(zip(problem.rooms, masks, strict=True)):
        for stage, mask in zip(stages, kept, strict=True):
            if "short_most" in parts:
                mask &= stage.short <= best.short_most
            if "short_sum" in parts:
                mask &= stage.short <= stage.short.min() + best.short_sum - least.short_sum
            if "cost" in parts and best.short_sum == least.short_sum:
                cheapest = stage.cost[stage.short == stage.short.min()].min()
                mask &= stage.cost <= cheapest + best.cost - least.cost
        if "last_shift" in parts:
            pour = problem.pour(room)
            kept[pour] &= stages[pour].span <= best.last_shift
        if "ready" in parts:
            kept[-1] &= stages[-1].opens <= best.ready


def _chain(stages: tuple[Stage, ...], kept: list[BoolArray]) -> None:
    """Each stage keeps only states from which, and to which, another stage's lead."""
    for n in range(len(stages) - 2, -1, -1):
        begins = np.sort(stages[n + 1].begins[kept[n + 1]])
        first = np.searchsorted(begins, stages[n].opens, side="left")
        kept[n] &= np.searchsorted(begins, stages[n].closes, side="right") > first
    for n in range(1, len(stages)):
        if kept[n - 1].any():
            before = stages[n - 1].keep(kept[n - 1])
            kept[n] &= stages[n].begins >= before.opens.min()
            kept[n] &= stages[n].begins <= before.closes.max()


BY_WORK = ("last_shift", "ready")
"""Parts of a score for which the work of the crews gives a bound of its own."""
LIMITS = ("short_most", "short_sum", "last_shift")
"""What such a bound keeps as good as found."""


def least_possible(problem: Problem, found: Score, part: str, low: int) -> int:
    """What no choice beats in a part of `BY_WORK`, margins being kept as found.

    From the hours in which each task may lie if the last room is to be ready by then, and
    what its crew can work off in its shifts; the ways across floors are left out. Never
    more than was found.
    """
    low, high = min(low, getattr(found, part)), int(getattr(found, part))
    while low < high:
        middle = (low + high) // 2
        within = prune_dominated(problem, found._replace(**{part: middle}), {*LIMITS, part})
        if _crews_could(within.problem):
            high = middle
        else:
            low = middle + 1
    return high


def _crews_could(problem: Problem) -> bool:
    """Whether every crew could work off its tasks were it free to break off any of them."""
    if problem.empty:
        return False
    tasks = [(stage, problem.busy(room, n)) for room, n, stage in problem.tasks()]
    together = {(stage.crew,) for stage, _ in tasks} | {h.crews for h in problem.hands}
    return all(
        _could([(stage, busy) for stage, busy in tasks if stage.crew in crews])
        for crews in together
    )


def _could(tasks: list[tuple[Stage, IntArray]]) -> bool:
    """The same of one crew's tasks, each between its first begin and its last end.

    Between any begin and any end the work of what lies in between fits into the shifts:
    that is enough where work may be broken off (Horn, Some simple scheduling algorithms,
    1974; from memory).
    """
    if not tasks:
        return True
    begins = np.array([stage.begins.min() for stage, _ in tasks])
    ends = np.array([stage.frees.max() for stage, _ in tasks])
    work = np.array([busy.min() for _, busy in tasks])
    shifts = _shifts_of([stage for stage, _ in tasks])
    last = np.argsort(ends)
    until = _open_before(ends[last], shifts)
    for begin in np.unique(begins):
        inside = begins[last] >= begin
        demand = np.cumsum(work[last] * inside)
        there = until - _open_before(np.array([begin]), shifts)
        if np.any(inside & (demand > there)):
            return False
    return True


def _shifts_of(stages: list[Stage]) -> IntArray:
    """First begin and last end of some stages' states, shift by shift, shape (shifts, 2)."""
    spans = np.concatenate([stage.span for stage in stages])
    begins = np.concatenate([stage.begins for stage in stages])
    frees = np.concatenate([stage.frees for stage in stages])
    found: list[tuple[int, int]] = []
    for span in np.unique(spans):
        there = spans == span
        found.append((int(begins[there].min()), int(frees[there].max())))
    joined: list[tuple[int, int]] = []
    for begin, end in sorted(found):
        if joined and begin <= joined[-1][1]:
            before = joined.pop()
            begin, end = before[0], max(end, before[1])
        joined.append((begin, end))
    return np.array(joined)


def _open_before(at: IntArray, shifts: IntArray) -> IntArray:
    """Slots within shifts before some instants."""
    held = np.clip(at[:, None] - shifts[:, 0], 0, shifts[:, 1] - shifts[:, 0])
    return np.asarray(held.sum(axis=1))
