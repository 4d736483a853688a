"""Air inside the kitchen: held at a set point, drifting after the weather, or open.

A shut kitchen without cooling follows outdoor air with one lag, some degrees above it
for what the ovens, the roof and the refrigerators give off.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.heat import checked

__all__ = ["drifting_air_c", "held_air_c", "open_air_c"]


def held_air_c(elapsed_s: ArrayLike, *, set_point_c: ArrayLike) -> NDArray[np.float64]:
    """Air held at a set point by heating or cooling.

    Not for a plant that is switched off overnight: that room drifts.

    Shapes: elapsed_s (times,); gives (times, columns) [°C].

    >>> held_air_c([0, 3600], set_point_c=[21, 24]).tolist()
    [[21.0, 24.0], [21.0, 24.0]]
    """
    times = _increasing(elapsed_s)
    set_point = np.atleast_1d(checked("set_point_c", set_point_c, unit="°C"))
    return np.tile(set_point, (times.size, 1))


def open_air_c(elapsed_s: ArrayLike, *, outdoor_c: ArrayLike) -> NDArray[np.float64]:
    """Air of a room whose doors stand open: the outdoor air itself.

    Shapes: elapsed_s (times,); outdoor_c (times,) or (times, columns); gives (times, columns)
    [°C].

    >>> open_air_c([0, 3600], outdoor_c=[21, 24]).tolist()
    [[21.0], [24.0]]
    """
    return _outdoor(_increasing(elapsed_s), outdoor_c).copy()


def drifting_air_c(
    elapsed_s: ArrayLike,
    *,
    outdoor_c: ArrayLike,
    start_c: ArrayLike,
    lag_s: ArrayLike,
    gain_k: ArrayLike,
) -> NDArray[np.float64]:
    """Air that follows outdoor air with a first-order lag, plus a gain.

    Exact for outdoor air linear between its times, so any spacing is stable. Not for
    a cooled room: see :func:`held_air_c`.

    Source: Exact solution of lag·dT/dt = T_out + gain - T over a linear piece (variation of
    constants).

    Shapes: elapsed_s (times,); outdoor_c (times,) or (times, columns); gives (times, columns)
    [°C].

    >>> drifting_air_c([0, 3600, 7200], outdoor_c=[20, 30, 30], start_c=20,
    ...     lag_s=5 * 3600, gain_k=0).round(2).ravel().tolist()
    [20.0, 20.94, 22.58]
    """
    times = _increasing(elapsed_s)
    target = _outdoor(times, outdoor_c) + np.atleast_1d(checked("gain_k", gain_k, unit="K"))
    lag = np.atleast_1d(checked("lag_s", lag_s, unit="s", over=0))
    start = np.atleast_1d(checked("start_c", start_c, unit="°C"))
    try:
        shape = np.broadcast_shapes(target.shape[1:], lag.shape, start.shape)
    except ValueError:
        raise OutOfRangeError(
            "outdoor_c, start_c, lag_s and gain_k must agree on the columns, got "
            f"{target.shape[1:]}, {start.shape}, {lag.shape}"
        ) from None
    target = np.broadcast_to(target, (times.size, *shape))
    spans = np.diff(times)[:, np.newaxis] / lag
    kept = np.exp(-spans)
    average = -np.expm1(-spans) / spans
    # What is kept of the room, and the weights of the piece's two ends, sum to 1.
    drive = (average - kept) * target[:-1] + (1.0 - average) * target[1:]
    room = np.empty((times.size, *shape))
    room[0] = start
    for piece in range(times.size - 1):
        room[piece + 1] = kept[piece] * room[piece] + drive[piece]
    return room


def _increasing(elapsed_s: ArrayLike) -> NDArray[np.float64]:
    times = checked("elapsed_s", elapsed_s, unit="s")
    if times.ndim != 1 or times.size == 0 or not np.all(np.diff(times) > 0):
        raise OutOfRangeError(
            f"elapsed_s must be a row of increasing times, got the shape {times.shape}"
        )
    return times


def _outdoor(times: NDArray[np.float64], outdoor_c: ArrayLike) -> NDArray[np.float64]:
    outdoor = checked("outdoor_c", outdoor_c, unit="°C")
    if outdoor.ndim == 1:
        outdoor = outdoor[:, np.newaxis]
    if outdoor.ndim != 2 or outdoor.shape[0] != times.size:
        raise OutOfRangeError(
            f"outdoor_c must have the shape ({times.size}, columns), got {outdoor.shape}"
        )
    return outdoor
