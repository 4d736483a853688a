"""Rooms that go each by itself and not together, and the limits that bind them.

What the solver leaves open is taken as possible, so that the set named may be larger than
it need be, never wrong.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.layers import CREWS
from cureplan.planning.schedule.conflict import LIMITS, Some, limits_of_job
from cureplan.planning.schedule.floor_model import Tables
from cureplan.planning.schedule.heuristic import improve_orders
from cureplan.planning.schedule.lexicographic import Limits, solve_in_order
from cureplan.planning.schedule.outcome import Failure, Stop, never
from cureplan.planning.schedule.placing import crew_spans

__all__ = ["together"]

PROBE = Limits(work=1.0)
MOST_ORDERS = 10


def together(job: Job, tables: Tables, *, stop: Stop = never) -> tuple[Failure, ...]:
    """The fewest rooms that were proven not to go together, and the limits that bind them.

    Not before every room was found to go by itself.
    """
    rooms = [room.name for room in job.rooms]
    for name in tuple(rooms):
        rest = tuple(other for other in rooms if other != name)
        if rest and _impossible(Some(job, tables, rest, frozenset(LIMITS)), stop):
            rooms = list(rest)
    kept = list(limits_of_job(job))
    for limit in limits_of_job(job):
        fewer = frozenset(kept) - {limit}
        if _impossible(Some(job, tables, tuple(rooms), fewer), stop):
            kept.remove(limit)
    values = {"rooms": "; ".join(rooms), "limits": "; ".join(f"limit.{one}" for one in kept)}
    says = [Message("limit.together", values), *_work_of(job, tables, rooms)]
    return (Failure(limits=tuple(kept), rooms=tuple(rooms), says=tuple(says)),)


def _work_of(job: Job, tables: Tables, rooms: Sequence[str]) -> Iterator[Message]:
    """What each crew has to do in these rooms, and the hours it has."""
    change_s = job.crew.changeover_s
    shifts = {"pour": job.crew.pour_shifts, "topcoat": job.crew.topcoat_shifts}
    for crew, its_shifts in shifts.items():
        works = [
            60.0 * float((stage.ends - stage.begins).min())
            for name in rooms
            for stage in Some(job, tables, (name,), frozenset()).problem.rooms[0]
            if (CREWS[stage.crew] == "topcoat") == (crew == "topcoat")
        ]
        spans = crew_spans(job, its_shifts)
        have = [max(0.0, s.ends_s - s.begins_s - job.crew.setup_s) for s in spans]
        work_s = sum(works) + change_s * max(0, len(works) - 1)
        values = {"work_s": work_s, "have_s": sum(have), "longest_s": max(have, default=0.0)}
        yield Message(f"limit.work_{crew}", values)


def _impossible(some: Some, stop: Stop) -> bool:
    """Whether the solver proves that the rooms do not go together."""
    problem = some.problem
    if problem.empty:
        return True
    first = improve_orders(problem, some.model.first_order(), most=MOST_ORDERS, stop=stop)
    if first.choice is not None:
        return False
    solved = solve_in_order(
        problem, None, limits=PROBE, seed=some.job.seed, parts=("waited",), stop=stop
    )
    return solved.known == "impossible"
