"""Rows of a weather table: one line each, with its cells."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.core.moist_air import dew_from_humidity_c

__all__ = [
    "CsvRow",
    "TableLine",
    "read_header",
    "read_line",
    "read_rows",
]

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class TableLine:
    """Cells by column name, and where the line stands."""

    source: Path
    number: int
    cells: dict[str, str]

    def fault(self, key: str, problem: str, cure: str) -> InputError:
        """A refusal of the cell in column `key`."""
        return InputError(
            problem,
            cure=cure,
            source=self.source,
            line=self.number,
            key=key,
            value=self.cells[key],
        )

    def number_in(self, key: str) -> float:
        """The number in column `key`, NaN where the cell is empty."""
        text = self.cells[key]
        if not text:
            return math.nan
        if not _NUMBER.fullmatch(text):
            cure = "write the number alone, or leave the cell empty when it is missing"
            if re.fullmatch(r"[+-]?\d+,\d+", text):
                cure = f"write a decimal point: {text.replace(',', '.')}"
            raise self.fault(key, "not a number", cure)
        value = float(text)
        if not math.isfinite(value):
            raise self.fault(key, "not a finite number", "check the digits")
        return value


def _cells(number: int, text: str, source: Path) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([text], strict=True))]
    except csv.Error as error:
        raise InputError(
            f"not a line of CSV ({error})", cure="check its quotes", source=source, line=number
        ) from error


def read_line(number: int, text: str, names: list[str], source: Path) -> TableLine:
    """A row's cells under the header's names."""
    cells = _cells(number, text, source)
    if len(cells) != len(names):
        raise InputError(
            f"has {len(cells)} cells where the header has {len(names)}",
            cure="separate cells by commas and write decimals with a point",
            source=source,
            line=number,
            value=text,
        )
    return TableLine(source=source, number=number, cells=dict(zip(names, cells, strict=True)))


def read_header(number: int, text: str, source: Path) -> TableLine:
    """The header's cells, as written, by their names in small letters."""
    cells = _cells(number, text, source)
    names = [cell.lower() for cell in cells]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise InputError(
            "column stands in the header twice",
            cure="keep one of the two",
            source=source,
            line=number,
            key=twice or "(unnamed)",
        )
    if len(names) == 1 and re.search(r"[;\t]", text):
        raise InputError(
            "cells are not separated by commas",
            cure="save the table with commas between cells and a decimal point",
            source=source,
            line=number,
            value=text,
        )
    return TableLine(source=source, number=number, cells=dict(zip(names, cells, strict=True)))


# Outside these an air temperature is a slip of the pen or of the unit; the coldest and
# hottest ever taken at a school kitchen's latitude lie well within. (invented)
_COLDEST_C = -60.0
_HOTTEST_C = 60.0
# Two rounded readings may cross by this much in saturated air. (invented)
_DEW_SLACK_K = 0.5
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# Kind of value → the columns that may carry it; of each kind at most one.
_KINDS = {
    "time": ("time",),
    "temp": ("temp_c", "temp_f"),
    "dew": ("dew_c", "dew_f"),
    "humidity": ("humidity_pct",),
    "cloud": ("cloud_pct", "cloud_frac"),
    "origin": ("origin",),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CsvRow:
    """One line of the table; NaN is an empty cell."""

    line: int
    time_text: str
    epoch_s: float
    offset_s: float
    temp_c: float
    dew_c: float
    cloud_frac: float
    origin: int


def read_rows(
    body: Iterable[tuple[int, str]], *, source: Path, origins: int
) -> tuple[list[CsvRow], list[Message]]:
    """Read header and rows.

    Parameters
    ----------
    body : iterable of (int, str)
        Line number and text, header first, without comments and blank lines.
    source : Path
        File name for error messages.
    origins : int
        How many origins the comment lines declared; 0 leaves an `origin` column aside.

    Returns
    -------
    tuple of list of CsvRow and list of Say
        At least one row, in file order; and remarks for the reader.

    Raises
    ------
    InputError
        A column is missing or a cell cannot be used.
    """
    lines = list(body)
    if not lines:
        raise InputError("has no rows", cure="give one row per hour", source=source)
    header = read_header(*lines[0], source)
    columns = _columns(header)
    if not origins:
        columns.pop("origin", None)
    names = list(header.cells)
    rows = [_row(read_line(*line, names, source), columns, origins) for line in lines[1:]]
    if not rows:
        raise InputError(
            "has a header but no rows",
            cure="give one row per hour",
            source=source,
            line=header.number,
        )
    if all(math.isnan(row.temp_c) for row in rows):
        raise InputError(
            "has no value in any row",
            cure="fill in the air temperature",
            source=source,
            line=rows[0].line,
            key=columns["temp"],
        )
    return rows, [*_aside(header, columns), *_saturated(rows)]


def _columns(header: TableLine) -> dict[str, str]:
    """Which column carries which kind of value."""
    columns: dict[str, str] = {}
    for kind, accepted in _KINDS.items():
        present = [name for name in accepted if name in header.cells]
        if len(present) > 1:
            raise header.fault(
                present[1],
                f"the header has both {present[0]} and {present[1]}",
                "keep one of the two",
            )
        if present:
            columns[kind] = present[0]
    for kind, asked in (("time", "time"), ("temp", "temp_c or temp_f")):
        if kind not in columns:
            raise _missing_column(header, asked)
    if "dew" not in columns and "humidity" not in columns:
        raise _missing_column(header, "humidity_pct, dew_c or dew_f")
    return columns


def _missing_column(header: TableLine, asked: str) -> InputError:
    return InputError(
        f"the header has no column {asked}; it has: {', '.join(header.cells)}",
        cure=f"add or rename a column to {asked}",
        source=header.source,
        line=header.number,
    )


def _row(line: TableLine, columns: dict[str, str], origins: int) -> CsvRow:
    when = _instant(line)
    temp_c = _celsius(line, columns["temp"])
    dew_c = _dew_c(line, columns, temp_c)
    return CsvRow(
        line=line.number,
        time_text=line.cells["time"],
        epoch_s=(when - _EPOCH).total_seconds(),
        offset_s=(when.utcoffset() or UTC.utcoffset(None)).total_seconds(),
        temp_c=temp_c,
        dew_c=dew_c,
        cloud_frac=_cloud_frac(line, columns.get("cloud")),
        origin=_origin(line, columns.get("origin"), origins),
    )


def _instant(line: TableLine) -> datetime:
    text = line.cells["time"]
    try:
        when = datetime.fromisoformat(text)
    except ValueError as error:
        raise line.fault(
            "time", "not a date and time", 'write it like "2013-07-17T19:00:00-04:00"'
        ) from error
    if when.tzinfo is None:
        raise line.fault(
            "time",
            "a time without its offset from UTC",
            'add the offset, such as "-04:00", or "Z" when the times are UTC',
        )
    return when


def _celsius(line: TableLine, key: str) -> float:
    value = line.number_in(key)
    celsius = (value - 32.0) / 1.8 if key.endswith("_f") else value
    if celsius < _COLDEST_C or celsius > _HOTTEST_C:
        other = "°C" if key.endswith("_f") else "°F"
        raise line.fault(
            key,
            f"{celsius:.1f} °C lies outside {_COLDEST_C:g}..{_HOTTEST_C:g} °C",
            f"check the column's unit (are the values in {other}?) and the digits",
        )
    return celsius


def _dew_c(line: TableLine, columns: dict[str, str], temp_c: float) -> float:
    if "dew" in columns:
        dew_c = _celsius(line, columns["dew"])
        if dew_c > temp_c + _DEW_SLACK_K:
            raise line.fault(
                columns["dew"],
                f"dew point {dew_c:.1f} °C lies above the air temperature, {temp_c:.1f} °C",
                "check whether the two columns are swapped or differ in unit",
            )
        return dew_c
    key = columns["humidity"]
    percent = line.number_in(key)
    if percent < 0 or percent > 100:
        raise line.fault(key, "relative humidity lies outside 0..100 %", "write percent")
    return float(dew_from_humidity_c(temp_c, rh_frac=percent / 100.0))


def _cloud_frac(line: TableLine, key: str | None) -> float:
    if key is None:
        return math.nan
    share = line.number_in(key) / (100.0 if key.endswith("_pct") else 1.0)
    if share < 0 or share > 1:
        most = "100 %" if key.endswith("_pct") else "1"
        raise line.fault(key, f"cloud cover lies outside 0..{most}", "check the unit")
    return share


def _origin(line: TableLine, key: str | None, origins: int) -> int:
    if key is None:
        return 0
    text = line.cells[key]
    if not (text.isascii() and text.isdigit() and int(text) < origins):
        raise line.fault(
            key, "not one of the `# origin` lines", f"write a number from 0 to {origins - 1}"
        )
    return int(text)


def _aside(header: TableLine, columns: dict[str, str]) -> list[Message]:
    used = set(columns.values())
    if "dew" in columns:
        used.discard("humidity_pct")
    unused = [name for name in header.cells if name not in used and name]
    return [Message("weather.columns_aside", {"columns": ", ".join(unused)})] if unused else []


def _saturated(rows: list[CsvRow]) -> list[Message]:
    above = sum(row.dew_c > row.temp_c for row in rows)
    if not above:
        return []
    return [Message("weather.saturated", {"rows": above, "above_k": _DEW_SLACK_K})]
