from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from builders import HAND, JULY_17_S
from hypothesis import given
from hypothesis import strategies as st

from cureplan.weather.hours.merge import RawRows, hourly_from_rows
from cureplan.weather.hours.resample import fill_coarse_steps


def forecast(hours, temp_c, dew_c=None):
    temp_c = np.asarray(temp_c, dtype=float)
    return RawRows(
        epoch_s=JULY_17_S + 3600.0 * np.asarray(hours, dtype=float),
        temp_c=temp_c,
        dew_c=np.full(temp_c.size, np.nan) if dew_c is None else np.asarray(dew_c, float),
        cloud_frac=np.full(temp_c.size, 0.5),
        origin=np.zeros(temp_c.size, dtype=int),
    )


def test_the_curve_is_that_of_fritsch_and_butland():
    # By hand from the paper's formula: knots 20, 26, 24 °C at 0, 6, 12 h. Slopes 1 and
    # -1/3 K/h change sign, so the middle derivative is 0; the end one is the three-point
    # 1.5 * 1 - 0.5 * (-1/3) = 5/3 K/h. Half-way the cubic Hermite gives
    # (20 + 26) / 2 + 6 / 8 * (5/3 - 0) = 24.25 °C. Tolerance: arithmetic only.
    filled, _, _ = fill_coarse_steps(forecast([0, 6, 12], [20, 26, 24]), origins=(HAND,))
    assert filled.temp_c[3] == pytest.approx(24.25, abs=1e-12)
    assert filled.temp_c[6] == 26.0


@given(
    st.lists(
        st.tuples(st.integers(1, 6), st.floats(-30, 45), st.floats(0, 25)),
        min_size=2,
        max_size=25,
    )
)
def test_each_step_stays_between_its_ends_and_dew_below_air(steps):
    hours = np.cumsum([step for step, _, _ in steps])
    temp_c = np.array([temp for _, temp, _ in steps])
    dew_c = temp_c - np.array([below for _, _, below in steps])
    filled, _, _ = fill_coarse_steps(forecast(hours, temp_c, dew_c), origins=(HAND,))
    assert np.array_equal(
        filled.epoch_s, JULY_17_S + 3600.0 * np.arange(hours[0], hours[-1] + 1)
    )
    for n in range(hours.size - 1):
        within = slice(hours[n] - hours[0], hours[n + 1] - hours[0] + 1)
        low, high = sorted(temp_c[n : n + 2])
        # 1e-9 K: rounding in the cubic.
        assert filled.temp_c[within].min() >= low - 1e-9
        assert filled.temp_c[within].max() <= high + 1e-9
        assert filled.temp_c[within][0] == temp_c[n]
    assert (filled.dew_c <= filled.temp_c + 1e-9).all()


def test_put_in_hours_are_marked_and_named():
    rows = forecast([0, 1, 2, 8, 14, 15, 21], np.arange(7.0))
    filled, origins, gaps = fill_coarse_steps(rows, origins=(HAND,))
    series = hourly_from_rows(filled, origins=origins, phase_s=0.0)
    put_in = [n for n in range(22) if n not in (0, 1, 2, 8, 14, 15, 21)]
    marked = [n for n in range(22) if series.origins[series.origin[n]].kind == "interpolated"]
    assert marked == put_in
    assert origins[1].attribution == HAND.attribution
    assert [(gap.hours, gap.ends - gap.starts) for gap in gaps] == [
        (10, timedelta(hours=10)),
        (5, timedelta(hours=4)),
    ]
    assert np.isnan(series.cloud_frac[put_in]).all()


def test_steps_beyond_six_hours_stay_open():
    filled, _, gaps = fill_coarse_steps(forecast([0, 7, 13], [20, 21, 22]), origins=(HAND,))
    assert (filled.epoch_s - JULY_17_S).tolist() == [3600.0 * h for h in (0, *range(7, 14))]
    assert gaps[0].hours == 5


def test_hourly_rows_come_back_as_they_are():
    rows = forecast([0, 1, 2], [20, 21, 22])
    assert fill_coarse_steps(rows, origins=(HAND,)) == (rows, (HAND,), ())


def test_a_dew_point_that_stops_is_not_carried_on():
    rows = forecast([0, 6, 12, 18], [20, 21, 22, 23], [10, 11, np.nan, np.nan])
    filled, _, _ = fill_coarse_steps(rows, origins=(HAND,))
    assert np.isnan(filled.dew_c).tolist() == [False] * 7 + [True] * 12
    lonely = forecast([0, 6], [20, 21], [10, np.nan])
    assert np.isnan(fill_coarse_steps(lonely, origins=(HAND,))[0].dew_c[1:]).all()


def test_hours_put_in_are_marked_by_the_source_they_lie_between():
    other = replace(HAND, label="another")
    rows = replace(forecast([0, 6, 12], [20, 26, 24]), origin=np.array([0, 1, 1]))
    filled, origins, _ = fill_coarse_steps(rows, origins=(HAND, other))
    labels = [(origins[n].label, origins[n].kind) for n in filled.origin[[0, 3, 6, 9]]]
    assert labels == [
        (HAND.label, HAND.kind),
        (HAND.label, "interpolated"),
        ("another", HAND.kind),
        ("another", "interpolated"),
    ]
