"""Rooms as a foreman says them: sides or corners, what stands in them, drains across, and
what some of them have of their own.

All are measured from the corner where the walk begins, along the back wall and away from it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from typing import Any

from cureplan.core.errors import InputError, QuantityError
from cureplan.core.quantities import parse_length_m, split_refusal
from cureplan.core.units import FOOT_M
from cureplan.inputs.job.model import Point, signed_area_m2
from cureplan.inputs.toml_text import plain

__all__ = [
    "WALK",
    "drains_said",
    "groups_said",
    "is_walk",
    "islands_said",
    "of_rooms_said",
    "on_site",
    "walked",
]

WALK = "24 ft, left 30 ft, left 10 ft, left 12 ft, right 14 ft, left 18 ft"
CLOSES_M = 0.0508
"""How far a walk may miss its first corner: two inches on a tape, invented."""
FOOT = float(FOOT_M)
_TURNS = {"left": 1, "l": 1, "right": -1, "r": -1}


def is_walk(text: str) -> bool:
    """Whether an answer names sides, not one length."""
    return "," in text or any(word in _TURNS for word in text.lower().split())


def walked(text: str) -> list[Point]:
    """Corners of a room from its sides in turn, or as they are: [m] from the first, the back
    wall ahead. A turn is square where nothing else is said.

    Examples
    --------
    >>> walked("4 m, left 3 m, left 4 m, left 3 m")
    [(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)]
    >>> walked("1 m, 1 m; 1 m, 5 m; 4 m, 5 m; 2 m, 1 m")
    [(0.0, 0.0), (4.0, 0.0), (4.0, -3.0), (0.0, -1.0)]
    """
    if ";" in text:
        return _cornered(text)
    corners, x, y, turned = [(0.0, 0.0)], 0.0, 0.0, 0.0
    for place, said in enumerate(text.split(",")):
        turn, length_m = _side(said, first=place == 0)
        turned += turn
        x = round(x + math.cos(turned) * length_m, 6)
        y = round(y + math.sin(turned) * length_m, 6)
        corners.append((x, y))
    if max(abs(x), abs(y)) > CLOSES_M:
        raise InputError(
            "these sides do not come back to the first corner: they end "
            f"{plain(abs(x), digits=2)} m off along the back wall and "
            f"{plain(abs(y), digits=2)} m away from it",
            cure=f"check each side and its turn, as in {WALK}",
            value=text,
        )
    return corners[:-1]


def _cornered(text: str) -> list[Point]:
    """Corners as they are given, turned so that the back wall lies between the first two."""
    given = []
    for one in text.split(";"):
        x, comma, y = one.partition(",")
        if not comma:
            raise InputError(
                "this is no corner",
                cure="write how far it lies along and away, like 24 ft, 18 ft",
                value=one.strip(),
            )
        given.append((_read_m(x.strip()), _read_m(y.strip())))
    (x0, y0), (x1, y1) = given[0], given[1]
    run_m = math.hypot(x1 - x0, y1 - y0)
    if not run_m:
        raise InputError(
            "the first two corners are one",
            cure="begin with the two corners of the back wall",
            value=text,
        )
    cos, sin = (x1 - x0) / run_m, (y1 - y0) / run_m
    return [
        (
            round((x - x0) * cos + (y - y0) * sin, 6) + 0.0,
            round((y - y0) * cos - (x - x0) * sin, 6) + 0.0,
        )
        for x, y in given
    ]


_ANGLE = re.compile(r"(\d+(?:\.\d+)?) ?(?:°|deg(?:rees?)?) ?(.+)", re.IGNORECASE)


def _side(said: str, *, first: bool) -> tuple[float, float]:
    """How far one turns before a side [rad], and its length."""
    word, _, rest = said.strip().partition(" ")
    turn = _TURNS.get(word.lower(), 0)
    if not first and not turn:
        raise InputError(
            "every side but the first begins with its turn",
            cure=f"write left or right before it, as in {WALK}",
            value=said.strip(),
        )
    angled = _ANGLE.fullmatch(rest.strip()) if turn else None
    degrees = float(angled[1]) if angled else 90.0
    if not 0.0 < degrees < 180.0:
        raise InputError(
            "a turn lies between 0° and 180°",
            cure="say how far you turn from straight ahead, as in left 45° 7 ft",
            value=said.strip(),
        )
    turned = 0.0 if first else turn * math.radians(degrees)
    return turned, _read_m(angled[2] if angled else rest if turn else said.strip())


def islands_said(text: str) -> list[tuple[Point, Point]]:
    """Size and place of what is not coated [m].

    Examples
    --------
    >>> islands_said("2 m by 1 m at 3 m, 50 cm")
    [((2.0, 1.0), (3.0, 0.5))]
    """
    found = []
    for one in text.split(";"):
        said = re.fullmatch(r"(.+?) (?:by|x) (.+?) at (.+?),(.+)", one.strip(), re.IGNORECASE)
        if said is None:
            raise InputError(
                "this is no size at a place",
                cure="write it like 4 ft by 3 ft at 8 ft, 6 ft",
                value=one.strip(),
            )
        wide_m, deep_m, along_m, away_m = (_read_m(part.strip()) for part in said.groups())
        found.append(((wide_m, deep_m), (along_m, away_m)))
    return found


def drains_said(text: str) -> list[float]:
    """How far from the back wall each drain or joint lies [m]."""
    return [_read_m(one.strip()) for one in text.split(";")]


def groups_said(text: str, names: Sequence[str]) -> dict[str, str]:
    """Which rooms meet along an open edge; a group goes by its first room.

    Examples
    --------
    >>> groups_said("hall + Bay", ["Hall", "Bay", "Store"])
    {'Hall': 'Hall', 'Bay': 'Hall'}
    """
    found: dict[str, str] = {}
    for one in text.split(";"):
        rooms = [_named(name.strip(), names) for name in one.split("+")]
        if len(rooms) < 2 or len({*rooms, *found}) < len(rooms) + len(found):
            raise InputError(
                "rooms that meet are two or more, and each stands in one group",
                cure="write them like Hall + Bay; Prep + Servery",
                value=one.strip(),
            )
        found |= dict.fromkeys(rooms, rooms[0])
    return found


def of_rooms_said(
    text: str, names: Sequence[str], read: Callable[[str], Any]
) -> dict[str, Any]:
    """What is said of some rooms, each by its name and what comes after it.

    Examples
    --------
    >>> of_rooms_said("bar two: 60 F; Hall 55 F", ["Bar", "Bar two", "Hall"], str)
    {'Bar two': '60 F', 'Hall': '55 F'}
    """
    found: dict[str, Any] = {}
    for one in (part.strip() for part in text.split(";")):
        # The longest: a name may begin with another.
        begins = [n for n in names if one.casefold().startswith(n.casefold())]
        name = max(begins, key=len) if begins else _named(one, names)
        if name in found:
            raise InputError("the room stands twice", cure="keep one of them", value=one)
        found[name] = read(one[len(name) :].strip(" :,"))
    return found


def _named(said: str, names: Sequence[str]) -> str:
    for name in names:
        if name.casefold() == said.casefold():
            return name
    raise InputError(
        "no room is named so", cure=f"the rooms are {', '.join(names)}", value=said
    )


def on_site(
    corners: Sequence[Point],
    islands: Sequence[tuple[Point, Point]],
    drains_m: Sequence[float],
    *,
    feet: bool,
) -> dict[str, Any]:
    """The shape as a job file says it: the room lies away from its back wall, none below 0."""
    # Turned, never mirrored: whoever looks away from the wall has left on the left.
    side = 1.0 if signed_area_m2(corners) > 0 else -1.0
    placed = [(side * x, side * y) for x, y in corners]
    low_x, low_y = (min(values) for values in zip(*placed, strict=True))
    high_x = max(x for x, _ in placed)

    def shown(points: Sequence[Point]) -> list[list[str]]:
        return [[_length(x - low_x, feet), _length(y - low_y, feet)] for x, y in points]

    shape: dict[str, Any] = {"outline": shown(placed)}
    if islands:
        spans = [
            (*sorted((side * x, side * (x + wide))), y, y + deep)
            for (wide, deep), (x, y) in islands
        ]
        shape["islands"] = [
            shown([(left, low), (right, low), (right, high), (left, high)])
            for left, right, low, high in spans
        ]
    if drains_m:
        shape["stop_lines"] = [shown([(low_x, y), (high_x, y)]) for y in drains_m]
    return shape


def _length(length_m: float, feet: bool) -> str:
    if feet:
        return f"{plain(length_m / FOOT, digits=3)} ft"
    return f"{plain(length_m, digits=4)} m"


def _read_m(text: str) -> float:
    try:
        return parse_length_m(text)
    except QuantityError as error:
        problem, cure = split_refusal(error, text)
        raise InputError(problem, cure=cure, value=text) from None
