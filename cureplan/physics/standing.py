"""What a mixed bucket left standing in its pail costs: heat and minutes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.errors import OutOfRangeError
from cureplan.physics.bucket import KitPhysics, kinetics_of
from cureplan.physics.quadrature import collocation
from cureplan.physics.rate import rate_factor

__all__ = ["StandingBucket", "left_standing"]

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
        41 points.

    Raises
    ------
    OutOfRangeError
        The ages do not rise.

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
    nodes, integrate = collocation(41)
    span = end_age_s - start_age_s
    temp = np.full(nodes.size, mixed_c)
    kinetics = kinetics_of(kit)
    for _ in range(30):
        rate = rate_factor(temp, **kinetics)
        cooling = kit.exchange_w_k * (temp - air_c) / rate
        temp = mixed_c + span * (integrate @ (kit.heat_per_age_w - cooling)) / kit.capacity_j_k
    rate = rate_factor(temp, **kinetics)
    return StandingBucket(
        age_s=start_age_s + span * nodes, time_s=span * (integrate @ (1.0 / rate)), temp_c=temp
    )
