"""Picture of a fit: readings, curves, and the band of single batches."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from cureplan.output.charts.palette import LIGHT
from cureplan.output.language.clean import fit as fit_words
from cureplan.output.language.clean import one_line
from cureplan.output.text.quick import MILESTONES
from cureplan.science.learning.model import CardFit, Curve, ReadingFit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_fit", "fit_png"]

FONT = "DejaVu Sans"
SIZE_IN = (9.0, 6.0)
DPI = 110
_COLOURS = ("accent", "work", "surface", "coat", "kept", "short", "setting")
# Told apart by shape as well: (marker, what the legend calls it).
_KINDS = {
    "sheet": ("s", "data sheet"),
    "cup": ("o", "trial cup"),
    "bucket": ("^", "bucket, set to a steady temperature"),
}


def draw_fit(axes: Axes, fit: CardFit) -> Axes:
    """Minutes against temperature on a logarithmic scale."""
    colours = {
        curve.milestone: LIGHT[_COLOURS[place % len(_COLOURS)]]
        for place, curve in enumerate(fit.curves)
    }
    for curve in fit.curves:
        _curve(axes, curve, colours[curve.milestone])
    for one in fit.readings:
        if one.reading.kind in _KINDS:
            _point(axes, one, colours[one.reading.milestone])
    _frame(axes, fit)
    _legend(axes, fit, colours)
    return axes


def _curve(axes: Axes, curve: Curve, colour: str) -> None:
    low = [value / 60 for value in curve.low_s]
    high = [value / 60 for value in curve.high_s]
    axes.fill_between(curve.temp_c, low, high, color=colour, alpha=0.16, linewidth=0)
    axes.plot(curve.temp_c, [value / 60 for value in curve.mid_s], color=colour, linewidth=1.8)
    axes.plot(
        curve.temp_c,
        [value / 60 for value in curve.was_s],
        color=colour,
        linewidth=1.0,
        linestyle=":",
    )


def _point(axes: Axes, one: ReadingFit, colour: str) -> None:
    axes.plot(
        [one.steady_c],
        [one.steady_s / 60],
        linestyle="none",
        marker=_KINDS[one.reading.kind][0],
        markersize=7,
        markerfacecolor=LIGHT["card"] if one.reading.kind == "bucket" else colour,
        markeredgecolor=colour,
    )
    if one.disagrees:
        axes.plot(
            [one.steady_c],
            [one.steady_s / 60],
            linestyle="none",
            marker="X",
            markersize=15,
            markerfacecolor="none",
            markeredgecolor=LIGHT["short"],
            markeredgewidth=1.6,
        )
        axes.annotate(
            f"line {one.reading.line}",
            (one.steady_c, one.steady_s / 60),
            textcoords="offset points",
            xytext=(9, 6),
            fontsize=8,
            color=LIGHT["short"],
        )


def _frame(axes: Axes, fit: CardFit) -> None:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axes.set_yscale("log")
    axes.yaxis.set_major_locator(LogLocator(base=10.0, subs=(1.0, 2.0, 5.0)))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.yaxis.set_minor_formatter(NullFormatter())
    axes.xaxis.set_major_formatter(
        FuncFormatter(lambda value, _: f"{value:g} °C\n{value * 1.8 + 32:.0f} °F")
    )
    axes.set_ylabel("minutes", fontsize=9)
    axes.set_xlabel("everything at one temperature", fontsize=9)
    axes.grid(color=LIGHT["line"], linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=8, length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)
    name = fit_words(one_line(fit.before.title), 44)
    title = axes.set_title(
        f"{name}: {fit.counted} readings, {fit.energy.value / 1e3:.0f} kJ/mol "
        f"({fit.energy.low / 1e3:.0f} to {fit.energy.high / 1e3:.0f})",
        loc="left",
        fontsize=11,
        fontweight="bold",
        color=LIGHT["ink"],
    )
    title.set_parse_math(False)


def _legend(axes: Axes, fit: CardFit, colours: dict[str, str]) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    ink = LIGHT["ink"]
    handles: list[Line2D | Patch] = [
        Line2D([], [], color=colour, linewidth=1.8, label=MILESTONES[name])
        for name, colour in colours.items()
    ]
    read = {one.reading.kind for one in fit.readings}
    handles += [
        Line2D([], [], linestyle="none", marker=marker, markerfacecolor=LIGHT["card"],
               markeredgecolor=ink, label=label)
        for kind, (marker, label) in _KINDS.items()
        if kind in read
    ]  # fmt: skip
    handles += [
        Patch(facecolor=ink, alpha=0.16, label=f"{fit.share * 10:.0f} batches in 10"),
        Line2D([], [], color=ink, linewidth=1.0, linestyle=":", label="the card before"),
    ]
    if fit.disagreeing:
        handles.append(
            Line2D([], [], linestyle="none", marker="X", markerfacecolor="none",
                   markeredgecolor=LIGHT["short"], label="disagrees")
        )  # fmt: skip
    axes.legend(handles=handles, fontsize=8, frameon=False, loc="best")


def fit_png(fit: CardFit) -> bytes:
    """The picture as a PNG file; the same fit always gives the same bytes."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with mpl.rc_context({"font.family": FONT}):
        figure = Figure(figsize=SIZE_IN, dpi=DPI, facecolor=LIGHT["card"], layout="constrained")
        FigureCanvasAgg(figure)
        draw_fit(figure.add_subplot(), fit)
        out = io.BytesIO()
        figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()
