"""How a floor is cut at its corners, stop lines and open edges, each worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from cureplan.inputs.job.model import Outline
from cureplan.planning.floor import outline


def shape(*corners, lines=()):
    return Outline(corners_m=corners, islands_m=(), stop_lines_m=lines, back_wall=(0, 1))


def unsigned(*points):
    """Whether no nought carries a minus."""
    return all(math.copysign(1.0, at) == 1.0 for point in points for at in point if at == 0.0)


def row(floor, low, high, many, *, number=0):
    return outline._row(floor, 0, number, low, high, many, 1.0)


def test_a_row_is_as_wide_as_it_is_at_either_end_or_half_way():
    # From 1 to 2 m: 1 m wide but 3 m half-way, between two halls of 5 m; a metre off the wall.
    floor = box(1, 0, 6, 1).union(box(3, 1, 4, 2)).union(box(2, 1.4, 5, 1.6))
    floor = floor.union(box(1, 2, 6, 3))
    assert row(floor, 1.0, 2.0, 1).front_m == pytest.approx(3.0)
    assert row(floor, 2.0, 3.0, 1).front_m == pytest.approx(5.0)


def test_a_patch_meets_those_ahead_only_where_its_own_edge_is_open():
    # The first row ends 2 m wide under a wall half a metre deep; the next is 3 m wide.
    floor = Polygon([(0, 0), (3, 0), (3, 0.5), (2, 0.5), (2, 1), (3, 1), (3, 2), (0, 2)])
    first, second = row(floor, 0.0, 1.0, 1), row(floor, 1.0, 2.0, 3, number=1)
    assert second.cuts_m == pytest.approx((0.0, 1.0, 2.0, 3.0))
    # The last of those over 0 to 2 m is the second of three, 7 and 8 of all.
    assert outline._met(first, second, 7) == [8]
    # The other way about: what lies under no floor is met by nobody.
    turned = Polygon([(0, 0), (3, 0), (3, 1), (2, 1), (2, 2), (0, 2)])
    first, second = row(turned, 0.0, 1.0, 3), row(turned, 1.0, 2.0, 1, number=1)
    assert outline._met(first, second, 3) == [3, 3, -1]


def test_the_strip_of_the_last_row_of_a_bay_is_followed_by_none():
    # Two bays of 2 m by 3 m, five kits each: rows of two are 1.2 m deep, the last 0.6 m.
    four = shape((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0))
    cut = outline.cut_outline(four, bays=2, kit_m2=1.2, row_depth_min_m=1.0)
    assert np.bincount(cut.bay).tolist() == [5, 5]
    assert cut.row.tolist() == [0, 0, 1, 1, 2] * 2
    assert cut.strip_row_m == pytest.approx(1.2)


def test_of_three_bays_two_neighbours_each_share_a_seam():
    patches = outline.rectangle_patches(
        length_m=2.0, width_m=6.0, bays=3, kits_per_bay=1, buckets_per_row=1
    )
    seams = outline.bay_seams(patches, [1, 2, 3])
    assert sorted(sorted(line) for line in seams) == [
        [(2.0, 0.0), (2.0, 2.0)], [(4.0, 0.0), (4.0, 2.0)],
    ]  # fmt: skip
    assert unsigned(*(point for line in seams for point in line))
    # One over the other: the seam runs along from the wall at nought.
    stacked = [
        (tuple((x, y + up) for x, y in ((0, 0), (2, 0), (2, 1), (0, 1))),) for up in (0, 1)
    ]
    (seam,) = outline.bay_seams(stacked, [1, 2])
    assert sorted(seam) == [(0.0, 1.0), (2.0, 1.0)]
    assert unsigned(*seam)


def test_nought_is_written_without_a_sign():
    whole = shape((0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0))
    hair = Polygon([(-1e-9, -1e-9), (2, -1e-9), (2, 2), (-1e-9, 2)])
    (ring,) = outline._on_site(hair, whole)
    assert unsigned(*ring)
    assert unsigned(*outline._as_outline(hair, whole, []).corners_m)
    assert set(ring) == set(whole.corners_m)


@pytest.mark.parametrize("turn", [0.0, math.pi / 2, math.pi])
def test_stop_lines_are_turned_with_their_floor(turn):
    cos, sin = round(math.cos(turn), 9), round(math.sin(turn), 9)

    def turned(*points):
        return tuple((x * cos - y * sin, x * sin + y * cos) for x, y in points)

    # 3 m by 4 m, stopped a metre from the back wall: 3 and 9 m².
    line = turned((1.0, 1.0), (2.0, 1.0))
    one = shape(*turned((0.0, 0.0), (3.0, 0.0), (3.0, 4.0), (0.0, 4.0)), lines=(line,))
    cut = outline.cut_outline(one, bays=2, kit_m2=3.0, row_depth_min_m=0.5)
    assert np.bincount(cut.bay).tolist() == [1, 3]


def test_the_back_wall_of_a_part_is_its_lowest_that_runs_along_the_wholes():
    # A short one at 1 m and a long one at 2 m, both along the back wall.
    part = Polygon([(0, 1), (1, 1), (1, 2), (11, 2), (11, 4), (0, 4)])
    whole = shape((0.0, 0.0), (11.0, 0.0), (11.0, 4.0), (0.0, 4.0))
    found = outline._as_outline(part, whole, [])
    assert found.corners_m[:2] == ((0.0, 1.0), (1.0, 1.0))


@pytest.mark.parametrize(
    ("line", "reaches"),
    [
        # Typed short to both sides of the corner measured from.
        (((-1.0, 0.5), (1.0, 0.5)), [(-3.0, 0.5), (3.0, 0.5)]),
        (((1.0, -0.5), (1.0, 0.5)), [(1.0, -2.0), (1.0, 2.0)]),
        (((-0.5, -0.5), (0.5, 0.5)), [(-2.0, -2.0), (2.0, 2.0)]),
    ],
)  # fmt: skip
def test_a_drain_reaches_the_walls_it_points_at(line, reaches):
    drawn = outline._drawn_out(line, box(-3, -2, 3, 2))
    (piece,) = drawn.geoms
    assert sorted(piece.coords) == [pytest.approx(point) for point in reaches]


def test_a_drain_that_only_touches_a_corner_of_the_floor_is_none_there():
    # At 2 m the floor is a metre wide, and the top of a gable touches that height at 3 m.
    floor = Polygon([(0, 0), (4, 0), (3, 2), (2, 1), (1, 1), (1, 4), (0, 4)])
    drawn = outline._drawn_out(((0.5, 2.0), (3.5, 2.0)), floor)
    assert [sorted(piece.coords) for piece in drawn.geoms] == [[(0.0, 2.0), (1.0, 2.0)]]


@pytest.mark.parametrize(
    ("wanted_m2", "at_m"),
    [
        # A trapezium 1 m wide below and 3 m above, 2 m high, on a block of 1 m by 1 m: up to
        # 1 + h it holds 1 + h + h²/2.
        (0.5, 0.5), (1.0, 1.0), (2.5, 2.0), (5.0, 3.0), (9.0, 3.0),
    ],
)  # fmt: skip
def test_a_level_is_found_by_the_square_law(wanted_m2, at_m):
    floor = Polygon([(0, 0), (1, 0), (1, 1), (3, 3), (0, 3), (0, 1)])
    assert outline._level(floor, outline._between_y, 0.0, wanted_m2) == pytest.approx(at_m)
