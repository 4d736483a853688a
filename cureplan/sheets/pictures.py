"""Pictures of the sheet with their titles and legends, in one language."""

from __future__ import annotations

from dataclasses import dataclass

from cureplan.plan import Plan
from cureplan.plots.spans import buckets_chart, rooms_chart, temperature_chart, windows_chart
from cureplan.plots.svg import (
    Drawing,
    lay_out_buckets,
    lay_out_rows,
    lay_out_temperatures,
)
from cureplan.sheets.words import Voice

__all__ = [
    "Picture",
    "bucket_pictures",
    "room_picture",
    "temperature_picture",
    "window_picture",
]

# One small sample of each kind, as it looks in the picture.
_SAMPLES = {
    "pour": "M1 1h20v12h-20z",
    "coat": "M1 1h20v12h-20z",
    "laid": "M1 1h20v12h-20z",
    "setting": "M1 4h20v7h-20z",
    "walk": "M1 4h20v7h-20z",
    "open": "M1 6h20v3h-20z",
    "window": "M1 4h20v6h-20z",
    "wet": "M1 5h20v4h-20z",
    "work": "M1 5h20v4h-20z",
    "stone": "M1 5h20v4h-20z",
    "needed": "M10 0h2v14h-2z",
    "tie": "M8 7a3 3 0 1 0 6 0a3 3 0 1 0-6 0z",
    "smooth": "M8 4h6v6h-6z",
    "broadcast": "M11 3l4 7h-8z",
    "line": "M1 7H21",
    "band": "M1 1h20v12h-20z",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawing, its title, and what its shapes mean: (kind, sample, words)."""

    drawing: Drawing
    title: str
    legend: tuple[tuple[str, str, str], ...]


def _legend(voice: Voice, *keys: tuple[str, str]) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (kind, _SAMPLES[kind if kind in _SAMPLES else kind.split("-")[0]], voice.label(key))
        for kind, key in keys
    )


def room_picture(plan: Plan, voice: Voice) -> Picture | None:
    """Floors from first bucket to opening; None without floors."""
    if not plan.rooms:
        return None
    return Picture(
        drawing=lay_out_rows(rooms_chart(plan), voice),
        title=voice.label("picture.rooms"),
        legend=_legend(
            voice,
            ("pour", "legend.pour"),
            ("setting", "legend.setting"),
            ("walk", "legend.walkable"),
            ("coat", "legend.coat"),
            ("open", "legend.open"),
            ("needed", "legend.needed"),
        ),
    )


def window_picture(plan: Plan, voice: Voice) -> Picture | None:
    """When each coat may go on; None without coats."""
    if not plan.coats:
        return None
    return Picture(
        drawing=lay_out_rows(windows_chart(plan, voice), voice),
        title=voice.label("picture.windows"),
        legend=_legend(voice, ("window", "legend.window"), ("laid", "legend.laid")),
    )


def temperature_picture(plan: Plan, voice: Voice) -> Picture | None:
    """Temperatures through the job; None without hours."""
    if not plan.hours:
        return None
    return Picture(
        drawing=lay_out_temperatures(temperature_chart(plan), voice),
        title=voice.label("picture.temps"),
        legend=_legend(
            voice,
            ("line-outdoor", "outdoor"),
            ("line-air", "air"),
            ("line-slab", "slab"),
            ("line-dew", "dew"),
            ("band-pour", "legend.pour"),
            ("band-coat", "legend.coat"),
        ),
    )


def bucket_pictures(plan: Plan, voice: Voice) -> dict[str, Picture]:
    """Each floor's buckets and their three clocks."""
    legend = _legend(
        voice,
        ("wet", "clock.wet_edge"),
        ("tie", "legend.tie"),
        ("work", "clock.working_time"),
        ("smooth", "legend.smooth"),
        ("stone", "clock.broadcast"),
        ("broadcast", "legend.broadcast"),
    )
    return {
        room.room: Picture(
            drawing=lay_out_buckets(buckets_chart(plan, room.room, voice)),
            title=voice.label("picture.buckets.of", room=room.room),
            legend=legend,
        )
        for room in plan.rooms
    }
