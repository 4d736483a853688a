"""What a reading of a clock is worth: the model of cups, kits and poured buckets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.kit import KitPhysics, kinetics_of, run_bucket
from cureplan.science.rate import rate_factor

__all__ = [
    "POURED",
    "PROBE",
    "STANDING",
    "STEADY",
    "Layout",
    "ReadingRows",
    "ReadingsModel",
    "cup_sample_s",
]

STEPS = 16
"""Even steps of age: within 0.01 min for cups mixed near the air, 2 % for iced grams."""

Array = NDArray[np.float64]


def cup_sample_s(
    start_c: ArrayLike,
    air_c: ArrayLike,
    mass_share: ArrayLike,
    age_s: ArrayLike,
    *,
    kit: KitPhysics,
    speed: ArrayLike,
) -> NDArray[np.float64]:
    """Time from filler-in at which samples left standing in a cup reach an age.

    A cup loses heat through its surface, which grows with the mass to the power 2/3.
    Not for samples spread thin or held at their temperature, which simply keep it, and
    not far beyond the working time: the heat given off is known only up to there.

    Source: Heat balance of a stirred sample; each step by the exponential midpoint rule.
    """
    start, air, share, target, speeds = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(x, dtype=np.float64))
            for x in (start_c, air_c, mass_share, age_s, speed)
        )
    )
    if not (np.all(share > 0) and np.all(speeds > 0)):
        raise OutOfRangeError("mass_share and speed must be > 0")
    kinetics = kinetics_of(kit)
    before_s = (
        kit.liquid_stage_share * kit.liquids_mix_s * speeds * rate_factor(start, **kinetics)
    )
    step_age = (target - before_s) / STEPS
    rise_per_age = kit.heat_rise_k / kit.working_age_s
    loss_per_s = kit.exchange_w_k / kit.capacity_j_k * share ** (-1.0 / 3.0)

    def onward(from_c: Array, rate: Array, age: Array) -> Array:
        """Exact for a steady rate, so small cups need no small steps."""
        slope = rise_per_age - loss_per_s * (from_c - air) / rate
        return np.asarray(from_c + slope * age * _fading(loss_per_s * age / rate))

    temp, time_s = start, np.zeros(start.shape)
    rate = speeds * rate_factor(temp, **kinetics)
    for _ in range(STEPS):
        middle = speeds * rate_factor(onward(temp, rate, step_age / 2.0), **kinetics)
        temp = onward(temp, middle, step_age)
        end = speeds * rate_factor(temp, **kinetics)
        time_s = time_s + step_age / 6.0 * (1.0 / rate + 4.0 / middle + 1.0 / end)
        rate = end
    return time_s


def _fading(exponent: Array) -> Array:
    """(1 - exp(-x)) / x, 1 at zero."""
    safe = np.where(np.abs(exponent) < 1e-9, 1.0, exponent)
    return np.where(np.abs(exponent) < 1e-9, 1.0, -np.expm1(-safe) / safe)


Whole = NDArray[np.int64]
Mask = NDArray[np.bool_]

STEADY, STANDING, POURED, PROBE = 0, 1, 2, 3
"""A sample that keeps its temperature; one that heats up; a kit; a thermometer in a kit."""

ANY_HAUL_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadingRows:
    """Rows as arrays of shape (n,); what a kind of row does not need is NaN or -1."""

    kind: Whole
    milestone: Whole
    temp_c: Array
    """Of a steady or standing sample."""
    liquids_c: Array
    filler_c: Array
    air_c: Array
    slab_c: Array
    haul_s: Array
    """Mixed to poured; for a thermometer, mixed to reading, and NaN before the filler."""
    mass_share: Array
    humidity_frac: Array
    """Above the reference humidity; zero where it is not known."""
    batch: Whole
    common: Whole

    @property
    def size(self) -> int:
        """Rows."""
        return int(self.kind.size)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where each parameter stands in the vector."""

    milestones: int
    batches: int
    commons: int

    ENERGY = 0
    """[kJ/mol]"""
    BALANCE = ("share", "rise", "power", "exchange")

    def age(self, milestone: int) -> int:
        """ln(age [s]) of a milestone."""
        return 1 + milestone

    def balance(self, name: str) -> int:
        """One of the kit's heat balance, in the unit of `KitPhysics`."""
        return 1 + self.milestones + self.BALANCE.index(name)

    @property
    def humidity(self) -> int:
        """Change of ln(time) per unit of relative humidity."""
        return 1 + self.milestones + len(self.BALANCE)

    def common(self, number: int) -> int:
        """What all points of one sheet are off by, in ln(time)."""
        return self.humidity + 1 + number

    def speed(self, batch: int) -> int:
        """ln(speed) of a batch."""
        return self.common(self.commons) + batch

    def liquids(self, batch: int) -> int:
        """How much warmer a batch's liquids were than written down [K]."""
        return self.speed(self.batches) + batch

    def filler(self, batch: int) -> int:
        """The same of its filler [K]."""
        return self.liquids(self.batches) + batch

    @property
    def size(self) -> int:
        """Length of the vector."""
        return self.filler(self.batches)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadingsModel:
    """Parameters to expected rows, and their slopes."""

    rows: ReadingRows
    layout: Layout
    reference_c: float
    kit: KitPhysics | None
    """None for a coat that simply keeps its floor's temperature."""
    working: int
    """Which milestone is the working time, up to which the heat rise is counted."""
    film_m: float
    slab_effusivity: float
    step: Array
    """Shape (p,): half-steps for slopes; zero where a parameter is held."""

    def expected(self, at: Array) -> Array:
        """Expected rows."""
        rows = self.rows
        out = np.full(rows.size, np.nan)
        kit = self.kit_at(at)
        ages = np.exp(np.append(at[1 : 1 + self.layout.milestones], 0.0))[rows.milestone]
        speed = np.exp(self._of_batch(at, self.layout.speed))
        for kind, times in ((STEADY, self._steady_s), (STANDING, self._cup_sample_s)):
            chosen = rows.kind == kind
            if np.any(chosen):
                times_s = times(kit, chosen, ages[chosen], speed[chosen])
                out[chosen] = _ln(times_s)
        probes = rows.kind == PROBE
        kits = probes | (rows.kind == POURED)
        if np.any(kits):
            out[kits] = self._in_a_kit(at, kit, kits, ages[kits], speed[kits])
        timed = ~probes
        out[timed] += at[self.layout.humidity] * rows.humidity_frac[timed]
        shift = np.append(at[self.layout.common(0) : self.layout.speed(0)], 0.0)
        out[timed] += shift[rows.common[timed]]
        return out

    def slopes(self, at: Array) -> Array:
        """Derivatives of the expected rows, by central differences.

        Parameters of different batches or milestones touch different rows, so they are
        moved together.
        """
        rows, layout = self.rows, self.layout
        found = np.zeros((rows.size, layout.size))
        for group, owner, of in self._directions():
            moved = np.zeros(layout.size)
            moved[group] = self.step[group]
            if not np.any(moved):
                continue
            difference = self._difference(at, moved)
            for place, number in zip(group, owner, strict=True):
                if self.step[place] > 0.0:
                    own = slice(None) if of is None else of == number
                    found[own, place] = difference[own] / (2.0 * self.step[place])
        timed = rows.kind != PROBE
        if self.step[layout.humidity] > 0.0:
            found[timed, layout.humidity] = rows.humidity_frac[timed]
        for number in range(layout.commons):
            if self.step[layout.common(number)] > 0.0:
                found[timed & (rows.common == number), layout.common(number)] = 1.0
        return found

    def _difference(self, at: Array, moved: Array) -> Array:
        """Expected rows a step up minus a step down; twice one side at the brink."""
        ends: list[Array | None] = []
        for to in (at + moved, at - moved):
            try:
                ends.append(self.expected(to))
            except OutOfRangeError:
                ends.append(None)
        up, down = ends
        if up is not None and down is not None:
            return up - down
        middle = self.expected(at)
        if up is not None:
            return 2.0 * (up - middle)
        if down is not None:
            return 2.0 * (middle - down)
        raise OutOfRangeError("a batch leaves the range of temperatures in which it is known")

    def _directions(self) -> list[tuple[list[int], list[int], Whole | None]]:
        """Parameters to move together, whose rows are whose, and by what rows are told."""
        layout, rows = self.layout, self.rows
        alone = [layout.ENERGY, layout.age(self.working)]
        alone += [layout.balance(name) for name in layout.BALANCE]
        others = [n for n in range(layout.milestones) if n != self.working]
        found: list[tuple[list[int], list[int], Whole | None]] = [
            *(([place], [0], None) for place in alone),
            ([layout.age(number) for number in others], others, rows.milestone),
        ]
        batches = list(range(layout.batches))
        found += [
            ([of(batch) for batch in batches], batches, rows.batch)
            for of in (layout.speed, layout.liquids, layout.filler)
        ]
        return found

    def kit_at(self, at: Array) -> KitPhysics:
        """The kit's physics under some parameters; a stand-in where there is no kit."""
        layout = self.layout
        template = self.kit or _NO_KIT
        return replace(
            template,
            activation_energy_j_mol=1e3 * float(at[layout.ENERGY]),
            reference_c=self.reference_c,
            liquid_stage_share=float(at[layout.balance("share")]),
            heat_rise_k=float(at[layout.balance("rise")]),
            mixing_power_w=float(at[layout.balance("power")]),
            exchange_w_k=float(at[layout.balance("exchange")]),
            working_age_s=float(np.exp(at[layout.age(self.working)])),
        )

    def _of_batch(self, at: Array, of: Callable[[int], int]) -> Array:
        """A batch's parameter, row by row; zero where a row has no batch."""
        start = of(0)
        return np.append(at[start : start + self.layout.batches], 0.0)[self.rows.batch]

    def _steady_s(self, kit: KitPhysics, chosen: Mask, age_s: Array, speed: Array) -> Array:
        rate = speed * rate_factor(self.rows.temp_c[chosen], **kinetics_of(kit))
        before_s = 0.0 if self.kit is None else kit.liquid_stage_share * kit.liquids_mix_s
        return np.asarray(age_s / rate - before_s)

    def _cup_sample_s(self, kit: KitPhysics, chosen: Mask, age_s: Array, speed: Array) -> Array:
        rows = self.rows
        return cup_sample_s(
            rows.temp_c[chosen],
            rows.air_c[chosen],
            rows.mass_share[chosen],
            age_s,
            kit=kit,
            speed=speed,
        )

    def _in_a_kit(
        self, at: Array, kit: KitPhysics, chosen: Mask, age_s: Array, speed: Array
    ) -> Array:
        """ln(time) of poured kits and temperatures of those with a thermometer in them."""
        rows, layout = self.rows, self.layout
        filler_c = rows.filler_c[chosen] + self._of_batch(at, layout.filler)[chosen]
        slab_c, haul_s = rows.slab_c[chosen], rows.haul_s[chosen]
        path = run_bucket(
            rows.liquids_c[chosen] + self._of_batch(at, layout.liquids)[chosen],
            filler_c,
            rows.air_c[chosen],
            # A thermometer in the pail sees no slab.
            np.where(np.isnan(slab_c), self.reference_c, slab_c),
            np.where(np.isnan(haul_s), ANY_HAUL_S, haul_s),
            kit=kit,
            speed=speed,
            film_m=self.film_m,
            slab_effusivity=self.slab_effusivity,
        )
        mixed_j_k = path.mixed_c * kit.capacity_j_k - kit.filler_capacity_j_k * filler_c
        probe_c = np.where(np.isnan(haul_s), mixed_j_k / kit.liquids_capacity_j_k, path.pour_c)
        of_probe = rows.kind[chosen] == PROBE
        return np.asarray(np.where(of_probe, probe_c, _ln(path.when_s(age_s))))


def _ln(time_s: Array) -> Array:
    """ln(time), carried on as a straight line below one second.

    A trial value of the search may put a milestone before the filler; it must still feel
    which way is back.
    """
    return np.asarray(np.where(time_s > 1.0, np.log(np.maximum(time_s, 1.0)), time_s - 1.0))


_NO_KIT = KitPhysics(
    activation_energy_j_mol=0.0, reference_c=0.0, liquids_capacity_j_k=1.0,
    filler_capacity_j_k=1.0, liquids_mix_s=0.0, filler_mix_s=1.0, liquid_stage_share=0.0,
    heat_rise_k=0.0, working_age_s=1.0, mixing_power_w=0.0, exchange_w_k=0.0,
    volumetric_heat_j_m3_k=1.0,
)  # fmt: skip
