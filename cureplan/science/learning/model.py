"""What a fit found: the numbers, their intervals, and which readings disagree."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from cureplan.inputs.cards.model import RatePrior, SlurryCard, TopcoatCard
from cureplan.inputs.tables.readings import Reading

__all__ = [
    "BalanceFit",
    "BatchFit",
    "CardFit",
    "Curve",
    "Estimate",
    "HumidityFit",
    "MilestoneFit",
    "NextReading",
    "ReadingFit",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A number and the interval that holds it in 90 % of cases."""

    value: float
    low: float
    high: float
    sd: float

    @property
    def width(self) -> float:
        """From end to end."""
        return self.high - self.low


@dataclass(frozen=True, slots=True, kw_only=True)
class MilestoneFit:
    """Time to a milestone at the new card's reference temperature [s]."""

    milestone: str
    readings: int
    time: Estimate
    was_s: float
    """What the card said of the same temperature."""
    spread_frac: float
    lots_frac: float
    """The part of it by which lots differ; 0 where none were told apart."""
    lots_unsure_frac: float
    """How unsure that is, 1 SD of its logarithm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingFit:
    """One reading against the fit with all of them."""

    reading: Reading
    expected: float
    """Seconds, or °C of a thermometer."""
    observed: float
    steady_c: float
    """Temperature at which it stands in the picture [°C]; NaN for a thermometer."""
    steady_s: float
    """What would have been watched with everything at that temperature [s]."""
    deleted_residual: float
    """How far it lies from what all others say, in standard deviations; NaN for probes."""
    disagrees: bool
    energy_without_j_mol: float
    """Activation energy if it is left out; NaN unless it disagrees."""
    weight: float = 1.0
    """What it counts for beside a sound reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchFit:
    """How fast one batch ran against the fit."""

    batch: str
    speed: float
    deleted_residual: float
    disagrees: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceFit:
    """One term of the kit's heat balance: share of the liquids' stage, or heat rise [K]."""

    name: str
    found: Estimate
    was: float
    pinned: bool
    """Whether the readings say enough of it to change the card."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HumidityFit:
    """Humidity factor: change of ln(time) per unit of relative humidity, if there is one."""

    slope: Estimate | None
    reference_frac: float
    spread_frac: float
    """Half the span of the humidities read."""
    levels: int
    span_frac: float
    why: str
    """``none read``, ``too alike``, ``no effect seen`` or ``found``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Time against temperature for one milestone, with the band of 90 % of batches [s]."""

    milestone: str
    temp_c: tuple[float, ...]
    mid_s: tuple[float, ...]
    low_s: tuple[float, ...]
    high_s: tuple[float, ...]
    was_s: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextReading:
    """The one reading more that would leave the card's times surest."""

    milestone: str
    at_c: float
    sd_frac: float
    """Doubt of all times from cool to hot now, root mean square of 1 SD."""
    sd_then_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFit:
    """Everything a fit has to say, and the card that comes of it."""

    before: SlurryCard | TopcoatCard
    card: SlurryCard | TopcoatCard
    source: str
    digest: str
    fitted_on: date
    counted: int
    """Readings used."""
    known: int
    """Readings the card had counted before, which do not count again."""
    measure_next: NextReading
    blank: tuple[int, ...]
    """Lines on which nothing was filled in."""
    excluded: tuple[int, ...]
    """Lines the user took out."""
    share: float
    """Share of cases each interval is to hold."""
    reference_c: float
    energy: Estimate
    """[J/mol]"""
    prior: RatePrior
    spread_factor: float
    freedom: float
    limit: float
    """Deleted residual beyond which a reading disagrees."""
    milestones: tuple[MilestoneFit, ...]
    readings: tuple[ReadingFit, ...]
    batches: tuple[BatchFit, ...]
    balance: tuple[BalanceFit, ...]
    humidity: HumidityFit
    curves: tuple[Curve, ...]

    @property
    def disagreeing(self) -> tuple[ReadingFit, ...]:
        """Readings that do not go with the others."""
        return tuple(one for one in self.readings if one.disagrees)

    @property
    def unread(self) -> tuple[str, ...]:
        """Milestones nobody read."""
        return tuple(one.milestone for one in self.milestones if not one.readings)

    @property
    def counts(self) -> Mapping[str, int]:
        """Readings by kind."""
        kinds = [one.reading.kind for one in self.readings]
        return {kind: kinds.count(kind) for kind in dict.fromkeys(kinds)}
