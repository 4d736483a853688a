"""Why no plan keeps every limit, in one line a foreman can act on."""

from __future__ import annotations

from datetime import datetime, timedelta

from cureplan.job.model import Job
from cureplan.schedule.changes import OPENING, span_text
from cureplan.schedule.outcome import Failure, Schedule

__all__ = ["explain"]

MOST_NAMED = 3


def explain(schedule: Schedule, job: Job, *, known_until: datetime) -> str:
    """Name what found no place, and the cheapest changes that would let a plan be found.

    Parameters
    ----------
    schedule : Schedule
        The attempt, with at least one failure.
    job : Job
        What was asked for.
    known_until : datetime
        Aware; last hour of the weather. A later opening than it tells cannot be tried.

    Returns
    -------
    str
        One line.
    """
    said = f"no order and start keeps every limit: {_sentence(schedule.failures[0])}"
    if schedule.relaxed is None:
        return said
    ways = "; or ".join(change.words for change in schedule.relaxed[:MOST_NAMED])
    if ways:
        return f"{said}; what would do: {ways}"
    said = f"{said}; no change that was tried would do"
    if known_until < job.access.open_by + timedelta(minutes=OPENING.most_min):
        until = known_until.astimezone(job.site.zone)
        return (
            f"{said}; the weather given ends {until:%a %d %b %H:%M}, and no later opening "
            "could be tried"
        )
    return said


def _sentence(failure: Failure) -> str:
    room = failure.room
    if failure.limit == "pour shifts":
        if failure.found_s <= 0:
            return f"pouring {room} finds no pour shift in the access time"
        return (
            f"pouring {room} takes {span_text(failure.wanted_s)}, but no pour shift has "
            f"more than {span_text(failure.found_s)} after set-up"
        )
    if failure.limit == "alone":
        return (
            f"{room}, even by itself, finds no pour, coats and opening that fit the shifts, "
            "the windows between dry and too old, and the hour it is wanted"
        )
    if failure.limit == "pours together":
        return (
            f"with the other rooms poured first, {room} finds no place in a pour shift from "
            "which its coats and its opening would still be in time"
        )
    if failure.limit.startswith("coat "):
        return (
            f"{room} finds no place for its {failure.limit} between dry and too old, in a "
            "topcoat shift, with a dry slab and a way out, and open in time after it"
        )
    return "each room has a place, but not all together"
