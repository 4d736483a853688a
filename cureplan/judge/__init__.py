"""An independent judge: re-derives a plan from its job, cards and hours, and checks it.

It shares no model code with the planner, works by plain fine stepping, and knows only
what `plan.json` holds. A plan it cannot confirm is not shown.
"""

from cureplan.judge.finding import Finding, PlanRefusedError, Rule
from cureplan.judge.verdict import judge, require_confirmed, require_doubt_confirmed

__all__ = [
    "Finding",
    "PlanRefusedError",
    "Rule",
    "judge",
    "require_confirmed",
    "require_doubt_confirmed",
]
