"""What the page's script knows of a plan: its instants and the words it fills in."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from datetime import datetime
from typing import Any

from cureplan.inputs.job.schema import ROOM_USES
from cureplan.inputs.tables.night_log import ROLES as LOG_ROLES
from cureplan.output.charts.floor_map import floor_map, patch_path
from cureplan.output.language import Voice
from cureplan.output.language.clean import kept_together, one_line
from cureplan.output.language.time_words import twice_named
from cureplan.output.view import work
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.arrivals import arrivals_of
from cureplan.planning.plan.model import BucketPlan, Plan, plan_id

__all__ = ["ROLES", "drawing_id", "embedded_json", "ordered_rooms", "page_data"]

# Those whose tasks the sheet can be narrowed to.
ROLES = ("mixer", "runner", "rake", "smoother", "broadcaster", "edge", "topcoat")
# Clocks change at full quarters of an hour.
STEP_S = 900


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
    order = {room.room: place for place, room in enumerate(ordered_rooms(plan))}
    ways = {room.name: room.way_out for room in plan.job.rooms}
    data = {
        "id": plan_id(plan),
        "site": one_line(plan.job.site.name),
        "zone": plan.job.site.time_zone,
        "repeats": _repeats(plan),
        "policy_s": plan.job.policy.margin_s,
        "display": plan.job.display,
        "clock": plan.job.clock,
        "rules": _rules(plan),
        "changeover_s": plan.job.crew.changeover_s,
        "uses": ROOM_USES,
        "log_roles": LOG_ROLES,
        "night": _night(plan),
        "rooms": [
            {
                "name": one_line(room.room),
                "walk": _up(room.walkable),
                "key": room.room,
                "way": [order[way] for way in ways[room.room] if way in order],
                "opens": _up(room.opens),
                "open_by": _down(room.open_by),
                "map": _map(plan, room.room, place),
            }
            for place, room in enumerate(ordered_rooms(plan))
        ],
        "buckets": _rows_of(_buckets(plan, order)),
        "coats": _coats(plan, order),
        "coves": [
            {
                "room": order[call.room],
                "who": call.role,
                "start": _up(call.first_task),
                "end": _up(call.last_task),
            }
            for call in sorted(plan.calls, key=lambda call: call.first_task)
            if call.stage == "cove"
        ],
        "primers": [
            {
                "room": order[primer.room],
                "start": _up(primer.start),
                "end": _up(primer.end),
                "opens": _up(primer.slurry_opens),
                "closes": _down(primer.slurry_closes),
            }
            for primer in sorted(plan.primers, key=lambda primer: primer.start)
        ],
        "calls": _rows_of(_calls(plan)),
        "ice": _ice(plan),
        "words": {language: _words(plan, language) for language in plan.job.languages},
    }
    return embedded_json(data)


# What the page's rows call the instants of plan.json.
_NAMES = {
    "liquids_in": "liquids",
    "filler_in": "filler",
    "raked_by": "rake",
    "smoothed_by": "smooth",
    "tied_in": "tie",
    "broadcast_by": "broadcast",
    "wet_edge_end": "wet_end",
    "working_time_end": "work_end",
    "broadcast_end": "surface_closes",
    "wet_edge": "wet",
    "working_time": "work",
    "broadcast_closes": "surface",
}


def _rules(plan: Plan) -> dict[str, Any]:
    """The plan's table of rules, by the page's own names."""

    def named(value: Any) -> Any:
        return _NAMES.get(value, value) if isinstance(value, str) else value

    rules = asdict(plan.rules)
    for table in ("tasks", "clocks"):
        rules[table] = [{key: named(v) for key, v in row.items()} for row in rules[table]]
    return rules


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


def ordered_rooms(plan: Plan) -> list[Any]:
    """Floors in the order they are poured."""
    return sorted(plan.rooms, key=lambda room: room.order)


def _down(instant: datetime) -> int:
    return math.floor(instant.timestamp())


def _up(instant: datetime) -> int:
    return math.ceil(instant.timestamp())


def _buckets(plan: Plan, order: dict[str, int]) -> list[dict[str, Any]]:
    return [
        _bucket(bucket, order) | {"by": work.met_by(plan, place)}
        for place, bucket in enumerate(plan.buckets)
    ]


# Of the page's rows: what is an instant.
INSTANTS = ("call", "first", "pour", *_NAMES.values())


def _rows_of(items: list[dict[str, Any]]) -> dict[str, Any]:
    """Many things of one kind: their names once, then a row of values each, instants
    counted from the first."""
    names = list(items[0]) if items else []
    instants = [name for name in names if name in INSTANTS]
    since = min((item[instants[0]] for item in items), default=0)

    def short(name: str, value: Any) -> Any:
        return value - since if name in instants and value is not None else value

    rows = [[short(name, value) for name, value in item.items()] for item in items]
    return {"names": names, "since": since, "instants": instants, "rows": rows}


def _map(plan: Plan, room: str, place: int) -> dict[str, Any] | None:
    """A floor's map for the live cards: its size, its drawing, each bucket's patch."""
    floor = floor_map(plan, room)
    if floor is None:
        return None
    return {
        "size": f"0 0 {floor.width:g} {floor.height:g}",
        "drawing": drawing_id(f"map-{place}"),
        "patches": [patch_path(patch) for patch in floor.patches],
    }


def _bucket(bucket: BucketPlan, order: dict[str, int]) -> dict[str, Any]:
    return {
        "bay": bucket.bay,
        "row": bucket.row,
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
        "surface_closes": _down(bucket.broadcast_end),
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
            "batches": coat.batches,
            "pot_s": math.floor(coat.batch_working_min * 60),
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


def _ice(plan: Plan) -> list[dict[str, Any]]:
    who = {
        stop.room: arrival.who
        for arrival in arrivals_of(plan)
        for stop in arrival.stops
        if stop.stage == "ice"
    }
    voices = {language: voice_of(plan, language) for language in plan.job.languages}
    return [
        {
            "room": one_line(room.room),
            "key": room.room,
            "by": _down(room.in_ice_by),
            "stir": _down(room.in_ice_by_stirred),
            "who": who.get(room.room, "foreman"),
            "load": {
                language: kept_together(
                    voice.label("ice.load", kits=room.kits, ice_kg=room.ice_kg)
                )
                for language, voice in voices.items()
            },
        }
        for room in plan.chill.rooms
    ]


def _words(plan: Plan, language: str) -> dict[str, str]:
    voice: Voice = voice_of(plan, language)
    words = voice.labels_under("script.")
    words |= {key: voice.label(key) for key in ("weekdays", "months")}
    roles = {"foreman", *ROLES, *(call.role for call in plan.calls)}
    roles |= {"primer"} if plan.primers else set()
    roles |= {"runner"} if plan.chill.rooms else set()
    words |= {f"role.{role}": voice.word(role) for role in sorted(roles)}
    return words


def drawing_id(name: str) -> str:
    """What a drawing is called among the page's own."""
    return f"drawing-{name}"
