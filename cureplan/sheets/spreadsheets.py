"""Buckets, calls and coats as CSV, for whoever wants them in a spreadsheet.

Numbers are SI, instants ISO 8601 with the site's offset, both unrounded: a spreadsheet
is where people compute on. Column names and words are in the job's first language; in
English the columns are named as in `plan.json`. The files start with a byte-order mark,
without which the usual spreadsheets garble accents.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import fields
from datetime import datetime
from zoneinfo import ZoneInfo

from cureplan.plan import BucketPlan, Call, CoatPlan, Plan
from cureplan.say import Say
from cureplan.sheets.view import voice_of
from cureplan.sheets.words import Voice

__all__ = ["buckets_csv", "calls_csv", "coats_csv", "defused"]

# Columns whose values are codes, and what stands before them among the words.
_CODES = {"role": "", "stage": "stage.", "binding": ""}
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
    return _table(BucketPlan, plan.buckets, plan)


def calls_csv(plan: Plan) -> str:
    """Every call, one row each, in the order of the clock."""
    return _table(Call, sorted(plan.calls, key=lambda call: call.call), plan)


def coats_csv(plan: Plan) -> str:
    """Every coat, one row each, in the order laid."""
    return _table(CoatPlan, sorted(plan.coats, key=lambda coat: coat.start), plan)


def _table(
    kind: type[BucketPlan] | type[Call] | type[CoatPlan],
    rows: Iterable[BucketPlan] | Iterable[Call] | Iterable[CoatPlan],
    plan: Plan,
) -> str:
    names = [field.name for field in fields(kind)]
    voice = voice_of(plan)
    out = io.StringIO(newline="")
    out.write("\ufeff")
    writer = csv.writer(out)
    writer.writerow([voice.label(f"column.{name}") for name in names])
    for row in rows:
        writer.writerow([_cell(name, getattr(row, name), voice) for name in names])
    return out.getvalue()


def _cell(name: str, value: object, voice: Voice) -> str | float | int:
    if value is None:
        return ""
    if isinstance(value, bool):
        return voice.label("cell.yes" if value else "cell.no")
    if isinstance(value, datetime):
        return _local_iso(value, voice.zone)
    if isinstance(value, Say):
        return defused(voice.say(value))
    if isinstance(value, int | float):
        return value
    if name in _CODES:
        return defused(voice.word(f"{_CODES[name]}{value}"))
    return defused(str(value))


def _local_iso(instant: datetime, zone: ZoneInfo) -> str:
    return instant.astimezone(zone).isoformat(timespec="seconds")
