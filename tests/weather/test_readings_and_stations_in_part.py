"""Small decisions about columns, cells, kept copies and stations, each seen alone."""

from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace as Made

import numpy as np
import pytest
from scenes import ENDS, NOW, STARTS

from cureplan.core.errors import InputError, WeatherUnavailableError
from cureplan.weather import obtain
from cureplan.weather.hours import csv_dates, csv_readings, csv_sheet
from cureplan.weather.hours.csv_header import header_of
from cureplan.weather.providers import forecast, hourly

# Columns and cells


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("cloud_pct", "cloud"), ("cloud cover (%)", "cloud"), ("clouds", None),
        ("cloud_f", None), ("low cloud_pct", None), ("height_pct", None),
    ],
)  # fmt: skip
def test_clouds_are_a_share_of_the_whole_sky(name, role):
    (column,) = header_of([name]).columns
    assert column.role == role


def only_unit(values, *, metric=False):
    sheet = Made(source=Path("w.csv"), header_line=1)
    column = Made(name="temp", metric=metric)
    return csv_readings.Readings._only_unit(
        Made(_sheet=sheet), column, np.asarray(values, float)
    )


# Colder than -60 °C or warmer than 60 °C no air is: 140 °F, 333.15 K.
@pytest.mark.parametrize(
    ("values", "unit"),
    [
        # As °F -60 is -51.1 °C, as K nothing; -60 itself is air in °C, and a little less not.
        ([-60.001, 70.0], "f"), ([213.15, 333.15], "k"), ([61.0, 140.0], "f"),
        ([-60.0, 70.0], "f"), ([-77.0, 60.0], None), ([np.nan, np.nan], None),
        ([-60.0, 20.0], None), ([213.0, 300.0], None),
    ],
)  # fmt: skip
def test_a_unit_that_is_not_given_is_the_only_one_that_makes_air(values, unit):
    if unit is None:
        with pytest.raises(InputError, match="is not given, and its values fit"):
            only_unit(values)
    else:
        assert only_unit(values) == unit


def test_of_two_units_a_name_in_a_metric_tongue_means_celsius():
    assert only_unit([20.0, 60.0], metric=True) == "c"
    assert only_unit([-60.0, 20.0], metric=True) == "c"
    assert only_unit([20.0, 61.0], metric=True) == "f"
    with pytest.raises(InputError, match="fit more than one"):
        only_unit([20.0, 60.0])


@pytest.mark.parametrize(("temp_c", "is_air"), [(-60.0, 1), (60.0, 1), (-60.5, 0), (60.5, 0)])
def test_air_lies_from_sixty_below_to_sixty_above(temp_c, is_air):
    told = []

    def fault(*given):
        told.append(given)
        return InputError("no air", cure="look", source=Path("w.csv"))

    reader = Made(_sheet=Made(fault=fault))
    celsius = np.array([20.0, temp_c])
    if is_air:
        csv_readings.Readings._refuse_outside(reader, "temp", celsius, "c")
    else:
        with pytest.raises(InputError, match="no air"):
            csv_readings.Readings._refuse_outside(reader, "temp", celsius, "c")
        assert told[0][1] == 1
        assert "in °F?" in told[0][3]


def test_of_a_name_that_ends_hours_sixty_letters_are_told():
    name = "hour ending " + "x" * 60
    with pytest.raises(InputError) as caught:
        csv_sheet.refuse_ends(["temp_c", name], Path("w.csv"), 1)
    assert repr("hour ending " + "x" * 48) + " tells" in caught.value.problem


# Kept copies


@dataclass(frozen=True)
class Kept:
    whole: bool
    notes: tuple

    def covers(self, *_):
        return self.whole


@pytest.mark.parametrize(
    ("age_s", "reuse_s", "whole", "serves"),
    [
        (0.0, 1800.0, True, True), (1799.0, 1800.0, True, True), (1800.0, 1800.0, True, False),
        (-1.0, 1800.0, True, False), (60.0, 1800.0, False, False), (0.0, 0.0, True, False),
    ],
)  # fmt: skip
def test_a_copy_is_young_from_its_making_until_it_is_asked_anew(age_s, reuse_s, whole, serves):
    query = Made(now=NOW, spans=[Made(wanted_from=STARTS, ends=ENDS)])
    series = Kept(whole=whole, notes=())
    copy = Made(fetched_at=NOW - timedelta(seconds=age_s), series=series)
    found = obtain._young(Made(copies=lambda: [copy]), query, reuse_s)
    assert (found is not None) == serves
    if found is not None:
        assert found.notes[-1].values == {"age_s": age_s}


# Stations


def station(distance_m=9000.0, height_m=0.0):
    return Made(distance_m=distance_m, height_above_site_m=height_m)


def record(temp_c=20.0, *, share=1.0, silent_s=0.0, rows=24, odd="", **where):
    hours_s = 3600.0 * np.arange(rows)
    made = Made(epoch_s=hours_s, temp_c=np.full(rows, temp_c))
    return hourly._Record(
        station=station(**where), rows=made, share=share, silent_s=silent_s, answers=[], odd=odd
    )


@pytest.mark.parametrize(
    ("temps_c", "odd"),
    [
        ((20.0, 20.0, 40.0), [2]), ((20.0, 25.0, 40.0), [2]), ((20.0, 25.5, 40.0), []),
        ((20.0, 25.0, 30.0), []), ((20.0, 20.0, 40.0, 46.0), [2, 3]), ((20.0, 40.0), []),
        ((20.0, 30.0, 40.0), []), ((20.0, 20.0, 40.0, 45.0), []),
    ],
)  # fmt: skip
def test_a_station_five_kelvin_from_all_others_is_odd_unless_all_are(monkeypatch, temps_c, odd):
    monkeypatch.setattr(hourly, "at_site_height", lambda rows, _: rows)
    found = hourly._compared([record(temp_c) for temp_c in temps_c])
    assert [n for n, one in enumerate(found) if one.odd] == odd


NEAR = {"distance_m": 5000.0, "height_m": 49.0}


@pytest.mark.parametrize(
    ("first", "provider", "asked"),
    [
        ({**NEAR}, "station", 1), ({}, "station", 3), ({}, "history", 1),
        ({**NEAR, "share": 0.8}, "station", 4), ({"share": 0.8}, "history", 2),
        ({"distance_m": 5001.0}, "station", 3), ({**NEAR, "height_m": 50.0}, "station", 3),
    ],
)  # fmt: skip
def test_a_sound_station_next_door_or_of_the_past_is_enough(
    monkeypatch, first, provider, asked
):
    records = {"first": record(**first), "other": record()}
    monkeypatch.setattr(
        hourly, "_ask", lambda _query, _span, name: records.get(name, records["other"])
    )
    exchange = Made(mark=lambda: 0, since=lambda _: [])
    stations = ["first", "b", "c", "d", "e", "f", "g"]
    found, silent = hourly._ask_around(Made(provider=provider), None, exchange, stations)
    assert (len(found), silent) == (asked, [])


@pytest.mark.parametrize(
    ("records", "single", "chosen"),
    [
        ([{}] * 5, False, 3), ([{}] * 5, True, 1), ([NEAR, {}, {}], False, 1),
        ([{}, NEAR], False, 2), ([{"share": 0.5}, {"share": 0.6}], False, 1),
    ],
)  # fmt: skip
def test_three_stations_are_weighed_or_one_alone(records, single, chosen):
    assert len(hourly._choose([record(**one) for one in records], single=single)) == chosen


def test_of_poor_stations_the_one_that_gives_most_is_taken():
    poor = [record(share=0.5, rows=30), record(share=0.6, rows=10), record(share=0.6, rows=12)]
    assert hourly._choose(poor, single=False) == [poor[2]]


def test_of_rows_that_tell_as_much_the_first_is_taken_for_the_names(tmp_path):
    # Neither tells a temperature beside its time: the fault is put to the first of them.
    body = "hour;wind\ntime;rain\n"
    with pytest.raises(InputError) as caught:
        csv_sheet.sheet_of(body, 1, tmp_path / "a.csv")
    assert "wind" in str(caught.value)


@pytest.mark.parametrize(("ahead_min", "refused"), [(0, False), (30, False), (31, True)])
def test_a_forecast_may_come_from_a_clock_a_little_ahead(ahead_min, refused, monkeypatch):
    monkeypatch.setattr(forecast, "CLOCK_SLACK", timedelta(minutes=30))
    issued = NOW + timedelta(minutes=ahead_min)
    if refused:
        with pytest.raises(WeatherUnavailableError, match="in the future"):
            forecast._believable(issued, NOW, "point")
    else:
        assert forecast._believable(issued, NOW, "point") == issued


def test_a_date_without_marks_is_year_month_and_day():
    read = csv_dates.date_of("20260718")
    assert (read.parts, read.orders) == ((2026, 7, 18), ("ymd",))
