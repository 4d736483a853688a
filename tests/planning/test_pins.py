"""A room that the job does not let begin before an hour."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from cureplan.api import demo_job_path, make_plan, read_job, replan
from cureplan.core.errors import NoFeasiblePlanError
from cureplan.inputs.job.model import Job
from cureplan.inputs.tables.night_log import NightEvent
from cureplan.judge import judge
from cureplan.planning.plan.model import Plan

NOW = datetime(2013, 7, 17, 12, tzinfo=UTC)
PIN = datetime(2013, 7, 18, 6, tzinfo=UTC)
"""2:00 on the wall: later than the plan would pour by itself, inside the shift."""


def small_job() -> Job:
    job = read_job(demo_job_path("school-kitchen"))
    kept = tuple(room for room in job.rooms if room.name in ("Dish room", "Corridor"))
    return replace(job, rooms=kept)


def pinned(job: Job, at: datetime) -> Job:
    rooms = (replace(job.rooms[0], not_before=at), *job.rooms[1:])
    return replace(job, rooms=rooms)


@pytest.fixture(scope="module")
def free() -> Plan:
    return make_plan(small_job(), now=NOW, what_helps=False)


@pytest.fixture(scope="module")
def held() -> Plan:
    return make_plan(pinned(small_job(), PIN), now=NOW, what_helps=False)


def test_a_pinned_room_waits_and_the_rest_is_planned_around_it(free: Plan, held: Plan) -> None:
    first = {room.room: room.pour_start for room in free.rooms}
    assert first["Dish room"] < PIN
    found = {room.room: room for room in held.rooms}
    assert found["Dish room"].pour_start >= PIN
    # The corridor is its way out, and is still poured after it.
    assert found["Corridor"].pour_start > found["Dish room"].pour_start
    codes = [reason.code for reason in found["Dish room"].reasons]
    assert "pour.not_before" in codes
    assert held.status == "within policy"


def test_the_judge_refuses_a_pour_before_its_pin(free: Plan) -> None:
    told = replace(free, job=pinned(free.job, PIN))
    found = [finding for finding in judge(told) if "not before" in finding.what]
    assert [finding.room for finding in found] == ["Dish room"]


def test_a_pin_that_leaves_no_time_is_said_and_not_ignored() -> None:
    job = small_job()
    late = pinned(job, job.access.open_by - timedelta(hours=3))
    with pytest.raises(NoFeasiblePlanError, match="Dish room"):
        make_plan(late, now=NOW, what_helps=False)


def test_on_the_night_a_pinned_room_still_waits(held: Plan) -> None:
    now = PIN - timedelta(hours=1)
    event = NightEvent(
        source="log.csv", line=2, at=now, event="slab reads", room="Dish room",
        temp_c=30.0, value="86 F",
    )  # fmt: skip
    again = replan(held, [event], now=now)
    assert min(r.pour_start for r in again.rooms if r.room == "Dish room") >= PIN
