"""Hours-long clocks: when a floor may be walked on, coated, and opened."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.core.clock import epoch_s
from cureplan.judge.ageing import SlabAge
from cureplan.judge.case import Case, Floor, Leaning
from cureplan.judge.kit import ROOT_STEP, first_crossing
from cureplan.planning.plan.model import CoatPlan

__all__ = ["Laying", "Standing", "Window", "laying", "stand"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """When a coat may start, seconds since 1970."""

    opens_s: float
    closes_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Laying:
    """How a coat goes down: patch by patch, and the vacuum before the first coat."""

    patch_s: Floats
    """Start of the coat to each patch."""
    lasts_s: float
    vacuum_s: float
    """Before the first coat only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One floor's long clocks under one leaning; +inf beyond the hours given.

    What closes there closes with them: nothing is said of a later hour.
    """

    walkable_s: float
    topcoat_opens_s: float
    topcoat_closes_s: float
    windows: tuple[Window, ...]
    """One per planned coat."""
    coat_walkable_s: tuple[float, ...]
    foot_s: float
    wheels_s: float
    wash_s: float


def laying(case: Case, floor: Floor) -> Laying:
    """Pace of vacuum and topcoat on one floor."""
    pace, people = case.plan.job.pace, case.plan.job.crew.topcoat
    count = len(floor.buckets)
    spread_s = floor.room.area_m2 / (pace.topcoat_m2_s * people)
    mix_s = case.plan.job.cards.topcoat.mix_s
    return Laying(
        patch_s=mix_s + spread_s * np.arange(count) / count,
        lasts_s=mix_s + spread_s,
        vacuum_s=floor.room.area_m2 / (pace.vacuum_m2_s * people),
    )


def stand(case: Case, floor: Floor, lean: Leaning) -> Standing:
    """Re-derive every long clock of a floor."""
    lay = laying(case, floor)
    wait = case.stretch(case.slurry, floor, floor.begins_s, lean)
    slurry = _slurry_ages(case, floor)
    foot_s = _slurry_when(case, slurry, "foot_traffic", wait)
    opens_s = _slurry_when(case, slurry, "topcoat_opens", wait)
    closes_s = _slurry_when(case, slurry, "topcoat_closes", 1 / wait)
    # The vacuum begins at the back wall, which is reached over all patches.
    ready_s = np.maximum(opens_s - lay.patch_s, foot_s.max() + lay.vacuum_s)
    first = Window(
        opens_s=float(ready_s.max()), closes_s=_shut_s(floor, lay, closes_s - lay.patch_s)
    )
    windows, walkable = _coats(case, floor, lay, lean, first)
    last = floor.coats[-1] if floor.coats else None
    ladder = _ladder(case, floor, lay, lean, last) if last else (float(foot_s.max()),) * 3
    return Standing(
        walkable_s=float(foot_s.max()),
        topcoat_opens_s=float(opens_s.max()),
        topcoat_closes_s=float(min(closes_s.min(), floor.hours.at_s[-1])),
        windows=windows,
        coat_walkable_s=walkable,
        foot_s=ladder[0],
        wheels_s=ladder[1],
        wash_s=ladder[2],
    )


def _shut_s(floor: Floor, lay: Laying, shut_s: Floats) -> float:
    """Latest start that meets no patch too old, nor one beyond the hours given."""
    return float(min(shut_s.min(), floor.hours.at_s[-1] - lay.patch_s.max()))


def _slurry_ages(case: Case, floor: Floor) -> tuple[Floats, Floats]:
    """Minutes of the job, and each patch's age at them, film and slab together."""
    slab = SlabAge.of(floor.hours, case.slurry)
    pour_s = floor.planned.pour_s[:, None]
    elapsed_s = np.clip(slab.at_s[None, :] - pour_s, 0.0, None)
    roots = ROOT_STEP * np.arange(floor.runs.excess_age_s.shape[1])
    excess_s = np.stack(
        [
            np.interp(since, roots, excess)
            for since, excess in zip(np.sqrt(elapsed_s), floor.runs.excess_age_s, strict=True)
        ]
    )
    grown_s = slab.age_s[None, :] - slab.gathered(floor.planned.pour_s)[:, None]
    ages_s = floor.runs.pour_age_s[:, None] + grown_s + excess_s
    return slab.at_s, np.where(elapsed_s > 0, ages_s, -np.inf)


def _slurry_when(case: Case, curves: tuple[Floats, Floats], name: str, factor: float) -> Floats:
    at_s, ages_s = curves
    level = np.full(len(ages_s), case.slurry.ref_s[name] * factor)
    return first_crossing(np.broadcast_to(at_s, ages_s.shape), ages_s, level)


def _coats(
    case: Case, floor: Floor, lay: Laying, lean: Leaning, first: Window
) -> tuple[tuple[Window, ...], tuple[float, ...]]:
    windows, walkable = [first] if floor.coats else [], []
    for i, coat in enumerate(floor.coats):
        foot_s = _coat_when(case, floor, lay, coat, "foot_traffic", lean)
        walkable.append(float(foot_s.max()))
        if i + 1 < len(floor.coats):
            opens_s = _coat_when(case, floor, lay, coat, "recoat_opens", lean)
            closes_s = _coat_when(case, floor, lay, coat, "recoat_closes", lean)
            windows.append(
                Window(
                    opens_s=float((opens_s - lay.patch_s).max()),
                    closes_s=_shut_s(floor, lay, closes_s - lay.patch_s),
                )
            )
    return tuple(windows), tuple(walkable)


def _ladder(
    case: Case, floor: Floor, lay: Laying, lean: Leaning, last: CoatPlan
) -> tuple[float, float, float]:
    foot, wheels, wash = (
        float(_coat_when(case, floor, lay, last, name, lean).max())
        for name in ("foot_traffic", "wheels", "wash_down")
    )
    return foot, wheels, wash


def _coat_when(
    case: Case, floor: Floor, lay: Laying, coat: CoatPlan, name: str, lean: Leaning
) -> Floats:
    start_s = epoch_s(coat.start)
    slab = SlabAge.of(floor.hours, case.topcoat)
    wait = case.stretch(case.topcoat, floor, start_s, lean)
    factor = 1 / wait if name == "recoat_closes" else wait
    laid_s = slab.gathered(start_s + lay.patch_s)
    return slab.reached(laid_s + case.topcoat.ref_s[name] * factor)
