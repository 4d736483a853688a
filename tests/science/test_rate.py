"""Rate and age: published factors, an ODE solver, and what heat may never do."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from cureplan.core.errors import OutOfRangeError
from cureplan.science.rate import GAS_CONSTANT_J_MOL_K, AgeCurve, rate_factor

PIECE_S = 120.0
PRIOR = {"activation_energy_j_mol": 50e3, "reference_c": 21.0}
# Standards are printed with 273 + T: this much less makes our kelvin theirs.
ROUND_ZERO_K = 0.15
celsius = st.floats(-5, 60)


@pytest.mark.parametrize(("temp_c", "expected"), [(15, 0.585), (35, 1.65)])
def test_cement_factors_of_bentz(temp_c, expected):
    # Published: Bentz, NIST, text beside Table IX: 38.2 kJ/mol, to 25 °C. Tolerance: a
    # unit of the coarser number's last digit would be 0.01; both keep 0.002.
    got = rate_factor(temp_c, activation_energy_j_mol=38_200, reference_c=25)
    assert got == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize(
    ("temp_c", "expected"),
    [(0, 0.151), (5, 0.293), (10, 0.497), (30, 1.574), (40, 2.406)],
)
def test_freiesleben_hansen_and_pedersen(temp_c, expected):
    # Form: TI-B 103 (Danish Technological Institute), printed with 293 and 273 + T;
    # B = 33.5 and C = 1.47 kJ/mol (Freiesleben Hansen & Pedersen 1977) from memory;
    # factors computed from those. With 273.15 they move by less than 0.001.
    energy_j_mol = 33_500 + 1470 * max(0, 20 - temp_c)
    got = rate_factor(temp_c, activation_energy_j_mol=energy_j_mol, reference_c=20)
    assert got == pytest.approx(expected, abs=0.003)


@pytest.mark.parametrize(
    ("temp_c", "expected"),
    [
        (0, 0.367),
        (5, 0.478),
        (10, 0.616),
        (15, 0.788),
        (20, 0.998),
        (25, 1.255),
        (30, 1.566),
        (40, 2.388),
    ],
)
def test_concrete_maturity_of_en_1992(temp_c, expected):
    # Published: EN 1992-1-1, eq. B.10, exp(13.65 - 4000/(273 + T)), seen in an open
    # code's docstring; values computed from it. It is 1 at 20.04 °C, not at 20.
    got = rate_factor(
        temp_c - ROUND_ZERO_K,
        activation_energy_j_mol=4000 * GAS_CONSTANT_J_MOL_K,
        reference_c=4000 / 13.65 - 273 - ROUND_ZERO_K,
    )
    assert got == pytest.approx(expected, abs=0.001)


@pytest.mark.parametrize(("temp_c", "expected"), [(10, 0.460), (30, 1.477), (40, 2.503)])
def test_equivalent_age_of_astm_c1074(temp_c, expected):
    # Equation and its default Q = 5000 K from memory of ASTM C1074; reference 23 °C;
    # values computed from it with 273 + T.
    got = rate_factor(
        temp_c - ROUND_ZERO_K,
        activation_energy_j_mol=5000 * GAS_CONSTANT_J_MOL_K,
        reference_c=23 - ROUND_ZERO_K,
    )
    assert got == pytest.approx(expected, abs=0.001)


def test_temperatures_are_not_averaged():
    # Computed from ASTM C1074's equation: 12 h at 10 °C and 12 h at 30 °C are 23.25 h at
    # 23 °C; their mean temperature would make it 20.19 h.
    kinetics = {
        "activation_energy_j_mol": 5000 * GAS_CONSTANT_J_MOL_K,
        "reference_c": 23.0,
        "piece_s": PIECE_S,
    }
    hours = np.array([0, 12, 12 + 1e-6, 24]) * 3600
    stepped = AgeCurve(hours, [10, 10, 30, 30], **kinetics)
    level = AgeCurve(hours, [20, 20, 20, 20], **kinetics)
    assert stepped.age_s(24 * 3600) / 3600 == pytest.approx(23.25, abs=0.02)
    assert level.age_s(24 * 3600) / 3600 == pytest.approx(20.19, abs=0.02)


@pytest.mark.parametrize(("temp_c", "linear"), [(10, 0.667), (40, 1.667)])
def test_the_linear_rule_of_nurse_and_saul_is_left_behind(temp_c, linear):
    # Datum -10 °C (from memory), reference 20 °C: (T + 10)/30, exact. A contrast: for
    # Freiesleben Hansen & Pedersen's cement the straight line is a third too fast in
    # the cold and a third too slow in the heat, which is why none is used here.
    assert (temp_c + 10) / 30 == pytest.approx(linear, abs=0.0005)
    energy_j_mol = 33_500 + 1470 * max(0, 20 - temp_c)
    got = rate_factor(temp_c, activation_energy_j_mol=energy_j_mol, reference_c=20)
    ratio = float(got) / linear
    assert ratio == pytest.approx(0.745 if temp_c == 10 else 1.443, abs=0.005)


@pytest.mark.parametrize(
    ("cold_c", "energy_kj_mol"), [(15, 49.5), (20, 51.2), (25, 52.9), (30, 54.7)]
)
def test_energy_that_doubles_the_rate_in_ten_degrees(cold_c, energy_kj_mol):
    # The rule is common practice (and approximate: Leenson, J. Chem. Educ.); energies
    # computed from it. Tolerance: 0.05 kJ/mol of rounding is 0.0015 in the ratio.
    ratio = rate_factor(
        cold_c + 10, activation_energy_j_mol=energy_kj_mol * 1e3, reference_c=cold_c
    )
    assert ratio == pytest.approx(2.0, abs=0.0015)


@pytest.mark.parametrize(
    ("energy_kj_mol", "q10"), [(40, 1.72), (50, 1.97), (60, 2.25), (70, 2.58)]
)
def test_q10_between_20_and_30_degrees(energy_kj_mol, q10):
    # Computed from Arrhenius, printed to 0.01.
    ratio = rate_factor(30, activation_energy_j_mol=energy_kj_mol * 1e3, reference_c=20)
    assert ratio == pytest.approx(q10, abs=0.005)


@given(
    temp_c=celsius, warmer_k=st.floats(0, 40), energy_j_mol=st.floats(0, 90e3), ref_c=celsius
)
def test_hotter_is_never_slower(temp_c, warmer_k, energy_j_mol, ref_c):
    kinetics = {"activation_energy_j_mol": energy_j_mol, "reference_c": ref_c}
    assert rate_factor(temp_c + warmer_k, **kinetics) >= rate_factor(temp_c, **kinetics)


@given(temp_c=celsius, ref_c=celsius, other_c=celsius)
def test_a_change_of_reference_only_scales(temp_c, ref_c, other_c):
    energy = {"activation_energy_j_mol": 50e3}
    direct = rate_factor(temp_c, reference_c=ref_c, **energy)
    over = rate_factor(temp_c, reference_c=other_c, **energy) * rate_factor(
        other_c, reference_c=ref_c, **energy
    )
    assert over == pytest.approx(direct, rel=1e-12)


def summer_history():
    """Four days of a slab in a heat wave: daily and half-daily waves, some noise, hourly."""
    hours = np.arange(97.0)
    noise = np.random.default_rng(7).normal(0, 0.4, hours.size)
    wave = 4.0 * np.sin(2 * np.pi * (hours - 9) / 24) + 1.5 * np.sin(2 * np.pi * hours / 12)
    return hours * 3600.0, 30.0 + wave + noise


def test_inverse_agrees_with_an_ode_solver_within_a_hundredth_of_a_minute():
    # Independent: SciPy's DOP853 from row to row, ages met by root finding. Measured:
    # 0.0014 min at worst.
    times_s, temps_c = summer_history()
    curve = AgeCurve(times_s, temps_c, piece_s=PIECE_S, **PRIOR)

    def rate(time_s, _age):
        kelvin = np.interp(time_s, times_s, temps_c) + 273.15
        return [np.exp(-50e3 / 8.314462618 * (1 / kelvin - 1 / 294.15))]

    pieces, begun = [], 0.0
    for first_s, last_s in pairwise(times_s):
        run = solve_ivp(
            rate, (first_s, last_s), [begun],
            method="DOP853", rtol=1e-11, atol=1e-9, dense_output=True,
        )  # fmt: skip
        pieces.append(run.sol)
        begun = run.y[0, -1]

    def age_s(time_s):
        return pieces[min(int(time_s // 3600), len(pieces) - 1)](time_s)[0]

    starts_s = np.random.default_rng(3).uniform(0, 60 * 3600, 40)
    ages_s = np.geomspace(600, 30 * 3600, 40)
    got_s = curve.when(start_s=starts_s, age_s=ages_s)
    worst_min = 0.0
    for start_s, age, got in zip(starts_s, ages_s, got_s, strict=True):
        due = age_s(start_s) + age
        true_s = brentq(lambda t, due=due: age_s(t) - due, start_s, times_s[-1], xtol=1e-6)
        worst_min = max(worst_min, abs(got - true_s) / 60)
    assert worst_min < 0.01


@given(start_h=st.floats(0, 90), age_s=st.floats(0, 50_000), later_h=st.floats(0, 5))
def test_when_gives_back_the_age_and_keeps_order(start_h, age_s, later_h):
    curve = AgeCurve(*summer_history(), piece_s=PIECE_S, **PRIOR)
    start_s = start_h * 3600
    when_s = float(curve.when(start_s=start_s, age_s=age_s))
    if np.isfinite(when_s):
        gained = curve.age_s(when_s) - curve.age_s(start_s)
        assert gained == pytest.approx(age_s, abs=1e-6)
        assert when_s >= start_s - 1e-6
    assert curve.when(start_s=start_s + later_h * 3600, age_s=age_s) >= when_s - 1e-6


@given(warmer_k=st.floats(0, 15), age_s=st.floats(1, 40_000))
def test_a_warmer_history_is_never_later(warmer_k, age_s):
    times_s, temps_c = summer_history()
    as_is = AgeCurve(times_s, temps_c, piece_s=PIECE_S, **PRIOR)
    warmer = AgeCurve(times_s, temps_c + warmer_k, piece_s=PIECE_S, **PRIOR)
    both = {"start_s": 3600.0, "age_s": age_s}
    assert warmer.when(**both) <= as_is.when(**both)


def test_an_age_beyond_the_history_is_never_reached():
    curve = AgeCurve([0, 3600], [21, 21], piece_s=PIECE_S, **PRIOR)
    assert curve.when(start_s=0, age_s=3601) == np.inf
    assert curve.when(start_s=1800, age_s=-1801) == -np.inf


@pytest.mark.parametrize("temp_c", [-41, 121, np.nan, [20.0, np.nan]])
def test_refuses_temperatures_no_cure_has(temp_c):
    with pytest.raises(OutOfRangeError, match="temp_c must lie within"):
        rate_factor(temp_c, **PRIOR)


@pytest.mark.parametrize(
    ("kinetics", "word"),
    [
        ({"activation_energy_j_mol": -1.0, "reference_c": 21.0}, "activation_energy_j_mol"),
        ({"activation_energy_j_mol": np.nan, "reference_c": 21.0}, "activation_energy_j_mol"),
        ({"activation_energy_j_mol": 50e3, "reference_c": -300.0}, "reference_c"),
        ({"activation_energy_j_mol": 50e3, "reference_c": np.nan}, "reference_c"),
    ],
)
def test_refuses_kinetics_that_are_none(kinetics, word):
    with pytest.raises(OutOfRangeError, match=word):
        rate_factor(20.0, **kinetics)


@pytest.mark.parametrize(
    ("time_s", "temp_c", "piece_s", "word"),
    [
        ([0], [20], 60.0, "one length"),
        ([0, 1], [20, 20, 20], 60.0, "one length"),
        ([0, 0], [20, 20], 60.0, "rise"),
        ([0, np.nan], [20, 20], 60.0, "rise"),
        ([0, 1], [20, 20], 0.0, "piece_s"),
        ([0, 1], [20, np.nan], 60.0, "temp_c"),
    ],
)
def test_refuses_a_history_that_is_none(time_s, temp_c, piece_s, word):
    with pytest.raises(OutOfRangeError, match=word):
        AgeCurve(time_s, temp_c, piece_s=piece_s, **PRIOR)


@pytest.mark.parametrize("at_s", [-1.0, 3601.0, np.nan])
def test_refuses_to_look_outside_the_history(at_s):
    curve = AgeCurve([0, 3600], [21, 21], piece_s=PIECE_S, **PRIOR)
    with pytest.raises(OutOfRangeError, match="outside"):
        curve.when(start_s=at_s, age_s=0.0)


def test_one_piece_over_an_hours_ramp_is_good_to_half_a_second():
    # 20 to 32 °C in an hour, in one piece, against SciPy's quadrature: Simpson's rule is
    # good to 7e-5 here, where a trapezoid is 5 % off.
    curve = AgeCurve([0, 3600], [20, 32], piece_s=3600.0, **PRIOR)
    exact_s, _ = quad(
        lambda t: np.exp(-50e3 / 8.314462618 * (1 / (293.15 + t / 300) - 1 / 294.15)), 0, 3600
    )
    assert curve.age_s(3600) == pytest.approx(exact_s, abs=0.5)
