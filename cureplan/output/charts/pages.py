"""Charts as pages, painted by matplotlib."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from cureplan.output.charts.layout import Chart, ClockChart, TemperatureChart
from cureplan.output.charts.palette import LIGHT
from cureplan.output.charts.style import (
    BARS,
    LINES,
    drawable,
    hours,
    name_rows,
    plain_frame,
    put_bars,
    put_legend,
    put_marks,
    put_title,
    sample,
    span_bars,
    time_axis,
)
from cureplan.output.language import Voice

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from cureplan.output.charts.layout import (
    buckets_chart,
    rooms_chart,
    temperature_chart,
    windows_chart,
)
from cureplan.output.charts.style import FONT
from cureplan.output.language.clean import one_line
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.model import Plan

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "clock_samples",
    "draw_buckets",
    "draw_rooms",
    "draw_temperatures",
    "draw_windows",
    "plan_pictures",
]

LANES: Mapping[str, float] = {"wet": -0.27, "work": 0.0, "stone": 0.27}
LANE_OF_MARK: Mapping[str, str] = {"tie": "wet", "smooth": "work", "broadcast": "stone"}
CLOCK_KEYS = (
    ("wet", "clock.wet_edge"),
    ("tie", "legend.tie"),
    ("work", "clock.working_time"),
    ("smooth", "legend.smooth"),
    ("stone", "clock.broadcast"),
    ("broadcast", "legend.broadcast"),
)


def draw_rooms(axes: Axes, chart: Chart, voice: Voice) -> Axes:
    """Each floor through the job."""
    name_rows(axes, chart.rows, size=9)
    span_bars(axes, chart)
    put_marks(axes, "needed", [(hours(mark.at), mark.row) for mark in chart.marks], size=16)
    for span in chart.spans:
        if span.text:
            middle = (hours(span.begins) + hours(span.ends)) / 2
            axes.text(
                middle,
                span.row - 0.42,
                span.text,
                ha="center",
                va="bottom",
                fontsize=7,
                color=LIGHT["ink"],
            )
    time_axis(axes, chart.begins, chart.ends, voice)
    put_title(axes, voice.label("picture.rooms"))
    keys = ("pour", "setting", "walk", "coat", "open", "needed")
    names = {"walk": "walkable"}
    put_legend(axes, tuple((key, f"legend.{names.get(key, key)}") for key in keys), voice)
    return axes


def draw_windows(axes: Axes, chart: Chart, voice: Voice) -> Axes:
    """When each coat may go on, and when it does."""
    name_rows(axes, chart.rows, size=9)
    span_bars(axes, chart)
    time_axis(axes, chart.begins, chart.ends, voice)
    put_title(axes, voice.label("picture.windows"))
    put_legend(axes, (("window", "legend.window"), ("laid", "legend.laid")), voice)
    return axes


def draw_temperatures(axes: Axes, chart: TemperatureChart, voice: Voice) -> Axes:
    """Temperatures through the job, with pours and coats marked."""
    for span in chart.spans:
        axes.axvspan(
            hours(span.begins),
            hours(span.ends),
            color=LIGHT[BARS[span.kind][0]],
            alpha=0.22,
            linewidth=0,
            hatch="///" if span.kind == "coat" else None,
        )
    for line in chart.lines:
        colour, dash, width = LINES[line.kind]
        axes.plot(
            [hours(at) for at, _ in line.points],
            [float("nan") if value is None else value for _, value in line.points],
            color=LIGHT[colour],
            linestyle=dash,
            linewidth=width,
        )
    axes.tick_params(axis="y", labelsize=8)
    axes.grid(axis="y", color=LIGHT["line"], linewidth=0.6)
    axes.set_ylabel(chart.unit, fontsize=8, rotation=0, labelpad=10)
    time_axis(axes, chart.begins, chart.ends, voice)
    put_title(axes, voice.label("picture.temps"))
    keys = (
        ("outdoor", "outdoor"),
        ("air", "air"),
        ("slab", "slab"),
        ("dew", "dew"),
        ("pour", "legend.pour"),
        ("coat", "legend.coat"),
    )
    put_legend(axes, keys, voice)
    return axes


def draw_buckets(axes: Axes, chart: ClockChart, voice: Voice, *, title: str) -> Axes:
    """Each bucket's three clocks from its filler on, and what must beat them."""
    rows = zip(chart.numbers, chart.starts, strict=True)
    name_rows(axes, (f"{number}   {start}" for number, start in rows), size=7)
    for kind in LANES:
        spans = (span for span in chart.spans if span.kind == kind)
        put_bars(axes, kind, ((span.row + LANES[kind], 0.0, span.ends_min) for span in spans))
    for kind, lane in LANE_OF_MARK.items():
        marks = (mark for mark in chart.marks if mark.kind == kind)
        put_marks(
            axes, kind, [(mark.at_min, mark.row + LANES[lane]) for mark in marks], size=4.0
        )
    axes.set_xlim(0, chart.last_min)
    axes.tick_params(axis="x", labelsize=7)
    axes.grid(axis="x", color=LIGHT["line"], linewidth=0.6)
    axes.set_xlabel(voice.label("picture.minutes"), fontsize=7)
    plain_frame(axes)
    put_title(axes, drawable(title))
    return axes


def clock_samples(voice: Voice) -> list[Artist]:
    """How the clocks and their tasks look, for a legend over several rooms."""
    return [sample(kind, voice.label(key)) for kind, key in CLOCK_KEYS]


WIDTH_IN = 11.0
DPI = 100
LEFT_IN = 1.9
RIGHT_IN = 0.35
# Above each panel its title, below it the time.
TITLE_IN = 0.45
AXIS_IN = 0.5
BUCKET_COLUMNS = 3
BUCKET_LEFT_IN = 0.85
BUCKET_ROW_IN = 0.17
LEGEND_IN = 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """Something to draw, and how high it is without title and axis."""

    height_in: float
    draw: Callable[[Axes], Axes]


def plan_pictures(plan: Plan) -> dict[str, bytes]:
    """Every picture of a plan, as files.

    Not for the sheet, which lays out its own from the same charts.
    """
    import matplotlib

    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(
            {
                "font.family": [FONT],
                "text.color": LIGHT["ink"],
                "xtick.color": LIGHT["ink"],
                "ytick.color": LIGHT["ink"],
                "hatch.linewidth": 0.6,
            }
        )
        voice = voice_of(plan)
        figures = [_overview_figure(_overview(plan, voice))]
        columns = _bucket_columns(plan, voice)
        if columns:
            figures.append(_bucket_figure(columns, voice))
        # Laid out once, drawn twice: layout is half the work.
        return {"png": _png(figures), "pdf": _pdf(figures)}


def _overview(plan: Plan, voice: Voice) -> list[Panel]:
    rooms, windows = rooms_chart(plan), windows_chart(plan, voice)
    temperatures = temperature_chart(plan)
    panels = []
    if rooms.rows:
        panels.append(
            Panel(
                height_in=0.34 * len(rooms.rows),
                draw=lambda axes: draw_rooms(axes, rooms, voice),
            )
        )
    if plan.hours:
        panels.append(
            Panel(height_in=1.7, draw=lambda axes: draw_temperatures(axes, temperatures, voice))
        )
    if windows.rows:
        panels.append(
            Panel(
                height_in=0.26 * len(windows.rows),
                draw=lambda axes: draw_windows(axes, windows, voice),
            )
        )
    return panels


def _bucket_columns(plan: Plan, voice: Voice) -> list[list[Panel]]:
    """One panel a room, dealt over columns in the order poured."""
    rooms = sorted(plan.rooms, key=lambda room: room.order)
    charts = [(room.room, buckets_chart(plan, room.room, voice)) for room in rooms]
    charts = [(room, chart) for room, chart in charts if chart.numbers]
    columns: list[list[Panel]] = [[] for _ in range(min(BUCKET_COLUMNS, len(charts)))]
    for room, chart in charts:
        min(columns, key=_column_height_in).append(_bucket_panel(room, chart, voice))
    return columns


def _bucket_panel(room: str, chart: ClockChart, voice: Voice) -> Panel:
    return Panel(
        height_in=max(BUCKET_ROW_IN * len(chart.numbers), 0.3),
        draw=lambda axes: draw_buckets(axes, chart, voice, title=one_line(room)),
    )


def _column_height_in(panels: Sequence[Panel]) -> float:
    return sum(panel.height_in + TITLE_IN + AXIS_IN for panel in panels)


def _empty_figure(height_in: float) -> Figure:
    from matplotlib.figure import Figure

    return Figure(figsize=(WIDTH_IN, max(height_in, 1.0)), dpi=DPI, facecolor=LIGHT["card"])


def _overview_figure(panels: Sequence[Panel]) -> Figure:
    """Wide panels below one another."""
    height_in = _column_height_in(panels)
    figure = _empty_figure(height_in)
    _place(figure, panels, top_in=height_in, left_in=LEFT_IN, right_in=WIDTH_IN - RIGHT_IN)
    return figure


def _bucket_figure(columns: Sequence[Sequence[Panel]], voice: Voice) -> Figure:
    """Rooms side by side, under one title and one legend."""
    height_in = max(_column_height_in(column) for column in columns) + LEGEND_IN
    figure = _empty_figure(height_in)
    width_in = (WIDTH_IN - RIGHT_IN) / len(columns)
    for place, column in enumerate(columns):
        _place(
            figure,
            column,
            top_in=height_in - LEGEND_IN,
            left_in=place * width_in + BUCKET_LEFT_IN,
            right_in=(place + 1) * width_in,
        )
    top = 1 - 0.12 / height_in
    figure.text(
        BUCKET_LEFT_IN / WIDTH_IN,
        top,
        voice.label("picture.buckets"),
        fontsize=12,
        fontweight="bold",
        va="top",
    )
    figure.legend(
        handles=clock_samples(voice),
        loc="upper right",
        bbox_to_anchor=(1 - RIGHT_IN / WIDTH_IN, top + 0.1 / height_in),
        ncols=6,
        fontsize=8,
        frameon=False,
    )
    return figure


def _place(
    figure: Figure, panels: Sequence[Panel], *, top_in: float, left_in: float, right_in: float
) -> None:
    width_in, total_in = figure.get_size_inches()
    for panel in panels:
        bottom_in = top_in - TITLE_IN - panel.height_in
        box = (
            left_in / width_in,
            bottom_in / total_in,
            (right_in - left_in) / width_in,
            panel.height_in / total_in,
        )
        panel.draw(figure.add_axes(box))
        top_in = bottom_in - AXIS_IN


def _png(figures: Sequence[Figure]) -> bytes:
    import numpy as np
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    drawn = []
    for figure in figures:
        canvas = FigureCanvasAgg(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
        drawn.append(np.asarray(canvas.buffer_rgba())[..., :3])  # type: ignore[no-untyped-call]
    out = io.BytesIO()
    Image.fromarray(np.concatenate(drawn)).save(out, format="png", compress_level=4)
    return out.getvalue()


def _pdf(figures: Sequence[Figure]) -> bytes:
    from matplotlib.backends.backend_pdf import PdfPages

    out = io.BytesIO()
    with PdfPages(out, metadata={"CreationDate": None}) as pages:
        for figure in figures:
            pages.savefig(figure)
    return out.getvalue()
