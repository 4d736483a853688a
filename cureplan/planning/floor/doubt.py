"""How unsure a time and a forecast are, and what to plan on."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.inputs.job.model import Building, Climate, Room
from cureplan.planning.floor.conditions import HOUR_S, STEP_S, RoomConditions, floor_slab
from cureplan.science.fit import KineticFit
from cureplan.science.rate import GAS_CONSTANT_J_MOL_K, ZERO_CELSIUS_K
from cureplan.science.room_air import drifting_air_c
from cureplan.science.slab_reading import READING_SD_K, slab_doubt_k

__all__ = [
    "FORECAST_E_FOLD_S",
    "FORECAST_SD_K",
    "Doubt",
    "RoomAnswer",
    "age_factors",
    "air_share",
    "doubt_at",
    "fading",
    "forecast_sd_k",
    "lingering",
    "room_answer",
    "slab_sd_k",
    "sure_k",
    "time_factors",
]

Array = NDArray[np.float64]

FORECAST_SD_K = 1.6
"""Hourly forecast error a day ahead, 1 SD [K]: NWS and ECMWF verification, 24 h lead
(RMSE 1.59 and 1.61 K), see the register of sources in the notebooks."""
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


def slab_sd_k(at_s: float, conditions: RoomConditions) -> float:
    """Doubt of a room's slab temperature at an instant [epoch s]."""
    if conditions.reading_s is None:
        return SLAB_SD_K
    left = conditions.reading_left(at_s - conditions.reading_s)
    return float(slab_doubt_k(left, reading_doubt_k=READING_SD_K, march_doubt_k=SLAB_SD_K))


def doubt_at(temp_c: float, *, fit: KineticFit, spread_frac: float, temp_sd_k: float) -> Doubt:
    """Doubt of a time at one temperature.

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
    card, temperature = _doubts(np.float64(kelvin), fit=fit, temp_sd_k=temp_sd_k)
    return Doubt(batch=spread_frac, card=float(card), temperature=float(temperature))


def _doubts(
    kelvin: Array | np.float64, *, fit: KineticFit, temp_sd_k: float
) -> tuple[Array | np.float64, Array | np.float64]:
    """What the card's fit and the temperature leave unsure of ln(rate)."""
    lever = np.abs(1.0 / (fit.reference_c + ZERO_CELSIUS_K) - 1.0 / kelvin)
    slope = fit.activation_energy_j_mol / (GAS_CONSTANT_J_MOL_K * kelvin**2)
    return lever * fit.energy_sd_j_mol / GAS_CONSTANT_J_MOL_K, slope * temp_sd_k


def age_factors(
    temp_c: Array, *, fit: KineticFit, spread_frac: float, temp_sd_k: float, confidence: float
) -> Array:
    """`time_factors` at many temperatures at once, shape (S, 2)."""
    card, temperature = _doubts(temp_c + ZERO_CELSIUS_K, fit=fit, temp_sd_k=temp_sd_k)
    total = np.sqrt(spread_frac**2 + card**2 + temperature**2)
    step = NormalDist().inv_cdf(confidence) * np.asarray(total)
    return np.exp(np.stack([step, -step], axis=1))


def time_factors(doubt: Doubt, *, confidence: float) -> tuple[float, float]:
    """Factors on ages: what to wait for, and what not to overrun, at a confidence.

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


def sure_k(sd_k: float, *, confidence: float) -> float:
    """How far a temperature stays from a limit that is to hold at a confidence [K].

    Examples
    --------
    >>> round(sure_k(1.0, confidence=0.9), 2)
    1.28
    """
    return sd_k * NormalDist().inv_cdf(confidence)


FORECAST_E_FOLD_S: Final = 7.0 * HOUR_S
"""How long an hourly forecast error lingers: 6 to 8 h from the autocorrelation of hourly
NWS forecasts at one station in one week (.90 at 1 h, .35 at 6 h; a small sample)."""

_LEAD_S: Final = HOUR_S * np.array([12.0, 24.0, 36.0, 48.0])
_SD_K: Final = np.array([1.44, 1.61, 1.74, 1.87])
"""RMSE of the day's high by lead: NWS, contiguous states, Jan 2021 to Feb 2022, about
55,500 each; ECMWF at one German station has 1.59 K at 24 h and 1.81 K at 48 h."""
_LATER_K_PER_S: Final = (_SD_K[-1] - _SD_K[1]) / (_LEAD_S[-1] - _LEAD_S[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomAnswer:
    """Hourly answer of a room to outdoor air 1 K warmer at hour 0 alone [K per K]."""

    air: Array
    slab: Array

    def after(self, outdoor_k: Array, of: Array) -> Array:
        """Errors indoors for outdoor errors, both of shape (nights, hours).

        `of` is `air` or `slab`; hours before the first count as without error.
        """
        hours = outdoor_k.shape[1]
        late = np.arange(hours)[:, None] - np.arange(hours)[None, :]
        matrix = np.where(late >= 0, of[np.clip(late, 0, of.size - 1)], 0.0)
        return np.asarray(outdoor_k @ matrix.T)


def forecast_sd_k(lead_s: ArrayLike) -> Array:
    """Standard deviation of a forecast hour's temperature by its lead.

    Not for hours that were observed. Below 12 h, where no verification was found, as at
    12 h; beyond 48 h the rise from 24 to 48 h goes on (invented).

    Source
    ------
    NWS list-server highs, RMSE by lead (speegled/weather_forecasts).

    Examples
    --------
    >>> forecast_sd_k([0, 24 * 3600, 72 * 3600]).round(2).tolist()
    [1.44, 1.61, 2.13]
    """
    lead = np.asarray(lead_s, dtype=np.float64)
    if not np.all(lead >= 0):
        raise OutOfRangeError(f"lead_s must be >= 0 s, got min {np.min(lead):g}")
    beyond = np.maximum(0.0, lead - _LEAD_S[-1])
    return np.asarray(np.interp(lead, _LEAD_S, _SD_K) + _LATER_K_PER_S * beyond)


def air_share(climate: Climate, *, lag_s: float) -> float:
    """How much of an error outdoors is one of a room's air, as standard deviations.

    Of a lag, by what it leaves of errors that linger as a forecast's do.

    Examples
    --------
    >>> round(air_share("drifting", lag_s=5 * 3600.0), 2)
    0.76
    """
    shares = {"held": 0.0, "open": 1.0}
    passed = FORECAST_E_FOLD_S / (FORECAST_E_FOLD_S + lag_s)
    return shares.get(climate, float(np.sqrt(passed)))


def lingering(normal: ArrayLike, *, step_s: float, e_fold_s: float) -> Array:
    """First-order autoregressive rows of unit spread, from independent normal draws.

    Source
    ------
    x[i] = r x[i-1] + sqrt(1 - r²) n[i], r = exp(-step/e-fold).

    Examples
    --------
    >>> lingering([[1.0, 0.0, 0.0]], step_s=3600, e_fold_s=3600).round(3).tolist()
    [[1.0, 0.368, 0.135]]
    """
    drawn = np.asarray(normal, dtype=np.float64)
    if drawn.ndim != 2:
        raise OutOfRangeError(f"normal must have the shape (nights, steps), got {drawn.shape}")
    if not (step_s > 0 and e_fold_s > 0):
        raise OutOfRangeError(
            f"step_s and e_fold_s must be > 0 s, got {step_s:g} and {e_fold_s:g}"
        )
    kept = float(np.exp(-step_s / e_fold_s))
    fresh = float(np.sqrt(-np.expm1(-2.0 * step_s / e_fold_s)))
    rows = drawn.copy()
    for step in range(1, rows.shape[1]):
        rows[:, step] = kept * rows[:, step - 1] + fresh * drawn[:, step]
    return rows


def fading(normal: ArrayLike, left: ArrayLike) -> Array:
    """Rows of unit spread that keep a stated share after each step, from independent draws.

    Source
    ------
    Cholesky factor of the covariance that depends on the lag alone.

    Examples
    --------
    >>> fading([[1.0, 0.0, 0.0]], [1.0, 0.5, 0.25]).round(3).tolist()
    [[1.0, 0.5, 0.25]]
    """
    drawn, share = np.asarray(normal, dtype=np.float64), np.asarray(left, dtype=np.float64)
    if drawn.ndim != 2 or share.shape != drawn.shape[1:]:
        raise OutOfRangeError(f"left must have {drawn.shape[-1]} steps, got {share.shape}")
    steps = np.arange(share.size)
    lag = np.abs(steps[:, None] - steps[None, :])
    return np.asarray(drawn @ np.linalg.cholesky(share[lag]).T)


def room_answer(room: Room, building: Building, *, hours: int) -> RoomAnswer:
    """What a room's air and slab make of outdoor air 1 K warmer around one hour."""
    if hours < 1:
        raise OutOfRangeError(f"hours must be >= 1, got {hours}")
    lasts_s = HOUR_S * (hours + 1)
    times_s = np.arange(0.0, lasts_s + STEP_S / 2, STEP_S)
    # Hourly weather is straight in between: one degree at one hour is a triangle.
    pulse_k = np.interp(times_s, [0.0, HOUR_S, 2 * HOUR_S], [0.0, 1.0, 0.0])
    if room.climate == "open":
        air_k = pulse_k[:, None]
    elif room.climate == "held":
        air_k = np.zeros((times_s.size, 1))
    else:
        air_k = drifting_air_c(
            times_s, outdoor_c=pulse_k, start_c=0.0, lag_s=building.lag_s, gain_k=0.0
        )
    lower_k = pulse_k[:, None] if building.below == "air" else np.zeros_like(air_k)
    slab = floor_slab(room, building)
    nothing = np.zeros(1)
    run = slab.run(
        air_k,
        absorbed_w_m2=np.zeros_like(air_k),
        lower_c=lower_k,
        start_c=slab.steady_profile_c(air_c=nothing, absorbed_w_m2=nothing, lower_c=nothing),
        keep_profile=False,
    )
    hourly = slice(round(HOUR_S / STEP_S), None, round(HOUR_S / STEP_S))
    return RoomAnswer(air=air_k[hourly, 0][:hours], slab=run.surface_c[hourly, 0][:hours])
