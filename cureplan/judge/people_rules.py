"""Shifts, ways out, openings, and the calls of people."""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

import numpy as np

from cureplan.core.clock import TimeWindow, epoch_s, shift_windows
from cureplan.inputs.job.model import Shift
from cureplan.judge.case import Case, Floor
from cureplan.judge.compare import differs, later, sooner
from cureplan.judge.finding import (
    MARGIN_TOL_S,
    WINDOW_TOL_S,
    Finding,
    Rule,
    mismeasured,
    wall_clock,
)
from cureplan.judge.milestones import CureMilestones, lead_s, leading_up, step_s
from cureplan.planning.plan.model import Call

__all__ = [
    "Task",
    "check_calls",
    "check_coat_crew",
    "check_held",
    "check_pours",
    "check_way_out",
    "coat_tasks",
    "in_shift",
    "on_the_way_out",
]

ONE_GO_S = 150.0  # pours begin on whole minutes; what is left is no pause
EARLY_S = 299.0  # calls are rounded to five minutes on the early side
SECOND_S = 1.5  # two instants, each written to the second


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A stretch of work on one floor, seconds since 1970."""

    floor: Floor
    label: str
    begins_s: float
    ends_s: float


def check_pours(case: Case) -> Iterator[Finding]:
    """Pours keep to shifts and access, set-up and changeover, in the order given."""
    tasks = [_pour_task(case, floor) for floor in case.floors]
    for task in tasks:
        plan, zone = task.floor.plan, task.floor.zone
        for label, said, is_s in (
            ("pour starts", plan.pour_start, task.floor.begins_s),
            ("pour ends", plan.pour_end, task.ends_s),
        ):
            said_s = epoch_s(said)
            yield from differs(
                "pours", plan.room, zone, label, said_s, (is_s, is_s), MARGIN_TOL_S
            )
        yield from _check_shift(case, "pours", task, case.plan.job.crew.pour_shifts)
        held = task.floor.room.not_before
        yield from check_held(task.floor, "pours", "first bucket", task.floor.begins_s, held)
    primed = [task for floor in case.floors for task in _primer_tasks(case, floor)]
    for task in primed:
        yield from _check_shift(case, "primers", task, case.plan.job.crew.pour_shifts)
    # The pour crew primes: it is in one place at a time.
    crew = case.plan.job.crew
    together = not crew.people or any(
        {"pour", "primer"} <= {*crew.crews_of(person)} for person in crew.people
    )
    for alike in ([*primed, *tasks],) if together else (primed, tasks):
        yield from _check_one_crew(case, "pours", alike)
    yield from _check_groups(case, tasks)
    by_time = sorted(tasks, key=lambda task: task.begins_s)
    for place, task in enumerate(by_time, start=1):
        if task.floor.plan.order != place:
            yield Finding(
                rule="pours",
                room=task.floor.name,
                what=f"{task.floor.name}: numbered {task.floor.plan.order} in the order of "
                f"pouring, poured as number {place}",
                off_by=float(abs(task.floor.plan.order - place)),
                unit="count",
            )


def check_held(
    floor: Floor, rule: Rule, label: str, begins_s: float, held: datetime | None
) -> Iterator[Finding]:
    """Nothing begins before the hour the job holds it until."""
    if held is not None:
        at_s = epoch_s(held)
        yield from sooner(rule, floor.name, floor.zone, label, begins_s, at_s, SECOND_S)


def _check_groups(case: Case, tasks: list[Task]) -> Iterator[Finding]:
    """Rooms of one group are poured one right after the other; not where a night has begun."""
    by_time = sorted(tasks, key=lambda task: task.begins_s)
    for group in {task.floor.room.group for task in tasks} - {None}:
        places = [n for n, task in enumerate(by_time) if task.floor.room.group == group]
        for before, after in pairwise(by_time[places[0] : places[-1] + 1]):
            due_s = before.ends_s + _between_s(case, before, after)
            late_s = after.begins_s - due_s
            if case.plan.night is None and late_s > ONE_GO_S:
                yield Finding(
                    rule="pours",
                    room=after.floor.name,
                    what=f"{after.floor.name}: poured {late_s / 60:.0f} min after "
                    f"{before.floor.name} and the way over, though they go in one go",
                    off_by=late_s / 60,
                    unit="min",
                )


def check_coat_crew(case: Case) -> Iterator[Finding]:
    """One topcoat crew, inside its shifts, with its changeover."""
    tasks = [task for floor in case.floors for task in coat_tasks(case, floor)]
    for task in tasks:
        yield from _check_shift(case, "coats", task, case.plan.job.crew.topcoat_shifts)
    yield from _check_one_crew(case, "coats", tasks)
    poured = [_pour_task(case, floor) for floor in case.floors]
    primed = [task for floor in case.floors for task in _primer_tasks(case, floor)]
    crew = case.plan.job.crew
    if any({"pour", "topcoat"} <= {*crew.crews_of(person)} for person in crew.people):
        yield from _check_one_crew(case, "people", [*poured, *tasks])
    if any({"primer", "topcoat"} <= {*crew.crews_of(person)} for person in crew.people):
        yield from _check_one_crew(case, "people", [*primed, *tasks])


def check_way_out(case: Case, cured: dict[str, CureMilestones]) -> Iterator[Finding]:
    """Nobody crosses a floor that is wet: not in a pour, a vacuum, or a coat, and not
    with the tools for it."""
    carried = list(_with_tools(case))
    for floor in case.floors:
        tasks = [task for task in carried if task.floor is floor]
        for name in on_the_way_out(case, floor.room.way_out):
            crossed = case.floor(name)
            if crossed is None:
                continue
            for closed in _closed(crossed, cured[name]):
                for task in tasks:
                    yield from _check_crossing(task, closed)


def _with_tools(case: Case) -> Iterator[Task]:
    """Every task from when its tools are carried in: a set-up ahead of its crew's first in a
    shift, a changeover ahead of the others."""
    crew, floors = case.plan.job.crew, case.floors
    for shifts, tasks in (
        (crew.pour_shifts, [t for floor in floors for t in _primer_tasks(case, floor)]),
        (crew.pour_shifts, [_pour_task(case, floor) for floor in floors]),
        (crew.topcoat_shifts, [t for floor in floors for t in coat_tasks(case, floor)]),
    ):
        came: set[float] = set()
        for task in sorted(tasks, key=lambda task: task.begins_s):
            shift = in_shift(case, shifts, task.begins_s)
            since_s = float("-inf") if shift is None else epoch_s(shift.begins)
            ahead_s = crew.changeover_s if since_s in came else crew.setup_s
            came.add(since_s)
            yield replace(task, begins_s=task.begins_s - ahead_s)


def on_the_way_out(case: Case, names: Iterable[str]) -> set[str]:
    """Floors crossed to leave, those behind the next one too."""
    rooms = {room.name: room for room in case.plan.job.rooms}
    crossed: set[str] = set()
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        if name not in crossed:
            crossed.add(name)
            waiting += rooms[name].way_out if name in rooms else ()
    return crossed


def _check_crossing(task: Task, closed: Task) -> Iterator[Finding]:
    until_s = closed.ends_s - WINDOW_TOL_S
    shared_s = min(task.ends_s, until_s) - max(task.begins_s, closed.begins_s)
    if shared_s > SECOND_S:
        zone = closed.floor.zone
        yield Finding(
            rule="way out",
            room=task.floor.name,
            what=f"{task.floor.name}, {task.label} {wall_clock(task.begins_s, zone)} to "
            f"{wall_clock(task.ends_s, zone)}: {closed.floor.name} on the way out is closed "
            f"by its {closed.label} from {wall_clock(closed.begins_s, zone)} to "
            f"{wall_clock(closed.ends_s, zone)}",
            off_by=shared_s / 60,
            unit="min",
        )


def _closed(floor: Floor, cured: CureMilestones) -> Iterator[Task]:
    begins_s = {coat.stage: epoch_s(coat.start) for coat in floor.coats}
    begins_s["pour"] = floor.begins_s
    begins_s |= {primer.stage: epoch_s(primer.start) for primer in floor.primers}
    for stage, walkable_s in cured.walkable_by_stage_s.items():
        yield Task(floor=floor, label=stage, begins_s=begins_s[stage], ends_s=walkable_s)


def _pour_task(case: Case, floor: Floor) -> Task:
    """A pour with what leads up to it."""
    begins_s = floor.begins_s - lead_s(case, floor, "pour")
    return Task(floor=floor, label="pour", begins_s=begins_s, ends_s=floor.ends_pour_s)


def _primer_tasks(case: Case, floor: Floor) -> Iterator[Task]:
    for primer in floor.primers:
        yield Task(
            floor=floor,
            label=primer.stage,
            begins_s=epoch_s(primer.start) - lead_s(case, floor, primer.stage),
            ends_s=epoch_s(primer.end),
        )


def coat_tasks(case: Case, floor: Floor) -> Iterator[Task]:
    """Coats of a floor, each with what leads up to it."""
    for coat in floor.coats:
        label = coat.stage
        yield Task(
            floor=floor,
            label=label,
            begins_s=epoch_s(coat.start) - lead_s(case, floor, label),
            ends_s=epoch_s(coat.end),
        )


def in_shift(case: Case, shifts: tuple[Shift, ...], at_s: float) -> TimeWindow | None:
    """The shift, within access, in which an instant falls (its end included)."""
    job = case.plan.job
    windows = shift_windows(
        shifts, zone=job.site.zone, begins=job.access.begins, ends=job.access.open_by
    )
    for window in windows:
        if epoch_s(window.begins) - SECOND_S <= at_s <= epoch_s(window.ends) + SECOND_S:
            return window
    return None


def _check_shift(
    case: Case, rule: Rule, task: Task, shifts: tuple[Shift, ...]
) -> Iterator[Finding]:
    name, zone = task.floor.name, task.floor.zone
    window = in_shift(case, shifts, task.begins_s)
    if window is None:
        yield Finding(
            rule=rule,
            room=name,
            what=f"{name}, {task.label}: starts {wall_clock(task.begins_s, zone)}, outside "
            "access and every shift",
            off_by=(task.ends_s - task.begins_s) / 60,
            unit="min",
        )
        return
    ready_s = epoch_s(window.begins) + case.plan.job.crew.setup_s
    label = f"{task.label}, after setting up, starts"
    yield from sooner(rule, name, zone, label, task.begins_s, ready_s, MARGIN_TOL_S)
    shut_s = epoch_s(window.ends)
    yield from later(rule, name, zone, f"{task.label} ends", task.ends_s, shut_s, MARGIN_TOL_S)


def _check_one_crew(case: Case, rule: Rule, tasks: list[Task]) -> Iterator[Finding]:
    by_time = sorted(tasks, key=lambda task: (task.begins_s, task.ends_s))
    for before, after in pairwise(by_time):
        free_s = before.ends_s + _between_s(case, before, after)
        label = (
            f"{after.label}, after {before.floor.name} {before.label} and changeover, starts"
        )
        name, zone = after.floor.name, after.floor.zone
        yield from sooner(rule, name, zone, label, after.begins_s, free_s, MARGIN_TOL_S)


def _between_s(case: Case, before: Task, after: Task) -> float:
    """How long a crew takes to move over: inside a group as the job says."""
    crew = case.plan.job.crew
    own = crew.group_changeover_s
    groups = {before.floor.room.group, after.floor.room.group}
    if own is None or groups == {None} or len(groups) > 1:
        return crew.changeover_s
    return own if before.label == after.label == "pour" else crew.changeover_s


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
    if crew.people:
        return len(_able(case, role))
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
        "primer": crew.primer,
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
    if case.plan.job.crew.people:
        yield from _check_names(case, call)
    elif call.people != people:
        yield Finding(
            rule="calls",
            room=call.room,
            what=f"{call.room}: {call.people} called as {who}, the crew has {people}",
            off_by=float(abs(call.people - people)),
            unit="count",
        )
    # Rounded on the early side, a call may stand just before the shift it is for.
    reach_s = (called_s, called_s + EARLY_S)
    if all(in_shift(case, _shifts(case, call), at_s) is None for at_s in reach_s):
        yield Finding(
            rule="calls",
            room=call.room,
            what=f"{call.room}: {who} called {wall_clock(called_s, zone)}, outside access and "
            "every shift",
            off_by=(first_s - called_s) / 60,
            unit="min",
        )


def _able(case: Case, role: str) -> set[str]:
    """Names of those who can do a role; the topcoat crew vacuums."""
    people = case.plan.job.crew.people
    needs = "topcoat" if role == "vacuum" else role
    able = {person.name for person in people if needs in person.roles}
    return able or ({people[0].name} if role == "foreman" else set())


def _check_names(case: Case, call: Call) -> Iterator[Finding]:
    """As many as are named, each once, and each of them can do it."""
    able = _able(case, call.role)
    strangers = {*call.names} - able
    if strangers or len({*call.names}) != call.people or call.people < 1:
        yield Finding(
            rule="calls",
            room=call.room,
            what=f"{call.room}: {call.people} called as {call.role} for {call.stage}, named "
            f"are {', '.join(call.names) or 'none'}, able {', '.join(sorted(able))}",
            off_by=float(max(1, len(strangers))),
            unit="count",
        )


def _check_lead(case: Case, call: Call, called_s: float, first_s: float) -> Iterator[Finding]:
    """Called a set-up or a changeover ahead: of what leads up to it, where that is first."""
    crew, floor = case.plan.job.crew, case.floor(call.room)
    # Hands of a pour come for their buckets; who puts up its cove has a call for that.
    if floor is not None and call.stage != "pour":
        first_s -= lead_s(case, floor, call.stage)
    leads_s = [crew.setup_s, crew.changeover_s]
    if crew.group_changeover_s is not None and floor is not None and floor.room.group:
        leads_s.append(crew.group_changeover_s)
    near_s = min(
        (first_s - ahead_s for ahead_s in leads_s),
        key=lambda due_s: abs(due_s - called_s - EARLY_S / 2),
    )
    zone, who = case.plan.job.site.zone, f"{call.role} for {call.stage} called"
    span_s = (near_s - EARLY_S, near_s)
    yield from differs("calls", call.room, zone, who, called_s, span_s, MARGIN_TOL_S)


def _shifts(case: Case, call: Call) -> tuple[Shift, ...]:
    crew = case.plan.job.crew
    poured = call.stage in ("pour", "primer") or (call.stage, call.role) in (
        ("cove", "edge"),
        ("cove", "primer"),
    )
    return crew.pour_shifts if poured else crew.topcoat_shifts


def _work(case: Case, floor: Floor) -> Iterator[tuple[str, str, float, float]]:
    """Stage, role, and from when to when the floor needs it."""
    at, card = floor.planned, case.plan.job.cards.slurry
    mixed_s = at.filler_s + card.filler_mix_s
    # Whoever throws the strip along a seam has moved on to the next room by then.
    left_s = np.array([floor.ends_pour_s])
    for role, first_s, last_s in (
        ("foreman", at.liquids_s, left_s),
        ("mixer", at.liquids_s, mixed_s),
        ("runner", mixed_s, at.pour_s),
        ("rake", at.pour_s, at.raked_s),
        ("edge", at.pour_s, at.smoothed_s),
        ("smoother", at.raked_s, at.smoothed_s),
        ("broadcaster", at.smoothed_s, left_s),
    ):
        yield "pour", role, float(first_s.min()), float(last_s.max())
    yield from _leads(case, floor, _pour_task(case, floor))
    for task in _primer_tasks(case, floor):
        start_s = yield from _leads(case, floor, task)
        yield task.label, "primer", start_s, task.ends_s
    for task in coat_tasks(case, floor):
        start_s = yield from _leads(case, floor, task)
        yield task.label, "topcoat", start_s, task.ends_s


def _leads(
    case: Case, floor: Floor, task: Task
) -> Generator[tuple[str, str, float, float], None, float]:
    """What leads up to a task, and when its own work starts."""
    at_s = task.begins_s
    for lead in leading_up(case, floor, task.label):
        ends_s = at_s + step_s(case, floor, lead)
        yield lead.stage, lead.role, at_s, ends_s
        at_s = ends_s
    return at_s


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
