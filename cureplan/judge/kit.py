"""A bucket from its liquids to the end of its clocks, in steps of seconds."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.inputs.cards.model import Milestone, MilestonePoint, SlurryCard
from cureplan.judge.ageing import CardRate, cumulate, fit_rate, written_s

__all__ = [
    "KitModel",
    "KitRuns",
    "Kits",
    "calibrate",
    "first_crossing",
    "procedure_kits",
    "run_kits",
    "scaled_erfc",
]

STEP_S = 10.0
CONCRETE_EFFUSIVITY = math.sqrt(1.4 * 2300.0 * 880.0)  # W s^0.5/(m² K): dense concrete
FLOOR_S = 4 * 3600.0
ROUNDS = 100
SETTLED_FRAC = 1e-7
ROOT_STEP = 0.1  # the film's grid is even in the square root of time

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class KitModel:
    """A card's bucket: what heats it, what it holds, and how its film meets the slab."""

    card: SlurryCard
    rate: CardRate
    liquids_j_k: float
    kit_j_k: float
    heat_j: float
    """Heat set free per second of age [J/s]."""
    film: Floats
    """Share of the pour's warmth left in the film, over `roots`."""
    roots: Floats
    age_factor: float = 1.0
    """Everything ages this many times faster."""

    def rate_at(self, temp_c: ArrayLike) -> Floats:
        """Ageing speed at a temperature [1]."""
        return self.rate.speed(temp_c) * self.age_factor


@dataclass(frozen=True, slots=True, kw_only=True)
class Kits:
    """Kits side by side: how long each stage takes and how warm everything is."""

    liquids_s: Floats
    filler_s: Floats
    haul_s: Floats
    liquids_c: Floats
    filler_c: Floats
    air_c: Floats
    slab_c: Floats
    pace: Floats
    """How many times faster each ages for the humidity of its air."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KitRuns:
    """What became of the kits; `since_s` counts from each one's filler."""

    mixed_c: Floats
    pour_c: Floats
    pour_age_s: Floats
    pour_since_s: Floats
    since_s: Floats
    age_s: Floats
    excess_age_s: Floats
    """Age the film gathers beyond a held slab's, over the floor's grid."""

    def age_after(self, row: int, since_s: float, speed: float) -> float:
        """Age of a kit; past the grid it gathers more at the speed of its slab."""
        age_s = np.interp(since_s, self.since_s[row], self.age_s[row])
        return float(age_s) + speed * max(0.0, since_s - float(self.since_s[row, -1]))

    def reached(self, age_s: float) -> Floats:
        """Seconds from filler to an age, per kit; +inf where it is not reached."""
        return first_crossing(self.since_s, self.age_s, np.full(len(self.age_s), age_s))


def first_crossing(at: Floats, rising: Floats, level: Floats) -> Floats:
    """Where each row of `rising` first reaches its level; +inf where it never does."""
    after = np.count_nonzero(rising < level[:, None], axis=1)
    inside = after < rising.shape[1]
    right = np.clip(after, 1, rising.shape[1] - 1)[:, None]
    x1, x0 = (np.take_along_axis(at, right - i, axis=1)[:, 0] for i in (0, 1))
    y1, y0 = (np.take_along_axis(rising, right - i, axis=1)[:, 0] for i in (0, 1))
    run = np.where(y1 > y0, y1 - y0, 1.0)
    return np.where(inside, x0 + (x1 - x0) * np.clip((level - y0) / run, 0, 1), np.inf)


def scaled_erfc(x: float) -> float:
    """exp(x²)·erfc(x) for x >= 0.

    Source
    ------
    Abramowitz & Stegun 7.1.23, four terms from x = 10 on: good to 1e-8 there.

    Examples
    --------
    >>> round(scaled_erfc(1.0), 6), round(scaled_erfc(20.0) * 20 * math.pi**0.5, 5)
    (0.427584, 0.99875)
    """
    if x < 10.0:
        return math.exp(x * x) * math.erfc(x)
    y = 1.0 / (2.0 * x * x)
    return (1.0 - y + 3 * y * y - 15 * y**3) / (x * math.sqrt(math.pi))


def calibrate(card: SlurryCard, *, thickness_m: float) -> KitModel:
    """The card's bucket, with kinetics under which the procedure passes through its points.

    A point's minutes are those of the whole procedure run at the point's temperature. The
    age they come to depends on the kinetics, and the kinetics on these ages; so does
    the heat, which is given off by the end of the working time: found by repetition.
    """
    warmth_j_m3_k = card.kit_heat_capacity_j_k / card.mixed_yield_m3
    slowing = CONCRETE_EFFUSIVITY / (warmth_j_m3_k * thickness_m)
    roots = np.arange(0.0, math.sqrt(FLOOR_S) + ROOT_STEP / 2, ROOT_STEP)
    film = np.array([scaled_erfc(slowing * root) for root in roots])
    since_s = {
        name: _since_filler_s(card, milestone) for name, milestone in card.milestones.items()
    }
    rate = fit_rate(card.prior, card.milestones, since_s)
    for _ in range(ROUNDS):
        model = KitModel(
            card=card,
            rate=rate,
            liquids_j_k=sum(part.mass_kg * part.specific_heat_j_kg_k for part in card.liquids),
            kit_j_k=card.kit_heat_capacity_j_k,
            heat_j=card.bucket_heat_rise_k
            * card.kit_heat_capacity_j_k
            / rate.ref_s["working_time"],
            film=film,
            roots=roots,
        )
        rate = fit_rate(card.prior, card.milestones, _steady_s(model, since_s))
        if _moved(model.rate, rate) < SETTLED_FRAC:
            return model
    raise OutOfRangeError(
        f"the points of the card {card.title!r} do not settle into a rate in {ROUNDS} rounds"
    )


def _since_filler_s(card: SlurryCard, milestone: Milestone) -> Floats:
    mixed = milestone.clock_starts == "mixed"
    return written_s(milestone) + (card.filler_mix_s if mixed else 0.0)


def _steady_s(model: KitModel, since_s: Mapping[str, Floats]) -> dict[str, Floats]:
    """Per point, how long a batch held at its temperature would need [s]."""
    points = {name: milestone.points for name, milestone in model.card.milestones.items()}
    asked = [(p.at_c, _pace(model, p, name)) for name, row in points.items() for p in row]
    kinds = sorted(set(asked))
    at_c, paces = (np.array(column) for column in zip(*kinds, strict=True))
    runs = run_kits(model, replace(procedure_kits(model.card, at_c), pace=paces))
    steady_s: dict[str, Floats] = {}
    for name, row in points.items():
        held_s = np.empty(len(row))
        for i, (point, after_s) in enumerate(zip(row, since_s[name], strict=True)):
            pace = _pace(model, point, name)
            speed = float(model.rate_at(point.at_c)) * pace
            row_of = kinds.index((point.at_c, pace))
            held_s[i] = runs.age_after(row_of, float(after_s), speed) / speed
        steady_s[name] = held_s
    return steady_s


def _pace(model: KitModel, point: MilestonePoint, milestone: str) -> float:
    share = point.humidity_frac
    if share is None:
        share = model.rate.bare_share(milestone)
    return float(model.rate.pace(share))


def _moved(was: CardRate, now: CardRate) -> float:
    """Largest relative change of the energy, a reference time, or humidity's factor."""
    ages = [abs(now.ref_s[name] / was.ref_s[name] - 1.0) for name in was.ref_s]
    slope = 0.0
    if was.humidity_slope is not None and now.humidity_slope is not None:
        slope = abs(now.humidity_slope.slope - was.humidity_slope.slope)
    energy = abs(now.energy_j_mol - was.energy_j_mol) / abs(was.energy_j_mol)
    return max(energy, slope, *ages)


def procedure_kits(card: SlurryCard, at_c: Floats) -> Kits:
    """One kit per temperature, with everything at it, handled as the card's points were."""
    same = np.ones_like(at_c)
    return Kits(
        liquids_s=card.liquids_mix_s * same,
        filler_s=card.filler_mix_s * same,
        haul_s=card.reference_haul_s * same,
        liquids_c=at_c,
        filler_c=at_c,
        air_c=at_c,
        slab_c=at_c,
        pace=same,
    )


def run_kits(model: KitModel, kits: Kits) -> KitRuns:
    """March every kit through stirring, filler, haul, and the floor."""
    share, power = model.card.liquid_stage_share, model.card.mixing_power_w
    temp, age = kits.liquids_c, np.zeros_like(kits.liquids_c)
    stirred = _stage(model, kits, temp, age, kits.liquids_s, model.liquids_j_k, power, share)
    filler_j_k = model.kit_j_k - model.liquids_j_k
    mixed_c = (
        stirred[1][:, -1] * model.liquids_j_k + kits.filler_c * filler_j_k
    ) / model.kit_j_k
    age = stirred[2][:, -1]
    filled = _stage(model, kits, mixed_c, age, kits.filler_s, model.kit_j_k, power, 1.0)
    temp, age = filled[1][:, -1], filled[2][:, -1]
    hauled = _stage(model, kits, temp, age, kits.haul_s, model.kit_j_k, 0.0, 1.0)
    pour_c, pour_age_s = hauled[1][:, -1], hauled[2][:, -1]
    pour_since_s = kits.filler_s + kits.haul_s
    floor_age_s, excess_s = _film(model, kits, pour_c, pour_age_s)
    since = [
        filled[0],
        hauled[0][:, 1:] + kits.filler_s[:, None],
        model.roots[None, 1:] ** 2 + pour_since_s[:, None],
    ]
    ages = [filled[2], hauled[2][:, 1:], floor_age_s[:, 1:]]
    return KitRuns(
        mixed_c=mixed_c,
        pour_c=pour_c,
        pour_age_s=pour_age_s,
        pour_since_s=pour_since_s,
        since_s=np.concatenate(since, axis=1),
        age_s=np.concatenate(ages, axis=1),
        excess_age_s=excess_s,
    )


def _stage(
    model: KitModel,
    kits: Kits,
    temp_c: Floats,
    age_s: Floats,
    lasts_s: Floats,
    holds_j_k: float,
    power_w: float,
    share: float,
) -> tuple[Floats, Floats, Floats]:
    """One stage in the bucket: times, temperatures and ages, (kits, steps + 1)."""
    exchange = model.card.bucket_exchange_w_k

    def slope(temp: Floats) -> tuple[Floats, Floats]:
        ageing = share * model.rate_at(temp) * kits.pace
        heat = power_w + model.heat_j * ageing + exchange * (kits.air_c - temp)
        return heat / holds_j_k, ageing

    count = max(1, math.ceil(float(lasts_s.max()) / STEP_S))
    step = lasts_s / count
    times, temps, ages = [np.zeros_like(temp_c)], [temp_c], [age_s]
    for i in range(count):
        t1, a1 = slope(temps[-1])
        t2, a2 = slope(temps[-1] + step / 2 * t1)
        t3, a3 = slope(temps[-1] + step / 2 * t2)
        t4, a4 = slope(temps[-1] + step * t3)
        times.append(step * (i + 1))
        temps.append(temps[-1] + step / 6 * (t1 + 2 * t2 + 2 * t3 + t4))
        ages.append(ages[-1] + step / 6 * (a1 + 2 * a2 + 2 * a3 + a4))
    return np.stack(times, axis=1), np.stack(temps, axis=1), np.stack(ages, axis=1)


def _film(
    model: KitModel, kits: Kits, pour_c: Floats, pour_age_s: Floats
) -> tuple[Floats, Floats]:
    slab_c, pace = kits.slab_c, kits.pace[:, None]
    temp = slab_c[:, None] + (pour_c - slab_c)[:, None] * model.film
    twice_root = 2.0 * model.roots  # dt = 2 u du, with u the root of time
    ageing = model.rate_at(temp) * pace
    excess = ageing - model.rate_at(slab_c)[:, None] * pace
    age_s = pour_age_s[:, None] + cumulate(model.roots, ageing * twice_root)
    return age_s, cumulate(model.roots, excess * twice_root)
