"""What would have to give way: the least change of one limit that lets a plan be found.

Each limit is relaxed alone, in steps a foreman would ask for, until the quick pass finds
an order and start; changes that never help are left out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

from cureplan.job.model import Access, Crew, Job, Shift
from cureplan.planning.crew import with_one_more
from cureplan.planning.pour import RoomPours
from cureplan.schedule.construct import can_be_done

__all__ = ["Relaxation", "relaxations"]

HOURS = (1, 2, 4, 8, 12, 24)
MOST_NAMED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Relaxation:
    """One limit, and the least change of it that was found to do."""

    words: str
    hours: int


def relaxations(job: Job, pours: Mapping[str, RoomPours]) -> tuple[Relaxation, ...]:
    """The cheapest single changes under which the job can be done.

    Not a proof that less would not do between two steps.

    Parameters
    ----------
    job : Job
        A job without a feasible plan.
    pours : mapping
        Its rooms; their conditions serve for the changed jobs too.

    Returns
    -------
    tuple of Relaxation
        At most three, least change first.
    """
    reach = max(room.conditions.last_s for room in pours.values())
    found = []
    if _works(_with_crew(job, with_one_more(job.crew, "mixing")), pours):
        found.append(Relaxation(words="add one mixing station with its mixer", hours=0))
    changes: tuple[Callable[[Job, int], tuple[Job, str] | None], ...] = (
        _open_later,
        _pour_longer,
        _coat_sooner,
    )
    for change in changes:
        for hours in HOURS:
            changed = change(job, hours)
            if changed is None or changed[0].access.open_by.timestamp() > reach:
                break
            if _works(changed[0], pours):
                found.append(Relaxation(words=changed[1], hours=hours))
                break
    return tuple(sorted(found, key=lambda r: r.hours)[:MOST_NAMED])


def _works(job: Job, pours: Mapping[str, RoomPours]) -> bool:
    rooms = {
        room.name: RoomPours(
            room,
            job,
            pours[room.name].clocks,
            pours[room.name].topcoat,
            pours[room.name].conditions,
        )
        for room in job.rooms
    }
    return can_be_done(job, rooms)


def _with_crew(job: Job, crew: Crew) -> Job:
    return replace(job, crew=crew)


def _open_later(job: Job, hours: int) -> tuple[Job, str]:
    open_by = job.access.open_by + timedelta(hours=hours)
    rooms = tuple(replace(room, open_by=None) for room in job.rooms)
    changed = replace(
        job, access=Access(begins=job.access.begins, open_by=open_by), rooms=rooms
    )
    return changed, f"open by {_local(open_by, job)}, {hours} h later"


def _pour_longer(job: Job, hours: int) -> tuple[Job, str] | None:
    shifts = [_ends_later(shift, hours) for shift in job.crew.pour_shifts]
    if not shifts or None in shifts:
        return None
    kept = tuple(shift for shift in shifts if shift is not None)
    words = f"let the pour shift run {hours} h longer, to {kept[-1].ends:%H:%M}"
    return _with_crew(job, replace(job.crew, pour_shifts=kept)), words


def _coat_sooner(job: Job, hours: int) -> tuple[Job, str] | None:
    shifts = [_begins_sooner(shift, hours) for shift in job.crew.topcoat_shifts]
    if not shifts or None in shifts:
        return None
    kept = tuple(shift for shift in shifts if shift is not None)
    words = f"let the topcoat shift begin {hours} h sooner, at {kept[0].begins:%H:%M}"
    return _with_crew(job, replace(job.crew, topcoat_shifts=kept)), words


def _minutes(at: time) -> int:
    return at.hour * 60 + at.minute


def _lasts_min(shift: Shift) -> int:
    return (_minutes(shift.ends) - _minutes(shift.begins)) % 1440 or 1440


def _at(minutes: int) -> time:
    return time(minutes // 60 % 24, minutes % 60)


def _ends_later(shift: Shift, hours: int) -> Shift | None:
    if _lasts_min(shift) + hours * 60 >= 1440:
        return None
    return Shift(begins=shift.begins, ends=_at(_minutes(shift.ends) + hours * 60))


def _begins_sooner(shift: Shift, hours: int) -> Shift | None:
    if _lasts_min(shift) + hours * 60 >= 1440:
        return None
    return Shift(begins=_at(_minutes(shift.begins) - hours * 60), ends=shift.ends)


def _local(instant: datetime, job: Job) -> str:
    return f"{instant.astimezone(job.site.zone):%a %d %b %H:%M}"
