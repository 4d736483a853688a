"""Numbers derived from conductivity, density and specific heat.

Diffusivity says how fast heat travels, effusivity who wins when two bodies touch,
damping depth how deep a day's swing reaches.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.physics.thermal_checks import checked

__all__ = [
    "contact_temperature_c",
    "damping_depth_m",
    "diffusivity_m2_s",
    "effusivity_j_m2k_s05",
    "lumped_gap_left",
    "lumped_time_constant_s",
]


def diffusivity_m2_s(
    *, conductivity_w_mk: float, density_kg_m3: float, specific_heat_j_kgk: float
) -> float:
    """Thermal diffusivity k/(rho·c).

    Not for a mixture that is melting: latent heat has no place in it.

    Parameters
    ----------
    conductivity_w_mk, density_kg_m3, specific_heat_j_kgk : float
        All > 0.

    Returns
    -------
    float
        [m²/s].

    Raises
    ------
    OutOfRangeError
        A property is not positive.

    Source
    ------
    Incropera et al., 6th ed., section 2.2.2.

    Examples
    --------
    >>> concrete = diffusivity_m2_s(conductivity_w_mk=1.4, density_kg_m3=2300,
    ...                             specific_heat_j_kgk=880)
    >>> f"{concrete:.2e}"
    '6.92e-07'
    """
    conductivity = checked("conductivity_w_mk", conductivity_w_mk, unit="W/mK", over=0)
    density = checked("density_kg_m3", density_kg_m3, unit="kg/m³", over=0)
    heat = checked("specific_heat_j_kgk", specific_heat_j_kgk, unit="J/kgK", over=0)
    return float(conductivity / (density * heat))


def effusivity_j_m2k_s05(
    *, conductivity_w_mk: float, density_kg_m3: float, specific_heat_j_kgk: float
) -> float:
    """Thermal effusivity sqrt(k·rho·c): how much heat a face takes up.

    Parameters
    ----------
    conductivity_w_mk, density_kg_m3, specific_heat_j_kgk : float
        All > 0.

    Returns
    -------
    float
        [J/(m²·K·s^0.5)].

    Raises
    ------
    OutOfRangeError
        A property is not positive.

    Source
    ------
    Incropera et al., 6th ed., section 5.7 (with its eq. 5.63).

    Examples
    --------
    >>> round(effusivity_j_m2k_s05(conductivity_w_mk=1.4, density_kg_m3=2300,
    ...                            specific_heat_j_kgk=880))
    1683
    """
    conductivity = checked("conductivity_w_mk", conductivity_w_mk, unit="W/mK", over=0)
    density = checked("density_kg_m3", density_kg_m3, unit="kg/m³", over=0)
    heat = checked("specific_heat_j_kgk", specific_heat_j_kgk, unit="J/kgK", over=0)
    return float(np.sqrt(conductivity * density * heat))


def contact_temperature_c(
    *,
    one_c: ArrayLike,
    other_c: ArrayLike,
    one_effusivity_j_m2k_s05: float,
    other_effusivity_j_m2k_s05: float,
) -> NDArray[np.float64]:
    """Temperature of the face where two thick bodies have just touched.

    It holds only until heat has crossed the thinner of the two; for a 3 mm film
    that is seconds.

    Parameters
    ----------
    one_c, other_c : array_like, broadcastable
        Temperatures before they touch [°C].
    one_effusivity_j_m2k_s05, other_effusivity_j_m2k_s05 : float
        Their effusivities, > 0.

    Returns
    -------
    ndarray of float64
        Temperature of the common face [°C].

    Raises
    ------
    OutOfRangeError
        An effusivity is not positive or a temperature is not finite.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.63.

    Examples
    --------
    A 25 °C film meets a 35 °C slab:

    >>> round(float(contact_temperature_c(one_c=25, other_c=35,
    ...     one_effusivity_j_m2k_s05=1120, other_effusivity_j_m2k_s05=1683)), 1)
    31.0
    """
    one = checked("one_effusivity_j_m2k_s05", one_effusivity_j_m2k_s05, unit="", over=0)
    other = checked("other_effusivity_j_m2k_s05", other_effusivity_j_m2k_s05, unit="", over=0)
    one_temp = checked("one_c", one_c, unit="°C")
    other_temp = checked("other_c", other_c, unit="°C")
    return np.asarray((one * one_temp + other * other_temp) / (one + other))


def damping_depth_m(*, diffusivity_m2_s: float, period_s: float) -> float:
    """Depth at which a periodic swing has shrunk to 1/e and lags one radian.

    Parameters
    ----------
    diffusivity_m2_s : float
        k/(rho·c) [m²/s], > 0.
    period_s : float
        Length of one swing [s], > 0.

    Returns
    -------
    float
        [m].

    Raises
    ------
    OutOfRangeError
        An argument is not positive.

    Source
    ------
    Lienhard, A Heat Transfer Textbook, section 5.6 (its example 5.7 is the test).

    Examples
    --------
    A day in concrete:

    >>> round(damping_depth_m(diffusivity_m2_s=6.92e-7, period_s=86_400), 3)
    0.138
    """
    diffusivity = checked("diffusivity_m2_s", diffusivity_m2_s, unit="m²/s", over=0)
    period = checked("period_s", period_s, unit="s", over=0)
    return float(np.sqrt(diffusivity * period / np.pi))


def lumped_time_constant_s(*, heat_capacity_j_k: float, conductance_w_k: float) -> float:
    """Time in which a stirred body closes 63 % of its gap to the surroundings.

    Not for a body that conducts badly inside (Biot number above 0.1) unless it is
    stirred.

    Parameters
    ----------
    heat_capacity_j_k : float
        Mass times specific heat [J/K], > 0.
    conductance_w_k : float
        Surface coefficient times surface [W/K], > 0.

    Returns
    -------
    float
        [s].

    Raises
    ------
    OutOfRangeError
        An argument is not positive.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.7.

    Examples
    --------
    >>> lumped_time_constant_s(heat_capacity_j_k=1000, conductance_w_k=2)
    500.0
    """
    capacity = checked("heat_capacity_j_k", heat_capacity_j_k, unit="J/K", over=0)
    conductance = checked("conductance_w_k", conductance_w_k, unit="W/K", over=0)
    return float(capacity / conductance)


def lumped_gap_left(elapsed_s: ArrayLike, *, time_constant_s: float) -> NDArray[np.float64]:
    """Share of the first gap to the surroundings that a stirred body still has.

    Parameters
    ----------
    elapsed_s : array_like, shape S
        Time since the surroundings changed [s], >= 0.
    time_constant_s : float
        See :func:`lumped_time_constant_s` [s], > 0.

    Returns
    -------
    ndarray of float64, shape S
        Between 1 at the start and 0.

    Raises
    ------
    OutOfRangeError
        A time is negative or the constant is not positive.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.6.

    Examples
    --------
    >>> round(float(lumped_gap_left(500, time_constant_s=500)), 3)
    0.368
    """
    elapsed = checked("elapsed_s", elapsed_s, unit="s", at_least=0)
    constant = checked("time_constant_s", time_constant_s, unit="s", over=0)
    return np.asarray(np.exp(-elapsed / constant))
