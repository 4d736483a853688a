"""Speed that is a promise: ratios against a peer in the same run.

    python -m pytest -o addopts= tests/bench

Left out of the fast suite; `python tests/bench/table.py` prints everything measured.
"""

from datetime import UTC, datetime

import numpy as np
import pytest
from clock_peers import by_minutes, by_solver, by_us, question
from long_weather import ROWS, WAYS, long_table, read_long, three_stations
from scipy.linalg import solve_banded
from timing import best_s

from cureplan.api import demo_job_path, get_weather, make_plan, read_job
from cureplan.judge import judge
from cureplan.science.slab import Slab
from cureplan.science.slab_grid import slab_on_ground
from cureplan.weather.providers.hourly import weighed

QUERIES = 1_000_000


@pytest.fixture(scope="module")
def asked():
    return question(QUERIES)


@pytest.fixture(scope="module")
def answers(asked):
    return by_us(asked)


def test_a_million_queries_in_one_call(benchmark, asked):
    found = benchmark.pedantic(by_us, args=(asked,), rounds=5)
    assert np.all(np.isfinite(found))
    assert np.all(found > asked.start_s)


@pytest.mark.parametrize(
    ("peer", "count", "times"), [(by_solver, 200, 1000), (by_minutes, 2000, 200)]
)
def test_a_query_is_that_many_times_faster_and_as_exact(asked, answers, peer, count, times):
    ours_s = best_s(lambda: by_us(asked), times=3) / QUERIES
    peer_s = best_s(lambda: peer(asked, count), times=2) / count
    assert np.abs(peer(asked, count) - answers[:count]).max() / 60 <= 0.01
    assert peer_s / ours_s >= times


@pytest.fixture(scope="module")
def month():
    """A slab and 30 days of air over two dozen rooms, with what else a run is given."""
    slab = Slab(
        layers=slab_on_ground(thickness_m=0.15, insulation_m=0),
        top_w_m2k=7.0,
        lower_w_m2k=None,
        step_s=600.0,
        finest_cell_m=0.01,
    )
    air_c = np.random.default_rng(1).normal(25, 5, (30 * 144 + 1, 24))
    given = {"absorbed_w_m2": 0.0, "lower_c": 18.0, "start_c": None, "keep_profile": False}
    return slab, air_c, given


def test_a_month_of_two_dozen_slabs(benchmark, month):
    slab, air_c, given = month
    run = benchmark.pedantic(slab.run, args=(air_c,), kwargs=given, rounds=3)
    assert run.surface_c.shape == air_c.shape


def test_a_slab_costs_no_more_than_five_banded_solves_a_step(month):
    # What a plain implicit march of as many cells and rooms costs, before boundaries.
    slab, air_c, given = month
    cells = slab.steady_profile_c(air_c=air_c[0], absorbed_w_m2=0.0, lower_c=18.0).shape[0]
    banded = np.vstack([np.full(cells, -1.0), np.full(cells, 3.0), np.full(cells, -1.0)])

    def peer():
        now_c = np.full((cells, air_c.shape[1]), 20.0)
        for row in air_c[1:]:
            now_c[0] += row
            now_c = solve_banded((1, 1), banded, now_c)

    ours_s = best_s(lambda: slab.run(air_c, **given), times=3)
    assert ours_s <= 5 * best_s(peer, times=3)


def test_a_verdict_costs_a_quarter_of_the_plan_at_most():
    job = read_job(demo_job_path("school-kitchen"))
    now = datetime(2013, 7, 17, 12, tzinfo=UTC)
    weather = get_weather(job, now=now)
    plan = make_plan(job, now=now, weather=weather)
    planning_s = best_s(lambda: make_plan(job, now=now, weather=weather), times=2)
    assert 4 * best_s(lambda: judge(plan), times=3) <= planning_s


@pytest.mark.parametrize("way", WAYS)
def test_480_000_rows_of_weather_take_less_than_3_s(way):
    # Seconds of processor time, 23 before.
    text = long_table(way, ROWS)
    assert read_long(text).epoch_s.size == ROWS // 4
    assert best_s(lambda: read_long(text), times=2) < 3.0


def test_three_stations_are_weighed_in_no_time():
    # The client took 3.6 s for 337 hours.
    assert best_s(lambda: weighed(three_stations(337)), times=3) < 0.1
