"""Nights of past years with their margins, and how many of them would have held."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

__all__ = ["HALF_S", "Night", "PastMonth", "PastYear", "PourStart", "Tally", "tally"]

HALF_S = 0.5
"""Policies are stated in minutes; a plan forgives half a second, and so does this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PourStart:
    """A room's first bucket, counted from the job's first instant."""

    room: str
    after_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """One night, and the least margin of any room under three rules; NaN if not known.

    A margin is the planning one: the lesser of the expected margin, and of the policy's
    above what holds in the job's share of batches. With more than one way to pour it is
    that of the first that suffices, else the greatest.
    """

    begins: datetime
    outdoor_c: float
    """Mean from the first bucket to the last."""
    as_is_s: float
    """No ice, one bay."""
    without_ice_s: float
    """The job's other remedies, as far as they are needed."""
    with_ice_s: float
    """The same with the liquids of every room iced."""

    @property
    def known(self) -> bool:
        """Whether the weather covers this night."""
        return not math.isnan(self.as_is_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class PastYear:
    """One year's nights of the month, and whose weather it is."""

    year: int
    nights: tuple[Night, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PastMonth:
    """All years, and the plan whose starts were moved from night to night."""

    month: int
    required_s: float
    starts: tuple[PourStart, ...]
    planned_for: datetime
    """First instant of the night that plan was made for."""
    own_weather: bool
    """Whether that was the job's own night."""
    years: tuple[PastYear, ...]
    asked_years: int | None
    """How many were asked for; None for all that could be had."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """Nights counted: known or not, and held under each rule."""

    known: int
    unknown: int
    as_is: int
    without_ice: int
    with_ice: int


def tally(nights: Sequence[Night], *, required_s: float) -> Tally:
    """Count the nights on which every room keeps its margin.

    Parameters
    ----------
    nights : sequence of Night
        Of any number of years.
    required_s : float
        Margin the job asks for [s].

    Returns
    -------
    Tally

    Examples
    --------
    >>> from datetime import UTC
    >>> night = Night(begins=datetime(2013, 7, 1, 23, tzinfo=UTC), outdoor_c=25.0,
    ...               as_is_s=-30.0, without_ice_s=90.0, with_ice_s=119.6)
    >>> found = tally([night], required_s=120.0)
    >>> found.as_is, found.without_ice, found.with_ice
    (0, 0, 1)
    """
    known = [night for night in nights if night.known]
    enough_s = required_s - HALF_S
    return Tally(
        known=len(known),
        unknown=len(nights) - len(known),
        as_is=sum(night.as_is_s >= enough_s for night in known),
        without_ice=sum(night.without_ice_s >= enough_s for night in known),
        with_ice=sum(night.with_ice_s >= enough_s for night in known),
    )
