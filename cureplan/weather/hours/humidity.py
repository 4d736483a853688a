"""Dew point from relative humidity, for sources that give only the latter."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError

__all__ = ["dew_from_humidity_c", "humidity_from_dew"]

# Alduchov & Eskridge 1996, eq. 25 (over water): e = 610.94 Pa * exp(A t / (B + t)).
_A = 17.625
_B_C = 243.04
# Below this no gauge reads, and the logarithm runs away.
_LEAST_RH_FRAC = 0.005


def dew_from_humidity_c(temp_c: ArrayLike, *, rh_frac: ArrayLike) -> NDArray[np.float64]:
    """Dew point of air at a temperature and relative humidity.

    Not for ice: below freezing it is the dew point over water that is returned.

    Parameters
    ----------
    temp_c : array_like, shape S
        Air temperature [°C]; NaN passes through.
    rh_frac : array_like, broadcastable to S
        Relative humidity, 0 to 1; NaN passes through, and a gauge's plain 0 counts
        as 0.5 %.

    Returns
    -------
    ndarray of float64, shape S
        Dew point [°C], never above the air temperature.

    Raises
    ------
    OutOfRangeError
        A relative humidity lies outside 0 to 1.

    Source
    ------
    Alduchov & Eskridge (1996), Improved Magnus form approximation of saturation
    vapor pressure, J. Appl. Meteorol. 35, 601-609, eq. 25.

    Examples
    --------
    >>> round(float(dew_from_humidity_c(35.0, rh_frac=0.5)), 1)
    23.0
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    share = np.asarray(rh_frac, dtype=np.float64)
    if np.any((share < 0) | (share > 1)):
        raise OutOfRangeError("rh_frac must lie in 0..1")
    gamma = np.log(np.maximum(share, _LEAST_RH_FRAC)) + _A * temp / (_B_C + temp)
    return np.asarray(_B_C * gamma / (_A - gamma), dtype=np.float64)


def humidity_from_dew(temp_c: ArrayLike, *, dew_c: ArrayLike) -> NDArray[np.float64]:
    """Relative humidity, 0 to 1, of air with a dew point; the same source read backwards.

    Examples
    --------
    >>> round(float(humidity_from_dew(35.0, dew_c=23.0)), 2)
    0.5
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    dew = np.asarray(dew_c, dtype=np.float64)
    return np.asarray(np.exp(_A * dew / (_B_C + dew) - _A * temp / (_B_C + temp)))
