"""Quadrature shared by the bucket's stages: nodes, running integrals, cubic pieces."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["collocation", "hermite"]

Array = NDArray[np.float64]


@lru_cache(maxsize=4)
def collocation(count: int) -> tuple[Array, Array]:
    """Nodes on 0..1 and the matrix that integrates from 0 to each of them.

    Not for functions with kinks or roots inside the span.

    Parameters
    ----------
    count : int
        Nodes, >= 2 (Chebyshev-Lobatto); polynomials below that degree are exact.

    Returns
    -------
    nodes : ndarray, shape (count,)
    integrate : ndarray, shape (count, count)
        ``integrate @ values`` are the running integrals.

    Source
    ------
    Clenshaw-Curtis quadrature (Trefethen, Spectral Methods in MATLAB, ch. 12; from memory).

    Examples
    --------
    >>> nodes, integrate = collocation(5)
    >>> round(float((integrate @ nodes**3)[-1]), 12)
    0.25
    """
    angle = np.pi * np.arange(count) / (count - 1)
    nodes = 0.5 * (1.0 - np.cos(angle))
    basis = np.polynomial.chebyshev.chebvander(2 * nodes - 1, count - 1)
    integral = np.empty_like(basis)
    for order in range(count):
        unit = np.zeros(order + 1)
        unit[order] = 1.0
        primitive = np.polynomial.chebyshev.chebint(unit, lbnd=-1)
        integral[:, order] = 0.5 * np.polynomial.chebyshev.chebval(2 * nodes - 1, primitive)
    return nodes, integral @ np.linalg.inv(basis)


def hermite(part: Array, y0: Array, y1: Array, d0: Array, d1: Array) -> Array:
    """Cubic through two ends with their slopes.

    Not for extrapolation.

    Parameters
    ----------
    part : ndarray, shape S
        Position between the ends, 0..1.
    y0, y1, d0, d1 : ndarray, shape S
        Values at the ends, and slopes per unit of `part`.

    Returns
    -------
    ndarray, shape S

    Examples
    --------
    >>> half = np.array([0.5])
    >>> float(hermite(half, 0 * half, half + 0.5, 0 * half, half + 2.5)[0])  # x cubed
    0.125
    """
    rest = 1.0 - part
    return np.asarray(
        rest * rest * ((1 + 2 * part) * y0 + part * d0)
        + part * part * ((1 + 2 * rest) * y1 - rest * d1)
    )
