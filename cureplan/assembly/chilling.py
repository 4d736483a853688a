"""The plan's ice: rooms, kilograms, and by when the pails must be in it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from cureplan.assembly.instants import instant, minutes
from cureplan.job.model import Job
from cureplan.physics.bucket import BucketPath
from cureplan.physics.chilling import sweats
from cureplan.plan import ChillPlan, ChillRoom
from cureplan.planning.ice import IceNeed, gain_from_ice, ice_need, steady_run
from cureplan.planning.margins import kit_temperatures
from cureplan.planning.pour import RoomPours
from cureplan.schedule.outcome import Schedule
from cureplan.schedule.placing import PlacedPour

__all__ = ["chill_plan", "planned_need"]


def chill_plan(job: Job, pours: Mapping[str, RoomPours], schedule: Schedule) -> ChillPlan:
    """Ice or not, room by room, with the time the pails must go in.

    Parameters
    ----------
    job, pours, schedule
        The job, its rooms, and what was decided.

    Returns
    -------
    ChillPlan
        Times are those of pails left standing unless the job says they are stirred; a
        measured liquid temperature means the ice has done its work.
    """
    ordered = sorted(schedule.pours, key=lambda poured: poured.start_s)
    need = planned_need(job, pours, schedule)
    rooms = tuple(
        _room(job, pours[poured.room], poured, need)
        for poured in ordered
        if poured.option.chilled
    )
    return ChillPlan(
        iced=bool(rooms),
        rooms=rooms,
        ice_kg=round(sum(room.ice_kg for room in rooms), 2),
        ice_per_kit_kg=round(need.ice_per_kit_kg, 3),
        in_ice_by=min((room.in_ice_by for room in rooms), default=None),
        hours_standing=round(need.standing_s / 3600.0, 3),
        hours_stirred=round(need.stirred_s / 3600.0, 3),
        liquids_as_is_c=round(need.from_c, 2),
        measured=job.materials.liquids_measured_c is not None,
    )


def planned_need(job: Job, pours: Mapping[str, RoomPours], schedule: Schedule) -> IceNeed:
    """Ice and time for one kit, from what the liquids are stored at."""
    first = min(schedule.pours, key=lambda poured: poured.start_s)
    stored_c = job.materials.storage_c
    if stored_c is None:
        stored_c = float(pours[first.room].conditions.air_at(first.start_s))
    return ice_need(
        job.cards.slurry,
        from_c=stored_c,
        to_c=job.materials.iced_c,
        cooler_loss=job.materials.cooler_loss,
    )


def _room(job: Job, pours: RoomPours, poured: PlacedPour, need: IceNeed) -> ChillRoom:
    zone, conditions = job.site.zone, pours.conditions
    kits = pours.plan(poured.option).layout.kits
    air_c = float(conditions.air_at(poured.start_s))
    slab_c = float(conditions.slab_at(poured.start_s))

    def run(*, chilled: bool) -> BucketPath:
        kit = kit_temperatures(
            job.materials, chilled=chilled, cool_filler=poured.option.cool_filler
        )
        return steady_run(
            pours.clocks,
            liquids_c=air_c if kit.liquids_c is None else kit.liquids_c,
            filler_c=air_c if kit.filler_c is None else kit.filler_c,
            air_c=air_c,
            slab_c=slab_c,
            haul_s=job.pace.haul_s,
        )

    gain = gain_from_ice(
        pours.clocks,
        "wet_edge",
        as_is=run(chilled=False),
        chilled=run(chilled=True),
        slab_c=slab_c,
    )
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
