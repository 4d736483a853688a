"""Coats, openings, calls and ice broken on purpose: the judge must name the rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from plan_mutations import (
    first_coat,
    minutes,
    moved_coat,
    rules,
    with_call,
    with_coat,
    with_crew,
    with_ice,
    with_policy,
    with_room,
)

from cureplan.judge import judge

ROOM = "Preparation"


def _coat(plan, room, number):
    return next(c for c in plan.coats if (c.room, c.coat) == (room, number))


def _moved_to(plan, room, number, at):
    return moved_coat(plan, room, number, at - _coat(plan, room, number).start)


def _damp(plan):
    return replace(plan, hours=tuple(replace(row, dew_c=29.5) for row in plan.hours))


COATS = {
    "a coat left out": lambda plan: replace(
        plan, coats=tuple(c for c in plan.coats if (c.room, c.coat) != (ROOM, 2))
    ),
    "coats the wrong way round": lambda plan: with_coat(
        with_coat(with_coat(plan, ROOM, 1, coat=3), ROOM, 2, coat=1), ROOM, 3, coat=2
    ),
    "on a floor still too fresh": lambda plan: _moved_to(
        plan, ROOM, 1, _coat(plan, ROOM, 1).opens - minutes(30)
    ),
    "on a floor too old": lambda plan: _moved_to(
        plan, "Servery", 1, _coat(plan, "Servery", 1).closes + minutes(10)
    ),
    "a second coat on a wet one": lambda plan: moved_coat(plan, ROOM, 2, minutes(-20)),
    "a window opened wider": lambda plan: with_coat(
        plan, "Servery", 1, opens=lambda at: at - minutes(10)
    ),
    "a window that closes later": lambda plan: with_coat(
        plan, "Servery", 1, closes=lambda at: at + minutes(10)
    ),
    "done sooner than hands can": lambda plan: with_coat(
        plan, "Servery", 1, end=lambda at: at - minutes(3)
    ),
    "two coats at once": lambda plan: _moved_to(
        plan, "Servery", 1, _coat(plan, ROOM, 1).start + minutes(2)
    ),
    "outside the shift": lambda plan: with_crew(
        plan,
        topcoat_shifts=tuple(
            replace(shift, begins=shift.begins.replace(hour=8))
            for shift in plan.job.crew.topcoat_shifts
        ),
    ),
    "before the crew has set up": lambda plan: with_crew(plan, setup_s=7200.0),
    "in air too humidity_slope": _damp,
    "with more above dew point asked": lambda plan: with_policy(plan, dew_margin_k=14.0),
    "two hands fewer": lambda plan: with_crew(plan, topcoat=1),
}


@pytest.mark.parametrize("name", COATS)
def test_coats_at_the_wrong_hour_are_found(plan, name):
    assert "coats" in rules(COATS[name](plan))


def _opens_alone(plan):
    early = next(room for room in plan.rooms if room.room == ROOM).wheels
    return with_room(plan, ROOM, opens=early)


def _due_sooner(plan):
    due = plan.rooms[0].opens - timedelta(hours=1)
    access = replace(plan.job.access, open_by=due)
    sooner = replace(plan, job=replace(plan.job, access=access))
    return replace(sooner, rooms=tuple(replace(room, open_by=due) for room in plan.rooms))


OPENING = {
    f"{field} too soon": lambda plan, field=field: with_room(
        plan, "Dish room", **{field: lambda at: at - minutes(20)}
    )
    for field in (
        "walkable",
        "topcoat_opens",
        "foot_traffic",
        "wheels",
        "wash_down",
        "opens",
        "open_by",
    )
} | {
    "topcoat_closes too late": lambda plan: with_room(
        plan, "Dish room", topcoat_closes=lambda at: at + minutes(20)
    ),
    "opened before it may be washed": _opens_alone,
    "opened after it must be": _due_sooner,
}


@pytest.mark.thorough
@pytest.mark.parametrize("name", OPENING)
def test_wrong_ways_back_are_found(plan, name):
    assert "opening" in rules(OPENING[name](plan))


CALLS = {
    "called after the first task": lambda plan: with_call(
        plan, ROOM, "pour", "rake", call=lambda at: at + timedelta(hours=1)
    ),
    "gone before he came": lambda plan: with_call(
        plan, ROOM, "pour", "foreman", last_task=lambda at: at - timedelta(hours=3)
    ),
    "one of two broadcasters": lambda plan: with_call(
        plan, ROOM, "pour", "broadcaster", people=1
    ),
    "nobody to run": lambda plan: replace(
        plan,
        calls=tuple(call for call in plan.calls if (call.room, call.role) != (ROOM, "runner")),
    ),
    "the mixer comes late": lambda plan: with_call(
        plan, ROOM, "pour", "mixer", first_task=lambda at: at + minutes(5)
    ),
    "the smoother leaves early": lambda plan: with_call(
        plan, ROOM, "pour", "smoother", last_task=lambda at: at - minutes(5)
    ),
    "the vacuum starts late": lambda plan: with_call(
        plan, ROOM, "vacuum", "vacuum", first_task=lambda at: at + minutes(3)
    ),
    "the coat has no hands at its end": lambda plan: with_call(
        plan, ROOM, "coat 2", "topcoat", last_task=lambda at: at - minutes(3)
    ),
    "called in the dead of night": lambda plan: with_call(
        plan,
        first_coat(plan).room,
        "vacuum",
        "vacuum",
        call=lambda at: at - timedelta(hours=2),
    ),
}


@pytest.mark.parametrize("name", CALLS)
def test_wrong_calls_are_found(plan, name):
    assert "calls" in rules(CALLS[name](plan))


ICE = {
    "pails in the ice too late": lambda plan: with_ice(
        plan, ROOM, in_ice_by=lambda at: at + timedelta(hours=6)
    ),
    "ice for fewer kits": lambda plan: with_ice(plan, ROOM, kits=lambda kits: kits - 1),
    "no ice said, ice used": lambda plan: replace(plan, chill=replace(plan.chill, iced=False)),
    "a floor without its ice": lambda plan: replace(
        plan, chill=replace(plan.chill, rooms=plan.chill.rooms[1:])
    ),
    "a floor that is not chilled": lambda plan: with_room(plan, ROOM, chilled=False),
    "a remedy not told": lambda plan: with_room(plan, ROOM, remedies=()),
    "no ice for the bath's water": lambda plan: replace(
        plan, chill=replace(plan.chill, ice_for_water_kg=0.0)
    ),
    "nobody knows when": lambda plan: replace(plan, chill=replace(plan.chill, in_ice_by=None)),
}


@pytest.mark.thorough
@pytest.mark.parametrize("name", ICE)
def test_ice_that_does_not_fit_is_found(plan, name):
    assert "ice" in rules(ICE[name](plan))


def test_a_slab_a_kelvin_damper_than_asked_is_found(plan):
    # Between the hours before and after a coat's start the slab is no more above the dew
    # point than at the better of the two, by the plan's own hours.
    hour = timedelta(hours=1)
    over_k = [
        max(
            room.slab_c - row.dew_c
            for row in plan.hours
            for room in row.rooms
            if room.room == coat.room and abs(row.at - coat.start) < hour
        )
        for coat in plan.coats
    ]
    asked = with_policy(plan, dew_margin_k=min(over_k) + 1.0)
    assert any("dew point" in item.what for item in judge(asked) if item.rule == "coats")
