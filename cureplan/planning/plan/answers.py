"""The three answers, each with its reasons and its doubt, and what else would help."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cureplan.core.messages import Message, Value
from cureplan.inputs.job.model import Job
from cureplan.planning.odds.risk import Odds
from cureplan.planning.plan.hours import minutes
from cureplan.planning.plan.model import (
    Alternative,
    Answer,
    Call,
    ChillPlan,
    CoatPlan,
    PrimerPlan,
    RoomPlan,
)
from cureplan.planning.schedule.tried import Tried

__all__ = ["alternatives", "ice_answer", "order_answer", "way_back_answer"]

WORTH_SAYING_MIN = 0.25


LEAST_GAP = 0.01
"""Of the time until all is open, what is worth a word."""


def _gap_reason(job: Job, rooms: Sequence[RoomPlan], gap_frac: float) -> Message:
    """How much sooner, at most, another order could open."""
    whole_s = (max(room.opens for room in rooms) - job.access.begins).total_seconds()
    gap_min = gap_frac * whole_s / 60.0
    return Message("order.gap", {"gap_min": gap_min, "whole_min": whole_s / 60.0})


def order_answer(
    job: Job,
    rooms: Sequence[RoomPlan],
    calls: Sequence[Call],
    odds: Odds,
    *,
    primers: Sequence[PrimerPlan],
    gap_frac: float | None = None,
) -> Answer:
    """Which room is poured when, bucket by bucket, and when the crew must be there."""
    first = rooms[0]
    earliest = min(call.call for call in calls if call.stage == "pour")
    headline = [
        *_primer_headline(primers, calls),
        Message(
            "order.first",
            {
                "call_at": earliest.isoformat(),
                "start_at": first.pour_start.isoformat(),
                "room": first.room,
            },
        ),
    ]
    headline += [
        Message(
            "order.room" if room.margin_min >= 0 else "order.room_short",
            {
                "order": room.order,
                "room": room.room,
                "kits": room.kits,
                "start_at": room.pour_start.isoformat(),
                "end_at": room.pour_end.isoformat(),
                "margin_min": room.margin_min,
            },
        )
        for room in rooms
    ]
    tightest = min(rooms, key=lambda room: room.margin_min)
    seams = [
        reason
        for room in rooms
        if room is not tightest
        for reason in room.reasons
        if reason.code.startswith("pour.seam")
    ]
    reasons = [
        *tightest.reasons,
        *_cove_reasons(calls, ("edge", "primer")),
        *_way_out_reasons(job, rooms),
        *seams,
        *_split_reasons(job),
    ]
    if not all(room.slab_falling for room in rooms):
        rising = "; ".join(room.room for room in rooms if not room.slab_falling)
        reasons.append(Message("order.rising_slab", {"rooms": rising}))
    if gap_frac is not None and gap_frac >= LEAST_GAP:
        reasons.append(_gap_reason(job, rooms, gap_frac))
    return Answer(
        question="order and start",
        headline=tuple(headline),
        reasons=tuple(reasons),
        doubt=Message("doubt.buckets", {"keeps_frac": odds.buckets_frac}),
    )


def _primer_headline(
    primers: Sequence[PrimerPlan], calls: Sequence[Call]
) -> tuple[Message, ...]:
    if not primers:
        return ()
    called = min(call.call for call in calls if call.stage == primers[0].stage)
    values: dict[str, Value] = {
        "call_at": called.isoformat(),
        "start_at": primers[0].start.isoformat(),
        "end_at": max(primer.end for primer in primers).isoformat(),
    }
    return (Message("order.primer", values),)


def _way_out_reasons(job: Job, rooms: Sequence[RoomPlan]) -> list[Message]:
    place = {room.room: room.order for room in rooms}
    reasons = []
    for floor in place:
        behind = [
            r.name
            for r in job.rooms
            if floor in job.crossed_from(r.name) and place[r.name] < place[floor]
        ]
        if behind:
            reasons.append(
                Message("order.way_out", {"room": floor, "rooms": "; ".join(behind)})
            )
    return reasons


def _cove_reasons(calls: Sequence[Call], roles: tuple[str, ...]) -> Iterator[Message]:
    """When the cove of each room goes up, by hands of some roles."""
    for call in calls:
        if call.stage == "cove" and call.role in roles:
            values: dict[str, Value] = {
                "room": call.room,
                "call_at": call.call.isoformat(),
                "start_at": call.first_task.isoformat(),
                "end_at": call.last_task.isoformat(),
            }
            yield Message("order.cove", values)


def _split_reasons(job: Job) -> list[Message]:
    """Rooms that are poured in parts, one night after the other."""
    parts: dict[str, list[str]] = {}
    for room in job.rooms:
        if room.part_of is not None:
            parts.setdefault(room.part_of, []).append(room.name)
    return [
        Message("order.split", {"room": room, "rooms": "; ".join(names)})
        for room, names in parts.items()
    ]


def _un_iced(job: Job, margin_min: float) -> str:
    """What a room is without ice: short, tight, or not as sure as the job asks."""
    if margin_min < 0:
        return "short"
    return "tight" if 60.0 * margin_min < job.policy.margin_s else "unsure"


def ice_answer(job: Job, rooms: Sequence[RoomPlan], chill: ChillPlan) -> Answer:
    """Whether to ice the liquids, which rooms, how much, and by when."""
    iced = [room for room in rooms if room.chilled]
    if not iced or chill.in_ice_by is None:
        least = min(rooms, key=lambda room: room.margin_min)
        return Answer(
            question="ice",
            headline=(Message("ice.no", {"liquids_c": chill.liquids_as_is_c}),),
            reasons=(_no_ice_reason(job, least),),
            doubt=_ice_doubt(chill),
        )
    tightest = min(iced, key=lambda room: room.as_is_margin_min)
    gained = next(room for room in chill.rooms if room.room == tightest.room)
    whole_job = len(iced) == len(rooms)
    headline = [
        Message(
            "ice.yes_all" if whole_job else "ice.yes",
            {
                "ice_kg": chill.ice_kg,
                "in_ice_at": chill.in_ice_by.isoformat(),
                "rooms": "; ".join(room.room for room in iced),
                "kits": sum(room.kits for room in iced),
            },
        )
    ]
    reasons = [
        Message(
            f"ice.un_iced_{_un_iced(job, tightest.as_is_margin_min)}",
            {
                "room": tightest.room,
                "as_is_margin_min": tightest.as_is_margin_min,
                "policy_margin_s": job.policy.margin_s,
            },
        ),
        Message(
            "ice.buys",
            {
                "gained_min": gained.gained_min,
                "gained_bucket_min": gained.gained_bucket_min,
                "gained_floor_min": max(0.0, gained.gained_floor_min),
                "slab_c": tightest.slab_c,
            },
        ),
        Message(
            "ice.time_measured" if chill.measured else "ice.time",
            {"standing_h": chill.hours_standing, "stirred_h": chill.hours_stirred,
             "from_c": chill.liquids_as_is_c, "to_c": gained.to_c},
        ),
    ]  # fmt: skip
    if gained.sweats:
        reasons.append(Message("ice.sweats", {}))
    return Answer(
        question="ice",
        headline=tuple(headline),
        reasons=tuple(reasons),
        doubt=_ice_doubt(chill),
    )


def _no_ice_reason(job: Job, least: RoomPlan) -> Message:
    values: dict[str, Value] = {"room": least.room, "margin_min": least.margin_min}
    if least.margin_min * 60.0 >= job.policy.margin_s:
        return Message("ice.not_needed", values)
    if "chill" not in job.policy.remedies:
        return Message("ice.not_allowed", {"room": least.room})
    return Message("ice.no_help", {"room": least.room})


def _ice_doubt(chill: ChillPlan) -> Message:
    return Message("doubt.ice_measured" if chill.measured else "doubt.ice", {})


def way_back_answer(
    rooms: Sequence[RoomPlan],
    coats: Sequence[CoatPlan],
    calls: Sequence[Call],
    odds: Odds,
    *,
    unsure: tuple[Message, ...],
) -> Answer:
    """When the topcoat crew returns for each coat, and when each room may be used.

    `unsure` says first that windows are held to less than was asked, if they are.
    """
    headline = []
    for number in sorted({coat.coat for coat in coats}):
        laid = [coat for coat in coats if coat.coat == number]
        called = min(call.call for call in calls if call.stage == f"coat {number}")
        headline.append(
            Message(
                f"back.coat_{number}",
                {
                    "call_at": called.isoformat(),
                    "start_at": laid[0].lay_at.isoformat(),
                    "end_at": max(coat.end for coat in laid).isoformat(),
                    "rooms": "; ".join(coat.room for coat in laid),
                },
            )
        )
    last = max(rooms, key=lambda room: room.opens)
    headline.append(_opening(last, rooms))
    tight = min(coats, key=lambda coat: (coat.closes - coat.start).total_seconds())
    reasons = [
        Message(
            "back.tightest",
            {
                "room": tight.room,
                "coat": tight.coat,
                "opens_at": tight.opens.isoformat(),
                "closes_at": tight.closes.isoformat(),
                "spare_s": (tight.closes - tight.start).total_seconds(),
            },
        ),
        Message(
            "back.last_room",
            {
                "room": last.room,
                "open_for": f"open_for.{last.open_for}",
                "open_at": last.opens.isoformat(),
            },
        ),
    ]
    return Answer(
        question="way back",
        headline=tuple(headline),
        reasons=(*unsure, *_cove_reasons(calls, ("topcoat",)), *reasons),
        doubt=Message(
            "doubt.back",
            {"coats_frac": odds.coats_frac, "opening_frac": odds.opening_frac},
        ),
    )


def _opening(last: RoomPlan, rooms: Sequence[RoomPlan]) -> Message:
    """When all is ready, against the limit of the room that is nearest to its own."""
    spare_s, room = min(
        ((room.open_by - room.opens).total_seconds(), room.room) for room in rooms
    )
    at: dict[str, Value] = {"open_at": last.opens.isoformat()}
    own = len({room.open_by for room in rooms}) > 1
    code = "back.room" if own else "back"
    if own:
        at["room"] = room
    if spare_s < 0:
        return Message(f"{code}.opens_late", {**at, "late_s": -spare_s})
    return Message(f"{code}.opens", {**at, "spare_s": spare_s})


def alternatives(tried: Tried) -> tuple[Alternative, ...]:
    """What the job does not list, tried on the tightest floor, and what it would buy."""
    poured = tried.tightest
    found = [
        Alternative(
            what=Message(f"alternative.{what}", {}),
            also=None,
            room=poured.room,
            margin_min=minutes(margin_s),
            buys_min=minutes(margin_s - poured.margin_s),
        )
        for what, margin_s in tried.others_s
    ]
    worth = [a for a in found if a.buys_min is not None and a.buys_min >= WORTH_SAYING_MIN]
    return tuple(sorted(worth, key=lambda a: -(a.buys_min or 0.0)))
