"""The job file as a user writes it; field names carry the unit, aliases the TOML key.

A key says here, and only here, its limits, its default and where that comes from, and the
question `new` puts; the JSON Schema, `check`, the messages and `new` read it.
"""

from __future__ import annotations

from importlib import resources
from typing import Annotated, Literal

from pydantic import Field

from cureplan.core import quantities as q
from cureplan.core.quantities import refusal
from cureplan.inputs.fields import (
    ClockMinutes,
    DewMarginK,
    GainK,
    Instant,
    LiquidTemperatureC,
    Name,
    People,
    Reads,
    RoomTemperatureC,
    SurfaceTemperatureC,
    Written,
    choice,
    entry,
    number,
    quantity,
    whole,
)
from cureplan.inputs.job.model import Climate, Display, Remedy

__all__ = [
    "KIND_UNITS",
    "LANGUAGES",
    "ROOM_USES",
    "TWO_COAT_USES",
    "JobFile",
    "RoomEntry",
]

ROOM_USES = ("food preparation", "dish washing", "service", "storage", "passage", "other")
MOST_SHIFTS = 24
"""Of one crew in a day."""
# Common practice, no source: a second coat is smoother and easier to keep clean.
TWO_COAT_USES = ("food preparation",)

KIND_UNITS = {
    "temperature": "c",
    "difference": "k",
    "share": "frac",
    "film": "m",
    "length": "m",
    "time": "s",
    "hours": "s",
    "pace": "m2_s",
}
"""The suffix that tells the sheets how to show a kind."""


def _read_storage(text: object) -> float | None:
    if text == "room":
        return None
    if not isinstance(text, str):
        raise refusal(text, "a bare number is not a temperature", 'write "84 F" or "room"')
    return q.parse_temperature_c(text)


LANGUAGES = tuple(
    sorted(
        found.name.removesuffix(".toml")
        for found in (resources.files("cureplan") / "output" / "language").iterdir()
        if found.name.endswith(".toml")
    )
)
"""Each language is one catalogue, and its file's name is all that is known of it here."""

Climate_ = Annotated[Climate, choice("held", "drifting", "open")]
Share = Annotated[float, quantity(q.parse_fraction, "30 %")]
SlabDepth = Annotated[float, quantity(q.parse_length_m, "6 in", at_least="1 in", at_most="2 m")]
Insulation = Annotated[float, quantity(q.parse_length_m, "2 in", at_most="1 m")]
SetUp = Annotated[float, quantity(q.parse_duration_s, "45 min", at_most="8 h")]
HandPace = Annotated[
    float,
    quantity(
        q.parse_area_rate_m2_s, "20 sq ft/min", at_least="0.1 m2/min", at_most="100 m2/min"
    ),
]
RowDepth = Annotated[
    float, quantity(q.parse_length_m, "2 ft", at_least="6 in", at_most="12 ft")
]
Stops = Annotated[float, quantity(q.parse_duration_s, "45 s", at_most="1 h")]


class SiteEntry(Written):
    """Table ``[site]``."""

    name: Name = entry(ask="Which kitchen is it?", usual="Test kitchen")
    latitude_deg: Annotated[float, number(at_least=-90, at_most=90, example="40.78")] = entry(
        alias="latitude", ask="Its latitude, degrees", usual="40.78"
    )
    longitude_deg: Annotated[float, number(at_least=-180, at_most=180, example="-73.88")] = (
        entry(alias="longitude", ask="Its longitude, degrees; west is negative", usual="-73.88")
    )
    elevation_m: Annotated[float, quantity(q.parse_elevation_m, "3 m")] = entry(
        alias="elevation", ask="How high above the sea?", usual="3 m"
    )
    time_zone: Name = entry(ask="Its time zone", usual="America/New_York")


class WeatherEntry(Written):
    """Table ``[weather]``."""

    source: Annotated[
        Literal["file", "station", "forecast"], choice("file", "station", "forecast")
    ] = entry(
        ask="Weather from a file, from stations nearby, or a point forecast?",
        usual="station",
        note="file | station | forecast",
    )
    file: Name | None = entry(
        None,
        ask="Which CSV file? It holds time with offset, temp_f or temp_c, dew_f",
        usual="weather.csv",
    )
    max_age_s: Annotated[
        float, quantity(q.parse_duration_s, "12 h", above="0 h", at_most="14 d")
    ] = entry("12 h", alias="max_age", origin="invented", kind="hours")
    contact: Name | None = entry(
        None,
        ask="An e-mail or web address of yours: the open forecast asks for one",
        usual="foreman@example.com",
    )


class BuildingEntry(Written):
    """Table ``[building]``."""

    climate: Climate_ = entry(
        ask="Is the air held by a plant, drifting after the weather, or are doors open?",
        usual="drifting",
        note="held | drifting | open; a room may override",
    )
    lag_s: (
        Annotated[float, quantity(q.parse_duration_s, "5 h", above="0 h", at_most="72 h")]
        | None
    ) = entry(
        None, alias="lag", ask="How far does the air inside trail the air outside?", usual="5 h"
    )
    gain_k: GainK | None = entry(
        None, alias="gain", ask="How much warmer is it inside? A difference", usual="2 F"
    )
    set_point_c: RoomTemperatureC | None = entry(
        None, alias="set_point", ask="Held at what temperature?", usual="72 F"
    )
    slab_thickness_m: SlabDepth = entry(
        alias="slab_thickness", ask="How thick is the slab?", usual="6 in"
    )
    insulation_m: Insulation = entry("0 in", alias="insulation")
    below: Annotated[Literal["ground", "air"], choice("ground", "air")] = "ground"
    ground_c: RoomTemperatureC = entry(
        alias="ground",
        ask="How warm is the ground below? About the mean of the year, warmer in a city",
        usual="62 F",
    )


class AccessEntry(Written):
    """Table ``[access]``."""

    begins: Instant = entry(
        alias="from",
        ask="From when may you be in? Year-month-day hour:minute",
        usual="2026-07-17 19:00",
    )
    open_by: Instant = entry(ask="By when must it be open?", usual="2026-07-20 06:00")


class MaterialsEntry(Written):
    """Table ``[materials]``."""

    slurry: Name = entry(note="a shipped card, or a path to your own")
    topcoat: Name
    aggregate: Name
    primer: Name | None = None
    storage_c: Annotated[
        float | None,
        Reads(
            read=_read_storage, shape={"type": "string", "examples": ["room"]}, example='"84 F"'
        ),
    ] = entry(
        "room",
        alias="storage",
        ask='How warm do the kits reach the mixer? Or "room"',
        usual="room",
        note='what the kits reach the mixer at; or "room"',
    )
    iced_c: LiquidTemperatureC = entry(
        "40 F", alias="iced", origin="from memory", kind="temperature"
    )
    cool_filler_c: RoomTemperatureC = entry(
        "70 F", alias="cool_filler", origin="invented", kind="temperature"
    )
    liquids_measured_c: LiquidTemperatureC | None = entry(None, alias="liquids_measured")
    stirred_in_ice: bool = False
    cooler_loss: Share = entry("30 %", origin="from memory", kind="share")
    waste: Annotated[float, quantity(q.parse_fraction, "5 %", at_most="50 %")] = entry(
        "5 %", origin="from memory", kind="share"
    )
    profile_allowance_m: Annotated[
        float, quantity(q.parse_length_m, "0.4 mm", at_most="6 mm")
    ] = entry("0.4 mm", alias="profile_allowance", origin="invented", kind="film")
    thickness_m: (
        Annotated[float, quantity(q.parse_length_m, "1/8 in", at_least="1 mm", at_most="15 mm")]
        | None
    ) = entry(None, alias="thickness")


class ShiftEntry(Written):
    """One entry of ``pour_shifts`` or ``topcoat_shifts``."""

    begins_min: ClockMinutes = entry(alias="from")
    ends_min: ClockMinutes = entry(alias="to")


Shifts = Annotated[
    tuple[ShiftEntry, ...], Field(min_length=1, max_length=MOST_SHIFTS, strict=False)
]


class CrewEntry(Written):
    """Table ``[crew]``."""

    stations: People = entry(
        ask="How many mixing stations?", usual="2", note="each needs a mixer"
    )
    mixer: People = entry(ask="How many mix?", usual="2")
    runner: People = entry(ask="How many carry buckets?", usual="1")
    rake: People = entry(ask="How many rake?", usual="1")
    smoother: People = entry(ask="How many smooth?", usual="1")
    broadcaster: People = entry(ask="How many broadcast the aggregate?", usual="2")
    edge: People = entry(ask="How many at the edges?", usual="1")
    topcoat: People = entry(ask="How many in the topcoat crew?", usual="3")
    primer: People = 2
    setup_s: SetUp = entry(alias="setup", ask="How long to set up?", usual="45 min")
    changeover_s: SetUp = entry(
        alias="changeover", ask="How long from one room to the next?", usual="15 min"
    )
    pour_shifts: Shifts = entry(ask="When may the pour crew work?", usual="19:00 to 05:00")
    topcoat_shifts: Shifts = entry(
        ask="When may the topcoat crew work?", usual="05:00 to 17:00"
    )


class PaceEntry(Written):
    """Table ``[pace]``: how much one pair of hands does in a minute."""

    haul_s: Stops = entry("45 s", alias="haul", origin="invented", kind="time")
    rake_m2_s: HandPace = entry("20 sq ft/min", alias="rake", origin="invented", kind="pace")
    smooth_m2_s: HandPace = entry(
        "15 sq ft/min", alias="smooth", origin="invented", kind="pace"
    )
    broadcast_m2_s: HandPace = entry(
        "7.5 sq ft/min", alias="broadcast", origin="invented", kind="pace"
    )
    topcoat_m2_s: HandPace = entry(
        "25 sq ft/min", alias="topcoat", origin="invented", kind="pace"
    )
    vacuum_m2_s: HandPace = entry(
        "30 sq ft/min", alias="vacuum", origin="invented", kind="pace"
    )
    primer_m2_s: HandPace = entry(
        "40 sq ft/min", alias="primer", origin="invented", kind="pace"
    )
    row_depth_min_m: RowDepth = entry(
        "2 ft", alias="row_depth_min", origin="invented", kind="length"
    )
    row_depth_max_m: RowDepth = entry(
        "5 ft", alias="row_depth_max", origin="invented", kind="length"
    )
    bay_turn_s: Stops = entry("3 min", alias="bay_turn", origin="invented", kind="time")


class PolicyEntry(Written):
    """Table ``[policy]``."""

    margin_s: Annotated[float, quantity(q.parse_duration_s, "2 min", at_most="1 h")] = entry(
        alias="margin", ask="How much time in hand must every bucket keep?", usual="2 min"
    )
    confidence: Annotated[
        float, quantity(q.parse_fraction, "90 %", at_least="50 %", at_most="99.9 %")
    ] = entry(ask="In what share of nights must it hold?", usual="90 %")
    remedies: Annotated[
        tuple[Annotated[Remedy, choice("hour", "chill", "cool filler", "bays")], ...],
        Field(strict=False),
    ] = entry(note="what the plan may adopt by itself, in this order")
    dew_margin_k: DewMarginK = entry(
        "5 F", alias="dew_margin", origin="common practice", kind="difference"
    )


class SlabReadingEntry(Written):
    """``slab_reading`` of a room."""

    surface_c: SurfaceTemperatureC = entry(alias="temp")
    read_at: Instant = entry(alias="at")


class SunEntry(Written):
    """``sun`` of a room: when it falls on the floor, and on how much of it."""

    begins_min: ClockMinutes = entry(alias="from")
    ends_min: ClockMinutes = entry(alias="to")
    share: Share


RoomSide = Annotated[
    float, quantity(q.parse_length_m, "22 ft", at_least="1 ft", at_most="500 ft")
]


class RoomEntry(Written):
    """One ``[[rooms]]``."""

    name: Name = entry(ask="Its name", usual="Cook line")
    length_m: RoomSide = entry(
        alias="length", ask="  Its length, from the back wall to the way out", usual="30 ft"
    )
    width_m: RoomSide = entry(
        alias="width", ask="  Its width, the front that must stay wet", usual="20 ft"
    )
    use: Annotated[str, choice(*ROOM_USES)] = entry(ask="  What for?", usual="food preparation")
    way_out: Annotated[tuple[Name, ...], Field(strict=False)] = entry(
        ask="  Which floors must the crew cross to leave it? Names with commas, or none",
        usual="none",
    )
    topcoats: Annotated[int, whole(at_least=1, at_most=2, example="2")] | None = None
    climate: Climate_ | None = None
    set_point_c: RoomTemperatureC | None = entry(None, alias="set_point")
    slab_thickness_m: SlabDepth | None = entry(None, alias="slab_thickness")
    insulation_m: Insulation | None = entry(None, alias="insulation")
    slab_reading: SlabReadingEntry | None = None
    sun: SunEntry | None = None
    open_by: Instant | None = None
    group: Name | None = None


class JobFile(Written):
    """The whole job file."""

    display: Annotated[Display, choice("us", "metric")] = entry(
        "us", note="what sheets show: us | metric"
    )
    languages: Annotated[
        tuple[Annotated[str, choice(*LANGUAGES)], ...], Field(min_length=1, strict=False)
    ] = entry(("en",), note='add "es" for Spanish on the sheet')
    seed: Annotated[int, whole(at_least=0, at_most=2**31 - 1, example="1")] = 1
    records: Name | None = None
    site: SiteEntry
    weather: WeatherEntry
    building: BuildingEntry
    access: AccessEntry
    materials: MaterialsEntry
    crew: CrewEntry
    pace: PaceEntry = PaceEntry()
    policy: PolicyEntry
    rooms: Annotated[tuple[RoomEntry, ...], Field(min_length=1, strict=False)]
