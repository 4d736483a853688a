"""Rows at whatever times a source gives them, brought onto whole hours.

Short gaps are bridged by a straight line and marked; longer ones stay NaN.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cureplan.errors import OutOfRangeError
from cureplan.say import Say
from cureplan.weather.series import HOUR_S, Gap, HourlySeries, WeatherOrigin, utc_of

__all__ = ["LONGEST_MENDED_H", "RawRows", "hourly_from_rows"]

LONGEST_MENDED_H = 3
# Rows up to this far apart are a normal hourly (or finer) record, not a gap.
_NORMAL_STEP_S = 1.5 * HOUR_S
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawRows:
    """Rows as a source gave them, in rising time; NaN is a blank cell."""

    epoch_s: FloatArray
    temp_c: FloatArray
    dew_c: FloatArray
    cloud_frac: FloatArray
    origin: NDArray[np.int64]


def hourly_from_rows(
    rows: RawRows, *, origins: tuple[WeatherOrigin, ...], phase_s: float
) -> HourlySeries:
    """Bring rows onto an hourly grid and name every missing hour.

    Not for forecasts that step by six hours on purpose; see `six_hourly`.

    Parameters
    ----------
    rows : RawRows
        At least one row; times strictly rising.
    origins : tuple of WeatherOrigin
        What `rows.origin` points into; an "interpolated" one is added when needed.
    phase_s : float
        Seconds past the UTC hour at which the grid stands [s]: 0, or 1800 for a
        zone that lies half an hour off.

    Returns
    -------
    HourlySeries
        Temperature and dew point linear between rows up to 1.5 h apart; runs of up to
        three missing hours bridged and marked; longer runs NaN. Each run is a `Gap`.

    Raises
    ------
    OutOfRangeError
        No whole hour lies within the rows.
    """
    grid = _grid(rows.epoch_s, phase_s)
    temp_c, temp_run_h = _bridge(grid, rows.epoch_s, rows.temp_c)
    dew_c, dew_run_h = _bridge(grid, rows.epoch_s, rows.dew_c)
    cloud, cloud_run_h = _bridge(grid, rows.epoch_s, rows.cloud_frac)
    # Cloud has no gap record, so it is never guessed across missing hours.
    cloud[cloud_run_h > 0] = np.nan
    nearest = np.searchsorted(rows.epoch_s, grid, side="right") - 1
    origin = rows.origin[nearest].copy()
    mended = (temp_run_h > 0) & ~np.isnan(temp_c)
    if mended.any():
        origin[mended] = len(origins)
        origins = (*origins, _straight_line(origins))
    gaps = [
        *_runs(grid, temp_run_h, temp_c, what="temperature"),
        *_runs(grid, dew_run_h, dew_c, what="dew point"),
    ]
    return HourlySeries(
        epoch_s=grid,
        temp_c=temp_c,
        dew_c=dew_c,
        cloud_frac=cloud,
        origin=origin,
        origins=origins,
        gaps=tuple(gaps),
        notes=_resampling_note(rows.epoch_s, phase_s),
    )


def _grid(epoch_s: FloatArray, phase_s: float) -> FloatArray:
    first = np.ceil((epoch_s[0] - phase_s) / HOUR_S)
    last = np.floor((epoch_s[-1] - phase_s) / HOUR_S)
    if last < first:
        raise OutOfRangeError("no whole hour lies within the rows")
    return np.asarray(phase_s + HOUR_S * np.arange(first, last + 1), dtype=np.float64)


def _bridge(
    grid: FloatArray, epoch_s: FloatArray, column: FloatArray
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Column on the grid, and for each hour how long the run of missing hours is (0: none)."""
    known = ~np.isnan(column)
    at, value = epoch_s[known], column[known]
    if at.size == 0:
        return np.full(grid.size, np.nan), np.full(grid.size, grid.size, dtype=np.int64)
    after = np.minimum(np.searchsorted(at, grid, side="left"), at.size - 1)
    exact = at[after] == grid
    before = np.where(exact, after, np.maximum(after - 1, 0))
    step_s = at[after] - at[before]
    outside = (grid < at[0]) | (grid > at[-1])
    run_h = np.where(step_s <= _NORMAL_STEP_S, 0, np.round(step_s / HOUR_S) - 1)
    run_h = np.where(outside, grid.size, run_h).astype(np.int64)
    share = (grid - at[before]) / np.where(step_s > 0, step_s, 1.0)
    filled = value[before] + share * (value[after] - value[before])
    filled[outside | (run_h > LONGEST_MENDED_H)] = np.nan
    return filled, run_h


def _runs(
    grid: FloatArray,
    run_h: NDArray[np.int64],
    column: FloatArray,
    *,
    what: Literal["temperature", "dew point"],
) -> list[Gap]:
    missing = np.flatnonzero(run_h > 0)
    if missing.size == 0 or (what == "dew point" and missing.size == grid.size):
        return []
    # A run ends where hours stop being neighbours, or where mended meets unmended.
    unmended = np.isnan(column[missing])
    breaks = (np.diff(missing) > 1) | (np.diff(unmended.astype(np.int8)) != 0)
    return [
        Gap(
            what=what,
            starts=utc_of(float(grid[run[0]])),
            ends=utc_of(float(grid[run[-1]])),
            hours=int(run.size),
            mended="no" if np.isnan(column[run[0]]) else "by a straight line",
        )
        for run in np.split(missing, np.flatnonzero(breaks) + 1)
    ]


def _straight_line(origins: tuple[WeatherOrigin, ...]) -> WeatherOrigin:
    return WeatherOrigin(
        label=origins[0].label,
        kind="interpolated",
        licence=origins[0].licence,
        attribution=origins[0].attribution,
        issued_at=origins[0].issued_at,
        fetched_at=origins[0].fetched_at,
    )


def _resampling_note(epoch_s: FloatArray, phase_s: float) -> tuple[Say, ...]:
    off = int(np.count_nonzero(np.mod(epoch_s - phase_s, HOUR_S)))
    if off == 0:
        return ()
    return (Say("weather.off_hour", {"rows": off, "count": int(epoch_s.size)}),)
