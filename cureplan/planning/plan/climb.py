"""The schedule near some that holds most often, judged on nights of its own.

Nights differ by chance: what is the best of many on some thousand of them is mostly lucky
there. So near schedules are looked at on other nights than a plan's chance is stated by,
and what holds more often on those must do so on others again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import Any

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.pour import PourOption, RoomPours
from cureplan.planning.odds.risk import Looked, Odds, assess
from cureplan.planning.schedule.construct import MANY_ROOMS
from cureplan.planning.schedule.floor_model import EVEN_ODDS
from cureplan.planning.schedule.near import Coat, Near, Way
from cureplan.planning.schedule.outcome import Schedule, Stop
from cureplan.planning.schedule.placing import PlacedPour

__all__ = ["ODDS_WORK", "Judged", "Nights", "climb", "starts_of"]

ODDS_WORK, LOOK_WORK = 0.03, 0.015
"""What the odds of a room cost, in the solver's units of about a second, and where most of
its runs are known; measured."""
SEEDS = (1, 2)
"""Beyond a job's own: of the nights looked at, and of those that must agree."""
STEPS_S = (1800.0, 600.0)
"""By how much evenings are moved, as long as that gains: then by less."""
COAT_STEPS_S = (1800.0, 7200.0, -1200.0)
"""By how much single coats are moved."""
MOST_WORST, MOST_SWAPPED = 3, 2
"""Floors that are poured in other ways and moved by themselves, and of these and of coats
those that change places: those that cost most."""
LEAST_FRAC = 0.003
"""What is gained by less is not taken: it may open hours later."""
UNLUCKY_FRAC = 0.01
"""By how much what is better may look worse on a thousand nights."""
SURE_FRAC = 0.01
"""By how much more often than asked a schedule holds that is not bettered."""
LATER_FRAC = 0.01
"""By how much more often a shift ends too soon where that is what another way costs."""
NEXT_TO_NONE = 0.01
"""A floor or coat lost so seldom is left alone."""


def starts_of(schedule: Schedule) -> object:
    """Tells schedules apart."""
    return (
        tuple((pour.room, pour.start_s, pour.option) for pour in schedule.pours),
        tuple((coat.room, coat.coat, coat.begins_s) for coat in schedule.coats),
        tuple((primer.room, primer.begins_s) for primer in schedule.primers),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A schedule and how often it holds on the nights it is looked at, and on all."""

    schedule: Schedule
    odds: Odds
    """On the first nights."""
    frac: float
    weight: int
    """How many such nights as a chance is stated by these are: none where they are those."""

    def worst_rooms(self) -> list[str]:
        """Rooms whose buckets are lost most often, those first."""
        return _worst(self.odds.room_frac)

    def worst_coats(self) -> list[Coat]:
        """The same of coats."""
        return _worst(self.odds.coat_frac)


def _worst(fracs: Mapping[Any, float]) -> list[Any]:
    lost = [name for name, frac in fracs.items() if 1.0 - frac > NEXT_TO_NONE]
    return sorted(lost, key=lambda name: fracs[name])


@dataclass(slots=True)
class Nights:
    """The nights schedules of one job are looked at on."""

    job: Job
    pours: Mapping[str, RoomPours]
    issued_s: float
    looked: Looked
    """Of the nights that chances are stated by: of many rooms no others are drawn."""
    worked: float = 0.0
    _draws: list[tuple[Job, Looked]] = field(init=False)
    _known: dict[object, list[Odds]] = field(init=False, default_factory=dict)
    _floors: dict[object, float] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        if len(self.job.rooms) >= MANY_ROOMS:
            self._draws = [(self.job, self.looked)]
            return
        self._draws = []
        for more in SEEDS:
            other = Looked()
            other.tables = self.looked.tables
            self._draws.append((replace(self.job, seed=self.job.seed + more), other))

    def judged(self, schedule: Schedule) -> Judged:
        """How often a schedule holds on all nights."""
        known = self._odds(schedule, len(self._draws))
        frac = sum(odds.all_frac for odds in known) / len(known)
        weight = len(known) if len(known) > 1 else 0
        return Judged(schedule=schedule, odds=known[0], frac=frac, weight=weight)

    def beyond(self, schedule: Schedule, other: Judged) -> Judged | None:
        """The same, where it holds more often than another on all nights; all are not asked
        where it falls far behind on the first."""
        if self.first_frac(schedule) <= other.odds.all_frac - UNLUCKY_FRAC:
            return None
        found = self.judged(schedule)
        return found if found.frac > other.frac else None

    def first(self, schedule: Schedule) -> Odds:
        """How a schedule holds on the first nights."""
        return self._odds(schedule, 1)[0]

    def first_frac(self, schedule: Schedule) -> float:
        """How often a schedule holds on the first nights."""
        return self.first(schedule).all_frac

    def of_floor(self, pour: PlacedPour) -> float:
        """How often the buckets of a pour hold by themselves, all nights added up."""
        key = pour.room, pour.option, pour.start_s
        if key not in self._floors:
            alone = Schedule(pours=(pour,), coats=(), failures=(), required_s=0.0)
            self._floors[key] = sum(
                assess(
                    job, self.pours, alone, issued_s=self.issued_s, looked=looked
                ).buckets_frac
                for job, looked in self._draws
            )
            self.worked += LOOK_WORK * len(self._draws)
        return self._floors[key]

    def _odds(self, schedule: Schedule, draws: int) -> list[Odds]:
        known = self._known.setdefault(starts_of(schedule), [])
        for job, looked in self._draws[len(known) : draws]:
            known.append(
                assess(job, self.pours, schedule, issued_s=self.issued_s, looked=looked)
            )
            self.worked += LOOK_WORK * len(job.rooms)
        return known


def climb(
    near: Near,
    start: Judged,
    nights: Nights,
    *,
    work: float,
    stop: Stop,
    enough: Callable[[Schedule], bool],
) -> Judged:
    """The best way of those looked at, each from the best before it, as long as some gain:
    until one that does surely as often as asked is enough on the stated nights too."""
    found = _Climb(
        near=near, nights=nights, work=work, stop=stop, enough=enough, way=near.own, best=start
    )
    found.run()
    return found.best if found.best is start else found.as_sure_as_it_is()


@dataclass(slots=True, kw_only=True)
class _Climb:
    near: Near
    nights: Nights
    work: float
    """All that may be worked."""
    stop: Stop
    enough: Callable[[Schedule], bool]
    way: Way
    """That of the best; the best itself may be timed by a solver."""
    best: Judged
    _seen: set[object] = field(default_factory=set)

    @property
    def over(self) -> bool:
        """Whether nothing more is to be looked at."""
        worked = self.near.worked + self.nights.worked
        asked = self.near.job.policy.confidence
        if self.stop() or worked > self.work:
            return True
        return self.best.frac >= asked + SURE_FRAC and self.enough(self.best.schedule)

    def run(self) -> None:
        self._timed_alike()
        self._coats_held()
        self._coats_timed()
        self._surer()
        self._floors()
        gained = True
        while gained and not self.over:
            before = self.best
            for look in (self._evenings, self._orders, self._coats, self._floors):
                look()
            gained = self.best is not before

    def as_sure_as_it_is(self) -> Judged:
        """The best with its windows stated as surely as it keeps them: it may have been
        found with less asked of them."""
        placed, asked = self.best.schedule, self.near.job.policy.confidence
        held = replace(
            self.way,
            from_s={pour.room: pour.begins_s for pour in placed.pours},
            coats_s={(coat.room, coat.coat): coat.begins_s for coat in placed.coats},
        )
        for windows in (asked, 0.5 * (asked + EVEN_ODDS)):
            if windows <= self.way.windows:
                break
            sure = self.near.placed(replace(held, windows=windows))
            if sure is not None and starts_of(sure) == starts_of(placed):
                waits = {pour.room: pour.delayed for pour in placed.pours}
                pours = tuple(replace(p, delayed=waits[p.room]) for p in sure.pours)
                return replace(self.best, schedule=replace(sure, pours=pours))
        return self.best

    def gains(self, way: Way, *, least: float = 0.0) -> bool:
        """Whether a way holds so much more often than the best; then it is the best."""
        if way.key in self._seen or self.over:
            return False
        self._seen.add(way.key)
        schedule = self.near.placed(way)
        if schedule is None:
            return False
        found = self.nights.beyond(schedule, self.best)
        if found is None or found.frac <= self.best.frac + least:
            return False
        self.way, self.best = way, found
        return True

    def _timed_alike(self) -> None:
        """The way whose coats come out as those it begins with, or else hold most often.

        With its windows kept less surely where none comes out at all, as a solver's may:
        what is moved from there comes out at least."""
        own = self.way
        for windows in dict.fromkeys((own.windows, *self._looser)):
            held = replace(own, windows=windows)
            ways = (held, replace(held, way_last=True), replace(held, clear=False))
            for way in ways:
                self.gains(way)
            self.way = max(ways, key=self._first_frac)
            if self._first_frac(self.way) >= 0.0:
                return
        self.way = own

    def _coats_held(self) -> None:
        """The way with its coats held where they are, where falling due they hold less often:
        between two shifts of the same people a solver times them otherwise."""
        least = self.best.odds.all_frac - UNLUCKY_FRAC
        if self.over or self._first_frac(self.way) > least:
            return
        placed = self.best.schedule.coats
        coats_s = {(coat.room, coat.coat): coat.begins_s for coat in placed}
        own = self.near.own
        for windows in dict.fromkeys((own.windows, *self._looser)):
            held = replace(own, windows=windows, coats_s=coats_s)
            if self._first_frac(held) > least:
                self.way = held
                return

    def _first_frac(self, way: Way) -> float:
        schedule = self.near.placed(way)
        return -1.0 if schedule is None else self.nights.first_frac(schedule)

    def _coats_timed(self) -> None:
        """Coats more or less surely, in the other order or not clear of their windows."""
        self.gains(replace(self.way, way_last=not self.way.way_last))
        self.gains(replace(self.way, clear=not self.way.clear))
        for windows in (self.near.job.policy.confidence, *self._looser):
            self.gains(replace(self.way, windows=windows))

    @property
    def _looser(self) -> tuple[float, float]:
        """How surely windows may be kept where they cannot be as surely as asked."""
        return 0.5 * (self.near.job.policy.confidence + EVEN_ODDS), EVEN_ODDS

    def _surer(self) -> None:
        """Every floor with as much margin as may be."""
        pours = self.best.schedule.pours
        self._poured({pour.room: self.near.surest(pour) for pour in pours})

    def _poured(self, options: Mapping[str, PourOption]) -> bool:
        """Whether floors gain by other ways to pour them: by themselves, or where it is the
        end of a shift that these cost, with their evenings begun sooner as well."""
        way = self.way.poured(options)
        if self.gains(way):
            return True
        if not self._ends_late(way):
            return False
        changed = [rooms for rooms in way.evenings() if options.keys() & {*rooms}]
        return self.gains(way.moved([*chain(*changed)], -STEPS_S[0]))

    def _ends_late(self, way: Way) -> bool:
        """Whether a way keeps buckets more often and breaks the end of a shift by that."""
        if self.over or not self.near.may_wait:
            return False
        placed, own = self.near.placed(way), self.best.odds
        if placed is None:
            return True
        odds = self.nights.first(placed)
        late = odds.shifts_frac < own.shifts_frac - LATER_FRAC
        return late and odds.buckets_frac > own.buckets_frac

    def _evenings(self) -> None:
        """All evenings moved, then each, then the worst floors' pours by themselves."""
        if not self.near.may_wait:
            return
        for step_s in STEPS_S:
            self._moves(self.way.order, step_s)
            evenings = self.way.evenings()
            for rooms in evenings if len(evenings) > 1 else ():
                self._moves(rooms, step_s)
        for room in self.best.worst_rooms()[:MOST_WORST]:
            if len(self.way.order) > 1:
                self._moves((room,), STEPS_S[0])

    def _moves(self, rooms: Sequence[str], by_s: float) -> None:
        """Pours moved later as long as that gains, or else sooner."""
        for step_s in (by_s, -by_s):
            moved = False
            while self.gains(self.way.moved(rooms, step_s), least=LEAST_FRAC):
                moved = True
            if moved:
                return

    def _floors(self) -> None:
        """Floors poured as their buckets by themselves hold most often: all, then the worst
        one by one."""
        own = self.best.schedule.pours
        found = {
            pour.room: max(self._beside(pour), key=self._of_floor(pour))
            for pour in own
            if pour.room in self.best.worst_rooms()
        }
        better = {p.room: found[p.room] for p in own if found.get(p.room, p.option) != p.option}
        if len(better) < 2 or not self._poured(better):
            for room in self.best.worst_rooms():
                if room in better:
                    self._poured({room: better[room]})

    def _of_floor(self, pour: PlacedPour) -> Callable[[PourOption], float]:
        return lambda option: self.nights.of_floor(self.near.floor(pour, option))

    def _beside(self, pour: PlacedPour) -> list[PourOption]:
        """Itself and ways that differ in one thing."""
        option, ladder = pour.option, self.near.ladder(pour.room)
        others = (
            replace(option, bays=option.bays + 1),
            replace(option, bays=option.bays - 1),
            replace(option, chilled=not option.chilled),
            replace(option, cool_filler=not option.cool_filler),
        )
        return [option, *(other for other in others if other in ladder)]

    def _orders(self) -> None:
        """The worst floors in the places of others."""
        for room in self.best.worst_rooms()[:MOST_SWAPPED]:
            for other in range(len(self.way.order)):
                place = self.way.order.index(room)
                if other != place:
                    self.gains(self.way.swapped(place, other))

    def _coats(self) -> None:
        """The worst coats by themselves, all else held where it is."""
        for coat in self.best.worst_coats()[:MOST_SWAPPED]:
            for step_s in COAT_STEPS_S:
                coats = self.best.schedule.coats
                at_s = {(placed.room, placed.coat): placed.begins_s for placed in coats}
                at_s[coat] += step_s
                self.gains(replace(self.way, coats_s=at_s))
