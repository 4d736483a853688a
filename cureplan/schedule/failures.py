"""Why no plan keeps every limit, in one line a foreman can act on."""

from __future__ import annotations

from collections.abc import Mapping

from cureplan.job.model import Job
from cureplan.planning.pour import RoomPours
from cureplan.schedule.outcome import Failure, Schedule
from cureplan.schedule.relax import relaxations

__all__ = ["explain"]


def explain(job: Job, schedule: Schedule, pours: Mapping[str, RoomPours]) -> str:
    """Name what found no place, and the cheapest changes that would let a plan be found.

    Parameters
    ----------
    job : Job
        For its zone and limits.
    schedule : Schedule
        The attempt, with at least one failure.
    pours : mapping
        The job's rooms, to try changes on.

    Returns
    -------
    str
        One line.
    """
    said = _sentence(schedule.failures[0])
    ways = " - or ".join(change.words for change in relaxations(job, pours))
    helps = f"what would do: {ways}" if ways else "no single change that was tried would do"
    return f"no order and start keeps every limit: {said}; {helps}"


def _sentence(failure: Failure) -> str:
    room = failure.room
    if failure.limit == "pour shifts":
        if failure.found_s <= 0:
            return f"pouring {room} finds no pour shift in the access time"
        return (
            f"pouring {room} takes {_span(failure.wanted_s)}, but no pour shift has more than "
            f"{_span(failure.found_s)} after set-up"
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


def _span(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"
