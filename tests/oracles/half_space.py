"""Exact solutions of heat conduction in a thick slab (a half-space).

These are the yardsticks our marching scheme is tested against. All are wrong once
heat has reached the slab's far side.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erf, erfc, erfcx

from cureplan.science.heat import checked


def step_response_c(
    depth_m: ArrayLike,
    elapsed_s: ArrayLike,
    *,
    initial_c: float,
    surface_c: float,
    diffusivity_m2_s: float,
) -> NDArray[np.float64]:
    """Temperature inside a thick slab after its face jumps and is held.

    Wrong once heat has reached the slab's far side, and for a face that meets air:
    that one is :func:`convective_face_c`.

    Parameters
    ----------
    depth_m : array_like, shape S
        Distance below the face [m], >= 0.
    elapsed_s : array_like, broadcastable to S
        Time since the jump [s], > 0.
    initial_c, surface_c : float
        Uniform start, and held face, temperature [°C].
    diffusivity_m2_s : float
        k / (rho * c) [m²/s], > 0.

    Returns
    -------
    ndarray of float64, shape S
        Temperature [°C]; never outside initial_c..surface_c.

    Raises
    ------
    OutOfRangeError
        A depth is negative, or a time or the diffusivity is not positive.

    Source
    ------
    Incropera et al., Fundamentals of Heat and Mass Transfer, 6th ed., eq. 5.57.

    Examples
    --------
    >>> round(float(step_response_c(0.05, 3600, initial_c=12, surface_c=20,
    ...                             diffusivity_m2_s=8e-7)), 1)
    16.1
    """
    depth = checked("depth_m", depth_m, unit="m", at_least=0)
    elapsed = checked("elapsed_s", elapsed_s, unit="s", over=0)
    diffusivity = checked("diffusivity_m2_s", diffusivity_m2_s, unit="m²/s", over=0)
    reach = 2.0 * np.sqrt(diffusivity * elapsed)
    return np.asarray(surface_c + (initial_c - surface_c) * erf(depth / reach))


def step_flux_w_m2(
    elapsed_s: ArrayLike,
    *,
    initial_c: float,
    surface_c: float,
    effusivity_j_m2k_s05: float,
) -> NDArray[np.float64]:
    """Heat going into a thick slab after its face jumps and is held.

    Parameters
    ----------
    elapsed_s : array_like, shape S
        Time since the jump [s], > 0.
    initial_c, surface_c : float
        Uniform start, and held face, temperature [°C].
    effusivity_j_m2k_s05 : float
        sqrt(k * rho * c) [J/(m²·K·s^0.5)], > 0.

    Returns
    -------
    ndarray of float64, shape S
        Flux [W/m²], positive into the slab.

    Raises
    ------
    OutOfRangeError
        A time or the effusivity is not positive.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.58.

    Examples
    --------
    >>> round(float(step_flux_w_m2(3600, initial_c=12, surface_c=20,
    ...                            effusivity_j_m2k_s05=1683)))
    127
    """
    elapsed = checked("elapsed_s", elapsed_s, unit="s", over=0)
    effusivity = checked("effusivity_j_m2k_s05", effusivity_j_m2k_s05, unit="", over=0)
    return np.asarray(effusivity * (surface_c - initial_c) / np.sqrt(np.pi * elapsed))


def heated_face_c(
    depth_m: ArrayLike,
    elapsed_s: ArrayLike,
    *,
    initial_c: float,
    flux_w_m2: float,
    conductivity_w_mk: float,
    diffusivity_m2_s: float,
) -> NDArray[np.float64]:
    """Temperature inside a thick slab whose face takes up a steady flux.

    Not for a face that also meets air: the flux would then shrink as it warms.

    Parameters
    ----------
    depth_m : array_like, shape S
        Distance below the face [m], >= 0.
    elapsed_s : array_like, broadcastable to S
        Time since the flux set in [s], > 0.
    initial_c : float
        Uniform start temperature [°C].
    flux_w_m2 : float
        Flux into the face [W/m²].
    conductivity_w_mk, diffusivity_m2_s : float
        Both > 0.

    Returns
    -------
    ndarray of float64, shape S
        Temperature [°C].

    Raises
    ------
    OutOfRangeError
        A depth is negative, or a time or a property is not positive.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.59.

    Examples
    --------
    >>> round(float(heated_face_c(0, 3600, initial_c=20, flux_w_m2=200,
    ...     conductivity_w_mk=1.4, diffusivity_m2_s=6.92e-7)), 1)
    28.0
    """
    depth = checked("depth_m", depth_m, unit="m", at_least=0)
    elapsed = checked("elapsed_s", elapsed_s, unit="s", over=0)
    conductivity = checked("conductivity_w_mk", conductivity_w_mk, unit="W/mK", over=0)
    diffusivity = checked("diffusivity_m2_s", diffusivity_m2_s, unit="m²/s", over=0)
    reach = 2.0 * np.sqrt(diffusivity * elapsed)
    share = depth / reach
    rise = reach / np.sqrt(np.pi) * np.exp(-(share**2)) - depth * erfc(share)
    return np.asarray(initial_c + flux_w_m2 / conductivity * rise)


def convective_face_c(
    depth_m: ArrayLike,
    elapsed_s: ArrayLike,
    *,
    initial_c: float,
    air_c: float,
    surface_w_m2k: float,
    conductivity_w_mk: float,
    diffusivity_m2_s: float,
) -> NDArray[np.float64]:
    """Temperature inside a thick slab after the air above it jumps and is held.

    Parameters
    ----------
    depth_m : array_like, shape S
        Distance below the face [m], >= 0.
    elapsed_s : array_like, broadcastable to S
        Time since the jump [s], > 0.
    initial_c, air_c : float
        Uniform start, and held air, temperature [°C].
    surface_w_m2k : float
        Surface coefficient [W/m²K], > 0.
    conductivity_w_mk, diffusivity_m2_s : float
        Both > 0.

    Returns
    -------
    ndarray of float64, shape S
        Temperature [°C]; never outside initial_c..air_c.

    Raises
    ------
    OutOfRangeError
        A depth is negative, or a time, the coefficient or a property is not positive.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.60, written with the scaled erfc so that long
    times do not overflow.

    Examples
    --------
    >>> round(float(convective_face_c(0, 5 * 3600, initial_c=15.6, air_c=-17.8,
    ...     surface_w_m2k=11.36, conductivity_w_mk=0.865,
    ...     diffusivity_m2_s=4.65e-7)), 1)
    -5.2
    """
    depth = checked("depth_m", depth_m, unit="m", at_least=0)
    elapsed = checked("elapsed_s", elapsed_s, unit="s", over=0)
    coefficient = checked("surface_w_m2k", surface_w_m2k, unit="W/m²K", over=0)
    conductivity = checked("conductivity_w_mk", conductivity_w_mk, unit="W/mK", over=0)
    diffusivity = checked("diffusivity_m2_s", diffusivity_m2_s, unit="m²/s", over=0)
    root = np.sqrt(diffusivity * elapsed)
    share = depth / (2.0 * root)
    closed = erfc(share) - np.exp(-(share**2)) * erfcx(
        share + coefficient * root / conductivity
    )
    return np.asarray(initial_c + (air_c - initial_c) * closed)


def face_wave_c(
    depth_m: ArrayLike,
    elapsed_s: ArrayLike,
    *,
    mean_c: float,
    amplitude_k: float,
    period_s: float,
    diffusivity_m2_s: float,
) -> NDArray[np.float64]:
    """Temperature inside a thick slab whose face swings for ever as a sine.

    Wrong soon after the swing began: what was there before has not died out.

    Parameters
    ----------
    depth_m : array_like, shape S
        Distance below the face [m], >= 0.
    elapsed_s : array_like, broadcastable to S
        Time since the face passed its mean, rising [s].
    mean_c, amplitude_k : float
        Mean [°C] and half the swing [K] of the face.
    period_s, diffusivity_m2_s : float
        Both > 0.

    Returns
    -------
    ndarray of float64, shape S
        Temperature [°C].

    Raises
    ------
    OutOfRangeError
        A depth is negative, or the period or the diffusivity is not positive.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.70.

    Examples
    --------
    >>> round(float(face_wave_c(0.1, 21_600, mean_c=20, amplitude_k=8,
    ...     period_s=86_400, diffusivity_m2_s=6.92e-7)), 1)
    22.9
    """
    depth = checked("depth_m", depth_m, unit="m", at_least=0)
    elapsed = checked("elapsed_s", elapsed_s, unit="s")
    lag = depth / damping_depth_m(diffusivity_m2_s=diffusivity_m2_s, period_s=period_s)
    angle = 2.0 * np.pi * elapsed / period_s
    return np.asarray(mean_c + amplitude_k * np.exp(-lag) * np.sin(angle - lag))


def air_wave_c(
    depth_m: ArrayLike,
    elapsed_s: ArrayLike,
    *,
    mean_c: float,
    amplitude_k: float,
    period_s: float,
    surface_w_m2k: float,
    conductivity_w_mk: float,
    diffusivity_m2_s: float,
) -> NDArray[np.float64]:
    """Temperature inside a thick slab under air that swings for ever as a sine.

    Parameters
    ----------
    depth_m : array_like, shape S
        Distance below the face [m], >= 0.
    elapsed_s : array_like, broadcastable to S
        Time since the air passed its mean, rising [s].
    mean_c, amplitude_k : float
        Mean [°C] and half the swing [K] of the air.
    period_s, surface_w_m2k, conductivity_w_mk, diffusivity_m2_s : float
        All > 0.

    Returns
    -------
    ndarray of float64, shape S
        Temperature [°C].

    Raises
    ------
    OutOfRangeError
        A depth is negative, or another argument is not positive.

    Source
    ------
    Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed., section 2.8 (from
    memory); derived anew from h·(T_air - T) = -k·dT/dx at the face.

    Examples
    --------
    >>> round(float(air_wave_c(0, 21_600, mean_c=20, amplitude_k=8, period_s=86_400,
    ...     surface_w_m2k=7, conductivity_w_mk=1.4, diffusivity_m2_s=6.92e-7)), 1)
    22.4
    """
    depth = checked("depth_m", depth_m, unit="m", at_least=0)
    elapsed = checked("elapsed_s", elapsed_s, unit="s")
    coefficient = checked("surface_w_m2k", surface_w_m2k, unit="W/m²K", over=0)
    conductivity = checked("conductivity_w_mk", conductivity_w_mk, unit="W/mK", over=0)
    damping = damping_depth_m(diffusivity_m2_s=diffusivity_m2_s, period_s=period_s)
    face = 1.0 / (1.0 + (1.0 + 1.0j) * conductivity / (coefficient * damping))
    turn = np.exp(2.0j * np.pi * elapsed / period_s - (1.0 + 1.0j) * depth / damping)
    return np.asarray(mean_c + amplitude_k * np.imag(face * turn))


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
