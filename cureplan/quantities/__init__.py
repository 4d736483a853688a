"""Quantities as the trade writes them, read into SI and °C and written back.

The table of units is closed and every number is an exact fraction until the last
step, because general unit libraries misread this vocabulary silently: ``82 F`` as
farads, ``125 mil`` as an angle, ``1 1/8 in`` as 0.125 in.

Every ``parse_*`` function takes one text, returns a float in the unit its name ends
with, and raises `QuantityError` for a bare number, an unknown unit, or a magnitude no
kitchen has. The message always reads ``'text': problem; cure`` and `split_refusal`
takes it apart again. A temperature difference is its own kind: the caller decides.
"""

from cureplan.quantities.parsing import (
    parse_area_m2,
    parse_area_rate_m2_s,
    parse_conductivity_w_m_k,
    parse_cover_kg_m2,
    parse_density_kg_m3,
    parse_duration_range_s,
    parse_duration_s,
    parse_elevation_m,
    parse_energy_j_mol,
    parse_fraction,
    parse_heat_exchange_w_k,
    parse_length_m,
    parse_mass_kg,
    parse_power_w,
    parse_ratio,
    parse_specific_heat_j_kg_k,
    parse_spread_rate_m2_m3,
    parse_temperature_c,
    parse_temperature_difference_k,
    parse_volume_m3,
)
from cureplan.quantities.refusing import refusal, split_refusal
from cureplan.quantities.showing import (
    format_area,
    format_film,
    format_length,
    format_mass,
    format_pace,
    format_temperature,
    format_temperature_difference,
    format_volume,
    format_waiting_time,
    format_working_time,
)

__all__ = [
    "format_area",
    "format_film",
    "format_length",
    "format_mass",
    "format_pace",
    "format_temperature",
    "format_temperature_difference",
    "format_volume",
    "format_waiting_time",
    "format_working_time",
    "parse_area_m2",
    "parse_area_rate_m2_s",
    "parse_conductivity_w_m_k",
    "parse_cover_kg_m2",
    "parse_density_kg_m3",
    "parse_duration_range_s",
    "parse_duration_s",
    "parse_elevation_m",
    "parse_energy_j_mol",
    "parse_fraction",
    "parse_heat_exchange_w_k",
    "parse_length_m",
    "parse_mass_kg",
    "parse_power_w",
    "parse_ratio",
    "parse_specific_heat_j_kg_k",
    "parse_spread_rate_m2_m3",
    "parse_temperature_c",
    "parse_temperature_difference_k",
    "parse_volume_m3",
    "refusal",
    "split_refusal",
]
