"""The pictures as files: one tall image, or a document of two pages."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cureplan.plan import Plan
from cureplan.plots.draw import (
    clock_samples,
    draw_buckets,
    draw_rooms,
    draw_temperatures,
    draw_windows,
)
from cureplan.plots.ink import FONT
from cureplan.plots.spans import (
    ClockChart,
    buckets_chart,
    rooms_chart,
    temperature_chart,
    windows_chart,
)
from cureplan.sheets.palette import LIGHT
from cureplan.sheets.view import voice_of
from cureplan.sheets.words import Voice
from cureplan.sheets.words.clean import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["plan_pictures"]

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

    Parameters
    ----------
    plan : Plan
        What to draw.

    Returns
    -------
    dict of str to bytes
        "png": one tall image. "pdf": the job on the first page, its buckets on the next.
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
