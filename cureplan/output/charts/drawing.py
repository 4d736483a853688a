"""Where everything in a picture goes: bars, marks, lines and texts, laid out once.

Painted as SVG in the sheet (`svg`) and by matplotlib in files (`pages`). Lengths are in
units of which a text is 12 high; y runs downwards.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from cureplan.output.charts.layout import (
    Chart,
    ClockChart,
    Line,
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
from cureplan.output.language.clean import folded
from cureplan.planning.plan.model import Plan

__all__ = [
    "CLOCK_KEYS",
    "NAME_LINE",
    "TEXT",
    "WIDTH",
    "Bar",
    "Drawing",
    "Picture",
    "Point",
    "Stroke",
    "Text",
    "bucket_picture",
    "job_pictures",
    "lay_out_buckets",
    "lay_out_rows",
    "lay_out_temperatures",
]

TEXT = 12
# As wide as a phone; files ask for more.
WIDTH = 360.0
EDGE = 6.0
AXIS_HEIGHT = 32.0
SIGN_WIDTH = 8.0
TICK_WIDTH = 60.0
DAY_WIDTH = 62.0
TEMPERATURE_HEIGHT = 170.0
# Bars are told apart by height too: (height, offset below the row's top).
ROW_BARS = {
    "primer": (16, 0),
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
NAME_LINE = 14
BAR_DROP = 16
CLOCK_BARS = {"wet": 0.0, "work": 4.5, "surface": 9.0}
CLOCK_HEIGHT = 3.5
CLOCK_ROW = 17
CLOCK_STEP_MIN = 5
# Room for a bucket's number and hour: "14 20:41", and "14 10:41 PM".
CLOCK_LEFT = {"24 h": 72.0, "12 h": 92.0}
CLOCK_OF_MARK = {"tie": "wet", "smooth": "work", "broadcast": "surface"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A rectangle; x and y are its upper left corner."""

    kind: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A mark with its middle at x, y."""

    kind: str
    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A line through at least one point."""

    kind: str
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A word in the picture, on its base line."""

    x: float
    y: float
    anchor: str
    text: str
    kind: str = "tick"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A picture, laid out; painted in the order grid, bars, lines, points, texts."""

    width: float
    height: float
    bars: tuple[Bar, ...]
    texts: tuple[Text, ...]
    strokes: tuple[Stroke, ...] = ()
    points: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawing, its title, and what its shapes mean: (kind, words)."""

    drawing: Drawing
    title: str
    legend: tuple[tuple[str, str], ...]


def _scale(
    begins: datetime, ends: datetime, left: float, width: float
) -> Callable[[datetime], float]:
    whole = (ends - begins).total_seconds() or 1.0

    def place(at: datetime) -> float:
        share = (at - begins).total_seconds() / whole
        return round(left + share * (width - EDGE - left), 1)

    return place


def _axis(
    places: Sequence[Tick], x_of: Callable[[datetime], float], bottom: float, width: float
) -> tuple[list[Stroke], list[Text]]:
    """Grid lines and the words below them."""
    lines = [
        Stroke(kind="grid", points=((x_of(tick.at), 0.0), (x_of(tick.at), bottom)))
        for tick in places
    ]
    texts = [
        Text(
            x=min(max(x_of(tick.at), EDGE + 12), width - EDGE - 14),
            y=bottom + 13,
            anchor="middle",
            text=tick.clock,
        )
        for tick in places
    ]
    return lines, texts + _days(places, x_of, bottom, width)


def _days(
    places: Sequence[Tick], x_of: Callable[[datetime], float], bottom: float, width: float
) -> list[Text]:
    """Dates below the clock; a day that begins at once takes the place of the one before."""
    days: list[Text] = []
    for tick in places:
        x = min(max(x_of(tick.at), EDGE + 28), width - EDGE - 28)
        if not tick.day:
            continue
        if days and x - days[-1].x < DAY_WIDTH:
            days.pop()
        days.append(Text(x=x, y=bottom + 27, anchor="middle", text=tick.day))
    return days


def lay_out_rows(chart: Chart, voice: Voice, *, width: float = WIDTH) -> Drawing:
    """Floors or coat windows: a name over each bar, the time below all of them."""
    x_of = _scale(chart.begins, chart.ends, EDGE, width)
    names = [folded(name, int((width - 2 * EDGE) / SIGN_WIDTH)) for name in chart.rows]
    # How far each row lies down: a long name takes lines of its own.
    downs = [
        row * ROW_HEIGHT + NAME_LINE * sum(len(lines) - 1 for lines in names[: row + 1])
        for row in range(len(names))
    ]
    bottom = (downs[-1] if downs else -ROW_HEIGHT) + ROW_HEIGHT + 2.0
    places = ticks(chart.begins, chart.ends, voice, most=int(width / TICK_WIDTH))
    grid, texts = _axis(places, x_of, bottom, width)
    texts += [
        Text(
            x=EDGE,
            y=down + LABEL_DROP - NAME_LINE * (len(lines) - 1 - place),
            anchor="start",
            text=line,
            kind="name",
        )
        for down, lines in zip(downs, names, strict=True)
        for place, line in enumerate(lines)
    ]
    return Drawing(
        width=width,
        height=bottom + AXIS_HEIGHT,
        bars=tuple(_row_bar(span, downs[span.row], x_of) for span in _long_first(chart.spans)),
        strokes=tuple(grid),
        points=tuple(
            Point(kind=mark.kind, x=x_of(mark.at), y=downs[mark.row] + BAR_DROP + 8)
            for mark in chart.marks
        ),
        texts=tuple(texts),
    )


def _long_first(spans: Iterable[Span]) -> list[Span]:
    """So that what is laid shows on top of the window it is laid in."""
    return sorted(spans, key=lambda span: span.begins - span.ends)


def _row_bar(span: Span, down: float, x_of: Callable[[datetime], float]) -> Bar:
    height, drop = ROW_BARS[span.kind]
    x = x_of(span.begins)
    y = down + BAR_DROP + drop
    return _bar(span.kind, x, y, x_of(span.ends) - x, height)


def _bar(kind: str, x: float, y: float, width: float, height: float) -> Bar:
    # A bar shorter than a unit would vanish.
    return Bar(kind=kind, x=x, y=y, width=max(width, 1.0), height=height)


def lay_out_buckets(chart: ClockChart, voice: Voice, *, width: float = WIDTH) -> Drawing:
    """Three bars a bucket from its filler on, and a mark where its task falls in each."""
    left = CLOCK_LEFT[voice.clock]
    per_min = (width - 2 * EDGE - left) / chart.last_min
    bottom = len(chart.numbers) * CLOCK_ROW + 2.0

    def x_of(minutes: float) -> float:
        return round(left + minutes * per_min, 1)

    steps = range(0, int(chart.last_min) + 1, CLOCK_STEP_MIN)
    texts = [Text(x=x_of(n), y=bottom + 13, anchor="middle", text=str(n)) for n in steps]
    for row, (number, start) in enumerate(zip(chart.numbers, chart.starts, strict=True)):
        line = row * CLOCK_ROW + 12
        texts.append(Text(x=24, y=line, anchor="end", text=number, kind="name"))
        texts.append(Text(x=left - 6, y=line, anchor="end", text=start))
    bars = [
        _bar(
            span.kind,
            left,
            span.row * CLOCK_ROW + 2 + CLOCK_BARS[span.kind],
            span.ends_min * per_min,
            CLOCK_HEIGHT,
        )
        for span in chart.spans
    ]
    points = []
    for mark in chart.marks:
        lane = CLOCK_BARS[CLOCK_OF_MARK[mark.kind]]
        y = mark.row * CLOCK_ROW + 2 + lane + CLOCK_HEIGHT / 2
        points.append(Point(kind=mark.kind, x=x_of(mark.at_min), y=y))
    return Drawing(
        width=width,
        height=bottom + 18,
        bars=tuple(bars),
        strokes=tuple(
            Stroke(kind="grid", points=((x_of(n), 0.0), (x_of(n), bottom))) for n in steps
        ),
        points=tuple(points),
        texts=tuple(texts),
    )


def lay_out_temperatures(
    chart: TemperatureChart, voice: Voice, *, width: float = WIDTH
) -> Drawing:
    """Lines of temperature, with pours and coats as bands behind them."""
    left = 34.0
    x_of = _scale(chart.begins, chart.ends, left, width)
    marks = _degree_marks(chart)
    low, high = marks[0], marks[-1]

    def y_of(value: float) -> float:
        return round(8 + (high - value) / ((high - low) or 1) * (TEMPERATURE_HEIGHT - 12), 1)

    places = ticks(chart.begins, chart.ends, voice, most=int(width / TICK_WIDTH))
    strokes, texts = _axis(places, x_of, TEMPERATURE_HEIGHT, width)
    for mark in marks:
        strokes.append(
            Stroke(kind="grid", points=((left, y_of(mark)), (width - EDGE, y_of(mark))))
        )
        texts.append(Text(x=left - 4, y=y_of(mark) + 4, anchor="end", text=str(mark)))
    texts.append(Text(x=left + 3, y=y_of(high) + 11, anchor="start", text=chart.unit))
    for line in chart.lines:
        strokes += _pieces(line, x_of, y_of)
    bands = [
        _bar(
            f"band-{span.kind}",
            x_of(span.begins),
            0.0,
            x_of(span.ends) - x_of(span.begins),
            TEMPERATURE_HEIGHT,
        )
        for span in chart.spans
    ]
    return Drawing(
        width=width,
        height=TEMPERATURE_HEIGHT + AXIS_HEIGHT,
        bars=tuple(bands),
        strokes=tuple(strokes),
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


def _pieces(
    line: Line, x_of: Callable[[datetime], float], y_of: Callable[[float], float]
) -> list[Stroke]:
    """A line, broken where nothing is known."""
    pieces: list[list[tuple[float, float]]] = [[]]
    for at, value in line.points:
        if value is None:
            pieces.append([])
        else:
            pieces[-1].append((x_of(at), y_of(value)))
    kind = f"line-{line.kind}"
    return [Stroke(kind=kind, points=tuple(piece)) for piece in pieces if piece]


PRIMER_KEY = ("primer", "legend.primer")
ROOM_KEYS = (
    ("pour", "legend.pour"),
    ("setting", "legend.setting"),
    ("walk", "legend.walkable"),
    ("coat", "legend.coat"),
    ("open", "legend.open"),
    ("needed", "legend.needed"),
)
WINDOW_KEYS = (("window", "legend.window"), ("laid", "legend.laid"))
TEMPERATURE_KEYS = (
    ("line-outdoor", "outdoor"),
    ("line-air", "air"),
    ("line-slab", "slab"),
    ("line-dew", "dew"),
    ("band-pour", "legend.pour"),
    ("band-coat", "legend.coat"),
)
CLOCK_KEYS = (
    ("wet", "clock.wet_edge"),
    ("tie", "legend.tie"),
    ("work", "clock.working_time"),
    ("smooth", "legend.smooth"),
    ("surface", "clock.broadcast"),
    ("broadcast", "legend.broadcast"),
)


def _legend(voice: Voice, keys: Iterable[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    return tuple((kind, voice.label(key)) for kind, key in keys)


def job_pictures(plan: Plan, voice: Voice, *, width: float = WIDTH) -> tuple[Picture, ...]:
    """Floors, temperatures and coat windows through the job; those there is something of."""
    found: list[tuple[Drawing, str, tuple[tuple[str, str], ...]]] = []
    if plan.rooms:
        drawing = lay_out_rows(rooms_chart(plan), voice, width=width)
        keys = (PRIMER_KEY, *ROOM_KEYS) if plan.primers else ROOM_KEYS
        found.append((drawing, "picture.rooms", keys))
    if plan.hours:
        drawing = lay_out_temperatures(temperature_chart(plan), voice, width=width)
        found.append((drawing, "picture.temps", TEMPERATURE_KEYS))
    if plan.coats:
        drawing = lay_out_rows(windows_chart(plan, voice), voice, width=width)
        found.append((drawing, "picture.windows", WINDOW_KEYS))
    return tuple(
        Picture(drawing=drawing, title=voice.label(title), legend=_legend(voice, keys))
        for drawing, title, keys in found
    )


def bucket_picture(plan: Plan, room: str, voice: Voice, *, width: float = WIDTH) -> Picture:
    """One floor's buckets and their three clocks."""
    return Picture(
        drawing=lay_out_buckets(buckets_chart(plan, room, voice), voice, width=width),
        title=voice.label("picture.buckets.of", room=room),
        legend=_legend(voice, CLOCK_KEYS),
    )
