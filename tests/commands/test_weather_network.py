"""`cureplan weather` and `compare --seasons` as processes on a network that is ours.

Stations and forecast come over real HTTP from 127.0.0.1, for nights far ahead; then the
network is gone.
"""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest
from builders import assert_same_series
from loopback import hours_from, utc
from scenes import (
    AT_SITE,
    ENDS,
    NOW,
    STARTS,
    daily_c,
    serve_metno,
    serve_mosmix,
    serve_stations,
)
from scenes import station_rows as rows_around
from steady import write_job

from cureplan.api import read_job
from cureplan.output.commands.weather import weather
from cureplan.weather.hours.csv_file import read_weather_csv, read_weather_csv_for
from cureplan.weather.kept import WeatherStore

FAR_AHEAD = (
    ("from = 2013-07-17T19:00:00", "from = 2091-07-17T19:00:00"),
    ("open_by = 2013-07-21T06:00:00", "open_by = 2091-07-20T06:00:00"),
)
FILE = 'source = "file"\nfile = "weather.csv"'
AT = NOW.isoformat()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("jobs")


@pytest.fixture(scope="module")
def station_run(cureplan, loop, network, folder):
    """A station's hours, saved and drawn, while the network is there."""
    serve_stations(loop, folder, AT_SITE, {"72503": rows_around()})
    serve_mosmix(loop)
    job = write_job(folder, *FAR_AHEAD, (FILE, 'source = "station"'), name="station.toml")
    words = ("weather", job, "--now", AT, "--save", "kept.csv", "--picture", "kept.png")
    return job, cureplan(*words, folder=folder, env=network)


@pytest.fixture(scope="module")
def forecast_job(folder):
    source = 'source = "forecast"\ncontact = "foreman@example.org"'
    return write_job(folder, *FAR_AHEAD, (FILE, source), name="forecast.toml")


@pytest.mark.thorough
def test_station_weather_is_shown_with_choice_source_and_licence(station_run):
    _, done = station_run
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert "Airport (72503, 0.1 km, +0 m): used" in done.stdout
    assert "CC BY 4.0" in done.stdout
    # 20:00 UTC is 16:00 in New York, when the scene is at its hottest: 27 + 5 °C.
    (row,) = [r for r in done.stdout.splitlines() if r.startswith("Wed 18 16:00")]
    assert row.split()[3] == "32.0"


def test_saved_station_weather_serves_a_job_as_a_file(station_run, folder):
    _, done = station_run
    assert done.stdout.rstrip().endswith("kept.png")
    assert (folder / "kept.png").read_bytes().startswith(b"\x89PNG")
    saved = read_weather_csv(folder / "kept.csv")
    kinds = {origin.kind for origin in saved.origins}
    assert {"observed", "forecast"} <= kinds
    # What a job with source = "file" reads is the very same.
    read = read_weather_csv_for(
        folder / "kept.csv", starts=STARTS, ends=ENDS, history_s=5 * 86_400.0
    )
    assert_same_series(read, saved)
    for when in hours_from(STARTS, 59):
        assert saved.at(when.timestamp())[0] == pytest.approx(daily_c(when), abs=1e-9)


def test_the_saved_file_needs_no_network(station_run, folder, capsys):
    job = write_job(folder, *FAR_AHEAD, ("weather.csv", "kept.csv"), name="kept.toml")
    weather(job, save=None, picture=None, now=AT, as_json=True)
    hours = json.loads(capsys.readouterr().out)["hours"]
    # Local midnight before the job is 04:00 UTC.
    (hour,) = [hour for hour in hours if hour["at"] == "2091-07-17T00:00:00-04:00"]
    assert hour["outdoor_c"] == daily_c(utc(2091, 7, 17, 4))


@pytest.mark.thorough
def test_point_forecast_is_shown_with_its_age_and_steps(cureplan, loop, network, forecast_job):
    serve_metno(loop, updated=NOW - timedelta(hours=3))
    done = cureplan(
        "weather", forecast_job, "--now", AT, "--json", folder=forecast_job.parent, env=network
    )
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["forecast_age_s"] == pytest.approx(3 * 3600.0)
    forecast = [o for o in data["origins"] if o["kind"] == "forecast"]
    assert any("NLOD" in origin["licence"] for origin in forecast)


def keep_copy(path, network):
    """As a run at that time would have: one with another `--now` keeps nothing."""
    job = read_job(path)
    store = WeatherStore(
        folder=Path(network["CUREPLAN_STORE"]),
        provider="station",
        latitude_deg=job.site.latitude_deg,
        longitude_deg=job.site.longitude_deg,
        elevation_m=job.site.elevation_m,
    )
    assert not list(store.copies())
    store.keep(read_weather_csv(path.parent / "kept.csv"), fetched_at=NOW)


@pytest.mark.thorough
def test_without_network_the_copy_is_shown_with_its_age(cureplan, loop, network, station_run):
    keep_copy(station_run[0], network)
    before = dict(loop.routes)
    loop.routes.clear()
    try:
        later = (NOW + timedelta(hours=20)).isoformat()
        job, _ = station_run
        done = cureplan(
            "weather", job, "--now", later, "--json", folder=job.parent, env=network
        )
    finally:
        loop.routes.update(before)
    assert done.returncode == 0, done.stderr
    warned = json.loads(done.stdout)["warnings"]
    assert any("this is the copy fetched 20 h ago" in text for text in warned)
    assert any("fetched 20 h ago, allowed are 12 h" in text for text in warned)


def test_nothing_to_be_had_is_one_line_and_exit_code_4(cureplan, network, folder, tmp_path):
    job = write_job(folder, *FAR_AHEAD, (FILE, 'source = "station"'), name="alone.toml")
    # Port 9 of 127.0.0.1 answers nobody.
    dead = {
        name: value.replace(value.split("/")[2], "127.0.0.1:9") if "//" in value else value
        for name, value in network.items()
    }
    saved = folder / "never.csv"
    done = cureplan(
        "weather", job, "--now", AT, "--save", saved,
        folder=folder, env={**dead, "CUREPLAN_STORE": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 4
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("cureplan: no weather: try again later")
    assert "missing, 2091-07-17" in done.stderr
    assert 'set source = "file"' in done.stderr
    assert not saved.exists()


def summers(years):
    """June to August of each year at 21 °C, as a station reported them."""
    return [
        (when, 21.0, 60, "metar")
        for year in years
        for when in hours_from(utc(year, 6, 20), 50 * 24)
    ]


@pytest.mark.thorough
def test_past_julys_of_a_station_are_counted(cureplan, loop, network, folder):
    serve_stations(loop, folder, AT_SITE, {"72503": summers(range(2088, 2091))})
    job = write_job(
        folder,
        ("from = 2013-07-17T19:00:00", "from = 2095-07-17T19:00:00"),
        ("open_by = 2013-07-21T06:00:00", "open_by = 2095-07-20T06:00:00"),
        (FILE, 'source = "station"'),
        name="ahead.toml",
    )
    words = ("compare", job, "--seasons", "2", "--now", AT, "--json")
    done = cureplan(*words, folder=folder, env=network)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""  # no progress bar where nobody looks
    data = json.loads(done.stdout)
    # July 2091 is not over on the 17th. By hand (steady.py) 390 s are left every night.
    assert [year["year"] for year in data["years"]] == [2089, 2090]
    assert data["total"]["hold_without_ice"] == data["total"]["nights"] == 62
    assert not data["own_weather"]
    margins = {n["as_is_min"] for year in data["years"] for n in year["nights"]}
    assert margins == {6.5}
    assert all("CC BY 4.0" in source for year in data["years"] for source in year["sources"])
