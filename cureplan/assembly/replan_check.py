"""The judge over a plan made on the night: what is past or told is not held against it."""

from __future__ import annotations

from cureplan.assembly.replan_state import NightState
from cureplan.judge import Finding, PlanRefusedError, judge
from cureplan.plan import Plan

__all__ = ["require_confirmed_rest"]

TOL_MIN = 5.0
"""Slabs corrected on the night fade between whole hours, which the judge reads straight;
about 1 % of an hours-long wait: invented."""


def require_confirmed_rest(plan: Plan, state: NightState) -> None:
    """Raise unless the judge confirms all that is still to be decided.

    Not for a plan made before the night: that one must be confirmed whole.

    Parameters
    ----------
    plan : Plan
        The new plan.
    state : NightState
        What of it is past.

    Raises
    ------
    PlanRefusedError
        Naming the first findings.
    """
    findings = tuple(found for found in judge(plan) if not _past_or_told(found, plan, state))
    if findings:
        raise PlanRefusedError(findings)


def _past_or_told(found: Finding, plan: Plan, state: NightState) -> bool:
    if found.room is None:
        return False
    room = next(room for room in plan.rooms if room.room == found.room)
    begun = found.room in state.floors and state.floors[found.room].done > 0
    if found.rule in ("coats", "opening") and found.unit == "min" and found.off_by < TOL_MIN:
        return True
    told = {
        # The crew of the plan's job is tonight's, the first buckets had another.
        "buckets": begun,
        # A floor begun is where it is; what runs over its shift is told.
        "pours": begun,
        "way out": begun and room.pour_start.timestamp() <= state.now_s,
        "coats": any(c.room == found.room and c.start > c.closes for c in plan.coats),
        "opening": room.opens > room.open_by,
    }
    return told.get(found.rule, False)
