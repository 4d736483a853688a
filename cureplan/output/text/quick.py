"""Text and JSON of the quick answers: clock, chill, check."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from cureplan.core.messages import Message
from cureplan.core.quantities import (
    format_area,
    format_length,
    format_mass,
    format_temperature,
    format_waiting_time,
    format_working_time,
)
from cureplan.inputs.cards.model import PrimerCard, SlurryCard, TopcoatCard
from cureplan.inputs.job.model import Display, Job
from cureplan.output.language import Voice
from cureplan.output.language.clean import one_line
from cureplan.output.text.drawing import DRAWN_KEY, drawn_room
from cureplan.output.text.terminal import Column, table_lines
from cureplan.planning.studies.quick import ChillAnswer, MilestoneTime
from cureplan.science.clocks import reference_humidity
from cureplan.weather.hours.series import HourlySeries

__all__ = [
    "check_json",
    "check_text",
    "chill_json",
    "chill_text",
    "clock_json",
    "clock_text",
    "understood_weather",
]

WIDTH = 100
GENERIC = (
    "Generic card: put in the data sheet of the product in hand before you trust a minute."
)
MILESTONES = {
    "wet_edge": "wet edge ends",
    "working_time": "working time ends",
    "broadcast_opens": "broadcast may begin",
    "broadcast_closes": "surface closes to stone",
    "foot_traffic": "walk on it",
    "topcoat_opens": "first topcoat may go on",
    "topcoat_closes": "too old for a topcoat",
    "recoat_opens": "next coat may go on",
    "recoat_closes": "too old for the next coat",
    "slurry_opens": "pour over it",
    "slurry_closes": "too old for the slurry",
    "wheels": "wheels",
    "wash_down": "wash down",
}


def clock_text(
    card: SlurryCard | TopcoatCard | PrimerCard,
    at_c: float,
    times: Sequence[MilestoneTime],
    careful: Sequence[Message] = (),
) -> str:
    """A card's clocks at one temperature, as a small table."""
    display = _display(card)
    start = "the filler goes in" if isinstance(card, SlurryCard) else "the batch is mixed"
    rows = table_lines(
        [
            Column(title="From when " + start, cells=_names(times)),
            Column(
                title="Expected", cells=tuple(_time(t, t.after_s) for t in times), right=True
            ),
            Column(title="9 batches in 10", cells=tuple(_sure(t) for t in times), right=True),
        ],
        WIDTH,
    )
    head = f"{card.title} at a steady {format_temperature(at_c, display)}"
    humidity_frac = reference_humidity(card)
    if humidity_frac is not None:
        head += f" and {humidity_frac:.0%} relative humidity"
    generic = [GENERIC] if card.generic else []
    return "\n".join([head, *rows, *_careful(careful), *generic])


def _careful(careful: Sequence[Message]) -> list[str]:
    voice = Voice(language="en", display="us", zone=ZoneInfo("UTC"))
    return [f"! {voice.say(message)}" for message in careful]


def _careful_json(careful: Sequence[Message]) -> list[dict[str, object]]:
    return [{"code": message.code, **message.values} for message in careful]


def clock_json(
    card: SlurryCard | TopcoatCard | PrimerCard,
    at_c: float,
    times: Sequence[MilestoneTime],
    careful: Sequence[Message] = (),
) -> str:
    """The same as JSON: seconds and °C."""
    return _dump(
        {
            "card": card.key,
            "generic": card.generic,
            "at_c": at_c,
            "humidity_frac": reference_humidity(card),
            "milestones": [
                {"milestone": t.milestone, "after_s": t.after_s, "sure_s": t.sure_s}
                for t in times
            ],
            "cautions": _careful_json(careful),
        }
    )


def chill_text(
    card: SlurryCard,
    air_c: float,
    answers: Sequence[ChillAnswer],
    careful: Sequence[Message] = (),
) -> str:
    """As-is against chilled on the slab asked for, then on slabs from 60 to 110 °F."""
    asked, ladder = answers[0], answers[1:]

    def show(temp_c: float) -> str:
        return format_temperature(temp_c, "us")

    need = asked.ice
    head = [
        f"{card.title}: air {show(air_c)}, slab {show(asked.slab_c)}",
        f"  as it is: liquids {show(asked.as_is_liquids_c)}, mixed {show(asked.as_is_mixed_c)}",
        f"  chilled:  liquids {show(asked.chilled_liquids_c)}, "
        f"mixed {show(asked.chilled_mixed_c)}",
        "",
    ]
    milestones = asked.milestones
    rows = table_lines(
        [
            Column(title="From filler-in", cells=_names(milestones)),
            _minutes_column("As it is", [m.as_is_s for m in milestones]),
            _minutes_column("Chilled", [m.chilled_s for m in milestones]),
            _minutes_column("Gained", [m.gained_s for m in milestones]),
            _minutes_column("in the bucket", [m.gained_bucket_s for m in milestones]),
            _minutes_column("on the floor", [m.gained_floor_s for m in milestones]),
        ],
        WIDTH,
    )
    ice = [
        "",
        f"Ice for one kit: {format_mass(need.ice_per_kit_kg, 'us')}, "
        f"{format_mass(need.for_water_kg, 'us')} of it for the water. From "
        f"{show(need.from_c)}, pails left standing need "
        f"{format_waiting_time(need.standing_s)}, stirred ones "
        f"{format_waiting_time(need.stirred_s)}.",
        "",
        "Ice does not rescue a hot slab. Working time from filler-in, by slab:",
    ]
    clocks = [next(m for m in a.milestones if m.milestone == "working_time") for a in ladder]
    slabs = table_lines(
        [
            Column(title="Slab", cells=tuple(show(a.slab_c) for a in ladder), right=True),
            _minutes_column("As it is", [m.as_is_s for m in clocks]),
            _minutes_column("Chilled", [m.chilled_s for m in clocks]),
            _minutes_column("Gained", [m.gained_s for m in clocks]),
            _minutes_column("in the bucket", [m.gained_bucket_s for m in clocks]),
            _minutes_column("on the floor", [m.gained_floor_s for m in clocks]),
        ],
        WIDTH,
    )
    note = "Minutes from ice are calibrated to common practice (5 to 6 min), not published."
    generic = [GENERIC] if card.generic else []
    return "\n".join([*head, *rows, *ice, *slabs, note, *_careful(careful), *generic])


def chill_json(
    card: SlurryCard,
    air_c: float,
    answers: Sequence[ChillAnswer],
    careful: Sequence[Message] = (),
) -> str:
    """The same as JSON: seconds, °C and kg."""
    from dataclasses import asdict

    return _dump(
        {
            "card": card.key,
            "generic": card.generic,
            "air_c": air_c,
            "answers": [_without_infinity(asdict(answer)) for answer in answers],
            "cautions": _careful_json(careful),
        }
    )


def _english(job: Job) -> Voice:
    return Voice.of_job(job, "en")


def check_text(job: Job, series: HourlySeries, cannot: Sequence[Message] = ()) -> str:
    """What was understood of a job and its weather, and what one room alone cannot do."""
    voice = _english(job)
    display = job.display
    rooms = table_lines(
        [
            Column(title="Room", cells=tuple(room.name for room in job.rooms), shrinks=True),
            Column(
                title="Area",
                cells=tuple(format_area(room.area_m2, display) for room in job.rooms),
                right=True,
            ),
            Column(
                title="Topcoats", cells=tuple(str(r.topcoats) for r in job.rooms), right=True
            ),
            Column(
                title="Way out over",
                cells=tuple(", ".join(room.way_out) or "straight out" for room in job.rooms),
            ),
        ],
        WIDTH,
    )
    lines = [
        f"{job.site.name}: {job.source.name} is complete.",
        f"  access {voice.at(job.access.begins, 'full')}, open by "
        f"{voice.at(job.access.open_by, 'full')} ({job.site.time_zone})",
        "",
        *rooms,
        *_drawings(job),
        "",
        *understood_weather(job, series),
        "",
        "Not given, so taken:",
        *(f"  {voice.say(note)}" for note in job.notes),
    ]
    if cannot:
        lines += ["", "Cannot be done as it stands:"]
        lines += [f"  {voice.say(limit)}" for limit in cannot]
    return "\n".join(lines)


def _drawings(job: Job) -> Iterator[str]:
    """Rooms that are no plain rectangle, so that a wrong corner is seen."""
    shaped = [(room, room.outline) for room in job.rooms if room.outline is not None]
    for room, outline in shaped:
        size = " by ".join(format_length(side, job.display) for side in outline.size_m[::-1])
        yield from ("", f"{one_line(room.name)}, {size}:")
        yield from (f"  {line}" for line in drawn_room(outline))
    if shaped:
        yield f"  {DRAWN_KEY}"


def understood_weather(job: Job, series: HourlySeries) -> list[str]:
    """What was understood of a job's weather: its span, its sources, its gaps."""
    voice = _english(job)
    gaps = [
        f"  gap: {gap.what}, {voice.at(gap.starts, 'full')}, {gap.hours} h; {gap.mended}"
        for gap in series.gaps
    ]
    return [
        f"Weather {voice.at(series.starts, 'full')} to {voice.at(series.ends, 'full')}, "
        f"{series.epoch_s.size} hours:",
        *(
            f"  {origin.label} ({origin.kind}; {origin.licence or 'licence not given'})"
            for origin in series.origins
        ),
        *gaps,
        *(f"  {voice.say(note)}" for note in (*series.warnings, *series.notes)),
    ]


def check_json(job: Job, series: HourlySeries, cannot: Sequence[Message] = ()) -> str:
    """The same as JSON."""
    voice = _english(job)
    return _dump(
        {
            "job": job.source.name,
            "site": job.site.name,
            "rooms": [
                {"room": r.name, "area_m2": r.area_m2, "topcoats": r.topcoats}
                for r in job.rooms
            ],
            "weather": {
                "starts": series.starts.isoformat(),
                "ends": series.ends.isoformat(),
                "origins": [origin.label for origin in series.origins],
                "gaps": len(series.gaps),
            },
            "defaults": [voice.say(note) for note in job.notes],
            "cannot": [voice.say(limit) for limit in cannot],
        }
    )


def _display(card: SlurryCard | TopcoatCard | PrimerCard) -> Display:
    return "us" if card else "metric"


def _names(items: Sequence[Any]) -> tuple[str, ...]:
    return tuple(MILESTONES[item.milestone] for item in items)


def _time(time: MilestoneTime, seconds: float) -> str:
    return format_working_time(seconds) if time.closes else format_waiting_time(seconds)


def _sure(time: MilestoneTime) -> str:
    word = "at least" if time.closes else "by"
    return f"{word} {_time(time, time.sure_s)}"


def _minutes_column(title: str, seconds: Sequence[float]) -> Column:
    cells = tuple(f"{second / 60.0:.1f} min" for second in seconds)
    return Column(title=title, cells=cells, right=True)


def _dump(data: object) -> str:
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


def _without_infinity(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _without_infinity(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return [_without_infinity(value) for value in data]
    if isinstance(data, float) and data in (float("inf"), float("-inf")):
        return None
    return data
