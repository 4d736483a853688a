"""Who works and how fast, as a user writes it: `[crew]` or `[[people]]`, and `[pace]`."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from cureplan.core import quantities as q
from cureplan.inputs.fields import (
    ClockMinutes,
    EndMinutes,
    Name,
    People,
    Written,
    choice,
    entry,
    quantity,
)
from cureplan.inputs.job.crew import ROLES, Role

__all__ = ["CrewEntry", "PaceEntry", "PersonEntry", "ShiftEntry", "Stops"]

MOST_SHIFTS = 24
"""Of one crew in a day."""
ShiftLength = Annotated[
    float, quantity(q.parse_duration_s, "12 h", at_least="1 h", at_most="24 h")
]
Rest = Annotated[float, quantity(q.parse_duration_s, "8 h", at_most="72 h")]
Break = Annotated[float, quantity(q.parse_duration_s, "30 min", above="0 min", at_most="4 h")]
HandPace = Annotated[
    float,
    quantity(
        q.parse_area_rate_m2_s, "20 sq ft/min", at_least="0.1 m2/min", at_most="100 m2/min"
    ),
]
RowDepth = Annotated[
    float, quantity(q.parse_length_m, "2 ft", at_least="6 in", at_most="12 ft")
]
Stops = Annotated[float, quantity(q.parse_duration_s, "45 s", at_most="1 h")]
SetUp = Annotated[float, quantity(q.parse_duration_s, "45 min", at_most="8 h")]


class ShiftEntry(Written):
    """One entry of ``pour_shifts`` or ``topcoat_shifts``."""

    begins_min: ClockMinutes = entry(alias="from", meaning="when the shift begins")
    ends_min: EndMinutes = entry(
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
        None,
        alias="group_changeover",
        ask="How long from one to the next where rooms meet along an open edge?",
        usual="0 min",
        meaning="the same between rooms of one group",
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


class PaceEntry(Written):
    """Table ``[pace]``: how much one pair of hands does in a minute."""

    haul_s: Stops = entry(
        "45 s",
        alias="haul",
        origin="invented",
        kind="time",
        meaning="from the mixer to the edge, one way",
    )
    rake_m2_s: HandPace = entry(
        "20 sq ft/min",
        alias="rake",
        origin="invented",
        kind="pace",
        meaning="what one rake spreads",
    )
    smooth_m2_s: HandPace = entry(
        "15 sq ft/min",
        alias="smooth",
        origin="invented",
        kind="pace",
        meaning="what one smoother finishes",
    )
    broadcast_m2_s: HandPace = entry(
        "7.5 sq ft/min",
        alias="broadcast",
        origin="invented",
        kind="pace",
        meaning="what one broadcaster covers",
    )
    topcoat_m2_s: HandPace = entry(
        "25 sq ft/min",
        alias="topcoat",
        origin="invented",
        kind="pace",
        meaning="what one pair of hands rolls",
    )
    vacuum_m2_s: HandPace = entry(
        "30 sq ft/min",
        alias="vacuum",
        origin="invented",
        kind="pace",
        meaning="what one pair of hands vacuums",
    )
    primer_m2_s: HandPace = entry(
        "40 sq ft/min",
        alias="primer",
        origin="invented",
        kind="pace",
        meaning="what one pair of hands primes",
    )
    edge_m_s: Annotated[
        float,
        quantity(q.parse_edge_rate_m_s, "10 ft/min", at_least="1 ft/min", at_most="300 ft/min"),
    ] = entry(
        "10 ft/min",
        alias="edge",
        origin="invented",
        kind="edge pace",
        meaning="what one edge hand finishes along walls and islands",
    )
    row_depth_min_m: RowDepth = entry(
        "2 ft",
        alias="row_depth_min",
        origin="invented",
        kind="length",
        meaning="the shallowest row worth pouring",
    )
    row_depth_max_m: RowDepth = entry(
        "5 ft",
        alias="row_depth_max",
        origin="invented",
        kind="length",
        meaning="how far a rake reaches from the edge",
    )
    bay_turn_s: Stops = entry(
        "3 min",
        alias="bay_turn",
        origin="invented",
        kind="time",
        meaning="lost at the turn from one bay to the next",
    )
