"""Who is needed when, how busy they are, and what one more of them would change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cureplan.inputs.cards.model import SlurryCard
from cureplan.inputs.job.crew import POUR_ROLES, Crew
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.layout import cadence_of, lay_out
from cureplan.planning.floor.pour import PourPlan

__all__ = [
    "RoleSpan",
    "bottleneck",
    "pour_roles",
    "roles_of",
    "shared_crews",
    "slowest_task",
    "what_is_more",
    "with_one_more",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleSpan:
    """One role on one floor: first and last task [s from the first stir], and how busy."""

    role: str
    people: int
    first_s: float
    last_s: float
    busy_frac: float
    names: tuple[str, ...] = ()
    """Who they are, where the job names its people."""


def roles_of(plan: PourPlan, crew: Crew) -> dict[str, tuple[str, ...]]:
    """Who does what in a pour; heads without a name are numbered."""
    if plan.cadence.shared is not None:
        return dict(plan.cadence.shared.hands)
    if crew.people:
        return {role: tuple(p.name for p in crew.holding(role)) for role in POUR_ROLES}
    return {role: tuple(f"{n + 1}" for n in range(getattr(crew, role))) for role in POUR_ROLES}


def shared_crews(crew: Crew) -> dict[tuple[str, ...], float | None]:
    """Crews that some people are in, and how long the first of these must go home [s].

    Heads without a name are in one crew, but that the pour crew primes.
    """
    if not crew.people:
        longest_s = crew.most_s(None)
        return {("pour", "primer"): longest_s, ("topcoat",): longest_s}
    found: dict[tuple[str, ...], float | None] = {}
    for person in crew.people:
        crews = crew.crews_of(person)
        said = [s for s in (found.get(crews), crew.most_s(person)) if s is not None]
        if crews:
            found[crews] = min(said, default=None)
    return found


def pour_roles(plan: PourPlan, card: SlurryCard, *, crew: Crew) -> tuple[RoleSpan, ...]:
    """First and last task of each role on a floor, in the order they are needed."""
    times, cadence = plan.times, plan.cadence
    hands = roles_of(plan, crew)
    mixed = times.filler_in_s + card.filler_mix_s
    spans = {
        "mixer": (times.liquids_in_s[0], mixed[-1], cadence.mixing_s),
        "runner": (mixed[0], times.pour_s[-1], 2.0 * cadence.haul_s / len(hands["runner"])),
        "rake": (times.pour_s[0], times.raked_s[-1], cadence.rake_s),
        "edge": (times.pour_s[0], times.smoothed_s[-1], cadence.edge_s),
        "smoother": (times.raked_s[0], times.smoothed_s[-1], cadence.smooth_s),
        "broadcaster": (times.smoothed_s[0], times.last_s, cadence.broadcast_s),
    }
    return tuple(
        RoleSpan(
            role=role,
            people=len(hands[role]),
            names=hands[role] if crew.people else (),
            first_s=float(first),
            last_s=float(last),
            busy_frac=min(1.0, busy_s / cadence.interval_s),
        )
        for role, (first, last, busy_s) in spans.items()
    )


_MORE_HANDS = {
    "mixing": ("mixer", "stations"),
    "mixer": ("mixer",),
    "station": ("stations",),
    "haul": ("runner",),
    "rake": ("rake",),
    "smooth": ("smoother",),
    "broadcast": ("broadcaster",),
    "edge": ("edge",),
}


def what_is_more(crew: Crew, task: str) -> str:
    """What one more at a task means: for mixing, what of mixer and station does not idle.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from cureplan.api import demo_job_path, read_job
    >>> crew = read_job(demo_job_path("school-kitchen")).crew
    >>> what_is_more(crew, "mixing"), what_is_more(replace(crew, mixer=1), "mixing")
    ('mixing', 'mixer')
    """
    if task != "mixing" or crew.mixer == crew.stations:
        return task
    return "mixer" if crew.mixer < crew.stations else "station"


def with_one_more(crew: Crew, task: str) -> Crew:
    """The crew with one more pair of hands at a task; at mixing, with what they need."""
    for role in _MORE_HANDS[what_is_more(crew, task)]:
        crew = crew.with_more(role)
    return crew


def bottleneck(plans: Sequence[PourPlan]) -> str:
    """The task that sets the rhythm on most of the floors."""
    return _most_often([plan.cadence.limit for plan in plans])


def slowest_task(job: Job, crew: Crew) -> str:
    """The same with a crew nobody has looked at yet, each floor in one bay."""
    card, layouts = job.cards.slurry, [lay_out(room, job, bays=1) for room in job.rooms]
    paces = [cadence_of(layout, card, crew=crew, pace=job.pace) for layout in layouts]
    return _most_often([cadence.limit for cadence in paces])


def _most_often(limits: Sequence[str]) -> str:
    return max(set(limits), key=lambda task: (limits.count(task), task))
