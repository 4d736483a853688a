"""Every slot in which a coat could be laid on a floor, as a table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from cureplan.planning.coats import CoatWork
from cureplan.planning.pour import PourOption, RoomPours
from cureplan.schedule.calendar import Span
from cureplan.schedule.placing import Windows, coat_works
from cureplan.schedule.pour_tables import GUARD_S
from cureplan.schedule.problem import NEVER, Stage, stage_of
from cureplan.schedule.slots import Slots, latest_start_s, nodes_of, straight

__all__ = ["coat_stage", "dry_starts"]

Array = NDArray[np.float64]


def coat_stage(
    pours: RoomPours,
    coat: int,
    spans: Sequence[Span],
    slots: Slots,
    *,
    options: Iterable[PourOption],
    windows: Windows,
    spare: bool,
    due_s: float,
) -> Stage:
    """All states of one coat of one floor.

    Parameters
    ----------
    pours : RoomPours
        The floor.
    coat : int
        1 for the first.
    spans : sequence of Span
        Shifts of the topcoat crew.
    slots : Slots
        The grid; a coat begins with its vacuuming.
    options : iterable of PourOption
        How the floor may be poured: that decides the patches a coat is reached in, and the
        table holds for all of them.
    windows : {"sure", "expected"}
        Whether windows hold at the job's confidence or on the expected night.
    spare : bool
        Whether the next coat keeps clear of its window's end.
    due_s : float
        When the room must be ready [epoch s]; inf for no limit.

    Returns
    -------
    Stage
    """
    job = pours.job
    variants = _distinct_works(pours, coat, options)
    work = variants[0][coat - 1]
    begin, span = _possible_begins(pours, spans, slots, work.vacuum_s + work.duration_s)
    start_s = slots.at(begin) + work.vacuum_s
    dry = dry_starts(pours, start_s, work.duration_s)
    begin, span, start_s = begin[dry], span[dry], start_s[dry]
    if begin.size == 0:
        return stage_of(crew=1, begins=[], lasts=0, opens=0, closes=0)
    nodes_s = nodes_of(start_s)
    foot_s, opens_s, closes_s = (
        straight(start_s, nodes_s, values)
        for values in _windows_after(pours, coat, variants, nodes_s, windows)
    )
    last = coat == pours.room.topcoats
    ahead_s = 0.0 if last else variants[0][coat].vacuum_s
    done_s = start_s + work.duration_s
    latest_s = latest_start_s(opens_s, closes_s) if spare else closes_s
    stage = stage_of(
        crew=1,
        begins=begin,
        lasts=slots.first_from(done_s) - begin,
        frees=slots.first_from(done_s + job.crew.changeover_s),
        shuts=slots.last_until(start_s),
        walks=slots.first_from(foot_s + GUARD_S),
        opens=slots.first_from(opens_s + GUARD_S - ahead_s),
        closes=slots.last_until(latest_s - GUARD_S - ahead_s),
        span=span,
    )
    return stage.keep((stage.opens < NEVER) & ((not last) | (opens_s + GUARD_S <= due_s)))


def _windows_after(
    pours: RoomPours,
    coat: int,
    variants: Sequence[tuple[CoatWork, ...]],
    start_s: Array,
    windows: Windows,
) -> tuple[Array, Array, Array]:
    """When a coat begun at each start bears feet, and from when until when the next may
    start; after the last coat, when the room is ready. The worst of all variants."""
    factors = np.ones((start_s.size, 2))
    if windows == "sure":
        factors = np.array([pours.topcoat_factors(float(s)) for s in start_s])
    ages, wait, close = pours.topcoat.age_s, factors[:, :1], factors[:, 1:]
    foot_s, opens_s, closes_s = [], [], []
    for works in variants:
        laid_s = start_s[:, None] + works[coat - 1].offset_s

        def reached(name: str, factor: Array, laid_s: Array = laid_s) -> Array:
            return pours.topcoat_curve.when(start_s=laid_s, age_s=ages[name] * factor)

        foot_s.append(reached("foot_traffic", wait).max(axis=1))
        if coat == pours.room.topcoats:
            ladder = [reached(name, wait).max(axis=1) for name in ("wheels", "wash_down")]
            opens_s.append(np.maximum(foot_s[-1], np.maximum(*ladder)))
            closes_s.append(np.full(start_s.size, np.inf))
        else:
            offset_s = works[coat].offset_s
            opens_s.append((reached("recoat_opens", wait) - offset_s).max(axis=1))
            closes_s.append((reached("recoat_closes", close) - offset_s).min(axis=1))
    return np.max(foot_s, axis=0), np.max(opens_s, axis=0), np.min(closes_s, axis=0)


def _distinct_works(
    pours: RoomPours, coat: int, options: Iterable[PourOption]
) -> list[tuple[CoatWork, ...]]:
    """The coats' works for each number of patches the floor may be laid in."""
    found = {works[coat - 1].offset_s.size: works for works in
             (coat_works(pours, option) for option in options)}  # fmt: skip
    return list(found.values())


def _possible_begins(
    pours: RoomPours, spans: Sequence[Span], slots: Slots, length_s: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    setup_s, last_s = pours.job.crew.setup_s, pours.conditions.last_s
    begins, numbers = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for i, span in enumerate(spans):
        first = int(slots.first_from(span.begins_s + setup_s))
        last = int(slots.last_until(min(span.ends_s, last_s) - length_s))
        run = np.arange(first, last + 1)
        begins.append(run)
        numbers.append(np.full(run.size, i))
    return np.concatenate(begins), np.concatenate(numbers)


def dry_starts(pours: RoomPours, start_s: Array, lasts_s: float) -> NDArray[np.bool_]:
    """Which starts find the slab clear of the dew point for as long as the coat is laid.

    An unknown dew point counts as dry: the plan warns of it.
    """
    conditions = pours.conditions
    dew_c = np.where(np.isnan(conditions.dew_c), -1e3, conditions.dew_c)
    spare_k = conditions.slab_c - dew_c - pours.job.policy.dew_margin_k
    end_s = start_s + lasts_s
    dry = np.interp(start_s, conditions.epoch_s, spare_k) >= 0
    dry &= np.interp(end_s, conditions.epoch_s, spare_k) >= 0
    first = np.searchsorted(conditions.epoch_s, start_s)
    last = np.searchsorted(conditions.epoch_s, end_s)
    wet_hours = np.concatenate([[0], np.cumsum(spare_k < 0)])
    return np.asarray(dry & (wet_hours[last] == wet_hours[first]))
