"""A job as a form: what each key asks, holds and may be, out of the job file's own schema.

Nothing here knows a key's limits or words; they stand at the key in `inputs/job/schema`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, time
from typing import Any, Literal

from pydantic import BaseModel

from cureplan.core.errors import InputError
from cureplan.inputs.faults import field_at, key_text
from cureplan.inputs.fields import facts_of, reads_of
from cureplan.inputs.files import KeyPath
from cureplan.inputs.job.crew import ROLES
from cureplan.inputs.job.schema import JobFile

__all__ = [
    "Entry",
    "Part",
    "parts_of",
    "path_of",
    "people_parts",
    "room_parts",
    "words_of",
    "written",
]

Look = Literal["text", "choice", "yes", "instant", "several"]

_STEP = re.compile(r"([A-Za-z_][A-Za-z0-9_]*)(?:\[(\d{1,4})\])?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One field of the page."""

    key: str
    """As messages show it: `rooms[1].length`."""
    label: str
    text: str
    look: Look = "text"
    options: tuple[str, ...] = ()
    usual: str = ""
    """Shown where nothing stands."""
    needed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Fields under one heading."""

    name: str
    entries: tuple[Entry, ...]
    more: tuple[Entry, ...] = ()
    """What most jobs leave as it is."""


def path_of(key: str) -> KeyPath:
    """The path of a key as messages show it; refused where the job file has none.

    Examples
    --------
    >>> path_of("rooms[2].slab_reading.temp")
    ('rooms', 1, 'slab_reading', 'temp')
    """
    path = _steps(key)
    if not path or field_at(path, JobFile) is None:
        raise InputError("no such key is known here", cure="load the page anew", key=key)
    return path


def _steps(key: str) -> KeyPath:
    """A key as its steps; none where it is written as none is."""
    path: list[str | int] = []
    for step in key.split("."):
        match = _STEP.fullmatch(step)
        if match is None or (match[2] is not None and int(match[2]) < 1):
            return ()
        path.append(match[1])
        if match[2] is not None:
            path.append(int(match[2]) - 1)
    return tuple(path)


def words_of(key: str, values: Mapping[str, Any]) -> str:
    """A key in the words the form has for it, those of a room or person after its name.

    Examples
    --------
    >>> words_of("crew.setup", {}), words_of("rooms[1].use", {"rooms": [{"name": "Bar"}]})
    ('Crew: How long to set up?', 'Bar: What for?')
    >>> words_of("rooms[1]", {}), words_of("no.such", {})
    ('Room 1', 'no.such')
    """
    path = _steps(key)
    table, row = path[:1], path[1:2]
    whose = next((name for name, own, _ in _PARTS if (own,) == table), "")
    if table in (("rooms",), ("people",)) and row:
        whose = _name_of(table[0], row[0], values)
        if len(path) == 2:
            return whose
    if not path or field_at(path, JobFile) is None:
        return key
    label = _PERSON.get(path[-1]) if table == ("people",) else None
    label = label or _entry(path, None).label
    return f"{whose}: {label}" if whose else label


def _name_of(table: Any, row: Any, values: Mapping[str, Any]) -> str:
    """The name of a room or person; its number where it has none."""
    some = values.get(table)
    found = some[row] if isinstance(some, list) and row < len(some) else None
    named = found.get("name") if isinstance(found, Mapping) else None
    return str(named or f"{'Room' if table == 'rooms' else 'Person'} {row + 1}")


def written(value: Any) -> str:
    """A value of the file as a field shows it.

    Examples
    --------
    >>> written([{"from": "19:00", "to": "05:00"}]), written(["Hall", "Bar"]), written(40.0)
    ('19:00 to 05:00', 'Hall, Bar', '40.0')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return " to ".join(str(part) for part in value.values())
    if isinstance(value, list):
        return ", ".join(written(part) for part in value)
    return "" if value is None else str(value)


# Which keys a part shows, in the order of the job; all that is left stands under `more`.
_PARTS: Sequence[tuple[str, str, tuple[str, ...]]] = (
    ("Kitchen", "site", ("name", "latitude", "longitude", "elevation", "time_zone")),
    ("When", "access", ("from", "open_by")),
    (
        "Crew",
        "crew",
        (
            *("stations", "mixer", "runner", "rake", "smoother", "broadcaster", "edge"),
            *("topcoat", "primer", "setup", "changeover", "pour_shifts", "topcoat_shifts"),
        ),
    ),
    ("Materials", "materials", ("slurry", "topcoat", "aggregate", "primer", "storage")),
    ("Weather", "weather", ("source", "file", "contact")),
    (
        "Building",
        "building",
        ("climate", "lag", "gain", "set_point", "slab_thickness", "ground"),
    ),
    ("Policy", "policy", ("margin", "confidence", "remedies")),
    ("Pace of the hands", "pace", ()),
    ("Doubt", "doubt", ()),
)
_ROOM = ("name", "use", "way_out", "open_for")
_SHAPE = ("length", "width", "outline", "islands", "stop_lines", "back_wall")
"""Drawn, not asked for."""
_AT_WILL = ("heat", "sun", "slab_reading")
"""Tables that stand whole or not at all."""
_TOP = ("display", "languages", "seed", "records")
_PERSON: Mapping[Any, str] = {"name": "Name", "roles": "Can do"}
_LABELS = {
    "materials.slurry": "Slurry: its card",
    "materials.topcoat": "Topcoat: its card",
    "materials.aggregate": "Aggregate: its card",
    "policy.remedies": "What may the plan do by itself, in this order?",
    "display": "Units on the sheets",
    "languages": "Languages of the sheets",
}


def parts_of(values: Mapping[str, Any], cards: Mapping[str, Sequence[str]]) -> list[Part]:
    """Every part of a job's form but its rooms; `cards` by the kind of material."""
    found = []
    for name, table, shown in _PARTS:
        entries = {e.key.partition(".")[2]: e for e in _table(values, (table,))}
        if table == "crew" and values.get("people"):
            # Who is listed by name is counted there.
            entries = {key: entry for key, entry in entries.items() if key not in ROLES}
        if table == "materials":
            entries = {key: _with_cards(entry, cards, key) for key, entry in entries.items()}
        first = tuple(entries[key] for key in shown if key in entries)
        rest = tuple(entry for key, entry in entries.items() if key not in shown)
        found.append(Part(name=name, entries=first, more=rest))
    top = tuple(_entry((key,), values.get(key)) for key in _TOP)
    return [*found, Part(name="Sheets", entries=top)]


def room_parts(values: Mapping[str, Any], number: int) -> Part:
    """The fields of one room but its shape; `number` counts from 0."""
    entries = {
        entry.key.partition(".")[2]: entry for entry in _table(values, ("rooms", number))
    }
    names = [room.get("name", "") for room in _rooms(values)]
    others = tuple(str(name) for place, name in enumerate(names) if place != number and name)
    way = entries["way_out"]
    entries["way_out"] = replace(way, look="several", options=others)
    first = tuple(entries[key] for key in _ROOM)
    rest = tuple(
        entry
        for key, entry in entries.items()
        if key not in _ROOM and key.partition(".")[0] not in _SHAPE
    )
    return Part(name=str(names[number] or f"Room {number + 1}"), entries=first, more=rest)


def people_parts(values: Mapping[str, Any]) -> list[Part]:
    """The fields of everybody who is listed by name."""
    found = []
    people = values.get("people")
    for number, person in enumerate(people if isinstance(people, list) else ()):
        entries = {e.key.partition(".")[2]: e for e in _table(values, ("people", number))}
        roles = replace(
            entries.pop("roles"), look="several", options=ROLES, label=_PERSON["roles"]
        )
        name = replace(entries.pop("name"), label=_PERSON["name"])
        shown = person.get("name") if isinstance(person, Mapping) else None
        found.append(
            Part(
                name=str(shown or f"Person {number + 1}"),
                entries=(name, roles),
                more=tuple(entries.values()),
            )
        )
    return found


def _rooms(values: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    rooms = values.get("rooms", [])
    return [room for room in rooms if isinstance(room, Mapping)] if rooms else []


def _table(values: Any, path: KeyPath) -> Iterable[Entry]:
    """Every key of a table, those of tables inside it too."""
    model = _model_at(path)
    at = values
    for step in path:
        try:
            at = at[step]
        except (KeyError, IndexError, TypeError):
            at = {}
    held = at if isinstance(at, Mapping) else {}
    for name, info in model.model_fields.items():
        key = info.alias or name
        inner = _inner_model(info.annotation)
        if inner is not None and not _is_list(info.annotation):
            yield from _table(values, (*path, key))
        elif inner is None or key.endswith("_shifts") or key == "hours":
            # Other lists of tables are for the file itself.
            yield _entry((*path, key), held.get(key))


def _model_at(path: KeyPath) -> type[BaseModel]:
    model: type[BaseModel] = JobFile
    for step in path:
        if isinstance(step, str):
            info = next(i for n, i in model.model_fields.items() if step == (i.alias or n))
            inner = _inner_model(info.annotation)
            if inner is None:
                raise TypeError(f"{key_text(path)} is no table")
            model = inner
    return model


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _inner_model(inner)
        if found is not None:
            return found
    return None


def _is_list(annotation: Any) -> bool:
    return getattr(annotation, "__origin__", None) is tuple


def _entry(path: KeyPath, value: Any) -> Entry:
    info = field_at(path, JobFile)
    if info is None:
        raise TypeError(f"{key_text(path)} is no key of the job file")
    facts, reads = facts_of(info), reads_of(info)
    key = key_text(path)
    shape: Mapping[str, Any] = reads.shape if reads else {}
    look: Look = "text"
    options: tuple[str, ...] = ()
    if "enum" in shape and not _is_list(info.annotation):
        look, options = "choice", tuple(shape["enum"])
    elif shape.get("format") == "date-time":
        look = "instant"
    elif info.annotation is bool:
        look = "yes"
    default = info.default if isinstance(info.default, str | int) else ""
    usual = facts.usual or str(default) or (reads.example.strip('"') if reads else "")
    label = _LABELS.get(key) or facts.ask.strip() or facts.meaning or facts.note
    if label.startswith("where it"):
        label = f"{str(path[-1]).replace('_', ' ')}, {label}"
    needed = info.is_required() and not {*path[:-1]} & {*_AT_WILL}
    if look == "choice" and not needed and not default:
        options = ("", *options)
    shown = written(value) if value is not None else (written(default) if options else "")
    if look == "instant" and shown:
        shown = shown.replace(" ", "T")[:16]
    return Entry(
        key=key,
        label=_sentence(label or str(path[-1])),
        text=shown,
        look=look,
        options=options,
        usual=usual,
        needed=needed,
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _with_cards(entry: Entry, cards: Mapping[str, Sequence[str]], key: str) -> Entry:
    """A choice among the cards at hand; a primer may be none."""
    if key not in cards:
        return entry
    options = (*(("",) if not entry.needed else ()), *cards[key])
    if entry.text and entry.text not in options:
        options = (*options, entry.text)
    return replace(entry, look="choice", options=options)
