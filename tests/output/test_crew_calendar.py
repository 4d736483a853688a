"""The crew's calendar, read back with icalendar."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta
from typing import Any

import pytest
from icalendar import Calendar

from cureplan.core.messages import Message
from cureplan.output.sheet import crew_calendar
from cureplan.output.sheet.crew_calendar import crew_ics, job_mark, role_calendars
from cureplan.planning.plan.model import Plan
from output import sheet_sample


def events(plan: Plan) -> list[Any]:
    """The events of the calls."""
    found = Calendar.from_ical(crew_ics(plan)).walk("VEVENT")
    return [event for event in found if not str(event["SUMMARY"]).startswith("Pails in")]


def test_each_hour_for_ice_is_an_event_and_the_calendar_has_a_name(plan: Plan):
    calendar = Calendar.from_ical(crew_ics(plan))
    found = [e for e in calendar.walk("VEVENT") if str(e["SUMMARY"]).startswith("Pails in")]
    assert [e["DTSTART"].dt for e in found] == [room.in_ice_by for room in plan.chill.rooms]
    # By hand: 75 min before 21:00; 2.3 kg are 5.1 lb.
    assert "2 kits, 5.1 lb of ice. If stirred, by Wed 19:45." in str(found[0]["DESCRIPTION"])
    # RFC 7986, 5.1.
    assert str(calendar["NAME"]) == str(calendar["X-WR-CALNAME"]) == plan.job.site.name


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


def test_each_coming_is_one_event_in_utc(plan: Plan):
    # By hand: mixers, runner and smoother come once; the three who vacuum lay the coats.
    found = events(plan)
    assert [str(e["SUMMARY"]).partition(":")[0] for e in found] == [
        "Mixer", "Runner", "Smoother", "Topcoat hand",
    ]  # fmt: skip
    first = found[0]
    assert first["DTSTART"].dt == plan.calls[0].call
    assert first["DTSTART"].dt.utcoffset() == timedelta(0)
    assert first["DTEND"].dt == plan.calls[3].last_task
    assert first["DTSTAMP"].dt == plan.decisions.made_at
    assert str(first["SUMMARY"]) == "Mixer: Cook line, Corridor"
    assert "2 people" in str(first["DESCRIPTION"])


def moving_on(plan: Plan) -> Plan:
    """The plan with mixers who only move over to the second room."""
    calls = tuple(
        replace(call, reason=Message("call.moves_on", {"ahead_s": 900.0}))
        if (call.role, call.room) == ("mixer", "Corridor")
        else call
        for call in plan.calls
    )
    return replace(plan, calls=calls)


def test_who_only_moves_over_comes_once_with_each_start_in_the_text(plan: Plan):
    # By hand: the mixers begin at 21:00 in the first room and at 22:00 in the second.
    both = [e for e in events(moving_on(plan)) if str(e["SUMMARY"]).startswith("Mixer")]
    assert [str(e["SUMMARY"]) for e in both] == ["Mixer: Cook line, Corridor"]
    text = str(both[0]["DESCRIPTION"]).replace("\u00a0", " ")
    assert "Cook line, pour: 21:00 to" in text
    assert "Corridor, pour: 22:00 to" in text
    assert both[0]["DTEND"].dt == max(c.last_task for c in plan.calls if c.role == "mixer")


def test_arrivals_ring_and_nothing_rings_while_pouring(plan: Plan):
    for event in events(moving_on(plan)):
        [alarm] = event.walk("VALARM")
        assert alarm["TRIGGER"].dt < timedelta(0)
    late = replace(plan.chill.rooms[0], in_ice_by=sheet_sample.after(30))
    iced = replace(plan, chill=replace(plan.chill, rooms=(late,)))
    [ice] = [
        event
        for event in Calendar.from_ical(crew_ics(iced)).walk("VEVENT")
        if str(event["SUMMARY"]).startswith("Pails in")
    ]
    assert ice.walk("VALARM") == []


def test_each_role_has_a_calendar_of_its_own_called_off_like_the_whole(plan: Plan):
    files = role_calendars(plan)
    assert set(files) == {
        f"crew-{role}.ics" for role in ("mixer", "runner", "smoother", "topcoat")
    }
    assert sum(len(by_id(text)) for text in files.values()) == len(by_id(crew_ics(plan)))
    mixer = Calendar.from_ical(files["crew-mixer.ics"])
    assert str(mixer["NAME"]) == f"{plan.job.site.name}: Mixer"
    again = role_calendars(without_runner(plan), earlier=[crew_ics(plan)])
    # What is left of a runner comes for the ice.
    status = [str(event["STATUS"]) for event in by_id(again["crew-runner.ics"]).values()]
    assert sorted(status) == ["CANCELLED", "TENTATIVE", "TENTATIVE"]


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


def test_ids_tell_jobs_apart_and_outlive_a_room_that_is_renamed(plan: Plan):
    ids = {e["UID"] for e in events(plan)}
    assert not ids & {
        e["UID"] for e in events(sheet_sample.sample_plan(site="Another kitchen"))
    }
    assert ids == {e["UID"] for e in events(sheet_sample.sample_plan(("Grill", "Corridor")))}


def test_every_event_lasts_and_is_stamped_in_utc(plan: Plan):
    short = replace(plan.calls[0], last_task=plan.calls[0].call, first_task=plan.calls[0].call)
    for event in events(replace(plan, calls=(short,))):
        assert event["DTEND"].dt > event["DTSTART"].dt
        assert event["DTSTAMP"].dt.tzinfo in (UTC, event["DTSTAMP"].dt.tzinfo)


def without_runner(plan: Plan, *, hours: float = 1.0) -> Plan:
    """The plan made again, with nobody to run the buckets."""
    made_at = plan.decisions.made_at + timedelta(hours=hours)
    return replace(
        plan,
        decisions=replace(plan.decisions, made_at=made_at),
        calls=tuple(call for call in plan.calls if call.role != "runner"),
    )


def by_id(text: bytes) -> dict[str, Any]:
    return {str(e["UID"]): e for e in Calendar.from_ical(text).walk("VEVENT")}


def test_a_call_that_vanished_is_called_off_with_a_higher_number(plan: Plan):
    # RFC 5545, 3.8.1.11 and 3.8.7.4: STATUS:CANCELLED under the same UID, SEQUENCE raised.
    first = crew_ics(plan)
    second = crew_ics(without_runner(plan), earlier=[first])
    assert by_id(first).keys() == by_id(second).keys()
    off = [e for e in by_id(second).values() if str(e["STATUS"]) == "CANCELLED"]
    assert [str(e["SUMMARY"]) for e in off] == ["CALLED OFF: Runner: Cook line"]
    assert off[0]["SEQUENCE"] > by_id(first)[str(off[0]["UID"])]["SEQUENCE"]
    assert off[0].walk("VALARM") == []


def test_what_is_called_off_stays_so_until_its_time_has_passed(plan: Plan):
    second = crew_ics(without_runner(plan), earlier=[crew_ics(plan)])
    third = crew_ics(without_runner(plan, hours=2), earlier=[second])
    [off] = [e for e in by_id(third).values() if str(e["STATUS"]) == "CANCELLED"]
    before = by_id(second)[str(off["UID"])]
    assert (off["SEQUENCE"], str(off["SUMMARY"])) == (
        before["SEQUENCE"],
        str(before["SUMMARY"]),
    )
    # The runner is done 13 min after the first liquids, 4.5 h and 13 min after the plan.
    gone = by_id(crew_ics(without_runner(plan, hours=4.73), earlier=[third]))
    assert str(off["UID"]) not in gone


def test_a_call_that_comes_back_is_on_again(plan: Plan):
    first = crew_ics(plan)
    second = crew_ics(without_runner(plan), earlier=[first])
    third = crew_ics(later(plan, 0), earlier=[second])
    [uid] = [uid for uid, e in by_id(second).items() if str(e["STATUS"]) == "CANCELLED"]
    assert str(by_id(third)[uid]["STATUS"]) == str(by_id(first)[uid]["STATUS"])
    assert by_id(third)[uid]["SEQUENCE"] > by_id(second)[uid]["SEQUENCE"]


def test_what_changed_counts_up_even_at_the_same_instant_and_the_rest_does_not(plan: Plan):
    first = crew_ics(plan)
    calls = (later(plan, 10).calls[0], *plan.calls[1:])
    second = by_id(crew_ics(replace(plan, calls=calls), earlier=[first]))
    raised = {uid: e["SEQUENCE"] - by_id(first)[uid]["SEQUENCE"] for uid, e in second.items()}
    # Of four comings the first one's.
    assert sorted(raised.values()) == [0] * (3 + len(plan.chill.rooms)) + [1]


def test_another_jobs_calendar_in_the_folder_is_not_called_off(plan: Plan):
    other = sheet_sample.sample_plan(site="Another kitchen")
    assert (
        by_id(crew_ics(plan, earlier=[crew_ics(other)])).keys() == by_id(crew_ics(plan)).keys()
    )


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"\xff\x00",
        b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n",
        b"BEGIN:VCALENDAR\r\nPRODID:-//cureplan//crew calls//EN\r\nBEGIN:VEVENT\r\n",
        b"BEGIN:VCALENDAR\r\nPRODID:-//cureplan//crew calls//EN\r\nBEGIN:VEVENT\r\n"
        b"UID:x\r\nX-CUREPLAN-JOB:MARK\r\nDTSTART:2013\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n",
    ],
    ids=["empty", "not text", "somebody else's", "cut short", "no event"],
)
def test_a_calendar_that_cannot_be_read_is_passed_over(plan: Plan, text: bytes):
    text = text.replace(b"MARK", job_mark(plan).encode())
    assert by_id(crew_ics(plan, earlier=[text])).keys() == by_id(crew_ics(plan)).keys()


@pytest.mark.parametrize("name", sheet_sample.HOSTILE)
def test_hostile_names_read_back_as_unchanged(name: str):
    plan = sheet_sample.sample_plan((name, "Corridor"), site=name)
    first = crew_ics(plan)
    again = crew_ics(later(plan, 0), earlier=[first])
    assert {u: e["SEQUENCE"] for u, e in by_id(again).items()} == {
        u: e["SEQUENCE"] for u, e in by_id(first).items()
    }


@pytest.mark.parametrize("name", sheet_sample.HOSTILE)
def test_hostile_names_break_no_calendar(name: str):
    plan = sheet_sample.sample_plan((name, "Corridor"), site=name)
    text = crew_ics(plan)
    found = events(plan)
    assert len(found) == 4
    # RFC 5545, 3.1: lines end in CRLF and hold at most 75 octets.
    assert all(len(line) <= 75 for line in text.split(b"\r\n"))
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert not any(
        line.startswith(b"X-WR-CALNAME") and b"BEGIN" in line for line in text.split()
    )
    assert str(found[0]["SUMMARY"]).startswith("Mixer: ")


@pytest.mark.parametrize(("size", "read"), [(64, True), (65, False)])
def test_a_calendar_as_large_as_is_sensible_is_read(tmp_path, monkeypatch, size, read):
    monkeypatch.setattr(crew_calendar, "LARGEST_BYTES", 64)
    (tmp_path / "crew.ics").write_bytes(b"x" * size)
    assert crew_calendar.calendar_text(tmp_path) == (b"x" * size if read else None)
