"""Rooms of one group, met along an open edge: either wet all along it, or a stop line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cureplan.core.clock import epoch_s
from cureplan.judge import outlines
from cureplan.judge.case import Case, Floor
from cureplan.judge.finding import MARGIN_TOL_S, Finding

__all__ = ["Seam", "check_seams", "seams_of"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seam:
    """Two floors of a group, one poured right after the other."""

    before: Floor
    after: Floor
    edge: Indices
    """Buckets along the open edge of the first."""
    closed_by: int
    """Which of the second's buckets, raked last, meets it all along."""

    @property
    def wet(self) -> bool:
        """Whether the plan has them melt into one another."""
        return bool(self.before.met_elsewhere.any())

    @property
    def ready_s(self) -> float:
        """When grains may fall on its strip."""
        return float(self.after.planned.smoothed_s[self.closed_by])


def seams_of(case: Case) -> Iterator[Seam]:
    """Every pair of a group that follow one another."""
    for before, after in pairwise(sorted(case.floors, key=lambda floor: floor.begins_s)):
        group = before.room.group
        if group is not None and group == after.room.group:
            edge, first = _ends(before)[1], _ends(after)[0]
            raked_s = after.planned.raked_s[first]
            yield Seam(
                before=before, after=after, edge=edge, closed_by=int(first[raked_s.argmax()])
            )


def _ends(floor: Floor) -> tuple[Indices, Indices]:
    """Its buckets along the back wall, and along the open edge towards the way out."""
    bay = np.array([bucket.bay for bucket in floor.buckets])
    row = np.array([bucket.row for bucket in floor.buckets])
    last = np.array([row[bay == b].max() for b in bay])
    first, final = row == 1, row == last
    if floor.room.outline is not None:
        low_m, high_m = outlines.along_m(floor.room.outline, floor.plan.patches)
        near_m = floor.plan.row_depth_m / 2
        first &= np.array([low_m[bay == b].min() for b in bay]) <= low_m.min() + near_m
        final &= np.array([high_m[bay == b].max() for b in bay]) >= high_m.max() - near_m
    return np.flatnonzero(first), np.flatnonzero(final)


def check_seams(case: Case) -> Iterator[Finding]:
    """Who is met by another room is met all along the edge, when that room's row is raked."""
    met = {seam.before.name: seam for seam in seams_of(case)}
    for floor in case.floors:
        claimed = np.flatnonzero(floor.met_elsewhere)
        if not claimed.size:
            continue
        seam = met.get(floor.name)
        if seam is None or set(claimed.tolist()) != set(seam.edge.tolist()):
            along = [] if seam is None else [floor.buckets[i].number for i in seam.edge]
            number = floor.buckets[int(claimed[0])].number
            yield Finding(
                rule="tie-in",
                room=floor.name,
                what=f"{floor.name} bucket {number}: nothing meets it, yet it has tie-in; "
                f"another room of its group meets buckets {along}",
                off_by=float(claimed.size),
                unit="count",
            )
            continue
        yield from _check_met(seam)
    yield from _check_said(met)


def _check_met(seam: Seam) -> Iterator[Finding]:
    """Tied in when the other room's row is raked; its strip has its grains after that."""
    floor, at = seam.before, seam.before.planned
    raked_s = float(seam.after.planned.raked_s[seam.closed_by])
    hands_s = float(at.smoothed_s.max())
    for what, off_s in (
        ("is tied in", np.abs(at.tied_s[seam.edge] - raked_s).max()),
        (
            "has its grains before the edge is smooth",
            seam.ready_s - at.broadcast_s[seam.edge].min(),
        ),
        ("is left before it is smooth", hands_s - epoch_s(floor.plan.pour_end)),
    ):
        if not off_s <= MARGIN_TOL_S:
            yield Finding(
                rule="tie-in",
                room=floor.name,
                what=f"{floor.name}, at the edge to {seam.after.name}: it {what}, "
                f"off by {off_s / 60:.1f} min",
                off_by=float(off_s) / 60,
                unit="min",
            )


def _check_said(met: dict[str, Seam]) -> Iterator[Finding]:
    """The plan says wet where it has a tie-in, and a stop line where it has none."""
    for seam in met.values():
        codes = {
            reason.code
            for reason in seam.after.plan.reasons
            if reason.code.startswith("pour.seam")
            and reason.values["before"] == seam.before.name
        }
        if ("pour.seam_wet" in codes) != seam.wet or len(codes) != 1:
            yield Finding(
                rule="tie-in",
                room=seam.after.name,
                what=f"{seam.after.name}: says {sorted(codes)} of its edge to "
                f"{seam.before.name}, where {'a' if seam.wet else 'no'} tie-in is planned",
                off_by=1.0,
                unit="count",
            )
