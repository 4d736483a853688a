"""How a job would have fared on the nights of past years, as a table and as JSON."""

from __future__ import annotations

import json
import math
import statistics
import textwrap
from datetime import datetime, timedelta
from typing import Any

from cureplan.job.model import Job
from cureplan.planning.season_tally import Night, PastMonth, Tally, tally
from cureplan.planning.seasons import SURE_HISTORY_S
from cureplan.quantities import format_temperature, format_working_time
from cureplan.sheets.text_table import Column, table_lines
from cureplan.sheets.words.clean import one_line

__all__ = ["seasons_json", "seasons_text", "simplifications"]

NARROWEST = 60
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


def seasons_text(job: Job, month: PastMonth, *, width: int) -> str:
    """A line per year and the total, then what was simplified.

    Parameters
    ----------
    job : Job
        For its zone, units and policy.
    month : PastMonth
        From the command's own run.
    width : int
        Columns of the terminal; below 60 it is laid out for 60.

    Returns
    -------
    str
    """
    width = max(NARROWEST, width)
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
    lines += [*textwrap.wrap(answer, width), ""]
    lines += [*table_lines(_columns(job, month, total), width), "", "How this was counted:"]
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
            {"room": start.room, "after_s": start.after_s, "clock": _clock(start.after_s, job)}
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


def _columns(job: Job, month: PastMonth, total: Tally) -> list[Column]:
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


def _clock(after_s: float, job: Job) -> str:
    begins = job.access.begins.astimezone(job.site.zone).replace(tzinfo=None)
    at: datetime = begins + timedelta(seconds=after_s)
    days = (at.date() - begins.date()).days
    # Small hours belong to the night that began the evening before.
    same_night = days == 0 or (days == 1 and at.hour < 12)
    return f"{at:%H:%M}" if same_night else f"{at:%H:%M} +{days} d"


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
