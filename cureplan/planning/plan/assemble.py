"""The plan put together from what was found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cureplan.core.clock import on_site
from cureplan.core.messages import Message
from cureplan.core.rows import Rows
from cureplan.planning.plan.model import Source

if TYPE_CHECKING:
    from cureplan.inputs.tables.record import PastScores
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.doubt import FORECAST_SD_K, SLAB_SD_K
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.floor.takeoff import Takeoff, room_takeoff, total_takeoff
from cureplan.planning.odds.nights import LATE_SD_S
from cureplan.planning.odds.risk import Odds
from cureplan.planning.plan.answers import (
    alternatives,
    ice_answer,
    order_answer,
    way_back_answer,
)
from cureplan.planning.plan.arrivals import (
    arrival_plans,
    ice_cautions,
    ice_outside,
    labour_of,
    people_warnings,
)
from cureplan.planning.plan.calls import call_plans, coat_plans, primer_plans
from cureplan.planning.plan.floors import bucket_plans, room_plans
from cureplan.planning.plan.hours import beyond_hours, hour_rows, instant, limit_warnings
from cureplan.planning.plan.kits import (
    chill_plan,
    exotherm_caution,
    humidity_sources,
    humidity_warnings,
)
from cureplan.planning.plan.made_of import made_of
from cureplan.planning.plan.model import (
    Alternative,
    ChillPlan,
    Decisions,
    Plan,
    Risk,
    Status,
)
from cureplan.planning.plan.warnings import plan_sources, plan_warnings, shoe_warnings
from cureplan.planning.schedule.outcome import Schedule, Stop, never
from cureplan.planning.schedule.placing import PlacedPour
from cureplan.planning.schedule.tried import Tried
from cureplan.weather.hours.series import HourlySeries

__all__ = [
    "assemble",
    "past_sources",
    "past_warnings",
    "with_doubt",
    "with_help",
]


def past_sources(past: PastScores | None) -> tuple[Source, ...]:
    """One source that says by how much past predictions erred, and how many held."""
    if past is None:
        return ()
    score = past.overall
    bias = "longer" if score.mean_error_s >= 0 else "shorter"
    detail = Message(
        "source.record",
        {
            "jobs": past.jobs,
            "clocks": score.count,
            "miss_min": round(score.mean_miss_s / 60.0, 2),
            "bias_min": round(abs(score.mean_error_s) / 60.0, 2),
            "bias": bias,
            "inside_frac": round(score.inside_frac, 4),
            "holds_frac": round(past.holds_frac, 4),
        },
    )
    return (Source(kind="record", label="records", licence=None, generic=False, detail=detail),)


def past_warnings(past: PastScores | None) -> tuple[Message, ...]:
    """A warning where the stated intervals held less often than they claim, beyond chance."""
    if past is None or past.overall.inside_high_frac >= past.holds_frac:
        return ()
    values = {
        "inside_frac": round(past.overall.inside_frac, 4),
        "holds_frac": round(past.holds_frac, 4),
    }
    return (Message("warn.past", dict(values)),)


STOPPED = Message("warn.stopped", {})
MOST_RELAXED = 4


def assemble(
    job: Job,
    series: HourlySeries,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    odds: Odds,
    tried: Tried,
    *,
    made_at: datetime,
    past: PastScores | None = None,
) -> Plan:
    """Freeze everything that was decided; nothing is run here.

    What the doubt is made of no answer needs: `with_doubt` adds it.
    """
    rooms = room_plans(job, pours, schedule, tried=tried, keeps_frac=odds.room_frac)
    calls = call_plans(job, pours, schedule)
    coats = coat_plans(job, pours, schedule, odds.coat_frac)
    chill = chill_plan(job, pours, schedule, tried)
    arrivals = arrival_plans(job, calls, chill)
    primers = primer_plans(job, pours, schedule, odds.primer_frac)
    unsure = _less_sure(job, schedule)
    ordered = sorted(schedule.pours, key=lambda poured: poured.start_s)
    return Plan(
        job=job,
        decisions=Decisions(
            status=_status(job, schedule, odds),
            held_frac=_held_frac(job, schedule),
            made_at=on_site(made_at, job.site.zone).replace(microsecond=0),
            answers=(
                order_answer(
                    job,
                    rooms,
                    calls,
                    odds,
                    primers=primers,
                    gap_frac=None if schedule.proven else schedule.gap_frac,
                ),
                ice_answer(job, rooms, chill),
                way_back_answer(rooms, coats, calls, odds, unsure=unsure),
            ),
            alternatives=alternatives(tried),
            solver=schedule.solver,
            proven=schedule.proven,
            gap_frac=schedule.gap_frac,
            known=schedule.known,
            ended=schedule.ended,
        ),
        rooms=Rows(rooms),
        buckets=Rows(
            bucket
            for poured in ordered
            for bucket in bucket_plans(
                poured, pours[poured.room], odds.bucket_frac[poured.room]
            )
        ),
        coats=Rows(coats),
        calls=Rows(calls),
        arrivals=Rows(arrivals),
        labour=labour_of(job, arrivals),
        primers=primers,
        chill=chill,
        hours=Rows(hour_rows(job, series, pours)),
        takeoff=_takeoff(job, pours, schedule, chill),
        risk=_risk(pours, odds),
        warnings=(
            *plan_warnings(
                job,
                series,
                rooms=rooms,
                coats=coats,
                primers=primers,
                chill=chill,
                need=tried.need,
                made_at=made_at,
            ),
            *shoe_warnings(job, schedule),
            *ice_outside(job, arrivals),
            *ice_cautions(
                job,
                arrivals,
                chill,
                need=tried.need,
                mixed={p.room: instant(_last_mixed_s(p), job.site.zone) for p in ordered},
            ),
            *people_warnings(job, arrivals),
            *limit_warnings(job, pours, schedule, odds.limits_frac),
            *beyond_hours(job, pours, schedule),
            exotherm_caution(tried.standing),
            *humidity_warnings(job, pours),
            *past_warnings(past),
        ),
        sources=(
            *plan_sources(job, series),
            _search_source(schedule),
            *humidity_sources(job, pours),
            *past_sources(past),
        ),
    )


def _last_mixed_s(poured: PlacedPour) -> float:
    """When the last bucket of a floor is begun [epoch s]."""
    return poured.start_s + float(poured.times.liquids_in_s.max())


def left_out(plan: Plan) -> Plan:
    """The best so far of a search that was stopped, without what nobody acts on."""
    return replace(plan, warnings=(*plan.warnings, STOPPED))


def is_stopped(plan: Plan) -> bool:
    """Whether something is left out of a plan, as somebody stopped it."""
    return STOPPED in plan.warnings


def with_doubt(
    plan: Plan,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    odds: Odds,
    *,
    stop: Stop = never,
) -> Plan:
    """The plan with what its doubt is made of: a quarter of a plan's time, unless stopped."""
    terms, tails_cost_frac = made_of(plan.job, pours, schedule, odds, stop=stop)
    if stop():
        return left_out(plan)
    risk = replace(plan.risk, made_of=terms, tails_cost_frac=tails_cost_frac)
    return replace(plan, risk=risk)


def with_help(plan: Plan, schedule: Schedule) -> Plan:
    """The plan with what would mend it, cheapest first, ahead of what else would help."""
    zone = plan.job.site.zone
    found = _relaxed(schedule, zone)
    others = (*found, *plan.decisions.alternatives)
    unsought = () if found else (Message("warn.no_help", {}),)
    decisions = replace(plan.decisions, alternatives=others)
    return replace(plan, decisions=decisions, warnings=(*plan.warnings, *unsought))


def _relaxed(schedule: Schedule, zone: ZoneInfo) -> tuple[Alternative, ...]:
    return tuple(
        Alternative(
            what=relaxed.say,
            also=relaxed.also,
            room=None,
            margin_min=None,
            buys_min=None,
            chance_frac=relaxed.chance_frac,
            opens=None if relaxed.opens_s is None else instant(relaxed.opens_s, zone),
        )
        for relaxed in (schedule.relaxed or ())[:MOST_RELAXED]
    )


def _less_sure(job: Job, schedule: Schedule) -> tuple[Message, ...]:
    if schedule.held_frac is None:
        return ()
    known = {"impossible": "warn.less_sure", "found": "warn.less_held"}
    code = known.get(schedule.sure_known or "unknown", "warn.sure_unknown")
    values = {"wanted_frac": job.policy.confidence, "held_frac": schedule.held_frac}
    return (Message(code, dict(values)),)


def _search_source(schedule: Schedule) -> Source:
    """How far the search for the order went: never left to be guessed."""
    ran_through = (schedule.known, schedule.ended) == ("found", "settled")
    code = "source.search_some" if ran_through else "source.search"
    detail = Message(code, {"known": schedule.known, "ended": schedule.ended})
    return Source(kind="assumption", label="search", licence=None, generic=False, detail=detail)


def _held_frac(job: Job, schedule: Schedule) -> float:
    """The confidence that windows and sure margins are stated at."""
    return job.policy.confidence if schedule.held_frac is None else schedule.held_frac


def _status(job: Job, schedule: Schedule, odds: Odds) -> Status:
    """Within policy where margins are kept on the expected night, and all as often as asked."""
    if schedule.failures:
        return "no feasible plan"
    kept = schedule.keeps_margins_as_expected and odds.all_frac >= job.policy.confidence
    return "within policy" if kept else "short of policy"


def _takeoff(
    job: Job, pours: Mapping[str, RoomPours], schedule: Schedule, chill: ChillPlan
) -> Takeoff:
    placed = {poured.room: poured for poured in schedule.pours}
    rooms = []
    for room in job.rooms:
        poured = placed[room.name]
        layout = pours[room.name].plan(poured.option).layout
        ice_kg = sum(iced.ice_kg for iced in chill.rooms if iced.room == room.name)
        rooms.append(room_takeoff(room, job, layout=layout, works=poured.works, ice_kg=ice_kg))
    order = sorted(schedule.pours, key=lambda poured: poured.start_s)
    return total_takeoff(rooms, job, poured=[poured.room for poured in order])


def _risk(pours: Mapping[str, RoomPours], odds: Odds) -> Risk:
    return Risk(
        members=odds.members,
        seed=odds.seed,
        forecast_sd_k=FORECAST_SD_K,
        slab_sd_k=SLAB_SD_K,
        late_sd_min=LATE_SD_S / 60.0,
        batch_sd_frac=max(room.clocks.spread_frac for room in pours.values()),
        opens_on_time_frac=odds.opening_frac,
        buckets_keep_frac=odds.buckets_frac,
        coats_keep_frac=odds.coats_frac,
        no_wait_frac=odds.no_wait_frac,
        shifts_keep_frac=odds.shifts_frac,
        limits_keep_frac=odds.limits_frac,
        all_keep_frac=odds.all_frac,
        cut_frac=odds.cut_frac,
        stop_lost_frac=odds.stop_lost_frac,
        as_planned_frac=odds.as_planned_frac,
    )
