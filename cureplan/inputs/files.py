"""A TOML file as text and values, with the line each key stands on."""

from __future__ import annotations

import codecs
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cureplan.core.errors import InputError

__all__ = [
    "Document",
    "KeyPath",
    "line_of",
    "locate",
    "parse_document",
    "read_document",
]

KeyPath = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BLANK = re.compile(r"[ \t]*")
_BLANK_OR_COMMENT = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}\n#]*")


def line_of(path: KeyPath, lines: dict[KeyPath, int]) -> int | None:
    """1-based line of `path`, or of the nearest table around it.

    Examples
    --------
    >>> line_of(("site", "missing"), locate('[site]\\nname = "A"\\n'))
    1
    """
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None


def locate(text: str) -> dict[KeyPath, int]:
    """1-based line of every key, table and array entry of a valid TOML text.

    Not a checker: what it gives for a text that is no TOML means nothing.

    Examples
    --------
    >>> lines = locate('[[rooms]]\\nname = "A"\\nsun = { share = "5 %" }\\n')
    >>> lines[("rooms", 0)], lines[("rooms", 0, "sun", "share")]
    (1, 3)
    """
    return _Scan(text).run()


class _Scan:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self.counts: dict[KeyPath, int] = {}
        self.counted_to = (0, 1)

    def run(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._skip(_BLANK_OR_COMMENT)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(_BLANK_OR_COMMENT)
        return self.lines

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        found = match.group() if match else ""
        self.at += len(found)
        return found

    def _line(self) -> int:
        seen, line = self.counted_to
        line += self.text.count("\n", seen, self.at)
        self.counted_to = (self.at, line)
        return line

    def _mark(self, path: KeyPath, line: int) -> None:
        for end in range(1, len(path) + 1):
            self.lines.setdefault(path[:end], line)

    def _header(self) -> KeyPath:
        line = self._line()
        is_array = self.text.startswith("[[", self.at)
        self.at += 2 if is_array else 1
        path = self._inside_arrays(self._dotted())
        self.at += 2 if is_array else 1
        if is_array:
            count = self.counts.get(path, 0)
            self.counts[path] = count + 1
            path = (*path, count)
        # A header may follow its own subtable's, so its line replaces an implied one.
        self.lines[path] = line
        self._mark(path, line)
        return path

    def _inside_arrays(self, keys: list[str]) -> KeyPath:
        """``[rooms.sun]`` belongs to the last ``[[rooms]]`` above it."""
        path: KeyPath = ()
        for number, key in enumerate(keys, start=1):
            path = (*path, key)
            if path in self.counts and number < len(keys):
                path = (*path, self.counts[path] - 1)
        return path

    def _dotted(self) -> list[str]:
        keys = [self._key()]
        while self.text.startswith(".", self.at):
            self.at += 1
            keys.append(self._key())
        return keys

    def _key(self) -> str:
        self._skip(_BLANK)
        if self.text.startswith(('"', "'"), self.at):
            key = self._string()
        else:
            key = self._skip(_BARE_KEY) or self._one()
        self._skip(_BLANK)
        return key

    def _one(self) -> str:
        """Step over a character that fits nothing, so that every scan ends."""
        self.at += 1
        return self.text[self.at - 1 : self.at]

    def _pair(self, table: KeyPath) -> None:
        line = self._line()
        path = (*table, *self._dotted())
        self._mark(path, line)
        if self.text.startswith("=", self.at):
            self.at += 1
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        self._skip(_BLANK)
        opening = self.text[self.at : self.at + 1]
        if opening and opening in "\"'":
            self._string()
        elif opening == "[":
            self._array(path)
        elif opening == "{":
            self._inline_table(path)
        else:
            self._skip(_SCALAR) or self._one()

    def _array(self, path: KeyPath) -> None:
        self.at += 1
        count = 0
        while not self._closes("]"):
            self._mark((*path, count), self._line())
            self._value((*path, count))
            count += 1
            self._comma()

    def _inline_table(self, path: KeyPath) -> None:
        self.at += 1
        while not self._closes("}"):
            self._pair(path)
            self._comma()

    def _closes(self, bracket: str) -> bool:
        self._skip(_BLANK_OR_COMMENT)
        if self.at >= len(self.text):
            return True
        if self.text[self.at] != bracket:
            return False
        self.at += 1
        return True

    def _comma(self) -> None:
        self._skip(_BLANK_OR_COMMENT)
        if self.text.startswith(",", self.at):
            self.at += 1

    def _string(self) -> str:
        """Step over a string; returns its raw inside (escapes are left as written)."""
        quote = self.text[self.at]
        is_long = self.text.startswith(quote * 3, self.at)
        mark = quote * 3 if is_long else quote
        start = self.at + len(mark)
        escape = r"\\." if quote == '"' else r"(?!)"
        body = re.compile(rf"(?:{escape}|(?!{mark}).)*", re.DOTALL)
        match = body.match(self.text, start)
        end = match.end() if match else start
        self.at = end + len(mark)
        # A long string may end in up to two more of its quotes.
        while is_long and self.text.startswith(quote, self.at):
            self.at += 1
        return self.text[start:end]


LARGEST_FILE_BYTES = 1_000_000

_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")
_UNQUOTED = re.compile(r'^\s*([A-Za-z_][\w.]*)\s*=\s*([^"\'\[{\s#][^#\n]*?)\s*(?:#.*)?$')
_SMART_QUOTES = "“”„‘’"


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A TOML file that could be read; its keys are not yet looked at."""

    source: Path
    text: str = field(repr=False)
    values: Mapping[str, Any] = field(repr=False)

    def line(self, path: KeyPath) -> int:
        """1-based line of a key, or of the nearest table around it, or the first."""
        try:
            return line_of(path, locate(self.text)) or 1
        except RecursionError:
            return 1


def read_document(source: Path, *, what: str) -> Document:
    """Read a TOML file."""
    return parse_document(_decoded(_bytes(source, what), source), source=source, what=what)


def parse_document(text: str, *, source: Path, what: str) -> Document:
    """Read a TOML text that is said to come from `source`."""
    if not text.strip():
        raise InputError(
            "the file is empty", cure=f"write a {what} into it", source=source, line=1
        )
    try:
        values = tomllib.loads(text)
    except RecursionError:
        raise InputError(
            f"no {what} nests its values this deep", cure="mend the brackets", source=source
        ) from None
    except ValueError as error:
        # The reader also lets int() complain of numbers with thousands of digits.
        raise _not_toml(error, text, source) from error
    return Document(source=source, text=text, values=values)


def _bytes(source: Path, what: str) -> bytes:
    try:
        refused = _why_not(source, what)
        if refused is None:
            return source.read_bytes()
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise InputError(
            f"the {what} cannot be read ({reason})",
            cure="check the path and its permissions",
            source=source,
        ) from error
    raise InputError(refused[0], cure=refused[1], source=source)


def _why_not(source: Path, what: str) -> tuple[str, str] | None:
    """Problem and cure of a path that is no file we would read."""
    if source.is_dir():
        return f"this is a folder, not a {what}", "name a file in it"
    if not source.exists():
        return f"there is no such {what}", "check the path and the name"
    if not source.is_file():
        return "this is not a regular file", f"name a {what}"
    size = source.stat().st_size
    if size > LARGEST_FILE_BYTES:
        limit = LARGEST_FILE_BYTES // 1_000_000
        cure = f"check that this is the right file; the limit is {limit} MB"
        return f"{size / 1e6:.1f} MB is too large for a {what}", cure
    return None


def _decoded(data: bytes, source: Path) -> str:
    cure = "save the file again as plain text in UTF-8"
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise InputError("the file is in UTF-16, not UTF-8", cure=cure, source=source, line=1)
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise InputError(
            f"the text is not UTF-8 (byte 0x{data[error.start]:02x})",
            cure=cure,
            source=source,
            line=data.count(b"\n", 0, error.start) + 1,
        ) from error


def _not_toml(error: ValueError, text: str, source: Path) -> InputError:
    message = str(error)
    place = _PLACE.search(message)
    rows = text.splitlines() or [""]
    line = int(place[1]) if place and place[1] else (len(rows) if place else None)
    row = rows[line - 1].strip() if line is not None and line <= len(rows) else None
    reason = _PLACE.sub("", message)
    problem, cure = _explained(reason, row or "")
    return InputError(problem, cure=cure, source=source, line=line, value=row or None)


def _explained(reason: str, row: str) -> tuple[str, str]:
    unquoted = _UNQUOTED.match(row)
    if "Cannot overwrite" in reason or "Cannot declare" in reason or "Duplicate" in reason:
        several = "; several entries are each headed with [[double brackets]]"
        cure = f"keep one of the two{several if row.startswith('[') else ''}"
        return "this key or table stands in the file twice", cure
    if any(quote in row for quote in _SMART_QUOTES):
        return "these are curly quotes", 'use straight ones (")'
    if "date" in reason.lower():
        return "this is not a date and time", "write it like 2013-07-17T19:00:00"
    if "Exceeds the limit" in reason:
        return "this number has too many digits", "write a quantity with its unit in quotes"
    if unquoted:
        cure = f'put it in straight quotes: {unquoted[1]} = "{unquoted[2]}"'
        return f"this is not TOML ({reason})", cure
    return f"this is not TOML ({reason})", 'write key = "value" lines under [table] headers'
