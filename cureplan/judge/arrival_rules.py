"""People as they really come: where they are needed, not too long, and rested."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise

from cureplan.judge.case import Case
from cureplan.judge.finding import Finding, wall_clock
from cureplan.planning.plan.model import Arrival, Call, Stop

__all__ = ["check_arrivals"]

MOST_EARLY = timedelta(minutes=5)
PAILS_TAKE = timedelta(minutes=15)
SECOND = timedelta(seconds=1.5)


def check_arrivals(case: Case) -> Iterator[Finding]:
    """Every call, and the ice of every floor, is somebody's who is there by then."""
    if not case.plan.arrivals:
        return
    for call in case.plan.calls:
        yield from _check_call(case, call)
    for room in case.plan.chill.rooms:
        seen_to = [
            arrival
            for arrival in case.plan.arrivals
            for stop in arrival.stops
            if (stop.stage, stop.room) == ("ice", room.room)
            and arrival.call <= stop.first_task
            and stop.last_task <= min(room.in_ice_by, arrival.leaves) + SECOND
            and stop.last_task - stop.first_task > PAILS_TAKE - SECOND
        ]
        if len(seen_to) != 1:
            yield _finding(
                room.room, f"pails of {room.room} are put in ice by {len(seen_to)}, not one"
            )
    yield from _check_outside(case)
    whose: dict[str, list[Arrival]] = {}
    for arrival in case.plan.arrivals:
        whose.setdefault(arrival.who, []).append(arrival)
    for who, theirs in whose.items():
        yield from _check_stays(case, who, sorted(theirs, key=lambda a: a.call))
        yield from _check_two_places(who, [stop for one in theirs for stop in one.stops])


def _check_two_places(who: str, stops: list[Stop]) -> Iterator[Finding]:
    """Nobody puts pails in ice while he is at something else."""
    for ice in (stop for stop in stops if stop.stage == "ice"):
        for other in (stop for stop in stops if stop is not ice):
            ends, begins = (
                min(ice.last_task, other.last_task), max(ice.first_task, other.first_task)
            )  # fmt: skip
            if ends - begins > SECOND:
                yield _finding(
                    ice.room,
                    f"{who} puts pails of {ice.room} in ice while at {other.stage} of "
                    f"{other.room}",
                    ends - begins,
                )


def _check_outside(case: Case) -> Iterator[Finding]:
    """Before anybody may come in pails alone are seen to, and the plan says so of each."""
    if case.plan.night is not None:
        return
    job = case.plan.job
    opens = job.access.begins
    early = [
        (arrival.who, stop)
        for arrival in case.plan.arrivals
        for stop in arrival.stops
        if stop.first_task < opens - SECOND
    ]
    for who, stop in early:
        if stop.stage != "ice":
            yield _finding(
                stop.room, f"{who} begins {stop.stage} of {stop.room} before the access"
            )
    stated = [w.values for w in case.plan.warnings if w.code == "warn.ice_outside"]
    said = {name for values in stated for name in str(values["rooms"]).split("; ")}
    pails = {stop.room for _, stop in early if stop.stage == "ice"}
    for room in sorted(said ^ pails):
        how = "not said to stand" if room in pails else "said to stand, and do not"
        yield _finding(room, f"pails of {room} are {how} in ice before the access")
    first = min((stop.last_task for _, stop in early if stop.stage == "ice"), default=None)
    for values in stated:
        for label, is_at in (("in_ice_at", first), ("access_at", opens)):
            said_at = datetime.fromisoformat(str(values[label]))
            if is_at is not None and abs(said_at - is_at) > SECOND:
                off = abs(said_at - is_at)
                yield _finding(None, f"{label} of pails in ice before the access is off", off)


def _finding(room: str | None, what: str, off: timedelta = timedelta(minutes=1)) -> Finding:
    return Finding(
        rule="people", room=room, what=what, off_by=off.total_seconds() / 60, unit="min"
    )


def _check_call(case: Case, call: Call) -> Iterator[Finding]:
    role = "topcoat" if call.role == "vacuum" else call.role
    for who in call.names or (role,):
        there = [
            arrival
            for arrival in case.plan.arrivals
            if arrival.who == who
            and arrival.call <= call.first_task
            and call.last_task <= arrival.leaves + SECOND
            and arrival.people >= (1 if call.names else call.people)
        ]
        if len(there) != 1:
            yield _finding(
                call.room,
                f"{call.room}: {who} is wanted for {call.stage} from "
                f"{wall_clock(call.first_task.timestamp(), case.plan.job.site.zone)} and is "
                f"there {len(there)} times",
            )


def _check_stays(case: Case, who: str, theirs: list[Arrival]) -> Iterator[Finding]:
    """Called early to five minutes, there no longer than may be, with a rest in between."""
    crew = case.plan.job.crew
    person = next((p for p in crew.people if p.name == who), None)
    longest_s = crew.most_s(person)
    for arrival in theirs:
        if arrival.call.minute % 5 or arrival.call.second:
            yield _finding(None, f"{who} is called at an odd minute, {arrival.call:%H:%M:%S}")
        first = min((stop.first_task for stop in arrival.stops), default=arrival.call)
        ahead = first - arrival.call
        late = ahead - timedelta(seconds=max(crew.setup_s, crew.changeover_s)) - MOST_EARLY
        # Whoever works on what leads up to a coat is called a set-up before that.
        if ahead < timedelta() or late > SECOND:
            yield _finding(None, f"{who} is called {ahead} before the first task", abs(ahead))
        over = (arrival.leaves - arrival.call).total_seconds() - (longest_s or float("inf"))
        if over > 1.5:
            yield _finding(
                None, f"{who} stays longer than {(longest_s or 0) / 3600:g} h",
                timedelta(seconds=over),
            )  # fmt: skip
    for before, after in pairwise(theirs):
        rest = after.call - before.leaves
        short = timedelta(seconds=crew.rest_s or 0.0) - rest
        errand = ("ice",) in (before.roles, after.roles)
        if short > SECOND and not errand:
            yield _finding(None, f"{who} rests {rest}, {short} too short", short)
