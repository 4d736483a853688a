"""The ordering problem as a time-indexed mixed-integer program for `scipy.optimize.milp`."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.planning.schedule.problem import Problem, Stage

__all__ = ["HighsAnswer", "best_opening_by_highs"]

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class HighsAnswer:
    """What came of it."""

    seconds: float
    words: str
    ready: int | None
    gap_frac: float | None
    """None where it found no choice: in its time, or none of its starts go together."""


class _Rows:
    """Rows of a sparse matrix, gathered."""

    def __init__(self) -> None:
        self.columns: list[IntArray] = []
        self.values: list[NDArray[np.float64]] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def add(self, columns: IntArray, values: object, low: float, high: float) -> None:
        self.columns.append(columns)
        self.values.append(np.broadcast_to(np.asarray(values, dtype=float), columns.shape))
        self.low.append(low)
        self.high.append(high)


def best_opening_by_highs(problem: Problem, *, limit_s: float) -> HighsAnswer:
    """Least `ready` of a problem: one binary per state, one crew and one way out at a time.

    Parameters
    ----------
    problem : Problem
        Remedies, margins and groups are left out of account.
    limit_s : float
        How long HiGHS may work [s].

    Returns
    -------
    HighsAnswer
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    if problem.empty:
        return HighsAnswer(seconds=0.0, words="no start", ready=None, gap_frac=None)
    began = time.perf_counter()
    first: dict[tuple[int, int], int] = {}
    count = 0
    for room, number, stage in problem.tasks():
        first[room, number] = count
        count += stage.size
    rows = _Rows()
    _windows(problem, first, count, rows)
    _crews(problem, first, rows)
    _ways_out(problem, first, rows)
    lengths = [columns.size for columns in rows.columns]
    matrix = csr_array(
        (
            np.concatenate(rows.values),
            np.concatenate(rows.columns),
            np.concatenate([[0], np.cumsum(lengths)]),
        ),
        shape=(len(lengths), count + 1),
    )
    goal = np.zeros(count + 1)
    goal[count] = 1.0
    result = milp(
        goal,
        integrality=np.append(np.ones(count), 0),
        bounds=Bounds(np.zeros(count + 1), np.append(np.ones(count), np.inf)),
        constraints=LinearConstraint(matrix, rows.low, rows.high),
        options={"time_limit": limit_s, "presolve": True},
    )
    words = {0: "optimal", 1: "time is up", 2: "infeasible"}.get(result.status, "failed")
    ready = None if result.x is None else round(float(result.fun))
    gap = None if result.x is None else float(result.mip_gap)
    return HighsAnswer(
        seconds=time.perf_counter() - began, words=words, ready=ready, gap_frac=gap
    )


def _windows(
    problem: Problem, first: dict[tuple[int, int], int], ready: int, rows: _Rows
) -> None:
    for (room, number), at in first.items():
        stage = problem.rooms[room][number]
        here = at + np.arange(stage.size)
        rows.add(here, 1.0, 1.0, 1.0)
        if number + 1 == len(problem.rooms[room]):
            columns = np.append(here, ready)
            rows.add(columns, np.append(-stage.opens, 1), 0.0, np.inf)
            continue
        after = problem.rooms[room][number + 1]
        columns = np.concatenate([here, first[room, number + 1] + np.arange(after.size)])
        rows.add(columns, np.concatenate([-stage.opens, after.begins]), 0.0, np.inf)
        rows.add(columns, np.concatenate([stage.closes, -after.begins]), 0.0, np.inf)


def _active(begins: IntArray, ends: IntArray, slot: int, at: int) -> IntArray:
    return at + np.flatnonzero((begins <= slot) & (slot < ends))


def _crews(problem: Problem, first: dict[tuple[int, int], int], rows: _Rows) -> None:
    by_crew: dict[int, list[tuple[Stage, int]]] = {}
    for room, number, stage in problem.tasks():
        by_crew.setdefault(stage.crew, []).append((stage, first[room, number]))
    for found in by_crew.values():
        for slot in np.unique(np.concatenate([stage.begins for stage, _ in found])):
            columns = [_active(s.begins, s.frees, int(slot), at) for s, at in found]
            rows.add(np.concatenate(columns), 1.0, 0.0, 1.0)


def _ways_out(problem: Problem, first: dict[tuple[int, int], int], rows: _Rows) -> None:
    for room, floor in problem.crossings:
        for n, work in enumerate(problem.rooms[room]):
            for m, shut in enumerate(problem.rooms[floor]):
                for slot in np.unique(np.concatenate([work.begins, shut.shuts])):
                    here = _active(work.begins, work.ends, int(slot), first[room, n])
                    there = _active(shut.shuts, shut.walks, int(slot), first[floor, m])
                    if here.size and there.size:
                        rows.add(np.concatenate([here, there]), 1.0, 0.0, 1.0)
