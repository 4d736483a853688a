"""The weather of a job hour by hour, with what rooms, slabs and the sun make of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.conditions import RoomConditions, room_conditions
from cureplan.science.sun import clear_sky_w_m2, clouded_w_m2, sun_elevation_deg
from cureplan.weather.hours.history import fill_history
from cureplan.weather.hours.series import HourlySeries, WeatherOrigin, utc_of

__all__ = ["AlikeRooms", "TimeRange", "WeatherHours", "known_range", "weather_hours"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeRange:
    """Hours in a row from one source; first and last hour, UTC."""

    origin: WeatherOrigin
    starts: datetime
    ends: datetime
    hours: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AlikeRooms:
    """Rooms whose air and slab are the same at every hour."""

    rooms: tuple[str, ...]
    conditions: RoomConditions


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeatherHours:
    """Hours of a series with rooms and sun; every array has one value per hour.

    `light_w_m2` is what reaches level ground: clear sky, less the cloud where the
    weather gives it.
    """

    series: HourlySeries
    ranges: tuple[TimeRange, ...]
    rooms: tuple[AlikeRooms, ...]
    sun_deg: Array
    light_w_m2: Array


def weather_hours(job: Job, series: HourlySeries) -> WeatherHours:
    """Everything the hours of a job's weather say.

    Not for planning: `RoomPours` reads conditions at any instant.
    """
    known = known_range(series, job.access.begins)
    instants = [utc_of(float(second)) for second in known.epoch_s]
    sun_deg = sun_elevation_deg(
        instants,
        latitude_deg=job.site.latitude_deg,
        longitude_deg=job.site.longitude_deg,
        refracted=True,
    )
    cloud = np.nan_to_num(known.cloud_frac, nan=0.0)
    return WeatherHours(
        series=known,
        ranges=_ranges(known),
        rooms=_alike(room_conditions(job, known)),
        sun_deg=sun_deg,
        light_w_m2=clouded_w_m2(clear_sky_w_m2(sun_deg), cloud_share=cloud),
    )


def known_range(series: HourlySeries, around: datetime) -> HourlySeries:
    """The hours around an instant between the nearest unknown temperatures.

    Gaps before it that the days around them can fill are filled.

    Examples
    --------
    >>> from cureplan.weather.hours.csv_file import weather_from_text
    >>> from datetime import UTC
    >>> from pathlib import Path
    >>> rows = [f"2013-07-17T{h:02}:00Z,{'' if h < 6 else 20},9" for h in range(12)]
    >>> series = weather_from_text("\\n".join(["time,temp_c,dew_c", *rows]),
    ...                            source=Path("w.csv"))
    >>> known_range(series, datetime(2013, 7, 17, 8, tzinfo=UTC)).starts.hour
    6
    """
    at_s = around.timestamp()
    series = fill_history(series, before=around)
    series.at(at_s)  # refuses an instant that is not known
    unknown_s = series.epoch_s[np.isnan(series.temp_c)]
    before, after = unknown_s[unknown_s < at_s], unknown_s[unknown_s > at_s]
    kept = np.ones(series.epoch_s.size, dtype=np.bool_)
    if before.size:
        kept &= series.epoch_s > before[-1]
    if after.size:
        kept &= series.epoch_s < after[0]
    if kept.all():
        return series
    hours = np.flatnonzero(kept)
    cut = series.slice(
        utc_of(float(series.epoch_s[hours[0]])), utc_of(float(series.epoch_s[hours[-1]]))
    )
    # The gaps on either side remain worth telling.
    return replace(cut, gaps=series.gaps)


def _ranges(series: HourlySeries) -> tuple[TimeRange, ...]:
    changes = np.flatnonzero(np.diff(series.origin)) + 1
    return tuple(
        TimeRange(
            origin=series.origins[int(series.origin[rows[0]])],
            starts=utc_of(float(series.epoch_s[rows[0]])),
            ends=utc_of(float(series.epoch_s[rows[-1]])),
            hours=rows.size,
        )
        for rows in np.split(np.arange(series.origin.size), changes)
    )


def _alike(conditions: dict[str, RoomConditions]) -> tuple[AlikeRooms, ...]:
    """Rooms grouped by equal curves, in the job's order."""
    groups: list[tuple[list[str], RoomConditions]] = []
    for name, room in conditions.items():
        for names, first in groups:
            if (
                np.array_equal(room.air_c, first.air_c)
                and np.array_equal(room.slab_c, first.slab_c)
                and np.array_equal(room.shade.slab_c, first.shade.slab_c)
            ):
                names.append(name)
                break
        else:
            groups.append(([name], room))
    return tuple(AlikeRooms(rooms=tuple(names), conditions=room) for names, room in groups)
