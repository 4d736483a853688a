"""Which lines of a weather file are rows of its table, and in what order they stand."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace as Made

import numpy as np
import pytest
from builders import JULY_17_S

from cureplan.core.errors import InputError
from cureplan.weather.hours.csv_notes import read_comments, split_comments
from cureplan.weather.hours.csv_sheet import (
    _parted_by_blanks,
    _zone_above,
    missing_column,
    sheet_of,
)
from cureplan.weather.hours.csv_table import _as_clocks, _of_service, read_table
from cureplan.weather.hours.plausible import ACCEPTED_NAMES

HEAD = "time,temp_c,humidity_pct"


def row(at, temp_c=20, humidity_pct=50):
    return f"2013-07-17T{at:02}:00Z,{temp_c},{humidity_pct}"


def sheet(*lines):
    return sheet_of("\n".join(lines) + "\n", 1, Path("air.csv"))


def table(*lines):
    return read_table(
        "\n".join(lines) + "\n", first_line=1, source=Path("air.csv"), site=None, zone_text="",
        date_order=None, origins=0,
    )  # fmt: skip


def hours(*lines):
    return ((table(*lines).epoch_s - JULY_17_S) / 3600.0).tolist()


# Lines that hold no data


@pytest.mark.parametrize(("count", "left"), [(0, 0), (1, 1), (6, 6), (7, 6)])
def test_up_to_six_rows_without_a_time_below_the_table_are_left_out(count, left):
    found = sheet(HEAD, row(0), row(1), *["Mean,20,50"] * count)
    assert (len(found.lines), found.left_out) == (2 + count - left, left)
    assert [line for _, line in found.asides] == list(range(4 + count - left, 4 + count))


def test_a_sentence_below_the_table_is_left_out_whatever_digits_are_in_it():
    found = sheet(HEAD, row(0), "written on the 18 of July 2013,,")
    assert (len(found.lines), found.left_out) == (1, 1)
    # No word, and a cell beside it: both are rows, if bad ones.
    for line in ("2013,,", "written on the 18 of July 2013,20,"):
        assert len(sheet(HEAD, row(0), line).lines) == 2


def test_a_table_of_sums_alone_has_no_row_and_one_of_empty_cells_is_kept():
    for rows in ([], ["Mean,20,50"], ["Mean,20,50", "Max,22,60"]):
        found = sheet(HEAD, *rows)
        assert (found.lines, found.left_out) == ([], len(rows))
        assert [line for _, line in found.asides] == [2, 3][: len(rows)]
    assert sheet("temp_c,time,humidity_pct", "20,,50").lines == [2]


@pytest.mark.parametrize(
    ("units", "celsius"),
    [
        ([",°F,%"], 20.0), ([",F,%", ",,"], 20.0), ([",C,"], 68.0),
        ([",°F,%", ",Avg,Avg"], 20.0),
        ([",°F,%", ",Avg,Avg", "local,sensor,sensor"], 20.0),
    ],
)  # fmt: skip
def test_up_to_three_rows_of_units_stand_below_the_header(units, celsius):
    found = sheet("time,temp,humidity", *units, row(0, 68), row(1, 68))
    unit = found.header.of("temp")[0].unit
    assert unit == ("f" if celsius == 20.0 else "c")
    assert len(found.lines) == 2
    assert found.lines[0] == 2 + len(units)


def test_a_row_of_units_beside_a_number_and_a_fourth_one_is_a_row_of_the_table():
    found = sheet("time,temp,humidity", ",°F,60", row(0, 68))
    assert len(found.lines) == 2
    assert found.header.of("temp")[0].unit == ""
    assert sheet("time,temp,humidity", ",°F,%", *[",Avg,Avg"] * 3, row(0, 68)).lines == [5, 6]


def test_a_header_that_comes_again_and_remarks_are_no_rows():
    found = sheet(HEAD, row(0), HEAD, row(1), "# a remark,,", row(2), ",,", HEAD)
    assert (found.lines, found.repeated) == ([2, 4, 6], 2)
    assert found.asides == [("# a remark  ", 5)]


@pytest.mark.parametrize(("between", "asides"), [("# a roof,,", ["# a roof  "]), (",,", [])])
def test_a_remark_or_an_empty_line_between_two_rows_is_none(between, asides):
    found = sheet(HEAD, row(0), between, row(1))
    assert (found.lines, [text for text, _ in found.asides]) == ([2, 4], asides)


@pytest.mark.parametrize(
    ("line", "right"),
    [
        (f"{row(1)},,", True), (f"{row(1)},7", False), ("2013-07-17T01:00Z,20", False),
        ("2013-07-17T01:00Z", True),
    ],
)  # fmt: skip
def test_a_row_has_as_many_cells_as_are_named_or_empty_ones_beyond(line, right):
    if right:
        found = sheet(HEAD, row(0), line)
        assert {len(column) for column in found.columns} == {2}
        return
    with pytest.raises(InputError, match="where the header has 3"):
        sheet(HEAD, row(0), line)


def test_an_empty_last_cell_beside_a_longer_row_is_a_cell():
    found = sheet(HEAD, "2013-07-17T00:00Z,20,", f"{row(1)},")
    assert [list(column) for column in found.columns[1:]] == [["20", "20"], ["", "50"]]


def test_cells_behind_the_last_that_is_read_may_be_left_off():
    found = sheet(f"{HEAD},wind,gust", f"{row(0)},3,4", row(1))
    assert [list(column) for column in found.columns[3:]] == [["3", ""], ["4", ""]]
    with pytest.raises(InputError, match="has 2 cells where the header has 5"):
        sheet(f"{HEAD},wind,gust", f"{row(0)},3,4", "2013-07-17T01:00Z,20")


def test_a_name_of_a_reading_stands_once_and_others_as_often_as_they_like():
    assert sheet("time,temp_c,dew_c,wind,wind", "2013-07-17T00:00Z,20,9,3,3").lines == [2]
    with pytest.raises(InputError, match="twice"):
        sheet("time,temp_c,temp_c", "2013-07-17T00:00Z,20,9")


@pytest.mark.parametrize(
    ("shift_s", "zone"),
    [
        ("-14400", "-04:00"), ("19800", "+05:30"), ("0", "+00:00"), ("-12600", "-03:30"),
        ("", ""), ("123456", ""), ("4 h", ""),
    ],
)  # fmt: skip
def test_a_small_table_above_tells_the_clock_in_seconds(shift_s, zone):
    above = [("latitude", "UTC_offset_seconds "), ("40.7", shift_s), ("", "")]
    assert _zone_above(above) == zone


@pytest.mark.parametrize(
    ("lines", "parted"),
    [
        (["time temp_c rh", "19:00 20 50"], True), (["time temp_c", "19:00 20"], False),
        (["time temp_c rh", "19:00 20 50 7"], False),
        (["time,temp_c rh", "19:00 20 50"], False),
        (["time temp_c rh", "19:00 20,5 50"], True), (["time;temp_c rh", "19:00 20 50"], False),
        (["time  temp_c  rh", "17 July 19:00  20  50"], True),
        (["of the roof", "time temp_c rh", "19:00 20 50"], True),
    ],
)  # fmt: skip
def test_blanks_part_three_cells_or_more_on_every_line(lines, parted):
    found = _parted_by_blanks("\n".join(lines))
    assert (found is not None) == parted
    if parted:
        assert {len(line.split("\t")) for line in found.split("\n")[-2:]} == {3}


# Times of several columns


@pytest.mark.parametrize(
    ("texts", "clocks"),
    [
        (["0", "24"], ["0:00", "24:00"]), (["0", "25"], ["0:00", "0:25"]),
        (["0", "1930", "2400"], ["0:00", "19:30", "24:00"]), (["7.0"], ["7:00"]),
        (["14 h", "7h"], ["14:00", "7:00"]), (["14 h", "7:30"], ["14 h", "7:30"]),
        (["105"], ["1:05"]), ([], []),
    ],
)  # fmt: skip
def test_bare_numbers_are_hours_up_to_24_and_hours_with_minutes_beyond(texts, clocks):
    assert _as_clocks(texts) == clocks


def test_a_date_and_a_clock_of_two_columns_are_one_time():
    assert hours("date,time (UTC),temp_c,rh", "2013-07-17,7:30,20,50") == [7.5]
    assert hours("year,month,day,hour,time zone,temp_c,rh", "2013,7,17,7,UTC,20,50") == [7.0]
    assert hours(
        "year,month,day,hour,minute,time zone,temp_c,rh", "2013,7,17,7,6,UTC,20,50",
        "2013,7,17,8,,UTC,20,50",
    ) == [7.1, 8.0]  # fmt: skip
    assert hours("date,time (UTC),am/pm,temp_c,rh", "2013-07-17,7:30,PM,20,50") == [19.5]


@pytest.mark.parametrize(
    ("head", "cells", "hour"),
    [
        # A time with its own offset needs no zone beside it, one without has it from there.
        ("time,time zone", ["{}:00Z", "EST"], 1), ("time,time zone", ["{}:00", "EST"], 6),
        # Of two times the one that is sure: by its offset, else by its name.
        ("time,time_utc", ["{}:00", "05:00Z"], 5), ("time,time_utc", ["{}:00Z", "05:00"], 1),
        # A whole time goes before its parts.
        ("time,year,month,day,hour", ["{}:00Z", "2013", "7", "17", "7"], 1),
        ("year,month,day,hour,time zone", ["2013", "7", "17", "7", "UTC"], 7),
    ],
)  # fmt: skip
def test_of_what_tells_a_time_the_surest_counts(head, cells, hour):
    line = ",".join(f"2013-07-17T{c.format('01')}" if ":" in c else c for c in cells)
    assert hours(f"{head},temp_c,rh", f"{line},20,50") == [hour]


def test_the_first_row_tells_whether_offsets_stand_in_a_column():
    # A second row of another kind is refused, or does not matter where a column is sure.
    mixed = "2013-07-17T00:00{},20,50", "2013-07-17T01:00Z{},20,50"
    with pytest.raises(InputError, match="not a date and time") as caught:
        table("time,time zone,temp_c,rh", *(line.format(",EST") for line in mixed))
    assert caught.value.line == 3
    lines = (line.format(f",2013-07-17T0{n}:00") for n, line in enumerate(mixed, 4))
    assert hours("time,time_utc,temp_c,rh", *lines) == [4, 5]


@pytest.mark.parametrize(("blank", "right"), [(2, True), (1, False)])
def test_dates_of_the_first_row_of_a_day_alone_leave_more_than_half_empty(blank, right):
    # Two of three rows are without a date, or one of two.
    lines = ["2013-07-17,0:00,20,50", *[f",{n}:00,20,50" for n in range(1, blank + 1)]]
    head = "date,time (UTC),temp_c,rh"
    if right:
        assert hours(head, *lines) == [0, 1, 2]
        assert "read.dates_above" in {note.code for note in table(head, *lines).how}
        return
    with pytest.raises(InputError):
        table(head, *lines)


def test_empty_dates_beside_a_time_in_parts_are_not_those_above():
    head, lines = "date,year,month,day,hour,time zone,temp_c,rh", ",2013,7,17,7,UTC,20,50"
    assert hours(head, lines) == [7.0]
    assert "read.dates_above" not in {note.code for note in table(head, lines).how}


# Order


def test_rows_that_say_the_same_twice_count_once_and_others_are_refused():
    found = table(HEAD, row(0), row(1, 21), row(1, 21), row(2, 22))
    assert found.temp_c.tolist() == [20, 21, 22]
    assert found.lines.tolist() == [2, 3, 5]
    assert [note.values["rows"] for note in found.how if note.code == "read.twice"] == [1]
    for other, word in (
        (row(1, 22), "same instant as line 3"),
        (row(0, 7), "earlier than line 3"),
    ):
        with pytest.raises(InputError, match=word) as caught:
            table(HEAD, row(0), row(1, 21), other)
        assert caught.value.line == 4
    # One twin and one row too early: the first fault is told.
    with pytest.raises(InputError, match="same instant as line 2"):
        table(HEAD, row(2), row(2), row(1), row(3))


def test_rows_that_stand_newest_first_are_turned_round_with_their_lines():
    found = table(HEAD, row(3, 23), row(2, 22), row(1, 21), row(0, 20))
    assert found.temp_c.tolist() == [20, 21, 22, 23]
    assert found.lines.tolist() == [5, 4, 3, 2]
    assert np.diff(found.epoch_s).tolist() == [3600.0] * 3


@pytest.mark.parametrize(
    ("name", "others", "clock"),
    [
        ("time", ["t2m", "d2m"], "UTC"), ("time", ["t2m"], ""), ("time", ["d2m"], ""),
        ("valid_time", ["valid_time", "t2m"], "UTC"), ("when", ["t2m", "d2m"], ""),
        ("DATE", ["HourlyDryBulb"], "LST"), ("DATE", ["temp"], ""),
        ("time", ["HourlyDryBulb"], ""),
    ],
)  # fmt: skip
def test_services_that_never_say_their_clock_are_known_by_their_names(name, others, clock):
    columns = [Made(name=other) for other in others]
    assert _of_service(Made(header=Made(columns=columns)), name) == clock


def test_long_names_are_cut_where_they_are_told():
    fault = missing_column(["a" * 121], "temp_c", Path("air.csv"), 1)
    assert fault.problem.endswith(f"it has: {'a' * 120}")
    ending = "hour ending " + "b" * 49
    for asked in ("time", "temp_c"):
        fault = missing_column(["c"], asked, Path("air.csv"), 1)
        assert f"no column {asked}" in fault.problem
    with pytest.raises(InputError) as caught:
        missing_column([ending], "time", Path("air.csv"), 1)
    assert f"{ending[:60]!r} tells when an hour ends" in caught.value.problem
    assert "no column temp_c" in missing_column([ending], "temp_c", Path("air.csv"), 1).problem


# What stands above the table


@pytest.mark.parametrize(
    ("text", "rest"),
    [
        ("# a\ntime\n", (2, "time\n")), ("# a\n", (2, "")), ("# a", (2, "")),
        ("# a\n\n \ntime", (4, "time")), ("time", (1, "time")),
    ],
)  # fmt: skip
def test_what_is_no_remark_begins_in_the_line_below(text, rest):
    found, body, line = split_comments(text)
    assert (line, body) == rest
    assert found == [(1, "a")] * text.startswith("#")


@pytest.mark.parametrize("names", [ACCEPTED_NAMES, ACCEPTED_NAMES[:1]])
def test_all_that_may_be_asked_about_can_be_answered_at_once(names):
    said = [(1, f"accept: {', '.join(names)}")]
    assert read_comments(said, source="air.csv").accepted == {*names}
    with pytest.raises(InputError, match="not understood"):
        read_comments([(1, f"accept: {', '.join(names)}, x")], source="air.csv")
