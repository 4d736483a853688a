"""Schedules near one: which are looked at, and that what is moved keeps its order."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rooms import few_rooms, pours_of

from cureplan.planning.floor.pour import PourOption
from cureplan.planning.schedule.construct import construct
from cureplan.planning.schedule.floor_model import Tables
from cureplan.planning.schedule.near import Near
from cureplan.planning.schedule.tables import Sureness

JOB = few_rooms("Servery", "Corridor")
ICED = PourOption(chilled=True, cool_filler=False, bays=1)


def never_worth(_schedule):
    """No solver need see it."""
    return False


@pytest.fixture(scope="module")
def near():
    plain, job = (
        replace(JOB, policy=replace(JOB.policy, remedies=remedies))
        for remedies in (("hour",), ("hour", "chill"))
    )
    tables = Tables(pours=pours_of(job))
    schedule = construct(plain, tables.pours, tables=tables, promising=never_worth)
    sure = Sureness(windows=0.9, margins=0.9)
    return Near(job=job, tables=tables, sure=sure, schedule=schedule)


def looks(near, chance):
    """The ways looked at by a made-up chance, and the best of these."""
    seen = []

    def holds(way):
        seen.append((chance(way), way))
        return seen[-1][0]

    near.improve(holds, [pour.room for pour in near.schedule.pours])
    return seen, max(seen, key=lambda one: one[0])[1]


def test_an_evening_is_moved_as_far_as_that_gains(near):
    # Computed apart: best 70 min later, so of half hours at 60 min; earlier is not asked.
    seen, best = looks(near, lambda way: 0.5 - abs(way.later_s - 4200.0) / 1e6)
    assert best.later_s == 3600.0
    assert {way.later_s for _, way in seen} == {0.0, 1800.0, 3600.0, 5400.0}


def test_no_evening_is_moved_where_no_hour_may_be_waited_for(near):
    policy = replace(near.job.policy, remedies=("chill",))
    held = replace(near, job=replace(near.job, policy=policy))
    seen, _ = looks(held, lambda way: way.later_s)
    assert {way.later_s for _, way in seen} == {0.0}


def test_a_floor_alone_is_iced_where_all_at_once_gain_nothing(near):
    def chance(way):
        iced = [room for room, option in sorted(way.options.items()) if option.chilled]
        return {(): 0.5, ("Corridor",): 0.6}.get(tuple(iced), 0.4)

    _, best = looks(near, chance)
    assert {room for room, option in best.options.items() if option.chilled} == {"Corridor"}


def test_what_is_moved_keeps_its_order_and_its_distance(near):
    later = near.placed(replace(near.own, later_s=-1800.0))
    for before, after in zip(near.schedule.pours, later.pours, strict=True):
        assert (before.room, before.option) == (after.room, after.option)
        # The crew goes on as soon as it may: a warmer hour may cost a minute.
        assert after.start_s - before.start_s == pytest.approx(-1800.0, abs=120.0)


def test_a_floor_is_poured_as_it_is_told(near):
    first = near.schedule.pours[0].room
    placed = near.placed(replace(near.own, options={**near.own.options, first: ICED}))
    assert {p.room: p.option for p in placed.pours}[first] == ICED
