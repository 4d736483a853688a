"""A kit from mixing to the floor: its temperature and its clocks."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.rate import (
    COLDEST_C,
    HOTTEST_C,
    ZERO_CELSIUS_K,
    arrhenius,
    rate_factor,
)

__all__ = [
    "FLOOR_HORIZON_S",
    "FLOOR_ROOT_S05",
    "BucketPath",
    "KitPhysics",
    "film_age_after_s",
    "follow",
    "hermite",
    "kinetics_of",
    "run_bucket",
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
    finer: bool
    """Whether one of them had to be followed in more steps, and so all of them were."""

    def when_s(self, age_s: ArrayLike) -> Array:
        """Time after filler-in at which each bucket reaches an age."""
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


def hermite(part: Array, y0: Array, y1: Array, d0: Array, d1: Array) -> Array:
    """Cubic through two ends with their slopes.

    Not for extrapolation.

    Shapes: part, y0, y1, d0, d1 S; gives S.

    >>> half = np.array([0.5])
    >>> float(hermite(half, 0 * half, half + 0.5, 0 * half, half + 2.5)[0])  # x cubed
    0.125
    """
    rest = 1.0 - part
    return np.asarray(
        rest * rest * ((1 + 2 * part) * y0 + part * d0)
        + part * part * ((1 + 2 * rest) * y1 - rest * d1)
    )


def film_age_after_s(elapsed_s: ArrayLike, film_age_s: Array) -> Array:
    """Age that films gathered beyond their slabs' by some time on the floor.

    Shapes: elapsed_s S; film_age_s (*S, nodes), or of S its last axes only; gives S [s at
    reference temperature].

    >>> film = np.linspace(0.0, -240.0, FLOOR_ROOT_S05.size)[None, :]
    >>> film_age_after_s([4 * 3600.0], film).tolist(), film_age_after_s([-9.0], film).tolist()
    ([-240.0], [0.0])
    """
    elapsed = np.asarray(elapsed_s, dtype=np.float64)
    if elapsed.ndim > film_age_s.ndim - 1 and (elapsed >= FLOOR_HORIZON_S).all():
        # Mostly asked for long after, when nothing more comes: once for each film.
        late_s = np.full(film_age_s.shape[:-1], FLOOR_HORIZON_S)
        return np.broadcast_to(film_age_after_s(late_s, film_age_s), elapsed.shape)
    root = np.sqrt(np.clip(elapsed, 0.0, FLOOR_HORIZON_S))
    # The nodes lie by squares: which one is before needs no search.
    nodes = FLOOR_PIECES * np.sqrt(root / FLOOR_ROOT_S05[-1])
    index = np.minimum(nodes.astype(np.int64), FLOOR_PIECES - 1)
    begin, end = FLOOR_ROOT_S05[index], FLOOR_ROOT_S05[index + 1]
    films, width = film_age_s.shape[:-1], film_age_s.shape[-1]
    place = index + width * np.arange(math.prod(films)).reshape(films)
    at_begin, at_end = film_age_s.take(place), film_age_s.take(place + 1)
    return np.asarray(at_begin + (at_end - at_begin) * (root - begin) / (end - begin))


STEPS = 3
"""Runge-Kutta steps in a stage: over 2,000 kits each wet clock within 0.002 s, walking within
0.004 s, of marching on six Chebyshev nodes."""
MOST_K_A_STEP, MOST_STEPS = 5.0, 768
"""A batch that warms faster than this in a step is followed in twice as many."""


def follow(
    slopes: Callable[[Array], tuple[Array, Array]], start: Array, span: Array
) -> tuple[Array, Array, Array]:
    """March many batches at once: their temperature, and what gathers meanwhile.

    `slopes` gives dT/du and what gathers per u, of T (N,) and for all rows; `start` and
    `span` of u have shape (N,). Gives the places as shares of the span, shape (m,), then
    temperatures and gathered sums, shape (N, m).

    Source: the classical Runge-Kutta method of fourth order (from memory).

    >>> part, y, gathered = follow(lambda y: (-y, y), np.ones(1), np.ones(1))
    >>> round(float(y[0, -1]), 4), round(float(gathered[0, -1]), 4)  # 1/e, 1 - 1/e
    (0.3679, 0.6321)
    """
    steps = STEPS
    while steps <= MOST_STEPS:
        temp, gathered = _marched(slopes, start, span, steps)
        # "not small" rather than "large": NaN must not pass.
        if np.all(np.abs(np.diff(temp, axis=1)) <= MOST_K_A_STEP):
            return np.linspace(0.0, 1.0, steps + 1), temp, gathered
        steps *= 2
    raise OutOfRangeError("the batch warms too fast to be followed")


def _marched(
    slopes: Callable[[Array], tuple[Array, Array]], start: Array, span: Array, steps: int
) -> tuple[Array, Array]:
    length = span / steps
    temps, sums = [start], [np.zeros_like(start)]
    for _ in range(steps):
        at = temps[-1]
        one, gain_one = slopes(at)
        two, gain_two = slopes(at + 0.5 * length * one)
        three, gain_three = slopes(at + 0.5 * length * two)
        four, gain_four = slopes(at + length * three)
        temps.append(at + length * (one + 2.0 * (two + three) + four) / 6.0)
        gained = length * (gain_one + 2.0 * (gain_two + gain_three) + gain_four) / 6.0
        sums.append(sums[-1] + gained)
    return np.stack(temps, axis=1), np.stack(sums, axis=1)


_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(3)
_FLOOR_STEP = np.diff(FLOOR_ROOT_S05)[:, None]
_FLOOR_INNER = (
    0.5 * (FLOOR_ROOT_S05[1:] + FLOOR_ROOT_S05[:-1])[:, None] + 0.5 * _FLOOR_STEP * _GAUSS_X
)


@dataclass(frozen=True, slots=True, kw_only=True)
class KitPhysics:
    """What the bucket model needs to know of a kit; see the slurry card for sources."""

    activation_energy_j_mol: float
    reference_c: float
    liquids_capacity_j_k: float
    filler_capacity_j_k: float
    liquids_mix_s: float
    filler_mix_s: float
    liquid_stage_share: float
    heat_rise_k: float
    working_age_s: float
    mixing_power_w: float
    exchange_w_k: float
    volumetric_heat_j_m3_k: float

    @property
    def capacity_j_k(self) -> float:
        """Heat capacity of the mixed kit [J/K]."""
        return self.liquids_capacity_j_k + self.filler_capacity_j_k

    @property
    def heat_per_age_w(self) -> float:
        """Heat of reaction per second of age [J/s]."""
        return self.heat_rise_k * self.capacity_j_k / self.working_age_s


def run_bucket(
    liquids_c: ArrayLike,
    filler_c: ArrayLike,
    air_c: ArrayLike,
    slab_c: ArrayLike,
    haul_s: ArrayLike,
    *,
    kit: KitPhysics,
    speed: ArrayLike,
    film_m: float,
    slab_effusivity: float,
    runs_away: Literal["refused", "lost"] = "refused",
) -> BucketPath:
    """Follow buckets from the liquids' first stir to hours on the slab.

    The slab is held at its temperature when the bucket lands: right for the wet
    milestones, not for walking or coating, which `AgeCurve` takes over. A batch that runs
    away hot in the pail is refused as out of range; where hours are tried one beside the
    other it is lost: it warms no further than the rate is known, all its clocks long over.

    Source: Heat balance of a stirred batch; film after Carslaw & Jaeger's half-space with a
    well-stirred layer (from memory).

    >>> kit = KitPhysics(activation_energy_j_mol=51e3, reference_c=21.0,
    ...     liquids_capacity_j_k=9200, filler_capacity_j_k=11600, liquids_mix_s=150,
    ...     filler_mix_s=180, liquid_stage_share=0.2, heat_rise_k=8.0,
    ...     working_age_s=1300.0, mixing_power_w=0.0, exchange_w_k=1.0,
    ...     volumetric_heat_j_m3_k=2.2e6)
    >>> path = run_bucket([4.0, 33.0], 33.0, 33.0, 32.0, 60.0, kit=kit, speed=1.0,
    ...                   film_m=0.0032, slab_effusivity=1683.0)
    >>> bool(path.when_s(1000.0)[0] > path.when_s(1000.0)[1])
    True
    """
    start, filler, air, slab, haul, speeds = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(x, dtype=np.float64))
            for x in (liquids_c, filler_c, air_c, slab_c, haul_s, speed)
        )
    )
    if not (np.all(haul > 0) and np.all(speeds > 0) and film_m > 0 and slab_effusivity > 0):
        raise OutOfRangeError("haul_s, speed, film_m and slab_effusivity must be > 0")
    most_c = HOTTEST_C if runs_away == "lost" else np.inf
    liquids, mixed_c, mixing, hauling = _in_the_pail(
        start, filler, air, haul, speeds, kit=kit, most_c=most_c
    )
    age_hauled = mixing.age_s[:, -1:] + hauling.age_s
    pour_c, pour_age_s = hauling.temp_c[:, -1], liquids.age_s[:, -1] + age_hauled[:, -1]
    pour_s = kit.filler_mix_s + haul
    beta = slab_effusivity / (kit.volumetric_heat_j_m3_k * film_m)
    floor_time, floor_age, floor_rate = _floor(pour_c, slab, kit=kit, speed=speeds, beta_s=beta)
    slab_rate = speeds * rate_factor(slab, **kinetics_of(kit))
    in_pail_s = np.hstack([mixing.time_s, kit.filler_mix_s + hauling.time_s[:, 1:]])
    in_pail_age_s = np.hstack([mixing.age_s, age_hauled[:, 1:]]) + liquids.age_s[:, -1:]
    return BucketPath(
        time_s=np.hstack([in_pail_s, pour_s[:, None] + floor_time[None, 1:]]),
        age_s=np.hstack([in_pail_age_s, pour_age_s[:, None] + floor_age[:, 1:]]),
        rate=np.hstack([mixing.rate, hauling.rate[:, 1:], floor_rate[:, 1:]]),
        mixed_c=mixed_c,
        pour_c=pour_c,
        pour_s=pour_s,
        pour_age_s=pour_age_s,
        slab_rate=slab_rate,
        film_age_s=floor_age - floor_time * slab_rate[:, None],
        finer=any(one.time_s.shape[1] > STEPS + 1 for one in (liquids, mixing, hauling)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stage:
    time_s: Array
    temp_c: Array
    age_s: Array
    rate: Array


def _in_the_pail(
    liquids_c: Array,
    filler_c: Array,
    air_c: Array,
    haul_s: Array,
    speed: Array,
    *,
    kit: KitPhysics,
    most_c: float,
) -> tuple[_Stage, Array, _Stage, _Stage]:
    """Liquids alone; the temperature once the filler is in; whole kit mixed; hauled."""
    liquids = _stage(
        liquids_c,
        air_c,
        np.full(liquids_c.shape, kit.liquids_mix_s),
        kit=kit,
        speed=kit.liquid_stage_share * speed,
        capacity_j_k=kit.liquids_capacity_j_k,
        power_w=kit.mixing_power_w,
        most_c=most_c,
    )
    heat_j = kit.liquids_capacity_j_k * liquids.temp_c[:, -1]
    mixed_c = (heat_j + kit.filler_capacity_j_k * filler_c) / kit.capacity_j_k
    whole_kit = partial(
        _stage, kit=kit, speed=speed, capacity_j_k=kit.capacity_j_k, most_c=most_c
    )
    mix_s = np.full(mixed_c.shape, kit.filler_mix_s)
    mixing = whole_kit(mixed_c, air_c, mix_s, power_w=kit.mixing_power_w)
    hauling = whole_kit(mixing.temp_c[:, -1], air_c, haul_s, power_w=0.0)
    return liquids, mixed_c, mixing, hauling


def _stage(
    start_c: Array,
    air_c: Array,
    duration_s: Array,
    *,
    kit: KitPhysics,
    speed: Array,
    capacity_j_k: float,
    power_w: float,
    most_c: float,
) -> _Stage:
    """One stage in the pail, from its first to its last second, told no hotter than given."""
    kinetics = kinetics_of(kit)
    energy_j_mol, reference_k = kit.activation_energy_j_mol, kit.reference_c + ZERO_CELSIUS_K
    rate_factor(start_c, **kinetics)

    def slopes(temp: Array) -> tuple[Array, Array]:
        # A step may overshoot on its way; what comes of it is checked below.
        kelvin = np.minimum(np.maximum(temp, COLDEST_C), HOTTEST_C) + ZERO_CELSIUS_K
        rate = speed * arrhenius(kelvin, energy_j_mol=energy_j_mol, reference_k=reference_k)
        lost_w = kit.exchange_w_k * (temp - air_c)
        warming = (kit.heat_per_age_w * rate + power_w - lost_w) / capacity_j_k
        return np.asarray(warming), np.asarray(rate)

    part, temp, age_s = follow(slopes, start_c, duration_s)
    temp = np.minimum(temp, most_c)
    return _Stage(
        time_s=duration_s[:, None] * part,
        temp_c=temp,
        age_s=age_s,
        rate=speed[:, None] * rate_factor(temp, **kinetics),
    )


def _floor(
    pour_c: Array, slab_c: Array, *, kit: KitPhysics, speed: Array, beta_s: float
) -> tuple[Array, Array, Array]:
    """Age and rate on the floor: smooth in sqrt(t), and densest where the film starts."""
    root, step, inner = FLOOR_ROOT_S05, _FLOOR_STEP, _FLOOR_INNER
    weight = (2.0 * inner) * (0.5 * step * _GAUSS_W)
    kinetics = kinetics_of(kit)
    gap = (pour_c - slab_c)[:, None]
    slab = slab_c[:, None]
    left_inner, left = _gap_left(beta_s)
    film_inner = slab + gap * left_inner
    gained = rate_factor(film_inner, **kinetics) * weight.ravel() * speed[:, None]
    per_piece = gained.reshape(slab_c.size, step.size, _GAUSS_X.size).sum(axis=2)
    age = np.hstack([np.zeros((slab_c.size, 1)), np.cumsum(per_piece, axis=1)])
    rate = rate_factor(slab + gap * left, **kinetics) * speed[:, None]
    return root**2, age, rate


@lru_cache(maxsize=64)
def _gap_left(beta_s: float) -> tuple[Array, Array]:
    """Share of its first gap to the slab that a film still has, at inner places and ends."""
    inner, ends = (beta_s * root.ravel() for root in (_FLOOR_INNER, FLOOR_ROOT_S05))
    return erfcx(inner), erfcx(ends)


_ASYMPTOTIC_FROM = 20.0


def erfcx(x: Array) -> Array:
    """exp(x²) erfc(x) for x >= 0; scipy has it, at the price of a long import.

    Source: beyond 20 six terms of the asymptotic series, Abramowitz & Stegun 7.1.23 (from
    memory).

    >>> erfcx(np.array([0.0, 1.0, 50.0])).round(6).tolist()
    [1.0, 0.427584, 0.011282]
    """
    near = np.minimum(x, _ASYMPTOTIC_FROM)
    found = np.exp(near**2) * np.array([math.erfc(at) for at in near.tolist()])
    half = 0.5 / np.maximum(x, _ASYMPTOTIC_FROM) ** 2
    series = np.zeros_like(half)
    for odd in (9, 7, 5, 3, 1):
        series = (1.0 + series) * -odd * half
    far = (1.0 + series) / (math.sqrt(math.pi) * np.maximum(x, _ASYMPTOTIC_FROM))
    return np.where(x > _ASYMPTOTIC_FROM, far, found)


def kinetics_of(kit: KitPhysics) -> dict[str, float]:
    """The kit's kinetics as `rate_factor` wants them."""
    return {
        "activation_energy_j_mol": kit.activation_energy_j_mol,
        "reference_c": kit.reference_c,
    }
