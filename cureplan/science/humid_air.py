"""Moist air: vapour pressure, dew point, humidity, and the margin a coat needs.

All over water, also below freezing, where a frost point would lie a little higher.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.heat import checked

__all__ = [
    "coat_allowed",
    "dew_margin_k",
    "dew_point_c",
    "relative_humidity",
    "saturation_pressure_pa",
]

# Alduchov & Eskridge 1996, J. Appl. Meteorol. 35, eq. 21 and 23; their stated range.
_PRESSURE_AT_ZERO_PA: Final = 610.94
_SLOPE: Final = 17.625
_OFFSET_C: Final = 243.04
_COLDEST_C: Final = -40.0
_HOTTEST_C: Final = 50.0


def saturation_pressure_pa(temp_c: ArrayLike) -> NDArray[np.float64]:
    """Vapour pressure of saturated air over water.

    Not outside -40..50 °C, the range of the fit.

    Parameters
    ----------
    temp_c : array_like, shape S
        Air temperature [°C], -40..50.

    Returns
    -------
    ndarray of float64, shape S
        [Pa], within 0.4 %.

    Raises
    ------
    OutOfRangeError
        A temperature is missing or outside the range.

    Source
    ------
    Alduchov & Eskridge 1996, J. Appl. Meteorol. 35, 601-609, eq. 21.

    Examples
    --------
    >>> round(float(saturation_pressure_pa(25)))
    3162
    """
    temp = checked("temp_c", temp_c, unit="°C", at_least=_COLDEST_C, at_most=_HOTTEST_C)
    return np.asarray(_PRESSURE_AT_ZERO_PA * np.exp(_SLOPE * temp / (_OFFSET_C + temp)))


def dew_point_c(temp_c: ArrayLike, *, humidity: ArrayLike) -> NDArray[np.float64]:
    """Temperature at which air of this temperature and humidity is saturated.

    Parameters
    ----------
    temp_c : array_like, shape S
        Air temperature [°C], -40..50.
    humidity : array_like, broadcastable with S
        Relative humidity over water, a share > 0 and <= 1.

    Returns
    -------
    ndarray of float64, broadcast shape
        [°C]; never above `temp_c`.

    Raises
    ------
    OutOfRangeError
        A value is missing or outside its range; 55 for 55 % is refused.

    Source
    ------
    Alduchov & Eskridge 1996, eq. 21 solved for temperature.

    Examples
    --------
    >>> round(float(dew_point_c(35, humidity=0.5)), 1)
    23.0
    """
    temp = checked("temp_c", temp_c, unit="°C", at_least=_COLDEST_C, at_most=_HOTTEST_C)
    share = checked("humidity", humidity, unit="", over=0, at_most=1)
    log_ratio = np.log(share) + _SLOPE * temp / (_OFFSET_C + temp)
    # Rounding could lift saturated air's dew point an ulp above its temperature.
    return np.asarray(np.minimum(_OFFSET_C * log_ratio / (_SLOPE - log_ratio), temp))


def relative_humidity(temp_c: ArrayLike, *, dew_c: ArrayLike) -> NDArray[np.float64]:
    """Relative humidity of air with this temperature and dew point.

    Parameters
    ----------
    temp_c : array_like, shape S
        Air temperature [°C], -40..50.
    dew_c : array_like, broadcastable with S
        Dew point over water [°C], <= `temp_c`.

    Returns
    -------
    ndarray of float64, broadcast shape
        A share > 0 and <= 1.

    Raises
    ------
    OutOfRangeError
        A value is missing, or a dew point lies above its air temperature.

    Source
    ------
    Alduchov & Eskridge 1996, eq. 21.

    Examples
    --------
    >>> round(float(relative_humidity(35, dew_c=23)), 2)
    0.5
    """
    temp = checked("temp_c", temp_c, unit="°C", at_least=_COLDEST_C, at_most=_HOTTEST_C)
    # Very dry air has a dew point below the fit's range; it is only a vapour pressure.
    dew = checked("dew_c", dew_c, unit="°C", over=-_OFFSET_C, at_most=_HOTTEST_C)
    above = np.asarray(dew > temp)
    if np.any(above):
        first = np.broadcast_to(dew, above.shape)[above][0]
        raise OutOfRangeError(f"dew_c must be <= temp_c, got {first:g} °C")
    exponent = _SLOPE * dew / (_OFFSET_C + dew) - _SLOPE * temp / (_OFFSET_C + temp)
    return np.asarray(np.exp(exponent))


def dew_margin_k(surface_c: ArrayLike, *, dew_c: ArrayLike) -> NDArray[np.float64]:
    """How far a surface stays above the dew point of the air over it.

    Parameters
    ----------
    surface_c : array_like, shape S
        Slab, pail or film surface [°C].
    dew_c : array_like, broadcastable with S
        Dew point of the air [°C].

    Returns
    -------
    ndarray of float64, broadcast shape
        [K]; negative where water settles.

    Raises
    ------
    OutOfRangeError
        A value is missing.

    Examples
    --------
    >>> float(dew_margin_k(24.0, dew_c=20.0))
    4.0
    """
    surface = checked("surface_c", surface_c, unit="°C")
    return np.asarray(surface - checked("dew_c", dew_c, unit="°C"))


def coat_allowed(
    surface_c: ArrayLike, *, dew_c: ArrayLike, least_margin_k: float
) -> NDArray[np.bool_]:
    """Whether a surface is far enough above dew point to be coated.

    Parameters
    ----------
    surface_c : array_like, shape S
        Surface to be coated [°C].
    dew_c : array_like, broadcastable with S
        Dew point of the air [°C].
    least_margin_k : float
        Margin asked for [K], >= 0; DEW_MARGIN_K unless a card says otherwise.

    Returns
    -------
    ndarray of bool, broadcast shape
        True where the margin is kept.

    Raises
    ------
    OutOfRangeError
        A value is missing or the margin is negative.

    Source
    ------
    3 °C (5 °F) above dew point: common practice, no source.

    Examples
    --------
    >>> coat_allowed([24.0, 22.0], dew_c=20.0, least_margin_k=3).tolist()
    [True, False]
    """
    least = checked("least_margin_k", least_margin_k, unit="K", at_least=0)
    return np.asarray(dew_margin_k(surface_c, dew_c=dew_c) >= least)
