"""What a card's points say of humidity, and the factor on the rate that follows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError

__all__ = [
    "HumidityRate",
    "HumidityReach",
    "carries_factor",
    "humidity_reach",
    "stands_out",
]

ALIKE_K = 3.0
"""Readings within this many kelvin count as one temperature: invented."""
FEWEST = 3
APART_FRAC = 0.05
"""Humidities nearer than this count as one level; a hygrometer is good to about this."""
SPAN_FRAC = 0.20
"""Lowest to highest humidity of a group, at least: invented."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HumidityReach:
    """The best group of readings for a humidity factor, and whether it is enough."""

    levels: int
    span_frac: float

    @property
    def enough(self) -> bool:
        """Three levels at one temperature, 20 points from end to end."""
        return self.levels >= FEWEST and self.span_frac >= SPAN_FRAC - 1e-9


def humidity_reach(
    temp_c: ArrayLike, humidity_frac: ArrayLike, milestone: ArrayLike
) -> HumidityReach:
    """Look for readings of one milestone at one temperature and several humidities.

    >>> humidity_reach([21, 22, 21], [0.3, 0.5, 0.7], [0, 0, 0]).enough
    True
    >>> humidity_reach([15, 25, 35], [0.3, 0.5, 0.7], [0, 0, 0]).enough
    False
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    humidity = np.asarray(humidity_frac, dtype=np.float64)
    which = np.asarray(milestone)
    best = HumidityReach(levels=0, span_frac=0.0)
    known = ~np.isnan(humidity)
    for start_c, own in zip(temp[known], which[known], strict=True):
        group = known & (which == own) & (temp >= start_c) & (temp <= start_c + ALIKE_K)
        found = _reach_of(np.sort(humidity[group]))
        best = max(best, found, key=lambda reach: (reach.enough, reach.levels, reach.span_frac))
    return best


def _reach_of(rising: np.ndarray) -> HumidityReach:
    levels, last = 0, -1.0
    for value in rising:
        if value - last >= APART_FRAC - 1e-9:
            levels, last = levels + 1, value
    return HumidityReach(levels=levels, span_frac=float(rising[-1] - rising[0]))


def stands_out(slope: float, half_width: float) -> bool:
    """Whether a factor is clear of none: its interval does not hold zero."""
    return abs(slope) > half_width


Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class HumidityRate:
    """The factor of one card, and the humidities its points span."""

    slope: float
    """Change of ln(time) per unit of relative humidity."""
    reference_frac: float
    """Where the rate is 1, and the ages of the milestones are given."""
    low_frac: float
    high_frac: float

    def at(self, humidity_frac: ArrayLike) -> Array:
        """How many times faster than at the reference humidity everything ages.

        Shapes: humidity_frac S; gives S.

        >>> rate = HumidityRate(slope=-1.0, reference_frac=0.5, low_frac=0.3, high_frac=0.7)
        >>> [round(float(x), 3) for x in rate.at([0.5, 0.6, 0.95, float("nan")])]
        [1.0, 1.105, 1.221, 1.0]
        """
        humidity = np.asarray(humidity_frac, dtype=np.float64)
        if np.any((humidity < 0.0) | (humidity > 1.0)):
            raise OutOfRangeError(
                f"humidity_frac must lie within 0..1, got {np.nanmin(humidity):g}.."
                f"{np.nanmax(humidity):g}"
            )
        held = np.clip(humidity, self.low_frac, self.high_frac)
        off = np.nan_to_num(held - self.reference_frac, nan=0.0)
        return np.asarray(np.exp(-self.slope * off))


def carries_factor(temp_c: ArrayLike, humidity_frac: ArrayLike, milestone: ArrayLike) -> bool:
    """Whether points speak of humidity alone: one milestone, one temperature, two levels.

    >>> carries_factor([21, 21], [0.3, 0.7], [0, 0])
    True
    >>> carries_factor([21, 31], [0.3, 0.7], [0, 0])
    False
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    humidity = np.asarray(humidity_frac, dtype=np.float64)
    which = np.asarray(milestone)
    alike = (which[:, None] == which[None, :]) & (
        np.abs(temp[:, None] - temp[None, :]) <= ALIKE_K
    )
    # NaN is never far enough apart.
    apart = np.abs(humidity[:, None] - humidity[None, :]) >= APART_FRAC - 1e-9
    return bool(np.any(alike & apart))
