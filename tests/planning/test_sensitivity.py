"""One reading, one station, one shift: what must change in the plan, and what must not.

When a change moves a floor to another time, its buckets rightly change too; so buckets
are compared wherever a floor is still poured at the same instant in the same way.
"""

from dataclasses import replace
from datetime import UTC, datetime, time

import pytest

from cureplan.api import make_plan
from cureplan.job.model import Shift

NOW = datetime(2013, 7, 17, 12, tzinfo=UTC)
READ_ROOM = "Cook line"


def plan_of(job, weather):
    return make_plan(job, now=NOW, weather=weather)


def rooms_of(plan):
    return {room.room: room for room in plan.rooms}


def same_pours(one, other):
    """Rooms that both plans pour at the same instant, in the same way."""
    later = rooms_of(other)
    return [
        name
        for name, room in rooms_of(one).items()
        if (room.pour_start, room.remedies, room.bays, room.chilled)
        == (
            later[name].pour_start,
            later[name].remedies,
            later[name].bays,
            later[name].chilled,
        )
    ]


def without_odds(buckets):
    return [replace(bucket, keeps_frac=0.0) for bucket in buckets]


def outdoors(plan):
    return [(hour.at, hour.outdoor_c, hour.dew_c, hour.origin) for hour in plan.hours]


def room_hours(plan, name):
    return [
        (hour.at, room.air_c, room.slab_c)
        for hour in plan.hours
        for room in hour.rooms
        if room.room == name
    ]


def loads(plan):
    """What must be on the truck, but for ice, which follows who is chilled."""
    total = plan.takeoff
    return (total.aggregate_bags, total.primer_batches, total.topcoat_batches)


@pytest.fixture(scope="module")
def warmer_slab(demo_job, demo_weather):
    rooms = tuple(
        replace(room, slab_reading=replace(room.slab_reading, surface_c=31.0))
        if room.name == READ_ROOM
        else room
        for room in demo_job.rooms
    )
    return plan_of(replace(demo_job, rooms=rooms), demo_weather)


def test_a_slab_read_one_degree_warmer_warms_that_slab(demo_plan, warmer_slab):
    before, after = room_hours(demo_plan, READ_ROOM), room_hours(warmer_slab, READ_ROOM)
    gained_k = [late[2] - early[2] for early, late in zip(before, after, strict=True)]
    assert 0.9 < max(gained_k) < 1.01
    assert min(gained_k) >= 0.0
    assert [row[:2] for row in before] == [row[:2] for row in after]


def test_a_slab_read_warmer_shortens_that_rooms_clocks(demo_plan, warmer_slab):
    def clocks_min(plan):
        bucket = plan.buckets_of(READ_ROOM)[0]
        return (bucket.working_time_end - bucket.filler_in).total_seconds() / 60

    room, was = rooms_of(warmer_slab)[READ_ROOM], rooms_of(demo_plan)[READ_ROOM]
    if READ_ROOM in same_pours(demo_plan, warmer_slab):
        assert clocks_min(warmer_slab) < clocks_min(demo_plan)
        assert room.margin_min < was.margin_min
        assert room.slab_c > was.slab_c
    else:
        # It was moved, or given another remedy, because of it.
        assert (room.pour_start, room.remedies) != (was.pour_start, was.remedies)


def test_a_slab_read_warmer_changes_no_other_floor(demo_plan, warmer_slab):
    assert outdoors(warmer_slab) == outdoors(demo_plan)
    assert loads(warmer_slab) == loads(demo_plan)
    others = [name for name in rooms_of(demo_plan) if name != READ_ROOM]
    for name in others:
        assert room_hours(warmer_slab, name) == room_hours(demo_plan, name)
    for name in set(others) & set(same_pours(demo_plan, warmer_slab)):
        assert without_odds(warmer_slab.buckets_of(name)) == without_odds(
            demo_plan.buckets_of(name)
        )


@pytest.fixture(scope="module")
def third_station(demo_job, demo_weather):
    crew = replace(demo_job.crew, stations=3, mixer=3)
    return plan_of(replace(demo_job, crew=crew), demo_weather)


def test_a_third_station_quickens_the_rhythm(demo_plan, third_station):
    # By hand: 7 min of mixing, scraping and turning round are 3.5 min by two stations
    # and 2.33 by three, unless another task is slower than that.
    for name, room in rooms_of(third_station).items():
        was = rooms_of(demo_plan)[name]
        if was.cadence_limit == "mixing" and room.bays == was.bays:
            assert was.cadence_min == pytest.approx(3.5, abs=0.01)
            assert room.cadence_min < was.cadence_min
            assert room.cadence_min >= 7 / 3 - 0.01
    assert {bucket.station for bucket in third_station.buckets} >= {0, 1, 2} or {
        bucket.station for bucket in third_station.buckets
    } >= {1, 2, 3}


def test_a_third_station_leaves_no_floor_worse_off(demo_plan, third_station):
    needed = demo_plan.job.policy.margin_s / 60
    for name, room in rooms_of(third_station).items():
        was = rooms_of(demo_plan)[name]
        assert len(room.remedies) <= len(was.remedies) or room.margin_min >= needed
    opened = max(room.opens for room in third_station.rooms)
    assert opened <= max(room.opens for room in demo_plan.rooms)


def test_a_third_station_changes_neither_weather_nor_floor(demo_plan, third_station):
    assert third_station.hours == demo_plan.hours
    assert loads(third_station) == loads(demo_plan)
    later = rooms_of(third_station)
    for name, room in rooms_of(demo_plan).items():
        assert (later[name].area_m2, later[name].thickness_m) == (
            room.area_m2,
            room.thickness_m,
        )
        if later[name].bays == room.bays:
            assert (later[name].kits, later[name].buckets_per_row) == (
                room.kits,
                room.buckets_per_row,
            )
    mixers = {call.people for call in third_station.calls if call.role == "mixer"}
    assert mixers == {3}
    runners = {call.people for call in third_station.calls if call.role == "runner"}
    assert runners == {call.people for call in demo_plan.calls if call.role == "runner"}


@pytest.fixture(scope="module")
def late_topcoat_shift(demo_job, demo_weather):
    shift = Shift(begins=time(8), ends=time(20))
    crew = replace(demo_job.crew, topcoat_shifts=(shift,))
    return plan_of(replace(demo_job, crew=crew), demo_weather)


def test_a_later_topcoat_shift_moves_the_coats_into_it(demo_plan, late_topcoat_shift):
    zone = late_topcoat_shift.job.site.zone
    for coat in late_topcoat_shift.coats:
        start, end = coat.start.astimezone(zone), coat.end.astimezone(zone)
        assert time(8) <= start.time() < end.time() <= time(20)
    begun = [min(coat.start for coat in plan.coats) for plan in (demo_plan, late_topcoat_shift)]
    assert begun[1] > begun[0]
    called = [
        call.call.astimezone(zone) for call in late_topcoat_shift.calls if call.stage != "pour"
    ]
    assert all(called_at.time() >= time(7) for called_at in called)


def test_a_later_topcoat_shift_changes_neither_weather_nor_truck_nor_pours(
    demo_plan, late_topcoat_shift
):
    assert late_topcoat_shift.hours == demo_plan.hours
    assert loads(late_topcoat_shift) == loads(demo_plan)
    kept = same_pours(demo_plan, late_topcoat_shift)
    assert kept
    for name in kept:
        assert without_odds(late_topcoat_shift.buckets_of(name)) == without_odds(
            demo_plan.buckets_of(name)
        )
    # A pour does not care who coats it: each is as good as it was, if not better.
    later = rooms_of(late_topcoat_shift)
    needed = demo_plan.job.policy.margin_s / 60
    for name, room in rooms_of(demo_plan).items():
        assert later[name].margin_min >= min(room.margin_min, needed) - 0.01
