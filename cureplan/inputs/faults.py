"""Faults in what a user wrote, each with its key path, and how they become errors.

Reading gathers every fault it can find, so that one run of `check` shows them all; what
is raised is the first in the file, with a count of the rest.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from difflib import get_close_matches
from functools import lru_cache
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from cureplan.core.errors import InputError, OutOfRangeError, QuantityError
from cureplan.core.quantities import split_refusal
from cureplan.inputs.fields import facts_of, reads_of
from cureplan.inputs.files import Document, KeyPath

__all__ = [
    "Fault",
    "as_errors",
    "field_at",
    "first_error",
    "key_text",
    "validated",
    "value_fault",
]

M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing wrong with a file, at a key."""

    path: KeyPath
    problem: str
    cure: str
    value: object = None


def key_text(path: KeyPath) -> str:
    """Key path as messages show it; entries count from 1, as a foreman does.

    Examples
    --------
    >>> key_text(("rooms", 0, "sun", "share"))
    'rooms[1].sun.share'
    """
    text = ""
    for step in path:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if text else step
    return text


def validated(
    model: type[M], document: Document, values: Mapping[str, Any] | None = None
) -> tuple[M | None, list[Fault]]:
    """Read a document's values as `model`."""
    try:
        return model.model_validate(document.values if values is None else values), []
    except ValidationError as error:
        return None, _faults(error.errors(include_url=False), model)
    except RecursionError:
        return None, [Fault(path=(), problem="values nest too deep", cure="mend the brackets")]


def as_errors(faults: Iterable[Fault], document: Document) -> tuple[InputError, ...]:
    """Every fault as an error with its line, in the order of the file."""
    errors = [
        InputError(
            fault.problem,
            cure=fault.cure,
            source=document.source,
            line=document.line(fault.path),
            key=key_text(fault.path) or None,
            value=_shown(fault.value),
        )
        for fault in faults
    ]
    return tuple(sorted(errors, key=lambda error: error.line or 0))


def first_error(errors: Sequence[InputError]) -> InputError:
    """The first error, saying how many more there are."""
    first = errors[0]
    if len(errors) == 1:
        return first
    told = InputError(
        first.problem,
        cure=f"{first.cure} (and {len(errors) - 1} more to mend after it)",
        source=first.source,
        line=first.line,
        key=first.key,
        value=first.value,
    )
    told.after = tuple(errors[1:])
    return told


def _shown(value: object) -> object:
    if isinstance(value, date | time):
        return value.isoformat()
    return value if isinstance(value, str | int | float) else None


def _faults(details: Sequence[ErrorDetails], model: type[BaseModel]) -> list[Fault]:
    """One fault per slip: no echo of it at the list around it, or at the key it misspells."""
    inner = {detail["loc"][:end] for detail in details for end in range(len(detail["loc"]))}
    meant = {
        (*detail["loc"][:-1], near)
        for detail in details
        if detail["type"] == "extra_forbidden"
        for near in _near(detail["loc"], model)
    }
    return [
        _fault(detail, model)
        for detail in details
        if not (detail["type"] == "too_short" and detail["loc"] in inner)
        and not (detail["type"] == "missing" and detail["loc"] in meant)
    ]


def _fault(detail: ErrorDetails, model: type[BaseModel]) -> Fault:
    path = detail["loc"]
    value = detail.get("input")
    kind = detail["type"]
    raised = detail.get("ctx", {}).get("error")
    if isinstance(raised, QuantityError):
        problem, cure = split_refusal(raised, value)
    elif kind == "too_long":
        most = detail.get("ctx", {}).get("max_length")
        problem, cure, value = "this list is too long", f"keep at most {most} entries", None
    elif kind == "extra_forbidden":
        problem, cure = _unknown(path, model)
        # A file with foreign keys at its top may be a secret of the machine's.
        value = value if len(path) > 1 else None
    elif kind == "missing":
        problem, cure, value = "this key is missing", _hint(path, model), None
    elif kind in ("tuple_type", "list_type") and isinstance(value, dict) and len(path) == 1:
        problem, cure, value = "this is one table, not a list", f"write [[{path[0]}]]", None
    else:
        problem, cure = _COMMON.get(kind, (detail["msg"], "correct it"))
    return Fault(path=path, problem=problem, cure=cure, value=value)


_COMMON = {
    "model_type": ("this is not a table", "write it as a [table] or as { key = value }"),
    "model_attributes_type": ("this is not a table", "write it as a [table]"),
    "dict_type": ("this is not a table", "write it as a [table]"),
    "tuple_type": ("this is not a list", "write it in [brackets]"),
    "list_type": ("this is not a list", "write it in [brackets]"),
    "bool_type": ("this is neither true nor false", "write true or false, without quotes"),
    "string_type": ("this is not a text", "write it in quotes"),
    "too_short": ("this list is empty", "give at least one entry"),
}


def _table_at(path: KeyPath, model: type[BaseModel]) -> type[BaseModel] | None:
    """The model of the table that holds the last key of `path`."""
    at: type[BaseModel] | None = model
    for step in path[:-1]:
        if isinstance(step, int) or at is None:
            continue
        fields = {f.alias or name: f for name, f in at.model_fields.items()}
        at = _model_in(fields[step].annotation) if step in fields else None
    return at


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """The model inside ``X``, ``X | None`` or ``tuple[X, ...]``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _model_in(inner)
        if found is not None:
            return found
    return None


def _keys(model: type[BaseModel] | None) -> list[str]:
    if model is None:
        return []
    return [info.alias or name for name, info in model.model_fields.items()]


def _near(path: KeyPath, model: type[BaseModel]) -> list[str]:
    return get_close_matches(str(path[-1]), _keys(_table_at(path, model)), n=1)


def _unknown(path: KeyPath, model: type[BaseModel]) -> tuple[str, str]:
    for near in _near(path, model):
        return "no such key is known here", f'did you mean "{near}"?'
    known = ", ".join(_keys(_table_at(path, model)))
    return "no such key is known here", f"remove it; known are {known}"


def _hint(path: KeyPath, model: type[BaseModel]) -> str:
    """What a missing key is and could look like."""
    info = field_at(path, model)
    meaning = facts_of(info).meaning if info else ""
    return f"add {_line(path, info)}" + (f": {meaning}" if meaning else "")


def _line(path: KeyPath, info: FieldInfo | None) -> str:
    key = path[-1]
    reads = reads_of(info) if info else None
    if reads is not None:
        return f"a line like {key} = {reads.example}"
    annotation = info.annotation if info else None
    is_list = getattr(annotation, "__origin__", None) is tuple
    inner = _model_in(annotation)
    if inner is None:
        return f"{key} = [...]" if is_list else f"a line {key} = ..."
    if is_list and len(path) == 1:
        return f"[[{key}]] tables"
    if not is_list and not any(isinstance(step, int) for step in path):
        return f"a table [{key_text(path)}]"
    table = f"{{ {', '.join(_needed(inner))} }}"
    return f"a line like {key} = " + (f"[{table}]" if is_list else table)


def _needed(model: type[BaseModel]) -> list[str]:
    """What a table cannot do without, as it could be written inside braces."""
    return [
        f"{info.alias or name} = {reads.example if (reads := reads_of(info)) else '...'}"
        for name, info in model.model_fields.items()
        if info.is_required()
    ]


def field_at(path: KeyPath, model: type[BaseModel]) -> FieldInfo | None:
    """The field a key path names."""
    table = _table_at(path, model)
    fields = table.model_fields.items() if table else ()
    return next((info for name, info in fields if path[-1] == (info.alias or name)), None)


def value_fault(path: KeyPath, value: object, model: type[BaseModel]) -> Fault | None:
    """What is wrong with the value of one key, taken by itself."""
    try:
        _adapter(path, model).validate_python(value)
    except ValidationError as error:
        detail = error.errors(include_url=False)[0]
        return _fault(ErrorDetails(**{**detail, "loc": (*path, *detail["loc"])}), model)
    return None


@lru_cache(maxsize=1024)
def _adapter(path: KeyPath, model: type[BaseModel]) -> TypeAdapter[Any]:
    """What reads the value of one key."""
    info = field_at(path, model)
    if info is None:
        raise OutOfRangeError(f"{key_text(path)} is no key of {model.__name__}")
    read_as: Any = (
        Annotated[info.annotation, *info.metadata] if info.metadata else info.annotation
    )
    return TypeAdapter(read_as)
