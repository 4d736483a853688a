"""What finished jobs teach: readings for `fit`, and how past predictions fared."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cureplan.job.model import Job
from cureplan.job.reading import Reading
from cureplan.job.record import ClockOutcome, FinishedJob, read_records

__all__ = ["Fares", "PastFares", "fares_of_job", "past_fares", "readings_of"]

NEWEST = 60
"""So many finished jobs tell how predictions fare now; a season or two: invented."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fares:
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
class PastFares:
    """How past predictions fared, over all and by milestone."""

    jobs: int
    holds_frac: float
    overall: Fares
    milestones: dict[str, Fares]


def readings_of(
    records: Iterable[FinishedJob], *, card: str, milestones: Sequence[str]
) -> tuple[Reading, ...]:
    """Finished jobs as readings, as far as they are of one card and say how warm it was.

    Parameters
    ----------
    records : iterable of FinishedJob
        Finished jobs.
    card : str
        Name of the card to learn about.
    milestones : sequence of str
        Names on that card; clocks of others are passed over.

    Returns
    -------
    tuple of Reading
        A kit's clocks share a batch, so that its speed counts once.
    """
    found = []
    for record in records:
        if record.card != card:
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
    )


def past_fares(records: Sequence[FinishedJob]) -> PastFares | None:
    """How predictions fared: error in minutes, and how often the interval held.

    Parameters
    ----------
    records : sequence of FinishedJob
        Finished jobs.

    Returns
    -------
    PastFares or None
        None where there is no record.
    """
    clocks = [clock for record in records for clock in record.clocks]
    if not clocks:
        return None
    stated = sum(record.holds_frac * len(record.clocks) for record in records)
    names = dict.fromkeys(clock.milestone for clock in clocks)
    return PastFares(
        jobs=len(records),
        holds_frac=stated / len(clocks),
        overall=_fares(clocks),
        milestones={
            name: _fares([clock for clock in clocks if clock.milestone == name])
            for name in names
        },
    )


def fares_of_job(job: Job) -> PastFares | None:
    """How past predictions with a job's own cards fared, from the records it names.

    Parameters
    ----------
    job : Job
        Its `records` is the folder.

    Returns
    -------
    PastFares or None
        None without a folder, or where no record is of these cards.

    Raises
    ------
    InputError
        A record cannot be used.
    """
    if job.records is None or not job.records.exists():
        return None
    keys = (job.cards.slurry.key, job.cards.topcoat.key)
    return past_fares(
        [done for done in read_records(job.records, newest=NEWEST) if done.card in keys]
    )


def _fares(clocks: Sequence[ClockOutcome]) -> Fares:
    count = len(clocks)
    inside = sum(clock.inside for clock in clocks)
    low, high = _wilson(inside, count)
    return Fares(
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
