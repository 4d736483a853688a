"""A plan nudged at random, anywhere and by any amount beyond tolerance, is refused."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest
from effort import drawn, examples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plan_fields import changed, kind_of, leaves, moved
from plan_mutations import moved_coat, rules, shifted, with_bucket, with_buckets

BUCKET_FIELDS = (
    "liquids_in",
    "filler_in",
    "pour",
    "raked_by",
    "smoothed_by",
    "wet_edge_end",
    "working_time_end",
    "broadcast_end",
)
# A tenth of a minute is tolerated, and both sides of a difference are whole seconds.
NUDGES = st.floats(0.2, 240).flatmap(lambda size: st.sampled_from((size, -size)))
MODEST = settings(examples(24), suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.mark.thorough
@MODEST
@given(data=st.data(), by_min=NUDGES)
def test_no_bucket_can_be_moved(plan, data, by_min):
    bucket = data.draw(st.sampled_from(plan.buckets))
    by = timedelta(minutes=by_min)
    moved = with_buckets(
        plan, bucket.room, lambda item: shifted(item, by) if item == bucket else item
    )
    assert rules(moved) & {"buckets", "tie-in", "pours", "margins"}


@MODEST
@given(data=st.data(), by_min=NUDGES)
def test_no_instant_of_a_bucket_can_be_moved(plan, data, by_min):
    bucket = data.draw(st.sampled_from(plan.buckets))
    field = data.draw(st.sampled_from(BUCKET_FIELDS))
    by = timedelta(minutes=by_min)
    moved = with_bucket(plan, bucket.room, bucket.number, **{field: lambda at: at + by})
    assert rules(moved) & {"buckets", "margins"}


@MODEST
@given(data=st.data(), by_min=NUDGES)
def test_no_coat_can_be_moved(plan, data, by_min):
    coat = data.draw(st.sampled_from(plan.coats))
    moved = moved_coat(plan, coat.room, coat.coat, timedelta(minutes=by_min))
    assert "calls" in rules(moved)


# What a plan may state wrongly without the judge's noticing, each for a reason.
NOT_JUDGED = {
    # Taken as given: the hours are what everything else is re-derived from. Moved far
    # enough to matter to a pour or a coat, slab and dew point are found out by these.
    "hours.outdoor_c",
    "hours.dew_c",
    "hours.rooms.air_c",
    "hours.rooms.slab_c",
    # Drawn, not derived: how many nights, and how far forecasts and crews err in them.
    "risk.members",
    "risk.forecast_sd_k",
    "risk.late_sd_min",
    # Drawn too, and no plan rests on them: only that each is a share, and as planned no
    # more often than all of it.
    "risk.as_planned_frac",
    "risk.cut_frac",
    "risk.no_wait_frac",
    "risk.made_of.costs_frac",
    "risk.tails_cost_frac",
    # Only that the whole, which is less sure, holds no oftener than these.
    "risk.limits_keep_frac",
    "risk.opens_on_time_frac",
    "risk.shifts_keep_frac",
    # What would have been at other hours, or in other bays: no plan rests on it.
    "rooms.starts.at",
    "rooms.starts.as_is_min",
    "rooms.starts.chilled_min",
    "rooms.starts.in_shift",
    "rooms.tries.bays",
    # Only that it is a share: how busy each role is belongs to the planner's rhythm.
    "calls.busy_frac",
    # Another bucket that is as short to six seconds binds as well.
    "rooms.binding_bucket",
}


@pytest.mark.thorough
def test_nothing_a_plan_states_can_be_changed(plan):
    # Drawn by seed and not by Hypothesis, which draws otherwise beside other tests.
    by_kind: dict[str, list] = {}
    for path, value in leaves(plan):
        by_kind.setdefault(kind_of(path), []).append((path, value))
    assert set(by_kind) >= NOT_JUDGED
    chance = random.Random(20130717)
    judged = sorted(set(by_kind) - NOT_JUDGED)
    for kind in chance.sample(judged, min(len(judged), drawn(16))):
        path, value = chance.choice(by_kind[kind])
        way = chance.choice((-1, 1))
        assert rules(changed(plan, path, moved(path, value, way))), (path, way)


@pytest.mark.thorough
@MODEST
@given(data=st.data(), beyond=st.sampled_from((-0.01, 1.01)))
def test_no_share_lies_outside_nothing_and_all(plan, data, beyond):
    shares = [path for path, _ in leaves(plan) if str(path[-1]).endswith("_frac")]
    path = data.draw(st.sampled_from(shares))
    assert rules(changed(plan, path, beyond)) & {"risk", "calls", "margins"}
