"""Roots and weights of the series for a wall, a long cylinder and a sphere.

Each shape has an equation whose roots depend on the Biot number alone; they are
found once between known brackets, and kept.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import j0, j1, jn_zeros

from cureplan.physics.thermal_checks import checked

__all__ = ["SeriesTerms", "Shape", "profile", "series_terms"]

Profile = Callable[[NDArray[np.float64]], NDArray[np.float64]]


class Shape(Enum):
    """A body that conducts along one coordinate only."""

    WALL = "wall"
    CYLINDER = "cylinder"
    SPHERE = "sphere"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesTerms:
    """Roots and weights of a shape's series at one Biot number, in rising order."""

    roots: NDArray[np.float64]
    centre_weights: NDArray[np.float64]
    mean_weights: NDArray[np.float64]


@lru_cache(maxsize=256)
def series_terms(shape: Shape, biot: float, count: int) -> SeriesTerms:
    """First roots and weights of a shape's series.

    Parameters
    ----------
    shape : Shape
        Wall, cylinder or sphere.
    biot : float
        Surface coefficient times half size over conductivity, > 0.
    count : int
        Terms wanted, >= 1.

    Returns
    -------
    SeriesTerms
        Arrays of that length, read-only as they are shared.

    Raises
    ------
    OutOfRangeError
        The Biot number or the count is not positive.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.39, 5.47, 5.48; the mean's weights follow by
    integrating the profile over the body.

    Examples
    --------
    >>> first = series_terms(Shape.CYLINDER, 1.0, 1)
    >>> round(float(first.roots[0]), 4), round(float(first.centre_weights[0]), 4)
    (1.2558, 1.2071)
    """
    checked("biot", biot, unit="", over=0)
    checked("count", count, unit="", at_least=1)
    from scipy.optimize import brentq

    low, high = _brackets(shape, count)
    equation = _EQUATIONS[shape]
    roots = np.array(
        [
            brentq(equation, left, right, args=(biot,), xtol=1e-15, rtol=1e-14)
            for left, right in zip(low, high, strict=True)
        ],
        dtype=np.float64,
    )
    centre = _CENTRE_WEIGHTS[shape](roots)
    across, bend = _MEAN_SHAPE[shape]
    mean = across * biot**2 / (roots**2 * (roots**2 + biot**2 + bend * biot))
    for shared in (roots, centre, mean):
        shared.flags.writeable = False
    return SeriesTerms(roots=roots, centre_weights=centre, mean_weights=mean)


def profile(shape: Shape, angle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Value of a shape's own function, which is 1 at the centre.

    Parameters
    ----------
    shape : Shape
        Wall, cylinder or sphere.
    angle : ndarray
        Root times the place's share of the half size.

    Returns
    -------
    ndarray of float64
        cos, Bessel's J0, or sin(x)/x.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.39, 5.47, 5.48.

    Examples
    --------
    >>> round(float(profile(Shape.CYLINDER, np.array(1.0))), 4)
    0.7652
    """
    return _PROFILES[shape](angle)


def _brackets(shape: Shape, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    ordinal = np.arange(count, dtype=np.float64)
    if shape is Shape.WALL:
        return ordinal * np.pi, (ordinal + 0.5) * np.pi
    if shape is Shape.CYLINDER:
        return np.concatenate([[0.0], jn_zeros(1, count)[:-1]]), jn_zeros(0, count)
    low = ordinal * np.pi
    low[0] = 1e-9  # zero itself always solves the sphere's equation and is no root of ours
    return low, (ordinal + 1.0) * np.pi


def _sphere_profile(angle: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.sinc(angle / np.pi))


_EQUATIONS: Final[dict[Shape, Callable[[float, float], float]]] = {
    Shape.WALL: lambda root, biot: root * math.sin(root) - biot * math.cos(root),
    Shape.CYLINDER: lambda root, biot: float(root * j1(root) - biot * j0(root)),
    Shape.SPHERE: lambda root, biot: (1.0 - biot) * math.sin(root) - root * math.cos(root),
}
_PROFILES: Final[dict[Shape, Callable[[NDArray[np.float64]], NDArray[np.float64]]]] = {
    Shape.WALL: np.cos,
    Shape.CYLINDER: j0,
    Shape.SPHERE: _sphere_profile,
}
_CENTRE_WEIGHTS: Final[dict[Shape, Callable[[NDArray[np.float64]], NDArray[np.float64]]]] = {
    Shape.WALL: lambda r: 4.0 * np.sin(r) / (2.0 * r + np.sin(2.0 * r)),
    Shape.CYLINDER: lambda r: 2.0 / r * j1(r) / (j0(r) ** 2 + j1(r) ** 2),
    Shape.SPHERE: lambda r: 4.0 * (np.sin(r) - r * np.cos(r)) / (2.0 * r - np.sin(2.0 * r)),
}
_MEAN_SHAPE: Final = {
    Shape.WALL: (2.0, 1.0),
    Shape.CYLINDER: (4.0, 0.0),
    Shape.SPHERE: (6.0, -1.0),
}
