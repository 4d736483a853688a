"""Dates, clocks, zones and the hours of a series, each on both sides of its limits."""

from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import JULY_17_S, at_h

from cureplan.core.errors import InputError
from cureplan.weather.hours.csv_cells import number_of, numbers_of
from cureplan.weather.hours.csv_dates import clock_of, date_of, days_of, orders_that_fit
from cureplan.weather.hours.csv_issued import (
    Known,
    issue_words,
    issued_in,
    names_a_day,
    zone_said,
)
from cureplan.weather.hours.csv_times import TimeColumn, read_times
from cureplan.weather.hours.csv_zones import _NAMED_H, local_to_utc, zone_of

NEW_YORK = ZoneInfo("America/New_York")
JULY = datetime(2013, 7, 17, tzinfo=UTC)


# Names of zones


def test_names_of_zones_are_as_the_zone_database_has_them():
    # As the IANA time zone database has them, winter and summer.
    places = (
        "America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles",
        "America/Anchorage", "Pacific/Honolulu", "Europe/Berlin", "Europe/Lisbon",
        "Europe/Athens", "Etc/UTC", "Etc/GMT",
    )  # fmt: skip
    there = {}
    for place in places:
        for month in (1, 7):
            when = datetime(2026, month, 1, tzinfo=ZoneInfo(place))
            there[when.tzname()] = when.utcoffset() / timedelta(hours=1)
    # CST is China's as well; the others are other names of some of these.
    assert there.pop("CST") == -6.0
    same = {"Z": "UTC", "UT": "UTC", "TU": "UTC", "TUC": "UTC", "ZULU": "UTC", "MEZ": "CET",
            "MESZ": "CEST"}  # fmt: skip
    assert {**there, **{name: there[other] for name, other in same.items()}} == _NAMED_H


# Cells


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("1:00 AM", 3600), ("12:59 AM", 3540), ("12:59 PM", 46_740), ("0:30 AM", None),
        ("13:00 AM", None), ("11:59:59 PM", 86_399), ("23:59:59", 86_399), ("24:00", 86_400),
        ("24:00:01", None), ("12:60", None), ("12:59:60", None), ("00:00", 0), ("7 PM", 68_400),
        ("7", None), ("12 am", 0), ("12 pm", 43_200), ("1:02:03.25", 3723.25),
    ],
)  # fmt: skip
def test_a_clock_has_the_hours_minutes_and_seconds_that_clocks_have(text, seconds):
    told = clock_of(text)
    assert (told and told[0]) == seconds if seconds else told is None or told[0] == seconds
    if told is not None:
        assert told[1] == text.lower().endswith("m")


@pytest.mark.parametrize(
    ("text", "order", "year"),
    [
        ("1/2/69", "dmy", 2069), ("1/2/70", "dmy", 1970), ("1/2/99", "dmy", 1999),
        ("1/2/00", "dmy", 2000), ("0100-02-01", "ymd", 100), ("13-02-01", "ymd", 2013),
    ],
)  # fmt: skip
def test_years_of_two_digits_lie_from_1970_to_2069(text, order, year):
    assert date.fromordinal(date_of(text).day(order)).replace(month=1, day=1) == date(
        year, 1, 1
    )


@pytest.mark.parametrize(
    ("text", "orders"),
    [
        ("17.07.2013", ("dmy",)), ("17/07/2013", ("dmy", "mdy")), ("17.07.13", ("dmy",)),
        ("17/07/13", ("dmy", "mdy", "ymd")), ("2013/7/17", ("ymd",)), ("20130717", ("ymd",)),
        ("2013-07-170", None), ("2013-070-17", None), ("201-07-17", None), ("17/07/201", None),
        ("17/07.2013", None), ("17/07", None), ("17/07/20/13", None), ("foo 17/07/2013", None),
        ("Wed 17/07/2013", ("dmy", "mdy")), ("17 Jul 2013", ("dmy",)),
        ("Jul 17 2013", ("mdy",)), ("2013 Jul 17", ("ymd",)), ("mar 17 jul 2013", ("dmy",)),
        ("17 of July 2013", ("dmy",)), ("17 foo July 2013", None),
        ("17 Jul Aug Sep 2013", None),
    ],
)  # fmt: skip
def test_the_orders_in_which_a_date_may_stand(text, orders):
    found = date_of(text)
    assert (found and found.orders) == orders


def test_eight_digits_are_a_year_a_month_and_a_day():
    assert date_of("20131207").parts == (2013, 12, 7)
    assert [days_of([date_of(one)] * 2, ("ymd",)) for one in ("2013-12-07", "20131207")] == [
        {"ymd": [735_209] * 2}
    ] * 2


@pytest.mark.parametrize(
    ("last", "follow"), [(18, True), (19, False), (4, True), (3, False), (11, True)]
)
def test_days_follow_each_other_with_gaps_of_a_week_at_most(last, follow):
    dates = [date_of(f"2013-07-{day:02}") for day in (11, 11, last)]
    assert bool(days_of(dates, ("ymd",))) == follow
    # Every step that may be is met, and all of them at once are as good.
    month = np.cumsum([1, 0, 1, 2, 3, 4, 5, 6, 7])
    assert days_of([date_of(f"2013-07-{day:02}") for day in month], ("ymd",))
    assert days_of([date_of(f"2013-07-{day:02}") for day in month[::-1]], ("ymd",))


def test_orders_fit_in_which_every_date_exists():
    texts = ["11/07/2013", "12/07/2013"]
    assert orders_that_fit([date_of(text) for text in texts]) == ("dmy", "mdy")
    assert orders_that_fit([date_of(text) for text in [*texts, "13/07/2013"]]) == ("dmy",)
    assert orders_that_fit([date_of(text) for text in [*texts, "31/02/2013"]]) == ()


@pytest.mark.parametrize(
    ("text", "shift_h"),
    [
        ("+14:00", 14), ("+15:00", None), ("-14:00", -14), ("+05:59", 5 + 59 / 60),
        ("+05:60", None), ("UTC-5", -5), ("\u22125", -5), ("LST", -5), ("Eastern Time", -4),
        ("EDT", -4), ("EST", -5), ("local", -4), ("nowhere", None), ("America/Nowhere", None),
        ("CST", None),
    ],
)  # fmt: skip
def test_offsets_lie_within_fourteen_hours_and_names_are_known_ones(text, shift_h):
    clock = zone_of(text, NEW_YORK, JULY)
    if shift_h is None:
        assert clock is None
    else:
        assert JULY.astimezone(clock).utcoffset() == timedelta(hours=shift_h)


@pytest.mark.parametrize(
    ("names", "land"),
    [
        ("EST EDT", "America/New_York"), ("CDT", "America/Chicago"),
        ("MST MDT", "America/Denver"), ("PST PDT", "America/Los_Angeles"),
        ("AKST AKDT", "America/Anchorage"), ("HST", "Pacific/Honolulu"),
        ("CET CEST", "Europe/Berlin"), ("WET WEST", "Europe/Lisbon"),
        ("EET EEST", "Europe/Athens"), ("UTC", "UTC"), ("GMT", "Africa/Abidjan"),
    ],
)  # fmt: skip
def test_an_abbreviation_is_the_shift_of_the_land_that_goes_by_it(names, land):
    # By the zone database's own letters, in January and in July.
    local = [
        datetime(2021, month, 1, tzinfo=UTC).astimezone(ZoneInfo(land)) for month in (1, 7)
    ]
    shifts = {when.tzname(): when.utcoffset() for when in local}
    for name in names.split():
        assert zone_of(name, None, JULY).utcoffset(None) == shifts[name]


def test_names_of_a_sites_own_clock_are_those_of_the_whole_year():
    # Standard time of December and summer time of June; without a site neither is known.
    site = ZoneInfo("Asia/Kolkata")
    assert zone_of("IST", site, JULY).utcoffset(None) == timedelta(hours=5.5)
    south = ZoneInfo("Australia/Adelaide")
    assert zone_of("ACDT", south, JULY).utcoffset(None) == timedelta(hours=10.5)
    assert zone_of("ACST", south, JULY).utcoffset(None) == timedelta(hours=9.5)
    assert zone_of("ACDT", None, JULY) is None
    assert zone_of("LST", south, JULY).utcoffset(None) == timedelta(hours=9.5)


@pytest.mark.parametrize(
    ("name", "land", "year", "east_h"),
    [
        # Juba left its clock on 1 February 2021; Perth's summer of 1991 began in November.
        ("EAT", "Africa/Juba", 2021, 3), ("CAT", "Africa/Juba", 2021, 2),
        ("EAT", "Africa/Juba", 2022, None), ("AWDT", "Australia/Perth", 1991, 9),
        ("AWDT", "Australia/Perth", 1990, None),
    ],
)  # fmt: skip
def test_a_sites_clock_has_its_name_from_the_first_month_of_a_year_to_the_last(
    name, land, year, east_h
):
    clock = zone_of(name, ZoneInfo(land), datetime(year, 7, 1, tzinfo=UTC))
    assert (clock and clock.utcoffset(None)) == (
        None if east_h is None else timedelta(hours=east_h)
    )


def column(*texts, site=None, zone_text="", order=None):
    return TimeColumn(
        texts=texts,
        lines=list(range(2, 2 + len(texts))),
        header="when",
        source=Path("w.csv"),
        zone_text=zone_text,
        order=order,
        site=site,
    )


@pytest.mark.parametrize(
    ("texts", "told"),
    [
        (("32874", "32875"), "a spreadsheet's day number"),
        (("73049.5", "73050"), "a spreadsheet's day number"),
        (("32873", "32874"), "not a date and time"),
        (("73050", "73051"), "not a date and time"),
        (("999999999", "1000000001"), "not a date and time"),
        (("2013-07-17T19:00", "2013-07-17T20:00Z"), "a time without its offset"),
        (("17.07.2013 7:00 AM", "17.07.2013 8:00"), "AM or PM is missing"),
        (("11/07/2013 12:00", "11/07/2013 13:00"), "day and month cannot be told apart"),
        (("32/07/2013 12:00", "11/07/2013 13:00"), "no such date"),
        (("17.07.2013 12:00", "17.07.2013"), "a date without a time of day"),
        (("17.07.2013 12:00", "noon"), "not a date and time"),
    ],
)
def test_columns_that_tell_no_time_are_refused(texts, told):
    with pytest.raises(InputError, match=told):
        read_times(column(*texts))


@pytest.mark.parametrize(
    ("texts", "first_s", "code"),
    [
        (("1000000000", "1000003600"), 1.0e9, "s"),
        (("2099996400", "2100000000"), 2_099_996_400.0, "s"),
        (("1000000000000", "1000003600000"), 1.0e9, "ms"),
        (("2099996400000", "2100000000000"), 2_099_996_400.0, "ms"),
    ],
)
def test_seconds_and_thousandths_since_1970_are_counted_from_2001_to_2036(texts, first_s, code):
    times = read_times(column(*texts))
    assert times.epoch_s.tolist() == [first_s, first_s + 3600.0]
    assert times.how[0].values == {"unit": code}
    assert (times.backwards, times.guessed_zone) == (False, False)
    back = read_times(column(*reversed(texts)))
    assert (back.backwards, back.epoch_s.tolist()) == (True, times.epoch_s.tolist())
    assert [message.code for message in back.how] == ["read.epoch", "read.newest_first"]


@pytest.mark.parametrize(
    ("texts", "hour"),
    [
        (("2013071707", "2013071708"), 7.0),
        (("201307170730", "201307170830"), 7.5),
        (("20130717073015", "20130717083015"), 7.5 + 15 / 3600),
    ],
)
def test_digits_without_signs_are_a_date_and_a_clock(texts, hour):
    times = read_times(column(*texts, zone_text="UTC"))
    assert times.epoch_s.tolist() == [JULY_17_S + 3600.0 * (hour + n) for n in (0, 1)]


def test_clocks_at_the_sites_time_are_guessed_and_told():
    times = read_times(column("2013-07-17 19:00", "2013-07-17 20:00", site=NEW_YORK))
    assert times.epoch_s[0] == at_h(23).timestamp()
    assert times.guessed_zone
    assert [message.code for message in times.how] == ["read.clock_site"]
    stated = read_times(column("2013-07-17 19:00", site=NEW_YORK, zone_text="-05:00"))
    assert stated.epoch_s[0] == at_h(24).timestamp()
    assert not stated.guessed_zone
    assert stated.offset_s.tolist() == [-5 * 3600.0]


@pytest.mark.parametrize("text", ["17.07.2013 , 19:00", "19:00 17.07.2013"])
def test_date_and_clock_are_found_in_a_text_that_does_not_part_at_its_blank(text):
    assert read_times(column(text, zone_text="UTC")).epoch_s[0] == at_h(19).timestamp()


@pytest.mark.parametrize(("year", "east_h"), [(2010, 3), (2013, 4), (2020, 3)])
def test_a_name_of_a_clock_is_what_it_was_in_that_year(year, east_h):
    # Moscow's winter time was four hours ahead of UTC from autumn 2011 to autumn 2014.
    site = ZoneInfo("Europe/Moscow")
    for clock, zone_text in ((" MSK", ""), ("", "MSK")):
        one = column(f"17.01.{year} 12:00{clock}", site=site, zone_text=zone_text)
        assert read_times(one).offset_s.tolist() == [3600.0 * east_h]


def test_rows_of_several_clocks_each_count_by_their_own_in_either_direction():
    texts = "17.07.2013 19:00 EDT", "17.07.2013 19:30 CDT", "17.07.2013 21:00 EDT"
    times = read_times(column(*texts))
    hours = ((times.epoch_s - JULY_17_S) / 3600.0).tolist()
    assert hours == [23.0, 24.5, 25.0]
    back = read_times(column(*reversed(texts)))
    assert back.backwards
    assert ((back.epoch_s - JULY_17_S) / 3600.0).tolist() == hours
    assert back.offset_s.tolist() == [-14400.0, -18000.0, -14400.0]
    for rows, line in ((texts, 4), (tuple(reversed(texts)), 2)):
        bad = [text.replace("21:00 EDT", "21:00 QQQ") for text in rows]
        with pytest.raises(InputError, match=rf"w\.csv:{line}: .*'QQQ' is no clock"):
            read_times(column(*bad))


@pytest.mark.parametrize(
    ("count", "wrong", "backwards"), [(21, 1, True), (20, 2, False), (21, 0, True)]
)
def test_rows_stand_newest_first_where_nine_in_ten_steps_go_back(count, wrong, backwards):
    hours = list(range(count))[::-1]
    if wrong:
        hours[1 : 1 + wrong] = [30 + n for n in range(wrong)]
    texts = [str(int(JULY_17_S) + 3600 * hour) for hour in hours]
    assert read_times(column(*texts)).backwards == backwards


@pytest.mark.parametrize(
    "hours",
    [
        # Nine in ten and no more go back, the others stand; nearly all do and the last is back.
        [*range(20, 10, -1), 11, *range(10, 2, -1), 3, 2],
        [*range(10, -1, -1), 10],
    ],
)
def test_rows_that_hardly_go_back_stand_as_they_are(hours):
    texts = [str(int(JULY_17_S) + 3600 * hour) for hour in hours]
    assert not read_times(column(*texts)).backwards


def test_offsets_are_turned_round_with_their_rows():
    times = read_times(column("2013-11-03T01:00-05:00", "2013-11-03T01:00-04:00"))
    assert times.backwards
    assert (times.offset_s / 3600.0).tolist() == [-4.0, -5.0]


@pytest.mark.parametrize(
    ("clocks", "refused"),
    [
        (("10:00", "11:00", "12:00", "1:00", "2:00"), 5),
        (("10:00", "11:00", "12:00", "13:00", "2:00"), None),
        (("0:00", "1:00", "2:00", "3:00", "2:00"), None),
        (("11:00 AM", "10:00 AM", "12:00 PM"), None),
        # Newest first, and an hour that is given twice.
        (("2:00", "1:00", "12:00", "11:00", "10:00"), 4),
        (("10:00", "10:00", "11:00", "12:00", "1:00"), 6),
        (("10:00", "11:00", "12:00"), None),
    ],
)
def test_a_clock_that_never_passes_twelve_and_goes_back_lacks_am_and_pm(clocks, refused):
    texts = [f"17.07.2013 {clock}" for clock in clocks]
    if refused is None:
        assert read_times(column(*texts, zone_text="UTC")).epoch_s.size == len(clocks)
    else:
        with pytest.raises(InputError, match=rf"w\.csv:{refused}: .*12-hour clock"):
            read_times(column(*texts, zone_text="UTC"))


@pytest.mark.parametrize(
    ("walls", "offsets", "missing", "doubled", "resolved"),
    [
        # New York, 3 November 2013: the hour from one to two comes twice.
        ([0.5, 1.0, 1.0, 2.0], [-4, -4, -5, -5], None, None, 2),
        ([0.5, 1.0, 2.0], [-4, -4, -5], None, 1, 1),
        ([1.0, 1.5, 1.0, 1.5, 1.0], [-4, -4, -4, -4, -4], None, 0, 5),
        ([0.0, 3.0], [-4, -5], None, None, 0),
        # 10 March: none from two to three.
        ([-5688.0 + 1.5, -5688.0 + 2.0, -5688.0 + 3.0], [-5, -5, -4], 1, None, 0),
    ],
)
def test_hours_that_come_twice_or_not_at_all(walls, offsets, missing, doubled, resolved):
    midnight_s = datetime(2013, 11, 3, tzinfo=UTC).timestamp()
    # 238 days before 3 November is 10 March.
    walls = np.array([wall + (-24.0 if wall < -5000 else 0.0) for wall in walls])
    hours = local_to_utc(midnight_s + 3600.0 * walls, NEW_YORK)
    assert (hours.offset_s / 3600.0).tolist() == offsets
    assert (hours.missing, hours.doubled, hours.resolved) == (missing, doubled, resolved)


def test_an_hour_that_comes_twice_is_told_apart_in_each_autumn():
    # New York, 3 November 2013 and 2 November 2014: half past one, again, and three.
    days = datetime(2013, 11, 3, tzinfo=UTC), datetime(2014, 11, 2, tzinfo=UTC)
    local_s = [day.timestamp() + 3600.0 * h for day in days for h in (1.5, 1.5, 3.0)]
    hours = local_to_utc(np.array(local_s), NEW_YORK)
    assert (hours.offset_s / 3600.0).tolist() == [-4, -5, -5] * 2
    assert (hours.missing, hours.doubled, hours.resolved) == (None, None, 4)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("-9999", np.nan), ("-9998", -9998.0), (" 30,5 °C", 30.5), ("1e3", 1000.0),
        ("1e999", None), ("60%", 60.0), ("n/a", np.nan), ("+.5", 0.5), ("1,234.5", None),
    ],
)  # fmt: skip
def test_cells_are_numbers_none_or_missing(text, value):
    cell = number_of(text)
    if value is None:
        assert cell is None
    else:
        assert cell.value == pytest.approx(value, nan_ok=True)
        assert cell.marked == (text == "-9999")


@pytest.mark.parametrize(
    "mark",
    [99.0, 99.9, 99.99, 999.0, 999.9, 999.99, 9999.0, 9999.9, 9999.99, 6999.0, 7999.0, 32768.0],
)
def test_numbers_that_stand_for_no_value_in_many_files(mark):
    assert number_of(f"-{mark}").marked
    # Air of 99 may be °F; a gauge's largest number is one less than its least is below zero.
    assert number_of(f"{mark}").marked == (mark not in {99.0, 99.9, 99.99, 32768.0})
    assert number_of("32767").marked
    assert not number_of("-32767").marked


@pytest.mark.parametrize(
    ("text", "unit"),
    [("60 % rf", "%"), ("60% RH", "%"), ("20 deg C", "C"), ("68 °f", "F"), ("20°", "")],
)
def test_a_cell_bears_one_unit(text, unit):
    assert number_of(text).unit == unit


def test_a_column_counts_its_marks_and_names_its_first_bad_row():
    read = numbers_of(["1,5", "-9999", "-9999", "°", "2 %", ""])
    assert (read.commas, read.marked, read.bad) == (True, 2, 3)
    assert read.units == {"", "%"}
    assert numbers_of(["1.5", "2"]).bad is None
    assert numbers_of(["1.5", "2"]).commas is False


# When a forecast was made

KNOWN = Known(
    rows=(datetime(2025, 6, 14, 20, tzinfo=UTC), datetime(2025, 6, 19, 20, tzinfo=UTC)),
    latest=datetime(2025, 6, 14, 20, tzinfo=UTC),
    zone=timezone(timedelta(hours=-5)),
)


@pytest.mark.parametrize(
    ("words", "when"),
    [
        ("3 pm", "14 20:00"), ("4 pm", "14 21:00"), ("5 pm", "13 22:00"),
        ("yesterday 3 pm", "13 20:00"), ("noon", "14 17:00"), ("midnight", "14 05:00"),
        ("0730z", "14 07:30"), ("730 am", "14 12:30"), ("21:00z", "14 21:00"),
        ("21:30z", "13 21:30"), ("friday 3 pm", "13 20:00"), ("saturday 3 pm", "14 20:00"),
        ("sunday 3 pm", "08 20:00"), ("14 june", "14 05:00"), ("14 june 3 pm", "14 20:00"),
        ("2025061412", "14 12:00"), ("2025-06-14 07:00", "14 12:00"),
        ("2025-06-14 07:00 utc", "14 07:00"), ("2025-06-14 07:00-03:00", "14 10:00"),
        ("7 am edt", "14 11:00"), ("7 am qst", None), ("5/6/2025 7 am", None),
        ("13/6/2025 7 am", "13 12:00"), ("friday 13 june 7 am", "13 12:00"),
        ("friday 14 june 7 am", None), ("25:00", None), ("2025-06-31 07:00", None),
    ],
)  # fmt: skip
def test_words_mean_the_last_such_hour_before_the_file_was_written(words, when):
    # Written on Saturday 14 June 2025 at 15:00, five hours behind UTC; an hour is let pass.
    found = issued_in(words, KNOWN)
    stamps = [f"{one:%d %H:%M}" for one in found if one.month == 6 and one.year == 2025]
    if when is None:
        assert len(found) != 1
    else:
        assert stamps == [when]


@pytest.mark.parametrize(
    ("words", "count"),
    [
        ("15 april 7 am", 1), ("14 april 7 am", 0),
        ("18 august 7 am", 1), ("19 august 7 am", 0),
    ],
)  # fmt: skip
def test_a_forecast_is_made_within_sixty_days_of_its_rows(words, count):
    # 60 days before 14 June is 15 April, 60 days after 19 June is 18 August.
    assert len(issued_in(words, KNOWN)) == count


@pytest.mark.parametrize(
    ("remark", "words"),
    [("12Z run", "12z"), ("run: 12Z", "12z"), ("model run 12Z,", "12z"), ("a roof", None)],
)
def test_the_hour_may_stand_before_the_word_of_making(remark, words):
    assert issue_words([(remark, 7)]) == (() if words is None else ((words, 7),))


@pytest.mark.parametrize(
    ("remark", "zone"),
    [
        ("Times in UTC", "UTC"), ("sunrise 05:41 EDT", ""), ("issued 12:00 UTC, hours", ""),
        ("UTC offset: -5, times as on the wall", "-5"), ("Made in the yard", ""),
    ],
)  # fmt: skip
def test_a_clock_is_that_of_the_times_where_a_remark_speaks_of_them(remark, zone):
    assert zone_said([(remark, 1)]) == zone


@pytest.mark.parametrize(
    ("words", "named"),
    [("2025061412", True), ("2025-06-14 12:00", True), ("14 june", True), ("noon", False)],
)
def test_words_that_name_a_day(words, named):
    assert names_a_day(words) == named


def test_of_two_days_that_words_may_mean_one_to_come_falls_out():
    # 6 May or 5 June: asked about unless the later is not yet.
    rows = datetime(2025, 5, 6, tzinfo=UTC), datetime(2025, 6, 7, tzinfo=UTC)
    may, june = datetime(2025, 5, 6, 7, tzinfo=UTC), datetime(2025, 6, 5, 7, tzinfo=UTC)
    for latest, found in (
        (june, (may, june)), (june - timedelta(hours=1), (may, june)),
        (june - timedelta(hours=1.1), (may,)), (may - timedelta(days=2), (may, june)),
    ):  # fmt: skip
        assert issued_in("5/6/2025 7:00", Known(rows=rows, latest=latest, zone=UTC)) == found
    assert issued_in("6 may 7:00", Known(rows=rows, latest=may - timedelta(2), zone=UTC)) == (
        may,
    )


def test_a_day_without_its_year_may_be_of_the_year_before():
    january = datetime(2025, 1, 2, tzinfo=UTC)
    known = Known(rows=(january, january + timedelta(days=5)), latest=january, zone=UTC)
    assert issued_in("31 december 7 am", known) == (datetime(2024, 12, 31, 7, tzinfo=UTC),)
    december = datetime(2024, 12, 30, tzinfo=UTC)
    known = Known(rows=(december, december + timedelta(days=5)), latest=january, zone=UTC)
    assert issued_in("1 january 7 am", known) == (datetime(2025, 1, 1, 7, tzinfo=UTC),)
