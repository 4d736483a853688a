"""From a card's points to kinetics: activation energy, reference times, their doubt.

ln(minutes) is straight against 1/T. All milestones of a card share one energy, since
they watch one reaction; each has its own reference time. With few points the energy
is drawn towards a prior, and one point alone simply returns it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.rate import COLDEST_C, GAS_CONSTANT_J_MOL_K, HOTTEST_C, ZERO_CELSIUS_K

__all__ = ["KineticFit", "fit_kinetics"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class KineticFit:
    """What the points say: energy, ln of each reference time, and their covariance."""

    activation_energy_j_mol: float
    reference_c: float
    ln_reference_s: NDArray[np.float64]
    covariance: NDArray[np.float64]
    """Shape (1 + milestones,) squared: energy [J/mol] first, then ln(reference time)."""
    residual_ln: NDArray[np.float64]
    humidity_slope: float = 0.0
    """Change of ln(time) per unit of relative humidity; 0 where none was looked for."""

    @property
    def energy_sd_j_mol(self) -> float:
        """Standard deviation of the energy [J/mol]."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def reference_s(self) -> NDArray[np.float64]:
        """Time to each milestone at the reference temperature [s]."""
        return np.asarray(np.exp(self.ln_reference_s))

    def time_s(self, temp_c: ArrayLike, milestone: int) -> NDArray[np.float64]:
        """Time to a milestone at a steady temperature [s]."""
        lever = _lever(np.asarray(temp_c, dtype=np.float64), self.reference_c)
        ln_time = self.ln_reference_s[milestone] + self.activation_energy_j_mol * lever
        return np.asarray(np.exp(ln_time))


def _lever(temp_c: NDArray[np.float64], reference_c: float) -> NDArray[np.float64]:
    inverse_difference = 1.0 / (temp_c + ZERO_CELSIUS_K) - 1.0 / (reference_c + ZERO_CELSIUS_K)
    return np.asarray(inverse_difference / GAS_CONSTANT_J_MOL_K)


def fit_kinetics(
    temp_c: ArrayLike,
    time_s: ArrayLike,
    milestone: ArrayLike,
    *,
    spread_frac: ArrayLike,
    reference_c: float,
    prior_mean_j_mol: float,
    prior_sd_j_mol: float,
    humidity_above_frac: ArrayLike | None = None,
) -> KineticFit:
    """Fit one activation energy and a reference time per milestone.

    Not for readings that mix batches of different age.

    Source: Weighted linear least squares with a normal prior on one coefficient (for example
    Gelman et al., Bayesian Data Analysis, ch. 14; from memory).

    >>> one = fit_kinetics([21.0], [960.0], [0], spread_frac=0.1, reference_c=21.0,
    ...                    prior_mean_j_mol=50e3, prior_sd_j_mol=10e3)
    >>> round(one.activation_energy_j_mol), round(one.energy_sd_j_mol)
    (50000, 10000)
    """
    temp, time, which, sd = _checked_points(temp_c, time_s, milestone, spread_frac)
    if not (np.isfinite(prior_mean_j_mol) and 0 < prior_sd_j_mol < np.inf):
        raise OutOfRangeError("prior_mean_j_mol must be finite and prior_sd_j_mol > 0 J/mol")
    count = int(which.max()) + 1
    above = np.zeros((temp.size, 0))
    if humidity_above_frac is not None:
        above = np.asarray(humidity_above_frac, dtype=np.float64).reshape(temp.size, 1)
    design = np.zeros((temp.size, 1 + count + above.shape[1]))
    design[:, 1 + count :] = above
    # Energies are scaled by the prior's sd so that the normal matrix is well posed.
    design[:, 0] = _lever(temp, reference_c) * prior_sd_j_mol
    design[np.arange(temp.size), 1 + which] = 1.0
    target = np.log(time) - _lever(temp, reference_c) * prior_mean_j_mol
    weighted = design / sd[:, None]
    normal = weighted.T @ weighted
    normal[0, 0] += 1.0
    if above.size and np.linalg.matrix_rank(normal) < len(normal):
        raise OutOfRangeError("the points cannot tell humidity from the milestones' own times")
    covariance = np.linalg.inv(normal)
    solution = covariance @ (weighted.T @ (target / sd))
    kept = slice(0, 1 + count)
    scale = np.ones(1 + count)
    scale[0] = prior_sd_j_mol
    return KineticFit(
        activation_energy_j_mol=float(prior_mean_j_mol + solution[0] * prior_sd_j_mol),
        reference_c=reference_c,
        ln_reference_s=solution[1 : 1 + count],
        covariance=covariance[kept, kept] * np.outer(scale, scale),
        residual_ln=target - design @ solution,
        humidity_slope=float(solution[1 + count]) if above.size else 0.0,
    )


def _checked_points(
    temp_c: ArrayLike, time_s: ArrayLike, milestone: ArrayLike, spread_frac: ArrayLike
) -> tuple[Array, Array, NDArray[np.int64], Array]:
    temp = np.atleast_1d(np.asarray(temp_c, dtype=np.float64))
    time = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
    which = np.atleast_1d(np.asarray(milestone, dtype=np.int64))
    sd = np.broadcast_to(np.asarray(spread_frac, dtype=np.float64), time.shape)
    if temp.size == 0 or not temp.shape == time.shape == which.shape:
        raise OutOfRangeError("temp_c, time_s and milestone must have one length >= 1")
    # "not all(ok)" rather than "any(bad)": NaN must fail too.
    if not np.all((temp >= COLDEST_C) & (temp <= HOTTEST_C)):
        raise OutOfRangeError(f"temp_c must lie within {COLDEST_C:g}..{HOTTEST_C:g} °C")
    if not (np.all((time > 0) & np.isfinite(time)) and np.all((sd > 0) & np.isfinite(sd))):
        raise OutOfRangeError("time_s and spread_frac must be > 0 and finite")
    if set(which.tolist()) != set(range(int(which.max()) + 1)):
        raise OutOfRangeError("every milestone from 0 up must have at least one point")
    return temp, time, which, sd
