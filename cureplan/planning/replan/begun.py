"""Floors begun on the night: real times of what is poured, the rhythm of what is not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Crew
from cureplan.planning.floor.layers import lead_works
from cureplan.planning.floor.layout import (
    Cadence,
    PourTimes,
    broadcast_ends_s,
    cadence_of,
    met_by,
)
from cureplan.planning.floor.pour import PourOption, PourPlan, RoomPours, Settled
from cureplan.planning.plan.model import Call, Plan, RoomPlan
from cureplan.planning.replan.coats import CoatState
from cureplan.planning.replan.state import FloorState, NightState, hours_moved
from cureplan.planning.schedule.remedies import MOST_BAYS

__all__ = ["coved_s", "option_of", "rest_of_floor", "settle"]

ICE_EARLY_S = 300.0
"""Pails in ice come out no sooner than this before their time: invented."""
Array = NDArray[np.float64]


def option_of(room: RoomPlan) -> PourOption:
    """How a planned floor is poured."""
    return PourOption(
        chilled=room.chilled, cool_filler="cool filler" in room.remedies, bays=room.bays
    )


def settle(
    old: Plan, state: NightState, pours: Mapping[str, RoomPours]
) -> dict[str, RoomPours]:
    """The floors with what the night has settled: begun layers stay, others begin from now."""
    found = {
        name: replace(one, settled=_to_come(one, old, state)) for name, one in pours.items()
    }
    free_s = -np.inf
    begun = [floor for floor in state.floors.values() if floor.done]
    for floor in sorted(begun, key=lambda f: (not f.complete, -f.poured_s[-1])):
        name = floor.room.room
        one = found[name]
        plan, start_s = rest_of_floor(one, floor, state, before=old.job.crew, free_s=free_s)
        settled = replace(
            one.settled,
            poured=plan,
            begun_s={**one.settled.begun_s, "pour": start_s},
            options=(plan.option,),
            waited="hour" in floor.room.remedies,
        )
        found[name] = replace(one, settled=settled)
        if not floor.complete:
            ends_s = start_s + plan.times.last_s
            free_s = ends_s + state.crew.changeover_s
    return found


def _to_come(pours: RoomPours, old: Plan, state: NightState) -> Settled:
    """A floor whose pour is still to come; its primer may be begun."""
    name = pours.room.name
    done = state.floors[name].done if name in state.floors else 0
    complete = name in state.floors and state.floors[name].complete
    under = {
        primer.stage: state.primed.get(name, CoatState(begun_s=primer.start.timestamp()))
        for primer in old.primers
        if primer.room == name and (done or name in state.primed)
    }
    coats = under | {
        f"coat {number}": coat
        for (room, number), coat in state.coats.items()
        if room == name and complete
    }
    begun_s = {stage: coat.begun_s for stage, coat in coats.items()}
    pour_s = max(state.now_s, state.wait_s)
    # Pails that are not in ice by now would be too late; those in it are not cold yet.
    option = PourOption(chilled=False, cool_filler=False, bays=1)
    if name in state.floors:
        room = state.floors[name].room
        option = option_of(room)
        if room.chilled:
            pour_s = max(pour_s, _cold_s(old, room, state))
    others = range(1, MOST_BAYS + 1) if "bays" in pours.job.policy.remedies else ()
    return Settled(
        begun_s=begun_s,
        lasted_s={
            stage: coat.laid_s - coat.begun_s
            for stage, coat in coats.items()
            if coat.laid_s is not None
        },
        vacuumed=name in state.vacuumed,
        coved_s=coved_s(pours, old, state),
        from_s=state.now_s,
        not_before_s={"pour": pour_s, "primer": max(state.now_s, state.wait_s)},
        options=(option, *(replace(option, bays=n) for n in others if n != option.bays)),
    )


def _cold_s(old: Plan, room: RoomPlan, state: NightState) -> float:
    """When the pails of a floor are cold: as planned; where crews' hours were moved, those
    that are to go into ice yet can go there now and be stirred."""
    planned_s = room.pour_start.timestamp() - ICE_EARLY_S
    chill = next((one for one in old.chill.rooms if one.room == room.room), None)
    if chill is None or chill.in_ice_by.timestamp() <= state.now_s:
        return planned_s
    if not hours_moved(state.job, old.job):
        return planned_s
    stirred_s = (chill.needed_at - chill.in_ice_by_stirred).total_seconds()
    return min(planned_s, state.now_s + ICE_EARLY_S + stirred_s)


def coved_s(pours: RoomPours, old: Plan, state: NightState) -> float:
    """How much of the work at its cove is done by now: as ticked, or as planned."""
    name, now_s = pours.room.name, state.now_s
    if name not in [room.room for room in old.rooms]:
        return 0.0
    whole_s = sum(
        lead.lasts_s
        for task in pours.tasks
        for lead in lead_works(pours.room, pours.job, task)
        if lead.layer.kind == "cove"
    )
    calls = [call for call in old.calls if (call.room, call.stage) == (name, "cove")]
    begun = state.coved.get(name)
    if begun is not None and begun.laid_s is not None:
        return whole_s
    if begun is not None and begun.ticked:
        return min(whole_s, max(0.0, now_s - begun.begun_s))
    if begun is None and calls:
        return 0.0 if old.night is None else whole_s - _longest_s(calls)
    left_s = [
        call.last_task.timestamp() - max(now_s, call.first_task.timestamp()) for call in calls
    ]
    return max(0.0, whole_s - max([0.0, *left_s]))


def _longest_s(calls: Sequence[Call]) -> float:
    return max((call.last_task - call.first_task).total_seconds() for call in calls)


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
    regular = replace(pours, settled=Settled()).plan(option, hands)
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
