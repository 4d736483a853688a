"""What a mixed bucket left standing would cost: the caution that every sheet carries."""

from __future__ import annotations

from cureplan.assembly.instants import minutes
from cureplan.job.model import Job
from cureplan.physics.standing import left_standing
from cureplan.planning.ice import steady_run
from cureplan.planning.margins import kit_temperatures
from cureplan.planning.pour import RoomPours
from cureplan.say import Say
from cureplan.schedule.placing import PlacedPour

__all__ = ["standing_caution"]


def standing_caution(job: Job, pours: RoomPours, poured: PlacedPour) -> Say:
    """An un-iced bucket of the tightest floor, dumped at once against left in its pail.

    Un-iced, because that is the one that runs away. The mixer's own warmth is left out, so
    the real bucket is a little worse off.

    Parameters
    ----------
    job, pours, poured
        The job, a floor, and its pour.

    Returns
    -------
    Say
        Minutes from filler-in to the end of the working time both ways, and how hot the
        standing bucket is by then.
    """
    air_c = float(pours.conditions.air_at(poured.start_s))
    kit = kit_temperatures(job.materials, chilled=False, cool_filler=False)
    path = steady_run(
        pours.clocks,
        liquids_c=air_c if kit.liquids_c is None else kit.liquids_c,
        filler_c=air_c if kit.filler_c is None else kit.filler_c,
        air_c=air_c,
        slab_c=float(pours.conditions.slab_at(poured.start_s)),
        haul_s=job.pace.haul_s,
    )
    ends_s = pours.clocks.age_s["working_time"]
    pail = left_standing(
        float(path.mixed_c[0]),
        air_c,
        kit=pours.clocks.kit,
        start_age_s=float(path.age_s[0, 0]),
        end_age_s=ends_s,
    )
    return Say(
        "warn.standing",
        {
            "mixed_c": round(float(path.mixed_c[0]), 2),
            "hot_c": round(float(pail.temp_c[-1]), 2),
            "standing_min": minutes(float(pail.time_s[-1])),
            "floor_min": minutes(float(path.when_s(ends_s)[0])),
        },
    )
