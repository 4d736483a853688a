"""The calendar a crew already has: what its events were, so that a new one can mend them.

A phone keeps an event until it is told otherwise. A call that a new plan no longer makes
must therefore be called off, and one that it moves must say that it is the newer word.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cureplan.errors import InputError
from cureplan.plan import Plan, plan_from_json

__all__ = [
    "JOB_MARK",
    "PRODID",
    "EventBefore",
    "calendar_text",
    "earlier_plan",
    "events_before",
    "job_mark",
]

PRODID = "-//cureplan//crew calls//EN"
JOB_MARK = "X-CUREPLAN-JOB"
# A crew's calendar has some hundred events of some hundred bytes.
LARGEST_BYTES = 5_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class EventBefore:
    """An event as an earlier calendar had it."""

    uid: str
    sequence: int
    begins: datetime
    ends: datetime
    summary: str
    location: str
    description: str
    cancelled: bool


def job_mark(plan: Plan) -> str:
    """Tells the events of one job from those of another that was written to the same folder."""
    parts = (plan.job.site.name, plan.job.source.stem)
    # Lengths keep "a" + "bc" apart from "ab" + "c".
    name = "".join(f"{len(part)}:{part}" for part in parts)
    return hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:16]


def events_before(calendars: Iterable[bytes], *, mark: str) -> dict[str, EventBefore]:
    """Events of one job in earlier calendars, by id; of several versions the newest.

    Not for calendars from elsewhere: those are passed over, as is what cannot be read.

    Parameters
    ----------
    calendars : iterable of bytes
        iCalendar files.
    mark : str
        The job's, from `job_mark`.

    Returns
    -------
    dict of str to EventBefore
    """
    found: dict[str, EventBefore] = {}
    for text in calendars:
        for event in _events(text, mark):
            known = found.get(event.uid)
            if known is None or event.sequence > known.sequence:
                found[event.uid] = event
    return found


def _events(text: bytes, mark: str) -> list[EventBefore]:
    from icalendar import Calendar

    try:
        calendar = Calendar.from_ical(text)
        if str(calendar.get("PRODID")) != PRODID:
            return []
        ours = (e for e in calendar.walk("VEVENT") if str(e.get(JOB_MARK)) == mark)
        return [_event(event) for event in ours]
    except (ValueError, KeyError, AttributeError, TypeError, IndexError):
        # Not a calendar, or one that somebody has changed by hand.
        return []


def _event(event: Any) -> EventBefore:
    return EventBefore(
        uid=str(event["UID"]),
        sequence=int(event["SEQUENCE"]),
        begins=_utc(event["DTSTART"].dt),
        ends=_utc(event["DTEND"].dt),
        summary=str(event["SUMMARY"]),
        location=str(event["LOCATION"]),
        description=str(event["DESCRIPTION"]),
        cancelled=str(event.get("STATUS")) == "CANCELLED",
    )


def _utc(instant: datetime) -> datetime:
    if not isinstance(instant, datetime) or instant.tzinfo is None:
        raise ValueError(f"{instant} has no zone")
    return instant.astimezone(UTC)


def calendar_text(folder: Path) -> bytes | None:
    """The calendar that lies in a folder, if there is one of a sensible size."""
    path = folder / "crew.ics"
    try:
        small = path.is_file() and path.stat().st_size <= LARGEST_BYTES
        return path.read_bytes() if small else None
    except OSError:
        return None


def earlier_plan(folder: Path) -> Plan | None:
    """The plan that lies in a folder, where its calendar has been taken away."""
    path = folder / "plan.json"
    try:
        return plan_from_json(path.read_text(encoding="utf-8"), source=path)
    except (OSError, ValueError, InputError):
        return None
