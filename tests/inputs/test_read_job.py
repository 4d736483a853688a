"""Sound job files: what they are read as."""

from __future__ import annotations

import copy
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.inputs.cards.reader import read_card
from cureplan.inputs.faults import value_fault
from cureplan.inputs.fields import facts_of
from cureplan.inputs.files import Document
from cureplan.inputs.job import crosscheck, reader
from cureplan.inputs.job.crosscheck import require_near
from cureplan.inputs.job.edits import check_job
from cureplan.inputs.job.model import LONGEST_AHEAD, Cards, Doubts, Shift, SlabReading, SunPatch
from cureplan.inputs.job.reader import read_job, read_job_text
from cureplan.inputs.job.schema import KIND_UNITS, JobFile


@pytest.fixture
def read(folder, demo_text):
    """Read the demonstration job with some texts replaced."""

    def read_with(*edits):
        text = demo_text
        for old, new in edits:
            assert old in text
            text = text.replace(old, new)
        return read_job_text(text, source=folder / "job.toml")

    return read_with


def add_to_corridor(line):
    return ('use = "passage"\n', f'use = "passage"\n{line}\n')


# Expected values are worked by hand: 1 ft = 0.3048 m, 1 in = 25.4 mm, C = (F - 32) / 1.8,
# and New York keeps UTC-4 in July.


def test_the_demonstration_job_in_si(read):
    job = read()
    assert job.site.latitude_deg == 40.78
    assert job.site.longitude_deg == -73.88
    assert job.site.elevation_m == 3.0
    assert job.display == "us"
    assert job.building.climate == "drifting"
    assert job.building.lag_s == 18_000
    assert job.building.gain_k == pytest.approx(1.111111, abs=1e-6)
    assert job.building.slab_thickness_m == pytest.approx(0.1524)
    assert job.building.ground_c == pytest.approx(18.888889, abs=1e-6)
    assert job.access.begins == datetime(2013, 7, 17, 23, tzinfo=UTC)
    assert job.access.open_by == datetime(2013, 7, 20, 10, tzinfo=UTC)
    assert job.materials.storage_c == pytest.approx(28.888889, abs=1e-6)
    assert job.materials.liquids_measured_c is None
    assert job.policy.margin_s == 120
    assert job.policy.confidence == 0.9
    assert job.policy.remedies == ("hour", "chill", "bays")


def test_the_demonstration_crew(read):
    crew = read().crew
    people = (crew.mixer, crew.runner, crew.rake, crew.smoother, crew.broadcaster, crew.edge)
    assert people == (3, 1, 1, 1, 2, 1)
    assert (crew.stations, crew.topcoat) == (3, 4)
    assert (crew.setup_s, crew.changeover_s) == (1800, 600)
    assert crew.pour_shifts == (Shift(begins=time(19), ends=time(5)),)
    assert crew.topcoat_shifts == (Shift(begins=time(5), ends=time(17)),)


def test_the_demonstration_rooms(read):
    job = read()
    rows = {
        room.name: (
            round(room.length_m, 4),
            round(room.width_m, 4),
            room.use,
            room.topcoats,
            room.way_out,
        )
        for room in job.rooms
    }
    assert rows == {
        "Cook line": (9.144, 6.7056, "food preparation", 2, ("Corridor",)),
        "Preparation": (7.9248, 5.4864, "food preparation", 2, ("Corridor",)),
        "Dish room": (5.4864, 4.2672, "dish washing", 1, ("Corridor",)),
        "Servery": (12.192, 4.8768, "service", 1, ("Corridor",)),
        "Corridor": (10.3632, 1.8288, "passage", 1, ()),
    }
    # 660 + 468 + 252 + 640 + 204 = 2224 sq ft.
    assert sum(room.area_m2 for room in job.rooms) == pytest.approx(2224 * 0.09290304)
    assert job.room("Cook line").slab_reading == SlabReading(
        surface_c=pytest.approx(30.0), read_at=datetime(2013, 7, 17, 20, 30, tzinfo=UTC)
    )


def test_one_pair_of_hands_needs_minutes_for_a_bucket(read):
    # A kit of 9.5 L spread 1/8 in + 0.4 mm thick covers 2.657 m2. The paces are invented
    # such that one raker, one smoother and one of the broadcasters need about 1.5, 2
    # and 4 min for it.
    pace = read().pace
    bucket_m2 = 0.0095 / (0.003175 + 0.0004)
    assert bucket_m2 / pace.rake_m2_s == pytest.approx(1.5 * 60, rel=0.1)
    assert bucket_m2 / pace.smooth_m2_s == pytest.approx(2 * 60, rel=0.1)
    assert bucket_m2 / pace.broadcast_m2_s == pytest.approx(4 * 60, rel=0.1)


def test_what_is_left_out_is_told_with_its_origin(read):
    notes = read().notes
    (told,) = [note for note in notes if note.values.get("key") == "pace.rake"]
    assert told.values["origin"] == "invented"
    taken = told.values["value"]
    assert isinstance(taken, Message)
    # 1 ft is 0.3048 m: exact.
    assert taken.values["value_m2_s"] == pytest.approx(20 * 0.09290304 / 60)
    said = read(("[policy]", '[pace]\nrake = "18 sq ft/min"\n[policy]'))
    assert not [note for note in said.notes if note.values.get("key") == "pace.rake"]
    assert said.pace.rake_m2_s == pytest.approx(18 * 0.09290304 / 60)
    assert sum(note.code == "job.generic_card" for note in notes) == 3


def test_every_default_quantity_has_an_origin():
    untold = {"materials.storage", "building.insulation"}
    checked = 0
    for table in ("weather", "building", "materials", "pace", "policy"):
        model = JobFile.model_fields[table].annotation
        for name, field in model.model_fields.items():
            key = f"{table}.{field.alias or name}"
            if isinstance(field.default, str) and any(c.isdigit() for c in field.default):
                facts = facts_of(field)
                assert facts.origin or key in untold
                assert not facts.origin or facts.kind in KIND_UNITS
                checked += 1
    assert checked > 12


def test_metric_and_us_units_may_be_mixed(read):
    us, mixed = read(), read(('length = "30 ft"  ', 'length = "9.144 m"  '), ("86 F", "30 C"))
    assert mixed.rooms == us.rooms


def test_an_instant_may_carry_its_offset(read):
    job = read(("from = 2013-07-17T19:00:00", "from = 2013-07-17T16:00:00-07:00"))
    assert job.access.begins == datetime(2013, 7, 17, 23, tzinfo=UTC)


def test_both_readings_of_a_doubtful_time_are_told_apart(read):
    job = read(
        ("from = 2013-07-17T19:00:00", "from = 2013-11-03T01:30:00-04:00"),
        ("open_by = 2013-07-20T06:00:00", "open_by = 2013-11-03T01:30:00-05:00"),
        ('slab_reading = { temp = "86 F", at = 2013-07-17T16:30:00 }', ""),
    )
    assert (job.access.open_by - job.access.begins).total_seconds() == 3600


@pytest.mark.parametrize(
    ("display", "said", "clock"),
    [
        ("us", "", "12 h"), ("metric", "", "24 h"), ("us", 'clock = "24 h"', "24 h"),
        ("metric", 'clock = "12 h"', "12 h"),
    ],
)  # fmt: skip
def test_clocks_are_those_of_the_land_unless_the_job_says_otherwise(read, display, said, clock):
    edits = ('display = "us"', f'display = "{display}"'), ('clock = "24 h"', f"{said} ")
    assert read(*edits).clock == clock


def test_a_plan_has_so_many_rooms_and_not_one_more(read, monkeypatch):
    rooms = len(read().rooms)
    monkeypatch.setattr(crosscheck, "MOST_ROOMS", rooms)
    assert len(read().rooms) == rooms
    monkeypatch.setattr(crosscheck, "MOST_ROOMS", rooms - 1)
    with pytest.raises(InputError, match=f"{rooms} rooms are more than the {rooms - 1} of"):
        read()


def test_a_room_overrides_the_building(read):
    job = read(
        ('name = "Servery"\n', 'name = "Servery"\ngroup = "wet side"\n'),
        add_to_corridor(
            'climate = "held"\nset_point = "72 F"\nslab_thickness = "4 in"\n'
            'insulation = "2 in"\ntopcoats = 2\ngroup = "wet side"\n'
            "open_by = 2013-07-19T22:00:00\n"
            'sun = { from = "14:00", to = "17:00", share = "30 %" }'
        ),
    )
    room, other = job.room("Corridor"), job.room("Servery")
    assert (room.climate, other.climate) == ("held", "drifting")
    assert room.set_point_c == pytest.approx(22.222222, abs=1e-6)
    assert other.set_point_c is None
    assert (room.slab_thickness_m, room.insulation_m) == pytest.approx((0.1016, 0.0508))
    assert (room.topcoats, room.group) == (2, "wet side")
    assert room.open_by == datetime(2013, 7, 20, 2, tzinfo=UTC)
    assert room.sun_patch == SunPatch(starts=time(14), ends=time(17), share=0.3)


def test_a_set_point_of_the_building_holds_where_rooms_are_held(read):
    job = read(
        ('climate = "drifting"', 'climate = "held"\nset_point = "70 F"'),
        add_to_corridor('climate = "open"'),
    )
    assert job.room("Servery").set_point_c == pytest.approx(21.111111, abs=1e-6)
    assert job.room("Corridor").set_point_c is None


def test_a_held_building_needs_neither_lag_nor_gain(read):
    job = read(
        ('climate = "drifting"', 'climate = "held"\nset_point = "70 F"'),
        ('lag = "5 h"', "#"),
        ('gain = "2 F"', "#"),
    )
    assert job.building.climate == "held"


def test_round_the_clock_is_a_shift(read):
    job = read(('from = "19:00", to = "05:00"', 'from = "00:00", to = "24:00"'))
    assert job.crew.pour_shifts == (Shift(begins=time(0), ends=time(0)),)


def test_storage_at_room_temperature_and_a_probe_reading(read):
    job = read(
        ('storage = "84 F"', 'storage = "room"'), ("# liquids_measured", "liquids_measured")
    )
    assert job.materials.storage_c is None
    assert job.materials.liquids_measured_c == pytest.approx(4.444444, abs=1e-6)


def test_a_probe_reading_below_the_card_s_minimum_is_told(read):
    job = read(('# liquids_measured = "40 F"', 'liquids_measured = "33 F"'))
    assert any(note.code == "job.liquids_cold" for note in job.notes)


def test_thickness_beats_the_card(read):
    assert read().materials.thickness_m == pytest.approx(0.003175)
    job = read(
        ("[crew]", "[crew]"), ("stirred_in_ice", 'thickness = "3/16 in"\nstirred_in_ice')
    )
    assert job.materials.thickness_m == pytest.approx(0.0047625)


def test_the_weather_file_lies_beside_the_job(folder, demo_text):
    (folder / "job.toml").write_text(demo_text)
    job = read_job(folder / "job.toml")
    assert job.weather.file == folder / "heat-wave.csv"
    assert job.source == folder / "job.toml"


def test_weather_from_elsewhere_needs_no_file(read):
    job = read(('source = "file"', 'source = "station"'), ('file = "heat-wave.csv"', "#"))
    assert (job.weather.source, job.weather.file) == ("station", None)
    assert any(note.values.get("key") == "weather.max_age" for note in job.notes)


def test_a_card_of_ones_own_lies_beside_the_job(folder, read, slurry_text):
    (folder / "cards").mkdir()
    own = slurry_text.replace('title = "Fast', 'title = "Our').replace("generic = true", "")
    (folder / "cards" / "ours.toml").write_text(own, encoding="utf-8")
    job = read(('"fast-slurry"', '"cards/ours.toml"'))
    assert (job.cards.slurry.key, job.cards.slurry.title) == (
        "ours",
        "Our urethane cement slurry",
    )
    assert not any(str(note.values.get("card")).startswith("Our") for note in job.notes)


def test_a_primer_may_be_named(read):
    assert read().cards.primer is None
    job = read(('aggregate = "quartz"', 'aggregate = "quartz"\nprimer = "slab-primer"'))
    assert job.cards.primer.key == "slab-primer"


def test_names_are_read_without_stray_blanks(read):
    assert read(('name = "Servery"', 'name = " Ser \\t very "')).rooms[3].name == "Ser very"


def test_a_job_can_be_copied(read):
    job = read()
    assert copy.deepcopy(job) == job


def test_the_schema_speaks_of_what_users_write():
    schema = JobFile.model_json_schema()
    room = schema["$defs"]["RoomEntry"]["properties"]
    assert room["length"]["anyOf"][0]["type"] == "string"
    assert "length_m" not in room
    assert schema["$defs"]["PaceEntry"]["properties"]["haul"]["default"] == "45 s"


def test_models_and_units_load_without_the_validation_library():
    code = (
        "import sys, cureplan.core.quantities, cureplan.core.clock, cureplan.inputs.job.model; "
        "sys.exit('pydantic' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_plan_is_made_as_many_days_ahead_as_is_said_and_no_second_more(demo_job):
    first = demo_job.access.begins - LONGEST_AHEAD
    require_near(demo_job, first)
    with pytest.raises(InputError, match="days before the job's access"):
        require_near(demo_job, first - timedelta(seconds=1))


def test_a_job_whose_weather_lies_under_a_long_name_is_sound(demo_job):
    long = replace(demo_job.weather, file=Path(f"{'w' * 200}.csv"))
    check_job(replace(demo_job, weather=long))


def test_times_are_as_sure_as_is_said_else_as_their_card(demo_job):
    own = replace(demo_job.cards, slurry=replace(demo_job.cards.slurry, generic=False))
    job = replace(demo_job, cards=own, doubt=Doubts())
    # 30 % for a generic card, 10 % for one of the product in hand or none.
    assert [job.times_sd(kind) for kind in ("slurry", "topcoat", "primer")] == [0.1, 0.3, 0.1]
    said = replace(job, doubt=Doubts(slurry_times=0.05, topcoat_times=0.0, primer_times=0.2))
    assert [said.times_sd(kind) for kind in ("slurry", "topcoat", "primer")] == [0.05, 0.0, 0.2]


@pytest.mark.parametrize(
    ("seed", "sound"), [(0, True), (-1, False), (2_147_483_647, True), (2_147_483_648, False)]
)
def test_a_seed_is_a_whole_number_of_31_bits(seed, sound):
    assert (value_fault(("seed",), seed, JobFile) is None) is sound


@pytest.mark.parametrize("wrong", [None, "slurry", "topcoat", "aggregate", "primer"])
def test_a_card_of_another_kind_than_was_asked_goes_no_further(demo_job, monkeypatch, wrong):
    right = demo_job.cards
    primer = read_card("slab-primer", folder=Path(), kind="primer")
    cards = {
        "slurry": right.slurry, "topcoat": right.topcoat, "aggregate": right.aggregate,
        "primer": primer,
    }  # fmt: skip
    other = {"slurry": right.topcoat, "primer": right.slurry}
    given = {kind: other.get(kind, primer) if kind == wrong else cards[kind] for kind in cards}
    monkeypatch.setattr(reader, "read_card", lambda name, **_: given[name])
    named = SimpleNamespace(**{kind: kind for kind in cards})
    document = Document(source=Path("job.toml"), text="", values={})
    if wrong is None:
        assert reader._cards(named, document) == (Cards(**cards), [])
    else:
        with pytest.raises(TypeError, match="not of the kind"):
            reader._cards(named, document)
