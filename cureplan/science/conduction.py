"""Exact solutions of heat conduction in a thick slab (a half-space).

These are the yardsticks our marching scheme is tested against. All are wrong once
heat has reached the slab's far side.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erf, erfc, erfcx

from cureplan.science.heat import checked

__all__ = [
    "convective_face_c",
    "heated_face_c",
    "step_flux_w_m2",
    "step_response_c",
]


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
