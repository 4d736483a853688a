"""Margins of a pour's buckets over pace, slab and air: run once, read for every night."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from cureplan.core.kept import kept
from cureplan.planning.floor.pour import BINDINGS, PourOption, RoomPours
from cureplan.planning.schedule.placing import PlacedPour
from cureplan.science.clocks import SlurryClocks
from cureplan.science.kit import run_bucket

__all__ = ["MarginTables", "Margins"]

Array = NDArray[np.float64]

_LN_SPEED = np.array([-1.8, -1.25, -0.9, *np.linspace(-0.75, 0.75, 11)])
"""Faster still is read at its end: there a bucket is as good as lost, and hotter than the
model goes."""
_LN_STEP = 0.05
_ENERGY_STEP_J_MOL = 1000.0
_SLAB_K = np.linspace(-4.5, 4.5, 5)
_ICED_K = np.array([0.0, 2.0, 5.0, 10.0, 20.0, 30.0])
_ICED_LN = np.linspace(0.0, 0.75, 6)
_AIR_K = np.linspace(-5.0, 5.0, 3)
_NEVER_S = 1e7
"""Stands for a margin that nothing asks for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """Margins of one pour's buckets, tabulated."""

    margins_s: Array
    """Shape (3, speeds, slabs, airs, buckets)."""
    energy_ln: Array
    """What an energy one SD higher does to each clock, as ln of speed, at the temperatures
    the mix really goes through; shape (3, buckets)."""
    iced_ln: Array
    """The same of liquids warmer by `_ICED_K`; shape (3, warmths, buckets)."""

    def at(
        self, ln_speed: Array, *, energy: Array, iced_k: Array, slab_k: Array, air_k: Array
    ) -> Array:
        """Margins of the three clocks, shape (3, nights, buckets)."""
        slab, air = _nodes(slab_k, _SLAB_K), _nodes(air_k, _AIR_K)
        found = []
        for clock, by_energy, by_ice in zip(
            self.margins_s, self.energy_ln, self.iced_ln, strict=True
        ):
            off = energy[:, None] * by_energy + _between(iced_k, by_ice)
            found.append(_read(clock, _nodes(ln_speed + off, _LN_SPEED), slab, air))
        return np.stack(found)


_Nodes = tuple[NDArray[np.int64], Array]
"""The node of an axis below each value, and how far each is from it to the next."""


def _nodes(values: Array, axis: Array) -> _Nodes:
    # Draws beyond the table (5 SD) are read at its edge.
    place = _place(values, axis)
    low = np.minimum(place.astype(np.int64), axis.size - 2)
    return low, place - low


def _read(table: Array, speed: _Nodes, slab: _Nodes, air: _Nodes) -> Array:
    """A table of (speeds, slabs, airs, buckets), straight between its nodes."""
    _, slabs, airs, buckets = table.shape
    place = ((speed[0] * slabs + slab[0]) * airs + air[0]) * buckets + np.arange(buckets)

    def along(
        step: int,
        part: Array,
        below: Callable[[NDArray[np.int64]], Array],
        at: NDArray[np.int64],
    ) -> Array:
        low, high = below(at), below(at + step)
        return np.asarray(low + part * (high - low))

    def read(at: NDArray[np.int64]) -> Array:
        return table.take(at)

    by_air = partial(along, buckets, air[1], read)
    by_slab = partial(along, airs * buckets, slab[1], by_air)
    return along(slabs * airs * buckets, speed[1], by_slab, place)


def _between(iced_k: Array, warmths: Array) -> Array:
    """Rows of a table over `_ICED_K`, one for each night, shape (nights, buckets)."""
    where = np.minimum(_place(iced_k, _ICED_K), _ICED_K.size - 1.001)
    low = where.astype(np.int64)
    part = (where - low)[:, None]
    return np.asarray((1.0 - part) * warmths[low] + part * warmths[low + 1])


def _place(values: Array, axis: Array) -> Array:
    """Where values lie on an axis, counted in its nodes."""
    return np.asarray(np.interp(values, axis, np.arange(axis.size, dtype=np.float64)))


@dataclass(slots=True)
class MarginTables:
    """Margins of one job's pours already run, for several looks at its schedules."""

    _known: dict[tuple[str, PourOption, float, bytes], Margins] = field(
        init=False, default_factory=dict
    )
    _reference: dict[int, tuple[SlurryClocks, Array]] = field(init=False, default_factory=dict)

    def of(self, pours: RoomPours, poured: PlacedPour) -> Margins:
        """The table of a pour."""
        key = (poured.room, poured.option, poured.start_s, poured.times.broadcast_s.tobytes())
        if key not in self._known:
            at_reference = self._at_reference(pours)
            of = pours.mark(poured.option), poured.times, poured.start_s, at_reference
            self._known[key] = kept(
                lambda: _tabulated(pours, poured, at_reference), "margins", *of
            )
        return self._known[key]

    def _at_reference(self, pours: RoomPours) -> Array:
        """Of the card alone, so that its rooms share it."""
        key = id(pours.clocks)
        if key not in self._reference:
            self._reference[key] = pours.clocks, _energy_at_reference(pours)
        return self._reference[key][1]


def _tabulated(pours: RoomPours, poured: PlacedPour, at_reference: Array) -> Margins:
    """All but the energy is one run: its rows are the grid, then what iced liquids do."""
    grid = np.meshgrid(_LN_SPEED, _SLAB_K, _AIR_K, indexing="ij")
    cells = grid[0].size
    ln_speed = [0.0, _LN_STEP, *np.zeros(_ICED_K.size), *_ICED_LN]
    liquids_k = [0.0, 0.0, *_ICED_K, *np.zeros(_ICED_LN.size)]
    rows = len(ln_speed) if poured.option.chilled else 2
    nothing = np.zeros(rows)

    found = pours.run(
        poured.option,
        times=poured.times,
        start_s=np.full(cells + rows, poured.start_s),
        speed=np.exp([*grid[0].ravel(), *ln_speed[:rows]]),
        slab_shift_k=np.concatenate([grid[1].ravel(), nothing]),
        air_shift_k=np.concatenate([grid[2].ravel(), nothing]),
        liquids_shift_k=np.concatenate([np.zeros(cells), liquids_k[:rows]]),
    )
    margins_s = found.margins_s[:, :cells]
    table = np.where(np.isfinite(margins_s), margins_s, _NEVER_S)
    ends_s = found.ends_s[:, cells:]
    base_s = ends_s[:, 0]
    per_ln_s = (ends_s[:, 1] - base_s) / _LN_STEP
    warmer = pours.run(
        poured.option,
        poured.start_s,
        times=poured.times,
        energy_shift_j_mol=_ENERGY_STEP_J_MOL,
    )
    per_energy_s = (warmer.ends_s[:, 0] - base_s) / _ENERGY_STEP_J_MOL
    iced_ln = np.zeros((len(BINDINGS), _ICED_K.size, base_s.shape[1]))
    if poured.option.chilled:
        warm_s, paces_s = ends_s[:, 2 : 2 + _ICED_K.size], ends_s[:, 2 + _ICED_K.size :]
        for clock, bucket in np.ndindex(base_s.shape):
            # Ends come sooner with pace: both are turned for a rising axis.
            iced_ln[clock, :, bucket] = np.interp(
                -warm_s[clock, :, bucket], -paces_s[clock, :, bucket], _ICED_LN
            )
    by_energy = per_energy_s / per_ln_s - at_reference[:, None]
    return Margins(
        margins_s=table.reshape(len(BINDINGS), *grid[0].shape, -1),
        energy_ln=by_energy * pours.clocks.fit.energy_sd_j_mol,
        iced_ln=iced_ln,
    )


def _energy_at_reference(pours: RoomPours) -> Array:
    """What 1 J/mol does to the clocks as the card's points were timed [ln], shape (3,).

    Nothing is in doubt there but the points themselves, so it is taken off elsewhere.
    """
    clocks = pours.clocks

    def ends_s(*, speed: float = 1.0, energy_j_mol: float = 0.0) -> Array:
        kit = clocks.kit
        energy_j_mol += kit.activation_energy_j_mol
        path = run_bucket(
            kit.reference_c,
            kit.reference_c,
            kit.reference_c,
            kit.reference_c,
            pours.job.cards.slurry.reference_haul_s,
            kit=replace(kit, activation_energy_j_mol=energy_j_mol),
            speed=speed,
            film_m=clocks.film_m,
            slab_effusivity=clocks.slab_effusivity,
        )
        return np.array([path.when_s(clocks.age_s[name]).item() for name in BINDINGS])

    base_s = ends_s()
    per_ln_s = (ends_s(speed=float(np.exp(_LN_STEP))) - base_s) / _LN_STEP
    per_energy_s = (ends_s(energy_j_mol=_ENERGY_STEP_J_MOL) - base_s) / _ENERGY_STEP_J_MOL
    return np.asarray(per_energy_s / per_ln_s)
