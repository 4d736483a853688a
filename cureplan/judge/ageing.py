"""The judge's own reading of a card: rate, fitted times, and how unsure they are."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.job.card_model import Milestone, RatePrior

__all__ = ["CardRate", "fit_rate", "read_card", "written_s"]

GAS_J_MOL_K = 8.314462618  # CODATA 2018
ZERO_C_K = 273.15
CLOSING = frozenset(
    {"wet_edge", "working_time", "broadcast_closes", "topcoat_closes", "recoat_closes"}
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRate:
    """Activation energy, its doubt, and each milestone's time at the reference."""

    ref_c: float
    energy_j_mol: float
    energy_sd_j_mol: float
    batch_frac: float
    ref_s: Mapping[str, float]

    def inverse_k(self, temp_c: ArrayLike) -> Floats:
        """1/T − 1/T_ref [1/K]."""
        kelvin = np.asarray(temp_c, dtype=np.float64) + ZERO_C_K
        return np.asarray(1.0 / kelvin - 1.0 / (self.ref_c + ZERO_C_K))

    def speed(self, temp_c: ArrayLike) -> Floats:
        """How many times faster than at the reference temperature [1]."""
        return np.asarray(np.exp(-self.energy_j_mol / GAS_J_MOL_K * self.inverse_k(temp_c)))

    def doubt_frac(self, temp_c: float, *, temp_sd_k: float) -> float:
        """Standard deviation of ln(time): batch, card and temperature together [1]."""
        card = abs(float(self.inverse_k(temp_c))) * self.energy_sd_j_mol / GAS_J_MOL_K
        kelvin = temp_c + ZERO_C_K
        temp = self.energy_j_mol / (GAS_J_MOL_K * kelvin * kelvin) * temp_sd_k
        return math.sqrt(self.batch_frac**2 + card**2 + temp**2)


def read_card(prior: RatePrior, milestones: Mapping[str, Milestone]) -> CardRate:
    """Kinetics of a product that takes the temperature of its floor at once.

    Not for a slurry, whose points are whole rituals: see `pot.calibrate`.

    Parameters
    ----------
    prior : RatePrior
        Normal belief about the energy before the points.
    milestones : mapping of str to Milestone
        In the card's order; the first point of the first one is the reference.

    Returns
    -------
    CardRate

    Examples
    --------
    >>> from cureplan.job.card_model import MilestonePoint
    >>> point = MilestonePoint(at_c=21.0, humidity_frac=None, after_s=960.0,
    ...                        after_late_s=960.0, provenance="invented")
    >>> edge = Milestone(name="wet_edge", clock_starts="filler_in", points=(point,),
    ...                  spread_frac=0.1)
    >>> card = read_card(RatePrior(mean_j_mol=50e3, sd_j_mol=10e3), {"wet_edge": edge})
    >>> card.energy_j_mol, card.energy_sd_j_mol, round(card.ref_s["wet_edge"])
    (50000.0, 10000.0, 960)
    """
    held_s = {name: written_s(milestone) for name, milestone in milestones.items()}
    return fit_rate(prior, milestones, held_s)


def fit_rate(
    prior: RatePrior, milestones: Mapping[str, Milestone], steady_s: Mapping[str, Floats]
) -> CardRate:
    """Fit one activation energy and one reference time per milestone.

    Each milestone's own time is free, so only differences between its temperatures
    speak about the energy; a card with single points returns the prior.

    Parameters
    ----------
    prior, milestones
        As in `read_card`.
    steady_s : mapping of str to ndarray
        Per milestone and point, its time at the point's temperature held steady [s].

    Returns
    -------
    CardRate
    """
    ref_c = next(iter(milestones.values())).points[0].at_c
    weight = 1.0 / prior.sd_j_mol**2
    pull = prior.mean_j_mol * weight
    centres: dict[str, tuple[float, float]] = {}
    for name, milestone in milestones.items():
        kelvin = np.array([point.at_c + ZERO_C_K for point in milestone.points])
        cold = (1.0 / kelvin - 1.0 / (ref_c + ZERO_C_K)) / GAS_J_MOL_K
        log_s = np.log(steady_s[name])
        centres[name] = (float(cold.mean()), float(log_s.mean()))
        apart = cold - cold.mean()
        weight += float(apart @ apart) / milestone.spread_frac**2
        pull += float(apart @ (log_s - log_s.mean())) / milestone.spread_frac**2
    energy = pull / weight
    return CardRate(
        ref_c=ref_c,
        energy_j_mol=energy,
        energy_sd_j_mol=weight**-0.5,
        batch_frac=max(milestone.spread_frac for milestone in milestones.values()),
        ref_s={name: math.exp(log_s - energy * x) for name, (x, log_s) in centres.items()},
    )


def written_s(milestone: Milestone) -> Floats:
    """A milestone's times as planned on: a closing one's sooner ends, a wait's later."""
    closing = milestone.name in CLOSING
    return np.array(
        [point.after_s if closing else point.after_late_s for point in milestone.points]
    )
