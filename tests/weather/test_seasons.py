from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from loopback import body, hourly_files, hours_from, status, utc
from scenes import AT_SITE, SITE, daily_c, serve_stations

from cureplan.core.errors import OutOfRangeError, WeatherUnavailableError
from cureplan.weather.seasons import _spans, season_nights

NEW_YORK = ZoneInfo("America/New_York")
NOW = utc(2031, 7, 20, 12)


def summer_rows(years, *, skip=()):
    """June to August of each year, each 0.5 K warmer than the one before."""
    return [
        (when, daily_c(when, 20 + 0.5 * (year - 2020)), 60, "metar")
        for year in years
        for when in hours_from(utc(year, 6, 1), 92 * 24)
        if when not in skip
    ]


@pytest.fixture
def nights(fetch_here, tmp_path):
    def asked(**change):
        fixed = {
            "month": 7,
            "years": 3,
            "zone": NEW_YORK,
            "history_s": 5 * 86_400.0,
            "tail_s": 3 * 86_400.0,
            "now": NOW,
            "store_folder": tmp_path / "store",
            "fetch": fetch_here,
        }
        return season_nights(**{**SITE, **fixed, **change})

    return asked


def test_each_past_july_comes_with_history_and_tail(loop, nights, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": summer_rows(range(2027, 2032))})
    seasons = nights()
    # This year's July is not over on the 20th: the last three are 2028 to 2030.
    assert [series.starts.year for series in seasons] == [2028, 2029, 2030]
    for series in seasons:
        year = series.starts.year
        # Local midnight in New York in July is 04:00 UTC.
        assert series.starts == utc(year, 6, 26, 4)
        assert series.ends == utc(year, 8, 4, 4)
        assert {origin.kind for origin in series.origins} == {"observed"}
        mean_c = 20 + 0.5 * (year - 2020)
        assert series.temp_c[7] == daily_c(series.starts + timedelta(hours=7), mean_c)


def test_a_year_once_had_is_not_asked_again(loop, nights, tmp_path):
    serve_stations(loop, tmp_path, AT_SITE, {"72503": summer_rows(range(2028, 2031))})
    first = nights()
    loop.routes["/hourly/"] = status(500)
    again = nights(now=NOW + timedelta(days=2))
    for one, other in zip(first, again, strict=True):
        assert np.array_equal(one.temp_c, other.temp_c)


def test_missing_years_and_hours_stay_missing(loop, nights, tmp_path):
    hole = set(hours_from(utc(2029, 7, 10), 30))
    rows = summer_rows([2028, 2029], skip=hole)
    serve_stations(loop, tmp_path, AT_SITE, {"72503": rows})
    one, two = nights()
    assert (one.starts.year, two.starts.year) == (2028, 2029)
    assert not two.covers(utc(2029, 7, 9), utc(2029, 7, 12))
    assert two.covers(utc(2029, 7, 12), utc(2029, 7, 31))
    assert max(gap.hours for gap in two.gaps) == 30
    # Once the missing year can be had, only that one is asked for.
    loop.asked.clear()
    loop.routes["/hourly/"] = body(hourly_files({"72503": summer_rows([2030])}))
    assert len(nights()) == 3
    assert loop.asked == ["/hourly/2030/72503.csv.gz"]


def test_a_half_delivered_year_is_used_and_asked_for_again(loop, nights, tmp_path):
    # Two weeks of a July are no July; a whole one takes their place.
    half = set(hours_from(utc(2030, 7, 10), 26 * 24))
    serve_stations(loop, tmp_path, AT_SITE, {"72503": summer_rows([2030], skip=half)})
    (first,) = nights(years=1)
    assert not first.covers(utc(2030, 7, 12), utc(2030, 7, 13))
    loop.routes["/hourly/"] = body(hourly_files({"72503": summer_rows([2030])}))
    (again,) = nights(years=1)
    assert again.covers(utc(2030, 7, 12), utc(2030, 7, 13))
    loop.asked.clear()
    nights(years=1)
    assert loop.asked == []


def test_no_year_at_all_ends_clearly(loop, nights):
    with pytest.raises(WeatherUnavailableError, match=r"no past year could be had .*HTTP 404"):
        nights()


@pytest.mark.parametrize("change", [{"month": 13}, {"month": 0}, {"years": 0}, {"years": 61}])
def test_nonsense_months_and_years_are_refused(nights, change):
    with pytest.raises(OutOfRangeError, match="month must lie in"):
        nights(**change)


def test_december_runs_into_the_next_year(loop, nights, tmp_path):
    rows = [
        (when, daily_c(when), 60, "metar")
        for year in (2029, 2030)
        for when in hours_from(utc(year, 11, 20), 55 * 24)
    ]
    serve_stations(loop, tmp_path, AT_SITE, {"72503": rows})
    one, two = nights(month=12, years=2)
    assert (one.ends, two.ends) == (utc(2030, 1, 4, 5), utc(2031, 1, 4, 5))
    assert one.gaps == ()


def test_a_month_counts_from_the_second_its_last_hour_is_over():
    now = datetime(2013, 8, 1, 6, tzinfo=UTC)
    for late_s, newest in ((0.0, 2013), (1.0, 2012)):
        spans = _spans(7, 2, UTC, history_s=0.0, tail_s=6 * 3600.0 + late_s, now=now)
        assert list(spans) == [newest - 1, newest]
