"""A plan in the terminal: the three answers first, then tables."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from cureplan.output.language import Voice
from cureplan.output.language.clean import display_width, fit, kept_together, one_line
from cureplan.output.view.sources import (
    alternatives,
    arrival_views,
    best_measure,
    doubt_rows,
    ice,
    ice_lines,
    labour_line,
    load,
    load_total,
    order_lines,
    risk_lines,
    sources,
)
from cureplan.output.view.view import (
    State,
    answers,
    chance_text,
    generic_notice,
    rooms,
    status_key,
    status_state,
    voice_of,
    weakest_text,
)
from cureplan.output.view.work import coats, primers
from cureplan.planning.plan.model import Plan

__all__ = [
    "Column",
    "answers_text",
    "doubt_text",
    "help_text",
    "table_lines",
    "terminal_text",
]

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


NARROWEST = 40
WIDEST = 120
# Shapes as well as colours: nothing is said by colour alone.
SHAPES: dict[State, str] = {"kept": "●", "tight": "◆", "short": "▲"}
_ANSI = {"bold": "1", "dim": "2", "kept": "32", "tight": "33", "short": "1;31"}


class _Page:
    """Lines of one width, with or without colour."""

    def __init__(self, width: int, *, colour: bool) -> None:
        self.width = max(NARROWEST, min(width, WIDEST))
        self.colour = colour
        self.lines: list[str] = []

    def paint(self, text: str, style: str) -> str:
        return f"\x1b[{_ANSI[style]}m{text}\x1b[0m" if self.colour and text else text

    def prose(
        self, text: str, *, indent: str = "", first: str | None = None, style: str = ""
    ) -> None:
        wrapped = textwrap.wrap(
            kept_together(text),
            self.width,
            initial_indent=indent if first is None else first,
            subsequent_indent=indent,
        )
        # textwrap counts signs; wide ones may still stick out.
        shown = [fit(line.replace("\u00a0", " "), self.width) for line in wrapped]
        self.lines += [self.paint(line, style) if style else line for line in shown]

    def heading(self, text: str) -> None:
        self.lines += ["", self.paint(fit(text, self.width), "bold")]

    def table(self, columns: Iterable[Column]) -> None:
        head, *rows = table_lines(list(columns), self.width)
        self.lines += [self.paint(head, "dim"), *rows]


def terminal_text(plan: Plan, *, width: int, colour: bool, language: str | None = None) -> str:
    """The plan for a terminal.

    Not for files; `write_sheets` makes those.
    """
    parts = (answers_text, doubt_text)
    return "".join(text(plan, width=width, colour=colour, language=language) for text in parts)


def answers_text(plan: Plan, *, width: int, colour: bool, language: str | None = None) -> str:
    """Its answers and tables: all that a plan knows before its doubt is taken apart."""
    voice = voice_of(plan, language)
    page = _Page(width, colour=colour)
    _head(page, plan, voice)
    _answers(page, plan, voice)
    _warnings(page, plan, voice)
    if plan.status != "within policy":
        _alternatives(page, plan, voice)
    if plan.rooms:
        _rooms(page, plan, voice)
    if plan.primers:
        _primers(page, plan, voice)
    if plan.coats:
        _coats(page, plan, voice)
    if plan.calls:
        _calls(page, plan, voice)
    _ice(page, plan, voice)
    if plan.takeoff.rooms:
        _load(page, plan, voice)
    if plan.status == "within policy":
        _alternatives(page, plan, voice)
    return "\n".join(page.lines) + "\n"


def doubt_text(plan: Plan, *, width: int, colour: bool, language: str | None = None) -> str:
    """How often it holds, what its doubt is made of, and where it all comes from."""
    page = _Page(width, colour=colour)
    _sources(page, plan, voice_of(plan, language))
    return "\n".join(page.lines) + "\n"


def help_text(
    plan: Plan, before: Plan, *, width: int, colour: bool, language: str | None = None
) -> str:
    """What would help besides what an earlier showing of the plan has named."""
    named = before.decisions.alternatives
    fresh = tuple(item for item in plan.decisions.alternatives if item not in named)
    page = _Page(width, colour=colour)
    warned = tuple(said for said in plan.warnings if said not in before.warnings)
    rest = replace(plan, decisions=replace(plan.decisions, alternatives=fresh), warnings=warned)
    voice = voice_of(plan, language)
    _alternatives(page, rest, voice)
    _warnings(page, rest, voice)
    return "\n".join(page.lines) + "\n" if page.lines else ""


def _head(page: _Page, plan: Plan, voice: Voice) -> None:
    key = status_key(plan)
    state = status_state(plan)
    page.lines.append(page.paint(fit(one_line(plan.job.site.name), page.width), "bold"))
    page.lines.append(
        page.paint(fit(f"{SHAPES[state]} {voice.label(f'status.{key}')}", page.width), state)
    )
    if plan.rooms:
        page.prose(chance_text(plan, voice), indent="  ")
    if weakest := weakest_text(plan, voice):
        page.prose(weakest, indent="  ")
    page.prose(
        voice.label(f"status.{key}.long", policy_min=plan.job.policy.margin_s / 60), indent="  "
    )


def _answers(page: _Page, plan: Plan, voice: Voice) -> None:
    for answer in answers(plan, voice):
        page.heading(f"{answer.number}  {answer.title.upper()}")
        for line in answer.headline:
            page.prose(line, indent="   ", style="bold")
        for reason in answer.reasons:
            page.prose(reason, indent="     ", first="   - ")
        page.prose(f"{voice.label('doubt')}: {answer.doubt}", indent="   ")


def _warnings(page: _Page, plan: Plan, voice: Voice) -> None:
    lines = [voice.say(warning) for warning in plan.warnings]
    if lines:
        page.heading(voice.label("warnings"))
    for line in lines:
        page.prose(line, indent="  ", first="! ")


def _rooms(page: _Page, plan: Plan, voice: Voice) -> None:
    views = rooms(plan, voice)
    label = voice.label
    page.heading(label("rooms"))
    columns = (
        Column(title=label("order"), cells=tuple(v.order for v in views), rank=3),
        Column(title=label("room"), cells=tuple(v.name for v in views), shrinks=True),
        Column(title=label("area"), cells=tuple(v.area for v in views), rank=8, right=True),
        Column(title=label("kits"), cells=tuple(v.kits for v in views), rank=4, right=True),
        Column(title=label("start"), cells=tuple(v.start for v in views)),
        Column(title=label("end"), cells=tuple(v.end for v in views), rank=5),
        Column(
            title=label("margin"),
            cells=tuple(f"{SHAPES[v.state]} {v.margin}" for v in views),
        ),
        Column(title=label("as_is"), cells=tuple(v.as_is for v in views), rank=6),
        Column(title=label("limit"), cells=tuple(v.limit for v in views), rank=9),
        Column(title=label("walk"), cells=tuple(v.walk for v in views), rank=7),
        Column(title=label("opens"), cells=tuple(v.opens for v in views), rank=2),
    )
    page.table(columns)


def _primers(page: _Page, plan: Plan, voice: Voice) -> None:
    views = primers(plan, voice)
    label = voice.label
    page.heading(label("primers"))
    columns = (
        Column(title=label("room"), cells=tuple(v.room for v in views), shrinks=True),
        Column(title=label("start"), cells=tuple(v.start for v in views)),
        Column(title=label("end"), cells=tuple(v.end for v in views), rank=5),
        Column(title=label("slurry.opens"), cells=tuple(v.opens for v in views), rank=4),
        Column(title=label("slurry.closes"), cells=tuple(v.closes for v in views), rank=2),
        Column(title=label("keeps"), cells=tuple(v.keeps for v in views), rank=8),
    )
    page.table(columns)


def _coats(page: _Page, plan: Plan, voice: Voice) -> None:
    views = coats(plan, voice)
    label = voice.label
    page.heading(label("coats"))
    columns = (
        Column(title=label("room"), cells=tuple(v.room for v in views), shrinks=True),
        Column(title=label("coat"), cells=tuple(str(v.number) for v in views), right=True),
        Column(title=label("window.opens"), cells=tuple(v.opens for v in views), rank=4),
        Column(title=label("start"), cells=tuple(v.start for v in views)),
        Column(title=label("end"), cells=tuple(v.end for v in views), rank=5),
        Column(title=label("window.closes"), cells=tuple(v.closes for v in views), rank=2),
        Column(title=label("keeps"), cells=tuple(v.keeps for v in views), rank=8),
    )
    page.table(columns)


def _calls(page: _Page, plan: Plan, voice: Voice) -> None:
    views = arrival_views(plan, voice)
    label = voice.label
    page.heading(label("calls"))
    columns = (
        Column(title=label("call"), cells=tuple(v.at for v in views)),
        Column(title=label("calls.who"), cells=tuple(v.who for v in views)),
        Column(title=label("for"), cells=tuple(v.roles for v in views), rank=5, shrinks=True),
        Column(title=label("calls.rooms"), cells=tuple(v.rooms for v in views), shrinks=True),
        Column(title=label("calls.leaves"), cells=tuple(v.leaves for v in views), rank=3),
        Column(title=label("calls.hours"), cells=tuple(v.hours for v in views), rank=4),
    )
    page.table(columns)
    page.prose(labour_line(plan, voice))


def _ice(page: _Page, plan: Plan, voice: Voice) -> None:
    page.heading(voice.label("ice"))
    for line in ice_lines(plan, voice):
        page.prose(line)
    views = ice(plan, voice)
    if not views:
        return
    label = voice.label
    columns = (
        Column(title=label("room"), cells=tuple(v.room for v in views), shrinks=True),
        Column(title=label("kits"), cells=tuple(v.kits for v in views), rank=5, right=True),
        Column(title=label("ice"), cells=tuple(v.ice for v in views), right=True, rank=3),
        Column(title=label("ice.by"), cells=tuple(v.by for v in views)),
        Column(title=label("ice.by.stirred"), cells=tuple(v.by_stirred for v in views), rank=6),
        Column(title=label("ice.gain"), cells=tuple(v.gain for v in views), rank=4, right=True),
    )
    page.table(columns)


def _load(page: _Page, plan: Plan, voice: Voice) -> None:
    views = (*load(plan, voice), load_total(plan, voice))
    label = voice.label
    page.heading(label("takeoff"))
    primer = Column(
        title=label("primer"), cells=tuple(v.primer for v in views), rank=5, right=True
    )
    columns = (
        Column(title=label("room"), cells=tuple(v.room for v in views), shrinks=True),
        Column(title=label("area"), cells=tuple(v.area for v in views), rank=6, right=True),
        Column(title=label("kits"), cells=tuple(v.kits for v in views), right=True),
        Column(title=label("bags"), cells=tuple(v.bags for v in views), rank=1, right=True),
        *((primer,) if plan.takeoff.primer_batches else ()),
        Column(
            title=label("topcoat"), cells=tuple(v.coats_sum for v in views), rank=2, right=True
        ),
        Column(title=label("ice"), cells=tuple(v.ice for v in views), rank=4, right=True),
        Column(title=label("left"), cells=tuple(v.left for v in views), rank=8, right=True),
    )
    page.table(columns)
    if plan.takeoff.order:
        page.heading(label("order.title"))
    for line in order_lines(plan, voice):
        page.prose(line, indent="  ", first="- ")


def _alternatives(page: _Page, plan: Plan, voice: Voice) -> None:
    views = alternatives(plan, voice)
    if views:
        page.heading(voice.label("alternatives"))
    for view in views:
        tail = ", ".join(part for part in (view.buys, view.then) if part)
        page.prose(f"{view.what}: {tail}" if tail else view.what, indent="  ", first="- ")


def _sources(page: _Page, plan: Plan, voice: Voice) -> None:
    page.heading(voice.label("risk"))
    for line in risk_lines(plan, voice):
        page.prose(line, indent="  ", first="- ")
    rows = doubt_rows(plan, voice)
    if rows:
        page.heading(voice.label("made_of"))
    for row in rows:
        shown = (f"{row.costs}: {row.term}", row.size, row.measure)
        page.prose(" · ".join(part for part in shown if part), indent="  ", first="- ")
    best = best_measure(plan, voice)
    if best:
        page.prose(best, style="tight")
    page.heading(voice.label("sources"))
    if generic_notice(plan):
        page.prose(voice.label("generic.notice"), style="tight")
    for view in sources(plan, voice):
        mark = f" ({voice.label('generic')})" if view.generic else ""
        parts = [f"{view.label}{mark}", view.licence, view.detail]
        text = " · ".join(part for part in parts if part)
        page.prose(f"{view.kind}: {text}", indent="  ", first="- ")
