"""A material card as it is written, and where each of its values comes from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Self

from pydantic import Field

from cureplan.core import quantities as q
from cureplan.core.quantities import refusal
from cureplan.inputs.fields import (
    HeatRiseK,
    LiquidTemperatureC,
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
CardKind = Literal["slurry", "topcoat", "aggregate", "primer"]


def _read_range(text: Any) -> tuple[float, float]:
    ends = q.parse_duration_range_s(text)
    if not ends[0] > 0:
        raise refusal(text, "this must be more than 0 min", 'write it like "16 min"')
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
        q.parse_spread_rate_m2_m3, "90 sq ft/gal", at_least="0.2 m2/L", at_most="100 m2/L"
    ),
]
Cover = Annotated[float, quantity(q.parse_cover_kg_m2, "0.5 lb/sq ft", at_most="30 kg/m2")]


class PointEntry(Written):
    """One reference point: at this temperature, after this long."""

    at_c: Annotated[
        float, quantity(q.parse_temperature_c, "70 F", at_least="0 C", at_most="60 C")
    ] = Field(alias="at")
    humidity_frac: (
        Annotated[float, quantity(q.parse_fraction, "50 %", at_least="1 %")] | None
    ) = Field(default=None, alias="humidity")
    after_s: Annotated[
        tuple[float, float],
        Reads(
            read=_read_range,
            shape={"type": "string", "examples": ["16 min", "3.5-4 h"]},
            example='"16 min"',
        ),
    ] = Field(alias="after")
    source: Name | None = None


class MilestoneEntry(Written):
    """When one thing comes about, from a clock's start."""

    clock: Annotated[Literal["filler_in", "mixed"], choice("filler_in", "mixed")] | None = None
    points: Annotated[tuple[PointEntry, ...], Field(min_length=1, strict=False)]
    spread_frac: Annotated[
        float, quantity(q.parse_fraction, "10 %", at_least="0.1 %", at_most="60 %")
    ] = entry("10 %", alias="spread", origin="default: invented")


class PriorEntry(Written):
    """What is believed of the rate's dependence on temperature before any point is seen."""

    mean_j_mol: Annotated[
        float,
        quantity(q.parse_energy_j_mol, "50 kJ/mol", at_least="10 kJ/mol", at_most="150 kJ/mol"),
    ] = entry("50 kJ/mol", alias="mean", origin="default: from memory")
    sd_j_mol: Annotated[
        float,
        quantity(q.parse_energy_j_mol, "10 kJ/mol", at_least="0.1 kJ/mol", at_most="50 kJ/mol"),
    ] = entry("10 kJ/mol", alias="sd", origin="default: from memory")


class PartEntry(Written):
    """One part of a kit."""

    name: Name
    kind: Annotated[Literal["liquid", "filler"], choice("liquid", "filler")]
    mass_kg: Annotated[
        float, quantity(q.parse_mass_kg, "2.5 kg", above="0 kg", at_most="200 kg")
    ] = Field(alias="mass")
    specific_heat_j_kg_k: Annotated[
        float,
        quantity(
            q.parse_specific_heat_j_kg_k,
            "1.9 kJ/kg K",
            at_least="0.3 kJ/kg K",
            at_most="5 kJ/kg K",
        ),
    ] = Field(alias="specific_heat")
    density_kg_m3: Annotated[
        float,
        quantity(q.parse_density_kg_m3, "1.1 kg/L", at_least="0.3 kg/L", at_most="6 kg/L"),
    ] = Field(alias="density")


class KitEntry(Written):
    """What a mixed kit gives."""

    yield_m3: KitVolume = Field(alias="yield")
    thickness_m: Annotated[
        float, quantity(q.parse_length_m, "1/8 in", at_least="1 mm", at_most="15 mm")
    ] = Field(alias="thickness")


class MixingEntry(Written):
    """The mixing procedure, and the haul it was timed with."""

    liquids_s: MixTime = Field(alias="liquids")
    filler_s: MixTime = Field(alias="filler")
    turnaround_s: MixTime = Field(alias="turnaround")
    reference_haul_s: MixTime = Field(alias="reference_haul")
    power_w: Annotated[float, quantity(q.parse_power_w, "350 W", at_most="5 kW")] = Field(
        alias="power"
    )


class BucketEntry(Written):
    """How a mixed bucket warms and ages."""

    liquid_stage_share: Share
    heat_rise_k: HeatRiseK = Field(alias="heat_rise")
    exchange_w_k: Annotated[
        float, quantity(q.parse_heat_exchange_w_k, "2 W/K", at_most="50 W/K")
    ] = Field(alias="exchange")


class ChillingEntry(Written):
    """What matters when pails of liquid stand in ice."""

    coldest_liquids_c: LiquidTemperatureC = Field(alias="coldest_liquids")
    pail_diameter_m: Annotated[
        float, quantity(q.parse_length_m, "165 mm", at_least="2 in", at_most="1 m")
    ] = Field(alias="pail_diameter")
    pail_conductivity_w_m_k: Annotated[
        float,
        quantity(
            q.parse_conductivity_w_m_k, "0.18 W/m K", at_least="0.01 W/m K", at_most="5 W/m K"
        ),
    ] = Field(alias="conductivity")


class SlurryMilestones(Written):
    """Table ``[milestones]`` of a slurry card."""

    wet_edge: MilestoneEntry
    working_time: MilestoneEntry
    broadcast_opens: MilestoneEntry | None = None
    broadcast_closes: MilestoneEntry
    foot_traffic: MilestoneEntry
    topcoat_opens: MilestoneEntry
    topcoat_closes: MilestoneEntry


class TopcoatMilestones(Written):
    """Table ``[milestones]`` of a topcoat card."""

    working_time: MilestoneEntry
    recoat_opens: MilestoneEntry
    recoat_closes: MilestoneEntry
    foot_traffic: MilestoneEntry
    wheels: MilestoneEntry
    wash_down: MilestoneEntry


class PrimerMilestones(Written):
    """Table ``[milestones]`` of a primer card."""

    working_time: MilestoneEntry
    foot_traffic: MilestoneEntry
    slurry_opens: MilestoneEntry
    slurry_closes: MilestoneEntry


class CardFile(Written):
    """What every card has."""

    kind: Annotated[str, choice("slurry", "topcoat", "aggregate", "primer")]
    title: Name
    generic: bool = False
    source: Name = FROM_THE_CARD
    provenance: dict[str, Name] = Field(default_factory=dict)


class SlurryFile(CardFile):
    """Card of a three-part slurry."""

    kit: KitEntry
    parts: Annotated[tuple[PartEntry, ...], Field(min_length=2, strict=False)]
    mixing: MixingEntry
    bucket: BucketEntry
    chilling: ChillingEntry
    rate: PriorEntry = PriorEntry()
    milestones: SlurryMilestones


class TopcoatFile(CardFile):
    """Card of a two-part topcoat."""

    ratio: Annotated[
        tuple[float, float],
        Reads(read=_read_ratio, shape={"type": "string", "examples": ["1:1"]}, example='"1:1"'),
    ]
    batch_m3: KitVolume = Field(alias="batch")
    spread_first_m2_m3: SpreadRate = Field(alias="spread_first")
    spread_second_m2_m3: SpreadRate = Field(alias="spread_second")
    mix_s: MixTime = Field(alias="mix")
    rate: PriorEntry = PriorEntry()
    milestones: TopcoatMilestones


class AggregateFile(CardFile):
    """Card of the aggregate broadcast into the slurry."""

    kept_kg_m2: Cover = Field(alias="kept")
    swept_kg_m2: Cover = Field(alias="swept")
    bag_kg: Annotated[
        float, quantity(q.parse_mass_kg, "50 lb", at_least="1 kg", at_most="2000 kg")
    ] = Field(alias="bag")


class PrimerFile(CardFile):
    """Card of a primer rolled on before the slurry."""

    batch_m3: KitVolume = Field(alias="batch")
    spread_m2_m3: SpreadRate = Field(alias="spread")
    mix_s: MixTime = Field(alias="mix")
    broadcast_kg_m2: Cover = entry("0 lb/sq ft", alias="broadcast", origin="default: none")
    rate: PriorEntry = PriorEntry()
    milestones: PrimerMilestones


DEFAULT_ORIGINS = {
    f"{above}{info.alias}": facts_of(info).origin
    for model, above in ((PriorEntry, "rate."), (MilestoneEntry, ""), (PrimerFile, ""))
    for info in model.model_fields.values()
    if facts_of(info).origin
}
"""Origins of what a card may leave out, by key path or by its last key."""

_NO_VALUES = ("kind", "title", "generic", "source", "provenance")


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
