"""Planned again on the night with a primer on the slab."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from log_lines import said

from cureplan.api import make_plan, read_job
from cureplan.inputs.cards.reader import read_card
from cureplan.judge import judge
from cureplan.planning.replan.replan import replan

ONE_ROOM = Path(__file__).parents[1] / "pinned" / "jobs" / "one-room.toml"


@pytest.fixture(scope="module")
def plan():
    job = read_job(ONE_ROOM)
    job = replace(job, cards=replace(job.cards, primer=read_card("slab-primer")))
    return make_plan(job, now=job.access.begins - timedelta(hours=8))


@pytest.mark.parametrize("after_min", [-10, 10, 120])
def test_the_primer_stays_and_the_slurry_waits_for_it(plan, after_min):
    now = plan.primers[0].start + timedelta(minutes=after_min)
    again = replan(plan, (), now=now).plan
    (primer,) = again.primers
    assert primer.start == plan.primers[0].start
    assert primer.slurry_opens <= again.rooms[0].pour_start <= primer.slurry_closes
    assert judge(again) == ()


def test_a_primer_that_is_too_old_by_then_is_told(log_of):
    # A card whose primer is too old 5 h after it was rolled, at 21 °C.
    job, card = read_job(ONE_ROOM), read_card("slab-primer")
    closes = card.milestones["slurry_closes"]
    point = replace(closes.points[0], after_s=5 * 3600.0, after_late_s=5 * 3600.0)
    short = {**card.milestones, "slurry_closes": replace(closes, points=(point,))}
    job = replace(job, cards=replace(job.cards, primer=replace(card, milestones=short)))
    plan = make_plan(job, now=job.access.begins - timedelta(hours=8))
    now = plan.rooms[0].pour_start - timedelta(minutes=10)
    until = plan.primers[0].slurry_closes + timedelta(hours=2)
    events = log_of(said(now, "wait until", value=until.isoformat()), plan=plan)
    again = replan(plan, events, now=now)
    assert "replan.primer_old" in {change.code for change in again.changes}
    assert again.plan.status == "short of policy"
