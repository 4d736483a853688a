"""What no single key of a material card can show."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from itertools import combinations
from typing import Any

from cureplan.job.card_schema import (
    CardFile,
    MilestoneEntry,
    PointEntry,
    SlurryFile,
    TopcoatFile,
)
from cureplan.job.faults import Fault
from cureplan.job.lines import KeyPath
from cureplan.job.origins import named_values

__all__ = ["card_faults"]

# Anything lighter floats and anything heavier is iron: a slip in a mass or the yield.
LIGHTEST_MIX_KG_M3 = 700.0
HEAVIEST_MIX_KG_M3 = 4000.0

_OPENS_BEFORE_CLOSES = (
    ("broadcast_opens", "broadcast_closes"),
    ("topcoat_opens", "topcoat_closes"),
    ("recoat_opens", "recoat_closes"),
)


def card_faults(card: CardFile, values: Mapping[str, Any]) -> list[Fault]:
    """Every fault between the keys of a card.

    Parameters
    ----------
    card : CardFile
        As written; its keys are each sound.
    values : mapping
        The card's values as the TOML reader gave them.

    Returns
    -------
    list of Fault
        Empty when the card agrees with itself.
    """
    faults = list(_provenance(card, values))
    if isinstance(card, SlurryFile):
        faults += [*_parts(card), *_density(card)]
    if isinstance(card, SlurryFile | TopcoatFile):
        for name in type(card.milestones).model_fields:
            entry = getattr(card.milestones, name)
            if entry is not None:
                faults += _points(entry, ("milestones", name, "points"))
        faults += _opens_and_closes(card)
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


def _points(entry: MilestoneEntry, path: KeyPath) -> Iterator[Fault]:
    damp = [point.humidity_frac is not None for point in entry.points]
    if any(damp) and not all(damp):
        yield Fault(
            path=(*path, damp.index(False)),
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


def _opens_and_closes(card: SlurryFile | TopcoatFile) -> Iterator[Fault]:
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


def _alike(one: PointEntry, other: PointEntry) -> bool:
    return (one.at_c, one.humidity_frac) == (other.at_c, other.humidity_frac)


def _not_after(close: PointEntry, opening: PointEntry) -> bool:
    return close.after_s[0] <= opening.after_s[1]
