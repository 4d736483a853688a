"""Times as data sheets print them: ranges, bounds, and what they were taken at."""

from __future__ import annotations

import re

from cureplan.core.errors import QuantityError
from cureplan.core.quantities import (
    LONGEST_TEXT,
    SAME_SIGNS,
    read,
    refusal,
    refuse_doubtful_time,
    same_temperature_c,
    split_refusal,
)
from cureplan.core.units import DURATIONS

__all__ = ["parse_duration_range_s", "split_printed", "without_bound"]

_RANGE_CURE = 'write a range like "3.5-4 h", the sooner end first (units: s, min, h, d)'
_DEGREES = (
    r"[-+]?[0-9.,]+\s*(?:°|º|deg(?:ree)?s?\.?)?\s*(?:fahrenheit|celsius|kelvin|F|C|K)(?![a-z])"
)
_AT = r"(?:\b(?:at|bei|a)\b|à|@)"
_PRINTED = re.compile(
    rf"(?P<time>.+?)\s*{_AT}\s*(?P<temp>{_DEGREES})\.?"
    rf"(?:\s*(?:/|\()\s*(?P<again>{_DEGREES})\s*\)?)?"
    rf"(?:\s*(?:[,;/&]|\b(?:and|und|y|et)\b)?\s*{_AT}?\s*(?P<share>[0-9.,]+\s*(?:%|percent))"
    r"\s*(?:r\.?\s*[hf]\.?|h\.?\s*r\.?|(?:rel\S*\s*)?(?:hum\S*)?)?\.?)?\s*",
    re.IGNORECASE,
)
_TEMP_FIRST = re.compile(
    rf"(?:{_AT}\s*)?(?P<temp>{_DEGREES}[^:]*):\s*(?P<time>.+)", re.IGNORECASE
)
_TEMP_IN_BRACKETS = re.compile(
    rf"(?P<time>[^()@]+?)\s*\((?:{_AT}\s*)?(?P<temp>{_DEGREES}.*)\)", re.IGNORECASE
)


def split_printed(text: str) -> tuple[str, str, str] | None:
    """Time, temperature and humidity of what a data sheet prints; None where it is not that.

    >>> split_printed("15 to 20 min at 70 F, 50 % RH")
    ('15 to 20 min', '70 F', '50 %')
    >>> split_printed("3-4 h @ 70°F (21°C)"), split_printed("70 °F: 20 min")
    (('3-4 h', '70°F', ''), ('20 min', '70 °F', ''))
    """
    if len(text) > 2 * LONGEST_TEXT:
        return None
    plain = text.translate(SAME_SIGNS)
    found = _PRINTED.fullmatch(plain)
    if found is None:
        turned = _TEMP_FIRST.fullmatch(plain) or _TEMP_IN_BRACKETS.fullmatch(plain)
        found = _PRINTED.fullmatch(f"{turned['time']} at {turned['temp']}") if turned else None
    if found is None:
        return None
    if found["again"]:
        same_temperature_c(text, found["temp"], found["again"])
    return found["time"], found["temp"], found["share"] or ""


_DIGITS = "0-9½¼¾⅓⅔"
"""For a class of signs: what a number begins or ends with."""
_ABOUT = re.compile(
    rf"(?:approx(?:\.|imately)?|aprox\.?|about|around|roughly|circa|ca\.?|env\.?|~|≈)\s*(?=[{_DIGITS}])",
    re.IGNORECASE,
)
_CLOCK_HOURS = re.compile(
    r"([0-9]{1,2}):([0-5][0-9])\s*(?:hh?:mm|h:min|h|hrs?|hours?)\b\.?", re.IGNORECASE
)
_LEAST_OR_MOST = r"max(?:imum)?|m[áa]x(?:imo)?|min(?:imum)?|m[íi]n(?:imo)?|mind(?:estens)?"
_BOUND_BEFORE = re.compile(
    rf"\A\s*(?:\(?(?:{_LEAST_OR_MOST}|höchstens|at least|at most|up to|within|after"
    r"|no(?:t)? (?:more|less|later|sooner|longer) than|al menos|como m[áa]ximo|hasta"
    rf"|bis(?: zu)?|[<>≤≥]=?)\.?\)?[\s:]*)+(?=[{_DIGITS}.])",
    re.IGNORECASE,
)
_BOUND_AFTER = re.compile(
    rf"(?<=[a-z.'])(?:\s+|\s*[,(]\s*)(?:{_LEAST_OR_MOST}|or (?:more|less|longer))\.?\)?\s*$",
    re.IGNORECASE,
)
_PLUS = re.compile(
    rf"(?<=[{_DIGITS}])\s*\+(?=\s*[a-z]|\s*$)|(?<=[a-z.])\s*\+\s*$", re.IGNORECASE
)
"""Four hours or more, as "4+ h"."""
_LEAST = re.compile(
    rf"(?<![{_DIGITS}])(?<![{_DIGITS}] )\b(?:min|m[íi]n)(?:imum|imo)?\b|\bmind(?:estens)?\b"
    r"|at least|al menos|\bnot? (?:less|sooner) than|or (?:more|longer)|[>≥]",
    re.IGNORECASE,
)
_MOST = re.compile(
    r"\bm[aá]x(?:imum|imo)?\b|höchstens|at most|up to|within|\bnot? (?:more|later|longer) than"
    r"|or less|[<≤]",
    re.IGNORECASE,
)
_FROM = re.compile(
    rf"\A\s*(?:from|de|von|between|entre|zwischen)\s+(?=[{_DIGITS}])", re.IGNORECASE
)
_BETWEEN = re.compile(r"\s+(?:and|y|et|und)\s+", re.IGNORECASE)
_TO = re.compile(
    r"\s*(?:\.{2,3}|…)\s*|\s+(?:to|till|until|bis|à|a|hasta)\s+|[–—]|\s+-\s+", re.IGNORECASE
)
_MORE_OR_LESS = re.compile(
    rf"(?P<mid>[{_DIGITS}.,/\s]+?)(?P<one>[a-z]+\.?)?\s*(?:±|\+/-|\+-)\s*(?P<off>[{_DIGITS}.,/\s]+)"
    r"(?P<unit>[a-z]+\.?|%)",
    re.IGNORECASE,
)


def without_bound(text: str) -> str:
    """A printed time without "max." or "at least": the bound itself is what is planned on.

    >>> without_bound("max. 20 min"), without_bound("4 h min."), without_bound("1 h 30 min")
    ('20 min', '4 h', '1 h 30 min')
    >>> without_bound("4+ h"), without_bound("20 min +")
    ('4 h', '20 min')
    """
    if _LEAST.search(text) and _MOST.search(text):
        raise refusal(
            text,
            "a least and a most time are two milestones",
            "write the least for the one that opens, the most for the one that closes",
        )
    text = _PLUS.sub("", text)
    return _BOUND_AFTER.sub("", _BOUND_BEFORE.sub("", text, count=1))


def parse_duration_range_s(text: str) -> tuple[float, float]:
    """Both ends of a duration given as one value or as a range [s].

    >>> parse_duration_range_s("3-1/2 to 4 h"), parse_duration_range_s("16 min")
    ((12600.0, 14400.0), (960.0, 960.0))
    >>> parse_duration_range_s("approx. 20 ± 2 min"), parse_duration_range_s("1:30 h")
    ((1080.0, 1320.0), (5400.0, 5400.0))
    """
    if not isinstance(text, str) or len(text) > LONGEST_TEXT:
        return (read(text, DURATIONS),) * 2
    bare = _CLOCK_HOURS.sub(r"\1 h \2 min", without_bound(_ABOUT.sub("", text)))
    try:
        return _ends_s(bare)
    except QuantityError as error:
        raise refusal(text, *split_refusal(error, bare)) from error


def _ends_s(text: str) -> tuple[float, float]:
    refuse_doubtful_time(text)
    off = _MORE_OR_LESS.fullmatch(text.strip())
    if off and (off["one"] or off["unit"] != "%"):
        return _about_middle_s(text, off)
    text = text.translate(SAME_SIGNS)
    if _FROM.match(text):
        text = _BETWEEN.sub("-", _FROM.sub("", text), count=1)
    # "1-1/2" is one and a half, as "1/2-3/4" is a range.
    plain = re.sub(r"(?<![0-9/.])([0-9]+)-([0-9]+/[0-9]+)", r"\1 \2", text)
    early, separator, late = _TO.sub("-", plain).partition("-")
    if not separator or not early.strip():
        return (read(text, DURATIONS),) * 2
    unit = re.sub(rf"[{_DIGITS}.,/\s]", "", late)
    if re.fullmatch(rf"[{_DIGITS}.,/\s]+", early):
        early = f"{early} {unit}"
    try:
        ends = read(early, DURATIONS), read(late, DURATIONS)
    except QuantityError as error:
        raise refusal(text, "this is not a range of durations", _RANGE_CURE) from error
    if ends[0] > ends[1]:
        raise refusal(text, "the range runs backwards", _RANGE_CURE)
    return ends


def _about_middle_s(text: str, off: re.Match[str]) -> tuple[float, float]:
    unit = off["unit"]
    middle_s = read(f"{off['mid']} {off['one'] or unit}", DURATIONS)
    number_s = read(f"{off['off']} {'s' if unit == '%' else unit}", DURATIONS)
    off_s = middle_s * number_s / 100.0 if unit == "%" else number_s
    if off_s >= middle_s:
        raise refusal(text, "it may be off by all of itself", _RANGE_CURE)
    return middle_s - off_s, middle_s + off_s
