"""``cureplan compare``: what-ifs side by side, and the nights of past years."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cureplan.errors import InputError

if TYPE_CHECKING:
    from cureplan.job.model import Job

__all__ = ["compare"]

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
    from cureplan.api import read_job
    from cureplan.commands.terminal import time_given

    past = seasons is not None or bool(history)
    _check_question(vary, seasons, month, past=past)
    job = read_job(job_file)
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
    from cureplan.api import job_weather
    from cureplan.commands.terminal import print_text, progress, terminal_width
    from cureplan.commands.variants import compare_variants
    from cureplan.schedule.compare import VARIES, Vary, variants
    from cureplan.sheets.compare_text import compare_json, compare_text

    wanted: list[Vary] = [known for word in vary for known in VARIES if known == word]
    found = variants(job, job_weather(job, now=at), wanted, now=at)
    with progress(len(found), "Planning") as step:
        rows = compare_variants(found, now=at, step=step)
    if as_json:
        print_text(compare_json(job, rows))
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
    from cureplan.commands.past_nights import history_files, judge_month, station_history
    from cureplan.commands.terminal import print_text, progress, terminal_width
    from cureplan.sheets.seasons_text import seasons_json, seasons_text

    of = month or job.access.begins.astimezone(job.site.zone).month
    if history:
        found = history_files(job, history, month=of, years=seasons)
    else:
        found = station_history(job, month=of, years=seasons or 1, now=clock_now)
    with progress(len(found), "Seasons") as step:
        judged = judge_month(job, found, month=of, now=at, asked_years=seasons, step=step)
    if as_json:
        print_text(seasons_json(job, judged))
    else:
        print_text(seasons_text(job, judged, width=terminal_width()))


def _planning_time(job: Job) -> datetime:
    """The clock's, or for a job in the past the evening before it."""
    clock_now = datetime.now(UTC)
    if clock_now < job.access.open_by:
        return clock_now
    return job.access.begins - timedelta(hours=23)
