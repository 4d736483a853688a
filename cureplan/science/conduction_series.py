"""Heat in plates and cylinders as series, with the roots they need."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache, partial
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.science.heat import checked, root_between

__all__ = [
    "Body",
    "SeriesTerms",
    "Shape",
    "mean_gap_left",
    "series_terms",
]


class Shape(Enum):
    """A body that conducts along one coordinate only."""

    WALL = "wall"
    CYLINDER = "cylinder"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesTerms:
    """Roots and weights of a shape's series at one Biot number, in rising order."""

    roots: NDArray[np.float64]
    mean_weights: NDArray[np.float64]


@lru_cache(maxsize=256)
def series_terms(shape: Shape, biot: float, count: int) -> SeriesTerms:
    """First roots and weights of a shape's series.

    Source: Incropera et al., 6th ed., eq. 5.39, 5.47, 5.48; the mean's weights follow by
    integrating the profile over the body.

    >>> first = series_terms(Shape.CYLINDER, 1.0, 1)
    >>> round(float(first.roots[0]), 4), round(float(first.mean_weights[0]), 4)
    (1.2558, 0.9843)
    """
    checked("biot", biot, unit="", over=0)
    checked("count", count, unit="", at_least=1)
    low, high = _brackets(shape, count)
    roots = root_between(partial(_EQUATIONS[shape], biot=biot), low, high)
    across, bend = _MEAN_SHAPE[shape]
    mean = across * biot**2 / (roots**2 * (roots**2 + biot**2 + bend * biot))
    for shared in (roots, mean):
        shared.flags.writeable = False
    return SeriesTerms(roots=roots, mean_weights=mean)


def _brackets(shape: Shape, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    ordinal = np.arange(count, dtype=np.float64)
    if shape is Shape.WALL:
        return ordinal * np.pi, (ordinal + 0.5) * np.pi
    return np.concatenate([[0.0], _bessel_zeros(1, count)[:-1]]), _bessel_zeros(0, count)


def _bessel(x: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """J0 and J1.

    Source: Bessel's integral by the midpoint rule, exact to rounding once the points are
    more than half of x (from memory).
    """
    points = 60 + int(0.55 * x.max())
    turn = (np.arange(points) + 0.5) * np.pi / points
    wave = x[:, None] * np.sin(turn)
    return np.cos(wave).mean(axis=1), np.cos(turn - wave).mean(axis=1)


def _bessel_zeros(order: int, count: int) -> NDArray[np.float64]:
    """First zeros of J0 or J1, by Newton from McMahon's expansion (from memory)."""
    at = np.asarray((np.arange(1.0, count + 1.0) + 0.5 * order - 0.25) * np.pi)
    at += (1.0 - 4.0 * order**2) / (8.0 * at)
    for _ in range(4):
        j0, j1 = _bessel(at)
        at = at + (j0 / j1 if order == 0 else -j1 / (j0 - j1 / at))
    return at


def _of_wall(root: NDArray[np.float64], biot: float) -> NDArray[np.float64]:
    return np.asarray(root * np.sin(root) - biot * np.cos(root))


def _of_cylinder(root: NDArray[np.float64], biot: float) -> NDArray[np.float64]:
    j0, j1 = _bessel(root)
    return np.asarray(root * j1 - biot * j0)


_EQUATIONS: Final = {Shape.WALL: _of_wall, Shape.CYLINDER: _of_cylinder}
_MEAN_SHAPE: Final = {
    Shape.WALL: (2.0, 1.0),
    Shape.CYLINDER: (4.0, 0.0),
}


# exp(-37) is below the rounding of a double.
_FORGOTTEN: Final = 37.0
_TERM_COUNTS: Final = (8, 32, 128, 512)


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A wall or long cylinder that meets its surroundings all round.

    For a wall insulated behind, give its whole thickness as the half size.

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


def mean_gap_left(elapsed_s: ArrayLike, *, body: Body) -> NDArray[np.float64]:
    """Share of the first gap to the surroundings left in the mean over a body.

    The mean is what mixing the body afterwards gives, and what its heat depends on.

    Source: Incropera et al., 6th ed., eq. 5.46, 5.51, 5.52 give 1 minus this, one term each.

    Shapes: elapsed_s S; gives S.

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


def _count(fourier: NDArray[np.float64]) -> int:
    if fourier.size == 0:
        return _TERM_COUNTS[0]
    needed = 1 + math.sqrt(_FORGOTTEN / float(fourier.min())) / math.pi
    return next((count for count in _TERM_COUNTS if count >= needed), _TERM_COUNTS[-1])
