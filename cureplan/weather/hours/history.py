"""Gaps in the days before a job, filled so that a slab's memory of those days is not lost."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from cureplan.core.messages import Message
from cureplan.weather.hours.merge import straight_line_origin
from cureplan.weather.hours.series import HOUR_S, FloatArray, Gap, HourlySeries, utc_of

__all__ = ["MOST_FILLED_H", "fill_history"]

MOST_FILLED_H = 24
"""A gap of a day is filled by the days around it, a longer one is not: invented."""
DAY_H = 24


def fill_history(
    series: HourlySeries, *, before: datetime, since: datetime | None = None
) -> HourlySeries:
    """Fill gaps that end before an instant by the same hours of the days around them.

    The shape of a day is kept and shifted so that it meets the hours on either side;
    `since` is where the history that is wanted begins. Not for the hours of the job itself:
    what those rest on must be known.
    """
    past = np.flatnonzero(series.epoch_s < before.timestamp())
    unknown = past[np.isnan(series.temp_c[past])]
    # A gap is one gap also where only its end lies in the history that is wanted.
    first_s = -np.inf if since is None else since.timestamp() - HOUR_S
    runs = [
        run
        for run in _neighbours(unknown)
        if _may_be_filled(run, series) and series.epoch_s[run[-1]] >= first_s
    ]
    if not runs:
        return series
    temp_c, dew_c, origin = series.temp_c.copy(), series.dew_c.copy(), series.origin.copy()
    for run in runs:
        temp_c[run] = _like_the_days_around(run, series.temp_c)
        dew_c[run] = np.minimum(_line(run, series.dew_c), temp_c[run])
        origin[run] = len(series.origins)
    filled = np.concatenate(runs)
    gaps = [gap for gap in series.gaps if not _within(gap, series.epoch_s[filled])]
    gaps += [_gap(series.epoch_s[run]) for run in runs]
    warning = Message("weather.history_filled", {"count": int(filled.size)})
    return replace(
        series,
        temp_c=temp_c,
        dew_c=dew_c,
        origin=origin,
        origins=(*series.origins, straight_line_origin(series.origins)),
        gaps=tuple(sorted(gaps, key=lambda gap: (gap.starts, gap.what))),
        warnings=(*series.warnings, warning),
    )


def _neighbours(hours: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    return [] if hours.size == 0 else np.split(hours, np.flatnonzero(np.diff(hours) > 1) + 1)


def _may_be_filled(run: NDArray[np.int64], series: HourlySeries) -> bool:
    ends_known = run[0] > 0 and run[-1] < series.epoch_s.size - 1
    return bool(ends_known) and run.size <= MOST_FILLED_H


def _like_the_days_around(run: NDArray[np.int64], column: FloatArray) -> FloatArray:
    """The mean of a day earlier and a day later, shifted to meet both ends."""
    hours = np.arange(run[0] - 1, run[-1] + 2)
    days = np.full((2, hours.size), np.nan)
    for row, shift in enumerate((-DAY_H, DAY_H)):
        there = (hours + shift >= 0) & (hours + shift < column.size)
        days[row, there] = column[hours[there] + shift]
    if run.size == DAY_H:
        # Each day reaches into the gap by an hour, for which its own of that time stands in.
        days[0, -1], days[1, 0] = days[0, 1], days[1, -2]
    known = ~np.isnan(days).any(axis=1)
    shape = days[known].mean(axis=0) if known.any() else np.zeros(hours.size)
    share = np.linspace(0.0, 1.0, hours.size)
    first, last = column[hours[0]] - shape[0], column[hours[-1]] - shape[-1]
    return np.asarray(shape + first + share * (last - first))[1:-1]


def _line(run: NDArray[np.int64], column: FloatArray) -> FloatArray:
    known = np.flatnonzero(~np.isnan(column))
    if known.size == 0:
        return np.full(run.size, np.nan)
    return np.interp(run, known, column[known])


def _within(gap: Gap, filled_s: FloatArray) -> bool:
    inside = (filled_s >= gap.starts.timestamp()) & (filled_s <= gap.ends.timestamp())
    return bool(np.count_nonzero(inside) == gap.hours)


def _gap(hours_s: FloatArray) -> Gap:
    return Gap(
        what="temperature",
        starts=utc_of(float(hours_s[0])),
        ends=utc_of(float(hours_s[-1])),
        hours=int(hours_s.size),
        mended="by the days around it",
    )
