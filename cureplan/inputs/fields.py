"""Field types of what users write: quantity strings, clock times, closed lists.

Each type reads its text into SI at once, so a model field holds the number its name
says; a fault is raised as `QuantityError` and later put beside its file and line.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from difflib import get_close_matches
from functools import cache
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.fields import FieldInfo
from pydantic_core.core_schema import CoreSchema, no_info_plain_validator_function

from cureplan.core import quantities as q
from cureplan.core.clock import parse_clock_minutes
from cureplan.core.quantities import refusal

__all__ = [
    "ClockMinutes",
    "Corner",
    "CornerNumber",
    "DewMarginK",
    "EndMinutes",
    "Facts",
    "GainK",
    "HeatRiseK",
    "Instant",
    "LiquidTemperatureC",
    "Name",
    "People",
    "Reads",
    "RoomSide",
    "RoomTemperatureC",
    "SurfaceTemperatureC",
    "Written",
    "choice",
    "entry",
    "facts_of",
    "number",
    "quantity",
    "reads_of",
    "whole",
]


class Written(BaseModel):
    """Base of everything a user writes: frozen, and no key it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reads:
    """Pydantic hook: read a written value with `read`, publish `shape` as its schema."""

    read: Callable[[Any], Any]
    shape: Mapping[str, Any]
    example: str
    """A good value as it stands in the file, quotes and all."""

    def __get_pydantic_core_schema__(
        self, _source: Any, _handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, _schema: CoreSchema, _handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return dict(self.shape)


def quantity(
    parse: Callable[[str], float],
    example: str,
    *,
    above: str | None = None,
    at_least: str | None = None,
    at_most: str | None = None,
) -> Reads:
    """Hook for a quantity string."""
    limit = cache(parse)

    def read(text: Any) -> float:
        value = parse(text)
        cure = f'write it like "{example}"'
        if parse is q.parse_temperature_difference_k:
            cure += "; it is how much warmer, not how warm"
        if above is not None and not value > limit(above):
            raise refusal(text, f"this must be more than {above}", cure)
        if at_least is not None and not value >= limit(at_least):
            raise refusal(text, f"this must be at least {at_least}", cure)
        if at_most is not None and not value <= limit(at_most):
            raise refusal(text, f"this must be at most {at_most}", cure)
        return value

    limits = {"x-above": above, "x-at-least": at_least, "x-at-most": at_most}
    said = {name: limit for name, limit in limits.items() if limit is not None}
    shape = {"type": "string", "examples": [example], **said}
    return Reads(read=read, shape=shape, example=f'"{example}"')


def number(*, at_least: float, at_most: float, example: str) -> Reads:
    """Hook for one of the few bare numbers: degrees of latitude, a count, a seed."""

    def read(value: Any) -> float:
        cure = f"write a number like {example}, without quotes"
        if not isinstance(value, int | float) or isinstance(value, bool):
            raise refusal(value, "this is not a number", cure)
        if not at_least <= value <= at_most:
            raise refusal(value, f"this lies between {at_least:g} and {at_most:g}", cure)
        return value

    shape = {"type": "number", "minimum": at_least, "maximum": at_most}
    return Reads(read=read, shape=shape, example=example)


def whole(*, at_least: int, at_most: int, example: str) -> Reads:
    """Hook for a whole number."""

    def read(value: Any) -> int:
        cure = f"write a whole number like {example}, without quotes"
        if not isinstance(value, int) or isinstance(value, bool):
            raise refusal(value, "this is not a whole number", cure)
        if not at_least <= value <= at_most:
            raise refusal(value, f"this lies between {at_least} and {at_most}", cure)
        return value

    shape = {"type": "integer", "minimum": at_least, "maximum": at_most}
    return Reads(read=read, shape=shape, example=example)


def choice(*allowed: str) -> Reads:
    """Hook for a word out of a closed list."""

    def read(text: Any) -> str:
        if isinstance(text, str) and text in allowed:
            return text
        near = get_close_matches(str(text), allowed, n=1)
        hint = f' (did you mean "{near[0]}"?)' if near else ""
        shown = ", ".join(f'"{word}"' for word in allowed)
        raise refusal(text, f"this is not on the list{hint}", f"write one of {shown}")

    shape = {"type": "string", "enum": list(allowed)}
    return Reads(read=read, shape=shape, example=f'"{allowed[0]}"')


def _read_instant(value: Any) -> datetime:
    cure = "write it without quotes, like 2013-07-17T19:00:00"
    if isinstance(value, datetime):
        return value
    if isinstance(value, str):
        raise refusal(value, "a date and time stands without quotes", cure)
    raise refusal(value, "this is not a date with a time", cure)


def _read_name(value: Any) -> str:
    cure = 'write a name in quotes, like "Cook line"'
    if not isinstance(value, str):
        raise refusal(value, "this is not a name", cure)
    name = " ".join(value.split())
    if not name or not name.isprintable():
        raise refusal(value, "a name cannot be empty or hold control characters", cure)
    if len(name) > 80:
        raise refusal(value, "this name is longer than 80 characters", cure)
    return name


def _clock(hour: str) -> Reads:
    shape = {"type": "string", "examples": [hour]}
    return Reads(read=parse_clock_minutes, shape=shape, example=f'"{hour}"')


ClockMinutes = Annotated[int, _clock("19:00")]
EndMinutes = Annotated[int, _clock("05:00")]
"""The hour a night's shift ends at."""
Instant = Annotated[
    datetime,
    Reads(
        read=_read_instant,
        shape={"type": "string", "format": "date-time"},
        example="2013-07-17T19:00:00",
    ),
]
Name = Annotated[
    str,
    Reads(
        read=_read_name,
        shape={"type": "string", "minLength": 1, "maxLength": 80},
        example='"..."',
    ),
]
People = Annotated[int, whole(at_least=1, at_most=50, example="2")]
RoomTemperatureC = Annotated[
    float, quantity(q.parse_temperature_c, "82 F", at_least="-10 C", at_most="60 C")
]
LiquidTemperatureC = Annotated[
    float, quantity(q.parse_temperature_c, "40 F", at_least="-5 C", at_most="60 C")
]
SurfaceTemperatureC = Annotated[
    float, quantity(q.parse_temperature_c, "86 F", at_least="-10 C", at_most="75 C")
]
GainK = Annotated[
    float,
    quantity(q.parse_temperature_difference_k, "2 F", at_least="-20 C", at_most="20 C"),
]
DewMarginK = Annotated[
    float,
    quantity(q.parse_temperature_difference_k, "5 F", at_least="0 C", at_most="20 C"),
]
HeatRiseK = Annotated[
    float,
    quantity(q.parse_temperature_difference_k, "8 C", at_least="0 C", at_most="35 C"),
]
RoomSide = Annotated[
    float, quantity(q.parse_length_m, "22 ft", at_least="1 ft", at_most="500 ft")
]


def _read_corner(value: Any) -> tuple[float, float]:
    cure = 'write two lengths from one corner of the room, like ["12 ft 6 in", "0 ft"]'
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise refusal(value, "this is not a corner", cure)
    if any(isinstance(part, str) and part.strip().startswith(("-", "−")) for part in value):
        below = "measure from where no corner lies below 0: add the same to all of them"
        raise refusal(value, "a corner lies below 0", below)
    across_m, along_m = (q.parse_length_m(part) for part in value)
    if max(abs(across_m), abs(along_m)) > 300.0:
        raise refusal(value, "this lies more than 300 m away", cure)
    return across_m, along_m


Corner = Annotated[
    tuple[float, float],
    Reads(
        read=_read_corner,
        shape={"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2},
        example='["12 ft 6 in", "0 ft"]',
    ),
]
CornerNumber = Annotated[int, whole(at_least=1, at_most=200, example="1")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What a key says of itself beyond its limits; all of it is in its JSON Schema too."""

    ask: str = ""
    """The question `new` puts."""
    usual: str = ""
    """The answer `new` offers."""
    note: str = ""
    """The comment beside it in a file that `new` writes."""
    meaning: str = ""
    """What the value is, said where it is missing or refused."""
    origin: str = ""
    """Where its default comes from."""
    kind: str = ""
    """What kind of quantity its default is, for showing it."""


def entry(
    default: Any = ...,
    *,
    alias: str | None = None,
    ask: str = "",
    usual: str = "",
    note: str = "",
    meaning: str = "",
    origin: str = "",
    kind: str = "",
) -> Any:
    """A key of a file; a default is written as the user would write it."""
    facts = Facts(ask=ask, usual=usual, note=note, meaning=meaning, origin=origin, kind=kind)
    said = {f"x-{name}": text for name, text in asdict(facts).items() if text}
    return Field(
        default=default,
        alias=alias,
        validate_default=isinstance(default, str),
        description=ask or note or meaning or None,
        json_schema_extra=dict(said) if said else None,
    )


def facts_of(info: FieldInfo) -> Facts:
    """What a key says of itself."""
    said = info.json_schema_extra
    found = said if isinstance(said, dict) else {}
    return Facts(**{name.removeprefix("x-"): str(text) for name, text in found.items()})


def reads_of(info: FieldInfo) -> Reads | None:
    """How a key's value is read, also where it may be left out."""
    found = [meta for meta in info.metadata if isinstance(meta, Reads)]
    for inner in getattr(info.annotation, "__args__", ()):
        found += [m for m in getattr(inner, "__metadata__", ()) if isinstance(m, Reads)]
    return found[0] if found else None
