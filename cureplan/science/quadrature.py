"""Quadrature shared by the bucket's stages: nodes, running integrals, cubic pieces."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import OutOfRangeError

__all__ = ["collocation", "hermite", "running_integral", "solve_by_sweeps"]

Array = NDArray[np.float64]

NODES = 6
MOST_SWEEPS = 9
MOST_PIECES = 64


@lru_cache(maxsize=4)
def collocation(count: int) -> tuple[Array, Array]:
    """Nodes on 0..1 and the matrix that integrates from 0 to each of them.

    Not for functions with kinks or roots inside the span.

    Source: Clenshaw-Curtis quadrature (Trefethen, Spectral Methods in MATLAB, ch. 12; from
    memory).

    >>> nodes, integrate = collocation(5)
    >>> round(float((integrate @ nodes**3)[-1]), 12)
    0.25
    """
    if not count >= 2:
        raise OutOfRangeError(f"count must be >= 2 nodes, got {count}")
    angle = np.pi * np.arange(count) / (count - 1)
    nodes = 0.5 * (1.0 - np.cos(angle))
    basis = np.polynomial.chebyshev.chebvander(2 * nodes - 1, count - 1)
    integral = np.empty_like(basis)
    for order in range(count):
        unit = np.zeros(order + 1)
        unit[order] = 1.0
        primitive = np.polynomial.chebyshev.chebint(unit, lbnd=-1)
        integral[:, order] = 0.5 * np.polynomial.chebyshev.chebval(2 * nodes - 1, primitive)
    integrate = integral @ np.linalg.inv(basis)
    # Both are shared by every caller through the cache.
    nodes.flags.writeable = integrate.flags.writeable = False
    return nodes, integrate


def solve_by_sweeps(
    slope: Callable[[Array], Array], start: Array, span: Array, *, tolerance: float
) -> tuple[Array, Array]:
    """Solve dy/du = slope(y) for many rows at once by repeated quadrature.

    Not for stiff or oscillating problems. Where the sweeps do not settle at once, the
    span is cut into 2, 4, ... pieces, the same for every row.

    Source: Picard iteration on Chebyshev nodes (Clenshaw & Norton 1963; from memory).

    Shapes: start, span (N,); gives (m,).

    >>> part, y = solve_by_sweeps(lambda y: -y, np.ones(1), np.ones(1), tolerance=1e-9)
    >>> round(float(y[0, -1]), 6)  # 1/e
    0.367879
    """
    pieces = 1
    while pieces <= MOST_PIECES:
        found = _in_pieces(slope, start, span, pieces, tolerance)
        if found is not None:
            return found
        pieces *= 2
    raise OutOfRangeError("start changes too fast over the span to be followed")


def _in_pieces(
    slope: Callable[[Array], Array], start: Array, span: Array, pieces: int, tolerance: float
) -> tuple[Array, Array] | None:
    nodes, integrate = collocation(NODES)
    length = span[:, None] / pieces
    first = start[:, None]
    parts, columns = [np.zeros(1)], [first]
    for piece in range(pieces):
        y = np.repeat(first, nodes.size, axis=1)
        for _ in range(MOST_SWEEPS):
            before = y
            y = first + length * (slope(y) @ integrate.T)
            # "not settled" rather than "unsettled": NaN must not pass.
            settled = bool(np.max(np.abs(y - before)) <= tolerance)
            if settled:
                break
        if not settled:
            return None
        parts.append((piece + nodes[1:]) / pieces)
        columns.append(y[:, 1:])
        first = y[:, -1:]
    return np.concatenate(parts), np.hstack(columns)


def running_integral(part: Array, values: Array, span: Array) -> Array:
    """Integral from the start to each point that `solve_by_sweeps` has returned.

    Not for other points: it counts on their places.

    Shapes: part (m,); values (N, m); span (N,); gives (N, m).

    >>> part, y = solve_by_sweeps(lambda y: 1 + 0 * y, np.zeros(1), np.ones(1),
    ...                           tolerance=1e-9)
    >>> round(float(running_integral(part, y**2, np.ones(1))[0, -1]), 12)
    0.333333333333
    """
    _, integrate = collocation(NODES)
    pieces = (part.size - 1) // (NODES - 1)
    length = span[:, None] / pieces
    total = np.zeros_like(values)
    for piece in range(pieces):
        inside = slice(piece * (NODES - 1), (piece + 1) * (NODES - 1) + 1)
        begun = total[:, inside.start : inside.start + 1]
        total[:, inside] = begun + length * (values[:, inside] @ integrate.T)
    return total


def hermite(part: Array, y0: Array, y1: Array, d0: Array, d1: Array) -> Array:
    """Cubic through two ends with their slopes.

    Not for extrapolation.

    Shapes: part, y0, y1, d0, d1 S; gives S.

    >>> half = np.array([0.5])
    >>> float(hermite(half, 0 * half, half + 0.5, 0 * half, half + 2.5)[0])  # x cubed
    0.125
    """
    rest = 1.0 - part
    return np.asarray(
        rest * rest * ((1 + 2 * part) * y0 + part * d0)
        + part * part * ((1 + 2 * rest) * y1 - rest * d1)
    )
