"""How each kind of shape looks, for both painters; and what matplotlib's pictures share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING

from cureplan.output.charts.layout import ticks
from cureplan.output.charts.palette import LIGHT
from cureplan.output.language import Voice
from cureplan.output.language.clean import fit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "FONT",
    "LONGEST_NAME",
    "STYLES",
    "Style",
    "drawable",
    "hours",
    "known",
    "put_title",
    "time_axis",
]

LONGEST_NAME = 26
FONT = "DejaVu Sans"


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """Colours by their name in the palette; told apart by height, hatch, dash or shape too."""

    fill: str = ""
    stroke: str = ""
    width: float = 1.0
    dash: tuple[float, float] | None = None
    hatch: str = ""
    marker: str = ""
    opacity: float = 1.0
    sample: float = 12.0
    """Height of a bar's sample in a legend."""


STYLES: Mapping[str, Style] = {
    "band-pour": Style(fill="accent", opacity=0.28),
    "band-coat": Style(fill="coat", hatch="back", opacity=0.5),
    "grid": Style(stroke="line"),
    "primer": Style(fill="coat", stroke="coat", hatch="back"),
    "patch": Style(stroke="soft"),
    "wall": Style(stroke="ink", width=2.4),
    "stop": Style(stroke="short", width=3.2, dash=(7, 4)),
    "retreat": Style(stroke="accent", width=2.2),
    "pour": Style(fill="accent"),
    "laid": Style(fill="accent"),
    "coat": Style(fill="coat"),
    "window": Style(fill="coat", sample=6),
    "setting": Style(fill="setting", stroke="setting", hatch="forward", sample=7),
    "walk": Style(fill="walk", sample=7),
    "open": Style(fill="kept", sample=3),
    "wet": Style(fill="wet", sample=4),
    "work": Style(fill="card", stroke="work", sample=4),
    "surface": Style(fill="surface", stroke="surface", width=0.8, hatch="upright", sample=4),
    "tie": Style(fill="card", stroke="ink", width=1.2, marker="round"),
    "smooth": Style(fill="card", stroke="ink", width=1.2, marker="square"),
    "broadcast": Style(fill="card", stroke="ink", width=1.2, marker="wedge"),
    "needed": Style(fill="short", marker="post"),
    "line-outdoor": Style(stroke="ink", width=2.2),
    "line-air": Style(stroke="tight", width=1.6, dash=(6, 3)),
    "line-slab": Style(stroke="short", width=1.6),
    "line-dew": Style(stroke="wet", width=2.2, dash=(1.5, 3)),
}


@cache
def _known_signs() -> frozenset[int]:
    from matplotlib.font_manager import findfont
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(findfont(FONT)).get_charmap())


def known(text: str) -> str:
    """A text in which signs the font lacks show as a box."""
    signs = _known_signs()
    return "".join(sign if ord(sign) in signs else "□" for sign in text)


def drawable(text: str) -> str:
    """A name cut to fit; signs the font lacks show as a box."""
    return fit(known(text), LONGEST_NAME)


def hours(instant: datetime) -> float:
    return instant.timestamp() / 3600


def time_axis(axes: Axes, begins: datetime, ends: datetime, voice: Voice) -> None:
    places = ticks(begins, ends, voice, most=16)
    axes.set_xlim(hours(begins), hours(ends))
    axes.set_xticks(
        [hours(tick.at) for tick in places],
        [f"{tick.clock}\n{tick.day}" if tick.day else tick.clock for tick in places],
        fontsize=8,
    )
    axes.grid(axis="x", color=LIGHT["line"], linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)


def put_title(axes: Axes, text: str) -> None:
    title = axes.set_title(text, loc="left", fontsize=11, fontweight="bold", color=LIGHT["ink"])
    title.set_parse_math(False)
