"""Plans broken on purpose, one thing at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import fields, replace
from datetime import datetime, timedelta
from typing import Any, TypeVar

from cureplan.judge import judge
from cureplan.planning.plan.model import BucketPlan, CoatPlan, Plan, RoomPlan

Item = TypeVar("Item")


def rules(plan: Plan) -> set[str]:
    """The rules a plan is found to break."""
    return {finding.rule for finding in judge(plan)}


def minutes(count: float) -> timedelta:
    return timedelta(minutes=count)


def shifted(item: Any, by: timedelta) -> Any:
    """All instants of a bucket, room, coat or call, moved alike."""
    values = {field.name: getattr(item, field.name) for field in fields(item)}
    moved = {name: at + by for name, at in values.items() if isinstance(at, datetime)}
    return replace(item, **moved)


def _swapped(
    items: Iterable[Item], chosen: Callable[[Item], bool], made: Callable[[Item], Item]
):
    hit = False
    for item in items:
        if chosen(item):
            hit = True
            yield made(item)
        else:
            yield item
    assert hit, "the mutation must find something to mutate"


def with_bucket(plan: Plan, room: str, number: int, /, **changes: Any) -> Plan:
    """One bucket changed; a callable is given the old value."""
    return replace(
        plan,
        buckets=tuple(
            _swapped(
                plan.buckets,
                lambda bucket: (bucket.room, bucket.number) == (room, number),
                lambda bucket: _changed(bucket, changes),
            )
        ),
    )


def with_buckets(plan: Plan, room: str, made: Callable[[BucketPlan], BucketPlan]) -> Plan:
    """Every bucket of a room changed."""
    return replace(
        plan, buckets=tuple(_swapped(plan.buckets, lambda item: item.room == room, made))
    )


def with_room(plan: Plan, room: str, /, **changes: Any) -> Plan:
    """One floor changed."""
    return replace(
        plan,
        rooms=tuple(
            _swapped(
                plan.rooms, lambda item: item.room == room, lambda item: _changed(item, changes)
            )
        ),
    )


def with_coat(plan: Plan, room: str, coat: int, /, **changes: Any) -> Plan:
    """One coat changed."""
    return replace(
        plan,
        coats=tuple(
            _swapped(
                plan.coats,
                lambda item: (item.room, item.coat) == (room, coat),
                lambda item: _changed(item, changes),
            )
        ),
    )


def with_call(plan: Plan, room: str, stage: str, role: str, /, **changes: Any) -> Plan:
    """One call changed."""
    return replace(
        plan,
        calls=tuple(
            _swapped(
                plan.calls,
                lambda item: (item.room, item.stage, item.role) == (room, stage, role),
                lambda item: _changed(item, changes),
            )
        ),
    )


def with_policy(plan: Plan, **changes: Any) -> Plan:
    """The job's policy changed under the plan."""
    return replace(plan, job=replace(plan.job, policy=replace(plan.job.policy, **changes)))


def with_crew(plan: Plan, **changes: Any) -> Plan:
    """The job's crew changed under the plan."""
    return replace(plan, job=replace(plan.job, crew=replace(plan.job.crew, **changes)))


def with_ice(plan: Plan, room: str, /, **changes: Any) -> Plan:
    """The ice of one floor changed."""
    rooms = tuple(
        _swapped(
            plan.chill.rooms,
            lambda item: item.room == room,
            lambda item: _changed(item, changes),
        )
    )
    return replace(plan, chill=replace(plan.chill, rooms=rooms))


def moved_pour(plan: Plan, room: str, by: timedelta) -> Plan:
    """A whole pour moved, its printed ends with it."""
    moved = with_buckets(plan, room, lambda bucket: shifted(bucket, by))
    return with_room(moved, room, pour_start=lambda at: at + by, pour_end=lambda at: at + by)


def moved_coat(plan: Plan, room: str, coat: int, by: timedelta) -> Plan:
    """A coat moved, its window left where it was."""
    return with_coat(plan, room, coat, start=lambda at: at + by, end=lambda at: at + by)


def first_coat(plan: Plan) -> CoatPlan:
    return min(plan.coats, key=lambda coat: coat.start)


def poured(plan: Plan, place: int) -> RoomPlan:
    """The floor poured as number `place`."""
    return sorted(plan.rooms, key=lambda room: room.pour_start)[place - 1]


def _changed(item: Any, changes: dict[str, Any]) -> Any:
    values = {
        name: change(getattr(item, name)) if callable(change) else change
        for name, change in changes.items()
    }
    return replace(item, **values)
