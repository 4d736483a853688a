"""Floors placed in time, within shifts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cureplan.core.clock import shift_windows
from cureplan.inputs.job.model import Job, Shift
from cureplan.planning.floor.layers import (
    FinishedFloor,
    Landed,
    Reached,
    Window,
    Work,
    film_reached,
    finished_floor,
    landed_reached,
    window_over,
)
from cureplan.planning.floor.layout import (
    PourTimes,
    broadcast_ends_s,
    ends_of,
    met_by,
)
from cureplan.planning.floor.pour import BINDINGS, BucketClocks, PourOption, RoomPours

__all__ = [
    "OPEN_EDGE",
    "PlacedCoat",
    "PlacedPour",
    "Seam",
    "Span",
    "crew_spans",
    "place_layer",
    "place_pour",
    "place_under",
    "with_seams",
    "without_seams",
]


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Span:
    """A stretch of time [epoch s]."""

    begins_s: float
    ends_s: float

    def meets(self, begins_s: float, ends_s: float) -> bool:
        """Whether another stretch overlaps this one."""
        return begins_s < self.ends_s and self.begins_s < ends_s


def crew_spans(job: Job, shifts: Sequence[Shift]) -> tuple[Span, ...]:
    """Shifts of the job's access time as spans, the access limits cut in."""
    return _spans(tuple(shifts), job.site.zone, job.access.begins, job.access.open_by)


@lru_cache(maxsize=64)
def _spans(
    shifts: tuple[Shift, ...], zone: tzinfo, begins: datetime, ends: datetime
) -> tuple[Span, ...]:
    windows = shift_windows(shifts, zone=zone, begins=begins, ends=ends)
    return tuple(
        Span(begins_s=window.begins.timestamp(), ends_s=window.ends.timestamp())
        for window in windows
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Seam:
    """Where a floor is met by the next of its group."""

    next_room: str
    patches: NDArray[np.int64]
    """Its own buckets along it."""
    closed_by: int
    """Which bucket of the next room, once raked, has met them all."""
    spare_s: float
    """What the expected night leaves of their clocks."""
    wet: bool
    """They are met wet; else the floor ends square, at a stop line."""
    busy: bool
    """The strip kept bare would keep the broadcasters longer than the next room lasts."""


OPEN_EDGE = ("wet_edge", "broadcast_closes")
"""Clocks that wait for whatever meets a bucket."""

ANY_TIME = Window(opens_s=float("-inf"), closes_s=float("inf"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedPour:
    """A floor's pour at a definite time [epoch s]."""

    room: str
    option: PourOption
    delayed: bool
    """It waits for a cooler hour: earlier, with as few remedies, its margin was short."""
    start_s: float
    end_s: float
    margin_s: float
    """On the expected night."""
    sure_margin_s: float
    """In the job's share of nights."""
    planning_margin_s: float
    clocks: BucketClocks
    reached: Reached
    works: tuple[Work, ...]
    """Every task of the floor, this one among them."""
    times: PourTimes
    """As its clocks were run: with what a seam asks for."""
    window: Window = ANY_TIME
    """The starts it may have over what lies below."""
    under: PlacedCoat | None = None
    """Its primer."""
    seam: Seam | None = None

    @property
    def walkable_s(self) -> float:
        """When the whole floor may be walked on."""
        return float(np.max(self.reached["foot_traffic"]))

    @property
    def closed(self) -> Span:
        """From the first bucket until the whole floor bears feet."""
        return Span(begins_s=self.start_s, ends_s=self.walkable_s)

    @property
    def own(self) -> Work:
        """The pour itself among the floor's tasks."""
        return next(work for work in self.works if work.layer.kind == "slurry")

    @property
    def begins_s(self) -> float:
        """When its crew begins with what leads up to it."""
        return self.start_s - self.own.lead_s

    @property
    def over(self) -> tuple[Work, ...]:
        """What is done to the floor after the pour."""
        return self.works[self.works.index(self.own) + 1 :]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedCoat:
    """A thin layer at a definite time [epoch s]; `begins_s` counts what leads up to it."""

    room: str
    window: Window
    begins_s: float
    start_s: float
    end_s: float
    work: Work
    reached: Reached
    needs: tuple[str, ...]
    """What the room's last coat must bear before it is open."""

    @property
    def coat(self) -> int:
        """Which of its kind."""
        return self.work.layer.number

    @property
    def closed(self) -> Span:
        """From the layer's start until it bears feet."""
        return Span(begins_s=self.start_s, ends_s=float(np.max(self.reached["foot_traffic"])))

    @property
    def after(self) -> FinishedFloor:
        """What comes after it, where it is the last."""
        return finished_floor(self.reached, needs=self.needs)


def place_pour(
    pours: RoomPours,
    option: PourOption,
    start_s: float,
    *,
    delayed: bool = False,
    confidence: float | None = None,
    below: PlacedCoat | None = None,
) -> PlacedPour:
    """Run a floor's buckets at a definite start and see when it bears feet and coats.

    At the job's confidence, or at another: at 0.5 everything is as expected.
    """
    plan = pours.plan(option)
    works, clocks = pours.works(option), pours.run(option, start_s)
    own = works[pours.pour_task].layer
    wait, close = pours.long_factors(own, start_s, confidence=confidence)
    margin_s, sure_s, planning_s = _margins_s(
        pours, option, start_s, plan.times, clocks, confidence
    )
    landed = Landed(
        pour_s=start_s + plan.times.pour_s,
        pour_age_s=clocks.pour_age_s[0],
        film_age_s=clocks.film_age_s[0],
    )
    return PlacedPour(
        room=pours.room.name,
        option=option,
        delayed=delayed,
        start_s=start_s,
        end_s=max(start_s + plan.times.last_s, float(clocks.broadcast_by_s[0].max())),
        margin_s=margin_s,
        sure_margin_s=sure_s,
        planning_margin_s=planning_s,
        clocks=clocks,
        reached=landed_reached(
            landed, age_s=pours.clocks.age_s, curve=pours.slurry_curve, wait=wait, close=close
        ),
        works=works,
        times=plan.times,
        window=_window(below, works[pours.pour_task]),
        under=below,
    )


def with_seams(
    pours: Mapping[str, RoomPours],
    placed: Sequence[PlacedPour],
    *,
    confidence: float | None = None,
) -> tuple[PlacedPour, ...]:
    """The pours in their order, each met by the next of its group: wet, or at a stop line.

    A seam is met wet where its buckets keep the margin that any bucket is asked for.
    """
    found = sorted(placed, key=lambda pour: pour.start_s)
    for n in range(len(found) - 1):
        one, other = pours[found[n].room], pours[found[n + 1].room]
        if one.room.group is not None and one.room.group == other.room.group:
            found[n : n + 2] = _met(one, other, found[n], found[n + 1], confidence)
    return tuple(found)


def without_seams(
    pours: Mapping[str, RoomPours],
    placed: Sequence[PlacedPour],
    *,
    confidence: float | None = None,
) -> tuple[PlacedPour, ...]:
    """The same with a stop line at every seam."""

    def stopped(one: PlacedPour) -> PlacedPour:
        times = pours[one.room].plan(one.option).times
        seam = None if one.seam is None else replace(one.seam, wet=False)
        return replace(_timed(pours[one.room], one, times, confidence), seam=seam)

    return tuple(stopped(one) for one in placed)


def _met(
    one: RoomPours,
    other: RoomPours,
    before: PlacedPour,
    after: PlacedPour,
    confidence: float | None,
) -> tuple[PlacedPour, PlacedPour]:
    """Two floors of a group, poured one after the other."""
    patches = ends_of(one.plan(before.option).layout, one.room)[1]
    first = ends_of(other.plan(after.option).layout, other.room)[0]
    closed_by = int(first[after.times.raked_s[first].argmax()])
    strips_s, thrown_s = _with_strips(one, other, before, after, patches, closed_by)
    to_next_s = after.start_s - before.start_s
    tied_s, ends_s = before.times.tied_in_s.copy(), before.times.broadcast_s.copy()
    tied_s[patches] = to_next_s + after.times.raked_s[closed_by]
    ends_s[patches] = to_next_s + strips_s
    times = replace(before.times, tied_in_s=tied_s, broadcast_s=ends_s)
    met = _timed(one, before, times, confidence)
    goes_on = _timed(other, after, replace(after.times, broadcast_s=thrown_s), confidence)
    open_s = [met.clocks.margins_s[BINDINGS.index(clock), 0, patches] for clock in OPEN_EDGE]
    seam = Seam(
        next_room=after.room,
        patches=patches,
        closed_by=closed_by,
        spare_s=float(np.min(open_s)),
        wet=False,
        busy=bool(thrown_s.max() > after.times.broadcast_s.max() + 0.5),
    )
    needed_s = one.job.policy.margin_s
    kept = all(
        new.planning_margin_s >= min(old.planning_margin_s, needed_s)
        for old, new in ((before, met), (after, goes_on))
    )
    wet = kept and seam.spare_s >= needed_s and not seam.busy
    if other.settled.poured is not None:
        # The crew is there: nobody draws a line any more where the edge is met in time.
        wet = seam.spare_s >= 0.0
    if not wet:
        return replace(before, seam=seam), after
    return replace(met, seam=replace(seam, wet=True)), goes_on


def _with_strips(
    one: RoomPours,
    other: RoomPours,
    before: PlacedPour,
    after: PlacedPour,
    patches: NDArray[np.int64],
    closed_by: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """When the strips along a seam have their grains, and then the next floor's patches [s
    from its start]: the hands that throw them are the same."""
    plan, cadence = other.plan(after.option), one.plan(before.option).cadence
    size, kits = patches.size, plan.layout.kits
    met, own = met_by(plan.layout), plan.cadence
    shared = own.shared if other.settled.poured is None else None
    turns_s = None if shared is None else plan.times.liquids_in_s + shared.broadcast_at_s

    def ends_s(strips: int) -> NDArray[np.float64]:
        """With so many strips waiting for the bucket that closes the seam."""
        long_ago, strip_s = np.full(strips, -1e6), np.full(strips, cadence.strip_s)
        return broadcast_ends_s(
            np.concatenate([long_ago, after.times.smoothed_s]),
            np.concatenate(
                [np.full(strips, strips + closed_by), np.where(met < 0, -1, met + strips)]
            ),
            strip_s=np.concatenate([strip_s, np.full(kits, own.strip_s)]),
            broadcast_s=np.concatenate([strip_s, np.full(kits, own.broadcast_s)]),
            turns_s=None if turns_s is None else np.concatenate([long_ago, turns_s]),
        )

    both_s = ends_s(size)
    later_s = np.maximum(both_s[size:] - ends_s(0), 0.0)
    return both_s[:size], after.times.broadcast_s + later_s


def _timed(
    pours: RoomPours, poured: PlacedPour, times: PourTimes, confidence: float | None
) -> PlacedPour:
    """A pour at the same start in other times."""
    option, start_s = poured.option, poured.start_s
    clocks = pours.run(option, start_s, times=times)
    margin_s, sure_s, planning_s = _margins_s(pours, option, start_s, times, clocks, confidence)
    return replace(
        poured,
        times=times,
        clocks=clocks,
        margin_s=margin_s,
        sure_margin_s=sure_s,
        planning_margin_s=planning_s,
    )


def _margins_s(
    pours: RoomPours,
    option: PourOption,
    start_s: float,
    times: PourTimes,
    clocks: BucketClocks,
    confidence: float | None,
) -> tuple[float, float, float]:
    """The least margin of a pour on the expected night, as surely as asked, and the one it is
    planned by."""
    margin_s = float(clocks.least_s[0])
    sure_s = pours.sure_margin_s(option, start_s, times=times, confidence=confidence)
    return margin_s, sure_s, min(margin_s, sure_s + pours.job.policy.margin_s)


def _window(below: PlacedPour | PlacedCoat | None, work: Work) -> Window:
    return ANY_TIME if below is None else window_over(below.reached, work)


def place_layer(
    pours: RoomPours,
    work: Work,
    below: PlacedPour | PlacedCoat | None,
    begins_s: float,
    *,
    confidence: float | None = None,
) -> PlacedCoat:
    """A thin layer begun at a definite time over the one below, or on the bare slab."""
    start_s = begins_s + work.lead_s
    clocks, curve = pours.material(work.layer)
    wait, close = pours.long_factors(work.layer, start_s, confidence=confidence)
    return PlacedCoat(
        room=pours.room.name,
        window=_window(below, work),
        begins_s=begins_s,
        start_s=start_s,
        end_s=start_s + work.duration_s,
        work=work,
        needs=pours.room.open_needs,
        reached=film_reached(
            start_s + work.offset_s, age_s=clocks.age_s, curve=curve, wait=wait, close=close
        ),
    )


def place_under(
    pours: RoomPours, option: PourOption, begins_s: float, *, confidence: float | None = None
) -> PlacedCoat:
    """The layer right under a pour in one way, patch by patch of that way."""
    work = pours.works(option)[pours.pour_task - 1]
    return place_layer(pours, work, None, begins_s, confidence=confidence)
