"""Where the night stands: which buckets lie on the floor, who is left, what must wait."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from cureplan.core.clock import MINUTES_PER_DAY
from cureplan.inputs.job.crew import minutes_of
from cureplan.inputs.job.model import Crew, Job, Shift
from cureplan.inputs.tables.night_log import OPENS, STAYS, AddedRoom, NightEvent
from cureplan.planning.plan.model import Plan, RoomPlan
from cureplan.planning.replan.coats import (
    CoatState,
    coat_lines,
    coat_states,
    cove_states,
    primer_states,
)
from cureplan.planning.schedule.changes import (
    COAT_LONGER,
    COAT_SOONER,
    POURING,
    STAYING,
    opening_at,
)

__all__ = ["FloorState", "NightState", "hours_moved", "night_state"]

FETCH_S = 3600.0
"""What it takes to have another drill or hand on site where the last is lost: invented."""
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorState:
    """One planned floor: its buckets already poured, always the first ones."""

    room: RoomPlan
    poured_s: Array
    """When each was poured [epoch s], shape (done,)."""
    assumed: tuple[int, ...]
    """Those without a line in the log, taken as poured in step with the plan."""
    bay: NDArray[np.int64]
    row: NDArray[np.int64]
    """Where each of its buckets lies, shape (kits,)."""

    @property
    def done(self) -> int:
        """Buckets poured."""
        return int(self.poured_s.size)

    @property
    def complete(self) -> bool:
        """Whether nothing is left to pour."""
        return self.done == self.room.kits


@dataclass(frozen=True, slots=True, kw_only=True)
class NightState:
    """The night at `now_s`, as log and plan tell it."""

    now_s: float
    floors: Mapping[str, FloorState]
    """In the plan's order, dropped ones left out."""
    dropped: tuple[str, ...]
    added: tuple[AddedRoom, ...]
    job: Job
    """The plan's, with who is left and the hours as the log has moved them."""
    wait_s: float
    """Nothing is mixed before this [epoch s]."""
    wait_said_s: float
    """When that was said [epoch s]; -inf where nothing waits."""
    coats: Mapping[tuple[str, int], CoatState]
    """Those begun, by room and number."""
    primed: Mapping[str, CoatState]
    """Primers begun, by room."""
    coved: Mapping[str, CoatState]
    """Coves begun, by room."""
    vacuumed: frozenset[str]
    halted: tuple[NightEvent, ...] = ()
    """Lines by which the last station or hand of a kind was lost, with no word since."""

    @property
    def crew(self) -> Crew:
        """Who is left, in the shifts they now have."""
        return self.job.crew

    def done(self, room: str) -> int:
        """Buckets of a floor that are poured."""
        return self.floors[room].done if room in self.floors else 0

    def still_to_pour(self, job: Job) -> list[str]:
        """Rooms of a job of which nothing is poured yet."""
        return [room.name for room in job.rooms if not self.done(room.name)]


def night_state(plan: Plan, events: Sequence[NightEvent], *, now: datetime) -> NightState:
    """Read the state of the night off plan and log."""
    now_s = now.timestamp()
    for event in events:
        if event.at.timestamp() > now_s + 0.5:
            raise event.fault(
                "at",
                "it lies after the time of planning",
                _clock_cure(events, now_s, event.at.astimezone(plan.job.site.zone).tzname()),
                event.at.isoformat(),
            )
    laid = coat_lines(plan, events)
    waits = [e for e in events if e.until is not None]
    wait_s = max((e.until.timestamp() for e in waits if e.until), default=-np.inf)
    job = _as_moved(plan.job, events)
    crew, halts = _crew(job.crew, events)
    halted = _unresolved(halts, events, in_mixer_s=plan.rules.in_mixer_s)
    if halted:
        wait_s = max(wait_s, now_s + FETCH_S)
    dropped = [e for e in events if e.event == "room dropped"]
    floors = _floors(plan, events, [*waits, *halted], laid, now_s)
    gone = tuple(dict.fromkeys(str(e.room) for e in dropped))
    for event in dropped:
        if event.room in floors and floors[event.room].done:
            raise event.fault(
                "room",
                f"{floors[event.room].done} of its buckets are poured already",
                'finish it, or hold the crew with "wait until"',
                event.room,
            )
    return NightState(
        now_s=now_s,
        floors={name: floor for name, floor in floors.items() if name not in gone},
        dropped=tuple(name for name in gone if name in floors),
        added=tuple(e.added for e in events if e.added is not None and e.room not in gone),
        job=replace(job, crew=crew),
        coats=coat_states(plan, laid, now_s=now_s),
        primed=primer_states(plan, events, now_s=now_s),
        coved=cove_states(plan, events, now_s=now_s),
        vacuumed=frozenset(str(line.room) for line in laid if line.event == "vacuumed"),
        halted=halted,
        wait_s=float(wait_s),
        wait_said_s=max((e.at.timestamp() for e in (*waits, *halted)), default=-np.inf),
    )


def _clock_cure(events: Sequence[NightEvent], now_s: float, zone: str | None) -> str:
    """Where an hour less would put every line right, a clock runs by another zone."""
    ahead_s = max(event.at.timestamp() for event in events) - now_s
    first_s = min(event.at.timestamp() for event in events) - now_s
    if ahead_s <= 3600.0 and first_s > -3600.0:
        return f"is a clock an hour ahead of site time ({zone})? Mend the times, or --now"
    return "check the time, or give a later --now"


def _floors(
    plan: Plan,
    events: Sequence[NightEvent],
    waits: Sequence[NightEvent],
    laid: Sequence[NightEvent],
    now_s: float,
) -> dict[str, FloorState]:
    logged = _logged(events, apart_s=plan.rules.apart_s)
    floors: dict[str, FloorState] = {}
    late_s, open_before = 0.0, False
    for room in sorted(plan.rooms, key=lambda r: r.order):
        planned_s = np.array([b.pour.timestamp() for b in plan.buckets_of(room.room)])
        lines = logged.get(room.room, {})
        others = [
            s for name, rows in logged.items() if name != room.room for s in rows.values()
        ]
        if lines:
            poured_s, late_s = _between_lines(planned_s, lines)
            last_s = float(poured_s[-1])
            stop_s = now_s if now_s - last_s > plan.rules.kept_s else last_s
        else:
            poured_s, last_s = np.zeros(0), -np.inf
            elsewhere = any(planned_s[0] <= s - late_s <= planned_s[-1] for s in others)
            stop_s = -np.inf if open_before or elsewhere else now_s
        halts = [w.at.timestamp() for w in waits if w.at.timestamp() >= last_s]
        halts += _losses_s(events, room.room, after=max(lines, default=0))
        due_s = planned_s[poured_s.size :] + late_s
        on_s = due_s[due_s <= min([stop_s, *halts])]
        over = next((line for line in laid if line.room == room.room), None)
        if over is not None:
            # Nobody coats or vacuums a floor that is not all poured.
            on_s = due_s
            _refuse_unpoured(over, np.concatenate([poured_s, due_s]))
        poured_s = np.concatenate([poured_s, on_s])
        floors[room.room] = FloorState(
            room=room,
            bay=np.array([b.bay - 1 for b in plan.buckets_of(room.room)]),
            row=np.array([b.row - 1 for b in plan.buckets_of(room.room)]),
            poured_s=poured_s,
            assumed=tuple(n for n in range(1, poured_s.size + 1) if n not in lines),
        )
        open_before |= 0 < poured_s.size < planned_s.size
    return floors


def _refuse_unpoured(over: NightEvent, poured_s: Array) -> None:
    late = np.flatnonzero(poured_s > over.at.timestamp())
    if late.size:
        raise over.fault(
            "at",
            f"bucket {1 + int(late[0])} of {over.room} is not poured by then",
            "write down when it was poured, or check the time",
            over.at.isoformat(),
        )


def _losses_s(events: Sequence[NightEvent], room: str, *, after: int) -> list[float]:
    """When kits of a room were lost whose patch has not been poured since [epoch s]."""
    lost = (e for e in events if e.event == "lost" and e.room == room)
    return [e.at.timestamp() for e in lost if e.bucket is not None and e.bucket > after]


def _logged(events: Sequence[NightEvent], *, apart_s: float) -> dict[str, dict[int, float]]:
    """Times of the buckets that have a line, by room and number, checked for order."""
    logged: dict[str, dict[int, float]] = {}
    for event in events:
        if event.event != "poured" or event.room is None or event.bucket is None:
            continue
        lines = logged.setdefault(event.room, {})
        if event.bucket in lines:
            raise event.fault(
                "bucket", "it is poured twice", "keep one of the lines", event.bucket
            )
        # Events come in order of time, so a later one must have a higher number.
        if lines and event.bucket < max(lines):
            raise event.fault(
                "bucket",
                f"bucket {max(lines)} of this room was poured before it",
                "check numbers and times",
                event.bucket,
            )
        at_s = event.at.timestamp()
        if lines and at_s - max(lines.values()) < apart_s * (event.bucket - max(lines)):
            raise event.fault(
                "at",
                "there is no time between it and the bucket before",
                "check the time",
                event.at.isoformat(),
            )
        lines[event.bucket] = at_s
    return logged


def _between_lines(planned_s: Array, lines: Mapping[int, float]) -> tuple[Array, float]:
    """Buckets up to the last line; those without one keep step with their neighbours."""
    numbers = np.array(sorted(lines))
    late_s = np.array([lines[n] for n in numbers]) - planned_s[numbers - 1]
    upto = np.arange(1, numbers[-1] + 1)
    poured_s = planned_s[: upto.size] + np.interp(upto, numbers, late_s)
    # To the second, as every instant of a plan.
    return np.round(poured_s), float(late_s[-1])


_SHIFTS = {
    "pour shift until": ("pour_shifts", "ends", POURING, 1),
    "topcoat shift from": ("topcoat_shifts", "begins", COAT_SOONER, -1),
    "topcoat shift until": ("topcoat_shifts", "ends", COAT_LONGER, 1),
}
"""Which shifts a line moves, at which end, by which change, and which way that is; the last
word counts."""


def _as_moved(job: Job, events: Sequence[NightEvent]) -> Job:
    """The job with its hours as they were moved on the night, line by line."""
    kitchen = [e.opens_at for e in events if e.opens_at is not None and e.room is None]
    for event in events:
        if event.event in _SHIFTS:
            job = _shifted(job, event)
        elif event.event == OPENS:
            job = _opening(job, event, kitchen)
        elif event.event == STAYS:
            job = _staying(job, event)
    return job


def hours_moved(now: Job, before: Job) -> bool:
    """Whether a night has moved a crew's shifts, or how long anybody may stay, since it was
    planned."""
    ours, theirs = (
        (
            crew.pour_shifts,
            crew.topcoat_shifts,
            crew.longest_shift_s,
            [person.longest_shift_s for person in crew.people],
        )
        for crew in (now.crew, before.crew)
    )
    return ours != theirs


def _shifted(job: Job, event: NightEvent) -> Job:
    """With its shifts moved as a line says."""
    if event.shift_at is None:
        raise AssertionError("read with its hour")
    name, edge, moves, sign = _SHIFTS[event.event]
    shifts: tuple[Shift, ...] = getattr(job.crew, name)
    was = shifts[-1].ends if edge == "ends" else shifts[0].begins
    at = event.shift_at.astimezone(job.site.zone)
    later = minutes_of(at.time()) - minutes_of(was)
    later = (later + MINUTES_PER_DAY // 2) % MINUTES_PER_DAY - MINUTES_PER_DAY // 2
    shorter = later if edge == "begins" else -later
    least_min = min(shift.lasts_min for shift in shifts)
    change = moves.make(job, sign * later) if shorter < least_min else None
    if change is None:
        raise event.fault(
            "value",
            "a shift would last a whole day, or not at all",
            "check the time",
            event.shift_at.isoformat(),
        )
    return change.job


def _opening(job: Job, event: NightEvent, kitchen: Sequence[datetime]) -> Job:
    """With another hour for the kitchen to open by, or for a room of it, never after that and
    what is said of the `kitchen` besides."""
    if event.opens_at is None:
        raise AssertionError("read with its hour")
    open_by = event.opens_at.astimezone(job.site.zone)
    if event.room is None:
        rooms = tuple(
            room if room.open_by is None else replace(room, open_by=min(room.open_by, open_by))
            for room in job.rooms
        )
        return replace(opening_at(job, open_by), rooms=rooms)
    latest = max([job.access.open_by, *kitchen])
    if open_by > latest:
        by = latest.astimezone(job.site.zone)
        raise event.fault(
            "value",
            f"{event.room} cannot open after the kitchen, which opens by {by:%Y-%m-%d %H:%M}",
            "give an hour before that, or log the kitchen's own as well: the same line with "
            "the room left empty",
            open_by.isoformat(),
        )
    rooms = tuple(
        replace(room, open_by=open_by) if room.name == event.room else room
        for room in job.rooms
    )
    return replace(job, rooms=rooms)


def _staying(job: Job, event: NightEvent) -> Job:
    """With everybody staying longer."""
    change = STAYING.make(job, round((event.more_s or 0.0) / 60.0))
    if change is None:
        raise event.fault(
            "value",
            "nobody's stay is limited, or it would be longer than a day",
            "check the time, or leave the line out",
            event.value,
        )
    return change.job


def _crew(crew: Crew, events: Sequence[NightEvent]) -> tuple[Crew, list[NightEvent]]:
    """Who is left, and the lines by which the last of a kind is lost."""
    halts = []
    for event in events:
        what = "stations" if event.event == "drill down" else event.role
        if what is None:
            continue
        left = getattr(crew, what) - 1
        if left < 1:
            halts.append(event)
        else:
            crew = crew.with_more(what, -1)
    return crew, halts


def _unresolved(
    halts: Sequence[NightEvent], events: Sequence[NightEvent], *, in_mixer_s: float
) -> tuple[NightEvent, ...]:
    """Halts after which nobody said until when the crew waits, and nothing was poured."""

    def over(halt: NightEvent) -> bool:
        later = (event for event in events if event.at >= halt.at)
        return any(
            event.until is not None
            or (event.event == "poured" and (event.at - halt.at).total_seconds() > in_mixer_s)
            for event in later
        )

    return tuple(halt for halt in halts if not over(halt))
