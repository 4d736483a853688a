"""What a run of the bucket model hands back: age against time of N buckets, and its inverse.

Once on the floor, what a film gains or loses by not having its slab's temperature at once
is kept apart, so that hours later the slab's own curve can be followed with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.errors import OutOfRangeError
from cureplan.physics.quadrature import hermite

__all__ = [
    "FLOOR_HORIZON_S",
    "FLOOR_ROOT_S05",
    "BucketPath",
    "film_age_after_s",
]

POLISH_ROUNDS = 4
FLOOR_HORIZON_S = 4 * 3600.0
FLOOR_PIECES = 24

Array = NDArray[np.float64]

FLOOR_ROOT_S05: Array = np.sqrt(FLOOR_HORIZON_S) * np.linspace(0.0, 1.0, FLOOR_PIECES + 1) ** 2
"""Where a film's age is known: root of the time on the floor [s^0.5], densest at first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BucketPath:
    """Where N buckets stand on their own clocks.

    Time and age are counted in seconds; time is zero when the filler goes in, and age
    already holds what the liquids-only minutes used up.
    """

    time_s: Array
    """Shape (N, nodes), rising."""
    age_s: Array
    rate: Array
    mixed_c: Array
    """Shape (N,): right after the filler went in."""
    pour_c: Array
    pour_s: Array
    pour_age_s: Array
    slab_rate: Array
    """Rate at the slab's own temperature, which rules beyond the last node."""
    film_age_s: Array
    """Shape (N, nodes of `FLOOR_ROOT_S05`): age the film gathered so far beyond a slab's
    that stays as it was; below zero where the film was poured the colder one."""

    @property
    def landing_age_s(self) -> Array:
        """Age to start from on the slab's own curve, with all the film does in 4 h counted.

        Following the film on to 12 h would move such a wait by 0.07 % for each kelvin
        between pour and slab.
        """
        return np.asarray(self.pour_age_s + self.film_age_s[:, -1])

    def when_s(self, age_s: ArrayLike) -> Array:
        """Time after filler-in at which each bucket reaches an age.

        Parameters
        ----------
        age_s : array_like, broadcastable to (N,)
            Age to reach [s], >= 0.

        Returns
        -------
        ndarray of float64, shape (N,)
            Time [s]; below zero where the liquids alone had used the age up. Beyond the
            last node the slab's rate is held.
        """
        target = np.broadcast_to(np.asarray(age_s, dtype=np.float64), self.pour_s.shape)
        last = self.age_s.shape[1] - 2
        index = np.clip(np.sum(self.age_s <= target[:, None], axis=1) - 1, 0, last)
        row = np.arange(index.size)
        age0, age1 = self.age_s[row, index], self.age_s[row, index + 1]
        time0, time1 = self.time_s[row, index], self.time_s[row, index + 1]
        slope0, slope1 = 1.0 / self.rate[row, index], 1.0 / self.rate[row, index + 1]
        width = age1 - age0
        part = (target - age0) / width
        inside = hermite(np.clip(part, 0.0, 1.0), time0, time1, slope0 * width, slope1 * width)
        before = time0 + (target - age0) * slope0
        after = time1 + (target - age1) / self.slab_rate
        return np.asarray(np.where(part < 0, before, np.where(part > 1, after, inside)))

    def age_at_s(self, time_s: ArrayLike) -> Array:
        """Age of each bucket [s] at a time after filler-in [s], within the path."""
        target = np.broadcast_to(np.asarray(time_s, dtype=np.float64), self.pour_s.shape)
        last = self.age_s.shape[1] - 2
        index = np.clip(np.sum(self.time_s <= target[:, None], axis=1) - 1, 0, last)
        row = np.arange(index.size)
        width = self.time_s[row, index + 1] - self.time_s[row, index]
        part = (target - self.time_s[row, index]) / width
        if not np.all((part >= 0) & (part <= 1)):
            raise OutOfRangeError("time_s lies outside the bucket's path")
        age = hermite(
            part,
            self.age_s[row, index],
            self.age_s[row, index + 1],
            self.rate[row, index] * width,
            self.rate[row, index + 1] * width,
        )
        # Polished against `when_s`, so that a card's point returns to its last digit.
        slope = (1.0 - part) * self.rate[row, index] + part * self.rate[row, index + 1]
        for _ in range(POLISH_ROUNDS):
            age = age + (target - self.when_s(age)) * slope
        return np.asarray(age)


def film_age_after_s(elapsed_s: ArrayLike, film_age_s: Array) -> Array:
    """Age that films gathered beyond their slabs' by some time on the floor.

    Parameters
    ----------
    elapsed_s : array_like, shape S
        Time since each film was poured [s]; before the pour there is none, and after the
        path's 4 h no more.
    film_age_s : ndarray, shape (*S, nodes)
        As in `BucketPath`.

    Returns
    -------
    ndarray of float64, shape S
        [s at reference temperature]; straight in the root of time between nodes, which
        errs by less than 1 s.

    Examples
    --------
    >>> film = np.linspace(0.0, -240.0, FLOOR_ROOT_S05.size)[None, :]
    >>> film_age_after_s([4 * 3600.0], film).tolist(), film_age_after_s([-9.0], film).tolist()
    ([-240.0], [0.0])
    """
    root = np.sqrt(np.clip(np.asarray(elapsed_s, dtype=np.float64), 0.0, FLOOR_HORIZON_S))
    index = np.searchsorted(FLOOR_ROOT_S05, root, side="right") - 1
    index = np.minimum(index, FLOOR_PIECES - 1)
    begin, end = FLOOR_ROOT_S05[index], FLOOR_ROOT_S05[index + 1]
    at_begin, at_end = (
        np.take_along_axis(film_age_s, (index + step)[..., None], axis=-1)[..., 0]
        for step in (0, 1)
    )
    return np.asarray(at_begin + (at_end - at_begin) * (root - begin) / (end - begin))
