"""Readings and card as the rows and unknowns of a fit."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import InputError
from cureplan.inputs.cards.model import SlurryCard, TopcoatCard
from cureplan.inputs.tables.readings import Reading
from cureplan.science.clocks import CLOSING_MILESTONES, slurry_clocks, topcoat_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.kit import KitPhysics
from cureplan.science.learning.least_squares import Problem
from cureplan.science.learning.procedure_readings import (
    POURED,
    PROBE,
    STANDING,
    STEADY,
    Layout,
    ReadingRows,
    ReadingsModel,
)

__all__ = [
    "BATCH_SHARE",
    "LOT_SD",
    "Row",
    "RowMaker",
    "Setup",
    "as_arrays",
    "balance_sd",
    "batch_numbers",
    "setup",
]

BATCH_SHARE = 0.75
"""Share of the scatter's variance that all readings of one batch have in common; the
rest is watching and judging an end by eye: invented."""
GENERIC_POINT_SD = 0.25
"""What each time of a generic card is off by itself, 1 SD of ln(time): invented."""
THERMOMETER_SD_K = 0.5
"""A probe and where it was held: invented."""
CARD, SHEET, FIRST_LOT = 0, 1, 2
"""Which points share one error: the card's, those of a data sheet, and those of a lot."""
LOT_SD = 0.10
"""One lot, a night's kits or a pallet, against another, 1 SD of ln(time): invented."""
LATE_AGES = 1.5
"""A cup in the air is taken to have the air's temperature for milestones later than this
many working times: the heat it gives off is known only up to the first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row before it becomes part of an array."""

    kind: int
    observed: float
    sd: float
    milestone: int = -1
    temp_c: float = math.nan
    liquids_c: float = math.nan
    filler_c: float = math.nan
    air_c: float = math.nan
    slab_c: float = math.nan
    haul_s: float = math.nan
    mass_share: float = math.nan
    humidity_frac: float = math.nan
    batch: int = -1
    common: int = -1
    reading: int = -1
    """Which reading it comes from; -1 for the card's own."""


def batch_numbers(readings: Sequence[Reading]) -> tuple[tuple[str, ...], list[int]]:
    """Batches that were read more than once, and which of them each reading is of.

    A batch read once needs no speed of its own: its scatter holds it.
    """
    labels = [_label(reading) for reading in readings]
    rows = Counter(labels)
    probed = {
        label
        for label, reading in zip(labels, readings, strict=True)
        if reading.kind == "probe" or not math.isnan(_mixed_c(reading))
    }
    names = tuple(
        label
        for label in dict.fromkeys(labels)
        if label and (rows[label] > 1 or label in probed)
    )
    return names, [names.index(label) if label in names else -1 for label in labels]


def lot_names(readings: Sequence[Reading]) -> tuple[str, ...]:
    """Lots that are named; a data sheet's points are of none."""
    return tuple(dict.fromkeys(r.lot for r in readings if r.lot and r.kind != "sheet"))


def _mixed_c(reading: Reading) -> float:
    """What a bucket read right after mixing; NaN if nobody held a probe in."""
    return reading.temp_c if reading.kind == "bucket" else math.nan


def _label(reading: Reading) -> str:
    if reading.kind == "sheet":
        return ""
    if reading.batch:
        return reading.batch
    return "" if math.isnan(_mixed_c(reading)) else f"line {reading.line}"


@dataclass(frozen=True, slots=True, kw_only=True)
class RowMaker:
    """Makes the rows of one card."""

    card: SlurryCard | TopcoatCard

    @property
    def names(self) -> tuple[str, ...]:
        """Milestones in the card's order."""
        return tuple(self.card.milestones)

    def of_card(self) -> Iterator[Row]:
        """The card's own points; waiting times by their later end, closing by the sooner."""
        for number, milestone in enumerate(self.card.milestones.values()):
            mixed = isinstance(self.card, SlurryCard) and milestone.clock_starts == "mixed"
            mixed_s = self.card.filler_mix_s if mixed else 0.0  # type: ignore[union-attr]
            sd = milestone.spread_frac
            for point in milestone.points:
                closes = milestone.name in CLOSING_MILESTONES
                after_s = mixed_s + (point.after_s if closes else point.after_late_s)
                yield replace(
                    self.steady_procedure(point.at_c, number),
                    observed=math.log(after_s),
                    sd=max(sd, GENERIC_POINT_SD) if self.card.generic else sd,
                    humidity_frac=_nan(point.humidity_frac),
                    common=CARD,
                )

    def steady_procedure(self, at_c: float, milestone: int) -> Row:
        """A row with everything at one temperature, as a data sheet means it."""
        if not isinstance(self.card, SlurryCard):
            return Row(kind=STEADY, observed=0.0, sd=1.0, milestone=milestone, temp_c=at_c)
        return Row(
            kind=POURED,
            observed=0.0,
            sd=1.0,
            milestone=milestone,
            liquids_c=at_c,
            filler_c=at_c,
            air_c=at_c,
            slab_c=at_c,
            haul_s=self.card.reference_haul_s,
        )

    def of_readings(self, readings: Sequence[Reading], batches: Sequence[int]) -> Iterator[Row]:
        """Rows of readings; a bucket whose mixed temperature was read gives two."""
        seen: set[tuple[int, float]] = set()
        lots = lot_names(readings)
        for number, (reading, batch) in enumerate(zip(readings, batches, strict=True)):
            row = replace(self._of(reading), reading=number, batch=batch)
            if row.kind != PROBE:
                share = 1.0 - BATCH_SHARE if batch >= 0 else 1.0
                spread = self.card.milestones[reading.milestone].spread_frac
                row = replace(
                    row,
                    milestone=self.names.index(reading.milestone),
                    observed=math.log(reading.after_s),
                    sd=math.sqrt(share) * spread,
                    humidity_frac=reading.humidity_frac,
                )
                if reading.lot in lots and row.common < 0:
                    row = replace(row, common=FIRST_LOT + lots.index(reading.lot))
            yield row
            mixed = (batch, _mixed_c(reading))
            if not math.isnan(mixed[1]) and mixed not in seen:
                seen.add(mixed)
                yield replace(row, kind=PROBE, observed=reading.temp_c, sd=THERMOMETER_SD_K,
                              haul_s=0.0, milestone=-1)  # fmt: skip

    def _of(self, reading: Reading) -> Row:
        if reading.kind == "sheet":
            return replace(self.steady_procedure(reading.temp_c, 0), common=SHEET)
        if reading.kind == "cup":
            return self._cup(reading)
        if not isinstance(self.card, SlurryCard):
            raise reading.fault(
                "kind", f"a topcoat is mixed in no {reading.kind}", "call it a cup or a sheet"
            )
        return self._kit(reading, self.card)

    def _cup(self, reading: Reading) -> Row:
        air_c = reading.temp_c if math.isnan(reading.air_c) else reading.air_c
        if math.isnan(reading.mass_kg) or not isinstance(self.card, SlurryCard):
            return Row(kind=STEADY, observed=0.0, sd=1.0, temp_c=reading.temp_c)
        if reading.after_s > LATE_AGES * self._working_s(air_c):
            return Row(kind=STEADY, observed=0.0, sd=1.0, temp_c=air_c)
        return Row(
            kind=STANDING,
            observed=0.0,
            sd=1.0,
            temp_c=reading.temp_c,
            air_c=air_c,
            mass_share=reading.mass_kg / self.card.kit_mass_kg,
        )

    def _working_s(self, at_c: float) -> float:
        """Roughly, the card's working time; twice as fast per 10 °C will do here."""
        point = self.card.milestones["working_time"].points[0]
        return point.after_s * float(2.0 ** ((point.at_c - at_c) / 10.0))

    def _kit(self, reading: Reading, card: SlurryCard) -> Row:
        parts = [reading.liquids_c, reading.filler_c]
        read = [temp_c for temp_c in parts if not math.isnan(temp_c)]
        liquids_c, filler_c = (reading.temp_c if math.isnan(t) else t for t in parts)
        if len(read) < 2 and math.isnan(reading.temp_c):
            raise reading.fault(
                "temp", "it is empty", "write the mixed temperature, or liquids and filler"
            )
        row = Row(
            kind=POURED,
            observed=0.0,
            sd=1.0,
            liquids_c=liquids_c,
            filler_c=filler_c,
            air_c=filler_c if math.isnan(reading.air_c) else reading.air_c,
            slab_c=reading.slab_c,
            haul_s=self._haul_s(reading, card),
        )
        if reading.kind == "bucket":
            return row
        if 0.0 < reading.after_s < card.filler_mix_s - 1.0:
            raise reading.fault(
                "minutes",
                "the filler is still being mixed then",
                f"read it at 0 min or from {card.filler_mix_s / 60:g} min on",
            )
        after_mixing_s = max(reading.after_s - card.filler_mix_s, 0.0)
        return replace(
            row,
            kind=PROBE,
            observed=reading.temp_c,
            sd=THERMOMETER_SD_K,
            slab_c=math.nan,
            haul_s=math.nan if reading.after_s == 0.0 else after_mixing_s,
        )

    @staticmethod
    def _haul_s(reading: Reading, card: SlurryCard) -> float:
        if math.isnan(reading.poured_s):
            return card.reference_haul_s
        if reading.poured_s < card.filler_mix_s:
            raise InputError(
                "it was poured before its filler was mixed",
                cure=f"count from filler-in; the card mixes {card.filler_mix_s / 60:g} min",
                source=reading.source,
                line=reading.line,
                key="poured_min",
                value=f"{reading.poured_s / 60:g}",
            )
        return max(reading.poured_s - card.filler_mix_s, 1.0)


def _nan(value: float | None) -> float:
    return math.nan if value is None else value


def as_arrays(rows: Sequence[Row], humidity_ref: float) -> ReadingRows:
    """Rows side by side; humidity is counted from a reference, unknown as the reference."""

    def column(name: str) -> np.ndarray:
        return np.array([getattr(row, name) for row in rows], dtype=np.float64)

    def whole(name: str) -> np.ndarray:
        return np.array([getattr(row, name) for row in rows], dtype=np.int64)

    return ReadingRows(
        kind=whole("kind"),
        milestone=whole("milestone"),
        temp_c=column("temp_c"),
        liquids_c=column("liquids_c"),
        filler_c=column("filler_c"),
        air_c=column("air_c"),
        slab_c=column("slab_c"),
        haul_s=np.maximum(column("haul_s"), 1e-3),
        mass_share=column("mass_share"),
        humidity_frac=np.nan_to_num(column("humidity_frac") - humidity_ref, nan=0.0),
        batch=whole("batch"),
        common=whole("common"),
    )


Array = NDArray[np.float64]

GENERIC_CARD_SD = 0.30
"""What all times of a generic card are off by together, 1 SD of ln(time): invented."""
OWN_CARD_SD = 0.10
"""The same of a card, or a sheet, of the product in hand: invented."""
PART_SD_K = {"liquids": 0.5, "filler": 1.0}
"""Parts against what was written down, specific heats included: invented."""
UNREAD_PART_SD_K = 10.0
ENERGY_KJ_MOL = (1.0, 250.0)


def balance_sd(card: SlurryCard) -> Mapping[str, float]:
    """What is believed of a kit's heat balance around the card's values, 1 SD: invented."""
    return {
        "share": 0.15,
        "rise": 4.0,
        "power": 0.5 * card.mixing_power_w + 20.0,
        "exchange": 0.5 * card.bucket_exchange_w_k + 0.5,
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setup:
    """Everything the fit of one card needs."""

    card: SlurryCard | TopcoatCard
    readings: tuple[Reading, ...]
    maker: RowMaker
    model: ReadingsModel
    problem: Problem
    reading_of_row: NDArray[np.int64]
    """Shape (n,): which reading each row comes from; -1 for the card's own points."""
    batches: tuple[str, ...]
    free: frozenset[str]
    humidity_ref: float
    """NaN where no humidity factor is looked for."""

    @property
    def lot_sd(self) -> float:
        """What another lot adds to the scatter of its kits; 0 where readings name no lots."""
        return LOT_SD if lot_names(self.readings) else 0.0

    @property
    def layout(self) -> Layout:
        """Where each parameter stands."""
        return self.model.layout


def setup(
    card: SlurryCard | TopcoatCard,
    readings: Sequence[Reading],
    *,
    free: frozenset[str],
    humidity_ref: float,
) -> Setup:
    """Rows, priors and bounds for a card and readings."""
    maker = RowMaker(card=card)
    batches, numbers = batch_numbers(readings)
    rows = [*maker.of_card(), *maker.of_readings(readings, numbers)]
    layout = Layout(
        milestones=len(maker.names),
        batches=len(batches),
        commons=FIRST_LOT + len(lot_names(readings)),
    )
    kit, ages_s, reference_c = _start(card)
    prior = _Prior(layout=layout, card=card)
    mean, sd = prior.mean(ages_s), prior.sd(rows, readings, free)
    if math.isnan(humidity_ref):
        sd[layout.humidity] = 0.0
    held = sd == 0.0
    model = ReadingsModel(
        rows=as_arrays(rows, humidity_ref),
        layout=layout,
        reference_c=reference_c,
        kit=kit,
        working=maker.names.index("working_time"),
        film_m=card.thickness_m if isinstance(card, SlurryCard) else 1.0,
        slab_effusivity=SLAB_EFFUSIVITY,
        step=np.where(held, 0.0, _steps(layout)),
    )
    lower, upper = _bounds(layout)
    problem = Problem(
        expected=model.expected,
        slopes=model.slopes,
        observed=np.array([row.observed for row in rows]),
        row_sd=np.array([row.sd for row in rows]),
        prior_mean=mean,
        prior_sd=np.where(held, 1.0, sd),
        lower=np.where(held, mean, lower),
        upper=np.where(held, mean, upper),
        scaled_row=np.array([row.reading >= 0 and row.kind != PROBE for row in rows]),
        scaled_parameter=_speeds(layout) & ~held,
    )
    return Setup(
        card=card,
        readings=tuple(readings),
        maker=maker,
        model=model,
        problem=problem,
        reading_of_row=np.array([row.reading for row in rows]),
        batches=batches,
        free=free,
        humidity_ref=humidity_ref,
    )


def _start(
    card: SlurryCard | TopcoatCard,
) -> tuple[KitPhysics | None, Mapping[str, float], float]:
    """The card's own kit, ages and reference temperature."""
    if isinstance(card, SlurryCard):
        slurry = slurry_clocks(card, film_m=card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
        return slurry.kit, slurry.age_s, slurry.kit.reference_c
    topcoat = topcoat_clocks(card)
    return None, topcoat.age_s, topcoat.fit.reference_c


@dataclass(frozen=True, slots=True, kw_only=True)
class _Prior:
    """What is believed of each parameter; a standard deviation of zero holds it."""

    layout: Layout
    card: SlurryCard | TopcoatCard

    def mean(self, ages_s: Mapping[str, float]) -> Array:
        layout, card = self.layout, self.card
        mean = np.zeros(layout.size)
        mean[layout.ENERGY] = card.prior.mean_j_mol / 1e3
        mean[layout.age(0) : layout.age(layout.milestones)] = np.log(list(ages_s.values()))
        if isinstance(card, SlurryCard):
            mean[layout.balance("share")] = card.liquid_stage_share
            mean[layout.balance("rise")] = card.bucket_heat_rise_k
            mean[layout.balance("power")] = card.mixing_power_w
            mean[layout.balance("exchange")] = card.bucket_exchange_w_k
        return mean

    def sd(
        self, rows: Sequence[Row], readings: Sequence[Reading], free: frozenset[str]
    ) -> Array:
        layout, card = self.layout, self.card
        sd = np.zeros(layout.size)
        sd[layout.ENERGY] = card.prior.sd_j_mol / 1e3
        sd[layout.age(0) : layout.age(layout.milestones)] = np.inf
        if isinstance(card, SlurryCard):
            for name in free:
                sd[layout.balance(name)] = balance_sd(card)[name]
        sd[layout.humidity] = np.inf
        sd[layout.common(0)] = GENERIC_CARD_SD if card.generic else OWN_CARD_SD
        sd[layout.common(FIRST_LOT) : layout.speed(0)] = LOT_SD
        sd[layout.common(SHEET)] = (
            OWN_CARD_SD if any(r.kind == "sheet" for r in readings) else 0.0
        )
        for batch in range(layout.batches):
            self._of_batch(sd, [row for row in rows if row.batch == batch], readings, batch)
        return sd

    def _of_batch(
        self, sd: Array, rows: Sequence[Row], readings: Sequence[Reading], batch: int
    ) -> None:
        """Its speed, and how far its parts were from what was written down."""
        layout = self.layout
        watched = [row.sd for row in rows if row.kind != PROBE]
        usual = self.card.milestones["working_time"].spread_frac
        spread = np.mean(watched) / math.sqrt(1.0 - BATCH_SHARE) if watched else usual
        sd[layout.speed(batch)] = math.sqrt(BATCH_SHARE) * spread
        if all(row.kind != PROBE for row in rows):
            return
        read = [readings[row.reading] for row in rows]
        for part, of in (("liquids", layout.liquids), ("filler", layout.filler)):
            unread = any(math.isnan(getattr(reading, f"{part}_c")) for reading in read)
            sd[of(batch)] = UNREAD_PART_SD_K if unread else PART_SD_K[part]


def _speeds(layout: Layout) -> NDArray[np.bool_]:
    marked = np.zeros(layout.size, dtype=bool)
    marked[layout.speed(0) : layout.speed(layout.batches)] = True
    return marked


def _steps(layout: Layout) -> Array:
    """Half-steps for slopes, small against what each parameter is unsure by."""
    step = np.full(layout.size, 1e-3)
    step[layout.ENERGY] = 0.05
    for name, size in (("share", 2e-3), ("rise", 0.02), ("power", 1.0), ("exchange", 0.02)):
        step[layout.balance(name)] = size
    step[layout.liquids(0) :] = 0.02
    return step


def _bounds(layout: Layout) -> tuple[Array, Array]:
    lower, upper = np.full(layout.size, -20.0), np.full(layout.size, 20.0)
    lower[layout.ENERGY], upper[layout.ENERGY] = ENERGY_KJ_MOL
    most = (("share", 1.0), ("rise", 60.0), ("power", 5000.0), ("exchange", 50.0))
    for name, limit in most:
        lower[layout.balance(name)], upper[layout.balance(name)] = 0.0, limit
    lower[layout.speed(0) : layout.liquids(0)] = -1.5
    upper[layout.speed(0) : layout.liquids(0)] = 1.5
    return lower, upper
