"""How long people may stay, and the rest in between, in the ordering problem."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from effort import examples
from hypothesis import given
from hypothesis import strategies as st

from cureplan.planning.schedule.floor_model import crew_hands
from cureplan.planning.schedule.heuristic import improve_orders
from cureplan.planning.schedule.lexicographic import Limits, solve_in_order
from cureplan.planning.schedule.problem import Choice, Hands, Problem, broken_rules, stage_of
from cureplan.planning.schedule.tables import Sureness
from tests.schedule.rooms import few_rooms

PLENTY = Limits(work=20.0)


def two_floors(hands: tuple[Hands, ...], until: int = 30) -> Problem:
    """Two floors poured in 4 slots each and coated in 2, 6 to 30 slots later."""
    begins = np.arange(0, 40)
    pour = stage_of(crew=0, begins=begins, lasts=4, opens=begins + 6, closes=begins + until)
    coat = stage_of(crew=1, begins=begins, lasts=2, opens=begins + 3, closes=1_000)
    return Problem(rooms=((pour, coat), (pour, coat)), crosses=((), ()), hands=hands)


def solved(problem: Problem) -> Choice | None:
    first = improve_orders(problem, range(len(problem.rooms)), most=20)
    if first.choice is not None:
        assert not broken_rules(problem, first.choice)
    found = solve_in_order(problem, first.choice, limits=PLENTY, seed=1)
    if found.choice is not None:
        assert not broken_rules(problem, found.choice)
    return found.choice


def works(problem: Problem, choice: Choice) -> list[tuple[int, int]]:
    return sorted(
        (int(stage.begins[choice[r][n]]), int(stage.ends[choice[r][n]]))
        for r, n, stage in problem.tasks()
    )


def test_the_same_people_pour_and_coat_one_after_the_other():
    # A floor is coated 6 or 7 slots after its begin. Hands of their own pour the second
    # meanwhile; the same hands pour it once the first is coated.
    own = two_floors((Hands(crews=(0,)), Hands(crews=(1,))), until=7)
    choice = solved(own)
    assert choice is not None
    assert [begins for begins, _ in works(own, choice)][:2] == [0, 4]
    same = two_floors((Hands(crews=(0, 1)),), until=7)
    choice = solved(same)
    assert choice is not None
    assert works(same, choice) == [(0, 4), (6, 8), (8, 12), (14, 16)]


def test_nobody_stays_longer_than_the_longest_shift_and_rests_before_the_next():
    # All four tasks take 12 slots; with 9 at most and 7 of rest, both pours are one stay
    # (0 to 8) and the coats another from 15 on.
    problem = two_floors((Hands(crews=(0, 1), most=9, rest=7),))
    choice = solved(problem)
    assert choice is not None
    assert works(problem, choice) == [(0, 4), (4, 8), (15, 17), (17, 19)]
    # With 5 at most each pour is a stay of its own: 0 to 4, then from 11.
    problem = two_floors((Hands(crews=(0, 1), most=5, rest=7),))
    choice = solved(problem)
    assert choice is not None
    assert works(problem, choice)[:2] == [(0, 4), (11, 15)]


def test_who_comes_before_the_first_task_leaves_so_much_sooner():
    # Ten hours, of which half an hour of set-up and what people come early are not worked.
    job = few_rooms("Dish room")
    crew = replace(job.crew, people=(), longest_shift_s=36_000.0, setup_s=1_800.0)
    early_s = crew.ahead_s - 1_800.0
    expected = Sureness(windows=0.5, margins=0.5)
    for hands in crew_hands(replace(job, crew=crew), expected):
        assert hands.most == 600 - 30 - early_s / 60.0


def test_a_task_longer_than_the_longest_shift_cannot_be_done():
    assert solved(two_floors((Hands(crews=(0, 1), most=3, rest=7),))) is None


def test_a_second_stay_may_begin_as_late_as_its_only_task():
    # The solver alone finds it: each task has one hour, 26 slots of rest between them.
    early, late = (
        stage_of(crew=0, begins=[begin], lasts=4, opens=0, closes=1_000) for begin in (0, 30)
    )
    hands = (Hands(crews=(0,), most=9, rest=7),)
    problem = Problem(rooms=((early,), (late,)), crosses=((), ()), hands=hands)
    assert solve_in_order(problem, None, limits=PLENTY, seed=1).choice is not None


@given(most=st.integers(2, 20), more=st.integers(0, 10), rest=st.integers(1, 12))
@examples(12)
def test_a_longer_shift_never_makes_a_job_impossible_or_later(most: int, more: int, rest: int):
    tight = two_floors((Hands(crews=(0, 1), most=most, rest=rest),))
    loose = two_floors((Hands(crews=(0, 1), most=most + more, rest=rest),))
    before, after = solved(tight), solved(loose)
    if before is not None:
        assert after is not None
        assert max(e for _, e in works(loose, after)) <= max(e for _, e in works(tight, before))
