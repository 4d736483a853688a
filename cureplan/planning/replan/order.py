"""Which of the floors not yet begun comes next: the plan's order, unless another is better.

The crew has the old order in mind and pails stand in ice for it, so it stays where it
keeps everything. Where it does not, orders that take one floor out of its place are timed
forward, and the one that keeps most floors, coats, hours and minutes is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from itertools import groupby

import numpy as np

from cureplan.core.errors import NoFeasiblePlanError
from cureplan.inputs.job.model import Job
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour

__all__ = ["Placed", "best_order", "carries_on", "orders_of"]

MOST_ORDERS = 9
"""A replan has two seconds; an order takes up to a tenth."""
WORTH_S = 60.0
"""Margin for which an order is worth changing: invented."""
WORTH_OPENING_S = 600.0
"""The same of an opening that comes too late: invented."""
ICE_EARLY_S = 300.0
"""Pails in ice come out no sooner than this before their time: invented."""

Placed = tuple[dict[str, PlacedPour], tuple[str, ...]]
"""Pours by floor, and the floors that no shift holds."""


def orders_of(names: Sequence[str], *, iced: Collection[str]) -> list[tuple[str, ...]]:
    """Orders to try: one floor taken out of its place, no iced floor sooner than planned.

    Examples
    --------
    >>> orders_of(["A", "B", "C"], iced=())
    [('B', 'A', 'C'), ('A', 'C', 'B'), ('B', 'C', 'A'), ('C', 'A', 'B')]
    >>> orders_of(["A", "B", "C"], iced=("B", "C"))
    []
    """
    found: dict[tuple[str, ...], None] = {}
    for step in range(1, len(names)):
        for start in range(len(names) - step):
            for first, last in ((start, start + step), (start + step, start)):
                moved = list(names)
                moved.insert(last, moved.pop(first))
                sooner = [n for n in names if moved.index(n) < names.index(n)]
                if not set(sooner) & set(iced):
                    found[tuple(moved)] = None
    return list(found)[:MOST_ORDERS]


def best_order(
    job: Job,
    names: Sequence[str],
    *,
    place: Callable[[Sequence[str]], Placed],
    coats: Callable[[Job, Sequence[PlacedPour]], Sequence[PlacedCoat]],
) -> tuple[str, ...]:
    """The order in which floors not yet begun are poured."""
    kept = tuple(names)
    if len(kept) < 2:
        return kept
    planned = place(kept)
    best, best_score = kept, _score(job, planned, coats)
    if not any(best_score):
        return kept
    iced = [name for name, poured in planned[0].items() if poured.option.chilled]
    for order in orders_of(kept, iced=iced):
        if _splits_a_group(job, order):
            continue
        tried = place(order)
        if _out_of_ice_early(tried[0], planned[0]):
            continue
        score = _score(job, tried, coats)
        if score < best_score:
            best, best_score = order, score
    return best


def carries_on(
    job: Job,
    planned: Placed,
    other: Placed,
    *,
    coats: Callable[[Job, Sequence[PlacedPour]], Sequence[PlacedCoat]],
) -> bool:
    """Whether to carry on as planned: nothing else is better by more than its doubt.

    What counts first is what is lost: floors left out, coats and openings too late. With
    as little lost, the other has to keep more in hand, up to what the policy asks, by
    more than the margin's own doubt.
    """
    lost, lost_other = (_score(job, one, coats)[:3] for one in (planned, other))
    if lost != lost_other:
        return lost < lost_other
    worst, worst_other = (_tightest(one) for one in (planned, other))
    if worst is None or worst_other is None:
        return worst is not None
    asked_s = job.policy.margin_s
    gain_s = min(asked_s, worst_other.margin_s) - min(asked_s, worst.margin_s)
    return gain_s <= max(WORTH_S, worst.margin_s - worst.sure_margin_s)


def _tightest(placed: Placed) -> PlacedPour | None:
    return min(placed[0].values(), key=lambda poured: poured.margin_s, default=None)


def _score(
    job: Job,
    placed: Placed,
    coats: Callable[[Job, Sequence[PlacedPour]], Sequence[PlacedCoat]],
) -> tuple[float, ...]:
    """Less is better: floors left out, coats too late, opening too late, margins short."""
    pours, left_out = placed
    if not pours:
        return (np.inf,) * 4
    rooms = tuple(room for room in job.rooms if room.name in pours)
    short_s = [
        max(0.0, job.policy.margin_s - p.planning_margin_s - 1.0) for p in pours.values()
    ]
    try:
        laid = coats(replace(job, rooms=rooms), list(pours.values()))
    except NoFeasiblePlanError:
        return (float(len(left_out)), np.inf, np.inf, np.inf)
    late = sum(coat.start_s > coat.window.closes_s for coat in laid)
    opens_s = max(coat.after.opens_s for coat in laid)
    over_s = max(0.0, opens_s - job.access.open_by.timestamp())
    return (
        float(len(left_out)),
        float(late),
        float(np.ceil(over_s / WORTH_OPENING_S)),
        float(sum(np.ceil(s / WORTH_S) for s in short_s)),
    )


def _splits_a_group(job: Job, order: Sequence[str]) -> bool:
    """Whether floors that are poured in one go would be torn apart."""
    groups = {room.name: room.group for room in job.rooms}
    runs = [group for group, _ in groupby(order, key=lambda name: groups[name])]
    named = [group for group in runs if group]
    return len(named) > len(set(named))


def _out_of_ice_early(
    tried: Mapping[str, PlacedPour],
    planned: Mapping[str, PlacedPour],
) -> bool:
    """Whether iced pails would be wanted before they are cold."""
    return any(
        poured.option.chilled
        and name in planned
        and poured.start_s < planned[name].start_s - ICE_EARLY_S
        for name, poured in tried.items()
    )
