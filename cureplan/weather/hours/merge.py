"""Rows put on whole hours, and several series made one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.core.messages import Message, once
from cureplan.weather.hours.series import HOUR_S, Gap, HourlySeries, WeatherOrigin, utc_of

__all__ = ["LONGEST_MENDED_H", "RawRows", "hourly_from_rows", "splice", "straight_line_origin"]

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
        origins = (*origins, straight_line_origin(origins))
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


def straight_line_origin(origins: tuple[WeatherOrigin, ...]) -> WeatherOrigin:
    """Where hours between those of these sources are said to come from."""
    return WeatherOrigin(
        label=origins[0].label,
        kind="interpolated",
        licence=origins[0].licence,
        attribution=origins[0].attribution,
        issued_at=origins[0].issued_at,
        fetched_at=origins[0].fetched_at,
        written_at=origins[0].written_at,
    )


def _resampling_note(epoch_s: FloatArray, phase_s: float) -> tuple[Message, ...]:
    off = int(np.count_nonzero(np.mod(epoch_s - phase_s, HOUR_S)))
    if off == 0:
        return ()
    return (Message("weather.off_hour", {"rows": off, "count": int(epoch_s.size)}),)


IntArray = NDArray[np.int64]


def splice(pieces: Sequence[HourlySeries]) -> HourlySeries:
    """Take each hour from the first piece that gives it; interpolated rows come last.

    Not for series on different minutes of the hour; they must share one grid.
    """
    if not pieces:
        raise OutOfRangeError("splice needs at least one series")
    phase_s = float(pieces[0].epoch_s[0] % HOUR_S)
    if any(piece.epoch_s[0] % HOUR_S != phase_s for piece in pieces):
        raise OutOfRangeError("series to be spliced must share one hourly grid")
    first_s = min(float(piece.epoch_s[0]) for piece in pieces)
    last_s = max(float(piece.epoch_s[-1]) for piece in pieces)
    hours = round((last_s - first_s) / HOUR_S) + 1
    grid: FloatArray = first_s + HOUR_S * np.arange(hours, dtype=np.float64)
    owner = _owners(pieces, grid)
    if not (owner >= 0).any():
        raise OutOfRangeError("no series to be spliced has a known temperature")
    joined = hourly_from_rows(
        _owned_rows(pieces, grid, owner),
        origins=tuple(origin for piece in pieces for origin in piece.origins),
        phase_s=phase_s,
    )
    carried = {
        gap for n, piece in enumerate(pieces) for gap in _carried_gaps(piece, grid, owner == n)
    }
    gaps = sorted(carried | set(joined.gaps), key=lambda gap: (gap.starts, gap.what))
    return _tidy(
        replace(
            joined,
            gaps=tuple(gaps),
            notes=once(note for piece in pieces for note in piece.notes),
            warnings=once(text for piece in pieces for text in piece.warnings),
        )
    )


def _owners(pieces: Sequence[HourlySeries], grid: FloatArray) -> IntArray:
    """For each hour the piece it is taken from, or -1."""
    best = np.full(grid.size, np.inf)
    owner = np.full(grid.size, -1, dtype=np.int64)
    for n, piece in enumerate(pieces):
        interpolated = np.array([o.kind == "interpolated" for o in piece.origins])
        rank = np.where(interpolated[piece.origin], 1.0, 0.0)
        rank[np.isnan(piece.temp_c)] = np.inf
        at = _place(piece, grid)
        wins = rank < best[at]
        best[at] = np.where(wins, rank, best[at])
        owner[at] = np.where(wins, n, owner[at])
    return owner


def _place(piece: HourlySeries, grid: FloatArray) -> slice:
    first = round((float(piece.epoch_s[0]) - float(grid[0])) / HOUR_S)
    return slice(first, first + piece.epoch_s.size)


def _owned_rows(pieces: Sequence[HourlySeries], grid: FloatArray, owner: IntArray) -> RawRows:
    columns = {name: np.full(grid.size, np.nan) for name in ("temp_c", "dew_c", "cloud_frac")}
    origin = np.zeros(grid.size, dtype=np.int64)
    offset = 0
    for n, piece in enumerate(pieces):
        at = _place(piece, grid)
        mine = owner[at] == n
        for name, column in columns.items():
            column[at][mine] = getattr(piece, name)[mine]
        origin[at][mine] = piece.origin[mine] + offset
        offset += len(piece.origins)
    known = owner >= 0
    return RawRows(
        epoch_s=grid[known],
        origin=origin[known],
        **{name: column[known] for name, column in columns.items()},
    )


def _carried_gaps(
    piece: HourlySeries, grid: FloatArray, mine: NDArray[np.bool_]
) -> Iterator[Gap]:
    """What is left of a piece's mended gaps after other pieces have filled them."""
    for gap in piece.gaps:
        if gap.mended == "no":
            continue
        within = (grid >= gap.starts.timestamp()) & (grid <= gap.ends.timestamp())
        left = np.flatnonzero(within & mine)
        for run in np.split(left, np.flatnonzero(np.diff(left) > 1) + 1):
            if run.size:
                yield replace(
                    gap,
                    starts=utc_of(float(grid[run[0]])),
                    ends=utc_of(float(grid[run[-1]])),
                    hours=int(run.size),
                )


def _tidy(series: HourlySeries) -> HourlySeries:
    """Each source once, and only those that a row comes from."""
    used: list[WeatherOrigin] = []
    number = []
    for n, origin in enumerate(series.origins):
        if np.any(series.origin == n) and origin not in used:
            used.append(origin)
        number.append(used.index(origin) if origin in used else 0)
    return replace(series, origin=np.array(number)[series.origin], origins=tuple(used))
