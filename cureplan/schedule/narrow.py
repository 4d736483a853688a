"""Leave out states that no choice as good as the best so far could use."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cureplan.schedule.bounds import lower_bounds
from cureplan.schedule.problem import Choice, Problem, Score, Stage

__all__ = ["Narrowed", "narrow"]

BoolArray = NDArray[np.bool_]
SWEEPS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Narrowed:
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


def narrow(problem: Problem, best: Score | None, parts: Collection[str]) -> Narrowed:
    """Drop states beyond what some parts of a score allow, and what then leads nowhere.

    Parameters
    ----------
    problem : Problem
        At least one state per stage.
    best : Score or None
        The best so far; None leaves every state in.
    parts : collection of str
        Parts of the score in which a choice must be as good as `best`.

    Returns
    -------
    Narrowed
        Holds every choice that is at least as good in those parts.
    """
    masks = [[np.ones(s.size, dtype=np.bool_) for s in stages] for stages in problem.rooms]
    if best is not None:
        _cut(problem, best, parts, masks)
    for stages, kept in zip(problem.rooms, masks, strict=True):
        for _ in range(SWEEPS):
            _chain(stages, kept)
    return Narrowed(
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
    for stages, kept in zip(problem.rooms, masks, strict=True):
        for stage, mask in zip(stages, kept, strict=True):
            if "short_most" in parts:
                mask &= stage.short <= best.short_most
            if "short_sum" in parts:
                mask &= stage.short <= stage.short.min() + best.short_sum - least.short_sum
            if "cost" in parts and best.short_sum == least.short_sum:
                cheapest = stage.cost[stage.short == stage.short.min()].min()
                mask &= stage.cost <= cheapest + best.cost - least.cost
        if "last_shift" in parts:
            kept[0] &= stages[0].span <= best.last_shift
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
