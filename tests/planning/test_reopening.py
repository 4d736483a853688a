"""What open means is the room's: feet, carts or wash-down."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from cureplan.api import make_plan, read_job
from cureplan.core.errors import NoFeasiblePlanError
from cureplan.judge import judge
from cureplan.output.view.view import rooms, voice_of
from cureplan.planning.plan.model import plan_from_json, plan_to_json

ONE_ROOM = Path(__file__).parents[1] / "pinned" / "jobs" / "one-room.toml"


@pytest.fixture(scope="module")
def plan():
    job = read_job(ONE_ROOM)
    return make_plan(job, now=job.access.begins - timedelta(hours=8), what_helps=False)


def job_for(plan, open_for, open_by):
    """The bakery in a room held at the card's own 21 °C, to be open for something by then."""
    held = replace(plan.job.rooms[0], climate="held", set_point_c=21.0, open_for=open_for)
    job = replace(read_job(ONE_ROOM), rooms=(held,))
    building = replace(job.building, ground_c=21.0)
    return replace(job, building=building, access=replace(job.access, open_by=open_by))


def planned(job):
    return make_plan(job, now=job.access.begins - timedelta(hours=8), what_helps=False)


@pytest.mark.thorough
def test_each_opens_by_its_own_milestone(plan):
    job = plan.job
    found = {
        what: planned(job_for(plan, what, job.access.open_by))
        for what in ("feet", "carts", "wash-down")
    }
    for what, one in found.items():
        (room,) = one.rooms
        name = {"feet": "foot_traffic", "carts": "wheels", "wash-down": "wash_down"}[what]
        assert room.opens == getattr(room, name)
        assert judge(one) == ()
        assert plan_from_json(plan_to_json(one)) == one
        (view,) = rooms(one, voice_of(one))
        assert [label for label, _ in view.ladder][-1] == f"Opens, for {what}"
        assert len(view.ladder) == 5
    # The generic topcoat at 21 °C: carts after 24 h, water after 48 h, each stretched by what
    # is not known, the same for both; so one wait is twice the other.
    (carts,), (wash,) = found["carts"].rooms, found["wash-down"].rooms
    last = found["wash-down"].coats[-1].end
    assert (wash.wash_down - last) / (wash.wheels - last) == pytest.approx(2.0, abs=0.1)
    assert carts.opens < wash.opens - timedelta(hours=20)


@pytest.mark.thorough
def test_a_job_that_fails_on_wash_down_alone_says_so(plan):
    in_time = planned(job_for(plan, "wash-down", plan.job.access.open_by))
    between = in_time.rooms[0].wheels + timedelta(hours=6)
    assert between < in_time.rooms[0].wash_down
    with pytest.raises(NoFeasiblePlanError) as refused:
        planned(job_for(plan, "wash-down", between))
    assert "only wash-down comes too late: open for carts, Bakery would be in time" in str(
        refused.value
    )
    carts = planned(job_for(plan, "carts", between))
    assert carts.rooms[0].opens <= between
    assert judge(carts) == ()


@pytest.mark.thorough
def test_what_comes_after_the_hours_known_is_not_made_up(plan):
    in_time = planned(job_for(plan, "feet", plan.job.access.open_by))
    foot = in_time.rooms[0].foot_traffic
    job = job_for(plan, "feet", foot + timedelta(hours=3))
    from cureplan.api import get_weather

    series = get_weather(job, now=job.access.begins)
    short = series.slice(series.starts, job.access.open_by + timedelta(hours=2))
    one = make_plan(job, now=job.access.begins, weather=short, what_helps=False)
    (room,) = one.rooms
    assert room.wash_down is None
    assert isinstance(room.foot_traffic, datetime)
    assert judge(one) == ()
    (view,) = rooms(one, voice_of(one))
    assert ("Wash down", "not known") in view.ladder


def test_a_plan_bent_to_open_for_less_is_refused(plan):
    (room,) = plan.rooms
    bent = replace(room, open_for="feet", opens=room.foot_traffic)
    assert "opening" in {f.rule for f in judge(replace(plan, rooms=(bent,)))}
