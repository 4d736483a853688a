"""Whole minutes: what the ordering counts in, and seconds on either side.

Tables are run every five minutes and taken as straight in between; tasks begin on whole
minutes. Beginning on whole five minutes as well would cost a night of five floors a
quarter of an hour in rounding, which is more than a tight coat window has.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.planning.schedule.problem import NEVER

__all__ = ["SLOT_S", "Slots", "between_rows", "nodes_of", "straight"]

SLOT_S = 60.0
NODE_S = 300.0
_FAR_S = 1e12
# A millisecond keeps a floating-point 19:45:00.0000001 from becoming 19:50.
_EPS_S = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Slots:
    """Slots counted from an origin that is itself a multiple of a slot [epoch s]."""

    origin_s: float

    @classmethod
    def since(cls, begins_s: float) -> Slots:
        """Slots counted from the last whole one at or before an instant [epoch s]."""
        return cls(origin_s=float(np.floor((begins_s + _EPS_S) / SLOT_S)) * SLOT_S)

    def at(self, slot: ArrayLike) -> NDArray[np.float64]:
        """Begin of a slot [epoch s]."""
        return np.asarray(self.origin_s + SLOT_S * np.asarray(slot, dtype=np.float64))

    def first_from(self, epoch_s: ArrayLike) -> NDArray[np.int64]:
        """First slot that begins at or after an instant; `NEVER` for inf.

        Examples
        --------
        >>> Slots(origin_s=0.0).first_from([0.0, 1.0, 300.0, np.inf]).tolist()
        [0, 1, 5, 1000000]
        """
        return self._count(np.ceil, np.asarray(epoch_s) - _EPS_S)

    def last_until(self, epoch_s: ArrayLike) -> NDArray[np.int64]:
        """Last slot that begins at or before an instant; `NEVER` for inf."""
        return self._count(np.floor, np.asarray(epoch_s) + _EPS_S)

    def _count(self, rounded: np.ufunc, epoch_s: NDArray[np.float64]) -> NDArray[np.int64]:
        slots = np.asarray(rounded((epoch_s - self.origin_s) / SLOT_S))
        return np.asarray(np.clip(slots, -NEVER, NEVER), dtype=np.int64)


def nodes_of(start_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Whole five minutes around each start, and never before the first or after the last.

    Examples
    --------
    >>> nodes_of(np.array([60.0, 120.0, 9000.0])).tolist()
    [60.0, 300.0, 9000.0]
    """
    around = np.concatenate([np.floor(start_s / NODE_S), np.ceil(start_s / NODE_S)])
    return np.unique(np.clip(around * NODE_S, start_s[0], start_s[-1]))


def straight(
    at_s: NDArray[np.float64], nodes_s: NDArray[np.float64], values_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Values between nodes; from the last finite node on, as good as never."""
    return np.interp(at_s, nodes_s, np.minimum(values_s, _FAR_S))


def between_rows(
    at_s: NDArray[np.float64],
    rows_s: NDArray[np.float64],
    values: NDArray[np.float64] | NDArray[np.float32],
) -> NDArray[np.float64]:
    """Straight lines between rows for every column of `values`, shape (S, ...)."""
    if rows_s.size == 1:
        return np.repeat(values, at_s.size, axis=0)
    index = np.clip(np.searchsorted(rows_s, at_s, side="right") - 1, 0, rows_s.size - 2)
    part = (at_s - rows_s[index]) / (rows_s[index + 1] - rows_s[index])
    part = part.reshape(-1, *[1] * (values.ndim - 1))
    return np.asarray(values[index] + (values[index + 1] - values[index]) * part)
