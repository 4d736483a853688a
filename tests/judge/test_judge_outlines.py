"""Floors of any outline, judged by the judge's own geometry."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from cureplan.api import make_plan
from cureplan.inputs.job.model import Outline
from cureplan.judge import judge
from cureplan.judge.outlines import along_m
from cureplan.planning.plan.model import plan_from_json, plan_to_json

FT = 0.3048


@pytest.fixture(scope="module")
def kitchen_plan(demo_job, demo_weather):
    corners = ((0, 0), (24, 0), (24, 30), (14, 30), (14, 18), (0, 18))
    column = ((8, 6), (12, 6), (12, 9), (8, 9))
    shape = Outline(
        corners_m=tuple((x * FT, y * FT) for x, y in corners),
        islands_m=(tuple((x * FT, y * FT) for x, y in column),),
        stop_lines_m=(((14 * FT, 18 * FT), (24 * FT, 18 * FT)),),
        back_wall=(0, 1),
    )
    length_m, width_m = shape.size_m
    first = replace(
        demo_job.rooms[0], outline=shape, length_m=length_m, width_m=width_m, way_out=()
    )
    job = replace(demo_job, rooms=(first,))
    plan = make_plan(
        job, now=job.access.begins - timedelta(hours=4), weather=demo_weather, what_helps=False
    )
    return plan_from_json(plan_to_json(plan))


@pytest.mark.thorough
def test_the_plan_of_an_l_shaped_kitchen_is_confirmed(kitchen_plan):
    assert judge(kitchen_plan) == ()
    (room,) = kitchen_plan.rooms
    # 540 sq ft, 3.575 mm deep with a twentieth of waste: 19.82 kits of 9.5 L.
    assert room.kits >= 20
    assert len(room.patches) == room.kits


def room_name(plan):
    return plan.job.rooms[0].name


@pytest.mark.parametrize("what", ["moved", "swapped", "missing", "over a column"])
def test_patches_that_do_not_fit_the_floor_are_refused(kitchen_plan, what):
    place = [r.room for r in kitchen_plan.rooms].index(room_name(kitchen_plan))
    patches = kitchen_plan.rooms[place].patches
    if what == "moved":
        changed = (*patches[:-1], tuple(tuple((x + 2.0, y) for x, y in r) for r in patches[-1]))
    elif what == "swapped":
        changed = (patches[-1], *patches[1:-1], patches[0])
    elif what == "missing":
        changed = patches[:-1]
    else:
        changed = (*patches[:-1], (((2.4, 1.8), (3.7, 1.8), (3.7, 2.8), (2.4, 2.8)),))
    rooms = list(kitchen_plan.rooms)
    rooms[place] = replace(rooms[place], patches=changed)
    rules = {finding.rule for finding in judge(replace(kitchen_plan, rooms=tuple(rooms)))}
    assert rules & {"kits", "tie-in"}


def test_an_edge_that_is_met_later_than_said_is_found(kitchen_plan):
    name = room_name(kitchen_plan)
    buckets = list(kitchen_plan.buckets)
    place = next(n for n, b in enumerate(buckets) if b.room == name and b.tied_in is not None)
    buckets[place] = replace(
        buckets[place], tied_in=buckets[place].tied_in - timedelta(seconds=90)
    )
    findings = judge(replace(kitchen_plan, buckets=tuple(buckets)))
    assert "tie-in" in {finding.rule for finding in findings}


def test_how_far_from_a_slanted_wall_a_patch_reaches():
    # A square of 5 m on a wall from 0/0 to 3/4, cut half-way: a triangle of 3, 4 and 5.
    square = ((0.0, 0.0), (3.0, 4.0), (-1.0, 7.0), (-4.0, 3.0))
    outline = Outline(corners_m=square, islands_m=(), stop_lines_m=(), back_wall=(0, 1))
    near = ((0.0, 0.0), (3.0, 4.0), (1.0, 5.5), (-2.0, 1.5))
    far = ((-2.0, 1.5), (1.0, 5.5), (-1.0, 7.0), (-4.0, 3.0))
    begins_m, ends_m = along_m(outline, [[near], [far]])
    assert begins_m == pytest.approx([0.0, 2.5])
    assert ends_m == pytest.approx([2.5, 5.0])
    # Named the other way round, the floor lies on the other side, and as far.
    turned = replace(outline, back_wall=(1, 0))
    assert along_m(turned, [[near], [far]])[1] == pytest.approx([2.5, 5.0])
