"""What a choice for one task of a problem rules out of the others, looked up."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cureplan.planning.schedule.problem import IntArray, Problem, Stage

__all__ = ["BoolArray", "Edges", "Manner", "Rules", "Task", "Tie"]

Manner = Literal["thrifty", "prompt", "driven"]
"""How a pour picks among its states: least remedies, earliest that keeps the margin, or
earliest of all."""

BoolArray = NDArray[np.bool_]
Task = tuple[int, int]
"""Room and stage."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """A task's states, and from and up to which of them a bound on an array can matter."""

    stage: Stage
    alone: int
    """Slots ahead of it at which its tools go in, as long as nothing stands there."""
    later: int
    """The same of what follows another task of its crew in a shift."""
    most: dict[str, memoryview[int]]
    """Greatest of an array up to each state."""
    least: dict[str, memoryview[int]]
    """Least of an array from each state on."""
    plain: frozenset[str]
    """Arrays that never fall, so that these are the arrays themselves."""
    _best: dict[Manner, IntArray] = field(default_factory=dict)

    def best(self, manner: Manner) -> IntArray:
        """All states of a pour, best first."""
        if manner not in self._best:
            stage = self.stage
            keys: dict[Manner, tuple[IntArray, ...]] = {
                "thrifty": (stage.begins, stage.cost, stage.span, stage.short),
                "prompt": (stage.cost, stage.begins, stage.short),
                "driven": (stage.cost, stage.short, stage.begins),
            }
            self._best[manner] = np.lexsort(keys[manner]).astype(np.int32)
        return self._best[manner]

    def strike(self, mask: BoolArray, above: str, bound: int, below: str, limit: int) -> None:
        """Strike out states with one array above a bound and another below a limit."""
        low, high = bisect_right(self.most[above], bound), bisect_left(self.least[below], limit)
        if low >= high:
            return
        if above in self.plain and below in self.plain:
            mask[low:high] = False
            return
        over, under = getattr(self.stage, above), getattr(self.stage, below)
        mask[low:high] &= (over[low:high] <= bound) | (under[low:high] >= limit)

    def begun_from(self, first: int, last: int) -> slice:
        """A run of states that holds all which begin from a slot up to another."""
        low, high = self.most["begins"], self.least["begins"]
        return slice(bisect_left(low, first), bisect_right(high, last))


def _edges(problem: Problem, room: int, number: int, stage: Stage) -> Edges:
    ahead = [problem.ahead(room, number, first=first) for first in (True, False)]
    names = ("begins", "ends", "frees", "follows", "walks", "shuts")
    whole = {name: np.ascontiguousarray(getattr(stage, name)) for name in names}
    plain = frozenset(name for name, values in whole.items() if np.all(np.diff(values) >= 0))

    def most(values: IntArray) -> IntArray:
        return np.maximum.accumulate(values)

    def least(values: IntArray) -> IntArray:
        return np.ascontiguousarray(np.minimum.accumulate(values[::-1])[::-1])

    def seen(name: str, made: Callable[[IntArray], IntArray]) -> memoryview[int]:
        # What never falls is its own bound, and need not be kept twice.
        values = whole[name]
        return (values if name in plain else made(values)).data

    return Edges(
        stage=stage,
        alone=max(ahead),
        later=ahead[1],
        most={name: seen(name, most) for name in names if name != "shuts"},
        least={name: seen(name, least) for name in ("begins", "shuts")},
        plain=plain,
    )


class Tie(NamedTuple):
    """What a task has to do with another."""

    hands: tuple[str, str] | None
    """Names of the arrays that say when the hands of the other, and its own, are free for
    each other; None where they share none."""
    crossed: bool
    """It is a floor that is crossed to the other."""
    on_way: bool
    """The other is a floor that is crossed to it."""


class Rules:
    """What a problem's tasks rule out of each other, looked up instead of worked out."""

    def __init__(self, problem: Problem) -> None:
        self.problem, self.timed = problem, problem.timed
        self.of = {(r, n): _edges(problem, r, n, stage) for r, n, stage in problem.tasks()}
        self._crossing = set(problem.crossings)
        self.ties = {
            task: {o: tie for o in self.of if o != task and any(tie := self._tie(task, o))}
            for task in self.of
        }
        self.spans = 1 + max(int(e.stage.span.max(initial=0)) for e in self.of.values())

    def _tie(self, task: Task, other: Task) -> Tie:
        same = self.problem.same_hands(self.of[other].stage, self.of[task].stage)
        return Tie(
            hands=(self._free(other, task), self._free(task, other)) if same else None,
            crossed=(other[0], task[0]) in self._crossing,
            on_way=(task[0], other[0]) in self._crossing,
        )

    def _free(self, task: Task, other: Task) -> str:
        problem = self.problem
        poured = task[1] == problem.pour(task[0]) and other[1] == problem.pour(other[0])
        return "follows" if poured and problem.same_group(task[0], other[0]) else "frees"
