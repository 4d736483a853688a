"""Durations, instants and likelihoods in words; rounding happens here and nowhere else."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import datetime

from cureplan.core.clock import ceil_to, floor_to
from cureplan.core.errors import OutOfRangeError
from cureplan.core.quantities import format_waiting_time, format_working_time

__all__ = [
    "age_text",
    "clock_text",
    "duration_text",
    "instant_text",
    "share_text",
    "twice_named",
]


def duration_text(duration_s: float, spec: str) -> str:
    """A duration: time in hand down, time to wait up.

    Examples
    --------
    >>> duration_text(170, "down"), duration_text(170, "up"), duration_text(-130, "short")
    ('2 min', '3 min', '3 min')
    """
    if not math.isfinite(duration_s):
        raise OutOfRangeError(f"a duration of {duration_s} s cannot be shown")
    if spec in ("", "down"):
        return format_working_time(duration_s)
    if spec == "up":
        return format_waiting_time(duration_s)
    if spec == "short":
        return format_waiting_time(abs(duration_s))
    if spec == "bare":
        return str(math.floor(duration_s / 60 + 1e-6))
    if spec == "tenths":
        return f"{duration_s / 60:.1f} min"
    if spec == "exact":
        return _with_seconds(round(duration_s))
    raise OutOfRangeError(
        f"{spec!r} is not a way to show a duration (down, up, short, bare, tenths, exact)"
    )


def _with_seconds(seconds: int) -> str:
    minutes, rest = divmod(abs(seconds), 60)
    parts = [f"{minutes} min"] if minutes else []
    if rest or not minutes:
        parts.append(f"{rest} s")
    return ("-" if seconds < 0 else "") + " ".join(parts)


def age_text(seconds: float, label: Callable[..., str]) -> str:
    """How old something is, as a foreman says it; to the nearest, as it hurts neither way.

    Examples
    --------
    >>> def label(key, count):
    ...     return f"{count} {key}"
    >>> [age_text(s, label) for s in (600, 7200, 90 * 3600)]
    ['10 min', '2 h', '4 days']
    """
    if seconds < 2 * 3600:
        return f"{seconds / 60:.0f} min"
    if seconds < 48 * 3600:
        return f"{seconds / 3600:.0f} h"
    return label("days", count=round(seconds / 86_400))


def clock_text(hour: int, minute: int, clock: str, *, brief: bool = False) -> str:
    """A time of day; brief, on an axis whose full hours tell the half of the day.

    Examples
    --------
    >>> [clock_text(h, m, "12 h") for h, m in ((0, 5), (12, 0), (23, 59))]
    ['12:05 AM', '12:00 PM', '11:59 PM']
    >>> clock_text(19, 5, "24 h")
    '19:05'
    >>> [clock_text(19, minute, "12 h", brief=True) for minute in (0, 30)]
    ['7 PM', '7:30']
    """
    if clock == "24 h":
        return f"{hour:02d}:{minute:02d}"
    shown, half = (hour - 1) % 12 + 1, "AM" if hour < 12 else "PM"
    if brief:
        return f"{shown}:{minute:02d}" if minute else f"{shown} {half}"
    return f"{shown}:{minute:02d} {half}"


def instant_text(
    local: datetime, spec: str, labels: Mapping[str, str], *, clock: str = "24 h"
) -> str:
    """An instant by the clock of its own zone."""
    if spec not in ("", "down", "up", "time", "time_up", "axis", "day", "full", "full_up"):
        raise OutOfRangeError(f"{spec!r} is not a way to show an instant")
    snap = ceil_to if spec in ("up", "time_up", "full_up") else floor_to
    shown = snap(local, minutes=1)
    wall = clock_text(shown.hour, shown.minute, clock, brief=spec == "axis")
    text = " ".join(filter(None, [wall, twice_named(shown)]))
    if spec in ("time", "time_up", "axis"):
        return text
    weekday = labels["weekdays"].split()[shown.weekday()]
    date = f"{weekday} {shown.day} {labels['months'].split()[shown.month - 1]}"
    if spec == "day":
        return date
    return f"{date} {text}" if spec.startswith("full") else f"{weekday} {text}"


def twice_named(local: datetime) -> str:
    """The name of the time in force, where the clock shows this time twice; else nothing.

    Examples
    --------
    >>> from datetime import UTC
    >>> from zoneinfo import ZoneInfo
    >>> new_york = ZoneInfo("America/New_York")
    >>> before = datetime(2013, 11, 3, 5, 30, tzinfo=UTC).astimezone(new_york)
    >>> twice_named(before), twice_named(before.replace(hour=3))
    ('EDT', '')
    """
    both = {local.replace(fold=fold).utcoffset() for fold in (0, 1)}
    return (local.tzname() or "") if len(both) > 1 else ""


def share_text(share: float, spec: str, label: Callable[..., str]) -> str:
    """A likelihood between 0 and 1, never rounded up.

    Examples
    --------
    >>> share_text(0.949, "", lambda key, count: f"{count}%")
    '94%'
    """
    if not 0 <= share <= 1:
        raise OutOfRangeError(f"a share of {share} does not lie between 0 and 1")
    if spec in ("", "percent"):
        return label("percent", count=math.floor(share * 100 + 1e-9))
    if spec != "nights":
        raise OutOfRangeError(f"{spec!r} is not a way to show a share (percent, nights)")
    hundredths = math.floor(share * 100 + 1e-9)
    if share >= 0.99:
        return label("nights.nearly_all")
    if hundredths == 0:
        return label("nights.hardly")
    return label("nights.of_hundred", count=hundredths)
