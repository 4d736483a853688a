"""The demo plan, made once and not yet judged."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from cureplan.api import demo_job_path, make_plan, read_job
from cureplan.plan import Plan, plan_from_json, plan_to_json


@pytest.fixture(scope="session")
def plan() -> Plan:
    """As a reader of `plan.json` gets it: through its text, never from the planner."""
    with pytest.MonkeyPatch.context() as patch:
        # A plan the judge refuses must reach these tests, not end them.
        patch.setattr("cureplan.judge.require_confirmed", lambda _plan: None)
        made = make_plan(read_job(demo_job_path()), now=datetime(2013, 7, 17, 12, tzinfo=UTC))
    return plan_from_json(plan_to_json(made))
