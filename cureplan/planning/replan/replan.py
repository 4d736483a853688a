"""On the night: a new plan from what was poured and read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np

from cureplan.core.clock import require_aware
from cureplan.core.errors import InputError, NoFeasiblePlanError
from cureplan.core.messages import Message
from cureplan.core.rows import Rows
from cureplan.inputs.job.model import Job
from cureplan.inputs.tables.night_log import NightEvent, NightSite
from cureplan.judge import Finding, PlanRefusedError, judge
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.planning.floor.pour import PourOption, RoomPours
from cureplan.planning.odds.risk import assess
from cureplan.planning.plan.assemble import assemble
from cureplan.planning.plan.hours import instant, minutes
from cureplan.planning.plan.model import Night, Plan, RoomPlan, Source, Status
from cureplan.planning.replan.changes import changes_of, log_of, night_of, past_shift
from cureplan.planning.replan.coats import place_coats_again
from cureplan.planning.replan.estimate import NightReadings, estimate_night
from cureplan.planning.replan.help import help_for_short_buckets
from cureplan.planning.replan.job import (
    BatchRate,
    corrected_conditions,
    corrected_job,
    plan_conditions,
    plan_rate,
    plan_series,
)
from cureplan.planning.replan.order import Placed, best_order, carries_on
from cureplan.planning.replan.pours import (
    go_on,
    option_of,
    place_as_planned,
    place_next,
    place_primers,
)
from cureplan.planning.replan.state import FloorState, NightState, night_state
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour
from cureplan.science.clocks import topcoat_clocks

__all__ = [
    "Replanned",
    "night_site",
    "replan",
    "require_confirmed_rest",
]

TOL_MIN = 5.0
"""Slabs corrected on the night fade between whole hours, which the judge reads straight;
about 1 % of an hours-long wait: invented."""


def require_confirmed_rest(plan: Plan, state: NightState) -> None:
    """Raise unless the judge confirms all that is still to be decided.

    Not for a plan made before the night: that one must be confirmed whole.
    """
    findings = tuple(found for found in judge(plan) if not _past_or_stated(found, plan, state))
    if findings:
        raise PlanRefusedError(findings)


def _past_or_stated(found: Finding, plan: Plan, state: NightState) -> bool:
    if found.room is None:
        return False
    room = next(room for room in plan.rooms if room.room == found.room)
    begun = found.room in state.floors and state.floors[found.room].done > 0
    if (
        found.rule in ("primers", "coats", "opening")
        and found.unit == "min"
        and found.off_by < TOL_MIN
    ):
        return True
    stated = {
        # The crew of the plan's job is tonight's, the first buckets had another.
        "buckets": begun,
        # A floor begun is where it is; what runs over its shift is stated.
        "pours": begun or past_shift(plan, room) is not None,
        # A crew that has begun goes on, whatever the slab was read at since.
        "limits": begun,
        "way out": begun and room.pour_start.timestamp() <= state.now_s,
        "primers": begun or _outlived(plan, room),
        "coats": any(c.room == found.room and c.start > c.closes for c in plan.coats),
        "opening": room.opens > room.open_by,
    }
    return stated.get(found.rule, False)


HOUR = timedelta(hours=1)
WAITED_S = 120.0
"""A gap between two planned floors, the changeover over, that was meant: invented."""
_OF_WEATHER = ("warn.gap", "warn.weather_note")
_OF_POURS = (
    "warn.negative",
    "warn.short",
    "warn.sure_negative",
    "warn.row_deep",
    "warn.divided",
)
_OF_ICE = ("warn.ice_passed", "warn.ice_off_shift", "warn.ice_early")
_UNPLANNED = PourOption(chilled=False, cool_filler=False, bays=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Replanned:
    """The new plan, what was learned, and what changed (also first in its warnings)."""

    plan: Plan
    readings: NightReadings
    changes: tuple[Message, ...]


def night_site(plan: Plan, *, whole_night: bool = False) -> NightSite:
    """What a night's log is read against."""
    return NightSite(
        zone=plan.job.site.zone,
        kits={room.room: room.kits for room in plan.rooms},
        begins=plan.job.access.begins,
        open_by=plan.job.access.open_by,
        used_until=None if plan.night is None else plan.night.until,
        whole_night=whole_night,
    )


def replan(plan: Plan, events: Sequence[NightEvent], *, now: datetime) -> Replanned:
    """Plan again what remains, from the plan and the log of the night so far.

    Not for a change of mind about the whole job: mend the job file and plan anew.
    """
    now = require_aware(now, name="now")
    if not plan.hours or not plan.rooms:
        raise InputError(
            "the plan has no rooms or no hours", cure="make it again with `cureplan plan`"
        )
    state = night_state(plan, events, now=now)
    if not state.floors and not state.added:
        raise NoFeasiblePlanError("every room was dropped: nothing is left to plan")
    before = plan_conditions(plan)
    rate = plan_rate(plan)
    readings = estimate_night(
        plan.job,
        events,
        state,
        clocks=rate.of(plan.job),
        conditions=before,
        doubt_left=rate.card_doubt_frac,
    )
    rate = rate.after(readings)
    job = corrected_job(_as_held(plan), state, readings, conditions=before)
    conditions = corrected_conditions(before, job.rooms, readings, now_s=state.now_s)
    pours = _pours(job, conditions, rate)
    return _put_together(plan, events, state, readings, rate, pours)


def _as_held(plan: Plan) -> Job:
    """The job with the confidence its plan's windows are stated at."""
    policy = replace(plan.job.policy, confidence=plan.decisions.held_frac)
    return replace(plan.job, policy=policy)


def _pours(
    job: Job, conditions: Mapping[str, RoomConditions], rate: BatchRate
) -> dict[str, RoomPours]:
    slurry, topcoat = rate.of(job), topcoat_clocks(job.cards.topcoat)
    return {
        room.name: RoomPours(room, job, slurry, topcoat, conditions[room.name])
        for room in job.rooms
    }


def _put_together(
    old: Plan,
    events: Sequence[NightEvent],
    state: NightState,
    readings: NightReadings,
    rate: BatchRate,
    pours: dict[str, RoomPours],
) -> Replanned:
    found = _place(old, state, pours)
    job = next(iter(found.pours.values())).job
    if found.left_out:
        rooms = tuple(room for room in job.rooms if room.name not in found.left_out)
        job = replace(job, rooms=rooms)
    placed = tuple(found.placed.values())
    held, asked = job.policy.confidence, old.job.policy.confidence
    schedule = Schedule(
        pours=placed,
        coats=place_coats_again(job, found.pours, placed, planned=old.coats, now_s=state.now_s),
        failures=(),
        required_s=job.policy.margin_s,
        held_frac=held if held < asked else None,
        primers=tuple(poured.under for poured in placed if poured.under is not None),
    )
    job = replace(job, policy=replace(job.policy, confidence=asked))
    odds = assess(job, found.pours, schedule, issued_s=state.now_s)
    made_at = instant(state.now_s, job.site.zone)
    new = assemble(job, plan_series(old), found.pours, schedule, odds, made_at=made_at)
    help_ = help_for_short_buckets(found.pours, found.placed, state, before=old.job.crew)
    stated = changes_of(old, new, state, readings, events, left_out=found.left_out)
    changes = (*stated[:1], *_carry_on(found, state), *help_, *stated[1:])
    night = night_of(old, new, state, readings, changes, rate=rate, left_out=found.left_out)
    plan = _finished(old, new, state, replace(night, log=log_of(old, events)))
    require_confirmed_rest(plan, state)
    return Replanned(plan=plan, readings=readings, changes=changes)


def _carry_on(found: _Placed, state: NightState) -> list[Message]:
    """That the night goes on as planned, and how much the buckets to come have in hand."""
    rest_s = [
        float(poured.clocks.margin_s[0, done:].min())
        for name, poured in found.placed.items()
        if (done := state.floors[name].done if name in state.floors else 0)
        < poured.clocks.margin_s.shape[1]
    ]
    if not found.carried_on or not rest_s or min(rest_s) < 0:
        return []
    return [Message("replan.carry_on", {"margin_min": minutes(min(rest_s))})]


class _Placed(NamedTuple):
    placed: dict[str, PlacedPour]
    pours: dict[str, RoomPours]
    left_out: tuple[str, ...]
    carried_on: bool


def _place(old: Plan, state: NightState, pours: dict[str, RoomPours]) -> _Placed:
    """Begun floors first, then the others: in the plan's order, unless another is better."""
    placed: dict[str, PlacedPour] = {}
    primed_s = _primed_s(old)
    free_s = -np.inf
    begun = [f for f in state.floors.values() if f.done]
    for floor in sorted(begun, key=lambda f: (not f.complete, -f.poured_s[-1])):
        name = floor.room.room
        pours[name], placed[name] = go_on(
            pours[name],
            floor,
            state,
            before=old.job.crew,
            free_s=free_s,
            primed_s=primed_s.get(name),
        )
        if not floor.complete:
            free_s = placed[name].end_s + state.crew.changeover_s

    def follow(order: Sequence[str]) -> Placed:
        after, left_out = dict(placed), []
        primers = place_primers(pours, order, list(placed.values()), state, planned_s=primed_s)
        for name in order:
            shut = {other: poured.closed for other, poured in after.items()}
            option = option_of(state.floors[name].room) if name in state.floors else _UNPLANNED
            found = place_next(
                pours[name],
                option,
                list(after.values()),
                state,
                shut=shut,
                primers=primers,
            )
            if found is None:
                left_out.append(name)
            else:
                after[name] = found
        return after, tuple(left_out)

    def coats(job: Job, after: Sequence[PlacedPour]) -> tuple[PlacedCoat, ...]:
        return place_coats_again(job, pours, after, planned=old.coats, now_s=state.now_s)

    job = next(iter(pours.values())).job
    order = best_order(job, _order(state, pours), place=follow, coats=coats)
    found, left_out = follow(order)
    planned = _as_planned(old, state, pours, placed)
    carried_on = planned is not None and carries_on(
        job, planned, (found, left_out), coats=coats
    )
    if planned is not None and carried_on:
        found, left_out = planned
    if not found:
        raise NoFeasiblePlanError("no pour shift that is left holds any of the rooms")
    kept = {name: room for name, room in pours.items() if name in found}
    return _Placed(found, kept, left_out, carried_on)


def _as_planned(
    old: Plan,
    state: NightState,
    pours: Mapping[str, RoomPours],
    begun: Mapping[str, PlacedPour],
) -> Placed | None:
    """Everything in the plan's own order, bays and ice; None where rooms came or went."""
    if state.added or state.dropped:
        return None
    change_s = old.job.crew.changeover_s
    rooms = sorted(old.rooms, key=lambda room: room.order)
    ended_s = -np.inf
    placed, left_out = dict(begun), []
    primers = place_primers(
        pours,
        [room.room for room in rooms if room.room not in begun],
        list(begun.values()),
        state,
        planned_s=_primed_s(old),
    )
    for room in rooms:
        start_s = room.pour_start.timestamp()
        # A gap in the plan was there for a reason: a cooler hour, or the coats' shift.
        waited = start_s - ended_s > change_s + WAITED_S
        ended_s = room.pour_end.timestamp()
        if room.room in placed:
            continue
        found = place_as_planned(
            pours[room.room],
            state.floors[room.room],
            list(placed.values()),
            state,
            shut={name: poured.closed for name, poured in placed.items()},
            waited=waited,
            primers=primers,
        )
        if found is None:
            left_out.append(room.room)
        else:
            placed[room.room] = found
    return placed, tuple(left_out)


def _primed_s(old: Plan) -> dict[str, float]:
    """When each floor was primed, or is to be [epoch s]."""
    return {primer.room: primer.start.timestamp() for primer in old.primers}


def _order(state: NightState, pours: Mapping[str, RoomPours]) -> list[str]:
    """Rooms not begun: as planned, an added one before the floors that lead out of it."""
    order = [name for name, floor in state.floors.items() if not floor.done]
    for added in state.added:
        ways = [order.index(name) for name in added.way_out if name in order]
        order.insert(min(ways, default=len(order)), added.name)
    return [name for name in order if name in pours]


def _finished(
    old: Plan,
    new: Plan,
    state: NightState,
    night: Night,
) -> Plan:
    """Changes first among the warnings, the old plan's sources, and the honest status."""
    late = any(c.start > c.closes for c in new.coats)
    late |= any(_outlived(new, room) for room in new.rooms)
    late |= any(room.opens > room.open_by or past_shift(new, room) for room in new.rooms)
    status: Status = "short of policy" if late else new.decisions.status
    if night.left_out:
        status = "no feasible plan"
    needed = max(old.hours[-1].at, *(room.opens + HOUR for room in new.rooms))
    hours = Rows(row for row in new.hours if row.at <= needed)
    return replace(
        new,
        decisions=replace(new.decisions, status=status),
        hours=hours,
        warnings=(*night.changes, *_warnings(old, new, state)),
        sources=(
            *_sources_of(old, "weather", "note"),
            *(s for s in new.sources if s.kind not in ("weather", "note")),
            *_batch_source(old, night),
            *_sources_of(old, "record"),
        ),
        night=night,
    )


def _outlived(plan: Plan, room: RoomPlan) -> bool:
    """Whether a floor is poured after its primer is too old for it."""
    return any(p.room == room.room and room.pour_start > p.slurry_closes for p in plan.primers)


def _warnings(old: Plan, new: Plan, state: NightState) -> tuple[Message, ...]:
    """Without what nobody can act on any more: poured floors, pails long in ice."""
    weather = tuple(w for w in old.warnings if w.code in _OF_WEATHER)
    still = tuple(
        w for w in new.warnings if w.code not in _OF_ICE and not _past(w, state.floors)
    )
    return (*still, *weather)


def _past(warning: Message, floors: Mapping[str, FloorState]) -> bool:
    """Whether a warning speaks of pouring what is poured."""
    floor = floors.get(str(warning.values.get("room")))
    if floor is None or warning.code not in _OF_POURS:
        return False
    bucket = warning.values.get("bucket")
    return floor.complete or (isinstance(bucket, int) and bucket <= floor.done)


def _batch_source(old: Plan, night: Night) -> tuple[Source, ...]:
    """How many readings the batch is timed by; those of the plan before where none are new."""
    if not night.readings:
        return tuple(source for source in old.sources if source.label == "night")
    say = Message("source.night", {"readings": night.readings})
    return (Source(kind="assumption", label="night", licence=None, generic=False, detail=say),)


def _sources_of(old: Plan, *kinds: str) -> tuple[Source, ...]:
    return tuple(source for source in old.sources if source.kind in kinds)
