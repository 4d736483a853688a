import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import JULY_17_S, assert_same_series, series_of
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import InputError, OutputError
from cureplan.core.messages import Message
from cureplan.weather.hours.csv_cells import number_of
from cureplan.weather.hours.csv_dates import date_of, days_of
from cureplan.weather.hours.csv_file import (
    csv_text,
    read_weather_csv,
    read_weather_csv_for,
    write_csv,
)
from cureplan.weather.hours.csv_sheet import _parted_by_blanks
from cureplan.weather.hours.csv_times import _refuse_twelve_hours, _refuse_unsettled, _stamps
from cureplan.weather.hours.csv_zones import local_to_utc, zone_of
from cureplan.weather.hours.merge import RawRows, hourly_from_rows
from cureplan.weather.hours.series import Gap, WeatherOrigin

NESTED = Message(
    "weather.copy",
    {
        "why": (
            Message(
                "provider.no_hour",
                {"why": (Message("net.status", {"host": "h", "status": 500}),)},
            ),
        ),
        "age_s": 3600.5,
        "fetched_at": "2091-07-17T18:00:00+00:00",
    },
)
EDT = timezone(timedelta(hours=-4))


@pytest.fixture
def table(tmp_path):
    def write(text):
        path = tmp_path / "w.csv"
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return path

    return write


def hours(count, *, first=0, offset="-04:00", skip=()):
    lines = ["time,temp_c,dew_c"]
    lines += [
        f"2013-07-{17 + n // 24}T{n % 24:02}:00:00{offset},{20 + n / 10},15"
        for n in range(first, first + count)
        if n not in skip
    ]
    return "\n".join(lines) + "\n"


def test_fahrenheit_and_humidity_come_out_in_si(table):
    series = read_weather_csv(
        table("time,temp_f,humidity_pct,cloud_pct\n2013-07-17T19:00:00-04:00,95,50,25\n")
    )
    # Published: 95 °F is 35 °C exactly; dew point 23.0 °C at 35 °C and 50 % (psychrolib).
    assert series.temp_c[0] == pytest.approx(35.0, abs=1e-9)
    assert series.dew_c[0] == pytest.approx(23.0, abs=0.05)
    assert series.cloud_frac[0] == 0.25
    assert series.starts == datetime(2013, 7, 17, 23, tzinfo=UTC)


def test_comments_mark_offsets_and_spare_columns_are_understood(table):
    text = (
        "\ufeff# a line of its own\n#licence: CC0\n# Source: yard gauge\n\n"
        'Time, TEMP_C ,dew_c,"wind"\n2013-07-17T19:00Z,30,20,3\n\n2013-07-17T20:00Z,31,,4\n'
    )
    series = read_weather_csv(table(text.replace("\n", "\r\n")))
    origin = series.origins[0]
    assert (origin.label, origin.kind) == ("w.csv", "file")
    assert (origin.licence, origin.attribution) == ("CC0", "yard gauge")
    assert series.temp_c.tolist() == [30, 31]
    assert np.isnan(series.dew_c[1])
    assert series.notes == (Message("weather.columns_aside", {"columns": "wind"}),)


def test_odd_line_breaks_do_not_shift_line_numbers(table):
    text = "# source: a\u2028b\x0cc\rtime,temp_c,dew_c\r2013-07-17T19:00Z,hot,20\r"
    with pytest.raises(InputError, match=r"w\.csv:3: temp_c = 'hot'"):
        read_weather_csv(table(text))


def test_the_night_clocks_go_back_keeps_both_hours(table):
    # 01:30 local happens twice; the offset tells them apart. Whole hours: 01:00 twice.
    series = read_weather_csv(
        table(
            "time,temp_c,dew_c\n2013-11-03T00:00-04:00,10,5\n2013-11-03T01:00-04:00,11,5\n"
            "2013-11-03T01:00-05:00,12,5\n2013-11-03T02:00-05:00,13,5\n"
        )
    )
    assert series.temp_c.tolist() == [10, 11, 12, 13]
    assert series.gaps == ()


def test_half_hours_of_the_night_clocks_go_back_are_told_by_their_order():
    # New York, 3 November 2013: 02:00 at four hours behind UTC is 01:00 at five.
    walls = (0.5, 1.0, 1.5, 1.0, 1.5, 2.0)
    midnight_s = datetime(2013, 11, 3, tzinfo=UTC).timestamp()
    local_s = midnight_s + 3600.0 * np.array(walls)
    hours = local_to_utc(local_s, ZoneInfo("America/New_York"))
    assert (hours.offset_s / 3600).tolist() == [-4, -4, -4, -5, -5, -5]


def test_a_zone_that_is_named_is_the_one_the_zone_database_has():
    states = "New_York", "Chicago", "Denver", "Los_Angeles", "Anchorage"
    places = [f"America/{one}" for one in states] + ["Pacific/Honolulu"]
    places += [f"Europe/{one}" for one in ("Lisbon", "Berlin", "Helsinki")]
    found = {}
    for place in places:
        for month in (1, 7):
            there = datetime(2026, month, 1, tzinfo=ZoneInfo(place))
            named = zone_of(there.tzname(), None, there)
            if named is not None:
                found[there.tzname()] = named.utcoffset(None) == there.utcoffset()
    # CST is Chicago's and Shanghai's, so that no zone follows from it.
    assert set(found.values()) == {True}
    assert found.keys() == {
        *("EST", "EDT", "CDT", "MST", "MDT", "PST", "PDT", "AKST", "AKDT", "HST"),
        *("WET", "WEST", "CET", "CEST", "EET", "EEST"),
    }


@pytest.mark.parametrize(
    ("body", "as_tabs"),
    [
        ("time temp_c dew_c\n1 2 3\n", "time\ttemp_c\tdew_c\n1\t2\t3\n"),
        ("time temp_c dew_c\n1 2 3 4\n", None),
        ("here are some\nother words now\n", None),
    ],
)
def test_only_a_table_whose_lines_part_alike_is_one_of_blanks(body, as_tabs):
    assert _parted_by_blanks(body) == as_tabs


def test_a_zone_half_an_hour_off_is_not_resampled(table):
    series = read_weather_csv(table(hours(3, offset="+05:30")))
    assert series.temp_c.tolist() == [20.0, 20.1, 20.2]
    assert series.notes == ()


def test_a_job_inside_the_file_is_served(table):
    series = read_weather_csv_for(
        table(hours(48, skip=(5, 6, 7))),
        starts=datetime(2013, 7, 17, 12, tzinfo=EDT),
        ends=datetime(2013, 7, 18, 23, tzinfo=EDT),
        history_s=12 * 3600,
    )
    assert series.temp_c[6] == pytest.approx(20.6, abs=1e-9)
    assert series.gaps[0].hours == 3


def test_history_counts_hours_not_the_wall_clock(table):
    # On 10 March 2013 the clocks of New York jump from 2 to 3: from midnight to noon it is
    # 11 hours, so twelve hours before noon is 23:00 of the day before.
    lines = ["2013-03-10T00:00-05:00,5,0", "2013-03-10T01:00-05:00,5,0"]
    lines += [f"2013-03-10T{hour:02}:00-04:00,5,0" for hour in range(3, 13)]
    path = table("time,temp_c,dew_c\n" + "\n".join(lines) + "\n")
    noon = datetime(2013, 3, 10, 12, tzinfo=ZoneInfo("America/New_York"))
    read_weather_csv_for(path, starts=noon, ends=noon, history_s=11 * 3600)
    with pytest.raises(InputError, match="add the hours back to 2013-03-09 23:00-05:00"):
        read_weather_csv_for(path, starts=noon, ends=noon, history_s=12 * 3600)


@pytest.mark.parametrize(
    ("skip", "ends", "history_h", "expected"),
    [
        ((), 19, 12, "w.csv:49: time: add the hours up to 2013-07-19 06:00-04:00: the file ends"
                     " at 2013-07-18 23:00-04:00; or use another file"),
        ((), 18, 13, "w.csv:2: time: add the hours back to 2013-07-16 23:00-04:00, 13 h before"
                     " the job, for the slab: the file starts at 2013-07-17 00:00-04:00"),
        ((30, 31, 32, 33), 18, 0, "w.csv:32: time: add the air temperature of 4 h (2013-07-18"
                                  " 06:00-04:00 to 2013-07-18 09:00-04:00): none is given"),
    ],
)  # fmt: skip
def test_weather_that_misses_the_job_says_which_hours(table, skip, ends, history_h, expected):
    with pytest.raises(InputError) as caught:
        read_weather_csv_for(
            table(hours(48, skip=skip)),
            starts=datetime(2013, 7, 17, 12, tzinfo=EDT),
            ends=datetime(2013, 7, ends, 6 if ends == 19 else 12, tzinfo=EDT),
            history_s=history_h * 3600,
        )
    message = str(caught.value)
    assert expected in message
    # The path is the tester's own.
    assert len(message[message.index("w.csv") :]) <= 200
    assert caught.value.exit_code == 2


@pytest.mark.parametrize("history_h", [40, 10])
def test_a_gap_in_the_history_is_filled_by_the_days_around_it(table, history_h):
    # Each hour 0.1 C warmer than the last: a day earlier and later on one line, so the
    # line is what must come back, and the file is not refused; also where the gap begins
    # before the history that is wanted.
    series = read_weather_csv_for(
        table(hours(72, skip=(30, 31, 32, 33, 34))),
        starts=datetime(2013, 7, 18, 18, tzinfo=EDT),
        ends=datetime(2013, 7, 19, 12, tzinfo=EDT),
        history_s=history_h * 3600,
    )
    assert np.diff(series.temp_c[24:40]) == pytest.approx(np.diff(series.temp_c)[:15], abs=1e-6)
    (gap,) = (gap for gap in series.gaps if gap.what == "temperature")
    assert (gap.hours, gap.mended) == (5, "by the days around it")
    assert [say.code for say in series.warnings] == ["weather.history_filled"]


def test_a_long_gap_beside_the_job_is_left_missing(table):
    series = read_weather_csv_for(
        table(hours(48, skip=(1, 2, 3, 4))),
        starts=datetime(2013, 7, 17, 12, tzinfo=EDT),
        ends=datetime(2013, 7, 18, 12, tzinfo=EDT),
        history_s=6 * 3600,
    )
    assert np.isnan(series.temp_c[1:5]).all()
    assert series.gaps[0].mended == "no"


def test_a_saved_series_reads_back_identically(tmp_path):
    issued = datetime(2013, 7, 17, 6, tzinfo=UTC)
    model = WeatherOrigin(
        label='model "A", rows', kind="forecast", licence="CC BY 4.0",
        attribution="An Office, another", issued_at=issued, fetched_at=issued,
    )  # fmt: skip
    raw = RawRows(
        epoch_s=JULY_17_S + 3600.0 * np.array([0, 1, 2, 5, 6, 12, 13]),
        temp_c=np.array([20.1, 1 / 3, -1e-7, np.nan, 30.0, 29.999999999999996, 0.1 + 0.2]),
        dew_c=np.array([10.1, np.nan, np.nan, np.nan, np.nan, np.nan, 0.1]),
        cloud_frac=np.array([0.07, 0.29, np.nan, 1.0, 0.57, 0.58, 0.0]),
        origin=np.array([0, 0, 0, 1, 1, 1, 1]),
    )
    hand = series_of([1.0]).origins[0]
    series = hourly_from_rows(raw, origins=(hand, model), phase_s=0.0)
    series = replace(
        series, notes=(NESTED, Message("weather.told", {"text": "its own words: with a colon"}))
    )
    write_csv(series, tmp_path / "saved.csv")
    assert_same_series(read_weather_csv(tmp_path / "saved.csv"), series)
    middle = series.slice(
        datetime(2013, 7, 17, 8, tzinfo=UTC), datetime(2013, 7, 17, 13, tzinfo=UTC)
    )
    write_csv(middle, tmp_path / "saved.csv")
    assert_same_series(read_weather_csv(tmp_path / "saved.csv"), middle)


@given(
    st.lists(st.tuples(st.floats(-60, 60), st.floats(0, 10), st.floats(0, 1)), min_size=1),
    st.integers(-200, 20_000),
)
def test_any_series_survives_a_save(tmp_path_factory, rows, day):
    temp_c, lag_k, cloud = (np.array(column) for column in zip(*rows, strict=True))
    series = replace(
        series_of(temp_c, dew_c=np.maximum(temp_c - lag_k, -60), first_s=86_400.0 * day),
        cloud_frac=cloud,
    )
    path = tmp_path_factory.mktemp("save") / "w.csv"
    path.write_text(csv_text(series), encoding="utf-8")
    assert_same_series(read_weather_csv(path), series)


def test_a_save_into_nowhere_is_one_clear_error(tmp_path):
    with pytest.raises(OutputError, match=r"no-folder.*could not be written"):
        write_csv(series_of([20.0]), tmp_path / "no-folder" / "w.csv")
    (tmp_path / "kept.csv").mkdir()
    with pytest.raises(OutputError, match=r"kept\.csv"):
        write_csv(series_of([20.0]), tmp_path / "kept.csv")
    assert [path.name for path in tmp_path.iterdir()] == ["kept.csv"]


@pytest.mark.parametrize(
    "line",
    [
        '# origin 0: {"label": "x"}',
        "# origin 1: {}",
        '# origin 0: {"label": "x", "kind": "guess", "licence": "", "attribution": "",'
        ' "issued_at": null, "fetched_at": null}',
        "# gap: {broken",
        '# gap: {"what": "temperature", "starts": "then", "ends": "now", "hours": 1,'
        ' "mended": "no"}',
        "# gap: 3",
    ],
)
def test_damaged_lines_of_a_saved_file_are_refused(table, line):
    with pytest.raises(InputError, match=r"w\.csv:1: .*damaged; save the weather again"):
        read_weather_csv(table(f"{line}\ntime,temp_c,dew_c\n2013-07-17T19:00Z,30,20\n"))


def test_an_origin_number_nobody_declared_is_refused(table):
    good = csv_text(series_of([20.0]))
    assert good.endswith(",0\n")
    with pytest.raises(InputError, match=r"origin = '7'.*0 to 0"):
        read_weather_csv(table(good[:-2] + "7\n"))


def test_gap_records_carry_their_hours(table):
    (gap,) = read_weather_csv(table(hours(4, skip=(1,)))).gaps[:1]
    assert isinstance(gap, Gap)
    assert gap.starts == gap.ends == datetime(2013, 7, 17, 5, tzinfo=UTC)


@pytest.mark.parametrize(("days", "follow"), [(7, True), (8, False)])
def test_a_gap_of_a_week_is_one_in_either_direction(days, follow):
    # Of 14 May and a day a week before or after, only the day comes first.
    for sign in (-1, 1):
        texts = [date_of("14/05/2013"), date_of(f"{14 + sign * days:02}/05/2013")]
        assert bool(days_of(texts, ("dmy",))) is follow


@pytest.mark.parametrize(
    "digits",
    [n + d for n in ("99", "999", "9999") for d in ("", ".9", ".99")] + ["6999", "7999"],
)
def test_what_many_files_write_for_no_value_is_none(digits):
    # Loggers and archives fill with nines, or with an odd number near them, below or above.
    found = number_of(f"-{digits}")
    assert found is not None
    assert math.isnan(found.value)
    assert found.marked
    short = number_of(digits)
    assert short is not None
    # A humidity of 99 % and a heat of 99.9 F are values.
    assert short.marked == (len(digits.partition(".")[0]) > 2)


def test_a_header_met_again_is_counted(table):
    series = read_weather_csv(table(f"{hours(3)}time,temp_c,dew_c\n{hours(3, first=3)}"))
    (note,) = series.notes
    assert note.values["how"] == (Message("read.repeated", {"rows": 2}),)


@pytest.mark.parametrize("texts", [("201307171",), ("2013071719", "201307172000"), ("",)])
def test_digits_of_no_length_of_a_stamp_are_none(texts):
    column = SimpleNamespace(texts=texts)
    assert _stamps(column) is None
    stamps = _stamps(SimpleNamespace(texts=("2013071719", "2013071720")))
    assert stamps is not None
    assert stamps[1] - stamps[0] == 3600.0


def test_an_hour_given_twice_is_no_sign_of_a_clock_of_twelve_hours():
    column = SimpleNamespace(fault=lambda row, *_: ValueError(row))

    def checked(*hours):
        at_s = 3600.0 * np.array(hours)
        _refuse_twelve_hours(column, at_s, at_s, marked=False)

    checked(3, 3, 2)
    checked(2, 3, 3)
    with pytest.raises(ValueError, match=r"^3$"):
        checked(10, 11, 12, 1)


@pytest.mark.parametrize(
    ("missing", "doubled", "backwards", "named"),
    [(None, 1, False, 1), (None, 1, True, 3), (0, 2, False, 0), (0, None, True, 4)],
)
def test_a_row_of_an_hour_nobody_can_settle_is_named_as_it_stands(
    missing, doubled, backwards, named
):
    column = SimpleNamespace(fault=lambda row, *_: ValueError(row))
    with pytest.raises(ValueError, match=rf"^{named}$"):
        _refuse_unsettled(column, missing, doubled, 5, backwards)
    _refuse_unsettled(column, None, None, 5, backwards)


def test_a_table_of_nothing_but_units_is_one_clear_line(table):
    with pytest.raises(InputError, match=r"w\.csv:2"):
        read_weather_csv(table("time,temp_c,dew_c\n,deg C,deg C\n"))


@pytest.mark.parametrize("text", ["17 lot July 2013", "17 July June 2013 May", "17 lot 2013"])
def test_words_that_are_no_date_beside_one_are_no_date(text):
    assert date_of("17 July 2013") is not None
    assert date_of(text) is None
