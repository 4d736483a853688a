"""Schedules near one: its order kept, floors poured in other ways or at other hours."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

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
        allowed = self.tables.pours[pour.room].settled.options
        ladder = [
            option
            for option in option_ladder(self.job.policy.remedies)
            if allowed is None or option in allowed
        ]
        table, at_s = self.tables.of(pour.room), np.array([pour.start_s])
        return max(ladder, key=lambda option: float(table.least_s(option, at_s)[0]))

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
        coats in two orders, floors poured more surely, all or the worst, then other hours."""
        best, best_frac, own = self.own, -1.0, self.own.options

        def gains(way: Way) -> bool:
            nonlocal best, best_frac
            found = holds(way)
            if found is None or found <= best_frac:
                return False
            best, best_frac = way, found
            return True

        for way_last in (False, True):
            gains(replace(best, way_last=way_last))
        surest = {pour.room: self.surest(pour) for pour in self.free}
        surer = [room for room in worst if surest.get(room, own[room]) != own[room]]
        if surer and not gains(replace(best, options={**best.options, **surest})):
            for room in surer[:MOST_SURER]:
                gains(replace(best, options={**best.options, room: surest[room]}))
        for by_s in (LATER_S, -LATER_S) if "hour" in self.job.policy.remedies else ():
            moved = False
            while gains(replace(best, later_s=best.later_s + by_s)):
                moved = True
            if moved:
                return

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
