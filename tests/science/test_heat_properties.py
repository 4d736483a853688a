"""Derived properties, contact temperature and stirred bodies against worked examples.

The printed books were not seen: inputs and answers come from third-party re-solutions
(those of Incropera 5.5 from memory) and agree with arithmetic done apart.
"""

import math

import pytest

from cureplan.core.errors import OutOfRangeError
from cureplan.science import heat as known
from cureplan.science.heat import (
    checked,
    diffusivity_m2_s,
    lumped_gap_left,
    lumped_time_constant_s,
)

CONCRETE = {
    "conductivity_w_mk": known.CONCRETE_CONDUCTIVITY_W_MK,
    "density_kg_m3": known.CONCRETE_DENSITY_KG_M3,
    "specific_heat_j_kgk": known.CONCRETE_SPECIFIC_HEAT_J_KGK,
}


def sphere_constant_s(diameter_m, *, coefficient, density, heat):
    volume_m3, area_m2 = math.pi * diameter_m**3 / 6, math.pi * diameter_m**2
    return lumped_time_constant_s(
        heat_capacity_j_k=density * heat * volume_m3, conductance_w_k=coefficient * area_m2
    )


def test_concrete_numbers_of_incropera_table_a_3():
    # k 1.4, rho 2300, c 880 as quoted by open codes; the results computed apart,
    # held to their last digit. Reported for concrete: 0.002-0.006 m²/h.
    diffusivity = diffusivity_m2_s(**CONCRETE)
    assert diffusivity == pytest.approx(6.92e-7, abs=0.005e-7)
    assert 0.002 <= diffusivity * 3600 <= 0.006
    assert pytest.approx(1683, abs=0.5) == known.SLAB_EFFUSIVITY


def test_thermocouple_matches_incropera_example_5_1():
    # Published: 6th ed., p. 261. h 400, rho 8500, c 400: a 0.706 mm bead has a time
    # constant of 1 s and goes from 25 to 199 of 200 °C in 5.16 s (exact 5.17). 1 %.
    constant_s = sphere_constant_s(0.706e-3, coefficient=400, density=8500, heat=400)
    assert constant_s == pytest.approx(1.0, rel=0.01)
    left = lumped_gap_left(5.16, time_constant_s=constant_s)
    assert -constant_s * math.log(1 / 175) == pytest.approx(5.16, rel=0.01)
    assert left == pytest.approx(1 / 175, rel=0.01)


def test_sphere_in_air_matches_incropera_example_5_5():
    # Published: 6th ed., p. 280: 10 mm sphere from 400 to 335 °C in 20 °C air takes
    # 93.7 s; exact 93.8. Inputs h 10, rho 3000, c 1000 from memory. Tolerance 4 %
    # is asked for; half a printed digit would be 0.05 %.
    constant_s = sphere_constant_s(0.01, coefficient=10, density=3000, heat=1000)
    taken_s = -constant_s * math.log(315 / 380)
    assert taken_s == pytest.approx(93.7, rel=0.04)
    assert lumped_gap_left(93.8, time_constant_s=constant_s) == pytest.approx(
        315 / 380, rel=1e-3
    )


def test_steel_ball_matches_geankoplis_example_5_2_1():
    # Published: p. 333. Ball of 25.4 mm radius, 699.9 K into 394.3 K air, h 11.36,
    # rho 7849, c 460.6: 474.6 K after 1 h (inputs as in a third-party re-solution).
    constant_s = sphere_constant_s(0.0508, coefficient=11.36, density=7849, heat=460.6)
    after_k = 394.3 + (699.9 - 394.3) * lumped_gap_left(3600, time_constant_s=constant_s)
    assert after_k == pytest.approx(474.6, abs=0.1)


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan"), float("inf")])
def test_properties_must_be_positive_and_finite(wrong):
    with pytest.raises(OutOfRangeError, match="density_kg_m3"):
        diffusivity_m2_s(**{**CONCRETE, "density_kg_m3": wrong})
    with pytest.raises(OutOfRangeError, match="conductance_w_k"):
        lumped_time_constant_s(heat_capacity_j_k=1, conductance_w_k=wrong)


def test_check_names_the_first_wrong_element_and_all_limits():
    with pytest.raises(OutOfRangeError, match=r"share must be > 0 and <= 1, got 1.5$"):
        checked("share", [0.5, 1.5, 2.0], unit="", over=0, at_most=1)
    with pytest.raises(OutOfRangeError, match="must be a finite number K, got inf K"):
        checked("gain_k", float("inf"), unit="K", at_least=0)


def test_check_passes_values_through_unclipped():
    assert checked("share", [0.0, 1.0], unit="", at_least=0, at_most=1).tolist() == [0.0, 1.0]
