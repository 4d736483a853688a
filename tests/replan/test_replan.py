"""Planning the rest of the night again: what is poured stays, what is learned is used."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st
from log_lines import said

from cureplan.api import make_plan
from cureplan.core.errors import NoFeasiblePlanError
from cureplan.core.messages import Message
from cureplan.output.view.view import voice_of
from cureplan.output.view.work import coats as coats_view
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.planning.floor.pour import PourOption, RoomPours
from cureplan.planning.plan.model import Source, plan_from_json, plan_to_json
from cureplan.planning.replan.changes import _way_back
from cureplan.planning.replan.replan import replan
from cureplan.science.clocks import clocks_as_seen, slurry_clocks, topcoat_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.kit import run_bucket

ENDS = ("wet edge ended", "working time ended", "surface closed")
SECOND = timedelta(seconds=1)


def codes(found):
    return [change.code for change in found.changes]


def poured_lines(room, buckets, upto, late_s=0.0):
    return [said(b.pour, "poured", room.room, b.number, late_s=late_s) for b in buckets[:upto]]


@pytest.mark.thorough
def test_a_night_that_goes_as_planned_changes_no_minute(small_plan, first, log_of):
    room, buckets = first
    events = log_of(*poured_lines(room, buckets, 3))
    found = replan(small_plan, events, now=buckets[2].pour + SECOND)
    before = {(b.room, b.number): b.pour for b in small_plan.buckets}
    moved_s = [
        abs((b.pour - before[b.room, b.number]).total_seconds()) for b in found.plan.buckets
    ]
    # Instants are whole seconds, starts are rounded up to one; every room may add one.
    assert max(moved_s) <= 3.0
    assert found.plan.status == small_plan.status
    assert codes(found) == ["replan.next", "replan.carry_on", "replan.no_readings"]


@pytest.mark.thorough
@examples(9)
@given(
    share=st.floats(0, 1),
    named=st.lists(st.booleans(), min_size=40, max_size=40),
    delays=st.lists(st.integers(0, 60), min_size=40, max_size=40),
    chosen=st.lists(st.booleans(), min_size=6, max_size=6),
    minutes=st.integers(9, 300),
)
def test_no_poured_bucket_moves(kitchen, share, named, delays, chosen, minutes):
    small_plan, (room, buckets), log_of = kitchen.parts
    upto = 1 + round(share * (len(buckets) - 1))
    late = np.cumsum(delays)
    lines = [
        said(b.pour, "poured", room.room, b.number, late_s=int(late[b.number - 1]))
        for b in buckets[:upto]
        if named[b.number - 1] or b.number == upto
    ]
    last = buckets[upto - 1].pour + timedelta(seconds=int(late[upto - 1]))
    extra = [
        ("drill down", "", "", ""),
        ("short of", "", "", "broadcaster"),
        ("slab reads", room.room, "", "93 F"),
        ("bucket reads", room.room, upto, "75 F"),
        ("wait until", "", "", (last + timedelta(minutes=40)).isoformat()),
        ("wet edge ended", room.room, upto, ""),
    ]
    ends = last + timedelta(minutes=8)
    lines += [said(ends, *what) for what, taken in zip(extra, chosen, strict=True) if taken]
    events = log_of(*lines)
    now = last + timedelta(minutes=minutes)
    found = replan(small_plan, events, now=now)
    after = {(b.room, b.number): b for b in found.plan.buckets}
    for event in events:
        if event.event == "poured":
            assert after[event.room, event.bucket].pour == event.at
    for name in {b.room for b in found.plan.buckets}:
        times = [b.pour for b in found.plan.buckets_of(name)]
        assert times == sorted(times)
    waits = [event.until for event in events if event.until is not None]
    for bucket in found.plan.buckets:
        if bucket.pour > now:
            # In rhythm the next one may be in the mixer already; after a wait none is.
            assert not waits or bucket.liquids_in >= max(*waits, last) - SECOND


@pytest.mark.thorough
def test_a_hidden_truth_is_learned_and_the_rest_is_timed_by_it(small_plan, first, log_of):
    # A fifth faster, 3 K warmer; seen without error, so that what is left is the prior's
    # pull: each next clock within a minute, where the old plan is off by more than two.
    room, buckets = first
    truth = Truth(small_plan, room.room, speed=1.2, slab_k=3.0)
    lines = poured_lines(room, buckets, 3)
    for number in (1, 2, 3):
        for event, end in zip(ENDS, truth.ends(number), strict=True):
            lines.append(said(end, event, room.room, number))
    read_at = buckets[0].pour - timedelta(minutes=5)
    slab_c = truth.slab_c(read_at)
    lines.append(said(read_at, "slab reads", room.room, value=f"{slab_c:.2f} C"))
    events = log_of(*lines)
    found = replan(small_plan, events, now=max(e.at for e in events))
    night = found.plan.night
    assert night.speed_low < 1.2 < night.speed_high
    assert "replan.faster" in codes(found)
    assert "replan.slab_warmer" in codes(found)
    new = found.plan.buckets_of(room.room)
    old_off, new_off = [], []
    for bucket in (b for b in new if b.number in (4, 5, 6)):
        shift = bucket.pour - buckets[bucket.number - 1].pour
        end = truth.ends(bucket.number)[0] + shift
        new_off.append(abs((bucket.wet_edge_end - end).total_seconds()))
        was = buckets[bucket.number - 1].wet_edge_end + shift
        old_off.append(abs((was - end).total_seconds()))
    assert max(new_off) < 60.0
    assert min(old_off) > 120.0


class Truth:
    """Buckets of a planned room as they really go, straight from the bucket model."""

    def __init__(self, plan, room, *, speed, slab_k):
        self.plan, self.room, self.speed, self.slab_k = plan, room, speed, slab_k
        job = plan.job
        self.clocks = slurry_clocks(
            job.cards.slurry,
            film_m=job.materials.thickness_m + job.materials.profile_allowance_m,
            slab_effusivity=SLAB_EFFUSIVITY,
        )

    def _at(self, at, kind):
        hours = [(h.at.timestamp(), r) for h in self.plan.hours for r in h.rooms]
        rows = [(s, getattr(r, kind)) for s, r in hours if r.room == self.room]
        return float(np.interp(at.timestamp(), *zip(*rows, strict=True)))

    def slab_c(self, at):
        return self._at(at, "slab_c") + self.slab_k

    def ends(self, number):
        bucket = self.plan.buckets_of(self.room)[number - 1]
        materials = self.plan.job.materials
        path = run_bucket(
            materials.iced_c if bucket.chilled else materials.storage_c,
            materials.storage_c,
            self._at(bucket.liquids_in, "air_c"),
            self.slab_c(bucket.pour),
            self.plan.job.pace.haul_s,
            kit=self.clocks.kit,
            speed=self.speed,
            film_m=self.clocks.film_m,
            slab_effusivity=SLAB_EFFUSIVITY,
        )
        names = ("wet_edge", "working_time", "broadcast_closes")
        return [
            bucket.filler_in
            + timedelta(seconds=round(float(path.when_s(self.clocks.age_s[n])[0])))
            for n in names
        ]


@pytest.mark.thorough
def test_the_nights_speed_is_a_number_and_the_card_stays(small_plan, first, log_of):
    job = small_plan.job
    room, buckets = first
    events = log_of(
        *poured_lines(room, buckets, 1),
        said(buckets[0].wet_edge_end, "wet edge ended", room.room, 1, late_s=-180),
    )
    found = replan(small_plan, events, now=events[-1].at)
    speed = found.readings.fit.speed
    assert speed > 1.05
    assert found.plan.job.cards == job.cards
    assert found.plan.night.rate_factor == pytest.approx(speed)

    # Once more from the plan of the night, with nothing new: the same clocks.
    again = replan(found.plan, (), now=events[-1].at + SECOND).plan
    assert again.night.rate_factor == found.plan.night.rate_factor
    later = [
        {b.number: b.wet_edge_end - b.filler_in for b in plan.buckets_of(room.room)[1:]}
        for plan in (found.plan, again)
    ]
    assert later[0].keys() == later[1].keys()
    for number, lasts in later[0].items():
        assert abs(later[1][number] - lasts) <= 3 * SECOND


def test_clocks_as_seen_are_the_card_run_so_much_faster(small_plan, first):
    # The bucket model takes the speed on every rate: an oracle apart from scaled ages.
    job, (room, _) = small_plan.job, first
    film_m = job.materials.thickness_m + job.materials.profile_allowance_m
    card = slurry_clocks(job.cards.slurry, film_m=film_m, slab_effusivity=SLAB_EFFUSIVITY)
    seen = clocks_as_seen(card, rate_factor=1.17, card_doubt_frac=0.5, batch_doubt_frac=0.4)
    assert seen.fit.energy_sd_j_mol == pytest.approx(0.5 * card.fit.energy_sd_j_mol)
    assert seen.spread_frac == pytest.approx(0.4 * card.spread_frac)
    rows = small_plan.hours
    column = [r.room for r in rows[0].rooms].index(room.room)
    conditions = RoomConditions(
        room=room.room,
        epoch_s=np.array([h.at.timestamp() for h in rows]),
        air_c=np.array([h.rooms[column].air_c for h in rows]),
        slab_c=np.array([h.rooms[column].slab_c for h in rows]),
        dew_c=np.full(len(rows), np.nan),
        reading_s=None,
    )
    topcoat = topcoat_clocks(job.cards.topcoat)
    option = PourOption(chilled=True, cool_filler=False, bays=1)
    start_s = room.pour_start.timestamp()
    old, new = (
        RoomPours(job.room(room.room), job, clocks, topcoat, conditions)
        for clocks in (card, seen)
    )
    assert new.run(option, start_s).ends_s == pytest.approx(
        old.run(option, start_s, speed=1.17).ends_s, abs=1e-3
    )


@pytest.mark.thorough
def test_a_drill_down_slows_what_is_left(small_plan, first, log_of):
    room, buckets = first
    now = buckets[2].pour + timedelta(minutes=1)
    events = log_of(*poured_lines(room, buckets, 3), said(now, "drill down"))
    found = replan(small_plan, events, now=now)
    rest = [b.pour for b in found.plan.buckets_of(room.room)][3:]
    gaps_s = {round((b - a).total_seconds()) for a, b in pairwise(rest)}
    card = small_plan.job.cards.slurry
    # By hand: each station left mixes a kit per cycle of liquids, filler, turnaround; a stop
    # line between bays adds the crew's turn.
    stations = small_plan.job.crew.stations - 1
    cycle_s = (card.liquids_mix_s + card.filler_mix_s + card.turnaround_s) / stations
    assert gaps_s <= {round(cycle_s), round(cycle_s + small_plan.job.pace.bay_turn_s)}
    assert round(cycle_s) in gaps_s
    assert "replan.stations" in codes(found)
    assert found.plan.job.crew.stations == small_plan.job.crew.stations - 1


@pytest.mark.thorough
def test_a_wait_stops_the_mixing_and_tells_of_the_lost_edge(small_plan, first, log_of):
    room, buckets = first
    now = buckets[2].pour + timedelta(minutes=1)
    until = now + timedelta(hours=1)
    events = log_of(
        *poured_lines(room, buckets, 3), said(now, "wait until", value=until.isoformat())
    )
    found = replan(small_plan, events, now=now)
    assert found.plan.buckets_of(room.room)[3].liquids_in == until
    assert "replan.edge_lost" in codes(found)
    assert found.plan.status == "short of policy"


@pytest.mark.thorough
def test_rooms_dropped_and_added_are_planned_so(small_plan, first, log_of):
    room, buckets = first
    gone = small_plan.rooms[1].room
    now = buckets[0].pour + timedelta(minutes=1)
    events = log_of(
        *poured_lines(room, buckets, 1),
        said(now, "room dropped", gone),
        said(now, "room added", "Pot wash", "", "12 ft x 10 ft, storage, through Corridor"),
    )
    found = replan(small_plan, events, now=now)
    order = [r.room for r in found.plan.rooms]
    assert order == [room.room, "Pot wash", "Corridor"]
    assert {c.room for c in found.plan.coats} == set(order)
    added = next(r for r in found.plan.rooms if r.room == "Pot wash")
    # By hand: 12 ft x 10 ft = 120 sq ft = 11.148 m².
    assert added.area_m2 == pytest.approx(11.148, abs=1e-3)
    assert not added.chilled


@pytest.mark.thorough
def test_rooms_without_a_line_are_taken_as_planned_and_it_says_which(small_plan, log_of):
    second = small_plan.rooms[1]
    bucket = small_plan.buckets_of(second.room)[0]
    events = log_of(said(bucket.pour, "poured", second.room, 1))
    found = replan(small_plan, events, now=bucket.pour + SECOND)
    told = {c.values["room"]: c.values for c in found.changes if c.code == "replan.assumed"}
    assert told.keys() == {small_plan.rooms[0].room}
    assert told[small_plan.rooms[0].room]["buckets"] == f"1-{small_plan.rooms[0].kits}"


@pytest.mark.thorough
def test_a_room_that_no_shift_holds_is_left_out_and_the_plan_says_so(small_plan, first, log_of):
    room, buckets = first
    job = small_plan.job
    night = replace(job.access, open_by=job.access.begins + timedelta(hours=30))
    plan = replace(small_plan, job=replace(job, access=night))
    late = buckets[2].pour + timedelta(minutes=1)
    until = (job.access.begins + timedelta(hours=29.5)).isoformat()
    events = log_of(
        *poured_lines(room, buckets, 3), said(late, "wait until", value=until), plan=plan
    )
    found = replan(plan, events, now=late)
    rest = {r.room for r in small_plan.rooms} - {room.room}
    assert set(found.plan.night.left_out) == rest
    assert {r.room for r in found.plan.rooms} == {room.room}
    assert found.plan.status == "no feasible plan"
    # What lies on the floor is still coated, and the first lines say what to do about it.
    assert {c.room for c in found.plan.coats} == {room.room}
    assert codes(found)[0] == "replan.ten_minutes"
    assert codes(found)[1] in ("replan.edge_lost", "replan.now_stop")
    assert "replan.now_call_left" in codes(found)


@pytest.mark.thorough
@pytest.mark.parametrize("lost", ["drill down", "short of"])
def test_the_last_station_or_rake_lost_halts_the_night_and_a_plan_comes_all_the_same(
    small_plan, first, log_of, lost
):
    room, buckets = first
    crew = small_plan.job.crew
    at = buckets[2].pour + SECOND
    lines = poured_lines(room, buckets, 3)
    if lost == "drill down":
        lines += [said(at, "drill down", late_s=n) for n in range(crew.stations)]
    else:
        lines += [said(at, "short of", value="rake", late_s=n) for n in range(crew.rake)]
    now = at + timedelta(minutes=1)
    found = replan(small_plan, log_of(*lines), now=now)
    # Nothing is mixed within the hour it takes to get another (invented, `FETCH_S`).
    nexts = [b.liquids_in for b in found.plan.buckets if b.pour > now]
    assert min(nexts) >= now + timedelta(hours=1)
    assert "replan.halted" in codes(found)
    assert codes(found)[0] == "replan.ten_minutes"
    assert codes(found)[1] in ("replan.edge_lost", "replan.now_stop")
    # Nothing was read: the pails are as cold as planned, and stirring makes none colder.
    assert "replan.now_stir" not in codes(found)
    # Once it is said until when, that hour counts alone.
    until = (now + timedelta(minutes=20)).isoformat()
    again = replan(small_plan, log_of(*lines, said(now, "wait until", value=until)), now=now)
    assert "replan.halted" not in codes(again)
    assert min(b.liquids_in for b in again.plan.buckets if b.pour > now) < min(nexts)


@pytest.mark.thorough
def test_a_slab_that_its_card_does_not_allow_is_the_first_thing_said(small_plan, first, log_of):
    room, buckets = first
    at = buckets[1].pour
    hot = said(at, "slab reads", room.room, value="104 F")
    found = replan(
        small_plan, log_of(*poured_lines(room, buckets, 3), hot), now=buckets[2].pour
    )
    first_said = found.changes[0]
    assert first_said.code == "replan.now_slab"
    # The card says 100 F; by hand (100 - 32) / 1.8.
    assert first_said.values["limit_c"] == pytest.approx(37.78, abs=0.01)
    assert first_said.values["slab_c"] > 37.78
    assert first_said.values["bucket"] == 4
    # A slab was read, and no bucket: nothing is said of the batch.
    assert "replan.as_card" not in codes(found)


@pytest.mark.thorough
def test_a_plan_made_on_the_night_is_planned_again_from_the_same_log(small_plan, first, log_of):
    room, buckets = first
    now = buckets[2].pour + timedelta(minutes=1)
    lines = [
        *poured_lines(room, buckets, 3),
        said(buckets[1].pour, "slab reads", room.room, value="92 F"),
        said(now, "drill down"),
        said(now, "room dropped", small_plan.rooms[1].room),
    ]
    once = replan(small_plan, log_of(*lines), now=now).plan
    fourth = once.buckets_of(room.room)[3]
    lines.append(said(fourth.pour, "poured", room.room, 4))
    twice = replan(once, log_of(*lines, plan=once), now=fourth.pour + SECOND)
    assert twice.plan.job.crew.stations == once.job.crew.stations
    assert twice.readings.fit.readings == 0
    before = {(b.room, b.number): b.pour for b in once.buckets}
    moved = [abs(b.pour - before[b.room, b.number]) for b in twice.plan.buckets]
    assert max(moved) <= 3 * SECOND
    assert [r.room for r in twice.plan.rooms] == [r.room for r in once.rooms]


@pytest.mark.thorough
def test_the_day_after_only_the_way_back_is_left(small_plan, log_of):
    begun = min(coat.start for coat in small_plan.coats)
    now = begun + timedelta(minutes=1)
    events = log_of(said(now, "slab reads", "Corridor", value="30 C"))
    found = replan(small_plan, events, now=now)
    # The next act comes first, and what nobody logged is told as taken for granted.
    assert codes(found)[:2] == ["replan.next_coat", "replan.all_poured"]
    assert found.changes[0].values["start_at"] > now.isoformat()
    assert "replan.coat_assumed" in codes(found)
    kept = [c for c in found.plan.coats if c.start == begun]
    assert len(kept) == 1
    assert all(c.start >= now or c in kept for c in found.plan.coats)


@pytest.mark.parametrize(("opens_s", "shown"), [(-40, "05:34"), (10, "05:35")])
def test_a_moved_coat_is_shown_at_the_minute_its_plan_shows(small_plan, opens_s, shown):
    # Begun at 05:34:20: by a clock without seconds at 05:34, unless the floor below is not
    # ready then. Seen fault: "instead of 05:35" where the plan said "from 05:34".
    zone = small_plan.job.site.zone
    minute = datetime(2013, 7, 18, 5, 34, tzinfo=zone)
    coat = replace(
        small_plan.coats[0],
        coat=1,
        start=minute + 20 * SECOND,
        opens=minute + opens_s * SECOND,
        closes=minute + timedelta(hours=4),
    )
    later = replace(coat, start=coat.start + timedelta(minutes=30))
    old, new = replace(small_plan, coats=(coat,)), replace(small_plan, coats=(later,))
    (moved,) = [say for say in _way_back(old, new) if say.code == "replan.coat_1"]
    voice = voice_of(small_plan)
    assert f"instead of Thu {shown}." in voice.say(moved)
    assert coats_view(old, voice)[0].start == f"Thu {shown}"


@pytest.mark.thorough
def test_coats_keep_the_way_out_the_crew_and_their_windows(small_plan, first, log_of):
    room, buckets = first
    now = buckets[2].pour + timedelta(minutes=1)
    events = log_of(*poured_lines(room, buckets, 3), said(now, "drill down"))
    plan = replan(small_plan, events, now=now).plan
    coats = sorted(plan.coats, key=lambda c: c.start)
    assert all(a.end <= b.start for a, b in pairwise(coats))
    assert all(c.opens <= c.start + SECOND for c in coats)
    rooms = {r.room: r for r in plan.rooms}
    for coat in coats:
        for floor in plan.job.room(coat.room).way_out:
            assert not rooms[floor].pour_start < coat.end < rooms[floor].walkable


@pytest.mark.thorough
def test_the_new_plan_goes_through_json_and_both_languages(small_plan, first, log_of):
    room, buckets = first
    events = log_of(*poured_lines(room, buckets, 2), said(buckets[1].pour, "drill down"))
    plan = replan(small_plan, events, now=buckets[1].pour).plan
    for language in ("en", "es"):
        text = plan_to_json(plan, text_of=voice_of(plan, language).say)
        assert plan_from_json(text) == plan
    assert plan.warnings[: len(plan.night.changes)] == plan.night.changes


def test_nothing_left_to_plan_is_said(small_plan, log_of):
    begins = small_plan.job.access.begins
    events = log_of(*(said(begins, "room dropped", r.room) for r in small_plan.rooms))
    with pytest.raises(NoFeasiblePlanError, match="nothing is left"):
        replan(small_plan, events, now=begins)


@pytest.mark.thorough
def test_a_card_that_follows_humidity_is_corrected_at_the_rooms_own(
    small_plan, demo_weather, log_of
):
    # The card's points split at 30 and 70 %; the batch runs as that card says, in the air
    # the room has, so readings must leave the speed where it is.
    job, split = small_plan.job, {}
    for name, milestone in job.cards.slurry.milestones.items():
        split[name] = replace(
            milestone,
            points=tuple(
                replace(
                    point,
                    humidity_frac=0.5 + side,
                    after_s=point.after_s * np.exp(-0.8 * side),
                    after_late_s=point.after_late_s * np.exp(-0.8 * side),
                )
                for point in milestone.points
                for side in (-0.2, 0.2)
            ),
        )
    cards = replace(job.cards, slurry=replace(job.cards.slurry, milestones=split))
    now = small_plan.decisions.made_at
    plan = make_plan(replace(job, cards=cards), now=now, weather=demo_weather, what_helps=False)
    room = plan.rooms[0].room
    buckets = plan.buckets_of(room)[:3]
    lines = [said(b.pour, "poured", room, b.number) for b in buckets]
    lines += [said(b.wet_edge_end, "wet edge ended", room, b.number) for b in buckets]
    lines.sort()
    log = log_of(*lines, plan=plan)
    found = replan(plan, log, now=log[-1].at)
    assert found.readings.fit.speed == pytest.approx(1.0, abs=0.003)
    assert found.readings.slab_k(room) == pytest.approx(0.0, abs=0.05)


def test_how_past_predictions_fared_stays_on_the_new_plan(small_plan, first, log_of):
    values = {
        "jobs": 1, "clocks": 8, "miss_min": 1.5, "bias_min": 1.5, "bias": "shorter",
        "inside_frac": 1.0, "holds_frac": 0.9,
    }  # fmt: skip
    past = Source(
        kind="record", label="records", licence=None, generic=False,
        detail=Message("source.record", values),
    )  # fmt: skip
    plan = replace(small_plan, sources=(*small_plan.sources, past))
    room, buckets = first
    events = log_of(*poured_lines(room, buckets, 3))
    found = replan(plan, events, now=buckets[2].pour + SECOND)
    assert found.plan.sources.count(past) == 1
    # "ended 0 min off on average" hid the tenths.
    tenths = replace(past, detail=Message("source.record", values | {"miss_min": 0.44}))
    assert "ended 0.4 min off on average" in voice_of(plan).say(tenths.detail)


def test_buckets_not_written_down_are_as_late_as_the_last_that_was(small_plan, first, log_of):
    room, buckets = first
    events = log_of(*poured_lines(room, buckets, 3, late_s=120.0))
    found = replan(small_plan, events, now=buckets[2].pour + timedelta(minutes=45))
    pairs = list(zip(buckets, found.plan.buckets_of(room.room), strict=True))[3:8]
    assert {new.pour - old.pour for old, new in pairs} == {timedelta(seconds=120)}


def test_a_bucket_that_is_overdue_lands_no_sooner_than_now(small_plan, first, log_of):
    room, buckets = first
    now = buckets[3].pour + timedelta(minutes=1)
    found = replan(small_plan, log_of(*poured_lines(room, buckets, 3)), now=now)
    assert found.plan.buckets_of(room.room)[3].pour >= now


@pytest.mark.thorough
def test_a_slab_is_corrected_most_where_it_was_read(small_plan, first, log_of):
    room, buckets = first
    other = small_plan.rooms[1].room
    at = buckets[0].pour + timedelta(minutes=1)
    lines = [*poured_lines(room, buckets, 1), said(at, "slab reads", other, value="36 C")]
    readings = replan(small_plan, log_of(*lines), now=at + SECOND).readings
    assert readings.slab_k(other) > readings.slab_k(room.room) + 0.5
    assert readings.slab_sd_k(other) < readings.slab_sd_k(room.room)
