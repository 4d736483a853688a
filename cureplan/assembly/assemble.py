"""Put a schedule, its odds and its reasons together into one frozen plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from cureplan.assembly.answers import (
    alternatives,
    ice_answer,
    order_answer,
    way_back_answer,
)
from cureplan.assembly.calls import call_plans, coat_plans
from cureplan.assembly.chilling import chill_plan, planned_need
from cureplan.assembly.damp import humidity_sources, humidity_warnings
from cureplan.assembly.floors import bucket_plans, room_plans
from cureplan.assembly.hours import beyond_hours, hour_rows
from cureplan.assembly.past import past_sources, past_warnings
from cureplan.assembly.standing import standing_caution
from cureplan.assembly.warnings import plan_sources, plan_warnings
from cureplan.job.model import Job
from cureplan.plan import Alternative, Decisions, Plan, Risk, Status
from cureplan.planning.doubt import FORECAST_SD_K, SLAB_SD_K
from cureplan.planning.pour import RoomPours
from cureplan.planning.takeoff import Takeoff, room_takeoff, total_takeoff
from cureplan.say import Say
from cureplan.schedule.nights import LATE_SD_S
from cureplan.schedule.outcome import Schedule
from cureplan.schedule.risk import Odds
from cureplan.weather.series import HourlySeries

if TYPE_CHECKING:
    from cureplan.job.record_fares import PastFares

__all__ = ["assemble"]

MOST_RELAXED = 4
EVEN_ODDS = 0.5
"""Confidence of a window held to what is expected."""


def assemble(
    job: Job,
    series: HourlySeries,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    odds: Odds,
    *,
    made_at: datetime,
    past: PastFares | None = None,
) -> Plan:
    """Freeze everything that was decided.

    Parameters
    ----------
    job, series, pours, schedule, odds
        The job, its weather, its rooms, and what was decided and drawn.
    made_at : datetime
        When the plan is made, aware.
    past : PastFares, optional
        How earlier predictions with these cards fared.

    Returns
    -------
    Plan
    """
    wanted, job = job, _as_planned(job, schedule)
    rooms = room_plans(job, pours, schedule, keeps_frac=odds.room_frac)
    calls = call_plans(job, pours, schedule)
    coats = coat_plans(job, pours, schedule, odds.coat_frac)
    chill = chill_plan(job, pours, schedule)
    unsure = _less_sure(wanted, schedule)
    ordered = sorted(schedule.pours, key=lambda poured: poured.start_s)
    return Plan(
        job=job,
        decisions=Decisions(
            status=_status(schedule),
            made_at=made_at.astimezone(job.site.zone).replace(microsecond=0),
            answers=(
                order_answer(job, rooms, calls, odds),
                ice_answer(job, rooms, chill),
                way_back_answer(rooms, coats, calls, odds, unsure=unsure),
            ),
            alternatives=(*_relaxed(schedule), *alternatives(job, pours, schedule)),
            solver=schedule.solver,
            proven=schedule.proven,
            gap_frac=schedule.gap_frac,
        ),
        rooms=rooms,
        buckets=tuple(
            bucket
            for poured in ordered
            for bucket in bucket_plans(
                poured, pours[poured.room], odds.bucket_frac[poured.room]
            )
        ),
        coats=coats,
        calls=calls,
        chill=chill,
        hours=hour_rows(job, series, pours),
        takeoff=_takeoff(job, pours, schedule, chill.ice_per_kit_kg),
        risk=_risk(job, odds),
        warnings=(
            *plan_warnings(
                job,
                series,
                rooms=rooms,
                coats=coats,
                chill=chill,
                need=planned_need(job, pours, schedule),
                made_at=made_at,
            ),
            *beyond_hours(job, pours, schedule),
            _standing(job, pours, schedule),
            *humidity_warnings(job, pours),
            *past_warnings(past),
        ),
        sources=(
            *plan_sources(job, series),
            *humidity_sources(job, pours),
            *past_sources(past),
        ),
    )


def _standing(job: Job, pours: Mapping[str, RoomPours], schedule: Schedule) -> Say:
    tightest = min(schedule.pours, key=lambda poured: poured.planning_margin_s)
    return standing_caution(job, pours[tightest.room], tightest)


def _relaxed(schedule: Schedule) -> tuple[Alternative, ...]:
    return tuple(
        Alternative(
            what=relaxed.say, also=relaxed.also, room=None, margin_min=None, buys_min=None
        )
        for relaxed in (schedule.relaxed or ())[:MOST_RELAXED]
    )


def _less_sure(wanted: Job, schedule: Schedule) -> tuple[Say, ...]:
    if schedule.windows == "sure":
        return ()
    return (Say("warn.even_odds", {"wanted_frac": wanted.policy.confidence}),)


def _as_planned(job: Job, schedule: Schedule) -> Job:
    """The job with the confidence its windows were really held to."""
    if schedule.windows == "sure":
        return job
    return replace(job, policy=replace(job.policy, confidence=EVEN_ODDS))


def _status(schedule: Schedule) -> Status:
    if schedule.failures:
        return "no feasible plan"
    return "within policy" if schedule.keeps_policy else "short of policy"


def _takeoff(
    job: Job, pours: Mapping[str, RoomPours], schedule: Schedule, ice_per_kit_kg: float
) -> Takeoff:
    placed = {poured.room: poured for poured in schedule.pours}
    rooms = []
    for room in job.rooms:
        poured = placed[room.name]
        layout = pours[room.name].plan(poured.option).layout
        ice_kg = layout.kits * ice_per_kit_kg if poured.option.chilled else 0.0
        rooms.append(
            room_takeoff(room, job, layout=layout, works=poured.works, ice_kg=round(ice_kg, 2))
        )
    return total_takeoff(rooms, job)


def _risk(job: Job, odds: Odds) -> Risk:
    return Risk(
        members=odds.members,
        seed=odds.seed,
        forecast_sd_k=FORECAST_SD_K,
        slab_sd_k=SLAB_SD_K,
        late_sd_min=LATE_SD_S / 60.0,
        batch_sd_frac=max(m.spread_frac for m in job.cards.slurry.milestones.values()),
        opens_on_time_frac=odds.opening_frac,
        buckets_keep_frac=odds.buckets_frac,
        coats_keep_frac=odds.coats_frac,
        all_keep_frac=odds.all_frac,
    )
