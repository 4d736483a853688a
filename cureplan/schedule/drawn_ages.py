"""Age of a thin film on a slab, gathered along the temperature errors of many nights."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from cureplan.physics.fit import KineticFit
from cureplan.physics.rate import GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K, AgeCurve
from cureplan.planning.conditions import HOUR_S, RoomConditions
from cureplan.schedule.nights import Nights

__all__ = ["DrawnAges", "ln_pace"]

Array = NDArray[np.float64]


def ln_pace(
    batch: Array, energy: Array, *, fit: KineticFit, spread_frac: float, temp_c: Array
) -> Array:
    """How much faster each night's material runs, as ln, at expected temperatures.

    Parameters
    ----------
    batch, energy : ndarray, shape (nights,)
        Standard normal draws of the batch and of the card's energy.
    fit : KineticFit
        The card's energy and its doubt.
    spread_frac : float
        Batch-to-batch SD of ln(time) [-].
    temp_c : ndarray, shape (N,)
        Temperatures [°C].

    Returns
    -------
    ndarray of float64, shape (nights, N)
    """
    inverse = 1.0 / (fit.reference_c + ZERO_CELSIUS_K) - 1.0 / (temp_c + ZERO_CELSIUS_K)
    lever = inverse * fit.energy_sd_j_mol / GAS_CONSTANT_J_MOL_K
    return np.asarray(batch[:, None] * spread_frac + energy[:, None] * lever)


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnAges:
    """The expected age curve, and by how much each night runs ahead of it."""

    curve: AgeCurve
    hours_s: Array
    expected_s: Array
    """Expected age at the hours, shape (H,)."""
    pace: Array
    """Each night's pace over the expected one at the hours, shape (nights, H)."""
    gained_s: Array
    """Each night's age at the hours, shape (nights, H)."""

    @classmethod
    def of(
        cls,
        curve: AgeCurve,
        conditions: RoomConditions,
        *,
        fit: KineticFit,
        spread_frac: float,
        batch: Array,
        energy: Array,
        nights: Nights,
    ) -> Self:
        """Follow one material through all nights of a room."""
        errors_k = nights.slab_k[conditions.room]
        first_s = max(nights.first_s, curve.first_s)
        hours_s = np.minimum(np.arange(first_s, curve.last_s + HOUR_S, HOUR_S), curve.last_s)
        at_s = np.broadcast_to(hours_s, (nights.members, hours_s.size))
        slab_c = conditions.slab_at(hours_s)
        error_k = nights.error_k(errors_k, at_s)
        kelvin = slab_c + ZERO_CELSIUS_K
        warmer = (
            fit.activation_energy_j_mol
            / GAS_CONSTANT_J_MOL_K
            * error_k
            / (kelvin * (kelvin + error_k))
        )
        pace = np.exp(
            warmer + ln_pace(batch, energy, fit=fit, spread_frac=spread_frac, temp_c=slab_c)
        )
        expected_s = curve.age_s(hours_s)
        steps = np.diff(expected_s) * 0.5 * (pace[:, 1:] + pace[:, :-1])
        gained_s = np.concatenate([np.zeros((pace.shape[0], 1)), steps.cumsum(axis=1)], axis=1)
        return cls(
            curve=curve,
            hours_s=hours_s,
            expected_s=expected_s,
            pace=pace,
            gained_s=gained_s,
        )

    def between(self, begins_s: Array, ends_s: Array) -> Array:
        """Age gained between instants, both of shape (nights, N) [s]."""
        return self._age(ends_s) - self._age(begins_s)

    def pace_at(self, at_s: Array) -> Array:
        """Pace at instants of shape (nights, N)."""
        hour, part = self._hour(at_s)
        before = np.take_along_axis(self.pace, hour, axis=1)
        after = np.take_along_axis(self.pace, hour + 1, axis=1)
        return np.asarray((1.0 - part) * before + part * after)

    def _hour(self, at_s: Array) -> tuple[NDArray[np.int64], Array]:
        where = np.clip((at_s - self.hours_s[0]) / HOUR_S, 0.0, self.hours_s.size - 1.001)
        hour = where.astype(np.int64)
        return hour, where - hour

    def _age(self, at_s: Array) -> Array:
        # A crew so late that the weather has ended is held to its last instant.
        held_s = np.clip(at_s, self.hours_s[0], self.hours_s[-1])
        hour, _ = self._hour(held_s)
        expected_s = np.asarray(self.curve.age_s(held_s))
        piece_s = self.expected_s[hour + 1] - self.expected_s[hour]
        part = (expected_s - self.expected_s[hour]) / np.where(piece_s > 0, piece_s, 1.0)
        before = np.take_along_axis(self.gained_s, hour, axis=1)
        after = np.take_along_axis(self.gained_s, hour + 1, axis=1)
        return np.asarray(before + part * (after - before))
