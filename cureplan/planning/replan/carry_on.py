"""Carrying on as planned: order, bays and ice stay, every hour comes as soon as it may.

The plan's own problem, with what is begun as it is and nothing too late: windows that
close, the hour of opening and a few minutes over the shift are told, not kept to. It is
always a candidate, and where nothing keeps every limit it is what is left.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.crew import SAME_SHIFT_S
from cureplan.inputs.job.model import Job, Shift
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.odds.risk import Odds
from cureplan.planning.plan.model import Plan
from cureplan.planning.replan.begun import option_of
from cureplan.planning.replan.state import NightState, hours_moved
from cureplan.planning.schedule.floor_model import FloorModel, Tables, floor_model
from cureplan.planning.schedule.heuristic import time_order
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.problem import NEVER, Problem, Stage
from cureplan.planning.schedule.tables import Sureness

__all__ = [
    "Candidate",
    "beats",
    "carry_on",
    "chance_doubt",
    "chance_gain",
    "could_be_beaten",
    "nights_of",
    "without",
]

OVER_SHIFT = timedelta(minutes=15)
"""By how much a floor may run over its shift where the night carries on: invented."""
WAITED_S = 120.0
"""A gap between two planned floors, the changeover over, that was meant: invented."""
LATE_BAND_S = 600.0
"""Openings that come too late by as much are alike: invented."""
ODDS_OFF = 0.06
"""What chances are off by where nature has heavier tails than they take it to have: as
measured in the tests of the odds."""
LOST_THINGS = 0.5
"""Buckets and coats fewer lost, on the mean night, for which a night is turned: invented."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A way to go on, how often it holds, and the floors it has no place for."""

    schedule: Schedule
    odds: Odds
    left_out: tuple[str, ...] = ()

    def lost(self, job: Job) -> tuple[int, int, int]:
        """What is lost for sure: floors left out, coats too late, opening too late."""
        return (len(self.left_out), *lateness(job, self.schedule))

    @property
    def nights(self) -> int:
        """In how many nights the pours are."""
        return nights_of(pour.start_s for pour in self.schedule.pours)

    @property
    def expected_lost(self) -> float:
        """Buckets, coats, shifts overrun and openings missed on the mean night."""
        return float(self.odds.lost.mean())

    def lost_of(self, job: Job) -> NDArray[np.float64]:
        """What a job's rooms lose in each drawn night; another way may have no more rooms."""
        rooms = {room.name for room in job.rooms}
        others = [name for name in self.odds.bucket_frac if name not in rooms]
        return self.odds.lost - sum(self.odds.room_lost[name] for name in others)


def nights_of(starts_s: Iterable[float]) -> int:
    """In how many nights pours are that begin then."""
    return 1 + sum(b - a > SAME_SHIFT_S for a, b in pairwise(sorted(starts_s)))


def lateness(job: Job, schedule: Schedule) -> tuple[int, int]:
    """Layers of a job's rooms that come too late to bond, and how much too late it opens."""
    rooms = {room.name for room in job.rooms}
    coats = [coat for coat in schedule.coats if coat.room in rooms]
    starts = [(coat.start_s, coat.window) for coat in coats]
    starts += [(pour.start_s, pour.window) for pour in schedule.pours if pour.room in rooms]
    late = sum(start_s > window.closes_s + 1.0 for start_s, window in starts)
    last = {coat.room: coat.after.opens_s for coat in coats}
    over_s = [opens_s - job.due(room).timestamp() for room, opens_s in last.items()]
    return late, int(np.ceil(max([0.0, *over_s]) / LATE_BAND_S))


def beats(job: Job, other: Candidate, carried: Candidate) -> bool:
    """Whether another way is better than carrying on by more than is doubtful.

    The crew has the old order in mind and pails stand in ice for it. A floor left out comes
    first, and what loses more for sure is no way to go; then how often all of it holds, up
    to what was asked, by more than is doubtful, where the mean night loses no more by it;
    then the things that are lost. A layer is late for sure at the confidence asked: it may
    well bond in half of the nights, and saving it cost more buckets than it saves coats.
    """
    lost, lost_other = carried.lost(job), other.lost(job)
    if lost[0] != lost_other[0]:
        return lost_other[0] < lost[0]
    if lost_other > lost:
        return False
    ours, theirs = carried.lost_of(job), other.lost_of(job)
    gain = _gain(job, carried.odds, other.odds.all_frac)
    if gain > 0.0 and theirs.mean() <= ours.mean():
        return True
    # Nobody comes another night for a minute or two.
    if lost_other == lost and (gain or other.nights > carried.nights):
        return False
    # Both ways through the same nights, in none of which less is lost than for sure: what is
    # better by less than nights differ by is worse in too many of them.
    fewer = np.maximum(ours, _for_sure(lost)) - np.maximum(theirs, _for_sure(lost_other))
    if lost[1] == lost_other[1]:
        fewer = fewer + max(lost[2] - 1, 0) - max(lost_other[2] - 1, 0)
    return float(fewer.mean()) > max(LOST_THINGS, float(fewer.std()))


def _for_sure(lost: tuple[int, int, int]) -> int:
    """Layers too late, and an opening: one thing, by however many bands."""
    return lost[1] + min(lost[2], 1)


def _gain(job: Job, carried: Odds, theirs: float) -> float:
    """How much oftener all of it holds another way, up to what was asked; 0 where no more
    than the count of drawn nights leaves open, and what the odds themselves may be off."""
    gain = chance_gain(job, carried, theirs)
    return gain if abs(gain) > chance_doubt(carried, theirs) + ODDS_OFF else 0.0


def chance_gain(job: Job, carried: Odds, theirs: float) -> float:
    """How much oftener all of it holds another way, up to what was asked."""
    asked = job.policy.confidence
    return min(asked, theirs) - min(asked, carried.all_frac)


def chance_doubt(carried: Odds, theirs: float) -> float:
    """What two chances may differ by for the count of drawn nights alone."""
    ours = carried.all_frac
    both = ours * (1.0 - ours) + theirs * (1.0 - theirs)
    return float(2.0 * np.sqrt(both / carried.members))


def could_be_beaten(job: Job, carried: Candidate, state: NightState) -> bool:
    """Whether another way could be better at all: what is begun is lost or not either way."""
    if any(carried.lost(job)) or _gain(job, carried.odds, carried.odds.begun_frac) > 0.0:
        return True
    begun = sum(
        float(np.sum(1.0 - frac[: state.done(room)]))
        for room, frac in carried.odds.bucket_frac.items()
    )
    return carried.expected_lost - begun > LOST_THINGS


def carry_on(
    job: Job, pours: Mapping[str, RoomPours], old: Plan, state: NightState
) -> tuple[Schedule, tuple[str, ...]] | None:
    """The night as planned, and floors that no shift holds; None where not even what lies
    on the floor can be brought to an end."""
    left_out: tuple[str, ...] = ()
    while len(left_out) < len(job.rooms):
        kept = without(job, left_out)
        found = _timed(kept, pours, old, state)
        if isinstance(found, Schedule):
            return found, left_out
        if found in state.floors and state.floors[found].done:
            return None
        left_out = (*left_out, found)
    return None


def without(job: Job, names: Sequence[str]) -> Job:
    """The job without some rooms; nobody crosses them."""
    kept = [room for room in job.rooms if room.name not in names]
    rooms = tuple(
        replace(
            room,
            way_out=tuple(floor for floor in job.crossed_from(room.name) if floor not in names),
        )
        for room in kept
    )
    return replace(job, rooms=rooms)


def _timed(
    job: Job, pours: Mapping[str, RoomPours], old: Plan, state: NightState
) -> Schedule | str:
    """Coats at the planned hours, or sooner where one would come too late; or the floor
    that finds no place."""
    best: tuple[tuple[int, int, bool, float], Schedule] | None = None
    stuck = job.rooms[0].name
    for held, waits in _held(job, old):
        model = _model(job, pours, old, held=held, waits=waits)
        for choice in _choices(model, old, state):
            if isinstance(choice, int):
                stuck = model.names[choice]
                continue
            schedule = model.schedule(choice)
            key = (*lateness(job, schedule), not held, schedule.opens_s)
            if best is None or key < best[0]:
                best = (key, schedule)
        if best is not None and best[0][:2] == (0, 0):
            break
    return stuck if best is None else best[1]


def _held(job: Job, old: Plan) -> list[tuple[bool, bool]]:
    """Whether coats are held at their hours, and pours that waited for another shift: not
    where shifts or stays were moved since."""
    waits = (True, False) if hours_moved(job, old.job) else (True,)
    return [(held, wait) for wait in waits for held in (True, False)]


def _choices(
    model: FloorModel, old: Plan, state: NightState
) -> Iterator[tuple[tuple[int, ...], ...] | int]:
    """The order timed, crossed floors coated in turn or last; or the room that is stuck."""
    if model.problem.empty:
        yield model.problem.empty[0][0]
        return
    order = [model.names.index(name) for name in _order(model.job, old, state)]
    for crossed_last in (False, True) if model.problem.crossings else (False,):
        timed = time_order(model.problem, order, manner="driven", crossed_last=crossed_last)
        if timed.choice is not None:
            yield timed.choice
        elif timed.stuck is not None:
            yield timed.stuck[0]


def _order(job: Job, old: Plan, state: NightState) -> list[str]:
    """Begun floors as they were begun, the others as planned, an added one before the
    floors that lead out of it."""
    kept = {room.name for room in job.rooms}
    begun = sorted((f for f in state.floors.values() if f.done), key=lambda f: f.poured_s[0])
    order = [floor.room.room for floor in begun if floor.room.room in kept]
    planned = sorted(old.rooms, key=lambda room: room.order)
    order += [r.room for r in planned if r.room in kept and r.room not in order]
    for added in (added for added in state.added if added.name in kept):
        ways = [order.index(name) for name in added.way_out if name in order[len(begun) :]]
        order.insert(min(ways, default=len(order)), added.name)
    return order


def _model(
    job: Job, pours: Mapping[str, RoomPours], old: Plan, *, held: bool, waits: bool
) -> FloorModel:
    """The problem with the planned options alone, and nothing too late."""
    late = _late(job, pours)
    planned_s = _planned_s(old, held=held, waits=waits)
    tables = Tables(
        pours={
            room.name: replace(
                pours[room.name],
                room=room,
                job=late,
                settled=pours[room.name].settled.later(planned_s.get(room.name, {})),
            )
            for room in late.rooms
        }
    )
    for room in old.rooms:
        if room.room in tables.pours and pours[room.room].settled.poured is None:
            one = tables.pours[room.room]
            one.settled = replace(
                one.settled, options=(option_of(room),), waited="hour" in room.remedies
            )
    asked = job.policy.confidence
    sure = Sureness(windows=min(asked, old.decisions.held_frac), margins=asked)
    model = floor_model(late, tables, sure=sure)
    last = int(model.slots.last_until(job.access.open_by.timestamp()))
    begun = [tables.pours[name].settled.poured is not None for name in model.names]
    return replace(model, problem=_never_late(model.whole, begun, last=last))


def _never_late(problem: Problem, begun: Sequence[bool], *, last: int) -> Problem:
    """No layer is ever too old for the next; pours still end before the kitchen opens."""

    def open_ended(room: int, number: int, stage: Stage) -> Stage:
        if number == problem.pour(room) and not begun[room]:
            stage = stage.keep(stage.ends <= last)
        return replace(stage, closes=np.full_like(stage.closes, NEVER))

    rooms = tuple(
        tuple(open_ended(room, number, stage) for number, stage in enumerate(stages))
        for room, stages in enumerate(problem.rooms)
    )
    return replace(problem, rooms=rooms, loose=frozenset(range(len(rooms))))


def _late(job: Job, pours: Mapping[str, RoomPours]) -> Job:
    """The job with its opening as late as the hours are known, and shifts a little longer."""
    last_s = min(one.conditions.last_s for one in pours.values())
    far = datetime.fromtimestamp(last_s, job.site.zone)
    shifts = tuple(_longer(shift) for shift in job.crew.pour_shifts)
    return replace(
        job,
        access=replace(job.access, open_by=max(job.access.open_by, far)),
        crew=replace(job.crew, pour_shifts=shifts),
        rooms=tuple(replace(room, open_by=None) for room in job.rooms),
    )


def _longer(shift: Shift) -> Shift:
    return shift.moved(ends_min=round(OVER_SHIFT.total_seconds() / 60)) or shift


def _planned_s(old: Plan, *, held: bool, waits: bool) -> dict[str, dict[str, float]]:
    """Begin of every layer as planned, by room and stage: pours only where the plan waited
    for a cooler hour or, where that `waits` still, for a shift; coats only where they are
    held."""
    found: dict[str, dict[str, float]] = {room.room: {} for room in old.rooms}
    ended_s = -np.inf
    for room in sorted(old.rooms, key=lambda room: room.order):
        start_s = room.pour_start.timestamp()
        meant = waits or "hour" in room.remedies
        if meant and start_s - ended_s > old.job.crew.changeover_s + WAITED_S:
            found[room.room]["pour"] = start_s
        ended_s = room.pour_end.timestamp()
    for primer in old.primers:
        found[primer.room][primer.stage] = primer.start.timestamp()
    for coat in old.coats if held else ():
        found[coat.room][coat.stage] = coat.start.timestamp()
    return found
