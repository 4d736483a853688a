"""Cards as written turned into the frozen cards the rest of the program sees."""

from __future__ import annotations

from typing import Literal

from cureplan.job.card_model import (
    AggregateCard,
    Milestone,
    MilestonePoint,
    Part,
    PrimerCard,
    RatePrior,
    SlurryCard,
    TopcoatCard,
)
from cureplan.job.card_schema import (
    AggregateFile,
    CardFile,
    MilestoneEntry,
    PartEntry,
    PrimerFile,
    SlurryFile,
    TopcoatFile,
)
from cureplan.job.fields import Written
from cureplan.job.origins import Origins

__all__ = ["Card", "build_card"]

Card = SlurryCard | TopcoatCard | AggregateCard | PrimerCard
Clock = Literal["filler_in", "mixed"]


def build_card(card: CardFile, *, key: str, origins: Origins) -> Card:
    """Turn a checked card file into its card.

    Parameters
    ----------
    card : CardFile
        One of its four kinds.
    key : str
        What a job file calls it.
    origins : Origins
        Where its values come from.

    Returns
    -------
    SlurryCard, TopcoatCard, AggregateCard or PrimerCard

    Raises
    ------
    TypeError
        `card` is none of the four kinds.
    """
    match card:
        case SlurryFile():
            return _slurry(card, key, origins)
        case TopcoatFile():
            return _topcoat(card, key, origins)
        case AggregateFile():
            return AggregateCard(
                key=key,
                title=card.title,
                generic=card.generic,
                kept_kg_m2=card.kept_kg_m2,
                swept_kg_m2=card.swept_kg_m2,
                bag_kg=card.bag_kg,
                provenance=origins.all(),
            )
        case PrimerFile():
            return PrimerCard(
                key=key,
                title=card.title,
                generic=card.generic,
                batch_m3=card.batch_m3,
                spread_m2_m3=card.spread_m2_m3,
                provenance=origins.all(),
            )
    raise TypeError(f"{type(card).__name__} is no kind of card")


def _slurry(card: SlurryFile, key: str, origins: Origins) -> SlurryCard:
    milestones = _milestones(card.milestones, "filler_in", origins)
    return SlurryCard(
        key=key,
        title=card.title,
        generic=card.generic,
        parts=tuple(_part(part, origins) for part in card.parts),
        mixed_yield_m3=card.kit.yield_m3,
        thickness_m=card.kit.thickness_m,
        liquids_mix_s=card.mixing.liquids_s,
        filler_mix_s=card.mixing.filler_s,
        turnaround_s=card.mixing.turnaround_s,
        reference_haul_s=card.mixing.reference_haul_s,
        liquid_stage_share=card.bucket.liquid_stage_share,
        bucket_heat_rise_k=card.bucket.heat_rise_k,
        mixing_power_w=card.mixing.power_w,
        bucket_exchange_w_k=card.bucket.exchange_w_k,
        coldest_liquids_c=card.chilling.coldest_liquids_c,
        pail_diameter_m=card.chilling.pail_diameter_m,
        pail_conductivity_w_m_k=card.chilling.pail_conductivity_w_m_k,
        prior=_prior(card),
        milestones=milestones,
        provenance=origins.all(*_may_be_left_out(milestones)),
    )


def _topcoat(card: TopcoatFile, key: str, origins: Origins) -> TopcoatCard:
    milestones = _milestones(card.milestones, "mixed", origins)
    return TopcoatCard(
        key=key,
        title=card.title,
        generic=card.generic,
        ratio=card.ratio,
        batch_m3=card.batch_m3,
        spread_first_m2_m3=card.spread_first_m2_m3,
        spread_second_m2_m3=card.spread_second_m2_m3,
        mix_s=card.mix_s,
        prior=_prior(card),
        milestones=milestones,
        provenance=origins.all(*_may_be_left_out(milestones)),
    )


def _may_be_left_out(milestones: dict[str, Milestone]) -> tuple[str, ...]:
    spreads = (f"milestones.{name}.spread" for name in milestones)
    return ("rate.mean", "rate.sd", *spreads)


def _part(part: PartEntry, origins: Origins) -> Part:
    return Part(
        name=part.name,
        kind=part.kind,
        mass_kg=part.mass_kg,
        specific_heat_j_kg_k=part.specific_heat_j_kg_k,
        density_kg_m3=part.density_kg_m3,
        provenance=origins.of_key(f"parts.{part.name}.mass"),
    )


def _prior(card: SlurryFile | TopcoatFile) -> RatePrior:
    return RatePrior(mean_j_mol=card.rate.mean_j_mol, sd_j_mol=card.rate.sd_j_mol)


def _milestones(entries: Written, clock: Clock, origins: Origins) -> dict[str, Milestone]:
    made: dict[str, Milestone] = {}
    for name in type(entries).model_fields:
        entry: MilestoneEntry | None = getattr(entries, name)
        if entry is None:
            continue
        said = origins.of_key(f"milestones.{name}.points")
        points = tuple(
            MilestonePoint(
                at_c=point.at_c,
                humidity_frac=point.humidity_frac,
                after_s=point.after_s[0],
                after_late_s=point.after_s[1],
                provenance=point.source or said,
            )
            for point in entry.points
        )
        made[name] = Milestone(
            name=name,
            clock_starts=entry.clock or clock,
            points=points,
            spread_frac=entry.spread_frac,
        )
    return made
