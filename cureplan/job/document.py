"""One TOML file as written: its text, its values, and where each key stands."""

from __future__ import annotations

import codecs
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cureplan.errors import InputError
from cureplan.job.lines import KeyPath, line_of, locate

__all__ = ["Document", "parse_document", "read_document"]

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
    """Read a TOML file.

    Parameters
    ----------
    source : Path
        The file.
    what : str
        What it should be, for messages: ``job file`` or ``material card``.

    Returns
    -------
    Document
        Its text and values.

    Raises
    ------
    InputError
        It is missing, no regular file, too large, empty, not UTF-8, or not TOML.
    """
    return parse_document(_decoded(_bytes(source, what), source), source=source, what=what)


def parse_document(text: str, *, source: Path, what: str) -> Document:
    """Read a TOML text that is said to come from `source`.

    Raises
    ------
    InputError
        The text is empty or not TOML; the message shows the line.
    """
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
