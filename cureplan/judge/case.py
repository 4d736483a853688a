"""A plan laid out for judging: planned instants as arrays, and what must come of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from itertools import pairwise
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cureplan.core.clock import epoch_s
from cureplan.inputs.job.model import Room
from cureplan.judge import outlines
from cureplan.judge.ageing import CardRate, RoomHours, read_card, room_hours
from cureplan.judge.kit import KitModel, KitRuns, Kits, calibrate, run_kits
from cureplan.planning.plan.model import BucketPlan, CoatPlan, Night, Plan, PrimerPlan, RoomPlan

__all__ = ["READ_SLAB_SD_K", "Case", "Floor", "Planned", "read_case"]

READ_SLAB_SD_K = 0.5  # invented: an infrared reading's own doubt
SHORT_CLOCKS = ("wet_edge", "working_time", "broadcast_closes")
HELD_BACK = "broadcast_opens"  # optional: sooner, the grains sink
LONGEST_STAGE = 3.0  # a longer stage is found by its own rule; here it would only boil

Floats = NDArray[np.float64]
Bound = Literal["lenient", "strict"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """What the plan says of one floor's buckets, seconds since 1970, NaN where none."""

    liquids_s: Floats
    filler_s: Floats
    pour_s: Floats
    raked_s: Floats
    smoothed_s: Floats
    tied_s: Floats
    broadcast_s: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """One floor: its plan, its buckets, and what became of them when re-run."""

    plan: RoomPlan
    room: Room
    zone: tzinfo
    buckets: tuple[BucketPlan, ...]
    primers: tuple[PrimerPlan, ...]
    coats: tuple[CoatPlan, ...]
    hours: RoomHours
    planned: Planned
    partner: tuple[int | None, ...]
    """Index of the bucket whose raking closes each one's open edge."""
    under_c: Floats
    """Slab under each bucket when it lands."""
    runs: KitRuns
    ends_s: dict[str, Floats]
    fast_ends_s: dict[Bound, dict[str, Floats]]

    @property
    def name(self) -> str:
        """What the job calls it."""
        return self.room.name

    @property
    def begins_s(self) -> float:
        """First liquids of the floor."""
        return float(self.planned.liquids_s.min())

    @property
    def ends_pour_s(self) -> float:
        """Last hand off the floor, as planned where a strip waits for the next room."""
        inside = ~self.met_elsewhere
        if not inside.all():
            return epoch_s(self.plan.pour_end)
        parts = (self.planned.smoothed_s, self.planned.broadcast_s)
        return float(max(part.max() for part in parts))

    @property
    def met_elsewhere(self) -> NDArray[np.bool_]:
        """Which buckets are said to be tied in though no row of their own room meets them."""
        alone = np.array([partner is None for partner in self.partner])
        return np.asarray(alone & ~np.isnan(self.planned.tied_s))

    def held_back_s(self, ends_s: dict[str, Floats]) -> Floats:
        """How long each smooth patch is too fresh for grains; nothing where no card says so."""
        if HELD_BACK not in ends_s:
            return np.zeros_like(self.planned.smoothed_s)
        return np.maximum(0.0, ends_s[HELD_BACK] - self.planned.smoothed_s)

    @property
    def bucket_area_m2(self) -> Floats:
        """Area each bucket covers: its bay's share of the room over the bay's kits.

        Where the floor is no rectangle, the hands are paced by the largest patch.
        """
        bays = [bucket.bay for bucket in self.buckets]
        if self.room.outline is not None:
            areas = outlines.patch_areas_m2(self.plan.patches)
            return np.full(len(bays), areas.max() if areas.size else 0.0)
        share = self.room.area_m2 / len(set(bays))
        return np.array([share / bays.count(bay) for bay in bays])

    @property
    def edge_m(self) -> float:
        """Length of all its walls and islands."""
        if self.room.outline is not None:
            return outlines.edge_m(self.room.outline)
        return 2.0 * (self.room.length_m + self.room.width_m)

    def margins_s(self, ends_s: dict[str, Floats]) -> dict[str, Floats]:
        """What is left of each clock [s]; +inf where a row ties into nothing."""
        left = ends_s["wet_edge"] - self.planned.tied_s
        # A batch that ages faster than planned may take its grains sooner as well.
        wait_s = self.held_back_s(ends_s) - self.held_back_s(self.ends_s)
        return {
            "wet_edge": np.where(np.isnan(left), np.inf, left),
            "working_time": ends_s["working_time"] - self.planned.smoothed_s,
            "broadcast_closes": ends_s["broadcast_closes"] - self.planned.broadcast_s - wait_s,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """All of a plan, ready to be judged."""

    plan: Plan
    slurry: CardRate
    topcoat: CardRate
    primer: CardRate | None
    quantile: float
    floors: tuple[Floor, ...]

    def floor(self, name: str) -> Floor | None:
        """The floor of that name, if it is planned."""
        return next((floor for floor in self.floors if floor.name == name), None)

    def age_factor(self, rate: CardRate, floor: Floor, at_s: float, bound: Bound) -> float:
        """Factor on a waiting age for the job's confidence; its inverse for closing ones."""
        return float(np.exp(self.quantile * self.doubt_frac(rate, floor, at_s, bound)))

    def doubt_frac(self, rate: CardRate, floor: Floor, at_s: float, bound: Bound) -> float:
        """Standard deviation of ln(time) on a floor at an instant.

        The plan states how well it knows a slab; one that was read may be known
        better, and the lenient factor takes the reading as still fresh.
        """
        sd_k = self.plan.risk.slab_sd_k
        if bound == "lenient" and floor.room.slab_reading is not None:
            sd_k = min(sd_k, READ_SLAB_SD_K)
        return rate.doubt_frac(float(floor.hours.slab(at_s)), temp_sd_k=sd_k)


def read_case(plan: Plan) -> Case:
    """Re-run every bucket of a plan whose hours cover all its rooms."""
    card = plan.job.cards.slurry
    materials = plan.job.materials
    thickness_m = materials.thickness_m + materials.profile_allowance_m
    model = _as_seen(calibrate(card, thickness_m=thickness_m), plan.night)
    coat, primer = plan.job.cards.topcoat, plan.job.cards.primer
    case = Case(
        plan=plan,
        slurry=model.rate,
        topcoat=read_card(coat.prior, coat.milestones),
        primer=None if primer is None else read_card(primer.prior, primer.milestones),
        quantile=NormalDist().inv_cdf(plan.decisions.held_frac),
        floors=(),
    )
    return replace(case, floors=tuple(_floors(case, model)))


def _as_seen(model: KitModel, night: Night | None) -> KitModel:
    """The card's bucket at the speed and with the doubt that the night's plan states."""
    if night is None:
        return model
    faster, rate = night.rate_factor, model.rate
    seen = replace(
        rate,
        energy_sd_j_mol=rate.energy_sd_j_mol * night.card_doubt_frac,
        batch_frac=rate.batch_frac * night.batch_doubt_frac,
        ref_s={name: ref_s / faster for name, ref_s in rate.ref_s.items()},
    )
    # As much heat by the end of the working time, in less age.
    return replace(model, rate=seen, heat_j=model.heat_j * faster)


def _floors(case: Case, model: KitModel) -> Iterator[Floor]:
    for room in case.plan.rooms:
        buckets = tuple(sorted(case.plan.buckets_of(room.room), key=lambda b: b.number))
        hours = room_hours(case.plan.hours, room.room)
        if hours is None or not buckets:
            continue
        planned = _planned(buckets)
        kits = _kits(case, room, buckets, planned, hours)
        runs = run_kits(model, kits)
        floor = Floor(
            plan=room,
            room=case.plan.job.room(room.room),
            zone=case.plan.job.site.zone,
            buckets=buckets,
            primers=tuple(primer for primer in case.plan.primers if primer.room == room.room),
            coats=tuple(coat for coat in case.plan.coats if coat.room == room.room),
            hours=hours,
            planned=planned,
            partner=_partners(buckets, room.buckets_per_row)
            if case.plan.job.room(room.room).outline is None
            else outlines.partners(
                room.patches, [b.bay for b in buckets], [b.row for b in buckets]
            ),
            under_c=kits.slab_c,
            runs=runs,
            ends_s=_ends(case, runs, planned),
            fast_ends_s={},
        )
        for bound in ("lenient", "strict"):
            age_factor = case.age_factor(case.slurry, floor, floor.begins_s, bound)
            faster = run_kits(replace(model, age_factor=age_factor), kits)
            floor.fast_ends_s[bound] = _ends(case, faster, planned)
            if floor.room.slab_reading is None:
                floor.fast_ends_s["strict"] = floor.fast_ends_s["lenient"]
                break
        yield floor


def _ends(case: Case, runs: KitRuns, planned: Planned) -> dict[str, Floats]:
    names = [name for name in (*SHORT_CLOCKS, HELD_BACK) if name in case.slurry.ref_s]
    return {name: planned.filler_s + runs.reached(case.slurry.ref_s[name]) for name in names}


def _planned(buckets: tuple[BucketPlan, ...]) -> Planned:
    def column(name: str) -> Floats:
        written: list[datetime | None] = [getattr(bucket, name) for bucket in buckets]
        return np.array([np.nan if at is None else epoch_s(at) for at in written])

    return Planned(
        liquids_s=column("liquids_in"),
        filler_s=column("filler_in"),
        pour_s=column("pour"),
        raked_s=column("raked_by"),
        smoothed_s=column("smoothed_by"),
        tied_s=column("tied_in"),
        broadcast_s=column("broadcast_by"),
    )


def _kits(
    case: Case,
    room: RoomPlan,
    buckets: tuple[BucketPlan, ...],
    planned: Planned,
    hours: RoomHours,
) -> Kits:
    job = case.plan.job
    card, haul_s, materials = job.cards.slurry, job.pace.haul_s, job.materials
    air_c = hours.air(planned.liquids_s)
    stored_c = (
        air_c if materials.storage_c is None else np.full_like(air_c, materials.storage_c)
    )
    measured_c = materials.liquids_measured_c
    iced_c = materials.iced_c if measured_c is None else measured_c
    chilled = np.array([bucket.chilled for bucket in buckets])
    cool = "cool filler" in room.remedies

    def lasting(took_s: Floats, meant_s: float) -> Floats:
        return np.asarray(np.clip(took_s, 0.0, LONGEST_STAGE * meant_s))

    filler_s = np.full_like(air_c, card.filler_mix_s)
    return Kits(
        liquids_s=lasting(planned.filler_s - planned.liquids_s, card.liquids_mix_s),
        filler_s=filler_s,
        haul_s=lasting(planned.pour_s - planned.filler_s - filler_s, haul_s),
        liquids_c=np.where(chilled, iced_c, stored_c),
        filler_c=np.full_like(air_c, materials.cool_filler_c) if cool else stored_c,
        air_c=air_c,
        slab_c=_under_c(case.plan.night, room.room, buckets, planned, hours),
        pace=case.slurry.pace(hours.humidity(planned.pour_s)),
    )


def _under_c(
    night: Night | None,
    room: str,
    buckets: tuple[BucketPlan, ...],
    planned: Planned,
    hours: RoomHours,
) -> Floats:
    """The warmer slab, but where the night says which half of the floor is the cooler;
    between them where it names two that it may be."""
    warm_c = hours.slab(planned.pour_s)
    slabs = () if night is None else night.slab
    parts = next((slab.warm_parts for slab in slabs if slab.room == room), ())
    if not parts:
        return warm_c
    rows = {b.bay: max(other.row for other in buckets if other.bay == b.bay) for b in buckets}
    by_order = np.arange(len(buckets)) / len(buckets)
    in_bay = np.array([(b.row - 1) / rows[b.bay] for b in buckets])
    late = [(in_bay if part in ("back", "front") else by_order) >= 0.5 for part in parts]
    warm = [late[i] if part in ("last", "front") else ~late[i] for i, part in enumerate(parts)]
    cooler_k = warm_c - hours.shade(planned.pour_s)
    return np.asarray(warm_c - (1.0 - np.mean(warm, axis=0)) * cooler_k)


def _partners(buckets: tuple[BucketPlan, ...], per_row: int) -> tuple[int | None, ...]:
    """Rows cut off bay by bay; an edge is met by all of the next row that lies before it."""
    partners: list[int | None] = [None] * len(buckets)
    for bay in {bucket.bay for bucket in buckets}:
        mine = [index for index, bucket in enumerate(buckets) if bucket.bay == bay]
        step = max(1, per_row)
        rows = [mine[first : first + step] for first in range(0, len(mine), step)]
        for row, after in pairwise(rows):
            for place, index in enumerate(row):
                # Shares of the width: the other begins before this one ends.
                before_it = [
                    other
                    for k, other in enumerate(after)
                    if k * len(row) < (place + 1) * len(after)
                ]
                partners[index] = before_it[-1]
    return tuple(partners)
