"""Maps of the rooms: to scale, numbered in pour order, with stop lines and the way out."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely import Point, Polygon

from cureplan.inputs.job.model import Outline
from cureplan.output.charts.floor_map import floor_map, map_picture
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.model import Plan


def size_of(points) -> tuple[float, float]:
    wide, high = zip(*points, strict=True)
    return max(wide) - min(wide), max(high) - min(high)


def in_bays(plan: Plan) -> Plan:
    """The Cook line as two bays of one bucket each, side by side, 4 m long and 0.75 m wide."""
    rings = tuple(
        (((left, 0.0), (left + 0.75, 0.0), (left + 0.75, 4.0), (left, 4.0)),)
        for left in (0.0, 0.75)
    )
    rooms = tuple(
        replace(room, bays=2, patches=rings) if room.room == "Cook line" else room
        for room in plan.rooms
    )
    buckets = tuple(
        replace(bucket, bay=bucket.number, row=1) if bucket.room == "Cook line" else bucket
        for bucket in plan.buckets
    )
    return replace(plan, rooms=rooms, buckets=buckets)


def test_a_map_is_to_scale_and_long_rooms_lie_on_their_side(plan: Plan):
    # By hand: 4 m by 1.5 m, in two rows of 2 m.
    floor = floor_map(plan, "Cook line")
    assert floor is not None
    assert floor.to_right
    wide, high = size_of(floor.walls[0])
    assert wide / high == pytest.approx(4 / 1.5, rel=0.01)
    assert size_of(floor.patches[0][0])[0] == pytest.approx(wide / 2, abs=0.2)
    # The pour begins at the back wall, on the left.
    assert min(x for x, _ in floor.patches[0][0]) == min(x for x, _ in floor.walls[0])


def test_patches_are_numbered_in_the_order_poured(plan: Plan):
    picture = map_picture(plan, "Cook line", voice_of(plan))
    assert picture is not None
    numbers = [text for text in picture.drawing.texts if text.kind == "patch"]
    assert [text.text for text in sorted(numbers, key=lambda text: text.x)] == ["1", "2"]
    assert "way out, over Corridor" in [text.text for text in picture.drawing.texts]


def test_a_stop_line_stands_where_one_bay_ends_at_another(plan: Plan):
    assert floor_map(plan, "Cook line").stops == ()
    floor = floor_map(in_bays(plan), "Cook line")
    [line] = floor.stops
    wide, high = size_of(line)
    room_wide, room_high = size_of(floor.walls[0])
    assert (wide, high) == (pytest.approx(room_wide, abs=1), pytest.approx(0, abs=1))
    middle = min(y for _, y in floor.walls[0]) + room_high / 2
    assert line[0][1] == pytest.approx(middle, abs=1)


def test_a_room_of_any_outline_is_shown_as_it_was_measured(plan: Plan):
    # By hand: 2 m wide, 1 m deep, measured with its back wall above, as a map shows it.
    outline = Outline(
        corners_m=((0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0)),
        islands_m=(((0.2, 0.4), (0.4, 0.4), (0.4, 0.6), (0.2, 0.6)),),
        stop_lines_m=(),
        back_wall=(2, 3),
    )
    job = replace(
        plan.job, rooms=(replace(plan.job.rooms[0], outline=outline), plan.job.rooms[1])
    )
    room = replace(
        plan.rooms[0],
        patches=(
            (((0.0, 0.5), (2.0, 0.5), (2.0, 1.0), (0.0, 1.0)),),
            (((0.0, 0.0), (2.0, 0.0), (2.0, 0.5), (0.0, 0.5)),),
        ),
    )
    floor = floor_map(replace(plan, job=job, rooms=(room, plan.rooms[1])), "Cook line")
    assert not floor.to_right
    first, second = (patch[0] for patch in floor.patches)
    assert max(y for _, y in first) <= min(y for _, y in second) + 0.2
    walls, island = floor.walls
    left, right = min(x for x, _ in walls), max(x for x, _ in walls)
    assert max(x for x, _ in island) < left + 0.25 * (right - left)


def test_a_plan_that_does_not_say_has_no_map(plan: Plan):
    room = replace(plan.rooms[0], patches=())
    assert floor_map(replace(plan, rooms=(room, plan.rooms[1])), "Cook line") is None


def test_a_number_lies_on_its_patch_and_not_on_the_island_cut_out_of_it(plan: Plan):
    # A bucket round three sides of a column: the middle of its area is inside the column.
    cut = ((0.0, 0.0), (4.0, 0.0), (4.0, 1.5), (2.6, 1.5), (2.6, 0.2), (1.4, 0.2), (1.4, 1.5))
    patches = (((*cut, (0.0, 1.5)),),)
    rooms = (replace(plan.rooms[0], patches=patches), plan.rooms[1])
    kept = next(bucket for bucket in plan.buckets if bucket.room == "Cook line")
    others = tuple(bucket for bucket in plan.buckets if bucket.room != "Cook line")
    bent = replace(plan, rooms=rooms, buckets=(replace(kept, bay=1, row=1), *others))
    floor, picture = (
        floor_map(bent, "Cook line"),
        map_picture(bent, "Cook line", voice_of(plan)),
    )
    [number] = [text for text in picture.drawing.texts if text.kind == "patch"]
    assert Polygon(floor.patches[0][0]).buffer(-3).contains(Point(number.x, number.y - 4.2))
