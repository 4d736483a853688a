"""A bucket nobody dumps, against an ODE solver and against its own heat."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cureplan.core.errors import OutOfRangeError
from cureplan.science.kit import KitPhysics
from cureplan.science.procedure import exotherm_path

KIT = KitPhysics(
    activation_energy_j_mol=50e3,
    reference_c=21.0,
    liquids_capacity_j_k=8910.0,
    filler_capacity_j_k=11_424.0,
    liquids_mix_s=150.0,
    filler_mix_s=180.0,
    liquid_stage_share=0.2,
    heat_rise_k=8.0,
    working_age_s=1327.0,
    mixing_power_w=150.0,
    exchange_w_k=2.0,
    volumetric_heat_j_m3_k=2.17e6,
)
SMALL_AND_COLD = replace(
    KIT, liquids_capacity_j_k=2000.0, filler_capacity_j_k=2500.0, exchange_w_k=20.0
)


@pytest.mark.parametrize("kit", [KIT, replace(KIT, heat_rise_k=25.0), SMALL_AND_COLD])
@pytest.mark.parametrize(("mixed_c", "air_c"), [(21.0, 21.0), (36.0, 35.0), (12.0, 5.0)])
def test_agrees_with_an_ode_solver_in_time(kit, mixed_c, air_c):
    # Independent: SciPy marches temperature and age in time, not in age. The last kit
    # cools by a tenth of its warmth a minute, which one sweep over all of it cannot do.
    pail = exotherm_path(mixed_c, air_c, kit=kit, start_age_s=200.0, end_age_s=1327.0)
    capacity_j_k = kit.liquids_capacity_j_k + kit.filler_capacity_j_k
    heat_w = kit.heat_rise_k * capacity_j_k / 1327.0

    def slope(_time_s, y):
        inverse = 1 / (y[0] + 273.15) - 1 / 294.15
        rate = np.exp(-50e3 / 8.314462618 * inverse)
        return [(heat_w * rate - kit.exchange_w_k * (y[0] - air_c)) / capacity_j_k, rate]

    run = solve_ivp(
        slope, (0, pail.time_s[-1]), [mixed_c, 200.0],
        method="DOP853", rtol=1e-11, atol=1e-9, dense_output=True,
    )  # fmt: skip
    temp_c, age_s = run.sol(pail.time_s)
    # 0.01 min is asked for; a second of age is 1/60 min at the reference. Measured: 1e-5.
    assert pail.temp_c == pytest.approx(temp_c, abs=1e-4)
    assert pail.age_s == pytest.approx(age_s, abs=0.01)


def test_without_losses_it_warms_by_just_the_cards_rise():
    # By definition of the card's heat rise: a full bucket from age nought to the end of
    # its working time.
    closed = replace(KIT, exchange_w_k=0.0)
    pail = exotherm_path(30.0, 10.0, kit=closed, start_age_s=0.0, end_age_s=1327.0)
    assert pail.temp_c[-1] - pail.temp_c[0] == pytest.approx(8.0, abs=1e-6)
    half = np.interp(1327.0 / 2, pail.age_s, pail.temp_c)
    assert half - pail.temp_c[0] == pytest.approx(4.0, abs=1e-6)


@given(mixed_c=st.floats(5, 40), air_c=st.floats(5, 40), exchange_w_k=st.floats(0, 10))
def test_heat_balances(mixed_c, air_c, exchange_w_k):
    # What is stored is what was given less what went to the air, to 1e-6 of it.
    kit = replace(KIT, exchange_w_k=exchange_w_k)
    pail = exotherm_path(mixed_c, air_c, kit=kit, start_age_s=100.0, end_age_s=1500.0)
    stored_j = kit.capacity_j_k * (pail.temp_c[-1] - mixed_c)
    given_j = 8.0 * kit.capacity_j_k / 1327.0 * 1400.0
    lost_j = exchange_w_k * np.trapezoid(pail.temp_c - air_c, pail.time_s)
    # The trapezoid over 41 points is what limits it: 1e-3 of what went to the air.
    allowed_j = 1e-6 * given_j + 1e-3 * exchange_w_k * np.ptp(pail.time_s) * 10
    assert stored_j == pytest.approx(given_j - lost_j, abs=allowed_j)


@given(
    mixed_c=st.floats(5, 35),
    air_c=st.floats(5, 35),
    warmer_k=st.floats(0, 10),
    end_age_s=st.floats(300, 2000),
)
def test_a_warmer_bucket_is_done_sooner_and_ends_no_colder(mixed_c, air_c, warmer_k, end_age_s):
    ages = {"start_age_s": 100.0, "end_age_s": end_age_s}
    as_is = exotherm_path(mixed_c, air_c, kit=KIT, **ages)
    warmer = exotherm_path(mixed_c + warmer_k, air_c, kit=KIT, **ages)
    assert np.all(np.diff(as_is.age_s) > 0)
    assert np.all(np.diff(as_is.time_s) > 0)
    assert (as_is.age_s[0], as_is.age_s[-1]) == pytest.approx((100.0, end_age_s))
    assert warmer.time_s[-1] <= as_is.time_s[-1] + 1e-6
    assert warmer.temp_c[-1] >= as_is.temp_c[-1] - 1e-6


def test_dumping_it_buys_minutes():
    # The same batch at its own temperature throughout, as if spread at once on a slab
    # like itself: the heat it keeps by standing costs it part of its life.
    pail = exotherm_path(33.0, 33.0, kit=KIT, start_age_s=300.0, end_age_s=1327.0)
    spread_s = (1327.0 - 300.0) / np.exp(-50e3 / 8.314462618 * (1 / 306.15 - 1 / 294.15))
    assert pail.time_s[-1] < 0.93 * spread_s


@pytest.mark.parametrize(
    ("mixed_c", "start_age_s", "end_age_s", "kit"),
    [
        (21.0, 100.0, 100.0, KIT),
        (21.0, 200.0, 100.0, KIT),
        (21.0, np.nan, 100.0, KIT),
        (np.nan, 0.0, 100.0, KIT),
        (35.0, 0.0, 1327.0, replace(KIT, heat_rise_k=150.0)),
    ],
)
def test_refuses_ages_and_heats_that_cannot_be(mixed_c, start_age_s, end_age_s, kit):
    with pytest.raises(OutOfRangeError):
        exotherm_path(mixed_c, 21.0, kit=kit, start_age_s=start_age_s, end_age_s=end_age_s)
