"""The marching scheme of a slab: factored once, one banded solve per step.

Crank-Nicolson as half an implicit step mirrored forward. The step is divided until no
cell's own weight in the explicit half is negative: then the scheme is second-order
*and* monotone, so that hotter air never cools a slab, not even by a ripple. Each cell
gains exactly what its neighbour loses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from cureplan.errors import OutOfRangeError
from cureplan.physics.slab_grid import Grid

__all__ = ["March", "Operator", "factored", "march"]

_MOST_SUBSTEPS: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Operator:
    """A grid's matrix, factored for one step length.

    `into_top_w_m2k` and `into_lower_w_m2k` lead from the air (or ground) outside to
    the centre of the outermost cells; `main` and `beside` are the two diagonals of
    the LDL' factor of capacity plus half a substep of conductance.
    """

    grid: Grid
    step_s: float
    substeps: int
    into_top_w_m2k: float
    into_lower_w_m2k: float
    main: NDArray[np.float64]
    beside: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class March:
    """Cells and heat along a march; times × columns, profiles with cells between."""

    top_cell_c: NDArray[np.float64]
    top_heat_j_m2: NDArray[np.float64]
    lower_heat_j_m2: NDArray[np.float64]
    stored_j_m2: NDArray[np.float64]
    end_c: NDArray[np.float64]
    profile_c: NDArray[np.float64] | None


def factored(
    grid: Grid, *, top_w_m2k: float, lower_w_m2k: float | None, step_s: float
) -> Operator:
    """Factor a grid's matrix for one step length.

    Parameters
    ----------
    grid : Grid
        Cells, top first.
    top_w_m2k : float
        Surface coefficient above [W/m²K].
    lower_w_m2k : float or None
        The same below, or None where the lower face is held.
    step_s : float
        Spacing of the input's times [s].

    Returns
    -------
    Operator
        To be handed to :func:`march`, any number of times.

    Raises
    ------
    OutOfRangeError
        The step would have to be cut into more than 500.

    Source
    ------
    Crank & Nicolson 1947; limit 2·C/K per cell for a monotone scheme after Bolley &
    Crouzeix 1978. From memory; proved by the tests.

    Examples
    --------
    >>> from cureplan.physics.slab_grid import cut_cells, slab_over_air
    >>> grid = cut_cells(slab_over_air(thickness_m=0.15), finest_cell_m=0.01)
    >>> factored(grid, top_w_m2k=7, lower_w_m2k=7, step_s=600).substeps
    4
    """
    from scipy.linalg.lapack import dpttrf

    into_top = _series(top_w_m2k, grid.top_half_w_m2k)
    into_lower = grid.lower_half_w_m2k
    if lower_w_m2k is not None:
        into_lower = _series(lower_w_m2k, into_lower)
    diagonal = np.zeros(grid.depth_m.size)
    diagonal[:-1] += grid.link_w_m2k
    diagonal[1:] += grid.link_w_m2k
    diagonal[0] += into_top
    diagonal[-1] += into_lower
    substeps = math.ceil(step_s / (2.0 * float(np.min(grid.capacity_j_m2k / diagonal))))
    if substeps > _MOST_SUBSTEPS:
        raise OutOfRangeError(
            f"step_s = {step_s:g} s would be cut into {substeps} (at most {_MOST_SUBSTEPS}): "
            "thicken finest_cell_m or the thinnest layer, or shorten the step"
        )
    half_s = 0.5 * step_s / substeps
    main, beside, _ = dpttrf(grid.capacity_j_m2k + half_s * diagonal, -half_s * grid.link_w_m2k)
    return Operator(
        grid=grid,
        step_s=step_s,
        substeps=substeps,
        into_top_w_m2k=into_top,
        into_lower_w_m2k=into_lower,
        main=main,
        beside=beside,
    )


def march(
    operator: Operator,
    sol_air_c: NDArray[np.float64],
    below_c: NDArray[np.float64],
    start_c: NDArray[np.float64],
    *,
    keep_profile: bool,
) -> March:
    """March all columns along what stands above and below them.

    Shapes are not checked here; :class:`cureplan.physics.slab.Slab` does it.

    Parameters
    ----------
    operator : Operator
        From :func:`factored`.
    sol_air_c, below_c : ndarray, shape (times, columns)
        Air (with the sun in it) and ground or air below [°C]; linear between times.
    start_c : ndarray, shape (cells, columns)
        First temperatures [°C].
    keep_profile : bool
        Whether to keep all cells at all times.

    Returns
    -------
    March
        Top cell, heat through either face since the start, heat stored.

    Source
    ------
    As for :func:`factored`.

    Examples
    --------
    Nothing moves where nothing differs:

    >>> from cureplan.physics.slab_grid import cut_cells, slab_over_air
    >>> grid = cut_cells(slab_over_air(thickness_m=0.15), finest_cell_m=0.01)
    >>> calm = factored(grid, top_w_m2k=7, lower_w_m2k=7, step_s=600)
    >>> air = np.full((3, 1), 20.0)
    >>> still = march(calm, air, air, np.full((grid.depth_m.size, 1), 20.0), keep_profile=False)
    >>> still.top_cell_c.round(9).ravel().tolist()
    [20.0, 20.0, 20.0]
    """
    times, columns = sol_air_c.shape
    capacity = operator.grid.capacity_j_m2k[:, np.newaxis]
    cell_c = np.array(start_c, dtype=np.float64, order="F")
    top_cell, stored = np.empty((times, columns)), np.empty((times, columns))
    top_heat, lower_heat = np.zeros((times, columns)), np.zeros((times, columns))
    profile = np.empty((times, *cell_c.shape)) if keep_profile else None
    for time in range(times):
        if time > 0:
            cell_c, top_j, lower_j = _step(
                operator, cell_c, sol_air_c[time - 1 : time + 1], below_c[time - 1 : time + 1]
            )
            top_heat[time] = top_heat[time - 1] + top_j
            lower_heat[time] = lower_heat[time - 1] + lower_j
        top_cell[time] = cell_c[0]
        stored[time] = (capacity * cell_c).sum(axis=0)
        if profile is not None:
            profile[time] = cell_c
    return March(
        top_cell_c=top_cell,
        top_heat_j_m2=top_heat,
        lower_heat_j_m2=lower_heat,
        stored_j_m2=stored,
        end_c=cell_c,
        profile_c=profile,
    )


def _step(
    operator: Operator,
    cell_c: NDArray[np.float64],
    above_c: NDArray[np.float64],
    below_c: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """One step of the input: new cells, and heat in from above and below [J/m²]."""
    from scipy.linalg.lapack import dpttrs

    count = operator.substeps
    sub_s = operator.step_s / count
    capacity = operator.grid.capacity_j_m2k[:, np.newaxis]
    top_sum, lower_sum = np.zeros(cell_c.shape[1]), np.zeros(cell_c.shape[1])
    for sub in range(count):
        share = (sub + 0.5) / count
        warm = above_c[0] + share * (above_c[1] - above_c[0])
        deep = below_c[0] + share * (below_c[1] - below_c[0])
        right = capacity * cell_c
        right[0] += 0.5 * sub_s * operator.into_top_w_m2k * warm
        right[-1] += 0.5 * sub_s * operator.into_lower_w_m2k * deep
        middle, _ = dpttrs(operator.main, operator.beside, right, overwrite_b=1)
        top_sum += warm - middle[0]
        lower_sum += deep - middle[-1]
        middle *= 2.0
        middle -= cell_c
        cell_c = middle
    return (
        cell_c,
        sub_s * operator.into_top_w_m2k * top_sum,
        sub_s * operator.into_lower_w_m2k * lower_sum,
    )


def _series(one_w_m2k: float, other_w_m2k: float) -> float:
    return one_w_m2k * other_w_m2k / (one_w_m2k + other_w_m2k)
