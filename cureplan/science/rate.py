"""Rate and age: how fast a cure runs, and when it has run far enough.

k(T) is 1 at the reference temperature; age is the integral of k over time, that is,
time as it would have passed at the reference. A milestone is reached when its age is.
One cumulative curve per clock answers every "when" by interpolating its inverse.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError

__all__ = [
    "COLDEST_C",
    "GAS_CONSTANT_J_MOL_K",
    "HOTTEST_C",
    "ZERO_CELSIUS_K",
    "AgeCurve",
    "arrhenius",
    "rate_factor",
]

Array = NDArray[np.float64]

GAS_CONSTANT_J_MOL_K = 8.314462618
"""Molar gas constant, CODATA 2018 (exact)."""
ZERO_CELSIUS_K = 273.15

# A cure model fitted between cold rooms and hot slabs means nothing outside these.
COLDEST_C, HOTTEST_C = -40.0, 120.0


def rate_factor(
    temp_c: ArrayLike, *, activation_energy_j_mol: ArrayLike, reference_c: ArrayLike
) -> NDArray[np.float64]:
    """How many times faster than at the reference temperature the cure runs.

    Never feed it an average temperature: average the rates instead.

    Source: Arrhenius; the form of ASTM C1074 and of TI-B 103 (Danish Technological Institute).

    Shapes: temp_c S; gives S.

    >>> round(float(rate_factor(35, activation_energy_j_mol=38200, reference_c=25)), 2)
    1.65
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    energy = np.asarray(activation_energy_j_mol, dtype=np.float64)
    # "not all(ok)" rather than "any(bad)": NaN must fail too.
    if not ((temp >= COLDEST_C) & (temp <= HOTTEST_C)).all():
        raise OutOfRangeError(
            f"temp_c must lie within {COLDEST_C:g}..{HOTTEST_C:g} °C, "
            f"got {np.min(temp):g}..{np.max(temp):g}"
        )
    if not (energy >= 0).all():
        raise OutOfRangeError(f"activation_energy_j_mol must be >= 0, got {np.min(energy):g}")
    reference_k = np.asarray(reference_c, dtype=np.float64) + ZERO_CELSIUS_K
    if not (reference_k > 0).all():
        raise OutOfRangeError(
            f"reference_c must be above absolute zero, got {np.min(reference_c):g} °C"
        )
    kelvin = temp + ZERO_CELSIUS_K
    return np.asarray(arrhenius(kelvin, energy_j_mol=energy, reference_k=reference_k))


def arrhenius(
    kelvin: Array, *, energy_j_mol: Array | float, reference_k: Array | float
) -> Array:
    """`rate_factor` without its checks, for steps whose temperature is known to lie within."""
    inverse_difference = 1.0 / kelvin - 1.0 / reference_k
    return np.asarray(np.exp(-energy_j_mol / GAS_CONSTANT_J_MOL_K * inverse_difference))


class AgeCurve:
    """Age against time for one temperature history, and its inverse.

    Temperature is taken as straight between the given rows; each stretch is integrated
    by Simpson's rule over pieces of at most `piece_s`, and the inverse is linear between
    pieces. Not for the first minutes in a bucket or on a slab: `bucket` follows those.

    >>> curve = AgeCurve([0, 7200], [25.0, 25.0], activation_energy_j_mol=50e3,
    ...                  reference_c=25.0, piece_s=120)
    >>> float(curve.when(start_s=600.0, age_s=1800.0))
    2400.0
    """

    __slots__ = ("_age_s", "_time_s")

    def __init__(
        self,
        time_s: ArrayLike,
        temp_c: ArrayLike,
        *,
        activation_energy_j_mol: float,
        reference_c: float,
        piece_s: float,
        rate_factors: ArrayLike | None = None,
    ) -> None:
        rows_s = np.asarray(time_s, dtype=np.float64)
        rows_c = np.asarray(temp_c, dtype=np.float64)
        if rows_s.ndim != 1 or rows_s.size < 2 or rows_s.shape != rows_c.shape:
            raise OutOfRangeError("time_s and temp_c must be 1-D, of one length >= 2")
        if not np.all(np.diff(rows_s) > 0):
            raise OutOfRangeError("time_s must rise strictly")
        if not piece_s > 0:
            raise OutOfRangeError(f"piece_s must be > 0, got {piece_s:g}")
        edges_s = _pieces(rows_s, piece_s)
        middle_s = 0.5 * (edges_s[1:] + edges_s[:-1])
        kinetics = {
            "activation_energy_j_mol": activation_energy_j_mol,
            "reference_c": reference_c,
        }
        at_edge = rate_factor(np.interp(edges_s, rows_s, rows_c), **kinetics)
        at_middle = rate_factor(np.interp(middle_s, rows_s, rows_c), **kinetics)
        if rate_factors is not None:
            rows_factor = np.asarray(rate_factors, dtype=np.float64)
            if rows_factor.shape != rows_s.shape or not np.all(rows_factor > 0):
                raise OutOfRangeError("rate_factors must be > 0 and of the length of time_s")
            at_edge = at_edge * np.interp(edges_s, rows_s, rows_factor)
            at_middle = at_middle * np.interp(middle_s, rows_s, rows_factor)
        gained_s = np.diff(edges_s) * (at_edge[:-1] + 4.0 * at_middle + at_edge[1:]) / 6.0
        self._time_s = edges_s
        self._age_s = np.concatenate(([0.0], np.cumsum(gained_s)))

    @property
    def nbytes(self) -> int:
        """What it takes up in memory."""
        return self._time_s.nbytes + self._age_s.nbytes

    @property
    def first_s(self) -> float:
        """First time of the curve [s]."""
        return float(self._time_s[0])

    @property
    def last_s(self) -> float:
        """Last time of the curve [s]."""
        return float(self._time_s[-1])

    def age_s(self, time_s: ArrayLike) -> NDArray[np.float64]:
        """Age gained from the curve's first time to `time_s` [s]; raises outside it."""
        at_s = np.asarray(time_s, dtype=np.float64)
        if not ((at_s >= self._time_s[0]) & (at_s <= self._time_s[-1])).all():
            raise OutOfRangeError("time_s lies outside the temperature history")
        return np.asarray(np.interp(at_s, self._time_s, self._age_s))

    def when(self, *, start_s: ArrayLike, age_s: ArrayLike) -> NDArray[np.float64]:
        """Time at which a clock started at `start_s` has gained `age_s`.

        Shapes: start_s S; gives S [s].
        """
        target_s = self.age_s(start_s) + np.asarray(age_s, dtype=np.float64)
        found = np.interp(target_s, self._age_s, self._time_s, left=-np.inf, right=np.inf)
        return np.asarray(found, dtype=np.float64)


def _pieces(rows_s: NDArray[np.float64], piece_s: float) -> NDArray[np.float64]:
    spans_s = np.diff(rows_s)
    counts = np.maximum(1, np.ceil(spans_s / piece_s)).astype(int)
    place = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    edges_s = place * np.repeat(spans_s / counts, counts) + np.repeat(rows_s[:-1], counts)
    return np.append(edges_s, rows_s[-1])
