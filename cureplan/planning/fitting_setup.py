"""A card and readings turned into one least-squares problem.

The card is what is believed before, all its times off together by as much as such cards
are off; the readings of one batch run fast or slow together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.job.card_model import SlurryCard, TopcoatCard
from cureplan.job.reading import Reading
from cureplan.physics.bucket import KitPhysics
from cureplan.physics.fit_least_squares import Problem
from cureplan.physics.fit_ritual import PROBE, Layout, ReadingsModel
from cureplan.planning.clocks import slurry_clocks, topcoat_clocks
from cureplan.planning.conditions import SLAB_EFFUSIVITY
from cureplan.planning.fitting_rows import BATCH_SHARE, Row, RowMaker, as_arrays, batch_numbers

__all__ = ["Setup", "balance_sd", "setup"]

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
    """Rows, priors and bounds for a card and readings.

    Parameters
    ----------
    card : SlurryCard or TopcoatCard
        What is believed before.
    readings : sequence of Reading
        What was watched.
    free : frozenset of str
        Which of share, rise, power and exchange are to be found.
    humidity_ref : float
        Humidity at which the factor is one; NaN to look for none.

    Returns
    -------
    Setup

    Raises
    ------
    InputError
        A reading cannot be of this card.
    """
    maker = RowMaker(card=card)
    batches, numbers = batch_numbers(readings)
    rows = [*maker.of_card(), *maker.of_readings(readings, numbers)]
    layout = Layout(milestones=len(maker.names), batches=len(batches), commons=2)
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
        sd[layout.common(1)] = OWN_CARD_SD if any(r.kind == "sheet" for r in readings) else 0.0
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
