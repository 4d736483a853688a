"""The coarse tail of a point forecast, read at every hour."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cureplan.weather.gridding import RawRows
from cureplan.weather.series import HOUR_S, Gap, WeatherOrigin, utc_of

__all__ = ["fill_coarse_steps"]

_NORMAL_STEP_S = 1.5 * HOUR_S
_WIDEST_STEP_S = 6.5 * HOUR_S
FloatArray = NDArray[np.float64]


def fill_coarse_steps(
    rows: RawRows, *, origins: tuple[WeatherOrigin, ...]
) -> tuple[RawRows, tuple[WeatherOrigin, ...], tuple[Gap, ...]]:
    """Put whole hours into forecast steps of up to six hours, marked as interpolated.

    Not for observations: there a missing hour is a gap, not a coarser step.

    Parameters
    ----------
    rows : RawRows
        Times strictly rising, temperature known in every row.
    origins : tuple of WeatherOrigin
        What `rows.origin` points into.

    Returns
    -------
    tuple of RawRows, tuple of WeatherOrigin, tuple of Gap
        The rows with hours put in along a shape-preserving cubic: it passes through
        every given value and never beyond its two neighbours, so that each day keeps
        its extremes. Their origin is of kind "interpolated". One gap per stretch.

    Source
    ------
    Fritsch & Butland (1984), A method for constructing local monotone piecewise cubic
    interpolants, SIAM J. Sci. Stat. Comput. 5, 300-304 (as scipy's PchipInterpolator).
    """
    steps_s = np.diff(rows.epoch_s)
    coarse = np.flatnonzero((steps_s > _NORMAL_STEP_S) & (steps_s <= _WIDEST_STEP_S))
    if coarse.size == 0:
        return rows, origins, ()
    put_in = [_whole_hours(rows.epoch_s[n], rows.epoch_s[n + 1]) for n in coarse]
    hours_s = np.concatenate(put_in)
    marked, origin = _marked(rows.origin[np.repeat(coarse, [h.size for h in put_in])], origins)
    filled = _in_order(
        rows,
        RawRows(
            epoch_s=hours_s,
            temp_c=_shape_preserving(rows.epoch_s, rows.temp_c, hours_s),
            dew_c=_dew_c(rows, hours_s),
            cloud_frac=np.full(hours_s.size, np.nan),
            origin=origin,
        ),
    )
    return filled, marked, _stretches(coarse, put_in)


def _whole_hours(from_s: float, to_s: float) -> FloatArray:
    first = np.floor(from_s / HOUR_S) + 1
    last = np.ceil(to_s / HOUR_S) - 1
    return np.asarray(HOUR_S * np.arange(first, last + 1), dtype=np.float64)


def _marked(
    origin: NDArray[np.int64], origins: tuple[WeatherOrigin, ...]
) -> tuple[tuple[WeatherOrigin, ...], NDArray[np.int64]]:
    used = np.unique(origin)
    twins = tuple(replace(origins[n], kind="interpolated") for n in used)
    return (*origins, *twins), len(origins) + np.searchsorted(used, origin)


def _dew_c(rows: RawRows, hours_s: FloatArray) -> FloatArray:
    """Through the dew point's distance below the air, so that the two never cross."""
    below_k = rows.temp_c - rows.dew_c
    known = ~np.isnan(below_k)
    if np.count_nonzero(known) < 2:
        return np.full(hours_s.size, np.nan)
    at_s = rows.epoch_s[known]
    dew_c = _shape_preserving(rows.epoch_s, rows.temp_c, hours_s) - _shape_preserving(
        at_s, below_k[known], np.clip(hours_s, at_s[0], at_s[-1])
    )
    after = np.minimum(np.searchsorted(at_s, hours_s), at_s.size - 1)
    too_wide = at_s[after] - at_s[np.maximum(after - 1, 0)] > _WIDEST_STEP_S
    dew_c[too_wide | (hours_s < at_s[0]) | (hours_s > at_s[-1])] = np.nan
    return dew_c


def _shape_preserving(at_s: FloatArray, value: FloatArray, hours_s: FloatArray) -> FloatArray:
    from scipy.interpolate import PchipInterpolator

    curve = PchipInterpolator((at_s - at_s[0]) / HOUR_S, value)
    return np.asarray(curve((hours_s - at_s[0]) / HOUR_S), dtype=np.float64)


def _in_order(rows: RawRows, more: RawRows) -> RawRows:
    order = np.argsort(np.concatenate([rows.epoch_s, more.epoch_s]), kind="stable")
    both = {
        name: np.concatenate([getattr(rows, name), getattr(more, name)])[order]
        for name in ("epoch_s", "temp_c", "dew_c", "cloud_frac", "origin")
    }
    return RawRows(**both)


def _stretches(coarse: NDArray[np.int64], put_in: list[FloatArray]) -> tuple[Gap, ...]:
    gaps = []
    for run in np.split(np.arange(coarse.size), np.flatnonzero(np.diff(coarse) > 1) + 1):
        hours_s = np.concatenate([put_in[n] for n in run])
        if hours_s.size:
            gaps.append(
                Gap(
                    what="temperature",
                    starts=utc_of(float(hours_s[0])),
                    ends=utc_of(float(hours_s[-1])),
                    hours=int(hours_s.size),
                    mended="by a shape-preserving curve between coarse steps",
                )
            )
    return tuple(gaps)
