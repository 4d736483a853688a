"""What tests of several rooms share: the demonstration job, its weather and its plan."""

from __future__ import annotations

import hashlib
import json
import os
import signal
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from chromium import launched
from effort import FAST, LONG
from hypothesis import settings

from cureplan.api import demo_job_path, get_weather, make_plan, read_job
from cureplan.planning.plan.model import FORMAT

# The same few examples every time: a run that fails here fails on every machine, and a
# machine that is busy does not fail one that is sound. To look further:
# pytest --hypothesis-profile=long
settings.register_profile("fast", deadline=None, derandomize=True, max_examples=FAST)
settings.register_profile("long", deadline=None, max_examples=LONG)
settings.load_profile("fast")


# Nobody's own defaults reach a test, or the commands it runs.
os.environ["CUREPLAN_DEFAULTS"] = ""

# What a shell runs in the background ignores Ctrl-C, and so would what tests start.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="session")
def sealed():
    """The text of a plan.json with the digest of what stands in it, as a forger makes it."""

    def seal(data: dict[str, Any]) -> str:
        kept = {"format": FORMAT, **data}
        kept.pop("digest", None)
        text = json.dumps(kept, ensure_ascii=True, sort_keys=True, separators=(",", ":"))
        digest = hashlib.sha256(text.encode()).hexdigest()
        return json.dumps({**kept, "digest": digest})

    return seal


NIGHT_BEFORE = datetime(2013, 7, 17, 12, tzinfo=UTC)


@pytest.fixture(scope="session")
def demo_job():
    """The shipped demonstration job with a mixing station less, and tools that are soon
    carried in: a tight night."""
    job = read_job(demo_job_path())
    return replace(job, crew=replace(job.crew, stations=2, mixer=2, setup_s=900.0))


@pytest.fixture(scope="session")
def demo_weather(demo_job):
    """Its hourly weather, history and job hours."""
    return get_weather(demo_job, now=NIGHT_BEFORE)


@pytest.fixture(scope="session")
def demo_plan(demo_job, demo_weather):
    """Its plan, made once."""
    return make_plan(demo_job, now=NIGHT_BEFORE, weather=demo_weather)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A real Chromium, the same for every test that drives one."""
    with launched() as browser:
        yield browser
