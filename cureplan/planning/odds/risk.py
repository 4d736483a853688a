"""How often the plan would hold, over nights drawn around the forecast and the cards.

Each bucket's three margins are read off a table over batch speed, slab and air, so that a
thousand nights cost no more than a few dozen; each coat's age is gathered along the slab's
own errors, hour by hour.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Job, Shift
from cureplan.planning.floor.layers import Layer, Work
from cureplan.planning.floor.layout import met_by
from cureplan.planning.floor.pour import BINDINGS, BucketClocks, RoomPours
from cureplan.planning.odds.nights import DrawnAges, Nights, Visit, draw_nights
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour, crew_spans
from cureplan.science.kit import film_age_after_s, run_bucket

__all__ = ["MEMBERS", "MarginTables", "Odds", "assess", "known_until"]

MEMBERS = 1000
DECIDED_S = 12 * 3600.0
"""How long before access a job of the past counts as decided: the morning before."""

_LN_SPEED = np.array([-1.8, -1.25, -0.9, *np.linspace(-0.75, 0.75, 11)])
"""Faster still is read at its end: there a bucket is as good as lost, and hotter than the
model goes."""
_LN_STEP = 0.05
_ENERGY_STEP_J_MOL = 1000.0
_SLAB_K = np.linspace(-4.5, 4.5, 5)
_ICED_K = np.array([0.0, 2.0, 5.0, 10.0, 20.0, 30.0])
_ICED_LN = np.linspace(0.0, 0.75, 6)
_AIR_K = np.linspace(-5.0, 5.0, 3)
_NEVER_S = 1e7
"""Stands for a margin that nothing asks for."""
LONGEST_WAIT_S = 6 * 3600.0
"""A floor that bears nobody after this wait is taken to do so then: the night is lost."""
HALVINGS = 14
UNNOTICED_S = 60.0
"""A wait that nobody would note down: invented."""

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
    primer_frac: Mapping[str, float]
    """In how many nights the slurry finds the primer neither wet nor too old."""
    buckets_frac: float
    coats_frac: float
    opening_frac: float
    no_wait_frac: float
    """No crew stands before a floor on its way that does not bear feet yet."""
    shifts_frac: float
    """Every crew is done before its shift ends."""
    all_frac: float
    """After what the plan holds ready: a crew waits, a pour is cut at a stop line."""
    cut_frac: float
    """The mixing stops for so long that a pour is cut at a stop line: a cost, not a loss."""
    as_planned_frac: float
    """All of it holds and nobody waits and nothing is cut."""
    issued_s: float


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
    silent: Collection[str] = (),
    tables: MarginTables | None = None,
) -> Odds:
    """Draw nights and count in how many of them each limit is kept.

    A crew that finds a floor still wet, on its way or its own, waits, and the rest of its
    stay with it; what that costs shows in the windows, shifts and openings. Errors of the
    dew point are not drawn. What stands in `silent` counts as known exactly; `tables`
    keeps what was run for another call on the same schedule.
    """
    nights = draw_nights(
        job, pours, schedule, members=members, issued_s=issued_s, silent=silent
    )
    tables = MarginTables() if tables is None else tables
    stays, no_wait = _lived(job, pours, schedule, nights)
    laid = {(stay.room, stay.layer): stay for stay in stays}
    everyone = np.ones(members, dtype=bool)
    buckets_ok, coats_ok, opening_ok = everyone.copy(), everyone.copy(), everyone.copy()
    cut = ~everyone
    bucket_frac: dict[str, Array] = {}
    room_frac: dict[str, float] = {}
    for poured in schedule.pours:
        visit = laid[poured.room, poured.own.layer].visit
        margins_s = tables.of(pours[poured.room], poured)
        kept, ended = _kept_buckets(pours[poured.room], poured, nights, visit, margins_s)
        cut |= ended
        bucket_frac[poured.room] = kept.mean(axis=0)
        room_frac[poured.room] = float(kept.all(axis=1).mean())
        buckets_ok &= kept.all(axis=1)
    coat_frac: dict[tuple[str, int], float] = {}
    primer_frac: dict[str, float] = {}
    for poured in schedule.pours:
        coats = sorted((c for c in schedule.coats if c.room == poured.room), key=_start)
        if poured.own.layer.opens is not None:
            met = _met(laid[poured.room, poured.own.layer], poured, laid, nights)
            primer_frac[poured.room] = float(met.mean())
            coats_ok &= met
        for coat in coats:
            met = _met(laid[coat.room, coat.work.layer], poured, laid, nights)
            coat_frac[coat.room, coat.coat] = float(met.mean())
            coats_ok &= met
        if coats:
            opening_ok &= _opens(job, laid[poured.room, coats[-1].work.layer])
    shifts_ok = _shifts_kept(job, stays, nights)
    all_ok = buckets_ok & coats_ok & opening_ok & shifts_ok
    return Odds(
        members=members,
        seed=job.seed,
        bucket_frac=bucket_frac,
        room_frac=room_frac,
        coat_frac=coat_frac,
        primer_frac=primer_frac,
        buckets_frac=float(buckets_ok.mean()),
        coats_frac=float(coats_ok.mean()),
        opening_frac=float(opening_ok.mean()),
        no_wait_frac=float(no_wait.mean()),
        shifts_frac=float(shifts_ok.mean()),
        all_frac=float(all_ok.mean()),
        cut_frac=float(cut.mean()),
        as_planned_frac=float((all_ok & no_wait & ~cut).mean()),
        issued_s=issued_s,
    )


def _start(coat: PlacedCoat) -> float:
    return coat.start_s


def _kept_buckets(
    pours: RoomPours, poured: PlacedPour, nights: Nights, visit: Visit, table: _Margins
) -> tuple[Flags, Flags]:
    """Which buckets keep all three clocks, shape (nights, buckets), and in which nights a
    pour had to be cut for that."""
    stopped_s = nights.stop_s[poured.room].cumsum(axis=1)
    planned_s = poured.start_s + pours.plan(poured.option).times.pour_s
    at_s = np.minimum(visit.at_s(planned_s) + stopped_s, pours.conditions.last_s)
    # A late crew finds the slab and the air of a later hour.
    slab_k = pours.conditions.slab_at(at_s) - pours.conditions.slab_at(planned_s)
    air_k = pours.conditions.air_at(at_s) - pours.conditions.air_at(planned_s)
    margins_s = table.at(
        nights.kit_ln[poured.room, poured.own.layer.stage],
        energy=nights.energy["slurry"],
        iced_k=nights.iced_k,
        slab_k=slab_k + nights.error_k(nights.slab_k[poured.room], at_s),
        air_k=air_k + nights.error_k(nights.air_k[poured.room], at_s),
    )
    expected = poured.clocks
    due_s = expected.ends_s[:, 0] - np.where(
        np.isfinite(expected.margins_s[:, 0]), expected.margins_s[:, 0], np.nan
    )
    dragged_s = np.nan_to_num(due_s - planned_s)[:, None] * visit.slow_frac[:, None]
    without = margins_s - dragged_s >= 0.0
    # The open edge, and the strip of grains along it, wait for the bucket that meets them.
    met = met_by(pours.plan(poured.option).layout)
    later_s = np.where(met < 0, 0.0, stopped_s[:, met] - stopped_s)
    with_stop = without.copy()
    for clock in (BINDINGS.index("wet_edge"), BINDINGS.index("broadcast_closes")):
        with_stop[clock] = margins_s[clock] - dragged_s[clock] - later_s >= 0.0
    kept, unstopped = with_stop.all(axis=0), without.all(axis=0)
    if pours.job.policy.cut_at == "row":
        return np.asarray(unstopped), np.any(unstopped & ~kept, axis=1)
    return np.asarray(kept), np.zeros(nights.members, dtype=bool)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Margins:
    """Margins of one pour's buckets, tabulated."""

    margins_s: Array
    """Shape (3, speeds, slabs, airs, buckets)."""
    energy_ln: Array
    """What an energy one SD higher does to each clock, as ln of speed, at the temperatures
    the mix really goes through; shape (3, buckets)."""
    iced_ln: Array
    """The same of liquids warmer by `_ICED_K`; shape (3, warmths, buckets)."""

    def at(
        self, ln_speed: Array, *, energy: Array, iced_k: Array, slab_k: Array, air_k: Array
    ) -> Array:
        """Margins of the three clocks, shape (3, nights, buckets)."""
        from scipy.ndimage import map_coordinates

        buckets = np.broadcast_to(np.arange(ln_speed.shape[1], dtype=float), ln_speed.shape)
        conditions = [_place(slab_k, _SLAB_K), _place(air_k, _AIR_K), buckets]
        # Draws beyond the table (5 SD) are read at its edge.
        return np.stack(
            [
                map_coordinates(
                    clock,
                    [
                        _place(
                            ln_speed + energy[:, None] * by_energy + _between(iced_k, by_ice),
                            _LN_SPEED,
                        ),
                        *conditions,
                    ],
                    order=1,
                    mode="nearest",
                )
                for clock, by_energy, by_ice in zip(
                    self.margins_s, self.energy_ln, self.iced_ln, strict=True
                )
            ]
        )


def _between(iced_k: Array, warmths: Array) -> Array:
    """Rows of a table over `_ICED_K`, one for each night, shape (nights, buckets)."""
    where = np.minimum(_place(iced_k, _ICED_K), _ICED_K.size - 1.001)
    low = where.astype(np.int64)
    part = (where - low)[:, None]
    return np.asarray((1.0 - part) * warmths[low] + part * warmths[low + 1])


def _place(values: Array, axis: Array) -> Array:
    """Where values lie on an axis, counted in its nodes."""
    return np.asarray(np.interp(values, axis, np.arange(axis.size, dtype=np.float64)))


@dataclass(slots=True)
class MarginTables:
    """Margins of pours already run, for several looks at one schedule."""

    _known: dict[str, _Margins] = field(init=False, default_factory=dict)

    def of(self, pours: RoomPours, poured: PlacedPour) -> _Margins:
        """The table of a pour."""
        if poured.room not in self._known:
            self._known[poured.room] = _tabulated(pours, poured)
        return self._known[poured.room]


def _tabulated(pours: RoomPours, poured: PlacedPour) -> _Margins:
    grid = np.meshgrid(_LN_SPEED, _SLAB_K, _AIR_K, indexing="ij")
    run = pours.run(
        poured.option,
        np.full(grid[0].size, poured.start_s),
        speed=np.exp(grid[0].ravel()),
        slab_shift_k=grid[1].ravel(),
        air_shift_k=grid[2].ravel(),
    )
    table = np.where(np.isfinite(run.margins_s), run.margins_s, _NEVER_S)

    def ends_s(
        *, speed: float = 1.0, energy_j_mol: float = 0.0, liquids_k: float = 0.0
    ) -> Array:
        shifted = pours.run(
            poured.option,
            poured.start_s,
            speed=speed,
            energy_shift_j_mol=energy_j_mol,
            liquids_shift_k=liquids_k,
        )
        return shifted.ends_s[:, 0]

    base_s = ends_s()
    per_ln_s = (ends_s(speed=float(np.exp(_LN_STEP))) - base_s) / _LN_STEP
    per_energy_s = (ends_s(energy_j_mol=_ENERGY_STEP_J_MOL) - base_s) / _ENERGY_STEP_J_MOL
    iced_ln = np.zeros((len(BINDINGS), _ICED_K.size, base_s.shape[1]))
    if poured.option.chilled:
        warm_s = np.stack([ends_s(liquids_k=float(k)) for k in _ICED_K], axis=1)
        paces_s = np.stack([ends_s(speed=float(np.exp(x))) for x in _ICED_LN], axis=1)
        for clock, bucket in np.ndindex(base_s.shape):
            # Ends come sooner with pace: both are turned for a rising axis.
            iced_ln[clock, :, bucket] = np.interp(
                -warm_s[clock, :, bucket], -paces_s[clock, :, bucket], _ICED_LN
            )
    by_energy = per_energy_s / per_ln_s - _energy_at_reference(pours)[:, None]
    return _Margins(
        margins_s=table.reshape(len(BINDINGS), *grid[0].shape, -1),
        energy_ln=by_energy * pours.clocks.fit.energy_sd_j_mol,
        iced_ln=iced_ln,
    )


def _energy_at_reference(pours: RoomPours) -> Array:
    """What 1 J/mol does to the clocks as the card's points were timed [ln], shape (3,).

    Nothing is in doubt there but the points themselves, so it is taken off elsewhere.
    """
    clocks = pours.clocks

    def ends_s(*, speed: float = 1.0, energy_j_mol: float = 0.0) -> Array:
        kit = clocks.kit
        energy_j_mol += kit.activation_energy_j_mol
        path = run_bucket(
            kit.reference_c,
            kit.reference_c,
            kit.reference_c,
            kit.reference_c,
            pours.job.cards.slurry.reference_haul_s,
            kit=replace(kit, activation_energy_j_mol=energy_j_mol),
            speed=speed,
            film_m=clocks.film_m,
            slab_effusivity=clocks.slab_effusivity,
        )
        return np.array([path.when_s(clocks.age_s[name]).item() for name in BINDINGS])

    base_s = ends_s()
    per_ln_s = (ends_s(speed=float(np.exp(_LN_STEP))) - base_s) / _LN_STEP
    per_energy_s = (ends_s(energy_j_mol=_ENERGY_STEP_J_MOL) - base_s) / _ENERGY_STEP_J_MOL
    return np.asarray(per_energy_s / per_ln_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stay:
    """One crew's work on a floor, and the layer it leaves there, night by night."""

    room: str
    work: Work
    begins_s: float
    """As planned, what leads up to the layer counted in [epoch s]."""
    ends_s: float
    patch_s: Array
    """When each patch is laid, as planned, shape (patches,) [epoch s]."""
    visit: Visit
    shifts: Sequence[Shift]
    needs_s: Mapping[str, float]
    """Age of each milestone of the material."""
    ages: DrawnAges
    kit_factor: Array
    """How many times faster than expected each patch's kit ages, shape (nights, patches)."""
    landed: BucketClocks | None = None
    """Of a slurry: what its buckets had aged by then, and what its film goes on to."""
    stopped_s: Array | None = None
    """Of a slurry: how long the mixing had stopped by each bucket, shape (nights, patches)."""

    @property
    def layer(self) -> Layer:
        """What is laid."""
        return self.work.layer

    @property
    def laid_s(self) -> Array:
        """When each patch is laid, shape (nights, patches) [epoch s]."""
        laid_s = self.visit.at_s(self.patch_s)
        return laid_s if self.stopped_s is None else laid_s + self.stopped_s

    @property
    def done_s(self) -> Array:
        """When the work is done, shape (nights,) [epoch s]."""
        done_s = self.visit.at_s(np.array([self.ends_s]))[:, 0]
        return done_s if self.stopped_s is None else done_s + self.stopped_s[:, -1]

    def aged_s(self, at_s: Array) -> Array:
        """Age of each patch at instants of shape (nights, patches) or (nights, 1)."""
        laid_s = self.laid_s
        at_s = np.broadcast_to(at_s, laid_s.shape)
        slab_s = self.ages.between(laid_s, at_s)
        if self.landed is None:
            return np.asarray(self.kit_factor * slab_s)
        nodes = self.landed.film_age_s
        film_s = np.broadcast_to(nodes[0], (*laid_s.shape, nodes.shape[-1]))
        landed_s = self.landed.pour_age_s[0] + film_age_after_s(at_s - laid_s, film_s)
        aged_s = landed_s * self.ages.pace_at(laid_s) + slab_s
        return np.asarray(self.kit_factor * aged_s)

    def too_soon(self, below: _Stay, wait_s: Array) -> Flags:
        """Where it would find the layer below too wet after a wait, shape (nights,)."""
        if self.layer.opens is None:
            return np.zeros(wait_s.shape, dtype=bool)
        wait_s = wait_s[:, None]
        age_s = below.aged_s(self.laid_s + wait_s)
        soon = np.any(age_s < below.needs_s[self.layer.opens], axis=1)
        begins_s = self.begins_s
        for lead in self.work.leads:
            if lead.layer.opens is not None:
                age_s = below.aged_s(self.visit.at_s(np.array([begins_s])) + wait_s)
                soon |= np.any(age_s < below.needs_s[lead.layer.opens], axis=1)
            begins_s += lead.lasts_s
        return np.asarray(soon)

    def waits_for_s(self, below: _Stay) -> Array:
        """How long its crew waits for the layer below, shape (nights,), for some hours."""
        low = np.zeros(self.visit.late_s.shape)
        soon = self.too_soon(below, low)
        if not soon.any():
            return low
        high = np.where(soon, LONGEST_WAIT_S, 0.0)
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            early = self.too_soon(below, middle)
            low, high = np.where(early, middle, low), np.where(early, high, middle)
        return high

    def bears_s(self, from_s: Array) -> Array:
        """When the whole floor bears feet, shape (nights,), looked for within some hours."""
        low, high = from_s.copy(), from_s + LONGEST_WAIT_S
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            bears = np.all(self.aged_s(middle[:, None]) >= self.needs_s["foot_traffic"], axis=1)
            low, high = np.where(bears, low, middle), np.where(bears, middle, high)
        return high


def _planned(
    pours: Mapping[str, RoomPours], schedule: Schedule, nights: Nights, job: Job
) -> list[_Stay]:
    """Every stay of a crew, in the order of the plan."""
    followed: dict[tuple[str, str], DrawnAges] = {}

    def stay(
        placed: PlacedPour | PlacedCoat,
        work: Work,
        patch_s: Array,
        visit: Visit,
        landed: BucketClocks | None = None,
    ) -> _Stay:
        room, layer = pours[placed.room], work.layer
        if (placed.room, layer.kind) not in followed:
            followed[placed.room, layer.kind] = _drawn_ages(room, layer, nights)
        coating = layer.crew == "topcoat"
        return _Stay(
            room=placed.room,
            work=work,
            begins_s=placed.begins_s if isinstance(placed, PlacedCoat) else placed.start_s,
            ends_s=placed.end_s,
            patch_s=patch_s,
            visit=visit,
            shifts=job.crew.topcoat_shifts if coating else job.crew.pour_shifts,
            needs_s=room.material(layer)[0].age_s,
            ages=followed[placed.room, layer.kind],
            kit_factor=np.exp(nights.kit_ln[placed.room, layer.stage]),
            landed=landed,
            stopped_s=(
                nights.stop_s[placed.room].cumsum(axis=1) if layer.kind == "slurry" else None
            ),
        )

    stays = [
        stay(
            poured,
            poured.own,
            poured.start_s + pours[poured.room].plan(poured.option).times.pour_s,
            nights.pour_visit[poured.room],
            poured.clocks,
        )
        for poured in schedule.pours
    ]
    stays += [
        stay(
            coat,
            coat.work,
            coat.start_s + coat.work.offset_s,
            nights.coat_visit[coat.room, coat.coat],
        )
        for coat in schedule.coats
    ]
    stays += [
        stay(
            primer,
            primer.work,
            primer.start_s + primer.work.offset_s,
            nights.primer_visit[primer.room],
        )
        for primer in schedule.primers
    ]
    return sorted(stays, key=lambda stay: stay.begins_s)


def _lived(
    job: Job, pours: Mapping[str, RoomPours], schedule: Schedule, nights: Nights
) -> tuple[list[_Stay], Flags]:
    """Every stay with what its crew waits for, and the nights in which nobody waits."""
    lived: list[_Stay] = []
    layers = {poured.room: [work.layer for work in poured.works] for poured in schedule.pours}
    laid: dict[tuple[str, Layer], _Stay] = {}
    waited_s: dict[int, Array] = {}
    no_wait = np.ones(nights.members, dtype=bool)
    for stay in _planned(pours, schedule, nights, job):
        before_s = waited_s.get(id(stay.visit), np.zeros(nights.members))
        comes_s = stay.visit.at_s(np.array([stay.begins_s]))[:, 0] + before_s
        may_s = comes_s
        for floor in job.crossed_from(stay.room):
            lain = [other for other in lived if other.room == floor]
            if lain:
                may_s = np.maximum(may_s, _borne_s(lain[-1], comes_s))
        wait_s = may_s - comes_s
        come = _later(stay, before_s + wait_s)
        below = _below(stay, layers[stay.room], laid)
        if below is not None:
            for_own_s = come.waits_for_s(below)
            come, wait_s = _later(come, for_own_s), wait_s + for_own_s
        no_wait &= wait_s < UNNOTICED_S
        held_s = 0.0 if stay.stopped_s is None else stay.stopped_s[:, -1]
        waited_s[id(stay.visit)] = before_s + wait_s + held_s
        lived.append(come)
        laid[stay.room, stay.layer] = come
    return lived, no_wait


def _later(stay: _Stay, by_s: Array) -> _Stay:
    return replace(stay, visit=replace(stay.visit, late_s=stay.visit.late_s + by_s))


def _below(
    stay: _Stay, layers: Sequence[Layer], laid: Mapping[tuple[str, Layer], _Stay]
) -> _Stay | None:
    """The layer a stay works on; None where it was laid before a plan made again."""
    place = layers.index(stay.layer)
    return laid.get((stay.room, layers[place - 1])) if place else None


def _borne_s(below: _Stay, comes_s: Array) -> Array:
    """When a crew that comes to a floor may set foot on it, shape (nights,)."""
    bears = np.all(below.aged_s(comes_s[:, None]) >= below.needs_s["foot_traffic"], axis=1)
    return comes_s if bears.all() else np.where(bears, comes_s, below.bears_s(comes_s))


def _drawn_ages(pours: RoomPours, layer: Layer, nights: Nights) -> DrawnAges:
    clocks, curve = pours.material(layer)
    return DrawnAges.of(
        curve,
        pours.conditions,
        fit=clocks.fit,
        energy=nights.energy[layer.kind],
        nights=nights,
    )


def _met(
    stay: _Stay,
    poured: PlacedPour,
    laid: Mapping[tuple[str, Layer], _Stay],
    nights: Nights,
) -> Flags:
    """Whether a layer finds the one below neither wet nor too old, and what leads up to it
    a floor that bears feet, night by night."""
    below = _below(stay, [work.layer for work in poured.works], laid)
    if below is None or stay.layer.closes is None:
        return np.ones(nights.members, dtype=bool)
    age_s = below.aged_s(stay.laid_s)
    young = np.all(age_s <= below.needs_s[stay.layer.closes], axis=1)
    return np.asarray(young & ~stay.too_soon(below, np.zeros(nights.members)))


def _shifts_kept(job: Job, stays: Sequence[_Stay], nights: Nights) -> Flags:
    """Whether every crew is done before its shift ends, night by night."""
    kept = np.ones(nights.members, dtype=bool)
    for stay in stays:
        ends = [
            span.ends_s
            for span in crew_spans(job, stay.shifts)
            if span.begins_s <= stay.begins_s < span.ends_s
        ]
        if ends:
            kept &= stay.done_s <= max(ends)
    return kept


def _opens(job: Job, last: _Stay) -> Flags:
    """Whether a room bears wheels and water when it must open, night by night."""
    due_s = job.due(last.room).timestamp()
    needed_s = max(last.needs_s[name] for name in ("foot_traffic", "wheels", "wash_down"))
    last_s = last.laid_s[:, -1:]
    gained_s = last.kit_factor[:, -1:] * last.ages.between(last_s, np.full_like(last_s, due_s))
    return np.asarray((gained_s >= needed_s)[:, 0])
