"""What-ifs side by side, as a table for a terminal and as JSON."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from cureplan.job.model import Job
from cureplan.quantities import format_mass, format_temperature_difference
from cureplan.schedule.compare import ComparedRow
from cureplan.sheets.text_table import Column, table_lines
from cureplan.sheets.words import Voice
from cureplan.sheets.words.clean import one_line

__all__ = ["compare_json", "compare_text"]

SHAPES = {"within policy": "●", "short of policy": "◆", "no feasible plan": "▲"}
NARROWEST = 60
NOTE = (
    "● keeps the job's policy, ◆ falls short of it, ▲ no plan. Margin is the least of any "
    "bucket on the expected night; Holds is how often everything holds: buckets, coats, "
    "opening. Each row is a plan of its own, which may need fewer remedies where it has more "
    "time in hand."
)


def compare_text(job: Job, rows: Sequence[ComparedRow], *, width: int) -> str:
    """One row per variant, and below the table why some have no plan.

    Parameters
    ----------
    job : Job
        For its zone and units.
    rows : sequence of ComparedRow
        The job as it is first.
    width : int
        Columns of the terminal; below 60 it is laid out for 60.

    Returns
    -------
    str
    """
    width = max(NARROWEST, width)
    voice = _voice(job)
    labels = [_label(row, job) for row in rows]
    lines = [f"{one_line(job.site.name)}: what if", ""]
    lines += table_lines(_columns(rows, labels, job, voice), width)
    for row, label in zip(rows, labels, strict=True):
        if row.why is not None:
            lines += ["", *textwrap.wrap(f"▲ {label}: {one_line(row.why)}", width)]
    lines += ["", *textwrap.wrap(NOTE, width)]
    return "\n".join(lines)


def compare_json(job: Job, rows: Sequence[ComparedRow]) -> str:
    """The same as JSON, in minutes, kg and K, instants with the site's offset."""
    data = {"site": job.site.name, "rows": [_row_data(row, job) for row in rows]}
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


def _columns(
    rows: Sequence[ComparedRow], labels: Sequence[str], job: Job, voice: Voice
) -> list[Column]:
    named = [f"{SHAPES[row.status]} {label}" for row, label in zip(rows, labels, strict=True)]

    def column(title: str, show: Callable[[ComparedRow], str], **how: Any) -> Column:
        cells = tuple("-" if row.why is not None else show(row) for row in rows)
        return Column(title=title, cells=cells, **how)

    return [
        Column(title="", cells=tuple(named)),
        column("Margin", lambda row: _margin(row.least_margin_min or 0.0), right=True),
        column("Tightest", lambda row: one_line(row.tightest or ""), rank=4, shrinks=True),
        column("Bays", lambda row: _bays(row.most_bays or 1), rank=3, right=True),
        column("Iced", _iced, rank=2),
        column("Ice", lambda row: format_mass(row.ice_kg or 0.0, job.display), right=True),
        column("First pour", lambda row: _at(row.first_pour, voice, ""), rank=5),
        column("Opens", lambda row: _at(row.opens, voice, "up")),
        column("People", lambda row: str(row.people), right=True, rank=1),
        column("Calls", lambda row: str(row.call_outs), right=True, rank=1),
        column("Holds", _holds, right=True),
    ]


def _at(instant: datetime | None, voice: Voice, spec: str) -> str:
    return "-" if instant is None else voice.at(instant, spec)


def _voice(job: Job) -> Voice:
    return Voice(language="en", display=job.display, zone=job.site.zone)


def _margin(margin_min: float) -> str:
    """To a tenth of a minute, rounded down."""
    return f"{math.floor(margin_min * 10 + 1e-6) / 10:.1f} min"


def _bays(most: int) -> str:
    return "1" if most == 1 else f"up to {most}"


def _iced(row: ComparedRow) -> str:
    if not row.iced_rooms:
        return "no room"
    return "every room" if row.iced_rooms == row.rooms else f"{row.iced_rooms} of {row.rooms}"


def _holds(row: ComparedRow) -> str:
    share = 0.0 if row.all_keep_frac is None else row.all_keep_frac
    return f"{math.floor(share * 100 + 1e-9)} %"


def _label(row: ComparedRow, job: Job) -> str:
    if row.vary is None:
        return "As the job says"
    if row.vary == "start" and isinstance(row.value, float | int):
        way = "earlier" if row.value < 0 else "later"
        return f"Start {abs(row.value):g} h {way}"
    if row.vary == "ice":
        return {
            "never": "No ice",
            "where needed": "Ice where needed",
            "every room": "Ice in every room",
        }[str(row.value)]
    if row.vary == "stations":
        return f"{row.value} station{'' if row.value == 1 else 's'}"
    if row.vary == "people":
        return f"One more: {_voice(job).word(str(row.value)).lower()}"
    way = "colder" if row.shift_k < 0 else "warmer"
    tail = min(float(row.value or 0.0), 1.0 - float(row.value or 0.0))
    size = format_temperature_difference(abs(row.shift_k), job.display)
    return f"{size} {way} (1 in {round(1 / tail)})"


def _row_data(row: ComparedRow, job: Job) -> dict[str, Any]:
    zone = job.site.zone

    def instant(value: datetime | None) -> str | None:
        return None if value is None else value.astimezone(zone).isoformat()

    return {
        "vary": row.vary,
        "value": row.value,
        "shift_k": round(row.shift_k, 3),
        "what": _label(row, job),
        "status": row.status,
        "why": row.why,
        "first_pour": instant(row.first_pour),
        "least_margin_min": row.least_margin_min,
        "tightest": row.tightest,
        "iced_rooms": row.iced_rooms,
        "most_bays": row.most_bays,
        "opens": instant(row.opens),
        "people": row.people,
        "call_outs": row.call_outs,
        "ice_kg": row.ice_kg,
        "all_keep_frac": row.all_keep_frac,
    }
