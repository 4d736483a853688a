"""A weather table of whatever make → checked columns in SI, in rising time."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import tzinfo
from itertools import accumulate
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.weather.hours.csv_dates import DateOrder
from cureplan.weather.hours.csv_header import Role, zone_in_name
from cureplan.weather.hours.csv_issued import zone_said
from cureplan.weather.hours.csv_readings import Readings, Table
from cureplan.weather.hours.csv_sheet import Sheet, refuse_ends, sheet_of
from cureplan.weather.hours.csv_times import TimeColumn, Times, read_times

__all__ = ["Table", "read_table"]


def read_table(
    body: str,
    *,
    first_line: int,
    source: Path,
    site: tzinfo | None,
    zone_text: str,
    date_order: DateOrder | None,
    origins: int,
    zone_remarks: str = "",
) -> Table:
    """Read header and rows.

    `zone_text` is a foreman's word on the clock, `zone_remarks` what other remarks say of it.
    """
    sheet = sheet_of(body, first_line, source)
    if not sheet.lines:
        raise InputError(
            "has a header but no rows",
            cure="give one row per hour",
            source=source,
            line=sheet.header_line,
        )
    beside = sheet.zone_above or zone_remarks or zone_said(sheet.asides)
    times, time_texts, time_name = _times(sheet, site, (zone_text, beside), date_order)
    readings = Readings(sheet, origins)
    table = readings.table(times, time_texts, time_name)
    return _in_order(table, times.backwards)


# Times


def _times(
    sheet: Sheet, site: tzinfo | None, stated: tuple[str, str], date_order: DateOrder | None
) -> tuple[Times, Sequence[str], str]:
    texts, name, lone_zone = _time_texts(sheet)
    zones = sheet.header.of("zone")
    lone = {column.role for column in sheet.header.columns} & {"time", "clock", "hour"} == set()
    refuse_ends(
        [c.name for c in sheet.header.columns] if lone else [name],
        sheet.source,
        sheet.header_line,
    )
    in_name = zone_in_name(name) or _of_service(sheet, name)
    counted = all(re.fullmatch(r"\d{9,13}", text, re.ASCII) for text in texts[:1])
    if zones and not lone_zone and not counted:
        cells = [cell.strip() for cell in sheet.texts(zones[0])]
        if all(cells) and not any(_OFFSET.search(text) for text in texts[:1]):
            texts = [f"{text} {zone}" for text, zone in zip(texts, cells, strict=True)]
    column = TimeColumn(
        texts=texts,
        lines=sheet.lines,
        header=name,
        source=sheet.source,
        zone_text=stated[0] or in_name or stated[1],
        order=date_order,
        site=site,
    )
    times = read_times(column)
    if _from_above(sheet):
        times = replace(times, how=(*times.how, Message("read.dates_above")))
    return times, texts, name


def _of_service(sheet: Sheet, name: str) -> str:
    """The clock of a service that stamps its hours so without saying it."""
    names = {column.name.strip() for column in sheet.header.columns}
    # The European centre's short names, in tables made from its analyses, are in UTC.
    if name in {"valid_time", "time"} and "t2m" in names and names & {"valid_time", "d2m"}:
        return "UTC"
    # The American office's local climate data keep standard time all the year.
    local = any(column.name.startswith("Hourly") for column in sheet.header.columns)
    return "LST" if local and name == "DATE" else ""


def _time_texts(sheet: Sheet) -> tuple[Sequence[str], str, bool]:
    """One text per row, put together where date and clock stand apart."""
    header = sheet.header
    stamps = sorted(header.of("time"), key=lambda c: (not zone_in_name(c.name), c.at))
    # Of several the one that means one instant whatever the site's clock is.
    sure = [c for c in header.columns if c.role == "time" and _is_sure(c.name)]
    if stamps and not any(_OFFSET.search(text.strip()) for text in sheet.texts(stamps[0])[:1]):
        stamps = sure or stamps
    dates, clocks = header.of("date"), header.of("clock")
    if header.of("hour") and not any(c.exact for c in stamps):
        return _from_parts(sheet), " ".join(header.of(r)[0].name for r in _PARTS), False
    if stamps:
        return _stripped(sheet.texts(stamps[0])), stamps[0].name, False
    if dates and clocks:
        days = [_MIDNIGHT.sub("", text) for text in _stripped(sheet.texts(dates[0]))]
        if _from_above(sheet):
            days = list(accumulate(days, _or_above))
        hours = _with_half(sheet, _as_clocks(_stripped(sheet.texts(clocks[0]))))
        name = f"{dates[0].name} {clocks[0].name}"
        return [f"{d} {h}" for d, h in zip(days, hours, strict=True)], name, False
    one = (dates or clocks)[0]
    return _stripped(sheet.texts(one)), one.name, False


def _is_sure(name: str) -> bool:
    return zone_in_name(name).upper() in {"UTC", "GMT"}


_OFFSET = re.compile(r"Z|[+-]\d\d:?\d\d$")
_PARTS: tuple[Role, ...] = ("year", "month", "day", "hour")
_MIDNIGHT = re.compile(r"[ T](?:0?0:00(?::00)?(?:\.0+)?|12:00(?::00)? ?AM)$", re.IGNORECASE)


def _with_half(sheet: Sheet, clocks: list[str]) -> list[str]:
    """Clocks with the AM or PM that stands in a column of its own."""
    halves = sheet.header.of("half")
    if not halves:
        return clocks
    return [f"{a} {b}" for a, b in zip(clocks, _stripped(sheet.texts(halves[0])), strict=True)]


def _or_above(above: str, here: str) -> str:
    return here or above


def _from_above(sheet: Sheet) -> bool:
    """Whether dates stand in the first row of their day alone: one missing is a fault."""
    dates = sheet.header.of("date")
    days = _stripped(sheet.texts(dates[0])) if dates and sheet.header.of("clock") else []
    return 2 * days.count("") > len(days)


def _stripped(texts: Sequence[str]) -> list[str]:
    return [text.strip() for text in texts]


def _as_clocks(texts: list[str]) -> list[str]:
    """Hours as bare numbers or as "14 h", 0 to 24 or 0 to 2400, as clock times."""
    if all(re.fullmatch(r"\d{1,2}\s?h\.?", text, re.ASCII | re.IGNORECASE) for text in texts):
        texts = [re.sub(r"\D+$", "", text) for text in texts]
    if not all(re.fullmatch(r"\d{1,4}(?:\.0+)?", text, re.ASCII) for text in texts):
        return texts
    numbers = [int(float(text)) for text in texts]
    if max(numbers, default=0) <= 24:
        return [f"{number}:00" for number in numbers]
    return [f"{number // 100}:{number % 100:02}" for number in numbers]


def _from_parts(sheet: Sheet) -> list[str]:
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
        note = Message("read.twice", {"rows": int(same.size)})
        return replace(_rows(table, kept, with_times=True), how=(*table.how, note))
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
