"""Change single keys of a TOML text and leave everything else, comments above all, as it is.

Every change is made twice, in the text and in the values read from it; a text that does not
read as the changed values is not given out.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from cureplan.core.errors import InputError
from cureplan.inputs.files import KeyPath, Scan
from cureplan.inputs.toml_text import key_line, value_text

__all__ = ["added", "removed", "with_value"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    path: KeyPath
    start: int
    end: int
    """After its line."""


class _Places(Scan):
    """Where every value, pair and header of a text stands."""

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.values: dict[KeyPath, tuple[int, int]] = {}
        self.pairs: dict[KeyPath, int] = {}
        """Where each pair begins."""
        self.owners: dict[KeyPath, _Header | None] = {}
        """Under which header each pair stands; None at the top of the file."""
        self.headers: list[_Header] = []
        self._began = 0
        self.run()

    def _header(self) -> KeyPath:
        start = self.at
        path = super()._header()
        self.headers.append(_Header(path=path, start=start, end=self.line_end(self.at)))
        return path

    def _pair(self, table: KeyPath) -> None:
        self._began = self.at
        super()._pair(table)

    def _value(self, path: KeyPath) -> None:
        if isinstance(path[-1], str):
            self.pairs[path] = self._began
            self.owners[path] = self.headers[-1] if self.headers else None
        while self.text[self.at : self.at + 1] in (" ", "\t"):
            self.at += 1
        start = self.at
        super()._value(path)
        end = start + len(self.text[start : self.at].rstrip())
        self.values[path] = (start, end)

    def line_end(self, at: int) -> int:
        """Where the line after the one of `at` begins."""
        end = self.text.find("\n", at)
        return len(self.text) if end < 0 else end + 1

    def line_start(self, at: int) -> int:
        return self.text.rfind("\n", 0, at) + 1

    def holder(self, path: KeyPath) -> KeyPath | None:
        """The outermost value written in one piece that holds `path`, if one does."""
        return next((path[:n] for n in range(1, len(path)) if path[:n] in self.values), None)


def with_value(text: str, path: KeyPath, value: Any) -> str:
    """The text with one key set, whether it stood there before or not.

    Examples
    --------
    >>> print(with_value('[site]\\nname = "A" # ours\\n', ("site", "name"), "B"), end="")
    [site]
    name = "B" # ours
    """
    wanted = copy.deepcopy(tomllib.loads(text))
    _put(wanted, path, value)
    return _proved(_set(text, path, value), wanted, path)


def removed(text: str, path: KeyPath) -> str:
    """The text without a key, a table or one of several tables; as it is where none stands.

    Examples
    --------
    >>> removed('a = 1\\nb = 2 # why\\n', ("b",))
    'a = 1\\n# why\\n'
    """
    wanted = copy.deepcopy(tomllib.loads(text))
    if not _drop(wanted, path):
        return text
    return _proved(_cut(text, path), wanted, path)


def added(text: str, path: KeyPath, entry: Mapping[str, Any]) -> str:
    """The text with one more ``[[path]]`` after those that stand there."""
    wanted = copy.deepcopy(tomllib.loads(text))
    at: Any = wanted
    for step in path[:-1]:
        at = at[step]
    at.setdefault(path[-1], []).append(dict(entry))
    places = _Places(text)
    if path in places.values:
        return _proved(_set(text, path, at[path[-1]]), wanted, path)
    name = ".".join(str(step) for step in path)
    block = "\n".join([f"[[{name}]]", *(key_line(key, one) for key, one in entry.items())])
    last = max((h.end for h in places.headers if h.path[: len(path)] == path), default=None)
    end = len(text) if last is None else _block_end(places, path)
    return _proved(_spliced(text, end, block), wanted, path)


def _spliced(text: str, at: int, block: str) -> str:
    head, tail = text[:at].rstrip("\n"), text[at:].lstrip("\n")
    return f"{head}\n\n{block}\n" + (f"\n{tail}" if tail else "")


def _set(text: str, path: KeyPath, value: Any) -> str:
    places = _Places(text)
    if path in places.values:
        return _replaced(text, *places.values[path], value_text(value))
    around = places.holder(path)
    if around is not None:
        whole = copy.deepcopy(_at(tomllib.loads(text), around))
        _put(whole, path[len(around) :], value)
        return _replaced(text, *places.values[around], value_text(whole))
    stands = (*(header.path for header in places.headers), *places.pairs)
    if any(other[: len(path)] == path for other in stands):
        return _set(_cut(text, path), path, value)
    return _inserted(places, path, value)


def _inserted(places: _Places, path: KeyPath, value: Any) -> str:
    """A new line in the table that holds the key, or the table with it."""
    text, table = places.text, path[:-1]
    header = next((h for h in places.headers if h.path == table), None)
    own = [p for p in places.pairs if p[:-1] == table and places.holder(p) is None]
    if header is not None:
        own = [p for p in own if places.owners[p] == header]
    if header is None and not own and table:
        if len(table) > 1:
            return _set(text, table, {str(path[-1]): value})
        return _spliced(text, len(text), f"[{table[0]}]\n{key_line(str(path[-1]), value)}")
    line = key_line(str(path[-1]), value) + "\n"
    at = header.end if header is not None else 0
    if own:
        last = max(own, key=lambda p: places.values[p][1])
        owner, at = places.owners[last], places.line_end(places.values[last][1])
        # Dotted keys say in front which table they mean, from their own header on.
        dots = table[len(owner.path) :] if owner is not None else table
        line = "".join(f"{step}." for step in dots) + line
    lacks = "" if at == 0 or text[at - 1 : at] == "\n" else "\n"
    return f"{text[:at]}{lacks}{line}{text[at:]}"


def _replaced(text: str, start: int, end: int, value: str) -> str:
    """Another value in its place; a comment beside it keeps its column where it can."""
    rest = text[end:]
    blank = len(rest) - len(rest.lstrip(" "))
    if "\n" not in text[start:end] and rest[blank : blank + 1] == "#":
        room = max(1, blank + (end - start) - len(value))
        return f"{text[:start]}{value}{' ' * room}{rest[blank:]}"
    return f"{text[:start]}{value}{rest}"


def _cut(text: str, path: KeyPath) -> str:
    places = _Places(text)
    if path in places.pairs and places.holder(path) is None:
        start, end = places.line_start(places.pairs[path]), places.values[path][1]
        after = places.line_end(end)
        beside = text[end:after].strip()
        kept = f"{beside}\n" if beside.startswith("#") else ""
        return f"{text[:start]}{kept}{text[after:]}"
    around = places.holder(path)
    if around is not None:
        whole = copy.deepcopy(_at(tomllib.loads(text), around))
        _drop(whole, path[len(around) :])
        return _replaced(text, *places.values[around], value_text(whole))
    # Last first, so that the places before stay true; numbers of entries shift only then.
    for start, end in sorted(_pieces(places, path), reverse=True):
        text = text[:start] + text[end:]
    return text


def _pieces(places: _Places, path: KeyPath) -> Iterator[tuple[int, int]]:
    """The lines of a table: under headers of its own, or with dots under another's."""

    def under(other: KeyPath) -> bool:
        return other[: len(path)] == path

    for header in places.headers:
        if under(header.path):
            yield header.start, _own_end(places, header)
    for pair, owner in places.owners.items():
        if under(pair) and places.holder(pair) is None and not (owner and under(owner.path)):
            end = places.values[pair][1]
            yield places.line_start(places.pairs[pair]), places.line_end(end)


def _own_end(places: _Places, header: _Header) -> int:
    """Where a header's own lines end; comments that lead the next header are the next's."""
    following = next((h for h in places.headers if h.start > header.start), None)
    if following is None:
        return len(places.text)
    at = following.start
    while at > header.end:
        before = places.line_start(at - 1)
        if not places.text[before:at].lstrip().startswith("#"):
            break
        at = before
    return max(at, header.end)


def _block_end(places: _Places, path: KeyPath) -> int:
    last = [header for header in places.headers if header.path[: len(path)] == path][-1]
    return _own_end(places, last)


# The same change in the values


def _at(values: Any, path: KeyPath) -> Any:
    for step in path:
        values = values[step]
    return values


def _put(values: Any, path: KeyPath, value: Any) -> None:
    for step, following in pairwise(path):
        if isinstance(step, str) and step not in values:
            values[step] = [] if isinstance(following, int) else {}
        values = values[step]
    values[path[-1]] = value


def _drop(values: Any, path: KeyPath) -> bool:
    try:
        del _at(values, path[:-1])[path[-1]]
    except (KeyError, IndexError, TypeError):
        return False
    return True


def _proved(text: str, wanted: Any, path: KeyPath) -> str:
    try:
        found = tomllib.loads(text)
    except ValueError:
        found = None
    if found is None or _filled(found) != _filled(wanted):
        raise InputError(
            "this key is written in a way that cannot be changed here",
            cure="change it in the file by hand",
            key=".".join(str(step) for step in path),
        )
    return text


def _filled(values: Mapping[str, Any]) -> dict[str, Any]:
    """Without what is empty: no table at all, and one with nothing in it, read alike."""
    return {key: value for key, value in values.items() if value not in ([], {})}
