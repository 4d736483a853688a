"""What the drawn pictures share: styles, bars, marks, legends, the time axis."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING, Literal

from cureplan.output.charts.layout import Chart, ticks
from cureplan.output.charts.palette import LIGHT
from cureplan.output.language import Voice
from cureplan.output.language.clean import fit

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

__all__ = [
    "BARS",
    "FONT",
    "LINES",
    "drawable",
    "hours",
    "name_rows",
    "plain_frame",
    "put_bars",
    "put_legend",
    "put_marks",
    "put_title",
    "sample",
    "span_bars",
    "time_axis",
]

LONGEST_NAME = 26
Dash = Literal["-", "--", ":"]
FONT = "DejaVu Sans"
# Told apart by height and hatching as well as by colour: (colour, height, hatch).
BARS: Mapping[str, tuple[str, float, str]] = {
    "pour": ("accent", 0.8, ""),
    "setting": ("setting", 0.3, "////"),
    "walk": ("walk", 0.3, ""),
    "coat": ("coat", 0.8, ""),
    "open": ("kept", 0.14, ""),
    "window": ("coat", 0.24, ""),
    "laid": ("accent", 0.7, ""),
    "wet": ("wet", 0.22, ""),
    "work": ("work", 0.22, ""),
    "stone": ("stone", 0.22, ""),
}
MARKERS: Mapping[str, tuple[str, str]] = {
    "tie": ("o", "ink"),
    "smooth": ("s", "ink"),
    "broadcast": ("^", "ink"),
    "needed": ("|", "short"),
}
LINES: Mapping[str, tuple[str, Dash, float]] = {
    "outdoor": ("ink", "-", 1.8),
    "dew": ("wet", ":", 1.8),
    "air": ("tight", "--", 1.2),
    "slab": ("short", "-", 1.2),
}
# One bar: row (with its lane), first and last place on the axis.
Bar = tuple[float, float, float]


@cache
def _known_signs() -> frozenset[int]:
    from matplotlib.font_manager import findfont
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(findfont(FONT)).get_charmap())


def drawable(text: str) -> str:
    """A text cut to fit; signs the font lacks show as a box."""
    known = _known_signs()
    return fit("".join(sign if ord(sign) in known else "□" for sign in text), LONGEST_NAME)


def hours(instant: datetime) -> float:
    return instant.timestamp() / 3600


def plain_frame(axes: Axes) -> None:
    axes.set_axisbelow(True)
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)


def time_axis(axes: Axes, begins: datetime, ends: datetime, voice: Voice) -> None:
    places = ticks(begins, ends, voice, most=16)
    axes.set_xlim(hours(begins), hours(ends))
    axes.set_xticks(
        [hours(tick.at) for tick in places],
        [f"{tick.clock}\n{tick.day}" if tick.day else tick.clock for tick in places],
        fontsize=8,
    )
    axes.grid(axis="x", color=LIGHT["line"], linewidth=0.6)
    plain_frame(axes)


def name_rows(axes: Axes, names: Iterable[str], *, size: float) -> None:
    """Names beside the rows, as bare texts: ticks would cost several times as much."""
    labels = [drawable(name) for name in names]
    axes.set_ylim(len(labels) - 0.4, -0.6)
    axes.set_yticks([])
    beside = axes.get_yaxis_transform()
    for row, label in enumerate(labels):
        axes.text(
            -0.008,
            row,
            label,
            transform=beside,
            ha="right",
            va="center",
            fontsize=size,
            parse_math=False,
        )


def put_title(axes: Axes, text: str) -> None:
    title = axes.set_title(text, loc="left", fontsize=11, fontweight="bold", color=LIGHT["ink"])
    title.set_parse_math(False)


def put_bars(axes: Axes, kind: str, bars: Iterable[Bar]) -> None:
    """All bars of one kind as one artist: hundreds of single ones would take seconds."""
    from matplotlib.collections import PolyCollection

    colour, height, hatch = BARS[kind]
    half = height / 2
    corners = [
        [(left, row - half), (right, row - half), (right, row + half), (left, row + half)]
        for row, left, right in bars
    ]
    if corners:
        axes.add_collection(
            PolyCollection(
                corners,
                facecolors="none" if hatch else LIGHT[colour],
                edgecolors=LIGHT[colour],
                linewidths=0.6,
                hatch=hatch or None,
            ),
            autolim=False,
        )


def span_bars(axes: Axes, chart: Chart) -> None:
    for kind in BARS:
        spans = (span for span in chart.spans if span.kind == kind)
        put_bars(
            axes, kind, ((span.row, hours(span.begins), hours(span.ends)) for span in spans)
        )


def put_marks(axes: Axes, kind: str, places: list[tuple[float, float]], *, size: float) -> None:
    if not places:
        return
    marker, colour = MARKERS[kind]
    axes.plot(
        [x for x, _ in places],
        [y for _, y in places],
        linestyle="none",
        marker=marker,
        markersize=size,
        markeredgewidth=2.0 if marker == "|" else 0.7,
        markeredgecolor=LIGHT[colour],
        markerfacecolor=LIGHT["card"],
        clip_on=False,
    )


def sample(kind: str, label: str) -> Artist:
    """How a kind looks, for the legend."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    if kind in MARKERS:
        marker, colour = MARKERS[kind]
        return Line2D(
            [],
            [],
            linestyle="none",
            marker=marker,
            markerfacecolor=LIGHT["card"],
            markeredgecolor=LIGHT[colour],
            label=label,
        )
    if kind in LINES:
        colour, dash, width = LINES[kind]
        return Line2D([], [], color=LIGHT[colour], linestyle=dash, linewidth=width, label=label)
    colour, _, hatch = BARS[kind]
    return Patch(
        facecolor="none" if hatch else LIGHT[colour],
        edgecolor=LIGHT[colour],
        hatch=hatch or None,
        label=label,
    )


def put_legend(axes: Axes, keys: tuple[tuple[str, str], ...], voice: Voice) -> None:
    handles = [sample(kind, voice.label(key)) for kind, key in keys]
    axes.legend(
        handles=handles,
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        ncols=len(handles),
        fontsize=8,
        frameon=False,
        borderaxespad=0.2,
        handletextpad=0.5,
        columnspacing=1.2,
    )
