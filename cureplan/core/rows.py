"""Rows of results that turn into a table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeVar
from zoneinfo import ZoneInfo

from cureplan.core.messages import Message

if TYPE_CHECKING:
    from pandas import DataFrame

__all__ = ["Rows"]

T = TypeVar("T")


class Rows(tuple[T, ...]):
    """A tuple of frozen rows of one kind; `to_frame` gives them as a pandas DataFrame."""

    zone: ZoneInfo | None = None
    spread: str | None = None
    """Name of a field that holds rows of its own, each to become a line of the table."""

    @classmethod
    def of(
        cls, rows: Iterable[T], *, zone: ZoneInfo | None = None, spread: str | None = None
    ) -> Rows[T]:
        """Rows whose instants a table shows in `zone`."""
        made = cls(rows)
        made.zone, made.spread = zone, spread
        return made

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: Any) -> Any:
        """As JSON they are an array."""
        from typing import get_args

        inner: Any = tuple[get_args(source)[0], ...]  # type: ignore[misc]
        return handler.generate_schema(inner)

    def to_frame(self) -> DataFrame:
        """One line a row, one column a field; SI and °C, the unit at the end of each name.

        Not for a spreadsheet a crew opens: `write_sheets` writes those in its words.

        Returns
        -------
        pandas.DataFrame
            Shape (rows, fields); instants in the site's zone; messages as their codes;
            fields that hold rows of their own are left out, but hours get a line for
            each room.

        Examples
        --------
        >>> from dataclasses import make_dataclass
        >>> kind = make_dataclass("Kind", ["room", "margin_min"])
        >>> Rows([kind("Cook line", 2.5)]).to_frame()["margin_min"].tolist()
        [2.5]
        """
        import pandas as pd

        frame = pd.DataFrame.from_records([*self._lines()])
        if self.zone is None:
            return frame
        instants = [
            name
            for name in frame.columns
            if any(isinstance(value, datetime) for value in frame[name])
        ]
        for name in instants:
            frame[name] = pd.to_datetime(frame[name], utc=True).dt.tz_convert(self.zone.key)
        return frame

    def _lines(self) -> Iterator[dict[str, object]]:
        for row in self:
            cells = _cells(row)
            inner = getattr(row, self.spread) if self.spread else ()
            if not inner:
                yield cells
            for one in inner:
                yield {**cells, **_cells(one)}


def _cells(row: Any) -> dict[str, object]:
    return {
        field.name: _cell(value)
        for field in fields(row)
        if not _holds_rows(value := getattr(row, field.name))
    }


def _holds_rows(value: object) -> bool:
    return isinstance(value, tuple) and any(
        is_dataclass(item) and not isinstance(item, Message) for item in value
    )


def _cell(value: object) -> object:
    if isinstance(value, Message):
        return value.code
    if isinstance(value, tuple):
        return ", ".join(str(_cell(item)) for item in value)
    return value
