"""Sun through an opening: what each room's declared patch of floor takes up."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from cureplan.job.model import Job, Room
from cureplan.physics.sun import (
    absorbed_w_m2,
    clear_sky_w_m2,
    clouded_w_m2,
    sun_elevation_deg,
)
from cureplan.physics.thermal_constants import CONCRETE_SUN_ABSORPTANCE
from cureplan.weather.series import HourlySeries

__all__ = ["patch_sun_w_m2"]

OPENING_TRANSMITS = 0.8
"""Share of the sun that clear single glazing lets through; from memory."""

Array = NDArray[np.float64]


def patch_sun_w_m2(
    job: Job, rooms: Sequence[Room], series: HourlySeries, fine_s: Array, cloud: Array
) -> Array:
    """Sun taken up by each room's declared patch, spread over nothing else.

    Parameters
    ----------
    job, rooms, series
        Site, floors, and the weather whose first row is the zero of `fine_s`.
    fine_s : ndarray, shape (n,)
        Instants [s].
    cloud : ndarray, shape (n,)
        Share of the sky covered.

    Returns
    -------
    ndarray of float64, shape (n, rooms)
        [W/m²]; zero where no patch is declared.
    """
    absorbed = np.zeros((fine_s.size, len(rooms)))
    if all(room.sun_patch is None for room in rooms):
        return absorbed
    epoch0 = float(series.epoch_s[0])
    instants = [datetime.fromtimestamp(epoch0 + second, job.site.zone) for second in fine_s]
    elevation = sun_elevation_deg(
        instants,
        latitude_deg=job.site.latitude_deg,
        longitude_deg=job.site.longitude_deg,
        refracted=True,
    )
    horizontal = clouded_w_m2(clear_sky_w_m2(elevation), cloud_share=cloud)
    clock = [at.hour * 60 + at.minute for at in instants]
    for column, room in enumerate(rooms):
        patch = room.sun_patch
        if patch is None:
            continue
        begins = patch.starts.hour * 60 + patch.starts.minute
        ends = patch.ends.hour * 60 + patch.ends.minute
        lit = np.array([patch.share if begins <= minute < ends else 0.0 for minute in clock])
        absorbed[:, column] = absorbed_w_m2(
            horizontal,
            lit_share=lit,
            transmitted_share=OPENING_TRANSMITS,
            absorptance=CONCRETE_SUN_ABSORPTANCE,
        )
    return absorbed
