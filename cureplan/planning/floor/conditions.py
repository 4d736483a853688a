"""Hourly air, slab and dew point of each room."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.clock import from_epoch_s
from cureplan.core.errors import OutOfRangeError
from cureplan.core.kept import kept
from cureplan.core.moist_air import relative_humidity
from cureplan.inputs.job.model import Building, Job, Room
from cureplan.science.heat import (
    AIR_FACE_W_M2K,
    CONCRETE_CONDUCTIVITY_W_MK,
    CONCRETE_DENSITY_KG_M3,
    CONCRETE_SPECIFIC_HEAT_J_KGK,
    CONCRETE_SUN_ABSORPTANCE,
    DAY_S,
)
from cureplan.science.room_air import drifting_air_c, held_air_c, open_air_c
from cureplan.science.slab import Slab
from cureplan.science.slab_grid import slab_on_ground, slab_over_air
from cureplan.science.slab_reading import (
    READING_SD_K,
    corrected_surface_c,
    reading_fade,
    reading_share,
    slab_time_constant_s,
)
from cureplan.science.sun import absorbed_w_m2, clear_sky_w_m2, clouded_w_m2, sun_elevation_deg
from cureplan.weather.hours.series import HourlySeries

__all__ = [
    "HOUR_S",
    "STEP_S",
    "TAU_S",
    "Part",
    "RoomConditions",
    "build_up",
    "floor_slab",
    "in_part",
    "patch_sun_w_m2",
    "room_conditions",
]

Part = Literal["first", "last", "back", "front"]
"""Half of a floor: what is poured first or last of all of it, or of each of its bays."""
BuildUp = tuple[float, float, Literal["ground", "air"]]
"""Thickness of a slab and of the foam below it [m], and what lies under both."""
OPENING_TRANSMITS = 0.8
"""Share of the sun that clear single glazing lets through; from memory."""

Array = NDArray[np.float64]


def patch_sun_w_m2(
    job: Job, rooms: Sequence[Room], series: HourlySeries, fine_s: Array, cloud: Array
) -> Array:
    """Sun taken up where each room's declared patch is lit, however small it is."""
    absorbed = np.zeros((fine_s.size, len(rooms)))
    if all(room.sun_patch is None for room in rooms):
        return absorbed
    epoch0 = float(series.epoch_s[0])
    instants = [datetime.fromtimestamp(epoch0 + second, job.site.zone) for second in fine_s]
    elevation = sun_elevation_deg(
        instants,
        latitude_deg=job.site.latitude_deg,
        longitude_deg=job.site.longitude_deg,
        refracted=True,
    )
    horizontal = clouded_w_m2(clear_sky_w_m2(elevation), cloud_share=cloud)
    clock = [at.hour * 60 + at.minute for at in instants]
    for column, room in enumerate(rooms):
        patch = room.sun_patch
        if patch is None:
            continue
        begins = patch.starts.hour * 60 + patch.starts.minute
        ends = patch.ends.hour * 60 + patch.ends.minute
        lit = np.array([1.0 if begins <= minute < ends else 0.0 for minute in clock])
        absorbed[:, column] = absorbed_w_m2(
            horizontal,
            lit_share=lit,
            transmitted_share=OPENING_TRANSMITS,
            absorptance=CONCRETE_SUN_ABSORPTANCE,
        )
    return absorbed


HOUR_S = 3600.0
STEP_S = 600.0
HOURLY = slice(None, None, round(HOUR_S / STEP_S))
FINEST_CELL_M = 0.01
FADE_REACH_S = 9 * DAY_S
LEVEL_K = 0.3
"""A slab that warms less than this over a pour counts as level: invented."""
MOST_SLABS = 64
"""Kept at a time: a desk may be asked for any number of them."""


@lru_cache(maxsize=MOST_SLABS)
def _time_constant_s(thickness_m: float, below: Literal["ground", "air"]) -> float:
    return slab_time_constant_s(
        thickness_m=thickness_m,
        conductivity_w_mk=CONCRETE_CONDUCTIVITY_W_MK,
        density_kg_m3=CONCRETE_DENSITY_KG_M3,
        specific_heat_j_kgk=CONCRETE_SPECIFIC_HEAT_J_KGK,
        top_w_m2k=AIR_FACE_W_M2K,
        lower_w_m2k=AIR_FACE_W_M2K if below == "air" else 0.0,
    )


TAU_S = _time_constant_s(0.15, "ground")
"""How long a 150 mm slab on ground remembers what goes on [s]: for doubts, where the exact
thickness does not matter."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomConditions:
    """Hourly temperatures of one room, linear between hours."""

    room: str
    epoch_s: Array
    air_c: Array
    slab_c: Array
    """The sunlit part of the floor, where it has one."""
    dew_c: Array
    """NaN where the weather gives no humidity."""
    reading_s: float | None
    """When an infrared reading corrected the slab [epoch s]; None if it was not read."""
    night_slab: tuple[float, float] | None = None
    """When a night's readings were last put together [epoch s], and what they leave unsure
    of the slab then, 1 SD [K]."""
    sun_k: Array | None = None
    """How much the sunlit part is warmer than the rest; None where no sun is declared."""
    build_up: BuildUp = (0.15, 0.0, "ground")
    read_in_shade: bool = False
    """Of a floor with sun: whether the reading is nearer to its shade."""
    warm_parts: tuple[Part, ...] = ()
    """Which half lies in the sun, or is warmer for whatever cause, as a night's readings
    show it; two where they do not tell which; none where nobody knows: any patch may."""
    half_sd_k: float | None = None
    """What is unsure between its halves, 1 SD [K]; None: what the job says."""

    @property
    def shade(self) -> RoomConditions:
        """The same room with the slab where no sun falls; itself where none is declared."""
        if self.sun_k is None:
            return self
        return replace(self, slab_c=self.slab_c - self.sun_k, sun_k=None)

    @property
    def read(self) -> tuple[float, float] | None:
        """When the slab was last known by more than the march [epoch s], and how unsure it
        was then, 1 SD [K]; None if it was not read."""
        if self.night_slab is not None or self.reading_s is None:
            return self.night_slab
        return self.reading_s, READING_SD_K

    @property
    def first_s(self) -> float:
        """First hour [epoch s]."""
        return float(self.epoch_s[0])

    @property
    def last_s(self) -> float:
        """Last hour [epoch s]."""
        return float(self.epoch_s[-1])

    def air_at(self, epoch_s: ArrayLike) -> Array:
        """Room air [°C] at instants within the hours; raises beyond them."""
        return np.asarray(np.interp(self._known(epoch_s), self.epoch_s, self.air_c))

    def slab_at(self, epoch_s: ArrayLike) -> Array:
        """Slab surface [°C] at instants within the hours; raises beyond them."""
        return np.asarray(np.interp(self._known(epoch_s), self.epoch_s, self.slab_c))

    def half_k(self, job: Job) -> float:
        """What is unsure between the halves of its slab, 1 SD [K]."""
        return job.doubt.half_k if self.half_sd_k is None else self.half_sd_k

    def halves_left(self, away_s: ArrayLike) -> Array:
        """Share that is left of what sets its halves apart some time after or before.

        By the slowest mode. Of a sun that fell on one half until two hours before or more,
        marched, 0.85 to 0.95 are left after an hour and 0.63 to 0.85 after three, against
        0.86 to 0.94 and 0.64 to 0.82 here; of what goes on, all.
        """
        thickness_m, _, below = self.build_up
        away = np.abs(np.asarray(away_s, dtype=np.float64))
        return np.asarray(np.exp(-away / _time_constant_s(thickness_m, below)))

    def slab_under(self, epoch_s: ArrayLike, bay: ArrayLike, row: ArrayLike) -> Array:
        """The same under patches that lie in bays and rows, shape (..., patches); between
        warm and cool where it is not known which half one lies in."""
        warm_c = self.slab_at(epoch_s)
        if not self.warm_parts:
            return warm_c
        warm_frac = np.mean([in_part(part, bay, row) for part in self.warm_parts], axis=0)
        return np.asarray(warm_c - (1.0 - warm_frac) * (warm_c - self.shade.slab_at(epoch_s)))

    def dew_at(self, epoch_s: ArrayLike) -> Array:
        """Dew point [°C] within the hours, NaN where unknown; raises beyond them."""
        return np.asarray(np.interp(self._known(epoch_s), self.epoch_s, self.dew_c))

    def reading_left(self, away_s: ArrayLike) -> Array:
        """Share of a reading's correction that is left some time after or before it."""
        fade = _fade(*self.build_up)
        return np.asarray(np.interp(np.abs(away_s), STEP_S * np.arange(fade.size), fade))

    def reading_share(self, at_s: Array, *, reading_s: float, until_s: float) -> Array:
        """What readings from one instant until another count at each of a curve's times."""
        fade = _fade(*self.build_up)
        return reading_share(
            at_s, reading_s=reading_s, until_s=until_s, fade=fade, step_s=STEP_S
        )

    def _known(self, epoch_s: ArrayLike) -> Array:
        """Instants, every one within the hours."""
        at_s = np.asarray(epoch_s, dtype=np.float64)
        outside = ~((at_s >= self.first_s) & (at_s <= self.last_s))
        if np.any(outside):
            raise OutOfRangeError(
                f"{self.room}: temperatures are known from {_written(self.first_s)} to "
                f"{_written(self.last_s)} UTC, not at {_written(float(at_s[outside][0]))}"
            )
        return at_s

    def humidity_at(self, epoch_s: ArrayLike) -> Array:
        """Relative humidity of the room's air [-]; NaN where the dew point is unknown.

        Outdoor moisture is taken to be indoors as well; a room colder than its dew point
        counts as saturated.
        """
        air_c, dew_c = self.air_at(epoch_s), self.dew_at(epoch_s)
        known = ~np.isnan(dew_c)
        dew = np.where(known, np.minimum(dew_c, air_c), air_c)
        return np.where(known, relative_humidity(air_c, dew_c=dew), np.nan)

    def slab_falls(self, begins_s: float, ends_s: float) -> bool:
        """Whether the slab is level or cools over a span: then its air does not swell."""
        return float(self.slab_at(ends_s) - self.slab_at(begins_s)) <= LEVEL_K

    def next_dry_s(self, start_s: float, lasts_s: float, *, margin_k: float) -> float:
        """Earliest start from `start_s` with the slab dry for `lasts_s`."""
        over_k = self.shade.slab_c - self.dew_c
        dry = ~(over_k < margin_k)
        if np.all(dry):
            return start_s
        spare = np.where(np.isnan(self.dew_c), np.inf, over_k - margin_k)
        start = start_s
        while start + lasts_s <= self.last_s:
            inside = (self.epoch_s > start) & (self.epoch_s < start + lasts_s)
            ends = np.interp([start, start + lasts_s], self.epoch_s, spare)
            if np.all(spare[inside] >= 0) and np.all(ends >= 0):
                return start
            start += STEP_S
        return float("inf")

    def next_wet_s(self, start_s: float, *, margin_k: float) -> float:
        """When a slab dry at `start_s` is next too near the dew point; inf for never."""
        over_k = self.shade.slab_c - self.dew_c - margin_k
        wet = np.flatnonzero((self.epoch_s > start_s) & (over_k < 0))
        if wet.size == 0:
            return float("inf")
        k = int(wet[0])
        if k == 0 or not over_k[k - 1] >= 0:
            return float(max(start_s, self.epoch_s[k]))
        # Between two hours it falls on a straight line, as `next_dry_s` reads it.
        part = over_k[k - 1] / (over_k[k - 1] - over_k[k])
        return float(self.epoch_s[k - 1] + part * (self.epoch_s[k] - self.epoch_s[k - 1]))


def in_part(part: Part, bay: ArrayLike, row: ArrayLike) -> NDArray[np.bool_]:
    """Which of a floor's patches, in the order poured, lie in a half of it.

    >>> in_part("last", [0, 0, 1, 1], [0, 1, 0, 1]).tolist()
    [False, False, True, True]
    >>> in_part("front", [0, 0, 1, 1], [0, 1, 0, 1]).tolist()
    [False, True, False, True]
    """
    bays, place = np.asarray(bay), np.arange(np.size(bay))
    rows = np.full(bays.shape, bays.size)
    if part in ("back", "front"):
        place = np.asarray(row)
        rows = np.array([place[bays == one].max() + 1 for one in bays])
    late = 2 * place >= rows
    return np.asarray(late if part in ("last", "front") else ~late)


def _written(epoch_s: float) -> str:
    if not math.isfinite(epoch_s):
        return str(epoch_s)
    return f"{from_epoch_s(epoch_s):%Y-%m-%d %H:%M}"


def room_conditions(job: Job, series: HourlySeries) -> dict[str, RoomConditions]:
    """Air and slab of every room of a job."""
    hours_s = series.epoch_s - series.epoch_s[0]
    fine_s = np.arange(0.0, hours_s[-1] + STEP_S / 2, STEP_S)
    outdoor_c = np.interp(fine_s, hours_s, series.temp_c)
    cloud = np.interp(fine_s, hours_s, np.nan_to_num(series.cloud_frac, nan=0.0))
    groups: defaultdict[tuple[float, float], list[Room]] = defaultdict(list)
    for room in job.rooms:
        groups[room.slab_thickness_m, room.insulation_m].append(room)

    found = {}
    for rooms in groups.values():
        at_s = fine_s + float(series.epoch_s[0])
        air_c = np.hstack(
            [_heated(room, _air(room, job.building, fine_s, outdoor_c), at_s) for room in rooms]
        )
        surface_c, sun_k, in_shade = _surface(
            job, rooms, series, fine_s, outdoor_c, cloud, air_c
        )
        for column, room in enumerate(rooms):
            found[room.name] = RoomConditions(
                room=room.name,
                epoch_s=series.epoch_s,
                air_c=air_c[HOURLY, column],
                slab_c=surface_c[:, column],
                dew_c=series.dew_c,
                reading_s=None
                if room.slab_reading is None
                else room.slab_reading.read_at.timestamp(),
                sun_k=None if room.sun_patch is None else sun_k[:, column],
                build_up=build_up(room, job.building),
                read_in_shade=in_shade[column],
            )
    return {room.name: found[room.name] for room in job.rooms}


def build_up(room: Room, building: Building) -> BuildUp:
    """What the slab of a room is made of."""
    return room.slab_thickness_m, room.insulation_m, building.below


def floor_slab(room: Room, building: Building) -> Slab:
    """The slab of a room, ready to be marched in steps of `STEP_S`."""
    return _slab(*build_up(room, building))


def _slab(thickness_m: float, insulation_m: float, below: Literal["ground", "air"]) -> Slab:
    over_air = below == "air"
    return Slab(
        layers=slab_over_air(thickness_m=thickness_m)
        if over_air
        else slab_on_ground(thickness_m=thickness_m, insulation_m=insulation_m),
        top_w_m2k=AIR_FACE_W_M2K,
        lower_w_m2k=AIR_FACE_W_M2K if over_air else None,
        step_s=STEP_S,
        finest_cell_m=FINEST_CELL_M,
    )


def _heated(room: Room, air_c: Array, at_s: Array) -> Array:
    """Air no colder than its heaters keep it; what moisture they add is not reckoned."""
    heat = room.heat
    if heat is None or not heat.runs:
        return air_c
    return np.where(
        at_s[:, None] >= heat.from_at.timestamp(), np.maximum(air_c, heat.to_c), air_c
    )


def _air(room: Room, building: Building, times_s: Array, outdoor_c: Array) -> Array:
    if room.climate == "open":
        return open_air_c(times_s, outdoor_c=outdoor_c)
    if room.climate == "held":
        if room.set_point_c is None:
            raise AssertionError("the reader refuses a held room without a set point")
        return held_air_c(times_s, set_point_c=room.set_point_c)
    day = max(1, round(24 * HOUR_S / STEP_S))
    return drifting_air_c(
        times_s,
        outdoor_c=outdoor_c,
        start_c=float(np.mean(outdoor_c[:day])) + building.gain_k,
        lag_s=building.lag_s,
        gain_k=building.gain_k,
    )


def _surface(
    job: Job,
    rooms: Sequence[Room],
    series: HourlySeries,
    fine_s: Array,
    outdoor_c: Array,
    cloud: Array,
    air_c: Array,
) -> tuple[Array, Array, list[bool]]:
    """Hourly surface of each room, where it is lit, how much warmer that is than its shade,
    and whether the shade was read."""
    building = job.building
    over_air = building.below == "air"
    slab = floor_slab(rooms[0], building)
    sun_w_m2 = patch_sun_w_m2(job, rooms, series, fine_s, cloud)
    sunny = [column for column, room in enumerate(rooms) if room.sun_patch is not None]
    # The shade of a sunlit room is a column of its own behind the rooms.
    marched_c = np.hstack([air_c, air_c[:, sunny]])
    sun_w_m2 = np.hstack([sun_w_m2, np.zeros((fine_s.size, len(sunny)))])
    lower_c = np.broadcast_to(
        outdoor_c[:, None] if over_air else np.asarray(building.ground_c), marched_c.shape
    )
    # Settled at the mean of all history: soil under a slab forgets a first day slowly.
    before = fine_s <= max(DAY_S, job.access.begins.timestamp() - float(series.epoch_s[0]))

    def marched() -> Array:
        run = slab.run(
            marched_c,
            absorbed_w_m2=sun_w_m2,
            lower_c=lower_c,
            start_c=slab.steady_profile_c(
                air_c=marched_c[before].mean(axis=0),
                absorbed_w_m2=sun_w_m2[before].mean(axis=0),
                lower_c=lower_c[before].mean(axis=0),
            ),
            keep_profile=False,
        )
        return run.surface_c[HOURLY]

    of = build_up(rooms[0], building), marched_c, sun_w_m2, lower_c, before
    surface_c = kept(marched, "slab", *of)
    lit_c = surface_c[:, : len(rooms)]
    sun_k = np.zeros(lit_c.shape)
    sun_k[:, sunny] = lit_c[:, sunny] - surface_c[:, len(rooms) :]
    readings = [room.slab_reading for room in rooms]
    if not any(readings):
        return lit_c, sun_k, [False] * len(rooms)
    in_shade = [
        _read_in_shade(room, lit_c[:, column], sun_k[:, column], series.epoch_s)
        for column, room in enumerate(rooms)
    ]
    read_c = lit_c - sun_k * in_shade
    corrected_c = corrected_surface_c(
        series.epoch_s,
        read_c,
        reading_s=[np.nan if r is None else r.read_at.timestamp() for r in readings],
        reading_c=[np.nan if r is None else r.surface_c for r in readings],
        fade=_fade(*build_up(rooms[0], building)),
        step_s=STEP_S,
    )
    return lit_c + (corrected_c - read_c), sun_k, in_shade


def _read_in_shade(room: Room, lit_c: Array, sun_k: Array, at_s: Array) -> bool:
    """Whether a reading is nearer to the shade than to the patch that the sun falls on."""
    reading = room.slab_reading
    if reading is None:
        return False
    lit, warmer = (
        float(np.interp(reading.read_at.timestamp(), at_s, c)) for c in (lit_c, sun_k)
    )
    return reading.surface_c < lit - 0.5 * warmer


@lru_cache(maxsize=MOST_SLABS)
def _fade(thickness_m: float, insulation_m: float, below: Literal["ground", "air"]) -> Array:
    """How a reading's error fades on a slab; a week of it, marched once."""
    slab = _slab(thickness_m, insulation_m, below)
    jump = slab.run(
        np.ones((round(FADE_REACH_S / STEP_S), 1)),
        absorbed_w_m2=0.0,
        lower_c=0.0,
        start_c=0.0,
        keep_profile=False,
    )
    return reading_fade(
        jump.surface_c[:, 0],
        step_s=STEP_S,
        time_constant_s=_time_constant_s(thickness_m, below),
    )
