"""Exact periodic conduction in a thick slab: a day's swing going down and dying out.

Yardsticks for the marching scheme. Both are wrong soon after the swing began, while
what was there before has not died out, and once heat has reached the far side.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.science.heat import checked, damping_depth_m

__all__ = ["air_wave_c", "face_wave_c"]


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
