"""How each clock runs in the nights that were drawn."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray

from cureplan.core.kept import kept
from cureplan.planning.floor.conditions import HOUR_S, RoomConditions
from cureplan.planning.floor.layers import Layer
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.odds.nights import Nights, around_of, hour_of
from cureplan.science.fit import KineticFit
from cureplan.science.rate import GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K, AgeCurve

__all__ = ["DrawnAges", "ages_on", "kit_factor", "ln_pace"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

NO_LATER_S: Final = 48 * HOUR_S
"""How long after the opening ages are still followed, on a night that went wrong."""
SURELY: Final = 2.0
"""How many times the age a floor is asked for it is followed: a slow kit's takes longer."""


def ln_pace(energy: Array, *, fit: KineticFit, temp_c: Array) -> Array:
    """How much faster each night's material runs by its energy, as ln, when expected at."""
    inverse = 1.0 / (fit.reference_c + ZERO_CELSIUS_K) - 1.0 / (temp_c + ZERO_CELSIUS_K)
    lever = inverse * fit.energy_sd_j_mol / GAS_CONSTANT_J_MOL_K
    return np.asarray(energy[:, None] * lever)


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
    _pieces_s: Array = field(init=False)
    """What is expected of each hour, shape (H - 1,); none is divided by."""

    def __post_init__(self) -> None:
        pieces_s = np.diff(self.expected_s)
        object.__setattr__(self, "_pieces_s", np.where(pieces_s > 0, pieces_s, 1.0))

    @classmethod
    def of(
        cls,
        curve: AgeCurve,
        conditions: RoomConditions,
        *,
        fit: KineticFit,
        energy: Array,
        nights: Nights,
    ) -> Self:
        """Follow one material through all nights of a room."""
        errors_k = nights.slab_k[conditions.room]
        first_s = max(nights.first_s, curve.first_s)
        # Weather may be known for weeks after the job: no crew is that late.
        last_s = min(curve.last_s, nights.last_s + NO_LATER_S)
        hours_s = np.minimum(np.arange(first_s, last_s + HOUR_S, HOUR_S), last_s)
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
        pace = np.exp(warmer + ln_pace(energy, fit=fit, temp_c=slab_c))
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

    def around(self, begins_s: float, ends_s: float, *, most_s: float) -> Self:
        """The ages that what is laid between two instants can be asked for, at an age of
        `most_s` at most: of many rooms' weeks, all hours of all would fill the memory."""
        low = max(0, int(np.searchsorted(self.hours_s, begins_s)) - 1)
        latest = int(np.searchsorted(self.hours_s, ends_s + 0.5 * NO_LATER_S))
        laid = min(latest, self.hours_s.size - 1)
        grown_s = (self.gained_s[:, laid:] - self.gained_s[:, laid, None]).min(axis=0)
        high = laid + int(np.searchsorted(grown_s, SURELY * most_s)) + 1
        if low == 0 and high >= self.hours_s.size:
            return self
        return replace(
            self,
            hours_s=self.hours_s[low:high],
            expected_s=self.expected_s[low:high],
            # Asked for only where something is laid.
            pace=self.pace[:, low : laid + 1].copy(),
            gained_s=self.gained_s[:, low:high].copy(),
        )

    def of_nights(self, nights: Flags) -> Self:
        """The ages in some of the nights."""
        return replace(self, pace=self.pace[nights], gained_s=self.gained_s[nights])

    def between(self, begins_s: Array, ends_s: Array) -> Array:
        """Age gained between instants, both of shape (nights, N) [s]."""
        return self.age_s(ends_s) - self.age_s(begins_s)

    def pace_at(self, at_s: Array) -> Array:
        """Pace at instants of shape (nights, N)."""
        hour, part = hour_of(at_s, self.hours_s[0], self.pace)
        before, after = around_of(self.pace, hour)
        return np.asarray((1.0 - part) * before + part * after)

    def age_s(self, at_s: Array) -> Array:
        """Age gained from the first hour to instants of shape (nights, N) [s]."""
        # A crew so late that the weather has ended is held to its last instant.
        held_s = np.clip(at_s, self.hours_s[0], self.hours_s[-1])
        hour, _ = hour_of(held_s, self.hours_s[0], self.gained_s)
        expected_s = np.asarray(self.curve.age_s(held_s))
        part = (expected_s - self.expected_s.take(hour)) / self._pieces_s.take(hour)
        before, after = around_of(self.gained_s, hour)
        return np.asarray(before + part * (after - before))


def ages_on(
    pours: RoomPours, layer: Layer, nights: Nights, span: tuple[float, float]
) -> tuple[DrawnAges, DrawnAges]:
    """Ages of what is laid on a floor within a span, where no sun falls and in the sun."""
    (clocks, curve), energy = pours.material(layer), nights.energy[layer.kind]

    def ages() -> tuple[DrawnAges, DrawnAges]:
        sun, *shade = (
            DrawnAges.of(each, here, fit=clocks.fit, energy=energy, nights=nights).around(
                *span, most_s=max(clocks.age_s.values())
            )
            for here, each in zip(pours.surfaces, (curve.lit, curve.shade), strict=False)
        )
        return shade[0] if shade else sun, sun

    slab = nights.slab_marks[pours.room.name], pours.conditions
    return kept(ages, "ages", *slab, clocks, energy, span)


def kit_factor(room: RoomPours, layer: Layer, nights: Nights, at_s: float) -> Array:
    """How many times faster than expected each patch ages: its kit, and its half of the
    slab, as it is when the layer is laid."""
    kit_ln = nights.kit_ln[room.room.name, layer.stage]
    clocks, _ = room.material(layer)
    kelvin = float(room.conditions.slab_at(at_s)) + ZERO_CELSIUS_K
    per_k = clocks.fit.activation_energy_j_mol / (GAS_CONSTANT_J_MOL_K * kelvin**2)
    return np.asarray(
        np.exp(kit_ln + per_k * nights.patches_k(room.room.name, kit_ln.shape[1]))
    )
