"""How old the forecast behind a stretch of weather is, and when that must be said."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cureplan.say import Say, Value
from cureplan.weather.series import HOUR_S, HourlySeries, WeatherOrigin

__all__ = ["ForecastAge", "age_warnings", "in_words", "oldest_forecast"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastAge:
    """A forecast in use, and the instant its age counts from."""

    label: str
    since: datetime
    issued: bool

    def age_s(self, now: datetime) -> float:
        """Seconds since it was issued, or fetched where no issue time is given."""
        return (now - self.since).total_seconds()

    def describe(self, now: datetime) -> str:
        """Label and age in words, for a terminal."""
        verb = "issued" if self.issued else "issue time not given, fetched"
        return f"{self.label}, {verb} {in_words(self.age_s(now))} ago"

    def remark(self, code: str, now: datetime, more: Mapping[str, Value]) -> Say:
        """Label and age for the sheets, beside what else the code speaks of."""
        code = code if self.issued else f"{code}_fetched"
        return Say(code, {"label": self.label, "age_s": self.age_s(now), **more})


def oldest_forecast(
    series: HourlySeries, starts: datetime, ends: datetime
) -> ForecastAge | None:
    """The oldest forecast that any hour of a span rests on; None when none does."""
    return min(_in_use(series, starts, ends), key=lambda one: one.since, default=None)


def age_warnings(
    series: HourlySeries,
    starts: datetime,
    ends: datetime,
    *,
    now: datetime,
    max_age_s: float,
) -> tuple[Say, ...]:
    """One remark per forecast in use that is older than allowed.

    Parameters
    ----------
    series : HourlySeries
        Weather whose origins carry their times.
    starts, ends : datetime
        Span that matters, aware.
    now : datetime
        Present instant, aware.
    max_age_s : float
        Greatest age that needs no word [s].

    Returns
    -------
    tuple of Say
        Empty when all are young enough.
    """
    return tuple(
        one.remark("weather.forecast_old", now, {"allowed_s": max_age_s})
        for one in _in_use(series, starts, ends)
        if one.age_s(now) > max_age_s
    )


def in_words(seconds: float) -> str:
    """An age as a foreman says it.

    Examples
    --------
    >>> in_words(600), in_words(7200), in_words(90 * 3600)
    ('10 min', '2 h', '4 days')
    """
    if seconds < 2 * HOUR_S:
        return f"{seconds / 60:.0f} min"
    if seconds < 48 * HOUR_S:
        return f"{seconds / HOUR_S:.0f} h"
    return f"{seconds / 86_400:.0f} days"


def _in_use(series: HourlySeries, starts: datetime, ends: datetime) -> Iterator[ForecastAge]:
    within = (series.epoch_s > starts.timestamp() - HOUR_S) & (
        series.epoch_s < ends.timestamp() + HOUR_S
    )
    for number in np.unique(series.origin[within]):
        origin = series.origins[number]
        since = _since(origin)
        if since is not None:
            yield ForecastAge(
                label=origin.label, since=since, issued=origin.issued_at is not None
            )


def _since(origin: WeatherOrigin) -> datetime | None:
    """Observations do not age; what was interpolated is as old as what it rests on."""
    if origin.kind == "forecast" or (origin.kind == "interpolated" and origin.issued_at):
        return origin.issued_at or origin.fetched_at
    return None
