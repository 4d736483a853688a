"""Hours that stations saw, through the real client over loopback HTTP, behaving and not."""

import gzip
import importlib.util
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from builders import told
from loopback import body, hourly_csv, hours_from, metno_json, silent, status, utc
from scenes import (
    AROUND,
    AT_SITE,
    CONTACT,
    NOW,
    STARTS,
    daily_c,
    failures,
    only,
    serve_stations,
    station_rows,
)

from cureplan.core.moist_air import dew_from_humidity_c


def test_a_station_next_door_serves_alone(loop, ask, tmp_path):
    written = NOW - timedelta(hours=2)
    serve_stations(
        loop,
        tmp_path,
        {**AT_SITE, **AROUND},
        {"72503": station_rows(), "72505": station_rows(mean_c=40)},
        modified=written,
    )
    series = only(ask("station"))
    assert loop.count("/hourly/") == 1
    first = STARTS - timedelta(hours=120)
    assert series.starts == first
    for hour in (0, 50, 130, 200):
        when = first + timedelta(hours=hour)
        assert series.temp_c[hour] == daily_c(when)
    # Humidity is a whole 60 %; the dew point must be that of the row's own temperature.
    expected_c = dew_from_humidity_c(series.temp_c, rh_frac=0.6)
    assert series.dew_c == pytest.approx(expected_c, abs=1e-9)
    observed, model = series.origins
    assert (observed.kind, model.kind) == ("observed", "forecast")
    assert observed.label == "Airport (72503, 0.1 km, +0 m)"
    assert (observed.licence, observed.attribution) == ("CC BY 4.0", "Meteostat")
    assert (model.licence, model.attribution) == ("NLOD 2.0", "Meteostat, MET Norway")
    assert (model.issued_at, model.written_at) == (None, written)
    assert observed.issued_at is None
    # The row of the present hour is the last observed one.
    last_seen = series.epoch_s[series.origin == 0][-1]
    assert last_seen == NOW.timestamp()
    assert told(series.notes) == ["Airport (72503, 0.1 km, +0 m): used."]


def test_stations_farther_off_are_weighed_by_distance(loop, ask, tmp_path):
    rows = {
        "72505": station_rows(mean_c=24, past_h=24, ahead_h=66),
        "72506": station_rows(mean_c=30, past_h=24, ahead_h=66),
    }
    serve_stations(loop, tmp_path, AROUND, rows)
    series = only(ask("station", history_h=24))
    # By hand: Park lies 12.6 km and 37 m off, Shore 16.7 km and 1 m; height weighs tenfold,
    # weights go with 1/d². 12.63² = 159.4, 16.73² = 279.9 km² → shares 0.637 and 0.363.
    # Tolerance: 0.1 km of distance moves the mean 0.02 K.
    expected_c = 0.637 * 24 + 0.363 * 30 - 27
    for hour in (0, 77):
        when = series.starts + timedelta(hours=hour)
        assert series.temp_c[hour] - daily_c(when) == pytest.approx(expected_c, abs=0.03)
    assert [part.split()[0] for part in series.origins[0].label.split(" + ")] == [
        "Park",
        "Shore",
    ]


def spoiled(rows, spoil):
    """Rows of a day a week ago changed; the rest as it was."""
    first = NOW - timedelta(hours=96)
    return [
        (when, spoil(temp_c) if first <= when < first + timedelta(hours=36) else temp_c, *more)
        for when, temp_c, *more in rows
    ]


@pytest.mark.parametrize(
    ("spoil", "told_as"),
    [
        (lambda _: 21.0, "the same value for a day or more"),
        (lambda temp_c: temp_c + 20, "jumps no air makes"),
        (lambda _: 0.0, "0 or -40 where it stands for missing"),
    ],
)
def test_a_station_whose_readings_cannot_be_gives_way(loop, ask, tmp_path, spoil, told_as):
    # What a file would be asked about is not planned on from a station either.
    rows = {"72503": spoiled(station_rows(), spoil), "72505": station_rows(mean_c=26)}
    serve_stations(loop, tmp_path, {**AT_SITE, "72505": AROUND["72505"]}, rows)
    series = only(ask("station"))
    assert series.temp_c[30] == pytest.approx(daily_c(series.starts + timedelta(hours=30), 26))
    notes = " ".join(told(series.notes))
    assert "Airport (72503, 0.1 km, +0 m): not used, its readings cannot be" in notes
    assert told_as in notes
    # With no other station its weather is used, and said to be doubtful.
    serve_stations(loop, tmp_path, AT_SITE, {"72503": rows["72503"]})
    (tmp_path / "kept" / "stations.db").unlink()
    assert told_as in told(only(ask("station")).warnings)[0]


def test_a_station_all_neighbours_speak_against_is_left_out(loop, ask, tmp_path):
    stations = {**AROUND, "72507": ("Roof", 40.83, -73.98, 5, None)}
    rows = {key: station_rows(past_h=24, ahead_h=66) for key in AROUND}
    rows["72507"] = station_rows(mean_c=36, past_h=24, ahead_h=66)
    serve_stations(loop, tmp_path, stations, rows)
    series = only(ask("station", history_h=24))
    assert series.temp_c[5] == pytest.approx(daily_c(series.starts + timedelta(hours=5)))
    assert any("Roof" in note and "all stations around" in note for note in told(series.notes))


def test_a_forecast_that_cannot_be_is_not_planned_on(loop, ask):
    times = hours_from(NOW, 60)
    temps_c = [daily_c(when) + (25 if 20 <= n < 30 else 0) for n, when in enumerate(times)]
    loop.routes["/metno"] = body(metno_json(times, temps_c, [55.0] * 60, updated=NOW))
    told_why = " ".join(failures(ask("forecast", contact=CONTACT)))
    assert "MET Norway forecast holds readings that cannot be (jump)" in told_why


def test_a_station_on_a_hill_is_brought_down_to_the_site(loop, ask, tmp_path):
    hill = {"90001": ("Hill", 40.80, -73.88, 203, None)}
    serve_stations(loop, tmp_path, hill, {"90001": station_rows(rhum=100)})
    series = only(ask("station"))
    # Standard atmosphere: 6.5 K per km, so 200 m lower is 1.3 K warmer.
    assert series.temp_c[0] == pytest.approx(daily_c(series.starts) + 1.3, abs=1e-9)
    # Saturated up there is no longer saturated down here.
    assert series.temp_c[0] - series.dew_c[0] == pytest.approx(1.3, abs=1e-6)
    assert any("6.5 °C per km" in note for note in told(series.notes))


def test_stations_too_high_are_not_used_and_told(loop, ask, tmp_path):
    stations = {
        "90001": ("Peak", 40.78, -73.88, 353, None),
        "90002": ("Plain", 40.90, -73.88, 5, None),
    }
    rows = {"90001": station_rows(mean_c=10), "90002": station_rows(past_h=24, ahead_h=66)}
    serve_stations(loop, tmp_path, stations, rows)
    series = only(ask("station", history_h=24))
    assert series.temp_c[0] == pytest.approx(daily_c(series.starts), abs=1e-9)
    assert told(series.notes)[-1] == (
        "Peak (90001, 0.0 km, +350 m): not used, more than 300 m above or below the site."
    )
    serve_stations(loop, tmp_path, {"90001": stations["90001"]}, rows)
    (tmp_path / "kept" / "stations.db").unlink()
    assert failures(ask("station"))[0].startswith("check elevation in [site]")


def test_a_site_height_all_stations_speak_against_is_told(loop, ask, tmp_path):
    stations = {
        "90001": ("One", 40.80, -73.88, 153, None),
        "90002": ("Two", 40.76, -73.88, 163, None),
    }
    rows = {key: station_rows(past_h=24, ahead_h=66) for key in stations}
    serve_stations(loop, tmp_path, stations, rows)
    (warning,) = told(only(ask("station", history_h=24)).warnings)
    assert "far from the stations around it (158 m): check elevation in [site]" in warning


def test_dew_point_does_not_depend_on_how_many_stations_answer(loop, ask, tmp_path):
    # Two hills alike, 200 m up and 80 % humid: one or both, the site's dew point is theirs.
    hills = {
        "90001": ("Hill", 40.83, -73.88, 203, None),
        "90002": ("Twin", 40.73, -73.88, 203, None),
    }
    rows = {key: station_rows(past_h=24, ahead_h=66, rhum=80) for key in hills}
    serve_stations(loop, tmp_path, hills, rows)
    both = only(ask("station", history_h=24))
    serve_stations(loop, tmp_path, hills, {"90001": rows["90001"]})
    one = only(ask("station", history_h=24))
    assert " + " in both.origins[0].label
    assert " + " not in one.origins[0].label
    assert both.temp_c == pytest.approx(one.temp_c, abs=1e-9)
    assert both.dew_c == pytest.approx(one.dew_c, abs=1e-9)


def test_model_rows_do_not_hide_a_station_that_stopped(loop, ask, tmp_path):
    seen_until = NOW - timedelta(hours=30)
    stopped = [
        (when, temp, rhum, source if when <= seen_until else "metno_forecast")
        for when, temp, rhum, source in station_rows()
    ]
    rows = {"72503": stopped, "72505": station_rows(mean_c=24)}
    serve_stations(loop, tmp_path, {**AT_SITE, **AROUND}, rows)
    series = only(ask("station"))
    assert "Park" in series.origins[0].label
    assert told(series.notes)[0].endswith("its last is 30 h old.")


def test_a_source_that_names_a_model_is_not_called_observed(loop, ask, tmp_path):
    rows = [
        (when, temp, rhum, "gfs_model" if when.hour == 3 else source)
        for when, temp, rhum, source in station_rows()
    ]
    serve_stations(loop, tmp_path, AT_SITE, {"72503": rows})
    series = only(ask("station"))
    kinds = [series.origins[n].kind for n in series.origin]
    hours = (series.epoch_s // 3600 % 24).astype(int)
    assert {kind for kind, hour in zip(kinds, hours, strict=True) if hour == 3} == {"forecast"}


def test_a_file_of_the_future_tells_no_age(loop, ask, tmp_path):
    rows = {"72503": station_rows()}
    serve_stations(loop, tmp_path, AT_SITE, rows, modified=NOW + timedelta(hours=20))
    assert only(ask("station")).origins[-1].written_at is None


def test_a_station_that_stopped_gives_way_to_one_that_goes_on(loop, ask, tmp_path):
    stopped = [row for row in station_rows() if row[0] < NOW - timedelta(hours=30)]
    rows = {"72503": stopped, "72505": station_rows(mean_c=24)}
    serve_stations(loop, tmp_path, {**AT_SITE, **AROUND}, rows)
    series = only(ask("station"))
    assert "Park" in series.origins[0].label
    choice = told(series.notes)
    assert choice[0].startswith("Airport (72503, 0.1 km, +0 m): not used, gave 7")
    assert choice[0].endswith("its last is 31 h old.")
    assert any(note.startswith("Shore (72506") for note in choice)
    assert choice[-1].endswith("not used, gave nothing.")


def test_height_counts_for_more_than_distance(loop, ask, tmp_path):
    stations = {
        "90001": ("Hill", 40.80, -73.88, 403, None),
        "90002": ("Plain", 40.81, -73.88, 5, None),
    }
    serve_stations(loop, tmp_path, stations, {"90002": station_rows()})
    series = only(ask("station"))
    # The hill is 2.2 km away and 400 m up, which weighs like 4.6 km; the plain is 3.3 km away.
    assert loop.asked[1] == "/hourly/2091/90002.csv.gz"
    assert loop.count("/hourly/") == 1
    assert "Plain" in series.origins[0].label


def test_a_station_known_to_be_closed_is_asked_last(loop, ask, tmp_path):
    rows = {key: station_rows(past_h=24, ahead_h=66) for key in ("72503", *AROUND)}
    serve_stations(loop, tmp_path, {**AT_SITE, **AROUND}, rows, alive={"72503": "2080-01-01"})
    ask("station", history_h=24)
    assert loop.asked[1].endswith("72505.csv.gz")
    assert loop.asked[-1].endswith("72503.csv.gz")


def test_missing_hours_of_a_station_are_named(loop, ask, tmp_path):
    hole = {NOW - timedelta(hours=h) for h in (20, 21, 50, 51, 52, 53, 54)}
    rows = [row for row in station_rows() if row[0] not in hole]
    serve_stations(loop, tmp_path, AT_SITE, {"72503": rows})
    series = only(ask("station"))
    mended, left = sorted(
        (gap for gap in series.gaps if gap.what == "temperature"), key=lambda gap: gap.hours
    )
    assert (mended.hours, mended.mended) == (2, "by a straight line")
    assert (left.hours, left.mended) == (5, "no")
    assert left.ends == NOW - timedelta(hours=50)
    assert np.isnan(series.temp_c).sum() == 5


def test_humidity_that_is_missing_leaves_the_dew_point_unknown(loop, ask, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(rhum=None)})
    series = only(ask("station"))
    assert np.isnan(series.dew_c).all()
    assert not np.isnan(series.temp_c).any()


def test_a_job_over_new_year_reads_two_files(loop, ask, tmp_path):
    now = utc(2091, 12, 31, 18)
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(now=now)})
    series = only(
        ask("station", now=now, starts=now, ends=now + timedelta(hours=48), history_h=24)
    )
    assert series.gaps == ()
    assert loop.count("/hourly/2091/") == loop.count("/hourly/2092/") == 1
    assert not any("could not be had" in note for note in told(series.notes))


def test_a_year_that_could_not_be_had_is_named(loop, ask, tmp_path):
    now = utc(2091, 1, 2, 18)
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(now=now)})
    loop.routes["/hourly/2090/"] = status(404)
    span = {"starts": now, "ends": now + timedelta(hours=48), "history_h": 96}
    series = only(ask("station", now=now, **span))
    assert any("the hours of 2090 could not be had" in note for note in told(series.notes))
    # Begun, cut short once, and whole when asked for again.
    whole, cut = loop.routes["/hourly/"], []

    def at_first_in_part(handler, path):
        cut.append(path)
        short = body(hourly_csv(station_rows(now=now), year=2090), short_by=400)
        (short if len(cut) == 1 else whole)(handler, path)

    loop.routes["/hourly/2090/"] = at_first_in_part
    series = only(ask("station", now=now, **span))
    assert len(cut) == 2
    assert not any("could not be had" in note for note in told(series.notes))


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        (lambda _: status(404), "127.0.0.1: HTTP 404"),
        (lambda _: status(500), "127.0.0.1: HTTP 500"),
        (silent, "127.0.0.1: no complete answer"),
        (lambda _: body(b"<html>down for maintenance</html>"), "answered with a web page"),
        (lambda _: body(gzip.compress(bytes(60_000_000))), "too large to be weather"),
        (lambda _: status(429, **{"Retry-After": "120"}), "asks to be left alone for 120 s"),
        # Many small parts, which together are no year of hours.
        (lambda _: body(gzip.compress(bytes(6_000_000)) * 10), "too large to be weather"),
        (lambda _: body(hourly_csv(station_rows(), year=2091)[:-900]), "came in part only"),
        (
            lambda _: body(hourly_csv(station_rows(), year=2091), short_by=900),
            "came in part only",
        ),
        (
            lambda _: body(
                gzip.compress(b"jahr,monat,tag,stunde,temperatur\n2091,7,17,1,20\n")
            ),
            "could not be used",
        ),
    ],
    ids=[
        "404",
        "500",
        "silent",
        "html",
        "bomb",
        "bomb-in-parts",
        "busy",
        "cut-gzip",
        "cut-transfer",
        "other-columns",
    ],
)
def test_hourly_files_gone_wrong_are_told(loop, ask, tmp_path, answer, told):
    serve_stations(loop, tmp_path, {**AT_SITE, **AROUND}, {})
    loop.routes["/hourly/"] = answer(loop)
    told_first = failures(ask("station"))[0]
    # One that lets us wait is not asked for the next station, too.
    alone = answer is silent or "left alone" in told
    # What came in part is asked for once more.
    assert loop.count("/hourly/") == (1 if alone else 6 if "in part" in told else 3)
    assert told_first.startswith("no station nearby gave a usable hour")
    assert told in told_first


def test_a_year_that_came_in_part_is_asked_for_again(loop, ask, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows()})
    whole, times = loop.routes["/hourly/"], []

    def at_first_in_part(handler, path):
        times.append(path)
        cut = body(hourly_csv(station_rows(), year=2091), short_by=900)
        (cut if len(times) == 1 else whole)(handler, path)

    loop.routes["/hourly/"] = at_first_in_part
    series = only(ask("station"))
    assert len(times) == 2
    assert not np.isnan(series.temp_c).any()


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        (lambda _: status(404), "no list of weather stations could be had (127.0.0.1: HTTP"),
        (silent, "127.0.0.1: no complete answer"),
        (lambda _: body(b"not a database" * 100), "could not be used"),
    ],
    ids=["404", "silent", "nonsense"],
)
def test_a_station_list_gone_wrong_is_told_and_not_kept(loop, ask, tmp_path, answer, told):
    loop.routes["/stations.db"] = answer(loop)
    assert told in failures(ask("station"))[0]
    assert list((tmp_path / "kept").iterdir()) == []


def test_half_a_station_list_is_not_kept_and_an_old_one_serves(loop, ask, tmp_path):
    import os

    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows()})
    only(ask("station"))
    kept = tmp_path / "kept" / "stations.db"
    only(ask("station"))
    assert loop.count("/stations.db") == 1
    os.utime(kept, (0, 0))
    loop.routes["/stations.db"] = body(kept.read_bytes()[:5000])
    series = only(ask("station"))
    assert "days old (127.0.0.1: the answer could not be used)" in told(series.notes)[-1]
    assert loop.count("/stations.db") == 2
    assert [path.name for path in (tmp_path / "kept").iterdir()] == ["stations.db"]


def test_a_station_list_with_other_columns_is_told_and_dropped(loop, ask, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {})
    path = tmp_path / "made.db"
    with closing(sqlite3.connect(path)) as db:
        db.execute("ALTER TABLE stations RENAME COLUMN latitude TO breite")
        db.commit()
    loop.routes["/stations.db"] = body(path.read_bytes())
    assert "could not be read, and was dropped" in failures(ask("station"))[0]
    assert list((tmp_path / "kept").iterdir()) == []


def test_a_server_that_asks_to_wait_is_left_alone(loop, ask, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(ahead_h=0)})
    loop.routes["/metno"] = status(429, **{"Retry-After": "3600"})
    loop.routes["/mosmix/"] = status(404)
    assert "asks to be left alone" in failures(ask("forecast", contact=CONTACT))[0]
    asked = len(loop.asked)
    again = failures(ask("forecast", contact=CONTACT))
    assert "asks to be left alone" in again[0]
    # All providers of this server are one host, and none was asked again.
    assert len(loop.asked) == asked


def test_an_archive_that_unpacks_to_no_end_is_told(loop, ask, tmp_path):
    import io
    import zipfile

    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(ahead_h=0)})
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as kmz:
        kmz.writestr("MOSMIX.kml", bytes(60_000_000))
    loop.routes["/mosmix/"] = body(packed.getvalue())
    assert "too large to be weather" in ask("station")[1].failure


def test_a_full_disk_is_not_the_servers_fault(loop, ask, tmp_path, monkeypatch):
    import errno

    import meteostat

    def full(**_):
        raise OSError(errno.ENOSPC, "No space left on device")

    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows()})
    monkeypatch.setattr(meteostat.stations, "connect", full)
    (failure, *_) = failures(ask("station"))
    assert "could not be written to" in failure
    assert "No space left on device" in failure


def test_a_place_without_stations_is_told(loop, ask, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {})
    results = ask("station", latitude_deg=10.0, longitude_deg=150.0)
    assert "no weather station lies within 50 km" in failures(results)[0]


def test_nights_the_clocks_change_have_every_hour(loop, ask, tmp_path):
    # New York 2091: clocks go forward on 11 March, back on 4 November, at 2 in the morning.
    for now in (utc(2091, 3, 10, 12), utc(2091, 11, 3, 12)):
        serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(now=now)})
        series = ask(
            "station", now=now, starts=now, ends=now + timedelta(hours=36), history_h=24
        )[0].series
        assert series.gaps == ()
        for hour in range(60):
            when = series.starts + timedelta(hours=hour)
            assert series.temp_c[hour] == daily_c(when)


def test_settings_of_the_client_are_put_back(loop, ask, tmp_path):
    import logging
    import socket

    import meteostat
    from meteostat.core.network import network_service

    before = (
        dict(vars(meteostat.config)),
        socket.getdefaulttimeout(),
        network_service.get,
        logging.getLogger("meteostat").disabled,
    )
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows()})
    ask("station")
    assert before == (
        dict(vars(meteostat.config)),
        socket.getdefaulttimeout(),
        network_service.get,
        logging.getLogger("meteostat").disabled,
    )


def test_no_provider_of_the_client_has_the_past_of_a_bare_point():
    # Once one does, history for a point far from stations can be built on it.
    found = importlib.util.find_spec("meteostat")
    assert found is not None
    assert found.origin is not None
    folder = Path(found.origin).parent / "providers"
    asking = {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*.py")
        if ".latitude" in path.read_text(encoding="utf-8")
    }
    assert asking == {"metno/forecast.py"}
