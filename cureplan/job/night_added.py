"""A room that was added on the night, from its line of the log."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cureplan.errors import QuantityError
from cureplan.job.readings_table import Line
from cureplan.job.schema import ROOM_USES
from cureplan.quantities import parse_length_m, split_refusal

__all__ = ["AddedRoom", "parsed_value", "read_added_room"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AddedRoom:
    """A floor that was added on the night."""

    name: str
    length_m: float
    width_m: float
    use: str
    way_out: tuple[str, ...]


def parsed_value(line: Line, text: str, parse: Callable[[str], float]) -> float:
    """A quantity in the column `value`, or a refusal of that cell."""
    try:
        return parse(text)
    except QuantityError as error:
        raise line.fault("value", *split_refusal(error, text)) from None


def read_added_room(line: Line, *, known: Sequence[str]) -> AddedRoom:
    """The room a line adds: its name, "12 ft x 10 ft, storage", and maybe its way out.

    Raises
    ------
    InputError
        The name is none or taken, or the value no size and use.
    """
    name = line.text("room")
    if not name or name.casefold() in (other.casefold() for other in known):
        raise line.fault(
            "room",
            "the plan has a room of that name" if name else "it is empty",
            "give the new room a name of its own",
        )
    parts = [part.strip() for part in line.text("value").split(",")]
    size = [part.strip() for part in parts[0].lower().replace("×", "x").split(" x ")]
    if len(size) != 2 or len(parts) not in (2, 3) or parts[1].lower() not in ROOM_USES:
        raise line.fault(
            "value",
            "not a size and a use",
            'write it as "12 ft x 10 ft, storage"; uses are ' + ", ".join(ROOM_USES),
        )
    length_m, width_m = (parsed_value(line, part, parse_length_m) for part in size)
    if not (0.3 <= length_m <= 200.0 and 0.3 <= width_m <= 200.0):
        raise line.fault("value", "a side lies outside 0.3..200 m", "check the size")
    return AddedRoom(
        name=name,
        length_m=length_m,
        width_m=width_m,
        use=parts[1].lower(),
        way_out=_way_out(line, parts[2], known) if len(parts) == 3 else (),
    )


def _way_out(line: Line, text: str, known: Sequence[str]) -> tuple[str, ...]:
    by_lower = {name.casefold(): name for name in known}
    names = [n.strip() for n in text.removeprefix("through").split("+")]
    if not text.startswith("through ") or not all(n.casefold() in by_lower for n in names):
        raise line.fault(
            "value",
            "its way out names no floor of the plan",
            'write it as "through Corridor", or "through Servery + Corridor"',
        )
    return tuple(by_lower[n.casefold()] for n in names)
