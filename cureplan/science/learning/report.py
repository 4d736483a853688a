"""What a fit found: the card it gives, and the words about it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from math import exp
from pathlib import Path

import numpy as np

from cureplan.core.errors import InputError
from cureplan.inputs.cards.model import (
    Milestone,
    MilestonePoint,
    RatePrior,
    SlurryCard,
    TopcoatCard,
)
from cureplan.inputs.cards.reader import read_card_text
from cureplan.inputs.cards.write import card_text, origin_text
from cureplan.inputs.tables.readings import Reading
from cureplan.science.clocks import slurry_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.learning.estimates import (
    PRIOR_FREEDOM,
    SHARE,
    Disagreement,
    curves,
    disagreement,
    estimate,
    measure_next,
    new_spread,
    reference_c,
    refuse_order,
    steady,
    steady_ln_s,
    time_estimate,
)
from cureplan.science.learning.least_squares import HUBER, Solution, with_scale
from cureplan.science.learning.model import (
    BalanceFit,
    BatchFit,
    CardFit,
    Estimate,
    HumidityFit,
    MilestoneFit,
    ReadingFit,
)
from cureplan.science.learning.procedure_readings import PROBE
from cureplan.science.learning.setup import Setup, lots_found, setup

__all__ = [
    "fitted_card",
    "fitted_card_text",
    "fitted_origin",
    "report",
]

LEAST_ENERGY_SD_J_MOL = 100.0
WIDEST_SPREAD = 0.60
"""What a card may say."""


def fitted_origin(source: str, digest: str, count: int, fitted_on: str) -> str:
    """Where a fitted number comes from.

    >>> fitted_origin("trial.csv", "3f2a9c", 12, "2026-07-17")
    'trial.csv (3f2a9c): fitted 2026-07-17 from 12 readings'
    """
    readings = "reading" if count == 1 else "readings"
    return origin_text(source, f" ({digest}): fitted {fitted_on} from {count} {readings}")


def fitted_card(
    before: SlurryCard | TopcoatCard,
    *,
    energy: Estimate,
    milestones: Sequence[MilestoneFit],
    balance: Sequence[BalanceFit],
    humidity: HumidityFit,
    reference_c: float,
    origin: str,
) -> SlurryCard | TopcoatCard:
    """The card with what was found put in.

    One point per milestone at the reference temperature, and the energy found as the
    new belief: read back, the card gives just the fitted clocks.
    """
    by_name = {one.milestone: one for one in milestones}
    prior = RatePrior(mean_j_mol=energy.value, sd_j_mol=max(energy.sd, LEAST_ENERGY_SD_J_MOL))
    made = {
        name: _milestone(before, milestone, by_name[name], humidity, reference_c, origin)
        for name, milestone in before.milestones.items()
    }
    provenance = dict(before.provenance) | {"rate.mean": origin, "rate.sd": origin}
    for name, one in by_name.items():
        provenance[f"milestones.{name}.points"] = made[name].points[0].provenance
        if one.readings:
            provenance[f"milestones.{name}.spread"] = origin
    generic = before.generic and any(not one.readings for one in milestones)
    card = replace(before, generic=generic, prior=prior, milestones=made, provenance=provenance)
    if isinstance(card, SlurryCard):
        card = _with_balance(card, balance, origin)
    _check(card)
    return card


def _milestone(
    before: SlurryCard | TopcoatCard,
    milestone: Milestone,
    one: MilestoneFit,
    humidity: HumidityFit,
    reference_c: float,
    origin: str,
) -> Milestone:
    mixed = isinstance(before, SlurryCard) and milestone.clock_starts == "mixed"
    mixed_s = before.filler_mix_s if mixed else 0.0  # type: ignore[union-attr]
    after_s = one.time.value - mixed_s
    moved = milestone.points[0].provenance
    said = (
        origin
        if one.readings
        else origin_text(moved.partition(", moved by")[0], ", moved by a fit")
    )
    dry = MilestonePoint(
        at_c=reference_c,
        humidity_frac=None,
        after_s=after_s,
        after_late_s=after_s,
        provenance=said,
    )
    return replace(
        milestone,
        points=_at_humidities(dry, humidity),
        spread_frac=one.spread_frac,
        doubt_frac=_doubt_frac(milestone, one),
        lots_frac=one.lots_frac,
        lots_unsure_frac=one.lots_unsure_frac,
    )


def _doubt_frac(milestone: Milestone, one: MilestoneFit) -> float:
    """What readings, of this fit and earlier ones, leave open of a time; 0 without any."""
    if not (one.readings or milestone.doubt_frac):
        return 0.0
    return min(one.time.sd / one.time.value, one.spread_frac)


def _at_humidities(point: MilestonePoint, humidity: HumidityFit) -> tuple[MilestonePoint, ...]:
    """Two points around the reference humidity whose mean of ln(time) is the point's."""
    if humidity.slope is None:
        return (point,)
    span = min(
        humidity.spread_frac, humidity.reference_frac - 0.01, 1.0 - humidity.reference_frac
    )
    return tuple(
        replace(
            point,
            humidity_frac=humidity.reference_frac + side * span,
            after_s=point.after_s * exp(side * humidity.slope.value * span),
            after_late_s=point.after_s * exp(side * humidity.slope.value * span),
        )
        for side in (-1.0, 1.0)
    )


def _with_balance(card: SlurryCard, balance: Sequence[BalanceFit], origin: str) -> SlurryCard:
    pinned: Mapping[str, float] = {one.name: one.found.value for one in balance if one.pinned}
    provenance = dict(card.provenance)
    for name, key in (("share", "liquid_stage_share"), ("rise", "heat_rise")):
        if name in pinned:
            provenance[f"bucket.{key}"] = origin
    return replace(
        card,
        liquid_stage_share=pinned.get("share", card.liquid_stage_share),
        bucket_heat_rise_k=pinned.get("rise", card.bucket_heat_rise_k),
        provenance=provenance,
    )


def _check(card: SlurryCard | TopcoatCard) -> None:
    widest = max(milestone.spread_frac for milestone in card.milestones.values())
    if widest > WIDEST_SPREAD:
        raise InputError(
            f"the readings scatter by {widest:.0%}, more than a card may say (60 %)",
            cure="check minutes against hours, or strike what does not belong with --without",
            key="minutes",
        )
    try:
        read_card_text(card_text(card), source=Path(f"{card.key}.toml"))
        if isinstance(card, SlurryCard):
            slurry_clocks(card, film_m=card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
    except InputError as error:
        raise InputError(
            f"the fitted card would contradict itself: {error.problem}",
            cure="check the readings of these milestones",
            key=error.key,
        ) from None


def fitted_card_text(fit: CardFit) -> str:
    """The new card as a file: what was fitted and how sure it is, then the card."""
    return card_text(fit.card, heading=_heading(fit))


def _heading(fit: CardFit) -> list[str]:
    energy, prior = fit.energy, fit.prior
    share = f"{fit.share:.0%}"
    lines = [
        f"Fitted {fit.fitted_on.isoformat()} from {fit.counted} readings of {fit.source} "
        f"({fit.digest}), starting from {fit.before.title}.",
        f"Energy {energy.value / 1e3:.1f} kJ/mol ({share}: {energy.low / 1e3:.1f} to "
        f"{energy.high / 1e3:.1f}); before: {prior.mean_j_mol / 1e3:g} ± "
        f"{prior.sd_j_mol / 1e3:g}.",
        f"All times at {fit.reference_c:g} C, where readings say most:",
    ]
    for one in fit.milestones:
        source = f"{one.readings} readings" if one.readings else "not read, moved with the rest"
        lines.append(
            f"  {one.milestone}: {one.time.value / 60:.2f} min ({share}: "
            f"{one.time.low / 60:.2f} to {one.time.high / 60:.2f}), "
            f"before {one.was_s / 60:.2f}; {source}"
        )
    for balance in fit.balance:
        what = "pinned" if balance.pinned else "left as it was"
        lines.append(
            f"  {balance.name}: {balance.found.value:.3g} ({share}: {balance.found.low:.3g} "
            f"to {balance.found.high:.3g}), before {balance.was:.3g}; {what}"
        )
    lines += [
        "Spread holds the scatter between batches and lots, and what readings leave open.",
        f"A reading beyond {HUBER:g} deviations counts less and less (robust loss).",
    ]
    return lines


def report(
    made: Setup,
    found: Solution,
    humidity: HumidityFit,
    balance: tuple[BalanceFit, ...],
    *,
    source: str,
    digest: str,
    fitted_on: date,
    blank: tuple[int, ...],
    excluded: tuple[int, ...],
    marks: tuple[str, ...],
    known: int,
) -> CardFit:
    energy = estimate(found, made.layout.at("energy"), unit=1e3)
    at_c = reference_c(found, made)
    milestones = _milestones(made, found, at_c)
    refuse_order(found, made, at_c)
    outlying = disagreement(found, made)
    learned = replace(made.card, learned=(*made.card.learned, *marks))
    card = fitted_card(
        learned,
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
        known=known,
        measure_next=measure_next(found, made),
        blank=blank,
        excluded=excluded,
        share=SHARE,
        reference_c=at_c,
        energy=energy,
        prior=made.card.prior,
        spread_factor=found.factor,
        freedom=found.freedom,
        limit=outlying.limit,
        milestones=milestones,
        readings=_readings(made, found, outlying),
        batches=_batches(made, found, outlying),
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
        spread, lots = milestone.spread_frac, (milestone.lots_frac, milestone.lots_unsure_frac)
        if count or milestone.doubt_frac:
            lots = lots_found(made.card, found) if found.mixture else lots
            spread = new_spread(found, milestone, on.slopes[number], lots[0])
        fits.append(
            MilestoneFit(
                milestone=name,
                readings=count,
                time=time_estimate(found, float(on.ln_s[number]), on.slopes[number]),
                was_s=float(np.exp(was[number])),
                spread_frac=spread,
                lots_frac=lots[0],
                lots_unsure_frac=lots[1],
            )
        )
    return tuple(fits)


def _readings(made: Setup, found: Solution, outlying: Disagreement) -> tuple[ReadingFit, ...]:
    rows, problem, layout = made.model.rows, found.problem, made.layout
    # What the card would have said: as if no batch or sheet ran fast or slow.
    usual = found.value.copy()
    usual[layout.span("common")] = usual[layout.span("speed")] = 0.0
    expected = made.model.expected(usual)
    off = problem.observed - expected
    places = np.flatnonzero(made.reading_of_row >= 0)
    at_c = np.where(np.isnan(rows["slab_c"]), rows["temp_c"], rows["slab_c"])
    timed = places[rows["kind"][places] != PROBE]
    there = dict(
        zip(
            timed.tolist(),
            steady_ln_s(made, at_c[timed], rows["milestone"][timed], at=found.value),
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
        residual = float(outlying.rows[place])
        out = abs(residual) > outlying.limit
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
                weight=float(found.weight[place]),
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
    return 1e3 * float(found.value[made.layout.at("energy")])


def _batches(made: Setup, found: Solution, outlying: Disagreement) -> tuple[BatchFit, ...]:
    return tuple(
        BatchFit(
            batch=name,
            speed=float(np.exp(found.value[made.layout.at("speed", number)])),
            deleted_residual=float(outlying.batches[number]),
            disagrees=bool(abs(outlying.batches[number]) > outlying.limit),
        )
        for number, name in enumerate(made.batches)
    )
