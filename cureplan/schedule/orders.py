"""A first answer without a solver: orders timed forward, and improved one move at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import permutations

from cureplan.schedule.forward import Attempt, Manner, time_order
from cureplan.schedule.problem import Problem

__all__ = ["improve_orders"]

MANNERS: tuple[Manner, ...] = ("thrifty", "prompt")
MOST_PERMUTED = 4


def improve_orders(
    problem: Problem,
    start: Sequence[int],
    *,
    most: int,
    told: Callable[[Attempt], None] | None = None,
) -> Attempt:
    """Try orders near a first one and keep the best; the same answer every time.

    Not a proof of anything: the solver takes over from here.

    Parameters
    ----------
    problem : Problem
        The problem.
    start : sequence of int
        The order a crew would begin with.
    most : int
        How many orders to time, >= 1; small problems need fewer.
    told : callable, optional
        Called with each attempt that beats all before it.

    Returns
    -------
    Attempt
        Its `choice` is None when no order tried could be completed. Ctrl-C returns the
        best so far, marked `stopped`.
    """
    best: Attempt | None = None
    try:
        for attempt, better in _attempts(problem, tuple(start), most):
            if better:
                best = attempt
                if told is not None and attempt.score is not None:
                    told(attempt)
    except KeyboardInterrupt:
        if best is None:
            raise
        return replace(best, stopped=True)
    if best is None:
        raise AssertionError("one order at least is tried")
    return best


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
    for manner in manners:
        for crossed_last in (False, True) if problem.crossings else (False,):
            attempt = time_order(problem, order, manner=manner, crossed_last=crossed_last)
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
