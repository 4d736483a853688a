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
    Corner,
    CornerNumber,
    DewMarginK,
    GainK,
    Instant,
    LiquidTemperatureC,
    Name,
    Reads,
    RoomSide,
    RoomTemperatureC,
    SurfaceTemperatureC,
    Written,
    choice,
    entry,
    number,
    quantity,
    whole,
)
from cureplan.inputs.job.crew import ROLES
from cureplan.inputs.job.crew_schema import CrewEntry, PaceEntry, PersonEntry, Stops
from cureplan.inputs.job.model import (
    Climate,
    Clock,
    CoveWhen,
    Display,
    OpenFor,
    Remedy,
)

__all__ = [
    "KIND_UNITS",
    "LANGUAGES",
    "ROOM_USES",
    "TWO_COAT_USES",
    "CoveEntry",
    "JobFile",
    "RoomEntry",
]

ROOM_USES = ("food preparation", "dish washing", "service", "storage", "passage", "other")
# Common practice, no source: a second coat is smoother and easier to keep clean.
TWO_COAT_USES = ("food preparation",)

KIND_UNITS = {
    "temperature": "c",
    "difference": "k",
    "share": "frac",
    "film": "m",
    "volume": "m3",
    "length": "m",
    "time": "s",
    "hours": "s",
    "pace": "m2_s",
    "edge pace": "m_s",
    "count": "n",
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
WarmerK = Annotated[
    float, quantity(q.parse_temperature_difference_k, "3 F", at_least="0 C", at_most="10 C")
]
Off = Annotated[float, quantity(q.parse_fraction, "10 %", at_most="60 %")]


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
        alias="elevation", ask="How high above the sea (a phone's map tells it)?", usual="3 m"
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
    ] = entry(
        "12 h",
        alias="max_age",
        origin="invented",
        kind="hours",
        meaning="how old a kept copy may be",
    )
    contact: Name | None = entry(
        None,
        ask="An e-mail or web address of yours: the open forecast asks for one",
        usual="foreman@example.com",
    )


class HeatEntry(Written):
    """``heat`` of the building or of a room."""

    to_c: RoomTemperatureC = entry(alias="to", meaning="how warm the heaters keep the air")
    begins: Instant = entry(alias="from", meaning="from when they run")


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
    insulation_m: Insulation = entry(
        "0 in",
        alias="insulation",
        meaning="insulation under the slab; 0 in where there is none",
    )
    below: Annotated[Literal["ground", "air"], choice("ground", "air")] = entry(
        "ground", meaning="what lies under the slab: ground or air"
    )
    ground_c: RoomTemperatureC = entry(
        alias="ground",
        ask="How warm is the ground below? About the mean of the year, warmer in a city",
        usual="62 F",
    )
    heat: HeatEntry | None = entry(
        None,
        ask="Are heaters at hand? To what, and from when (65 F from 2026-01-15 07:00)? Or none",
        usual="none",
        meaning="heaters at hand; they run, or where heat is a remedy, only if needed",
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
    topcoat: Name = entry(meaning="a shipped card, or a path to your own")
    aggregate: Name = entry(meaning="a shipped card, or a path to your own")
    primer: Name | None = entry(
        None,
        ask="Is a primer laid first? Its card, such as slab-primer, or none",
        usual="none",
        meaning="a shipped card, or a path to your own; leave it out where none is laid",
    )
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
        "40 F",
        alias="iced",
        origin="from memory",
        kind="temperature",
        meaning="how cold iced liquids reach the mixer",
    )
    cool_filler_c: RoomTemperatureC = entry(
        "70 F",
        alias="cool_filler",
        origin="invented",
        kind="temperature",
        meaning="how cool the filler stays where a cool store is at hand",
    )
    liquids_measured_c: LiquidTemperatureC | None = entry(
        None, alias="liquids_measured", meaning="what a probe in a pail of liquid read today"
    )
    stirred_in_ice: bool = entry(
        False, meaning="whether somebody stirs the pails every few minutes"
    )
    cooler_loss: Share = entry(
        "30 %",
        origin="from memory",
        kind="share",
        meaning="ice on top of what cools the pails, for what melts unused; a share of that",
    )
    ice_water_m3: Annotated[
        float, quantity(q.parse_volume_m3, "0.5 gal", at_least="0 L", at_most="50 L")
    ] = entry(
        "0.5 gal",
        alias="ice_water",
        origin="invented",
        kind="volume",
        meaning="water that the pails of one kit stand in, which the ice must cool too",
    )
    ice_water_c: Annotated[
        float, quantity(q.parse_temperature_c, "68 F", at_least="0 C", at_most="40 C")
    ] = entry(
        "68 F",
        alias="ice_water_temp",
        origin="invented",
        kind="temperature",
        meaning="how warm that water comes from the tap",
    )
    waste: Annotated[float, quantity(q.parse_fraction, "5 %", at_most="50 %")] = entry(
        "5 %",
        origin="from memory",
        kind="share",
        meaning="share of every material that is left in pails and on tools",
    )
    profile_allowance_m: Annotated[
        float, quantity(q.parse_length_m, "0.4 mm", at_most="6 mm")
    ] = entry(
        "0.4 mm",
        alias="profile_allowance",
        origin="invented",
        kind="film",
        meaning="film that fills the profile of the ground, on top of the thickness",
    )
    thickness_m: (
        Annotated[float, quantity(q.parse_length_m, "1/8 in", at_least="1 mm", at_most="15 mm")]
        | None
    ) = entry(
        None, alias="thickness", meaning="film to lay, where it is not the one of the card"
    )


class CoveEntry(Written):
    """Table ``[cove]``: mortar that is trowelled up the walls."""

    height_m: Annotated[
        float, quantity(q.parse_length_m, "4 in", at_least="1 in", at_most="4 ft")
    ] = entry(alias="height", ask="Is cove base put up? How high is it? Or none", usual="none")
    material_kg_m: Annotated[
        float,
        quantity(q.parse_line_mass_kg_m, "1.2 lb/ft", above="0 kg/m", at_most="50 kg/m"),
    ] = entry(
        alias="material",
        ask="How much mortar does the cove take along a wall?",
        usual="1.2 lb/ft",
    )
    pace_m_s: Annotated[
        float,
        quantity(q.parse_edge_rate_m_s, "30 ft/h", at_least="1 ft/h", at_most="10 ft/min"),
    ] = entry(alias="pace", ask="How much cove does one pair of hands put up?", usual="30 ft/h")
    when: Annotated[CoveWhen, choice("before", "after")] = entry(
        ask="Is it put up before or after the pour?",
        usual="before",
        note="before | after the pour",
    )


class PolicyEntry(Written):
    """Table ``[policy]``."""

    margin_s: Annotated[float, quantity(q.parse_duration_s, "2 min", at_most="1 h")] = entry(
        alias="margin", ask="How much time in hand must every bucket keep?", usual="2 min"
    )
    confidence: Annotated[
        float, quantity(q.parse_fraction, "90 %", at_least="50 %", at_most="99.9 %")
    ] = entry(ask="In what share of nights must it hold?", usual="90 %")
    remedies: Annotated[
        tuple[Annotated[Remedy, choice("hour", "chill", "cool filler", "bays", "heat")], ...],
        Field(strict=False),
    ] = entry(note="what the plan may adopt by itself, in this order")
    dew_margin_k: DewMarginK = entry(
        "5 F",
        alias="dew_margin",
        origin="common practice",
        kind="difference",
        meaning="how far a slab must stay above the dew point",
    )
    cut_at: Annotated[Literal["bay", "row"], choice("bay", "row")] = entry(
        "bay",
        meaning="where a pour may be ended square when the mixing stops: at a bay's end alone, "
        "or at any row, where the kitchen takes a seam there",
    )


class DoubtEntry(Written):
    """Table ``[doubt]``: how far materials and hands may be off from the plan."""

    slurry_times: Off | None = entry(None, meaning="how far all times of the card may be off")
    topcoat_times: Off | None = entry(None, meaning="the same of the topcoat card")
    primer_times: Off | None = entry(None, meaning="the same of the primer card")
    kit: Off = entry(
        "5 %", origin="invented", kind="share", meaning="one kit against the next, 1 SD"
    )
    pallet_share: Share = entry(
        "50 %", origin="invented", kind="share", meaning="of the scatter, what a pallet shares"
    )
    pallet: Annotated[int, whole(at_least=1, at_most=10_000, example="40")] = entry(
        40, origin="invented", kind="count", meaning="how many kits stand on one pallet"
    )
    stop_every: Annotated[int, whole(at_least=2, at_most=1_000_000, example="40")] = entry(
        40, origin="invented", kind="count", meaning="the mixing stops once in so many buckets"
    )
    stop_lasts_s: Stops = entry(
        "6 min", alias="stop_lasts", origin="invented", kind="time",
        meaning="how long such a stop lasts on average; shorter with a spare drill at hand",
    )  # fmt: skip
    iced_k: WarmerK = entry(
        "2.7 F", alias="iced", origin="invented", kind="difference",
        meaning="how much warmer than planned iced liquids may reach the mixer, 1 SD",
    )  # fmt: skip
    half_k: WarmerK = entry(
        "1.8 F", alias="half_room", origin="invented", kind="difference",
        meaning="how far one half of a room's slab may lie off the rest, 1 SD; less where "
        "both were read",
    )  # fmt: skip


class SlabReadingEntry(Written):
    """``slab_reading`` of a room."""

    surface_c: SurfaceTemperatureC = entry(
        alias="temp", meaning="what the probe read on the slab"
    )
    read_at: Instant = entry(alias="at", meaning="when it was read")


class SunEntry(Written):
    """``sun`` of a room: when it falls on the floor, and on how much of it."""

    begins_min: ClockMinutes = entry(alias="from", meaning="when the sun reaches the floor")
    ends_min: ClockMinutes = entry(alias="to", meaning="when it leaves")
    share: Share = entry(meaning="share of the floor it falls on")


class RoomEntry(Written):
    """One ``[[rooms]]``."""

    name: Name = entry(ask="Its name", usual="Cook line")
    length_m: RoomSide | None = entry(
        None,
        alias="length",
        ask="  Its length, from the back wall to the way out",
        usual="30 ft",
    )
    width_m: RoomSide | None = entry(
        None, alias="width", ask="  Its width, the front that must stay wet", usual="20 ft"
    )
    use: Annotated[str, choice(*ROOM_USES)] = entry(ask="  What for?", usual="food preparation")
    way_out: Annotated[tuple[Name, ...], Field(strict=False)] = entry(
        ask="  Which floors must the crew cross to leave it? Names with commas, or none",
        usual="none",
    )
    topcoats: Annotated[int, whole(at_least=1, at_most=2, example="2")] | None = entry(
        None, meaning="how many topcoats; two where left out"
    )
    climate: Climate_ | None = entry(None, meaning="where it is not as the building")
    set_point_c: RoomTemperatureC | None = entry(
        None, alias="set_point", meaning="what its air is held at"
    )
    slab_thickness_m: SlabDepth | None = entry(
        None, alias="slab_thickness", meaning="where it is not as the building"
    )
    insulation_m: Insulation | None = entry(
        None, alias="insulation", meaning="where it is not as the building"
    )
    slab_reading: SlabReadingEntry | None = entry(None, meaning="a reading of its slab")
    sun: SunEntry | None = entry(None, meaning="when the sun falls on its floor")
    open_by: Instant | None = entry(
        None, meaning="by when this room must be open, where earlier or later than the rest"
    )
    not_before: Instant | None = entry(None, meaning="its first bucket comes no sooner")
    topcoat_1_not_before: Instant | None = entry(
        None, meaning="its first topcoat is begun no sooner"
    )
    topcoat_2_not_before: Instant | None = entry(
        None, meaning="its second topcoat is begun no sooner"
    )
    open_for: Annotated[OpenFor, choice("feet", "carts", "wash-down")] = entry(
        "wash-down",
        ask="  What must be possible in it when it opens: feet, carts or wash-down?",
        usual="wash-down",
        meaning="what open means for it",
    )
    heat: HeatEntry | None = entry(None, meaning="where it is not as the building")
    group: Name | None = entry(
        None, meaning="rooms of one group are poured one right after the other"
    )
    cove_m: Annotated[float, quantity(q.parse_length_m, "86 ft", at_most="10000 ft")] | None = (
        entry(None, alias="cove", meaning="how long its cove is, where not along all its edges")
    )
    outline_m: Annotated[tuple[Corner, ...], Field(max_length=200, strict=False)] | None = (
        entry(
            None, alias="outline", meaning="its corners one after the other, where no rectangle"
        )
    )
    islands_m: Annotated[
        tuple[Annotated[tuple[Corner, ...], Field(max_length=50, strict=False)], ...],
        Field(max_length=50, strict=False),
    ] = entry(
        (),
        alias="islands",
        ask="  What stands in it and is not coated, each with its size, and its place along "
        "the back wall and away from it (4 ft by 3 ft at 8 ft, 6 ft; ...)? Or none",
        usual="none",
        meaning="corners of each column, plinth or pit not coated",
    )
    stop_lines_m: Annotated[
        tuple[
            Annotated[tuple[Corner, ...], Field(min_length=2, max_length=2, strict=False)], ...
        ],
        Field(max_length=12, strict=False),
    ] = entry(
        (),
        alias="stop_lines",
        ask="  Drains or joints across it, how far from the back wall (12 ft; 20 ft)? Or none",
        usual="none",
        meaning="drains and joints at which a pour may stop",
    )
    back_wall: (
        Annotated[tuple[CornerNumber, ...], Field(min_length=2, max_length=2, strict=False)]
        | None
    ) = entry(None, meaning="numbers of the two corners between which the pour begins")

    @property
    def has_outline(self) -> bool:
        """Whether more than length and width is said of its shape."""
        turned = self.back_wall is not None and {*self.back_wall} != {1, 2}
        return bool(self.outline_m or self.islands_m or self.stop_lines_m or turned)

    @property
    def corners_m(self) -> tuple[tuple[float, float], ...]:
        """Its corners; a rectangle's from its length and width, the back wall first."""
        if self.outline_m:
            return self.outline_m
        width_m, length_m = self.width_m or 0.0, self.length_m or 0.0
        return ((0.0, 0.0), (width_m, 0.0), (width_m, length_m), (0.0, length_m))


class JobFile(Written):
    """The whole job file."""

    display: Annotated[Display, choice("us", "metric")] = entry(
        "us", note="what sheets show: us | metric"
    )
    clock: Annotated[Clock, choice("12 h", "24 h")] | None = entry(
        None, meaning="how sheets tell the time: 12 h with AM and PM where display is us"
    )
    languages: Annotated[
        tuple[Annotated[str, choice(*LANGUAGES)], ...], Field(min_length=1, strict=False)
    ] = entry(("en",), note='add "es" for Spanish on the sheet')
    seed: Annotated[int, whole(at_least=0, at_most=2**31 - 1, example="1")] = entry(
        1, meaning="any number; the same one draws the same nights"
    )
    records: Name | None = entry(None, meaning="a folder of past nights to learn from")
    site: SiteEntry = entry(meaning="where the kitchen is")
    weather: WeatherEntry = entry(meaning="where the hours come from")
    building: BuildingEntry = entry(meaning="the house around the floor")
    access: AccessEntry = entry(meaning="from when until when the kitchen is yours")
    materials: MaterialsEntry = entry(meaning="what is laid")
    crew: CrewEntry = entry(meaning="who works, and when")
    people: Annotated[tuple[PersonEntry, ...], Field(max_length=60, strict=False)] = entry(
        (),
        ask='Who works, each with what he or she can do ("Ana: foreman, mixer, runner; '
        'Bo: rake, smoother, topcoat")? Or none, to count heads. Known are '
        f"{', '.join(ROLES)}",
        usual="none",
        meaning="who they are, where no heads are counted",
    )
    pace: PaceEntry = entry(PaceEntry(), meaning="how fast the hands are")
    cove: CoveEntry | None = entry(None, meaning="cove base up the walls, where there is one")
    policy: PolicyEntry = entry(meaning="what the plan must keep and may do")
    doubt: DoubtEntry = entry(
        DoubtEntry(), meaning="how far materials and hands may be off from the plan"
    )
    rooms: Annotated[tuple[RoomEntry, ...], Field(min_length=1, strict=False)] = entry(
        meaning="one table for each floor"
    )
