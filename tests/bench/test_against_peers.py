"""Speed that is a promise: ratios against a peer in the same run.

    python -m pytest -o addopts= tests/bench

Left out of the fast suite; `python tests/bench/table.py` prints everything measured.
"""

import numpy as np
import pytest
from clock_peers import by_minutes, by_solver, by_us, question
from timing import best_s

from cureplan.physics.slab import Slab
from cureplan.physics.slab_grid import slab_on_ground

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


def test_a_month_of_two_dozen_slabs(benchmark):
    slab = Slab(
        layers=slab_on_ground(thickness_m=0.15, insulation_m=0),
        top_w_m2k=7.0,
        lower_w_m2k=None,
        step_s=600.0,
        finest_cell_m=0.01,
    )
    air_c = np.random.default_rng(1).normal(25, 5, (30 * 144 + 1, 24))
    given = {"absorbed_w_m2": 0.0, "lower_c": 18.0, "start_c": None, "keep_profile": False}
    run = benchmark.pedantic(slab.run, args=(air_c,), kwargs=given, rounds=3)
    assert run.surface_c.shape == air_c.shape
