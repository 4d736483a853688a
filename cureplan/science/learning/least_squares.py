"""Least squares with priors, and the doubt of what it finds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from cureplan.core.errors import OutOfRangeError

__all__ = [
    "HUBER",
    "PRIOR_FREEDOM",
    "Problem",
    "Solution",
    "deleted_residuals",
    "disagreement_limit",
    "half_width",
    "solve",
    "student_limit",
    "with_scale",
]

Array = NDArray[np.float64]
Model = Callable[[Array], Array]
Slopes = Callable[[Array], Array]

MOST_STEPS = 200
SETTLED = 1e-9
"""Relative change of cost, step and slope at which the search ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Rows to be met and what is believed before; `inf` believes nothing."""

    expected: Model
    """Parameters (p,) to expected rows (n,)."""
    slopes: Slopes
    """Parameters (p,) to their derivatives (n, p)."""
    observed: Array
    row_sd: Array
    prior_mean: Array
    prior_sd: Array
    lower: Array
    upper: Array
    scaled_row: NDArray[np.bool_]
    """Shape (n,): rows whose scatter is only guessed."""
    scaled_parameter: NDArray[np.bool_]
    """Shape (p,): parameters whose prior scatter is the same guess (speeds of batches)."""

    def with_factor(self, factor: float) -> Problem:
        """The same with the guessed scatter multiplied."""
        return replace(
            self,
            row_sd=np.where(self.scaled_row, self.row_sd * factor, self.row_sd),
            prior_sd=np.where(self.scaled_parameter, self.prior_sd * factor, self.prior_sd),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Where the rows and the prior meet."""

    problem: Problem
    value: Array
    covariance: Array
    jacobian: Array
    residual: Array
    """Observed minus expected."""
    factor: float
    """Found factor on the guessed scatter; 1 where none was looked for."""
    freedom: float
    """Degrees of freedom behind the factor; inf where it is taken as known."""
    weight: Array
    """Shape (n,): share of its full word that each row has, 1 but for outliers."""

    @property
    def leverage(self) -> Array:
        """Share of each row's own word in its fitted value, 0 to 1."""
        spread = np.einsum("ij,jk,ik->i", self.jacobian, self.covariance, self.jacobian)
        return np.asarray(spread / self.problem.row_sd**2)


def solve(problem: Problem, *, start: Array | None = None) -> Solution:
    """The most likely parameters within the bounds, the prior as further rows.

    Not for rows with outliers that should not count: see `with_scale`.

    Source: scipy.optimize.least_squares (trust region reflective); prior as further rows
    (for example Gelman et al., Bayesian Data Analysis, ch. 14; from memory).

    >>> line = Problem(expected=lambda x: x, slopes=lambda x: np.eye(1),
    ...     observed=np.array([2.0]), row_sd=np.ones(1), prior_mean=np.zeros(1),
    ...     prior_sd=np.ones(1), lower=np.full(1, -9.0), upper=np.full(1, 9.0),
    ...     scaled_row=np.zeros(1, bool), scaled_parameter=np.zeros(1, bool))
    >>> found = solve(line)
    >>> round(float(found.value[0]), 6), float(found.covariance[0, 0])
    (1.0, 0.5)
    """
    from scipy.optimize import least_squares

    at = np.clip(problem.prior_mean if start is None else start, problem.lower, problem.upper)
    free = problem.lower < problem.upper

    def whole(part: Array) -> Array:
        full = at.copy()
        full[free] = part
        return full

    def rows(part: Array) -> Array:
        full = whole(part)
        held = ((full - problem.prior_mean) / problem.prior_sd)[free]
        try:
            off = (problem.expected(full) - problem.observed) / problem.row_sd
        except OutOfRangeError:
            # Beyond the model's range: the search takes a shorter step.
            off = np.full(problem.observed.size, np.inf)
        return np.concatenate([off, held])

    def slopes(part: Array) -> Array:
        of_rows = problem.slopes(whole(part))[:, free] / problem.row_sd[:, None]
        return np.vstack([of_rows, np.diag(1.0 / problem.prior_sd[free])])

    if not np.all(np.isfinite(rows(at[free]))):
        raise OutOfRangeError("the rows cannot be computed from where the search starts")
    scale = 1.0 / np.maximum(np.linalg.norm(slopes(at[free]), axis=0), 1e-9)
    found = least_squares(
        rows,
        at[free],
        jac=slopes,
        bounds=(problem.lower[free], problem.upper[free]),
        x_scale=scale,
        xtol=SETTLED,
        ftol=SETTLED,
        gtol=SETTLED,
        max_nfev=MOST_STEPS,
    )
    if found.status == 0:
        raise OutOfRangeError("the search for the best fit does not settle")
    best = whole(found.x)
    return _solution(problem, best, problem.slopes(best))


def _curvature(problem: Problem, slopes: Array) -> Array:
    """Curvature of half the cost."""
    rows = slopes / problem.row_sd[:, None]
    return np.asarray(rows.T @ rows + np.diag(1.0 / problem.prior_sd**2))


def _solved(matrix: Array, right: Array) -> Array:
    try:
        return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
    except np.linalg.LinAlgError:
        raise OutOfRangeError("the rows leave a parameter without any word on it") from None


def _solution(problem: Problem, at: Array, slopes: Array) -> Solution:
    curvature = _curvature(problem, slopes)
    return Solution(
        problem=problem,
        value=at,
        covariance=_solved(curvature, np.eye(at.size)),
        jacobian=slopes,
        residual=problem.observed - problem.expected(at),
        factor=1.0,
        freedom=float("inf"),
        weight=np.ones(problem.observed.size),
    )


def with_scale(
    problem: Problem, *, prior_freedom: float, start: Array | None = None
) -> Solution:
    """Solve, find the factor on the guessed scatter, and solve again with it.

    The factor is looked for once, about the fit with a factor of one: then a further
    reading that agrees with the fit can only narrow what is known.

    Source: Mean of the residual sum of squares under a prior, n - trace(hat matrix); scaled
    inverse chi-square prior for the factor (Gelman et al., ch. 3 and 14; from memory).
    """
    first, weight = _robust(problem, start)
    problem = replace(problem, row_sd=problem.row_sd / np.sqrt(weight))
    squares, count, own_words = _scatter(first)
    freedom = prior_freedom + count - own_words
    factor = float(np.sqrt((prior_freedom + squares) / freedom))
    second = solve(problem.with_factor(factor), start=first.value)
    return replace(second, factor=factor, freedom=freedom, weight=weight)


PRIOR_FREEDOM = 6.0
"""How many readings the card's own spread is worth: invented."""
HUBER = 2.5
"""Deviations beyond which a row counts less: in one of eighty rows of a sound file."""
_TO_SD = 1.4826
"""Median distance to standard deviation, for normal scatter."""
REWEIGHTED = 1e-3
MOST_REWEIGHTINGS = 12


def _robust(problem: Problem, start: Array | None) -> tuple[Solution, Array]:
    """The fit with far rows of guessed scatter held back, by weights found again.

    Huber's loss first, in which a far row pulls as one at the limit does; from there a loss
    that is logarithmic beyond it, so that the further off, the less a row pulls.

    Source: Huber, Robust Statistics, ch. 7 (from memory).
    """
    weight = np.ones(problem.observed.size)
    found = solve(problem, start=start)
    if not np.any(problem.scaled_row):
        return found, weight
    for tail in (1.0, 2.0):
        for _ in range(MOST_REWEIGHTINGS):
            off = np.abs(found.residual / problem.row_sd)
            # Where most rows scatter more than guessed, none of them is an outlier for that.
            off /= max(1.0, _TO_SD * float(np.median(off[problem.scaled_row], axis=0)))
            wanted = np.where(problem.scaled_row, (HUBER / np.maximum(off, HUBER)) ** tail, 1.0)
            if float(np.max(np.abs(wanted - weight), initial=0.0)) < REWEIGHTED:
                break
            weight = np.asarray(wanted, dtype=np.float64)
            softened = replace(problem, row_sd=problem.row_sd / np.sqrt(weight))
            found = solve(softened, start=found.value)
    return found, weight


def _scatter(found: Solution) -> tuple[float, float, float]:
    """Sum of squares, number, and summed leverage of everything whose scatter is guessed."""
    problem = found.problem
    row, parameter = problem.scaled_row, problem.scaled_parameter
    residual = (found.value - problem.prior_mean)[parameter] / problem.prior_sd[parameter]
    rows = found.residual[row] / problem.row_sd[row]
    held = np.diag(found.covariance)[parameter] / problem.prior_sd[parameter] ** 2
    return (
        float(rows @ rows + residual @ residual),
        float(row.sum() + parameter.sum()),
        float(found.leverage[row].sum() + held.sum()),
    )


def half_width(
    found: Solution, direction: ArrayLike, *, share: float, scatter_sd: float
) -> float:
    """Half the interval that holds a linear combination of parameters, or a new reading.

    As far as the interval rests on the scatter that was found, Student's t widens it
    (degrees of freedom after Satterthwaite); as far as it rests on the prior, not.

    Source: Satterthwaite 1946: freedom = 2 V² / var(V) (from memory).
    """
    along = np.asarray(direction, dtype=np.float64)
    variance = float(along @ found.covariance @ along) + scatter_sd**2
    if variance <= 0.0:
        return 0.0
    freedom = found.freedom
    if np.isfinite(freedom):
        # How steeply the variance follows the factor: by the scaled rows' share of it.
        problem = found.problem
        reach = found.covariance @ along
        rows = (found.jacobian @ reach) / problem.row_sd
        held = reach / problem.prior_sd
        scaled = float(
            np.sum(rows[problem.scaled_row] ** 2)
            + np.sum(held[problem.scaled_parameter] ** 2)
            + scatter_sd**2
        )
        freedom = found.freedom / max(scaled / variance, 1e-6) ** 2
    return float(student_limit(freedom, share) * np.sqrt(variance))


def student_limit(freedom: float, share: float) -> float:
    """Student's t that holds the middle `share` of cases; normal for infinite freedom."""
    # Far out the two differ by less than 1e-6, and the function wants a finite number.
    return float(stdtrit(min(freedom, 1e7), 0.5 + share / 2.0))


def deleted_residuals(found: Solution, *, prior_freedom: float) -> tuple[Array, Array]:
    """How far each scaled row, and each scaled parameter, lies from what the rest says.

    Externally studentised: the row neither pulls the fit towards itself nor widens the
    scatter by which it is judged.

    Source: Cook & Weisberg, Residuals and Influence in Regression, ch. 2 (from memory).
    """
    problem = found.problem
    rows = np.where(problem.scaled_row, found.residual / problem.row_sd, np.nan)
    held = np.diag(found.covariance) / problem.prior_sd**2
    off = (found.value - problem.prior_mean) / problem.prior_sd
    parameters = np.where(problem.scaled_parameter, off, np.nan)
    return (
        _deleted(rows, found.leverage, found.weight, found, prior_freedom),
        _deleted(parameters, held, np.ones(held.size), found, prior_freedom),
    )


def _deleted(
    inside: Array, leverage: Array, weight: Array, found: Solution, prior_freedom: float
) -> Array:
    others = np.maximum(1.0 - leverage, 1e-9)
    # In units of the found scatter the whole sum of squares is just the freedom.
    left = np.maximum(found.freedom - inside**2 / others, prior_freedom / found.factor**2)
    scatter = left / (found.freedom - 1.0)
    # The row itself is judged by its full scatter, however little it counted.
    spread = scatter * (1.0 + leverage / (weight * others))
    return np.asarray(inside / np.sqrt(weight) / others / np.sqrt(spread))


def disagreement_limit(*, count: int, freedom: float, chance: float) -> float:
    """Deleted residual which `chance` of files without a fault would exceed somewhere.

    Source: Bonferroni's bound on Student's t with one degree of freedom less.

    >>> round(disagreement_limit(count=1, freedom=1e9, chance=0.05), 2)
    1.96
    """
    return student_limit(freedom - 1.0, 1.0 - chance / count)
