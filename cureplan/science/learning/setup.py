"""Readings and card as the rows and unknowns of a fit."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import InputError
from cureplan.inputs.cards.model import Milestone, SlurryCard, TopcoatCard
from cureplan.inputs.tables.readings import Reading
from cureplan.science.clocks import CLOSING_MILESTONES, slurry_clocks, topcoat_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.kit import KitPhysics
from cureplan.science.learning.least_squares import (
    Problem,
    SharedScatter,
    Solution,
    normal_sd,
)
from cureplan.science.learning.procedure_readings import (
    POURED,
    PROBE,
    STANDING,
    STEADY,
    Layout,
    ReadingsModel,
    Row,
    row_table,
)

__all__ = [
    "BATCH_SHARE",
    "EYE_SD",
    "WATCH_SD_S",
    "Believed",
    "RowMaker",
    "Setup",
    "balance_sd",
    "batch_numbers",
    "lot_sds",
    "lots_found",
    "pose",
    "setup",
    "watched_sd",
]

Array = NDArray[np.float64]

BATCH_SHARE = 0.75
"""Share of the scatter's variance that all readings of one batch have in common; the
rest is watching and judging an end by eye: invented."""
EYE_SD = 0.05
"""Seeing an end by eye amid the work, 1 SD of ln(time): invented."""
GENERIC_POINT_SD = 0.25
"""What each time of a generic card is off by itself, 1 SD of ln(time): invented."""
COMMON_SHARE = 0.5
"""Share of the least doubt a fit left, in variance, that all its times share: invented."""
WATCH_SD_S = 20.0
"""Reading a watch amid the work, 1 SD [s]: invented."""
THERMOMETER_SD_K = 0.5
"""A probe and where it was held: invented."""
CARD, SHEET, FIRST_LOT = 0, 1, 2
"""Which points share one error: the card's, those of a data sheet, and those of a lot."""
LOT_SD = 0.10
"""One lot, a night's kits or a pallet, against another, 1 SD of ln(time): invented."""
LOT_SD_DOUBT = 0.8
"""How unsure that is, 1 SD of its logarithm: invented."""
LEAST_UNSURE = 0.05
"""What no number of lots goes below; a card takes no less: invented."""
LOT_STEPS = np.linspace(-2.0, 2.0, 7)
"""The values that are tried, in SDs of their logarithm."""
LATE_AGES = 1.5
"""A cup in the air is taken to have the air's temperature for milestones later than this
many working times: the heat it gives off is known only up to the first."""


def watched_sd(spread_frac: float, *, batch: int, after_s: float | None) -> float:
    """Scatter of ln(time): what its batch does not share, and a watch amid the work.

    `after_s` is None at a bench, where the watch is no matter.
    """
    share = 1.0 - BATCH_SHARE if batch >= 0 else 1.0
    watch = 0.0 if after_s is None else WATCH_SD_S / after_s
    return math.hypot(math.sqrt(share) * spread_frac, watch)


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
    doubt_times: float = 1.0
    """What the doubt a fit left is here of the card's, which holds that of its lots' SD."""

    @property
    def names(self) -> tuple[str, ...]:
        """Milestones in the card's order."""
        return tuple(self.card.milestones)

    def of_card(self) -> Iterator[Row]:
        """The card's own points; waiting times by their later end, closing by the sooner."""
        for number, milestone in enumerate(self.card.milestones.values()):
            mixed = isinstance(self.card, SlurryCard) and milestone.clock_starts == "mixed"
            mixed_s = self.card.filler_mix_s if mixed else 0.0  # type: ignore[union-attr]
            sd = self._point_sd(milestone)
            for point in milestone.points:
                closes = milestone.name in CLOSING_MILESTONES
                after_s = mixed_s + (point.after_s if closes else point.after_late_s)
                yield replace(
                    self.steady_procedure(point.at_c, number),
                    observed=math.log(after_s),
                    sd=sd,
                    humidity_frac=_nan(point.humidity_frac),
                    common=CARD,
                )

    def _point_sd(self, milestone: Milestone) -> float:
        """What a point of the card is off by itself."""
        if milestone.doubt_frac:
            # What an earlier fit left open, less the share that all its times have in common.
            own = (self.doubt_times * milestone.doubt_frac) ** 2 - self.common_sd**2
            return math.sqrt(max(own, 1e-6))
        sd = milestone.spread_frac
        return max(sd, GENERIC_POINT_SD) if self.card.generic else sd

    @property
    def common_sd(self) -> float:
        """What all times of the card are off by together, 1 SD of ln(time)."""
        doubts = [m.doubt_frac for m in self.card.milestones.values() if m.doubt_frac]
        if doubts:
            return math.sqrt(COMMON_SHARE) * self.doubt_times * min(doubts)
        return GENERIC_CARD_SD if self.card.generic else OWN_CARD_SD

    def steady_procedure(self, at_c: float, milestone: int) -> Row:
        """A row with everything at one temperature, as a data sheet means it."""
        if not isinstance(self.card, SlurryCard):
            return Row(kind=STEADY, milestone=milestone, temp_c=at_c)
        return Row(
            kind=POURED,
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
                spread = self.card.milestones[reading.milestone].scatter_frac
                poured_s = reading.after_s if row.kind == POURED and row.common < 0 else None
                row = replace(
                    row,
                    milestone=self.names.index(reading.milestone),
                    observed=math.log(reading.after_s),
                    sd=watched_sd(spread, batch=batch, after_s=poured_s),
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
            return Row(kind=STEADY, temp_c=reading.temp_c)
        if reading.after_s > LATE_AGES * self._working_s(air_c):
            return Row(kind=STEADY, temp_c=air_c)
        return Row(
            kind=STANDING,
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


GENERIC_CARD_SD = 0.30
"""What all times of a generic card are off by together, 1 SD of ln(time): invented."""
OWN_CARD_SD = 0.10
"""The same of a card, or a sheet, of the product in hand: invented."""
PART_SD_K = {"liquids": 0.5, "filler": 1.0}
"""Parts against what was written down, specific heats included: invented."""
UNREAD_PART_SD_K = 10.0
BOUNDS = {
    "energy": (1.0, 250.0),
    "share": (0.0, 1.0),
    "rise": (0.0, 60.0),
    "power": (0.0, 5000.0),
    "exchange": (0.0, 50.0),
    "speed": (-1.5, 1.5),
    "night": (-1.5, 1.5),
}
WIDEST = 20.0


def balance_sd(card: SlurryCard) -> Mapping[str, float]:
    """What is believed of a kit's heat balance around the card's values, 1 SD: invented."""
    return {
        "share": 0.15,
        "rise": 4.0,
        "power": 0.5 * card.mixing_power_w + 20.0,
        "exchange": 0.5 * card.bucket_exchange_w_k + 0.5,
    }


class Believed:
    """What is believed of each parameter before; a standard deviation of 0 holds it."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.mean, self.sd = np.zeros(layout.size), np.zeros(layout.size)

    def says(self, name: str, mean: ArrayLike, sd: ArrayLike) -> None:
        """Of one block; an infinite standard deviation believes nothing."""
        self.mean[self.layout.span(name)], self.sd[self.layout.span(name)] = mean, sd

    def of_kit(self, kit: KitPhysics, ages_s: Mapping[str, float]) -> None:
        """Kit and ages as they stand, held."""
        self.says("energy", kit.activation_energy_j_mol / 1e3, 0.0)
        self.says("share", kit.liquid_stage_share, 0.0)
        self.says("rise", kit.heat_rise_k, 0.0)
        self.says("power", kit.mixing_power_w, 0.0)
        self.says("exchange", kit.exchange_w_k, 0.0)
        self.says("age", np.log(list(ages_s.values())), 0.0)

    def of_batches(
        self, rows: Sequence[Row], speed_sds: Sequence[float], unread: Mapping[str, set[int]]
    ) -> None:
        """Speed of each batch, by milestone watched, and how far its parts were from what was
        written down."""
        layout = self.layout
        for batch in range(layout.batches):
            own = [row for row in rows if row.batch == batch]
            watched = [speed_sds[row.milestone] for row in own if row.kind != PROBE]
            speed_sd = np.mean(watched) if watched else max(speed_sds)
            self.sd[layout.at("speed", batch)] = speed_sd
            if all(row.kind != PROBE for row in own):
                continue
            for part, sd_k in PART_SD_K.items():
                lacks = batch in unread.get(part, ())
                self.sd[layout.at(part, batch)] = UNREAD_PART_SD_K if lacks else sd_k


def pose(
    rows: Sequence[Row],
    believed: Believed,
    *,
    kit: KitPhysics | None,
    reference_c: float,
    working: int,
    film_m: float,
    slab_effusivity: float = SLAB_EFFUSIVITY,
    humidity_ref: float = math.nan,
    slabs_k: tuple[float, ...] = (),
    lots: SharedScatter | None = None,
) -> tuple[ReadingsModel, Problem]:
    """Rows and beliefs as a model and a problem to solve."""
    layout, mean = believed.layout, believed.mean
    held = believed.sd == 0.0
    model = ReadingsModel(
        rows=row_table(rows),
        layout=layout,
        humidity_ref=humidity_ref,
        reference_c=reference_c,
        kit=kit,
        working=working,
        film_m=film_m,
        slab_effusivity=slab_effusivity,
        slabs_k=slabs_k,
        held=held,
    )
    lower, upper = np.full(layout.size, -WIDEST), np.full(layout.size, WIDEST)
    for name, (low, high) in BOUNDS.items():
        if layout.sizes[name]:
            lower[layout.span(name)], upper[layout.span(name)] = low, high
    speeds = np.zeros(layout.size, dtype=bool)
    speeds[layout.span("speed")] = True
    guessed = (model.rows["reading"] >= 0) & (model.rows["kind"] != PROBE)
    return model, Problem(
        expected=model.expected,
        slopes=model.slopes,
        observed=model.rows["observed"],
        row_sd=model.rows["sd"],
        prior_mean=mean,
        prior_sd=np.where(held, 1.0, believed.sd),
        lower=np.where(held, mean, lower),
        upper=np.where(held, mean, upper),
        scaled_row=guessed,
        scaled_parameter=speeds & ~held,
        shared=lots,
    )


def lot_sds(card: SlurryCard | TopcoatCard) -> tuple[float, Array, Array]:
    """By how much lots differ: the likeliest SD, those that may be, and ln of their belief.

    The belief is log-normal; what a card says of its lots is as wide as the belief leads to.
    """
    found, unsure = max((m.lots_frac, m.lots_unsure_frac) for m in card.milestones.values())
    steps, ln_belief = _lot_steps(unsure or LOT_SD_DOUBT)
    likely = found / normal_sd(steps, ln_belief) if found else LOT_SD
    return likely, likely * steps, ln_belief


def _lot_steps(unsure: float) -> tuple[Array, Array]:
    return np.exp(unsure * LOT_STEPS), -0.5 * LOT_STEPS**2


def lots_found(card: SlurryCard | TopcoatCard, found: Solution) -> tuple[float, float]:
    """How far lots differ, as a card says it, and how unsure that is, 1 SD of its logarithm.

    A grid is narrower than what it stands for: what is left is told by its own measure.
    """
    sds = np.log([one.sd for one in found.mixture])
    before = np.exp(lot_sds(card)[2])
    after = np.array([one.share for one in found.mixture])
    (_, wide), (middle, left) = (_moments(sds, one) for one in (before, after))
    unsure = float(np.ptp(sds)) / float(np.ptp(LOT_STEPS)) * left / wide
    unsure = min(max(unsure, LEAST_UNSURE), LOT_SD_DOUBT)
    steps, ln_belief = _lot_steps(unsure)
    return math.exp(middle) * normal_sd(steps, ln_belief), unsure


def _moments(at: Array, weight: Array) -> tuple[float, float]:
    mean = float(np.average(at, weights=weight))
    return mean, math.sqrt(float(np.average((at - mean) ** 2, weights=weight)))


def _of_lots(
    maker: RowMaker, layout: Layout, rows: Sequence[Row], belief: tuple[float, Array, Array]
) -> SharedScatter | None:
    """The lots' terms; what earlier lots left open of the card's times goes with their SD."""
    own, follows = np.zeros((2, layout.size), dtype=bool)
    own[layout.span("common")] = np.arange(layout.commons) >= FIRST_LOT
    if not own.any():
        return None
    likely, sds, ln_belief = belief
    of_fits = [bool(m.doubt_frac and m.lots_frac) for m in maker.card.milestones.values()]
    follows[layout.at("common", CARD)] = any(of_fits)
    return SharedScatter(
        parameter=own,
        sd=sds,
        ln_belief=ln_belief,
        follows=follows,
        follows_row=np.array([row.common == CARD and of_fits[row.milestone] for row in rows]),
        likely=likely,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setup:
    """Everything the fit of one card needs."""

    card: SlurryCard | TopcoatCard
    readings: tuple[Reading, ...]
    maker: RowMaker
    model: ReadingsModel
    problem: Problem
    batches: tuple[str, ...]
    free: frozenset[str]

    @property
    def humidity_ref(self) -> float:
        """NaN where no humidity factor is looked for."""
        return self.model.humidity_ref

    @property
    def reading_of_row(self) -> NDArray[np.int64]:
        """Shape (n,): which reading each row comes from; -1 for the card's own points."""
        return np.asarray(self.model.rows["reading"])

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
    lots = len(lot_names(readings))
    belief = lot_sds(card)
    maker = RowMaker(card=card, doubt_times=_at_likeliest(card, belief) if lots else 1.0)
    batches, numbers = batch_numbers(readings)
    rows = [*maker.of_card(), *maker.of_readings(readings, numbers)]
    layout = Layout(milestones=len(maker.names), batches=len(batches), commons=FIRST_LOT + lots)
    kit, ages_s, reference_c = _start(card)
    believed = Believed(layout)
    if isinstance(card, SlurryCard) and kit is not None:
        believed.of_kit(kit, ages_s)
        for name in free:
            believed.sd[layout.at(name)] = balance_sd(card)[name]
    believed.says("energy", card.prior.mean_j_mol / 1e3, card.prior.sd_j_mol / 1e3)
    believed.says("age", np.log(list(ages_s.values())), np.inf)
    believed.says("humidity", 0.0, 0.0 if math.isnan(humidity_ref) else np.inf)
    sheets = OWN_CARD_SD if any(r.kind == "sheet" for r in readings) else 0.0
    believed.says("common", 0.0, [maker.common_sd, sheets, *[belief[0]] * lots])
    spreads = [milestone.scatter_frac for milestone in card.milestones.values()]
    unread = {
        part: {
            row.batch
            for row in rows
            if row.reading >= 0 and math.isnan(getattr(readings[row.reading], f"{part}_c"))
        }
        for part in PART_SD_K
    }
    shared = math.sqrt(BATCH_SHARE)
    believed.of_batches(rows, [shared * spread for spread in spreads], unread)
    model, problem = pose(
        rows,
        believed,
        kit=kit,
        reference_c=reference_c,
        working=maker.names.index("working_time"),
        film_m=card.thickness_m if isinstance(card, SlurryCard) else 1.0,
        humidity_ref=humidity_ref,
        lots=_of_lots(maker, layout, rows, belief),
    )
    return Setup(
        card=card,
        readings=tuple(readings),
        maker=maker,
        model=model,
        problem=problem,
        batches=batches,
        free=free,
    )


def _at_likeliest(card: SlurryCard | TopcoatCard, belief: tuple[float, Array, Array]) -> float:
    """Doubt of times were the lots' SD its likeliest, in parts of that over all it may be."""
    if not any(one.doubt_frac and one.lots_frac for one in card.milestones.values()):
        return 1.0
    likely, sds, ln_belief = belief
    return likely / math.sqrt(float(np.average(sds**2, weights=np.exp(ln_belief))))


def _start(
    card: SlurryCard | TopcoatCard,
) -> tuple[KitPhysics | None, Mapping[str, float], float]:
    """The card's own kit, ages and reference temperature."""
    if isinstance(card, SlurryCard):
        slurry = slurry_clocks(card, film_m=card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
        return slurry.kit, slurry.age_s, slurry.kit.reference_c
    topcoat = topcoat_clocks(card)
    return None, topcoat.age_s, topcoat.fit.reference_c
