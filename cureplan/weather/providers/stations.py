"""Weather stations near a site, and the list of them that we keep."""

from __future__ import annotations

import errno
import math
import os
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from cureplan.core.errors import WeatherUnavailableError
from cureplan.core.messages import Message, once
from cureplan.weather.providers.exchange import Exchange, is_page

__all__ = ["FARTHEST_M", "Station", "forget_list", "nearby_stations", "station_list"]

FARTHEST_M = 50_000
# One metre of height counts like ten of distance, the weight the client itself uses.
_HEIGHT_WEIGHT = 10.0
_MOST_LISTED = 30
# Stations rarely open or close; a month-old list is a good list. (invented)
_LIST_LASTS_S = 30 * 86_400
_LIST_NAME = "stations.db"
# Of this machine's disk, and no fault of a server's.
_DISK_FAULTS = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EFBIG, errno.EACCES})


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """A weather station as seen from the site."""

    key: str
    name: str
    distance_m: float
    elevation_m: float
    height_above_site_m: float
    mosmix_key: str | None
    reported_until: str | None

    @property
    def remoteness_m(self) -> float:
        """Distance, with height differences weighing ten times [m]."""
        return math.hypot(self.distance_m, _HEIGHT_WEIGHT * self.height_above_site_m)

    def label(self) -> str:
        """Name, identifier, distance and height as the choice is shown to the user."""
        return (
            f"{self.name} ({self.key}, {self.distance_m / 1000:.1f} km,"
            f" {self.height_above_site_m:+.0f} m)"
        )


@contextmanager
def station_list(folder: Path, exchange: Exchange) -> Iterator[Message | None]:
    """Point the client at a whole station list, ours if it is young, else a new one.

    The client writes a download straight into place and trips over half of one, so it
    downloads beside ours and a checked list then takes its place in one step.
    """
    import meteostat

    kept = folder / _LIST_NAME
    remark = None
    before = meteostat.config.stations_db_file, meteostat.config.cache_ttl
    try:
        if not (_opens(kept) and _age_s(kept) < _LIST_LASTS_S):
            remark = _renew(kept, exchange)
        meteostat.config.stations_db_file = str(kept)
        # How long the client itself would keep using the file; we decide that above.
        meteostat.config.cache_ttl = 10**10
        yield remark
    finally:
        meteostat.config.stations_db_file, meteostat.config.cache_ttl = before


def nearby_stations(
    *, latitude_deg: float, longitude_deg: float, elevation_m: float, now: datetime
) -> list[Station]:
    """Stations within 50 km, those known to report first, then by remoteness."""
    import meteostat

    point = meteostat.Point(latitude_deg, longitude_deg, round(elevation_m))
    table = meteostat.stations.nearby(point, FARTHEST_M, _MOST_LISTED)
    details = _details([str(key) for key in table.index])
    found = []
    for key, row in table.iterrows():
        height_m = float(row["elevation"]) if row["elevation"] is not None else elevation_m
        height_m = elevation_m if math.isnan(height_m) else height_m
        mosmix_key, reported_until = details.get(str(key), (None, None))
        found.append(
            Station(
                key=str(key),
                name=str(row["name"]),
                distance_m=float(row["distance"]),
                elevation_m=height_m,
                height_above_site_m=height_m - elevation_m,
                mosmix_key=mosmix_key,
                reported_until=reported_until,
            )
        )
    month_ago = datetime.fromtimestamp(now.timestamp() - 30 * 86_400, tz=now.tzinfo)
    alive_from = month_ago.date().isoformat()
    return sorted(
        found, key=lambda s: ((s.reported_until or "9999") < alive_from, s.remoteness_m)
    )


def _details(keys: list[str]) -> dict[str, tuple[str | None, str | None]]:
    """MOSMIX identifier and last day of hourly temperature, by station."""
    import meteostat

    if not keys:
        return {}
    marks = ", ".join("?" * len(keys))
    table = meteostat.stations.query(
        f"""
        SELECT stations.id AS id,
            (SELECT value FROM identifiers
             WHERE identifiers.station = stations.id AND key = 'mosmix') AS mosmix,
            (SELECT MAX("end") FROM inventory
             WHERE inventory.station = stations.id AND provider = 'hourly'
                 AND parameter = 'temp') AS until
        FROM stations WHERE stations.id IN ({marks})
        """,  # noqa: S608 - only question marks are put in
        params=tuple(keys),
    )
    return {
        str(row["id"]): (
            str(row["mosmix"]) if row["mosmix"] else None,
            str(row["until"]) if row["until"] else None,
        )
        for row in table.to_dict("records")
    }


def _renew(kept: Path, exchange: Exchange) -> Message | None:
    """Put a fresh, whole list in place; a remark when the old one had to do."""
    import meteostat

    handle, name = tempfile.mkstemp(prefix=f".{_LIST_NAME}.", suffix=".part", dir=kept.parent)
    os.close(handle)
    part = Path(name)
    # The client downloads only where no file stands.
    part.unlink()
    meteostat.config.stations_db_file = name
    mark = exchange.mark()
    try:
        meteostat.stations.connect(in_memory=False).close()
        if _is_whole(part):
            part.replace(kept)
            return None
        last = exchange.last()
        if last is not None and last.status == 200 and is_page(_beginning(part)):
            last.trouble = "page"
    except Exception as error:
        if isinstance(error, OSError) and error.errno in _DISK_FAULTS:
            raise WeatherUnavailableError(
                f"the list of weather stations could not be written to {kept.parent}"
                f" ({error.strerror})",
                Message("provider.disk", {"folder": str(kept.parent)}),
            ) from error
    finally:
        part.unlink(missing_ok=True)
    asked = exchange.since(mark)
    why = once(answer.remark() for answer in asked) or (Message("net.nothing"),)
    if _opens(kept):
        return Message("weather.list_old", {"age_s": _age_s(kept), "why": why})
    reason = "; ".join(answer.summary() for answer in asked) or "no answer"
    raise WeatherUnavailableError(
        f"no list of weather stations could be had ({reason})",
        Message("provider.no_list", {"why": why}),
    )


def _beginning(part: Path) -> bytes:
    try:
        with part.open("rb") as file:
            return file.read(200)
    except OSError:
        return b""


def forget_list(folder: Path) -> None:
    """Drop a kept list that turned out unusable, so that the next run gets another."""
    with suppress(OSError):
        (folder / _LIST_NAME).unlink()


def _opens(path: Path) -> bool:
    """Whether a list checked when it was put in place is still one; quick."""
    if not path.is_file():
        return False
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as db:
            return db.execute("SELECT 1 FROM stations LIMIT 1").fetchone() is not None
    except sqlite3.Error:
        return False


def _is_whole(path: Path) -> bool:
    """Whether a list just downloaded is complete and sound, page by page."""
    if not path.is_file():
        return False
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as db:
            tables = "stations", "names", "identifiers", "inventory"
            for table in tables:
                db.execute(f"SELECT COUNT(*) FROM {table}").fetchone()  # noqa: S608
            return bool(db.execute("PRAGMA quick_check(1)").fetchone()[0] == "ok")
    except sqlite3.Error:
        return False


def _age_s(path: Path) -> float:
    # A file's age is a matter of this machine's clock, not of the plan's "now".
    return time.time() - path.stat().st_mtime
