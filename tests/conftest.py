"""What tests of several rooms share: the demonstration job, its weather and its plan."""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import pickle
import signal
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from chromium import Contexts, launched
from effort import FAST, LONG, drawn
from hypothesis import settings

from cureplan.api import demo_job_path, get_weather, make_plan, read_job
from cureplan.planning.plan import choose, made_of
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


Kept = Callable[[str, Callable[[], Any]], Any]


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> Kept:
    """What is slow to make, made once in a run by whoever asks first, under a name.

    The folder is this run's own, so nothing of older code is ever met again.
    """
    base = tmp_path_factory.getbasetemp()
    folder = base.parent if hasattr(request.config, "workerinput") else base

    def made_once(name: str, make: Callable[[], Any]) -> Any:
        file = folder / f"kept-{name}.pickle"
        with Path(f"{file}.lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if not file.exists():
                file.write_bytes(pickle.dumps(make()))
        return pickle.loads(file.read_bytes())  # noqa: S301 - written above

    return made_once


@pytest.fixture(scope="session", autouse=True)
def no_waiting_for_the_disk() -> Iterator[None]:
    """Files go to the disk when the system likes: no test cuts the power."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _: None)
        yield


LIGHTLY = (
    # What a plan's doubt is made of, weighed on few nights and of three things only: else a
    # quarter of its time.
    (made_of, "ROOM_NIGHTS", drawn(200)),
    (made_of, "TERMS", ("batch", "stops", "weather")),
    # What falls short is searched no further than to the first step in vain: else nine
    # tenths of its time.
    (choose, "MOST_IN_VAIN", 0),
    (choose._Choosing, "_looked_near", lambda _: None),
)
IN_FULL = [(of, name, getattr(of, name)) for of, name, _ in LIGHTLY]


@pytest.fixture(scope="session", autouse=True)
def lightly() -> Iterator[None]:
    """Plans are made with less effort than a command makes."""
    with pytest.MonkeyPatch.context() as patch:
        for of, name, value in LIGHTLY:
            patch.setattr(of, name, value)
        yield


@pytest.fixture(scope="module")
def in_full(lightly: None) -> Iterator[None]:
    """With all of it, where what a command prints is compared or the search is looked at."""
    with pytest.MonkeyPatch.context() as patch:
        for of, name, value in IN_FULL:
            patch.setattr(of, name, value)
        yield


NIGHT_BEFORE = datetime(2013, 7, 17, 12, tzinfo=UTC)


@pytest.fixture(scope="session")
def demo_job():
    """The shipped demonstration job with a mixing station less, and tools that are soon
    carried in: a tight night."""
    job = read_job(demo_job_path("school-kitchen"))
    return replace(job, crew=replace(job.crew, stations=2, mixer=2, setup_s=900.0))


@pytest.fixture(scope="session")
def demo_weather(demo_job):
    """Its hourly weather, history and job hours."""
    return get_weather(demo_job, now=NIGHT_BEFORE)


@pytest.fixture(scope="session")
def demo_plan(demo_job, demo_weather, kept):
    """Its plan, made once, without what would help."""
    return kept(
        "demo",
        lambda: make_plan(demo_job, now=NIGHT_BEFORE, weather=demo_weather, what_helps=False),
    )


@pytest.fixture(scope="session")
def room_plan(demo_job, demo_weather, kept):
    """The plan of one room of the demonstration alone: quickly made, quickly made again."""
    room = replace(demo_job.room("Dish room"), way_out=())
    job = replace(demo_job, rooms=(room,))
    return kept(
        "room", lambda: make_plan(job, now=NIGHT_BEFORE, weather=demo_weather, what_helps=False)
    )


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A real Chromium, the same for every test that drives one."""
    with launched() as browser:
        yield browser


@pytest.fixture(scope="session")
def contexts(chromium: Any) -> Contexts:
    return Contexts(chromium)
