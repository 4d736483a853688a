"""Coats ticked on the night: what is begun or done stays, what nobody ticked does not."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from log_lines import said

from cureplan.core.errors import InputError
from cureplan.inputs.tables.record import read_record, record_text
from cureplan.judge import judge
from cureplan.planning.plan.model import plan_from_json, plan_to_json
from cureplan.planning.replan.coats import coat_lines, coat_states, cove_states
from cureplan.planning.replan.record import night_record
from cureplan.planning.replan.replan import replan

MINUTE = timedelta(minutes=1)


def codes(found):
    return [change.code for change in found.changes]


def coat_of(plan, room, number):
    return next(c for c in plan.coats if (c.room, c.coat) == (room, number))


@pytest.fixture(scope="module")
def coat(one_room):
    """The first coat of the only room."""
    return min(one_room.coats, key=lambda c: c.start)


def poured(plan):
    return [said(b.pour, "poured", b.room, b.number) for b in plan.buckets]


def again(plan, log_of, now, *lines):
    return replan(plan, log_of(*poured(plan), *lines, plan=plan), now=now)


@pytest.mark.thorough
def test_a_coat_begun_late_and_laid_slowly_stays_as_it_was(one_room, coat, log_of):
    begun, laid = coat.start + 20 * MINUTE, coat.end + 65 * MINUTE
    found = again(
        one_room,
        log_of,
        laid + MINUTE,
        said(coat.start, "vacuumed", coat.room),
        said(begun, "coat begun", coat.room, value="1"),
        said(begun + MINUTE, "batch mixed", coat.room, value="1"),
        said(laid, "coat laid", coat.room, value="1"),
    )
    new = coat_of(found.plan, coat.room, 1)
    assert (new.start, new.end) == (begun.replace(microsecond=0), laid.replace(microsecond=0))
    assert "replan.coat_begun" in codes(found)
    # The last patch was reached 45 minutes later than planned after a begin 20 minutes late:
    # the second coat, which waits for it, can open no sooner than that much later.
    was, now = coat_of(one_room, coat.room, 2), coat_of(found.plan, coat.room, 2)
    assert (now.opens - was.opens).total_seconds() > 45 * 60
    assert judge(found.plan) == ()
    assert plan_from_json(plan_to_json(found.plan, text_of=lambda _: "")) == found.plan
    # And a plan after that one, from its own log of new lines only, still knows it.
    later = replan(
        found.plan,
        log_of(*poured(one_room), plan=found.plan),
        now=laid + 10 * MINUTE,
    )
    assert coat_of(later.plan, coat.room, 1).end == new.end


@pytest.mark.thorough
def test_a_coat_that_nobody_ticked_is_not_taken_as_begun(one_room, coat, log_of):
    now = coat.start + 30 * MINUTE
    untold = again(one_room, log_of, now)
    assert coat_of(untold.plan, coat.room, 1).start == coat.start
    told = again(one_room, log_of, now, said(coat.start, "vacuumed", coat.room))
    new = coat_of(told.plan, coat.room, 1)
    assert new.start >= now
    assert "replan.coat_assumed" in codes(untold)
    assert "replan.coat_not_begun" in codes(told)
    # It is vacuumed: nobody is called to do it again.
    assert "vacuum" in {call.stage for call in one_room.calls}
    assert "vacuum" not in {call.stage for call in told.plan.calls}
    assert judge(told.plan) == ()


def test_a_second_coat_says_that_the_first_is_under_it(one_room, coat, log_of):
    second = coat_of(one_room, coat.room, 2)
    found = again(
        one_room,
        log_of,
        second.start + 5 * MINUTE,
        said(second.start, "batch mixed", coat.room, value="2"),
    )
    assert coat_of(found.plan, coat.room, 1).start == coat.start
    assert coat_of(found.plan, coat.room, 2).start == second.start.replace(microsecond=0)


def test_a_floor_that_is_coated_was_poured_though_ticks_are_missing(one_room, coat, log_of):
    lines = poured(one_room)[:3]
    log = log_of(*lines, said(coat.start, "coat begun", coat.room, value="1"), plan=one_room)
    found = replan(one_room, log, now=coat.start + MINUTE)
    (floor,) = found.plan.night.poured
    assert floor.buckets == len(one_room.buckets)
    assert floor.assumed == tuple(range(4, len(one_room.buckets) + 1))


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ([("coat laid", 20, "1"), ("coat begun", 30, "1")], "was begun after that"),
        ([("coat begun", 20, "2"), ("coat begun", 30, "1")], "was begun before it"),
        ([("vacuumed", -60 * 24, "")], "is not poured by then"),
    ],
)
def test_lines_that_contradict_each_other_are_refused(one_room, coat, log_of, lines, told):
    told_lines = [
        said(coat.start + minutes * MINUTE, event, coat.room, value=value)
        for event, minutes, value in lines
    ]
    with pytest.raises(InputError, match=told):
        again(one_room, log_of, coat.start + 60 * MINUTE, *told_lines)


def test_a_coat_that_the_plan_does_not_lay_is_refused(one_room, coat, log_of):
    single = replace(one_room, coats=[coat])
    line = said(coat.start, "coat begun", coat.room, value="2")
    events = log_of(line, plan=one_room)
    with pytest.raises(InputError, match="lays no such coat on"):
        coat_states(single, coat_lines(single, events), now_s=coat.end.timestamp())


def test_coats_as_ticked_reach_the_record(one_room, coat, log_of, tmp_path):
    # By hand: begun 20 minutes late, done 45 minutes after the planned end; two batches, the
    # second seen by nobody else.
    begun, laid = coat.start + 20 * MINUTE, coat.end + 65 * MINUTE
    lines = poured(one_room)
    lines += [said(one_room.buckets[0].wet_edge_end, "wet edge ended", coat.room, 1)]
    lines += [said(begun + n * 9 * MINUTE, "batch mixed", coat.room, value="1") for n in (0, 1)]
    lines += [said(laid, "coat laid", coat.room, value="1")]
    done = night_record(one_room, log_of(*lines, plan=one_room))
    (told,) = done.coats
    assert (told.place, told.coat, told.batches) == (coat.room, 1, 2)
    assert told.begun == begun.replace(microsecond=0)
    planned_s = (coat.end - coat.start).total_seconds()
    assert told.expected_s == pytest.approx(planned_s, abs=0.1)
    assert told.took_s == pytest.approx(planned_s + 45 * 60, abs=1)
    path = tmp_path / "record.toml"
    path.write_text(record_text(done), encoding="utf-8")
    (kept,) = read_record(path).coats
    assert (kept.place, kept.begun, kept.batches) == (told.place, told.begun, told.batches)
    assert (kept.expected_s, kept.took_s) == pytest.approx((told.expected_s, told.took_s))


def test_a_plan_made_again_takes_the_coves_it_has_no_call_for_as_up():
    # A kitchen with a cove of 12 m and a corridor without one, planned again at eight.
    eight = datetime(2026, 6, 10, 20, tzinfo=UTC)
    rooms = [SimpleNamespace(name="Kitchen", m=12.0), SimpleNamespace(name="Corridor", m=0.0)]
    plan = SimpleNamespace(
        calls=[], night=SimpleNamespace(log=()), decisions=SimpleNamespace(made_at=eight),
        job=SimpleNamespace(cove=object(), rooms=rooms, cove_m=lambda room: room.m),
    )  # fmt: skip
    assert list(cove_states(plan, [], now_s=eight.timestamp())) == ["Kitchen"]
    plan.night = None
    assert cove_states(plan, [], now_s=eight.timestamp()) == {}
