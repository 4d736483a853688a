"""The columns of air, dew point, humidity and cloud of a weather table, in SI."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.core.moist_air import dew_from_humidity_c
from cureplan.weather.hours.csv_cells import NumberTexts, numbers_of
from cureplan.weather.hours.csv_header import Column, Role
from cureplan.weather.hours.csv_issued import issue_words
from cureplan.weather.hours.csv_sheet import Sheet, missing_column
from cureplan.weather.hours.csv_times import Times

__all__ = ["Readings", "Table"]

# Outside these an air temperature is a slip of the pen or of the unit; the coldest and
# hottest ever taken at a school kitchen's latitude lie well within. (invented)
COLDEST_C = -60.0
HOTTEST_C = 60.0
# Two rounded readings may cross by this much in saturated air. (invented)
DEW_SLACK_K = 0.5
# Capacitive gauges read a few percent above saturation in fog. (invented)
MOST_HUMIDITY_PCT = 105.0
_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "blank"}
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
    texts: Mapping[str, Sequence[str]]
    fahrenheit: frozenset[str]
    """Which of air and dew point the file gives in °F."""
    guessed_zone: bool
    how: tuple[Message, ...]
    remarks: tuple[Message, ...]
    made: tuple[tuple[str, int], ...]
    """What rows without data say of when the table was made, and their lines."""

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


class Readings:
    """The columns of air, dew point, humidity and cloud of one sheet."""

    def __init__(self, sheet: Sheet, origins: int) -> None:
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
        self._refuse_stations()
        temp_c, unit = self._air()
        humidity = self._humidity()
        dew_c, given = self._dew(temp_c, humidity, unit)
        cloud = self._cloud()
        origin = self._origin()
        self._issued()
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
            fahrenheit=frozenset(r for r, unit in self._units.items() if unit == "f"),
            guessed_zone=times.guessed_zone,
            how=(*self._read_as(time_name, given), *times.how),
            remarks=tuple(remarks),
            made=issue_words(sheet.asides),
        )

    def _refuse_stations(self) -> None:
        for column in self._sheet.header.of("station"):
            texts = [text.strip() for text in self._sheet.texts(column)]
            names = [text for text in dict.fromkeys(texts) if text]
            if len(names) > 1:
                raise self._sheet.fault(
                    column,
                    texts.index(names[1]),
                    f"rows of {len(names)} stations, the first of them {names[0]!r}",
                    "keep the rows of one station",
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
            self._refuse_disagreement(found[1], celsius)
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

    def _refuse_disagreement(self, column: Column, celsius: FloatArray) -> None:
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
        unit: str = column.unit if column.unit in {"c", "f", "k"} else ""
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
        if column.metric and "c" in possible:
            return "c"
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
                raise missing_column(names, asked, self._sheet.source, self._sheet.header_line)
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

    def _issued(self) -> None:
        for column in self._sheet.header.of("issued")[:1]:
            self._used.add(column.at)
            self.names["issued"] = column.name
            self.texts["issued"] = self._sheet.texts(column)

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

    def _read_as(self, time_name: str, dew: Column | None) -> list[Message]:
        sheet = self._sheet
        notes: list[Message] = []
        if sheet.delimiter != ",":
            notes.append(Message("read.parted", {"mark": _NAMES[sheet.delimiter]}))
        if self._commas:
            notes.append(Message("read.commas"))
        roles: list[Role] = ["temp", "dew" if dew is not None else "humidity"]
        if time_name.lower() != "time":
            notes.append(Message("read.column", {"what": "time", "column": time_name}))
        for role in roles:
            column = sheet.header.of(role)[0]
            if not column.exact:
                what = f"{role}_{self._units[role]}"
                notes.append(Message("read.column", {"what": what, "column": column.name}))
        if self._marked:
            notes.append(Message("read.marked", {"rows": self._marked}))
        if sheet.left_out:
            notes.append(Message("read.left_out", {"rows": sheet.left_out}))
        if sheet.repeated:
            notes.append(Message("read.repeated", {"rows": sheet.repeated}))
        return notes

    def _aside(self) -> list[Message]:
        at_work = {
            "time", "date", "clock", "zone", "year", "month", "day", "hour", "minute", "half",
        }  # fmt: skip
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
