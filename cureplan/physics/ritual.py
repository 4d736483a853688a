"""What a data-sheet point means: the whole ritual, run at the point's temperature.

A sheet that says "wet edge 16 min at 21 °C" was watched by people who stirred, carried
and spread a kit at 21 °C. So a milestone's age is whatever that ritual has gained when
the sheet's minutes are up; running it again at the reference returns the point.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.errors import OutOfRangeError
from cureplan.physics.bucket import BucketPath, KitPhysics, run_bucket

__all__ = ["ritual_ages_s", "with_working_age"]


def _reference_run(
    kit: KitPhysics, *, haul_s: float, film_m: float, slab_effusivity: float
) -> BucketPath:
    at_c = kit.reference_c
    return run_bucket(
        at_c, at_c, at_c, at_c, haul_s,
        kit=kit, speed=1.0, film_m=film_m, slab_effusivity=slab_effusivity,
    )  # fmt: skip


def ritual_ages_s(
    after_s: ArrayLike, *, kit: KitPhysics, haul_s: float, film_m: float, slab_effusivity: float
) -> NDArray[np.float64]:
    """Ages which the ritual at the reference temperature has reached after given times.

    Not for times before the batch is on the floor.

    Parameters
    ----------
    after_s : array_like, shape (m,)
        Times after filler-in at the reference temperature [s].
    kit, haul_s, film_m, slab_effusivity
        As in `run_bucket`.

    Returns
    -------
    ndarray of float64, shape (m,)
        Ages [s].

    Raises
    ------
    OutOfRangeError
        A time is shorter than mixing and hauling.
    """
    times = np.atleast_1d(np.asarray(after_s, dtype=np.float64))
    if not np.all(times > kit.filler_mix_s + haul_s):
        raise OutOfRangeError("a milestone must come after the batch has been poured")
    path = _reference_run(kit, haul_s=haul_s, film_m=film_m, slab_effusivity=slab_effusivity)
    inside = np.minimum(times, float(path.time_s[0, -1]))
    ages = np.array([float(path.age_at_s(time)[0]) for time in inside])
    return np.asarray(ages + (times - inside) * path.rate[0, -1])


def with_working_age(
    kit: KitPhysics, *, working_s: float, haul_s: float, film_m: float, slab_effusivity: float
) -> KitPhysics:
    """The kit with the age at which its working time ends, found from the ritual.

    The heat a batch gives off is counted per age up to that end, and warms the ritual
    itself, so the two are solved together (a handful of rounds).

    Parameters
    ----------
    kit : KitPhysics
        Its `working_age_s` is only a first guess.
    working_s : float
        The card's working time at the reference temperature [s].
    haul_s, film_m, slab_effusivity
        As in `run_bucket`.

    Returns
    -------
    KitPhysics

    Raises
    ------
    OutOfRangeError
        The working time is shorter than the ritual, or the rounds do not settle.
    """
    for _ in range(50):
        age_s = float(
            ritual_ages_s(
                working_s,
                kit=kit,
                haul_s=haul_s,
                film_m=film_m,
                slab_effusivity=slab_effusivity,
            )[0]
        )
        settled = abs(age_s - kit.working_age_s) < 1e-9 * age_s
        kit = replace(kit, working_age_s=age_s)
        if settled:
            return kit
    raise OutOfRangeError("bucket_heat_rise and working_time of the card do not fit together")
