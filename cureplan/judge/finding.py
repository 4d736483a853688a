"""What the judge finds, and when two amounts differ."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import tzinfo
from typing import Literal

from cureplan.core.clock import from_epoch_s
from cureplan.core.errors import CurePlanError

__all__ = [
    "MARGIN_TOL_S",
    "WINDOW_TOL_S",
    "Finding",
    "PlanRefusedError",
    "Rule",
    "Unit",
    "miscounted",
    "mismeasured",
    "wall_clock",
]

Rule = Literal[
    "hours",
    "buckets",
    "kits",
    "tie-in",
    "margins",
    "pours",
    "way out",
    "limits",
    "primers",
    "coats",
    "opening",
    "calls",
    "people",
    "ice",
    "takeoff",
    "risk",
]
Unit = Literal["min", "K", "°C", "m", "m2", "m3", "kg", "share", "count"]

MARGIN_TOL_S = 6.0
"""Plans are written to the second; the rest is for two ways of integrating: invented."""

WINDOW_TOL_S = 120.0
"""Hours-long windows bound on hourly slab temperatures, read two ways: invented."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One rule the plan breaks, where, and by how much."""

    rule: Rule
    room: str | None
    what: str
    off_by: float
    unit: Unit


class PlanRefusedError(CurePlanError):
    """The judge does not confirm a plan; it must not be shown as one."""

    # Planner and judge of one package disagree: a fault of ours.
    exit_code = 70
    shown = 3

    def __init__(self, findings: tuple[Finding, ...]) -> None:
        self.findings = findings
        first = "; ".join(f"{item.rule}: {item.what}" for item in findings[: self.shown])
        rest = len(findings) - self.shown
        more = f"; and {rest} more" if rest > 0 else ""
        super().__init__(f"the plan was checked and is refused: {first}{more}")


def wall_clock(at_s: float, zone: tzinfo) -> str:
    """Local day and time of an instant, for a finding's line.

    Examples
    --------
    >>> from datetime import timezone
    >>> wall_clock(86400.0, timezone.utc)
    '02 Jan 00:00:00'
    """
    if at_s in (float("inf"), float("-inf")) or at_s != at_s:
        return "never within the hours given"
    return from_epoch_s(at_s).astimezone(zone).strftime("%d %b %H:%M:%S")


def mismeasured(
    rule: Rule,
    room: str | None,
    label: str,
    got: float,
    want: float,
    *,
    within: float,
    unit: Unit,
) -> Iterator[Finding]:
    """A finding where an amount is not the one re-derived, to `within`."""
    # "not within", so that NaN is found too.
    if not abs(got - want) <= within:
        where = "" if room is None else f"{room}: "
        yield Finding(
            rule=rule,
            room=room,
            what=f"{where}{label} is given as {got:.5g} {unit}, re-derived as {want:.5g}",
            off_by=abs(got - want),
            unit=unit,
        )


def miscounted(
    rule: Rule, room: str | None, label: str, got: int, want: int
) -> Iterator[Finding]:
    """A finding where a count is not the one re-derived."""
    yield from mismeasured(rule, room, label, got, want, within=0.0, unit="count")
