"""What goes around the search: first orders, waiting, work and gaps, worked by hand."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.inputs.job.model import Heat
from cureplan.planning.floor.pour import PourOption
from cureplan.planning.schedule import construct, floor_model, lexicographic, relax
from cureplan.planning.schedule.bounds import lower_bounds
from cureplan.planning.schedule.floor_model import FloorModel
from cureplan.planning.schedule.problem import NEVER, Hands, Problem, Score, stage_of
from cureplan.planning.schedule.remedies import option_cost, wait_price
from cureplan.planning.schedule.tables import Sureness


@pytest.mark.parametrize(
    ("rooms", "work", "any_work"),
    [
        # A tenth of the square of the rooms; beyond five 0.3 for each; from 1.5 to 15.
        (1, 1.5, 1.5), (4, 1.6, 1.6), (5, 2.5, 2.5), (6, 2.8, 3.6), (12, 4.6, 14.4),
        (13, 4.9, 15.0), (48, 15.0, 15.0),
    ],
)  # fmt: skip
def test_how_much_is_searched_for_so_many_rooms(rooms, work, any_work):
    got = construct.limits_for(rooms)
    assert (got.work, got.for_any) == (pytest.approx(work), pytest.approx(any_work))


@pytest.mark.parametrize(
    ("ready", "bound", "gap"),
    [(100, 90, 0.1), (100, 100, 0.0), (100, 110, 0.0), (100, None, None), (0, 0, None),
     (1, 0, 1.0)],
)  # fmt: skip
def test_a_gap_is_a_share_of_all_the_time(ready, bound, gap):
    score = Score(*[0] * 6, ready, 0, 0, 0)
    bounds = {} if bound is None else {"ready": bound}
    assert construct._gap_frac(score, bounds) == (None if gap is None else pytest.approx(gap))
    assert construct._gap_frac(None, bounds) is None


@dataclass(frozen=True)
class Room:
    name: str
    heat: Heat | None = None


@dataclass(frozen=True)
class Job:
    rooms: tuple


def test_heaters_run_where_rooms_failed_or_else_in_all():
    def heat(*, runs=False):
        return Heat(to_c=15.0, from_at=None, runs=runs)

    job = Job((Room("A", heat()), Room("B", heat()), Room("C"), Room("D", heat(runs=True))))

    def running(*names):
        got = construct.with_heaters(job, [Made(rooms=names)])
        return [room.name for room in got.rooms if room.heat and room.heat.runs]

    assert running("A") == ["A", "D"]
    assert running("C") == ["A", "B", "D"]
    assert running("A", "B") == ["A", "B", "D"]
    assert construct.with_heaters(job, []) is None
    assert construct.with_heaters(Job(job.rooms[2:]), [Made(rooms=("C",))]) is None


def test_a_crew_begins_farthest_in_and_with_the_largest():
    rooms = [Made(area_m2=area) for area in (10.0, 30.0, 20.0, 5.0)]
    one = Made(job=Made(rooms=rooms), problem=Made(crosses=((1,), (), (), (1, 2))))
    assert FloorModel.first_order(one) == (3, 0, 1, 2)


def pour(begins, **more):
    begins = np.asarray(begins)
    return stage_of(
        crew=0, begins=begins, lasts=4, opens=begins + 10, closes=begins + 20, **more
    )


@pytest.mark.parametrize(
    ("begin", "short", "cost", "waits"),
    [
        # A shift from 2 on; at 2 and at 5 it could be begun as well.
        (2, [0, 0, 0], [0, 0, 0], False), (9, [0, 0, 0], [0, 0, 0], False),
        (9, [1, 1, 0], [0, 0, 0], True), (9, [1, 0, 0], [0, 0, 0], False),
        (9, [0, 0, 0], [5, 5, 0], True), (9, [0, 1, 0], [5, 0, 0], True),
        (5, [1, 0, 0], [0, 0, 0], True), (9, [0, 0, 1], [0, 0, 0], False),
    ],
)  # fmt: skip
def test_a_pour_waits_where_sooner_it_were_short_or_cost_more(begin, short, cost, waits):
    stage = pour([2, 5, 9], short=short, cost=cost)
    problem = Problem(rooms=((stage,),), crosses=((),), shift_begins=(2,))
    model = Made(problem=problem, whole=problem)
    k = [2, 5, 9].index(begin)
    assert FloorModel._waits_for_margin(model, ((k,),), 0) == waits


@pytest.mark.parametrize(
    ("before", "shift", "primer", "waits"),
    [
        # Another pour keeps the crew to 5 or to 6; a shift begins at 5 or 6; a primer opens.
        (0, 2, None, True), (1, 2, None, True), (2, 2, None, False), (None, 5, None, True),
        (None, 6, None, False), (None, 2, 5, True), (None, 2, 6, False),
    ],
)  # fmt: skip
def test_what_came_before_is_no_waiting(before, shift, primer, waits):
    stage = pour([5, 9], short=[1, 0])
    rooms, pours, choice = [(stage,)], [0], [(1,)]
    if primer is not None:
        under = stage_of(crew=2, begins=[0], lasts=1, opens=[primer], closes=NEVER)
        rooms, pours, choice = [(under, stage)], [1], [(0, 1)]
    if before is not None:
        rooms.append((pour([0, 1, 2]),))
        pours.append(0)
        choice.append((before,))
    problem = Problem(
        rooms=tuple(rooms), crosses=((),) * len(rooms), pour_stages=tuple(pours),
        shift_begins=(shift,),
    )  # fmt: skip
    model = Made(problem=problem, whole=problem)
    assert FloorModel._waits_for_margin(model, tuple(choice), 0) == waits


def test_people_stay_as_long_as_they_may_after_what_may_go_wrong(monkeypatch):
    crews = {("pour", "primer"): 36_000.0, ("topcoat",): None}
    monkeypatch.setattr(floor_model, "shared_crews", lambda _: crews)
    job = Made(crew=Made(ahead_s=900.0, again_s=7259.0))
    # Ten hours less a quarter of one; less five minutes and a tenth of ten hours together.
    sure = Sureness(windows=0.9, margins=0.9)
    assert floor_model.crew_hands(job, sure) == (
        Hands(crews=(0, 2), most=585, rest=121), Hands(crews=(1,), most=None, rest=121),
    )  # fmt: skip
    late = Sureness(windows=0.9, margins=0.9, late_s=2700.0, drag_frac=0.1)
    # The root of 2700² and 3600² is 4500 s.
    assert floor_model.crew_hands(job, late)[0].most == 510


def test_work_that_nobody_may_stay_for_is_no_state():
    stage = stage_of(crew=0, begins=[3, 3, 5], lasts=[7, 8, 9], opens=30, closes=40)
    hands = (Hands(crews=(0,), most=8), Hands(crews=(0, 1)), Hands(crews=(1,), most=2))
    assert floor_model._not_too_long(stage, hands).ends.tolist() == [10, 11]
    assert floor_model._not_too_long(stage, hands[1:]).size == 3


@pytest.mark.parametrize(
    ("chilled", "bays", "listed", "cost"),
    [
        # A hundred by the last remedy used, ten for each, one for each bay more.
        (False, 1, ("chill", "bays"), 0), (True, 1, ("chill", "bays"), 110),
        (False, 3, ("chill", "bays"), 212), (True, 2, ("bays", "chill"), 221),
    ],
)  # fmt: skip
def test_what_an_option_costs(chilled, bays, listed, cost):
    option = PourOption(chilled=chilled, cool_filler=False, bays=bays)
    assert option_cost(option, listed) == cost


@pytest.mark.parametrize(("listed", "price"), [((), 0), (("hour",), 2), (("chill", "hour"), 4)])
def test_what_an_hour_of_waiting_costs(listed, price):
    # 110 or 210 for an hour, and 10 where it is not listed.
    assert wait_price(listed) == price


def test_a_bound_of_cost_counts_what_one_room_may_miss():
    stage = pour([0, 1, 2], short=[0, 1, 2], cost=[9, 5, 1])
    problem = Problem(rooms=((stage,), (stage,)), crosses=((), ()))
    simple = lower_bounds(problem)
    for missed, low in ((0, 18), (1, 10), (2, 2)):
        score = simple._replace(short_sum=simple.short_sum + missed)
        search = Made(score=score, problem=problem)
        assert lexicographic._bound(search, "cost", simple) == low
        assert lexicographic._bound(search, "ready", simple) == simple.ready
    assert lexicographic._bound(Made(score=None), "cost", simple) == simple.cost


@pytest.mark.parametrize(("opens", "late"), [(30, 0), (29, 0), (31, 1)])
def test_rooms_that_open_too_late_are_counted(opens, late):
    last = stage_of(crew=1, begins=[20], lasts=2, opens=[opens], closes=NEVER, short=[5])
    stages = (pour([0], short=[7]), pour([9], short=[3]), last)
    problem = Problem(rooms=(stages,), crosses=((),), may_wait=False)
    model = Made(
        problem=problem, slots=Made(at=lambda slot: 60.0 * np.asarray(slot, dtype=float))
    )
    got = relax._counting_late(model, [1800.0])
    assert got.may_wait
    assert [stage.short.tolist() for stage in got.rooms[0]] == [[0], [0], [late]]


def test_of_choices_as_good_the_first_is_kept(monkeypatch):
    monkeypatch.setattr(lexicographic, "score", lambda _, choice: choice[1])
    search = Made(problem=None, choice=None, score=None)
    for choice, kept in (("a", 5), "a"), (("b", 5), "a"), (("c", 6), "a"), (("d", 4), "d"):
        lexicographic._Search.offer(search, choice)
        assert search.choice[0] == kept
