"""What is loaded, bought, iced and rolled for floors made up by hand, each sum by hand."""

from __future__ import annotations

import math
import re
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import NIGHT_S, at, floor_of

from cureplan.judge import ice_rules, primer_rules, takeoff_rules
from cureplan.judge.finding import mismeasured

# What is loaded


def floor_named(name: str, *, area_m2: float = 10.0, begins_s: float = 0.0, kits: int = 10):
    floor = floor_of(kits, room=Made(area_m2=area_m2, topcoats=2), begins_s=begins_s)
    floor.name = name
    return floor


PRIMER = Made(broadcast_kg_m2=0.25, spread_m2_m3=4000.0, batch_m3=0.001)


def case_of(*floors, said=(), primer=None, cove=None, chill_kg=0.0, order=(), **total) -> Made:
    """Kits of 7.5 L for 6 mm and an eighth wasted; 3 kg/m² of grains of which 1 is swept."""
    cards = Made(
        slurry=Made(mixed_yield_m3=0.0075), primer=primer,
        aggregate=Made(swept_kg_m2=1.0, kept_kg_m2=2.0, bag_kg=25.0),
        topcoat=Made(spread_first_m2_m3=2000.0, spread_second_m2_m3=4000.0, batch_m3=0.002),
    )  # fmt: skip
    materials = Made(thickness_m=0.005, profile_allowance_m=0.001, waste=0.125)
    job = Made(cards=cards, materials=materials, cove=cove, display="metric")
    lines = [Made(code=code, values={"packages": count}) for code, count in order]
    takeoff = Made(rooms=said, order=lines, **total)
    plan = Made(job=job, takeoff=takeoff, chill=Made(ice_kg=chill_kg))
    return Made(plan=plan, floors=floors)


def told(found) -> list[tuple[str, float]]:
    return [(each.what.split(" is given")[0], round(each.off_by, 9)) for each in found]


@pytest.mark.parametrize(
    ("named", "found"),
    [(("Bar", "Hall"), 0), (("Hall", "Bar"), 0), (("Bar",), 1), (("Bar", "Store"), 1)],
)
def test_the_floors_of_the_plan_are_loaded(monkeypatch, named, found):
    seen = []
    for rule in ("_check_slurry", "_check_aggregate", "_check_coats"):
        monkeypatch.setattr(
            takeoff_rules,
            rule,
            lambda _, floor, said: seen.append((floor.name, said.room)) or (),
        )
    for rule in ("_check_sums", "_check_order"):
        monkeypatch.setattr(takeoff_rules, rule, lambda _: ())
    said = [Made(room=name) for name in named]
    case = case_of(floor_named("Bar"), floor_named("Hall"), said=said)
    assert len(list(takeoff_rules.check_takeoff(case))) == found
    if not found:
        assert seen == [("Bar", "Bar")] * 3 + [("Hall", "Hall")] * 3


@pytest.mark.parametrize(
    ("changed", "off"),
    [
        # 10 m² of 6 mm and an eighth more: 67.5 L of ten kits of 7.5.
        ({}, []),
        ({"kits": 9}, [("Bar: kits", 1.0)]),
        ({"area_m2": 9.5}, [("Bar: area", 0.5)]),
        ({"slurry_needed_m3": 0.06}, [("Bar: slurry needed", 0.0075)]),
        ({"slurry_left_m3": 0.0}, [("Bar: slurry left over", 0.0075)]),
    ],
)
def test_slurry_is_loaded_with_what_is_wasted_of_it(changed, off):
    given = {
        "kits": 10, "area_m2": 10.0, "slurry_needed_m3": 0.0675, "slurry_left_m3": 0.0075,
        **changed,
    }  # fmt: skip
    floor = floor_named("Bar")
    assert told(takeoff_rules._check_slurry(case_of(floor), floor, Made(**given))) == off


@pytest.mark.parametrize(
    ("primer", "changed", "off"),
    [
        (None, {}, []),
        (None, {"aggregate_kg": 32.5}, [("Bar: aggregate", 2.5)]),
        (None, {"aggregate_swept_kg": 9.0}, [("Bar: aggregate swept up", 1.0)]),
        (None, {"primer_batches": 1}, [("Bar: batches of primer", 1.0)]),
        # A quarter of a kilogram on 10 m², and 2.5 L in batches of one.
        (PRIMER, {"aggregate_kg": 32.5, "primer_batches": 3}, []),
        (
            PRIMER,
            {"aggregate_kg": 32.5, "primer_batches": 2},
            [("Bar: batches of primer", 1.0)],
        ),
        (PRIMER, {"primer_batches": 3}, [("Bar: aggregate", 2.5)]),
    ],
)
def test_grains_are_loaded_for_floor_and_primer(primer, changed, off):
    given = {
        "aggregate_kg": 30.0, "aggregate_swept_kg": 10.0, "cove_m": 0.0, "cove_kg": 0.0,
        "primer_batches": 0, **changed,
    }  # fmt: skip
    floor = floor_named("Bar")
    case = case_of(floor, primer=primer)
    assert told(takeoff_rules._check_aggregate(case, floor, Made(**given))) == off


@pytest.mark.parametrize(
    ("batches", "volumes_m3", "off"),
    [
        # 10 m² take 5 L of the first and 2.5 of the second, in batches of 2 L.
        ((3, 2), (0.005, 0.0025), []),
        ((3, 1), (0.005, 0.0025), [("Bar: coat 2, batches", 1.0)]),
        ((2, 2), (0.005, 0.0025), [("Bar: coat 1, batches", 1.0)]),
        ((3, 2), (0.0025, 0.005), [("Bar: coat 1", 0.0025), ("Bar: coat 2", 0.0025)]),
        ((3,), (0.005,), [("Bar: topcoat for 1 coats, 2 are needed", 1.0)]),
        ((3, 2, 2, 2), (0.005, 0.0025), [("Bar: topcoat for 4 coats, 2 are needed", 2.0)]),
        ((3, 2), (0.005,), [("Bar: topcoat for 2 coats, 2 are needed", 1.0)]),
    ],
)
def test_each_coat_has_its_batches(batches, volumes_m3, off):
    floor = floor_named("Bar")
    said = Made(coat_batches=batches, coat_volume_m3=volumes_m3)
    assert told(takeoff_rules._check_coats(case_of(floor), floor, said)) == off


@pytest.mark.parametrize(("count", "whole"), [(3.0, 3), (3.0 + 5e-10, 3), (3.01, 4), (0.0, 0)])
def test_a_package_is_whole(count, whole):
    assert takeoff_rules._whole(count) == whole


def loaded(name: str, *, bags: int, grains_kg: float) -> Made:
    return Made(
        room=name, aggregate_kg=grains_kg, aggregate_bags=bags, coat_batches=(3, 2), kits=10,
        primer_batches=2, ice_kg=4.0,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("bags", "changed", "off"),
    [
        # The hall is poured first: 40 kg, two bags of 25; of the 30 kg of the bar ten are
        # left over from it, and one bag is opened. The store's 5 kg come out of that.
        ((1, 2, 0), {}, []),
        ((2, 2, 0), {}, [("Bar: bags of aggregate", 1.0)]),
        ((1, 1, 0), {}, [("Hall: bags of aggregate", 1.0)]),
        ((1, 2, 1), {}, [("Store: bags of aggregate", 1.0)]),
        ((1, 2, 0), {"kits": 29}, [("kits in all", 1.0)]),
        ((1, 2, 0), {"aggregate_bags": 4}, [("bags in all", 1.0)]),
        ((1, 2, 0), {"primer_batches": 5}, [("primer in all", 1.0)]),
        ((1, 2, 0), {"topcoat_batches": 16}, [("topcoat batches in all", 1.0)]),
        ((1, 2, 0), {"aggregate_kg": 74.0}, [("aggregate in all", 1.0)]),
        ((1, 2, 0), {"topcoat_m3": 0.032}, [("topcoat in all", 0.002)]),
        ((1, 2, 0), {"ice_kg": 11.5}, [("ice in all", 0.5)]),
    ],
)
def test_bags_are_bought_for_the_whole_job(bags, changed, off):
    said = [
        loaded(name, bags=count, grains_kg=kg)
        for name, count, kg in zip(
            ("Bar", "Hall", "Store"), bags, (30.0, 40.0, 5.0), strict=True
        )
    ]
    total = {
        "kits": 30, "aggregate_bags": 3, "primer_batches": 6, "topcoat_batches": 15,
        "aggregate_kg": 75.0, "topcoat_m3": 0.03, "ice_kg": 12.0, **changed,
    }  # fmt: skip
    floors = (
        floor_named("Bar", begins_s=600.0), floor_named("Hall", begins_s=0.0),
        floor_named("Store", begins_s=900.0),
    )  # fmt: skip
    assert told(takeoff_rules._check_sums(case_of(*floors, said=said, **total))) == off


ORDERED = {"buy.kits": 20, "buy.topcoat": 11, "buy.aggregate": 3}


@pytest.mark.parametrize(
    ("given", "order", "off"),
    [
        # Twice 10 m²: 15 L of topcoat and an eighth more, 16.9 in batches of 2 L: nine; the
        # floors have eleven begun ones.
        ({}, {}, []),
        ({}, {"buy.topcoat": 9}, [("buy.topcoat", 2.0)]),
        ({"topcoat_batches": 8}, {"buy.topcoat": 9}, []),
        ({}, {"buy.kits": 19}, [("buy.kits", 1.0)]),
        ({}, {"buy.aggregate": 2}, [("buy.aggregate", 1.0)]),
        ({}, {"buy.primer": 1}, [("buy.primer", 1.0)]),
        # 5 L of primer and an eighth more: six of a litre.
        ({"primer": PRIMER}, {"buy.primer": 6}, []),
        ({"primer": PRIMER, "primer_batches": 7}, {"buy.primer": 7}, []),
        ({"primer": PRIMER}, {}, [("buy.primer", 6.0)]),
        # Twice 30 kg of cove mortar in bags of 25; 12 kg of ice in bags of 5.
        ({"cove_kg": 30.0}, {"buy.cove": 3}, []),
        ({"cove_kg": 30.0}, {}, [("buy.cove", 3.0)]),
        ({"chill_kg": 12.0}, {"buy.ice": 3}, []),
        ({"chill_kg": 12.0}, {"buy.ice": 2}, [("buy.ice", 1.0)]),
        ({}, {"buy.ice": "none"}, []),
        ({"aggregate_kg": 0.0}, {"buy.aggregate": 0}, []),
    ],
)
def test_what_is_ordered_holds_what_the_floors_need(given, order, off):
    cove_kg = given.get("cove_kg", 0.0)
    total = {"topcoat_batches": 11, "primer_batches": 4, "aggregate_kg": 60.0}
    total |= {name: value for name, value in given.items() if name != "cove_kg"}
    case = case_of(
        floor_named("Bar"), floor_named("Hall"), said=[Made(cove_kg=cove_kg)] * 2,
        order=(ORDERED | order).items(), **total,
    )  # fmt: skip
    assert told(takeoff_rules._check_order(case)) == off


def test_packages_of_nothing_are_not_wanted():
    # Where nothing is spread, nothing is bought: a line that says so is not asked for.
    case = case_of(
        floor_named("Bar"), said=[Made(cove_kg=0.0)], topcoat_batches=6, primer_batches=0,
        aggregate_kg=0.0, order=(("buy.kits", 10), ("buy.topcoat", 6)),
    )  # fmt: skip
    assert told(takeoff_rules._check_order(case)) == []


# Ice


def iced_of(*, from_c: float | None = 30.0, water_m3: float = 0.0, air_c: float = 30.0, **said):
    """10 kJ/K of liquids a kit from 30 to 5 °C, a fifth lost: 300 kJ, 0.8994 kg of ice."""
    materials = Made(
        storage_c=from_c, iced_c=5.0, cooler_loss=0.2, ice_water_m3=water_m3, ice_water_c=15.0,
        liquids_measured_c=None,
    )  # fmt: skip
    liquids = (
        Made(mass_kg=2.0, specific_heat_j_kg_k=2000.0),
        Made(mass_kg=4.0, specific_heat_j_kg_k=1500.0),
    )
    job = Made(materials=materials, cards=Made(slurry=Made(liquids=liquids)))
    given = {
        "liquids_as_is_c": 30.0, "ice_per_kit_kg": 0.8994, "ice_for_water_kg": 0.0,
        "ice_kg": 8.994 + 4.497, "measured": False, "in_ice_by": at(-300.0),
        "rooms": (
            Made(room="Bar", kits=10, ice_kg=8.994, in_ice_by=at(-240.0)),
            Made(room="Hall", kits=5, ice_kg=4.497, in_ice_by=at(-300.0)),
        ),
        **said,
    }  # fmt: skip
    loads = [
        Made(room=room, ice_kg=kg)
        for room, kg in (("Bar", 8.994), ("Hall", 4.497), ("Bay", 0.0))
    ]
    hours = Made(air=lambda at_s: air_c + (at_s - 100.0))
    floors = [Made(begins_s=begins_s, hours=hours) for begins_s in (900.0, 100.0)]
    plan = Made(job=job, chill=Made(**given), takeoff=Made(rooms=loads))
    return ice_rules._check_amounts(Made(plan=plan, floors=floors))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, []),
        ({"from_c": None}, []),
        ({"from_c": None, "air_c": 29.0},
         ["liquids as they are", "ice for a kit", "Bar: ice", "Hall: ice"]),
        ({"ice_per_kit_kg": 0.9013}, []),
        ({"ice_per_kit_kg": 0.9017}, ["ice for a kit"]),
        ({"ice_kg": 13.45}, ["ice in all"]),
        ({"measured": True}, ["whether the liquids"]),
        ({"in_ice_by": at(-240.0)}, ["the first pails are not in ice"]),
        ({"liquids_as_is_c": 29.9}, ["liquids as they are"]),
        # 3 L of water of 15 °C besides: 4190 times 45 kJ and a fifth, 0.6783 kg.
        ({"water_m3": 0.003, "ice_for_water_kg": 0.6783, "ice_per_kit_kg": 1.5777},
         ["Bar: ice", "Hall: ice"]),
        ({"water_m3": 0.003},
         ["ice for a kit", "ice for a kit's water", "Bar: ice", "Hall: ice"]),
    ],
)  # fmt: skip
def test_ice_melts_with_its_heat_and_adds_up(given, words):
    ends = re.compile(" (is given|were measured|when the first floor)")
    found = [ends.split(each.what)[0] for each in iced_of(**given)]
    assert found == words


def test_liquids_that_are_cold_already_need_no_ice():
    # Kept at 4 °C, a kelvin colder than iced ones are: no ice, and none for the water.
    rooms = (Made(room="Bar", kits=10, ice_kg=0.0, in_ice_by=at(-300.0)),)
    found = iced_of(
        from_c=4.0, water_m3=0.003, liquids_as_is_c=4.0, ice_per_kit_kg=0.0, ice_kg=0.0,
        rooms=rooms,
    )  # fmt: skip
    assert [each.what.split(" is given")[0] for each in found] == [
        "Bar: ice to load", "Hall: ice to load"
    ]  # fmt: skip


def test_no_pails_are_in_ice_where_no_floor_is_iced():
    for in_ice_by, found in ((None, 0), (at(-300.0), 1)):
        said = [
            each.what
            for each in iced_of(rooms=(), ice_kg=0.0, in_ice_by=in_ice_by)
            if "first pails" in each.what
        ]
        assert len(said) == found


@pytest.mark.parametrize(
    ("chilled", "remedies", "buckets", "found"),
    [
        (True, ("chill",), (True, True), 0), (False, (), (False, False), 0),
        (False, ("hour",), (False, False), 0), (True, ("hour", "chill"), (True, True), 0),
        (True, ("chill",), (True, False), 1), (True, ("hour",), (True, True), 1),
        (False, ("chill",), (False, False), 1), (False, (), (True, True), 1),
        (True, ("chill",), (False, False), 1),
    ],
)  # fmt: skip
def test_floor_remedies_and_buckets_agree_on_ice(
    monkeypatch, chilled, remedies, buckets, found
):
    monkeypatch.setattr(ice_rules, "_check_amounts", lambda _: ())
    monkeypatch.setattr(ice_rules, "_check_ice_of", lambda *_: ())
    floor = floor_of(plan=Made(chilled=chilled, remedies=remedies))
    floor.buckets = [Made(chilled=each) for each in buckets]
    rooms = [Made(room="Bar")] if chilled else []
    case = Made(plan=Made(chill=Made(rooms=rooms, iced=chilled)), floors=(floor,))
    said = [f for f in ice_rules.check_ice(case) if f.what.startswith("Bar")]
    assert len(said) == found


def test_ice_is_checked_against_the_floor_that_gets_it(monkeypatch):
    seen = []
    for rule in ("_check_times", "_check_cold"):
        monkeypatch.setattr(
            ice_rules, rule, lambda _, floor, room: seen.append((floor.name, room.room)) or ()
        )
    rooms = [
        Made(room=name, kits=3, in_ice_by=None, in_ice_by_stirred=at(-5.0), needed_at=at(0.0))
        for name in ("Hall", "Bar")
    ]
    case = Made(plan=Made(chill=Made(rooms=rooms, in_ice_by=at(-5.0))))
    (found,) = ice_rules._check_ice_of(case, floor_of(begins_s=NIGHT_S))
    assert "pails in ice at never" in found.what
    assert seen == [("Bar", "Bar")] * 2
    rooms[1].in_ice_by = at(-5.0)
    (found,) = ice_rules._check_ice_of(case, floor_of(4, begins_s=NIGHT_S))
    assert "kits iced" in found.what


@pytest.mark.parametrize(
    ("dew_c", "sweats", "found"),
    [(2.5, True, 0), (3.5, False, 0), (2.0, True, 1), (4.0, False, 1)],
)
def test_pails_within_the_tolerance_of_the_dew_point_may_sweat_or_not(
    monkeypatch, dew_c, sweats, found
):
    monkeypatch.setattr(ice_rules, "TEMP_TOL_K", 0.5)
    rows = tuple(Made(at=at(60 * n), dew_c=dew_c) for n in (0, 1))
    materials = Made(liquids_measured_c=None, iced_c=3.0)
    job = Made(materials=materials)
    judged = Made(plan=Made(job=job, chill=Made(liquids_as_is_c=30.0), hours=rows))
    room = Made(
        from_c=30.0, to_c=3.0, gained_bucket_min=4.0, gained_floor_min=-1.0, gained_min=3.0,
        sweats=sweats,
    )  # fmt: skip
    assert len(list(ice_rules._check_cold(judged, floor_of(begins_s=NIGHT_S), room))) == found


# Primers


def rolled(**changed: object) -> Made:
    """From 20:00 to 20:13, in two batches of a litre for 8 m² at 4 m²/L."""
    given = {
        "stage": "primer", "start": at(0.0), "end": at(13.0), "batches": 2,
        "volume_m3": 0.002, "batch_minutes": 8.0, "batch_working_min": 20.0,
        "broadcast": False, "slab_c": 18.0, "dew_c": 9.0, **changed,
    }  # fmt: skip
    return Made(**given)


CARD = Made(spread_m2_m3=4000.0, batch_m3=0.001, mix_s=180.0, broadcast_kg_m2=0.0)


@pytest.mark.parametrize(
    ("changed", "card", "said"),
    [
        ({}, {}, []),
        ({"end": at(13.5)}, {}, ["primer ends at"]),
        ({"end": at(12.5)}, {}, ["primer ends at"]),
        ({"batches": 3}, {}, ["primer batches"]),
        ({"batches": 1}, {}, ["primer batches"]),
        ({"volume_m3": 0.0021}, {}, ["primer is"]),
        ({"batch_minutes": 2.0}, {}, ["a batch of primer"]),
        ({"batch_working_min": 10.0}, {}, ["its working time"]),
        ({"broadcast": True}, {}, ["primer with grains"]),
        ({"broadcast": True}, {"broadcast_kg_m2": 0.3}, []),
        ({}, {"broadcast_kg_m2": 0.3}, ["primer with grains"]),
    ],
)
def test_a_primer_is_rolled_in_whole_batches(monkeypatch, changed, card, said):
    # 10 min for 8 m², 5 for the 4 m² of a batch; 40 min at the card's temperature, and twice
    # as fast on this slab, in air that changes nothing.
    monkeypatch.setattr(primer_rules, "primer_s", lambda *_: 780.0)
    monkeypatch.setattr(primer_rules, "priming_s", lambda _, area_m2: 75.0 * area_m2)
    hours = Made(slab=lambda _: 18.0, humidity=lambda _: 0.5)
    floor = floor_of(room=Made(area_m2=8.0), hours=hours)
    rate = Made(
        speed=lambda _: 4.0, pace=lambda _: 0.5, ref_s={"working_time": 2400.0}
    )  # fmt: skip
    found = primer_rules._check_work(
        Made(primer=rate), floor, rolled(**changed), Made(**{**vars(CARD), **card})
    )
    whats = [each.what for each in found]
    assert [word in what for what, word in zip(whats, said, strict=True)] == [True] * len(said)


@pytest.mark.parametrize(
    ("said_c", "then_c", "found"),
    [
        (9.0, 9.0, 0), (9.04, 9.0, 0), (9.06, 9.0, 1), (None, None, 0), (None, 9.0, 1),
        (9.0, None, 1),
    ],
)  # fmt: skip
def test_a_primers_dew_point_is_that_of_the_hours_or_not_known(said_c, then_c, found):
    rows = tuple(Made(at=at(60 * n), dew_c=then_c) for n in (0, 1))
    floor = floor_of(hours=Made(slab=lambda _: 18.0))
    case = Made(plan=Made(hours=rows))
    said = list(primer_rules._check_air(floor, rolled(dew_c=said_c), case))
    assert len(said) == found
    (slab,) = primer_rules._check_air(floor, rolled(slab_c=17.5, dew_c=then_c), case)
    assert slab.off_by == 0.5


@pytest.mark.parametrize(
    ("card", "primers", "found"),
    [(CARD, 1, []), (CARD, 0, [1.0]), (CARD, 2, [1.0]), (None, 0, []), (None, 1, [1.0])],
)
def test_a_floor_has_one_primer_where_the_job_has_its_card(monkeypatch, card, primers, found):
    seen = []
    for rule in ("_check_window", "_check_work", "_check_air", "check_dry"):
        monkeypatch.setattr(primer_rules, rule, lambda *_: seen.append(1) or ())
    floor = floor_of(primers=(rolled(),) * primers)
    case = Made(plan=Made(job=Made(cards=Made(primer=card))), floors=(floor,))
    said = primer_rules.check_primers(case, {"Bar": None}, {"Bar": None})
    assert [each.off_by for each in said] == found
    assert len(seen) == (4 if card and primers == 1 else 0)


def test_an_amount_that_is_not_known_is_found():
    for got, want in ((math.nan, 1.0), (1.0, math.nan), (np.nan, np.nan)):
        assert list(mismeasured("ice", None, "ice", got, want, within=1.0, unit="kg"))
