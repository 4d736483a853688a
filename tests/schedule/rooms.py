"""The demo's rooms on its weather, and jobs that differ from it in one thing."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from cureplan.api import demo_job_path, get_weather, read_job
from cureplan.inputs.job.model import Doubts, Job, Shift
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.schedule.construct import prepare_pours
from cureplan.weather.hours.series import HourlySeries

__all__ = ["EXACT", "demo", "due_sooner", "few_rooms", "pours_of", "with_shifts"]

EXACT = Doubts(
    slurry_times=0.0, topcoat_times=0.0, primer_times=0.0, kit=0.0, stop_lasts_s=0.0,
    iced_k=0.0, half_k=0.0,
)  # fmt: skip
"""Kits and mixing just as their cards say: what all else does is seen alone."""
NOW = datetime(2013, 7, 16, 20, tzinfo=ZoneInfo("America/New_York"))


@cache
def demo() -> Job:
    """The shipped job with one mixing station less, which leaves little to spare, and
    tools that are soon carried in."""
    job = read_job(demo_job_path("school-kitchen"))
    return replace(job, crew=replace(job.crew, stations=2, mixer=2, setup_s=900.0))


@cache
def _weather() -> HourlySeries:
    return get_weather(demo(), now=NOW)


def pours_of(job: Job) -> dict[str, RoomPours]:
    """Its rooms made ready on the demo's weather."""
    return prepare_pours(job, _weather())


def few_rooms(*names: str) -> Job:
    """The demo with these rooms alone, and only the ways out among them."""
    rooms = [room for room in demo().rooms if room.name in names]
    return replace(
        demo(),
        rooms=tuple(
            replace(room, way_out=tuple(f for f in room.way_out if f in names))
            for room in rooms
        ),
    )


def with_shifts(
    job: Job, *, pours: tuple[str, str] | None = None, coats: tuple[str, str] | None = None
) -> Job:
    """The job with other shifts."""
    crew = job.crew
    for name, hours in (("pour_shifts", pours), ("topcoat_shifts", coats)):
        if hours is not None:
            begins, ends = (time.fromisoformat(text) for text in hours)
            crew = replace(crew, **{name: (Shift(begins=begins, ends=ends),)})
    return replace(job, crew=crew)


def due_sooner(job: Job, *, hours: float) -> Job:
    """The job with its opening so many hours sooner."""
    open_by = job.access.open_by - timedelta(hours=hours)
    return replace(job, access=replace(job.access, open_by=open_by))
