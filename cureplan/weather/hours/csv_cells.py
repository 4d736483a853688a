"""Cells of numbers as people and loggers write them; each text is read once."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["MISSING_MARKS", "NumberText", "NumberTexts", "number_of", "numbers_of"]


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_COMMA = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_WITH_UNIT = re.compile(
    r"([+-]?[\d.,]+(?:[eE][+-]?\d+)?)\s*(°\s*[CF]|deg\s?[CF]|[CF]|º[CF]|°|%|% ?rh|% ?rf|% ?hr)",
    re.ASCII | re.IGNORECASE,
)
_BLANK = _words(
    "na n/a nan null none nil - -- --- – — . .. / // /// //// m mm missing nodata n.a. nd n/d"
    " s/d #n/a #value! #ref! #div/0! ? fehlt k.a. error err ovfl inf -inf +inf"
)
# Numbers that no gauge of air reads and many files write for "no value".
MISSING_MARKS = frozenset(
    {-99.0, -99.9, -99.99, -999.0, -999.9, -999.99, -9999.0, -9999.9, -9999.99, -6999.0,
     -7999.0, -32768.0, 999.0, 999.9, 999.99, 9999.0, 9999.9, 9999.99, 6999.0, 7999.0, 32767.0}
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class NumberText:
    """What a cell says: a value (NaN for none), its unit if one stands there."""

    value: float
    unit: str = ""
    comma: bool = False
    marked: bool = False
    """Whether a number such as -9999 stood for "no value"."""


@dataclass(frozen=True, slots=True)
class NumberTexts:
    """A column's values, and what its cells show beyond them."""

    values: list[float]
    units: frozenset[str]
    commas: bool
    marked: int
    bad: int | None
    """First row whose text is no number."""


def number_of(text: str) -> NumberText | None:
    """One cell; None where it is no number.

    Examples
    --------
    >>> number_of(" 30,5 °C").value, number_of("60%").unit, number_of("NA").value
    (30.5, '%', nan)
    >>> number_of("3_0"), number_of("1.234,5"), number_of("hot")
    (None, None, None)
    """
    plain = text.strip().strip('"').strip().replace("\u2212", "-").replace("\xa0", " ")
    if not plain or plain.lower() in _BLANK:
        return NumberText(math.nan)
    unit = ""
    match = _WITH_UNIT.fullmatch(plain)
    if match:
        plain, unit = match[1], re.sub(r"[^CF%]", "", match[2].upper())[:1]
    comma = bool(_COMMA.fullmatch(plain))
    if comma:
        plain = plain.replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        return None
    value = float(plain)
    if not math.isfinite(value):
        return None
    if value in MISSING_MARKS:
        return NumberText(math.nan, unit, comma, marked=True)
    return NumberText(value, unit, comma)


def numbers_of(texts: Sequence[str]) -> NumberTexts:
    """A whole column of cells."""
    known = {text: number_of(text) for text in set(texts)}
    bad = None
    if None in known.values():
        bad = next(n for n, text in enumerate(texts) if known[text] is None)
    read = {text: cell or NumberText(math.nan) for text, cell in known.items()}
    cells = read.values()
    marked = {text for text, cell in read.items() if cell.marked}
    values = {text: cell.value for text, cell in read.items()}
    return NumberTexts(
        values=[values[text] for text in texts],
        units=frozenset(cell.unit for cell in cells if not math.isnan(cell.value)),
        commas=any(cell.comma for cell in cells),
        marked=sum(text in marked for text in texts) if marked else 0,
        bad=bad,
    )
