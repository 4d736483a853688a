"""The slab: heat conduction through its thickness, marched in time."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.heat import DAY_S, checked
from cureplan.science.slab_grid import Grid, Layer, cut_cells

__all__ = [
    "March",
    "Operator",
    "Slab",
    "SlabRun",
    "factored",
    "march",
]

_MOST_SUBSTEPS: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Operator:
    """What one step does to a grid, all its substeps in one.

    `into_top_w_m2k` and `into_lower_w_m2k` lead from the air (or ground) outside to
    the centre of the outermost cells. `step` takes cells, then what stands above at the
    step's begin and end, then below, to cells and the heat in through either face [J/m²].
    """

    grid: Grid
    step_s: float
    substeps: int
    into_top_w_m2k: float
    into_lower_w_m2k: float
    step: NDArray[np.float64]


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
    """Work out a grid's matrix for one step length.

    Source: Crank & Nicolson 1947; limit 2·C/K per cell for a monotone scheme after Bolley &
    Crouzeix 1978. From memory; proved by the tests.

    >>> from cureplan.science.slab_grid import cut_cells, slab_over_air
    >>> grid = cut_cells(slab_over_air(thickness_m=0.15), finest_cell_m=0.01)
    >>> factored(grid, top_w_m2k=7, lower_w_m2k=7, step_s=600).substeps
    4
    """
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
    return Operator(
        grid=grid,
        step_s=step_s,
        substeps=substeps,
        into_top_w_m2k=into_top,
        into_lower_w_m2k=into_lower,
        step=_one_step(
            grid,
            diagonal,
            into=(into_top, into_lower),
            substep_s=step_s / substeps,
            substeps=substeps,
        ),
    )


def _one_step(
    grid: Grid,
    diagonal: NDArray[np.float64],
    *,
    into: tuple[float, float],
    substep_s: float,
    substeps: int,
) -> NDArray[np.float64]:
    """The substeps multiplied out: every one is linear, and so is what stands outside."""
    cells, half_s = diagonal.size, 0.5 * substep_s
    implicit = np.diag(grid.capacity_j_m2k + half_s * diagonal)
    beside = -half_s * grid.link_w_m2k
    implicit += np.diag(beside, 1) + np.diag(beside, -1)
    # Middle of a substep, of its cells and of what stands above and below in its middle.
    right = np.zeros((cells, cells + 2))
    right[:, :cells] = np.diag(grid.capacity_j_m2k)
    right[0, cells], right[-1, cells + 1] = half_s * into[0], half_s * into[1]
    middle_of = np.linalg.solve(implicit, right)
    state, heat = np.eye(cells, cells + 4), np.zeros((2, cells + 4))
    for substep in range(substeps):
        part = (substep + 0.5) / substeps
        outside = np.zeros((2, cells + 4))
        outside[0, cells : cells + 2] = outside[1, cells + 2 :] = 1.0 - part, part
        middle = middle_of @ np.vstack([state, outside])
        heat += substep_s * np.array(into)[:, None] * (outside - middle[[0, -1]])
        state = 2.0 * middle - state
    return np.vstack([state, heat])


def march(
    operator: Operator,
    sol_air_c: NDArray[np.float64],
    below_c: NDArray[np.float64],
    start_c: NDArray[np.float64],
    *,
    keep_profile: bool,
) -> March:
    """March all columns along what stands above and below them.

    Shapes are not checked here; :class:`cureplan.science.slab.Slab` does it.

    Source: As for :func:`factored`.

    Nothing moves where nothing differs:

    >>> from cureplan.science.slab_grid import cut_cells, slab_over_air
    >>> grid = cut_cells(slab_over_air(thickness_m=0.15), finest_cell_m=0.01)
    >>> calm = factored(grid, top_w_m2k=7, lower_w_m2k=7, step_s=600)
    >>> air = np.full((3, 1), 20.0)
    >>> still = march(calm, air, air, np.full((grid.depth_m.size, 1), 20.0), keep_profile=False)
    >>> still.top_cell_c.round(9).ravel().tolist()
    [20.0, 20.0, 20.0]
    """
    times, columns = sol_air_c.shape
    capacity = operator.grid.capacity_j_m2k[:, np.newaxis]
    cell_c = np.array(start_c, dtype=np.float64)
    top_cell, stored = np.empty((times, columns)), np.empty((times, columns))
    top_heat, lower_heat = np.zeros((times, columns)), np.zeros((times, columns))
    profile = np.empty((times, *cell_c.shape)) if keep_profile else None
    cells = cell_c.shape[0]
    given = np.empty((cells + 4, columns))
    for time in range(times):
        if time > 0:
            given[:cells] = cell_c
            given[cells : cells + 2] = sol_air_c[time - 1 : time + 1]
            given[cells + 2 :] = below_c[time - 1 : time + 1]
            moved = operator.step @ given
            cell_c = moved[:cells]
            top_heat[time] = top_heat[time - 1] + moved[cells]
            lower_heat[time] = lower_heat[time - 1] + moved[cells + 1]
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


def _series(one_w_m2k: float, other_w_m2k: float) -> float:
    return one_w_m2k * other_w_m2k / (one_w_m2k + other_w_m2k)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SlabRun:
    """What a march gave; times × columns unless said otherwise.

    `top_heat_j_m2` and `lower_heat_j_m2` are what has entered through either face
    since the first instant; `stored_j_m2` is the slab's heat above 0 °C.
    `end_profile_c` is cells × columns; `profile_c` times × cells × columns, or None
    if it was not asked for.
    """

    surface_c: NDArray[np.float64]
    top_heat_j_m2: NDArray[np.float64]
    lower_heat_j_m2: NDArray[np.float64]
    stored_j_m2: NDArray[np.float64]
    end_profile_c: NDArray[np.float64]
    profile_c: NDArray[np.float64] | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Slab:
    """A floor's layers with their matrix factored for one step length.

    Not for a floor with pipes or a heater in it, and not near its edge, where heat
    goes sideways.

    `lower_w_m2k` of None holds the lower face at the ground's temperature. A `step_s` of
    600 keeps a day's swing within 0.02 K. A `finest_cell_m` of 0.01 keeps the surface
    within 0.02 K of the exact answer to a 10 K jump; 0.02 within 0.1 K for the first
    minutes and 0.03 K after an hour, at half the cost.

    >>> from cureplan.science.slab_grid import slab_on_ground
    >>> slab = Slab(layers=slab_on_ground(thickness_m=0.15, insulation_m=0),
    ...             top_w_m2k=7, lower_w_m2k=None, step_s=600, finest_cell_m=0.01)
    >>> air = np.full((6 * 24 + 1, 1), 30.0)
    >>> warm = slab.run(air, absorbed_w_m2=0, lower_c=18, start_c=20, keep_profile=False)
    >>> round(float(warm.surface_c[-1, 0]), 1)
    26.5
    """

    layers: tuple[Layer, ...]
    top_w_m2k: float
    lower_w_m2k: float | None
    step_s: float
    finest_cell_m: float
    operator: Operator = field(init=False, repr=False)

    def __post_init__(self) -> None:
        checked("top_w_m2k", self.top_w_m2k, unit="W/m²K", over=0)
        checked("step_s", self.step_s, unit="s", over=0)
        if self.lower_w_m2k is not None:
            checked("lower_w_m2k", self.lower_w_m2k, unit="W/m²K", over=0)
        grid = cut_cells(self.layers, finest_cell_m=self.finest_cell_m)
        operator = factored(
            grid, top_w_m2k=self.top_w_m2k, lower_w_m2k=self.lower_w_m2k, step_s=self.step_s
        )
        # A frozen class has no other way to set what it derives.
        object.__setattr__(self, "operator", operator)

    def steady_profile_c(
        self, *, air_c: ArrayLike, absorbed_w_m2: ArrayLike, lower_c: ArrayLike
    ) -> NDArray[np.float64]:
        """Cell temperatures the slab would settle at.

        Source: Resistances in series, Incropera et al., 6th ed., eq. 3.18.
        """
        drive = np.atleast_1d(self._sol_air_c(air_c, absorbed_w_m2))
        below = checked("lower_c", lower_c, unit="°C")
        drive, below = np.broadcast_arrays(drive, below)
        links = 1.0 / self.operator.grid.link_w_m2k
        above = 1.0 / self.operator.into_top_w_m2k + np.concatenate([[0.0], np.cumsum(links)])
        share = above / (above[-1] + 1.0 / self.operator.into_lower_w_m2k)
        return np.asarray(drive + (below - drive) * share[:, np.newaxis])

    def run(
        self,
        air_c: ArrayLike,
        *,
        absorbed_w_m2: ArrayLike,
        lower_c: ArrayLike,
        start_c: ArrayLike | None,
        keep_profile: bool,
    ) -> SlabRun:
        """March the slab along the given air; values between two times are linear.

        Spin-up is the caller's: hand in the days before, and leave `start_c` None.
        """
        air = checked("air_c", air_c, unit="°C")
        if air.ndim != 2 or air.shape[0] < 2:
            raise OutOfRangeError(
                f"air_c must have the shape (times >= 2, columns), got {air.shape}"
            )
        sun = self._fit("absorbed_w_m2", absorbed_w_m2, air.shape, unit="W/m²", at_least=0.0)
        below = self._fit("lower_c", lower_c, air.shape, unit="°C")
        shape = (self.operator.grid.depth_m.size, air.shape[1])
        if start_c is None:
            day = max(1, min(air.shape[0], round(DAY_S / self.step_s)))
            start = self.steady_profile_c(
                air_c=air[:day].mean(axis=0),
                absorbed_w_m2=sun[:day].mean(axis=0),
                lower_c=below[:day].mean(axis=0),
            )
        else:
            start = self._fit("start_c", start_c, shape, unit="°C")
        marched = march(
            self.operator, self._sol_air_c(air, sun), below, start, keep_profile=keep_profile
        )
        return SlabRun(
            surface_c=self._surface_c(air, sun, marched.top_cell_c),
            top_heat_j_m2=marched.top_heat_j_m2,
            lower_heat_j_m2=marched.lower_heat_j_m2,
            stored_j_m2=marched.stored_j_m2,
            end_profile_c=marched.end_c,
            profile_c=marched.profile_c,
        )

    def _sol_air_c(self, air_c: ArrayLike, absorbed_w_m2: ArrayLike) -> NDArray[np.float64]:
        """Air temperature that would bring in as much heat as air and sun together."""
        air = checked("air_c", air_c, unit="°C")
        sun = checked("absorbed_w_m2", absorbed_w_m2, unit="W/m²", at_least=0)
        return np.asarray(air + sun / self.top_w_m2k)

    def _surface_c(
        self, air: NDArray[np.float64], sun: NDArray[np.float64], cell: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        half = self.operator.grid.top_half_w_m2k
        return np.asarray((self.top_w_m2k * air + sun + half * cell) / (self.top_w_m2k + half))

    @staticmethod
    def _fit(
        name: str,
        value: ArrayLike,
        shape: tuple[int, ...],
        *,
        unit: str,
        at_least: float = -math.inf,
    ) -> NDArray[np.float64]:
        array = checked(name, value, unit=unit, at_least=at_least)
        try:
            return np.broadcast_to(array, shape)
        except ValueError:
            raise OutOfRangeError(
                f"{name} must fit the shape {shape}, got {array.shape}"
            ) from None
