"""From the written job to the `Job`: instants of the site, defaults, cards."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from difflib import get_close_matches
from functools import cache, partial
from importlib import resources
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

from pydantic import BaseModel

from cureplan.core.clock import MINUTES_PER_DAY, local_instant
from cureplan.core.errors import QuantityError
from cureplan.core.messages import Message, Value
from cureplan.core.quantities import split_refusal
from cureplan.inputs.faults import Fault
from cureplan.inputs.fields import facts_of
from cureplan.inputs.files import KeyPath
from cureplan.inputs.job.crew import POUR_ROLES, Crew, Person, Shift, common_hours
from cureplan.inputs.job.crew_schema import ShiftEntry
from cureplan.inputs.job.model import (
    GENERIC_TIMES_SD,
    LONGEST_ACCESS,
    OWN_TIMES_SD,
    PINS,
    Access,
    Building,
    Cards,
    Cove,
    Doubts,
    Heat,
    Job,
    Materials,
    Outline,
    Pace,
    Policy,
    Room,
    Site,
    SlabReading,
    SunPatch,
    WeatherRequest,
)
from cureplan.inputs.job.schema import KIND_UNITS, TWO_COAT_USES, JobFile, RoomEntry

__all__ = [
    "Instants",
    "build_job",
    "outline_of",
    "resolve_instants",
]

# An older reading says nothing about the slab on the night.
OLDEST_READING = timedelta(days=7)
FARTHEST_FROM_ZONE_H = 4.0
"""Clocks run up to 3.3 h beside the sun somewhere, daylight saving included (from memory)."""
FARTHEST_FROM_CITY_DEG = 30.0
"""Of the 69,000 towns of our table none lies further north, south, east or west of the city its
zone is named after than 27°, but for the west of China."""
FARTHEST_EAST_DEG = {"Asia/Shanghai": 50.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Instants:
    """Every instant of a job file, in UTC, by its key path."""

    zone: ZoneInfo
    at: Mapping[KeyPath, datetime]

    @property
    def begins(self) -> datetime:
        """Start of access."""
        return self.at[("access", "from")]

    @property
    def open_by(self) -> datetime:
        """When the kitchen must open."""
        return self.at[("access", "open_by")]


def resolve_instants(job: JobFile) -> tuple[Instants | None, list[Fault]]:
    """Read the job's local times in its zone."""
    zone = _zone(job.site.time_zone)
    if zone is None:
        return None, [_no_zone(job.site.time_zone)]
    at: dict[KeyPath, datetime] = {}
    faults: list[Fault] = []
    for path, written in _written(job).items():
        try:
            at[path] = local_instant(written, zone)
        except QuantityError as error:
            shown = written.isoformat()
            problem, cure = split_refusal(error, shown)
            faults.append(Fault(path=path, problem=problem, cure=cure, value=shown))
    if faults:
        return None, faults
    instants = Instants(zone=zone, at=at)
    return instants, [*_order(job, instants), *_far_from_zone(job, instants)]


def _zone(name: str) -> ZoneInfo | None:
    # Names of whatever this machine has been set to, and zones that count leap seconds.
    if name.startswith(("posix/", "right/")) or name in ("localtime", "posixrules", "Factory"):
        return None
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        # The last two: "../etc", "America" (a folder), and their like.
        return None


def _no_zone(name: str) -> Fault:
    near = get_close_matches(name.replace(" ", "_"), available_timezones(), n=1)
    example = near[0] if near else "America/New_York"
    return Fault(
        path=("site", "time_zone"),
        problem="no such time zone is known",
        cure=f'write a region and city, like "{example}"',
        value=name,
    )


def _written(job: JobFile) -> dict[KeyPath, datetime]:
    written: dict[KeyPath, datetime] = {
        ("access", "from"): job.access.begins,
        ("access", "open_by"): job.access.open_by,
    }
    if job.building.heat is not None:
        written["building", "heat", "from"] = job.building.heat.begins
    for number, room in enumerate(job.rooms):
        if room.heat is not None:
            written["rooms", number, "heat", "from"] = room.heat.begins
        if room.slab_reading is not None:
            written["rooms", number, "slab_reading", "at"] = room.slab_reading.read_at
        if room.open_by is not None:
            written["rooms", number, "open_by"] = room.open_by
        for key in PINS.values():
            held = getattr(room, key)
            if held is not None:
                written["rooms", number, key] = held
    return written


def _order(job: JobFile, instants: Instants) -> list[Fault]:
    begins, open_by = instants.begins, instants.open_by
    if open_by <= begins:
        return [
            Fault(
                path=("access", "open_by"),
                problem="the kitchen would open before the crew may be in",
                cure="put open_by after from",
                value=job.access.open_by,
            )
        ]
    if open_by - begins > LONGEST_ACCESS:
        return [
            Fault(
                path=("access", "open_by"),
                problem=f"this is {(open_by - begins).days} days after from",
                cure=f"check year and month; access lasts at most {LONGEST_ACCESS.days} days",
                value=job.access.open_by,
            )
        ]
    rest_s = job.crew.rest_s
    if rest_s is not None and rest_s > (open_by - begins).total_seconds():
        return [
            Fault(
                path=("crew", "rest"),
                problem="this rest is longer than the whole job, from access to opening",
                cure="write a shorter one, such as 8 h",
                value=f"{rest_s / 3600:g} h",
            )
        ]
    late = [
        Fault(
            path=path,
            problem="the heaters would start after the kitchen opens",
            cure="let them start before access.open_by, or leave heat out",
            value=at.astimezone(instants.zone).replace(tzinfo=None).isoformat(),
        )
        for path, at in instants.at.items()
        if path[-2:] == ("heat", "from") and at >= open_by
    ]
    return late + [
        fault
        for number, _ in enumerate(job.rooms)
        for fault in (
            _reading(job, instants, number),
            _room_opening(job, instants, number),
            *(_room_pin(job, instants, number, stage) for stage in PINS),
        )
        if fault is not None
    ]


def _reading(job: JobFile, instants: Instants, number: int) -> Fault | None:
    path: KeyPath = ("rooms", number, "slab_reading", "at")
    reading = job.rooms[number].slab_reading
    if reading is None:
        return None
    read_at = instants.at[path]
    if read_at > instants.open_by:
        problem = "the slab would be read after the kitchen opens"
    elif read_at < instants.begins - OLDEST_READING:
        problem = f"the reading is {(instants.begins - read_at).days} days older than the job"
    else:
        return None
    cure = f"read the slab in the {OLDEST_READING.days} days before the work, or check the date"
    return Fault(path=path, problem=problem, cure=cure, value=reading.read_at)


def _room_opening(job: JobFile, instants: Instants, number: int) -> Fault | None:
    path: KeyPath = ("rooms", number, "open_by")
    open_by = job.rooms[number].open_by
    if open_by is None or instants.begins < instants.at[path] <= instants.open_by:
        return None
    return Fault(
        path=path,
        problem="a room opens after access begins and no later than the kitchen",
        cure="move it between access.from and access.open_by, or leave it out",
        value=open_by,
    )


def _room_pin(job: JobFile, instants: Instants, number: int, stage: str) -> Fault | None:
    room, key = job.rooms[number], PINS[stage]
    path: KeyPath = ("rooms", number, key)
    written, ends = getattr(room, key), ("rooms", number, "open_by")
    if written is None:
        return None
    if stage == "coat 2" and topcoats_of(room) < 2:
        return Fault(
            path=path,
            problem="this room gets one topcoat",
            cure="leave it out, or write topcoats = 2",
            value=written,
        )
    if instants.at[path] < instants.at.get(ends, instants.open_by):
        return None
    done = "poured" if stage == "pour" else "coated"
    return Fault(
        path=path,
        problem=f"the room would be {done} only after it must be open",
        cure="move it before the room's open_by, or leave it out",
        value=written,
    )


def topcoats_of(room: RoomEntry) -> int:
    """How many topcoats a room gets."""
    return room.topcoats or (2 if room.use in TWO_COAT_USES else 1)


def _far_from_zone(job: JobFile, instants: Instants) -> list[Fault]:
    """Coordinates that do not lie in the time zone: signs turned or the two swapped."""
    latitude_deg, longitude_deg = job.site.latitude_deg, job.site.longitude_deg
    far = partial(_where_far, instants=instants, time_zone=job.site.time_zone)
    wrong = far(latitude_deg, longitude_deg)
    if wrong is None:
        return []
    cure = "south and west of Greenwich are negative; check it, or the time zone"
    if abs(longitude_deg) <= 90 and far(longitude_deg, latitude_deg, most_h=2.5) is None:
        cure = "latitude and longitude seem to have changed places"
    else:
        for north, east in ((1, -1), (-1, 1), (-1, -1)):
            if far(north * latitude_deg, east * longitude_deg, most_h=2.5) is None:
                turned = -latitude_deg if wrong == "latitude" else -longitude_deg
                cure = f"south and west of Greenwich are negative; did you mean {turned:g}?"
                break
    return [
        Fault(
            path=("site", wrong),
            problem=f"this {wrong} does not lie in {job.site.time_zone}",
            cure=cure,
            value=getattr(job.site, f"{wrong}_deg"),
        )
    ]


def _where_far(
    latitude_deg: float,
    longitude_deg: float,
    *,
    instants: Instants,
    time_zone: str,
    most_h: float = FARTHEST_FROM_ZONE_H,
) -> str | None:
    """Which of the two lies too far from a zone, longitude first; None for neither."""
    offset = instants.begins.astimezone(instants.zone).utcoffset() or timedelta(0)
    hours = longitude_deg / 15 - offset / timedelta(hours=1)
    if abs((hours + 12) % 24 - 12) > most_h:
        return "longitude"
    city = _zone_city_deg(time_zone)
    if city is None:
        return None
    east_deg = (longitude_deg - city[1] + 180.0) % 360.0 - 180.0
    if abs(east_deg) > FARTHEST_EAST_DEG.get(time_zone, FARTHEST_FROM_CITY_DEG):
        return "longitude"
    return "latitude" if abs(latitude_deg - city[0]) > FARTHEST_FROM_CITY_DEG else None


@cache
def _zone_city_deg(time_zone: str) -> tuple[float, float] | None:
    """North and east of the city a zone is named after, from the zone database's own table."""
    table = resources.files("tzdata") / "zoneinfo" / "zone.tab"
    for line in table.read_text(encoding="utf-8").splitlines():
        cells = line.split("\t")
        if len(cells) > 2 and cells[2] == time_zone:
            found = re.match(r"([+-])(\d\d)(\d\d)(?:\d\d)?([+-])(\d{3})(\d\d)", cells[1])
            if found:
                north, east = (
                    float(f"{found[n]}{int(found[n + 1]) + int(found[n + 2]) / 60}")
                    for n in (1, 4)
                )
                return north, east
    return None


def build_job(written: JobFile, *, instants: Instants, cards: Cards, source: Path) -> Job:
    """Put a job together from checked pieces."""
    return Job(
        site=Site(**written.site.model_dump()),
        weather=_weather(written, source.parent),
        building=_building(written),
        access=Access(begins=instants.begins, open_by=instants.open_by),
        materials=_materials(written, cards),
        crew=_crew(written),
        pace=Pace(**written.pace.model_dump()),
        policy=Policy(**written.policy.model_dump()),
        rooms=tuple(
            _room(written, number, room, instants) for number, room in enumerate(written.rooms)
        ),
        cards=cards,
        display=written.display,
        clock=written.clock or ("12 h" if written.display == "us" else "24 h"),
        languages=written.languages,
        source=source,
        seed=written.seed,
        notes=tuple(_notes(written, cards)),
        records=_records(written, source.parent),
        doubt=Doubts(**written.doubt.model_dump()),
        cove=None if written.cove is None else Cove(**written.cove.model_dump()),
    )


def _records(written: JobFile, folder: Path) -> Path | None:
    """The folder the job names, else `records` beside it, if there is one."""
    if written.records is not None:
        return folder / written.records
    beside = folder / "records"
    return beside if beside.is_dir() else None


def _weather(written: JobFile, folder: Path) -> WeatherRequest:
    entry = written.weather
    return WeatherRequest(
        source=entry.source,
        file=None if entry.file is None else folder / entry.file,
        max_age_s=entry.max_age_s,
        contact=entry.contact,
    )


def _building(written: JobFile) -> Building:
    entry = written.building
    return Building(
        climate=entry.climate,
        lag_s=entry.lag_s or 0.0,
        gain_k=entry.gain_k or 0.0,
        set_point_c=entry.set_point_c,
        slab_thickness_m=entry.slab_thickness_m,
        insulation_m=entry.insulation_m,
        below=entry.below,
        ground_c=entry.ground_c,
    )


def _materials(written: JobFile, cards: Cards) -> Materials:
    entry = written.materials
    thickness_m = cards.slurry.thickness_m if entry.thickness_m is None else entry.thickness_m
    return Materials(
        storage_c=entry.storage_c,
        iced_c=entry.iced_c,
        cool_filler_c=entry.cool_filler_c,
        liquids_measured_c=entry.liquids_measured_c,
        stirred_in_ice=entry.stirred_in_ice,
        cooler_loss=entry.cooler_loss,
        ice_water_m3=entry.ice_water_m3,
        ice_water_c=entry.ice_water_c,
        waste=entry.waste,
        profile_allowance_m=entry.profile_allowance_m,
        thickness_m=thickness_m,
    )


def _crew(written: JobFile) -> Crew:
    counted = written.crew.model_dump(exclude={"pour_shifts", "topcoat_shifts"})
    people = tuple(
        Person(
            name=entry.name,
            roles=entry.roles,
            longest_shift_s=entry.longest_shift_s,
            hours=_shifts(entry.hours or ()),
        )
        for entry in written.people
    )
    if people:
        for role in (*POUR_ROLES, "topcoat", "primer"):
            counted[role] = sum(role in person.roles for person in people)
    crew = Crew(
        **counted,
        people=people,
        pour_shifts=_shifts(written.crew.pour_shifts),
        topcoat_shifts=_shifts(written.crew.topcoat_shifts),
    )
    # A crew works when all of it can be there.
    hours = {
        of: [person.hours for person in people if {of, also} & {*crew.crews_of(person)}]
        for of, also in (("pour", "primer"), ("topcoat", "topcoat"))
    }
    return replace(
        crew,
        pour_shifts=common_hours(crew.pour_shifts, hours["pour"]),
        topcoat_shifts=common_hours(crew.topcoat_shifts, hours["topcoat"]),
    )


def _shifts(entries: Iterable[ShiftEntry]) -> tuple[Shift, ...]:
    return tuple(
        Shift(begins=_clock(entry.begins_min), ends=_clock(entry.ends_min)) for entry in entries
    )


def _clock(minutes: int) -> time:
    hour, minute = divmod(minutes % MINUTES_PER_DAY, 60)
    return time(hour, minute)


def _room(written: JobFile, number: int, entry: RoomEntry, instants: Instants) -> Room:
    building = written.building
    climate = entry.climate or building.climate
    set_point_c = building.set_point_c if entry.set_point_c is None else entry.set_point_c
    outline = outline_of(entry)
    length_m, width_m = (
        outline.size_m if outline else (entry.length_m or 0.0, entry.width_m or 0.0)
    )
    return Room(
        name=entry.name,
        length_m=length_m,
        width_m=width_m,
        use=entry.use,
        way_out=entry.way_out,
        topcoats=topcoats_of(entry),
        climate=climate,
        set_point_c=set_point_c if climate == "held" else None,
        slab_thickness_m=entry.slab_thickness_m or building.slab_thickness_m,
        insulation_m=building.insulation_m
        if entry.insulation_m is None
        else entry.insulation_m,
        slab_reading=_slab_reading(
            entry, instants.at.get(("rooms", number, "slab_reading", "at"))
        ),
        sun_patch=_sun(entry),
        open_by=instants.at.get(("rooms", number, "open_by")),
        not_before=instants.at.get(("rooms", number, "not_before")),
        topcoat_1_not_before=instants.at.get(("rooms", number, "topcoat_1_not_before")),
        topcoat_2_not_before=instants.at.get(("rooms", number, "topcoat_2_not_before")),
        group=entry.group,
        open_for=entry.open_for,
        heat=_heat(written, number, entry, instants),
        outline=outline,
        cove_m=entry.cove_m,
    )


def _heat(written: JobFile, number: int, entry: RoomEntry, instants: Instants) -> Heat | None:
    heat = entry.heat or written.building.heat
    if heat is None or (entry.climate or written.building.climate) == "held":
        return None
    of: KeyPath = ("rooms", number) if entry.heat else ("building",)
    return Heat(
        to_c=heat.to_c,
        from_at=instants.at[(*of, "heat", "from")],
        runs="heat" not in written.policy.remedies,
    )


def outline_of(entry: RoomEntry) -> Outline | None:
    """The shape of a room that is more than a length and a width."""
    if not entry.has_outline:
        return None
    first, last = sorted(entry.back_wall or (1, 2))
    if (first, last) == (1, len(entry.corners_m)):
        first, last = last, first
    return Outline(
        corners_m=entry.corners_m,
        islands_m=entry.islands_m,
        stop_lines_m=tuple((line[0], line[1]) for line in entry.stop_lines_m),
        back_wall=(first - 1, last - 1),
    )


def _slab_reading(entry: RoomEntry, read_at: datetime | None) -> SlabReading | None:
    if entry.slab_reading is None or read_at is None:
        return None
    return SlabReading(surface_c=entry.slab_reading.surface_c, read_at=read_at)


def _sun(entry: RoomEntry) -> SunPatch | None:
    if entry.sun is None:
        return None
    return SunPatch(
        starts=_clock(entry.sun.begins_min),
        ends=_clock(entry.sun.ends_min),
        share=entry.sun.share,
    )


def _notes(written: JobFile, cards: Cards) -> Iterator[Message]:
    for card in (cards.slurry, cards.topcoat, cards.aggregate, cards.primer):
        if card is not None and card.generic:
            yield Message("job.generic_card", {"card": card.title})
    values: dict[str, Value]
    coldest_c, measured_c = cards.slurry.coldest_liquids_c, written.materials.liquids_measured_c
    if measured_c is not None and measured_c < coldest_c:
        yield Message("job.liquids_cold")
    # A file of weather has no age limit, so its default is nothing to tell.
    of_weather = () if written.weather.source == "file" else ("weather",)
    for table in (*of_weather, "materials", "pace", "policy", "doubt"):
        yield from _defaults(table, getattr(written, table), primed=cards.primer is not None)
    for kind in ("slurry", "topcoat", "primer"):
        card = getattr(cards, kind)
        if card is not None and getattr(written.doubt, f"{kind}_times") is None:
            off_frac = GENERIC_TIMES_SD if card.generic else OWN_TIMES_SD
            shown = Message("value.share", {"value_frac": off_frac})
            values = {"key": f"doubt.{kind}_times", "value": shown, "origin": "invented"}
            yield Message("job.default", values)


def _defaults(table: str, entry: BaseModel, *, primed: bool) -> Iterator[Message]:
    for name, info in type(entry).model_fields.items():
        facts = facts_of(info)
        if name == "primer_m2_s" and not primed:
            continue
        if facts.kind and name not in entry.model_fields_set:
            value: float = getattr(entry, name)
            # A sentence of its own, as only its kind tells how to show it.
            shown = Message(f"value.{facts.kind}", {f"value_{KIND_UNITS[facts.kind]}": value})
            values: dict[str, Value] = {"key": f"{table}.{info.alias or name}", "value": shown}
            yield Message("job.default", {**values, "origin": facts.origin})
