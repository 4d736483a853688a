"""Nights as they really turn out, each worked out in full: what the odds are held to.

Nothing here reads a table of the planner's: the slab is marched again in every night's
weather, every bucket is run on its own temperatures, every coat's age is integrated over
five-minute steps. Errors that linger are drawn from their whole covariance.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.conditions import STEP_S, TAU_S, floor_slab
from cureplan.planning.floor.doubt import FORECAST_E_FOLD_S, READING_SD_K, forecast_sd_k
from cureplan.planning.floor.pour import BINDINGS, RoomPours, kit_temperatures
from cureplan.planning.odds.nights import (
    INDOOR_SD_K,
    LATE_SD_S,
    RHYTHM_SD_FRAC,
    SLAB_OWN_SD_K,
    SLAB_SHARED,
)
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour
from cureplan.science.kit import FLOOR_ROOT_S05, run_bucket
from cureplan.science.room_air import drifting_air_c

GAS_J_MOL_K = 8.314462618
HOUR_S, FINE_S = 3600.0, 300.0
TRACK_S = 96 * HOUR_S
VISITS = 4


def _lingering_k(random, hours_s, e_fold_s, sd_k, nights):
    """Rows with the covariance sd² exp(-|lag| / e-fold)."""
    apart = np.abs(hours_s[:, None] - hours_s[None, :])
    spread = np.broadcast_to(sd_k, hours_s.shape)
    covariance = np.outer(spread, spread) * np.exp(-apart / e_fold_s)
    root = np.linalg.cholesky(covariance + 1e-12 * np.eye(hours_s.size))
    return random.standard_normal((nights, hours_s.size)) @ root.T


@dataclass(frozen=True, kw_only=True)
class TrueNights:
    """Temperatures and materials of many nights; one row each."""

    job: Job
    pours: Mapping[str, RoomPours]
    hours_s: np.ndarray
    air_k: Mapping[str, np.ndarray]
    slab_k: Mapping[str, np.ndarray]
    batch: Mapping[str, np.ndarray]
    energy: Mapping[str, np.ndarray]
    late_s: np.ndarray
    slow_frac: np.ndarray


def true_nights(job, pours, *, issued_s, nights, seed) -> TrueNights:
    """Draw nights and march every room through them."""
    random = np.random.default_rng(seed)
    first_s = np.floor(min(issued_s, job.access.begins.timestamp()) / HOUR_S) * HOUR_S
    first_s -= 6 * HOUR_S
    hours_s = first_s + np.arange(0.0, TRACK_S, HOUR_S)
    to_come = hours_s > issued_s
    outdoor_k = np.zeros((nights, hours_s.size))
    outdoor_k[:, to_come] = _lingering_k(
        random,
        hours_s[to_come],
        FORECAST_E_FOLD_S,
        forecast_sd_k(hours_s[to_come] - issued_s),
        nights,
    )
    indoor_k = _lingering_k(random, hours_s, TAU_S, INDOOR_SD_K, nights)
    common = _lingering_k(random, hours_s, TAU_S, SLAB_OWN_SD_K * SLAB_SHARED**0.5, nights)
    air_k, slab_k = {}, {}
    for room in job.rooms:
        air, slab = _marched(room, job.building, hours_s, outdoor_k)
        own_sd_k = SLAB_OWN_SD_K * (1 - SLAB_SHARED) ** 0.5
        slab = slab + common + _lingering_k(random, hours_s, TAU_S, own_sd_k, nights)
        if room.slab_reading is not None:
            read_s = room.slab_reading.read_at.timestamp()
            seen = np.array([np.interp(read_s, hours_s, row) for row in slab])
            seen = seen + READING_SD_K * random.standard_normal(nights)
            slab = slab - seen[:, None] * np.exp(-np.abs(hours_s - read_s) / TAU_S)
        air_k[room.name], slab_k[room.name] = air + indoor_k, slab
    draws = {
        kind: {of: random.standard_normal(nights) for of in ("slurry", "topcoat")}
        for kind in ("batch", "energy")
    }
    return TrueNights(
        job=job,
        pours=pours,
        hours_s=hours_s,
        air_k=air_k,
        slab_k=slab_k,
        batch=draws["batch"],
        energy=draws["energy"],
        late_s=LATE_SD_S * np.abs(random.standard_normal((VISITS, nights))),
        slow_frac=RHYTHM_SD_FRAC * np.abs(random.standard_normal((VISITS, nights))),
    )


def _marched(room, building, hours_s, outdoor_k):
    """Air and slab errors of a room for errors outdoors: the whole march, per night."""
    fine_s = np.arange(0.0, hours_s[-1] - hours_s[0] + 1.0, STEP_S)
    outdoor = np.array([np.interp(fine_s, hours_s - hours_s[0], row) for row in outdoor_k]).T
    if room.climate == "drifting":
        air = drifting_air_c(
            fine_s, outdoor_c=outdoor, start_c=0.0, lag_s=building.lag_s, gain_k=0.0
        )
    else:
        air = outdoor if room.climate == "open" else np.zeros_like(outdoor)
    slab = floor_slab(room, building)
    zero = np.zeros(outdoor.shape[1])
    # About 25 °C, so that nothing hangs on marching differences from zero.
    base = slab.steady_profile_c(air_c=zero + 25.0, absorbed_w_m2=zero, lower_c=zero + 25.0)
    run = slab.run(
        air + 25.0,
        absorbed_w_m2=np.zeros_like(air),
        lower_c=(outdoor if building.below == "air" else np.zeros_like(air)) + 25.0,
        start_c=base,
        keep_profile=False,
    )
    hourly = slice(None, None, round(HOUR_S / STEP_S))
    return air[hourly].T, run.surface_c[hourly].T - 25.0


def _on(rows, hours_s, at_s):
    return np.array([np.interp(t, hours_s, row) for row, t in zip(rows, at_s, strict=True)])


def _speed(truth, of, clocks, slab_c):
    """Pace of the night's material, given the expected temperature (nights, N) or (N,)."""
    lever = 1 / (clocks.fit.reference_c + 273.15) - 1 / (slab_c + 273.15)
    doubt = clocks.fit.energy_sd_j_mol / GAS_J_MOL_K * lever
    ln = truth.batch[of][:, None] * clocks.spread_frac + truth.energy[of][:, None] * doubt
    return np.exp(ln)


def buckets_kept(truth: TrueNights, schedule: Schedule, poured: PlacedPour):
    """Which buckets keep all three clocks, (nights, buckets): each run in full."""
    room = truth.pours[poured.room]
    plan, job = room.plan(poured.option), truth.job
    planned_s = poured.start_s + plan.times.pour_s
    at_s = _when(truth, planned_s, visits_of(schedule)["pour"])
    slab_c = room.conditions.slab_at(at_s) + _on(truth.slab_k[poured.room], truth.hours_s, at_s)
    air_c = room.conditions.air_at(at_s) + _on(truth.air_k[poured.room], truth.hours_s, at_s)
    given = kit_temperatures(
        job.materials, chilled=poured.option.chilled, cool_filler=poured.option.cool_filler
    )
    expected_c = room.conditions.slab_at(planned_s)
    path = run_bucket(
        (air_c if given.liquids_c is None else np.full_like(air_c, given.liquids_c)).ravel(),
        (air_c if given.filler_c is None else np.full_like(air_c, given.filler_c)).ravel(),
        air_c.ravel(),
        slab_c.ravel(),
        job.pace.haul_s,
        kit=room.clocks.kit,
        speed=_speed(truth, "slurry", room.clocks, expected_c).ravel(),
        film_m=room.clocks.film_m,
        slab_effusivity=room.clocks.slab_effusivity,
    )
    filler_in_s = at_s - (plan.times.pour_s - plan.times.filler_in_s)
    drag = 1.0 + truth.slow_frac[0][:, None]
    due_s = {
        "wet_edge": plan.times.tied_in_s,
        "working_time": plan.times.smoothed_s,
        "broadcast_closes": plan.times.broadcast_s,
    }
    kept = np.ones(at_s.shape, dtype=bool)
    for name in BINDINGS:
        ends_s = filler_in_s + path.when_s(room.clocks.age_s[name]).reshape(at_s.shape)
        due = at_s + drag * (due_s[name] - plan.times.pour_s)
        kept &= np.isnan(due) | (ends_s >= due)
    return kept


def _ages(truth, room, clocks, of, begins_s, ends_s):
    """Age from `begins_s` to `ends_s`, (nights, N), by the trapezoid over five minutes."""
    first_s = max(float(begins_s.min()), room.conditions.first_s)
    fine_s = np.arange(first_s, float(ends_s.max()) + FINE_S, FINE_S)
    expected_c = room.conditions.slab_at(fine_s)
    errors = np.array(
        [np.interp(fine_s, truth.hours_s, row) for row in truth.slab_k[room.room.name]]
    )
    kelvin, reference = expected_c + errors + 273.15, clocks.fit.reference_c + 273.15
    rate = np.exp(
        clocks.fit.activation_energy_j_mol / GAS_J_MOL_K * (1 / reference - 1 / kelvin)
    )
    rate = rate * _speed(truth, of, clocks, expected_c)
    steps = FINE_S * 0.5 * (rate[:, 1:] + rate[:, :-1])
    age = np.concatenate([np.zeros((rate.shape[0], 1)), steps.cumsum(axis=1)], axis=1)
    return _on(age, fine_s, ends_s) - _on(age, fine_s, begins_s)


def visits_of(schedule: Schedule):
    """Number and begin [epoch s] of the visit each task belongs to; 0 is the pour's.

    The crew goes home when more than six hours lie between two tasks.
    """
    found = {"pour": (0, min(poured.start_s for poured in schedule.pours))}
    number, begins_s, free_s = 0, 0.0, -np.inf
    for coat in sorted(schedule.coats, key=lambda coat: coat.begins_s):
        if coat.begins_s - free_s > 6 * HOUR_S:
            number, begins_s = number + 1, coat.begins_s
        found[coat.room, coat.coat] = (number, begins_s)
        free_s = max(free_s, coat.end_s)
    return found


def _when(truth, planned_s, visit):
    number, begins_s = visit
    late_s, slow = truth.late_s[number], truth.slow_frac[number]
    return planned_s + late_s[:, None] + slow[:, None] * (planned_s - begins_s)


def coats_met(truth: TrueNights, schedule: Schedule, coat: PlacedCoat):
    """Whether a coat meets its window, (nights,)."""
    visits = visits_of(schedule)
    room = truth.pours[coat.room]
    reached_s = _reached(truth, coat, visits)
    if coat.coat == 2:
        below = next(c for c in schedule.coats if c.room == coat.room and c.coat == 1)
        laid_s = _reached(truth, below, visits)
        age_s = _ages(truth, room, room.topcoat, "topcoat", laid_s, reached_s)
        ages = room.topcoat.age_s
        return np.all(
            (age_s >= ages["recoat_opens"]) & (age_s <= ages["recoat_closes"]), axis=1
        )
    poured = next(p for p in schedule.pours if p.room == coat.room)
    planned_s = poured.start_s + room.plan(poured.option).times.pour_s
    laid_s = _when(truth, planned_s, visits["pour"])
    vacuumed = _when(truth, np.array([coat.begins_s]), visits[coat.room, coat.coat])
    begins_s = np.broadcast_to(vacuumed, laid_s.shape)
    # Age on landing, at the pace of the night's batch and slab.
    pace = _speed(truth, "slurry", room.clocks, room.conditions.slab_at(planned_s))
    error_k = _on(truth.slab_k[coat.room], truth.hours_s, laid_s)
    kelvin = room.conditions.slab_at(laid_s) + 273.15
    pace = pace * np.exp(
        room.clocks.fit.activation_energy_j_mol
        / GAS_J_MOL_K
        * (1 / kelvin - 1 / (kelvin + error_k))
    )
    ages = room.clocks.age_s

    def aged(at_s):
        # What the film has by some time, bucket by bucket, off its own nodes.
        film_s = np.stack(
            [
                np.interp(np.sqrt(np.clip(at_s - laid_s, 0, None))[:, n], FLOOR_ROOT_S05, row)
                for n, row in enumerate(poured.clocks.film_age_s[0])
            ],
            axis=1,
        )
        on_floor_s = _ages(truth, room, room.clocks, "slurry", laid_s, at_s)
        return (poured.clocks.pour_age_s[0] + film_s) * pace + on_floor_s

    walked, age_s = aged(begins_s), aged(reached_s)
    return np.all(
        (walked >= ages["foot_traffic"])
        & (age_s >= ages["topcoat_opens"])
        & (age_s <= ages["topcoat_closes"]),
        axis=1,
    )


def _reached(truth, coat, visits):
    """When each patch is coated, (nights, buckets)."""
    return _when(truth, coat.start_s + coat.work.offset_s, visits[coat.room, coat.coat])


def opens(truth: TrueNights, schedule: Schedule, coat: PlacedCoat, *, due_s: float):
    """Whether a room bears wheels and water by `due_s`, (nights,)."""
    room = truth.pours[coat.room]
    last_s = _reached(truth, coat, visits_of(schedule))[:, -1:]
    due = np.full_like(last_s, due_s)
    age_s = _ages(truth, room, room.topcoat, "topcoat", last_s, due)[:, 0]
    ages = room.topcoat.age_s
    return age_s >= max(ages["foot_traffic"], ages["wheels"], ages["wash_down"])
