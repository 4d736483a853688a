"""Schedules near one: other hours, another order, floors poured and coats timed otherwise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.pour import PourOption, RoomPours
from cureplan.planning.schedule.floor_model import EVEN_ODDS, Tables, floor_model, room_stages
from cureplan.planning.schedule.heuristic import order_work, time_order
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import (
    PlacedPour,
    Span,
    crew_spans,
    place_pour,
    place_under,
)
from cureplan.planning.schedule.remedies import option_ladder
from cureplan.planning.schedule.slots import SLOT_S, Slots
from cureplan.planning.schedule.tabled import TABLE_WORK
from cureplan.planning.schedule.tables import Sureness

__all__ = ["Near", "Way"]

SAME_NIGHT_S = 12 * 3600.0
"""What begins so much later than meant has slipped into another night."""

Coat = tuple[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """What a schedule is held to; everything else is timed as soon as it may."""

    order: tuple[str, ...]
    """Of the pours."""
    options: Mapping[str, PourOption]
    """How each floor is poured."""
    from_s: Mapping[str, float]
    """When each pour may begin at the soonest: all of an evening when it begins [epoch s]."""
    windows: float
    """How surely windows are kept."""
    coats_s: Mapping[Coat, float] = field(default_factory=dict)
    """When coats may begin at the soonest."""
    way_last: bool = False
    """Whether floors that are crossed get their coats after all others."""
    clear: bool = True
    """Whether coats are kept clear of the ends of their windows."""

    @property
    def key(self) -> object:
        """Tells ways apart."""
        maps = (self.options, self.from_s, self.coats_s)
        return (self.order, self.windows, self.way_last, self.clear, *(
            tuple(sorted(one.items(), key=lambda item: item[0])) for one in maps
        ))  # fmt: skip

    def evenings(self) -> list[list[str]]:
        """Pours that begin one after the other, in their order."""
        found: dict[float, list[str]] = {}
        for room in self.order:
            found.setdefault(self.from_s[room], []).append(room)
        return [found[at_s] for at_s in sorted(found)]

    def moved(self, rooms: Sequence[str], by_s: float) -> Way:
        """Pours held to another hour, and with them their coats where these are held."""
        from_s = {**self.from_s, **{room: self.from_s[room] + by_s for room in rooms}}
        coats_s = {
            coat: at_s + by_s if coat[0] in rooms else at_s
            for coat, at_s in self.coats_s.items()
        }
        return replace(self, from_s=from_s, coats_s=coats_s)

    def poured(self, options: Mapping[str, PourOption]) -> Way:
        """Floors poured in other ways."""
        return replace(self, options={**self.options, **options})

    def swapped(self, one: int, other: int) -> Way:
        """Two pours that change places."""
        order = list(self.order)
        order[one], order[other] = order[other], order[one]
        from_s = {new: self.from_s[old] for new, old in zip(order, self.order, strict=True)}
        return replace(self, order=tuple(order), from_s=from_s, coats_s={})


@dataclass(slots=True, kw_only=True)
class Near:
    """Schedules near one, every limit kept as surely as said."""

    job: Job
    tables: Tables
    sure: Sureness
    schedule: Schedule
    worked: float = field(init=False, default=0.0)
    _stages: dict[object, Any] = field(init=False, default_factory=dict)
    _twins: dict[tuple[str, bool], RoomPours] = field(init=False, default_factory=dict)

    @property
    def own(self) -> Way:
        """As it is, but that everything is begun as soon as it may."""
        from_s: dict[str, float] = {}
        begun_s, over_s, until_s = -np.inf, -np.inf, -np.inf
        between_s = max(self.job.crew.changeover_s, self.job.crew.in_group_s) + 2 * SLOT_S
        for pour in self.schedule.pours:
            waits = self.may_wait and pour.begins_s > over_s + between_s
            if waits or pour.begins_s >= until_s:
                begun_s = pour.begins_s
                until_s = max(s.ends_s for s in self._shifts if s.begins_s <= begun_s)
            from_s[pour.room], over_s = begun_s, pour.end_s
        return Way(
            order=tuple(pour.room for pour in self.schedule.pours),
            options={pour.room: pour.option for pour in self.schedule.pours},
            from_s=from_s,
            windows=self.sure.windows,
        )

    @property
    def may_wait(self) -> bool:
        """Whether the crew may stand by for a better hour."""
        return "hour" in self.job.policy.remedies

    @property
    def _shifts(self) -> tuple[Span, ...]:
        return crew_spans(self.job, self.job.crew.pour_shifts)

    def surest(self, pour: PlacedPour) -> PourOption:
        """The way open to a floor that leaves most margin at its hour on the expected night."""
        table, at_s = self.tables.of(pour.room), np.array([pour.start_s])
        return max(
            self.ladder(pour.room), key=lambda option: float(table.least_s(option, at_s)[0])
        )

    def floor(self, pour: PlacedPour, option: PourOption) -> PlacedPour:
        """A pour at its hour in another way, as far as its buckets go."""
        if option == pour.option:
            return pour
        own, below = self.tables.pours[pour.room], pour.under
        if below is not None:
            below = place_under(own, option, below.begins_s, confidence=EVEN_ODDS)
        return place_pour(own, option, pour.start_s, confidence=EVEN_ODDS, below=below)

    def ladder(self, room: str) -> list[PourOption]:
        """The ways open to a floor."""
        allowed = self.tables.pours[room].settled.options
        ladder = option_ladder(self.job.policy.remedies)
        return [option for option in ladder if allowed is None or option in allowed]

    def placed(self, way: Way) -> Schedule | None:
        """The pours in their order, each as soon as it may from its hour on, then the coats
        as they fall due; None where that breaks a rule."""
        own = {pour.room: pour for pour in self.schedule.pours}
        waits = {
            room: own[room].delayed or (self.may_wait and at_s > own[room].begins_s)
            for room, at_s in way.from_s.items()
        }
        pours = {room: self._twin(room, waits[room]) for room in self.tables.pours}
        stages = [self._held(name, way) for name in pours]
        sure = replace(self.sure, windows=way.windows)
        model = floor_model(self.job, Tables(pours=pours), sure=sure, stages=stages)
        problem, place = model.problem, {name: i for i, name in enumerate(model.names)}
        self.worked += order_work(problem)
        if problem.empty:
            return None
        found = time_order(
            problem,
            [place[room] for room in way.order],
            manner="driven",
            crossed_last=way.way_last,
            clear=way.clear and not way.coats_s,
        )
        if found.choice is None:
            return None
        schedule = model.schedule(found.choice)
        if any(p.begins_s > way.from_s[p.room] + SAME_NIGHT_S for p in schedule.pours):
            return None
        return schedule

    def _twin(self, room: str, waits: bool) -> RoomPours:
        """A floor whose pour is known to wait for its hour, or not to."""
        if (room, waits) not in self._twins:
            twin = copy(self.tables.pours[room])
            twin.settled = replace(twin.settled, waited=waits)
            self._twins[room, waits] = twin
        return self._twins[room, waits]

    def _held(self, name: str, way: Way) -> tuple[Any, ...]:
        """A floor's states poured in one way, none sooner than said."""
        option, pours = way.options[name], self.tables.pours[name]
        from_s = way.from_s[name]
        within = Span(begins_s=from_s, ends_s=from_s + SAME_NIGHT_S)
        met = tuple(within.meets(shift.begins_s, shift.ends_s) for shift in self._shifts)
        key = name, option, way.windows, met
        if key not in self._stages:
            twin = copy(pours)
            twin.settled = replace(twin.settled, options=(option,))
            tables = Tables(
                pours={name: twin}, by_room={name: self.tables.of(name).under(twin)}
            )
            self._stages[key] = stages = room_stages(
                self.job,
                self.job.room(name),
                tables,
                remedies=self.job.policy.remedies,
                sure=replace(self.sure, windows=way.windows),
                within=within,
            )
            self.worked += TABLE_WORK * sum(stage.size for stage in stages)
        slots, held_s = Slots.since(self.job.access.begins.timestamp()), dict[int, float]()
        held_s[pours.pour_task] = from_s
        for (room, number), at_s in way.coats_s.items():
            if room == name:
                held_s[pours.pour_task + number] = at_s
        return tuple(
            stage.keep(stage.begins >= int(slots.first_from(held_s[task])))
            if task in held_s
            else stage
            for task, stage in enumerate(self._stages[key])
        )
