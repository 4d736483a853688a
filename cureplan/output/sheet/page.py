"""The sheet: one self-contained HTML file."""

from __future__ import annotations

import base64
import hashlib
import json
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cureplan.inputs.job.schema import ROOM_USES
from cureplan.inputs.tables.night_log import ROLES as LOG_ROLES
from cureplan.output.charts import svg
from cureplan.output.charts.drawing import Picture, Text, bucket_picture, job_pictures
from cureplan.output.charts.floor_map import floor_map, map_picture, patch_path
from cureplan.output.charts.palette import DARK, LIGHT
from cureplan.output.language import Voice
from cureplan.output.language.clean import kept_together, one_line
from cureplan.output.language.time_words import twice_named
from cureplan.output.view import sources, view, work
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.model import BucketPlan, Plan, plan_id

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = [
    "ROLES",
    "TASKS",
    "Served",
    "Task",
    "embedded_json",
    "page_data",
    "plan_id",
    "sheet_html",
]

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
    order = {room.room: place for place, room in enumerate(_ordered_rooms(plan))}
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
            for place, room in enumerate(_ordered_rooms(plan))
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
        "ice": [
            {
                "room": one_line(room.room),
                "key": room.room,
                "by": _down(room.in_ice_by),
                "stir": _down(room.in_ice_by_stirred),
            }
            for room in plan.chill.rooms
        ],
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


def _ordered_rooms(plan: Plan) -> list[Any]:
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
        "drawing": _drawing_id(f"map-{place}"),
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


def _words(plan: Plan, language: str) -> dict[str, str]:
    voice: Voice = voice_of(plan, language)
    words = voice.labels_under("script.")
    words |= {key: voice.label(key) for key in ("weekdays", "months")}
    roles = {"foreman", *ROLES, *(call.role for call in plan.calls)}
    roles |= {"primer"} if plan.primers else set()
    words |= {f"role.{role}": voice.word(role) for role in sorted(roles)}
    return words


TEMPLATES = Path(__file__).parent / "templates"

# In the order in which each uses the ones before.
SCRIPTS = (
    "words.js",
    "lateness.js",
    "dom.js",
    "log.js",
    "buckets.js",
    "alerts.js",
    "report.js",
    "panel.js",
    "main.js",
)
PICKS = ("all", *ROLES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One column of the bucket table and the roles that look at it."""

    key: str
    roles: tuple[str, ...]
    first: bool = True
    """Among the columns a phone shows to everybody."""


TASKS = (
    Task(key="liquids", roles=("mixer",), first=False),
    Task(key="filler", roles=("mixer", "runner")),
    Task(key="pour", roles=("mixer", "runner", "rake", "edge")),
    Task(key="rake", roles=("rake", "smoother"), first=False),
    Task(key="smooth", roles=("smoother", "broadcaster")),
    Task(key="tie", roles=("rake", "edge", "broadcaster"), first=False),
    Task(key="broadcast", roles=("broadcaster",)),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """What a sheet has besides when a desk serves it: the night's name, and a script."""

    night: str
    script: str


def sheet_html(plan: Plan, *, served: Served | None = None) -> str:
    """The whole sheet as HTML text.

    Not for reading by programs; `plan.json` is.
    """
    environment = _environment()
    languages = plan.job.languages
    pictures = {language: _pictures(plan, voice_of(plan, language)) for language in languages}
    shared = _shared(list(pictures.values()))
    style = environment.get_template("sheet.css.j2").render(
        light=LIGHT,
        dark=DARK,
        languages=languages,
        hidden_columns=_hidden_columns(),
        later_columns=_columns(lambda task: not task.first),
        roles=PICKS,
        footers=_footers(plan),
        kinds=svg.css_rules(),
    )
    script = _script() if served is None else _script(served.script)
    return environment.get_template("sheet.html.j2").render(
        site=one_line(plan.job.site.name),
        languages=languages,
        drawings=[_drawing(name, *shared[name]) for name in shared],
        sheets=[
            _sheet(plan, view.voice_of(plan, language), pictures[language], shared)
            for language in languages
        ],
        status=view.status_key(plan),
        generic=view.generic_notice(plan),
        roles=PICKS,
        tasks=TASKS,
        style=style,
        style_hash=_sha256(style),
        script=script,
        script_hash=_sha256(script),
        data=page_data(plan),
        served=None if served is None else _served_data(plan, served),
    )


def _served_data(plan: Plan, served: Served) -> str:
    voices = {language: voice_of(plan, language) for language in plan.job.languages}
    words = {language: voice.labels_under("served.") for language, voice in voices.items()}
    return embedded_json({"night": served.night, "words": words})


def _pictures(plan: Plan, voice: Voice) -> dict[str, Picture]:
    """Every picture by the name its drawing has on the page."""
    found: dict[str, Picture] = {}
    for place, room in enumerate(_ordered_rooms(plan)):
        map_of = map_picture(plan, room.room, voice)
        if map_of is not None:
            found[f"map-{place}"] = map_of
        found[f"clocks-{place}"] = bucket_picture(plan, room.room, voice)
    for place, picture in enumerate(job_pictures(plan, voice)):
        found[f"job-{place}"] = picture
    return found


def _drawing_id(name: str) -> str:
    return f"drawing-{name}"


Shared = tuple[tuple[svg.Shape, ...], tuple[Text, ...]]


def _shared(pictures: Sequence[dict[str, Picture]]) -> dict[str, Shared]:
    """What a picture shows in every language; only words differ."""
    first, *others = pictures
    found: dict[str, Shared] = {}
    for name, picture in first.items():
        everywhere = [set(other[name].drawing.texts) for other in others]
        texts = (t for t in picture.drawing.texts if all(t in other for other in everywhere))
        found[name] = svg.shapes_of(picture.drawing), tuple(texts)
    return found


def _drawing(name: str, shapes: Sequence[svg.Shape], texts: Sequence[Text]) -> dict[str, Any]:
    return {"id": _drawing_id(name), "shapes": shapes, "texts": _by_look(texts)}


def _by_look(texts: Iterable[Text]) -> list[tuple[str, str, list[Text]]]:
    """Texts of one look and anchor under one element, which says so once."""
    groups: dict[tuple[str, str], list[Text]] = {}
    for text in texts:
        groups.setdefault((text.kind, text.anchor), []).append(text)
    return [(kind, anchor, group) for (kind, anchor), group in groups.items()]


def _columns(wanted: Callable[[Task], bool]) -> list[int]:
    """Places of columns in the bucket table, from 1; the bucket's own number stands first."""
    return [place for place, task in enumerate(TASKS, start=2) if wanted(task)]


def _hidden_columns() -> dict[str, list[int]]:
    """What a role does not look at; the chance is for whoever looks at everything."""
    return {
        role: [*_columns(lambda task, role=role: role not in task.roles), len(TASKS) + 4]  # type: ignore[misc]
        for role in ROLES
    }


def _footers(plan: Plan) -> dict[str, str]:
    """What stands at the foot of every printed page, by language, as text of a style."""
    voices = [view.voice_of(plan, language) for language in plan.job.languages]
    made_at = plan.decisions.made_at.isoformat()
    site = one_line(plan.job.site.name)
    return {
        voice.language: _style_text(f"{site} · {voice.label('made', made_at=made_at)}")
        for voice in voices
    }


def _style_text(text: str) -> str:
    """A text that may stand between quotes in a style sheet; every sign but plain ones escaped.

    Examples
    --------
    >>> print(_style_text('a"b'))
    a\\22 b
    """
    return "".join(
        sign if sign == " " or (sign.isascii() and sign.isalnum()) else f"\\{ord(sign):x} "
        for sign in text
    )


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_kept_together,
        keep_trailing_newline=True,
    )


def _kept_together(value: object) -> object:
    """On a narrow screen, "3 min" and "Wed 21:40" must not be torn apart."""
    return kept_together(value) if type(value) is str else value


def _script(*more: str) -> str:
    parts = [(TEMPLATES / "script" / name).read_text(encoding="utf-8") for name in SCRIPTS]
    parts += more
    lines = (line.strip() for part in parts for line in part.splitlines())
    # What is for whoever reads the source need not travel to every phone.
    kept = "\n".join(line for line in lines if line and not line.startswith("//"))
    return '(function () {\n"use strict";\n' + kept + "\n})();\n"


def _sha256(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def _sheet(
    plan: Plan, voice: Voice, pictures: dict[str, Picture], shared: dict[str, Shared]
) -> dict[str, Any]:
    """Everything one language's part of the page shows."""
    label: Callable[..., str] = voice.label
    begins, ends = _span(plan)
    status = view.status_key(plan)
    return {
        "t": label,
        "language": voice.language,
        "dates": label("dates", from_at=begins, to_at=ends),
        "made": label("made", made_at=plan.decisions.made_at.isoformat()),
        "status_state": view.status_state(plan),
        "chance": view.chance_text(plan, voice) if plan.rooms else "",
        "weakest": view.weakest_text(plan, voice),
        "status_long": label(f"status.{status}.long", policy_min=plan.job.policy.margin_s / 60),
        "answers": view.answers(plan, voice),
        "warnings": [voice.say(warning) for warning in plan.warnings],
        "rooms": view.rooms(plan, voice),
        "room_of": {room.room: room for room in view.rooms(plan, voice)},
        "buckets": {room.room: work.buckets(plan, voice, room.room) for room in plan.rooms},
        "pictures": {
            name: _drawn(name, picture, shared[name]) for name, picture in pictures.items()
        },
        "legends": {
            name.rpartition("-")[0]: svg.legend_of(picture)
            for name, picture in sorted(pictures.items(), key=lambda item: len(item[1].legend))
        },
        "job_pictures": [name for name in pictures if name.startswith("job-")],
        "primers": work.primers(plan, voice),
        "ready": work.readiness(plan, voice),
        "coats": work.coats(plan, voice),
        "calls": sources.arrival_views(plan, voice),
        "labour": sources.labour_line(plan, voice),
        "ice": sources.ice(plan, voice),
        "ice_lines": sources.ice_lines(plan, voice),
        "hours": sources.hours(plan, voice),
        "degrees": "°F" if plan.job.display == "us" else "°C",
        "hour_rooms": [one_line(room.room) for room in plan.hours[0].rooms]
        if plan.hours
        else [],
        "load": sources.load(plan, voice),
        "order": sources.order_lines(plan, voice),
        "primed": plan.takeoff.primer_batches > 0,
        "load_total": sources.load_total(plan, voice),
        "alternatives": sources.alternatives(plan, voice),
        "risk": sources.risk_lines(plan, voice),
        "doubts": sources.doubt_rows(plan, voice),
        "best_measure": sources.best_measure(plan, voice),
        "sources": sources.sources(plan, voice),
        "cautions": voice.own.cautions,
        "role_names": {role: _role_name(voice, role) for role in PICKS},
    }


def _drawn(name: str, picture: Picture, shared: Shared) -> dict[str, Any]:
    drawing = picture.drawing
    return {
        "title": picture.title,
        "width": f"{drawing.width:g}",
        "height": f"{drawing.height:g}",
        "drawing": _drawing_id(name),
        "texts": _by_look(text for text in drawing.texts if text not in set(shared[1])),
        "legend": svg.legend_of(picture),
    }


def _role_name(voice: Voice, role: str) -> str:
    return voice.label("role.all") if role == "all" else voice.word(role)


def _span(plan: Plan) -> tuple[str, str]:
    """First and last instants anybody works towards."""
    begins = [room.pour_start for room in plan.rooms] or [plan.job.access.begins]
    ends = [room.open_by for room in plan.rooms] or [plan.job.access.open_by]
    return min(begins).isoformat(), max(ends).isoformat()
