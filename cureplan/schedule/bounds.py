"""What no choice can beat, by arithmetic alone: where a first answer meets it, it is best."""

from __future__ import annotations

import numpy as np

from cureplan.schedule.problem import Problem, Score, Stage

__all__ = ["lower_bounds"]


def lower_bounds(problem: Problem) -> Score:
    """A score that every choice which keeps all rules reaches at best, part by part.

    Not for a problem with an empty stage: that one has no choice at all.

    Parameters
    ----------
    problem : Problem
        With at least one state per stage.

    Returns
    -------
    Score
        Parts after the first three hold where the margins missing are the least too.
    """
    stages = [stage for _, _, stage in problem.tasks()]
    short = [int(stage.short.min()) for stage in stages]
    return Score(
        waited=0,
        short_most=max(short),
        short_sum=sum(short),
        last_shift=_last_shift(problem),
        cost=sum(_least_cost(stage) for stage in stages),
        ready=max(_earliest_ready(room) for room in problem.rooms),
        calls=_fewest_calls(problem),
        on_site=_least_on_site(problem),
    )


def _least_cost(stage: Stage) -> int:
    """Least cost among states that miss the least margin."""
    return int(stage.cost[stage.short == stage.short.min()].min())


def _last_shift(problem: Problem) -> int:
    """The first shift by whose end all pours could have been worked off."""
    pours = [stages[0] for stages in problem.rooms]
    first = max(int(pour.span.min()) for pour in pours)
    work = sum(int((pour.frees - pour.begins).min()) for pour in pours)
    spans = np.concatenate([pour.span for pour in pours])
    begins = np.concatenate([pour.begins for pour in pours])
    frees = np.concatenate([pour.frees for pour in pours])
    held = 0
    for span in np.unique(spans):
        there = spans == span
        held += int(frees[there].max() - begins[there].min())
        if span >= first and held >= work:
            return int(span)
    return int(spans.max())


def _earliest_ready(room: tuple[Stage, ...]) -> int:
    """When a room could be ready if it had all crews to itself."""
    at = int(room[0].opens.min())
    for stage in room[1:]:
        possible = stage.begins >= at
        if not possible.any():
            return int(stage.opens.max())
        at = int(stage.opens[possible].min())
    return at


def _fewest_calls(problem: Problem) -> int:
    return len({stage.crew for _, _, stage in problem.tasks()})


def _least_on_site(problem: Problem) -> int:
    return sum(int((stage.frees - stage.begins).min()) for _, _, stage in problem.tasks())
