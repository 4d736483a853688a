"""The plan: frozen rows, and their JSON."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, Literal

from cureplan.core.clock import ceil_to, floor_to
from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.core.rows import Rows
from cureplan.inputs.cards.write import drop_no_doubts
from cureplan.inputs.job.model import LONGEST_ACCESS, MOST_BUCKETS, MOST_ROOMS, Job, OpenFor
from cureplan.planning.floor.conditions import Part
from cureplan.planning.floor.takeoff import Takeoff, TakeoffRoom
from cureplan.planning.plan.night_rules import NightRules
from cureplan.planning.plan.people import Arrival, Break, Call, Labour, Stop
from cureplan.planning.plan.risk import DoubtTerm, Risk

__all__ = [
    "FORMAT",
    "Alternative",
    "Answer",
    "Arrival",
    "Binding",
    "Break",
    "BucketPlan",
    "Call",
    "ChillPlan",
    "ChillRoom",
    "CoatPlan",
    "Decisions",
    "DoubtTerm",
    "HourRow",
    "Labour",
    "Night",
    "NightLine",
    "NightPoured",
    "NightRules",
    "NightSlab",
    "Plan",
    "PrimerPlan",
    "RemedyTry",
    "Risk",
    "RoomHour",
    "RoomPlan",
    "Source",
    "StartHour",
    "Stop",
    "Takeoff",
    "TakeoffRoom",
    "plan_adapter",
    "plan_from_json",
    "plan_id",
    "plan_to_json",
]

FORMAT = 3
"""Of plan.json; one more when a key changes its name or its meaning."""
MOST_ROWS = {
    "rooms": MOST_ROOMS,
    "buckets": 2 * MOST_BUCKETS,
    "coats": 10 * MOST_ROOMS,
    "primers": 10 * MOST_ROOMS,
    "calls": 100 * MOST_ROOMS,
    "arrivals": 100 * MOST_ROOMS,
    "hours": 2 * 24 * LONGEST_ACCESS.days,
}
"""Of plan.json, with more than room for what rounding and a night add to a job's own limits."""

Binding = Literal["wet_edge", "working_time", "broadcast_closes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StartHour:
    """What a room's margin would be if its first bucket were mixed at `at`."""

    at: datetime
    as_is_min: float
    chilled_min: float
    in_shift: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RemedyTry:
    """A floor's margin at its planned start under some of the remedies."""

    remedies: tuple[str, ...]
    bays: int
    margin_min: float
    buys_min: float
    adopted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomPlan:
    """One floor from first bucket to opening."""

    room: str
    order: int
    area_m2: float
    thickness_m: float
    kits: int
    bays: int
    buckets_per_row: int
    row_depth_m: float
    cadence_min: float
    cadence_limit: str
    pour_start: datetime
    pour_end: datetime
    remedies: tuple[str, ...]
    chilled: bool
    margin_min: float
    sure_margin_min: float
    """Margin that holds in the job's share of nights."""
    binding: Binding
    binding_bucket: int
    as_is_margin_min: float
    keeps_frac: float
    air_c: float
    slab_c: float
    slab_falling: bool
    walkable: datetime
    topcoat_opens: datetime
    topcoat_closes: datetime
    foot_traffic: datetime
    wheels: datetime | None
    """None, as `wash_down`, where that lies beyond the hours known."""
    wash_down: datetime | None
    opens: datetime
    open_by: datetime
    reasons: tuple[Message, ...]
    starts: tuple[StartHour, ...]
    tries: tuple[RemedyTry, ...] = ()
    open_for: OpenFor = "wash-down"
    """What must be possible in it by `open_by`."""
    patches: tuple[tuple[tuple[tuple[float, float], ...], ...], ...] = ()
    """What each bucket covers: closed lines of corners [m], as the room was measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BucketPlan:
    """One kit: when each thing is done to it, and when each of its clocks ends."""

    room: str
    number: int
    bay: int
    row: int
    station: int
    liquids_in: datetime
    filler_in: datetime
    pour: datetime
    raked_by: datetime
    smoothed_by: datetime
    tied_in: datetime | None
    broadcast_by: datetime
    wet_edge_end: datetime
    working_time_end: datetime
    broadcast_end: datetime
    margin_min: float
    binding: Binding
    mixed_c: float
    pour_c: float
    slab_c: float
    chilled: bool
    clocks_sd_frac: float
    """Standard deviation of the logarithm of each clock's time from filler-in: batch, card
    and slab together. 9 times in 10 a clock ends within a factor exp(±1.645 sd)."""
    keeps_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatPlan:
    """One topcoat on one floor: its window, when it is laid, and why then."""

    room: str
    coat: int
    opens: datetime
    closes: datetime
    start: datetime
    end: datetime
    reason: Message
    batches: int
    volume_m3: float
    batch_minutes: float
    batch_working_min: float
    slab_c: float
    dew_c: float | None
    keeps_frac: float

    @property
    def stage(self) -> str:
        """What calls and sheets know it by."""
        return f"coat {self.coat}"

    @property
    def lay_at(self) -> datetime:
        """The start by a clock without seconds.

        The minute it falls in, unless the window is still shut then: rounded up, a coat
        laid at the last moment would read as too late.
        """
        minute = floor_to(self.start, minutes=1)
        return minute if minute >= self.opens else ceil_to(self.start, minutes=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class PrimerPlan:
    """A primer under one floor: when it is rolled, and when the slurry may follow."""

    room: str
    stage: str
    """What calls know it by."""
    start: datetime
    end: datetime
    slurry_opens: datetime
    """First start of the pour over it; `slurry_closes` is the last."""
    slurry_closes: datetime
    walkable: datetime
    reason: Message
    batches: int
    volume_m3: float
    batch_minutes: float
    batch_working_min: float
    broadcast: bool
    slab_c: float
    dew_c: float | None
    keeps_frac: float
    """In how many nights the slurry finds it neither wet nor too old."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChillRoom:
    """Ice for the kits of one floor."""

    room: str
    kits: int
    ice_kg: float
    needed_at: datetime
    in_ice_by: datetime
    in_ice_by_stirred: datetime
    from_c: float
    to_c: float
    gained_min: float
    gained_bucket_min: float
    gained_floor_min: float
    sweats: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ChillPlan:
    """Ice or not: which floors, how much, by when."""

    iced: bool
    rooms: tuple[ChillRoom, ...]
    ice_kg: float
    ice_per_kit_kg: float
    in_ice_by: datetime | None
    hours_standing: float
    hours_stirred: float
    liquids_as_is_c: float
    measured: bool
    ice_for_water_kg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomHour:
    """Air and slab of one room at a full hour."""

    room: str
    air_c: float
    slab_c: float
    """Where the sun falls, in a room that has some."""
    shade_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HourRow:
    """The weather at a full hour, where it came from, and what the rooms do."""

    at: datetime
    outdoor_c: float
    dew_c: float | None
    origin: str
    kind: Literal["observed", "forecast", "file", "interpolated"]
    rooms: tuple[RoomHour, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NightSlab:
    """How much warmer a room's slab is than was computed, and how unsure that is."""

    room: str
    warmer_k: float
    sd_k: float
    warm_parts: tuple[Part, ...] = ()
    half_sd_k: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NightPoured:
    """How many of a floor's buckets lay on it; those in `assumed` have no line in the log."""

    room: str
    buckets: int
    assumed: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NightLine:
    """One line of the log, as it was written."""

    at: datetime
    event: str
    room: str | None
    bucket: int | None
    value: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """What a plan made again on the night has learned, and changed."""

    until: datetime
    """The log is used up to here; what it says of later is new."""
    readings: int
    speed: float
    """Of the batch against the card the plan before it used."""
    speed_low: float
    """With `speed_high`, limits that hold 9 times in 10."""
    speed_high: float
    slab: tuple[NightSlab, ...]
    left_out: tuple[str, ...]
    """Rooms that no shift holds any more."""
    changes: tuple[Message, ...]
    rate_factor: float = 1.0
    """How many times faster than its card says the batch ages; the card stays as it is."""
    card_doubt_frac: float = 1.0
    """Share left of the doubt of the card's energy once the night was read."""
    batch_doubt_frac: float = 1.0
    """Share left of the spread of batches."""
    follows: str = ""
    """`plan_id` of the plan before it."""
    poured: tuple[NightPoured, ...] = ()
    log: tuple[NightLine, ...] = ()
    """All lines used for this plan and those before it, in the order of time."""


Status = Literal["within policy", "short of policy", "no feasible plan"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One of the three answers: what to do, why, and how sure."""

    question: Literal["order and start", "ice", "way back"]
    headline: tuple[Message, ...]
    reasons: tuple[Message, ...]
    doubt: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """Something the job does not allow by itself, and what it would buy."""

    what: Message
    also: Message | None
    """What it takes besides; None where the one thing will do."""
    room: str | None
    margin_min: float | None
    buys_min: float | None
    chance_frac: float | None = None
    """How often all of it would hold, planned in full with it; None: not planned."""
    opens: datetime | None = None
    """When the last room would open, by that plan."""


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
    held_frac: float
    """The confidence at which each window and each sure margin is stated: the job's, or
    less where that cannot be had."""
    known: str = "found"
    """What the search can say: proven best, found, or of a night's plan: placed."""
    ended: str = "settled"
    """Why it went no further: settled, stopped by hand, out of work, out of time, gave up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where something the plan rests on came from."""

    kind: Literal["weather", "note", "card", "assumption", "default", "record"]
    label: str
    licence: str | None
    generic: bool
    detail: Message | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Everything that was decided for one job."""

    format: Literal[3] = 3
    job: Job
    decisions: Decisions
    rooms: Rows[RoomPlan]
    buckets: Rows[BucketPlan]
    coats: Rows[CoatPlan]
    calls: Rows[Call]
    chill: ChillPlan
    hours: Rows[HourRow]
    takeoff: Takeoff
    risk: Risk
    warnings: tuple[Message, ...]
    sources: tuple[Source, ...]
    primers: tuple[PrimerPlan, ...] = ()
    rules: NightRules = field(default_factory=NightRules)
    """By what the sheet and a plan made on the night move what is late."""
    night: Night | None = None
    """What was learned and changed, where the plan was made again on the night."""
    arrivals: Rows[Arrival] = field(default_factory=Rows)
    """Who really comes when; a call is one of these only where nobody is there yet."""
    labour: Labour | None = None

    def __post_init__(self) -> None:
        zone = self.job.site.zone
        for name in ("rooms", "buckets", "coats", "calls", "hours", "arrivals"):
            spread = {"hours": "rooms", "arrivals": "stops"}.get(name)
            rows = Rows.of(getattr(self, name), zone=zone, spread=spread)
            object.__setattr__(self, name, rows)

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


@cache
def plan_adapter() -> Any:
    """What reads and writes a plan as JSON: to build it takes longer than to use it."""
    from pydantic import TypeAdapter

    return TypeAdapter(Plan)


def plan_to_json(plan: Plan, *, text_of: Callable[[Message], str] | None = None) -> str:
    """Write a plan as JSON text.

    Not for the sheets: those render the `Plan` itself.
    """
    import json

    data = plan_adapter().dump_python(plan, mode="json")
    for name in ("night", "primers"):
        if not getattr(plan, name):
            del data[name]
    _drop_unsaid(plan, data)
    drop_no_doubts(data["job"])
    if text_of is not None:
        _add_texts(plan, data, text_of)
    data["digest"] = _digest(data)
    return json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _drop_unsaid(plan: Plan, data: dict[str, Any]) -> None:
    """What a job says nothing of: names of people, and how long they may stay."""
    crew = plan.job.crew
    if plan.job.clock == "24 h":
        del data["job"]["clock"]
    if plan.job.cove is None:
        del data["job"]["cove"]
        for room in data["job"]["rooms"]:
            del room["cove_m"]
        for room in data["takeoff"]["rooms"]:
            del room["cove_m"], room["cove_kg"]
    if not crew.people:
        for call in data["calls"]:
            del call["names"]
    for item in fields(crew):
        if item.name in _SELDOM and getattr(crew, item.name) == item.default:
            del data["job"]["crew"][item.name]


_SELDOM = ("people", "longest_shift_s", "rest_s", "break_after_s", "break_for_s")


def _digest(data: Mapping[str, Any]) -> str:
    """Tells a plan as it was written from one changed since."""
    import hashlib
    import json

    kept = {key: value for key, value in data.items() if key != "digest"}
    text = json.dumps(kept, ensure_ascii=True, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _add_texts(node: Any, data: Any, text_of: Callable[[Message], str]) -> None:
    if isinstance(node, Message):
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

    A plan in another format, or changed by hand, is refused: its words and figures may no
    longer mean what they meant, so nothing in it can be relied on.
    """
    from pydantic import ValidationError

    data = _object_in(text, source)
    made_in = data.pop("format", 1)
    if made_in < FORMAT:
        raise _refused(
            f"a plan of an older cureplan, in format {made_in} of plan.json; this one reads "
            f"{FORMAT}",
            source,
        )
    if data.pop("digest", None) != _digest({"format": FORMAT, **data}):
        raise _refused("this plan was changed after it was written", source)
    for key, most in MOST_ROWS.items():
        if isinstance(data.get(key), list) and len(data[key]) > most:
            raise _refused(f"{len(data[key])} {key} are more than the {most} of a plan", source)
    try:
        plan: Plan = plan_adapter().validate_python(data)
    except ValidationError as error:
        first = error.errors()[0]
        raise _refused(
            f"not a plan of this version ({first['msg']})",
            source,
            key=".".join(str(part) for part in first["loc"]) or None,
        ) from None
    except (ArithmeticError, LookupError, ValueError) as error:
        raise _refused(f"not a plan ({error})", source) from None
    return plan


def _object_in(text: str, source: Path | str) -> dict[str, Any]:
    """The JSON object of a plan file in a format this version may know."""
    from pydantic_core import from_json

    try:
        data = from_json(text, allow_inf_nan=False)
    except (ValueError, RecursionError) as error:
        raise _refused(f"not a plan ({str(error)[:80]})", source) from None
    made_in = data.get("format", 1) if isinstance(data, dict) else None
    if (
        not isinstance(made_in, int)
        or isinstance(made_in, bool)
        or made_in < 1
        or not {"job", "decisions", "buckets"} <= data.keys()
    ):
        raise _refused("not a plan", source)
    if made_in > FORMAT:
        raise InputError(
            f"a plan of a newer cureplan, in format {made_in} of plan.json; this one reads "
            f"up to {FORMAT}",
            cure="read it with that one, or make the plan again with `cureplan plan`",
            source=source,
        )
    return dict(data)


def _refused(problem: str, source: Path | str, *, key: str | None = None) -> InputError:
    anew = "make the plan again with `cureplan plan`"
    return InputError(problem, cure=anew, source=source, key=key)
