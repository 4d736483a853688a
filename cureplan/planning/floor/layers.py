"""A floor's work as a list of layers: what each takes, and when it may begin.

A layer is laid patch by patch in the order the floor was poured. It may start once no
patch is reached too soon, and must start before any patch is reached too late; work
without material, such as vacuuming, leads straight up to the layer after it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.inputs.cards.model import PrimerCard, TopcoatCard
from cureplan.inputs.job.model import CoveWhen, Crew, Job, Pace, Room
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.science.clocks import CLOSING_MILESTONES
from cureplan.science.humidity import HumidityRate
from cureplan.science.kit import film_age_after_s
from cureplan.science.rate import AgeCurve

__all__ = [
    "CREWS",
    "FinishedFloor",
    "FloorAge",
    "Landed",
    "Layer",
    "Lead",
    "Reached",
    "Window",
    "Work",
    "coat_work",
    "cove_lasts_s",
    "factor_of",
    "film_reached",
    "finished_floor",
    "floor_layers",
    "floor_tasks",
    "landed_reached",
    "landed_when_s",
    "lead_works",
    "primer_work",
    "slab_age_curve",
    "starts_over",
    "window_over",
]

PIECE_S = 120.0
SETTLED_S = 0.1
ROUNDS = 60

Array = NDArray[np.float64]
_Factor = TypeVar("_Factor", float, Array)
Reached = Mapping[str, Array]
"""When each patch of a layer reaches each hours-long milestone [epoch s]."""

CREWS = ("pour", "topcoat", "primer")
"""Crews in the order the ordering problem numbers them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One piece of work on a floor."""

    kind: Literal["cove", "primer", "slurry", "vacuum", "topcoat"]
    crew: Literal["pour", "topcoat", "primer"]
    number: int = 1
    """Which of its kind, from below."""
    opens: str | None = None
    """Milestone of the material below that each patch waits for."""
    closes: str | None = None
    """Milestone of the material below after which a patch is too old."""
    bears: str | None = None
    """Milestone all of the floor below has reached before anybody sets foot on it."""
    leads: bool = False
    """It shuts no floor, and its crew goes straight on to the next layer."""

    @property
    def stage(self) -> str:
        """What calls and sheets know it by."""
        return {"slurry": "pour", "topcoat": f"coat {self.number}"}.get(self.kind, self.kind)


def floor_layers(
    room: Room, *, primed: bool, spiked: bool = False, cove: CoveWhen | None = None
) -> tuple[Layer, ...]:
    """Everything that is done to a floor, from the slab up; fresh layers are walked on in
    spiked shoes alone."""
    first = Layer(kind="cove", crew="primer" if primed else "pour", leads=True)
    then = Layer(kind="cove", crew="topcoat", bears="foot_traffic", leads=True)
    primer = Layer(kind="primer", crew="primer")
    slurry = Layer(kind="slurry", crew="pour")
    bears = None if spiked else "foot_traffic"
    if primed:
        slurry = replace(slurry, opens="slurry_opens", closes="slurry_closes", bears=bears)
    coats = [
        Layer(
            kind="topcoat",
            crew="topcoat",
            number=number,
            opens="topcoat_opens" if number == 1 else "recoat_opens",
            closes="topcoat_closes" if number == 1 else "recoat_closes",
            bears=bears,
        )
        for number in range(1, room.topcoats + 1)
    ]
    return (
        *((first,) if cove == "before" else ()),
        *((primer,) if primed else ()),
        slurry,
        *((then,) if cove == "after" else ()),
        Layer(kind="vacuum", crew="topcoat", bears="foot_traffic", leads=True),
        *coats,
    )


def floor_tasks(layers: Iterable[Layer]) -> tuple[tuple[Layer, ...], ...]:
    """Layers a crew does in one go, the one with material last.

    Examples
    --------
    >>> from cureplan.api import demo_job_path, read_job
    >>> layers = floor_layers(read_job(demo_job_path("school-kitchen")).rooms[0], primed=True)
    >>> [[layer.stage for layer in task] for task in floor_tasks(layers)]
    [['primer'], ['pour'], ['vacuum', 'coat 1'], ['coat 2']]
    """
    tasks: list[tuple[Layer, ...]] = []
    leads: tuple[Layer, ...] = ()
    for layer in layers:
        leads = (*leads, layer)
        if not layer.leads:
            tasks.append(leads)
            leads = ()
    return tuple(tasks)


@dataclass(frozen=True, slots=True, kw_only=True)
class Landed:
    """Patches as they lie: what their hours on the floor start from; arrays of shape P."""

    pour_s: Array
    """When each bucket lands [epoch s]."""
    pour_age_s: Array
    film_age_s: Array
    """Shape (*P, nodes): see `BucketPath`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """Work that leads straight up to a layer."""

    layer: Layer
    lasts_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """How long a layer takes, patch by patch, in which batches, and what leads up to it."""

    layer: Layer
    leads: tuple[Lead, ...] = ()
    duration_s: float
    """From the layer's own start, what leads up to it over."""
    offset_s: Array
    """When each patch is reached, from that start."""
    batches: int
    volume_m3: float
    batch_s: float
    """One batch from mixing to spread."""

    @property
    def lead_s(self) -> float:
        """How long before the layer's start its crew begins."""
        return sum(lead.lasts_s for lead in self.leads)

    @property
    def steps(self) -> tuple[tuple[Layer, float], ...]:
        """What leads up to the layer, and the layer, each with how long it takes."""
        leads = tuple((lead.layer, lead.lasts_s) for lead in self.leads)
        return (*leads, (self.layer, self.duration_s))

    @property
    def crew(self) -> int:
        """The crew's number in the ordering problem."""
        return CREWS.index(self.layer.crew)


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The starts a layer may have, by age alone [epoch s]; shifts and dew come later."""

    opens_s: float
    closes_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishedFloor:
    """When the last coat has gone far enough [epoch s]."""

    foot_s: float
    wheels_s: float
    wash_down_s: float
    opens_s: float
    """When it has gone far enough for what the room must bear to be open."""


def slab_age_curve(
    conditions: RoomConditions,
    *,
    activation_energy_j_mol: float,
    reference_c: float,
    humidity: HumidityRate | None = None,
) -> AgeCurve:
    """Age against time of anything thin that lies on this room's slab, in its air."""
    factors = None
    if humidity is not None:
        factors = humidity.at(conditions.humidity_at(conditions.epoch_s))
    return AgeCurve(
        conditions.epoch_s,
        conditions.slab_c,
        activation_energy_j_mol=activation_energy_j_mol,
        reference_c=reference_c,
        piece_s=PIECE_S,
        rate_factors=factors,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorAge:
    """Age of a material on a floor where the sun falls and where it does not."""

    lit: AgeCurve
    shade: AgeCurve
    """The same curve where no sun is declared."""

    def of(self, milestone: str) -> AgeCurve:
        """What closes does so first in the sun; what is waited for comes last in the shade."""
        return self.lit if milestone in CLOSING_MILESTONES else self.shade


def landed_when_s(landed: Landed, age_s: Array | float, *, curve: AgeCurve) -> Array:
    """When each patch reaches an age, with what its film has gathered until then.

    A thick film takes hours to come to its slab's temperature, so a clock that ends early
    may count only the part of the gap that lies behind it.
    """
    by_slab_s = age_s - landed.pour_age_s
    when_s = curve.when(start_s=landed.pour_s, age_s=by_slab_s - landed.film_age_s[..., -1])
    for _ in range(ROUNDS):
        elapsed_s = np.minimum(when_s, curve.last_s) - landed.pour_s
        film_s = film_age_after_s(elapsed_s, landed.film_age_s)
        before_s, when_s = when_s, curve.when(start_s=landed.pour_s, age_s=by_slab_s - film_s)
        if np.allclose(when_s, before_s, rtol=0.0, atol=SETTLED_S):
            return when_s
    raise OutOfRangeError("the clock ends while the film is far from its slab's temperature")


def factor_of(milestone: str, *, wait: _Factor, close: _Factor) -> _Factor:
    """What an age is stretched by: waiting ones by one factor, closing ones by the other."""
    return close if milestone in CLOSING_MILESTONES else wait


def landed_reached(
    landed: Landed, *, age_s: Mapping[str, float], curve: FloorAge, wait: float, close: float
) -> dict[str, Array]:
    """When each poured patch may be walked on, coated, and is too old to coat."""
    return {
        name: landed_when_s(
            landed, age_s[name] * factor_of(name, wait=wait, close=close), curve=curve.of(name)
        )
        for name in ("foot_traffic", "topcoat_opens", "topcoat_closes")
    }


def film_reached(
    laid_s: Array, *, age_s: Mapping[str, float], curve: FloorAge, wait: float, close: float
) -> dict[str, Array]:
    """When each patch of a thin layer laid at given instants reaches each milestone."""
    return {
        name: np.asarray(
            curve.of(name).when(
                start_s=laid_s, age_s=age * factor_of(name, wait=wait, close=close)
            )
        )
        for name, age in age_s.items()
    }


def cove_lasts_s(room: Room, job: Job, *, hands: int) -> float:
    """How long so many hands put up a room's cove; nothing where it has none."""
    if job.cove is None:
        return 0.0
    return job.cove_m(room) / (job.cove.pace_m_s * hands)


def lead_works(room: Room, job: Job, task: tuple[Layer, ...]) -> tuple[Lead, ...]:
    """How long everything takes that leads straight up to the last layer of a task."""
    crew = job.crew
    hands = {"pour": crew.edge, "primer": crew.primer, "topcoat": crew.topcoat}

    def lasts_s(layer: Layer) -> float:
        if layer.kind == "cove":
            return cove_lasts_s(room, job, hands=hands[layer.crew])
        return room.area_m2 / (job.pace.vacuum_m2_s * crew.topcoat)

    return tuple(Lead(layer=layer, lasts_s=lasts_s(layer)) for layer in task[:-1])


def coat_work(
    room: Room,
    card: TopcoatCard,
    *,
    crew: Crew,
    pace: Pace,
    layer: Layer,
    leads: tuple[Lead, ...] = (),
    patches: int,
) -> Work:
    """How long a coat takes with what leads up to it, in which whole batches it is mixed."""
    volume_m3 = room.area_m2 / card.spread_m2_m3(layer.number)
    batches = max(1, math.ceil(volume_m3 / card.batch_m3 - 1e-9))
    speed_m2_s = pace.topcoat_m2_s * crew.topcoat
    spreading_s = room.area_m2 / speed_m2_s
    batch_area_m2 = min(room.area_m2, card.batch_m3 * card.spread_m2_m3(layer.number))
    return Work(
        layer=layer,
        leads=leads,
        duration_s=card.mix_s + spreading_s,
        offset_s=card.mix_s + spreading_s * np.arange(patches) / patches,
        batches=batches,
        volume_m3=volume_m3,
        batch_s=card.mix_s + batch_area_m2 / speed_m2_s,
    )


def primer_work(
    room: Room, card: PrimerCard, *, crew: Crew, pace: Pace, layer: Layer, patches: int
) -> Work:
    """How long priming takes; where it is broadcast, the same hands throw the grains."""
    per_m2_s = 1.0 / pace.primer_m2_s
    if card.broadcast_kg_m2 > 0:
        per_m2_s += 1.0 / pace.broadcast_m2_s
    rolling_s = room.area_m2 * per_m2_s / crew.primer
    volume_m3 = room.area_m2 / card.spread_m2_m3
    batch_area_m2 = min(room.area_m2, card.batch_m3 * card.spread_m2_m3)
    return Work(
        layer=layer,
        duration_s=card.mix_s + rolling_s,
        offset_s=card.mix_s + rolling_s * np.arange(patches) / patches,
        batches=max(1, math.ceil(volume_m3 / card.batch_m3 - 1e-9)),
        volume_m3=volume_m3,
        batch_s=card.mix_s + batch_area_m2 * per_m2_s / crew.primer,
    )


def starts_over(when: Callable[[str], Array], work: Work) -> tuple[Array, Array]:
    """First and last start of a layer, given when each patch below reaches a milestone.

    `when` gives shape (..., P), for any number of starts of the layer below. Every piece
    of work begins at the back wall, which is reached over the whole floor.
    """
    layer, ahead_s = work.layer, work.lead_s
    if layer.opens is None or layer.closes is None:
        raise AssertionError("the lowest layer has no window")
    opens_s = np.max(when(layer.opens) - work.offset_s, axis=-1)
    for done, lasts_s in work.steps:
        if done.bears is not None:
            borne_s = np.max(when(done.bears), axis=-1)
            opens_s = np.maximum(borne_s + ahead_s, opens_s)
        ahead_s -= lasts_s
    return opens_s, np.min(when(layer.closes) - work.offset_s, axis=-1)


def window_over(below: Reached, work: Work) -> Window:
    """Window for the start of a layer over one that lies."""
    opens_s, closes_s = starts_over(below.__getitem__, work)
    return Window(opens_s=float(opens_s), closes_s=float(closes_s))


def finished_floor(reached: Reached, *, needs: Iterable[str]) -> FinishedFloor:
    """When the floor bears feet, wheels and water after its last layer, and is open."""
    foot_s, wheels_s, wash_s = (
        float(np.max(reached[name])) for name in ("foot_traffic", "wheels", "wash_down")
    )
    opens_s = max(float(np.max(reached[name])) for name in needs)
    return FinishedFloor(foot_s=foot_s, wheels_s=wheels_s, wash_down_s=wash_s, opens_s=opens_s)
