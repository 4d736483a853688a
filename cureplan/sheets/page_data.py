"""What the sheet's script works with: instants as whole seconds, and words, as JSON.

The script adds and subtracts minutes of lateness and nothing else; whatever has to be
worked out was worked out by the planning.
"""

from __future__ import annotations

import json
import math
from datetime import datetime
from typing import Any

from cureplan.job.night_log import ROLES as LOG_ROLES
from cureplan.job.schema import ROOM_USES
from cureplan.plan import BucketPlan, Plan, plan_id
from cureplan.sheets.view import voice_of
from cureplan.sheets.words import Voice
from cureplan.sheets.words.clean import one_line
from cureplan.sheets.words.time_words import twice_named

__all__ = ["ROLES", "embedded_json", "page_data", "plan_id"]

# Those whose tasks the sheet can be narrowed to.
ROLES = ("mixer", "runner", "rake", "smoother", "broadcaster", "edge", "topcoat")
# Clocks change at full quarters of an hour.
STEP_S = 900
_SCRIPT_LABELS = ("weekdays", "months")


def embedded_json(data: Any) -> str:
    r"""JSON that may stand inside a script element.

    Examples
    --------
    >>> embedded_json("</script>")
    '"\\u003c/script\\u003e"'
    """
    text = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    # Never a tag, a comment or an entity; ASCII keeps U+2028 out as well.
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def page_data(plan: Plan) -> str:
    """The plan's instants and the script's words, as JSON for the page."""
    order = {room.room: place for place, room in enumerate(_ordered_rooms(plan))}
    data = {
        "id": plan_id(plan),
        "site": one_line(plan.job.site.name),
        "zone": plan.job.site.time_zone,
        "repeats": _repeats(plan),
        "policy_s": plan.job.policy.margin_s,
        "display": plan.job.display,
        "uses": ROOM_USES,
        "log_roles": LOG_ROLES,
        "night": _night(plan),
        "rooms": [
            {
                "name": one_line(room.room),
                "walk": _up(room.walkable),
                "key": room.room,
                "opens": _up(room.opens),
                "open_by": _down(room.open_by),
            }
            for room in _ordered_rooms(plan)
        ],
        "buckets": [_bucket(bucket, order) for bucket in plan.buckets],
        "coats": _coats(plan, order),
        "calls": _calls(plan),
        "ice": [
            {"room": one_line(room.room), "by": _down(room.in_ice_by)}
            for room in plan.chill.rooms
        ],
        "words": {language: _words(plan, language) for language in plan.job.languages},
    }
    return embedded_json(data)


def _repeats(plan: Plan) -> list[dict[str, Any]]:
    """When the wall's clock shows each time twice, and which of the two it then is."""
    zone = plan.job.site.zone
    first = min((call.call for call in plan.calls), default=plan.job.access.begins)
    last = max((room.opens for room in plan.rooms), default=plan.job.access.open_by)
    found: list[dict[str, Any]] = []
    for at_s in range(_down(first) // STEP_S * STEP_S, _up(last) + STEP_S, STEP_S):
        name = twice_named(datetime.fromtimestamp(at_s, zone))
        if not name:
            continue
        if found and (found[-1]["to"], found[-1]["name"]) == (at_s, name):
            found[-1]["to"] = at_s + STEP_S
        else:
            found.append({"from": at_s, "to": at_s + STEP_S, "name": name})
    return found


def _night(plan: Plan) -> dict[str, Any] | None:
    """Where a plan made on the night takes over: what is poured, and the log so far."""
    night = plan.night
    if night is None:
        return None
    done = {floor.room: floor.buckets for floor in night.poured}
    return {
        "follows": night.follows,
        "until": _down(night.until),
        "poured": {
            str(index): _down(bucket.pour)
            for index, bucket in enumerate(plan.buckets)
            if bucket.number <= done.get(bucket.room, 0)
        },
        "log": [
            {
                "at": _down(line.at),
                "event": line.event,
                "room": line.room or "",
                "bucket": line.bucket,
                "value": line.value,
                "note": line.note,
            }
            for line in night.log
            if line.event != "poured"
        ],
    }


def _ordered_rooms(plan: Plan) -> list[Any]:
    return sorted(plan.rooms, key=lambda room: room.order)


def _down(instant: datetime) -> int:
    return math.floor(instant.timestamp())


def _up(instant: datetime) -> int:
    return math.ceil(instant.timestamp())


def _bucket(bucket: BucketPlan, order: dict[str, int]) -> dict[str, Any]:
    return {
        "room": order[bucket.room],
        "number": bucket.number,
        "station": bucket.station,
        "iced": bucket.chilled,
        "margin_s": math.floor(bucket.margin_min * 60 + 1e-6),
        "liquids": _down(bucket.liquids_in),
        "filler": _down(bucket.filler_in),
        "pour": _down(bucket.pour),
        "rake": _down(bucket.raked_by),
        "smooth": _down(bucket.smoothed_by),
        "tie": None if bucket.tied_in is None else _down(bucket.tied_in),
        "broadcast": _down(bucket.broadcast_by),
        "wet_end": _down(bucket.wet_edge_end),
        "work_end": _down(bucket.working_time_end),
        "stone_end": _down(bucket.broadcast_end),
    }


def _coats(plan: Plan, order: dict[str, int]) -> list[dict[str, Any]]:
    return [
        {
            "room": order[coat.room],
            "coat": coat.coat,
            "opens": _up(coat.opens),
            "closes": _down(coat.closes),
            "start": _up(coat.lay_at),
            "end": _up(coat.end),
        }
        for coat in sorted(plan.coats, key=lambda coat: coat.start)
    ]


def _calls(plan: Plan) -> list[dict[str, Any]]:
    return [
        {
            "role": call.role,
            "people": call.people,
            "room": one_line(call.room),
            "stage": call.stage,
            "call": _down(call.call),
            "first": _down(call.first_task),
        }
        for call in sorted(plan.calls, key=lambda call: call.call)
    ]


def _words(plan: Plan, language: str) -> dict[str, str]:
    voice: Voice = voice_of(plan, language)
    words = voice.labels_under("script.")
    words |= {key: voice.label(key) for key in _SCRIPT_LABELS}
    roles = {*ROLES, *(call.role for call in plan.calls)}
    words |= {f"role.{role}": voice.word(role) for role in sorted(roles)}
    return words
