"""Mixed temperature: worked examples of hot-weather concreting, and heat that must balance."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import OutOfRangeError
from oracles.mixing import mixed_temperature_c

WATER_J_KG_K = 4186.0
FUSION_J_KG = 333_550.0
MELT = {"melt_specific_heat_j_kg_k": WATER_J_KG_K, "fusion_heat_j_kg": FUSION_J_KG}
AS_CONCRETE = 0.22  # specific heat of solids against water: CRD-C 307-91, ACI 305R
BTU_LB_J_KG = 2326.0  # exact, International Table
BTU_LB_F_J_KG_K = 4186.8


def test_crd_c_307_equation_in_its_own_units():
    # Form: CRD-C 307-91 (USACE), T = [0.22(TaWa + TcWc) + TwWw + TaWwa - L Wi] /
    # [0.22(Wa + Wc) + Ww + Wwa + Wi], in lb and °F, where L is 143.5 Btu/lb less what
    # ice at 32 °F lacks against water at 0 °F: 112 (ACI 305R; from memory, 144 - 32).
    aggregate, cement, water, moisture, ice = 3000.0, 560.0, 200.0, 60.0, 40.0
    sand_f, cement_f, water_f = 95.0, 140.0, 80.0
    top = AS_CONCRETE * (sand_f * aggregate + cement_f * cement) + water_f * water
    top += sand_f * moisture - (144.0 - 32.0) * ice
    expected_f = top / (AS_CONCRETE * (aggregate + cement) + water + moisture + ice)
    got_c = mixed_temperature_c(
        [aggregate, cement, water, moisture],
        (np.array([sand_f, cement_f, water_f, sand_f]) - 32) / 1.8,
        specific_heat_j_kg_k=np.array([AS_CONCRETE, AS_CONCRETE, 1, 1]) * BTU_LB_F_J_KG_K,
        ice_kg=ice,
        melt_specific_heat_j_kg_k=BTU_LB_F_J_KG_K,
        fusion_heat_j_kg=144.0 * BTU_LB_J_KG,
    )
    # The same balance in other units: nothing but rounding may differ.
    assert got_c * 1.8 + 32 == pytest.approx(expected_f, abs=1e-9)


@pytest.mark.parametrize("ice_kg", [0.0, 20.0, 40.0])
def test_each_kilogram_of_ice_counts_as_79_6_of_water_degrees(ice_kg):
    # ACI 305R in °C takes 79.6 Wi off the top (from memory); 333.55/4.19 = 79.606.
    expected = (160.0 * 28.0 - 79.6 * ice_kg) / (160.0 + ice_kg)
    got = mixed_temperature_c(
        [160.0],
        [28.0],
        specific_heat_j_kg_k=4190.0,
        ice_kg=ice_kg,
        melt_specific_heat_j_kg_k=4190.0,
        fusion_heat_j_kg=FUSION_J_KG,
    )
    assert got == pytest.approx(expected, abs=0.005)


def test_site_sheet_without_ice():
    # Worked apart: heats of 2000, 375 and 180 kg sum to 28151.5 units over 702.5 per degree.
    got = mixed_temperature_c(
        [2000.0, 375.0, 180.0],
        [41.0, 46.2, 35.0],
        specific_heat_j_kg_k=np.array([AS_CONCRETE, AS_CONCRETE, 1.0]) * WATER_J_KG_K,
        ice_kg=0.0,
        **MELT,
    )
    assert got == pytest.approx(40.07, abs=0.005)


def test_a_mix_with_ice_worked_apart():
    # Worked apart: 80705.3/2945.6 = 27.4 °C, with
    # 0.92 and 4.184 kJ/kgK and 335 kJ/kg.
    got = mixed_temperature_c(
        [410.0, 168.1, 1799.9],
        [40.0, 30.0, 37.0],
        specific_heat_j_kg_k=[920.0, 4184.0, 920.0],
        ice_kg=50.0,
        melt_specific_heat_j_kg_k=4184.0,
        fusion_heat_j_kg=335e3,
    )
    assert got == pytest.approx(27.4, abs=0.05)


@pytest.mark.parametrize(("ice_kg", "expected"), [(0.0, 31.78), (44.0, 24.15)])
def test_cement_association_table_with_and_without_ice(ice_kg, expected):
    # A table of the EB001 kind (from memory; it prints 31.8 and 24.1): cement 335 kg at
    # 66 °C, water 123 kg at 27, aggregate 1839 kg at 27; then 44 kg of ice on top.
    got = mixed_temperature_c(
        [335.0, 123.0, 1839.0],
        [66.0, 27.0, 27.0],
        specific_heat_j_kg_k=np.array([AS_CONCRETE, 1.0, AS_CONCRETE]) * 4184.0,
        ice_kg=ice_kg,
        melt_specific_heat_j_kg_k=4184.0,
        fusion_heat_j_kg=335e3,
    )
    assert got == pytest.approx(expected, abs=0.005)


masses = st.lists(st.floats(0.1, 50), min_size=2, max_size=6)
temps = st.floats(0, 60)


@st.composite
def parts(draw):
    mass_kg = draw(masses)
    count = len(mass_kg)
    temp_c = draw(st.lists(temps, min_size=count, max_size=count))
    heat = draw(st.lists(st.floats(500, 4200), min_size=count, max_size=count))
    return np.array(mass_kg), np.array(temp_c), np.array(heat)


@given(parts=parts())
def test_without_ice_no_heat_is_made_or_lost(parts):
    mass_kg, temp_c, heat = parts
    mixed_c = mixed_temperature_c(
        mass_kg, temp_c, specific_heat_j_kg_k=heat, ice_kg=0.0, **MELT
    )
    lost_j = np.sum(mass_kg * heat * (temp_c - mixed_c))
    assert abs(lost_j) <= 1e-6 * np.sum(mass_kg * heat)
    assert temp_c.min() - 1e-9 <= mixed_c <= temp_c.max() + 1e-9


@given(parts=parts(), share=st.floats(0, 1))
def test_with_ice_what_the_parts_lose_melts_it_and_warms_the_melt(parts, share):
    mass_kg, temp_c, heat = parts
    stored_j = np.sum(mass_kg * heat * temp_c)
    ice_kg = share * min(stored_j / FUSION_J_KG, 0.5 * mass_kg.sum()) * 0.999
    mixed_c = mixed_temperature_c(
        mass_kg, temp_c, specific_heat_j_kg_k=heat, ice_kg=ice_kg, **MELT
    )
    lost_j = np.sum(mass_kg * heat * (temp_c - mixed_c))
    taken_j = ice_kg * (FUSION_J_KG + WATER_J_KG_K * mixed_c)
    assert lost_j == pytest.approx(taken_j, abs=1e-6 * max(stored_j, 1.0))


@given(parts=parts(), more=st.floats(0, 1))
def test_more_ice_never_warms(parts, more):
    mass_kg, temp_c, heat = parts
    most_kg = min(np.sum(mass_kg * heat * temp_c) / FUSION_J_KG, 0.5 * mass_kg.sum()) * 0.999
    run = {"specific_heat_j_kg_k": heat, **MELT}
    less = mixed_temperature_c(mass_kg, temp_c, ice_kg=0.5 * most_kg, **run)
    iced = mixed_temperature_c(mass_kg, temp_c, ice_kg=(0.5 + 0.5 * more) * most_kg, **run)
    assert iced <= less + 1e-9


@given(parts=parts(), colder_k=st.floats(0, 20), shuffle=st.randoms(use_true_random=False))
def test_a_colder_part_never_warms_and_order_does_not_matter(parts, colder_k, shuffle):
    mass_kg, temp_c, heat = parts
    as_is = mixed_temperature_c(mass_kg, temp_c, specific_heat_j_kg_k=heat, ice_kg=0.0, **MELT)
    order = list(range(mass_kg.size))
    shuffle.shuffle(order)
    again = mixed_temperature_c(
        mass_kg[order], temp_c[order], specific_heat_j_kg_k=heat[order], ice_kg=0.0, **MELT
    )
    assert again == pytest.approx(as_is, abs=1e-9)
    temp_c[0] -= colder_k
    assert (
        mixed_temperature_c(mass_kg, temp_c, specific_heat_j_kg_k=heat, ice_kg=0.0, **MELT)
        <= as_is + 1e-9
    )


def test_many_mixes_at_once():
    at_once = mixed_temperature_c(
        np.array([[1.0, 1.0], [1.0, 3.0]]),
        [10.0, 30.0],
        specific_heat_j_kg_k=1000.0,
        ice_kg=[0.0, 0.0],
        **MELT,
    )
    assert at_once == pytest.approx([20.0, 25.0])


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"mass_kg": [-1.0, 2.0]}, "mass_kg"),
        ({"mass_kg": [0.0, 0.0]}, "mass_kg"),
        ({"mass_kg": [np.nan, 1.0]}, "mass_kg"),
        ({"temp_c": [np.nan, 20.0]}, "temp_c"),
        ({"specific_heat_j_kg_k": [-900.0, 4186.0]}, "specific"),
        ({"specific_heat_j_kg_k": np.nan}, "specific"),
        ({"fusion_heat_j_kg": 0.0}, "fusion"),
        ({"ice_kg": -0.1}, "ice_kg"),
        ({"ice_kg": np.nan}, "ice_kg"),
        # Jabbar (2017): the concreting equation turns irrational above 50 % ice.
        ({"ice_kg": 1.01}, "ice_kg"),
        ({"temp_c": [5.0, 5.0], "ice_kg": 0.5}, "more than the parts can melt"),
    ],
)
def test_refuses_mixes_that_cannot_be(changed, word):
    mix = {
        "mass_kg": [1.0, 1.0],
        "temp_c": [30.0, 20.0],
        "specific_heat_j_kg_k": 900.0,
        "ice_kg": 0.0,
        **MELT,
        **changed,
    }
    columns = [mix.pop("mass_kg"), mix.pop("temp_c")]
    with pytest.raises(OutOfRangeError, match=word):
        mixed_temperature_c(*columns, **mix)
