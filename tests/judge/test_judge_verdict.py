"""The verdict on the demo, and on plans that cannot be judged."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from plan_mutations import minutes, rules, with_bucket, with_room

import cureplan.judge
from cureplan.core.errors import CurePlanError, OutOfRangeError
from cureplan.inputs.job.crew import Person
from cureplan.judge import PlanRefusedError, judge, people_rules, require_confirmed
from cureplan.judge.finding import Finding
from cureplan.judge.people_rules import _between_s

ALLOWED = ("cureplan.core", "cureplan.inputs", "cureplan.planning.plan", "cureplan.judge")


def test_the_demo_is_confirmed(plan):
    assert judge(plan) == ()
    require_confirmed(plan)


def test_the_judge_shares_nothing_with_the_planner():
    for path in Path(cureplan.judge.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [item.name for item in node.names] if isinstance(node, ast.Import) else []
            for name in names:
                ours = name.split(".")[0] == "cureplan"
                assert not ours or name.startswith(ALLOWED), f"{path}: {name}"


def test_a_refused_plan_names_its_findings(plan):
    broken = with_bucket(plan, "Cook line", 3, pour=lambda at: at - minutes(2))
    with pytest.raises(PlanRefusedError, match="Cook line bucket 3: pour at") as caught:
        require_confirmed(broken)
    assert caught.value.exit_code == 70
    assert isinstance(caught.value, CurePlanError)
    assert caught.value.findings == judge(broken)


def test_a_finding_gives_the_size_of_the_fault(plan):
    # Two minutes off were put in; 1 s of it may be rounding in the plan.
    broken = with_bucket(plan, "Cook line", 3, pour=lambda at: at - minutes(2))
    pour = next(item for item in judge(broken) if "pour at" in item.what)
    assert (pour.rule, pour.room, pour.unit) == ("buckets", "Cook line", "min")
    assert pour.off_by == pytest.approx(2.0, abs=0.02)


def test_naive_instants_are_refused(plan):
    naive = with_bucket(plan, "Cook line", 3, pour=lambda at: at.replace(tzinfo=None))
    with pytest.raises(OutOfRangeError, match="time zone"):
        judge(naive)


def _without_room(plan):
    return replace(plan, rooms=plan.rooms[:-1])


def _without_buckets(plan):
    return replace(plan, buckets=tuple(b for b in plan.buckets if b.room != "Corridor"))


def _without_hours(plan):
    return replace(plan, hours=plan.hours[:1])


def _hours_without_a_room(plan):
    short = tuple(replace(row, rooms=row.rooms[:-1]) for row in plan.hours)
    return replace(plan, hours=short)


def _hours_backwards(plan):
    return replace(plan, hours=plan.hours[::-1])


def _hours_too_short(plan):
    return replace(plan, hours=plan.hours[:16])


def _unknown_room(plan):
    return with_room(plan, "Corridor", room="Cellar")


@pytest.mark.parametrize(
    "breaking",
    [
        _without_room,
        _without_buckets,
        _without_hours,
        _hours_without_a_room,
        _hours_backwards,
        _hours_too_short,
        _unknown_room,
    ],
)
def test_a_plan_that_cannot_be_judged_is_not_confirmed(plan, breaking):
    assert rules(breaking(plan)) == {"hours"}


@pytest.mark.parametrize(("count", "more"), [(3, ""), (5, "; and 2 more")])
def test_a_refusal_tells_three_findings_and_counts_the_others(count, more):
    found = Finding(rule="pours", room="Bar", what="too late", off_by=1.0, unit="s")
    said = str(PlanRefusedError((found,) * count))
    assert said.endswith(f"is refused: {'; '.join(['pours: too late'] * 3)}{more}")


@pytest.mark.parametrize(
    ("own_s", "groups", "label", "between_s"),
    [
        (120.0, ("line", "line"), "pour", 120.0),
        (120.0, ("line", "line"), "coat 1", 600.0),
        (120.0, ("line", "bar"), "pour", 600.0),
        (120.0, (None, None), "pour", 600.0),
        (120.0, (None, "line"), "pour", 600.0),
        (None, ("line", "line"), "pour", 600.0),
    ],
)
def test_only_pours_of_one_group_follow_as_its_job_says(own_s, groups, label, between_s):
    crew = SimpleNamespace(group_changeover_s=own_s, changeover_s=600.0)
    case = SimpleNamespace(plan=SimpleNamespace(job=SimpleNamespace(crew=crew)))
    one, other = (
        SimpleNamespace(floor=SimpleNamespace(room=SimpleNamespace(group=group)), label=label)
        for group in groups
    )
    assert _between_s(case, one, other) == between_s


@pytest.mark.parametrize(
    ("roles", "rules_held"),
    [
        (("topcoat",), ["coats"]),
        (("primer",), ["coats"]),
        (("primer", "topcoat"), ["coats", "people"]),
        (("rake", "topcoat"), ["coats", "people"]),
        (("rake", "primer", "topcoat"), ["coats", "people", "people"]),
    ],
)
def test_who_pours_or_primes_and_coats_does_one_at_a_time(
    demo_job, monkeypatch, roles, rules_held
):
    held = []
    monkeypatch.setattr(
        people_rules, "_check_one_crew", lambda _, rule, __: held.append(rule) or ()
    )
    people = (Person(name="bo", roles=("foreman",)), Person(name="ana", roles=roles))
    crew = replace(demo_job.crew, people=people)
    job = SimpleNamespace(crew=crew)
    case = SimpleNamespace(floors=(), plan=SimpleNamespace(job=job))
    assert list(people_rules.check_coat_crew(case)) == []
    assert held == rules_held


def test_rooms_that_only_the_plan_or_only_the_job_has_are_named(plan):
    first, *others = plan.rooms
    strange = replace(first, room="Bar")
    (found,) = judge(replace(plan, rooms=(strange, *others)))
    assert found.what == f"rooms of plan and job differ by {sorted(['Bar', first.room])}"
