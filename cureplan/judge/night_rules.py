"""What a plan made on the night may break, and why; anything else counts as in any plan."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from cureplan.judge.finding import Finding, Rule
from cureplan.planning.plan.model import Plan

__all__ = ["EXCUSES", "Excuse", "unexcused"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Excuse:
    """Findings of some rules that stand for a room, and the reason."""

    rules: tuple[Rule, ...]
    reason: str
    says: str | None = None
    """The change the plan must state of the room; None: the room must be begun."""
    warns: tuple[str, ...] = ()
    """Warnings, any of which excuses it in whatever room."""


EXCUSES = (
    Excuse(
        rules=("buckets", "pours", "way out", "primers", "limits"),
        reason="what is begun lies where and since when it does, laid by the hands there "
        "were then, over floors, through shifts and on a slab as they were",
    ),
    Excuse(
        rules=("people",),
        reason="whoever is there tonight stays until the floor is closed; the plan says who",
        warns=("warn.over_stay", "warn.short_rest"),
    ),
    Excuse(
        rules=("pours",),
        reason="a floor that runs a little over its shift is dearer left out; the crew is "
        "told to stay or to stop",
        says="replan.past_shift",
    ),
    Excuse(
        rules=("primers",),
        reason="a primer that is too old is poured over all the same, once it is abraded",
        says="replan.primer_old",
    ),
    Excuse(
        rules=("coats",),
        reason="a coat that comes too late still comes, and its floor is abraded first",
        says="replan.coat_late",
    ),
    Excuse(
        rules=("opening", "coats", "calls"),
        reason="a room that cannot open in time is still finished, after the job's access",
        says="replan.opens_late",
    ),
)


def unexcused(plan: Plan, findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings that a plan made on the night has no reason for."""
    night = plan.night
    if night is None:
        return tuple(findings)
    begun = {floor.room for floor in night.poured}
    stated = {(change.code, change.values.get("room")) for change in night.changes}
    warned = {warning.code for warning in plan.warnings}

    def excused(found: Finding) -> bool:
        return any(
            found.rule in excuse.rules
            and (
                not warned.isdisjoint(excuse.warns)
                if excuse.warns
                else found.room is not None and (found.room in begun)
                if excuse.says is None
                else (excuse.says, found.room) in stated
            )
            for excuse in EXCUSES
        )

    return tuple(found for found in findings if not excused(found))
