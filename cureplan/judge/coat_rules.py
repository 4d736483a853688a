"""Coats inside their windows, and the way back to an open kitchen."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cureplan.core.clock import epoch_s
from cureplan.judge.ageing import dew_curve
from cureplan.judge.case import Case, Floor
from cureplan.judge.compare import differs, later, sooner
from cureplan.judge.finding import (
    MARGIN_TOL_S,
    WINDOW_TOL_S,
    Finding,
    Rule,
    miscounted,
    wall_clock,
)
from cureplan.judge.milestones import CureMilestones, floor_steps, lasts_s
from cureplan.judge.people_rules import check_held, on_the_way_out

__all__ = ["check_coats", "check_dry", "check_opening"]

DEW_TOL_K = 0.01  # hourly values are written to a thousandth
DEW_STEP_S = 60.0


def check_coats(
    case: Case, lenient: dict[str, CureMilestones], strict: dict[str, CureMilestones]
) -> Iterator[Finding]:
    """Every coat a room needs, in order, in its window, on a slab that is dry."""
    for floor in case.floors:
        coats = [coat.coat for coat in floor.coats]
        wanted = [step.coat for step in floor_steps(case.plan.job, floor.room) if step.coat]
        if coats != wanted:
            yield Finding(
                rule="coats",
                room=floor.name,
                what=f"{floor.name}: coats {coats} are planned, {wanted} are needed in order",
                off_by=float(max(1, abs(len(coats) - len(wanted)))),
                unit="count",
            )
        yield from _check_windows(case, floor, lenient[floor.name], strict[floor.name])
        for coat in floor.coats:
            yield from check_dry(
                case, floor, coat.stage, "coats", epoch_s(coat.start), epoch_s(coat.end)
            )


def _check_windows(
    case: Case, floor: Floor, lenient: CureMilestones, strict: CureMilestones
) -> Iterator[Finding]:
    name, zone = floor.name, floor.zone
    for coat in floor.coats:
        label = coat.stage
        if label not in lenient.windows:
            continue
        near, far = lenient.windows[label], strict.windows[label]
        start_s, end_s = epoch_s(coat.start), epoch_s(coat.end)
        yield from sooner(
            "coats", name, zone, f"{label} starts", start_s, near.opens_s, WINDOW_TOL_S
        )
        yield from later(
            "coats", name, zone, f"{label} starts", start_s, near.closes_s, WINDOW_TOL_S
        )
        for what, said, between_s in (
            ("opens", coat.opens, (near.opens_s, far.opens_s)),
            ("closes", coat.closes, (near.closes_s, far.closes_s)),
        ):
            yield from differs(
                "coats", name, zone, f"{label} {what}", epoch_s(said), between_s, WINDOW_TOL_S
            )
        held = (floor.room.topcoat_1_not_before, floor.room.topcoat_2_not_before)
        yield from check_held(floor, "coats", f"{label} starts", start_s, held[coat.coat - 1])
        done_s = (start_s + lasts_s(case, floor, coat.coat),) * 2
        yield from differs("coats", name, zone, f"{label} ends", end_s, done_s, MARGIN_TOL_S)


def check_dry(
    case: Case, floor: Floor, stage: str, rule: Rule, begins_s: float, ends_s: float
) -> Iterator[Finding]:
    """The slab stays clear of the dew point while a thin layer is laid."""
    at_s, dew_c = dew_curve(case.plan.hours)
    least_k = case.plan.job.policy.dew_margin_k
    when_s = np.append(np.arange(begins_s, ends_s, DEW_STEP_S), ends_s)
    over_k = floor.hours.shade(when_s) - np.interp(when_s, at_s, dew_c)
    known = np.flatnonzero(~np.isnan(over_k))
    if not known.size:
        return
    worst = known[np.argmin(over_k[known])]
    if over_k[worst] < least_k - DEW_TOL_K:
        yield Finding(
            rule=rule,
            room=floor.name,
            what=f"{floor.name} {stage}: the slab is {over_k[worst]:.1f} K above "
            f"dew point at {wall_clock(float(when_s[worst]), floor.zone)}, "
            f"{least_k:.1f} K are asked",
            off_by=float(least_k - over_k[worst]),
            unit="K",
        )


def check_opening(
    case: Case, lenient: dict[str, CureMilestones], strict: dict[str, CureMilestones]
) -> Iterator[Finding]:
    """Walked on, wheeled on, washed and opened as re-derived, and in time."""
    for floor in case.floors:
        plan, near, far = floor.plan, lenient[floor.name], strict[floor.name]
        for label, said, between_s in (
            ("walkable", plan.walkable, (near.walkable_s, far.walkable_s)),
            ("topcoat opens", plan.topcoat_opens, (near.topcoat_opens_s, far.topcoat_opens_s)),
            (
                "topcoat closes",
                plan.topcoat_closes,
                (near.topcoat_closes_s, far.topcoat_closes_s),
            ),
            ("foot traffic", plan.foot_traffic, (near.foot_s, far.foot_s)),
            ("wheels", plan.wheels, (near.wheels_s, far.wheels_s)),
            ("wash-down", plan.wash_down, (near.wash_s, far.wash_s)),
        ):
            if said is None:
                yield from _check_unknown(case, floor, label, max(between_s))
                continue
            yield from differs(
                "opening", floor.name, floor.zone, label, epoch_s(said), between_s, WINDOW_TOL_S
            )
        yield from _check_open(case, floor)


# What the last coat must bear, by what a room is opened for.
BEARS = {
    "feet": ("foot_traffic",),
    "carts": ("foot_traffic", "wheels"),
    "wash-down": ("foot_traffic", "wheels", "wash_down"),
}


def _check_unknown(case: Case, floor: Floor, label: str, comes_s: float) -> Iterator[Finding]:
    """What is said to lie beyond the hours given does."""
    ends_s = epoch_s(case.plan.hours[-1].at)
    if comes_s < ends_s:
        yield Finding(
            rule="opening",
            room=floor.name,
            what=f"{floor.name}: {label} is left out, and comes within the hours given",
            off_by=(ends_s - comes_s) / 60,
            unit="min",
        )


def _check_open(case: Case, floor: Floor) -> Iterator[Finding]:
    plan, zone = floor.plan, floor.zone
    wanted = floor.room.open_for
    yield from miscounted("opening", floor.name, "what it opens for", *(
        list(BEARS).index(asked) for asked in (plan.open_for, wanted)
    ))  # fmt: skip
    borne = [getattr(plan, name) for name in BEARS[wanted]]
    last_s = max(float("inf") if at is None else epoch_s(at) for at in borne)
    opens_s, by_s = epoch_s(plan.opens), epoch_s(plan.open_by)
    yield from differs(
        "opening", floor.name, zone, "opens", opens_s, (last_s, last_s), MARGIN_TOL_S
    )
    yield from later("opening", floor.name, zone, "opens", opens_s, by_s, MARGIN_TOL_S)
    # A room opens only when its way in does: the limits of rooms behind a floor are its own.
    job = case.plan.job
    behind = [r for r in job.rooms if floor.name in on_the_way_out(case, r.way_out)]
    limit_s = min(epoch_s(r.open_by or job.access.open_by) for r in (floor.room, *behind))
    yield from differs(
        "opening", floor.name, zone, "to be open", by_s, (limit_s, limit_s), MARGIN_TOL_S
    )
