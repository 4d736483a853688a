"""The rules between tasks and what a choice is worth, worked out on problems of a few slots."""

from __future__ import annotations

import numpy as np
import pytest

from cureplan.core.errors import OutOfRangeError
from cureplan.planning.schedule.bounds import (
    _chain,
    _could,
    _open_before,
    _shifts_of,
    least_cost,
    lower_bounds,
    prune_dominated,
)
from cureplan.planning.schedule.problem import (
    FAR,
    NEVER,
    Clear,
    Hands,
    Problem,
    Score,
    Stage,
    broken_rules,
    gather_intervals,
    score,
    stage_of,
)
from cureplan.planning.schedule.slots import Slots, between_rows, nodes_of, straight
from cureplan.planning.schedule.soonest import soonest


def pour(begins: list[int], lasts: int = 4, **more: object) -> Stage:
    given = {"crew": 0, "opens": np.array(begins) + 10, "closes": np.array(begins) + 20, **more}
    return stage_of(begins=begins, lasts=lasts, **given)


def coat(begins: list[int], lasts: int = 2, **more: object) -> Stage:
    given = {"crew": 1, "opens": np.array(begins) + 6, "closes": NEVER, **more}
    return stage_of(begins=begins, lasts=lasts, **given)


# What is asked of a stage


@pytest.mark.parametrize(
    ("begins", "missing", "hurried"),
    [
        # Wanted 4 after the opening at 100 and 6 before the closing at 130, in bands of 2.
        (104, 0, 0), (103, 1, 0), (102, 1, 0), (101, 2, 0), (124, 0, 2), (125, 1, 3),
        (126, 1, 3), (127, 2, 4), (120, 0, 0), (121, 0, 1), (130, 3, 5),
    ],
)  # fmt: skip
def test_a_stage_is_wanted_clear_of_both_ends_of_its_window(
    begins: int, missing: int, hurried: int
) -> None:
    clear = Clear(band=2, opening=4, closing=6, ample=10)
    assert clear.missing(opens=100, begins=begins, closes=130) == missing
    assert clear.hurried(begins=begins, closes=130) == hurried
    assert clear.most == 3
    assert Clear(band=4, opening=5, closing=1).most == 2
    assert Clear().most == 0


@pytest.mark.parametrize(
    ("works", "visits"),
    [
        ([(0, 3), (8, 9)], [(0, 3), (8, 9)]), ([(0, 3), (7, 9)], [(0, 9)]),
        ([(7, 9), (0, 3)], [(0, 9)]), ([(0, 9), (2, 4)], [(0, 9)]), ([], []),
        ([(0, 2), (4, 6), (12, 13)], [(0, 6), (12, 13)]),
    ],
)  # fmt: skip
def test_without_a_rest_in_between_people_are_there_all_the_time(works, visits) -> None:
    assert Hands(crews=(0,), rest=5).visits(works) == visits


def two(**more: object) -> Problem:
    """Two rooms, each poured and coated once; the second is crossed to the first."""
    given = {
        "rooms": (
            (pour([0, 4, 5, 30], follows=[2, 6, 7, 32]), coat([10, 20, 21, 40])),
            (pour([0, 4, 5, 30], follows=[2, 6, 7, 32]), coat([10, 20, 21, 40])),
        ),
        "crosses": ((), ()),
        **more,
    }
    return Problem(**given)


def test_who_works_where_and_for_how_long() -> None:
    plain = two(hands=(Hands(crews=(0, 1), most=9), Hands(crews=(2,))))
    first, last = plain.rooms[0]
    assert plain.same_hands(first, last)
    assert plain.same_hands(first, first)
    assert not two().same_hands(first, last)
    assert not two(hands=(Hands(crews=(1, 2)), Hands(crews=(0,)))).same_hands(first, last)
    assert [hands.crews for hands in plain.timed] == [(0, 1)]
    assert plain.busy(0, 0).tolist() == [4, 4, 4, 4]
    grouped = two(groups=((0, 1),))
    assert grouped.same_group(0, 1)
    assert not plain.same_group(0, 1)
    assert not two(groups=((0,), (1,))).same_group(0, 1)
    assert grouped.busy(0, 0).tolist() == [2, 2, 2, 2]
    assert grouped.busy(0, 1).tolist() == [2, 2, 2, 2]
    # Only from pour to pour is the way the shorter one.
    assert grouped.next_free((0, 0), (1, 0)).tolist() == [2, 6, 7, 32]
    assert grouped.next_free((0, 0), (1, 1)).tolist() == [4, 8, 9, 34]
    assert grouped.next_free((0, 1), (1, 0)).tolist() == [12, 22, 23, 42]
    assert plain.next_free((0, 0), (1, 0)).tolist() == [4, 8, 9, 34]


def test_tools_are_carried_in_ahead_of_a_task() -> None:
    problem = two(setup=5, moving=2, carried=frozenset({(0, 1)}))
    assert problem.ahead(0, 0, first=True) == 5
    assert problem.ahead(0, 0, first=False) == 2
    assert problem.ahead(0, 1, first=True) == 0
    assert problem.ahead(1, 1, first=True) == 5


def test_rooms_with_a_primer_are_poured_second() -> None:
    problem = two(pour_stages=(1, 0))
    assert (problem.pour(0), problem.pour(1), two().pour(1)) == (1, 0, 0)
    assert [stage.crew for stage in problem.pour_list] == [1, 0]
    assert [k for _, k in problem.pours(((0, 1), (2, 3)))] == [1, 2]
    assert two(crosses=((1,), ())).crossings == ((0, 1),)
    assert two().size == 16
    empty = two(rooms=((pour([0]), coat([])), (pour([0]), coat([10]))))
    assert empty.empty == ((0, 1),)


# The rules


@pytest.mark.parametrize(
    ("choice", "broken"),
    [
        # The first is poured at 0 to 4, the second at 4 or 5; coats from 10, at 20 at last.
        (((1, 1), (0, 0)), []), (((0, 0), (1, 1)), []), (((0, 0), (2, 1)), []),
        (((0, 0), (0, 1)), ["rooms 0 and 1"]),
        (((1, 1), (2, 2)), ["rooms 0 and 1", "rooms 0 and 1"]),
        (((0, 1), (1, 2)), ["rooms 0 and 1"]),
        (((0, 2), (3, 3)), ["stage 1 of room 0"]), (((1, 0), (3, 3)), ["stage 1 of room 0"]),
        (((0, 0), (3, 1)), ["stage 1 of room 1"]),
    ],
)  # fmt: skip
def test_windows_hold_their_ends_and_a_crew_is_in_one_place(choice, broken) -> None:
    found = broken_rules(two(), choice)
    assert [word in rule for word, rule in zip(broken, found, strict=True)] == [True] * len(
        broken
    )


def test_a_choice_names_a_state_of_every_stage() -> None:
    for choice in (((0, 0),), ((0,), (1, 1)), ((0, 0), (1, 4)), ((0, -1), (1, 1))):
        with pytest.raises(OutOfRangeError):
            broken_rules(two(), choice)


@pytest.mark.parametrize(("most", "broken"), [(12, 0), (11, 1), (None, 0)])
def test_people_stay_no_longer_than_they_may(most, broken) -> None:
    # From 3 to 7, then from 13 to 15: without a rest in between 12 slots.
    problem = Problem(
        rooms=((pour([3]), coat([13])),), crosses=((),),
        hands=(Hands(crews=(0, 1), most=most, rest=8), Hands(crews=(2,), most=1)),
    )  # fmt: skip
    assert len(broken_rules(problem, ((0, 0),))) == broken


@pytest.mark.parametrize(
    ("begins", "setup", "moving", "carried", "broken"),
    [
        # The floor is shut from 2 to 12; work of 4 slots over it.
        (12, 0, 0, False, False), (11, 0, 0, False, True), (12, 1, 0, False, True),
        (13, 1, 0, False, False), (12, 0, 3, False, False), (12, 1, 0, True, False),
    ],
)  # fmt: skip
def test_nobody_crosses_a_floor_that_is_shut(begins, setup, moving, carried, broken) -> None:
    floor = pour([2], lasts=2, shuts=2, walks=12)
    over = coat([begins], lasts=4)
    problem = Problem(
        rooms=((over,), (floor,)), crosses=((1,), ()), setup=setup, moving=moving,
        carried=frozenset({(0, 0)}) if carried else frozenset(),
    )  # fmt: skip
    assert bool(broken_rules(problem, ((0,), (0,)))) == broken


@pytest.mark.parametrize(("begins", "broken"), [(0, False), (1, True)])
def test_work_that_ends_as_a_floor_is_shut_may_cross_it(begins, broken) -> None:
    floor = pour([4], shuts=4, walks=12)
    problem = Problem(rooms=((coat([begins], lasts=4),), (floor,)), crosses=((1,), ()))
    assert bool(broken_rules(problem, ((0,), (0,)))) == broken


def test_a_second_task_of_a_shift_only_moves_over() -> None:
    # Crossed from 12 on; the crew's first task in its shift is at 0, so 2 slots ahead do.
    floor = pour([2], lasts=2, shuts=2, walks=12)
    for begins, span, broken in ((14, 0, False), (13, 0, True), (14, 1, True), (17, 1, False)):
        rooms = ((coat([begins], span=span),), (floor,), (coat([0]),))
        problem = Problem(rooms=rooms, crosses=((1,), (), ()), setup=5, moving=2)
        assert bool(broken_rules(problem, ((0,), (0,), (0,)))) == broken


@pytest.mark.parametrize(
    ("second", "loose", "broken"), [(2, (), False), (3, (), True), (3, (1,), False)]
)
def test_rooms_of_a_group_follow_each_other(second, loose, broken) -> None:
    rooms = ((pour([0], lasts=2),), (pour([second], lasts=2),))
    problem = Problem(rooms=rooms, crosses=((), ()), groups=((0, 1),), loose=frozenset(loose))
    assert bool(broken_rules(problem, ((0,), (0,)))) == broken


# What a choice is worth


def test_a_choice_is_scored_by_hand() -> None:
    problem = Problem(
        rooms=(
            (pour([3], short=[2], cost=[5]), coat([14], cost=[1])),
            (pour([10], short=[1], cost=[0], span=[0]), coat([26], opens=[40])),
        ),
        crosses=((), ()), shift_begins=(1,), wait_price=7,
        clear=Clear(band=2, opening=3, closing=5, ample=11), may_wait=False,
    )  # fmt: skip
    # Poured 3 to 7 and 10 to 14: 11 slots from first to last, 8 of them work, 3 idle; from
    # the shift's begin at 1 to 14 are 13, so 5 waited. Windows 13 to 23, begun at 14: 1 after
    # where 3 are wanted, a band; 9 left where 11 would be ample, a band. 20 to 30, begun at
    # 26: 4 left where 5 are wanted, a band; 7 lack to ample, four bands. Coats 14 to 28.
    assert score(problem, ((0, 0), (0, 0))) == Score(
        waited=5, short_most=2, short_sum=3, last_shift=0, tight=1002, cost=6 + 21, ready=40,
        calls=2, on_site=11 + 14, hurried=5,
    )  # fmt: skip
    may_wait = Problem(rooms=problem.rooms, crosses=((), ()), shift_begins=(1,))
    assert score(may_wait, ((0, 0), (0, 0))).waited == 0


def test_the_window_of_each_stage_is_that_of_the_one_right_below() -> None:
    # Poured at 0 and coated at 10 and at 20, each 2 after its opening and 8 before its closing.
    stages = (
        pour([0], opens=[8], closes=[18]), coat([10], opens=[18], closes=[28]), coat([20])
    )  # fmt: skip
    problem = Problem(rooms=(stages,), crosses=((),), clear=Clear(opening=4, closing=9))
    choice = ((0, 0, 0),)
    assert broken_rules(problem, choice) == []
    assert score(problem, choice).tight == 2 * 1000 + 4
    # The same with other states beside them, all of which come too late.
    more = (
        pour([0, 0, 0], opens=8, closes=18), coat([10, 50, 51], opens=18, closes=28),
        coat([52, 20, 53]),
    )  # fmt: skip
    among = Problem(rooms=(more,), crosses=((),), clear=problem.clear)
    assert broken_rules(among, ((2, 0, 1),)) == []
    assert score(among, ((2, 0, 1),)).tight == 2 * 1000 + 4
    early = Problem(rooms=((*stages[:2], coat([17])),), crosses=((),))
    assert broken_rules(early, choice) == ["stage 2 of room 0 is outside its window"]


def test_each_shift_is_a_call_of_its_own() -> None:
    rooms = ((pour([0]),), (pour([30], span=[1]),))
    found = score(
        Problem(rooms=rooms, crosses=((), ()), shift_begins=(0, 24), may_wait=False),
        ((0,),) * 2,
    )
    # The second shift begins at 24 and ends its work at 34.
    assert (found.calls, found.on_site, found.last_shift, found.waited) == (2, 8, 1, 6)
    assert (found.tight, found.hurried) == (0, 0)


# Runs of states


def test_states_are_gathered_where_all_moves_with_the_begin() -> None:
    stage = stage_of(
        crew=0, begins=[3, 1, 2, 4, 6, 1], lasts=[2, 2, 2, 3, 3, 2], opens=[9, 7, 8, 10, 12, 7],
        closes=[NEVER, NEVER, NEVER, NEVER, 15, NEVER], option=[0, 0, 0, 0, 0, 1],
    )  # fmt: skip
    found = gather_intervals(stage)
    # 1, 2, 3 of one length; 4 is longer; 6 stands apart; the last is done otherwise.
    assert found.first.tolist() == [1, 4, 6, 1]
    assert found.last.tolist() == [3, 4, 6, 1]
    assert found.order.tolist() == [1, 2, 0, 3, 4, 5]
    assert found.offset["closes"].tolist() == [FAR, FAR, 9, FAR]
    assert found.offset["ends"].tolist() == [2, 3, 3, 2]
    assert found.label["option"].tolist() == [0, 0, 0, 1]
    assert [found.interval_of(k) for k in range(6)] == [0, 0, 0, 1, 2, 3]
    assert [found.state_at(0, begin) for begin in (1, 2, 3)] == [1, 2, 0]
    assert found.state_at(3, 1) == 5


# Bounds


def test_no_choice_is_better_than_its_parts_at_their_best() -> None:
    problem = Problem(
        rooms=(
            (pour([0, 3], short=[2, 1], cost=[0, 5]), coat([12, 14], cost=[3, 4])),
            (pour([0, 5], short=[0, 4]), coat([9, 16], lasts=3)),
        ),
        crosses=((), ()),
    )  # fmt: skip
    assert lower_bounds(problem) == Score(
        # The first room's coat at 12 is ready at 18; the second's at 9 comes before 10.
        waited=0, short_most=1, short_sum=1, last_shift=0, tight=0, cost=5 + 3, ready=22,
        calls=2, on_site=4 + 2 + 4 + 3, hurried=0,
    )  # fmt: skip
    stage = pour([0, 1, 2], short=[0, 1, 2], cost=[9, 5, 1])
    assert [least_cost(stage, more) for more in (0, 1, 2)] == [9, 5, 1]


@pytest.mark.parametrize(("lasts", "last"), [(4, 0), (5, 1), (11, 1)])
def test_pours_need_as_many_shifts_as_hold_their_work(lasts, last) -> None:
    # Shifts of 8 slots from 2 and from 22; two pours.
    begins = [b for day in (2, 22) for b in range(day, day + max(1, 9 - lasts))]
    rooms = ((pour(begins, lasts, span=np.array(begins) // 20),),) * 2
    assert lower_bounds(Problem(rooms=rooms, crosses=((), ()))).last_shift == last
    late = (pour([22], 1, span=[1]),)
    assert lower_bounds(Problem(rooms=(rooms[0], late), crosses=((), ()))).last_shift == 1


def test_a_coat_that_never_comes_leaves_its_latest_end() -> None:
    rooms = ((pour([0]), coat([5, 7])),)
    assert lower_bounds(Problem(rooms=rooms, crosses=((),))).ready == 13
    rooms = ((pour([0]), coat([10, 7, 15])),)
    assert lower_bounds(Problem(rooms=rooms, crosses=((),))).ready == 16


ANY = Score(*[10_000] * 10)


@pytest.mark.parametrize(
    ("best", "parts", "kept"),
    [
        ({"short_most": 1}, ["short_most"], [0, 1]), ({"short_sum": 2}, ["short_sum"], [0, 1]),
        # At least 1 is missed in all, 0 here: at 2 one more may be, at 1 none.
        ({"short_sum": 1}, ["short_sum"], [0]), ({"short_sum": 3}, ["short_sum"], [0, 1, 2]),
        ({"short_sum": 1, "cost": 4}, ["cost"], [0, 2]),
        ({"short_sum": 1, "cost": 5}, ["cost"], [0, 1, 2]),
        ({"short_sum": 1, "cost": 3}, ["cost"], [0, 2]),
        ({"short_sum": 2, "cost": 3}, ["cost"], [0, 1, 2]),
        ({"last_shift": 1}, ["last_shift"], [0, 1]), ({"last_shift": 0}, ["last_shift"], [0]),
        ({"ready": 11}, ["ready"], [0, 1]), ({"ready": 10}, ["ready"], [0]),
    ],
)  # fmt: skip
def test_states_beyond_what_was_found_are_dropped(best, parts, kept) -> None:
    stage = pour([0, 1, 2], short=[0, 1, 2], cost=[2, 4, 2], span=[0, 1, 2], opens=[10, 11, 12])
    other = pour([0], short=[1], cost=[1])
    problem = Problem(rooms=((stage,), (other,)), crosses=((), ()))
    found = prune_dominated(problem, ANY._replace(**best), parts)
    assert found.states[0][0].tolist() == kept
    assert found.outer(((len(kept) - 1,), (0,))) == ((kept[-1],), (0,))
    assert found.inner(((kept[-1],), (0,))) == ((len(kept) - 1,), (0,))
    assert prune_dominated(problem, None, parts).states[0][0].tolist() == [0, 1, 2]


def test_states_that_lead_nowhere_are_dropped_along_the_chain() -> None:
    stages = (
        pour([0, 1, 9], opens=[10, 11, 19], closes=[12, 13, 29]),
        coat([9, 12, 13, 14], opens=[15, 18, 19, 20], closes=[17, 18, 25, 30]),
        coat([18, 26]),
    )
    kept = [np.ones(stage.size, dtype=bool) for stage in stages]
    for _ in range(3):
        _chain(stages, kept)
    # Of the pours, 9 opens at 19, after every coat; a coat at 9 is before all openings, one
    # at 12 meets 18 at both its ends, one at 13 ends at 25, one at 14 takes 26.
    assert [mask.tolist() for mask in kept] == [
        [True, True, False], [False, True, False, False], [True, False],
    ]  # fmt: skip


def test_what_crews_can_work_off_between_any_two_instants() -> None:
    def tasks(*windows: tuple[int, int, int]) -> list:
        stages = [pour([*range(first, last - work + 1)], work) for first, last, work in windows]
        return [(stage, stage.frees - stage.begins) for stage in stages]

    assert _could([])
    assert _could(tasks((0, 8, 4), (0, 8, 4)))
    assert not _could(tasks((0, 8, 5), (0, 8, 4)))
    assert _could(tasks((0, 8, 4), (2, 4, 2), (0, 8, 2)))
    assert not _could(tasks((0, 12, 4), (2, 4, 2), (2, 5, 2)))
    # The long one alone may lie outside.
    assert _could(tasks((0, 12, 4), (2, 4, 2), (2, 5, 1)))


def test_hours_of_shifts_are_counted_once() -> None:
    stages = [
        pour([0, 4], 4, span=[0, 0]), pour([8, 30], 2, span=[1, 2]), pour([11], 2, span=[3])
    ]  # fmt: skip
    # 0 to 8 and 8 to 10 touch; 11 to 13 and 30 to 32 stand apart.
    shifts = _shifts_of(stages)
    assert shifts.tolist() == [[0, 10], [11, 13], [30, 32]]
    assert _open_before(np.array([-1, 0, 5, 10, 12, 20, 40]), shifts).tolist() == [
        0, 0, 5, 10, 11, 12, 14,
    ]  # fmt: skip


# One floor by itself, and whole minutes


@pytest.mark.parametrize(
    ("closes", "coats", "way"),
    [
        (20, [10, 12], (0, 10)), (20, [9, 12], (0, 12)), (20, [20], (0, 20)),
        (20, [21], (3, 21)), (20, [8, 24], None), (12, [13, 14], (3, 13)),
        (20, [15, 10], (0, 10)), (9, [9, 10, 13], (3, 13)),
    ],
)  # fmt: skip
def test_the_soonest_way_through_two_layers(closes, coats, way) -> None:
    stages = (
        pour([0, 3], opens=[10, 13], closes=[closes, max(closes, 12) + 3]), coat(coats)
    )  # fmt: skip
    assert soonest(stages) == way


def test_the_soonest_end_may_be_that_of_a_later_coat() -> None:
    assert soonest((pour([0]), coat([10, 12], opens=[30, 20]))) == (0, 12)
    # What is before its window counts for nothing.
    assert soonest((pour([0]), coat([5, 10, 12], opens=[11, 30, 20]))) == (0, 12)


def test_a_floor_that_is_never_ready_has_no_way() -> None:
    assert soonest((pour([0, 3], opens=NEVER),)) is None
    assert soonest((pour([]),)) is None
    assert soonest((pour([0, 3], opens=[NEVER, 9]),)) == (3,)
    assert soonest((pour([0, 3], opens=[NEVER - 1, NEVER]),)) == (0,)


def test_slots_are_whole_minutes_but_for_a_millisecond() -> None:
    slots = Slots.since(119.9995)
    assert slots.origin_s == 120.0
    assert Slots.since(119.9).origin_s == 60.0
    assert slots.at([0, 2]).tolist() == [120.0, 240.0]
    assert slots.first_from([120.0, 120.0005, 120.002, 180.0]).tolist() == [0, 0, 1, 1]
    assert slots.last_until([179.9995, 179.9, 180.0, np.inf]).tolist() == [1, 0, 1, NEVER]
    assert slots.first_from(-np.inf) == -NEVER


def test_tables_are_run_on_five_minutes_and_straight_in_between() -> None:
    nodes = nodes_of(np.array([60.0, 301.0, 599.0, 1500.0]))
    assert nodes.tolist() == [60.0, 300.0, 600.0, 1500.0]
    at = np.array([0.0, 150.0, 300.0])
    assert straight(at, np.array([0.0, 300.0]), np.array([10.0, 20.0])).tolist() == [10, 15, 20]
    assert straight(at[:1], np.array([0.0, 300.0]), np.array([10.0, np.inf])).tolist() == [10.0]
    assert straight(at, np.array([0.0, 300.0]), np.array([10.0, np.inf]))[1] > 1e11
    rows = np.array([[0.0, 10.0], [2.0, 20.0], [8.0, 50.0]])
    found = between_rows(np.array([0.0, 5.0, 10.0, 15.0, 20.0]), np.array([0, 10, 20.0]), rows)
    assert found.tolist() == [[0, 10], [1, 15], [2, 20], [5, 35], [8, 50]]
    assert between_rows(at, np.array([7.0]), rows[:1]).tolist() == [[0.0, 10.0]] * 3
