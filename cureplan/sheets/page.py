"""The sheet for phone and print: one self-contained HTML file in every language of the job."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cureplan.plan import Plan
from cureplan.sheets import pictures, view, view_load, view_rests, view_work
from cureplan.sheets.cautions import CAUTIONS
from cureplan.sheets.page_data import ROLES, page_data
from cureplan.sheets.palette import DARK, LIGHT
from cureplan.sheets.words import Voice
from cureplan.sheets.words.clean import kept_together, one_line

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["TASKS", "Task", "sheet_html"]

TEMPLATES = Path(__file__).parent / "templates"

# In the order in which each uses the ones before.
SCRIPTS = (
    "words.js",
    "lateness.js",
    "dom.js",
    "log.js",
    "buckets.js",
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

    @property
    def classes(self) -> str:
        """Style classes by which the role switch finds the column."""
        names = [f"t-{role}" for role in self.roles]
        return " ".join(names if self.first else [*names, "not-first"])


TASKS = (
    Task(key="liquids", roles=("mixer",), first=False),
    Task(key="filler", roles=("mixer", "runner")),
    Task(key="pour", roles=("mixer", "runner", "rake", "edge")),
    Task(key="rake", roles=("rake", "smoother"), first=False),
    Task(key="smooth", roles=("smoother", "broadcaster")),
    Task(key="tie", roles=("rake", "edge", "broadcaster"), first=False),
    Task(key="broadcast", roles=("broadcaster",)),
)


def sheet_html(plan: Plan) -> str:
    """The whole sheet as HTML text.

    Not for reading by programs; `plan.json` is.

    Parameters
    ----------
    plan : Plan
        What to show.

    Returns
    -------
    str
        One document that asks the network for nothing.
    """
    environment = _environment()
    languages = plan.job.languages
    style = environment.get_template("sheet.css.j2").render(
        light=LIGHT, dark=DARK, languages=languages, roles=PICKS, footers=_footers(plan)
    )
    script = _script()
    return environment.get_template("sheet.html.j2").render(
        site=one_line(plan.job.site.name),
        languages=languages,
        sheets=[_sheet(plan, view.voice_of(plan, language)) for language in languages],
        status=view.status_key(plan),
        generic=view.generic_notice(plan),
        roles=PICKS,
        tasks=TASKS,
        style=style,
        style_hash=_sha256(style),
        script=script,
        script_hash=_sha256(script),
        data=page_data(plan),
    )


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
    if type(value) is str:
        return kept_together(value)
    return value


def _script() -> str:
    parts = [(TEMPLATES / "script" / name).read_text(encoding="utf-8") for name in SCRIPTS]
    return '(function () {\n"use strict";\n' + "\n".join(parts) + "})();\n"


def _sha256(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def _sheet(plan: Plan, voice: Voice) -> dict[str, Any]:
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
        "status_long": label(f"status.{status}.long", policy_min=plan.job.policy.margin_s / 60),
        "answers": view.answers(plan, voice),
        "warnings": [voice.say(warning) for warning in plan.warnings],
        "rooms": view.rooms(plan, voice),
        "room_of": {room.room: room for room in view.rooms(plan, voice)},
        "buckets": {
            room.room: view_work.buckets(plan, voice, room.room) for room in plan.rooms
        },
        "bucket_pictures": pictures.bucket_pictures(plan, voice),
        "pictures": [
            picture
            for picture in (
                pictures.room_picture(plan, voice),
                pictures.temperature_picture(plan, voice),
                pictures.window_picture(plan, voice),
            )
            if picture is not None
        ],
        "coats": view_work.coats(plan, voice),
        "calls": view_load.calls(plan, voice),
        "ice": view_load.ice(plan, voice),
        "ice_lines": view_load.ice_lines(plan, voice),
        "hours": view_rests.hours(plan, voice),
        "hour_rooms": [one_line(room.room) for room in plan.hours[0].rooms]
        if plan.hours
        else [],
        "load": view_load.load(plan, voice),
        "primed": plan.takeoff.primer_batches > 0,
        "load_total": view_load.load_total(plan, voice),
        "alternatives": view_rests.alternatives(plan, voice),
        "risk": view_rests.risk_lines(plan, voice),
        "sources": view_rests.sources(plan, voice),
        "cautions": CAUTIONS[voice.language],
        "role_names": {role: _role_name(voice, role) for role in PICKS},
    }


def _role_name(voice: Voice, role: str) -> str:
    return voice.label("role.all") if role == "all" else voice.word(role)


def _span(plan: Plan) -> tuple[str, str]:
    """First and last instants anybody works towards."""
    begins = [room.pour_start for room in plan.rooms] or [plan.job.access.begins]
    ends = [room.open_by for room in plan.rooms] or [plan.job.access.open_by]
    return min(begins).isoformat(), max(ends).isoformat()
