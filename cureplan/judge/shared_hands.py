"""One pair of hands that does several things in a pour: never two of them at once."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.crew import POUR_ROLES
from cureplan.judge.case import Case, Floor
from cureplan.judge.finding import MARGIN_TOL_S, Finding

__all__ = ["busiest_s", "check_shared_hands", "hands_at", "work_of_bucket_s"]

Floats = NDArray[np.float64]


def hands_at(case: Case, floor: Floor, role: str) -> int:
    """How many are at a role of a floor's pour: heads counted, or the names called."""
    if not case.plan.job.crew.people:
        return max(1, int(getattr(case.plan.job.crew, role)))
    return max(1, len(_names(case, floor).get(role, ())))


def _names(case: Case, floor: Floor) -> dict[str, tuple[str, ...]]:
    return {
        call.role: call.names
        for call in case.plan.calls
        if call.room == floor.name and call.stage == "pour"
    }


def work_of_bucket_s(case: Case, floor: Floor) -> dict[str, float]:
    """What one pair of hands takes for each role at a bucket [s]."""
    job = case.plan.job
    card, pace, area_m2 = job.cards.slurry, job.pace, float(floor.bucket_area_m2[0])
    return {
        "mixer": card.liquids_mix_s + card.filler_mix_s + card.turnaround_s,
        "runner": 2.0 * pace.haul_s,
        "rake": area_m2 / pace.rake_m2_s,
        "smoother": area_m2 / pace.smooth_m2_s,
        "broadcaster": area_m2 / pace.broadcast_m2_s,
        "edge": floor.edge_m / len(floor.buckets) / pace.edge_m_s,
    }


def busiest_s(case: Case, floor: Floor) -> float:
    """What the busiest pair of hands does for one bucket, all its roles added up [s]."""
    work_s, names = work_of_bucket_s(case, floor), _names(case, floor)
    load_s: dict[str, float] = {}
    for role, its_s in work_s.items():
        for name in names.get(role, ()):
            load_s[name] = load_s.get(name, 0.0) + its_s / len(names[role])
    return max(load_s.values(), default=0.0)


def check_shared_hands(case: Case, floor: Floor) -> Iterator[Finding]:
    """Nobody is at two buckets, or at two tasks of one, at the same time."""
    if not case.plan.job.crew.shares:
        return
    names = _names(case, floor)
    for person in sorted({name for role in POUR_ROLES for name in names.get(role, ())}):
        parts = [
            _times(case, floor, role, names[role].index(person), len(names[role]))
            for role in POUR_ROLES
            if person in names.get(role, ())
        ]
        begins_s = np.concatenate([part[0] for part in parts])
        ends_s = np.concatenate([part[1] for part in parts])
        order = np.argsort(begins_s, kind="stable")
        twice_s = ends_s[order][:-1] - begins_s[order][1:]
        if twice_s.size and twice_s.max() > MARGIN_TOL_S:
            yield Finding(
                rule="buckets",
                room=floor.name,
                what=f"{floor.name}: {person} would be at two tasks at once",
                off_by=float(twice_s.max()) / 60.0,
                unit="min",
            )


def _times(
    case: Case, floor: Floor, role: str, place: int, hands: int
) -> tuple[Floats, Floats]:
    """From when to when somebody is at each of the buckets; edges and grains leave time."""
    at, haul_s = floor.planned, case.plan.job.pace.haul_s
    nobody = np.empty(0)
    share_s = work_of_bucket_s(case, floor).get(role, 0.0) / hands
    if role == "mixer":
        mixed_s = at.filler_s + case.plan.job.cards.slurry.filler_mix_s
        station = np.array([bucket.station for bucket in floor.buckets])
        mine = station == place + 1
        return at.liquids_s[mine], mixed_s[mine]
    if role == "runner":
        mine = np.arange(at.pour_s.size) % hands == place
        return at.pour_s[mine] - haul_s, at.pour_s[mine] + haul_s
    if role == "rake":
        return at.raked_s - share_s, at.raked_s
    if role == "smoother":
        return at.smoothed_s - share_s, at.smoothed_s
    return nobody, nobody
