from datetime import UTC, datetime

import numpy as np
import pytest
from builders import HAND, JULY_17_S, series_of
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import OutOfRangeError
from cureplan.core.messages import Message
from cureplan.weather.hours.history import fill_history
from cureplan.weather.hours.merge import RawRows, hourly_from_rows
from cureplan.weather.hours.resample import hour_means, hours_between
from cureplan.weather.hours.series import utc_of


def rows_at(hours, temp_c, dew_c=None, cloud_frac=None):
    hours = np.asarray(hours, dtype=float)
    blank = np.full(hours.size, np.nan)
    return RawRows(
        epoch_s=JULY_17_S + 3600.0 * hours,
        temp_c=np.asarray(temp_c, dtype=float),
        dew_c=blank if dew_c is None else np.asarray(dew_c, dtype=float),
        cloud_frac=blank if cloud_frac is None else np.asarray(cloud_frac, dtype=float),
        origin=np.zeros(hours.size, dtype=int),
    )


def hourly(*args, phase_s=0.0):
    return hourly_from_rows(rows_at(*args), origins=(HAND,), phase_s=phase_s)


def test_three_missing_hours_are_bridged_marked_and_named():
    series = hourly([0, 1, 5, 6], [20, 20, 28, 29], [10, 10, 14, 15])
    assert series.temp_c.tolist() == [20, 20, 22, 24, 26, 28, 29]
    kinds = [series.origins[n].kind for n in series.origin]
    assert kinds == ["file", "file", *["interpolated"] * 3, "file", "file"]
    air, dew = series.gaps
    assert (air.what, dew.what) == ("temperature", "dew point")
    assert (air.starts.hour, air.ends.hour, air.hours) == (2, 4, 3)
    assert air.mended == "by a straight line"


def test_four_missing_hours_stay_missing():
    series = hourly([0, 1, 6], [20, 20, 28])
    assert np.isnan(series.temp_c[2:6]).all()
    (gap,) = series.gaps
    assert (gap.hours, gap.mended) == (4, "no")
    assert gap.starts == datetime(2013, 7, 17, 2, tzinfo=UTC)


def test_empty_cells_count_like_missing_rows():
    by_cell = hourly([0, 1, 2, 3], [20, np.nan, np.nan, 26])
    by_row = hourly([0, 3], [20, 26])
    assert by_cell.temp_c.tolist() == by_row.temp_c.tolist() == [20, 22, 24, 26]
    assert by_cell.gaps == by_row.gaps


def test_a_dew_point_gap_leaves_the_temperature_alone():
    series = hourly([0, 1, 2, 3, 4, 5, 6], [20] * 7, [10, *[np.nan] * 4, 15, np.nan])
    assert (series.temp_c == 20).all()
    assert np.isnan(series.dew_c).tolist() == [False, *[True] * 4, False, True]
    assert [(gap.what, gap.hours) for gap in series.gaps] == [
        ("dew point", 4),
        ("dew point", 1),
    ]
    assert (series.origin == 0).all()


def test_cloud_is_never_guessed_across_missing_hours():
    series = hourly([0, 1, 2], [20, 21, 22], None, [0.2, np.nan, 0.6])
    assert np.isnan(series.cloud_frac).tolist() == [False, True, False]


def test_rows_at_nine_to_the_hour_are_read_at_whole_hours():
    # A record at :51 rising 1 K an hour: at the whole hour it is 9 minutes further on.
    series = hourly(np.arange(5) - 0.15, np.arange(5.0))
    assert series.temp_c == pytest.approx(np.arange(4) + 0.15, abs=1e-9)
    assert series.epoch_s[0] == JULY_17_S
    assert series.gaps == ()
    assert series.notes == (Message("weather.off_hour", {"rows": 5, "count": 5}),)


def test_an_hour_that_begins_and_ends_between_rows_is_the_mean_of_their_lines():
    # Rows at :05, :20, :35 and :50. Level until 01:20, then 1 K a row: of the hour round
    # 01:00 the last ten minutes rise to 2/3 K, and the two after it rise on from there.
    epoch_s = JULY_17_S + 300.0 + 900.0 * np.arange(20)
    temp_c = np.maximum(0.0, np.arange(20) - 5.0)
    nothing = np.full(20, np.nan)
    rows = RawRows(
        epoch_s=epoch_s, temp_c=temp_c, dew_c=nothing, cloud_frac=nothing,
        origin=np.zeros(20, dtype=int),
    )  # fmt: skip
    means, _ = hour_means(rows, phase_s=0.0)
    by_hand = [10 / 60 * (2 / 3) / 2, 2 / 3 + 2, 2 / 3 + 6]
    assert means.temp_c[:3] == pytest.approx(by_hand, abs=1e-9)


@pytest.mark.parametrize("number", [0, 3])
def test_a_gap_of_the_first_or_last_day_is_filled_by_the_one_beside_it(number):
    # A day that is coldest at six, and another at the far end that is level.
    day = 10.0 + np.abs(np.arange(24.0) - 6.0)
    days = [day] * 4
    days[3 - number] = np.full(24, 20.0)
    temp_c = np.concatenate(days)
    gap = 24 * number + np.arange(5, 8)
    temp_c[gap] = np.nan
    series = series_of(temp_c)
    filled = fill_history(series, before=utc_of(float(series.epoch_s[-1])))
    assert filled.temp_c[gap] == pytest.approx([11.0, 10.0, 11.0])


def test_a_zone_half_an_hour_off_keeps_its_own_hours():
    series = hourly([0.5, 1.5, 2.5], [20, 21, 22], phase_s=1800.0)
    assert series.temp_c.tolist() == [20, 21, 22]
    assert series.notes == ()


@given(st.lists(st.floats(-40, 50), min_size=2, max_size=40), st.data())
def test_what_a_source_gives_is_never_changed(temps_c, data):
    keep = data.draw(
        st.lists(st.booleans(), min_size=len(temps_c), max_size=len(temps_c)), label="keep"
    )
    hours = [n for n, kept in enumerate(keep) if kept] or [0]
    series = hourly(hours, [temps_c[n] for n in hours])
    for n in hours:
        assert series.temp_c[n - hours[0]] == temps_c[n]
    # Every hour of the grid is known from the source, mended and marked, or a named gap.
    told = sum(gap.hours for gap in series.gaps)
    assert series.temp_c.size == len(hours) + told
    assert np.isnan(series.temp_c).sum() == sum(
        g.hours for g in series.gaps if g.mended == "no"
    )


def test_rows_within_one_hour_are_refused():
    with pytest.raises(OutOfRangeError, match="whole hour"):
        hourly([0.2, 0.8], [20, 21])


def test_steps_of_three_hours_in_a_zone_half_an_hour_off_are_filled_at_its_own_hours():
    rows = rows_at([0.5, 3.5, 6.5], [20, 23, 26])
    filled, *_ = hours_between(rows, origins=(HAND,), phase_s=1800.0)
    at_h = (filled.epoch_s - JULY_17_S) / 3600.0
    assert at_h.tolist() == [0.5, 1.5, 2.5, 3.5, 4.5, 5.5, 6.5]
    assert filled.temp_c == pytest.approx([20, 21, 22, 23, 24, 25, 26])
