"""What a plan says of humidity: a card's factor, where it is beyond its points or unknown."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from cureplan.job.card_model import SlurryCard, TopcoatCard
from cureplan.job.model import Job
from cureplan.physics.humidity_pace import HumidityPace
from cureplan.plan import Source
from cureplan.planning.pour import RoomPours
from cureplan.say import Say, Value

__all__ = ["humidity_sources", "humidity_warnings"]

BEYOND_FRAC = 0.02
"""Two points of relative humidity are within any hygrometer's error: invented."""


def humidity_warnings(job: Job, pours: Mapping[str, RoomPours]) -> tuple[Say, ...]:
    """Where rooms are drier or damper than a card's points, or nobody knows how damp."""
    found: list[Say] = []
    for card, pace in _cards(job, pours):
        if pace is None:
            continue
        shares = _shares(job, pours)
        if np.any(np.isnan(shares)):
            unknown: dict[str, Value] = {
                "card": card.title,
                "reference_frac": round(pace.reference_frac, 4),
            }
            found.append(Say("warn.humidity_unknown", unknown))
        known = shares[~np.isnan(shares)]
        if known.size and (
            known.min() < pace.low_frac - BEYOND_FRAC
            or known.max() > pace.high_frac + BEYOND_FRAC
        ):
            values: dict[str, Value] = {
                "card": card.title,
                "from_frac": round(float(known.min()), 4),
                "to_frac": round(float(known.max()), 4),
                "low_frac": round(pace.low_frac, 4),
                "high_frac": round(pace.high_frac, 4),
            }
            found.append(Say("warn.humidity_beyond", values))
    return tuple(found)


def humidity_sources(job: Job, pours: Mapping[str, RoomPours]) -> tuple[Source, ...]:
    """That a card's clocks follow humidity, or why the humidities on it do not count."""
    told = []
    for card, pace in _cards(job, pours):
        points = [p for m in card.milestones.values() for p in m.points]
        if pace is not None:
            values: dict[str, Value] = {
                "card": card.title,
                "low_frac": round(pace.low_frac, 4),
                "high_frac": round(pace.high_frac, 4),
            }
            told.append(Say("source.humidity", values))
        elif any(point.humidity_frac is not None for point in points):
            told.append(Say("source.humidity_idle", {"card": card.title}))
    return tuple(
        Source(
            kind="assumption",
            label=say.code.removeprefix("source."),
            licence=None,
            generic=False,
            detail=say,
        )
        for say in told
    )


def _cards(
    job: Job, pours: Mapping[str, RoomPours]
) -> Iterator[tuple[SlurryCard | TopcoatCard, HumidityPace | None]]:
    room = next(iter(pours.values()))
    yield job.cards.slurry, room.clocks.humidity
    yield job.cards.topcoat, room.topcoat.humidity


def _shares(job: Job, pours: Mapping[str, RoomPours]) -> np.ndarray:
    """Relative humidity of every room at every hour of the job."""
    begins_s, ends_s = job.access.begins.timestamp(), job.access.open_by.timestamp()
    rows = []
    for room in pours.values():
        at_s = room.conditions.epoch_s
        rows.append(room.conditions.humidity_at(at_s[(at_s >= begins_s) & (at_s <= ends_s)]))
    return np.concatenate(rows)
