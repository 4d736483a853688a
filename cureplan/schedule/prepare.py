"""From a job and its weather to rooms ready to be tried."""

from __future__ import annotations

from cureplan.job.model import Job
from cureplan.planning.clocks import slurry_clocks, topcoat_clocks
from cureplan.planning.conditions import SLAB_EFFUSIVITY, room_conditions
from cureplan.planning.pour import RoomPours
from cureplan.weather.series import HourlySeries

__all__ = ["prepare_pours"]


def prepare_pours(job: Job, series: HourlySeries) -> dict[str, RoomPours]:
    """Air, slab and clocks of every room.

    Parameters
    ----------
    job : Job
        The job.
    series : HourlySeries
        Weather that covers it, with history.

    Returns
    -------
    dict
        `RoomPours` by room name, in the job's order.
    """
    conditions = room_conditions(job, series)
    slurry = slurry_clocks(
        job.cards.slurry,
        film_m=job.materials.thickness_m + job.materials.profile_allowance_m,
        slab_effusivity=SLAB_EFFUSIVITY,
    )
    topcoat = topcoat_clocks(job.cards.topcoat)
    return {
        room.name: RoomPours(room, job, slurry, topcoat, conditions[room.name])
        for room in job.rooms
    }
