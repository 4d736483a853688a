"""One line of a weather table as cells by column name."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from pathlib import Path

from cureplan.errors import InputError

__all__ = ["TableLine", "read_header", "read_line"]

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
