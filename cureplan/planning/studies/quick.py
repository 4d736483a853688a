"""Two quick answers that need no job: a card's clocks at a temperature, and what ice buys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from cureplan.core.errors import OutOfRangeError
from cureplan.core.messages import Message, Value
from cureplan.inputs.cards.model import PrimerCard, SlurryCard, TopcoatCard
from cureplan.planning.floor.doubt import doubt_at, time_factors
from cureplan.planning.floor.ice import IceBath, IceNeed, gain_from_ice, ice_need, steady_run
from cureplan.science.clocks import (
    CLOSING_MILESTONES,
    SlurryClocks,
    clocks_fault,
    slurry_clocks,
    topcoat_clocks,
)
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.kit import BucketPath
from cureplan.science.rate import COLDEST_C, HOTTEST_C, rate_factor

__all__ = [
    "ChillAnswer",
    "ChillMilestone",
    "MilestoneTime",
    "card_clock",
    "cautions",
    "chill_answer",
    "early_cautions",
]

SURE = 0.9
"""Share of batches in which the careful time holds."""
WET_MILESTONES = ("wet_edge", "working_time", "broadcast_opens", "broadcast_closes")


@dataclass(frozen=True, slots=True, kw_only=True)
class MilestoneTime:
    """When a milestone comes at one steady temperature, from the clock's start."""

    milestone: str
    closes: bool
    after_s: float
    sure_s: float
    """Closing milestones: nine batches in ten last that long; waiting ones: are done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChillMilestone:
    """One clock as it is and chilled [s from filler-in], and where the gain is made."""

    milestone: str
    as_is_s: float
    chilled_s: float
    gained_bucket_s: float
    gained_floor_s: float

    @property
    def gained_s(self) -> float:
        """Chilled minus as is [s]."""
        return self.chilled_s - self.as_is_s


@dataclass(frozen=True, slots=True, kw_only=True)
class ChillAnswer:
    """As-is against chilled, on one slab."""

    slab_c: float
    as_is_liquids_c: float
    chilled_liquids_c: float
    as_is_mixed_c: float
    chilled_mixed_c: float
    milestones: tuple[ChillMilestone, ...]
    ice: IceNeed


def card_clock(
    card: SlurryCard | TopcoatCard | PrimerCard, *, at_c: float
) -> tuple[MilestoneTime, ...]:
    """Minutes or hours to every milestone with everything at one temperature.

    For a slurry the whole procedure runs at that temperature: liquids, filler, air and
    slab, mixed and hauled as the card says. Not for a floor whose slab differs from
    its kits: plan a job, or ask `chill_answer`.
    """
    if isinstance(card, SlurryCard):
        slurry = slurry_clocks(card, film_m=card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
        path = _steady(slurry, card, liquids_c=at_c, filler_c=at_c, air_c=at_c, slab_c=at_c)
        times = {name: float(path.when_s(age)[0]) for name, age in slurry.age_s.items()}
        fit, spread = slurry.fit, slurry.spread_frac
    else:
        topcoat = topcoat_clocks(card)
        fit, spread = topcoat.fit, topcoat.spread_frac
        rate = rate_factor(
            at_c,
            activation_energy_j_mol=fit.activation_energy_j_mol,
            reference_c=fit.reference_c,
        )
        times = {name: age / float(rate) for name, age in topcoat.age_s.items()}
    doubt = doubt_at(at_c, fit=fit, spread_frac=spread, temp_sd_k=0.0)
    wait, close = time_factors(doubt, confidence=SURE)
    return tuple(
        MilestoneTime(
            milestone=name,
            closes=name in CLOSING_MILESTONES,
            after_s=after_s,
            sure_s=after_s * (close if name in CLOSING_MILESTONES else wait),
        )
        for name, after_s in times.items()
    )


SAME_K = 0.5
"""A point this near is at the temperature asked for: 70 °F is 21.1 °C."""


def cautions(
    card: SlurryCard | TopcoatCard | PrimerCard, **temps_c: float
) -> tuple[Message, ...]:
    """What lies outside a card's points and limits: slab, air, material and mixed [°C].

    And each clock of a slurry that ends before its mix is poured, run at these: a bucket
    that sets in the hand.
    """
    found = []
    points = [point.at_c for m in card.milestones.values() for point in m.points]
    low_c, high_c = min(points), max(points)
    at_c = temps_c["slab"]
    if not low_c - SAME_K <= at_c <= high_c + SAME_K:
        code = "quick.one_point" if high_c - low_c < SAME_K else "quick.points"
        values: dict[str, Value] = {"at_c": at_c, "low_c": low_c, "high_c": high_c}
        found.append(Message(code, values))
    for what, temp_c in temps_c.items():
        low_c, high_c = getattr(card.limits, f"{what}_c")
        values = {"what": f"limited.{what}", "temp_c": temp_c}
        if temp_c < low_c:
            found.append(Message("quick.too_cold", {**values, "limit_c": low_c}))
        elif temp_c > high_c:
            found.append(Message("quick.too_hot", {**values, "limit_c": high_c}))
    return tuple(found)


def early_cautions(
    card: SlurryCard, *, liquids_c: float, filler_c: float, air_c: float, slab_c: float
) -> tuple[Message, ...]:
    """Every clock that ends before the mix is even poured."""
    clocks = slurry_clocks(card, film_m=card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
    path = _steady(
        clocks, card, liquids_c=liquids_c, filler_c=filler_c, air_c=air_c, slab_c=slab_c
    )
    poured_s = card.filler_mix_s + card.reference_haul_s
    ends_s = {
        name: float(path.when_s(clocks.age_s[name])[0])
        for name in WET_MILESTONES
        if name in clocks.age_s and name in CLOSING_MILESTONES
    }
    return tuple(
        Message("quick.early", {"clock": name, "ends_s": end_s, "poured_s": poured_s})
        for name, end_s in ends_s.items()
        if end_s <= poured_s
    )


def chill_answer(
    card: SlurryCard,
    *,
    air_c: float,
    slabs_c: Sequence[float],
    liquids_c: float,
    filler_c: float,
    bath: IceBath,
) -> tuple[ChillAnswer, ...]:
    """What iced liquids buy on each of some slabs.

    As-is means liquids and filler at the temperature of the filler, as they come from
    the same store.
    """
    clocks = slurry_clocks(card, film_m=card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
    slabs = np.asarray(slabs_c, dtype=np.float64)

    def run(at_c: float) -> BucketPath:
        return _steady(
            clocks, card, liquids_c=at_c, filler_c=filler_c, air_c=air_c, slab_c=slabs
        )

    as_is, chilled = run(filler_c), run(liquids_c)
    need = ice_need(card, from_c=filler_c, to_c=liquids_c, bath=bath)
    names = [name for name in WET_MILESTONES if name in clocks.age_s]
    gains = {
        name: gain_from_ice(clocks, name, as_is=as_is, chilled=chilled, slab_c=slabs)
        for name in names
    }
    return tuple(
        ChillAnswer(
            slab_c=float(slab_c),
            as_is_liquids_c=filler_c,
            chilled_liquids_c=liquids_c,
            as_is_mixed_c=float(as_is.mixed_c[i]),
            chilled_mixed_c=float(chilled.mixed_c[i]),
            milestones=tuple(
                ChillMilestone(
                    milestone=name,
                    as_is_s=float(as_is.when_s(clocks.age_s[name])[i]),
                    chilled_s=float(chilled.when_s(clocks.age_s[name])[i]),
                    gained_bucket_s=float(gains[name].bucket_s[i]),
                    gained_floor_s=float(gains[name].floor_s[i]),
                )
                for name in names
            ),
            ice=need,
        )
        for i, slab_c in enumerate(slabs)
    )


def _steady(
    clocks: SlurryClocks,
    card: SlurryCard,
    *,
    liquids_c: float,
    filler_c: float,
    air_c: float,
    slab_c: ArrayLike,
) -> BucketPath:
    try:
        return steady_run(
            clocks,
            liquids_c=liquids_c,
            filler_c=filler_c,
            air_c=air_c,
            slab_c=slab_c,
            haul_s=card.reference_haul_s,
        )
    except OutOfRangeError as error:
        asked_c = (liquids_c, filler_c, air_c, *np.ravel(slab_c).tolist())
        if not (min(asked_c) >= COLDEST_C and max(asked_c) <= HOTTEST_C):
            raise
        raise clocks_fault(card, error, at_c=filler_c) from None
