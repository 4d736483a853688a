"""Why a job cannot be done: the fewest limits that cannot hold together, with figures.

Limits are lifted one set after the other and the tables made again; a set conflicts when
a floor cannot be done with these limits alone. For one room this is exact. For several,
the solver must have proven that they do not go together (see `together`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, time, timedelta
from functools import cached_property
from itertools import combinations, islice
from typing import Literal, get_args

import numpy as np

from cureplan.core.clock import DAY_S
from cureplan.core.messages import Message, Value
from cureplan.inputs.cards.model import NO_LIMITS
from cureplan.inputs.job.crew import Crew
from cureplan.inputs.job.model import Cards, Job, OpenFor, Shift
from cureplan.planning.floor.layers import Layer
from cureplan.planning.floor.limits import Breach, LayerLimits
from cureplan.planning.floor.pour import AS_IS, RoomPours
from cureplan.planning.schedule.floor_model import (
    FloorModel,
    Tables,
    as_expected,
    floor_model,
)
from cureplan.planning.schedule.outcome import Failure
from cureplan.planning.schedule.placing import Span, crew_spans
from cureplan.planning.schedule.problem import NEVER, Problem, Stage
from cureplan.planning.schedule.soonest import soonest

__all__ = ["LIMITS", "Limit", "Some", "alone", "limits_of_job"]

Limit = Literal[
    "temperature", "dew", "pour shift", "topcoat shift", "too old", "opening", "longest shift",
    "pin",
]  # fmt: skip
LIMITS: tuple[Limit, ...] = get_args(Limit)
"""In the order in which sets of the same size are tried."""
MOST_ROOMS = 3
"""Rooms of which each is named with its own limits."""
ROUND_THE_CLOCK = (Shift(begins=time(0, 0), ends=time(0, 0)),)
NEVER_WET_K, NO_MARGIN_S = -1000.0, 86_400.0
NO_LATER = timedelta(days=14)


@dataclass(frozen=True)
class Some:
    """Some rooms of a job under some of its limits, all others lifted."""

    job: Job
    tables: Tables
    rooms: tuple[str, ...]
    limits: frozenset[Limit]
    built: dict[frozenset[Limit], FloorModel] = field(default_factory=dict)
    """Models of the same rooms made so far; too old is no part of them."""
    plain: dict[frozenset[Limit], FloorModel] = field(default_factory=dict)
    """The same with whatever margin a bucket has."""

    @cached_property
    def model(self) -> FloorModel:
        """Their tables, windows as expected: what these do not allow, nothing does."""
        key = self.limits - {"too old"}
        if key not in self.built:
            job = self._lifted()
            self.built[key] = floor_model(job, self.tables.under(job), sure=as_expected(job))
        return self.built[key]

    @cached_property
    def problem(self) -> Problem:
        """The same as an ordering problem."""
        whole = self.model.whole
        if "too old" in self.limits:
            return whole
        never_old = tuple(
            tuple(replace(s, closes=np.full_like(s.closes, NEVER)) for s in stages)
            for stages in whole.rooms
        )
        return replace(whole, rooms=never_old)

    def _lifted(self) -> Job:
        job, crew, access = self.job, self.job.crew, self.job.access
        ways = {
            name: tuple(floor for floor in job.crossed_from(name) if floor in self.rooms)
            for name in self.rooms
        }
        kept = [room for room in job.rooms if room.name in ways]
        # Open in time for the rooms behind it as well.
        rooms = tuple(replace(r, way_out=ways[r.name], open_by=job.due(r.name)) for r in kept)
        if "pour shift" not in self.limits:
            crew = replace(crew, pour_shifts=ROUND_THE_CLOCK)
        if "topcoat shift" not in self.limits:
            crew = replace(crew, topcoat_shifts=ROUND_THE_CLOCK)
        if "opening" not in self.limits:
            far = max(_looked_until(job, self.tables.pours[name]) for name in self.rooms)
            access = replace(access, open_by=max(access.open_by, far))
            rooms = tuple(replace(room, open_by=None) for room in rooms)
        if "longest shift" not in self.limits:
            crew = _not_timed(crew)
        if "pin" not in self.limits:
            rooms = tuple(room.unpinned() for room in rooms)
        policy = job.policy
        if "dew" not in self.limits:
            policy = replace(policy, dew_margin_k=NEVER_WET_K)
        cards = job.cards if "temperature" in self.limits else _without_limits(job.cards)
        return replace(job, crew=crew, access=access, rooms=rooms, policy=policy, cards=cards)

    def goes(self) -> bool:
        """Whether there is a way for the only room; as it is poured without remedies first,
        which most often tells."""
        return self._plain.begins() is not None or self.begins() is not None

    @cached_property
    def _plain(self) -> Some:
        """The same with whatever margin a bucket has."""
        any_margin = replace(self.job, policy=replace(self.job.policy, margin_s=-NO_MARGIN_S))
        return replace(self, job=any_margin, built=self.plain)

    def begins(self) -> tuple[int, ...] | None:
        """The soonest begin of each task of the only room; None where there is no way."""
        return soonest(self.problem.rooms[0])


def _looked_until(job: Job, pours: RoomPours) -> datetime:
    """How far it is looked for a way: an opening weeks late is no way out."""
    far = datetime.fromtimestamp(pours.conditions.last_s, job.site.zone)
    return min(far, job.access.open_by + NO_LATER)


def _not_timed(crew: Crew) -> Crew:
    """The crew, each of them there as long as it takes."""
    people = tuple(replace(person, longest_shift_s=None) for person in crew.people)
    return replace(crew, people=people, longest_shift_s=None, rest_s=None)


def limits_of_job(job: Job) -> tuple[Limit, ...]:
    """Limits that the job has at all."""
    crew = job.crew
    timed = [crew.most_s(None), *(crew.most_s(person) for person in crew.people)]
    has: dict[Limit, bool] = {
        "longest shift": any(timed),
        "pin": any(room.pins for room in job.rooms),
    }
    return tuple(limit for limit in LIMITS if has.get(limit, True))


def _without_limits(cards: Cards) -> Cards:
    primer = cards.primer
    return replace(
        cards,
        slurry=replace(cards.slurry, limits=NO_LIMITS),
        topcoat=replace(cards.topcoat, limits=NO_LIMITS),
        primer=None if primer is None else replace(primer, limits=NO_LIMITS),
    )


def alone(job: Job, tables: Tables) -> tuple[Failure, ...]:
    """Rooms that cannot be done even by themselves, each with the fewest limits why."""
    return tuple(_alone_in_turn(job, tables))


def _alone_in_turn(job: Job, tables: Tables) -> Iterator[Failure]:
    for room in job.rooms:
        whole = Some(job, tables, (room.name,), frozenset(limits_of_job(job)))
        if not whole.goes():
            yield _why(whole)


def _why(whole: Some) -> Failure:
    job, tables, (room,) = whole.job, whole.tables, whole.rooms
    lifted = replace(whole, limits=frozenset())
    if not lifted.goes():
        return _unseen(lifted)
    limits = limits_of_job(job)

    def breaks(some: Iterable[Limit]) -> bool:
        return not replace(lifted, limits=frozenset(some)).goes()

    for size in range(1, len(limits) + 1):
        of_size = list(combinations(limits, size))
        # Whoever mends one limit that breaks by itself meets the next.
        if found := list(islice(filter(breaks, of_size), None if size == 1 else 1)):
            if ("opening",) in found:
                found = [s for s in found if "opening" in s or not _only_cures(lifted, s)]
            if size > 1 and "pin" not in found[0]:
                # Figures rest on the hour the job holds a layer until, where it breaks as well.
                pins = (s for s in of_size if "pin" in s and {*s} & {*found[0]})
                found += islice(filter(breaks, pins), 1)
            whys = {limit: some for some in reversed(found) for limit in some}
            broken = tuple(limit for limit in limits if limit in whys)
            says = [_says(lifted, limit, whys[limit]) for limit in broken]
            says += _only_wash(job, tables, room) if "opening" in broken else ()
            return Failure(limits=broken, rooms=(room,), says=tuple(says))
    raise AssertionError("asked why of a room that has a way")


def _only_cures(lifted: Some, some: tuple[Limit, ...]) -> bool:
    """Whether some limits leave no way only as what they delay cures past the weather known:
    opened for feet it would go."""
    job = lifted.job
    rooms = tuple(replace(room, open_for="feet") for room in job.rooms)
    feet = Some(replace(job, rooms=rooms), lifted.tables, lifted.rooms, frozenset(some))
    return feet.goes()


def _only_wash(job: Job, tables: Tables, room: str) -> Iterator[Message]:
    """That the room would be in time were it opened for less, all else as it is."""
    asked = job.room(room).open_for
    lesser: tuple[OpenFor, ...] = ("carts", "feet")
    for instead in lesser[0 if asked == "wash-down" else 1 :] if asked != "feet" else ():
        rooms = tuple(replace(r, open_for=instead) if r.name == room else r for r in job.rooms)
        less = Some(replace(job, rooms=rooms), tables, (room,), frozenset(LIMITS))
        begins = less.begins()
        if begins is None:
            continue
        stage = less.problem.rooms[0][-1]
        k = int(np.flatnonzero(stage.begins == begins[-1])[0])
        ready = datetime.fromtimestamp(
            float(less.model.slots.at(stage.opens[k])), job.site.zone
        )
        yield Message(
            "limit.only_wash",
            {
                "room": room,
                "open_for": f"open_for.{asked}",
                "instead": f"open_for.{instead}",
                "ready_at": ready.isoformat(),
            },
        )
        return


def _unseen(lifted: Some) -> Failure:
    """No way within the weather, whatever the limits; too cold or hot a start is told first."""
    job, (room,) = lifted.job, lifted.rooms
    pours = lifted.tables.pours[room]
    says = [_slow(lifted)]
    layer = pours.tasks[0][-1]
    lasts_s = pours.works(AS_IS)[0].duration_s
    spans = crew_spans(job, job.crew.pour_shifts)
    start_s = min((s.begins_s for s in spans), default=job.access.begins.timestamp())
    breach = pours.limits(layer).breach(start_s, start_s + lasts_s)
    if breach is not None:
        lifts_s = pours.limits(layer).next_s(start_s, lasts_s, start_s)
        says.insert(0, _breach_says(job, room, layer, breach, lifts_s))
    until_s = pours.conditions.next_dry_s(start_s, lasts_s, margin_k=job.policy.dew_margin_k)
    if not np.isfinite(until_s):
        stage = next(task[-1] for task in pours.tasks if task[-1].kind != "slurry").stage
        values = _dew_values(job, pours, stage, start_s)
        says.insert(-1, Message("limit.dew_throughout", values))
    return Failure(limits=("weather",), rooms=(room,), says=tuple(says))


def _slow(lifted: Some) -> Message:
    """That a room cures longer than the weather known lasts, where it is that."""
    job, (room,), stages = lifted.job, lifted.rooms, lifted.problem.rooms[0]
    pours = lifted.tables.pours[room]
    until = _looked_until(job, pours)
    values: dict[str, Value] = {"room": room, "until_at": until.isoformat()}
    if not all(stage.size for stage in stages):
        return Message("limit.weather", values)
    # What does not open while the weather is known takes as long as that at least.
    ends = int((pours.conditions.last_s - float(lifted.model.slots.at(0))) // 60.0)
    takes_s = sum(
        60.0 * float((s.opens - s.begins).min(initial=ends - s.begins.min())) for s in stages
    )
    first_s = max(job.access.begins.timestamp(), pours.conditions.first_s)
    if first_s + takes_s <= until.timestamp():
        return Message("limit.weather", values)
    slab_c = float(pours.conditions.slab_at(first_s))
    instead = f"open_for.{job.room(room).open_for}"
    slow: dict[str, Value] = {"slab_c": slab_c, "takes_s": takes_s, "open_for": instead}
    return Message("limit.slow", {**values, **slow})


def _dew_values(job: Job, pours: RoomPours, stage: str, start_s: float) -> dict[str, Value]:
    """A slab too near the dew point for a thin layer."""
    conditions = pours.conditions
    return {
        "room": pours.room.name,
        "stage": stage,
        "slab_c": float(conditions.shade.slab_at(start_s)),
        "dew_c": float(np.interp(start_s, conditions.epoch_s, conditions.dew_c)),
        "margin_k": job.policy.dew_margin_k,
        "from_at": datetime.fromtimestamp(start_s, job.site.zone).isoformat(),
    }


def _breach_says(
    job: Job,
    room: str,
    layer: Layer,
    breach: Breach,
    lifts_s: float,
    laid_s: float = np.inf,
    then: Breach | None = None,
) -> Message:
    """A temperature outside its limit: how far, when, and from when on it keeps within;
    or from when on it could be laid, and what breaks `then`, before it bears feet."""

    def iso(epoch_s: float) -> str:
        return datetime.fromtimestamp(epoch_s, job.site.zone).isoformat()

    values: dict[str, Value] = {
        "room": room,
        "stage": layer.stage,
        "what": f"limited.{breach.what}",
        "temp_c": breach.temp_c,
        "limit_c": breach.limit_c,
        "from_at": iso(breach.at_s),
    }
    code = f"limit.too_{'cold' if breach.cold else 'hot'}"
    if then is not None and breach.at_s < laid_s < then.at_s:
        after: dict[str, Value] = {
            "laid_at": iso(laid_s),
            "then": f"limited.{then.what}",
            "then_c": then.temp_c,
            "then_limit_c": then.limit_c,
            "then_at": iso(then.at_s),
        }
        return Message(f"{code}_sets", {**values, **after})
    if not np.isfinite(lifts_s) or lifts_s <= breach.at_s:
        return Message(f"{code}_always", values)
    return Message(code, {**values, "until_at": iso(lifts_s)})


def _says(lifted: Some, limit: Limit, some: Iterable[Limit]) -> Message:
    """A limit of a set in words: what would be, were this one lifted."""
    job, (room,) = lifted.job, lifted.rooms
    # Figures by all other limits of the job where these leave a way: it is that which helps.
    without = replace(lifted, limits=frozenset(limits_of_job(job)) - {limit})
    if without.begins() is None:
        without = replace(lifted, limits=frozenset(some) - {limit})
    begins = without.begins()
    if begins is None:
        raise AssertionError("fewer limits would conflict")
    windows = _Windows(job, lifted.tables.pours[room], without, begins)
    return {
        "temperature": windows.temperature,
        "dew": windows.dew,
        "pour shift": windows.pour_shift,
        "topcoat shift": windows.topcoat_shift,
        "too old": windows.too_old,
        "opening": windows.opening,
        "longest shift": windows.longest_shift,
        "pin": windows.pin,
    }[limit]()


@dataclass(frozen=True, slots=True)
class _Windows:
    """A room's limits in words, by the soonest way without the one spoken of."""

    job: Job
    pours: RoomPours
    some: Some
    begins: tuple[int, ...]

    def _at(self, slot: int) -> str:
        return self._iso(float(self.some.model.slots.at(slot)))

    def _iso(self, epoch_s: float) -> str:
        return datetime.fromtimestamp(epoch_s, self.job.site.zone).isoformat()

    def _state(self, number: int) -> tuple[Stage, int]:
        stage = self.some.problem.rooms[0][number]
        return stage, int(np.flatnonzero(stage.begins == self.begins[number])[0])

    def temperature(self) -> Message:
        """The first layer outside its card's limits: what, how far, and when that ends."""
        job, room = self.job, self.pours.room.name
        for number, task in enumerate(self.pours.tasks):
            limits = LayerLimits(job, task[-1], self.pours.conditions)
            stage, k = self._state(number)
            slots = self.some.model.slots
            lead_s = self.pours.works(AS_IS)[number].lead_s
            start_s = float(slots.at(stage.begins[k])) + lead_s
            end_s, bears_s = float(slots.at(stage.ends[k])), float(slots.at(stage.walks[k]))
            kept = limits.kept([start_s], [end_s - start_s], [bears_s])
            breach = limits.breach(start_s, end_s) or limits.breach(
                start_s, bears_s, cures=True
            )
            if kept.all() or breach is None:
                continue
            lifts_s = limits.next_s(start_s, end_s - start_s, bears_s)
            # An afternoon may be warm enough to lay it, and the night after it not.
            laid_s = limits.next_s(start_s, end_s - start_s, start_s)
            then = None
            if np.isfinite(laid_s) and not np.isfinite(lifts_s):
                then = limits.breach(laid_s, laid_s + bears_s - start_s, cures=True)
            return _breach_says(job, room, task[-1], breach, lifts_s, laid_s, then)
        return self._mixed()

    def _mixed(self) -> Message:
        """No slab, air or store is at fault: it is the mix itself."""
        number = self.pours.pour_task
        stage, k = self._state(number)
        lead_s = self.pours.works(AS_IS)[number].lead_s
        start_s = float(self.some.model.slots.at(stage.begins[k])) + lead_s
        mixed_c = self.pours.run(AS_IS, start_s).mixed_c
        low_c, high_c = self.job.cards.slurry.limits.mixed_c
        cold = float(mixed_c.min()) < low_c
        breach = Breach(
            what="mixed",
            at_s=start_s,
            temp_c=float(mixed_c.min() if cold else mixed_c.max()),
            limit_c=low_c if cold else high_c,
            cold=cold,
        )
        layer = self.pours.tasks[number][-1]
        return _breach_says(self.job, self.pours.room.name, layer, breach, np.inf)

    def dew(self) -> Message:
        """The first coat that lies on a wet slab, and until when it is wet."""
        conditions, margin_k = self.pours.conditions, self.job.policy.dew_margin_k
        start_s = until_s = 0.0
        named = self.pours.pour_task
        # Every thin layer asks for a dry slab, the primer as well; the slurry does not.
        films = [n for n in range(len(self.begins)) if n != self.pours.pour_task]
        for number in films:
            if until_s > start_s:
                break
            named = number
            stage, k = self._state(number)
            start_s = float(self.some.model.slots.at(stage.begins[k]))
            lasts_s = 60.0 * float(stage.ends[k] - stage.begins[k])
            until_s = conditions.next_dry_s(start_s, lasts_s, margin_k=margin_k)
        stage_name = self.pours.tasks[named][-1].stage
        values = _dew_values(self.job, self.pours, stage_name, start_s)
        if not np.isfinite(until_s):
            return Message("limit.dew_always", values)
        values["until_at"] = self._iso(until_s)
        # A slab that is dry for some hours of a night is wet again before a morning's shift.
        again_s = conditions.next_wet_s(until_s, margin_k=margin_k)
        if again_s - until_s > DAY_S:
            return Message("limit.dew", values)
        return Message("limit.dew_again", {**values, "again_at": self._iso(again_s)})

    def pour_shift(self) -> Message:
        """The pour against the longest shift, else against the hours of all."""
        lead_s = self.pours.works(AS_IS)[self.pours.pour_task].lead_s
        lasts_s = lead_s + self.pours.plan(AS_IS).times.last_s
        spans = crew_spans(self.job, self.job.crew.pour_shifts)
        setup_s = self.job.crew.setup_s
        longest_s = max((s.ends_s - s.begins_s - setup_s for s in spans), default=0.0)
        values: dict[str, Value] = {
            "room": self.pours.room.name,
            "lasts_s": lasts_s,
            "longest_s": max(0.0, longest_s),
        }
        if not spans:
            return Message("limit.no_pour_shift", values)
        values["shifts"] = _clocks(self.job.crew.pour_shifts)
        if lasts_s > longest_s:
            values["limit"] = self.pours.plan(AS_IS).cadence.limit
            return Message("limit.pour_long", values)
        values["start_at"] = self._at(self.begins[self.pours.pour_task])
        return Message("limit.pour_shift", values)

    def topcoat_shift(self) -> Message:
        """The longest coat against the longest shift, else the coats against its hours."""
        shifts = _clocks(self.job.crew.topcoat_shifts)
        spans = crew_spans(self.job, self.job.crew.topcoat_shifts)
        setup_s = self.job.crew.setup_s
        longest_s = max((s.ends_s - s.begins_s - setup_s for s in spans), default=0.0)
        films = self.pours.works(AS_IS)[self.pours.pour_task + 1 :]
        work = max(films, key=lambda work: work.lead_s + work.duration_s)
        if work.lead_s + work.duration_s > longest_s:
            long: dict[str, Value] = {
                "room": self.pours.room.name,
                "stage": work.layer.stage,
                "lasts_s": work.lead_s + work.duration_s,
                "longest_s": max(0.0, longest_s),
                "setup_s": setup_s,
                "shifts": shifts,
            }
            return Message("limit.coat_long", long)
        coats = tuple(self._waits(spans)) or tuple(
            Message("limit.coat_at", {"coat": n + 1, "start_at": self._at(begin)})
            for n, begin in enumerate(self.begins[self.pours.pour_task + 1 :])
        )
        room = self.pours.room.name
        return Message("limit.topcoat_shift", {"room": room, "coats": coats, "shifts": shifts})

    def _waits(self, spans: Sequence[Span]) -> Iterator[Message]:
        """Coats that the shift does not take when they could go on, one after the other, and
        when it does; of those it takes there is nothing to say."""
        # Later than other limits allow as well: that it comes so late is what is told.
        lifted = replace(self.some, limits=frozenset())
        slots, setup_s = lifted.model.slots, self.job.crew.setup_s
        opened = 0
        for number in range(self.pours.pour_task + 1, len(self.begins)):
            stage = lifted.problem.rooms[0][number]
            could = slots.first_from(float(self.some.model.slots.at(self.begins[number])))
            states = np.flatnonzero(stage.begins >= max(opened, int(could)))
            if states.size == 0:
                return
            k = int(states[stage.begins[states].argmin()])
            start_s, end_s = float(slots.at(stage.begins[k])), float(slots.at(stage.ends[k]))
            begins_s = [max(span.begins_s + setup_s, start_s) for span in spans]
            soonest_s = min(
                (
                    begin_s
                    for begin_s, span in zip(begins_s, spans, strict=True)
                    if begin_s + end_s - start_s <= span.ends_s
                ),
                default=np.inf,
            )
            values: dict[str, Value] = {
                "coat": self.pours.tasks[number][-1].number,
                "start_at": self._iso(start_s),
            }
            if not np.isfinite(soonest_s):
                yield Message("limit.coat_never", values)
                return
            if soonest_s > start_s:
                yield Message("limit.coat_waits", {**values, "until_at": self._iso(soonest_s)})
            later = stage.opens[stage.begins >= int(slots.first_from(soonest_s))]
            opened = int(later.min(initial=NEVER))

    def longest_shift(self) -> Message:
        """The longest task against how long anyone may stay."""
        crew = self.job.crew
        longest = [crew.most_s(None), *(crew.most_s(person) for person in crew.people)]
        works = self.pours.works(AS_IS)
        work = max(works, key=lambda work: work.lead_s + work.duration_s)
        values: dict[str, Value] = {
            "room": self.pours.room.name,
            "stage": work.layer.stage,
            "stays_s": work.lead_s + work.duration_s + crew.ahead_s,
            "early_s": crew.ahead_s - crew.setup_s,
            "longest_s": min(s for s in longest if s is not None),
        }
        return Message("limit.longest_shift", values)

    def pin(self) -> Message:
        """The layer the job holds the longest, and when it could begin."""
        worst_s, values = -np.inf, dict[str, Value]()
        pins = self.pours.room.pins
        for number, work in enumerate(self.pours.works(AS_IS)):
            stage = work.layer.stage
            if stage not in pins:
                continue
            could_s = float(self.some.model.slots.at(self.begins[number])) + work.lead_s
            if pins[stage].timestamp() - could_s > worst_s:
                worst_s = pins[stage].timestamp() - could_s
                values = {
                    "room": self.pours.room.name,
                    "stage": stage,
                    "until_at": self._iso(pins[stage].timestamp()),
                    "start_at": self._iso(could_s),
                }
        return Message("limit.pin", values)

    def too_old(self) -> Message:
        """The layer that would come too late over the one below, by how much."""
        worst = -NEVER
        values: dict[str, Value] = {}
        rooms = self.some.model.whole.rooms[0]
        for number in range(len(rooms) - 1):
            _, k = self._state(number)
            closes, begins = int(rooms[number].closes[k]), self.begins[number + 1]
            if begins - closes > worst:
                worst = begins - closes
                values = {
                    "room": self.pours.room.name,
                    "stage": self.pours.tasks[number + 1][-1].stage,
                    "closes_at": self._at(closes),
                    "start_at": self._at(begins),
                }
        return Message("limit.too_old", values)

    def opening(self) -> Message:
        """When the room is ready at the soonest, and what its last coat waits for."""
        stage, k = self._state(len(self.begins) - 1)
        slots = self.some.model.slots
        ready_s, laid_s = float(slots.at(stage.opens[k])), float(slots.at(stage.ends[k]))
        room = self.pours.room.name
        values: dict[str, Value] = {
            "room": room,
            "ready_at": self._iso(ready_s),
            "cures_s": ready_s - laid_s,
            "due_at": self.job.due(room).isoformat(),
        }
        behind = self.job.due_for(room)
        if behind == room:
            return Message("limit.opening", values)
        return Message("limit.opening_way", {**values, "behind": behind})


def _clocks(shifts: Iterable[Shift]) -> str:
    return ", ".join(f"{shift.begins:%H:%M}-{shift.ends:%H:%M}" for shift in shifts) or "-"
