"""When a layer may be laid by its card's limits of temperature and by the dew point.

Curves are straight lines between hours, so what is spare of several limits at once is
least at an hour or at an end of the span looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.inputs.cards.model import TemperatureLimits
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.conditions import STEP_S, RoomConditions
from cureplan.planning.floor.layers import Layer

__all__ = ["Breach", "LayerLimits", "limits_of"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
NEVER_S = float("inf")
CURES_BY = ("slab", "air")
"""What a layer is not to be too cold by until it bears feet; the rest is for laying it."""


def limits_of(job: Job, layer: Layer) -> TemperatureLimits:
    """Limits of a layer's own material."""
    cards = job.cards
    if layer.kind == "slurry":
        return cards.slurry.limits
    if layer.kind == "primer" and cards.primer is not None:
        return cards.primer.limits
    return cards.topcoat.limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Breach:
    """A temperature outside its limit."""

    what: str
    """slab, air or material."""
    at_s: float
    temp_c: float
    limit_c: float
    cold: bool


@dataclass(frozen=True, slots=True)
class LayerLimits:
    """The limits of one layer on one floor, over the hours known."""

    job: Job
    layer: Layer
    conditions: RoomConditions
    slab_guard_k: float = 0.0
    """By how much the slab stays clear of its limits."""
    air_guard_k: Array | float = 0.0
    """By how much the air does, at each hour or at all."""
    laid_k: Array = field(init=False)
    """What is spare at each hour while it is laid [K]: temperatures, and of a film the dew
    point; an unknown one counts as dry, and the plan warns of it."""
    cures_k: Array = field(init=False)
    """What is spare above the lowest slab and air until it bears feet [K]."""

    def __post_init__(self) -> None:
        spare = [k for _, _, _, k in self._spares()]
        laid_k = np.min(spare, axis=0)
        if self.layer.kind != "slurry":
            dew_c = np.nan_to_num(self.conditions.dew_c, nan=-1e3)
            over_k = self.conditions.shade.slab_c - dew_c - self.job.policy.dew_margin_k
            laid_k = np.minimum(laid_k, over_k)
        object.__setattr__(self, "laid_k", laid_k)
        cold = [k for what, cold, _, k in self._spares() if cold and what in CURES_BY]
        object.__setattr__(self, "cures_k", np.min(cold, axis=0))

    def _temperatures(self) -> Iterator[tuple[str, Array, Array, tuple[float, float]]]:
        """What, where it is coolest and where it is warmest, and its limits."""
        limits, here = limits_of(self.job, self.layer), self.conditions
        yield "slab", here.shade.slab_c, here.slab_c, limits.slab_c
        yield "air", here.air_c, here.air_c, limits.air_c
        store_c = self.job.materials.storage_c
        kept_c = here.air_c if store_c is None else np.full_like(here.air_c, store_c)
        yield "material", kept_c, kept_c, limits.material_c
        if self.layer.kind != "slurry":
            yield "mixed", kept_c, kept_c, limits.mixed_c

    def _spares(self) -> Iterator[tuple[str, bool, float, Array]]:
        """What, whether it is the cold end, its limit [°C], and the spare each hour [K]."""
        guards_k: dict[str, Array | float] = {
            "slab": self.slab_guard_k,
            "air": self.air_guard_k,
        }
        for what, coolest_c, warmest_c, (low_c, high_c) in self._temperatures():
            guard_k = guards_k.get(what, 0.0)
            yield what, True, low_c, coolest_c - low_c - guard_k
            yield what, False, high_c, high_c - warmest_c - guard_k

    def kept(self, start_s: ArrayLike, lasts_s: ArrayLike, bears_s: ArrayLike) -> Flags:
        """Which starts keep all limits: as long as they are laid, then until they bear feet.

        Shape (S,) each; what lies beyond the hours known counts as their last.
        """
        start = np.asarray(start_s, dtype=np.float64)
        laid = self._clear(self.laid_k, start, start + np.asarray(lasts_s))
        return laid & self._clear(self.cures_k, start, np.maximum(start, bears_s))

    def _clear(self, spare_k: Array, start_s: Array, end_s: Array) -> Flags:
        hours_s = self.conditions.epoch_s
        good = np.interp(start_s, hours_s, spare_k) >= 0
        good &= np.interp(end_s, hours_s, spare_k) >= 0
        first, last = np.searchsorted(hours_s, start_s), np.searchsorted(hours_s, end_s)
        bad_hours = np.concatenate([[0], np.cumsum(spare_k < 0)])
        return np.asarray(good & (bad_hours[last] == bad_hours[first]))

    def next_s(self, start_s: float, lasts_s: float, bears_s: float) -> float:
        """Earliest start from one on that keeps the limits; inf for none.

        `bears_s` is when it bears feet after that start; after a later one it may take
        longer, so ask again. Of nights beyond the hours known nobody knows that they keep.
        """
        last_s = self.conditions.last_s - max(lasts_s, bears_s - start_s)
        if start_s > last_s:
            return start_s
        starts = np.arange(start_s, last_s + STEP_S, STEP_S)
        good = self.kept(starts, lasts_s, starts + (bears_s - start_s))
        return float(starts[int(good.argmax())]) if good.any() else NEVER_S

    def breach(self, start_s: float, end_s: float, *, cures: bool = False) -> Breach | None:
        """The temperature farthest outside its limit within a span; None where all keep.

        Of what only `cures`, the cold of slab and air alone.
        """
        hours_s = self.conditions.epoch_s
        inside = hours_s[(hours_s > start_s) & (hours_s < end_s)]
        at_s = np.array([start_s, *inside, end_s])
        worst: Breach | None = None
        worst_k = 0.0
        for what, cold, limit_c, spare_k in self._spares():
            if cures and not (cold and what in CURES_BY):
                continue
            then_k = np.interp(at_s, hours_s, spare_k)
            least = int(then_k.argmin())
            if then_k[least] < worst_k:
                worst_k = float(then_k[least])
                temp_c = limit_c + worst_k if cold else limit_c - worst_k
                worst = Breach(
                    what=what, at_s=float(at_s[least]), temp_c=temp_c, limit_c=limit_c,
                    cold=cold,
                )  # fmt: skip
        return worst

    def window(self, at_s: float) -> tuple[float | None, float | None]:
        """From when until when around an instant the temperatures keep their limits.

        None at an end that lies beyond the hours known.
        """
        spare_k = np.min([k for _, _, _, k in self._spares()], axis=0)
        hours_s = self.conditions.epoch_s
        before = np.flatnonzero((spare_k < 0) & (hours_s <= at_s))
        after = np.flatnonzero((spare_k < 0) & (hours_s >= at_s))
        begins = None if before.size == 0 else _crossing(hours_s, spare_k, int(before[-1]))
        ends = None if after.size == 0 else _crossing(hours_s, spare_k, int(after[0]) - 1)
        return begins, ends


def _crossing(hours_s: Array, spare_k: Array, i: int) -> float:
    """Where a straight line between an hour and the next crosses nothing spare."""
    i = min(max(i, 0), hours_s.size - 2)
    one, other = spare_k[i], spare_k[i + 1]
    part = one / (one - other) if one != other else 0.0
    return float(hours_s[i] + min(1.0, max(0.0, part)) * (hours_s[i + 1] - hours_s[i]))
