"""Who is called when, and whether the ice is there in time."""

from __future__ import annotations

from collections.abc import Iterator

from cureplan.clock import epoch_s
from cureplan.job.model import Shift
from cureplan.judge.calendar_rules import coat_tasks, in_shift
from cureplan.judge.case import Case, Floor
from cureplan.judge.compare import later, sooner
from cureplan.judge.finding import MARGIN_TOL_S, Finding, wall_clock
from cureplan.judge.standing import laying
from cureplan.plan import Call

__all__ = ["check_calls", "check_ice"]


def check_calls(case: Case) -> Iterator[Finding]:
    """Everyone is called before his first task and stays for all of the work."""
    for call in case.plan.calls:
        yield from _check_call(case, call)
    for floor in case.floors:
        for stage, role, begins_s, ends_s in _work(case, floor):
            if _people(case, role) > 0:
                yield from _check_cover(case, floor, stage, role, begins_s, ends_s)


def _people(case: Case, role: str) -> int:
    crew = case.plan.job.crew
    return {
        "foreman": 1,
        "mixer": crew.mixer,
        "runner": crew.runner,
        "rake": crew.rake,
        "smoother": crew.smoother,
        "broadcaster": crew.broadcaster,
        "edge": crew.edge,
        "vacuum": crew.topcoat,
        "topcoat": crew.topcoat,
    }.get(role, 0)


def _check_call(case: Case, call: Call) -> Iterator[Finding]:
    zone = case.plan.job.site.zone
    who = f"{call.role} for {call.stage}"
    called_s, first_s, last_s = (
        epoch_s(at) for at in (call.call, call.first_task, call.last_task)
    )
    yield from later("calls", call.room, zone, f"{who} called", called_s, first_s, 0.0)
    yield from sooner("calls", call.room, zone, f"{who}, last task", last_s, first_s, 0.0)
    people = _people(case, call.role)
    if call.people != people:
        yield Finding(
            rule="calls",
            room=call.room,
            what=f"{call.room}: {call.people} called as {who}, the crew has {people}",
            off_by=float(abs(call.people - people)),
            unit="count",
        )
    if in_shift(case, _shifts(case, call), called_s) is None:
        yield Finding(
            rule="calls",
            room=call.room,
            what=f"{call.room}: {who} called {wall_clock(called_s, zone)}, outside access and "
            "every shift",
            off_by=(first_s - called_s) / 60,
            unit="min",
        )


def _shifts(case: Case, call: Call) -> tuple[Shift, ...]:
    crew = case.plan.job.crew
    return crew.pour_shifts if call.stage == "pour" else crew.topcoat_shifts


def _work(case: Case, floor: Floor) -> Iterator[tuple[str, str, float, float]]:
    """Stage, role, and from when to when the floor needs it."""
    at, card = floor.planned, case.plan.job.cards.slurry
    mixed_s = at.filler_s + card.filler_mix_s
    for role, first_s, last_s in (
        ("mixer", at.liquids_s, mixed_s),
        ("runner", mixed_s, at.pour_s),
        ("rake", at.pour_s, at.raked_s),
        ("smoother", at.raked_s, at.smoothed_s),
        ("broadcaster", at.smoothed_s, at.broadcast_s),
    ):
        yield "pour", role, float(first_s.min()), float(last_s.max())
    vacuum_s = laying(case, floor).vacuum_s
    for task in coat_tasks(case, floor):
        first = task.label == "coat 1"
        start_s = task.begins_s + (vacuum_s if first else 0.0)
        if first:
            yield "vacuum", "vacuum", task.begins_s, start_s
        yield task.label, "topcoat", start_s, task.ends_s


def _check_cover(
    case: Case, floor: Floor, stage: str, role: str, begins_s: float, ends_s: float
) -> Iterator[Finding]:
    calls = [
        call
        for call in case.plan.calls
        if (call.room, call.stage, call.role) == (floor.name, stage, role)
    ]
    if len(calls) != 1:
        yield Finding(
            rule="calls",
            room=floor.name,
            what=f"{floor.name}: {role} is called {len(calls)} times for {stage}, not once",
            off_by=float(abs(len(calls) - 1)),
            unit="count",
        )
        return
    first_s, last_s = epoch_s(calls[0].first_task), epoch_s(calls[0].last_task)
    name, zone, who = floor.name, floor.zone, f"{role} for {stage}"
    yield from later("calls", name, zone, f"{who}, first task", first_s, begins_s, MARGIN_TOL_S)
    yield from sooner("calls", name, zone, f"{who}, last task", last_s, ends_s, MARGIN_TOL_S)


def check_ice(case: Case) -> Iterator[Finding]:
    """Floors, buckets and the ice plan agree on what is chilled; the ice comes in time."""
    chill = case.plan.chill
    chilled = {floor.name for floor in case.floors if floor.plan.chilled}
    iced = [room.room for room in chill.rooms]
    if sorted(iced) != sorted(chilled) or chill.iced != bool(chilled):
        yield Finding(
            rule="ice",
            room=None,
            what=f"chilled floors are {sorted(chilled)}, ice is planned for {sorted(iced)} "
            f"and the answer is {'ice' if chill.iced else 'no ice'}",
            off_by=float(max(1, len(chilled ^ set(iced)))),
            unit="count",
        )
    for floor in case.floors:
        cold = {bucket.chilled for bucket in floor.buckets}
        if cold != {floor.plan.chilled} or floor.plan.chilled != (
            "chill" in floor.plan.remedies
        ):
            yield Finding(
                rule="ice",
                room=floor.name,
                what=f"{floor.name}: the floor, its remedies and its buckets do not agree on "
                "whether liquids are chilled",
                off_by=1.0,
                unit="count",
            )
        if floor.name in iced:
            yield from _check_ice_of(case, floor)


def _check_ice_of(case: Case, floor: Floor) -> Iterator[Finding]:
    chill = case.plan.chill
    room = next(room for room in chill.rooms if room.room == floor.name)
    if room.kits != len(floor.buckets):
        yield Finding(
            rule="ice",
            room=floor.name,
            what=f"{floor.name}: ice is planned for {room.kits} kits of {len(floor.buckets)}",
            off_by=float(abs(room.kits - len(floor.buckets))),
            unit="count",
        )
    name, zone, first_s = floor.name, floor.zone, floor.begins_s
    for label, at in (
        ("pails in ice", room.in_ice_by),
        ("pails in stirred ice", room.in_ice_by_stirred),
        ("cold liquids needed", room.needed_at),
        ("first pails in ice", chill.in_ice_by),
    ):
        by_s = float("inf") if at is None else epoch_s(at)
        yield from later("ice", name, zone, label, by_s, first_s, MARGIN_TOL_S)
