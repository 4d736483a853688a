import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import OutOfRangeError
from cureplan.weather.hours.humidity import dew_from_humidity_c


def test_dew_point_agrees_with_an_independent_library():
    # Published: the documentation of MetPy prints 10 °C, 50 % -> 0.0479 °C (Bolton 1980);
    # the ASHRAE-based psychrolib gives 0.06 °C. Both are fits of the same curve.
    # Tolerance: the fits differ by up to 0.02 K here.
    assert dew_from_humidity_c(10.0, rh_frac=0.5) == pytest.approx(0.0479, abs=0.02)


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


@given(temp_c=st.floats(-40, 50), low=st.floats(0.01, 1), high=st.floats(0.01, 1))
def test_damper_air_has_the_higher_dew_point_and_never_above_the_air(temp_c, low, high):
    low, high = sorted((low, high))
    dry_c, damp_c = dew_from_humidity_c(temp_c, rh_frac=np.array([low, high]))
    assert dry_c <= damp_c <= temp_c + 1e-9


def test_unknown_stays_unknown_and_nonsense_is_refused():
    assert np.isnan(dew_from_humidity_c([20.0, np.nan], rh_frac=[np.nan, 0.5])).all()
    with pytest.raises(OutOfRangeError, match="rh_frac"):
        dew_from_humidity_c(20.0, rh_frac=50.0)
