"""What a foreman may ask for when a job will not go: one limit, moved by so much."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from functools import partial
from typing import Any, Final, Literal

from cureplan.core.clock import DAY_S, MINUTES_PER_DAY
from cureplan.core.messages import Message
from cureplan.inputs.job.crew import Crew, minutes_of
from cureplan.inputs.job.model import Heat, Job, OpenFor, Remedy, Room, Shift
from cureplan.planning.floor.crew import slowest_task, with_one_more
from cureplan.planning.floor.split import ways_to_split
from cureplan.planning.schedule.placing import crew_spans

__all__ = [
    "COAT_LONGER",
    "COAT_SOONER",
    "EASE",
    "GRADED",
    "IN_SOONER",
    "MOST_HANDS",
    "OPENING",
    "POURING",
    "REMEDY_WORDS",
    "STAYING",
    "TASK_OF",
    "Change",
    "Graded",
    "also",
    "cooled",
    "elsewhere_stored",
    "hands",
    "heated",
    "in_spiked_shoes",
    "kind_of",
    "left_out",
    "missing_remedies",
    "more_hands",
    "more_hands_yet",
    "more_remedies",
    "open_for_less",
    "opening_at",
    "remedies_of",
    "room_later",
    "rooms_later",
    "splits",
    "unpinned",
    "with_less",
]

MOST_HANDS: Final = 3
"""So many more hands are thought of at most: invented."""
TASK_OF: Final = {
    "mixer": "mixer",
    "stations": "station",
    "runner": "haul",
    "rake": "rake",
    "smoother": "smooth",
    "broadcaster": "broadcast",
    "edge": "edge",
    "topcoat": "topcoat",
    "primer": "primer",
}
"""What more of a crew are told as."""
MIXING: Final = ("mixing", "mixer", "station")
MIXING_MIN, HAND_MIN = 90.0, 75.0
"""What one more at the mixing, or anywhere else, costs beside a delay [min]: invented."""
MOST_SPLIT: Final = 2
"""Rooms of which a split is tried."""
SPIKED_MIN, STORED_MIN, HEATED_MIN, LEFT_OUT_MIN = 20.0, 20.0, 240.0, 300.0
"""What shoes, another store, heaters or coolers, and a room left for another time cost
beside a delay [min]: invented."""
STORE_C: Final = (70.0 - 32.0) / 1.8
"""Where kits are usually kept, common practice, no source."""
REMEDY_WORDS: Final[dict[Remedy, str]] = {
    "hour": "another hour",
    "chill": "iced liquids",
    "cool filler": "a cool filler",
    "bays": "narrower bays",
}


EASE: Final[tuple[OpenFor, ...]] = ("feet", "carts", "wash-down")
LESSER_USES: Final[dict[OpenFor, float]] = {"carts": 120.0, "feet": 240.0}
"""What a floor may be opened for at first, and what that costs beside a delay [min]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A job with one limit moved, and how to say so."""

    job: Job
    say: Message
    effort_min: float
    """For putting changes in order, cheapest first: invented where it is not a delay."""
    to: datetime | time | timedelta | None = None
    """Where a limit is moved to, that of a shift by the clock of every day, or how much longer
    a stay is; None for what no line of a night's log can say."""
    also: Message | None = None
    """The second of two changes."""
    further: Change | None = None
    """The same limit moved further, should this not hold often enough."""

    def after(self, first: Change) -> Change:
        """This change, made to a job that another had changed already, told as one."""
        return Change(
            job=self.job,
            say=first.say,
            also=also(self.say),
            effort_min=first.effort_min + self.effort_min,
            further=None if self.further is None else self.further.after(first),
        )


def also(say: Message) -> Message:
    """A change told as the second of two."""
    return Message(say.code, {**say.values, "keeps": "also"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Graded:
    """A limit that can be moved little or much, by minutes or by heads."""

    make: Callable[[Job, int], Change | None]
    step_min: int
    most_min: int
    further_min: tuple[int, ...] = (60, 240)
    """How much further than the least that works it is moved to hold more often: the next
    where one does not do."""


def _clock(at: time) -> str:
    return f"{at:%H:%M}"


def opening_at(job: Job, open_by: datetime) -> Job:
    """The job with another hour to open by."""
    return replace(job, access=replace(job.access, open_by=open_by))


def _open_later(job: Job, minutes: int) -> Change:
    open_by = job.access.open_by + timedelta(minutes=minutes)
    return Change(
        job=opening_at(job, open_by),
        say=Message("relax.open_later", {"open_at": open_by.isoformat()}),
        effort_min=minutes,
        to=open_by,
    )


def room_later(name: str) -> Graded:
    """A room with an hour of its own to open by, wanted later; never after the kitchen."""

    def make(job: Job, minutes: int) -> Change | None:
        room = next(room for room in job.rooms if room.name == name)
        if room.open_by is None:
            return None
        open_by = min(room.open_by + timedelta(minutes=minutes), job.access.open_by)
        later = replace(room, open_by=open_by)
        rooms = tuple(later if other is room else other for other in job.rooms)
        return Change(
            job=replace(job, rooms=rooms),
            say=Message("relax.rooms_later", {"rooms": name, "open_at": open_by.isoformat()}),
            effort_min=minutes,
            to=open_by,
        )

    return replace(OPENING, make=make)


def rooms_later(job: Job) -> list[Graded]:
    """Each room with an hour of its own wanted later."""
    return [room_later(room.name) for room in job.rooms if room.open_by is not None]


def open_for_less(job: Job) -> list[Change]:
    """What "open" means taken for less: carts, or feet, and the rest when it may."""
    changes = []
    for lesser, effort_min in LESSER_USES.items():
        if any(EASE.index(room.open_for) > EASE.index(lesser) for room in job.rooms):
            rooms = tuple(
                replace(room, open_for=min(room.open_for, lesser, key=EASE.index))
                for room in job.rooms
            )
            say = Message("relax.open_for", {"open_for": f"open_for.{lesser}"})
            changed = replace(job, rooms=rooms)
            changes.append(Change(job=changed, say=say, effort_min=effort_min))
    return changes


def _in_sooner(job: Job, minutes: int) -> Change | None:
    """The first pour shift begun sooner; access as well, where it begins no sooner."""
    spans = crew_spans(job, job.crew.pour_shifts)
    if not spans:
        return None
    first = datetime.fromtimestamp(min(span.begins_s for span in spans), job.site.zone)
    # A shift that the access cuts short begins sooner already, by the clock.
    cut_min = min(
        (minutes_of(first.time()) - minutes_of(s.begins)) % MINUTES_PER_DAY
        for s in job.crew.pour_shifts
    )
    shifts = _all(job.crew.pour_shifts, begins=-max(0, minutes - cut_min))
    if shifts is None:
        return None
    from_at = first - timedelta(minutes=minutes)
    code = "relax.in_sooner" if from_at < job.access.begins else "relax.pour_sooner"
    begins = min(job.access.begins, from_at)
    return Change(
        job=replace(
            job,
            access=replace(job.access, begins=begins),
            crew=replace(job.crew, pour_shifts=shifts),
        ),
        say=Message(code, {"from_at": from_at.isoformat()}),
        effort_min=minutes,
    )


def _shift_moved(
    job: Job,
    minutes: int,
    *,
    crew_field: Literal["pour_shifts", "topcoat_shifts"],
    edge: Literal["begins", "ends"],
    code: str,
) -> Change | None:
    """A crew's shifts begun sooner, or ended later."""
    by = {"begins": -minutes} if edge == "begins" else {"ends": minutes}
    shifts = _all(getattr(job.crew, crew_field), **by)
    if shifts is None:
        return None
    moved: dict[str, Any] = {crew_field: shifts}
    clock = shifts[0].begins if edge == "begins" else shifts[-1].ends
    return Change(
        job=replace(job, crew=replace(job.crew, **moved)),
        say=Message(code, {"clock": _clock(clock)}),
        effort_min=minutes,
        to=clock,
    )


def _stay_longer(job: Job, minutes: int) -> Change | None:
    """Everyone whose stay is limited may stay longer; up to a day."""
    more_s, crew = 60.0 * minutes, job.crew
    longest = [crew.most_s(None), *(crew.most_s(person) for person in crew.people)]
    limited = [stay_s for stay_s in longest if stay_s is not None]
    if not limited or max(limited) + more_s > DAY_S:
        return None
    own = [person.longest_shift_s for person in crew.people]
    people = tuple(
        replace(person, longest_shift_s=None if stay_s is None else stay_s + more_s)
        for person, stay_s in zip(crew.people, own, strict=True)
    )
    usual_s = None if longest[0] is None else longest[0] + more_s
    return Change(
        job=replace(job, crew=replace(crew, people=people, longest_shift_s=usual_s)),
        say=Message("relax.stay_longer", {"more_s": more_s}),
        effort_min=minutes,
        to=timedelta(seconds=more_s),
    )


_pour_longer = partial(
    _shift_moved, crew_field="pour_shifts", edge="ends", code="relax.pour_longer"
)
_coat_sooner = partial(
    _shift_moved, crew_field="topcoat_shifts", edge="begins", code="relax.coat_sooner"
)
_coat_longer = partial(
    _shift_moved, crew_field="topcoat_shifts", edge="ends", code="relax.coat_longer"
)

OPENING: Final = Graded(
    make=_open_later, step_min=10, most_min=4320, further_min=(240, 600, 1440)
)
"""Two days of cure doubt hours, not minutes, and the day after is what a kitchen asks for,
where the same evening will not do."""
POURING: Final = Graded(make=_pour_longer, step_min=15, most_min=480)
COAT_SOONER: Final = Graded(make=_coat_sooner, step_min=15, most_min=480)
COAT_LONGER: Final = Graded(make=_coat_longer, step_min=15, most_min=480)
IN_SOONER: Final = Graded(make=_in_sooner, step_min=15, most_min=480)
STAYING: Final = Graded(make=_stay_longer, step_min=15, most_min=480)
GRADED: Final = (COAT_SOONER, COAT_LONGER, POURING, STAYING, IN_SOONER, OPENING)


def missing_remedies(job: Job) -> list[Remedy]:
    """The remedies a job does not allow."""
    return [name for name in REMEDY_WORDS if name not in job.policy.remedies]


def more_hands(job: Job, task: str) -> Change:
    """One more at a task of the pour, or at the coats ("topcoat") or the primer."""
    films = task in ("topcoat", "primer")
    crew = job.crew.with_more(task) if films else with_one_more(job.crew, task)
    return _with_crew(job, crew)


def hands(task: str) -> Graded:
    """More at a task, one after the other: at the pour each where the crew is then slowest."""

    def make(job: Job, count: int) -> Change | None:
        if count > MOST_HANDS:
            return None
        crew = more_hands(job, task).job.crew
        for _ in range(count - 1):
            then = task if task in ("topcoat", "primer") else slowest_task(job, crew)
            crew = more_hands(replace(job, crew=crew), then).job.crew
        return _with_crew(job, crew)

    return Graded(make=make, step_min=1, most_min=MOST_HANDS, further_min=())


def more_hands_yet(job: Job, changed: Job) -> Change | None:
    """One more hand still in a job that has been given some, where its pour is slowest: all
    of them told, and what this one costs. None where it was given none at the pour, or as
    many as are thought of."""
    given = _given(job.crew, changed.crew)
    if given.keys() <= {"topcoat", "primer"} or given.total() >= MOST_HANDS:
        return None
    one = more_hands(changed, slowest_task(changed, changed.crew))
    every = _with_crew(job, one.job.crew)
    return replace(every, job=one.job, effort_min=every.effort_min - _effort_min(given))


def _given(was: Crew, now: Crew) -> Counter[str]:
    """How many more there are at each task, by the names of their words."""
    more = {role: getattr(now, role) - getattr(was, role) for role in TASK_OF}
    both = min(more["mixer"], more["stations"])
    more["mixer"], more["stations"] = more["mixer"] - both, more["stations"] - both
    return +Counter({"mixing": both, **{TASK_OF[role]: n for role, n in more.items()}})


def _with_crew(job: Job, crew: Crew) -> Change:
    """The job with a larger crew."""
    given = _given(job.crew, crew)
    if given.total() == 1:
        say = Message(f"relax.more_{next(iter(given))}", {})
    else:
        some = (f"{task}.{n}" if n > 1 else task for task, n in given.items())
        say = Message("relax.more_hands", {"hands": "; ".join(some)})
    return Change(job=replace(job, crew=crew), say=say, effort_min=_effort_min(given))


def _effort_min(given: Counter[str]) -> float:
    return sum(MIXING_MIN if task in MIXING else HAND_MIN for task in given.elements())


def unpinned(job: Job) -> Iterator[Change]:
    """The job without the hours it holds layers until, where it holds any."""
    held = [room.name for room in job.rooms if room.pins]
    if held:
        rooms = tuple(room.unpinned() for room in job.rooms)
        say = Message("relax.unpinned", {"rooms": "; ".join(held)})
        yield Change(job=replace(job, rooms=rooms), say=say, effort_min=15.0)


def more_remedies(job: Job, remedies: Sequence[Remedy]) -> Change:
    """The job with remedies allowed that it does not list."""
    allowed = (*job.policy.remedies, *remedies)
    return Change(
        job=replace(job, policy=replace(job.policy, remedies=allowed)),
        say=Message("relax.remedies", {"remedies": "; ".join(remedies)}),
        effort_min=30.0 * len(remedies),
    )


def remedies_of(job: Job, other: Job) -> Change | None:
    """The job with the remedies that another allows besides."""
    names = [name for name in other.policy.remedies if name not in job.policy.remedies]
    return more_remedies(job, names) if names else None


def kind_of(say: Message) -> str:
    """What kind of change it is: more hands at a task, however many, are one."""
    task = say.code.removeprefix("relax.more_")
    if say.code == "relax.more_hands":
        task = str(say.values["hands"]).split("; ")[0].partition(".")[0]
    elif task == say.code:
        return say.code
    return "relax.more_" + ("mixing" if task in MIXING else task)


def with_less(change: Change, less: Change) -> Change:
    """A change to a job that opens its floors for less already, told as one."""
    return replace(
        change,
        also=also(less.say),
        effort_min=change.effort_min + less.effort_min,
        further=None if change.further is None else with_less(change.further, less),
    )


def in_spiked_shoes(job: Job) -> Iterator[Change]:
    """The second topcoat laid in spiked shoes, on a first that does not bear feet yet."""
    if not job.crew.spiked_shoes and any(room.topcoats > 1 for room in job.rooms):
        crew = replace(job.crew, spiked_shoes=True)
        say = Message("relax.spiked", {})
        yield Change(job=replace(job, crew=crew), say=say, effort_min=SPIKED_MIN)


def elsewhere_stored(job: Job) -> Iterator[Change]:
    """The kits kept at a usual temperature, where theirs is not what their card allows."""
    low_c, high_c = job.cards.slurry.limits.material_c
    stored_c = job.materials.storage_c
    if stored_c is None or low_c <= stored_c <= high_c:
        return
    kept_c = min(max(STORE_C, low_c), high_c)
    materials = replace(job.materials, storage_c=kept_c)
    say = Message("relax.stored", {"temp_c": kept_c})
    yield Change(job=replace(job, materials=materials), say=say, effort_min=STORED_MIN)


def left_out(job: Job, names: Sequence[str]) -> Iterator[Change]:
    """The job without some rooms, where others are left: they wait for another time."""
    kept = [room for room in job.rooms if room.name not in names]
    if not names or not kept or len(kept) == len(job.rooms):
        return
    rooms = tuple(
        replace(room, way_out=tuple(over for over in room.way_out if over not in names))
        for room in kept
    )
    say = Message("relax.left_out", {"rooms": "; ".join(names)})
    effort_min = LEFT_OUT_MIN * len(names)
    yield Change(job=replace(job, rooms=rooms), say=say, effort_min=effort_min)


def heated(job: Job, names: Sequence[str], *, to_c: float) -> Iterator[Change]:
    """Heaters from the first hour on in rooms that have none, and are not held."""
    cold = [r.name for r in job.rooms if r.name in names and _may_be_heated(r, to_c)]
    if not cold:
        return
    heat = Heat(to_c=to_c, from_at=job.access.begins, runs=True)
    rooms = tuple(replace(r, heat=heat) if r.name in cold else r for r in job.rooms)
    from_at = heat.from_at.isoformat()
    say = Message(
        "relax.heated", {"rooms": "; ".join(cold), "temp_c": to_c, "from_at": from_at}
    )
    yield Change(job=replace(job, rooms=rooms), say=say, effort_min=HEATED_MIN)


def _may_be_heated(room: Room, to_c: float) -> bool:
    return room.climate != "held" and (room.heat is None or room.heat.to_c < to_c)


def cooled(job: Job, names: Sequence[str], *, to_c: float) -> Iterator[Change]:
    """Rooms held at a temperature by cooling; taken further, by every remedy as well."""
    warm = [room for room in job.rooms if room.name in names and room.climate != "held"]
    if not warm:
        return
    rooms = tuple(
        replace(r, climate="held", set_point_c=to_c, heat=None) if r in warm else r
        for r in job.rooms
    )
    named = "; ".join(room.name for room in warm)
    change = Change(
        job=replace(job, rooms=rooms),
        say=Message("relax.cooled", {"rooms": named, "temp_c": to_c}),
        effort_min=HEATED_MIN,
    )
    missing = missing_remedies(job)
    every = more_remedies(change.job, missing).after(change) if missing else None
    yield replace(change, further=every)


def splits(job: Job) -> Iterator[Change]:
    """The largest rooms with stop lines in parts, each poured by itself."""
    for room in sorted(job.rooms, key=lambda room: -room.area_m2)[:MOST_SPLIT]:
        split = next(ways_to_split(job, room), None)
        if split is not None:
            parts = sum(part.part_of == room.name for part in split.rooms)
            yield Change(
                job=split,
                say=Message("relax.split", {"room": room.name, "parts": parts}),
                effort_min=240.0,
            )


def _all(
    shifts: tuple[Shift, ...], *, begins: int = 0, ends: int = 0
) -> tuple[Shift, ...] | None:
    """Every shift with its ends moved [min]; None where that makes it a whole day."""
    moved = [shift.moved(begins_min=begins, ends_min=ends) for shift in shifts]
    kept = tuple(shift for shift in moved if shift is not None)
    return kept if kept and len(kept) == len(moved) else None
