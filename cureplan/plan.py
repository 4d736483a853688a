"""The plan: every time with its reason, frozen, and its round trip through JSON.

`plan.json` is the contract others read. Instants carry their offset, quantities are SI
with unit suffixes, and `job` holds the job with its cards resolved, so that a plan can
be checked again from the file alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from cureplan.errors import InputError
from cureplan.job.model import Job
from cureplan.plan_rows import (
    Binding,
    BucketPlan,
    Call,
    ChillPlan,
    ChillRoom,
    CoatPlan,
    HourRow,
    Night,
    NightLine,
    NightPoured,
    NightSlab,
    RemedyTry,
    RoomHour,
    RoomPlan,
    StartHour,
)
from cureplan.planning.takeoff import Takeoff, TakeoffRoom
from cureplan.say import Say

__all__ = [
    "Alternative",
    "Answer",
    "Binding",
    "BucketPlan",
    "Call",
    "ChillPlan",
    "ChillRoom",
    "CoatPlan",
    "Decisions",
    "HourRow",
    "Night",
    "NightLine",
    "NightPoured",
    "NightSlab",
    "Plan",
    "RemedyTry",
    "Risk",
    "RoomHour",
    "RoomPlan",
    "Source",
    "StartHour",
    "Takeoff",
    "TakeoffRoom",
    "plan_from_json",
    "plan_id",
    "plan_schema",
    "plan_to_json",
]

Status = Literal["within policy", "short of policy", "no feasible plan"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One of the three answers: what to do, why, and how sure."""

    question: Literal["order and start", "ice", "way back"]
    headline: tuple[Say, ...]
    reasons: tuple[Say, ...]
    doubt: Say


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """Something the job does not allow by itself, and what it would buy."""

    what: Say
    also: Say | None
    """What it takes besides; None where the one thing will do."""
    room: str | None
    margin_min: float | None
    buys_min: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Decisions:
    """The three answers, first and in plain words."""

    status: Status
    made_at: datetime
    answers: tuple[Answer, ...]
    alternatives: tuple[Alternative, ...]
    solver: str
    proven: bool
    gap_frac: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Risk:
    """How often the plan would hold, given what forecasts and materials do."""

    members: int
    seed: int
    forecast_sd_k: float
    slab_sd_k: float
    late_sd_min: float
    """A crew begins late by the size of a normal draw with this SD."""
    batch_sd_frac: float
    opens_on_time_frac: float
    buckets_keep_frac: float
    coats_keep_frac: float
    all_keep_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where something the plan rests on came from."""

    kind: Literal["weather", "note", "card", "assumption", "default", "record"]
    label: str
    licence: str | None
    generic: bool
    detail: Say | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Everything that was decided for one job."""

    job: Job
    decisions: Decisions
    rooms: tuple[RoomPlan, ...]
    buckets: tuple[BucketPlan, ...]
    coats: tuple[CoatPlan, ...]
    calls: tuple[Call, ...]
    chill: ChillPlan
    hours: tuple[HourRow, ...]
    takeoff: Takeoff
    risk: Risk
    warnings: tuple[Say, ...]
    sources: tuple[Source, ...]
    night: Night | None = None
    """What was learned and changed, where the plan was made again on the night."""

    @property
    def status(self) -> Status:
        """Within policy, short of it, or not feasible."""
        return self.decisions.status

    def buckets_of(self, room: str) -> tuple[BucketPlan, ...]:
        """The buckets of one room, in the order they are mixed."""
        return tuple(bucket for bucket in self.buckets if bucket.room == room)


def plan_id(plan: Plan) -> str:
    """Names the plan, so that ticks of one are never shown on another."""
    import hashlib

    parts = [plan.job.site.name, str(plan.decisions.made_at.timestamp())]
    parts += [f"{b.room}|{b.number}|{b.pour.timestamp()}" for b in plan.buckets]
    return hashlib.sha256("\n".join(parts).encode("utf-8")).hexdigest()[:16]


def _adapter() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(Plan)


def plan_to_json(plan: Plan, *, text_of: Callable[[Say], str] | None = None) -> str:
    """Write a plan as JSON text.

    Not for the sheets: those render the `Plan` itself.

    Parameters
    ----------
    plan : Plan
        What to write.
    text_of : callable, optional
        Puts a `Say` into words; its text is then written beside code and values.

    Returns
    -------
    str
        UTF-8 JSON, two-space indent, keys in the contract's order.
    """
    import json

    data = _adapter().dump_python(plan, mode="json")
    if plan.night is None:
        del data["night"]
    if text_of is not None:
        _add_texts(plan, data, text_of)
    return json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _add_texts(node: Any, data: Any, text_of: Callable[[Say], str]) -> None:
    if isinstance(node, Say):
        data["text"] = text_of(node)
    elif isinstance(node, tuple):
        for child, child_data in zip(node, data, strict=True):
            _add_texts(child, child_data, text_of)
    elif is_dataclass(node):
        for item in fields(node):
            if item.name in data:
                _add_texts(getattr(node, item.name), data[item.name], text_of)


def plan_from_json(text: str, *, source: Path | str = "plan.json") -> Plan:
    """Read a plan back from its JSON text.

    Parameters
    ----------
    text : str
        What `plan_to_json` wrote.
    source : Path or str
        Named in errors.

    Raises
    ------
    InputError
        The text is not a plan of this version.
    """
    from pydantic import ValidationError

    try:
        plan: Plan = _adapter().validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        raise InputError(
            f"not a plan of this version ({first['msg']})",
            cure="make the plan again with `cureplan plan`",
            source=source,
            key=".".join(str(part) for part in first["loc"]) or None,
        ) from None
    return plan


def plan_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of `plan.json`."""
    schema: dict[str, Any] = _adapter().json_schema(mode="serialization")
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "cureplan plan"
    return schema
