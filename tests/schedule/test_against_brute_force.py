"""The solver's answers on small drawn problems, against trying everything."""

from __future__ import annotations

import pytest
from tests.schedule.brute import best_by_trying, drawn_problem

from cureplan.errors import OutOfRangeError
from cureplan.schedule.bounds import lower_bounds
from cureplan.schedule.forward import improve_orders
from cureplan.schedule.lexico import Limits, Solved, solve_in_order
from cureplan.schedule.narrow import narrow
from cureplan.schedule.problem import Problem, Score, broken_rules, score

PLENTY = Limits(work=60.0, wall_s=600.0)
DRAWN = [(seed, rooms) for rooms in (2, 3) for seed in range(12)]
DRAWN += [(seed, rooms) for rooms in (4, 5) for seed in range(4)]


def answer(problem: Problem) -> Solved:
    first = improve_orders(problem, range(len(problem.rooms)), most=20)
    return solve_in_order(problem, first.choice, limits=PLENTY, seed=1)


@pytest.mark.parametrize(("seed", "rooms"), DRAWN)
def test_nothing_tried_beats_the_solver(seed: int, rooms: int) -> None:
    problem = drawn_problem(seed, rooms=rooms)
    tried = best_by_trying(problem)
    solved = answer(problem)
    if tried is None:
        assert solved.infeasible
        assert solved.choice is None
        return
    assert solved.proven
    assert solved.choice is not None
    assert broken_rules(problem, solved.choice) == []
    assert tuple(score(problem, solved.choice)) == tried[0]


def test_the_drawn_problems_hold_every_kind() -> None:
    # Guards the test above: were every draw easy, agreement would say little.
    problems = [drawn_problem(seed, rooms=rooms) for seed, rooms in DRAWN]
    tried = [best_by_trying(problem) for problem in problems]
    scores = [Score(*found[0]) for found in tried if found is not None]
    assert any(found is None for found in tried)
    assert any(problem.groups for problem in problems)
    assert any(any(problem.crosses) for problem in problems)
    for part in ("waited", "short_sum", "last_shift", "cost"):
        assert any(getattr(found, part) > 0 for found in scores), part


@pytest.mark.parametrize(("seed", "rooms"), DRAWN[:24])
def test_rules_simple_bounds_and_narrowing_agree_with_the_best(seed: int, rooms: int) -> None:
    problem = drawn_problem(seed, rooms=rooms)
    tried = best_by_trying(problem)
    if tried is None:
        return
    found, choice = tried
    assert broken_rules(problem, choice) == []
    assert tuple(score(problem, choice)) == found
    assert all(low <= is_ for low, is_ in zip(lower_bounds(problem), found, strict=True))
    small = narrow(problem, Score(*found), Score._fields)
    assert small.outer(small.inner(choice)) == choice


@pytest.mark.parametrize("seed", range(6))
def test_every_rule_can_be_broken(seed: int) -> None:
    # A mutated good answer must not pass: the tests above lean on `broken_rules`.
    problem = drawn_problem(seed, rooms=3)
    tried = best_by_trying(problem)
    if tried is None:
        return
    choice = tried[1]
    first = problem.rooms[0][0]
    clash = int((first.begins == problem.rooms[1][0].begins[choice[1][0]]).argmax())
    moved = ((clash, *choice[0][1:]), *choice[1:])
    assert any("crew 0" in rule for rule in broken_rules(problem, moved))
    last = problem.rooms[0][-1].size - 1
    late = ((*choice[0][:-1], last), *choice[1:])
    assert late == choice or broken_rules(problem, late)


def test_a_choice_that_names_no_state_is_refused() -> None:
    problem = drawn_problem(0, rooms=2)
    with pytest.raises(OutOfRangeError, match="state"):
        broken_rules(problem, tuple((10_000,) * len(row) for row in problem.rooms))
    with pytest.raises(OutOfRangeError, match="one state per stage"):
        broken_rules(problem, ())
