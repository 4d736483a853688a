"""Cards written back as files: every value with its origin, and readable by `read_card`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from cureplan.inputs.cards.model import (
    Milestone,
    MilestonePoint,
    Part,
    SlurryCard,
    TemperatureLimits,
    TopcoatCard,
)
from cureplan.inputs.toml_text import key_line, plain, quoted, value_text

__all__ = ["card_text", "drop_no_doubts", "origin_text"]

LONGEST_ORIGIN = 80
"""A card takes no longer names."""


def card_text(card: SlurryCard | TopcoatCard, *, heading: Iterable[str] = ()) -> str:
    """A card as TOML.

    Not a copy of the file it was read from: comments and units of that are gone.

    Examples
    --------
    >>> from pathlib import Path
    >>> from cureplan.inputs.cards.reader import read_card, read_card_text
    >>> card = read_card("fast-slurry")
    >>> again = read_card_text(card_text(card), source=Path("fast-slurry.toml"))
    >>> again.kit_mass_kg, again.milestones["wet_edge"].points[0].after_s
    (19.0, 960.0)
    """
    common = _most_common(card.provenance)
    kind = "slurry" if isinstance(card, SlurryCard) else "topcoat"
    lines = [f"# {_printable(line)}".rstrip() for line in heading]
    lines += ["", f'kind = "{kind}"', f"title = {quoted(card.title)}"]
    lines += ["generic = true"] if card.generic else []
    lines += [f"source = {quoted(common)}"]
    lines += [f"product = {quoted(card.product)}"] if card.product else []
    lines += [*_learned(card.learned), ""]
    lines += _slurry_body(card) if isinstance(card, SlurryCard) else _topcoat_body(card)
    lines += _table(
        "rate",
        mean=f"{plain(card.prior.mean_j_mol / 1e3)} kJ/mol",
        sd=f"{plain(card.prior.sd_j_mol / 1e3)} kJ/mol",
    )
    lines += _table("limits", **_limits(card.limits))
    for milestone in card.milestones.values():
        lines += _milestone(milestone, card.provenance, common)
    lines += _provenance(card, common)
    return "\n".join(lines).lstrip("\n") + "\n"


def origin_text(*parts: str) -> str:
    """An origin out of parts, the first one cut short where all would be too long.

    Examples
    --------
    >>> origin_text("trial.csv", ": 6 readings, fitted 2026-07-17")
    'trial.csv: 6 readings, fitted 2026-07-17'
    >>> len(origin_text("x" * 200, ": 6 readings"))
    80
    """
    first = _printable(parts[0])
    rest = "".join(parts[1:])
    room = LONGEST_ORIGIN - len(rest)
    return (first if len(first) <= room else first[: room - 1] + "…") + rest


def _printable(text: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in text)


def _learned(marks: tuple[str, ...]) -> list[str]:
    rows = [
        "    " + " ".join(f"{quoted(mark)}," for mark in marks[n : n + 8])
        for n in range(0, len(marks), 8)
    ]
    return ["learned = [", *rows, "]"] if marks else []


def _duration(after_s: float) -> str:
    if after_s >= 3 * 3600:
        return f"{plain(after_s / 3600)} h"
    return f"{plain(after_s / 60)} min"


def _table(name: str, /, **values: str) -> list[str]:
    return [f"[{name}]", *(key_line(key, value) for key, value in values.items()), ""]


def _slurry_body(card: SlurryCard) -> list[str]:
    lines = _table(
        "kit",
        **{
            "yield": f"{plain(card.mixed_yield_m3 * 1e3)} L",
            "thickness": f"{plain(card.thickness_m * 1e3)} mm",
        },
    )
    for part in card.parts:
        lines += _part(part)
    lines += _table(
        "mixing",
        liquids=_duration(card.liquids_mix_s),
        filler=_duration(card.filler_mix_s),
        turnaround=_duration(card.turnaround_s),
        reference_haul=_duration(card.reference_haul_s),
        power=f"{plain(card.mixing_power_w)} W",
    )
    lines += _table(
        "bucket",
        liquid_stage_share=f"{plain(card.liquid_stage_share * 100)} %",
        heat_rise=f"{plain(card.bucket_heat_rise_k)} C",
        exchange=f"{plain(card.bucket_exchange_w_k)} W/K",
    )
    lines += _table(
        "chilling",
        coldest_liquids=f"{plain(card.coldest_liquids_c)} C",
        pail_diameter=f"{plain(card.pail_diameter_m * 1e3)} mm",
        conductivity=f"{plain(card.pail_conductivity_w_m_k)} W/m K",
    )
    return lines


def _topcoat_body(card: TopcoatCard) -> list[str]:
    values = {
        "ratio": f"{plain(card.ratio[0])}:{plain(card.ratio[1])}",
        "batch": f"{plain(card.batch_m3 * 1e3)} L",
        "spread_first": f"{plain(card.spread_first_m2_m3 / 1e3)} m2/L",
        "spread_second": f"{plain(card.spread_second_m2_m3 / 1e3)} m2/L",
        "mix": _duration(card.mix_s),
    }
    return [*(key_line(key, value) for key, value in values.items()), ""]


def _limits(limits: TemperatureLimits) -> dict[str, str]:
    return {
        f"{end}_{name.removesuffix('_c')}": f"{plain(temp_c)} C"
        for name, ends_c in asdict(limits).items()
        for end, temp_c in zip(("lowest", "highest"), ends_c, strict=True)
    }


def drop_no_doubts(node: Any) -> None:
    """Leave out of cards in JSON's shape what no fit has said of their milestones."""
    for found in ("doubt_frac", "lots_frac", "lots_unsure_frac"):
        if isinstance(node, dict) and node.get(found) == 0.0:
            del node[found]
    for child in node.values() if isinstance(node, dict) else node:
        if isinstance(child, dict | list):
            drop_no_doubts(child)


def _part(part: Part) -> list[str]:
    return _table(
        "[parts]",
        name=part.name,
        kind=part.kind,
        mass=f"{plain(part.mass_kg)} kg",
        specific_heat=f"{plain(part.specific_heat_j_kg_k / 1e3)} kJ/kg K",
        density=f"{plain(part.density_kg_m3 / 1e3)} kg/L",
    )


def _milestone(milestone: Milestone, origins: Mapping[str, str], common: str) -> list[str]:
    name = f"milestones.{milestone.name}"
    nearest = origins.get(f"{name}.points", common)
    points = [f"    {_point(point, nearest)}," for point in milestone.points]
    return [
        f"[{name}]",
        f'clock = "{milestone.clock_starts}"',
        "points = [",
        *points,
        "]",
        f'spread = "{plain(milestone.spread_frac * 100)} %"',
        *(
            f'{key} = "{plain(share * 100)} %"'
            for key, share in (
                ("doubt", milestone.doubt_frac),
                ("lots", milestone.lots_frac),
                ("lots_unsure", milestone.lots_unsure_frac),
            )
            if share
        ),
        "",
    ]


def _point(point: MilestonePoint, nearest: str) -> str:
    after = _duration(point.after_s)
    if point.after_late_s != point.after_s:
        # One unit for both ends: a range is written with its unit once.
        hours = point.after_late_s >= 3 * 3600
        unit_s, unit = (3600.0, "h") if hours else (60.0, "min")
        after = f"{plain(point.after_s / unit_s)}-{plain(point.after_late_s / unit_s)} {unit}"
    values = {"at": f"{plain(point.at_c)} C"}
    if point.humidity_frac is not None:
        values["humidity"] = f"{plain(point.humidity_frac * 100)} %"
    values["after"] = after
    if point.provenance != nearest:
        values["source"] = point.provenance
    return value_text(values)


def _most_common(origins: Mapping[str, str]) -> str:
    found = Counter(origins.values()).most_common(1)
    return found[0][0] if found else "the card itself"


def _provenance(card: SlurryCard | TopcoatCard, common: str) -> list[str]:
    apart = {key: origin for key, origin in card.provenance.items() if origin != common}
    if not apart:
        return []
    return ["[provenance]", *(key_line(key, origin) for key, origin in apart.items())]
