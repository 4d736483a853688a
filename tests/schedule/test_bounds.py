"""What no schedule of a problem beats, worked out on paper."""

from __future__ import annotations

import numpy as np

from cureplan.planning.schedule.bounds import least_possible, lower_bounds
from cureplan.planning.schedule.problem import Problem, Score, Stage, stage_of


def pour(lasts: int, opens_after: int) -> Stage:
    """A pour in shifts of ten hours a day apart, ready some hours after its end."""
    begins = np.concatenate([np.arange(day, day + 11 - lasts) for day in (0, 24, 48)])
    return stage_of(
        crew=0,
        begins=begins,
        lasts=lasts,
        opens=begins + lasts + opens_after,
        closes=1000,
        span=begins // 24,
    )


def test_a_bound_counts_what_a_crew_can_work_off_in_its_shifts() -> None:
    # Computed apart: two pours of 5 h fill a shift, so the last of five is poured from
    # hour 48 to 53 and ready 6 h later; alone, each is ready at hour 11.
    problem = Problem(rooms=((pour(5, 6),),) * 5, crosses=((),) * 5)
    anything = Score(*(900 if name == "ready" else 2 for name in Score._fields))
    assert lower_bounds(problem).ready == 11
    assert least_possible(problem, anything, "last_shift", 0) == 2
    assert least_possible(problem, anything, "ready", 0) == 59


def test_a_bound_sends_the_floor_that_dries_longest_first() -> None:
    # Computed apart: 3 h and then 40 h of drying is ready at 43; the other after it.
    problem = Problem(rooms=((pour(3, 40),), (pour(5, 2),)), crosses=((), ()))
    anything = Score(*(900 if name == "ready" else 2 for name in Score._fields))
    assert least_possible(problem, anything, "ready", 0) == 43
