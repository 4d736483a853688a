"""What is loaded on the truck: whole kits, batches and bags, and what is left over."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cureplan.judge.case import Case, Floor
from cureplan.judge.finding import Finding, Unit, miscounted, mismeasured
from cureplan.judge.milestones import cove_m
from cureplan.planning.plan.model import TakeoffRoom

__all__ = ["check_takeoff", "coat_volume_m3"]

SLIGHT = 1e-6
"""Amounts are written unrounded; the rest is two ways of multiplying."""
ICE_TOL_KG = 0.02


def check_takeoff(case: Case) -> Iterator[Finding]:
    """Every floor's amounts, and their sums."""
    named = [room.room for room in case.plan.takeoff.rooms]
    if sorted(named) != sorted(floor.name for floor in case.floors):
        yield Finding(
            rule="takeoff",
            room=None,
            what=f"the takeoff names {sorted(named)}, not the floors of the plan",
            off_by=1.0,
            unit="count",
        )
        return
    for floor in case.floors:
        said = next(room for room in case.plan.takeoff.rooms if room.room == floor.name)
        yield from _check_slurry(case, floor, said)
        yield from _check_aggregate(case, floor, said)
        yield from _check_coats(case, floor, said)
    yield from _check_sums(case)
    yield from _check_order(case)


def coat_volume_m3(case: Case, floor: Floor, coat: int) -> float:
    """What one coat of a floor takes; the first fills between the stones."""
    card = case.plan.job.cards.topcoat
    spread = card.spread_first_m2_m3 if coat == 1 else card.spread_second_m2_m3
    return floor.room.area_m2 / spread


def _check_slurry(case: Case, floor: Floor, said: TakeoffRoom) -> Iterator[Finding]:
    name, materials = floor.name, case.plan.job.materials
    needed_m3 = (
        floor.room.area_m2
        * (materials.thickness_m + materials.profile_allowance_m)
        * (1.0 + materials.waste)
    )
    left_m3 = len(floor.buckets) * case.plan.job.cards.slurry.mixed_yield_m3 - needed_m3
    yield from miscounted("takeoff", name, "kits", said.kits, len(floor.buckets))
    rows: tuple[tuple[str, float, float, Unit], ...] = (
        ("area", said.area_m2, floor.room.area_m2, "m2"),
        ("slurry needed", said.slurry_needed_m3, needed_m3, "m3"),
        ("slurry left over", said.slurry_left_m3, left_m3, "m3"),
    )
    for label, got, want, unit in rows:
        yield from mismeasured("takeoff", name, label, got, want, within=SLIGHT, unit=unit)


def _check_aggregate(case: Case, floor: Floor, said: TakeoffRoom) -> Iterator[Finding]:
    cards, area_m2, name = case.plan.job.cards, floor.room.area_m2, floor.name
    swept_kg = area_m2 * cards.aggregate.swept_kg_m2
    broadcast_kg = area_m2 * cards.aggregate.kept_kg_m2 + swept_kg
    if cards.primer is not None:
        broadcast_kg += area_m2 * cards.primer.broadcast_kg_m2
    for label, got, want in (
        ("aggregate", said.aggregate_kg, broadcast_kg),
        ("aggregate swept up", said.aggregate_swept_kg, swept_kg),
    ):
        yield from mismeasured("takeoff", name, label, got, want, within=SLIGHT, unit="kg")
    yield from _check_cove(case, floor, said)
    primer = 0
    if cards.primer is not None:
        primer = max(1, _whole(area_m2 / (cards.primer.spread_m2_m3 * cards.primer.batch_m3)))
    yield from miscounted("takeoff", name, "batches of primer", said.primer_batches, primer)


def _check_cove(case: Case, floor: Floor, said: TakeoffRoom) -> Iterator[Finding]:
    job, length_m, mass_kg = case.plan.job, 0.0, 0.0
    if job.cove is not None:
        length_m = cove_m(floor)
        mass_kg = length_m * job.cove.material_kg_m * (1.0 + job.materials.waste)
    rows: tuple[tuple[str, float, float, Unit], ...] = (
        ("cove", said.cove_m, length_m, "m"),
        ("cove mortar", said.cove_kg, mass_kg, "kg"),
    )
    for label, got, want, unit in rows:
        yield from mismeasured(
            "takeoff", floor.name, label, got, want, within=SLIGHT, unit=unit
        )


def _check_coats(case: Case, floor: Floor, said: TakeoffRoom) -> Iterator[Finding]:
    batch_m3 = case.plan.job.cards.topcoat.batch_m3
    coats = range(1, floor.room.topcoats + 1)
    volumes_m3 = [coat_volume_m3(case, floor, coat) for coat in coats]
    if (len(said.coat_batches), len(said.coat_volume_m3)) != (len(coats), len(coats)):
        yield Finding(
            rule="takeoff",
            room=floor.name,
            what=f"{floor.name}: topcoat for {len(said.coat_batches)} coats, "
            f"{len(coats)} are needed",
            off_by=float(max(1, abs(len(said.coat_batches) - len(coats)))),
            unit="count",
        )
        return
    for coat, volume_m3, got, got_m3 in zip(
        coats, volumes_m3, said.coat_batches, said.coat_volume_m3, strict=True
    ):
        label = f"coat {coat}"
        yield from mismeasured(
            "takeoff", floor.name, label, got_m3, volume_m3, within=SLIGHT, unit="m3"
        )
        batches = max(1, _whole(volume_m3 / batch_m3))
        yield from miscounted("takeoff", floor.name, f"{label}, batches", got, batches)


def _check_sums(case: Case) -> Iterator[Finding]:
    said, cards = case.plan.takeoff, case.plan.job.cards
    batches = sum(sum(room.coat_batches) for room in said.rooms)
    broadcast_kg = sum(room.aggregate_kg for room in said.rooms)
    bag_kg, spread_kg, begun = cards.aggregate.bag_kg, 0.0, 0
    said_of = {room.room: room for room in said.rooms}
    # Bags are bought for the whole job: the rest of one goes on to the floor poured next.
    for floor in sorted(case.floors, key=lambda floor: floor.begins_s):
        room = said_of[floor.name]
        spread_kg += room.aggregate_kg
        due = _whole(spread_kg / bag_kg) - begun
        yield from miscounted(
            "takeoff", floor.name, "bags of aggregate", room.aggregate_bags, due
        )
        begun += due
    for label, got, want in (
        ("kits", said.kits, sum(room.kits for room in said.rooms)),
        ("bags", said.aggregate_bags, begun),
        ("primer", said.primer_batches, sum(room.primer_batches for room in said.rooms)),
        ("topcoat batches", said.topcoat_batches, batches),
    ):
        yield from miscounted("takeoff", None, f"{label} in all", got, want)
    sums: tuple[tuple[str, float, float, float, Unit], ...] = (
        ("aggregate", said.aggregate_kg, broadcast_kg, SLIGHT, "kg"),
        ("topcoat", said.topcoat_m3, batches * cards.topcoat.batch_m3, SLIGHT, "m3"),
        ("ice", said.ice_kg, sum(room.ice_kg for room in said.rooms), ICE_TOL_KG, "kg"),
    )
    for label, got_sum, want_sum, within, unit in sums:
        yield from mismeasured(
            "takeoff", None, f"{label} in all", got_sum, want_sum, within=within, unit=unit
        )


COVE_BAG_KG = {"us": 50 * 0.45359237, "metric": 25.0}
ICE_BAG_KG = {"us": 10 * 0.45359237, "metric": 5.0}


def _check_order(case: Case) -> Iterator[Finding]:
    """One list of what to order, in whole packages that hold what the floors need."""
    said, job = case.plan.takeoff, case.plan.job
    cards, waste = job.cards, 1.0 + job.materials.waste
    wanted = {"buy.kits": sum(len(floor.buckets) for floor in case.floors)}
    area_m2 = sum(floor.room.area_m2 for floor in case.floors)
    if cards.primer is not None:
        least = _whole(area_m2 / cards.primer.spread_m2_m3 * waste / cards.primer.batch_m3)
        wanted["buy.primer"] = max(said.primer_batches, least)
    coats_m3 = sum(
        coat_volume_m3(case, floor, coat)
        for floor in case.floors
        for coat in range(1, floor.room.topcoats + 1)
    )
    least = _whole(coats_m3 * waste / cards.topcoat.batch_m3)
    wanted["buy.topcoat"] = max(said.topcoat_batches, least)
    for code, amount_kg, bag_kg in (
        ("buy.cove", sum(room.cove_kg for room in said.rooms), COVE_BAG_KG[job.display]),
        ("buy.aggregate", said.aggregate_kg, cards.aggregate.bag_kg),
        ("buy.ice", case.plan.chill.ice_kg, ICE_BAG_KG[job.display]),
    ):
        wanted[code] = _whole(amount_kg / bag_kg)
    named = {line.code: line.values["packages"] for line in said.order}
    for code in sorted({*wanted, *named}):
        got = named.get(code)
        count = got if isinstance(got, int) else 0
        yield from miscounted("takeoff", None, code, count, wanted.get(code, 0))


def _whole(count: float) -> int:
    return math.ceil(count - 1e-9)
