"""Thin wet film on a thick slab: how fast the floor takes the film's temperature over.

The film is taken as one temperature, the slab as a half-space, and no heat passes
the film's top. With beta = e_slab/(rho·c·h) the gap between film and slab shrinks as
erfcx(beta·sqrt(t)). The slab's surface moves towards the film meanwhile, which is why
"slab temperature in a minute" is optimistic.

Against a full two-layer conduction run (3.2 mm film of effusivity 1120 and 2.05
MJ/m³K on 150 mm of concrete, own finite volumes in the tests), mean gap closed:

======  =====  =====  =====  =====  =====  =====  ======
after    2 s    10 s   30 s   60 s  2 min  5 min  20 min
======  =====  =====  =====  =====  =====  =====  ======
layers  0.163  0.364  0.579  0.702  0.793  0.871  0.936
lumped  0.307  0.515  0.662  0.743  0.810  0.876  0.937
======  =====  =====  =====  =====  =====  =====  ======

The lumped form runs ahead while heat still crosses the film itself: by 0.16 of the
gap at worst, near 6 s, by 0.08 at 30 s and by less than 0.02 from 2 min on. Over the
first 5 min that sums to 9 s at the full gap. A film poured 10 °C below its slab is so
given about 6 s of age too much, which is the safe side; one poured warmer than its
slab errs as little the other way.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import erfcx

from cureplan.science.heat import checked

__all__ = [
    "film_c",
    "film_exchange_per_root_s",
    "film_gap_left",
    "film_gap_time_s",
]

# Below this the closed form of the integral loses digits to cancellation.
_SMALL_ARGUMENT = 0.01


def film_exchange_per_root_s(
    *,
    slab_effusivity_j_m2k_s05: ArrayLike,
    film_density_kg_m3: ArrayLike,
    film_specific_heat_j_kgk: ArrayLike,
    film_thickness_m: ArrayLike,
) -> NDArray[np.float64]:
    """Beta of the film model: the slab's effusivity over the film's heat capacity.

    Not for a film on wood, foam or metal sheet: the base must be thick and uniform.

    Parameters
    ----------
    slab_effusivity_j_m2k_s05 : array_like
        sqrt(k·rho·c) of the slab [J/(m²·K·s^0.5)], > 0.
    film_density_kg_m3, film_specific_heat_j_kgk, film_thickness_m : array_like
        Of the film, broadcastable, > 0.

    Returns
    -------
    ndarray of float64
        Beta [1/s^0.5], broadcast shape of the arguments.

    Raises
    ------
    OutOfRangeError
        An argument is not positive.

    Source
    ------
    Carslaw & Jaeger, 2nd ed., section 12.4 (half-space meeting a well-stirred layer;
    from memory); derived anew in the tests from a conduction run.

    Examples
    --------
    >>> round(float(film_exchange_per_root_s(slab_effusivity_j_m2k_s05=1683,
    ...     film_density_kg_m3=2000, film_specific_heat_j_kgk=1025,
    ...     film_thickness_m=0.0032)), 3)
    0.257
    """
    effusivity = checked(
        "slab_effusivity_j_m2k_s05", slab_effusivity_j_m2k_s05, unit="", over=0
    )
    density = checked("film_density_kg_m3", film_density_kg_m3, unit="kg/m³", over=0)
    heat = checked("film_specific_heat_j_kgk", film_specific_heat_j_kgk, unit="J/kgK", over=0)
    thickness = checked("film_thickness_m", film_thickness_m, unit="m", over=0)
    return np.asarray(effusivity / (density * heat * thickness))


def film_gap_left(
    elapsed_s: ArrayLike, *, exchange_per_root_s: ArrayLike
) -> NDArray[np.float64]:
    """Share of the poured gap between film and slab that is still there.

    Parameters
    ----------
    elapsed_s : array_like, shape S
        Time since the film was poured [s], >= 0.
    exchange_per_root_s : array_like, broadcastable with S
        Beta, see :func:`film_exchange_per_root_s` [1/s^0.5], > 0.

    Returns
    -------
    ndarray of float64, broadcast shape
        Between 1 at the pour and 0.

    Raises
    ------
    OutOfRangeError
        A time is negative or beta is not positive.

    Source
    ------
    As for :func:`film_exchange_per_root_s`.

    Examples
    --------
    >>> film_gap_left([0, 30, 300], exchange_per_root_s=0.257).round(2).tolist()
    [1.0, 0.34, 0.12]
    """
    elapsed = checked("elapsed_s", elapsed_s, unit="s", at_least=0)
    beta = checked("exchange_per_root_s", exchange_per_root_s, unit="1/s^0.5", over=0)
    return np.asarray(erfcx(beta * np.sqrt(elapsed)))


def film_c(
    elapsed_s: ArrayLike,
    *,
    pour_c: ArrayLike,
    slab_c: ArrayLike,
    exchange_per_root_s: ArrayLike,
) -> NDArray[np.float64]:
    """Temperature of a thin film after it was poured on a slab.

    Neither the film's own heat of reaction nor the air above is in it: what the
    slab's surface does over the hours belongs in `slab_c`.

    Parameters
    ----------
    elapsed_s : array_like
        Time since the pour [s], >= 0. For buckets × times, give times the shape
        (times,) and the rest (buckets, 1).
    pour_c : array_like
        Film temperature at the pour [°C].
    slab_c : array_like
        Slab surface as it would be without the film [°C], at the pour or at each
        instant.
    exchange_per_root_s : array_like
        Beta, see :func:`film_exchange_per_root_s` [1/s^0.5], > 0.

    Returns
    -------
    ndarray of float64, broadcast shape
        [°C]; never outside pour_c..slab_c.

    Raises
    ------
    OutOfRangeError
        A time is negative, beta not positive, or a temperature not finite.

    Source
    ------
    As for :func:`film_exchange_per_root_s`.

    Examples
    --------
    >>> round(float(film_c(60, pour_c=21, slab_c=32, exchange_per_root_s=0.257)), 1)
    29.2
    """
    pour = checked("pour_c", pour_c, unit="°C")
    slab = checked("slab_c", slab_c, unit="°C")
    left = film_gap_left(elapsed_s, exchange_per_root_s=exchange_per_root_s)
    return np.asarray(slab + (pour - slab) * left)


def film_gap_time_s(
    elapsed_s: ArrayLike, *, exchange_per_root_s: ArrayLike
) -> NDArray[np.float64]:
    """Time at the full gap that is worth the same as the shrinking gap so far.

    Says in seconds what a cold pour is worth on the floor. Not for ages: reaction
    rate is not linear in temperature, so ages need the temperature itself.

    Parameters
    ----------
    elapsed_s : array_like, shape S
        Time since the film was poured [s], >= 0.
    exchange_per_root_s : array_like, broadcastable with S
        Beta [1/s^0.5], > 0.

    Returns
    -------
    ndarray of float64, broadcast shape
        Integral of :func:`film_gap_left` from 0 [s]; never above `elapsed_s`.

    Raises
    ------
    OutOfRangeError
        A time is negative or beta is not positive.

    Source
    ------
    Integral of erfcx(beta·sqrt(t)): (erfcx(x) - 1 + 2x/sqrt(pi))/beta²,
    x = beta·sqrt(t); Carslaw & Jaeger, appendix II (from memory).

    Examples
    --------
    >>> round(float(film_gap_time_s(600, exchange_per_root_s=0.257)), 0)
    94.0
    """
    elapsed = checked("elapsed_s", elapsed_s, unit="s", at_least=0)
    beta = checked("exchange_per_root_s", exchange_per_root_s, unit="1/s^0.5", over=0)
    x = beta * np.sqrt(elapsed)
    small = 1.0 - x * (
        4.0 / (3.0 * np.sqrt(np.pi)) - x * (0.5 - x * 8.0 / (15.0 * np.sqrt(np.pi)))
    )
    safe = np.where(x > _SMALL_ARGUMENT, x, 1.0)
    closed = (erfcx(safe) - 1.0 + 2.0 * safe / np.sqrt(np.pi)) / safe**2
    return np.asarray(elapsed * np.where(x > _SMALL_ARGUMENT, closed, small))
