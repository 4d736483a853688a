"""Each floor to scale: patches in the order poured, stop lines, the way of the retreat.

The line of retreat runs down, or to the right where the floor is longer than wide.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from cureplan.inputs.job.model import Room
from cureplan.output.charts.drawing import TEXT, WIDTH, Drawing, Picture, Stroke, Text
from cureplan.output.language import Voice
from cureplan.output.language.clean import fit, one_line
from cureplan.planning.floor.outline import bay_seams
from cureplan.planning.plan.model import Plan

__all__ = ["FloorMap", "floor_map", "map_picture", "patch_path"]

Points = tuple[tuple[float, float], ...]

EDGE = 6.0
ARROW_LANE = 22.0
TEXT_LANE = 18.0
HIGHEST = 300.0
SIGN_WIDTH = 7.5
NAME_WIDTH = 7.0
ARROW_HEAD = 6.0
ROOM_FOR_A_NUMBER = 0.85
"""How near its patch's edge the middle may lie, beside the middle of the widest part."""
MAP_KEYS = (
    ("patch", "legend.patch"),
    ("stop", "legend.stop"),
    ("retreat", "legend.retreat"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorMap:
    """A floor laid out; lengths in units of which a text is 12 high, y downwards."""

    width: float
    height: float
    patches: tuple[tuple[Points, ...], ...]
    walls: tuple[Points, ...]
    stops: tuple[Points, ...]
    to_right: bool


def floor_map(plan: Plan, room: str, *, width: float = WIDTH) -> FloorMap | None:
    """Where a floor's patches lie; None for a plan that does not say."""
    floor = next(each for each in plan.job.rooms if each.name == room)
    patches = next(each.patches for each in plan.rooms if each.room == room)
    if not patches:
        return None
    bays = [bucket.bay for bucket in plan.buckets_of(room)]
    seams = bay_seams(patches, bays)
    walls = _walls(floor)
    turned = _turned(floor)
    places = [turned(point) for ring in walls for point in ring]
    lefts, tops = zip(*places, strict=True)
    across, along = max(lefts) - min(lefts), max(tops) - min(tops)
    to_right = along > across
    wide, high = (along, across) if to_right else (across, along)
    free = width - 2 * EDGE - (0.0 if to_right else ARROW_LANE)
    scale = min(free / wide, HIGHEST / high)
    left = EDGE + (0.0 if to_right else ARROW_LANE)

    def place(point: tuple[float, float]) -> tuple[float, float]:
        x, y = turned(point)
        x, y = x - min(lefts), y - min(tops)
        # Turned to the right without being mirrored.
        x, y = (y, across - x) if to_right else (x, y)
        return round(left + x * scale, 1), round(TEXT_LANE + y * scale, 1)

    below = ARROW_LANE + TEXT_LANE if to_right else TEXT_LANE
    return FloorMap(
        width=width,
        height=round(TEXT_LANE + high * scale + below, 1),
        patches=tuple(_placed(patch, place) for patch in patches),
        walls=_placed(walls, place, closed=True),
        stops=_placed(seams, place),
        to_right=to_right,
    )


def _walls(floor: Room) -> tuple[Points, ...]:
    if floor.outline is not None:
        return (floor.outline.corners_m, *floor.outline.islands_m)
    x, y = floor.width_m, floor.length_m
    return (((0.0, 0.0), (x, 0.0), (x, y), (0.0, y)),)


def _turned(floor: Room) -> Callable[[tuple[float, float]], tuple[float, float]]:
    """From the room as measured to: back wall at the top, seen from above."""
    if floor.outline is None:
        # Left and right are free in a plain rectangle; its first bay stands on the left.
        return lambda point: point
    turn = floor.outline.turn_rad
    cos, sin = math.cos(turn), math.sin(turn)
    return lambda point: (
        -(point[0] * cos + point[1] * sin),
        point[1] * cos - point[0] * sin,
    )


def _placed(
    lines: Iterable[Sequence[tuple[float, float]]],
    place: Callable[[tuple[float, float]], tuple[float, float]],
    *,
    closed: bool = False,
) -> tuple[Points, ...]:
    found = [tuple(place(point) for point in line) for line in lines]
    return tuple((*line, line[0]) if closed else line for line in found)


def patch_path(patch: Sequence[Points]) -> str:
    """One patch as the path of an SVG."""
    return "".join("M" + "L".join(f"{x:g} {y:g}" for x, y in ring) + "z" for ring in patch)


def map_picture(plan: Plan, room: str, voice: Voice, *, width: float = WIDTH) -> Picture | None:
    """One floor's map; None for a plan that does not say where its patches lie."""
    floor = floor_map(plan, room, width=width)
    if floor is None:
        return None
    strokes = [
        Stroke(kind="patch", points=(*ring, ring[0]))
        for patch in floor.patches
        for ring in patch
    ]
    strokes += [Stroke(kind="wall", points=ring) for ring in floor.walls]
    strokes += [Stroke(kind="stop", points=line) for line in floor.stops]
    strokes += _arrow(floor)
    drawing = Drawing(
        width=floor.width,
        height=floor.height,
        bars=(),
        strokes=tuple(strokes),
        texts=(*_numbers(floor.patches), *_ends(plan, room, voice, floor)),
    )
    keys = [key for key in MAP_KEYS if key[0] != "stop" or floor.stops]
    return Picture(
        drawing=drawing,
        title=voice.label("picture.map.of", room=room),
        legend=tuple((kind, voice.label(key)) for kind, key in keys),
    )


def _arrow(floor: FloorMap) -> list[Stroke]:
    points = [point for ring in floor.walls for point in ring]
    right, bottom = (max(values) for values in zip(*points, strict=True))
    left, top = (min(values) for values in zip(*points, strict=True))
    if floor.to_right:
        y = bottom + ARROW_LANE / 2
        begins, tip = (left, y), (right, y)
        barbs = [(right - ARROW_HEAD, y + side * ARROW_HEAD) for side in (-1, 1)]
    else:
        x = EDGE + ARROW_HEAD
        begins, tip = (x, top), (x, bottom)
        barbs = [(x + side * ARROW_HEAD, bottom - ARROW_HEAD) for side in (-1, 1)]
    return [
        Stroke(kind="retreat", points=(begins, tip)),
        Stroke(kind="retreat", points=(barbs[0], tip, barbs[1])),
    ]


def _numbers(patches: Sequence[Sequence[Points]]) -> list[Text]:
    """Each patch's number where it fits; of smaller ones every fifth, the first and last."""
    texts = []
    for number, patch in enumerate(patches, start=1):
        for ring in patch:
            (low_x, high_x), (low_y, high_y) = (
                _span(values) for values in zip(*ring, strict=True)
            )
            fits = high_y - low_y >= TEXT and high_x - low_x >= SIGN_WIDTH * len(str(number))
            if fits or number % 5 == 0 or number in (1, len(patches)):
                x, y = _middle(ring)
                text = Text(x=x, y=y + 4.2, anchor="middle", text=str(number), kind="patch")
                texts.append(text)
    return texts


def _span(values: Sequence[float]) -> tuple[float, float]:
    return min(values), max(values)


def _middle(ring: Points) -> tuple[float, float]:
    """The middle of a ring's area; of one that is cut out there, of its widest part."""
    from shapely import Polygon, maximum_inscribed_circle

    patch = Polygon(ring)
    if patch.area < 1.0 or not patch.is_valid:
        return ring[0]
    middle, widest = patch.centroid, maximum_inscribed_circle(patch, 0.5)
    near = patch.exterior.distance(middle) < ROOM_FOR_A_NUMBER * widest.length
    if near or not patch.contains(middle):
        middle = widest.interpolate(0.0)
    return round(middle.x, 1), round(middle.y, 1)


def _ends(plan: Plan, room: str, voice: Voice, floor: FloorMap) -> list[Text]:
    ways = next(each.way_out for each in plan.job.rooms if each.name == room)
    out = voice.label("map.out")
    if ways:
        out = voice.label("map.out.over", rooms="; ".join(one_line(way) for way in ways))
    left = EDGE + (0.0 if floor.to_right else ARROW_LANE)
    cut = fit(out, int((floor.width - left - EDGE) / NAME_WIDTH))
    x, anchor = (floor.width - EDGE, "end") if floor.to_right else (left, "start")
    return [
        Text(x=left, y=12, anchor="start", text=voice.label("map.back")),
        Text(x=x, y=floor.height - 5, anchor=anchor, text=cut),
    ]
