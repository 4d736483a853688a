"""A table of readings as numbered lines of named cells, or one clear refusal."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from cureplan.core.errors import InputError

__all__ = ["Line", "read_lines", "read_table_text"]

LARGEST_BYTES = 1_000_000
MOST_READINGS = 500

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)", re.ASCII)
_RANGE = re.compile(r"\d+\.?\d*\s*(-|–|to|/)\s*\d+\.?\d*", re.ASCII)
_UNIT = re.compile(r"([+-]?\d+\.?\d*)\s*°?[A-Za-z%]+\.?", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Cells of one line by column; columns the table lacks are empty."""

    source: Path
    number: int
    cells: dict[str, str]

    def text(self, column: str) -> str:
        """The cell, empty if there is none."""
        return self.cells.get(column, "")

    def fault(self, column: str, problem: str, cure: str) -> InputError:
        """A refusal of the cell in a column."""
        return InputError(
            problem,
            cure=cure,
            source=self.source,
            line=self.number,
            key=column,
            value=self.text(column) or None,
        )

    def number_in(self, column: str) -> float:
        """The number in a cell, NaN where it is empty."""
        text = self.text(column)
        if not text:
            return math.nan
        if not _NUMBER.fullmatch(text):
            raise self.fault(column, *_no_number(text))
        # Thousands of digits overflow to infinity, which no limit below lets through.
        return float(text)


def _no_number(text: str) -> tuple[str, str]:
    bare = _UNIT.fullmatch(text)
    if bare:
        return (
            "a number is wanted without its unit",
            f"write {bare[1]}; the column's name says the unit",
        )
    if re.fullmatch(r"[+-]?\d+,\d+", text):
        return "not a number", f"write a decimal point: {text.replace(',', '.')}"
    if _RANGE.fullmatch(text):
        return "a range is not one reading", "give a line to each of its ends"
    return "not a number", "write the number alone, or leave the cell empty"


def read_table_text(path: Path) -> str:
    """The whole of a small UTF-8 text file."""
    try:
        if path.is_dir():
            raise InputError("this is a folder", cure="name a CSV file in it", source=path)
        if path.exists() and not path.is_file():
            raise InputError("this is not a regular file", cure="name a CSV file", source=path)
        data = path.read_bytes() if path.stat().st_size <= LARGEST_BYTES else None
    except FileNotFoundError as error:
        raise InputError("there is no such file", cure="check the name", source=path) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"the readings cannot be read ({reason})",
            cure="check the path and its permissions",
            source=path,
        ) from error
    if data is None:
        raise InputError(
            f"more than {LARGEST_BYTES // 1_000_000} MB is too much for a table of readings",
            cure="check that this is the right file",
            source=path,
        )
    return _decoded(data, path)


def _decoded(data: bytes, path: Path) -> str:
    cure = "save the table as CSV in UTF-8"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise InputError("the file is in UTF-16, not UTF-8", cure=cure, source=path)
    if b"\0" in data:
        raise InputError("this is not a text file", cure=cure, source=path)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"the text is not UTF-8 (byte 0x{data[error.start]:02x})",
            cure=cure,
            source=path,
            line=data.count(b"\n", 0, error.start) + 1,
        ) from error
    if not text.strip():
        raise InputError("the file is empty", cure="give a header and readings", source=path)
    return text


def read_lines(
    text: str, *, source: Path, known: tuple[str, ...], most: int = MOST_READINGS
) -> list[Line]:
    """Lines under the header; comments (#) and blank lines are passed over.

    Examples
    --------
    >>> table = "# two cups\\nkind, minutes\\ncup, 12\\n"
    >>> [line.cells for line in read_lines(table, source=Path("x"), known=("kind", "minutes"))]
    [{'kind': 'cup', 'minutes': '12'}]
    """
    numbered = _numbered(text)
    header = next(numbered, None)
    if header is None:
        raise InputError("it has only comments", cure="give a header line", source=source)
    names = _header(*header, source, known)
    lines = []
    for number, row in numbered:
        cells = _cells(number, row, source)
        if not any(cells):
            continue
        if len(cells) != len(names):
            raise InputError(
                f"the line has {len(cells)} cells where the header has {len(names)}",
                cure="separate cells by commas, and put a note with commas in quotes",
                source=source,
                line=number,
                value=row.strip(),
            )
        lines.append(
            Line(source=source, number=number, cells=dict(zip(names, cells, strict=True)))
        )
        if len(lines) > most:
            raise InputError(
                f"more than {most} readings",
                cure="split the file by product or year",
                source=source,
                line=number,
            )
    if not lines:
        raise InputError(
            "it has a header but no readings",
            cure="give one line per reading",
            source=source,
            line=header[0],
        )
    return lines


def _numbered(text: str) -> Iterator[tuple[int, str]]:
    for number, row in enumerate(text.splitlines(), start=1):
        bare = row.strip()
        if bare and not bare.startswith("#"):
            yield number, row


def _cells(number: int, row: str, source: Path) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([row.strip()], strict=True))]
    except csv.Error as error:
        raise InputError(
            f"not a line of CSV ({error})", cure="check its quotes", source=source, line=number
        ) from error


def _header(number: int, row: str, source: Path, known: tuple[str, ...]) -> list[str]:
    names = [cell.lower() for cell in _cells(number, row, source)]

    def refused(name: str, problem: str, cure: str) -> InputError:
        return InputError(
            problem, cure=cure, source=source, line=number, key=name or "(unnamed)"
        )

    if len(names) == 1 and re.search(r"[;\t]", row):
        raise refused(names[0], "cells are not separated by commas", "save it with commas")
    for place, name in enumerate(names):
        if name not in known:
            from difflib import get_close_matches

            near = get_close_matches(name, known, n=1)
            meant = f'did you mean "{near[0]}"? ' if near else ""
            raise refused(
                name, "no such column is known", f"{meant}known are {', '.join(known)}"
            )
        if name in names[:place]:
            raise refused(name, "the column stands there twice", "keep one of the two")
    return names
