"""Rooms too large for one shift, split at stop lines the job allows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from cureplan.core.clock import shift_windows
from cureplan.inputs.job.model import MOST_ROOMS, Job, Point, Room
from cureplan.planning.floor.layers import cove_lasts_s
from cureplan.planning.floor.layout import cadence_of, lay_out, relative_times
from cureplan.planning.floor.outline import parts_at

__all__ = ["longest_shift_s", "pour_lasts_s", "split_long", "split_room", "ways_to_split"]


def pour_lasts_s(job: Job, room: Room) -> float:
    """How long a room is poured in one bay by the job's crew, with the cove ahead of it."""
    crew, card, layout = job.crew, job.cards.slurry, lay_out(room, job, bays=1)
    times = relative_times(
        layout,
        card,
        cadence_of(layout, card, crew=crew, pace=job.pace),
        stations=min(crew.stations, crew.mixer),
        bay_turn_s=job.pace.bay_turn_s,
    )
    if job.cove is None or job.cove.when == "after" or job.cards.primer is not None:
        return times.last_s
    return cove_lasts_s(room, job, hands=crew.edge) + times.last_s


def longest_shift_s(job: Job) -> float:
    """The longest a pour may last: the longest shift within access, set-up taken off."""
    windows = shift_windows(
        job.crew.pour_shifts,
        zone=job.site.zone,
        begins=job.access.begins,
        ends=job.access.open_by,
    )
    longest_s = max(((w.ends - w.begins).total_seconds() for w in windows), default=0.0)
    return longest_s - job.crew.setup_s


def split_long(job: Job) -> Job:
    """The job with every room that no shift holds split at its stop lines, where that does."""
    longest_s = longest_shift_s(job)
    for room in job.rooms:
        if room.outline is None or pour_lasts_s(job, room) <= longest_s:
            continue
        for split in ways_to_split(job, room):
            parts = [part for part in split.rooms if part.part_of == room.name]
            if all(pour_lasts_s(split, part) <= longest_s for part in parts):
                job = split
                break
    return job


def ways_to_split(job: Job, room: Room) -> Iterator[Job]:
    """The job with a room in as few parts as may be, the largest of them least large."""
    lines = () if room.outline is None or room.part_of else room.outline.stop_lines_m
    for many in range(1, len(lines) + 1):
        found = [split_room(job, room, chosen) for chosen in combinations(lines, many)]
        fitting = [s for s in found if len(job.rooms) < len(s.rooms) <= MOST_ROOMS]
        yield from sorted(fitting, key=lambda split: _largest_m2(split, room))


def _largest_m2(split: Job, room: Room) -> float:
    return max(part.area_m2 for part in split.rooms if part.part_of == room.name)


def split_room(job: Job, room: Room, lines: Sequence[tuple[Point, Point]]) -> Job:
    """The job with a room in parts between some of its stop lines.

    Who works in a part leaves over those after it, and whoever crosses the room crosses
    all of them. Parts stand by themselves: what the room's group asks is not asked of them.
    """
    if room.outline is None:
        raise AssertionError("a room with stop lines has an outline")
    shapes = parts_at(room.outline, lines)
    names = [f"{room.name} ({n} of {len(shapes)})" for n in range(1, len(shapes) + 1)]
    parts, edges_m = [], sum(shape.edge_m for shape in shapes)
    for n, (name, shape) in enumerate(zip(names, shapes, strict=True)):
        length_m, width_m = shape.size_m
        parts.append(
            replace(
                room,
                name=name,
                length_m=length_m,
                width_m=width_m,
                way_out=(*names[n + 1 :], *room.way_out),
                group=None,
                outline=shape,
                part_of=room.name,
                # No cove stands at the stop lines: the parts share what the whole has.
                cove_m=job.cove_m(room) * shape.edge_m / edges_m if job.cove else None,
            )
        )

    def crossed(way: str) -> list[str]:
        return names if way == room.name else [way]

    rooms: list[Room] = []
    for other in job.rooms:
        if other.name == room.name:
            rooms += parts
        else:
            ways = tuple(name for way in other.way_out for name in crossed(way))
            rooms.append(replace(other, way_out=ways))
    return replace(job, rooms=tuple(rooms))
