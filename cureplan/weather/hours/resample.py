"""Rows finer or coarser than hours, before they are laid on whole hours."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from cureplan.core.messages import Message
from cureplan.weather.hours.merge import RawRows
from cureplan.weather.hours.series import HOUR_S, Gap, WeatherOrigin, utc_of

__all__ = [
    "COARSEST_STEP_S",
    "fill_coarse_steps",
    "hour_means",
    "hours_between",
    "median_step_s",
]

COARSEST_STEP_S = 6.5 * HOUR_S
_FINEST_AVERAGED_S = 31 * 60.0
_NORMAL_STEP_S = 1.5 * HOUR_S
# An hour of which less is known is read off its two neighbours instead.
_LEAST_KNOWN_S = 0.9 * HOUR_S
FloatArray = NDArray[np.float64]


def median_step_s(rows: RawRows) -> float:
    """The usual time between rows [s]; 0 for a single row."""
    return float(np.median(np.diff(rows.epoch_s))) if rows.epoch_s.size > 1 else 0.0


def hour_means(rows: RawRows, *, phase_s: float) -> tuple[RawRows, tuple[Message, ...]]:
    """Rows some minutes apart as means over the half hours before and after each hour.

    Hours of which less than nine tenths is known are read at the hour itself, and left
    out where no two rows beside it are close enough.
    """
    step_s = median_step_s(rows)
    if not 0 < step_s <= _FINEST_AVERAGED_S or rows.epoch_s[-1] - rows.epoch_s[0] < HOUR_S:
        return rows, ()
    first = np.ceil((rows.epoch_s[0] - phase_s) / HOUR_S)
    last = np.floor((rows.epoch_s[-1] - phase_s) / HOUR_S)
    grid = phase_s + HOUR_S * np.arange(first, last + 1)
    columns = {
        name: _means(grid, rows.epoch_s, getattr(rows, name))
        for name in ("temp_c", "dew_c", "cloud_frac")
    }
    known = ~np.isnan(columns["temp_c"]) | ~np.isnan(columns["dew_c"])
    nearest = np.searchsorted(rows.epoch_s, grid, side="right") - 1
    means = RawRows(
        epoch_s=grid[known],
        origin=rows.origin[nearest][known],
        **{name: column[known] for name, column in columns.items()},
    )
    told = Message("weather.averaged", {"rows": int(rows.epoch_s.size), "step_s": step_s})
    return means, (told,)


def _means(grid: FloatArray, epoch_s: FloatArray, column: FloatArray) -> FloatArray:
    known = ~np.isnan(column)
    at_s, value = epoch_s[known], column[known]
    if at_s.size < 2:
        return np.full(grid.size, np.nan)
    step_s = np.diff(at_s)
    near = step_s <= _NORMAL_STEP_S
    area = np.concatenate([[0.0], np.cumsum(np.where(near, step_s, 0.0) * _middles(value))])
    length_s = np.concatenate([[0.0], np.cumsum(np.where(near, step_s, 0.0))])
    begins, ends = grid - HOUR_S / 2, grid + HOUR_S / 2
    covered_s = _at(ends, at_s, length_s, near) - _at(begins, at_s, length_s, near)
    total = _area_at(ends, at_s, value, area, near) - _area_at(begins, at_s, value, area, near)
    mean = total / np.where(covered_s > 0, covered_s, 1.0)
    after = np.clip(np.searchsorted(at_s, grid, side="left"), 1, at_s.size - 1)
    point = np.where(near[after - 1], np.interp(grid, at_s, value), np.nan)
    point[(grid < at_s[0]) | (grid > at_s[-1])] = np.nan
    exact = np.isin(grid, at_s)
    point[exact] = value[np.searchsorted(at_s, grid[exact])]
    return np.where(covered_s >= _LEAST_KNOWN_S, mean, point)


def _middles(value: FloatArray) -> FloatArray:
    return np.asarray((value[1:] + value[:-1]) / 2.0, dtype=np.float64)


def _at(
    when: FloatArray, at_s: FloatArray, length_s: FloatArray, near: NDArray[np.bool_]
) -> FloatArray:
    """Known time up to an instant; flat across gaps."""
    inside = np.clip(when, at_s[0], at_s[-1])
    left = np.clip(np.searchsorted(at_s, inside, side="right") - 1, 0, at_s.size - 2)
    return length_s[left] + np.where(near[left], inside - at_s[left], 0.0)


def _area_at(
    when: FloatArray,
    at_s: FloatArray,
    value: FloatArray,
    area: FloatArray,
    near: NDArray[np.bool_],
) -> FloatArray:
    """Integral of the straight lines between rows up to an instant."""
    inside = np.clip(when, at_s[0], at_s[-1])
    left = np.clip(np.searchsorted(at_s, inside, side="right") - 1, 0, at_s.size - 2)
    past_s = inside - at_s[left]
    slope = (value[left + 1] - value[left]) / (at_s[left + 1] - at_s[left])
    part = past_s * (value[left] + slope * past_s / 2.0)
    return np.asarray(area[left] + np.where(near[left], part, 0.0), dtype=np.float64)


def hours_between(
    rows: RawRows, *, origins: tuple[WeatherOrigin, ...], phase_s: float
) -> tuple[RawRows, tuple[WeatherOrigin, ...], tuple[Gap, ...], tuple[Message, ...]]:
    """Rows that step by two to six hours on purpose, with the hours between put in.

    One gap per stretch, not one per step.
    """
    step_s = median_step_s(rows)
    if not _NORMAL_STEP_S < step_s <= COARSEST_STEP_S:
        return rows, origins, (), ()
    known = ~np.isnan(rows.temp_c)
    names = "epoch_s", "temp_c", "dew_c", "cloud_frac", "origin"
    given = RawRows(**{name: getattr(rows, name)[known] for name in names})
    if given.epoch_s.size < 2:
        return rows, origins, (), ()
    moved = replace(given, epoch_s=given.epoch_s - phase_s)
    filled, marked, gaps = fill_coarse_steps(moved, origins=origins)
    shifted = tuple(
        replace(gap, starts=_later(gap.starts, phase_s), ends=_later(gap.ends, phase_s))
        for gap in gaps
    )
    told = Message("weather.coarse", {"step_s": step_s})
    return replace(filled, epoch_s=filled.epoch_s + phase_s), marked, shifted, (told,)


def _later(when: datetime, by_s: float) -> datetime:
    return when + timedelta(seconds=by_s)


def fill_coarse_steps(
    rows: RawRows, *, origins: tuple[WeatherOrigin, ...]
) -> tuple[RawRows, tuple[WeatherOrigin, ...], tuple[Gap, ...]]:
    """Put whole hours into forecast steps of up to six hours, marked as interpolated.

    Not for observations: there a missing hour is a gap, not a coarser step.

    Source
    ------
    Fritsch & Butland (1984), A method for constructing local monotone piecewise cubic
    interpolants, SIAM J. Sci. Stat. Comput. 5, 300-304 (as scipy's PchipInterpolator).
    """
    steps_s = np.diff(rows.epoch_s)
    coarse = np.flatnonzero((steps_s > _NORMAL_STEP_S) & (steps_s <= COARSEST_STEP_S))
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
    too_wide = at_s[after] - at_s[np.maximum(after - 1, 0)] > COARSEST_STEP_S
    dew_c[too_wide | (hours_s < at_s[0]) | (hours_s > at_s[-1])] = np.nan
    return dew_c


def _shape_preserving(at_s: FloatArray, value: FloatArray, hours_s: FloatArray) -> FloatArray:
    from scipy.interpolate import PchipInterpolator

    # Steps too small for a number's range overflow where scipy masks the result anyway.
    with np.errstate(over="ignore"):
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
