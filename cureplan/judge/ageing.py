"""Ageing along a room's hours, by plain fine stepping."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.clock import epoch_s
from cureplan.inputs.cards.model import Milestone, RatePrior
from cureplan.planning.plan.model import HourRow

__all__ = [
    "CardRate",
    "RoomHours",
    "SlabAge",
    "cumulate",
    "dew_curve",
    "fit_rate",
    "read_card",
    "room_hours",
    "written_s",
]

GAS_J_MOL_K = 8.314462618  # CODATA 2018
ZERO_C_K = 273.15
CLOSING = frozenset(
    {
        "wet_edge",
        "working_time",
        "broadcast_closes",
        "topcoat_closes",
        "recoat_closes",
        "slurry_closes",
    }
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class HumiditySlope:
    """What a card's points say of humidity: change of ln(time) per share, and their span."""

    slope: float
    mean: float
    driest: float
    dampest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRate:
    """Activation energy, its doubt, and each milestone's time at the reference."""

    ref_c: float
    energy_j_mol: float
    energy_sd_j_mol: float
    batch_frac: float
    ref_s: Mapping[str, float]
    humidity_slope: HumiditySlope | None = None
    """None where the card's points do not speak of humidity."""

    def pace(self, humidity: ArrayLike) -> Floats:
        """How many times faster than at the card's mean humidity; unknown counts as that."""
        share = np.asarray(humidity, dtype=np.float64)
        if self.humidity_slope is None:
            return np.ones_like(share)
        over = (
            np.clip(share, self.humidity_slope.driest, self.humidity_slope.dampest)
            - self.humidity_slope.mean
        )
        return np.asarray(
            np.exp(-self.humidity_slope.slope * np.where(np.isnan(over), 0.0, over))
        )

    def bare_share(self, milestone: str) -> float:
        """Humidity at which a point that gives none is taken: no air then opens it sooner,
        or closes it later, than printed."""
        if self.humidity_slope is None:
            return math.nan
        hastens = self.humidity_slope.slope < 0.0
        closes = milestone in CLOSING
        return self.humidity_slope.driest if closes == hastens else self.humidity_slope.dampest

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

    Not for a slurry, whose points are whole reference procedures: see `kit.calibrate`.

    Examples
    --------
    >>> from cureplan.inputs.cards.model import MilestonePoint
    >>> point = MilestonePoint(at_c=21.0, humidity_frac=None, after_s=960.0,
    ...                        after_late_s=960.0, provenance="invented")
    >>> edge = Milestone(name="wet_edge", clock_starts="filler_in", points=(point,),
    ...                  spread_frac=0.1)
    >>> card = read_card(RatePrior(mean_j_mol=50e3, sd_j_mol=10e3), {"wet_edge": edge})
    >>> round(card.energy_j_mol), round(card.energy_sd_j_mol), round(card.ref_s["wet_edge"])
    (50000, 10000, 960)
    """
    held_s = {name: written_s(milestone) for name, milestone in milestones.items()}
    return fit_rate(prior, milestones, held_s)


def fit_rate(
    prior: RatePrior, milestones: Mapping[str, Milestone], steady_s: Mapping[str, Floats]
) -> CardRate:
    """Fit one activation energy and one reference time per milestone.

    Each milestone's own time is free, so only differences between its temperatures
    speak about the energy; a card with single points returns the prior.
    """
    ref_c = next(iter(milestones.values())).points[0].at_c
    wet = _speaks_of_humidity(milestones)
    mean = _mean_humidity(milestones) if wet else 0.0
    weight = np.diag([1.0 / prior.sd_j_mol**2, 0.0 if wet else 1.0])
    pull = np.array([prior.mean_j_mol / prior.sd_j_mol**2, 0.0])
    centres: dict[str, tuple[Floats, float]] = {}
    for name, milestone in milestones.items():
        kelvin = np.array([point.at_c + ZERO_C_K for point in milestone.points])
        cold = (1.0 / kelvin - 1.0 / (ref_c + ZERO_C_K)) / GAS_J_MOL_K
        causes = np.stack([cold, _over(milestone, mean) if wet else np.zeros_like(cold)])
        log_s = np.log(steady_s[name])
        centres[name] = (causes.mean(axis=1), float(log_s.mean()))
        apart = causes - causes.mean(axis=1, keepdims=True)
        weight += apart @ apart.T / milestone.spread_frac**2
        pull += apart @ (log_s - log_s.mean()) / milestone.spread_frac**2
    # By Cramer's rule: the two unknowns differ by some orders of magnitude.
    whole = weight[0, 0] * weight[1, 1] - weight[0, 1] ** 2
    energy = float(pull[0] * weight[1, 1] - pull[1] * weight[0, 1]) / whole
    slope = float(pull[1] * weight[0, 0] - pull[0] * weight[0, 1]) / whole
    found = np.array([energy, slope])
    rate = CardRate(
        ref_c=ref_c,
        energy_j_mol=energy,
        energy_sd_j_mol=math.sqrt(weight[1, 1] / whole),
        batch_frac=max(milestone.spread_frac for milestone in milestones.values()),
        ref_s={name: math.exp(log_s - found @ x) for name, (x, log_s) in centres.items()},
        humidity_slope=_humidity_slope(milestones, slope, mean) if wet else None,
    )
    if not wet:
        return rate
    bare = [name for name, milestone in milestones.items() if _is_bare(milestone)]
    shift = {name: math.exp(-slope * (rate.bare_share(name) - mean)) for name in bare}
    return replace(
        rate, ref_s={name: s * shift.get(name, 1.0) for name, s in rate.ref_s.items()}
    )


def _is_bare(milestone: Milestone) -> bool:
    return all(point.humidity_frac is None for point in milestone.points)


def _humidities(milestones: Mapping[str, Milestone]) -> list[float]:
    points = (point for milestone in milestones.values() for point in milestone.points)
    return [p.humidity_frac for p in points if p.humidity_frac is not None]


def _mean_humidity(milestones: Mapping[str, Milestone]) -> float:
    shares = _humidities(milestones)
    return math.fsum(shares) / len(shares)


def _humidity_slope(
    milestones: Mapping[str, Milestone], slope: float, mean: float
) -> HumiditySlope:
    shares = _humidities(milestones)
    return HumiditySlope(slope=slope, mean=mean, driest=min(shares), dampest=max(shares))


def _over(milestone: Milestone, mean: float) -> Floats:
    """Humidity of each point above the mean; one that gives none counts as the mean."""
    given = [point.humidity_frac for point in milestone.points]
    return np.array([0.0 if share is None else share - mean for share in given])


def _speaks_of_humidity(milestones: Mapping[str, Milestone]) -> bool:
    """Whether a milestone has two points at one temperature, within 3 K, whose humidities
    lie 5 points apart: only then is a difference humidity's alone."""
    for milestone in milestones.values():
        given = [(p.at_c, p.humidity_frac) for p in milestone.points]
        for i, (one_c, one) in enumerate(given):
            for other_c, other in given[:i]:
                if one is None or other is None or abs(one_c - other_c) > 3.0:
                    continue
                if abs(one - other) >= 0.05 - 1e-9:
                    return True
    return False


def written_s(milestone: Milestone) -> Floats:
    """A milestone's times as planned on: a closing one's sooner ends, a wait's later."""
    closing = milestone.name in CLOSING
    return np.array(
        [point.after_s if closing else point.after_late_s for point in milestone.points]
    )


STEP_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomHours:
    """Air and slab of one room, straight lines between full hours."""

    at_s: Floats
    air_c: Floats
    slab_c: Floats
    shade_c: Floats
    """Where no sun falls; the slab itself where none is declared."""
    dew_c: Floats
    """NaN where it is not known."""

    def humidity(self, at_s: ArrayLike) -> Floats:
        """Relative humidity in the room, its moisture taken as outdoors; never above 1.

        Source
        ------
        Magnus' formula with the coefficients of Alduchov & Eskridge 1996.
        """
        dew_c = np.interp(np.asarray(at_s, dtype=np.float64), self.at_s, self.dew_c)
        return np.asarray(np.minimum(1.0, _vapour(dew_c) / _vapour(self.air(at_s))))

    def air(self, at_s: ArrayLike) -> Floats:
        """Room air [°C]."""
        return np.asarray(np.interp(np.asarray(at_s, dtype=np.float64), self.at_s, self.air_c))

    def slab(self, at_s: ArrayLike) -> Floats:
        """Slab surface [°C]."""
        return np.asarray(np.interp(np.asarray(at_s, dtype=np.float64), self.at_s, self.slab_c))

    def shade(self, at_s: ArrayLike) -> Floats:
        """Slab surface out of the sun [°C]."""
        return np.asarray(
            np.interp(np.asarray(at_s, dtype=np.float64), self.at_s, self.shade_c)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SlabAge:
    """Age that anything at slab temperature gathers, minute by minute."""

    at_s: Floats
    age_s: Floats

    @classmethod
    def of(cls, hours: RoomHours, rate: CardRate, *, closing: bool) -> SlabAge:
        """Sum a card's rate over the slab in the sun, where clocks close first, or over the
        shade, which is waited for."""
        slab = hours.slab if closing else hours.shade
        at_s = np.arange(hours.at_s[0], hours.at_s[-1] + STEP_S / 2, STEP_S)
        speed = rate.speed(slab(at_s)) * rate.pace(hours.humidity(at_s))
        return cls(at_s=at_s, age_s=cumulate(at_s, speed))

    def gathered(self, at_s: ArrayLike) -> Floats:
        """Age gathered since the first hour [s at reference temperature]."""
        return np.asarray(np.interp(np.asarray(at_s, dtype=np.float64), self.at_s, self.age_s))

    def reached(self, age_s: ArrayLike) -> Floats:
        """Instant at which an age is reached; +inf beyond the last hour."""
        return np.asarray(
            np.interp(np.asarray(age_s, dtype=np.float64), self.age_s, self.at_s, right=np.inf)
        )


def _vapour(temp_c: Floats) -> Floats:
    """Saturation pressure of water over a common factor."""
    return np.asarray(np.exp(17.625 * temp_c / (243.04 + temp_c)))


def cumulate(x: Floats, y: Floats) -> Floats:
    """Running trapezoid sum along the last axis, starting from zero."""
    steps = 0.5 * (y[..., 1:] + y[..., :-1]) * np.diff(x)
    start = np.zeros((*steps.shape[:-1], 1))
    return np.concatenate([start, np.cumsum(steps, axis=-1)], axis=-1)


def room_hours(rows: tuple[HourRow, ...], room: str) -> RoomHours | None:
    """Curves of one room; None where a row does not name it."""
    found = [[hour for hour in row.rooms if hour.room == room] for row in rows]
    if not found or not all(found):
        return None
    return RoomHours(
        at_s=np.array([epoch_s(row.at) for row in rows]),
        air_c=np.array([hours[0].air_c for hours in found]),
        slab_c=np.array([hours[0].slab_c for hours in found]),
        shade_c=np.array([h.slab_c if h.shade_c is None else h.shade_c for h, *_ in found]),
        dew_c=dew_curve(rows)[1],
    )


def dew_curve(rows: tuple[HourRow, ...]) -> tuple[Floats, Floats]:
    """Instants and dew points [°C]; NaN where a row has none."""
    at_s = np.array([epoch_s(row.at) for row in rows])
    dew_c = np.array([np.nan if row.dew_c is None else row.dew_c for row in rows])
    return at_s, dew_c
