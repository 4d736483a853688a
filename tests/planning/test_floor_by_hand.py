"""Hours of a floor, its limits, doubt and the turns of its hands, worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.api import demo_job_path, read_job
from cureplan.core.errors import OutOfRangeError
from cureplan.inputs.job.model import Heat, SlabReading
from cureplan.planning.floor import conditions, doubt, layers, layout, limits
from cureplan.planning.floor.conditions import RoomConditions, in_part
from cureplan.planning.floor.ice import IceBath, ice_need
from cureplan.planning.floor.layers import Layer, Lead, Work
from cureplan.planning.floor.limits import LayerLimits
from cureplan.science.fit import KineticFit
from cureplan.weather.hours.series import HourlySeries, WeatherOrigin

START_S = datetime(2013, 6, 17, tzinfo=UTC).timestamp()
H = 3600.0


def hourly(slab_c, *, air_c=20.0, dew_c=np.nan, **more):
    slab_c = np.asarray(slab_c, float)
    return RoomConditions(
        room="Bar", epoch_s=START_S + H * np.arange(slab_c.size), slab_c=slab_c,
        air_c=np.broadcast_to(np.asarray(air_c, float), slab_c.shape),
        dew_c=np.broadcast_to(np.asarray(dew_c, float), slab_c.shape),
        reading_s=None, **more,
    )  # fmt: skip


# Hours of a floor


def test_the_sun_falls_on_a_patch_from_its_first_minute_to_before_its_last():
    patch = Made(starts=time(10, 30), ends=time(14, 10))
    rooms = [Made(sun_patch=None), Made(sun_patch=patch)]
    job = Made(site=Made(zone=UTC, latitude_deg=45.0, longitude_deg=0.0))
    fine_s = 600.0 * np.arange(144)
    got = conditions.patch_sun_w_m2(
        job, rooms, Made(epoch_s=np.array([START_S])), fine_s, np.zeros(144)
    )
    # Every ten minutes: 10:30 is the 63rd, 14:10 the 85th.
    assert np.flatnonzero(got[:, 1]).tolist() == list(range(63, 85))
    assert not got[:, 0].any()
    none = conditions.patch_sun_w_m2(job, rooms[:1], Made(), fine_s, np.zeros(144))
    assert not none.any()


def test_a_slab_open_on_both_sides_forgets_sooner():
    ground_s, air_s = (conditions._time_constant_s(0.15, below) for below in ("ground", "air"))
    assert 0.3 * ground_s < air_s < 0.6 * ground_s
    left = hourly([20.0] * 3).halves_left([0.0, ground_s, -ground_s])
    assert left == pytest.approx([1.0, np.exp(-1.0), np.exp(-1.0)])


@pytest.mark.parametrize(
    ("parts", "slab_c"),
    [
        ((), [20, 20, 20, 20]), (("first",), [20, 20, 14, 14]), (("front",), [14, 20, 14, 20]),
        (("first", "front"), [17, 20, 14, 17]),
    ],
)  # fmt: skip
def test_a_patch_is_as_warm_as_the_halves_it_may_lie_in(parts, slab_c):
    here = hourly([20.0] * 3, sun_k=np.full(3, 6.0), warm_parts=parts)
    got = here.slab_under(np.full(4, START_S), [0, 0, 1, 1], [0, 1, 0, 1])
    assert got == pytest.approx(slab_c)


def test_halves_of_bays_that_have_unlike_many_rows():
    assert in_part("front", [0, 0, 0, 1], [0, 1, 2, 0]).tolist() == [False, False, True, False]
    assert in_part("back", [0, 0, 1, 1], [0, 1, 0, 1]).tolist() == [True, False, True, False]
    assert in_part("last", [0, 0, 0], [0, 1, 2]).tolist() == [False, False, True]


def test_a_slab_that_warms_by_a_third_of_a_kelvin_is_level():
    for rises_k, level in ((0.3, True), (0.31, False), (-5.0, True)):
        here = hourly([0.0, 0.0, rises_k])
        assert here.slab_falls(START_S + H, START_S + 2 * H) == level


@pytest.mark.parametrize(
    ("spare_k", "lasts_h", "dry_h"),
    [
        # By what the slab is farther than 3 K above its dew point, hour by hour.
        ([0, 0, 0, 0], 9, 0.0), ([1, 1, 1, 1], 9, 0.0), ([-1, -1, -1, 0, 0, 0], 2, 3.0),
        ([-1, -1, 1, 1, -1, 1, 1, 1], 2, 1.5), ([-1, -1, 1, 1, -1, 1, 1, 1], 2.5, 4.5),
        ([-1, -1, -1, 1, 1, 1], 2, 2.5), ([-1, -1, -1, 0, 0, 0], 2.1, np.inf),
        ([-1, -1, -1, -1, 0], 1, np.inf),
    ],
)  # fmt: skip
def test_the_first_hour_from_which_on_a_slab_is_dry_for_so_long(spare_k, lasts_h, dry_h):
    here = hourly(np.full(len(spare_k), 20.0), dew_c=17.0 - np.asarray(spare_k, float))
    got_s = here.next_dry_s(START_S, lasts_h * H, margin_k=3.0)
    assert (got_s - START_S) / H == pytest.approx(dry_h)


@pytest.mark.parametrize(
    ("spare_k", "from_h", "wet_h"),
    [
        # By what the slab is farther than 3 K above its dew point, hour by hour: half way
        # between 1 K and -1 K, a quarter from 1 K to -3 K; never; and at once.
        ([1, 1, -1, -1], 0, 1.5), ([1, 1, -3, 1], 0, 1.25), ([-1, 1, 1, -1], 1, 2.5),
        ([1, 1, 1, 1], 0, np.inf), ([-1, 1, 1, 0], 1, np.inf), ([-1, -1, 1], 0.5, 1.0),
    ],
)  # fmt: skip
def test_the_hour_at_which_a_dry_slab_is_wet_again(spare_k, from_h, wet_h):
    here = hourly(np.full(len(spare_k), 20.0), dew_c=17.0 - np.asarray(spare_k, float))
    got_s = here.next_wet_s(START_S + from_h * H, margin_k=3.0)
    assert (got_s - START_S) / H == pytest.approx(wet_h)


def test_heaters_warm_from_their_very_hour_on():
    room = Made(
        heat=Heat(to_c=15.0, from_at=datetime.fromtimestamp(START_S + H, UTC), runs=True)
    )
    at_s = START_S + 1800.0 * np.arange(4)
    cold = np.array([[5.0], [5.0], [5.0], [18.0]])
    assert conditions._heated(room, cold, at_s).ravel().tolist() == [5, 5, 15, 18]
    idle = Made(heat=replace(room.heat, runs=False))
    assert conditions._heated(idle, cold, at_s).ravel().tolist() == [5, 5, 5, 18]
    assert conditions._heated(Made(heat=None), cold, at_s) is cold


def test_air_that_drifts_begins_where_it_settles():
    fine_s = 600.0 * np.arange(300)
    building = Made(gain_k=3.0, lag_s=5 * H)
    air_c = conditions._air(Made(climate="drifting"), building, fine_s, np.full(300, 20.0))
    assert air_c == pytest.approx(np.full((300, 1), 23.0))


@pytest.mark.parametrize(("read_c", "in_shade"), [(20.0, False), (19.9, True), (24.0, False)])
def test_a_reading_is_of_the_shade_where_it_is_nearer_to_it(read_c, in_shade):
    # 24 °C where it is lit, 16 in the shade.
    at = datetime.fromtimestamp(START_S + 1800.0, UTC)
    room = Made(slab_reading=SlabReading(surface_c=read_c, read_at=at))
    hours_s = START_S + H * np.arange(2)
    got = conditions._read_in_shade(room, np.full(2, 24.0), np.full(2, 8.0), hours_s)
    assert got == in_shade
    assert not conditions._read_in_shade(Made(slab_reading=None), hours_s, hours_s, hours_s)


# Limits


def limits_over(slab_c, *, kind="topcoat", air_c=20.0, dew_c=np.nan, store_c=20.0, **more):
    card = Made(
        limits=Made(
            slab_c=(10.0, 30.0),
            air_c=(5.0, 35.0),
            material_c=(15.0, 25.0),
            mixed_c=(16.0, 24.0),
        )
    )
    other = Made(limits=Made(slab_c=(0.0, 1.0)))
    cards = dict.fromkeys(("slurry", "topcoat", "primer"), other)
    cards[kind] = card
    job = Made(
        cards=Made(**cards), policy=Made(dew_margin_k=3.0), materials=Made(storage_c=store_c)
    )
    here = hourly(slab_c, air_c=air_c, dew_c=dew_c)
    crew = {"slurry": "pour", "topcoat": "topcoat", "primer": "primer"}[kind]
    return LayerLimits(job, Layer(kind=kind, crew=crew), here, **more)


@pytest.mark.parametrize(
    ("given", "laid_k", "cures_k"),
    [
        # Slab 10 to 30, air 5 to 35, store 15 to 25 and 16 to 24 mixed.
        ({"slab_c": [12.0]}, 2.0, 2.0), ({"slab_c": [29.0]}, 1.0, 15.0),
        ({"slab_c": [20.0], "air_c": 6.5}, 1.5, 1.5), ({"slab_c": [20.0], "air_c": 34}, 1, 10),
        ({"slab_c": [20.0], "store_c": 17.5}, 1.5, 10.0),
        ({"slab_c": [20.0], "store_c": 22.5}, 1.5, 10.0),
        ({"slab_c": [20.0], "store_c": 24.5, "kind": "slurry"}, 0.5, 10.0),
        ({"slab_c": [20.0], "store_c": 15.5, "kind": "slurry"}, 0.5, 10.0),
        ({"slab_c": [20.0], "store_c": None, "air_c": 17.0}, 1.0, 10.0),
        ({"slab_c": [20.0], "dew_c": 16.5}, 0.5, 10.0),
        ({"slab_c": [20.0], "dew_c": 16.5, "kind": "slurry"}, 5.0, 10.0),
        ({"slab_c": [20.0], "dew_c": 16.5, "kind": "primer"}, 0.5, 10.0),
        ({"slab_c": [13.0], "slab_guard_k": 2.0}, 1.0, 1.0),
        ({"slab_c": [27.5], "slab_guard_k": 2.0}, 0.5, 15.0),
        ({"slab_c": [20.0], "air_c": 8.5, "air_guard_k": 2.0}, 1.5, 1.5),
        ({"slab_c": [20.0], "air_c": 32.5, "air_guard_k": 2.0}, 0.5, 10.0),
    ],
)  # fmt: skip
def test_what_is_spare_of_the_tightest_limit(given, laid_k, cures_k):
    got = limits_over(**{**given, "slab_c": given["slab_c"] * 2})
    assert got.laid_k == pytest.approx([laid_k] * 2)
    assert got.cures_k == pytest.approx([cures_k] * 2)


def test_the_shade_is_coolest_and_the_sun_warmest():
    here = limits_over([29.0, 29.0])
    lit = replace(here.conditions, sun_k=np.full(2, 18.0))
    got = LayerLimits(here.job, here.layer, lit)
    # 11 °C in the shade, 29 in the sun.
    assert got.laid_k == pytest.approx([1.0, 1.0])
    assert got.cures_k == pytest.approx([1.0, 1.0])


@pytest.mark.parametrize(
    ("slab_c", "start_h", "lasts_h", "bears_h", "kept"),
    [
        # From 10 °C on; laid up to 30 °C.
        ([10, 10, 10, 10], 0, 1, 3, True), ([9, 11, 11, 11], 0.5, 1, 2, True),
        ([9, 11, 11, 11], 0.4, 1, 2, False), ([11, 11, 11, 9], 0, 1, 2.5, True),
        ([11, 11, 11, 9], 0, 1, 2.6, False), ([11, 9, 11, 11], 0, 2, 3, False),
        ([20, 31, 31, 31], 0, 1, 3, False), ([20, 29, 31, 31], 0, 1.5, 3, True),
        ([20, 29, 31, 31], 0, 1.6, 3, False), ([20, 20, 30, 30], 1, 2, 3, True),
        ([11, 11, 11, 9], 2, 0.5, 1, True),
    ],
)  # fmt: skip
def test_limits_hold_while_laid_and_the_cold_until_it_bears(
    slab_c, start_h, lasts_h, bears_h, kept
):
    got = limits_over(slab_c).kept(
        np.array([START_S + start_h * H]), lasts_h * H, START_S + np.array([bears_h * H])
    )
    assert got.tolist() == [kept]


@pytest.mark.parametrize(
    ("slab_c", "lasts_h", "bears_h", "next_h"),
    [
        ([11] * 5, 1, 2, 0.0), ([9, 9, 11, 11, 11], 1, 2, 1.5), ([9, 9, 9, 10, 10], 1, 1, 3.0),
        ([9, 9, 9, 9, 10], 1, 1, np.inf), ([9] * 5, 1, 1, np.inf),
        # What lasts into hours nobody knows is not known to break.
        ([9] * 5, 4, 1, np.inf), ([9] * 5, 4.1, 1, 0.0), ([9] * 5, 1, 4.1, 0.0),
    ],
)  # fmt: skip
def test_the_next_start_that_keeps_the_limits(slab_c, lasts_h, bears_h, next_h):
    got_s = limits_over(slab_c).next_s(START_S, lasts_h * H, START_S + bears_h * H)
    assert (got_s - START_S) / H == pytest.approx(next_h)


@pytest.mark.parametrize(
    ("given", "cures", "breach"),
    [
        ({"slab_c": [20] * 4}, False, None), ({"slab_c": [10] * 4}, False, None),
        ({"slab_c": [20, 20, 8, 20]}, False, ("slab", 2.0, 8.0, 10.0, True)),
        ({"slab_c": [20, 33, 20, 20]}, False, ("slab", 1.0, 33.0, 30.0, False)),
        ({"slab_c": [20, 33, 20, 20]}, True, None),
        ({"slab_c": [20, 20, 8, 20]}, True, ("slab", 2.0, 8.0, 10.0, True)),
        # 2 K under for the slab, 3 for the air.
        ({"slab_c": [8] * 4, "air_c": [20, 20, 2, 20]}, False, ("air", 2.0, 2.0, 5.0, True)),
        ({"slab_c": [20] * 4, "store_c": 13.0}, False, ("mixed", 0.5, 13.0, 16.0, True)),
        ({"slab_c": [20] * 4, "store_c": 13.0, "kind": "slurry"}, False,
         ("material", 0.5, 13.0, 15.0, True)),
        ({"slab_c": [20] * 4, "store_c": 13.0, "kind": "slurry"}, True, None),
        # Looked at from 0:30 to 2:30.
        ({"slab_c": [9, 20, 20, 0]}, False, None),
        ({"slab_c": [20, 20, 10, 8]}, False, ("slab", 2.5, 9.0, 10.0, True)),
        ({"slab_c": [8, 10, 20, 20]}, False, ("slab", 0.5, 9.0, 10.0, True)),
    ],
)  # fmt: skip
def test_the_temperature_farthest_outside_its_limit(given, cures, breach):
    got = limits_over(**given).breach(START_S + 0.5 * H, START_S + 2.5 * H, cures=cures)
    if breach is None:
        assert got is None
        return
    what, at_h, temp_c, limit_c, cold = breach
    assert got.what == what
    assert (got.at_s - START_S) / H == pytest.approx(at_h)
    assert (got.temp_c, got.limit_c, got.cold) == (pytest.approx(temp_c), limit_c, cold)


@pytest.mark.parametrize(
    ("slab_c", "at_h", "window_h"),
    [
        ([20] * 5, 2, (None, None)), ([8, 12, 20, 20, 20], 2, (0.5, None)),
        ([20, 20, 20, 12, 8], 2, (None, 3.5)), ([8, 12, 12, 12, 8], 2, (0.5, 3.5)),
        ([9, 10, 20, 10, 9], 2, (1.0, 3.0)), ([20, 20, 9, 20, 20], 2, (2 + 1 / 6, 2 - 1 / 6)),
        ([10, 10, 10, 10, 10], 2, (None, None)),
        ([20, 20, 20, 20, 8], 4, (3 + 5 / 7, 3 + 5 / 7)),
        ([8, 20, 20, 20, 20], 0, (2 / 7, 2 / 7)), ([20, 28, 32, 32, 32], 0, (None, 1.5)),
    ],
)  # fmt: skip
def test_around_an_instant_the_temperatures_keep_their_limits_for_so_long(
    slab_c, at_h, window_h
):
    got = limits_over(slab_c, kind="slurry").window(START_S + at_h * H)
    found_h = tuple(None if s is None else (s - START_S) / H for s in got)
    assert found_h == pytest.approx(window_h)


# Doubt


FIT = KineticFit(
    activation_energy_j_mol=50e3, reference_c=21.0, ln_reference_s=np.array([6.9]),
    covariance=np.diag([1e8, 0.0]), residual_ln=np.zeros(1),
)  # fmt: skip


def test_factors_of_many_temperatures_by_hand():
    # At 31 °C: 10^4 J/mol times (1/294.15 - 1/304.15)/R = 0.134, and 50000/(R 304.15²) =
    # 0.065; with 0.1 all together 0.1796, which holds 84.13 % on one side.
    got = doubt.age_factors(
        np.array([31.0, 21.0]), fit=FIT, spread_frac=0.1, temp_sd_k=1.0, confidence=0.841345
    )
    assert got[0] == pytest.approx([np.exp(0.1796), np.exp(-0.1796)], rel=1e-3)
    assert got[1] == pytest.approx([np.exp(0.1217), np.exp(-0.1217)], rel=1e-3)


def test_doubt_of_what_cannot_be_is_refused():
    asked = {"fit": FIT, "spread_frac": 0.0, "temp_sd_k": 0.0}
    assert doubt.doubt_at(21.0, **asked).total == 0.0
    for wrong in ({"temp_c": -273.15}, {"spread_frac": -0.01}, {"temp_sd_k": -0.01}):
        given = {"temp_c": 21.0, **asked, **wrong}
        with pytest.raises(OutOfRangeError):
            doubt.doubt_at(given.pop("temp_c"), **given)


def test_a_rooms_answer_lasts_as_its_last_hour():
    answer = doubt.RoomAnswer(air=np.array([0.5, 0.25, 0.125]), slab=np.zeros(3))
    got = answer.after(np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 2.0, 0.0, 4.0]]), answer.air)
    assert got.tolist() == [[0.5, 0.25, 0.125, 0.125], [0.0, 1.0, 0.5, 2.25]]


def test_a_degree_outdoors_around_one_hour_is_all_of_it_in_the_open_and_none_in_held_air():
    job = read_job(demo_job_path("school-kitchen"))
    # A lag of two hours keeps, of a degree that comes within an hour, 1 - 2 (1 - e^-0.5).
    building = replace(job.building, lag_s=2 * H, below="ground")
    first = 1.0 - 2.0 * (1.0 - np.exp(-0.5))
    for climate, air_k in (("open", 1.0), ("held", 0.0), ("drifting", first)):
        room = replace(job.rooms[0], climate=climate)
        got = doubt.room_answer(room, building, hours=3)
        assert (got.air.size, got.slab.size) == (3, 3)
        assert got.air[0] == pytest.approx(air_k, abs=0.01)
        alone = doubt.room_answer(room, building, hours=1)
        assert (alone.air.tolist(), alone.slab.tolist()) == ([got.air[0]], [got.slab[0]])
        assert (got.slab[0] > 0.0) == (climate != "held")
    # Over open air a slab answers from below as well.
    over = replace(building, below="air")
    assert doubt.room_answer(replace(room, climate="held"), over, hours=3).slab[2] > 0.0


def test_errors_linger_and_fade_by_hand():
    got = doubt.lingering([[0.0, 1.0, 0.0]], step_s=H, e_fold_s=H)
    fresh = np.sqrt(1.0 - np.exp(-2.0))
    assert got == pytest.approx(np.array([[0.0, fresh, fresh / np.e]]))
    for step_s, e_fold_s in ((0.0, H), (H, 0.0)):
        with pytest.raises(OutOfRangeError):
            doubt.lingering([[0.0]], step_s=step_s, e_fold_s=e_fold_s)
    for normal, left in (([[1.0, 0.0]], [1.0]), ([1.0, 0.0], [1.0, 0.5])):
        with pytest.raises(OutOfRangeError):
            doubt.fading(normal, left)
    with pytest.raises(OutOfRangeError):
        doubt.room_answer(None, None, hours=0)


# Layers


def test_a_first_coat_waits_for_the_slurry_and_the_next_for_the_coat():
    found = layers.floor_layers(Made(topcoats=3), primed=False)
    coats = [layer for layer in found if layer.kind == "topcoat"]
    assert [layer.opens for layer in coats] == ["topcoat_opens", *["recoat_opens"] * 2]
    assert [layer.closes for layer in coats] == ["topcoat_closes", *["recoat_closes"] * 2]
    assert [layer.stage for layer in found] == ["pour", "vacuum", "coat 1", "coat 2", "coat 3"]


@pytest.mark.parametrize(("kits", "batches"), [(1.0, 1), (2.0, 2), (2.001, 3), (0.2, 1)])
def test_primer_and_coats_are_mixed_in_whole_batches(kits, batches):
    # A batch of a litre covers 10 m².
    room = Made(area_m2=10.0 * kits)
    card = Made(
        spread_m2_m3=1e4, batch_m3=0.001, mix_s=60.0, broadcast_kg_m2=1.0,
    )  # fmt: skip
    pace = Made(primer_m2_s=0.1, broadcast_m2_s=0.1, topcoat_m2_s=0.1)
    crew = Made(primer=2, topcoat=2)
    layer = Layer(kind="primer", crew="primer")
    primer = layers.primer_work(room, card, crew=crew, pace=pace, layer=layer, patches=2)
    assert primer.batches == batches
    # 20 s each m² by two: 10 s, and 60 of mixing.
    assert primer.duration_s == pytest.approx(60.0 + 100.0 * kits)
    assert primer.offset_s == pytest.approx([60.0, 60.0 + 50.0 * kits])
    assert primer.batch_s == pytest.approx(60.0 + 100.0 * min(1.0, kits))
    bare = Made(**{**vars(card), "broadcast_kg_m2": 0.0})
    rolled = layers.primer_work(room, bare, crew=crew, pace=pace, layer=layer, patches=2)
    assert rolled.duration_s == pytest.approx(60.0 + 50.0 * kits)
    coat = Made(**{**vars(card), "spread_m2_m3": lambda _: 1e4})
    work = layers.coat_work(room, coat, crew=crew, pace=pace, layer=layer, patches=2)
    assert work.batches == batches
    assert work.duration_s == pytest.approx(60.0 + 50.0 * kits)
    assert work.offset_s == pytest.approx([60.0, 60.0 + 25.0 * kits])


def test_what_leads_up_to_a_layer_waits_for_feet():
    def work(**more):
        layer = Layer(kind="topcoat", crew="topcoat", opens="o", closes="c", bears="feet")
        vacuum = Layer(kind="vacuum", crew="topcoat", bears="clean", leads=True)
        return Work(
            layer=replace(layer, **more), leads=(Lead(layer=vacuum, lasts_s=30.0),),
            duration_s=50.0, offset_s=np.array([10.0, 20.0]), batches=1, volume_m3=1.0,
            batch_s=1.0,
        )  # fmt: skip

    below = {"o": [100.0, 120.0], "c": [300.0, 250.0], "feet": [90.0, 95.0], "clean": [60, 65]}

    def starts(one, **more):
        when = {name: np.array(at) for name, at in {**below, **more}.items()}
        return tuple(float(at) for at in layers.starts_over(when.__getitem__, one))

    assert starts(work()) == (100.0, 230.0)
    # Feet at 110 for the coat itself; for the vacuum, which begins 30 s sooner, at 90.
    assert starts(work(), feet=[110.0, 90.0]) == (110.0, 230.0)
    assert starts(work(), clean=[90.0, 0.0]) == (120.0, 230.0)
    for lacks in ({"opens": None}, {"closes": None}):
        with pytest.raises(AssertionError):
            starts(work(**lacks))


def test_a_clock_that_ends_early_counts_the_part_of_the_film_behind_it():
    # Ages run with the clock. A film that gathers -240 s over 4 h and all of it by then.
    nodes = np.linspace(0.0, -240.0, layers.film_age_after_s.__globals__["FLOOR_ROOT_S05"].size)
    landed = layers.Landed(
        pour_s=np.array([1000.0]), pour_age_s=np.array([100.0]), film_age_s=nodes[None, :]
    )
    curve = Made(when=lambda *, start_s, age_s: start_s + age_s, last_s=1e6)
    late = layers.landed_when_s(landed, 50_000.0, curve=curve)
    assert late == pytest.approx([1000.0 + 50_000.0 - 100.0 + 240.0])
    early = layers.landed_when_s(landed, 1000.0, curve=curve)
    gathered = float(early[0]) - (1000.0 + 1000.0 - 100.0)
    assert 0.0 < gathered < 240.0
    assert gathered == pytest.approx(
        -layers.film_age_after_s(early - 1000.0, nodes[None, :])[0], abs=0.2
    )


# Rhythm


def ends(met, **more):
    given = {"strip_s": np.full(3, 2.0), "broadcast_s": np.full(3, 6.0), **more}
    smoothed_s = np.array([10.0, 20.0, 30.0])
    return layout.broadcast_ends_s(smoothed_s, np.array(met), **given).tolist()


def test_strips_have_their_grains_before_the_patch_that_meets_them():
    assert ends([1, -1, -1]) == [22.0, 28.0, 36.0]
    assert ends([2, 2, -1]) == [32.0, 34.0, 40.0]
    assert ends([-1, -1, -1]) == [16.0, 26.0, 36.0]
    # Hands that are still at the first when the second is smooth.
    assert ends([-1, -1, -1], broadcast_s=np.array([15.0, 6.0, 6.0])) == [25.0, 31.0, 37.0]


def test_hands_that_do_other_things_come_at_their_turns():
    turns_s = np.array([10.0, 25.0, 40.0])
    # 4 s at the first from 10 on, its strip at 40; 6 s at the second from 25 on.
    assert ends([2, -1, -1], turns_s=turns_s) == [42.0, 31.0, 48.0]
    # From 25 to 31 the strip and two thirds of the second, whose rest comes at 40.
    assert ends([1, -1, -1], turns_s=turns_s) == [27.0, 42.0, 48.0]
    # A turn that is over before they are free again is lost.
    assert ends([-1, -1, -1], turns_s=np.array([15.0, 12.0, 50.0])) == [21.0, 56.0, 62.0]


def floor_of_four(**more):
    given = {
        "room": "Bar", "bays": 2, "bay_width_m": 2.0, "kits_per_bay": 2, "buckets_per_row": 1,
        "row_depth_m": 1.0, "area_per_bucket_m2": 2.0, "thickness_m": 0.004,
        "slurry_needed_m3": 0.04,
    }  # fmt: skip
    return layout.PourLayout(**{**given, **more})


@pytest.mark.parametrize(("turn_s", "lost_s"), [(200.0, 200.0), (200.1, 300.0), (0.0, 0.0)])
def test_shared_hands_lose_whole_rounds_at_a_turn(turn_s, lost_s):
    shared = Made(rake_at_s=60.0, smooth_at_s=75.0, broadcast_at_s=90.0)
    cadence = layout.Cadence(
        interval_s=100.0, limit="rake", mixing_s=40.0, haul_s=10.0, rake_s=20.0, smooth_s=30.0,
        broadcast_s=40.0, strip_s=5.0, shared=shared,
    )  # fmt: skip
    card = Made(liquids_mix_s=15.0, filler_mix_s=25.0)
    times = layout.relative_times(floor_of_four(), card, cadence, stations=2, bay_turn_s=turn_s)
    liquids = np.array([0.0, 100.0, 200.0 + lost_s, 300.0 + lost_s])
    assert times.liquids_in_s == pytest.approx(liquids)
    assert times.pour_s == pytest.approx(liquids + 50.0)
    assert times.raked_s == pytest.approx(liquids + 80.0)
    assert times.smoothed_s == pytest.approx(liquids + 105.0)
    assert times.tied_in_s == pytest.approx(
        [180.0, np.nan, liquids[3] + 80.0, np.nan], nan_ok=True
    )
    # Smooth at 105; of its 35 s the turn from 90 to 130 leaves 10 for the next, at 205, and
    # then comes its strip.
    assert times.broadcast_s[0] == pytest.approx(205.0 + 10.0 + 5.0)
    alone = replace(cadence, shared=None)
    plain = layout.relative_times(floor_of_four(), card, alone, stations=2, bay_turn_s=turn_s)
    assert plain.liquids_in_s == pytest.approx([0.0, 100.0, 200.0 + turn_s, 300.0 + turn_s])
    assert plain.smoothed_s - plain.liquids_in_s == pytest.approx([100.0] * 4)


def test_the_ends_of_a_floor_that_is_turned_and_has_a_short_leg():
    # Rows of a metre along y, turned by a quarter: along -x of the site. The first bay is
    # begun half a row behind the second, or a little more.
    def patches(*low_m):
        return tuple(
            (tuple((-y, x) for x, y in ((0, low), (1, low), (1, low + 1), (0, low + 1))),)
            for low in low_m
        )

    for late_m, first in ((0.5, [0, 2]), (0.6, [2])):
        cut = Made(
            bay=np.array([0, 0, 1, 1]), row=np.array([0, 1, 0, 1]),
            patches=patches(late_m, 1 + late_m, 0, 1),
        )  # fmt: skip
        one = floor_of_four(cut=cut)
        room = Made(outline=Made(turn_rad=np.pi / 2))
        begins, reaches = layout.ends_of(one, room)
        assert begins.tolist() == first
        assert reaches.tolist() == ([1, 3] if late_m == 0.5 else [1])


def test_a_floor_cut_to_its_shape_is_as_thick_as_a_plain_one(monkeypatch):
    cut = Made(
        bays=1, front_m=4.0, bay=np.array([0, 0]), buckets_per_row=1, row_depth_m=1.0,
        area_m2=np.array([3.0, 4.0]),
    )  # fmt: skip
    monkeypatch.setattr(layout, "cut_outline", lambda *_, **__: cut)
    job = Made(
        cards=Made(slurry=Made(mixed_yield_m3=0.01)), pace=Made(row_depth_min_m=0.6),
        materials=Made(laid_m=0.0035),
    )  # fmt: skip
    room = Made(name="Bar", area_m2=7.0, edge_m=11.0)
    got = layout._cut_to_shape(room, Made(), job, bays=1, needed_m3=0.02)
    assert got.thickness_m == pytest.approx(0.0035)
    assert (got.kits, got.kits_per_bay, got.area_per_bucket_m2) == (2, 2, 4.0)


# Ice


def test_liquids_that_are_cold_enough_need_no_ice(slurry_card):
    bath = IceBath(cooler_loss=0.2, water_m3=0.01, water_c=15.0)
    for from_c in (10.0, 9.0):
        need = ice_need(slurry_card, from_c=from_c, to_c=10.0, bath=bath)
        assert (need.ice_per_kit_kg, need.for_water_kg, need.standing_s) == (0.0, 0.0, 0.0)


def test_one_limit_is_that_of_a_layers_own_card():
    cards = Made(slurry=Made(limits=1), topcoat=Made(limits=2), primer=Made(limits=3))
    found = {
        kind: limits.limits_of(Made(cards=cards), Made(kind=kind))
        for kind in ("slurry", "topcoat", "primer", "vacuum")
    }
    assert found == {"slurry": 1, "topcoat": 2, "primer": 3, "vacuum": 2}
    bare = Made(**{**vars(cards), "primer": None})
    assert limits.limits_of(Made(cards=bare), Made(kind="primer")) == 2


def test_heaters_warm_a_room_by_the_calendar_and_not_by_hours_since_the_weather_begins():
    job = read_job(demo_job_path("school-kitchen"))
    heat = Heat(to_c=15.0, from_at=datetime.fromtimestamp(START_S + 30 * H, UTC), runs=True)
    room = replace(job.rooms[0], heat=heat, climate="open", sun_patch=None, slab_reading=None)
    hours = np.arange(48)
    series = HourlySeries(
        epoch_s=START_S + H * hours, temp_c=np.full(48, 5.0), dew_c=np.full(48, 0.0),
        cloud_frac=np.full(48, np.nan), origin=np.zeros(48, dtype=int),
        origins=(WeatherOrigin(label="by hand", kind="file", licence="", attribution=""),),
    )  # fmt: skip
    found = conditions.room_conditions(replace(job, rooms=(room,)), series)[room.name]
    air_c = np.interp(START_S + H * hours, found.epoch_s, found.air_c)
    assert air_c[:30] == pytest.approx(np.full(30, 5.0))
    assert air_c[31:] == pytest.approx(np.full(17, 15.0))
    # The slab goes after the air, and only then.
    slab_c = np.interp(START_S + H * hours, found.epoch_s, found.slab_c)
    assert slab_c[47] > slab_c[29] + 1.0
