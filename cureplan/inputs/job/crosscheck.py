"""What no single key of a job file can show: names that must meet, limits that must agree.

Every check is a function from the file as written to the faults it finds; a job is built
only once none finds any.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from difflib import get_close_matches
from pathlib import Path

from cureplan.core.clock import MINUTES_PER_DAY
from cureplan.core.showing import format_length
from cureplan.inputs.faults import Fault
from cureplan.inputs.files import KeyPath
from cureplan.inputs.job.crew import POUR_ROLES
from cureplan.inputs.job.crew_schema import PersonEntry, ShiftEntry
from cureplan.inputs.job.model import (
    MOST_ROOMS,
    ring_length_m,
)
from cureplan.inputs.job.outlines import outline_faults
from cureplan.inputs.job.schema import JobFile, RoomEntry, SunEntry

__all__ = ["crosscheck"]


def crosscheck(job: JobFile, *, folder: Path) -> list[Fault]:
    """Every fault between the keys of a job file."""
    if len(job.rooms) > MOST_ROOMS:
        return [
            Fault(
                path=("rooms", MOST_ROOMS),
                problem=f"{len(job.rooms)} rooms are more than the {MOST_ROOMS} of one plan",
                cure="write a job file for each part of the building",
            )
        ]
    checks: Sequence[Callable[[JobFile], Iterator[Fault]]] = (
        _room_names,
        _ways_out,
        _circles,
        _climates,
        _shifts,
        _suns,
        _crew,
        _heads,
        _shift_lengths,
        _pace,
        _cove,
        _groups,
        _lists,
        _heat,
        outline_faults,
    )
    found = [fault for check in checks for fault in check(job)]
    return [*found, *_weather(job, folder)]


def _same(name: str) -> str:
    return name.casefold()


def _room_names(job: JobFile) -> Iterator[Fault]:
    seen: set[str] = set()
    for number, room in enumerate(job.rooms):
        if _same(room.name) in seen:
            yield Fault(
                path=("rooms", number, "name"),
                problem="another room has this name",
                cure="give each room its own name",
                value=room.name,
            )
        seen.add(_same(room.name))


def _ways_out(job: JobFile) -> Iterator[Fault]:
    names = [room.name for room in job.rooms]
    for number, room in enumerate(job.rooms):
        for place, name in enumerate(room.way_out):
            path: KeyPath = ("rooms", number, "way_out", place)
            if name == room.name:
                yield Fault(
                    path=path,
                    problem="a room is not on its own way out",
                    cure="remove it; an empty list means straight outside",
                    value=name,
                )
            elif name not in names:
                near = get_close_matches(name, names, n=1)
                meant = (
                    f'did you mean "{near[0]}"?' if near else f"rooms are {', '.join(names)}"
                )
                yield Fault(path=path, problem="no room has this name", cure=meant, value=name)
            elif name in room.way_out[:place]:
                yield Fault(
                    path=path, problem="this room stands twice", cure="keep one", value=name
                )


def _circles(job: JobFile) -> Iterator[Fault]:
    """Rooms that are each on the other's way out could never both be left."""
    ways = {room.name: set(room.way_out) - {room.name} for room in job.rooms}
    reached: dict[str, set[str]] = {}
    for name in ways:
        beyond: set[str] = set()
        ahead = list(ways[name])
        while ahead:
            step = ahead.pop()
            if step not in beyond:
                beyond.add(step)
                ahead.extend(ways.get(step, ()))
        reached[name] = beyond
    for number, room in enumerate(job.rooms):
        if room.name in reached[room.name]:
            others = [n for n in reached[room.name] if room.name in reached.get(n, ())]
            ring = sorted(set(others) - {room.name})
            yield Fault(
                path=("rooms", number, "way_out"),
                problem=f"its way out leads in a circle through {', '.join(ring)}",
                cure="list only the floors between the room and the door",
                value=", ".join(room.way_out),
            )
            return


def _climates(job: JobFile) -> Iterator[Fault]:
    building = job.building
    used = {room.climate or building.climate for room in job.rooms}
    for key, value in (("lag", building.lag_s), ("gain", building.gain_k)):
        if value is None and "drifting" in used:
            example = '"5 h"' if key == "lag" else '"2 F"'
            yield Fault(
                path=("building", key),
                problem="a drifting climate needs this key",
                cure=f"add a line like {key} = {example}",
            )
    for number, room in enumerate(job.rooms):
        yield from _climate_of_room(job, number, room)


def _climate_of_room(job: JobFile, number: int, room: RoomEntry) -> Iterator[Fault]:
    climate = room.climate or job.building.climate
    if climate == "held" and room.set_point_c is None and job.building.set_point_c is None:
        key = "climate" if room.climate else "name"
        yield Fault(
            path=("rooms", number, key),
            problem=f"{room.name} is held at a set point, but none is given",
            cure='add set_point = "72 F" to the room or to [building]',
            value=room.climate or room.name,
        )
    if climate != "held" and room.set_point_c is not None:
        yield Fault(
            path=("rooms", number, "set_point"),
            problem=f"the room's climate is {climate}, so a set point does nothing",
            cure='add climate = "held" to the room, or remove set_point',
        )


def _span_faults(path: KeyPath, span: ShiftEntry | SunEntry, what: str) -> Iterator[Fault]:
    if span.begins_min % MINUTES_PER_DAY == span.ends_min % MINUTES_PER_DAY:
        whole_day = (span.begins_min, span.ends_min) == (0, MINUTES_PER_DAY)
        if not whole_day:
            yield Fault(
                path=path,
                problem=f"{what} has zero length",
                cure='let to differ from from; round the clock is from "00:00" to "24:00"',
                value=f"{span.begins_min // 60:02d}:{span.begins_min % 60:02d}",
            )


def _shifts(job: JobFile) -> Iterator[Fault]:
    for key in ("pour_shifts", "topcoat_shifts"):
        for number, shift in enumerate(getattr(job.crew, key)):
            yield from _span_faults(("crew", key, number), shift, "this shift")


def _suns(job: JobFile) -> Iterator[Fault]:
    for number, room in enumerate(job.rooms):
        if room.sun is None:
            continue
        path: KeyPath = ("rooms", number, "sun")
        yield from _span_faults(path, room.sun, "this patch of sun")
        if room.sun.ends_min < room.sun.begins_min:
            yield Fault(
                path=(*path, "to"),
                problem="the sun does not shine through the night",
                cure="let to be later in the day than from",
                value=f"{room.sun.ends_min // 60:02d}:{room.sun.ends_min % 60:02d}",
            )


def _crew(job: JobFile) -> Iterator[Fault]:
    mixers = job.crew.mixer
    if job.people:
        mixers = sum("mixer" in person.roles for person in job.people)
    if mixers and job.crew.stations > mixers:
        yield Fault(
            path=("crew", "stations"),
            problem=f"{job.crew.stations} stations have only {mixers} to mix at them",
            cure=f"write at most {mixers}, or add a mixer",
            value=job.crew.stations,
        )


HEADS = (*POUR_ROLES, "topcoat")


def _heads(job: JobFile) -> Iterator[Fault]:
    """Heads are counted or named, and every role has somebody."""
    if job.people:
        yield from _named(job)
        return
    for role in HEADS:
        if getattr(job.crew, role) is None:
            yield Fault(
                path=("crew", role),
                problem="this key is missing",
                cure=f"add a line like {role} = 2, or list who they are in [[people]] tables",
            )


def _named(job: JobFile) -> Iterator[Fault]:
    for role in (*HEADS, "primer"):
        if role in job.crew.model_fields_set and getattr(job.crew, role) is not None:
            yield Fault(
                path=("crew", role),
                problem="heads are counted here although the people are listed by name",
                cure="remove this line; [[people]] says who can do it",
                value=getattr(job.crew, role),
            )
    yield from _persons(job)
    yield from _hours_meet(job)
    held = {role for person in job.people for role in person.roles}
    for role in (*HEADS, *(("primer",) if job.materials.primer else ())):
        if role not in held:
            yield Fault(
                path=("people", 0, "roles"),
                problem=f"nobody is listed for {role}",
                cure=f'add "{role}" to the roles of somebody',
                value=role,
            )


def _persons(job: JobFile) -> Iterator[Fault]:
    seen: dict[str, int] = {}
    for number, person in enumerate(job.people):
        name = _same(person.name)
        if name in seen:
            yield Fault(
                path=("people", number, "name"),
                problem=f"this person is listed twice, first as people[{seen[name] + 1}]",
                cure="put all roles into one entry, or write a surname",
                value=person.name,
            )
        seen.setdefault(name, number)
        for place, role in enumerate(person.roles):
            if role in person.roles[:place]:
                yield Fault(
                    path=("people", number, "roles", place),
                    problem="this stands twice",
                    cure="keep one",
                    value=role,
                )
        idle = _idle(job, person)
        if idle is not None:
            yield Fault(
                path=("people", number, "roles"),
                problem=f"there is no work for {person.name}: {idle}",
                cure="give another role, or remove the person",
                value=", ".join(person.roles),
            )
        for place, span in enumerate(person.hours or ()):
            yield from _span_faults(("people", number, "hours", place), span, "this span")


def _idle(job: JobFile, person: PersonEntry) -> str | None:
    """Why somebody has nothing to do; None where there is work."""
    why = {
        "primer": "" if job.materials.primer else "no primer is laid",
        "ice": "" if "chill" in job.policy.remedies else "chill is no remedy of this job",
    }
    idle = [why.get(role, "") for role in person.roles]
    return " and ".join(dict.fromkeys(idle)) if all(idle) else None


def _hours_meet(job: JobFile) -> Iterator[Fault]:
    """All of a crew are there at some hour of its shifts."""
    for key, roles in (
        ("pour_shifts", {*POUR_ROLES, "primer", "foreman"}),
        ("topcoat_shifts", {"topcoat"}),
    ):
        left = set().union(*(_minutes(shift) for shift in getattr(job.crew, key)))
        for number, person in enumerate(job.people):
            if not person.hours or not {*person.roles} & roles:
                continue
            left &= set().union(*(_minutes(span) for span in person.hours))
            if not left:
                yield Fault(
                    path=("people", number, "hours"),
                    problem=f"this leaves no hour of {key} at which all of that crew are there",
                    cure="widen these hours, or take the roles of that crew away",
                    value=person.name,
                )
                break


def _minutes(span: ShiftEntry) -> set[int]:
    begins, ends = span.begins_min, span.ends_min
    if ends <= begins:
        ends += MINUTES_PER_DAY
    return {minute % MINUTES_PER_DAY for minute in range(begins, ends)}


def _shift_lengths(job: JobFile) -> Iterator[Fault]:
    """No shift is over before the set-up is."""
    lengths: dict[KeyPath, float | None] = {("crew",): job.crew.longest_shift_s}
    for number, person in enumerate(job.people):
        lengths["people", number] = person.longest_shift_s
    for table, longest_s in lengths.items():
        if longest_s is not None and longest_s <= job.crew.setup_s:
            yield Fault(
                path=(*table, "longest_shift"),
                problem="such a shift is over before the set-up is",
                cure="write more than crew.setup",
                value=f"{longest_s / 3600:g} h",
            )


def _cove(job: JobFile) -> Iterator[Fault]:
    """A room's cove belongs to the job's, and breaks no pour that goes on from room to room."""
    for number, room in enumerate(job.rooms):
        if room.cove_m and job.cove is None:
            yield Fault(
                path=("rooms", number, "cove"),
                problem="the job has no cove base",
                cure="add a [cove] table with height, material, pace and when, or remove this",
            )
        rings = (room.corners_m, *room.islands_m)
        if room.cove_m and room.cove_m > 1.02 * sum(map(ring_length_m, rings)):
            yield Fault(
                path=("rooms", number, "cove"),
                problem="this is more cove than the room has edges",
                cure="write less, or leave it out for all its edges",
                value=format_length(room.cove_m, job.display),
            )
        grouped = room.group and sum(r.group == room.group for r in job.rooms) > 1
        before = job.cove is not None and job.cove.when == "before" and not job.materials.primer
        if grouped and before and room.cove_m != 0:
            yield Fault(
                path=("rooms", number, "group"),
                problem="rooms of a group are poured in one go, no cove is put up in between",
                cure='put the cove up after the pour, give the room cove = "0 ft", or leave '
                "out its group",
                value=room.group,
            )


def _groups(job: JobFile) -> Iterator[Fault]:
    """A group of one room joins nothing, and is most often a name written another way."""
    named = [room.group for room in job.rooms]
    for number, group in enumerate(named):
        if group is not None and named.count(group) == 1:
            near = get_close_matches(group, [g for g in named if g and g != group], n=1)
            yield Fault(
                path=("rooms", number, "group"),
                problem="no other room is in this group",
                cure=f'did you mean "{near[0]}"?'
                if near
                else "give the room it meets the same group, or leave this out",
                value=group,
            )


def _pace(job: JobFile) -> Iterator[Fault]:
    if job.pace.row_depth_min_m > job.pace.row_depth_max_m:
        stated = "row_depth_min" if "row_depth_min_m" in job.pace.model_fields_set else None
        yield Fault(
            path=("pace", stated or "row_depth_max"),
            problem="row_depth_min is more than row_depth_max",
            cure="let row_depth_min be the smaller (defaults are 2 ft and 5 ft)",
        )


def _lists(job: JobFile) -> Iterator[Fault]:
    lists: tuple[tuple[KeyPath, Sequence[str]], ...] = (
        (("policy", "remedies"), job.policy.remedies),
        (("languages",), job.languages),
    )
    for path, words in lists:
        for place, word in enumerate(words):
            if word in words[:place]:
                yield Fault(
                    path=(*path, place),
                    problem="this stands twice",
                    cure="keep one",
                    value=word,
                )


def _heat(job: JobFile) -> Iterator[Fault]:
    """A remedy needs its heaters, and a room that is held needs none."""
    given = [room.heat for room in job.rooms if room.heat] or job.building.heat
    if "heat" in job.policy.remedies and not given:
        yield Fault(
            path=("policy", "remedies", job.policy.remedies.index("heat")),
            problem="no heaters are given",
            cure='add heat = { to = "65 F", from = ... } to [building] or a room, or remove it',
            value="heat",
        )
    for number, room in enumerate(job.rooms):
        climate = room.climate or job.building.climate
        if room.heat is not None and climate == "held":
            yield Fault(
                path=("rooms", number, "heat"),
                problem=f"{room.name} is held at a set point already",
                cure="raise its set_point, or remove heat",
            )


def _weather(job: JobFile, folder: Path) -> Iterator[Fault]:
    weather = job.weather
    if weather.source != "file":
        return
    if weather.file is None:
        yield Fault(
            path=("weather", "file"),
            problem="weather from a file needs its name",
            cure='add a line like file = "weather.csv"',
        )
        return
    try:
        found = (folder / weather.file).is_file()
        stands = not found and (folder / weather.file).exists()
    except (OSError, ValueError):
        found = stands = False
    if not found:
        yield Fault(
            path=("weather", "file"),
            problem="this is a folder, or no regular file"
            if stands
            else f"there is no such file in {folder}",
            cure="check the name; it is read from the job file's folder",
            value=weather.file,
        )
