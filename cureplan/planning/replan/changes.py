"""What a new plan says it has learnt, and what it changes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from statistics import NormalDist

import numpy as np

from cureplan.core.messages import Message, Value
from cureplan.inputs.tables.night_log import WAITS, NightEvent
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.planning.plan.hours import instant
from cureplan.planning.plan.model import (
    BucketPlan,
    CoatPlan,
    Night,
    NightLine,
    NightPoured,
    NightSlab,
    Plan,
    RoomPlan,
    plan_id,
)
from cureplan.planning.replan.estimate import OTHER_PART, NightReadings
from cureplan.planning.replan.job import BatchRate
from cureplan.planning.replan.state import NightState
from cureplan.planning.schedule.placing import crew_spans
from cureplan.science.learning.tonight import NightFit

__all__ = [
    "changes_of",
    "hour_off",
    "log_of",
    "night_of",
    "past_shift",
    "runs_fast",
]


def night_of(
    old: Plan,
    new: Plan,
    state: NightState,
    readings: NightReadings,
    changes: tuple[Message, ...],
    *,
    rate: BatchRate,
    conditions: Mapping[str, RoomConditions],
    left_out: Sequence[str],
) -> Night:
    """What was learned and poured; its log is added apart."""
    fit = readings.fit
    low, high = fit.speed_interval(confidence=0.9)
    return Night(
        until=instant(state.now_s, new.job.site.zone),
        readings=fit.readings,
        speed=round(fit.speed, 4),
        speed_low=round(low, 4),
        speed_high=round(high, 4),
        slab=tuple(
            NightSlab(
                room=room,
                warmer_k=round(readings.slab_k(room), 2),
                sd_k=round(readings.slab_sd_k(room), 2),
                warm_parts=here.warm_parts if here else (),
                half_sd_k=here.half_sd_k if here else None,
            )
            for room, here in zip(
                readings.rooms, map(conditions.get, readings.rooms), strict=True
            )
        ),
        left_out=tuple(left_out),
        changes=changes,
        rate_factor=rate.rate_factor,
        card_doubt_frac=rate.card_doubt_frac,
        batch_doubt_frac=rate.batch_doubt_frac,
        follows=plan_id(old),
        poured=tuple(
            NightPoured(room=name, buckets=floor.done, assumed=floor.assumed)
            for name, floor in state.floors.items()
            if floor.done
        ),
    )


def log_of(old: Plan, events: Sequence[NightEvent]) -> tuple[NightLine, ...]:
    """What earlier plans of the night used, and what this one does; no line twice."""
    lines = list(old.night.log) if old.night is not None else []
    known = {(line.event, line.room, line.bucket, line.value, line.at) for line in lines}
    for event in events:
        if (event.event, event.room, event.bucket, event.value, event.at) in known:
            continue
        lines.append(
            NightLine(
                at=event.at,
                event=event.event,
                room=event.room,
                bucket=event.bucket,
                value=event.value,
                note=event.note,
            )
        )
    return tuple(sorted(lines, key=lambda line: line.at))


WORTH_K = 0.3
WORTH_FRAC = 0.01
WORTH_MOVE_S = 60.0
WORTH_COAT_S = 600.0
WORTH_MIN = 0.5
NINE_IN_TEN = NormalDist().inv_cdf(0.95)


def changes_of(
    old: Plan,
    new: Plan,
    state: NightState,
    readings: NightReadings,
    events: Sequence[NightEvent],
    *,
    left_out: Sequence[str],
) -> list[Message]:
    """Say what changed and why; what to do about short buckets is said elsewhere."""
    off = hour_off(old, events)
    return [
        *([off] if off is not None else []),
        *_next(new, state),
        *(Message("replan.left_out", {"room": room}) for room in left_out),
        *_learned(new, readings),
        *_reported(new, state, events),
        *_into_ice_now(old, new, state),
        *_coats(old, new, state),
        *_margins(old, new, state),
        *_reordered(old, new),
        *_moved(old, new, state),
        *_seams(old, new),
        *_past_shift(new, state),
        *_way_back(old, new),
        *(
            Message("replan.assumed", {"room": name, "buckets": _numbers(floor.assumed)})
            for name, floor in state.floors.items()
            if floor.assumed
        ),
    ]


def _numbers(numbers: Sequence[int]) -> str:
    """1, 2, 3, 7 as "1-3; 7", the last of which a voice puts an "and" before.

    Examples
    --------
    >>> _numbers([1, 2, 3, 7])
    '1-3; 7'
    """
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return "; ".join(str(p[0]) if len(p) == 1 else f"{p[0]}-{p[-1]}" for p in parts)


def _remaining(plan: Plan, state: NightState, room: str) -> list[BucketPlan]:
    done = state.floors[room].done if room in state.floors else 0
    return [bucket for bucket in plan.buckets_of(room) if bucket.number > done]


def _next(new: Plan, state: NightState) -> list[Message]:
    waiting = [b for room in new.rooms for b in _remaining(new, state, room.room)]
    if not waiting:
        to_come = [coat for coat in new.coats if coat.start.timestamp() > state.now_s]
        coats = sorted(to_come, key=_start)[:1]
        return [
            *(
                Message(
                    "replan.next_coat",
                    {"room": c.room, "coat": c.coat, "start_at": c.lay_at.isoformat()},
                )
                for c in coats
            ),
            Message("replan.all_poured", {}),
        ]
    first = min(waiting, key=lambda bucket: bucket.pour)
    values: dict[str, Value] = {
        "room": first.room,
        "bucket": first.number,
        "mix_at": first.liquids_in.isoformat(),
        "pour_at": first.pour.isoformat(),
    }
    primers = [p for p in new.primers if state.now_s < p.start.timestamp()]
    primers = sorted((p for p in primers if p.start < first.pour), key=lambda p: p.start)
    return [
        *(
            Message("replan.next_primer", {"room": p.room, "start_at": p.start.isoformat()})
            for p in primers[:1]
        ),
        Message("replan.next", values),
    ]


def _learned(new: Plan, readings: NightReadings) -> list[Message]:
    fit = readings.fit
    if fit.readings == 0:
        return [Message("replan.no_readings", {})]
    return [*_batch(fit), *_drift(readings), *_slabs(new, readings), *_slopes(new, readings)]


def _batch(fit: NightFit) -> list[Message]:
    """How tonight's kits run, where a bucket was read."""
    if not fit.now_h:
        return []
    doubt_frac = float(fit.speed * np.expm1(NINE_IN_TEN * fit.ln_speed_sd))
    faster_frac = fit.speed - 1.0
    code = "replan.as_card"
    if abs(faster_frac) >= WORTH_FRAC:
        code = "replan.faster" if faster_frac > 0 else "replan.slower"
    # To the percent here: shares are otherwise shown rounded down.
    found = [
        Message(
            code,
            {
                "readings": fit.readings,
                "off_frac": round(abs(faster_frac), 2),
                "doubt_frac": max(0.01, round(doubt_frac, 2)),
            },
        )
    ]
    if abs(fit.kit_k) >= WORTH_K:
        code = "replan.kits_warmer" if fit.kit_k > 0 else "replan.kits_cooler"
        found.append(Message(code, {"off_k": round(abs(fit.kit_k), 1)}))
    return found


def runs_fast(fit: NightFit) -> bool:
    """Whether kits were seen faster or warmer than planned."""
    return fit.speed - 1.0 >= WORTH_FRAC or fit.kit_k >= WORTH_K


def _drift(readings: NightReadings) -> list[Message]:
    """That the kits run faster or slower as the night goes on, where that is clear."""
    per_h = readings.fit.drift_per_h
    if not per_h:
        return []
    code = "replan.quickens" if per_h > 0 else "replan.slows"
    rate_frac = max(0.01, round(abs(float(np.expm1(per_h))), 2))
    return [Message(code, {"rate_frac": rate_frac})]


def _slopes(new: Plan, readings: NightReadings) -> list[Message]:
    """Floors one half of which is clearly warmer than the other."""
    found = []
    for room in [r.room for r in new.rooms if r.room in readings.rooms]:
        warmer_k, parts = readings.slope_k(room), readings.parts_of(room)
        if abs(warmer_k) < WORTH_K:
            continue
        half, *other = parts if warmer_k > 0 else (OTHER_PART[part] for part in parts)
        values: dict[str, Value] = {"room": room, "off_k": round(abs(warmer_k), 1)}
        values["half"] = f"half.{half}"
        if other:
            found.append(Message("replan.either_half", {**values, "other": f"half.{other[0]}"}))
        else:
            found.append(Message("replan.half_warmer", values))
    return found


HOUR_S = 3600.0


def hour_off(plan: Plan, events: Sequence[NightEvent]) -> Message | None:
    """A word on the clock, where every line of a log lies an hour off the plan.

    The crew may be late besides, where the lines keep step. A crew that began an hour late
    writes the same log, so this is a question.
    """
    planned = {(b.room, b.number): b.pour.timestamp() for b in plan.buckets}
    off_s = [
        event.at.timestamp() - planned[event.room, event.bucket]
        for event in events
        if event.event == "poured"
        and event.room is not None
        and event.bucket is not None
        and (event.room, event.bucket) in planned
    ]
    near_s = plan.rules.clock_near_s
    if len(off_s) < 2 or min(off_s) * max(off_s) < 0:
        return None
    middle_s = float(np.median(off_s))
    late_s = middle_s - math.copysign(HOUR_S, middle_s)
    spread_s = max(abs(off - middle_s) for off in off_s)
    near = abs(late_s) <= near_s and spread_s <= 2 * near_s
    in_step = -near_s <= late_s <= 2.5 * near_s and spread_s <= near_s / 2
    if not near and not in_step:
        return None
    now = events[-1].at.astimezone(plan.job.site.zone)
    code = "replan.hour_late" if middle_s > 0 else "replan.hour_early"
    return Message(code, {"zone": now.tzname() or plan.job.site.time_zone, "lines": len(off_s)})


def _slabs(new: Plan, readings: NightReadings) -> list[Message]:
    """Slabs that moved; rooms that moved alike share a line."""
    alike: dict[tuple[float, float, bool], list[str]] = {}
    for room in [r.room for r in new.rooms if r.room in readings.rooms]:
        shift_k = readings.slab_k(room)
        if abs(readings.slope_k(room)) >= WORTH_K:
            # What one half is off besides is said of that half.
            shift_k = min(readings.halves_k(room), key=abs)
        shift_k = round(shift_k, 1)
        if abs(shift_k) >= WORTH_K:
            doubt_k = round(NINE_IN_TEN * readings.slab_sd_k(room), 1)
            alike.setdefault((shift_k, doubt_k, room in readings.read_in), []).append(room)
    return [
        Message(
            "replan.slab_warmer" if shift_k > 0 else "replan.slab_cooler",
            {
                "room": "; ".join(rooms),
                "off_k": abs(shift_k),
                "doubt_k": doubt_k,
                "basis": "read" if own else "inferred",
            },
        )
        for (shift_k, doubt_k, own), rooms in alike.items()
    ]


def _reported(new: Plan, state: NightState, events: Sequence[NightEvent]) -> list[Message]:
    found = []
    kits = {room.room: room.kits for room in new.rooms}
    halted = {event.role or "station" for event in state.halted}
    for what in sorted(halted):
        until = instant(state.wait_s, new.job.site.zone)
        values: dict[str, Value] = {"what": what, "until_at": until.isoformat()}
        values["event"] = WAITS
        found.append(Message("replan.halted", values))
    if "station" not in halted and any(event.event == "drill down" for event in events):
        found.append(Message("replan.stations", {"stations": state.crew.stations}))
    for role in dict.fromkeys(e.role for e in events if e.role and e.role not in halted):
        people = int(getattr(state.crew, role))
        found.append(Message("replan.short_of", {"role": role, "people": people}))
    if state.wait_s > state.now_s and not halted:
        until = max(event.until for event in events if event.until is not None)
        found.append(Message("replan.wait", {"until_at": until.isoformat()}))
    found += _moved_hours(events)
    found += _spoiled(events, "ran short", "replan.ran_short")
    found += _spoiled(events, "lost", "replan.lost")
    found += [Message("replan.dropped", {"room": room}) for room in state.dropped]
    for added in state.added:
        values = {"room": added.name, "kits": kits.get(added.name, 0)}
        found.append(
            Message("replan.added" if added.way_out else "replan.added_no_way", values)
        )
    return found


def _into_ice_now(old: Plan, new: Plan, state: NightState) -> list[Message]:
    """Floors whose pails were to go into ice later, and would not be cold standing there."""
    later = {one.room for one in old.chill.rooms if one.in_ice_by.timestamp() > state.now_s}
    rooms = [
        one.room
        for one in new.chill.rooms
        if one.room in later and one.in_ice_by.timestamp() < state.now_s
    ]
    return [Message("replan.ice_now", {"rooms": "; ".join(rooms)})] if rooms else []


def _moved_hours(events: Sequence[NightEvent]) -> list[Message]:
    """Shifts, openings and stays as the log has moved them."""
    found = []
    for event in events:
        if event.shift_at is not None:
            values: dict[str, Value] = {"shift": event.event}
            values["shift_at"] = event.shift_at.isoformat()
            found.append(Message("replan.shift", values))
        elif event.opens_at is not None:
            values = {"open_at": event.opens_at.isoformat()}
            code = "replan.opens" if event.room is None else "replan.room_opens"
            room: dict[str, Value] = {} if event.room is None else {"room": event.room}
            found.append(Message(code, {**room, **values}))
        elif event.more_s is not None:
            found.append(Message("replan.stays", {"more_s": event.more_s}))
    return found


def _coats(old: Plan, new: Plan, state: NightState) -> list[Message]:
    """Coats as they were ticked, and those that were to be begun and are not."""
    planned = {(coat.room, coat.coat): coat for coat in old.coats}
    found = []
    for coat in new.coats:
        known, was = (
            state.coats.get((coat.room, coat.coat)),
            planned.get((coat.room, coat.coat)),
        )
        values: dict[str, Value] = {"room": coat.room, "coat": coat.coat}
        if known is not None and known.ticked:
            values |= {"begun_at": coat.start.isoformat(), "done_at": coat.end.isoformat()}
            found.append(Message("replan.coat_begun", values))
        elif known is None and was is not None and was.start.timestamp() <= state.now_s:
            values["planned_at"] = was.lay_at.isoformat()
            found.append(Message("replan.coat_not_begun", values))
    untold: dict[int, list[str]] = {}
    for (room, number), state_of in state.coats.items():
        if not state_of.ticked:
            untold.setdefault(number, []).append(room)
    found += [
        Message("replan.coat_assumed", {"rooms": "; ".join(rooms), "coat": number})
        for number, rooms in untold.items()
    ]
    return found


def _spoiled(events: Sequence[NightEvent], event: str, code: str) -> list[Message]:
    """Kits that did not do what was planned, room by room."""
    numbers: dict[str, list[int]] = {}
    for line in events:
        if line.event == event and line.bucket is not None:
            numbers.setdefault(str(line.room), []).append(line.bucket)
    return [
        Message(
            code, {"room": room, "buckets": _numbers(sorted(set(found))), "kits": len(found)}
        )
        for room, found in numbers.items()
    ]


def _margins(old: Plan, new: Plan, state: NightState) -> list[Message]:
    found = []
    for room in new.rooms:
        before = {b.number: b.margin_min for b in old.buckets_of(room.room)}
        rest = _remaining(new, state, room.room)
        if not rest:
            continue
        tightest = min(rest, key=lambda bucket: bucket.margin_min)
        values: dict[str, Value] = {
            "room": room.room,
            "bucket": tightest.number,
            "margin_min": tightest.margin_min,
        }
        # In another number of bays bucket 5 is another place on the floor.
        same = any(r.room == room.room and r.bays == room.bays for r in old.rooms)
        if not same or tightest.number not in before:
            continue
        change_min = tightest.margin_min - before[tightest.number]
        if abs(change_min) >= WORTH_MIN and tightest.margin_min >= 0:
            code = "replan.margin_less" if change_min < 0 else "replan.margin_more"
            found.append(Message(code, {**values, "change_min": round(abs(change_min), 2)}))
    return found


def _reordered(old: Plan, new: Plan) -> list[Message]:
    """Floors of both plans that are poured in another order than they were."""
    names = [[r.room for r in sorted(p.rooms, key=lambda r: r.order)] for p in (old, new)]
    was, now = ([n for n in names[i] if n in names[1 - i]] for i in (0, 1))
    if was == now:
        return []
    return [Message("replan.order", {"rooms": ", ".join(now)})]


def _moved(old: Plan, new: Plan, state: NightState) -> list[Message]:
    found = []
    before = {room.room: room for room in old.rooms}
    for room in new.rooms:
        if room.room not in before:
            continue
        was = before[room.room]
        if room.bays != was.bays:
            values: dict[str, Value] = {"room": room.room, "bays": room.bays, "was": was.bays}
            code = "replan.one_bay" if room.bays == 1 else "replan.bays"
            found.append(Message(code, values))
        begun = room.room in state.floors and state.floors[room.room].done > 0
        moved_s = (room.pour_start - was.pour_start).total_seconds()
        ended_s = (room.pour_end - was.pour_end).total_seconds()
        if not begun and abs(moved_s) >= WORTH_MOVE_S:
            span = (was.pour_start, room.pour_start)
            found.append(_said("replan.moved", room.room, span))
        elif begun and abs(ended_s) >= WORTH_MOVE_S:
            found.append(_said("replan.ends", room.room, (was.pour_end, room.pour_end)))
    return found


def _seams(old: Plan, new: Plan) -> list[Message]:
    """How rooms of a group meet where that is not as it was stated."""

    def stated(plan: Plan) -> dict[tuple[str, str], Message]:
        reasons = [(room.room, reason) for room in plan.rooms for reason in room.reasons]
        return {
            (str(reason.values["before"]), room): reason
            for room, reason in reasons
            if reason.code.startswith("pour.seam")
        }

    before = {pair: reason.code for pair, reason in stated(old).items()}
    return [reason for pair, reason in stated(new).items() if before.get(pair) != reason.code]


def _said(code: str, room: str, span: tuple[object, object]) -> Message:
    was, now = (at.isoformat() for at in span)  # type: ignore[attr-defined]
    return Message(code, {"room": room, "from_at": was, "to_at": now})


def past_shift(plan: Plan, room: RoomPlan) -> datetime | None:
    """End of the shift that a floor's pour runs over; None where it ends in time."""
    end_s = room.pour_end.timestamp()
    spans = crew_spans(plan.job, plan.job.crew.pour_shifts)
    if any(s.begins_s <= room.pour_start.timestamp() and end_s <= s.ends_s for s in spans):
        return None
    over = [s.ends_s for s in spans if s.ends_s < end_s]
    return instant(max(over), plan.job.site.zone) if over else None


def _past_shift(new: Plan, state: NightState) -> list[Message]:
    found = []
    for room in new.rooms:
        floor = state.floors.get(room.room)
        limit = past_shift(new, room)
        if (floor is not None and floor.complete) or limit is None:
            continue
        values: dict[str, Value] = {
            "room": room.room,
            "end_at": room.pour_end.isoformat(),
            "limit_at": limit.isoformat(),
        }
        found.append(Message("replan.past_shift", values))
    return found


def _start(coat: CoatPlan) -> datetime:
    return coat.start


def _way_back(old: Plan, new: Plan) -> list[Message]:
    found = []
    for number in (1, 2):
        was = min((c for c in old.coats if c.coat == number), key=_start, default=None)
        now = min((c for c in new.coats if c.coat == number), key=_start, default=None)
        if was is None or now is None:
            continue
        if abs((now.start - was.start).total_seconds()) >= WORTH_COAT_S:
            values: dict[str, Value] = {
                "from_at": was.lay_at.isoformat(),
                "to_at": now.lay_at.isoformat(),
            }
            found.append(Message(f"replan.coat_{number}", values))
    rolled = {primer.room: primer.start for primer in old.primers}
    found += [
        _said("replan.primer", primer.room, (rolled[primer.room], primer.start))
        for primer in new.primers
        if primer.room in rolled
        and abs((primer.start - rolled[primer.room]).total_seconds()) >= WORTH_MOVE_S
    ]
    found += [
        Message(
            "replan.primer_old",
            {
                "room": primer.room,
                "start_at": room.pour_start.isoformat(),
                "closes_at": primer.slurry_closes.isoformat(),
            },
        )
        for primer in new.primers
        for room in new.rooms
        if room.room == primer.room and room.pour_start > primer.slurry_closes
    ]
    late = [coat for coat in new.coats if coat.start > coat.closes]
    found += [
        Message(
            "replan.coat_late",
            {
                "room": c.room,
                "coat": c.coat,
                "start_at": c.start.isoformat(),
                "closes_at": c.closes.isoformat(),
            },
        )
        for c in late
    ]
    found += [
        Message(
            "replan.opens_late",
            {
                "room": room.room,
                "open_at": room.opens.isoformat(),
                "limit_at": room.open_by.isoformat(),
            },
        )
        for room in new.rooms
        if room.opens > room.open_by
    ]
    return found
