"""Two limits moved at once, where one will not do."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from datetime import datetime
from itertools import islice
from typing import NamedTuple

from cureplan.inputs.job.model import Job
from cureplan.planning.schedule.changes import (
    OPENING,
    Change,
    Graded,
    kind_of,
    open_for_less,
    opening_at,
    rooms_later,
    unpinned,
    with_less,
)
from cureplan.planning.schedule.trials import (
    BUT_OPENING,
    Trials,
    all_would_do,
    at_most,
    at_once,
    hands_of,
    least_of,
    lessened,
    most_of,
    of_failures,
)

__all__ = ["FEW_WAYS", "two_changes"]

FEW_WAYS = 2
"""A foreman wants a choice: at least so many ways, where there are."""
SOONER_MIN = 240
"""A second change beside a later opening is none that does not open so much sooner."""


def two_changes(
    trials: Trials, *, alone: Collection[str], opening: datetime | None
) -> Iterator[Change]:
    """Where one change is no choice: floors opened for less, or later, and one that does
    not do `alone`; sooner than the `opening` that does, by hours; else any two."""
    trials.pairs = True
    # Where no change does by itself, floors opened later are looked at as well as for less.
    wanted = FEW_WAYS - len(alone) if alone else FEW_WAYS + 1
    for less in open_for_less(trials.job):
        if trials.works(less):
            break
        beside = (with_less(other, less) for other in _others(trials, less.job))
        some = [change for change in beside if kind_of(change.say) not in alone]
        wanted -= len(some)
        yield from some
        if some:
            break
    if opening is None:
        # How much later, a foreman asks first.
        wanted = max(wanted, 1)
    if wanted > 0:
        for change in _pairs(trials, opening):
            if kind_of(change.say) not in alone:
                wanted -= 1
                yield change
    if wanted > 0:
        yield from _any_two(trials, alone)


class _Kind(NamedTuple):
    """A kind of change, made to a job as much as may be."""

    make: Callable[[Job], Change | None]
    graded: Graded | None = None

    def least(self, trials: Trials, job: Job, *, of: Job) -> Change | None:
        """As little of it as works for a job, made to another."""
        top = None if self.graded is None else most_of(trials, job, self.graded)
        if self.graded is None or top is None:
            return self.make(of) if self.graded is None else None
        if job is of:
            return least_of(trials, top)
        top = lessened(trials, top)
        return self.graded.make(of, top.enough * top.step_min)


def _any_two(trials: Trials, alone: Collection[str]) -> Iterator[Change]:
    """All changes at once that do not do `alone`, and of these every one given up that is not
    needed, the dearest first: where two are left, they are a way."""
    kinds = [kind for kind in _kinds(trials) if _is_other(trials, kind, alone)]
    if not _all_do(trials, kinds):
        return
    for kind in tuple(kinds):
        fewer = [other for other in kinds if other is not kind]
        if _all_do(trials, fewer):
            kinds = fewer
    if len(kinds) != FEW_WAYS:
        return
    # The second as little as may be beside the first, then the first.
    first, second = kinds
    most = first.make(trials.job)
    under = most and second.least(trials, most.job, of=trials.job)
    both = under and first.least(trials, under.job, of=under.job)
    if under and both:
        yield both.after(under)


def _is_other(trials: Trials, kind: _Kind, alone: Collection[str]) -> bool:
    change = kind.make(trials.job)
    return change is not None and kind_of(change.say) not in alone


def _all_do(trials: Trials, kinds: Sequence[_Kind]) -> bool:
    """Whether a job works with so many changes made to it one after the other."""
    made: Change | None = None
    for kind in kinds:
        made = kind.make(trials.job if made is None else made.job) or made
    return made is not None and trials.works(made)


def _kinds(trials: Trials) -> list[_Kind]:
    """Every kind of change, the dearest first."""

    def graded(one: Graded) -> _Kind:
        def make(job: Job) -> Change | None:
            top = at_most(trials, job, one)
            return None if top is None else top.change(top.most)

        return _Kind(make, one)

    def named(code: str) -> _Kind:
        def make(job: Job) -> Change | None:
            every = (*at_once(trials, job), *reversed(open_for_less(job)))
            return next((change for change in every if change.say.code == code), None)

        return _Kind(make)

    job = trials.job
    every = sorted((*at_once(trials, job), *open_for_less(job)), key=lambda c: -c.effort_min)
    codes = dict.fromkeys(change.say.code for change in every)
    little = (*hands_of(trials), *BUT_OPENING, *rooms_later(job))
    return [graded(OPENING), *map(named, codes), *map(graded, little)]


def _others(trials: Trials, job: Job) -> Iterator[Change]:
    """Changes but a later opening that do for a job, hours as little as may be."""
    yield from filter(trials.works, of_failures(trials, job))
    if not all_would_do(trials, job):
        return
    for graded in (*rooms_later(job), *BUT_OPENING):
        if top := most_of(trials, job, graded):
            yield least_of(trials, top)
    yield from filter(trials.works, unpinned(job))
    for graded in hands_of(trials):
        if top := most_of(trials, job, graded):
            yield least_of(trials, top)


def _pairs(trials: Trials, opening: datetime | None) -> Iterator[Change]:
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
        if (top := most_of(trials, moved, OPENING)) is not None:
            yield least_of(trials, top).after(other)


def _beside_later(trials: Trials, job: Job) -> Iterator[Change]:
    """Changes to a job that opens later, each of which does."""
    yield from islice(filter(trials.works, open_for_less(job)), 1)
    yield from _others(trials, job)
