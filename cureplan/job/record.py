"""Record of finished jobs: what was expected of each clock, and what happened.

One TOML file per job in a folder the user names, open to any editor.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from cureplan.errors import InputError
from cureplan.job.document import Document, parse_document, read_document
from cureplan.job.faults import Fault, as_errors, first_error, validated
from cureplan.job.record_schema import ClockEntry, RecordFile

__all__ = [
    "ClockOutcome",
    "FinishedJob",
    "read_record",
    "read_record_text",
    "read_records",
    "record_name",
    "record_text",
]

_WHAT = "record of a finished job"
MOST_RECORDS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockOutcome:
    """One clock of one batch, from its start [s]; NaN is what was not read."""

    milestone: str
    place: str
    batch: int
    expected_s: float
    soonest_s: float
    latest_s: float
    watched_s: float
    at_c: float
    """Of a coat or sample that kept one temperature; buckets have the next four."""
    liquids_c: float
    filler_c: float
    air_c: float
    slab_c: float
    poured_s: float
    humidity_frac: float

    @property
    def inside(self) -> bool:
        """Whether the stated interval held what happened."""
        return self.soonest_s <= self.watched_s <= self.latest_s

    @property
    def error_s(self) -> float:
        """Watched minus expected."""
        return self.watched_s - self.expected_s


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishedJob:
    """What one job expected of its batches, and what they did."""

    job: str
    card: str
    finished: datetime
    holds_frac: float
    """Share of cases the stated intervals were meant to hold."""
    clocks: tuple[ClockOutcome, ...]


def read_record(path: Path) -> FinishedJob:
    """Read one finished job.

    Raises
    ------
    InputError
        The file cannot be used: file, line, key, value and cure.
    """
    return _read(read_document(path, what=_WHAT))


def read_record_text(text: str, *, source: Path) -> FinishedJob:
    """Read a finished job from a text that is said to stand in `source`.

    Raises
    ------
    InputError
        As `read_record`.
    """
    return _read(parse_document(text, source=source, what=_WHAT))


def read_records(folder: Path, *, newest: int | None = None) -> tuple[FinishedJob, ...]:
    """Every finished job in a folder, by name of its file.

    Parameters
    ----------
    folder : Path
        Holds one TOML file per job; other files are left alone.
    newest : int, optional
        Read only so many, the last by name, which begins with the day.

    Returns
    -------
    tuple of FinishedJob
        May be empty.

    Raises
    ------
    InputError
        No such folder, too many files, or one that cannot be used.
    """
    try:
        if not folder.is_dir():
            raise InputError(
                "there is no such folder", cure="name the folder of records", source=folder
            )
        paths = sorted(path for path in folder.iterdir() if path.suffix == ".toml")
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            "the folder cannot be read", cure="check its permissions", source=folder
        ) from error
    if len(paths) > MOST_RECORDS:
        raise InputError(
            f"more than {MOST_RECORDS} records", cure="split the folder by year", source=folder
        )
    return tuple(read_record(path) for path in paths[-newest if newest else 0 :])


def _read(document: Document) -> FinishedJob:
    record, faults = validated(RecordFile, document)
    if record is not None:
        faults = [
            fault
            for number, entry in enumerate(record.clocks)
            if (fault := _interval_fault(entry, number))
        ]
    if record is None or faults:
        raise first_error(as_errors(faults, document))
    return FinishedJob(
        job=record.job,
        card=record.card,
        finished=record.finished,
        holds_frac=record.holds_frac,
        clocks=tuple(_outcome(entry) for entry in record.clocks),
    )


def _interval_fault(entry: ClockEntry, number: int) -> Fault | None:
    if entry.soonest_s <= entry.expected_s <= entry.latest_s:
        return None
    return Fault(
        path=("clocks", number, "expected"),
        problem="it does not lie between soonest and latest",
        cure="check the three",
    )


def _outcome(entry: ClockEntry) -> ClockOutcome:
    def known(value: float | None) -> float:
        return math.nan if value is None else value

    return ClockOutcome(
        milestone=entry.milestone,
        place=entry.place,
        batch=entry.batch,
        expected_s=entry.expected_s,
        soonest_s=entry.soonest_s,
        latest_s=entry.latest_s,
        watched_s=entry.watched_s,
        at_c=known(entry.at_c),
        liquids_c=known(entry.liquids_c),
        filler_c=known(entry.filler_c),
        air_c=known(entry.air_c),
        slab_c=known(entry.slab_c),
        poured_s=known(entry.poured_s),
        humidity_frac=known(entry.humidity_frac),
    )


def record_text(record: FinishedJob) -> str:
    """A finished job as TOML, which `read_record` reads back.

    Examples
    --------
    >>> from datetime import UTC
    >>> clock = ClockOutcome(milestone="working_time", place="Cook line", batch=3,
    ...     expected_s=672.0, soonest_s=540.0, latest_s=834.0, watched_s=630.0,
    ...     at_c=math.nan, liquids_c=4.0, filler_c=29.0, air_c=31.0, slab_c=31.5,
    ...     poured_s=240.0, humidity_frac=math.nan)
    >>> job = FinishedJob(job="School", card="fast-slurry", holds_frac=0.9,
    ...     finished=datetime(2013, 7, 20, 10, tzinfo=UTC), clocks=(clock,))
    >>> read_record_text(record_text(job), source=Path("x.toml")).clocks[0].inside
    True
    """
    lines = [
        "# A finished job: what was expected of each clock, and what was watched.",
        f"job = {_quoted(record.job)}",
        f"card = {_quoted(record.card)}",
        f"finished = {record.finished.isoformat(timespec='seconds')}",
        f'holds = "{_plain(100 * record.holds_frac)} %"',
    ]
    for clock in record.clocks:
        lines += ["", "[[clocks]]", *_clock_lines(clock)]
    return "\n".join(lines) + "\n"


def _clock_lines(clock: ClockOutcome) -> list[str]:
    lines = [
        f"milestone = {_quoted(clock.milestone)}",
        f"place = {_quoted(clock.place)}",
        f"batch = {clock.batch}",
    ]
    for key in ("expected", "soonest", "latest", "watched", "poured"):
        seconds = getattr(clock, f"{key}_s")
        if not math.isnan(seconds):
            lines.append(f'{key} = "{_plain(seconds / 60)} min"')
    for key in ("at", "liquids", "filler", "air", "slab"):
        temp_c = getattr(clock, f"{key}_c")
        if not math.isnan(temp_c):
            lines.append(f'{key} = "{_plain(temp_c)} C"')
    if not math.isnan(clock.humidity_frac):
        lines.append(f'humidity = "{_plain(100 * clock.humidity_frac)} %"')
    return lines


def _plain(value: float) -> str:
    text = f"{value + 0.0:.9f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _quoted(text: str) -> str:
    kept = "".join(sign if sign.isprintable() else " " for sign in text)
    escaped = kept.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def record_name(record: FinishedJob) -> str:
    """File name of a record: its day and its job.

    Examples
    --------
    >>> from datetime import UTC
    >>> record_name(FinishedJob(job="Fernbank school / kitchen", card="x", holds_frac=0.9,
    ...     finished=datetime(2013, 7, 20, 10, tzinfo=UTC), clocks=()))
    '2013-07-20-fernbank-school-kitchen.toml'
    """
    plain = re.sub(r"[^a-z0-9]+", "-", record.job.lower()).strip("-") or "job"
    return f"{record.finished:%Y-%m-%d}-{plain[:60]}.toml"
