"""The fit against NumPy's and SciPy's least squares, and against truths we planted."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from cureplan.core.errors import OutOfRangeError
from cureplan.science.fit import fit_kinetics

GAS_J_MOL_K = 8.314462618  # CODATA 2018
PRIOR = {"prior_mean_j_mol": 50e3, "prior_sd_j_mol": 10e3}
REFERENCE_C = 21.0


def lever(temp_c, reference_c=REFERENCE_C):
    """Written out anew: d ln(time) / dE."""
    return (1 / (np.asarray(temp_c) + 273.15) - 1 / (reference_c + 273.15)) / GAS_J_MOL_K


def fit(temp_c, time_s, milestone, spread_frac, **changed):
    return fit_kinetics(
        temp_c,
        time_s,
        milestone,
        **{"spread_frac": spread_frac, "reference_c": REFERENCE_C, **PRIOR, **changed},
    )


# A sheet with two milestones at three temperatures, and one reading that disagrees.
TEMP_C = np.array([10.0, 21.0, 32.0, 15.0, 21.0, 35.0])
TIME_S = np.array([1900.0, 960.0, 520.0, 26_000.0, 18_000.0, 9_500.0])
MILESTONE = np.array([0, 0, 0, 1, 1, 1])
SPREAD = np.array([0.10, 0.05, 0.10, 0.20, 0.10, 0.15])


def test_agrees_with_numpy_least_squares_that_has_the_prior_as_a_row():
    # Independent: the prior enters numpy.linalg.lstsq as a seventh reading of E.
    rows = np.zeros((7, 3))
    rows[:6, 0] = lever(TEMP_C)
    rows[np.arange(6), 1 + MILESTONE] = 1.0
    rows[6, 0] = 1.0
    sd = np.append(SPREAD, PRIOR["prior_sd_j_mol"])
    seen = np.append(np.log(TIME_S), PRIOR["prior_mean_j_mol"])
    # Columns scaled, so that joules and logarithms do not lose digits to each other.
    scale = np.array([1e4, 1.0, 1.0])
    weighted = rows * scale / sd[:, None]
    best, *_ = np.linalg.lstsq(weighted, seen / sd)
    covariance = np.linalg.inv(weighted.T @ weighted) * np.outer(scale, scale)

    got = fit(TEMP_C, TIME_S, MILESTONE, SPREAD)
    assert got.activation_energy_j_mol == pytest.approx(best[0] * 1e4, rel=1e-9)
    assert got.ln_reference_s == pytest.approx(best[1:], rel=1e-12)
    assert got.covariance == pytest.approx(covariance, rel=1e-8)
    assert got.residual_ln == pytest.approx(
        np.log(TIME_S) - rows[:6] @ (best * scale), abs=1e-9
    )


def test_agrees_with_scipy_on_the_curve_itself():
    # Independent: minimise in minutes' logarithms without saying it is linear.
    def misses(guess):
        energy, ln_ref = guess[0] * 1e4, guess[1:]
        modelled = ln_ref[MILESTONE] + energy * lever(TEMP_C)
        prior = (energy - PRIOR["prior_mean_j_mol"]) / PRIOR["prior_sd_j_mol"]
        return np.append((np.log(TIME_S) - modelled) / SPREAD, prior)

    found = least_squares(misses, [3.0, 6.0, 9.0], xtol=1e-15, ftol=1e-15, gtol=1e-15)
    got = fit(TEMP_C, TIME_S, MILESTONE, SPREAD)
    assert got.activation_energy_j_mol == pytest.approx(found.x[0] * 1e4, rel=1e-6)
    assert got.ln_reference_s == pytest.approx(found.x[1:], rel=1e-7)


def test_two_temperatures_without_a_prior_by_hand():
    # Arithmetic: 20 min at 20 °C and 10 min at 30 °C double the rate over those ten
    # degrees, which needs 51.2 kJ/mol (computed; the rule is common practice).
    got = fit([20.0, 30.0], [1200.0, 600.0], [0, 0], 0.01, prior_sd_j_mol=1e9)
    assert got.activation_energy_j_mol == pytest.approx(51_200, abs=50)
    assert got.time_s([20.0, 30.0], 0) == pytest.approx([1200, 600], rel=1e-6)


@pytest.mark.parametrize("at_c", [5.0, 21.0, 38.0])
def test_one_point_returns_the_prior(at_c):
    got = fit([at_c], [960.0], [0], 0.1, reference_c=at_c)
    assert got.activation_energy_j_mol == pytest.approx(50e3, rel=1e-12)
    assert got.energy_sd_j_mol == pytest.approx(10e3, rel=1e-12)
    assert got.reference_s == pytest.approx([960.0], rel=1e-12)
    assert np.sqrt(got.covariance[1, 1]) == pytest.approx(0.1, rel=1e-12)


def test_points_of_several_milestones_at_one_temperature_say_nothing_of_energy():
    got = fit([21.0, 21.0, 21.0], [960.0, 1200.0, 18_000.0], [0, 1, 2], 0.1)
    assert (got.activation_energy_j_mol, got.energy_sd_j_mol) == pytest.approx((50e3, 10e3))


def test_many_points_outweigh_any_prior():
    # Truth 65 kJ/mol; a prior two of its widths away must move the answer by less than
    # the readings' own doubt.
    rng = np.random.default_rng(11)
    temp_c = rng.uniform(8, 38, 400)
    time_s = 960 * np.exp(65e3 * lever(temp_c) + rng.normal(0, 0.1, 400))
    answers = [
        fit(temp_c, time_s, np.zeros(400, int), 0.1, prior_mean_j_mol=mean_j_mol)
        for mean_j_mol in (40e3, 60e3)
    ]
    low, high = (answer.activation_energy_j_mol for answer in answers)
    sd_j_mol = answers[0].energy_sd_j_mol
    assert abs(high - low) < 0.1 * sd_j_mol
    assert abs(low - 65e3) < 3 * sd_j_mol


def test_more_points_narrow_the_doubt():
    narrower = [
        fit(np.tile([15.0, 30.0], n), np.full(2 * n, 900.0), np.zeros(2 * n, int), 0.1)
        for n in (1, 2, 4, 8)
    ]
    widths = [answer.energy_sd_j_mol for answer in narrower]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] < PRIOR["prior_sd_j_mol"]


@pytest.mark.parametrize("level", [0.5, 0.9])
def test_intervals_hold_the_truth_as_often_as_they_say(level):
    # 500 seeded cards: the truth drawn from the prior, four readings each. The share of
    # intervals that hold it is binomial; four of its standard deviations leave 1 in
    # 16,000 to bad luck, and the seed is fixed.
    rng = np.random.default_rng(20_130_717)
    reach = {0.5: 0.674490, 0.9: 1.644854}[level]  # standard normal quantiles
    temp_c = np.array([12.0, 21.0, 21.0, 32.0])
    which = np.array([0, 0, 1, 1])
    held = np.zeros(3)
    for _ in range(500):
        energy = rng.normal(50e3, 10e3)
        ln_ref = rng.normal([6.9, 9.8], 0.5)
        seen = ln_ref[which] + energy * lever(temp_c) + rng.normal(0, 0.1, 4)
        got = fit(temp_c, np.exp(seen), which, 0.1)
        errors = np.append(got.activation_energy_j_mol - energy, got.ln_reference_s - ln_ref)
        held += np.abs(errors) <= reach * np.sqrt(np.diag(got.covariance))
    allowed = 4 * np.sqrt(level * (1 - level) / 500)
    assert held / 500 == pytest.approx(level, abs=allowed)


@given(
    energy_j_mol=st.floats(30e3, 70e3),
    minutes=st.floats(5, 60),
    temps_c=st.lists(st.floats(0, 40), min_size=2, max_size=8, unique=True),
)
def test_noiseless_readings_lie_between_the_truth_and_the_prior(energy_j_mol, minutes, temps_c):
    time_s = minutes * 60 * np.exp(energy_j_mol * lever(temps_c))
    got = fit(temps_c, time_s, np.zeros(len(temps_c), int), 0.05)
    low, high = sorted((energy_j_mol, 50e3))
    assert low - 1 <= got.activation_energy_j_mol <= high + 1
    assert got.energy_sd_j_mol <= 10e3 * (1 + 1e-12)


@given(order=st.permutations(range(6)))
def test_the_order_of_readings_does_not_matter(order):
    order = list(order)
    one = fit(TEMP_C, TIME_S, MILESTONE, SPREAD)
    other = fit(TEMP_C[order], TIME_S[order], MILESTONE[order], SPREAD[order])
    assert other.activation_energy_j_mol == pytest.approx(one.activation_energy_j_mol)
    assert other.covariance == pytest.approx(one.covariance)


@given(factor=st.floats(0.1, 10))
def test_a_slower_watch_only_scales_the_times(factor):
    one = fit(TEMP_C, TIME_S, MILESTONE, SPREAD)
    other = fit(TEMP_C, TIME_S * factor, MILESTONE, SPREAD)
    assert other.activation_energy_j_mol == pytest.approx(one.activation_energy_j_mol)
    assert other.reference_s == pytest.approx(one.reference_s * factor)


GOOD = {"temp_c": [21.0, 30.0], "time_s": [960.0, 500.0], "milestone": [0, 0]}


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"temp_c": [], "time_s": [], "milestone": []}, "one length"),
        ({"temp_c": [21.0]}, "one length"),
        ({"temp_c": [21.0, np.nan]}, "temp_c"),
        ({"temp_c": [21.0, 400.0]}, "temp_c"),
        ({"time_s": [960.0, 0.0]}, "time_s"),
        ({"time_s": [960.0, np.inf]}, "time_s"),
        ({"time_s": [960.0, np.nan]}, "time_s"),
        ({"spread_frac": 0.0}, "spread_frac"),
        ({"spread_frac": np.nan}, "spread_frac"),
        ({"prior_sd_j_mol": 0.0}, "prior_sd_j_mol"),
        ({"prior_mean_j_mol": np.nan}, "prior_mean_j_mol"),
        ({"milestone": [0, 2]}, "milestone"),
        ({"milestone": [1, 1]}, "milestone"),
        ({"milestone": [-1, 0]}, "milestone"),
    ],
)
def test_refuses_readings_that_are_none(changed, word):
    given_ = {**GOOD, "spread_frac": 0.1, "reference_c": REFERENCE_C, **PRIOR, **changed}
    columns = [given_.pop(name) for name in ("temp_c", "time_s", "milestone")]
    with pytest.raises(OutOfRangeError, match=word):
        fit_kinetics(*columns, **given_)
