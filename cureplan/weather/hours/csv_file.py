"""A weather file: read to hourly rows, and written so that it reads back the same."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any, get_args

import numpy as np

from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.core.writing import write_atomically
from cureplan.weather.hours.csv_rows import CsvRow, read_rows
from cureplan.weather.hours.csv_text import read_text, split_comments
from cureplan.weather.hours.merge import RawRows, hourly_from_rows
from cureplan.weather.hours.remarks import remark_from_text, remark_text
from cureplan.weather.hours.series import (
    HOUR_S,
    Gap,
    HourlySeries,
    OriginKind,
    WeatherOrigin,
    utc_of,
)

__all__ = [
    "FileNotes",
    "comment_lines",
    "csv_text",
    "read_comments",
    "read_weather_csv",
    "read_weather_csv_for",
    "weather_from_text",
    "write_csv",
]

_ORIGIN = re.compile(r"origin (\d+): *(\{.*\})")
_LABELLED = re.compile(
    r"(source|attribution|licen[cs]e|gap|note|warning): *(.*)", re.IGNORECASE
)
_INSTANTS = ("issued_at", "fetched_at", "starts", "ends")


@dataclass(frozen=True, slots=True, kw_only=True)
class FileNotes:
    """What the comment lines say; `origins` is empty unless we wrote the file."""

    licence: str
    attribution: str
    origins: tuple[WeatherOrigin, ...]
    gaps: tuple[Gap, ...]
    notes: tuple[Message, ...]
    warnings: tuple[Message, ...]


def comment_lines(series: HourlySeries) -> list[str]:
    """Comment lines that let `read_comments` restore origins, gaps and notes."""
    lines = ["# hourly weather written by cureplan; times are UTC"]
    lines += [f"# origin {n}: {_as_json(one)}" for n, one in enumerate(series.origins)]
    lines += [f"# gap: {_as_json(gap)}" for gap in series.gaps]
    lines += [f"# note: {remark_text(note)}" for note in series.notes]
    lines += [f"# warning: {remark_text(text)}" for text in series.warnings]
    return lines


def read_comments(comments: Iterable[tuple[int, str]], *, source: str) -> FileNotes:
    """Read numbered comment lines.

    Parameters
    ----------
    comments : iterable of (int, str)
        1-based line number and text without the leading ``#``.
    source : str
        File name for error messages.

    Returns
    -------
    FileNotes
        Lines without a label count towards the attribution.

    Raises
    ------
    InputError
        A line that we wrote is damaged.

    Examples
    --------
    >>> read_comments([(1, "source: yard gauge"), (2, "licence: CC0")], source="w.csv").licence
    'CC0'
    """
    origins: list[WeatherOrigin] = []
    found: dict[str, list[str]] = {label: [] for label in ("plain", "attribution", "licence")}
    remarks: dict[str, list[Message]] = {"note": [], "warning": []}
    gaps: list[Gap] = []
    for line, text in comments:
        origin, labelled = _ORIGIN.fullmatch(text), _LABELLED.fullmatch(text)
        if origin:
            origins.append(_origin(origin, source=source, line=line, expected=len(origins)))
        elif labelled and labelled[1].lower() == "gap":
            gaps.append(Gap(**_from_json(labelled[2], Gap, source=source, line=line)))
        elif labelled and labelled[1].lower() in remarks:
            remarks[labelled[1].lower()].append(_remark(labelled[2], source=source, line=line))
        elif labelled:
            label = {"source": "attribution", "license": "licence"}.get(
                labelled[1].lower(), labelled[1].lower()
            )
            found[label].append(labelled[2])
        elif text:
            found["plain"].append(text)
    return FileNotes(
        licence="; ".join(found["licence"]),
        attribution="; ".join(found["attribution"] or found["plain"]),
        origins=tuple(origins),
        gaps=tuple(gaps),
        notes=tuple(remarks["note"]),
        warnings=tuple(remarks["warning"]),
    )


def _remark(text: str, *, source: str, line: int) -> Message:
    try:
        return remark_from_text(text)
    except ValueError as error:
        raise _damaged(source, line, text) from error


def _origin(match: re.Match[str], *, source: str, line: int, expected: int) -> WeatherOrigin:
    if int(match[1]) != expected:
        raise _damaged(source, line, match[0])
    fields = _from_json(match[2], WeatherOrigin, source=source, line=line)
    if fields["kind"] not in get_args(OriginKind):
        raise _damaged(source, line, match[0])
    return WeatherOrigin(**fields)


def _as_json(record: WeatherOrigin | Gap) -> str:
    plain = {
        key: value.isoformat() if isinstance(value, datetime) else value
        for key, value in asdict(record).items()
    }
    return json.dumps(plain, ensure_ascii=False)


def _from_json(text: str, kind: type, *, source: str, line: int) -> dict[str, Any]:
    try:
        fields = json.loads(text)
        if set(fields) != set(kind.__dataclass_fields__):  # type: ignore[attr-defined]
            raise _damaged(source, line, text)
        for key in _INSTANTS:
            if fields.get(key) is not None:
                fields[key] = datetime.fromisoformat(fields[key])
    except (ValueError, TypeError) as error:
        raise _damaged(source, line, text) from error
    return dict(fields)


def _damaged(source: str, line: int, text: str) -> InputError:
    return InputError(
        "this line of a saved weather file is damaged",
        cure="save the weather again, or delete all its comment lines and the origin column",
        source=source,
        line=line,
        value=text,
    )


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


def _with_notes(series: HourlySeries, told: FileNotes, remarks: list[Message]) -> HourlySeries:
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


def csv_text(series: HourlySeries) -> str:
    """The series as CSV text, with its origins, gaps and notes as comment lines.

    Not for a sheet: values carry all their digits and times are UTC.
    """
    lines = [*comment_lines(series), "time,temp_c,dew_c,cloud_frac,origin"]
    columns = zip(
        series.epoch_s.tolist(),
        series.temp_c.tolist(),
        series.dew_c.tolist(),
        series.cloud_frac.tolist(),
        series.origin.tolist(),
        strict=True,
    )
    for epoch_s, temp_c, dew_c, cloud_frac, origin in columns:
        cells = (_cell(temp_c), _cell(dew_c), _cell(cloud_frac), str(origin))
        lines.append(",".join((utc_of(epoch_s).isoformat(), *cells)))
    return "\n".join(lines) + "\n"


def write_csv(series: HourlySeries, path: Path) -> None:
    """Write the series so that `read_weather_csv` returns the same again.

    Parameters
    ----------
    series : HourlySeries
        Any series, gaps included.
    path : Path
        Target file; replaced whole or not at all.

    Raises
    ------
    OutputError
        The file could not be written.
    """
    write_atomically(path, csv_text(series))


def _cell(value: float) -> str:
    # repr is the shortest text that gives the same float back.
    return "" if math.isnan(value) else repr(value)
