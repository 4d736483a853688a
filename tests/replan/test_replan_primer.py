"""Planned again on the night with a primer on the slab."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from log_lines import said

from cureplan.api import make_plan, read_job
from cureplan.core.errors import InputError
from cureplan.inputs.cards.reader import read_card
from cureplan.judge import judge
from cureplan.planning.replan.changes import _way_back
from cureplan.planning.replan.replan import replan

ONE_ROOM = Path(__file__).parents[1] / "pinned" / "jobs" / "one-room.toml"


@pytest.fixture(scope="module")
def plan():
    job = read_job(ONE_ROOM)
    job = replace(job, cards=replace(job.cards, primer=read_card("slab-primer")))
    return make_plan(job, now=job.access.begins - timedelta(hours=8), what_helps=False)


@pytest.mark.thorough
@pytest.mark.parametrize("after_min", [-10, 10, 120])
def test_the_primer_stays_and_the_slurry_waits_for_it(plan, after_min):
    now = plan.primers[0].start + timedelta(minutes=after_min)
    again = replan(plan, (), now=now).plan
    (primer,) = again.primers
    assert primer.start == plan.primers[0].start
    assert primer.slurry_opens <= again.rooms[0].pour_start <= primer.slurry_closes
    assert judge(again) == ()


@pytest.mark.thorough
def test_a_primer_that_is_too_old_by_then_is_told(log_of):
    # A card whose primer is too old 5 h after it was rolled, at 21 °C.
    job, card = read_job(ONE_ROOM), read_card("slab-primer")
    closes = card.milestones["slurry_closes"]
    point = replace(closes.points[0], after_s=5 * 3600.0, after_late_s=5 * 3600.0)
    short = {**card.milestones, "slurry_closes": replace(closes, points=(point,))}
    job = replace(job, cards=replace(job.cards, primer=replace(card, milestones=short)))
    plan = make_plan(job, now=job.access.begins - timedelta(hours=8), what_helps=False)
    now = plan.rooms[0].pour_start - timedelta(minutes=10)
    until = plan.primers[0].slurry_closes + timedelta(hours=2)
    events = log_of(said(now, "wait until", value=until.isoformat()), plan=plan)
    again = replan(plan, events, now=now)
    assert "replan.primer_old" in {change.code for change in again.changes}
    assert again.plan.status == "short of policy"


@pytest.fixture(scope="module")
def two_rooms():
    """A bakery and a store behind it, both primed by the crew that pours."""
    job = read_job(ONE_ROOM)
    bakery = job.rooms[0]
    store = replace(bakery, name="Store", length_m=4.0, width_m=3.0, topcoats=1)
    card = read_card("slab-primer")
    job = replace(job, rooms=(bakery, store), cards=replace(job.cards, primer=card))
    return make_plan(job, now=job.access.begins - timedelta(hours=8), what_helps=False)


@pytest.mark.thorough
def test_a_room_added_on_the_night_is_primed_too(two_rooms, log_of):
    now = min(p.start for p in two_rooms.primers) + timedelta(minutes=30)
    more = said(now, "room added", "Pantry", value="10 ft x 8 ft, storage")
    again = replan(two_rooms, log_of(more, plan=two_rooms), now=now).plan
    assert {p.room for p in again.primers} == {"Bakery", "Store", "Pantry"}
    added = next(p for p in again.primers if p.room == "Pantry")
    assert added.start >= now
    assert judge(again) == ()


@pytest.mark.thorough
def test_primers_to_come_wait_for_the_crew(two_rooms, log_of):
    first, second = sorted(two_rooms.primers, key=lambda p: p.start)
    now = first.start - timedelta(minutes=5)
    until = second.start + timedelta(minutes=20)
    events = log_of(said(now, "wait until", value=until.isoformat()), plan=two_rooms)
    found = replan(two_rooms, events, now=now)
    assert min(p.start for p in found.plan.primers) >= until
    said_first = [c for c in found.changes if c.code.startswith("replan.next")]
    assert [c.code for c in said_first] == ["replan.next_primer", "replan.next"]
    assert said_first[0].values["start_at"] < said_first[1].values["mix_at"]
    assert "replan.primer" in {change.code for change in found.changes}
    assert judge(found.plan) == ()


@pytest.mark.thorough
def test_a_primer_stays_as_it_was_ticked_and_one_without_a_tick_is_not_begun(two_rooms, log_of):
    # By hand: the first primer is begun 50 min late and takes 30 min more than planned; what
    # nobody ticked is to come. Told in words of its own where the floor has no primer at all.
    first, second = sorted(two_rooms.primers, key=lambda p: p.start)
    begun = first.start + timedelta(minutes=50)
    laid = first.end + timedelta(minutes=80)
    now = max(laid, second.start) + timedelta(minutes=1)
    lines = [said(begun, "primer begun", first.room), said(laid, "primer laid", first.room)]
    again = replan(two_rooms, log_of(*lines, plan=two_rooms), now=now).plan
    by_room = {p.room: p for p in again.primers}
    assert abs(by_room[first.room].start - begun) <= timedelta(minutes=1)
    assert abs(by_room[first.room].end - laid) <= timedelta(minutes=1)
    assert by_room[second.room].start >= now
    assert judge(again) == ()
    bare = replace(two_rooms, primers=tuple(p for p in two_rooms.primers if p is not second))
    line = said(begun, "primer begun", second.room)
    with pytest.raises(InputError, match="the plan has no primer there"):
        replan(bare, log_of(line, plan=bare), now=now)


@pytest.mark.thorough
@pytest.mark.parametrize("late_min", [0, 120])
def test_primed_nights_planned_again_are_never_refused(two_rooms, late_min):
    now = min(room.pour_start for room in two_rooms.rooms) + timedelta(minutes=late_min)
    again = replan(two_rooms, (), now=now).plan
    assert {p.room for p in again.primers} == {r.room for r in again.rooms}


@pytest.mark.thorough
def test_a_floor_begun_does_not_wait_for_the_primer_of_another(two_rooms, log_of):
    # One pours already, in another nobody ticked the primer: its crew comes after the pour.
    one = min(two_rooms.rooms, key=lambda room: room.pour_start)
    primer = next(p for p in two_rooms.primers if p.room == one.room)
    other = next(p for p in two_rooms.primers if p.room != one.room)
    bucket = next(b for b in two_rooms.buckets if (b.room, b.number) == (one.room, 1))
    lines = [
        said(primer.start, "primer begun", one.room),
        said(primer.end, "primer laid", one.room),
        said(bucket.pour, "poured", one.room, 1),
    ]
    now = bucket.pour + timedelta(minutes=1)
    again = replan(two_rooms, log_of(*lines, plan=two_rooms), now=now).plan
    (later,) = [p for p in again.primers if p.room == other.room]
    (pouring,) = [room for room in again.rooms if room.room == one.room]
    assert later.start >= pouring.pour_end
    assert judge(again) == ()


def test_a_primer_is_told_as_too_old_in_its_own_room_and_after_its_hour_alone():
    at = datetime(2013, 7, 17, 23, tzinfo=UTC)

    def told(pours):
        primers = [
            SimpleNamespace(room=name, start=at, slurry_closes=at + timedelta(hours=closes_h))
            for name, closes_h in (("Bar", 6), ("Hall", 12))
        ]
        rooms = [
            SimpleNamespace(
                room=name, pour_start=at + timedelta(hours=hours), opens=at, open_by=at
            )
            for name, hours in pours.items()
        ]
        plan = SimpleNamespace(coats=(), primers=primers, rooms=rooms)
        return [
            m.values["room"] for m in _way_back(plan, plan) if m.code == "replan.primer_old"
        ]

    assert told({"Bar": 6, "Hall": 8}) == []
    assert told({"Bar": 7, "Hall": 8}) == ["Bar"]
    assert told({"Bar": 7, "Hall": 13}) == ["Bar", "Hall"]
