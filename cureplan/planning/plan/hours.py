"""The plan's hourly rows, and its instants."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cureplan.core.clock import on_site
from cureplan.core.messages import Message, Value
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.plan.model import HourRow, RoomHour
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour
from cureplan.weather.hours.series import HourlySeries

__all__ = [
    "beyond_hours",
    "coat_closes_s",
    "floor_closes_s",
    "hour_rows",
    "instant",
    "known_until_s",
    "limit_warnings",
    "minutes",
    "pour_closes_s",
]


def instant(epoch_s: float, zone: ZoneInfo) -> datetime:
    """An instant of the plan: to the second, with the site's offset."""
    return on_site(datetime.fromtimestamp(round(epoch_s), UTC), zone)


def minutes(seconds: float) -> float:
    """Seconds as minutes, to a hundredth, as the contract carries them."""
    return round(float(seconds) / 60.0, 2)


BEFORE_S, AFTER_S = 12 * 3600.0, 3600.0


def hour_rows(
    job: Job, series: HourlySeries, pours: Mapping[str, RoomPours]
) -> tuple[HourRow, ...]:
    """The job's hours, the 12 before it and the one after, with the source of each row.

    As far as a night runs late, where it does.
    """
    return tuple(
        HourRow(
            at=instant(float(series.epoch_s[row]), job.site.zone),
            outdoor_c=round(float(series.temp_c[row]), 2),
            dew_c=None if np.isnan(series.dew_c[row]) else round(float(series.dew_c[row]), 2),
            origin=series.origins[int(series.origin[row])].label,
            kind=series.origins[int(series.origin[row])].kind,
            rooms=tuple(
                RoomHour(
                    room=name,
                    air_c=round(float(room.conditions.air_c[row]), 3),
                    slab_c=round(float(room.conditions.slab_c[row]), 3),
                    shade_c=None
                    if room.conditions.sun_k is None
                    else round(float(room.conditions.shade.slab_c[row]), 3),
                )
                for name, room in pours.items()
            ),
        )
        for row in _rows(job, series.epoch_s, max(p.settled.known_s for p in pours.values()))
    )


def floor_closes_s(pours: RoomPours, poured: PlacedPour) -> float:
    """When the first patch is too old to coat; the plan's last hour where that is sooner."""
    return min(float(poured.reached["topcoat_closes"].min()), known_until_s(pours))


def coat_closes_s(pours: RoomPours, coat: PlacedCoat) -> float:
    """Latest start of a coat, by which all of it is reached within the plan's hours."""
    return min(coat.window.closes_s, known_until_s(pours) - float(coat.work.offset_s.max()))


def pour_closes_s(pours: RoomPours, poured: PlacedPour) -> float:
    """Latest start of a pour over its primer, all of it landed within the plan's hours."""
    offset_s = poured.works[pours.pour_task].offset_s
    return min(poured.window.closes_s, known_until_s(pours) - float(offset_s.max()))


def beyond_hours(
    job: Job, pours: Mapping[str, RoomPours], schedule: Schedule
) -> tuple[Message, ...]:
    """A warning where a coat may be laid longer than the plan's hours can tell."""
    rooms = {p.room for p in schedule.pours if _cut(pours[p.room], p)}
    rooms |= {c.room for c in schedule.coats if _cut(pours[c.room], c)}
    if not rooms:
        return ()
    until_s = max(known_until_s(pours[room]) for room in rooms)
    values: dict[str, Value] = {
        "rooms": "; ".join(room.name for room in job.rooms if room.name in rooms),
        "until_at": instant(until_s, job.site.zone).isoformat(),
    }
    return (Message("warn.closes_beyond", values),)


def limit_warnings(
    job: Job, pours: Mapping[str, RoomPours], schedule: Schedule, keeps_frac: float
) -> tuple[Message, ...]:
    """The hours a layer's temperatures allow where they end within the job, and heaters."""
    found = [*_heaters(job)]
    if keeps_frac < job.policy.confidence:
        values: dict[str, Value] = {"keeps_frac": keeps_frac}
        found.append(
            Message("warn.limits_tight", {**values, "wanted_frac": job.policy.confidence})
        )
    for poured in schedule.pours:
        here = pours[poured.room].conditions
        at_s = poured.start_s
        slab_c, dew_c = float(here.shade.slab_at(at_s)), float(here.dew_at(at_s))
        if slab_c < dew_c:
            found.append(
                Message("warn.sweats", {"room": poured.room, "slab_c": slab_c, "dew_c": dew_c})
            )
    films = (*schedule.primers, *schedule.coats)
    laid = [(p, p.own.layer) for p in schedule.pours] + [(c, c.work.layer) for c in films]
    for placed, layer in sorted(laid, key=lambda found: found[0].start_s):
        # Only hours in which it could go on otherwise are worth a word.
        first_s = max(job.access.begins.timestamp(), placed.window.opens_s)
        last_s = min(job.access.open_by.timestamp(), placed.window.closes_s)
        from_s, until_s = pours[placed.room].limits(layer).window(placed.start_s)
        values = {"room": placed.room, "stage": layer.stage}
        ends = ""
        if from_s is not None and from_s > first_s:
            values["from_at"] = instant(from_s, job.site.zone).isoformat()
            ends = "_from"
        if until_s is not None and until_s < last_s:
            values["until_at"] = instant(until_s, job.site.zone).isoformat()
            ends = "" if ends else "_until"
            found.append(Message(f"warn.window{ends}", values))
        elif ends:
            found.append(Message("warn.window_from", values))
    return tuple(found)


def _heaters(job: Job) -> Iterator[Message]:
    """One caution for all rooms that are heated alike."""
    heats = {room.heat for room in job.rooms if room.heat and room.heat.runs}
    for heat in sorted(heats, key=lambda heat: (heat.from_at, heat.to_c)):
        rooms = [room.name for room in job.rooms if room.heat == heat]
        values: dict[str, Value] = {
            "rooms": "; ".join(rooms),
            "to_c": heat.to_c,
            "from_at": heat.from_at.astimezone(job.site.zone).isoformat(),
        }
        yield Message("warn.heat", values)


def _cut(pours: RoomPours, placed: PlacedPour | PlacedCoat) -> bool:
    if isinstance(placed, PlacedPour):
        return bool(floor_closes_s(pours, placed) < placed.reached["topcoat_closes"].min())
    return coat_closes_s(pours, placed) < placed.window.closes_s


def known_until_s(pours: RoomPours) -> float:
    """Until when the plan's own hours reach [epoch s]."""
    epoch_s = pours.conditions.epoch_s
    return float(epoch_s[_rows(pours.job, epoch_s, pours.settled.known_s)[-1]])


def _rows(job: Job, epoch_s: NDArray[np.float64], known_s: float) -> NDArray[np.intp]:
    begins_s = job.access.begins.timestamp() - BEFORE_S
    ends_s = max(job.access.open_by.timestamp() + AFTER_S, known_s)
    return np.flatnonzero((epoch_s >= begins_s) & (epoch_s <= ends_s))
