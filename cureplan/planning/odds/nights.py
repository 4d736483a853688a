"""Nights drawn around the forecast, and how each clock runs in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.conditions import HOUR_S, TAU_S, RoomConditions
from cureplan.planning.floor.doubt import (
    FORECAST_E_FOLD_S,
    RoomAnswer,
    forecast_sd_k,
    lingering,
    room_answer,
)
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.schedule.outcome import Schedule
from cureplan.science.fit import KineticFit
from cureplan.science.rate import GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K, AgeCurve
from cureplan.science.slab_reading import READING_SD_K

__all__ = [
    "INDOOR_SD_K",
    "LATE_SD_S",
    "RHYTHM_SD_FRAC",
    "SAME_SHIFT_S",
    "SLAB_OWN_SD_K",
    "DrawnAges",
    "Nights",
    "Visit",
    "draw_nights",
    "ln_pace",
]

SLAB_OWN_SD_K: Final = 0.8
"""A marched slab against the true one, apart from the weather, 1 SD [K]: invented; with
what a day-ahead forecast adds in a drifting room it makes the 1 K a plan reckons with."""
SLAB_SHARED: Final = 0.5
"""Share of that error's variance that all rooms have in common: invented."""
INDOOR_SD_K: Final = 0.8
"""Room air against what was reckoned, apart from the weather, 1 SD [K]: invented."""
LATE_SD_S: Final = 600.0
"""A crew begins late by the size of a normal draw with this SD [s]: invented."""
RHYTHM_SD_FRAC: Final = 0.05
"""A crew's rhythm drags by the size of a normal draw with this SD: invented."""
SAME_SHIFT_S: Final = 6 * HOUR_S
"""A gap longer than this sends the crew home and calls them again: invented."""

Array = NDArray[np.float64]
_Key = TypeVar("_Key", str, tuple[str, int])


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One stay of a crew on site: how late it begins and how it drags, night by night."""

    begins_s: float
    late_s: Array
    slow_frac: Array

    def at_s(self, planned_s: Array) -> Array:
        """When planned instants [epoch s], shape (N,), really come, shape (nights, N)."""
        drag = self.slow_frac[:, None] * (planned_s - self.begins_s)
        return np.asarray(planned_s + self.late_s[:, None] + drag)


@dataclass(frozen=True, slots=True, kw_only=True)
class Nights:
    """Everything drawn; arrays begin with the night."""

    members: int
    material: Mapping[str, tuple[Array, Array]]
    """By kind of layer: how its batch and its energy fell out, in standard deviations."""
    first_s: float
    """Hour of the first column of the errors below [epoch s]."""
    air_k: Mapping[str, Array]
    slab_k: Mapping[str, Array]
    pour_visit: Mapping[str, Visit]
    coat_visit: Mapping[tuple[str, int], Visit]
    primer_visit: Mapping[str, Visit]

    def error_k(self, errors_k: Array, at_s: Array) -> Array:
        """Errors of shape (nights, hours) at instants of shape (nights, N)."""
        where = np.clip((at_s - self.first_s) / HOUR_S, 0.0, errors_k.shape[1] - 1.001)
        hour = where.astype(np.int64)
        part = where - hour
        before = np.take_along_axis(errors_k, hour, axis=1)
        after = np.take_along_axis(errors_k, hour + 1, axis=1)
        return np.asarray((1.0 - part) * before + part * after)


def draw_nights(
    job: Job,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    *,
    members: int,
    issued_s: float,
) -> Nights:
    """Draw as many nights as asked, the same for the same seed."""
    random = np.random.default_rng(job.seed)
    # The order of these draws is part of the answer: append, never insert.
    columns = random.standard_normal((4, members))
    conditions = {room.name: pours[room.name].conditions for room in job.rooms}
    hours_s = _hours(job, conditions, issued_s)
    shape = (members, hours_s.size)

    def lingers(e_fold_s: float) -> Array:
        normal = random.standard_normal(shape)
        return lingering(normal, step_s=HOUR_S, e_fold_s=e_fold_s)

    lead_s = np.maximum(hours_s - issued_s, 0.0)
    spread_k = np.where(hours_s > issued_s, forecast_sd_k(lead_s), 0.0)
    outdoor_k = spread_k * lingers(FORECAST_E_FOLD_S)
    indoor_k, shared = INDOOR_SD_K * lingers(TAU_S), lingers(TAU_S)
    answered = _answers(job, outdoor_k)
    slab_k = {}
    for room in job.rooms:
        own = np.sqrt(SLAB_SHARED) * shared + np.sqrt(1.0 - SLAB_SHARED) * lingers(TAU_S)
        error_k = answered[room.name][1] + SLAB_OWN_SD_K * own
        misread_k = READING_SD_K * random.standard_normal(members)
        slab_k[room.name] = _as_read(error_k, hours_s, conditions[room.name], misread_k)
    pouring = [(poured.start_s, poured.end_s, poured.room) for poured in schedule.pours]
    coating = [(c.begins_s, c.end_s, (c.room, c.coat)) for c in schedule.coats]
    pour_visit = _visits(pouring, random, members)
    coat_visit = _visits(coating, random, members)
    primed = [(p.begins_s, p.end_s, p.room) for p in schedule.primers]
    primer_columns = random.standard_normal((2, members if primed else 0))
    return Nights(
        members=members,
        material={
            "slurry": (columns[0], columns[1]),
            "topcoat": (columns[2], columns[3]),
            "primer": (primer_columns[0], primer_columns[1]),
        },
        first_s=float(hours_s[0]),
        air_k={room.name: answered[room.name][0] + indoor_k for room in job.rooms},
        slab_k=slab_k,
        pour_visit=pour_visit,
        coat_visit=coat_visit,
        primer_visit=_visits(primed, random, members),
    )


def _hours(job: Job, conditions: Mapping[str, RoomConditions], issued_s: float) -> Array:
    """Whole hours from the forecast, the access or the first reading to the last hour."""
    some = next(iter(conditions.values()))
    readings = [c.reading_s for c in conditions.values() if c.reading_s is not None]
    first_s = min([issued_s, job.access.begins.timestamp(), *readings])
    last_s = min(some.last_s, job.access.open_by.timestamp() + HOUR_S)
    return np.asarray(
        np.arange(np.floor(first_s / HOUR_S), np.ceil(last_s / HOUR_S) + 1.0) * HOUR_S
    )


def _answers(job: Job, outdoor_k: Array) -> dict[str, tuple[Array, Array]]:
    """Errors of each room's air and slab for errors outdoors; like rooms share one."""
    found: dict[object, tuple[Array, Array]] = {}
    rooms = {}
    for room in job.rooms:
        like = (room.climate, room.slab_thickness_m, room.insulation_m)
        if like not in found:
            answer: RoomAnswer = room_answer(room, job.building, hours=outdoor_k.shape[1])
            found[like] = (
                answer.after(outdoor_k, answer.air),
                answer.after(outdoor_k, answer.slab),
            )
        rooms[room.name] = found[like]
    return rooms


def _as_read(
    error_k: Array, hours_s: Array, conditions: RoomConditions, misread_k: Array
) -> Array:
    """What error is left once a reading has bent the plan's curve to itself."""
    if conditions.reading_s is None:
        return error_k
    at = np.clip((conditions.reading_s - hours_s[0]) / HOUR_S, 0.0, hours_s.size - 1.001)
    hour, part = int(at), at - int(at)
    seen_k = (1.0 - part) * error_k[:, hour] + part * error_k[:, hour + 1] + misread_k
    kept = np.exp(-np.abs(hours_s - conditions.reading_s) / TAU_S)
    return np.asarray(error_k - seen_k[:, None] * kept)


def _visits(
    tasks: Sequence[tuple[float, float, _Key]], random: np.random.Generator, members: int
) -> dict[_Key, Visit]:
    found: dict[_Key, Visit] = {}
    visit: Visit | None = None
    free_s = -np.inf
    for begins_s, ends_s, key in sorted(tasks, key=lambda task: task[0]):
        if visit is None or begins_s > free_s + SAME_SHIFT_S:
            late, slow = np.abs(random.standard_normal((2, members)))
            visit = Visit(
                begins_s=begins_s, late_s=LATE_SD_S * late, slow_frac=RHYTHM_SD_FRAC * slow
            )
        found[key] = visit
        free_s = max(free_s, ends_s)
    return found


def ln_pace(
    batch: Array, energy: Array, *, fit: KineticFit, spread_frac: float, temp_c: Array
) -> Array:
    """How much faster each night's material runs, as ln, at expected temperatures."""
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
