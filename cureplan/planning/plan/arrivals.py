"""Who really comes when: one row for each person, or role without names, and arrival.

Moving to the next room is no arrival, and who vacuums lays the coat after it. Times of
coming are rounded to five minutes on the early side. Putting pails in ice is a task with
an hour like any other, of whoever is there, or of somebody who comes for it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from cureplan.core.clock import floor_to, on_site
from cureplan.core.messages import Message, Value
from cureplan.inputs.job.crew import LONGEST_SHIFT_S, POUR_ROLES, Crew
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.ice import IceNeed
from cureplan.planning.plan.model import (
    Arrival,
    Break,
    Call,
    ChillPlan,
    ChillRoom,
    Labour,
    Plan,
    Stop,
)

__all__ = [
    "arrival_plans",
    "arrivals_of",
    "ice_cautions",
    "ice_outside",
    "labour_of",
    "longest_stay_s",
    "people_warnings",
    "sooner_than_needed_s",
    "stays_min",
]

EARLY_MIN = 5
ICE_TASK = timedelta(minutes=15)
"""Putting the pails of a floor in ice: invented."""
WORTH_SOONER_S = 300.0
"""Pails in ice by less sooner than they need are in time: invented."""
COMES_SOONER = timedelta(minutes=90)
"""Who is there within that comes sooner, or stays, instead of coming twice: invented."""


def arrivals_of(plan: Plan) -> tuple[Arrival, ...]:
    """The plan's arrivals; of a plan made before they were written, from its calls."""
    if plan.arrivals:
        return tuple(plan.arrivals)
    return arrival_plans(plan.job, plan.calls, plan.chill)


def arrival_plans(job: Job, calls: Iterable[Call], chill: ChillPlan) -> tuple[Arrival, ...]:
    """Everybody's arrivals, in the order of the clock."""
    found = [
        _arrival(job.crew, who, visit)
        for who, theirs in _by_who(job.crew, calls).items()
        for visit in _visits(job.crew, theirs)
    ]
    for room in sorted(chill.rooms, key=lambda room: room.in_ice_by):
        _ice(job.crew, found, room.room, room.in_ice_by)
    found = _stays(job.crew, found)
    found = [replace(a, breaks=tuple(_breaks(job.crew, a))) for a in found]
    return tuple(sorted(found, key=lambda a: (a.call, _rank(job.crew, a.who))))


def _rank(crew: Crew, who: str) -> int:
    names = [person.name for person in crew.people]
    roles: list[str] = ["foreman", *POUR_ROLES, "primer", "topcoat"]
    return (names or roles).index(who)


def _role(call: Call) -> str:
    """What it is called for: the topcoat crew vacuums."""
    return "topcoat" if call.role == "vacuum" else call.role


def _by_who(crew: Crew, calls: Iterable[Call]) -> dict[str, list[Call]]:
    found: dict[str, list[Call]] = {}
    for call in sorted(calls, key=lambda call: (call.call, call.first_task)):
        for who in call.names if crew.people else (_role(call),):
            found.setdefault(who, []).append(call)
    return found


def _visits(crew: Crew, calls: Sequence[Call]) -> Iterator[list[Call]]:
    """Calls of one stay each: what follows without a rest belongs to it."""
    stay: list[Call] = []
    for call in calls:
        over = max((before.last_task for before in stay), default=None)
        if over is not None and (call.first_task - over).total_seconds() > crew.again_s:
            yield stay
            stay = []
        stay.append(call)
    yield stay


def _arrival(crew: Crew, who: str, calls: Sequence[Call]) -> Arrival:
    return Arrival(
        who=who,
        named=bool(crew.people),
        people=1 if crew.people else max(call.people for call in calls),
        call=floor_to(min(call.call for call in calls), minutes=EARLY_MIN),
        leaves=max(call.last_task for call in calls),
        roles=tuple(dict.fromkeys(_role(call) for call in calls)),
        stops=tuple(
            Stop(
                role=_role(call),
                room=call.room,
                stage=call.stage,
                first_task=call.first_task,
                last_task=call.last_task,
            )
            for call in sorted(calls, key=lambda call: call.first_task)
        ),
        reason=calls[0].reason,
    )


def _ice(crew: Crew, found: list[Arrival], room: str, by: datetime) -> None:
    """Give the pails of a floor to somebody with his hands free: who is there, comes soon, or
    comes for it; sooner than they are due where all hands are at something else by then.

    Who could not rest in between comes sooner and stays.
    """
    chosen, ends = next(_for_ice(crew, found, by), (None, by))
    if chosen is not None:
        found[found.index(chosen)] = _with(chosen, _pails(room, ends))
        return
    who, ends = max(
        ((who, _hands_free(found, who, by)) for who in _able(crew)),
        key=lambda one: (one[1], _rested(crew, found, one[0], one[1] - ICE_TASK, one[1])),
    )
    begins = ends - ICE_TASK
    found.append(
        Arrival(
            who=who,
            named=bool(crew.people),
            people=1,
            call=floor_to(begins, minutes=EARLY_MIN),
            leaves=ends,
            roles=("ice",),
            stops=(_pails(room, ends),),
            reason=Message("call.ice", {}),
        )
    )


def _pails(room: str, ends: datetime) -> Stop:
    """Putting the pails of a floor in ice, done by then."""
    return Stop(
        role="ice", room=room, stage="ice", first_task=ends - ICE_TASK, last_task=ends
    )  # fmt: skip


def _for_ice(
    crew: Crew, found: Sequence[Arrival], by: datetime
) -> Iterator[tuple[Arrival, datetime]]:
    """Whose stay takes in the pails of a floor, and by when they are done, best first."""
    able, begins = _able(crew), by - ICE_TASK
    # Who is named for the ice sees to it; else whoever is on site, the runner first.
    hands = [a for a in found if a.who in able or not crew.holding("ice")]
    hands.sort(key=lambda a: (a.who not in able, a.call))
    free = {a.who: _hands_free(found, a.who, by) == by for a in found}
    yield from ((a, by) for a in hands if free[a.who] and a.call <= begins and by <= a.leaves)
    mine = sorted((a for a in found if a.who in able), key=lambda a: abs(a.call - by))
    longer = [a for a in mine if free[a.who] and _may_grow(crew, found, a, begins, by)]
    sooner = [
        (a, ends)
        for a in hands
        if (ends := _sooner(crew, found, a, by, grows=a.who in able)) is not None
    ]
    sooner.sort(key=lambda one: (one[0].who not in able, by - one[1]))
    near = [(a, ends) for a, ends in sooner if by - ends <= COMES_SOONER]
    # Nobody stays hours longer where somebody there has a quarter of an hour before that.
    yield from ((a, ends) for a, ends in near if a.call <= ends - ICE_TASK and by <= a.leaves)
    yield from ((a, by) for a in longer if _time_between(a, begins, by) <= COMES_SOONER)
    yield from near
    at_hand = [who for who in able if free.get(who, True)]
    if not any(_rested(crew, found, who, begins, by) for who in at_hand):
        yield from ((a, by) for a in longer)
    if not at_hand:
        yield from sooner


def _sooner(
    crew: Crew, found: Sequence[Arrival], arrival: Arrival, by: datetime, *, grows: bool
) -> datetime | None:
    """When pails due by then are done within a stay, or soon before it where it `grows`."""
    ends = _hands_free(found, arrival.who, min(by, arrival.leaves))
    begins = ends - ICE_TASK
    fits = arrival.call <= begins or (
        grows
        and _time_between(arrival, begins, ends) <= COMES_SOONER
        and _may_grow(crew, found, arrival, begins, ends)
    )
    return ends if fits else None


def _hands_free(found: Iterable[Arrival], who: str, by: datetime) -> datetime:
    """The last hour up to which somebody can have pails in ice and be nowhere else."""
    stops = [stop for a in found if a.who == who for stop in a.stops]
    ends = sorted({by, *(s.first_task for s in stops if s.first_task < by)}, reverse=True)
    return next(
        at
        for at in ends
        if all(s.last_task <= at - ICE_TASK or at <= s.first_task for s in stops)
    )


def _stays(crew: Crew, found: Sequence[Arrival]) -> list[Arrival]:
    """Nobody goes home for less than an hour and a half between the ice and something else."""
    kept: list[Arrival] = []
    in_turn = sorted(found, key=lambda arrival: arrival.call)
    for number, one in enumerate(in_turn, start=1):
        same = [other for other in kept if (other.who, other.people) == (one.who, one.people)]
        before = same[-1] if same else None
        iced = before is not None and "ice" in (*before.roles, *one.roles)
        near = before is not None and one.call - before.leaves <= COMES_SOONER
        if (
            before is None
            or not (iced and near)
            or not _may_grow(crew, [*kept, *in_turn[number:]], before, one.call, one.leaves)
        ):
            kept.append(one)
            continue
        joined = before
        for stop in one.stops:
            joined = _with(joined, stop)
        kept[kept.index(before)] = joined
    return kept


def _time_between(arrival: Arrival, begins: datetime, ends: datetime) -> timedelta:
    """How long lies between a stay and another time; nothing where they meet."""
    return max(arrival.call - ends, begins - arrival.leaves, timedelta())


def _able(crew: Crew) -> list[str]:
    """Who sees to the ice, first the ones named for it, else who carries the buckets."""
    if not crew.people:
        return ["runner"]
    named = crew.holding("ice") or crew.holding("runner")
    return [person.name for person in named]


def _with(arrival: Arrival, stop: Stop) -> Arrival:
    stops = sorted((*arrival.stops, stop), key=lambda stop: stop.first_task)
    return replace(
        arrival,
        call=min(arrival.call, floor_to(stop.first_task, minutes=EARLY_MIN)),
        leaves=max(arrival.leaves, stop.last_task),
        roles=tuple(dict.fromkeys((*arrival.roles, stop.role))),
        stops=tuple(stops),
    )


def _may_grow(
    crew: Crew, found: Iterable[Arrival], arrival: Arrival, begins: datetime, ends: datetime
) -> bool:
    """Whether a stay may take in another time: it is not too long, and the rest around it
    stays. Who comes for the ice alone breaks a rest, and is warned of.
    """
    others = [a for a in found if a is not arrival and a.roles != ("ice",)]
    comes = min(arrival.call, floor_to(begins, minutes=EARLY_MIN))
    return _short_enough(crew, arrival, begins, ends) and _rested(
        crew, others, arrival.who, comes, max(arrival.leaves, ends)
    )


def _short_enough(crew: Crew, arrival: Arrival, begins: datetime, ends: datetime) -> bool:
    """Whether a stay that takes in another time as well is not too long."""
    longest_s = longest_stay_s(crew, arrival.who)
    comes = min(arrival.call, floor_to(begins, minutes=EARLY_MIN))
    stays_s = (max(arrival.leaves, ends) - comes).total_seconds()
    return stays_s <= (LONGEST_SHIFT_S if longest_s is None else longest_s)


def longest_stay_s(crew: Crew, who: str) -> float | None:
    """How long somebody may stay by the job [s]; None where it says nothing."""
    person = next((p for p in crew.people if p.name == who), None)
    return crew.most_s(person)


def _rested(
    crew: Crew, found: Iterable[Arrival], who: str, begins: datetime, ends: datetime
) -> bool:
    """Whether somebody can come in between and still rest before and after."""
    rest = timedelta(seconds=crew.rest_s or 0.0)
    return all(
        ends + rest <= a.call or a.leaves + rest <= begins for a in found if a.who == who
    )


def _breaks(crew: Crew, arrival: Arrival) -> Iterator[Break]:
    """When somebody has nothing to do for as long as a break."""
    over = arrival.stops[0].last_task
    for stop in arrival.stops[1:]:
        if (stop.first_task - over).total_seconds() >= crew.break_for_s:
            yield Break(begins=over, ends=stop.first_task)
        over = max(over, stop.last_task)


def labour_of(job: Job, arrivals: Sequence[Arrival]) -> Labour:
    """Heads and person-hours of a plan, from coming to going."""
    crew = job.crew
    heads = len({arrival.who for arrival in arrivals})
    if not crew.people:
        # The pour crew primes, and one of its runners sees to the ice.
        poured = sum(getattr(crew, role) for role in POUR_ROLES)
        heads = 1 + max(poured, crew.primer if job.cards.primer else 0) + crew.topcoat
    # Four digits keep the minutes.
    worked_min = sum(a.people * stays_min(a) for a in arrivals)
    return Labour(heads=heads, person_hours=round(worked_min / 60.0, 4))


def stays_min(arrival: Arrival) -> int:
    """How long somebody stays, in begun minutes, as it is shown and added up."""
    return math.ceil((arrival.leaves - arrival.call).total_seconds() / 60.0 - 1e-6)


def people_warnings(job: Job, arrivals: Sequence[Arrival]) -> Iterator[Message]:
    """Breaks that are missing, stays that are long, and who comes for the ice alone."""
    yield from _long_stays(job, arrivals)
    yield from _short_rests(job, arrivals)
    without: dict[str, timedelta] = {}
    for arrival in arrivals:
        longest = _longest_work(arrival)
        if longest.total_seconds() > job.crew.break_after_s:
            without[arrival.who] = max(longest, without.get(arrival.who, longest))
    if without:
        values: dict[str, Value] = {
            "who": "; ".join(without),
            "works_s": max(without.values()).total_seconds(),
            "break_s": job.crew.break_for_s,
            "after_s": job.crew.break_after_s,
        }
        yield Message("warn.no_break", values)
    for arrival in arrivals:
        if arrival.roles == ("ice",):
            yield Message(
                "warn.ice_call",
                {
                    "who": arrival.who,
                    "call_at": arrival.call.isoformat(),
                    "rooms": "; ".join(stop.room for stop in arrival.stops),
                },
            )


def ice_outside(job: Job, arrivals: Iterable[Arrival]) -> tuple[Message, ...]:
    """That pails go in ice before anybody may come in, where they do: they stand outside."""
    early = [
        stop
        for arrival in arrivals
        for stop in arrival.stops
        if stop.stage == "ice" and stop.first_task < job.access.begins
    ]
    if not early:
        return ()
    early.sort(key=lambda stop: stop.last_task)
    values: dict[str, Value] = {
        "rooms": "; ".join(stop.room for stop in early),
        "in_ice_at": early[0].last_task.isoformat(),
        "access_at": on_site(job.access.begins, job.site.zone).isoformat(),
    }
    return (Message("warn.ice_outside", values),)


def sooner_than_needed_s(stop: Stop, room: ChillRoom) -> float:
    """By how much pails go in ice sooner than they need to [s]; 0 where it is no matter."""
    sooner_s = (room.in_ice_by - stop.last_task).total_seconds()
    return sooner_s if sooner_s >= WORTH_SOONER_S else 0.0


def ice_cautions(
    job: Job,
    arrivals: Iterable[Arrival],
    chill: ChillPlan,
    *,
    need: IceNeed,
    mixed: Mapping[str, datetime],
) -> Iterator[Message]:
    """Pails that go in ice sooner than they need, as all hands are busy by then, where nobody
    is left to stir them; and those left standing until they are colder than the card allows.

    `mixed` says when the last bucket of a floor is begun.
    """
    if chill.measured:
        return
    rooms = {room.room: room for room in chill.rooms}
    stirred = job.materials.stirred_in_ice
    for stop in (s for a in arrivals for s in a.stops if s.stage == "ice"):
        room = rooms[stop.room]
        at: dict[str, Value] = {"room": stop.room, "in_ice_at": stop.last_task.isoformat()}
        sooner = sooner_than_needed_s(stop, room)
        if stirred and sooner:
            stir_at = room.in_ice_by_stirred.isoformat()
            values = {**at, "sooner_s": sooner, "stir_at": stir_at}
            yield Message("warn.ice_sooner_stir", values)
        stands_s = (mixed[stop.room] - stop.last_task).total_seconds()
        if not stirred and stands_s > need.too_cold_standing_s:
            cold = stop.last_task + timedelta(seconds=need.too_cold_standing_s)
            yield Message(
                "warn.ice_too_cold",
                {
                    **at,
                    "cold_at": cold.isoformat(),
                    "minimum_c": job.cards.slurry.coldest_liquids_c,
                    "mixed_at": mixed[stop.room].isoformat(),
                },
            )


def _long_stays(job: Job, arrivals: Sequence[Arrival]) -> Iterator[Message]:
    """Stays beyond what is usual where the job states nothing; on a night, beyond its own."""
    for stated in (False, True):
        long: dict[str, float] = {}
        limits: list[float] = []
        for arrival in arrivals:
            longest_s = longest_stay_s(job.crew, arrival.who)
            stays_s = (arrival.leaves - arrival.call).total_seconds()
            most_s = LONGEST_SHIFT_S if longest_s is None else longest_s
            if stays_s > most_s and (longest_s is not None) == stated:
                long[arrival.who] = max(stays_s, long.get(arrival.who, 0.0))
                limits.append(most_s)
        if long:
            values: dict[str, Value] = {
                "who": "; ".join(long),
                "stays_s": max(long.values()),
                "longest_s": min(limits),
            }
            yield Message("warn.over_stay" if stated else "warn.long_stay", values)


def _short_rests(job: Job, arrivals: Sequence[Arrival]) -> Iterator[Message]:
    """Who comes again before the rest is over: for the ice alone, or on a night."""
    rest_s = job.crew.rest_s or 0.0
    short: dict[str, float] = {}
    for place, arrival in enumerate(arrivals):
        for after in arrivals[place + 1 :]:
            rests_s = (after.call - arrival.leaves).total_seconds()
            if after.who == arrival.who and rests_s < rest_s - 1.0:
                short[arrival.who] = min(rests_s, short.get(arrival.who, rests_s))
    if short:
        values: dict[str, Value] = {
            "who": "; ".join(short),
            "rests_s": max(0.0, min(short.values())),
            "rest_s": rest_s,
        }
        yield Message("warn.short_rest", values)


def _longest_work(arrival: Arrival) -> timedelta:
    """The longest stretch from coming, or a break, to the next break or going."""
    edges = [arrival.call, *(b.ends for b in arrival.breaks)]
    ends = [*(b.begins for b in arrival.breaks), arrival.leaves]
    return max(end - begin for begin, end in zip(edges, ends, strict=True))
