"""Takeoff: whole kits, whole batches, whole bags, and what is left over."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cureplan.inputs.job.model import Job, Room
from cureplan.planning.floor.layers import Work
from cureplan.planning.floor.layout import PourLayout

__all__ = ["Takeoff", "TakeoffRoom", "room_takeoff", "total_takeoff"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeoffRoom:
    """What one floor needs, in whole kits, batches and bags."""

    room: str
    area_m2: float
    kits: int
    slurry_needed_m3: float
    slurry_left_m3: float
    aggregate_kg: float
    aggregate_bags: int
    aggregate_swept_kg: float
    primer_batches: int
    coat_batches: tuple[int, ...]
    coat_volume_m3: tuple[float, ...]
    ice_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Takeoff:
    """What to load on the truck."""

    rooms: tuple[TakeoffRoom, ...]
    kits: int
    aggregate_bags: int
    aggregate_kg: float
    primer_batches: int
    topcoat_batches: int
    topcoat_m3: float
    ice_kg: float


def room_takeoff(
    room: Room, job: Job, *, layout: PourLayout, works: Sequence[Work], ice_kg: float
) -> TakeoffRoom:
    """Count what one floor needs."""
    cards = job.cards
    broadcast_kg = room.area_m2 * (cards.aggregate.kept_kg_m2 + cards.aggregate.swept_kg_m2)
    coats = [work for work in works if work.layer.kind == "topcoat"]
    primer = sum(work.batches for work in works if work.layer.kind == "primer")
    if cards.primer is not None:
        broadcast_kg += room.area_m2 * cards.primer.broadcast_kg_m2
    return TakeoffRoom(
        room=room.name,
        area_m2=room.area_m2,
        kits=layout.kits,
        slurry_needed_m3=layout.slurry_needed_m3,
        slurry_left_m3=layout.kits * cards.slurry.mixed_yield_m3 - layout.slurry_needed_m3,
        aggregate_kg=broadcast_kg,
        aggregate_bags=_whole(broadcast_kg / cards.aggregate.bag_kg),
        aggregate_swept_kg=room.area_m2 * cards.aggregate.swept_kg_m2,
        primer_batches=primer,
        coat_batches=tuple(work.batches for work in coats),
        coat_volume_m3=tuple(work.volume_m3 for work in coats),
        ice_kg=ice_kg,
    )


def total_takeoff(rooms: Sequence[TakeoffRoom], job: Job) -> Takeoff:
    """Add the floors up; bags are counted once over the job, batches per floor and coat."""
    aggregate_kg = sum(room.aggregate_kg for room in rooms)
    return Takeoff(
        rooms=tuple(rooms),
        kits=sum(room.kits for room in rooms),
        aggregate_bags=_whole(aggregate_kg / job.cards.aggregate.bag_kg),
        aggregate_kg=aggregate_kg,
        primer_batches=sum(room.primer_batches for room in rooms),
        topcoat_batches=sum(sum(room.coat_batches) for room in rooms),
        topcoat_m3=sum(sum(room.coat_batches) for room in rooms) * job.cards.topcoat.batch_m3,
        ice_kg=sum(room.ice_kg for room in rooms),
    )


def _whole(count: float) -> int:
    # 1e-9 keeps an exact count from being rounded up by floating-point noise.
    return math.ceil(count - 1e-9)
