"""The clock a table's times are told by: offsets, zone names, abbreviations, local time."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

__all__ = ["LocalHours", "local_to_utc", "zone_of", "zone_tail"]

_EPOCH_NAIVE = datetime(1970, 1, 1)  # noqa: DTZ001 - counts local seconds
_OFFSET = re.compile(
    r"(?:utc|gmt|z)?\s*([+\-\u2212\u2013])\s*(\d{1,2})(?::?(\d{2}))?(?::?00)?", re.IGNORECASE
)
# Hours east of Greenwich of abbreviations that mean one thing only; those that several
# lands share (CST, IST, BST, AST) are taken only where the site's own zone uses them.
_NAMED_H = {
    "UTC": 0.0, "GMT": 0.0, "Z": 0.0, "UT": 0.0, "TU": 0.0, "TUC": 0.0, "ZULU": 0.0, "WET": 0.0,
    "EST": -5.0, "EDT": -4.0, "CDT": -5.0, "MST": -7.0, "MDT": -6.0,
    "PST": -8.0, "PDT": -7.0, "AKST": -9.0, "AKDT": -8.0, "HST": -10.0,
    "CET": 1.0, "CEST": 2.0, "MEZ": 1.0, "MESZ": 2.0, "WEST": 1.0, "EET": 2.0, "EEST": 3.0,
}  # fmt: skip
_US_ZONES = {
    "ET": "America/New_York",
    "CT": "America/Chicago",
    "MT": "America/Denver",
    "PT": "America/Los_Angeles",
    "EASTERN": "America/New_York",
    "CENTRAL": "America/Chicago",
    "MOUNTAIN": "America/Denver",
    "PACIFIC": "America/Los_Angeles",
}
_LOCAL = frozenset({"LOCAL", "LOCAL TIME", "LT", "SITE", "LOCALTIME", "WALL CLOCK"})
_LOCAL_STANDARD = frozenset({"LST", "LOCAL STANDARD TIME"})


def zone_tail(text: str) -> tuple[str, str]:
    """A time without, and the zone that stands behind it; "" where none does.

    Examples
    --------
    >>> zone_tail("7:00 PM EDT"), zone_tail("19:00:00-04:00"), zone_tail("7:00 p.m.")
    (('7:00 PM', 'EDT'), ('19:00:00', '-04:00'), ('7:00 p.m.', ''))
    """
    match = re.fullmatch(
        r"(.*?[\dmM.hr])\s*\(?((?:UTC|GMT)?\s?[+\-\u2212]\s?\d{1,2}(?::?\d{2})?"
        r"|(?!(?:[AaPp]\.?(?:\s?[Mm]\.?)?|[hH]|hrs?|Uhr)\)?$)[A-Za-z]{1,5}(?:/[A-Za-z_]+)*)\)?",
        text,
    )
    return (match[1].strip(), match[2].strip()) if match else (text, "")


def zone_of(text: str, site: tzinfo | None, near: datetime) -> tzinfo | None:
    """The clock that a text names; None where it names none, or more than one.

    Examples
    --------
    >>> zone_of("GMT-04:00", None, datetime(2013, 7, 1, tzinfo=UTC)).utcoffset(None)
    datetime.timedelta(days=-1, seconds=72000)
    >>> zone_of("IST", None, datetime(2013, 7, 1, tzinfo=UTC)) is None
    True
    """
    plain = " ".join(text.strip().strip("()[]").split())
    upper = plain.upper()
    match = _OFFSET.fullmatch(plain)
    if match:
        hours, minutes = int(match[2]), int(match[3] or 0)
        if hours > 14 or minutes > 59:
            return None
        shift = timedelta(hours=hours, minutes=minutes)
        return timezone(shift if match[1] == "+" else -shift)
    if site is not None and (upper in _LOCAL or upper in _LOCAL_STANDARD):
        return site if upper in _LOCAL else _standard(site)
    own = _site_names(site, near).get(upper) if site is not None else None
    if own is not None:
        return timezone(own)
    if upper in _NAMED_H:
        return timezone(timedelta(hours=_NAMED_H[upper]))
    return _by_region(plain, upper)


def _by_region(plain: str, upper: str) -> tzinfo | None:
    name = _US_ZONES.get(upper.removesuffix(" TIME"), plain)
    if "/" not in name:
        return None
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, KeyError):
        return None


def _site_names(site: tzinfo, near: datetime) -> dict[str, timedelta]:
    """Abbreviations the site's own clock goes by in that year."""
    names: dict[str, timedelta] = {}
    for month in range(1, 13):
        when = datetime(near.year, month, 1, tzinfo=UTC).astimezone(site)
        name = when.tzname()
        if name:
            names[name.upper()] = when.utcoffset() or timedelta(0)
    return names


def _standard(site: tzinfo) -> tzinfo:
    """The site's offset without summer time, all the year round."""
    when = datetime(2021, 1, 1, tzinfo=UTC).astimezone(site)
    summer = when.dst() or timedelta(0)
    return timezone((when.utcoffset() or timedelta(0)) - summer)


@dataclass(frozen=True, slots=True)
class LocalHours:
    """Local times turned into UTC, and the first rows where that cannot be settled."""

    epoch_s: NDArray[np.float64]
    offset_s: NDArray[np.float64]
    missing: int | None
    """First row whose time the clock skips."""
    doubled: int | None
    """First row of an hour that comes twice where the rows do not tell which it is."""
    resolved: int
    """Rows of doubled hours told apart by their order."""


def local_to_utc(local_s: NDArray[np.float64], zone: tzinfo) -> LocalHours:
    """Wall-clock times of a zone as instants; a doubled hour is told by the rows' order.

    Examples
    --------
    >>> night = np.array([0.0, 1.0, 1.0, 2.0]) * 3600 + 1_383_436_800   # 3 November 2013
    >>> hours = local_to_utc(night, ZoneInfo("America/New_York"))
    >>> (hours.offset_s / 3600).tolist(), hours.doubled
    ([-4.0, -4.0, -5.0, -5.0], None)
    """
    halves, row = np.unique(local_s // 1800, return_inverse=True)
    first, second = (_offsets(halves, zone, fold)[row] for fold in (0, 1))
    skipped = np.flatnonzero(first < second)
    twice = first > second
    late, unsettled = _second_pass(local_s, twice)
    offset_s = np.where(late, second, first)
    return LocalHours(
        epoch_s=local_s - offset_s,
        offset_s=offset_s,
        missing=int(skipped[0]) if skipped.size else None,
        doubled=unsettled,
        resolved=int(np.count_nonzero(twice)),
    )


def _offsets(halves: NDArray[np.float64], zone: tzinfo, fold: int) -> NDArray[np.float64]:
    def offset_s(half: float) -> float:
        wall = _EPOCH_NAIVE + timedelta(seconds=1800 * half)
        return (
            wall.replace(tzinfo=zone, fold=fold).utcoffset() or timedelta(0)
        ).total_seconds()

    return np.array([offset_s(half) for half in halves.tolist()])


def _second_pass(
    local_s: NDArray[np.float64], twice: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], int | None]:
    """Rows in the second of two like hours, and the first row where no order shows it."""
    late = np.zeros(local_s.size, dtype=np.bool_)
    rows = np.flatnonzero(twice)
    unsettled: int | None = None
    for run in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1):
        if run.size == 0:
            continue
        drops = np.flatnonzero(np.diff(local_s[run]) <= 0)
        if drops.size == 1:
            late[run[drops[0] + 1 :]] = True
        elif unsettled is None:
            unsettled = int(run[0])
    return late, unsettled
