"""Who is needed when, how busy they are, and what one more of them would change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cureplan.inputs.cards.model import SlurryCard
from cureplan.inputs.job.model import Crew
from cureplan.planning.floor.pour import PourPlan

__all__ = [
    "POUR_ROLES",
    "RoleSpan",
    "bottleneck",
    "pour_roles",
    "what_is_more",
    "with_one_more",
]

POUR_ROLES = ("mixer", "runner", "rake", "smoother", "broadcaster", "edge")


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleSpan:
    """One role on one floor: first and last task [s from the first stir], and how busy."""

    role: str
    people: int
    first_s: float
    last_s: float
    busy_frac: float


def pour_roles(plan: PourPlan, card: SlurryCard, *, crew: Crew) -> tuple[RoleSpan, ...]:
    """First and last task of each role on a floor, in the order they are needed."""
    times, cadence = plan.times, plan.cadence
    mixed = times.filler_in_s + card.filler_mix_s
    spans = {
        "mixer": (times.liquids_in_s[0], mixed[-1], cadence.mixing_s),
        "runner": (mixed[0], times.pour_s[-1], 2.0 * cadence.haul_s / crew.runner),
        "rake": (times.pour_s[0], times.raked_s[-1], cadence.rake_s),
        "edge": (times.pour_s[0], times.smoothed_s[-1], cadence.edge_s),
        "smoother": (times.raked_s[0], times.smoothed_s[-1], cadence.smooth_s),
        "broadcaster": (times.smoothed_s[0], times.last_s, cadence.broadcast_s),
    }
    return tuple(
        RoleSpan(
            role=role,
            people=getattr(crew, role),
            first_s=float(first),
            last_s=float(last),
            busy_frac=min(1.0, busy_s / cadence.interval_s),
        )
        for role, (first, last, busy_s) in spans.items()
    )


_MORE_HANDS = {
    "mixing": {"mixer": 1, "stations": 1},
    "mixer": {"mixer": 1},
    "station": {"stations": 1},
    "haul": {"runner": 1},
    "rake": {"rake": 1},
    "smooth": {"smoother": 1},
    "broadcast": {"broadcaster": 1},
    "edge": {"edge": 1},
}


def what_is_more(crew: Crew, task: str) -> str:
    """What one more at a task means: for mixing, what of mixer and station does not idle.

    Examples
    --------
    >>> from cureplan.api import demo_job_path, read_job
    >>> crew = read_job(demo_job_path()).crew
    >>> what_is_more(crew, "mixing"), what_is_more(replace(crew, mixer=1), "mixing")
    ('mixing', 'mixer')
    """
    if task != "mixing" or crew.mixer == crew.stations:
        return task
    return "mixer" if crew.mixer < crew.stations else "station"


def with_one_more(crew: Crew, task: str) -> Crew:
    """The crew with one more pair of hands at a task; at mixing, with what they need."""
    hands = _MORE_HANDS[what_is_more(crew, task)]
    return replace(crew, **{name: getattr(crew, name) + n for name, n in hands.items()})


def bottleneck(plans: Sequence[PourPlan]) -> str:
    """The task that sets the rhythm on most of the floors."""
    limits = [plan.cadence.limit for plan in plans]
    return max(set(limits), key=lambda task: (limits.count(task), task))
