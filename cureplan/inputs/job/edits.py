"""A job changed in Python: read through the same fields as a file, and checked like one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime, time
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from cureplan.core.clock import local_instant, require_aware
from cureplan.core.errors import InputError, QuantityError
from cureplan.core.quantities import split_refusal
from cureplan.inputs.faults import Fault, key_text, validated
from cureplan.inputs.files import Document
from cureplan.inputs.job.build import outline_of, resolve_instants
from cureplan.inputs.job.crew import ROLES, Person, Shift
from cureplan.inputs.job.crew_schema import PersonEntry
from cureplan.inputs.job.crosscheck import crosscheck
from cureplan.inputs.job.model import (
    Job,
    Outline,
    Point,
    Room,
    SlabReading,
)
from cureplan.inputs.job.reader import against_cards
from cureplan.inputs.job.schema import CoveEntry, JobFile, RoomEntry, SlabReadingEntry

__all__ = ["check_job", "portable", "with_room", "with_slab", "with_start", "with_table"]

# How a number in SI is written so that the field's own reader takes it.
_WRITTEN = {
    "_m2_s": (60.0, "m2/min"),
    "_m_s": (60.0, "m/min"),
    "_c": (1.0, "C"),
    "_k": (1.0, "C"),
    "_kg_m": (1.0, "kg/m"),
    "_m": (1.0, "m"),
    "_m3": (1e3, "L"),
    "_s": (1.0 / 60.0, "min"),
}


def check_job(job: Job) -> None:
    """Raise `InputError` unless a file that said the same would be accepted.

    Not for the cards: those are checked when they are read.
    """
    document = Document(source=job.source, text="", values=_job_values(job))
    written, faults = validated(JobFile, document)
    if written is not None:
        _, faults = resolve_instants(written)
        folder = job.source.parent if job.weather.file is None else job.weather.file.parent
        faults += crosscheck(written, folder=folder)
        faults += against_cards(written, job.cards)
        # Whoever reads the weather's file says whether it is there; a plan needs it no more.
        faults = [fault for fault in faults if fault.path != ("weather", "file")]
    if faults:
        raise _refusal(faults[0])


def _refusal(fault: Fault) -> InputError:
    return InputError(
        fault.problem,
        cure=fault.cure,
        source="job",
        key=key_text(fault.path),
        value=fault.value,
    )


def _job_values(job: Job) -> dict[str, Any]:
    tables = ("site", "building", "materials", "pace", "policy", "doubt")
    values = {name: _values(_model_of(JobFile, name), getattr(job, name)) for name in tables}
    if job.building.climate != "held" and "set_point" in values["building"]:
        del values["building"]["set_point"]
    for kind in ("slurry", "topcoat", "aggregate", "primer"):
        card = getattr(job.cards, kind)
        if card is not None:
            values["materials"][kind] = card.key
    weather = _values(_model_of(JobFile, "weather"), job.weather)
    if job.weather.file is not None:
        # A full path may be longer than what a file may write here.
        weather["file"] = job.weather.file.name[:80]
    crew = _values(_model_of(JobFile, "crew"), job.crew)
    for key in ("pour_shifts", "topcoat_shifts"):
        crew[key] = [_span(shift) for shift in getattr(job.crew, key)]
    if job.crew.people:
        crew = {key: crew[key] for key in crew if key not in ROLES}
    if job.cove is not None:
        values["cove"] = _values(CoveEntry, job.cove)
    return {
        **values,
        "weather": weather,
        "crew": crew,
        "people": [_person_values(person) for person in job.crew.people],
        "display": job.display,
        "clock": job.clock,
        "languages": [*job.languages],
        "seed": job.seed,
        "access": {"from": job.access.begins, "open_by": job.access.open_by},
        "rooms": [_room_values(room) for room in job.rooms],
    }


def _person_values(person: Person) -> dict[str, Any]:
    values = _values(PersonEntry, person)
    del values["hours"]
    if person.hours:
        values["hours"] = [_span(shift) for shift in person.hours]
    return values


def _model_of(model: type[BaseModel], name: str) -> type[BaseModel]:
    found = model.model_fields[name].annotation
    if not (isinstance(found, type) and issubclass(found, BaseModel)):
        raise TypeError(f"{name} is no table")
    return found


def _room_values(room: Room) -> dict[str, Any]:
    values = _values(RoomEntry, room)
    if room.slab_reading is not None:
        values["slab_reading"] = {
            "temp": f"{room.slab_reading.surface_c} C",
            "at": room.slab_reading.read_at,
        }
    if room.heat is not None:
        values["heat"] = {"to": f"{_plain(room.heat.to_c)} C", "from": room.heat.from_at}
    if room.outline is not None:
        del values["length"], values["width"]
        values |= _outline_values(room.outline)
    if room.sun_patch is not None:
        sun = Shift(begins=room.sun_patch.starts, ends=room.sun_patch.ends)
        values["sun"] = {**_span(sun), "share": f"{_plain(100.0 * room.sun_patch.share)} %"}
    return values


def _outline_values(outline: Outline) -> dict[str, Any]:
    def ring(corners: Iterable[Point]) -> list[list[str]]:
        return [[f"{_plain(part)} m" for part in corner] for corner in corners]

    return {
        "outline": ring(outline.corners_m),
        "islands": [ring(island) for island in outline.islands_m],
        "stop_lines": [ring(line) for line in outline.stop_lines_m],
        "back_wall": [corner + 1 for corner in outline.back_wall],
    }


def _span(shift: Shift) -> dict[str, str]:
    whole_day = shift.begins == shift.ends == time(0)
    return {
        "from": f"{shift.begins:%H:%M}",
        "to": "24:00" if whole_day else f"{shift.ends:%H:%M}",
    }


def _values(model: type[BaseModel], table: object) -> dict[str, Any]:
    """A table's plain values as a file would write them."""
    values: dict[str, Any] = {}
    for name, info in model.model_fields.items():
        value = getattr(table, name, None)
        if isinstance(value, str | int | float | tuple | datetime):
            # A drifting climate must lag; one that does not has nothing to say of it.
            if name == "lag_s" and value == 0.0:
                continue
            values[info.alias or name] = _as_written(name, info, value)
    return values


def _as_written(name: str, info: Any, value: object) -> object:
    if isinstance(value, tuple):
        return [*value]
    if not isinstance(value, int | float):
        return value
    example = next((m.example for m in _metadata(info) if hasattr(m, "example")), "")
    if not example.startswith('"'):
        return value
    if example.endswith('%"'):
        return f"{_plain(100.0 * value)} %"
    for suffix, (factor, unit) in _WRITTEN.items():
        if name.endswith(suffix):
            return f"{_plain(value * factor)} {unit}"
    return value


def _plain(value: float) -> str:
    """Without an exponent, which the readers of quantities do not know."""
    text = f"{value:.9f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _metadata(info: Any) -> list[Any]:
    inner = [
        item
        for choice in getattr(info.annotation, "__args__", ())
        for item in getattr(choice, "__metadata__", ())
    ]
    return [*info.metadata, *inner]


def portable(job: Job) -> Job:
    """The job with no path of this machine: names relative to the job file's folder."""
    folder = job.source.parent.absolute()

    def near(path: Path | None) -> Path | None:
        if path is None:
            return None
        whole = path.absolute()
        return whole.relative_to(folder) if whole.is_relative_to(folder) else Path(path.name)

    return replace(
        job,
        source=Path(job.source.name),
        weather=replace(job.weather, file=near(job.weather.file)),
        records=near(job.records),
    )


def with_table(job: Job, table: str, changes: Mapping[str, Any]) -> Job:
    """A job with some keys of one of its tables changed."""
    known = ("site", "building", "materials", "crew", "pace", "policy", "doubt")
    if table not in known:
        raise InputError(
            "no such table can be changed", cure=f"choose among {', '.join(known)}", value=table
        )
    model = _model_of(JobFile, table)
    changed = replace(getattr(job, table), **_read(model, changes, where=table))
    return _checked(replace(job, **{table: changed}))


def with_room(job: Job, name: str, changes: Mapping[str, Any]) -> Job:
    """A job with some keys of one of its rooms changed."""
    place = _place(job, name)
    where, room = f"rooms[{place + 1}]", job.rooms[place]
    shape = {key: changes[key] for key in changes if key.removesuffix("_m") in _SHAPE}
    rest = {key: changes[key] for key in changes if key not in shape}
    if shape:
        room = _reshaped(room, shape, where)
    elif room.outline is not None and {"length", "length_m", "width", "width_m"} & rest.keys():
        raise InputError(
            "this room has an outline, which says its size",
            cure="change its outline, or set outline to None as well",
            key=f"{where}.outline",
        )
    return _with_room(job, place, replace(room, **_read(RoomEntry, rest, where=where)))


_SHAPE = ("outline", "islands", "stop_lines", "back_wall")


def _reshaped(room: Room, shape: Mapping[str, Any], where: str) -> Room:
    """A room of another outline; numbers are metres, and no outline leaves a rectangle."""
    given = {key.removesuffix("_m"): value for key, value in shape.items()}
    if given.get("outline", "") is None:
        return replace(room, outline=None)
    if room.outline is not None:
        given = {**_outline_values(room.outline), **given}
    if "outline" not in given:
        given |= {"length": f"{_plain(room.length_m)} m", "width": f"{_plain(room.width_m)} m"}
    entry = {"name": room.name, "use": room.use, "way_out": [], **_in_metres(given)}
    document = Document(source=Path("job"), text="", values=entry)
    written, faults = validated(RoomEntry, document)
    if written is None:
        fault = faults[0]
        raise InputError(
            fault.problem,
            cure=fault.cure,
            source="job",
            key=f"{where}.{key_text(fault.path)}",
        )
    outline = outline_of(written)
    if outline is None:
        return replace(room, outline=None)
    length_m, width_m = outline.size_m
    return replace(room, outline=outline, length_m=length_m, width_m=width_m)


def _in_metres(value: Any) -> Any:
    """Numbers of corners as texts in metres; numbers of a wall's corners as they are."""
    if isinstance(value, Mapping):
        return {k: v if k == "back_wall" else _in_metres(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_in_metres(part) for part in value]
    if isinstance(value, int | float) and not isinstance(value, bool):
        return f"{_plain(float(value))} m"
    return value


def with_slab(job: Job, name: str, surface: str | float, at: datetime | None) -> Job:
    """A job with a room's slab read, at `at` or when it was read before."""
    place = _place(job, name)
    room = job.rooms[place]
    before = room.slab_reading
    if at is None:
        at = job.access.begins if before is None else before.read_at
    key = f"rooms[{place + 1}].slab_reading"
    temp = _read(SlabReadingEntry, {"temp": surface}, where=key)["surface_c"]
    reading = SlabReading(surface_c=temp, read_at=require_aware(at, name="at"))
    return _with_room(job, place, replace(room, slab_reading=reading))


def with_start(job: Job, begins: datetime | str) -> Job:
    """A job with another start of access; a text is read by the site's clock."""
    if isinstance(begins, str):
        try:
            begins = local_instant(datetime.fromisoformat(begins), job.site.zone)
        except QuantityError as error:
            problem, cure = split_refusal(error, begins)
            raise InputError(problem, cure=cure, key="access.from", value=begins) from None
        except ValueError:
            raise InputError(
                "not a date and time",
                cure="write it as 2026-07-17T20:00",
                key="access.from",
                value=begins,
            ) from None
    begins = require_aware(begins, name="begins").astimezone(job.site.zone)
    return _checked(replace(job, access=replace(job.access, begins=begins)))


def _place(job: Job, name: str) -> int:
    names = [room.name for room in job.rooms]
    if name in names:
        return names.index(name)
    near = get_close_matches(name, names, n=1)
    raise InputError(
        "no room has this name",
        cure=f'did you mean "{near[0]}"?' if near else f"rooms are {', '.join(names)}",
        key="room",
        value=name,
    )


def _with_room(job: Job, place: int, room: Room) -> Job:
    rooms = (*job.rooms[:place], room, *job.rooms[place + 1 :])
    return _checked(replace(job, rooms=rooms))


def _checked(job: Job) -> Job:
    check_job(job)
    return job


def _read(model: type[BaseModel], changes: Mapping[str, Any], *, where: str) -> dict[str, Any]:
    """Changes by field name: texts as in a file, numbers in SI, keys with or without unit."""
    found: dict[str, Any] = {}
    names = {info.alias or name: name for name, info in model.model_fields.items()}
    for key, value in changes.items():
        name = names.get(key, key)
        info = model.model_fields.get(name)
        if info is None:
            near = get_close_matches(key, names, n=1)
            known = f'did you mean "{near[0]}"?' if near else f"known are {', '.join(names)}"
            raise InputError("no such key is known here", cure=known, key=f"{where}.{key}")
        found[name] = tuple(value) if isinstance(value, list) else value
        if isinstance(value, str):
            found[name] = _from_text(info, value, key=f"{where}.{key}")
    return found


def _from_text(info: Any, text: str, *, key: str) -> Any:
    from typing import Annotated

    kind: Any = info.annotation
    for item in info.metadata:
        kind = Annotated[kind, item]
    try:
        return TypeAdapter(kind).validate_python(text)
    except QuantityError as error:
        problem, cure = split_refusal(error, text)
    except ValidationError as error:
        first = error.errors()[0]
        raised = first.get("ctx", {}).get("error")
        problem, cure = first["msg"], "write it as in a job file"
        if isinstance(raised, QuantityError):
            problem, cure = split_refusal(raised, text)
    raise InputError(problem, cure=cure, source="job", key=key, value=text) from None
