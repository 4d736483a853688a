"""One hourly weather series, with the source of every row and every gap named."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.core.messages import Message

__all__ = ["HOUR_S", "Gap", "HourlySeries", "OriginKind", "WeatherOrigin", "utc_of"]

HOUR_S = 3600.0
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
OriginKind = Literal["observed", "forecast", "file", "interpolated"]
FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherOrigin:
    """Where a stretch of rows comes from, and on what terms it may be shown.

    `issued_at` is when a forecast was made, `written_at` when the file that holds it was,
    where nothing better is known. A label is made of names and numbers alone; what kind
    of rows they are is told by `kind`, in every language.
    """

    label: str
    kind: OriginKind
    licence: str
    attribution: str
    issued_at: datetime | None = None
    fetched_at: datetime | None = None
    written_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A run of hours that the source did not give; first and last missing hour."""

    what: Literal["temperature", "dew point"]
    starts: datetime
    ends: datetime
    hours: int
    mended: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HourlySeries:
    """Outdoor air on a regular hourly grid; missing is NaN plus a `Gap`.

    Not for sub-hourly physics: between rows the air is taken as linear.

    Parameters
    ----------
    epoch_s : ndarray of float64, shape (n,)
        Seconds since 1970-01-01 UTC, exactly one hour apart.
    temp_c, dew_c : ndarray of float64, shape (n,)
        Air temperature and dew point [°C]; NaN where unknown.
    cloud_frac : ndarray of float64, shape (n,)
        Cloud cover, 0 to 1; NaN where not given.
    origin : ndarray of int64, shape (n,)
        Index of each row's source in `origins`.
    origins, gaps, notes, warnings : tuple
        Sources, missing hours, remarks for the reader, and what every sheet must show
        (such as a copy in place of a fresh forecast, and its age).

    Raises
    ------
    OutOfRangeError
        Lengths differ, the grid is not hourly, or an origin does not exist.
    """

    epoch_s: FloatArray
    temp_c: FloatArray
    dew_c: FloatArray
    cloud_frac: FloatArray
    origin: IntArray
    origins: tuple[WeatherOrigin, ...]
    gaps: tuple[Gap, ...] = ()
    notes: tuple[Message, ...] = ()
    warnings: tuple[Message, ...] = ()

    def __post_init__(self) -> None:
        for name in ("epoch_s", "temp_c", "dew_c", "cloud_frac", "origin"):
            kind = np.int64 if name == "origin" else np.float64
            column = np.array(getattr(self, name), dtype=kind)
            column.flags.writeable = False
            object.__setattr__(self, name, column)
            if column.ndim != 1 or column.size != self.epoch_s.size:
                raise OutOfRangeError(f"{name} must have one value per hour of epoch_s")
        if self.epoch_s.size == 0:
            raise OutOfRangeError("an hourly series needs at least one hour")
        if not np.all(np.diff(self.epoch_s) == HOUR_S):
            raise OutOfRangeError("epoch_s must rise by exactly 3600 s from row to row")
        if not np.all((self.origin >= 0) & (self.origin < len(self.origins))):
            raise OutOfRangeError("origin must index into origins")

    @property
    def starts(self) -> datetime:
        """First hour, UTC."""
        return utc_of(float(self.epoch_s[0]))

    @property
    def ends(self) -> datetime:
        """Last hour, UTC."""
        return utc_of(float(self.epoch_s[-1]))

    def at(self, epoch_s: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Air temperature and dew point at any instants inside the series.

        Not for instants outside it: nothing is extrapolated.

        Examples
        --------
        >>> origin = WeatherOrigin(label="by hand", kind="file", licence="CC0",
        ...                        attribution="")
        >>> two = HourlySeries(epoch_s=np.array([0.0, 3600.0]), temp_c=np.array([20.0, 24.0]),
        ...     dew_c=np.array([10.0, 12.0]), cloud_frac=np.full(2, np.nan),
        ...     origin=np.zeros(2, int), origins=(origin,))
        >>> [float(x) for x in two.at(900.0)]
        [21.0, 10.5]
        """
        when = np.asarray(epoch_s, dtype=np.float64)
        # "not all(ok)" rather than "any(bad)": NaN must fail too.
        if not np.all((when >= self.epoch_s[0]) & (when <= self.epoch_s[-1])):
            raise OutOfRangeError(
                f"weather is known from {_stamp(self.starts)} to {_stamp(self.ends)} only"
            )
        temp = self._linear(when, self.temp_c)
        if np.any(np.isnan(temp)):
            first = utc_of(float(np.atleast_1d(when)[np.isnan(np.atleast_1d(temp))][0]))
            raise OutOfRangeError(f"no air temperature is known at {_stamp(first)}")
        return temp, self._linear(when, self.dew_c)

    def _linear(self, when: FloatArray, column: FloatArray) -> FloatArray:
        steps = (when - self.epoch_s[0]) / HOUR_S
        left = np.floor(steps).astype(np.int64)
        right = np.minimum(left + 1, column.size - 1)
        share = steps - left
        # On a row exactly, a missing neighbour must not spoil a known value.
        after = np.where(share > 0, column[right], column[left])
        return np.asarray(column[left] + share * (after - column[left]), dtype=np.float64)

    def covers(self, starts: datetime, ends: datetime) -> bool:
        """Whether temperature is known at every instant from `starts` to `ends`."""
        return not self.missing_hours(starts, ends)

    def missing_hours(self, starts: datetime, ends: datetime) -> tuple[datetime, ...]:
        """Hours of the grid (UTC) that are needed for the span but not known."""
        first, last = self._grid_span(starts, ends)
        wanted = np.arange(first, last + 1)
        inside = (wanted >= 0) & (wanted < self.epoch_s.size)
        known = np.zeros(wanted.size, dtype=bool)
        known[inside] = ~np.isnan(self.temp_c[wanted[inside]])
        return tuple(utc_of(float(self.epoch_s[0] + HOUR_S * step)) for step in wanted[~known])

    def slice(self, starts: datetime, ends: datetime) -> HourlySeries:
        """The hours needed to read off every instant from `starts` to `ends`."""
        first, last = self._grid_span(starts, ends)
        rows = slice(max(first, 0), min(last, self.epoch_s.size - 1) + 1)
        if rows.start >= rows.stop:
            raise OutOfRangeError(
                f"weather is known from {_stamp(self.starts)} to {_stamp(self.ends)} only"
            )
        cut = replace(
            self,
            epoch_s=self.epoch_s[rows],
            temp_c=self.temp_c[rows],
            dew_c=self.dew_c[rows],
            cloud_frac=self.cloud_frac[rows],
            origin=self.origin[rows],
            gaps=(),
        )
        touching = (g for g in self.gaps if g.ends >= cut.starts and g.starts <= cut.ends)
        return replace(cut, gaps=tuple(touching))

    def _grid_span(self, starts: datetime, ends: datetime) -> tuple[int, int]:
        for name, when in (("starts", starts), ("ends", ends)):
            if when.tzinfo is None:
                raise OutOfRangeError(f"{name} must carry a UTC offset, got naive {when}")
        # By timestamp: times of one zone compare by the wall clock.
        if ends.timestamp() < starts.timestamp():
            raise OutOfRangeError(f"ends ({ends}) lies before starts ({starts})")
        first = (starts.timestamp() - self.epoch_s[0]) // HOUR_S
        last = -((self.epoch_s[0] - ends.timestamp()) // HOUR_S)
        return int(first), int(last)


def utc_of(epoch_s: float) -> datetime:
    """The aware UTC instant of a number of seconds since 1970."""
    # Not fromtimestamp: some systems refuse instants before 1970.
    return _EPOCH + timedelta(seconds=epoch_s)


def _stamp(when: datetime) -> str:
    return when.strftime("%Y-%m-%d %H:%M UTC")
