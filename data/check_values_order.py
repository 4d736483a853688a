"""What cureplan answers for the rows of checks.csv: orders of floors, by the solver."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np

from cureplan.planning.schedule.heuristic import time_order
from cureplan.planning.schedule.lexicographic import Limits, solve_in_order
from cureplan.planning.schedule.problem import Problem, stage_of

_LATEST = 1000


def _flow_shop(first: list[int], second: list[int], least: int, most: int) -> Problem:
    slots = np.arange(sum(first) + sum(second) + 1)
    rooms = tuple(
        (
            stage_of(
                crew=0, begins=slots, lasts=a, opens=slots + a + least, closes=slots + a + most
            ),
            stage_of(crew=1, begins=slots, lasts=b, opens=slots + b, closes=slots + b),
        )
        for a, b in zip(first, second, strict=True)
    )
    return Problem(rooms=rooms, crosses=tuple(() for _ in rooms))


def makespan(first: list[int], second: list[int], least: int = 0, most: int = _LATEST) -> float:
    """Shortest time in which two crews, one after the other, are through with all rooms."""
    problem = _flow_shop(first, second, least, most)
    solved = solve_in_order(problem, None, limits=Limits(work=60.0), seed=1)
    if solved.score is None:
        raise SystemExit("no order of the rooms was found")
    return float(solved.score.ready)


def makespan_of(first: list[int], second: list[int], order: list[int]) -> float:
    """The same for one order, rooms counted from 1."""
    rooms = tuple(number - 1 for number in order)
    attempt = time_order(_flow_shop(first, second, 0, _LATEST), rooms, manner="prompt")
    if attempt.score is None:
        raise SystemExit("the order cannot be timed")
    return float(attempt.score.ready)


def nights_planned(table: str, month: str) -> float:
    """Share of the nights of a table here that were planned, iced and not."""
    with Path(__file__).with_name(f"{table}.csv").open(encoding="utf-8") as handle:
        rows = [row for row in csv.DictReader(handle) if row["night"].startswith(month)]
    planned = [{row["without"], row["with"]} <= {"holds", "short"} for row in rows]
    return sum(planned) / len(planned)


VALUES: dict[str, Callable[..., float]] = {
    "makespan": makespan,
    "makespan_of": makespan_of,
    "nights_planned": nights_planned,
}
