"""A material card as it is written, and where each of its values comes from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field

from cureplan.core import quantities as q
from cureplan.core.printed import parse_duration_range_s, split_printed
from cureplan.core.quantities import refusal
from cureplan.inputs.fields import (
    HeatRiseK,
    Name,
    Reads,
    Written,
    choice,
    entry,
    facts_of,
    quantity,
)

__all__ = [
    "DEFAULT_ORIGINS",
    "LIMITED",
    "AggregateFile",
    "CardFile",
    "CardKind",
    "MilestoneEntry",
    "Origins",
    "PrimerFile",
    "SlurryFile",
    "TopcoatFile",
    "named_values",
]

FROM_THE_CARD = "the card itself"
LEAST_AFTER_S = 60.0
MOST_POINTS, MOST_PARTS = 100, 20
"""Of one milestone, and of one kit."""
CardKind = Literal["slurry", "topcoat", "aggregate", "primer"]


def _read_range(text: Any) -> tuple[float, float]:
    ends = parse_duration_range_s(text)
    if ends[0] < LEAST_AFTER_S:
        raise refusal(text, "this must be at least 1 min", 'write it like "16 min"')
    return ends


def _read_ratio(text: Any) -> tuple[float, float]:
    if not isinstance(text, str):
        raise refusal(text, "this is not a mixing ratio", 'write a ratio like "1:1"')
    return q.parse_ratio(text)


Share = Annotated[float, quantity(q.parse_fraction, "20 %")]
MixTime = Annotated[float, quantity(q.parse_duration_s, "3 min", above="0 s", at_most="1 h")]
KitVolume = Annotated[
    float, quantity(q.parse_volume_m3, "9.5 L", at_least="0.1 L", at_most="300 L")
]
SpreadRate = Annotated[
    float,
    quantity(
        q.parse_spread_rate_m2_m3,
        "90 sq ft/gal",
        at_least="25 sq ft/gal",
        at_most="800 sq ft/gal",
    ),
]
Cover = Annotated[float, quantity(q.parse_cover_kg_m2, "0.5 lb/sq ft", at_most="30 kg/m2")]


class PointEntry(Written):
    """One reference point: at this temperature, after this long."""

    at_c: Annotated[
        float, quantity(q.parse_temperature_c, "70 F", at_least="0 C", at_most="60 C")
    ] = entry(alias="at", meaning="temperature of floor and mix at which the time was taken")
    humidity_frac: (
        Annotated[float, quantity(q.parse_fraction, "50 %", at_least="1 %")] | None
    ) = entry(default=None, alias="humidity", meaning="relative humidity at which it was taken")
    after_s: Annotated[
        tuple[float, float],
        Reads(
            read=_read_range,
            shape={"type": "string", "examples": ["16 min", "3.5-4 h"]},
            example='"16 min"',
        ),
    ] = entry(alias="after", meaning="time until it comes about, or the range a sheet prints")
    source: Name | None = entry(None, meaning="where this point comes from")


def _as_printed(value: Any) -> Any:
    """A point as a data sheet prints it, taken apart into its keys."""
    if isinstance(value, dict) and isinstance(value.get("after"), str):
        return _with_printed_time(value, value["after"])
    if not isinstance(value, str):
        return value
    printed = split_printed(value)
    if printed is None:
        cure = 'write "15-20 min at 70 F, 50 % RH", or { at = "70 F", after = "15-20 min" }'
        raise q.refusal(value, "not how a data sheet says a time", cure)
    after, at, humidity = printed
    return {"after": after, "at": at} | ({"humidity": humidity} if humidity else {})


def _with_printed_time(table: dict[str, Any], text: str) -> dict[str, Any]:
    """A point whose time says at what it was taken besides."""
    printed = split_printed(text)
    if printed is None:
        return table
    after, *conditions = printed
    said = dict(zip(("at", "humidity"), conditions, strict=True))
    for key, parse, near in (
        ("at", q.parse_temperature_c, q.SAME_WITHIN_K),
        ("humidity", q.parse_fraction, 0.0),
    ):
        own = table.get(key)
        if isinstance(own, str) and said[key] and abs(parse(own) - parse(said[key])) > near:
            cure = "leave the right one of the two"
            raise q.refusal(text, f"{said[key]} is not the {own} of {key}", cure)
    return {key: one for key, one in said.items() if one} | table | {"after": after}


class MilestoneEntry(Written):
    """When one thing comes about, from a clock's start."""

    clock: Annotated[Literal["filler_in", "mixed"], choice("filler_in", "mixed")] | None = (
        entry(None, meaning="what the time counts from")
    )
    points: Annotated[
        tuple[Annotated[PointEntry, BeforeValidator(_as_printed)], ...],
        Field(min_length=1, max_length=MOST_POINTS, strict=False),
    ] = entry(meaning="times at reference temperatures")
    spread_frac: Annotated[
        float, quantity(q.parse_fraction, "10 %", at_least="0.1 %", at_most="60 %")
    ] = entry(
        "10 %",
        alias="spread",
        origin="default: invented",
        meaning="how far one batch lies from the next",
    )
    doubt_frac: (
        Annotated[float, quantity(q.parse_fraction, "5 %", at_least="0 %", at_most="60 %")]
        | None
    ) = entry(
        None, alias="doubt", meaning="the part of the spread that a fit's readings left open"
    )
    lots_frac: (
        Annotated[float, quantity(q.parse_fraction, "10 %", at_least="0 %", at_most="60 %")]
        | None
    ) = entry(
        None, alias="lots", meaning="the part of the spread by which a fit found lots to differ"
    )
    lots_unsure_frac: (
        Annotated[float, quantity(q.parse_fraction, "40 %", at_least="5 %", at_most="80 %")]
        | None
    ) = entry(None, alias="lots_unsure", meaning="how unsure a fit left what it says of lots")


class PriorEntry(Written):
    """What is believed of the rate's dependence on temperature before any point is seen."""

    mean_j_mol: Annotated[
        float,
        quantity(q.parse_energy_j_mol, "50 kJ/mol", at_least="10 kJ/mol", at_most="150 kJ/mol"),
    ] = entry(
        "50 kJ/mol",
        alias="mean",
        origin="default: from memory",
        meaning="how strongly heat hastens it, as an activation energy",
    )
    sd_j_mol: Annotated[
        float,
        quantity(q.parse_energy_j_mol, "10 kJ/mol", at_least="0.1 kJ/mol", at_most="50 kJ/mol"),
    ] = entry(
        "10 kJ/mol", alias="sd", origin="default: from memory", meaning="how unsure that is"
    )


class PartEntry(Written):
    """One part of a kit."""

    name: Name = entry(meaning="what the part is called")
    kind: Annotated[Literal["liquid", "filler"], choice("liquid", "filler")] = entry(
        meaning="whether it is poured or shovelled"
    )
    mass_kg: Annotated[
        float, quantity(q.parse_mass_kg, "2.5 kg", above="0 kg", at_most="200 kg")
    ] = entry(alias="mass", meaning="what it weighs in one kit")
    specific_heat_j_kg_k: Annotated[
        float,
        quantity(
            q.parse_specific_heat_j_kg_k,
            "1.9 kJ/kg K",
            at_least="0.3 kJ/kg K",
            at_most="5 kJ/kg K",
        ),
    ] = entry(alias="specific_heat", meaning="heat to warm one kilogram by one degree")
    density_kg_m3: Annotated[
        float,
        quantity(q.parse_density_kg_m3, "1.1 kg/L", at_least="0.3 kg/L", at_most="6 kg/L"),
    ] = entry(alias="density", meaning="weight of one litre")


class KitEntry(Written):
    """What a mixed kit gives."""

    yield_m3: KitVolume = entry(alias="yield", meaning="volume of one mixed kit")
    thickness_m: Annotated[
        float, quantity(q.parse_length_m, "1/8 in", at_least="1 mm", at_most="15 mm")
    ] = entry(alias="thickness", meaning="film the kit is made for")


class MixingEntry(Written):
    """The mixing procedure, and the haul it was timed with."""

    liquids_s: MixTime = entry(alias="liquids", meaning="how long the liquids are mixed")
    filler_s: MixTime = entry(alias="filler", meaning="how long with the filler in")
    turnaround_s: MixTime = entry(
        alias="turnaround", meaning="from one bucket out to the next one in"
    )
    reference_haul_s: MixTime = entry(
        alias="reference_haul", meaning="the walk the times of the card include"
    )
    power_w: Annotated[float, quantity(q.parse_power_w, "350 W", at_most="5 kW")] = entry(
        alias="power", meaning="what the mixer puts into the bucket as heat"
    )


class BucketEntry(Written):
    """How a mixed bucket warms and ages."""

    liquid_stage_share: Share = entry(
        meaning="share of the heat set free before the filler is in"
    )
    heat_rise_k: HeatRiseK = entry(
        alias="heat_rise",
        meaning="how much a bucket left full warms by itself until its working time ends",
    )
    exchange_w_k: Annotated[
        float, quantity(q.parse_heat_exchange_w_k, "2 W/K", at_most="50 W/K")
    ] = entry(alias="exchange", meaning="heat a bucket gives to the air for each degree")


class ChillingEntry(Written):
    """What matters when pails of liquid stand in ice."""

    coldest_liquids_c: Annotated[
        float, quantity(q.parse_temperature_c, "40 F", at_least="-5 C", at_most="25 C")
    ] = entry(alias="coldest_liquids", meaning="the coldest its liquids may be mixed")
    pail_diameter_m: Annotated[
        float, quantity(q.parse_length_m, "165 mm", at_least="2 in", at_most="1 m")
    ] = entry(alias="pail_diameter", meaning="width of a pail of liquid")
    pail_conductivity_w_m_k: Annotated[
        float,
        quantity(
            q.parse_conductivity_w_m_k, "0.18 W/m K", at_least="0.01 W/m K", at_most="5 W/m K"
        ),
    ] = entry(alias="conductivity", meaning="how well the liquid carries heat")


LimitC = Annotated[
    float, quantity(q.parse_temperature_c, "45 F", at_least="-30 C", at_most="60 C")
]


def _limit(default: str, alias: str, of: str) -> Any:
    end = alias.partition("_")[0]
    return entry(
        default, alias=alias, origin="default: from memory", kind="temperature",
        meaning=f"the {end} temperature of {of} at which it may be laid",
    )  # fmt: skip


class LimitsEntry(Written):
    """Between which temperatures it may be laid."""

    lowest_slab_c: LimitC = _limit("45 F", "lowest_slab", "the slab")
    highest_slab_c: LimitC = _limit("100 F", "highest_slab", "the slab")
    lowest_air_c: LimitC = _limit("45 F", "lowest_air", "the room's air")
    highest_air_c: LimitC = _limit("100 F", "highest_air", "the room's air")
    lowest_material_c: LimitC = _limit("50 F", "lowest_material", "what comes from the store")
    highest_material_c: LimitC = _limit(
        "100 F", "highest_material", "what comes from the store"
    )
    lowest_mixed_c: LimitC = _limit("50 F", "lowest_mixed", "the mix")
    highest_mixed_c: LimitC = _limit("100 F", "highest_mixed", "the mix")

    def between(self, what: str) -> tuple[float, float]:
        """Lowest and highest temperature of slab, air, material or mixed [°C]."""
        return getattr(self, f"lowest_{what}_c"), getattr(self, f"highest_{what}_c")


LIMITED = ("slab", "air", "material", "mixed")
"""What has limits of temperature."""


class SlurryMilestones(Written):
    """Table ``[milestones]`` of a slurry card."""

    wet_edge: MilestoneEntry = entry(meaning="until the next bucket no longer melts in")
    working_time: MilestoneEntry = entry(meaning="until it no longer smooths")
    broadcast_opens: MilestoneEntry | None = entry(
        None, meaning="from when it carries the aggregate"
    )
    broadcast_closes: MilestoneEntry = entry(meaning="until when the aggregate beds")
    foot_traffic: MilestoneEntry = entry(meaning="from when it bears feet")
    topcoat_opens: MilestoneEntry = entry(meaning="from when a topcoat may go on")
    topcoat_closes: MilestoneEntry = entry(meaning="until when a topcoat bonds")


class TopcoatMilestones(Written):
    """Table ``[milestones]`` of a topcoat card."""

    working_time: MilestoneEntry = entry(meaning="until a mixed batch no longer rolls")
    recoat_opens: MilestoneEntry = entry(meaning="from when the next coat may go on")
    recoat_closes: MilestoneEntry = entry(meaning="until when the next coat bonds")
    foot_traffic: MilestoneEntry = entry(meaning="from when it bears feet")
    wheels: MilestoneEntry = entry(meaning="from when it bears carts")
    wash_down: MilestoneEntry = entry(meaning="from when it may be washed")


class PrimerMilestones(Written):
    """Table ``[milestones]`` of a primer card."""

    working_time: MilestoneEntry = entry(meaning="until a mixed batch no longer rolls")
    foot_traffic: MilestoneEntry = entry(meaning="from when it bears feet")
    slurry_opens: MilestoneEntry = entry(meaning="from when the slurry may go on")
    slurry_closes: MilestoneEntry = entry(meaning="until when the slurry bonds")


class CardFile(Written):
    """What every card has."""

    kind: Annotated[str, choice("slurry", "topcoat", "aggregate", "primer")] = entry(
        meaning="what the card is of"
    )
    title: Name = entry(meaning="what it is called on sheets")
    generic: bool = entry(False, meaning="true where it is no product of its own")
    source: Name = entry(FROM_THE_CARD, meaning="where its values come from")
    provenance: dict[str, Name] = Field(
        default_factory=dict, description="where single values come from, by key"
    )


PRODUCT = entry(None, meaning="what its records are kept under, over all its fits")
LEARNED = entry((), meaning="marks of the readings it has counted, written by `cureplan fit`")


class SlurryFile(CardFile):
    """Card of a three-part slurry."""

    kit: KitEntry = entry(meaning="what one kit gives")
    parts: Annotated[
        tuple[PartEntry, ...], Field(min_length=2, max_length=MOST_PARTS, strict=False)
    ] = entry(meaning="one table for each part of a kit")
    mixing: MixingEntry = entry(meaning="how it is mixed")
    bucket: BucketEntry = entry(meaning="how a full bucket warms")
    chilling: ChillingEntry = entry(meaning="what matters for pails in ice")
    rate: PriorEntry = entry(PriorEntry(), meaning="how heat hastens it")
    product: Name | None = PRODUCT
    learned: Annotated[tuple[Name, ...], Field(strict=False)] = LEARNED
    limits: LimitsEntry = entry(LimitsEntry(), meaning="at which temperatures it may be laid")
    milestones: SlurryMilestones = entry(meaning="one table for each thing that comes about")


class TopcoatFile(CardFile):
    """Card of a two-part topcoat."""

    ratio: Annotated[
        tuple[float, float],
        Reads(read=_read_ratio, shape={"type": "string", "examples": ["1:1"]}, example='"1:1"'),
    ] = entry(meaning="parts by volume")
    batch_m3: KitVolume = entry(alias="batch", meaning="volume of one mixed batch")
    spread_first_m2_m3: SpreadRate = entry(
        alias="spread_first", meaning="area one gallon of the first coat covers"
    )
    spread_second_m2_m3: SpreadRate = entry(
        alias="spread_second", meaning="area one gallon of a later coat covers"
    )
    mix_s: MixTime = entry(alias="mix", meaning="how long a batch is mixed")
    rate: PriorEntry = entry(PriorEntry(), meaning="how heat hastens it")
    product: Name | None = PRODUCT
    learned: Annotated[tuple[Name, ...], Field(strict=False)] = LEARNED
    limits: LimitsEntry = entry(LimitsEntry(), meaning="at which temperatures it may be laid")
    milestones: TopcoatMilestones = entry(meaning="one table for each thing that comes about")


class AggregateFile(CardFile):
    """Card of the aggregate broadcast into the slurry."""

    kept_kg_m2: Cover = entry(alias="kept", meaning="what stays in the floor")
    swept_kg_m2: Cover = entry(alias="swept", meaning="what is swept up again")
    bag_kg: Annotated[
        float, quantity(q.parse_mass_kg, "50 lb", at_least="1 kg", at_most="2000 kg")
    ] = entry(alias="bag", meaning="weight of one bag")


class PrimerFile(CardFile):
    """Card of a primer rolled on before the slurry."""

    batch_m3: KitVolume = entry(alias="batch", meaning="volume of one mixed batch")
    spread_m2_m3: SpreadRate = entry(alias="spread", meaning="area one gallon covers")
    mix_s: MixTime = entry(alias="mix", meaning="how long a batch is mixed")
    broadcast_kg_m2: Cover = entry(
        "0 lb/sq ft",
        alias="broadcast",
        origin="default: none",
        meaning="aggregate strewn into it",
    )
    rate: PriorEntry = entry(PriorEntry(), meaning="how heat hastens it")
    limits: LimitsEntry = entry(LimitsEntry(), meaning="at which temperatures it may be laid")
    milestones: PrimerMilestones = entry(meaning="one table for each thing that comes about")


DEFAULT_ORIGINS = {
    f"{above}{info.alias}": facts_of(info).origin
    for model, above in (
        (PriorEntry, "rate."),
        (LimitsEntry, "limits."),
        (MilestoneEntry, ""),
        (PrimerFile, ""),
    )
    for info in model.model_fields.values()
    if facts_of(info).origin
}
"""Origins of what a card may leave out, by key path or by its last key."""

_NO_VALUES = ("kind", "title", "generic", "source", "provenance", "product", "learned")


@dataclass(frozen=True, slots=True, kw_only=True)
class Origins:
    """Origin of every value in a card; the nearest statement above a key holds."""

    source: str
    stated: Mapping[str, str]
    keys: tuple[str, ...]

    @classmethod
    def of(cls, card: CardFile, values: Mapping[str, Any]) -> Self:
        """Origins of a card as written."""
        keys = tuple(dict.fromkeys(key for key in named_values(values) if _is_value(key)))
        return cls(source=card.source, stated=card.provenance, keys=keys)

    def of_key(self, key: str) -> str:
        """Origin of one value; keys the card leaves out say so."""
        if key not in self.keys:
            last = key.rpartition(".")[2]
            return DEFAULT_ORIGINS.get(key) or DEFAULT_ORIGINS.get(last) or self.source
        steps = key.split(".")
        for end in range(len(steps), 0, -1):
            stated = self.stated.get(".".join(steps[:end]))
            if stated is not None:
                return stated
        return self.source

    def all(self, *optional: str) -> dict[str, str]:
        """Origins of every value the card gives, and of `optional` ones it may omit."""
        return {key: self.of_key(key) for key in dict.fromkeys((*self.keys, *optional))}


def named_values(values: Mapping[str, Any], above: str = "") -> Iterator[str]:
    """Dotted key path of every value; named list entries go by their names.

    Examples
    --------
    >>> list(named_values({"parts": [{"name": "resin", "mass": "2 kg"}], "batch": "1 gal"}))
    ['parts.resin.mass', 'batch']
    """
    for key, value in values.items():
        path = f"{above}{key}"
        if isinstance(value, Mapping):
            yield from named_values(value, f"{path}.")
        elif key == "parts" and isinstance(value, list):
            for entry in value:
                inner = {k: v for k, v in entry.items() if k not in ("name", "kind")}
                yield from named_values(inner, f"{path}.{entry['name']}.")
        else:
            yield path


def _is_value(key: str) -> bool:
    return key.partition(".")[0] not in _NO_VALUES and not key.endswith(".clock")
