"""The header of a weather table found, and the rows under it that hold data."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from cureplan.core.errors import InputError
from cureplan.inputs.files import delimiters, sample_rows, whole_table
from cureplan.weather.hours.csv_cells import number_of
from cureplan.weather.hours.csv_header import Column, Header, header_of
from cureplan.weather.hours.csv_notes import is_comment

__all__ = ["Sheet", "missing_column", "refuse_ends", "sheet_of"]

# Rows below the table that tell sums or means; more of them are not such. (invented)
_MOST_SUMMARY_ROWS = 6
_MOST_UNIT_ROWS = 3
_SAMPLE_LINES = 80


@dataclass(slots=True, kw_only=True)
class Sheet:
    """Rows under a header, cells by column."""

    source: Path
    header: Header
    header_line: int
    lines: list[int]
    columns: list[Sequence[str]]
    delimiter: str
    zone_above: str
    asides: list[tuple[str, int]]
    """Rows that hold no data, with their lines: above, between and below those that do."""
    left_out: int = 0
    repeated: int = 0

    def texts(self, column: Column) -> Sequence[str]:
        return self.columns[column.at]

    def fault(self, column: Column, row: int, problem: str, cure: str) -> InputError:
        return InputError(
            problem,
            cure=cure,
            source=self.source,
            line=self.lines[row],
            key=column.name,
            value=self.texts(column)[row].strip(),
        )

    def drop(self, keep: Sequence[bool]) -> None:
        self.lines = [line for line, kept in zip(self.lines, keep, strict=True) if kept]
        self.columns = [
            [cell for cell, kept in zip(column, keep, strict=True) if kept]
            for column in self.columns
        ]


def sheet_of(body: str, first_line: int, source: Path) -> Sheet:
    if not body.strip():
        raise InputError("has no rows", cure="give one row per hour", source=source)
    parted = _parted_by_blanks(body)
    body = parted or body
    delimiter, header_cells = _find_header(body, source, first_line)
    rows, lines = whole_table(body, source=source, delimiter=delimiter, first_line=first_line)
    at = rows.index(header_cells)
    header = header_of(_without_tail(header_cells))
    sheet = Sheet(
        source=source,
        header=header,
        header_line=lines[at],
        lines=lines[at + 1 :],
        columns=[],
        delimiter=" " if parted else delimiter,
        zone_above=_zone_above(rows[:at]),
        asides=[(" ".join(row), line) for row, line in zip(rows[:at], lines[:at], strict=True)],
    )
    _refuse_twins(sheet)
    cells = rows[at + 1 :]
    cells, sheet.lines = _data_rows(cells, sheet, header_cells)
    width = len(header.columns)
    if set(map(len, cells)) - {width}:
        cells = [
            _fitted(row, line, sheet) for row, line in zip(cells, sheet.lines, strict=True)
        ]
    sheet.columns = [list(column) for column in zip(*cells, strict=True)] or [
        [] for _ in range(width)
    ]
    _take_unit_rows(sheet)
    _drop_summary_rows(sheet)
    return sheet


def _parted_by_blanks(body: str) -> str | None:
    """A table of blanks as one of tabs; None where its lines do not part alike."""
    sample = [line.strip() for line in body.split("\n", _SAMPLE_LINES)[:_SAMPLE_LINES]]
    if any(re.search(r"[;\t|]|,(?!\d)", line) for line in sample):
        return None
    for pattern in (r"\s{2,}", r"\s+"):
        rows = [re.split(pattern, line) for line in sample if line]
        for at, cells in enumerate(rows):
            header = header_of(cells)
            full = header.tells_time and header.tells_air and len(cells) > 2
            if full and {len(row) for row in rows[at:]} == {len(cells)}:
                lines = (re.sub(pattern, "\t", line.strip()) for line in body.split("\n"))
                return "\n".join(lines)
    return None


def _find_header(body: str, source: Path, first_line: int) -> tuple[str, tuple[str, ...]]:
    """The first row that names time and air temperature, and what parts its cells."""
    best: tuple[int, str, tuple[str, ...]] | None = None
    for delimiter in delimiters(body, comments=False):
        for row in sample_rows(body, delimiter, comments=False):
            cells = tuple(row.cells)
            header = header_of(cells)
            known = sum(column.role is not None for column in header.columns)
            if header.tells_time and header.tells_air and known >= 2:
                return delimiter, cells
            if best is None or known > best[0]:
                best = (known, delimiter, cells)
    if best is None:
        # Not even a sample could be parted: let the full reading say why.
        whole_table(body, source=source, delimiter=",", first_line=first_line)
        raise InputError("has no rows", cure="give one row per hour", source=source)
    _, delimiter, cells = best
    rows, lines = whole_table(body, source=source, delimiter=delimiter, first_line=first_line)
    line = lines[rows.index(cells)]
    asked = "temp_c or temp_f" if header_of(cells).tells_time else "time"
    raise missing_column(cells, asked, source, line)


_ENDING = re.compile(
    r"\b(?:hours?|hr|he|period|interval)[ _-]?(?:ending|end)\b|^HE$", re.IGNORECASE
)


def refuse_ends(cells: Sequence[str], source: Path, line: int) -> None:
    """Refuse a name that says its times are the ends of hours."""
    ends = next((cell.strip() for cell in cells if _ENDING.search(cell)), None)
    if ends is not None:
        raise InputError(
            f"{ends[:60]!r} tells when an hour ends, and what stands there is the hour's mean",
            cure="take 30 min off every such time, and name the column time",
            source=source,
            line=line,
        )


def missing_column(cells: Sequence[str], asked: str, source: Path, line: int) -> InputError:
    names = ", ".join(cell.strip() for cell in cells if cell.strip())
    if asked == "time":
        refuse_ends(cells, source, line)
    return InputError(
        f"the header has no column {asked}; it has: {names[:120]}",
        cure=f"add or rename a column to {asked}",
        source=source,
        line=line,
    )


def _without_tail(cells: Sequence[str]) -> list[str]:
    kept = list(cells)
    while kept and not kept[-1].strip():
        kept.pop()
    return kept


def _refuse_twins(sheet: Sheet) -> None:
    used = [c.name.lower() for c in sheet.header.columns if c.role is not None]
    twice = next((name for name in used if used.count(name) > 1), None)
    if twice is not None:
        raise InputError(
            "column stands in the header twice",
            cure="keep one of the two",
            source=sheet.source,
            line=sheet.header_line,
            key=twice,
        )


def _data_rows(
    cells: list[tuple[str, ...]], sheet: Sheet, header_cells: tuple[str, ...]
) -> tuple[list[tuple[str, ...]], list[int]]:
    """Without remarks, rows of empty cells, and headers that come again."""
    plain = all(row[0] and not row[0].startswith("#") for row in cells)
    if plain and header_cells not in cells:
        return cells, sheet.lines
    kept, lines = [], []
    for row, line in zip(cells, sheet.lines, strict=True):
        if row == header_cells:
            sheet.repeated += 1
        elif is_comment(row[0].strip()):
            sheet.asides.append((" ".join(row), line))
        elif any(cell.strip() for cell in row):
            kept.append(row)
            lines.append(line)
    return kept, lines


def _fitted(row: tuple[str, ...], line: int, sheet: Sheet) -> tuple[str, ...]:
    width = len(sheet.header.columns)
    bare = tuple(_without_tail(row)) if len(row) > width else row
    if len(bare) <= width:
        needed = max(c.at for c in sheet.header.columns if c.role is not None)
        if len(bare) > needed or not any(cell.strip() for cell in bare[1:]):
            return (*bare, *[""] * (width - len(bare)))
    raise InputError(
        f"has {len(bare)} cells where the header has {width}",
        cure="separate cells by commas and write decimals with a point",
        source=sheet.source,
        line=line,
        value=sheet.delimiter.join(row),
    )


def _take_unit_rows(sheet: Sheet) -> None:
    """Rows of units below the header, as some loggers write them."""
    spare = 0
    for row in range(min(_MOST_UNIT_ROWS, len(sheet.lines))):
        cells = [column[row].strip() for column in sheet.columns]
        if any(re.search(r"\d", cells[at]) for at in _telling(sheet)) or _reads(cells, sheet):
            break
        named = header_of([f"temp ({cell})" for cell in cells])
        sheet.header = Header(
            tuple(
                replace(column, unit=column.unit or unit.unit)
                for column, unit in zip(sheet.header.columns, named.columns, strict=True)
            )
        )
        spare += 1
    if 0 < spare < len(sheet.lines):
        sheet.drop([n >= spare for n in range(len(sheet.lines))])


def _telling(sheet: Sheet) -> list[int]:
    """Columns that tell the time."""
    roles = {"time", "date", "clock", "year", "month", "day", "hour"}
    return [column.at for column in sheet.header.columns if column.role in roles]


def _reads(cells: Sequence[str], sheet: Sheet) -> bool:
    """Whether a row has a number where air or its moisture is read."""
    of_air = [c.at for c in sheet.header.columns if c.role in {"temp", "dew", "humidity"}]
    read = [number_of(cells[at]) for at in of_air]
    return any(cell is not None and not math.isnan(cell.value) for cell in read)


def _is_prose(cells: Sequence[str], rest: Sequence[str]) -> bool:
    """A sentence below a table, such as when it was made: one cell, with a word in it."""
    filled = [cell for cell in cells if cell.strip()]
    words = re.findall(r"[^\W\d]{4,}", " ".join(filled))
    return len(filled) == 1 and not any(cell.strip() for cell in rest) and bool(words)


def _zone_above(cells: Sequence[Sequence[str]]) -> str:
    """The clock told by a small table above the header, as weather services write it."""
    for names, values in pairwise(cells):
        stated = dict(zip((name.strip().lower() for name in names), values, strict=False))
        shift = stated.get("utc_offset_seconds", "").strip()
        if re.fullmatch(r"-?\d{1,5}", shift):
            hours, seconds = divmod(abs(int(shift)), 3600)
            return f"{'-' if shift.startswith('-') else '+'}{hours:02}:{seconds // 60:02}"
    return ""


def _drop_summary_rows(sheet: Sheet) -> None:
    """Totals and means below the table: rows whose time cells hold no digit."""
    telling = _telling(sheet)
    count = len(sheet.lines)
    last = count
    while last > 0 and count - last < _MOST_SUMMARY_ROWS:
        cells = [sheet.columns[at][last - 1] for at in telling]
        rest = [column[last - 1] for n, column in enumerate(sheet.columns) if n not in telling]
        if any(re.search(r"\d", cell) for cell in cells) and not _is_prose(cells, rest):
            break
        last -= 1
    if last < count and (last > 0 or any(cell.strip() for cell in cells)):
        sheet.left_out = count - last
        for row in range(last, count):
            text = " ".join(column[row] for column in sheet.columns)
            sheet.asides.append((text, sheet.lines[row]))
        sheet.drop([n < last for n in range(count)])
