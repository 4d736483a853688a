"""A pail of liquid among cold or warm surroundings, left standing or stirred.

Standing, the liquid is a short cylinder that only conducts: through its side and its
bottom, not through the air under the lid. Stirred, it has one temperature. A real
pail, whose liquid creeps and is shaken, lies between: plan on the slow one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.physics.conduction_series import Body, mean_gap_left
from cureplan.physics.heat_properties import (
    diffusivity_m2_s,
    lumped_gap_left,
    lumped_time_constant_s,
)
from cureplan.physics.series_roots import Shape
from cureplan.physics.thermal_checks import checked

__all__ = ["Pail", "pail_c", "pail_gap_left"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pail:
    """One pail's liquid and how its wall passes heat.

    Parameters
    ----------
    mass_kg : float
        Liquid in the pail [kg], > 0.
    density_kg_m3, specific_heat_j_kgk, conductivity_w_mk : float
        Of the liquid, > 0.
    diameter_m : float
        Inside [m], > 0; the height follows from the mass.
    surface_w_m2k : float
        From the liquid's edge through the wall to the surroundings [W/m²K], > 0;
        ice_bath.py estimates it for ice water.

    Raises
    ------
    OutOfRangeError
        A number is not positive.

    Examples
    --------
    >>> pail = Pail(mass_kg=2.5, density_kg_m3=1100, specific_heat_j_kgk=1900,
    ...             conductivity_w_mk=0.18, diameter_m=0.165, surface_w_m2k=100)
    >>> round(pail.height_m, 3), round(pail.wetted_m2, 4)
    (0.106, 0.0765)
    """

    mass_kg: float
    density_kg_m3: float
    specific_heat_j_kgk: float
    conductivity_w_mk: float
    diameter_m: float
    surface_w_m2k: float

    def __post_init__(self) -> None:
        checked("mass_kg", self.mass_kg, unit="kg", over=0)
        checked("density_kg_m3", self.density_kg_m3, unit="kg/m³", over=0)
        checked("specific_heat_j_kgk", self.specific_heat_j_kgk, unit="J/kgK", over=0)
        checked("conductivity_w_mk", self.conductivity_w_mk, unit="W/mK", over=0)
        checked("diameter_m", self.diameter_m, unit="m", over=0)
        checked("surface_w_m2k", self.surface_w_m2k, unit="W/m²K", over=0)

    @property
    def height_m(self) -> float:
        """Depth of the liquid [m]."""
        return self.mass_kg / self.density_kg_m3 / (math.pi * self.diameter_m**2 / 4.0)

    @property
    def wetted_m2(self) -> float:
        """Side and bottom that pass heat [m²]."""
        return math.pi * self.diameter_m * (self.height_m + self.diameter_m / 4.0)

    @property
    def heat_capacity_j_k(self) -> float:
        """Mass times specific heat [J/K]."""
        return self.mass_kg * self.specific_heat_j_kgk

    @property
    def stirred_time_constant_s(self) -> float:
        """Time in which a stirred pail closes 63 % of its gap [s]."""
        return lumped_time_constant_s(
            heat_capacity_j_k=self.heat_capacity_j_k,
            conductance_w_k=self.surface_w_m2k * self.wetted_m2,
        )

    @property
    def side(self) -> Body:
        """The pail as a long cylinder."""
        return self._body(Shape.CYLINDER, self.diameter_m / 2.0)

    @property
    def bottom(self) -> Body:
        """The pail as a layer that passes heat at its bottom only."""
        return self._body(Shape.WALL, self.height_m)

    def _body(self, shape: Shape, half_size_m: float) -> Body:
        return Body(
            shape=shape,
            half_size_m=half_size_m,
            conductivity_w_mk=self.conductivity_w_mk,
            diffusivity_m2_s=diffusivity_m2_s(
                conductivity_w_mk=self.conductivity_w_mk,
                density_kg_m3=self.density_kg_m3,
                specific_heat_j_kgk=self.specific_heat_j_kgk,
            ),
            surface_w_m2k=self.surface_w_m2k,
        )


def pail_gap_left(elapsed_s: ArrayLike, *, pail: Pail, stirred: bool) -> NDArray[np.float64]:
    """Share of the first gap to the surroundings left in a pail's mean.

    Parameters
    ----------
    elapsed_s : array_like, shape S
        Time among the surroundings [s], >= 0.
    pail : Pail
        The liquid and its wall.
    stirred : bool
        False for a pail left standing.

    Returns
    -------
    ndarray of float64, shape S
        Exactly 1 at the start, and falling.

    Raises
    ------
    OutOfRangeError
        A time is negative.

    Source
    ------
    Incropera et al., 6th ed., section 5.8 (product of a cylinder's and a wall's
    solution) and eq. 5.6 (stirred).

    Examples
    --------
    >>> pail = Pail(mass_kg=2.5, density_kg_m3=1100, specific_heat_j_kgk=1900,
    ...             conductivity_w_mk=0.18, diameter_m=0.165, surface_w_m2k=100)
    >>> [float(pail_gap_left(3600, pail=pail, stirred=way).round(2)) for way in (False, True)]
    [0.5, 0.0]
    """
    if stirred:
        return lumped_gap_left(elapsed_s, time_constant_s=pail.stirred_time_constant_s)
    side = mean_gap_left(elapsed_s, body=pail.side)
    return np.asarray(side * mean_gap_left(elapsed_s, body=pail.bottom))


def pail_c(
    elapsed_s: ArrayLike,
    *,
    start_c: ArrayLike,
    surroundings_c: ArrayLike,
    pail: Pail,
    stirred: bool,
) -> NDArray[np.float64]:
    """Mean temperature of a pail's liquid after a time in ice, or out of it.

    It is what mixing the liquid gives, and what reaches the mixer. Not while the
    surroundings themselves change much: ice gone, or sun come round.

    Parameters
    ----------
    elapsed_s : array_like, shape S
        Time among the surroundings [s], >= 0.
    start_c, surroundings_c : array_like, broadcastable with S
        Liquid at the start, and ice water or air around it [°C].
    pail : Pail
        The liquid and its wall.
    stirred : bool
        False for a pail left standing.

    Returns
    -------
    ndarray of float64, broadcast shape
        [°C]; never outside start_c..surroundings_c.

    Raises
    ------
    OutOfRangeError
        A time is negative or a temperature is missing.

    Source
    ------
    As for :func:`pail_gap_left`.

    Examples
    --------
    >>> pail = Pail(mass_kg=2.5, density_kg_m3=1100, specific_heat_j_kgk=1900,
    ...             conductivity_w_mk=0.18, diameter_m=0.165, surface_w_m2k=100)
    >>> float(pail_c(3600, start_c=35, surroundings_c=0, pail=pail, stirred=False).round(1))
    17.3
    """
    start = checked("start_c", start_c, unit="°C")
    around = checked("surroundings_c", surroundings_c, unit="°C")
    return np.asarray(
        around + (start - around) * pail_gap_left(elapsed_s, pail=pail, stirred=stirred)
    )
