"""What would help a plan that falls short or does not exist."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations
from math import inf

import numpy as np

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.planning.schedule.changes import (
    GRADED,
    OPENING,
    POURING,
    Change,
    kind_of,
    missing_remedies,
    more_hands,
    more_remedies,
    open_for_less,
    opening_at,
    rooms_later,
)
from cureplan.planning.schedule.floor_model import FloorModel, Tables
from cureplan.planning.schedule.heuristic import improve_orders
from cureplan.planning.schedule.lexicographic import solve_in_order
from cureplan.planning.schedule.outcome import Failure, Relaxation, Schedule, Stop, never
from cureplan.planning.schedule.pairs import FEW_WAYS, two_changes
from cureplan.planning.schedule.problem import Problem, Stage
from cureplan.planning.schedule.trials import (
    BUT_OPENING,
    COLD,
    FEW_LATE,
    MOST_ORDERS,
    PROBE,
    Goal,
    OverError,
    Trials,
    all_would_do,
    at_once,
    hands_of,
    least_of,
    most_of,
)

__all__ = ["Goal", "explain", "relaxations"]

LATE_EFFORT_MIN = 300.0
"""A room handed over a day late, against minutes of delay for all: invented."""
LATEST_S = 2 * 86_400.0
MANY_ROOMS = 12
"""Above so many, each trial takes seconds: fewer kinds of change."""
FEW_GRADED = (POURING, OPENING)


def relaxations(
    job: Job,
    tables: Tables,
    *,
    goal: Goal,
    keeps: str,
    stop: Stop = never,
    budget_s: float = inf,
    failures: tuple[Failure, ...] = (),
) -> tuple[tuple[Relaxation, ...], float]:
    """Changes under which the job reaches a goal, cheapest first, and the work it took; two
    where one will not do.

    Not a proof that less would not do: a change counts when a way was found quickly.
    """
    trials = Trials(
        job=job, tables=tables, goal=goal, stop=stop, budget_s=budget_s, failures=failures
    )
    changes: list[Change] = []
    late: list[Relaxation] = []
    # What was found before the work was used up, or before Ctrl-C, still stands.
    with suppress(OverError):
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


def _look(trials: Trials) -> Iterator[Change]:
    """Try the changes kind by kind; each that works, as soon as it is known."""
    job, found = trials.job, set[str]()
    opening: datetime | None = None
    films = 1 if job.cards.primer is None else 2
    some = trials.goal != "windows" or all_would_do(trials, job)
    if trials.goal != "windows":
        hands = [more_hands(job, task) for task in trials.tasks[:-films]]
        for change in _least_remedies(trials, hands, wanted=FEW_WAYS):
            found.add(kind_of(change.say))
            yield change
    for change in filter(trials.works, at_once(trials, job)):
        found.add(kind_of(change.say))
        yield change
    for graded in hands_of(trials) if some else ():
        if top := most_of(trials, job, graded):
            yield (change := least_of(trials, top))
            found.add(kind_of(change.say))
    if trials.goal != "margin alone":
        kinds = (
            *rooms_later(job),
            *(GRADED if len(job.rooms) <= MANY_ROOMS else FEW_GRADED),
        )
        kinds = kinds if some else tuple(kind for kind in kinds if kind not in BUT_OPENING)
        # Which kinds help at all is known before any is made as small as may be.
        helping = [top for graded in kinds if (top := most_of(trials, job, graded))]
        for change in filter(trials.works, open_for_less(job)):
            found.add(kind_of(change.say))
            yield change
            break
        for top in helping:
            yield (change := least_of(trials, top))
            found.add(kind_of(change.say))
            opening = change.job.access.open_by if top.graded is OPENING else opening
    if trials.goal == "windows" and len(found) < FEW_WAYS:
        yield from two_changes(trials, alone=found, opening=opening)


def _least_remedies(
    trials: Trials, hands: Sequence[Change], *, wanted: int
) -> Iterator[Change]:
    """The fewest unlisted remedies that mend every margin.

    With one more hand as well where they do not, or where fewer ways than `wanted` do.
    """
    missing = missing_remedies(trials.job)
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


def _late_rooms(trials: Trials, keeps: str) -> list[Relaxation]:
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
        raise OverError
    first = improve_orders(problem, model.first_order(), most=MOST_ORDERS, stop=trials.stop)
    trials.worked += first.work
    parts = ("waited", "short_most", "short_sum", "last_shift", "cost", "ready")
    solved = solve_in_order(
        problem, first.choice, limits=PROBE, seed=0, parts=parts, stop=trials.stop
    )
    trials.worked += solved.worked
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


def _heat_may_do(job: Job, why: Message) -> bool:
    """Whether warmth where the floor is would mend a limit: not that of kits kept elsewhere."""
    kits = why.values.get("what") == "limited.material" and job.materials.storage_c is not None
    return why.code.startswith(COLD) and not kits


MOST_NAMED = 3


def explain(schedule: Schedule, job: Job, *, known_until: datetime) -> tuple[Message, ...]:
    """Why there is no plan, and the cheapest changes that would let one be found."""
    why = tuple(say for failure in schedule.failures[:MOST_NAMED] for say in failure.says)
    known = schedule.known == "impossible"
    said: tuple[Message, ...] = (
        Message("none.impossible" if known else "none.unknown", {"why": why}),
    )
    cold = {
        name
        for failure in schedule.failures[:MOST_NAMED]
        if any(_heat_may_do(job, say) for say in failure.says)
        for name in failure.rooms
    }
    held = [room.name for room in job.rooms if room.name in cold and room.climate == "held"]
    if held:
        said = (*said, Message("none.held", {"rooms": "; ".join(held)}))
    if len(held) < len(cold) and not any(room.heat for room in job.rooms):
        said = (*said, Message("none.heat", {}))
    store = any(say.values.get("what") == "limited.material" for say in why)
    if store:
        said = (*said, Message("none.store", {}))
    if schedule.relaxed is None:
        return said
    if schedule.relaxed:
        said_each = (
            (change.say, change.also, _chance(change, job))
            for change in schedule.relaxed[:MOST_NAMED]
        )
        ways = tuple(
            Message("none.way", {"parts": tuple(say for say in says if say is not None)})
            for says in said_each
        )
        return (*said, Message("none.ways", {"ways": ways}))
    said = (*said, Message("none.no_way", {}))
    if not store and known_until < job.access.open_by + timedelta(minutes=OPENING.most_min):
        return (*said, Message("none.weather_ends", {"until_at": known_until.isoformat()}))
    return said
