"""Drawings painted by matplotlib: on axes of your own, and as the files of a plan."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Sequence
from importlib.util import LazyLoader, find_spec, module_from_spec
from typing import TYPE_CHECKING, Any

from cureplan.output.charts.drawing import (
    CLOCK_KEYS,
    NAME_LINE,
    TEXT,
    Drawing,
    Picture,
    bucket_picture,
    job_pictures,
)
from cureplan.output.charts.floor_map import MAP_KEYS, map_picture
from cureplan.output.charts.palette import LIGHT
from cureplan.output.charts.style import FONT, LONGEST_NAME, STYLES, Style, known
from cureplan.output.language import Voice
from cureplan.output.language.clean import folded, one_line
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.model import Plan

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["paint", "paint_picture", "plan_pictures"]

# A text of 12 units is 9 points high on a page of 11 inches.
UNIT_PT = 0.75
WIDTH_IN = 11.0
DPI = 100
EDGE = 20.0
WIDTH = WIDTH_IN * 72 / UNIT_PT - 2 * EDGE
TITLE = 30.0
GAP = 14.0
ROOM_COLUMNS = 3
MARKERS = {"round": "o", "square": "s", "wedge": "^", "post": "|"}
MARKER_SIZES = {"post": 14.0}
HATCHES = {"forward": "////", "back": "\\\\\\\\", "upright": "||||||"}
ANCHORS = {"start": "left", "middle": "center", "end": "right"}


def paint(axes: Axes, drawing: Drawing) -> Axes:
    """Paint a drawing on axes, which lose their own scales.

    All of one kind is one artist: hundreds of single bars would take seconds.
    """
    axes.set_xlim(0, drawing.width)
    axes.set_ylim(drawing.height, 0)
    # No scale is shown: what nobody sees is not laid out either.
    axes.set_xticks([])
    axes.set_yticks([])
    axes.axis("off")
    for kind in dict.fromkeys(stroke.kind for stroke in drawing.strokes):
        _strokes(axes, drawing, kind)
    for kind in dict.fromkeys(bar.kind for bar in drawing.bars):
        _bars(axes, drawing, kind)
    for kind in dict.fromkeys(point.kind for point in drawing.points):
        places = [(point.x, point.y) for point in drawing.points if point.kind == kind]
        axes.plot(*zip(*places, strict=True), **_marker(STYLES[kind]), clip_on=False)
    for text in drawing.texts:
        axes.text(
            text.x,
            text.y,
            known(text.text),
            ha=ANCHORS[text.anchor],
            va="baseline",
            fontsize=TEXT * UNIT_PT,
            fontweight="normal" if text.kind == "tick" else "bold",
            color=LIGHT["ink"],
            parse_math=False,
        )
    return axes


def _strokes(axes: Axes, drawing: Drawing, kind: str) -> None:
    from matplotlib.collections import LineCollection

    style = STYLES[kind]
    lines = [stroke.points for stroke in drawing.strokes if stroke.kind == kind]
    axes.add_collection(
        LineCollection(
            lines,
            colors=LIGHT[style.stroke],
            linewidths=style.width * UNIT_PT,
            linestyles=_dash(style),
            zorder=0.5 if kind == "grid" else 2,
        ),
        autolim=False,
    )


def _dash(style: Style) -> Any:
    if style.dash is None:
        return "-"
    # matplotlib counts a dash in widths of its line.
    return 0, (style.dash[0] / style.width, style.dash[1] / style.width)


def _bars(axes: Axes, drawing: Drawing, kind: str) -> None:
    from matplotlib.collections import PolyCollection

    corners = [
        [
            (bar.x, bar.y),
            (bar.x + bar.width, bar.y),
            (bar.x + bar.width, bar.y + bar.height),
            (bar.x, bar.y + bar.height),
        ]
        for bar in drawing.bars
        if bar.kind == kind
    ]
    axes.add_collection(PolyCollection(corners, **_fill(STYLES[kind])), autolim=False)


def _fill(style: Style) -> dict[str, Any]:
    return {
        "facecolor": "none" if style.hatch else LIGHT[style.fill],
        "edgecolor": LIGHT[style.fill if style.hatch else style.stroke or style.fill],
        "linewidth": 0.6 if style.hatch or style.stroke else 0.0,
        "hatch": HATCHES.get(style.hatch),
        "alpha": style.opacity,
    }


def _marker(style: Style) -> dict[str, Any]:
    post = style.marker == "post"
    return {
        "linestyle": "none",
        "marker": MARKERS[style.marker],
        "markersize": MARKER_SIZES.get(style.marker, 4.0),
        "markeredgewidth": 2.0 if post else style.width * UNIT_PT,
        "markeredgecolor": LIGHT[style.fill if post else style.stroke],
        "markerfacecolor": LIGHT[style.fill],
    }


def paint_picture(axes: Axes, picture: Picture) -> Axes:
    """Paint a picture with its title and legend on axes."""
    paint(axes, picture.drawing)
    title = axes.set_title(
        known(picture.title),
        loc="left",
        fontsize=11,
        fontweight="bold",
        color=LIGHT["ink"],
    )
    title.set_parse_math(False)
    axes.legend(
        handles=_samples(picture.legend),
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        ncols=len(picture.legend),
        fontsize=8,
        frameon=False,
        borderaxespad=0.2,
        handletextpad=0.5,
        columnspacing=1.2,
    )
    return axes


def _samples(legend: Sequence[tuple[str, str]]) -> list[Artist]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    found: list[Artist] = []
    for kind, words in legend:
        style = STYLES[kind]
        if style.marker:
            found.append(Line2D([], [], label=words, **_marker(style)))
        elif style.fill:
            found.append(Patch(label=words, **_fill(style)))
        else:
            found.append(
                Line2D(
                    [],
                    [],
                    label=words,
                    color=LIGHT[style.stroke],
                    linewidth=style.width * UNIT_PT,
                    linestyle=_dash(style),
                )
            )
    return found


def plan_pictures(plan: Plan) -> dict[str, bytes]:
    """Every picture of a plan, as files: one page for the job, one
    for its maps and one for its buckets."""
    import matplotlib

    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(
            {"font.family": [FONT], "text.color": LIGHT["ink"], "hatch.linewidth": 0.6}
        )
        voice = voice_of(plan)
        figures = [_job_page(job_pictures(plan, voice, width=WIDTH))]
        for of, keys, title in (
            (map_picture, MAP_KEYS, "picture.maps"),
            (bucket_picture, CLOCK_KEYS, "picture.buckets"),
        ):
            columns = _room_columns(plan, voice, of)
            if columns:
                figures.append(_room_page(columns, voice, keys=keys, title=title))
        # Laid out once, drawn twice: layout is half the work.
        return {"png": _png(figures), "pdf": _pdf(figures)}


def _job_page(pictures: Sequence[Picture]) -> Figure:
    height = sum(_height(picture) for picture in pictures) + EDGE
    figure = _empty_page(height)
    top = 0.0
    for picture in pictures:
        axes = _placed(figure, picture.drawing, left=EDGE, top=top + TITLE, page=height)
        paint_picture(axes, picture)
        top += _height(picture)
    return figure


def _height(picture: Picture) -> float:
    return TITLE + picture.drawing.height + GAP


def _room_columns(
    plan: Plan, voice: Voice, picture_of: Callable[..., Picture | None]
) -> list[list[tuple[str, Picture]]]:
    """A picture for each room, dealt over columns in the order poured."""
    rooms = [room.room for room in sorted(plan.rooms, key=lambda room: room.order)]
    width = (WIDTH - (ROOM_COLUMNS - 1) * GAP) / ROOM_COLUMNS
    pictures = [
        (one_line(room), picture)
        for room in rooms
        if plan.buckets_of(room)
        and (picture := picture_of(plan, room, voice, width=width)) is not None
    ]
    columns: list[list[tuple[str, Picture]]] = [[] for _ in pictures[:ROOM_COLUMNS]]
    for named in pictures:
        min(columns, key=_column_height).append(named)
    return columns


def _title_lines(name: str) -> list[str]:
    return folded(known(name), LONGEST_NAME)


def _over(name: str) -> float:
    """What a room's name takes over its picture: a long one has lines of its own."""
    return TITLE + NAME_LINE * (len(_title_lines(name)) - 1)


def _column_height(column: Sequence[tuple[str, Picture]]) -> float:
    return sum(_height(picture) - TITLE + _over(name) for name, picture in column)


def _room_page(
    columns: Sequence[Sequence[tuple[str, Picture]]],
    voice: Voice,
    *,
    keys: Sequence[tuple[str, str]],
    title: str,
) -> Figure:
    """Rooms side by side, under one title and one legend."""
    height = max(_column_height(column) for column in columns) + TITLE + EDGE
    figure = _empty_page(height)
    left = EDGE
    for column in columns:
        top = TITLE
        for name, picture in column:
            top += _over(name)
            axes = _placed(figure, picture.drawing, left=left, top=top, page=height)
            over = paint(axes, picture.drawing).set_title(
                "\n".join(_title_lines(name)), loc="left", fontsize=10, fontweight="bold"
            )
            over.set_parse_math(False)
            top += _height(picture) - TITLE
        left += column[0][1].drawing.width + GAP
    x = EDGE / (WIDTH + 2 * EDGE)
    figure.text(
        x,
        1 - 12 / height,
        voice.label(title),
        fontsize=12,
        fontweight="bold",
        va="top",
    )
    figure.legend(
        handles=_samples([(kind, voice.label(key)) for kind, key in keys]),
        loc="upper right",
        bbox_to_anchor=(1 - x, 1.0),
        ncols=len(keys),
        fontsize=8,
        frameon=False,
    )
    return figure


def _empty_page(height: float) -> Figure:
    from matplotlib.figure import Figure

    height_in = max(height * UNIT_PT / 72, 1.0)
    return Figure(figsize=(WIDTH_IN, height_in), dpi=DPI, facecolor=LIGHT["card"])


def _placed(figure: Figure, drawing: Drawing, *, left: float, top: float, page: float) -> Axes:
    """Axes of the drawing's own size, so that a unit is a unit everywhere."""
    width = WIDTH + 2 * EDGE
    box = (
        left / width,
        1 - (top + drawing.height) / page,
        drawing.width / width,
        drawing.height / page,
    )
    return figure.add_axes(box)


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
    _load_when_used("fontTools", "subset")
    from matplotlib.backends.backend_pdf import PdfPages

    out = io.BytesIO()
    with PdfPages(out, metadata={"CreationDate": None}) as pages:
        for figure in figures:
            pages.savefig(figure)
    return out.getvalue()


def _load_when_used(package: str, name: str) -> None:
    """Put off a module that matplotlib imports for kinds of fonts our pages have not."""
    full = f"{package}.{name}"
    spec = None if full in sys.modules else find_spec(full)
    if spec is None or spec.loader is None:
        return
    spec.loader = LazyLoader(spec.loader)
    module = module_from_spec(spec)
    sys.modules[full] = module
    spec.loader.exec_module(module)
    setattr(sys.modules[package], name, module)
