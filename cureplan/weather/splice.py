"""Several series, in order of preference, made into one that says which row is whose."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cureplan.errors import OutOfRangeError
from cureplan.say import once
from cureplan.weather.gridding import RawRows, hourly_from_rows
from cureplan.weather.series import HOUR_S, Gap, HourlySeries, WeatherOrigin, utc_of

__all__ = ["splice"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def splice(pieces: Sequence[HourlySeries]) -> HourlySeries:
    """Take each hour from the first piece that gives it; interpolated rows come last.

    Not for series on different minutes of the hour; they must share one grid.

    Parameters
    ----------
    pieces : sequence of HourlySeries
        At least one; the preferred one first.

    Returns
    -------
    HourlySeries
        From the earliest to the latest hour of any piece. Hours that no piece gives are
        gaps, short ones bridged and marked. Notes and warnings of all pieces are kept.

    Raises
    ------
    OutOfRangeError
        No piece, or pieces on different grids.
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
