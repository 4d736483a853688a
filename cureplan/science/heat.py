"""Properties of materials for heat, constants of faces and air, and checks of arguments."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError

__all__ = [
    "AIR_FACE_W_M2K",
    "CONCRETE_CONDUCTIVITY_W_MK",
    "CONCRETE_DENSITY_KG_M3",
    "CONCRETE_SPECIFIC_HEAT_J_KGK",
    "CONCRETE_SUN_ABSORPTANCE",
    "DAY_S",
    "DEEP_SOIL_M",
    "FUSION_HEAT_J_KG",
    "GRAVITY_M_S2",
    "ICE_BATH_C",
    "INSULATION_CONDUCTIVITY_W_MK",
    "INSULATION_DENSITY_KG_M3",
    "INSULATION_SPECIFIC_HEAT_J_KGK",
    "PAIL_WALL_CONDUCTIVITY_W_MK",
    "PAIL_WALL_THICKNESS_M",
    "SOIL_CONDUCTIVITY_W_MK",
    "SOIL_DENSITY_KG_M3",
    "SOIL_SPECIFIC_HEAT_J_KGK",
    "WATER_DENSITY_KG_M3",
    "WATER_SPECIFIC_HEAT_J_KGK",
    "checked",
    "diffusivity_m2_s",
    "lumped_gap_left",
    "lumped_time_constant_s",
    "root_between",
]


def checked(
    name: str,
    value: ArrayLike,
    *,
    unit: str,
    over: float = -math.inf,
    at_least: float = -math.inf,
    at_most: float = math.inf,
) -> NDArray[np.float64]:
    """Return the value as float64 if every element is finite and in range.

    For arguments of a model only; what a user typed is checked where it is read,
    with file and line.

    >>> float(checked("depth_m", 0.1, unit="m", at_least=0))
    0.1
    >>> checked("depth_m", [0.1, -2], unit="m", at_least=0)
    Traceback (most recent call last):
    ...
    cureplan.core.errors.OutOfRangeError: depth_m must be >= 0 m, got -2 m
    """
    array = np.asarray(value, dtype=np.float64)
    # A mask of what is right, so that NaN counts as wrong.
    right = np.isfinite(array) & (array > over) & (array >= at_least) & (array <= at_most)
    if right.all():
        return array
    wrong = float(array[~right].flat[0])
    limits = [
        f"{sign} {limit:g}"
        for sign, limit in ((">", over), (">=", at_least), ("<=", at_most))
        if math.isfinite(limit)
    ]
    wanted = " and ".join(limits) if limits and math.isfinite(wrong) else "a finite number"
    tail = f" {unit}" if unit else ""
    raise OutOfRangeError(f"{name} must be {wanted}{tail}, got {wrong:g}{tail}")


DAY_S: Final = 86_400.0
GRAVITY_M_S2: Final = 9.806_65  # standard value, CGPM 1901

# Concrete, stone mix, 300 K: Incropera et al., 6th ed., Table A.3.
CONCRETE_CONDUCTIVITY_W_MK: Final = 1.4
CONCRETE_DENSITY_KG_M3: Final = 2300.0
CONCRETE_SPECIFIC_HEAT_J_KGK: Final = 880.0
# Incropera Table A.12 gives 0.60 for concrete; from memory.
CONCRETE_SUN_ABSORPTANCE: Final = 0.60

# Soil, 300 K: Incropera Table A.3 (the values of its example 5.6).
SOIL_CONDUCTIVITY_W_MK: Final = 0.52
SOIL_DENSITY_KG_M3: Final = 2050.0
SOIL_SPECIFIC_HEAT_J_KGK: Final = 1840.0
# Invented: nine damping depths of a 30-day swing (0.34 m) and 2.5 of the year's
# (1.18 m), so that the held ground below is not felt within a job's history.
DEEP_SOIL_M: Final = 3.0

# Rigid extruded polystyrene: Incropera Table A.3; from memory.
INSULATION_CONDUCTIVITY_W_MK: Final = 0.027
INSULATION_DENSITY_KG_M3: Final = 55.0
INSULATION_SPECIFIC_HEAT_J_KGK: Final = 1210.0

# Indoor face of a floor, convection and radiation together. ISO 6946 has 0.10
# (heat upwards) to 0.17 m²K/W (downwards), which is 10 to 5.9 W/m²K; from memory.
AIR_FACE_W_M2K: Final = 7.0

# Wall of a polyethylene pail; from memory.
PAIL_WALL_CONDUCTIVITY_W_MK: Final = 0.45
PAIL_WALL_THICKNESS_M: Final = 0.002

# Melting of ice at 0 °C: CRC Handbook / NIST; from memory. CRD-C 307-91 prints
# 143.5 Btu/lb, which is 333.8 kJ/kg.
FUSION_HEAT_J_KG: Final = 333_550.0
ICE_BATH_C: Final = 0.0

# Water between 0 and 30 °C: 4.218 to 4.178 kJ/kgK, Incropera Table A.6 (from memory).
WATER_SPECIFIC_HEAT_J_KGK: Final = 4190.0
WATER_DENSITY_KG_M3: Final = 1000.0

SLAB_EFFUSIVITY = math.sqrt(
    CONCRETE_CONDUCTIVITY_W_MK * CONCRETE_DENSITY_KG_M3 * CONCRETE_SPECIFIC_HEAT_J_KGK
)
"""Of concrete [W s^0.5/(m² K)]."""


def diffusivity_m2_s(
    *, conductivity_w_mk: float, density_kg_m3: float, specific_heat_j_kgk: float
) -> float:
    """Thermal diffusivity k/(rho·c).

    Not for a mixture that is melting: latent heat has no place in it.

    Source: Incropera et al., 6th ed., section 2.2.2.

    >>> concrete = diffusivity_m2_s(conductivity_w_mk=1.4, density_kg_m3=2300,
    ...                             specific_heat_j_kgk=880)
    >>> f"{concrete:.2e}"
    '6.92e-07'
    """
    conductivity = checked("conductivity_w_mk", conductivity_w_mk, unit="W/mK", over=0)
    density = checked("density_kg_m3", density_kg_m3, unit="kg/m³", over=0)
    heat = checked("specific_heat_j_kgk", specific_heat_j_kgk, unit="J/kgK", over=0)
    return float(conductivity / (density * heat))


def lumped_time_constant_s(*, heat_capacity_j_k: float, conductance_w_k: float) -> float:
    """Time in which a stirred body closes 63 % of its gap to the surroundings.

    Not for a body that conducts badly inside (Biot number above 0.1) unless it is
    stirred.

    Source: Incropera et al., 6th ed., eq. 5.7.

    >>> lumped_time_constant_s(heat_capacity_j_k=1000, conductance_w_k=2)
    500.0
    """
    capacity = checked("heat_capacity_j_k", heat_capacity_j_k, unit="J/K", over=0)
    conductance = checked("conductance_w_k", conductance_w_k, unit="W/K", over=0)
    return float(capacity / conductance)


def lumped_gap_left(elapsed_s: ArrayLike, *, time_constant_s: float) -> NDArray[np.float64]:
    """Share of the first gap to the surroundings that a stirred body still has.

    Source: Incropera et al., 6th ed., eq. 5.6.

    Shapes: elapsed_s S; gives S.

    >>> round(float(lumped_gap_left(500, time_constant_s=500)), 3)
    0.368
    """
    elapsed = checked("elapsed_s", elapsed_s, unit="s", at_least=0)
    constant = checked("time_constant_s", time_constant_s, unit="s", over=0)
    return np.asarray(np.exp(-elapsed / constant))


def root_between(
    equation: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Where smooth equations change sign between two bounds, to the last few bits.

    scipy has better, at the price of an import that every command would pay.

    Source: regula falsi in the Illinois manner, Dowell & Jarratt 1971 (from memory).

    Shapes: low and high N; gives N.

    >>> root_between(lambda x: x**2 - 9.0, np.zeros(1), np.full(1, 5.0)).round(12).tolist()
    [3.0]
    """
    far, at = equation(low), equation(high)
    for _ in range(MOST_ROUNDS):
        gap = at - far
        step = np.where(at == 0, 0.0, at * (high - low) / np.where(gap == 0, 1.0, gap))
        next_ = high - step
        if np.all(np.abs(step) <= 4.0 * np.finfo(float).eps * np.abs(next_)):
            break
        found = equation(next_)
        crossed = np.sign(found) != np.sign(at)
        low, far = np.where(crossed, high, low), np.where(crossed, at, 0.5 * far)
        high, at = next_, found
    return np.asarray(next_)


MOST_ROUNDS = 100
