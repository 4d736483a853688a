"""Intervals of a fit, and readings that lie too far from what all the others say."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from cureplan.physics.fit_least_squares import Solution

__all__ = ["deleted_residuals", "disagreement_limit", "half_width", "student_limit"]

Array = NDArray[np.float64]


def half_width(
    found: Solution, direction: ArrayLike, *, share: float, scatter_sd: float
) -> float:
    """Half the interval that holds a linear combination of parameters, or a new reading.

    As far as the interval rests on the scatter that was found, Student's t widens it
    (degrees of freedom after Satterthwaite); as far as it rests on the prior, not.

    Parameters
    ----------
    found : Solution
        From `solve` or `with_scale`.
    direction : array_like, shape (p,)
        The combination.
    share : float
        Share of cases the interval is to hold, 0 to 1.
    scatter_sd : float
        Scatter of a single reading about it, as found; 0 for the combination itself.

    Returns
    -------
    float
        In the combination's unit.

    Source
    ------
    Satterthwaite 1946: freedom = 2 V² / var(V) (from memory).
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

    Parameters
    ----------
    found : Solution
        From `with_scale`.
    prior_freedom : float
        As given there.

    Returns
    -------
    rows : ndarray, shape (n,)
        NaN for rows of known scatter.
    parameters : ndarray, shape (p,)
        NaN for parameters that are not scaled.

    Source
    ------
    Cook & Weisberg, Residuals and Influence in Regression, ch. 2 (from memory).
    """
    problem = found.problem
    rows = np.where(problem.scaled_row, found.residual / problem.row_sd, np.nan)
    held = np.diag(found.covariance) / problem.prior_sd**2
    apart = (found.value - problem.prior_mean) / problem.prior_sd
    parameters = np.where(problem.scaled_parameter, apart, np.nan)
    return (
        _deleted(rows, found.leverage, found, prior_freedom),
        _deleted(parameters, held, found, prior_freedom),
    )


def _deleted(inside: Array, leverage: Array, found: Solution, prior_freedom: float) -> Array:
    squared = inside**2 / np.maximum(1.0 - leverage, 1e-9)
    # In units of the found scatter the whole sum of squares is just the freedom.
    left = np.maximum(found.freedom - squared, prior_freedom / found.factor**2)
    scatter = left / (found.freedom - 1.0)
    return np.asarray(np.sign(inside) * np.sqrt(squared / scatter))


def disagreement_limit(*, count: int, freedom: float, chance: float) -> float:
    """Deleted residual which `chance` of files without a fault would exceed somewhere.

    Parameters
    ----------
    count : int
        Residuals looked at, >= 1.
    freedom : float
        Of the fit's scatter, > 1.
    chance : float
        Share of sound files that may be suspected, 0 to 1.

    Returns
    -------
    float

    Source
    ------
    Bonferroni's bound on Student's t with one degree of freedom less.

    Examples
    --------
    >>> round(disagreement_limit(count=1, freedom=1e9, chance=0.05), 2)
    1.96
    """
    return student_limit(freedom - 1.0, 1.0 - chance / count)
