"""Buckets of a floor made up by hand, each instant and sum at both sides of its limit."""

from __future__ import annotations

import math
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import NIGHT_S, floor_of

from cureplan.judge import bucket_rules


def told(found) -> list[str]:
    return [each.what for each in found]


# Mixing, stations and those who carry

CARD = Made(
    liquids_mix_s=200.0, filler_mix_s=300.0, turnaround_s=60.0, mixed_yield_m3=0.006
)  # fmt: skip
PACE = Made(haul_s=40.0, rake_m2_s=0.1, smooth_m2_s=0.05, broadcast_m2_s=0.1)


def job_of(**crew: object) -> Made:
    given = {
        "stations": 2, "mixer": 0, "runner": 0, "rake": 1, "smoother": 1, "broadcaster": 1,
        "people": (), "shares": False, **crew,
    }  # fmt: skip
    return Made(plan=Made(job=Made(cards=Made(slurry=CARD), pace=PACE, crew=Made(**given))))


def mixed(*liquids_s: float, stations: tuple[int, ...] = ()) -> Made:
    """Buckets whose liquids are stirred from these seconds on, each as the card says."""
    liquids = NIGHT_S + np.array(liquids_s)
    floor = floor_of(
        len(liquids_s),
        planned=Made(liquids_s=liquids, filler_s=liquids + 200.0, pour_s=liquids + 540.0),
    )
    for bucket, station in zip(floor.buckets, stations, strict=False):
        bucket.station = station
    return floor


@pytest.mark.parametrize(
    ("name", "off_s", "said"),
    [
        ("filler_s", 0.0, []),
        # Filler that is late by 30 s is followed too soon by its pour.
        ("filler_s", 30.0, ["filler", "pour"]),
        ("filler_s", -30.0, ["filler", "pour"]),
        ("pour_s", 30.0, ["pour"]),
        ("pour_s", -30.0, ["pour"]),
    ],
)
def test_a_bucket_is_stirred_filled_and_hauled_as_card_and_pace_say(name, off_s, said):
    floor = mixed(0.0, 400.0)
    getattr(floor.planned, name)[1] += off_s
    found = told(bucket_rules._check_mixing(job_of(), floor))
    assert [what.split(": ")[1].split(" at ")[0] for what in found] == said
    assert [what.endswith("(off by 0.5 min)") for what in found] == [True] * len(said)


def test_buckets_are_begun_in_order():
    (what,) = told(bucket_rules._check_mixing(job_of(), mixed(0.0, 400.0, 370.0)))
    assert what.startswith("Bar bucket 12: liquids, in order")
    assert what.endswith("(off by 0.5 min)")


@pytest.mark.parametrize(
    ("station", "off_by"), [(1, None), (2, None), (3, 1.0), (4, 2.0), (0, 2.0)]
)
def test_buckets_are_mixed_at_stations_that_are_there(station, off_by):
    floor = mixed(0.0, stations=(station,))
    found = list(bucket_rules._check_stations(job_of(), floor))
    assert [each.off_by for each in found] == ([] if off_by is None else [off_by])


def test_each_station_is_free_after_its_own_batch():
    # A batch takes a station 200 + 300 + 60 s: the first is wanted again a minute too soon.
    floor = mixed(0.0, 280.0, 500.0, 840.0, stations=(1, 2, 1, 2))
    (what,) = told(bucket_rules._check_stations(job_of(), floor))
    assert what.startswith("Bar bucket 12: station 1 at 17 Jul 20:08:20")
    assert what.endswith("(off by 1.0 min)")


@pytest.mark.parametrize(
    ("crew", "apart_s", "said"),
    [
        # Who mixes is at a batch for 500 s; who carries is back 40 s after its pour, at 580.
        ({"mixer": 1}, 500.0, []),
        ({"mixer": 1}, 493.0, ["liquids, for want of a mixer"]),
        ({"mixer": 2}, 250.0, []),
        ({"mixer": 2}, 246.0, ["liquids, for want of a mixer"]),
        ({"mixer": 4}, 0.0, []),
        ({"runner": 1}, 80.0, []),
        ({"runner": 1}, 73.0, ["haul, for want of a runner"]),
        ({"runner": 2}, 40.0, []),
        ({"runner": 2}, 36.0, ["haul, for want of a runner"]),
    ],
)
def test_mixers_and_runners_are_at_one_bucket_at_a_time(crew, apart_s, said):
    floor = mixed(*(apart_s * n for n in range(4)), stations=(1, 2, 3, 4))
    found = told(bucket_rules._check_stations(job_of(stations=4, **crew), floor))
    assert [what.split(": ")[1].split(" at ")[0] for what in found] == said


# Hands on the floor


def laid(**changed: list[float]) -> Made:
    """Three rows of one bucket, 6 m² each: a minute to rake and to broadcast, two to smooth.

    Rows are 3.048 m deep: the foot along an open edge is a tenth of them, 6 s of grains.
    """
    seconds = {
        "pour_s": [0.0, 400.0, 800.0], "raked_s": [60.0, 460.0, 860.0],
        "smoothed_s": [180.0, 580.0, 980.0], "broadcast_s": [600.0, 1000.0, 1060.0], **changed,
    }  # fmt: skip
    return floor_of(
        planned=Made(**{name: NIGHT_S + np.array(at_s) for name, at_s in seconds.items()}),
        bucket_area_m2=np.full(3, 6.0), partner=(1, 2, None), ends_s={},
        plan=Made(row_depth_m=3.048), held_back_s=lambda _: np.zeros(3),
        met_elsewhere=np.zeros(3, dtype=bool), room=Made(group=None), begins_s=NIGHT_S,
    )  # fmt: skip


def judged(floor: Made, **crew: object) -> Made:
    case = job_of(**crew)
    case.floors = (floor,)
    return case


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, []),
        ({"raked_s": [60.0, 450.0, 860.0]}, ["raked", "smoothed"]),
        ({"raked_s": [60.0, 470.0, 860.0]}, ["raked", "smoothed"]),
        ({"smoothed_s": [180.0, 570.0, 980.0]}, ["smoothed"]),
        ({"smoothed_s": [180.0, 590.0, 980.0]}, ["smoothed"]),
        # The rake, or the smoother, is still at the bucket before.
        ({"pour_s": [0.0, 20.0, 800.0], "raked_s": [60.0, 120.0, 860.0],
          "smoothed_s": [180.0, 300.0, 980.0]}, []),
        ({"pour_s": [0.0, 20.0, 800.0], "raked_s": [60.0, 80.0, 860.0],
          "smoothed_s": [180.0, 300.0, 980.0]}, ["raked"]),
        ({"pour_s": [0.0, 20.0, 800.0], "raked_s": [60.0, 120.0, 860.0],
          "smoothed_s": [180.0, 240.0, 980.0]}, ["smoothed"]),
    ],
)  # fmt: skip
def test_rake_and_smoother_go_on_as_fast_as_their_pace(changed, said):
    floor = laid(**changed)
    found = told(bucket_rules._check_hands(judged(floor), floor))
    assert [what.split(": ")[1].split(" at ")[0] for what in found] == said


def test_hands_that_do_something_else_too_may_come_later():
    late = laid(raked_s=[60.0, 470.0, 860.0], smoothed_s=[180.0, 700.0, 980.0])
    assert told(bucket_rules._check_hands(judged(late, shares=True), late)) == []
    soon = laid(raked_s=[60.0, 450.0, 860.0])
    (what,) = told(bucket_rules._check_hands(judged(soon, shares=True), soon))
    assert "raked" in what


@pytest.mark.parametrize(
    ("broadcast_s", "said"),
    [
        ([600.0, 1000.0, 1060.0], []),
        # The strip needs 6 s once the row behind it is smooth, at 580 s, and 6 are let pass.
        ([580.5, 1000.0, 1060.0], []),
        ([579.5, 1000.0, 1060.0], ["broadcast of its open edge"]),
        ([573.5, 1000.0, 1060.0], ["broadcast", "broadcast of its open edge"]),
        # At the latest each patch is begun when its neighbour is smooth: 640, 1040, 1100 s.
        ([645.5, 1000.0, 1060.0], []),
        ([646.5, 1000.0, 1060.0], ["broadcast"]),
        ([600.0, 1046.5, 1060.0], ["broadcast"]),
        ([600.0, 1000.0, 1105.5], []),
        ([600.0, 1000.0, 1106.5], ["broadcast"]),
        # The last is smooth at 980 s and takes a minute.
        ([600.0, 1000.0, 1034.5], []),
        ([600.0, 1000.0, 1033.5], ["broadcast", "broadcast, with all that is smoothed"]),
    ],
)
def test_grains_fall_once_the_next_row_is_smooth(broadcast_s, said):
    floor = laid(broadcast_s=broadcast_s)
    found = told(bucket_rules._check_broadcast(judged(floor), floor))
    assert [what.split(": ")[1].split(" at ")[0].split(" before")[0] for what in found] == said


def test_hands_that_throw_for_two_may_be_late():
    floor = laid(broadcast_s=[700.0, 1100.0, 1200.0])
    assert told(bucket_rules._check_broadcast(judged(floor, shares=True), floor)) == []


def test_grains_wait_for_a_patch_that_is_too_fresh():
    # Held back for 500 s, the first has its grains from 180 + 500 + 60 s on, and at the
    # latest 500 s after 640.
    for broadcast_s, said in ((735.0, 0), (733.0, 1), (1145.0, 0), (1147.0, 1)):
        floor = laid(broadcast_s=[broadcast_s, 1190.0, 1250.0])
        floor.held_back_s = lambda _: np.array([500.0, 0.0, 0.0])
        floor.planned.smoothed_s[1:] = NIGHT_S + np.array([580.0, 1130.0])
        floor.planned.pour_s[2] = NIGHT_S + 950.0
        found = told(bucket_rules._check_broadcast(judged(floor), floor))
        assert [what.startswith("Bar bucket 10") for what in found] == [True] * said


@pytest.mark.parametrize(
    ("broadcast_s", "said"),
    [
        # Two patches smooth at 180 s, and a third at 190: a minute each, one after another.
        ([240.0, 300.0, 360.0], False),
        ([360.0, 300.0, 250.0], False),
        ([360.0, 300.0, 243.0], True),
        ([295.0, 295.0, 360.0], False),
        ([293.0, 293.0, 360.0], True),
        ([240.0, 300.0, 355.0], False),
        ([240.0, 300.0, 353.0], True),
    ],
)
def test_one_thrower_has_time_for_all_that_is_smooth(broadcast_s, said):
    floor = laid(
        pour_s=[0.0, 0.0, 0.0], raked_s=[60.0] * 3, smoothed_s=[180.0, 180.0, 190.0],
        broadcast_s=broadcast_s,
    )  # fmt: skip
    floor.partner = (None, None, None)
    found = told(bucket_rules._check_broadcast(judged(floor), floor))
    assert any("with all that is smoothed before it" in what for what in found) == said


@pytest.mark.parametrize(("strip", "said"), [(1150.0, False), (1104.0, True)])
def test_one_thrower_has_time_for_strips_of_the_room_before_as_well(monkeypatch, strip, said):
    # Three patches are ready at 1000 s: by 1180 they have their grains. A strip of the room
    # before, 6 s, has its own at 1150, when two of them have, or at 1104 as well: then the
    # second patch, said to have it at 1121, is late by 6 s and a bit.
    floor = laid(
        pour_s=[0.0] * 3, raked_s=[60.0] * 3, smoothed_s=[1000.0] * 3,
        broadcast_s=[1060.0, 1119.5, 1190.0],
    )  # fmt: skip
    floor.partner = (None, None, None)
    before = laid(broadcast_s=[600.0, 1000.0, strip])
    before.buckets = [Made(number=n) for n in (1, 2, 3)]
    seam = Made(
        after=floor, before=before, wet=True, edge=np.array([2]), ready_s=NIGHT_S + 1000.0
    )
    monkeypatch.setattr(bucket_rules, "seams_of", lambda _: (seam,))
    found = told(bucket_rules._check_broadcast(judged(floor), floor))
    assert any("with all that is smoothed before it" in what for what in found) == said


def test_a_strip_of_the_room_before_that_is_early_is_not_told_of_this_floor(monkeypatch):
    # It takes 6 s from 1000 s on, and is said to have its grains at 998.
    floor = laid(
        pour_s=[0.0] * 3, raked_s=[60.0] * 3, smoothed_s=[1000.0] * 3,
        broadcast_s=[1064.0, 1124.0, 1184.0],
    )  # fmt: skip
    floor.partner = (None, None, None)
    before = laid(broadcast_s=[600.0, 700.0, 998.0])
    seam = Made(
        after=floor, before=before, wet=True, edge=np.array([2]), ready_s=NIGHT_S + 1000.0
    )
    monkeypatch.setattr(bucket_rules, "seams_of", lambda _: (seam,))
    assert told(bucket_rules._check_broadcast(judged(floor), floor)) == []


def test_a_thrower_as_late_as_is_let_pass_hides_no_later_patch():
    # The first, smooth at 180 s, is broadcast at 234, by six seconds too soon; the last, at
    # 1000 s, by 44.
    floor = laid(
        pour_s=[0.0, 300.0, 820.0], raked_s=[60.0, 360.0, 880.0],
        smoothed_s=[180.0, 580.0, 1000.0], broadcast_s=[234.0, 700.0, 1010.0],
    )  # fmt: skip
    floor.partner = (None, None, None)
    found = told(bucket_rules._check_broadcast(judged(floor), floor))
    (late,) = (what for what in found if "with all that is smoothed before it" in what)
    assert late.startswith("Bar bucket 12:")


@pytest.mark.parametrize(("is_after", "wet", "strips"), [(1, 1, 1), (1, 0, 0), (0, 1, 0)])
def test_only_wet_strips_towards_a_floor_wait_for_it(monkeypatch, is_after, wet, strips):
    floor, before = laid(), laid()
    seam = Made(
        after=floor if is_after else before, before=before, wet=bool(wet),
        edge=np.array([2]), ready_s=5.0,
    )  # fmt: skip
    monkeypatch.setattr(bucket_rules, "seams_of", lambda _: (seam,))
    throw_s = np.full(3, 60.0)
    ready_s, ends_s, work_s = bucket_rules._with_strips(
        judged(floor), floor, floor.planned.smoothed_s, throw_s
    )
    assert ready_s[3:].tolist() == [5.0] * strips
    assert ends_s[3:].tolist() == [NIGHT_S + 1060.0] * strips
    # 6 m² of which a tenth lies along the edge, at 0.1 m²/s.
    assert work_s[3:] == pytest.approx([6.0] * strips)


@pytest.mark.parametrize(("row_m", "share"), [(3.048, 0.1), (0.3048, 1.0), (0.1, 1.0), (0, 1)])
def test_a_foot_along_the_edge_is_kept_bare(row_m, share):
    assert bucket_rules._strip_share(Made(plan=Made(row_depth_m=row_m))) == pytest.approx(share)


@pytest.mark.parametrize(
    ("broadcast_s", "bucket"),
    [
        # The third is smooth at 980 s; strips of 6 s of the two before it wait for that.
        ([986.0, 992.0, 1060.0], None),
        ([992.0, 986.0, 1060.0], None),
        ([986.0, 986.5, 1060.0], None),
        ([985.5, 985.75, 1060.0], 11),
        ([973.5, 999.0, 1060.0], 10),
    ],
)
def test_strips_that_wait_for_one_row_have_their_grains_in_turn(broadcast_s, bucket):
    floor = laid(broadcast_s=broadcast_s)
    floor.partner = (2, 2, None)
    found = told(bucket_rules._check_strips(floor, np.full(3, 60.0)))
    assert [f"bucket {bucket}:" in what for what in found] == ([True] if bucket else [])


def test_strips_of_one_row_do_not_wait_for_those_of_another():
    floor = laid(broadcast_s=[586.0, 986.0, 1060.0])
    assert told(bucket_rules._check_strips(floor, np.full(3, 60.0))) == []


@pytest.mark.parametrize(
    ("tied_s", "bucket"),
    [
        # Rows are raked at 60, 460 and 860 s: the first is tied in at 460, the next at 860.
        ([460.0, 860.0, math.nan], None),
        ([466.0, 860.0, math.nan], None),
        ([467.0, 860.0, math.nan], 10),
        ([460.0, 853.0, math.nan], 11),
        ([math.nan, 860.0, math.nan], 10),
        ([460.0, math.nan, math.nan], 11),
        # What no row of its own room meets may be met by another.
        ([460.0, 860.0, 900.0], None),
    ],
)
def test_an_edge_is_tied_in_when_the_row_before_it_is_raked(monkeypatch, tied_s, bucket):
    monkeypatch.setattr(bucket_rules, "check_seams", lambda _: ())
    monkeypatch.setattr(bucket_rules, "_check_rows", lambda _: ())
    floor = laid(tied_s=tied_s)
    found = told(bucket_rules.check_tie_in(Made(floors=(floor,))))
    assert [what.startswith(f"Bar bucket {bucket}:") for what in found] == (
        [] if bucket is None else [True]
    )
