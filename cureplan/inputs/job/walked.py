"""Rooms as a foreman says them: sides walked round, what stands in them, drains across.

All are measured from the corner where the walk begins, along the back wall and away from it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from cureplan.core.errors import InputError, QuantityError
from cureplan.core.quantities import parse_length_m, split_refusal
from cureplan.core.units import FOOT_M
from cureplan.inputs.job.model import Point, signed_area_m2
from cureplan.inputs.toml_text import plain

__all__ = ["WALK", "drains_said", "is_walk", "islands_said", "on_site", "walked"]

WALK = "24 ft, left 30 ft, left 10 ft, left 12 ft, right 14 ft, left 18 ft"
CLOSES_M = 0.0508
"""How far a walk may miss its first corner: two inches on a tape, invented."""
FOOT = float(FOOT_M)
_TURNS = {"left": 1, "l": 1, "right": -1, "r": -1}


def is_walk(text: str) -> bool:
    """Whether an answer names sides, not one length."""
    return "," in text or any(word in _TURNS for word in text.lower().split())


def walked(text: str) -> list[Point]:
    """Corners of a room from its sides in turn, square at each: [m] from the first.

    Examples
    --------
    >>> walked("4 m, left 3 m, left 4 m, left 3 m")
    [(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)]
    """
    corners, x, y, ahead = [(0.0, 0.0)], 0.0, 0.0, (1, 0)
    for place, said in enumerate(text.split(",")):
        turn, length_m = _side(said, first=place == 0)
        ahead = (-turn * ahead[1], turn * ahead[0]) if turn else ahead
        x, y = round(x + ahead[0] * length_m, 6), round(y + ahead[1] * length_m, 6)
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


def _side(said: str, *, first: bool) -> tuple[int, float]:
    word, _, rest = said.strip().partition(" ")
    turn = _TURNS.get(word.lower(), 0)
    if not first and not turn:
        raise InputError(
            "every side but the first begins with its turn",
            cure=f"write left or right before it, as in {WALK}",
            value=said.strip(),
        )
    return (0 if first else turn), _read_m(rest if turn else said.strip())


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


def on_site(
    corners: Sequence[Point],
    islands: Sequence[tuple[Point, Point]],
    drains_m: Sequence[float],
    *,
    feet: bool,
) -> dict[str, Any]:
    """The shape as a job file says it: the room lies away from its back wall, none below 0."""
    side = 1.0 if signed_area_m2(corners) > 0 else -1.0
    placed = [(x, side * y) for x, y in corners]
    low_x, low_y = (min(values) for values in zip(*placed, strict=True))
    high_x = max(x for x, _ in placed)

    def shown(points: Sequence[Point]) -> list[list[str]]:
        return [[_length(x - low_x, feet), _length(y - low_y, feet)] for x, y in points]

    shape: dict[str, Any] = {"outline": shown(placed)}
    if islands:
        shape["islands"] = [
            shown([(x, y), (x + wide, y), (x + wide, y + deep), (x, y + deep)])
            for (wide, deep), (x, y) in islands
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
