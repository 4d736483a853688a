"""Floors of any outline, cut into patches: worked by hand, and held against rectangles."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from cureplan.inputs.job.model import Outline
from cureplan.inputs.job.walked import walked
from cureplan.planning.floor.layout import lay_out, met_by, patches_of
from cureplan.planning.floor.outline import _row

FT = 0.3048


def outline(*corners, islands=(), stop_lines=(), back_wall=(0, 1)):
    return Outline(
        corners_m=tuple(corners),
        islands_m=tuple(tuple(island) for island in islands),
        stop_lines_m=tuple(stop_lines),
        back_wall=back_wall,
    )


def shaped(room, shape):
    length_m, width_m = shape.size_m
    return replace(room, outline=shape, length_m=length_m, width_m=width_m)


def rectangle(length_m, width_m, **more):
    return outline((0.0, 0.0), (width_m, 0.0), (width_m, length_m), (0.0, length_m), **more)


# 24 ft by 18 ft, a leg of 10 ft by 12 ft on top, a column of 4 ft by 3 ft in it.
KITCHEN_FT = ((0, 0), (24, 0), (24, 30), (14, 30), (14, 18), (0, 18))
COLUMN_FT = ((8, 6), (12, 6), (12, 9), (8, 9))


def kitchen(**more):
    in_m = [(x * FT, y * FT) for x, y in KITCHEN_FT]
    return outline(*in_m, islands=[[(x * FT, y * FT) for x, y in COLUMN_FT]], **more)


def ring_m2(ring):
    pairs = zip(ring, (*ring[1:], ring[0]), strict=True)
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)) / 2


def test_an_l_shaped_kitchen_by_hand(plain_room, plain_job):
    # 24 * 18 + 10 * 12 - 4 * 3 = 540 sq ft; 24+30+10+12+14+18 = 108 ft of wall and 14 ft
    # round the column. 540 sq ft * 0.09290304 * 1.1 * 3.5 mm = 0.193146 m³: 20.33 kits of
    # 9.5 L, so 21.
    room = shaped(plain_room, kitchen())
    assert room.area_m2 == pytest.approx(540 * 0.09290304)
    assert room.edge_m == pytest.approx(122 * FT)
    assert (room.length_m, room.width_m) == pytest.approx((30 * FT, 24 * FT))
    layout = lay_out(room, plain_job, bays=1)
    assert (layout.kits, layout.bays) == (21, 1)
    # Each covers 540/21 = 25.71 sq ft. Over the 24 ft front 1 ft 0.86 in deep: rows of at
    # least 0.6 m (1 ft 11.6 in) take two. In the leg, 10 ft wide, 2 ft 6.9 in: one.
    rows = np.bincount(layout.row)
    assert rows[0] == 2
    assert rows[-2:].tolist() == [1, 1]
    assert layout.area_per_bucket_m2 == pytest.approx(540 / 21 * 0.09290304)
    # In the leg each bucket is met by the very next one.
    met = met_by(layout)
    assert met[-3:].tolist() == [19, 20, -1]


@given(
    length_m=st.floats(1.0, 14.0),
    width_m=st.floats(0.8, 12.0),
    bays=st.integers(1, 4),
)
def test_a_rectangle_drawn_as_an_outline_gives_what_it_gave(
    plain_room, plain_job, length_m, width_m, bays
):
    plain = replace(plain_room, length_m=length_m, width_m=width_m)
    drawn = shaped(plain, rectangle(length_m, width_m))
    one, other = (lay_out(room, plain_job, bays=bays) for room in (plain, drawn))
    assert (other.kits, other.bays) == (one.kits, one.bays)
    assert other.bay.tolist() == one.bay.tolist()
    assert other.row.tolist() == one.row.tolist()
    assert met_by(other).tolist() == met_by(one).tolist()
    assert other.area_per_bucket_m2 == pytest.approx(one.area_per_bucket_m2, rel=1e-6)
    assert (
        other.strip_row_m == pytest.approx(one.strip_row_m, rel=1e-6) or one.rows_per_bay == 1
    )
    for mine, theirs in zip(patches_of(other, drawn), patches_of(one, plain), strict=True):
        assert sum(map(ring_m2, mine)) == pytest.approx(sum(map(ring_m2, theirs)), abs=0.03)


@given(
    steps=st.lists(st.tuples(st.floats(1.0, 6.0), st.floats(1.0, 4.0)), min_size=1, max_size=4),
    turn=st.sampled_from([0.0, 0.5, math.pi / 2, 2.0, math.pi]),
    bays=st.integers(1, 3),
)
def test_patches_of_stairs_cover_the_floor_once_and_touch_whom_they_melt_into(
    plain_room, plain_job, steps, turn, bays
):
    # A stair of blocks on one left wall, wherever it stands on the paper.
    corners, y = [(0.0, 0.0)], 0.0
    for width, height in steps:
        corners += [(width, y), (width, y + height)]
        y += height
    corners = [*dict.fromkeys([*corners, (0.0, y)])]
    cos, sin = math.cos(turn), math.sin(turn)
    shape = outline(*((x * cos - y * sin, x * sin + y * cos) for x, y in corners))
    area_m2 = sum(width * height for width, height in steps)
    room = shaped(plain_room, shape)
    assert room.area_m2 == pytest.approx(area_m2)
    layout = lay_out(room, plain_job, bays=bays)
    patches, met = patches_of(layout, room), met_by(layout)
    assert len(patches) == layout.kits == layout.bay.size
    assert sum(ring_m2(ring) for patch in patches for ring in patch) == pytest.approx(
        area_m2, rel=0.01, abs=0.02
    )
    for n, other in enumerate(met):
        if other >= 0:
            assert layout.bay[other] == layout.bay[n]
            assert layout.row[other] == layout.row[n] + 1
    # Kits are whole and enough, bay by bay: 9.5 L each, 3.5 mm deep, a tenth of waste.
    for bay in range(layout.bays):
        mine = layout.bay == bay
        assert mine.sum() * 0.0095 >= layout.cut.area_m2[mine].sum() * 1.1 * 0.0035 - 1e-9


def test_the_same_kitchen_measured_from_another_corner_is_poured_alike(plain_room, plain_job):
    shape = kitchen()
    # Measured clockwise from the opposite corner, axes swapped: a mirror image in space.
    mirrored = replace(
        shape,
        corners_m=tuple((y, x) for x, y in shape.corners_m),
        islands_m=tuple(tuple((y, x) for x, y in ring) for ring in shape.islands_m),
    )
    one, other = (lay_out(shaped(plain_room, s), plain_job, bays=1) for s in (shape, mirrored))
    assert other.row.tolist() == one.row.tolist()
    assert other.row_depth_m == pytest.approx(one.row_depth_m)


def test_bays_end_at_the_stop_lines_that_are_there(plain_room, plain_job):
    joint = ((14 * FT, 18 * FT), (24 * FT, 18 * FT))
    room = shaped(plain_room, kitchen(stop_lines=[joint]))
    layout = lay_out(room, plain_job, bays=4)
    # One joint parts the floor in two, 420 and 120 sq ft, however many bays are wished for:
    # 15.81 and 4.52 kits, so 16 and 5.
    assert layout.bays == 2
    assert np.bincount(layout.bay).tolist() == [16, 5]
    assert met_by(layout)[15] == met_by(layout)[20] == -1
    assert layout.cut.area_m2[layout.bay == 1].sum() == pytest.approx(
        120 * 0.09290304, rel=1e-4
    )


@pytest.mark.parametrize(
    ("drain", "areas_m2"),
    [
        (((2.0, 4.0), (2.0, 5.0)), [20, 40]),
        (((1.0, 3.0), (2.0, 3.0)), [18, 42]),
        # From a corner, one along for each one up.
        (((1.0, 1.0), (2.0, 2.0)), [18, 42]),
    ],
)
def test_a_drain_typed_short_reaches_the_walls_whichever_way_it_runs(
    drain, areas_m2, plain_room, plain_job
):
    room = shaped(plain_room, rectangle(10.0, 6.0, stop_lines=[drain]))
    layout = lay_out(room, plain_job, bays=2)
    parts = sorted(layout.cut.area_m2[layout.bay == bay].sum() for bay in range(layout.bays))
    assert parts == pytest.approx(areas_m2, rel=1e-2)


def test_a_column_in_the_way_parts_a_row_and_the_bucket_on_both_sides_is_named(
    plain_room, plain_job
):
    wide = [[(1.0, 1.0), (4.0, 1.0), (4.0, 5.0), (1.0, 5.0)]]
    room = shaped(plain_room, rectangle(6.0, 5.0, islands=wide))
    layout = lay_out(room, plain_job, bays=1)
    # Beside the pit 1 m of floor is left on either hand: one bucket lies on both.
    patches = patches_of(layout, room)
    both = [n for n, patch in enumerate(patches, start=1) if len(patch) > 1]
    assert both == list(layout.cut.divided) != []
    for patch in patches:
        for ring in patch:
            assert not any(1.01 < x < 3.99 and 1.01 < y < 4.99 for x, y in ring)


def test_a_column_within_one_patch_is_gone_round(plain_room, plain_job):
    post = [[(2.4, 0.4), (2.6, 0.4), (2.6, 0.6), (2.4, 0.6)]]
    room = shaped(plain_room, rectangle(6.0, 5.0, islands=post))
    layout = lay_out(room, replace(plain_job, pace=deep_rows(plain_job)), bays=1)
    areas_m2 = [sum(map(ring_m2, patch)) for patch in patches_of(layout, room)]
    # 30 m² but for the 0.04 of the post, in equal shares: the outer line takes it off.
    assert sum(areas_m2) == pytest.approx(29.96, abs=0.02)
    assert max(areas_m2) - min(areas_m2) < 0.02
    assert layout.cut.divided == ()


def deep_rows(job):
    return replace(job.pace, row_depth_min_m=0.9)


@pytest.mark.parametrize(
    ("turn", "across_m"), [("left", 3.0), ("l", 3.0), ("right", -3.0), ("r", -3.0)]
)
def test_a_turn_is_said_by_its_word_or_its_letter(turn, across_m):
    corners = walked(f"4 m, {turn} 3 m, {turn} 4 m, {turn} 3 m")
    assert corners == [(0.0, 0.0), (4.0, 0.0), (4.0, across_m), (0.0, across_m)]


def test_a_row_that_ends_where_the_floor_widens_has_the_front_it_lies_on():
    # 1 m wide for the first metre, 3 m beyond it.
    floor = Polygon([(0, 0), (1, 0), (1, 1), (3, 1), (3, 2), (0, 2)])
    row = _row(floor, 0, 0, 0.0, 1.0, 1, 1.0)
    assert row.front_m == pytest.approx(1.0)
    assert _row(floor, 0, 0, 1.0, 2.0, 1, 3.0).front_m == pytest.approx(3.0)
