"""Hourly rows of a plan as curves: room air, slab, dew point, and slab age."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.clock import epoch_s
from cureplan.judge.ageing import CardRate
from cureplan.plan import HourRow

__all__ = ["RoomHours", "SlabAge", "cumulate", "dew_curve", "room_hours"]

STEP_S = 60.0

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomHours:
    """Air and slab of one room, straight lines between full hours."""

    at_s: Floats
    air_c: Floats
    slab_c: Floats
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


@dataclass(frozen=True, slots=True, kw_only=True)
class SlabAge:
    """Age that anything at slab temperature gathers, minute by minute."""

    at_s: Floats
    age_s: Floats

    @classmethod
    def of(cls, hours: RoomHours, rate: CardRate) -> SlabAge:
        """Sum a card's rate over the slab curve."""
        at_s = np.arange(hours.at_s[0], hours.at_s[-1] + STEP_S / 2, STEP_S)
        speed = rate.speed(hours.slab(at_s)) * rate.pace(hours.humidity(at_s))
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
        dew_c=dew_curve(rows)[1],
    )


def dew_curve(rows: tuple[HourRow, ...]) -> tuple[Floats, Floats]:
    """Instants and dew points [°C]; NaN where a row has none."""
    at_s = np.array([epoch_s(row.at) for row in rows])
    dew_c = np.array([np.nan if row.dew_c is None else row.dew_c for row in rows])
    return at_s, dew_c
