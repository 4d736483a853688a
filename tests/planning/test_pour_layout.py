"""Rows, whole kits, rhythm and bucket times, worked by hand."""

import math
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.planning.floor.layout import (
    Cadence,
    PourLayout,
    cadence_of,
    lay_out,
    relative_times,
)

SHIPPED_CYCLE_S = 150 + 180 + 90  # liquids, filler, turnaround of the shipped slurry


def test_one_bay_by_hand(plain_room, plain_job):
    # 45 m² with a tenth of waste, 3.5 mm thick: 45 * 1.1 * 0.0035 = 0.17325 m³, which is
    # 18.24 kits of 9.5 L: 19. Each covers 45/19 = 2.368 m², over 5 m a strip of 0.474 m;
    # rows of 0.6 m and more take two.
    layout = lay_out(plain_room, plain_job, bays=1)
    assert layout.slurry_needed_m3 == pytest.approx(0.17325)
    assert (layout.kits, layout.buckets_per_row, layout.rows_per_bay) == (19, 2, 10)
    assert layout.area_per_bucket_m2 == pytest.approx(45 / 19)
    assert layout.row_depth_m == pytest.approx(2 * 45 / 19 / 5)
    assert layout.thickness_m == pytest.approx(0.0035)


def test_two_bays_take_whole_kits_each(plain_room, plain_job):
    # Half of 0.17325 m³ is 9.12 kits: 10 in each bay, one kit more than in one piece.
    # 2.25 m² over a front of 2.5 m is 0.9 m deep: one bucket a row.
    layout = lay_out(plain_room, plain_job, bays=2)
    assert (layout.kits_per_bay, layout.kits, layout.buckets_per_row) == (10, 20, 1)
    assert layout.bay_width_m == 2.5
    assert layout.row_depth_m == pytest.approx(0.9)


@pytest.mark.parametrize("kits", range(2, 60))
def test_a_floor_of_just_so_many_kits_takes_so_many(plain_room, plain_job, kits):
    # kits * 0.0095 m³ / 0.0035 m / 1.1 is the area; rounding noise must not add a kit,
    # and a thousandth more of floor must.
    width_m = kits * 0.0095 / 0.0035 / 1.1 / 9.0
    exact = replace(plain_room, width_m=width_m)
    assert lay_out(exact, plain_job, bays=1).kits == kits
    assert lay_out(replace(exact, width_m=width_m * 1.001), plain_job, bays=1).kits == kits + 1


def test_a_closet_takes_one_kit_and_one_row(plain_room, plain_job):
    closet = replace(plain_room, length_m=1.0, width_m=0.8)
    layout = lay_out(closet, plain_job, bays=1)
    assert (layout.kits, layout.buckets_per_row, layout.rows_per_bay) == (1, 1, 1)


@given(
    length_m=st.floats(1, 30),
    width_m=st.floats(0.8, 15),
    bays=st.integers(1, 4),
    waste=st.floats(0, 0.3),
)
def test_kits_cover_the_floor_and_not_one_too_many(
    plain_room, plain_job, length_m, width_m, bays, waste
):
    room = replace(plain_room, length_m=length_m, width_m=width_m)
    job = replace(plain_job, materials=replace(plain_job.materials, waste=waste))
    layout = lay_out(room, job, bays=bays)
    needed_m3 = length_m * width_m * (1 + waste) * 0.0035
    assert layout.kits * 0.0095 >= needed_m3 - 1e-9
    assert layout.kits % bays == 0
    if layout.kits_per_bay > 1:
        assert (layout.kits_per_bay - 1) * bays * 0.0095 < needed_m3
    assert layout.area_per_bucket_m2 * layout.kits == pytest.approx(length_m * width_m)
    # Rows are as deep as asked for, or hold the whole bay.
    deep_enough = layout.row_depth_m >= 0.6 - 1e-6
    assert deep_enough or layout.buckets_per_row == layout.kits_per_bay
    # And not a bucket deeper than needed.
    if layout.buckets_per_row > 1:
        shallower_m = layout.row_depth_m * (1 - 1 / layout.buckets_per_row)
        assert shallower_m < 0.6


def beat_of(plain_room, plain_job, slurry_card, **hands):
    layout = lay_out(plain_room, plain_job, bays=1)
    crew = replace(plain_job.crew, **hands)
    return cadence_of(layout, slurry_card, crew=crew, pace=plain_job.pace)


def test_rhythm_by_hand(plain_room, plain_job, slurry_card):
    # Two stations: 420/2 = 210 s. Haul there and back 120 s. A bucket of 2.368 m² takes
    # 118.4 s to rake, 148.0 s to smooth and, by two, 118.4 s to broadcast. A foot of the
    # row's 0.947 m is kept bare: 118.4 * 0.3048/0.947 = 38.1 s.
    cadence = beat_of(plain_room, plain_job, slurry_card)
    assert (cadence.interval_s, cadence.limit) == (SHIPPED_CYCLE_S / 2, "mixing")
    assert cadence.haul_s == 60.0
    assert cadence.rake_s == pytest.approx(118.42, abs=0.01)
    assert cadence.smooth_s == pytest.approx(148.03, abs=0.01)
    assert cadence.broadcast_s == pytest.approx(118.42, abs=0.01)
    assert cadence.strip_s == pytest.approx(38.10, abs=0.01)


@pytest.mark.parametrize(
    ("hands", "limit", "interval_s"),
    [
        ({"stations": 1}, "mixing", 420.0),
        # Stations without a mixer stand idle, and mixers without a station.
        ({"stations": 3, "mixer": 1}, "mixing", 420.0),
        ({"stations": 4, "mixer": 4}, "smooth", 148.03),
        ({"stations": 4, "mixer": 4, "smoother": 2}, "haul", 120.0),
        ({"stations": 4, "mixer": 4, "smoother": 2, "runner": 2}, "rake", 118.42),
        (
            {"stations": 4, "mixer": 4, "smoother": 2, "runner": 2, "rake": 2,
             "broadcaster": 1},
            "broadcast",
            236.84,
        ),
    ],
)  # fmt: skip
def test_the_slowest_task_sets_the_rhythm(
    plain_room, plain_job, slurry_card, hands, limit, interval_s
):
    cadence = beat_of(plain_room, plain_job, slurry_card, **hands)
    assert cadence.limit == limit
    assert cadence.interval_s == pytest.approx(interval_s, abs=0.01)


ROLES = ("stations", "mixer", "runner", "rake", "smoother", "broadcaster")


@given(hands=st.fixed_dictionaries({role: st.integers(1, 4) for role in ROLES}))
def test_one_more_pair_of_hands_never_slows_the_rhythm(
    plain_room, plain_job, slurry_card, hands
):
    cadence = beat_of(plain_room, plain_job, slurry_card, **hands)
    for role in ROLES:
        more = beat_of(plain_room, plain_job, slurry_card, **{**hands, role: hands[role] + 1})
        assert more.interval_s <= cadence.interval_s


FIVE_BUCKETS = PourLayout(
    room="Cook line",
    bays=1,
    bay_width_m=5.0,
    kits_per_bay=5,
    buckets_per_row=2,
    row_depth_m=0.9,
    area_per_bucket_m2=2.25,
    thickness_m=0.0035,
    slurry_needed_m3=0.045,
)
BEAT = Cadence(
    interval_s=200.0,
    limit="mixing",
    mixing_s=200.0,
    haul_s=60.0,
    rake_s=100.0,
    smooth_s=120.0,
    broadcast_s=90.0,
    strip_s=30.0,
)


def test_five_buckets_two_a_row_by_hand(slurry_card):
    # Filler goes in 150 s after the liquids, and is mixed for 180 s.
    times = relative_times(FIVE_BUCKETS, slurry_card, BEAT, stations=2, bay_turn_s=500.0)
    assert times.row.tolist() == [0, 0, 1, 1, 2]
    assert times.station.tolist() == [0, 1, 0, 1, 0]
    assert times.liquids_in_s.tolist() == [0, 200, 400, 600, 800]
    assert times.filler_in_s.tolist() == [150, 350, 550, 750, 950]
    assert times.pour_s.tolist() == [390, 590, 790, 990, 1190]
    assert times.raked_s.tolist() == [490, 690, 890, 1090, 1290]
    assert times.smoothed_s.tolist() == [610, 810, 1010, 1210, 1410]
    # Bucket 1 is met by bucket 3, two on; 3 and 4 both by bucket 5, which alone is drawn
    # over the whole width; that one by nothing.
    assert times.tied_in_s[:4].tolist() == [890, 1090, 1290, 1290]
    assert np.isnan(times.tied_in_s[4])
    # The bare strip of bucket 1 is broadcast once bucket 3 is smoothed: 1010 + 30. Bucket
    # 5 is smooth at 1410: the strips of 3 and 4 first, then its own 90 s.
    assert times.broadcast_s.tolist() == [1040, 1240, 1440, 1470, 1560]
    assert times.last_s == 1560


def test_a_last_row_of_two_under_three_by_hand(slurry_card):
    # Eight buckets, three a row: the last two share the width in halves where the row
    # before has thirds. Bucket 4 lies behind the left half; 5 behind both, so its edge is
    # closed when bucket 8 is raked; 6 behind the right half. Raked: 490 + 200 each.
    eight = replace(FIVE_BUCKETS, kits_per_bay=8, buckets_per_row=3)
    times = relative_times(eight, slurry_card, BEAT, stations=2, bay_turn_s=0.0)
    assert times.row.tolist() == [0, 0, 0, 1, 1, 1, 2, 2]
    assert times.tied_in_s[:6].tolist() == [1090, 1290, 1490, 1690, 1890, 1890]
    assert np.all(np.isnan(times.tied_in_s[6:]))
    # Smoothed: 610 + 200 each, bucket 7 at 1810 and 8 at 2010. Strips take 30 s, oldest
    # first, then the bucket's own 90: 1810 + 30, + 90; 2010 + 30, + 30, + 90.
    assert times.broadcast_s.tolist() == [1240, 1440, 1640, 1840, 2040, 2070, 1930, 2160]


@given(kits=st.integers(1, 40), per_row=st.integers(1, 6), bays=st.integers(1, 3))
def test_every_edge_but_the_last_rows_is_met_all_along(slurry_card, kits, per_row, bays):
    # Independent: every patch is cut into 60 pieces of its width, and each piece waits for
    # the patch of the next row that lies before it.
    per_row = min(per_row, kits)
    layout = replace(FIVE_BUCKETS, bays=bays, kits_per_bay=kits, buckets_per_row=per_row)
    times = relative_times(layout, slurry_card, BEAT, stations=2, bay_turn_s=60.0)
    for bay in range(bays):
        rows = [
            list(range(bay * kits + first, bay * kits + min(first + per_row, kits)))
            for first in range(0, kits, per_row)
        ]
        for row, after in pairwise(rows):
            for place, bucket in enumerate(row):
                pieces = [Fraction(60 * place + i, 60 * len(row)) for i in range(60)]
                met_s = max(times.raked_s[after[int(x * len(after))]] for x in pieces)
                assert times.tied_in_s[bucket] == met_s
            # Nor is a bucket met before the next in its own row lies beside it.
            for bucket, beside in pairwise(row):
                assert times.tied_in_s[bucket] >= times.raked_s[beside]
        assert np.all(np.isnan(times.tied_in_s[rows[-1]]))


def test_the_second_bay_starts_a_pause_later_and_ties_into_nothing_of_the_first(slurry_card):
    two_bays = replace(FIVE_BUCKETS, bays=2, kits_per_bay=3, buckets_per_row=1)
    times = relative_times(two_bays, slurry_card, BEAT, stations=2, bay_turn_s=500.0)
    assert times.bay.tolist() == [0, 0, 0, 1, 1, 1]
    assert times.liquids_in_s.tolist() == [0, 200, 400, 1100, 1300, 1500]
    assert np.flatnonzero(np.isnan(times.tied_in_s)).tolist() == [2, 5]


@given(
    kits=st.integers(1, 40),
    per_row=st.integers(1, 4),
    bays=st.integers(1, 3),
    interval_s=st.floats(120, 600),
    stations=st.integers(1, 4),
)
def test_nobody_is_asked_for_two_things_at_once(
    slurry_card, kits, per_row, bays, interval_s, stations
):
    layout = replace(
        FIVE_BUCKETS, bays=bays, kits_per_bay=kits, buckets_per_row=min(per_row, kits)
    )
    interval_s = max(interval_s, SHIPPED_CYCLE_S / stations)
    cadence = replace(BEAT, interval_s=interval_s)
    times = relative_times(layout, slurry_card, cadence, stations=stations, bay_turn_s=60.0)
    assert times.pour_s.size == kits * bays
    for order in ("liquids_in_s", "pour_s", "raked_s", "smoothed_s"):
        assert np.all(np.diff(getattr(times, order)) >= interval_s - 1e-9)
    # A station has poured, scraped and turned round before its next kit.
    for station in range(stations):
        begun = times.liquids_in_s[times.station == station]
        assert np.all(np.diff(begun) >= SHIPPED_CYCLE_S - 1e-6)
    # What ties in comes after it is poured, and before its strip is broadcast.
    tied = ~np.isnan(times.tied_in_s)
    assert np.all(times.tied_in_s[tied] > times.raked_s[tied])
    assert np.all(times.broadcast_s[tied] > times.tied_in_s[tied])
    last_row = kits % layout.buckets_per_row or layout.buckets_per_row
    assert np.count_nonzero(~tied) == bays * last_row
    # Nobody throws at two patches at once: from any time on, what is smoothed after it
    # takes its hands and minutes.
    for begin_s in times.smoothed_s:
        after = times.smoothed_s >= begin_s
        for end_s in times.broadcast_s[after]:
            thrown = after & (times.broadcast_s <= end_s)
            assert end_s - begin_s >= BEAT.broadcast_s * np.count_nonzero(thrown) - 1e-6
    assert times.row.max() + 1 == math.ceil(kits / layout.buckets_per_row)
