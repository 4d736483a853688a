"""Hours-long clocks: when a floor may be walked on, coated, and opened."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cureplan.core.clock import epoch_s
from cureplan.inputs.cards.model import PrimerCard
from cureplan.inputs.job.model import Job, Room
from cureplan.judge.ageing import CLOSING, CardRate, SlabAge
from cureplan.judge.case import Bound, Case, Floor
from cureplan.judge.kit import ROOT_STEP, first_crossing
from cureplan.planning.plan.model import CoatPlan, PrimerPlan

__all__ = [
    "CureMilestones",
    "Step",
    "Window",
    "cove_m",
    "cure_milestones",
    "floor_steps",
    "lasts_s",
    "lead_s",
    "leading_up",
    "primer_s",
    "priming_s",
    "step_s",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """When a coat may start, seconds since 1970."""

    opens_s: float
    closes_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One entry of a floor's work, read off the job: what it waits for, what it takes."""

    stage: str
    """What calls name it by."""
    role: str
    material: str | None
    """None: work without material, which leads straight up to the next entry."""
    opens: str | None = None
    """Milestone below that it waits for, and the one it must not overrun."""
    closes: str | None = None
    bears: str | None = None
    """Milestone all of the floor below has reached before anybody walks on it."""
    coat: int = 0
    """Number of a coat."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CureMilestones:
    """One floor's long clocks under one bound; +inf beyond the hours given.

    What closes there closes with them: nothing is said of a later hour.
    """

    walkable_s: float
    topcoat_opens_s: float
    topcoat_closes_s: float
    windows: dict[str, Window]
    """By stage, of every layer that lies on another."""
    walkable_by_stage_s: dict[str, float]
    foot_s: float
    wheels_s: float
    wash_s: float


def floor_steps(job: Job, room: Room) -> tuple[Step, ...]:
    """Everything a floor's job asks for, from the slab up."""
    primed = job.cards.primer is not None
    bears = None if job.crew.spiked_shoes else "foot_traffic"
    first, then = _cove_steps(job, room)
    steps = [
        *first,
        *([Step(stage="primer", role="primer", material="primer")] if primed else []),
        Step(
            stage="pour",
            role="mixer",
            material="slurry",
            opens="slurry_opens" if primed else None,
            closes="slurry_closes" if primed else None,
            bears=bears if primed else None,
        ),
        *then,
        Step(stage="vacuum", role="vacuum", material=None, bears="foot_traffic"),
    ]
    below = "topcoat"
    for coat in range(1, room.topcoats + 1):
        steps.append(
            Step(
                stage=f"coat {coat}",
                role="topcoat",
                material="topcoat",
                opens=f"{below}_opens",
                closes=f"{below}_closes",
                bears=bears,
                coat=coat,
            )
        )
        below = "recoat"
    return tuple(steps)


def _cove_steps(job: Job, room: Room) -> tuple[list[Step], list[Step]]:
    """The cove of a room before its pour, and after it."""
    if job.cove is None or room.cove_m == 0:
        return [], []
    if job.cove.when == "after":
        return [], [Step(stage="cove", role="topcoat", material=None, bears="foot_traffic")]
    role = "edge" if job.cards.primer is None else "primer"
    return [Step(stage="cove", role=role, material=None)], []


def said_s(case: Case, floor: Floor, event: str, coat: int | None = None) -> float | None:
    """When the log of the night says that something was done to a floor."""
    night = case.plan.night
    for line in () if night is None else night.log:
        if (line.event, line.room) == (event, floor.name) and line.value in (
            "" if coat is None else str(coat),
        ):
            return epoch_s(line.at)
    return None


def leading_up(case: Case, floor: Floor, stage: str) -> tuple[Step, ...]:
    """Work without material that a crew still does right before a stage, in its order."""
    if stage.startswith("coat") and said_s(case, floor, "vacuumed") is not None:
        return ()
    found: list[Step] = []
    for step in floor_steps(case.plan.job, floor.room):
        if step.stage == stage:
            break
        found = [*found, step] if step.material is None else []
    return tuple(step for step in found if step_s(case, floor, step) > 0)


def lead_s(case: Case, floor: Floor, stage: str) -> float:
    """How long before a stage its crew begins."""
    return sum(step_s(case, floor, step) for step in leading_up(case, floor, stage))


def cove_m(floor: Floor) -> float:
    """Length of a floor's cove, where the job has one."""
    return floor.edge_m if floor.room.cove_m is None else floor.room.cove_m


def step_s(case: Case, floor: Floor, step: Step) -> float:
    """How long work takes that leads up to a layer."""
    cove, crew = case.plan.job.cove, case.plan.job.crew
    if step.stage != "cove" or cove is None:
        return _cleaning_s(case, floor)
    hands = {"edge": crew.edge, "primer": crew.primer, "topcoat": crew.topcoat}[step.role]
    whole_s = cove_m(floor) / (cove.pace_m_s * hands)
    if case.plan.night is None:
        return whole_s
    if said_s(case, floor, "cove done") is not None:
        return 0.0
    # What is up already when a plan is made again may stand in no log: its calls say the rest.
    left_s = (
        (call.last_task - call.first_task).total_seconds()
        for call in case.plan.calls
        if (call.room, call.stage) == (floor.name, "cove")
    )
    return min(whole_s, max(left_s, default=0.0))


def _cleaning_s(case: Case, floor: Floor) -> float:
    job = case.plan.job
    return floor.room.area_m2 / (job.pace.vacuum_m2_s * job.crew.topcoat)


def _spreads_s(case: Case, floor: Floor) -> float:
    job = case.plan.job
    return floor.room.area_m2 / (job.pace.topcoat_m2_s * job.crew.topcoat)


def lasts_s(case: Case, floor: Floor, coat: int) -> float:
    """How long a coat takes, its first batch's mixing included; or took, by the log."""
    done_s = said_s(case, floor, "coat laid", coat)
    if done_s is not None:
        begun_s = [epoch_s(each.start) for each in floor.coats if each.coat == coat]
        return done_s - begun_s[0]
    return case.plan.job.cards.topcoat.mix_s + _spreads_s(case, floor)


def _patch_s(case: Case, floor: Floor, coat: int) -> Floats:
    """When a coat comes to each patch, from its start."""
    mix_s, count = case.plan.job.cards.topcoat.mix_s, len(floor.buckets)
    spreads_s = _spreads_s(case, floor)
    share = lasts_s(case, floor, coat) / (mix_s + spreads_s)
    return np.asarray(share * (mix_s + spreads_s * np.arange(count) / count))


def cure_milestones(case: Case, floor: Floor, bound: Bound) -> CureMilestones:
    """Re-derive every long clock of a floor, layer by layer."""
    poured = _Poured(case, floor, bound)
    below: Callable[[str], Floats] = poured.when
    windows: dict[str, Window] = {}
    walkable_s: dict[str, float] = {"pour": float(poured.when("foot_traffic").max())}
    all_steps = floor_steps(case.plan.job, floor.room)
    for primer in floor.primers:
        rolled = _primer_when(case, floor, primer, bound)
        walkable_s[primer.stage] = float(rolled("foot_traffic").max())
        pour = next(step for step in all_steps if step.stage == "pour")
        windows["pour"] = _window(
            floor, pour, rolled, patch_s=floor.planned.pour_s - floor.begins_s
        )
    steps = [step for step in all_steps if step.coat]
    # By their place: that they are the right ones in the right order has a rule of its own.
    for coat, step in zip(floor.coats, steps, strict=False):
        windows[coat.stage] = _coat_window(case, floor, step, below)
        below = _coat_when(case, floor, coat, bound)
        walkable_s[coat.stage] = float(below("foot_traffic").max())
    ladder = ("foot_traffic", "wheels", "wash_down") if floor.coats else ("foot_traffic",) * 3
    foot_s, wheels_s, wash_s = (float(below(name).max()) for name in ladder)
    closes_s = poured.when("topcoat_closes").min()
    return CureMilestones(
        walkable_s=walkable_s["pour"],
        topcoat_opens_s=float(poured.when("topcoat_opens").max()),
        topcoat_closes_s=float(min(closes_s, floor.hours.at_s[-1])),
        windows=windows,
        walkable_by_stage_s=walkable_s,
        foot_s=foot_s,
        wheels_s=wheels_s,
        wash_s=wash_s,
    )


def _window(
    floor: Floor, step: Step, below: Callable[[str], Floats], *, patch_s: Floats
) -> Window:
    """When a layer may start that comes to each patch so long after."""
    if step.opens is None or step.closes is None:
        raise AssertionError("a layer on another waits for something")
    # It meets no patch too old, nor one beyond the hours given.
    shut_s = float((below(step.closes) - patch_s).min())
    opens_s = float((below(step.opens) - patch_s).max())
    if step.bears is not None:
        opens_s = max(opens_s, float(below(step.bears).max()))
    return Window(
        opens_s=opens_s,
        closes_s=min(shut_s, float(floor.hours.at_s[-1] - patch_s.max())),
    )


def _coat_window(
    case: Case, floor: Floor, step: Step, below: Callable[[str], Floats]
) -> Window:
    """What leads up to a coat begins at the back wall, which is reached over all patches."""
    window = _window(floor, step, below, patch_s=_patch_s(case, floor, step.coat))
    opens_s, ahead_s = window.opens_s, lead_s(case, floor, step.stage)
    for lead in leading_up(case, floor, step.stage):
        if lead.bears is not None:
            opens_s = max(opens_s, float(below(lead.bears).max()) + ahead_s)
        ahead_s -= step_s(case, floor, lead)
    return replace(window, opens_s=opens_s)


def priming_s(case: Case, area_m2: float) -> float:
    """How long an area takes to be rolled and, where the card says so, broadcast."""
    job = case.plan.job
    per_m2_s = 1.0 / job.pace.primer_m2_s
    if job.cards.primer is not None and job.cards.primer.broadcast_kg_m2 > 0:
        per_m2_s += 1.0 / job.pace.broadcast_m2_s
    return area_m2 * per_m2_s / max(1, job.crew.primer)


def primer_s(case: Case, floor: Floor, primer: PrimerPlan, card: PrimerCard) -> float:
    """How long a primer takes, its first batch's mixing included; or took, by the log."""
    done_s = said_s(case, floor, "primer laid")
    if done_s is not None:
        return done_s - epoch_s(primer.start)
    return card.mix_s + priming_s(case, floor.room.area_m2)


def _primer_when(
    case: Case, floor: Floor, primer: PrimerPlan, bound: Bound
) -> Callable[[str], Floats]:
    """When each patch of a primer reaches a milestone."""
    card = case.plan.job.cards.primer
    if card is None or case.primer is None:
        raise AssertionError("a primer is read only where the job has its card")
    start_s, rolling_s = epoch_s(primer.start), priming_s(case, floor.room.area_m2)
    count = len(floor.buckets)
    share = primer_s(case, floor, primer, card) / (card.mix_s + rolling_s)
    laid_s = start_s + share * (card.mix_s + rolling_s * np.arange(count) / count)
    return _film_when(case, floor, case.primer, start_s=start_s, laid_s=laid_s, bound=bound)


def _film_when(
    case: Case, floor: Floor, rate: CardRate, *, start_s: float, laid_s: Floats, bound: Bound
) -> Callable[[str], Floats]:
    """When each patch of anything thin reaches a milestone."""
    wait = case.age_factor(rate, floor, start_s, bound)

    def when(name: str) -> Floats:
        closing = name in CLOSING
        slab = SlabAge.of(floor.hours, rate, closing=closing)
        factor = 1 / wait if closing else wait
        return slab.reached(slab.gathered(laid_s) + rate.ref_s[name] * factor)

    return when


class _Poured:
    """When each poured patch reaches a milestone."""

    def __init__(self, case: Case, floor: Floor, bound: Bound) -> None:
        self._ref_s = case.slurry.ref_s
        self._curves = {
            closing: _slurry_ages(case, floor, closing=closing) for closing in (True, False)
        }
        self._wait = case.age_factor(case.slurry, floor, floor.begins_s, bound)

    def when(self, name: str) -> Floats:
        closing = name in CLOSING
        at_s, ages_s = self._curves[closing]
        factor = 1 / self._wait if closing else self._wait
        level = np.full(len(ages_s), self._ref_s[name] * factor)
        return first_crossing(np.broadcast_to(at_s, ages_s.shape), ages_s, level)


def _slurry_ages(case: Case, floor: Floor, *, closing: bool) -> tuple[Floats, Floats]:
    """Minutes of the job, and each patch's age at them, film and slab together."""
    slab = SlabAge.of(floor.hours, case.slurry, closing=closing)
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


def _coat_when(
    case: Case, floor: Floor, coat: CoatPlan, bound: Bound
) -> Callable[[str], Floats]:
    """When each patch of a coat reaches a milestone."""
    start_s = epoch_s(coat.start)
    laid_s = start_s + _patch_s(case, floor, coat.coat)
    return _film_when(case, floor, case.topcoat, start_s=start_s, laid_s=laid_s, bound=bound)
