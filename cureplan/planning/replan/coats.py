"""Topcoats after a night that went otherwise than planned: each at its earliest.

Coats begun before the time of planning stay. A coat that would come too late to bond is
still placed, at its earliest, so that the way back is told whole; the changes say so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cureplan.core.errors import NoFeasiblePlanError
from cureplan.inputs.job.model import Job, Room
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.plan.model import CoatPlan
from cureplan.planning.schedule.placing import (
    PlacedCoat,
    PlacedPour,
    Span,
    crew_spans,
    earliest_start,
    place_layer,
)
from cureplan.planning.schedule.slots import SLOT_S

__all__ = ["place_coats_again"]


def place_coats_again(
    job: Job,
    pours: Mapping[str, RoomPours],
    placed: Sequence[PlacedPour],
    *,
    planned: Sequence[CoatPlan],
    now_s: float,
) -> tuple[PlacedCoat, ...]:
    """Every coat of every poured floor: as planned where none comes too late for it.

    Else as soon as may be, in the order that opens the kitchen soonest.
    """
    begun = [coat for coat in planned if coat.start.timestamp() <= now_s]
    tries, refused = [], None
    for held in (True, False):
        for crossed_last in (False, True):
            coats = _Coats(job, pours, placed, planned if held else ())
            try:
                laid = coats.place(crossed_last=crossed_last, begun=begun)
            except NoFeasiblePlanError as error:
                refused = error
            else:
                tries.append((held, laid))
    if not tries and refused is not None:
        raise refused
    return min(tries, key=lambda tried: _score(job, *tried))[1]


def _score(
    job: Job, held: bool, coats: Sequence[PlacedCoat]
) -> tuple[int, bool, bool, float, float]:
    late = sum(coat.start_s > coat.window.closes_s for coat in coats)
    opens_s = max(coat.after.opens_s for coat in coats)
    over = opens_s > job.access.open_by.timestamp()
    opens_s = max(opens_s, job.access.begins.timestamp())
    return late, over, not held, opens_s, sum(c.end_s for c in coats)


@dataclass(frozen=True, slots=True)
class _Work:
    """The crew in a room, and for how long its floor may not be walked on."""

    room: str
    begins_s: float
    ends_s: float
    shut: Span
    coat: bool
    """Whether it is the topcoat crew's, not the pour crew's."""


class _Coats:
    """Coats placed one by one among the pours and each other."""

    def __init__(
        self,
        job: Job,
        pours: Mapping[str, RoomPours],
        placed: Sequence[PlacedPour],
        planned: Sequence[CoatPlan],
    ) -> None:
        self.job, self.pours = job, pours
        self.not_before_s = {(coat.room, coat.coat): coat.start.timestamp() for coat in planned}
        self.poured = {p.room: p for p in placed}
        self.order = [p.room for p in sorted(placed, key=lambda p: p.start_s)]
        self.laid = [_Work(p.room, p.start_s, p.end_s, p.closed, coat=False) for p in placed]
        self.laid += [
            _Work(p.room, u.begins_s, u.end_s, u.closed, coat=False)
            for p in placed
            if (u := p.under) is not None
        ]
        self.coats: dict[tuple[str, int], PlacedCoat] = {}

    def place(self, *, crossed_last: bool, begun: Sequence[CoatPlan]) -> tuple[PlacedCoat, ...]:
        for coat in sorted(begun, key=lambda c: c.start):
            if coat.room in self.poured:
                self._keep(coat)
        for name, number in self._sequence(crossed_last=crossed_last):
            if (name, number) not in self.coats:
                self._place(name, number)
        return tuple(self.coats.values())

    def _sequence(self, *, crossed_last: bool) -> Iterator[tuple[str, int]]:
        crossed = {floor for room in self.job.rooms for floor in room.way_out}
        most = max(len(self.poured[name].over) for name in self.order)
        coats = [
            (name, number)
            for number in range(1, most + 1)
            for name in self.order
            if number <= len(self.poured[name].over)
        ]
        if crossed_last:
            coats.sort(key=lambda item: item[0] in crossed)
        return iter(coats)

    def _keep(self, coat: CoatPlan) -> None:
        work = self.poured[coat.room].over[coat.coat - 1]
        self._add(coat.room, coat.coat, coat.start.timestamp() - work.lead_s)

    def _place(self, name: str, number: int) -> None:
        work = self.poured[name].over[number - 1]
        opens_s = self._window_opens_s(name, number)
        crew = self.job.crew
        begins_s = earliest_start(
            from_s=max(opens_s, self.not_before_s.get((name, number), -np.inf)) - work.lead_s,
            length_s=work.lead_s + work.duration_s,
            spans=self._spans() if np.isfinite(opens_s) else (),
            setup_s=crew.setup_s,
            clear_of=lambda begins: self._later(name, number, begins),
        )
        if begins_s is None:
            raise NoFeasiblePlanError(
                f"no topcoat shift that is left holds coat {number} of {name}"
            )
        self._add(name, number, float(np.ceil(begins_s / SLOT_S) * SLOT_S))

    def _spans(self) -> tuple[Span, ...]:
        return crew_spans(self.job, self.job.crew.topcoat_shifts)

    def _later(self, name: str, number: int, begins_s: float) -> float | None:
        """A later begin to try when something is in the way, else None."""
        room, work = self.job.room(name), self.poured[name].over[number - 1]
        trial = self._coat(name, number, begins_s)
        ends = [self._blocked_s(room, trial, other) for other in self.laid]
        limits = self.pours[name].limits(work.layer)
        within_s = limits.next_s(trial.start_s, work.duration_s, trial.closed.ends_s)
        if within_s > trial.start_s:
            ends.append(within_s - work.lead_s)
        later_s = max(ends, default=begins_s)
        return later_s if later_s > begins_s else None

    def _blocked_s(self, room: Room, trial: PlacedCoat, other: _Work) -> float:
        """Until when another work keeps this coat from beginning; -inf where it does not."""
        span = Span(begins_s=trial.begins_s, ends_s=trial.end_s)
        if other.coat and span.meets(
            other.begins_s - self.job.crew.changeover_s,
            other.ends_s + self.job.crew.changeover_s,
        ):
            return other.ends_s + self.job.crew.changeover_s
        if other.room in self.job.crossed_from(room.name) and span.meets(
            other.shut.begins_s, other.shut.ends_s
        ):
            return other.shut.ends_s
        crosses = room.name in self.job.crossed_from(other.room)
        if crosses and trial.closed.meets(other.begins_s, other.ends_s):
            return other.ends_s
        return -np.inf

    def _window_opens_s(self, name: str, number: int) -> float:
        return float(self._coat(name, number, self.poured[name].end_s).window.opens_s)

    def _coat(self, name: str, number: int, begins_s: float) -> PlacedCoat:
        poured = self.poured[name]
        below = poured if number == 1 else self.coats[name, number - 1]
        return place_layer(self.pours[name], poured.over[number - 1], below, begins_s)

    def _add(self, name: str, number: int, begins_s: float) -> None:
        coat = self._coat(name, number, begins_s)
        if not np.isfinite(coat.after.opens_s):
            raise NoFeasiblePlanError(f"the weather ends before {name} could open")
        self.coats[name, number] = coat
        self.laid.append(_Work(name, coat.begins_s, coat.end_s, coat.closed, coat=True))
