"""Putting a plan together runs no bucket: all of them were run before, once."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from cureplan import api
from cureplan.planning.plan import assemble as assembling


@pytest.mark.thorough
def test_putting_a_plan_together_runs_no_bucket(demo_job, demo_weather, monkeypatch):
    # Outside: what is asked is that the assembly computes nothing physical.
    real = assembling.assemble

    def watched(*args, **named):
        def ran(*_args, **_named):
            raise AssertionError("a bucket was run while the plan was put together")

        with pytest.MonkeyPatch.context() as patch:
            for module in ("floor.pour", "floor.ice", "odds.margins"):
                patch.setattr(f"cureplan.planning.{module}.run_bucket", ran)
            patch.setattr("cureplan.science.kit.follow", ran)
            patch.setattr("cureplan.science.procedure.follow", ran)
            return real(*args, **named)

    monkeypatch.setattr(assembling, "assemble", watched)
    # One room that ice and bays are weighed for, on a warm night.
    room = replace(demo_job.room("Cook line"), way_out=())
    plan = api.make_plan(
        replace(demo_job, rooms=(room,)),
        now=demo_job.access.begins - timedelta(hours=23),
        weather=demo_weather,
        what_helps=False,
    )
    assert plan.chill.iced
    assert all(room.tries and room.starts for room in plan.rooms)
