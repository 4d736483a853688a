"""What acts on a part of a job that is lost too often: hours, hands, remedies, heat."""

from __future__ import annotations

from collections.abc import Mapping

from cureplan.inputs.job.model import Job
from cureplan.planning.floor.crew import bottleneck
from cureplan.planning.floor.pour import AS_IS, RoomPours
from cureplan.planning.schedule.changes import (
    COAT_LONGER,
    COAT_SOONER,
    IN_SOONER,
    OPENING,
    POURING,
    STAYING,
    Change,
    Graded,
    heated,
    missing_remedies,
    more_hands,
    more_remedies,
    open_for_less,
    rooms_later,
    splits,
)
from cureplan.planning.schedule.trials import SPEEDING_C, is_cool

__all__ = ["acting_on", "mixing"]

HOURS_MIN, OPENING_MIN = (60, 180), (120, 1440)
"""How far shifts and the opening are moved, tried in this order."""
GRADED: dict[str, tuple[Graded, ...]] = {
    "coats": (COAT_SOONER, COAT_LONGER, IN_SOONER, OPENING),
    "shifts": (POURING, COAT_LONGER, STAYING, IN_SOONER),
    "opening": (OPENING, IN_SOONER, COAT_SOONER),
    "limits": (IN_SOONER, POURING, COAT_SOONER, COAT_LONGER, OPENING),
}


def acting_on(
    part: str, job: Job, pours: Mapping[str, RoomPours], *, much: bool
) -> list[Change]:
    """What acts on a part of the odds, buckets where margins are short; hours are moved by
    most at once where much is lost."""
    lacking = missing_remedies(job)
    if part == "buckets":
        # The fewest that mend margins are looked for already; so are all of them.
        every = [more_remedies(job, lacking)] if lacking else []
        return [*every, *mixing(job, pours)]
    moved = _moved(job, pours, *GRADED[part], much=much)
    if part == "limits":
        some = [more_remedies(job, (name,)) for name in lacking]
        if any(room.heat for room in job.rooms) and "heat" not in job.policy.remedies:
            some.append(more_remedies(job, ("heat",)))
        return [*some, *moved]
    if part == "opening":
        later = [kind.make(job, by) for kind in rooms_later(job) for by in OPENING_MIN]
        cool = [name for name, one in pours.items() if is_cool(one.conditions)]
        moved += [*filter(None, later), *open_for_less(job)]
        moved += heated(job, cool, to_c=SPEEDING_C)
    return [*moved, *splits(job), *mixing(job, pours), more_hands(job, "topcoat")]


def mixing(job: Job, pours: Mapping[str, RoomPours]) -> list[Change]:
    """One more at the mixing, and at the slowest task of the pour."""
    slowest = bottleneck([room.plan(AS_IS) for room in pours.values()])
    return [more_hands(job, task) for task in dict.fromkeys(("mixing", slowest))]


def _moved(
    job: Job, pours: Mapping[str, RoomPours], *kinds: Graded, much: bool
) -> list[Change]:
    """Hours moved by some steps, or by most of them at once, as far as the weather is
    known."""
    return [
        change
        for kind in kinds
        for minutes in (OPENING_MIN if kind is OPENING else HOURS_MIN[much:])
        if (change := kind.make(job, minutes)) is not None and _known(change.job, pours)
    ]


def _known(job: Job, pours: Mapping[str, RoomPours]) -> bool:
    """Whether the weather reaches as far as a changed job."""
    reach_s = max(room.conditions.last_s for room in pours.values())
    first_s = max(room.conditions.first_s for room in pours.values())
    begins_s, ends_s = job.access.begins.timestamp(), job.access.open_by.timestamp()
    return first_s <= begins_s and ends_s <= reach_s
