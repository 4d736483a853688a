"""Nights as they really turn out, each worked out in full: what the odds are held to.

Nothing here reads a table of the planner's: the slab is marched again in every night's
weather, every bucket is run on its own temperatures, every coat's age is integrated over
five-minute steps. Errors that linger are drawn from their whole covariance.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.conditions import STEP_S, TAU_S, floor_slab
from cureplan.planning.floor.doubt import FORECAST_E_FOLD_S, READING_SD_K, forecast_sd_k
from cureplan.planning.floor.layout import met_by
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
VISITS, MOST_KITS = 4, 240
ENERGY_STEP = 0.2


def _lingering_k(random, hours_s, e_fold_s, sd_k, nights):
    """Rows with the covariance sd² exp(-|lag| / e-fold)."""
    apart = np.abs(hours_s[:, None] - hours_s[None, :])
    spread = np.broadcast_to(sd_k, hours_s.shape)
    covariance = np.outer(spread, spread) * np.exp(-apart / e_fold_s)
    root = np.linalg.cholesky(covariance + 1e-12 * np.eye(hours_s.size))
    return random.standard_normal((nights, hours_s.size)) @ root.T


def _root(conditions, hours_s):
    """The symmetric root of what a slab's own error has in common from hour to hour."""
    apart_s = np.abs(hours_s[:, None] - hours_s[None, :])
    share = conditions.reading_left(apart_s.ravel()).reshape(apart_s.shape)
    sizes, ways = np.linalg.eigh(share)
    return (ways * np.sqrt(sizes.clip(0.0))) @ ways.T


@dataclass(frozen=True, kw_only=True)
class TrueNights:
    """Temperatures and materials of many nights; one row each."""

    job: Job
    pours: Mapping[str, RoomPours]
    hours_s: np.ndarray
    air_k: Mapping[str, np.ndarray]
    slab_k: Mapping[str, np.ndarray]
    half_k: Mapping[str, np.ndarray]
    """By room: how much warmer the half poured first and that poured last is, (nights, 2)."""
    material: Mapping[str, Mapping[str, np.ndarray]]
    """By material: how card, nights, pallets and kits fell out, in standard deviations."""
    energy: Mapping[str, np.ndarray]
    stops: Mapping[str, tuple[np.ndarray, np.ndarray]]
    """By room and bucket: whether the mixing stops before it, as a chance, and how long."""
    iced: np.ndarray
    late_s: np.ndarray
    slow_frac: np.ndarray


def true_nights(job, pours, *, issued_s, nights, seed, heavy_tails=False) -> TrueNights:
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
    common = random.standard_normal((nights, hours_s.size))
    air_k, slab_k = {}, {}
    for room in job.rooms:
        air, slab = _marched(room, job.building, hours_s, outdoor_k)
        own = random.standard_normal((nights, hours_s.size))
        drawn = SLAB_SHARED**0.5 * common + (1 - SLAB_SHARED) ** 0.5 * own
        slab = slab + SLAB_OWN_SD_K * drawn @ _root(pours[room.name].conditions, hours_s)
        if room.slab_reading is not None:
            read_s = room.slab_reading.read_at.timestamp()
            seen = np.array([np.interp(read_s, hours_s, row) for row in slab])
            seen = seen + READING_SD_K * random.standard_normal(nights)
            # As the plan takes it: in full at the reading, between full hours straight.
            taken = pours[room.name].conditions.reading_share(
                hours_s, reading_s=read_s, until_s=read_s
            )
            slab = slab - seen[:, None] * taken
        air_k[room.name], slab_k[room.name] = air + indoor_k, slab

    def normal(*shape):
        """Of unit spread; Student's t with four degrees where the tails are heavy."""
        if not heavy_tails:
            return random.standard_normal(shape)
        return random.standard_t(4, shape) / np.sqrt(2.0)

    def lasting(*shape):
        """Of mean 1; a Pareto with the exponent 2.5 where the tails are heavy."""
        if not heavy_tails:
            return random.standard_exponential(shape)
        return 1.5 * random.pareto(2.5, shape)

    def halves():
        """One of them, whichever, off the other."""
        off = np.zeros((nights, 2))
        off[np.arange(nights), random.integers(2, size=nights)] = normal(nights)
        return job.doubt.half_k * off

    return TrueNights(
        job=job,
        pours=pours,
        hours_s=hours_s,
        air_k=air_k,
        slab_k=slab_k,
        material={
            of: {
                "card": normal(nights),
                "night": normal(VISITS, nights),
                "pallet": normal(nights, MOST_KITS),
                "kit": normal(nights, MOST_KITS),
            }
            for of in ("slurry", "topcoat")
        },
        energy={of: random.standard_normal(nights) for of in ("slurry", "topcoat")},
        stops={
            room.name: (random.random((nights, MOST_KITS)), lasting(nights, MOST_KITS))
            for room in job.rooms
        },
        iced=np.abs(normal(nights)),
        late_s=LATE_SD_S * np.abs(normal(VISITS, nights)),
        slow_frac=RHYTHM_SD_FRAC * np.abs(normal(VISITS, nights)),
        half_k={room.name: halves() for room in job.rooms},
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


def _visit_of(schedule, placed):
    key = (placed.room, placed.coat) if hasattr(placed, "coat") else "pour"
    return visits_of(schedule)[key]


def _kit_ln(truth, schedule, placed):
    """By how much each patch ages faster than its card says, as ln, (nights, patches)."""
    doubt, room = truth.job.doubt, truth.pours[placed.room]
    of = "topcoat" if hasattr(placed, "coat") else "slurry"
    same = schedule.coats if of == "topcoat" else schedule.pours
    clocks = room.topcoat if of == "topcoat" else room.clocks

    def kits(one):
        if of == "topcoat":
            return one.work.batches
        return truth.pours[one.room].plan(one.option).layout.kits

    used = sum(kits(one) for one in same if one.start_s < placed.start_s)
    patches = placed.work.offset_s.size if of == "topcoat" else kits(placed)
    kit = used + np.arange(patches) * kits(placed) // patches
    draws = truth.material[of]
    number, _ = _visit_of(schedule, placed)
    share = doubt.pallet_share
    batch = np.sqrt(1 - share) * draws["night"][number][:, None]
    batch = batch + np.sqrt(share) * draws["pallet"][:, kit // doubt.pallet]
    ln = truth.job.times_sd(of) * draws["card"][:, None] + clocks.spread_frac * batch
    return ln + doubt.kit * draws["kit"][:, kit]


def _stopped_s(truth, poured):
    """How long the mixing has stopped by each bucket of a floor, (nights, buckets)."""
    doubt = truth.job.doubt
    buckets = truth.pours[poured.room].plan(poured.option).layout.kits
    hit, lasts = truth.stops[poured.room]
    stops = (hit[:, :buckets] < 1 / doubt.stop_every) * doubt.stop_lasts_s * lasts[:, :buckets]
    return np.cumsum(stops, axis=1)


def _poured_s(truth, schedule, poured):
    """When each bucket lands, (nights, buckets), behind all stops of the night."""
    plan = truth.pours[poured.room].plan(poured.option)
    at_s = _when(truth, poured.start_s + plan.times.pour_s, visits_of(schedule)["pour"])
    before = [p for p in schedule.pours if p.start_s < poured.start_s]
    held_s = sum((_stopped_s(truth, p)[:, -1:] for p in before), np.zeros((len(at_s), 1)))
    return at_s + held_s + _stopped_s(truth, poured)


def buckets_kept(truth: TrueNights, schedule: Schedule, poured: PlacedPour):
    """Which buckets keep all three clocks, (nights, buckets): each run in full."""
    room = truth.pours[poured.room]
    plan, job = room.plan(poured.option), truth.job
    at_s = _poured_s(truth, schedule, poured)
    slab_c = room.conditions.slab_at(at_s) + _on(truth.slab_k[poured.room], truth.hours_s, at_s)
    slab_c = slab_c + truth.half_k[poured.room][:, _half_of(at_s.shape[1])]
    air_c = room.conditions.air_at(at_s) + _on(truth.air_k[poured.room], truth.hours_s, at_s)
    given = kit_temperatures(
        job.materials, chilled=poured.option.chilled, cool_filler=poured.option.cool_filler
    )
    liquids_c = air_c
    if given.liquids_c is not None:
        warmer_k = truth.iced[:, None] * job.doubt.iced_k * poured.option.chilled
        liquids_c = np.broadcast_to(given.liquids_c + warmer_k, at_s.shape)
    # Beyond these the bucket is long lost, and its heat runs away from the model.
    z = np.round(np.clip(truth.energy["slurry"], -2.2, 2.2) / ENERGY_STEP) * ENERGY_STEP
    speed = np.exp(np.minimum(_kit_ln(truth, schedule, poured), 0.6))
    filler_c = air_c if given.filler_c is None else np.full_like(air_c, given.filler_c)
    ends_in_s = {name: np.empty(at_s.shape) for name in BINDINGS}
    for one in np.unique(z):
        nights = z == one
        kit = _with_energy(room, one)
        path = run_bucket(
            liquids_c[nights].ravel(),
            filler_c[nights].ravel(),
            air_c[nights].ravel(),
            slab_c[nights].ravel(),
            job.pace.haul_s,
            kit=kit,
            speed=speed[nights].ravel(),
            film_m=room.clocks.film_m,
            slab_effusivity=room.clocks.slab_effusivity,
        )
        for name in BINDINGS:
            ends_s = path.when_s(_age_at(room, name, kit))
            ends_in_s[name][nights] = ends_s.reshape(-1, at_s.shape[1])
    filler_in_s = at_s - (plan.times.pour_s - plan.times.filler_in_s)
    drag = 1.0 + truth.slow_frac[0][:, None]
    stopped_s, met = _stopped_s(truth, poured), met_by(plan.layout)
    later_s = np.where(met < 0, 0.0, stopped_s[:, met] - stopped_s)
    due_s = {
        "wet_edge": (plan.times.tied_in_s, later_s),
        "working_time": (plan.times.smoothed_s, 0.0),
        "broadcast_closes": (plan.times.broadcast_s, later_s),
    }
    kept = np.ones(at_s.shape, dtype=bool)
    for name in BINDINGS:
        ends_s = filler_in_s + ends_in_s[name]
        planned, held = due_s[name]
        due = at_s + drag * (planned - plan.times.pour_s) + held
        kept &= np.isnan(due) | (ends_s >= due)
    return kept


def _with_energy(room, z):
    kit = room.clocks.kit
    energy_j_mol = kit.activation_energy_j_mol + z * room.clocks.fit.energy_sd_j_mol
    return replace(kit, activation_energy_j_mol=energy_j_mol)


def _age_at(room, name, kit):
    """Age at which a clock ends with another energy: where the card was timed, at its
    reference temperature, it ends when the card says."""
    clocks, haul_s = room.clocks, room.job.cards.slurry.reference_haul_s
    on = (haul_s, clocks.film_m, clocks.slab_effusivity)
    return _same_end(clocks.kit, kit, clocks.age_s[name], on)


@cache
def _same_end(card, kit, age_s, on):
    at_c = kit.reference_c
    haul_s, film_m, slab_effusivity = on

    def path(of):
        return run_bucket(
            at_c, at_c, at_c, at_c, haul_s,
            kit=of, speed=1.0, film_m=film_m, slab_effusivity=slab_effusivity,
        )  # fmt: skip

    timed_s = path(card).when_s(age_s).item()
    turned = path(kit)
    low, high = 0.5 * age_s, 2.0 * age_s
    for _ in range(30):
        middle = 0.5 * (low + high)
        late = turned.when_s(middle).item() > timed_s
        low, high = (low, middle) if late else (middle, high)
    return 0.5 * (low + high)


def _half_of(patches):
    """0 for patches poured in a floor's first half, 1 in its last."""
    return (np.arange(patches) * 2 // patches).clip(0, 1) if patches > 1 else np.array([0])


class _Ages:
    """Age of a material on each half of a floor's slab from `begins_s` on."""

    def __init__(self, truth, room, clocks, of, begins_s, *, last=False):
        self.halves = [_Half(truth, room, clocks, of, begins_s, n) for n in (0, 1)]
        self.last = last

    def _each(self, name, at_s):
        found = [half.read(getattr(half, name), at_s) for half in self.halves]
        if self.last:
            return found[1]
        return np.where(_half_of(at_s.shape[1]) == 0, *found)

    def age(self, at_s):
        return self._each("gained", at_s)

    def faster(self, at_s):
        return self._each("ahead", at_s)


class _Half:
    """Age on half of a floor, by the trapezoid over five minutes, for any instants of
    shape (nights, N)."""

    def __init__(self, truth, room, clocks, of, begins_s, half):
        self.first_s = max(float(begins_s.min()), room.conditions.first_s)
        fine_s = np.arange(self.first_s, room.conditions.last_s, FINE_S)
        expected_c = room.conditions.slab_at(fine_s)
        errors = np.array(
            [np.interp(fine_s, truth.hours_s, row) for row in truth.slab_k[room.room.name]]
        )
        errors = errors + truth.half_k[room.room.name][:, half][:, None]
        kelvin, reference = expected_c + errors + 273.15, clocks.fit.reference_c + 273.15
        self.rate = np.exp(
            clocks.fit.activation_energy_j_mol / GAS_J_MOL_K * (1 / reference - 1 / kelvin)
        )
        lever = (1 / reference - 1 / (expected_c + 273.15)) / GAS_J_MOL_K
        energy = clocks.fit.energy_sd_j_mol * truth.energy[of]
        self.pace = np.exp(energy[:, None] * lever)
        rate = self.rate * self.pace
        steps = FINE_S * 0.5 * (rate[:, 1:] + rate[:, :-1])
        self.gained = np.concatenate([np.zeros((len(rate), 1)), steps.cumsum(axis=1)], axis=1)
        expected = np.exp(
            clocks.fit.activation_energy_j_mol
            / GAS_J_MOL_K
            * (1 / reference - 1 / (expected_c + 273.15))
        )
        self.ahead = rate / expected

    def read(self, rows, at_s):
        where = np.clip((at_s - self.first_s) / FINE_S, 0.0, rows.shape[1] - 1.001)
        low = where.astype(int)
        part = where - low
        before = np.take_along_axis(rows, low, axis=1)
        return before + part * (np.take_along_axis(rows, low + 1, axis=1) - before)


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


def coats_met(truth: TrueNights, schedule: Schedule):
    """Whether each coat meets its window, (nights,), and when its patches are laid.

    The crew comes as planned, and waits where its floor is not ready; whoever comes after
    it in the same visit comes that much later.
    """
    met, laid_s, waited_s = {}, {}, {}
    for coat in sorted(schedule.coats, key=lambda coat: coat.begins_s):
        visit = visits_of(schedule)[coat.room, coat.coat]
        before_s = waited_s.get(visit[0], np.zeros(len(truth.iced)))
        begins_s = _when(truth, np.array([coat.begins_s]), visit) + before_s[:, None]
        reached_s = _when(truth, coat.start_s + coat.work.offset_s, visit) + before_s[:, None]
        aged, opens, walks, closes = _over(truth, schedule, coat, laid_s)

        def soon(wait, aged=aged, opens=opens, walks=walks, at=(begins_s, reached_s)):
            walked = np.all(aged(at[0] + wait[:, None]) >= walks, axis=1)
            return ~(walked & np.all(aged(at[1] + wait[:, None]) >= opens, axis=1))

        low, high = np.zeros(len(truth.iced)), np.full(len(truth.iced), 6 * HOUR_S)
        at_once = ~soon(low)
        for _ in range(16):
            middle = 0.5 * (low + high)
            early = soon(middle)
            low, high = np.where(early, middle, low), np.where(early, high, middle)
        wait_s = np.where(at_once, 0.0, high)
        waited_s[visit[0]] = before_s + wait_s
        laid_s[coat.room, coat.coat] = reached_s + wait_s[:, None]
        age_s = aged(laid_s[coat.room, coat.coat])
        met[coat.room, coat.coat] = ~soon(wait_s) & np.all(age_s <= closes, axis=1)
    return met, laid_s


def _over(truth, schedule, coat, laid_s):
    """Age of each patch below a coat at given instants, and what it must have and not have."""
    room = truth.pours[coat.room]
    if coat.coat == 2:
        below = next(c for c in schedule.coats if c.room == coat.room and c.coat == 1)
        since_s = laid_s[coat.room, 1]
        ages = _Ages(truth, room, room.topcoat, "topcoat", since_s)
        factor = np.exp(_kit_ln(truth, schedule, below))
        needs = room.topcoat.age_s

        def aged(at_s):
            at_s = np.broadcast_to(at_s, since_s.shape)
            return factor * (ages.age(at_s) - ages.age(since_s))

        return aged, needs["recoat_opens"], 0.0, needs["recoat_closes"]
    poured = next(p for p in schedule.pours if p.room == coat.room)
    since_s = _poured_s(truth, schedule, poured)
    ages = _Ages(truth, room, room.clocks, "slurry", since_s)
    factor = np.exp(_kit_ln(truth, schedule, poured))
    # Age on landing, at the pace of the night's batch and slab.
    pace = ages.faster(since_s)
    needs = room.clocks.age_s

    def aged_slurry(at_s):
        # What the film has by some time, bucket by bucket, off its own nodes.
        at_s = np.broadcast_to(at_s, since_s.shape)
        film_s = np.stack(
            [
                np.interp(np.sqrt(np.clip(at_s - since_s, 0, None))[:, n], FLOOR_ROOT_S05, row)
                for n, row in enumerate(poured.clocks.film_age_s[0])
            ],
            axis=1,
        )
        on_floor_s = ages.age(at_s) - ages.age(since_s)
        return factor * ((poured.clocks.pour_age_s[0] + film_s) * pace + on_floor_s)

    return aged_slurry, needs["topcoat_opens"], needs["foot_traffic"], needs["topcoat_closes"]


def opens(truth: TrueNights, schedule: Schedule, coat: PlacedCoat, laid_s, *, due_s: float):
    """Whether a room bears wheels and water by `due_s`, (nights,)."""
    room = truth.pours[coat.room]
    last_s = laid_s[coat.room, coat.coat][:, -1:]
    ages = _Ages(truth, room, room.topcoat, "topcoat", last_s, last=True)
    due = np.full_like(last_s, due_s)
    age_s = (ages.age(due) - ages.age(last_s))[:, 0]
    age_s = age_s * np.exp(_kit_ln(truth, schedule, coat)[:, -1])
    needs = room.topcoat.age_s
    return age_s >= max(needs["foot_traffic"], needs["wheels"], needs["wash_down"])
