"""Planned instants against re-derived ones, turned into findings."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import tzinfo

import numpy as np
from numpy.typing import NDArray

from cureplan.judge.case import Floor
from cureplan.judge.finding import MARGIN_TOL_S, Finding, Rule, wall_clock

__all__ = ["differs", "later", "sooner", "too_late", "too_soon", "unlike"]

Floats = NDArray[np.float64]


def too_soon(
    floor: Floor,
    rule: Rule,
    label: str,
    got_s: Floats,
    soonest_s: Floats,
    which: NDArray[np.intp] | None = None,
) -> Iterator[Finding]:
    """Findings where `got_s` comes before `soonest_s`: the worst one, and how many more."""
    yield from _worst(floor, rule, label, got_s, soonest_s, soonest_s - got_s, which)


def too_late(
    floor: Floor,
    rule: Rule,
    label: str,
    got_s: Floats,
    latest_s: Floats,
    which: NDArray[np.intp] | None = None,
) -> Iterator[Finding]:
    """Findings where `got_s` comes after `latest_s`."""
    yield from _worst(floor, rule, label, got_s, latest_s, got_s - latest_s, which)


def unlike(
    floor: Floor,
    rule: Rule,
    label: str,
    got_s: Floats,
    want_s: Floats,
    which: NDArray[np.intp] | None = None,
) -> Iterator[Finding]:
    """Findings where `got_s` is not `want_s`."""
    yield from _worst(floor, rule, label, got_s, want_s, np.abs(got_s - want_s), which)


def _worst(
    floor: Floor,
    rule: Rule,
    label: str,
    got_s: Floats,
    want_s: Floats,
    off_s: Floats,
    which: NDArray[np.intp] | None,
) -> Iterator[Finding]:
    # "not within", so that an instant that is missing or never comes is found too.
    wrong = np.flatnonzero(~(off_s <= MARGIN_TOL_S))
    if not wrong.size:
        return
    worst = int(wrong[np.argmax(np.nan_to_num(off_s[wrong], nan=np.inf))])
    bucket = floor.buckets[worst if which is None else int(which[worst])]
    more = f" (and {wrong.size - 1} more)" if wrong.size > 1 else ""
    got, want = (wall_clock(at[worst], floor.zone) for at in (got_s, want_s))
    off_min = float(off_s[worst]) / 60
    yield Finding(
        rule=rule,
        room=floor.name,
        what=f"{floor.name} bucket {bucket.number}: {label} at {got}, should be {want}"
        f" (off by {off_min:.1f} min){more}",
        off_by=off_min,
        unit="min",
    )


def sooner(
    rule: Rule,
    room: str,
    zone: tzinfo,
    label: str,
    got_s: float,
    soonest_s: float,
    tol_s: float,
) -> Iterator[Finding]:
    """A finding where one instant comes before the soonest it may."""
    if not got_s >= soonest_s - tol_s:
        yield _one(rule, room, zone, f"{label} at", got_s, "not before", soonest_s)


def later(
    rule: Rule, room: str, zone: tzinfo, label: str, got_s: float, latest_s: float, tol_s: float
) -> Iterator[Finding]:
    """A finding where one instant comes after the latest it may."""
    if not got_s <= latest_s + tol_s:
        yield _one(rule, room, zone, f"{label} at", got_s, "not after", latest_s)


def differs(
    rule: Rule,
    room: str,
    zone: tzinfo,
    label: str,
    got_s: float,
    between_s: tuple[float, float],
    tol_s: float,
) -> Iterator[Finding]:
    """A finding where one instant lies outside what was re-derived, in either order."""
    low_s, high_s = min(between_s), max(between_s)
    if not low_s - tol_s <= got_s <= high_s + tol_s:
        near_s = low_s if got_s < low_s else high_s
        yield _one(rule, room, zone, f"{label} at", got_s, "re-derived as", near_s)


def _one(
    rule: Rule, room: str, zone: tzinfo, label: str, got_s: float, word: str, want_s: float
) -> Finding:
    off_min = abs(got_s - want_s) / 60
    return Finding(
        rule=rule,
        room=room,
        what=f"{room}: {label} {wall_clock(got_s, zone)}, {word} {wall_clock(want_s, zone)}"
        f" (off by {off_min:.1f} min)",
        off_by=off_min,
        unit="min",
    )
