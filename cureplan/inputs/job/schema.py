"""The job file as a user writes it; field names carry the unit, aliases the TOML key.

Defaults stand here once, each with where it comes from in `DEFAULT_ORIGINS`, so that a
plan can say which numbers the foreman never gave.
"""

from __future__ import annotations

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
    number,
    quantity,
    unless_said,
    whole,
)
from cureplan.inputs.job.model import Climate, Display, Remedy

__all__ = [
    "DEFAULT_KINDS",
    "DEFAULT_ORIGINS",
    "KIND_UNITS",
    "ROOM_USES",
    "TWO_COAT_USES",
    "JobFile",
    "RoomEntry",
]

ROOM_USES = ("food preparation", "dish washing", "service", "storage", "passage", "other")
# Common practice, no source: a second coat is smoother and easier to keep clean.
TWO_COAT_USES = ("food preparation",)

DEFAULT_ORIGINS = {
    "materials.iced": "from memory",
    "materials.cool_filler": "invented",
    "materials.cooler_loss": "from memory",
    "materials.waste": "from memory",
    "materials.profile_allowance": "invented",
    "pace.haul": "invented",
    "pace.rake": "invented",
    "pace.smooth": "invented",
    "pace.broadcast": "invented",
    "pace.topcoat": "invented",
    "pace.vacuum": "invented",
    "pace.primer": "invented",
    "pace.row_depth_min": "invented",
    "pace.row_depth_max": "invented",
    "pace.bay_turn": "invented",
    "policy.dew_margin": "common practice",
    "weather.max_age": "invented",
}
"""Where each defaulted value of the job file comes from."""

DEFAULT_KINDS = {
    "materials.iced": "temperature",
    "materials.cool_filler": "temperature",
    "materials.cooler_loss": "share",
    "materials.waste": "share",
    "materials.profile_allowance": "film",
    "pace.haul": "time",
    "pace.rake": "pace",
    "pace.smooth": "pace",
    "pace.broadcast": "pace",
    "pace.topcoat": "pace",
    "pace.vacuum": "pace",
    "pace.primer": "pace",
    "pace.row_depth_min": "length",
    "pace.row_depth_max": "length",
    "pace.bay_turn": "time",
    "policy.dew_margin": "difference",
    "weather.max_age": "hours",
}
"""What kind of quantity each of them is."""

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


def _read_language(text: object) -> str:
    if not isinstance(text, str) or len(text) != 2 or not (text.isascii() and text.islower()):
        raise refusal(text, "this is not a language code", 'write two letters like "en"')
    return text


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

    name: Name
    latitude_deg: Annotated[float, number(at_least=-90, at_most=90, example="40.78")] = Field(
        alias="latitude"
    )
    longitude_deg: Annotated[float, number(at_least=-180, at_most=180, example="-73.88")] = (
        Field(alias="longitude")
    )
    elevation_m: Annotated[float, quantity(q.parse_elevation_m, "3 m")] = Field(
        alias="elevation"
    )
    time_zone: Name


class WeatherEntry(Written):
    """Table ``[weather]``."""

    source: Annotated[
        Literal["file", "station", "forecast"], choice("file", "station", "forecast")
    ]
    file: Name | None = None
    max_age_s: Annotated[
        float, quantity(q.parse_duration_s, "12 h", above="0 h", at_most="14 d")
    ] = unless_said("12 h", alias="max_age")
    contact: Name | None = None


class BuildingEntry(Written):
    """Table ``[building]``."""

    climate: Climate_
    lag_s: (
        Annotated[float, quantity(q.parse_duration_s, "5 h", above="0 h", at_most="72 h")]
        | None
    ) = Field(default=None, alias="lag")
    gain_k: GainK | None = Field(default=None, alias="gain")
    set_point_c: RoomTemperatureC | None = Field(default=None, alias="set_point")
    slab_thickness_m: SlabDepth = Field(alias="slab_thickness")
    insulation_m: Insulation = unless_said("0 in", alias="insulation")
    below: Annotated[Literal["ground", "air"], choice("ground", "air")] = "ground"
    ground_c: RoomTemperatureC = Field(alias="ground")


class AccessEntry(Written):
    """Table ``[access]``."""

    begins: Instant = Field(alias="from")
    open_by: Instant


class MaterialsEntry(Written):
    """Table ``[materials]``."""

    slurry: Name
    topcoat: Name
    aggregate: Name
    primer: Name | None = None
    storage_c: Annotated[
        float | None,
        Reads(
            read=_read_storage, shape={"type": "string", "examples": ["room"]}, example='"84 F"'
        ),
    ] = unless_said("room", alias="storage")
    iced_c: LiquidTemperatureC = unless_said("40 F", alias="iced")
    cool_filler_c: RoomTemperatureC = unless_said("70 F", alias="cool_filler")
    liquids_measured_c: LiquidTemperatureC | None = Field(
        default=None, alias="liquids_measured"
    )
    stirred_in_ice: bool = False
    cooler_loss: Share = unless_said("30 %")
    waste: Annotated[float, quantity(q.parse_fraction, "5 %", at_most="50 %")] = unless_said(
        "5 %"
    )
    profile_allowance_m: Annotated[
        float, quantity(q.parse_length_m, "0.4 mm", at_most="6 mm")
    ] = unless_said("0.4 mm", alias="profile_allowance")
    thickness_m: (
        Annotated[float, quantity(q.parse_length_m, "1/8 in", at_least="1 mm", at_most="15 mm")]
        | None
    ) = Field(default=None, alias="thickness")


class ShiftEntry(Written):
    """One entry of ``pour_shifts`` or ``topcoat_shifts``."""

    begins_min: ClockMinutes = Field(alias="from")
    ends_min: ClockMinutes = Field(alias="to")


class CrewEntry(Written):
    """Table ``[crew]``."""

    stations: People
    mixer: People
    runner: People
    rake: People
    smoother: People
    broadcaster: People
    edge: People
    topcoat: People
    primer: People = 2
    setup_s: SetUp = Field(alias="setup")
    changeover_s: SetUp = Field(alias="changeover")
    pour_shifts: Annotated[tuple[ShiftEntry, ...], Field(min_length=1, strict=False)]
    topcoat_shifts: Annotated[tuple[ShiftEntry, ...], Field(min_length=1, strict=False)]


class PaceEntry(Written):
    """Table ``[pace]``: how much one pair of hands does in a minute."""

    haul_s: Stops = unless_said("45 s", alias="haul")
    rake_m2_s: HandPace = unless_said("20 sq ft/min", alias="rake")
    smooth_m2_s: HandPace = unless_said("15 sq ft/min", alias="smooth")
    broadcast_m2_s: HandPace = unless_said("7.5 sq ft/min", alias="broadcast")
    topcoat_m2_s: HandPace = unless_said("25 sq ft/min", alias="topcoat")
    vacuum_m2_s: HandPace = unless_said("30 sq ft/min", alias="vacuum")
    primer_m2_s: HandPace = unless_said("40 sq ft/min", alias="primer")
    row_depth_min_m: RowDepth = unless_said("2 ft", alias="row_depth_min")
    row_depth_max_m: RowDepth = unless_said("5 ft", alias="row_depth_max")
    bay_turn_s: Stops = unless_said("3 min", alias="bay_turn")


class PolicyEntry(Written):
    """Table ``[policy]``."""

    margin_s: Annotated[float, quantity(q.parse_duration_s, "2 min", at_most="1 h")] = Field(
        alias="margin"
    )
    confidence: Annotated[
        float, quantity(q.parse_fraction, "90 %", at_least="50 %", at_most="99.9 %")
    ]
    remedies: Annotated[
        tuple[Annotated[Remedy, choice("hour", "chill", "cool filler", "bays")], ...],
        Field(strict=False),
    ]
    dew_margin_k: DewMarginK = unless_said("5 F", alias="dew_margin")


class SlabReadingEntry(Written):
    """``slab_reading`` of a room."""

    surface_c: SurfaceTemperatureC = Field(alias="temp")
    read_at: Instant = Field(alias="at")


class SunEntry(Written):
    """``sun`` of a room: when it falls on the floor, and on how much of it."""

    begins_min: ClockMinutes = Field(alias="from")
    ends_min: ClockMinutes = Field(alias="to")
    share: Share


RoomSide = Annotated[
    float, quantity(q.parse_length_m, "22 ft", at_least="1 ft", at_most="500 ft")
]


class RoomEntry(Written):
    """One ``[[rooms]]``."""

    name: Name
    length_m: RoomSide = Field(alias="length")
    width_m: RoomSide = Field(alias="width")
    use: Annotated[str, choice(*ROOM_USES)]
    way_out: Annotated[tuple[Name, ...], Field(strict=False)]
    topcoats: Annotated[int, whole(at_least=1, at_most=2, example="2")] | None = None
    climate: Climate_ | None = None
    set_point_c: RoomTemperatureC | None = Field(default=None, alias="set_point")
    slab_thickness_m: SlabDepth | None = Field(default=None, alias="slab_thickness")
    insulation_m: Insulation | None = Field(default=None, alias="insulation")
    slab_reading: SlabReadingEntry | None = None
    sun: SunEntry | None = None
    open_by: Instant | None = None
    group: Name | None = None


class JobFile(Written):
    """The whole job file."""

    display: Annotated[Display, choice("us", "metric")] = "us"
    languages: Annotated[
        tuple[
            Annotated[
                str, Reads(read=_read_language, shape={"type": "string"}, example='"en"')
            ],
            ...,
        ],
        Field(min_length=1, strict=False),
    ] = ("en",)
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
