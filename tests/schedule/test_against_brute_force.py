"""The solver's answers on small drawn problems, against trying everything."""

from __future__ import annotations

from functools import cache

import pytest

from cureplan.core.errors import OutOfRangeError
from cureplan.planning.schedule.bounds import (
    BY_WORK,
    least_possible,
    lower_bounds,
    prune_dominated,
)
from cureplan.planning.schedule.heuristic import improve_orders
from cureplan.planning.schedule.lexicographic import (
    Limits,
    Solved,
    solve_in_order,
)
from cureplan.planning.schedule.problem import Choice, Problem, Score, broken_rules, score
from tests.schedule.brute import best_by_trying, drawn_problem, keeps_rules

PLENTY = Limits(work=60.0)
SMALL = [(seed, rooms) for rooms in (2, 3) for seed in range(8)]
DRAWN = [*SMALL, (1, 4)]


@cache
def drawn(seed: int, rooms: int) -> tuple[Problem, tuple[tuple[int, ...], Choice] | None]:
    problem = drawn_problem(seed, rooms=rooms)
    return problem, best_by_trying(problem)


def answer(problem: Problem) -> Solved:
    first = improve_orders(problem, range(len(problem.rooms)), most=20)
    return solve_in_order(problem, first.choice, limits=PLENTY, seed=1)


@pytest.mark.thorough
@pytest.mark.parametrize(("seed", "rooms"), DRAWN)
def test_nothing_tried_beats_the_solver(seed: int, rooms: int) -> None:
    problem, tried = drawn(seed, rooms)
    solved = answer(problem)
    if tried is None:
        assert solved.infeasible
        assert solved.choice is None
        return
    assert solved.proven
    assert solved.choice is not None
    assert broken_rules(problem, solved.choice) == []
    assert tuple(score(problem, solved.choice)) == tried[0]


@pytest.mark.thorough
def test_the_drawn_problems_hold_every_kind() -> None:
    # Guards the test above: were every draw easy, agreement would say little.
    draws = [drawn(seed, rooms) for seed, rooms in DRAWN]
    scores = [Score(*tried[0]) for _, tried in draws if tried is not None]
    assert any(tried is None for _, tried in draws)
    assert any(problem.groups for problem, tried in draws if tried is not None)
    timed = [tried for problem, tried in draws if problem.timed]
    assert any(tried is not None for tried in timed)
    assert any(tried is None for tried in timed)
    assert any(any(problem.crosses) for problem, tried in draws if tried is not None)
    for part in ("waited", "short_sum", "last_shift", "tight", "cost", "hurried"):
        assert any(getattr(found, part) > 0 for found in scores), part


@pytest.mark.parametrize(("seed", "rooms"), SMALL)
def test_rules_simple_bounds_and_narrowing_agree_with_the_best(seed: int, rooms: int) -> None:
    problem, tried = drawn(seed, rooms)
    if tried is None:
        return
    found, choice = tried
    assert broken_rules(problem, choice) == []
    assert tuple(score(problem, choice)) == found
    assert all(low <= is_ for low, is_ in zip(lower_bounds(problem), found, strict=True))
    for part in BY_WORK:
        # Were it said to be worse than it is, the bound may still not pass what it is.
        worse = Score(*found)._replace(ready=2 * Score(*found).ready, last_shift=1)
        assert least_possible(problem, worse, part, 0) <= getattr(Score(*found), part)
    small = prune_dominated(problem, Score(*found), Score._fields)
    assert small.outer(small.inner(choice)) == choice


@pytest.mark.parametrize(("seed", "rooms"), SMALL)
def test_broken_rules_are_seen_in_every_mutation_of_the_best(seed: int, rooms: int) -> None:
    problem, tried = drawn(seed, rooms)
    if tried is None:
        return
    choice, seen = tried[1], set()
    for room, stages in enumerate(problem.rooms):
        for number, stage in enumerate(stages):
            for k in range(stage.size):
                row = (*choice[room][:number], k, *choice[room][number + 1 :])
                mutated = (*choice[:room], row, *choice[room + 1 :])
                kept = keeps_rules(problem, mutated)
                seen.add(kept)
                assert kept == (not broken_rules(problem, mutated))
    assert seen == {True, False}


def test_a_choice_that_names_no_state_is_refused() -> None:
    problem = drawn_problem(0, rooms=2)
    with pytest.raises(OutOfRangeError, match="state"):
        broken_rules(problem, tuple((10_000,) * len(row) for row in problem.rooms))
    with pytest.raises(OutOfRangeError, match="one state per stage"):
        broken_rules(problem, ())
