"""Kits in the plan: ice, a bucket left standing, and what a card says of humidity."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from cureplan.core.messages import Message, Value
from cureplan.inputs.cards.model import SlurryCard, TopcoatCard
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.ice import Gain, IceNeed
from cureplan.planning.floor.pour import RoomPours, kit_temperatures
from cureplan.planning.plan.hours import instant, minutes
from cureplan.planning.plan.model import ChillPlan, ChillRoom, Source
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedPour
from cureplan.planning.schedule.tried import LeftStanding, Tried
from cureplan.science.humidity import HumidityRate
from cureplan.science.ice.cooling import sweats

__all__ = [
    "chill_plan",
    "exotherm_caution",
    "humidity_sources",
    "humidity_warnings",
]


def exotherm_caution(standing: LeftStanding) -> Message:
    """What an un-iced bucket of the tightest floor does that is left in its pail."""
    return Message(
        "warn.exotherm",
        {
            "mixed_c": round(standing.mixed_c, 2),
            "hot_c": round(standing.hot_c, 2),
            "standing_min": minutes(standing.standing_s),
            "floor_min": minutes(standing.floor_s),
        },
    )


BEYOND_FRAC = 0.02
"""Two points of relative humidity are within any hygrometer's error: invented."""


def humidity_warnings(job: Job, pours: Mapping[str, RoomPours]) -> tuple[Message, ...]:
    """Where rooms are drier or damper than a card's points, or nobody knows how damp."""
    found: list[Message] = []
    for card, rate_factor in _cards(job, pours):
        if rate_factor is None:
            continue
        shares = _shares(job, pours)
        if np.any(np.isnan(shares)):
            unknown: dict[str, Value] = {
                "card": card.title,
                "reference_frac": round(rate_factor.reference_frac, 4),
            }
            found.append(Message("warn.humidity_unknown", unknown))
        known = shares[~np.isnan(shares)]
        if known.size and (
            known.min() < rate_factor.low_frac - BEYOND_FRAC
            or known.max() > rate_factor.high_frac + BEYOND_FRAC
        ):
            values: dict[str, Value] = {
                "card": card.title,
                "from_frac": round(float(known.min()), 4),
                "to_frac": round(float(known.max()), 4),
                "low_frac": round(rate_factor.low_frac, 4),
                "high_frac": round(rate_factor.high_frac, 4),
            }
            found.append(Message("warn.humidity_beyond", values))
    return tuple(found)


def humidity_sources(job: Job, pours: Mapping[str, RoomPours]) -> tuple[Source, ...]:
    """That a card's clocks follow humidity, or why the humidities on it do not count."""
    notes = []
    for card, rate_factor in _cards(job, pours):
        points = [p for m in card.milestones.values() for p in m.points]
        if rate_factor is not None:
            values: dict[str, Value] = {
                "card": card.title,
                "low_frac": round(rate_factor.low_frac, 4),
                "high_frac": round(rate_factor.high_frac, 4),
            }
            notes.append(Message("source.humidity", values))
        elif any(point.humidity_frac is not None for point in points):
            notes.append(Message("source.humidity_idle", {"card": card.title}))
    return tuple(
        Source(
            kind="assumption",
            label=say.code.removeprefix("source."),
            licence=None,
            generic=False,
            detail=say,
        )
        for say in notes
    )


def _cards(
    job: Job, pours: Mapping[str, RoomPours]
) -> Iterator[tuple[SlurryCard | TopcoatCard, HumidityRate | None]]:
    room = next(iter(pours.values()))
    yield job.cards.slurry, room.clocks.humidity
    yield job.cards.topcoat, room.topcoat.humidity


def _shares(job: Job, pours: Mapping[str, RoomPours]) -> np.ndarray:
    """Relative humidity of every room at every hour of the job."""
    begins_s, ends_s = job.access.begins.timestamp(), job.access.open_by.timestamp()
    rows = []
    for room in pours.values():
        at_s = room.conditions.epoch_s
        rows.append(room.conditions.humidity_at(at_s[(at_s >= begins_s) & (at_s <= ends_s)]))
    return np.concatenate(rows)


def chill_plan(
    job: Job, pours: Mapping[str, RoomPours], schedule: Schedule, tried: Tried
) -> ChillPlan:
    """Ice or not, room by room, with the time the pails must go in."""
    ordered = sorted(schedule.pours, key=lambda poured: poured.start_s)
    need = tried.need
    rooms = tuple(
        _room(job, pours[poured.room], poured, need, gain)
        for poured in ordered
        if (gain := tried.floors[poured.room].gain) is not None
    )
    return ChillPlan(
        iced=bool(rooms),
        rooms=rooms,
        ice_kg=round(sum(room.ice_kg for room in rooms), 2),
        ice_per_kit_kg=round(need.ice_per_kit_kg, 3),
        ice_for_water_kg=round(need.for_water_kg, 3),
        in_ice_by=min((room.in_ice_by for room in rooms), default=None),
        hours_standing=round(need.standing_s / 3600.0, 3),
        hours_stirred=round(need.stirred_s / 3600.0, 3),
        liquids_as_is_c=round(need.from_c, 2),
        measured=job.materials.liquids_measured_c is not None,
    )


def _room(
    job: Job, pours: RoomPours, poured: PlacedPour, need: IceNeed, gain: Gain
) -> ChillRoom:
    zone, conditions = job.site.zone, pours.conditions
    kits = pours.plan(poured.option).layout.kits
    liquids_c = kit_temperatures(job.materials, chilled=True, cool_filler=False).liquids_c
    dew_c = float(conditions.dew_at(poured.start_s))
    cold_c = job.materials.iced_c if liquids_c is None else liquids_c
    return ChillRoom(
        room=poured.room,
        kits=kits,
        ice_kg=round(kits * need.ice_per_kit_kg, 2),
        needed_at=instant(poured.start_s, zone),
        in_ice_by=instant(
            poured.start_s - need.in_ice_s(stirred=job.materials.stirred_in_ice), zone
        ),
        in_ice_by_stirred=instant(poured.start_s - need.stirred_s, zone),
        from_c=round(need.from_c, 2),
        to_c=round(cold_c, 2),
        gained_min=minutes(gain.total_s[0]),
        gained_bucket_min=minutes(gain.bucket_s[0]),
        gained_floor_min=minutes(gain.floor_s[0]),
        sweats=False if np.isnan(dew_c) else bool(sweats(cold_c, dew_c=dew_c)),
    )
