"""How well ice water takes heat from a pail's wall: an estimate of its coefficient."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.science.heat import GRAVITY_M_S2, ICE_BATH_C, checked

__all__ = ["ice_water_w_m2k", "pail_surface_w_m2k", "water_density_kg_m3"]

# Saturated water, Incropera et al., Table A.6 (from memory): temperature [°C],
# viscosity [Pa·s], conductivity [W/mK], Prandtl number.
_WATER: Final = np.array(
    [
        (0.0, 1750e-6, 0.569, 12.99),
        (1.85, 1652e-6, 0.574, 12.22),
        (6.85, 1422e-6, 0.582, 10.26),
        (11.85, 1225e-6, 0.590, 8.81),
        (16.85, 1080e-6, 0.598, 7.56),
    ]
)
# Nearer than this to 8 °C, where water is as light as at 0 °C, the flow along the
# wall turns round and the correlation says nothing.
_COOLEST_WALL_C: Final = 10.0
_WARMEST_WALL_C: Final = 30.0
_LAMINAR_RAYLEIGH: Final = 1e9


def water_density_kg_m3(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Density of air-free water at one atmosphere, with its maximum at 4 °C.

    Source: Kell 1975, J. Chem. Eng. Data 20, 97-105, eq. 16 (coefficients from memory; the
    tests hold them to handbook densities).

    Shapes: temp_c S; gives S [kg/m³].

    >>> water_density_kg_m3([0, 4, 20]).round(2).tolist()
    [999.84, 999.97, 998.2]
    """
    t = checked("temp_c", temp_c, unit="°C", at_least=0, at_most=100)
    top = np.polyval(
        [-280.54253e-12, 105.56302e-9, -46.170461e-6, -7.9870401e-3, 16.945176, 999.83952], t
    )
    return np.asarray(top / (1.0 + 16.879850e-3 * t))


def ice_water_w_m2k(wall_c: ArrayLike, *, height_m: float) -> NDArray[np.float64]:
    """Surface coefficient of still ice water along an upright wall.

    Not for a wall cooler than 10 °C, where water's density turns round, nor for a bath
    that is stirred or packed dry with ice.

    Source: Churchill & Chu 1975, laminar form (Incropera eq. 9.27), driven by the difference of
    density itself, as expansion changes sign at 4 °C.

    Shapes: wall_c S; gives S [W/m²K].

    >>> ice_water_w_m2k([10, 20], height_m=0.106).round(-1).tolist()
    [180.0, 350.0]
    """
    wall = checked(
        "wall_c", wall_c, unit="°C", at_least=_COOLEST_WALL_C, at_most=_WARMEST_WALL_C
    )
    height = checked("height_m", height_m, unit="m", over=0)
    film_c = 0.5 * (wall + ICE_BATH_C)
    viscosity, conductivity, prandtl = (
        np.interp(film_c, _WATER[:, 0], _WATER[:, column]) for column in (1, 2, 3)
    )
    bath = water_density_kg_m3(ICE_BATH_C)
    lighter = (bath - water_density_kg_m3(wall)) / bath
    kinematic = viscosity / water_density_kg_m3(film_c)
    rayleigh = GRAVITY_M_S2 * lighter * height**3 * prandtl / kinematic**2
    checked("Rayleigh number", rayleigh, unit="", at_most=_LAMINAR_RAYLEIGH)
    spread = (1.0 + (0.492 / prandtl) ** (9.0 / 16.0)) ** (4.0 / 9.0)
    return np.asarray(conductivity / height * (0.68 + 0.670 * rayleigh**0.25 / spread))


def pail_surface_w_m2k(
    *, water_w_m2k: ArrayLike, wall_thickness_m: float, wall_conductivity_w_mk: float
) -> NDArray[np.float64]:
    """Coefficient from the liquid's edge through a pail's wall into the bath.

    Source: Resistances in series, Incropera et al., 6th ed., eq. 3.18.

    Shapes: water_w_m2k S; gives S [W/m²K].

    >>> round(float(pail_surface_w_m2k(water_w_m2k=250, wall_thickness_m=0.002,
    ...                                wall_conductivity_w_mk=0.45)))
    118
    """
    water = checked("water_w_m2k", water_w_m2k, unit="W/m²K", over=0)
    thickness = checked("wall_thickness_m", wall_thickness_m, unit="m", over=0)
    conductivity = checked(
        "wall_conductivity_w_mk", wall_conductivity_w_mk, unit="W/mK", over=0
    )
    return np.asarray(1.0 / (1.0 / water + thickness / conductivity))
