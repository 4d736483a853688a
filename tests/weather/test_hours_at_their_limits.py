"""Steps, gaps and means of hourly rows, on both sides of each limit."""

from datetime import UTC, datetime

import numpy as np
import pytest
from builders import HAND, JULY_17_S, at_h, series_of

from cureplan.core.errors import OutOfRangeError
from cureplan.weather.hours.history import fill_history
from cureplan.weather.hours.merge import RawRows, hourly_from_rows, splice
from cureplan.weather.hours.resample import hour_means, hours_between
from cureplan.weather.hours.series import Gap, utc_of

# Hours of a series


def rows_at(hours, temp_c, dew_c=None):
    hours = np.asarray(hours, dtype=float)
    blank = np.full(hours.size, np.nan)
    return RawRows(
        epoch_s=JULY_17_S + 3600.0 * hours,
        temp_c=np.asarray(temp_c, dtype=float),
        dew_c=blank if dew_c is None else np.asarray(dew_c, dtype=float),
        cloud_frac=blank,
        origin=np.zeros(hours.size, dtype=int),
    )


@pytest.mark.parametrize(("step_h", "gaps"), [(1.5, 0), (1.51, 1)])
def test_steps_of_an_hour_and_a_half_are_no_gap(step_h, gaps):
    rows = rows_at(step_h * np.arange(3), 2.0 * step_h * np.arange(3))
    series = hourly_from_rows(rows, origins=(HAND,), phase_s=0.0)
    assert series.temp_c == pytest.approx(2.0 * np.arange(series.temp_c.size))
    assert len(series.gaps) == gaps
    filled, _, stretches, told = hours_between(rows, origins=(HAND,), phase_s=0.0)
    assert (len(stretches), len(told)) == (gaps, gaps)
    assert (filled.epoch_s.size > 3) == bool(gaps)


@pytest.mark.parametrize(
    ("step_h", "filled_h"), [(6.5, [0, 1, 2, 3, 4, 5, 6, 6.5]), (6.6, [0])]
)
def test_steps_of_six_hours_and_a_half_are_filled_and_longer_ones_not(step_h, filled_h):
    rows = rows_at(step_h * np.arange(3), [20.0, 20.0, 20.0])
    filled, *_ = hours_between(rows, origins=(HAND,), phase_s=0.0)
    hours = (filled.epoch_s - JULY_17_S) / 3600.0
    assert hours[: len(filled_h)].tolist() == filled_h
    assert (filled.epoch_s.size == 3) == (step_h > 6.5)


def test_one_row_with_air_is_filled_between_none():
    rows = rows_at([0, 3, 6], [20.0, np.nan, np.nan])
    filled, *_ = hours_between(rows, origins=(HAND,), phase_s=0.0)
    assert filled.epoch_s.size == 3
    rows = rows_at([0, 3, 6], [20.0, np.nan, 26.0])
    filled, *_ = hours_between(rows, origins=(HAND,), phase_s=0.0)
    assert filled.temp_c == pytest.approx([20, 21, 22, 23, 24, 25, 26])


@pytest.mark.parametrize(
    ("minutes", "averaged"),
    [
        (np.arange(0, 200, 31), True), (np.arange(0, 200, 32), False),
        ([0, 20, 40, 60], True), ([0, 20, 40, 59], False), ([60], False),
    ],
)  # fmt: skip
def test_rows_of_half_an_hour_are_averaged_where_they_span_an_hour(minutes, averaged):
    rows = rows_at(np.asarray(minutes) / 60.0, np.full(len(minutes), 20.0))
    means, told = hour_means(rows, phase_s=0.0)
    assert [message.code for message in told] == ["weather.averaged"] * averaged
    assert (means is rows) != averaged


@pytest.mark.parametrize(("first", "is_mean"), [(36, True), (37, False)])
@pytest.mark.parametrize("mirrored", [False, True])
def test_nine_tenths_of_an_hour_make_a_mean_and_less_the_hour_itself(first, is_mean, mirrored):
    # Air that is 0 °C at the hour and rises by the square of the time to it on both sides.
    minutes = np.arange(first, 151.0)
    minutes = 120.0 - minutes[::-1] if mirrored else minutes
    rows = rows_at(minutes / 60.0, ((minutes - 60.0) / 30.0) ** 2)
    means, _ = hour_means(rows, phase_s=0.0)
    there = np.flatnonzero(means.epoch_s == JULY_17_S + 3600.0)
    assert (means.temp_c[there[0]] > 0.2) == is_mean
    assert means.temp_c[there[0]] >= 0.0


def days_with_a_gap(first, last, *, days=5):
    """Days of 20 °C at noon's twelve hours off, of which some hours are not known."""
    hours = np.arange(24.0 * days)
    temp_c = 20.0 - np.abs(hours % 24 - 12.0)
    temp_c[first : last + 1] = np.nan
    gap = Gap(
        what="temperature", starts=at_h(first), ends=at_h(last), hours=last - first + 1,
        mended="no",
    )  # fmt: skip
    return series_of(temp_c, dew_c=np.full(temp_c.size, 5.0), gaps=(gap,))


@pytest.mark.parametrize(
    ("first", "last", "before_h", "since_h", "is_filled"),
    [
        (48, 71, 120, None, True), (48, 72, 120, None, False), (0, 3, 120, None, False),
        (1, 3, 120, None, True), (116, 119, 120, None, False), (115, 118, 120, None, True),
        (48, 50, 51, None, True), (48, 50, 48, None, False), (48, 50, 120, 51.0, True),
        (48, 50, 120, 51.1, False),
    ],
)  # fmt: skip
def test_a_day_between_known_hours_before_the_job_is_filled(
    first, last, before_h, since_h, is_filled
):
    series = days_with_a_gap(first, last)
    since = None if since_h is None else at_h(since_h)
    filled = fill_history(series, before=at_h(before_h), since=since)
    assert (len(filled.warnings) == 1) == is_filled
    hours = np.arange(first, last + 1)
    if is_filled:
        # Every day is like every other, so the days around it are the day itself.
        assert filled.temp_c[hours] == pytest.approx(20.0 - np.abs(hours % 24 - 12.0))
        assert (filled.dew_c[hours] == 5.0).all()
        (gap,) = filled.gaps
        assert (gap.starts, gap.ends, gap.hours) == (at_h(first), at_h(last), last - first + 1)
        assert gap.mended == "by the days around it"
        assert filled.warnings[0].values == {"count": hours.size}
    else:
        assert filled is series


def test_two_gaps_are_filled_one_by_one_to_meet_the_hours_beside_them():
    # Level days 4 K warmer from the third on: between them the air is led across.
    temp_c = np.where(np.arange(120) < 60, 20.0, 24.0)
    temp_c[[59, 60, 61, 80]] = np.nan
    filled = fill_history(series_of(temp_c), before=at_h(120))
    assert filled.temp_c[[59, 60, 61, 80]] == pytest.approx([21.0, 22.0, 23.0, 24.0], abs=1.01)
    assert [gap.hours for gap in filled.gaps] == [3, 1]


def test_spans_of_a_series_at_their_edges():
    series = days_with_a_gap(10, 12)
    assert series.covers(at_h(3), at_h(3))
    assert series.missing_hours(at_h(9), at_h(10)) == (at_h(10),)
    assert series.missing_hours(at_h(9), at_h(9)) == ()
    assert series.missing_hours(at_h(-1), at_h(0)) == (at_h(-1),)
    assert series.missing_hours(at_h(118.5), at_h(119.5)) == (at_h(120),)
    for first, last, gaps in ((12, 20, 1), (13, 20, 0), (0, 10, 1), (0, 9, 0)):
        assert len(series.slice(at_h(first), at_h(last)).gaps) == gaps
    ends = series.slice(at_h(-5), at_h(0))
    assert ends.epoch_s.tolist() == [JULY_17_S]
    assert series.slice(at_h(119), at_h(130)).epoch_s.tolist() == [JULY_17_S + 119 * 3600]
    for first, last in ((-5, -1), (120, 130)):
        with pytest.raises(OutOfRangeError, match="weather is known from"):
            series.slice(at_h(first), at_h(last))


def test_of_mended_gaps_what_no_other_piece_fills_is_carried():
    gap = Gap(
        what="temperature", starts=at_h(2), ends=at_h(6), hours=5, mended="by a straight line"
    )
    long = series_of(np.arange(10.0), gaps=(gap,))
    early = series_of([50.0, 51.0], first_s=JULY_17_S + 3600.0)
    middle = series_of([60.0], first_s=JULY_17_S + 4 * 3600.0)
    joined = splice([early, middle, long])
    assert joined.temp_c.tolist() == [0, 50, 51, 3, 60, 5, 6, 7, 8, 9]
    spans = [(one.starts, one.ends, one.hours) for one in joined.gaps]
    assert spans == [(at_h(3), at_h(3), 1), (at_h(5), at_h(6), 2)]


def test_an_instant_is_its_seconds_since_1970():
    assert utc_of(-86_400.0) == datetime(1969, 12, 31, tzinfo=UTC)
