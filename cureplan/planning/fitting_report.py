"""A solved fit put into the words of a card: times, readings, batches, the new card."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path

import numpy as np

from cureplan.job.reading import Reading
from cureplan.physics.fit_least_squares import Solution, with_scale
from cureplan.physics.fit_ritual import PROBE
from cureplan.planning.fitting_card import fitted_card, fitted_origin
from cureplan.planning.fitting_checks import PRIOR_FREEDOM, Disagreement, disagreement
from cureplan.planning.fitting_curves import (
    SHARE,
    curves,
    estimate,
    new_spread,
    reference_c,
    steady,
    steady_ln_s,
    time_estimate,
)
from cureplan.planning.fitting_model import (
    BalanceFit,
    BatchFit,
    CardFit,
    HumidityFit,
    MilestoneFit,
    ReadingFit,
)
from cureplan.planning.fitting_setup import Setup, setup

__all__ = ["report"]


def report(
    made: Setup,
    found: Solution,
    humidity: HumidityFit,
    balance: tuple[BalanceFit, ...],
    *,
    source: str,
    digest: str,
    fitted_on: date,
    left_aside: tuple[int, ...],
    struck: tuple[int, ...],
) -> CardFit:
    energy = estimate(found, made.layout.ENERGY, unit=1e3)
    at_c = reference_c(found, made)
    milestones = _milestones(made, found, at_c)
    apart = disagreement(found, made)
    card = fitted_card(
        made.card,
        energy=energy,
        milestones=milestones,
        balance=balance,
        humidity=humidity,
        reference_c=at_c,
        origin=fitted_origin(
            Path(source).name, digest, len(made.readings), fitted_on.isoformat()
        ),
    )
    return CardFit(
        before=made.card,
        card=card,
        source=source,
        digest=digest,
        fitted_on=fitted_on,
        counted=len(made.readings),
        left_aside=left_aside,
        struck=struck,
        share=SHARE,
        reference_c=at_c,
        energy=energy,
        prior=made.card.prior,
        spread_factor=found.factor,
        freedom=found.freedom,
        limit=apart.limit,
        milestones=milestones,
        readings=_readings(made, found, apart),
        batches=_batches(made, found, apart),
        balance=balance,
        humidity=humidity,
        curves=curves(found, made),
    )


def _milestones(made: Setup, found: Solution, at_c: float) -> tuple[MilestoneFit, ...]:
    names = made.maker.names
    on = steady(found, made, [at_c], range(len(names)))
    was = steady_ln_s(made, on.temp_c, on.milestone, at=made.problem.prior_mean)
    fits = []
    for number, name in enumerate(names):
        count = sum(reading.milestone == name for reading in made.readings)
        milestone = made.card.milestones[name]
        fits.append(
            MilestoneFit(
                milestone=name,
                readings=count,
                time=time_estimate(found, float(on.ln_s[number]), on.slopes[number]),
                was_s=float(np.exp(was[number])),
                spread_frac=new_spread(found, milestone, on.slopes[number])
                if count
                else milestone.spread_frac,
            )
        )
    return tuple(fits)


def _readings(made: Setup, found: Solution, apart: Disagreement) -> tuple[ReadingFit, ...]:
    rows, problem, layout = made.model.rows, found.problem, made.layout
    # What the card would have said: as if no batch or sheet ran fast or slow.
    usual = found.value.copy()
    usual[layout.common(0) : layout.liquids(0)] = 0.0
    expected = made.model.expected(usual)
    off = problem.observed - expected
    places = np.flatnonzero(made.reading_of_row >= 0)
    at_c = np.where(np.isnan(rows.slab_c), rows.temp_c, rows.slab_c)
    timed = places[rows.kind[places] != PROBE]
    there = dict(
        zip(
            timed.tolist(),
            steady_ln_s(made, at_c[timed], rows.milestone[timed], at=found.value),
            strict=True,
        )
    )
    fits = []
    for place in places.tolist():
        reading = made.readings[made.reading_of_row[place]]
        if place not in there:
            if reading.kind == "probe":
                fits.append(_probe_fit(reading, reading.temp_c - float(found.residual[place])))
            continue
        residual = float(apart.rows[place])
        out = abs(residual) > apart.limit
        fits.append(
            ReadingFit(
                reading=reading,
                expected=float(np.exp(expected[place])),
                observed=reading.after_s,
                steady_c=float(at_c[place]),
                steady_s=float(np.exp(there[place] + off[place])),
                deleted_residual=residual,
                disagrees=out,
                energy_without_j_mol=_energy_without(made, reading) if out else math.nan,
            )
        )
    return tuple(fits)


def _probe_fit(reading: Reading, expected_c: float) -> ReadingFit:
    return ReadingFit(
        reading=reading,
        expected=expected_c,
        observed=reading.temp_c,
        steady_c=math.nan,
        steady_s=math.nan,
        deleted_residual=math.nan,
        disagrees=False,
        energy_without_j_mol=math.nan,
    )


def _energy_without(made: Setup, left_out: Reading) -> float:
    rest = [reading for reading in made.readings if reading is not left_out]
    if not any(reading.kind != "probe" for reading in rest):
        return made.card.prior.mean_j_mol
    without = setup(made.card, rest, free=made.free, humidity_ref=made.humidity_ref)
    found = with_scale(without.problem, prior_freedom=PRIOR_FREEDOM)
    return 1e3 * float(found.value[made.layout.ENERGY])


def _batches(made: Setup, found: Solution, apart: Disagreement) -> tuple[BatchFit, ...]:
    return tuple(
        BatchFit(
            batch=name,
            speed=float(np.exp(found.value[made.layout.speed(number)])),
            deleted_residual=float(apart.batches[number]),
            disagrees=bool(abs(apart.batches[number]) > apart.limit),
        )
        for number, name in enumerate(made.batches)
    )
