"""Drawings painted as SVG in the sheet, in the sheet's own colours."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cureplan.output.charts.drawing import Drawing, Picture, Stroke
from cureplan.output.charts.style import STYLES, Style

__all__ = ["Shape", "css_rules", "legend_of", "shapes_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """Everything of one kind, as one path."""

    kind: str
    path: str


def shapes_of(drawing: Drawing) -> tuple[Shape, ...]:
    """A drawing's shapes, those below first."""
    paths: dict[str, list[str]] = {}
    for kind, path in _pieces(drawing):
        paths.setdefault(kind, []).append(path)
    return tuple(Shape(kind=kind, path="".join(parts)) for kind, parts in paths.items())


def _pieces(drawing: Drawing) -> Iterator[tuple[str, str]]:
    grid = [stroke for stroke in drawing.strokes if stroke.kind == "grid"]
    lines = [stroke for stroke in drawing.strokes if stroke.kind != "grid"]
    yield from map(_line, grid)
    for bar in drawing.bars:
        size = f"h{bar.width:.4g}v{bar.height:g}h{-bar.width:.4g}z"
        yield bar.kind, f"M{bar.x:g} {bar.y:g}{size}"
    yield from map(_line, lines)
    for point in drawing.points:
        yield point.kind, _mark(STYLES[point.kind].marker, point.x, point.y)


def _line(stroke: Stroke) -> tuple[str, str]:
    return stroke.kind, "M" + "L".join(f"{x:g} {y:g}" for x, y in stroke.points)


def _mark(marker: str, x: float, y: float) -> str:
    if marker == "round":
        return f"M{x - 2.5:g} {y:g}a2.5 2.5 0 1 0 5 0a2.5 2.5 0 1 0-5 0z"
    if marker == "square":
        return f"M{x - 2.3:g} {y - 2.3:g}h4.6v4.6h-4.6z"
    if marker == "wedge":
        return f"M{x:g} {y - 3:g}l3 5.4h-6z"
    return f"M{x - 1:g} {y - 9:g}h2v18h-2z"


def legend_of(picture: Picture) -> tuple[tuple[str, str, str], ...]:
    """What the shapes mean: (kind, a small sample, words)."""
    return tuple((kind, _sample(kind), words) for kind, words in picture.legend)


def _sample(kind: str) -> str:
    style = STYLES[kind]
    if style.marker:
        return _mark(style.marker, 11, 7)
    if not style.fill:
        return "M1 7H21"
    return f"M1 {7 - style.sample / 2:g}h20v{style.sample:g}h-20z"


def css_rules() -> tuple[tuple[str, str], ...]:
    """How each kind looks, as declarations of a style sheet."""
    return tuple((kind, _css(style)) for kind, style in STYLES.items())


def _css(style: Style) -> str:
    fill = f"var(--{style.fill})" if style.fill else "none"
    if style.hatch:
        fill = f"url(#hatch-{style.fill})"
    parts = [f"fill:{fill}"]
    if style.stroke:
        parts += [f"stroke:var(--{style.stroke})", f"stroke-width:{style.width:g}"]
    if style.dash:
        parts.append(f"stroke-dasharray:{style.dash[0]:g} {style.dash[1]:g}")
    if style.opacity < 1:
        parts.append(f"opacity:{style.opacity:g}")
    return ";".join(parts)
