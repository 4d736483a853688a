"""A sentence not yet put into words: what is meant, and the values it speaks of.

Reasons are made deep inside the planning, but words, units and languages belong to
the sheets. A `Say` carries a code and named values between the two; each value's
suffix (`_c`, `_k`, `_s`, `_min`, `_at`, `_kg`, `_frac`, ...) tells the sheets how to
show it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Union

__all__ = ["Say", "Value", "once", "say_from_plain", "say_to_plain"]

# `Union`, as the sign | knows no names that are yet to come.
Value = Union[float, int, str, None, "Say", tuple["Say", ...]]


@dataclass(frozen=True, slots=True)
class Say:
    """One sentence, by its code and its values; a value may be a sentence, or several.

    Not for text that only a program reads; keep those as plain fields.

    Examples
    --------
    >>> Say("pour.margin", {"room": "Cook line", "margin_min": 2.5}).code
    'pour.margin'
    """

    code: str
    values: Mapping[str, Value] = field(default_factory=dict)


def say_to_plain(sentence: Say) -> dict[str, Any]:
    """A sentence as JSON knows it.

    Examples
    --------
    >>> say_to_plain(Say("weather.shut", {"why": Say("door.slow")}))
    {'code': 'weather.shut', 'values': {'why': {'code': 'door.slow', 'values': {}}}}
    """
    return {
        "code": sentence.code,
        "values": {name: _plain(value) for name, value in sentence.values.items()},
    }


def _plain(value: Value) -> Any:
    if isinstance(value, Say):
        return say_to_plain(value)
    return [say_to_plain(one) for one in value] if isinstance(value, tuple) else value


def say_from_plain(plain: Any) -> Say:
    """The sentence back from JSON.

    Raises
    ------
    ValueError
        It is not one.

    Examples
    --------
    >>> say_from_plain({"code": "door.slow", "values": {}})
    Say(code='door.slow', values={})
    """
    if not (isinstance(plain, dict) and plain.keys() == {"code", "values"}):
        raise ValueError("not a sentence")
    code, values = plain["code"], plain["values"]
    if not (isinstance(code, str) and isinstance(values, dict)):
        raise ValueError("not a sentence")  # noqa: TRY004 - of data, not of a type
    return Say(code, {name: _value(value) for name, value in values.items()})


def _value(plain: Any) -> Value:
    if isinstance(plain, dict):
        return say_from_plain(plain)
    if isinstance(plain, list):
        return tuple(say_from_plain(one) for one in plain)
    if plain is None or isinstance(plain, str | int | float):
        return plain
    raise ValueError("not a value")


def once(sentences: Iterable[Say]) -> tuple[Say, ...]:
    """Each sentence once, in the order met; for those that cannot be hashed."""
    kept: list[Say] = []
    for sentence in sentences:
        if sentence not in kept:
            kept.append(sentence)
    return tuple(kept)
