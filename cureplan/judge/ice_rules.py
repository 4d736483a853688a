"""Whether the ice is enough, in time, and said of the floors that get it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cureplan.core.clock import epoch_s
from cureplan.judge.ageing import dew_curve
from cureplan.judge.case import Case, Floor
from cureplan.judge.compare import differs, later
from cureplan.judge.finding import MARGIN_TOL_S, Finding, miscounted, mismeasured
from cureplan.planning.plan.model import ChillRoom

__all__ = ["check_ice"]

FUSION_J_KG = 333_550.0  # heat that melts ice at 0 °C
WATER_J_M3_K = 4.19e6
KG_TOL = 0.02
"""Kilograms a kit are written to a gram, a floor's to ten."""
TEMP_TOL_K = 0.02


def check_ice(case: Case) -> Iterator[Finding]:
    """Floors, buckets and the ice plan agree on what is chilled; the ice comes in time."""
    chill = case.plan.chill
    chilled = {floor.name for floor in case.floors if floor.plan.chilled}
    iced = [room.room for room in chill.rooms]
    if sorted(iced) != sorted(chilled) or chill.iced != bool(chilled):
        yield Finding(
            rule="ice",
            room=None,
            what=f"chilled floors are {sorted(chilled)}, ice is planned for {sorted(iced)} "
            f"and the answer is {'ice' if chill.iced else 'no ice'}",
            off_by=float(max(1, len(chilled ^ set(iced)))),
            unit="count",
        )
    for floor in case.floors:
        cold = {bucket.chilled for bucket in floor.buckets}
        if cold != {floor.plan.chilled} or floor.plan.chilled != (
            "chill" in floor.plan.remedies
        ):
            yield Finding(
                rule="ice",
                room=floor.name,
                what=f"{floor.name}: the floor, its remedies and its buckets do not agree on "
                "whether liquids are chilled",
                off_by=1.0,
                unit="count",
            )
        if floor.name in iced:
            yield from _check_ice_of(case, floor)
    yield from _check_amounts(case)


def _check_ice_of(case: Case, floor: Floor) -> Iterator[Finding]:
    chill = case.plan.chill
    room = next(room for room in chill.rooms if room.room == floor.name)
    yield from miscounted("ice", floor.name, "kits iced", room.kits, len(floor.buckets))
    yield from _check_times(case, floor, room)
    yield from _check_cold(case, floor, room)
    name, zone, first_s = floor.name, floor.zone, floor.begins_s
    for label, at in (
        ("pails in ice", room.in_ice_by),
        ("pails in stirred ice", room.in_ice_by_stirred),
        ("cold liquids needed", room.needed_at),
        ("first pails in ice", chill.in_ice_by),
    ):
        by_s = float("inf") if at is None else epoch_s(at)
        yield from later("ice", name, zone, label, by_s, first_s, MARGIN_TOL_S)


def _check_times(case: Case, floor: Floor, room: ChillRoom) -> Iterator[Finding]:
    """Needed at the first stir, and in ice for the hours stated before that."""
    chill, stirred = case.plan.chill, case.plan.job.materials.stirred_in_ice
    hours = chill.hours_stirred if stirred else chill.hours_standing
    for label, said, is_s in (
        ("cold liquids needed", room.needed_at, floor.begins_s),
        ("pails in ice", room.in_ice_by, floor.begins_s - 3600.0 * hours),
        (
            "pails in stirred ice",
            room.in_ice_by_stirred,
            floor.begins_s - 3600.0 * chill.hours_stirred,
        ),
    ):
        yield from differs(
            "ice", floor.name, floor.zone, label, epoch_s(said), (is_s, is_s), MARGIN_TOL_S
        )


def _check_cold(case: Case, floor: Floor, room: ChillRoom) -> Iterator[Finding]:
    """From what to what, whether pails sweat, and that what is gained adds up."""
    materials, name = case.plan.job.materials, floor.name
    measured_c = materials.liquids_measured_c
    to_c = materials.iced_c if measured_c is None else measured_c
    for label, got_c, want_c in (
        ("liquids before", room.from_c, case.plan.chill.liquids_as_is_c),
        ("liquids in ice", room.to_c, to_c),
    ):
        yield from mismeasured("ice", name, label, got_c, want_c, within=TEMP_TOL_K, unit="°C")
    parts_min = room.gained_bucket_min + room.gained_floor_min
    yield from mismeasured(
        "ice", name, "minutes gained", room.gained_min, parts_min, within=0.03, unit="min"
    )
    over_k = to_c - float(np.interp(floor.begins_s, *dew_curve(case.plan.hours)))
    # A dew point that is not known warns of nothing.
    if not abs(over_k) <= TEMP_TOL_K and room.sweats != (over_k <= 0.0):
        yield Finding(
            rule="ice",
            room=name,
            what=f"{name}: pails are said {'' if room.sweats else 'not '}to sweat, at "
            f"{over_k:+.1f} K to the dew point",
            off_by=1.0 if np.isnan(over_k) else abs(over_k),
            unit="K",
        )


def _check_amounts(case: Case) -> Iterator[Finding]:
    """Ice melts with its heat of fusion; kits, floors and the job add up."""
    chill, job = case.plan.chill, case.plan.job
    materials, liquids = job.materials, job.cards.slurry.liquids
    first = min(case.floors, key=lambda floor: floor.begins_s)
    from_c = materials.storage_c
    if from_c is None:
        from_c = float(first.hours.air(first.begins_s))
    holds_j_k = sum(part.mass_kg * part.specific_heat_j_kg_k for part in liquids)
    warm_k = max(0.0, from_c - materials.iced_c)
    melts_kg_j = (1.0 + materials.cooler_loss) / FUSION_J_KG
    water_kg = materials.ice_water_m3 * WATER_J_M3_K * materials.ice_water_c * melts_kg_j
    if not warm_k:
        water_kg = 0.0
    kit_kg = holds_j_k * warm_k * melts_kg_j + water_kg
    yield from mismeasured(
        "ice", None, "liquids as they are", chill.liquids_as_is_c, from_c,
        within=TEMP_TOL_K, unit="°C",
    )  # fmt: skip
    for label, got_kg, want_kg, within in (
        ("ice for a kit", chill.ice_per_kit_kg, kit_kg, 0.002),
        ("ice for a kit's water", chill.ice_for_water_kg, water_kg, 0.002),
        ("ice in all", chill.ice_kg, sum(room.ice_kg for room in chill.rooms), KG_TOL),
    ):
        yield from mismeasured("ice", None, label, got_kg, want_kg, within=within, unit="kg")
    iced_kg = {room.room: room.ice_kg for room in chill.rooms}
    for room in chill.rooms:
        due_kg = room.kits * kit_kg
        yield from mismeasured(
            "ice", room.room, "ice", room.ice_kg, due_kg, within=KG_TOL, unit="kg"
        )
    for loaded in case.plan.takeoff.rooms:
        due_kg = iced_kg.get(loaded.room, 0.0)
        yield from mismeasured(
            "ice", loaded.room, "ice to load", loaded.ice_kg, due_kg,
            within=2 * KG_TOL, unit="kg",
        )  # fmt: skip
    if chill.measured != (materials.liquids_measured_c is not None):
        yield Finding(
            rule="ice",
            room=None,
            what="whether the liquids were measured is not what the job says",
            off_by=1.0,
            unit="count",
        )
    soonest = min((room.in_ice_by for room in chill.rooms), default=None)
    if chill.in_ice_by != soonest:
        yield Finding(
            rule="ice",
            room=None,
            what="the first pails are not in ice when the first floor's are",
            off_by=1.0,
            unit="count",
        )
