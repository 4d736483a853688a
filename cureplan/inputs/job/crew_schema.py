"""Who works, as a user writes it: `[crew]` with heads counted, or `[[people]]` by name."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from cureplan.core import quantities as q
from cureplan.inputs.fields import ClockMinutes, Name, People, Written, choice, entry, quantity
from cureplan.inputs.job.crew import ROLES, Role

__all__ = ["CrewEntry", "PersonEntry", "ShiftEntry"]

MOST_SHIFTS = 24
"""Of one crew in a day."""
ShiftLength = Annotated[
    float, quantity(q.parse_duration_s, "12 h", at_least="1 h", at_most="24 h")
]
Rest = Annotated[float, quantity(q.parse_duration_s, "8 h", at_most="72 h")]
Break = Annotated[float, quantity(q.parse_duration_s, "30 min", above="0 min", at_most="4 h")]
SetUp = Annotated[float, quantity(q.parse_duration_s, "45 min", at_most="8 h")]


class ShiftEntry(Written):
    """One entry of ``pour_shifts`` or ``topcoat_shifts``."""

    begins_min: ClockMinutes = entry(alias="from", meaning="when the shift begins")
    ends_min: ClockMinutes = entry(
        alias="to", meaning="when it ends, the next day where that is earlier"
    )


Shifts = Annotated[
    tuple[ShiftEntry, ...], Field(min_length=1, max_length=MOST_SHIFTS, strict=False)
]


class CrewEntry(Written):
    """Table ``[crew]``; heads are counted here, or the people listed in ``[[people]]``."""

    stations: People = entry(
        ask="How many mixing stations?", usual="2", note="each needs a mixer"
    )
    mixer: People | None = entry(None, ask="How many mix?", usual="2")
    runner: People | None = entry(None, ask="How many carry buckets?", usual="1")
    rake: People | None = entry(None, ask="How many rake?", usual="1")
    smoother: People | None = entry(None, ask="How many smooth?", usual="1")
    broadcaster: People | None = entry(None, ask="How many broadcast the aggregate?", usual="2")
    edge: People | None = entry(None, ask="How many at the edges?", usual="1")
    topcoat: People | None = entry(None, ask="How many in the topcoat crew?", usual="3")
    primer: People = entry(2, ask="How many lay the primer?", usual="2")
    spiked_shoes: bool = entry(
        False,
        meaning="whether a fresh layer is walked on in spiked shoes, to lay the next on it "
        "before it bears feet",
    )
    setup_s: SetUp = entry(alias="setup", ask="How long to set up?", usual="45 min")
    changeover_s: SetUp = entry(
        alias="changeover", ask="How long from one room to the next?", usual="15 min"
    )
    group_changeover_s: SetUp | None = entry(
        None, alias="group_changeover", meaning="the same between rooms of one group"
    )
    pour_shifts: Shifts = entry(ask="When may the pour crew work?", usual="19:00 to 05:00")
    topcoat_shifts: Shifts = entry(
        ask="When may the topcoat crew work?", usual="05:00 to 17:00"
    )
    longest_shift_s: ShiftLength | None = entry(
        None,
        alias="longest_shift",
        ask="How long may anyone stay, from coming to going?",
        usual="12 h",
        meaning="from coming to going; 12 h is common practice",
    )
    rest_s: Rest | None = entry(
        None,
        alias="rest",
        ask="How long a rest before anyone comes again?",
        usual="8 h",
        meaning="how long anyone is at home between two shifts",
    )
    break_after_s: ShiftLength = entry(
        "6 h",
        alias="break_after",
        origin="common practice",
        meaning="how long anyone may work without a break",
    )
    break_for_s: Break = entry(
        "30 min", alias="break_for", origin="common practice", meaning="how long a break lasts"
    )


class PersonEntry(Written):
    """One ``[[people]]``."""

    name: Name = entry(meaning="what he or she is called; each name once")
    roles: Annotated[
        tuple[Annotated[Role, choice(*ROLES)], ...], Field(min_length=1, strict=False)
    ] = entry(meaning=f"what he or she can do: {', '.join(ROLES)}")
    longest_shift_s: ShiftLength | None = entry(
        None, alias="longest_shift", meaning="where it is not as the crew's"
    )
    hours: Shifts | None = entry(
        None, meaning="when he or she can be there, where not in all shifts"
    )
