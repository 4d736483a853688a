"""The closed table: every kind of quantity, and every unit it may be written in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

__all__ = [
    "AREAS",
    "AREA_RATE",
    "BTU_J",
    "CONDUCTIVITY",
    "COVER",
    "DENSITY",
    "DIFFERENCE",
    "DURATIONS",
    "EDGE_RATE",
    "ELEVATION",
    "EXCHANGE",
    "FOOT_M",
    "FRACTION",
    "GALLON_M3",
    "INCH_M",
    "KELVIN_PER_F",
    "LENGTHS",
    "LINE_MASS",
    "MASSES",
    "MOLAR_ENERGY",
    "POUND_KG",
    "POWER",
    "SPECIFIC_HEAT",
    "SPREAD_RATE",
    "TEMPERATURE",
    "VOLUMES",
    "Kind",
]

# Defined exactly: the international inch and pound (1959), the US gallon of 231 cubic
# inches, and the International Table Btu (1 Btu/lb = 2326 J/kg).
INCH_M = Fraction(254, 10_000)
FOOT_M = 12 * INCH_M
POUND_KG = Fraction(45_359_237, 100_000_000)
GALLON_M3 = 231 * INCH_M**3
BTU_J = 2326 * POUND_KG
KELVIN_PER_F = Fraction(5, 9)


def _names(scale: Fraction | int, names: str) -> dict[str, Fraction]:
    return {name.strip(): Fraction(scale) for name in names.split(",")}


def _per(upper: Mapping[str, Fraction], lower: Mapping[str, Fraction]) -> dict[str, Fraction]:
    return {f"{a}/{b}": fa / fb for a, fa in upper.items() for b, fb in lower.items()}


_FT = _names(FOOT_M, "ft, foot, feet, '")
_IN = _names(INCH_M, 'in, inch, inches, "')
_LENGTH = (
    _FT
    | _IN
    | _names(INCH_M / 1000, "mil, mils, thou")
    | _names(Fraction(1, 1000), "mm")
    | _names(Fraction(1, 100), "cm")
    | _names(1, "m, meter, meters, metre, metres")
)
_AREA = _names(FOOT_M**2, "sq ft, sqft, sf, ft2, square feet, square foot") | _names(
    1, "m2, sq m, sqm, square meters, square metres"
)
_VOLUME = (
    _names(GALLON_M3, "gal, gallon, gallons")
    | _names(GALLON_M3 / 4, "qt, quart, quarts")
    | _names(GALLON_M3 / 8, "pt, pint, pints")
    | _names(GALLON_M3 / 128, "fl oz")
    | _names(FOOT_M**3, "cu ft, cuft, cf, ft3, cubic feet, cubic foot")
    | _names(Fraction(1, 1000), "l, liter, liters, litre, litres")
    | _names(Fraction(1, 1_000_000), "ml")
    | _names(1, "m3, cu m")
)
_MASS = (
    _names(POUND_KG, "lb, lbs, #, pound, pounds")
    | _names(POUND_KG / 16, "oz, ounce, ounces")
    | _names(1, "kg, kilogram, kilograms")
    | _names(Fraction(1, 1000), "g, gram, grams")
)
_DURATION = (
    _names(86_400, "d, day, days, día, días, dia, dias, tag, tage, jour, jours")
    | _names(3600, "h, hr, hrs, hour, hours, hora, horas, stunde, stunden, heure, heures, ore")
    | _names(60, "min, mins, minute, minutes, minuto, minutos, minuten, minuti")
    | _names(1, "s, sec, secs, second, seconds, segundo, segundos, sekunden, secondes")
)
_KELVIN = _names(1, "k, c") | _names(KELVIN_PER_F, "f")
_ENERGY = _names(1, "j") | _names(1000, "kj")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kind:
    """One kind of quantity: its units, and how a message speaks of it."""

    noun: str
    units: Mapping[str, Fraction]
    shown: str
    example: str
    limits: tuple[str, str]
    zeros: Mapping[str, Fraction] = field(default_factory=dict)
    chain: tuple[Fraction, ...] = ()
    """Units that may follow one another in one text, largest first."""

    @property
    def cure(self) -> str:
        return f"write {self.noun} like {self.example} (units: {self.shown})"


TEMPERATURE = Kind(
    noun="a temperature",
    units=_names(KELVIN_PER_F, "f, deg f") | _names(1, "c, deg c, k, deg k"),
    zeros=_names(32, "f, deg f") | _names(Fraction(27315, 100), "k, deg k"),
    shown="F, C",
    example='"82 F" or "28 C"',
    limits=("-60 C", "120 C"),
)
DIFFERENCE = Kind(
    noun="a temperature difference",
    units=_names(KELVIN_PER_F, "f, deg f") | _names(1, "c, deg c, k"),
    shown="F, C, K",
    example='"5 F" or "3 C"',
    limits=("-100 C", "100 C"),
)
LENGTHS = Kind(
    noun="a length",
    units=_LENGTH,
    shown="in, ft, mil, mm, cm, m",
    example='"1 1/8 in", "14 ft 6 in" or "3 mm"',
    limits=("0 m", "10000 m"),
    chain=(FOOT_M, INCH_M),
)
ELEVATION = Kind(
    noun="an elevation",
    units=_FT | _names(1, "m"),
    shown="m, ft",
    example='"3 m" or "10 ft"',
    limits=("-430 m", "9000 m"),
)
DURATIONS = Kind(
    noun="a duration",
    units=_DURATION,
    shown="s, min, h, d",
    example='"12 min" or "1 h 30 min"',
    limits=("0 s", "366 d"),
    chain=(Fraction(86_400), Fraction(3600), Fraction(60), Fraction(1)),
)
MASSES = Kind(
    noun="a mass",
    units=_MASS,
    shown="lb, oz, kg, g",
    example='"40 lb" or "18 kg"',
    limits=("0 kg", "100000 kg"),
    chain=(POUND_KG, POUND_KG / 16),
)
VOLUMES = Kind(
    noun="a volume",
    units=_VOLUME,
    shown="gal, qt, pt, fl oz, cu ft, L, mL, m3",
    example='"5 gal" or "3.8 L"',
    limits=("0 L", "1000 m3"),
)
AREAS = Kind(
    noun="an area",
    units=_AREA,
    shown="sq ft, m2",
    example='"250 sq ft" or "23 m2"',
    limits=("0 m2", "1000000 m2"),
)
SPREAD_RATE = Kind(
    noun="a spread rate",
    units=_per(_AREA, _VOLUME),
    shown="sq ft/gal, m2/L",
    example='"90 sq ft/gal"',
    limits=("0 m2/L", "1000 m2/L"),
)
COVER = Kind(
    noun="a cover",
    units=_per(_MASS, _AREA) | _names(POUND_KG / FOOT_M**2, "psf"),
    shown="lb/sq ft, oz/sq ft, kg/m2, g/m2",
    example='"0.6 lb/sq ft" or "3 kg/m2"',
    limits=("0 kg/m2", "1000 kg/m2"),
)
LINE_MASS = Kind(
    noun="a mass along a wall",
    units=_per(_MASS, _LENGTH),
    shown="lb/ft, oz/ft, kg/m, g/m",
    example='"1.2 lb/ft" or "1.8 kg/m"',
    limits=("0 kg/m", "1000 kg/m"),
)
AREA_RATE = Kind(
    noun="a pace",
    units=_per(_AREA, _DURATION),
    shown="sq ft/min, sq ft/h, m2/min, m2/h",
    example='"20 sq ft/min"',
    limits=("0 m2/s", "100 m2/s"),
)
EDGE_RATE = Kind(
    noun="a pace along an edge",
    units=_per(_LENGTH, _DURATION),
    shown="ft/min, ft/h, m/min, m/h",
    example='"10 ft/min"',
    limits=("0 m/s", "100 m/s"),
)
DENSITY = Kind(
    noun="a density",
    units=_per(_MASS, _VOLUME | _names(Fraction(1, 1_000_000), "cm3, cc"))
    | _names(POUND_KG / FOOT_M**3, "pcf"),
    shown="kg/L, kg/m3, g/cm3, lb/gal, lb/cu ft",
    example='"1.1 kg/L" or "9 lb/gal"',
    limits=("0 kg/m3", "30000 kg/m3"),
)
FRACTION = Kind(
    noun="a share",
    units=_names(Fraction(1, 100), "%, percent, pct, % rh, percent rh"),
    shown="%",
    example='"55 %"',
    limits=("0 %", "100 %"),
)
MOLAR_ENERGY = Kind(
    noun="an activation energy",
    units=_per(_ENERGY | _names(4184, "kcal"), _names(1, "mol")),
    shown="kJ/mol, kcal/mol, J/mol",
    example='"50 kJ/mol"',
    limits=("0 kJ/mol", "500 kJ/mol"),
)
SPECIFIC_HEAT = Kind(
    noun="a specific heat",
    units={f"{j}/kg {k}": fj / fk for j, fj in _ENERGY.items() for k, fk in _KELVIN.items()}
    | {"btu/lb f": BTU_J / POUND_KG / KELVIN_PER_F},
    shown="kJ/kg K, J/kg K, Btu/lb F",
    example='"1.9 kJ/kg K"',
    limits=("0 kJ/kg K", "100 kJ/kg K"),
)
CONDUCTIVITY = Kind(
    noun="a conductivity",
    units={"w/m k": Fraction(1), "w/m c": Fraction(1)}
    | {"btu/h ft f": BTU_J / 3600 / FOOT_M / KELVIN_PER_F},
    shown="W/m K, Btu/h ft F",
    example='"0.18 W/m K"',
    limits=("0 W/m K", "1000 W/m K"),
)
POWER = Kind(
    noun="a power",
    units=_names(1, "w") | _names(1000, "kw") | _names(BTU_J / 3600, "btu/h"),
    shown="W, kW, Btu/h",
    example='"350 W"',
    limits=("0 W", "1000 kW"),
)
EXCHANGE = Kind(
    noun="a heat exchange",
    units={"w/k": Fraction(1), "w/c": Fraction(1), "btu/h f": BTU_J / 3600 / KELVIN_PER_F},
    shown="W/K, Btu/h F",
    example='"2 W/K"',
    limits=("0 W/K", "10000 W/K"),
)
