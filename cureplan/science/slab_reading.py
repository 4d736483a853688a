"""A floor reading against the marched slab: correct the curve, and say how sure it is.

A reading shows by how much the march is off at one instant. That error fades with the
slab's own time constant, both ways from the reading.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.heat import checked, diffusivity_m2_s, root_between

__all__ = [
    "corrected_surface_c",
    "slab_doubt_k",
    "slab_time_constant_s",
]

READING_SD_K = 0.5
"""An infrared reading and its aim, 1 SD [K]: invented."""


def slab_time_constant_s(
    *,
    thickness_m: float,
    conductivity_w_mk: float,
    density_kg_m3: float,
    specific_heat_j_kgk: float,
    top_w_m2k: float,
    lower_w_m2k: float,
) -> float:
    """Time in which a slab left alone forgets 63 % of what set it apart.

    The slowest mode of a wall with a surface coefficient on either face. That is on
    the long side: marched with 7 W/m²K above, a 152 mm slab on soil loses an error all
    through it in 5.5 h, one that had a week to sink in in 13 h, against 15 h here; with
    50 mm of foam below, 11 h both; as a deck over air 6.3 h and 4.7 h, against 6.9 h.
    We keep the long one, as what made the march wrong (air, sun) mostly goes on.

    Source: Carslaw & Jaeger, 2nd ed., section 3.11: tan z = z(B1 + B2)/(z² - B1·B2) (from
    memory); its limits are tested against Incropera eq. 5.7 and 5.39.

    >>> six_inches_s = slab_time_constant_s(thickness_m=0.152, conductivity_w_mk=1.4,
    ...     density_kg_m3=2300, specific_heat_j_kgk=880, top_w_m2k=7, lower_w_m2k=0)
    >>> round(six_inches_s / 3600, 1)
    15.4
    """
    thickness = float(checked("thickness_m", thickness_m, unit="m", over=0))
    diffusivity = diffusivity_m2_s(
        conductivity_w_mk=conductivity_w_mk,
        density_kg_m3=density_kg_m3,
        specific_heat_j_kgk=specific_heat_j_kgk,
    )
    per_w = thickness / conductivity_w_mk
    above = per_w * float(checked("top_w_m2k", top_w_m2k, unit="W/m²K", over=0))
    below = per_w * float(checked("lower_w_m2k", lower_w_m2k, unit="W/m²K", at_least=0))

    def equation(root: NDArray[np.float64]) -> NDArray[np.float64]:
        both = (root**2 - above * below) * np.sin(root)
        return np.asarray(both - root * (above + below) * np.cos(root))

    root = float(root_between(equation, np.array([1e-9]), np.array([math.pi]))[0])
    return thickness**2 / (diffusivity * root**2)


def corrected_surface_c(
    elapsed_s: ArrayLike,
    surface_c: ArrayLike,
    *,
    reading_s: ArrayLike,
    reading_c: ArrayLike,
    time_constant_s: float,
) -> NDArray[np.float64]:
    """Surface curves bent so that each passes through its reading.

    Not for a reading in a sun patch the march knows nothing of, or on wet concrete.

    Source: Invented; best estimate if the march's error is first-order autoregressive.

    Shapes: elapsed_s (times,); surface_c (times, columns); gives (times, columns).

    >>> corrected_surface_c([0, 3600, 7200], [[30.0], [30.0], [30.0]], reading_s=3600,
    ...     reading_c=32, time_constant_s=36_000).round(2).ravel().tolist()
    [31.81, 32.0, 31.81]
    """
    times, curves = _curves(elapsed_s, surface_c)
    when, shown = _readings(times, curves, reading_s, reading_c)
    constant = checked("time_constant_s", time_constant_s, unit="s", over=0)
    bent = curves.copy()
    for column in np.flatnonzero(np.isfinite(when)):
        error = shown[column] - np.interp(when[column], times, curves[:, column])
        bent[:, column] += error * np.exp(-np.abs(times - when[column]) / constant)
    return bent


def slab_doubt_k(
    elapsed_s: ArrayLike,
    *,
    reading_s: float,
    reading_doubt_k: float,
    march_doubt_k: float,
    time_constant_s: float,
) -> NDArray[np.float64]:
    """Standard deviation of a corrected surface curve.

    Source: Conditional variance of the process named at :func:`corrected_surface_c`.

    Shapes: elapsed_s S; gives S [K].

    >>> slab_doubt_k([0, 36_000, 720_000], reading_s=0, reading_doubt_k=0.5,
    ...              march_doubt_k=2, time_constant_s=36_000).round(2).tolist()
    [0.5, 1.87, 2.0]
    """
    times = checked("elapsed_s", elapsed_s, unit="s")
    read = checked("reading_doubt_k", reading_doubt_k, unit="K", at_least=0)
    marched = checked("march_doubt_k", march_doubt_k, unit="K", at_least=0)
    constant = checked("time_constant_s", time_constant_s, unit="s", over=0)
    if math.isnan(reading_s):
        return np.full(times.shape, float(marched))
    kept = np.exp(-2.0 * np.abs(times - reading_s) / constant)
    return np.asarray(np.sqrt(kept * read**2 + (1.0 - kept) * marched**2))


def _curves(
    elapsed_s: ArrayLike, surface_c: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    times = checked("elapsed_s", elapsed_s, unit="s")
    curves = checked("surface_c", surface_c, unit="°C")
    if times.ndim != 1 or curves.ndim != 2 or curves.shape[0] != times.size:
        raise OutOfRangeError(
            f"surface_c must have the shape ({times.size}, columns), got {curves.shape}"
        )
    if not np.all(np.diff(times) > 0):
        raise OutOfRangeError("elapsed_s must increase from each time to the next")
    return times, curves


def _readings(
    times: NDArray[np.float64],
    curves: NDArray[np.float64],
    reading_s: ArrayLike,
    reading_c: ArrayLike,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    shape = curves.shape[1:]
    try:
        when = np.broadcast_to(np.asarray(reading_s, dtype=np.float64), shape)
        shown = np.broadcast_to(np.asarray(reading_c, dtype=np.float64), shape)
    except ValueError:
        raise OutOfRangeError(f"reading_s and reading_c must fit {shape[0]} columns") from None
    if np.any(np.isnan(when) != np.isnan(shown)):
        raise OutOfRangeError("reading_s and reading_c must be NaN together or not at all")
    read = when[~np.isnan(when)]
    if not np.all((read >= times[0]) & (read <= times[-1])):
        raise OutOfRangeError(
            f"reading_s must lie within {times[0]:g}..{times[-1]:g} s, got {read.tolist()}"
        )
    return when, shown
