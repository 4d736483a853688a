"""A quick first answer: forward timing of an order, improved by swaps."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import permutations, product

import numpy as np

from cureplan.planning.schedule.outcome import Stop, never
from cureplan.planning.schedule.problem import (
    NEVER,
    Choice,
    Hands,
    IntArray,
    Problem,
    Score,
    Stage,
    score,
)
from cureplan.planning.schedule.ties import BoolArray, Manner, Rules, Task, Tie

__all__ = [
    "Attempt",
    "improve_orders",
    "order_work",
    "time_order",
]

MOST_REPAIRS = 40
ORDER_WORK = 3e-5
"""Of timing an order in every manner, by the square of its tasks; measured."""


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

    def __init__(self, rules: Rules, not_closed_before: dict[Task, int]) -> None:
        self.rules, self.problem = rules, rules.problem
        self.left: dict[Task, BoolArray] = {
            task: edges.stage.closes >= not_closed_before.get(task, -NEVER)
            for task, edges in rules.of.items()
        }
        self.chosen: dict[Task, int] = {}
        self._first: dict[int, IntArray] = {}
        """By crew: its first begin in each of its shifts."""

    def stage(self, task: Task) -> Stage:
        return self.rules.of[task].stage

    def pour(self, room: int) -> Task:
        return room, self.problem.pour(room)

    def place(self, task: Task, k: int) -> None:
        """Choose a state and strike out what it rules out elsewhere."""
        stage, after = self.stage(task), (task[0], task[1] + 1)
        self.chosen[task] = k
        del self.left[task]
        entered = self._entered(task, k)
        first, span = self._firsts(stage.crew), int(stage.span[k])
        first[span] = min(first[span], stage.begins[k])
        for other, tie in self.rules.ties[task].items():
            if other in self.left:
                self._strike(other, self.left[other], task, k, entered, tie)
        for hands in self.rules.timed:
            if stage.crew in hands.crews:
                self._strike_long(hands)
        if after in self.left:
            mask, edges = self.left[after], self.rules.of[after]
            begins = edges.stage.begins
            near = edges.begun_from(int(stage.opens[k]), int(stage.closes[k]))
            mask[: near.start] = mask[near.stop :] = False
            mask[near] &= (begins[near] >= stage.opens[k]) & (begins[near] <= stage.closes[k])

    def _firsts(self, crew: int) -> IntArray:
        if crew not in self._first:
            self._first[crew] = np.full(self.rules.spans, NEVER, dtype=np.int64)
        return self._first[crew]

    def _entered(self, task: Task, k: int) -> int:
        """Slot at which the tools of a task go in: one placed before it may stand there."""
        edges = self.rules.of[task]
        begins, span = int(edges.stage.begins[k]), int(edges.stage.span[k])
        follows = begins > self._firsts(edges.stage.crew)[span]
        return begins - (edges.later if follows else edges.alone)

    def _strike(
        self, other: Task, mask: BoolArray, task: Task, k: int, entered: int, tie: Tie
    ) -> None:
        stage, edges = self.stage(task), self.rules.of[other]
        if tie.hands is not None:
            free, then = tie.hands
            until = int(getattr(stage, then)[k])
            edges.strike(mask, free, int(stage.begins[k]), "begins", until)
        if tie.crossed:
            shuts, walks = int(stage.shuts[k]), int(stage.walks[k])
            edges.strike(mask, "ends", shuts, "begins", walks + edges.later)
            near = edges.begun_from(walks + edges.later, walks + edges.alone - 1)
            if near.start < near.stop:
                there = edges.stage
                begins = there.begins[near]
                follows = begins > self._firsts(there.crew)[there.span[near]]
                enters = begins - np.where(follows, edges.later, edges.alone)
                mask[near] &= enters >= walks
        if tie.on_way:
            edges.strike(mask, "walks", entered, "shuts", int(stage.ends[k]))

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

    def best(self, task: Task, manner: Manner, mask: BoolArray) -> IntArray:
        """States of a pour still possible, best first."""
        order = self.rules.of[task].best(manner)
        return np.asarray(order[mask[order]])

    def first_left(self, task: Task, *, clear: bool) -> int:
        """The first state left of a task, clear of both ends of its window where one is."""
        mask = self.left[task]
        if clear:
            edges, ends = self.rules.of[task], self.problem.clear
            before = self.stage((task[0], task[1] - 1))
            below = self.chosen[task[0], task[1] - 1]
            opens = before.opens[below] + ends.opening
            closes = before.closes[below] - ends.closing
            near = edges.begun_from(int(opens), int(closes))
            begins = edges.stage.begins[near]
            wanted = mask[near] & (begins >= opens) & (begins <= closes)
            if wanted.any():
                return int(near.start) + int(wanted.argmax())
        return int(mask.argmax())

    def place_first(self, task: Task) -> None:
        """Place a task at its earliest."""
        if not self.left[task].any():
            raise _StuckError(*task)
        self.place(task, int(self.left[task].argmax()))

    def first_if_never_too_old(self, task: Task) -> int | None:
        """First begin left for a task, were the stage below never too old for it."""
        stage, below = self.stage(task), (task[0], task[1] - 1)
        mask = stage.begins >= self.stage(below).opens[self.chosen[below]]
        for other, k in self.chosen.items():
            tie = self.rules.ties[other].get(task)
            if tie is not None:
                self._strike(task, mask, other, k, self._entered(other, k), tie)
        return int(stage.begins[mask.argmax()]) if mask.any() else None

    def copy(self) -> _Board:
        twin = _Board.__new__(_Board)
        twin.rules, twin.problem = self.rules, self.problem
        twin.left = {task: mask.copy() for task, mask in self.left.items()}
        twin.chosen = dict(self.chosen)
        twin._first = {crew: first.copy() for crew, first in self._first.items()}
        return twin

    def become(self, twin: _Board) -> None:
        """Take over a copy that went further."""
        self.left, self.chosen, self._first = twin.left, twin.chosen, twin._first

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
    timing = _Timing(Rules(problem), tuple(order))
    return timing.attempt(manner, crossed_last=crossed_last, clear=clear)


@dataclass(slots=True)
class _Timing:
    """One order timed in several manners; what is alike in some of them is placed once."""

    rules: Rules
    order: tuple[int, ...]
    _poured: dict[object, tuple[Task | None, _Board]] = field(default_factory=dict)
    _coated: dict[object, tuple[Attempt, int | None]] = field(default_factory=dict)

    def attempt(self, manner: Manner, *, crossed_last: bool, clear: bool) -> Attempt:
        later: dict[Task, int] = {}
        for _ in range(MOST_REPAIRS):
            found, needed = self._once(manner, later, crossed_last=crossed_last, clear=clear)
            if found.stuck is None or needed is None:
                return found
            before = found.stuck[0], found.stuck[1] - 1
            if needed <= later.get(before, -NEVER):
                return found
            later[before] = needed
        return found

    def _once(
        self, manner: Manner, later: dict[Task, int], *, crossed_last: bool, clear: bool
    ) -> tuple[Attempt, int | None]:
        """What becomes of the order when nothing is mended, and when what was stuck could
        begin at the soonest."""
        stuck, poured = self._with_pours(manner, later)
        if stuck is not None:
            return _stuck(poured, stuck)
        # Manners mostly differ in the remedies they pick, and often pick alike.
        held = tuple(sorted(later.items()))
        key = tuple(poured.chosen.items()), held, crossed_last, clear
        if key not in self._coated:
            self._coated[key] = self._with_coats(poured.copy(), crossed_last, clear)
        return self._coated[key]

    def _with_coats(
        self, board: _Board, crossed_last: bool, clear: bool
    ) -> tuple[Attempt, int | None]:
        try:
            _place_coats(board, self.order, crossed_last=crossed_last, clear=clear)
        except _StuckError as error:
            return _stuck(board, error.task)
        choice = board.choice()
        found = score(self.rules.problem, choice)
        return Attempt(choice=choice, score=found, placed=len(board.chosen)), None

    def _with_pours(self, manner: Manner, later: dict[Task, int]) -> tuple[Task | None, _Board]:
        """All that is placed before the first coat; not to be changed."""
        key = manner, tuple(sorted(later.items()))
        if key not in self._poured:
            board, stuck = _Board(self.rules, later), None
            try:
                _place_begun(board)
                _place_below(board, self.order)
                for block in _blocks(self.rules.problem, self.order):
                    left = [room for room in block if board.pour(room) not in board.chosen]
                    if left:
                        _place_block(board, left, manner)
            except _StuckError as error:
                stuck = error.task
            self._poured[key] = stuck, board
        return self._poured[key]


def _stuck(board: _Board, task: Task) -> tuple[Attempt, int | None]:
    """An order that ends at a task, and when that could begin were nothing ever too old."""
    needed = board.first_if_never_too_old(task) if task[1] else None
    return Attempt(choice=None, score=None, stuck=task, placed=len(board.chosen)), needed


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


def _place_begun(board: _Board) -> None:
    """What is laid or being laid: nothing that is still to come holds it up."""
    for room, number in sorted(board.problem.carried):
        if number <= board.problem.pour(room):
            board.place_first((room, number))


def _place_below(board: _Board, order: Sequence[int]) -> None:
    """What lies under the pours, each at its earliest, all floors before the first pour."""
    for room in order:
        for number in range(board.problem.pour(room)):
            if (room, number) not in board.chosen:
                board.place_first((room, number))


def _place_block(board: _Board, block: list[int], manner: Manner) -> None:
    first = board.pour(block[0])
    problem = board.problem
    # After a room of its own group that is begun, no further way than inside the group.
    poured = [
        problem.next_free(t, first)[k] for t, k in board.chosen.items() if t == board.pour(t[0])
    ]
    mask = board.left[first] & (board.stage(first).begins >= max(poured, default=0))
    ranked = board.best(first, manner, mask)
    if ranked.size == 0:
        raise _StuckError(*first)
    if len(block) == 1:
        board.place(first, int(ranked[0]))
        return
    for k in ranked:
        trial = board.copy()
        trial.place(first, int(k))
        if _follow(trial, block[1:], int(board.stage(first).follows[k]), manner):
            board.become(trial)
            return
    raise _StuckError(*first)


def _follow(board: _Board, rooms: list[int], at: int, manner: Manner) -> bool:
    """Pour further rooms with nothing in between; whether that went well."""
    for room in rooms:
        task = board.pour(room)
        stage = board.stage(task)
        ranked = board.best(task, manner, board.left[task] & (stage.begins == at))
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
    first: dict[Task, int] = {}
    while nexts:
        held = {f for r, f in problem.crossings if r in nexts} if crossed_last else set()
        ready = [room for room in nexts if room not in held] or list(nexts)
        best: tuple[int, int, int, int] | None = None
        for room in ready:
            task = room, nexts[room]
            # States are only ever struck out: the first stays it while it is left.
            if task not in first or not board.left[task][first[task]]:
                if not board.left[task].any():
                    raise _StuckError(*task)
                first[task] = board.first_left(task, clear=clear)
            closes, k = board.stage((room, nexts[room] - 1)).closes, first[task]
            candidate = (
                int(board.stage(task).begins[k]),
                int(closes[board.chosen[room, nexts[room] - 1]]),
                rank[room],
                k,
            )
            if best is None or candidate < best:
                best, chosen = candidate, room
        if best is None:
            raise AssertionError("a room that is left was ready")
        board.place((chosen, nexts[chosen]), best[3])
        nexts[chosen] += 1
        if nexts[chosen] == len(problem.rooms[chosen]):
            del nexts[chosen]


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
    for attempt, better in _attempts(Rules(problem), tuple(start), most):
        tried += 1
        if better:
            best = attempt
            if on_news is not None and attempt.score is not None:
                on_news(attempt)
        if stop():
            break
    if best is None:
        raise AssertionError("one order at least is tried")
    return replace(best, work=tried * order_work(problem))


def order_work(problem: Problem) -> float:
    """What an order of a problem costs, in the solver's units of about a second."""
    return ORDER_WORK * sum(len(stages) for stages in problem.rooms) ** 2


def _attempts(
    rules: Rules, start: tuple[int, ...], most: int
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
        attempt = _best_manner(rules, order)
        better = attempt.beats(best)
        yield attempt, better
        if better:
            best = attempt
            moves = moves if few else _moves(order)


def _best_manner(rules: Rules, order: tuple[int, ...]) -> Attempt:
    best: Attempt | None = None
    manners: tuple[Manner, ...] = MANNERS if rules.problem.may_wait else ("driven",)
    ways = product(
        manners,
        (False, True) if rules.problem.crossings else (False,),
        (True, False) if rules.problem.clear.most else (False,),
    )
    timing = _Timing(rules, order)
    for manner, crossed_last, clear in ways:
        attempt = timing.attempt(manner, crossed_last=crossed_last, clear=clear)
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
