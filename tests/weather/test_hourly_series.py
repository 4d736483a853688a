from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from builders import HAND, JULY_17_S, series_of
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import OutOfRangeError
from cureplan.core.messages import Message
from cureplan.weather.hours.series import Gap, HourlySeries
from cureplan.weather.providers import hourly

START = datetime(2013, 7, 17, tzinfo=UTC)


def test_between_hours_the_air_is_linear():
    series = series_of([20.0, 24.0, 22.0], dew_c=[10.0, 12.0, np.nan])
    temp_c, dew_c = series.at(JULY_17_S + np.array([0.0, 900.0, 3600.0, 5400.0, 7200.0]))
    assert temp_c.tolist() == [20.0, 21.0, 24.0, 23.0, 22.0]
    assert dew_c[:3].tolist() == [10.0, 10.5, 12.0]
    assert np.isnan(dew_c[3:]).all()


@given(st.lists(st.floats(-40, 50), min_size=2, max_size=30), st.floats(0, 1))
def test_interpolated_air_stays_between_its_two_hours(temps_c, share):
    series = series_of(temps_c)
    steps = share * (len(temps_c) - 1)
    got_c, _ = series.at(JULY_17_S + 3600.0 * steps)
    left = min(int(steps), len(temps_c) - 2)
    # 1e-6 K: an epoch of 1.4e9 s has a spacing of 2.4e-7 s.
    assert min(temps_c[left : left + 2]) - 1e-6 <= got_c <= max(temps_c[left : left + 2]) + 1e-6


@pytest.mark.parametrize("hours", [-0.001, 2.001, np.nan])
def test_outside_the_series_is_refused(hours):
    with pytest.raises(OutOfRangeError, match=r"2013-07-17 00:00 UTC to 2013-07-17 02:00 UTC"):
        series_of([20.0, 21.0, 22.0]).at(JULY_17_S + 3600.0 * hours)


def test_inside_a_gap_is_refused_but_its_edges_are_known():
    series = series_of([20.0, np.nan, np.nan, 23.0])
    assert series.at(JULY_17_S)[0] == 20.0
    assert series.at(JULY_17_S + 3 * 3600.0)[0] == 23.0
    with pytest.raises(
        OutOfRangeError, match=r"no air temperature is known at 2013-07-17 00:30"
    ):
        series.at(JULY_17_S + 1800.0)


def test_cover_needs_the_hour_after_a_broken_end():
    series = series_of([20.0, 21.0, 22.0])
    assert series.covers(START, START + timedelta(hours=2))
    assert not series.covers(START, START + timedelta(hours=2, minutes=1))
    assert not series.covers(START - timedelta(seconds=1), START)


def test_missing_hours_are_named():
    series = series_of([20.0, np.nan, 22.0])
    missing = series.missing_hours(START, START + timedelta(hours=4))
    assert [hour.hour for hour in missing] == [1, 3, 4]


def test_slice_keeps_what_a_span_needs_and_its_gaps():
    early = Gap(what="dew point", starts=START, ends=START, hours=1, mended="no")
    late = Gap(
        what="dew point",
        starts=START + timedelta(hours=5),
        ends=START + timedelta(hours=6),
        hours=2,
        mended="no",
    )
    series = series_of(np.arange(10.0), gaps=(early, late), notes=(Message("as read"),))
    cut = series.slice(START + timedelta(hours=2, minutes=30), START + timedelta(hours=5))
    assert cut.temp_c.tolist() == [2.0, 3.0, 4.0, 5.0]
    assert cut.gaps == (late,)
    assert cut.notes == (Message("as read"),)
    with pytest.raises(OutOfRangeError, match="only"):
        series.slice(START - timedelta(days=2), START - timedelta(days=1))


def test_naive_and_reversed_spans_are_refused():
    series = series_of([20.0, 21.0])
    with pytest.raises(OutOfRangeError, match="offset"):
        series.covers(datetime(2013, 7, 17), START)  # noqa: DTZ001
    with pytest.raises(OutOfRangeError, match="before"):
        series.covers(START + timedelta(hours=1), START)


def test_columns_cannot_be_written_to():
    with pytest.raises(ValueError, match="read-only"):
        series_of([20.0]).temp_c[0] = 1.0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"temp_c": np.zeros(2)}, "temp_c"),
        ({"epoch_s": np.array([0.0, 3600.0, 7201.0])}, "3600"),
        ({"origin": np.array([0, 1, 0])}, "origin"),
        (
            {
                name: np.array([])
                for name in ("epoch_s", "temp_c", "dew_c", "cloud_frac", "origin")
            },
            "one hour",
        ),
    ],
)
def test_a_series_that_contradicts_itself_is_refused(change, message):
    columns = {
        "epoch_s": 3600.0 * np.arange(3),
        "temp_c": np.zeros(3),
        "dew_c": np.zeros(3),
        "cloud_frac": np.zeros(3),
        "origin": np.zeros(3, dtype=int),
    }
    with pytest.raises(OutOfRangeError, match=message):
        HourlySeries(**{**columns, **change}, origins=(HAND,))


@pytest.mark.parametrize(("minutes", "silent_s"), [(0, 0.0), (25, 1500.0)])
def test_a_station_that_gave_the_hour_now_begun_was_silent_since_then(
    monkeypatch, minutes, silent_s
):
    until = START + timedelta(hours=6)
    rows = hourly.ClientRows(
        epoch_s=START.timestamp() + 3600.0 * np.arange(7), temp_c=np.full(7, 20.0),
        dew_c=np.full(7, 10.0), cloud_frac=np.full(7, np.nan), source=("isd_lite",) * 7,
        dropped=0,
    )  # fmt: skip
    monkeypatch.setattr(hourly, "time_series", lambda *_, **__: object())
    monkeypatch.setattr(hourly, "rows_of", lambda _: rows)
    query = SimpleNamespace(provider="history", now=until + timedelta(minutes=minutes))
    span = SimpleNamespace(wanted_from=START, ends=until + timedelta(days=1))
    record = hourly._ask(query, span, SimpleNamespace(key="A"))
    assert (record.share, record.silent_s) == (1.0, silent_s)


@pytest.mark.parametrize("hours", [-1, 4])
def test_no_hour_of_a_series_is_cut_from_beside_it(hours):
    series = series_of([20.0, 21.0, 22.0, 23.0])
    at = series.starts + timedelta(hours=hours)
    with pytest.raises(OutOfRangeError, match="weather is known from"):
        series.slice(at, at)


def test_stations_that_all_lack_an_hour_leave_it_unknown():
    values = np.array([[20.0, np.nan], [23.0, np.nan]])
    weight = np.array([[2.0, 2.0], [1.0, 1.0]])
    mean = hourly._weighed_mean(values, weight)
    assert mean[0] == 21.0
    assert np.isnan(mean[1])


@pytest.mark.parametrize(
    ("share", "silent_s", "odd", "sound"),
    [
        (hourly._LEAST_SHARE, hourly._LONGEST_SILENCE_S, "", True),
        (hourly._LEAST_SHARE - 0.01, 0.0, "", False),
        (1.0, hourly._LONGEST_SILENCE_S + 1.0, "", False),
        (1.0, 0.0, "humidity", False),
    ],
)
def test_a_station_is_sound_with_hours_enough_no_long_silence_and_nothing_odd(
    share, silent_s, odd, sound
):
    record = hourly._Record(
        station=None, rows=None, share=share, silent_s=silent_s, answers=[], odd=odd
    )
    assert record.sound is sound


def test_a_station_that_read_no_vapour_at_all_has_failed():
    # No air is without vapour; at 100 % the dew point is the air's own, by its definition.
    frame = pd.DataFrame(
        {"temp": [20.0] * 4, "rhum": [0.0, 1.0, 100.0, 101.0], "temp_source": ["isd_lite"] * 4},
        index=pd.date_range(START, periods=4, freq="h").tz_localize(None),
    )
    rows = hourly.rows_of(SimpleNamespace(fetch=lambda **_: frame))
    assert np.isnan(rows.dew_c).tolist() == [True, False, False, True]
    assert rows.dew_c[2] == pytest.approx(20.0, abs=1e-6)
    assert rows.dew_c[1] < -30.0
