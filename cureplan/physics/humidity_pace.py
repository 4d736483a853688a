"""How the room's humidity hastens or holds back a product whose card says so.

ln(time) is taken as straight against relative humidity, as temperature aside it is for
moisture-cured resins over the middle of the range; no factor is ever invented, it comes
from a card with points at several humidities. Beyond the card's own driest and dampest
points the factor stays what it is there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.errors import OutOfRangeError
from cureplan.physics.fit_humidity import ALIKE_K, APART_FRAC

__all__ = ["HumidityPace", "carries_factor"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class HumidityPace:
    """The factor of one card, and the humidities its points span."""

    slope: float
    """Change of ln(time) per unit of relative humidity."""
    reference_frac: float
    """Where the pace is 1, and the ages of the milestones are given."""
    low_frac: float
    high_frac: float

    def at(self, humidity_frac: ArrayLike) -> Array:
        """How many times faster than at the reference humidity everything ages.

        Parameters
        ----------
        humidity_frac : array_like, shape S
            Relative humidity [-], 0 to 1; NaN, not known, counts as the reference.

        Returns
        -------
        ndarray of float64, shape S

        Raises
        ------
        OutOfRangeError
            A humidity lies outside 0..1.

        Examples
        --------
        >>> pace = HumidityPace(slope=-1.0, reference_frac=0.5, low_frac=0.3, high_frac=0.7)
        >>> [round(float(x), 3) for x in pace.at([0.5, 0.6, 0.95, float("nan")])]
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

    Parameters
    ----------
    temp_c, humidity_frac : array_like, shape (n,)
        Points; humidity NaN where none is given.
    milestone : array_like of int, shape (n,)
        Which milestone each is of.

    Returns
    -------
    bool

    Examples
    --------
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
