"""What a reading of a clock is worth: the one model of cups, kits, poured buckets, slabs.

A card's fit and tonight's estimate both go through here. Every row has a few inputs of its
own (an age, a speed, temperatures); parameters move inputs along straight links, so slopes
are those of the inputs, taken once for all rows, times the links' weights.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import partial
from operator import attrgetter
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.kit import KitPhysics, kinetics_of, run_bucket
from cureplan.science.rate import rate_factor

__all__ = [
    "BALANCE",
    "POURED",
    "PROBE",
    "SLAB",
    "STANDING",
    "STEADY",
    "Layout",
    "ReadingsModel",
    "Row",
    "cup_sample_s",
    "row_table",
]

STEPS = 16
"""Even steps of age: within 0.01 min for cups mixed near the air, 2 % for iced grams."""

Array = NDArray[np.float64]
Table = NDArray[Any]


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


STEADY, STANDING, POURED, PROBE, SLAB = range(5)
"""A sample that keeps its temperature; one that heats up; a kit; a thermometer in a kit; one
on a slab, against the computed slab."""
ANY_HAUL_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One reading, or a point of a card; NaN, -1 or 0 is what it does not have."""

    kind: int
    observed: float = 0.0
    """ln(time [s]), or °C of a thermometer, or K of a slab above the computed one."""
    sd: float = 1.0
    milestone: int = -1
    temp_c: float = math.nan
    """Of a steady or standing sample."""
    liquids_c: float = math.nan
    filler_c: float = math.nan
    air_c: float = math.nan
    slab_c: float = math.nan
    haul_s: float = math.nan
    """Mixed to poured; for a thermometer, mixed to reading, and NaN before the filler."""
    mass_share: float = math.nan
    humidity_frac: float = math.nan
    ln_speed: float = 0.0
    """Known of its surroundings, as humidity tonight."""
    batch: int = -1
    common: int = -1
    room: int = -1
    along: float = 0.0
    """Where on its floor, -0.5 first poured to 0.5 last."""
    later_h: float = 0.0
    """Hours after the night's speed is stated for."""
    tonight: int = -1
    """0 for what was read on the night, which has a speed and kits of its own."""
    reading: int = -1
    """Which reading it comes from; -1 for the card's own."""


_VALUES = attrgetter(*(one.name for one in fields(Row)))
_COLUMNS = [(one.name, np.int64 if one.type == "int" else np.float64) for one in fields(Row)]


def row_table(rows: Sequence[Row]) -> Table:
    """Rows as one array with a named column for each of their fields."""
    return np.array([_VALUES(row) for row in rows], dtype=_COLUMNS)


BALANCE = ("share", "rise", "power", "exchange")
"""Parameters of the kit's heat balance, in the units of `KitPhysics`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where each parameter stands in the vector.

    Energy [kJ/mol], the heat balance, ln(age [s]) of each milestone, change of ln(time) per
    unit of humidity, what points of one sheet or lot share in ln(time), and of each batch
    ln(speed) and how much warmer its liquids and filler were than written down [K]. Of a
    night: ln(speed) at one hour and per hour later, how much warmer all kits are, and how
    much warmer slabs are: together, each room, and from its first to its last patch [K].
    """

    milestones: int
    batches: int = 0
    commons: int = 0
    nights: int = 0
    rooms: int = 0

    @property
    def sizes(self) -> Mapping[str, int]:
        """Blocks in their order, and how many each holds."""
        single = dict.fromkeys(("energy", *BALANCE, "humidity"), 1)
        of_batches = dict.fromkeys(("speed", "liquids", "filler"), self.batches)
        of_night = dict.fromkeys(("night", "drift", "kits", "slabs"), self.nights)
        of_rooms = dict.fromkeys(("slab", "slope"), self.rooms)
        ages = {"age": self.milestones, "common": self.commons}
        return single | ages | of_batches | of_night | of_rooms

    def span(self, name: str) -> slice:
        """All of one block."""
        sizes = self.sizes
        before = list(sizes).index(name)
        first = sum(list(sizes.values())[:before])
        return slice(first, first + sizes[name])

    def at(self, name: str, number: int = 0) -> int:
        """One parameter."""
        return int(self.span(name).start) + number

    @property
    def size(self) -> int:
        """Length of the vector."""
        return sum(self.sizes.values())


INPUTS = {"ln_age": 1e-3, "ln_speed": 1e-3, "liquids": 0.02, "filler": 0.02, "slab": 0.02}
"""What a row reads of its own, and half-steps for slopes."""
KIT_STEPS = {"energy": 0.05, "share": 2e-3, "rise": 0.02, "power": 1.0, "exchange": 0.02}
AGE_STEP = 1e-3
Link = tuple[str, NDArray[np.int64], Array | float]
"""An input, which parameter moves it in each row (-1 none), and by how much."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadingsModel:
    """Parameters to expected rows, and their slopes."""

    rows: Table
    layout: Layout
    humidity_ref: float
    """Humidity at which ages are given; NaN where no row speaks of it."""
    reference_c: float
    kit: KitPhysics | None
    """None for a coat that simply keeps its floor's temperature."""
    working: int
    """Which milestone is the working time, up to which the heat rise is counted."""
    film_m: float
    slab_effusivity: float
    slabs_k: tuple[float, ...] = ()
    """How far each room's slab goes with what all slabs share [K]."""
    held: NDArray[np.bool_]
    """Shape (p,): parameters that are not looked for."""

    def expected(self, at: Array) -> Array:
        """Expected rows."""
        return self._rows(self.kit_at(at), self._inputs(at))

    def slopes(self, at: Array) -> Array:
        """Derivatives of the expected rows, by central differences of kit and inputs."""
        kit, inputs, layout = self.kit_at(at), self._inputs(at), self.layout
        found = np.zeros((self.rows.size, layout.size))
        moved = {layout.at(name): step for name, step in KIT_STEPS.items()}
        moved[layout.at("age", self.working)] = AGE_STEP

        def by_kit(place: int, by: float) -> Array:
            return self._rows(self._kit_moved(at, place, by), inputs)

        for one, step in moved.items():
            if not self.held[one]:
                found[:, one] = _slope(partial(by_kit, one), step)
        links = list(self._links())
        sought = [
            name
            for name in INPUTS
            if any(link == name and self._seeks(place) for link, place, _ in links)
        ]
        for name, slope in self._input_slopes(kit, inputs, sought).items():
            for link, place, weight in links:
                if link == name:
                    _add(found, place, slope * weight)
        timed = self.rows["kind"] <= POURED
        for name, place, weight in links:
            if name == "shift":
                _add(found, place, np.where(timed, weight, 0.0))
        found[:, self.held] = 0.0
        return found

    def _seeks(self, place: NDArray[np.int64]) -> bool:
        return not np.all(self.held[place] | (place < 0))

    def _input_slopes(
        self, kit: KitPhysics, inputs: Mapping[str, Array], names: Sequence[str]
    ) -> dict[str, Array]:
        """Slope of each row by its own inputs, every step of every input in one run."""
        if not names:
            return {}
        stack = 2 * len(names)
        moved = {name: np.tile(values, (stack, 1)) for name, values in inputs.items()}
        for number, name in enumerate(names):
            moved[name][2 * number] += INPUTS[name]
            moved[name][2 * number + 1] -= INPUTS[name]
        many = replace(self, rows=np.tile(self.rows, stack))
        try:
            ends = many._rows(kit, {name: to.ravel() for name, to in moved.items()})
        except OutOfRangeError:
            return {name: self._one_slope(kit, inputs, name) for name in names}
        pairs = ends.reshape(len(names), 2, -1)
        return {
            name: (pair[0] - pair[1]) / (2.0 * INPUTS[name])
            for name, pair in zip(names, pairs, strict=True)
        }

    def _one_slope(self, kit: KitPhysics, inputs: Mapping[str, Array], name: str) -> Array:
        def by(step: float) -> Array:
            return self._rows(kit, {**inputs, name: inputs[name] + step})

        return _slope(by, INPUTS[name])

    def _links(self) -> Iterator[Link]:
        rows, layout = self.rows, self.layout

        def of(name: str, column: str) -> NDArray[np.int64]:
            known = (rows[column] >= 0) & (layout.sizes[name] > 0)
            return np.where(known, layout.at(name) + rows[column], -1)

        yield "ln_age", of("age", "milestone"), 1.0
        yield "ln_speed", of("speed", "batch"), 1.0
        yield "liquids", of("liquids", "batch"), 1.0
        yield "filler", of("filler", "batch"), 1.0
        if not math.isnan(self.humidity_ref):
            above = np.nan_to_num(rows["humidity_frac"] - self.humidity_ref, nan=0.0)
            yield "shift", np.full(rows.size, layout.at("humidity")), above
        yield "shift", of("common", "common"), 1.0
        if not layout.nights:
            return
        yield "ln_speed", of("night", "tonight"), 1.0
        yield "ln_speed", of("drift", "tonight"), rows["later_h"]
        yield "liquids", of("kits", "tonight"), 1.0
        yield "filler", of("kits", "tonight"), 1.0
        yield "slab", of("slabs", "tonight"), np.append(self.slabs_k, 0.0)[rows["room"]]
        yield "slab", of("slab", "room"), 1.0
        yield "slab", of("slope", "room"), rows["along"]

    def _inputs(self, at: Array) -> dict[str, Array]:
        found = {name: np.zeros(self.rows.size) for name in (*INPUTS, "shift")}
        found["ln_speed"] = self.rows["ln_speed"].copy()
        padded = np.append(at, 0.0)
        for name, place, weight in self._links():
            found[name] += padded[place] * weight
        return found

    def kit_at(self, at: Array) -> KitPhysics:
        """The kit's physics under some parameters; a stand-in where there is no kit."""
        layout = self.layout
        return replace(
            self.kit or _NO_KIT,
            activation_energy_j_mol=1e3 * float(at[layout.at("energy")]),
            reference_c=self.reference_c,
            liquid_stage_share=float(at[layout.at("share")]),
            heat_rise_k=float(at[layout.at("rise")]),
            mixing_power_w=float(at[layout.at("power")]),
            exchange_w_k=float(at[layout.at("exchange")]),
            working_age_s=float(np.exp(at[layout.at("age", self.working)])),
        )

    def _kit_moved(self, at: Array, place: int, by: float) -> KitPhysics:
        moved = at.copy()
        moved[place] += by
        return self.kit_at(moved)

    def _rows(self, kit: KitPhysics, inputs: Mapping[str, Array]) -> Array:
        kind = self.rows["kind"]
        out = np.full(self.rows.size, np.nan)
        for chosen, times in (
            (kind == STEADY, self._steady),
            (kind == STANDING, self._standing),
            ((kind == POURED) | (kind == PROBE), self._in_a_kit),
        ):
            if chosen.any():
                own = {name: values[chosen] for name, values in inputs.items()}
                out[chosen] = times(kit, self.rows[chosen], own)
        timed = kind <= POURED
        out[timed] += inputs["shift"][timed]
        out[kind == SLAB] = inputs["slab"][kind == SLAB]
        return out

    def _steady(self, kit: KitPhysics, rows: Table, own: Mapping[str, Array]) -> Array:
        rate = np.exp(own["ln_speed"]) * rate_factor(rows["temp_c"], **kinetics_of(kit))
        before_s = 0.0 if self.kit is None else kit.liquid_stage_share * kit.liquids_mix_s
        return _ln(np.exp(own["ln_age"]) / rate - before_s)

    def _standing(self, kit: KitPhysics, rows: Table, own: Mapping[str, Array]) -> Array:
        return _ln(
            cup_sample_s(
                rows["temp_c"],
                rows["air_c"],
                rows["mass_share"],
                np.exp(own["ln_age"]),
                kit=kit,
                speed=np.exp(own["ln_speed"]),
            )
        )

    def _in_a_kit(self, kit: KitPhysics, rows: Table, own: Mapping[str, Array]) -> Array:
        """ln(time) of poured kits and temperatures of those with a thermometer in them."""
        filler_c, haul_s = rows["filler_c"] + own["filler"], rows["haul_s"]
        # A thermometer in the pail sees no slab.
        slab_c = np.where(np.isnan(rows["slab_c"]), self.reference_c, rows["slab_c"])
        path = run_bucket(
            rows["liquids_c"] + own["liquids"],
            filler_c,
            rows["air_c"],
            slab_c + own["slab"],
            np.where(np.isnan(haul_s), ANY_HAUL_S, np.maximum(haul_s, 1e-3)),
            kit=kit,
            speed=np.exp(own["ln_speed"]),
            film_m=self.film_m,
            slab_effusivity=self.slab_effusivity,
        )
        mixed_j_k = path.mixed_c * kit.capacity_j_k - kit.filler_capacity_j_k * filler_c
        probe_c = np.where(np.isnan(haul_s), mixed_j_k / kit.liquids_capacity_j_k, path.pour_c)
        timed = _ln(path.when_s(np.exp(own["ln_age"])))
        return np.asarray(np.where(rows["kind"] == PROBE, probe_c, timed))


def _add(found: Array, place: NDArray[np.int64], slope: Array) -> None:
    known = np.flatnonzero(place >= 0)
    found[known, place[known]] += slope[known]


def _slope(of: Callable[[float], Array], step: float) -> Array:
    """Up minus down over the whole step; from one side at the brink of the model's range."""
    ends: list[Array | None] = []
    for by in (step, -step):
        try:
            ends.append(of(by))
        except OutOfRangeError:
            ends.append(None)
    up, down = ends
    if up is not None and down is not None:
        return (up - down) / (2.0 * step)
    middle = of(0.0)
    if up is not None:
        return (up - middle) / step
    if down is not None:
        return (middle - down) / step
    raise OutOfRangeError("a batch leaves the range of temperatures in which it is known")


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
