"""How unsure a time is, and what to plan on so that it holds as often as the job asks.

Three doubts, taken as independent: batches differ from their card, the card's points
leave the activation energy open, and temperatures will not be quite what was computed.
All three are errors of ln(rate), so they add in squares.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from cureplan.errors import OutOfRangeError
from cureplan.physics.fit import KineticFit
from cureplan.physics.rate import GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K
from cureplan.physics.slab_reading import slab_doubt_k
from cureplan.planning.conditions import TAU_S

__all__ = ["FORECAST_SD_K", "Doubt", "doubt_at", "slab_sd_k", "time_factors"]

FORECAST_SD_K = 1.6
"""Hourly forecast error a day ahead, 1 SD [K]: NWS and ECMWF verification, 24 h lead
(RMSE 1.59 and 1.61 K), see the register of sources in the notebooks."""
READING_SD_K = 0.5
"""An infrared reading and its aim, 1 SD [K]: invented."""
SLAB_SD_K = 1.0
"""A computed slab that nobody has read, 1 SD [K]: invented."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Standard deviations of ln(rate) at one temperature."""

    batch: float
    card: float
    temperature: float

    @property
    def total(self) -> float:
        """All three together."""
        return float(np.sqrt(self.batch**2 + self.card**2 + self.temperature**2))


def slab_sd_k(hours_s: float, *, reading_s: float | None) -> float:
    """Doubt of a slab temperature at an instant, given when the slab was read.

    Parameters
    ----------
    hours_s : float
        The instant [epoch s].
    reading_s : float or None
        When it was read [epoch s]; None if it was not.

    Returns
    -------
    float
        Standard deviation [K].
    """
    if reading_s is None:
        return SLAB_SD_K
    found = slab_doubt_k(
        [hours_s - reading_s],
        reading_s=0.0,
        reading_doubt_k=READING_SD_K,
        march_doubt_k=SLAB_SD_K,
        time_constant_s=TAU_S,
    )
    return float(found[0])


def doubt_at(temp_c: float, *, fit: KineticFit, spread_frac: float, temp_sd_k: float) -> Doubt:
    """Doubt of a time at one temperature.

    Parameters
    ----------
    temp_c : float
        Temperature that rules the time [°C].
    fit : KineticFit
        The card's fit; its energy's doubt grows away from the points.
    spread_frac : float
        Batch-to-batch SD of ln(time) [-].
    temp_sd_k : float
        SD of the temperature [K].

    Returns
    -------
    Doubt

    Raises
    ------
    OutOfRangeError
        The temperature is below absolute zero, or a spread negative or NaN.

    Examples
    --------
    >>> import numpy as np
    >>> fit = KineticFit(activation_energy_j_mol=50e3, reference_c=21.0,
    ...     ln_reference_s=np.array([6.9]), covariance=np.diag([1e8, 0.0]),
    ...     residual_ln=np.zeros(1))
    >>> at = doubt_at(31.0, fit=fit, spread_frac=0.1, temp_sd_k=1.0)
    >>> round(at.card, 3), round(at.temperature, 3)
    (0.134, 0.065)
    """
    kelvin = temp_c + ZERO_CELSIUS_K
    # "not ok" rather than "bad": NaN must fail too.
    if not (kelvin > 0 and spread_frac >= 0 and temp_sd_k >= 0):
        raise OutOfRangeError(
            "temp_c must be above -273.15 °C, spread_frac and temp_sd_k >= 0, got "
            f"{temp_c:g} °C, {spread_frac:g} and {temp_sd_k:g} K"
        )
    lever = 1.0 / (fit.reference_c + ZERO_CELSIUS_K) - 1.0 / kelvin
    return Doubt(
        batch=spread_frac,
        card=abs(lever) * fit.energy_sd_j_mol / GAS_CONSTANT_J_MOL_K,
        temperature=fit.activation_energy_j_mol
        / (GAS_CONSTANT_J_MOL_K * kelvin**2)
        * temp_sd_k,
    )


def time_factors(doubt: Doubt, *, confidence: float) -> tuple[float, float]:
    """Factors on ages: what to wait for, and what not to overrun, at a confidence.

    Parameters
    ----------
    doubt : Doubt
        Of the time.
    confidence : float
        Share of nights that each one-sided limit must hold, 0.5 to < 1.

    Returns
    -------
    wait, close : float
        Above and below 1; multiply the age of a waiting and of a closing milestone.

    Raises
    ------
    OutOfRangeError
        The confidence does not lie from 0.5 to below 1.

    Examples
    --------
    >>> wait, close = time_factors(Doubt(batch=0.1, card=0.0, temperature=0.0),
    ...                            confidence=0.9)
    >>> round(wait, 3), round(wait * close, 9)
    (1.137, 1.0)
    """
    if not 0.5 <= confidence < 1.0:
        raise OutOfRangeError(f"confidence must be 0.5 to < 1, got {confidence:g}")
    step = NormalDist().inv_cdf(confidence) * doubt.total
    return float(np.exp(step)), float(np.exp(-step))
