"""The job as the night has made it: batch, slabs, kits, hands and rooms corrected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Job, Materials, Room, SlabReading
from cureplan.inputs.job.schema import TWO_COAT_USES
from cureplan.inputs.tables.night_log import READINGS, AddedRoom
from cureplan.planning.floor.conditions import RoomConditions, build_up
from cureplan.planning.floor.pour import slurry_of
from cureplan.planning.plan.model import NightSlab, Plan
from cureplan.planning.replan.estimate import OTHER_PART, NightReadings
from cureplan.planning.replan.state import NightState
from cureplan.science.clocks import SlurryClocks, clocks_as_seen
from cureplan.weather.hours.series import HOUR_S, HourlySeries, WeatherOrigin

__all__ = [
    "BatchRate",
    "corrected_conditions",
    "corrected_job",
    "plan_conditions",
    "plan_rate",
    "plan_series",
]

TRUSTED_SD_K = 0.75
"""A slab known as well as this counts as read on the night: invented."""
BEYOND_H = 72
"""Hours past the plan's own for which its last day is repeated, so that a late plan can
say how late it is."""
Array = NDArray[np.float64]


def plan_series(plan: Plan) -> HourlySeries:
    """The plan's own outdoor hours, its last day repeated beyond them."""
    sources = list(dict.fromkeys((row.origin, row.kind) for row in plan.hours))
    temp_c = np.array([row.outdoor_c for row in plan.hours])
    dew_c = np.array([np.nan if row.dew_c is None else row.dew_c for row in plan.hours])
    origin = np.array([sources.index((row.origin, row.kind)) for row in plan.hours])
    epoch_s = _epoch_s(plan)
    return HourlySeries(
        epoch_s=epoch_s,
        temp_c=_longer(temp_c),
        dew_c=_longer(dew_c),
        cloud_frac=np.full(epoch_s.size, np.nan),
        origin=np.concatenate([origin, np.full(BEYOND_H, origin[-1])]),
        origins=tuple(
            WeatherOrigin(label=label, kind=kind, licence="", attribution="")
            for label, kind in sources
        ),
    )


def _epoch_s(plan: Plan) -> Array:
    first_s = plan.hours[0].at.timestamp()
    return np.asarray(first_s + HOUR_S * np.arange(len(plan.hours) + BEYOND_H))


def _longer(column: Array) -> Array:
    last = column[-min(24, column.size) :]
    return np.concatenate([column, np.resize(last, BEYOND_H)])


def plan_conditions(plan: Plan) -> dict[str, RoomConditions]:
    """Air and slab of every room as the plan was made with, from its own hours."""
    epoch_s = _epoch_s(plan)
    dew_c = _longer(np.array([np.nan if r.dew_c is None else r.dew_c for r in plan.hours]))
    found = {}
    night = plan.night
    until_s = np.nan if night is None else night.until.timestamp()
    slabs: dict[str, NightSlab] = {}
    if night is not None and any(line.event in READINGS for line in night.log):
        slabs = {slab.room: slab for slab in night.slab}
    for column, hour in enumerate(plan.hours[0].rooms):
        room = plan.job.room(hour.room)
        rows = [row.rooms[column] for row in plan.hours]
        slab_c = np.array([row.slab_c for row in rows])
        shade_c = np.array([r.slab_c if r.shade_c is None else r.shade_c for r in rows])
        reading, slab = room.slab_reading, slabs.get(hour.room)
        halved = slab is not None and slab.warm_parts
        found[hour.room] = RoomConditions(
            room=hour.room,
            epoch_s=epoch_s,
            air_c=_longer(np.array([row.rooms[column].air_c for row in plan.hours])),
            slab_c=_longer(slab_c),
            dew_c=dew_c,
            reading_s=None if reading is None else reading.read_at.timestamp(),
            night_slab=None if slab is None else (until_s, slab.sd_k),
            sun_k=_longer(slab_c - shade_c) if room.sun_patch or halved else None,
            warm_parts=() if slab is None else slab.warm_parts,
            half_sd_k=None if slab is None else slab.half_sd_k,
            build_up=build_up(room, plan.job.building),
        )
    return found


def corrected_conditions(
    before: Mapping[str, RoomConditions],
    rooms: Sequence[Room],
    readings: NightReadings,
    *,
    now_s: float,
) -> dict[str, RoomConditions]:
    """Slabs moved by what was read; away from the readings the correction fades."""
    found = {}
    for room in rooms:
        if room.name in before:
            base = before[room.name]
            shift_k, sd_k = _shift(readings, room.name)
        else:
            base = _mean_room(room.name, list(before.values()))
            shifts = [readings.slab_k(name) for name in readings.rooms]
            shift_k, sd_k = float(np.mean(shifts)) if shifts else 0.0, np.inf
        share = base.reading_share(base.epoch_s, reading_s=readings.first_s, until_s=now_s)
        moved = replace(
            base,
            slab_c=base.slab_c + shift_k * share,
            reading_s=now_s if sd_k <= TRUSTED_SD_K else base.reading_s,
            night_slab=(now_s, sd_k) if np.isfinite(sd_k) else base.night_slab,
        )
        if room.name in readings.rooms and readings.slope_k(room.name):
            moved = _halved(moved, base, readings, share, now_s)
        found[room.name] = moved
    return found


def _halved(
    moved: RoomConditions,
    base: RoomConditions,
    readings: NightReadings,
    share: Array,
    now_s: float,
) -> RoomConditions:
    """Each half of a slab moved by what was read of it: what the less moved one shows, both
    have in common, and it fades as a reading does; the rest by the slowest mode."""
    parts = readings.parts_of(base.room)
    others = tuple(OTHER_PART[part] for part in parts)
    lit_c, shade_c = float(base.slab_at(now_s)), float(base.shade.slab_at(now_s))
    read_c = {
        half: (lit_c if not base.warm_parts or half[0] in base.warm_parts else shade_c) + k
        for half, k in zip((others, parts), readings.halves_k(base.room), strict=True)
    }
    cool, warm = sorted(read_c, key=lambda half: read_c[half])
    warm_k, cool_k = read_c[warm] - lit_c, read_c[cool] - shade_c
    # Where it is not known which half, every patch may lie in the middle or off it.
    unknown_k = 0.5 * (read_c[warm] - read_c[cool]) if len(parts) > 1 else 0.0
    away_s = base.epoch_s - np.clip(base.epoch_s, readings.first_s, now_s)
    apart_k = (warm_k - cool_k) * base.halves_left(away_s)
    common_k = min(cool_k, warm_k, key=abs)
    sun_k = 0.0 if base.sun_k is None else base.sun_k
    return replace(
        moved,
        slab_c=base.slab_c + common_k * share + (apart_k if common_k == cool_k else 0.0),
        sun_k=np.maximum(0.0, sun_k + apart_k),
        warm_parts=warm,
        half_sd_k=float(np.hypot(readings.halves_sd_k(base.room), unknown_k)),
    )


def _shift(readings: NightReadings, room: str) -> tuple[float, float]:
    if room not in readings.rooms or readings.fit.readings == 0:
        return 0.0, np.inf
    return readings.slab_k(room), readings.slab_sd_k(room)


def _mean_room(name: str, others: Sequence[RoomConditions]) -> RoomConditions:
    return replace(
        others[0],
        room=name,
        air_c=np.mean([other.air_c for other in others], axis=0),
        slab_c=np.mean([other.slab_c for other in others], axis=0),
        reading_s=None,
        night_slab=None,
        sun_k=None,
    )


def corrected_job(
    job: Job,
    state: NightState,
    readings: NightReadings,
    *,
    conditions: Mapping[str, RoomConditions],
) -> Job:
    """The job with tonight's slabs, kits, hands and rooms; its cards stay as they are."""
    materials = job.materials
    if readings.fit.readings:
        air_c = float(np.mean([c.air_at(state.now_s) for c in conditions.values()]))
        materials = _corrected_kits(materials, readings.fit.kit_k, air_c)
    kept = [room for room in job.rooms if room.name not in state.dropped]
    rooms = [
        replace(
            _with_reading(room, state, readings, conditions),
            way_out=tuple(
                name for name in job.crossed_from(room.name) if name not in state.dropped
            ),
        )
        for room in kept
    ] + [_new_room(job, added) for added in state.added]
    return replace(job, materials=materials, rooms=tuple(rooms))


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRate:
    """Tonight's batch against its card, as `Night` states it."""

    rate_factor: float = 1.0
    card_doubt_frac: float = 1.0
    batch_doubt_frac: float = 1.0

    def of(self, job: Job) -> SlurryClocks:
        """The clocks of a job's card at tonight's rate."""
        return clocks_as_seen(
            slurry_of(job),
            rate_factor=self.rate_factor,
            card_doubt_frac=self.card_doubt_frac,
            batch_doubt_frac=self.batch_doubt_frac,
        )

    def after(self, readings: NightReadings) -> BatchRate:
        """The rate once more was read."""
        fit = readings.fit
        if not fit.readings:
            return self
        left, before = readings.ln_speed_sd, fit.prior.doubt_sd
        # What one kit has of its own, no reading of others makes surer.
        own = fit.prior.kit_sd
        return BatchRate(
            rate_factor=self.rate_factor * readings.speed,
            card_doubt_frac=self.card_doubt_frac * min(1.0, left / before),
            batch_doubt_frac=self.batch_doubt_frac
            * min(1.0, float(np.hypot(left, own) / np.hypot(before, own))),
        )


def plan_rate(plan: Plan) -> BatchRate:
    """What a plan takes its batch to do; a plan made before the night, what the card says."""
    night = plan.night
    if night is None:
        return BatchRate()
    return BatchRate(
        rate_factor=night.rate_factor,
        card_doubt_frac=night.card_doubt_frac,
        batch_doubt_frac=night.batch_doubt_frac,
    )


def _corrected_kits(materials: Materials, kit_k: float, air_c: float) -> Materials:
    if not kit_k:
        return materials
    measured_c = materials.liquids_measured_c
    stored_c = air_c if materials.storage_c is None else materials.storage_c
    return replace(
        materials,
        storage_c=stored_c + kit_k,
        iced_c=materials.iced_c + kit_k,
        cool_filler_c=materials.cool_filler_c + kit_k,
        liquids_measured_c=None if measured_c is None else measured_c + kit_k,
    )


def _with_reading(
    room: Room,
    state: NightState,
    readings: NightReadings,
    conditions: Mapping[str, RoomConditions],
) -> Room:
    shift_k, sd_k = _shift(readings, room.name)
    if sd_k > TRUSTED_SD_K:
        return room
    surface_c = float(conditions[room.name].slab_at(state.now_s)) + shift_k
    read_at = datetime.fromtimestamp(state.now_s, UTC)
    return replace(room, slab_reading=SlabReading(surface_c=surface_c, read_at=read_at))


def _new_room(job: Job, added: AddedRoom) -> Room:
    building = job.building
    return Room(
        name=added.name,
        length_m=added.length_m,
        width_m=added.width_m,
        use=added.use,
        way_out=added.way_out,
        topcoats=2 if added.use in TWO_COAT_USES else 1,
        climate=building.climate,
        set_point_c=building.set_point_c if building.climate == "held" else None,
        slab_thickness_m=building.slab_thickness_m,
        insulation_m=building.insulation_m,
        slab_reading=None,
        sun_patch=None,
        open_by=None,
        group=None,
    )
