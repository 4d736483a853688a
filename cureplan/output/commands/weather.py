"""``cureplan weather``: the hours a job would be planned on, and where they come from."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from cureplan.inputs.job.model import Job
    from cureplan.weather.hours.series import HourlySeries

__all__ = ["weather"]


def weather(
    job_file: Annotated[Path, typer.Argument(metavar="JOB.toml", help="The job file.")],
    save: Annotated[
        Path | None,
        typer.Option("--save", metavar="FILE.csv", help='Keep it for source = "file".'),
    ] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE.png", help="Draw it.")
    ] = None,
    now: Annotated[
        str | None,
        typer.Option("--now", metavar="TIME", help="As if it were this time."),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Write over any file but those that are read.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON instead of text.")
    ] = False,
) -> None:
    """Show the job's weather, its rooms and slabs, hour by hour, with every source and gap."""
    from cureplan.api import get_weather
    from cureplan.core.errors import InputError
    from cureplan.core.writing import refuse_target, write_all
    from cureplan.inputs.job.reader import read_own_job
    from cureplan.output.commands.common import (
        job_inputs,
        print_text,
        print_written,
        terminal_width,
        time_given,
    )
    from cureplan.output.text.weather import weather_json, weather_text
    from cureplan.planning.floor.weather_hours import weather_hours
    from cureplan.weather.hours.csv_file import csv_text

    job = read_own_job(job_file)
    for path, option, ours in (
        (save, "--save", _is_kept_weather),
        (picture, "--picture", _is_png),
    ):
        if path is not None:
            refuse_target(path, option=option, inputs=job_inputs(job), ours=ours, force=force)
    if save is not None and picture is not None and save.resolve() == picture.resolve():
        raise InputError(
            "the hours go there", cure="choose another name", key="--picture", value=str(save)
        )
    at = datetime.now(UTC) if now is None else time_given(job, now)
    series = get_weather(job, now=at)
    hours = weather_hours(job, series)
    drawn = None
    if picture is not None:
        from cureplan.output.charts.weather_picture import weather_png

        drawn = weather_png(job, hours)
    contents: dict[Path, str | bytes] = {}
    if save is not None:
        contents[save] = csv_text(series)
    if picture is not None and drawn is not None:
        contents[picture] = drawn
    write_all(contents)
    if save is not None:
        _note_missing(job, series, save)
    if as_json:
        print_text(weather_json(job, hours, now=at), asked=True)
    else:
        print_text(weather_text(job, hours, now=at, width=terminal_width()))
        written = [path for path in (save, picture) if path is not None]
        if written:
            print_written(written)


def _is_kept_weather(head: bytes) -> bool:
    return head.startswith(b"# hourly weather written by cureplan")


def _is_png(head: bytes) -> bool:
    return head.startswith(b"\x89PNG")


def _note_missing(job: Job, series: HourlySeries, path: Path) -> None:
    """Say where a job could not be planned on the saved file."""
    from cureplan.api import HISTORY_S
    from cureplan.output.commands.common import note

    needed = job.access.begins - timedelta(seconds=HISTORY_S)
    missing = series.missing_hours(needed, job.access.begins)
    if missing:
        note(
            f"{path}: {len(missing)} h of the {HISTORY_S / 3600:.0f} h before the job are "
            'missing; source = "file" will ask for them.'
        )
