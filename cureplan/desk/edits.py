"""Changes of a job: read as the command line reads them, written beside the user's comments.

The file is the one truth. A change says which text its page showed; where another stands by
now, it is not made, and what differs is said.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import zip_longest
from typing import Any

from cureplan.core.errors import CurePlanError, InputError
from cureplan.desk.folder import JobFolder, fingerprint, said
from cureplan.desk.form import path_of, words_of, written
from cureplan.inputs.faults import field_at, key_text, value_fault
from cureplan.inputs.files import KeyPath, parse_document
from cureplan.inputs.job.crew import ROLES
from cureplan.inputs.job.interview import value_of
from cureplan.inputs.job.own import own_file
from cureplan.inputs.job.reader import job_text_faults
from cureplan.inputs.job.schema import JobFile
from cureplan.inputs.toml_edit import added, removed, with_value

__all__ = ["Edits", "changed_keys", "faults_of", "values_of"]

MOST_PEOPLE = 60
MOST_SHOWN = 60
"""Texts a page may still show, kept to tell what changed since."""
_TABLES = {"remove person": "people", "remove room": "rooms", "shape": "rooms"}
_SHAPE = ("length", "width", "outline", "islands", "stop_lines", "back_wall")


def values_of(text: str, *, name: str) -> Mapping[str, Any]:
    """The values of a job's text; `InputError` names the line that is no TOML."""
    from pathlib import Path

    return parse_document(text, source=Path(f"{name}.toml"), what="job file").values


def faults_of(text: str, folder: JobFolder, name: str) -> list[dict[str, Any]]:
    """Everything wrong with a job, in the words of the command line."""
    try:
        found = job_text_faults(text, source=folder.place_for(name), defaults=own_file())
    except InputError as error:
        found = (error,)
    return [fault_words(error, folder) for error in found]


def fault_words(error: InputError, folder: JobFolder) -> dict[str, Any]:
    """One fault for the page: where, and what the command line would say."""
    plain = InputError(
        error.problem, cure=error.cure, line=error.line, key=error.key, value=error.value
    )
    return {
        "key": error.key or "",
        "line": error.line,
        "words": said(plain, folder.path),
        "short": said(InputError(error.problem, cure=error.cure), folder.path),
    }


def changed_keys(before: Any, after: Any, path: KeyPath = ()) -> Iterator[dict[str, str]]:
    """Where two jobs differ, key by key, as a person would read it."""
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        for key in [*before, *(key for key in after if key not in before)]:
            yield from changed_keys(before.get(key), after.get(key), (*path, key))
    elif _tables(before) and _tables(after):
        for place, was, now in _pairs(before, after):
            yield from changed_keys(was, now, (*path, place))
    elif before != after:
        yield {"key": key_text(path), "was": _shown(before), "now": _shown(after)}


def _pairs(before: list[Any], after: list[Any]) -> Iterator[tuple[int, Any, Any]]:
    """Rows of two lists that belong together: by name where some have come or gone."""
    names = [[row.get("name") for row in rows] for rows in (before, after)]
    if len(before) == len(after) or any(len({*some}) < len(some) for some in names):
        yield from ((place, *rows) for place, rows in enumerate(zip_longest(before, after)))
        return
    was, now = names
    for place, row in enumerate(before):
        yield place, row, after[now.index(was[place])] if was[place] in now else None
    for place, row in enumerate(after):
        if now[place] not in was:
            yield place, None, row


def _tables(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, Mapping) for one in value)


def _shown(value: Any) -> str:
    if isinstance(value, Mapping):
        return str(value.get("name") or written(value))
    return written(value)


@dataclass(slots=True)
class Edits:
    """Changes of a folder's jobs, one after the other."""

    folder: JobFolder
    shown: dict[str, str] = field(default_factory=dict)
    """Texts that pages show, by fingerprint."""

    def show(self, text: str) -> str:
        """Note that a page shows a text; returns its fingerprint."""
        mark = fingerprint(text)
        self.shown.pop(mark, None)
        self.shown[mark] = text
        while len(self.shown) > MOST_SHOWN:
            self.shown.pop(next(iter(self.shown)))
        return mark

    def change(self, name: str, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Make the changes of one page, all of them or none."""

        def changed(text: str) -> str | dict[str, Any]:
            values_of(text, name=name)
            after = text
            for one in _list_of(sent, "changes"):
                found = self._one(after, one, name)
                if isinstance(found, dict):
                    return {"status": 422, **found}
                after = found
            if after != text:
                self.folder.write(name, after, before=text)
            return after

        return self._unless_differs(name, sent, changed)

    def state(self, name: str, text: str) -> dict[str, Any]:
        """What a page must know of a text: its fingerprint and its faults."""
        return {
            "rev": self.show(text),
            "faults": faults_of(text, self.folder, name),
            "undo": self.folder.can_undo(name),
        }

    def whole(self, name: str, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Put a whole text in place, as it is mended by hand on the page."""
        after = sent.get("text")
        if not isinstance(after, str) or "\0" in after or len(after) > 200_000:
            raise InputError("this is no text", cure="write a job file", key="text")

        def written(text: str) -> str:
            self.folder.write(name, after, before=text)
            return after

        return self._unless_differs(name, sent, written)

    def undo(self, name: str, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Take the last change back."""

        def taken_back(text: str) -> str:
            before = self.folder.undo(name)
            return text if before is None else before

        return self._unless_differs(name, sent, taken_back)

    def _unless_differs(
        self,
        name: str,
        sent: Mapping[str, Any],
        edit: Callable[[str], str | dict[str, Any]],
    ) -> dict[str, Any]:
        """Edit the text a page knows; what another has changed since is shown in its place."""
        with self.folder.lock:
            text = self.folder.read(name)
            after = self._differs(name, text, sent) or edit(text)
        return after if isinstance(after, dict) else self.state(name, after)

    def _differs(self, name: str, text: str, sent: Mapping[str, Any]) -> dict[str, Any] | None:
        """What another page or hand has changed since; None where nothing has."""
        seen = str(sent.get("rev", ""))
        if seen == fingerprint(text):
            return None
        try:
            now = values_of(text, name=name)
        except InputError:
            if "text" not in sent:
                raise
            # A whole text is put in the place of whatever stands there.
            now = {}
        before = self.shown.get(seen)
        changes: list[dict[str, str]] = []
        known: Mapping[str, Any] = now
        if before is not None:
            try:
                known = tomllib.loads(before)
                changes = [*changed_keys(known, now)]
            except ValueError:
                changes = []
        yours = [
            {
                "key": str(one.get("key", "")),
                "now": _at(now, one),
                "yours": str(one.get("text", "")),
            }
            for one in _list_of(sent, "changes")
            if "text" in one
        ]
        return {
            "status": 409,
            "conflict": "This job was changed elsewhere since this page showed it.",
            "theirs": [{**one, "words": words_of(one["key"], known)} for one in changes],
            "known": before is not None,
            "yours": [{**one, "words": words_of(one["key"], known)} for one in yours],
            "rev": self.show(text),
        }

    def _one(self, text: str, one: Mapping[str, Any], name: str) -> str | dict[str, Any]:
        """The text after one change, or what is wrong with it."""
        kind = str(one.get("do", "set"))
        if kind == "add room":
            return _room_added(text, name)
        if kind in ("list people", "add person"):
            return _people_listed(text, name) if kind == "list people" else _person(text, name)
        path = _meant(values_of(text, name=name), one)
        table = _TABLES.get(kind, path[0])
        numbered = len(path) > 1 and isinstance(path[1], int)
        if table != path[0] or (table in ("rooms", "people") and not numbered):
            raise InputError("no such key is known here", cure="load the page anew", key="key")
        if kind == "remove person":
            return removed(text, path[:2])
        if kind == "remove room":
            return _room_removed(text, path[:2], name)
        if kind == "shape":
            return _shaped(text, path[:2], one, self.folder, name)
        if "text" not in one:
            raise InputError("nothing was written", cure="load the page anew")
        return _field_set(text, path, str(one["text"]), self.folder, name)


def _list_of(sent: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    found = sent.get(key, [])
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise InputError("this is no list of changes", cure="load the page anew", key=key)
    return found[:500]


def _meant(values: Mapping[str, Any], one: Mapping[str, Any]) -> KeyPath:
    """Where the room or person that a page speaks of stands now: others come and go."""
    path, of = path_of(str(one.get("key", ""))), one.get("of")
    if not of or len(path) < 2 or path[0] not in ("rooms", "people"):
        return path
    rows = values.get(str(path[0]), [])
    names = [row.get("name") if isinstance(row, Mapping) else None for row in rows]
    if names[int(path[1]) : int(path[1]) + 1] == [of]:
        return path
    if names.count(of) != 1:
        raise InputError(
            "it is gone from this job, or has another name by now",
            cure="show the job as it is now",
            key=str(one.get("key")),
            value=str(of),
        )
    return (path[0], names.index(of), *path[2:])


def _at(values: Any, one: Mapping[str, Any]) -> str:
    try:
        for step in _meant(values, one):
            values = values[step]
    except (CurePlanError, KeyError, IndexError, TypeError):
        return ""
    return _shown(values)


def _refused(error: InputError, folder: JobFolder) -> dict[str, Any]:
    found = fault_words(error, folder)
    return {"fault": found["short"], "key": found["key"]}


def _field_set(
    text: str, path: KeyPath, written_text: str, folder: JobFolder, name: str
) -> str | dict[str, Any]:
    values = values_of(text, name=name)
    written_text = written_text.strip()
    if path[0] in ("rooms", "people") and int(path[1]) >= len(values.get(path[0], [])):
        what = "room" if path[0] == "rooms" else "person"
        raise InputError(f"this {what} is gone", cure="load the page anew", key=key_text(path))
    if not written_text and not _stays_empty(path):
        return _emptied(text, path, folder, name)
    value = _value(path, written_text)
    fault = value_fault(path, value, JobFile)
    if fault is not None:
        cure = fault.cure.replace(", without quotes", "").replace("without quotes, ", "")
        error = InputError(fault.problem, cure=cure, key=key_text(path), value=written_text)
        return _refused(error, folder)
    if path[0] == "rooms" and path[2:] == ("name",):
        text = _renamed(text, values, str(values["rooms"][path[1]].get("name", "")), value)
    return with_value(text, path, value)


def _stays_empty(path: KeyPath) -> bool:
    """A list may well be empty: a room that leads straight outside."""
    return path[-1] == "way_out"


def _value(path: KeyPath, text: str) -> Any:
    info = field_at(path, JobFile)
    if info is not None and info.annotation is bool:
        return {"true": True, "false": False}.get(text, text)
    # A person's own hours are written as the crew's shifts are.
    return value_of(("crew", "pour_shifts") if path[-1] == "hours" else path, text)


def _emptied(text: str, path: KeyPath, folder: JobFolder, name: str) -> str | dict[str, Any]:
    """A field left empty: its key goes, where the job may do without."""
    info = field_at(path, JobFile)
    table = path[:-1]
    at_will = len(table) > 1 and isinstance(table[-1], str)
    if info is not None and info.is_required() and not at_will:
        faults = faults_of(removed(text, path), folder, name)
        own = next((f for f in faults if f["key"] == key_text(path)), None)
        return {
            "fault": own["short"] if own else "this key is missing; write something",
            "key": key_text(path),
        }
    after = removed(text, path)
    held: Any = tomllib.loads(after)
    try:
        for step in table:
            held = held[step]
    except (KeyError, IndexError):
        return after
    return removed(after, table) if at_will and not held else after


# People


def _people_listed(text: str, name: str) -> str | dict[str, Any]:
    """Everybody who was counted by role, as somebody with a name to be changed."""
    values = values_of(text, name=name)
    crew = values.get("crew", {})
    counts = {role: crew[role] for role in ROLES if isinstance(crew.get(role), int)}
    if values.get("people") or not 0 < sum(counts.values()) <= MOST_PEOPLE:
        return {"fault": "there is nobody to list; add them one by one", "key": ""}
    for role, count in counts.items():
        text = removed(text, ("crew", role))
        for number in range(1, count + 1):
            text = added(
                text, ("people",), {"name": f"{role.capitalize()} {number}", "roles": [role]}
            )
    return text


def _person(text: str, name: str) -> str:
    people = values_of(text, name=name).get("people", [])
    taken = {str(one.get("name", "")) for one in people if isinstance(one, dict)}
    number = len(people) + 1
    while f"Person {number}" in taken:
        number += 1
    return added(text, ("people",), {"name": f"Person {number}", "roles": ["broadcaster"]})


# Rooms


def _room_added(text: str, name: str) -> str:
    rooms = values_of(text, name=name).get("rooms", [])
    taken = {str(room.get("name", "")) for room in rooms if isinstance(room, dict)}
    number = len(rooms) + 1
    while f"Room {number}" in taken:
        number += 1
    entry = {
        "name": f"Room {number}",
        "length": "20 ft",
        "width": "15 ft",
        "use": "food preparation",
        "open_for": "wash-down",
        "way_out": [],
    }
    if values_of(text, name=name).get("display") == "metric":
        entry |= {"length": "6 m", "width": "4.5 m"}
    return added(text, ("rooms",), entry)


def _room_removed(text: str, path: KeyPath, name: str) -> str | dict[str, Any]:
    rooms = values_of(text, name=name).get("rooms", [])
    if len(rooms) < 2:
        return {"fault": "a job has one room at least; change this one", "key": ""}
    gone = str(rooms[int(path[1])].get("name", "")) if int(path[1]) < len(rooms) else ""
    after = removed(text, path)
    return _renamed(after, tomllib.loads(after), gone, None)


def _renamed(text: str, values: Mapping[str, Any], old: str, new: str | None) -> str:
    """The ways out of other rooms, after a room has another name or is gone."""
    for place, room in enumerate(values.get("rooms", [])):
        way = room.get("way_out") if isinstance(room, dict) else None
        if isinstance(way, list) and old in way:
            named = [new if one == old else one for one in way]
            kept = [one for one in named if one is not None]
            text = with_value(text, ("rooms", place, "way_out"), kept)
    return text


def _shaped(
    text: str, path: KeyPath, one: Mapping[str, Any], folder: JobFolder, name: str
) -> str | dict[str, Any]:
    """A room's whole shape: the keys that are given are set, the others of a shape go."""
    shape = one.get("shape")
    rooms = values_of(text, name=name).get("rooms", [])
    if not isinstance(shape, dict) or path[0] != "rooms" or int(path[1]) >= len(rooms):
        raise InputError("this is no shape of a room", cure="load the page anew")
    for key in _SHAPE:
        whole = (*path, key)
        value = shape.get(key)
        if value in (None, [], ""):
            text = removed(text, whole)
            continue
        fault = value_fault(whole, value, JobFile)
        if fault is not None:
            error = InputError(
                fault.problem, cure=fault.cure, key=key_text(whole), value=fault.value
            )
            return _refused(error, folder)
        text = with_value(text, whole, value)
    return text
