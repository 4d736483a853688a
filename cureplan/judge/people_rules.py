"""Who is called when, from when to when, and how long ahead."""

from __future__ import annotations

from collections.abc import Iterator

from cureplan.clock import epoch_s
from cureplan.job.model import Shift
from cureplan.judge.amounts import mismeasured
from cureplan.judge.calendar_rules import coat_tasks, in_shift
from cureplan.judge.case import Case, Floor
from cureplan.judge.compare import differs, later, sooner
from cureplan.judge.finding import MARGIN_TOL_S, Finding, wall_clock
from cureplan.judge.standing import laying
from cureplan.plan import Call

__all__ = ["check_calls"]


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
    yield from _check_lead(case, call, called_s, first_s)
    yield from later("calls", call.room, zone, f"{who} called", called_s, first_s, 0.0)
    yield from mismeasured(
        "calls", call.room, f"{who}, share at work", call.busy_frac,
        min(1.0, max(0.0, call.busy_frac)), within=0.0, unit="share",
    )  # fmt: skip
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


def _check_lead(case: Case, call: Call, called_s: float, first_s: float) -> Iterator[Finding]:
    """Called a set-up or a changeover ahead: of the vacuum, where that comes first."""
    crew, floor = case.plan.job.crew, case.floor(call.room)
    if floor is not None and call.stage == "coat 1":
        first_s -= laying(case, floor).vacuum_s
    near_s = min(
        (first_s - ahead_s for ahead_s in (crew.setup_s, crew.changeover_s)),
        key=lambda due_s: abs(due_s - called_s),
    )
    zone, who = case.plan.job.site.zone, f"{call.role} for {call.stage} called"
    span_s = (near_s, near_s)
    yield from differs("calls", call.room, zone, who, called_s, span_s, MARGIN_TOL_S)


def _shifts(case: Case, call: Call) -> tuple[Shift, ...]:
    crew = case.plan.job.crew
    return crew.pour_shifts if call.stage == "pour" else crew.topcoat_shifts


def _work(case: Case, floor: Floor) -> Iterator[tuple[str, str, float, float]]:
    """Stage, role, and from when to when the floor needs it."""
    at, card = floor.planned, case.plan.job.cards.slurry
    mixed_s = at.filler_s + card.filler_mix_s
    for role, first_s, last_s in (
        ("foreman", at.liquids_s, at.broadcast_s),
        ("mixer", at.liquids_s, mixed_s),
        ("runner", mixed_s, at.pour_s),
        ("rake", at.pour_s, at.raked_s),
        ("edge", at.pour_s, at.smoothed_s),
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
    for label, said_s, is_s in (("first", first_s, begins_s), ("last", last_s, ends_s)):
        yield from differs(
            "calls", name, zone, f"{who}, {label} task", said_s, (is_s, is_s), MARGIN_TOL_S
        )
