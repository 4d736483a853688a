"""Carrying on, or another way: what is begun is fixed, the rest is chosen calmly."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from log_lines import said

import cureplan.planning.replan.replan as replanning
from cureplan.inputs.job.model import Shift
from cureplan.judge import judge
from cureplan.planning.plan.model import plan_from_json, plan_to_json
from cureplan.planning.replan.carry_on import Candidate, beats, could_be_beaten, without
from cureplan.planning.replan.changes import hour_off
from cureplan.planning.replan.help import _too_hot_or_cold
from cureplan.planning.replan.job import plan_conditions
from cureplan.planning.replan.replan import replan
from cureplan.planning.replan.state import _unresolved

HOUR_S = 3600.0


def way(
    job,
    chance,
    *,
    left_out=(),
    lost=0.0,
    starts_h=(0.0,),
    late=0,
    shifts=1.0,
    swings=0.0,
    buckets=0.0,
    late_h=0.0,
):
    """A candidate of floors poured at some hours, with coats that come too late; as many
    things more are lost in every other night as fewer in the rest, and some in each."""
    begins_s = job.access.begins.timestamp()
    any_time = SimpleNamespace(closes_s=float("inf"))
    pours = [
        SimpleNamespace(room="A", start_s=begins_s + h * HOUR_S, window=any_time)
        for h in starts_h
    ]
    after = SimpleNamespace(opens_s=begins_s)
    coats = [
        SimpleNamespace(
            room=job.rooms[0].name,
            start_s=begins_s + 60.0,
            window=SimpleNamespace(closes_s=begins_s),
            after=after,
        )
        for _ in range(late)
    ]
    if late_h:
        opens_s = job.due(job.rooms[0].name).timestamp() + late_h * HOUR_S
        after = SimpleNamespace(opens_s=opens_s)
        last = SimpleNamespace(room=job.rooms[0].name, start_s=begins_s, window=any_time)
        coats.append(SimpleNamespace(**vars(last), after=after))
    odds = SimpleNamespace(
        all_frac=chance,
        members=1000,
        coat_frac={"A": 1.0 - lost},
        primer_frac={},
        bucket_frac={},
        opening_frac=1.0,
        shifts_frac=shifts,
    )
    nights = (np.arange(1000) + 0.5) / 1000
    odds.lost = buckets + (nights < lost) + 1.0 * (nights > shifts)
    odds.lost = odds.lost + swings * (-1.0) ** np.arange(1000)
    schedule = SimpleNamespace(pours=pours, coats=coats)
    return Candidate(schedule=schedule, odds=odds, left_out=left_out)


@pytest.mark.parametrize(
    ("carried", "other", "goes"),
    [
        # By hand: of 1000 nights each, near even odds, two counts differ by chance by
        # 2 sqrt(2 x 0.25 / 1000) = 0.045 at two standard deviations; and heavier tails
        # move such chances by 0.06 (measured in the tests of the odds).
        ({"chance": 0.50}, {"chance": 0.59}, False),
        ({"chance": 0.50}, {"chance": 0.62}, True),
        # The job asks for 0.9: what holds more often than that is no gain.
        ({"chance": 0.92}, {"chance": 0.99}, False),
        # A floor or a bond that is lost for sure weighs more than any chance.
        ({"chance": 0.7}, {"chance": 0.9, "left_out": ("A",)}, False),
        ({"chance": 0.7, "late": 1}, {"chance": 0.65}, True),
        # Too late at the confidence asked it still bonds in half of the nights, and what saves
        # it costs buckets: seen fault, 8 things lost by the truth instead of 4.
        (
            {"chance": 0.0, "late": 1, "lost": 0.49, "buckets": 7.2},
            {"chance": 0.0, "lost": 0.17, "buckets": 7.0, "swings": 3.5},
            False,
        ),
        # Saved in 7 nights of 100, the rest of it lost alike.
        (
            {"chance": 0.0, "late": 1, "lost": 0.50, "buckets": 30.0},
            {"chance": 0.0, "lost": 0.43, "buckets": 30.0},
            False,
        ),
        # A bond that hardly any night keeps and nearly every night would, even in another.
        (
            {"chance": 0.0, "late": 1, "lost": 0.98, "buckets": 30.0},
            {"chance": 0.0, "lost": 0.10, "buckets": 30.0, "starts_h": (0.0, 24.0)},
            True,
        ),
        # Too late both, but hours sooner.
        ({"chance": 0.0, "late_h": 3.0}, {"chance": 0.0, "late_h": 0.3}, True),
        ({"chance": 0.0, "late_h": 0.3}, {"chance": 0.0, "late_h": 3.0}, False),
        # As good as hopeless both: where less is lost on the mean night, but no other night.
        ({"chance": 0.05, "lost": 0.9}, {"chance": 0.05, "lost": 0.1}, True),
        (
            {"chance": 0.05, "lost": 0.9},
            {"chance": 0.05, "lost": 0.1, "starts_h": (0.0, 24.0)},
            False,
        ),
        # The same in the mean, but by less than nights differ by: lost as often as gained.
        ({"chance": 0.05, "lost": 0.9}, {"chance": 0.05, "lost": 0.1, "swings": 1.0}, False),
        # All of it holds oftener, but on the mean night more is lost: 0.9 coats against 0.4.
        ({"chance": 0.50, "lost": 0.4}, {"chance": 0.62, "lost": 0.9}, False),
        ({"chance": 0.50, "lost": 0.4}, {"chance": 0.62, "lost": 0.3, "shifts": 0.7}, False),
        ({"chance": 0.50, "lost": 0.4}, {"chance": 0.62, "lost": 0.2, "shifts": 0.9}, True),
    ],
)
def test_a_night_is_turned_only_for_more_than_its_doubt(small_plan, carried, other, goes):
    job = small_plan.job
    job = replace(job, policy=replace(job.policy, confidence=0.9))
    assert beats(job, way(job, **other), way(job, **carried)) == goes


def test_what_a_floor_left_out_would_lose_is_no_doubt_of_the_coat_it_costs(small_plan):
    # By hand: without the corridor the coat bonds in 95 nights of 100 instead of in 2; what
    # the corridor itself loses, 6 buckets in every other night, is lost in neither.
    job = without(small_plan.job, ("Corridor",))
    kept = (np.arange(1000) + 0.5) / 1000
    corridor = 6.0 * (np.arange(1000) % 2)
    carried = way(job, 0.0, late=1, lost=0.98)
    carried.odds.lost = (kept < 0.98) + corridor
    carried.odds.bucket_frac = {"Corridor": np.full(6, 0.5)}
    carried.odds.room_lost = {"Corridor": corridor}
    assert beats(job, way(job, 0.0, lost=0.05), carried)
    assert not beats(job, way(job, 0.0, lost=0.60), carried)


@pytest.mark.thorough
def test_what_is_begun_is_one_state_at_its_own_second(small_plan, first, log_of, monkeypatch):
    room, buckets = first
    seen = {}
    search = replanning.choose

    def watched(job, tables, **named):
        found = search(job, tables, **named)
        seen["pours"], seen["found"] = tables.pours, found
        return found

    monkeypatch.setattr(replanning, "choose", watched)
    monkeypatch.setattr(replanning, "beats", lambda *_: True)
    monkeypatch.setattr(replanning, "could_be_beaten", lambda *_: True)
    job = small_plan.job
    sure = replace(job.policy, confidence=0.99)
    plan = replace(small_plan, job=replace(job, policy=sure))
    lines = [
        said(b.pour, "poured", room.room, b.number, late_s=37 * b.number) for b in buckets[:4]
    ]
    now = buckets[3].pour + timedelta(minutes=4)
    found = replan(plan, log_of(*lines, plan=plan), now=now)
    searched = {p.room: p for p in seen["found"].schedule.pours}
    real_s = buckets[0].liquids_in.timestamp() + 37.0
    assert searched[room.room].start_s == pytest.approx(real_s, abs=1.0)
    for pour in searched.values():
        assert pour.room == room.room or pour.start_s >= now.timestamp()
    # The judge confirms what the search found, and it goes through plan.json.
    assert judge(found.plan) == ()
    text = plan_to_json(found.plan, text_of=lambda _: "")
    assert plan_from_json(text) == found.plan


@pytest.fixture(scope="module")
def tight(small_plan):
    """Coats in the first hours after the pour alone, and one night to pour in."""
    job = small_plan.job
    crew = replace(job.crew, topcoat_shifts=(Shift(begins=time(2), ends=time(7)),))
    last = replace(job.access, open_by=job.access.begins + timedelta(hours=50))
    return replace(small_plan, job=replace(job, crew=crew, access=last))


@pytest.mark.thorough
def test_a_corridor_that_costs_the_bond_is_offered_for_another_night(tight, log_of):
    # Seen fault: the corridor, still wet, kept the topcoat crew out until the first coats
    # were too old to bond; leaving it out for tonight was never offered.
    rooms = sorted(tight.rooms, key=lambda r: r.order)
    lines = [
        said(b.pour, "poured", room.room, b.number)
        for room in rooms[:2]
        for b in tight.buckets_of(room.room)
    ]
    last = max(b.pour for room in rooms[:2] for b in tight.buckets_of(room.room))
    until = last.replace(hour=4, minute=0) + timedelta(days=last.hour > 12)
    now = last + timedelta(minutes=2)
    lines.append(said(now, "wait until", value=until.isoformat()))
    found = replan(tight, log_of(*lines, plan=tight), now=now)
    said_ = {change.code: change for change in found.changes}
    assert "replan.coat_late" in said_
    assert said_["replan.leave_out"].values["room"] == "Corridor"
    # Followed, it does what it said: no coat is too late.
    dropped = [*lines, said(now, "room dropped", "Corridor")]
    again = replan(tight, log_of(*dropped, plan=tight), now=now)
    assert all(coat.start <= coat.closes for coat in again.plan.coats)
    # Up to what the job asks; two counts of 1000 nights may differ by 0.03.
    keeps = said_["replan.leave_out"].values["keeps_frac"]
    asked = tight.job.policy.confidence
    assert again.plan.risk.all_keep_frac >= min(keeps, asked) - 0.03


@pytest.mark.thorough
def test_a_slab_far_off_what_was_computed_is_believed_and_unsettles_the_others(
    small_plan, first, log_of
):
    # The thermometer errs by half a degree (invented), and its place on the floor a little
    # more: a slab read 6 K colder is 6 K colder to within two of their SDs, whatever was
    # believed of computed slabs; and those nobody read are less sure than before.
    room, buckets = first
    at = buckets[0].pour - timedelta(minutes=10)
    computed = plan_conditions(small_plan)[room.room].slab_at(at.timestamp())
    lines = [
        said(at, "slab reads", room.room, value=f"{float(computed) - 6.0:.1f} C"),
        said(buckets[0].pour, "poured", room.room, 1),
    ]
    found = replan(small_plan, log_of(*lines), now=buckets[0].pour + timedelta(minutes=1))
    slabs = {slab.room: slab for slab in found.plan.night.slab}
    assert slabs[room.room].warmer_k == pytest.approx(-6.0, abs=1.2)
    others = [slab for name, slab in slabs.items() if name != room.room]
    assert all(-6.0 < slab.warmer_k < -1.0 and slab.sd_k > 1.0 for slab in others)
    # The next plan of the night begins from there.
    kept = plan_conditions(plan_from_json(plan_to_json(found.plan)))
    assert all(kept[slab.room].read[1] == slab.sd_k for slab in others)


def test_only_what_is_still_to_come_is_searched_for_something_better(
    small_plan, first, log_of, monkeypatch
):
    # What is begun is lost or not whatever is done next; where the rest holds as often as
    # may be, there is nothing to look for, however seldom all of it holds.
    job = small_plan.job
    room = small_plan.rooms[0].room
    asked = job.policy.confidence

    def carried(*, chance, begun, lost_done, lost_ahead):
        found = way(job, chance)
        odds = found.odds
        odds.begun_frac = begun
        odds.coat_frac = {}
        odds.bucket_frac = {room: np.array([1.0 - lost_done, 1.0 - lost_ahead])}
        odds.lost = np.array([lost_done + lost_ahead])
        return found

    state = SimpleNamespace(done=lambda name: 1 if name == room else 0)
    fine = carried(chance=asked, begun=1.0, lost_done=0.0, lost_ahead=0.0)
    dead = carried(chance=0.3, begun=0.3, lost_done=0.7, lost_ahead=0.0)
    short = carried(chance=0.3, begun=0.8, lost_done=0.2, lost_ahead=0.5)
    losing = carried(chance=0.3, begun=0.3, lost_done=0.7, lost_ahead=0.7)
    assert not could_be_beaten(job, fine, state)
    assert not could_be_beaten(job, dead, state)
    assert could_be_beaten(job, short, state)
    assert could_be_beaten(job, losing, state)


@pytest.mark.parametrize(
    ("event", "after_s", "until", "over"),
    [
        ("poured", 400.0, None, True),
        ("poured", 200.0, None, False),
        ("broadcast", 400.0, None, False),
        ("wait", 0.0, "later", True),
    ],
)
def test_a_halt_is_over_when_a_later_bucket_was_mixed_or_an_hour_is_named(
    event, after_s, until, over
):
    at = datetime(2013, 7, 17, 23, tzinfo=UTC)
    halt = SimpleNamespace(at=at, event="drill down", until=None)
    later = SimpleNamespace(at=at + timedelta(seconds=after_s), event=event, until=until)
    found = _unresolved([halt], [halt, later], in_mixer_s=300.0)
    assert found == (() if over else (halt,))


@pytest.mark.parametrize(
    ("late_s", "asked"),
    [
        # Within five minutes of the hour, and within ten of one another.
        ([3300, 3300, 3300], "replan.hour_late"),
        ([3000, 3600, 4200], "replan.hour_late"),
        ([2999, 3600, 4200], None),
        ([-3900, -3900], "replan.hour_early"),
        ([-3901, -3901], None),
        # Late besides by up to twelve and a half, in step.
        ([4200, 4350, 4500], "replan.hour_late"),
        ([4199, 4350, 4500], None),
        ([4351, 4351], None),
        ([-3600, 3600], None),
        ([3600], None),
    ],
)
def test_a_clock_is_doubted_where_all_lines_are_about_an_hour_off(late_s, asked):
    at = datetime(2013, 7, 17, 23, tzinfo=UTC)
    buckets = [SimpleNamespace(room="Bar", number=n, pour=at) for n in range(len(late_s))]
    site = SimpleNamespace(zone=UTC, time_zone="UTC")
    plan = SimpleNamespace(
        buckets=buckets,
        rules=SimpleNamespace(clock_near_s=300.0),
        job=SimpleNamespace(site=site),
    )
    events = [
        SimpleNamespace(event="poured", room="Bar", bucket=n, at=at + timedelta(seconds=off_s))
        for n, off_s in enumerate(late_s)
    ]
    found = hour_off(plan, events)
    assert (found and found.code) == asked


@pytest.mark.parametrize(
    ("slabs_c", "said"), [((20, 33, 34), []), ((33, 34, 20), [2]), ((1, 33, 33), [2])]
)
def test_only_of_the_bucket_that_is_next_is_it_said_that_its_slab_is_not_allowed(slabs_c, said):
    at = datetime(2013, 7, 17, 23, tzinfo=UTC)
    limits = SimpleNamespace(slab_c=(5.0, 32.0))
    slurry = SimpleNamespace(limits=limits)
    job = SimpleNamespace(cards=SimpleNamespace(slurry=slurry))
    buckets = [
        SimpleNamespace(room="Bar", number=n, slab_c=slab_c, pour=at + timedelta(minutes=n))
        for n, slab_c in ((1, 40.0), *enumerate(slabs_c, start=2))
    ]
    plan = SimpleNamespace(job=job, buckets=buckets[::-1])
    state = SimpleNamespace(done=lambda _: 1)
    assert [each.values["bucket"] for each in _too_hot_or_cold(plan, state)] == said
