"""One room with four people, planned, judged and read as a foreman would."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from cureplan.api import make_plan, read_job
from cureplan.judge.verdict import judge
from cureplan.planning.plan.model import Plan, plan_from_json, plan_to_json
from tests.inputs.test_people import HEADS, JOBS, PEOPLE, written_to


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    text = (JOBS / "one-room.toml").read_text(encoding="utf-8")
    said = 'longest_shift = "10 h"\nrest = "8 h"\n'
    folder: Path = tmp_path_factory.mktemp("four")
    job = read_job(written_to(folder, text.replace(HEADS, said) + PEOPLE))
    before = job.access.begins - timedelta(hours=23)
    return make_plan(job, now=before, what_helps=False)


def test_four_people_pour_as_fast_as_the_busiest_of_them(planned: Plan):
    # By hand: the card mixes 2.5 + 3 min with 1.5 min of turnaround, a round trip takes
    # 2 x 45 s: Ana's 8.5 min. 198 sq ft in 8 kits are 24.75 sq ft: raked at 20 sq ft/min
    # in 74 s by Bo, smoothed at 15 by Bo and Di in 49.5 s.
    [room] = planned.rooms
    assert (room.kits, room.cadence_min, room.cadence_limit) == (8, 8.5, "mixing")
    first = planned.buckets[0]
    poured = timedelta(minutes=2.5 + 3, seconds=45)
    assert first.pour - first.liquids_in == poured
    assert first.raked_by - first.pour == timedelta(seconds=74)
    assert (first.smoothed_by - first.raked_by).total_seconds() == pytest.approx(49.5, abs=1)
    # Eight buckets 8.5 min apart, and the last one until its grains have fallen.
    assert planned.buckets[7].liquids_in - first.liquids_in == timedelta(minutes=59.5)


def test_each_comes_when_needed_and_rests_before_coming_again(planned: Plan):
    comings = [(a.who, a.roles) for a in planned.arrivals]
    assert comings[0][0] == "Ana"
    assert {"foreman", "mixer", "runner"} <= {*comings[0][1]}
    assert [who for who, roles in comings if roles == ("topcoat",)] == ["Bo", "Cy"]
    for who in ("Bo", "Cy"):
        poured, coated = (a for a in planned.arrivals if a.who == who)
        assert coated.call - poured.leaves >= timedelta(hours=8)
    for arrival in planned.arrivals:
        longest = 9 if arrival.who == "Bo" else 10
        assert arrival.leaves - arrival.call <= timedelta(hours=longest)
        assert arrival.call.minute % 5 == 0
        # The same hour in the table of calls, which has no row for the ice.
        first = min(arrival.stops, key=lambda stop: stop.first_task)
        named = [call for call in planned.calls if arrival.who in call.names]
        told = {call.call for call in named if call.first_task == first.first_task}
        assert told == (set() if first.stage == "ice" else {arrival.call})
    assert planned.labour is not None
    assert planned.labour.heads == 4


def test_the_judge_confirms_it_and_finds_what_is_wrong_with_people(planned: Plan):
    assert not judge(planned)
    back = plan_from_json(plan_to_json(planned))
    assert back.arrivals == planned.arrivals
    calls = tuple(replace(c, names=("Cy",)) if c.role == "mixer" else c for c in planned.calls)
    wrong = {f.rule for f in judge(replace(planned, calls=calls))}
    assert "calls" in wrong
    late = tuple(
        replace(a, call=a.call + timedelta(hours=1)) if a.who == "Bo" else a
        for a in planned.arrivals
    )
    assert {f.rule for f in judge(replace(planned, arrivals=late))} == {"people"}
    tired = replace(planned.job.crew, rest_s=14 * 3600.0)
    short = replace(planned, job=replace(planned.job, crew=tired))
    assert "people" in {f.rule for f in judge(short)}


def test_one_pair_of_hands_at_two_buckets_is_found(planned: Plan):
    # Bo would rake the second bucket while he smooths the first.
    soon = tuple(
        replace(b, smoothed_by=b.smoothed_by + timedelta(minutes=8.5)) if b.number == 1 else b
        for b in planned.buckets
    )
    found = judge(replace(planned, buckets=soon))
    assert any("two tasks at once" in finding.what for finding in found)
