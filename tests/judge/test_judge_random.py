"""A plan nudged at random, anywhere and by any amount beyond tolerance, is refused."""

from __future__ import annotations

from datetime import timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
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
MODEST = settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


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
