"""A floor of any outline as the plan says it is poured, held against the job's own shape."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Outline

Floats = NDArray[np.float64]

__all__ = [
    "along_m",
    "bay_areas_m2",
    "edge_m",
    "misfits_m2",
    "partners",
    "patch_areas_m2",
    "rectangle_off_m",
]

Patches = Sequence[Sequence[Sequence[tuple[float, float]]]]

TOUCH_M = 0.003
"""Corners are written to the millimetre, so neighbours may lie a little apart."""
LEAST_SHARED_M = 0.02
COVER_TOL_FRAC = 0.004
SHARE_TOL_FRAC = 0.02


def _shape(patch: Sequence[Sequence[tuple[float, float]]]) -> Any:
    from shapely import make_valid, union_all
    from shapely.geometry import Polygon

    return union_all([make_valid(Polygon(ring)) for ring in patch if len(ring) > 2])


def _floor(outline: Outline) -> Any:
    from shapely.geometry import Polygon

    floor = Polygon(outline.corners_m)
    for island in outline.islands_m:
        floor = floor.difference(Polygon(island))
    return floor


def edge_m(outline: Outline) -> float:
    """Length of its walls and of those of its islands."""
    return float(_floor(outline).boundary.length)


def along_m(outline: Outline, patches: Patches) -> tuple[Floats, Floats]:
    """How near to the back wall each patch begins, and how far from it it ends [m]."""
    (x0, y0), (x1, y1) = (outline.corners_m[corner] for corner in outline.back_wall)
    run_m = float(np.hypot(x1 - x0, y1 - y0))

    def from_wall_m(corners: Sequence[tuple[float, float]]) -> Floats:
        return np.array(
            [((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)) / run_m for x, y in corners]
        )

    # The floor lies on the side that most of it is on.
    middle = _floor(outline).centroid
    side = 1.0 if from_wall_m([(middle.x, middle.y)])[0] > 0 else -1.0
    far = [side * from_wall_m([at for ring in patch for at in ring]) for patch in patches]
    return np.array([at.min() for at in far]), np.array([at.max() for at in far])


def patch_areas_m2(patches: Patches) -> Floats:
    """Area of each patch."""
    return np.array([_shape(patch).area for patch in patches])


def bay_areas_m2(patches: Patches, bays: Sequence[int]) -> dict[int, float]:
    """Area of each bay, by its patches; nothing for a bay without."""
    areas = dict.fromkeys(bays, 0.0)
    for bay, area_m2 in zip(bays, patch_areas_m2(patches), strict=False):
        areas[bay] += float(area_m2)
    return areas


def misfits_m2(
    outline: Outline | None, patches: Patches, bays: Sequence[int]
) -> Iterator[tuple[str, float]]:
    """What is wrong with the patches of a floor, and by how much."""
    from shapely import union_all

    if outline is None or len(patches) != len(bays):
        yield f"{len(patches)} patches for {len(bays)} buckets", float(len(bays))
        return
    shapes, floor = [_shape(patch) for patch in patches], _floor(outline)
    covered = union_all([shape.buffer(TOUCH_M / 2) for shape in shapes])
    bare_m2 = floor.difference(covered).area
    outside_m2 = sum(shape.difference(floor.buffer(TOUCH_M)).area for shape in shapes)
    twice_m2 = sum(shape.area for shape in shapes) - union_all(shapes).area
    for what, off_m2 in (
        ("floor that no bucket covers", bare_m2),
        ("buckets outside the outline or on an island", outside_m2),
        ("floor that two buckets cover", twice_m2),
    ):
        if off_m2 > COVER_TOL_FRAC * floor.area:
            yield what, off_m2
    bay_m2 = bay_areas_m2(patches, bays)
    for number, (bay, shape) in enumerate(zip(bays, shapes, strict=True), start=1):
        share_m2 = bay_m2[bay] / list(bays).count(bay)
        if abs(shape.area - share_m2) > SHARE_TOL_FRAC * share_m2 + 0.005:
            yield f"bucket {number} covers {shape.area:.2f} m2", abs(shape.area - share_m2)


def rectangle_off_m(
    patches: Patches, *, length_m: float, width_m: float, counts: Sequence[Sequence[int]]
) -> float:
    """How far a corner lies from where it must, on a rectangle: rows bay by bay [m]."""
    wanted: list[list[tuple[float, float]]] = []
    bay_m = width_m / max(1, len(counts))
    for bay, rows in enumerate(counts):
        low_m = 0.0
        for many in rows:
            high_m = low_m + length_m * many / sum(rows)
            ends_m = [bay * bay_m + bay_m * n / many for n in range(many + 1)]
            wanted += [
                [(a, low_m), (b, low_m), (b, high_m), (a, high_m)] for a, b in pairwise(ends_m)
            ]
            low_m = high_m
    given = [list(patch[0]) for patch in patches if len(patch) == 1]
    if [len(ring) for ring in given] != [4] * len(wanted):
        return max(length_m, width_m)
    off_m = np.abs(np.array(given) - np.array(wanted))
    return float(off_m.max()) if off_m.size else 0.0


def partners(
    patches: Patches, bays: Sequence[int], rows: Sequence[int]
) -> tuple[int | None, ...]:
    """Which bucket each must melt into: the last of its bay's later rows that it touches."""
    shapes = [_shape(patch) for patch in patches]
    grown = [shape.buffer(TOUCH_M, cap_style="flat", join_style="mitre") for shape in shapes]
    found: list[int | None] = []
    for i in range(len(bays)):
        later = [
            j
            for j in range(min(len(shapes), len(bays)))
            if i < len(shapes)
            and bays[j] == bays[i]
            and rows[j] > rows[i]
            and _shared_m(grown[i], grown[j]) > LEAST_SHARED_M
        ]
        found.append(later[-1] if later else None)
    return tuple(found)


def _shared_m(one: Any, other: Any) -> float:
    """Length of the edge two patches share, each grown by a hair."""
    if not one.intersects(other):
        return 0.0
    return float(one.intersection(other).area) / (2 * TOUCH_M)
