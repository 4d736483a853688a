"""A material card: found, read, checked, built."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from functools import cache
from importlib import resources
from itertools import combinations
from pathlib import Path
from typing import Annotated, Any, Literal

from cureplan.core.errors import InputError
from cureplan.inputs.cards.model import (
    ORDER,
    AggregateCard,
    Milestone,
    MilestonePoint,
    Part,
    PrimerCard,
    RatePrior,
    SlurryCard,
    TemperatureLimits,
    TopcoatCard,
)
from cureplan.inputs.cards.schema import (
    LIMITED,
    AggregateFile,
    CardFile,
    CardKind,
    MilestoneEntry,
    Origins,
    PartEntry,
    PointEntry,
    PrimerFile,
    SlurryFile,
    TopcoatFile,
    named_values,
)
from cureplan.inputs.faults import Fault, as_errors, first_error, validated
from cureplan.inputs.fields import Written, choice
from cureplan.inputs.files import Document, KeyPath, parse_document, read_document

__all__ = [
    "Card",
    "CardKind",
    "build_card",
    "card_faults",
    "in_card_file",
    "read_card",
    "read_card_text",
    "shipped_cards",
]

# Anything lighter floats and anything heavier is iron: a slip in a mass or the yield.
LIGHTEST_MIX_KG_M3 = 700.0
HEAVIEST_MIX_KG_M3 = 4000.0
FULLEST = 1.35
"""How far a kit's yield may lie from what its parts fill, as a factor: pounds for kilograms
lie farther off. Invented."""

_OPENS_BEFORE_CLOSES = (
    ("broadcast_opens", "broadcast_closes"),
    ("topcoat_opens", "topcoat_closes"),
    ("recoat_opens", "recoat_closes"),
    ("slurry_opens", "slurry_closes"),
)


def card_faults(card: CardFile, values: Mapping[str, Any]) -> list[Fault]:
    """Every fault between the keys of a card."""
    faults = list(_provenance(card, values))
    if isinstance(card, SlurryFile):
        faults += [*_parts(card), *_density(card)]
    if isinstance(card, SlurryFile | TopcoatFile | PrimerFile):
        for name in type(card.milestones).model_fields:
            entry = getattr(card.milestones, name)
            if entry is not None:
                faults += _points(entry, ("milestones", name, "points"))
        faults += [*_opens_and_closes(card), *_order(card), *_limits(card)]
    return faults


def _provenance(card: CardFile, values: Mapping[str, Any]) -> Iterator[Fault]:
    known = {
        ".".join(steps[:end])
        for steps in (key.split(".") for key in named_values(values))
        for end in range(1, len(steps) + 1)
    }
    for key in card.provenance:
        if key in known:
            continue
        near = get_close_matches(key, sorted(known), n=1)
        meant = f'did you mean "{near[0]}"?' if near else "remove it"
        yield Fault(
            path=("provenance", key),
            problem="the card has no value of this name",
            cure=meant,
            value=card.provenance[key],
        )


def _parts(card: SlurryFile) -> Iterator[Fault]:
    names = [part.name for part in card.parts]
    for number, name in enumerate(names):
        if name in names[:number]:
            yield Fault(
                path=("parts", number, "name"),
                problem="another part has this name",
                cure="give each part its own name",
                value=name,
            )
        elif "." in name:
            yield Fault(
                path=("parts", number, "name"),
                problem="a part's name cannot hold a dot",
                cure="write it without",
                value=name,
            )
    for kind in ("liquid", "filler"):
        if all(part.kind != kind for part in card.parts):
            yield Fault(
                path=("parts",),
                problem=f"no part is a {kind}",
                cure=f'give a part kind = "{kind}"; a slurry has liquids and a filler',
            )


def _density(card: SlurryFile) -> Iterator[Fault]:
    mass_kg = sum(part.mass_kg for part in card.parts)
    density_kg_m3 = mass_kg / card.kit.yield_m3
    if not LIGHTEST_MIX_KG_M3 <= density_kg_m3 <= HEAVIEST_MIX_KG_M3:
        yield Fault(
            path=("kit", "yield"),
            problem=f"the kit of {mass_kg:.3g} kg would weigh {density_kg_m3 / 1000:.2g} kg/L",
            cure="check the yield and the masses of the parts",
        )
        return
    fill_m3 = sum(part.mass_kg / part.density_kg_m3 for part in card.parts)
    if not 1.0 / FULLEST <= fill_m3 / card.kit.yield_m3 <= FULLEST:
        yield Fault(
            path=("kit", "yield"),
            problem=f"its parts fill {1e3 * fill_m3:.3g} L, by their masses and densities",
            cure="check the yield, the masses (lb or kg) and the densities (of the grains)",
        )


def _points(entry: MilestoneEntry, path: KeyPath) -> Iterator[Fault]:
    gives = [point.humidity_frac is not None for point in entry.points]
    if any(gives) and not all(gives):
        yield Fault(
            path=(*path, gives.index(False)),
            problem="some points give a humidity and this one does not",
            cure="give it for all points of the milestone or for none",
        )
        return
    for (_, one), (number, other) in combinations(enumerate(entry.points), 2):
        if one.humidity_frac != other.humidity_frac:
            continue
        cooler, hotter = sorted((one, other), key=lambda point: point.at_c)
        if cooler.at_c == hotter.at_c:
            yield Fault(
                path=(*path, number, "at"),
                problem="another point has this temperature",
                cure='keep one point for each; a range is written "3.5-4 h"',
            )
        elif hotter.after_s[0] > cooler.after_s[1]:
            yield Fault(
                path=(*path, number, "after"),
                problem="the hotter point takes longer than the cooler one",
                cure="check both points; heat makes it go faster",
            )


def _opens_and_closes(card: SlurryFile | TopcoatFile | PrimerFile) -> Iterator[Fault]:
    for opens_name, closes_name in _OPENS_BEFORE_CLOSES:
        opens: MilestoneEntry | None = getattr(card.milestones, opens_name, None)
        closes: MilestoneEntry | None = getattr(card.milestones, closes_name, None)
        if opens is None or closes is None:
            continue
        for number, close in enumerate(closes.points):
            if any(_alike(close, point) and _not_after(close, point) for point in opens.points):
                yield Fault(
                    path=("milestones", closes_name, "points", number, "after"),
                    problem=f"it would close before {opens_name} is reached",
                    cure=f"let {closes_name} come after {opens_name}",
                )


def _limits(card: SlurryFile | TopcoatFile | PrimerFile) -> Iterator[Fault]:
    for what in LIMITED:
        low_c, high_c = card.limits.between(what)
        if low_c >= high_c:
            stated = f"highest_{what}_c" in card.limits.model_fields_set
            yield Fault(
                path=("limits", f"{'highest' if stated else 'lowest'}_{what}"),
                problem=f"lowest_{what} is not below highest_{what}",
                cure="let the lowest be the smaller (defaults are 45 F or 50 F, and 100 F)",
            )


def _order(card: SlurryFile | TopcoatFile | PrimerFile) -> Iterator[Fault]:
    """Milestones that would come in an order that cannot be, timed under one condition."""
    for first_name, second_name in ORDER:
        if (first_name, second_name) in _OPENS_BEFORE_CLOSES:
            continue
        first: MilestoneEntry | None = getattr(card.milestones, first_name, None)
        second: MilestoneEntry | None = getattr(card.milestones, second_name, None)
        if first is None or second is None or first.clock != second.clock:
            continue
        for number, late in enumerate(second.points):
            if any(_alike(late, p) and late.after_s[1] < p.after_s[0] for p in first.points):
                yield Fault(
                    path=("milestones", second_name, "points", number, "after"),
                    problem=f"{first_name} would come after it",
                    cure="check minutes against hours, and which time is which",
                )


def _alike(one: PointEntry, other: PointEntry) -> bool:
    return (one.at_c, one.humidity_frac) == (other.at_c, other.humidity_frac)


def _not_after(close: PointEntry, opening: PointEntry) -> bool:
    return close.after_s[0] <= opening.after_s[1]


Card = SlurryCard | TopcoatCard | AggregateCard | PrimerCard
Clock = Literal["filler_in", "mixed"]


def build_card(card: CardFile, *, key: str, origins: Origins) -> Card:
    """Turn a checked card file into its card."""
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
            return _primer(card, key, origins)
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
        limits=TemperatureLimits(
            **{f"{what}_c": card.limits.between(what) for what in LIMITED}
        ),
        milestones=milestones,
        provenance=origins.all(*_may_be_left_out(milestones)),
        product=card.product or key,
        learned=card.learned,
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
        limits=TemperatureLimits(
            **{f"{what}_c": card.limits.between(what) for what in LIMITED}
        ),
        milestones=milestones,
        provenance=origins.all(*_may_be_left_out(milestones)),
        product=card.product or key,
        learned=card.learned,
    )


def _primer(card: PrimerFile, key: str, origins: Origins) -> PrimerCard:
    milestones = _milestones(card.milestones, "mixed", origins)
    return PrimerCard(
        key=key,
        title=card.title,
        generic=card.generic,
        batch_m3=card.batch_m3,
        spread_m2_m3=card.spread_m2_m3,
        mix_s=card.mix_s,
        broadcast_kg_m2=card.broadcast_kg_m2,
        prior=_prior(card),
        limits=TemperatureLimits(
            **{f"{what}_c": card.limits.between(what) for what in LIMITED}
        ),
        milestones=milestones,
        provenance=origins.all(*_may_be_left_out(milestones)),
    )


def _may_be_left_out(milestones: dict[str, Milestone]) -> tuple[str, ...]:
    spreads = (f"milestones.{name}.spread" for name in milestones)
    limits = (f"limits.{end}_{what}" for what in LIMITED for end in ("lowest", "highest"))
    return ("rate.mean", "rate.sd", *limits, *spreads)


def _part(part: PartEntry, origins: Origins) -> Part:
    return Part(
        name=part.name,
        kind=part.kind,
        mass_kg=part.mass_kg,
        specific_heat_j_kg_k=part.specific_heat_j_kg_k,
        density_kg_m3=part.density_kg_m3,
        provenance=origins.of_key(f"parts.{part.name}.mass"),
    )


def _prior(card: SlurryFile | TopcoatFile | PrimerFile) -> RatePrior:
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
            doubt_frac=min(entry.doubt_frac or 0.0, entry.spread_frac),
            lots_frac=min(entry.lots_frac or 0.0, entry.spread_frac),
            lots_unsure_frac=entry.lots_unsure_frac or 0.0,
        )
    return made


_WHAT = "material card"
_FILES: Mapping[str, type[CardFile]] = {
    "slurry": SlurryFile,
    "topcoat": TopcoatFile,
    "aggregate": AggregateFile,
    "primer": PrimerFile,
}


class _Head(Written):
    kind: Annotated[str, choice(*_FILES)]


def shipped_cards() -> tuple[str, ...]:
    """Names of the cards that come with the program.

    Examples
    --------
    >>> shipped_cards()
    ('clear-topcoat', 'fast-slurry', 'quartz', 'slab-primer')
    """
    folder = resources.files("cureplan.inputs.cards") / "shipped"
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def read_card(
    name: str | Path, *, folder: Path | None = None, kind: CardKind | None = None
) -> Card:
    """Read a material card.

    Examples
    --------
    >>> read_card("fast-slurry").kit_mass_kg
    19.0
    """
    if _is_path(name):
        document, key = _document(name, folder)
        return _read(document, key=key, kind=kind)
    return _shipped(str(name), kind)


# A job is read again at each answer of an interview and each edit at the desk.
@cache
def _shipped(name: str, kind: CardKind | None) -> Card:
    document, key = _document(name, None)
    return _read(document, key=key, kind=kind)


def _is_path(name: str | Path) -> bool:
    written = str(name)
    return (
        isinstance(name, Path) or written.endswith(".toml") or "/" in written or "\\" in written
    )


def in_card_file(
    error: InputError, name: str | Path, *, folder: Path | None = None
) -> InputError:
    """A fault that a model found in a card's values, at its line of the card's own file."""
    if error.line is not None or str(error.source) != Path(name).stem:
        return error
    try:
        document, key = _document(name, folder)
    except InputError:
        return error
    if key in shipped_cards() and not str(name).endswith(".toml"):
        return error
    return InputError(
        error.problem,
        cure=error.cure,
        source=document.source,
        line=document.line(tuple((error.key or "").split("."))),
        key=error.key,
        value=error.value,
    )


def read_card_text(text: str, *, source: Path, kind: CardKind | None = None) -> Card:
    """Read a card from a text that is said to stand in `source`."""
    document = parse_document(text, source=source, what=_WHAT)
    return _read(document, key=source.stem, kind=kind)


def _document(name: str | Path, folder: Path | None) -> tuple[Document, str]:
    written = str(name)
    if _is_path(name):
        path = (folder or Path()) / name
        return read_document(path, what=_WHAT), path.stem
    known = shipped_cards()
    if written not in known:
        near = get_close_matches(written, known, n=1)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        raise InputError(
            "no card of this name is shipped",
            cure=f"{hint}shipped are {', '.join(known)}, "
            f"or give the path of your own, ending in .toml",
            value=written,
        )
    entry = resources.files("cureplan.inputs.cards") / "shipped" / f"{written}.toml"
    text = entry.read_text(encoding="utf-8")
    return parse_document(text, source=Path(str(entry)), what=_WHAT), written


def _read(document: Document, *, key: str, kind: CardKind | None) -> Card:
    stated = {key: value for key, value in document.values.items() if key == "kind"}
    head, faults = validated(_Head, document, stated)
    if head is None:
        raise first_error(as_errors(faults, document))
    written = head.kind
    if kind is not None and written != kind:
        raise InputError(
            f"this is a {written} card where a {kind} card is wanted",
            cure=f"name a {kind} card",
            source=document.source,
            line=document.line(("kind",)),
            key="kind",
            value=written,
        )
    card, faults = validated(_FILES[written], document)
    if card is not None:
        faults = card_faults(card, document.values)
    if card is None or faults:
        raise first_error(as_errors(faults, document))
    return build_card(card, key=key, origins=Origins.of(card, document.values))
