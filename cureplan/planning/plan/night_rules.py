"""How a night that runs late moves: one table for the sheet and for planning again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["ClockRule", "NightRules", "TaskRule"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskRule:
    """With what one task of a bucket moves."""

    task: str
    moves: Literal["late", "own", "next", "later"]
    """late: the lateness that was said; own: its bucket's pour; next: the pour of the bucket
    that ties into it; later: the later of the two."""
    fixed_by: str | None = None
    """The task from whose begin on nothing that is said moves it any more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockRule:
    """One clock of a bucket."""

    clock: str
    starts: str
    """It runs as late as this task."""
    ends: str
    kept_by: str
    """The task that must come before it ends."""


TASKS = (
    TaskRule(task="liquids_in", moves="late", fixed_by="liquids_in"),
    TaskRule(task="filler_in", moves="late", fixed_by="filler_in"),
    # Mixed material is never held.
    TaskRule(task="pour", moves="late", fixed_by="filler_in"),
    TaskRule(task="raked_by", moves="own"),
    TaskRule(task="smoothed_by", moves="own"),
    TaskRule(task="tied_in", moves="next"),
    TaskRule(task="broadcast_by", moves="later"),
)
CLOCKS = (
    ClockRule(clock="wet_edge", starts="filler_in", ends="wet_edge_end", kept_by="tied_in"),
    ClockRule(
        clock="working_time", starts="filler_in", ends="working_time_end", kept_by="smoothed_by"
    ),
    ClockRule(
        clock="broadcast_closes",
        starts="filler_in",
        ends="broadcast_end",
        kept_by="broadcast_by",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NightRules:
    """What moves with what, and how long something is waited for; all times invented."""

    tasks: tuple[TaskRule, ...] = TASKS
    clocks: tuple[ClockRule, ...] = CLOCKS
    coat_opens: Literal["first", "last"] = "last"
    """The bucket of a floor, by how late it was, that moves when its coat may begin."""
    coat_closes: Literal["first", "last"] = "first"
    """The one that moves when it is too late for its coat."""
    primer_opens: Literal["begun", "laid"] = "laid"
    """The end of a primer that moves when the slurry may go over it."""
    primer_closes: Literal["begun", "laid"] = "begun"
    """The one that moves when it is too old for the slurry."""
    late_after_s: float = 120.0
    """A bucket so long past its time is asked about: poured, or lost?"""
    edge_soon_s: float = 120.0
    """An open edge is warned of so long before it dies."""
    kept_s: float = 1800.0
    """A log that names buckets is taken as complete for this long after its last one; an
    edge is dead by then, so the crew has poured on without writing it down."""
    apart_s: float = 1.0
    """No two buckets of a floor are poured within less."""
    in_mixer_s: float = 600.0
    """A bucket poured so soon after a halt was in the mixer by then."""
    clock_near_s: float = 600.0
    """Ticks so near to whole hours off the plan are rather the phone's clock."""
