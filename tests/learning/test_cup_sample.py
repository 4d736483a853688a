"""A sample in its cup, against an off-the-shelf integrator."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from cureplan.core.errors import OutOfRangeError
from cureplan.science.kit import KitPhysics
from cureplan.science.learning.procedure_readings import cup_sample_s
from cureplan.science.rate import rate_factor

KIT = KitPhysics(
    activation_energy_j_mol=50e3, reference_c=21.0, liquids_capacity_j_k=8910.0,
    filler_capacity_j_k=11424.0, liquids_mix_s=150.0, filler_mix_s=180.0,
    liquid_stage_share=0.2, heat_rise_k=8.0, working_age_s=1327.0, mixing_power_w=150.0,
    exchange_w_k=2.0, volumetric_heat_j_m3_k=2.17e6,
)  # fmt: skip


def integrated_s(start_c, air_c, share, age_s):
    """Outside: scipy's solve_ivp on dT/dt and da/dt, stopped at the age."""
    before = (
        0.2
        * 150.0
        * float(rate_factor(start_c, activation_energy_j_mol=50e3, reference_c=21.0))
    )
    loss = 2.0 / (8910.0 + 11424.0) * share ** (-1 / 3)

    def slope(_, state):
        rate = float(rate_factor(state[1], activation_energy_j_mol=50e3, reference_c=21.0))
        return [rate, 8.0 / 1327.0 * rate - loss * (state[1] - air_c)]

    def reached(_, state):
        return state[0] - age_s

    reached.terminal = True
    run = solve_ivp(slope, (0, 1e6), [before, start_c], events=reached, rtol=1e-9, atol=1e-9)
    return float(run.t_events[0][0])


@pytest.mark.parametrize("share", [1.0, 0.1, 0.01, 0.001])
@pytest.mark.parametrize(("start_c", "air_c"), [(21.0, 21.0), (35.0, 30.0), (12.0, 16.0)])
def test_cups_of_any_size_follow_the_integrator(share, start_c, air_c):
    # Tolerance: what the module says of cups mixed near the air, 0.02 min.
    got = cup_sample_s(start_c, air_c, share, 1327.0, kit=KIT, speed=1.0)
    assert float(got[0]) == pytest.approx(integrated_s(start_c, air_c, share, 1327.0), abs=1.2)


def test_an_iced_cup_in_hot_air_is_good_to_two_percent():
    got = cup_sample_s(4.0, 38.0, 0.01, 1327.0, kit=KIT, speed=1.0)
    assert float(got[0]) == pytest.approx(integrated_s(4.0, 38.0, 0.01, 1327.0), rel=0.02)


@settings(max_examples=40)
@given(
    share=st.floats(1e-4, 0.5),
    larger=st.floats(1.01, 4.0),
    temp_c=st.floats(5.0, 40.0),
    age_s=st.floats(300.0, 1900.0),
)
def test_in_air_of_its_own_temperature_a_larger_cup_ends_sooner(share, larger, temp_c, age_s):
    small, large = (
        float(cup_sample_s(temp_c, temp_c, size, age_s, kit=KIT, speed=1.0)[0])
        for size in (share, share * larger)
    )
    assert large <= small + 1e-6


@pytest.mark.parametrize("bad", [{"mass_share": 0.0}, {"speed": 0.0}, {"start_c": 200.0}])
def test_nonsense_is_refused(bad):
    given_ = {"start_c": 21.0, "air_c": 21.0, "mass_share": 0.01, "speed": 1.0} | bad
    with pytest.raises(OutOfRangeError):
        cup_sample_s(
            given_["start_c"], given_["air_c"], given_["mass_share"], 1000.0, kit=KIT,
            speed=given_["speed"],
        )  # fmt: skip
