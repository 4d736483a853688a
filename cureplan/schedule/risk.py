"""How often the plan would hold: seeded draws of batch, card, slab and air.

Every draw is one night. Batches differ from the card, the card's energy is uncertain,
the slab and the room air are not quite what was computed; the slab's error is partly
shared by all rooms. Each bucket's margin is read off a table over those three errors,
so that a thousand nights cost no more than a few dozen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.job.model import Job
from cureplan.physics.fit import KineticFit
from cureplan.physics.rate import GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K, AgeCurve
from cureplan.planning.doubt import FORECAST_SD_K, SLAB_SD_K, slab_sd_k
from cureplan.planning.pour import RoomPours
from cureplan.schedule.outcome import Schedule
from cureplan.schedule.placing import PlacedCoat, PlacedPour

__all__ = ["MEMBERS", "Odds", "assess"]

MEMBERS = 1000
SHARED_SLAB = 0.5
"""Share of the slab error's variance that all rooms have in common: invented."""

_LN_SPEED = np.linspace(-0.75, 0.75, 11)
_SLAB_K = np.linspace(-4.5, 4.5, 5)
_AIR_K = np.linspace(-5.0, 5.0, 3)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Odds:
    """Shares of the drawn nights in which things hold."""

    members: int
    seed: int
    bucket_frac: Mapping[str, Array]
    room_frac: Mapping[str, float]
    coat_frac: Mapping[tuple[str, int], float]
    buckets_frac: float
    coats_frac: float
    opening_frac: float
    all_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Nights:
    """Standard normal draws, shared by everything that happens in the same night."""

    slurry_batch: Array
    slurry_energy: Array
    topcoat_batch: Array
    topcoat_energy: Array
    slab_shared: Array
    slab_room: Mapping[str, Array]
    air: Array

    def slab_error_k(self, room: str, sd_k: float) -> Array:
        """Slab error of a room [K], one per night."""
        own = np.sqrt(1.0 - SHARED_SLAB) * self.slab_room[room]
        return np.asarray(sd_k * (np.sqrt(SHARED_SLAB) * self.slab_shared + own))


def assess(job: Job, pours: Mapping[str, RoomPours], schedule: Schedule) -> Odds:
    """Draw nights and count in how many of them each limit is kept.

    Parameters
    ----------
    job : Job
        Its `seed` makes the draws repeatable.
    pours : mapping
        `RoomPours` by room.
    schedule : Schedule
        What was decided, all coats placed.

    Returns
    -------
    Odds
    """
    nights = _draw(job, MEMBERS)
    bucket_frac: dict[str, Array] = {}
    room_frac: dict[str, float] = {}
    buckets_ok = np.ones(MEMBERS, dtype=bool)
    for poured in schedule.pours:
        kept = _kept_buckets(pours[poured.room], poured, nights)
        bucket_frac[poured.room] = kept.mean(axis=0)
        room_frac[poured.room] = float(kept.all(axis=1).mean())
        buckets_ok &= kept.all(axis=1)
    coat_frac: dict[tuple[str, int], float] = {}
    coats_ok = np.ones(MEMBERS, dtype=bool)
    opening_ok = np.ones(MEMBERS, dtype=bool)
    for coat in schedule.coats:
        met, opens = _kept_coat(job, pours[coat.room], schedule, coat, nights)
        coat_frac[coat.room, coat.coat] = float(met.mean())
        coats_ok &= met
        opening_ok &= opens
    return Odds(
        members=MEMBERS,
        seed=job.seed,
        bucket_frac=bucket_frac,
        room_frac=room_frac,
        coat_frac=coat_frac,
        buckets_frac=float(buckets_ok.mean()),
        coats_frac=float(coats_ok.mean()),
        opening_frac=float(opening_ok.mean()),
        all_frac=float((buckets_ok & coats_ok & opening_ok).mean()),
    )


def _draw(job: Job, members: int) -> _Nights:
    random = np.random.default_rng(job.seed)
    # The order of these draws is part of the answer: append, never insert.
    columns = random.standard_normal((6, members))
    return _Nights(
        slurry_batch=columns[0],
        slurry_energy=columns[1],
        topcoat_batch=columns[2],
        topcoat_energy=columns[3],
        slab_shared=columns[4],
        air=columns[5],
        slab_room={room.name: random.standard_normal(members) for room in job.rooms},
    )


def _ln_speed(
    batch: Array, energy: Array, *, fit: KineticFit, spread_frac: float, temp_c: float
) -> Array:
    inverse = 1.0 / (fit.reference_c + ZERO_CELSIUS_K) - 1.0 / (temp_c + ZERO_CELSIUS_K)
    lever = inverse * fit.energy_sd_j_mol / GAS_CONSTANT_J_MOL_K
    return np.asarray(batch * spread_frac + energy * lever)


def _kept_buckets(pours: RoomPours, poured: PlacedPour, nights: _Nights) -> NDArray[np.bool_]:
    """Which buckets keep all three clocks, shape (nights, buckets)."""
    from scipy.interpolate import RegularGridInterpolator

    slab_c = float(pours.conditions.slab_at(poured.start_s))
    speed, slab, air = np.meshgrid(_LN_SPEED, _SLAB_K, _AIR_K, indexing="ij")
    run = pours.run(
        poured.option,
        np.full(speed.size, poured.start_s),
        speed=np.exp(speed.ravel()),
        slab_shift_k=slab.ravel(),
        air_shift_k=air.ravel(),
    )
    table = run.margin_s.reshape(*speed.shape, -1)
    ln_speed = _ln_speed(
        nights.slurry_batch,
        nights.slurry_energy,
        fit=pours.clocks.fit,
        spread_frac=pours.clocks.spread_frac,
        temp_c=slab_c,
    )
    sd_k = slab_sd_k(poured.start_s, reading_s=pours.conditions.reading_s)
    at = np.column_stack(
        [
            np.clip(ln_speed, _LN_SPEED[0], _LN_SPEED[-1]),
            np.clip(nights.slab_error_k(poured.room, sd_k), _SLAB_K[0], _SLAB_K[-1]),
            np.clip(FORECAST_SD_K * nights.air, _AIR_K[0], _AIR_K[-1]),
        ]
    )
    margins = RegularGridInterpolator((_LN_SPEED, _SLAB_K, _AIR_K), table)(at)
    return np.asarray(margins >= 0.0)


def _kept_coat(
    job: Job,
    pours: RoomPours,
    schedule: Schedule,
    coat: PlacedCoat,
    nights: _Nights,
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether a coat meets its window, and the room then opens on time, per night."""
    slab_c = float(pours.conditions.slab_at(coat.start_s))
    error_k = nights.slab_error_k(coat.room, SLAB_SD_K)
    kelvin2 = (slab_c + ZERO_CELSIUS_K) ** 2

    def pace(batch: Array, energy: Array, clocks_fit: KineticFit, spread: float) -> Array:
        ln_speed = _ln_speed(batch, energy, fit=clocks_fit, spread_frac=spread, temp_c=slab_c)
        warmer = clocks_fit.activation_energy_j_mol / (GAS_CONSTANT_J_MOL_K * kelvin2) * error_k
        return np.asarray(np.exp(ln_speed + warmer))[:, None]

    topcoat = pours.topcoat
    speed = pace(nights.topcoat_batch, nights.topcoat_energy, topcoat.fit, topcoat.spread_frac)
    reached_s = coat.start_s + coat.work.offset_s
    if coat.coat == 1:
        poured = next(p for p in schedule.pours if p.room == coat.room)
        slurry = pours.clocks
        below = pace(nights.slurry_batch, nights.slurry_energy, slurry.fit, slurry.spread_frac)
        laid_s = poured.start_s + pours.plan(poured.option).times.pour_s
        age = poured.clocks.landing_age_s[0] + _between(pours.slurry_curve, laid_s, reached_s)
        opens = max(slurry.age_s["topcoat_opens"], slurry.age_s["foot_traffic"])
        closes = slurry.age_s["topcoat_closes"]
        met = np.all((age * below >= opens) & (age * below <= closes), axis=1)
    else:
        first = next(
            c for c in schedule.coats if c.room == coat.room and c.coat == coat.coat - 1
        )
        laid_s = first.start_s + first.work.offset_s
        age = _between(pours.topcoat_curve, laid_s, reached_s) * speed
        opens, closes = topcoat.age_s["recoat_opens"], topcoat.age_s["recoat_closes"]
        met = np.all((age >= opens) & (age <= closes), axis=1)
    if coat.coat < pours.room.topcoats:
        return met, np.ones_like(met)
    due_s = (pours.room.open_by or job.access.open_by).timestamp()
    needed = max(topcoat.age_s["wheels"], topcoat.age_s["wash_down"])
    gained = _between(pours.topcoat_curve, reached_s[-1:], np.array([due_s])) * speed
    return met, np.all(gained >= needed, axis=1)


def _between(curve: AgeCurve, begins_s: Array, ends_s: Array) -> Array:
    return np.asarray(curve.age_s(ends_s) - curve.age_s(begins_s))
