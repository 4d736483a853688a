"""Tables of pours and coats against the same task run at its definite time."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st

from cureplan.planning.floor.pour import PourOption
from cureplan.planning.schedule.floor_model import FloorModel, Tables, floor_model
from cureplan.planning.schedule.placing import place_layer, place_pour
from cureplan.planning.schedule.problem import OFFSETS, gather_intervals
from cureplan.planning.schedule.remedies import option_ladder
from cureplan.planning.schedule.tables import GUARD_S, PourTables, Sureness
from tests.schedule.rooms import demo, few_rooms, pours_of

TWO_ROOMS = few_rooms("Cook line", "Corridor")


@pytest.fixture(scope="module")
def model():
    return floor_model(TWO_ROOMS, Tables(pours=pours_of(TWO_ROOMS)))


@examples(25)
@given(share=st.floats(0, 0.999), room=st.integers(0, 1))
def test_a_state_holds_when_the_pour_is_run_at_its_minute(model, share, room):
    # Straight lines between half-hours against every bucket run at the very minute.
    stage = model.problem.rooms[room][0]
    k = int(share * stage.size)
    pours = model.pours[model.names[room]]
    option = option_ladder(model.remedies)[stage.option[k]]
    poured = place_pour(pours, option, float(model.slots.at(stage.begins[k])))
    assert poured.end_s <= float(model.slots.at(stage.ends[k])) + 1e-6
    assert poured.walkable_s <= float(model.slots.at(stage.walks[k]))
    short_s = max(0.0, model.job.policy.margin_s - poured.planning_margin_s)
    assert 30.0 * stage.short[k] == pytest.approx(short_s, abs=30.0 + 2.0)
    for begins, opens in ((stage.opens[k], True), (stage.closes[k], False)):
        coat = place_layer(pours, poured.over[0], poured, float(model.slots.at(begins)))
        assert coat.window.opens_s <= coat.start_s <= coat.window.closes_s
        # And little is given away: a minute's rounding, the guard, what lines are off by.
        edge_s = coat.window.opens_s if opens else coat.window.closes_s
        assert abs(coat.start_s - edge_s) <= 60.0 + 4 * GUARD_S


@examples(15)
@given(share=st.floats(0, 0.999))
def test_a_state_holds_when_the_coat_is_run_at_its_minute(model, share):
    pours = model.pours["Cook line"]
    stages = model.problem.rooms[0]
    option = option_ladder(model.remedies)[stages[0].option[-1]]
    poured = place_pour(pours, option, float(model.slots.at(stages[0].begins[-1])))
    k = int(share * stages[1].size)
    first = place_layer(
        pours, poured.over[0], poured, float(model.slots.at(stages[1].begins[k]))
    )
    assert first.end_s <= float(model.slots.at(stages[1].ends[k])) + 1e-6
    assert first.after.foot_s <= float(model.slots.at(stages[1].walks[k]))
    for begins in (stages[1].opens[k], stages[1].closes[k]):
        second = place_layer(pours, poured.over[1], first, float(model.slots.at(begins)))
        assert second.window.opens_s <= second.start_s <= second.window.closes_s


def test_half_hours_and_straight_lines_are_near_every_minute_run():
    # The guard must cover what lies between the half-hours that are run.
    pours = pours_of(TWO_ROOMS)["Cook line"]
    starts = demo().access.begins.timestamp() + 2700.0 + np.arange(0.0, 7 * 3600.0, 420.0)
    option = PourOption(chilled=True, cool_filler=False, bays=2)
    table = PourTables(pours).table(option, starts, sure=Sureness(windows=0.9, margins=0.9))
    run = [place_pour(pours, option, float(start)) for start in starts]
    assert table.margin_s == pytest.approx([r.planning_margin_s for r in run], abs=2.0)
    assert table.walkable_s == pytest.approx([r.walkable_s for r in run], abs=GUARD_S)


def test_runs_give_back_every_state(model):
    for _, _, stage in model.problem.tasks():
        runs = gather_intervals(stage)
        for k in range(0, stage.size, 37):
            run = runs.interval_of(k)
            begin = int(stage.begins[k])
            assert runs.state_at(run, begin) == k
            for name in OFFSETS[:2]:
                assert begin + runs.offset[name][run] == getattr(stage, name)[k]


def test_only_what_is_needed_is_allowed(model):
    # Per minute one way keeps the margin; others are only there to be over sooner.
    stage = model.problem.rooms[0][0]
    enough = stage.short == 0
    assert np.unique(stage.begins[enough]).size == np.count_nonzero(enough)
    for k in np.flatnonzero(~enough)[::25]:
        same = enough & (stage.begins == stage.begins[k])
        assert not same.any() or stage.frees[k] < stage.frees[same][0]


def test_a_wet_slab_has_no_dry_start(model):
    pours = model.pours["Cook line"]
    starts = demo().access.begins.timestamp() + 3600.0 * np.arange(30)
    by_hand = [
        pours.conditions.next_dry_s(s, 900.0, margin_k=demo().policy.dew_margin_k) <= s
        for s in starts
    ]
    coat = pours.tasks[-1][-1]
    # The demo's week lies well inside the card's temperatures: only the dew point is left.
    assert pours.limits(coat).kept(starts, 900.0, starts).tolist() == by_hand


@pytest.mark.parametrize(
    ("short", "cost", "waits"),
    [
        ((60, 60, 0), (5, 5, 5), True),
        ((0, 0, 0), (9, 9, 5), True),
        ((0, 0, 0), (5, 5, 5), False),
        ((60, 0, 0), (5, 5, 5), False),
    ],
)
def test_a_pour_waits_where_every_sooner_one_would_be_short_or_cost_more(short, cost, waits):
    # It could begin at 10 or 20 and begins at 30; the other pour of the night comes after it.
    whole = SimpleNamespace(
        begins=np.array([10, 20, 30]), short=np.array(short), cost=np.array(cost)
    )
    one = SimpleNamespace(span=[0], begins=[30], frees=[60], short=[0], cost=[5])
    later = SimpleNamespace(span=[0], begins=[60], frees=[90])
    pour = SimpleNamespace(pour=lambda _: 0)
    model = SimpleNamespace(
        problem=SimpleNamespace(
            pours=lambda _: [(one, 0), (later, 0)], shift_begins=[0], pour=pour.pour
        ),
        whole=SimpleNamespace(rooms=[[whole]], pour=pour.pour),
    )
    assert FloorModel._waits_for_margin(model, ((0,), (0,)), 0) is waits
