"""Names as the user wrote them, made harmless for any sheet."""

from __future__ import annotations

import re
import unicodedata
from functools import cache

from cureplan.output.language.catalogue import LANGUAGES, catalogue

__all__ = ["display_width", "fit", "folded", "kept_together", "one_line"]

FIRST_STRONG_ISOLATE = "\u2068"
POP_ISOLATE = "\u2069"
# Embeddings, overrides and isolates would turn the rest of a line around.
_BIDI_CONTROLS = frozenset(
    "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c"
)
_UNITS = "min h s lb kg gal L ft in m mm °F °C"
_JOINERS = frozenset("\u200c\u200d")
_RIGHT_TO_LEFT = frozenset({"R", "AL"})


def one_line(text: str) -> str:
    r"""One line, no control signs, right-to-left words kept apart from the rest.

    Not an escape for HTML, CSV or calendars; each of those has its own.

    Examples
    --------
    >>> one_line("Cook\nline\t\x07")
    'Cook line'
    """
    kept = []
    for sign in text:
        category = unicodedata.category(sign)
        if category == "Cc":
            kept.append(" ")
        elif sign in _JOINERS or (category not in ("Cf", "Cs") and sign not in _BIDI_CONTROLS):
            kept.append(sign)
    line = " ".join("".join(kept).split())
    if any(unicodedata.bidirectional(sign) in _RIGHT_TO_LEFT for sign in line):
        return f"{FIRST_STRONG_ISOLATE}{line}{POP_ISOLATE}"
    return line


def display_width(text: str) -> int:
    """Columns a text takes in a terminal.

    Examples
    --------
    >>> display_width("niño"), display_width("厨房")
    (4, 4)
    """
    return sum(_sign_width(sign) for sign in text)


def _sign_width(sign: str) -> int:
    if unicodedata.category(sign) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(sign) in ("W", "F") else 1


def folded(text: str, width: int) -> list[str]:
    """A text over as many lines as it needs, none wider than a number of columns.

    Examples
    --------
    >>> folded("Preparation and cold storage", 15)
    ['Preparation and', 'cold storage']
    >>> folded("Preparation", 6)
    ['Prepar', 'ation']
    """
    isolated = text.startswith(FIRST_STRONG_ISOLATE)
    lines = [""]
    for word in text.strip(FIRST_STRONG_ISOLATE + POP_ISOLATE).split(" "):
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if display_width(joined) <= width:
            lines[-1] = joined
            continue
        lines += [""] if lines[-1] else []
        for sign in word:
            if display_width(lines[-1] + sign) > width and lines[-1]:
                lines.append("")
            lines[-1] += sign
    if isolated:
        return [f"{FIRST_STRONG_ISOLATE}{line}{POP_ISOLATE}" for line in lines]
    return lines


def fit(text: str, width: int) -> str:
    """Cut a text to a number of columns, the cut shown by an ellipsis; what ends it in
    brackets tells one part of a room from the next, and stays.

    Examples
    --------
    >>> fit("Preparation", 6), fit("Great hall (2 of 3)", 14)
    ('Prepa…', 'Great…(2 of 3)')
    """
    if display_width(text) <= width:
        return text
    tail = text[text.rindex("(") :] if text.endswith(")") and "(" in text else ""
    if 0 < display_width(tail) < width:
        return fit(text[: -len(tail)], width - display_width(tail)) + tail
    kept = ""
    for sign in text:
        if display_width(kept + sign) > width - 1:
            break
        kept += sign
    kept = kept.rstrip()
    if kept.startswith(FIRST_STRONG_ISOLATE) and not kept.endswith(POP_ISOLATE):
        kept += POP_ISOLATE
    return kept + "…" if width > 0 else ""


def kept_together(text: str) -> str:
    r"""A text whose numbers stay with their units, and days with their times, in one line.

    Examples
    --------
    >>> kept_together("Wed 21:40, 4 h 7 min")
    'Wed\xa021:40, 4\xa0h\xa07\xa0min'
    """
    return _torn().sub("\u00a0", text)


@cache
def _torn() -> re.Pattern[str]:
    """The blanks at which no line may break, in any language there is."""
    named = {unit for language in LANGUAGES for unit in catalogue(language).units.values()}
    units = "|".join(map(re.escape, sorted({*_UNITS.split(), *named})))
    return re.compile(
        rf"(?<=\d h) (?=\d)|(?<=\d) (?=(?:{units})\b)|(?<=\b\w{{3}}) (?=\d\d:\d\d\b)"
    )
