"""Records of finished jobs, and how past predictions fared."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from cureplan.core import quantities as q
from cureplan.core.errors import InputError
from cureplan.core.quantities import refusal
from cureplan.inputs.faults import Fault, as_errors, first_error, validated
from cureplan.inputs.fields import (
    LiquidTemperatureC,
    Name,
    Reads,
    RoomTemperatureC,
    SurfaceTemperatureC,
    Written,
    quantity,
    whole,
)
from cureplan.inputs.files import Document, parse_document, read_document
from cureplan.inputs.job.model import Job
from cureplan.inputs.tables.readings import Reading
from cureplan.inputs.toml_text import key_line, plain

__all__ = [
    "ClockEntry",
    "ClockOutcome",
    "CoatOutcome",
    "FinishedJob",
    "PastScores",
    "PredictionScore",
    "RecordFile",
    "past_scores",
    "read_record",
    "read_record_text",
    "read_records",
    "readings_of",
    "record_name",
    "record_text",
    "scores_of_job",
]


def _read_finished(value: Any) -> datetime:
    cure = "write it without quotes and with its offset, like 2013-07-20T06:00:00-04:00"
    if not isinstance(value, datetime):
        raise refusal(value, "this is not a date with a time", cure)
    if value.tzinfo is None:
        raise refusal(value, "the time lacks its offset from UTC", cure)
    return value


Watched = Annotated[
    float, quantity(q.parse_duration_s, "11.5 min", above="0 s", at_most="31 d")
]
Sample = Annotated[
    float, quantity(q.parse_temperature_c, "84 F", at_least="0 C", at_most="60 C")
]
Humidity = Annotated[float, quantity(q.parse_fraction, "55 %", at_least="1 %")]


Instant = Annotated[
    datetime,
    Reads(
        read=_read_finished,
        shape={"type": "string", "format": "date-time"},
        example="2013-07-20T06:00:00-04:00",
    ),
]


class ClockEntry(Written):
    """One clock of one batch: expected, and watched."""

    milestone: Name
    place: Name
    batch: Annotated[int, whole(at_least=1, at_most=100_000, example="3")]
    expected_s: Watched = Field(alias="expected")
    soonest_s: Watched = Field(alias="soonest")
    latest_s: Watched = Field(alias="latest")
    watched_s: Watched = Field(alias="watched")
    at_c: Sample | None = Field(default=None, alias="at")
    liquids_c: LiquidTemperatureC | None = Field(default=None, alias="liquids")
    filler_c: RoomTemperatureC | None = Field(default=None, alias="filler")
    air_c: RoomTemperatureC | None = Field(default=None, alias="air")
    slab_c: SurfaceTemperatureC | None = Field(default=None, alias="slab")
    poured_s: Watched | None = Field(default=None, alias="poured")
    humidity_frac: Humidity | None = Field(default=None, alias="humidity")


class CoatEntry(Written):
    """One topcoat: how long it was to take, since when it was laid, and how long it took."""

    place: Name
    coat: Annotated[int, whole(at_least=1, at_most=9, example="1")]
    begun: Instant
    expected_s: Watched = Field(alias="expected")
    took_s: Watched | None = Field(default=None, alias="took")
    batches: Annotated[int, whole(at_least=0, at_most=100_000, example="3")] = 0


class RecordFile(Written):
    """A finished job."""

    job: Name
    card: Name
    finished: Instant
    holds_frac: Annotated[
        float, quantity(q.parse_fraction, "90 %", at_least="50 %", at_most="99.9 %")
    ] = Field(alias="holds")
    clocks: Annotated[tuple[ClockEntry, ...], Field(min_length=1, strict=False)]
    coats: Annotated[tuple[CoatEntry, ...], Field(strict=False)] = ()


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
class CoatOutcome:
    """One topcoat as it was ticked; `took_s` is NaN where nobody said when it was done."""

    place: str
    coat: int
    begun: datetime
    expected_s: float
    took_s: float = math.nan
    batches: int = 0
    """Batches whose mixing was ticked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishedJob:
    """What one job expected of its batches, and what they did."""

    job: str
    card: str
    finished: datetime
    holds_frac: float
    """Share of cases the stated intervals were meant to hold."""
    clocks: tuple[ClockOutcome, ...]
    coats: tuple[CoatOutcome, ...] = ()


def read_record(path: Path) -> FinishedJob:
    """Read one finished job."""
    return _read(read_document(path, what=_WHAT))


def read_record_text(text: str, *, source: Path) -> FinishedJob:
    """Read a finished job from a text that is said to stand in `source`."""
    return _read(parse_document(text, source=source, what=_WHAT))


def read_records(folder: Path, *, newest: int | None = None) -> tuple[FinishedJob, ...]:
    """Every finished job in a folder, by name of its file."""
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
        coats=tuple(
            CoatOutcome(
                place=entry.place,
                coat=entry.coat,
                begun=entry.begun,
                expected_s=entry.expected_s,
                took_s=math.nan if entry.took_s is None else entry.took_s,
                batches=entry.batches,
            )
            for entry in record.coats
        ),
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
        key_line("job", record.job),
        key_line("card", record.card),
        f"finished = {record.finished.isoformat(timespec='seconds')}",
        key_line("holds", f"{plain(100 * record.holds_frac, digits=9)} %"),
    ]
    for clock in record.clocks:
        lines += ["", "[[clocks]]", *_clock_lines(clock)]
    for coat in record.coats:
        lines += ["", "[[coats]]", *_coat_lines(coat)]
    return "\n".join(lines) + "\n"


def _clock_lines(clock: ClockOutcome) -> list[str]:
    values: dict[str, str | int] = {
        "milestone": clock.milestone,
        "place": clock.place,
        "batch": clock.batch,
    }
    for key in ("expected", "soonest", "latest", "watched", "poured"):
        seconds = getattr(clock, f"{key}_s")
        if not math.isnan(seconds):
            values[key] = f"{plain(seconds / 60, digits=9)} min"
    for key in ("at", "liquids", "filler", "air", "slab"):
        temp_c = getattr(clock, f"{key}_c")
        if not math.isnan(temp_c):
            values[key] = f"{plain(temp_c, digits=9)} C"
    if not math.isnan(clock.humidity_frac):
        values["humidity"] = f"{plain(100 * clock.humidity_frac, digits=9)} %"
    return [key_line(key, value) for key, value in values.items()]


def _coat_lines(coat: CoatOutcome) -> list[str]:
    lines = [
        key_line("place", coat.place),
        key_line("coat", coat.coat),
        f"begun = {coat.begun.isoformat(timespec='seconds')}",
        key_line("expected", f"{plain(coat.expected_s / 60, digits=9)} min"),
    ]
    if not math.isnan(coat.took_s):
        lines.append(key_line("took", f"{plain(coat.took_s / 60, digits=9)} min"))
    return [*lines, key_line("batches", coat.batches)] if coat.batches else lines


def record_name(record: FinishedJob) -> str:
    """File name of a record: its day and its job.

    Examples
    --------
    >>> from datetime import UTC
    >>> record_name(FinishedJob(job="Example school / kitchen", card="x", holds_frac=0.9,
    ...     finished=datetime(2013, 7, 20, 10, tzinfo=UTC), clocks=()))
    '2013-07-20-example-school-kitchen.toml'
    """
    plain = re.sub(r"[^a-z0-9]+", "-", record.job.lower()).strip("-") or "job"
    return f"{record.finished:%Y-%m-%d}-{plain[:60]}.toml"


NEWEST = 60
"""So many finished jobs tell how predictions fare now; a season or two: invented."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictionScore:
    """How predictions of one milestone, or of all, fared."""

    count: int
    mean_error_s: float
    """Watched minus expected: above zero, things lasted longer than said."""
    mean_miss_s: float
    """The same without its sign."""
    inside_frac: float
    inside_low_frac: float
    inside_high_frac: float
    """Where the share lies with 95 % confidence, as few clocks say little."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PastScores:
    """How past predictions fared, over all and by milestone."""

    jobs: int
    holds_frac: float
    overall: PredictionScore
    milestones: dict[str, PredictionScore]


def readings_of(
    records: Iterable[FinishedJob], *, card: Iterable[str], milestones: Sequence[str]
) -> tuple[Reading, ...]:
    """Finished jobs as readings, as far as they are of one card and say how warm it was.

    A card has the name of its file and that of its product, which its fits keep.
    """
    found = []
    names = set(card)
    for record in records:
        if record.card not in names:
            continue
        where = f"{record.finished:%Y-%m-%d} {record.job}"
        for number, clock in enumerate(record.clocks, start=1):
            reading = _as_reading(clock, where, number)
            if clock.milestone in milestones and reading is not None:
                found.append(reading)
    return tuple(found)


def _as_reading(clock: ClockOutcome, where: str, number: int) -> Reading | None:
    parts = not math.isnan(clock.liquids_c) and not math.isnan(clock.filler_c)
    poured = parts and not math.isnan(clock.slab_c)
    if not poured and math.isnan(clock.at_c):
        return None
    return Reading(
        source=where,
        line=number,
        kind="bucket" if poured else "cup",
        batch=f"{where}, {clock.place} {clock.batch}",
        milestone=clock.milestone,
        after_s=clock.watched_s,
        temp_c=math.nan if poured else clock.at_c,
        humidity_frac=clock.humidity_frac,
        mass_kg=math.nan,
        liquids_c=clock.liquids_c,
        filler_c=clock.filler_c,
        air_c=clock.air_c,
        slab_c=clock.slab_c,
        poured_s=clock.poured_s,
        note="",
        lot=where,
    )


def past_scores(records: Sequence[FinishedJob]) -> PastScores | None:
    """How predictions fared: error in minutes, and how often the interval held."""
    clocks = [clock for record in records for clock in record.clocks]
    if not clocks:
        return None
    stated = sum(record.holds_frac * len(record.clocks) for record in records)
    names = dict.fromkeys(clock.milestone for clock in clocks)
    return PastScores(
        jobs=len(records),
        holds_frac=stated / len(clocks),
        overall=_score(clocks),
        milestones={
            name: _score([clock for clock in clocks if clock.milestone == name])
            for name in names
        },
    )


def scores_of_job(job: Job) -> PastScores | None:
    """How past predictions with a job's own cards fared, from the records it names."""
    if job.records is None or not job.records.exists():
        return None
    cards = (job.cards.slurry, job.cards.topcoat)
    names = {name for card in cards for name in (card.key, card.product)}
    return past_scores(
        [done for done in read_records(job.records, newest=NEWEST) if done.card in names]
    )


def _score(clocks: Sequence[ClockOutcome]) -> PredictionScore:
    count = len(clocks)
    inside = sum(clock.inside for clock in clocks)
    low, high = _wilson(inside, count)
    return PredictionScore(
        count=count,
        mean_error_s=sum(clock.error_s for clock in clocks) / count,
        mean_miss_s=sum(abs(clock.error_s) for clock in clocks) / count,
        inside_frac=inside / count,
        inside_low_frac=low,
        inside_high_frac=high,
    )


def _wilson(inside: int, count: int, z: float = 1.959963984540054) -> tuple[float, float]:
    """Wilson's 95 % score interval of a share (E. B. Wilson 1927; from memory)."""
    share, over = inside / count, z * z / count
    middle = (share + over / 2) / (1 + over)
    half = z * math.sqrt(share * (1 - share) / count + over / (4 * count)) / (1 + over)
    return middle - half, middle + half
