"""The hours a crew may work in, and the earliest place for a task among them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cureplan.clock import shift_windows
from cureplan.job.model import Job, Shift

__all__ = ["Span", "crew_spans", "earliest_start"]


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Span:
    """A stretch of time [epoch s]."""

    begins_s: float
    ends_s: float

    def meets(self, begins_s: float, ends_s: float) -> bool:
        """Whether another stretch overlaps this one."""
        return begins_s < self.ends_s and self.begins_s < ends_s


def crew_spans(job: Job, shifts: Sequence[Shift]) -> tuple[Span, ...]:
    """Shifts of the job's access time as spans, the access limits cut in."""
    windows = shift_windows(
        shifts, zone=job.site.zone, begins=job.access.begins, ends=job.access.open_by
    )
    return tuple(
        Span(begins_s=window.begins.timestamp(), ends_s=window.ends.timestamp())
        for window in windows
    )


def earliest_start(
    *,
    from_s: float,
    length_s: float,
    spans: Sequence[Span],
    setup_s: float,
    clear_of: Callable[[float], float | None],
) -> float | None:
    """Earliest start of a task that keeps the shifts and is clear of everything else.

    Parameters
    ----------
    from_s : float
        Not before this [epoch s].
    length_s : float
        From start to end [s].
    spans : sequence of Span
        Shifts, in order; a task lies within one.
    setup_s : float
        Set-up at the start of a shift, before the first task [s].
    clear_of : callable
        Given a start, None when nothing is in the way, else a later start to try.

    Returns
    -------
    float or None
        Start [epoch s], or None when no shift holds it.
    """
    for span in spans:
        start = max(from_s, span.begins_s + setup_s)
        while start + length_s <= span.ends_s:
            later = clear_of(start)
            if later is None:
                return start
            start = later
    return None
