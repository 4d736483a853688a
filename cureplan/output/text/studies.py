"""What-ifs and past summers in the terminal."""

from __future__ import annotations

import json
import math
import statistics
import textwrap
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

from cureplan.core.quantities import (
    format_mass,
    format_temperature,
    format_temperature_difference,
    format_working_time,
)
from cureplan.inputs.job.model import Job
from cureplan.output.language import MOST_CERTAIN, Voice
from cureplan.output.language.clean import one_line
from cureplan.output.language.time_words import clock_text
from cureplan.output.text.terminal import SHAPES, Column, table_lines
from cureplan.output.view.view import verdict_state
from cureplan.planning.studies.compare import ComparedRow
from cureplan.planning.studies.seasons import SURE_HISTORY_S, Night, PastMonth, Tally, tally

__all__ = [
    "compare_json",
    "compare_text",
    "seasons_json",
    "seasons_text",
    "simplifications",
]

NARROWEST = 60
NOTE = (
    f"{SHAPES['kept']} keeps the job's policy, {SHAPES['tight']} falls short of it, "
    f"{SHAPES['short']} loses a bucket on the expected night, or has no plan. Margin is the "
    "least of any bucket on the expected night; Holds is how often everything holds: buckets, "
    "coats, the ends of shifts, the cards' temperatures, opening. Each row is a plan of its "
    "own, which may need fewer remedies where it has more time in hand."
)


def compare_text(job: Job, rows: Sequence[ComparedRow], *, width: int) -> str:
    """One row per variant, and below the table why some have no plan."""
    width = max(NARROWEST, width)
    voice = _voice(job)
    labels = [_label(row, job) for row in rows]
    lines = [f"{one_line(job.site.name)}: what if", ""]
    lines += table_lines(_columns(rows, labels, job, voice), width)
    for row, label in zip(rows, labels, strict=True):
        if row.why is not None:
            head, *rest = row.why.strip().splitlines()
            lines += ["", *textwrap.wrap(f"{_shape(row)} {label}: {one_line(head)}", width)]
            for line in rest:
                lines += textwrap.wrap(one_line(line), width, subsequent_indent="  ")
    lines += ["", *textwrap.wrap(NOTE, width)]
    return "\n".join(lines)


def compare_json(job: Job, rows: Sequence[ComparedRow]) -> str:
    """The same as JSON, in minutes, kg and K, instants with the site's offset."""
    data = {"site": job.site.name, "rows": [_row_data(row, job) for row in rows]}
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


def _columns(
    rows: Sequence[ComparedRow], labels: Sequence[str], job: Job, voice: Voice
) -> list[Column]:
    named = [f"{_shape(row)} {label}" for row, label in zip(rows, labels, strict=True)]

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


def _shape(row: ComparedRow) -> str:
    """The row's verdict, in the shape that its plan bears."""
    return SHAPES[verdict_state(row.status, row.least_margin_min or 0.0)]


def _at(instant: datetime | None, voice: Voice, spec: str) -> str:
    return "-" if instant is None else voice.at(instant, spec)


def _voice(job: Job) -> Voice:
    return Voice(language="en", display=job.display, clock=job.clock, zone=job.site.zone)


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
    # As a plan says it: counted over nights drawn, nothing is certain.
    share = 0.0 if row.all_keep_frac is None else min(MOST_CERTAIN, row.all_keep_frac)
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


NARROWEST_SEASONS = 60
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def seasons_text(job: Job, month: PastMonth, *, width: int, missing: Sequence[int] = ()) -> str:
    """A line per year and the total, then what was simplified."""
    width = max(NARROWEST_SEASONS, width)
    name = MONTHS[month.month - 1]
    every = [night for year in month.years for night in year.nights]
    total = tally(every, required_s=month.required_s)
    nights = f"{name} night{'' if total.known == 1 else 's'}"
    answer = (
        f"Of {total.known} {nights} in {len(month.years)} "
        f"year{'' if len(month.years) == 1 else 's'}, this job's pours would have held on "
        f"{total.without_ice} without ice and on {total.with_ice} with it."
    )
    lines = [f"{one_line(job.site.name)}: {name} nights of past years", ""]
    if month.asked_years is not None and len(month.years) < month.asked_years:
        answer += f" Of the {month.asked_years} years asked for, no more could be had."
    if missing:
        answer += f" Not to be had: {', '.join(str(year) for year in missing)}."
    lines += [*textwrap.wrap(answer, width), ""]
    lines += [
        *table_lines(_season_columns(job, month, total), width),
        "",
        "How this was counted:",
    ]
    for text in simplifications(job, month):
        lines += _item(text, width)
    lines += ["", "Weather:"]
    for source in dict.fromkeys(source for year in month.years for source in year.sources):
        lines += _item(one_line(source), width)
    return "\n".join(lines)


def seasons_json(job: Job, month: PastMonth) -> str:
    """Every night with its margins as JSON, in minutes and °C, instants with offset."""
    zone = job.site.zone
    data = {
        "site": job.site.name,
        "month": month.month,
        "asked_years": month.asked_years,
        "required_margin_min": month.required_s / 60.0,
        "planned_for": month.planned_for.astimezone(zone).isoformat(),
        "own_weather": month.own_weather,
        "starts": [
            {
                "room": start.room,
                "after_s": start.after_s,
                "clock": _clock(start.after_s, job, "24 h"),
            }
            for start in month.starts
        ],
        "years": [
            {
                "year": year.year,
                **_tally_data(tally(year.nights, required_s=month.required_s)),
                "sources": list(year.sources),
                "nights": [_night_data(night, job) for night in year.nights],
            }
            for year in month.years
        ],
        "total": _tally_data(
            tally(
                [night for year in month.years for night in year.nights],
                required_s=month.required_s,
            )
        ),
        "simplified": list(simplifications(job, month)),
    }
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


def simplifications(job: Job, month: PastMonth) -> tuple[str, ...]:
    """What the count leaves out or takes for granted, in plain words."""
    rooms = ", ".join(
        f"{one_line(start.room)} {_clock(start.after_s, job)}" for start in month.starts
    )
    night = f"{month.planned_for.astimezone(job.site.zone):%a %d %b %Y}"
    whose = "the job's own night" if month.own_weather else "the middle one of these nights"
    stored_c = job.materials.storage_c
    stored = "Kits are stored at the room's air of each night."
    if stored_c is not None:
        stored = (
            f"Kits are stored at {format_temperature(stored_c, job.display)} on every night, "
            'as the job says; write storage = "room" to let them follow the weather.'
        )
    return (
        f"Every night takes the starts of the plan for {night}, {whose}: {rooms}. No night "
        "waits for another hour.",
        f"A night holds when every room keeps {format_working_time(month.required_s)} on the "
        f"expected batch and loses nothing in {job.policy.confidence:.0%} of batches; the "
        "weather is the one observed.",
        "As it is: no ice, one bay. Without ice: the job's other remedies where needed. With "
        "ice: the same, every room iced.",
        "Pours alone are judged: coats, dew point and opening are not.",
        "Readings of slab and liquids belong to the job's own night and are left out.",
        stored,
        f"A night counts only where every hour is known from {SURE_HISTORY_S / 3600:.0f} h "
        "before it until its last pour.",
    )


def _season_columns(job: Job, month: PastMonth, total: Tally) -> list[Column]:
    counts = [tally(year.nights, required_s=month.required_s) for year in month.years]
    everything = [*counts, total]
    years = (*(str(year.year) for year in month.years), "Total")

    def cells(name: str) -> tuple[str, ...]:
        return tuple(str(getattr(count, name)) for count in everything)

    nights = [year.nights for year in month.years]
    nights.append(tuple(night for year in month.years for night in year.nights))
    temps = tuple(_middle_temp(some, job) for some in nights)
    columns = [
        Column(title="Year", cells=years),
        Column(title="Nights", cells=cells("known"), right=True),
        Column(title="Hold as it is", cells=cells("as_is"), right=True, rank=1),
        Column(title="Hold without ice", cells=cells("without_ice"), right=True),
        Column(title="Hold with ice", cells=cells("with_ice"), right=True),
        Column(title="Outdoors, middle", cells=temps, right=True, rank=2),
    ]
    if total.unknown:
        columns.append(Column(title="Not known", cells=cells("unknown"), right=True))
    return columns


def _middle_temp(nights: tuple[Night, ...], job: Job) -> str:
    known = [night.outdoor_c for night in nights if night.known]
    return format_temperature(statistics.median(known), job.display) if known else "-"


def _clock(after_s: float, job: Job, clock: str = "") -> str:
    begins = job.access.begins.astimezone(job.site.zone).replace(tzinfo=None)
    at: datetime = begins + timedelta(seconds=after_s)
    days = (at.date() - begins.date()).days
    # Small hours belong to the night that began the evening before.
    same_night = days == 0 or (days == 1 and at.hour < 12)
    shown = clock_text(at.hour, at.minute, clock or job.clock)
    return shown if same_night else f"{shown} +{days} d"


def _item(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent="- ", subsequent_indent="  ")


def _tally_data(count: Tally) -> dict[str, int]:
    return {
        "nights": count.known,
        "not_known": count.unknown,
        "hold_as_is": count.as_is,
        "hold_without_ice": count.without_ice,
        "hold_with_ice": count.with_ice,
    }


def _night_data(night: Night, job: Job) -> dict[str, Any]:
    def minutes(seconds: float) -> float | None:
        return None if math.isnan(seconds) else round(seconds / 60.0, 2)

    return {
        "begins": night.begins.astimezone(job.site.zone).isoformat(),
        "known": night.known,
        "outdoor_c": None if math.isnan(night.outdoor_c) else round(night.outdoor_c, 2),
        "as_is_min": minutes(night.as_is_s),
        "without_ice_min": minutes(night.without_ice_s),
        "with_ice_min": minutes(night.with_ice_s),
    }
