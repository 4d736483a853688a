"""Aligned columns for a terminal of any width."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cureplan.sheets.words.clean import display_width, fit

__all__ = ["Column", "table_lines"]

GAP = 2
NARROWEST_SHRUNK = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column; the higher its rank, the sooner a narrow terminal loses it.

    Rank 0 is never lost; a column that `shrinks` is cut before any is lost.
    """

    title: str
    cells: tuple[str, ...]
    rank: int = 0
    shrinks: bool = False
    right: bool = False

    @property
    def width(self) -> int:
        """Columns of the terminal it would like."""
        return max(display_width(text) for text in (self.title, *self.cells))


def table_lines(columns: Sequence[Column], width: int) -> list[str]:
    """Title line and rows, no line wider than `width`.

    Not for prose, which is wrapped.

    Examples
    --------
    >>> table_lines([Column(title="Room", cells=("Cook line", "Servery"), shrinks=True),
    ...              Column(title="Kits", cells=("21", "8"), right=True)], 40)
    ['Room       Kits', 'Cook line    21', 'Servery       8']
    """
    kept = list(columns)
    while _least(kept) > width and any(column.rank for column in kept):
        kept.remove(max(kept, key=lambda column: column.rank))
    widths = _widths(kept, width)
    rows = zip(*((column.title, *column.cells) for column in kept), strict=True)
    return [_line(kept, widths, row, width) for row in rows]


def _least(columns: Sequence[Column]) -> int:
    needed = sum(
        min(column.width, NARROWEST_SHRUNK) if column.shrinks else column.width
        for column in columns
    )
    return needed + GAP * (len(columns) - 1)


def _widths(columns: Sequence[Column], width: int) -> list[int]:
    widths = [column.width for column in columns]
    over = sum(widths) + GAP * (len(columns) - 1) - width
    shrinking = [place for place, column in enumerate(columns) if column.shrinks]
    while over > 0 and any(widths[place] > NARROWEST_SHRUNK for place in shrinking):
        widest = max(shrinking, key=lambda place: widths[place])
        widths[widest] -= 1
        over -= 1
    return widths


def _line(
    columns: Sequence[Column], widths: Sequence[int], row: Sequence[str], width: int
) -> str:
    cells = []
    for column, room, text in zip(columns, widths, row, strict=True):
        shown = fit(text, room)
        padding = " " * (room - display_width(shown))
        cells.append(padding + shown if column.right else shown + padding)
    return fit((" " * GAP).join(cells).rstrip(), width)
