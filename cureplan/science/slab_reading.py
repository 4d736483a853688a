"""A floor reading against the marched slab: correct the curve, and say how sure it is.

A reading shows by how much the march is off at one instant. That error fades with all the
slab's modes, both ways from the reading.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.heat import checked, diffusivity_m2_s, root_between

__all__ = [
    "corrected_surface_c",
    "reading_fade",
    "reading_share",
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


def reading_fade(
    step_response: ArrayLike, *, step_s: float, time_constant_s: float
) -> NDArray[np.float64]:
    """What is left of a reading's error after each step, by all the slab's modes.

    `step_response` is the surface after its air has jumped by 1 K, from 0 s on. What made the
    march wrong is not known: a wash of the floor, a hold of half a day or of two that has
    ended, or a cause that goes on and fades by the slowest mode only; each counts as likely
    (invented), so an error that goes on is taken away too soon, and one that ended too late.

    Source: superposition (Duhamel): a hold of X that ends leaves S(t + X) - S(t) of S(X).
    """
    surface = checked("step_response", step_response, unit="K/K", at_least=0)
    constant = float(checked("time_constant_s", time_constant_s, unit="s", over=0))
    holds = [max(1, round(hold_s / step_s)) for hold_s in HOLDS_S]
    count = surface.size - max(holds)
    if count < 2:
        raise OutOfRangeError("step_response must reach beyond the longest hold")
    lags = np.arange(count)
    ended = [
        (surface[lags + hold] - surface[lags]) / (surface[hold] - surface[0]) for hold in holds
    ]
    goes_on = np.exp(-lags * step_s / constant)
    return np.asarray((goes_on + sum(ended)) / (1.0 + len(holds)))


HOLDS_S = (1200.0, 12 * 3600.0, 48 * 3600.0)
"""A wash, a shift's cooling, a weekend's [s]: invented."""


def reading_share(
    times_s: ArrayLike,
    *,
    reading_s: float,
    fade: ArrayLike,
    step_s: float,
    until_s: float | None = None,
) -> NDArray[np.float64]:
    """What a reading counts at each of a curve's times, so that the curve passes through it.

    `fade` is what is left of the error after each `step_s`, as `reading_fade` gives it; the
    same before the reading as after it; readings that go on `until_s` count in full from the
    first to the last. A curve straight between two times cuts off what lies between them:
    both are lifted, by no more than is needed.

    >>> reading_share([0, 3600, 7200], reading_s=1800, fade=[1, 0.7, 0.6], step_s=1800).tolist()
    [1.0, 1.0, 0.6]
    """
    times = np.asarray(times_s, dtype=np.float64)
    left = checked("fade", fade, unit="", at_least=0, at_most=1)
    lags_s = np.arange(left.size) * float(checked("step_s", step_s, unit="s", over=0))
    last_s = reading_s if until_s is None else until_s
    away_s = np.maximum(0.0, np.maximum(reading_s - times, times - last_s))
    return _through(times, np.interp(away_s, lags_s, left), reading_s=last_s)


def _through(
    times_s: NDArray[np.float64], share: NDArray[np.float64], *, reading_s: float
) -> NDArray[np.float64]:
    """Shares of a reading least changed so that they are 1 at its instant.

    Source: least squares under one condition (Lagrange).
    """
    after = min(max(int(np.searchsorted(times_s, reading_s)), 1), times_s.size - 1)
    part = (reading_s - times_s[after - 1]) / (times_s[after] - times_s[after - 1])
    weights = np.array([1.0 - part, part])
    lifted = np.array(share, dtype=np.float64)
    around = slice(after - 1, after + 1)
    lifted[around] += weights * (1.0 - weights @ lifted[around]) / (weights @ weights)
    return lifted


def corrected_surface_c(
    elapsed_s: ArrayLike,
    surface_c: ArrayLike,
    *,
    reading_s: ArrayLike,
    reading_c: ArrayLike,
    fade: ArrayLike,
    step_s: float,
) -> NDArray[np.float64]:
    """Surface curves bent so that each, straight between its times, passes its reading.

    `fade` and `step_s` as in :func:`reading_share`. Not for a reading on wet concrete.

    Source: best estimate of a stationary error from one look at it; its fade is invented.

    Shapes: elapsed_s (times,); surface_c (times, columns); gives (times, columns).

    >>> corrected_surface_c([0, 3600, 7200], [[30.0], [30.0], [30.0]], reading_s=3600,
    ...     reading_c=32, fade=[1.0, 0.5], step_s=3600).round(2).ravel().tolist()
    [31.0, 32.0, 31.0]
    """
    times, curves = _curves(elapsed_s, surface_c)
    when, shown = _readings(times, curves, reading_s, reading_c)
    bent = curves.copy()
    for column in np.flatnonzero(np.isfinite(when)):
        at_s = float(when[column])
        error_k = shown[column] - np.interp(at_s, times, curves[:, column])
        share = reading_share(times, reading_s=at_s, fade=fade, step_s=step_s)
        bent[:, column] += error_k * share
    return bent


def slab_doubt_k(
    left: ArrayLike, *, reading_doubt_k: float, march_doubt_k: float
) -> NDArray[np.float64]:
    """Standard deviation of a corrected surface curve where a share of its reading is left.

    Source: Conditional variance of the process named at :func:`corrected_surface_c`.

    Shapes: left S; gives S [K].

    >>> slab_doubt_k([1.0, 0.37, 0.0], reading_doubt_k=0.5, march_doubt_k=2).round(2).tolist()
    [0.5, 1.87, 2.0]
    """
    share = checked("left", left, unit="", at_least=0, at_most=1)
    read = checked("reading_doubt_k", reading_doubt_k, unit="K", at_least=0)
    marched = checked("march_doubt_k", march_doubt_k, unit="K", at_least=0)
    return np.asarray(np.hypot(share * read, np.sqrt(1.0 - share**2) * marched))


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
