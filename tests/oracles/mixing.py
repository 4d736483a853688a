"""Mixed temperature: what parts at different temperatures make together.

The same heat balance as in hot-weather concreting, so it must reproduce that practice's
worked examples; ice counts with the heat it takes to melt.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError

__all__ = ["mixed_temperature_c"]

# The concreting equation is reported to fail where ice is a large share of the mixing
# water (Jabbar 2017: irrational above 50 %), so we refuse rather than extrapolate.
MOST_ICE_SHARE = 0.5


def mixed_temperature_c(
    mass_kg: ArrayLike,
    temp_c: ArrayLike,
    *,
    specific_heat_j_kg_k: ArrayLike,
    ice_kg: ArrayLike,
    melt_specific_heat_j_kg_k: float,
    fusion_heat_j_kg: float,
) -> NDArray[np.float64]:
    """Temperature of parts stirred together, with melting ice among them.

    Heat of mixing and reaction are left out; `bucket` adds those. Not for more ice
    than can melt.

    Parameters
    ----------
    mass_kg : array_like, shape (..., parts)
        Masses [kg], >= 0.
    temp_c : array_like, broadcastable to mass_kg
        Their temperatures [°C].
    specific_heat_j_kg_k : array_like, broadcastable to mass_kg
        Specific heats [J/(kg K)], > 0.
    ice_kg : array_like, shape (...)
        Ice at 0 °C that melts in the mix [kg], >= 0.
    melt_specific_heat_j_kg_k : float
        Specific heat of the melt water [J/(kg K)], > 0.
    fusion_heat_j_kg : float
        Heat of fusion [J/kg], > 0.

    Returns
    -------
    ndarray of float64, shape (...)
        Mixed temperature [°C].

    Raises
    ------
    OutOfRangeError
        A mass is negative, nothing has mass, a heat is not positive, a temperature not
        finite, ice outweighs half of the parts' mass, or the ice cannot all melt (the
        result would be below 0 °C).

    Source
    ------
    CRD-C 307-91 (US Army Corps of Engineers), the balance before constants are put in.

    Examples
    --------
    >>> kit = mixed_temperature_c([2.5, 2.6, 13.6], [4.0, 4.0, 32.0],
    ...     specific_heat_j_kg_k=[1900, 1700, 850], ice_kg=0.0,
    ...     melt_specific_heat_j_kg_k=4186.0, fusion_heat_j_kg=333550.0)
    >>> round(float(kit), 1)
    19.6
    """
    mass = np.asarray(mass_kg, dtype=np.float64)
    ice = np.asarray(ice_kg, dtype=np.float64)
    temp = np.asarray(temp_c, dtype=np.float64)
    if not (np.all(mass >= 0) and np.all(np.sum(mass, axis=-1) > 0)):
        raise OutOfRangeError("mass_kg must be >= 0 kg and not all zero")
    if not np.all((ice >= 0) & (ice <= MOST_ICE_SHARE * np.sum(mass, axis=-1))):
        raise OutOfRangeError("ice_kg must lie within 0 and half the mass of the parts")
    if not np.all(np.isfinite(temp)):
        raise OutOfRangeError("temp_c must be finite °C")
    heat_j_kg_k = np.asarray(specific_heat_j_kg_k, dtype=np.float64)
    if not (np.all(heat_j_kg_k > 0) and melt_specific_heat_j_kg_k > 0 and fusion_heat_j_kg > 0):
        raise OutOfRangeError("specific and fusion heats must be > 0")
    capacity_j_k = mass * heat_j_kg_k
    heat_j = np.sum(capacity_j_k * temp, axis=-1) - ice * fusion_heat_j_kg
    mixed_c = heat_j / (np.sum(capacity_j_k, axis=-1) + ice * melt_specific_heat_j_kg_k)
    if np.any((ice > 0) & (mixed_c < 0)):
        raise OutOfRangeError("ice_kg is more than the parts can melt")
    return np.asarray(mixed_c)
