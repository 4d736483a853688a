"""Every file of a plan, written all or nothing."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from cureplan.core.beside import beside
from cureplan.core.errors import CurePlanError, InputError, OutputError
from cureplan.core.messages import Message, Value
from cureplan.core.showing import in_display_units
from cureplan.core.writing import settle, write_together
from cureplan.output.language import Voice
from cureplan.output.language.time_words import twice_named
from cureplan.output.sheet.crew_calendar import (
    CREW_ROLES,
    LARGEST_BYTES,
    PRODID,
    calendar_text,
    crew_ics,
    earlier_plan,
    role_calendars,
    role_file,
)
from cureplan.output.sheet.page import sheet_html
from cureplan.output.view.sources import arrival_views
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.arrivals import arrivals_of, stays_min
from cureplan.planning.plan.model import (
    BucketPlan,
    Call,
    CoatPlan,
    Plan,
    PrimerPlan,
    plan_to_json,
)
from cureplan.planning.plan.read import LARGEST_PLAN_BYTES, read_plan

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

__all__ = [
    "FILES",
    "PICTURES",
    "ROLE_FILES",
    "WORKBOOK",
    "buckets_csv",
    "calls_csv",
    "coats_csv",
    "defused",
    "foreign_file",
    "need_workbooks",
    "people_csv",
    "primers_csv",
    "render_sheets",
    "workbook",
    "write_pictures",
    "write_sheets",
]

Cell = str | int | float | datetime
"""What a cell holds; a time is the site's wall clock."""
# Columns whose values are codes, and what stands before them among the words.
_CODES = {"role": "", "stage": "stage.", "binding": ""}
# What only a program reads stays in plan.json.
_TECHNICAL = ("clocks_sd_frac",)
_HEAD_BYTES = 4096
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def defused(text: str) -> str:
    """A text no spreadsheet will run as a formula.

    Not for numbers: a negative margin must stay a number.

    Examples
    --------
    >>> defused('=HYPERLINK("x")'), defused("Cook line")
    ('\\'=HYPERLINK("x")', 'Cook line')
    """
    if text.startswith(_FORMULA_STARTS) or text.lstrip().startswith(_FORMULA_STARTS):
        return f"'{text}"
    return text


def buckets_csv(plan: Plan) -> str:
    """Every bucket, one row each, in the order mixed."""
    return _csv(_buckets(plan))


def calls_csv(plan: Plan) -> str:
    """Every call, one row each, in the order of the clock."""
    return _csv(_calls(plan))


def people_csv(plan: Plan) -> str:
    """Every arrival, one row each, in the order of the clock."""
    return _csv(_people(plan))


def coats_csv(plan: Plan) -> str:
    """Every coat, one row each, in the order laid."""
    return _csv(_coats(plan))


def primers_csv(plan: Plan) -> str:
    """Every primer, one row each, in the order rolled."""
    return _csv(_primers(plan))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """What stands in one file or on one page; the words of its cells are the job's own."""

    names: tuple[str, ...]
    rows: list[tuple[Cell, ...]]
    voice: Voice

    def headings(self, language: str) -> list[str]:
        """What its columns are called, with their units."""
        us = self.voice.display == "us"
        units: dict[str, Value] = {
            "degrees": "°F" if us else "°C",
            "volume": "gal" if us else "L",
        }
        said = replace(self.voice, language=language)
        return [said.label(f"column.{name}", **units) for name in self.names]


def _buckets(plan: Plan) -> _Table:
    return _table(BucketPlan, plan.buckets, plan)


def _calls(plan: Plan) -> _Table:
    return _table(Call, sorted(plan.calls, key=lambda call: call.call), plan)


def _coats(plan: Plan) -> _Table:
    return _table(CoatPlan, sorted(plan.coats, key=lambda coat: coat.start), plan)


def _primers(plan: Plan) -> _Table:
    return _table(PrimerPlan, sorted(plan.primers, key=lambda primer: primer.start), plan)


def _people(plan: Plan) -> _Table:
    voice = voice_of(plan)
    rows: list[tuple[Cell, ...]] = []
    for arrival, view in zip(arrivals_of(plan), arrival_views(plan, voice), strict=True):
        stops = "; ".join(f"{room}: {stop}" for room, stop in view.stops)
        who = view.who if arrival.named else voice.word(arrival.who)
        come, go = (_wall_time(at, voice.zone) for at in (arrival.call, arrival.leaves))
        texts = (
            defused(who),
            arrival.people,
            view.roles,
            come,
            go,
            round(stays_min(arrival) / 60.0, 2),
        )
        rows.append((*texts, defused(stops), view.breaks))
    names = ("who", "people", "roles", "call", "leaves", "hours", "stops", "breaks")
    return _Table(names=names, rows=rows, voice=voice)


def _table(
    kind: type[BucketPlan] | type[Call] | type[CoatPlan] | type[PrimerPlan],
    rows: Iterable[BucketPlan] | Iterable[Call] | Iterable[CoatPlan] | Iterable[PrimerPlan],
    plan: Plan,
) -> _Table:
    left_out = _TECHNICAL if plan.job.crew.people else (*_TECHNICAL, "names")
    names = tuple(field.name for field in fields(kind) if field.name not in left_out)
    voice = voice_of(plan)
    cells = [tuple(_cell(name, getattr(row, name), voice) for name in names) for row in rows]
    return _Table(names=names, rows=cells, voice=voice)


def _csv(table: _Table) -> str:
    """What programs read: its columns have the same names whatever the job's language."""
    out = io.StringIO(newline="")
    out.write("\ufeff")
    writer = csv.writer(out)
    writer.writerow(table.headings("en"))
    writer.writerows(table.rows)
    return out.getvalue()


def _cell(name: str, value: object, voice: Voice) -> Cell:
    if value is None:
        return ""
    if isinstance(value, bool):
        return voice.label("cell.yes" if value else "cell.no")
    if isinstance(value, datetime):
        return _wall_time(value, voice.zone)
    if isinstance(value, tuple):
        return defused(", ".join(str(one) for one in value))
    if isinstance(value, Message):
        return defused(voice.say(value))
    if isinstance(value, int | float):
        return in_display_units(name, value, voice.display)
    if name in _CODES:
        return defused(voice.word(f"{_CODES[name]}{value}"))
    return defused(str(value))


def _wall_time(instant: datetime, zone: ZoneInfo) -> datetime | str:
    """The site's wall clock to the second, which a spreadsheet takes for a time.

    Where the wall shows a time twice, its offset tells which one: such a cell is text.
    """
    local = instant.astimezone(zone)
    if twice_named(local):
        return local.isoformat(sep=" ", timespec="seconds")
    return local.replace(tzinfo=None, microsecond=0)


def need_workbooks() -> None:
    """Raise where the library that writes workbooks is not installed."""
    if find_spec("xlsxwriter") is None:
        raise InputError(
            "a workbook needs one more package",
            cure="pip install 'cureplan[xlsx]', or leave it out and take the CSV files",
            key="--xlsx",
        )


def workbook(plan: Plan) -> bytes:
    """`plan.xlsx`: the tables a page each, in the job's first language."""
    import xlsxwriter

    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        # Else the bytes would tell when they were written.
        book.set_properties({"created": plan.decisions.made_at.replace(tzinfo=None)})
        bold = book.add_format({"bold": True})
        wall = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        for name, of in _PAGES.items():
            table = of(plan)
            if table.rows:
                page = book.add_worksheet(table.voice.label(f"page.{name}"))
                _fill(page, table, bold=bold, wall=wall)
    return out.getvalue()


def _fill(page: Worksheet, table: _Table, *, bold: Format, wall: Format) -> None:
    page.freeze_panes(1, 0)
    for column, heading in enumerate(table.headings(table.voice.language)):
        cells = [row[column] for row in table.rows]
        page.write_string(0, column, heading, bold)
        page.set_column(
            column, column, max(10, *(len(str(cell)) for cell in (heading, *cells)))
        )
        for number, cell in enumerate(cells, start=1):
            # Never `write`, which takes a text with an equals sign for a formula.
            if isinstance(cell, datetime):
                page.write_datetime(number, column, cell, wall)
            elif isinstance(cell, str):
                page.write_string(number, column, cell)
            else:
                page.write_number(number, column, cell)


_PAGES: Mapping[str, Callable[[Plan], _Table]] = {
    "buckets": _buckets,
    "calls": _calls,
    "people": _people,
    "coats": _coats,
    "primers": _primers,
}


def _plan_json(plan: Plan) -> str:
    return plan_to_json(plan, text_of=voice_of(plan).say)


_TEXTS: Mapping[str, Callable[[Plan], str]] = {
    "plan.json": _plan_json,
    "sheet.html": sheet_html,
    "buckets.csv": buckets_csv,
    "calls.csv": calls_csv,
    "people.csv": people_csv,
    "coats.csv": coats_csv,
    "primers.csv": primers_csv,
}
WORKBOOK = "plan.xlsx"
"""Written where it is asked for, and taken away by a plan that does not."""
PICTURES = ("plan.png", "plan.pdf")
FILES = (*_TEXTS, "crew.ics", *PICTURES, WORKBOOK)
ROLE_FILES = tuple(role_file(role) for role in CREW_ROLES)
"""Written beside them, for those who come."""


def render_sheets(
    plan: Plan, *, earlier: Iterable[bytes] = (), pictures: bool = True
) -> dict[str, bytes]:
    """Every file's name and content; writes nothing.

    Not for a folder where a plan lies already: `write_sheets` mends its calendar.
    """
    if pictures:
        with beside(lambda: _pictures(plan)) as drawn:
            return _texts(plan, earlier) | drawn()
    return _texts(plan, earlier)


def _texts(plan: Plan, earlier: Iterable[bytes]) -> dict[str, bytes]:
    contents = {
        name: render(plan).encode("utf-8")
        for name, render in _TEXTS.items()
        if plan.primers or render is not primers_csv
    }
    earlier = [*earlier]
    contents["crew.ics"] = crew_ics(plan, earlier=earlier)
    return contents | role_calendars(plan, earlier=earlier)


def _pictures(plan: Plan) -> dict[str, bytes]:
    from cureplan.output.charts.pages import plan_pictures

    return {f"plan.{kind}": picture for kind, picture in plan_pictures(plan).items()}


def write_sheets(
    plan: Plan,
    folder: Path,
    *,
    before: Path | None = None,
    pictures: bool | Literal["kept"] = True,
    as_workbook: bool = False,
    force: bool = False,
) -> tuple[Path, ...]:
    """Write every file of a plan into a folder, all of them or none.

    Pictures may be "kept": those that lie there, of the same plan before it was told of help.

    Files of the user's own that bear such a name are refused, unless by `force`.
    """
    folder = Path(folder)
    folders = [folder] if before is None else [folder, Path(before)]
    try:
        settle(folder)
        if not force and (name := foreign_file(folder)) is not None:
            raise OutputError(
                f"{folder / name}: this is no file of a plan's, and one would take its place; "
                "move it, or choose another folder"
            )
        drawn = pictures is True
        contents = render_sheets(plan, earlier=[*_calendars(folders)], pictures=drawn)
        if as_workbook:
            contents[WORKBOOK] = workbook(plan)
        write_together(
            folder,
            contents,
            gone=[
                name
                for name in (*FILES, *ROLE_FILES, *_of_people(folder))
                if name not in contents and not (pictures == "kept" and name in PICTURES)
            ],
        )
    except (OSError, RuntimeError) as error:
        raise _unwritable(folder, error) from error
    return tuple(folder / name for name in contents)


def write_pictures(folder: Path) -> None:
    """Draw the pictures a plan was written without, of the plan that lies there now."""
    text = None
    try:
        # A plan that was made anew meanwhile must not get the pictures of the one before.
        while text != (text := (folder / "plan.json").read_bytes()):
            pictures = _pictures(read_plan(folder))
        write_together(folder, pictures)
    except (OSError, RuntimeError) as error:
        raise _unwritable(folder, error) from error


def foreign_file(folder: Path) -> str | None:
    """The name of a file there that a plan would replace or take away and no plan wrote.

    Where a plan lies, damaged or not, everything that bears such a name is taken for its own.
    """
    plan = folder / "plan.json"
    if os.path.lexists(plan):
        return plan.name if _of_another_tool(plan) else None
    for name in (*FILES, *ROLE_FILES):
        path = folder / name
        if not path.is_file() or path.stat().st_size == 0:
            continue
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
        # A calendar may be kept alone, for the phones that follow it, and may be damaged.
        ours = path.suffix == ".ics" and (PRODID.encode() in head or b"BEGIN:V" not in head)
        if not ours:
            return name
    return None


def _of_another_tool(path: Path) -> bool:
    """Whether a plan.json is sound JSON, and holds something, but nothing that ours has."""
    from pydantic_core import from_json

    if not path.is_file() or path.stat().st_size > LARGEST_PLAN_BYTES:
        return path.is_file()
    try:
        found = from_json(path.read_bytes(), allow_inf_nan=False)
    except (ValueError, RecursionError):
        return False
    if isinstance(found, dict):
        return bool(found) and not found.keys() & {"format", *(f.name for f in fields(Plan))}
    return isinstance(found, list) and bool(found)


def _of_people(folder: Path) -> Iterator[str]:
    """Calendars of people that an earlier plan has left there."""
    with suppress(OSError):
        for path in sorted(folder.glob("crew-*.ics")):
            if path.stat().st_size <= LARGEST_BYTES and PRODID.encode() in path.read_bytes():
                yield path.name


def _calendars(folders: Iterable[Path]) -> Iterator[bytes]:
    """What the crew may have in its phones: earlier calendars, or those of earlier plans."""
    for folder in folders:
        text = calendar_text(folder)
        if text is not None:
            yield text
            continue
        old = earlier_plan(folder)
        if old is not None:
            # A plan of another version, or one changed by hand, may speak of anything;
            # what lies there must never block a new plan.
            with suppress(
                CurePlanError,
                ArithmeticError,
                AttributeError,
                LookupError,
                TypeError,
                ValueError,
            ):
                yield crew_ics(old)


def _unwritable(folder: Path, error: OSError | RuntimeError) -> OutputError:
    named = getattr(error, "filename2", None) or getattr(error, "filename", None)
    where = Path(named or folder)
    reason = getattr(error, "strerror", None) or str(error)
    return OutputError(
        f"{folder / where.name if where.name in FILES else folder}: could not be written "
        f"({reason}); choose another folder, or make room and rights there"
    )
