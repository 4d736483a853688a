"""The one writer of TOML: values, lines and tables as our own readers take them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

__all__ = ["key_line", "plain", "quoted", "value_text"]


def plain(value: float, *, digits: int = 12) -> str:
    """A number as quantities take it: no exponent, no sign on zero.

    Examples
    --------
    >>> plain(0.1 + 0.2), plain(-0.0), plain(1e-5)
    ('0.3', '0', '0.00001')
    """
    text = f"{value + 0.0:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def quoted(text: str) -> str:
    """A text in quotes; signs that no name may hold become spaces.

    Examples
    --------
    >>> print(quoted('the "wet" end'))
    "the \\"wet\\" end"
    """
    kept = "".join(sign if sign.isprintable() else " " for sign in text)
    escaped = kept.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def value_text(value: Any) -> str:
    """Any value of a document on one line.

    Examples
    --------
    >>> print(value_text([{"from": "19:00", "to": "05:00"}]))
    [{ from = "19:00", to = "05:00" }]
    >>> value_text(datetime(2026, 7, 17, 19)), value_text(True), value_text(40.78)
    ('2026-07-17T19:00:00', 'true', '40.78')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Mapping):
        return f"{{ {_joined(key_line(key, one) for key, one in value.items())} }}"
    if isinstance(value, Sequence):
        return f"[{_joined(value_text(one) for one in value)}]"
    return repr(value)


def key_line(key: str, value: Any, comment: str = "") -> str:
    """One `key = value`, a key quoted where it must be."""
    bare = key.replace("_", "").replace("-", "")
    name = key if bare.isalnum() and bare.isascii() else quoted(key)
    line = f"{name} = {value_text(value)}"
    return f"{line:<35} # {comment}" if comment else line


def _joined(parts: Iterable[str]) -> str:
    return ", ".join(parts)
