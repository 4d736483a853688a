"""No layer outside the temperatures its card allows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from cureplan.core.clock import epoch_s
from cureplan.inputs.cards.model import Between, TemperatureLimits
from cureplan.judge.case import Case, Floor
from cureplan.judge.finding import Finding, wall_clock
from cureplan.judge.milestones import CureMilestones

__all__ = ["check_limits"]

TOL_K = 0.05
"""Hours are written to a thousandth, read as straight lines either way."""
STEP_S = 60.0
ENDLESS = float("inf")
Floats = NDArray[np.float64]


def check_limits(case: Case, lenient: Mapping[str, CureMilestones]) -> Iterator[Finding]:
    """Slab, air, store and mix of every layer, while it is laid; cold also until it bears."""
    cards = case.plan.job.cards
    for floor in case.floors:
        bears_s = lenient[floor.name].walkable_by_stage_s
        for primer in floor.primers:
            if cards.primer is not None:
                yield from _check_layer(
                    case, floor, primer.stage, cards.primer.limits,
                    (epoch_s(primer.start), epoch_s(primer.end), bears_s[primer.stage]),
                )  # fmt: skip
        yield from _check_layer(
            case, floor, "pour", cards.slurry.limits,
            (floor.begins_s, floor.ends_pour_s, lenient[floor.name].walkable_s),
        )  # fmt: skip
        yield from _outside(
            floor, "pour", "mix", floor.planned.filler_s, floor.runs.mixed_c,
            cards.slurry.limits.mixed_c,
        )  # fmt: skip
        for coat in floor.coats:
            yield from _check_layer(
                case, floor, coat.stage, cards.topcoat.limits,
                (epoch_s(coat.start), epoch_s(coat.end), bears_s[coat.stage]),
            )  # fmt: skip


def _check_layer(
    case: Case,
    floor: Floor,
    stage: str,
    limits: TemperatureLimits,
    span_s: tuple[float, float, float],
) -> Iterator[Finding]:
    begins_s, ends_s, bears_s = span_s
    laid = np.append(np.arange(begins_s, ends_s, STEP_S), ends_s)
    # What lies beyond the hours given is not known, and not judged.
    bears_s = min(max(bears_s, ends_s), float(floor.hours.at_s[-1]))
    cures = np.append(np.arange(begins_s, bears_s, STEP_S), bears_s)
    for what, coolest, warmest, (low_c, high_c) in (
        ("slab", floor.hours.shade, floor.hours.slab, limits.slab_c),
        ("air", floor.hours.air, floor.hours.air, limits.air_c),
    ):
        yield from _outside(floor, stage, what, laid, warmest(laid), (-ENDLESS, high_c))
        yield from _outside(floor, stage, what, laid, coolest(laid), (low_c, ENDLESS))
        if (coolest(laid) >= low_c - TOL_K).all():
            yield from _outside(floor, stage, what, cures, coolest(cures), (low_c, ENDLESS))
    store_c = case.plan.job.materials.storage_c
    kept_c = floor.hours.air(laid) if store_c is None else np.full_like(laid, store_c)
    yield from _outside(floor, stage, "material", laid, kept_c, limits.material_c)
    if stage != "pour":
        yield from _outside(floor, stage, "mix", laid, kept_c, limits.mixed_c)


def _outside(
    floor: Floor, stage: str, what: str, at_s: Floats, temp_c: Floats, between: Between
) -> Iterator[Finding]:
    low_c, high_c = between
    over_k = np.maximum(low_c - temp_c, temp_c - high_c)
    worst = int(np.argmax(over_k))
    if over_k[worst] > TOL_K:
        cold = temp_c[worst] < low_c
        yield Finding(
            rule="limits",
            room=floor.name,
            what=f"{floor.name} {stage}: {what} is {temp_c[worst]:.1f} °C at "
            f"{wall_clock(float(at_s[worst]), floor.zone)}, at "
            f"{'least' if cold else 'most'} {low_c if cold else high_c:.1f} °C is allowed",
            off_by=float(over_k[worst]),
            unit="K",
        )
