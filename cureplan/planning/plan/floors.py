"""Rooms and buckets of the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from cureplan.core.clock import on_site
from cureplan.core.messages import Message, Value
from cureplan.inputs.job.model import Heat, Job, Room
from cureplan.planning.floor.layout import patches_of
from cureplan.planning.floor.pour import AS_IS, BINDINGS, BucketClocks, RoomPours
from cureplan.planning.plan.hours import floor_closes_s, instant, known_until_s, minutes
from cureplan.planning.plan.model import Binding, BucketPlan, RemedyTry, RoomPlan, StartHour
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedPour, Seam, Span, crew_spans
from cureplan.planning.schedule.tried import Tried, TriedFloor

__all__ = ["bucket_plans", "room_plans"]

Array = NDArray[np.float64]


def _binding(clocks: BucketClocks, bucket: int) -> Binding:
    names: tuple[Binding, ...] = BINDINGS
    return names[int(clocks.binding[0, bucket])]


def bucket_plans(
    poured: PlacedPour, pours: RoomPours, keeps_frac: NDArray[np.float64]
) -> list[BucketPlan]:
    """The buckets of one floor."""
    zone = pours.job.site.zone
    times, clocks = poured.times, poured.clocks
    start = poured.start_s
    sd_frac = round(pours.wet_doubt(start).total, 4)

    def at(offsets_s: Array, i: int) -> datetime:
        return instant(start + float(offsets_s[i]), zone)

    plans = []
    for i in range(times.pour_s.size):
        ends = clocks.ends_s[:, 0, i]
        tied_in = float(times.tied_in_s[i])
        plans.append(
            BucketPlan(
                room=poured.room,
                number=i + 1,
                bay=int(times.bay[i]) + 1,
                row=int(times.row[i]) + 1,
                station=int(times.station[i]) + 1,
                liquids_in=at(times.liquids_in_s, i),
                filler_in=at(times.filler_in_s, i),
                pour=at(times.pour_s, i),
                raked_by=at(times.raked_s, i),
                smoothed_by=at(times.smoothed_s, i),
                tied_in=None if np.isnan(tied_in) else instant(start + tied_in, zone),
                broadcast_by=instant(float(clocks.broadcast_by_s[0, i]), zone),
                wet_edge_end=instant(float(ends[0]), zone),
                working_time_end=instant(float(ends[1]), zone),
                broadcast_end=instant(float(ends[2]), zone),
                margin_min=minutes(clocks.margin_s[0, i]),
                binding=_binding(clocks, i),
                mixed_c=round(float(clocks.mixed_c[0, i]), 2),
                pour_c=round(float(clocks.pour_c[0, i]), 2),
                slab_c=round(float(clocks.slab_c[0, i]), 2),
                chilled=poured.option.chilled,
                clocks_sd_frac=sd_frac,
                keeps_frac=round(float(keeps_frac[i]), 4),
            )
        )
    return plans


def room_plans(
    job: Job,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    *,
    tried: Tried,
    keeps_frac: Mapping[str, float],
) -> tuple[RoomPlan, ...]:
    """Every floor of the plan, in the order they are poured."""
    ordered = sorted(schedule.pours, key=lambda poured: poured.start_s)
    seams = {
        pour.seam.next_room: (_seam(pour.room, pour.seam),) for pour in ordered if pour.seam
    }
    plans = (
        _room_plan(
            job,
            pours[poured.room],
            poured,
            schedule,
            tried.floors[poured.room],
            order=order + 1,
            keeps=keeps_frac[poured.room],
        )
        for order, poured in enumerate(ordered)
    )
    return tuple(
        replace(plan, reasons=(*plan.reasons, *seams.get(plan.room, ()))) for plan in plans
    )


def _seam(room: str, seam: Seam) -> Message:
    """How a room is met by the next of its group: wet, or at a stop line."""
    stop = "pour.seam_busy" if seam.busy else "pour.seam_unsure"
    if seam.spare_s < 0.0:
        stop = "pour.seam_stop"
    return Message(
        "pour.seam_wet" if seam.wet else stop,
        {"room": seam.next_room, "before": room, "spare_min": minutes(seam.spare_s)},
    )


def _room_plan(
    job: Job,
    pours: RoomPours,
    poured: PlacedPour,
    schedule: Schedule,
    tried: TriedFloor,
    *,
    order: int,
    keeps: float,
) -> RoomPlan:
    zone = job.site.zone
    plan = pours.plan(poured.option)
    clocks = poured.clocks
    tightest = int(clocks.margin_s[0].argmin())
    last = max((c for c in schedule.coats if c.room == poured.room), key=lambda c: c.start_s)
    room = pours.room
    as_is_s = tried.options_s[AS_IS]
    return RoomPlan(
        room=room.name,
        order=order,
        area_m2=room.area_m2,
        thickness_m=plan.layout.thickness_m,
        kits=plan.layout.kits,
        bays=plan.layout.bays,
        buckets_per_row=plan.layout.buckets_per_row,
        row_depth_m=round(plan.layout.row_depth_m, 4),
        cadence_min=minutes(plan.cadence.interval_s),
        cadence_limit=plan.cadence.limit,
        pour_start=instant(poured.start_s, zone),
        pour_end=instant(poured.end_s, zone),
        remedies=(
            *(("hour",) if poured.delayed else ()),
            *poured.option.remedies(),
            *(("heat",) if _heats(job, room) is not None else ()),
        ),
        chilled=poured.option.chilled,
        margin_min=minutes(poured.margin_s),
        sure_margin_min=minutes(poured.sure_margin_s),
        binding=_binding(clocks, tightest),
        binding_bucket=tightest + 1,
        as_is_margin_min=minutes(as_is_s),
        keeps_frac=round(keeps, 4),
        air_c=round(float(pours.conditions.air_at(poured.start_s)), 2),
        slab_c=round(float(pours.conditions.slab_at(poured.start_s)), 2),
        slab_falling=pours.conditions.slab_falls(poured.start_s, poured.end_s),
        walkable=instant(poured.walkable_s, zone),
        topcoat_opens=instant(float(poured.reached["topcoat_opens"].max()), zone),
        topcoat_closes=instant(floor_closes_s(pours, poured), zone),
        foot_traffic=instant(last.after.foot_s, zone),
        wheels=_known(pours, "wheels", last.after.wheels_s),
        wash_down=_known(pours, "wash_down", last.after.wash_down_s),
        opens=instant(last.after.opens_s, zone),
        open_by=on_site(job.due(room.name), zone),
        reasons=_reasons(pours, poured, as_is_s, tightest),
        starts=_start_hours(job, pours, tried),
        tries=_tries(poured, tried),
        open_for=room.open_for,
        patches=patches_of(plan.layout, room),
    )


def _known(pours: RoomPours, name: str, epoch_s: float) -> datetime | None:
    """When a floor bears something; None beyond the plan's hours, if it may open without."""
    if name not in pours.room.open_needs and epoch_s > known_until_s(pours):
        return None
    return instant(epoch_s, pours.job.site.zone)


def _heats(job: Job, room: Room) -> Heat | None:
    """Heaters that run because the plan needs them."""
    heat = room.heat
    return heat if heat and heat.runs and "heat" in job.policy.remedies else None


def _reasons(
    pours: RoomPours, poured: PlacedPour, as_is_s: float, tightest: int
) -> tuple[Message, ...]:
    room, plan, clocks = pours.room.name, pours.plan(poured.option), poured.clocks
    margin_min = minutes(clocks.margin_s[0, tightest])
    reasons = [
        Message(
            "pour.binds" if margin_min >= 0 else "pour.short",
            {
                "room": room,
                "bucket": tightest + 1,
                "binding": _binding(clocks, tightest),
                "margin_min": margin_min,
                "mixed_c": round(float(clocks.mixed_c[0, tightest]), 2),
                "slab_c": round(float(clocks.slab_c[0, tightest]), 2),
            },
        ),
        Message(
            "pour.rhythm",
            {
                "cadence_s": round(plan.cadence.interval_s),
                "limit": f"limit.{plan.cadence.limit}",
            },
        ),
        Message(
            "pour.as_is" if as_is_s >= 0 else "pour.as_is_short",
            {"room": room, "as_is_margin_min": minutes(as_is_s)},
        ),
    ]
    sun_k, patch = pours.conditions.sun_k, pours.room.sun_patch
    if sun_k is not None and patch is not None:
        warmer_k = float(np.interp(poured.start_s, pours.conditions.epoch_s, sun_k))
        part: dict[str, Value] = {
            "share_frac": patch.share,
            "warmer_k": round(warmer_k, 2),
            "lit": f"{patch.starts:%H:%M}-{patch.ends:%H:%M}",
        }
        reasons.append(Message("pour.sunlit", {"room": room, **part}))
        if pours.room.slab_reading is not None:
            where = "shade" if pours.conditions.read_in_shade else "sun"
            reasons.append(Message(f"pour.read_in_{where}", {"room": room}))
    if poured.delayed:
        reasons.append(Message("pour.hour", {"room": room}))
    pinned = pours.room.not_before
    if pinned is not None:
        at = pinned.astimezone(pours.job.site.zone).isoformat()
        reasons.append(Message("pour.not_before", {"room": room, "from_at": at}))
    for remedy in poured.option.remedies():
        values: dict[str, Value] = {"room": room}
        if remedy == "bays":
            values |= {"bays": plan.layout.bays, "bay_width_m": plan.layout.bay_width_m}
        reasons.append(Message(f"pour.{remedy.replace(' ', '_')}", values))
    heat = _heats(pours.job, pours.room)
    if heat is not None:
        at = heat.from_at.astimezone(pours.job.site.zone).isoformat()
        reasons.append(Message("pour.heat", {"room": room, "to_c": heat.to_c, "from_at": at}))
    return tuple(reasons)


def _start_hours(job: Job, pours: RoomPours, tried: TriedFloor) -> tuple[StartHour, ...]:
    """Margins of the full hours around the start, among them the afternoon before."""
    lasts_s = pours.plan(AS_IS).times.last_s
    spans = crew_spans(job, job.crew.pour_shifts)
    return tuple(
        StartHour(
            at=instant(float(hour), job.site.zone),
            as_is_min=minutes(a),
            chilled_min=minutes(b),
            in_shift=_held(spans, float(hour), lasts_s),
        )
        for hour, a, b in zip(tried.hours_s, tried.as_is_s, tried.iced_s, strict=True)
    )


def _held(spans: Sequence[Span], start_s: float, lasts_s: float) -> bool:
    return any(s.begins_s <= start_s and start_s + lasts_s <= s.ends_s for s in spans)


def _tries(poured: PlacedPour, tried: TriedFloor) -> tuple[RemedyTry, ...]:
    """What each remedy, alone and with ice, would have bought at the planned start."""
    as_is_s = tried.options_s[AS_IS]
    return tuple(
        RemedyTry(
            remedies=option.remedies(),
            bays=option.bays,
            margin_min=minutes(margin_s),
            buys_min=minutes(margin_s - as_is_s),
            adopted=option == poured.option,
        )
        for option, margin_s in sorted(tried.options_s.items())
    )
