"""Our own store of weather had before: every answer kept with its time and place.

A copy is a weather file as `write_csv` makes it, under a first line that carries a check
sum, so that half a file is never taken for a whole one.
"""

from __future__ import annotations

import hashlib
import os
import re
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from cureplan.errors import CurePlanError, OutputError
from cureplan.weather.atomic import write_atomically
from cureplan.weather.csvfile import weather_from_text
from cureplan.weather.csvwrite import csv_text
from cureplan.weather.series import HourlySeries

__all__ = ["STORE_VARIABLE", "KeptCopy", "WeatherStore", "default_store_folder"]

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
    """Copies for one place and one door.

    Several processes may write at once: each copy appears whole, under the second in
    which it was fetched, and of two from the same second the last one written stays.

    Parameters
    ----------
    folder : Path
        Root of the store; made when first written to.
    door : str
        "station", "forecast" or "history".
    latitude_deg, longitude_deg, elevation_m : float
        The place; copies are shared within about 10 m.
    """

    folder: Path
    door: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float

    @property
    def shelf(self) -> Path:
        """The folder of this place and door."""
        place = f"{self.latitude_deg:+.4f}_{self.longitude_deg:+.4f}_{self.elevation_m:.0f}m"
        return self.folder / f"{self.door}_{place}"

    def keep(self, series: HourlySeries, *, fetched_at: datetime) -> None:
        """Add a copy, and drop the oldest ones beyond two dozen.

        Raises
        ------
        OutputError
            The store cannot be written to; nothing half-written is left in it.
        """
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
            path.unlink(missing_ok=True)
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
