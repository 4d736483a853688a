"""People by name: who does what, how fast, never twice at once, and when they come."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time, timedelta
from itertools import pairwise
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.messages import Message
from cureplan.inputs.job.crew import POUR_ROLES, Person, Shift, common_hours
from cureplan.planning.floor import sharing
from cureplan.planning.floor.sharing import Rhythm, Tasks, _Search, shared_rhythm
from cureplan.planning.plan.arrivals import (
    _short_enough,
    arrival_plans,
    labour_of,
    people_warnings,
)
from cureplan.planning.plan.calls import _Comes
from cureplan.planning.plan.model import Call, ChillPlan, ChillRoom

# 240 s to mix with turnaround, 90 s to carry and come back, then rake, smooth, broadcast.
TASKS = Tasks(
    mix_s=180, turnaround_s=60, haul_s=45, rake_s=120, smooth_s=160, broadcast_s=320, edge_s=120
)
AT = datetime(2026, 6, 10, 19, 0, tzinfo=ZoneInfo("America/New_York"))


def crew_of(job, stations=1, **who):
    people = tuple(Person(name=name, roles=tuple(roles.split())) for name, roles in who.items())
    return replace(job.crew, stations=stations, people=people)


@pytest.mark.parametrize(
    ("who", "interval_s", "limit"),
    [
        # Ana mixes and carries: 240 + 90. Nobody else has as much: 320 of broadcasting.
        (
            {"ana": "mixer runner", "bo": "rake smoother", "cy": "broadcaster", "di": "edge"},
            330,
            "mixing",
        ),
        # Bo rakes, smooths and broadcasts: 120 + 160 + 320.
        ({"ana": "mixer runner", "bo": "rake smoother broadcaster edge"}, 720, "broadcast"),
        # One alone does it all, edges as long as raking: 240 + 90 + 120 + 160 + 320 + 120.
        ({"ana": "mixer runner rake smoother broadcaster edge"}, 1050, "broadcast"),
        # Whoever has nothing but edges is done with them in 120: 120 + 160 + 320 of Bo.
        (
            {"ana": "mixer runner", "bo": "rake smoother broadcaster", "cy": "edge"},
            600,
            "broadcast",
        ),
    ],
    ids=["four", "two", "one", "edges"],
)
def test_what_one_pair_of_hands_does_for_a_bucket_adds_up(demo_job, who, interval_s, limit):
    found = shared_rhythm(crew_of(demo_job, **who), TASKS)
    assert found.interval_s == pytest.approx(interval_s)
    assert found.limit == limit


def test_two_at_two_stations_take_a_bucket_each_in_turn(demo_job):
    # Both mix and carry, (240 + 90) / 2; the others rake, smooth and broadcast.
    who = {"ana": "mixer runner", "bo": "mixer runner", "cy": "rake edge smoother"}
    many = crew_of(demo_job, stations=2, **who, di="broadcaster", ed="broadcaster")
    # Cy: 120 + 120 + 160. Of Di and Ed each half of 320.
    assert shared_rhythm(many, TASKS).interval_s == pytest.approx(400)


def test_hands_to_spare_are_not_left_idle(demo_job):
    # One broadcaster's 320 would do beside Ana's 330; with two the last grain falls in 160.
    who = {"ana": "mixer runner", "bo": "rake smoother", "ed": "edge"}
    found = shared_rhythm(crew_of(demo_job, **who, cy="broadcaster", di="broadcaster"), TASKS)
    assert found.interval_s == pytest.approx(330)
    assert {*found.hands["broadcaster"]} == {"cy", "di"}


def busy(rhythm: Rhythm, buckets: int = 40):
    """From when to when each is at which bucket, written here a second time."""
    found: dict[str, list[tuple[float, float]]] = {}
    at_s = {
        "mixer": -60.0,
        "runner": 180.0,
        "rake": rhythm.rake_at_s,
        "smoother": rhythm.smooth_at_s,
        "broadcaster": rhythm.broadcast_at_s,
    }
    for role, begins_s in at_s.items():
        names, turns = rhythm.hands[role], role in ("mixer", "runner")
        lasts_s = TASKS.of(role) / (1 if turns else len(names))
        for bucket in range(buckets):
            from_s = bucket * rhythm.interval_s + begins_s
            there = [names[bucket % len(names)]] if turns else names
            for name in there:
                found.setdefault(name, []).append((from_s, from_s + lasts_s))
    return found


roles_of_one = st.sets(st.sampled_from(POUR_ROLES), min_size=1, max_size=3)


@given(people=st.lists(roles_of_one, min_size=1, max_size=4), stations=st.integers(1, 2))
def test_nobody_is_at_two_things_at_once_nor_left_out_of_order(demo_job, people, stations):
    missing = {*POUR_ROLES} - {role for roles in people for role in roles}
    people = [people[0] | missing, *people[1:]]
    who = {f"p{n}": " ".join(sorted(roles)) for n, roles in enumerate(people)}
    rhythm = shared_rhythm(crew_of(demo_job, stations=stations, **who), TASKS)
    for times in busy(rhythm).values():
        for before, after in pairwise(sorted(times)):
            assert before[1] <= after[0] + 1e-3
    poured_s = 180.0 + 45.0
    rake_s, smooth_s = (rhythm.share_s(role, TASKS) for role in ("rake", "smoother"))
    assert poured_s <= rhythm.rake_at_s + 1e-6
    assert rhythm.rake_at_s + rake_s <= rhythm.smooth_at_s + 1e-6
    assert rhythm.smooth_at_s + smooth_s <= rhythm.broadcast_at_s + 1e-6


@given(people=st.lists(roles_of_one, min_size=1, max_size=3), more=roles_of_one)
@examples(60)
def test_more_hands_never_slow_the_rhythm(demo_job, people, more):
    missing = {*POUR_ROLES} - {role for roles in people for role in roles}
    people = [people[0] | missing, *people[1:]]
    who = {f"p{n}": " ".join(sorted(roles)) for n, roles in enumerate(people)}
    fewer = shared_rhythm(crew_of(demo_job, **who), TASKS).interval_s
    another = shared_rhythm(crew_of(demo_job, **who, new=" ".join(sorted(more))), TASKS)
    assert another.interval_s <= fewer + 1e-6


def test_a_crew_works_when_all_of_it_can_be_there():
    # By hand: 19:00 to 05:00, with one from 20:30 on and another until 02:15 and from 04:00.
    night = [Shift(begins=time(19), ends=time(5))]
    late = (Shift(begins=time(20, 30), ends=time(8)),)
    gap = (Shift(begins=time(12), ends=time(2, 15)), Shift(begins=time(4), ends=time(6)))
    assert common_hours(night, [late, (), gap]) == (
        Shift(begins=time(20, 30), ends=time(2, 15)),
        Shift(begins=time(4), ends=time(5)),
    )
    assert common_hours(night, [(), ()]) == tuple(night)


def call(role, names, stage, first_min, last_min, ahead_min=45.0, room="Bakery"):
    first = AT + timedelta(minutes=first_min)
    return Call(
        role=role, people=len(names), names=names, room=room, stage=stage,
        call=first - timedelta(minutes=ahead_min), first_task=first,
        last_task=AT + timedelta(minutes=last_min), busy_frac=0.5,
        reason=Message("call.set_up", {"ahead_s": 60.0 * ahead_min}),
    )  # fmt: skip


def no_ice(*rooms):
    return ChillPlan(
        iced=bool(rooms), rooms=rooms, ice_kg=0.0, ice_per_kit_kg=0.0, in_ice_by=None,
        hours_standing=0.0, hours_stirred=0.0, liquids_as_is_c=20.0, measured=False,
    )  # fmt: skip


def iced(minutes, room="Bakery"):
    by = AT + timedelta(minutes=minutes)
    return ChillRoom(
        room=room, kits=8, ice_kg=5.0, needed_at=AT, in_ice_by=by, in_ice_by_stirred=by,
        from_c=24.0, to_c=4.0, gained_min=4.0, gained_bucket_min=3.0, gained_floor_min=1.0,
        sweats=True,
    )  # fmt: skip


CALLS = (
    call("mixer", ("ana",), "pour", 3, 72, 43),
    call("runner", ("ana",), "pour", 8, 74, 43),
    call("rake", ("bo",), "pour", 9, 75, 43),
    call("mixer", ("ana",), "pour", 90, 150, 15, "Store"),
    call("rake", ("bo",), "pour", 96, 155, 15, "Store"),
    call("vacuum", ("bo", "cy"), "vacuum", 660, 664),
    call("topcoat", ("bo", "cy"), "coat 1", 664, 671, 49),
)


@pytest.fixture
def crew_job(demo_job):
    crew = crew_of(
        demo_job, ana="foreman mixer runner", bo="rake topcoat", cy="smoother topcoat"
    )
    return replace(demo_job, crew=crew)


def test_one_arrival_for_each_person_and_coming_early_to_five_minutes(crew_job):
    found = arrival_plans(crew_job, CALLS, no_ice())
    # By hand: 19:03 less 43 is 18:20; 19:09 less 43 is 18:26, so 18:25; 06:00 less 45 is 05:15.
    assert [(a.who, f"{a.call:%H:%M}", len(a.stops)) for a in found] == [
        ("ana", "18:20", 3), ("bo", "18:25", 2), ("bo", "05:15", 2), ("cy", "05:15", 2),
    ]  # fmt: skip
    assert [f"{a.leaves:%H:%M}" for a in found] == ["21:30", "21:35", "06:11", "06:11"]
    # 3 h 10 + 3 h 10 + 56 min twice are 8 h 12 min.
    labour = labour_of(crew_job, found)
    assert (labour.heads, labour.person_hours) == (3, pytest.approx(8.2))
    # Between the rooms there are 15 to 21 minutes: no half hour's break, and none is due.
    assert not [a.breaks for a in found if a.breaks]
    assert not [*people_warnings(crew_job, found)]


def test_breaks_that_are_missing_and_stays_that_are_long_are_said(crew_job):
    # From 18:15 to 08:20 without a break; twelve hours are passed as well.
    long = (call("mixer", ("ana",), "pour", 0, 800), call("rake", ("bo",), "pour", 0, 100),
            call("rake", ("bo",), "pour", 140, 500, 15))  # fmt: skip
    said = {
        w.code: w for w in people_warnings(crew_job, arrival_plans(crew_job, long, no_ice()))
    }
    assert said.keys() == {"warn.long_stay", "warn.no_break"}
    assert said["warn.long_stay"].values["who"] == "ana"
    assert said["warn.long_stay"].values["stays_s"] == (800 + 45) * 60
    # Bo has 40 minutes at 20:40, and works 6 h from 21:20: not more than he may.
    assert said["warn.no_break"].values["who"] == "ana"


@pytest.mark.parametrize(
    ("minutes", "done", "who", "clock", "comings"),
    [
        (90, 90, "ana", "18:20", 4),  # while she is there, her hands free from 20:14 to 20:30
        (60, 3, "ana", "18:20", 4),  # while she is there, and mixes from 19:03 on
        (-60, -60, "ana", "17:45", 4),  # 18:00, and she is to come at 18:20: she comes sooner
        (-600, -600, "ana", "08:45", 5),  # 09:00, hours before: she comes for it
        (660, 660, "bo", "05:15", 4),  # 06:00, when only the topcoat crew is there
        (665, 660, "bo", "05:15", 4),  # and vacuums from 06:00 on
    ],
    ids=["there", "busy", "soon", "alone", "others", "others busy"],
)
def test_the_ice_is_a_task_of_somebody_with_an_hour(
    crew_job, minutes, done, who, clock, comings
):
    found = arrival_plans(crew_job, CALLS, no_ice(iced(minutes)))
    [seen] = [a for a in found if "ice" in a.roles]
    assert (seen.who, f"{seen.call:%H:%M}", len(found)) == (who, clock, comings)
    [stop] = [stop for stop in seen.stops if stop.stage == "ice"]
    assert stop.last_task == AT + timedelta(minutes=done)
    alone = [w.code for w in people_warnings(crew_job, found) if w.code == "warn.ice_call"]
    assert alone == (["warn.ice_call"] if comings == 5 else [])


def test_who_could_not_rest_in_between_stays_on(crew_job):
    # 14:00, with eight hours of rest asked: Ana cannot go home until 18:20.
    rested = replace(crew_job, crew=replace(crew_job.crew, rest_s=8 * 3600.0))
    found = arrival_plans(rested, CALLS, no_ice(iced(-300)))
    assert [(a.who, f"{a.call:%H:%M}") for a in found if "ice" in a.roles] == [("ana", "13:45")]
    assert [a.who for a in found].count("ana") == 1


def test_nobody_goes_home_between_two_lots_of_ice_and_the_pour(crew_job):
    # 16:20 is two hours before she is to come at 18:20, so she comes for it; with a second lot
    # by 17:10 an hour and ten minutes are left, less than she goes home for.
    found = arrival_plans(crew_job, CALLS, no_ice(iced(-160), iced(-110, "Store")))
    ana = [(f"{a.call:%H:%M}", f"{a.leaves:%H:%M}") for a in found if a.who == "ana"]
    assert ana == [("16:05", "21:30")]
    found = arrival_plans(crew_job, CALLS, no_ice(iced(-160)))
    assert [a.who for a in found].count("ana") == 2


@pytest.mark.parametrize(
    ("interval_s", "done_s", "beats"),
    [(199.0, 900.0, True), (200.0, 490.0, True), (200.0, 500.0, False), (200.0, 510.0, False)],
)
def test_of_two_rhythms_as_quick_the_one_whose_patches_are_sooner_done(
    interval_s, done_s, beats
):
    best = SimpleNamespace(interval_s=200.0, done_s=500.0)
    search = SimpleNamespace(best=best, _done_s=lambda rhythm: rhythm.done_s)
    found = SimpleNamespace(interval_s=interval_s, done_s=done_s)
    assert _Search._beats(search, found) is beats


def test_a_search_for_a_rhythm_ends_when_many_were_tried(demo_job, monkeypatch):
    everybody = {name: " ".join(POUR_ROLES) for name in ("ana", "bo", "cy", "di")}
    crew = crew_of(demo_job, stations=2, **everybody)
    monkeypatch.setattr(sharing, "MOST_TRIED", 20)
    search = _Search(crew, TASKS, at_one=2)
    search.divide({})
    # After the first that is whole, no more than these, and what each had begun.
    assert 20 < search.tried < 200
    assert search.best is not None


@pytest.mark.parametrize(("over_s", "allowed"), [(0.0, True), (1.0, False)])
def test_a_stay_may_last_as_long_as_a_shift_and_no_longer(demo_job, over_s, allowed):
    crew = replace(demo_job.crew, longest_shift_s=8 * 3600.0)
    here = SimpleNamespace(who="mixer", call=AT, leaves=AT)
    ends = AT + timedelta(hours=8, seconds=over_s)
    assert _short_enough(crew, here, AT, ends) is allowed


def test_a_crew_comes_anew_after_a_rest_and_when_one_of_it_was_not_there(demo_job):
    crew = crew_of(demo_job, ana="topcoat", bo="topcoat primer", cy="mixer")
    hour_s = 3600.0

    def work(begins_h, ends_h):
        return SimpleNamespace(begins_s=begins_h * hour_s, end_s=ends_h * hour_s)

    comes = _Comes(crew)
    assert comes.fresh("topcoat", work(0, 1))
    assert not comes.fresh("topcoat", work(2, 3))
    assert comes.fresh("topcoat", work(20, 21))
    # Who primed an hour ago is there; with one who was not, the crew comes.
    comes = _Comes(crew)
    assert comes.fresh("primer", work(0, 1))
    assert not comes.fresh("primer", work(2, 3))
    assert comes.fresh("topcoat", work(4, 5))
    # Without names a crew is its heads.
    comes = _Comes(replace(demo_job.crew, people=()))
    assert comes.fresh("topcoat", work(0, 1))
    assert not comes.fresh("topcoat", work(2, 3))


@pytest.mark.parametrize(("rake_s", "fits"), [(100.25, True), (100.375, False), (90.0, True)])
def test_a_task_may_fill_the_time_from_bucket_to_bucket_and_no_more(rake_s, fits, monkeypatch):
    monkeypatch.setattr(sharing, "_EPS_S", 0.25)
    tasks = SimpleNamespace(of={"rake": rake_s}.get)
    assert sharing._take("rake", 0.0, {"rake": ("Cy",)}, tasks, 100.0, {}) == fits
    # Two rake by turns of one bucket: half of it each.
    pair, twice = {"rake": ("Cy", "Di")}, SimpleNamespace(of={"rake": 2 * rake_s}.get)
    assert sharing._take("rake", 0.0, pair, twice, 100.0, {}) == fits
