"""`cureplan compare`: what-ifs side by side, and past summers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cureplan.core.errors import InputError, WeatherUnavailableError

if TYPE_CHECKING:
    from cureplan.inputs.job.model import Job
    from cureplan.planning.floor.pour import PourOption
    from cureplan.planning.plan.model import RoomPlan
    from cureplan.planning.studies.seasons import PastMonth, PourStart
    from cureplan.weather.hours.series import HourlySeries

__all__ = [
    "compare",
    "history_files",
    "judge_month",
    "station_history",
]

FORECAST_REACH = timedelta(days=10)
"""How far ahead a job's own weather can be asked for at all."""


def station_history(
    job: Job, *, month: int, years: int, now: datetime
) -> dict[int, HourlySeries]:
    """Seasons from the stations' record, by year."""
    from cureplan.planning.studies.seasons import SEASON_HISTORY_S
    from cureplan.weather.kept import default_store_folder
    from cureplan.weather.seasons import season_nights

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
    from cureplan.planning.studies.seasons import month_nights

    def held(year: int) -> int:
        nights = month_nights(job, year=year, month=month)
        return sum(series.starts <= night <= series.ends for night in nights)

    return max(range(series.starts.year, series.ends.year + 1), key=held)


def history_files(
    job: Job, paths: Sequence[Path], *, month: int, years: int | None
) -> dict[int, HourlySeries]:
    """Seasons from weather files, by year; several files of one year are joined."""
    from cureplan.planning.studies.seasons import SEASON_HISTORY_S, month_nights
    from cureplan.weather.hours.csv_file import read_weather_csv
    from cureplan.weather.hours.merge import splice
    from cureplan.weather.hours.plausible import Place

    place = Place(
        zone=job.site.zone,
        latitude_deg=job.site.latitude_deg,
        longitude_deg=job.site.longitude_deg,
        elevation_m=job.site.elevation_m,
    )
    pieces: dict[int, list[HourlySeries]] = {}
    for path in paths:
        series = read_weather_csv(path, place=place)
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
    """Move the job to every night of the month in every year."""
    from cureplan.planning.schedule.construct import prepare_pours
    from cureplan.planning.studies.seasons import (
        PastMonth,
        PastYear,
        bridged,
        judge_nights,
        month_nights,
        moved_job,
    )

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
    from cureplan.planning.studies.seasons import bridged, middle_night, moved_job

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
    plan = make_plan(planned, now=now, weather=weather, what_helps=False)
    return _from_plan(plan.rooms, planned), planned.access.begins, own is not None


def _from_plan(rooms: Sequence[RoomPlan], planned: Job) -> tuple[PourStart, ...]:
    from cureplan.planning.studies.seasons import PourStart

    begins_s = planned.access.begins.timestamp()
    return tuple(
        PourStart(room=room.room, after_s=room.pour_start.timestamp() - begins_s)
        for room in rooms
    )


def _own_weather(job: Job, now: datetime) -> HourlySeries | None:
    """The job's own weather; None where it lies too far off to be asked for, or fails."""
    from cureplan.api import get_weather

    if job.weather.source != "file" and abs(job.access.begins - now) > FORECAST_REACH:
        return None
    try:
        return get_weather(job, now=now)
    except WeatherUnavailableError:
        return None


def _options(job: Job) -> tuple[PourOption, ...]:
    """Un-iced ways to pour that the job's remedies allow, cheapest first."""
    from cureplan.planning.schedule.remedies import option_ladder

    return option_ladder([remedy for remedy in job.policy.remedies if remedy != "chill"])


def _length_s(job: Job) -> float:
    return (job.access.open_by - job.access.begins).total_seconds()


MOST_SEASONS = 60
# The words of `schedule.compare.VARIES`, which is too heavy to import for a slip.
CAN_VARY = ("start", "ice", "stations", "people", "forecast")


def compare(
    job_file: Annotated[Path, typer.Argument(metavar="JOB.toml", help="The job file.")],
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            metavar="WHAT",
            help="start, ice, stations, people or forecast; repeat it.",
        ),
    ] = None,
    seasons: Annotated[
        int | None,
        typer.Option("--seasons", metavar="N", help="On how many nights of the last N years?"),
    ] = None,
    month: Annotated[
        int | None,
        typer.Option("--month", metavar="1-12", help="Of which month; the job's by default."),
    ] = None,
    history: Annotated[
        list[Path] | None,
        typer.Option(
            "--history", metavar="FILE.csv", help="Past weather from a file; repeat it."
        ),
    ] = None,
    now: Annotated[
        str | None, typer.Option("--now", metavar="TIME", help="As if it were this time.")
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON instead of text.")
    ] = False,
) -> None:
    """Put what-ifs side by side, or count past nights on which the job would have held."""
    from cureplan.inputs.job.reader import read_own_job
    from cureplan.output.commands.common import time_given

    past = seasons is not None or bool(history)
    _check_question(vary, seasons, month, past=past)
    job = read_own_job(job_file)
    at = _planning_time(job) if now is None else time_given(job, now)
    if past:
        clock_now = datetime.now(UTC) if now is None else at
        _past(job, seasons, month, history or [], at=at, clock_now=clock_now, as_json=as_json)
    else:
        _vary(job, vary or [], at=at, as_json=as_json)


def _check_question(
    vary: list[str] | None, seasons: int | None, month: int | None, *, past: bool
) -> None:
    if past == bool(vary):
        raise InputError(
            "one question at a time" if vary else "nothing to compare",
            cure="give --vary start|ice|stations|people|forecast, or --seasons N",
            source="compare",
        )
    for word in vary or []:
        if word not in CAN_VARY:
            raise InputError(
                "this cannot be varied",
                cure=f"choose among {', '.join(CAN_VARY)}",
                key="--vary",
                value=word,
            )
    if month is not None and not past:
        raise InputError("only past years have months", cure="give --seasons N", key="--month")
    if month is not None and not 1 <= month <= 12:
        raise InputError("not a month", cure="give 1 to 12", key="--month", value=month)
    if seasons is not None and not 1 <= seasons <= MOST_SEASONS:
        raise InputError(
            "not a number of years to look back",
            cure=f"give 1 to {MOST_SEASONS}",
            key="--seasons",
            value=seasons,
        )


def _vary(job: Job, vary: list[str], *, at: datetime, as_json: bool) -> None:
    from cureplan.api import compare_variants, get_weather
    from cureplan.output.commands.common import print_text, progress, terminal_width
    from cureplan.output.text.studies import compare_json, compare_text
    from cureplan.planning.studies.compare import VARIES, Vary, variants

    wanted: list[Vary] = [known for word in vary for known in VARIES if known == word]
    found = variants(job, get_weather(job, now=at), wanted, now=at)
    with progress(len(found), "Planning") as step:
        rows = compare_variants(found, now=at, step=step)
    if as_json:
        print_text(compare_json(job, rows), asked=True)
    else:
        print_text(compare_text(job, rows, width=terminal_width()))


def _past(
    job: Job,
    seasons: int | None,
    month: int | None,
    history: list[Path],
    *,
    at: datetime,
    clock_now: datetime,
    as_json: bool,
) -> None:
    from cureplan.output.commands.common import print_text, progress, terminal_width
    from cureplan.output.text.studies import seasons_json, seasons_text
    from cureplan.weather.seasons import season_years

    of = month or job.access.begins.astimezone(job.site.zone).month
    if history:
        found = history_files(job, history, month=of, years=seasons)
        asked = tuple(range(min(found), max(found) + 1))
    else:
        found = station_history(job, month=of, years=seasons or 1, now=clock_now)
        asked = season_years(of, seasons or 1, job.site.zone, clock_now)
    with progress(len(found), "Seasons") as step:
        judged = judge_month(job, found, month=of, now=at, asked_years=seasons, step=step)
    if as_json:
        print_text(seasons_json(job, judged), asked=True)
    else:
        missing = [year for year in asked if year not in found]
        print_text(seasons_text(job, judged, width=terminal_width(), missing=missing))


def _planning_time(job: Job) -> datetime:
    """The clock's, or for a job in the past the evening before it."""
    clock_now = datetime.now(UTC)
    if clock_now < job.access.open_by:
        return clock_now
    return job.access.begins - timedelta(hours=23)
