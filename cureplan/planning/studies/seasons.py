"""Past summers: what each night would have given."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.pour import AS_IS, PourOption, RoomPours
from cureplan.weather.hours.series import HourlySeries, utc_of

__all__ = [
    "HALF_S",
    "SEASON_HISTORY_S",
    "SURE_HISTORY_S",
    "Night",
    "PastMonth",
    "PastYear",
    "PourStart",
    "Tally",
    "bridged",
    "judge_nights",
    "middle_night",
    "month_nights",
    "moved_job",
    "tally",
]

HALF_S = 0.5
"""Policies are stated in minutes; a plan forgives half a second, and so does this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PourStart:
    """A room's first bucket, counted from the job's first instant."""

    room: str
    after_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """One night, and the least margin of any room under three rules; NaN if not known.

    A margin is the planning one: the lesser of the expected margin, and of the policy's
    above what holds in the job's share of batches. With more than one way to pour it is
    that of the first that suffices, else the greatest.
    """

    begins: datetime
    outdoor_c: float
    """Mean from the first bucket to the last."""
    as_is_s: float
    """No ice, one bay."""
    without_ice_s: float
    """The job's other remedies, as far as they are needed."""
    with_ice_s: float
    """The same with the liquids of every room iced."""

    @property
    def known(self) -> bool:
        """Whether the weather covers this night."""
        return not math.isnan(self.as_is_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class PastYear:
    """One year's nights of the month, and whose weather it is."""

    year: int
    nights: tuple[Night, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PastMonth:
    """All years, and the plan whose starts were moved from night to night."""

    month: int
    required_s: float
    starts: tuple[PourStart, ...]
    planned_for: datetime
    """First instant of the night that plan was made for."""
    own_weather: bool
    """Whether that was the job's own night."""
    years: tuple[PastYear, ...]
    asked_years: int | None
    """How many were asked for; None for all that could be had."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """Nights counted: known or not, and held under each rule."""

    known: int
    unknown: int
    as_is: int
    without_ice: int
    with_ice: int


def tally(nights: Sequence[Night], *, required_s: float) -> Tally:
    """Count the nights on which every room keeps its margin.

    Examples
    --------
    >>> from datetime import UTC
    >>> night = Night(begins=datetime(2013, 7, 1, 23, tzinfo=UTC), outdoor_c=25.0,
    ...               as_is_s=-30.0, without_ice_s=90.0, with_ice_s=119.6)
    >>> found = tally([night], required_s=120.0)
    >>> found.as_is, found.without_ice, found.with_ice
    (0, 0, 1)
    """
    known = [night for night in nights if night.known]
    enough_s = required_s - HALF_S
    return Tally(
        known=len(known),
        unknown=len(nights) - len(known),
        as_is=sum(night.as_is_s >= enough_s for night in known),
        without_ice=sum(night.without_ice_s >= enough_s for night in known),
        with_ice=sum(night.with_ice_s >= enough_s for night in known),
    )


SEASON_HISTORY_S = 14 * 86_400.0
"""Weather wanted before a season's first night: the ground under a slab forgets slowly, and
two weeks leave some 0.1 K of whatever the march began with."""
SURE_HISTORY_S = 48 * 3600.0
"""Hours before a night that must be known, some three of a slab's time constants, for the
night to count; what is missing earlier is bridged by a straight line: invented."""

Array = NDArray[np.float64]


def month_nights(job: Job, *, year: int, month: int) -> tuple[datetime, ...]:
    """The job's first instant moved to every date of a month, by the site's clock."""
    zone = job.site.zone
    clock = job.access.begins.astimezone(zone).time().replace(fold=0)
    after = date(year + month // 12, month % 12 + 1, 1)
    count = (after - date(year, month, 1)).days
    return tuple(
        datetime.combine(date(year, month, 1) + timedelta(days=day), clock, zone).astimezone(
            UTC
        )
        for day in range(count)
    )


def moved_job(job: Job, begins: datetime) -> Job:
    """The job on another night: everything as long after its start as before, unread."""
    shift = begins.astimezone(UTC) - job.access.begins.astimezone(UTC)

    def moved(instant: datetime) -> datetime:
        return instant.astimezone(UTC) + shift

    return replace(
        job,
        access=replace(
            job.access, begins=moved(job.access.begins), open_by=moved(job.access.open_by)
        ),
        materials=replace(job.materials, liquids_measured_c=None),
        rooms=tuple(
            replace(
                room,
                slab_reading=None,
                open_by=None if room.open_by is None else moved(room.open_by),
            )
            for room in job.rooms
        ),
    )


def bridged(series: HourlySeries) -> HourlySeries:
    """The series with a straight line across every unknown temperature.

    Only to keep a march of slabs going; nights that lean on such hours do not count.
    """
    known = ~np.isnan(series.temp_c)
    if not known.any():
        raise OutOfRangeError("no temperature of the season is known")
    if known.all():
        return series
    temp_c = np.interp(series.epoch_s, series.epoch_s[known], series.temp_c[known])
    return replace(series, temp_c=temp_c)


def middle_night(
    seasons: Sequence[HourlySeries], nights: Sequence[Sequence[datetime]], *, lasts_s: float
) -> tuple[int, datetime] | None:
    """The night with the middle temperature of all that are known."""
    found = [
        (_mean_c(series, night.timestamp(), night.timestamp() + lasts_s), number, night)
        for number, series in enumerate(seasons)
        for night in nights[number]
        if _covers(series, night, lasts_s)
    ]
    if not found:
        return None
    _, number, night = sorted(found)[len(found) // 2]
    return number, night


def judge_nights(
    series: HourlySeries,
    pours: Mapping[str, RoomPours],
    *,
    nights: Sequence[datetime],
    starts: Sequence[PourStart],
    options: Sequence[PourOption],
) -> tuple[Night, ...]:
    """Least margins of every night of one season.

    Not for a plan: no start is chosen here, and no coat is placed.
    """
    first_s = min(start.after_s for start in starts)
    ends_s = max(
        start.after_s + max(_lasts_s(pours[start.room], option) for option in options)
        for start in starts
    )
    known = np.array([_covers(series, night, ends_s) for night in nights], dtype=np.bool_)
    begin_s = np.array([night.timestamp() for night in nights])
    margins = np.full((3, len(nights)), np.nan)
    if known.any():
        margins[:, known] = _least(pours, starts, begin_s[known], options)
    return tuple(
        Night(
            begins=night,
            outdoor_c=_mean_c(series, begin + first_s, begin + ends_s) if sure else np.nan,
            as_is_s=float(least[0]),
            without_ice_s=float(least[1]),
            with_ice_s=float(least[2]),
        )
        for night, begin, sure, least in zip(nights, begin_s, known, margins.T, strict=True)
    )


def _least(
    pours: Mapping[str, RoomPours],
    starts: Sequence[PourStart],
    begin_s: Array,
    options: Sequence[PourOption],
) -> Array:
    """Least margins over all rooms, shape (3, nights)."""
    iced = [replace(option, chilled=True) for option in options]
    least = np.full((3, begin_s.size), np.inf)
    for start in starts:
        room, at_s = pours[start.room], begin_s + start.after_s
        found = np.stack([_best(room, some, at_s) for some in ([AS_IS], options, iced)])
        least = np.minimum(least, found)
    return least


def _best(pours: RoomPours, options: Sequence[PourOption], at_s: Array) -> Array:
    """Margin of the first option that suffices, else the greatest; shape (nights,)."""
    best = np.full(at_s.size, -np.inf)
    for option in options:
        short = best < pours.job.policy.margin_s - HALF_S
        if not short.any():
            break
        best[short] = np.maximum(best[short], _planning_margin_s(pours, option, at_s[short]))
    return best


def _planning_margin_s(pours: RoomPours, option: PourOption, at_s: Array) -> Array:
    wait = np.array([pours.wet_factors(float(at))[0] for at in at_s])
    both = pours.run(
        option, np.concatenate([at_s, at_s]), speed=np.concatenate([np.ones(at_s.size), wait])
    )
    central_s, sure_s = np.split(both.least_s, 2)
    return np.asarray(np.minimum(central_s, sure_s + pours.job.policy.margin_s))


def _lasts_s(pours: RoomPours, option: PourOption) -> float:
    return pours.plan(option).times.last_s


def _covers(series: HourlySeries, night: datetime, lasts_s: float) -> bool:
    begins_s = night.timestamp()
    return series.covers(utc_of(begins_s - SURE_HISTORY_S), utc_of(begins_s + lasts_s))


def _mean_c(series: HourlySeries, begins_s: float, ends_s: float) -> float:
    within = (series.epoch_s >= begins_s) & (series.epoch_s <= ends_s)
    if not within.any():
        return float(series.at(begins_s)[0])
    return float(np.mean(series.temp_c[within]))
