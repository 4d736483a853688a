"""Questions, stations and rows made up by hand, of which a service reads a few things."""

from __future__ import annotations

import math
from datetime import timedelta
from types import SimpleNamespace as Made

import numpy as np
from scenes import NOW

from cureplan.weather.providers.exchange import Span
from cureplan.weather.providers.hourly import ClientRows
from cureplan.weather.providers.stations import Station

H = 3600.0


def query(provider: str = "station", **more: object) -> Made:
    """What is asked of a service."""
    given = {
        "provider": provider, "now": NOW, "elevation_m": 100.0, "latitude_deg": 40.0,
        "longitude_deg": -73.0, "contact": "foreman@example.org", "folder": "/nowhere", **more,
    }  # fmt: skip
    return Made(**given)


def station(key: str = "1", *, distance_m: float = 9000.0, height_m: float = 0.0, **more):
    """A station as far away and as much higher than its site."""
    given = {"mosmix_key": f"M{key}", "reported_until": None, **more}
    return Station(
        key=key, name=f"Town {key}", distance_m=distance_m, elevation_m=100.0 + height_m,
        height_above_site_m=height_m, **given,
    )  # fmt: skip


def rows_of(
    temp_c, *, first_s: float = 0.0, source: str = "metar", dew_c=math.nan
) -> ClientRows:
    """Rows hour by hour, from so many seconds since 1970 on."""
    temp_c = np.asarray(temp_c, float)
    return ClientRows(
        epoch_s=first_s + H * np.arange(temp_c.size), temp_c=temp_c,
        dew_c=np.broadcast_to(np.asarray(dew_c, float), temp_c.shape),
        cloud_frac=np.zeros(temp_c.size), source=(source,) * temp_c.size, dropped=0,
    )  # fmt: skip


def span_of(*, hours: float = 48.0, minutes: float = 0.0) -> Span:
    """History from as long before now, the job until some minutes past the hour ahead."""
    return Span(
        wanted_from=NOW - timedelta(hours=hours), starts=NOW,
        ends=NOW + timedelta(hours=9, minutes=minutes),
    )  # fmt: skip
