"""What cureplan answers for the rows of checks.csv: slab, film, pails and ice, the kit."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.interpolate import CubicSpline

from cureplan.science.heat import FUSION_HEAT_J_KG
from cureplan.science.ice.bath import ice_water_w_m2k, pail_surface_w_m2k, water_density_kg_m3
from cureplan.science.ice.cooling import (
    Pail,
    heat_removed_j,
    ice_mass_kg,
    pail_gap_left,
    time_to_reach_s,
)
from cureplan.science.kit import FLOOR_ROOT_S05, KitPhysics, run_bucket
from cureplan.science.rate import GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K
from cureplan.science.slab import Slab
from cureplan.science.slab_grid import Layer


def marched_c(
    thickness_m: float,
    k: float,
    rho_c: float,
    start_c: float,
    air_c: float,
    top_h: float,
    time_s: float,
    step_s: float,
    cell_m: float,
    depth_m: float,
    lower_h: float = 0.0,
    flux_w_m2: float = 0.0,
    kelvin: int = 0,
) -> float:
    """The marched slab: its face (depth 0), or the curve through its cells.

    `lower_h` of 0 holds the far face at `start_c`; tiny shuts it. `kelvin` adds 273.15.
    """
    slab = Slab(
        layers=(
            Layer(
                thickness_m=thickness_m,
                conductivity_w_mk=k,
                density_kg_m3=rho_c / 1000,
                specific_heat_j_kgk=1000,
            ),
        ),
        top_w_m2k=top_h,
        lower_w_m2k=lower_h or None,
        step_s=step_s,
        finest_cell_m=cell_m,
    )
    rows = round(time_s / step_s) + 1
    run = slab.run(
        np.full((rows, 1), air_c),
        absorbed_w_m2=flux_w_m2,
        lower_c=start_c,
        start_c=start_c,
        keep_profile=True,
    )
    depths_m = slab.operator.grid.depth_m
    # A smooth curve through the cells: straight lines between grown ones cut corners.
    inside = CubicSpline(depths_m, run.profile_c[-1, :, 0])
    found_c = run.surface_c[-1, 0] if depth_m == 0 else inside(min(depth_m, depths_m[-1]))
    return float(found_c) + 273.15 * kelvin


def film_closed(time_s: float, slab_e: float, heat_mj_m3k: float, film_mm: float) -> float:
    """Share of the gap a film has closed, read off the rate of a kit that gives no heat."""
    energy_j_mol = 50e3
    kit = KitPhysics(
        activation_energy_j_mol=energy_j_mol, reference_c=20.0, liquids_capacity_j_k=9e3,
        filler_capacity_j_k=11e3, liquids_mix_s=1.0, filler_mix_s=1.0, liquid_stage_share=0.0,
        heat_rise_k=0.0, working_age_s=1e3, mixing_power_w=0.0, exchange_w_k=0.0,
        volumetric_heat_j_m3_k=heat_mj_m3k * 1e6,
    )  # fmt: skip
    path = run_bucket(
        20.0, 20.0, 20.0, 30.0, 1.0, kit=kit, speed=1.0, film_m=film_mm / 1e3,
        slab_effusivity=slab_e,
    )  # fmt: skip
    nodes = FLOOR_ROOT_S05[1:]
    fall = np.log(path.rate[0, -nodes.size :]) * GAS_CONSTANT_J_MOL_K / energy_j_mol
    film_c = 1.0 / (1.0 / (20.0 + ZERO_CELSIUS_K) - fall) - ZERO_CELSIUS_K
    return float(np.interp(np.sqrt(time_s), nodes, (film_c - 20.0) / 10.0))


def _pail(u: float) -> Pail:
    return Pail(
        mass_kg=2.5,
        density_kg_m3=1100,
        specific_heat_j_kgk=1900,
        conductivity_w_mk=0.18,
        diameter_m=0.165,
        surface_w_m2k=u,
    )


def pail_time_min(u: float, start_c: float, target_c: float, stirred: int) -> float:
    """Minutes in ice water until the pail of the checks has a mean temperature."""
    found = time_to_reach_s(
        target_c, start_c=start_c, surroundings_c=0.0, pail=_pail(u), stirred=bool(stirred)
    )
    return float(found) / 60


def pail_mean_c(u: float, start_c: float, hours: float) -> float:
    """Mean of the pail of the checks, left standing in ice water."""
    left = pail_gap_left(hours * 3600, pail=_pail(u), stirred=False)
    return float(start_c * left)


def ice_kg(capacity_j_k: float, start_c: float, end_c: float, loss: float) -> float:
    """Ice melted by chilling."""
    heat_j = heat_removed_j(heat_capacity_j_k=capacity_j_k, start_c=start_c, end_c=end_c)
    return float(
        ice_mass_kg(heat_j=heat_j, cooler_loss_share=loss, fusion_heat_j_kg=FUSION_HEAT_J_KG)
    )


def heat_kj(kg: float, j_kg_k: float, start_c: float, end_c: float) -> float:
    """Heat that leaves something as it cools."""
    found = heat_removed_j(heat_capacity_j_k=kg * j_kg_k, start_c=start_c, end_c=end_c)
    return float(found) / 1e3


def water_side_w_m2k(wall_c: float, height_m: float) -> float:
    """Coefficient of still ice water along a wall."""
    return float(ice_water_w_m2k(wall_c, height_m=height_m))


def wall_side_w_m2k(thickness_m: float, k: float) -> float:
    """What a pail's wall alone lets through."""
    found = pail_surface_w_m2k(
        water_w_m2k=1e12, wall_thickness_m=thickness_m, wall_conductivity_w_mk=k
    )
    return float(found)


def water_density(temp_c: float) -> float:
    """Density of water [kg/m³]."""
    return float(water_density_kg_m3(temp_c))


VALUES: dict[str, Callable[..., float]] = {
    name: found
    for name, found in list(globals().items())
    if callable(found) and getattr(found, "__module__", "") == __name__ and name[0] != "_"
}
