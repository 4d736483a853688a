"""Roles and call-outs of one floor, and what one more pair of hands would change."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from cureplan.inputs.job.crew import POUR_ROLES
from cureplan.planning.floor.crew import bottleneck, pour_roles, with_one_more
from cureplan.planning.floor.layout import Cadence, cadence_of, lay_out, relative_times
from cureplan.planning.floor.pour import AS_IS, PourPlan


@pytest.fixture(scope="module")
def floor(plain_room, plain_job, slurry_card):
    """19 buckets, two a row, every 210 s: worked by hand in the layout's own test."""
    layout = lay_out(plain_room, plain_job, bays=1)
    cadence = cadence_of(layout, slurry_card, crew=plain_job.crew, pace=plain_job.pace)
    times = relative_times(layout, slurry_card, cadence, stations=2, bay_turn_s=120.0)
    return PourPlan(option=AS_IS, layout=layout, cadence=cadence, times=times)


def test_first_and_last_tasks_by_hand(floor, plain_job, slurry_card):
    # Bucket 1: liquids at 0, mixed at 330, poured at 390, raked by 508.4, smooth by
    # 656.4 s. Bucket 19 is 18 * 210 = 3780 s behind.
    spans = {span.role: span for span in pour_roles(floor, slurry_card, crew=plain_job.crew)}
    assert sorted(spans) == sorted(POUR_ROLES)
    expected = {
        "mixer": (0.0, 3780 + 330.0),
        "runner": (330.0, 3780 + 390.0),
        "rake": (390.0, 3780 + 508.4),
        "edge": (390.0, 3780 + 656.4),
        "smoother": (508.4, 3780 + 656.4),
        # Bucket 19 lies alone before 17 and 18, whose strips of 38.1 s waited for it.
        "broadcaster": (656.4, 3780 + 656.4 + 2 * 38.1 + 118.4),
    }
    for role, (first_s, last_s) in expected.items():
        assert spans[role].first_s == pytest.approx(first_s, abs=0.1)
        assert spans[role].last_s == pytest.approx(last_s, abs=0.1)
    assert [spans[role].people for role in POUR_ROLES] == [2, 1, 1, 1, 2, 1]


def test_how_busy_each_is_by_hand(floor, plain_job, slurry_card):
    # Every 210 s: mixing all of it; the runner 120 s there and back; raking 118.4;
    # smoothing 148.0; broadcasting 118.4, by two. Around 9 by 5 m are 28 m of edge, a 19th
    # of it a bucket at 10 ft/min = 0.0508 m/s: 29.0 s.
    busy = {s.role: s.busy_frac for s in pour_roles(floor, slurry_card, crew=plain_job.crew)}
    assert busy == pytest.approx(
        {
            "mixer": 1.0,
            "runner": 120 / 210,
            "rake": 118.42 / 210,
            "edge": 28 / 19 / 0.0508 / 210,
            "smoother": 148.03 / 210,
            "broadcaster": 118.42 / 210,
        },
        abs=1e-4,
    )


def test_nobody_is_called_after_his_first_task_or_leaves_before_his_last(
    floor, plain_job, slurry_card
):
    spans = pour_roles(floor, slurry_card, crew=plain_job.crew)
    firsts = {span.role: span.first_s for span in spans}
    assert firsts["mixer"] <= firsts["runner"] <= firsts["rake"] <= firsts["smoother"]
    assert firsts["smoother"] <= firsts["broadcaster"]
    assert max(span.last_s for span in spans) == pytest.approx(floor.times.last_s)
    assert all(0 < span.busy_frac <= 1 and span.first_s < span.last_s for span in spans)


@pytest.mark.parametrize(
    ("task", "grown"),
    [
        ("mixing", {"mixer": 3, "stations": 3}),
        ("haul", {"runner": 2}),
        ("rake", {"rake": 2}),
        ("smooth", {"smoother": 2}),
        ("broadcast", {"broadcaster": 3}),
    ],
)
def test_one_more_at_a_task_is_one_more_there_and_nowhere_else(plain_job, task, grown):
    assert with_one_more(plain_job.crew, task) == replace(plain_job.crew, **grown)


@pytest.mark.parametrize(
    ("stations", "mixer", "grown"),
    [(3, 1, {"mixer": 2}), (1, 3, {"stations": 2}), (2, 2, {"stations": 3, "mixer": 3})],
)
def test_an_idle_station_wants_a_mixer_and_an_idle_mixer_a_station(
    plain_job, stations, mixer, grown
):
    crew = replace(plain_job.crew, stations=stations, mixer=mixer)
    assert with_one_more(crew, "mixing") == replace(crew, **grown)


@pytest.mark.parametrize("task", ["mixing", "haul", "rake", "smooth", "broadcast"])
def test_one_more_at_the_bottleneck_always_quickens(plain_room, plain_job, slurry_card, task):
    # Hands enough everywhere but at one task, which is then what sets the rhythm.
    plenty = replace(
        plain_job.crew, stations=6, mixer=6, runner=6, rake=6, smoother=6, broadcaster=9
    )
    roles = {
        "mixing": {"stations": 1, "mixer": 1}, "haul": {"runner": 1}, "rake": {"rake": 1},
        "smooth": {"smoother": 1}, "broadcast": {"broadcaster": 1},
    }  # fmt: skip
    pace = replace(plain_job.pace, haul_s=120.0)
    layout = lay_out(plain_room, plain_job, bays=1)
    crew = replace(plenty, **roles[task])
    before = cadence_of(layout, slurry_card, crew=crew, pace=pace)
    assert before.limit == task
    after = cadence_of(layout, slurry_card, crew=with_one_more(crew, task), pace=pace)
    assert after.interval_s < before.interval_s


def test_the_bottleneck_is_what_limits_most_floors():
    cadence = Cadence(
        interval_s=200.0, limit="mixing", mixing_s=200.0, haul_s=60.0, rake_s=100.0,
        smooth_s=120.0, broadcast_s=90.0, strip_s=30.0,
    )  # fmt: skip
    floors = [
        SimpleNamespace(cadence=replace(cadence, limit=limit))
        for limit in ("smooth", "mixing", "mixing")
    ]
    assert bottleneck(floors) == "mixing"
    assert bottleneck(floors[:1]) == "smooth"


def test_the_times_of_this_test_are_the_floors(floor):
    assert floor.times.pour_s.size == 19
    assert np.diff(floor.times.liquids_in_s) == pytest.approx(210.0)
