"""Buckets that a changed night leaves short, and what could still be done about each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from cureplan.core.messages import Message, Value
from cureplan.inputs.job.model import Crew
from cureplan.planning.floor.crew import with_one_more
from cureplan.planning.floor.pour import PourOption, RoomPours
from cureplan.planning.plan.hours import minutes
from cureplan.planning.replan.pours import StartedPours, rest_of_floor
from cureplan.planning.replan.state import NightState
from cureplan.planning.schedule.placing import PlacedPour

__all__ = ["help_for_short_buckets"]

WORTH_MIN = 0.25


def help_for_short_buckets(
    pours: Mapping[str, RoomPours],
    placed: Mapping[str, PlacedPour],
    state: NightState,
    *,
    before: Crew,
) -> list[Message]:
    """Say which buckets fall short, and what ice, a station or a stop line would buy."""
    found: list[Message] = []
    for name, poured in placed.items():
        done = state.floors[name].done if name in state.floors else 0
        found += _lost_edges(pours[name], poured, done, state)
        margins_s = poured.clocks.margin_s[0, done:]
        if margins_s.size and margins_s.min() < 0:
            bucket = done + int(margins_s.argmin()) + 1
            short: dict[str, Value] = {
                "room": name,
                "bucket": bucket,
                "margin_min": minutes(margins_s.min()),
            }
            found.append(Message("replan.short", short))
            found += _would_help(pours[name], poured, done, state, before)
    return found


def _lost_edges(
    pours: RoomPours, poured: PlacedPour, done: int, state: NightState
) -> list[Message]:
    """Poured buckets whose next row is still to come and would come too late."""
    tied_in_s = poured.start_s + pours.plan(poured.option).times.tied_in_s
    wet_s = poured.clocks.margins_s[0, 0]
    lost = [n for n in range(done) if wet_s[n] < 0 and tied_in_s[n] > state.now_s]
    if not lost:
        return []
    values: dict[str, Value] = {
        "room": pours.room.name,
        "buckets": ", ".join(str(n + 1) for n in lost),
        "wet_at": _iso(float(poured.clocks.ends_s[0, 0, lost].min()), pours),
    }
    return [Message("replan.edge_lost", values)]


def _iso(epoch_s: float, pours: RoomPours) -> str:
    from cureplan.planning.plan.hours import instant

    return instant(epoch_s, pours.job.site.zone).isoformat()


def _would_help(
    pours: RoomPours, poured: PlacedPour, done: int, state: NightState, before: Crew
) -> list[Message]:
    room, option, now_s = pours.room.name, poured.option, poured.clocks.margin_s[0, done:].min()
    found = []
    if option.chilled:
        found.append(Message("replan.help_ice_in", {"room": room}))
    else:
        iced = replace(option, chilled=True)
        clocks = (
            _with_option(pours, iced).run(iced, poured.start_s)
            if isinstance(pours, StartedPours)
            else pours.run(iced, poured.start_s)
        )
        found += _buys("replan.help_ice", room, float(clocks.margin_s[0, done:].min() - now_s))
    crew = with_one_more(state.crew, "mixing")
    found += _buys("replan.help_station", room, _with_crew(pours, poured, state, before, crew))
    layout = pours.plan(option).layout
    begun = int(np.sum(layout.bay[:done] == layout.bay[done])) if done < layout.kits else 0
    if done and begun:
        found.append(Message("replan.help_stop", {"room": room, "bucket": done}))
    elif not done:
        narrower = replace(option, bays=option.bays + 1)
        gained_s = float(pours.run(narrower, poured.start_s).least_s[0] - now_s)
        found += _buys("replan.help_bays", room, gained_s)
    return found


def _with_option(pours: StartedPours, option: PourOption) -> StartedPours:
    return replace(pours, kept=replace(pours.kept, option=option))


def _with_crew(
    pours: RoomPours, poured: PlacedPour, state: NightState, before: Crew, crew: Crew
) -> float:
    """Seconds that other hands would add to the least margin still to come."""
    if not isinstance(pours, StartedPours):
        run = pours.run(poured.option, poured.start_s, crew=crew)
        return float(run.least_s[0] - poured.margin_s)
    floor = state.floors[pours.room.name]
    kept, start_s = rest_of_floor(pours, floor, state, before=before, free_s=-np.inf, crew=crew)
    run = replace(pours, kept=kept).run(poured.option, start_s)
    rest = slice(floor.done, None)
    return float(run.margin_s[0, rest].min() - poured.clocks.margin_s[0, rest].min())


def _buys(code: str, room: str, gained_s: float) -> list[Message]:
    gained_min = minutes(gained_s)
    return (
        [Message(code, {"room": room, "buys_min": gained_min})]
        if gained_min >= WORTH_MIN
        else []
    )
