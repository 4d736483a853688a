"""The soonest way of one floor through its layers, one over the other."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from cureplan.planning.schedule.problem import NEVER, Stage

__all__ = ["soonest"]


def soonest(stages: Sequence[Stage]) -> tuple[int, ...] | None:
    """Begins of the states that lead to the soonest end, one stage over the other."""
    ready = np.where(stages[-1].opens < NEVER, stages[-1].opens, NEVER)
    chain_ready = [ready]
    pairs = [*pairwise(stages)]
    for below, above in reversed(pairs):
        chain_ready.insert(0, ready := _over(below, above, ready))
    if ready.size == 0 or ready.min() >= NEVER:
        return None
    k = int(ready.argmin())
    begins = [int(stages[0].begins[k])]
    for (below, above), ends in zip(pairs, chain_ready[1:], strict=True):
        order, first, last = _in_windows(below, above)
        inside = ends[order][first[k] : last[k]]
        k = int(order[first[k] + inside.argmin()])
        begins.append(int(above.begins[k]))
    return tuple(begins)


def _in_windows(below: Stage, above: Stage) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """States above by their begins, and of these the first and the last in the window of
    each state below."""
    order = np.argsort(above.begins, kind="stable")
    begins = above.begins[order]
    first = np.searchsorted(begins, below.opens, side="left")
    return order, first, np.searchsorted(begins, below.closes, side="right")


def _over(below: Stage, above: Stage, ready: np.ndarray) -> np.ndarray:
    """For each state below, the soonest end by any state above in its window."""
    order, first, last = _in_windows(below, above)
    ends = np.append(ready[order], NEVER)
    found = np.full(below.size, NEVER, dtype=np.int64)
    some = first < last
    # The least of every stretch from the first to the last; between them nobody asks.
    edges = np.stack([first[some], last[some]], axis=1).ravel()
    if edges.size:
        found[some] = np.minimum.reduceat(ends, edges)[::2]
    return found
