"""What a task that is placed leaves to the others, slot by slot, worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from cureplan.planning.schedule.heuristic import _Board
from cureplan.planning.schedule.problem import NEVER, Clear, Hands, Problem, stage_of
from cureplan.planning.schedule.ties import Rules

EACH = np.arange(40)


def task(begins, lasts=2, *, crew=0, **more):
    begins = np.asarray(begins)
    given = {"opens": begins + 6, "closes": NEVER, **more}
    return stage_of(crew=crew, begins=begins, lasts=lasts, **given)


def board(*rooms, not_before=None, crosses=None, **more):
    rooms = tuple(row if isinstance(row, tuple) else (row,) for row in rooms)
    crosses = crosses or ((),) * len(rooms)
    return _Board(Rules(Problem(rooms=rooms, crosses=crosses, **more)), not_before or {})


def left(one, room, number=0):
    """The begins that a task may still have."""
    stage = one.stage((room, number))
    return stage.begins[one.left[room, number]].tolist()


# Ways across floors


def test_tools_of_the_first_task_of_a_shift_go_in_sooner():
    one = board(task([10, 20, 50], span=[0, 0, 1]), task([10]), setup=5, moving=2)
    # Nothing stands in its shift: five slots ahead.
    assert one._entered((0, 0), 0) == 5
    one.place((1, 0), 0)
    # After the other at 10 two slots ahead, in another shift five; the first stays the first.
    assert [one._entered((0, 0), k) for k in (1, 2)] == [18, 45]
    assert one._entered((1, 0), 0) == 5


@pytest.mark.parametrize(("first", "kept"), [(True, [15, 16]), (False, [13, 14, 15, 16])])
def test_who_carries_tools_over_a_floor_waits_until_it_bears_feet(first, kept):
    # The floor is shut from 0 to 12. Tools go in three slots ahead of a crew's first task
    # in its shift, one ahead of others; the other crew's first is at 2 where it has one.
    floor = task([0], crew=1, shuts=0, walks=12)
    over, other = task(np.arange(5, 17)), task([2], 1)
    one = board(over, floor, other, crosses=((1,), (), ()), setup=3, moving=1)
    if not first:
        one.place((2, 0), 0)
    one.place((1, 0), 0)
    assert left(one, 0) == kept


@pytest.mark.parametrize(
    ("first", "walks", "struck"),
    [(True, 7, False), (True, 8, True), (False, 9, False), (False, 10, True)],
)
def test_a_floor_bears_feet_before_tools_are_carried_over_it(first, walks, struck):
    # Work from 10 to 14 leads over the floor; tools go in at 7, or at 9 where its crew has
    # begun elsewhere at 2.
    floor = task([3, 30], crew=1, shuts=[3, 30], walks=[walks, 33])
    one = board(task([10], 4), floor, task([2], 1), crosses=((1,), (), ()), setup=3, moving=1)
    if not first:
        one.place((2, 0), 0)
    one.place((0, 0), 0)
    assert left(one, 1) == ([30] if struck else [3, 30])


def test_when_a_coat_could_begin_is_told_by_the_ways_in_use():
    # The second room's coat is stuck. Work in the first from 10 on leads over it: as the
    # first of its crew its tools go in at 6. Begun at 1 the coat is walked on at 6.
    coat = task([0, 1, 2, 20], 1, crew=2, shuts=[0, 1, 2, 20], walks=[5, 6, 7, 25])
    one = board(
        task([10], 4), (task([0], 1, crew=1, opens=1), coat),
        crosses=((1,), ()), setup=4, moving=1,
    )  # fmt: skip
    one.place((1, 0), 0)
    one.place((0, 0), 0)
    assert one.first_if_never_too_old((1, 1)) == 1
    # Were it one slot ahead, 2 would do as well; were it none, nothing but 20 is left.
    late = board(
        task([10], 4), (task([0], 1, crew=1, opens=2), coat),
        crosses=((1,), ()), setup=4, moving=1,
    )  # fmt: skip
    late.place((1, 0), 0)
    late.place((0, 0), 0)
    assert late.first_if_never_too_old((1, 1)) == 20


# How long people stay


@pytest.mark.parametrize(("rest", "kept"), [(2, [14, 16, 24, 26]), (3, [16, 24])])
def test_a_rest_before_or_after_parts_two_stays(rest, kept):
    # They are there from 20 to 24 for one crew, and 8 slots at most. Begun at 16 or 24 it is
    # one stay of 8, at 15 or 25 one of 9; at 14 and at 26 two slots lie in between.
    one = board(
        task([14, 15, 16, 17, 20, 23, 24, 25, 26], 4, crew=1), task([20], 4),
        hands=(Hands(crews=(0, 1), most=8, rest=rest),),
    )  # fmt: skip
    one.place((1, 0), 0)
    assert left(one, 0) == kept


# The first state left


def test_the_first_that_is_clear_is_one_that_is_left():
    # Two slots clear of both ends: from 12 to 18. Another of its crew stands at 12.
    clear = Clear(opening=2, closing=2)
    rooms = ((task([0], opens=10, closes=20), task([10, 12, 14, 18, 19], 1, crew=1)),)
    one = board(*rooms, task([12], 1, crew=1), clear=clear)
    one.place((0, 0), 0)
    assert [one.first_left((0, 1), clear=way) for way in (True, False)] == [1, 0]
    one.place((1, 0), 0)
    assert [one.first_left((0, 1), clear=way) for way in (True, False)] == [2, 0]


# States struck out between a bound and a limit


@pytest.mark.parametrize(
    ("begins", "frees", "kept"),
    [
        # Struck out where free after 5 and begun before 4. All in order:
        ([1, 2, 3, 4], [5, 6, 7, 8], [1, 4]),
        # One that is free at 5 stands after one that is free at 9.
        ([1, 2, 3, 4], [9, 5, 12, 12], [2, 4]),
        # One that begins at 4 stands before one that begins at 2.
        ([1, 4, 2, 5], [9, 9, 9, 9], [4, 5]),
        ([1, 4, 2, 5], [9, 9, 5, 9], [4, 2, 5]), ([9, 9, 1, 9], [9, 9, 9, 9], [9, 9, 9]),
        ([1, 9, 8, 9], [9, 9, 9, 9], [9, 8, 9]),
    ],
)  # fmt: skip
def test_states_are_struck_out_one_by_one_where_they_are_in_no_order(begins, frees, kept):
    edges = Rules(Problem(rooms=((task(begins, frees=frees),),), crosses=((),))).of[0, 0]
    mask = np.ones(4, dtype=bool)
    edges.strike(mask, "frees", 5, "begins", 4)
    assert edges.stage.begins[mask].tolist() == kept


def test_only_from_pour_to_pour_of_a_group_is_the_way_the_shorter_one():
    rooms = ((task(EACH), task(EACH, crew=0)),) * 3
    ties = Rules(Problem(rooms=rooms, crosses=((),) * 3, groups=((0, 1),))).ties
    assert ties[0, 0][1, 0].hands == ("follows", "follows")
    for one, other in (((0, 0), (1, 1)), ((0, 1), (1, 0)), ((0, 0), (2, 0)), ((0, 0), (0, 1))):
        assert ties[one][other].hands == ("frees", "frees")
