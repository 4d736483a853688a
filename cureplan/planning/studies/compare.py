"""What-ifs: a job with one thing changed, to be planned and put beside the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from statistics import NormalDist
from typing import Final, Literal

import numpy as np

from cureplan.inputs.job.model import Crew, Job, Shift
from cureplan.planning.floor.doubt import FORECAST_SD_K
from cureplan.planning.floor.pour import PourOption
from cureplan.planning.plan.model import Plan
from cureplan.planning.schedule.remedies import option_ladder
from cureplan.weather.hours.series import HourlySeries

__all__ = [
    "VARIES",
    "ComparedRow",
    "Variant",
    "Vary",
    "begun_later",
    "shifted_weather",
    "times_called",
    "variants",
]

Vary = Literal["start", "ice", "stations", "people", "forecast"]
VARIES: Final[tuple[Vary, ...]] = ("start", "ice", "stations", "people", "forecast")
START_HOURS: Final = (-2, -1, 1, 2)
MORE_STATIONS: Final = (-1, 1, 2)
ROLES: Final = ("mixer", "runner", "rake", "smoother", "broadcaster", "edge", "topcoat")
QUANTILES: Final = (0.1, 0.25, 0.75, 0.9)
DAY: Final = timedelta(days=1)
FRESH_CALL: Final = "call.set_up"
"""Reason of a call that brings somebody to the site, as against from room to room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """A job and its weather with one thing changed."""

    vary: Vary | None
    value: float | str | None
    job: Job
    weather: HourlySeries
    shift_k: float = 0.0
    options: tuple[PourOption, ...] | None = None
    """How rooms may be poured; None where the job alone decides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedRow:
    """What came of a variant; None where there is no plan, and `why` then says why."""

    vary: Vary | None
    value: float | str | None
    shift_k: float
    status: str
    why: str | None = None
    first_pour: datetime | None = None
    least_margin_min: float | None = None
    tightest: str | None = None
    iced_rooms: int | None = None
    rooms: int | None = None
    most_bays: int | None = None
    opens: datetime | None = None
    people: int | None = None
    call_outs: int | None = None
    ice_kg: float | None = None
    all_keep_frac: float | None = None

    @classmethod
    def of(cls, variant: Variant, plan: Plan) -> ComparedRow:
        """A variant's plan summed up."""
        tightest = min(plan.rooms, key=lambda room: room.margin_min)
        return cls(
            vary=variant.vary,
            value=variant.value,
            shift_k=variant.shift_k,
            status=plan.status,
            first_pour=min(room.pour_start for room in plan.rooms),
            least_margin_min=tightest.margin_min,
            tightest=tightest.room,
            iced_rooms=sum(room.chilled for room in plan.rooms),
            rooms=len(plan.rooms),
            most_bays=max(room.bays for room in plan.rooms),
            opens=max(room.opens for room in plan.rooms),
            people=plan.labour.heads if plan.labour else None,
            call_outs=times_called(plan),
            ice_kg=plan.chill.ice_kg,
            all_keep_frac=plan.risk.all_keep_frac,
        )


def variants(
    job: Job, weather: HourlySeries, varies: Sequence[Vary], *, now: datetime
) -> tuple[Variant, ...]:
    """The job as it is, then every variant asked for, always in the same order."""
    makers = {
        "start": _starts,
        "ice": _ices,
        "stations": _stations,
        "people": _people,
    }
    found = [Variant(vary=None, value=None, job=job, weather=weather)]
    for vary in dict.fromkeys(varies):
        if vary == "forecast":
            found += _forecasts(job, weather, now)
        else:
            found += makers[vary](job, weather)
    return tuple(found)


def _starts(job: Job, weather: HourlySeries) -> list[Variant]:
    """Access and pour shifts begin earlier or later; both end as before."""
    return [
        Variant(
            vary="start",
            value=hours,
            weather=weather,
            job=replace(
                job,
                access=replace(job.access, begins=job.access.begins + timedelta(hours=hours)),
                crew=replace(
                    job.crew,
                    pour_shifts=tuple(
                        moved
                        for shift in job.crew.pour_shifts
                        if (moved := begun_later(shift, timedelta(hours=hours))) is not None
                    ),
                ),
            ),
        )
        for hours in START_HOURS
    ]


def begun_later(shift: Shift, by: timedelta) -> Shift | None:
    """A shift that begins so much later; None when nothing of it is left."""
    if shift.begins == shift.ends:
        return shift
    day = date(2001, 1, 1)
    begins, ends = (datetime.combine(day, at, UTC) for at in (shift.begins, shift.ends))
    if ends < begins:
        ends += DAY
    begins += by
    if begins >= ends:
        return None
    if ends - begins >= DAY:
        return Shift(begins=time(0), ends=time(0))
    return Shift(begins=begins.time(), ends=shift.ends)


def _ices(job: Job, weather: HourlySeries) -> list[Variant]:
    allowed = "chill" in job.policy.remedies
    without = tuple(remedy for remedy in job.policy.remedies if remedy != "chill")
    never = replace(job, policy=replace(job.policy, remedies=without))
    with_ice = job
    if not allowed:
        with_ice = replace(job, policy=replace(job.policy, remedies=(*without, "chill")))
    found = []
    if allowed:
        found.append(Variant(vary="ice", value="never", job=never, weather=weather))
    else:
        found.append(Variant(vary="ice", value="where needed", job=with_ice, weather=weather))
    found.append(
        Variant(
            vary="ice",
            value="every room",
            job=with_ice,
            weather=weather,
            options=tuple(o for o in option_ladder(with_ice.policy.remedies) if o.chilled),
        )
    )
    return found


def _stations(job: Job, weather: HourlySeries) -> list[Variant]:
    """Each station with a mixer of its own."""
    found = []
    for more in MORE_STATIONS:
        crew = job.crew
        count = crew.stations + more
        if count < 1:
            continue
        mixer = max(crew.mixer, count) if more > 0 else min(crew.mixer, count)
        # Of people with names nobody is taken away, who may do other things as well.
        if not crew.people or mixer > crew.mixer:
            crew = crew.with_more("mixer", mixer - crew.mixer)
        changed = replace(job, crew=replace(crew, stations=count))
        found.append(Variant(vary="stations", value=count, job=changed, weather=weather))
    return found


def _people(job: Job, weather: HourlySeries) -> list[Variant]:
    return [
        Variant(
            vary="people",
            value=role,
            weather=weather,
            job=replace(job, crew=_with_one_more(job.crew, role)),
        )
        for role in ROLES
    ]


def _with_one_more(crew: Crew, role: str) -> Crew:
    return crew.with_more(role)


def _forecasts(job: Job, weather: HourlySeries, now: datetime) -> list[Variant]:
    """Colder and warmer by quantiles of a day-ahead forecast's error."""
    found = []
    for quantile in QUANTILES:
        shift_k = NormalDist().inv_cdf(quantile) * FORECAST_SD_K
        found.append(
            Variant(
                vary="forecast",
                value=quantile,
                job=job,
                weather=shifted_weather(weather, shift_k, now=now),
                shift_k=shift_k,
            )
        )
    return found


def shifted_weather(weather: HourlySeries, shift_k: float, *, now: datetime) -> HourlySeries:
    """The weather with every hour still to come warmer; what was observed stays.

    The moisture of the air stays too, but cannot exceed what colder air holds.
    """
    observed = np.array([origin.kind == "observed" for origin in weather.origins])
    to_come = (weather.epoch_s >= now.timestamp()) & ~observed[weather.origin]
    temp_c = weather.temp_c + np.where(to_come, shift_k, 0.0)
    dew_c = np.where(to_come, np.fmin(weather.dew_c, temp_c), weather.dew_c)
    # fmin takes the known one of two: an unknown dew point must stay unknown.
    dew_c = np.where(np.isnan(weather.dew_c), np.nan, dew_c)
    return replace(weather, temp_c=temp_c, dew_c=dew_c)


def times_called(plan: Plan) -> int:
    """How often a crew is called to the site."""
    fresh = [call for call in plan.calls if call.reason.code == FRESH_CALL]
    pour_outs = {call.room for call in fresh if call.stage == "pour"}
    # The topcoat crew vacuums and coats: the same people under two names.
    coat_outs = {call.call for call in fresh if call.stage != "pour"}
    return len(pour_outs) + len(coat_outs)
