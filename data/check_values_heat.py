"""What cureplan answers for the rows of checks.csv: stirred bodies and series."""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy.optimize import brentq
from scipy.special import j1

from cureplan.science.conduction_series import Body, Shape, series_terms
from cureplan.science.heat import (
    diffusivity_m2_s,
    lumped_gap_left,
    lumped_time_constant_s,
)


def first_root(shape: str, biot: float) -> float:
    """First root of a series."""
    return float(series_terms(Shape[shape], biot, 1).roots[0])


def first_weight(shape: str, biot: float) -> float:
    """Weight of a series' first term at the centre."""
    terms = series_terms(Shape[shape], biot, 1)
    root = float(terms.roots[0])
    average = math.sin(root) if shape == "WALL" else 2.0 * float(j1(root))
    return float(terms.mean_weights[0]) * root / average


def _body(shape: str, half_m: float, h: float, k: float, a: float) -> Body:
    return Body(
        shape=Shape[shape],
        half_size_m=half_m,
        conductivity_w_mk=k,
        diffusivity_m2_s=a,
        surface_w_m2k=h,
    )


def biot(shape: str, half_m: float, h: float, k: float) -> float:
    """Biot number."""
    return _body(shape, half_m, h, k, 1e-6).biot


def fourier(half_m: float, a: float, time_s: float) -> float:
    """Fourier number."""
    return float(_body("WALL", half_m, 1.0, 1.0, a).fourier(time_s))


def lumped_sphere_s(diameter_m: float, h: float, rho: float, c: float, left: float) -> float:
    """When a stirred sphere has so much of its gap left; left = 1/e gives its constant."""
    volume_m3, area_m2 = math.pi * diameter_m**3 / 6, math.pi * diameter_m**2
    constant_s = lumped_time_constant_s(
        heat_capacity_j_k=rho * c * volume_m3, conductance_w_k=h * area_m2
    )
    return float(
        brentq(
            lambda t: float(lumped_gap_left(t, time_constant_s=constant_s)) - left,
            1e-6 * constant_s,
            50 * constant_s,
        )
    )


def lumped_sphere_k(
    diameter_m: float,
    h: float,
    rho: float,
    c: float,
    start: float,
    around: float,
    time_s: float,
) -> float:
    """Temperature of a stirred sphere."""
    volume_m3, area_m2 = math.pi * diameter_m**3 / 6, math.pi * diameter_m**2
    constant_s = lumped_time_constant_s(
        heat_capacity_j_k=rho * c * volume_m3, conductance_w_k=h * area_m2
    )
    left = lumped_gap_left(time_s, time_constant_s=constant_s)
    return float(around + (start - around) * left)


def diffusivity(k: float, rho: float, c: float) -> float:
    """Diffusivity [mm²/s]."""
    found = diffusivity_m2_s(conductivity_w_mk=k, density_kg_m3=rho, specific_heat_j_kgk=c)
    return float(found) * 1e6


def forecast_sd(lead_h: float) -> float:
    """Spread of a forecast hour by its lead [K]."""
    from cureplan.planning.floor.doubt import forecast_sd_k

    return float(forecast_sd_k(3600.0 * lead_h))


VALUES: dict[str, Callable[..., float]] = {
    name: found
    for name, found in list(globals().items())
    if callable(found) and getattr(found, "__module__", "") == __name__ and name[0] != "_"
}
