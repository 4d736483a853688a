"""What to do about a night that loses something: in ten minutes, and what would help."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from cureplan.core.messages import Message, Value
from cureplan.inputs.job.model import Crew, Job
from cureplan.planning.floor.crew import with_one_more
from cureplan.planning.floor.pour import PourPlan, RoomPours, Settled
from cureplan.planning.plan.hours import instant, minutes
from cureplan.planning.plan.model import Plan
from cureplan.planning.replan.begun import rest_of_floor
from cureplan.planning.replan.state import NightState
from cureplan.planning.schedule.placing import PlacedPour

__all__ = ["LOST", "first_minutes", "help_for_short_buckets", "when_nothing_fits"]

WORTH_MIN = 0.25
_DEAD = ("replan.edge_lost",)
LOST = "replan.ten_minutes"
"""Said ahead of what is to be done at once where something is lost."""


def first_minutes(
    plan: Plan,
    state: NightState,
    help_: list[Message],
    *,
    fast: bool,
    left_out: tuple[str, ...],
) -> list[Message]:
    """What to do before anything else where something is lost: stop, stir, call."""
    dead = [say for say in help_ if say.code == "replan.edge_lost"]
    short = {say.values["room"] for say in help_ if say.code in ("replan.short", *_DEAD)}
    stands = state.wait_s > state.now_s
    stops = [
        Message("replan.now_stop", {"room": name, "bucket": floor.done})
        for name, floor in state.floors.items()
        if 0 < floor.done < floor.room.kits
        and (stands or name in short)
        and not any(say.values["room"] == name for say in dead)
    ]
    iced = [room.room for room in plan.rooms if room.chilled and not state.done(room.room)]
    # Only kits that run fast can be warmer than ice makes them.
    stirs = iced and short and fast
    calls = [*_calls(plan, left_out, now_s=state.now_s)]
    found = [
        *dead,
        *stops,
        *([Message("replan.now_stir", {"rooms": "; ".join(iced)})] if stirs else []),
        *calls,
    ]
    # A crew that waits loses nothing by that alone.
    head = LOST if dead or short or calls else "replan.ten_minutes_wait"
    limits = _too_hot_or_cold(plan, state)
    return [*limits, Message(head, {}), *found] if found else limits


def _too_hot_or_cold(plan: Plan, state: NightState) -> list[Message]:
    """That the next bucket would land on a slab its card does not allow."""
    ahead = [b for b in plan.buckets if b.number > state.done(b.room)]
    low_c, high_c = plan.job.cards.slurry.limits.slab_c
    return [
        Message(
            "replan.now_slab",
            {
                "room": next_.room,
                "bucket": next_.number,
                "slab_c": next_.slab_c,
                "limit_c": high_c if next_.slab_c > high_c else low_c,
            },
        )
        for next_ in sorted(ahead, key=lambda bucket: bucket.pour)[:1]
        if not low_c <= next_.slab_c <= high_c
    ]


def when_nothing_fits(job: Job, state: NightState) -> tuple[Message, ...]:
    """What to do in ten minutes where no plan comes out: stop, keep off, call."""
    begun = [room.name for room in job.rooms if state.done(room.name)]
    stops = [
        Message("replan.now_stop", {"room": name, "bucket": state.floors[name].done})
        for name in begun
        if not state.floors[name].complete
    ]
    found = [
        Message("replan.nothing_fits", {}),
        Message(LOST, {}),
        *stops,
    ]
    if begun:
        found.append(Message("replan.now_keep_off", {"rooms": "; ".join(begun)}))
    if left := state.still_to_pour(job):
        found.append(Message("replan.now_call_left", {"rooms": "; ".join(left)}))
    return tuple(found)


def _calls(plan: Plan, left_out: tuple[str, ...], *, now_s: float) -> Iterator[Message]:
    """Who must hear of it now: of coats that can still go on in time."""
    late = [c for c in plan.coats if c.start > c.closes and c.closes.timestamp() > now_s]
    if late:
        first = min(late, key=lambda coat: coat.closes)
        values: dict[str, Value] = {
            "room": first.room,
            "coat": first.coat,
            "from_at": first.opens.isoformat(),
            "to_at": first.closes.isoformat(),
        }
        yield Message("replan.now_call_coats", values)
    over = [room for room in plan.rooms if room.opens > room.open_by]
    if over:
        last = max(over, key=lambda room: room.opens)
        values = {"room": last.room, "open_at": last.opens.isoformat()}
        yield Message("replan.now_call_late", values)
    if left_out:
        yield Message("replan.now_call_left", {"rooms": "; ".join(left_out)})


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
    tied_in_s = poured.start_s + poured.times.tied_in_s
    wet_s = poured.clocks.margins_s[0, 0]
    lost = [n for n in range(done) if wet_s[n] < 0 and tied_in_s[n] > state.now_s]
    if not lost:
        return []
    ends_s = float(poured.clocks.ends_s[0, 0, lost].min())
    values: dict[str, Value] = {
        "room": pours.room.name,
        "buckets": "; ".join(str(n + 1) for n in lost),
        "wet_at": instant(ends_s, pours.job.site.zone).isoformat(),
    }
    return [Message("replan.edge_lost", values)]


def _would_help(
    pours: RoomPours, poured: PlacedPour, done: int, state: NightState, before: Crew
) -> list[Message]:
    room, option, now_s = pours.room.name, poured.option, poured.clocks.margin_s[0, done:].min()
    layout = pours.plan(option).layout

    def gained_s(one: RoomPours, start_s: float, *, chilled: bool, bays: int) -> float:
        tried = replace(option, chilled=chilled, bays=bays)
        return float(one.run(tried, start_s).margin_s[0, done:].min() - now_s)

    found = []
    if option.chilled:
        found.append(Message("replan.help_ice_in", {"room": room}))
    else:
        iced_s = gained_s(
            _as(pours, pours.settled.poured, chilled=True),
            poured.start_s,
            chilled=True,
            bays=option.bays,
        )
        found += _buys("replan.help_ice", room, iced_s)
    crew = with_one_more(state.crew, "mixing")
    if done:
        floor = state.floors[room]
        rest, start_s = rest_of_floor(
            pours, floor, state, before=before, free_s=-np.inf, crew=crew
        )
        more = _as(pours, rest, chilled=option.chilled)
    else:
        job = replace(pours.job, crew=crew)
        more, start_s = replace(pours, job=job), poured.start_s
    one_more_s = gained_s(more, start_s, chilled=option.chilled, bays=option.bays)
    found += _buys("replan.help_station", room, one_more_s)
    begun = int(np.sum(layout.bay[:done] == layout.bay[done])) if done < layout.kits else 0
    if done and begun:
        found.append(Message("replan.help_stop", {"room": room, "bucket": done}))
    elif not done:
        bays_s = gained_s(pours, poured.start_s, chilled=option.chilled, bays=option.bays + 1)
        found += _buys("replan.help_bays", room, bays_s)
    return found


def _as(pours: RoomPours, plan: PourPlan | None, *, chilled: bool) -> RoomPours:
    """The floor in a begun rhythm, its kits as they are or iced."""
    if plan is None:
        return pours
    iced = replace(plan, option=replace(plan.option, chilled=chilled))
    return replace(pours, settled=Settled(poured=iced))


def _buys(code: str, room: str, gained_s: float) -> list[Message]:
    gained_min = minutes(gained_s)
    return (
        [Message(code, {"room": room, "buys_min": gained_min})]
        if gained_min >= WORTH_MIN
        else []
    )
