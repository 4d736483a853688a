"""Broken weather files: each must end in one line with file, line, column, value and cure."""

import pytest

from cureplan.core.errors import InputError
from cureplan.weather.hours.csv_file import read_weather_csv

HEAD = "time,temp_c,dew_c\n"
ROW = "2013-07-17T19:00:00-04:00,30,20\n"

# Text of the file → what the message must contain.
FAULTS = {
    "no temperature column": ("time,dew_c\n" + ROW, ["w.csv:1:", "no column temp_c or temp_f"]),
    "no humidity column": ("time,temp_c\n2013-07-17T19:00Z,30\n",
                           ["w.csv:1:", "humidity_pct, dew_c or dew_f"]),
    "no time column": ("quux,temp_c,dew_c\n", ["w.csv:1:", "no column time", "quux, temp_c"]),
    "both units": ("time,temp_c,temp_f,dew_c\n2013-07-17T19:00Z,30,80,20\n",
                   ["w.csv:2: temp_f = '80'", "26.7 °C here, 30.0 °C in the other column"]),
    "column twice": ("time,temp_c,dew_c,temp_c\n", ["temp_c", "twice"]),
    "naive time": (HEAD + "2013-07-17T19:00:00,30,20\n",
                   ["w.csv:2: time = '2013-07-17T19:00:00'", "offset", "-04:00"]),
    "date only": (HEAD + "2013-07-17,30,20\n", ["w.csv:2:", "a date without a time of day"]),
    "not a time": (HEAD + "17/xx/2013 7pm,30,20\n",
                   ["time = '17/xx/2013 7pm'", "write it like"]),
    "empty time": (HEAD + ",30,20\n", ["w.csv:2: time = ''"]),
    "25 o'clock": (HEAD + "2013-07-17T25:00Z,30,20\n", ["w.csv:2: time"]),
    "not a number": (HEAD + ROW + "2013-07-17T20:00-04:00,hot,20\n",
                     ["w.csv:3: temp_c = 'hot'", "not a number"]),
    "another unit in the cells": (HEAD + "2013-07-17T20:00Z,80 F,20\n",
                                  ["temp_c = '80 F'", "different units"]),
    "NaN": (HEAD + "2013-07-17T20:00Z,nan,20\n", ["temp_c", "no value in any row"]),
    "infinite": (HEAD + "2013-07-17T20:00Z,1e999,20\n", ["temp_c = '1e999'", "not a number"]),
    "underscore": (HEAD + "2013-07-17T20:00Z,3_0,20\n", ["temp_c = '3_0'"]),
    "decimal comma, bare": (HEAD + "2013-07-17T20:00Z,30,5,20\n", ["4 cells", "has 3"]),
    "short row": (HEAD + "2013-07-17T20:00Z,30\n", ["w.csv:2:", "2 cells"]),
    "Fahrenheit in a Celsius column": (HEAD + "2013-07-17T20:00Z,86,20\n",
                                       ["temp_c = '86'", "°F"]),
    "Celsius in a Fahrenheit column": ("time,temp_f,dew_f\n2013-07-17T20:00Z,-80,-90\n",
                                       ["temp_f = '-80'", "°C"]),
    "dew point above air": (HEAD + "2013-07-17T20:00Z,20,20.6\n",
                            ["dew_c = '20.6'", "above the air temperature"]),
    "humidity above 100": ("time,temp_c,humidity_pct\n2013-07-17T20:00Z,20,106\n",
                           ["humidity_pct = '106'", "0..100"]),
    "negative humidity": ("time,temp_c,humidity_pct\n2013-07-17T20:00Z,20,-1\n",
                          ["humidity_pct = '-1'"]),
    "cloud above 100": ("time,temp_c,dew_c,cloud_pct\n2013-07-17T20:00Z,20,10,120\n",
                        ["cloud_pct = '120'", "100 %"]),
    "duplicate": (HEAD + ROW + "2013-07-17T23:00:00Z,31,20\n",
                  ["w.csv:3: time", "same instant as line 2"]),
    "descending": (HEAD + ROW + "2013-07-17T21:00:00-04:00,30,20\n"
                   "2013-07-17T20:00:00-04:00,30,20\n",
                   ["w.csv:4: time", "earlier than line 3", "sort"]),
    "a century between rows": (HEAD + ROW + "2113-07-17T19:00Z,30,20\n",
                               ["w.csv:3:", "20 years"]),
    "no whole hour": (HEAD + "2013-07-17T19:05Z,30,20\n2013-07-17T19:25Z,30,20\n",
                      ["w.csv:3:", "no whole hour"]),
    "open quote": (HEAD + '2013-07-17T20:00Z,"30,20\n', ["w.csv:2:", "never closed"]),
    "header only": (HEAD, ["w.csv:1:", "no rows"]),
    "comments only": ("# source: nobody\n", ["has no rows"]),
    "no value at all": (HEAD + "2013-07-17T20:00Z,,20\n", ["temp_c", "no value in any row"]),
    "empty": ("", ["w.csv", "the file is empty"]),
    "blank": (" \n\n", ["is empty"]),
}  # fmt: skip


def refusal(path):
    with pytest.raises(InputError) as caught:
        read_weather_csv(path)
    message = str(caught.value)
    assert "\n" not in message
    assert "; " in message, "a cure follows the problem"
    assert str(path) in message
    return message


@pytest.mark.parametrize(("text", "expected"), FAULTS.values(), ids=FAULTS)
def test_a_broken_table_is_one_clear_line(tmp_path, text, expected):
    path = tmp_path / "w.csv"
    path.write_text(text, encoding="utf-8")
    message = refusal(path)
    for part in expected:
        assert part in message


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "a picture, not a CSV file"),
        (b"PK\x03\x04" + bytes(100), "a workbook or zip archive, not a CSV file"),
        (b"\x07\x00\x01\x02", "not a text file"),
        (HEAD.encode() + b"\x01\x02\xff", "the text is not UTF-8 (byte 0xff)"),
    ],
)
def test_what_is_not_text_is_refused(tmp_path, raw, expected):
    path = tmp_path / "w.csv"
    path.write_bytes(raw)
    assert expected in refusal(path)


def test_the_line_of_a_stray_byte_is_named(tmp_path):
    path = tmp_path / "w.csv"
    path.write_bytes(HEAD.encode() + ROW.encode() + b"\xff\n" + ROW.encode())
    assert "w.csv:3: " in refusal(path)


def test_missing_folder_huge_and_odd_paths_are_refused(tmp_path):
    assert "there is no such CSV file" in refusal(tmp_path / "none.csv")
    assert "this is a folder" in refusal(tmp_path)
    (tmp_path / "w.csv").write_text(HEAD)
    assert "there is no such CSV file" in refusal(tmp_path / "w.csv" / "below.csv")
    with (tmp_path / "huge.csv").open("wb") as huge:
        huge.truncate(40_000_001)
    assert "the limit is 40 MB" in refusal(tmp_path / "huge.csv")
    assert "not a regular file" in refusal(tmp_path.joinpath("/dev/null"))
