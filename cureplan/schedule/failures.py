"""Why no plan keeps every limit, in one line a foreman can act on."""

from __future__ import annotations

from datetime import datetime

from cureplan.job.model import Job
from cureplan.schedule.construct import Schedule
from cureplan.schedule.placing import Failure

__all__ = ["explain"]


def explain(job: Job, schedule: Schedule) -> str:
    """Name the limit that came nearest to being kept, by how much it fails, and what helps.

    Parameters
    ----------
    job : Job
        For its zone and limits.
    schedule : Schedule
        The best attempt, with at least one failure.

    Returns
    -------
    str
        One line.
    """
    worst = max(schedule.failures, key=lambda failure: failure.short_s)
    return f"no order and start keeps every limit: {_sentence(job, worst)}"


def _sentence(job: Job, failure: Failure) -> str:
    room, short = failure.room, _span(failure.short_s)
    if failure.limit == "pour shifts":
        longest = "no pour shift falls into the access time"
        if failure.found_s > 0:
            longest = f"the longest free stretch of a pour shift is {_span(failure.found_s)}"
        return (
            f"pouring {room} takes {_span(failure.wanted_s)} but {longest}; lengthen "
            "crew.pour_shifts, open access earlier, or add a mixing station"
        )
    if failure.limit == "topcoat shifts":
        return (
            f"{room} is ready for a topcoat from {_clock(failure.wanted_s, job)} but no "
            "topcoat shift is left; add a shift or let the kitchen open later"
        )
    if failure.limit == "open by":
        return (
            f"{room} would open {_clock(failure.found_s, job)}, {short} after its limit of "
            f"{_clock(failure.wanted_s, job)}; open later, start earlier, or add a shift"
        )
    return (
        f"{room} could get its {failure.limit.removesuffix(' window')} "
        f"{_clock(failure.found_s, job)}, {short} after the floor below is too old to bond "
        f"({_clock(failure.wanted_s, job)}); add a topcoat shift in between, or pour later"
    )


def _span(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"


def _clock(epoch_s: float, job: Job) -> str:
    if epoch_s == float("inf"):
        return "after the weather ends"
    return datetime.fromtimestamp(epoch_s, job.site.zone).strftime("%a %d %b %H:%M")
