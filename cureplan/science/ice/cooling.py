"""How long a pail of liquid takes to cool in ice."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.conduction_series import Body, Shape, mean_gap_left, series_terms
from cureplan.science.heat import (
    checked,
    diffusivity_m2_s,
    lumped_gap_left,
    lumped_time_constant_s,
)

__all__ = [
    "ChillTimes",
    "Pail",
    "chill_times",
    "heat_removed_j",
    "ice_mass_kg",
    "pail_gap_left",
    "sweats",
    "time_to_reach_s",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pail:
    """One pail's liquid and how its wall passes heat.

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

    Source: Incropera et al., 6th ed., section 5.8 (product of a cylinder's and a wall's
    solution) and eq. 5.6 (stirred).

    Shapes: elapsed_s S; gives S.

    >>> pail = Pail(mass_kg=2.5, density_kg_m3=1100, specific_heat_j_kgk=1900,
    ...             conductivity_w_mk=0.18, diameter_m=0.165, surface_w_m2k=100)
    >>> [float(pail_gap_left(3600, pail=pail, stirred=way).round(2)) for way in (False, True)]
    [0.5, 0.0]
    """
    if stirred:
        return lumped_gap_left(elapsed_s, time_constant_s=pail.stirred_time_constant_s)
    side = mean_gap_left(elapsed_s, body=pail.side)
    return np.asarray(side * mean_gap_left(elapsed_s, body=pail.bottom))


_HALVINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class ChillTimes:
    """How long a pail must stay in ice to reach its target, and may stay at most.

    `too_cold_s` is when a stirred pail would be below the card's minimum, and
    `too_cold_standing_s` one left standing; infinite where the bath is not that cold.
    """

    start_c: float
    target_c: float
    bath_c: float
    standing_s: float
    stirred_s: float
    too_cold_s: float
    too_cold_standing_s: float

    def planned_s(self, *, stirred: bool) -> float:
        """Time to plan with: the standing one unless the job says pails are stirred."""
        return self.stirred_s if stirred else self.standing_s


def time_to_reach_s(
    target_c: ArrayLike,
    *,
    start_c: ArrayLike,
    surroundings_c: ArrayLike,
    pail: Pail,
    stirred: bool,
) -> NDArray[np.float64]:
    """Time until a pail's mean temperature reaches a target, in ice or out of it.

    Compare first whether anything needs doing: a target beyond the start is refused.

    Source: Inverse of :func:`pail_gap_left`.

    >>> pail = Pail(mass_kg=2.5, density_kg_m3=1100, specific_heat_j_kgk=1900,
    ...             conductivity_w_mk=0.18, diameter_m=0.165, surface_w_m2k=100)
    >>> in_ice = {"start_c": 35, "surroundings_c": 0, "pail": pail}
    >>> round(float(time_to_reach_s(4, stirred=False, **in_ice)) / 3600, 1)
    5.2
    >>> round(float(time_to_reach_s(4, stirred=True, **in_ice)) / 60)
    22
    """
    target = checked("target_c", target_c, unit="°C")
    start = checked("start_c", start_c, unit="°C")
    around = checked("surroundings_c", surroundings_c, unit="°C")
    target, start, around = np.broadcast_arrays(target, start, around)
    at_once = target == start
    whole = np.where(at_once, 1.0, start - around)
    left = np.where(at_once, 1.0, (target - around) / np.where(whole == 0.0, np.nan, whole))
    wrong = ~((left > 0.0) & (left <= 1.0))
    if np.any(wrong):
        raise OutOfRangeError(
            f"target_c = {target[wrong][0]:g} °C cannot be reached from "
            f"{start[wrong][0]:g} °C among {around[wrong][0]:g} °C: it must lie from the "
            "start up to, but not at, the surroundings"
        )
    if stirred:
        return np.asarray(-pail.stirred_time_constant_s * np.log(left))
    return _standing_time_s(left, pail)


def _standing_time_s(left: NDArray[np.float64], pail: Pail) -> NDArray[np.float64]:
    # No term fades slower than the first: alone, at full weight, it is never too early.
    slowest = _first_rate_per_s(pail.side) + _first_rate_per_s(pail.bottom)
    early, late = np.zeros(left.shape), -np.log(left) / slowest
    for _ in range(_HALVINGS):
        middle = 0.5 * (early + late)
        still = pail_gap_left(middle, pail=pail, stirred=False) > left
        early, late = np.where(still, middle, early), np.where(still, late, middle)
    return np.asarray(late)


def _first_rate_per_s(body: Body) -> float:
    root = float(series_terms(body.shape, body.biot, 8).roots[0])
    return root**2 * body.diffusivity_m2_s / body.half_size_m**2


def chill_times(
    *, pail: Pail, start_c: float, target_c: float, bath_c: float, minimum_c: float
) -> ChillTimes:
    """Time a pail must spend in ice water, standing and stirred, and may at most.

    A measured liquid temperature beats all of it.

    Source: As for :func:`time_to_reach_s`.

    >>> pail = Pail(mass_kg=2.5, density_kg_m3=1100, specific_heat_j_kgk=1900,
    ...             conductivity_w_mk=0.18, diameter_m=0.165, surface_w_m2k=100)
    >>> times = chill_times(pail=pail, start_c=35, target_c=4, bath_c=0, minimum_c=2)
    >>> [round(part / 60) for part in (times.standing_s, times.stirred_s, times.too_cold_s)]
    [313, 22, 30]
    """
    checked("bath_c", bath_c, unit="°C", at_least=0)
    checked("minimum_c", minimum_c, unit="°C")
    if target_c < minimum_c:
        raise OutOfRangeError(
            f"target_c = {target_c:g} °C lies below the card's minimum of {minimum_c:g} °C"
        )

    def wait_s(until_c: float, stirred: bool) -> float:
        return float(
            time_to_reach_s(
                until_c, start_c=start_c, surroundings_c=bath_c, pail=pail, stirred=stirred
            )
        )

    return ChillTimes(
        start_c=start_c,
        target_c=target_c,
        bath_c=bath_c,
        standing_s=wait_s(target_c, stirred=False),
        stirred_s=wait_s(target_c, stirred=True),
        too_cold_s=math.inf if bath_c >= minimum_c else wait_s(minimum_c, stirred=True),
        too_cold_standing_s=(
            math.inf if bath_c >= minimum_c else wait_s(minimum_c, stirred=False)
        ),
    )


def heat_removed_j(
    *, heat_capacity_j_k: ArrayLike, start_c: ArrayLike, end_c: ArrayLike
) -> NDArray[np.float64]:
    """Heat that must leave liquids to bring them from one mean temperature to another.

    >>> float(heat_removed_j(heat_capacity_j_k=2 * 2.5 * 1900, start_c=35, end_c=4))
    294500.0
    """
    capacity = checked("heat_capacity_j_k", heat_capacity_j_k, unit="J/K", over=0)
    drop = checked("start_c", start_c, unit="°C") - checked("end_c", end_c, unit="°C")
    checked("start_c - end_c", drop, unit="K", at_least=0)
    return np.asarray(capacity * drop)


def ice_mass_kg(
    *, heat_j: ArrayLike, cooler_loss_share: float, fusion_heat_j_kg: float
) -> NDArray[np.float64]:
    """Ice that melts while it takes up this heat, with what the cooler lets in.

    Only what melts: some must be left over, or the bath warms.

    Source: Heat over melting heat; the meltwater stays at the bath's temperature.

    Shapes: heat_j S; gives S [kg].

    >>> round(float(ice_mass_kg(heat_j=294_500, cooler_loss_share=0,
    ...                         fusion_heat_j_kg=333_550)), 2)
    0.88
    """
    heat = checked("heat_j", heat_j, unit="J", at_least=0)
    loss = checked("cooler_loss_share", cooler_loss_share, unit="", at_least=0)
    fusion = checked("fusion_heat_j_kg", fusion_heat_j_kg, unit="J/kg", over=0)
    return np.asarray(heat / fusion * (1.0 + loss))


def sweats(liquid_c: ArrayLike, *, dew_c: ArrayLike) -> NDArray[np.bool_]:
    """Whether water settles on a pail: lids on and wipe dry, water foams the hardener.

    The wall is taken as cold as the liquid, which warns a little early.

    >>> sweats([4.0, 25.0], dew_c=23.0).tolist()
    [True, False]
    """
    liquid = checked("liquid_c", liquid_c, unit="°C")
    return np.asarray(liquid <= checked("dew_c", dew_c, unit="°C"))
