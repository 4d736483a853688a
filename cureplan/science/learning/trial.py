"""A trial of two kits that pins what no data sheet says of a slurry.

One kit as it stands in the store and one with its liquids iced: their thermometers show
how much heat the batch gives off, and the difference of their ends how much of its life
the liquids' stage uses up. `fit_card` reads the filled-in table like any other.
"""

from __future__ import annotations

from dataclasses import dataclass

from cureplan.inputs.cards.model import SlurryCard

__all__ = ["TRIAL_KITS", "TRIAL_MILESTONES", "TrialLine", "trial_lines"]

TRIAL_KITS = ("as it is", "iced")
TRIAL_MILESTONES = ("wet_edge", "working_time", "broadcast_opens", "broadcast_closes")
STANDS_MIN = (3.0, 6.0)
"""Minutes after mixing at which the thermometer is read in the bucket."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialLine:
    """One line to fill in: what to measure, of which kit, and when."""

    kind: str
    batch: str
    milestone: str
    minutes: float | None
    """When to read the thermometer, from filler-in; None where the minutes are asked."""
    note: str


def trial_lines(card: SlurryCard) -> tuple[TrialLine, ...]:
    """What to measure, in the order it happens."""
    mixed_min = card.filler_mix_s / 60.0
    lines: list[TrialLine] = []
    for kit in TRIAL_KITS:
        lines.append(
            _probe(kit, 0.0, "the liquids, well stirred, just before the filler goes in")
        )
        lines.append(_probe(kit, mixed_min, "the batch, just mixed"))
        lines += [
            _probe(kit, mixed_min + stands, f"the batch left in its bucket {stands:g} min")
            for stands in STANDS_MIN
        ]
        lines += [
            TrialLine(kind="bucket", batch=kit, milestone=name, minutes=None, note=ENDS[name])
            for name in TRIAL_MILESTONES
            if name in card.milestones
        ]
    return tuple(lines)


ENDS = {
    "wet_edge": "patch: a fresh smear no longer melts into it",
    "working_time": "patch: it no longer takes the rake and the smoother",
    "broadcast_opens": "patch: grains stay on top",
    "broadcast_closes": "patch: grains no longer bed",
}


def _probe(kit: str, minutes: float, note: str) -> TrialLine:
    return TrialLine(kind="probe", batch=kit, milestone="", minutes=minutes, note=note)
