"""When readings can carry a humidity factor, and whether the one found stands out.

ln(minutes) is taken as straight against relative humidity. Damp days are warm days, so a
slope is only looked for where one milestone was read at several humidities and nearly
one temperature, and only kept where it is clear of nothing at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["HumidityReach", "humidity_reach", "stands_out"]

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

    Parameters
    ----------
    temp_c, humidity_frac : array_like, shape (n,)
        Temperature [°C] and relative humidity [-]; NaN where it was not read.
    milestone : array_like of int, shape (n,)
        Which milestone each reading is of.

    Returns
    -------
    HumidityReach

    Examples
    --------
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
