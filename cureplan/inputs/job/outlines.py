"""Faults in the outline of a floor: what crosses, lies outside or is given twice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from cureplan.core.showing import format_length
from cureplan.inputs.faults import Fault
from cureplan.inputs.job.model import Display, Point, ring_area_m2
from cureplan.inputs.job.schema import JobFile, RoomEntry

if TYPE_CHECKING:
    from shapely.geometry import Polygon

__all__ = ["outline_faults"]

LEAST_FLOOR_M2 = 0.1
LEAST_WALL_M = 0.02
LEAST_NECK_M = 0.10
"""Where a floor is narrower no hand gets through: invented."""
MOST_SHOWN = 4
"""Corners of a line that a message names."""


def outline_faults(job: JobFile) -> Iterator[Fault]:
    """What cannot be about the shape of each room."""
    for number, room in enumerate(job.rooms):
        yield from _sizes(number, room)
        if room.has_outline and (room.outline_m or (room.length_m and room.width_m)):
            yield from _shape(number, room, job.display)


def _sizes(number: int, room: RoomEntry) -> Iterator[Fault]:
    given = {"length": room.length_m, "width": room.width_m}
    for key, value in given.items():
        path = ("rooms", number, key)
        if room.outline_m and value is not None:
            yield Fault(
                path=path,
                problem="an outline says the size already",
                cure="remove length and width, or the outline",
            )
        elif not room.outline_m and value is None:
            example = '"30 ft"' if key == "length" else '"20 ft"'
            yield Fault(
                path=path,
                problem="this key is missing",
                cure=f"add a line like {key} = {example}, or give the room an outline",
            )


def _shape(number: int, room: RoomEntry, display: Display) -> Iterator[Fault]:
    from shapely import union_all
    from shapely.geometry import LineString

    key = "outline" if room.outline_m else "length"
    found = _ring(room.corners_m, ("rooms", number, key), "outline", display)
    yield from found
    if found:
        return
    floor = _polygon(room.corners_m)
    yield from _back_wall(number, room)
    islands: list[Any] = []
    for place, corners in enumerate(room.islands_m):
        path = ("rooms", number, "islands", place)
        found = _ring(corners, path, "island", display)
        if not found:
            island = _polygon(corners)
            found = _island(island, islands, floor, path, _shown(display, corners))
            islands.append(island)
        yield from found
    # Along a wall, or over what is not coated, there is nothing to stop at.
    coated = floor.difference(union_all(islands)) if not found else floor
    if not found:
        yield from _in_one_piece(number, room, key, coated, display)
    for place, (a, b) in enumerate(room.stop_lines_m):
        if {a, b} in [{*line} for line in room.stop_lines_m[:place]]:
            yield Fault(
                path=("rooms", number, "stop_lines", place),
                problem="this line stands twice",
                cure="keep one",
                value=_shown(display, (a, b)),
            )
        over = LineString([a, b]).intersection(coated).difference(coated.boundary.buffer(1e-4))
        if over.length < LEAST_WALL_M:
            yield Fault(
                path=("rooms", number, "stop_lines", place),
                problem="this line does not run over the floor",
                cure="give the two ends of a drain or joint inside the outline",
                value=_shown(display, (a, b)),
            )
    if not found and floor.area - sum(i.area for i in islands) < LEAST_FLOOR_M2:
        yield Fault(
            path=("rooms", number, key),
            problem="no floor is left beside the islands",
            cure="check the corners",
        )


def _in_one_piece(
    number: int, room: RoomEntry, key: str, coated: Any, display: Display
) -> Iterator[Fault]:
    """A floor that hangs together by less than a hand's width is two."""
    pieces = coated.buffer(-LEAST_NECK_M / 2)
    pieces = [p for p in getattr(pieces, "geoms", [pieces]) if p.area > LEAST_FLOOR_M2]
    if len(pieces) > 1:
        last = len(room.islands_m) - 1
        yield Fault(
            path=("rooms", number, "islands", last) if last >= 0 else ("rooms", number, key),
            problem=f"this leaves the floor in {len(pieces)} pieces, with no way between them",
            cure="write each piece as a room of its own",
            value=_shown(display, room.islands_m[last] if last >= 0 else room.corners_m),
        )


def _ring(
    corners: Sequence[Point], path: tuple[str | int, ...], what: str, display: Display
) -> list[Fault]:
    """What is wrong with a closed line of corners; it needs not come back to the first."""
    from shapely.validation import explain_validity

    if len(corners) < 3 or len(set(corners)) < 3:
        problem, cure = f"an {what} needs at least three corners", "add the others"
    elif len(set(corners)) < len(corners):
        problem, cure = "a corner stands twice", "name each once; the first is not repeated"
    elif _polygon(corners).convex_hull.area < 1e-4:
        problem, cure = f"the corners of this {what} lie in one line", "check the corners"
    elif not (floor := _polygon(corners)).is_valid:
        at = explain_validity(floor).partition("[")[2].rstrip("]").split()
        near = _shown(display, [(float(at[0]), float(at[1]))]) if len(at) == 2 else ""
        where = f" near {near}" if near else ""
        problem = f"this {what} crosses itself{where}"
        cure = "name the corners one after the other along the wall"
    elif ring_area_m2(corners) < (LEAST_FLOOR_M2 if what == "outline" else 1e-4):
        problem, cure = f"this {what} holds next to nothing", "check the corners"
    else:
        return []
    return [Fault(path=path, problem=problem, cure=cure, value=_shown(display, corners))]


def _island(
    island: Polygon,
    before: Sequence[Polygon],
    floor: Polygon,
    path: tuple[str | int, ...],
    shown: str,
) -> list[Fault]:
    if not floor.covers(island):
        problem, cure = "this island is not inside the room", "check its corners"
    elif any(island.intersection(other).area > 1e-6 for other in before):
        problem, cure = "this island lies over another", "draw both as one"
    else:
        return []
    return [Fault(path=path, problem=problem, cure=cure, value=shown)]


def _back_wall(number: int, room: RoomEntry) -> Iterator[Fault]:
    if room.back_wall is None:
        return
    first, last = (corner - 1 for corner in room.back_wall)
    count = len(room.corners_m)
    if max(first, last) >= count or (last - first) % count not in (1, count - 1):
        yield Fault(
            path=("rooms", number, "back_wall"),
            problem="no wall runs between these two corners",
            cure=f"give two neighbours of the {count} corners, like [1, 2]",
            value=str(list(room.back_wall)),
        )


def _shown(display: Display, corners: Sequence[Point]) -> str:
    """The first few corners, as the job shows lengths."""
    told = ", ".join(
        f"{_length(x, display)}/{_length(y, display)}" for x, y in corners[:MOST_SHOWN]
    )
    return told + (", ..." if len(corners) > MOST_SHOWN else "")


def _length(length_m: float, display: Display) -> str:
    # Metres throughout: "300 mm" beside "1.5 m" is hard to compare.
    if display == "metric":
        return f"{length_m:.4g} m"
    return format_length(length_m, display) if abs(length_m) > 1e-3 else "0 ft"


def _polygon(corners: Sequence[Point]) -> Polygon:
    from shapely.geometry import Polygon

    return Polygon(corners)
