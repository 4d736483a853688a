"""The weather of a job for a terminal and as JSON: hours, sources, gaps, age, licence."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from cureplan.core.messages import Message, Value, once
from cureplan.core.quantities import format_temperature
from cureplan.inputs.job.model import Job
from cureplan.output.language import Voice
from cureplan.output.language.clean import fit, one_line
from cureplan.output.language.time_words import clock_text
from cureplan.output.text.terminal import Column, table_lines
from cureplan.planning.floor.weather_hours import AlikeRooms, WeatherHours
from cureplan.weather.hours.series import Gap, WeatherOrigin, utc_of
from cureplan.weather.kept import age_warnings, in_words, oldest_forecast

__all__ = ["AGE_NOTE", "shown_hours", "weather_json", "weather_text"]

BEFORE = timedelta(hours=12)
AFTER = timedelta(hours=1)
MOST_SPANS = 3
NARROWEST = 60
AGE_NOTE = "weather.forecast_age"
"""Such a note was true when it was written; the age is told afresh."""


def shown_hours(job: Job, hours: WeatherHours) -> NDArray[np.int64]:
    """Rows of the job and the half-day before it: what table and picture show."""
    epoch_s = hours.series.epoch_s
    begins_s = (job.access.begins - BEFORE).timestamp()
    ends_s = (job.access.open_by + AFTER).timestamp()
    return np.flatnonzero((epoch_s >= begins_s) & (epoch_s <= ends_s))


def weather_text(job: Job, hours: WeatherHours, *, now: datetime, width: int) -> str:
    """Hours table with what it rests on.

    Not for saving: `csvwrite.write_csv` keeps every digit and every hour.
    """
    width = max(NARROWEST, width)
    head = (
        f"{one_line(job.site.name)}: weather for {_stamp(job.access.begins, job)} to "
        f"{_stamp(job.access.open_by, job)} ({job.site.time_zone})"
    )
    lines = [fit(head, width), ""]
    for warning in _warnings(job, hours, now):
        lines += _wrapped(warning, width, first="! ")
    lines += [*_table(job, hours, width), ""]
    lines += ["Where the hours come from:", *_sources(job, hours, width), ""]
    lines += _wrapped(_age(job, hours, now), width)
    gaps = hours.series.gaps
    lines += ["Gaps:" if gaps else "Gaps: none."]
    lines += [f"  {_gap_line(gap, job)}" for gap in gaps]
    for note in _notes(job, hours):
        lines += _wrapped(note, width, first="- ")
    return "\n".join(lines)


def weather_json(job: Job, hours: WeatherHours, *, now: datetime) -> str:
    """Every hour of the series as JSON, in °C and W/m², instants with the site's offset."""
    series, zone = hours.series, job.site.zone
    oldest = oldest_forecast(series, job.access.begins, job.access.open_by)
    rooms = [(name, alike) for alike in hours.rooms for name in alike.rooms]
    data = {
        "site": job.site.name,
        "time_zone": job.site.time_zone,
        "begins": job.access.begins.astimezone(zone).isoformat(),
        "open_by": job.access.open_by.astimezone(zone).isoformat(),
        "source": job.weather.source,
        "forecast_age_s": None if oldest is None else oldest.age_s(now),
        "origins": [_origin_data(origin) for origin in series.origins],
        "stretches": [
            {
                "origin": series.origins.index(one.origin),
                "starts": one.starts.astimezone(zone).isoformat(),
                "ends": one.ends.astimezone(zone).isoformat(),
                "hours": one.hours,
            }
            for one in hours.ranges
        ],
        "gaps": [
            {
                "what": gap.what,
                "starts": gap.starts.astimezone(zone).isoformat(),
                "ends": gap.ends.astimezone(zone).isoformat(),
                "hours": gap.hours,
                "mended": gap.mended,
            }
            for gap in series.gaps
        ],
        "warnings": _warnings(job, hours, now),
        "notes": _notes(job, hours),
        "hours": [
            {
                "at": utc_of(float(series.epoch_s[row])).astimezone(zone).isoformat(),
                "outdoor_c": _number(series.temp_c[row], 2),
                "dew_c": _number(series.dew_c[row], 2),
                "sun_deg": _number(hours.sun_deg[row], 2),
                "light_w_m2": _number(hours.light_w_m2[row], 1),
                "origin": int(series.origin[row]),
                "rooms": {
                    name: {
                        "air_c": _number(alike.conditions.air_c[row], 2),
                        "slab_c": _number(alike.conditions.slab_c[row], 2),
                        **_shade_data(alike, row),
                    }
                    for name, alike in rooms
                },
            }
            for row in range(series.epoch_s.size)
        ],
    }
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


def _shade_data(alike: AlikeRooms, row: int) -> dict[str, float | None]:
    """Of a room with sun: the slab where none falls; `slab_c` is where it does."""
    here = alike.conditions
    return {} if here.sun_k is None else {"shade_c": _number(here.shade.slab_c[row], 2)}


def _table(job: Job, hours: WeatherHours, width: int) -> Iterator[str]:
    """The hours; where the rooms do not fit side by side, in several tables."""
    rows = shown_hours(job, hours)
    series = hours.series
    unit = "°F" if job.display == "us" else "°C"
    hour = Column(title="Hour", cells=_clock_cells(series.epoch_s[rows], job))
    fixed = [
        hour,
        Column(title="Outdoor", cells=_temps(series.temp_c[rows], job), right=True),
        Column(title="Dew point", cells=_temps(series.dew_c[rows], job), right=True),
        Column(title="Sun", cells=tuple(_sun(height) for height in hours.sun_deg[rows])),
        Column(
            title="Light",
            cells=tuple(_light(light) for light in hours.light_w_m2[rows]),
            right=True,
        ),
    ]
    letters = tuple(_letter(int(number)) for number in series.origin[rows])
    last = Column(title="From", cells=letters)
    yield f"Temperatures in {unit}; of each room air/slab; sun's height; light in W/m²."
    for line in _sunlit(job):
        yield from _wrapped(line, width)
    room_columns = [_room_column(alike, rows, job) for alike in hours.rooms]
    for number, some in enumerate(_chunks([*fixed, last], [hour], room_columns, width)):
        before = [*fixed, last] if number == 0 else [hour]
        yield from ([] if number == 0 else [""])
        yield from table_lines([*before, *some], width)


def _chunks(
    first: Sequence[Column], later: Sequence[Column], rooms: Sequence[Column], width: int
) -> Iterator[list[Column]]:
    """Rooms dealt over tables so that none is dropped."""
    left = width - sum(column.width + 2 for column in first)
    some: list[Column] = []
    for column in rooms:
        if column.width > left and (some or left < width - later[0].width - 2):
            yield some
            some, left = [], width - later[0].width - 2
        some.append(column)
        left -= column.width + 2
    yield some


def _room_column(alike: AlikeRooms, rows: NDArray[np.int64], job: Job) -> Column:
    names = [one_line(name) for name in alike.rooms]
    title = names[0] if len(names) == 1 else f"{names[0]} +{len(names) - 1}"
    here = alike.conditions
    slabs = [here.slab_c] if here.sun_k is None else [here.slab_c, here.shade.slab_c]
    parts = (_temps(curve[rows], job) for curve in (here.air_c, *slabs))
    cells = tuple("/".join(temps) for temps in zip(*parts, strict=True))
    return Column(title=fit(title, 24), cells=cells, right=True)


def _temps(temps_c: Iterable[float], job: Job) -> tuple[str, ...]:
    return tuple(
        "" if math.isnan(temp_c) else format_temperature(float(temp_c), job.display).split()[0]
        for temp_c in temps_c
    )


def _sun(height_deg: float) -> str:
    return "down" if height_deg < 0 else f"{height_deg:.0f}°"


def _light(light_w_m2: float) -> str:
    return f"{light_w_m2:.0f}" if light_w_m2 >= 0.5 else ""


def _clock_cells(epoch_s: Iterable[float], job: Job) -> tuple[str, ...]:
    """Local hours; with the zone's name where the clocks change among them."""
    local = [utc_of(float(second)).astimezone(job.site.zone) for second in epoch_s]
    change = len({when.utcoffset() for when in local}) > 1
    return tuple(
        f"{when:%a %d} {_wall(when, job)}{f' {when:%Z}' if change else ''}" for when in local
    )


def _wall(when: datetime, job: Job) -> str:
    return clock_text(when.hour, when.minute, job.clock)


def _sources(job: Job, hours: WeatherHours, width: int) -> list[str]:
    lines = []
    for number, origin in enumerate(hours.series.origins):
        spans = [one for one in hours.ranges if one.origin == origin]
        if not spans:
            continue
        text = f"{one_line(origin.label)} ({origin.kind}): {one_line(_terms(origin))}"
        lines += _wrapped(text, width, first=f"  {_letter(number)}  ", indent="     ")
        listed = ", ".join(
            f"{_stamp(one.starts, job)} to {_stamp(one.ends, job)}"
            for one in spans[:MOST_SPANS]
        )
        if len(spans) > MOST_SPANS:
            listed += f" and {len(spans) - MOST_SPANS} stretches more"
        count = sum(one.hours for one in spans)
        lines += _wrapped(f"{count} h: {listed}", width, first="     ", indent="     ")
    for alike in hours.rooms:
        first, *others = (one_line(name) for name in alike.rooms)
        if others:
            also = f"{first} +{len(others)}: also {', '.join(others)}, which are just the same."
            lines += _wrapped(also, width, first="  ", indent="     ")
    return lines


def _terms(origin: WeatherOrigin) -> str:
    licence = f"licence {origin.licence}" if origin.licence else "licence not given"
    return "; ".join(part for part in (origin.attribution, licence) if part)


def _age(job: Job, hours: WeatherHours, now: datetime) -> str:
    oldest = oldest_forecast(hours.series, job.access.begins, job.access.open_by)
    if oldest is None:
        return "Forecast: none among the job's hours, so none can be too old."
    return (
        f"Forecast: the oldest used is {one_line(oldest.describe(now))}; the job allows "
        f"{in_words(job.weather.max_age_s)}."
    )


def _warnings(job: Job, hours: WeatherHours, now: datetime) -> list[str]:
    late = age_warnings(
        hours.series,
        job.access.begins,
        job.access.open_by,
        now=now,
        max_age_s=job.weather.max_age_s,
    )
    return [_english(job).say(one) for one in once((*hours.series.warnings, *late))]


def _notes(job: Job, hours: WeatherHours) -> list[str]:
    notes = (note for note in hours.series.notes if not note.code.startswith(AGE_NOTE))
    return [_english(job).say(note) for note in notes]


def _sunlit(job: Job) -> Iterator[str]:
    """Which rooms' columns tell sun and shade apart, in the job's languages."""
    for room in job.rooms:
        patch = room.sun_patch
        if patch is not None:
            lit = f"{patch.starts:%H:%M}-{patch.ends:%H:%M}"
            values: dict[str, Value] = {"share_frac": patch.share, "lit": lit}
            say = Message("weather.sunlit", {"room": room.name, **values})
            yield from (_voice(job, language).say(say) for language in job.languages)


def _english(job: Job) -> Voice:
    return _voice(job, "en")


def _voice(job: Job, language: str) -> Voice:
    return Voice(language=language, display=job.display, clock=job.clock, zone=job.site.zone)


def _gap_line(gap: Gap, job: Job) -> str:
    what = "not filled" if gap.mended == "no" else f"filled {gap.mended}"
    ends = (at.astimezone(job.site.zone) for at in (gap.starts, gap.ends))
    span = " to ".join(f"{at:%a %d %b} {_wall(at, job)}" for at in ends)
    return f"{gap.what}: {span}, {gap.hours} h, {what}"


def _origin_data(origin: WeatherOrigin) -> dict[str, str | None]:
    return {
        "label": origin.label,
        "kind": origin.kind,
        "licence": origin.licence or None,
        "attribution": origin.attribution or None,
        "issued_at": None if origin.issued_at is None else origin.issued_at.isoformat(),
        "fetched_at": None if origin.fetched_at is None else origin.fetched_at.isoformat(),
    }


def _stamp(when: datetime, job: Job) -> str:
    return _english(job).at(when, "full")


def _letter(number: int) -> str:
    """a, b, ... z, aa, ab, ..."""
    letters = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("a") + rest) + letters
    return letters


def _wrapped(text: str, width: int, *, first: str = "", indent: str = "  ") -> list[str]:
    return textwrap.wrap(
        one_line(text), width, initial_indent=first, subsequent_indent=indent if first else ""
    )


def _number(value: float, digits: int) -> float | None:
    return None if math.isnan(value) else round(float(value), digits)
