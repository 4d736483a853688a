"""Kits, bays, clocks and margins of a floor made up by hand, at both sides of each limit."""

from __future__ import annotations

import math
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import NIGHT_S, floor_of

from cureplan.judge import bucket_rules, outlines
from cureplan.judge.case import Floor

SLURRY = Made(mixed_yield_m3=0.006)

# Kits, bays and shapes


@pytest.mark.parametrize(
    ("numbers", "kits", "off_by"),
    [
        ((1, 2, 3), 3, None), ((1, 2, 4), 3, 1.0), ((2, 3, 4), 3, 1.0), ((1, 2, 3), 5, 2.0),
        ((1, 2, 3), 2, 1.0), ((1, 2, 3), 4, 1.0), ((2, 1, 3), 3, 1.0),
    ],
)  # fmt: skip
def test_buckets_are_numbered_from_one_without_a_hole(monkeypatch, numbers, kits, off_by):
    for name in ("_check_bays", "_check_shape"):
        monkeypatch.setattr(bucket_rules, name, lambda *_: ())
    floor = floor_of(plan=Made(kits=kits))
    floor.buckets = [Made(number=number) for number in numbers]
    found = [each.off_by for each in bucket_rules.check_kits(Made(floors=(floor,)))]
    assert found == ([] if off_by is None else [off_by])


def bays_of(*bays: int, planned: int, area_m2: float = 10.0, waste: float = 0.0) -> list:
    """What is found of buckets in these bays; ten of 6 L cover 10 m² of 5 + 1 mm."""
    materials = Made(thickness_m=0.005, profile_allowance_m=0.001, waste=waste)
    case = Made(plan=Made(job=Made(materials=materials, cards=Made(slurry=SLURRY))))
    floor = floor_of(room=Made(area_m2=area_m2, outline=None), plan=Made(bays=planned))
    floor.buckets = [Made(bay=bay) for bay in bays]
    return [*bucket_rules._check_bays(case, floor)]


@pytest.mark.parametrize(
    ("bays", "planned", "off_by"),
    [
        ((1,) * 5 + (2,) * 5, 2, None), ((1,) * 5 + (2,) * 5, 1, 1.0),
        ((1,) * 5 + (2,) * 5, 4, 2.0), ((1,) * 5 + (2,) * 5, 3, 1.0),
        ((2,) * 5 + (1,) * 5, 2, 1.0), ((2,) * 5 + (3,) * 5, 2, 1.0),
        ((1,) * 5 + (3,) * 5, 2, 1.0), ((1,) * 10, 1, None),
    ],
)  # fmt: skip
def test_buckets_fill_one_bay_after_the_other(bays, planned, off_by):
    found = [each.off_by for each in bays_of(*bays, planned=planned) if each.unit == "count"]
    assert found == ([] if off_by is None else [off_by])


@pytest.mark.parametrize(
    ("bays", "waste", "short_m3"),
    [
        # Half of 60 L for each bay.
        ((1,) * 5 + (2,) * 5, 0.0, []),
        ((1,) * 6 + (2,) * 4, 0.0, [0.006]),
        ((1,) * 5 + (2,) * 5, 0.1, [0.003, 0.003]),
        ((1,) * 6 + (2,) * 5, 0.1, [0.003]),
        ((1,) * 6 + (2,) * 6, 0.2, []),
    ],
)
def test_each_bay_has_kits_for_its_share_of_the_floor(bays, waste, short_m3):
    found = bays_of(*bays, planned=2, waste=waste)
    assert [each.off_by for each in found] == pytest.approx(short_m3)


def test_kits_may_lack_what_rounding_takes(monkeypatch):
    # 8 m² of 1/128 m are 1/16 m³, eight kits of 1/128: where a quarter is let pass, six do.
    monkeypatch.setattr(bucket_rules, "VOLUME_TOL_FRAC", 0.25)
    for kits, short_m3 in ((6, []), (5, [3 / 128])):
        materials = Made(thickness_m=1 / 128, profile_allowance_m=0.0, waste=0.0)
        slurry = Made(mixed_yield_m3=1 / 128)
        case = Made(plan=Made(job=Made(materials=materials, cards=Made(slurry=slurry))))
        floor = floor_of(room=Made(area_m2=8.0, outline=None), plan=Made(bays=1))
        floor.buckets = [Made(bay=1)] * kits
        found = [each.off_by for each in bucket_rules._check_bays(case, floor)]
        assert found == short_m3


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, None),
        ({"thickness_m": 0.0060009}, None),
        ({"thickness_m": 0.0060011}, "thickness is 0.0060 m"),
        ({"thickness_m": 0.0059}, "thickness is 0.0059 m, it should be 0.0060 m"),
        # Rows of two buckets of 2 m² over a bay of 2 m: 2 m deep.
        ({"row_depth_m": 2.0009}, None),
        ({"row_depth_m": 2.0011}, "row depth"),
        ({"row_depth_m": 1.5}, "row depth is 1.5000 m, it should be 2.0000 m"),
        ({"area_m2": 20.0036}, None),
        ({"area_m2": 20.0044}, "area over width"),
        ({"area_m2": 18.0}, "area over width is 4.5000 m, it should be 5.0000 m"),
    ],
)
def test_thickness_rows_and_area_are_those_of_the_job(monkeypatch, changed, said):
    monkeypatch.setattr(bucket_rules, "_check_rectangle", lambda _: ())
    plan = {
        "thickness_m": 0.006, "row_depth_m": 2.0, "area_m2": 20.0, "bays": 2,
        "buckets_per_row": 2, **changed,
    }  # fmt: skip
    materials = Made(thickness_m=0.005, profile_allowance_m=0.001)
    floor = floor_of(
        room=Made(outline=None, width_m=4.0, length_m=5.0), plan=Made(**plan),
        bucket_area_m2=np.full(10, 2.0),
    )  # fmt: skip
    found = [*bucket_rules._check_shape(Made(plan=Made(job=Made(materials=materials))), floor)]
    assert [said in each.what for each in found] == ([] if said is None else [True])
    if changed == {"row_depth_m": 1.5}:
        assert found[0].off_by == 0.5


def test_a_length_may_be_off_by_all_of_its_tolerance(monkeypatch):
    monkeypatch.setattr(bucket_rules, "_check_rectangle", lambda _: ())
    monkeypatch.setattr(bucket_rules, "DEPTH_TOL_M", 0.25)
    materials = Made(thickness_m=0.005, profile_allowance_m=0.001)
    case = Made(plan=Made(job=Made(materials=materials)))
    for depth_m, count in ((2.25, 0), (1.75, 0), (2.5, 1)):
        plan = Made(
            thickness_m=0.006, row_depth_m=depth_m, area_m2=20.0, bays=2, buckets_per_row=2
        )
        room = Made(outline=None, width_m=4.0, length_m=5.0)
        floor = floor_of(room=room, plan=plan, bucket_area_m2=np.full(10, 2.0))
        assert len([*bucket_rules._check_shape(case, floor)]) == count


def test_patches_of_a_rectangle_are_counted_by_bay_and_row(monkeypatch):
    given = {}

    def off(patches, **more):
        given.update(more)
        return patches

    monkeypatch.setattr(outlines, "rectangle_off_m", off)
    places = ((1, 1), (1, 1), (1, 2), (2, 1), (2, 2), (2, 2), (2, 2))
    for off_m, found in ((0.002, 0), (0.0021, 1)):
        floor = floor_of(room=Made(length_m=5.0, width_m=4.0), plan=Made(patches=off_m))
        floor.buckets = [Made(bay=bay, row=row) for bay, row in places]
        assert len([*bucket_rules._check_rectangle(floor)]) == found
    assert given == {"length_m": 5.0, "width_m": 4.0, "counts": [[2, 1], [1, 3]]}


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        ((1, 1, 2, 1, 1), None), ((1, 1, 1, 1, 1), (12, 1.0)), ((2, 1, 2, 1, 1), (10, 1.0)),
        ((1, 1, 5, 1, 1), (12, 3.0)), ((1, 1, 2, 1, 2), (14, 1.0)),
    ],
)  # fmt: skip
def test_rows_of_two_are_filled_one_after_the_other_in_each_bay(rows, found):
    floor = floor_of(5, room=Made(outline=None), plan=Made(buckets_per_row=2))
    for bucket, bay, row in zip(floor.buckets, (1, 1, 1, 2, 2), rows, strict=True):
        bucket.bay, bucket.row = bay, row
    said = [*bucket_rules._check_rows(floor)]
    assert [each.off_by for each in said] == ([] if found is None else [found[1]])
    assert [f"bucket {found[0]}:" in each.what for each in said] == [True] * len(said)


# Clocks and margins


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, []),
        ({"mixed_c": (20.0, 20.125, 19.875)}, []),
        ({"mixed_c": (20.0, 20.25, 19.0)}, [(11, "mixed", 0.25)]),
        ({"pour_c": (20.0, 20.0, 21.0)}, [(12, "poured", 1.0)]),
        ({"slab_c": (19.5, 20.0, 20.0)}, [(10, "slab", 0.5)]),
        ({"slab_c": (math.nan, 20.0, 20.0)}, [(10, "slab", None)]),
    ],
)
def test_temperatures_of_a_bucket_are_re_derived_to_their_tolerance(monkeypatch, changed, said):
    monkeypatch.setattr(bucket_rules, "TEMP_TOL_K", 0.125)
    even = np.full(3, 20.0)
    floor = floor_of(runs=Made(mixed_c=even, pour_c=even), under_c=even)
    given = {"mixed_c": even, "pour_c": even, "slab_c": even, **changed}
    for n, bucket in enumerate(floor.buckets):
        vars(bucket).update({name: temps[n] for name, temps in given.items()})
    found = [*bucket_rules._check_temperatures(floor)]
    assert [f"bucket {n}: {what} at" in each.what for each, (n, what, _) in zip(
        found, said, strict=True
    )] == [True] * len(said)  # fmt: skip
    for each, (*_, off_k) in zip(found, said, strict=True):
        assert off_k is None or each.off_by == off_k


@pytest.mark.parametrize(
    ("stated", "near"),
    [(0.25, None), (0.5, None), (0.125, None), (0.0625, 0.25), (0.625, None), (0.75, 0.5)],
)
def test_clocks_are_known_as_well_as_card_and_slab_allow(monkeypatch, stated, near):
    monkeypatch.setattr(bucket_rules, "DOUBT_TOL", 0.125)
    case = Made(
        slurry=None,
        doubt_frac=lambda _, __, ___, bound: {"lenient": 0.25, "strict": 0.5}[bound],
    )
    floor = floor_of(begins_s=NIGHT_S)
    for bucket in floor.buckets:
        bucket.clocks_sd_frac = 0.3
    floor.buckets[1].clocks_sd_frac = floor.buckets[2].clocks_sd_frac = stated
    found = [*bucket_rules._check_doubt(case, floor)]
    assert [each.off_by for each in found] == ([] if near is None else [abs(stated - near)])
    assert ["bucket 11" in each.what for each in found] == [True] * len(found)


MARGINS_S = {
    "wet_edge": np.array([600.0, 300.0]), "working_time": np.array([500.0, 900.0]),
    "broadcast_closes": np.array([506.0, 909.0]),
}  # fmt: skip


@pytest.mark.parametrize(
    ("margins_min", "clocks", "off_by"),
    [
        ((500 / 60, 5.0), ("working_time", "wet_edge"), []),
        # Six seconds more may bind as well, and may be said.
        ((500 / 60, 5.0), ("broadcast_closes", "wet_edge"), []),
        ((500 / 60, 5.0), ("wet_edge", "wet_edge"), [100 / 60]),
        ((500 / 60, 5.0), ("working_time", "working_time"), [10.0]),
        ((500 / 60, 5.0625), ("working_time", "wet_edge"), []),
        ((500 / 60, 4.9375), ("working_time", "wet_edge"), []),
        ((500 / 60, 5.25), ("working_time", "wet_edge"), [0.25]),
        ((500 / 60, 4.75), ("working_time", "wet_edge"), [0.25]),
    ],
)
def test_a_buckets_margin_is_the_least_of_its_clocks(monkeypatch, margins_min, clocks, off_by):
    monkeypatch.setattr(bucket_rules, "MARGIN_TOL_S", 6.0)
    floor = floor_of(2, ends_s=None, margins_s=lambda _: MARGINS_S)
    for bucket, margin_min, clock in zip(floor.buckets, margins_min, clocks, strict=True):
        bucket.margin_min, bucket.binding = margin_min, clock
    found = [each.off_by for each in bucket_rules._check_least(floor)]
    assert found == pytest.approx(off_by)


def test_a_margin_may_be_off_by_all_of_its_tolerance(monkeypatch):
    monkeypatch.setattr(bucket_rules, "MARGIN_TOL_S", 15.0)
    floor = floor_of(2, ends_s=None, margins_s=lambda _: MARGINS_S, plan=Made())
    for margin_min, found in ((5.25, 0), (4.75, 0), (5.375, 1), (4.625, 1)):
        floor.buckets[0].margin_min, floor.buckets[0].binding = 500 / 60, "working_time"
        floor.buckets[1].margin_min, floor.buckets[1].binding = margin_min, "wet_edge"
        assert len([*bucket_rules._check_least(floor)]) == found


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, []),
        ({"margin_min": 5.25}, []),
        ({"margin_min": 4.75}, []),
        ({"margin_min": 5.375}, [("the least margin", 0.375)]),
        ({"margin_min": 4.625}, [("the least margin", 0.375)]),
        ({"sure_margin_min": 1.75}, []),
        ({"sure_margin_min": 1.625}, [("the sure margin", 0.375)]),
        ({"sure_margin_min": 3.25}, []),
        ({"sure_margin_min": 3.5}, [("the sure margin", 0.5)]),
        # The other bucket has 200 s more.
        ({"binding_bucket": 10, "binding": "working_time"}, [("is said to bind", 200 / 60)]),
        ({"binding_bucket": 3}, [("is said to bind", math.inf)]),
    ],
)
def test_a_floors_margin_is_the_least_of_its_buckets(monkeypatch, changed, said):
    monkeypatch.setattr(bucket_rules, "MARGIN_TOL_S", 15.0)
    sure_s = {"lenient": 180.0, "strict": 120.0}
    monkeypatch.setattr(bucket_rules, "_sure", lambda _, bound: sure_s[bound])
    plan = {
        "margin_min": 5.0, "sure_margin_min": 2.5, "binding_bucket": 11, "binding": "wet_edge",
        **changed,
    }  # fmt: skip
    floor = floor_of(2, ends_s=None, margins_s=lambda _: MARGINS_S, plan=Made(**plan))
    found = [*bucket_rules._check_room(floor)]
    assert [each.off_by for each in found] == pytest.approx([off for _, off in said])
    for each, (what, _) in zip(found, said, strict=True):
        assert what in each.what.replace("is said to\n", "is said to ")


def test_another_bucket_as_short_to_the_tolerance_binds_as_well(monkeypatch):
    monkeypatch.setattr(bucket_rules, "_sure", lambda *_: 120.0)
    floor = floor_of(
        2, ends_s=None,
        margins_s=lambda _: {"wet_edge": np.array([306.0, 300.0])},
        plan=Made(margin_min=5.0, sure_margin_min=2.0, binding_bucket=10, binding="wet_edge"),
    )  # fmt: skip
    assert [*bucket_rules._check_room(floor)] == []


@pytest.mark.parametrize(
    ("asked_s", "status", "off_min"),
    [
        (300.0, "within policy", None), (306.0, "within policy", None),
        (307.5, "within policy", 0.125), (900.0, "within policy", 10.0),
        (900.0, "short of policy", None),
    ],
)  # fmt: skip
def test_a_plan_within_policy_has_the_margin_that_is_asked(asked_s, status, off_min):
    case = Made(plan=Made(status=status, job=Made(policy=Made(margin_s=asked_s))))
    floor = floor_of(2, ends_s=None, margins_s=lambda _: MARGINS_S)
    found = [each.off_by for each in bucket_rules._check_status(case, floor)]
    assert found == ([] if off_min is None else [off_min])


def test_the_sure_margin_is_that_of_clocks_that_run_fast():
    ends_s = {"lenient": "lenient ends", "strict": "strict ends"}
    least_s = {"lenient ends": 180.0, "strict ends": 120.0}
    floor = Made(
        fast_ends_s=ends_s,
        margins_s=lambda ends: {"wet_edge": np.array([900.0, least_s[ends]])},
    )
    assert bucket_rules._sure(floor, "lenient") == 180.0
    assert bucket_rules._sure(floor, "strict") == 120.0


@pytest.mark.parametrize(("stated_k", "off_k"), [(0.5, None), (0.25, 0.25), (2.0, None)])
def test_no_slab_is_known_better_than_by_a_reading(stated_k, off_k):
    case = Made(floors=(), plan=Made(risk=Made(slab_sd_k=stated_k)))
    found = [each.off_by for each in bucket_rules.check_margins(case)]
    assert found == ([] if off_k is None else [off_k])


def test_what_is_left_of_each_clock():
    planned = Made(
        tied_s=np.array([100.0, math.nan]), smoothed_s=np.array([50.0, 60.0]),
        broadcast_s=np.array([80.0, 90.0]),
    )  # fmt: skip
    floor = Made(planned=planned)
    floor.held_back_s = lambda ends_s: Floor.held_back_s(floor, ends_s)
    floor.ends_s = {"broadcast_opens": np.array([70.0, 55.0])}
    assert floor.held_back_s(floor.ends_s).tolist() == [20.0, 0.0]
    assert floor.held_back_s({}).tolist() == [0.0, 0.0]
    # Faster by 10 s, the first patch takes its grains 10 s sooner as well.
    fast = {
        "wet_edge": np.array([160.0, 200.0]), "working_time": np.array([150.0, 170.0]),
        "broadcast_closes": np.array([200.0, 210.0]), "broadcast_opens": np.array([60.0, 50.0]),
    }  # fmt: skip
    left_s = {name: left.tolist() for name, left in Floor.margins_s(floor, fast).items()}
    assert left_s == {
        "wet_edge": [60.0, math.inf], "working_time": [100.0, 110.0],
        "broadcast_closes": [130.0, 120.0],
    }  # fmt: skip
