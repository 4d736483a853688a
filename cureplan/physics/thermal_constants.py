"""Thermal properties and surface coefficients, each beside its unit and source.

Numbers only: no function here, and nothing a job should need to change. What a
job, a card or a caller may want otherwise is an argument of the model, and these
are the values to hand in when nobody knows better.
"""

from __future__ import annotations

from typing import Final

__all__ = [
    "AIR_FACE_W_M2K",
    "CONCRETE_CONDUCTIVITY_W_MK",
    "CONCRETE_DENSITY_KG_M3",
    "CONCRETE_SPECIFIC_HEAT_J_KGK",
    "CONCRETE_SUN_ABSORPTANCE",
    "DAY_S",
    "DEEP_SOIL_M",
    "DEW_MARGIN_K",
    "FILM_CONDUCTIVITY_W_MK",
    "FILM_DENSITY_KG_M3",
    "FILM_SPECIFIC_HEAT_J_KGK",
    "FUSION_HEAT_J_KG",
    "GRAVITY_M_S2",
    "ICE_BATH_C",
    "INSULATION_CONDUCTIVITY_W_MK",
    "INSULATION_DENSITY_KG_M3",
    "INSULATION_SPECIFIC_HEAT_J_KGK",
    "LIQUID_CONDUCTIVITY_W_MK",
    "LIQUID_DENSITY_KG_M3",
    "LIQUID_SPECIFIC_HEAT_J_KGK",
    "PAIL_WALL_CONDUCTIVITY_W_MK",
    "PAIL_WALL_THICKNESS_M",
    "SOIL_CONDUCTIVITY_W_MK",
    "SOIL_DENSITY_KG_M3",
    "SOIL_SPECIFIC_HEAT_J_KGK",
]

DAY_S: Final = 86_400.0
GRAVITY_M_S2: Final = 9.806_65  # standard value, CGPM 1901

# Concrete, stone mix, 300 K: Incropera et al., 6th ed., Table A.3.
CONCRETE_CONDUCTIVITY_W_MK: Final = 1.4
CONCRETE_DENSITY_KG_M3: Final = 2300.0
CONCRETE_SPECIFIC_HEAT_J_KGK: Final = 880.0
# Incropera Table A.12 gives 0.60 for concrete; from memory.
CONCRETE_SUN_ABSORPTANCE: Final = 0.60

# Soil, 300 K: Incropera Table A.3 (the values of its example 5.6).
SOIL_CONDUCTIVITY_W_MK: Final = 0.52
SOIL_DENSITY_KG_M3: Final = 2050.0
SOIL_SPECIFIC_HEAT_J_KGK: Final = 1840.0
# Invented: nine damping depths of a 30-day swing (0.34 m) and 2.5 of the year's
# (1.18 m), so that the held ground below is not felt within a job's history.
DEEP_SOIL_M: Final = 3.0

# Rigid extruded polystyrene: Incropera Table A.3; from memory.
INSULATION_CONDUCTIVITY_W_MK: Final = 0.027
INSULATION_DENSITY_KG_M3: Final = 55.0
INSULATION_SPECIFIC_HEAT_J_KGK: Final = 1210.0

# Indoor face of a floor, convection and radiation together. ISO 6946 has 0.10
# (heat upwards) to 0.17 m²K/W (downwards), which is 10 to 5.9 W/m²K; from memory.
AIR_FACE_W_M2K: Final = 7.0

# Wet slurry on the floor. Invented so that its effusivity is the assumed
# 1120 J/(m²·K·s^0.5); nobody is known to have published one.
FILM_CONDUCTIVITY_W_MK: Final = 0.612
FILM_DENSITY_KG_M3: Final = 2000.0
FILM_SPECIFIC_HEAT_J_KGK: Final = 1025.0

# Liquids in the pail. Conductivity and specific heat lie within those of molten
# polyurethane (Fire and Materials, doi 10.1002/fam.2188: 0.186-0.200 W/mK,
# 1960-2080 J/kgK) or just below; all three are assumed, from memory.
LIQUID_CONDUCTIVITY_W_MK: Final = 0.18
LIQUID_DENSITY_KG_M3: Final = 1100.0
LIQUID_SPECIFIC_HEAT_J_KGK: Final = 1900.0
# Wall of a polyethylene pail; from memory.
PAIL_WALL_CONDUCTIVITY_W_MK: Final = 0.45
PAIL_WALL_THICKNESS_M: Final = 0.002

# Melting of ice at 0 °C: CRC Handbook / NIST; from memory. CRD-C 307-91 prints
# 143.5 Btu/lb, which is 333.8 kJ/kg.
FUSION_HEAT_J_KG: Final = 333_550.0
ICE_BATH_C: Final = 0.0

# Surface above dew point before coating; 3 °C or 5 °F; common practice, no source.
DEW_MARGIN_K: Final = 3.0
