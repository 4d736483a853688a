"""Shares of nights: shares at all, and in keeping with each other.

How often things hold is drawn and not judged; but what holds in a night holds for each of
its parts, so that the shares bound one another from both sides.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cureplan.judge.amounts import miscounted, mismeasured
from cureplan.judge.case import Case
from cureplan.judge.finding import Finding

__all__ = ["check_risk"]

ROUNDED = 0.001


def check_risk(case: Case) -> Iterator[Finding]:
    """Shares lie within 0 to 1, and no whole holds more often than a part of it."""
    plan, risk = case.plan, case.plan.risk
    yield from miscounted("risk", None, "seed", risk.seed, plan.job.seed)
    spread = max(m.spread_frac for m in plan.job.cards.slurry.milestones.values())
    label = "spread of batches"
    yield from mismeasured(
        "risk", None, label, risk.batch_sd_frac, spread, within=1e-9, unit="share"
    )
    if risk.members < 1:
        yield from miscounted("risk", None, "nights drawn", risk.members, 1)
    for floor in case.floors:
        yield from _check_whole(
            floor.name, "its buckets", floor.plan.keeps_frac,
            [bucket.keeps_frac for bucket in floor.buckets],
        )  # fmt: skip
    for name, whole, parts in (
        ("all buckets", risk.buckets_keep_frac, [f.plan.keeps_frac for f in case.floors]),
        ("all coats", risk.coats_keep_frac, [coat.keeps_frac for coat in plan.coats]),
        (
            "everything",
            risk.all_keep_frac,
            [risk.buckets_keep_frac, risk.coats_keep_frac, risk.opens_on_time_frac],
        ),
    ):
        yield from _check_whole(None, name, whole, parts)


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
