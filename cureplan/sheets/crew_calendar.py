"""Calls as an iCalendar file: one event per role and call, in UTC, with an alarm.

An event's id follows from job, role, room and stage alone, so that the calendar of a
new plan moves the old events instead of doubling them.
"""

from __future__ import annotations

import uuid
from collections import Counter
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from cureplan.plan import Call, Plan
from cureplan.sheets.view import voice_of
from cureplan.sheets.words import Voice
from cureplan.sheets.words.clean import one_line

if TYPE_CHECKING:
    from icalendar import Event

__all__ = ["crew_ics", "event_id"]

ALARM_BEFORE = timedelta(minutes=45)
SHORTEST_EVENT = timedelta(minutes=15)
# Sequence numbers count seconds from here, to fit readers that keep 31 bits.
SEQUENCE_FROM = datetime(2020, 1, 1, tzinfo=UTC)
_NAMESPACE = uuid.uuid5(uuid.NAMESPACE_URL, "urn:cureplan:call")


def event_id(plan: Plan, call: Call, repeat: int = 0) -> str:
    """Id of a call's event; the same in every plan of the same job."""
    parts = [plan.job.site.name, plan.job.source.stem, call.role, call.room, call.stage]
    # Lengths keep "a" + "bc" apart from "ab" + "c".
    name = "".join(f"{len(part)}:{part}" for part in [*parts, str(repeat)])
    return f"{uuid.uuid5(_NAMESPACE, name)}@cureplan"


def crew_ics(plan: Plan) -> bytes:
    """Every call as an event.

    Not for reading the plan back; a calendar keeps only who comes when.

    Parameters
    ----------
    plan : Plan
        Whose calls.

    Returns
    -------
    bytes
        An iCalendar file after RFC 5545.
    """
    from icalendar import Calendar

    voice = voice_of(plan)
    calendar = Calendar()
    calendar.add("prodid", "-//cureplan//crew calls//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", one_line(plan.job.site.name))
    seen: Counter[tuple[str, str, str]] = Counter()
    for call in sorted(plan.calls, key=lambda call: call.call):
        key = (call.role, call.room, call.stage)
        calendar.add_component(_event(plan, voice, call, seen[key]))
        seen[key] += 1
    return bytes(calendar.to_ical())


def _event(plan: Plan, voice: Voice, call: Call, repeat: int) -> Event:
    from icalendar import Alarm, Event

    made_at = plan.decisions.made_at.astimezone(UTC)
    begins = call.call.astimezone(UTC)
    ends = max(call.last_task.astimezone(UTC), begins + SHORTEST_EVENT)
    title = voice.label(
        "event.title", role=call.role, room=call.room, stage=f"stage.{call.stage}"
    )
    event = Event()
    event.add("uid", event_id(plan, call, repeat))
    event.add("dtstamp", made_at.replace(microsecond=0))
    event.add("sequence", max(0, int((made_at - SEQUENCE_FROM).total_seconds())))
    event.add("dtstart", begins.replace(microsecond=0))
    event.add("dtend", ends.replace(microsecond=0))
    event.add("summary", title)
    event.add("location", one_line(plan.job.site.name))
    event.add("description", _description(voice, call))
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", title)
    alarm.add("trigger", -ALARM_BEFORE)
    event.add_component(alarm)
    return event


def _description(voice: Voice, call: Call) -> str:
    tasks = voice.label(
        "event.tasks",
        first_at=call.first_task.isoformat(),
        last_at=call.last_task.isoformat(),
    )
    people = voice.label("event.people", people=call.people)
    return "\n".join([people, tasks, voice.say(call.reason)])
