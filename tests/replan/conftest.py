"""A small kitchen with its plan, and ways to write a night's log by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time
from pathlib import Path

import pytest

from cureplan.api import make_plan
from cureplan.inputs.job.model import Shift
from cureplan.inputs.tables.night_log import read_night_log_text
from cureplan.planning.replan.replan import night_site

NIGHT_BEFORE = datetime(2013, 7, 17, 12, tzinfo=UTC)
HEADER = "at,event,room,bucket,value,note"
LOG = Path("log.csv")


@pytest.fixture(scope="session")
def small_plan(demo_job, demo_weather, kept):
    """Two rooms and the corridor that leads out of them."""
    names = ("Dish room", "Preparation", "Corridor")
    # Poured this early, a floor wants its coat before the demonstration's shift.
    crew = replace(demo_job.crew, topcoat_shifts=(Shift(begins=time(1), ends=time(17)),))
    job = replace(demo_job, crew=crew, rooms=tuple(demo_job.room(name) for name in names))
    return kept(
        "small",
        lambda: make_plan(job, now=NIGHT_BEFORE, weather=demo_weather, what_helps=False),
    )


@pytest.fixture(scope="session")
def one_room(small_plan, demo_weather, kept):
    """Its first room alone: nothing else is planned again with every night."""
    room = small_plan.job.room(small_plan.rooms[0].room)
    job = replace(small_plan.job, rooms=(replace(room, way_out=()),))
    made_at = small_plan.decisions.made_at
    return kept(
        "one-room", lambda: make_plan(job, now=made_at, weather=demo_weather, what_helps=False)
    )


@pytest.fixture(scope="session")
def first(small_plan):
    """The room that is poured first, with its buckets."""
    room = small_plan.rooms[0]
    return room, small_plan.buckets_of(room.room)


@pytest.fixture(scope="session")
def log_of(small_plan):
    """Reads a log from its lines."""

    def read(*lines, plan=small_plan):
        return read_night_log_text(
            "\n".join((HEADER, *lines)), source=LOG, site=night_site(plan)
        )

    return read


class Kitchen:
    """Plan, first room and log reader in one, told in two words when an example fails."""

    def __init__(self, *parts):
        self.parts = parts

    def __repr__(self):
        return "small kitchen"


@pytest.fixture(scope="session")
def kitchen(small_plan, first, log_of):
    """All of it, for examples drawn by chance."""
    return Kitchen(small_plan, first, log_of)
