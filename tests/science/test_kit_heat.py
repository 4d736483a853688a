"""A kit's heat against worked mixes of hot-weather concreting, and its film on concrete."""

import numpy as np
import pytest
from oracles.film_run import closed_by_conduction

from cureplan.science.ice.cooling import heat_removed_j, ice_mass_kg
from cureplan.science.kit import FLOOR_ROOT_S05, KitPhysics, run_bucket
from cureplan.science.rate import GAS_CONSTANT_J_MOL_K

SOLIDS = 0.22  # specific heat of solids against water: CRD-C 307-91, ACI 305R
PLAIN = {
    "activation_energy_j_mol": 50e3, "reference_c": 20.0, "liquids_mix_s": 1.0,
    "filler_mix_s": 1.0, "liquid_stage_share": 0.0, "heat_rise_k": 0.0, "working_age_s": 1e3,
    "mixing_power_w": 0.0, "exchange_w_k": 0.0,
}  # fmt: skip


def put_together_c(parts, water_j_kg_k):
    """Mixed temperature of (kg, °C, share of water's heat), each as filler into the rest."""
    (mass_kg, held_c, share), *rest = parts
    held_j_k = mass_kg * share * water_j_kg_k
    for mass_kg, temp_c, share in rest:
        added_j_k = mass_kg * share * water_j_kg_k
        kit = KitPhysics(
            liquids_capacity_j_k=held_j_k, filler_capacity_j_k=added_j_k,
            volumetric_heat_j_m3_k=2e6, **PLAIN,
        )  # fmt: skip
        path = run_bucket(
            held_c, temp_c, 20.0, 20.0, 1.0, kit=kit, speed=1.0, film_m=0.003,
            slab_effusivity=1683.0,
        )  # fmt: skip
        held_j_k, held_c = held_j_k + added_j_k, float(path.mixed_c[0])
    return held_c


def test_parts_of_worked_mixes_without_ice():
    # Worked apart: heats of 2000, 375 and 180 kg sum to 28151.5 units over 702.5 per degree.
    # A table of the EB001 kind (from memory; it prints 31.8): exactly 31.78.
    site = [(2000, 41.0, SOLIDS), (375, 46.2, SOLIDS), (180, 35.0, 1.0)]
    assert put_together_c(site, 4186.0) == pytest.approx(40.07, abs=0.005)
    table = [(335, 66.0, SOLIDS), (123, 27.0, 1.0), (1839, 27.0, SOLIDS)]
    assert put_together_c(table, 4184.0) == pytest.approx(31.78, abs=0.005)


@pytest.mark.parametrize(
    ("capacity_j_k", "from_c", "to_c", "fusion_j_kg", "water_j_kg_k", "ice_kg", "within"),
    [
        # Worked apart: 2736.4 kJ/K down by 8.215 K, over 335 + 4.184 · 27.4 kJ/kg: 50 kg.
        (2736.4e3, 35.615, 27.4, 335e3, 4184.0, 50, 0.5),
        # The table of the EB001 kind, from memory: 44 kg of ice take it to 24.1 (24.15).
        (2515.8e3, 31.78, 24.15, 335e3, 4184.0, 44, 0.1),
        # ACI 305R in °C takes 79.6 per kg of ice off water at 28 °C (from memory).
        (670.4e3, 28.0, 16.04, 333.55e3, 4190.0, 20, 0.05),
        (670.4e3, 28.0, 6.48, 333.55e3, 4190.0, 40, 0.05),
    ],
)
def test_ice_of_worked_mixes(
    capacity_j_k, from_c, to_c, fusion_j_kg, water_j_kg_k, ice_kg, within
):
    # Meltwater ends as warm as the mix: its warming counts with the melting heat.
    got = ice_mass_kg(
        heat_j=heat_removed_j(heat_capacity_j_k=capacity_j_k, start_c=from_c, end_c=to_c),
        cooler_loss_share=0.0,
        fusion_heat_j_kg=fusion_j_kg + water_j_kg_k * to_c,
    )
    assert got == pytest.approx(ice_kg, abs=within)


def test_film_on_the_floor_meets_the_two_layer_run():
    # Computed apart for a film of effusivity 1120 and 2.05 MJ/m³K on concrete: 80 % of
    # the gap closed in 2 min, 88 % in 5 min; the oracle's own run agrees.
    kit = KitPhysics(
        liquids_capacity_j_k=9e3, filler_capacity_j_k=11e3, volumetric_heat_j_m3_k=2.05e6,
        **PLAIN,
    )  # fmt: skip
    path = run_bucket(
        20.0, 20.0, 20.0, 30.0, 1.0, kit=kit, speed=1.0, film_m=0.0032, slab_effusivity=1683.3
    )
    inverse_k = 1 / 293.15 - np.log(path.rate[0, -FLOOR_ROOT_S05.size + 1 :]) * (
        GAS_CONSTANT_J_MOL_K / 50e3
    )
    closed = (1 / inverse_k - 273.15 - path.pour_c[0]) / (30.0 - path.pour_c[0])
    on_the_floor = np.interp([120**0.5, 300**0.5], FLOOR_ROOT_S05[1:], closed)
    assert on_the_floor == pytest.approx([0.80, 0.88], abs=0.015)
    run = closed_by_conduction([120.0, 300.0], film_m=0.0032)
    assert on_the_floor == pytest.approx(run, abs=0.02)
