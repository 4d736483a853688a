"""Dates and clock times as tables of many lands write them; each text is read once."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Literal

__all__ = [
    "DATE_ORDERS",
    "DateOrder",
    "DateText",
    "clock_of",
    "date_of",
    "days_of",
    "orders_that_fit",
]

DateOrder = Literal["dmy", "mdy", "ymd"]
DATE_ORDERS: dict[str, DateOrder] = {
    "day first": "dmy",
    "month first": "mdy",
    "year first": "ymd",
}
"""What a `# dates:` line may say."""


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


# Three letters tell months apart in English, Spanish, German, French, Italian and
# Portuguese, but for juin and juillet.
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan ene gen janv januar january enero gennaio janvier janeiro janner",
            "feb fev febr february febrero febbraio fevrier fevereiro februar",
            "mar mrz mars march marzo marco maerz marz",
            "apr abr avr april abril aprile avril",
            "may mai mag maj mayo maggio maio",
            "jun giu juin june junio giugno junho juni",
            "jul lug juil july julio luglio juillet julho juli",
            "aug ago aou aout august agosto",
            "sep set sept september septiembre settembre septembre setembro",
            "oct okt ott out october oktober octubre ottobre octobre outubro",
            "nov november noviembre novembre novembro",
            "dec dez dic december dezember diciembre dicembre decembre dezembro",
        ),
        start=1,
    )
    for name in names.split()
}
_WEEKDAYS = _words(
    "mon tue wed thu fri sat sun lun mar mie jue vie sab dom mo di mi do fr sa so mer jeu"
    " ven sam dim gio ma me je ve seg ter qua qui sex tues thur thurs monday tuesday"
    " wednesday thursday friday saturday sunday lunes martes miercoles jueves viernes"
    " sabado domingo montag dienstag mittwoch donnerstag freitag samstag sonntag lundi"
    " mardi mercredi jeudi vendredi samedi dimanche"
)
_FILLERS = frozenset(["de", "of", "the", "del"])
_CLOCK = re.compile(
    r"(\d{1,2})(?:\s?[:h.]\s?(\d{2})(?:[:.](\d{2})(?:[.,](\d{1,9}))?)?)?\s?h?(?:r|rs|Uhr)?"
    r"(?:\s?([ap])\.?(?:\s?m\.?)?)?",
    re.IGNORECASE | re.ASCII,
)
_SECONDS_PER_DAY = 86_400
_FORWARD = frozenset(range(8))
_BACKWARD = frozenset(-step for step in range(8))


@dataclass(frozen=True, slots=True)
class DateText:
    """Three numbers of a date and the orders in which they may stand."""

    parts: tuple[int, int, int]
    orders: tuple[DateOrder, ...]

    def day(self, order: DateOrder) -> int | None:
        """The proleptic day number in an order; None where no such date exists."""
        at = {"y": order.index("y"), "m": order.index("m"), "d": order.index("d")}
        year, month, day = (self.parts[at[key]] for key in "ymd")
        year += 0 if year > 99 else (2000 if year < 70 else 1900)
        try:
            return date(year, month, day).toordinal()
        except ValueError:
            return None


def date_of(text: str) -> DateText | None:
    """The numbers of a date; None where the text is none.

    Examples
    --------
    >>> date_of("17.07.2013").orders, date_of("7/8/13").orders
    (('dmy',), ('dmy', 'mdy', 'ymd'))
    >>> date_of("Wed 17 Jul 2013").parts, date_of("July 17, 2013").orders
    ((17, 7, 2013), ('mdy',))
    """
    plain = unicodedata.normalize("NFKD", text.strip().lower())
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    if re.fullmatch(r"\d{8}", plain, re.ASCII):
        return DateText((int(plain[:4]), int(plain[4:6]), int(plain[6:])), ("ymd",))
    words = re.findall(r"[a-z]+", plain)
    numbers = re.findall(r"\d+", plain, re.ASCII)
    if re.search(r"[^\w\s./,\-]", plain) or len(numbers) not in {2, 3}:
        return None
    if len(numbers) == 2:
        return _with_month_name(plain, words, numbers)
    if any(word not in _WEEKDAYS for word in words):
        return None
    return _of_numbers(numbers, re.sub(r"[\w\s,]", "", plain))


def _with_month_name(plain: str, words: Sequence[str], numbers: list[str]) -> DateText | None:
    months = [word for word in words if word in _MONTHS]
    if len(months) == 2:
        # A weekday may bear a month's letters, such as "mar": it stands first.
        months = months[1:]
    rest = [word for word in words if word not in months]
    if len(months) != 1 or any(w not in _WEEKDAYS and w not in _FILLERS for w in rest):
        return None
    month = _MONTHS[months[0]]
    first, second = numbers
    if len(first) == 4:
        return DateText((int(first), month, int(second)), ("ymd",))
    if plain.rindex(months[0]) < plain.index(first):
        return DateText((month, int(first), int(second)), ("mdy",))
    return DateText((int(first), month, int(second)), ("dmy",))


def _of_numbers(numbers: Sequence[str], signs: str) -> DateText | None:
    first, second, third = numbers
    if len(set(signs)) > 1 or len(second) > 2:
        return None
    parts = (int(first), int(second), int(third))
    if len(first) == 4 and len(third) <= 2:
        return DateText(parts, ("ymd",))
    if len(first) > 2:
        return None
    if len(third) == 4:
        # Points between the numbers are written where the day comes first.
        return DateText(parts, ("dmy",) if "." in signs else ("dmy", "mdy"))
    if len(third) == 2:
        return DateText(parts, ("dmy",) if "." in signs else ("dmy", "mdy", "ymd"))
    return None


def orders_that_fit(dates: Iterable[DateText]) -> tuple[DateOrder, ...]:
    """Orders in which every date exists."""
    fit: tuple[DateOrder, ...] = ("dmy", "mdy", "ymd")
    for one in dates:
        fit = tuple(o for o in fit if o in one.orders and one.day(o) is not None)
    return fit


def days_of(
    texts: Sequence[DateText], orders: Sequence[DateOrder]
) -> dict[DateOrder, list[int]]:
    """Of several orders those in which the days follow each other, one way or the other.

    Empty where none or more than one is left and the dates cannot settle it.

    Examples
    --------
    >>> june = [date_of("11/07/2013"), date_of("12/07/2013")]
    >>> list(days_of(june, ("dmy", "mdy")))
    ['dmy']
    >>> list(days_of(june[:1], ("dmy", "mdy")))
    ['dmy', 'mdy']
    """
    found: dict[DateOrder, list[int]] = {}
    for order in orders:
        days = [one.day(order) or 0 for one in texts]
        steps = {after - before for before, after in pairwise(days)}
        # A wrong order makes steps of a month; a gap of a few days is a gap.
        if steps <= _FORWARD or steps <= _BACKWARD:
            found[order] = days
    return found


def clock_of(text: str) -> tuple[float, bool] | None:
    """Seconds after midnight and whether AM or PM stood there; None where it is no clock.

    Examples
    --------
    >>> clock_of("7:05 PM"), clock_of("19h30"), clock_of("12 a. m."), clock_of("24:00")
    ((68700.0, True), (70200.0, False), (0.0, True), (86400.0, False))
    >>> clock_of("19:30:15.5")
    (70215.5, False)
    >>> clock_of("25:00"), clock_of("13:00 PM"), clock_of("7")
    (None, None, None)
    """
    plain = text.strip().replace("\u202f", " ").replace("\xa0", " ")
    match = _CLOCK.fullmatch(plain)
    if match is None or (match[2] is None and match[5] is None):
        return None
    hour, minute, second = int(match[1]), int(match[2] or 0), int(match[3] or 0)
    fraction = float(f"0.{match[4]}") if match[4] else 0.0
    if match[5] is not None:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if match[5].lower() == "p" else 0)
    seconds = hour * 3600 + minute * 60 + second + fraction
    if minute > 59 or second > 59 or seconds > _SECONDS_PER_DAY:
        return None
    return seconds, match[5] is not None
