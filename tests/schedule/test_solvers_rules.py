"""Rules in the solver's terms, on tasks at fixed slots that just keep or just break them."""

from __future__ import annotations

import pytest

from cureplan.planning.schedule.cp_model import OrderingModel, cp_sat
from cureplan.planning.schedule.problem import Hands, Problem, Stage, stage_of
from tests.schedule.brute import keeps_rules


def task(begins: int, *, lasts: int = 4, crew: int = 0, **more: int) -> Stage:
    given = {"opens": begins + lasts, "closes": 1000, "frees": begins + lasts, **more}
    return stage_of(crew=crew, begins=[begins], lasts=lasts, **given)


def fits(problem: Problem) -> bool:
    """Whether the solver finds these slots allowed."""
    solver = cp_sat().CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(OrderingModel(problem).model)
    return bool(status in (cp_sat().OPTIMAL, cp_sat().FEASIBLE))


def agreed(problem: Problem) -> bool:
    """The same, and by the rules as the brute search writes them."""
    found = fits(problem)
    assert keeps_rules(problem, tuple((0,) * len(row) for row in problem.rooms)) == found
    return found


@pytest.mark.parametrize(
    ("begins", "most", "rest", "kept"),
    [
        # Each takes 4 slots: alone, one after the other in one stay, or after a rest.
        ((0,), 4, 1, True), ((0,), 3, 1, False), ((0, 4), None, 1, True),
        ((0, 4), 8, 1, True), ((0, 4), 7, 1, False), ((0, 5), 7, 1, True),
        ((0, 5), 8, 2, False), ((0, 5), 9, 2, True), ((0, 12), 4, 8, True),
        ((0, 11), 4, 8, False), ((0, 6, 12), 4, 2, True), ((0, 6, 12), 10, 3, False),
        ((0, 6, 13), 10, 3, True), ((3, 9, 15), 4, 2, True), ((0, 4, 11), 8, 3, True),
        ((0, 4, 10), 8, 3, False), ((7, 19), 4, 8, True), ((1,), 4, 30, True),
    ],
)  # fmt: skip
def test_nobody_stays_longer_than_he_may_or_comes_before_he_has_rested(
    begins, most, rest, kept
):
    hands = (Hands(crews=(0,), most=most, rest=rest),)
    rooms = tuple((task(begin),) for begin in begins)
    assert agreed(Problem(rooms=rooms, crosses=((),) * len(rooms), hands=hands)) == kept


def test_people_with_no_work_here_are_asked_for_nothing():
    hands = (Hands(crews=(7,), most=4, rest=1),)
    assert agreed(Problem(rooms=((task(0, lasts=9),),), crosses=((),), hands=hands))


@pytest.mark.parametrize(
    ("setup", "moving", "more", "begins", "kept"),
    [
        # The floor of the first is shut from 0 to 10, and the tools of the second go over it:
        # a move takes 1 slot, a set-up 3, tools that are in none.
        (3, 1, {}, 11, True), (3, 1, {}, 10, False),
        (3, 1, {"span": 1}, 13, True), (3, 1, {"span": 1}, 12, False),
        (3, 1, {"crew": 1}, 13, True), (3, 1, {"crew": 1}, 12, False),
        (3, 0, {}, 10, True), (3, 0, {}, 9, False),
        (3, 0, {"span": 1}, 13, True), (3, 0, {"span": 1}, 12, False),
        (2, 2, {}, 12, True), (2, 2, {}, 11, False), (0, 0, {}, 10, True),
        (0, 0, {}, 9, False),
    ],
)  # fmt: skip
def test_tools_are_carried_in_over_a_floor_that_bears_them(setup, moving, more, begins, kept):
    rooms = ((task(0, walks=10),), (task(begins, **more),))
    problem = Problem(
        rooms=rooms, crosses=((), (0,)), setup=setup, moving=moving, shift_begins=(0, 0)
    )
    assert agreed(problem) == kept


@pytest.mark.parametrize(("carried", "kept"), [(frozenset(), False), ({(1, 0)}, True)])
def test_tools_that_are_in_are_not_carried(carried, kept):
    rooms = ((task(0, walks=10),), (task(10),))
    problem = Problem(
        rooms=rooms, crosses=((), (0,)), setup=3, moving=1, carried=frozenset(carried)
    )
    assert fits(problem) == kept


@pytest.mark.parametrize(
    ("lasts", "shuts", "kept"),
    # Until it is done, from its set-up on: of two ways to do it the one that is taken counts.
    [(4, 4, True), (4, 3, False), (6, 6, True), (6, 5, False)],
)
def test_a_way_is_open_until_the_work_behind_it_is_done(lasts, shuts, kept):
    behind = task(0, lasts=lasts, crew=1)
    rooms = ((task(20, shuts=shuts, walks=30),), (behind,))
    assert agreed(Problem(rooms=rooms, crosses=((), (0,)), setup=3, moving=1)) == kept


@pytest.mark.parametrize(
    ("opens", "closes", "kept"),
    [(10, 20, True), (11, 20, False), (8, 10, True), (8, 9, False), (10, 10, True)],
)
def test_a_coat_is_laid_in_its_window(opens, closes, kept):
    rooms = ((task(0, opens=opens, closes=closes), task(10, crew=1)),)
    assert agreed(Problem(rooms=rooms, crosses=((),))) == kept


@pytest.mark.parametrize(
    ("crews", "begins", "kept"),
    [
        # Free at 6 though done at 4, and of people who also do the work of the other crew.
        (((0,),), (0, 6, 0), True), (((0,),), (0, 5, 0), False),
        (((0, 1),), (0, 6, 12), True), (((0, 1),), (0, 6, 11), False),
        (((0,), (1,)), (0, 6, 3), True),
    ],
)  # fmt: skip
def test_a_crew_is_at_one_place_at_a_time(crews, begins, kept):
    one, other, third = begins
    rooms = (
        (task(one, frees=one + 6),), (task(other, frees=other + 6),),
        (task(third, crew=1, frees=third + 6),),
    )  # fmt: skip
    hands = tuple(Hands(crews=each) for each in crews)
    assert agreed(Problem(rooms=rooms, crosses=((),) * 3, hands=hands)) == kept


@pytest.mark.parametrize(
    ("begins", "loose", "kept"),
    [
        # A group is poured in one go, by the way of 5 slots; from it to another takes 9.
        ((0, 5, 14), (), True), ((0, 6, 15), (), False), ((0, 5, 13), (), False),
        ((0, 4, 14), (), False), ((0, 15, 6), (), False), ((5, 0, 14), (), True),
        ((10, 15, 24), (), True), ((10, 16, 25), (), False),
        ((0, 18, 9), (0, 1), True), ((0, 6, 15), (0, 1), True), ((0, 4, 15), (0, 1), False),
    ],
)  # fmt: skip
def test_a_group_is_poured_in_one_go(begins, loose, kept):
    rooms = tuple((task(b, frees=b + 9, follows=b + 5),) for b in begins)
    problem = Problem(rooms=rooms, crosses=((),) * 3, groups=((0, 1),), loose=frozenset(loose))
    assert fits(problem) == kept


@pytest.mark.parametrize(
    ("shift_begins", "least"), [((0, 18), 0), ((-3, 18), 2), ((-1, 16), 1)]
)
def test_nobody_waits_in_a_shift_he_is_not_called_to(shift_begins, least):
    # Poured at the first slot of one shift or at the twentieth, in the next.
    pour = stage_of(
        crew=0, begins=[0, 20], lasts=4, opens=[4, 24], closes=1000, span=[0, 1], frees=[4, 24]
    )
    problem = Problem(
        rooms=((pour,),), crosses=((),), may_wait=False, shift_begins=shift_begins
    )
    model = OrderingModel(problem)
    model.model.minimize(model.goal("waited"))
    solver = cp_sat().CpSolver()
    solver.parameters.num_workers = 1
    assert solver.solve(model.model) == cp_sat().OPTIMAL
    assert round(solver.objective_value) == least
