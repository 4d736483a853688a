"""How often the plan would hold, over nights drawn around the forecast and the cards.

Each bucket's three margins are read off a table over batch speed, slab and air, so that a
thousand nights cost no more than a few dozen; each coat's age is gathered along the slab's
own errors, hour by hour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.pour import RoomPours
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
        coats = sorted((c for c in schedule.coats if c.room == poured.room), key=_number)
        topcoat = _topcoat_ages(pours[poured.room], nights)
        for coat, met in _kept_coats(pours[poured.room], poured, coats, topcoat, nights):
            coat_frac[coat.room, coat.coat] = float(met.mean())
            coats_ok &= met
        opening_ok &= _opens(job, pours[poured.room], coats, topcoat, nights)
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


def _number(coat: PlacedCoat) -> int:
    return coat.coat


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
        nights.slurry_batch,
        nights.slurry_energy,
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


def _kept_coats(
    pours: RoomPours,
    poured: PlacedPour,
    coats: list[PlacedCoat],
    topcoat: DrawnAges,
    nights: Nights,
) -> list[tuple[PlacedCoat, Flags]]:
    """Whether each coat of a floor meets its window, night by night."""
    found: list[tuple[PlacedCoat, Flags]] = []
    for n, coat in enumerate(coats):
        reached_s = _reached(coat, nights)
        if coat.coat == 1:
            met = _first_met(pours, poured, coat, reached_s, nights)
        elif n == 0:
            # The coat below was laid before a plan made again: nothing is known of it here.
            met = np.ones(nights.members, dtype=bool)
        else:
            ages = pours.topcoat.age_s
            age_s = topcoat.between(_reached(coats[n - 1], nights), reached_s)
            opens, closes = ages["recoat_opens"], ages["recoat_closes"]
            met = np.all((age_s >= opens) & (age_s <= closes), axis=1)
        found.append((coat, met))
    return found


def _reached(coat: PlacedCoat, nights: Nights) -> Array:
    """When each patch is coated, shape (nights, buckets) [epoch s]."""
    visit = nights.coat_visit[coat.room, coat.coat]
    return visit.at_s(coat.start_s + coat.work.offset_s)


def _first_met(
    pours: RoomPours,
    poured: PlacedPour,
    coat: PlacedCoat,
    reached_s: Array,
    nights: Nights,
) -> Flags:
    """The floor bears feet when the vacuum comes, and is neither wet nor too old."""
    clocks = pours.clocks
    ages = DrawnAges.of(
        pours.slurry_curve,
        pours.conditions,
        fit=clocks.fit,
        spread_frac=clocks.spread_frac,
        batch=nights.slurry_batch,
        energy=nights.slurry_energy,
        nights=nights,
    )
    laid_s = _pour_times(pours, poured, nights.pour_visit[poured.room])
    pace = ages.pace_at(laid_s)
    film_s = np.broadcast_to(
        poured.clocks.film_age_s[0], (*laid_s.shape, poured.clocks.film_age_s.shape[-1])
    )

    def aged(at_s: Array) -> Array:
        landed_s = poured.clocks.pour_age_s[0] + film_age_after_s(at_s - laid_s, film_s)
        return np.asarray(landed_s * pace + ages.between(laid_s, at_s))

    age_s = aged(reached_s)
    visit = nights.coat_visit[coat.room, coat.coat]
    begins_s = np.broadcast_to(visit.at_s(np.array([coat.begins_s])), laid_s.shape)
    walked_s = aged(begins_s)
    return np.asarray(
        np.all(
            (walked_s >= clocks.age_s["foot_traffic"])
            & (age_s >= clocks.age_s["topcoat_opens"])
            & (age_s <= clocks.age_s["topcoat_closes"]),
            axis=1,
        )
    )


def _topcoat_ages(pours: RoomPours, nights: Nights) -> DrawnAges:
    return DrawnAges.of(
        pours.topcoat_curve,
        pours.conditions,
        fit=pours.topcoat.fit,
        spread_frac=pours.topcoat.spread_frac,
        batch=nights.topcoat_batch,
        energy=nights.topcoat_energy,
        nights=nights,
    )


def _opens(
    job: Job,
    pours: RoomPours,
    coats: list[PlacedCoat],
    topcoat: DrawnAges,
    nights: Nights,
) -> Flags:
    """Whether a room bears wheels and water when it must open, night by night."""
    if not coats:
        return np.ones(nights.members, dtype=bool)
    due_s = job.due(pours.room.name).timestamp()
    age_s = pours.topcoat.age_s
    needed_s = max(age_s["foot_traffic"], age_s["wheels"], age_s["wash_down"])
    last_s = _reached(coats[-1], nights)[:, -1:]
    gained_s = topcoat.between(last_s, np.full_like(last_s, due_s))
    return np.asarray((gained_s >= needed_s)[:, 0])
