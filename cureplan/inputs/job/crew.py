"""Who works: head counts per role, or people by name with what each can do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import time
from itertools import count
from typing import Final, Literal, get_args

from cureplan.core.clock import MINUTES_PER_DAY

__all__ = [
    "LONGEST_SHIFT_S",
    "POUR_ROLES",
    "ROLES",
    "SAME_SHIFT_S",
    "Crew",
    "Person",
    "Role",
    "Shift",
    "common_hours",
    "minutes_of",
]

Role = Literal[
    "foreman",
    "mixer",
    "runner",
    "rake",
    "smoother",
    "broadcaster",
    "edge",
    "primer",
    "topcoat",
    "ice",
]
ROLES: tuple[Role, ...] = get_args(Role)
"""What a person may be named for; those of the topcoat vacuum as well."""
POUR_ROLES: tuple[Role, ...] = ("mixer", "runner", "rake", "smoother", "broadcaster", "edge")
"""Hands a pour cannot do without, in the order a bucket passes them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """Hours of the day in which a crew may be called; `ends` <= `begins` crosses midnight."""

    begins: time
    ends: time

    @property
    def lasts_min(self) -> int:
        """How long it lasts [min]; round the clock where it ends as it begins.

        Examples
        --------
        >>> Shift(begins=time(20), ends=time(2)).lasts_min
        360
        """
        later_min = minutes_of(self.ends) - minutes_of(self.begins)
        return later_min % MINUTES_PER_DAY or MINUTES_PER_DAY

    def moved(self, *, begins_min: int = 0, ends_min: int = 0) -> Shift | None:
        """The same with its ends moved [min]; None where that makes it a whole day.

        Examples
        --------
        >>> Shift(begins=time(20), ends=time(2)).moved(ends_min=30).ends
        datetime.time(2, 30)
        """
        if self.lasts_min - begins_min + ends_min >= MINUTES_PER_DAY:
            return None
        begins, ends = minutes_of(self.begins) + begins_min, minutes_of(self.ends) + ends_min
        return Shift(begins=_clock(begins), ends=_clock(ends))


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """One of the crew, and what he or she can do; more than one thing in one pour."""

    name: str
    roles: tuple[Role, ...]
    longest_shift_s: float | None = None
    """From coming to going; None: as the crew."""
    hours: tuple[Shift, ...] = ()
    """When he or she can be there; empty: in all shifts."""


SAME_SHIFT_S: Final = 6 * 3600.0
"""Work again within that belongs to the same shift where no rest is stated: invented."""
EARLY_S: Final = 240.0
"""By how much a call may come before the set-up: whole minutes rounded down to five."""
LONGEST_SHIFT_S: Final = 12 * 3600.0
"""A shift worth a warning where the job states none: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """People and mixing stations, and the shifts they may be called in.

    The head count of each role; where the people are named, how many can do it.
    """

    stations: int
    mixer: int
    runner: int
    rake: int
    smoother: int
    broadcaster: int
    edge: int
    topcoat: int
    primer: int = 2
    """Hands of the pour crew that prime."""
    spiked_shoes: bool = False
    """Whether a layer is walked on in them before it bears feet, to lay the next."""
    setup_s: float
    changeover_s: float
    group_changeover_s: float | None = None
    """The same between rooms of one group; None: the same as between others."""
    pour_shifts: tuple[Shift, ...]
    topcoat_shifts: tuple[Shift, ...]
    people: tuple[Person, ...] = ()
    """Empty: head counts alone, nobody in two roles but that the pour crew primes."""
    longest_shift_s: float | None = None
    """From coming to going; None: no limit, but a warning beyond `LONGEST_SHIFT_S`."""
    rest_s: float | None = None
    """Between going and coming again; None: as the hours fall."""
    break_after_s: float = 6 * 3600.0
    break_for_s: float = 1800.0

    @property
    def in_group_s(self) -> float:
        """From one room to the next of its group."""
        if self.group_changeover_s is None:
            return self.changeover_s
        return self.group_changeover_s

    def holding(self, *roles: str) -> tuple[Person, ...]:
        """The people who can do one of these, in the order of the job."""
        return tuple(person for person in self.people if set(person.roles) & {*roles})

    def most_s(self, person: Person | None) -> float | None:
        """How long a person, or who has no name, may stay [s]; None where nothing is said.

        A rest without a longest shift would say nothing, so then it is the usual one.
        """
        usual_s = None if self.rest_s is None else LONGEST_SHIFT_S
        longest_s = usual_s if self.longest_shift_s is None else self.longest_shift_s
        said = None if person is None else person.longest_shift_s
        return longest_s if said is None else said

    @property
    def ahead_s(self) -> float:
        """How long before the first task of a shift anyone may have come [s]."""
        return self.setup_s + EARLY_S

    @property
    def again_s(self) -> float:
        """More than this from an end to a begin, and there was a rest in between [s]."""
        return SAME_SHIFT_S if self.rest_s is None else self.rest_s + self.ahead_s

    @property
    def foreman(self) -> str:
        """Who leads: the first who can, else the first named; empty without names."""
        led = (*self.holding("foreman"), *self.people)
        return led[0].name if led else ""

    def crews_of(self, person: Person) -> tuple[str, ...]:
        """The crews a person is in; the foreman is at every pour."""
        pours = {*POUR_ROLES, "foreman"} & {*person.roles} or person.name == self.foreman
        within = {
            "pour": bool(pours),
            "primer": "primer" in person.roles,
            "topcoat": "topcoat" in person.roles,
        }
        return tuple(crew for crew, is_in in within.items() if is_in)

    @property
    def shares(self) -> bool:
        """Whether somebody has more than one thing to do in a pour."""
        return any(len(set(person.roles) & {*POUR_ROLES}) > 1 for person in self.people)

    def with_more(self, role: str, by: int = 1) -> Crew:
        """The crew with more or fewer at a role; who is new can do nothing else.

        Where one fewer is left, it is the last named who can do it.
        """
        changed = replace(self, **{role: getattr(self, role) + by})
        if not self.people or role == "stations":
            return changed
        people = list(self.people)
        for place in range(len(people) - 1, -1, -1):
            if by < 0 and role in people[place].roles:
                kept = tuple(other for other in people[place].roles if other != role)
                people[place] = replace(people[place], roles=kept)
                by += 1
        named = {person.name for person in people}
        for number in range(1, by + 1):
            name = next(n for n in _hands_names(role, number) if n not in named)
            people.append(Person(name=name, roles=(role,)))  # type: ignore[arg-type]
            named.add(name)
        return replace(changed, people=tuple(people))


def common_hours(
    shifts: Sequence[Shift], people: Iterable[tuple[Shift, ...]]
) -> tuple[Shift, ...]:
    """The parts of shifts in which all people are there; those without hours always are.

    Examples
    --------
    >>> night = Shift(begins=time(19), ends=time(5))
    >>> [(s.begins.hour, s.ends.hour) for s in
    ...  common_hours([night], [(Shift(begins=time(21), ends=time(3)),), ()])]
    [(21, 3)]
    """
    limited = [hours for hours in people if hours]
    if not limited:
        return tuple(shifts)
    found = []
    for shift in shifts:
        begins, lasts = minutes_of(shift.begins), shift.lasts_min
        free = [
            all(_is_in(hours, begins + minute) for hours in limited) for minute in range(lasts)
        ]
        edges = [
            m for m in range(lasts + 1) if (m > 0 and free[m - 1]) != (m < lasts and free[m])
        ]
        found += [
            Shift(begins=_clock(begins + first), ends=_clock(begins + last))
            for first, last in zip(edges[::2], edges[1::2], strict=True)
        ]
    return tuple(found)


def minutes_of(clock: time) -> int:
    """Minutes since midnight."""
    return clock.hour * 60 + clock.minute


def _clock(minutes: int) -> time:
    hour, minute = divmod(minutes % MINUTES_PER_DAY, 60)
    return time(hour, minute)


def _is_in(hours: Iterable[Shift], minute: int) -> bool:
    return any(
        (minute - minutes_of(span.begins)) % MINUTES_PER_DAY < span.lasts_min for span in hours
    )


def _hands_names(role: str, first: int) -> Iterator[str]:
    return (f"+{number} {role}" for number in count(first))
