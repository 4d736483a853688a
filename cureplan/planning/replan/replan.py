"""On the night: a new plan from what was poured and read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import takewhile
from typing import NamedTuple

from cureplan.core.clock import require_aware
from cureplan.core.errors import InputError, NoFeasiblePlanError
from cureplan.core.messages import Message
from cureplan.core.rows import Rows
from cureplan.inputs.job.model import Job
from cureplan.inputs.tables.night_log import LineUsed, NightEvent, NightSite
from cureplan.judge import require_confirmed
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.odds.risk import Looked, assess
from cureplan.planning.plan.assemble import assemble, with_doubt
from cureplan.planning.plan.choose import choose
from cureplan.planning.plan.hours import instant, minutes
from cureplan.planning.plan.model import Night, Plan, RoomPlan, Source, Status
from cureplan.planning.replan.begun import settle
from cureplan.planning.replan.carry_on import (
    Candidate,
    beats,
    carry_on,
    could_be_beaten,
    nights_of,
    without,
)
from cureplan.planning.replan.changes import changes_of, log_of, night_of, past_shift, runs_fast
from cureplan.planning.replan.estimate import NightReadings, estimate_night
from cureplan.planning.replan.help import (
    LOST,
    first_minutes,
    help_for_short_buckets,
    when_nothing_fits,
)
from cureplan.planning.replan.job import (
    BatchRate,
    corrected_conditions,
    corrected_job,
    plan_conditions,
    plan_rate,
    plan_series,
)
from cureplan.planning.replan.state import FloorState, NightState, night_state
from cureplan.planning.replan.ways import Ways, ways_out
from cureplan.planning.schedule.floor_model import Tables
from cureplan.planning.schedule.lexicographic import Limits
from cureplan.planning.schedule.tried import try_others
from cureplan.science.clocks import topcoat_clocks

__all__ = [
    "Replanned",
    "night_site",
    "replan",
]

HOUR = timedelta(hours=1)
NIGHT_WORK = Limits(work=0.5)
"""How much a crew that waits can have searched: a second or two with the odds."""
BEFORE_NEXT = (
    "replan.hour_late",
    "replan.hour_early",
    "replan.next_primer",
    "replan.next_coat",
)
"""Said ahead of the next bucket: a clock that makes its hour doubtful, an act before it."""
_OF_WEATHER = ("warn.gap", "warn.weather_note")
_OF_POURS = (
    "warn.negative",
    "warn.short",
    "warn.margin",
    "warn.sure_negative",
    "warn.row_deep",
    "warn.divided",
    "warn.ice_too_cold",
)
_OF_ICE = (
    "warn.ice_passed",
    "warn.ice_call",
    "warn.ice_early",
    "warn.ice_outside",
    "warn.ice_sooner_stir",
)


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
        known=tuple(
            LineUsed(line.at, line.event, line.room, line.value, line.bucket)
            for line in (() if plan.night is None else plan.night.log)
        ),
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
    job = corrected_job(state.job, state, readings, conditions=before)
    conditions = corrected_conditions(before, job.rooms, readings, now_s=state.now_s)
    pours = settle(plan, state, _pours(job, conditions, rate))
    found = _decided(job, plan, state, pours)
    return _put_together(plan, events, state, readings, rate, found)


def _pours(
    job: Job, conditions: Mapping[str, RoomConditions], rate: BatchRate
) -> dict[str, RoomPours]:
    slurry, topcoat = rate.of(job), topcoat_clocks(job.cards.topcoat)
    return {
        room.name: RoomPours(room, job, slurry, topcoat, conditions[room.name])
        for room in job.rooms
    }


class _Decided(NamedTuple):
    job: Job
    pours: dict[str, RoomPours]
    chosen: Candidate
    carried_on: bool
    offers: list[Message]


def _decided(job: Job, old: Plan, state: NightState, pours: dict[str, RoomPours]) -> _Decided:
    """Carrying on as planned, unless the plan's own search finds what beats it."""
    tables = Tables(pours={r.name: pours[r.name].under(r, job) for r in job.rooms})
    chosen, best_job, carries_on, worked = _better(job, old, state, tables)
    until_s = chosen.schedule.opens_s + HOUR.total_seconds()
    kept = {
        room.name: replace(
            pours[room.name],
            room=room,
            job=best_job,
            settled=replace(pours[room.name].settled, known_s=until_s),
        )
        for room in best_job.rooms
    }
    offers = _offers(job, old, state, tables, chosen, worked)
    return _Decided(best_job, kept, chosen, carries_on, offers)


class _Better(NamedTuple):
    candidate: Candidate
    job: Job
    """Without what it leaves out."""
    carries_on: bool
    worked: float


def _better(
    job: Job, old: Plan, state: NightState, tables: Tables, looked: Looked | None = None
) -> _Better:
    """The better of carrying on and what a search finds, and what the search took."""
    carried, worked = _carried(job, old, state, tables.pours), 0.0
    to_come = any(coat.begins_s > state.now_s for coat in carried.schedule.coats)
    if to_come and could_be_beaten(job, carried, state):
        other = _searched(job, tables, state, looked)
        if other is not None:
            worked = other.schedule.worked
            if beats(job, other, carried):
                return _Better(other, job, False, worked)
    return _Better(carried, without(job, carried.left_out), True, worked)


def _carried(
    job: Job,
    old: Plan,
    state: NightState,
    pours: Mapping[str, RoomPours],
) -> Candidate:
    found = carry_on(job, pours, old, state)
    if found is None:
        raise NoFeasiblePlanError(
            "nothing that is left fits into the hours and shifts that are known: finish no "
            "floor but at a drain or joint, broadcast what is wet, keep everybody off it, and "
            "call whoever opens the kitchen",
            advice=when_nothing_fits(job, state),
        )
    schedule, left_out = found
    kept = without(job, left_out)
    odds = assess(kept, pours, schedule, issued_s=state.now_s)
    return Candidate(schedule=schedule, odds=odds, left_out=left_out)


def _searched(
    job: Job, tables: Tables, state: NightState, looked: Looked | None = None
) -> Candidate | None:
    """What the search for a plan finds with what is begun held fixed; None where nothing."""
    found = choose(job, tables, issued_s=state.now_s, limits=NIGHT_WORK, looked=looked)
    if found.odds is None:
        return None
    return Candidate(schedule=found.schedule, odds=found.odds)


def _offers(
    job: Job, old: Plan, state: NightState, tables: Tables, chosen: Candidate, worked: float
) -> list[Message]:
    """What can still be changed, where something is lost or held less often than asked."""
    short = chosen.odds.all_frac < job.policy.confidence
    if not any(chosen.lost(job)) and not (short and could_be_beaten(job, chosen, state)):
        return []

    def again(changed: Job, looked: Looked) -> tuple[Candidate | None, float]:
        with suppress(NoFeasiblePlanError):
            found = _better(changed, old, state, tables.under(changed), looked)
            return found.candidate, found.worked
        return None, 0.0

    def carried(changed: Job) -> Candidate | None:
        with suppress(NoFeasiblePlanError):
            return _carried(changed, old, state, tables.under(changed).pours)
        return None

    return ways_out(
        Ways(
            job=job,
            tables=tables,
            chosen=chosen,
            state=state,
            again=again,
            carried=carried,
            worked=worked,
        )
    )


def _put_together(
    old: Plan,
    events: Sequence[NightEvent],
    state: NightState,
    readings: NightReadings,
    rate: BatchRate,
    found: _Decided,
) -> Replanned:
    job, schedule, left_out = found.job, found.chosen.schedule, found.chosen.left_out
    made_at = instant(state.now_s, job.site.zone)
    new = assemble(
        job,
        plan_series(old),
        found.pours,
        schedule,
        found.chosen.odds,
        try_others(job, Tables(pours=found.pours), schedule),
        made_at=made_at,
    )
    new = with_doubt(new, found.pours, schedule, found.chosen.odds)
    placed = {poured.room: poured for poured in schedule.pours}
    help_ = help_for_short_buckets(found.pours, placed, state, before=old.job.crew)
    first = first_minutes(new, state, help_, fast=runs_fast(readings.fit), left_out=left_out)
    stated = changes_of(old, new, state, readings, events, left_out=left_out)
    leads = 1 + sum(1 for _ in takewhile(lambda say: say.code in BEFORE_NEXT, stated))
    changes = (
        *first,
        *stated[:leads],
        *_carry_on(old, found, state, lost=any(say.code == LOST for say in first)),
        *found.offers,
        *(say for say in help_ if say not in first),
        *stated[leads:],
    )
    night = night_of(
        old, new, state, readings, changes, rate=rate, left_out=left_out,
        conditions={name: pours.conditions for name, pours in found.pours.items()},
    )  # fmt: skip
    plan = _finished(old, new, state, replace(night, log=log_of(old, events)))
    require_confirmed(plan)
    return Replanned(plan=plan, readings=readings, changes=changes)


def _carry_on(old: Plan, found: _Decided, state: NightState, *, lost: bool) -> list[Message]:
    """That the night goes on as planned, or loses least by it, and how much the buckets to
    come have in hand.

    It does not where a floor had to move to another night.
    """
    rest_s = [
        float(poured.clocks.margin_s[0, done:].min())
        for poured in found.chosen.schedule.pours
        if (done := state.done(poured.room)) < poured.clocks.margin_s.shape[1]
    ]
    planned = nights_of(room.pour_start.timestamp() for room in old.rooms)
    moved = found.chosen.nights > planned
    if not found.carried_on or moved or not rest_s or min(rest_s) < 0:
        return []
    lost = lost or any(found.chosen.lost(found.job))
    code = "replan.carry_on_least" if lost else "replan.carry_on"
    return [Message(code, {"margin_min": minutes(min(rest_s))})]


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
