"""A room planned in parts at its stop lines, where that is what makes the job hold."""

from __future__ import annotations

from itertools import islice
from statistics import NormalDist

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.split import longest_shift_s, pour_lasts_s, ways_to_split
from cureplan.planning.odds.nights import LATE_SD_S, RHYTHM_SD_FRAC
from cureplan.planning.plan.choose import NOISE_FRAC, Chosen, choose
from cureplan.planning.schedule.construct import Progress
from cureplan.planning.schedule.floor_model import Tables

__all__ = ["in_parts"]

MOST_SPLITS = 2
"""Ways to part a room that are planned in full."""


def in_parts(
    job: Job,
    tables: Tables,
    chosen: Chosen,
    *,
    issued_s: float,
    progress: Progress | None = None,
) -> tuple[Job, Tables, Chosen]:
    """The same with a room in parts, where it finds no night whole or none that holds it.

    Tried at the stop lines the job allows, where nothing fits, or where the pour may well
    outlast every shift; a part may be poured another night.
    """
    if chosen.stopped or chosen.keeps_policy(job):
        return job, tables, chosen
    behind = NormalDist().inv_cdf(0.5 + 0.5 * job.policy.confidence)
    drag, late_s = 1.0 + behind * RHYTHM_SD_FRAC, behind * LATE_SD_S
    named = {name for failure in chosen.schedule.failures for name in failure.rooms}
    whole = [
        room
        for room in sorted(job.rooms, key=lambda room: -room.area_m2)
        if (chosen.odds is None and room.name in named)
        or pour_lasts_s(job, room) * drag + late_s > longest_shift_s(job)
    ]
    for room in whole:
        for split in islice(ways_to_split(job, room), MOST_SPLITS):
            parts = tables.of_changed(split, was=job)
            found = choose(split, parts, issued_s=issued_s, progress=progress)
            if found.stopped:
                return job, tables, chosen
            if found.odds is not None and found.chance_frac > chosen.chance_frac + NOISE_FRAC:
                return split, parts, found
    return job, tables, chosen
