"""Between floors and the bare ordering problem: tables in, definite times out."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from cureplan.inputs.job.model import Crew, Job, Materials, Remedy, Room
from cureplan.planning.floor.crew import shared_crews
from cureplan.planning.floor.layers import CREWS
from cureplan.planning.floor.pour import PourOption, RoomPours
from cureplan.planning.schedule.bounds import prune_dominated
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import (
    PlacedCoat,
    PlacedPour,
    Span,
    crew_spans,
    place_layer,
    place_pour,
    with_seams,
)
from cureplan.planning.schedule.problem import Choice, Clear, Hands, Problem, Stage
from cureplan.planning.schedule.remedies import option_ladder, wait_price
from cureplan.planning.schedule.slots import SLOT_S, Slots
from cureplan.planning.schedule.tabled import Tabled
from cureplan.planning.schedule.tables import (
    PourTables,
    Sureness,
    begun_s,
    begun_stage,
    layer_stage,
    one_after_the_other,
)

POURING = CREWS.index("pour")

__all__ = [
    "FloorModel",
    "Tables",
    "as_expected",
    "crew_hands",
    "floor_model",
    "room_stages",
    "timeless",
]

EVEN_ODDS = 0.5
MOST_OTHERS = 12
"""Rooms of other jobs whose tables are kept: of large ones they are all there is."""


def as_expected(job: Job) -> Sureness:
    """Windows as on the expected night, the buckets' margins still as asked."""
    return Sureness(windows=EVEN_ODDS, margins=job.policy.confidence)


CLEAR = Clear(
    band=int(600.0 / SLOT_S),
    opening=int(1800.0 / SLOT_S),
    closing=int(3600.0 / SLOT_S),
    ample=int(4 * 3600.0 / SLOT_S),
)
"""How far a coat is wanted from the ends of its window, so that a floor that is slow or
a crew that comes late still meets it: half an hour and an hour, invented."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """Tables of every room's pours, kept while limits are tried one after the other."""

    pours: Mapping[str, RoomPours]
    by_room: dict[str, PourTables] = field(default_factory=dict)
    others: dict[object, Tables] = field(default_factory=dict)
    """Of other floors tried, the latest few: several changes often share them."""
    tabled: Tabled = field(default_factory=Tabled)
    """What all of them took together."""
    anew: Callable[[Job], Mapping[str, RoomPours]] | None = None
    """Air and slabs of a job whose rooms are heated or cooled otherwise; None where nobody
    may ask."""

    def of(self, room: str) -> PourTables:
        """The tables of one room."""
        if room not in self.by_room:
            self.by_room[room] = PourTables(self.pours[room], self.tabled)
        return self.by_room[room]

    def under(self, job: Job) -> Tables:
        """Tables for some of the rooms and a job with other limits, on the same runs."""
        pours = {room.name: self.pours[room.name].under(room, job) for room in job.rooms}
        by_room = {name: self.of(name).under(room) for name, room in pours.items()}
        return replace(self, pours=pours, by_room=by_room, others={})

    def of_changed(self, job: Job, *, was: Job) -> Tables:
        """Tables of a changed job: these where hours alone differ, else of each floor anew."""
        floors = timeless(job)
        if floors == timeless(was) and all(room.name in self.pours for room in job.rooms):
            return self.under(job)
        if floors in self.others:
            return self.others[floors].under(job)
        known = self.pours
        if self.anew is not None and _air_is_other(job, was):
            known = self.anew(job)
        pours = {r.name: known.get(r.name) or known[str(r.part_of)] for r in job.rooms}
        pours = {r.name: pours[r.name].under(r, job) for r in job.rooms}
        other = replace(self, pours=pours, by_room={}, others={})
        while len(self.others) * len(job.rooms) >= MOST_OTHERS:
            del self.others[next(iter(self.others))]
        self.others[floors] = other
        return other


def timeless(job: Job) -> tuple[Crew, Materials, tuple[Room, ...]]:
    """A job's floors, hands and kits, whatever hours they are worked, due and opened at."""
    rooms = tuple(replace(room.unpinned(), open_by=None, open_for="feet") for room in job.rooms)
    return replace(job.crew, pour_shifts=(), topcoat_shifts=()), job.materials, rooms


def _air_is_other(job: Job, was: Job) -> bool:
    """Whether a room is heated or held otherwise than it was, or the room it is part of."""
    before = {room.name: (room.climate, room.set_point_c, room.heat) for room in was.rooms}
    return any(
        (room.climate, room.set_point_c, room.heat)
        != (before.get(room.name) or before[str(room.part_of)])
        for room in job.rooms
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FloorModel:
    """A job as an ordering problem, and the way back from a choice to the job."""

    job: Job
    pours: Mapping[str, RoomPours]
    problem: Problem
    whole: Problem
    """The same before states that lead nowhere were left out."""
    slots: Slots
    remedies: tuple[Remedy, ...]
    sure: Sureness

    @property
    def confidence(self) -> float:
        """What windows and margins are stated at: never more than was asked."""
        return min(self.sure.windows, self.job.policy.confidence)

    @property
    def names(self) -> tuple[str, ...]:
        """Room names in the order the problem counts them."""
        return tuple(room.name for room in self.job.rooms)

    def first_order(self) -> tuple[int, ...]:
        """The order a crew would begin with: farthest in first, then the largest."""
        rooms = self.job.rooms
        return tuple(
            sorted(
                range(len(rooms)),
                key=lambda r: (-len(self.problem.crosses[r]), -rooms[r].area_m2),
            )
        )

    def schedule(self, choice: Choice) -> Schedule:
        """Run what was chosen at its definite times."""
        primers, pours, coats = [], [], []
        asked = self.job.policy.confidence
        for room, (name, stages) in enumerate(zip(self.names, self.problem.rooms, strict=True)):
            first = self.problem.pour(room)
            under: PlacedCoat | None = None
            works = self.pours[name].works(self._option(room, choice))
            for number in range(first):
                begins_s = self._begins_s(room, number, choice)
                under = place_layer(
                    self.pours[name], works[number], under, begins_s, confidence=self.confidence
                )
                primers.append(under)
            poured = self._pour(room, name, choice, under)
            pours.append(poured)
            below: PlacedPour | PlacedCoat = poured
            for number in range(first + 1, len(stages)):
                begins_s = self._begins_s(room, number, choice)
                below = place_layer(
                    self.pours[name],
                    poured.works[number],
                    below,
                    begins_s,
                    confidence=self.confidence,
                )
                coats.append(below)
        return Schedule(
            primers=tuple(sorted(primers, key=lambda p: p.begins_s)),
            pours=with_seams(self.pours, pours, confidence=self.confidence),
            coats=tuple(sorted(coats, key=lambda c: c.begins_s)),
            failures=(),
            required_s=self.job.policy.margin_s,
            held_frac=self.confidence if self.confidence < asked else None,
        )

    def _begins_s(self, room: int, number: int, choice: Choice) -> float:
        """When a crew begins a task: as chosen, or as it really did."""
        pours = self.pours[self.names[room]]
        if pours.tasks[number][-1].stage in pours.settled.begun_s:
            return begun_s(pours, number)
        stage = self.problem.rooms[room][number]
        return float(self.slots.at(stage.begins[choice[room][number]]))

    def _option(self, room: int, choice: Choice) -> PourOption:
        """How a room is poured."""
        poured = self.pours[self.names[room]].settled.poured
        if poured is not None:
            return poured.option
        number = self.problem.pour(room)
        stage = self.problem.rooms[room][number]
        return option_ladder(self.remedies)[int(stage.option[choice[room][number]])]

    def _pour(
        self, room: int, name: str, choice: Choice, below: PlacedCoat | None
    ) -> PlacedPour:
        number, waited = self.problem.pour(room), self.pours[name].settled.waited
        if waited is None:
            waited = self._waits_for_margin(choice, room)
        option = self._option(room, choice)
        lead_s = self.pours[name].works(option)[number].lead_s
        return place_pour(
            self.pours[name],
            option,
            self._begins_s(room, number, choice) + lead_s,
            delayed=waited,
            confidence=self.confidence,
            below=below,
        )

    def _waits_for_margin(self, choice: Choice, room: int) -> bool:
        """Whether a pour begins later than it could: sooner it would be short, or cost more.

        One that waits so that its first coat falls into the topcoat shift does not.
        """
        pours = self.problem.pours(choice)
        stage, k = pours[room]
        span, begin = stage.span[k], stage.begins[k]
        before = [
            int(pour.frees[j])
            for pour, j in pours
            if pour.span[j] == span and pour.begins[j] < begin
        ]
        soonest = max([self.problem.shift_begins[int(span)], *before])
        number = self.problem.pour(room)
        if number:
            below = self.problem.rooms[room][number - 1]
            soonest = max(soonest, int(below.opens[choice[room][number - 1]]))
        whole = self.whole.rooms[room][self.whole.pour(room)]
        sooner = (whole.begins >= soonest) & (whole.begins < begin)
        as_good = (whole.short <= stage.short[k]) & (whole.cost <= stage.cost[k])
        return bool(sooner.any()) and not bool((sooner & as_good).any())


def floor_model(
    job: Job,
    tables: Tables,
    *,
    sure: Sureness | None = None,
    remedies: Sequence[Remedy] | None = None,
    stages: Sequence[tuple[Stage, ...]] | None = None,
) -> FloorModel:
    """Table every pour and coat of a job, every limit kept as surely as the job asks.

    Rooms of one `group` are poured in one go: one after the other within a shift, with
    nothing but the changeover in between, in whatever order is best. `stages` are the
    rooms' own, where they are tabled already.
    """
    allowed = job.policy.remedies if remedies is None else tuple(remedies)
    asked = job.policy.confidence
    sure = sure or Sureness(windows=asked, margins=asked)
    slots = Slots.since(job.access.begins.timestamp())
    pour_spans = crew_spans(job, job.crew.pour_shifts)
    hands = crew_hands(job, sure)
    if stages is None:
        stages = [
            room_stages(job, room, tables, remedies=allowed, sure=sure) for room in job.rooms
        ]
    # No pour is waited for that no primer could have been ready for.
    soonest = min((_soonest_pour(s) for s in stages if s[0].crew != POURING), default=0)
    place = {room.name: i for i, room in enumerate(job.rooms)}
    crosses = tuple(
        tuple(sorted(place[floor] for floor in job.crossed_from(room.name)))
        for room in job.rooms
    )
    begun = _begun(job, tables)
    hands = tuple(_until_done(one, [stages[room][n] for room, n in begun]) for one in hands)
    stages = [tuple(_not_too_long(stage, hands) for stage in row) for row in stages]
    pour_tasks = tuple(tables.pours[room.name].pour_task for room in job.rooms)
    problem = Problem(
        rooms=one_after_the_other(stages, begun, crosses, hands),
        hands=hands,
        pour_stages=pour_tasks,
        crosses=crosses,
        groups=_groups(job),
        loose=frozenset(room for room, number in begun if number == pour_tasks[room]),
        shift_begins=tuple(
            max(int(slots.first_from(span.begins_s + job.crew.setup_s)), soonest)
            for span in pour_spans
        ),
        may_wait="hour" in allowed,
        wait_price=wait_price(allowed),
        clear=CLEAR,
        setup=math.ceil(job.crew.setup_s / SLOT_S),
        moving=math.ceil(job.crew.changeover_s / SLOT_S),
        carried=frozenset(begun),
    )
    return FloorModel(
        job=job,
        pours=tables.pours,
        problem=problem if problem.empty else prune_dominated(problem, None, ()).problem,
        whole=problem,
        slots=slots,
        remedies=allowed,
        sure=sure,
    )


def crew_hands(job: Job, sure: Sureness) -> tuple[Hands, ...]:
    """Whose hands the crews are, and how long anyone may stay before a rest."""

    def most(longest_s: float) -> int:
        behind_s = float(sure.behind_s(np.asarray(longest_s)))
        return int((longest_s - job.crew.ahead_s - behind_s) // SLOT_S)

    return tuple(
        Hands(
            crews=tuple(CREWS.index(crew) for crew in crews),
            most=None if longest_s is None else most(longest_s),
            rest=int(job.crew.again_s // SLOT_S) + 1,
        )
        for crews, longest_s in shared_crews(job.crew).items()
    )


def _until_done(hands: Hands, begun: Sequence[Stage]) -> Hands:
    """Hands that stay until what is begun is done, however long they may."""
    if hands.most is None:
        return hands
    own = [stage for stage in begun if stage.crew in hands.crews]
    lasts = [int(np.min(stage.ends - stage.begins)) for stage in own]
    return replace(hands, most=max([hands.most, *lasts]))


def _not_too_long(stage: Stage, hands: Sequence[Hands]) -> Stage:
    """Without what alone would keep somebody longer than he may stay."""
    most = [h.most for h in hands if stage.crew in h.crews and h.most is not None]
    return stage.keep(stage.ends - stage.begins <= min(most)) if most else stage


def room_stages(
    job: Job,
    room: Room,
    tables: Tables,
    *,
    remedies: Sequence[Remedy],
    sure: Sureness,
    within: Span | None = None,
) -> tuple[Stage, ...]:
    """One stage for each task of a floor; the pour first, since its options decide, in any
    of its shifts or in those that meet a stretch of time."""
    slots = Slots.since(job.access.begins.timestamp())
    priming = pouring = crew_spans(job, job.crew.pour_shifts)
    coating = crew_spans(job, job.crew.topcoat_shifts)
    if within is not None:
        pouring = tuple(
            span
            if within.meets(span.begins_s, span.ends_s)
            else replace(span, ends_s=span.begins_s - SLOT_S)
            for span in pouring
        )
    spans = {"pour": pouring, "topcoat": coating, "primer": priming}
    pours = tables.pours[room.name]
    settled = pours.settled
    known = {
        number: begun_stage(pours, number, spans[task[-1].crew], slots, sure=sure)
        for number, task in enumerate(pours.tasks)
        if task[-1].stage in settled.begun_s
    }
    if settled.poured is not None:
        options = [settled.poured.option]
    else:
        ladder = option_ladder(remedies)
        pour = tables.of(room.name).stage(spans["pour"], slots, remedies=remedies, sure=sure)
        known[pours.pour_task] = pour
        options = [ladder[i] for i in sorted(set(pour.option.tolist()))] or [ladder[0]]
    return tuple(
        known[number]
        if number in known
        else layer_stage(
            pours,
            number,
            spans[task[-1].crew],
            slots,
            options=options,
            sure=sure,
            due_s=job.due(room.name).timestamp(),
        )
        for number, task in enumerate(pours.tasks)
    )


def _soonest_pour(stages: tuple[Stage, ...]) -> int:
    return int(stages[0].opens.min()) if stages[0].size else 0


def _begun(job: Job, tables: Tables) -> list[tuple[int, int]]:
    """Room and number of every task that is begun."""
    return [
        (i, number)
        for i, room in enumerate(job.rooms)
        for number, task in enumerate(tables.pours[room.name].tasks)
        if task[-1].stage in tables.pours[room.name].settled.begun_s
    ]


def _groups(job: Job) -> tuple[tuple[int, ...], ...]:
    """Rooms poured in one go."""
    members: defaultdict[str, list[int]] = defaultdict(list)
    for i, room in enumerate(job.rooms):
        if room.group is not None:
            members[room.group].append(i)
    return tuple(tuple(group) for group in members.values() if len(group) > 1)
