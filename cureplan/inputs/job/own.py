"""The user's own defaults: what is the same on every job of a yard, in one file of TOML.

Tables `[site]`, `[crew]`, `[pace]` and `[[people]]` as in a job file; a job that says
something itself is not changed by them.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from cureplan.core.errors import InputError
from cureplan.core.messages import Message, Value
from cureplan.inputs.faults import (
    Fault,
    as_errors,
    field_at,
    first_error,
    key_text,
    value_fault,
)
from cureplan.inputs.files import Document, KeyPath, read_document
from cureplan.inputs.job.crew import POUR_ROLES
from cureplan.inputs.job.schema import JobFile
from cureplan.inputs.toml_text import value_text

__all__ = [
    "OWN_VARIABLE",
    "at_own_file",
    "fill",
    "notes_on",
    "own_file",
    "own_place",
    "read_own",
]

OWN_VARIABLE = "CUREPLAN_DEFAULTS"
"""Names another file than the one in the user's folder of settings; empty for none."""
_WHAT = "file of your own defaults"
_TABLES = ("site", "crew", "pace")
_HEADS = frozenset((*POUR_ROLES, "topcoat"))


def own_place() -> Path | None:
    """Where the file stands, or would."""
    named = os.environ.get(OWN_VARIABLE)
    if named is not None:
        return Path(named) if named else None
    from platformdirs import user_config_path

    return user_config_path("cureplan", appauthor=False) / "defaults.toml"


def own_file() -> Path | None:
    """The file of the one who runs this, None where there is none."""
    place = own_place()
    if place is None:
        return None
    # A file that is named must be there.
    return place if OWN_VARIABLE in os.environ or os.path.lexists(place) else None


def read_own(path: Path) -> Document:
    """The user's file, its keys not yet looked at."""
    return read_document(path, what=_WHAT)


def fill(document: Document, own: Document) -> tuple[Document, tuple[KeyPath, ...]]:
    """A job's document with what it leaves out as the user's own file says, and which keys."""
    faults = [*_faults(own.values)]
    if faults:
        raise first_error(as_errors(faults, own))
    values = dict(document.values)
    filled: list[KeyPath] = []
    for path, value in _wanted(values, own.values):
        filled.append(path)
        if len(path) == 1:
            values[str(path[0])] = value
        else:
            table = values.get(str(path[0]), {})
            values[str(path[0])] = {**table, path[1]: value}
    return replace(document, values=values), tuple(filled)


def notes_on(filled: tuple[KeyPath, ...], own: Document) -> Iterator[Message]:
    """Where each value that was filled in came from."""
    for path in filled:
        at: Any = own.values
        for step in path:
            at = at[step]
        shown = ", ".join(one["name"] for one in at) if path == ("people",) else value_text(at)
        values: dict[str, Value] = {"key": key_text(path), "value": shown}
        where: dict[str, Value] = {"file": own.source.name, "line": own.line(path)}
        yield Message("job.own", {**values, **where})


def at_own_file(error: InputError, filled: tuple[KeyPath, ...], own: Document) -> InputError:
    """A fault of a job at the file that its value came from."""
    for path in filled:
        key = key_text(path)
        if error.key is not None and (error.key == key or error.key.startswith(f"{key}[")):
            return InputError(
                error.problem,
                cure=error.cure,
                source=own.source,
                line=own.line(path),
                key=error.key,
                value=error.value,
            )
    return error


def _wanted(
    said: Mapping[str, Any], own: Mapping[str, Any]
) -> Iterator[tuple[KeyPath, object]]:
    """What the user's file says of keys the job leaves out.

    A site is one place and taken whole, and so are heads that are counted or named.
    """
    crew = said.get("crew", {})
    heads = isinstance(crew, dict) and not _HEADS.isdisjoint(crew)
    if "people" in own and "people" not in said and not heads:
        yield ("people",), own["people"]
    for table in _TABLES:
        there = said.get(table, {})
        if not isinstance(there, dict) or (table == "site" and there.keys() - {"name"}):
            continue
        for key, value in own.get(table, {}).items():
            is_head = table == "crew" and key in _HEADS
            if key not in there and not (is_head and ("people" in said or heads)):
                yield (table, key), value


def _faults(own: Mapping[str, Any]) -> Iterator[Fault]:
    known = ", ".join(f"[{table}]" for table in _TABLES)
    for table, keys in own.items():
        if table == "people":
            fault = value_fault(("people",), keys, JobFile)
            yield from () if fault is None else (fault,)
        elif table not in _TABLES or not isinstance(keys, dict):
            cure = f"keep {known} and [[people]]; the rest belongs to a job"
            yield Fault(path=(table,), problem="this cannot be a default of yours", cure=cure)
        else:
            yield from _of_table(table, keys)
    crew = own.get("crew")
    if "people" in own and isinstance(crew, dict) and not _HEADS.isdisjoint(crew):
        problem = "heads are counted here although the people are listed by name"
        head = next(key for key in crew if key in _HEADS)
        yield Fault(path=("crew", head), problem=problem, cure="keep one of the two")


def _of_table(table: str, keys: Mapping[str, Any]) -> Iterator[Fault]:
    for key, value in keys.items():
        if field_at((table, key), JobFile) is None:
            problem, cure = "no such key is known here", f"see [{table}] of a job file"
            yield Fault(path=(table, key), problem=problem, cure=cure, value=value)
            continue
        fault = value_fault((table, key), value, JobFile)
        if fault is not None:
            yield fault
