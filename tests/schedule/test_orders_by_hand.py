"""Orders timed forward, tables of starts and limits in words, on problems worked by hand."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.inputs.job.model import Shift
from cureplan.planning.floor.layers import Layer, Lead, Work
from cureplan.planning.floor.limits import Breach
from cureplan.planning.floor.pour import PourOption
from cureplan.planning.schedule import conflict, heuristic, tables
from cureplan.planning.schedule.heuristic import Attempt, improve_orders, time_order
from cureplan.planning.schedule.placing import Span
from cureplan.planning.schedule.problem import NEVER, Clear, Hands, Problem, Score, stage_of
from cureplan.planning.schedule.slots import Slots
from cureplan.planning.schedule.tables import Sureness

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


def attempt(ready=None, placed=0):
    score = None if ready is None else Score(*[0] * 6, ready, 0, 0, 0)
    return Attempt(choice=None, score=score, placed=placed)


@pytest.mark.parametrize(
    ("one", "other", "beats"),
    [
        (attempt(5), attempt(6), True), (attempt(6), attempt(6), False),
        (attempt(5), attempt(), True), (attempt(), attempt(5), False),
        (attempt(placed=3), attempt(placed=2), True),
        (attempt(placed=2), attempt(placed=2), False), (attempt(), None, True),
        (attempt(9, placed=1), attempt(placed=8), True),
    ],
)  # fmt: skip
def test_an_attempt_is_kept_where_it_is_better(one, other, beats):
    assert one.beats(other) == beats


# Orders


def pour(begins, lasts=4, **more):
    begins = np.asarray(begins)
    given = {"crew": 0, "opens": begins + 10, "closes": begins + 30, **more}
    return stage_of(begins=begins, lasts=lasts, **given)


def coat(begins, lasts=2, **more):
    begins = np.asarray(begins)
    return stage_of(
        crew=1, begins=begins, lasts=lasts, **{"opens": begins + 6, "closes": NEVER, **more}
    )


def begins(problem, got):
    return [
        [int(stage.begins[k]) for stage, k in zip(stages, row, strict=True)]
        for stages, row in zip(problem.rooms, got.choice, strict=True)
    ]


EACH = np.arange(40)


def two(**more):
    rooms = ((pour(EACH), coat(EACH)), (pour(EACH, lasts=6), coat(EACH)))
    return Problem(**{"rooms": rooms, "crosses": ((), ()), **more})


@pytest.mark.parametrize(
    ("more", "order", "times"),
    [
        # Pours of 4 and of 6 slots; a coat 10 after each begin, 2 slots long.
        ({}, (0, 1), [[0, 10], [4, 14]]), ({}, (1, 0), [[6, 16], [0, 10]]),
        # Of one crew: the first coat at 10, when both pours are over.
        ({"hands": (Hands(crews=(0, 1)),)}, (0, 1), [[0, 10], [4, 14]]),
    ],
)  # fmt: skip
def test_pours_follow_each_other_and_coats_as_they_fall_due(more, order, times):
    problem = two(**more)
    got = time_order(problem, order, manner="driven")
    assert begins(problem, got) == times
    assert got.placed == 4


def test_a_group_is_poured_in_one_go_by_the_shorter_way():
    rooms = (
        (pour(EACH, frees=EACH + 9, follows=EACH + 5), coat(EACH)),
        (pour(EACH, frees=EACH + 9, follows=EACH + 5), coat(EACH)),
        (pour(EACH, frees=EACH + 9), coat(EACH)),
    )
    problem = Problem(rooms=rooms, crosses=((),) * 3, groups=((0, 1),))
    got = begins(problem, time_order(problem, (0, 2, 1), manner="driven"))
    assert [row[0] for row in got] == [0, 5, 14]
    loose = Problem(rooms=rooms, crosses=((),) * 3, groups=((0, 1),), loose=frozenset({0, 1}))
    got = begins(loose, time_order(loose, (0, 2, 1), manner="driven"))
    assert [row[0] for row in got] == [0, 18, 9]
    assert list(heuristic._blocks(problem, (2, 1, 0))) == [[2], [1, 0]]
    assert list(heuristic._blocks(loose, (2, 1, 0))) == [[2], [1], [0]]


def test_nobody_crosses_a_floor_that_is_shut():
    # The second room's floor is shut from its begin to 12 slots after; work in the first
    # leads over it.
    rooms = (
        (pour(EACH), coat(EACH)),
        (pour(EACH, shuts=EACH, walks=EACH + 12), coat(EACH, shuts=EACH, walks=EACH)),
    )
    problem = Problem(rooms=rooms, crosses=((1,), ()))
    got = begins(problem, time_order(problem, (1, 0), manner="driven"))
    assert [row[0] for row in got] == [12, 0]
    carried = Problem(rooms=rooms, crosses=((1,), ()), setup=3, moving=1)
    got = begins(carried, time_order(carried, (1, 0), manner="driven"))
    # One crew moves over with its tools a slot ahead.
    assert [row[0] for row in got] == [13, 0]
    got = begins(problem, time_order(problem, (0, 1), manner="driven"))
    assert [row[0] for row in got] == [0, 4]
    # The coat of the first at 10 leads over the second, which is shut from 4 to 16.
    assert got[0][1] == 16


@pytest.mark.parametrize(
    ("opening", "closing", "first"),
    [(0, 0, 10), (2, 2, 12), (3, 2, 14), (2, 18, 12), (15, 5, 25), (16, 5, 10), (2, 19, 10)],
)
def test_coats_are_clear_of_both_ends_of_their_windows_where_they_may(opening, closing, first):
    rooms = ((pour([0]), coat([10, 12, 14, 25, 28])),)
    clear = Clear(opening=opening, closing=closing)
    problem = Problem(rooms=rooms, crosses=((),), clear=clear)
    got = begins(problem, time_order(problem, (0,), manner="driven", clear=True))
    assert got == [[0, first]]


def test_a_pour_too_old_for_its_coat_is_begun_later():
    # The coat has no place before 20, and must begin within 12 of the pour's begin.
    rooms = ((pour(EACH, closes=EACH + 12), coat([20])),)
    problem = Problem(rooms=rooms, crosses=((),))
    assert begins(problem, time_order(problem, (0,), manner="driven")) == [[8, 20]]
    never = Problem(rooms=((pour([0], closes=[12]), coat([20])),), crosses=((),))
    # Begun so late that its coat were in time, the pour itself has no place.
    got = time_order(never, (0,), manner="driven")
    assert (got.choice, got.stuck, got.placed) == (None, (0, 0), 0)


@pytest.mark.parametrize(("manner", "first"), [("thrifty", 6), ("prompt", 3), ("driven", 0)])
def test_a_pour_is_taken_by_its_margin_its_shift_and_its_cost(manner, first):
    # At 0 it is short; at 3 it costs 5; at 6 nothing; another shift is cheaper still.
    stage = pour([0, 3, 6, 9], short=[1, 0, 0, 0], cost=[0, 5, 0, 0], span=[0, 0, 0, 1])
    problem = Problem(rooms=((stage, coat(EACH)),), crosses=((),), shift_begins=(0, 9))
    assert begins(problem, time_order(problem, (0,), manner=manner))[0][0] == first


@pytest.mark.parametrize(
    ("most", "rest", "times"),
    [(None, 0, [[0, 10], [4, 14]]), (16, 2, [[0, 10], [4, 14]]), (10, 2, [[0, 10], [4, 14]]),
     (9, 2, None)],
)  # fmt: skip
def test_people_stay_no_longer_than_they_may(most, rest, times):
    # Pours from 0 to 10 and coats from 10 to 16: all one stay of the second people.
    hands = (Hands(crews=(0,), most=most, rest=rest),)
    problem = two(hands=hands)
    got = time_order(problem, (0, 1), manner="driven")
    if times is None:
        # Ten slots are too long; after a rest of two the other begins.
        assert begins(problem, got)[1][0] == 6
    else:
        assert begins(problem, got) == times
    both = two(hands=(Hands(crews=(0, 1), most=15, rest=3),))
    got = begins(both, time_order(both, (0, 1), manner="driven"))
    # All in one go were 16; after a rest of three it is another stay.
    assert got == [[0, 10], [4, 15]]


def test_floors_are_poured_in_the_order_told_and_what_is_begun_before_all():
    # The first cannot begin before 10; from 0 to 10 its crew would have time for the other.
    rooms = ((pour([10, 11]), coat(EACH)), (pour(EACH), coat(EACH)))
    problem = Problem(rooms=rooms, crosses=((), ()))
    got = begins(problem, time_order(problem, (0, 1), manner="driven"))
    assert [row[0] for row in got] == [10, 14]
    got = begins(problem, time_order(problem, (1, 0), manner="driven"))
    assert [row[0] for row in got] == [10, 0]
    # What is begun at 3, for 4 slots, leaves nothing before 7.
    rooms = ((pour(EACH), coat(EACH)), (pour([3]), coat(EACH)))
    begun = Problem(rooms=rooms, crosses=((), ()), carried=frozenset({(1, 0)}))
    got = begins(begun, time_order(begun, (0, 1), manner="driven"))
    assert [row[0] for row in got] == [7, 3]


@pytest.mark.parametrize(
    ("crosses", "times"),
    [(((1,), ()), [[4, 14], [0, 16]]), (((1,), (0,)), [[4, 20], [0, 10]])],
)
def test_floors_that_are_crossed_are_coated_last_where_there_are_others(crosses, times):
    # Poured at 4 and 0, coated from 14 and 10 on. The coat of the second is shut for ten
    # slots: laid at 10 it keeps the first's until 20; after it, from 14 to 16, it is laid
    # at 16. Where each is crossed to the other, both are among the last.
    rooms = (
        (pour(EACH), coat(EACH)), (pour(EACH), coat(EACH, shuts=EACH, walks=EACH + 10))
    )  # fmt: skip
    problem = Problem(rooms=rooms, crosses=crosses)
    got = time_order(problem, (1, 0), manner="driven", crossed_last=True)
    assert begins(problem, got) == times
    got = time_order(problem, (1, 0), manner="driven")
    assert begins(problem, got) == [[4, 20], [0, 10]]


def test_neighbours_of_an_order_are_swaps_and_moves():
    assert list(heuristic._moves((0, 1, 2))) == [
        (1, 0, 2), (0, 2, 1), (2, 1, 0), (1, 2, 0), (2, 0, 1),
    ]  # fmt: skip
    assert list(heuristic._moves((0, 1))) == [(1, 0)]
    assert heuristic.order_work(two()) == pytest.approx(16 * heuristic.ORDER_WORK)


def test_all_orders_of_four_rooms_are_tried_and_of_five_those_near_the_best(monkeypatch):
    # Made up: an order is the better the sooner the second room comes.
    monkeypatch.setattr(heuristic, "_best_manner", lambda _, order: attempt(order.index(1)))
    four = list(heuristic._attempts(None, (0, 1, 2, 3), 99))
    assert (len(four), [better for _, better in four].count(True)) == (24, 2)
    monkeypatch.setattr(heuristic, "_best_manner", lambda _, order: asked.append(order) or (
        attempt(order.index(1))
    ))  # fmt: skip
    asked = []
    list(heuristic._attempts(None, (0, 1, 2, 3, 4), 4))
    # After the first that is better, the neighbours of that one; none is tried twice.
    assert asked == [(0, 1, 2, 3, 4), (1, 0, 2, 3, 4), (1, 2, 0, 3, 4), (1, 0, 3, 2, 4)]


@pytest.mark.parametrize(("most", "tried"), [(1, 1), (2, 2), (9, 2)])
def test_the_best_of_the_orders_tried_is_kept(most, tried):
    # The long one first is ready at 22, last at 20.
    rooms = ((pour(EACH, opens=EACH + 10), coat(EACH)), (pour(EACH, lasts=2), coat(EACH)))
    problem = Problem(rooms=rooms, crosses=((), ()))
    news = []
    got = improve_orders(problem, (0, 1), most=most, on_news=news.append)
    assert got.work == pytest.approx(tried * heuristic.order_work(problem))
    assert [one.score.ready for one in news] == ([20] if most == 1 else [20, 18])
    stopped = improve_orders(problem, (0, 1), most=9, stop=lambda: True)
    assert stopped.work == pytest.approx(heuristic.order_work(problem))


# Tables


def test_a_crew_is_behind_by_both_of_its_doubts():
    one = Sureness(windows=0.9, margins=0.9, late_s=300.0, drag_frac=0.1)
    assert one.behind_s(np.array([0.0, 4000.0])).tolist() == [300.0, 500.0]
    spans = [Span(begins_s=0.0, ends_s=4500.0), Span(begins_s=9000.0, ends_s=13_000.0)]
    done_s = np.array([4000.0, 4001.0, 13_000.0])
    got = tables._in_shift(spans, np.array([0, 0, 1]), done_s, one)
    assert got.tolist() == [True, False, False]
    sure = Sureness(windows=0.9, margins=0.9)
    assert tables._in_shift(spans, np.array([0, 1, 1]), done_s, sure).tolist() == [True] * 3


def test_states_that_another_beats_are_dropped():
    # At 0: short 0 and free at 9; short 1 and free at 9, or at 8; at 5 the first alone.
    stage = stage_of(
        crew=0, begins=[0, 0, 0, 5, 5], lasts=4, opens=20, closes=30, frees=[9, 9, 8, 12, 12],
        short=[0, 1, 1, 0, 0], cost=[3, 0, 0, 2, 1],
    )  # fmt: skip
    got = tables._undominated([stage])
    kept = zip(got.begins.tolist(), got.frees.tolist(), got.short.tolist(), strict=True)
    assert list(kept) == [(0, 9, 0), (0, 8, 1), (5, 12, 0)]
    assert got.cost.tolist() == [3, 0, 1]
    assert tables._undominated([]).size == 0


@pytest.mark.parametrize(
    ("bays", "rows", "open_", "buys"),
    [
        (1, {1: 3}, None, True), (2, {1: 3, 2: 2}, None, True), (2, {1: 2, 2: 2}, None, False),
        (2, {1: 2, 2: 2}, (2,), True), (3, {2: 2, 3: 2}, (2, 3), False),
    ],
)  # fmt: skip
def test_more_bays_buy_something_where_rows_are_shorter(bays, rows, open_, buys):
    def option(count):
        return PourOption(chilled=False, cool_filler=False, bays=count)

    settled = Made(options=None if open_ is None else tuple(option(n) for n in open_))
    pours = Made(
        settled=settled, plan=lambda o: Made(layout=Made(buckets_per_row=rows[o.bays]))
    )
    one = tables.PourTables(pours)
    assert one._buys_nothing(option(bays)) != buys


@pytest.mark.parametrize(
    ("span", "soonest", "last", "found"),
    [
        # A shift from 10 to 60 min, set up in 5; work of 20.
        ((10, 60), 0, 999, (15, 40)), ((10, 60), 20, 999, (20, 40)),
        ((10, 60), 0, 50, (15, 30)),
        ((10, 35), 0, 999, (15, 15)), ((10, 34), 0, 999, None),
    ],
)  # fmt: skip
def test_begins_that_a_shift_holds(span, soonest, last, found):
    pours = Made(
        job=Made(crew=Made(setup_s=300.0)), conditions=Made(last_s=60.0 * last),
        begins_from_s=lambda _: 60.0 * soonest,
    )  # fmt: skip
    spans = [Span(begins_s=60.0 * span[0], ends_s=60.0 * span[1])]
    slots = Slots(origin_s=0.0)
    begin, number = tables._possible_begins(
        pours, spans, slots, 1200.0, soonest_s=60.0 * soonest
    )
    if found is None:
        assert begin.size == 0
        return
    assert (begin[0], begin[-1], begin.size) == (*found, found[1] - found[0] + 1)
    assert not number.any()
    # A pour may begin as long as the shift lasts; how long it takes is seen later.
    table = Made(pours=pours, own=None)
    begin, _ = tables.PourTables._possible_begins(table, spans, slots)
    assert (begin[0], begin[-1]) == (max(15, soonest), min(span[1], last))


@pytest.mark.parametrize(
    ("starts_min", "rows_min"),
    [
        # At full half-hours around the starts, and never beyond the first and the last.
        ([10, 20], [10, 20]), ([10, 40], [10, 30, 40]), ([0, 60], [0, 60]),
        ([0, 59], [0, 30, 59]),
        ([10, 200], [10, 30, 180, 200]), ([0, 29, 91, 130], [0, 30, 90, 120, 130]),
        ([30], [30]),
    ],
)  # fmt: skip
def test_rows_are_run_at_half_hours_near_the_starts(starts_min, rows_min):
    asked = []

    def run(_, at_s):
        asked.append(at_s)
        return Made(at_s=at_s)

    one = tables.PourTables(Made())
    here = Made(_rows={}, _run=run)
    got = type(one)._run_rows(here, "as is", 60.0 * np.array(starts_min, float))
    assert (got.at_s / 60.0).tolist() == rows_min
    type(one)._run_rows(here, "as is", 60.0 * np.array(starts_min, float))
    assert len(asked) == 1


def test_rows_run_one_after_the_other_stand_in_the_order_of_the_clock():
    def rows(*at_s):
        values = np.array(at_s, float)
        return tables._Rows(values, *[10 * values] * 4, *[values[:, None]] * 2)

    got = tables._merged(rows(1, 5), rows(3))
    assert got.at_s.tolist() == [1, 3, 5]
    assert got.lasts_s.tolist() == [10, 30, 50]
    assert got.film_age_s.tolist() == [[1], [3], [5]]


def one(begins_, *, crew=0, lasts=10, opens=20, closes=30, **more):
    return stage_of(
        crew=crew, begins=[begins_], lasts=lasts, opens=opens, closes=closes, **more
    )


def test_begun_tasks_end_where_the_next_of_their_hands_began():
    rooms = ((one(0), one(15, crew=1)), (one(6),), (one(8, crew=2),))
    hands = (Hands(crews=(0,)), Hands(crews=(0, 1)))
    begun = [(0, 0), (0, 1), (1, 0)]
    got = tables.one_after_the_other(rooms, begun, ((), (), ()), hands)
    # Its coat was begun at 15, before 20; the other floor at 6, when it was to last to 10.
    assert (got[0][0].opens[0], got[0][0].closes[0]) == (15, 30)
    assert (got[0][0].ends[0], got[0][0].frees[0], got[0][0].follows[0]) == (6, 6, 6)
    assert (got[1][0].ends[0], got[2][0].ends[0]) == (15, 18)
    late = ((one(0, closes=12), one(15, crew=1)),)
    got = tables.one_after_the_other(late, [(0, 0), (0, 1)], ((),), ())
    assert (got[0][0].opens[0], got[0][0].closes[0]) == (15, 15)


@pytest.mark.parametrize(("shuts", "walks"), [(7, 8), (8, 50), (9, 50)])
def test_a_crew_that_went_over_a_floor_shows_that_it_bore_it(shuts, walks):
    rooms = ((one(8),), (one(0, crew=1, shuts=shuts, walks=50),))
    got = tables.one_after_the_other(rooms, [(0, 0), (1, 0)], ((1,), ()), ())
    assert got[1][0].walks[0] == walks
    apart = tables.one_after_the_other(rooms, [(0, 0), (1, 0)], ((), ()), ())
    assert apart[1][0].walks[0] == 50


@pytest.mark.parametrize(
    ("begins_s", "ends_s", "meets"),
    [(0, 10, False), (0, 11, True), (20, 30, False), (19, 30, True), (12, 13, True)],
)
def test_spans_that_touch_do_not_meet(begins_s, ends_s, meets):
    assert Span(begins_s=10.0, ends_s=20.0).meets(begins_s, ends_s) == meets


# Limits in words


JOB = Made(site=Made(zone=UTC))


@pytest.mark.parametrize(
    ("cold", "lifts", "laid", "then", "code"),
    [
        (True, 120, None, None, "too_cold"), (False, 120, None, None, "too_hot"),
        (True, None, None, None, "too_cold_always"), (True, 60, None, None, "too_cold_always"),
        (True, 61, None, None, "too_cold"), (True, None, 90, 120, "too_cold_sets"),
        (True, None, 60, 120, "too_cold_always"), (True, None, 120, 120, "too_cold_always"),
        (True, 200, 119, 120, "too_cold_sets"),
    ],
)  # fmt: skip
def test_a_temperature_is_told_until_it_keeps_its_limit(cold, lifts, laid, then, code):
    def s(minutes):
        return np.inf if minutes is None else at(minutes).timestamp()

    def breach(minutes):
        return Breach(what="slab", at_s=s(minutes), temp_c=4.0, limit_c=5.0, cold=cold)

    layer = Layer(kind="slurry", crew="pour")
    got = conflict._breach_says(
        JOB, "Bar", layer, breach(60), s(lifts), s(laid), None if then is None else breach(then)
    )
    assert got.code == f"limit.{code}"
    assert got.values.get("until_at") == (
        at(lifts).isoformat() if code in ("too_cold", "too_hot") else None
    )


def windows(*, works=(), begins_=(), pins=None, rooms=((),), **crew):
    crew = {"ahead_s": 900.0, "setup_s": 600.0, "people": (), "most_s": lambda _: 3600.0,
            "pour_shifts": (), "topcoat_shifts": (), **crew}  # fmt: skip
    job = Made(
        site=Made(zone=UTC), crew=Made(**crew), due=lambda _: at(500), due_for=lambda name: name
    )
    pours = Made(
        room=Made(name="Bar", pins=pins or {}), works=lambda _: works, pour_task=0,
        plan=lambda _: Made(times=Made(last_s=3600.0), cadence=Made(limit="rake")),
        tasks=[(work.layer,) for work in works],
    )  # fmt: skip
    slots = Slots(origin_s=NIGHT_S)
    some = Made(model=Made(slots=slots, whole=Made(rooms=rooms)), problem=Made(rooms=rooms))
    return conflict._Windows(job, pours, some, begins_)


def work(kind="slurry", *, lead=0.0, lasts=60.0, number=1):
    layer = Layer(kind=kind, crew="pour", number=number)
    leads = (Lead(layer=Layer(kind="vacuum", crew="pour"), lasts_s=60.0 * lead),)
    return Work(
        layer=layer, leads=leads, duration_s=60.0 * lasts, offset_s=np.zeros(1), batches=1,
        volume_m3=1.0, batch_s=1.0,
    )  # fmt: skip


def test_the_longest_task_is_held_against_the_shortest_stay():
    works = (work(lasts=70), work("topcoat", lead=30, lasts=50))
    people = [Made(s=5400.0), Made(s=None)]
    got = windows(
        works=works, people=people, most_s=lambda who: 7200.0 if who is None else who.s
    ).longest_shift()
    assert got.values["stage"] == "coat 1"
    # 80 min, and 15 ahead of it, 5 of which are the way in.
    assert (got.values["stays_s"], got.values["early_s"]) == (95 * 60.0, 300.0)
    assert got.values["longest_s"] == 5400.0


@pytest.mark.parametrize(
    ("lead", "shift", "code"),
    [
        (0, 70, "pour_shift"),
        (0, 69, "pour_long"),
        (1, 70, "pour_long"),
        (0, None, "no_pour_shift"),
    ],
)
def test_a_pour_is_held_against_the_longest_shift(monkeypatch, lead, shift, code):
    # An hour of pouring; ten minutes of set-up.
    spans = [] if shift is None else [
        Span(begins_s=0.0, ends_s=60.0 * end) for end in (shift, 20)
    ]  # fmt: skip
    monkeypatch.setattr(conflict, "crew_spans", lambda *_: spans)
    got = windows(works=(work(lead=lead),), begins_=(30,)).pour_shift()
    assert got.code == f"limit.{code}"
    assert got.values["longest_s"] == (0.0 if shift is None else 60.0 * (shift - 10))
    assert got.values["lasts_s"] == 3600.0 + 60.0 * lead
    assert got.values.get("limit") == ("rake" if code == "pour_long" else None)


@pytest.mark.parametrize(
    ("shift", "code"), [(90, "topcoat_shift"), (89, "coat_long"), (5, "coat_long")]
)
def test_coats_are_held_against_the_longest_shift(monkeypatch, shift, code):
    spans = [Span(begins_s=0.0, ends_s=60.0 * shift)]
    monkeypatch.setattr(conflict, "crew_spans", lambda *_: spans)
    works = (work(), work("topcoat", lead=30, lasts=50), work("topcoat", lasts=70, number=2))
    monkeypatch.setattr(conflict._Windows, "_waits", lambda *_: iter(()))
    got = windows(works=works, begins_=(0, 100, 200)).topcoat_shift()
    assert got.code == f"limit.{code}"
    if code == "topcoat_shift":
        assert [(c.values["coat"], c.values["start_at"]) for c in got.values["coats"]] == [
            (1, at(100).isoformat()), (2, at(200).isoformat()),
        ]  # fmt: skip
    else:
        assert (got.values["stage"], got.values["lasts_s"]) == ("coat 1", 80 * 60.0)
        assert got.values["longest_s"] == 60.0 * max(0, shift - 10)


@pytest.mark.parametrize(
    ("pins", "stage"),
    [
        ({"pour": at(50), "coat 1": at(150)}, "coat 1"),
        ({"pour": at(60), "coat 1": at(140)}, "pour"), ({"coat 1": at(100)}, "coat 1"),
    ],
)  # fmt: skip
def test_the_layer_held_longest_is_told(pins, stage):
    # The pour could begin at 20, with ten minutes of lead at 30; the coat at 100 + 20.
    works = (work(lead=10), work("topcoat", lead=20))
    got = windows(works=works, begins_=(20, 100), pins=pins).pin()
    assert got.values["stage"] == stage
    assert got.values["start_at"] == at(30 if stage == "pour" else 120).isoformat()


def test_the_layer_that_comes_latest_over_the_one_below_is_told():
    works = (work(), work("topcoat"), work("topcoat", number=2))
    stages = (
        pour([0, 5], closes=[30, 35]), coat([40, 50], closes=[60, 70]), coat([75, 90]),
    )  # fmt: skip
    one_ = windows(works=works, begins_=(5, 50, 75), rooms=(stages,))
    # At 50 where 35 was the last, at 75 where 70 was.
    got = one_.too_old()
    assert (got.values["stage"], got.values["closes_at"]) == ("coat 1", at(35).isoformat())
    assert got.values["start_at"] == at(50).isoformat()
    late = windows(works=works, begins_=(5, 40, 90), rooms=(stages,)).too_old()
    assert late.values["stage"] == "coat 2"


def test_a_room_is_ready_so_long_after_its_last_coat():
    stages = (pour([0]), coat([40, 50], opens=[99, 110]))
    got = windows(works=(work(), work("topcoat")), begins_=(0, 50), rooms=(stages,)).opening()
    assert got.values["ready_at"] == at(110).isoformat()
    assert got.values["cures_s"] == (110 - 52) * 60.0
    assert got.values["due_at"] == at(500).isoformat()


def test_clocks_of_shifts_and_limits_a_job_has():
    night = Shift(begins=time(20), ends=time(6))
    assert conflict._clocks([night]) == "20:00-06:00"
    assert conflict._clocks([]) == "-"
    crew = Made(most_s=lambda who: None if who is None else who, people=(None,))
    job = Made(crew=crew, rooms=[Made(pins={})])
    assert "longest shift" not in conflict.limits_of_job(job)
    assert "pin" not in conflict.limits_of_job(job)
    crew.people = (3600.0,)
    job.rooms.append(Made(pins={"pour": NIGHT}))
    assert conflict.limits_of_job(job) == conflict.LIMITS


def test_it_is_looked_for_a_way_two_weeks_after_the_opening():
    job = Made(site=Made(zone=UTC), access=Made(open_by=NIGHT))
    for days, until in ((9, 9), (14, 14), (15, 14)):
        far = Made(conditions=Made(last_s=NIGHT_S + days * 86_400.0))
        assert conflict._looked_until(job, far) == NIGHT + timedelta(days=until)
