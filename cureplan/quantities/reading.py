"""One text read as one kind of quantity, exactly."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise

from cureplan.quantities.refusing import refusal
from cureplan.quantities.units import Kind

__all__ = ["read"]

LONGEST_TEXT = 60

_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_SAME = str.maketrans({"²": "2", "³": "3", "·": " ", "−": "-", "º": "°"})
_NUMBER = re.compile(
    r"(?:(?P<whole>[0-9]+)(?:\s+|-))?(?P<top>[0-9]+)\s*/\s*(?P<bottom>[0-9]+)"
    r"|(?P<decimal>[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"
)
_WORD = re.compile(r"[^0-9]+?(?=\s*\.?[0-9]|$)")


def _plain(text: str) -> str:
    for sign, written in _VULGAR.items():
        text = text.replace(sign, f" {written}")
    text = text.translate(_SAME).replace("°", " deg ")
    text = re.sub(r"\.(?![0-9])", "", text)
    return " ".join(text.split())


def _unit(word: str) -> str:
    word = re.sub(r"\bper\b", "/", word.lower()).replace("(", "").replace(")", "")
    return " ".join(re.sub(r"\s*/\s*", "/", word.replace("*", " ")).split())


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
    if "," in text:
        raise refusal(text, "a comma is not read as part of a number", kind.cure)
    if len(text) > LONGEST_TEXT:
        raise refusal(text, f"this is too long for {kind.noun}", kind.cure)
    plain = _plain(text)
    sign = -1 if plain.startswith("-") else 1
    terms = _terms(text, plain.lstrip("+-").lstrip() if plain[:1] in "+-" else plain, kind)
    if not terms or len(plain) - len(plain.lstrip("+- ")) > 1:
        raise refusal(text, f"this is not {kind.noun}", kind.cure)
    total = Fraction(0)
    for number, name in terms:
        if not name:
            raise refusal(text, f"a bare number is not {kind.noun}", kind.cure)
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

    Parameters
    ----------
    text : str
        As the user wrote it.
    kind : Kind
        One row of the closed table.

    Returns
    -------
    float
        In the SI unit of the kind, or °C.

    Raises
    ------
    QuantityError
        A bare number, an unknown unit, or a magnitude no kitchen has.

    Examples
    --------
    >>> from cureplan.quantities.units import LENGTHS
    >>> read("1/8 in", LENGTHS)
    0.003175
    """
    value = _exact(text, kind)
    low, high = kind.limits
    if not _exact(low, kind) <= value <= _exact(high, kind):
        raise refusal(text, f"{kind.noun} here lies between {low} and {high}", kind.cure)
    return float(value)
