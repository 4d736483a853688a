"""The crew's calendar, read back with icalendar."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta
from typing import Any

import pytest
from icalendar import Calendar

from cureplan.plan import Plan
from cureplan.sheets.crew_calendar import crew_ics
from sheets import sheet_sample


def events(plan: Plan) -> list[Any]:
    return list(Calendar.from_ical(crew_ics(plan)).walk("VEVENT"))


def later(plan: Plan, minutes: float) -> Plan:
    """The plan made again, with every call moved."""
    step = timedelta(minutes=minutes)
    calls = tuple(
        replace(
            call,
            call=call.call + step,
            first_task=call.first_task + step,
            last_task=call.last_task + step,
        )
        for call in plan.calls
    )
    decisions = replace(plan.decisions, made_at=plan.decisions.made_at + timedelta(hours=1))
    return replace(plan, calls=calls, decisions=decisions)


def test_each_call_is_one_event_in_utc(plan: Plan):
    found = events(plan)
    assert len(found) == len(plan.calls)
    first = found[0]
    assert first["DTSTART"].dt == plan.calls[0].call
    assert first["DTSTART"].dt.utcoffset() == timedelta(0)
    assert first["DTEND"].dt == plan.calls[0].last_task
    assert first["DTSTAMP"].dt == plan.decisions.made_at
    assert str(first["SUMMARY"]) == "Mixer: Cook line (pour)"
    assert "2 people" in str(first["DESCRIPTION"])


def test_each_event_rings_before_its_call(plan: Plan):
    for event in events(plan):
        [alarm] = event.walk("VALARM")
        assert alarm["TRIGGER"].dt < timedelta(0)


def test_a_new_plan_moves_the_old_events(plan: Plan):
    # RFC 5545, 3.8.4.7 and 3.8.7.4: same UID and a greater SEQUENCE revise an event.
    plan = replace(
        plan, decisions=replace(plan.decisions, made_at=sheet_sample.MADE.replace(year=2026))
    )
    old, new = events(plan), events(later(plan, 25))
    assert [event["UID"] for event in old] == [event["UID"] for event in new]
    assert all(b["SEQUENCE"] > a["SEQUENCE"] for a, b in zip(old, new, strict=True))
    assert new[0]["DTSTART"].dt - old[0]["DTSTART"].dt == timedelta(minutes=25)


def test_no_two_events_share_an_id(plan: Plan):
    twice = replace(plan, calls=(*plan.calls, later(plan, 90).calls[0]))
    ids = [event["UID"] for event in events(twice)]
    assert len(set(ids)) == len(ids)


def test_ids_tell_roles_and_rooms_apart_where_joined_they_read_alike():
    first = sheet_sample.sample_plan(("ab", "c"))
    second = sheet_sample.sample_plan(("a", "bc"))
    shared = {e["UID"] for e in events(first)} & {e["UID"] for e in events(second)}
    assert shared == set()


def test_every_event_lasts_and_is_stamped_in_utc(plan: Plan):
    short = replace(plan.calls[0], last_task=plan.calls[0].call, first_task=plan.calls[0].call)
    for event in events(replace(plan, calls=(short,))):
        assert event["DTEND"].dt > event["DTSTART"].dt
        assert event["DTSTAMP"].dt.tzinfo in (UTC, event["DTSTAMP"].dt.tzinfo)


@pytest.mark.parametrize("name", sheet_sample.HOSTILE)
def test_hostile_names_break_no_calendar(name: str):
    plan = sheet_sample.sample_plan((name, "Corridor"), site=name)
    text = crew_ics(plan)
    found = events(plan)
    assert len(found) == len(plan.calls)
    # RFC 5545, 3.1: lines end in CRLF and hold at most 75 octets.
    assert all(len(line) <= 75 for line in text.split(b"\r\n"))
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert not any(
        line.startswith(b"X-WR-CALNAME") and b"BEGIN" in line for line in text.split()
    )
    assert str(found[0]["SUMMARY"]).startswith("Mixer: ")
