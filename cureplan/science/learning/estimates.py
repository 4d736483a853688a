"""Estimates and curves of a fit, and what no fit may say."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import InputError
from cureplan.inputs.cards.model import ORDER, Milestone, SlurryCard
from cureplan.science.learning.least_squares import (
    PRIOR_FREEDOM,
    Solution,
    deleted_residuals,
    disagreement_limit,
    interval,
    student_limit,
)
from cureplan.science.learning.model import Curve, Estimate, NextReading
from cureplan.science.learning.procedure_readings import ReadingsModel, row_table
from cureplan.science.learning.setup import Setup

__all__ = [
    "PRIOR_FREEDOM",
    "SHARE",
    "Disagreement",
    "Steady",
    "curves",
    "disagreement",
    "estimate",
    "measure_next",
    "new_spread",
    "read_milestones",
    "reference_c",
    "refuse_nonsense",
    "refuse_order",
    "refuse_other_units",
    "steady",
    "steady_ln_s",
    "time_estimate",
]

Array = NDArray[np.float64]

SHARE = 0.9
"""Share of cases every stated interval is to hold."""
COLDEST_C, HOTTEST_C = 0.0, 50.0
BEYOND_K = 5.0
"""How far the picture goes beyond the readings."""
CURVE_POINTS = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """ln(time) of milestones at steady temperatures, and its slopes."""

    milestone: NDArray[np.int64]
    temp_c: Array
    ln_s: Array
    slopes: Array
    """Shape (n, p)."""


def steady(
    found: Solution, made: Setup, temp_c: ArrayLike, milestones: Sequence[int]
) -> Steady:
    """Times with everything at one temperature, as a data sheet means it."""
    temps = np.atleast_1d(np.asarray(temp_c, dtype=np.float64))
    which = np.repeat(np.asarray(milestones, dtype=np.int64), temps.size)
    spread = np.tile(temps, len(milestones))
    model = _steady_model(made, spread, which)
    return Steady(
        milestone=which,
        temp_c=spread,
        ln_s=model.expected(found.value),
        slopes=model.slopes(found.value),
    )


def steady_ln_s(made: Setup, temp_c: ArrayLike, milestone: ArrayLike, *, at: Array) -> Array:
    """The same pair by pair, under any parameters, without slopes."""
    temps, which = np.asarray(temp_c, dtype=np.float64), np.asarray(milestone, dtype=np.int64)
    return _steady_model(made, temps, which).expected(at)


def _steady_model(made: Setup, temp_c: Array, milestone: NDArray[np.int64]) -> ReadingsModel:
    rows = [
        made.maker.steady_procedure(float(one_c), int(number))
        for one_c, number in zip(temp_c, milestone, strict=True)
    ]
    return replace(made.model, rows=row_table(rows))


def read_milestones(made: Setup) -> list[int]:
    """Which milestones were read, in the card's order."""
    own = made.model.rows["milestone"][made.problem.scaled_row]
    return sorted({int(number) for number in own})


def reference_c(found: Solution, made: Setup) -> float:
    """Temperature at which times and energy are least tangled, to a tenth of a degree.

    There the doubt of a time is not also the energy's, which is what a card with one
    point per milestone says. Where a batch would end before it is poured, a card can
    hold no point: then a cooler one is taken.
    """
    low_c, high_c = _read_c(made)
    own_c = made.model.reference_c
    if any(one.doubt_frac for one in made.card.milestones.values()):
        # What earlier fits read counts as well: a night at one temperature tells no energy.
        low_c, high_c = min(low_c, own_c), max(high_c, own_c)
    temps = np.round(np.linspace(min(low_c, own_c), max(high_c, own_c), 41), 1)
    count = len(made.maker.names)
    on = steady(found, made, temps, range(count))
    tangled = (on.slopes @ found.covariance[:, made.layout.at("energy")]).reshape(
        count, temps.size
    )
    squares = np.sum(tangled[read_milestones(made)] ** 2, axis=0)
    soonest_s = np.min(np.exp(on.ln_s.reshape(count, temps.size)), axis=0)
    good = (soonest_s > _poured_s(made)) & (temps >= low_c) & (temps <= high_c)
    if not np.any(good):
        good = soonest_s > _poured_s(made)
    if not np.any(good):
        return float(temps[0])
    return float(temps[int(np.argmin(np.where(good, squares, np.inf)))])


def _poured_s(made: Setup) -> float:
    """When a batch is on the floor, with a little to spare [s]."""
    if not isinstance(made.card, SlurryCard):
        return 0.0
    return 1.05 * (made.card.filler_mix_s + made.card.reference_haul_s)


def _read_c(made: Setup) -> tuple[float, float]:
    """Coldest and hottest that was read; a kit counts by its slab."""
    rows = made.model.rows
    own = made.problem.scaled_row
    temps = np.where(np.isnan(rows["temp_c"]), rows["slab_c"], rows["temp_c"])[own]
    return (
        float(np.clip(np.min(temps), COLDEST_C, HOTTEST_C)),
        float(np.clip(np.max(temps), COLDEST_C, HOTTEST_C)),
    )


def new_spread(found: Solution, milestone: Milestone, slopes: Array, lots_frac: float) -> float:
    """Scatter of the next batch, lots and what readings leave open included."""
    open_ln = float(slopes @ found.covariance @ slopes)
    alone = (found.factor * milestone.scatter_frac) ** 2 + open_ln
    return math.hypot(math.sqrt(alone), lots_frac)


def estimate(found: Solution, place: int, *, unit: float) -> Estimate:
    """One parameter with its interval, in a unit of so many SI units."""
    along = np.zeros(found.value.size)
    along[place] = 1.0
    low, high = interval(found, along, share=SHARE)
    return Estimate(
        value=unit * float(found.value[place]),
        low=unit * float(found.value[place] + low),
        high=unit * float(found.value[place] + high),
        sd=unit * float(np.sqrt(found.covariance[place, place])),
    )


def time_estimate(found: Solution, ln_s: float, slopes: Array) -> Estimate:
    """A time [s] with the interval that holds its mean over batches."""
    low, high = interval(found, slopes, share=SHARE)
    return Estimate(
        value=float(np.exp(ln_s)),
        low=float(np.exp(ln_s + low)),
        high=float(np.exp(ln_s + high)),
        sd=float(np.exp(ln_s) * np.sqrt(slopes @ found.covariance @ slopes)),
    )


def curves(found: Solution, made: Setup) -> tuple[Curve, ...]:
    """A curve with the band of single batches for every milestone that was read."""
    low_c, high_c = _read_c(made)
    temps = np.linspace(
        max(low_c - BEYOND_K, COLDEST_C), min(high_c + BEYOND_K, HOTTEST_C), CURVE_POINTS
    )
    which = read_milestones(made)
    on = steady(found, made, temps, which)
    was = steady_ln_s(made, on.temp_c, on.milestone, at=made.problem.prior_mean)
    milestones = list(made.card.milestones.values())
    made_curves = []
    for place, number in enumerate(which):
        part = slice(place * temps.size, (place + 1) * temps.size)
        spread = milestones[number].spread_frac
        mid = on.ln_s[part]
        low, high = np.array(
            [
                interval(found, row, share=SHARE, spread=spread, anew=True)
                for row in on.slopes[part]
            ]
        ).T
        made_curves.append(
            Curve(
                milestone=made.maker.names[number],
                temp_c=tuple(temps.tolist()),
                mid_s=tuple(np.exp(mid).tolist()),
                low_s=tuple(np.exp(mid + low).tolist()),
                high_s=tuple(np.exp(mid + high).tolist()),
                was_s=tuple(np.exp(was[part]).tolist()),
            )
        )
    return tuple(made_curves)


NEXT_C = (10.0, 15.0, 21.0, 27.0, 33.0)
"""Temperatures at which a crew can set up a cup, and over which times are to be known."""


def measure_next(found: Solution, made: Setup) -> NextReading:
    """Which milestone at which temperature would leave all times surest, read once more.

    Source: A row more takes C s sᵀ C / (σ² + sᵀ C s) off the covariance (Sherman-Morrison).
    """
    names = made.maker.names
    on = steady(found, made, NEXT_C, range(len(names)))
    together = on.slopes @ found.covariance @ on.slopes.T
    own = np.diag(together)
    spreads = np.array([made.card.milestones[name].spread_frac for name in names])
    lot_sd = math.sqrt(sum(one.share * one.sd**2 for one in found.mixture))
    scatter = np.hypot(found.factor * spreads[on.milestone], lot_sd)
    # Column by column: what reading that one once more takes off every variance.
    left = np.mean(own[:, None] - together**2 / (scatter**2 + own), axis=0)
    best = int(np.argmin(left))
    return NextReading(
        milestone=names[on.milestone[best]],
        at_c=float(on.temp_c[best]),
        sd_frac=float(np.sqrt(np.mean(own))),
        sd_then_frac=float(np.sqrt(left[best])),
    )


SURE_KJ_MOL = 30.0
"""Readings that tell the energy to this much, 1 SD, and find it below zero, are refused
though chance might have done it: some file in twenty of a slow product (invented). Told
less well, they must lie below by more than the doubt; of cups 10 °C apart one file in seventy
does."""
FAR_TIMES = 8.0
"""A time this many times the card's, or less than its share, is another unit: invented."""
SUSPECTED = 0.05
"""Share of sound files in which some reading may be called out of line."""
BEYOND_DOUBT = 0.99
ENERGY_J_MOL = (10e3, 150e3)
"""What a card may say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """Deleted residuals of rows and batches, and the limit on both."""

    rows: Array
    batches: Array
    limit: float


def disagreement(found: Solution, made: Setup) -> Disagreement:
    """Which rows and batches lie beyond what chance allows.

    The rule: externally studentised residual beyond the Student-t limit which one sound
    file in twenty would pass somewhere.
    """
    rows, parameters = deleted_residuals(found, prior_freedom=PRIOR_FREEDOM)
    layout = made.layout
    speeds = parameters[layout.span("speed")]
    count = int(np.sum(~np.isnan(rows)) + np.sum(~np.isnan(speeds)))
    limit = disagreement_limit(count=max(count, 1), freedom=found.freedom, chance=SUSPECTED)
    return Disagreement(rows=rows, batches=speeds, limit=limit)


def refuse_other_units(made: Setup) -> None:
    """Refuse a time so far from the card's that it must be hours for minutes, or the like."""
    off_ln = made.problem.observed - made.model.expected(made.problem.prior_mean)
    for off, number in zip(off_ln, made.reading_of_row, strict=True):
        reading = made.readings[int(number)] if number >= 0 else None
        if reading is None or reading.kind == "probe" or not abs(off) > math.log(FAR_TIMES):
            continue
        times = math.exp(abs(off))
        than = "longer" if off > 0 else "shorter"
        raise InputError(
            f"{reading.after_s / 60.0:g} min is {times:.0f} times {than} than the card's time",
            cure="check minutes against hours and °F against °C, or start from a card of "
            "this kind of product",
            source=reading.source,
            line=reading.line,
            key=reading.milestone,
        )


def refuse_order(found: Solution, made: Setup, at_c: float) -> None:
    """Refuse a card whose milestones come in an order that cannot be."""
    names = list(made.maker.names)
    on = steady(found, made, [at_c], range(len(names)))
    ln_s = dict(zip(names, on.ln_s.tolist(), strict=True))
    for first, second in ORDER:
        if first in ln_s and second in ln_s and not ln_s[first] < ln_s[second]:
            raise InputError(
                f"{first} would come after {second}: {math.exp(ln_s[first]) / 60:.0f} "
                f"against {math.exp(ln_s[second]) / 60:.0f} min",
                cure="check minutes against hours and which milestone each line is of, or "
                "read both",
                key=first,
            )


def refuse_nonsense(found: Solution, made: Setup, *, source: str) -> None:
    """Refuse readings which last longer when hotter, or an energy no card has."""
    alone = _energy_alone(found, made)
    if alone is not None:
        energy, sd = alone
        surest = energy + student_limit(found.freedom, 2.0 * BEYOND_DOUBT - 1.0) * sd
        if surest < 0.0 or (energy < 0.0 and (sd <= SURE_KJ_MOL or energy < -sd)):
            sure = "beyond doubt, " if surest < 0.0 else ""
            raise InputError(
                f"{sure}these readings last longer when hotter "
                f"({energy:.0f} ± {sd:.0f} kJ/mol without the card)",
                cure="check °F against °C, minutes against hours, and which line is which",
                source=source,
                key="temp",
            )
    energy_j_mol = 1e3 * float(found.value[made.layout.at("energy")])
    low, high = ENERGY_J_MOL
    if not low <= energy_j_mol <= high:
        factor = _per_ten_kelvin(energy_j_mol)
        raise InputError(
            f"10 °C would make it {factor:.2g} times as fast "
            f"({energy_j_mol / 1e3:.0f} kJ/mol); "
            f"a card takes {low / 1e3:g} to {high / 1e3:g} kJ/mol",
            cure="check °F against °C, minutes against hours, and which line is which",
            source=source,
            key="temp",
        )


def _per_ten_kelvin(energy_j_mol: float) -> float:
    return math.exp(energy_j_mol / 8.314462618 * (1 / 293.15 - 1 / 303.15))


def _energy_alone(found: Solution, made: Setup) -> tuple[float, float] | None:
    """Energy [kJ/mol] and its SD as the readings alone give it, with neither card nor prior.

    None where they say nothing: all at one temperature.
    """
    problem, layout = found.problem, made.layout
    rows = problem.scaled_row
    speeds = np.flatnonzero(problem.scaled_parameter)
    # Of a milestone that nobody timed the card is believed: it heats up by its own clock.
    timed = {reading.milestone for reading in made.readings}
    ages = zip(made.maker.names, range(layout.size)[layout.span("age")], strict=True)
    others = [at for name, at in ages if name in timed]
    others += [layout.at("humidity"), *speeds.tolist()]
    straight = found.residual + found.jacobian @ found.value
    held = np.zeros((speeds.size, layout.size))
    held[np.arange(speeds.size), speeds] = 1.0 / problem.prior_sd[speeds]
    slopes = np.vstack([found.jacobian[rows] / problem.row_sd[rows, None], held])
    target = np.concatenate([straight[rows] / problem.row_sd[rows], np.zeros(speeds.size)])
    # What the readings do not look for here is taken as found.
    rest = np.ones(layout.size, dtype=bool)
    rest[[layout.at("energy"), *others]] = False
    target = target - slopes[:, rest] @ found.value[rest]
    own = slopes[:, layout.at("energy")]
    basis = slopes[:, others]
    residual = own - basis @ np.linalg.lstsq(basis, own, rcond=None)[0]
    # An SD beyond 300 kJ/mol is no word on the energy at all.
    information = float(residual @ residual)
    if information < 1.0 / 300.0**2:
        return None
    return float(residual @ target) / information, 1.0 / math.sqrt(information)
