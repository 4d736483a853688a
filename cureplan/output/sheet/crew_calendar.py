"""The crew's calendar, one for each person or role too, and calls called off."""

from __future__ import annotations

import hashlib
import re
import uuid
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cureplan.core.errors import InputError
from cureplan.output.language import Voice
from cureplan.output.language.clean import one_line
from cureplan.output.view.view import status_key, voice_of
from cureplan.planning.plan.arrivals import arrivals_of
from cureplan.planning.plan.model import Arrival, Plan, Stop, plan_from_json
from cureplan.planning.plan.read import LARGEST_PLAN_BYTES

if TYPE_CHECKING:
    from icalendar import Alarm, Event

__all__ = [
    "CREW_ROLES",
    "JOB_MARK",
    "LARGEST_BYTES",
    "PRODID",
    "EventBefore",
    "calendar_text",
    "crew_ics",
    "earlier_plan",
    "events_before",
    "job_mark",
    "role_calendars",
    "role_file",
]

PRODID = "-//cureplan//crew calls//EN"
JOB_MARK = "X-CUREPLAN-JOB"
ROLE_MARK = "X-CUREPLAN-ROLE"
CREW_ROLES = (
    "foreman",
    "mixer",
    "runner",
    "rake",
    "smoother",
    "edge",
    "broadcaster",
    "primer",
    "vacuum",
    "topcoat",
)
# A crew's calendar has some hundred events of some hundred bytes.
LARGEST_BYTES = 1_000_000


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
    role: str = ""
    rings: bool = False


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


@lru_cache(maxsize=2)
def _events(text: bytes, mark: str) -> tuple[EventBefore, ...]:
    """Read once for all the calendars of a plan."""
    from icalendar import Calendar

    try:
        calendar = Calendar.from_ical(text)
        if str(calendar.get("PRODID")) != PRODID:
            return ()
        ours = (e for e in calendar.walk("VEVENT") if str(e.get(JOB_MARK)) == mark)
        return tuple(_event(event) for event in ours)
    except (ValueError, KeyError, AttributeError, TypeError, IndexError):
        # Not a calendar, or one that somebody has changed by hand.
        return ()


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
        role=str(event.get(ROLE_MARK, "")),
        rings=bool(event.walk("VALARM")),
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


def _id(plan: Plan, *parts: str) -> str:
    # Lengths keep "a" + "bc" apart from "ab" + "c".
    whole = [plan.job.site.name, plan.job.source.stem, *parts]
    name = "".join(f"{len(part)}:{part}" for part in whole)
    return f"{uuid.uuid5(_NAMESPACE, name)}@cureplan"


def crew_ics(plan: Plan, *, earlier: Iterable[bytes] = (), role: str | None = None) -> bytes:
    """Every arrival as an event, and every hour at which pails go into the ice.

    Of one person's or role's alone where asked. Not for reading the plan back; a calendar
    keeps only who comes when.
    """
    return _calendar(plan, _shown(plan, earlier), role)


_Shown = list[tuple[EventBefore, "EventBefore | None"]]
"""Each event as it shall be, and as an earlier calendar has it."""


def _shown(plan: Plan, earlier: Iterable[bytes]) -> _Shown:
    voice = voice_of(plan)
    before = events_before(earlier, mark=job_mark(plan))
    shown: _Shown = [(event, before.pop(event.uid, None)) for event in _wanted(plan, voice)]
    gone = _still_to_come(before.values(), _made_at(plan))
    return [*shown, *((_called_off(voice, old), old) for old in gone)]


def _calendar(plan: Plan, shown: _Shown, role: str | None) -> bytes:
    from icalendar import Calendar

    name = one_line(plan.job.site.name)
    if role is not None:
        name = f"{name}: {voice_of(plan).word_or_text(role)}"
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    # RFC 7986, 5.1; the vendor's name for it is what older readers know.
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    for event, known in shown:
        if role is None or event.role == role:
            calendar.add_component(_call_event(plan, event, known))
    return bytes(calendar.to_ical())


def role_calendars(plan: Plan, *, earlier: Iterable[bytes] = ()) -> dict[str, bytes]:
    """A calendar for each person or role that comes, or that an earlier calendar called."""
    shown, now = _shown(plan, earlier), _made_at(plan)
    # Whoever an event has gone to another from still finds out.
    old = [known for _, known in shown if known is not None and known.ends > now]
    called = dict.fromkeys(event.role for event in (*(e for e, _ in shown), *old) if event.role)
    ordered = sorted(called, key=lambda who: CREW_ROLES.index(who) if who in CREW_ROLES else 99)
    files: dict[str, bytes] = {}
    for who in ordered:
        name = role_file(who)
        # Two people whose names differ in signs alone.
        while name in files:
            name = f"{name.removesuffix('.ics')}-2.ics"
        files[name] = _calendar(plan, shown, who)
    return files


def role_file(who: str) -> str:
    """The name of a role's or a person's calendar, safe on any disk.

    Examples
    --------
    >>> role_file("runner"), role_file("José  O'Neil")
    ('crew-runner.ics', 'crew-José-O-Neil.ics')
    """
    safe = re.sub(r"[^\w+]+", "-", who).strip("-") or "person"
    return f"crew-{safe}.ics"


def _made_at(plan: Plan) -> datetime:
    return plan.decisions.made_at.astimezone(UTC).replace(microsecond=0)


def _wanted(plan: Plan, voice: Voice) -> list[EventBefore]:
    """Arrivals and ice; each says it where the plan does not keep what the job asks."""
    wanted = [*_arrivals_wanted(plan, voice), *_ice_wanted(plan, voice)]
    if plan.status == "within policy":
        return wanted
    unsure = voice.label(f"status.{status_key(plan)}")
    return [replace(e, description=f"{unsure}.\n{e.description}") for e in wanted]


def _arrivals_wanted(plan: Plan, voice: Voice) -> Iterator[EventBefore]:
    """The events as they shall be; their numbers in the sequence are not yet known."""
    seen: Counter[str] = Counter()
    for arrival in arrivals_of(plan):
        work = [stop for stop in arrival.stops if stop.stage != "ice"]
        if not work:
            # The hours of the ice have events of their own.
            continue
        begins = arrival.call.astimezone(UTC).replace(microsecond=0)
        ends = arrival.leaves.astimezone(UTC).replace(microsecond=0)
        rooms = ", ".join(dict.fromkeys(one_line(stop.room) for stop in work))
        people = voice.label("event.people", people=arrival.people)
        yield EventBefore(
            uid=_id(plan, arrival.who, "arrival", str(seen[arrival.who])),
            sequence=0,
            begins=begins,
            ends=max(ends, begins + SHORTEST_EVENT),
            summary=voice.label("event.title", who=_who(voice, arrival), rooms=rooms),
            location=one_line(plan.job.site.name),
            description="\n".join(
                [
                    *([] if arrival.named else [people]),
                    voice.say(arrival.reason),
                    *(_stop(voice, arrival, stop) for stop in work),
                ]
            ),
            cancelled=False,
            role=arrival.who,
            rings=True,
        )
        seen[arrival.who] += 1


def _who(voice: Voice, arrival: Arrival) -> str:
    return one_line(arrival.who) if arrival.named else voice.word(arrival.who)


def _stop(voice: Voice, arrival: Arrival, stop: Stop) -> str:
    """What is done in one room, from when to when; of somebody with a name, as what."""
    text = voice.label(
        "event.stop",
        room=stop.room,
        stage=f"stage.{stop.stage}",
        first_at=stop.first_task.isoformat(),
        last_at=stop.last_task.isoformat(),
    )
    return f"{voice.word(stop.role)}: {text}" if arrival.named else text


def _ice_wanted(plan: Plan, voice: Voice) -> Iterator[EventBefore]:
    """The hours at which pails are to be in the ice; silent once the pour has begun."""
    first_pour = min((room.pour_start for room in plan.rooms), default=None)
    sees_to_it = {
        stop.room: (arrival, stop)
        for arrival in arrivals_of(plan)
        for stop in arrival.stops
        if stop.stage == "ice"
    }
    for room in plan.chill.rooms:
        arrival, stop = sees_to_it[room.room]
        # Sooner than they must be where whoever sees to it has no hands free by then.
        begins = stop.last_task.astimezone(UTC).replace(microsecond=0)
        how = voice.label(
            "event.ice.how",
            kits=room.kits,
            ice_kg=room.ice_kg,
            stirred_at=room.in_ice_by_stirred.isoformat(),
        )
        how = f"{_who(voice, arrival)}: {how}"
        yield EventBefore(
            uid=_id(plan, "ice", room.room),
            sequence=0,
            begins=begins,
            ends=begins + SHORTEST_EVENT,
            summary=voice.label("event.ice", room=room.room),
            location=one_line(plan.job.site.name),
            description=how,
            cancelled=False,
            role=arrival.who,
            rings=first_pour is None or begins < first_pour,
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
        rings=False,
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
    # RFC 5545, 3.8.1.11.
    going = "CONFIRMED" if plan.status == "within policy" else "TENTATIVE"
    event.add("status", "CANCELLED" if shown.cancelled else going)
    event.add("dtstart", shown.begins)
    event.add("dtend", shown.ends)
    event.add("summary", shown.summary)
    event.add("location", shown.location)
    event.add("description", shown.description)
    event.add(JOB_MARK, job_mark(plan))
    if shown.role:
        event.add(ROLE_MARK, shown.role)
    if shown.rings:
        event.add_component(_alarm(shown.summary))
    return event


def _alarm(title: str) -> Alarm:
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", title)
    alarm.add("trigger", -ALARM_BEFORE)
    return alarm
