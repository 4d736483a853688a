"""Values of handbooks and observatories that nothing here was tuned to."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest
from scipy.special import j1

from cureplan.core.moist_air import dew_from_humidity_c
from cureplan.science.conduction_series import Shape, series_terms
from cureplan.science.heat import FUSION_HEAT_J_KG
from cureplan.science.ice.cooling import heat_removed_j, ice_mass_kg
from cureplan.science.kit import KitPhysics, run_bucket
from cureplan.science.rate import GAS_CONSTANT_J_MOL_K, AgeCurve, rate_factor
from cureplan.science.sun import sun_elevation_deg

# Biot number; root and weight of a wall; of a long cylinder.
ONE_TERM = [
    (0.2, 0.4328, 1.0311, 0.6170, 1.0483),
    (0.3, 0.5218, 1.0450, 0.7465, 1.0712),
    (0.4, 0.5932, 1.0580, 0.8516, 1.0931),
    (0.5, 0.6533, 1.0701, 0.9408, 1.1143),
    (0.6, 0.7051, 1.0814, 1.0184, 1.1345),
    (0.7, 0.7506, 1.0918, 1.0873, 1.1539),
    (0.8, 0.7910, 1.1016, 1.1490, 1.1724),
    (0.9, 0.8274, 1.1107, 1.2048, 1.1902),
    (2, 1.0769, 1.1785, 1.5995, 1.3384),
    (3, 1.1925, 1.2102, 1.7887, 1.4191),
    (4, 1.2646, 1.2287, 1.9081, 1.4698),
    (5, 1.3138, 1.2403, 1.9898, 1.5029),
    (6, 1.3496, 1.2479, 2.0490, 1.5253),
    (7, 1.3766, 1.2532, 2.0937, 1.5411),
    (8, 1.3978, 1.2570, 2.1286, 1.5526),
    (9, 1.4149, 1.2598, 2.1566, 1.5611),
]


@pytest.mark.parametrize("row", ONE_TERM, ids=lambda row: f"Bi {row[0]:g}")
def test_first_roots_and_weights_of_a_handbook(row):
    # Published: Çengel, Heat Transfer, table 4-2, p. 263 (a page of it seen); printed to
    # 1e-4, of which the last digit may be cut or rounded. The weight is the profile's at
    # the centre; ours is the mean's, over which the profile averages to sin(x)/x in a wall
    # and 2 J1(x)/x in a cylinder.
    biot, *printed = row
    ours = []
    for shape, average in ((Shape.WALL, np.sin), (Shape.CYLINDER, lambda x: 2 * j1(x))):
        terms = series_terms(shape, biot, 1)
        root = terms.roots[0]
        ours += [root, terms.mean_weights[0] * root / average(root)]
    assert ours == pytest.approx(printed, abs=6e-5)


# Pressure of saturated vapour [Pa] by temperature [°C].
SATURATED_PA = {5.0: 872.6, 25.0: 3169.7, 50.0: 12351.3}


@pytest.mark.parametrize(("temp_c", "dew_c"), [(25.0, 5.0), (50.0, 25.0), (50.0, 5.0)])
def test_saturation_of_a_handbook(temp_c, dew_c):
    # Published: ASHRAE Fundamentals 2017, ch. 1, table 3, as quoted in psychrolib's tests.
    # Tolerance: Alduchov & Eskridge state 0.4 % of each pressure, which is 0.1 °C.
    share = SATURATED_PA[dew_c] / SATURATED_PA[temp_c]
    assert dew_from_humidity_c(temp_c, rh_frac=share) == pytest.approx(dew_c, abs=0.1)


GOLDEN = (39.742476, -105.1786)
CROSSINGS = [
    ("1996-07-05T07:08:15+00:00", (-35.0, 0.0), 1),
    ("1996-07-05T17:01:04+00:00", (-35.0, 0.0), -1),
    ("2004-12-04T04:38:57+00:00", (-35.0, 0.0), 1),
    ("2004-12-04T19:02:03+00:00", (-35.0, 0.0), -1),
    ("2015-01-02T07:21:55-07:00", GOLDEN, 1),
    ("2015-01-02T16:47:43-07:00", GOLDEN, -1),
    ("2015-08-02T05:00:27-07:00", GOLDEN, 1),
    ("2015-08-02T19:13:58-07:00", GOLDEN, -1),
]


@pytest.mark.parametrize(("published", "place", "rising"), CROSSINGS)
def test_rises_and_sets_of_an_observatory(published, place, rising):
    # Published: NREL's solar position calculator, as quoted in pvlib's tests. The sun's
    # centre stands 0.833° below the horizon then. Tolerance: the equations here state about
    # a minute, so a minute and a half either side brackets it.
    at = datetime.fromisoformat(published)
    off = timedelta(seconds=90)
    before, after = sun_elevation_deg(
        [at - off, at + off],
        latitude_deg=place[0],
        longitude_deg=place[1],
        refracted=False,
    )
    assert rising * before < rising * -0.833 < rising * after


@pytest.mark.parametrize(("day", "height_deg"), [(17, 39.872046), (18, 39.505196)])
def test_heights_of_the_sun_of_an_observatory(day, height_deg):
    # Published: NREL/TP-560-34302, its worked day (and the next), as quoted in pvlib's
    # tests. Tolerance: the equations here are good to 0.01° or so.
    at = datetime.fromisoformat(f"2003-10-{day}T12:30:30-07:00")
    ours = sun_elevation_deg(
        [at], latitude_deg=GOLDEN[0], longitude_deg=GOLDEN[1], refracted=False
    )
    assert ours[0] == pytest.approx(height_deg, abs=0.02)


@pytest.mark.parametrize(
    ("kg", "j_kg_k", "from_c", "to_c", "printed_kj"),
    [
        (0.250, 4186.0, 80.0, 20.0, 62.8),
        (0.500, 900.0, 80.0, 20.0, 27.0),
        (0.050, 840.0, 95.0, 22.0, 3.07),
        (80_000.0, 4186.0, 1.5, 0.0, 5.02e5),
    ],
)
def test_heat_of_a_pot_and_its_water(kg, j_kg_k, from_c, to_c, printed_kj):
    # Published: OpenStax College Physics, section 14.2 (a copy of the page seen): water and an
    # aluminium pan over 60 K, a glass bottle, a pool; printed to three digits.
    heat_j = heat_removed_j(heat_capacity_j_k=kg * j_kg_k, start_c=from_c, end_c=to_c)
    assert float(heat_j) / 1e3 == pytest.approx(printed_kj, rel=0.002)


@pytest.mark.parametrize(
    ("heat_j", "printed_kg", "within_kg"),
    [(35.9 * 4186, 0.450, 0.001), (13.5 * 86_400, 3.50, 0.013)],
)
def test_ice_that_a_heat_melts(heat_j, printed_kg, within_kg):
    # Published: OpenStax College Physics, section 14.3, problems (a copy of the page seen):
    # 35.9 kcal thaw 0.450 kg, and 13.5 W melt a bag of 3.50 kg in a day. Tolerance: half the
    # last digit of the heat.
    ice = ice_mass_kg(heat_j=heat_j, cooler_loss_share=0.0, fusion_heat_j_kg=FUSION_HEAT_J_KG)
    assert float(ice) == pytest.approx(printed_kg, abs=within_kg)


def test_ice_that_cools_a_drink():
    # Published: OpenStax College Physics, section 14.3 (a copy of the page seen): 18 g of ice
    # take 250 g at 20 °C to 13 °C. Tolerance: half a degree of that is 1.4 g.
    heat_j = heat_removed_j(heat_capacity_j_k=0.25 * 4186, start_c=20, end_c=13)
    ice = ice_mass_kg(
        heat_j=heat_j, cooler_loss_share=0.0, fusion_heat_j_kg=334_000 + 4186 * 13
    )
    assert float(ice) == pytest.approx(0.018, abs=0.0014)


def test_melting_heat_in_degrees_of_water_and_in_tons_of_cooling():
    # Published: OpenStax College Physics, section 14.3 (a copy of the page seen): what melts
    # 1 kg of ice warms 1 kg of water by 79.8 K. From memory: NIST SP 811: a ton of cooling is
    # 3.516853 kW; it is named after 2000 lb of ice a day at 144 Btu/lb, which is 0.4 % above
    # today's melting heat.
    assert pytest.approx(79.8, abs=0.15) == FUSION_HEAT_J_KG / 4186
    day_j = 3516.853 * 86_400
    ice = ice_mass_kg(heat_j=day_j, cooler_loss_share=0.0, fusion_heat_j_kg=FUSION_HEAT_J_KG)
    assert float(ice) == pytest.approx(907.185, rel=0.005)


@pytest.mark.parametrize(
    ("water", "metal", "printed_c"),
    [
        ((0.060, 4184, 22.0), (0.0597, 382, 100.0), 28.5),
        ((0.25, 4186, 20), (0.5, 900, 150), 59.1),
    ],
)
def test_a_hot_metal_in_water(water, metal, printed_c):
    # From memory: OpenStax Chemistry, section 5.2: 59.7 g of a metal of 0.38 J/gK out of
    # boiling water into 60.0 g of water at 22.0 °C end at 28.5 °C. Published: OpenStax College
    # Physics, section 14.2 (a copy of the page seen): 0.250 kg of water at 20.0 °C in a pan of
    # 0.500 kg of aluminium at 150 °C end at 59.1 °C.
    kit = KitPhysics(
        activation_energy_j_mol=50e3, reference_c=20.0,
        liquids_capacity_j_k=water[0] * water[1],
        filler_capacity_j_k=metal[0] * metal[1], liquids_mix_s=1.0, filler_mix_s=1.0,
        liquid_stage_share=0.0, heat_rise_k=0.0, working_age_s=1e3, mixing_power_w=0.0,
        exchange_w_k=0.0, volumetric_heat_j_m3_k=2e6,
    )  # fmt: skip
    path = run_bucket(
        water[2],
        metal[2],
        20.0,
        20.0,
        1.0,
        kit=kit,
        speed=1.0,
        film_m=0.003,
        slab_effusivity=1683.0,
    )
    assert float(path.mixed_c[0]) == pytest.approx(printed_c, abs=0.05)


# EN 1992-1-1, eq. B.10: exp(13.65 - 4000/(273 + T)). Temperature [°C], factor.
FACTORS = [(2, 0.4084), (7, 0.5296), (12, 0.6804), (17, 0.8667), (23, 1.1462), (28, 1.4347),
           (33, 1.7827), (38, 2.1996)]  # fmt: skip
# Spells of six hours each [°C], hours that concrete has aged.
SPELLS = [((5, 15, 25), 15.122), ((12, 28), 12.691), ((35, 20, 8, 2), 23.426)]
ROUND_ZERO_K = 0.15
EN_1992 = {
    "activation_energy_j_mol": 4000 * GAS_CONSTANT_J_MOL_K,
    "reference_c": 4000 / 13.65 - 273 - ROUND_ZERO_K,
}


@pytest.mark.parametrize(("temp_c", "factor"), FACTORS)
def test_ages_of_concrete_by_a_standards_formula(temp_c, factor):
    # Computed apart, with 30 decimal places, from EN 1992-1-1, eq. B.10 (seen in an open code's
    # docstring); temperatures at which nothing here was tuned. Printed to 1e-4.
    ours = rate_factor(temp_c - ROUND_ZERO_K, **EN_1992)
    assert float(ours) == pytest.approx(factor, abs=6e-5)


def aged_h(spells):
    """Hours that concrete has aged after some spells of (hours, °C)."""
    ends_h = np.cumsum([hours for hours, _ in spells])
    times_h = np.concatenate([[0.0], np.column_stack([ends_h, ends_h + 1e-6]).ravel()[:-1]])
    curve = AgeCurve(
        times_h * 3600.0,
        np.repeat([temp_c for _, temp_c in spells], 2) - ROUND_ZERO_K,
        piece_s=120.0,
        **EN_1992,
    )
    return float(curve.age_s(ends_h[-1] * 3600.0)) / 3600.0


@pytest.mark.parametrize(("temps_c", "hours"), SPELLS)
def test_spells_of_heat_and_cold_by_a_standards_formula(temps_c, hours):
    # Computed apart from the same formula: six hours count by the factor of each spell.
    assert aged_h([(6.0, temp_c) for temp_c in temps_c]) == pytest.approx(hours, abs=1e-3)


@pytest.mark.parametrize(
    ("spells", "days"),
    [
        ([(7, 20), (7, 25)], 15.7723),
        ([(5, 20), (10, 15), (7, 25)], 21.651),
        ([(1, 0), (2, 5), (1, -5)], 1.602),
        ([(10, 30)], 15.662),
    ],
)
def test_days_that_a_model_code_counts(spells, days):
    # Published: fib Model Code 2010, eq. 5.1-85, and 2020, eq. 14.6-80, as quoted in the tests
    # of the code that fib publishes; printed to half a thousandth of a day.
    aged = aged_h([(24.0 * length, temp_c) for length, temp_c in spells])
    assert aged / 24.0 == pytest.approx(days, abs=6e-4)
