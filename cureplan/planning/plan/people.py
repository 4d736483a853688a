"""Who must be there when: rows of the plan about people."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from cureplan.core.messages import Message

__all__ = ["Arrival", "Break", "Call", "Labour", "Stop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """Who must be there when, for what."""

    role: str
    people: int
    room: str
    stage: str
    """The layer worked on: "pour", "vacuum", "coat 1" and so on."""
    call: datetime
    first_task: datetime
    last_task: datetime
    busy_frac: float
    reason: Message
    names: tuple[str, ...] = ()
    """Who they are, where the job names its people."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """What somebody does on one floor before going on to the next."""

    role: str
    room: str
    stage: str
    """As of a call, or "ice"."""
    first_task: datetime
    last_task: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """A time in which somebody has nothing to do."""

    begins: datetime
    ends: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """One coming of a person, or of a role whose people have no names."""

    who: str
    named: bool
    people: int
    call: datetime
    """Rounded to five minutes, on the early side."""
    leaves: datetime
    roles: tuple[str, ...]
    stops: tuple[Stop, ...]
    reason: Message
    breaks: tuple[Break, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Labour:
    """Heads, and hours from coming to going of all of them together."""

    heads: int
    person_hours: float
