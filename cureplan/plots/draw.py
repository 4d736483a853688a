"""Pictures drawn with matplotlib: each function takes axes and a chart, returns the axes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from cureplan.plots.ink import (
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
from cureplan.plots.spans import Chart, ClockChart, TemperatureChart
from cureplan.sheets.palette import LIGHT
from cureplan.sheets.words import Voice

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

__all__ = [
    "clock_samples",
    "draw_buckets",
    "draw_rooms",
    "draw_temperatures",
    "draw_windows",
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
    """Each floor through the job.

    Parameters
    ----------
    axes : Axes
        Drawn into.
    chart : Chart
        From `rooms_chart`.
    voice : Voice
        Language, units and zone.
    """
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
    """When each coat may go on, and when it does.

    Parameters
    ----------
    axes : Axes
        Drawn into.
    chart : Chart
        From `windows_chart`.
    voice : Voice
        Language, units and zone.
    """
    name_rows(axes, chart.rows, size=9)
    span_bars(axes, chart)
    time_axis(axes, chart.begins, chart.ends, voice)
    put_title(axes, voice.label("picture.windows"))
    put_legend(axes, (("window", "legend.window"), ("laid", "legend.laid")), voice)
    return axes


def draw_temperatures(axes: Axes, chart: TemperatureChart, voice: Voice) -> Axes:
    """Temperatures through the job, with pours and coats marked.

    Parameters
    ----------
    axes : Axes
        Drawn into.
    chart : TemperatureChart
        From `temperature_chart`.
    voice : Voice
        Language, units and zone.
    """
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
    """Each bucket's three clocks from its filler on, and what must beat them.

    Parameters
    ----------
    axes : Axes
        Drawn into.
    chart : ClockChart
        From `buckets_chart`.
    voice : Voice
        Language, units and zone.
    title : str
        The room's name. What the shapes mean is said once, by `clock_samples`.
    """
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
