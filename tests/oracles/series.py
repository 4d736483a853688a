"""Heat in walls, cylinders and spheres as series: what shipped pails and slabs are held to."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import j0, j1, jn_zeros

from cureplan.core.errors import OutOfRangeError
from cureplan.science.heat import checked

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
    shape = Shape(shape.value)  # a shipped body names its shape by its own enum
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
    return _PROFILES[Shape(shape.value)](angle)


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


# exp(-37) is below the rounding of a double.
_FORGOTTEN: Final = 37.0
_TERM_COUNTS: Final = (8, 32, 128, 512)
# The last root of n terms lies beyond (n - 1)·pi for all three shapes.
_FIRST_FOURIER: Final = _FORGOTTEN / (math.pi * (_TERM_COUNTS[-1] - 1)) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A wall, long cylinder or sphere that meets its surroundings all round.

    For a wall insulated behind, give its whole thickness as the half size.

    Parameters
    ----------
    shape : Shape
        Which coordinate heat travels along.
    half_size_m : float
        Half a wall's thickness, or the radius [m], > 0.
    conductivity_w_mk, diffusivity_m2_s : float
        Of the body, both > 0.
    surface_w_m2k : float
        Surface coefficient [W/m²K], > 0.

    Raises
    ------
    OutOfRangeError
        A number is not positive.

    Examples
    --------
    >>> pail_side = Body(shape=Shape.CYLINDER, half_size_m=0.0825, conductivity_w_mk=0.18,
    ...                  diffusivity_m2_s=8.6e-8, surface_w_m2k=100)
    >>> round(pail_side.biot, 1)
    45.8
    """

    shape: Shape
    half_size_m: float
    conductivity_w_mk: float
    diffusivity_m2_s: float
    surface_w_m2k: float

    def __post_init__(self) -> None:
        checked("half_size_m", self.half_size_m, unit="m", over=0)
        checked("conductivity_w_mk", self.conductivity_w_mk, unit="W/mK", over=0)
        checked("diffusivity_m2_s", self.diffusivity_m2_s, unit="m²/s", over=0)
        checked("surface_w_m2k", self.surface_w_m2k, unit="W/m²K", over=0)

    @property
    def biot(self) -> float:
        """Surface coefficient times half size over conductivity."""
        return self.surface_w_m2k * self.half_size_m / self.conductivity_w_mk

    def fourier(self, elapsed_s: ArrayLike) -> NDArray[np.float64]:
        """Elapsed time in units of half size squared over diffusivity."""
        elapsed = checked("elapsed_s", elapsed_s, unit="s", at_least=0)
        return np.asarray(elapsed * self.diffusivity_m2_s / self.half_size_m**2)


def gap_left(
    position_share: ArrayLike, elapsed_s: ArrayLike, *, body: Body
) -> NDArray[np.float64]:
    """Share of the first gap to the surroundings left at a place inside a body.

    Refused for the first instants, when the half-space is the better answer.

    Parameters
    ----------
    position_share : array_like, shape S
        0 at the centre (or the insulated face), 1 at the surface.
    elapsed_s : array_like, broadcastable to S
        Time since the surroundings changed [s], >= 0.
    body : Body
        What is cooled or warmed.

    Returns
    -------
    ndarray of float64, shape S
        Between 1 at the start and 0.

    Raises
    ------
    OutOfRangeError
        A place lies outside the body, a time is negative, or a time is so short
        that the series would need more than 512 terms.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.39 (wall), 5.47 (cylinder), 5.48 (sphere).

    Examples
    --------
    >>> wall = Body(shape=Shape.WALL, half_size_m=0.04, conductivity_w_mk=63.9,
    ...             diffusivity_m2_s=18.8e-6, surface_w_m2k=500)
    >>> round(float(60 - 80 * gap_left(0, 480, body=wall)), 1)
    43.0
    """
    place = checked("position_share", position_share, unit="", at_least=0, at_most=1)
    fourier = body.fourier(elapsed_s)
    started = fourier > 0
    if np.any(started & (fourier < _FIRST_FOURIER)):
        first_s = _FIRST_FOURIER * body.half_size_m**2 / body.diffusivity_m2_s
        raise OutOfRangeError(
            f"elapsed_s must be 0 or >= {first_s:g} s for this body; "
            "use convective_face_c for the first instants"
        )
    terms = series_terms(body.shape, body.biot, _count(fourier[started]))
    left = np.zeros(np.broadcast_shapes(place.shape, fourier.shape))
    for root, weight in zip(terms.roots, terms.centre_weights, strict=True):
        left += weight * profile(body.shape, root * place) * np.exp(-(root**2) * fourier)
    return np.asarray(np.where(started, left, 1.0))


def mean_gap_left(elapsed_s: ArrayLike, *, body: Body) -> NDArray[np.float64]:
    """Share of the first gap to the surroundings left in the mean over a body.

    The mean is what mixing the body afterwards gives, and what its heat depends on.

    Parameters
    ----------
    elapsed_s : array_like, shape S
        Time since the surroundings changed [s], >= 0.
    body : Body
        What is cooled or warmed.

    Returns
    -------
    ndarray of float64, shape S
        Exactly 1 at the start, and falling from there on.

    Raises
    ------
    OutOfRangeError
        A time is negative.

    Source
    ------
    Incropera et al., 6th ed., eq. 5.46, 5.51, 5.52 give 1 minus this, one term each.

    Examples
    --------
    >>> side = Body(shape=Shape.CYLINDER, half_size_m=0.0825, conductivity_w_mk=0.18,
    ...             diffusivity_m2_s=8.6e-8, surface_w_m2k=100)
    >>> [round(float(share), 2) for share in mean_gap_left([0, 3600, 4 * 3600], body=side)]
    [1.0, 0.6, 0.26]
    """
    fourier = body.fourier(elapsed_s)
    terms = series_terms(body.shape, body.biot, _count(fourier[fourier > 0]))
    weights = terms.mean_weights.copy()
    # The endless tail is hung on the last root: all weights are positive, so the mean
    # starts at 1, only ever falls, and is wrong by less than the tail (under
    # 2e-3) in the first instants alone.
    weights[-1] = 1.0 - weights[:-1].sum()
    left = np.zeros(fourier.shape)
    for root, weight in zip(terms.roots, weights, strict=True):
        left += weight * np.exp(-(root**2) * fourier)
    return left


def short_cylinder_gap_left(
    radius_share: ArrayLike,
    height_share: ArrayLike,
    elapsed_s: ArrayLike,
    *,
    side: Body,
    ends: Body,
) -> NDArray[np.float64]:
    """Share of the first gap left at a place inside a can.

    Not where the two ends meet different surroundings, unless one is insulated: then
    give the whole height as the half size of `ends`, and heights from that end.

    Parameters
    ----------
    radius_share, height_share : array_like, broadcastable
        0 on the axis and at mid-height (or the insulated end), 1 at the surface.
    elapsed_s : array_like, broadcastable
        Time since the surroundings changed [s], >= 0.
    side, ends : Body
        The can as a long cylinder, and as a wall; of one material.

    Returns
    -------
    ndarray of float64, broadcast shape
        Between 1 at the start and 0.

    Raises
    ------
    OutOfRangeError
        `side` is no cylinder or `ends` no wall, or as for :func:`gap_left`.

    Source
    ------
    Incropera et al., 6th ed., section 5.8 and its supplement 5S.2: product solution.

    Examples
    --------
    >>> tin = {"conductivity_w_mk": 0.83, "diffusivity_m2_s": 2.007e-7, "surface_w_m2k": 4540}
    >>> side = Body(shape=Shape.CYLINDER, half_size_m=0.03405, **tin)
    >>> ends = Body(shape=Shape.WALL, half_size_m=0.0508, **tin)
    >>> centre = short_cylinder_gap_left(0, 0, 2700, side=side, ends=ends)
    >>> round(float(115.6 - 86.2 * centre), 1)
    108.4
    """
    if side.shape is not Shape.CYLINDER or ends.shape is not Shape.WALL:
        raise OutOfRangeError(
            f"side must be a cylinder and ends a wall, got a {side.shape.value} "
            f"and a {ends.shape.value}"
        )
    around = gap_left(radius_share, elapsed_s, body=side)
    return np.asarray(around * gap_left(height_share, elapsed_s, body=ends))


def _count(fourier: NDArray[np.float64]) -> int:
    if fourier.size == 0:
        return _TERM_COUNTS[0]
    needed = 1 + math.sqrt(_FORGOTTEN / float(fourier.min())) / math.pi
    return next((count for count in _TERM_COUNTS if count >= needed), _TERM_COUNTS[-1])
