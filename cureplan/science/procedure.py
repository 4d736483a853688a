"""The reference procedure a data sheet means, and a kit left standing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.fit import KineticFit, fit_kinetics
from cureplan.science.kit import KitPhysics, follow, kinetics_of, run_bucket
from cureplan.science.rate import COLDEST_C, HOTTEST_C, rate_factor

__all__ = [
    "ExothermPath",
    "exotherm_path",
    "procedure_ages_s",
    "procedure_kinetics",
]

MOST_ROUNDS = 100
SETTLED_LN = 1e-9
"""Change of ln(age) in the last round at which ages are taken as found."""


def procedure_ages_s(
    at_c: ArrayLike,
    after_s: ArrayLike,
    *,
    kit: KitPhysics,
    haul_s: float,
    film_m: float,
    slab_effusivity: float,
    speed: ArrayLike = 1.0,
) -> NDArray[np.float64]:
    """Ages which reference procedures at some temperatures have reached after given times.

    Not for times before the batch is on the floor.

    Shapes: at_c (m,); gives (m,) [s].

    >>> kit = KitPhysics(activation_energy_j_mol=51e3, reference_c=21.0,
    ...     liquids_capacity_j_k=9200, filler_capacity_j_k=11600, liquids_mix_s=150,
    ...     filler_mix_s=180, liquid_stage_share=0.2, heat_rise_k=0.0,
    ...     working_age_s=1200.0, mixing_power_w=0.0, exchange_w_k=0.0,
    ...     volumetric_heat_j_m3_k=2.2e6)
    >>> age_s = procedure_ages_s(21.0, 1200.0, kit=kit, haul_s=60.0, film_m=0.0032,
    ...                       slab_effusivity=1683.0)
    >>> round(float(age_s[0]), 6)  # no heat: its own 20 min and a fifth of the stirring
    1230.0
    """
    temps, times = np.broadcast_arrays(
        np.atleast_1d(np.asarray(at_c, dtype=np.float64)),
        np.atleast_1d(np.asarray(after_s, dtype=np.float64)),
    )
    if not np.all(times > kit.filler_mix_s + haul_s):
        raise OutOfRangeError("a milestone must come after the batch has been poured")
    path = run_bucket(
        temps, temps, temps, temps, haul_s,
        kit=kit, speed=speed, film_m=film_m, slab_effusivity=slab_effusivity,
    )  # fmt: skip
    inside = np.minimum(times, path.time_s[:, -1])
    return np.asarray(path.age_at_s(inside) + (times - inside) * path.slab_rate)


def procedure_kinetics(
    at_c: ArrayLike,
    after_s: ArrayLike,
    milestone: ArrayLike,
    *,
    spread_frac: ArrayLike,
    reference_c: float,
    prior_mean_j_mol: float,
    prior_sd_j_mol: float,
    working: int,
    kit: KitPhysics,
    haul_s: float,
    film_m: float,
    slab_effusivity: float,
    humidity_above_frac: ArrayLike | None = None,
) -> tuple[KitPhysics, KineticFit]:
    """Kinetics with which the reference procedure passes through a card's points.

    Each point is turned into the time a batch held at the point's temperature would
    need, which depends on the kinetics looked for, and on the heat given off by the end
    of the working time: so rounds of running and fitting, until nothing moves.
    """
    floor = {"haul_s": haul_s, "film_m": film_m, "slab_effusivity": slab_effusivity}
    steady_s = np.atleast_1d(np.asarray(after_s, dtype=np.float64))
    above = 0.0 if humidity_above_frac is None else humidity_above_frac
    moved = np.inf
    for _ in range(MOST_ROUNDS):
        fit = fit_kinetics(
            at_c,
            steady_s,
            milestone,
            spread_frac=spread_frac,
            reference_c=reference_c,
            prior_mean_j_mol=prior_mean_j_mol,
            prior_sd_j_mol=prior_sd_j_mol,
            humidity_above_frac=humidity_above_frac,
        )
        kit = replace(
            kit,
            activation_energy_j_mol=fit.activation_energy_j_mol,
            reference_c=reference_c,
            working_age_s=float(fit.reference_s[working]),
        )
        if moved < SETTLED_LN:
            return kit, fit
        before_s = steady_s
        speed = np.exp(-fit.humidity_slope * np.asarray(above))
        ages_s = procedure_ages_s(at_c, after_s, kit=kit, speed=speed, **floor)
        steady_s = ages_s / (speed * rate_factor(at_c, **kinetics_of(kit)))
        moved = float(np.max(np.abs(np.log(steady_s / before_s))))
    raise OutOfRangeError("bucket_heat_rise and the milestones of the card do not fit together")


PIECES = 32

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExothermPath:
    """A mixed bucket that nobody dumps: its temperature and time against age."""

    age_s: Array
    time_s: Array
    temp_c: Array


def exotherm_path(
    mixed_c: float, air_c: float, *, kit: KitPhysics, start_age_s: float, end_age_s: float
) -> ExothermPath:
    """What a mixed bucket left in its pail does until it has reached an age.

    The caution on the sheet rests on this; not for a bucket that was poured.

    >>> from cureplan.science.kit import KitPhysics
    >>> kit = KitPhysics(activation_energy_j_mol=51e3, reference_c=21.0,
    ...     liquids_capacity_j_k=9200, filler_capacity_j_k=11600, liquids_mix_s=150,
    ...     filler_mix_s=180, liquid_stage_share=0.2, heat_rise_k=8.0,
    ...     working_age_s=1200.0, mixing_power_w=0.0, exchange_w_k=0.0,
    ...     volumetric_heat_j_m3_k=2.2e6)
    >>> pail = exotherm_path(21.0, 21.0, kit=kit, start_age_s=0.0, end_age_s=1200.0)
    >>> round(float(pail.temp_c[-1]), 6)  # adiabatic: the card's rise, to the last digit
    29.0
    """
    if not end_age_s > start_age_s:
        raise OutOfRangeError("end_age_s must be greater than start_age_s")
    kinetics = kinetics_of(kit)

    def slopes(temp: Array) -> tuple[Array, Array]:
        # A step may overshoot on its way; what comes of it is checked below.
        rate = rate_factor(np.clip(temp, COLDEST_C, HOTTEST_C), **kinetics)
        lost_w = kit.exchange_w_k * (temp - air_c)
        warming = (kit.heat_per_age_w - lost_w / rate) / kit.capacity_j_k
        return np.asarray(warming), np.asarray(1.0 / rate)

    edges = np.linspace(start_age_s, end_age_s, PIECES + 1)
    ages, times, temps = [edges[:1]], [np.zeros(1)], [np.array([mixed_c])]
    for first_s, last_s in pairwise(edges):
        span = np.array([last_s - first_s])
        part, temp, passed_s = follow(slopes, temps[-1][-1:], span)
        rate_factor(temp, **kinetics)  # refuses what boils over
        ages.append(first_s + span * part[1:])
        times.append(times[-1][-1] + passed_s[0, 1:])
        temps.append(temp[0, 1:])
    return ExothermPath(
        age_s=np.concatenate(ages), time_s=np.concatenate(times), temp_c=np.concatenate(temps)
    )
