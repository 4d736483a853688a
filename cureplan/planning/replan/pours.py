"""Pours of the rest of the night: begun floors go on, the others follow in their order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Crew, Job
from cureplan.planning.floor.layers import window_over
from cureplan.planning.floor.layout import (
    Cadence,
    PourTimes,
    broadcast_ends_s,
    cadence_of,
    met_by,
)
from cureplan.planning.floor.pour import AS_IS, PourOption, PourPlan, RoomPours
from cureplan.planning.plan.model import RoomPlan
from cureplan.planning.replan.state import FloorState, NightState
from cureplan.planning.schedule.placing import (
    PlacedCoat,
    PlacedPour,
    Span,
    crew_spans,
    earliest_start,
    place_layer,
    place_pour,
)
from cureplan.planning.schedule.slots import SLOT_S

__all__ = [
    "HALF_SECOND",
    "StartedPours",
    "go_on",
    "laid_under",
    "option_of",
    "place_as_planned",
    "place_next",
    "place_primers",
    "rest_of_floor",
]

MOST_BAYS = 4
HOUR_S = 3600.0
HALF_SECOND = 0.5
OVER_SHIFT_S = 900.0
"""By how much a floor may run over its shift where the night carries on: invented."""
Array = NDArray[np.float64]


@dataclass(slots=True, kw_only=True)
class StartedPours(RoomPours):
    """A floor already begun: under its own option, its buckets keep their real times."""

    kept: PourPlan

    def plan(self, option: PourOption, crew: Crew | None = None) -> PourPlan:
        """The real times for the option it was begun with, else the regular rhythm."""
        if option == self.kept.option:
            return self.kept
        return RoomPours.plan(self, option, crew)


def option_of(room: RoomPlan) -> PourOption:
    """How a planned floor is poured."""
    return PourOption(
        chilled=room.chilled, cool_filler="cool filler" in room.remedies, bays=room.bays
    )


def rest_of_floor(
    pours: RoomPours,
    floor: FloorState,
    state: NightState,
    *,
    before: Crew,
    free_s: float,
    crew: Crew | None = None,
) -> tuple[PourPlan, float]:
    """A begun floor: real times of what is poured, and the rhythm of what is not."""
    job, option = pours.job, option_of(floor.room)
    hands = crew or state.crew
    regular = RoomPours.plan(pours, option, hands)
    card, layout = job.cards.slurry, regular.layout
    cadence_before = cadence_of(layout, card, crew=before, pace=job.pace)
    before_pour_s = card.liquids_mix_s + card.filler_mix_s + job.pace.haul_s
    number = np.arange(layout.kits)
    bay = layout.bay
    pour_s = np.concatenate([floor.poured_s, np.zeros(layout.kits - floor.done)])
    for n in range(floor.done, layout.kits):
        turn_s = job.pace.bay_turn_s if bay[n] != bay[n - 1] else 0.0
        due_s = pour_s[n - 1] + regular.cadence.interval_s + turn_s
        if n == floor.done:
            due_s = _next_pour_s(
                due_s, pour_s[n - 1], state, regular.cadence, free_s, before_pour_s
            )
        pour_s[n] = due_s
    start_s = float(pour_s[0]) - before_pour_s
    times = _times(
        pour_s - start_s,
        np.where(number < floor.done, cadence_before.rake_s, regular.cadence.rake_s),
        np.where(number < floor.done, cadence_before.smooth_s, regular.cadence.smooth_s),
        regular,
        before=cadence_before,
        done=floor.done,
    )
    stations = np.where(
        number < floor.done,
        number % min(before.stations, before.mixer),
        number % min(hands.stations, hands.mixer),
    )
    times = replace(
        times,
        station=stations,
        filler_in_s=times.pour_s - job.pace.haul_s - card.filler_mix_s,
        liquids_in_s=times.pour_s - before_pour_s,
    )
    return replace(regular, times=times), start_s


def _next_pour_s(
    due_s: float,
    last_s: float,
    state: NightState,
    cadence: Cadence,
    free_s: float,
    before_pour_s: float,
) -> float:
    """When the next bucket lands: in rhythm if it is being mixed, else from a fresh stir."""
    held_s = max(free_s, state.wait_s if state.wait_said_s >= last_s else -np.inf)
    if held_s > due_s - before_pour_s:
        return max(held_s, state.now_s) + before_pour_s
    if due_s >= state.now_s - cadence.interval_s:
        return max(due_s, state.now_s)
    return state.now_s + before_pour_s


def _times(
    pour_s: Array,
    rake_s: Array,
    smooth_s: Array,
    regular: PourPlan,
    *,
    before: Cadence,
    done: int,
) -> PourTimes:
    """Rake and smoother take bucket after bucket; the rest as in the regular rhythm."""
    raked, smoothed = np.empty_like(pour_s), np.empty_like(pour_s)
    hand_s = glove_s = -np.inf
    for n in range(pour_s.size):
        hand_s = max(float(pour_s[n]), hand_s) + float(rake_s[n])
        glove_s = max(hand_s, glove_s) + float(smooth_s[n])
        raked[n], smoothed[n] = hand_s, glove_s
    layout, cadence = regular.layout, regular.cadence
    met = met_by(layout)
    as_before = np.where(met < 0, np.arange(met.size), met) < done
    return replace(
        regular.times,
        pour_s=pour_s,
        raked_s=raked,
        smoothed_s=smoothed,
        tied_in_s=np.where(met < 0, np.nan, raked[met]),
        broadcast_s=broadcast_ends_s(
            smoothed,
            met,
            strip_s=np.where(as_before, before.strip_s, cadence.strip_s),
            broadcast_s=np.where(as_before, before.broadcast_s, cadence.broadcast_s),
        ),
    )


def go_on(
    pours: RoomPours,
    floor: FloorState,
    state: NightState,
    *,
    before: Crew,
    free_s: float,
    primed_s: float | None = None,
) -> tuple[StartedPours, PlacedPour]:
    """Place a begun floor; no bucket that is poured moves."""
    kept, start_s = rest_of_floor(pours, floor, state, before=before, free_s=free_s)
    started = StartedPours(
        room=pours.room,
        job=pours.job,
        clocks=pours.clocks,
        topcoat=pours.topcoat,
        conditions=pours.conditions,
        kept=kept,
    )
    delayed = "hour" in floor.room.remedies
    under = laid_under(started, kept.option, primed_s)
    return started, place_pour(started, kept.option, start_s, delayed=delayed, below=under)


def laid_under(
    pours: RoomPours, option: PourOption, primed_s: float | None
) -> PlacedCoat | None:
    """The primer under a floor, rolled or to be rolled at the hour the plan before gave it."""
    work = pours.works(option)[0]
    if primed_s is None or work.layer.kind != "primer":
        return None
    return place_layer(pours, work, None, primed_s)


def place_primers(
    pours: Mapping[str, RoomPours],
    order: Sequence[str],
    begun: Sequence[PlacedPour],
    state: NightState,
    *,
    planned_s: Mapping[str, float],
) -> dict[str, PlacedCoat]:
    """The primer under each floor: rolled ones stay, others go when the crew is free.

    No sooner than planned, one after the other in the order of the pours; a floor whose
    primer no shift holds is not among them.
    """
    laid: dict[str, PlacedCoat] = {}
    due: list[str] = []
    for name in (*(poured.room for poured in begun), *order):
        at_s = planned_s.get(name, np.inf)
        under = laid_under(pours[name], AS_IS, at_s if at_s <= state.now_s else None)
        if under is not None:
            laid[name] = under
        elif name in order and pours[name].job.cards.primer is not None:
            due.append(name)
    rest = [poured for poured in begun if poured.end_s > state.now_s]
    for name in sorted(due, key=lambda name: planned_s.get(name, np.inf)):
        begins_s = _primer_begins(
            pours[name], rest, laid, state, not_before_s=planned_s.get(name, -np.inf)
        )
        under = laid_under(pours[name], AS_IS, begins_s)
        if under is not None:
            laid[name] = under
    return laid


def _primer_begins(
    pours: RoomPours,
    rest: Sequence[PlacedPour],
    laid: Mapping[str, PlacedCoat],
    state: NightState,
    *,
    not_before_s: float,
) -> float | None:
    job, work = pours.job, pours.works(AS_IS)[0]
    ways, limits = job.crossed_from(pours.room.name), pours.limits(work.layer)

    def clear_of(start_s: float) -> float | None:
        end_s = start_s + work.duration_s
        trial = place_layer(pours, work, None, start_s)
        ends = [
            _busy_until_s(job, start_s, end_s, span)
            for span in (*((p.start_s, p.end_s) for p in rest), *map(_span, laid.values()))
        ]
        closed = [(p.room, p.closed) for p in rest]
        closed += [(p.room, p.closed) for p in laid.values()]
        ends += [s.ends_s for name, s in closed if name in ways and s.meets(start_s, end_s)]
        ends.append(limits.next_s(start_s, work.duration_s, trial.closed.ends_s))
        later_s = max(ends)
        return later_s if later_s > start_s else None

    found = earliest_start(
        from_s=max(state.now_s, state.wait_s, not_before_s),
        length_s=work.duration_s,
        spans=crew_spans(job, job.crew.pour_shifts),
        setup_s=job.crew.setup_s,
        clear_of=clear_of,
    )
    return None if found is None else float(np.ceil(found / SLOT_S) * SLOT_S)


def _span(primer: PlacedCoat) -> tuple[float, float]:
    return primer.begins_s, primer.end_s


def _busy_until_s(job: Job, start_s: float, end_s: float, other: tuple[float, float]) -> float:
    """Until when other work of the same crew keeps one from beginning; -inf if it does not."""
    change_s = job.crew.changeover_s
    apart = end_s + change_s <= other[0] or start_s >= other[1] + change_s
    return -np.inf if apart else other[1] + change_s


def place_next(
    pours: RoomPours,
    option: PourOption,
    placed: Sequence[PlacedPour],
    state: NightState,
    *,
    shut: Mapping[str, Span],
    primers: Mapping[str, PlacedCoat],
) -> PlacedPour | None:
    """Place a floor not yet begun at its earliest, in the fewest bays that keep the policy.

    Ice is left as planned: pails that are not in it by now would come too late.
    """
    job, remedies = pours.job, pours.job.policy.remedies
    others = range(1, MOST_BAYS + 1) if "bays" in remedies else ()
    options = [option, *(replace(option, bays=n) for n in others if n != option.bays)]
    hours = range(9) if "hour" in remedies else range(1)
    best: PlacedPour | None = None
    for later in hours:
        for tried in options:
            start_s = _earliest(pours, tried, placed, state, shut, later * HOUR_S, primers)
            if start_s is None:
                continue
            under = _under(pours, tried, primers)
            found = place_pour(pours, tried, start_s, delayed=later > 0, below=under)
            if found.planning_margin_s >= job.policy.margin_s - HALF_SECOND:
                return found
            if best is None or found.planning_margin_s > best.planning_margin_s + 60.0:
                best = found
    return best


def place_as_planned(
    pours: RoomPours,
    floor: FloorState,
    placed: Sequence[PlacedPour],
    state: NightState,
    *,
    shut: Mapping[str, Span],
    waited: bool,
    primers: Mapping[str, PlacedCoat],
) -> PlacedPour | None:
    """A floor in the bays and with the ice it was planned with, whatever margin that leaves.

    Not sooner than planned where the plan waited for it. It may run over its shift a
    little: that is told, and dearer things are lost by leaving it out.
    """
    option = option_of(floor.room)
    not_before_s = floor.room.pour_start.timestamp() if waited else -np.inf
    start_s = _earliest(
        pours,
        option,
        placed,
        state,
        shut,
        0.0,
        primers,
        not_before_s=not_before_s,
        over_s=OVER_SHIFT_S,
    )
    if start_s is None:
        return None
    delayed = "hour" in floor.room.remedies
    under = _under(pours, option, primers)
    return place_pour(pours, option, start_s, delayed=delayed, below=under)


def _under(
    pours: RoomPours, option: PourOption, primers: Mapping[str, PlacedCoat]
) -> PlacedCoat | None:
    """The floor's own primer, patch by patch as this option pours over it."""
    own = primers.get(pours.room.name)
    return None if own is None else laid_under(pours, option, own.begins_s)


def _change_s(job: Job, before: str, pours: RoomPours) -> float:
    """Changeover between two floors; none within a group, which is poured in one go."""
    group = pours.room.group
    return 0.0 if group and job.room(before).group == group else job.crew.changeover_s


def _earliest(
    pours: RoomPours,
    option: PourOption,
    placed: Sequence[PlacedPour],
    state: NightState,
    shut: Mapping[str, Span],
    later_s: float,
    primers: Mapping[str, PlacedCoat],
    *,
    not_before_s: float = -np.inf,
    over_s: float = 0.0,
) -> float | None:
    job: Job = pours.job
    length_s = pours.plan(option).times.last_s
    opens_s = -np.inf
    under = _under(pours, option, primers)
    if under is None and job.cards.primer is not None:
        return None
    if under is not None:
        opens_s = window_over(under.reached, pours.works(option)[pours.pour_task]).opens_s
    free_s = max((p.end_s + _change_s(job, p.room, pours) for p in placed), default=-np.inf)
    ways = job.crossed_from(pours.room.name)
    on_way = [shut[name] for name in ways if name in shut]
    on_way += [primer.closed for name, primer in primers.items() if name in ways]

    layer = pours.tasks[pours.pour_task][-1]
    limits, foot_s = pours.limits(layer), pours.clocks.age_s["foot_traffic"]

    def clear_of(start_s: float) -> float | None:
        ends = [s.ends_s for s in on_way if s.meets(start_s, start_s + length_s)]
        busy = (
            _busy_until_s(job, start_s, start_s + length_s, _span(primer))
            for primer in primers.values()
        )
        ends += [until_s for until_s in busy if until_s > start_s]
        wait, _ = pours.long_factors(layer, start_s)
        bears_s = pours.slurry_curve.when(start_s=start_s + length_s, age_s=foot_s * wait)
        within_s = limits.next_s(start_s, length_s, float(bears_s))
        if within_s > start_s:
            ends.append(within_s)
        return max(ends, default=None)

    found = earliest_start(
        from_s=max(max(free_s, state.now_s, state.wait_s, not_before_s) + later_s, opens_s),
        length_s=length_s - over_s,
        spans=crew_spans(job, job.crew.pour_shifts),
        setup_s=job.crew.setup_s,
        clear_of=clear_of,
    )
    # To the minute, as the schedule's own starts; never sooner.
    return None if found is None else float(np.ceil(found / SLOT_S) * SLOT_S)
