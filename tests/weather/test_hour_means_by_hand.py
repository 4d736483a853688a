"""Means over hours and days led across a gap, each integral and shape worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from builders import HAND, JULY_17_S, at_h

from cureplan.weather.hours import history, resample
from cureplan.weather.hours.merge import RawRows, hourly_from_rows
from cureplan.weather.hours.resample import hour_means


def minutely(minutes, temp_c, dew_c=None) -> RawRows:
    minutes = np.asarray(minutes, float)
    blank = np.full(minutes.size, np.nan)
    return RawRows(
        epoch_s=JULY_17_S + 60.0 * minutes, temp_c=np.broadcast_to(temp_c, minutes.shape),
        dew_c=blank if dew_c is None else np.asarray(dew_c, float), cloud_frac=blank,
        origin=np.zeros(minutes.size, dtype=int),
    )  # fmt: skip


def by_hour(rows: RawRows, phase_s: float = 0.0) -> dict[float, tuple[float, float]]:
    """Air and dew point by the minute they stand for."""
    means, _ = hour_means(rows, phase_s=phase_s)
    minutes = (means.epoch_s - JULY_17_S) / 60.0
    return {
        float(at): (float(t), float(d))
        for at, t, d in zip(minutes, means.temp_c, means.dew_c, strict=True)
    }


TENS = np.arange(0.0, 301.0, 10.0)


def dew_at(known: dict[float, float]) -> np.ndarray:
    return np.array([known.get(at, np.nan) for at in TENS])


def test_means_stand_at_the_minute_of_the_hour_that_is_asked_for():
    # Ten past each hour, of air that warms by a kelvin an hour.
    found = by_hour(minutely(TENS, TENS / 60.0), phase_s=600.0)
    assert list(found) == [10.0, 70.0, 130.0, 190.0, 250.0]
    assert [air for air, _ in found.values()] == pytest.approx(
        [10 / 60, 70 / 60, 130 / 60, 190 / 60, 250 / 60]
    )


@pytest.mark.parametrize(
    ("known", "mean_c"),
    [
        # Two rows half an hour off the hour, an hour and a half apart, and a bit more.
        ({30.0: 4.0, 90.0: 8.0}, 6.0), ({20.0: 4.0, 110.0: 8.5}, 6.0),
        ({20.0: 4.0, 120.0: 9.0}, np.nan), ({60.0: 5.0}, np.nan),
    ],
)  # fmt: skip
def test_a_mean_is_of_the_line_between_rows_that_are_near(known, mean_c):
    _, dew_c = by_hour(minutely(TENS, 20.0, dew_at(known)))[60.0]
    assert dew_c == pytest.approx(mean_c, nan_ok=True)


def test_hours_in_a_gap_and_past_the_last_value_are_not_known():
    # Known until 1 o'clock and again from 4 on; or until 1 alone.
    known = dict.fromkeys(TENS[(TENS <= 60) | (TENS >= 240)], 7.0)
    found = {
        at: dew_c for at, (_, dew_c) in by_hour(minutely(TENS, 20.0, dew_at(known))).items()
    }
    assert found[60.0] == found[240.0] == 7.0
    assert np.isnan([found[120.0], found[180.0]]).all()
    early = dew_at(dict.fromkeys(TENS[TENS <= 60], 7.0))
    found = by_hour(minutely(TENS, 20.0, early))
    assert found[60.0][1] == 7.0
    assert np.isnan([found[at][1] for at in (120.0, 180.0, 240.0, 300.0)]).all()


@pytest.mark.parametrize(("first", "air_c"), [(35.5, 62.75), (37.5, 60.0)])
def test_an_hour_less_known_is_read_off_its_two_neighbours(first, air_c):
    # Rows each minute at its half, of as many degrees: of 54.5 min the mean is that of its
    # ends, 35.5 and 90; of 52.5 none is made.
    minutes = np.arange(first, 151.0)
    assert by_hour(minutely(minutes, minutes))[60.0][0] == pytest.approx(air_c)


def test_known_time_is_flat_across_a_gap():
    at_s = np.array([0.0, 10.0, 20.0, 100.0, 110.0])
    near = np.array([True, True, False, True])
    length_s = np.array([0.0, 10.0, 20.0, 20.0, 30.0])
    when = np.array([-5.0, 0.0, 15.0, 20.0, 60.0, 100.0, 105.0, 110.0, 200.0])
    found = resample._at(when, at_s, length_s, near)
    assert found.tolist() == [0.0, 0.0, 15.0, 20.0, 20.0, 20.0, 25.0, 30.0, 30.0]


def test_areas_are_those_under_the_lines_between_rows():
    at_s, value = np.array([0.0, 10.0, 20.0, 100.0]), np.array([0.0, 10.0, 10.0, 90.0])
    area, near = np.array([0.0, 50.0, 150.0, 150.0]), np.array([True, True, False])
    when = np.array([-5.0, 5.0, 10.0, 15.0, 20.0, 60.0, 100.0, 150.0])
    found = resample._area_at(when, at_s, value, area, near)
    assert found.tolist() == [0.0, 12.5, 50.0, 100.0, 150.0, 150.0, 150.0, 150.0]


@pytest.mark.parametrize(("phase_s", "off"), [(600.0, 0), (0.0, 4), (1200.0, 4)])
def test_rows_off_the_hour_are_told(phase_s, off):
    rows = minutely([10.0, 70.0, 130.0, 190.0], 20.0)
    notes = hourly_from_rows(rows, origins=(HAND,), phase_s=phase_s).notes
    assert [note.values["rows"] for note in notes] == ([off] if off else [])


def test_hours_put_between_coarse_steps_stand_at_the_minute_of_the_rows():
    # Each three hours at ten past: of five hours between two are put in each time.
    rows = minutely([10.0, 190.0, 370.0], [20.0, 23.0, 26.0])
    filled, _, gaps, _ = resample.hours_between(rows, origins=(HAND,), phase_s=600.0)
    minutes = (filled.epoch_s - JULY_17_S) / 60.0
    assert minutes.tolist() == [10.0, 70.0, 130.0, 190.0, 250.0, 310.0, 370.0]
    assert filled.temp_c == pytest.approx([20, 21, 22, 23, 24, 25, 26])
    ((starts, ends, hours),) = [(gap.starts, gap.ends, gap.hours) for gap in gaps]
    assert (starts, ends, hours) == (at_h(70 / 60), at_h(310 / 60), 4)


def test_a_dew_point_is_led_through_its_distance_below_the_air():
    # 10, 7 and 4 K below air of 20 °C: a kelvin less each hour.
    rows = minutely([0.0, 180.0, 360.0], 20.0, [10.0, 13.0, 16.0])
    filled, *_ = resample.fill_coarse_steps(rows, origins=(HAND,))
    assert filled.dew_c == pytest.approx([10, 11, 12, 13, 14, 15, 16])


@pytest.mark.parametrize(("lacks", "known"), [((), True), ((1,), False)])
def test_a_dew_point_is_led_over_six_hours_and_a_half_at_most(lacks, known):
    rows = minutely(
        [0.0, 390.0, 780.0], 20.0, [np.nan if n in lacks else 10.0 for n in range(3)]
    )
    filled, *_ = resample.fill_coarse_steps(rows, origins=(HAND,))
    put_in = ~np.isin(filled.epoch_s, rows.epoch_s)
    assert put_in.sum() == 12
    assert np.array_equal(filled.dew_c[put_in] == 10.0, np.full(12, known))


@pytest.mark.parametrize(("step_min", "filled"), [(90.0, False), (91.0, True)])
def test_steps_of_an_hour_and_a_half_are_left_as_they_are(step_min, filled):
    rows = minutely(step_min * np.arange(4), 20.0)
    found, *_ = resample.fill_coarse_steps(rows, origins=(HAND,))
    assert (found is not rows) == filled


# Gaps filled like the days around them


def test_a_gap_is_as_the_mean_of_the_day_before_and_the_day_after():
    # A day before rises by the square of the hour, a day after not at all: half the square,
    # which meets both ends as it stands.
    hours = np.arange(8.0)
    temp_c = np.zeros(72)
    temp_c[:8], temp_c[24:32] = hours**2, hours**2 / 2
    found = history._like_the_days_around(np.arange(25, 31), temp_c)
    assert found == pytest.approx((hours**2 / 2)[1:7])


def test_a_day_of_which_an_hour_lacks_is_none():
    # The series ends before the hour after the gap comes again: the day before alone is like
    # it, h², led down to 32 at the eighth hour instead of 64.
    hours = np.arange(9.0)
    temp_c = np.zeros(56)
    temp_c[:9], temp_c[32] = hours**2, 32.0
    temp_c[48:] = 77.0
    found = history._like_the_days_around(np.arange(25, 32), temp_c)
    assert found == pytest.approx((hours**2 - 4 * hours)[1:8])


def test_a_whole_day_is_as_those_around_it_with_its_own_hour_for_the_one_that_lacks():
    # The day before rises by a kelvin an hour, the one after by three: two, from 23 °C of the
    # hour before, 46 by the mean, to the hour after, 0 by either.
    hours = np.arange(24.0)
    temp_c = np.zeros(120)
    temp_c[23], temp_c[24:48], temp_c[47] = 23.0, hours, 23.0
    temp_c[48:72] = np.nan
    temp_c[72:96] = 3 * hours
    found = history._like_the_days_around(np.arange(48, 72), temp_c)
    led = -23.0 * (1 - (hours + 1) / 25.0)
    assert found == pytest.approx(2 * hours + led)
