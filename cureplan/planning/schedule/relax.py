"""What would help a plan that falls short or does not exist."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import combinations, islice
from math import ceil, inf
from typing import Literal, NamedTuple, TypeGuard

import numpy as np

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.crew import bottleneck
from cureplan.planning.floor.pour import AS_IS, RoomPours
from cureplan.planning.schedule.bounds import lower_bounds
from cureplan.planning.schedule.changes import (
    GRADED,
    OPENING,
    POURING,
    REMEDY_WORDS,
    Change,
    Graded,
    more_hands,
    more_remedies,
    open_for_less,
    opening_at,
    room_later,
    unpinned,
    with_less,
)
from cureplan.planning.schedule.floor_model import (
    FloorModel,
    Tables,
    as_expected,
    floor_model,
)
from cureplan.planning.schedule.heuristic import Attempt, improve_orders
from cureplan.planning.schedule.lexicographic import Limits, solve_in_order
from cureplan.planning.schedule.outcome import Relaxation, Schedule, Stop, never
from cureplan.planning.schedule.problem import Choice, Problem, Stage, score

__all__ = [
    "TABLE_WORK",
    "Goal",
    "explain",
    "relaxations",
]

Goal = Literal["windows", "margin", "margin alone"]
"""What is to be had: every window as surely as asked, every margin too, or every margin
with windows as expected."""

MOST_ORDERS = 20
PROBE = Limits(work=0.6)
TABLE_WORK = 5e-6
"""What a state costs to table, in the solver's units of about a second; measured."""
LATE_EFFORT_MIN = 300.0
"""A room handed over a day late, against minutes of delay for all: invented."""
FEW_WAYS = 2
"""A foreman wants a choice: at least so many ways, where there are."""
SOONER_MIN = 240
"""A second change beside a later opening is none that does not open so much sooner."""
FEW_LATE = 0.5
LATEST_S = 2 * 86_400.0
SOME_ROOMS, MANY_ROOMS = 8, 12
"""Above these, each trial takes seconds: coarser steps, and fewer kinds of change."""
COARSER = 4
FEW_GRADED = (POURING, OPENING)
BUT_OPENING = tuple(graded for graded in GRADED if graded is not OPENING)


@dataclass(slots=True, kw_only=True)
class _Trials:
    """Changed jobs, planned as quickly as may be."""

    job: Job
    tables: Tables
    """Of the plan that falls short: most changes leave them as they are."""
    goal: Goal
    stop: Stop
    budget: float
    """Work it may take, in the solver's own units."""
    worked: float = 0.0
    pairs: bool = False
    """Whether two changes are tried at once: by hours, as they are then taken further."""
    opened_s: float = inf
    """When the last choice found opens [epoch s]."""

    @property
    def pours(self) -> Mapping[str, RoomPours]:
        """Air, slab and clocks of every room."""
        return self.tables.pours

    @property
    def reach_s(self) -> float:
        """How far the weather is known [epoch s]."""
        return max(room.conditions.last_s for room in self.pours.values())

    @property
    def tasks(self) -> tuple[str, ...]:
        """Tasks at which one more hand may help, films last."""
        films = ("topcoat",) if self.job.cards.primer is None else ("primer", "topcoat")
        slowest = bottleneck([room.plan(AS_IS) for room in self.pours.values()])
        return tuple(dict.fromkeys(("mixing", slowest, *films)))

    def model(self, job: Job) -> FloorModel:
        """The changed job's tables."""
        sure = as_expected(job) if self.goal == "margin alone" else None
        model = floor_model(job, self.tables.of_changed(job, was=self.job), sure=sure)
        self.worked += TABLE_WORK * model.whole.size
        return model

    def choice(self, problem: Problem, order: tuple[int, ...]) -> Choice | None:
        """A choice that reaches the goal, or None where none was found."""
        if self.over():
            raise _OverError
        if problem.empty:
            return None
        # No order mends a room that is short by itself at every hour.
        if self.goal != "windows" and lower_bounds(problem).short_most > 0:
            return None
        reached: list[Attempt] = []

        def on_news(attempt: Attempt) -> None:
            if self.enough(problem, attempt.choice):
                reached.append(attempt)

        first = improve_orders(
            problem,
            order,
            most=MOST_ORDERS,
            on_news=on_news,
            stop=lambda: self.stop() or bool(reached),
        )
        self.worked += first.work
        if self.enough(problem, first.choice):
            return first.choice
        parts = ("waited",) if self.goal == "windows" else ("waited", "short_most")
        solved = solve_in_order(
            problem, first.choice, limits=PROBE, seed=0, parts=parts, stop=self.stop
        )
        self.worked += solved.worked
        return solved.choice if self.enough(problem, solved.choice) else None

    def enough(self, problem: Problem, choice: Choice | None) -> bool:
        """Whether a choice reaches the goal."""
        if choice is None:
            return False
        return self.goal == "windows" or score(problem, choice).short_most == 0

    def over(self) -> bool:
        """Whether somebody stopped the looking, or its work is used up."""
        return self.stop() or self.worked >= self.budget

    def thinkable(self, change: Change | None) -> TypeGuard[Change]:
        """Whether a change is one at all, and the weather known reaches that far."""
        return change is not None and change.job.access.open_by.timestamp() <= self.reach_s

    def works(self, change: Change) -> bool:
        """Whether a way was found once a limit is moved."""
        model = self.model(change.job)
        choice = self.choice(model.problem, model.first_order())
        if choice is None:
            return False
        self.opened_s = float(model.slots.at(score(model.problem, choice).ready))
        return True


class _OverError(Exception):
    """Somebody stopped the looking, or its work is used up."""


def relaxations(
    job: Job,
    tables: Tables,
    *,
    goal: Goal,
    keeps: str,
    stop: Stop = never,
    budget: float = inf,
) -> tuple[tuple[Relaxation, ...], float]:
    """Changes under which the job reaches a goal, cheapest first, and the work it took; two
    where one will not do.

    Not a proof that less would not do: a change counts when a way was found quickly.
    """
    trials = _Trials(job=job, tables=tables, goal=goal, stop=stop, budget=budget)
    changes: list[Change] = []
    late: list[Relaxation] = []
    # What was found before the work was used up, or before Ctrl-C, still stands.
    with suppress(_OverError):
        for change in _look(trials):
            changes.append(change)  # noqa: PERF402 - an end in between keeps these
        if goal != "margin alone":
            named = {change.say.values.get("rooms") for change in changes}
            late = [w for w in _late_rooms(trials, keeps) if w.say.values["rooms"] not in named]
    relaxed = [_relaxation(change, keeps) for change in changes]
    found = tuple(sorted([*relaxed, *late], key=lambda r: r.effort_min))
    return found, trials.worked


def _relaxation(change: Change, keeps: str) -> Relaxation:
    return Relaxation(
        job=change.job,
        say=Message(change.say.code, {**change.say.values, "keeps": keeps}),
        also=change.also,
        effort_min=change.effort_min,
        further=None if change.further is None else _relaxation(change.further, keeps),
    )


def _look(trials: _Trials) -> Iterator[Change]:
    """Try the changes kind by kind; each that works, as soon as it is known."""
    job, found = trials.job, set[str]()
    opening: datetime | None = None
    films = 1 if job.cards.primer is None else 2
    hands = [more_hands(job, task) for task in trials.tasks]
    some = trials.goal != "windows" or _all_would_do(trials, job)
    if trials.goal != "windows":
        for change in _least_remedies(trials, hands[:-films], wanted=FEW_WAYS):
            found.add(change.say.code)
            yield change
    for change in filter(trials.works, (*unpinned(job), *(hands if some else ()))):
        found.add(change.say.code)
        yield change
    if trials.goal != "margin alone":
        kinds = (
            *_rooms_later(job),
            *(GRADED if len(job.rooms) <= MANY_ROOMS else FEW_GRADED),
        )
        kinds = kinds if some else tuple(kind for kind in kinds if kind not in BUT_OPENING)
        # Which kinds help at all is known before any is made as small as may be.
        helping = [top for graded in kinds if (top := _most(trials, job, graded))]
        for change in filter(trials.works, open_for_less(job)):
            found.add(change.say.code)
            yield change
            break
        for top in helping:
            yield (change := _least(trials, top))
            found.add(change.say.code)
            opening = change.job.access.open_by if top.graded is OPENING else opening
    if trials.goal == "windows" and len(found) < FEW_WAYS:
        yield from _two_changes(trials, alone=found, opening=opening)


class _Top(NamedTuple):
    """A graded change that works at its most."""

    job: Job
    graded: Graded
    step_min: int
    most: int
    """Steps that may be thought of."""
    enough: int
    """Steps known to do, fewer where what was found opens sooner."""

    def change(self, steps: int) -> Change | None:
        return self.graded.make(self.job, steps * self.step_min)


def _at_most(trials: _Trials, job: Job, graded: Graded) -> _Top | None:
    """A graded change at its most, as far as the weather is known; untried."""
    coarse = trials.pairs or len(job.rooms) > SOME_ROOMS
    step_min = graded.step_min * (COARSER if coarse else 1)
    high = graded.most_min // step_min
    while high and not trials.thinkable(graded.make(job, high * step_min)):
        high -= max(1, high // 8)
    return _Top(job, graded, step_min, high, high) if high else None


def _most(trials: _Trials, job: Job, graded: Graded) -> _Top | None:
    """A graded change at its most; None when that is no help: less never is then."""
    top = _at_most(trials, job, graded)
    change = None if top is None else top.change(top.most)
    if top is None or change is None or not trials.works(change):
        return None
    return _opened(trials, top)


def _rooms_later(job: Job) -> list[Graded]:
    """Each room with an hour of its own wanted later."""
    return [room_later(room.name) for room in job.rooms if room.open_by is not None]


def _all_would_do(trials: _Trials, job: Job) -> bool:
    """Whether a job works with one more hand at each task and all hours at their most but
    the opening: where it does not, none of them is a way by itself."""
    for held in unpinned(job):
        job = held.job
    for task in trials.tasks:
        job = more_hands(job, task).job
    change: Change | None = None
    for graded in (*_rooms_later(job), *BUT_OPENING):
        if top := _at_most(trials, job, graded):
            change = top.change(top.most)
            job = job if change is None else change.job
    return change is None or trials.works(replace(change, job=job))


def _opened(trials: _Trials, top: _Top) -> _Top:
    """The same, as late as what was found just now opens: no later is needed."""
    if top.graded is not OPENING:
        return top
    late_min = (trials.opened_s - top.job.access.open_by.timestamp()) / 60.0
    return top._replace(enough=min(top.enough, max(1, ceil(late_min / top.step_min))))


def _least(trials: _Trials, top: _Top) -> Change:
    """The least of a graded change that works, as far as work is left to look for it.

    With it goes the same taken further, as what only just works often fails.
    """
    low, back = 0, 1
    with suppress(_OverError):
        while top.enough - low > 1:
            middle = (low + top.enough) // 2
            if low == 0 and top.graded is OPENING:
                # What is found to open soonest mostly opens about as soon as may be.
                middle, back = max(middle, top.enough - back), 2 * back
            change = top.change(middle)
            if change is not None and trials.works(change):
                top = _opened(trials, top._replace(enough=middle))
            else:
                low = middle
    best = top.change(top.enough)
    if best is None:
        raise AssertionError("a change that works is one")
    further: Change | None = None
    for more_min in reversed(top.graded.further_min):
        minutes = min(top.enough * top.step_min + more_min, top.most * top.step_min)
        more = top.graded.make(top.job, minutes)
        if top.enough < top.most and trials.thinkable(more):
            further = replace(more, further=further)
    return replace(best, further=further)


def _two_changes(
    trials: _Trials, *, alone: Collection[str], opening: datetime | None
) -> Iterator[Change]:
    """Where one change is no choice: floors opened for less, or later, and one that does
    not do `alone`; sooner than the `opening` that does, by hours."""
    trials.pairs = True
    # Where no change does by itself, floors opened later are looked at as well as for less.
    wanted = FEW_WAYS - len(alone) if alone else FEW_WAYS + 1
    for less in open_for_less(trials.job):
        if trials.works(less):
            break
        beside = (with_less(other, less) for other in _others(trials, less.job))
        some = [change for change in beside if change.say.code not in alone]
        wanted -= len(some)
        yield from some
        if some:
            break
    if wanted > 0:
        pairs = _pairs(trials, opening)
        yield from (change for change in pairs if change.say.code not in alone)


def _others(trials: _Trials, job: Job) -> Iterator[Change]:
    """Changes but a later opening that do for a job, hours as little as may be."""
    if not _all_would_do(trials, job):
        return
    for graded in (*_rooms_later(job), *BUT_OPENING):
        if top := _most(trials, job, graded):
            yield _least(trials, top)
    yield from filter(trials.works, _at_once(trials, job))


def _at_once(trials: _Trials, job: Job) -> list[Change]:
    """What is changed or not: hours that layers are held until, and hands."""
    return [*unpinned(job), *(more_hands(job, task) for task in trials.tasks)]


def _pairs(trials: _Trials, opening: datetime | None) -> Iterator[Change]:
    """A later opening together with one other change, sooner than the `opening` that does
    by itself."""
    job, most_min = trials.job, OPENING.most_min
    if opening is not None:
        most_min = int((opening - job.access.open_by).total_seconds() / 60.0) - SOONER_MIN
    steps = range(most_min, 0, -OPENING.step_min)
    latest = next(
        (change for minutes in steps if trials.thinkable(change := OPENING.make(job, minutes))),
        None,
    )
    if latest is None:
        return
    # The other change as little as may be, then the opening as little as may be.
    for other in _beside_later(trials, latest.job):
        moved = opening_at(other.job, job.access.open_by)
        if (top := _most(trials, moved, OPENING)) is not None:
            yield _least(trials, top).after(other)


def _beside_later(trials: _Trials, job: Job) -> Iterator[Change]:
    """Changes to a job that opens later, each of which does."""
    yield from islice(filter(trials.works, open_for_less(job)), 1)
    yield from _others(trials, job)


def _least_remedies(
    trials: _Trials, hands: Sequence[Change], *, wanted: int
) -> Iterator[Change]:
    """The fewest unlisted remedies that mend every margin.

    With one more hand as well where they do not, or where fewer ways than `wanted` do.
    """
    missing = [name for name in REMEDY_WORDS if name not in trials.job.policy.remedies]
    ways = 0
    for hand in (None, *hands):
        before = ways
        for count in range(1, len(missing) + 1):
            for some in combinations(missing, count):
                change = more_remedies(hand.job if hand else trials.job, some)
                if trials.works(change):
                    ways += 1
                    yield change.after(hand) if hand else change
            if ways > before:
                break
        if ways >= wanted:
            break


def _late_rooms(trials: _Trials, keeps: str) -> list[Relaxation]:
    """The fewest rooms that would have to open later, all others in time."""
    job = trials.job
    far = datetime.fromtimestamp(trials.reach_s, UTC)
    if far <= job.access.open_by:
        return []
    unbound = replace(
        opening_at(job, far),
        rooms=tuple(replace(room, open_by=None) for room in job.rooms),
    )
    model = trials.model(unbound)
    if model.problem.empty:
        return []
    due = [job.due(room.name).timestamp() for room in job.rooms]
    problem = _counting_late(model, due)
    if trials.over():
        raise _OverError
    first = improve_orders(problem, model.first_order(), most=MOST_ORDERS, stop=trials.stop)
    parts = ("waited", "short_most", "short_sum", "last_shift", "cost", "ready")
    solved = solve_in_order(
        problem, first.choice, limits=PROBE, seed=0, parts=parts, stop=trials.stop
    )
    if solved.choice is None or solved.score is None:
        return []
    late = [
        room.name
        for room, stages, row in zip(job.rooms, problem.rooms, solved.choice, strict=True)
        if stages[-1].short[row[-1]] > 0
    ]
    opens_s = float(model.slots.at(solved.score.ready))
    if not late or len(late) > FEW_LATE * len(job.rooms) or opens_s > max(due) + LATEST_S:
        return []
    if trials.goal != "windows" and not trials.enough(model.problem, solved.choice):
        return []
    opens = datetime.fromtimestamp(opens_s, job.site.zone)
    rooms = "; ".join(late)
    return [
        Relaxation(
            job=replace(
                job,
                access=unbound.access,
                rooms=tuple(
                    replace(room, open_by=opens if room.name in late else job.due(room.name))
                    for room in job.rooms
                ),
            ),
            say=Message(
                "relax.rooms_later",
                {"rooms": rooms, "open_at": opens.isoformat(), "keeps": keeps},
            ),
            also=None,
            effort_min=LATE_EFFORT_MIN * len(late),
        )
    ]


def _counting_late(model: FloorModel, due_s: list[float]) -> Problem:
    """The problem in which nothing is missing but the hour of a room's opening."""

    def counted(stages: tuple[Stage, ...], due: float) -> tuple[Stage, ...]:
        free = [replace(stage, short=np.zeros_like(stage.short)) for stage in stages]
        last = stages[-1]
        late = (model.slots.at(last.opens) > due).astype(np.int32)
        return (*free[:-1], replace(last, short=late))

    rooms = [counted(s, due) for s, due in zip(model.problem.rooms, due_s, strict=True)]
    return replace(model.problem, rooms=tuple(rooms), may_wait=True)


def _chance(change: Relaxation, job: Job) -> Message | None:
    if change.chance_frac is None or change.opens_s is None:
        return None
    open_at = datetime.fromtimestamp(change.opens_s, job.site.zone).isoformat()
    return Message("none.chance", {"keeps_frac": change.chance_frac, "open_at": open_at})


MOST_NAMED = 3
COLD = ("limit.too_cold", "limit.dew", "limit.slow")
"""What heat may mend."""


def explain(schedule: Schedule, job: Job, *, known_until: datetime) -> tuple[Message, ...]:
    """Why there is no plan, and the cheapest changes that would let one be found."""
    why = tuple(say for failure in schedule.failures[:MOST_NAMED] for say in failure.says)
    known = schedule.known == "impossible"
    said: tuple[Message, ...] = (
        Message("none.impossible" if known else "none.unknown", {"why": why}),
    )
    cold = any(say.code.startswith(COLD) for say in why)
    if cold and not any(room.heat for room in job.rooms):
        said = (*said, Message("none.heat", {}))
    store = any(say.values.get("what") == "limited.material" for say in why)
    if store:
        said = (*said, Message("none.store", {}))
    if schedule.relaxed is None:
        return said
    if schedule.relaxed:
        ways = tuple(
            say
            for change in schedule.relaxed[:MOST_NAMED]
            for say in (change.say, change.also, _chance(change, job))
            if say is not None
        )
        return (*said, Message("none.ways", {"ways": ways}))
    said = (*said, Message("none.no_way", {}))
    if not store and known_until < job.access.open_by + timedelta(minutes=OPENING.most_min):
        return (*said, Message("none.weather_ends", {"until_at": known_until.isoformat()}))
    return said
