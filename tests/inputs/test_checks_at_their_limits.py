"""What a job file may just say and what not, on both sides of each limit."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace as Made
from zoneinfo import ZoneInfo

import pytest
from made_rooms import job_of, paths, room_of

from cureplan.core.errors import InputError
from cureplan.inputs.job import build, crosscheck, reader, towns
from cureplan.inputs.job.crew import Crew, Person, Shift, common_hours

# Between keys


@pytest.mark.parametrize(
    ("begins_min", "ends_min", "refused"),
    [
        (0, 1440, False), (1440, 0, True), (0, 0, True), (600, 600, True), (600, 601, False),
        (60, 1500, True),
    ],
)  # fmt: skip
def test_only_round_the_clock_is_a_span_from_an_hour_to_the_same(begins_min, ends_min, refused):
    span = Made(begins_min=begins_min, ends_min=ends_min)
    found = list(crosscheck._span_faults(("crew",), span, "this shift"))
    assert bool(found) == refused
    if refused:
        assert found[0].value == f"{begins_min // 60:02}:00"


@pytest.mark.parametrize(
    ("begins_min", "ends_min", "said"),
    [(600, 900, []), (900, 600, ["through the night"]), (600, 600, ["zero length"])],
)
def test_the_sun_shines_from_an_earlier_hour_to_a_later(begins_min, ends_min, said):
    sun = Made(begins_min=begins_min, ends_min=ends_min)
    job = job_of(rooms=(room_of(), room_of(sun=sun)))
    found = list(crosscheck._suns(job))
    assert [word in fault.problem for fault, word in zip(found, said, strict=True)] == [
        True for _ in said
    ]
    assert all(fault.path[:2] == ("rooms", 1) for fault in found)


@pytest.mark.parametrize(
    ("stations", "mixer", "people", "refused"),
    [
        (2, 2, 0, False), (3, 2, 0, True), (2, None, 0, False), (2, 9, 2, False),
        (2, 9, 1, True), (2, None, 2, False),
    ],
)  # fmt: skip
def test_every_station_has_a_mixer(stations, mixer, people, refused):
    named = [Made(roles=("mixer", "rake"))] * people + [Made(roles=("rake",))] * (people > 0)
    job = job_of(crew=Made(stations=stations, mixer=mixer), people=named)
    assert paths(crosscheck._crew(job)) == [("crew", "stations")] * refused


@pytest.mark.parametrize(
    ("longest_s", "refused"), [(2700.0, True), (2701.0, False), (None, False), (100.0, True)]
)
def test_a_shift_is_longer_than_its_set_up(longest_s, refused):
    job = job_of(crew=Made(longest_shift_s=longest_s, setup_s=2700.0))
    assert paths(crosscheck._shift_lengths(job)) == [("crew", "longest_shift")] * refused
    job = job_of(
        crew=Made(longest_shift_s=None, setup_s=2700.0),
        people=[Made(longest_shift_s=longest_s)],
    )
    assert paths(crosscheck._shift_lengths(job)) == [("people", 0, "longest_shift")] * refused


@pytest.mark.parametrize(
    ("least", "most", "stated", "key"),
    [
        (0.6, 0.6, (), None), (0.7, 0.6, ("row_depth_min_m",), "row_depth_min"),
        (0.7, 0.6, ("row_depth_max_m",), "row_depth_max"), (0.5, 0.6, (), None),
    ],
)  # fmt: skip
def test_the_least_row_is_no_deeper_than_the_most(least, most, stated, key):
    pace = Made(row_depth_min_m=least, row_depth_max_m=most, model_fields_set={*stated})
    assert paths(crosscheck._pace(job_of(pace=pace))) == (
        [] if key is None else [("pace", key)]
    )


BEFORE, AFTER = Made(when="before"), Made(when="after")


@pytest.mark.parametrize(
    ("room", "cove", "primer", "groups", "keys"),
    [
        # Walls of 14 m, and 2 m of an island; two hundredths more may be measured.
        ({"cove_m": 14.27}, BEFORE, None, 1, []),
        ({"cove_m": 14.29}, BEFORE, None, 1, ["cove"]),
        (
            {"cove_m": 16.3, "islands_m": (((1, 1), (1.5, 1), (1.5, 1.5), (1, 1.5)),)},
            BEFORE, None, 1, [],
        ),
        ({"cove_m": 2.0}, None, None, 1, ["cove"]), ({"cove_m": 0.0}, None, None, 1, []),
        ({"group": "a"}, BEFORE, None, 2, ["group"]), ({"group": "a"}, BEFORE, None, 1, []),
        ({"group": "a"}, AFTER, None, 2, []), ({"group": "a"}, BEFORE, "p", 2, []),
        ({"group": "a"}, None, None, 2, []),
        ({"group": "a", "cove_m": 0.0}, BEFORE, None, 2, []),
        ({"group": None}, BEFORE, None, 2, []),
    ],
)  # fmt: skip
def test_a_rooms_cove_is_of_the_job_no_longer_than_its_edges_and_parts_no_group(
    room, cove, primer, groups, keys
):
    rooms = [room_of(**room)]
    rooms += [room_of("Hall", group=room.get("group"), cove_m=0.0)] * (groups - 1)
    job = job_of(rooms=rooms, cove=cove, materials=Made(primer=primer))
    assert paths(crosscheck._cove(job)) == [("rooms", 0, key) for key in keys]


@pytest.mark.parametrize(
    ("groups", "told"),
    [((None, None), []), (("a", "a"), []), (("a", None), [0]), (("a", "b", "b"), [0])],
)
def test_a_group_has_two_rooms_or_more(groups, told):
    job = job_of(rooms=[room_of(str(n), group=group) for n, group in enumerate(groups)])
    assert paths(crosscheck._groups(job)) == [("rooms", n, "group") for n in told]


def test_a_group_written_another_way_is_asked_about():
    groups = "wet side", "wet side", "wetside", "far end", None
    job = job_of(rooms=[room_of(str(n), group=group) for n, group in enumerate(groups)])
    near, far = crosscheck._groups(job)
    assert near.cure == 'did you mean "wet side"?'
    assert far.cure.startswith("give the room it meets")


@pytest.mark.parametrize(
    ("remedies", "building", "room", "climate", "keys"),
    [
        (("heat",), None, None, "drifting", ["policy"]),
        (("heat",), "h", None, "drifting", []),
        (("heat",), None, "h", "drifting", []),
        ((), None, "h", "drifting", []),
        ((), None, "h", "held", ["rooms"]),
        ((), None, None, "held", []),
    ],
)
def test_heaters_are_given_where_they_are_a_remedy_and_to_rooms_that_drift(
    remedies, building, room, climate, keys
):
    job = job_of(
        rooms=[room_of(heat=room)], building=Made(heat=building, climate=climate),
        policy=Made(remedies=remedies),
    )  # fmt: skip
    assert [path[0] for path in paths(crosscheck._heat(job))] == keys


@pytest.mark.parametrize(
    ("climate", "own_c", "building_c", "key"),
    [
        ("held", None, None, "climate"), ("held", 20.0, None, None), ("held", None, 20.0, None),
        ("drifting", 20.0, None, "set_point"), ("drifting", None, 20.0, None),
        (None, None, None, "name"),
    ],
)  # fmt: skip
def test_a_set_point_belongs_to_a_room_that_is_held(climate, own_c, building_c, key):
    building = Made(climate="held", set_point_c=building_c, lag_s=1.0, gain_k=1.0)
    room = room_of(climate=climate, set_point_c=own_c)
    found = crosscheck._climates(job_of(rooms=[room], building=building))
    assert paths(found) == ([] if key is None else [("rooms", 0, key)])


@pytest.mark.parametrize(("climate", "value"), [("held", "held"), (None, "Bar")])
def test_a_set_point_that_lacks_is_asked_for_where_the_climate_is_said(climate, value):
    building = Made(climate="held", set_point_c=None, lag_s=1.0, gain_k=1.0)
    job = job_of(rooms=[room_of(climate=climate)], building=building)
    (fault,) = crosscheck._climates(job)
    assert fault.value == value


@pytest.mark.parametrize(
    ("begins_min", "ends_min", "minutes"),
    [(600, 602, {600, 601}), (1439, 1, {1439, 0}), (0, 1440, {*range(1440)}),
     (600, 600, {*range(1440)})],
)  # fmt: skip
def test_a_span_to_an_hour_no_later_goes_over_midnight(begins_min, ends_min, minutes):
    assert crosscheck._minutes(Made(begins_min=begins_min, ends_min=ends_min)) == minutes


@pytest.mark.parametrize(
    ("lag_s", "gain_k", "climate", "keys"),
    [
        (None, None, "drifting", ["lag", "gain"]),
        (0.0, None, "drifting", ["gain"]),
        (None, 0.0, "drifting", ["lag"]),
        (None, None, "open", []),
    ],
)
def test_air_that_drifts_has_a_lag_and_a_gain(lag_s, gain_k, climate, keys):
    building = Made(climate=climate, set_point_c=None, lag_s=lag_s, gain_k=gain_k)
    found = crosscheck._climates(job_of(rooms=[room_of()], building=building))
    assert paths(found) == [("building", key) for key in keys]


def test_ways_out_end_outside_and_name_each_floor_once():
    rooms = [room_of("a", way_out=("b", "b")), room_of("b", way_out=("b",)),
             room_of("c", way_out=("d", "z"))]  # fmt: skip
    assert paths(crosscheck._ways_out(job_of(rooms=rooms))) == [
        ("rooms", 0, "way_out", 1), ("rooms", 1, "way_out", 0), ("rooms", 2, "way_out", 0),
        ("rooms", 2, "way_out", 1),
    ]  # fmt: skip
    ring = [room_of("a", way_out=("b",)), room_of("b", way_out=("c",)),
            room_of("c", way_out=("b",))]  # fmt: skip
    (fault,) = crosscheck._circles(job_of(rooms=ring))
    assert fault.path == ("rooms", 1, "way_out")
    assert fault.problem.endswith("through c")
    assert list(crosscheck._circles(job_of(rooms=ring[:1]))) == []


@pytest.mark.parametrize(
    ("shift", "spans", "told"),
    [
        ((1140, 300), [(1140, 60), (0, 300)], None), ((1140, 300), [(1140, 60), (60, 300)], 1),
        ((1140, 300), [(300, 1140)], 0), ((1140, 300), [(299, 1140)], None),
        ((1140, 300), [(300, 1141)], None), ((0, 1440), [(0, 1440)], None),
    ],
)  # fmt: skip
def test_all_of_a_crew_share_a_minute_of_its_shifts(shift, spans, told):
    def span(begins_min, ends_min):
        return Made(begins_min=begins_min, ends_min=ends_min)

    people = [
        Made(name=str(n), roles=("rake",), hours=[span(*one)]) for n, one in enumerate(spans)
    ]
    other = [Made(name="x", roles=("topcoat",), hours=None)]
    crew = Made(pour_shifts=[span(*shift)], topcoat_shifts=[span(300, 1020)])
    found = paths(crosscheck._hours_meet(job_of(people=[*people, *other], crew=crew)))
    assert found == ([] if told is None else [("people", told, "hours")])


@pytest.mark.parametrize(
    ("roles", "primer", "remedies", "idle"),
    [
        (("primer",), None, (), True),
        (("primer",), "p", (), False),
        (("ice",), None, (), True),
        (("ice",), None, ("chill",), False),
        (("primer", "ice"), None, ("chill",), False),
        (("primer", "rake"), None, (), False),
    ],
)
def test_somebody_whose_every_role_has_no_work_is_told(roles, primer, remedies, idle):
    job = job_of(materials=Made(primer=primer), policy=Made(remedies=remedies))
    assert (crosscheck._idle(job, Made(roles=roles)) is not None) == idle


def test_a_plan_is_of_at_most_so_many_buckets_and_of_liquids_as_warm_as_their_card_says():
    # 12 m² at 3 mm and a millimetre more, a tenth wasted: 0.0528 m³, 999 buckets of 3,000.
    slurry = Made(thickness_m=0.003, mixed_yield_m3=0.0528 / 999, coldest_liquids_c=3.0)
    named = Made(thickness_m=None, profile_allowance_m=0.001, waste=0.1, iced_c=3.0)

    def faults(rooms, **more):
        written = Made(materials=Made(**{**vars(named), **more}), rooms=[room_of()] * rooms)
        return paths(reader.against_cards(written, Made(slurry=slurry)))

    assert faults(3) == []
    assert faults(4) == [("rooms", 3, "length")]
    assert faults(2, iced_c=2.9) == [("materials", "iced")]
    assert faults(2, thickness_m=0.008) == [("rooms", 1, "length")]
    assert faults(2, waste=0.0, thickness_m=0.002) == []
    # An eighth wasted: 1,022 buckets a room.
    assert faults(3, waste=0.125) == [("rooms", 2, "length")]
    # As many rooms as one plan may have; more is told at the rooms themselves.
    assert faults(48) == [("rooms", 3, "length")]
    assert faults(49) == []


# Instants

BEGINS = datetime(2026, 7, 17, 19, tzinfo=UTC)


def order(open_h=48.0, rooms=(), at=(), rest_s=None):
    open_by = BEGINS + timedelta(hours=open_h)
    known = {("access", "from"): BEGINS, ("access", "open_by"): open_by, **dict(at)}
    instants = build.Instants(zone=ZoneInfo("UTC"), at=known)
    job = Made(
        access=Made(open_by=open_by), crew=Made(rest_s=rest_s), rooms=rooms,
        building=Made(heat=None),
    )  # fmt: skip
    return paths(build._order(job, instants))


@pytest.mark.parametrize(
    ("open_h", "rest_h", "path"),
    [
        (0.0, None, ("access", "open_by")), (0.1, None, None), (60 * 24.0, None, None),
        (60 * 24.1, None, ("access", "open_by")), (12.0, 12.0, None),
        (12.0, 12.1, ("crew", "rest")),
    ],
)  # fmt: skip
def test_access_lasts_up_to_sixty_days_and_longer_than_a_rest(open_h, rest_h, path):
    rest_s = None if rest_h is None else 3600.0 * rest_h
    assert order(open_h, rest_s=rest_s) == ([] if path is None else [path])


def test_heaters_of_the_building_are_on_before_the_opening():
    at = {("building", "heat", "from"): BEGINS + timedelta(hours=48)}
    assert order(at=at.items()) == [*at]
    assert order(48.1, at=at.items()) == []


@pytest.mark.parametrize(
    ("key", "hours", "refused"),
    [
        ("slab_reading", 48.0, False), ("slab_reading", 48.1, True),
        ("slab_reading", -168.0, False), ("slab_reading", -168.1, True),
        ("open_by", 0.0, True), ("open_by", 0.1, False), ("open_by", 48.0, False),
        ("open_by", 48.1, True), ("not_before", 47.9, False), ("not_before", 48.0, True),
        ("topcoat_1_not_before", 47.9, False),
        ("topcoat_1_not_before", 48.0, True), ("topcoat_2_not_before", 47.9, True),
        ("heat", 47.9, False), ("heat", 48.0, True),
    ],
)  # fmt: skip
def test_instants_of_a_room_lie_within_the_job(key, hours, refused):
    at = BEGINS + timedelta(hours=hours)
    path = {"slab_reading": (key, "at"), "heat": (key, "from")}.get(key, (key,))
    path = ("rooms", 1, *path)
    room = room_of(**{key: Made(read_at=at, begins=at) if len(path) > 3 else at})
    assert order(rooms=(room_of(), room), at=[(path, at)]) == [path] * refused
    if refused and "not_before" in key and "2" not in key:
        job = Made(rooms=(room_of(), room))
        known = {("access", "open_by"): BEGINS + timedelta(hours=48), path: at}
        stage = "pour" if key == "not_before" else "coat 1"
        fault = build._room_pin(job, build.Instants(zone=ZoneInfo("UTC"), at=known), 1, stage)
        assert ("poured" in fault.problem) == (stage == "pour")
    if key == "topcoat_2_not_before":
        room.topcoats = 2
        assert order(rooms=(room_of(), room), at=[(path, at)]) == []


@pytest.mark.parametrize(("hours", "refused"), [(9.9, False), (10.0, True)])
def test_a_room_is_held_until_before_its_own_opening(hours, refused):
    at, opens = BEGINS + timedelta(hours=hours), BEGINS + timedelta(hours=10)
    room = room_of(not_before=at, open_by=opens)
    known = [(("rooms", 0, "not_before"), at), (("rooms", 0, "open_by"), opens)]
    assert order(rooms=(room,), at=known) == [("rooms", 0, "not_before")] * refused


@pytest.mark.parametrize(
    ("topcoats", "use", "coats"),
    [(None, "storage", 1), (None, "food preparation", 2), (1, "food preparation", 1),
     (2, "storage", 2)],
)  # fmt: skip
def test_food_is_prepared_on_two_topcoats_unless_the_job_says_otherwise(topcoats, use, coats):
    assert build.topcoats_of(Made(topcoats=topcoats, use=use)) == coats


@pytest.mark.parametrize(
    ("north", "east", "wrong", "cure"),
    [
        (40.78, -73.88, None, ""), (40.78, 73.88, "longitude", "did you mean -73.88?"),
        (-40.78, -73.88, "latitude", "did you mean 40.78?"),
        (-73.88, 40.78, "longitude", "changed places"), (70.7, -74.0, None, ""),
        (70.8, -74.0, "latitude", "check it"), (10.8, -74.0, None, ""),
        (10.6, -74.0, "latitude", ""), (40.7, -103.9, None, ""),
        (40.7, -104.1, "longitude", "check it"), (40.7, -44.1, None, ""),
        (40.7, -43.9, "longitude", ""),
        (0.0, 120.0, "longitude", "check it"), (-40.7, 74.0, "longitude", "did you mean -74?"),
    ],
)  # fmt: skip
def test_a_site_lies_within_thirty_degrees_of_the_city_of_its_zone(north, east, wrong, cure):
    # New York: 40°42'51" N, 74°00'23" W.
    zone = "America/New_York"
    instants = build.Instants(zone=ZoneInfo(zone), at={("access", "from"): BEGINS})
    job = Made(site=Made(latitude_deg=north, longitude_deg=east, time_zone=zone))
    found = build._far_from_zone(job, instants)
    assert paths(found) == ([] if wrong is None else [("site", wrong)])
    assert all(cure in fault.cure for fault in found)


@pytest.mark.parametrize(
    ("name", "known"),
    [("UTC", True), ("posix/UTC", False), ("right/UTC", False), ("localtime", False),
     ("Factory", False), ("America", False), ("Europe/Nowhere", False), ("../etc", False)],
)  # fmt: skip
def test_a_zone_is_a_place_and_not_what_this_machine_was_set_to(name, known):
    assert (build._zone(name) is not None) == known


@pytest.mark.parametrize(
    ("east", "zone", "far"),
    [
        # Four hours by the sun from a clock that is UTC; the date line parts no neighbours.
        (60.0, "UTC", None), (60.1, "UTC", "longitude"), (-60.0, "UTC", None),
        (-60.1, "UTC", "longitude"), (-176.0, "Pacific/Auckland", None),
        (179.0, "Pacific/Auckland", None),
    ],
)  # fmt: skip
def test_a_clock_runs_up_to_four_hours_beside_the_sun(east, zone, far):
    instants = build.Instants(zone=ZoneInfo(zone), at={("access", "from"): BEGINS})
    north = -37.0 if zone.startswith("Pacific") else 0.0
    assert build._where_far(north, east, instants=instants, time_zone=zone) == far


# Crews and towns


def shift(begins, ends):
    return Shift(begins=time(*divmod(begins, 60)), ends=time(*divmod(ends, 60)))


@pytest.mark.parametrize(
    ("hours", "common"),
    [
        ([(1140, 300)], [(1140, 300)]), ([(1200, 180)], [(1200, 180)]),
        ([(0, 60)], [(0, 60)]), ([(300, 1140)], []), ([(300, 1141)], [(1140, 1141)]),
        ([(299, 600)], [(299, 300)]), ([(1140, 1200), (0, 1)], [(1140, 1200), (0, 1)]),
        ([(0, 0)], [(1140, 300)]), ([], [(1140, 300)]),
    ],
)  # fmt: skip
def test_common_hours_are_kept_to_the_minute(hours, common):
    people = [tuple(shift(*span) for span in hours), ()]
    assert common_hours([shift(1140, 300)], people) == tuple(shift(*span) for span in common)
    if hours and common:
        night = [shift(0, 0)]
        assert common_hours(night, [(shift(60, 120),), (shift(119, 200),)]) == (
            shift(119, 120),
        )


@pytest.mark.parametrize(
    ("begins_min", "ends_min", "moved"),
    [
        (0, 0, (1200, 120)), (0, 30, (1200, 150)), (-60, 0, (1140, 120)), (60, -30, (1260, 90)),
        # It lasts six hours: eighteen more make a day, whichever end is moved.
        (0, 1079, (1200, 1199)), (0, 1080, None), (-1079, 0, (121, 120)), (-1080, 0, None),
        (-540, 540, None), (-540, 539, (660, 659)), (300, 0, (60, 120)),
    ],
)  # fmt: skip
def test_a_shift_is_moved_up_to_a_whole_day(begins_min, ends_min, moved):
    found = shift(1200, 120).moved(begins_min=begins_min, ends_min=ends_min)
    assert found == (None if moved is None else shift(*moved))


def crew_of(*people, **more):
    given = {
        "stations": 2, "mixer": 2, "runner": 1, "rake": 1, "smoother": 1, "broadcaster": 2,
        "edge": 1, "topcoat": 2, "setup_s": 2700.0, "changeover_s": 900.0, "pour_shifts": (),
        "topcoat_shifts": (), "people": people,
    }  # fmt: skip
    return Crew(**{**given, **more})


def test_a_crew_of_people_with_one_more_or_fewer():
    ana, bo = Person(name="Ana", roles=("rake", "edge")), Person(name="Bo", roles=("rake",))
    crew = crew_of(ana, bo, rake=2)
    assert crew.shares
    assert not crew_of(bo).shares
    more = crew.with_more("rake", 2)
    assert more.rake == 4
    assert [person.name for person in more.people] == ["Ana", "Bo", "+1 rake", "+2 rake"]
    fewer = crew.with_more("rake", -1)
    assert [person.roles for person in fewer.people] == [("rake", "edge"), ()]
    none = crew.with_more("rake", -2)
    assert [person.roles for person in none.people] == [("edge",), ()]
    assert crew.with_more("stations").people == crew.people
    assert crew.with_more("stations").stations == 3
    assert crew.foreman == "Ana"
    assert crew.crews_of(bo) == ("pour",)
    lead = Person(name="Cy", roles=("foreman", "topcoat"))
    assert crew_of(bo, lead).foreman == "Cy"
    assert crew_of(bo, lead).crews_of(lead) == ("pour", "topcoat")
    prime = Person(name="Di", roles=("primer",))
    assert crew_of(bo, prime).crews_of(prime) == ("primer",)
    assert crew_of(prime).crews_of(prime) == ("pour", "primer")


def test_how_long_anyone_may_stay_and_when_he_comes_again():
    bo = Person(name="Bo", roles=("rake",), longest_shift_s=3600.0)
    ana = Person(name="Ana", roles=("rake",))
    assert crew_of().most_s(None) is None
    assert crew_of(rest_s=9.0).most_s(ana) is not None
    assert crew_of(longest_shift_s=7200.0).most_s(ana) == 7200.0
    assert crew_of(longest_shift_s=7200.0, rest_s=9.0).most_s(bo) == 3600.0
    assert crew_of().in_group_s == 900.0
    assert crew_of(group_changeover_s=0.0).in_group_s == 0.0
    assert crew_of().ahead_s > 2700.0
    assert crew_of(rest_s=36_000.0).again_s == 36_000.0 + crew_of().ahead_s


def test_a_town_is_named_by_two_letters_or_more_and_its_number():
    assert towns.find_towns("x") == ()
    several = towns.find_towns("Springfield, US", most=3)
    assert len(several) == 3
    assert [town.people for town in several] == sorted(
        (t.people for t in several), reverse=True
    )
    all_of_it = towns.find_towns("Springfield, US")
    last = len(all_of_it)
    assert towns.town_of("Springfield, US #1") == all_of_it[0]
    assert towns.town_of(f"Springfield, US #{last}") == all_of_it[-1]
    for number in ("0", str(last + 1), "100", "x"):
        with pytest.raises(InputError):
            towns.town_of(f"Springfield, US #{number}")
    with pytest.raises(InputError, match="did you mean"):
        towns.town_of("Chicagoo")
