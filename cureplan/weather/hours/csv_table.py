"""A weather table of whatever make → checked columns in SI, and what was guessed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import tzinfo
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.weather.hours.csv_cells import NumberTexts, numbers_of
from cureplan.weather.hours.csv_dates import DateOrder
from cureplan.weather.hours.csv_header import Column, Header, Role, header_of, zone_in_name
from cureplan.weather.hours.csv_text import delimiters, is_comment, sample_rows, split_rows
from cureplan.weather.hours.csv_times import TimeColumn, Times, read_times
from cureplan.weather.hours.humidity import dew_from_humidity_c

__all__ = ["Table", "read_table"]

# Outside these an air temperature is a slip of the pen or of the unit; the coldest and
# hottest ever taken at a school kitchen's latitude lie well within. (invented)
COLDEST_C = -60.0
HOTTEST_C = 60.0
# Two rounded readings may cross by this much in saturated air. (invented)
DEW_SLACK_K = 0.5
# Capacitive gauges read a few percent above saturation in fog. (invented)
MOST_HUMIDITY_PCT = 105.0
# Rows below the table that tell sums or means; more of them are not such. (invented)
_MOST_SUMMARY_ROWS = 6
_MOST_UNIT_ROWS = 3
_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """Rows in rising time with where each stands; NaN is an empty cell.

    `humidity_frac` is what the file gives of it, NaN where it gives none; `names` is the
    header's name by role, for messages.
    """

    source: Path
    lines: NDArray[np.int64]
    time_texts: Sequence[str]
    epoch_s: FloatArray
    offset_s: FloatArray
    temp_c: FloatArray
    dew_c: FloatArray
    humidity_frac: FloatArray
    cloud_frac: FloatArray
    origin: NDArray[np.int64]
    names: dict[str, str]
    texts: dict[str, Sequence[str]]
    fahrenheit: bool
    guessed_zone: bool
    how: tuple[Message, ...]
    remarks: tuple[Message, ...]

    def fault(self, row: int, role: str, problem: str, cure: str) -> InputError:
        """A refusal of a cell."""
        return InputError(
            problem,
            cure=cure,
            source=self.source,
            line=int(self.lines[row]),
            key=self.names[role],
            value=self.texts[role][row] if role in self.texts else self.time_texts[row],
        )


@dataclass(slots=True, kw_only=True)
class _Sheet:
    """Rows under a header, cells by column."""

    source: Path
    header: Header
    header_line: int
    lines: list[int]
    columns: list[Sequence[str]]
    delimiter: str
    zone_above: str
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


def read_table(
    body: str,
    *,
    first_line: int,
    source: Path,
    site: tzinfo | None,
    zone_text: str,
    date_order: DateOrder | None,
    origins: int,
) -> Table:
    """Read header and rows.

    Parameters
    ----------
    body : str
        The table without the comment lines on top of it.
    first_line : int
        The line on which it begins.
    source : Path
        File name for error messages.
    site : tzinfo or None
        The clock of times that name none.
    zone_text, date_order : str, str or None
        What the comment lines say of clock and dates.
    origins : int
        How many origins they declare; 0 leaves an `origin` column aside.

    Raises
    ------
    InputError
        A column is missing, a cell cannot be used, or what it means cannot be settled.
    """
    sheet = _sheet(body, first_line, source)
    _drop_summary_rows(sheet)
    if not sheet.lines:
        raise InputError(
            "has a header but no rows",
            cure="give one row per hour",
            source=source,
            line=sheet.header_line,
        )
    times, time_texts, time_name = _times(sheet, site, zone_text, date_order)
    readings = _Readings(sheet, origins)
    table = readings.table(times, time_texts, time_name)
    return _in_order(table, times.backwards)


# Header and rows


def _sheet(body: str, first_line: int, source: Path) -> _Sheet:
    if not body.strip():
        raise InputError("has no rows", cure="give one row per hour", source=source)
    delimiter, header_cells = _find_header(body, source, first_line)
    rows = split_rows(body, delimiter=delimiter, source=source, first_line=first_line)
    at = rows.cells.index(header_cells)
    header = header_of(_without_tail(header_cells))
    sheet = _Sheet(
        source=source,
        header=header,
        header_line=rows.lines[at],
        lines=rows.lines[at + 1 :],
        columns=[],
        delimiter=delimiter,
        zone_above=_zone_above(rows.cells[:at]),
    )
    _refuse_twins(sheet)
    cells = rows.cells[at + 1 :]
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
    return sheet


def _find_header(body: str, source: Path, first_line: int) -> tuple[str, list[str]]:
    """The first row that names time and air temperature, and what parts its cells."""
    best: tuple[int, str, list[str]] | None = None
    for delimiter in delimiters(body):
        for cells in sample_rows(body, delimiter):
            header = header_of(cells)
            known = sum(column.role is not None for column in header.columns)
            if header.tells_time and header.tells_air and known >= 2:
                return delimiter, cells
            if best is None or known > best[0]:
                best = (known, delimiter, cells)
    if best is None:
        # Not even a sample could be parted: let the full reading say why.
        split_rows(body, delimiter=",", source=source, first_line=first_line)
        raise InputError("has no rows", cure="give one row per hour", source=source)
    _, delimiter, cells = best
    rows = split_rows(body, delimiter=delimiter, source=source, first_line=first_line)
    line = rows.lines[rows.cells.index(cells)]
    asked = "temp_c or temp_f" if header_of(cells).tells_time else "time"
    raise _missing_column(cells, asked, source, line)


def _missing_column(cells: Sequence[str], asked: str, source: Path, line: int) -> InputError:
    names = ", ".join(cell.strip() for cell in cells if cell.strip())
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


def _refuse_twins(sheet: _Sheet) -> None:
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
    cells: list[list[str]], sheet: _Sheet, header_cells: list[str]
) -> tuple[list[list[str]], list[int]]:
    """Without remarks, rows of empty cells, and headers that come again."""
    plain = all(row[0] and not row[0].startswith("#") for row in cells)
    if plain and header_cells not in cells:
        return cells, sheet.lines
    kept, lines = [], []
    for row, line in zip(cells, sheet.lines, strict=True):
        if row == header_cells:
            sheet.repeated += 1
        elif not is_comment(row[0].strip()) and any(cell.strip() for cell in row):
            kept.append(row)
            lines.append(line)
    return kept, lines


def _fitted(row: list[str], line: int, sheet: _Sheet) -> list[str]:
    width = len(sheet.header.columns)
    bare = _without_tail(row) if len(row) > width else row
    if len(bare) < width:
        needed = max(c.at for c in sheet.header.columns if c.role is not None)
        if len(bare) > needed or not any(cell.strip() for cell in bare[1:]):
            return [*bare, *[""] * (width - len(bare))]
    elif len(bare) == width:
        return bare
    raise InputError(
        f"has {len(bare)} cells where the header has {width}",
        cure="separate cells by commas and write decimals with a point",
        source=sheet.source,
        line=line,
        value=sheet.delimiter.join(row),
    )


def _take_unit_rows(sheet: _Sheet) -> None:
    """Rows of units below the header, as some loggers write them."""
    spare = 0
    for row in range(min(_MOST_UNIT_ROWS, len(sheet.lines))):
        cells = [column[row].strip() for column in sheet.columns]
        if any(re.search(r"\d", cell) for cell in cells if cell not in {"0-1"}):
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


def _zone_above(cells: Sequence[Sequence[str]]) -> str:
    """The clock told by a small table above the header, as weather services write it."""
    for names, values in zip(cells, cells[1:], strict=False):
        told = dict(zip((name.strip().lower() for name in names), values, strict=False))
        shift = told.get("utc_offset_seconds", "").strip()
        if re.fullmatch(r"-?\d{1,5}", shift):
            hours, seconds = divmod(abs(int(shift)), 3600)
            return f"{'-' if shift.startswith('-') else '+'}{hours:02}:{seconds // 60:02}"
    return ""


def _drop_summary_rows(sheet: _Sheet) -> None:
    """Totals and means below the table: rows whose time cells hold no digit."""
    telling = [
        column.at
        for column in sheet.header.columns
        if column.role in {"time", "date", "clock", "year", "month", "day", "hour"}
    ]
    count = len(sheet.lines)
    last = count
    while last > 0 and count - last < _MOST_SUMMARY_ROWS:
        cells = [sheet.columns[at][last - 1] for at in telling]
        if any(re.search(r"\d", cell) for cell in cells):
            break
        last -= 1
    if last < count and (last > 0 or any(cell.strip() for cell in cells)):
        sheet.left_out = count - last
        sheet.drop([n < last for n in range(count)])


# Times


def _times(
    sheet: _Sheet, site: tzinfo | None, zone_text: str, date_order: DateOrder | None
) -> tuple[Times, Sequence[str], str]:
    texts, name, lone_zone = _time_texts(sheet)
    zones = sheet.header.of("zone")
    in_name = zone_in_name(name)
    if zones and not lone_zone:
        told = [cell.strip() for cell in sheet.texts(zones[0])]
        if all(told) and not any(re.search(r"Z|[+-]\d\d:?\d\d$", text) for text in texts[:1]):
            texts = [f"{text} {zone}" for text, zone in zip(texts, told, strict=True)]
    column = TimeColumn(
        texts=texts,
        lines=sheet.lines,
        header=name,
        source=sheet.source,
        zone_text=zone_text or in_name or sheet.zone_above,
        order=date_order,
        site=site,
    )
    return read_times(column), texts, name


def _time_texts(sheet: _Sheet) -> tuple[Sequence[str], str, bool]:
    """One text per row, put together where date and clock stand apart."""
    header = sheet.header
    stamps = sorted(header.of("time"), key=lambda c: (not zone_in_name(c.name), c.at))
    dates, clocks = header.of("date"), header.of("clock")
    if header.of("hour") and header.of("year") and not any(c.exact for c in stamps):
        return _from_parts(sheet), " ".join(header.of(r)[0].name for r in _PARTS), False
    if stamps:
        return _stripped(sheet.texts(stamps[0])), stamps[0].name, False
    if dates and clocks:
        days = [_MIDNIGHT.sub("", text) for text in _stripped(sheet.texts(dates[0]))]
        hours = _as_clocks(_stripped(sheet.texts(clocks[0])))
        name = f"{dates[0].name} {clocks[0].name}"
        return [f"{d} {h}" for d, h in zip(days, hours, strict=True)], name, False
    one = (dates or clocks)[0]
    return _stripped(sheet.texts(one)), one.name, False


_PARTS: tuple[Role, ...] = ("year", "month", "day", "hour")
_MIDNIGHT = re.compile(r"[ T](?:0?0:00(?::00)?(?:\.0+)?|12:00(?::00)? ?AM)$", re.IGNORECASE)


def _stripped(texts: Sequence[str]) -> list[str]:
    return [text.strip() for text in texts]


def _as_clocks(texts: list[str]) -> list[str]:
    """Hours as bare numbers, 0 to 24 or 0 to 2400, as clock times."""
    if not all(re.fullmatch(r"\d{1,4}(?:\.0+)?", text, re.ASCII) for text in texts):
        return texts
    numbers = [int(float(text)) for text in texts]
    if max(numbers, default=0) <= 24:
        return [f"{number}:00" for number in numbers]
    return [f"{number // 100}:{number % 100:02}" for number in numbers]


def _from_parts(sheet: _Sheet) -> list[str]:
    columns = [_stripped(sheet.texts(sheet.header.of(role)[0])) for role in _PARTS]
    minutes = sheet.header.of("minute")
    clocks = _as_clocks(columns[3])
    if minutes:
        clocks = [
            f"{clock.partition(':')[0]}:{int(minute):02}" if minute.isdigit() else clock
            for clock, minute in zip(clocks, _stripped(sheet.texts(minutes[0])), strict=True)
        ]
    return [
        f"{year}-{month}-{day} {clock}"
        for year, month, day, clock in zip(*columns[:3], clocks, strict=True)
    ]


# Readings


class _Readings:
    """The columns of air, dew point, humidity and cloud of one sheet."""

    def __init__(self, sheet: _Sheet, origins: int) -> None:
        self._sheet = sheet
        self._origins = origins
        self._how: list[Message] = []
        self._commas = False
        self._marked = 0
        self._used: set[int] = set()
        self._units: dict[str, str] = {}
        self.names: dict[str, str] = {}
        self.texts: dict[str, Sequence[str]] = {}

    def table(self, times: Times, time_texts: Sequence[str], time_name: str) -> Table:
        sheet = self._sheet
        self.names["time"] = time_name
        temp_c, unit = self._air()
        humidity = self._humidity()
        dew_c, given = self._dew(temp_c, humidity, unit)
        cloud = self._cloud()
        origin = self._origin()
        above = int(np.count_nonzero(dew_c > temp_c))
        remarks = [*self._aside(), *self._saturated(above)]
        return Table(
            source=sheet.source,
            lines=np.array(sheet.lines, dtype=np.int64),
            time_texts=time_texts,
            epoch_s=times.epoch_s,
            offset_s=times.offset_s,
            temp_c=temp_c,
            dew_c=dew_c,
            humidity_frac=humidity if humidity is not None else np.full(temp_c.size, np.nan),
            cloud_frac=cloud,
            origin=origin,
            names=self.names,
            texts=self.texts,
            fahrenheit=unit == "f",
            guessed_zone=times.guessed_zone,
            how=(*self._told(time_name, given), *times.how),
            remarks=tuple(remarks),
        )

    # Air

    def _air(self) -> tuple[FloatArray, str]:
        found = self._sheet.header.of("temp")
        column = found[0]
        if len(found) > 1:
            self._refuse_two(found)
        read, values = self._numbers(column, "temp")
        unit = self._temperature_unit(column, read, values)
        self._units["temp"] = unit
        celsius = _celsius(values, unit)
        if np.isnan(celsius).all():
            raise InputError(
                "has no value in any row",
                cure="fill in the air temperature",
                source=self._sheet.source,
                line=self._sheet.lines[0],
                key=column.name,
            )
        self._refuse_outside(column, celsius, unit)
        if len(found) > 1:
            self._refuse_apart(found[1], celsius)
        return celsius, unit

    def _refuse_two(self, found: list[Column]) -> None:
        units = {column.unit for column in found}
        if len(found) == 2 and len(units) == 2 and "" not in units:
            return
        first, second = found[0].name, found[1].name
        raise InputError(
            f"the header has both {first} and {second}",
            cure="keep the one of the outdoor air, or rename it to temp_c or temp_f",
            source=self._sheet.source,
            line=self._sheet.header_line,
            key=second,
        )

    def _refuse_apart(self, column: Column, celsius: FloatArray) -> None:
        """A second column of the same air in another unit must say the same."""
        read = numbers_of(self._sheet.texts(column))
        other = _celsius(np.array(read.values), column.unit)
        self._used.add(column.at)
        apart = np.abs(other - celsius) > 1.0
        if apart.any():
            row = int(np.flatnonzero(apart)[0])
            raise self._sheet.fault(
                column,
                row,
                f"{other[row]:.1f} °C here, {celsius[row]:.1f} °C in the other column",
                "keep the column that is right",
            )

    def _temperature_unit(self, column: Column, read: NumberTexts, values: FloatArray) -> str:
        in_cells = {unit.lower() for unit in read.units if unit in {"C", "F"}}
        unit = column.unit if column.unit in {"c", "f", "k"} else ""
        if len(in_cells | ({unit} - {""})) > 1:
            raise self._sheet.fault(
                column,
                0,
                "header and cells, or cells among each other, give different units",
                "keep one unit in the column",
            )
        if in_cells:
            unit = in_cells.pop()
        if unit:
            return unit
        return self._only_unit(column, values)

    def _only_unit(self, column: Column, values: FloatArray) -> str:
        """The one unit in which the values are air at all; asked for where two are."""
        possible = []
        for unit in ("c", "f", "k"):
            celsius = _celsius(values, unit)
            known = celsius[~np.isnan(celsius)]
            if known.size and known.min() >= COLDEST_C and known.max() <= HOTTEST_C:
                possible.append(unit)
        if len(possible) == 1:
            return possible[0]
        name = column.name
        raise InputError(
            f"the unit of {name!r} is not given, and its values fit more than one"
            if possible
            else f"the unit of {name!r} is not given, and its values fit none",
            cure="rename the column to temp_c or temp_f (dew_c or dew_f)",
            source=self._sheet.source,
            line=self._sheet.header_line,
            key=name,
        )

    def _refuse_outside(self, column: Column, celsius: FloatArray, unit: str) -> None:
        outside = (celsius < COLDEST_C) | (celsius > HOTTEST_C)
        if outside.any():
            row = int(np.flatnonzero(outside)[0])
            other = "°C" if unit == "f" else "°F"
            raise self._sheet.fault(
                column,
                row,
                f"{celsius[row]:.1f} °C lies outside {COLDEST_C:g}..{HOTTEST_C:g} °C",
                f"check the column's unit (are the values in {other}?) and the digits",
            )

    # Moisture

    def _humidity(self) -> FloatArray | None:
        found = self._sheet.header.of("humidity")
        if not found:
            return None
        if len(found) > 1:
            raise InputError(
                f"the header has both {found[0].name} and {found[1].name}",
                cure="keep the one of the outdoor air, or rename it to humidity_pct",
                source=self._sheet.source,
                line=self._sheet.header_line,
                key=found[1].name,
            )
        column = found[0]
        _, values = self._numbers(column, "humidity")
        self._units["humidity"] = "frac" if column.unit == "frac" else "pct"
        share = values if column.unit == "frac" else values / 100.0
        most = 1.0 if column.unit == "frac" else MOST_HUMIDITY_PCT / 100.0
        wrong = (share < 0) | (share > most)
        if wrong.any():
            problem, cure = "relative humidity lies outside 0..100 %", "write percent"
            if column.unit == "frac":
                problem = "relative humidity lies outside 0..1"
                cure = "write a fraction, or rename the column to humidity_pct"
            raise self._sheet.fault(column, int(np.flatnonzero(wrong)[0]), problem, cure)
        return np.minimum(share, 1.0)

    def _dew(
        self, temp_c: FloatArray, humidity: FloatArray | None, air_unit: str
    ) -> tuple[FloatArray, Column | None]:
        found = self._sheet.header.of("dew")
        units = {column.unit for column in found}
        if len(found) > 1 and (len(found) > 2 or len(units) < 2 or "" in units):
            raise InputError(
                f"the header has both {found[0].name} and {found[1].name}",
                cure="keep one of the two",
                source=self._sheet.source,
                line=self._sheet.header_line,
                key=found[1].name,
            )
        if not found:
            if humidity is None:
                names = [column.name for column in self._sheet.header.columns]
                asked = "humidity_pct, dew_c or dew_f"
                raise _missing_column(names, asked, self._sheet.source, self._sheet.header_line)
            return dew_from_humidity_c(temp_c, rh_frac=humidity), None
        column = found[0]
        read, values = self._numbers(column, "dew")
        # A file that leaves out the unit leaves out the same one in both columns.
        if not column.unit and not read.units & {"C", "F"}:
            column = replace(column, unit=air_unit)  # type: ignore[arg-type]
        unit = self._temperature_unit(column, read, values)
        self._units["dew"] = unit
        dew_c = _celsius(values, unit)
        self._refuse_outside(column, dew_c, unit)
        above = dew_c > temp_c + DEW_SLACK_K
        if above.any():
            row = int(np.flatnonzero(above)[0])
            raise self._sheet.fault(
                column,
                row,
                f"dew point {dew_c[row]:.1f} °C lies above the air temperature, "
                f"{temp_c[row]:.1f} °C",
                "check whether the two columns are swapped or differ in unit",
            )
        return dew_c, column

    def _cloud(self) -> FloatArray:
        found = self._sheet.header.of("cloud")
        if not found:
            return np.full(len(self._sheet.lines), np.nan)
        column = found[0]
        _, values = self._numbers(column, "cloud")
        share = values / (100.0 if column.unit == "pct" else 1.0)
        wrong = (share < 0) | (share > 1)
        if wrong.any():
            most = "100 %" if column.unit == "pct" else "1"
            raise self._sheet.fault(
                column,
                int(np.flatnonzero(wrong)[0]),
                f"cloud cover lies outside 0..{most}",
                "check the unit",
            )
        return share

    def _origin(self) -> NDArray[np.int64]:
        found = self._sheet.header.of("origin")
        if not found or not self._origins:
            return np.zeros(len(self._sheet.lines), dtype=np.int64)
        texts = self._sheet.texts(found[0])
        self._used.add(found[0].at)
        known = {str(number): number for number in range(self._origins)}
        for row, text in enumerate(texts):
            if text not in known:
                raise self._sheet.fault(
                    found[0],
                    row,
                    "not one of the `# origin` lines",
                    f"write a number from 0 to {self._origins - 1}",
                )
        return np.array([known[text] for text in texts], dtype=np.int64)

    def _numbers(self, column: Column, role: str) -> tuple[NumberTexts, FloatArray]:
        texts = self._sheet.texts(column)
        read = numbers_of(texts)
        if read.bad is not None:
            raise self._sheet.fault(
                column,
                read.bad,
                "not a number",
                "write the number alone, or leave the cell empty when it is missing",
            )
        self._used.add(column.at)
        self._commas |= read.commas
        self._marked += read.marked
        self.names[role] = column.name
        self.texts[role] = texts
        return read, np.array(read.values)

    # What was guessed

    def _told(self, time_name: str, dew: Column | None) -> list[Message]:
        sheet = self._sheet
        told: list[Message] = []
        if sheet.delimiter != ",":
            told.append(Message("read.parted", {"mark": _NAMES[sheet.delimiter]}))
        if self._commas:
            told.append(Message("read.commas"))
        roles: list[Role] = ["temp", "dew" if dew is not None else "humidity"]
        if time_name.lower() != "time":
            told.append(Message("read.column", {"what": "time", "column": time_name}))
        for role in roles:
            column = sheet.header.of(role)[0]
            if not column.exact:
                what = f"{role}_{self._units[role]}"
                told.append(Message("read.column", {"what": what, "column": column.name}))
        if self._marked:
            told.append(Message("read.marked", {"rows": self._marked}))
        if sheet.left_out:
            told.append(Message("read.left_out", {"rows": sheet.left_out}))
        if sheet.repeated:
            told.append(Message("read.repeated", {"rows": sheet.repeated}))
        return told

    def _aside(self) -> list[Message]:
        at_work = {"time", "date", "clock", "zone", "year", "month", "day", "hour", "minute"}
        unused = [
            column.name
            for column in self._sheet.header.columns
            if column.at not in self._used
            and column.name
            and column.role not in at_work
            and not (column.role == "humidity" and "dew" in self.names)
        ]
        return (
            [Message("weather.columns_aside", {"columns": ", ".join(unused)})] if unused else []
        )

    @staticmethod
    def _saturated(above: int) -> list[Message]:
        if not above:
            return []
        return [Message("weather.saturated", {"rows": above, "above_k": DEW_SLACK_K})]


def _celsius(values: FloatArray, unit: str) -> FloatArray:
    if unit == "f":
        return (values - 32.0) / 1.8
    return values - 273.15 if unit == "k" else values


# Order


def _in_order(table: Table, backwards: bool) -> Table:
    if backwards:
        table = _rows(table, np.arange(table.lines.size)[::-1], with_times=False)
    steps = np.diff(table.epoch_s)
    wrong = np.flatnonzero(steps <= 0)
    if not wrong.size:
        return table
    same = wrong[steps[wrong] == 0]
    if same.size == wrong.size and all(_alike(table, int(row)) for row in same):
        kept = np.setdiff1d(np.arange(table.lines.size), same + 1)
        told = Message("read.twice", {"rows": int(same.size)})
        return replace(_rows(table, kept, with_times=True), how=(*table.how, told))
    row = int(wrong[0]) + 1
    line = int(table.lines[row - 1])
    if steps[row - 1] == 0:
        raise table.fault(
            row, "time", f"same instant as line {line}", "keep one of the two rows"
        )
    raise table.fault(row, "time", f"earlier than line {line}", "sort the rows by time")


def _alike(table: Table, row: int) -> bool:
    return all(
        np.array_equal(column[row], column[row + 1], equal_nan=True)
        for column in (table.temp_c, table.dew_c, table.humidity_frac)
    )


def _rows(table: Table, rows: NDArray[np.int64], *, with_times: bool) -> Table:
    """Some rows, or all in another order; times may stand in that order already."""
    cells = {role: [texts[n] for n in rows] for role, texts in table.texts.items()}
    names = "lines", "temp_c", "dew_c", "humidity_frac", "cloud_frac", "origin"
    moved = {name: getattr(table, name)[rows] for name in names}
    if with_times:
        moved |= {name: getattr(table, name)[rows] for name in ("epoch_s", "offset_s")}
    return replace(table, time_texts=[table.time_texts[n] for n in rows], texts=cells, **moved)
