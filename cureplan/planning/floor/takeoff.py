"""Takeoff: whole kits, whole batches, whole bags, and what is left over."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from cureplan.core.messages import Message, Value
from cureplan.inputs.cards.model import PrimerCard, TopcoatCard
from cureplan.inputs.job.model import Display, Job, Room
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
    aggregate_bags: int = 0
    """Bags begun for it, counted over the job by `total_takeoff`; of its first, the floors
    poured before may have had some."""
    aggregate_swept_kg: float
    primer_batches: int
    coat_batches: tuple[int, ...]
    coat_volume_m3: tuple[float, ...]
    ice_kg: float
    cove_m: float = 0.0
    cove_kg: float = 0.0
    """Mortar of its cove, waste counted in."""


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
    order: tuple[Message, ...] = ()
    """The same in packages as the trade sells them, waste counted in."""


ICE_BAG_KG: Mapping[Display, float] = {"us": 4.5359237, "metric": 5.0}
"""A bag of ice: 10 lb, and 5 kg; from memory."""
COVE_BAG_KG: Mapping[Display, float] = {"us": 22.6796185, "metric": 25.0}
"""A package of cove mortar: 50 lb, and 25 kg; invented."""


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
        aggregate_swept_kg=room.area_m2 * cards.aggregate.swept_kg_m2,
        primer_batches=primer,
        coat_batches=tuple(work.batches for work in coats),
        coat_volume_m3=tuple(work.volume_m3 for work in coats),
        ice_kg=ice_kg,
        cove_m=job.cove_m(room),
        cove_kg=_cove_kg(room, job),
    )


def _cove_kg(room: Room, job: Job) -> float:
    if job.cove is None:
        return 0.0
    return job.cove_m(room) * job.cove.material_kg_m * (1.0 + job.materials.waste)


def total_takeoff(
    rooms: Sequence[TakeoffRoom], job: Job, *, poured: Sequence[str] = ()
) -> Takeoff:
    """Add the floors up; bags are counted once over the job, batches per floor and coat.

    `poured` names the floors as they are poured: the rest of a bag goes on to the next.
    """
    rooms = _bags_shared(rooms, job.cards.aggregate.bag_kg, poured)
    aggregate_kg = sum(room.aggregate_kg for room in rooms)
    ice_kg = sum(room.ice_kg for room in rooms)
    return Takeoff(
        rooms=tuple(rooms),
        kits=sum(room.kits for room in rooms),
        aggregate_bags=sum(room.aggregate_bags for room in rooms),
        aggregate_kg=aggregate_kg,
        primer_batches=sum(room.primer_batches for room in rooms),
        topcoat_batches=sum(sum(room.coat_batches) for room in rooms),
        topcoat_m3=sum(sum(room.coat_batches) for room in rooms) * job.cards.topcoat.batch_m3,
        ice_kg=ice_kg,
        order=tuple(_order(rooms, job, aggregate_kg=aggregate_kg, ice_kg=ice_kg)),
    )


def _bags_shared(
    rooms: Sequence[TakeoffRoom], bag_kg: float, poured: Sequence[str]
) -> list[TakeoffRoom]:
    """Whole bags for each floor that add up to those of the job."""
    shared = list(rooms)
    place = {room: number for number, room in enumerate(poured)}
    spread_kg, begun = 0.0, 0
    for at in sorted(range(len(rooms)), key=lambda at: place.get(rooms[at].room, 0)):
        spread_kg += rooms[at].aggregate_kg
        bags = _whole(spread_kg / bag_kg) - begun
        shared[at] = replace(rooms[at], aggregate_bags=bags)
        begun += bags
    return shared


def _order(
    rooms: Sequence[TakeoffRoom], job: Job, *, aggregate_kg: float, ice_kg: float
) -> Iterator[Message]:
    """What to order, a line for each material.

    Of what is mixed in batches, whole ones for each floor and coat; where waste asks for
    more than these leave over, more.
    """
    cards, ice_bag_kg = job.cards, ICE_BAG_KG[job.display]
    kits = sum(room.kits for room in rooms)
    kits_kg = kits * cards.slurry.kit_mass_kg
    yield Message(
        "buy.kits", {"packages": kits, "amount_kg": kits_kg, "card": cards.slurry.title}
    )
    if cards.primer is not None:
        volume_m3 = sum(room.area_m2 for room in rooms) / cards.primer.spread_m2_m3
        batches = sum(room.primer_batches for room in rooms)
        yield _batches("buy.primer", cards.primer, batches, volume_m3, job)
    volume_m3 = sum(sum(room.coat_volume_m3) for room in rooms)
    batches = sum(sum(room.coat_batches) for room in rooms)
    yield _batches("buy.topcoat", cards.topcoat, batches, volume_m3, job)
    bags = (
        ("cove", COVE_BAG_KG[job.display], sum(room.cove_kg for room in rooms)),
        ("aggregate", cards.aggregate.bag_kg, aggregate_kg),
        ("ice", ice_bag_kg, ice_kg),
    )
    for what, bag_kg, amount_kg in bags:
        if amount_kg > 0:
            values: dict[str, Value] = {
                "packages": _whole(amount_kg / bag_kg),
                "package_kg": bag_kg,
                "amount_kg": amount_kg,
                "card": cards.aggregate.title,
            }
            yield Message(f"buy.{what}", values)


def _batches(
    code: str, card: TopcoatCard | PrimerCard, batches: int, volume_m3: float, job: Job
) -> Message:
    wanted = _whole(volume_m3 * (1.0 + job.materials.waste) / card.batch_m3)
    packages = max(batches, wanted)
    return Message(
        code,
        {
            "packages": packages,
            "package_m3": card.batch_m3,
            "amount_m3": packages * card.batch_m3,
            "card": card.title,
        },
    )


def _whole(count: float) -> int:
    # 1e-9 keeps an exact count from being rounded up by floating-point noise.
    return math.ceil(count - 1e-9)
