"""Material cards as the rest of the program sees them: frozen, in SI and °C.

A card says what a product does at known temperatures. The shipped ones are generic;
`provenance` says of each value whether it is `common practice`, `from memory`, or taken
from a named sheet, and `generic` is true until a user replaces the card.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

__all__ = [
    "NO_LIMITS",
    "ORDER",
    "AggregateCard",
    "Milestone",
    "MilestonePoint",
    "Part",
    "PrimerCard",
    "RatePrior",
    "SlurryCard",
    "TemperatureLimits",
    "TopcoatCard",
]

SLURRY_MILESTONES = (
    "wet_edge",
    "working_time",
    "broadcast_opens",
    "broadcast_closes",
    "foot_traffic",
    "topcoat_opens",
    "topcoat_closes",
)
TOPCOAT_MILESTONES = (
    "working_time",
    "recoat_opens",
    "recoat_closes",
    "foot_traffic",
    "wheels",
    "wash_down",
)

ORDER = (
    ("wet_edge", "broadcast_closes"),
    ("broadcast_opens", "broadcast_closes"),
    ("wet_edge", "foot_traffic"),
    ("working_time", "foot_traffic"),
    ("broadcast_closes", "foot_traffic"),
    ("topcoat_opens", "topcoat_closes"),
    ("working_time", "recoat_opens"),
    ("working_time", "foot_traffic"),
    ("recoat_opens", "recoat_closes"),
    ("foot_traffic", "wheels"),
    ("foot_traffic", "wash_down"),
)
"""Milestones of which the second never comes first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MilestonePoint:
    """At `at_c` (and, where given, `humidity_frac`) the milestone comes after `after_s`.

    A sheet that gives a range gives both ends; waiting times plan on the later,
    closing times on the sooner.
    """

    at_c: float
    humidity_frac: float | None
    after_s: float
    after_late_s: float
    provenance: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Milestone:
    """Reference points of one milestone, its clock's start, and its scatter."""

    name: str
    clock_starts: Literal["filler_in", "mixed"]
    points: tuple[MilestonePoint, ...]
    spread_frac: float
    """One standard deviation of ln(time) between batches, as a fraction."""
    doubt_frac: float = 0.0
    """The part of it that a fit's readings left open of the time; 0 where none was fitted."""
    lots_frac: float = 0.0
    """The part of it by which lots were found to differ; 0 where no lots were told apart."""
    lots_unsure_frac: float = 0.0
    """How unsure that part is, 1 SD of its logarithm; 0 where no fit has said."""

    @property
    def scatter_frac(self) -> float:
        """The spread without lots and what readings left open: later fits measure them anew."""
        others = self.doubt_frac**2 + self.lots_frac**2
        return math.sqrt(max(self.spread_frac**2 - others, 1e-6))


@dataclass(frozen=True, slots=True, kw_only=True)
class RatePrior:
    """What is believed of the activation energy before the points are seen."""

    mean_j_mol: float
    sd_j_mol: float


Between = tuple[float, float]
"""Lowest and highest temperature [°C]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureLimits:
    """Between which temperatures a material may be laid; the defaults are from memory.

    Slab and air keep the lowest until the layer bears feet, the highest while it is laid.
    """

    slab_c: Between = (65 / 9, 340 / 9)
    air_c: Between = (65 / 9, 340 / 9)
    material_c: Between = (10.0, 340 / 9)
    """What comes from the store, ice apart."""
    mixed_c: Between = (10.0, 340 / 9)
    """A slurry with its filler in; a batch of two liquids is as warm as they are."""


NO_LIMITS = TemperatureLimits(
    **dict.fromkeys(("slab_c", "air_c", "material_c", "mixed_c"), (float("-inf"), float("inf")))
)
"""For asking what would be without them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of a kit."""

    name: str
    kind: Literal["liquid", "filler"]
    mass_kg: float
    specific_heat_j_kg_k: float
    density_kg_m3: float
    provenance: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SlurryCard:
    """Three-part urethane cement slurry."""

    key: str
    title: str
    generic: bool
    parts: tuple[Part, ...]
    mixed_yield_m3: float
    thickness_m: float
    liquids_mix_s: float
    filler_mix_s: float
    turnaround_s: float
    reference_haul_s: float
    """Filler mixed to poured, in the trials behind the card's points."""
    liquid_stage_share: float
    bucket_heat_rise_k: float
    mixing_power_w: float
    bucket_exchange_w_k: float
    coldest_liquids_c: float
    pail_diameter_m: float
    pail_conductivity_w_m_k: float
    prior: RatePrior
    milestones: Mapping[str, Milestone]
    provenance: Mapping[str, str]
    product: str = ""
    """Name its records are kept under, over all its fits."""
    learned: tuple[str, ...] = ()
    """Marks of the readings it has counted."""
    limits: TemperatureLimits = field(default_factory=TemperatureLimits)

    @property
    def liquids(self) -> tuple[Part, ...]:
        """The parts that may be iced."""
        return tuple(part for part in self.parts if part.kind == "liquid")

    @property
    def filler(self) -> tuple[Part, ...]:
        """The powder."""
        return tuple(part for part in self.parts if part.kind == "filler")

    @property
    def kit_mass_kg(self) -> float:
        """Mass of one mixed kit [kg]."""
        return sum(part.mass_kg for part in self.parts)

    @property
    def kit_heat_capacity_j_k(self) -> float:
        """Heat capacity of one mixed kit [J/K]."""
        return sum(part.mass_kg * part.specific_heat_j_kg_k for part in self.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class TopcoatCard:
    """Clear polyaspartic topcoat of two parts."""

    key: str
    title: str
    generic: bool
    ratio: tuple[float, float]
    batch_m3: float
    spread_first_m2_m3: float
    spread_second_m2_m3: float
    mix_s: float
    prior: RatePrior
    milestones: Mapping[str, Milestone]
    provenance: Mapping[str, str]
    product: str = ""
    learned: tuple[str, ...] = ()
    limits: TemperatureLimits = field(default_factory=TemperatureLimits)

    def spread_m2_m3(self, coat: int) -> float:
        """Spread rate of a coat [m²/m³]; the first fills between the grains."""
        return self.spread_first_m2_m3 if coat == 1 else self.spread_second_m2_m3


@dataclass(frozen=True, slots=True, kw_only=True)
class AggregateCard:
    """Aggregate broadcast to refusal."""

    key: str
    title: str
    generic: bool
    kept_kg_m2: float
    swept_kg_m2: float
    bag_kg: float
    provenance: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class PrimerCard:
    """Two-part primer rolled onto the slab before the slurry."""

    key: str
    title: str
    generic: bool
    batch_m3: float
    spread_m2_m3: float
    mix_s: float
    broadcast_kg_m2: float
    """Grains thrown into it while wet; 0 for a plain primer."""
    prior: RatePrior
    milestones: Mapping[str, Milestone]
    provenance: Mapping[str, str]
    limits: TemperatureLimits = field(default_factory=TemperatureLimits)
