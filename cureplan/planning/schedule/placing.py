"""Floors placed in time, within shifts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from cureplan.core.clock import shift_windows
from cureplan.inputs.job.model import Job, Shift
from cureplan.planning.floor.coats import (
    CoatWindow,
    CoatWork,
    CuringFloor,
    FinishedFloor,
    Landed,
    coat_work,
    curing_floor,
    finished_floor,
    first_coat_window,
    next_coat_window,
)
from cureplan.planning.floor.pour import BucketClocks, PourOption, RoomPours

__all__ = [
    "PlacedCoat",
    "PlacedPour",
    "Span",
    "Windows",
    "coat_works",
    "crew_spans",
    "earliest_start",
    "place_coat",
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


def earliest_start(
    *,
    from_s: float,
    length_s: float,
    spans: Sequence[Span],
    setup_s: float,
    clear_of: Callable[[float], float | None],
) -> float | None:
    """Earliest start of a task that keeps the shifts and is clear of everything else."""
    for span in spans:
        start = max(from_s, span.begins_s + setup_s)
        while start + length_s <= span.ends_s:
            later = clear_of(start)
            if later is None:
                return start
            start = later
    return None


Windows = Literal["sure", "expected"]
"""Whether coats keep their windows at the job's confidence, or on the expected night."""


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
    floor: CuringFloor
    works: tuple[CoatWork, ...]

    @property
    def closed(self) -> Span:
        """From the first bucket until the whole floor bears feet."""
        return Span(begins_s=self.start_s, ends_s=self.floor.walkable_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedCoat:
    """A topcoat at a definite time [epoch s]; `begins_s` includes vacuuming."""

    room: str
    coat: int
    window: CoatWindow
    begins_s: float
    start_s: float
    end_s: float
    work: CoatWork
    after: FinishedFloor

    @property
    def closed(self) -> Span:
        """From the coat's start until it bears feet."""
        return Span(begins_s=self.start_s, ends_s=self.after.foot_s)


def coat_works(pours: RoomPours, option: PourOption) -> tuple[CoatWork, ...]:
    """How long every coat of a floor takes when it was poured by an option."""
    job = pours.job
    return tuple(
        coat_work(
            pours.room,
            job.cards.topcoat,
            crew=job.crew,
            pace=job.pace,
            coat=coat,
            patches=pours.plan(option).layout.kits,
        )
        for coat in range(1, pours.room.topcoats + 1)
    )


def place_pour(
    pours: RoomPours,
    option: PourOption,
    start_s: float,
    *,
    delayed: bool = False,
    windows: Windows = "sure",
) -> PlacedPour:
    """Run a floor's buckets at a definite start and see when it bears feet and coats."""
    plan = pours.plan(option)
    clocks = pours.run(option, start_s)
    margin_s = float(clocks.least_s[0])
    wait, close, sure_s = 1.0, 1.0, margin_s
    if windows == "sure":
        wait, close = pours.cure_factors(start_s)
        sure_s = pours.sure_margin_s(option, start_s)
    landed = Landed(
        pour_s=start_s + plan.times.pour_s,
        pour_age_s=clocks.pour_age_s[0],
        film_age_s=clocks.film_age_s[0],
    )
    floor = curing_floor(
        landed,
        clocks=pours.clocks,
        curve=pours.slurry_curve,
        wait=wait,
        close=close,
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
        floor=floor,
        works=coat_works(pours, option),
    )


def place_coat(
    pours: RoomPours,
    poured: PlacedPour,
    below: PlacedCoat | None,
    begins_s: float,
    *,
    windows: Windows = "sure",
) -> PlacedCoat:
    """A coat begun at a definite time, over the floor or over the coat below."""

    def factors(at_s: float) -> tuple[float, float]:
        return pours.topcoat_factors(at_s) if windows == "sure" else (1.0, 1.0)

    coat = 1 if below is None else below.coat + 1
    work = poured.works[coat - 1]
    if below is None:
        window = first_coat_window(poured.floor, work)
    else:
        wait, close = factors(below.start_s)
        window = next_coat_window(
            below.start_s,
            below.work,
            work,
            clocks=pours.topcoat,
            curve=pours.topcoat_curve,
            wait=wait,
            close=close,
        )
    start_s = begins_s + work.vacuum_s
    after = finished_floor(
        start_s,
        work,
        clocks=pours.topcoat,
        curve=pours.topcoat_curve,
        wait=factors(start_s)[0],
    )
    return PlacedCoat(
        room=pours.room.name,
        coat=coat,
        window=window,
        begins_s=begins_s,
        start_s=start_s,
        end_s=start_s + work.duration_s,
        work=work,
        after=after,
    )
