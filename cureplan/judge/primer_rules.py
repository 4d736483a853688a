"""Primers under the floors: every floor that needs one, in time for its slurry."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from cureplan.core.clock import epoch_s
from cureplan.inputs.cards.model import PrimerCard
from cureplan.judge.ageing import dew_curve
from cureplan.judge.case import Case, Floor
from cureplan.judge.coat_rules import check_dry
from cureplan.judge.compare import differs, later, sooner
from cureplan.judge.finding import (
    MARGIN_TOL_S,
    WINDOW_TOL_S,
    Finding,
    Rule,
    miscounted,
    mismeasured,
)
from cureplan.judge.milestones import CureMilestones, primer_s, priming_s
from cureplan.planning.plan.model import PrimerPlan

__all__ = ["check_primers"]

RULE: Rule = "primers"
MINUTES_TOL = MARGIN_TOL_S / 60.0
TEMP_TOL_K = 0.05


def check_primers(
    case: Case, lenient: dict[str, CureMilestones], strict: dict[str, CureMilestones]
) -> Iterator[Finding]:
    """One primer under every floor of a job that has one; the slurry inside its window."""
    card = case.plan.job.cards.primer
    for floor in case.floors:
        wanted = 0 if card is None else 1
        yield from miscounted(RULE, floor.name, "primers", len(floor.primers), wanted)
        if card is None or len(floor.primers) != 1:
            continue
        primer = floor.primers[0]
        yield from _check_window(floor, primer, lenient[floor.name], strict[floor.name])
        yield from _check_work(case, floor, primer, card)
        yield from _check_air(floor, primer, case)
        yield from check_dry(
            case, floor, primer.stage, RULE, epoch_s(primer.start), epoch_s(primer.end)
        )


def _check_window(
    floor: Floor, primer: PrimerPlan, near: CureMilestones, far: CureMilestones
) -> Iterator[Finding]:
    name, zone, begins_s = floor.name, floor.zone, floor.begins_s
    window, other = near.windows["pour"], far.windows["pour"]
    label = "pour over its primer starts"
    yield from sooner(RULE, name, zone, label, begins_s, window.opens_s, WINDOW_TOL_S)
    yield from later(RULE, name, zone, label, begins_s, window.closes_s, WINDOW_TOL_S)
    for what, said, between_s in (
        ("slurry opens", primer.slurry_opens, (window.opens_s, other.opens_s)),
        ("slurry closes", primer.slurry_closes, (window.closes_s, other.closes_s)),
        (
            "primer bears feet",
            primer.walkable,
            tuple(cured.walkable_by_stage_s[primer.stage] for cured in (near, far)),
        ),
    ):
        low_s, high_s = between_s
        yield from differs(RULE, name, zone, what, epoch_s(said), (low_s, high_s), WINDOW_TOL_S)


def _check_work(
    case: Case, floor: Floor, primer: PrimerPlan, card: PrimerCard
) -> Iterator[Finding]:
    name, area_m2 = floor.name, floor.room.area_m2
    done_s = epoch_s(primer.start) + primer_s(case, floor, primer, card)
    yield from differs(
        RULE, name, floor.zone, "primer ends", epoch_s(primer.end), (done_s, done_s),
        MARGIN_TOL_S,
    )  # fmt: skip
    volume_m3 = area_m2 / card.spread_m2_m3
    batches = max(1, math.ceil(volume_m3 / card.batch_m3 - 1e-9))
    yield from miscounted(RULE, name, "primer batches", primer.batches, batches)
    yield from mismeasured(
        RULE, name, "primer", primer.volume_m3, volume_m3, within=1e-6, unit="m3"
    )
    batch_m2 = min(area_m2, card.batch_m3 * card.spread_m2_m3)
    slab_c = float(floor.hours.slab(epoch_s(primer.start)))
    rate = case.primer
    working_s = math.nan
    if rate is not None:
        humidity = floor.hours.humidity(epoch_s(primer.start))
        speed = float(rate.speed(slab_c)) * float(rate.pace(humidity))
        working_s = rate.ref_s["working_time"] / speed
    for what, got_min, want_s in (
        ("a batch of primer", primer.batch_minutes, card.mix_s + priming_s(case, batch_m2)),
        ("its working time", primer.batch_working_min, working_s),
    ):
        yield from mismeasured(
            RULE, name, what, got_min, want_s / 60.0, within=MINUTES_TOL, unit="min"
        )
    yield from miscounted(
        RULE, name, "primer with grains", int(primer.broadcast), int(card.broadcast_kg_m2 > 0)
    )


def _check_air(floor: Floor, primer: PrimerPlan, case: Case) -> Iterator[Finding]:
    start_s, name = epoch_s(primer.start), floor.name
    yield from mismeasured(
        RULE, name, "slab under the primer", primer.slab_c, float(floor.hours.slab(start_s)),
        within=TEMP_TOL_K, unit="°C",
    )  # fmt: skip
    at_s, dew_c = dew_curve(case.plan.hours)
    then_c = float(np.interp(start_s, at_s, dew_c))
    said_c = math.nan if primer.dew_c is None else primer.dew_c
    if math.isnan(then_c) != math.isnan(said_c):
        known = (int(said_c == said_c), int(then_c == then_c))
        yield from miscounted(RULE, name, "dew points known", *known)
    elif said_c == said_c:
        yield from mismeasured(
            RULE, name, "dew point", said_c, then_c, within=TEMP_TOL_K, unit="°C"
        )
