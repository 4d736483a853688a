"""Each part of the score in the solver's terms, on problems so small that all is tried."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from random import Random

import numpy as np
import pytest

from cureplan.planning.schedule.cp_model import OrderingModel, cp_sat
from cureplan.planning.schedule.problem import Choice, Problem, Score, Stage, score
from tests.schedule.brute import drawn_problem, keeps_rules


def few(problem: Problem, seed: int, *, states: int) -> Problem:
    """The same with so few states of each stage."""
    random = Random(seed)

    def some(stage: Stage) -> Stage:
        kept = np.zeros(stage.size, dtype=np.bool_)
        kept[random.sample(range(stage.size), min(states, stage.size))] = True
        return stage.keep(kept)

    return replace(
        problem, rooms=tuple(tuple(some(stage) for stage in row) for row in problem.rooms)
    )


def all_choices(problem: Problem) -> list[Choice]:
    """Every choice that keeps all rules."""
    sizes = [[range(stage.size) for stage in row] for row in problem.rooms]
    rooms = [list(product(*row)) for row in sizes]
    return [choice for choice in product(*rooms) if keeps_rules(problem, choice)]


@pytest.mark.parametrize("seed", [1, 2, 6, 14, 15, 16, 17, 20, 58])
def test_a_part_by_itself_is_as_good_as_the_best_choice_has_it(seed: int) -> None:
    rooms = 2 + seed % 2
    problem = few(drawn_problem(seed, rooms=rooms), seed, states=5 if rooms == 2 else 3)
    # Of every second a floor is shut only a while after its crew begins.
    if seed % 2 == 0:
        problem = replace(
            problem,
            rooms=tuple(
                tuple(replace(s, shuts=s.begins + s.span % 2 + 1) for s in row)
                for row in problem.rooms
            ),
        )
    kept = all_choices(problem)
    cp_model, model = cp_sat(), OrderingModel(problem)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    scores = [score(problem, choice) for choice in kept]
    for part in Score._fields:
        goal = model.goal(part)
        model.model.minimize(goal)
        status = solver.solve(model.model)
        if not kept:
            assert status == cp_model.INFEASIBLE
            return
        assert status == cp_model.OPTIMAL
        best = min(getattr(found, part) for found in scores)
        assert round(solver.objective_value) == best, part
        choice = model.choice_of(solver.value)
        assert choice in kept
        assert getattr(score(problem, choice), part) == best
