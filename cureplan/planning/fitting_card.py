"""The card that comes of a fit, with the origin of every number it changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import exp
from pathlib import Path

from cureplan.errors import InputError
from cureplan.job.card_model import (
    Milestone,
    MilestonePoint,
    RatePrior,
    SlurryCard,
    TopcoatCard,
)
from cureplan.job.card_write import card_text, origin_text
from cureplan.job.cards import read_card_text
from cureplan.planning.clocks import slurry_clocks
from cureplan.planning.conditions import SLAB_EFFUSIVITY
from cureplan.planning.fitting_model import (
    BalanceFit,
    CardFit,
    Estimate,
    HumidityFit,
    MilestoneFit,
)

__all__ = ["fitted_card", "fitted_card_text", "fitted_origin"]

LEAST_ENERGY_SD_J_MOL = 100.0
WIDEST_SPREAD = 0.60
"""What a card may say."""


def fitted_origin(source: str, digest: str, count: int, fitted_on: str) -> str:
    """Where a fitted number comes from.

    Examples
    --------
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

    Parameters
    ----------
    before : SlurryCard or TopcoatCard
        The card that was fitted.
    energy, milestones, balance, humidity, reference_c
        What was found.
    origin : str
        Of every number that changes.

    Returns
    -------
    SlurryCard or TopcoatCard
        Generic as long as a milestone was not read.

    Raises
    ------
    InputError
        A card cannot say this, or it contradicts itself.
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
    )


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
    """The new card as a file: what was fitted and how sure it is, then the card.

    Parameters
    ----------
    fit : CardFit
        The fit.

    Returns
    -------
    str
        TOML that `read_card` takes.
    """
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
    lines.append("Spread holds the scatter between batches and what the readings leave open.")
    return lines
