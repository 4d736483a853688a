"""A floor of any outline, cut into bays, rows and patches of one bucket each.

A line parallel to the back wall retreats over the floor: between two stands of it lies a
row of whole buckets, cut across into patches of one area. What a patch must melt into is
the last of the next row's patches that it shares an edge with.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Outline, Point, signed_area_m2

if TYPE_CHECKING:
    from shapely.geometry import Polygon

__all__ = ["Cut", "Patch", "bay_seams", "cut_outline", "parts_at", "rectangle_patches"]

Patch = tuple[tuple[Point, ...], ...]
"""Closed lines round what one bucket covers: one, but where it lies on two sides."""

LEAST_EDGE_M = 0.01
"""Patches that share less of an edge are not taken for neighbours."""
_SHIFT_M = 1e-6
_GROWN_M = 0.002
_EPS = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """Buckets of a floor in the order they are poured."""

    bay: NDArray[np.int64]
    row: NDArray[np.int64]
    met: NDArray[np.int64]
    """Which bucket closes each one's open edge; -1 where nothing comes after."""
    area_m2: NDArray[np.float64]
    patches: tuple[Patch, ...]
    buckets_per_row: int
    row_depth_m: float
    strip_row_m: float
    """The least deep row that another follows."""
    front_m: float
    """The widest open edge."""

    @property
    def bays(self) -> int:
        """How many bays."""
        return int(self.bay[-1]) + 1

    @property
    def divided(self) -> tuple[int, ...]:
        """Buckets that must be shared between two sides of an island or a corner."""
        return tuple(n for n, patch in enumerate(self.patches, start=1) if len(patch) > 1)


@lru_cache(maxsize=256)
def cut_outline(outline: Outline, *, bays: int, kit_m2: float, row_depth_min_m: float) -> Cut:
    """Cut a floor of any outline, a kit covering `kit_m2` at most.

    Bays lie between stop lines where the outline names any, then there may be fewer than
    asked for; else they are of one area, side by side.
    """
    parts = _bays(_in_frame(outline), outline, bays)
    rows: list[_Row] = []
    for bay, part in enumerate(parts):
        kits = max(1, math.ceil(part.area / kit_m2 - _EPS))
        rows += _rows(part, bay, kits, row_depth_min_m)
    bay_of = [row.bay for row in rows for _ in row.patches]
    row_of = [row.number for row in rows for _ in row.patches]
    starts = np.concatenate([[0], np.cumsum([len(row.patches) for row in rows])])
    met: list[int] = []
    for place, row in enumerate(rows):
        after = rows[place + 1] if place + 1 < len(rows) else None
        if after is None or after.bay != row.bay:
            met += [-1] * len(row.patches)
        else:
            met += _met(row, after, int(starts[place + 1]))
    followed = [a.depth_m for a, b in pairwise(rows) if a.bay == b.bay]
    return Cut(
        bay=np.array(bay_of),
        row=np.array(row_of),
        met=np.array(met),
        area_m2=np.array([row.patch_m2 for row in rows for _ in row.patches]),
        patches=tuple(_on_site(patch, outline) for row in rows for patch in row.patches),
        buckets_per_row=max(len(row.patches) for row in rows),
        row_depth_m=max(row.depth_m for row in rows),
        strip_row_m=min(followed, default=rows[0].depth_m),
        front_m=max(row.front_m for row in rows),
    )


def rectangle_patches(
    *, length_m: float, width_m: float, bays: int, kits_per_bay: int, buckets_per_row: int
) -> tuple[Patch, ...]:
    """Patches of a plain rectangle, the back wall at the bottom; as `cut_outline` would.

    Rounded to the millimetre, as those are.

    Examples
    --------
    >>> patches = rectangle_patches(
    ...     length_m=3.0, width_m=2.0, bays=1, kits_per_bay=3, buckets_per_row=2)
    >>> patches[2]  # the last row holds one, over the whole width
    (((0.0, 2.0), (2.0, 2.0), (2.0, 3.0), (0.0, 3.0)),)
    """
    patches: list[Patch] = []
    bay_m = width_m / bays
    for bay in range(bays):
        for first in range(0, kits_per_bay, buckets_per_row):
            many = min(buckets_per_row, kits_per_bay - first)
            low, high = (length_m * n / kits_per_bay for n in (first, first + many))
            for n in range(many):
                left, right = (bay * bay_m + bay_m * k / many for k in (n, n + 1))
                corners = ((left, low), (right, low), (right, high), (left, high))
                patches.append((tuple((round(x, 3), round(y, 3)) for x, y in corners),))
    return tuple(patches)


def bay_seams(patches: Sequence[Patch], bays: Sequence[int]) -> tuple[tuple[Point, ...], ...]:
    """Where one bay ends at another: the stop lines, as lines of corners.

    Examples
    --------
    >>> patches = rectangle_patches(
    ...     length_m=3.0, width_m=2.0, bays=2, kits_per_bay=2, buckets_per_row=1)
    >>> [sorted(line) for line in bay_seams(patches, [1, 1, 2, 2])]
    [[(1.0, 0.0), (1.0, 3.0)]]
    """
    if len(set(bays)) < 2:
        return ()
    import shapely

    # Corners of a plan are rounded to a millimetre; grown by a little, neighbours touch.
    wholes = [
        shapely.union_all(
            [
                shapely.Polygon(ring).buffer(_GROWN_M, join_style="mitre")
                for patch, of in zip(patches, bays, strict=True)
                if of == bay
                for ring in patch
            ]
        )
        for bay in sorted(set(bays))
    ]
    found: list[tuple[Point, ...]] = []
    for one, other in combinations(wholes, 2):
        shared = shapely.line_merge(shapely.intersection(one, other.boundary))
        for line in shapely.get_parts(shared):
            if line.length > LEAST_EDGE_M:
                straight = shapely.simplify(line, 2 * _GROWN_M)
                # Adding 0 makes of -0.0 a 0.0.
                points = ((round(x, 2) + 0.0, round(y, 2) + 0.0) for x, y in straight.coords)
                found.append(tuple(dict.fromkeys(points)))
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    bay: int
    number: int
    low_m: float
    high_m: float
    cuts_m: tuple[float, ...]
    """Where the row is cut across, its two ends too."""
    part: Polygon
    patch_m2: float
    front_m: float
    patches: tuple[Any, ...]

    @property
    def depth_m(self) -> float:
        return self.high_m - self.low_m


def _in_frame(outline: Outline) -> Polygon:
    """The floor turned so that it lies above its back wall."""
    from shapely.geometry import Polygon

    rings = [
        _turned(ring, -outline.turn_rad) for ring in (outline.corners_m, *outline.islands_m)
    ]
    floor: Polygon = Polygon(rings[0]).difference(_union([Polygon(r) for r in rings[1:]]))
    return floor


def _union(shapes: Sequence[Any]) -> Any:
    from shapely import union_all

    return union_all(shapes)


def _turned(ring: Sequence[Point], by_rad: float) -> tuple[Point, ...]:
    # A wall along an axis stays on it to the last digit.
    cos, sin = round(math.cos(by_rad), 15), round(math.sin(by_rad), 15)
    return tuple((x * cos - y * sin, x * sin + y * cos) for x, y in ring)


def _on_site(patch: Any, outline: Outline) -> Patch:
    """Its outer lines, turned back and rounded to the millimetre."""
    return tuple(
        tuple(
            (round(x, 3) + 0.0, round(y, 3) + 0.0)
            for x, y in _turned(_one_line(part), outline.turn_rad)
        )
        for part in _parts(patch)
    )


def _one_line(part: Polygon) -> list[Point]:
    """Its outer line; a column inside is gone round on the way, by the shortest step."""
    line: list[Point] = list(part.exterior.coords[:-1])
    for hole in part.interiors:
        # Against the outer line's direction, so that its area is taken off.
        inner = list(hole.coords[:-1])
        if signed_area_m2(inner) * signed_area_m2(line) > 0:
            inner.reverse()
        at, of = min(
            ((n, m) for n in range(len(line)) for m in range(len(inner))),
            key=lambda pair: math.dist(line[pair[0]], inner[pair[1]]),
        )
        line[at + 1 : at + 1] = [*inner[of:], *inner[: of + 1], line[at]]
    return line


def _parts(shape: Any) -> list[Any]:
    """The areas of a shape, from left to right, without slivers."""
    areas = [part for part in getattr(shape, "geoms", [shape]) if part.area > 1e-6]
    return sorted(areas, key=lambda part: part.bounds[0])


def _bays(floor: Polygon, outline: Outline, bays: int) -> list[Any]:
    if bays == 1:
        return [floor]
    if outline.stop_lines_m:
        return _between_stop_lines(floor, outline, bays)
    west, _, east, _ = floor.bounds
    cuts = [_level(floor, _between_x, west, floor.area * n / bays) for n in range(1, bays)]
    ends = [west, *cuts, east]
    return [_between_x(floor, a, b) for a, b in pairwise(ends)]


def _between_stop_lines(floor: Polygon, outline: Outline, bays: int) -> list[Any]:
    """Parts between the stop lines that leave the largest of them least large."""
    lines = [
        _drawn_out(_turned(line, -outline.turn_rad), floor) for line in outline.stop_lines_m
    ]
    tried = [
        _split(floor, chosen)
        for many in range(1, min(bays, len(lines) + 1))
        for chosen in combinations(lines, many)
    ]
    found = [parts for parts in [[floor], *tried] if len(parts) <= bays]
    best = min(found, key=lambda parts: (max(part.area for part in parts), len(parts)))
    # From the back wall on; side by side from the left.
    return sorted(best, key=lambda part: (round(part.bounds[1], 1), part.bounds[0]))


def parts_at(outline: Outline, lines: Sequence[tuple[Point, Point]]) -> tuple[Outline, ...]:
    """A floor split at some of its stop lines into floors of their own, from the back wall
    on, each poured towards the same side as the whole."""
    from shapely.ops import polygonize

    floor = _in_frame(outline)
    chosen = [_drawn_out(_turned(line, -outline.turn_rad), floor) for line in lines]
    # A line that ends on the floor parts nothing: it closes no face.
    faces = polygonize(_union([floor.boundary, *chosen]))
    parts = [face for face in faces if floor.covers(face.representative_point())]
    parts.sort(key=lambda part: (round(part.bounds[1], 1), part.bounds[0]))
    left = [line for line in outline.stop_lines_m if line not in lines]
    return tuple(_as_outline(part, outline, left) for part in parts)


def _as_outline(part: Any, whole: Outline, lines: Sequence[tuple[Point, Point]]) -> Outline:
    from shapely.geometry import Polygon
    from shapely.geometry.polygon import orient

    def on_site(ring: Sequence[Point]) -> tuple[Point, ...]:
        turned = _turned(ring, whole.turn_rad)
        points = ((round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in turned)
        return tuple(dict.fromkeys(points))

    shape = orient(part.simplify(10 * _SHIFT_M))
    ring = list(shape.exterior.coords[:-1])
    # Its back wall is the wall nearest to the whole's that runs as that one does.
    walls = [
        (abs(round(math.atan2(y1 - y0, x1 - x0), 3)), min(y0, y1), n)
        for n, ((x0, y0), (x1, y1)) in enumerate(pairwise([*ring, ring[0]]))
    ]
    first = min(walls)[2]
    corners = on_site([*ring[first:], *ring[:first]])
    kept = [_clipped(line, Polygon(corners)) for line in lines]
    return Outline(
        corners_m=corners,
        islands_m=tuple(on_site(hole.coords[:-1]) for hole in shape.interiors),
        stop_lines_m=tuple(line for line in kept if line is not None),
        back_wall=(0, 1),
    )


def _clipped(line: tuple[Point, Point], floor: Polygon) -> tuple[Point, Point] | None:
    """The longest piece of a stop line that runs over a floor; None where next to none does."""
    from shapely.geometry import LineString

    # Along a wall nothing is left to stop at.
    inside = LineString(line).intersection(floor).difference(floor.boundary.buffer(1e-4))
    pieces = [p for p in getattr(inside, "geoms", [inside]) if p.length > 2 * LEAST_EDGE_M]
    if not pieces:
        return None
    (x0, y0), *_, (x1, y1) = max(pieces, key=lambda piece: piece.length).coords
    return (round(x0, 3), round(y0, 3)), (round(x1, 3), round(y1, 3))


def _drawn_out(line: Sequence[Point], floor: Polygon) -> Any:
    """A drain or joint, drawn out in its own direction to the walls it points at."""
    from shapely.geometry import LineString, MultiLineString

    (x0, y0), (x1, y1) = line
    far = 1e3 / math.hypot(x1 - x0, y1 - y0)
    dx, dy = (x1 - x0) * far, (y1 - y0) * far
    whole = LineString([(x0 - dx, y0 - dy), (x1 + dx, y1 + dy)])
    typed = LineString(line).buffer(1e-6)
    filled = whole.intersection(floor)
    pieces = [piece for piece in getattr(filled, "geoms", [filled]) if piece.intersects(typed)]
    return MultiLineString([list(piece.coords) for piece in pieces if piece.length > 0.0])


def _split(floor: Polygon, lines: Sequence[Any]) -> list[Any]:
    """The parts of a floor between lines; a gap of a hair is left along each."""
    hair = _union([line.buffer(_SHIFT_M, cap_style="square") for line in lines])
    return _parts(floor.difference(hair))


def _rows(part: Polygon, bay: int, kits: int, row_depth_min_m: float) -> list[_Row]:
    patch_m2 = part.area / kits
    _, low, _, top = part.bounds
    rows: list[_Row] = []
    left = kits
    while left:
        many, high = _next_row(part, low, top, left, patch_m2, row_depth_min_m)
        rows.append(_row(part, bay, len(rows), low, high, many, patch_m2))
        low, left = high, left - many
    return rows


def _next_row(
    part: Polygon, low: float, top: float, left: int, patch_m2: float, least_m: float
) -> tuple[int, float]:
    """How many buckets the next row takes to be deep enough, and where it ends."""
    for many in range(1, left):
        high = _level(part, _between_y, low, many * patch_m2)
        if high - low >= least_m - _EPS:
            return many, high
    return left, top


def _row(
    part: Polygon, bay: int, number: int, low: float, high: float, many: int, patch_m2: float
) -> _Row:
    lying = _between_y(part, low, high)
    west, _, east, _ = lying.bounds
    cuts = [_level(lying, _between_x, west, lying.area * n / many) for n in range(1, many)]
    ends = [west, *cuts, east]
    fronts = [_open_m(part, y) for y in (low + _SHIFT_M, (low + high) / 2, high - _SHIFT_M)]
    return _Row(
        bay=bay,
        number=number,
        low_m=low,
        high_m=high,
        cuts_m=tuple(ends),
        part=part,
        patch_m2=patch_m2,
        front_m=max(sum(b - a for a, b in front) for front in fronts),
        patches=tuple(_between_x(lying, a, b) for a, b in pairwise(ends)),
    )


def _met(row: _Row, after: _Row, first: int) -> list[int]:
    """For each patch of a row the last one of the next that it shares an edge with."""
    below = _open_m(row.part, row.high_m - _SHIFT_M)
    above = _open_m(row.part, row.high_m + _SHIFT_M)
    open_m = [
        (max(a, c), min(b, d)) for a, b in below for c, d in above if min(b, d) > max(a, c)
    ]

    def shared_m(left: float, right: float) -> float:
        return sum(max(0.0, min(b, right) - max(a, left)) for a, b in open_m)

    found: list[int] = []
    for a, b in pairwise(row.cuts_m):
        meets = [
            first + place
            for place, (c, d) in enumerate(pairwise(after.cuts_m))
            if min(b, d) > max(a, c) and shared_m(max(a, c), min(b, d)) > LEAST_EDGE_M
        ]
        found.append(meets[-1] if meets else -1)
    return found


def _open_m(part: Polygon, y: float) -> list[tuple[float, float]]:
    """Where a line along the back wall runs over the floor."""
    from shapely.geometry import LineString

    west, _, east, _ = part.bounds
    crossing = LineString([(west - 1.0, y), (east + 1.0, y)]).intersection(part)
    pieces = getattr(crossing, "geoms", [crossing])
    return sorted((p.bounds[0], p.bounds[2]) for p in pieces if p.length > 0.0)


def _between_x(shape: Polygon, west: float, east: float) -> Any:
    _, south, _, north = shape.bounds
    return _box(shape, west, south - 1.0, east, north + 1.0)


def _between_y(shape: Polygon, south: float, north: float) -> Any:
    west, _, east, _ = shape.bounds
    return _box(shape, west - 1.0, south, east + 1.0, north)


def _box(shape: Polygon, west: float, south: float, east: float, north: float) -> Any:
    from shapely.geometry import box

    return shape.intersection(box(west, south, east, north))


def _level(
    shape: Polygon, between: Callable[[Polygon, float, float], Any], low: float, wanted: float
) -> float:
    """Where what lies beyond `low` reaches an area: a square law from corner to corner."""
    from shapely import get_coordinates

    corners = np.unique(get_coordinates(shape)[:, 0 if between is _between_x else 1])
    high = float(corners[-1])

    def area_m2(at: float) -> float:
        return float(between(shape, low, at).area)

    if area_m2(high) <= wanted:
        return high
    ends = [low, *(float(corner) for corner in corners if corner > low)]
    after = bisect_left(ends, wanted, lo=1, key=area_m2)
    a, b = ends[after - 1 : after + 1]
    at_a, at_half, at_b = area_m2(a), area_m2((a + b) / 2), area_m2(b)
    bend = 2.0 * (at_a - 2.0 * at_half + at_b)
    slope, short = at_b - at_a - bend, wanted - at_a
    root = math.sqrt(max(0.0, slope**2 + 4.0 * bend * short))
    return a + (b - a) * min(1.0, 2.0 * short / (slope + root))
