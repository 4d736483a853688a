"""The demo plan as the judge gets it, and plans of jobs unlike the demo."""

from __future__ import annotations

import pytest

from cureplan.planning.plan.model import Plan, plan_from_json, plan_to_json


@pytest.fixture(scope="session")
def plan(demo_plan: Plan) -> Plan:
    """As a reader of `plan.json` gets it: through its text, never from the planner."""
    return plan_from_json(plan_to_json(demo_plan))
