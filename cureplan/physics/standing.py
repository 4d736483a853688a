"""What a mixed bucket left standing in its pail costs: heat and minutes."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cureplan.errors import OutOfRangeError
from cureplan.physics.bucket import KitPhysics, kinetics_of
from cureplan.physics.quadrature import running_integral, solve_by_sweeps
from cureplan.physics.rate import COLDEST_C, HOTTEST_C, rate_factor

__all__ = ["StandingBucket", "left_standing"]

PIECES = 8
SETTLED_K = 1e-8

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingBucket:
    """A mixed bucket that nobody dumps: its temperature and time against age."""

    age_s: Array
    time_s: Array
    temp_c: Array


def left_standing(
    mixed_c: float, air_c: float, *, kit: KitPhysics, start_age_s: float, end_age_s: float
) -> StandingBucket:
    """What a mixed bucket left in its pail does until it has reached an age.

    The caution on the sheet rests on this; not for a bucket that was poured.

    Parameters
    ----------
    mixed_c, air_c : float
        Batch and air temperature [°C] when it is set down.
    kit : KitPhysics
        The kit.
    start_age_s, end_age_s : float
        Age when set down, and age at which to stop [s], start < end.

    Returns
    -------
    StandingBucket
        Points rising in age, from first to last; how many depends on how fast it warms.

    Raises
    ------
    OutOfRangeError
        The ages do not rise, or the batch leaves -40..120 °C: it boils over.

    Examples
    --------
    >>> from cureplan.physics.bucket import KitPhysics
    >>> kit = KitPhysics(activation_energy_j_mol=51e3, reference_c=21.0,
    ...     liquids_capacity_j_k=9200, filler_capacity_j_k=11600, liquids_mix_s=150,
    ...     filler_mix_s=180, liquid_stage_share=0.2, heat_rise_k=8.0,
    ...     working_age_s=1200.0, mixing_power_w=0.0, exchange_w_k=0.0,
    ...     volumetric_heat_j_m3_k=2.2e6)
    >>> pail = left_standing(21.0, 21.0, kit=kit, start_age_s=0.0, end_age_s=1200.0)
    >>> round(float(pail.temp_c[-1]), 6)  # adiabatic: the card's rise, to the last digit
    29.0
    """
    if not end_age_s > start_age_s:
        raise OutOfRangeError("end_age_s must be greater than start_age_s")
    kinetics = kinetics_of(kit)

    def warming_k_per_age_s(temp: Array) -> Array:
        # A sweep may overshoot on its way; what it settles on is checked below.
        rate = rate_factor(np.clip(temp, COLDEST_C, HOTTEST_C), **kinetics)
        lost_w = kit.exchange_w_k * (temp - air_c)
        return np.asarray((kit.heat_per_age_w - lost_w / rate) / kit.capacity_j_k)

    edges = np.linspace(start_age_s, end_age_s, PIECES + 1)
    ages, times, temps = [edges[:1]], [np.zeros(1)], [np.array([mixed_c])]
    for first_s, last_s in pairwise(edges):
        span = np.array([last_s - first_s])
        part, temp = solve_by_sweeps(
            warming_k_per_age_s, temps[-1][-1:], span, tolerance=SETTLED_K
        )
        passed_s = running_integral(part, 1.0 / rate_factor(temp, **kinetics), span)
        ages.append(first_s + span * part[1:])
        times.append(times[-1][-1] + passed_s[0, 1:])
        temps.append(temp[0, 1:])
    return StandingBucket(
        age_s=np.concatenate(ages), time_s=np.concatenate(times), temp_c=np.concatenate(temps)
    )
