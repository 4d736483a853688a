"""What else a floor could have been given: other hours, other ways, other hands, and ice.

The last that runs the bucket model for a plan: whoever puts the plan together only reads.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.crew import bottleneck, what_is_more, with_one_more
from cureplan.planning.floor.ice import (
    Gain,
    IceBath,
    IceNeed,
    gain_from_ice,
    ice_need,
    steady_run,
)
from cureplan.planning.floor.pour import AS_IS, PourOption, RoomPours, kit_temperatures
from cureplan.planning.schedule.floor_model import Tables
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedPour
from cureplan.planning.schedule.remedies import MOST_BAYS
from cureplan.planning.schedule.tables import PourTables
from cureplan.science.kit import BucketPath
from cureplan.science.procedure import exotherm_path

__all__ = ["LeftStanding", "Tried", "TriedFloor", "try_others"]

HOUR_S = 3600.0
HOURS_AROUND = 12
ICED = PourOption(chilled=True, cool_filler=False, bays=1)
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedFloor:
    """Margins of one floor, poured otherwise than planned."""

    hours_s: Array
    """Full hours around the start, among them the afternoon before [epoch s]."""
    as_is_s: Array
    iced_s: Array
    """At those hours."""
    options_s: Mapping[PourOption, float]
    """At the planned start: each remedy, alone and with ice."""
    gain: Gain | None
    """What ice buys; None where the floor is not iced."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftStanding:
    """An un-iced bucket, dumped at once against left in its pail."""

    mixed_c: float
    hot_c: float
    standing_s: float
    floor_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """What was tried besides a schedule."""

    floors: Mapping[str, TriedFloor]
    need: IceNeed
    """Ice and time for one kit, from what the liquids are stored at."""
    standing: LeftStanding
    """Of the tightest floor."""
    tightest: PlacedPour
    others_s: tuple[tuple[str, float], ...]
    """Its margins with what the job does not list, by the words of it."""


def try_others(job: Job, tables: Tables, schedule: Schedule) -> Tried:
    """Run what a plan is to say of other ways, once."""
    tightest = min(schedule.pours, key=lambda poured: poured.planning_margin_s)
    return Tried(
        floors={
            poured.room: _floor(job, tables.of(poured.room), poured)
            for poured in schedule.pours
        },
        need=_need(job, tables, schedule),
        standing=_left_standing(job, tables.pours[tightest.room], tightest),
        tightest=tightest,
        others_s=(
            *_unlisted(job, tables.pours[tightest.room], tightest),
            *_more_hands(job, tables.pours[tightest.room], tightest),
        ),
    )


def _floor(job: Job, tables: PourTables, poured: PlacedPour) -> TriedFloor:
    pours, at_s = tables.pours, np.array([poured.start_s])
    conditions, lasts_s = pours.conditions, pours.plan(AS_IS).times.last_s
    middle = np.floor(poured.start_s / HOUR_S) * HOUR_S
    hours_s = middle + HOUR_S * np.arange(-HOURS_AROUND, HOURS_AROUND + 1)
    known = (hours_s >= conditions.first_s) & (hours_s + lasts_s <= conditions.last_s)
    hours_s = hours_s[known]
    options = {AS_IS, ICED, PourOption(chilled=True, cool_filler=True, bays=1)}
    options |= {
        PourOption(chilled=chilled, cool_filler=False, bays=bays)
        for chilled in (False, True)
        for bays in range(2, min(MOST_BAYS, 3))
    }
    return TriedFloor(
        hours_s=hours_s,
        as_is_s=tables.least_s(AS_IS, hours_s),
        iced_s=tables.least_s(ICED, hours_s),
        options_s={
            **{option: float(tables.least_s(option, at_s)[0]) for option in options},
            poured.option: poured.margin_s,
        },
        gain=_gain(job, pours, poured) if poured.option.chilled else None,
    )


def _need(job: Job, tables: Tables, schedule: Schedule) -> IceNeed:
    first = min(schedule.pours, key=lambda poured: poured.start_s)
    stored_c = job.materials.storage_c
    if stored_c is None:
        stored_c = float(tables.pours[first.room].conditions.air_at(first.start_s))
    return ice_need(
        job.cards.slurry,
        from_c=stored_c,
        to_c=job.materials.iced_c,
        bath=IceBath(
            cooler_loss=job.materials.cooler_loss,
            water_m3=job.materials.ice_water_m3,
            water_c=job.materials.ice_water_c,
        ),
    )


def _steady(
    job: Job, pours: RoomPours, start_s: float, *, chilled: bool, cool_filler: bool
) -> BucketPath:
    """A bucket at the temperatures a pour begins with."""
    air_c = float(pours.conditions.air_at(start_s))
    kit = kit_temperatures(job.materials, chilled=chilled, cool_filler=cool_filler)
    return steady_run(
        pours.clocks,
        liquids_c=air_c if kit.liquids_c is None else kit.liquids_c,
        filler_c=air_c if kit.filler_c is None else kit.filler_c,
        air_c=air_c,
        slab_c=float(pours.conditions.slab_at(start_s)),
        haul_s=job.pace.haul_s,
    )


def _gain(job: Job, pours: RoomPours, poured: PlacedPour) -> Gain:
    cool, start_s = poured.option.cool_filler, poured.start_s
    return gain_from_ice(
        pours.clocks,
        "wet_edge",
        as_is=_steady(job, pours, start_s, chilled=False, cool_filler=cool),
        chilled=_steady(job, pours, start_s, chilled=True, cool_filler=cool),
        slab_c=float(pours.conditions.slab_at(start_s)),
    )


def _left_standing(job: Job, pours: RoomPours, poured: PlacedPour) -> LeftStanding:
    """Un-iced, because that is the one that runs away.

    The mixer's own warmth is left out, so the real bucket is a little worse off.
    """
    path = _steady(job, pours, poured.start_s, chilled=False, cool_filler=False)
    ends_s = pours.clocks.age_s["working_time"]
    pail = exotherm_path(
        float(path.mixed_c[0]),
        float(pours.conditions.air_at(poured.start_s)),
        kit=pours.clocks.kit,
        start_age_s=float(path.age_s[0, 0]),
        end_age_s=ends_s,
    )
    return LeftStanding(
        mixed_c=float(path.mixed_c[0]),
        hot_c=float(pail.temp_c[-1]),
        standing_s=float(pail.time_s[-1]),
        floor_s=float(path.when_s(ends_s)[0]),
    )


def _unlisted(job: Job, room: RoomPours, poured: PlacedPour) -> list[tuple[str, float]]:
    option = poured.option
    wider = {
        "chill": PourOption(chilled=True, cool_filler=option.cool_filler, bays=option.bays),
        "cool filler": PourOption(chilled=option.chilled, cool_filler=True, bays=option.bays),
        "bays": PourOption(
            chilled=option.chilled, cool_filler=option.cool_filler, bays=option.bays + 1
        ),
    }
    return [
        (remedy.replace(" ", "_"), float(room.run(changed, poured.start_s).least_s[0]))
        for remedy, changed in wider.items()
        if remedy not in job.policy.remedies and changed != option
    ]


def _more_hands(job: Job, room: RoomPours, poured: PlacedPour) -> list[tuple[str, float]]:
    found = []
    for task in {"mixing", bottleneck([room.plan(poured.option)])}:
        crew = with_one_more(job.crew, task)
        margin_s = float(room.run(poured.option, poured.start_s, crew=crew).least_s[0])
        found.append((f"more_{what_is_more(job.crew, task)}", margin_s))
    return found
