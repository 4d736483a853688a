"""The whole visit: fresh weather, or a copy with its age, or a clear end."""

import os
import subprocess
import sys
import textwrap
import threading
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import assert_same_series, told
from loopback import body, drip, hourly_csv, hours_from, silent, status
from scenes import (
    AROUND,
    AT_SITE,
    ENDS,
    NOW,
    SITE,
    STARTS,
    daily_c,
    serve_metno,
    serve_mosmix,
    serve_stations,
    station_rows,
)

from cureplan.core.errors import OutOfRangeError, WeatherUnavailableError
from cureplan.weather.hours.csv_file import read_weather_csv, write_csv
from cureplan.weather.obtain import obtain_weather
from cureplan.weather.providers import choose
from cureplan.weather.providers.fetching import Fetched

NEW_YORK = ZoneInfo("America/New_York")
ROOT = Path(__file__).parents[2]
JOB = {
    **SITE,
    "starts": STARTS,
    "ends": ENDS,
    "history_s": 120 * 3600.0,
    "max_age_s": 12 * 3600.0,
    "contact": None,
}


@pytest.fixture
def obtain(loop, fetch_here, tmp_path):
    """`obtain_weather` with the providers asked in this process."""

    def obtained(provider="station", **change):
        fixed = {
            "now": NOW,
            "store_folder": tmp_path / "store",
            "timeout_s": loop.patience_s,
            "fetch": fetch_here,
        }
        asked = {**JOB, **fixed, **change}
        return obtain_weather(provider=provider, **{"clock": asked["now"], **asked})

    return obtained


@pytest.fixture
def good_day(loop, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows()}, modified=NOW)


def out_of_order(loop):
    for route in list(loop.routes):
        loop.routes[route] = status(500)


def no_network(query, budget_s):
    raise AssertionError("the network must not be asked")


def test_fresh_weather_covers_job_and_history_and_is_kept(good_day, obtain, tmp_path):
    series = obtain()
    assert series.starts == STARTS - timedelta(hours=120)
    assert series.ends == ENDS
    assert series.warnings == ()
    for row in (0, 100, -1):
        when = datetime.fromtimestamp(series.epoch_s[row], tz=UTC)
        assert series.temp_c[row] == daily_c(when)
    assert any(
        "km, +0 m), issue time not given, file written 0 min ago" in note
        for note in told(series.notes)
    )
    assert len(list((tmp_path / "store").glob("station_*/*.csv"))) == 1


def test_what_was_had_a_moment_ago_is_not_asked_again(good_day, obtain):
    first = obtain()
    again = obtain(now=NOW + timedelta(minutes=20), fetch=no_network)
    assert np.array_equal(again.temp_c, first.temp_c)
    assert any("Fetched 20 min ago; not asked again" in note for note in told(again.notes))


def test_saved_weather_reads_back_identically(good_day, obtain, tmp_path):
    series = obtain()
    write_csv(series, tmp_path / "saved.csv")
    assert_same_series(read_weather_csv(tmp_path / "saved.csv"), series)


@pytest.mark.parametrize("provider", ["station", "forecast"])
def test_without_network_the_last_copy_serves_and_its_age_is_told(
    loop, obtain, tmp_path, provider
):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows()}, modified=NOW)
    serve_metno(loop)
    first = obtain(provider, contact="a@example.org")
    out_of_order(loop)
    later = obtain(provider, contact="a@example.org", now=NOW + timedelta(hours=4))
    assert np.array_equal(later.temp_c, first.temp_c)
    (warning,) = told(later.warnings)
    assert "this is the copy fetched 4 h ago, Tue 17 Jul 18:00" in warning
    assert "HTTP 500" in warning


def test_a_ten_day_old_copy_is_used_only_with_both_warnings(loop, obtain, tmp_path):
    long_ago = NOW - timedelta(days=10)
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(now=long_ago, ahead_h=400)})
    serve_mosmix(loop, now=long_ago, count=400)
    kept = obtain(now=long_ago, history_s=0.0)
    assert kept.warnings == ()
    out_of_order(loop)
    series = obtain(history_s=0.0)
    assert len(series.warnings) == 2
    assert "copy fetched 10 days ago" in told(series.warnings)[0]
    assert "Old forecast: " in told(series.warnings)[1]
    assert "10 days ago, allowed are 12 h" in told(series.warnings)[1]


def test_a_copy_that_ends_too_early_does_not_serve(good_day, loop, obtain):
    obtain()
    out_of_order(loop)
    with pytest.raises(WeatherUnavailableError) as caught:
        obtain(ends=ENDS + timedelta(days=9))
    message = str(caught.value)
    assert caught.value.exit_code == 4
    assert "\n" not in message
    assert "no kept copy reaches that far" in message
    assert message.startswith("no weather: try again later or nearer the day, or set source")
    assert len(f"cureplan: {message}") <= 200


@pytest.mark.parametrize(
    ("answer", "cure", "why"),
    [
        (body(b"<html>Welcome, please log in</html>"), "log in to this network", "web page"),
        (status(511), "log in to this network", "HTTP 511"),
        (status(500), "try again later", "HTTP 500"),
        (status(429, **{"Retry-After": "40"}), "wait 40 s and try again", ""),
        (status(503, **{"Retry-After": "900"}), "wait 15 min and try again", ""),
    ],
)
def test_what_to_do_comes_first_and_fits_a_line(loop, obtain, answer, cure, why):
    for door in ("/stations.db", "/hourly/", "/mosmix/", "/metno"):
        loop.routes[door] = answer
    with pytest.raises(WeatherUnavailableError, match=f"^no weather: {cure}") as caught:
        obtain()
    assert why in str(caught.value)
    assert len(f"cureplan: {caught.value}") <= 200


def test_without_network_and_copy_it_ends_clearly(loop, obtain):
    with pytest.raises(WeatherUnavailableError, match=r"try again .* no copy kept"):
        obtain()


def test_a_job_beyond_all_forecasts_names_the_missing_hours(good_day, obtain):
    with pytest.raises(
        WeatherUnavailableError,
        match=r"; 50 h missing, 2091-07-27 19:00 to 2091-07-29 20:00, no copy",
    ):
        obtain(starts=NOW + timedelta(days=9), ends=NOW + timedelta(days=12, hours=2))
    # In the site's time, as the job's start is given in it: four hours behind UTC.
    with pytest.raises(WeatherUnavailableError, match=r"; 50 h missing, 2091-07-27 15:00 to"):
        obtain(
            starts=(NOW + timedelta(days=9)).astimezone(timezone(timedelta(hours=-4))),
            ends=NOW + timedelta(days=12, hours=2),
        )


def test_a_stale_model_run_is_told(loop, obtain, tmp_path):
    written = NOW - timedelta(hours=20)
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows()}, modified=written)
    (warning,) = told(obtain().warnings)
    assert "km, +0 m), issue time not given, file written 20 h ago" in warning
    assert obtain(max_age_s=21 * 3600.0, reuse_s=0.0).warnings == ()


def test_an_age_without_issue_time_counts_from_the_fetch(loop, obtain, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows()})
    series = obtain()
    assert any("issue time not given, fetched 0 min ago" in note for note in told(series.notes))


def test_a_newer_copy_beats_an_older_run_but_not_fresh_observations(loop, obtain, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(mean_c=20)}, modified=NOW)
    obtain()
    later = NOW + timedelta(hours=10)
    serve_stations(
        loop,
        tmp_path,
        AT_SITE,
        {"72503": station_rows(now=later, mean_c=30)},
        modified=NOW - timedelta(days=2),
    )
    series = obtain(now=later)
    assert "older than the copy" in told(series.warnings)[0]
    ahead = series.epoch_s > later.timestamp()
    mean_c = np.array([daily_c(datetime.fromtimestamp(s, tz=UTC), 0.0) for s in series.epoch_s])
    assert series.temp_c[~ahead] - mean_c[~ahead] == pytest.approx(30.0, abs=0.051)
    assert series.temp_c[ahead] - mean_c[ahead] == pytest.approx(20.0, abs=0.051)


def test_fresh_observations_join_a_kept_forecast(good_day, loop, obtain, tmp_path):
    obtain()
    later = NOW + timedelta(hours=8)
    rows = station_rows(now=later, mean_c=33, ahead_h=0)
    serve_stations(loop, tmp_path, AT_SITE, {"72503": rows})
    series = obtain(now=later)
    assert "copy fetched 8 h ago" in told(series.warnings)[0]
    assert "with fresh rows where there were some" in told(series.warnings)[0]
    row = int((later.timestamp() - series.epoch_s[0]) / 3600)
    assert series.temp_c[row] == daily_c(later, 33)
    assert series.temp_c[row + 1] == daily_c(later + timedelta(hours=1))


def test_history_that_cannot_be_had_is_told_not_made_up(loop, obtain):
    serve_metno(loop)
    series = obtain("forecast", contact="a@example.org")
    assert series.starts == NOW
    short = told(series.warnings)[0]
    assert "only 5 h of the 120 h before the job are known" in short
    # Which open door could serve a bare point's history, the cure first.
    assert "ERA5" in short
    assert short.startswith("Read the slab on site")
    assert len(short) <= 200
    assert any(note.startswith("Not to be had: no list of st") for note in told(series.notes))


def test_a_gap_of_hours_does_not_cost_the_history_before_it(loop, obtain, tmp_path):
    hole = {NOW - timedelta(hours=h) for h in range(40, 46)}
    rows = [row for row in station_rows() if row[0] not in hole]
    serve_stations(loop, tmp_path, AT_SITE, {"72503": rows}, modified=NOW)
    series = obtain()
    assert series.starts == NOW - timedelta(hours=115)
    assert not np.isnan(series.temp_c).any()
    # Every day of the scene is like the last, so the days around give the hole exactly.
    place = np.isin(series.epoch_s, [at.timestamp() for at in hole])
    assert series.temp_c[place] == pytest.approx([daily_c(at) for at in sorted(hole)], abs=0.05)
    assert {series.origins[n].kind for n in series.origin[place]} == {"interpolated"}
    assert "Read the slab on site: 6 h before the job are missing" in told(series.warnings)[0]


def test_history_begins_after_a_gap_of_more_than_a_day(loop, obtain, tmp_path):
    hole = {NOW - timedelta(hours=h) for h in range(40, 66)}
    rows = [row for row in station_rows() if row[0] not in hole]
    serve_stations(loop, tmp_path, AT_SITE, {"72503": rows}, modified=NOW)
    series = obtain()
    assert series.starts == NOW - timedelta(hours=39)
    assert not np.isnan(series.temp_c).any()
    assert "only 44 h of the 120 h before the job are known" in told(series.warnings)[0]


def test_the_coarse_tail_reaches_the_job_marked(loop, obtain, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(ahead_h=0)})
    serve_metno(loop, hourly_count=24)
    series = obtain("forecast", contact="a@example.org", max_age_s=0.0)
    kinds = np.array([origin.kind for origin in series.origins])[series.origin]
    after = NOW + timedelta(hours=23)
    tail = series.epoch_s > after.timestamp()
    assert (kinds[tail] == "interpolated").sum() == pytest.approx(tail.sum() * 5 / 6, abs=5)
    assert any("shape-preserving" in gap.mended for gap in series.gaps)
    # Days keep their extremes: the given six-hourly values bound everything between them.
    assert series.temp_c[tail].max() <= 32.0
    assert series.temp_c[tail].min() >= 22.0


@pytest.mark.parametrize(
    ("now", "starts_utc"),
    [
        (datetime(2091, 3, 10, 22, tzinfo=NEW_YORK), datetime(2091, 3, 11, 7, 30, tzinfo=UTC)),
        (
            datetime(2091, 11, 3, 22, tzinfo=NEW_YORK),
            datetime(2091, 11, 4, 6, 30, tzinfo=UTC),
        ),
    ],
    ids=["forward", "back"],
)
def test_a_job_in_the_night_clocks_change(loop, obtain, tmp_path, now, starts_utc):
    # Half past three just after the jump; half past one for the second time.
    starts = starts_utc.astimezone(NEW_YORK)
    assert (starts.hour, starts.fold) in {(3, 0), (1, 1)}
    rows = station_rows(now=now.astimezone(UTC))
    serve_stations(loop, tmp_path, AT_SITE, {"72503": rows}, modified=now)
    series = obtain(
        now=now, starts=starts, ends=starts + timedelta(hours=6), history_s=24 * 3600.0
    )
    first = starts_utc.replace(minute=0) - timedelta(hours=24)
    assert series.starts == first
    assert [series.temp_c[n] for n in range(31)] == [
        daily_c(first + timedelta(hours=n)) for n in range(31)
    ]


def test_another_now_leaves_no_copy_of_its_date(good_day, obtain, tmp_path):
    # `--now` wrote copies dated as it pleased.
    series = obtain(clock=NOW + timedelta(days=3))
    assert series.covers(STARTS, ENDS)
    assert not list(tmp_path.glob("store/station_*/*.csv"))


def test_a_copy_of_the_future_does_not_serve(loop, obtain, tmp_path):
    ahead = NOW + timedelta(days=2)
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows()}, modified=ahead)
    obtain(now=ahead)
    out_of_order(loop)
    with pytest.raises(WeatherUnavailableError, match="no copy kept"):
        obtain()
    # Minutes are no other day: clocks differ that much.
    assert obtain(now=ahead - timedelta(minutes=20)).covers(STARTS, ENDS)


def test_a_store_that_cannot_be_written_is_a_warning(good_day, obtain, tmp_path):
    (tmp_path / "file").write_text("not a folder")
    series = obtain(store_folder=tmp_path / "file")
    assert series.covers(STARTS, ENDS)
    assert "could not be kept" in told(series.warnings)[0]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"now": datetime(2091, 7, 17)}, "now must carry"),  # noqa: DTZ001
        ({"starts": datetime(2091, 7, 17)}, "starts must carry"),  # noqa: DTZ001
        ({"ends": STARTS - timedelta(hours=1)}, "before starts"),
        ({"history_s": float("nan")}, "history_s"),
    ],
)
def test_instants_without_sense_are_refused(obtain, change, message):
    with pytest.raises(OutOfRangeError, match=message):
        obtain(fetch=no_network, **change)


# With the worker process, as users run it


def obtain_in_worker(store, **change):
    return obtain_weather(
        **{"provider": "station", **JOB, "now": NOW, "store_folder": store, **change}
    )


@pytest.mark.thorough
def test_the_worker_brings_the_same_weather(good_day, worker_endpoints, obtain, tmp_path):
    here = obtain(reuse_s=0.0)
    from_worker = obtain_in_worker(tmp_path / "other")
    assert_same_series(from_worker, here)


def test_a_dripping_answer_is_cut_off_in_time(loop, worker_endpoints, tmp_path, time_is_up):
    budgets_s = time_is_up(lambda: loop.count("/hourly/"))
    raw = hourly_csv(station_rows(), year=2091)
    serve_stations(loop, tmp_path, AT_SITE, {})
    loop.routes["/hourly/"] = drip(loop, raw)
    with pytest.raises(WeatherUnavailableError, match="the network was too slow"):
        obtain_in_worker(tmp_path / "store", budget_s=1.6)
    assert budgets_s == [1.6]


def test_a_dripping_door_does_not_starve_the_others(
    loop, endpoints, obtain, tmp_path, monkeypatch
):
    # Hourly files that dripped used up the whole time of all providers.
    serve_stations(loop, tmp_path, AT_SITE, {})
    loop.routes["/hourly/"] = drip(loop, hourly_csv(station_rows(), year=2091))
    serve_mosmix(loop)
    monkeypatch.setattr(choose, "PATIENCE_S", 0.1)
    too_late = threading.Timer(9.0, loop.closing.set)

    def fetch(query, budget_s):
        """All that comes until there is weather; then the time is up."""
        came = []
        for result in choose.ask_providers(query, endpoints=endpoints):
            came.append(result)
            if result.series is not None:
                break
        return Fetched(results=tuple(came), out_of_time=True)

    too_late.start()
    series = obtain(fetch=fetch, history_s=0.0)
    too_late.cancel()
    assert not loop.closing.is_set(), "the dripping door was waited for"
    assert series.covers(STARTS, ENDS)
    assert series.origins[0].label.startswith("DWD MOSMIX")


@pytest.mark.thorough
def test_what_came_before_the_drip_is_used(loop, worker_endpoints, tmp_path, time_is_up):
    time_is_up(lambda: loop.count("/stations.db"))
    serve_metno(loop)
    loop.routes["/stations.db"] = drip(loop, b"SQLite format 3\0" * 1000)
    series = obtain_in_worker(
        tmp_path / "store", provider="forecast", contact="a@example.org", budget_s=3.0
    )
    assert series.covers(STARTS, ENDS)
    assert "Not to be had: the network was too slow." in told(series.notes)


@pytest.mark.thorough
def test_a_silent_network_ends_with_the_copy(
    good_day, loop, worker_endpoints, obtain, tmp_path
):
    obtain()
    for route in list(loop.routes):
        loop.routes[route] = silent(loop)
    # Each silent provider is given up before the budget is used up: `loop` looks that up.
    series = obtain_in_worker(
        tmp_path / "store", now=NOW + timedelta(hours=3), timeout_s=0.3, budget_s=120.0
    )
    assert "copy fetched 3 h ago" in told(series.warnings)[0]


@pytest.mark.thorough
def test_a_machine_in_another_zone_changes_nothing(loop, worker_endpoints, tmp_path):
    # The client compares a forecast's issue with the local clock: east of Greenwich it
    # would drop this one as 14 h old. Real time, because that check reads the clock.
    now = datetime.now(tz=UTC).replace(minute=0, second=0, microsecond=0)
    # A mean of 15 °C is in season all the year.
    rows = station_rows(now=now, ahead_h=0, mean_c=15)
    serve_stations(loop, tmp_path, AT_SITE, {"72503": rows})
    serve_mosmix(loop, now=now, issued=now - timedelta(hours=1), mean_c=15)
    script = f"""
        import time
        from datetime import datetime, timedelta
        from pathlib import Path
        from cureplan.weather.hours.csv_file import csv_text
        from cureplan.weather.obtain import obtain_weather
        assert time.timezone == -14 * 3600, time.timezone
        now = datetime.fromisoformat({now.isoformat()!r})
        print(csv_text(obtain_weather(
            provider="station", **{SITE!r}, starts=now, ends=now + timedelta(hours=30),
            history_s=36000.0, max_age_s=43200.0, now=now, contact=None,
            store_folder=Path({str(tmp_path / "store")!r}),
        )), end="")
    """
    run = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)],
        env={**os.environ, "TZ": "Pacific/Kiritimati", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stderr == ""
    (tmp_path / "out.csv").write_text(run.stdout)
    series = read_weather_csv(tmp_path / "out.csv")
    assert series.warnings == ()
    assert series.starts == now - timedelta(hours=10)
    for row, when in enumerate(hours_from(series.starts, 41)):
        assert series.temp_c[row] == pytest.approx(daily_c(when, 15), abs=0.051)


def test_the_terminal_stays_clean_when_all_fails(loop, worker_endpoints, tmp_path, capfd):
    loop.routes["/stations.db"] = body(b"nonsense")
    with pytest.raises(WeatherUnavailableError, match="could not be used"):
        obtain_in_worker(tmp_path / "store")
    assert capfd.readouterr() == ("", "")


def test_all_stations_around_can_be_weighed_in_the_worker(loop, worker_endpoints, tmp_path):
    rows = {key: station_rows(past_h=24, ahead_h=66) for key in AROUND}
    serve_stations(loop, tmp_path, AROUND, rows, modified=NOW)
    series = obtain_in_worker(tmp_path / "store", history_s=24 * 3600.0)
    assert series.temp_c[0] == pytest.approx(daily_c(series.starts), abs=0.051)


def test_air_far_from_the_season_is_told(loop, obtain, tmp_path):
    # A July of 2 °C in New York, as from a station of another name.
    serve_stations(loop, tmp_path, AT_SITE, {"72503": station_rows(mean_c=0)})
    assert any("far from what the season has" in text for text in told(obtain().warnings))
