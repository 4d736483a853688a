"""One kit from the first stir to the floor: its temperature, and its clocks.

The clock starts when the filler goes in. Before that the liquids alone are stirred for
some minutes, which use up life at a share of the full rate. The batch warms as it ages,
gains the mixer's power and exchanges heat with the air; on the floor it is a thin film
that the slab takes over within minutes.

Heat is tied to age, so no stage is stepped through: within a stage the temperature is
found at a few nodes by repeated quadrature, and on the floor it is known in closed form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erfcx

from cureplan.errors import OutOfRangeError
from cureplan.physics.quadrature import collocation, hermite
from cureplan.physics.rate import rate_factor

__all__ = ["BucketPath", "KitPhysics", "run_bucket"]

STAGE_NODES = 6
SWEEPS = 7
"""Quadrature sweeps per stage; each shrinks the error by about a quarter or more."""
FLOOR_HORIZON_S = 4 * 3600.0
FLOOR_PIECES = 28
_GAUSS_X, _GAUSS_W = np.polynomial.legendre.leggauss(3)

Array = NDArray[np.float64]


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
    landing_age_s: Array
    """Age to start from on the slab's own curve: what the film gained or lost by not
    having the slab's temperature at once is already counted."""

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
            last node the last rate is held, which the slab then sets anyway.
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
        after = time1 + (target - age1) * slope1
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
        return hermite(
            part,
            self.age_s[row, index],
            self.age_s[row, index + 1],
            self.rate[row, index] * width,
            self.rate[row, index + 1] * width,
        )


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
) -> BucketPath:
    """Follow buckets from the liquids' first stir to hours on the slab.

    The slab is held at its temperature when the bucket lands: right for the wet
    milestones, not for walking or coating, which `AgeCurve` takes over.

    Parameters
    ----------
    liquids_c, filler_c, air_c, slab_c : array_like, broadcastable to (N,)
        Temperatures [°C] of the liquids, the filler, the air at the mixer, the slab.
    haul_s : array_like, broadcastable to (N,)
        From the end of mixing to the floor [s], > 0.
    kit : KitPhysics
        The kit and its kinetics.
    speed : array_like, broadcastable to (N,)
        Batch speed against the card [-]; 1 is the card's own, > 0.
    film_m : float
        Thickness on the floor [m], > 0.
    slab_effusivity : float
        sqrt(k rho c) of the slab [W s^0.5/(m² K)], > 0.

    Returns
    -------
    BucketPath

    Raises
    ------
    OutOfRangeError
        A temperature, speed, haul, thickness or effusivity is out of range.

    Source
    ------
    Heat balance of a stirred batch; film after Carslaw & Jaeger's half-space with a
    well-stirred layer (from memory).

    Examples
    --------
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
    start, filler, air, slab, haul, pace = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(x, dtype=np.float64))
            for x in (liquids_c, filler_c, air_c, slab_c, haul_s, speed)
        )
    )
    if not (np.all(haul > 0) and np.all(pace > 0) and film_m > 0 and slab_effusivity > 0):
        raise OutOfRangeError("haul_s, speed, film_m and slab_effusivity must be > 0")
    liquids = _stage(
        start,
        air,
        np.full(start.shape, kit.liquids_mix_s),
        kit=kit,
        speed=pace,
        capacity_j_k=kit.liquids_capacity_j_k,
        share=kit.liquid_stage_share,
        power_w=kit.mixing_power_w,
    )
    mixed_c = (
        kit.liquids_capacity_j_k * liquids.temp_c[:, -1] + kit.filler_capacity_j_k * filler
    ) / kit.capacity_j_k

    def whole_kit(start_c: Array, duration_s: Array, power_w: float) -> _Stage:
        return _stage(
            start_c,
            air,
            duration_s,
            kit=kit,
            speed=pace,
            capacity_j_k=kit.capacity_j_k,
            share=1.0,
            power_w=power_w,
        )

    mixing = whole_kit(mixed_c, np.full(start.shape, kit.filler_mix_s), kit.mixing_power_w)
    hauling = whole_kit(mixing.temp_c[:, -1], haul, 0.0)
    age_mixed = liquids.age_s[:, -1:] + mixing.age_s
    age_hauled = age_mixed[:, -1:] + hauling.age_s
    pour_s = kit.filler_mix_s + haul
    beta = slab_effusivity / (kit.volumetric_heat_j_m3_k * film_m)
    floor_time, floor_age, floor_rate = _floor(
        hauling.temp_c[:, -1], slab, kit=kit, speed=pace, beta_s=beta
    )
    settled = FLOOR_HORIZON_S * pace * rate_factor(slab, **kinetics_of(kit))
    return BucketPath(
        time_s=np.hstack(
            [
                mixing.time_s,
                kit.filler_mix_s + hauling.time_s[:, 1:],
                pour_s[:, None] + floor_time[None, 1:],
            ]
        ),
        age_s=np.hstack([age_mixed, age_hauled[:, 1:], age_hauled[:, -1:] + floor_age[:, 1:]]),
        rate=np.hstack([mixing.rate, hauling.rate[:, 1:], floor_rate[:, 1:]]),
        mixed_c=mixed_c,
        pour_c=hauling.temp_c[:, -1],
        pour_s=pour_s,
        pour_age_s=age_hauled[:, -1],
        landing_age_s=age_hauled[:, -1] + floor_age[:, -1] - settled,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stage:
    time_s: Array
    temp_c: Array
    age_s: Array
    rate: Array


def _stage(
    start_c: Array,
    air_c: Array,
    duration_s: Array,
    *,
    kit: KitPhysics,
    speed: Array,
    capacity_j_k: float,
    share: float,
    power_w: float,
) -> _Stage:
    """One stage in the pail: T at nodes by sweeps of T = T0 + ∫ f(T) dt."""
    nodes, integrate = collocation(STAGE_NODES)
    span = duration_s[:, None]
    temp = np.repeat(start_c[:, None], nodes.size, axis=1)
    for sweep in range(SWEEPS + 1):
        rate = share * speed[:, None] * rate_factor(temp, **kinetics_of(kit))
        if sweep == SWEEPS:
            break
        gain_w = (
            kit.heat_per_age_w * rate + power_w - kit.exchange_w_k * (temp - air_c[:, None])
        )
        temp = start_c[:, None] + span * (gain_w @ integrate.T) / capacity_j_k
    return _Stage(
        time_s=span * nodes, temp_c=temp, age_s=span * (rate @ integrate.T), rate=rate
    )


def _floor(
    pour_c: Array, slab_c: Array, *, kit: KitPhysics, speed: Array, beta_s: float
) -> tuple[Array, Array, Array]:
    """Age and rate on the floor, at times even in sqrt(t), where the film is smooth."""
    root = np.linspace(0.0, np.sqrt(FLOOR_HORIZON_S), FLOOR_PIECES + 1)
    step = root[1] - root[0]
    inner = 0.5 * (root[1:] + root[:-1])[:, None] + 0.5 * step * _GAUSS_X
    weight = (2.0 * inner) * (0.5 * step * _GAUSS_W)
    kinetics = kinetics_of(kit)
    gap = (pour_c - slab_c)[:, None]
    slab = slab_c[:, None]
    film_inner = slab + gap * erfcx(beta_s * inner.ravel())
    gained = rate_factor(film_inner, **kinetics) * weight.ravel() * speed[:, None]
    per_piece = gained.reshape(slab_c.size, FLOOR_PIECES, _GAUSS_X.size).sum(axis=2)
    age = np.hstack([np.zeros((slab_c.size, 1)), np.cumsum(per_piece, axis=1)])
    rate = rate_factor(slab + gap * erfcx(beta_s * root), **kinetics) * speed[:, None]
    return root**2, age, rate


def kinetics_of(kit: KitPhysics) -> dict[str, float]:
    """The kit's kinetics as `rate_factor` wants them."""
    return {
        "activation_energy_j_mol": kit.activation_energy_j_mol,
        "reference_c": kit.reference_c,
    }
