"""When a forecast was made, as its file says it in free words."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

from cureplan.weather.hours.csv_dates import clock_of, date_of
from cureplan.weather.hours.csv_zones import zone_of

__all__ = ["Known", "issue_words", "issued_in", "names_a_day", "plain_letters", "zone_said"]

# Words of making, in English, Spanish, German, French, Italian, Portuguese, Dutch and Swedish.
_MADE = re.compile(
    r"\b(?:issued|issue ?time|issuance|made|created|generated|produced|run|runtime|model ?run"
    r"|base ?time|reference ?time|analysis ?time|init|initiali[sz]ed|cycle|as of|updated"
    r"|last ?update|emitid[oa]|emision|elaborad[oa]|ausgegeben|ausgabe|erstellt|stand|lauf"
    r"|modelllauf|emis|emise|emission|publie|produit|emess[oa]|aggiornat[oa]|uitgegeven"
    r"|gemaakt|utfardad|skapad)\b[\s:=]*(?:on|at|am|um|vom|le|a|el|las|the|der|del|den|op)?\b(.*)"
)
_CLOCK = re.compile(
    r"(?<![\d.:/\-])(\d{1,2}(?:[:h]\d{2}(?::\d{2}(?:\.\d+)?)?|\.\d{2}(?!\.?\d))"
    r"(?:\s?[ap]\.?\s?m\b\.?)?|\d{1,2}\s?[ap]\.?\s?m\b\.?|\d{3,4}\s?[ap]\.?m\b\.?"
    r"|\d{1,2}(?=\s?(?:z|utc|gmt|uhr|h)\b)|\d{4}(?=\s?(?:z|utc|gmt)\b)|noon|midnight)",
)
_STAMP = re.compile(
    r"\d{4}-?\d\d-?\d\d[t ]\d\d(?::?\d\d)?(?::?\d\d)?(?:\.\d+)?\s?(?:z|[+\-]\d\d:?\d\d)?"
)
_DIGITS = re.compile(r"\b(20\d{6})(\d\d)(\d\d)?z?\b")
_ZONE = re.compile(
    r"\s?(?:uhr|h|hrs|hours)?\s*\(?((?:utc|gmt)\s?[+\-]\s?\d{1,2}(?::?\d\d)?|[+\-]\d\d:?\d\d"
    r"|[a-z]{1,2}[sd]t|utc|gmt|zulu|z|cet|cest|mez|mesz|wet|west|eet|eest|[ecmp]t|[a-z]{2}[sd]t"
    r"|[a-z]+/[a-z_]+)\)?(?![a-z])"
)
_OF_TIMES = re.compile(
    r"\b(?:times?|timestamps?|hours?|clock|heures?|horaires?|horas?|hora|zeit|zeiten|uhrzeit|uhrzeiten"
    r"|zeitangaben?|zeitstempel|zeitzone|ore|orari|orario|fuso|czas|czasy|godziny|strefa|tijd"
    r"|tijden|tijdzone|tid|tider|fuseau|time ?zone|zona)\b"
)
_PROSE_ZONE = re.compile(
    r"(?<!\d )(?<!\d)((?:UTC|GMT)\s?[+\-\u2212]\s?\d{1,2}(?::?\d{2})?|[+\-]\d{2}:\d{2}"
    r"|\b[A-Z][a-z]+/[A-Z][A-Za-z_]+|\b(?:UTC|GMT|TUC|CES?T|MES?Z|WES?T|EES?T|[ECMP][SD]T)\b)"
)
_SHIFT = re.compile(
    r"(?:utc|gmt)[\s_]*offset(?:\s*\(?h(?:ours)?\)?)?[\s:=;]*"
    r"([+\-]\s?\d{1,2}(?::\d\d)?)(?!\d)"
)
_ANY = datetime(2021, 1, 1, tzinfo=UTC)
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_LATER = timedelta(hours=1)
_EARLY = timedelta(days=60)
# With a year first, for a date without one may be part of it.
_DATES = (
    r"\d{1,4}[./\-]\d{1,2}[./\-]\d{2,4}|\b20\d{6}\b",
    r"\b\d{1,2}\.?[\s\-]+[a-z]{3,}\.?,?[\s\-]+\d{4}",
    r"\b[a-z]{3,}\.?\s+\d{1,2},?\s+\d{4}",
    r"\b\d{1,2}\.?\s+[a-z]{3,}",
    r"\b[a-z]{3,}\.?\s+\d{1,2}\b",
    r"\b\d{1,2}[./]\d{1,2}\b",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What helps with a date that lacks its year, or a clock that lacks its date.

    `rows` are the first and last instant of the table, `latest` when the file was at the
    latest written, `zone` the clock where nothing else is said.
    """

    rows: tuple[datetime, datetime]
    latest: datetime
    zone: tzinfo


def issue_words(remarks: Iterable[tuple[str, int]]) -> tuple[tuple[str, int], ...]:
    """Of numbered remarks what follows a word of making, in plain small letters.

    Examples
    --------
    >>> issue_words([("Forecast issued: Saturday 14 June 3 PM CDT", 1), ("a roof's gauge", 2)])
    (('saturday 14 june 3 pm cdt', 1),)
    """
    found = ((_MADE.search(plain_letters(text)), line) for text, line in remarks)
    # "12Z run": the hour may stand before the word.
    return tuple(
        (match[1].strip(" :=,;\t") or match.string[: match.start()].strip(), line)
        for match, line in found
        if match
    )


def zone_said(remarks: Iterable[tuple[str, int]]) -> str:
    """The clock that remarks beside a table name for its times; "" where none does.

    Examples
    --------
    >>> zone_said([("Zeitangaben in UTC", 1)]), zone_said([("Time zone EST (GMT-5)", 1)])
    ('UTC', 'EST')
    >>> zone_said([("UTC offset: -5", 1)]), zone_said([("Issued at 12 UTC", 1)])
    ('-5', '')
    >>> zone_said([("Time zone: America/New_York. Times are UTC", 1)])
    'America/New_York or UTC'
    """
    found: dict[object, str] = {}
    for text, _ in remarks:
        plain = plain_letters(text)
        shifts = [shift.replace(" ", "") for shift in _SHIFT.findall(plain)]
        # "Issued at 12 UTC" and "sunrise 05:41 EDT" are clocks of one instant, not of the rows.
        if not shifts and _OF_TIMES.search(plain) and not _MADE.search(plain):
            shifts = _PROSE_ZONE.findall(text)
        for shift in shifts:
            clock = zone_of(shift, None, _ANY)
            fixed = clock.utcoffset(None) if clock else None
            found.setdefault(shift if fixed is None else fixed, shift)
    names = list(found.values())
    if any("/" in name for name in names):
        # A land's clock is told with its abbreviation: "America/New_York (EDT)".
        names = [name for name in names if "/" in name or name in {"UTC", "GMT"}]
    return " or ".join(names)


def plain_letters(text: str) -> str:
    """Small letters without their marks."""
    plain = unicodedata.normalize("NFKD", text.lower())
    return "".join(sign for sign in plain if not unicodedata.combining(sign))


def issued_in(words: str, known: Known) -> tuple[datetime, ...]:
    """Instants that the words of a file may mean: none, one, or two that leave it open.

    Examples
    --------
    >>> june = datetime(2025, 6, 14, 20, tzinfo=UTC)
    >>> known = Known(rows=(june, june + timedelta(days=5)), latest=june, zone=UTC)
    >>> [str(when) for when in issued_in("saturday 14 june 3 pm cdt", known)]
    ['2025-06-14 20:00:00+00:00']
    >>> [str(when) for when in issued_in("12z", known)]
    ['2025-06-14 12:00:00+00:00']
    """
    # Runs of models are counted in UTC where ten digits name them.
    plain = _DIGITS.sub(lambda m: f"{m[1]} {m[2]}:{m[3] or '00'}z", words)
    stamp = _STAMP.search(plain)
    if stamp and not re.match(r"\s?[ap]\.?\s?m\b", plain[stamp.end() :]):
        return _stamped(stamp[0], plain[stamp.end() :], known)
    clock = _CLOCK.search(plain)
    if clock is None:
        # A day alone: from its beginning, so that nothing is taken for fresher than it is.
        return _on_days(plain, 0.0, known.zone, known) if _days_in(plain) else ()
    seconds = _seconds(clock[0])
    if seconds is None:
        return ()
    zone, after = known.zone, clock.end()
    tail = _ZONE.match(plain, clock.end())
    if tail:
        named = zone_of(_as_written(tail[1]), known.zone, known.latest)
        if named is None:
            return ()
        zone, after = named, tail.end()
    rest = f"{plain[: clock.start()]} {plain[after:]}"
    return _on_days(rest, seconds, zone, known)


def names_a_day(words: str) -> bool:
    """Whether words tell a date; without one the last such hour before the file is meant.

    Examples
    --------
    >>> names_a_day("12z"), names_a_day("14 june 3 pm"), names_a_day("2025061412")
    (False, True, True)
    """
    return bool(_DIGITS.search(words) or _STAMP.search(words) or _days_in(words))


def _stamped(text: str, tail: str, known: Known) -> tuple[datetime, ...]:
    try:
        when = datetime.fromisoformat(text.strip().upper().replace(" Z", "Z"))
    except ValueError:
        return ()
    if when.tzinfo is None:
        named = _ZONE.match(tail)
        clock = zone_of(_as_written(named[1]), known.zone, known.latest) if named else None
        if named and clock is None:
            return ()
        when = when.replace(tzinfo=clock or known.zone)
    return (when.astimezone(UTC),)


def _as_written(zone: str) -> str:
    """A zone's name in the letters it is known by."""
    return zone.title() if "/" in zone else zone.upper()


def _seconds(text: str) -> float | None:
    if text in {"noon", "midnight"}:
        return 43_200.0 if text == "noon" else 0.0
    short = re.fullmatch(r"(\d{1,2})(\d{2})(\s?[ap]\.?m\.?)?", text)
    if short:
        text = f"{short[1]}:{short[2]}{short[3] or ''}"
    elif re.fullmatch(r"\d{1,2}", text):
        text = f"{text}:00"
    clock = clock_of(text)
    return None if clock is None else clock[0]


def _on_days(rest: str, seconds: float, zone: tzinfo, known: Known) -> tuple[datetime, ...]:
    """The clock on each day that the rest of the words may name."""
    weekday = next(
        (n for n, name in enumerate(_WEEKDAYS) if re.search(rf"\b{name}", rest)), None
    )
    text = _days_in(rest)
    if text is None:
        # No date: the last such hour before the file was written, on the day of that name.
        today = known.latest.astimezone(zone).date()
        first = 1 if re.search(r"\b(?:yesterday|gestern|ayer|hier|ieri|ontem)\b", rest) else -1
        week = [today - timedelta(days=n) for n in range(first, 8)]
        past = [_at(day, seconds, zone) for day in week if weekday in {None, day.weekday()}]
        stated = [when for when in past if when <= known.latest + _LATER][:1]
        return () if re.search(r"\d", rest) else tuple(stated)
    found = {_at(day, seconds, zone) for day in _near(text, known, zone)}
    if weekday is not None:
        found = {when for when in found if when.astimezone(zone).weekday() == weekday}
    behind = {when for when in found if when <= known.latest + _LATER}
    return tuple(sorted(behind or found))


def _at(day: date, seconds: float, zone: tzinfo) -> datetime:
    naive = datetime(day.year, day.month, day.day) + timedelta(seconds=seconds)  # noqa: DTZ001
    return naive.replace(tzinfo=zone).astimezone(UTC)


def _days_in(rest: str) -> str | None:
    """A date within words, with or without its year."""
    plain = re.sub(r"(?<=\d)(?:st|nd|rd|th)\b", "", rest)
    plain = re.sub(r"\b(?:de|of|the)\b", " ", plain)
    for pattern in _DATES:
        for found in re.finditer(pattern, plain):
            text = " ".join(found[0].split())
            if date_of(text) or date_of(_with_year(text, 2000)):
                return text
    return None


def _with_year(text: str, year: int) -> str:
    sign = "." if re.search(r"\d\.\d", text) else "/" if "/" in text else " "
    return f"{text.rstrip('.')}{sign}{year}"


def _near(text: str, known: Known, zone: tzinfo) -> Iterator[date]:
    """Days not long before the rows end, in each order and year the date may stand for."""
    years = range(
        known.rows[0].astimezone(zone).year - 1, known.rows[1].astimezone(zone).year + 1
    )
    whole = date_of(text)
    dates = [whole] if whole else [date_of(_with_year(text, year)) for year in years]
    for one in dates:
        for order in one.orders if one else ():
            day = one.day(order) if one else None
            found = date.fromordinal(day) if day else None
            if (
                found
                and known.rows[0].date() - _EARLY <= found <= known.rows[1].date() + _EARLY
            ):
                yield found
