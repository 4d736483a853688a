"""How often a plan holds, and what its doubt is made of."""

from __future__ import annotations

from dataclasses import dataclass

from cureplan.core.messages import Message

__all__ = ["DoubtTerm", "Risk"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtTerm:
    """One thing that may turn out otherwise."""

    term: str
    size: Message
    """How far it may be off, 1 SD."""
    costs_frac: float
    """Share of nights that would be saved were this known exactly, all else as unsure."""
    measure: str | None
    """What would take it away; None where nothing does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """How often the plan would hold, given what forecasts and materials do."""

    members: int
    seed: int
    forecast_sd_k: float
    slab_sd_k: float
    late_sd_min: float
    """A crew begins late by the size of a normal draw with this SD."""
    batch_sd_frac: float
    opens_on_time_frac: float
    buckets_keep_frac: float
    coats_keep_frac: float
    no_wait_frac: float
    """No crew stands before a floor on its way that does not bear feet yet; where one does,
    it waits, and what that costs is counted in the windows, shifts and openings."""
    shifts_keep_frac: float
    """Every crew is done before its shift ends."""
    limits_keep_frac: float = 1.0
    """Slab and air keep the cards' limits of temperature while work lasts."""
    all_keep_frac: float
    """After what the plan holds ready: a crew waits, a pour is cut at a stop line."""
    cut_frac: float = 0.0
    """The mixing stops for so long that a pour ends at a stop line: a cost, not a loss."""
    stop_lost_frac: float = 0.0
    """A stop of the mixing where no line is loses a floor that would have held."""
    as_planned_frac: float | None = None
    """All of it holds with no wait and no cut; None in plans that did not count it."""
    tails_cost_frac: float = 0.0
    """Share of nights lost besides, were things far off oftener than a normal draw has it."""
    made_of: tuple[DoubtTerm, ...] = ()
    """What the doubt is made of, what costs most nights first."""
