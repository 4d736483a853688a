"""From the log's readings to tonight's batch and slabs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.inputs.job.model import Job
from cureplan.inputs.tables.night_log import ENDS, READINGS, NightEvent
from cureplan.planning.floor.conditions import Part, RoomConditions, in_part
from cureplan.planning.floor.doubt import SLAB_SD_K, doubt_at
from cureplan.planning.floor.pour import kit_temperatures
from cureplan.planning.odds.nights import SLAB_OWN_SD_K, SLAB_SHARED
from cureplan.planning.replan.state import FloorState, NightState
from cureplan.science.clocks import SlurryClocks
from cureplan.science.learning.least_squares import PRIOR_FREEDOM
from cureplan.science.learning.setup import lot_sds
from cureplan.science.learning.tonight import (
    NightFit,
    NightPrior,
    SeenEnd,
    SeenMix,
    SeenSlab,
    WatchedBucket,
    fit_night,
)
from cureplan.science.slab_reading import READING_SD_K, slab_doubt_k

__all__ = [
    "OTHER_PART",
    "NightReadings",
    "Seen",
    "estimate_night",
    "night_prior",
    "refuse_wild_ends",
    "seen_in",
]

FARTHEST_SLAB_K = 20.0
"""A reading farther off the computed slab is a slip of pen or unit: invented."""
FARTHEST_FACTOR = 2.5
"""As for slabs, of the time to the end of a clock: invented."""
NO_PLAINER: Final = 1.0
"""Standard deviations within which two ways to halve a floor are as likely: invented."""
OTHER_PART: Final[Mapping[Part, Part]] = {
    "first": "last", "last": "first", "back": "front", "front": "back"
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class NightReadings:
    """Tonight's fit, the rooms in its order, and when the last reading was taken."""

    fit: NightFit
    rooms: tuple[str, ...]
    along: tuple[float, ...]
    """Of each room, in which half what is still to be poured lies: -0.5, 0.5, or between."""
    parts: tuple[tuple[Part, ...], ...]
    """Of each room, which half counts as 0.5; two where its readings do not tell which."""
    rest_h: float
    """Hours from the last bucket read to the middle of what is still to be poured."""
    read_in: frozenset[str]
    """Rooms with a reading of their own."""
    first_s: float
    last_s: float

    def slab_k(self, room: str) -> float:
        """How much warmer than computed a slab is where work is left [K]."""
        return self._slab(room)[0]

    def slab_sd_k(self, room: str) -> float:
        """What remains unsure of that [K]."""
        return self._slab(room)[1]

    def parts_of(self, room: str) -> tuple[Part, ...]:
        """The half of a room that is compared with its other, and what it may be as well."""
        return self.parts[self.rooms.index(room)]

    def slope_k(self, room: str) -> float:
        """How much warmer than the rest that half was read [K]; 0 unless clear."""
        return self.fit.slope_k(self.rooms.index(room))

    def halves_k(self, room: str) -> tuple[float, float]:
        """How much warmer than computed the rest of a floor and that half are [K]."""
        number = self.rooms.index(room)
        rest_k, half_k = (self.fit.slab(number, along=along)[0] for along in (-0.5, 0.5))
        return rest_k, half_k

    def halves_sd_k(self, room: str) -> float:
        """What is unsure between the two [K]."""
        return self.fit.slope_sd_k(self.rooms.index(room))

    @property
    def speed(self) -> float:
        """Of the kits still to come against their card [-]."""
        return self.fit.later(self.rest_h)[0]

    @property
    def ln_speed_sd(self) -> float:
        """What is unsure of its logarithm."""
        return self.fit.later(self.rest_h)[1]

    def _slab(self, room: str) -> tuple[float, float]:
        number = self.rooms.index(room)
        return self.fit.slab(number, along=self.along[number])


def estimate_night(
    job: Job,
    events: Sequence[NightEvent],
    state: NightState,
    *,
    clocks: SlurryClocks,
    conditions: Mapping[str, RoomConditions],
    doubt_left: float,
) -> NightReadings:
    """Correct speed and slabs by what the log saw."""
    rooms = tuple(state.floors)

    def fitted(deep: frozenset[str]) -> tuple[Seen, NightFit]:
        seen = seen_in(job, events, state, conditions, clocks, deep=deep)
        at_s = [e.at.timestamp() for e in seen.readings_said] or [state.now_s]
        prior = night_prior(
            job,
            clocks,
            conditions,
            rooms,
            at_s=float(np.median(at_s)),
            doubt_left=doubt_left,
        )
        fit = fit_night(
            clocks=clocks,
            haul_s=job.pace.haul_s,
            prior=_widened(prior, seen.slabs),
            buckets=seen.buckets,
            ends=seen.ends,
            slabs=seen.slabs,
            mixes=seen.mixes,
        )
        return seen, fit

    deep = frozenset(
        name for name, base in conditions.items() if set(base.warm_parts) & {"back", "front"}
    )
    seen, fit = fitted(deep)
    parts: dict[str, tuple[Part, ...]] = {
        name: ("front" if name in deep else "last",) for name in rooms
    }
    # A floor in bays has halves both ways: the way that its readings show the plainer.
    for room in sorted({str(e.room) for e in seen.readings_said}):
        if not np.ptp(state.floors[room].bay) or len(conditions[room].warm_parts) == 1:
            continue
        number = rooms.index(room)
        other_deep = deep ^ {room}
        other_seen, other = fitted(other_deep)
        off = other.plainness(number) - fit.plainness(number)
        if abs(off) < NO_PLAINER:
            alike = other.slope_k(number) * fit.slope_k(number) >= 0
            parts[room] += (_across(room in other_deep, alike),)
        elif off > 0:
            deep, seen, fit = other_deep, other_seen, other
            parts[room] = (_across(room in deep, True),)
    refuse_wild_ends(seen, fit)
    at_s = [e.at.timestamp() for e in seen.readings_said] or [state.now_s]
    return NightReadings(
        fit=fit,
        rooms=rooms,
        along=tuple(_rest_along(floor, name in deep) for name, floor in state.floors.items()),
        parts=tuple(parts.values()),
        rest_h=_rest_h(state, fit),
        read_in=frozenset(str(e.room) for e in seen.readings_said),
        first_s=min(at_s),
        last_s=max(at_s),
    )


def _across(deep: bool, late: bool) -> Part:
    """A half of all of a floor, or of each of its bays."""
    if deep:
        return "front" if late else "back"
    return "last" if late else "first"


def _along(floor: FloorState, deep: bool) -> NDArray[np.float64]:
    """In which half of a floor each of its buckets lies."""
    return np.where(in_part(_across(deep, True), floor.bay, floor.row), 0.5, -0.5)


def _rest_along(floor: FloorState, deep: bool) -> float:
    """Of what a floor still lacks in the mean; of the whole where nothing does."""
    along = _along(floor, deep)
    return float(np.mean(along if floor.complete else along[floor.done :]))


def _rest_h(state: NightState, fit: NightFit) -> float:
    ends_s = [f.room.pour_end.timestamp() for f in state.floors.values() if not f.complete]
    if not ends_s:
        return 0.0
    if not fit.now_h:
        return 0.0
    middle_s = 0.5 * (state.now_s + max(state.now_s, *ends_s))
    return max(0.0, middle_s / 3600.0 - fit.now_h)


def seen_in(
    job: Job,
    events: Sequence[NightEvent],
    state: NightState,
    conditions: Mapping[str, RoomConditions],
    clocks: SlurryClocks,
    *,
    deep: frozenset[str] = frozenset(),
) -> Seen:
    """What the log's readings say of the floors that are planned; `deep`: those whose
    halves are the back and the front of each bay."""
    seen = Seen(job, state, conditions, tuple(state.floors), clocks, deep)
    for event in events:
        if event.event in READINGS and event.room in state.floors:
            seen.take(event)
    return seen


def _widened(prior: NightPrior, slabs: Sequence[SeenSlab]) -> NightPrior:
    """What was believed of slabs, where readings lie farther off than it allows for.

    How far a computed slab errs is itself only believed: as if from so many readings as
    the fits take any spread to be worth. A reading far off then moves the slabs that were
    not read less surely, instead of being shrunk to what was believed.
    """
    far = [
        slab.excess_k**2 / (prior.slab_sd_k[slab.room] ** 2 + READING_SD_K**2) for slab in slabs
    ]
    wider = float(np.sqrt((PRIOR_FREEDOM + sum(far)) / (PRIOR_FREEDOM + len(far))))
    wider = max(1.0, wider)
    return replace(
        prior,
        slab_sd_k=tuple(wider * sd_k for sd_k in prior.slab_sd_k),
        slab_shared_k=tuple(wider * sd_k for sd_k in prior.slab_shared_k),
    )


def night_prior(
    job: Job,
    clocks: SlurryClocks,
    conditions: Mapping[str, RoomConditions],
    rooms: Sequence[str],
    *,
    at_s: float,
    doubt_left: float,
) -> NightPrior:
    """What is believed before anything was seen: tonight's lot, and the card's energy.

    `doubt_left` is the share that earlier plans of the night have left of it.
    """
    lot_sd, lots_sd, ln_belief = lot_sds(job.cards.slurry)
    slab_c = float(np.mean([conditions[room].slab_at(at_s) for room in rooms]))
    slabs_k = [_slab_sd_k(conditions[room], at_s) for room in rooms]
    doubt = doubt_at(slab_c, fit=clocks.fit, spread_frac=clocks.spread_frac, temp_sd_k=0.0)

    def with_lot(sd: ArrayLike) -> NDArray[np.float64]:
        return np.hypot(doubt_left * np.hypot(sd, job.times_sd("slurry")), doubt.card)

    return NightPrior(
        ln_speed_sd=float(with_lot(lot_sd)),
        lots=tuple(zip(with_lot(lots_sd).tolist(), ln_belief.tolist(), strict=True)),
        kit_sd=job.doubt.kit,
        slab_sd_k=tuple(sd_k for sd_k, _ in slabs_k),
        slab_shared_k=tuple(shared_k for _, shared_k in slabs_k),
        slope_sd_k=job.doubt.half_k,
    )


def _slab_sd_k(conditions: RoomConditions, at_s: float) -> tuple[float, float]:
    """Doubt of a slab, and what of it all slabs have in common, 1 SD [K].

    Rooms share the weather's whole error and a part of the march's; a reading errs by itself.
    """
    shared_k = float(np.sqrt(SLAB_SD_K**2 - (1.0 - SLAB_SHARED) * SLAB_OWN_SD_K**2))
    if conditions.read is None:
        return SLAB_SD_K, shared_k
    read_s, sd_k = conditions.read
    left = conditions.reading_left(at_s - read_s)
    whole_k = float(slab_doubt_k(left, reading_doubt_k=sd_k, march_doubt_k=SLAB_SD_K))
    return max(whole_k, 1e-2), float(np.sqrt(1.0 - left**2)) * shared_k


class Seen:
    """Readings gathered line by line."""

    def __init__(
        self,
        job: Job,
        state: NightState,
        conditions: Mapping[str, RoomConditions],
        rooms: Sequence[str],
        clocks: SlurryClocks,
        deep: frozenset[str],
    ) -> None:
        self.job, self.state, self.conditions, self.rooms = job, state, conditions, rooms
        self.clocks, self.deep = clocks, deep
        self.buckets: list[WatchedBucket] = []
        self.ends: list[SeenEnd] = []
        self.slabs: list[SeenSlab] = []
        self.mixes: list[SeenMix] = []
        self.readings_said: list[NightEvent] = []
        self.end_events: list[NightEvent] = []
        self.keys: list[tuple[str, int]] = []
        """Room and number of each bucket."""

    def take(self, event: NightEvent) -> None:
        """One reading more."""
        self.readings_said.append(event)
        room = str(event.room)
        if event.event == "slab reads" and event.temp_c is not None:
            excess_k = event.temp_c - self._slab_c(room, event.at.timestamp(), event.bucket)
            if abs(excess_k) > FARTHEST_SLAB_K:
                raise event.fault(
                    "value",
                    f"it lies {abs(excess_k):.0f} K off the computed slab",
                    "read the slab again, away from heaters and sun",
                    f"{event.temp_c:.4g} °C",
                )
            along = None if event.bucket is None else self._along(room, event.bucket)
            number = self.rooms.index(room)
            self.slabs.append(SeenSlab(room=number, excess_k=excess_k, along=along))
            return
        floor = self.state.floors[room]
        bucket = self._bucket(event, floor)
        if event.temp_c is not None:
            self.mixes.append(SeenMix(bucket=bucket, temp_c=event.temp_c))
            return
        pour_s = float(floor.poured_s[int(event.bucket or 0) - 1])
        if event.at.timestamp() <= pour_s:
            raise event.fault(
                "at",
                "it lies before the bucket was poured",
                "check the two times",
                event.at.isoformat(),
            )
        filler_in_s = pour_s - self.job.pace.haul_s - self.job.cards.slurry.filler_mix_s
        self.ends.append(
            SeenEnd(
                bucket=bucket,
                milestone=ENDS[event.event],
                after_s=event.at.timestamp() - filler_in_s,
            )
        )
        self.end_events.append(event)

    def _bucket(self, event: NightEvent, floor: FloorState) -> int:
        number = int(event.bucket or 0)
        key = (floor.room.room, number)
        if number > floor.done or number in floor.assumed:
            raise event.fault(
                "bucket",
                'it has no line "poured"',
                "add the line that says when it was poured",
                number,
            )
        if key not in self.keys:
            self.keys.append(key)
            self.buckets.append(self._watched(floor, number))
        return self.keys.index(key)

    def _along(self, room: str, number: int) -> float:
        return float(_along(self.state.floors[room], room in self.deep)[number - 1])

    def _slab_c(self, room: str, at_s: float, number: int | None) -> float:
        """Computed slab under a bucket, or between its halves where nobody says where."""
        here, floor = self.conditions[room], self.state.floors[room]
        each_c = here.slab_under(np.full(floor.bay.size, at_s), floor.bay, floor.row)
        return float(each_c.mean() if number is None else each_c[number - 1])

    def _watched(self, floor: FloorState, number: int) -> WatchedBucket:
        pour_s = float(floor.poured_s[number - 1])
        conditions, card = self.conditions[floor.room.room], self.job.cards.slurry
        liquids_in_s = pour_s - self.job.pace.haul_s - card.filler_mix_s - card.liquids_mix_s
        air_c = float(conditions.air_at(liquids_in_s))
        kit = kit_temperatures(
            self.job.materials,
            chilled=floor.room.chilled,
            cool_filler="cool filler" in floor.room.remedies,
        )
        humidity = self.clocks.humidity
        rate_factor = 1.0
        if humidity is not None:
            rate_factor = float(humidity.at(conditions.humidity_at(pour_s)))
        return WatchedBucket(
            rate_factor=rate_factor,
            room=self.rooms.index(floor.room.room),
            liquids_c=air_c if kit.liquids_c is None else kit.liquids_c,
            filler_c=air_c if kit.filler_c is None else kit.filler_c,
            air_c=air_c,
            slab_c=self._slab_c(floor.room.room, pour_s, number),
            along=self._along(floor.room.room, number),
            poured_h=pour_s / 3600.0,
        )


def refuse_wild_ends(seen: Seen, fit: NightFit) -> None:
    """A time beyond belief would bend the whole plan: better to have it looked at."""
    for end, event in zip(seen.ends, seen.end_events, strict=True):
        wanted_s = fit.as_planned_s(seen.buckets[end.bucket], end.milestone)
        if not 1.0 / FARTHEST_FACTOR <= end.after_s / wanted_s <= FARTHEST_FACTOR:
            raise event.fault(
                "at",
                f"{end.after_s / 60:.0f} min from filler-in, where the card leads to "
                f"{wanted_s / 60:.0f} min, cannot be",
                "check the time and the bucket's number",
                event.at.isoformat(),
            )
