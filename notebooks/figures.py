"""One calm look for every picture of the notebooks; nothing is computed here."""

from __future__ import annotations

from collections.abc import Iterable

import matplotlib as mpl
import matplotlib.pyplot as plt
from matplotlib.axes import Axes
from matplotlib.figure import Figure

INK, SOFT, FAINT = "#22303c", "#6b7a88", "#d9dfe5"
HOT, COLD, FLOOR, GOOD = "#b5502b", "#2a6f97", "#8a7b4f", "#4c8c5a"

plt.rcParams.update(
    {
        "figure.dpi": 110,
        "figure.figsize": (8.0, 3.8),
        "figure.constrained_layout.use": True,
        "font.size": 10,
        "text.color": INK,
        "axes.edgecolor": SOFT,
        "axes.labelcolor": INK,
        "axes.titlesize": 11,
        "axes.titlelocation": "left",
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.grid": True,
        "axes.axisbelow": True,
        "axes.prop_cycle": mpl.cycler(color=[COLD, HOT, FLOOR, GOOD, SOFT]),
        "grid.color": FAINT,
        "grid.linewidth": 0.7,
        "xtick.color": SOFT,
        "ytick.color": SOFT,
        "lines.linewidth": 1.9,
        "legend.frameon": False,
    }
)


def canvas(
    *titles: str, rows: int = 1, size: tuple[float, float] | None = None, share_x: bool = False
) -> tuple[Figure, list[Axes]]:
    """A figure with one titled panel per title, in `rows` rows."""
    columns = -(-len(titles) // rows)
    figure, grid = plt.subplots(
        rows, columns, figsize=size, squeeze=False, sharex="col" if share_x else False
    )
    panels = list(grid.ravel())
    for panel, title in zip(panels, titles, strict=False):
        panel.set_title(title)
    return figure, panels


def fahrenheit_on_top(axes: Axes) -> None:
    """A second scale in Fahrenheit over a Celsius axis."""
    top = axes.secondary_xaxis(
        "top", functions=(lambda c: c * 1.8 + 32.0, lambda f: (f - 32.0) / 1.8)
    )
    top.tick_params(labelsize=8)
    top.set_xlabel("°F", fontsize=8, labelpad=2)


def marks(axes: Axes, heights: Iterable[tuple[float, str]], *, x: float) -> None:
    """Thin level lines with their name on them, written from `x` on."""
    for height, name in heights:
        axes.axhline(height, color=SOFT, linewidth=0.8, linestyle=(0, (4, 3)))
        axes.text(x, height, f" {name}", color=SOFT, fontsize=8, va="bottom")
