"""The job's local dates and times turned into instants, and checked for order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from difflib import get_close_matches
from zoneinfo import ZoneInfo, available_timezones

from cureplan.clock import local_instant
from cureplan.errors import QuantityError
from cureplan.job.faults import Fault
from cureplan.job.lines import KeyPath
from cureplan.job.schema import JobFile
from cureplan.quantities import split_refusal

__all__ = ["Instants", "resolve_instants"]

# A kitchen closed for longer is a building site; more likely a slip in a date.
LONGEST_ACCESS = timedelta(days=60)
# An older reading says nothing about the slab on the night.
OLDEST_READING = timedelta(days=7)
FARTHEST_FROM_ZONE_H = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Instants:
    """Every instant of a job file, in UTC, by its key path."""

    zone: ZoneInfo
    at: Mapping[KeyPath, datetime]

    @property
    def begins(self) -> datetime:
        """Start of access."""
        return self.at[("access", "from")]

    @property
    def open_by(self) -> datetime:
        """When the kitchen must open."""
        return self.at[("access", "open_by")]


def resolve_instants(job: JobFile) -> tuple[Instants | None, list[Fault]]:
    """Read the job's local times in its zone.

    Parameters
    ----------
    job : JobFile
        As written.

    Returns
    -------
    tuple
        The instants, or None where one cannot be had; and the faults found.
    """
    zone = _zone(job.site.time_zone)
    if zone is None:
        return None, [_no_zone(job.site.time_zone)]
    at: dict[KeyPath, datetime] = {}
    faults: list[Fault] = []
    for path, written in _written(job).items():
        try:
            at[path] = local_instant(written, zone)
        except QuantityError as error:
            shown = written.isoformat()
            problem, cure = split_refusal(error, shown)
            faults.append(Fault(path=path, problem=problem, cure=cure, value=shown))
    if faults:
        return None, faults
    instants = Instants(zone=zone, at=at)
    return instants, [*_order(job, instants), *_far_from_zone(job, instants)]


def _zone(name: str) -> ZoneInfo | None:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        # The last two: "../etc", "America" (a folder), and their like.
        return None


def _no_zone(name: str) -> Fault:
    near = get_close_matches(name.replace(" ", "_"), available_timezones(), n=1)
    example = near[0] if near else "America/New_York"
    return Fault(
        path=("site", "time_zone"),
        problem="no such time zone is known",
        cure=f'write a region and city, like "{example}"',
        value=name,
    )


def _written(job: JobFile) -> dict[KeyPath, datetime]:
    written: dict[KeyPath, datetime] = {
        ("access", "from"): job.access.begins,
        ("access", "open_by"): job.access.open_by,
    }
    for number, room in enumerate(job.rooms):
        if room.slab_reading is not None:
            written["rooms", number, "slab_reading", "at"] = room.slab_reading.read_at
        if room.open_by is not None:
            written["rooms", number, "open_by"] = room.open_by
    return written


def _order(job: JobFile, instants: Instants) -> list[Fault]:
    begins, open_by = instants.begins, instants.open_by
    if open_by <= begins:
        return [
            Fault(
                path=("access", "open_by"),
                problem="the kitchen would open before the crew may be in",
                cure="put open_by after from",
                value=job.access.open_by,
            )
        ]
    if open_by - begins > LONGEST_ACCESS:
        return [
            Fault(
                path=("access", "open_by"),
                problem=f"this is {(open_by - begins).days} days after from",
                cure=f"check year and month; access lasts at most {LONGEST_ACCESS.days} days",
                value=job.access.open_by,
            )
        ]
    return [
        fault
        for number, _ in enumerate(job.rooms)
        for fault in (_reading(job, instants, number), _room_opening(job, instants, number))
        if fault is not None
    ]


def _reading(job: JobFile, instants: Instants, number: int) -> Fault | None:
    path: KeyPath = ("rooms", number, "slab_reading", "at")
    reading = job.rooms[number].slab_reading
    if reading is None:
        return None
    read_at = instants.at[path]
    if read_at > instants.open_by:
        problem = "the slab would be read after the kitchen opens"
    elif read_at < instants.begins - OLDEST_READING:
        problem = f"the reading is {(instants.begins - read_at).days} days older than the job"
    else:
        return None
    cure = f"read the slab in the {OLDEST_READING.days} days before the work, or check the date"
    return Fault(path=path, problem=problem, cure=cure, value=reading.read_at)


def _room_opening(job: JobFile, instants: Instants, number: int) -> Fault | None:
    path: KeyPath = ("rooms", number, "open_by")
    open_by = job.rooms[number].open_by
    if open_by is None or instants.begins < instants.at[path] <= instants.open_by:
        return None
    return Fault(
        path=path,
        problem="a room opens after access begins and no later than the kitchen",
        cure="move it between access.from and access.open_by, or leave it out",
        value=open_by,
    )


def _far_from_zone(job: JobFile, instants: Instants) -> list[Fault]:
    """A forgotten minus before a western longitude puts the sun on the wrong side."""
    offset = instants.begins.astimezone(instants.zone).utcoffset() or timedelta(0)
    hours = job.site.longitude_deg / 15 - offset / timedelta(hours=1)
    if abs((hours + 12) % 24 - 12) <= FARTHEST_FROM_ZONE_H:
        return []
    return [
        Fault(
            path=("site", "longitude"),
            problem=f"this longitude does not lie in {job.site.time_zone}",
            cure="longitudes west of Greenwich are negative; check it, or the time zone",
            value=job.site.longitude_deg,
        )
    ]
