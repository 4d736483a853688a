"""Floors placed in time, within shifts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

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
from cureplan.planning.floor.pour import BucketClocks, PourOption, RoomPours

__all__ = [
    "PlacedCoat",
    "PlacedPour",
    "Span",
    "crew_spans",
    "place_layer",
    "place_pour",
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
    windows = shift_windows(
        shifts, zone=job.site.zone, begins=job.access.begins, ends=job.access.open_by
    )
    return tuple(
        Span(begins_s=window.begins.timestamp(), ends_s=window.ends.timestamp())
        for window in windows
    )


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
    window: Window = ANY_TIME
    """The starts it may have over what lies below."""
    under: PlacedCoat | None = None
    """Its primer."""

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
    margin_s = float(clocks.least_s[0])
    own = works[pours.pour_task].layer
    wait, close = pours.long_factors(own, start_s, confidence=confidence)
    sure_s = pours.sure_margin_s(option, start_s, confidence=confidence)
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
        planning_margin_s=min(margin_s, sure_s + pours.job.policy.margin_s),
        clocks=clocks,
        reached=landed_reached(
            landed, age_s=pours.clocks.age_s, curve=pours.slurry_curve, wait=wait, close=close
        ),
        works=works,
        window=_window(below, works[pours.pour_task]),
        under=below,
    )


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
