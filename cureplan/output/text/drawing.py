"""A room's outline drawn in the signs of a terminal."""

from __future__ import annotations

import numpy as np

from cureplan.inputs.job.model import Outline, Point

__all__ = ["DRAWN_KEY", "drawn_room"]

DRAWN_KEY = ": floor   b the pour begins here   = drain or joint   # not coated"
MOST_ACROSS, MOST_DOWN = 48, 20
SIGN_RATIO = 2.0
"""A sign of a terminal is about so much taller than wide."""


def drawn_room(outline: Outline) -> list[str]:
    """The room as its corners say, x to the right and y up.

    Examples
    --------
    >>> square = ((0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0))
    >>> post = ((0.5, 0.9), (1.5, 0.9), (1.5, 1.4), (0.5, 1.4))
    >>> shape = Outline(corners_m=square, islands_m=(post,), stop_lines_m=(), back_wall=(0, 1))
    >>> for line in drawn_room(shape)[1::6]:
    ...     print(line)
    ::::::::::::::::::::::::::::::::::::::::
    ::::::::::####################::::::::::
    ::::::::::::::::::::::::::::::::::::::::
    bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb
    """
    import shapely

    xs, ys = zip(*outline.corners_m, strict=True)
    cell_m = max(
        (max(xs) - min(xs)) / MOST_ACROSS, (max(ys) - min(ys)) / (MOST_DOWN * SIGN_RATIO)
    )
    across = max(1, round((max(xs) - min(xs)) / cell_m))
    down = max(1, round((max(ys) - min(ys)) / (cell_m * SIGN_RATIO)))
    x = min(xs) + (np.arange(across) + 0.5) * (max(xs) - min(xs)) / across
    y = max(ys) - (np.arange(down) + 0.5) * (max(ys) - min(ys)) / down
    grid_x, grid_y = np.meshgrid(x, y)
    signs = np.full(grid_x.shape, " ")
    signs[shapely.contains_xy(shapely.Polygon(outline.corners_m), grid_x, grid_y)] = ":"
    floor, half_m = signs == ":", cell_m * SIGN_RATIO / 2

    def near(ends: tuple[Point, Point]) -> np.ndarray:
        to_m = shapely.distance(shapely.LineString(ends), shapely.points(grid_x, grid_y))
        return np.asarray(floor & (to_m <= half_m * 1.001))

    for line in outline.stop_lines_m:
        signs[near(line)] = "="
    first, last = (outline.corners_m[corner] for corner in outline.back_wall)
    signs[near((first, last))] = "b"
    for island in outline.islands_m:
        signs[shapely.contains_xy(shapely.Polygon(island), grid_x, grid_y)] = "#"
    return ["".join(row).rstrip() for row in signs]
