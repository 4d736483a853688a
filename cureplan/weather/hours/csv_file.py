"""Weather from a CSV file; every fault names file, line, column, value and cure."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.inputs.files import Decoded, Wanted, read_text
from cureplan.weather.hours.csv_issued import Known, issued_in, names_a_day, plain_letters
from cureplan.weather.hours.csv_notes import (
    FileNotes,
    csv_text,
    read_comments,
    split_comments,
    write_csv,
)
from cureplan.weather.hours.csv_table import Table, read_table
from cureplan.weather.hours.history import fill_history
from cureplan.weather.hours.merge import RawRows, hourly_from_rows
from cureplan.weather.hours.plausible import Air, Place, oddities, questions
from cureplan.weather.hours.resample import COARSEST_STEP_S, hour_means, hours_between
from cureplan.weather.hours.series import HOUR_S, Gap, HourlySeries, WeatherOrigin, utc_of

__all__ = [
    "csv_text",
    "read_weather_csv",
    "read_weather_csv_for",
    "weather_from_text",
    "write_csv",
]

_LONGEST_SPAN_H = 20 * 8766
# Clocks of machines disagree by minutes; hours are a clock set wrong.
_CLOCK_SLACK = timedelta(hours=1)
_WANTED = Wanted(
    name="CSV file",
    smaller="cut the file to the weeks around the job",
    content="give a header line and one row per hour",
    largest_bytes=40_000_000,
    western=True,
)


def read_weather_csv(path: Path, *, place: Place | None = None) -> HourlySeries:
    """Read a weather table, whatever span it covers.

    Not for planning, which must know that the job is covered and its readings can be:
    `read_weather_csv_for`.
    """
    decoded = read_text(path, wanted=_WANTED)
    return _parse(decoded, path, None if place is None else place.zone).series


def read_weather_csv_for(
    path: Path,
    *,
    starts: datetime,
    ends: datetime,
    history_s: float,
    place: Place | None = None,
    now: datetime | None = None,
) -> HourlySeries:
    """Read a weather table and make sure that it covers the job with air that can be.

    Not for a look at a file that need not cover anything: `read_weather_csv`.
    """
    zone = starts.tzinfo or UTC
    read = _parse(read_text(path, wanted=_WANTED), path, place.zone if place else zone)
    # In UTC: a local zone would subtract by the wall clock.
    needed = starts.astimezone(UTC) - timedelta(seconds=history_s)
    _ask(read, needed, ends, zone=zone, place=place)
    series = fill_history(read.series, before=starts, since=needed)
    missing = series.missing_hours(needed, ends)
    if missing:
        raise _not_covered(read, missing, needed, ends, history_s, zone)
    warnings: list[Message] = []
    if place is not None:
        within = _within(read.table, needed, ends)
        warnings += oddities(_air(read.table, within), place=place)
    series = replace(series, warnings=(*series.warnings, *warnings))
    return series if now is None else _dated(series, read, path, now, zone)


def weather_from_text(text: str, *, source: Path) -> HourlySeries:
    """`read_weather_csv` for text already in memory; `source` names it in messages."""
    if not text.strip():
        raise InputError("the file is empty", cure=_WANTED.content, source=source)
    return _parse(Decoded(text, "UTF-8"), source, None).series


# Reading


class _Read:
    """A file's series with the rows it was made of."""

    def __init__(self, series: HourlySeries, table: Table, stated: FileNotes) -> None:
        self.series = series
        self.table = table
        self.stated = stated
        noted = [note for note in stated.notes if note.code == "weather.accepted"]
        names = (name for note in noted for name in str(note.values["names"]).split(", "))
        self.accepted = stated.accepted | frozenset(names)


def _parse(decoded: Decoded, path: Path, site: tzinfo | None) -> _Read:
    comments, body, first_line = split_comments(decoded.text)
    stated = read_comments(comments, source=str(path))
    table = read_table(
        body,
        first_line=first_line,
        source=path,
        site=site,
        zone_text=stated.zone,
        zone_remarks=stated.zone_said,
        date_order=stated.date_order,
        origins=len(stated.origins),
    )
    _require_span(table)
    origins = stated.origins or (
        WeatherOrigin(
            label=path.name,
            kind="file",
            licence=stated.licence,
            attribution=stated.attribution,
        ),
    )
    raw = RawRows(
        epoch_s=table.epoch_s,
        temp_c=table.temp_c,
        dew_c=table.dew_c,
        cloud_frac=table.cloud_frac,
        origin=table.origin,
    )
    phase_s = _phase_s(table)
    raw, averaged = hour_means(raw, phase_s=phase_s)
    raw, origins, coarse, stepped = hours_between(raw, origins=origins, phase_s=phase_s)
    series = hourly_from_rows(raw, origins=origins, phase_s=phase_s)
    series = replace(
        series,
        gaps=(*coarse, *series.gaps),
        notes=(*table.remarks, *averaged, *stepped, *series.notes),
    )
    return _Read(_with_notes(series, stated, _guessed(decoded, table)), table, stated)


def _guessed(decoded: Decoded, table: Table) -> tuple[Message, ...]:
    """All that was guessed, in one line."""
    how = table.how
    if decoded.encoding != "UTF-8":
        how = (Message("read.encoding", {"encoding": decoded.encoding}), *how)
    return (Message("weather.read_as", {"how": how}),) if how else ()


def _with_notes(
    series: HourlySeries, stated: FileNotes, remarks: tuple[Message, ...]
) -> HourlySeries:
    def is_named(gap: Gap) -> bool:
        return any(
            known.what == gap.what and known.starts <= gap.ends and gap.starts <= known.ends
            for known in stated.gaps
        )

    accepted: tuple[Message, ...] = ()
    if stated.accepted:
        accepted = (Message("weather.accepted", {"names": ", ".join(sorted(stated.accepted))}),)
    return replace(
        series,
        gaps=(*stated.gaps, *(gap for gap in series.gaps if not is_named(gap))),
        notes=(*stated.notes, *remarks, *accepted, *series.notes),
        warnings=stated.warnings,
    )


def _require_span(table: Table) -> None:
    first_s, last_s = float(table.epoch_s[0]), float(table.epoch_s[-1])
    last = table.lines.size - 1
    if (last_s - first_s) > _LONGEST_SPAN_H * HOUR_S:
        raise table.fault(
            last,
            "time",
            f"more than 20 years after line {table.lines[0]}",
            "check the year, or cut the file to the weeks around the job",
        )
    phase_s = _phase_s(table)
    if np.ceil((first_s - phase_s) / HOUR_S) > (last_s - phase_s) // HOUR_S:
        raise table.fault(
            last,
            "time",
            "no whole hour lies within the rows",
            "give at least the hours of the job and of the days before it",
        )
    steps = np.diff(table.epoch_s)
    if steps.size > 1 and np.median(steps) > COARSEST_STEP_S:
        raise table.fault(
            1,
            "time",
            f"rows lie {np.median(steps) / HOUR_S:.0f} h apart, too far to tell a night by",
            "use a record with a row for every hour, or every three",
        )


def _phase_s(table: Table) -> float:
    """Where whole hours of the file's own offset stand past the UTC hour."""
    phases = np.unique(np.mod(table.offset_s, HOUR_S))
    return float(-phases[0] % HOUR_S) if phases.size == 1 else 0.0


# Asking


def _ask(
    read: _Read, needed: datetime, ends: datetime, *, zone: tzinfo, place: Place | None
) -> None:
    """Refuse rows of the job and its history that cannot be, until they are accepted."""
    table = read.table
    within = _within(table, needed, ends)
    if not within.any():
        return
    rows = np.flatnonzero(within)
    for question in questions(_air(table, within), zone=zone, place=place):
        if question.name not in read.accepted:
            row = int(rows[question.row])
            raise table.fault(row, question.role, question.problem, question.cure)


def _within(table: Table, needed: datetime, ends: datetime) -> NDArray[np.bool_]:
    after = table.epoch_s >= needed.timestamp() - HOUR_S
    return np.asarray(after & (table.epoch_s <= ends.timestamp() + HOUR_S))


def _air(table: Table, within: NDArray[np.bool_]) -> Air:
    return Air(
        epoch_s=table.epoch_s[within],
        temp_c=table.temp_c[within],
        dew_c=table.dew_c[within],
        humidity_frac=table.humidity_frac[within],
        fahrenheit=table.fahrenheit,
        guessed_zone=table.guessed_zone,
        has_dew="dew" in table.names,
    )


def _not_covered(
    read: _Read,
    missing: tuple[datetime, ...],
    needed: datetime,
    ends: datetime,
    history_s: float,
    zone: tzinfo,
) -> InputError:
    series, table = read.series, read.table
    if missing[-1] > series.ends:
        problem = (
            f"add the hours up to {_stamp(ends, zone)}: the file ends at "
            f"{_stamp(series.ends, zone)}"
        )
        line = table.lines[-1]
    elif missing[0] < series.starts:
        problem = (
            f"add the hours back to {_stamp(needed, zone)}, {history_s / HOUR_S:g} h before "
            f"the job, for the slab: the file starts at {_stamp(series.starts, zone)}"
        )
        line = table.lines[0]
    else:
        problem = f"add the air temperature of {_spans(missing, zone)}: none is given"
        line = table.lines[int(np.searchsorted(table.epoch_s, missing[0].timestamp(), "right"))]
    return InputError(
        problem,
        cure='or use another file, or source = "station"',
        source=table.source,
        line=int(line),
        key="time",
    )


def _spans(hours: tuple[datetime, ...], zone: tzinfo) -> str:
    """The longest run, and how many hours more are missing."""
    runs: list[list[datetime]] = []
    for hour in hours:
        if runs and (hour - runs[-1][-1]).total_seconds() == HOUR_S:
            runs[-1].append(hour)
        else:
            runs.append([hour])
    longest = max(runs, key=len)
    gap = f"{len(longest)} h ({_stamp(longest[0], zone)} to {_stamp(longest[-1], zone)})"
    others = len(hours) - len(longest)
    return f"{gap} and {others} h more" if others else gap


def _stamp(when: datetime, zone: tzinfo) -> str:
    local = utc_of(when.timestamp()).astimezone(zone)
    return local.isoformat(sep=" ", timespec="minutes")


# Ages


def _dated(
    series: HourlySeries, read: _Read, path: Path, now: datetime, zone: tzinfo
) -> HourlySeries:
    """Rows from after a plain file was issued, or written, as the forecast they are."""
    if read.stated.origins:
        return series
    written_at = utc_of(path.stat().st_mtime)
    issued_at, guessed = _issued_at(read, path, latest=min(now, written_at), zone=zone)
    if issued_at is not None and issued_at > now + _CLOCK_SLACK:
        ahead_h = (issued_at - now).total_seconds() / HOUR_S
        raise InputError(
            f"says it was issued {ahead_h:.0f} h in the future",
            cure="check the `# issued:` line, this machine's clock and --now",
            source=path,
            key="# issued",
            value=issued_at.isoformat(),
        )
    clock = utc_of(time.time())
    if issued_at is None and written_at > max(now, clock) + _CLOCK_SLACK:
        ahead_h = (written_at - clock).total_seconds() / HOUR_S
        warning = Message("weather.file_ahead", {"label": path.name, "ahead_h": ahead_h})
        return replace(series, warnings=(*series.warnings, warning))
    series = _with_guessed_issue(series, guessed, issued_at)
    since = issued_at or written_at
    # Written after the night it is planned for: a record looked at with hindsight.
    if since > now + _CLOCK_SLACK:
        return series
    ahead = series.epoch_s > since.timestamp()
    if not ahead.any():
        return series
    made = {"issued_at": issued_at, "written_at": None if issued_at else written_at}
    twins = tuple(
        replace(one, kind="forecast" if one.kind == "file" else one.kind, **made)  # type: ignore[arg-type]
        for one in series.origins
    )
    origin = np.where(ahead, series.origin + len(series.origins), series.origin)
    used = np.unique(origin)
    both = (*series.origins, *twins)
    return replace(
        series,
        origin=np.searchsorted(used, origin),
        origins=tuple(both[number] for number in used),
    )


def _with_guessed_issue(
    series: HourlySeries, words: str, issued_at: datetime | None
) -> HourlySeries:
    """With the day that was guessed for an issue told without one, in the line of guesses."""
    if not words or issued_at is None:
        return series
    guess = Message("read.issued", {"words": words, "issued_at": issued_at.isoformat()})
    notes = [note for note in series.notes if note.code != "weather.read_as"]
    before = [note.values["how"] for note in series.notes if note.code == "weather.read_as"]
    how = (*(before[0] if before else ()), guess)  # type: ignore[misc]
    return replace(series, notes=(Message("weather.read_as", {"how": how}), *notes))


def _issued_at(
    read: _Read, path: Path, *, latest: datetime, zone: tzinfo
) -> tuple[datetime | None, str]:
    """When the file says that its forecast was made, and its words if they name no day."""
    table, stated = read.table, read.stated
    shifts = np.unique(table.offset_s)
    if not table.guessed_zone and shifts.size == 1:
        zone = timezone(timedelta(seconds=float(shifts[0])))
    known = Known(
        rows=(utc_of(float(table.epoch_s[0])), utc_of(float(table.epoch_s[-1]))),
        latest=latest,
        zone=zone,
    )
    if stated.issued is not None:
        when = _settled(stated.issued, known, path, strict=True)
        return when, _undated(stated.issued[0])
    cells = table.texts.get("issued", ())
    ahead: dict[str, int] = {}
    for text, at_s, line in zip(cells, table.epoch_s, table.lines, strict=False):
        if at_s > latest.timestamp() and text.strip():
            ahead.setdefault(text, int(line))
    words = (*ahead.items(), *stated.made, *table.made)
    found = [(_settled(one, known, path, strict=False), one[0]) for one in words]
    dated = [(when, text) for when, text in found if when is not None]
    when, text = min(dated, default=(None, ""))
    return when, _undated(text)


def _undated(words: str) -> str:
    return "" if names_a_day(plain_letters(words)) else words


def _settled(
    said: tuple[str, int], known: Known, path: Path, *, strict: bool
) -> datetime | None:
    """The one instant that words mean; asked for where they mean two, or must mean one."""
    words, line = said
    found = issued_in(plain_letters(words), known)
    if len(found) == 1 or not (strict or found):
        return found[0] if found else None
    problem = "may be " + " or ".join(f"{at:%Y-%m-%d %H:%M} UTC" for at in found)
    raise InputError(
        problem if found else "not understood",
        cure="put `# issued: 2013-07-17T06:00-04:00` on top, a time with its offset",
        source=path,
        line=line,
        key="# issued",
        value=words,
    )
