"""Charts as SVG in the sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from cureplan.output.charts.layout import (
    Chart,
    ClockChart,
    Line,
    Mark,
    Span,
    TemperatureChart,
    Tick,
    buckets_chart,
    rooms_chart,
    temperature_chart,
    ticks,
    windows_chart,
)
from cureplan.output.language import Voice
from cureplan.output.language.clean import fit
from cureplan.planning.plan.model import Plan

__all__ = [
    "Drawing",
    "Picture",
    "Shape",
    "Text",
    "bucket_pictures",
    "lay_out_buckets",
    "lay_out_rows",
    "lay_out_temperatures",
    "room_picture",
    "temperature_picture",
    "window_picture",
]

WIDTH = 360
EDGE = 6
AXIS_HEIGHT = 32
LONGEST_LABEL = 44
MOST_TICKS = 6
DAY_WIDTH = 62
TEMPERATURE_HEIGHT = 170
# Bars are told apart by height too: (height, offset below the row's top).
ROW_BARS = {
    "pour": (16, 0),
    "coat": (16, 0),
    "laid": (16, 0),
    "setting": (8, 4),
    "walk": (8, 4),
    "open": (3, 6.5),
    "window": (6, 5),
}
ROW_HEIGHT = 36
LABEL_DROP = 12
BAR_DROP = 16
CLOCK_BARS = {"wet": 0.0, "work": 4.5, "stone": 9.0}
CLOCK_HEIGHT = 3.5
CLOCK_ROW = 17
CLOCK_STEP_MIN = 5
CLOCK_OF_MARK = {"tie": "wet", "smooth": "work", "broadcast": "stone"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """Everything of one kind, as one path."""

    kind: str
    path: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A word in the picture."""

    x: float
    y: float
    anchor: str
    text: str
    kind: str = "tick"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A picture, laid out."""

    width: int
    height: float
    shapes: tuple[Shape, ...]
    texts: tuple[Text, ...]


def _scale(begins: datetime, ends: datetime, left: float) -> Callable[[datetime], float]:
    whole = (ends - begins).total_seconds() or 1.0

    def place(at: datetime) -> float:
        share = (at - begins).total_seconds() / whole
        return round(left + share * (WIDTH - EDGE - left), 1)

    return place


def _bar(x: float, y: float, width: float, height: float) -> str:
    # A bar shorter than a pixel would vanish.
    return f"M{x:g} {y:g}h{max(width, 1):.4g}v{height:g}h{-max(width, 1):.4g}z"


def _mark(kind: str, x: float, y: float) -> str:
    if kind == "tie":
        return f"M{x - 2.5:g} {y:g}a2.5 2.5 0 1 0 5 0a2.5 2.5 0 1 0-5 0z"
    if kind == "smooth":
        return f"M{x - 2.3:g} {y - 2.3:g}h4.6v4.6h-4.6z"
    if kind == "broadcast":
        return f"M{x:g} {y - 3:g}l3 5.4h-6z"
    return f"M{x - 1:g} {y - 9:g}h2v18h-2z"


def _grouped(pieces: Iterable[tuple[str, str]]) -> tuple[Shape, ...]:
    paths: dict[str, list[str]] = {}
    for kind, path in pieces:
        paths.setdefault(kind, []).append(path)
    return tuple(Shape(kind=kind, path="".join(parts)) for kind, parts in paths.items())


def _axis(
    places: Sequence[Tick], x_of: Callable[[datetime], float], bottom: float
) -> tuple[list[tuple[str, str]], list[Text]]:
    """Grid lines and the words below them."""
    lines = [("grid", f"M{x_of(tick.at):g} 0V{bottom:g}") for tick in places]
    texts: list[Text] = []
    for tick in places:
        x = min(max(x_of(tick.at), EDGE + 12), WIDTH - EDGE - 14)
        texts.append(Text(x=x, y=bottom + 13, anchor="middle", text=tick.clock))
    return lines, texts + _days(places, x_of, bottom)


def _days(
    places: Sequence[Tick], x_of: Callable[[datetime], float], bottom: float
) -> list[Text]:
    """Dates below the clock; a day that begins at once takes the place of the one before."""
    days: list[Text] = []
    for tick in places:
        x = min(max(x_of(tick.at), EDGE + 28), WIDTH - EDGE - 28)
        if not tick.day:
            continue
        if days and x - days[-1].x < DAY_WIDTH:
            days.pop()
        days.append(Text(x=x, y=bottom + 27, anchor="middle", text=tick.day))
    return days


def lay_out_rows(chart: Chart, voice: Voice) -> Drawing:
    """Floors or coat windows: a name over each bar, the time below all of them."""
    x_of = _scale(chart.begins, chart.ends, EDGE)
    bottom = len(chart.rows) * ROW_HEIGHT + 2.0
    grid, texts = _axis(ticks(chart.begins, chart.ends, voice, most=MOST_TICKS), x_of, bottom)
    texts += [
        Text(
            x=EDGE,
            y=row * ROW_HEIGHT + LABEL_DROP,
            anchor="start",
            text=fit(name, LONGEST_LABEL),
            kind="name",
        )
        for row, name in enumerate(chart.rows)
    ]
    pieces = grid + [_row_bar(span, x_of) for span in _long_first(chart.spans)]
    pieces += [_row_mark(mark, x_of) for mark in chart.marks]
    return Drawing(
        width=WIDTH, height=bottom + AXIS_HEIGHT, shapes=_grouped(pieces), texts=tuple(texts)
    )


def _long_first(spans: Iterable[Span]) -> list[Span]:
    """So that what is laid shows on top of the window it is laid in."""
    return sorted(spans, key=lambda span: span.begins - span.ends)


def _row_bar(span: Span, x_of: Callable[[datetime], float]) -> tuple[str, str]:
    height, drop = ROW_BARS[span.kind]
    x = x_of(span.begins)
    y = span.row * ROW_HEIGHT + BAR_DROP + drop
    return span.kind, _bar(x, y, x_of(span.ends) - x, height)


def _row_mark(mark: Mark, x_of: Callable[[datetime], float]) -> tuple[str, str]:
    return mark.kind, _mark(mark.kind, x_of(mark.at), mark.row * ROW_HEIGHT + BAR_DROP + 8)


def lay_out_buckets(chart: ClockChart) -> Drawing:
    """Three bars a bucket from its filler on, and a mark where its task falls in each."""
    left = 72.0
    per_min = (WIDTH - 2 * EDGE - left) / chart.last_min
    bottom = len(chart.numbers) * CLOCK_ROW + 2.0
    pieces = []
    texts = []
    for minutes in range(0, int(chart.last_min) + 1, CLOCK_STEP_MIN):
        x = round(left + minutes * per_min, 1)
        pieces.append(("grid", f"M{x:g} 0V{bottom:g}"))
        texts.append(Text(x=x, y=bottom + 13, anchor="middle", text=str(minutes)))
    for row, (number, start) in enumerate(zip(chart.numbers, chart.starts, strict=True)):
        line = row * CLOCK_ROW + 12
        texts.append(Text(x=24, y=line, anchor="end", text=number, kind="name"))
        texts.append(Text(x=left - 6, y=line, anchor="end", text=start))
    for span in chart.spans:
        y = span.row * CLOCK_ROW + 2 + CLOCK_BARS[span.kind]
        pieces.append((span.kind, _bar(left, y, span.ends_min * per_min, CLOCK_HEIGHT)))
    for mark in chart.marks:
        lane = CLOCK_BARS[CLOCK_OF_MARK[mark.kind]]
        y = mark.row * CLOCK_ROW + 2 + lane + CLOCK_HEIGHT / 2
        x = round(left + mark.at_min * per_min, 1)
        pieces.append((mark.kind, _mark(mark.kind, x, y)))
    return Drawing(width=WIDTH, height=bottom + 18, shapes=_grouped(pieces), texts=tuple(texts))


def lay_out_temperatures(chart: TemperatureChart, voice: Voice) -> Drawing:
    """Lines of temperature, with pours and coats as bands behind them."""
    left = 34.0
    x_of = _scale(chart.begins, chart.ends, left)
    marks = _degree_marks(chart)
    low, high = marks[0], marks[-1]

    def y_of(value: float) -> float:
        return round(8 + (high - value) / ((high - low) or 1) * (TEMPERATURE_HEIGHT - 12), 1)

    grid, texts = _axis(
        ticks(chart.begins, chart.ends, voice, most=MOST_TICKS), x_of, TEMPERATURE_HEIGHT
    )
    for mark in marks:
        grid.append(("grid", f"M{left:g} {y_of(mark):g}H{WIDTH - EDGE}"))
        label = f"{mark} {chart.unit}" if mark == high else str(mark)
        texts.append(Text(x=left - 4, y=y_of(mark) + 4, anchor="end", text=label.split()[0]))
    texts.append(Text(x=left + 3, y=y_of(high) + 11, anchor="start", text=chart.unit))
    bands = [
        (
            f"band-{span.kind}",
            _bar(x_of(span.begins), 0, x_of(span.ends) - x_of(span.begins), TEMPERATURE_HEIGHT),
        )
        for span in chart.spans
    ]
    lines = [(f"line-{line.kind}", _polyline(line, x_of, y_of)) for line in chart.lines]
    return Drawing(
        width=WIDTH,
        height=TEMPERATURE_HEIGHT + AXIS_HEIGHT,
        shapes=_grouped([*bands, *grid, *lines]),
        texts=tuple(texts),
    )


def _degree_marks(chart: TemperatureChart) -> list[int]:
    """Round temperatures that hold all lines between the first and the last."""
    values = [value for line in chart.lines for _, value in line.points if value is not None]
    low, high = min(values, default=0.0), max(values, default=1.0)
    step = next((step for step in (1, 2, 5, 10, 20) if (high - low) / step <= 6), 50)
    first = int(low // step) * step
    last = -int(-high // step) * step
    return list(range(first, max(last, first + step) + step, step))


def _polyline(
    line: Line, x_of: Callable[[datetime], float], y_of: Callable[[float], float]
) -> str:
    path = []
    pen = "M"
    for at, value in line.points:
        if value is None:
            pen = "M"
            continue
        path.append(f"{pen}{x_of(at):g} {y_of(value):g}")
        pen = "L"
    return "".join(path)


# One small sample of each kind, as it looks in the picture.
_SAMPLES = {
    "pour": "M1 1h20v12h-20z",
    "coat": "M1 1h20v12h-20z",
    "laid": "M1 1h20v12h-20z",
    "setting": "M1 4h20v7h-20z",
    "walk": "M1 4h20v7h-20z",
    "open": "M1 6h20v3h-20z",
    "window": "M1 4h20v6h-20z",
    "wet": "M1 5h20v4h-20z",
    "work": "M1 5h20v4h-20z",
    "stone": "M1 5h20v4h-20z",
    "needed": "M10 0h2v14h-2z",
    "tie": "M8 7a3 3 0 1 0 6 0a3 3 0 1 0-6 0z",
    "smooth": "M8 4h6v6h-6z",
    "broadcast": "M11 3l4 7h-8z",
    "line": "M1 7H21",
    "band": "M1 1h20v12h-20z",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawing, its title, and what its shapes mean: (kind, sample, words)."""

    drawing: Drawing
    title: str
    legend: tuple[tuple[str, str, str], ...]


def _legend(voice: Voice, *keys: tuple[str, str]) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (kind, _SAMPLES[kind if kind in _SAMPLES else kind.split("-")[0]], voice.label(key))
        for kind, key in keys
    )


def room_picture(plan: Plan, voice: Voice) -> Picture | None:
    """Floors from first bucket to opening; None without floors."""
    if not plan.rooms:
        return None
    return Picture(
        drawing=lay_out_rows(rooms_chart(plan), voice),
        title=voice.label("picture.rooms"),
        legend=_legend(
            voice,
            ("pour", "legend.pour"),
            ("setting", "legend.setting"),
            ("walk", "legend.walkable"),
            ("coat", "legend.coat"),
            ("open", "legend.open"),
            ("needed", "legend.needed"),
        ),
    )


def window_picture(plan: Plan, voice: Voice) -> Picture | None:
    """When each coat may go on; None without coats."""
    if not plan.coats:
        return None
    return Picture(
        drawing=lay_out_rows(windows_chart(plan, voice), voice),
        title=voice.label("picture.windows"),
        legend=_legend(voice, ("window", "legend.window"), ("laid", "legend.laid")),
    )


def temperature_picture(plan: Plan, voice: Voice) -> Picture | None:
    """Temperatures through the job; None without hours."""
    if not plan.hours:
        return None
    return Picture(
        drawing=lay_out_temperatures(temperature_chart(plan), voice),
        title=voice.label("picture.temps"),
        legend=_legend(
            voice,
            ("line-outdoor", "outdoor"),
            ("line-air", "air"),
            ("line-slab", "slab"),
            ("line-dew", "dew"),
            ("band-pour", "legend.pour"),
            ("band-coat", "legend.coat"),
        ),
    )


def bucket_pictures(plan: Plan, voice: Voice) -> dict[str, Picture]:
    """Each floor's buckets and their three clocks."""
    legend = _legend(
        voice,
        ("wet", "clock.wet_edge"),
        ("tie", "legend.tie"),
        ("work", "clock.working_time"),
        ("smooth", "legend.smooth"),
        ("stone", "clock.broadcast"),
        ("broadcast", "legend.broadcast"),
    )
    return {
        room.room: Picture(
            drawing=lay_out_buckets(buckets_chart(plan, room.room, voice)),
            title=voice.label("picture.buckets.of", room=room.room),
            legend=legend,
        )
        for room in plan.rooms
    }
