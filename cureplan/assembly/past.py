"""How past predictions fared, as far as a plan tells it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cureplan.plan import Source
from cureplan.say import Say

if TYPE_CHECKING:
    from cureplan.job.record_fares import PastFares

__all__ = ["past_sources", "past_warnings"]


def past_sources(past: PastFares | None) -> tuple[Source, ...]:
    """One source that says by how much past predictions erred, and how many held."""
    if past is None:
        return ()
    fares = past.overall
    bias = "longer" if fares.mean_error_s >= 0 else "shorter"
    detail = Say(
        "source.record",
        {
            "jobs": past.jobs,
            "clocks": fares.count,
            "miss_min": round(fares.mean_miss_s / 60.0, 2),
            "bias_min": round(abs(fares.mean_error_s) / 60.0, 2),
            "bias": bias,
            "inside_frac": round(fares.inside_frac, 4),
            "holds_frac": round(past.holds_frac, 4),
        },
    )
    return (Source(kind="record", label="records", licence=None, generic=False, detail=detail),)


def past_warnings(past: PastFares | None) -> tuple[Say, ...]:
    """A warning where the stated intervals held less often than they claim, beyond chance."""
    if past is None or past.overall.inside_high_frac >= past.holds_frac:
        return ()
    values = {
        "inside_frac": round(past.overall.inside_frac, 4),
        "holds_frac": round(past.holds_frac, 4),
    }
    return (Say("warn.past", dict(values)),)
