"""Every number, instant and choice of a plan, and the plan with one of them changed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from cureplan.core.messages import Message
from cureplan.planning.plan.model import Plan

Path = tuple[str | int, ...]

# What a plan states, as opposed to the job and the words it repeats.
STATED = ("rooms", "buckets", "coats", "calls", "chill", "hours", "takeoff", "risk")


def leaves(plan: Plan) -> Iterator[tuple[Path, Any]]:
    """Path and value of everything stated that can be moved."""
    for name in STATED:
        yield from _below((name,), getattr(plan, name))


def _below(path: Path, node: Any) -> Iterator[tuple[Path, Any]]:
    if isinstance(node, tuple):
        for index, child in enumerate(node):
            yield from _below((*path, index), child)
    elif is_dataclass(node) and not isinstance(node, Message):
        for field in fields(node):
            yield from _below((*path, field.name), getattr(node, field.name))
    elif isinstance(node, (bool, int, float, datetime)):
        yield path, node


def kind_of(path: Path) -> str:
    """The field a leaf is one of, whatever its place."""
    return ".".join(part for part in path if isinstance(part, str))


def moved(path: Path, value: Any, way: int) -> Any:
    """A value that means something else: twenty minutes, two kelvin, a tenth, one more."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, datetime):
        return value + way * timedelta(minutes=20)
    if isinstance(value, int):
        return value + way
    name = str(path[-1])
    if name.endswith("_frac"):
        return value + 0.2 * way
    if name.endswith("_c"):
        return value + 2.0 * way
    if name.endswith("_min"):
        return value + 1.0 * way
    return value * (1.0 + 0.1 * way) if value else 0.1 * way


def changed(node: Any, path: Path, value: Any) -> Any:
    """The plan, or a part of it, with one leaf changed."""
    if not path:
        return value
    first, rest = path[0], path[1:]
    if isinstance(first, int):
        return (*node[:first], changed(node[first], rest, value), *node[first + 1 :])
    return replace(node, **{first: changed(getattr(node, first), rest, value)})
