"""A room's pour at a start: its buckets, their clocks and their margins."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.core.kept import Mark, kept, kept_rows, mark_of
from cureplan.inputs.job.model import Crew, Job, Materials, Room
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.planning.floor.doubt import (
    SLAB_SD_K,
    Doubt,
    age_factors,
    air_share,
    doubt_at,
    forecast_sd_k,
    slab_sd_k,
    sure_k,
    time_factors,
)
from cureplan.planning.floor.ice import steady_run
from cureplan.planning.floor.layers import (
    FloorAge,
    Layer,
    Work,
    coat_work,
    floor_layers,
    floor_tasks,
    lead_works,
    primer_work,
    slab_age_curve,
)
from cureplan.planning.floor.layout import (
    Cadence,
    PourLayout,
    PourTimes,
    cadence_of,
    lay_out,
    relative_times,
)
from cureplan.planning.floor.limits import LayerLimits
from cureplan.science.clocks import (
    SlurryClocks,
    TopcoatClocks,
    clocks_fault,
    slurry_clocks,
    topcoat_clocks,
)
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.kit import run_bucket

__all__ = [
    "BINDINGS",
    "FREE",
    "BucketClocks",
    "KitTemperatures",
    "PourOption",
    "PourPlan",
    "RoomPours",
    "Settled",
    "bucket_clocks",
    "kit_temperatures",
    "slurry_of",
]

Columns = Callable[["BucketClocks"], tuple[NDArray[Any], ...]]
BINDINGS: Final = ("wet_edge", "working_time", "broadcast_closes")

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class KitTemperatures:
    """What liquids and filler reach the mixer at; None means the room's air."""

    liquids_c: float | None
    filler_c: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BucketClocks:
    """Clocks and margins of S starts of N buckets; every array has shape (S, N)."""

    ends_s: Array
    """Shape (3, S, N): when each clock ends, on the same zero as the starts."""
    margins_s: Array
    """Shape (3, S, N): clock's end minus what must be done by then; inf where nothing is."""
    mixed_c: Array
    pour_c: Array
    slab_c: Array
    pour_age_s: Array
    film_age_s: Array
    """Shape (S, N, nodes): see `BucketPath`."""
    broadcast_by_s: Array
    finer: bool
    """Whether the starts were followed in more steps for the sake of one: see `BucketPath`."""

    @property
    def margin_s(self) -> Array:
        """Least of the three, shape (S, N)."""
        return np.asarray(self.margins_s.min(axis=0))

    @property
    def binding(self) -> NDArray[np.int64]:
        """Which of `BINDINGS` is the least, shape (S, N)."""
        return np.asarray(self.margins_s.argmin(axis=0))

    @property
    def least_s(self) -> Array:
        """Least margin of each start, shape (S,)."""
        return np.asarray(self.margin_s.min(axis=1))


def kit_temperatures(
    materials: Materials, *, chilled: bool, cool_filler: bool
) -> KitTemperatures:
    """What the parts of a kit reach the mixer at."""
    iced_c = materials.iced_c
    if materials.liquids_measured_c is not None:
        iced_c = materials.liquids_measured_c
    return KitTemperatures(
        liquids_c=iced_c if chilled else materials.storage_c,
        filler_c=materials.cool_filler_c if cool_filler else materials.storage_c,
    )


def slurry_of(job: Job) -> SlurryClocks:
    """The slurry card's clocks on the job's floors."""
    return slurry_clocks(
        job.cards.slurry, film_m=job.materials.laid_m, slab_effusivity=SLAB_EFFUSIVITY
    )


def bucket_clocks(
    start_s: ArrayLike,
    times: PourTimes,
    *,
    clocks: SlurryClocks,
    conditions: RoomConditions,
    temperatures: KitTemperatures,
    haul_s: float,
    speed: ArrayLike,
    slab_shift_k: ArrayLike,
    air_shift_k: ArrayLike,
    liquids_shift_k: ArrayLike = 0.0,
) -> BucketClocks:
    """Run every bucket of a floor on its own temperature history."""
    starts = np.atleast_1d(np.asarray(start_s, dtype=np.float64))[:, None]
    shape = (starts.shape[0], times.pour_s.size)

    def each(values: ArrayLike) -> Array:
        column = np.asarray(values, dtype=np.float64).reshape(-1, 1)
        return np.broadcast_to(column, shape).ravel()

    air_c = conditions.air_at(starts + times.liquids_in_s).ravel() + each(air_shift_k)
    at_s = starts + times.pour_s
    slab_c = conditions.slab_under(at_s, times.bay, times.row).ravel() + each(slab_shift_k)
    pace = each(speed)
    if clocks.humidity is not None:
        pace = pace * clocks.humidity.at(conditions.humidity_at(at_s)).ravel()
    liquids_c = air_c
    if temperatures.liquids_c is not None:
        liquids_c = temperatures.liquids_c + each(liquids_shift_k)
    filler_c = air_c if temperatures.filler_c is None else temperatures.filler_c
    path = run_bucket(
        liquids_c,
        filler_c,
        air_c,
        slab_c,
        haul_s,
        kit=clocks.kit,
        speed=pace,
        film_m=clocks.film_m,
        slab_effusivity=clocks.slab_effusivity,
        runs_away="lost",
    )
    filler_in = starts + times.filler_in_s
    ends = np.stack(
        [filler_in + path.when_s(clocks.age_s[name]).reshape(shape) for name in BINDINGS]
    )
    broadcast_by = starts + times.broadcast_s
    if "broadcast_opens" in clocks.age_s:
        opens = filler_in + path.when_s(clocks.age_s["broadcast_opens"]).reshape(shape)
        held_back = np.maximum(0.0, opens - (starts + times.smoothed_s))
        broadcast_by = broadcast_by + held_back
    due = np.stack([starts + times.tied_in_s, starts + times.smoothed_s, broadcast_by])
    margins = np.where(np.isnan(due), np.inf, ends - due)
    return BucketClocks(
        ends_s=ends,
        margins_s=margins,
        mixed_c=path.mixed_c.reshape(shape),
        pour_c=path.pour_c.reshape(shape),
        slab_c=slab_c.reshape(shape),
        pour_age_s=path.pour_age_s.reshape(shape),
        film_age_s=path.film_age_s.reshape(*shape, -1),
        broadcast_by_s=broadcast_by,
        finer=path.finer,
    )


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class PourOption:
    """How a floor is poured, apart from when."""

    chilled: bool
    cool_filler: bool
    bays: int

    def remedies(self) -> tuple[str, ...]:
        """The remedies this option uses, in the trade's words."""
        used = []
        if self.chilled:
            used.append("chill")
        if self.cool_filler:
            used.append("cool filler")
        if self.bays > 1:
            used.append("bays")
        return tuple(used)


AS_IS = PourOption(chilled=False, cool_filler=False, bays=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class PourPlan:
    """Layout, rhythm and relative times of one option."""

    option: PourOption
    layout: PourLayout
    cadence: Cadence
    times: PourTimes


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """What is settled of a floor before it is planned: by a night begun, or by a what-if.

    Layers go by their stage; instants are of their own start, what leads up to it over.
    """

    poured: PourPlan | None = None
    """Its real rhythm, where it is begun, for the option it was begun with."""
    begun_s: Mapping[str, float] = field(default_factory=dict)
    """When each layer was begun [epoch s]: it stays."""
    lasted_s: Mapping[str, float] = field(default_factory=dict)
    """How long those took that are done."""
    vacuumed: bool = False
    """Whether nothing leads up to the first coat any more."""
    coved_s: float = 0.0
    """How much of the work at its cove is done."""
    from_s: float = -np.inf
    """Nothing else begins sooner."""
    not_before_s: Mapping[str, float] = field(default_factory=dict)
    """Nor some layers before an instant of their own."""
    options: tuple[PourOption, ...] | None = None
    """How it may still be poured; None where the job alone decides."""
    waited: bool | None = None
    """Whether it is known to wait for a cooler hour; None where that is to be seen."""
    known_s: float = -np.inf
    """Until when its hours are to be told, where the night runs past the job's own."""

    def later(self, at_s: Mapping[str, float]) -> Settled:
        """The same with layers begun no sooner than these instants either."""
        both = {**at_s, **self.not_before_s}
        held_s = {stage: max(s, at_s.get(stage, s)) for stage, s in both.items()}
        return replace(self, not_before_s=held_s)

    def soonest_s(self, stage: str) -> float:
        """First instant a layer may begin [epoch s]."""
        return max(self.from_s, self.not_before_s.get(stage, -np.inf))

    def begins_from_s(self, work: Work) -> float:
        """First instant a crew may begin with what leads up to a layer [epoch s]: vacuuming
        may be under way, of a cove it is known how much is left."""
        soonest_s = self.soonest_s(work.layer.stage) - work.lead_s
        cove = any(lead.layer.kind == "cove" for lead in work.leads)
        return max(soonest_s, self.from_s) if cove else soonest_s


FREE = Settled()


@dataclass(slots=True)
class RoomPours:
    """A room with its conditions and clocks, and the pours tried for it so far."""

    room: Room
    job: Job
    clocks: SlurryClocks
    topcoat: TopcoatClocks
    conditions: RoomConditions
    settled: Settled = FREE
    slurry_curve: FloorAge = field(init=False)
    topcoat_curve: FloorAge = field(init=False)
    tasks: tuple[tuple[Layer, ...], ...] = field(init=False)
    """What is done to the floor from the slab up, by what a crew does in one go."""
    pour_task: int = field(init=False)
    """Which of the tasks is the pour."""
    primer: tuple[TopcoatClocks, FloorAge] | None = field(init=False)
    _plans: dict[tuple[PourOption, Crew], PourPlan] = field(init=False, default_factory=dict)
    _marks: dict[PourOption, Mark] = field(init=False, default_factory=dict)
    _wet: dict[float, Doubt] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.slurry_curve = self._curve(self.clocks)
        self.topcoat_curve = self._curve(self.topcoat)
        primed = self.job.cards.primer is not None
        spiked = self.job.crew.spiked_shoes
        cove = self.job.cove.when if self.job.cove and self.job.cove_m(self.room) > 0 else None
        layers = floor_layers(self.room, primed=primed, spiked=spiked, cove=cove)
        self.tasks = floor_tasks(layers)
        self.pour_task = [task[-1].kind for task in self.tasks].index("slurry")
        self.primer = None
        if self.job.cards.primer is not None:
            primer = topcoat_clocks(self.job.cards.primer)
            self.primer = (primer, self._curve(primer))

    def begins_from_s(self, work: Work) -> float:
        """First instant a crew may begin with what leads up to a layer [epoch s], by the
        night and by the hours the job holds it until."""
        pins = self.room.pins
        held_s = {stage: at.timestamp() for stage, at in pins.items()}
        if self.settled.poured is not None:
            held_s.pop("pour", None)
        return self.settled.later(held_s).begins_from_s(work)

    def _curve(self, clocks: SlurryClocks | TopcoatClocks) -> FloorAge:
        lit, *shade = (
            slab_age_curve(
                conditions,
                activation_energy_j_mol=clocks.fit.activation_energy_j_mol,
                reference_c=clocks.fit.reference_c,
                humidity=clocks.humidity,
            )
            for conditions in self.surfaces
        )
        return FloorAge(lit=lit, shade=shade[0] if shade else lit)

    @property
    def surfaces(self) -> tuple[RoomConditions, ...]:
        """The slab where the sun falls, then where it does not; one where none is declared."""
        here = self.conditions
        return (here,) if here.sun_k is None else (here, here.shade)

    def under(self, room: Room, job: Job) -> RoomPours:
        """The floor on the same air and slab under a job that differs."""
        conditions = replace(self.conditions, room=room.name)
        return RoomPours(room, job, self.clocks, self.topcoat, conditions, self.settled)

    def plan(self, option: PourOption, crew: Crew | None = None) -> PourPlan:
        """Layout, rhythm and times of an option, with the job's crew or another."""
        if self.settled.poured is not None and option == self.settled.poured.option:
            return self.settled.poured
        hands = crew or self.job.crew
        key = (option, hands)
        if key not in self._plans:
            card = self.job.cards.slurry
            layout = lay_out(self.room, self.job, bays=option.bays)
            cadence = cadence_of(layout, card, crew=hands, pace=self.job.pace)
            times = relative_times(
                layout,
                card,
                cadence,
                stations=cadence.stations(hands),
                bay_turn_s=self.job.pace.bay_turn_s,
            )
            self._plans[key] = PourPlan(
                option=option, layout=layout, cadence=cadence, times=times
            )
        return self._plans[key]

    def works(self, option: PourOption) -> tuple[Work, ...]:
        """How long every task of the floor takes when it is poured by an option."""
        plan = self.plan(option)
        return tuple(self._work(task, plan) for task in self.tasks)

    def _work(self, task: tuple[Layer, ...], plan: PourPlan) -> Work:
        room, job, patches, layer = self.room, self.job, plan.layout.kits, task[-1]
        leads = tuple(
            replace(lead, lasts_s=max(0.0, lead.lasts_s - self.settled.coved_s))
            if lead.layer.kind == "cove"
            else lead
            for lead in lead_works(room, job, task)
        )
        if layer.kind == "slurry":
            begun = layer.stage in self.settled.begun_s
            return replace(self._pour_work(layer, plan), leads=() if begun else leads)
        if layer.kind == "primer" and job.cards.primer is not None:
            work = primer_work(
                room, job.cards.primer, crew=job.crew, pace=job.pace, layer=layer,
                patches=patches,
            )  # fmt: skip
            work = replace(work, leads=leads)
        else:
            work = coat_work(
                room, job.cards.topcoat, crew=job.crew, pace=job.pace, layer=layer,
                leads=() if self.settled.vacuumed else leads, patches=patches,
            )  # fmt: skip
        lasted_s = self.settled.lasted_s.get(layer.stage, work.duration_s)
        share = lasted_s / work.duration_s
        return replace(work, duration_s=lasted_s, offset_s=work.offset_s * share)

    @staticmethod
    def _pour_work(layer: Layer, plan: PourPlan) -> Work:
        times, layout = plan.times, plan.layout
        return Work(
            layer=layer,
            duration_s=times.last_s,
            offset_s=times.pour_s,
            batches=layout.kits,
            volume_m3=layout.slurry_needed_m3,
            batch_s=float(times.smoothed_s[0] - times.liquids_in_s[0]),
        )

    def limits(
        self, layer: Layer, *, confidence: float = 0.5, ahead: bool = False
    ) -> LayerLimits:
        """When a layer may be laid by temperature and dew point.

        Clear of temperatures by what slab and air err at a confidence: of a slab both as a
        whole and one half of it against the rest; of air on request also by what the
        forecast errs the more, the farther ahead.
        """
        air_sd_k: Array | float = SLAB_SD_K
        if ahead:
            lead_s = self.conditions.epoch_s - self.job.access.begins.timestamp()
            share = air_share(self.room.climate, lag_s=self.job.building.lag_s)
            air_sd_k = np.hypot(SLAB_SD_K, share * forecast_sd_k(np.maximum(0.0, lead_s)))
        half_sd_k = float(np.hypot(SLAB_SD_K, self.conditions.half_k(self.job)))
        return LayerLimits(
            self.job,
            layer,
            self.conditions,
            slab_guard_k=sure_k(half_sd_k, confidence=confidence),
            air_guard_k=sure_k(1.0, confidence=confidence) * air_sd_k,
        )

    def material(self, layer: Layer) -> tuple[SlurryClocks | TopcoatClocks, FloorAge]:
        """Clocks of a layer's material, and its age on this slab."""
        if layer.kind == "slurry":
            return self.clocks, self.slurry_curve
        if layer.kind == "primer" and self.primer is not None:
            return self.primer
        return self.topcoat, self.topcoat_curve

    def long_factors(
        self, layer: Layer, at_s: float, *, confidence: float | None = None
    ) -> tuple[float, float]:
        """Age factors (wait, close) of a layer over the hours until the next one."""
        doubt = self._doubt(at_s, self.material(layer)[0], SLAB_SD_K)
        return time_factors(doubt, confidence=confidence or self.job.policy.confidence)

    def long_factors_at(self, layer: Layer, at_s: Array, *, confidence: float) -> Array:
        """The same from many instants, shape (S, 2)."""
        clocks = self.material(layer)[0]
        return age_factors(
            self.conditions.slab_at(at_s),
            fit=clocks.fit,
            spread_frac=clocks.spread_frac,
            temp_sd_k=SLAB_SD_K,
            confidence=confidence,
        )

    def run(
        self,
        option: PourOption,
        start_s: ArrayLike,
        *,
        crew: Crew | None = None,
        times: PourTimes | None = None,
        speed: ArrayLike = 1.0,
        slab_shift_k: ArrayLike = 0.0,
        air_shift_k: ArrayLike = 0.0,
        liquids_shift_k: ArrayLike = 0.0,
        energy_shift_j_mol: float = 0.0,
    ) -> BucketClocks:
        """Every bucket's clocks for starts at `start_s` [epoch s], shape (S,), in the
        option's own times or in others."""
        kit = self.clocks.kit
        energy_j_mol = kit.activation_energy_j_mol + energy_shift_j_mol
        clocks = replace(self.clocks, kit=replace(kit, activation_energy_j_mol=energy_j_mol))
        its = times or self.plan(option, crew).times
        asked: dict[str, Any] = {
            "clocks": clocks,
            "conditions": self.conditions,
            "temperatures": self._given(option),
            "haul_s": self.job.pace.haul_s,
            "speed": speed,
            "slab_shift_k": slab_shift_k,
            "air_shift_k": air_shift_k,
            "liquids_shift_k": liquids_shift_k,
        }
        run = partial(bucket_clocks, start_s, its, **asked)
        return run() if np.ndim(start_s) else kept(run, "clocks", start_s, its, asked)

    def require_hours(self) -> None:
        """Refuse a card whose batch runs away hot even in the coolest hour, as cool as the
        job may have it: at hotter ones it is lost, and the floor is poured at others."""
        cool, remedies = self.conditions, self.job.policy.remedies
        option = replace(
            AS_IS, chilled="chill" in remedies, cool_filler="cool filler" in remedies
        )
        given, air_c = self._given(option), float(np.min(cool.air_c))
        liquids_c = air_c if given.liquids_c is None else given.liquids_c
        filler_c = air_c if given.filler_c is None else given.filler_c
        try:
            steady_run(
                self.clocks,
                liquids_c=liquids_c,
                filler_c=filler_c,
                air_c=air_c,
                slab_c=float(np.min(cool.slab_c)),
                haul_s=self.job.pace.haul_s,
            )
        except OutOfRangeError as error:
            hot_c = max(liquids_c, filler_c)
            raise clocks_fault(self.job.cards.slurry, error, at_c=hot_c) from None

    def _given(self, option: PourOption) -> KitTemperatures:
        return kit_temperatures(
            self.job.materials, chilled=option.chilled, cool_filler=option.cool_filler
        )

    def rows(
        self, option: PourOption, start_s: ArrayLike, of: Columns, speed: ArrayLike = 1.0
    ) -> tuple[NDArray[Any], ...]:
        """Columns made of the clocks of starts, shape (S, ...), run where none are kept."""

        def made(at: Array) -> tuple[tuple[NDArray[Any], ...], bool]:
            run = self.run(option, at[:, 0], speed=at[:, 1])
            return of(run), not run.finer

        at = np.stack(np.broadcast_arrays(start_s, speed), axis=1)
        return kept_rows(made, at, of.__name__, self.mark(option))

    def mark(self, option: PourOption) -> Mark:
        """Tells pours whose buckets have the same clocks whenever they are begun."""
        if option not in self._marks:
            of = self.conditions, self.clocks, self._given(option), self.job.pace.haul_s
            self._marks[option] = mark_of(*of, self.plan(option).times)
        return self._marks[option]

    def wet_doubt(self, at_s: float) -> Doubt:
        """How unsure the clocks of the wet slurry are."""
        if at_s not in self._wet:
            self._wet[at_s] = self._doubt(at_s, self.clocks, slab_sd_k(at_s, self.conditions))
        return self._wet[at_s]

    def wet_factors(
        self, at_s: float, *, confidence: float | None = None, times_sd: float = 0.0
    ) -> tuple[float, float]:
        """Age factors (wait, close) of the wet slurry, at the job's confidence or another,
        where all its times may be off together by so much."""
        confidence = confidence or self.job.policy.confidence
        doubt = self.wet_doubt(at_s)
        doubt = replace(doubt, card=float(np.hypot(doubt.card, times_sd)))
        return time_factors(doubt, confidence=confidence)

    def _doubt(self, at_s: float, clocks: SlurryClocks | TopcoatClocks, sd_k: float) -> Doubt:
        return doubt_at(
            float(self.conditions.slab_at(at_s)),
            fit=clocks.fit,
            spread_frac=clocks.spread_frac,
            temp_sd_k=sd_k,
        )

    def sure_margin_s(
        self,
        option: PourOption,
        start_s: float,
        *,
        crew: Crew | None = None,
        times: PourTimes | None = None,
        confidence: float | None = None,
    ) -> float:
        """Least margin that holds in the job's share of nights, or in another [s]."""
        wait, _ = self.wet_factors(start_s, confidence=confidence)
        return float(self.run(option, start_s, crew=crew, times=times, speed=wait).least_s[0])
