"""What a run of the bucket model hands back: age against time of N buckets, and its inverse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.errors import OutOfRangeError
from cureplan.physics.quadrature import hermite

__all__ = ["BucketPath"]

POLISH_ROUNDS = 4

Array = NDArray[np.float64]


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
    landing_age_s: Array
    """Age to start from on the slab's own curve: what the film gained or lost by not
    having the slab's temperature at once is already counted, for the path's 4 h on the
    floor. Following the film on to 12 h would move such a wait by 0.07 % for each kelvin
    between pour and slab."""

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
