"""Quantities as sheets show them, in US or metric units.

Rounding lives here alone: time in hand goes down, time to wait goes up.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Literal

from cureplan.core.units import FOOT_M, GALLON_M3, INCH_M, POUND_KG

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
    "in_display_units",
]

Display = Literal["us", "metric"]


def _rounded(value: float, digits: int) -> str:
    # Adding zero turns -0.0 into 0.0, which nobody wants to read.
    return f"{round(value, digits) + 0.0:.{digits}f}"


def format_temperature(temp_c: float, display: Display, *, finer: int = 0) -> str:
    """Temperature to a whole °F, or to a tenth of a °C; or so many digits finer.

    >>> format_temperature(28.0, "us"), format_temperature(28.0, "metric")
    ('82 °F', '28.0 °C')
    """
    if display == "us":
        return f"{_rounded(temp_c * 1.8 + 32, finer)} °F"
    return f"{_rounded(temp_c, 1 + finer)} °C"


def format_temperature_difference(difference_k: float, display: Display) -> str:
    """Temperature difference, in the same steps as a temperature.

    >>> format_temperature_difference(5.0, "us")
    '9 °F'
    """
    if display == "us":
        return f"{_rounded(difference_k * 1.8, 0)} °F"
    return f"{_rounded(difference_k, 1)} °C"


def format_length(length_m: float, display: Display) -> str:
    """Length: sixteenths below a foot, whole inches above; mm below a metre.

    >>> format_length(0.028575, "us"), format_length(4.4196, "us")
    ('1 1/8 in', '14 ft 6 in')
    >>> format_length(0.003175, "metric"), format_length(4.4196, "metric")
    ('3.2 mm', '4.42 m')
    """
    if display == "metric":
        if abs(length_m) < 0.9995:
            return f"{_rounded(length_m * 1000, 1 if abs(length_m) < 0.01 else 0)} mm"
        return f"{_rounded(length_m, 2)} m"
    sign = "-" if length_m < 0 else ""
    inches = abs(length_m) / float(INCH_M)
    if inches < 12 - 1 / 32:
        return sign + _sixteenths(round(inches * 16))
    feet, rest = divmod(round(inches), 12)
    return f"{sign}{feet} ft" + (f" {rest} in" if rest else "")


def _sixteenths(count: int) -> str:
    whole, rest = divmod(count, 16)
    part = str(Fraction(rest, 16)) if rest else ""
    return " ".join(filter(None, [str(whole) if whole or not rest else "", part, "in"]))


def format_film(thickness_m: float, display: Display) -> str:
    """Wet film thickness in mil or mm.

    >>> format_film(0.000508, "us"), format_film(0.000508, "metric")
    ('20 mil', '0.51 mm')
    """
    if display == "us":
        return f"{_rounded(thickness_m / float(INCH_M) * 1000, 0)} mil"
    return f"{_rounded(thickness_m * 1000, 2)} mm"


def _amount(value: float) -> str:
    return _rounded(value, 1 if abs(value) < 99.95 else 0)


def format_mass(mass_kg: float, display: Display) -> str:
    """Mass in lb or kg.

    >>> format_mass(18.1436948, "us")
    '40.0 lb'
    """
    if display == "us":
        return f"{_amount(mass_kg / float(POUND_KG))} lb"
    return f"{_amount(mass_kg)} kg"


def format_volume(volume_m3: float, display: Display) -> str:
    """Volume in gal or L.

    >>> format_volume(0.003785411784, "us"), format_volume(0.003785411784, "metric")
    ('1.0 gal', '3.8 L')
    """
    if display == "us":
        return f"{_amount(volume_m3 / float(GALLON_M3))} gal"
    return f"{_amount(volume_m3 * 1000)} L"


def format_area(area_m2: float, display: Display) -> str:
    """Area in whole sq ft, or m² to a tenth below 100.

    >>> format_area(61.3160064, "us"), format_area(61.3160064, "metric")
    ('660 sq ft', '61.3 m²')
    """
    if display == "us":
        return f"{_rounded(area_m2 / float(FOOT_M) ** 2, 0)} sq ft"
    return f"{_amount(area_m2)} m²"


def format_pace(pace_m2_s: float, display: Display) -> str:
    """Area covered in a minute, to a tenth below 100; the unit ends before "/min".

    >>> format_pace(0.01161288, "us"), format_pace(0.01161288, "metric")
    ('7.5 sq ft', '0.7 m²')
    """
    area_m2 = pace_m2_s * 60.0
    if display == "us":
        return f"{_amount(area_m2 / float(FOOT_M) ** 2)} sq ft"
    return f"{_amount(area_m2)} m²"


def format_working_time(duration_s: float) -> str:
    """Time in hand, rounded down to whole minutes; not for times to wait.

    >>> format_working_time(16.9 * 60), format_working_time(-4.2 * 60)
    ('16 min', '-5 min')
    """
    return _minutes(math.floor(duration_s / 60 + 1e-6))


def format_waiting_time(duration_s: float) -> str:
    """Time to wait, rounded up to whole minutes; not for times in hand.

    >>> format_waiting_time(3.501 * 3600)
    '3 h 31 min'
    """
    return _minutes(math.ceil(duration_s / 60 - 1e-6))


def _minutes(count: int) -> str:
    sign = "-" if count < 0 else ""
    hours, rest = divmod(abs(count), 60)
    parts = [f"{hours} h"] if hours else []
    if rest or not hours:
        parts.append(f"{rest} min")
    return sign + " ".join(parts)


def in_display_units(name: str, value: float, display: Display) -> float | int:
    """A number for a table, by the suffix of its name; what has no unit stays as it is.

    Temperatures to a tenth, volumes to a hundredth, shares in whole percent, rounded down.

    >>> in_display_units("slab_c", 30.42, "us"), in_display_units("volume_m3", 0.01, "us")
    (86.8, 2.64)
    """
    suffix = name.rpartition("_")[2]
    us = display == "us"
    if suffix == "c":
        return round(value * 1.8 + 32 if us else value, 1)
    if suffix == "m3":
        return round(value / (GALLON_M3 if us else 0.001), 2)
    if suffix == "frac":
        return math.floor(value * 100 + 1e-9)
    return value
