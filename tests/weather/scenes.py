"""What the loopback server plays: a site, stations around it, and their weather.

Instants lie far ahead, because the client drops forecasts that end before the machine's
own today.
"""

import math

from loopback import (
    body,
    hourly_files,
    hours_from,
    metno_json,
    mosmix_kmz,
    stations_db,
    utc,
)

SITE = {"latitude_deg": 40.78, "longitude_deg": -73.88, "elevation_m": 3.0}
CONTACT = "foreman@example.org"
NOW = utc(2091, 7, 17, 18)
STARTS = utc(2091, 7, 17, 23)
ENDS = utc(2091, 7, 20, 10)
# name, latitude, longitude, elevation, mosmix identifier
AT_SITE = {"72503": ("Airport", 40.779, -73.881, 3, "M503")}
AROUND = {
    "72505": ("Park", 40.88, -73.95, 40, None),
    "72506": ("Shore", 40.65, -73.78, 4, "M506"),
}
TEN_DAYS = 240


def daily_c(when, mean_c=27.0):
    """A day's swing of ±5 K, hottest at 20:00 UTC; one decimal, as the services send it."""
    return round(mean_c + 5 * math.cos((when.hour - 20) / 24 * 2 * math.pi), 1)


def station_rows(*, now=NOW, mean_c=27.0, past_h=TEN_DAYS, ahead_h=TEN_DAYS, rhum=60):
    """Ten days observed up to `now` and ten days of model rows behind it."""
    times = hours_from(now, past_h + ahead_h + 1)
    first = times[0] - (times[past_h] - times[0])
    return [
        (when, daily_c(when, mean_c), rhum, "metar" if when <= now else "metno_forecast")
        for when in hours_from(first, past_h + ahead_h + 1)
    ]


def serve_stations(loop, tmp_path, stations, rows, *, alive=None, modified=None):
    """Station list and hourly files; `rows` by station."""
    listed = stations_db(tmp_path / "made.db", stations, alive=alive)
    loop.routes["/stations.db"] = body(listed)
    loop.routes["/hourly/"] = body(hourly_files(rows), modified=modified)


def serve_mosmix(loop, *, now=NOW, issued=None, mean_c=27.0, count=TEN_DAYS, **more):
    times = hours_from(now, count)
    temps_c = [daily_c(when, mean_c) for when in times]
    kmz = mosmix_kmz(times, temps_c, [t - 10 for t in temps_c], issued=issued or now, **more)
    loop.routes["/mosmix/"] = body(kmz)
    return kmz


def serve_metno(loop, *, now=NOW, updated=NOW, mean_c=27.0, hourly_count=60, coarse_count=28):
    times = hours_from(now, hourly_count)
    times += hours_from(times[-1], coarse_count + 1, step_h=6)[1:]
    temps_c = [daily_c(when, mean_c) for when in times]
    raw = metno_json(times, temps_c, [55.0] * len(times), updated=updated)
    loop.routes["/metno"] = body(raw)
    return raw


def only(results):
    (one,) = results
    assert one.failure is None
    return one.series


def failures(results):
    return [one.failure for one in results if one.failure is not None]
