"""Every bucket's clocks re-run, its margin, and whether the status keeps its word."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from cureplan.clock import epoch_s
from cureplan.judge.case import READ_SLAB_SD_K, Case, Floor
from cureplan.judge.compare import unlike
from cureplan.judge.finding import MARGIN_TOL_S, Finding

__all__ = ["check_margins"]

DOUBT_TOL = 0.001  # instants and hours are rounded in the plan
TEMP_TOL_K = 0.1  # hourly slab values are written to a thousandth; the rest is stepping
ENDS = {
    "wet_edge": "wet_edge_end",
    "working_time": "working_time_end",
    "broadcast_closes": "broadcast_end",
}

Floats = NDArray[np.float64]


def check_margins(case: Case) -> Iterator[Finding]:
    """Ends, margins and binding clocks are as re-derived; the status follows from them."""
    for floor in case.floors:
        for clock, field in ENDS.items():
            ends_s = np.array([epoch_s(getattr(b, field)) for b in floor.buckets])
            yield from unlike(floor, "margins", f"{clock} ends", ends_s, floor.ends_s[clock])
        yield from _check_temperatures(floor)
        yield from _check_doubt(case, floor)
        yield from _check_least(floor)
        yield from _check_room(floor)
        yield from _check_status(case, floor)
    stated_k = case.plan.risk.slab_sd_k
    if not stated_k >= READ_SLAB_SD_K:
        yield Finding(
            rule="margins",
            room=None,
            what=f"slabs are said to be known to {stated_k:.1f} K, an infrared reading "
            f"itself is known to {READ_SLAB_SD_K:.1f} K",
            off_by=READ_SLAB_SD_K - stated_k,
            unit="K",
        )


def _check_temperatures(floor: Floor) -> Iterator[Finding]:
    slab_c = floor.hours.slab(floor.planned.pour_s)
    for label, got_c, want_c in (
        ("mixed", [b.mixed_c for b in floor.buckets], floor.runs.mixed_c),
        ("poured", [b.pour_c for b in floor.buckets], floor.runs.pour_c),
        ("slab", [b.slab_c for b in floor.buckets], slab_c),
    ):
        off_k = np.abs(np.array(got_c) - want_c)
        for i in np.flatnonzero(~(off_k <= TEMP_TOL_K))[:1]:
            yield Finding(
                rule="margins",
                room=floor.name,
                what=f"{floor.name} bucket {floor.buckets[i].number}: {label} at "
                f"{got_c[i]:.1f} °C, re-derived as {want_c[i]:.1f} °C",
                off_by=float(off_k[i]),
                unit="K",
            )


def _check_doubt(case: Case, floor: Floor) -> Iterator[Finding]:
    """How surely the clocks are said to be known is what card and slab allow."""
    low, high = sorted(
        case.doubt_frac(case.slurry, floor, floor.begins_s, lean)
        for lean in ("lenient", "strict")
    )
    for bucket in floor.buckets:
        stated = bucket.clocks_sd_frac
        if not low - DOUBT_TOL <= stated <= high + DOUBT_TOL:
            near = low if stated < low else high
            yield Finding(
                rule="margins",
                room=floor.name,
                what=f"{floor.name} bucket {bucket.number}: its clocks are said to be known to "
                f"{stated:.1%}, re-derived as {near:.1%}",
                off_by=abs(stated - near),
                unit="share",
            )
            return


def _check_least(floor: Floor) -> Iterator[Finding]:
    """Each bucket's printed margin and the clock it is said to hang on."""
    margins_s = floor.margins_s(floor.ends_s)
    least_s = _least(margins_s)
    for i, bucket in enumerate(floor.buckets):
        off_s = abs(bucket.margin_min * 60 - float(least_s[i]))
        if not off_s <= MARGIN_TOL_S:
            yield _margin(floor, f"bucket {bucket.number}", bucket.margin_min, least_s[i])
        bound_s = float(margins_s[bucket.binding][i]) - float(least_s[i])
        if not bound_s <= MARGIN_TOL_S:
            binding = min(margins_s, key=lambda clock: margins_s[clock][i])
            yield Finding(
                rule="margins",
                room=floor.name,
                what=f"{floor.name} bucket {bucket.number}: {binding} binds, not "
                f"{bucket.binding}, which has {bound_s / 60:.1f} min more",
                off_by=bound_s / 60,
                unit="min",
            )


def _check_room(floor: Floor) -> Iterator[Finding]:
    plan, margins_s = floor.plan, floor.margins_s(floor.ends_s)
    least_s = _least(margins_s)
    if not abs(plan.margin_min * 60 - least_s.min()) <= MARGIN_TOL_S:
        yield _margin(floor, "the least margin", plan.margin_min, least_s.min())
    at = [i for i, bucket in enumerate(floor.buckets) if bucket.number == plan.binding_bucket]
    over_s = float(margins_s[plan.binding][at[0]] - least_s.min()) if at else np.inf
    if not over_s <= MARGIN_TOL_S:
        yield Finding(
            rule="margins",
            room=floor.name,
            what=f"{floor.name}: bucket {plan.binding_bucket} by {plan.binding} is said to "
            f"bind, yet another is {over_s / 60:.1f} min shorter",
            off_by=over_s / 60,
            unit="min",
        )
    low_s, high_s = sorted(float(_sure(floor, lean)) for lean in ("lenient", "strict"))
    sure_s = plan.sure_margin_min * 60
    if not low_s - MARGIN_TOL_S <= sure_s <= high_s + MARGIN_TOL_S:
        near_s = low_s if sure_s < low_s else high_s
        yield _margin(floor, "the sure margin", plan.sure_margin_min, near_s)


def _check_status(case: Case, floor: Floor) -> Iterator[Finding]:
    if case.plan.status != "within policy":
        return
    for label, left_s, needed_s in (
        ("the least margin", _least(floor.margins_s(floor.ends_s)).min(), _asked_s(case)),
        ("the sure margin", _sure(floor, "lenient"), 0.0),
    ):
        short_s = needed_s - float(left_s)
        if not short_s <= MARGIN_TOL_S:
            yield Finding(
                rule="margins",
                room=floor.name,
                what=f"{floor.name}: the plan is said to be within policy, but {label} is "
                f"{left_s / 60:.1f} min and {needed_s / 60:.1f} min are asked",
                off_by=short_s / 60,
                unit="min",
            )


def _asked_s(case: Case) -> float:
    return case.plan.job.policy.margin_s


def _least(margins_s: dict[str, Floats]) -> Floats:
    return np.asarray(np.min(list(margins_s.values()), axis=0))


def _sure(floor: Floor, lean: str) -> float:
    """Least margin when everything ages faster by the job's confidence [s]."""
    ends_s = floor.fast_ends_s["lenient" if lean == "lenient" else "strict"]
    return float(_least(floor.margins_s(ends_s)).min())


def _margin(floor: Floor, what: str, got_min: float, want_s: float) -> Finding:
    return Finding(
        rule="margins",
        room=floor.name,
        what=f"{floor.name}: {what} is given as {got_min:.2f} min, re-derived as "
        f"{want_s / 60:.2f} min",
        off_by=abs(got_min - float(want_s) / 60),
        unit="min",
    )
