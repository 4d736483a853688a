"""Instants and minutes as the plan carries them."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

__all__ = ["instant", "minutes"]


def instant(epoch_s: float, zone: ZoneInfo) -> datetime:
    """An instant of the plan: to the second, with the site's offset."""
    return datetime.fromtimestamp(round(epoch_s), zone)


def minutes(seconds: float) -> float:
    """Seconds as minutes, to a hundredth, as the contract carries them."""
    return round(float(seconds) / 60.0, 2)
