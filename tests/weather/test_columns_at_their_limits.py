"""Names and values of a weather table's columns, on both sides of each limit."""

from __future__ import annotations

from pathlib import Path

import pytest

from cureplan.core.errors import InputError
from cureplan.weather.hours.csv_header import header_of
from cureplan.weather.hours.csv_table import read_table

# Names


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("humidity", "humidity"), ("humidity alarm", None), ("sensor 1", None),
        ("Relative Humidity", "humidity"), ("date local", "date"), ("date time", "time"),
        ("sun hour", None), ("date of hour", "time"), ("local hour", "time"),
        ("hr", "humidity"),
        ("Air temp in °C", "temp"), ("Temp in °C", "temp"), ("Temp in", None),
        ("No. Temperature", "temp"), ("Nr. Air Temp", "temp"), ("No", None),
        ("timestamp", "time"), ("timestamp utc", "time"), ("datetime now", "time"),
        ("dew point", "dew"), ("dew alarm", None), ("temp dew", "dew"), ("temp alarm", None),
        ("cloud cover %", "cloud"), ("cloud cover", None), ("cloud base %", None),
        ("temp %", None), ("time zone", "zone"), ("", None),
    ],
)  # fmt: skip
def test_what_a_name_means(name, role):
    (column,) = header_of([name]).columns
    assert column.role == role


@pytest.mark.parametrize(
    ("names", "tells"),
    [
        (["year", "month", "day", "hour"], True), (["year", "month"], False),
        (["year", "month", "day", "hour", "temp_c"], True), (["temp_c"], False),
        (["date"], True), (["time"], True),
    ],
)  # fmt: skip
def test_a_time_is_told_by_one_column_or_by_all_four_parts(names, tells):
    assert header_of(names).tells_time == tells


# Values


def read(names, *rows, times=None, origins=0):
    """A table of UTC hours; each row is what stands behind its time."""
    lines = [f"time,{names}", *(f"2013-07-17T{at:02}:00Z,{row}" for at, row in enumerate(rows))]
    return read_table(
        "\n".join(lines) + "\n", first_line=1, source=Path("air.csv"), site=None, zone_text="",
        date_order=None, origins=origins,
    )  # fmt: skip


def refused(names, *rows, **more):
    with pytest.raises(InputError) as caught:
        read(names, *rows, **more)
    return caught.value


@pytest.mark.parametrize(
    ("numbers", "celsius"),
    [
        # -60 to 60 °C are -76 to 140 °F and 213.15 to 333.15 K; air is asked to lie there.
        ([-60, 0], "more than one"), ([-61, 0], [-51.67, -17.78]), ([60, 0], "more than one"),
        ([61, 32], [16.11, 0.0]), ([140, 50], [60.0, 10.0]), ([141, 50], "fit none"),
        ([-76, 50], [-60.0, 10.0]), ([-77, 50], "fit none"), ([300, 290], [26.85, 16.85]),
        ([334, 300], "fit none"),
    ],
)  # fmt: skip
def test_a_unit_that_is_not_given_is_the_only_one_in_which_the_values_are_air(numbers, celsius):
    rows = [f"{number},50" for number in numbers]
    if isinstance(celsius, str):
        assert celsius in refused("temp,humidity_pct", *rows).problem
        return
    assert read("temp,humidity_pct", *rows).temp_c.tolist() == pytest.approx(celsius, abs=0.01)


def test_a_name_of_a_land_of_degrees_celsius_is_its_unit_where_it_may_be():
    assert read("temperatur,humidity_pct", "20,50", "21,50").temp_c.tolist() == [20.0, 21.0]
    # No air of 100 °C: it is °F all the same.
    assert read("temperatur,humidity_pct", "100,50", "50,50").temp_c[1] == 10.0


@pytest.mark.parametrize(
    ("temp_c", "right"), [("60", True), ("60.1", False), ("-60", True), ("-60.1", False)]
)
def test_air_lies_within_sixty_degrees_of_frost(temp_c, right):
    if right:
        assert read("temp_c,humidity_pct", f"{temp_c},50").temp_c[0] == float(temp_c)
    else:
        assert "outside -60..60" in refused("temp_c,humidity_pct", f"{temp_c},50").problem


@pytest.mark.parametrize(
    ("name", "cell", "share"),
    [
        ("humidity_pct", "105", 1.0), ("humidity_pct", "105.1", None),
        ("humidity_pct", "0", 0.0), ("humidity_pct", "55", 0.55),
        ("humidity_pct", "-0.1", None), ("humidity_frac", "1", 1.0),
        ("humidity_frac", "1.01", None), ("humidity_frac", "0", 0.0),
    ],
)  # fmt: skip
def test_humidity_lies_between_none_and_what_gauges_read_in_fog(name, cell, share):
    if share is None:
        assert "humidity lies outside" in refused(f"temp_c,{name}", f"20,{cell}").problem
    else:
        assert read(f"temp_c,{name}", f"20,{cell}").humidity_frac[0] == share


@pytest.mark.parametrize(
    ("name", "cell", "share"),
    [
        ("cloud_pct", "100", 1.0), ("cloud_pct", "100.1", None), ("cloud_pct", "0", 0.0),
        ("cloud_pct", "-1", None), ("cloud_frac", "1", 1.0), ("cloud_frac", "1.1", None),
    ],
)  # fmt: skip
def test_clouds_cover_none_to_all_of_the_sky(name, cell, share):
    if share is None:
        assert (
            "cloud cover lies outside" in refused(f"temp_c,dew_c,{name}", f"9,9,{cell}").problem
        )
    else:
        assert read(f"temp_c,dew_c,{name}", f"9,9,{cell}").cloud_frac[0] == share


@pytest.mark.parametrize(
    ("dews", "above"),
    [(["20", "19"], 0), (["20.1", "20"], 1), (["20.5", "20.1"], 2), (["20.6", "20"], None)],
)
def test_a_dew_point_may_lie_half_a_kelvin_above_the_air(dews, above):
    rows = [f"20,{dew}" for dew in dews]
    if above is None:
        assert "lies above the air" in refused("temp_c,dew_c", *rows).problem
        return
    told = read("temp_c,dew_c", *rows).remarks
    assert [note.code for note in told] == ["weather.saturated"] * (above > 0)
    assert [note.values["rows"] for note in told] == [above] * (above > 0)


def test_a_table_knows_which_of_its_columns_are_in_fahrenheit():
    assert read("temp_f,dew_c", "68,10").fahrenheit == {"temp"}
    assert read("temp_c,dew_f", "20,50").fahrenheit == {"dew"}
    assert read("temp_f,humidity_pct", "68,10").fahrenheit == {"temp"}
    assert read("temp_c,dew_c", "20,10").fahrenheit == set()


@pytest.mark.parametrize(
    ("celsius", "fahrenheit", "right"),
    [("9", "50", True), ("8.9", "50", False), ("11", "50", True), ("11.1", "50", False)],
)
def test_two_columns_of_the_air_differ_by_a_kelvin_at_most(celsius, fahrenheit, right):
    # 50 °F are 10 °C.
    rows = ["20,68,50", f"{celsius},{fahrenheit},50"]
    if right:
        assert read("temp_c,temp_f,humidity_pct", *rows).temp_c.tolist() == [20, float(celsius)]
        return
    fault = refused("temp_c,temp_f,humidity_pct", *rows)
    assert (fault.line, fault.key) == (3, "temp_f")


@pytest.mark.parametrize(
    ("names", "row", "problem"),
    [
        ("air temp (C),temp (F),humidity_pct", "20,68,50", None),
        ("air temp (C),temp (C),humidity_pct", "20,20,50", "has both"),
        ("air temp (C),temp,humidity_pct", "20,68,50", "has both"),
        ("air temp (C),temp (F),tair (K),humidity_pct", "20,68,293.15,50", "has both"),
        ("temp_c,dew (C),dewp (F)", "20,10,50", None),
        ("temp_c,dew (C),dewp (C)", "20,10,10", "has both"),
        ("temp_c,dew (C),dewp", "20,10,10", "has both"),
        ("temp_c,dew (C),dewp (F),dwp (K)", "20,10,50,283.15", "has both"),
        ("temp_c,rh,hum", "20,50,50", "has both"),
        ("temp_c", "20", "no column humidity_pct, dew_c or dew_f"),
    ],
)
def test_a_reading_stands_once_or_in_two_units(names, row, problem):
    if problem is None:
        assert read(names, row).temp_c.tolist() == [20.0]
        assert read(names, row).dew_c[0] == pytest.approx(
            10.0 if "dew" in names else 9.3, abs=0.1
        )
    else:
        assert problem in refused(names, row).problem


@pytest.mark.parametrize(
    ("name", "cells", "celsius"),
    [
        ("temp", ["20 C", "21 C"], [20, 21]), ("temp", ["68 F", "50 F"], [20, 10]),
        ("temp_c", ["20 C", "21"], [20, 21]), ("temp", ["20 C", "50 F"], None),
        ("temp_c", ["68 F", "50 F"], None), ("temp", ["20 C", "68"], [20, 68]),
    ],
)  # fmt: skip
def test_header_and_cells_give_one_unit(name, cells, celsius):
    rows = [f"{cell},50" for cell in cells]
    if celsius == [20, 68]:
        # No unit of its own: it is the column's, and no air is that warm.
        assert "outside" in refused(f"{name},humidity_pct", *rows).problem
    elif celsius is None:
        assert "different units" in refused(f"{name},humidity_pct", *rows).problem
    else:
        assert read(f"{name},humidity_pct", *rows).temp_c.tolist() == pytest.approx(celsius)


def test_a_dew_point_without_a_unit_has_that_of_the_air():
    assert read("temp_f,dew", "68,50").dew_c.tolist() == pytest.approx([10.0])
    assert read("temp_c,dew", "20,10").dew_c.tolist() == [10.0]
    assert read("temp_f,dew", "68,10 C").dew_c.tolist() == [10.0]


def test_rows_are_of_one_station_and_of_origins_that_are_told():
    names = "station,temp_c,humidity_pct"
    assert read(names, "LGA,20,50", " LGA ,21,50", ",22,50").temp_c.size == 3
    assert "rows of 2 stations" in refused(names, "LGA,20,50", "JFK,21,50").problem
    names = "temp_c,humidity_pct,origin"
    assert read(names, "20,50,1", "20,50,0", origins=2).origin.tolist() == [1, 0]
    fault = refused(names, "20,50,1", "20,50,2", origins=2)
    assert (fault.line, fault.cure) == (3, "write a number from 0 to 1")
    assert read(names, "20,50,7", origins=0).origin.tolist() == [0]


def notes(*lines):
    """What is told of how a table was read, and of what was left aside."""
    table = read_table(
        "\n".join(lines) + "\n", first_line=1, source=Path("air.csv"), site=None, zone_text="",
        date_order=None, origins=0,
    )  # fmt: skip
    return [(note.code, *note.values.values()) for note in (*table.how, *table.remarks)]


HOUR = "2013-07-17T00:00Z"


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (["time,temp_c,dew_c", f"{HOUR},20,9"], []),
        (["Time,temp_c,humidity_pct", f"{HOUR},20,50"], []),
        (["time;temp_c;dew_c", f"{HOUR};20;9"], [("read.parted", "semicolon")]),
        (["time;temp_c;dew_c", f"{HOUR};20,5;9"],
         [("read.parted", "semicolon"), ("read.commas",)]),
        (["when,temp_c,dew_c", f"{HOUR},20,9"], [("read.column", "time", "when")]),
        (["time,temp (C),dew (F)", f"{HOUR},20,50"],
         [("read.column", "temp_c", "temp (C)"), ("read.column", "dew_f", "dew (F)")]),
        (["time,temp_c,dew_c", f"{HOUR},20,-9999"], [("read.marked", 1)]),
        # A humidity beside a dew point is no column of which nothing is known.
        (["time,temp_c,dew_c,humidity_pct", f"{HOUR},20,9,50"], []),
        (["time,temp_c,dew_c,wind,", f"{HOUR},20,9,3,"], [("weather.columns_aside", "wind")]),
        (["time,temp_c,dew_c,wind,gust", f"{HOUR},20,9,3,4"],
         [("weather.columns_aside", "wind, gust")]),
    ],
)  # fmt: skip
def test_what_is_told_of_a_tables_columns(lines, told):
    assert notes(*lines) == told


def test_of_two_columns_of_issues_the_first_counts_and_the_other_stays_aside():
    # Model runs and their hours stand in many tables side by side.
    table = read("temp_c,dew_c,run,cycle", "20,9,06Z,x")
    assert (table.names["issued"], list(table.texts["issued"])) == ("run", ["06Z"])
    assert [note.values for note in table.remarks] == [{"columns": "cycle"}]
