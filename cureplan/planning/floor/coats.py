"""Topcoats: when each may go on, until when, and what comes after.

A floor is coated patch by patch in the order it was laid. A coat may start once no
patch is reached too soon, and must start before any patch is reached too late; what
comes after the last coat counts from each patch's own batch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.inputs.cards.model import TopcoatCard
from cureplan.inputs.job.model import Crew, Pace, Room
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.science.clocks import SlurryClocks, TopcoatClocks
from cureplan.science.humidity import HumidityPace
from cureplan.science.kit import film_age_after_s
from cureplan.science.rate import AgeCurve

__all__ = [
    "CoatWindow",
    "CoatWork",
    "CuringFloor",
    "FinishedFloor",
    "Landed",
    "coat_work",
    "curing_floor",
    "finished_floor",
    "first_coat_window",
    "landed_when_s",
    "next_coat_window",
    "slab_age_curve",
]

PIECE_S = 120.0
SETTLED_S = 0.1
ROUNDS = 60
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Landed:
    """Patches as they lie: what their hours on the floor start from; arrays of shape P."""

    pour_s: Array
    """When each bucket lands [epoch s]."""
    pour_age_s: Array
    film_age_s: Array
    """Shape (*P, nodes): see `BucketPath`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CuringFloor:
    """When each patch of a poured floor reaches what the next trade waits for [epoch s]."""

    foot_s: Array
    topcoat_opens_s: Array
    topcoat_closes_s: Array

    @property
    def walkable_s(self) -> float:
        """When the whole floor may be walked on."""
        return float(np.max(self.foot_s))


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatWork:
    """How long one coat takes, patch by patch, and in which batches."""

    duration_s: float
    vacuum_s: float
    offset_s: Array
    """When each patch is reached, from the start of the coat."""
    batches: int
    volume_m3: float
    batch_s: float
    """One batch from mixing to spread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatWindow:
    """The starts a coat may have, by age alone [epoch s]; shifts and dew come later."""

    opens_s: float
    closes_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishedFloor:
    """When the last coat has gone far enough [epoch s]."""

    foot_s: float
    wheels_s: float
    wash_down_s: float

    @property
    def opens_s(self) -> float:
        """When the room may open: it bears wheels and may be washed."""
        return max(self.foot_s, self.wheels_s, self.wash_down_s)


def slab_age_curve(
    conditions: RoomConditions,
    *,
    activation_energy_j_mol: float,
    reference_c: float,
    humidity: HumidityPace | None = None,
) -> AgeCurve:
    """Age against time of anything thin that lies on this room's slab, in its air."""
    pace = None
    if humidity is not None:
        pace = humidity.at(conditions.humidity_at(conditions.epoch_s))
    return AgeCurve(
        conditions.epoch_s,
        conditions.slab_c,
        activation_energy_j_mol=activation_energy_j_mol,
        reference_c=reference_c,
        piece_s=PIECE_S,
        pace=pace,
    )


def landed_when_s(landed: Landed, age_s: Array | float, *, curve: AgeCurve) -> Array:
    """When each patch reaches an age, with what its film has gathered until then.

    A thick film takes hours to come to its slab's temperature, so a clock that ends early
    may count only the part of the gap that lies behind it.
    """
    by_slab_s = age_s - landed.pour_age_s
    when_s = curve.when(start_s=landed.pour_s, age_s=by_slab_s - landed.film_age_s[..., -1])
    for _ in range(ROUNDS):
        elapsed_s = np.minimum(when_s, curve.last_s) - landed.pour_s
        film_s = film_age_after_s(elapsed_s, landed.film_age_s)
        before_s, when_s = when_s, curve.when(start_s=landed.pour_s, age_s=by_slab_s - film_s)
        if np.allclose(when_s, before_s, rtol=0.0, atol=SETTLED_S):
            return when_s
    raise OutOfRangeError("the clock ends while the film is far from its slab's temperature")


def curing_floor(
    landed: Landed,
    *,
    clocks: SlurryClocks,
    curve: AgeCurve,
    wait: float,
    close: float,
) -> CuringFloor:
    """When each patch may be walked on, coated, and is too old to coat."""

    def reached(name: str, factor: float) -> Array:
        return landed_when_s(landed, clocks.age_s[name] * factor, curve=curve)

    return CuringFloor(
        foot_s=reached("foot_traffic", wait),
        topcoat_opens_s=reached("topcoat_opens", wait),
        topcoat_closes_s=reached("topcoat_closes", close),
    )


def coat_work(
    room: Room, card: TopcoatCard, *, crew: Crew, pace: Pace, coat: int, patches: int
) -> CoatWork:
    """How long a coat takes, and in which whole batches it is mixed."""
    spread = card.spread_first_m2_m3 if coat == 1 else card.spread_second_m2_m3
    volume_m3 = room.area_m2 / spread
    batches = max(1, math.ceil(volume_m3 / card.batch_m3 - 1e-9))
    speed_m2_s = pace.topcoat_m2_s * crew.topcoat
    spreading_s = room.area_m2 / speed_m2_s
    offset_s = card.mix_s + spreading_s * np.arange(patches) / patches
    batch_area_m2 = min(room.area_m2, card.batch_m3 * spread)
    return CoatWork(
        duration_s=card.mix_s + spreading_s,
        vacuum_s=room.area_m2 / (pace.vacuum_m2_s * crew.topcoat) if coat == 1 else 0.0,
        offset_s=offset_s,
        batches=batches,
        volume_m3=volume_m3,
        batch_s=card.mix_s + batch_area_m2 / speed_m2_s,
    )


def first_coat_window(floor: CuringFloor, work: CoatWork) -> CoatWindow:
    """Window for the start of the first coat: vacuumed, dry, and not yet too old.

    The vacuum begins at the back wall, which is reached over the whole floor, so it waits
    until all of it bears feet.
    """
    dry_s = float(np.max(floor.topcoat_opens_s - work.offset_s))
    return CoatWindow(
        opens_s=max(floor.walkable_s + work.vacuum_s, dry_s),
        closes_s=float(np.min(floor.topcoat_closes_s - work.offset_s)),
    )


def next_coat_window(
    start_s: float,
    before: CoatWork,
    work: CoatWork,
    *,
    clocks: TopcoatClocks,
    curve: AgeCurve,
    wait: float,
    close: float,
) -> CoatWindow:
    """Window for the start of a further coat over one begun at `start_s`."""
    laid_s = start_s + before.offset_s
    opens_s = curve.when(start_s=laid_s, age_s=clocks.age_s["recoat_opens"] * wait)
    closes_s = curve.when(start_s=laid_s, age_s=clocks.age_s["recoat_closes"] * close)
    return CoatWindow(
        opens_s=float(np.max(opens_s - work.offset_s)),
        closes_s=float(np.min(closes_s - work.offset_s)),
    )


def finished_floor(
    start_s: float, work: CoatWork, *, clocks: TopcoatClocks, curve: AgeCurve, wait: float
) -> FinishedFloor:
    """When the floor bears feet, wheels and water after a last coat begun at `start_s`."""
    laid_s = start_s + work.offset_s

    def reached(name: str) -> float:
        age_s = clocks.age_s[name] * wait
        return float(np.max(curve.when(start_s=laid_s, age_s=age_s)))

    return FinishedFloor(
        foot_s=reached("foot_traffic"),
        wheels_s=reached("wheels"),
        wash_down_s=reached("wash_down"),
    )
