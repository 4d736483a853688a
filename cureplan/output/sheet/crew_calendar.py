"""The crew's calendar, and calls called off."""

from __future__ import annotations

import hashlib
import uuid
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cureplan.core.errors import InputError
from cureplan.output.language import Voice
from cureplan.output.language.clean import one_line
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.model import Call, ChillRoom, Plan, plan_from_json

if TYPE_CHECKING:
    from icalendar import Alarm, Event

__all__ = [
    "JOB_MARK",
    "PRODID",
    "EventBefore",
    "calendar_text",
    "crew_ics",
    "earlier_plan",
    "event_id",
    "events_before",
    "job_mark",
]

PRODID = "-//cureplan//crew calls//EN"
JOB_MARK = "X-CUREPLAN-JOB"
# A crew's calendar has some hundred events of some hundred bytes.
LARGEST_BYTES = 1_000_000
# A plan of forty rooms has some 5 MB.
LARGEST_PLAN_BYTES = 50_000_000


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
        if not path.is_file() or path.stat().st_size > LARGEST_PLAN_BYTES:
            return None
        return plan_from_json(path.read_text(encoding="utf-8"), source=path)
    except (OSError, ValueError, InputError):
        return None


ALARM_BEFORE = timedelta(minutes=45)
SHORTEST_EVENT = timedelta(minutes=15)
# Sequence numbers count seconds from here, to fit readers that keep 31 bits.
SEQUENCE_FROM = datetime(2020, 1, 1, tzinfo=UTC)
_NAMESPACE = uuid.uuid5(uuid.NAMESPACE_URL, "urn:cureplan:call")


def event_id(plan: Plan, call: Call, repeat: int = 0) -> str:
    """Id of a call's event; the same in every plan of the same job."""
    return _id(plan, call.role, call.room, call.stage, str(repeat))


def _id(plan: Plan, *parts: str) -> str:
    # Lengths keep "a" + "bc" apart from "ab" + "c".
    whole = [plan.job.site.name, plan.job.source.stem, *parts]
    name = "".join(f"{len(part)}:{part}" for part in whole)
    return f"{uuid.uuid5(_NAMESPACE, name)}@cureplan"


def crew_ics(plan: Plan, *, earlier: Iterable[bytes] = ()) -> bytes:
    """Every call as an event, and every hour at which pails go into the ice.

    Not for reading the plan back; a calendar keeps only who comes when.
    """
    from icalendar import Calendar

    voice = voice_of(plan)
    before = events_before(earlier, mark=job_mark(plan))
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    # RFC 7986, 5.1; the vendor's name for it is what older readers know.
    calendar.add("name", one_line(plan.job.site.name))
    calendar.add("x-wr-calname", one_line(plan.job.site.name))
    seen: Counter[tuple[str, str, str]] = Counter()
    for call in sorted(plan.calls, key=lambda call: call.call):
        key = (call.role, call.room, call.stage)
        wanted = _wanted(plan, voice, call, seen[key])
        calendar.add_component(_call_event(plan, wanted, before.pop(wanted.uid, None)))
        seen[key] += 1
    for room in plan.chill.rooms:
        wanted = _ice_wanted(plan, voice, room)
        calendar.add_component(_call_event(plan, wanted, before.pop(wanted.uid, None)))
    for old in _still_to_come(before.values(), _made_at(plan)):
        off = _called_off(voice, old)
        calendar.add_component(_call_event(plan, off, old))
    return bytes(calendar.to_ical())


def _made_at(plan: Plan) -> datetime:
    return plan.decisions.made_at.astimezone(UTC).replace(microsecond=0)


def _wanted(plan: Plan, voice: Voice, call: Call, repeat: int) -> EventBefore:
    """The event as it shall be; its number in the sequence is not yet known."""
    begins = call.call.astimezone(UTC).replace(microsecond=0)
    ends = call.last_task.astimezone(UTC).replace(microsecond=0)
    return EventBefore(
        uid=event_id(plan, call, repeat),
        sequence=0,
        begins=begins,
        ends=max(ends, begins + SHORTEST_EVENT),
        summary=voice.label(
            "event.title", role=call.role, room=call.room, stage=f"stage.{call.stage}"
        ),
        location=one_line(plan.job.site.name),
        description=_description(voice, call),
        cancelled=False,
    )


def _ice_wanted(plan: Plan, voice: Voice, room: ChillRoom) -> EventBefore:
    """The hour at which a room's pails must be in the ice, as an event."""
    begins = room.in_ice_by.astimezone(UTC).replace(microsecond=0)
    how = voice.label(
        "event.ice.how",
        kits=room.kits,
        ice_kg=room.ice_kg,
        stirred_at=room.in_ice_by_stirred.isoformat(),
    )
    return EventBefore(
        uid=_id(plan, "ice", room.room),
        sequence=0,
        begins=begins,
        ends=begins + SHORTEST_EVENT,
        summary=voice.label("event.ice", room=room.room),
        location=one_line(plan.job.site.name),
        description=how,
        cancelled=False,
    )


def _still_to_come(events: Iterable[EventBefore], now: datetime) -> list[EventBefore]:
    kept = (event for event in events if event.ends > now)
    return sorted(kept, key=lambda event: (event.begins, event.uid))


def _called_off(voice: Voice, old: EventBefore) -> EventBefore:
    """An event to be struck out; in words as well, for calendars that ignore the status."""
    if old.cancelled:
        return old
    return replace(
        old,
        summary=voice.label("event.off", title=old.summary),
        description=voice.label("event.off.why"),
        cancelled=True,
    )


def _sequence(plan: Plan, event: EventBefore, old: EventBefore | None) -> int:
    """RFC 5545, 3.8.7.4: what has changed has a greater number than before."""
    made = max(0, int((_made_at(plan) - SEQUENCE_FROM).total_seconds()))
    if old is None:
        return made
    same = replace(event, sequence=old.sequence) == old
    return old.sequence if same else max(made, old.sequence + 1)


def _call_event(plan: Plan, shown: EventBefore, old: EventBefore | None) -> Event:
    from icalendar import Event

    event = Event()
    event.add("uid", shown.uid)
    event.add("dtstamp", _made_at(plan))
    event.add("sequence", _sequence(plan, shown, old))
    event.add("status", "CANCELLED" if shown.cancelled else "CONFIRMED")
    event.add("dtstart", shown.begins)
    event.add("dtend", shown.ends)
    event.add("summary", shown.summary)
    event.add("location", shown.location)
    event.add("description", shown.description)
    event.add(JOB_MARK, job_mark(plan))
    if not shown.cancelled:
        event.add_component(_alarm(shown.summary))
    return event


def _alarm(title: str) -> Alarm:
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", title)
    alarm.add("trigger", -ALARM_BEFORE)
    return alarm


def _description(voice: Voice, call: Call) -> str:
    tasks = voice.label(
        "event.tasks",
        first_at=call.first_task.isoformat(),
        last_at=call.last_task.isoformat(),
    )
    people = voice.label("event.people", people=call.people)
    return "\n".join([people, tasks, voice.say(call.reason)])
