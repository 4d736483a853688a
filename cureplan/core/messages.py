"""A sentence not yet put into words: what is meant, and the values it speaks of.

Reasons are made deep inside the planning, but words, units and languages belong to
the sheets. A `Message` carries a code and named values between the two; each value's
suffix (`_c`, `_k`, `_s`, `_min`, `_at`, `_kg`, `_frac`, ...) tells the sheets how to
show it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Union

__all__ = ["Message", "Value", "message_from_plain", "message_to_plain", "once"]

# `Union`, as the sign | knows no names that are yet to come.
Value = Union[float, int, str, None, "Message", tuple["Message", ...]]


@dataclass(frozen=True, slots=True)
class Message:
    """One sentence, by its code and its values; a value may be a sentence, or several.

    Not for text that only a program reads; keep those as plain fields.

    Examples
    --------
    >>> Message("pour.margin", {"room": "Cook line", "margin_min": 2.5}).code
    'pour.margin'
    """

    code: str
    values: Mapping[str, Value] = field(default_factory=dict)


def message_to_plain(sentence: Message) -> dict[str, Any]:
    """A sentence as JSON knows it.

    Examples
    --------
    >>> message_to_plain(Message("weather.shut", {"why": Message("provider.slow")}))
    {'code': 'weather.shut', 'values': {'why': {'code': 'provider.slow', 'values': {}}}}
    """
    return {
        "code": sentence.code,
        "values": {name: _plain(value) for name, value in sentence.values.items()},
    }


def _plain(value: Value) -> Any:
    if isinstance(value, Message):
        return message_to_plain(value)
    return [message_to_plain(one) for one in value] if isinstance(value, tuple) else value


def message_from_plain(plain: Any) -> Message:
    """The sentence back from JSON.

    Examples
    --------
    >>> message_from_plain({"code": "provider.slow", "values": {}})
    Message(code='provider.slow', values={})
    """
    if not (isinstance(plain, dict) and plain.keys() == {"code", "values"}):
        raise ValueError("not a sentence")
    code, values = plain["code"], plain["values"]
    if not (isinstance(code, str) and isinstance(values, dict)):
        raise ValueError("not a sentence")  # noqa: TRY004 - of data, not of a type
    return Message(code, {name: _value(value) for name, value in values.items()})


def _value(plain: Any) -> Value:
    if isinstance(plain, dict):
        return message_from_plain(plain)
    if isinstance(plain, list):
        return tuple(message_from_plain(one) for one in plain)
    if plain is None or isinstance(plain, str | int | float):
        return plain
    raise ValueError("not a value")


def once(sentences: Iterable[Message]) -> tuple[Message, ...]:
    """Each sentence once, in the order met; for those that cannot be hashed."""
    kept: list[Message] = []
    for sentence in sentences:
        if sentence not in kept:
            kept.append(sentence)
    return tuple(kept)
