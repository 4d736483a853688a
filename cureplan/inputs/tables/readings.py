"""Readings of clocks, from a table or a record."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path

from cureplan.core.errors import InputError, QuantityError
from cureplan.core.printed import parse_duration_range_s, split_printed, without_bound
from cureplan.core.quantities import (
    parse_fraction,
    parse_temperature_c,
    refuse_doubtful_time,
    split_refusal,
)
from cureplan.inputs.tables.lines import Line, read_lines, read_table_text

__all__ = [
    "COLUMNS",
    "KINDS",
    "PLACES",
    "Context",
    "Reading",
    "Readings",
    "read_readings",
    "read_readings_text",
    "shared_among_batches",
]

PLACES = ("liquids", "filler", "air", "slab")
ENDS_A_TIME = (
    *("wet_edge", "working_time", "broadcast_closes", "topcoat_closes", "recoat_closes"),
)
"""Of a printed range these take the sooner end; what must be waited for, the later."""
SAME_K = 0.06
"""Two cells that say one temperature in °F and °C may differ by this much."""

Context = tuple[Line, str, dict[str, float]]
"""A line of a named kit, the kit, and what the line says of its surroundings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading in SI; NaN is what was not read."""

    source: str
    line: int
    kind: str
    batch: str
    milestone: str
    after_s: float
    temp_c: float
    humidity_frac: float
    mass_kg: float
    liquids_c: float
    filler_c: float
    air_c: float
    slab_c: float
    poured_s: float
    note: str
    lot: str = ""
    """Pallet or night whose kits run fast or slow together; empty where nobody says."""

    def fault(self, column: str, problem: str, cure: str) -> InputError:
        """A refusal of this reading."""
        return InputError(problem, cure=cure, source=self.source, line=self.line, key=column)


def shared_among_batches(rows: Sequence[Reading], context: Sequence[Context]) -> list[Reading]:
    """Fill in what another line of the same kit says, and refuse what then still lacks."""
    shared = _shared(context)
    filled = [_filled(row, shared) for row in rows]
    for row in filled:
        _check_whole(row)
    return filled


def _shared(context: Sequence[Context]) -> dict[str, dict[str, float]]:
    """What is known of each kit, from whichever of its lines says it."""
    shared: dict[str, dict[str, float]] = {}
    for line, batch, known in context:
        kit = shared.setdefault(batch, {})
        for name, value in known.items():
            if math.isnan(value):
                continue
            if abs(kit.setdefault(name, value) - value) > SAME_K:
                column = name.replace("poured_s", "poured_min")
                raise line.fault(
                    column if column in line.cells else column.replace("_c", "_f"),
                    f'another line of batch "{batch}" says otherwise',
                    "mend one, or give each kit its own batch name",
                )
    return shared


def _filled(row: Reading, shared: Mapping[str, Mapping[str, float]]) -> Reading:
    if row.kind not in ("bucket", "probe"):
        return row
    known = shared.get(row.batch, {})

    def either(own: float, name: str) -> float:
        return known.get(name, own) if math.isnan(own) else own

    return replace(
        row,
        liquids_c=either(row.liquids_c, "liquids_c"),
        filler_c=either(row.filler_c, "filler_c"),
        air_c=either(row.air_c, "air_c"),
        slab_c=either(row.slab_c, "slab_c"),
        poured_s=either(row.poured_s, "poured_s"),
    )


def _check_whole(row: Reading) -> None:
    """What no single cell can show."""
    if row.kind in ("sheet", "cup"):
        if math.isnan(row.temp_c):
            raise row.fault("temp", "it is empty", f"write the {row.kind}'s temperature")
        return
    if row.kind == "probe" and not row.batch:
        raise row.fault("batch", "it is empty", "name the kit the thermometer stood in")
    if row.kind == "bucket" and math.isnan(row.slab_c):
        raise row.fault("slab", "it is empty", "write the slab's temperature under it")
    if row.kind == "probe" and math.isnan(row.liquids_c):
        raise row.fault("liquids", "it is empty", "write the liquids' temperature")
    if row.kind == "probe" and math.isnan(row.filler_c):
        raise row.fault("filler", "it is empty", "write the filler's temperature")
    parts = not math.isnan(row.liquids_c) and not math.isnan(row.filler_c)
    if not parts and math.isnan(row.temp_c):
        raise row.fault(
            "temp", "it is empty", "write the mixed temperature, or liquids and filler"
        )


KINDS = ("sheet", "cup", "bucket", "probe")
COLUMNS = (
    "kind",
    "batch",
    "milestone",
    "minutes",
    "hours",
    *(f"{what}_{unit}" for what in ("temp", *PLACES) for unit in ("f", "c")),
    "humidity_pct",
    "mass_kg",
    "poured_min",
    "lot",
    "note",
)
LONGEST_S = 31 * 86_400.0
# As wide as a card's own points, liquids and slabs may be; a bucket left standing
# gets hotter than any of them.
_LIMITS_C: Mapping[str, tuple[float, float]] = {
    "temp": (0.0, 60.0),
    "probe": (-5.0, 110.0),
    "liquids": (-5.0, 60.0),
    "filler": (-10.0, 60.0),
    "air": (-10.0, 60.0),
    "slab": (-10.0, 75.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What a table holds, and the lines on which nothing was filled in."""

    source: Path
    rows: tuple[Reading, ...]
    blank: tuple[int, ...]


def read_readings(path: Path, *, milestones: tuple[str, ...]) -> Readings:
    """Read a table of readings."""
    return read_readings_text(read_table_text(path), source=path, milestones=milestones)


def read_readings_text(text: str, *, source: Path, milestones: tuple[str, ...]) -> Readings:
    """Read readings from a text that is said to stand in `source`.

    Examples
    --------
    >>> table = "kind,milestone,temp_f,minutes\\ncup,working_time,70,21\\n"
    >>> found = read_readings_text(table, source=Path("x.csv"), milestones=("working_time",))
    >>> found.rows[0].after_s, round(found.rows[0].temp_c, 2)
    (1260.0, 21.11)
    """
    lines = read_lines(text, source=source, known=COLUMNS)
    _check_columns(lines[0])
    rows: list[Reading] = []
    aside: list[int] = []
    for line in lines:
        reading = _reading(line, milestones)
        (aside.append(line.number) if reading is None else rows.append(reading))
    rows = shared_among_batches(rows, _context(lines))
    if not rows:
        raise InputError(
            "no reading is filled in", cure="write the minutes that were watched", source=source
        )
    return Readings(source=source, rows=tuple(rows), blank=tuple(aside))


def _check_columns(line: Line) -> None:
    def refused(column: str, problem: str, cure: str) -> InputError:
        return InputError(problem, cure=cure, source=line.source, key=column)

    for what in ("temp", *PLACES):
        if f"{what}_f" in line.cells and f"{what}_c" in line.cells:
            raise refused(f"{what}_c", f"there is also {what}_f", "keep one of the two")
    if "kind" not in line.cells:
        raise refused("kind", "the column is missing", f"say one of {', '.join(KINDS)}")
    if "minutes" not in line.cells and "hours" not in line.cells:
        raise refused("minutes", "the column is missing", "add minutes or hours")


def _reading(line: Line, milestones: tuple[str, ...]) -> Reading | None:
    """One line's reading, or None where only its frame is filled in."""
    kind = _kind(line)
    line = _as_printed(line) if kind == "sheet" else line
    after_s = _after_s(line, kind, line.text("milestone").lower().replace(" ", "_"))
    temp_c = _celsius(line, "temp", within="probe" if kind == "probe" else "temp")
    if math.isnan(after_s) or (kind == "probe" and math.isnan(temp_c)):
        if kind in ("sheet", "cup") and not math.isnan(temp_c):
            raise line.fault("minutes", "it is empty", "write how long it took")
        if kind == "probe" and not math.isnan(temp_c):
            raise line.fault("minutes", "it is empty", "write when the thermometer was read")
        return None
    return Reading(
        source=str(line.source),
        line=line.number,
        kind=kind,
        batch=line.text("batch"),
        milestone=_milestone(line, kind, milestones),
        after_s=after_s,
        temp_c=temp_c,
        humidity_frac=_humidity_frac(line),
        mass_kg=_positive(line, "mass_kg", 300.0, "kg"),
        liquids_c=_celsius(line, "liquids"),
        filler_c=_celsius(line, "filler"),
        air_c=_celsius(line, "air"),
        slab_c=_celsius(line, "slab"),
        poured_s=60.0 * _positive(line, "poured_min", 600.0, "min"),
        note=line.text("note"),
        lot=line.text("lot"),
    )


def _as_printed(line: Line) -> Line:
    """A cell like "15 to 20 min at 70 F, 50 % RH" spread over the columns it speaks of."""
    cells = dict(line.cells)
    for key in ("minutes", "hours"):
        try:
            printed = split_printed(line.text(key))
        except QuantityError as error:
            raise line.fault(key, *split_refusal(error, line.text(key))) from None
        if printed is not None:
            break
    else:
        return line
    cells[key], temp, share = printed
    try:
        cells["temp_c"] = f"{parse_temperature_c(temp):.4f}"
        if share:
            cells["humidity_pct"] = f"{100 * parse_fraction(share):.4f}"
    except QuantityError:
        raise line.fault(
            key, "not how a data sheet says it", 'write "15-20 min at 70 F, 50 % RH"'
        ) from None
    for column, said in (("temp_f", "temp_c"), ("temp_c", "temp_c"), ("humidity_pct",) * 2):
        if line.text(column) and said in cells and cells[said] != line.text(column):
            raise line.fault(column, f"{key} says it too", "leave one of the two empty")
    cells.pop("temp_f", None)
    return replace(line, cells=cells)


def _kind(line: Line) -> str:
    kind = line.text("kind").lower()
    if kind not in KINDS:
        near = get_close_matches(kind, KINDS, n=1)
        meant = f'did you mean "{near[0]}"? ' if near else ""
        raise line.fault("kind", "no such kind", f"{meant}write one of {', '.join(KINDS)}")
    return kind


def _milestone(line: Line, kind: str, milestones: tuple[str, ...]) -> str:
    name = line.text("milestone").lower().replace(" ", "_")
    if kind == "probe":
        if name:
            raise line.fault("milestone", "a thermometer sees none", "leave it empty")
        return ""
    if name not in milestones:
        near = get_close_matches(name, milestones, n=1)
        meant = f'did you mean "{near[0]}"? ' if near else ""
        raise line.fault(
            "milestone",
            "the card has no such milestone" if name else "it is empty",
            f"{meant}the card has {', '.join(milestones)}",
        )
    return name


def _after_s(line: Line, kind: str, milestone: str) -> float:
    given = [key for key in ("minutes", "hours") if line.text(key)]
    if len(given) > 1:
        raise line.fault("hours", "minutes are given too", "fill in one of the two")
    if not given:
        return math.nan
    key = given[0]
    after_s = _clock_s(line, key)
    if math.isnan(after_s) and kind == "sheet":
        after_s = _printed_s(line, key, milestone)
    if math.isnan(after_s):
        value = line.number_in(key)
        # A point that parts thousands is only feared where the time could be so long.
        if 1000.0 * value * _UNIT_S[key] <= LONGEST_S:
            _refuse_thousands(line, key)
        after_s = value * _UNIT_S[key]
    if kind == "probe" and after_s == 0.0:
        return 0.0
    if not 0.0 < after_s <= LONGEST_S:
        raise line.fault(key, "a time lies above 0 and within 31 days", "check the digits")
    return after_s


_CLOCK = re.compile(
    r"([0-9]{1,3}):([0-5][0-9])(?::([0-5][0-9]))?\s*(h|hrs?|hours?|hh?:mm)?\.?", re.IGNORECASE
)


def _clock_s(line: Line, key: str) -> float:
    """A cell like "4:30" under hours, or "0:21:30"; NaN where it is none."""
    found = _CLOCK.fullmatch(line.text(key))
    if not found:
        return math.nan
    first, second = int(found[1]), int(found[2])
    if key == "minutes" and not found[3] and not found[4]:
        as_minutes = f"{first + second / 60:.4g} for minutes and seconds"
        raise line.fault(
            key,
            "its colon may part hours or minutes",
            f"write {as_minutes}, or {60 * first + second} for hours and minutes",
        )
    return 3600.0 * first + 60.0 * second + float(found[3] or 0)


_UNIT_S = {"minutes": 60.0, "hours": 3600.0}


def _refuse_thousands(line: Line, key: str) -> None:
    try:
        refuse_doubtful_time(line.text(key))
    except QuantityError as error:
        raise line.fault(key, *split_refusal(error, line.text(key))) from None


def _printed_s(line: Line, key: str, milestone: str) -> float:
    """A sheet's "15-20 min" or "15-20", its cautious end; NaN where it is a bare number."""
    said = line.text(key).strip()
    try:
        text = without_bound(said)
    except QuantityError as error:
        raise line.fault(key, *split_refusal(error, said)) from None
    if text == said and not re.search(r"[0-9]\D*(?:-|–|±|\bto\b|[a-z])", text, re.IGNORECASE):
        return math.nan
    with_unit = text if re.search(r"(?!to\b)\b[a-z]", text, re.IGNORECASE) else f"{text} {key}"
    try:
        ends_s = parse_duration_range_s(with_unit)
    except QuantityError as error:
        raise line.fault(key, *split_refusal(error, with_unit)) from None
    return ends_s[0] if milestone in ENDS_A_TIME else ends_s[1]


def _celsius(line: Line, what: str, *, within: str | None = None) -> float:
    key = f"{what}_f" if f"{what}_f" in line.cells else f"{what}_c"
    value = line.number_in(key)
    temp_c = (value - 32.0) / 1.8 if key.endswith("_f") else value
    low_c, high_c = _LIMITS_C[within or what]
    if math.isnan(temp_c) or low_c <= temp_c <= high_c:
        return temp_c
    other = "°C" if key.endswith("_f") else "°F"
    raise line.fault(
        key,
        f"{temp_c:.4g} °C lies outside {low_c:g}..{high_c:g} °C",
        f"check the digits and the column's unit (is it in {other}?)",
    )


def _humidity_frac(line: Line) -> float:
    percent = line.number_in("humidity_pct")
    if math.isnan(percent) or 1.0 <= percent <= 100.0:
        return percent / 100.0
    raise line.fault("humidity_pct", "it lies outside 1..100 %", "write percent, such as 55")


def _positive(line: Line, key: str, most: float, unit: str) -> float:
    value = line.number_in(key)
    if math.isnan(value) or 0.0 < value <= most:
        return value
    raise line.fault(key, f"it lies above 0 and up to {most:g} {unit}", "check the digits")


def _context(lines: list[Line]) -> list[Context]:
    """Temperatures around each line of a named kit, blank lines among them."""
    found = []
    for line in lines:
        if line.text("batch") and line.text("kind").lower() in ("bucket", "probe"):
            known = {f"{what}_c": _celsius(line, what) for what in PLACES}
            known["poured_s"] = 60.0 * _positive(line, "poured_min", 600.0, "min")
            found.append((line, line.text("batch"), known))
    return found
