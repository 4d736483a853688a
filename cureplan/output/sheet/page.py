"""The sheet: one self-contained HTML file."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cureplan.output.charts import svg
from cureplan.output.charts.drawing import Picture, Text, bucket_picture, job_pictures
from cureplan.output.charts.floor_map import map_picture
from cureplan.output.charts.palette import DARK, LIGHT
from cureplan.output.language import Voice
from cureplan.output.language.clean import kept_together, one_line
from cureplan.output.sheet.page_data import (
    ROLES,
    drawing_id,
    embedded_json,
    ordered_rooms,
    page_data,
)
from cureplan.output.view import sources, view, work
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.model import Plan

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = [
    "TASKS",
    "Served",
    "Task",
    "sheet_html",
]

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
            _sheet(
                plan, view.voice_of(plan, language, on_sheet=True), pictures[language], shared
            )
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
    for place, room in enumerate(ordered_rooms(plan)):
        map_of = map_picture(plan, room.room, voice)
        if map_of is not None:
            found[f"map-{place}"] = map_of
        found[f"clocks-{place}"] = bucket_picture(plan, room.room, voice)
    for place, picture in enumerate(job_pictures(plan, voice)):
        found[f"job-{place}"] = picture
    return found


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
    return {"id": drawing_id(name), "shapes": shapes, "texts": _by_look(texts)}


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
    return '(function () {\n"use strict";\n' + _AIRY.sub(r"\1\2", kept) + "\n})();\n"


# Regular expressions and strings as they are; signs without the spaces round them.
_AIRY = re.compile(
    r"""((?<=[(=,:&|!?\s])/(?![/*\s])(?:\\.|\[(?:\\.|[^\]\\])*\]|[^/\\\[\n])+/[a-z]*"""
    r"""|"(?:[^"\\]|\\.)*"|'(?:[^'\\]|\\.)*'|`[^`]*`)| *([-+*=<>,:;?&|{}()!]+) *"""
)


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
        "drawing": drawing_id(name),
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
