"""A card's points come back from the reference procedure that stands behind them."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.special import erfcx

from cureplan.core.errors import OutOfRangeError
from cureplan.science.kit import KitPhysics, run_bucket
from cureplan.science.procedure import procedure_ages_s, procedure_kinetics

KIT = KitPhysics(
    activation_energy_j_mol=50e3,
    reference_c=21.0,
    liquids_capacity_j_k=8910.0,
    filler_capacity_j_k=11_424.0,
    liquids_mix_s=150.0,
    filler_mix_s=180.0,
    liquid_stage_share=0.2,
    heat_rise_k=8.0,
    working_age_s=1200.0,
    mixing_power_w=150.0,
    exchange_w_k=2.0,
    volumetric_heat_j_m3_k=2.17e6,
)
FLOOR = {"haul_s": 60.0, "film_m": 0.0032, "slab_effusivity": 1683.0}
PRIOR = {"prior_mean_j_mol": 50e3, "prior_sd_j_mol": 10e3}
MINUTES = np.array([16.0, 20.0, 26.0, 300.0, 1440.0])


def fitted(at_c, minutes, milestone, kit=KIT, *, spread_frac=0.1, **prior):
    return procedure_kinetics(
        at_c,
        np.asarray(minutes) * 60,
        milestone,
        spread_frac=spread_frac,
        reference_c=21.0,
        working=1,
        kit=kit,
        **{**PRIOR, **prior},
        **FLOOR,
    )


def procedure(kit, at_c):
    return run_bucket(
        at_c, at_c, at_c, at_c, FLOOR["haul_s"],
        kit=kit, speed=1.0, film_m=FLOOR["film_m"], slab_effusivity=FLOOR["slab_effusivity"],
    )  # fmt: skip


@settings(max_examples=25)
@given(
    heat_rise_k=st.floats(0, 20),
    share=st.floats(0, 1),
    power_w=st.floats(0, 400),
    exchange_w_k=st.floats(0, 10),
    at_c=st.floats(10, 32),
)
def test_one_temperature_comes_back_to_a_millionth_of_a_minute(
    heat_rise_k, share, power_w, exchange_w_k, at_c
):
    kit = replace(
        KIT,
        heat_rise_k=heat_rise_k,
        liquid_stage_share=share,
        mixing_power_w=power_w,
        exchange_w_k=exchange_w_k,
    )
    found, fit = procedure_kinetics(
        np.full(5, at_c), MINUTES * 60, np.arange(5), spread_frac=0.1, reference_c=at_c,
        working=1, kit=kit, **PRIOR, **FLOOR,
    )  # fmt: skip
    path = procedure(found, at_c)
    got_min = np.array([float(path.when_s(age_s)[0]) for age_s in fit.reference_s]) / 60
    assert got_min == pytest.approx(MINUTES, abs=1e-6)
    # The ages themselves are what the reference procedure has at those minutes, to 1e-6 min.
    again_s = procedure_ages_s(at_c, MINUTES * 60, kit=found, **FLOOR)
    assert fit.reference_s / 60 == pytest.approx(again_s / 60, abs=1e-6)
    # One temperature says nothing of the energy.
    assert fit.activation_energy_j_mol == pytest.approx(50e3, rel=1e-9)
    assert found.working_age_s == pytest.approx(fit.reference_s[1], rel=1e-12)


def solver_minutes(energy_j_mol, at_c, ages_s, *, rise_k, working_age_s):
    """Independent: the reference procedure at one temperature by SciPy, minutes to each age."""
    heat_w = rise_k * 20_334.0 / working_age_s

    def rate(temp_c):
        inverse = 1 / (temp_c + 273.15) - 1 / 294.15
        return np.exp(-energy_j_mol / 8.314462618 * inverse)

    def stage(start, lasts_s, capacity_j_k, share, power_w):
        def slope(_t, y):
            aging = share * rate(y[0])
            return [(heat_w * aging + power_w - 2.0 * (y[0] - at_c)) / capacity_j_k, aging]

        run = solve_ivp(slope, (0, lasts_s), start, rtol=1e-10, atol=1e-10)
        return run.y[:, -1]

    liquids_c, age_s = stage([at_c, 0.0], 150.0, 8910.0, 0.2, 150.0)
    mixed_c = (8910 * liquids_c + 11_424 * at_c) / 20_334
    temp_c, age_s = stage([mixed_c, age_s], 180.0, 20_334.0, 1.0, 150.0)
    temp_c, age_s = stage([temp_c, age_s], 60.0, 20_334.0, 1.0, 0.0)
    beta = 1683.0 / (2.17e6 * 0.0032)
    run = solve_ivp(
        lambda root, _a: [2 * root * rate(at_c + (temp_c - at_c) * erfcx(beta * root))],
        (0, 140.0), [age_s], rtol=1e-10, atol=1e-8, dense_output=True,
    )  # fmt: skip
    roots = np.linspace(0, 140.0, 20_001)
    return (240.0 + np.interp(ages_s, run.sol(roots)[0], roots**2)) / 60


@pytest.mark.parametrize("truth_j_mol", [38e3, 50e3, 65e3])
def test_two_temperatures_give_the_reactions_own_energy(truth_j_mol):
    # Planted: ages of a known kit, watched at 12, 21 and 32 °C. Fitting those minutes
    # as they stand would give an energy some 3 to 6 kJ/mol too high, because a batch
    # mixed on a hot day also warms itself faster.
    ages_s = np.array([1081.0, 1327.0, 1694.0])
    temps_c = [12.0, 21.0, 32.0]
    minutes = [
        solver_minutes(truth_j_mol, at_c, ages_s, rise_k=8.0, working_age_s=1327.0)
        for at_c in temps_c
    ]
    kit, fit = fitted(
        np.repeat(temps_c, 3), np.ravel(minutes), np.tile([0, 1, 2], 3), prior_sd_j_mol=1e8
    )
    assert fit.activation_energy_j_mol == pytest.approx(truth_j_mol, abs=20)
    assert fit.reference_s == pytest.approx(ages_s, rel=1e-3)
    assert kit.activation_energy_j_mol == fit.activation_energy_j_mol


def test_running_the_procedure_at_either_point_returns_it():
    minutes = [16.0, 20.0, 9.0, 11.3]
    kit, fit = fitted([21.0, 21.0, 32.0, 32.0], minutes, [0, 1, 0, 1], prior_sd_j_mol=1e8)
    got_min = [
        float(procedure(kit, at_c).when_s(fit.reference_s[which])[0]) / 60
        for at_c, which in ((21.0, 0), (21.0, 1), (32.0, 0), (32.0, 1))
    ]
    # Two ratios, one energy: the four are met to the little by which they disagree.
    assert got_min == pytest.approx(minutes, rel=0.005)


def test_the_prior_still_pulls_a_single_pair():
    loose, tight = (
        fitted([21.0, 21.0, 32.0], [16.0, 20.0, 5.5], [0, 1, 0], prior_sd_j_mol=sd)[1]
        for sd in (1e8, 2e3)
    )
    assert abs(tight.activation_energy_j_mol - 50e3) < 0.2 * abs(
        loose.activation_energy_j_mol - 50e3
    )


@given(after_min=st.floats(4.1, 900), later_min=st.floats(0, 600), at_c=st.floats(5, 40))
def test_age_only_grows_and_hotter_procedures_are_older(after_min, later_min, at_c):
    after_s = np.array([after_min, after_min + later_min]) * 60
    ages_s = procedure_ages_s(at_c, after_s, kit=KIT, **FLOOR)
    assert ages_s[1] >= ages_s[0] > 0
    hotter_s = procedure_ages_s(at_c + 3.0, after_s, kit=KIT, **FLOOR)
    assert np.all(hotter_s > ages_s)


def test_beyond_the_path_the_age_goes_on_at_the_slabs_rate():
    ages_s = procedure_ages_s(21.0, [5 * 3600.0, 6 * 3600.0], kit=KIT, **FLOOR)
    assert ages_s[1] - ages_s[0] == pytest.approx(3600.0, rel=1e-9)


@pytest.mark.parametrize("after_s", [240.0, 100.0, -1.0, np.nan])
def test_refuses_times_before_the_batch_is_poured(after_s):
    with pytest.raises(OutOfRangeError, match="poured"):
        procedure_ages_s(21.0, after_s, kit=KIT, **FLOOR)


def test_refuses_a_card_whose_times_and_heat_cannot_be_one_batch():
    with pytest.raises(OutOfRangeError):
        fitted([21.0, 21.0], [4.6, 4.8], [0, 1], replace(KIT, heat_rise_k=400.0))
    with pytest.raises(OutOfRangeError, match="poured"):
        fitted([21.0, 21.0], [3.0, 20.0], [0, 1])
