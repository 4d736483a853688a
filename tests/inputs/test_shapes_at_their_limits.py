"""What floors and walks along their walls may just be, on both sides of each limit."""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_rooms import job_of, paths, room_of

from cureplan.core.errors import InputError
from cureplan.inputs.job import outlines
from cureplan.inputs.job.model import Outline, ring_area_m2, signed_area_m2
from cureplan.inputs.job.schema import RoomEntry
from cureplan.inputs.job.walked import (
    drains_said,
    groups_said,
    islands_said,
    of_rooms_said,
    on_site,
    walked,
)

# Shapes

SQUARE = ((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0))


@pytest.mark.parametrize(
    ("corners", "what", "said"),
    [
        (SQUARE, "outline", None), (SQUARE[:2], "outline", "at least three"),
        ((*SQUARE[:2], SQUARE[0]), "outline", "at least three"),
        ((*SQUARE, SQUARE[0]), "outline", "stands twice"), (SQUARE[:3], "outline", None),
        (((0, 0), (1, 0), (2, 0)), "outline", "in one line"),
        ((SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3]), "outline", "crosses itself near"),
        (((0, 0), (1, 0), (1, 0.1), (0, 0.1)), "outline", None),
        (((0, 0), (1, 0), (1, 0.09), (0, 0.09)), "outline", "next to nothing"),
        (((0, 0), (1, 0), (1, 0.09), (0, 0.09)), "island", None),
        (((0, 0), (0.1, 0), (0.1, 0.0009), (0, 0.0009)), "island", "in one line"),
    ],
)  # fmt: skip
def test_a_ring_of_corners_holds_a_tenth_of_a_square_metre(corners, what, said):
    found = outlines._ring(corners, ("rooms", 0, what), what, "metric")
    assert [said in fault.problem for fault in found] == ([] if said is None else [True])


@pytest.mark.parametrize(
    ("back_wall", "refused"),
    [((1, 2), False), ((2, 1), False), ((4, 1), False), ((1, 4), False), ((1, 3), True),
     ((4, 5), True), ((5, 1), True), ((2, 2), True), (None, False), ((3, 4), False)],
)  # fmt: skip
def test_a_back_wall_runs_between_two_neighbours(back_wall, refused):
    room = room_of(back_wall=back_wall)
    assert paths(outlines._back_wall(0, room)) == [("rooms", 0, "back_wall")] * refused


@pytest.mark.parametrize(
    ("outline", "length", "width", "keys"),
    [
        (None, 3.0, 4.0, []),
        (None, None, 4.0, ["length"]),
        (None, 3.0, None, ["width"]),
        (SQUARE, None, None, []),
        (SQUARE, 3.0, None, ["length"]),
        (SQUARE, None, 4.0, ["width"]),
    ],
)
def test_a_room_has_two_sides_or_an_outline(outline, length, width, keys):
    room = room_of(outline_m=outline, length_m=length, width_m=width)
    assert paths(outlines._sizes(2, room)) == [("rooms", 2, key) for key in keys]


def shape(**more):
    room = room_of(has_outline=True, outline_m=SQUARE, corners_m=SQUARE, **more)
    return [(path[2], *path[3:]) for path in paths(outlines._shape(0, room, "metric"))]


def box(left, low, right, high):
    return ((left, low), (right, low), (right, high), (left, high))


@pytest.mark.parametrize(
    ("islands", "found"),
    [
        ((box(1, 1, 2, 2),), []),
        ((box(3, 1, 5, 2),), [("islands", 0)]),
        ((box(1, 1, 2, 2), box(2, 1, 3, 2)), []),
        ((box(1, 1, 2, 2), box(1.9, 1, 3, 2)), [("islands", 1)]),
        # A wall to wall island parts the floor; a hand's width is a way.
        ((box(0, 1, 4, 2),), [("islands", 0)]),
        ((box(0, 1, 3.91, 2),), [("islands", 0)]),
        ((box(0, 1, 3.89, 2),), []),
        ((box(0, 0, 4, 2.98),), [("outline",)]),
        ((box(0, 0, 4, 2.97),), []),
        ((box(0, 0.02, 4, 2),), []),
    ],
)
def test_islands_lie_inside_apart_and_leave_a_floor_in_one_piece(islands, found):
    assert shape(islands_m=islands) == found


@pytest.mark.parametrize(
    ("islands", "shown"),
    [
        ((box(0, 1, 4, 2),), "0 m/1 m, 4 m/1 m, 4 m/2 m, 0 m/2 m"),
        # The last island closes what the first left open.
        ((box(0, 1, 2, 2), box(2, 1, 4, 2)), "2 m/1 m, 4 m/1 m, 4 m/2 m, 2 m/2 m"),
    ],
)
def test_the_island_that_parts_a_floor_is_shown(islands, shown):
    room = room_of(
        has_outline=True, outline_m=SQUARE, corners_m=SQUARE, islands_m=islands
    )  # fmt: skip
    [fault] = outlines._shape(0, room, "metric")
    assert (fault.path[3], fault.value) == (len(islands) - 1, shown)


@pytest.mark.parametrize(
    ("lines", "found"),
    [
        ((((0, 1), (4, 1)),), []),
        ((((0, 0), (4, 0)),), [("stop_lines", 0)]),
        ((((0, 1), (4, 1)), ((4, 1), (0, 1))), [("stop_lines", 1)]),
        ((((0, 1), (4, 1)), ((0, 1), (4, 2))), []),
        ((((5, 1), (6, 1)),), [("stop_lines", 0)]),
        ((((3.97, 1), (9, 1)),), []),
        ((((3.985, 1), (9, 1)),), [("stop_lines", 0)]),
    ],
)
def test_stop_lines_run_over_the_floor_once(lines, found):
    assert shape(stop_lines_m=lines) == found


def test_corners_are_shown_up_to_the_fourth():
    assert outlines._shown("metric", SQUARE) == "0 m/0 m, 4 m/0 m, 4 m/3 m, 0 m/3 m"
    assert outlines._shown("metric", (*SQUARE, (9.0, 9.0))).endswith("0 m/3 m, ...")
    assert outlines._length(0.001, "us") == "0 ft"
    assert outlines._length(0.3048, "us") != "0 ft"


@pytest.mark.parametrize(("back_wall", "turn_deg"), [((0, 1), 0), ((1, 2), 90), ((3, 0), -90)])
def test_a_floor_lies_on_the_left_of_its_back_wall_whichever_way_corners_run(
    back_wall, turn_deg
):
    def turned(side, wall):
        corners, island = (
            tuple((x, side * y) for x, y in ring) for ring in (SQUARE, box(1, 1, 2, 2))
        )
        one = Outline(corners_m=corners, islands_m=(island,), stop_lines_m=(), back_wall=wall)
        assert one.area_m2 == pytest.approx(11.0)
        assert one.edge_m == pytest.approx(18.0)
        sides = (3.0, 4.0) if turn_deg % 180 == 0 else (4.0, 3.0)
        assert one.size_m == pytest.approx(sides)
        return one.turn_rad * 180.0 / 3.141592653589793

    assert turned(1, back_wall) % 360 == pytest.approx(turn_deg % 360)
    mirrored = tuple((x, -y) for x, y in SQUARE)
    assert (turned(-1, back_wall) + turn_deg) % 360 == pytest.approx(180.0)
    assert signed_area_m2(SQUARE) == -signed_area_m2(mirrored) == 12.0
    assert ring_area_m2(SQUARE) == ring_area_m2(mirrored) == 12.0


def test_a_slanted_floor_is_measured_along_its_back_wall():
    # A back wall of 10 m along (4, 3), and 5 m of floor away from it along (-3, 4).
    corners = ((0.0, 0.0), (8.0, 6.0), (5.0, 10.0), (-3.0, 4.0))
    floor = Outline(corners_m=corners, islands_m=(), stop_lines_m=(), back_wall=(0, 1))
    assert floor.size_m == pytest.approx((5.0, 10.0))
    assert replace(floor, back_wall=(1, 2)).size_m == pytest.approx((10.0, 5.0))


@pytest.mark.parametrize(
    ("more", "shaped"),
    [
        ({}, False), ({"back_wall": (1, 2)}, False), ({"back_wall": (2, 1)}, False),
        ({"back_wall": (2, 3)}, True), ({"outline_m": SQUARE}, True),
        ({"islands_m": (SQUARE,)}, True), ({"stop_lines_m": (SQUARE[:2],)}, True),
    ],
)  # fmt: skip
def test_a_rectangle_from_its_first_wall_has_no_outline(more, shaped):
    assert RoomEntry.has_outline.fget(room_of(**more)) is shaped


LINE = ((9.0, 9.0), (9.0, 8.0))


@pytest.mark.parametrize(
    ("more", "keys"),
    [
        # A plain rectangle has no shape to look at, nor has one without its sides.
        ({}, []), ({"outline_m": SQUARE, "length_m": None, "width_m": None}, []),
        ({"has_outline": True}, ["stop_lines"]),
        ({"has_outline": True, "length_m": None}, ["length"]),
        ({"has_outline": True, "width_m": None}, ["width"]),
        ({"has_outline": True, "outline_m": SQUARE, "length_m": None, "width_m": None},
         ["stop_lines"]),
    ],
)  # fmt: skip
def test_only_a_shape_that_is_known_is_looked_at(more, keys):
    job = job_of(rooms=(room_of(stop_lines_m=(LINE,), **more),))
    found = list(outlines.outline_faults(job))
    assert [fault.path[2] for fault in found] == keys
    for fault in found:
        feet = {"length": '"30 ft"', "width": '"20 ft"'}.get(fault.path[2], "")
        assert feet in fault.cure


# Rooms as they are said


@pytest.mark.parametrize(
    ("last", "away", "refused"),
    [("3 m", "4 m", False), ("3.0508 m", "4 m", False), ("3.052 m", "4 m", True),
     ("3 m", "4.05 m", False), ("3 m", "4.052 m", True), ("2.949 m", "4 m", True)],
)  # fmt: skip
def test_a_walk_comes_back_to_within_two_inches(last, away, refused):
    said = f"4 m, left 3 m, left {away}, left {last}"
    if refused:
        with pytest.raises(InputError, match="do not come back"):
            walked(said)
    else:
        assert len(walked(said)) == 4


def test_a_walk_that_turns_right_and_slants_and_one_by_corners():
    for said in ("4 m, right 3 m, right 4 m, right 3 m", "4 m, r 3 m, R 4 m, r 3 m"):
        assert walked(said) == [(0, 0), (4, 0), (4, -3), (0, -3)]
    assert walked("4 m, l 3 m, L 4 m, l 3 m") == [(0, 0), (4, 0), (4, 3), (0, 3)]
    slanted = walked("2 m, left 45° 1.4142136 m, left 135° 3 m, left 90° 1 m")
    assert [(round(x, 5), round(y, 5)) for x, y in slanted] == [(0, 0), (2, 0), (3, 1), (0, 1)]
    # The back wall runs from (1, 1) to (1, 5): along it lies y, away from it to the right.
    assert walked("1 m, 1 m; 1 m, 5 m; 3 m, 5 m; 3 m, 1 m") == [
        (0, 0),
        (4, 0),
        (4, -2),
        (0, -2),
    ]
    for said, why in (
        ("4 m, 3 m, left 4 m", "begins with its turn"), ("4 m, left 0° 3 m", "between 0°"),
        ("4 m, left 180° 3 m", "between 0°"), ("1 m, 1 m; 1 m, 1 m; 2 m, 2 m", "are one"),
        ("1 m, 1 m; 4; 2 m, 2 m", "no corner"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=why):
            walked(said)


def test_corners_are_turned_so_that_the_back_wall_lies_ahead():
    # A square of 5 m whose back wall rises 4 m on 3 m, and a wall that runs the other way.
    assert walked("4 m, 1 m; 7 m, 5 m; 3 m, 8 m; 0 m, 4 m") == [(0, 0), (5, 0), (5, 5), (0, 5)]
    back = walked("4 m, 3 m; 0 m, 3 m; 0 m, 0 m; 4 m, 0 m")
    assert back == [(0, 0), (4, 0), (4, 3), (0, 3)]
    # No length is told as less than none.
    assert "-0.0" not in repr(back)


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ("Hall + Bay", {"Hall": "Hall", "Bay": "Hall"}), ("Hall", None), ("Hall + Hall", None),
        ("Hall + Bay; Bay + Store", None),
        ("Hall + Bay; Store + Yard", {"Hall": "Hall", "Bay": "Hall", "Store": "Store",
                                      "Yard": "Store"}),
    ],
)  # fmt: skip
def test_rooms_that_meet_are_two_or_more_and_in_one_group(said, found):
    names = ["Hall", "Bay", "Store", "Yard"]
    if found is None:
        with pytest.raises(InputError, match="two or more"):
            groups_said(said, names)
    else:
        assert groups_said(said, names) == found


def test_what_is_said_of_rooms_islands_and_drains():
    assert of_rooms_said("bar two: 60 F; Bar 5 F", ["Bar", "Bar two"], str) == {
        "Bar two": "60 F", "Bar": "5 F"
    }  # fmt: skip
    with pytest.raises(InputError, match="twice"):
        of_rooms_said("Bar 5 F; Bar 6 F", ["Bar"], str)
    assert islands_said("2 m x 1 m at 3 m, 50 cm")[0] == ((2.0, 1.0), (3.0, 0.5))
    assert drains_said("1 m; 2 m") == [1.0, 2.0]


@pytest.mark.parametrize("turn", ["left", "right"])
def test_on_site_a_room_lies_beyond_its_back_wall_and_none_of_it_below_zero(turn):
    corners = walked(f"4 m, {turn} 3 m, {turn} 4 m, {turn} 3 m")
    shape = on_site(corners, islands_said("1 m by 0.5 m at 0.25 m, 2 m"), [1.0], feet=False)
    # Who turns right has the wall on the left: along it is counted from the other end.
    left, right = (0.25, 1.25) if turn == "left" else (2.75, 3.75)
    xs = [
        [f"{x:g} m" for x in row]
        for row in ((left, 2.0), (right, 2.0), (right, 2.5), (left, 2.5))
    ]
    assert shape["islands"] == [xs]
    assert shape["stop_lines"] == [[["0 m", "1 m"], ["4 m", "1 m"]]]
    assert sorted(shape["outline"]) == sorted(
        [["0 m", "0 m"], ["4 m", "0 m"], ["4 m", "3 m"], ["0 m", "3 m"]]
    )


def test_a_room_that_reaches_behind_its_back_wall_is_measured_from_its_farthest_corner():
    corners = [(0, 0), (2, 0), (2, -1), (4, -1), (4, 3), (0, 3)]
    shape = on_site(corners, [], [0.5], feet=False)
    placed = [(0, 1), (2, 1), (2, 0), (4, 0), (4, 4), (0, 4)]
    assert shape["outline"] == [[f"{x} m", f"{y} m"] for x, y in placed]
    assert shape["stop_lines"] == [[["0 m", "1.5 m"], ["4 m", "1.5 m"]]]
