"""A table of readings as numbered lines of named cells, or one clear refusal."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path

from cureplan.core.errors import InputError
from cureplan.inputs.files import Row, Wanted, delimiters, first_word, read_text, split_rows

__all__ = ["Line", "read_lines", "read_table_text"]

MOST_READINGS = 500

_WANTED = Wanted(name="table in CSV", content="give a header and readings", western=True)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,(\d{1,2}|\d{4,})", re.ASCII)
_RANGE = re.compile(r"\d+\.?\d*\s*(-|–|to|/)\s*\d+\.?\d*", re.ASCII)
_UNIT = re.compile(r"([+-]?\d+\.?\d*)\s*°?[A-Za-z%]+\.?", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Cells of one line by column; columns the table lacks are empty."""

    source: Path
    number: int
    cells: dict[str, str]
    part: int = 0
    """How many later headers stand above it: tables laid one behind the other."""

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
        # Three digits after a comma may be thousands; one or two, or five, cannot.
        if _DECIMAL_COMMA.fullmatch(text):
            text = text.replace(",", ".")
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
        either = f"write {text.replace(',', '.')}, or {text.replace(',', '')}"
        return "its comma may part thousands or decimals", either
    if _RANGE.fullmatch(text):
        return "a range is not one reading", "give a line to each of its ends"
    return "not a number", "write the number alone, or leave the cell empty"


def read_table_text(path: Path) -> str:
    """The whole of a small table; other encodings than UTF-8 are read too."""
    return read_text(path, wanted=_WANTED).text


def read_lines(
    text: str,
    *,
    source: Path,
    known: tuple[str, ...],
    most: int = MOST_READINGS,
    what: str = "readings",
) -> list[Line]:
    """Lines under the header; comments (#), blank lines and later headers are passed over.

    Examples
    --------
    >>> table = "# two cups\\nkind, minutes\\ncup, 12\\n"
    >>> [line.cells for line in read_lines(table, source=Path("x"), known=("kind", "minutes"))]
    [{'kind': 'cup', 'minutes': '12'}]
    """
    if not text.strip():
        raise InputError("the file is empty", cure=_WANTED.content, source=source, line=1)
    parted_by = _parted_by(text, known)
    names: list[str] = []
    lines: list[Line] = []
    part = 0
    for row in split_rows(text, source=source, delimiter=parted_by):
        cells = [cell.strip() for cell in row.cells]
        again = _names(cells)
        if not names:
            names = _header(row, source, known)
            continue
        # Two logs laid one behind the other, maybe of a sheet with further columns.
        if len(again) == len(set(again)) and set(again) <= set(known):
            names, part = again, part + 1
            continue
        lines.append(replace(_line(row.line, cells, names, source), part=part))
        if len(lines) > most:
            raise InputError(
                f"more than {most:,} {what}",
                cure="split the file, by product or year",
                source=source,
                line=row.line,
            )
    if not names:
        raise InputError("it has only comments", cure="give a header line", source=source)
    if not lines:
        raise InputError(
            f"it has a header but no {what}",
            cure="give one line for each",
            source=source,
        )
    return lines


def _line(number: int, cells: list[str], names: list[str], source: Path) -> Line:
    # A spreadsheet ends every line with as many commas as its longest one.
    spare = cells[len(names) :]
    if len(cells) < len(names) or any(spare):
        raise InputError(
            f"the line has {len(cells)} cells where the header has {len(names)}",
            cure="separate cells by commas, and put a note with commas in quotes",
            source=source,
            line=number,
            value=first_word(cells[0]),
        )
    return Line(source=source, number=number, cells=dict(zip(names, cells, strict=False)))


def _parted_by(text: str, known: tuple[str, ...]) -> str:
    """A comma, unless another sign parts a header of known columns."""
    for delimiter in delimiters(text):
        first = next(split_rows(text[:100_000], source="", delimiter=delimiter), None)
        if (
            first is not None
            and len(first.cells) > 1
            and set(_names(first.cells)) <= set(known)
        ):
            return delimiter
    return ","


def _names(cells: list[str]) -> list[str]:
    names = ["_".join(cell.strip().lower().split()) for cell in cells]
    while names and not names[-1]:
        names.pop()
    return names


def _header(row: Row, source: Path, known: tuple[str, ...]) -> list[str]:
    names = _names(row.cells)

    def refused(name: str, problem: str, cure: str) -> InputError:
        key = first_word(name) or "(unnamed)"
        return InputError(problem, cure=cure, source=source, line=row.line, key=key)

    for place, name in enumerate(names):
        if name not in known:
            near = get_close_matches(name, known, n=1)
            meant = f'did you mean "{near[0]}"? ' if near else ""
            raise refused(
                name, "no such column is known", f"{meant}known are {', '.join(known)}"
            )
        if name in names[:place]:
            raise refused(name, "the column stands there twice", "keep one of the two")
    return names
