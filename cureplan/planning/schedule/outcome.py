"""What a search for a schedule comes back with."""

from __future__ import annotations

from dataclasses import dataclass

from cureplan.core.messages import Message
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour, Windows

__all__ = ["Failure", "Relaxation", "Schedule"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """A hard limit that could not be kept, in which room, and by how much [s]."""

    limit: str
    room: str
    wanted_s: float
    """The limit, or what would be needed."""
    found_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Relaxation:
    """What could give way, and by how much: for the sheets and for an error."""

    say: Message
    also: Message | None
    """The second limit, where one will not do."""
    words: str
    effort_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Pours and coats in time, how good that is, and the hard limits that would not fit."""

    pours: tuple[PlacedPour, ...]
    coats: tuple[PlacedCoat, ...]
    failures: tuple[Failure, ...]
    required_s: float
    orders_tried: int = 0
    solver: str = "constructive"
    proven: bool = False
    """Whether no schedule is better, by the objectives in their order."""
    gap_frac: float | None = None
    """How much sooner, at most, the job could open: share of the time from access to
    opening; None where nobody looked."""
    windows: Windows = "sure"
    stopped: bool = False
    """Whether somebody stopped the search."""
    relaxed: tuple[Relaxation, ...] | None = None
    """What would mend it where it falls short, cheapest first; None where nobody looked."""

    @property
    def least_margin_s(self) -> float:
        """Least margin of any bucket [s]."""
        return min((pour.margin_s for pour in self.pours), default=float("-inf"))

    @property
    def opens_s(self) -> float:
        """When the last room may open [epoch s]."""
        last = {coat.room: coat.after.opens_s for coat in self.coats}
        return max(last.values(), default=float("inf"))

    @property
    def keeps_margins(self) -> bool:
        """Whether every pour keeps the margin to plan on."""
        # Half a second: the policy is stated in minutes.
        return bool(self.pours) and all(
            pour.planning_margin_s >= self.required_s - 0.5 for pour in self.pours
        )

    @property
    def keeps_policy(self) -> bool:
        """Whether margins and windows hold as the job asks."""
        return not self.failures and self.windows == "sure" and self.keeps_margins
