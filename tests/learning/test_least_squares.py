"""The fit against two solvers that share nothing with it, and against leaving rows out."""

from __future__ import annotations

import math

import numpy as np
import pytest
from fit_builders import numbered, reading
from scipy.optimize import least_squares
from scipy.stats import multivariate_normal, norm

from cureplan.core.errors import OutOfRangeError
from cureplan.science.learning.least_squares import (
    Problem,
    SharedScatter,
    deleted_residuals,
    disagreement_limit,
    half_width,
    interval,
    solve,
    with_scale,
)
from cureplan.science.learning.setup import setup

GAS_J_MOL_K = 8.314462618
NO = math.nan


def test_topcoat_fit_is_the_weighted_least_squares_with_prior_rows(topcoat):
    # Outside: numpy.linalg.lstsq on rows written out here, prior rows stacked below.
    # Unknowns: energy [kJ/mol], ln(age) of six milestones, the card's common error, and
    # the speed of the one batch that was read twice. The problem is straight, so both
    # must agree to rounding of the slopes (differences, 1e-9) and to the search's end.
    cups = numbered(
        [
            reading("cup", "working_time", 31.0, 12.0),
            reading("cup", "working_time", 12.5, 31.0, batch="lot 7"),
            reading("cup", "recoat_opens", 151.0, 31.0, batch="lot 7"),
            reading("cup", "recoat_opens", 420.0, 9.0),
        ]
    )
    made = setup(topcoat, cups, free=frozenset(), humidity_ref=NO)
    found = solve(made.problem)

    def lever(temp_c):
        return 1e3 / GAS_J_MOL_K * (1 / (temp_c + 273.15) - 1 / (21.0 + 273.15))

    names = list(topcoat.milestones)
    # The card's points, from its TOML by hand: closing times sooner end, waiting later.
    card_min = [20.0, 240.0, 18 * 60.0, 300.0, 24 * 60.0, 48 * 60.0]
    rows, target = [], []
    for number, minutes in enumerate(card_min):
        row = np.zeros(9)
        row[1 + number] = row[7] = 1.0
        rows.append(row / 0.25)
        target.append(math.log(60 * minutes) / 0.25)
    for one in cups:
        row = np.zeros(9)
        row[0], row[1 + names.index(one.milestone)] = lever(one.temp_c), 1.0
        row[8] = -1.0 if one.batch else 0.0
        sd = 0.1 * (math.sqrt(0.25) if one.batch else 1.0)
        rows.append(row / sd)
        target.append(math.log(one.after_s) / sd)
    for place, mean, sd in ((0, 50.0, 10.0), (7, 0.0, 0.30), (8, 0.0, math.sqrt(0.75) * 0.1)):
        row = np.zeros(9)
        row[place] = 1.0 / sd
        rows.append(row)
        target.append(mean / sd)
    outside, *_ = np.linalg.lstsq(np.array(rows), np.array(target), rcond=None)
    spread = np.sqrt(np.diag(np.linalg.inv(np.array(rows).T @ np.array(rows))))

    layout = made.layout
    places = [
        layout.at("energy"),
        *(layout.at("age", n) for n in range(6)),
        layout.at("common"),
    ]
    places.append(layout.at("speed"))
    assert found.value[places] == pytest.approx(outside, abs=2e-5)
    assert np.sqrt(np.diag(found.covariance))[places] == pytest.approx(spread, rel=1e-5)


def test_slurry_fit_is_where_scipy_finds_the_least_cost(slurry):
    # Outside: scipy.optimize.least_squares on the same rows with its own slopes and
    # bounds. The search here ends within 1e-3 standard deviations, hence the tolerance.
    kit = {"liquids_c": 30.0, "filler_c": 31.0, "air_c": 32.0, "slab_c": 29.0}
    readings = numbered(
        [
            reading("sheet", "wet_edge", 15.0, 21.0),
            reading("cup", "working_time", 8.0, 33.0, mass_kg=0.2, air_c=32.0),
            reading("bucket", "wet_edge", 6.1, batch="a", **kit),
            reading("bucket", "working_time", 9.0, batch="a", **kit),
            reading("probe", "", 0.0, 34.5, batch="a", **kit),
            reading("probe", "", 3.0, 37.0, batch="a", **kit),
            reading("probe", "", 9.0, 42.0, batch="a", **kit),
        ]
    )
    free = frozenset({"share", "rise", "power", "exchange"})
    problem = setup(slurry, readings, free=free, humidity_ref=NO).problem
    found = solve(problem)

    moving = problem.lower < problem.upper
    believed = np.isfinite(problem.prior_sd) & moving

    def rows(part):
        at = problem.prior_mean.copy()
        at[moving] = part
        inside = (problem.expected(at) - problem.observed) / problem.row_sd
        prior = (at - problem.prior_mean)[believed] / problem.prior_sd[believed]
        return np.concatenate([inside, prior])

    outside = least_squares(
        rows,
        problem.prior_mean[moving],
        bounds=(problem.lower[moving], problem.upper[moving]),
        x_scale=np.sqrt(np.diag(found.covariance))[moving],
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-10,
    )
    off = (found.value[moving] - outside.x) / np.sqrt(np.diag(found.covariance))[moving]
    assert np.max(np.abs(off)) < 3e-3


def _line(count, *, seed):
    """A straight line with noise of 1.3 times the guessed scatter, nothing believed."""
    rng = np.random.default_rng(seed)
    x = np.linspace(0.0, 1.0, count)
    design = np.column_stack([np.ones(count), x])
    return design, 2.0 + 3.0 * x + 0.13 * rng.normal(size=count)


def _problem(design, observed, *, prior_sd=np.inf):
    wide = np.full(2, 1e6)
    return Problem(
        expected=lambda at: design @ at,
        slopes=lambda _: design,
        observed=observed,
        row_sd=np.full(observed.size, 0.1),
        prior_mean=np.zeros(2),
        prior_sd=np.full(2, prior_sd),
        lower=-wide,
        upper=wide,
        scaled_row=np.ones(observed.size, dtype=bool),
        scaled_parameter=np.zeros(2, dtype=bool),
    )


def test_with_nothing_believed_factor_and_interval_are_the_textbook_ones():
    # Outside: ordinary least squares, residual variance with n - 2 degrees of freedom,
    # Student's t for the slope (scipy.stats.linregress and t.ppf).
    from scipy.stats import linregress, t

    design, observed = _line(12, seed=1)
    found = with_scale(_problem(design, observed), prior_freedom=1e-9)
    outside = linregress(design[:, 1], observed)
    assert found.value[::-1] == pytest.approx([outside.slope, outside.intercept], rel=1e-6)
    width = t.ppf(0.95, 10) * outside.stderr
    assert half_width(found, [0, 1], share=0.9, scatter_sd=0.0) == pytest.approx(
        width, rel=1e-4
    )
    assert found.freedom == pytest.approx(10.0)


@pytest.mark.parametrize("off", [1.4, 3.0])
def test_the_further_off_an_outlier_lies_the_less_it_counts(off):
    # Outside: scipy's own minimiser of the loss in words (squares up to 2.5 deviations,
    # logarithmic beyond), on the same rows, from the line they were drawn from; what a
    # deviation is, where most rows scatter more than guessed, their median says.
    from scipy.optimize import least_squares

    def loss(z):
        far = np.maximum(z, 1.0)
        return np.array([np.where(z > 1, 1 + np.log(far), z), 1 / far, -1.0 * (z > 1) / far**2])

    design, observed = _line(9, seed=3)
    observed[4] += off
    found = with_scale(_problem(design, observed), prior_freedom=6.0)
    deviation = max(1.0, 1.4826 * float(np.median(np.abs(found.residual) / 0.1)))
    theirs = least_squares(
        lambda at: (observed - design @ at) / 0.1, [2.0, 3.0], loss=loss,
        f_scale=2.5 * deviation, xtol=1e-14, ftol=1e-14, gtol=1e-14,
    ).x  # fmt: skip
    plain = np.linalg.lstsq(design, observed, rcond=None)[0]
    assert np.linalg.norm(found.value - theirs) < 0.1 * np.linalg.norm(plain - theirs)
    assert found.weight[4] < 1.3 * (0.25 * deviation / off) ** 2
    rows, _ = deleted_residuals(found, prior_freedom=6.0)
    assert np.argmax(np.abs(rows)) == 4
    assert abs(rows[4]) > 5.0


def test_deleted_residual_is_what_leaving_the_row_out_gives():
    # Outside: each row really left out, the rest fitted by scipy.stats.linregress, and the
    # row judged against that line's own prediction variance.
    from scipy.stats import linregress

    design, observed = _line(9, seed=1)
    observed[4] += 0.2
    observed -= 0.5 * (observed - design @ [2.0, 3.0])
    found = with_scale(_problem(design, observed), prior_freedom=1e-9)
    assert np.all(found.weight == 1.0), "no row is an outlier here"
    rows, _ = deleted_residuals(found, prior_freedom=1e-9)
    for out in range(9):
        keep = np.arange(9) != out
        x, y = design[keep, 1], observed[keep]
        line = linregress(x, y)
        rest = y - line.intercept - line.slope * x
        variance = float(rest @ rest) / (keep.sum() - 2)
        apart = x - x.mean()
        where = design[out, 1] - x.mean()
        variance *= 1.0 + 1.0 / keep.sum() + where**2 / float(apart @ apart)
        expected = (observed[out] - line.intercept - line.slope * design[out, 1]) / math.sqrt(
            variance
        )
        assert rows[out] == pytest.approx(expected, rel=1e-4)
    assert int(np.argmax(np.abs(rows))) == 4


def test_limit_is_passed_by_one_sound_file_in_twenty():
    # Outside: 4000 files of 5 rows with nothing wrong; Bonferroni may only be stricter.
    rng = np.random.default_rng(5)
    limit = disagreement_limit(count=5, freedom=9.0, chance=0.05)
    drawn = np.abs(rng.standard_t(8, size=(4000, 5))).max(axis=1)
    assert 0.035 < np.mean(drawn > limit) <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 4000)


def test_rows_that_cannot_be_computed_are_refused():
    def broken(_):
        raise OutOfRangeError("too hot")

    design, observed = _line(4, seed=2)
    problem = _problem(design, observed)
    with pytest.raises(OutOfRangeError, match="cannot be computed"):
        solve(Problem(**{n: getattr(problem, n) for n in problem.__slots__ if n != "expected"},
                      expected=broken))  # fmt: skip


def test_a_kink_in_the_rows_is_found_and_ends_the_search():
    # By hand: left of 1 the row pulls up by 5 * 0.5 against the prior's 1, right of 1 by
    # 0.1 * 0.5: the least cost lies on the kink, where slopes never agree to stop.
    def expected(at):
        return np.array([5.0 * at[0] if at[0] < 1.0 else 5.0 + 0.1 * (at[0] - 1.0)])

    problem = Problem(
        expected=expected,
        slopes=lambda at: np.array([[5.0 if at[0] < 1.0 else 0.1]]),
        observed=np.array([5.5]),
        row_sd=np.ones(1),
        prior_mean=np.zeros(1),
        prior_sd=np.ones(1),
        lower=np.full(1, -9.0),
        upper=np.full(1, 9.0),
        scaled_row=np.zeros(1, dtype=bool),
        scaled_parameter=np.zeros(1, dtype=bool),
    )
    assert solve(problem).value[0] == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("apart", [0.2, 3.0])
def test_lots_of_unknown_scatter_give_the_integrated_interval(apart):
    # Expected: the posterior of a mean of six lots, each read once with an SD of 0.5, under
    # an SD of lots that is 0.3, 1 or 3, believed alike: normal at each, written out here.
    read = apart * np.array([-1.2, -0.6, -0.1, 0.2, 0.7, 1.3])
    sds, count = np.array([0.3, 1.0, 3.0]), read.size
    mean = np.eye(1 + count)[0]
    design = np.hstack([np.ones((count, 1)), np.eye(count)])
    problem = Problem(
        expected=lambda x: design @ x,
        slopes=lambda _: design,
        observed=read,
        row_sd=np.full(count, 0.5),
        prior_mean=np.zeros(1 + count),
        prior_sd=np.array([2.0, *[1.0] * count]),
        lower=np.full(1 + count, -50.0),
        upper=np.full(1 + count, 50.0),
        scaled_row=np.zeros(count, bool),
        scaled_parameter=np.zeros(1 + count, bool),
        shared=SharedScatter(parameter=np.arange(1 + count) > 0, sd=sds, ln_belief=np.zeros(3)),
    )
    found = with_scale(problem, prior_freedom=6.0)
    likely, centre, wide = [], [], []
    for sd in sds:
        alone = np.eye(count) * (0.5**2 + sd**2)
        likely.append(multivariate_normal(np.zeros(count), alone + 4.0).pdf(read))
        precision = count / (0.5**2 + sd**2) + 1.0 / 4.0
        centre.append(read.sum() / (0.5**2 + sd**2) / precision)
        wide.append(precision**-0.5)
    likely = np.array(likely) / np.sum(likely)
    assert [one.share for one in found.mixture] == pytest.approx(likely.tolist(), rel=1e-6)
    for anew in (False, True):
        sd = np.hypot(wide, sds if anew else 0.0)
        ends = interval(found, mean, share=0.9, anew=anew)
        for end, rank in zip(ends, (0.05, 0.95), strict=True):
            # Rows of known scatter need no Student's t.
            below = likely @ norm.cdf((found.value[0] + end - np.array(centre)) / sd)
            assert below == pytest.approx(rank, abs=1e-4)
