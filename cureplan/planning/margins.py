"""The three clocks of every bucket, and the margin that is left on the least of them.

- `wet_edge`: the bucket still melts into the row that ties in next to it;
- `working_time`: its patch still takes the rake and the smoother;
- `broadcast_closes`: the last grain still beds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.job.model import Materials
from cureplan.physics.bucket import run_bucket
from cureplan.planning.clocks import SlurryClocks
from cureplan.planning.conditions import RoomConditions
from cureplan.planning.layout import PourTimes

__all__ = ["BINDINGS", "BucketClocks", "KitTemperatures", "bucket_clocks", "kit_temperatures"]

BINDINGS: Final = ("wet_edge", "working_time", "broadcast_closes")

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class KitTemperatures:
    """What liquids and filler reach the mixer at; None means the room's air."""

    liquids_c: float | None
    filler_c: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BucketClocks:
    """Clocks and margins of S starts of N buckets; every array has shape (S, N)."""

    ends_s: Array
    """Shape (3, S, N): when each clock ends, on the same zero as the starts."""
    margins_s: Array
    """Shape (3, S, N): clock's end minus what must be done by then; inf where nothing is."""
    mixed_c: Array
    pour_c: Array
    slab_c: Array
    pour_age_s: Array
    film_age_s: Array
    """Shape (S, N, nodes): see `BucketPath`."""
    broadcast_by_s: Array

    @property
    def landing_age_s(self) -> Array:
        """Age to follow the slab from, all of the film counted; for clocks beyond 4 h."""
        return np.asarray(self.pour_age_s + self.film_age_s[..., -1])

    @property
    def margin_s(self) -> Array:
        """Least of the three, shape (S, N)."""
        return np.asarray(self.margins_s.min(axis=0))

    @property
    def binding(self) -> NDArray[np.int64]:
        """Which of `BINDINGS` is the least, shape (S, N)."""
        return np.asarray(self.margins_s.argmin(axis=0))

    @property
    def least_s(self) -> Array:
        """Least margin of each start, shape (S,)."""
        return np.asarray(self.margin_s.min(axis=1))


def kit_temperatures(
    materials: Materials, *, chilled: bool, cool_filler: bool
) -> KitTemperatures:
    """What the parts of a kit reach the mixer at.

    Parameters
    ----------
    materials : Materials
        Storage, and what ice or a probe says; a measured liquid beats the estimate.
    chilled : bool
        The liquids come out of ice.
    cool_filler : bool
        The filler was kept cool.

    Returns
    -------
    KitTemperatures
    """
    iced_c = materials.iced_c
    if materials.liquids_measured_c is not None:
        iced_c = materials.liquids_measured_c
    return KitTemperatures(
        liquids_c=iced_c if chilled else materials.storage_c,
        filler_c=materials.cool_filler_c if cool_filler else materials.storage_c,
    )


def bucket_clocks(
    start_s: ArrayLike,
    times: PourTimes,
    *,
    clocks: SlurryClocks,
    conditions: RoomConditions,
    temperatures: KitTemperatures,
    haul_s: float,
    speed: ArrayLike,
    slab_shift_k: ArrayLike,
    air_shift_k: ArrayLike,
) -> BucketClocks:
    """Run every bucket of a floor on its own temperature history.

    Parameters
    ----------
    start_s : array_like, shape (S,)
        First stir of the first liquids [epoch s].
    times : PourTimes
        N buckets relative to that.
    clocks, conditions, temperatures, haul_s
        Card, room, kit temperatures, and mixed-to-poured time [s].
    speed, slab_shift_k, air_shift_k : array_like, broadcastable to (S,)
        Batch speed [-] and temperature errors [K]; 1, 0, 0 for the central case.

    Returns
    -------
    BucketClocks
    """
    starts = np.atleast_1d(np.asarray(start_s, dtype=np.float64))[:, None]
    shape = (starts.shape[0], times.pour_s.size)

    def each(values: ArrayLike) -> Array:
        column = np.asarray(values, dtype=np.float64).reshape(-1, 1)
        return np.broadcast_to(column, shape).ravel()

    air_c = conditions.air_at(starts + times.liquids_in_s).ravel() + each(air_shift_k)
    slab_c = conditions.slab_at(starts + times.pour_s).ravel() + each(slab_shift_k)
    pace = each(speed)
    if clocks.humidity is not None:
        humidity_frac = conditions.humidity_at(starts + times.pour_s)
        pace = pace * clocks.humidity.at(humidity_frac).ravel()
    liquids_c = air_c if temperatures.liquids_c is None else temperatures.liquids_c
    filler_c = air_c if temperatures.filler_c is None else temperatures.filler_c
    path = run_bucket(
        liquids_c,
        filler_c,
        air_c,
        slab_c,
        haul_s,
        kit=clocks.kit,
        speed=pace,
        film_m=clocks.film_m,
        slab_effusivity=clocks.slab_effusivity,
    )
    filler_in = starts + times.filler_in_s
    ends = np.stack(
        [filler_in + path.when_s(clocks.age_s[name]).reshape(shape) for name in BINDINGS]
    )
    broadcast_by = starts + times.broadcast_s
    if "broadcast_opens" in clocks.age_s:
        opens = filler_in + path.when_s(clocks.age_s["broadcast_opens"]).reshape(shape)
        held_back = np.maximum(0.0, opens - (starts + times.smoothed_s))
        broadcast_by = broadcast_by + held_back
    due = np.stack([starts + times.tied_in_s, starts + times.smoothed_s, broadcast_by])
    margins = np.where(np.isnan(due), np.inf, ends - due)
    return BucketClocks(
        ends_s=ends,
        margins_s=margins,
        mixed_c=path.mixed_c.reshape(shape),
        pour_c=path.pour_c.reshape(shape),
        slab_c=slab_c.reshape(shape),
        pour_age_s=path.pour_age_s.reshape(shape),
        film_age_s=path.film_age_s.reshape(*shape, -1),
        broadcast_by_s=broadcast_by,
    )
