"""A column of times, however written, as instants; what is guessed is told."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.weather.hours.csv_dates import (
    DateOrder,
    DateText,
    clock_of,
    date_of,
    days_of,
    orders_that_fit,
)
from cureplan.weather.hours.csv_zones import local_to_utc, zone_of, zone_tail

__all__ = ["TimeColumn", "Times", "read_times"]

_CLOCK_INSIDE = re.compile(
    r"(?<!\d)\d{1,2}(?:[:h]\d{2}(?:[:.]\d{2}(?:[.,]\d+)?)?|(?=\s?[aApP]\.?\s?[mM]))"
    r"(?:\s?[aApP](?:\.?\s?[mM])?\b\.?)?"
)
_COMMON_ISO = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:", re.ASCII)
# Without signs between, or with the hour alone.
_SHORT_ISO = re.compile(r"\d{8}[Tt]\d{4}|\d{4}-\d\d-\d\d[Tt]\d\d(?![\d:])", re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_EPOCH_DAY = _EPOCH.toordinal()
_DAY_S = 86_400.0
# Serial days of spreadsheets between 1990 and 2100.
_SERIAL_DAYS = (32_874.0, 73_050.0)
# Epoch seconds between 2001 and 2036; later ten digits read as a date and hour.
_EPOCH_SECONDS = (1.0e9, 2.1e9)
_PATTERNS = {10: "%Y%m%d%H", 12: "%Y%m%d%H%M", 14: "%Y%m%d%H%M%S"}
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeColumn:
    """Cells that tell the time, with where they stand and what is said about them.

    `zone_text` is what the header or a comment says of the clock, `order` what a comment
    says of the dates, `site` the site's zone, None where nobody told it.
    """

    texts: Sequence[str]
    lines: Sequence[int]
    header: str
    source: Path
    zone_text: str
    order: DateOrder | None
    site: tzinfo | None

    def fault(self, row: int, problem: str, cure: str) -> InputError:
        """A refusal of the cell in a row."""
        return InputError(
            problem,
            cure=cure,
            source=self.source,
            line=self.lines[row],
            key=self.header,
            value=self.texts[row],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Times:
    """Instants in rising order, unless the rows themselves go back and forth."""

    epoch_s: FloatArray
    offset_s: FloatArray
    backwards: bool
    """Whether the rows stood newest first, and were turned round."""
    guessed_zone: bool
    """Whether the clock was taken to be the site's for want of a word."""
    how: tuple[Message, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Local:
    """Times of some clock; `zones` is per row a text, "" where none stands there."""

    local_s: FloatArray
    zones: Sequence[str] | None
    how: tuple[Message, ...] = ()


def read_times(column: TimeColumn) -> Times:
    """Instants of a column."""
    found = _iso(column) or _numbers(column) or _general(column)
    if isinstance(found, Times):
        return found
    return _on_its_clock(column, found)


# Standard stamps and plain numbers


def _iso(column: TimeColumn) -> _Local | Times | None:
    # Read as such only in the common shapes: the parser itself takes far more.
    if all(_COMMON_ISO.match(text) for text in column.texts):
        texts, cut = list(column.texts), 16
    elif all(_SHORT_ISO.match(text) for text in column.texts):
        texts, cut = [text.upper() for text in column.texts], 13
    else:
        return None
    try:
        stamps = [datetime.fromisoformat(text.upper()) for text in texts]
    except ValueError:
        return None
    aware = [stamp.tzinfo is not None for stamp in stamps]
    if all(aware):
        epoch_s = np.array([stamp.timestamp() for stamp in stamps])
        # The texts behind the clock are few: one offset is read for each.
        tails = {text[cut:]: stamp for text, stamp in zip(texts, stamps, strict=True)}
        shifts = {tail: _offset_s(stamp) for tail, stamp in tails.items()}
        offset_s = np.array([shifts[text[cut:]] for text in texts])
        return _turned(Times(
            epoch_s=epoch_s, offset_s=offset_s, backwards=False, guessed_zone=False, how=()
        ))  # fmt: skip
    if any(aware):
        raise _no_offset(column, aware.index(False))
    naive = _EPOCH.replace(tzinfo=None)
    local_s = np.array([(stamp - naive).total_seconds() for stamp in stamps])
    return _Local(local_s, None)


def _offset_s(stamp: datetime) -> float:
    return (stamp.utcoffset() or timedelta(0)).total_seconds()


def _numbers(column: TimeColumn) -> _Local | Times | None:
    """Columns of digits: seconds since 1970, or year to minute without signs between."""
    if not all(re.fullmatch(r"\d{4,14}(?:[.,]\d+)?", text, re.ASCII) for text in column.texts):
        return None
    values = np.array([float(text.replace(",", ".")) for text in column.texts])
    if ((values >= _SERIAL_DAYS[0]) & (values <= _SERIAL_DAYS[1])).all():
        raise column.fault(
            0,
            "a spreadsheet's day number, not a date and time",
            "format that column as a date with its time, and save again",
        )
    for scale, code in ((1.0, "s"), (1000.0, "ms")):
        seconds = values / scale
        if ((seconds >= _EPOCH_SECONDS[0]) & (seconds <= _EPOCH_SECONDS[1])).all():
            if scale == 1.0 and _stamps(column) is not None:
                break
            return _turned(Times(
                epoch_s=seconds, offset_s=np.zeros(values.size), backwards=False,
                guessed_zone=False, how=(Message("read.epoch", {"unit": code}),),
            ))  # fmt: skip
    local_s = _stamps(column)
    return None if local_s is None else _Local(local_s, None)


def _stamps(column: TimeColumn) -> FloatArray | None:
    """Ten, twelve or fourteen digits as year, month, day, hour, minute and second."""
    lengths = {len(text) for text in column.texts}
    if len(lengths) != 1 or lengths.isdisjoint(_PATTERNS):
        return None
    pattern = _PATTERNS[lengths.pop()]
    try:
        stamps = [datetime.strptime(text, pattern) for text in column.texts]  # noqa: DTZ007
    except ValueError:
        return None
    naive = _EPOCH.replace(tzinfo=None)
    return np.array([(stamp - naive).total_seconds() for stamp in stamps])


# Everything else


def _general(column: TimeColumn) -> _Local:
    dates: dict[str, DateText | None] = {}
    clocks: dict[str, tuple[float, bool, str] | None] = {}
    date_texts: list[str] = []
    clock_texts: list[str] = []
    for row, text in enumerate(column.texts):
        head, tail = _halves(text, dates, clocks)
        if dates[head] is None or clocks[tail] is None:
            raise _no_time(column, row, is_date=dates[head] is not None and not tail)
        date_texts.append(head)
        clock_texts.append(tail)
    unique = [date for date in dates.values() if date is not None]
    order, how = _order(column, date_texts, dates, unique)
    days = {text: date.day(order) for text, date in dates.items() if date is not None}
    day_s = np.array([(days[text] or 0) - _EPOCH_DAY for text in date_texts]) * _DAY_S
    parts = {text: clock for text, clock in clocks.items() if clock is not None}
    clock_s = np.array([parts[text][0] for text in clock_texts])
    marked = {parts[text][1] for text in dict.fromkeys(clock_texts)}
    if len(marked) > 1:
        row = next(n for n, text in enumerate(clock_texts) if not parts[text][1])
        raise column.fault(row, "AM or PM is missing", "write it in every row, or in none")
    local_s = day_s + clock_s
    _refuse_twelve_hours(column, local_s, clock_s, marked=True in marked)
    zones = [parts[text][2] for text in clock_texts]
    return _Local(local_s, zones if any(zones) else None, how)


def _halves(
    text: str,
    dates: dict[str, DateText | None],
    clocks: dict[str, tuple[float, bool, str] | None],
) -> tuple[str, str]:
    """A cell as the texts of its date and its clock, both looked up or read."""
    head, _, tail = text.partition(" ")
    if not tail and text[10:11] == "T":
        head, tail = text[:10], text[11:]
    if dates.get(head) is None or clocks.get(tail) is None:
        if date_of(head) is None or _clock(tail) is None:
            head, tail = _searched(text)
        if head not in dates:
            dates[head] = date_of(head)
        if tail not in clocks:
            clocks[tail] = _clock(tail)
    return head, tail


def _searched(text: str) -> tuple[str, str]:
    plain = text.replace("\u202f", " ").replace("\xa0", " ")
    found = _CLOCK_INSIDE.search(plain)
    if found is None:
        return plain, ""
    before = re.sub(r"(?<=\d)T$", "", plain[: found.start()]).strip(" ,;")
    after = plain[found.end() :].strip(" ,;")
    if before:
        return before, f"{found[0]} {after}".strip()
    # The clock may stand first, and the date behind it.
    return after, found[0]


def _clock(text: str) -> tuple[float, bool, str] | None:
    plain = text.strip().replace("\u202f", " ").replace("\xa0", " ")
    clock = clock_of(plain)
    if clock is not None:
        return (*clock, "")
    bare, zone = zone_tail(plain)
    clock = clock_of(bare) if zone else None
    return None if clock is None else (*clock, zone)


def _order(
    column: TimeColumn,
    date_texts: Sequence[str],
    dates: dict[str, DateText | None],
    unique: Sequence[DateText],
) -> tuple[DateOrder, tuple[Message, ...]]:
    """The order of day and month in which all dates exist and follow each other."""
    fit = orders_that_fit(unique)
    if not fit:
        raise _no_order(column, date_texts, dates)
    if column.order is not None:
        if column.order not in fit:
            raise column.fault(
                0, "not a date in the order told on top", "mend the `# dates:` line"
            )
        return column.order, ()
    if len(fit) == 1:
        sure = all(one.orders == ("ymd",) for one in unique)
        return fit[0], () if sure else (Message("read.order", {"order": fit[0]}),)
    met = [dates[text] for text in dict.fromkeys(date_texts)]
    follow = days_of([one for one in met if one is not None], fit)
    if len(follow) != 1:
        raise column.fault(
            0,
            "day and month cannot be told apart",
            "write dates as 2013-07-17, or put `# dates: day first` (or month first, year"
            " first) on top of the file",
        )
    (order,) = follow
    return order, (Message("read.order", {"order": order}),)


def _no_order(
    column: TimeColumn, date_texts: Sequence[str], dates: dict[str, DateText | None]
) -> InputError:
    """The first date that does not go with those above it."""
    met: list[DateText] = []
    row = 0
    for number, text in enumerate(date_texts):
        one = dates[text]
        if one is not None and one not in met:
            met.append(one)
            row = number
        if not orders_that_fit(met):
            break
    return column.fault(
        row,
        "no such date, or not in the order of those above",
        "write every date the same way, best as 2013-07-17",
    )


def _refuse_twelve_hours(
    column: TimeColumn, local_s: FloatArray, clock_s: FloatArray, *, marked: bool
) -> None:
    hours = clock_s // 3600
    steps = np.diff(local_s)
    if marked or not steps.size or hours.max() > 12 or hours.min() < 1:
        return
    if (steps < 0).any() and (steps > 0).any():
        row = int(np.flatnonzero(steps * np.sign(np.median(steps) or 1.0) < 0)[0]) + 1
        raise column.fault(
            row,
            "a 12-hour clock without AM or PM",
            "save the times with AM and PM, or on a 24-hour clock",
        )


def _no_time(column: TimeColumn, row: int, *, is_date: bool) -> InputError:
    if is_date:
        return column.fault(
            row,
            "a date without a time of day",
            "give one row per hour with its clock time, or a column `time` beside the date",
        )
    return column.fault(row, "not a date and time", 'write it like "2013-07-17T19:00:00-04:00"')


# Clocks


def _on_its_clock(column: TimeColumn, local: _Local) -> Times:
    local_s, zones = local.local_s, local.zones
    backwards = _goes_back(local_s)
    if backwards:
        local_s = local_s[::-1]
        zones = None if zones is None else zones[::-1]
    if zones is not None:
        times = _by_cells(column, local_s, zones, backwards)
    else:
        times = _by_column(column, local_s, backwards)
    reversed_ = (Message("read.newest_first"),) if backwards else ()
    return Times(
        epoch_s=times.epoch_s,
        offset_s=times.offset_s,
        backwards=backwards,
        guessed_zone=times.guessed_zone,
        how=(*local.how, *times.how, *reversed_),
    )


def _by_cells(
    column: TimeColumn, local_s: FloatArray, zones: Sequence[str], backwards: bool
) -> Times:
    near = _EPOCH + timedelta(seconds=float(local_s[0]))
    offsets: dict[str, FloatArray] = {}
    names = list(dict.fromkeys(zones))
    for name in names:
        row = zones.index(name)
        where = len(zones) - 1 - row if backwards else row
        if not name:
            raise _no_offset(column, where)
        clock = zone_of(name, column.site, near)
        if clock is None:
            raise column.fault(
                where,
                f"{name!r} is no clock that means one thing only",
                'write the offset from UTC, such as "-04:00"',
            )
        offsets[name] = _shift_s(local_s, clock)
    index = {name: number for number, name in enumerate(names)}
    of_row = np.array([index[name] for name in zones])
    table = np.array([offsets[name] for name in names])
    offset_s = table[of_row, np.arange(local_s.size)]
    plain = all(re.fullmatch(r"Z|[+-]\d\d:?\d\d", name) for name in names)
    how = () if plain else (Message("read.clock", {"zone": ", ".join(names)}),)
    return Times(
        epoch_s=local_s - offset_s,
        offset_s=offset_s,
        backwards=backwards,
        guessed_zone=False,
        how=how,
    )


def _shift_s(local_s: FloatArray, clock: tzinfo) -> FloatArray:
    fixed = clock.utcoffset(None)
    if fixed is not None:
        return np.full(local_s.size, fixed.total_seconds())
    return local_to_utc(local_s, clock).offset_s


def _by_column(column: TimeColumn, local_s: FloatArray, backwards: bool) -> Times:
    """One clock for all rows: what the header or a comment says, else the site's."""
    near = _EPOCH + timedelta(seconds=float(local_s[0]))
    guessed = not column.zone_text
    if guessed and column.site is None:
        raise _no_offset(column, 0)
    clock = (
        zone_of("local", column.site, near)
        if guessed
        else zone_of(column.zone_text, column.site, near)
    )
    if clock is None:
        raise column.fault(
            0,
            f"{column.zone_text!r} is no clock that means one thing only",
            "put `# time zone: -04:00` (or UTC, or site) on top of the file",
        )
    fixed = clock.utcoffset(None)
    if fixed is not None:
        offset_s = np.full(local_s.size, fixed.total_seconds())
        how = (Message("read.clock", {"zone": column.zone_text}),)
        return Times(
            epoch_s=local_s - offset_s, offset_s=offset_s, backwards=backwards,
            guessed_zone=False, how=how,
        )  # fmt: skip
    hours = local_to_utc(local_s, clock)
    _refuse_unsettled(column, hours.missing, hours.doubled, local_s.size, backwards)
    code = "read.clock_site" if guessed else "read.clock"
    notes = [Message(code, {"zone": str(clock)})]
    if hours.resolved:
        notes.append(Message("read.doubled", {"rows": hours.resolved}))
    return Times(
        epoch_s=hours.epoch_s,
        offset_s=hours.offset_s,
        backwards=backwards,
        guessed_zone=guessed,
        how=tuple(notes),
    )


def _refuse_unsettled(
    column: TimeColumn, missing: int | None, doubled: int | None, count: int, backwards: bool
) -> None:
    row = missing if missing is not None else doubled
    if row is None:
        return
    where = count - 1 - row if backwards else row
    problem = (
        "clocks go forward over this time, so the file's clock is not the site's"
        if missing is not None
        else "this hour comes twice on the night clocks go back, and the rows do not say which"
    )
    raise column.fault(
        where,
        problem,
        "write times with their offset, or put `# time zone: UTC` (or -05:00) on top",
    )


def _no_offset(column: TimeColumn, row: int) -> InputError:
    return column.fault(
        row,
        "a time without its offset from UTC",
        'add the offset, such as "-04:00", or "Z" when the times are UTC',
    )


def _goes_back(local_s: FloatArray) -> bool:
    steps = np.diff(local_s)
    return bool(
        steps.size
        and local_s[-1] < local_s[0]
        and np.count_nonzero(steps < 0) > 0.9 * steps.size
    )


def _turned(times: Times) -> Times:
    if not _goes_back(times.epoch_s):
        return times
    return Times(
        epoch_s=times.epoch_s[::-1],
        offset_s=times.offset_s[::-1],
        backwards=True,
        guessed_zone=times.guessed_zone,
        how=(*times.how, Message("read.newest_first")),
    )
