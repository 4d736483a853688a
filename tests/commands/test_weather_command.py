"""`cureplan weather` on files: hours, sources, gaps, ages, and what it saves and draws."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from datetime import time as clock

import numpy as np
import pytest
from builders import assert_same_series
from hypothesis import given
from hypothesis import strategies as st
from steady import write_job, write_weather

from cureplan.api import demo_job_path, get_weather, read_job
from cureplan.core.errors import InputError, OutputError
from cureplan.core.messages import Message
from cureplan.inputs.job.model import SunPatch
from cureplan.output.charts.weather_picture import draw_weather, night_spans, weather_png
from cureplan.output.commands.weather import weather
from cureplan.output.text.weather import shown_hours, weather_json, weather_text
from cureplan.planning.floor.weather_hours import known_range, weather_hours
from cureplan.weather.hours.csv_file import read_weather_csv
from cureplan.weather.hours.series import WeatherOrigin

EVENING = datetime(2013, 7, 17, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def demo_hours(demo_job, demo_weather):
    return weather_hours(demo_job, demo_weather)


def shown(capsys, job, **asked):
    plain = {"save": None, "picture": None, "now": None, "as_json": False}
    weather(job, **{**plain, **asked})
    return capsys.readouterr().out


def test_table_gives_the_data_sets_own_figures_by_the_sites_clock(capsys):
    lines = shown(capsys, demo_job_path("school-kitchen")).splitlines()
    # Published: the data set's own rows of LaGuardia, 19 July 2013, 15:00 local:
    # 98.96 °F, dew point 69.08 °F.
    (row,) = [line for line in lines if line.startswith("Fri 19 15:00")]
    assert row.split()[3:5] == ["99", "69"]
    assert any("airport LGA; licence" in line for line in lines)
    assert "Gaps: none." in lines
    assert max(map(len, lines)) <= 100


def test_rooms_that_follow_the_weather_alike_share_a_column(capsys):
    text = shown(capsys, demo_job_path("school-kitchen"))
    # Cook line alone was read with a thermometer; the other four rooms are one building.
    (head,) = [line for line in text.splitlines() if line.startswith("Hour")]
    assert head.split("From")[1].split("  ")[1:] == ["Cook line", "Preparation +3"]
    assert "Preparation +3: also Dish room, Servery, Corridor" in text


def test_a_reading_shows_in_the_slab_at_its_hour(demo_job, demo_hours):
    cook_line = demo_hours.rooms[0]
    assert cook_line.rooms == ("Cook line",)
    # The job says 86 °F, 30 °C, at 16:30.
    at = demo_job.room("Cook line").slab_reading.read_at.timestamp()
    # Between full hours a third of what was read has gone (invented).
    assert float(cook_line.conditions.slab_at(at)) == pytest.approx(30.0, abs=0.4)


def test_steady_weather_leaves_rooms_and_slab_at_its_temperature(tmp_path, capsys):
    # No gain, ground and air at 21 °C: nothing can move.
    write_weather(tmp_path / "weather.csv")
    data = json.loads(shown(capsys, write_job(tmp_path), as_json=True))
    for hour in data["hours"]:
        room = hour["rooms"]["Cook line"]
        assert (hour["outdoor_c"], room["air_c"], room["slab_c"]) == (21.0, 21.0, 21.0)
    assert data["forecast_age_s"] is None
    assert [stretch["hours"] for stretch in data["stretches"]] == [24 * 15 + 1]


def test_nights_lie_between_sunset_and_sunrise(demo_hours):
    nights = night_spans(demo_hours.series.epoch_s, demo_hours.sun_deg)
    # Published: sun times for New York City, night of 17 July 2013: set 20:24, risen 05:39
    # EDT (almanac, from memory). Six minutes: a straight line between two hours, and the
    # sun's centre where almanacs take its upper edge, some three minutes of time.
    set_s = datetime.fromisoformat("2013-07-17T20:24:00-04:00").timestamp()
    risen_s = datetime.fromisoformat("2013-07-18T05:39:00-04:00").timestamp()
    begins_s, ends_s = next(span for span in nights if span[1] > set_s)
    assert begins_s == pytest.approx(set_s, abs=360)
    assert ends_s == pytest.approx(risen_s, abs=360)


@given(st.lists(st.floats(-60, 60).filter(lambda x: abs(x) > 1e-6), min_size=2, max_size=40))
def test_every_hour_with_the_sun_down_lies_in_a_night(heights):
    times = 3600.0 * np.arange(len(heights))
    spans = night_spans(times, heights)
    for time, height in zip(times, heights, strict=True):
        assert (height < 0) == any(begins <= time <= ends for begins, ends in spans)


def test_saved_weather_reads_back_as_the_same_series(tmp_path, capsys):
    saved = tmp_path / "kept.csv"
    text = shown(capsys, demo_job_path("school-kitchen"), save=saved)
    assert text.endswith(f"{saved}\n")
    demo = read_job(demo_job_path("school-kitchen"))
    before = get_weather(demo, now=EVENING)
    again = replace(demo, weather=replace(demo.weather, file=saved))
    assert_same_series(get_weather(again, now=EVENING), before)


def test_weather_with_gaps_and_an_interpolated_hour_survives_saving_too(tmp_path, capsys):
    missing = (datetime(2013, 7, 13, 5, tzinfo=UTC), *(
        datetime(2013, 7, 8, hour, tzinfo=UTC) for hour in range(4, 12)
    ))  # fmt: skip
    write_weather(tmp_path / "weather.csv", missing=missing)
    text = shown(capsys, write_job(tmp_path), save=tmp_path / "kept.csv")
    assert_same_series(
        read_weather_csv(tmp_path / "kept.csv"), read_weather_csv(tmp_path / "weather.csv")
    )
    # 05:00 UTC is 01:00 in New York in July; eight hours before a job take the days around.
    assert (
        "temperature: Sat 13 Jul 01:00 to Sat 13 Jul 01:00, 1 h, filled by a straight" in text
    )
    assert "temperature: Mon 08 Jul 00:00 to Mon 08 Jul 07:00, 8 h, filled by the days" in text


def test_rooms_are_marched_from_the_last_long_gap_on(tmp_path):
    # A day and two hours: more than the days around it may fill.
    first = datetime(2013, 7, 8, 4, tzinfo=UTC)
    hole = tuple(first + timedelta(hours=n) for n in range(26))
    series = read_weather_csv(write_weather(tmp_path / "weather.csv", missing=hole))
    begins = datetime(2013, 7, 17, 23, tzinfo=UTC)
    assert known_range(series, begins).starts == datetime(2013, 7, 9, 6, tzinfo=UTC)
    early = known_range(series, datetime(2013, 7, 7, 12, tzinfo=UTC))
    assert early.ends == datetime(2013, 7, 8, 3, tzinfo=UTC)


def aged(series, *, issued):
    origin = WeatherOrigin(
        label="Model",
        kind="forecast",
        licence="CC BY 4.0",
        attribution="them",
        issued_at=issued,
    )
    return replace(series, origins=(origin,))


def test_age_of_a_forecast_is_told_and_warned_of(demo_job, demo_weather):
    hours = weather_hours(demo_job, aged(demo_weather, issued=EVENING))
    young = weather_text(demo_job, hours, now=EVENING + timedelta(hours=3), width=100)
    assert "the oldest used is Model, issued 3 h ago; the job allows 12 h." in young
    assert "! " not in young
    old = weather_text(demo_job, hours, now=EVENING + timedelta(hours=13), width=100)
    assert "! Old forecast: Model, issued 13 h ago, allowed are 12 h" in old


def test_an_age_noted_when_the_file_was_saved_is_not_repeated(demo_job, demo_weather):
    stale = replace(
        demo_weather,
        notes=(Message("weather.forecast_age", {"label": "Model", "age_s": 7200.0}),),
    )
    hours = weather_hours(demo_job, stale)
    text = weather_text(demo_job, hours, now=EVENING, width=100)
    assert "issued 2 h ago" not in text


def test_every_stretch_has_its_source(demo_job, demo_weather):
    seen = demo_weather.epoch_s < EVENING.timestamp()
    origins = (
        WeatherOrigin(label="Seen", kind="observed", licence="CC0", attribution="us"),
        WeatherOrigin(label="Said", kind="forecast", licence="NLOD 2.0", attribution="them"),
    )
    mixed = replace(demo_weather, origins=origins, origin=np.where(seen, 0, 1))
    text = weather_text(demo_job, weather_hours(demo_job, mixed), now=EVENING, width=100)
    assert "a  Seen (observed): us; licence CC0" in text
    assert "b  Said (forecast): them; licence NLOD 2.0" in text
    # Midnight UTC is 20:00 in New York: the last hour seen is 19:00 on the 16th.
    assert "Tue 16 Jul 19:00" in text
    (row,) = [line for line in text.splitlines() if line.startswith("Wed 17 07:00")]
    assert " b " in row


def test_the_night_clocks_go_back_shows_both_hours(tmp_path):
    write_weather(tmp_path / "weather.csv", first=datetime(2013, 10, 25, tzinfo=UTC))
    job = read_job(
        write_job(
            tmp_path,
            ("from = 2013-07-17T19:00:00", "from = 2013-11-02T19:00:00"),
            ("open_by = 2013-07-21T06:00:00", "open_by = 2013-11-05T06:00:00"),
        )
    )
    hours = weather_hours(job, get_weather(job, now=EVENING))
    text = weather_text(job, hours, now=EVENING, width=100)
    assert "Sun 03 01:00 EDT" in text
    assert "Sun 03 01:00 EST" in text


def test_many_rooms_are_dealt_over_several_tables(demo_job, demo_weather):
    rooms = tuple(
        replace(
            demo_job.rooms[1], name=f"Kitchen number {n}", climate="held", set_point_c=15.0 + n
        )
        for n in range(12)
    )
    job = replace(demo_job, rooms=rooms)
    text = weather_text(job, weather_hours(job, demo_weather), now=EVENING, width=100)
    heads = [line for line in text.splitlines() if line.startswith("Hour")]
    assert sum(line.count("Kitchen number") for line in heads) == 12
    assert max(map(len, text.splitlines())) <= 100


def test_picture_shows_every_curve_in_the_sheets_unit(demo_job, demo_hours):
    from matplotlib.figure import Figure

    axes = Figure().add_subplot()
    assert draw_weather(axes, demo_job, demo_hours) is axes
    curves = {line.get_label(): line.get_ydata() for line in axes.get_lines()}
    assert {"Outdoors", "Dew point", "Air: Cook line", "Slab: Preparation +3"} <= set(curves)
    rows = shown_hours(demo_job, demo_hours)
    # Published: 98.96 °F, the data set's hottest hour of the job.
    assert max(curves["Outdoors"]) == pytest.approx(98.96, abs=1e-6)
    assert len(curves["Outdoors"]) == rows.size
    # From 12 h before 19:00 to 1 h after 06:00, 59 h later: 72 h and both ends.
    assert rows.size == 73


@pytest.mark.thorough
def test_picture_is_the_same_twice_and_written_whole(tmp_path, capsys, demo_job, demo_hours):
    target = tmp_path / "weather.png"
    shown(capsys, demo_job_path("school-kitchen"), picture=target)
    content = target.read_bytes()
    assert content.startswith(b"\x89PNG\r\n\x1a\n")
    assert content == weather_png(demo_job, demo_hours)
    assert [path.name for path in tmp_path.iterdir()] == ["weather.png"]


@pytest.mark.parametrize("option", ["save", "picture"])
def test_a_folder_that_is_not_there_is_one_line(tmp_path, capsys, option):
    target = tmp_path / "nowhere" / "file"
    with pytest.raises(OutputError, match=r"nowhere/file: could not be written \(No such file"):
        shown(capsys, demo_job_path("school-kitchen"), **{option: target})


@pytest.mark.parametrize(
    ("now", "says"),
    [
        ("tonight", "not a date and time; write it as 2026-07-17T20:00"),
        ("2013-11-03T01:30:00", "this time comes twice; write one with its offset"),
        ("2013-03-10T02:30:00", "this time comes not at all"),
    ],
)
def test_a_time_that_is_none_is_refused(capsys, now, says):
    with pytest.raises(InputError, match=says):
        shown(capsys, demo_job_path("school-kitchen"), now=now)


def test_the_patch_in_the_sun_and_the_rest_are_told_apart(demo_job, demo_weather):
    # A sun patch of Thursday afternoon: the bare slab in the shade is what it was without.
    patch = SunPatch(starts=clock(14), ends=clock(18), share=0.4)
    rooms = [replace(room, sun_patch=patch if room.name == "Servery" else None)
             for room in demo_job.rooms]  # fmt: skip
    job = replace(demo_job, rooms=tuple(rooms), languages=("en", "es"))
    now = datetime(2013, 7, 17, 12, tzinfo=UTC)
    hours, plain = (weather_hours(one, demo_weather) for one in (job, demo_job))
    texts = (weather_json(job, one, now=now) for one in (hours, plain))
    rows, were = (json.loads(text)["hours"] for text in texts)
    at = next(i for i, row in enumerate(rows) if row["at"].startswith("2013-07-18T17:00"))
    lit, dark = rows[at]["rooms"]["Servery"], were[at]["rooms"]["Servery"]
    assert lit["shade_c"] == dark["slab_c"]
    assert lit["slab_c"] > lit["shade_c"] + 5.0
    assert "shade_c" not in rows[at]["rooms"]["Corridor"]
    lines = weather_text(job, hours, now=now, width=200).splitlines()
    assert any("slab in the sun/slab in the shade" in line for line in lines)
    assert any("losa al sol/losa a la sombra" in line for line in lines)
    (row,) = [line for line in lines if line.startswith("Thu 18 17:00")]
    fahrenheit = [f"{lit[key] * 1.8 + 32:.0f}" for key in ("air_c", "slab_c", "shade_c")]
    assert "/".join(fahrenheit) in row.split()
