"""What tests of several rooms share: the demonstration job, its weather and its plan."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import settings

from cureplan.api import demo_job_path, get_weather, make_plan, read_job

# The same examples every time: a run that fails here fails on every machine, and a
# machine that is busy does not fail one that is sound. To look further:
# pytest --hypothesis-profile=search
settings.register_profile("cureplan", deadline=None, derandomize=True)
settings.register_profile("search", deadline=None, max_examples=1000)
settings.load_profile("cureplan")

NIGHT_BEFORE = datetime(2013, 7, 17, 12, tzinfo=UTC)


@pytest.fixture(scope="session")
def demo_job():
    """The shipped demonstration job, read once."""
    return read_job(demo_job_path())


@pytest.fixture(scope="session")
def demo_weather(demo_job):
    """Its hourly weather, history and job hours."""
    return get_weather(demo_job, now=NIGHT_BEFORE)


@pytest.fixture(scope="session")
def demo_plan(demo_job, demo_weather):
    """Its plan, made once."""
    return make_plan(demo_job, now=NIGHT_BEFORE, weather=demo_weather)
