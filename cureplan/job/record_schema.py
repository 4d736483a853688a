"""A finished job as its file holds it: plain TOML, one file per job, open to any editor."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from pydantic import Field

from cureplan import quantities as q
from cureplan.job.fields import (
    LiquidTemperatureC,
    Name,
    Reads,
    RoomTemperatureC,
    SurfaceTemperatureC,
    Written,
    quantity,
    whole,
)
from cureplan.quantities import refusal

__all__ = ["ClockEntry", "RecordFile"]


def _read_finished(value: Any) -> datetime:
    cure = "write it without quotes and with its offset, like 2013-07-20T06:00:00-04:00"
    if not isinstance(value, datetime):
        raise refusal(str(value), "this is not a date with a time", cure)
    if value.tzinfo is None:
        raise refusal(str(value), "the time lacks its offset from UTC", cure)
    return value


Watched = Annotated[
    float, quantity(q.parse_duration_s, "11.5 min", above="0 s", at_most="31 d")
]
Sample = Annotated[
    float, quantity(q.parse_temperature_c, "84 F", at_least="0 C", at_most="60 C")
]
Humidity = Annotated[float, quantity(q.parse_fraction, "55 %", at_least="1 %")]


class ClockEntry(Written):
    """One clock of one batch: expected, and watched."""

    milestone: Name
    place: Name
    batch: Annotated[int, whole(at_least=1, at_most=100_000, example="3")]
    expected_s: Watched = Field(alias="expected")
    soonest_s: Watched = Field(alias="soonest")
    latest_s: Watched = Field(alias="latest")
    watched_s: Watched = Field(alias="watched")
    at_c: Sample | None = Field(default=None, alias="at")
    liquids_c: LiquidTemperatureC | None = Field(default=None, alias="liquids")
    filler_c: RoomTemperatureC | None = Field(default=None, alias="filler")
    air_c: RoomTemperatureC | None = Field(default=None, alias="air")
    slab_c: SurfaceTemperatureC | None = Field(default=None, alias="slab")
    poured_s: Watched | None = Field(default=None, alias="poured")
    humidity_frac: Humidity | None = Field(default=None, alias="humidity")


class RecordFile(Written):
    """A finished job."""

    job: Name
    card: Name
    finished: Annotated[
        datetime,
        Reads(
            read=_read_finished,
            shape={"type": "string", "format": "date-time"},
            example="2013-07-20T06:00:00-04:00",
        ),
    ]
    holds_frac: Annotated[
        float, quantity(q.parse_fraction, "90 %", at_least="50 %", at_most="99.9 %")
    ] = Field(alias="holds")
    clocks: Annotated[tuple[ClockEntry, ...], Field(min_length=1, strict=False)]
