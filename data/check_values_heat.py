"""What cureplan answers for the rows of checks.csv: heat conduction in exact form."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq

from cureplan.science.conduction import (
    convective_face_c,
    heated_face_c,
    step_flux_w_m2,
    step_response_c,
)
from cureplan.science.conduction_series import (
    Body,
    Shape,
    gap_left,
    series_terms,
    short_cylinder_gap_left,
)
from cureplan.science.conduction_waves import face_wave_c
from cureplan.science.heat import (
    contact_temperature_c,
    damping_depth_m,
    diffusivity_m2_s,
    effusivity_j_m2k_s05,
    lumped_gap_left,
    lumped_time_constant_s,
)

DAY_S = 86_400.0


def held_face_c(
    depth_m: float, time_s: float, start_c: float, face_c: float, a: float
) -> float:
    """Half-space with its face held."""
    found = step_response_c(
        depth_m, time_s, initial_c=start_c, surface_c=face_c, diffusivity_m2_s=a
    )
    return float(found)


def frost_depth_held_m(days: float, start_c: float, face_c: float, a: float) -> float:
    """Depth at which a half-space with its face held stands at 0 °C."""
    return float(brentq(lambda m: held_face_c(m, days * DAY_S, start_c, face_c, a), 1e-3, 3.0))


def aired_face_c(
    depth_m: float, time_s: float, start_c: float, air_c: float, h: float, k: float, a: float
) -> float:
    """Half-space under air."""
    found = convective_face_c(
        depth_m,
        time_s,
        initial_c=start_c,
        air_c=air_c,
        surface_w_m2k=h,
        conductivity_w_mk=k,
        diffusivity_m2_s=a,
    )
    return float(found)


def frost_depth_aired_m(
    time_s: float, start_c: float, air_c: float, h: float, k: float, a: float
) -> float:
    """Depth at which a half-space under air stands at 0 °C."""
    return float(brentq(lambda m: aired_face_c(m, time_s, start_c, air_c, h, k, a), 1e-3, 0.2))


def flux_face_c(
    depth_m: float, time_s: float, start_c: float, flux_w_m2: float, k: float, a: float
) -> float:
    """Half-space that takes up a steady flux."""
    found = heated_face_c(
        depth_m,
        time_s,
        initial_c=start_c,
        flux_w_m2=flux_w_m2,
        conductivity_w_mk=k,
        diffusivity_m2_s=a,
    )
    return float(found)


def step_flux(time_s: float, jump_k: float, effusivity: float) -> float:
    """Flux into a half-space after a jump of its face [W/m²]."""
    found = step_flux_w_m2(
        time_s, initial_c=0.0, surface_c=jump_k, effusivity_j_m2k_s05=effusivity
    )
    return float(found)


def wave_lag_depth_m(lag_rad: float, a: float, period_d: float) -> float:
    """Depth at which a wave lags the face by so much."""

    def late_c(depth_m: float) -> float:
        late_s = lag_rad / (2 * math.pi) * period_d * DAY_S
        wave = {"mean_c": 0, "amplitude_k": 1, "period_s": period_d * DAY_S}
        return float(face_wave_c(depth_m, late_s, diffusivity_m2_s=a, **wave))

    return float(brentq(late_c, 2.0, 3.5))


def wave_share(depth_m: float, a: float, period_d: float) -> float:
    """Share of the face's swing that is left at a depth."""
    times_s = np.linspace(0, period_d * DAY_S, 2001)
    wave = {"mean_c": 0, "amplitude_k": 1, "period_s": period_d * DAY_S}
    return float(face_wave_c(depth_m, times_s, diffusivity_m2_s=a, **wave).max())


def first_root(shape: str, biot: float) -> float:
    """First root of a series."""
    return float(series_terms(Shape[shape], biot, 1).roots[0])


def first_weight(shape: str, biot: float) -> float:
    """First weight of a series at the centre."""
    return float(series_terms(Shape[shape], biot, 1).centre_weights[0])


def _body(shape: str, half_m: float, h: float, k: float, a: float) -> Body:
    return Body(
        shape=Shape[shape],
        half_size_m=half_m,
        conductivity_w_mk=k,
        diffusivity_m2_s=a,
        surface_w_m2k=h,
    )


def series_c(
    shape: str,
    half_m: float,
    h: float,
    k: float,
    a: float,
    start: float,
    around: float,
    time_s: float,
    at: float,
) -> float:
    """Temperature in a wall, cylinder or sphere; `at` runs from 0 inside to 1 at the face."""
    left = gap_left(at, time_s, body=_body(shape, half_m, h, k, a))
    return float(around + (start - around) * left)


def series_flux_w_m2(
    half_m: float, h: float, k: float, a: float, start: float, around: float, time_s: float
) -> float:
    """Flux out of a wall's face."""
    return h * (series_c("WALL", half_m, h, k, a, start, around, time_s, 1.0) - around)


def biot(shape: str, half_m: float, h: float, k: float) -> float:
    """Biot number."""
    return _body(shape, half_m, h, k, 1e-6).biot


def fourier(half_m: float, a: float, time_s: float) -> float:
    """Fourier number."""
    return float(_body("WALL", half_m, 1.0, 1.0, a).fourier(time_s))


def sphere_time_s(
    radius_m: float, h: float, k: float, a: float, start: float, around: float, to: float
) -> float:
    """When a sphere's centre has reached a temperature."""

    def off(time_s: float) -> float:
        return series_c("SPHERE", radius_m, h, k, a, start, around, time_s, 0.0) - to

    return float(brentq(off, 1.0, 60.0))


def short_can_c(
    diameter_m: float,
    height_m: float,
    h: float,
    k: float,
    a: float,
    start: float,
    around: float,
    time_s: float,
) -> float:
    """Centre of a short cylinder."""
    side = _body("CYLINDER", diameter_m / 2, h, k, a)
    ends = _body("WALL", height_m / 2, h, k, a)
    left = short_cylinder_gap_left(0, 0, time_s, side=side, ends=ends)
    return float(around + (start - around) * left)


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


def effusivity(k: float, rho: float, c: float) -> float:
    """Effusivity [J/(m²·K·s^0.5)]."""
    return float(
        effusivity_j_m2k_s05(conductivity_w_mk=k, density_kg_m3=rho, specific_heat_j_kgk=c)
    )


def damping_m(a: float, period_d: float) -> float:
    """Depth in which a swing falls to 1/e."""
    return damping_depth_m(diffusivity_m2_s=a, period_s=period_d * DAY_S)


def contact_c(one_c: float, one_e: float, other_c: float, other_e: float) -> float:
    """Temperature where two bodies touch."""
    found = contact_temperature_c(
        one_c=one_c,
        other_c=other_c,
        one_effusivity_j_m2k_s05=one_e,
        other_effusivity_j_m2k_s05=other_e,
    )
    return float(found)


def forecast_sd(lead_h: float) -> float:
    """Spread of a forecast hour by its lead [K]."""
    from cureplan.planning.floor.doubt import forecast_sd_k

    return float(forecast_sd_k(3600.0 * lead_h))


VALUES: dict[str, Callable[..., float]] = {
    name: found
    for name, found in list(globals().items())
    if callable(found) and getattr(found, "__module__", "") == __name__ and name[0] != "_"
}
