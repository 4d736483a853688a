"""Layers of a floor cut into cells, fine at the top and coarser going down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science import heat as known
from cureplan.science.heat import checked, diffusivity_m2_s

__all__ = ["Grid", "Layer", "cut_cells", "slab_on_ground", "slab_over_air"]

# Each cell is up to 15 % thicker than the one above: steeper spoils the second
# order of the scheme, flatter only adds cells.
_GROWTH: Final = 1.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One uniform layer of a floor, given from the top down.

    >>> Layer(thickness_m=0.15, conductivity_w_mk=1.4, density_kg_m3=2300,
    ...       specific_heat_j_kgk=880).heat_capacity_j_m3k
    2024000
    """

    thickness_m: float
    conductivity_w_mk: float
    density_kg_m3: float
    specific_heat_j_kgk: float

    def __post_init__(self) -> None:
        checked("thickness_m", self.thickness_m, unit="m", over=0)
        checked("conductivity_w_mk", self.conductivity_w_mk, unit="W/mK", over=0)
        checked("density_kg_m3", self.density_kg_m3, unit="kg/m³", over=0)
        checked("specific_heat_j_kgk", self.specific_heat_j_kgk, unit="J/kgK", over=0)

    @property
    def heat_capacity_j_m3k(self) -> float:
        """Density times specific heat [J/m³K]."""
        return self.density_kg_m3 * self.specific_heat_j_kgk

    @property
    def diffusivity_m2_s(self) -> float:
        """Conductivity over heat capacity [m²/s]."""
        return diffusivity_m2_s(
            conductivity_w_mk=self.conductivity_w_mk,
            density_kg_m3=self.density_kg_m3,
            specific_heat_j_kgk=self.specific_heat_j_kgk,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """Cells of a floor, top first.

    Conductances are per square metre: `link_w_m2k` from each cell's centre to the
    next one's, `top_half_w_m2k` and `lower_half_w_m2k` from the outermost centres
    to the faces. `layer_of_cell` numbers the layer each cell belongs to.
    """

    depth_m: NDArray[np.float64]
    capacity_j_m2k: NDArray[np.float64]
    link_w_m2k: NDArray[np.float64]
    top_half_w_m2k: float
    lower_half_w_m2k: float
    layer_of_cell: NDArray[np.int_]


def cut_cells(layers: tuple[Layer, ...], *, finest_cell_m: float) -> Grid:
    """Cut layers into cells that grow by 15 % going down, none across a joint.

    Source: Patankar, Numerical Heat Transfer and Fluid Flow, 1980, section 4.2: series
    conductances between cell centres (from memory).

    >>> concrete = Layer(thickness_m=0.15, conductivity_w_mk=1.4, density_kg_m3=2300,
    ...                  specific_heat_j_kgk=880)
    >>> grid = cut_cells((concrete,), finest_cell_m=0.01)
    >>> grid.depth_m.size, round(float(grid.capacity_j_m2k.sum()))
    (9, 303600)
    """
    finest = float(checked("finest_cell_m", finest_cell_m, unit="m", over=0))
    if not layers:
        raise OutOfRangeError("layers must name at least one layer, got none")
    pieces: list[NDArray[np.float64]] = []
    next_m = finest
    for layer in layers:
        sizes = [next_m]
        while sum(sizes) < layer.thickness_m:
            sizes.append(sizes[-1] * _GROWTH)
        piece = np.array(sizes) * layer.thickness_m / sum(sizes)
        pieces.append(piece)
        next_m = max(next_m, float(piece[-1])) * _GROWTH
    return _grid(layers, pieces)


def _grid(layers: tuple[Layer, ...], pieces: list[NDArray[np.float64]]) -> Grid:
    counts = [piece.size for piece in pieces]
    size_m = np.concatenate(pieces)
    conductivity = np.repeat([layer.conductivity_w_mk for layer in layers], counts)
    heat = np.repeat([layer.heat_capacity_j_m3k for layer in layers], counts)
    half = 2.0 * conductivity / size_m
    return Grid(
        depth_m=np.cumsum(size_m) - size_m / 2.0,
        capacity_j_m2k=heat * size_m,
        link_w_m2k=1.0 / (1.0 / half[:-1] + 1.0 / half[1:]),
        top_half_w_m2k=float(half[0]),
        lower_half_w_m2k=float(half[-1]),
        layer_of_cell=np.repeat(np.arange(len(layers)), counts),
    )


def slab_on_ground(*, thickness_m: float, insulation_m: float) -> tuple[Layer, ...]:
    """Layers of a concrete slab on soil, with insulation under it or none.

    For a suspended floor use :func:`slab_over_air`.

    Source: Properties in thermal_constants.py.

    >>> len(slab_on_ground(thickness_m=0.15, insulation_m=0.05))
    3
    """
    foam_m = float(checked("insulation_m", insulation_m, unit="m", at_least=0))
    soil = Layer(
        thickness_m=known.DEEP_SOIL_M,
        conductivity_w_mk=known.SOIL_CONDUCTIVITY_W_MK,
        density_kg_m3=known.SOIL_DENSITY_KG_M3,
        specific_heat_j_kgk=known.SOIL_SPECIFIC_HEAT_J_KGK,
    )
    concrete = slab_over_air(thickness_m=thickness_m)
    if foam_m == 0.0:
        return (*concrete, soil)
    foam = Layer(
        thickness_m=foam_m,
        conductivity_w_mk=known.INSULATION_CONDUCTIVITY_W_MK,
        density_kg_m3=known.INSULATION_DENSITY_KG_M3,
        specific_heat_j_kgk=known.INSULATION_SPECIFIC_HEAT_J_KGK,
    )
    return (*concrete, foam, soil)


def slab_over_air(*, thickness_m: float) -> tuple[Layer, ...]:
    """Layers of a concrete deck with a room or open air below.

    Source: Properties in thermal_constants.py.

    >>> slab_over_air(thickness_m=0.2)[0].thickness_m
    0.2
    """
    return (
        Layer(
            thickness_m=thickness_m,
            conductivity_w_mk=known.CONCRETE_CONDUCTIVITY_W_MK,
            density_kg_m3=known.CONCRETE_DENSITY_KG_M3,
            specific_heat_j_kgk=known.CONCRETE_SPECIFIC_HEAT_J_KGK,
        ),
    )
