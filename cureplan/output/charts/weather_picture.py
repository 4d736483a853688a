"""The weather of a job as a picture: outdoors, rooms, slabs, dew point, night and day."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.inputs.job.model import Job
from cureplan.output.charts.palette import LIGHT
from cureplan.output.charts.style import FONT, drawable, put_title, time_axis
from cureplan.output.charts.style import hours as place_of
from cureplan.output.language import Voice
from cureplan.output.text.weather import shown_hours
from cureplan.planning.floor.weather_hours import WeatherHours
from cureplan.weather.hours.series import utc_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_weather", "night_spans", "weather_png"]

WIDTH_IN, AXES_IN, ABOVE_IN, AXIS_IN = 11.0, 3.7, 0.45, 0.55
LEGEND_COLUMNS, LEGEND_ROW_IN = 4, 0.19
DPI = 100
HOUR_S = 3600.0
ROOM_COLOURS = ("short", "coat", "work", "surface", "walk", "accent")
# Kinds of source, told apart by hatching as well as by words.
HATCHES: Mapping[str, str] = {
    "observed": "",
    "file": "",
    "forecast": "///",
    "interpolated": "xxx",
}
STRIP = 0.035
"""Height of the strip that says where the hours come from, of the axes' height."""


def weather_png(job: Job, hours: WeatherHours) -> bytes:
    """The picture as a file's content."""
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(
            {"font.family": [FONT], "text.color": LIGHT["ink"], "hatch.linewidth": 0.6}
        )
        # Each group of rooms adds two lines to the legend below.
        keys = 4 + 2 * len(hours.rooms) + len(HATCHES)
        below_in = AXIS_IN + LEGEND_ROW_IN * (1 + -(-keys // LEGEND_COLUMNS))
        height_in = ABOVE_IN + AXES_IN + below_in
        figure = Figure(figsize=(WIDTH_IN, height_in), dpi=DPI, facecolor=LIGHT["card"])
        box = (0.06, below_in / height_in, 0.92, AXES_IN / height_in)
        draw_weather(figure.add_axes(box), job, hours)
        out = io.BytesIO()
        figure.savefig(out, format="png", metadata={"Software": None})
        return out.getvalue()


def draw_weather(axes: Axes, job: Job, hours: WeatherHours) -> Axes:
    """Draw the hours of a job and the half-day before it."""
    rows = shown_hours(job, hours)
    epoch_s = hours.series.epoch_s[rows]
    for begins_s, ends_s in night_spans(epoch_s, hours.sun_deg[rows]):
        axes.axvspan(
            begins_s / HOUR_S, ends_s / HOUR_S, color=LIGHT["line"], alpha=0.45, linewidth=0
        )
    for instant in (job.access.begins, job.access.open_by):
        axes.axvline(place_of(instant), color=LIGHT["soft"], linewidth=1.2, linestyle="-.")
    _curves(axes, job, hours, rows)
    kinds = _source_strip(axes, hours, rows)
    axes.tick_params(axis="y", labelsize=8)
    axes.grid(axis="y", color=LIGHT["line"], linewidth=0.6)
    unit = "°F" if job.display == "us" else "°C"
    axes.set_ylabel(unit, fontsize=8, rotation=0, labelpad=10)
    voice = Voice(language="en", display=job.display, clock=job.clock, zone=job.site.zone)
    begins, ends = (utc_of(float(at)).astimezone(job.site.zone) for at in epoch_s[[0, -1]])
    time_axis(axes, begins, ends, voice)
    put_title(axes, drawable(job.site.name))
    _legend(axes, kinds)
    return axes


def night_spans(epoch_s: ArrayLike, sun_deg: ArrayLike) -> list[tuple[float, float]]:
    """Spans in which the sun is down, edges by a straight line between hours [epoch s].

    Examples
    --------
    >>> night_spans([0, 3600, 7200, 10800], [10.0, -10.0, -10.0, 30.0])
    [(1800.0, 8100.0)]
    """
    times = np.asarray(epoch_s, dtype=np.float64)
    height = np.asarray(sun_deg, dtype=np.float64)
    down = height < 0
    edges = np.flatnonzero(down[1:] != down[:-1])
    share = height[edges] / (height[edges] - height[edges + 1])
    crossed = (times[edges] + share * (times[edges + 1] - times[edges])).tolist()
    if down[0]:
        crossed.insert(0, float(times[0]))
    if down[-1]:
        crossed.append(float(times[-1]))
    return list(zip(crossed[::2], crossed[1::2], strict=True))


def _curves(axes: Axes, job: Job, hours: WeatherHours, rows: NDArray[np.int64]) -> None:
    places = hours.series.epoch_s[rows] / HOUR_S

    def show(temps_c: NDArray[np.float64]) -> NDArray[np.float64]:
        shown = temps_c[rows]
        return shown * 1.8 + 32.0 if job.display == "us" else shown

    axes.plot(
        places, show(hours.series.temp_c), color=LIGHT["ink"], linewidth=1.8, label="Outdoors"
    )
    axes.plot(
        places,
        show(hours.series.dew_c),
        color=LIGHT["wet"],
        linestyle=":",
        linewidth=1.8,
        label="Dew point",
    )
    for number, alike in enumerate(hours.rooms):
        colour = LIGHT[ROOM_COLOURS[number % len(ROOM_COLOURS)]]
        name, here = _room_name(alike.rooms), alike.conditions
        axes.plot(
            places,
            show(here.air_c),
            color=colour,
            linestyle="--",
            linewidth=1.2,
            label=f"Air: {name}",
        )
        axes.plot(
            places,
            show(here.slab_c),
            color=colour,
            linewidth=1.2,
            label=f"Slab: {name}" if here.sun_k is None else f"Slab in the sun: {name}",
        )
        if here.sun_k is not None:
            axes.plot(
                places,
                show(here.shade.slab_c),
                color=colour,
                linestyle="-.",
                linewidth=1.2,
                label=f"Slab in the shade: {name}",
            )


def _room_name(rooms: Sequence[str]) -> str:
    return drawable(rooms[0]) + (f" +{len(rooms) - 1}" if len(rooms) > 1 else "")


def _source_strip(axes: Axes, hours: WeatherHours, rows: NDArray[np.int64]) -> list[str]:
    """A strip along the foot that says which kind of source each hour has."""
    kinds = [hours.series.origins[int(number)].kind for number in hours.series.origin[rows]]
    for kind, first, last in _runs(kinds):
        begins, ends = hours.series.epoch_s[rows[[first, last]]] / HOUR_S
        axes.axvspan(
            begins - 0.5,
            ends + 0.5,
            ymax=STRIP,
            facecolor=LIGHT["accent-paper"],
            edgecolor=LIGHT["accent"],
            hatch=HATCHES[kind],
            linewidth=0.6,
        )
    return list(dict.fromkeys(kinds))


def _runs(kinds: Sequence[str]) -> Iterator[tuple[str, int, int]]:
    first = 0
    for place in range(1, len(kinds) + 1):
        if place == len(kinds) or kinds[place] != kinds[first]:
            yield kinds[first], first, place - 1
            first = place


def _legend(axes: Axes, kinds: Sequence[str]) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = list(axes.get_legend_handles_labels()[0])
    handles.append(Patch(facecolor=LIGHT["line"], alpha=0.45, label="Sun down"))
    handles.append(Line2D([], [], color=LIGHT["soft"], linestyle="-.", label="From, open by"))
    handles += [
        Patch(
            facecolor=LIGHT["accent-paper"],
            edgecolor=LIGHT["accent"],
            hatch=HATCHES[kind],
            label=f"Foot: {kind}",
        )
        for kind in kinds
    ]
    legend = axes.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(0.0, -0.13),
        ncols=LEGEND_COLUMNS,
        fontsize=8,
        frameon=False,
        borderaxespad=0.0,
    )
    for text in legend.get_texts():
        text.set_parse_math(False)
