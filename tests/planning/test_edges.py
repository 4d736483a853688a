"""The edge hand's pace sets the rhythm of a floor that is all walls.

By hand: a passage of 12 m x 1 m at 3 mm takes 36 L, 4 kits of 9.5 L. Its walls are 26 m,
6.5 m for each bucket: at 1 m/min 390 s, slower than two stations at 210 s; two edge hands
take 195 s. An island of 2 m x 0.5 m adds 5 m; against the wall 1 m, as 2 m of each are hidden.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from steady import write_job, write_weather

from cureplan.api import get_weather, make_plan, read_job
from cureplan.inputs.job.crew import Person
from cureplan.inputs.job.model import Outline
from cureplan.judge import judge
from cureplan.planning.floor.layout import cadence_of, lay_out

SIZE = (('length = "6 m"', 'length = "12 m"'), ('width = "4 m"', 'width = "1 m"'))
SLOW = ('rake = "1.5 m2/min"', 'rake = "1.5 m2/min"\nedge = "1 m/min"')


def rhythm(job) -> tuple[str, float]:
    layout = lay_out(job.rooms[0], job, bays=1)
    assert layout.kits == 4
    cadence = cadence_of(layout, job.cards.slurry, crew=job.crew, pace=job.pace)
    return cadence.limit, cadence.interval_s


def test_edges_set_the_rhythm_where_they_take_longest(tmp_path):
    write_weather(tmp_path / "weather.csv")
    job = read_job(write_job(tmp_path, *SIZE, SLOW))
    assert rhythm(job) == ("edge", pytest.approx(390.0))
    assert rhythm(replace(job, crew=replace(job.crew, edge=2))) == ("mixing", 210.0)
    # Named hands go by the same pace: 6.5 m alone in 390 s, and of two who do nothing else
    # the busiest is then who mixes, hauls and spreads the 3 m² of a bucket.
    for edges, limit, least_s in ((1, "edge", 390.0), (2, "mixing", 210.0)):
        roles = {"m": "mixer", "n": "mixer", "h": "runner", "r": "rake", "s": "smoother"}
        roles |= {"b": "broadcaster", "c": "broadcaster"} | {
            f"e{n}": "edge" for n in range(edges)
        }
        people = tuple(Person(name=name, roles=(role,)) for name, role in roles.items())
        able = (*people[:-1], replace(people[-1], roles=("edge", "broadcaster")))
        named = replace(job, crew=replace(job.crew, people=able, edge=edges))
        assert named.crew.shares
        assert rhythm(named) == (limit, pytest.approx(least_s))
    now = job.access.begins
    plan = make_plan(job, now=now, weather=get_weather(job, now=now), what_helps=False)
    assert plan.rooms[0].cadence_limit == "edge"
    assert judge(plan) == ()
    # Faster than the hand at the edge goes, the judge finds.
    slower = replace(plan.job, pace=replace(plan.job.pace, edge_m_s=0.5 / 60))
    assert any("rhythm" in finding.what for finding in judge(replace(plan, job=slower)))


@pytest.mark.parametrize(("left", "more_m"), [(0.25, 5.0), (0.0, 1.0)])
def test_edges_of_islands_count_and_those_they_hide_do_not(left, more_m):
    island = ((left, 5.0), (left + 0.5, 5.0), (left + 0.5, 7.0), (left, 7.0))
    outline = Outline(
        corners_m=((0, 0), (1, 0), (1, 12), (0, 12)),
        islands_m=(island,),
        stop_lines_m=(),
        back_wall=(0, 1),
    )
    assert outline.edge_m == pytest.approx(26.0 + more_m)
