"""Colours of sheets and pictures: one table, so that one test can check every contrast."""

from __future__ import annotations

from collections.abc import Mapping

__all__ = ["DARK", "LIGHT", "contrast_ratio"]

LIGHT: Mapping[str, str] = {
    "paper": "#f7f6f1",
    "card": "#ffffff",
    "ink": "#1a1d1c",
    "soft": "#4f5756",
    "line": "#c6c9c2",
    "accent": "#0a5362",
    "accent-paper": "#dfecee",
    "on-accent": "#ffffff",
    "kept": "#1a6637",
    "kept-paper": "#e4f1e7",
    "tight": "#764e00",
    "tight-paper": "#faeecf",
    "short": "#9c1c1c",
    "short-paper": "#fae3df",
    "wet": "#0a6b7d",
    "work": "#7a4a9c",
    "surface": "#9a5b16",
    "setting": "#8a8f8a",
    "walk": "#4d7a54",
    "coat": "#3a5fa8",
}

DARK: Mapping[str, str] = {
    "paper": "#101314",
    "card": "#191e20",
    "ink": "#eef0ec",
    "soft": "#b3bcba",
    "line": "#3d4648",
    "accent": "#86d3df",
    "accent-paper": "#15323a",
    "on-accent": "#06191d",
    "kept": "#8bd8a4",
    "kept-paper": "#15301f",
    "tight": "#f1c566",
    "tight-paper": "#352a0d",
    "short": "#ffa197",
    "short-paper": "#3f1a17",
    "wet": "#63c3d3",
    "work": "#c69be6",
    "surface": "#e5a55e",
    "setting": "#7f8886",
    "walk": "#7fb888",
    "coat": "#8fb0f2",
}


def contrast_ratio(first: str, second: str) -> float:
    """Contrast of two colours, 1 to 21.

    Source
    ------
    W3C, Web Content Accessibility Guidelines 2.1, definitions of relative luminance and
    contrast ratio (from memory).

    Examples
    --------
    >>> round(contrast_ratio("#000000", "#ffffff"), 6)
    21.0
    """
    lighter, darker = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    parts = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
