"""How often the plan would hold, over nights drawn around the forecast and the cards.

Each bucket's three margins are read off a table over batch speed, slab and air, so that a
thousand nights cost no more than a few dozen; each coat's age is gathered along the slab's
own errors, hour by hour.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.crew import Crew
from cureplan.inputs.job.model import Job, Shift
from cureplan.planning.floor.crew import shared_crews
from cureplan.planning.floor.layers import Layer, Work
from cureplan.planning.floor.limits import limits_of
from cureplan.planning.floor.pour import BucketClocks, RoomPours
from cureplan.planning.odds.ages import DrawnAges, ages_on, kit_factor
from cureplan.planning.odds.buckets import UNNOTICED_S, kept_buckets
from cureplan.planning.odds.margins import MarginTables
from cureplan.planning.odds.nights import Draws, Nights, Visit, draw_nights, known_until
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour, crew_spans
from cureplan.science.kit import film_age_after_s

__all__ = ["MEMBERS", "Looked", "Odds", "assess", "known_until"]

MEMBERS = 1000

LONGEST_WAIT_S = 6 * 3600.0
"""A floor that bears nobody after this wait is taken to do so then: the night is lost."""
AROUND_S, MOST_AROUND = 3 * 3600.0, 24
HALVINGS = 14
NEAR_K = 1e-6
"""Farther inside its limits than this no night's sums can come out beyond them."""
NOT_OFF_K = np.zeros(1)

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
_Span = tuple[float, float]
"""First and last begin [epoch s]."""


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
    limits_frac: float
    """Slab, air and mix keep the cards' limits of temperature while work lasts."""
    all_frac: float
    """After what the plan holds ready: a crew waits, a pour is cut at a stop line."""
    cut_frac: float
    """The mixing stops for so long that a pour ends at a stop line: a cost, not a loss."""
    stop_lost_frac: float
    """A stop of the mixing where no line is loses a floor that would have held."""
    lost: Array
    """How many buckets, coats, openings and shift ends are lost, shape (nights,)."""
    room_lost: Mapping[str, Array]
    """Of these, the buckets and coats of each room."""
    begun_frac: float
    """What was begun before the odds were asked for holds: no plan does better."""
    as_planned_frac: float
    """All of it holds and nobody waits and nothing is cut."""
    issued_s: float
    looked: Looked
    """For another look at the same job."""


@dataclass(slots=True)
class Looked:
    """What several looks at one job's schedules have in common: runs, draws and ages."""

    tables: MarginTables = field(init=False, default_factory=MarginTables)
    draws: Draws = field(init=False, default_factory=Draws)
    _ages: dict[tuple[str, str], tuple[Array, Array, _Span, tuple[DrawnAges, DrawnAges]]] = (
        field(init=False, default_factory=dict)
    )

    def with_other_runs(self) -> Looked:
        """The same nights and ages, for pours by other hands or to let old runs go."""
        other = Looked()
        other.draws, other._ages = self.draws, self._ages
        return other

    def ages(
        self, pours: RoomPours, layer: Layer, nights: Nights, span: _Span
    ) -> tuple[DrawnAges, DrawnAges]:
        """How a material of a room, laid within a span, ages in every night: see `ages_on`."""
        key = (pours.room.name, layer.kind)
        drawn = nights.slab_k[key[0]], nights.energy[layer.kind]
        known = self._ages.get(key)
        if (
            known is None
            or known[0] is not drawn[0]
            or np.any(known[1] != drawn[1])
            or not known[2][0] <= span[0] <= span[1] <= known[2][1]
        ):
            if known is not None and len(self._ages) <= MOST_AROUND:
                # At another hour again: the next is mostly near. Of many it fills the memory.
                span = min(*span, *known[2]) - AROUND_S, max(*span, *known[2]) + AROUND_S
            self._ages[key] = known = (*drawn, span, ages_on(pours, layer, nights, span))
        return known[3]


def assess(
    job: Job,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    *,
    issued_s: float,
    members: int = MEMBERS,
    silent: Collection[str] = (),
    heavy_tails: bool = False,
    looked: Looked | None = None,
) -> Odds:
    """Draw nights and count in how many of them each limit is kept.

    A crew that finds a floor still wet, on its way or its own, waits, and the rest of its
    stay with it; what that costs shows in the windows, shifts and openings. Errors of the
    dew point are not drawn. What stands in `silent` counts as known exactly; `looked`
    keeps what was run and drawn for another call on the same job.
    """
    looked = looked or Looked()
    nights = draw_nights(
        job,
        pours,
        schedule,
        members=members,
        issued_s=issued_s,
        silent=silent,
        heavy_tails=heavy_tails,
        draws=looked.draws,
    )
    stays, no_wait, soon = _lived(job, pours, schedule, nights, looked)
    laid = {(stay.room, stay.layer): stay for stay in stays}
    everyone = np.ones(members, dtype=bool)
    buckets_ok, coats_ok, opening_ok = everyone.copy(), everyone.copy(), everyone.copy()
    cut, stop_lost, begun_ok = ~everyone, ~everyone, everyone.copy()
    room_lost: dict[str, Array] = {}
    bucket_frac: dict[str, Array] = {}
    room_frac: dict[str, float] = {}
    for poured in schedule.pours:
        visit = laid[poured.room, poured.own.layer].visit
        margins_s = looked.tables.of(pours[poured.room], poured)
        room = poured.seam.next_room if poured.seam is not None else None
        next_visit = next(
            (s.visit for s in stays if (s.room, s.layer.kind) == (room, "slurry")), None
        )
        pour = kept_buckets(
            pours[poured.room], poured, nights, visit, margins_s, next_visit=next_visit
        )
        kept = pour.kept
        cut |= pour.cut
        stop_lost |= pour.stop_lost
        begun_ok &= pour.begun_kept
        room_lost[poured.room] = np.sum(~kept, axis=1, dtype=float)
        bucket_frac[poured.room] = kept.mean(axis=0)
        room_frac[poured.room] = float(kept.all(axis=1).mean())
        buckets_ok &= kept.all(axis=1)
    coat_frac: dict[tuple[str, int], float] = {}
    primer_frac: dict[str, float] = {}
    for poured in schedule.pours:
        coats = sorted((c for c in schedule.coats if c.room == poured.room), key=_start)
        if poured.own.layer.opens is not None:
            met = _met(laid[poured.room, poured.own.layer], poured, laid, soon)
            primer_frac[poured.room] = float(met.mean())
            coats_ok &= met
            room_lost[poured.room] += ~met
        for coat in coats:
            met = _met(laid[coat.room, coat.work.layer], poured, laid, soon)
            coat_frac[coat.room, coat.coat] = float(met.mean())
            coats_ok &= met
            room_lost[poured.room] += ~met
            if coat.begins_s <= issued_s:
                begun_ok &= met
        if coats:
            opening_ok &= _opens(job, laid[poured.room, coats[-1].work.layer])
    shifts_ok = _shifts_kept(job, stays, nights)
    limits_ok = everyone.copy()
    for stay in stays:
        limits_ok &= _within_limits(pours[stay.room], stay, nights)
    all_ok = buckets_ok & coats_ok & opening_ok & shifts_ok & limits_ok
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
        stop_lost_frac=float(stop_lost.mean()),
        lost=sum(room_lost.values(), np.zeros(members)) + ~opening_ok + ~shifts_ok,
        room_lost=room_lost,
        begun_frac=float(begun_ok.mean()),
        as_planned_frac=float((all_ok & no_wait & ~cut).mean()),
        issued_s=issued_s,
        looked=looked,
        limits_frac=float(limits_ok.mean()),
    )


def _start(coat: PlacedCoat) -> float:
    return coat.start_s


@dataclass(frozen=True, kw_only=True)
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
    """Where no sun falls: what is waited for comes there last."""
    sun_ages: DrawnAges
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
    def has_sun(self) -> bool:
        """Whether a part of its floor ages faster."""
        return self.sun_ages is not self.ages

    def of(self, nights: Flags) -> _Stay:
        """The stay in some of the nights."""
        stopped_s = None if self.stopped_s is None else self.stopped_s[nights]
        ages = self.ages.of_nights(nights)
        some = replace(
            self,
            visit=self.visit.of(nights),
            ages=ages,
            sun_ages=self.sun_ages.of_nights(nights) if self.has_sun else ages,
            kit_factor=self.kit_factor[nights],
            stopped_s=stopped_s,
        )
        for name in ("laid_s", "_age_laid_s", "_pace_laid"):
            if name in self.__dict__:
                some.__dict__[name] = self.__dict__[name][nights]
        return some

    @cached_property
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
        slab_s = self.ages.age_s(at_s) - self._age_laid_s
        if self.landed is None:
            return np.asarray(self.kit_factor * slab_s)
        film_s = film_age_after_s(at_s - laid_s, self.landed.film_age_s[0])
        landed_s = self.landed.pour_age_s[0] + film_s
        aged_s = landed_s * self._pace_laid + slab_s
        return np.asarray(self.kit_factor * aged_s)

    @cached_property
    def _age_laid_s(self) -> Array:
        return self.ages.age_s(self.laid_s)

    @cached_property
    def _pace_laid(self) -> Array:
        return self.ages.pace_at(self.laid_s)

    def too_soon(self, below: _Stay, wait_s: Array | float = 0.0) -> Flags:
        """Where it would find the layer below too wet after a wait, shape (nights,)."""
        nights = self.visit.late_s.size
        if self.layer.opens is None or not nights:
            return np.zeros(nights, dtype=bool)
        wait_s = np.broadcast_to(wait_s, nights)[:, None]
        age_s = below.aged_s(self.laid_s + wait_s)
        soon = np.any(age_s < below.needs_s[self.layer.opens], axis=1)
        begins_s = self.begins_s
        for done, lasts_s in self.work.steps:
            if done.bears is not None:
                age_s = below.aged_s(self.visit.at_s(np.array([begins_s])) + wait_s)
                soon |= np.any(age_s < below.needs_s[done.bears], axis=1)
            begins_s += lasts_s
        return np.asarray(soon)

    def waits_for_s(self, below: _Stay, soon: Flags) -> Array:
        """How long its crew waits for the layer below, shape (nights,), for some hours."""
        wait_s = np.zeros(soon.shape)
        if soon.any():
            waits, under = self.of(soon), below.of(soon)
            low = wait_s[soon]
            wait_s[soon] = _least_s(
                low, low + LONGEST_WAIT_S, lambda at: ~waits.too_soon(under, at)
            )
        return wait_s

    def bears_s(self, from_s: Array) -> Array:
        """When the whole floor bears feet, shape (nights,), looked for within some hours."""
        at_s, soon = from_s.copy(), ~self.bears(from_s)
        if soon.any():
            low, floor = from_s[soon], self.of(soon)
            at_s[soon] = _least_s(low, low + LONGEST_WAIT_S, floor.bears)
        return at_s

    def bears(self, at_s: Array) -> Flags:
        """Whether the whole floor bears feet at instants, shape (nights,)."""
        bears = self.aged_s(at_s[:, None]) >= self.needs_s["foot_traffic"]
        return np.asarray(bears.all(axis=1))


def _least_s(low: Array, high: Array, holds: Callable[[Array], Flags]) -> Array:
    """The first instant between two at which something holds, by halving."""
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        there = holds(middle)
        low, high = np.where(there, low, middle), np.where(there, middle, high)
    return high


def _planned(
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    nights: Nights,
    job: Job,
    looked: Looked,
) -> list[_Stay]:
    """Every stay of a crew, in the order of the plan."""
    spans: dict[tuple[str, str], _Span] = {}
    placed_works: tuple[tuple[PlacedPour | PlacedCoat, Work], ...] = (
        *((poured, poured.own) for poured in schedule.pours),
        *((coat, coat.work) for coat in (*schedule.coats, *schedule.primers)),
    )
    for placed, work in placed_works:
        key = placed.room, work.layer.kind
        first_s, last_s = spans.get(key, (placed.begins_s, placed.end_s))
        spans[key] = min(first_s, placed.begins_s), max(last_s, placed.end_s)

    def stay(
        placed: PlacedPour | PlacedCoat,
        work: Work,
        patch_s: Array,
        visit: Visit,
        landed: BucketClocks | None = None,
    ) -> _Stay:
        room, layer = pours[placed.room], work.layer
        coating = layer.crew == "topcoat"
        shade, sun = looked.ages(room, layer, nights, spans[placed.room, layer.kind])
        return _Stay(
            room=placed.room,
            work=work,
            begins_s=placed.begins_s,
            ends_s=placed.end_s,
            patch_s=patch_s,
            visit=visit,
            shifts=job.crew.topcoat_shifts if coating else job.crew.pour_shifts,
            needs_s=room.material(layer)[0].age_s,
            ages=shade,
            sun_ages=sun,
            kit_factor=kit_factor(room, layer, nights, float(patch_s[0])),
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
    job: Job,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    nights: Nights,
    looked: Looked,
) -> tuple[list[_Stay], Flags, dict[tuple[str, Layer], Flags]]:
    """Every stay with what its crew waits for, the nights in which nobody waits, and those
    in which the layer below is still too wet."""
    lived: list[_Stay] = []
    soon: dict[tuple[str, Layer], Flags] = {}
    layers = {poured.room: [work.layer for work in poured.works] for poured in schedule.pours}
    laid: dict[tuple[str, Layer], _Stay] = {}
    waited_s: dict[int, Array] = {}
    no_wait = np.ones(nights.members, dtype=bool)
    planned = _planned(pours, schedule, nights, job, looked)
    for stay, ahead_s in zip(planned, _ahead_s(job, pours, planned), strict=True):
        before_s = waited_s.get(id(stay.visit), np.zeros(nights.members))
        comes_s = stay.visit.at_s(np.array([stay.begins_s]))[:, 0] + before_s
        may_s = comes_s
        for floor in job.crossed_from(stay.room):
            lain = [other for other in lived if other.room == floor]
            if lain:
                may_s = np.maximum(may_s, lain[-1].bears_s(comes_s - ahead_s) + ahead_s)
        # Who was seen to begin has waited; what was waited for stands in the hour.
        wait_s = np.where(stay.begins_s > nights.known_s, may_s - comes_s, 0.0)
        come = _later(stay, before_s + wait_s)
        below = _below(stay, layers[stay.room], laid)
        if below is not None:
            too_soon = come.too_soon(below)
            if stay.begins_s > nights.known_s:
                for_own_s = come.waits_for_s(below, too_soon)
                come, wait_s = _later(come, for_own_s), wait_s + for_own_s
                # Who need not wait is not too soon.
                too_soon[too_soon] = come.of(too_soon).too_soon(below.of(too_soon))
            soon[stay.room, stay.layer] = too_soon
        no_wait &= wait_s < UNNOTICED_S
        held_s = 0.0 if stay.stopped_s is None else stay.stopped_s[:, -1]
        waited_s[id(stay.visit)] = before_s + wait_s + held_s
        lived.append(come)
        laid[stay.room, stay.layer] = come
    return lived, no_wait, soon


def _ahead_s(
    job: Job, pours: Mapping[str, RoomPours], stays: Sequence[_Stay]
) -> Iterator[float]:
    """How long before each stay its tools are carried in over its ways; what is begun has
    them in."""
    came: set[tuple[str, float]] = set()
    for stay in stays:
        begins_s = [
            span.begins_s
            for span in crew_spans(job, stay.shifts)
            if span.begins_s <= stay.begins_s < span.ends_s
        ]
        key = stay.layer.crew, max(begins_s, default=-np.inf)
        if stay.layer.stage in pours[stay.room].settled.begun_s:
            yield 0.0
        else:
            yield job.crew.changeover_s if key in came else job.crew.setup_s
        came.add(key)


def _later(stay: _Stay, by_s: Array) -> _Stay:
    if not by_s.any():
        return stay
    return replace(stay, visit=replace(stay.visit, late_s=stay.visit.late_s + by_s))


def _below(
    stay: _Stay, layers: Sequence[Layer], laid: Mapping[tuple[str, Layer], _Stay]
) -> _Stay | None:
    """The layer a stay works on; None where it was laid before a plan made again."""
    place = layers.index(stay.layer)
    return laid.get((stay.room, layers[place - 1])) if place else None


def _met(
    stay: _Stay,
    poured: PlacedPour,
    laid: Mapping[tuple[str, Layer], _Stay],
    soon: Mapping[tuple[str, Layer], Flags],
) -> Flags:
    """Whether a layer finds the one below neither wet nor too old, and what leads up to it
    a floor that bears feet, night by night."""
    below = _below(stay, [work.layer for work in poured.works], laid)
    if below is None or stay.layer.closes is None:
        return np.ones(stay.visit.late_s.size, dtype=bool)
    soonest = replace(below, ages=below.sun_ages) if below.has_sun else below
    age_s = soonest.aged_s(stay.laid_s)
    young = np.all(age_s <= below.needs_s[stay.layer.closes], axis=1)
    return np.asarray(young & ~soon[stay.room, stay.layer])


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
    for crews, longest_s in shared_crews(job.crew).items():
        if longest_s is not None:
            of_them = [stay for stay in stays if stay.layer.crew in crews]
            kept &= _not_too_long(of_them, longest_s, job.crew, nights.members)
    return kept


def _not_too_long(stays: Sequence[_Stay], longest_s: float, crew: Crew, members: int) -> Flags:
    """Whether people who were called as planned go home in time."""
    kept = np.ones(members, dtype=bool)
    called_s = over_s = -np.inf
    for stay in sorted(stays, key=lambda stay: stay.begins_s):
        if stay.begins_s - over_s > crew.again_s:
            called_s = stay.begins_s - crew.setup_s
        over_s = max(over_s, stay.ends_s)
        kept &= stay.done_s <= called_s + longest_s
    return kept


def _within_limits(pours: RoomPours, stay: _Stay, nights: Nights) -> Flags:
    """Whether every patch is laid on a slab and in air that its card allows.

    A mix errs by the little its kits do, and is left at what is expected.
    """
    limits, here = limits_of(pours.job, stay.layer), pours.conditions
    at_s = np.minimum(stay.laid_s, here.last_s)
    kept = np.ones(at_s.shape, dtype=bool)
    air_c = here.air_at(at_s)
    here_k = nights.patches_k(stay.room, at_s.shape[1])
    lit_c = here.slab_at(at_s)
    shade_c = lit_c if here.shade is here else here.shade.slab_at(at_s)
    for coolest_c, warmest_c, errors_k, off_k, (low_c, high_c) in (
        (shade_c, lit_c, nights.slab_k[stay.room], here_k, limits.slab_c),
        (air_c, air_c, nights.air_k[stay.room], NOT_OFF_K, limits.air_c),
    ):
        least_k, most_k = nights.error_range_k(errors_k, at_s)
        if (
            coolest_c.min() + least_k + off_k.min() >= low_c + NEAR_K
            and warmest_c.max() + most_k + off_k.max() <= high_c - NEAR_K
        ):
            continue
        # A room its heaters or plant hold errs as any other: on the careful side.
        error_k = nights.error_k(errors_k, at_s) + off_k
        kept &= (coolest_c + error_k >= low_c) & (warmest_c + error_k <= high_c)
    return np.asarray(kept.all(axis=1))


def _opens(job: Job, last: _Stay) -> Flags:
    """Whether a room bears what it must when it is to open, night by night."""
    due_s = job.due(last.room).timestamp()
    needed_s = max(last.needs_s[name] for name in job.room(last.room).open_needs)
    last_s = last.laid_s[:, -1:]
    gained_s = last.kit_factor[:, -1:] * last.ages.between(last_s, np.full_like(last_s, due_s))
    return np.asarray((gained_s >= needed_s)[:, 0])
