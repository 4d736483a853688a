""" "1/8 in" and "82 F" to SI: how a quantity is read, and how a wrong one is refused."""

from __future__ import annotations

import re
from datetime import date, time
from fractions import Fraction
from functools import cache, lru_cache
from itertools import pairwise

from cureplan.core.errors import QuantityError
from cureplan.core.showing import (
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
from cureplan.core.units import (
    AREA_RATE,
    AREAS,
    CONDUCTIVITY,
    COVER,
    DENSITY,
    DIFFERENCE,
    DURATIONS,
    EDGE_RATE,
    ELEVATION,
    EXCHANGE,
    FRACTION,
    LENGTHS,
    LINE_MASS,
    MASSES,
    MOLAR_ENERGY,
    POWER,
    SPECIFIC_HEAT,
    SPREAD_RATE,
    TEMPERATURE,
    VOLUMES,
    Kind,
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
    "parse_duration_s",
    "parse_elevation_m",
    "parse_energy_j_mol",
    "parse_fraction",
    "parse_heat_exchange_w_k",
    "parse_length_m",
    "parse_line_mass_kg_m",
    "parse_mass_kg",
    "parse_power_w",
    "parse_ratio",
    "parse_specific_heat_j_kg_k",
    "parse_spread_rate_m2_m3",
    "parse_temperature_c",
    "parse_temperature_difference_k",
    "parse_volume_m3",
    "read",
    "refusal",
    "refuse_doubtful_time",
    "split_refusal",
]

LONGEST_SHOWN = 80


def refusal(text: object, problem: str, cure: str) -> QuantityError:
    """The error that says why `text` is refused and what to write instead."""
    return QuantityError(f"{_shown(text)}: {problem}; {cure}")


def split_refusal(error: QuantityError, text: object) -> tuple[str, str]:
    """Take a message made by `refusal` for `text` apart into (problem, cure).

    Examples
    --------
    >>> split_refusal(refusal("22", "it has no unit", 'write "22 ft"'), "22")
    ('it has no unit', 'write "22 ft"')
    """
    problem, _, cure = str(error).removeprefix(f"{_shown(text)}: ").partition("; ")
    return problem, cure


def _shown(text: object) -> str:
    # A date written without quotes, as it was written.
    shown = repr(text.isoformat() if isinstance(text, date | time) else text)
    return shown if len(shown) <= LONGEST_SHOWN else shown[: LONGEST_SHOWN - 3] + "..."


LONGEST_TEXT = 60

_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_VULGAR |= {"⅓": "1/3", "⅔": "2/3"}
# Primes and the quotes word processors make of them are feet and inches.
SAME_SIGNS = str.maketrans(
    {"²": "2", "³": "3", "·": " ", "−": "-", "‐": "-", "‑": "-", "º": "°", "⁄": "/"}
    | {"′": "'", "’": "'", "‘": "'", "ʹ": "'", "″": '"', "”": '"', "“": '"', "ʺ": '"'}
    | {"˚": "°", "℃": "°C", "℉": "°F"}
)
_NUMBER = re.compile(
    r"(?:(?P<whole>[0-9]+)(?:\s+|-))?(?P<top>[0-9]+)\s*/\s*(?P<bottom>[0-9]+)"
    r"|(?P<decimal>[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"
)
_WORD = re.compile(r"[^0-9]+?(?=\s*\.?[0-9]|$)")
_WITH_COMMA = re.compile(r"[0-9.,]*[0-9],[0-9][0-9.,]*")
# Which of several signs parts thousands is sure only where no other reading is left.
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?:(?:,[0-9]{3}){2,}|(?:,[0-9]{3})+\.[0-9]+)")
_POINTED_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?:\.[0-9]{3})+,[0-9]+")
_DECIMAL_COMMA = re.compile(r"[0-9]+,(?:[0-9]{1,2}|[0-9]{4,})|0,[0-9]+")
_HOURS_AND_MINUTES = re.compile(r"(?<=[0-9])\s*h\s*([0-5][0-9])$", re.IGNORECASE)
_FULL_NAMES = (
    (re.compile(r"\bdeg(?:ree)?s?\b"), "deg"),
    (re.compile(r"\bdeg(?=[fck]\b)"), "deg "),
    (re.compile(r"\bfahrenheit\b"), "f"),
    (re.compile(r"\b(?:celsius|centigrade)\b"), "c"),
    (re.compile(r"\bkelvin\b"), "k"),
    (re.compile(r"\bper\b"), "/"),
)


def _plain(text: str) -> str:
    for sign, written in _VULGAR.items():
        text = text.replace(sign, f" {written}")
    text = text.translate(SAME_SIGNS).replace("''", '"').replace("°", " deg ")
    text = re.sub(r"\.(?![0-9])", "", text)
    # 14'-6" is how drawings join feet and inches; "14 ft, 6 in" how letters do.
    text = re.sub(r"(?<=[A-Za-z'])\s*,\s+(?=[0-9.])", " ", text)
    text = re.sub(r"('|\b(?:ft|feet|foot))\s*-\s*(?=[0-9.])", r"\1 ", text, flags=re.IGNORECASE)
    return " ".join(text.split())


def _without_commas(text: str, kind: Kind) -> str:
    """Commas inside numbers read as decimals or thousands, where they can be only one."""

    def read_as(match: re.Match[str]) -> str:
        number = match.group()
        if _THOUSANDS.fullmatch(number):
            return number.replace(",", "")
        if _POINTED_THOUSANDS.fullmatch(number):
            return number.replace(".", "").replace(",", ".")
        if _DECIMAL_COMMA.fullmatch(number):
            return number.replace(",", ".")
        whole, point = number.replace(",", ""), number.replace(",", ".")
        cure = f"write {whole} or {point}" if number.count(",") == 1 else kind.cure
        raise refusal(text, "its comma may part thousands or decimals", cure)

    return _WITH_COMMA.sub(read_as, text)


def _unit(word: str) -> str:
    word = word.lower().replace("(", "").replace(")", "").replace("*", " ")
    for pattern, short in _FULL_NAMES:
        word = pattern.sub(short, word)
    return " ".join(re.sub(r"\s*/\s*", "/", word).split())


def _number(match: re.Match[str]) -> Fraction:
    if match["decimal"] is not None:
        return Fraction(match["decimal"])
    return Fraction(int(match["whole"] or 0)) + Fraction(
        int(match["top"]), int(match["bottom"])
    )


def _terms(text: str, plain: str, kind: Kind) -> list[tuple[Fraction, str]]:
    """Numbers with their unit names, in the order written."""
    terms: list[tuple[Fraction, str]] = []
    at = 0
    while at < len(plain):
        match = _NUMBER.match(plain, at)
        if match is None:
            raise refusal(text, f"this is not {kind.noun}", kind.cure)
        if match["bottom"] is not None and int(match["bottom"]) == 0:
            raise refusal(text, "a fraction cannot end in /0", kind.cure)
        word = _WORD.match(plain, match.end()) if kind.chain else None
        end = word.end() if word else len(plain)
        terms.append((_number(match), _unit(plain[match.end() : end])))
        at = end + (len(plain) - end - len(plain[end:].lstrip()))
    return terms


def _exact(text: str, kind: Kind) -> Fraction:
    """SI value of `text`, before the limits are looked at."""
    if not isinstance(text, str):
        raise refusal(text, f"a bare number is not {kind.noun}", kind.cure)
    if len(text) > LONGEST_TEXT:
        raise refusal(text, f"this is too long for {kind.noun}", kind.cure)
    return _summed(text, kind)


# A job and its cards are read again at each answer of an interview or edit at the desk.
@lru_cache(maxsize=4096)
def _summed(text: str, kind: Kind) -> Fraction:
    plain = _plain(_without_commas(text, kind) if "," in text else text)
    if kind is DURATIONS:
        plain = _HOURS_AND_MINUTES.sub(r" h \1 min", plain)
    sign = -1 if plain.startswith("-") else 1
    terms = _terms(text, plain.lstrip("+-").lstrip() if plain[:1] in "+-" else plain, kind)
    if not terms or len(plain) - len(plain.lstrip("+- ")) > 1:
        raise refusal(text, f"this is not {kind.noun}", kind.cure)
    total = Fraction(0)
    for number, name in terms:
        if not name:
            raise refusal(text, f"a bare number is not {kind.noun}", kind.cure)
        if re.match(r"[-–—]|to\b", name):
            raise refusal(text, "a range stands where one value is wanted", kind.cure)
        if name not in kind.units:
            raise refusal(text, f"{name!r} is not a unit of {kind.noun}", kind.cure)
        total += (number * sign - kind.zeros.get(name, 0)) * kind.units[name]
    _check_chain(text, terms, kind)
    return total


def _check_chain(text: str, terms: list[tuple[Fraction, str]], kind: Kind) -> None:
    """Let "14 ft 6 in" pass; "6 in 14 ft", "14 ft 18 in" and "1 m 3 in" are slips."""
    for (_, upper), (number, lower) in pairwise(terms):
        larger, smaller = kind.units[upper], kind.units[lower]
        if not {larger, smaller} <= set(kind.chain) or larger <= smaller:
            raise refusal(text, f"{upper!r} and {lower!r} do not follow each other", kind.cure)
        if number * smaller >= larger:
            raise refusal(text, f"the part in {lower!r} is more than one {upper!r}", kind.cure)


def read(text: str, kind: Kind) -> float:
    """SI value of a text that should be of this kind.

    Examples
    --------
    >>> from cureplan.core.units import LENGTHS
    >>> read("1/8 in", LENGTHS)
    0.003175
    """
    value = _exact(text, kind)
    lowest, highest = _limits(kind)
    if not lowest <= value <= highest:
        low, high = kind.limits
        raise refusal(text, f"{kind.noun} here lies between {low} and {high}", kind.cure)
    return float(value)


@cache
def _limits(kind: Kind) -> tuple[Fraction, Fraction]:
    low, high = kind.limits
    return _exact(low, kind), _exact(high, kind)


def parse_temperature_c(text: str) -> float:
    """Temperature [°C], in one unit or in both; not for differences.

    >>> parse_temperature_c("82.4 F"), parse_temperature_c("28 C")
    (28.0, 28.0)
    >>> parse_temperature_c("68° F (20 °C)"), parse_temperature_c("20 °C/68 °F")
    (20.0, 20.0)
    """
    both = _IN_BOTH_UNITS.fullmatch(text) if isinstance(text, str) else None
    if both is None:
        return read(text, TEMPERATURE)
    return same_temperature_c(text, *(one.strip() for one in both.groups()))


def same_temperature_c(text: str, first: str, again: str) -> float:
    """One temperature that stands in a text in two units [°C]; refused where they differ."""
    first_c, again_c = (read(one.strip(), TEMPERATURE) for one in (first, again))
    if abs(first_c - again_c) > SAME_WITHIN_K:
        raise refusal(text, f"{first} is not {again}", "leave the right one of the two")
    return first_c


_IN_BOTH_UNITS = re.compile(
    r"([^()/=]+[a-z℃℉]\.?\s*)(?:[/=]|\(\s*=?)([^()/=]+[a-z℃℉]\.?\s*)\)?\s*", re.IGNORECASE
)
SAME_WITHIN_K = 1.0
"""A sheet's °F and °C, each rounded to a whole degree or to five: invented."""


def parse_temperature_difference_k(text: str) -> float:
    """Temperature difference [K]; not for temperatures.

    >>> parse_temperature_difference_k("9 F")
    5.0
    """
    return read(text, DIFFERENCE)


def parse_length_m(text: str) -> float:
    """Length [m], never negative.

    >>> parse_length_m("1 1/8 in"), parse_length_m("14 ft 6 in")
    (0.028575, 4.4196)
    """
    return read(text, LENGTHS)


def parse_elevation_m(text: str) -> float:
    """Height above the sea [m]; may be negative.

    >>> parse_elevation_m("-50 ft")
    -15.24
    """
    return read(text, ELEVATION)


def parse_duration_s(text: str) -> float:
    """Duration [s].

    >>> parse_duration_s("1 h 30 min")
    5400.0
    """
    refuse_doubtful_time(text)
    return read(text, DURATIONS)


_NO_PART_OF_AN_HOUR = re.compile(r"[0-9]\s*[/⁄]\s*(?!(?:2|3|4|8)(?![0-9]))[0-9]")


# No one writes "1.200 s" for a second and a fifth, nor a zero behind two decimals of an hour.
_POINT_OR_THOUSANDS = re.compile(
    r"(?<![0-9.,])([1-9][0-9]{0,2})\.([0-9]{2})(?:(0)(?![0-9.,])|([1-9])(?=\s*s))",
    re.IGNORECASE,
)


def refuse_doubtful_time(text: object) -> None:
    """Data sheets write 16/24 h for 16 to 24 h, and some 1.440 min for a day."""
    if not isinstance(text, str):
        return
    if _NO_PART_OF_AN_HOUR.search(text):
        raise refusal(
            text, "its slash may mean a range or a fraction", 'write "16-24 h", or a decimal'
        )
    found = _POINT_OR_THOUSANDS.search(text)
    if found:
        digits = "".join(part or "" for part in found.groups())
        point = found.group().rstrip("0").rstrip(".")
        raise refusal(
            text, "its point may part thousands or decimals", f"write {digits} or {point}"
        )


def parse_mass_kg(text: str) -> float:
    """Mass [kg].

    >>> parse_mass_kg("40 lb")
    18.1436948
    """
    return read(text, MASSES)


def parse_volume_m3(text: str) -> float:
    """Volume [m³]; gallons, quarts and pints are US ones.

    >>> parse_volume_m3("1 gal")
    0.003785411784
    """
    return read(text, VOLUMES)


def parse_area_m2(text: str) -> float:
    """Area [m²].

    >>> parse_area_m2("100 sq ft")
    9.290304
    """
    return read(text, AREAS)


def parse_spread_rate_m2_m3(text: str) -> float:
    """Area covered by a volume [m²/m³].

    >>> parse_spread_rate_m2_m3("10 m2/L")
    10000.0
    """
    return read(text, SPREAD_RATE)


def parse_cover_kg_m2(text: str) -> float:
    """Mass on an area [kg/m²].

    >>> round(parse_cover_kg_m2("0.6 lb/sq ft"), 4)
    2.9295
    """
    return read(text, COVER)


def parse_line_mass_kg_m(text: str) -> float:
    """Mass along a length [kg/m].

    >>> parse_line_mass_kg_m("1500 g/m")
    1.5
    """
    return read(text, LINE_MASS)


def parse_area_rate_m2_s(text: str) -> float:
    """Area worked in a time [m²/s].

    >>> parse_area_rate_m2_s("6 m2/min")
    0.1
    """
    return read(text, AREA_RATE)


def parse_edge_rate_m_s(text: str) -> float:
    """Length worked in a time [m/s].

    >>> parse_edge_rate_m_s("6 m/min")
    0.1
    """
    return read(text, EDGE_RATE)


def parse_density_kg_m3(text: str) -> float:
    """Density [kg/m³].

    >>> parse_density_kg_m3("1.1 kg/L")
    1100.0
    """
    return read(text, DENSITY)


def parse_fraction(text: str) -> float:
    """Share between 0 and 1, written in percent.

    >>> parse_fraction("55 %")
    0.55
    """
    return read(text, FRACTION)


def parse_energy_j_mol(text: str) -> float:
    """Activation energy [J/mol].

    >>> parse_energy_j_mol("50 kJ/mol")
    50000.0
    """
    return read(text, MOLAR_ENERGY)


def parse_specific_heat_j_kg_k(text: str) -> float:
    """Specific heat [J/(kg K)].

    >>> parse_specific_heat_j_kg_k("1.9 kJ/kg K")
    1900.0
    """
    return read(text, SPECIFIC_HEAT)


def parse_conductivity_w_m_k(text: str) -> float:
    """Thermal conductivity [W/(m K)].

    >>> parse_conductivity_w_m_k("0.18 W/m K")
    0.18
    """
    return read(text, CONDUCTIVITY)


def parse_power_w(text: str) -> float:
    """Power [W].

    >>> parse_power_w("0.35 kW")
    350.0
    """
    return read(text, POWER)


def parse_heat_exchange_w_k(text: str) -> float:
    """Heat exchanged per kelvin of difference [W/K].

    >>> parse_heat_exchange_w_k("2 W/K")
    2.0
    """
    return read(text, EXCHANGE)


def parse_ratio(text: str) -> tuple[float, float]:
    """Two parts of a mixing ratio by volume.

    >>> parse_ratio("2 : 1.5")
    (2.0, 1.5)
    """
    cure = 'write a ratio like "1:1"'
    match = re.fullmatch(r"\s*([0-9.]{1,8})\s*:\s*([0-9.]{1,8})\s*", text)
    try:
        first, second = (float(part) for part in match.groups()) if match else (0.0, 0.0)
    except ValueError:
        first = second = 0.0
    if not (0 < first <= 100 and 0 < second <= 100):
        raise refusal(text, "this is not a mixing ratio", cure)
    return first, second
