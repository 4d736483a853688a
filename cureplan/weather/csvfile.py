"""Weather from a CSV file; every fault names file, line, column, value and cure."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np

from cureplan.errors import InputError
from cureplan.say import Say
from cureplan.weather.csvnotes import FileNotes, read_comments
from cureplan.weather.csvrows import CsvRow, read_rows
from cureplan.weather.csvtext import read_text, split_comments
from cureplan.weather.gridding import RawRows, hourly_from_rows
from cureplan.weather.series import HOUR_S, Gap, HourlySeries, WeatherOrigin, utc_of

__all__ = ["read_weather_csv", "read_weather_csv_for", "weather_from_text"]

_LONGEST_SPAN_H = 20 * 8766


def read_weather_csv(path: Path) -> HourlySeries:
    """Read a weather table, whatever span it covers.

    Not for planning, which must know that the job is covered: `read_weather_csv_for`.

    Parameters
    ----------
    path : Path
        UTF-8 text: `time` with offset, `temp_c` or `temp_f`, `dew_c` or `dew_f` or
        `humidity_pct`, optionally `cloud_pct`; comment lines with ``#`` on top. An empty
        cell is a missing value; other columns are left aside.

    Returns
    -------
    HourlySeries
        On whole hours of the file's own offset; gaps of up to three hours bridged and
        marked, longer ones NaN.

    Raises
    ------
    InputError
        The file cannot be read as such a table.
    """
    return _read(path)[0]


def read_weather_csv_for(
    path: Path, *, starts: datetime, ends: datetime, history_s: float
) -> HourlySeries:
    """Read a weather table and make sure that it covers the job.

    Not for a look at a file that need not cover anything: `read_weather_csv`.

    Parameters
    ----------
    path : Path
        As for `read_weather_csv`.
    starts, ends : datetime
        First and last instant of the job, aware; messages use the zone of `starts`.
    history_s : float
        How long before `starts` the weather must begin [s], >= 0.

    Returns
    -------
    HourlySeries
        Temperature known at every instant from `starts - history_s` to `ends`.

    Raises
    ------
    InputError
        The file cannot be read, or hours of the job or its history are missing.
    """
    series, rows = _read(path)
    # In UTC: a local zone would subtract by the wall clock.
    needed = starts.astimezone(UTC) - timedelta(seconds=history_s)
    missing = series.missing_hours(needed, ends)
    if not missing:
        return series
    zone = starts.tzinfo
    if missing[-1] > series.ends:
        problem = (
            f"the weather ends at {_stamp(series.ends, zone)} "
            f"but must reach {_stamp(ends, zone)}"
        )
        line = rows[-1].line
    elif missing[0] < series.starts:
        problem = (
            f"the weather starts at {_stamp(series.starts, zone)} but must reach back to "
            f"{_stamp(needed, zone)}, {history_s / HOUR_S:g} h before the job, for the slab"
        )
        line = rows[0].line
    else:
        problem = f"no air temperature for {_spans(missing, zone)}"
        line = next(r.line for r in rows if r.epoch_s > missing[0].timestamp())
    raise InputError(
        problem,
        cure="add the missing rows, or use another file or source of weather",
        source=path,
        line=line,
        key="time",
    )


def weather_from_text(text: str, *, source: Path) -> HourlySeries:
    """`read_weather_csv` for text already in memory; `source` names it in messages."""
    return _parse(text, source)[0]


def _read(path: Path) -> tuple[HourlySeries, list[CsvRow]]:
    return _parse(read_text(path), path)


def _parse(text: str, path: Path) -> tuple[HourlySeries, list[CsvRow]]:
    comments, body = split_comments(text)
    told = read_comments(comments, source=str(path))
    rows, remarks = read_rows(body, source=path, origins=len(told.origins))
    _require_ascending(rows, path)
    origins = told.origins or (
        WeatherOrigin(
            label=path.name, kind="file", licence=told.licence, attribution=told.attribution
        ),
    )
    raw = RawRows(
        epoch_s=np.array([r.epoch_s for r in rows]),
        temp_c=np.array([r.temp_c for r in rows]),
        dew_c=np.array([r.dew_c for r in rows]),
        cloud_frac=np.array([r.cloud_frac for r in rows]),
        origin=np.array([r.origin for r in rows], dtype=np.int64),
    )
    series = hourly_from_rows(raw, origins=origins, phase_s=_phase_s(rows))
    return _with_notes(series, told, remarks), rows


def _with_notes(series: HourlySeries, told: FileNotes, remarks: list[Say]) -> HourlySeries:
    def is_told(gap: Gap) -> bool:
        return any(
            known.what == gap.what and known.starts <= gap.ends and gap.starts <= known.ends
            for known in told.gaps
        )

    return replace(
        series,
        gaps=(*told.gaps, *(gap for gap in series.gaps if not is_told(gap))),
        notes=(*told.notes, *remarks, *series.notes),
        warnings=told.warnings,
    )


def _require_ascending(rows: list[CsvRow], path: Path) -> None:
    for before, row in pairwise(rows):
        if row.epoch_s == before.epoch_s:
            problem, cure = f"same instant as line {before.line}", "keep one of the two rows"
        elif row.epoch_s < before.epoch_s:
            problem, cure = f"earlier than line {before.line}", "sort the rows by time"
        else:
            continue
        raise InputError(
            problem, cure=cure, source=path, line=row.line, key="time", value=row.time_text
        )
    first, last = rows[0], rows[-1]
    if (last.epoch_s - first.epoch_s) > _LONGEST_SPAN_H * HOUR_S:
        raise InputError(
            f"more than 20 years after line {first.line}",
            cure="check the year, or cut the file to the weeks around the job",
            source=path,
            line=last.line,
            key="time",
            value=last.time_text,
        )
    phase_s = _phase_s(rows)
    if np.ceil((first.epoch_s - phase_s) / HOUR_S) > (last.epoch_s - phase_s) // HOUR_S:
        raise InputError(
            "no whole hour lies within the rows",
            cure="give at least the hours of the job and of the days before it",
            source=path,
            line=last.line,
            key="time",
            value=last.time_text,
        )


def _phase_s(rows: list[CsvRow]) -> float:
    """Where whole hours of the file's own offset stand past the UTC hour."""
    phases = {row.offset_s % HOUR_S for row in rows}
    return -phases.pop() % HOUR_S if len(phases) == 1 else 0.0


def _spans(hours: tuple[datetime, ...], zone: object) -> str:
    runs: list[list[datetime]] = []
    for hour in hours:
        if runs and (hour - runs[-1][-1]).total_seconds() == HOUR_S:
            runs[-1].append(hour)
        else:
            runs.append([hour])
    return ", ".join(
        f"{len(run)} h ({_stamp(run[0], zone)} to {_stamp(run[-1], zone)})" for run in runs
    )


def _stamp(when: datetime, zone: object) -> str:
    local = utc_of(when.timestamp()).astimezone(zone)  # type: ignore[arg-type]
    return local.isoformat(sep=" ", timespec="minutes")
