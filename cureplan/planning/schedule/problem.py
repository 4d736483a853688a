"""The ordering problem: tasks, tables over start slots, and the rules between them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError

__all__ = [
    "FAR",
    "NEAREST",
    "NEVER",
    "OFFSETS",
    "Choice",
    "Clear",
    "Hands",
    "IntArray",
    "Intervals",
    "Problem",
    "Score",
    "Stage",
    "broken_rules",
    "gather_intervals",
    "score",
    "stage_of",
]

IntArray = NDArray[np.int32]
"""Slots and small counts: half the memory of a large job's tables."""
NEVER = 1_000_000
"""A slot after everything: a floor that never bears feet within the weather known."""

Choice = tuple[tuple[int, ...], ...]
"""The state chosen for each stage of each room."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stage:
    """One task of one room and its possible states; every array has shape (K,)."""

    crew: int
    begins: IntArray
    """Slot at which the crew begins."""
    ends: IntArray
    """First slot after the work."""
    frees: IntArray
    """First slot at which the crew may begin elsewhere: the work plus moving over."""
    follows: IntArray
    """The same of the next room of its group."""
    shuts: IntArray
    """First slot at which nobody may cross the floor."""
    walks: IntArray
    """First slot at which everybody may again."""
    opens: IntArray
    """First begin of the next stage; of a last stage, when the room is ready."""
    closes: IntArray
    """Last begin of the next stage."""
    short: IntArray
    """Missing margin, in bands."""
    cost: IntArray
    """What its remedies cost."""
    span: IntArray
    """Which of the crew's shifts."""
    option: IntArray
    """For whoever made the states: how the work is done."""

    @property
    def size(self) -> int:
        """Number of states."""
        return int(self.begins.size)

    def keep(self, kept: NDArray[np.bool_]) -> Stage:
        """The stage with only the states marked."""
        if bool(kept.all()):
            return self
        number, found = int(kept.sum()), dict[int, IntArray]()
        arrays = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "crew"}
        for name, values in arrays.items():
            # One value for all states, or one array under two names, is kept once.
            if id(values) not in found:
                one = values.strides == (0,)
                found[id(values)] = (
                    np.broadcast_to(values[:1], number) if one and number else values[kept]
                )
            arrays[name] = found[id(values)]
        return replace(self, **arrays)

    def labelled(self, *, cost: int, option: int) -> Stage:
        """The stage with one cost and one option on all its states."""
        return replace(
            self,
            cost=np.full(self.size, cost, dtype=np.int32),
            option=np.full(self.size, option, dtype=np.int32),
        )


def stage_of(
    *,
    crew: int,
    begins: ArrayLike,
    lasts: ArrayLike,
    opens: ArrayLike,
    closes: ArrayLike,
    **others: ArrayLike,
) -> Stage:
    """A stage from its bare necessities; what is left out is the plainest value.

    Examples
    --------
    >>> stage_of(crew=0, begins=[0, 1], lasts=3, opens=[3, 4], closes=9).ends.tolist()
    [3, 4]
    """
    begin = np.asarray(begins, dtype=np.int32)
    values: dict[str, ArrayLike] = {
        "begins": begin,
        "ends": begin + np.asarray(lasts, dtype=np.int32),
        "shuts": begin,
        "walks": begin,
        "opens": opens,
        "closes": closes,
        "short": 0,
        "cost": 0,
        "span": 0,
        "option": 0,
    }
    values["frees"] = values["ends"]
    values |= others
    values = {"follows": values["frees"]} | values
    made = {
        id(value): np.broadcast_to(np.asarray(value, dtype=np.int32), begin.shape)
        for value in values.values()
    }
    return Stage(crew=crew, **{name: made[id(value)] for name, value in values.items()})


class Score(NamedTuple):
    """What a choice is worth; compared in this order, smaller is better."""

    waited: int
    """Slots a crew stood by without need, where the job does not allow waiting."""
    short_most: int
    short_sum: int
    last_shift: int
    """Shift in which the last floor is poured: nobody comes another night to save ice."""
    tight: int
    """How near coats come to the ends of their windows: the nearest first, then all."""
    cost: int
    """Of all remedies, and of standing by between pours."""
    ready: int
    """Slot at which the last room is ready."""
    calls: int
    """Shifts for which a crew is called."""
    on_site: int
    """Slots between first and last task of every crew and shift."""
    hurried: int
    """Bands by which stages miss half a shift before they would be too old: for ties."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clear:
    """How far from the ends of its window a stage is wanted, in slots; nearer counts."""

    band: int = 1
    """Slots that count as one."""
    opening: int = 0
    closing: int = 0
    ample: int = 0
    """Before the closing, for ties alone."""

    @property
    def most(self) -> int:
        """Bands a single stage can miss."""
        return -(-max(self.opening, self.closing) // self.band)

    def missing(self, *, opens: int, begins: int, closes: int) -> int:
        """Bands by which a begin comes too near to either end."""
        short = max(self.opening - (begins - opens), self.closing - (closes - begins), 0)
        return -(-short // self.band)

    def hurried(self, *, begins: int, closes: int) -> int:
        """Bands by which a begin misses ample time before the closing."""
        return -(-max(self.ample - (closes - begins), 0) // self.band)


NEAREST = 1000
"""What the nearest to its window's end counts against the sum of all."""


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Hands:
    """People who are in some of the crews, in slots: in one place at a time, and how long."""

    crews: tuple[int, ...]
    most: int | None = None
    """From the first begin to the last end before they rest; None: no limit."""
    rest: int = 0
    """From an end to a begin, where they were at home in between."""

    def visits(self, works: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
        """Begins and ends joined wherever there is no rest in between.

        Examples
        --------
        >>> Hands(crews=(0,), rest=5).visits([(0, 3), (20, 22), (7, 9)])
        [(0, 9), (20, 22)]
        """
        found: list[tuple[int, int]] = []
        for begins, ends in sorted(works):
            if found and begins - found[-1][1] < self.rest:
                first, last = found.pop()
                begins, ends = first, max(last, ends)
            found.append((begins, ends))
        return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """Rooms to be ordered."""

    rooms: tuple[tuple[Stage, ...], ...]
    crosses: tuple[tuple[int, ...], ...]
    """Rooms whose floor a crew crosses to leave each room."""
    pour_stages: tuple[int, ...] = ()
    """Number of the stage in which each room is poured; empty where all are first."""
    hands: tuple[Hands, ...] = ()
    """People and the crews they are in; empty where every crew has its own."""
    groups: tuple[tuple[int, ...], ...] = ()
    """Rooms whose pours follow one another with nothing in between."""
    loose: frozenset[int] = frozenset()
    """Of these, rooms of which that is not asked: between them only the way is shorter."""
    shift_begins: tuple[int, ...] = (0,)
    """First slot at which the pouring crew may begin in each of its shifts."""
    may_wait: bool = True
    """Whether a pour may begin later than it could, to gain margin or save a remedy."""
    wait_price: int = 0
    """What a slot costs in which the pouring crew stands by between two pours."""
    clear: Clear = Clear()
    setup: int = 0
    """Slots ahead of its first task in a shift at which a crew carries its tools in."""
    moving: int = 0
    """The same of every other task."""
    carried: frozenset[tuple[int, int]] = frozenset()
    """Room and stage of tasks whose tools are in already."""

    def ahead(self, room: int, number: int, *, first: bool) -> int:
        """Slots ahead of a task from which on its ways must be open."""
        if (room, number) in self.carried:
            return 0
        return self.setup if first else self.moving

    def tasks(self) -> Iterator[tuple[int, int, Stage]]:
        """Room, stage number and stage of every task."""
        for room, stages in enumerate(self.rooms):
            for number, stage in enumerate(stages):
                yield room, number, stage

    def same_hands(self, one: Stage, other: Stage) -> bool:
        """Whether somebody is needed at both."""
        return one.crew == other.crew or any(
            one.crew in hands.crews and other.crew in hands.crews for hands in self.hands
        )

    @property
    def timed(self) -> tuple[Hands, ...]:
        """Those who may not stay longer than some time."""
        return tuple(hands for hands in self.hands if hands.most is not None)

    def pour(self, room: int) -> int:
        """Number of the stage in which a room is poured."""
        return self.pour_stages[room] if self.pour_stages else 0

    def same_group(self, room: int, other: int) -> bool:
        """Whether two rooms belong to one group."""
        return any(room in group and other in group for group in self.groups)

    def next_free(self, task: tuple[int, int], other: tuple[int, int]) -> IntArray:
        """First slot at which the hands of a task may begin another, by its states."""
        stage = self.rooms[task[0]][task[1]]
        poured = task[1] == self.pour(task[0]) and other[1] == self.pour(other[0])
        grouped = poured and self.same_group(task[0], other[0])
        return stage.follows if grouped else stage.frees

    def busy(self, room: int, number: int) -> IntArray:
        """How long a task keeps its hands at the least, by its states."""
        stage = self.rooms[room][number]
        frees = stage.frees
        if number == self.pour(room) and self.same_group(room, room):
            frees = np.minimum(frees, stage.follows)
        return frees - stage.begins

    @property
    def pour_list(self) -> list[Stage]:
        """The stage in which each room is poured."""
        return [stages[self.pour(room)] for room, stages in enumerate(self.rooms)]

    def pours(self, choice: Choice) -> list[tuple[Stage, int]]:
        """The stage in which each room is poured, with the state chosen for it."""
        chosen = (row[self.pour(room)] for room, row in enumerate(choice))
        return list(zip(self.pour_list, chosen, strict=True))

    @property
    def size(self) -> int:
        """Number of states of all tasks."""
        return sum(stage.size for _, _, stage in self.tasks())

    @property
    def crossings(self) -> tuple[tuple[int, int], ...]:
        """Pairs (room worked in, room crossed)."""
        return tuple((room, floor) for room, row in enumerate(self.crosses) for floor in row)

    @property
    def empty(self) -> tuple[tuple[int, int], ...]:
        """Tasks without any state: these alone make the problem infeasible."""
        return tuple((room, number) for room, number, stage in self.tasks() if stage.size == 0)


def score(problem: Problem, choice: Choice) -> Score:
    """Judge a choice that keeps all rules."""
    short = [int(s.short[choice[r][n]]) for r, n, s in problem.tasks()]
    pours = problem.pours(choice)
    shifts = _shifts(problem, choice)
    work = sum(
        int(problem.busy(room, problem.pour(room))[row[problem.pour(room)]])
        for room, row in enumerate(choice)
    )
    nights = [(span, first, last) for (crew, span), (first, last) in shifts.items()
              if crew == pours[0][0].crew]  # fmt: skip
    idle = sum(last - first for _, first, last in nights) - work
    waited = sum(last - problem.shift_begins[span] for span, _, last in nights) - work
    windows = [
        (
            int(before.opens[choice[r][n]]),
            int(after.begins[choice[r][n + 1]]),
            int(before.closes[choice[r][n]]),
        )
        for r, stages in enumerate(problem.rooms)
        for n, (before, after) in enumerate(pairwise(stages))
    ]
    missing = [problem.clear.missing(opens=o, begins=b, closes=c) for o, b, c in windows]
    return Score(
        waited=0 if problem.may_wait else waited,
        short_most=max(short),
        short_sum=sum(short),
        last_shift=max(int(s.span[k]) for s, k in pours),
        tight=NEAREST * max(missing, default=0) + sum(missing),
        cost=sum(int(s.cost[choice[r][n]]) for r, n, s in problem.tasks())
        + problem.wait_price * idle,
        ready=max(
            int(stages[-1].opens[choice[r][-1]]) for r, stages in enumerate(problem.rooms)
        ),
        calls=len(shifts),
        on_site=sum(last - first for first, last in shifts.values()),
        hurried=sum(problem.clear.hurried(begins=b, closes=c) for _, b, c in windows),
    )


def _shifts(problem: Problem, choice: Choice) -> dict[tuple[int, int], tuple[int, int]]:
    found: dict[tuple[int, int], tuple[int, int]] = {}
    for room, number, stage in problem.tasks():
        k = choice[room][number]
        first, last = int(stage.begins[k]), int(stage.frees[k])
        key = (stage.crew, int(stage.span[k]))
        if key in found:
            first, last = min(first, found[key][0]), max(last, found[key][1])
        found[key] = (first, last)
    return found


def broken_rules(problem: Problem, choice: Choice) -> list[str]:
    """Every rule a choice breaks, in words for a programmer; empty when it keeps all."""
    if [len(row) for row in choice] != [len(stages) for stages in problem.rooms]:
        raise OutOfRangeError("choice must name one state per stage of every room")
    tasks = [(r, n, s, choice[r][n]) for r, n, s in problem.tasks()]
    if not all(0 <= k < s.size for _, _, s, k in tasks):
        raise OutOfRangeError("choice names a state that does not exist")
    found = []
    for room, number, stage, k in tasks:
        if number + 1 < len(problem.rooms[room]):
            after = problem.rooms[room][number + 1]
            begin = after.begins[choice[room][number + 1]]
            if not stage.opens[k] <= begin <= stage.closes[k]:
                found.append(f"stage {number + 1} of room {room} is outside its window")
    for i, (room, n, stage, k) in enumerate(tasks):
        for other, n2, stage2, k2 in tasks[i + 1 :]:
            if (
                problem.same_hands(stage, stage2)
                and stage.begins[k] < problem.next_free((other, n2), (room, n))[k2]
                and stage2.begins[k2] < problem.next_free((room, n), (other, n2))[k]
            ):
                found.append(f"crew {stage.crew} is in rooms {room} and {other} at once")
    found += _broken_shifts(problem, choice)
    return found + _broken_crossings(problem, choice) + _broken_groups(problem, choice)


def _broken_shifts(problem: Problem, choice: Choice) -> list[str]:
    found = []
    for hands in problem.timed:
        works = [
            (int(stage.begins[choice[room][n]]), int(stage.ends[choice[room][n]]))
            for room, n, stage in problem.tasks()
            if stage.crew in hands.crews
        ]
        for begins, ends in hands.visits(works):
            if hands.most is not None and ends - begins > hands.most:
                found.append(f"crews {hands.crews} stay from {begins} to {ends}")
    return found


def _broken_crossings(problem: Problem, choice: Choice) -> list[str]:
    found = []
    shifts = _shifts(problem, choice)
    for room, floor in problem.crossings:
        for n, work in enumerate(problem.rooms[room]):
            for m, over in enumerate(problem.rooms[floor]):
                k, j = choice[room][n], choice[floor][m]
                first = shifts[work.crew, int(work.span[k])][0] == work.begins[k]
                enters = work.begins[k] - problem.ahead(room, n, first=first)
                if enters < over.walks[j] and over.shuts[j] < work.ends[k]:
                    found.append(f"stage {n} of room {room} crosses room {floor} while shut")
    return found


def _broken_groups(problem: Problem, choice: Choice) -> list[str]:
    found = []
    for group in problem.groups:
        chosen = [problem.pours(choice)[room] for room in group if room not in problem.loose]
        pours = sorted((int(stage.begins[k]), int(stage.follows[k])) for stage, k in chosen)
        if any(after[0] != before[1] for before, after in pairwise(pours)):
            found.append(f"rooms {group} are not poured in one go")
    return found


OFFSETS = ("ends", "frees", "follows", "shuts", "walks", "opens", "closes")
LABELS = ("short", "cost", "span", "option")
FAR = 100_000
"""Offset of what never comes: beyond every begin, and small enough to add up."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Intervals:
    """R runs of one stage's states."""

    first: IntArray
    """Begin of the first state of each run, shape (R,)."""
    last: IntArray
    state: IntArray
    """Which state of the stage is the first of each run."""
    order: IntArray
    """States in the order the runs take them, shape (K,)."""
    offset: dict[str, IntArray]
    """By name of `OFFSETS`: what to add to the begin, shape (R,)."""
    label: dict[str, IntArray]
    """By name of `LABELS`, shape (R,)."""

    def interval_of(self, k: int) -> int:
        """The run that holds a state."""
        place = int(np.flatnonzero(self.order == k)[0])
        return int(np.searchsorted(self.state, place, side="right")) - 1

    def state_at(self, run: int, begin: int) -> int:
        """The state of a run that begins at a slot."""
        return int(self.order[self.state[run] + begin - self.first[run]])


def gather_intervals(stage: Stage) -> Intervals:
    """Gather a stage's states into runs."""
    order = np.lexsort((stage.begins, stage.option)).astype(np.int32)
    begins = stage.begins[order]
    offset = {name: getattr(stage, name)[order] - begins for name in OFFSETS}
    for name in OFFSETS:
        offset[name] = np.where(getattr(stage, name)[order] >= NEVER, FAR, offset[name])
    label = {name: getattr(stage, name)[order] for name in LABELS}
    breaks = np.diff(begins) != 1
    for values in (*offset.values(), *label.values()):
        breaks |= np.diff(values) != 0
    state = np.concatenate([[0], np.flatnonzero(breaks) + 1]).astype(np.int32)
    final = np.concatenate([state[1:] - 1, [begins.size - 1]]).astype(np.int32)
    return Intervals(
        first=begins[state],
        last=begins[final],
        state=state,
        order=order,
        offset={name: values[state] for name, values in offset.items()},
        label={name: values[state] for name, values in label.items()},
    )
