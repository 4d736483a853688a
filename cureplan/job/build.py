"""A checked job file turned into the frozen `Job` the rest of the program sees."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, time
from pathlib import Path

from pydantic import BaseModel

from cureplan.clock import MINUTES_PER_DAY
from cureplan.job.instants import Instants
from cureplan.job.model import (
    Access,
    Building,
    Cards,
    Crew,
    Job,
    Materials,
    Pace,
    Policy,
    Room,
    Shift,
    Site,
    SlabReading,
    SunPatch,
    WeatherRequest,
)
from cureplan.job.schema import (
    DEFAULT_KINDS,
    DEFAULT_ORIGINS,
    KIND_UNITS,
    TWO_COAT_USES,
    JobFile,
    RoomEntry,
    ShiftEntry,
)
from cureplan.say import Say, Value

__all__ = ["build_job"]


def build_job(written: JobFile, *, instants: Instants, cards: Cards, source: Path) -> Job:
    """Put a job together from checked pieces.

    Parameters
    ----------
    written : JobFile
        The file, without faults.
    instants : Instants
        Its dates and times.
    cards : Cards
        The cards it names.
    source : Path
        The file itself.

    Returns
    -------
    Job
        In SI and °C, every instant in UTC.
    """
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
        languages=written.languages,
        source=source,
        seed=written.seed,
        notes=tuple(_notes(written, cards)),
        records=_records(written, source.parent),
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
        waste=entry.waste,
        profile_allowance_m=entry.profile_allowance_m,
        thickness_m=thickness_m,
    )


def _crew(written: JobFile) -> Crew:
    counted = written.crew.model_dump(exclude={"pour_shifts", "topcoat_shifts"})
    return Crew(
        **counted,
        pour_shifts=_shifts(written.crew.pour_shifts),
        topcoat_shifts=_shifts(written.crew.topcoat_shifts),
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
    return Room(
        name=entry.name,
        length_m=entry.length_m,
        width_m=entry.width_m,
        use=entry.use,
        way_out=entry.way_out,
        topcoats=entry.topcoats or (2 if entry.use in TWO_COAT_USES else 1),
        climate=climate,
        set_point_c=set_point_c if climate == "held" else None,
        slab_thickness_m=entry.slab_thickness_m or building.slab_thickness_m,
        insulation_m=building.insulation_m
        if entry.insulation_m is None
        else entry.insulation_m,
        slab_reading=_reading(entry, instants.at.get(("rooms", number, "slab_reading", "at"))),
        sun_patch=_sun(entry),
        open_by=instants.at.get(("rooms", number, "open_by")),
        group=entry.group,
    )


def _reading(entry: RoomEntry, read_at: datetime | None) -> SlabReading | None:
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


def _notes(written: JobFile, cards: Cards) -> Iterator[Say]:
    for card in (cards.slurry, cards.topcoat, cards.aggregate, cards.primer):
        if card is not None and card.generic:
            yield Say("job.generic_card", {"card": card.title})
    coldest_c, measured_c = cards.slurry.coldest_liquids_c, written.materials.liquids_measured_c
    if measured_c is not None and measured_c < coldest_c:
        yield Say("job.liquids_cold")
    # A file of weather has no age limit, so its default is nothing to tell.
    of_weather = () if written.weather.source == "file" else ("weather",)
    for table in (*of_weather, "materials", "pace", "policy"):
        yield from _defaults(table, getattr(written, table))


def _defaults(table: str, entry: BaseModel) -> Iterator[Say]:
    for name, info in type(entry).model_fields.items():
        key = f"{table}.{info.alias or name}"
        if key in DEFAULT_ORIGINS and name not in entry.model_fields_set:
            values: dict[str, Value] = {"key": key, "value": _taken(key, getattr(entry, name))}
            yield Say("job.default", {**values, "origin": DEFAULT_ORIGINS[key]})


def _taken(key: str, value: float) -> Say:
    """A default as a sentence of its own, as only its kind tells how to show it."""
    kind = DEFAULT_KINDS[key]
    return Say(f"value.{kind}", {f"value_{KIND_UNITS[kind]}": value})
