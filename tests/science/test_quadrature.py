"""Nodes, running integrals, sweeps and cubics against exact integrals and SciPy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicHermiteSpline

from cureplan.core.errors import OutOfRangeError
from cureplan.science.quadrature import collocation, hermite, running_integral, solve_by_sweeps


@pytest.mark.parametrize("count", [2, 3, 6, 12, 41])
def test_polynomials_below_the_count_are_integrated_exactly(count):
    nodes, integrate = collocation(count)
    assert (nodes[0], nodes[-1]) == (0.0, 1.0)
    assert np.all(np.diff(nodes) > 0)
    for power in range(count):
        running = integrate @ nodes**power
        assert running == pytest.approx(nodes ** (power + 1) / (power + 1), abs=1e-12)


def test_weights_of_the_whole_span_are_clenshaw_and_curtis():
    # Five nodes on -1..1 weigh 1/15, 8/15, 4/5, 8/15, 1/15, by symmetry and exactness for
    # 1, x², x⁴; half of that on 0..1.
    _, integrate = collocation(5)
    assert integrate[-1] == pytest.approx(np.array([1, 8, 12, 8, 1]) / 30, abs=1e-14)


def test_a_smooth_function_converges_fast():
    nodes, integrate = collocation(12)
    assert integrate @ np.exp(nodes) == pytest.approx(np.exp(nodes) - 1, abs=1e-12)


def test_the_shared_nodes_cannot_be_written_to():
    nodes, integrate = collocation(6)
    with pytest.raises(ValueError, match="read-only"):
        nodes[0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        integrate[0, 0] = 1.0


@pytest.mark.parametrize("count", [-1, 0, 1])
def test_refuses_fewer_than_two_nodes(count):
    with pytest.raises(OutOfRangeError, match="count"):
        collocation(count)


@given(
    rate=st.floats(-3, 3),
    spans=st.lists(st.floats(0.01, 3), min_size=1, max_size=4),
    start=st.floats(0.1, 10),
)
def test_sweeps_solve_growth_and_decay(rate, spans, start):
    span = np.array(spans)
    # Relative to the greatest y: sweeps cannot settle below its rounding noise.
    greatest = start * np.exp(max(0.0, rate * span.max()))
    part, y = solve_by_sweeps(
        lambda y: rate * y, np.full(span.size, start), span, tolerance=1e-11 * greatest
    )
    exact = start * np.exp(rate * span[:, None] * part)
    assert y == pytest.approx(exact, rel=2e-5)
    # The running integral of y is (y - start)/rate.
    total = running_integral(part, y, span)
    assert rate * total == pytest.approx(y - start, abs=1e-8 * np.max(y))


def test_sweeps_agree_with_an_ode_solver_where_it_runs_away():
    # dy/du = exp(y) reaches y = -ln(exp(-y0) - u): at 90 % of its life it needs pieces.
    part, y = solve_by_sweeps(np.exp, np.zeros(1), np.array([0.9]), tolerance=1e-10)
    assert part.size > 6
    assert y[0] == pytest.approx(-np.log(1 - 0.9 * part), abs=1e-5)
    run = solve_ivp(lambda _u, y: np.exp(y), (0, 0.9), [0.0], rtol=1e-10, atol=1e-12)
    assert y[0, -1] == pytest.approx(run.y[0, -1], abs=1e-5)


def test_one_row_that_needs_pieces_does_not_change_the_others():
    alone_part, alone = solve_by_sweeps(
        lambda y: -y, np.ones(1), np.array([0.2]), tolerance=1e-12
    )
    part, both = solve_by_sweeps(
        lambda y: -y, np.ones(2), np.array([0.2, 6.0]), tolerance=1e-12
    )
    assert part.size > alone_part.size
    assert both[0, -1] == pytest.approx(alone[0, -1], abs=1e-9)
    assert both[1, -1] == pytest.approx(np.exp(-6.0), abs=1e-7)


@pytest.mark.parametrize("start", [np.nan, 1.0])
def test_refuses_what_never_settles(start):
    def slope(y):
        return y if np.isnan(start) else 1e6 * np.cos(1e6 * y)

    with pytest.raises(OutOfRangeError, match="too fast"):
        solve_by_sweeps(slope, np.array([start]), np.ones(1), tolerance=1e-12)


@given(
    ends=st.tuples(*[st.floats(-5, 5)] * 4),
    parts=st.lists(st.floats(0, 1), min_size=1, max_size=9),
)
def test_cubic_pieces_agree_with_scipy(ends, parts):
    y0, y1, d0, d1 = ends
    spline = CubicHermiteSpline([0, 1], [y0, y1], [d0, d1])
    at = np.array(parts)
    got = hermite(at, *(np.full(at.shape, value) for value in ends))
    assert got == pytest.approx(spline(at), abs=1e-12)
