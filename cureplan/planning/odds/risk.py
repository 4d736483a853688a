"""How often the plan would hold, over nights drawn around the forecast and the cards.

Each bucket's three margins are read off a table over batch speed, slab and air, so that a
thousand nights cost no more than a few dozen; each coat's age is gathered along the slab's
own errors, hour by hour.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.layers import Layer
from cureplan.planning.floor.pour import BucketClocks, RoomPours
from cureplan.planning.odds.nights import DrawnAges, Nights, Visit, draw_nights, ln_pace
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour
from cureplan.science.kit import film_age_after_s

__all__ = ["MEMBERS", "Odds", "assess", "known_until"]

MEMBERS = 1000
DECIDED_S = 12 * 3600.0
"""How long before access a job of the past counts as decided: the morning before."""

_LN_SPEED = np.linspace(-0.75, 0.75, 11)
_SLAB_K = np.linspace(-4.5, 4.5, 5)
_AIR_K = np.linspace(-5.0, 5.0, 3)
_NEVER_S = 1e7
"""Stands for a margin that nothing asks for."""

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Odds:
    """Shares of the drawn nights in which things hold."""

    members: int
    seed: int
    bucket_frac: Mapping[str, Array]
    room_frac: Mapping[str, float]
    coat_frac: Mapping[tuple[str, int], float]
    buckets_frac: float
    coats_frac: float
    opening_frac: float
    all_frac: float


def known_until(job: Job, *, now_s: float) -> float:
    """Until when a plan's temperatures count as known, and from when as forecast [epoch s].

    A job that lies in the past, or has begun, counts as decided half a day before.
    """
    begins_s = job.access.begins.timestamp()
    return now_s if now_s < begins_s else begins_s - DECIDED_S


def assess(
    job: Job,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    *,
    issued_s: float,
    members: int = MEMBERS,
) -> Odds:
    """Draw nights and count in how many of them each limit is kept.

    Errors of the dew point are not drawn.
    """
    nights = draw_nights(job, pours, schedule, members=members, issued_s=issued_s)
    everyone = np.ones(members, dtype=bool)
    buckets_ok, coats_ok, opening_ok = everyone.copy(), everyone.copy(), everyone.copy()
    bucket_frac: dict[str, Array] = {}
    room_frac: dict[str, float] = {}
    for poured in schedule.pours:
        kept = _kept_buckets(pours[poured.room], poured, nights)
        bucket_frac[poured.room] = kept.mean(axis=0)
        room_frac[poured.room] = float(kept.all(axis=1).mean())
        buckets_ok &= kept.all(axis=1)
    coat_frac: dict[tuple[str, int], float] = {}
    for poured in schedule.pours:
        room = pours[poured.room]
        coats = sorted((c for c in schedule.coats if c.room == poured.room), key=_start)
        laid = _laid(room, poured, coats, nights)
        for coat in coats:
            met = _met(poured, coat, laid, nights)
            coat_frac[coat.room, coat.coat] = float(met.mean())
            coats_ok &= met
        if coats:
            opening_ok &= _opens(job, room, laid[coats[-1].work.layer])
    return Odds(
        members=members,
        seed=job.seed,
        bucket_frac=bucket_frac,
        room_frac=room_frac,
        coat_frac=coat_frac,
        buckets_frac=float(buckets_ok.mean()),
        coats_frac=float(coats_ok.mean()),
        opening_frac=float(opening_ok.mean()),
        all_frac=float((buckets_ok & coats_ok & opening_ok).mean()),
    )


def _start(coat: PlacedCoat) -> float:
    return coat.start_s


def _pour_times(pours: RoomPours, poured: PlacedPour, visit: Visit) -> Array:
    return visit.at_s(poured.start_s + pours.plan(poured.option).times.pour_s)


def _kept_buckets(pours: RoomPours, poured: PlacedPour, nights: Nights) -> Flags:
    """Which buckets keep all three clocks, shape (nights, buckets)."""
    visit = nights.pour_visit[poured.room]
    planned_s = poured.start_s + pours.plan(poured.option).times.pour_s
    at_s = np.minimum(_pour_times(pours, poured, visit), pours.conditions.last_s)
    planned_c = pours.conditions.slab_at(planned_s)
    # A late crew finds the slab and the air of a later hour.
    slab_k = pours.conditions.slab_at(at_s) - planned_c
    air_k = pours.conditions.air_at(at_s) - pours.conditions.air_at(planned_s)
    ln_speed = ln_pace(
        *nights.material["slurry"],
        fit=pours.clocks.fit,
        spread_frac=pours.clocks.spread_frac,
        temp_c=planned_c,
    )
    margins_s = _margins(
        pours,
        poured,
        np.broadcast_to(ln_speed, at_s.shape),
        slab_k + nights.error_k(nights.slab_k[poured.room], at_s),
        air_k + nights.error_k(nights.air_k[poured.room], at_s),
    )
    expected = poured.clocks
    due_s = expected.ends_s[:, 0] - np.where(
        np.isfinite(expected.margins_s[:, 0]), expected.margins_s[:, 0], np.nan
    )
    dragged_s = np.nan_to_num(due_s - planned_s)[:, None] * visit.slow_frac[:, None]
    return np.asarray((margins_s - dragged_s >= 0.0).all(axis=0))


def _margins(
    pours: RoomPours, poured: PlacedPour, ln_speed: Array, slab_k: Array, air_k: Array
) -> Array:
    """Margins of the three clocks off a table, shape (3, nights, buckets)."""
    from scipy.ndimage import map_coordinates

    grid = np.meshgrid(_LN_SPEED, _SLAB_K, _AIR_K, indexing="ij")
    run = pours.run(
        poured.option,
        np.full(grid[0].size, poured.start_s),
        speed=np.exp(grid[0].ravel()),
        slab_shift_k=grid[1].ravel(),
        air_shift_k=grid[2].ravel(),
    )
    buckets = ln_speed.shape[1]
    table = np.where(np.isfinite(run.margins_s), run.margins_s, _NEVER_S)
    where = [
        (values - axis[0]) / (axis[1] - axis[0])
        for values, axis in ((ln_speed, _LN_SPEED), (slab_k, _SLAB_K), (air_k, _AIR_K))
    ]
    where.append(np.broadcast_to(np.arange(buckets, dtype=np.float64), ln_speed.shape))
    # Draws beyond the table (5 SD) are read at its edge.
    return np.stack(
        [
            map_coordinates(
                clock.reshape(*grid[0].shape, buckets), where, order=1, mode="nearest"
            )
            for clock in table
        ]
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Laid:
    """A layer as it lies, night by night."""

    needs_s: Mapping[str, float]
    """Age of each milestone of its material."""
    ages: DrawnAges
    laid_s: Array
    """When each patch was laid, shape (nights, patches) [epoch s]."""
    landed: BucketClocks | None = None
    """Of a slurry: what its buckets had aged by then, and what its film goes on to."""

    def aged_s(self, at_s: Array) -> Array:
        """Age of each patch at instants of shape (nights, patches)."""
        slab_s = self.ages.between(self.laid_s, at_s)
        if self.landed is None:
            return slab_s
        nodes = self.landed.film_age_s
        film_s = np.broadcast_to(nodes[0], (*self.laid_s.shape, nodes.shape[-1]))
        landed_s = self.landed.pour_age_s[0] + film_age_after_s(at_s - self.laid_s, film_s)
        return np.asarray(landed_s * self.ages.pace_at(self.laid_s) + slab_s)


def _laid(
    pours: RoomPours, poured: PlacedPour, coats: Sequence[PlacedCoat], nights: Nights
) -> dict[Layer, _Laid]:
    """Every layer of a floor that the schedule places."""
    pour = poured.works[pours.pour_task].layer
    followed: dict[str, DrawnAges] = {}
    found = {}
    for layer, laid_s in (
        (pour, _pour_times(pours, poured, nights.pour_visit[poured.room])),
        *((coat.work.layer, _reached(coat, nights)) for coat in coats),
    ):
        if layer.kind not in followed:
            followed[layer.kind] = _drawn_ages(pours, layer, nights)
        found[layer] = _Laid(
            needs_s=pours.material(layer)[0].age_s,
            ages=followed[layer.kind],
            laid_s=laid_s,
            landed=poured.clocks if layer == pour else None,
        )
    return found


def _drawn_ages(pours: RoomPours, layer: Layer, nights: Nights) -> DrawnAges:
    clocks, curve = pours.material(layer)
    batch, energy = nights.material[layer.kind]
    return DrawnAges.of(
        curve,
        pours.conditions,
        fit=clocks.fit,
        spread_frac=clocks.spread_frac,
        batch=batch,
        energy=energy,
        nights=nights,
    )


def _reached(coat: PlacedCoat, nights: Nights) -> Array:
    """When each patch is coated, shape (nights, patches) [epoch s]."""
    visit = nights.coat_visit[coat.room, coat.coat]
    return visit.at_s(coat.start_s + coat.work.offset_s)


def _met(
    poured: PlacedPour, coat: PlacedCoat, laid: Mapping[Layer, _Laid], nights: Nights
) -> Flags:
    """Whether a layer finds the one below neither wet nor too old, and what leads up to it
    a floor that bears feet, night by night."""
    layers = [work.layer for work in poured.works]
    layer = coat.work.layer
    below = laid.get(layers[layers.index(layer) - 1])
    if below is None or layer.opens is None or layer.closes is None:
        # The layer below was laid before a plan made again: nothing is known of it here.
        return np.ones(nights.members, dtype=bool)
    age_s = below.aged_s(laid[layer].laid_s)
    met = (age_s >= below.needs_s[layer.opens]) & (age_s <= below.needs_s[layer.closes])
    visit, begins_s = nights.coat_visit[coat.room, coat.coat], coat.begins_s
    for lead in coat.work.leads:
        if lead.layer.opens is not None:
            at_s = np.broadcast_to(visit.at_s(np.array([begins_s])), age_s.shape)
            met &= below.aged_s(at_s) >= below.needs_s[lead.layer.opens]
        begins_s += lead.lasts_s
    return np.asarray(np.all(met, axis=1))


def _opens(job: Job, pours: RoomPours, last: _Laid) -> Flags:
    """Whether a room bears wheels and water when it must open, night by night."""
    due_s = job.due(pours.room.name).timestamp()
    needed_s = max(last.needs_s[name] for name in ("foot_traffic", "wheels", "wash_down"))
    last_s = last.laid_s[:, -1:]
    gained_s = last.ages.between(last_s, np.full_like(last_s, due_s))
    return np.asarray((gained_s >= needed_s)[:, 0])
