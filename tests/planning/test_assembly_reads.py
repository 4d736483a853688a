"""Putting a plan together runs no bucket: all of them were run before, once."""

from __future__ import annotations

from datetime import timedelta

import pytest

from cureplan import api
from cureplan.planning.plan import assemble as assembling


def test_putting_a_plan_together_runs_no_bucket(demo_job, monkeypatch):
    # Outside: the issue asks that the assembly computes nothing physical.
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
    now = demo_job.access.begins - timedelta(hours=23)
    plan = api.make_plan(demo_job, now=now)
    assert plan.chill.iced
    assert all(room.tries and room.starts for room in plan.rooms)
