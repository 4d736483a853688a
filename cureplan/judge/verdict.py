"""The judge itself: all rules over one plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

from cureplan.core.clock import epoch_s
from cureplan.judge.ageing import room_hours
from cureplan.judge.arrival_rules import check_arrivals
from cureplan.judge.bucket_rules import check_buckets, check_kits, check_margins, check_tie_in
from cureplan.judge.case import read_case
from cureplan.judge.coat_rules import check_coats, check_opening
from cureplan.judge.finding import Finding, PlanRefusedError
from cureplan.judge.ice_rules import check_ice
from cureplan.judge.limit_rules import check_limits
from cureplan.judge.milestones import cure_milestones
from cureplan.judge.night_rules import unexcused
from cureplan.judge.people_rules import check_calls, check_coat_crew, check_pours, check_way_out
from cureplan.judge.primer_rules import check_primers
from cureplan.judge.stated_rules import check_doubt, check_risk, check_stated
from cureplan.judge.takeoff_rules import check_takeoff
from cureplan.planning.plan.model import Plan

__all__ = ["judge", "require_confirmed", "require_doubt_confirmed"]

HOUR_S = 3600.0


def judge(plan: Plan) -> tuple[Finding, ...]:
    """Re-derive a plan from its job, cards and hours, and say where it is wrong.

    Not for what lies outside a plan: whether the weather comes true is a matter of
    risk, not of judgement.
    """
    broken = tuple(_check_hours(plan))
    if broken:
        return broken
    case = read_case(plan)
    lenient = {floor.name: cure_milestones(case, floor, "lenient") for floor in case.floors}
    # Only a slab that was read leaves room between the two.
    strict = {
        floor.name: cure_milestones(case, floor, "strict")
        if floor.room.slab_reading
        else lenient[floor.name]
        for floor in case.floors
    }
    findings = (
        *check_kits(case),
        *check_buckets(case),
        *check_tie_in(case),
        *check_margins(case),
        *check_pours(case),
        *check_way_out(case, lenient),
        *check_limits(case, lenient),
        *check_primers(case, lenient, strict),
        *check_coats(case, lenient, strict),
        *check_coat_crew(case),
        *check_opening(case, lenient, strict),
        *check_calls(case),
        *check_arrivals(case),
        *check_ice(case),
        *check_stated(case),
        *check_takeoff(case),
        *check_risk(case),
    )
    return unexcused(plan, findings)


def require_confirmed(plan: Plan) -> None:
    """Raise unless the judge confirms a plan."""
    _refuse(judge(plan))


def require_doubt_confirmed(plan: Plan) -> None:
    """The same of what was added to a plan confirmed before: what its doubt is made of."""
    _refuse(tuple(check_doubt(plan)))


def _refuse(findings: tuple[Finding, ...]) -> None:
    if findings:
        raise PlanRefusedError(findings)


def _check_hours(plan: Plan) -> Iterator[Finding]:
    """The plan holds what it takes to judge it: all rooms, their buckets and hours."""
    planned = Counter(room.room for room in plan.rooms)
    wanted = Counter(room.name for room in plan.job.rooms)
    if planned != wanted:
        odd = sorted((planned - wanted) + (wanted - planned))
        yield _unfit(None, f"rooms of plan and job differ by {odd}")
        return
    named = {bucket.room for bucket in plan.buckets} | {coat.room for coat in plan.coats}
    named |= {primer.room for primer in plan.primers}
    strangers = (named | {call.room for call in plan.calls}) - set(wanted)
    if strangers:
        yield _unfit(None, f"rooms {sorted(strangers)} are not in the job")
    instants = [epoch_s(row.at) for row in plan.hours]
    if len(instants) < 2 or {b - a for a, b in pairwise(instants)} != {HOUR_S}:
        yield _unfit(None, "the hourly rows are too few, or not an hour apart")
        return
    for name in wanted:
        if not plan.buckets_of(name):
            yield _unfit(name, f"{name} has no buckets")
        elif room_hours(plan.hours, name) is None:
            yield _unfit(name, f"{name} is missing from an hourly row")
        else:
            yield from _check_covered(plan, name, instants[0], instants[-1])


def _check_covered(plan: Plan, name: str, first_s: float, last_s: float) -> Iterator[Finding]:
    """Temperatures are never stretched past the hours given."""
    work_s = [
        epoch_s(at)
        for bucket in plan.buckets_of(name)
        for at in (bucket.liquids_in, bucket.broadcast_by)
    ]
    work_s += [
        epoch_s(at) for coat in plan.coats if coat.room == name for at in (coat.start, coat.end)
    ]
    work_s += [
        epoch_s(at)
        for primer in plan.primers
        if primer.room == name
        for at in (primer.start, primer.end)
    ]
    outside_s = max(first_s - min(work_s), max(work_s) - last_s)
    if outside_s > 0:
        yield Finding(
            rule="hours",
            room=name,
            what=f"{name}: work lies {outside_s / 60:.0f} min outside the hours given",
            off_by=outside_s / 60,
            unit="min",
        )


def _unfit(room: str | None, what: str) -> Finding:
    return Finding(rule="hours", room=room, what=what, off_by=1.0, unit="count")
