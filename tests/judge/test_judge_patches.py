"""Patches of floors drawn by hand: areas, edges, bays, and which melts into which."""

from __future__ import annotations

import math
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import NIGHT_S, floor_of

from cureplan.inputs.job.model import Outline
from cureplan.judge import case, outlines
from cureplan.judge.case import Case, Floor


def box(x: float, y: float, wide: float, deep: float) -> tuple[tuple[float, float], ...]:
    return ((x, y), (x + wide, y), (x + wide, y + deep), (x, y + deep))


def room_of(*, islands=(), back_wall=(0, 1)) -> Outline:
    """A room of 4 m by 3 m on its back wall."""
    return Outline(
        corners_m=box(0.0, 0.0, 4.0, 3.0), islands_m=islands, stop_lines_m=(),
        back_wall=back_wall,
    )  # fmt: skip


HALVES = ((box(0.0, 0.0, 4.0, 1.5),), (box(0.0, 1.5, 4.0, 1.5),))


def test_walls_and_islands_have_edges():
    assert outlines.edge_m(room_of()) == pytest.approx(14.0)
    # An island of 1 m by half a metre, inside.
    assert outlines.edge_m(room_of(islands=(box(1, 1, 1, 0.5),))) == pytest.approx(17.0)


def test_a_patch_is_all_of_its_rings_that_have_an_area():
    # 6 m², and a triangle of 1.5 m² beside it; a ring of two corners is a line.
    pieces = (box(0, 0, 4, 1.5), ((5, 0), (6, 0), (5, 3)), ((7, 0), (8, 0)))
    assert outlines.patch_areas_m2((pieces, HALVES[1])) == pytest.approx([7.5, 6.0])


def test_a_bay_has_the_area_of_its_patches():
    patches = (*HALVES, (box(0, 0, 1, 1),))
    assert outlines.bay_areas_m2(patches, (1, 2, 1)) == pytest.approx({1: 7.0, 2: 6.0})
    assert outlines.bay_areas_m2(patches[:1], (1, 2, 1)) == pytest.approx({1: 6.0, 2: 0.0})


@pytest.mark.parametrize(
    ("back_wall", "begins_m", "ends_m"),
    [
        ((0, 1), [0.0, 1.5], [1.5, 3.0]), ((1, 0), [0.0, 1.5], [1.5, 3.0]),
        ((2, 3), [1.5, 0.0], [3.0, 1.5]), ((3, 2), [1.5, 0.0], [3.0, 1.5]),
        ((1, 2), [0.0, 0.0], [4.0, 4.0]),
    ],
)  # fmt: skip
def test_patches_lie_as_far_from_the_back_wall_named_either_way(back_wall, begins_m, ends_m):
    found = outlines.along_m(room_of(back_wall=back_wall), HALVES)
    assert [part.tolist() for part in found] == [begins_m, ends_m]


def test_patches_lie_as_far_from_a_slanted_wall_away_from_the_corner():
    # A square of 5 m on a wall from 10/20 to 13/24, cut half-way: a triangle of 3, 4 and 5.
    def moved(*corners):
        return tuple((x + 10.0, y + 20.0) for x, y in corners)

    outline = Outline(
        corners_m=moved((0, 0), (3, 4), (-1, 7), (-4, 3)), islands_m=(), stop_lines_m=(),
        back_wall=(0, 1),
    )  # fmt: skip
    near, far = (
        moved((0, 0), (3, 4), (1, 5.5), (-2, 1.5)), moved((-2, 1.5), (1, 5.5), (-1, 7), (-4, 3))
    )  # fmt: skip
    begins_m, ends_m = outlines.along_m(outline, ((near,), (far,)))
    assert begins_m == pytest.approx([0.0, 2.5])
    assert ends_m == pytest.approx([2.5, 5.0])


@pytest.mark.parametrize(
    ("patches", "bays", "found"),
    [
        (HALVES, (1, 1), []),
        (HALVES[:1], (1, 1), [("1 patches for 2 buckets", 2.0)]),
        ((*HALVES, HALVES[0]), (1, 1), [("3 patches for 2 buckets", 2.0)]),
        # 12 m²: of bare, outside or twice covered floor, 0.048 are let pass.
        (((box(0, 0, 4, 1.5),), (box(0, 1.52, 4, 1.48),)), (1, 2),
         [("floor that no bucket covers", 0.068)]),
        (((box(0, 0, 4, 1.5),), (box(0, 1.51, 4, 1.49),)), (1, 2), []),
        (((box(0, 0, 4, 1.5),), (box(0, 1.5, 4, 1.52),)), (1, 2),
         [("buckets outside the outline or on an island", 0.068)]),
        (((box(0, 0, 4, 1.5),), (box(0, 1.5, 4, 1.51),)), (1, 2), []),
        (((box(0, 0, 4, 1.5),), (box(0, 1.485, 4, 1.515),)), (1, 2),
         [("floor that two buckets cover", 0.06)]),
        (((box(0, 0, 4, 1.5),), (box(0, 1.49, 4, 1.51),)), (1, 2), []),
    ],
)  # fmt: skip
def test_patches_cover_the_floor_once(patches, bays, found):
    said = list(outlines.misfits_m2(room_of(), patches, bays))
    assert [what for what, _ in said] == [what for what, _ in found]
    assert [off for _, off in said] == pytest.approx([off for _, off in found], abs=2e-3)


def test_a_floor_without_an_outline_has_no_patches_to_hold_it_against():
    found = list(outlines.misfits_m2(None, HALVES, (1, 1)))
    assert found == [("2 patches for 2 buckets", 2.0)]


def test_just_as_much_as_is_let_pass_is_let_pass(monkeypatch):
    # Sixteen square metres of which an eighth, two, lie twice under patches, or a bit more.
    square = Outline(corners_m=box(0, 0, 4, 4), islands_m=(), stop_lines_m=(), back_wall=(0, 1))
    monkeypatch.setattr(outlines, "COVER_TOL_FRAC", 0.125)
    for deep, found in ((2.5, []), (2.75, ["floor that two buckets cover"])):
        patches = ((box(0, 0, 4, 2),), (box(0, 4 - deep, 4, deep),))
        assert [what for what, _ in outlines.misfits_m2(square, patches, (1, 2))] == found


@pytest.mark.parametrize(
    ("deep", "found"),
    [
        # Two patches of a bay of 12 m², 6 each: within a fiftieth and half a square decimetre.
        (1.5, []), (1.531, []), (1.5315, [6.126, 5.874]), (1.469, []), (1.46, [5.84, 6.16]),
    ],
)  # fmt: skip
def test_patches_of_a_bay_are_equal_shares_of_it(deep, found):
    patches = ((box(0, 0, 4, deep),), (box(0, deep, 4, 3 - deep),))
    said = list(outlines.misfits_m2(room_of(), patches, (1, 1)))
    assert [what for what, _ in said] == [
        f"bucket {number} covers {area:.2f} m2" for number, area in enumerate(found, start=1)
    ]
    assert [off for _, off in said] == pytest.approx([abs(area - 6.0) for area in found])
    # Bays of one patch each are their own shares.
    assert list(outlines.misfits_m2(room_of(), patches, (1, 2))) == []


def test_a_share_may_be_off_by_all_that_is_let_pass(monkeypatch):
    monkeypatch.setattr(outlines, "SHARE_TOL_FRAC", 0.245 / 6.0)
    for deep, count in ((1.5625, 0), (1.5635, 2)):
        patches = ((box(0, 0, 4, deep),), (box(0, deep, 4, 3 - deep),))
        assert len(list(outlines.misfits_m2(room_of(), patches, (1, 1)))) == count


@pytest.mark.parametrize(
    ("patches", "bays", "rows", "partners"),
    [
        (HALVES, (1, 1), (1, 2), (1, None)),
        (HALVES, (1, 1), (2, 1), (None, 0)),
        (HALVES, (1, 1), (1, 1), (None, None)),
        (HALVES, (1, 2), (1, 2), (None, None)),
        # Patches a metre apart share nothing, and of a corner a hair.
        ((HALVES[0], (box(0, 2.5, 4, 0.5),)), (1, 1), (1, 2), (None, None)),
        ((HALVES[0], (box(4.0, 1.5, 4, 1.5),)), (1, 1), (1, 2), (None, None)),
        # Of two that it touches the last; a single patch for two buckets meets none.
        ((HALVES[0], (box(0, 1.5, 2, 1.5),), (box(2, 1.5, 2, 1.5),)), (1, 1, 1), (1, 2, 3),
         (2, 2, None)),
        ((HALVES[0], (box(0, 1.5, 2, 1.5),), (box(2, 1.5, 2, 1.5),)), (1, 1, 1), (1, 2, 2),
         (2, None, None)),
        (HALVES[:1], (1, 1), (1, 2), (None, None)),
        (HALVES[:1], (1, 1), (2, 1), (None, None)),
    ],
)  # fmt: skip
def test_a_patch_melts_into_the_last_of_the_later_rows_it_touches(
    patches, bays, rows, partners
):
    assert outlines.partners(patches, bays, rows) == partners


@pytest.mark.parametrize(("wide_m", "met"), [(0.03, True), (0.01, False)])
def test_patches_that_share_less_than_two_centimetres_do_not_melt(wide_m, met):
    patches = (HALVES[0], (box(4 - wide_m, 1.5, 4, 1.5),))
    assert outlines.partners(patches, (1, 1), (1, 2)) == (1 if met else None, None)


def test_rows_of_a_rectangle_are_drawn_bay_after_bay():
    # Two bays of 2 m; the first of a row of two and a row of one, the other of one row of 3.
    rings = [
        box(0, 0, 1, 2), box(1, 0, 1, 2), box(0, 2, 2, 1),
        box(2, 0, 2 / 3, 3), box(2 + 2 / 3, 0, 2 / 3, 3), box(2 + 4 / 3, 0, 2 / 3, 3),
    ]  # fmt: skip
    size = {"length_m": 3.0, "width_m": 4.0, "counts": [[2, 1], [3]]}
    whole = [[ring] for ring in rings]
    assert outlines.rectangle_off_m(whole, **size) == pytest.approx(0.0, abs=1e-9)
    # A patch of two pieces, or of three corners, is none of a rectangle's.
    torn = [*whole[:-1], [rings[-1], rings[-1]]]
    assert outlines.rectangle_off_m(torn, **size) == 4.0
    assert outlines.rectangle_off_m([*whole[:-1], [rings[-1][:3]]], **size) == 4.0


# How a floor is read


def bucket(minute: float, *, chilled: bool = False) -> Made:
    return Made(chilled=chilled, at_s=NIGHT_S + 60.0 * minute)


def kits_of(*, remedies=(), storage_c=None, measured_c=None):
    """Two buckets, the second chilled, of 180 s of liquids, 90 of filler and 60 of haul."""
    materials = Made(
        storage_c=storage_c, liquids_measured_c=measured_c, iced_c=3.0, cool_filler_c=15.0
    )
    card = Made(liquids_mix_s=180.0, filler_mix_s=90.0)
    job = Made(cards=Made(slurry=card), pace=Made(haul_s=60.0), materials=materials)
    liquids_s = NIGHT_S + np.array([0.0, 600.0])
    planned = Made(
        liquids_s=liquids_s, filler_s=liquids_s + np.array([180.0, 900.0]),
        pour_s=liquids_s + np.array([330.0, 1400.0]),
    )  # fmt: skip
    hours = Made(
        air=lambda at_s: 20.0 + (at_s - NIGHT_S) / 600.0, slab=lambda at_s: 18.0 + 0 * at_s,
        humidity=lambda at_s: 0.5 + (at_s - NIGHT_S) / 6600.0,
    )  # fmt: skip
    judged = Made(plan=Made(job=job, night=None), slurry=Made(pace=lambda share: 2 * share))
    room = Made(room="Bar", remedies=remedies)
    buckets = (Made(chilled=False), Made(chilled=True))
    return case._kits(judged, room, buckets, planned, hours)


def test_a_kit_takes_the_stages_that_are_planned_up_to_three_times_their_own():
    kits = kits_of()
    # 900 s of liquids and 410 of haul are cut at thrice 180 and 60.
    assert kits.liquids_s.tolist() == [180.0, 540.0]
    assert kits.filler_s.tolist() == [90.0, 90.0]
    assert kits.haul_s.tolist() == [60.0, 180.0]
    assert kits.air_c.tolist() == [20.0, 21.0]
    assert kits.slab_c.tolist() == [18.0, 18.0]
    # In the air of its pour, at 330 and 2000 s.
    assert kits.pace == pytest.approx([1.1, 1.0 + 4000 / 6600])


@pytest.mark.parametrize(
    ("given", "liquids_c", "filler_c"),
    [
        ({}, [20.0, 3.0], [20.0, 21.0]),
        ({"storage_c": 24.0}, [24.0, 3.0], [24.0, 24.0]),
        ({"measured_c": 6.0}, [20.0, 6.0], [20.0, 21.0]),
        ({"remedies": ("cool filler",)}, [20.0, 3.0], [15.0, 15.0]),
    ],
)
def test_liquids_and_filler_are_as_warm_as_they_are_kept(given, liquids_c, filler_c):
    kits = kits_of(**given)
    assert (kits.liquids_c.tolist(), kits.filler_c.tolist()) == (liquids_c, filler_c)


def test_clocks_of_a_bucket_end_after_its_filler():
    ref_s = {
        "wet_edge": 100.0, "working_time": 200.0, "broadcast_closes": 300.0, "feet": 9.0
    }  # fmt: skip
    judged = Made(slurry=Made(ref_s=ref_s))
    runs = Made(reached=lambda age_s: np.array([age_s, 2 * age_s]))
    ends_s = case._ends(judged, runs, Made(filler_s=np.array([1000.0, 2000.0])))
    assert {name: at.tolist() for name, at in ends_s.items()} == {
        "wet_edge": [1100.0, 2200.0], "working_time": [1200.0, 2400.0],
        "broadcast_closes": [1300.0, 2600.0],
    }  # fmt: skip


def test_a_floor_has_its_own_primers_and_coats_and_is_read_where_it_has_hours(monkeypatch):
    def bare(number):
        return Made(number=number, bay=1, row=1)

    buckets = {"Bar": [bare(2), bare(1)], "Hall": [bare(1)], "Store": [], "Office": [bare(1)]}
    rooms = [Made(room=name, buckets_per_row=1) for name in buckets]
    layers = [Made(room=name) for name in ("Bar", "Hall", "Bar")]
    job = Made(
        room=lambda name: Made(name=name, outline=None, slab_reading=name == "Office" or None),
        site=Made(zone=None),
    )
    plan = Made(
        rooms=rooms, buckets_of=lambda name: buckets[name], hours={"Hall": None}, job=job,
        primers=layers[1:], coats=layers,
    )  # fmt: skip
    monkeypatch.setattr(case, "room_hours", lambda hours, name: hours.get(name, "hours"))
    planned = Made(liquids_s=np.array([NIGHT_S]))
    monkeypatch.setattr(case, "_planned", lambda _: planned)
    monkeypatch.setattr(case, "_kits", lambda *_: Made(slab_c=None))
    monkeypatch.setattr(case, "run_kits", lambda model, _: model.age_factor)
    monkeypatch.setattr(case, "replace", lambda model, **new: Made(**{**vars(model), **new}))
    monkeypatch.setattr(case, "_ends", lambda _, runs, __: runs)
    judged = Made(
        plan=plan, slurry=None,
        age_factor=lambda *given: {"lenient": 1.5, "strict": 2.0}[given[-1]],
    )  # fmt: skip
    bar, office = case._floors(judged, Made(age_factor=1.0))
    assert (bar.name, office.name) == ("Bar", "Office")
    assert (len(bar.primers), len(bar.coats)) == (1, 2)
    assert (len(office.primers), len(office.coats)) == (0, 0)
    assert [each.number for each in bar.buckets] == [1, 2]
    assert bar.partner == (1, None)
    # Only a slab that was read leaves room between the two.
    assert (bar.ends_s, bar.fast_ends_s) == (1.0, {"lenient": 1.5, "strict": 1.5})
    assert office.fast_ends_s == {"lenient": 1.5, "strict": 2.0}


def test_a_card_is_read_at_the_thickness_that_is_laid_and_at_the_odds_that_are_held(
    monkeypatch,
):
    given = {}

    def calibrate(_, *, thickness_m):
        given["thickness_m"] = thickness_m
        return Made(rate="slurry's")

    monkeypatch.setattr(case, "calibrate", calibrate)
    monkeypatch.setattr(case, "read_card", lambda prior, _: prior)
    monkeypatch.setattr(case, "_floors", lambda _, __: ["a floor"])
    cards = Made(
        slurry=None, topcoat=Made(prior="topcoat's", milestones=None),
        primer=Made(prior="primer's", milestones=None),
    )  # fmt: skip
    materials = Made(thickness_m=0.005, profile_allowance_m=0.001)
    plan = Made(
        job=Made(cards=cards, materials=materials), night=None, decisions=Made(held_frac=0.5)
    )
    read = case.read_case(plan)
    assert given["thickness_m"] == pytest.approx(0.006)
    assert (read.slurry, read.topcoat, read.primer) == ("slurry's", "topcoat's", "primer's")
    assert (read.quantile, read.floors) == (0.0, ("a floor",))
    cards.primer = None
    assert case.read_case(plan).primer is None


@pytest.mark.parametrize(
    ("bound", "read", "sd_k"),
    [("lenient", True, 0.5), ("strict", True, 2.0), ("lenient", False, 2.0),
     ("strict", False, 2.0)],
)  # fmt: skip
def test_only_the_lenient_bound_takes_a_reading_as_still_fresh(bound, read, sd_k):
    floor = floor_of(
        room=Made(slab_reading=Made() if read else None), hours=Made(slab=lambda _: 17.0)
    )
    judged = Case(
        plan=Made(risk=Made(slab_sd_k=2.0)), slurry=None, topcoat=None, primer=None,
        quantile=2.0, floors=(floor, Made(name="Hall")),
    )  # fmt: skip
    rate = Made(doubt_frac=lambda temp_c, *, temp_sd_k: temp_c * temp_sd_k / 100)
    assert judged.doubt_frac(rate, floor, NIGHT_S, bound) == pytest.approx(0.17 * sd_k)
    factor = judged.age_factor(rate, floor, NIGHT_S, bound)
    assert factor == pytest.approx(math.exp(2 * 0.17 * sd_k))
    assert judged.floor("Hall") is judged.floors[1]
    assert judged.floor("Bar") is floor
    assert judged.floor("Store") is None


def test_a_night_runs_a_bucket_at_the_speed_it_states():
    # A quarter faster: less age by each end, and as much heat in less age.
    model = case.KitModel(
        card=None, rate=rate_of(), liquids_j_k=1.0, kit_j_k=2.0, heat_j=100.0, film=None,
        roots=None,
    )  # fmt: skip
    assert case._as_seen(model, None) is model
    night = Made(rate_factor=1.25, card_doubt_frac=0.5, batch_doubt_frac=0.25)
    seen = case._as_seen(model, night)
    assert seen.heat_j == 125.0
    assert seen.rate.ref_s == {"wet_edge": 800.0}
    assert (seen.rate.energy_sd_j_mol, seen.rate.batch_frac) == (2500.0, 0.025)


def rate_of():
    return case.CardRate(
        ref_c=21.0, energy_j_mol=50e3, energy_sd_j_mol=5e3, batch_frac=0.1,
        ref_s={"wet_edge": 1000.0},
    )  # fmt: skip


def test_a_pour_ends_with_its_last_smoothing_or_grains_or_where_the_plan_says():
    planned = Made(
        smoothed_s=np.array([10.0, 20.0]), broadcast_s=np.array([15.0, 18.0]),
        tied_s=np.array([12.0, math.nan]), liquids_s=np.array([5.0, 1.0]),
    )  # fmt: skip
    floor = Made(planned=planned, partner=(1, None))
    floor.met_elsewhere = Floor.met_elsewhere.fget(floor)
    assert floor.met_elsewhere.tolist() == [False, False]
    assert Floor.ends_pour_s.fget(floor) == 20.0
    assert Floor.begins_s.fget(floor) == 1.0
