"""Schedules near one: its order kept, floors poured in other ways or at other hours."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.pour import PourOption, RoomPours
from cureplan.planning.schedule.floor_model import Tables, floor_model
from cureplan.planning.schedule.heuristic import order_work, time_order
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedPour
from cureplan.planning.schedule.relax import TABLE_WORK
from cureplan.planning.schedule.remedies import option_ladder
from cureplan.planning.schedule.slots import SLOT_S
from cureplan.planning.schedule.tables import PourTables, Sureness

__all__ = ["Near", "Way"]

LATER_S = 1800.0
"""By how much all evenings are moved, as long as that gains."""
MOST_SURER = 2
"""Floors poured more surely one by one, where all at once gain nothing."""
MOST_BAYS_TRIED = 3
"""Floors poured in a bay less or more: more are surer bucket by bucket, and more edges."""
SAME_NIGHT_S = 12 * 3600.0
"""What begins so much later than meant has slipped into another night."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """In what a schedule differs from the one it is near."""

    options: Mapping[str, PourOption]
    """How each floor is poured."""
    later_s: float = 0.0
    """How much later every evening begins."""
    way_last: bool = False
    """Whether floors that are crossed get their coats after all others."""


@dataclass(slots=True, kw_only=True)
class Near:
    """Schedules near one, every limit kept as surely as said."""

    job: Job
    tables: Tables
    sure: Sureness
    schedule: Schedule
    worked: float = field(init=False, default=0.0)

    @property
    def own(self) -> Way:
        """As it is."""
        return Way(options={pour.room: pour.option for pour in self.schedule.pours})

    @property
    def free(self) -> tuple[PlacedPour, ...]:
        """Pours that are not begun."""
        settled = {name: pours.settled for name, pours in self.tables.pours.items()}
        return tuple(
            pour
            for pour in self.schedule.pours
            if settled[pour.room].poured is None and "pour" not in settled[pour.room].begun_s
        )

    def surest(self, pour: PlacedPour) -> PourOption:
        """The way open to a floor that leaves most margin at its hour on the expected night."""
        ladder = self._ladder(pour.room)
        table, at_s = self.tables.of(pour.room), np.array([pour.start_s])
        return max(ladder, key=lambda option: float(table.least_s(option, at_s)[0]))

    def _ladder(self, room: str) -> list[PourOption]:
        allowed = self.tables.pours[room].settled.options
        ladder = option_ladder(self.job.policy.remedies)
        return [option for option in ladder if allowed is None or option in allowed]

    def placed(self, way: Way) -> Schedule | None:
        """The pours in their order, each as soon as it may from its hour on, then the coats
        as they fall due; None where that breaks a rule."""
        held = self._held(way)
        pours = {**self.tables.pours, **held}
        by_room: dict[str, PourTables] = {
            name: self.tables.of(name).under(floor) for name, floor in pours.items()
        }
        model = floor_model(self.job, Tables(pours=pours, by_room=by_room), sure=self.sure)
        problem, place = model.problem, {name: i for i, name in enumerate(model.names)}
        self.worked += TABLE_WORK * model.whole.size + order_work(problem)
        if problem.empty:
            return None
        found = time_order(
            problem,
            [place[pour.room] for pour in self.schedule.pours],
            manner="driven",
            crossed_last=way.way_last,
            clear=True,
        )
        if found.choice is None:
            return None
        schedule = model.schedule(found.choice)
        latest_s = {
            pour.room: pour.start_s + way.later_s + SAME_NIGHT_S for pour in self.schedule.pours
        }
        if any(pour.start_s > latest_s[pour.room] for pour in schedule.pours):
            return None
        return schedule

    def improve(self, holds: Callable[[Way], float | None], worst: Sequence[str]) -> None:
        """Look at ways, each from the best before it, until one is not to be looked at:
        coats in two orders, floors poured more surely, other hours, other bays."""
        climb, own = _Climb(holds=holds, way=self.own), self.own.options
        for way_last in (False, True):
            climb.gains(way_last=way_last)
        surest = {pour.room: self.surest(pour) for pour in self.free}
        surer = [r for r in worst if surest.get(r, own[r]) != own[r]]
        if surer and not climb.pours(surest):
            for room in surer[:MOST_SURER]:
                climb.pours({room: surest[room]})
        if "hour" in self.job.policy.remedies and not climb.moves(LATER_S):
            climb.moves(-LATER_S)
        for room in [room for room in worst if room in surest][:MOST_BAYS_TRIED]:
            option = climb.way.options[room]
            bays = (replace(option, bays=option.bays + more) for more in (-1, 1))
            any(climb.pours({room: other}) for other in bays if other in self._ladder(room))

    def _held(self, way: Way) -> dict[str, RoomPours]:
        """Floors that may be poured in one way, and where the crew stood by before them,
        no sooner than they were, or so much later."""
        found: dict[str, RoomPours] = {}
        crew, over_s = self.job.crew, -np.inf
        between_s = max(crew.changeover_s, crew.in_group_s) + 2 * SLOT_S
        for pour in self.free:
            pours = self.tables.pours[pour.room]
            settled, twin = pours.settled, pours.under(pours.room, self.job)
            if pour.start_s > over_s + between_s:
                settled = settled.later({"pour": pour.start_s + way.later_s})
            twin.settled = replace(
                settled,
                options=(way.options[pour.room],),
                waited=pour.delayed or way.later_s > 0.0,
            )
            found[pour.room], over_s = twin, pour.end_s
        return found


@dataclass(slots=True, kw_only=True)
class _Climb:
    """The best way of those looked at."""

    holds: Callable[[Way], float | None]
    way: Way
    frac: float = -1.0

    def gains(self, **changes: Any) -> bool:
        """Whether a change to the best holds more often; then it is the best."""
        way = replace(self.way, **changes)
        found = self.holds(way)
        if found is None or found <= self.frac:
            return False
        self.way, self.frac = way, found
        return True

    def pours(self, options: Mapping[str, PourOption]) -> bool:
        """The same of floors poured in other ways."""
        return self.gains(options={**self.way.options, **options})

    def moves(self, by_s: float) -> bool:
        """The same of evenings, as long as another step gains."""
        moved = False
        while self.gains(later_s=self.way.later_s + by_s):
            moved = True
        return moved
