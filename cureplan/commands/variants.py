"""Variants of a job, each planned in full and brought down to one row."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from cureplan.errors import NoFeasiblePlanError

if TYPE_CHECKING:
    from cureplan.plan import Plan
    from cureplan.planning.pour import RoomPours
    from cureplan.schedule.compare import ComparedRow, Variant

__all__ = ["compare_variants", "planned_row"]

NO_PLAN = "no order and start keeps every limit: "
FRESH_CALL = "call.set_up"
"""Reason of a call that brings somebody to the site, as against from room to room."""


def compare_variants(
    found: Sequence[Variant], *, now: datetime, step: Callable[[], None] = lambda: None
) -> tuple[ComparedRow, ...]:
    """Plan every variant.

    Parameters
    ----------
    found : sequence of Variant
        From `variants`.
    now : datetime
        Aware; when the plans are made.
    step : callable
        Called after each, for a progress bar.

    Returns
    -------
    tuple of ComparedRow
        In the same order; a variant without a plan is a row that says why.
    """
    rows = []
    for variant in found:
        rows.append(planned_row(variant, now=now))
        step()
    return tuple(rows)


def planned_row(variant: Variant, *, now: datetime) -> ComparedRow:
    """Plan one variant and sum it up."""
    from cureplan.schedule.compare import ComparedRow

    try:
        plan = _plan(variant, now)
    except NoFeasiblePlanError as error:
        return ComparedRow(
            vary=variant.vary,
            value=variant.value,
            shift_k=variant.shift_k,
            status="no feasible plan",
            why=str(error).removeprefix(NO_PLAN),
        )
    tightest = min(plan.rooms, key=lambda room: room.margin_min)
    people, call_outs = _called(plan)
    return ComparedRow(
        vary=variant.vary,
        value=variant.value,
        shift_k=variant.shift_k,
        status=plan.status,
        first_pour=min(room.pour_start for room in plan.rooms),
        least_margin_min=tightest.margin_min,
        tightest=tightest.room,
        iced_rooms=sum(room.chilled for room in plan.rooms),
        rooms=len(plan.rooms),
        most_bays=max(room.bays for room in plan.rooms),
        opens=max(room.opens for room in plan.rooms),
        people=people,
        call_outs=call_outs,
        ice_kg=plan.chill.ice_kg,
        all_keep_frac=plan.risk.all_keep_frac,
    )


def _plan(variant: Variant, now: datetime) -> Plan:
    from cureplan.api import make_plan

    if not variant.every_room_iced:
        return make_plan(variant.job, now=now, weather=variant.weather, what_helps=False)
    return _plan_iced(variant, now)


def _plan_iced(variant: Variant, now: datetime) -> Plan:
    from cureplan.api import make_plan
    from cureplan.schedule.compare import OnlyIced
    from cureplan.schedule.prepare import prepare_pours

    job = variant.job
    pours: dict[str, RoomPours] = {
        name: OnlyIced(room.room, room.job, room.clocks, room.topcoat, room.conditions)
        for name, room in prepare_pours(job, variant.weather).items()
    }
    return make_plan(job, now=now, weather=variant.weather, pours=pours, what_helps=False)


def _called(plan: Plan) -> tuple[int, int]:
    """People called to the site, and how often a crew is."""
    fresh = [call for call in plan.calls if call.reason.code == FRESH_CALL]
    pours = [call for call in fresh if call.stage == "pour"]
    # The topcoat crew vacuums and coats: the same people under two names.
    coats = {call.call: call.people for call in fresh if call.stage != "pour"}
    pour_outs = {call.room for call in pours}
    people = sum(call.people for call in pours) + sum(coats.values())
    return people, len(pour_outs) + len(coats)
