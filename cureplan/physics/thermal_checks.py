"""One range check for every thermal model, so that each refusal reads alike."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.errors import OutOfRangeError

__all__ = ["checked"]


def checked(
    name: str,
    value: ArrayLike,
    *,
    unit: str,
    over: float = -math.inf,
    at_least: float = -math.inf,
    at_most: float = math.inf,
) -> NDArray[np.float64]:
    """Return the value as float64 if every element is finite and in range.

    For arguments of a model only; what a user typed is checked where it is read,
    with file and line.

    Parameters
    ----------
    name : str
        The argument as its caller knows it.
    value : array_like
        Number or numbers to check.
    unit : str
        Unit shown in the message; "" for a plain number.
    over, at_least, at_most : float
        Open lower, closed lower and closed upper limit.

    Returns
    -------
    ndarray of float64
        The same numbers; nothing is clipped.

    Raises
    ------
    OutOfRangeError
        An element is missing (NaN), infinite or outside the limits.

    Examples
    --------
    >>> float(checked("depth_m", 0.1, unit="m", at_least=0))
    0.1
    >>> checked("depth_m", [0.1, -2], unit="m", at_least=0)
    Traceback (most recent call last):
    ...
    cureplan.errors.OutOfRangeError: depth_m must be >= 0 m, got -2 m
    """
    array = np.asarray(value, dtype=np.float64)
    # A mask of what is right, so that NaN counts as wrong.
    right = np.isfinite(array) & (array > over) & (array >= at_least) & (array <= at_most)
    if right.all():
        return array
    wrong = float(array[~right].flat[0])
    limits = [
        f"{sign} {limit:g}"
        for sign, limit in ((">", over), (">=", at_least), ("<=", at_most))
        if math.isfinite(limit)
    ]
    wanted = " and ".join(limits) if limits and math.isfinite(wrong) else "a finite number"
    tail = f" {unit}" if unit else ""
    raise OutOfRangeError(f"{name} must be {wanted}{tail}, got {wrong:g}{tail}")
