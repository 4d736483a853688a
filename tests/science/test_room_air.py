"""Room air: the lag is exact, whatever the step, and never overshoots."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.integrate import solve_ivp

from cureplan.core.errors import OutOfRangeError
from cureplan.science.room_air import drifting_air_c, held_air_c, open_air_c

HOURS_S = np.arange(0, 49) * 3600.0
LAG_S = 5 * 3600.0


def test_drift_matches_an_independent_integration():
    # scipy's adaptive integrator on the same equation; 1e-9 K is its own tolerance.
    outdoor = 22 + 8 * np.sin(2 * np.pi * HOURS_S / 86_400) + np.cos(HOURS_S / 5000)
    exact = [18.0]
    for piece in range(HOURS_S.size - 1):
        ends = slice(piece, piece + 2)
        step = solve_ivp(
            lambda t, room, e=ends: (np.interp(t, HOURS_S[e], outdoor[e]) + 1.5 - room) / LAG_S,
            (HOURS_S[piece], HOURS_S[piece + 1]),
            [exact[-1]],
            rtol=1e-11,
            atol=1e-11,
        )
        exact.append(float(step.y[0, -1]))
    got = drifting_air_c(HOURS_S, outdoor_c=outdoor, start_c=18, lag_s=LAG_S, gain_k=1.5)
    assert got[:, 0] == pytest.approx(exact, abs=1e-8)


def test_step_closes_63_percent_in_one_lag():
    # Definition of a first-order lag.
    got = drifting_air_c([0, LAG_S], outdoor_c=[30, 30], start_c=20, lag_s=LAG_S, gain_k=0)
    assert got[1, 0] == pytest.approx(20 + 10 * (1 - np.exp(-1)))


def test_daily_swing_shrinks_and_lags_as_first_order_theory_says():
    # Amplitude 1/sqrt(1 + (w·lag)²), delay arctan(w·lag)/w; 5 min rows, settled.
    times_s = np.arange(0, 6 * 86_400, 300.0)
    w = 2 * np.pi / 86_400
    got = drifting_air_c(
        times_s, outdoor_c=np.sin(w * times_s), start_c=0, lag_s=LAG_S, gain_k=0
    )[:, 0]
    late = times_s >= 5 * 86_400
    expected = np.sin(w * times_s - np.arctan(w * LAG_S)) / np.hypot(1, w * LAG_S)
    assert got[late] == pytest.approx(expected[late], abs=1e-4)


def test_one_long_step_equals_many_short_ones():
    coarse = drifting_air_c([0, 86_400], outdoor_c=[10, 34], start_c=5, lag_s=LAG_S, gain_k=2)
    times_s = np.linspace(0, 86_400, 1000)
    fine = drifting_air_c(
        times_s, outdoor_c=np.linspace(10, 34, 1000), start_c=5, lag_s=LAG_S, gain_k=2
    )
    assert coarse[-1] == pytest.approx(fine[-1], abs=1e-9)


def test_columns_have_their_own_lag_gain_and_start():
    outdoor = np.tile([[20.0], [30.0], [30.0]], (1, 2))
    both = drifting_air_c(
        [0, 3600, 9000], outdoor_c=outdoor, start_c=[20, 15], lag_s=[3600, 7200], gain_k=[0, 3]
    )
    alone = drifting_air_c(
        [0, 3600, 9000], outdoor_c=[20, 30, 30], start_c=15, lag_s=7200, gain_k=3
    )
    assert both.shape == (3, 2)
    assert both[:, 1] == pytest.approx(alone[:, 0])


def test_one_weather_serves_many_columns():
    many = drifting_air_c(
        [0, 3600], outdoor_c=[20, 30], start_c=20, lag_s=[3600, 7200, 1e6], gain_k=0
    )
    assert many.shape == (2, 3)
    assert np.all(np.diff(many[1]) < 0)


@given(
    outdoor=arrays(np.float64, 20, elements=st.floats(-40, 50)),
    hotter=arrays(np.float64, 20, elements=st.floats(0, 30)),
    lag_s=st.floats(1, 1e7),
    step_s=st.floats(1, 1e5),
)
def test_hotter_weather_never_cools_the_room(outdoor, hotter, lag_s, step_s):
    times_s = np.arange(20) * step_s
    common = {"start_c": 20, "lag_s": lag_s, "gain_k": 1}
    plain = drifting_air_c(times_s, outdoor_c=outdoor, **common)
    warm = drifting_air_c(times_s, outdoor_c=outdoor + hotter, **common)
    assert np.all(warm >= plain - 1e-9)
    assert plain.min() >= min(20, outdoor.min() + 1) - 1e-9
    assert plain.max() <= max(20, outdoor.max() + 1) + 1e-9


def test_held_and_open_rooms():
    assert held_air_c(HOURS_S, set_point_c=21).tolist() == [[21.0]] * HOURS_S.size
    weather = np.linspace(10, 30, HOURS_S.size)
    assert open_air_c(HOURS_S, outdoor_c=weather)[:, 0].tolist() == weather.tolist()


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"lag_s": 0}, "lag_s must be > 0 s"),
        ({"gain_k": np.nan}, "gain_k must be a finite number"),
        ({"outdoor_c": [20, np.nan]}, "outdoor_c must be a finite number"),
        ({"outdoor_c": [20, 21, 22]}, r"outdoor_c must have the shape \(2, columns\)"),
        ({"elapsed_s": [3600, 0]}, "row of increasing times"),
        ({"start_c": [1, 2], "lag_s": [1, 2, 3]}, "must agree on the columns"),
    ],
)
def test_drift_refuses(change, named):
    given_ = {
        "elapsed_s": [0, 3600],
        "outdoor_c": [20, 30],
        "start_c": 20,
        "lag_s": 3600,
        "gain_k": 0,
        **change,
    }
    with pytest.raises(OutOfRangeError, match=named):
        drifting_air_c(given_.pop("elapsed_s"), **given_)
