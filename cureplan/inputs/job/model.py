"""The job as the rest of the program sees it: frozen, cross-checked, in SI and °C.

Built only by `cureplan.inputs.job.reader.read_job`; every instant is timezone-aware, every
length in metres, every duration in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any, Final, Literal
from zoneinfo import ZoneInfo

from cureplan.core.messages import Message
from cureplan.inputs.cards.model import AggregateCard, PrimerCard, SlurryCard, TopcoatCard
from cureplan.inputs.job.crew import Crew, Shift

Climate = Literal["held", "drifting", "open"]
Remedy = Literal["hour", "chill", "cool filler", "bays", "heat"]
Display = Literal["us", "metric"]
Clock = Literal["12 h", "24 h"]
CoveWhen = Literal["before", "after"]
OpenFor = Literal["feet", "carts", "wash-down"]
OPEN_NEEDS: Mapping[OpenFor, tuple[str, ...]] = {
    "feet": ("foot_traffic",),
    "carts": ("foot_traffic", "wheels"),
    "wash-down": ("foot_traffic", "wheels", "wash_down"),
}
"""What the last coat must bear before a room counts as open."""
Change = str | float | bool | Sequence[object] | None
"""What a key of a job may be changed to."""

MOST_ROOMS = 48
"""A plan of so many is found in a minute, in 650 MB; beyond, jobs are planned apart."""
MOST_BUCKETS = 3_000
"""Of one plan: some 7,500 m2 in the thickness of the shipped slurry."""
LONGEST_ACCESS = timedelta(days=60)
"""A kitchen closed for longer is a building site; more likely a slip in a date."""
LONGEST_AHEAD = timedelta(days=400)
"""Nobody plans a pour longer ahead; more likely a slip in a year."""

PINS: Final[Mapping[str, str]] = {
    "pour": "not_before",
    "coat 1": "topcoat_1_not_before",
    "coat 2": "topcoat_2_not_before",
}
"""Key of a room before whose hour a layer is not begun, by the layer's stage."""

__all__ = [
    "LONGEST_ACCESS",
    "MOST_BUCKETS",
    "MOST_ROOMS",
    "OPEN_NEEDS",
    "PINS",
    "Access",
    "Building",
    "Cards",
    "Climate",
    "Clock",
    "Cove",
    "CoveWhen",
    "Crew",
    "Display",
    "Doubts",
    "Heat",
    "Job",
    "Materials",
    "OpenFor",
    "Outline",
    "Pace",
    "Point",
    "Policy",
    "Remedy",
    "Room",
    "Shift",
    "Site",
    "SlabReading",
    "SunPatch",
    "WeatherRequest",
    "ring_area_m2",
    "ring_length_m",
    "signed_area_m2",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the kitchen is."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    time_zone: str

    @property
    def zone(self) -> ZoneInfo:
        """The site's zone; sheets speak in it, nothing else does."""
        return ZoneInfo(self.time_zone)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherRequest:
    """Where the hourly weather comes from, and how old a forecast may be."""

    source: Literal["file", "station", "forecast"]
    file: Path | None
    max_age_s: float
    contact: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SunPatch:
    """A part of the day in which the sun falls on a room's floor (local times)."""

    starts: time
    ends: time
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """Heaters that keep a room at least this warm from an hour on."""

    to_c: float
    from_at: datetime
    runs: bool
    """Whether they run: where the job lists heat as a remedy, only if the plan needs it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Building:
    """How room air and slab follow the weather."""

    climate: Climate
    lag_s: float
    gain_k: float
    set_point_c: float | None
    slab_thickness_m: float
    insulation_m: float
    below: Literal["ground", "air"]
    ground_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """From when the crew may be in, and when the kitchen must open."""

    begins: datetime
    open_by: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How fast the hands are; whole-crew figures per role with the people of that role.

    Areas are per person and second; the defaults are invented and every crew
    differs, so a foreman should time one bucket and write his own.
    """

    haul_s: float
    rake_m2_s: float
    smooth_m2_s: float
    broadcast_m2_s: float
    topcoat_m2_s: float
    vacuum_m2_s: float
    primer_m2_s: float = 0.061935
    """40 sq ft/min, invented; left at that by plans made before primers were planned."""
    edge_m_s: float = 0.0508
    """Of one edge hand along walls and islands: 10 ft/min, invented; left at that by plans
    made before it was asked."""
    row_depth_min_m: float
    row_depth_max_m: float
    bay_turn_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cove:
    """Mortar that is trowelled up the walls, in one go with the layer it leads up to."""

    height_m: float
    material_kg_m: float
    pace_m_s: float
    """Of one pair of hands."""
    when: CoveWhen
    """Before the pour, and before its primer; or after it, before the first topcoat."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """How safe the plan must be, and what it may change by itself."""

    margin_s: float
    confidence: float
    remedies: tuple[Remedy, ...]
    dew_margin_k: float
    cut_at: Literal["bay", "row"] = "bay"
    """Where a pour may be ended square when the mixing stops: at a bay's end, or any row."""


GENERIC_TIMES_SD: Final = 0.30
"""All times of a generic card together, 1 SD of ln(time), as the fit takes it: invented."""
OWN_TIMES_SD: Final = 0.10
"""The same of a card of the product in hand: invented."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """How far materials and hands may be off, 1 SD each unless said; all invented."""

    slurry_times: float | None = None
    """All times of the card together, as a share; None: by whether the card is generic."""
    topcoat_times: float | None = None
    primer_times: float | None = None
    kit: float = 0.05
    """One kit against the next, as a share of its times."""
    pallet_share: float = 0.5
    """Share of the variance between batches that kits of one pallet have in common; the
    rest is the night's."""
    pallet: int = 40
    """Kits of a pallet."""
    stop_every: int = 40
    """The mixing stops once in so many buckets."""
    stop_lasts_s: float = 360.0
    """On average; long stops are rare as in any queue (exponential)."""
    iced_k: float = 1.5
    """How much warmer than planned iced liquids may be: the size of a normal draw."""
    half_k: float = 1.0
    """One half of a room's slab against the rest. Three to four hours of afternoon sun that
    nobody declared leave 2 to 4 K by the evening, with sun and slabs as reckoned here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Materials:
    """Temperatures at which kits are stored and, once chilled, measured."""

    storage_c: float | None
    """None: the kits take the temperature of the room air."""
    iced_c: float
    """What the liquids are planned to reach in ice."""
    cool_filler_c: float
    """What the filler is planned to reach where it is kept cool."""
    liquids_measured_c: float | None
    stirred_in_ice: bool
    cooler_loss: float
    waste: float
    profile_allowance_m: float
    thickness_m: float
    ice_water_m3: float = 0.0
    """Water that one kit's pails stand in."""
    ice_water_c: float = 0.0

    @property
    def laid_m(self) -> float:
        """How thick a floor is laid on average, what its profile takes up counted in."""
        return self.thickness_m + self.profile_allowance_m


@dataclass(frozen=True, slots=True, kw_only=True)
class SlabReading:
    """A surface temperature read with an infrared thermometer."""

    surface_c: float
    read_at: datetime


Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A floor that is no plain rectangle: corners in metres, as measured on site."""

    corners_m: tuple[Point, ...]
    islands_m: tuple[tuple[Point, ...], ...]
    """Columns, plinths, pits: not coated."""
    stop_lines_m: tuple[tuple[Point, Point], ...]
    """Drains and joints at which the pour may stop."""
    back_wall: tuple[int, int]
    """Corners, counted from 0, of the wall at which the pour begins."""

    @property
    def area_m2(self) -> float:
        """What is coated [m²]."""
        return ring_area_m2(self.corners_m) - sum(map(ring_area_m2, self.islands_m))

    @property
    def edge_m(self) -> float:
        """Length of all edges, of islands too [m]."""
        from shapely import union_all
        from shapely.geometry import Polygon

        # An island that stands against a wall hides a piece of it.
        islands = union_all([Polygon(ring) for ring in self.islands_m])
        return float(Polygon(self.corners_m).difference(islands).length)

    @property
    def turn_rad(self) -> float:
        """How far the back wall is turned; from it the floor lies on the left."""
        a, b = (self.corners_m[corner] for corner in self.back_wall)
        towards = math.atan2(b[1] - a[1], b[0] - a[0])
        return towards if signed_area_m2(self.corners_m) > 0 else towards + math.pi

    @property
    def size_m(self) -> Point:
        """Its length along the retreat from the back wall, and its width across [m]."""
        turn = self.turn_rad
        across = [x * math.cos(turn) + y * math.sin(turn) for x, y in self.corners_m]
        along = [y * math.cos(turn) - x * math.sin(turn) for x, y in self.corners_m]
        return max(along) - min(along), max(across) - min(across)


def _sides(ring: Sequence[Point]) -> Iterator[tuple[Point, Point]]:
    return zip(ring, (*ring[1:], ring[0]), strict=True)


def signed_area_m2(ring: Sequence[Point]) -> float:
    """The same, below 0 where the corners run clockwise [m²]."""
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in _sides(ring)) / 2.0


def ring_area_m2(ring: Sequence[Point]) -> float:
    """What a closed line through these corners holds [m²]."""
    return abs(signed_area_m2(ring))


def ring_length_m(ring: Sequence[Point]) -> float:
    """How long a closed line through these corners is [m]."""
    return sum(math.dist(a, b) for a, b in _sides(ring))


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """One floor, poured in one go from its back wall towards its way out."""

    name: str
    length_m: float
    width_m: float
    use: str
    way_out: tuple[str, ...]
    topcoats: int
    climate: Climate
    set_point_c: float | None
    slab_thickness_m: float
    insulation_m: float
    slab_reading: SlabReading | None
    sun_patch: SunPatch | None
    open_by: datetime | None
    group: str | None
    heat: Heat | None = None
    open_for: OpenFor = "wash-down"
    """What must be possible in it by its hour of opening."""
    outline: Outline | None = None
    """Where the floor is no plain rectangle; length and width then are its extent."""
    part_of: str | None = None
    """The room it is a part of, where one is split at a stop line and poured in parts."""
    not_before: datetime | None = None
    """Its first bucket comes no sooner; None where the shifts alone decide."""
    topcoat_1_not_before: datetime | None = None
    """Nor is its first topcoat begun; what leads up to that may come before."""
    topcoat_2_not_before: datetime | None = None
    cove_m: float | None = None
    """Length of its cove; None: along all its edges, where the job has one."""

    @property
    def pins(self) -> Mapping[str, datetime]:
        """Before when no layer is begun, by its stage."""
        held = {stage: getattr(self, key) for stage, key in PINS.items()}
        return {stage: at for stage, at in held.items() if at is not None}

    def unpinned(self) -> Room:
        """The same, begun whenever it can be."""
        free: dict[str, Any] = dict.fromkeys(PINS.values())
        return replace(self, **free)

    @property
    def open_needs(self) -> tuple[str, ...]:
        """Milestones of its last coat that make it open."""
        return OPEN_NEEDS[self.open_for]

    @property
    def area_m2(self) -> float:
        """Floor area [m²]."""
        if self.outline is not None:
            return self.outline.area_m2
        return self.length_m * self.width_m

    @property
    def edge_m(self) -> float:
        """Length of the floor's edges [m]."""
        if self.outline is not None:
            return self.outline.edge_m
        return 2.0 * (self.length_m + self.width_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cards:
    """The material cards the job names, resolved."""

    slurry: SlurryCard
    topcoat: TopcoatCard
    aggregate: AggregateCard
    primer: PrimerCard | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """Everything the user has said, checked against itself."""

    site: Site
    weather: WeatherRequest
    building: Building
    access: Access
    materials: Materials
    crew: Crew
    pace: Pace
    policy: Policy
    rooms: tuple[Room, ...]
    cards: Cards
    display: Display
    languages: tuple[str, ...]
    source: Path
    seed: int
    notes: tuple[Message, ...] = field(default=())
    records: Path | None = None
    """Folder of finished jobs; None where the job names none and none lies beside it."""
    doubt: Doubts = Doubts()
    clock: Clock = "24 h"
    """How sheets tell the time."""
    cove: Cove | None = None

    def cove_m(self, room: Room) -> float:
        """Length of the cove of a room [m]; 0 where the job has none."""
        if self.cove is None:
            return 0.0
        return room.edge_m if room.cove_m is None else room.cove_m

    def room(self, name: str) -> Room:
        """The room of that name."""
        for room in self.rooms:
            if room.name == name:
                return room
        raise KeyError(name)

    def times_sd(self, kind: str) -> float:
        """How far all times of the card of a kind of layer may be off together, 1 SD."""
        said: float | None = getattr(self.doubt, f"{kind}_times")
        if said is not None:
            return said
        card = getattr(self.cards, kind)
        return GENERIC_TIMES_SD if card is not None and card.generic else OWN_TIMES_SD

    def crossed_from(self, name: str) -> tuple[str, ...]:
        """Every floor on the way out of a room: its own ways out, and theirs in turn."""
        found = list(self.room(name).way_out)
        # The list grows while it is read: a way out behind a way out counts too.
        for floor in found:
            found += [behind for behind in self.room(floor).way_out if behind not in found]
        return tuple(found)

    def due(self, name: str) -> datetime:
        """When a room must be open: by its own limit, or sooner by that of a room behind it."""
        return self._due_of(self.due_for(name))

    def due_for(self, name: str) -> str:
        """The room for which a room must be open by then: itself, or one behind it."""
        behind = [r.name for r in self.rooms if name in self.crossed_from(r.name)]
        return min([name, *behind], key=self._due_of)

    def _due_of(self, name: str) -> datetime:
        return self.room(name).open_by or self.access.open_by

    def with_slab(self, room: str, surface: str | float, *, at: datetime | None = None) -> Job:
        """This job with a room's slab read.

        Not for a reading on the night: `replan` learns from those.

        Parameters
        ----------
        room : str
            Name of the room.
        surface : str or float
            What was read: a text such as "88 F", or °C.
        at : datetime, optional
            When, aware; else when it was read before, else when access begins.

        Raises
        ------
        InputError
            No such room, or no reading a job file could hold.

        Examples
        --------
        >>> import cureplan
        >>> job = cureplan.read_job(cureplan.demo_job_path("school-kitchen"))
        >>> warm = job.with_slab("Cook line", "95 F")
        >>> round(warm.room("Cook line").slab_reading.surface_c, 1)
        35.0
        """
        from cureplan.inputs.job.edits import with_slab

        return with_slab(self, room, surface, at)

    def with_room(self, room: str, **changes: Change) -> Job:
        """This job with some keys of a room changed, named and written as in a job file.

        Not for adding or dropping rooms: use `dataclasses.replace` and `check_job`.
        Numbers are in SI and °C; `width="20 ft"` and `width_m=6.1` both do.

        Raises
        ------
        InputError
            Nothing a job file could say.

        Examples
        --------
        >>> import cureplan
        >>> job = cureplan.read_job(cureplan.demo_job_path("school-kitchen"))
        >>> round(job.with_room("Cook line", width="20 ft").room("Cook line").width_m, 3)
        6.096
        """
        from cureplan.inputs.job.edits import with_room

        return with_room(self, room, changes)

    def with_start(self, begins: datetime | str) -> Job:
        """This job with access from another time: aware, or a text by the site's clock.

        Raises
        ------
        InputError
            No time, or one the rest of the job does not allow.

        Examples
        --------
        >>> import cureplan
        >>> job = cureplan.read_job(cureplan.demo_job_path("school-kitchen"))
        >>> job.with_start("2013-07-17T21:00").access.begins.hour
        21
        """
        from cureplan.inputs.job.edits import with_start

        return with_start(self, begins)

    def with_crew(self, **changes: Change) -> Job:
        """This job with another crew, its keys named and written as in a job file.

        Raises
        ------
        InputError
            Nothing a job file could say.

        Examples
        --------
        >>> import cureplan
        >>> job = cureplan.read_job(cureplan.demo_job_path("school-kitchen"))
        >>> job.with_crew(rake=2, setup="30 min").crew.setup_s
        1800.0
        """
        from cureplan.inputs.job.edits import with_table

        return with_table(self, "crew", changes)

    def with_table(self, table: str, **changes: Change) -> Job:
        """This job with keys of a table changed: site, building, materials, pace, policy.

        Raises
        ------
        InputError
            Nothing a job file could say.

        Examples
        --------
        >>> import cureplan
        >>> job = cureplan.read_job(cureplan.demo_job_path("school-kitchen"))
        >>> job.with_table("policy", margin="3 min").policy.margin_s
        180.0
        """
        from cureplan.inputs.job.edits import with_table

        return with_table(self, table, changes)
