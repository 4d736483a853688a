"""Each limit beyond which readings are asked about, seen from both of its sides."""

import math
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cureplan.weather.hours import plausible
from cureplan.weather.hours.plausible import Air, Place, oddities, questions, season_c

# Midnight UTC before the longest day; sun enough to move any air outdoors.
JUNE_S = datetime(2013, 6, 17, tzinfo=UTC).timestamp()
GREENWICH = Place(zone=UTC, latitude_deg=45.0, longitude_deg=0.0, elevation_m=0.0)


def air(temp_c, *, dew_c=None, humidity=None, hours=None, fahrenheit=(), guessed=False):
    temp_c = np.asarray(temp_c, float)
    blank = np.full(temp_c.size, np.nan)
    return Air(
        epoch_s=JUNE_S
        + 3600.0 * np.asarray(np.arange(temp_c.size) if hours is None else hours),
        temp_c=temp_c,
        dew_c=blank
        if dew_c is None
        else np.broadcast_to(np.asarray(dew_c, float), blank.shape),
        humidity_frac=blank
        if humidity is None
        else np.broadcast_to(np.asarray(humidity, float), blank.shape),
        fahrenheit=frozenset(fahrenheit),
        guessed_zone=guessed,
        has_dew=dew_c is not None,
    )


def asked(one, place=None):
    """Questions by their name; the first of a name counts."""
    found = {}
    for question in questions(one, zone=UTC, place=place):
        found.setdefault(question.name, question)
    return found


def wave(hours, swing_k, *, crest_h=15.0, mean_c=20.0):
    """Air that is warmest at an hour of the day."""
    return mean_c + swing_k * np.cos((np.asarray(hours) - crest_h) * math.pi / 12.0)


# Moisture


@pytest.mark.parametrize(
    ("frac", "name"),
    [
        (0.0101, "humidity"), (0.0102, "missing"), (0.0, "missing"), (0.0249, "missing"),
        (0.025, None),
    ],
)  # fmt: skip
def test_how_little_humidity_is_a_fraction_of_percent_or_none_at_all(frac, name):
    found = asked(air([20.0] * 4, humidity=[np.nan, frac, frac, frac]))
    assert next(iter(found), None) == name
    assert all(question.row == 1 for question in found.values())


@pytest.mark.parametrize(
    ("apart_k", "humidity", "is_asked"),
    [(2.0, 1.0, False), (2.01, 1.0, True), (-30.0, 0.2, True), (-30.0, 0.199, False)],
)
def test_two_moistures_may_differ_by_two_kelvin_where_the_air_is_damp(
    apart_k, humidity, is_asked
):
    # Saturated air is its own dew point.
    found = asked(air([20.0] * 4, dew_c=20.0 - apart_k, humidity=humidity))
    assert ("dew" in found) == is_asked


def test_the_first_damp_row_that_differs_is_named():
    # The first differs by just what it may, the second is too dry to tell.
    temp_c = [19.0, 20.0, 20.0, 20.0, 20.0]
    one = air(temp_c, dew_c=[17, 5, 5, 5, 5], humidity=[1.0, 0.1, 1.0, 1.0, 1.0])
    question = asked(one)["dew"]
    assert question.row == 2
    assert "3 rows, 2013-06-17 02:00 to 2013-06-17 04:00" in question.problem
    assert "the humidity makes it 20.0 °C" in question.problem


DRY_DAYS = np.arange(100)


def dew_like(slope, *, hours=DRY_DAYS, swing_k=6.0, pct=45.0):
    """Air, and a humidity of which some share is gained with each kelvin."""
    temp_c = wave(hours, swing_k)
    return temp_c, pct / 100.0 * (1.0 + slope * (temp_c - 20.0))


@pytest.mark.parametrize(
    ("slope", "is_asked"), [(-0.028, True), (-0.032, False), (0.02, True), (0.0, False)]
)
def test_humidity_that_hardly_falls_as_it_warms(slope, is_asked):
    # Of 100 hours with air of 14 to 26 °C, 45 % read as °F is 7 °C, so a dew point it may be.
    temp_c, humidity = dew_like(slope)
    assert ("humidity" in asked(air(temp_c, humidity=humidity))) == is_asked


def test_humidity_that_falls_is_no_matter_where_the_air_hardly_warms_or_a_dew_point_is_known():
    temp_c, humidity = dew_like(0.02, swing_k=1.5)
    assert "humidity" not in asked(air(temp_c, humidity=humidity))
    temp_c, humidity = dew_like(0.02)
    assert "humidity" not in asked(air(temp_c, humidity=humidity, dew_c=10.0))
    assert asked(air([20.0] * 3)) == {}


@pytest.mark.parametrize(("above", "is_asked"), [(2, True), (3, False)])
def test_a_dew_point_lies_above_the_air_in_two_of_a_hundred_hours_at_most(above, is_asked):
    temp_c, humidity = dew_like(0.0, pct=50.0)
    humidity = humidity + 0.0001 * (temp_c - 20.0)
    # 96 % read as °F is 35.6 °C.
    humidity[40 : 40 + above] = 0.96
    assert ("humidity" in asked(air(temp_c, humidity=humidity))) == is_asked


@pytest.mark.parametrize(("temp_c", "is_asked"), [(19.5, True), (19.4, False)])
def test_a_humidity_that_is_a_dew_point_lies_half_a_kelvin_above_the_air_at_most(
    temp_c, is_asked
):
    # 68 % read as °F is 20 °C, in five of a hundred hours.
    days_c, humidity = dew_like(0.0, pct=50.0)
    humidity = humidity + 0.0001 * (days_c - 20.0)
    days_c[40:45], humidity[40:45] = temp_c, 0.68
    assert ("humidity" in asked(air(days_c, humidity=humidity))) == is_asked


@pytest.mark.parametrize(
    ("temp_c", "dew_c", "is_asked"),
    [
        # 0 °C is 32 °F: as °C half a kelvin above this air, and no more than that.
        ([31.5] * 100, 0.0, True),
        ([31.4] * 100, 0.0, False),
        ([31.5] * 98 + [31.0] * 2, 0.0, True),
        ([31.5] * 97 + [31.0] * 3, 0.0, False),
        # A desert's: 5 °F or 5 °C in air of 35 °C, 3 % or 15 % humid; 12 of either, 4 or 25 %.
        ([35.0] * 9, -15.0, False),
        ([35.0] * 9, (12.0 - 32.0) / 1.8, True),
        # 14 °F in air of 24 or 16 °C, 10 or 16 % humid; -14 °F in frost, 28 or 37 %.
        ([24.0] * 9, (14.0 - 32.0) / 1.8, True),
        ([16.0] * 9, (14.0 - 32.0) / 1.8, False),
        ([0.5] * 9 + [-10.0] * 2, (-14.0 - 32.0) / 1.8, True),
        ([0.5] * 9 + [-14.0] * 2, (-14.0 - 32.0) / 1.8, False),
    ],
)
def test_a_dew_point_that_makes_a_desert_and_is_one_in_the_other_unit(temp_c, dew_c, is_asked):
    one = air(temp_c, dew_c=dew_c, fahrenheit=["dew"])
    assert ("dew" in asked(one)) == is_asked
    assert "dew" not in asked(air(temp_c, dew_c=dew_c))


# Marks, jumps, stuck gauges


@pytest.mark.parametrize(
    ("temp_c", "row"),
    [
        ([5, 5, 0, 0, 5, 5], 2),
        ([5, 5, 0, 5, 5], 2),
        ([4.99, 4.99, 0, 0, 4.99], None),
        ([5, 5, 0, 0, 4.9], None),
        ([4.9, 0, 0, 5, 5], None),
        ([0, 0, 5, 5], 0),
        ([5, 5, 0, 0], 2),
        ([5, 0, 5], 1),
        ([0, 0, 0], None),
        ([-35, -40, -35], 1),
        ([-35.1, -40, -35], None),
    ],
)
def test_a_mark_lies_five_kelvin_from_the_air_on_each_side_that_is_known(temp_c, row):
    found = asked(air(temp_c)).get("missing")
    assert (found and found.row) == row
    if row == 2 and len(temp_c) == 6:
        assert "2 rows, 2013-06-17 02:00 to 2013-06-17 03:00" in found.problem


@pytest.mark.parametrize(
    ("fahrenheit", "is_asked"),
    [(0.0, True), (-40.0, True), (32.0, False), (64.0, False), (1.0, False)],
)
def test_a_mark_is_told_in_the_unit_of_its_column(fahrenheit, is_asked):
    celsius = (fahrenheit - 32.0) / 1.8
    one = air([celsius + 9.0, celsius, celsius + 9.0], fahrenheit=["temp"])
    assert ("missing" in asked(one)) == is_asked


@pytest.mark.parametrize(
    ("hours", "is_asked"),
    [([0, 3, 6], True), ([0, 3.001, 6.002], False), ([0, 3, 9], True), ([0, 6, 9], True)],
)
def test_air_within_three_hours_is_beside_a_mark(hours, is_asked):
    assert ("missing" in asked(air([9, 0, 9], hours=hours))) == is_asked


@pytest.mark.parametrize(
    ("by_k", "within_h", "air_jumps", "dew_jumps"),
    [
        (15.0, 1.0, False, False), (15.25, 1.0, True, False), (15.25, 1.5, True, False),
        (15.25, 1.501, False, False), (10.0, 0.25, False, False), (10.25, 0.25, True, False),
        (10.25, 0.2501, False, False), (20.0, 1.0, True, False), (20.25, 1.0, True, True),
        (20.25, 1.501, False, False), (-15.25, 1.0, True, False),
    ],
)  # fmt: skip
def test_a_jump_is_more_than_air_does_in_that_time(by_k, within_h, air_jumps, dew_jumps):
    steps = [30.0, 30.0, 30.0 + by_k, 30.0 + by_k]
    hours = [0, 2, 2 + within_h, 4 + within_h]
    found = asked(air(steps, hours=hours)).get("jump")
    assert (found is not None) == air_jumps
    if found is not None:
        assert (found.row, found.role) == (2, "temp")
        what = f"{abs(by_k):.0f} K in {60 * within_h:.0f} min (2013-06-17"
        assert what in found.problem
    found = asked(air([90.0] * 4, dew_c=steps, hours=hours)).get("jump")
    assert (found is not None) == dew_jumps


def stuck(count, step_h, *, varies=2.0):
    """A gauge that moves before and after, and not at so many rows between."""
    values = [20.0, 20.0 + varies, *[20.0] * count, 20.0 + varies / 2]
    return values, step_h * np.arange(len(values))


@pytest.mark.parametrize(
    ("count", "step_h", "varies", "is_asked"),
    [
        (25, 1.0, 2.0, True), (24, 1.0, 2.0, False), (25, 1.0, 1.9, False),
        (8, 3.5, 2.0, True), (7, 4.0, 2.0, False),
    ],
)  # fmt: skip
def test_air_is_stuck_for_a_day_and_eight_rows(count, step_h, varies, is_asked):
    values, hours = stuck(count, step_h, varies=varies)
    found = asked(air(values, hours=hours)).get("stuck")
    assert (found is not None) == is_asked
    if found is not None:
        assert found.row == 2
        assert f"the same for {(count - 1) * step_h:.0f} h ({count} rows" in found.problem


@pytest.mark.parametrize(
    ("count", "moves_k", "frac", "is_asked"),
    [
        (49, 4.0, 0.5, True), (48, 4.0, 0.5, False), (49, 3.9, 0.5, False),
        (49, 4.0, 0.94, True), (49, 4.0, 0.95, False),
    ],
)  # fmt: skip
def test_moisture_is_stuck_for_two_days_while_the_air_moves(count, moves_k, frac, is_asked):
    temp_c = 40.0 + moves_k / 2.0 * (-1.0) ** np.arange(count + 3)
    humidity = np.full(temp_c.size, frac)
    humidity[[0, 1, -1]] = 0.60, 0.64, 0.62
    assert ("stuck" in asked(air(temp_c, humidity=humidity))) == is_asked
    if frac == 0.5:
        dew_c = np.full(temp_c.size, 20.0)
        dew_c[[0, 1, -1]] = 21.0, 23.0, 22.0
        assert ("stuck" in asked(air(temp_c, dew_c=dew_c))) == is_asked


def test_a_dew_point_without_any_value_is_not_asked_about():
    assert asked(air([20.0, 21.0, 22.0], dew_c=np.nan)) == {}


# Season and sun


@pytest.mark.parametrize(
    ("mean_c", "season", "unit", "is_asked"),
    [
        (5.0, (5.0, 41.0), "f", False), (4.5, (5.0, 41.0), "f", True),
        (-15.0, (5.0, 41.0), "f", True), (-15.5, (5.0, 41.0), "f", False),
        (10.0, (12.0, 50.0), "f", True), (10.5, (12.0, 50.0), "f", False),
        (41.0, (5.0, 41.0), "c", False), (40.5, (2.0, 40.0), "c", True),
        (40.5, (5.0, 40.0), "c", False),
    ],
)  # fmt: skip
def test_the_other_unit_is_asked_about_where_it_alone_fits_the_season(
    monkeypatch, mean_c, season, unit, is_asked
):
    # 5 °C is 41 °F, -15 °C is 5 °F, 10 °C is 50 °F.
    monkeypatch.setattr(plausible, "season_c", lambda *_: season)
    fahrenheit = ["temp"] if unit == "f" else []
    one = air([mean_c] * 8, hours=3 * np.arange(8), fahrenheit=fahrenheit)
    assert ("unit" in asked(one, GREENWICH)) == is_asked
    told = [message.code for message in oddities(one, place=GREENWICH)]
    assert ("weather.season" in told) == (not season[0] <= mean_c <= season[1])


@pytest.mark.parametrize(
    ("rows", "span_h", "is_told"), [(8, 20.0, True), (7, 20.0, False), (8, 19.99, False)]
)
def test_a_season_is_told_by_eight_rows_over_twenty_hours(rows, span_h, is_told):
    one = air([-30.0] * rows, hours=np.linspace(0.0, span_h, rows))
    assert [m.code for m in oddities(one, place=GREENWICH)] == ["weather.season"] * is_told


@pytest.mark.parametrize(("rows", "is_told"), [(8, False), (9, True)])
def test_more_than_eight_rows_alike_are_told(rows, is_told):
    (steady,) = [m.code for m in oddities(air([20.0] * rows), place=GREENWICH)] or [None]
    assert (steady == "weather.steady") == is_told
    moving = air(20.0 + np.arange(rows), humidity=0.5)
    codes = [m.code for m in oddities(moving, place=GREENWICH)]
    assert codes == ["weather.steady_humidity"] * is_told
    fresh = air(20.0 + np.arange(rows), humidity=0.5 + np.arange(rows) / 100)
    assert list(oddities(fresh, place=GREENWICH)) == []


def test_the_season_is_drawn_from_the_sun_of_six_weeks():
    # The mean over each day of what falls on a level above the air, by its definition.
    place = Place(zone=UTC, latitude_deg=52.0, longitude_deg=0.0, elevation_m=1000.0)
    level = Place(zone=UTC, latitude_deg=52.0, longitude_deg=0.0, elevation_m=0.0)
    when = datetime(2013, 4, 20, tzinfo=UTC)
    hour = np.radians(np.arange(0.25, 360.0, 0.5))[:, None]
    days = when.timetuple().tm_yday - np.arange(46)
    tilt, north = np.radians(23.44) * np.sin(2 * np.pi * (days - 81) / 365.25), math.radians(52)
    height = math.sin(north) * np.sin(tilt) + math.cos(north) * np.cos(tilt) * np.cos(hour)
    sun_w_m2 = 1361.0 * np.maximum(height, 0.0).mean()
    low_c, high_c = season_c(level, when.timestamp())
    assert high_c == pytest.approx(11.0 + 0.072 * sun_w_m2, abs=0.01)
    # A kilometre up it is 6.5 K colder at the least and 4 K at the most.
    assert season_c(place, when.timestamp()) == pytest.approx((low_c - 6.5, high_c - 4.0))


def test_with_more_sun_no_season_is_colder():
    poles = np.arange(-60.0, 61.0, 5.0)
    lows_c = [
        season_c(
            Place(zone=UTC, latitude_deg=north, longitude_deg=0.0, elevation_m=0.0),
            datetime(2013, 12, 21, tzinfo=UTC).timestamp(),
        )
        for north in poles
    ]
    by_sun = sorted(lows_c, key=lambda one: one[1])
    assert [low for low, _ in by_sun] == sorted(low for low, _ in lows_c)
    assert min(lows_c)[0] < -44.0


def room(hours, *, mean_c=22.0, range_k=1.0, drift_k=0.0):
    """A gauge that goes up and down by the hour, and from day to day."""
    hours = np.asarray(hours, float)
    up = np.arange(hours.size) % 2
    return air(mean_c + range_k * (up - 0.5) + drift_k * (hours // 24 % 2), hours=hours)


FIVE_DAYS = np.arange(5 * 24)


@pytest.mark.parametrize(
    ("one", "is_asked"),
    [
        (room(FIVE_DAYS), True),
        # Four days on end, and no row less.
        (room(np.arange(97)), True),
        (room(np.arange(96)), False),
        (room(4.2 * np.arange(24)), True),
        (room(4.4 * np.arange(23)), False),
        # Ten rows a day, of which a day lacks two, or three.
        (room(np.delete(2.4 * np.arange(41), [12, 14])), True),
        (room(np.delete(2.4 * np.arange(41), [12, 14, 16])), False),
        # Outdoors it moves by 1.6 K a day, by 2.7 K where days are alike at 15 to 30 °C.
        (room(FIVE_DAYS, range_k=2.0), True),
        (room(FIVE_DAYS, range_k=2.0, drift_k=2.0), False),
        (room(FIVE_DAYS, range_k=2.0, mean_c=15.0), True),
        (room(FIVE_DAYS, range_k=2.0, mean_c=14.5), False),
        (room(FIVE_DAYS, range_k=2.0, mean_c=30.0), True),
        (room(FIVE_DAYS, range_k=2.0, mean_c=30.5), False),
        (room(FIVE_DAYS, range_k=3.0), False),
        (room(FIVE_DAYS, mean_c=0.8, range_k=1.6), False),
        (room(FIVE_DAYS, mean_c=0.8, range_k=1.5), True),
        # One value throughout is a what-if.
        (room(FIVE_DAYS, range_k=0.0), False),
    ],
)
def test_a_gauge_in_a_room_by_how_little_it_moves(one, is_asked):
    assert ("indoor" in asked(one, GREENWICH)) == is_asked


def test_days_of_a_room_are_those_of_the_sun_and_dark_days_tell_nothing():
    # At 90° east the sun's midnight is 18:00 UTC: four whole days from there, no five halves.
    east = Place(zone=UTC, latitude_deg=45.0, longitude_deg=90.0, elevation_m=0.0)
    assert "indoor" in asked(room(18 + np.arange(97)), east)
    assert "indoor" not in asked(room(6 + np.arange(97)), east)
    polar = Place(zone=UTC, latitude_deg=-65.0, longitude_deg=0.0, elevation_m=0.0)
    assert "indoor" not in asked(room(FIVE_DAYS), polar)


@pytest.mark.parametrize(
    ("crest_h", "longitude_deg", "swing_k", "is_asked"),
    [
        (15.0, 0.0, 4.0, False), (11.1, 0.0, 4.0, False), (10.9, 0.0, 4.0, True),
        (17.9, 0.0, 4.0, False), (18.1, 0.0, 4.0, True), (10.9, 0.0, 1.6, True),
        (10.9, 0.0, 1.4, False), (9.0, 90.0, 4.0, False), (15.0, 90.0, 4.0, True),
        (15.0, -90.0, 4.0, True), (21.0, -90.0, 4.0, False),
    ],
)  # fmt: skip
def test_the_warmest_hour_lies_from_eleven_to_six_by_the_sun(
    crest_h, longitude_deg, swing_k, is_asked
):
    place = Place(
        zone=ZoneInfo("UTC"), latitude_deg=45.0, longitude_deg=longitude_deg, elevation_m=0.0
    )
    hours = np.arange(6 * 24)
    temp_c = wave(hours, swing_k, crest_h=crest_h) + 0.05 * hours
    found = asked(air(temp_c, guessed=True), place)
    assert ("clock" in found) == is_asked
    if is_asked:
        by_the_sun = (crest_h + longitude_deg / 15.0) % 24.0
        hour, minute = divmod(round(60 * by_the_sun), 60)
        assert f"comes at {hour:02}:{minute:02} by the sun" in found["clock"].problem
    told = [m.code for m in oddities(air(temp_c), place=place)]
    assert ("weather.sun" in told) == is_asked
    assert "weather.sun" not in [
        m.code for m in oddities(air(temp_c, guessed=True), place=place)
    ]
    assert "clock" not in asked(air(temp_c), place)


@pytest.mark.parametrize(("half_day_k", "is_asked"), [(1.9, True), (2.1, False)])
def test_a_wave_that_is_half_of_all_that_moves_tells_the_warmest_hour(half_day_k, is_asked):
    hours = np.arange(6 * 24)
    temp_c = wave(hours, 2.0, crest_h=6.0) + half_day_k * np.cos(hours * math.pi / 6.0)
    assert ("clock" in asked(air(temp_c, guessed=True), GREENWICH)) == is_asked


@pytest.mark.parametrize(("rows", "is_asked"), [(97, True), (96, False)])
def test_four_days_tell_the_warmest_hour(rows, is_asked):
    one = air(wave(np.arange(rows), 4.0, crest_h=6.0), guessed=True)
    assert ("clock" in asked(one, GREENWICH)) == is_asked


@pytest.mark.parametrize(("rows", "step_h", "is_asked"), [(24, 4.2, True), (23, 4.4, False)])
def test_a_row_for_each_hour_of_a_day_tells_the_warmest(rows, step_h, is_asked):
    hours = step_h * np.arange(rows)
    one = air(wave(hours, 4.0, crest_h=6.0), hours=hours, guessed=True)
    assert ("clock" in asked(one, GREENWICH)) == is_asked


@pytest.mark.parametrize(("rows", "whole_days"), [(97, 3), (119, 3), (120, 4)])
def test_a_daily_wave_is_read_off_whole_days_less_half_a_day_on_either_side(rows, whole_days):
    at_s, rest = plausible._daily_wave(
        air(wave(np.arange(rows), 4.0)), wave(np.arange(rows), 4.0)
    )
    assert at_s.size == rest.size == 24 * whole_days
    assert at_s[0] == JUNE_S + 12 * 3600.0
    # The mean of any whole day is the same, so the wave is all that is left.
    assert rest == pytest.approx(wave(12 + np.arange(24 * whole_days), 4.0) - 20.0)
