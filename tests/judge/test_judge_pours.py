"""Buckets and pours broken on purpose: the judge must name the rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from plan_mutations import (
    minutes,
    moved_coat,
    moved_pour,
    poured,
    rules,
    shifted,
    with_bucket,
    with_buckets,
    with_crew,
    with_policy,
    with_room,
)

from cureplan.judge import judge

ROOM = "Cook line"


def last_of_bay(plan, room=ROOM, bay=1):
    return max(b.number for b in plan.buckets_of(room) if b.bay == bay)


BUCKETS = {
    "filler sooner than the liquids are stirred": lambda plan: with_bucket(
        plan, ROOM, 4, filler_in=lambda at: at - minutes(0.5)
    ),
    "hauled in no time": lambda plan: with_bucket(
        plan, ROOM, 4, pour=lambda at: at - minutes(0.5)
    ),
    "a station that is not there": lambda plan: with_bucket(plan, ROOM, 4, station=3),
    "two kits in one station": lambda plan: with_bucket(
        plan, ROOM, 4, station=lambda number: 3 - number
    ),
    "no mixer for the second station": lambda plan: with_crew(plan, mixer=1),
    "raked sooner than a rake can": lambda plan: with_bucket(
        plan, ROOM, 1, raked_by=lambda at: at - minutes(0.4)
    ),
    "smoothed sooner than a smoother can": lambda plan: with_bucket(
        plan, ROOM, 4, smoothed_by=lambda at: at - minutes(0.4)
    ),
    "broadcast before the next row is smooth": lambda plan: with_bucket(
        plan, ROOM, 4, broadcast_by=lambda at: at - minutes(2)
    ),
    "broadcast long after the next row is smooth": lambda plan: with_bucket(
        plan, ROOM, 4, broadcast_by=lambda at: at + minutes(6)
    ),
    "half the broadcasters": lambda plan: with_crew(plan, broadcaster=1),
    "faster hands than the crew has": lambda plan: replace(
        plan,
        job=replace(
            plan.job, pace=replace(plan.job.pace, rake_m2_s=plan.job.pace.rake_m2_s / 1.5)
        ),
    ),
    "out of order": lambda plan: with_buckets(
        plan, ROOM, lambda b: replace(b, number={4: 5, 5: 4}.get(b.number, b.number))
    ),
    "a bucket ahead of its turn": lambda plan: with_buckets(
        plan,
        ROOM,
        lambda b: shifted(b, minutes(-3)) if b.number == last_of_bay(plan) else b,
    ),
}


@pytest.mark.parametrize("name", BUCKETS)
def test_buckets_out_of_order_are_found(plan, name):
    assert "buckets" in rules(BUCKETS[name](plan))


def _renumbered(plan):
    kept = tuple(b for b in plan.buckets if (b.room, b.number) != (ROOM, 26))
    fewer = replace(plan, buckets=kept)
    return with_room(fewer, ROOM, kits=25)


KITS = {
    "a hole in the numbers": lambda plan: replace(
        plan, buckets=tuple(b for b in plan.buckets if (b.room, b.number) != (ROOM, 7))
    ),
    "a kit too few in a bay": _renumbered,
    "a bucket in the wrong bay": lambda plan: with_bucket(plan, ROOM, last_of_bay(plan), bay=2),
    "thinner than the job asks": lambda plan: with_room(
        plan, ROOM, thickness_m=lambda depth_m: depth_m - 0.0004
    ),
    "more waste than was bought for": lambda plan: replace(
        plan, job=replace(plan.job, materials=replace(plan.job.materials, waste=0.25))
    ),
    "rows deeper than the kits give": lambda plan: with_room(
        plan, ROOM, row_depth_m=lambda depth_m: depth_m * 1.2
    ),
    "a smaller floor": lambda plan: with_room(plan, ROOM, area_m2=lambda area: area * 0.9),
}


@pytest.mark.thorough
@pytest.mark.parametrize("name", KITS)
def test_kits_that_do_not_do_are_found(plan, name):
    assert "kits" in rules(KITS[name](plan))


TIE_IN = {
    "no tie-in where a row follows": lambda plan: with_bucket(plan, ROOM, 2, tied_in=None),
    "a tie-in where none follows": lambda plan: with_bucket(
        plan, ROOM, last_of_bay(plan), tied_in=plan.buckets[0].raked_by + timedelta(hours=1)
    ),
    "tied in before the row is there": lambda plan: with_bucket(
        plan, ROOM, 2, tied_in=lambda at: at - minutes(0.5)
    ),
    "a wider row than is said": lambda plan: with_room(plan, ROOM, buckets_per_row=2),
    "two buckets in one row": lambda plan: with_bucket(plan, ROOM, 3, row=lambda row: row + 1),
}


@pytest.mark.parametrize("name", TIE_IN)
def test_wrong_tie_ins_are_found(plan, name):
    assert "tie-in" in rules(TIE_IN[name](plan))


MARGINS = {
    "a later wet edge": lambda plan: with_bucket(
        plan, ROOM, 2, wet_edge_end=lambda at: at + minutes(1)
    ),
    "a later working time": lambda plan: with_bucket(
        plan, ROOM, 2, working_time_end=lambda at: at + minutes(1)
    ),
    "a later broadcast": lambda plan: with_bucket(
        plan, ROOM, 2, broadcast_end=lambda at: at + minutes(1)
    ),
    "a bucket's margin rounded up": lambda plan: with_bucket(
        plan, ROOM, 2, margin_min=lambda left: left + 0.5
    ),
    "a clock that does not bind": lambda plan: with_bucket(
        plan, ROOM, 2, binding="broadcast_closes"
    ),
    "a floor's margin rounded up": lambda plan: with_room(
        plan, ROOM, margin_min=lambda left: left + 0.5
    ),
    "a bucket that does not bind": lambda plan: with_room(
        plan, ROOM, binding_bucket=last_of_bay(plan)
    ),
    "a bucket that is not there": lambda plan: with_room(plan, ROOM, binding_bucket=99),
    "a surer margin than there is": lambda plan: with_room(
        plan, "Servery", sure_margin_min=lambda left: left + 0.5
    ),
    "a colder mix": lambda plan: with_bucket(
        plan, ROOM, 2, mixed_c=lambda temp_c: temp_c - 1.0
    ),
    "liquids that were never cold": lambda plan: replace(
        plan, job=replace(plan.job, materials=replace(plan.job.materials, iced_c=15.0))
    ),
    "within a policy that asks for more": lambda plan: with_policy(
        replace(plan, decisions=replace(plan.decisions, status="within policy")), margin_s=600.0
    ),
    "windows held at a confidence they do not have": lambda plan: replace(
        plan, decisions=replace(plan.decisions, held_frac=0.999)
    ),
    "clocks known better than they are": lambda plan: with_bucket(
        plan, ROOM, 2, clocks_sd_frac=lambda sd: sd - 0.02
    ),
    "slabs known better than by a reading": lambda plan: replace(
        plan, risk=replace(plan.risk, slab_sd_k=0.1)
    ),
    "a hotter slab": lambda plan: replace(
        plan,
        hours=tuple(
            replace(row, rooms=tuple(replace(r, slab_c=r.slab_c + 2.0) for r in row.rooms))
            for row in plan.hours
        ),
    ),
}


@pytest.mark.parametrize("name", MARGINS)
def test_wrong_margins_are_found(plan, name):
    assert "margins" in rules(MARGINS[name](plan))


POURS = {
    "before the shift": lambda plan: moved_pour(plan, poured(plan, 1).room, minutes(-120)),
    # To 19:10 of a shift that begins at 19:00, with 15 minutes of set-up.
    "before the crew has set up": lambda plan: moved_pour(
        plan,
        poured(plan, 1).room,
        poured(plan, 1).pour_start.replace(hour=19, minute=10) - poured(plan, 1).pour_start,
    ),
    # To end at 05:10 of a shift that ends at 05:00.
    "past the shift's end": lambda plan: moved_pour(
        plan,
        poured(plan, 5).room,
        poured(plan, 5).pour_end.replace(hour=5, minute=10) - poured(plan, 5).pour_end,
    ),
    "two pours at once": lambda plan: moved_pour(plan, poured(plan, 2).room, minutes(-20)),
    "no time to change over": lambda plan: moved_pour(plan, poured(plan, 2).room, minutes(-3)),
    "before anybody may be in": lambda plan: replace(
        plan,
        job=replace(
            plan.job,
            access=replace(plan.job.access, begins=plan.job.access.begins + timedelta(hours=3)),
        ),
    ),
    "a start that is not the first bucket": lambda plan: with_room(
        plan, ROOM, pour_start=lambda at: at - minutes(10)
    ),
    "an end before the last grain": lambda plan: with_room(
        plan, ROOM, pour_end=lambda at: at - minutes(1)
    ),
    "an order that is not kept": lambda plan: with_room(plan, ROOM, order=3),
}


@pytest.mark.parametrize("name", POURS)
def test_pours_at_the_wrong_hour_are_found(plan, name):
    assert "pours" in rules(POURS[name](plan))


def _way_out_added(plan, room, crossed):
    rooms = tuple(
        replace(r, way_out=(*r.way_out, crossed)) if r.name == room else r
        for r in plan.job.rooms
    )
    return replace(plan, job=replace(plan.job, rooms=rooms))


def _corridor_first(plan):
    first = min(room.pour_start for room in plan.rooms)
    corridor = next(room for room in plan.rooms if room.room == "Corridor")
    return moved_pour(plan, "Corridor", first - corridor.pour_start)


def _corridor_coat_before(plan):
    last = max(
        (coat for coat in plan.coats if coat.room != "Corridor"), key=lambda coat: coat.start
    )
    corridor = next(coat for coat in plan.coats if coat.room == "Corridor")
    return moved_coat(plan, "Corridor", 1, last.start - minutes(30) - corridor.start)


WAY_OUT = {
    "the corridor poured first": _corridor_first,
    "a coat across a corridor not yet hard": lambda plan: moved_coat(
        plan, ROOM, 1, minutes(-60)
    ),
    "the corridor coated while others are still in": _corridor_coat_before,
    "a floor crossed that was just poured": lambda plan: _way_out_added(
        plan, poured(plan, 2).room, poured(plan, 1).room
    ),
}


@pytest.mark.parametrize("name", WAY_OUT)
def test_crossing_a_fresh_floor_is_found(plan, name):
    assert "way out" in rules(WAY_OUT[name](plan))


def test_a_station_that_has_no_time_to_turn_round_is_found(plan):
    # By hand: 7 min a station by the card, 5.5 of them mixing, two stations taking turns
    # every 3.5 min. A minute sooner from bucket 3 on leaves station 1 half a minute.
    room = "Cook line"
    sooner = with_buckets(
        plan, room, lambda item: shifted(item, minutes(-1)) if item.number > 2 else item
    )
    cook_line = [item.what for item in judge(sooner) if item.room == room]
    assert any("station 1" in what for what in cook_line)


def test_a_way_out_behind_a_way_out_counts_too(plan):
    # By hand: out of the cook line through the servery, out of that through the corridor;
    # so nobody leaves the cook line while the corridor is wet.
    ways = {"Cook line": ("Servery",), "Servery": ("Corridor",)}
    rooms = tuple(replace(room, way_out=ways.get(room.name, ())) for room in plan.job.rooms)
    chained = replace(plan, job=replace(plan.job, rooms=rooms))
    found = judge(_corridor_first(chained))
    crossed = [f for f in found if f.rule == "way out" and f.room == "Cook line"]
    assert any("Corridor on the way out is closed" in f.what for f in crossed)


def test_a_floor_is_due_when_a_room_behind_it_is(plan):
    # The corridor is the way into the cook line: it must be open when that must be.
    sooner = plan.job.access.open_by - timedelta(hours=2)
    rooms = tuple(
        replace(room, open_by=sooner) if room.name == "Cook line" else room
        for room in plan.job.rooms
    )
    changed = replace(plan, job=replace(plan.job, rooms=rooms))
    late = {f.room for f in judge(changed) if f.rule == "opening" and "to be open" in f.what}
    assert late == {"Cook line", "Corridor"}


def test_one_more_called_than_the_crew_has_is_found(plan):
    first, *others = plan.calls
    more = replace(plan, calls=(replace(first, people=first.people + 1), *others))
    assert "calls" in rules(more)


def test_a_margin_stated_too_small_is_found(plan):
    modest = with_bucket(plan, "Cook line", 3, margin_min=lambda stated: stated - 1.0)
    assert "margins" in rules(modest)


def test_a_plan_that_holds_less_often_than_asked_is_not_within_policy(plan):
    asked = with_policy(plan, confidence=0.999)
    claims = replace(asked, decisions=replace(asked.decisions, status="within policy"))
    owns = replace(asked, decisions=replace(asked.decisions, status="short of policy"))
    assert claims.risk.all_keep_frac < 0.999
    assert "risk" in rules(claims)
    assert "risk" not in rules(owns)
