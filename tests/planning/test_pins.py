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


COAT_PIN = datetime(2013, 7, 18, 12, tzinfo=UTC)
"""8:00 on the wall, after the first topcoat of its own and before it is too old."""


def pinned(job: Job, at: datetime, **also: datetime) -> Job:
    rooms = (replace(job.rooms[0], not_before=at, **also), *job.rooms[1:])
    return replace(job, rooms=rooms)


@pytest.fixture(scope="module")
def free() -> Plan:
    return make_plan(small_job(), now=NOW, what_helps=False)


@pytest.fixture(scope="module")
def held() -> Plan:
    job = pinned(small_job(), PIN, topcoat_1_not_before=COAT_PIN)
    return make_plan(job, now=NOW, what_helps=False)


@pytest.mark.thorough
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


def test_a_pinned_coat_waits_and_says_so(free: Plan, held: Plan) -> None:
    sooner, later = ({coat.room: coat for coat in plan.coats} for plan in (free, held))
    assert sooner["Dish room"].start < COAT_PIN
    assert later["Dish room"].start >= COAT_PIN
    assert later["Dish room"].reason.code == "coat.pinned"


def test_the_judge_refuses_a_pour_before_its_pin(free: Plan) -> None:
    told = replace(free, job=pinned(free.job, PIN, topcoat_1_not_before=COAT_PIN))
    found = [finding for finding in judge(told) if "not before" in finding.what]
    assert [(f.room, f.rule) for f in found] == [("Dish room", "pours"), ("Dish room", "coats")]


@pytest.mark.thorough
def test_a_pin_that_leaves_no_time_is_said_and_not_ignored() -> None:
    job = small_job()
    late = pinned(job, job.access.open_by - timedelta(hours=3))
    with pytest.raises(NoFeasiblePlanError, match="the job holds it until Sat 03:00"):
        make_plan(late, now=NOW, what_helps=False)


@pytest.mark.thorough
def test_on_the_night_a_pinned_room_still_waits(held: Plan) -> None:
    now = PIN - timedelta(hours=1)
    event = NightEvent(
        source="log.csv", line=2, at=now, event="slab reads", room="Dish room",
        temp_c=30.0, value="86 F",
    )  # fmt: skip
    again = replan(held, [event], now=now)
    assert min(r.pour_start for r in again.rooms if r.room == "Dish room") >= PIN
    assert min(c.start for c in again.coats if c.room == "Dish room") >= COAT_PIN
