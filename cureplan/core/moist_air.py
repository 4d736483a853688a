"""Moist air over water, also below freezing: dew point from humidity, and back."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError

__all__ = ["dew_from_humidity_c", "relative_humidity"]

# Alduchov & Eskridge 1996, J. Appl. Meteorol. 35, 601-609, eq. 21 and 25 (over water):
# e = 610.94 Pa * exp(A t / (B + t)).
_A = 17.625
_B_C = 243.04
# Below this no gauge reads, and the logarithm runs away.
_LEAST_RH_FRAC = 0.005


def dew_from_humidity_c(temp_c: ArrayLike, *, rh_frac: ArrayLike) -> NDArray[np.float64]:
    """Dew point [°C] of air, never above its temperature; NaN passes through.

    Not for ice: below freezing it is the dew point over water. A gauge's plain 0 counts as
    0.5 %. Refuses a humidity outside 0 to 1. Source: Alduchov & Eskridge 1996, eq. 25.

    >>> round(float(dew_from_humidity_c(35.0, rh_frac=0.5)), 1)
    23.0
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    share = np.asarray(rh_frac, dtype=np.float64)
    if np.any((share < 0) | (share > 1)):
        raise OutOfRangeError("rh_frac must lie in 0..1")
    gamma = np.log(np.maximum(share, _LEAST_RH_FRAC)) + _A * temp / (_B_C + temp)
    # Rounding could lift saturated air's dew point an ulp above its temperature.
    return np.asarray(np.minimum(_B_C * gamma / (_A - gamma), temp), dtype=np.float64)


def relative_humidity(temp_c: ArrayLike, *, dew_c: ArrayLike) -> NDArray[np.float64]:
    """Relative humidity, a share above 0 and at most 1, of air with this dew point.

    Refuses a missing value, and a dew point above its air. Source: Alduchov & Eskridge
    1996, eq. 21.

    >>> round(float(relative_humidity(35, dew_c=23)), 2)
    0.5
    """
    temp, dew = np.asarray(temp_c, dtype=np.float64), np.asarray(dew_c, dtype=np.float64)
    # Very dry air has a dew point far below any air: it is only a vapour pressure.
    if not (np.all(np.isfinite(temp)) and np.all(dew > -_B_C)):
        raise OutOfRangeError("temp_c and dew_c must be finite temperatures")
    above = np.asarray(dew > temp)
    if np.any(above):
        first = np.broadcast_to(dew, above.shape)[above][0]
        raise OutOfRangeError(f"dew_c must be <= temp_c, got {first:g} °C")
    return np.asarray(np.exp(_A * dew / (_B_C + dew) - _A * temp / (_B_C + temp)))
