"""The rows of the plan: rooms, buckets, coats, calls, ice and hours."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from cureplan.clock import ceil_to, floor_to
from cureplan.say import Say

__all__ = [
    "Binding",
    "BucketPlan",
    "Call",
    "ChillPlan",
    "ChillRoom",
    "CoatPlan",
    "HourRow",
    "Night",
    "NightLine",
    "NightPoured",
    "NightSlab",
    "RemedyTry",
    "RoomHour",
    "RoomPlan",
    "StartHour",
]

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
    wheels: datetime
    wash_down: datetime
    opens: datetime
    open_by: datetime
    reasons: tuple[Say, ...]
    starts: tuple[StartHour, ...]
    tries: tuple[RemedyTry, ...] = ()


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
    reason: Say
    batches: int
    volume_m3: float
    batch_minutes: float
    batch_working_min: float
    slab_c: float
    dew_c: float | None
    keeps_frac: float

    @property
    def lay_at(self) -> datetime:
        """The start by a clock without seconds.

        The minute it falls in, unless the window is still shut then: rounded up, a coat
        laid at the last moment would read as too late.
        """
        minute = floor_to(self.start, minutes=1)
        return minute if minute >= self.opens else ceil_to(self.start, minutes=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """Who must be there when, for what."""

    role: str
    people: int
    room: str
    stage: Literal["pour", "vacuum", "coat 1", "coat 2"]
    call: datetime
    first_task: datetime
    last_task: datetime
    busy_frac: float
    reason: Say


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


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomHour:
    """Air and slab of one room at a full hour."""

    room: str
    air_c: float
    slab_c: float


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
    changes: tuple[Say, ...]
    follows: str = ""
    """`plan_id` of the plan before it."""
    poured: tuple[NightPoured, ...] = ()
    log: tuple[NightLine, ...] = ()
    """All lines used for this plan and those before it, in the order of time."""
