"""What a job is built of: the room's own, else the building's, else what goes unsaid."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace as Made
from zoneinfo import ZoneInfo

import pytest
from made_rooms import room_of

from cureplan.inputs.job import build

EVENING = datetime(2026, 7, 17, 19, tzinfo=UTC)
NIGHT = datetime(2026, 7, 18, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("own", "building", "room_climate", "climate", "to_c", "from_at"),
    [
        (None, None, None, "drifting", None, None), (None, 18.0, None, "open", 18.0, EVENING),
        (20.0, 18.0, None, "open", 20.0, NIGHT), (20.0, None, "open", "held", 20.0, NIGHT),
        (20.0, None, "held", "open", None, None), (None, 18.0, None, "held", None, None),
        (None, 18.0, "held", "open", None, None),
    ],
)  # fmt: skip
def test_heaters_are_the_rooms_own_else_the_buildings_and_none_where_it_is_held(
    own, building, room_climate, climate, to_c, from_at
):
    def heater(celsius):
        return None if celsius is None else Made(to_c=celsius)

    at = {("building", "heat", "from"): EVENING, ("rooms", 2, "heat", "from"): NIGHT}
    room = room_of(heat=heater(own), climate=room_climate)
    for remedies, runs in ((("chill",), True), (("chill", "heat"), False)):
        job = Made(
            building=Made(heat=heater(building), climate=climate),
            policy=Made(remedies=remedies),
        )
        found = build._heat(job, 2, room, build.Instants(zone=ZoneInfo("UTC"), at=at))
        assert (found and (found.to_c, found.from_at, found.runs)) == (
            None if to_c is None else (to_c, from_at, runs)
        )


@pytest.mark.parametrize(
    ("own", "thickness_m", "insulation_m", "set_point_c"),
    [
        ({}, 0.15, 0.05, 21.0),
        ({"slab_thickness_m": 0.1, "insulation_m": 0.0, "set_point_c": 0.0}, 0.1, 0.0, 0.0),
    ],
)
def test_a_room_has_its_own_slab_and_set_point_else_the_buildings(
    own, thickness_m, insulation_m, set_point_c
):
    building = Made(
        climate="held", set_point_c=21.0, slab_thickness_m=0.15, insulation_m=0.05, heat=None
    )
    entry = room_of(**{"slab_thickness_m": None, "insulation_m": None, "open_for": None, **own})
    instants = build.Instants(zone=ZoneInfo("UTC"), at={})
    room = build._room(Made(building=building), 0, entry, instants)
    assert (room.slab_thickness_m, room.insulation_m) == (thickness_m, insulation_m)
    assert (room.set_point_c, room.length_m, room.width_m) == (set_point_c, 3.0, 4.0)
    entry.climate = "open"
    room = build._room(Made(building=building), 0, entry, instants)
    assert (room.climate, room.set_point_c) == ("open", None)


@pytest.mark.parametrize(("written", "number"), [(None, 0.0), (3.0, 3.0)])
def test_a_building_that_does_not_drift_lags_and_gains_nothing(written, number):
    entry = Made(
        climate="held", lag_s=written, gain_k=written, set_point_c=21.0, slab_thickness_m=0.15,
        insulation_m=0.05, below="ground", ground_c=None,
    )  # fmt: skip
    found = build._building(Made(building=entry))
    assert (found.lag_s, found.gain_k) == (number, number)


@pytest.mark.parametrize(
    ("measured_c", "told"), [(None, False), (4.0, False), (3.9, True), (0.0, True)]
)
def test_liquids_colder_than_their_card_allows_are_told(monkeypatch, measured_c, told):
    monkeypatch.setattr(build, "_defaults", lambda *_, **__: ())
    slurry = Made(generic=False, coldest_liquids_c=4.0)
    cards = Made(slurry=slurry, topcoat=None, aggregate=None, primer=None)
    job = Made(
        materials=Made(liquids_measured_c=measured_c), weather=Made(source="file"), pace=None,
        policy=None, doubt=Made(slurry_times=0.1),
    )  # fmt: skip
    codes = [note.code for note in build._notes(job, cards)]
    assert codes == ["job.liquids_cold"] * told


@pytest.mark.parametrize(
    ("zone", "north_deg", "east_deg"),
    [
        # Whole minutes of +513030-0000731, +404251-0740023, -3352+15113 and +2232+08822.
        ("Europe/London", 51 + 30 / 60, -7 / 60), ("America/New_York", 40 + 42 / 60, -74.0),
        ("Australia/Sydney", -33 - 52 / 60, 151 + 13 / 60),
        ("Asia/Kolkata", 22 + 32 / 60, 88 + 22 / 60),
    ],
)  # fmt: skip
def test_a_zones_city_lies_where_the_zone_database_has_it(zone, north_deg, east_deg):
    assert build._zone_city_deg(zone) == pytest.approx((north_deg, east_deg))
    assert build._zone_city_deg("Europe/Nowhere") is None
