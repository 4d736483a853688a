"""Floors made up by hand, of which a rule reads a few things only."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


def at(minutes: float) -> datetime:
    """An instant of the night."""
    return NIGHT + timedelta(minutes=minutes)


def floor_of(count: int = 3, **more: object) -> Made:
    """A bar of some buckets, numbered from ten on."""
    buckets = [Made(number=10 + n) for n in range(count)]
    return Made(name="Bar", zone=UTC, buckets=buckets, **more)
