"""Least squares with priors, and the doubt of what it finds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

from cureplan.core.errors import OutOfRangeError

__all__ = [
    "HUBER",
    "PRIOR_FREEDOM",
    "Problem",
    "SharedScatter",
    "Solution",
    "deleted_residuals",
    "disagreement_limit",
    "half_width",
    "interval",
    "mixture_ends",
    "normal_sd",
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
class SharedScatter:
    """Parameters whose common prior SD is itself not known: a few values, each believed."""

    parameter: NDArray[np.bool_]
    """Shape (p,)."""
    sd: Array
    ln_belief: Array
    follows_row: NDArray[np.bool_] | None = None
    """Shape (n,): rows as far off as the SD is from its likeliest value; so with `follows`."""
    follows: NDArray[np.bool_] | None = None
    likely: float = 1.0


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
    shared: SharedScatter | None = None

    def with_shared(self, shared: SharedScatter, sd: float) -> Problem:
        """The same with one value of the SD that is not known."""
        prior_sd, row_sd, times = self.prior_sd, self.row_sd, sd / shared.likely
        if shared.follows_row is not None:
            row_sd = np.where(shared.follows_row, times * row_sd, row_sd)
        if shared.follows is not None:
            prior_sd = np.where(shared.follows, times * prior_sd, prior_sd)
        prior_sd = np.where(shared.parameter, sd, prior_sd)
        return replace(self, prior_sd=prior_sd, row_sd=row_sd, shared=None)

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
    mixture: tuple[Likely, ...] = ()
    """Where an SD of the prior is not known: what each value of it leads to."""

    @property
    def leverage(self) -> Array:
        """Share of each row's own word in its fitted value, 0 to 1."""
        spread = np.einsum("ij,jk,ik->i", self.jacobian, self.covariance, self.jacobian)
        return np.asarray(spread / self.problem.row_sd**2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Likely:
    """One value of an SD that is not known, how likely it is, and what it leads to."""

    share: float
    sd: float
    found: Solution


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
    if problem.shared is not None:
        mixed = _mixed(problem, problem.shared, first, prior_freedom)
        return replace(mixed, weight=weight)
    factor, freedom = _factor(first, prior_freedom)
    second = solve(problem.with_factor(factor), start=first.value)
    return replace(second, factor=factor, freedom=freedom, weight=weight)


def _factor(found: Solution, prior_freedom: float) -> tuple[float, float]:
    """Factor on the guessed scatter, and the degrees of freedom behind it."""
    squares, count, own_words = _scatter(found)
    freedom = prior_freedom + count - own_words
    return float(np.sqrt((prior_freedom + squares) / freedom)), freedom


def _mixed(
    problem: Problem, shared: SharedScatter, first: Solution, prior_freedom: float
) -> Solution:
    """The fit under the likely values of the SD that is not known, and the mixture of all.

    Each value is tried on the straight lines that the rows are near the best fit, so that
    a grid of them costs no search.

    Source: Marginal likelihood by Laplace's approximation (Gelman et al., Bayesian Data
    Analysis, ch. 4 and 13; from memory).
    """
    parts = _parts(problem, shared, first, prior_freedom)
    sd = float(np.exp(sum(one.share * np.log(one.sd) for one in parts)))
    factor = sum(one.share * one.found.factor for one in parts)
    best = solve(problem.with_shared(shared, sd).with_factor(factor), start=first.value)
    parts = _parts(problem, shared, best, prior_freedom)
    covariance = np.zeros_like(best.covariance)
    for one in parts:
        off = one.found.value - best.value
        covariance += one.share * (one.found.covariance + np.outer(off, off))
    return replace(
        best,
        covariance=covariance,
        factor=factor,
        freedom=sum(one.share * one.found.freedom for one in parts),
        mixture=tuple(parts),
    )


def _parts(
    problem: Problem, shared: SharedScatter, about: Solution, prior_freedom: float
) -> list[Likely]:
    parts, ln_likely = [], []
    for sd, ln_belief in zip(shared.sd.tolist(), shared.ln_belief.tolist(), strict=True):
        own = problem.with_shared(shared, sd)
        factor, freedom = _factor(_straight(own, about), prior_freedom)
        part = _straight(own.with_factor(factor), about)
        # The belief of the factor: scaled inverse chi-square.
        of_factor = -prior_freedom * (np.log(factor) + 0.5 / factor**2)
        ln_likely.append(ln_belief + of_factor + _ln_marginal(part))
        parts.append((sd, replace(part, factor=factor, freedom=freedom)))
    likely = np.exp(np.array(ln_likely) - max(ln_likely))
    shares = (likely / likely.sum()).tolist()
    return [
        Likely(share=share, sd=sd, found=part)
        for share, (sd, part) in zip(shares, parts, strict=True)
    ]


def _straight(problem: Problem, about: Solution) -> Solution:
    """The most likely parameters if rows went on as straight lines from a solution."""
    covariance = _solved(_curvature(problem, about.jacobian), np.eye(about.value.size))
    pull = about.jacobian.T @ (about.residual / problem.row_sd**2)
    held = (problem.prior_mean - about.value) / problem.prior_sd**2
    at = np.clip(about.value + covariance @ (pull + held), problem.lower, problem.upper)
    residual = about.residual - about.jacobian @ (at - about.value)
    return replace(
        about, problem=problem, value=at, covariance=covariance, residual=residual, mixture=()
    )


def _ln_marginal(found: Solution) -> float:
    """ln of how likely the rows are, up to what no SD changes."""
    problem = found.problem
    rows = found.residual / problem.row_sd
    held = (found.value - problem.prior_mean) / problem.prior_sd
    believed = problem.prior_sd[np.isfinite(problem.prior_sd)]
    volume = np.linalg.slogdet(found.covariance)[1]
    sds = np.sum(np.log(problem.row_sd)) + np.sum(np.log(believed))
    return float(0.5 * (volume - rows @ rows - held @ held) - sds)


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
    variance, freedom = _spread(found, np.asarray(direction, dtype=np.float64), scatter_sd)
    return float(student_limit(freedom, share) * np.sqrt(variance))


def _spread(found: Solution, along: Array, scatter_sd: float) -> tuple[float, float]:
    """Variance along a direction, and the degrees of freedom behind it."""
    variance = float(along @ found.covariance @ along) + scatter_sd**2
    freedom = found.freedom
    if variance <= 0.0 or not np.isfinite(freedom):
        return max(variance, 0.0), freedom
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
    return variance, freedom / max(scaled / variance, 1e-6) ** 2


def interval(
    found: Solution,
    direction: ArrayLike,
    *,
    share: float,
    spread: float = 0.0,
    anew: bool = False,
) -> tuple[float, float]:
    """Ends of the interval of a linear combination, counted from its best value.

    `spread` is the guessed scatter of a new reading; `anew` adds the parameter whose SD is
    not known once more, as of a new lot. Where there is such an SD, ends are quantiles of
    the mixture.
    """
    along = np.asarray(direction, dtype=np.float64)
    if not found.mixture:
        half = half_width(found, along, share=share, scatter_sd=found.factor * spread)
        return -half, half
    likely = np.array([one.share for one in found.mixture])
    middle = np.array([along @ (one.found.value - found.value) for one in found.mixture])
    spreads = [_spread(one.found, along, one.found.factor * spread) for one in found.mixture]
    own = [one.sd**2 if anew else 0.0 for one in found.mixture]
    sd = np.sqrt(np.array([variance for variance, _ in spreads]) + own)
    freedom = np.minimum([freedom for _, freedom in spreads], 1e7)
    return mixture_ends(likely, middle, sd, freedom, share=share)


def normal_sd(sd: Array, ln_belief: Array) -> float:
    """SD of the normal distribution whose nine in ten are as wide as those of a mixture."""
    likely = np.exp(ln_belief) / np.sum(np.exp(ln_belief))
    freedom = np.full(sd.size, 1e7)
    high = mixture_ends(likely, np.zeros(sd.size), sd, freedom, share=0.9)[1]
    return high / student_limit(np.inf, 0.9)


def mixture_ends(
    likely: Array, middle: Array, sd: Array, freedom: Array, *, share: float
) -> tuple[float, float]:
    """Ends between which a mixture of Student's t holds its middle `share`."""
    from scipy.optimize import brentq

    if np.all(sd <= 0.0):
        return 0.0, 0.0

    def below(end: float, rank: float) -> float:
        return float(likely @ stdtr(freedom, (end - middle) / sd)) - rank

    widest = float(np.max(np.abs(middle)) + 100.0 * np.max(sd))
    low, high = (
        float(brentq(below, -widest, widest, args=(rank,), xtol=1e-9 * widest))
        for rank in ((1.0 - share) / 2.0, (1.0 + share) / 2.0)
    )
    return low, high


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
