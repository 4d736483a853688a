"""Forecasts of a station and of a point, through the real client, behaving and not."""

from datetime import timedelta

import numpy as np
import pytest
from loopback import body, hours_from, metno_json, mosmix_kmz, silent, status
from scenes import (
    AT_SITE,
    CONTACT,
    NOW,
    daily_c,
    serve_metno,
    serve_mosmix,
    serve_stations,
    station_rows,
)

# Station forecasts


def test_a_station_forecast_follows_where_model_rows_are_missing(loop, ask, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(ahead_h=0)})
    issued = NOW - timedelta(hours=5)
    serve_mosmix(loop, issued=issued)
    hourly, mosmix = (one.series for one in ask("station"))
    assert {origin.kind for origin in hourly.origins} == {"observed"}
    (origin,) = mosmix.origins
    assert (origin.kind, origin.issued_at) == ("forecast", issued)
    assert (origin.licence, origin.attribution) == (
        "CC BY 4.0",
        "Meteostat, Deutscher Wetterdienst",
    )
    assert mosmix.temp_c[3] == pytest.approx(daily_c(NOW + timedelta(hours=3)), abs=0.05)
    # The dew point sent with it is 10 K below the air.
    assert mosmix.temp_c - mosmix.dew_c == pytest.approx(10.0, abs=0.051)
    assert mosmix.cloud_frac[0] == 0.0
    assert loop.count("/metno") == 0


@pytest.mark.parametrize(
    ("prepare", "told"),
    [
        (
            lambda loop: serve_mosmix(loop, issued=NOW + timedelta(hours=30)),
            "30 h in the future",
        ),
        (lambda loop: serve_mosmix(loop, issue_text="yesterday"), "could not be used"),
        (lambda loop: loop.routes.update({"/mosmix/": status(500)}), "HTTP 500"),
        (lambda loop: loop.routes.update({"/mosmix/": status(404)}), "HTTP 404"),
        (lambda loop: loop.routes.update({"/mosmix/": silent(loop)}), "no complete answer"),
        (lambda loop: cut_short(loop, serve_mosmix(loop)), "could not be used"),
        (lambda loop: cut_transfer(loop, serve_mosmix(loop)), "no complete answer"),
    ],
    ids=["future", "no-date", "500", "404", "silent", "cut-zip", "cut-transfer"],
)
def test_station_forecasts_gone_wrong_are_told(loop, ask, tmp_path, prepare, told):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(ahead_h=0)})
    prepare(loop)
    hourly, mosmix, metno = ask("station")
    assert hourly.series is not None
    assert mosmix.series is None
    assert told in mosmix.failure
    assert loop.count("/mosmix/") == 1
    assert "set contact in [weather]" in metno.failure


def test_saturated_air_and_impossible_dew_points(loop, ask, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(ahead_h=0)})
    times = hours_from(NOW, 100)
    dew_c = [20.3, 22.0, None, *[15.0] * 97]
    loop.routes["/mosmix/"] = body(mosmix_kmz(times, [20.0] * 100, dew_c, issued=NOW))
    series = ask("station")[1].series
    assert series.dew_c[0] == pytest.approx(20.0, abs=0.051)
    assert series.dew_c[0] <= series.temp_c[0]
    # Two hours of nonsense between good ones are bridged, and named.
    assert [(gap.what, gap.hours) for gap in series.gaps] == [("dew point", 2)]


def cut_short(loop, kmz):
    loop.routes["/mosmix/"] = body(kmz[: len(kmz) // 2])


def cut_transfer(loop, kmz):
    loop.routes["/mosmix/"] = body(kmz, short_by=len(kmz) // 2)


def test_an_old_model_run_keeps_its_issue_time(loop, ask, tmp_path):
    # The client itself would drop it; we hand it on with its age for the caller to judge.
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(ahead_h=0)})
    serve_mosmix(loop, issued=NOW - timedelta(days=4))
    _, mosmix = (one.series for one in ask("station"))
    assert mosmix.origins[0].issued_at == NOW - timedelta(days=4)


# Point forecasts


@pytest.mark.thorough
def test_a_point_forecast_is_hourly_then_filled_and_marked(loop, ask, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(ahead_h=0)})
    serve_metno(loop, hourly_count=40)
    ends = NOW + timedelta(hours=30)
    metno, hourly = (one.series for one in ask("forecast", contact=CONTACT, ends=ends))
    assert loop.asked[0] == "/metno?lat=40.78&lon=-73.88&altitude=3"
    assert loop.count("/mosmix/") == 0
    assert hourly.ends == NOW
    given, filled = metno.origins
    assert (given.kind, filled.kind) == ("forecast", "interpolated")
    assert (given.licence, given.attribution) == ("NLOD 2.0", "Meteostat, MET Norway")
    assert given.issued_at == filled.issued_at == NOW
    assert (metno.origin[:40] == 0).all()
    assert (metno.origin[40:45] == 1).all()
    assert metno.origin[45] == 0
    assert not np.isnan(metno.temp_c).any()
    (tail,) = metno.gaps
    assert tail.starts == NOW + timedelta(hours=40)
    assert "shape-preserving" in tail.mended
    assert metno.cloud_frac[0] == 0.5


def test_a_job_in_the_coarse_tail_asks_a_station_forecast_too(loop, ask, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(ahead_h=0)})
    serve_metno(loop, hourly_count=20)
    serve_mosmix(loop)
    providers = [
        one.series.origins[0].label.split()[0] for one in ask("forecast", contact=CONTACT)
    ]
    assert providers == ["MET", "DWD", "Airport"]


def test_coordinates_are_cut_to_what_the_service_takes(loop, ask):
    ask("forecast", contact=CONTACT, latitude_deg=40.7812345, longitude_deg=-73.88007)
    assert loop.asked[0] == "/metno?lat=40.7812&lon=-73.8801&altitude=3"


def test_a_point_forecast_without_update_time_counts_from_its_file(loop, ask):
    raw = serve_metno(loop, updated=None)
    written = NOW - timedelta(hours=3)
    loop.routes["/metno"] = body(raw, modified=written)
    origin = ask("forecast", contact=CONTACT)[0].series.origins[0]
    assert (origin.issued_at, origin.written_at) == (None, written)
    loop.routes["/metno"] = body(raw)
    assert ask("forecast", contact=CONTACT)[0].series.origins[0].written_at is None


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("prepare", "told"),
    [
        (lambda loop: loop.routes.update({"/metno": status(403)}), "HTTP 403"),
        (lambda loop: loop.routes.update({"/metno": status(500)}), "HTTP 500"),
        (lambda loop: loop.routes.update({"/metno": silent(loop)}), "no complete answer"),
        (lambda loop: loop.routes.update({"/metno": body(b"{}")}), "could not be used"),
        (
            lambda loop: loop.routes.update({"/metno": body(serve_metno(loop)[:-50])}),
            "could not be used",
        ),
        (
            lambda loop: loop.routes.update({"/metno": body(serve_metno(loop), short_by=50)}),
            "no complete answer",
        ),
        (lambda loop: serve_metno(loop, updated=NOW + timedelta(hours=9)), "9 h in the future"),
        (lambda loop: serve_metno(loop, mean_c=300.0), "could not be used"),
        (
            lambda loop: loop.routes.update(
                {"/metno": body(metno_json([NOW], ["hot"], [55.0], updated=NOW))}
            ),
            "could not be used",
        ),
    ],
    ids=["403", "500", "silent", "no-rows", "cut", "cut-transfer", "future", "kelvin", "words"],
)
def test_point_forecasts_gone_wrong_are_told(loop, ask, tmp_path, prepare, told):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows()})
    prepare(loop)
    results = ask("forecast", contact=CONTACT)
    assert results[0].series is None
    assert told in results[0].failure
    assert results[-1].series is not None, "stations still give the history"
