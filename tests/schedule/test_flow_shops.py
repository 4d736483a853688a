"""Published two-machine problems, run through the engine that orders rooms."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from cureplan.planning.schedule import heuristic, lexicographic
from cureplan.planning.schedule.heuristic import improve_orders, time_order
from cureplan.planning.schedule.lexicographic import Limits, solve_in_order
from cureplan.planning.schedule.problem import Problem, broken_rules, stage_of

# Johnson 1954, "Optimal two- and three-stage production schedules with setup times
# included", five jobs: instance from memory, makespans by brute force over all orders.
JOHNSON = ((4, 4, 30, 6, 2), (5, 1, 4, 30, 3))
PLENTY = Limits(work=60.0)
FREE = 1000


def flow_shop(
    first: tuple[int, ...], second: tuple[int, ...], *, least: int = 0, most: int = FREE
) -> Problem:
    """Two crews, one after the other in every room, with a lag from least to most."""
    slots = np.arange(sum(first) + sum(second) + 1)
    rooms = [
        (
            stage_of(
                crew=0, begins=slots, lasts=a, opens=slots + a + least, closes=slots + a + most
            ),
            stage_of(crew=1, begins=slots, lasts=b, opens=slots + b, closes=slots + b),
        )
        for a, b in zip(first, second, strict=True)
    ]
    return Problem(rooms=tuple(rooms), crosses=tuple(() for _ in rooms))


@pytest.mark.parametrize(
    ("first", "second", "lags", "makespan"),
    [
        (*JOHNSON, {}, 47),
        # With lags between the machines: by brute force over all orders.
        (*JOHNSON, {"most": 0}, 47),
        (*JOHNSON, {"least": 1, "most": 3}, 48),
        (*JOHNSON, {"least": 2}, 49),
        (*JOHNSON, {"most": 5}, 47),
        # From memory; 35 by brute force.
        ((5, 3, 8, 10, 7), (2, 6, 4, 7, 12), {}, 35),
        # Computed apart: brute force over all orders.
        ((10, 5, 7, 3, 1), (2, 4, 5, 6, 7), {}, 28),
    ],
)
def test_makespans(
    first: tuple[int, ...], second: tuple[int, ...], lags: dict[str, int], makespan: int
) -> None:
    problem = flow_shop(first, second, **lags)
    start = improve_orders(problem, range(len(first)), most=1)
    solved = solve_in_order(problem, start.choice, limits=PLENTY, seed=1)
    assert solved.choice is not None
    assert broken_rules(problem, solved.choice) == []
    assert solved.score is not None
    assert solved.score.ready == makespan
    assert solved.bounds["ready"] == makespan


def test_coats_on_pours_alike_are_placed_once(monkeypatch: pytest.MonkeyPatch) -> None:
    # No remedy has a price here: pours picked by price and by hour are the same.
    problem, seen, place = flow_shop(*JOHNSON), [], heuristic._place_coats

    def counted(board: Any, order: Any, **ways: bool) -> None:
        seen.append((order, tuple(board.chosen.items()), *ways.values()))
        place(board, order, **ways)

    monkeypatch.setattr(heuristic, "_place_coats", counted)
    improve_orders(problem, range(5), most=3)
    assert len(seen) == len(set(seen)) > 2


@pytest.mark.parametrize(
    ("order", "makespan"),
    [((0, 1, 2, 3, 4), 77), ((4, 0, 3, 2, 1), 47), ((0, 4, 3, 2, 1), 47)],
)
def test_orders_timed_forward(order: tuple[int, ...], makespan: int) -> None:
    # Johnson's given order and his two best ones; 77 and 47 by adding up by hand.
    attempt = time_order(flow_shop(*JOHNSON), order, manner="prompt")
    assert attempt.score is not None
    assert attempt.score.ready == makespan


def test_a_lag_that_cannot_be_kept_is_seen() -> None:
    problem = flow_shop(*JOHNSON, least=3, most=2)
    solved = solve_in_order(problem, None, limits=PLENTY, seed=1)
    assert solved.infeasible
    assert solved.choice is None


def test_who_would_be_too_old_is_begun_later() -> None:
    # By hand: the second crew is at it from 1 to 11. Begun at once, the other room would be
    # done at 2 and too old at 4; so it is begun that its second part may follow at 11.
    problem = flow_shop((1, 1), (10, 1), most=2)
    attempt = time_order(problem, (0, 1), manner="prompt")
    assert attempt.score is not None
    assert attempt.score.ready == 12
    assert broken_rules(problem, attempt.choice) == []


def test_a_part_of_the_score_is_sought_with_those_before_it_kept(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kept: list[tuple[str, ...]] = []

    def pruned(_: object, __: object, held: tuple[str, ...]) -> SimpleNamespace:
        kept.append(held)
        return SimpleNamespace(problem=SimpleNamespace(empty=True))

    monkeypatch.setattr(lexicographic, "prune_dominated", pruned)
    search = SimpleNamespace(
        stop=lambda: False, limits=PLENTY, worked=0.0, problem=None, score=None, choice=None
    )
    for part in ("waited", "last_shift"):
        lexicographic._solve(search, part)
    assert kept == [("waited",), ("waited", "short_most", "short_sum", "last_shift")]
    assert search.infeasible
