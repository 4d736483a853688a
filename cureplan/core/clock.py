"""Instants, local clock times, and spans of time.

Inside, every instant is timezone-aware and in UTC: Python subtracts two times of one
zone by the wall clock, which is an hour wrong on the two nights a year that matter.
Local times come in through `local_instant` and `shift_windows` and go out on sheets.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from typing import Protocol

from cureplan.core.errors import OutOfRangeError
from cureplan.core.quantities import refusal

__all__ = [
    "HoursOfDay",
    "TimeWindow",
    "ceil_to",
    "epoch_s",
    "floor_to",
    "from_epoch_s",
    "local_instant",
    "on_site",
    "parse_clock_minutes",
    "require_aware",
    "shift_windows",
]

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
EARLIEST_YEAR = 1900
LATEST_YEAR = 2200
MINUTES_PER_DAY = 1440
DAY_S = 60.0 * MINUTES_PER_DAY


class HoursOfDay(Protocol):
    """Clock times between which something holds; `ends` <= `begins` crosses midnight."""

    @property
    def begins(self) -> time:
        """Local clock time of the start."""

    @property
    def ends(self) -> time:
        """Local clock time of the end."""


def require_aware(instant: datetime, *, name: str) -> datetime:
    """Return `instant` in UTC.

    Examples
    --------
    >>> require_aware(datetime.fromisoformat("2013-07-17T19:00:00-04:00"), name="start")
    datetime.datetime(2013, 7, 17, 23, 0, tzinfo=datetime.timezone.utc)
    """
    if instant.tzinfo is None or instant.utcoffset() is None:
        raise OutOfRangeError(
            f"{name} = {instant.isoformat()} has no time zone; "
            f"give its offset, like {instant.isoformat()}+00:00, or read it with local_instant"
        )
    return instant.astimezone(UTC)


def local_instant(written: datetime, zone: tzinfo) -> datetime:
    """Instant meant by a local wall-clock time; one written with an offset is kept.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> local_instant(datetime(2013, 7, 17, 19), ZoneInfo("America/New_York"))
    datetime.datetime(2013, 7, 17, 23, 0, tzinfo=datetime.timezone.utc)
    """
    shown = written.isoformat()
    if not EARLIEST_YEAR <= written.year <= LATEST_YEAR:
        raise refusal(shown, f"the year {written.year} is not believable", "check the year")
    if written.tzinfo is not None:
        return written.astimezone(UTC)
    first, second = _readings(written, zone)
    if first == second:
        return first
    missing = first > second
    offered = " or ".join(t.astimezone(zone).isoformat() for t in sorted((first, second)))
    raise refusal(
        shown,
        f"clocks change that night and this time comes {'not at all' if missing else 'twice'}",
        f"write one with its offset: {offered}",
    )


def _readings(written: datetime, zone: tzinfo) -> tuple[datetime, datetime]:
    """Both readings of a local time, in UTC; alike except on the night clocks change."""
    first = written.replace(tzinfo=zone, fold=0).astimezone(UTC)
    second = written.replace(tzinfo=zone, fold=1).astimezone(UTC)
    return first, second


def parse_clock_minutes(text: object) -> int:
    """Minutes since midnight of a clock time; "24:00" is the end of the day.

    Examples
    --------
    >>> parse_clock_minutes("19:30"), parse_clock_minutes("24:00")
    (1170, 1440)
    """
    cure = 'write a 24-hour clock time like "19:30"'
    if isinstance(text, time) and text == text.replace(second=0, microsecond=0, tzinfo=None):
        return text.hour * 60 + text.minute
    hour, colon, minute = text.partition(":") if isinstance(text, str) else ("", "", "")
    if not (colon and len(minute) == 2 and 1 <= len(hour) <= 2):
        raise refusal(text, "this is not a clock time", cure)
    if not (hour + minute).isascii() or not (hour + minute).isdigit():
        raise refusal(text, "this is not a clock time", cure)
    minutes = int(hour) * 60 + int(minute)
    if int(minute) > 59 or minutes > MINUTES_PER_DAY:
        raise refusal(text, "no day has this time", cure)
    return minutes


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class TimeWindow:
    """A span of time, both ends in UTC; the end itself lies outside."""

    begins: datetime
    ends: datetime

    def __post_init__(self) -> None:
        object.__setattr__(self, "begins", require_aware(self.begins, name="begins"))
        object.__setattr__(self, "ends", require_aware(self.ends, name="ends"))
        if self.ends < self.begins:
            raise OutOfRangeError(f"window ends {self.ends} before it begins {self.begins}")

    @property
    def duration_s(self) -> float:
        """Elapsed time between the ends [s]."""
        return (self.ends - self.begins).total_seconds()

    def contains(self, instant: datetime) -> bool:
        """Whether `instant` lies in the window."""
        return self.begins <= require_aware(instant, name="instant") < self.ends

    def overlaps(self, other: TimeWindow) -> bool:
        """Whether the two share more than a moment."""
        return self.begins < other.ends and other.begins < self.ends

    def intersect(self, other: TimeWindow) -> TimeWindow | None:
        """What the two share; None where that is nothing."""
        if not self.overlaps(other):
            return None
        return TimeWindow(
            begins=max(self.begins, other.begins), ends=min(self.ends, other.ends)
        )


def shift_windows(
    shifts: Iterable[HoursOfDay], *, zone: tzinfo, begins: datetime, ends: datetime
) -> tuple[TimeWindow, ...]:
    """Daily hours turned into windows inside a span.

    On the night clocks change, an edge that comes twice or not at all takes whichever
    reading makes the shift shorter: nobody is called in an hour he may not be in.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> from zoneinfo import ZoneInfo
    >>> night = SimpleNamespace(begins=time(19), ends=time(5))
    >>> [w] = shift_windows([night], zone=ZoneInfo("America/New_York"),
    ...                     begins=datetime(2026, 10, 31, 16, tzinfo=UTC),
    ...                     ends=datetime(2026, 11, 1, 16, tzinfo=UTC))
    >>> w.duration_s / 3600     # the night clocks go back
    11.0
    """
    span = TimeWindow(begins=begins, ends=ends)
    first = span.begins.astimezone(zone).date() - timedelta(days=1)
    days = (span.ends.astimezone(zone).date() - first).days + 1
    dated = (
        _on_day(shift, first + timedelta(days=day), zone)
        for shift in shifts
        for day in range(days)
    )
    cut = (window.intersect(span) for window in dated if window is not None)
    return _joined(window for window in cut if window is not None)


def _on_day(shift: HoursOfDay, day: date, zone: tzinfo) -> TimeWindow | None:
    last_day = day + timedelta(days=shift.ends <= shift.begins)
    begins = max(_readings(datetime.combine(day, shift.begins), zone))
    ends = min(_readings(datetime.combine(last_day, shift.ends), zone))
    return TimeWindow(begins=begins, ends=ends) if begins < ends else None


def _joined(windows: Iterable[TimeWindow]) -> tuple[TimeWindow, ...]:
    joined: list[TimeWindow] = []
    for window in sorted(windows):
        if joined and window.begins <= joined[-1].ends:
            last = joined.pop()
            window = TimeWindow(begins=last.begins, ends=max(last.ends, window.ends))
        joined.append(window)
    return tuple(joined)


def epoch_s(instant: datetime) -> float:
    """Seconds since 1970-01-01T00:00Z.

    Examples
    --------
    >>> epoch_s(datetime(1970, 1, 2, tzinfo=UTC))
    86400.0
    """
    return require_aware(instant, name="instant").timestamp()


def from_epoch_s(seconds: float) -> datetime:
    """Instant in UTC, `seconds` after 1970-01-01T00:00Z; to the microsecond.

    Examples
    --------
    >>> from_epoch_s(86400.0)
    datetime.datetime(1970, 1, 2, 0, 0, tzinfo=datetime.timezone.utc)
    """
    try:
        return datetime.fromtimestamp(seconds, UTC)
    except (ValueError, OverflowError, OSError) as error:
        raise OutOfRangeError(f"seconds = {seconds!r} is not within the calendar") from error


def on_site(instant: datetime, zone: tzinfo) -> datetime:
    """An instant by the site's clock, with the offset it has then.

    Not with the zone itself: Python takes the difference and the order of two instants of
    one zone by the clock on the wall, and is an hour off on the night clocks change.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> before, after = (on_site(datetime(2026, 11, 1, hour, 30, tzinfo=UTC),
    ...                          ZoneInfo("America/New_York")) for hour in (5, 6))
    >>> f"{before:%H:%M}", f"{after:%H:%M}", str(after - before)
    ('01:30', '01:30', '1:00:00')
    """
    local = instant.astimezone(zone)
    return local.replace(tzinfo=timezone(local.utcoffset() or timedelta()), fold=0)


def floor_to(instant: datetime, *, minutes: int) -> datetime:
    """Last whole step of `minutes`, by its own zone's clock, not after `instant`.

    Examples
    --------
    >>> floor_to(datetime(2013, 7, 17, 19, 8, 30, tzinfo=UTC), minutes=5).minute
    5
    """
    return _to_step(instant, minutes=minutes, up=False)


def ceil_to(instant: datetime, *, minutes: int) -> datetime:
    """First whole step of `minutes`, by its own zone's clock, not before `instant`.

    Examples
    --------
    >>> ceil_to(datetime(2013, 7, 17, 19, 8, 30, tzinfo=UTC), minutes=5).minute
    10
    """
    return _to_step(instant, minutes=minutes, up=True)


def _to_step(instant: datetime, *, minutes: int, up: bool) -> datetime:
    if minutes < 1:
        raise OutOfRangeError(f"minutes must be >= 1, got {minutes}")
    offset = instant.utcoffset() or timedelta(0)
    step = timedelta(minutes=minutes)
    # Integer arithmetic: a float of seconds could put 19:05 sharp just before itself.
    passed = require_aware(instant, name="instant") - EPOCH + offset
    count = -(-passed // step) if up else passed // step
    return (EPOCH + count * step - offset).astimezone(instant.tzinfo)
