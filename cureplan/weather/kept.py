"""Kept copies of weather, and how old they are."""

from __future__ import annotations

import hashlib
import os
import re
import time
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import numpy as np

from cureplan.core.errors import CurePlanError, OutputError
from cureplan.core.messages import Message, Value
from cureplan.core.writing import write_atomically
from cureplan.weather.hours.csv_file import csv_text, weather_from_text
from cureplan.weather.hours.series import HOUR_S, HourlySeries, WeatherOrigin

__all__ = [
    "STORE_VARIABLE",
    "ForecastAge",
    "KeptCopy",
    "WeatherStore",
    "age_warnings",
    "default_store_folder",
    "in_words",
    "oldest_forecast",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastAge:
    """A forecast in use, and the instant its age counts from."""

    label: str
    since: datetime
    counted: Literal["issued", "written", "fetched"]

    def age_s(self, now: datetime) -> float:
        """Seconds since it was issued, else since its file was written, else fetched.

        Never less than 0: clocks may differ by minutes, and hours are refused elsewhere.
        """
        return max(0.0, (now - self.since).total_seconds())

    def describe(self, now: datetime) -> str:
        """Label and age in words, for a terminal."""
        verb = {
            "issued": "issued",
            "written": "issue time not given, file written",
            "fetched": "issue time not given, fetched",
        }[self.counted]
        return f"{self.label}, {verb} {in_words(self.age_s(now))} ago"

    def remark(self, code: str, now: datetime, more: Mapping[str, Value]) -> Message:
        """Label and age for the sheets, beside what else the code speaks of."""
        code = code if self.counted == "issued" else f"{code}_{self.counted}"
        return Message(code, {"label": self.label, "age_s": self.age_s(now), **more})


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
) -> tuple[Message, ...]:
    """One remark per forecast in use that is older than allowed."""
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
        age = _age(series.origins[number])
        if age is not None:
            yield age


def _age(origin: WeatherOrigin) -> ForecastAge | None:
    """Observations do not age; what was interpolated is as old as what it rests on."""
    made = origin.issued_at or origin.written_at
    if origin.kind != "forecast" and not (origin.kind == "interpolated" and made):
        return None
    known: list[tuple[Literal["issued", "written", "fetched"], datetime | None]] = [
        ("issued", origin.issued_at),
        ("written", origin.written_at),
        ("fetched", origin.fetched_at),
    ]
    return next(
        (
            ForecastAge(label=origin.label, since=since, counted=counted)
            for counted, since in known
            if since is not None
        ),
        None,
    )


STORE_VARIABLE = "CUREPLAN_STORE"
_MOST_COPIES = 24
_STALE_PART_S = 3600.0
_NAME = re.compile(r"(\d{8}T\d{6}Z)\.csv")
_STAMP = "%Y%m%dT%H%M%SZ"
_HEAD = "# cureplan store 1 sha256="


def default_store_folder() -> Path:
    """Where copies are kept: `CUREPLAN_STORE`, or else the user's cache folder."""
    named = os.environ.get(STORE_VARIABLE)
    if named:
        return Path(named)
    from platformdirs import user_cache_path

    return user_cache_path("cureplan", appauthor=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptCopy:
    """A whole copy and when it was fetched (UTC)."""

    series: HourlySeries
    fetched_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherStore:
    """Copies for one place and one provider.

    Several processes may write at once: each copy appears whole, under the second in
    which it was fetched, and of two from the same second the last one written stays.
    """

    folder: Path
    provider: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float

    @property
    def shelf(self) -> Path:
        """The folder of this place and provider."""
        place = f"{self.latitude_deg:+.4f}_{self.longitude_deg:+.4f}_{self.elevation_m:.0f}m"
        return self.folder / f"{self.provider}_{place}"

    def keep(self, series: HourlySeries, *, fetched_at: datetime) -> None:
        """Add a copy, and drop the oldest ones beyond two dozen."""
        text = csv_text(series)
        name = fetched_at.astimezone(UTC).strftime(_STAMP) + ".csv"
        try:
            self.shelf.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            reason = error.strerror or str(error)
            raise OutputError(f"{self.shelf}: could not be made ({reason})") from error
        write_atomically(self.shelf / name, f"{_HEAD}{_sum(text)}\n{text}")
        self._tidy()

    def copies(self) -> Iterator[KeptCopy]:
        """Every whole copy, the newest first; damaged ones are passed over."""
        for path, fetched_at in self._named():
            series = _read_copy(path)
            if series is not None:
                yield KeptCopy(series=series, fetched_at=fetched_at)

    def _named(self) -> list[tuple[Path, datetime]]:
        try:
            entries = sorted(self.shelf.iterdir(), reverse=True)
        except OSError:
            return []
        matches = ((path, _NAME.fullmatch(path.name)) for path in entries)
        return [
            (path, datetime.strptime(match[1], _STAMP).replace(tzinfo=UTC))
            for path, match in matches
            if match and _is_date(match[1])
        ]

    def _tidy(self) -> None:
        for path, _ in self._named()[_MOST_COPIES:]:
            with suppress(OSError):
                path.unlink()
        for part in self.shelf.glob(".*.part"):
            try:
                # A writer that was killed leaves one behind; a live one is seconds old.
                if time.time() - part.stat().st_mtime > _STALE_PART_S:
                    part.unlink()
            except OSError:
                continue


def _read_copy(path: Path) -> HourlySeries | None:
    try:
        head, _, text = path.read_text(encoding="utf-8").partition("\n")
        if head != f"{_HEAD}{_sum(text)}":
            return None
        return weather_from_text(text, source=path)
    except (OSError, ValueError, CurePlanError):
        return None


def _sum(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _is_date(stamp: str) -> bool:
    try:
        datetime.strptime(stamp, _STAMP).replace(tzinfo=UTC)
    except ValueError:
        return False
    return True
