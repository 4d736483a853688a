"""A month of past years: where its weather comes from, and how the job fares in it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from cureplan.errors import InputError, WeatherUnavailableError

if TYPE_CHECKING:
    from cureplan.job.model import Job
    from cureplan.plan import RoomPlan
    from cureplan.planning.pour import PourOption
    from cureplan.planning.season_tally import PastMonth, PourStart
    from cureplan.weather.series import HourlySeries

__all__ = ["history_files", "judge_month", "station_history"]

FORECAST_REACH = timedelta(days=10)
"""How far ahead a job's own weather can be asked for at all."""


def station_history(
    job: Job, *, month: int, years: int, now: datetime
) -> dict[int, HourlySeries]:
    """Seasons from the stations' record, by year.

    Parameters
    ----------
    job : Job
        For its site and length.
    month, years : int
        Which month, and how many years back.
    now : datetime
        Present instant, aware.

    Returns
    -------
    dict
        Years that could not be had are left out.

    Raises
    ------
    WeatherUnavailableError
        Not one year could be had.
    """
    from cureplan.planning.seasons import SEASON_HISTORY_S
    from cureplan.weather.seasons import season_nights
    from cureplan.weather.store import default_store_folder

    found = season_nights(
        latitude_deg=job.site.latitude_deg,
        longitude_deg=job.site.longitude_deg,
        elevation_m=job.site.elevation_m,
        month=month,
        years=years,
        zone=job.site.zone,
        history_s=SEASON_HISTORY_S,
        tail_s=_length_s(job),
        now=now,
        store_folder=default_store_folder(),
    )
    return {_year_of(job, series, month): series for series in found}


def _year_of(job: Job, series: HourlySeries, month: int) -> int:
    """The year of which a series holds the most nights of the month."""
    from cureplan.planning.seasons import month_nights

    def held(year: int) -> int:
        nights = month_nights(job, year=year, month=month)
        return sum(series.starts <= night <= series.ends for night in nights)

    return max(range(series.starts.year, series.ends.year + 1), key=held)


def history_files(
    job: Job, paths: Sequence[Path], *, month: int, years: int | None
) -> dict[int, HourlySeries]:
    """Seasons from weather files, by year; several files of one year are joined.

    Parameters
    ----------
    job : Job
        For its zone and length.
    paths : sequence of Path
        Weather tables as `read_weather_csv` takes them.
    month : int
        Which month.
    years : int or None
        How many of the last years to keep; None for all.

    Returns
    -------
    dict
        Years of which the files hold at least an hour of the month.

    Raises
    ------
    InputError
        A file cannot be read, or no file holds that month.
    """
    from cureplan.planning.seasons import SEASON_HISTORY_S, month_nights
    from cureplan.weather.csvfile import read_weather_csv
    from cureplan.weather.splice import splice

    pieces: dict[int, list[HourlySeries]] = {}
    for path in paths:
        series = read_weather_csv(path)
        for year in range(series.starts.year - 1, series.ends.year + 1):
            nights = month_nights(job, year=year, month=month)
            starts = nights[0] - timedelta(seconds=SEASON_HISTORY_S)
            ends = nights[-1] + timedelta(seconds=_length_s(job))
            if series.ends > nights[0] and series.starts < ends:
                pieces.setdefault(year, []).append(series.slice(starts, ends))
    if not pieces:
        raise InputError(
            "no file given holds that month",
            cure="give hourly weather of that month, or another --month",
            key="--month",
            value=month,
        )
    kept = sorted(pieces)[-years:] if years is not None else sorted(pieces)
    return {year: splice(pieces[year]) for year in kept}


def judge_month(
    job: Job,
    seasons: Mapping[int, HourlySeries],
    *,
    month: int,
    now: datetime,
    asked_years: int | None = None,
    step: Callable[[], None] = lambda: None,
) -> PastMonth:
    """Move the job to every night of the month in every year.

    Parameters
    ----------
    job : Job
        The job.
    seasons : mapping
        Weather by year, gaps and all.
    month : int
        1 to 12.
    now : datetime
        Aware.
    asked_years : int or None
        How many years were asked for.
    step : callable
        Called after each year, for a progress bar.

    Returns
    -------
    PastMonth

    Raises
    ------
    WeatherUnavailableError
        No night of any year is covered by its weather.
    NoFeasiblePlanError
        The job has no plan whose starts could be moved.
    """
    from cureplan.planning.season_tally import PastMonth, PastYear
    from cureplan.planning.seasons import bridged, judge_nights, month_nights, moved_job
    from cureplan.schedule.prepare import prepare_pours

    nights = {year: month_nights(job, year=year, month=month) for year in seasons}
    starts, planned_for, own = _starts(job, seasons, nights, now)
    options = _options(job)
    unread = moved_job(job, job.access.begins)
    years = []
    for year, series in seasons.items():
        judged = judge_nights(
            series,
            prepare_pours(unread, bridged(series)),
            nights=nights[year],
            starts=starts,
            options=options,
        )
        sources = tuple(
            f"{origin.label}: {origin.attribution} ({origin.licence})"
            for origin in series.origins
            if origin.kind != "interpolated"
        )
        years.append(PastYear(year=year, nights=judged, sources=sources))
        step()
    return PastMonth(
        month=month,
        required_s=job.policy.margin_s,
        starts=starts,
        planned_for=planned_for,
        own_weather=own,
        years=tuple(years),
        asked_years=asked_years,
    )


def _starts(
    job: Job,
    seasons: Mapping[int, HourlySeries],
    nights: Mapping[int, Sequence[datetime]],
    now: datetime,
) -> tuple[tuple[PourStart, ...], datetime, bool]:
    """Starts of the job's own plan, else of a plan for the middle one of the nights."""
    from cureplan.api import make_plan
    from cureplan.planning.seasons import bridged, middle_night, moved_job

    own = _own_weather(job, now)
    planned, weather = job, own
    if own is None:
        found = middle_night(
            tuple(seasons.values()), tuple(nights.values()), lasts_s=_length_s(job)
        )
        if found is None:
            raise WeatherUnavailableError(
                "no night of that month is covered by the weather at hand; give hourly "
                "weather with --history, or ask for more years"
            )
        number, begins = found
        planned = moved_job(job, begins)
        weather = bridged(tuple(seasons.values())[number])
    plan = make_plan(planned, now=now, weather=weather)
    return _from_plan(plan.rooms, planned), planned.access.begins, own is not None


def _from_plan(rooms: Sequence[RoomPlan], planned: Job) -> tuple[PourStart, ...]:
    from cureplan.planning.season_tally import PourStart

    begins_s = planned.access.begins.timestamp()
    return tuple(
        PourStart(room=room.room, after_s=room.pour_start.timestamp() - begins_s)
        for room in rooms
    )


def _own_weather(job: Job, now: datetime) -> HourlySeries | None:
    """The job's own weather; None where it lies too far off to be asked for, or fails."""
    from cureplan.api import job_weather

    if job.weather.source != "file" and abs(job.access.begins - now) > FORECAST_REACH:
        return None
    try:
        return job_weather(job, now=now)
    except WeatherUnavailableError:
        return None


def _options(job: Job) -> tuple[PourOption, ...]:
    """Un-iced ways to pour that the job's remedies allow, cheapest first."""
    from cureplan.schedule.remedies import option_ladder

    return option_ladder([remedy for remedy in job.policy.remedies if remedy != "chill"])


def _length_s(job: Job) -> float:
    return (job.access.open_by - job.access.begins).total_seconds()
