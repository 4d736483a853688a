"""What a plan states of itself: sums, answers, odds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from cureplan.core.clock import epoch_s
from cureplan.judge.ageing import dew_curve
from cureplan.judge.case import Case, Floor
from cureplan.judge.finding import MARGIN_TOL_S, Finding, miscounted, mismeasured
from cureplan.judge.shared_hands import busiest_s, hands_at, work_of_bucket_s
from cureplan.judge.takeoff_rules import coat_volume_m3
from cureplan.planning.plan.model import CoatPlan, Plan

__all__ = [
    "check_doubt",
    "check_risk",
    "check_stated",
]

TEMP_TOL_K = 0.05
"""Written to a hundredth, off hours written to a thousandth."""
LEVEL_K = 0.3  # a slab that warms less counts as level: invented
MINUTES_TOL = MARGIN_TOL_S / 60.0
SHARE_TOL = 1e-9


def check_stated(case: Case) -> Iterator[Finding]:
    """Rhythm, temperatures, batches and tries are those of the job and the hours."""
    for floor in case.floors:
        yield from _check_rhythm(case, floor)
        yield from _check_air_and_slab(floor)
        yield from _check_shade(case, floor)
        yield from _check_tries(floor)
        for coat in floor.coats:
            yield from _check_batches(case, floor, coat)
            yield from _check_coat_air(case, floor, coat)


def _check_rhythm(case: Case, floor: Floor) -> Iterator[Finding]:
    """The interval between pours is that of the slowest task, and the right one is named."""
    if case.plan.job.crew.shares:
        yield from _check_shared_rhythm(case, floor)
        return
    work_s = work_of_bucket_s(case, floor)
    mixing = min(case.plan.job.crew.stations, hands_at(case, floor, "mixer"))
    tasks_s = {
        "mixing": work_s["mixer"] / max(1, mixing),
        "haul": work_s["runner"] / hands_at(case, floor, "runner"),
        "rake": work_s["rake"] / hands_at(case, floor, "rake"),
        "smooth": work_s["smoother"] / hands_at(case, floor, "smoother"),
        "broadcast": work_s["broadcaster"] / hands_at(case, floor, "broadcaster"),
        "edge": work_s["edge"] / hands_at(case, floor, "edge"),
    }
    slowest_min = max(tasks_s.values()) / 60.0
    said = tasks_s.get(floor.plan.cadence_limit, 0.0) / 60.0
    for label, got_min in (("rhythm", floor.plan.cadence_min), ("its slowest task", said)):
        yield from mismeasured(
            "buckets", floor.name, label, got_min, slowest_min, within=MINUTES_TOL, unit="min"
        )


def _check_shared_rhythm(case: Case, floor: Floor) -> Iterator[Finding]:
    """No bucket follows sooner than the busiest pair of hands is done with the one before."""
    least_min = busiest_s(case, floor) / 60.0
    if floor.plan.cadence_min < least_min:
        yield from mismeasured(
            "buckets", floor.name, "rhythm", floor.plan.cadence_min, least_min,
            within=MINUTES_TOL, unit="min",
        )  # fmt: skip
    apart_s = np.diff(floor.planned.liquids_s)
    if apart_s.size and apart_s.min() < 60.0 * least_min:
        yield from mismeasured(
            "buckets", floor.name, "interval between buckets", float(apart_s.min()) / 60.0,
            least_min, within=MINUTES_TOL, unit="min",
        )  # fmt: skip


def _check_air_and_slab(floor: Floor) -> Iterator[Finding]:
    plan, begins_s = floor.plan, floor.begins_s
    for label, got_c, want_c in (
        ("room air", plan.air_c, float(floor.hours.air(begins_s))),
        ("slab", plan.slab_c, float(floor.hours.slab(begins_s))),
    ):
        yield from mismeasured(
            "hours", floor.name, label, got_c, want_c, within=TEMP_TOL_K, unit="°C"
        )
    rises_k = float(np.diff(floor.hours.slab([begins_s, floor.ends_pour_s]))[0])
    wrong_k = rises_k - LEVEL_K if plan.slab_falling else LEVEL_K - rises_k
    if wrong_k > TEMP_TOL_K:
        said = "falls or is level" if plan.slab_falling else "warms"
        yield Finding(
            rule="hours",
            room=floor.name,
            what=f"{floor.name}: the slab is said to be one that {said}, it changes by "
            f"{rises_k:+.1f} K over the pour",
            off_by=wrong_k,
            unit="K",
        )


def _check_shade(case: Case, floor: Floor) -> Iterator[Finding]:
    """A floor that the sun falls on, or of which a night finds a half the warmer, has a
    shade, which is nowhere the warmer part."""
    night = case.plan.night
    halved = night is not None and any(
        slab.room == floor.name and slab.warm_parts for slab in night.slab
    )
    over_k = floor.hours.shade_c - floor.hours.slab_c
    level = floor.room.sun_patch is None and not halved
    worst_k = float(np.max(np.abs(over_k) if level else over_k))
    if worst_k > TEMP_TOL_K:
        yield Finding(
            rule="hours",
            room=floor.name,
            what=f"{floor.name}: the shade is {worst_k:.1f} K off what a floor with its sun "
            "can have",
            off_by=worst_k,
            unit="K",
        )


def _check_tries(floor: Floor) -> Iterator[Finding]:
    """The try that was adopted is the floor's own, and what each buys is its difference."""
    plan, name = floor.plan, floor.name
    if not plan.tries:
        return
    yield from miscounted(
        "margins", name, "tries adopted", sum(t.adopted for t in plan.tries), 1
    )
    for tried in plan.tries:
        label = f"what {', '.join(tried.remedies) or 'nothing'} in {tried.bays} bays buys"
        gained_min = tried.margin_min - plan.as_is_margin_min
        yield from mismeasured(
            "margins", name, label, tried.buys_min, gained_min, within=0.02, unit="min"
        )
        plain = not tried.remedies
        if plain and tried.bays != 1:
            yield from miscounted("margins", name, "bays without a remedy", tried.bays, 1)
        for is_it, margin_min in (
            (plain, plan.as_is_margin_min),
            (tried.adopted, plan.margin_min),
        ):
            if is_it:
                label = "margin of a try that is the floor's own"
                yield from mismeasured(
                    "margins", name, label, tried.margin_min, margin_min,
                    within=MINUTES_TOL, unit="min",
                )  # fmt: skip
        if tried.adopted:
            yield from miscounted("margins", name, "bays adopted", tried.bays, plan.bays)


def _check_batches(case: Case, floor: Floor, coat: CoatPlan) -> Iterator[Finding]:
    job, label = case.plan.job, coat.stage
    volume_m3 = coat_volume_m3(case, floor, coat.coat)
    batch_m3 = job.cards.topcoat.batch_m3
    batches = max(1, int(np.ceil(volume_m3 / batch_m3 - SHARE_TOL)))
    yield from miscounted("coats", floor.name, f"{label}, batches", coat.batches, batches)
    area_m2 = floor.room.area_m2 * min(1.0, batch_m3 / volume_m3)
    speed_m2_s = job.pace.topcoat_m2_s * job.crew.topcoat
    batch_min = (job.cards.topcoat.mix_s + area_m2 / speed_m2_s) / 60.0
    start_s = epoch_s(coat.start)
    rate = float(case.topcoat.speed(floor.hours.slab(start_s)))
    rate *= float(case.topcoat.pace(floor.hours.humidity(start_s)))
    working_s = case.topcoat.ref_s["working_time"] / rate
    yield from mismeasured(
        "coats", floor.name, label, coat.volume_m3, volume_m3, within=1e-6, unit="m3"
    )
    for what, got_min, want_min in (
        ("a batch", coat.batch_minutes, batch_min),
        ("working time", coat.batch_working_min, working_s / 60.0),
    ):
        yield from mismeasured(
            "coats", floor.name, f"{label}, {what}", got_min, want_min,
            within=MINUTES_TOL, unit="min",
        )  # fmt: skip


def _check_coat_air(case: Case, floor: Floor, coat: CoatPlan) -> Iterator[Finding]:
    start_s, label = epoch_s(coat.start), coat.stage
    at_s, dew_c = dew_curve(case.plan.hours)
    dew_then_c = float(np.interp(start_s, at_s, dew_c))
    yield from mismeasured(
        "coats", floor.name, f"{label}, slab", coat.slab_c,
        float(floor.hours.slab(start_s)), within=TEMP_TOL_K, unit="°C",
    )  # fmt: skip
    if coat.dew_c is not None and not np.isnan(dew_then_c):
        yield from mismeasured(
            "coats", floor.name, f"{label}, dew point", coat.dew_c, dew_then_c,
            within=TEMP_TOL_K, unit="°C",
        )  # fmt: skip
    elif (coat.dew_c is None) != np.isnan(dew_then_c):
        yield Finding(
            rule="coats",
            room=floor.name,
            what=f"{floor.name}, {label}: its dew point is given where the hours have none, "
            "or left out where they have one",
            off_by=1.0,
            unit="count",
        )


ROUNDED = 0.001


def check_risk(case: Case) -> Iterator[Finding]:
    """Shares lie within 0 to 1, and no whole holds more often than a part of it."""
    plan, risk = case.plan, case.plan.risk
    yield from miscounted("risk", None, "seed", risk.seed, plan.job.seed)
    spread = case.slurry.batch_frac
    label = "spread of batches"
    yield from mismeasured(
        "risk", None, label, risk.batch_sd_frac, spread, within=1e-9, unit="share"
    )
    asked = plan.job.policy.confidence
    if plan.status == "within policy" and not risk.all_keep_frac >= asked:
        label = "all hold, in a plan said to be within policy,"
        yield from mismeasured(
            "risk", None, label, risk.all_keep_frac, asked, within=0.0, unit="share"
        )
    if risk.members < 1:
        yield from miscounted("risk", None, "nights drawn", risk.members, 1)
    for floor in case.floors:
        yield from _check_whole(
            floor.name, "its buckets", floor.plan.keeps_frac,
            [bucket.keeps_frac for bucket in floor.buckets],
        )  # fmt: skip
    planned = risk.all_keep_frac if risk.as_planned_frac is None else risk.as_planned_frac
    shares = [("as planned", planned, risk.all_keep_frac), ("a cut", risk.cut_frac, 1.0)]
    shares.append(("a stop", risk.stop_lost_frac, 1.0 - risk.buckets_keep_frac))
    yield from _check_shares(shares)
    yield from check_doubt(plan)
    laid = [coat.keeps_frac for coat in plan.coats]
    laid += [primer.keeps_frac for primer in plan.primers]
    for name, whole, parts in (
        ("all buckets", risk.buckets_keep_frac, [f.plan.keeps_frac for f in case.floors]),
        ("no wait before a wet floor", risk.no_wait_frac, [risk.no_wait_frac]),
        ("all coats", risk.coats_keep_frac, laid),
        (
            "everything",
            risk.all_keep_frac,
            [
                risk.buckets_keep_frac,
                risk.coats_keep_frac,
                risk.shifts_keep_frac,
                risk.limits_keep_frac,
                risk.opens_on_time_frac,
            ],
        ),
    ):
        yield from _check_whole(None, name, whole, parts)


def check_doubt(plan: Plan) -> Iterator[Finding]:
    """What the doubt is made of costs shares of the nights."""
    shares = [(term.term, term.costs_frac, 1.0) for term in plan.risk.made_of]
    yield from _check_shares([("heavier tails", plan.risk.tails_cost_frac, 1.0), *shares])


def _check_shares(shares: Iterable[tuple[str, float, float]]) -> Iterator[Finding]:
    for name, got, most in shares:
        near = min(max(got, 0.0), most)
        yield from mismeasured("risk", None, name, got, near, within=ROUNDED, unit="share")


def _check_whole(
    room: str | None, name: str, whole: float, parts: Sequence[float]
) -> Iterator[Finding]:
    most = min([1.0, *parts])
    # At the least, each part is lost in other nights.
    least = max(0.0, 1.0 - sum(1.0 - part for part in parts))
    for got, low, high, label in (
        (whole, least, most, f"{name} hold"),
        (min([1.0, *parts]), 0.0, 1.0, f"the least of {name} holds"),
        (max([0.0, *parts]), 0.0, 1.0, f"the most of {name} holds"),
    ):
        near = min(max(got, low), high)
        within = ROUNDED * max(1, len(parts)) if got < low else ROUNDED
        yield from mismeasured("risk", room, label, got, near, within=within, unit="share")
