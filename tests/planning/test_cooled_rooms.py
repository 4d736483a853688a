"""Rooms held cool where air or slab is too hot: what is changed, and reckoned anew."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

from cureplan.api import read_job
from cureplan.core.messages import Message
from cureplan.inputs.job.model import Heat
from cureplan.planning.plan.ways import _Looking
from cureplan.planning.schedule.changes import REMEDY_WORDS, cooled
from cureplan.planning.schedule.floor_model import _air_is_other
from cureplan.planning.schedule.relax import _relaxation
from tests.commands.steady import write_job
from tests.planning.test_ways import PLANNED_S, kitchen

__all__ = ["kitchen"]


def test_rooms_too_hot_are_cooled_and_with_every_remedy_where_that_is_too_little(kitchen):
    job = read_job(write_job(kitchen[0]))
    job = replace(job, policy=replace(job.policy, remedies=("hour",)))
    (floor,) = job.rooms
    held = replace(floor, name="Bar", climate="held", set_point_c=18.0)
    job = replace(job, rooms=(floor, held))
    (change,) = cooled(job, ["Cook line", "Bar"], to_c=26.0)
    assert change.say == Message("relax.cooled", {"rooms": "Cook line", "temp_c": 26.0})
    assert [r.set_point_c for r in change.job.rooms] == [26.0, 18.0]
    assert {r.climate for r in change.job.rooms} == {"held"}
    more = change.further
    assert more is not None
    assert more.also is not None
    assert more.also.values["remedies"] == "chill; cool filler; bays"
    assert more.job.rooms == change.job.rooms
    assert set(more.job.policy.remedies) == set(REMEDY_WORDS)
    assert [*cooled(job, ["Bar"], to_c=26.0)] == []
    # Both are tried: what goes further asks for something else.
    look = SimpleNamespace(job=job, issued_s=PLANNED_S, _missing=lambda _: [])
    way = _relaxation(change, "windows")
    assert _Looking._steps(look, way) == [way, way.further]


def test_air_is_reckoned_anew_for_each_room_that_is_heated_or_held_otherwise(kitchen):
    job = read_job(write_job(kitchen[0]))
    (floor,) = job.rooms
    heat = Heat(to_c=21.0, from_at=job.access.begins, runs=True)
    was = replace(job, rooms=(floor, replace(floor, name="Bar", heat=heat)))
    assert not _air_is_other(was, was)
    heated_alike = replace(was, rooms=(replace(floor, heat=heat), was.rooms[1]))
    held = replace(was, rooms=(replace(floor, climate="held", set_point_c=26.0), was.rooms[1]))
    assert _air_is_other(heated_alike, was)
    assert _air_is_other(held, was)
    part = replace(was, rooms=(replace(floor, name="Cook line (1 of 2)", part_of=floor.name),))
    assert not _air_is_other(part, was)
