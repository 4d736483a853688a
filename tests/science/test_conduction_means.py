"""The series shipped for pails: roots of the tables, and means as the integral of profiles."""

import numpy as np
import pytest
from oracles import series
from scipy.integrate import quad

from cureplan.core.errors import OutOfRangeError
from cureplan.science.conduction_series import Body, Shape, mean_gap_left, series_terms


def body(shape, half_size_m, *, k, alpha, h):
    return Body(
        shape=shape,
        half_size_m=half_size_m,
        conductivity_w_mk=k,
        diffusivity_m2_s=alpha,
        surface_w_m2k=h,
    )


@pytest.mark.parametrize(
    ("biot", "shape", "root"),
    [
        # First roots, computed apart; the values every textbook tabulates.
        (0.1, Shape.WALL, 0.3111),
        (0.1, Shape.CYLINDER, 0.4417),
        (1.0, Shape.WALL, 0.8603),
        (1.0, Shape.CYLINDER, 1.2558),
        (10.0, Shape.WALL, 1.4289),
        (10.0, Shape.CYLINDER, 2.1795),
    ],
)
def test_first_roots_of_the_textbook_table(biot, shape, root):
    assert series_terms(shape, biot, 1).roots[0] == pytest.approx(root, abs=0.00005)


def test_pipeline_wall_numbers_of_incropera_example_5_4():
    # Published, p. 278 (seen as re-solved by others): Bi 0.313 and Fo 5.64 after 8 min.
    wall = body(Shape.WALL, 0.04, k=63.9, alpha=18.8e-6, h=500)
    assert wall.biot == pytest.approx(0.313, abs=0.0005)
    assert wall.fourier(480) == pytest.approx(5.64, abs=0.005)


@pytest.mark.parametrize(("shape", "power"), [(Shape.WALL, 0), (Shape.CYLINDER, 1)])
@pytest.mark.parametrize("elapsed_s", [600, 3600, 20_000])
def test_mean_is_the_integral_of_the_exact_profile(shape, power, elapsed_s):
    thing = body(shape, 0.08, k=0.18, alpha=8.6e-8, h=100)
    summed, _ = quad(
        lambda s: (power + 1) * s**power * float(series.gap_left(s, elapsed_s, body=thing)),
        0,
        1,
    )
    assert mean_gap_left(elapsed_s, body=thing) == pytest.approx(summed, rel=1e-9)


def test_mean_starts_at_one_and_a_small_biot_is_a_stirred_body():
    brick = body(Shape.WALL, 0.05, k=400, alpha=1.1e-4, h=1)
    capacity = 400 / 1.1e-4 * 0.05
    times_s = np.array([0.0, 600.0, 3600.0, 86_400.0])
    left = mean_gap_left(times_s, body=brick)
    assert left[0] == 1.0
    assert left == pytest.approx(np.exp(-times_s / capacity), rel=1e-4)


def test_refusals_name_the_argument():
    wall = body(Shape.WALL, 0.1, k=1, alpha=1e-6, h=10)
    with pytest.raises(OutOfRangeError, match="elapsed_s must be >= 0 s, got -1 s"):
        mean_gap_left(-1, body=wall)
    with pytest.raises(OutOfRangeError, match="surface_w_m2k"):
        body(Shape.WALL, 0.1, k=1, alpha=1e-6, h=0)
    with pytest.raises(OutOfRangeError, match="biot"):
        series_terms(Shape.WALL, -1.0, 3)
