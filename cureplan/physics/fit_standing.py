"""A sample left standing in its cup: small ones follow the air, large ones heat up."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.errors import OutOfRangeError
from cureplan.physics.bucket import KitPhysics, kinetics_of
from cureplan.physics.rate import rate_factor

__all__ = ["standing_sample_s"]

STEPS = 16
"""Even steps of age: within 0.01 min for cups mixed near the air, 2 % for iced grams."""

Array = NDArray[np.float64]


def standing_sample_s(
    start_c: ArrayLike,
    air_c: ArrayLike,
    mass_share: ArrayLike,
    age_s: ArrayLike,
    *,
    kit: KitPhysics,
    speed: ArrayLike,
) -> NDArray[np.float64]:
    """Time from filler-in at which samples left standing in a cup reach an age.

    A cup loses heat through its surface, which grows with the mass to the power 2/3.
    Not for samples spread thin or held at their temperature, which simply keep it, and
    not far beyond the working time: the heat given off is known only up to there.

    Parameters
    ----------
    start_c, air_c : array_like, broadcastable to (N,)
        Sample when mixed, and air around it [°C].
    mass_share : array_like, broadcastable to (N,)
        Mass of the sample against a whole kit [-], > 0.
    age_s : array_like, broadcastable to (N,)
        Age to reach [s at the reference temperature].
    kit : KitPhysics
        The kit and its kinetics; the liquids' minutes are taken at `start_c`.
    speed : array_like, broadcastable to (N,)
        Batch speed against the card [-], > 0.

    Returns
    -------
    ndarray of float64, shape (N,)
        Time [s]; below zero where the liquids alone had used the age up.

    Raises
    ------
    OutOfRangeError
        A mass or speed is not positive, or a temperature out of range.

    Source
    ------
    Heat balance of a stirred sample; each step by the exponential midpoint rule.
    """
    start, air, share, target, pace = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(x, dtype=np.float64))
            for x in (start_c, air_c, mass_share, age_s, speed)
        )
    )
    if not (np.all(share > 0) and np.all(pace > 0)):
        raise OutOfRangeError("mass_share and speed must be > 0")
    kinetics = kinetics_of(kit)
    before_s = (
        kit.liquid_stage_share * kit.liquids_mix_s * pace * rate_factor(start, **kinetics)
    )
    step_age = (target - before_s) / STEPS
    rise_per_age = kit.heat_rise_k / kit.working_age_s
    loss_per_s = kit.exchange_w_k / kit.capacity_j_k * share ** (-1.0 / 3.0)

    def onward(from_c: Array, rate: Array, age: Array) -> Array:
        """Exact for a steady rate, so small cups need no small steps."""
        slope = rise_per_age - loss_per_s * (from_c - air) / rate
        return np.asarray(from_c + slope * age * _fading(loss_per_s * age / rate))

    temp, time_s = start, np.zeros(start.shape)
    rate = pace * rate_factor(temp, **kinetics)
    for _ in range(STEPS):
        middle = pace * rate_factor(onward(temp, rate, step_age / 2.0), **kinetics)
        temp = onward(temp, middle, step_age)
        end = pace * rate_factor(temp, **kinetics)
        time_s = time_s + step_age / 6.0 * (1.0 / rate + 4.0 / middle + 1.0 / end)
        rate = end
    return time_s


def _fading(exponent: Array) -> Array:
    """(1 - exp(-x)) / x, 1 at zero."""
    safe = np.where(np.abs(exponent) < 1e-9, 1.0, exponent)
    return np.where(np.abs(exponent) < 1e-9, 1.0, -np.expm1(-safe) / safe)
