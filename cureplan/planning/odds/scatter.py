"""How kits differ: all of a card, those of a night, of a pallet, and each by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import erfc

import numpy as np
from numpy.typing import NDArray

from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour

__all__ = ["Laid", "Scatter", "Tails", "coated_kits", "poured_kits"]

HEAVY_FREEDOM, HEAVY_EXPONENT = 4.0, 2.5
"""Of Student's t and of a Pareto: invented; no record was found that tells the tails."""

Array = NDArray[np.float64]


def heavy_normal(normal: Array) -> Array:
    """Student's t with four degrees, scaled to spread 1, at the ranks of normal draws.

    With four degrees the quantile is closed (Shaw 2006, J. Comp. Finance 9(4), from
    memory): 2 sqrt(cos(arccos(sqrt a)/3)/sqrt a - 1) with a = 4 p (1 - p).
    """
    flat = np.abs(normal).ravel() / np.sqrt(2.0)
    # Rank counted from the nearer end, where it keeps its digits.
    tail = 0.5 * np.fromiter(map(erfc, flat.tolist()), np.float64, flat.size)
    root = np.sqrt(4.0 * tail * (1.0 - tail))
    size = 2.0 * np.sqrt(np.maximum(np.cos(np.arccos(root) / 3.0) / root - 1.0, 0.0))
    spread = np.sqrt(HEAVY_FREEDOM / (HEAVY_FREEDOM - 2.0))
    return np.asarray(np.copysign(size.reshape(normal.shape) / spread, normal))


@dataclass(frozen=True, slots=True, kw_only=True)
class Tails:
    """Draws of unit spread and mean 1; with heavy tails the same ranks fall out farther."""

    random: np.random.Generator
    heavy: bool

    def normal(self, *shape: int) -> Array:
        """Normal, or Student's t with as few degrees as `HEAVY_FREEDOM`."""
        normal = self.random.standard_normal(shape)
        return heavy_normal(normal) if self.heavy else normal

    def lasting(self, *shape: int) -> Array:
        """Exponential, or a Pareto with the exponent `HEAVY_EXPONENT`."""
        lasting = self.random.standard_exponential(shape)
        if not self.heavy:
            return lasting
        return np.asarray((HEAVY_EXPONENT - 1.0) * np.expm1(lasting / HEAVY_EXPONENT))


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """One piece of work, in the kits it is mixed in."""

    key: tuple[str, str]
    begins_s: float
    night: int
    """Tells visits apart."""
    kit_of: NDArray[np.int64]
    """Which of its kits each patch is of, shape (patches,)."""
    spread_frac: float
    left_frac: float
    """Share left of what is not known of the night's material."""


def poured_kits(room: RoomPours, placed: PlacedPour, visit: object) -> Laid:
    return Laid(
        key=(placed.room, placed.own.layer.stage),
        begins_s=placed.start_s,
        night=id(visit),
        kit_of=np.arange(room.plan(placed.option).layout.kits),
        spread_frac=room.clocks.spread_frac,
        left_frac=room.clocks.doubt_left_frac,
    )


def coated_kits(room: RoomPours, placed: PlacedCoat, visit: object) -> Laid:
    patches = placed.work.offset_s.size
    return Laid(
        key=(placed.room, placed.work.layer.stage),
        begins_s=placed.start_s,
        night=id(visit),
        kit_of=np.arange(patches) * placed.work.batches // patches,
        spread_frac=room.material(placed.work.layer)[0].spread_frac,
        left_frac=1.0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """How kits differ: all of a card, those of a night, of a pallet, and each by itself."""

    random: Tails
    members: int
    pallet: int
    pallet_share: float
    batch: float
    kit_sd: float

    def draw(self, laid: Sequence[Laid], *, times_sd: float) -> dict[tuple[str, str], Array]:
        """Each patch's ln of ageing faster, kits taken off the pallets in the order laid."""
        all_off = times_sd * self.random.normal(self.members)
        nights: dict[int, Array] = {}
        pallets: dict[int, Array] = {}
        found, used = {}, 0
        for one in sorted(laid, key=lambda one: one.begins_s):
            kits = int(one.kit_of[-1]) + 1
            own = self.random.normal(self.members, kits)
            if one.night not in nights:
                nights[one.night] = self.random.normal(self.members)
            places = (used + np.arange(kits)) // self.pallet
            for place in range(int(places[0]), int(places[-1]) + 1):
                if place not in pallets:
                    pallets[place] = self.random.normal(self.members)
            night_sd, pallet_sd = np.sqrt([1.0 - self.pallet_share, self.pallet_share])
            of_pallet = np.stack([pallets[int(place)] for place in places], axis=1)
            of_batch = night_sd * nights[one.night][:, None] + pallet_sd * of_pallet
            each = (
                one.left_frac * all_off[:, None]
                + self.batch * one.spread_frac * of_batch
                + self.kit_sd * own
            )
            found[one.key] = each[:, one.kit_of]
            used += kits
        return found
