"""A quick first answer: forward timing of an order, improved by swaps."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import permutations, product
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cureplan.planning.schedule.outcome import Stop, never
from cureplan.planning.schedule.problem import (
    NEVER,
    Choice,
    Hands,
    Problem,
    Score,
    Stage,
    score,
)

__all__ = [
    "Attempt",
    "Manner",
    "improve_orders",
    "time_order",
]

Manner = Literal["thrifty", "prompt", "driven"]
"""How a pour picks among its states: least remedies, earliest that keeps the margin, or
earliest of all."""

MOST_REPAIRS = 40
ORDER_WORK = 3e-5
"""Of timing an order in every manner, by the square of its tasks; measured."""
BoolArray = NDArray[np.bool_]
Task = tuple[int, int]
"""Room and stage."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """What became of an order: a choice with its score, or the task that found no place."""

    choice: Choice | None
    score: Score | None
    stuck: tuple[int, int] | None = None
    """Room and stage that found no place."""
    placed: int = 0
    work: float = 0.0
    """What all orders tried have cost, in the solver's units of about a second."""

    def beats(self, other: Attempt | None) -> bool:
        """Whether this attempt is to be kept rather than the other."""
        if other is None:
            return True
        if self.score is None or other.score is None:
            return (self.score is not None, self.placed) > (
                other.score is not None,
                other.placed,
            )
        return self.score < other.score


class _StuckError(Exception):
    """A task has no state left."""

    def __init__(self, room: int, number: int) -> None:
        super().__init__(room, number)
        self.task = (room, number)


class _Board:
    """States still possible for every task, and what has been chosen."""

    def __init__(self, problem: Problem, not_closed_before: dict[Task, int]) -> None:
        self.problem = problem
        self.left: dict[Task, BoolArray] = {
            (r, n): stage.closes >= not_closed_before.get((r, n), -NEVER)
            for r, n, stage in problem.tasks()
        }
        self.chosen: dict[Task, int] = {}
        self._crossing = set(problem.crossings)

    def stage(self, task: Task) -> Stage:
        return self.problem.rooms[task[0]][task[1]]

    def pour(self, room: int) -> Task:
        return room, self.problem.pour(room)

    def place(self, task: Task, k: int) -> None:
        """Choose a state and strike out what it rules out elsewhere."""
        self.chosen[task] = k
        del self.left[task]
        stage, after = self.stage(task), (task[0], task[1] + 1)
        for other, mask in self.left.items():
            self._strike(other, mask, task, k)
        for hands in self.problem.timed:
            if stage.crew in hands.crews:
                self._strike_long(hands)
        if after in self.left:
            begins = self.stage(after).begins
            self.left[after] &= (begins >= stage.opens[k]) & (begins <= stage.closes[k])

    def _ahead(
        self, task: Task, begins: NDArray[np.int64], span: NDArray[np.int64]
    ) -> NDArray[np.int64]:
        """Slots ahead of each begin of a task at which its tools go in: as long as for the
        first of a shift, unless a task placed before it stands there."""
        crew = self.stage(task).crew
        alone = max(self.problem.ahead(*task, first=first) for first in (True, False))
        ahead = np.full(begins.shape, alone, dtype=np.int64)
        for other, k in self.chosen.items():
            there = self.stage(other)
            if there.crew == crew and other != task:
                after = (span == there.span[k]) & (begins > there.begins[k])
                ahead[after] = self.problem.ahead(*task, first=False)
        return ahead

    def _strike(self, other: Task, mask: BoolArray, task: Task, k: int) -> None:
        stage, there = self.stage(task), self.stage(other)
        if self.problem.same_hands(there, stage):
            free, then = (
                self.problem.next_free(*pair) for pair in ((other, task), (task, other))
            )
            mask &= (free <= stage.begins[k]) | (there.begins >= then[k])
        if (other[0], task[0]) in self._crossing:
            enters = there.begins - self._ahead(other, there.begins, there.span)
            mask &= (there.ends <= stage.shuts[k]) | (enters >= stage.walks[k])
        if (task[0], other[0]) in self._crossing:
            own = stage.begins[k : k + 1]
            entered = int((own - self._ahead(task, own, stage.span[k : k + 1]))[0])
            mask &= (there.walks <= entered) | (there.shuts >= stage.ends[k])

    def _strike_long(self, hands: Hands) -> None:
        """Strike out what would keep people longer than they may stay."""
        of_them = [
            (self.stage(t), k)
            for t, k in self.chosen.items()
            if self.stage(t).crew in hands.crews
        ]
        visits = hands.visits((int(s.begins[k]), int(s.ends[k])) for s, k in of_them)
        for task, mask in self.left.items():
            stage = self.stage(task)
            if stage.crew not in hands.crews:
                continue
            first, last = stage.begins.copy(), stage.ends.copy()
            for begins, ends in visits:
                joins = (stage.begins - ends < hands.rest) & (begins - stage.ends < hands.rest)
                first[joins] = np.minimum(first, begins)[joins]
                last[joins] = np.maximum(last, ends)[joins]
            mask &= last - first <= (hands.most or NEVER)

    def first_if_never_too_old(self, task: Task) -> int | None:
        """First begin left for a task, were the stage below never too old for it."""
        stage, below = self.stage(task), (task[0], task[1] - 1)
        mask = stage.begins >= self.stage(below).opens[self.chosen[below]]
        for other, k in self.chosen.items():
            self._strike(task, mask, other, k)
        return int(stage.begins[mask.argmax()]) if mask.any() else None

    def copy(self) -> _Board:
        twin = _Board.__new__(_Board)
        twin.problem, twin._crossing = self.problem, self._crossing
        twin.left = {task: mask.copy() for task, mask in self.left.items()}
        twin.chosen = dict(self.chosen)
        return twin

    def choice(self) -> Choice:
        return tuple(
            tuple(self.chosen[room, number] for number in range(len(stages)))
            for room, stages in enumerate(self.problem.rooms)
        )


def time_order(
    problem: Problem,
    order: Sequence[int],
    *,
    manner: Manner,
    crossed_last: bool = False,
    clear: bool = False,
) -> Attempt:
    """Time the pours forward in a given order, then the coats as they fall due.

    A stage that would be too old before its next one can begin is begun later instead,
    and everything is timed again.
    """
    later: dict[Task, int] = {}
    for _ in range(MOST_REPAIRS):
        board = _Board(problem, later)
        try:
            _place_below(board, order)
            for block in _blocks(problem, order):
                _place_block(board, block, manner)
            _place_coats(board, order, crossed_last=crossed_last, clear=clear)
        except _StuckError as stuck:
            attempt = Attempt(
                choice=None, score=None, stuck=stuck.task, placed=len(board.chosen)
            )
            room, number = stuck.task
            needed = board.first_if_never_too_old(stuck.task) if number else None
            if needed is None or needed <= later.get((room, number - 1), -NEVER):
                return attempt
            later[room, number - 1] = needed
            continue
        choice = board.choice()
        return Attempt(choice=choice, score=score(problem, choice), placed=len(board.chosen))
    return attempt


def _blocks(problem: Problem, order: Sequence[int]) -> Iterator[list[int]]:
    group_of = {r: group for group in problem.groups for r in group if r not in problem.loose}
    done: set[int] = set()
    for room in order:
        if room in done:
            continue
        members = set(group_of.get(room, (room,))) - problem.loose | {room}
        block = [other for other in order if other in members]
        done |= members
        yield block


def _ranked(stage: Stage, mask: BoolArray, manner: Manner) -> NDArray[np.int64]:
    """States still possible, best first."""
    found = np.flatnonzero(mask)
    begins, short = stage.begins[found], stage.short[found]
    span, cost = stage.span[found], stage.cost[found]
    keys = {
        "thrifty": (begins, cost, span, short),
        "prompt": (cost, begins, short),
        "driven": (cost, short, begins),
    }[manner]
    return np.asarray(found[np.lexsort(keys)])


def _place_below(board: _Board, order: Sequence[int]) -> None:
    """What lies under the pours, each at its earliest, all floors before the first pour."""
    for room in order:
        for number in range(board.problem.pour(room)):
            mask = board.left[room, number]
            if not mask.any():
                raise _StuckError(room, number)
            board.place((room, number), int(mask.argmax()))


def _place_block(board: _Board, block: list[int], manner: Manner) -> None:
    first = board.pour(block[0])
    poured = [board.stage(t).frees[k] for t, k in board.chosen.items() if t == board.pour(t[0])]
    mask = board.left[first] & (board.stage(first).begins >= max(poured, default=0))
    ranked = _ranked(board.stage(first), mask, manner)
    if ranked.size == 0:
        raise _StuckError(*first)
    if len(block) == 1:
        board.place(first, int(ranked[0]))
        return
    for k in ranked:
        trial = board.copy()
        trial.place(first, int(k))
        if _follow(trial, block[1:], int(board.stage(first).follows[k]), manner):
            board.left, board.chosen = trial.left, trial.chosen
            return
    raise _StuckError(*first)


def _follow(board: _Board, rooms: list[int], at: int, manner: Manner) -> bool:
    """Pour further rooms with nothing in between; whether that went well."""
    for room in rooms:
        task = board.pour(room)
        stage = board.stage(task)
        ranked = _ranked(stage, board.left[task] & (stage.begins == at), manner)
        if ranked.size == 0:
            return False
        board.place(task, int(ranked[0]))
        at = int(stage.follows[ranked[0]])
    return True


def _place_coats(
    board: _Board, order: Sequence[int], *, crossed_last: bool, clear: bool
) -> None:
    """Always the coat that can begin first; of those, the one that is too late first."""
    problem = board.problem
    rank = {room: i for i, room in enumerate(order)}
    nexts = {
        room: problem.pour(room) + 1
        for room in order
        if len(problem.rooms[room]) > problem.pour(room) + 1
    }
    while nexts:
        held = {f for r, f in problem.crossings if r in nexts} if crossed_last else set()
        ready = [room for room in nexts if room not in held] or list(nexts)
        best: tuple[int, int, int, int] | None = None
        for room in ready:
            mask = board.left[room, nexts[room]]
            if not mask.any():
                raise _StuckError(room, nexts[room])
            before = problem.rooms[room][nexts[room] - 1]
            below = board.chosen[room, nexts[room] - 1]
            closes = int(before.closes[below])
            if clear:
                mask = _clear_of_ends(board, (room, nexts[room]), mask, before, below)
            k = int(mask.argmax())  # coats are tabled in the order of their begins
            begins = int(board.stage((room, nexts[room])).begins[k])
            candidate = (begins, closes, rank[room], k)
            if best is None or candidate < best:
                best, chosen = candidate, room
        if best is None:
            raise AssertionError("a room that is left was ready")
        board.place((chosen, nexts[chosen]), best[3])
        nexts[chosen] += 1
        if nexts[chosen] == len(problem.rooms[chosen]):
            del nexts[chosen]


def _clear_of_ends(
    board: _Board, task: Task, mask: BoolArray, before: Stage, below: int
) -> BoolArray:
    """States clear of both ends of their window, where there are any."""
    begins, clear = board.stage(task).begins, board.problem.clear
    wanted = mask & (begins >= before.opens[below] + clear.opening)
    wanted &= begins <= before.closes[below] - clear.closing
    return wanted if wanted.any() else mask


MANNERS: tuple[Manner, ...] = ("thrifty", "prompt")
MOST_PERMUTED = 4


def improve_orders(
    problem: Problem,
    start: Sequence[int],
    *,
    most: int,
    on_news: Callable[[Attempt], None] | None = None,
    stop: Stop = never,
) -> Attempt:
    """Try orders near a first one and keep the best; the same answer every time.

    Not a proof of anything: the solver takes over from here.
    """
    best: Attempt | None = None
    tried = 0
    for attempt, better in _attempts(problem, tuple(start), most):
        tried += 1
        if better:
            best = attempt
            if on_news is not None and attempt.score is not None:
                on_news(attempt)
        if stop():
            break
    if best is None:
        raise AssertionError("one order at least is tried")
    tasks = sum(len(stages) for stages in problem.rooms)
    return replace(best, work=tried * ORDER_WORK * tasks**2)


def _attempts(
    problem: Problem, start: tuple[int, ...], most: int
) -> Iterator[tuple[Attempt, bool]]:
    """Attempts at orders, and whether each beats all before it: then its neighbours follow."""
    few = len(start) <= MOST_PERMUTED
    moves: Iterator[tuple[int, ...]] = _all_orders(start) if few else iter((start,))
    best: Attempt | None = None
    seen: set[tuple[int, ...]] = set()
    while len(seen) < most and (order := next(moves, None)) is not None:
        if order in seen:
            continue
        seen.add(order)
        attempt = _best_manner(problem, order)
        better = attempt.beats(best)
        yield attempt, better
        if better:
            best = attempt
            moves = moves if few else _moves(order)


def _best_manner(problem: Problem, order: tuple[int, ...]) -> Attempt:
    best: Attempt | None = None
    manners: tuple[Manner, ...] = MANNERS if problem.may_wait else ("driven",)
    ways = product(
        manners,
        (False, True) if problem.crossings else (False,),
        (True, False) if problem.clear.most else (False,),
    )
    for manner, crossed_last, clear in ways:
        attempt = time_order(
            problem, order, manner=manner, crossed_last=crossed_last, clear=clear
        )
        if attempt.beats(best):
            best = attempt
    if best is None:
        raise AssertionError("there is a manner to try")
    return best


def _all_orders(start: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    return permutations(start)


def _moves(start: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """Neighbours of an order: swaps from near to far, then single pours moved."""
    n = len(start)
    for gap in range(1, n):
        for i in range(n - gap):
            order = list(start)
            order[i], order[i + gap] = order[i + gap], order[i]
            yield tuple(order)
    for i in range(n):
        for j in range(n):
            if abs(i - j) > 1:
                order = list(start)
                order.insert(j, order.pop(i))
                yield tuple(order)
