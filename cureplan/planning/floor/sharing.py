"""Who does what in a pour where one pair of hands does several things.

The work is divided so that the interval between buckets is the least. It adds up what one
pair of hands does for a bucket, and what several do for one is shared evenly; somebody may
well be left out of a role. Each pair of hands then does its tasks in the same rhythm,
never two at once; a mixed bucket is carried at once, what lies on the floor may wait.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import product

from cureplan.inputs.job.crew import POUR_ROLES, Crew

__all__ = ["TASKS", "Rhythm", "Tasks", "shared_rhythm"]

TASKS: Mapping[str, str] = {
    "mixer": "mixing",
    "runner": "haul",
    "rake": "rake",
    "smoother": "smooth",
    "broadcaster": "broadcast",
    "edge": "edge",
}
"""What each role does."""
TURNS = ("mixer", "runner")
"""Roles whose people take a bucket each in turn; at the others all work on one."""
MOST_TRIED = 400
"""Steps before the best so far is taken, of each number of hands at one task."""
MOST_AT_ONE = 4
"""Hands that find room at one bucket's patch."""
SLOWER = (1.0, 1.02, 1.05, 1.1, 1.2, 1.4, 1.7, 2.0, 3.0, 6.0)
"""Intervals tried where the tasks do not fit one after the other; in the last of them one
pair of hands could do everything."""
_EPS_S = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Tasks:
    """What one pair of hands takes for each task of a bucket [s]."""

    mix_s: float
    """From the first liquids to the end of mixing."""
    turnaround_s: float
    haul_s: float
    """One way."""
    rake_s: float
    smooth_s: float
    broadcast_s: float
    edge_s: float

    def of(self, role: str) -> float:
        """Of a role, its way back and its turnaround counted [s]."""
        return {
            "mixer": self.mix_s + self.turnaround_s,
            "runner": 2.0 * self.haul_s,
            "rake": self.rake_s,
            "smoother": self.smooth_s,
            "broadcaster": self.broadcast_s,
            "edge": self.edge_s,
        }[role]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rhythm:
    """The interval between buckets, who does what, and when [s from a bucket's liquids]."""

    interval_s: float
    limit: str
    """Longest task of the busiest pair of hands."""
    hands: Mapping[str, tuple[str, ...]]
    """Names by role."""
    rake_at_s: float
    smooth_at_s: float
    broadcast_at_s: float

    def share_s(self, role: str, tasks: Tasks) -> float:
        """How long a role is at one bucket, all its hands together [s]."""
        return tasks.of(role) / len(self.hands[role])


def shared_rhythm(crew: Crew, tasks: Tasks) -> Rhythm:
    """The shortest rhythm in which every pair of hands does one thing at a time."""
    search = _Search(crew, tasks)
    for search.at_one in range(1, MOST_AT_ONE + 1):
        search.tried = 0
        search.divide({})
    if search.best is None:
        raise AssertionError("every role of a pour has somebody")
    return search.best


Division = Mapping[str, tuple[str, ...]]


@dataclass(slots=True)
class _Search:
    """Ways to divide the work, the least loaded hands first, and the best rhythm so far."""

    crew: Crew
    tasks: Tasks
    best: Rhythm | None = None
    at_one: int = 1
    """Hands that may be at one task."""
    tried: int = 0
    _able: dict[str, list[str]] = field(init=False)
    _can: dict[str, frozenset[str]] = field(init=False)

    def __post_init__(self) -> None:
        able = {role: [p.name for p in self.crew.holding(role)] for role in POUR_ROLES}
        # Roles with the fewest hands, then the longest work: what is left soon has no choice.
        by_choice = sorted(able, key=lambda role: (len(able[role]), -self.tasks.of(role)))
        self._able = {role: able[role] for role in by_choice}
        self._can = {p.name: frozenset(p.roles) & {*POUR_ROLES} for p in self.crew.people}

    def _groups(self, role: str, chosen: Division) -> list[tuple[str, ...]]:
        """Hands that may take a role; of those with the same to do, the first named."""
        alike: dict[object, list[str]] = {}
        for name in self._able[role]:
            has = tuple((r, names.index(name)) for r, names in chosen.items() if name in names)
            alike.setdefault((self._can[name], has), []).append(name)
        counts = product(*(range(len(names) + 1) for names in alike.values()))
        most = min(self.at_one, self.crew.stations) if role == "mixer" else self.at_one
        return [
            tuple(n for names, k in zip(alike.values(), count, strict=True) for n in names[:k])
            for count in counts
            if 0 < sum(count) <= most
        ]

    def loads(self, division: Division) -> dict[str, float]:
        """How long each pair of hands is busy with a bucket [s]."""
        found: dict[str, float] = {}
        for role, names in division.items():
            for name in names:
                share_s = self.tasks.of(role) / len(names)
                found[name] = found.get(name, 0.0) + share_s
        return found

    def divide(self, chosen: dict[str, tuple[str, ...]]) -> None:
        """Give the roles that are left to hands, in every way that may be better."""
        self.tried += 1
        loads = self.loads(chosen)
        busiest_s = max(loads.values(), default=0.0)
        if self.best is not None and (
            busiest_s > self.best.interval_s + _EPS_S or self.tried > MOST_TRIED
        ):
            return
        if len(chosen) == len(self._able):
            self.best = self._fitted(chosen, busiest_s) or self.best
            return
        role = list(self._able)[len(chosen)]

        def burden(group: tuple[str, ...]) -> tuple[float, int, int]:
            more_s = self.tasks.of(role) / len(group)
            theirs_s = max(loads.get(name, 0.0) for name in group) + more_s
            return max(theirs_s, busiest_s), sum(name in loads for name in group), len(group)

        for group in sorted(self._groups(role, chosen), key=burden):
            self.divide({**chosen, role: group})

    def _fitted(self, division: Division, least_s: float) -> Rhythm | None:
        """The shortest rhythm of a division; None where it does not beat the best so far."""
        for slower in SLOWER:
            interval_s = least_s * slower
            if self.best is not None and interval_s > self.best.interval_s + _EPS_S:
                return None
            at_s = _offsets(division, self.tasks, interval_s)
            if at_s is not None:
                found = Rhythm(
                    interval_s=interval_s,
                    limit=self._limit(division),
                    hands=dict(division),
                    rake_at_s=at_s["rake"],
                    smooth_at_s=at_s["smoother"],
                    broadcast_at_s=at_s["broadcaster"],
                )
                return found if self._beats(found) else None
        return None

    def _beats(self, found: Rhythm) -> bool:
        """Whether buckets come sooner, or as soon and are sooner done."""
        if self.best is None or found.interval_s < self.best.interval_s - _EPS_S:
            return True
        return self._done_s(found) < self._done_s(self.best) - _EPS_S

    def _done_s(self, rhythm: Rhythm) -> float:
        """When the last grain is on a bucket's patch: hands to spare are not left idle."""
        return rhythm.broadcast_at_s + rhythm.share_s("broadcaster", self.tasks)

    def _limit(self, division: Division) -> str:
        """The longest task of the busiest hands."""
        loads = self.loads(division)
        busiest = max(loads, key=lambda name: loads[name])
        own = {
            role: self.tasks.of(role) / len(names)
            for role, names in division.items()
            if busiest in names
        }
        return TASKS[max(own, key=lambda role: own[role])]


@dataclass(frozen=True, slots=True)
class _Turn:
    """A task of one pair of hands: from when, how long [s], and for which buckets."""

    begins_s: float
    lasts_s: float
    every: int
    first: int

    def clashes(self, other: _Turn, interval_s: float) -> bool:
        """Whether two tasks of the same hands ever overlap, bucket after bucket."""
        round_ = math.lcm(self.every, other.every)
        whole_s = round_ * interval_s
        for mine in range(self.first, round_, self.every):
            for its in range(other.first, round_, other.every):
                after_s = other.begins_s - self.begins_s + (its - mine) * interval_s
                if (
                    after_s % whole_s < self.lasts_s - _EPS_S
                    or -after_s % whole_s < other.lasts_s - _EPS_S
                ):
                    return True
        return False


def _offsets(division: Division, tasks: Tasks, interval_s: float) -> dict[str, float] | None:
    """When each task of a bucket begins [s from its liquids]; None where hands clash."""
    busy: dict[str, list[_Turn]] = {}
    begins_s = {"mixer": -tasks.turnaround_s, "runner": tasks.mix_s}
    for role in TURNS:
        if not _take(role, begins_s[role], division, tasks, interval_s, busy):
            return None
    poured_s = tasks.mix_s + tasks.haul_s
    return _chain(("rake", "smoother", "broadcaster", "edge"), poured_s, poured_s,
                  division, tasks, interval_s, busy)  # fmt: skip


def _chain(
    roles: tuple[str, ...],
    ready_s: float,
    poured_s: float,
    division: Division,
    tasks: Tasks,
    interval_s: float,
    busy: Mapping[str, list[_Turn]],
) -> dict[str, float] | None:
    """Each of the roles as soon as its hands are free, later where the rest needs it."""
    if not roles:
        return {}
    role, *rest = roles
    # Edges are trimmed beside the rest, and nothing waits for them.
    from_s = poured_s if role == "edge" else ready_s
    for at_s in _openings(role, from_s, division, interval_s, busy):
        mine = {name: [*turns] for name, turns in busy.items()}
        if not _take(role, at_s, division, tasks, interval_s, mine):
            continue
        done_s = at_s + tasks.of(role) / len(division[role])
        found = _chain(tuple(rest), done_s, poured_s, division, tasks, interval_s, mine)
        if found is not None:
            return {role: at_s, **found}
    return None


def _openings(
    role: str,
    from_s: float,
    division: Division,
    interval_s: float,
    busy: Mapping[str, list[_Turn]],
) -> list[float]:
    """Where a task may begin: at once, or as some of its hands are done with another."""
    ends_s = [t.begins_s + t.lasts_s for name in division[role] for t in busy.get(name, ())]
    later = (from_s + (end_s - from_s) % interval_s for end_s in ends_s)
    return sorted({from_s, *later})


def _take(
    role: str,
    at_s: float,
    division: Division,
    tasks: Tasks,
    interval_s: float,
    busy: dict[str, list[_Turn]],
) -> bool:
    """Put a task to its hands' tasks; whether none of them is then in two places."""
    names = division[role]
    for number, name in enumerate(names):
        if role == "edge" and len(busy.get(name, ())) == 0:
            continue
        turn = (
            _Turn(at_s, tasks.of(role), len(names), number)
            if role in TURNS
            else _Turn(at_s, tasks.of(role) / len(names), 1, 0)
        )
        if turn.lasts_s > turn.every * interval_s + _EPS_S or any(
            turn.clashes(other, interval_s) for other in busy.get(name, ())
        ):
            return False
        busy.setdefault(name, []).append(turn)
    return True
