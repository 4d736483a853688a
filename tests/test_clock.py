"""Instants, windows, and the two nights a year on which clocks change."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.clock import (
    TimeWindow,
    ceil_to,
    epoch_s,
    floor_to,
    from_epoch_s,
    local_instant,
    parse_clock_minutes,
    require_aware,
    shift_windows,
)
from cureplan.core.errors import OutOfRangeError, QuantityError

NEW_YORK = ZoneInfo("America/New_York")
PHOENIX = ZoneInfo("America/Phoenix")
KATHMANDU = ZoneInfo("Asia/Kathmandu")
# Clocks go forward by only half an hour.
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")


@pytest.mark.parametrize(
    ("zone", "start", "end", "hours"),
    [
        # US daylight-saving rule since 2007: second Sunday of March and first of November
        # at 02:00 local; Arizona keeps standard time. Worked by hand, so exact.
        (NEW_YORK, "2026-03-08T01:30", "2026-03-08T03:30", 1),
        (NEW_YORK, "2026-11-01T00:30", "2026-11-01T03:30", 4),
        (PHOENIX, "2026-03-08T01:30", "2026-03-08T03:30", 2),
        (PHOENIX, "2026-11-01T00:30", "2026-11-01T03:30", 3),
    ],
)
def test_elapsed_time_across_clock_changes(zone, start, end, hours):
    begins = local_instant(datetime.fromisoformat(start), zone)
    ends = local_instant(datetime.fromisoformat(end), zone)
    assert TimeWindow(begins=begins, ends=ends).duration_s == hours * 3600


@pytest.mark.parametrize(
    ("zone", "written", "what", "one", "other"),
    [
        (NEW_YORK, "2026-03-08T02:30", "not at all", "01:30:00-05:00", "03:30:00-04:00"),
        (NEW_YORK, "2026-11-01T01:30", "twice", "01:30:00-04:00", "01:30:00-05:00"),
        (LORD_HOWE, "2026-10-04T02:15", "not at all", "01:45:00+10:30", "02:45:00+11:00"),
    ],
)
def test_times_that_come_twice_or_never_are_refused_with_both_readings(
    zone, written, what, one, other
):
    with pytest.raises(QuantityError) as caught:
        local_instant(datetime.fromisoformat(written), zone)
    message = str(caught.value)
    assert what in message
    assert message.index(one) < message.index(other)


def test_either_reading_offered_is_then_accepted():
    first = local_instant(datetime.fromisoformat("2026-11-01T01:30:00-04:00"), NEW_YORK)
    second = local_instant(datetime.fromisoformat("2026-11-01T01:30:00-05:00"), NEW_YORK)
    assert second - first == timedelta(hours=1)


def test_a_time_with_an_offset_needs_no_zone():
    written = datetime.fromisoformat("2013-07-17T19:00:00+05:45")
    assert local_instant(written, NEW_YORK).isoformat() == "2013-07-17T13:15:00+00:00"


@pytest.mark.parametrize("year", [1, 1899, 2201, 9999])
def test_years_nobody_pours_in_are_refused(year):
    with pytest.raises(QuantityError, match="not believable"):
        local_instant(datetime(year, 7, 17, 19), NEW_YORK)  # noqa: DTZ001


def test_naive_instants_are_refused_with_the_cure():
    naive = datetime(2013, 7, 17, 19)  # noqa: DTZ001
    with pytest.raises(OutOfRangeError, match=r"start = 2013-07-17T19:00:00 has no time zone"):
        require_aware(naive, name="start")
    with pytest.raises(OutOfRangeError, match="offset"):
        epoch_s(naive)


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("00:00", 0), ("7:05", 425), ("19:30", 1170), ("24:00", 1440), (time(19, 30), 1170)],
)
def test_reads_clock_times(text, minutes):
    assert parse_clock_minutes(text) == minutes


@pytest.mark.parametrize(
    "text",
    [
        "24:01",
        "12:60",
        "7 pm",
        "7:5",
        "19",
        "",
        ":30",
        "-1:30",
        "1９:30",
        19,
        None,
        time(1, 2, 3),
    ],
)
def test_refuses_what_is_no_clock_time(text):
    with pytest.raises(QuantityError, match="19:30"):
        parse_clock_minutes(text)


# ---- windows

T0 = datetime(2013, 7, 17, 23, tzinfo=UTC)


def window(first_h, last_h):
    return TimeWindow(begins=T0 + timedelta(hours=first_h), ends=T0 + timedelta(hours=last_h))


def test_windows_that_touch_do_not_overlap():
    assert not window(0, 2).overlaps(window(2, 3))
    assert window(0, 2).intersect(window(2, 3)) is None
    assert window(0, 2).intersect(window(1, 3)) == window(1, 2)
    assert window(0, 2).contains(T0)
    assert not window(0, 2).contains(T0 + timedelta(hours=2))


def test_a_window_counts_elapsed_time_even_between_local_ends():
    begins = datetime(2026, 10, 31, 19, tzinfo=NEW_YORK)
    ends = datetime(2026, 11, 1, 5, tzinfo=NEW_YORK)
    assert TimeWindow(begins=begins, ends=ends).duration_s == 11 * 3600
    assert TimeWindow(begins=begins, ends=ends).begins.tzinfo is UTC


def test_a_window_cannot_end_before_it_begins():
    with pytest.raises(OutOfRangeError, match="before it begins"):
        window(2, 1)


HOURS = st.integers(0, 40)


@given(a=HOURS, b=HOURS, c=HOURS, d=HOURS)
def test_what_two_windows_share_lies_in_both(a, b, c, d):
    one, other = window(*sorted((a, b))), window(*sorted((c, d)))
    shared = one.intersect(other)
    assert (shared is not None) == one.overlaps(other) == other.overlaps(one)
    hours = {h for h in range(41) if one.contains(T0 + timedelta(hours=h))}
    hours &= {h for h in range(41) if other.contains(T0 + timedelta(hours=h))}
    got = {h for h in range(41) if shared and shared.contains(T0 + timedelta(hours=h))}
    assert got == hours


# ---- shifts


def shift(begins, ends):
    return SimpleNamespace(begins=time.fromisoformat(begins), ends=time.fromisoformat(ends))


def local(zone, windows):
    return [
        tuple(end.astimezone(zone).isoformat()[:16] for end in (w.begins, w.ends))
        for w in windows
    ]


def span(zone, begins, ends):
    return {
        "zone": zone,
        "begins": datetime.fromisoformat(begins).replace(tzinfo=zone),
        "ends": datetime.fromisoformat(ends).replace(tzinfo=zone),
    }


def test_night_shifts_are_cut_to_the_span():
    got = shift_windows(
        [shift("19:00", "05:00")], **span(NEW_YORK, "2013-07-17T21:00", "2013-07-19T03:00")
    )
    assert local(NEW_YORK, got) == [
        ("2013-07-17T21:00", "2013-07-18T05:00"),
        ("2013-07-18T19:00", "2013-07-19T03:00"),
    ]


def test_a_shift_begun_the_evening_before_still_counts():
    got = shift_windows(
        [shift("19:00", "05:00")], **span(NEW_YORK, "2013-07-17T02:00", "2013-07-17T12:00")
    )
    assert local(NEW_YORK, got) == [("2013-07-17T02:00", "2013-07-17T05:00")]


def test_shifts_that_touch_or_overlap_are_joined():
    shifts = [shift("05:00", "13:00"), shift("12:00", "17:00"), shift("17:00", "18:00")]
    got = shift_windows(shifts, **span(NEW_YORK, "2013-07-17T00:00", "2013-07-18T00:00"))
    assert local(NEW_YORK, got) == [("2013-07-17T05:00", "2013-07-17T18:00")]


def test_equal_clock_times_mean_round_the_clock():
    whole = span(NEW_YORK, "2013-07-17T03:00", "2013-07-20T06:00")
    [got] = shift_windows([shift("00:00", "00:00")], **whole)
    assert got == TimeWindow(begins=whole["begins"], ends=whole["ends"])


def test_no_shift_in_the_span_gives_no_window():
    night = span(NEW_YORK, "2013-07-17T20:00", "2013-07-18T04:00")
    assert shift_windows([shift("05:00", "17:00")], **night) == ()


@pytest.mark.parametrize(
    ("night", "hours"),
    [("2026-03-07", 9), ("2026-03-08", 10), ("2026-10-31", 11), ("2026-11-01", 10)],
)
def test_night_shifts_last_as_long_as_the_night_does(night, hours):
    begins = datetime.fromisoformat(f"{night}T12:00").replace(tzinfo=NEW_YORK)
    [got] = shift_windows(
        [shift("19:00", "05:00")],
        zone=NEW_YORK,
        begins=begins,
        ends=begins + timedelta(days=1),
    )
    assert got.duration_s == hours * 3600


@pytest.mark.parametrize(
    ("begins", "ends", "night", "hours"),
    [
        # 02:30 comes not at all: read as 03:30 EDT for a start, as 01:30 EST for an end.
        ("02:30", "06:00", "2026-03-08", 2.5),
        ("00:30", "02:30", "2026-03-08", 1.0),
        # 01:30 comes twice: the second for a start, the first for an end.
        ("01:30", "06:00", "2026-11-01", 4.5),
        ("00:30", "01:30", "2026-11-01", 1.0),
        # Both edges doubtful: nothing certain is left of the hour.
        ("02:15", "02:45", "2026-03-08", 0.0),
    ],
)
def test_doubtful_edges_make_a_shift_shorter(begins, ends, night, hours):
    got = shift_windows(
        [shift(begins, ends)], **span(NEW_YORK, f"{night}T00:00", f"{night}T12:00")
    )
    assert sum(w.duration_s for w in got) == hours * 3600


@given(
    first=st.integers(0, 1439),
    length=st.integers(1, 1440),
    start_h=st.integers(0, 400),
    span_h=st.integers(1, 200),
)
def test_windows_hold_just_the_minutes_of_the_shift(first, length, start_h, span_h):
    last = (first + length) % 1440
    hours = shift(f"{first // 60:02}:{first % 60:02}", f"{last // 60:02}:{last % 60:02}")
    begins = datetime(2026, 1, 5, tzinfo=PHOENIX) + timedelta(hours=start_h)
    ends = begins + timedelta(hours=span_h)
    windows = shift_windows([hours], zone=PHOENIX, begins=begins, ends=ends)
    for step in range(0, span_h * 60, 37):
        instant = begins + timedelta(minutes=step)
        minute = instant.hour * 60 + instant.minute
        inside = (minute - first) % 1440 < length
        assert any(w.contains(instant) for w in windows) == inside


# ---- steps


def test_epoch_seconds_of_the_turn_of_the_millennium():
    # Published: Python library reference and POSIX tables (from memory): 946684800.
    assert epoch_s(datetime(2000, 1, 1, tzinfo=UTC)) == 946_684_800
    assert from_epoch_s(946_684_800.5).microsecond == 500_000


@pytest.mark.parametrize("seconds", [float("nan"), float("inf"), 1e18])
def test_seconds_beyond_the_calendar_are_refused(seconds):
    with pytest.raises(OutOfRangeError, match="calendar"):
        from_epoch_s(seconds)


@given(seconds=st.integers(0, 4_000_000_000), minutes=st.sampled_from([1, 5, 15, 30, 60]))
def test_steps_bracket_the_instant(seconds, minutes):
    instant = from_epoch_s(seconds).astimezone(KATHMANDU)
    low, high = floor_to(instant, minutes=minutes), ceil_to(instant, minutes=minutes)
    assert low <= instant <= high
    assert high - low in (timedelta(0), timedelta(minutes=minutes))
    assert (low.hour * 60 + low.minute) % minutes == 0
    assert low.second == low.microsecond == 0


def test_a_step_must_be_at_least_a_minute():
    with pytest.raises(OutOfRangeError, match="minutes"):
        floor_to(T0, minutes=0)
