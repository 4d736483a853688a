"""Nights drawn around the forecast."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from cureplan.core.kept import Mark, kept, mark_of
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.conditions import HOUR_S, TAU_S, RoomConditions
from cureplan.planning.floor.doubt import (
    FORECAST_E_FOLD_S,
    RoomAnswer,
    fading,
    forecast_sd_k,
    lingering,
    room_answer,
)
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.odds.scatter import Laid, Scatter, Tails, coated_kits, poured_kits
from cureplan.planning.schedule.outcome import Schedule

__all__ = [
    "INDOOR_SD_K",
    "LATE_SD_S",
    "RHYTHM_SD_FRAC",
    "SLAB_OWN_SD_K",
    "TERMS",
    "Draws",
    "Nights",
    "Visit",
    "around_of",
    "draw_nights",
    "hour_of",
    "known_until",
]

TERMS: Final = (
    "slurry times", "coat times", "batch", "kit", "energy", "ice", "stops",
    "weather", "slab", "half a room", "crew",
)  # fmt: skip
"""What the doubt of a plan is made of: each can be taken away by itself."""

SLAB_OWN_SD_K: Final = 0.8
"""A marched slab against the true one, apart from the weather, 1 SD [K]: invented; with
what a day-ahead forecast adds in a drifting room it makes the 1 K a plan reckons with."""
SLAB_SHARED: Final = 0.5
"""Share of that error's variance that all rooms have in common: invented."""
INDOOR_SD_K: Final = 0.8
"""Room air against what was reckoned, apart from the weather, 1 SD [K]: invented."""
LATE_SD_S: Final = 600.0
"""A crew begins late by the size of a normal draw with this SD [s]: invented."""
RHYTHM_SD_FRAC: Final = 0.05
"""A crew's rhythm drags by the size of a normal draw with this SD: invented."""
PROBE_SD_K: Final = 0.5
"""A pail that was probed against the others, 1 SD [K]: invented, as for a night's probe."""

DECIDED_S: Final = 12 * 3600.0
"""How long before access a job of the past counts as decided: the morning before."""

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
_Key = TypeVar("_Key", str, tuple[str, int])


def known_until(job: Job, *, now_s: float) -> float:
    """Until when a plan's temperatures count as known, and from when as forecast [epoch s].

    A job that lies in the past, or has begun, counts as decided half a day before.
    """
    begins_s = job.access.begins.timestamp()
    return now_s if now_s < begins_s else begins_s - DECIDED_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One stay of a crew on site: how late it begins and how it drags, night by night."""

    begins_s: float
    """From when it drags: what was done before this is known [epoch s]."""
    late_s: Array
    slow_frac: Array

    def at_s(self, planned_s: Array) -> Array:
        """When planned instants [epoch s], shape (N,), really come, shape (nights, N)."""
        return np.asarray(planned_s + self.late_s[:, None] + self.dragged_s(planned_s))

    def dragged_s(self, planned_s: Array) -> Array:
        """By how much a slow crew has fallen behind, shape (nights, N)."""
        return self.slow_frac[:, None] * np.maximum(planned_s - self.begins_s, 0.0)

    def of(self, nights: Flags) -> Visit:
        """The visit in some of the nights."""
        return replace(self, late_s=self.late_s[nights], slow_frac=self.slow_frac[nights])


@dataclass(frozen=True, slots=True, kw_only=True)
class Nights:
    """Everything drawn; arrays begin with the night."""

    members: int
    energy: Mapping[str, Array]
    """By kind of layer: how its energy fell out, in standard deviations."""
    kit_ln: Mapping[tuple[str, str], Array]
    """By room and stage: by how much each patch's kit ages faster than its card, as ln,
    whatever its temperature; shape (nights, patches)."""
    iced_k: Array
    """How much warmer than planned iced liquids reach the mixer, shape (nights,)."""
    stop_s: Mapping[str, Array]
    """By room: for how long the mixing stops before each bucket, shape (nights, buckets)."""
    slab_marks: Mapping[str, Mark]
    """By room: tells nights in which its slab errs alike."""
    first_s: float
    """Hour of the first column of the errors below [epoch s]."""
    air_k: Mapping[str, Array]
    slab_k: Mapping[str, Array]
    half_k: Mapping[str, Array]
    """By room: how much warmer than the rest each half of its slab is, that poured first
    and that poured last, shape (nights, 2)."""
    known_s: float
    """What was begun before this is as it is [epoch s]."""
    pour_visit: Mapping[str, Visit]
    coat_visit: Mapping[tuple[str, int], Visit]
    primer_visit: Mapping[str, Visit]

    def patches_k(self, room: str, patches: int) -> Array:
        """How much warmer each patch lies than its room's slab, shape (nights, patches)."""
        half = (np.arange(patches) >= patches / 2).astype(np.int64)
        return self.half_k[room][:, half]

    @property
    def last_s(self) -> float:
        """Hour of the last column [epoch s]."""
        hours = next(iter(self.slab_k.values())).shape[1]
        return float(self.first_s + (hours - 1) * HOUR_S)

    def error_k(self, errors_k: Array, at_s: Array) -> Array:
        """Errors of shape (nights, hours) at instants of shape (nights, N)."""
        hour, part = hour_of(at_s, self.first_s, errors_k)
        before, after = around_of(errors_k, hour)
        return np.asarray((1.0 - part) * before + part * after)

    def error_range_k(self, errors_k: Array, at_s: Array) -> tuple[float, float]:
        """Least and most of any night in the hours that instants lie in."""
        ends_s = np.array([at_s.min(), at_s.max()])
        (first, last), _ = hour_of(ends_s, self.first_s, errors_k)
        there_k = errors_k[:, first : last + 2]
        return float(there_k.min()), float(there_k.max())


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sky:
    """What is drawn of weather and slabs: nothing of it depends on what is planned."""

    columns: Array
    first_s: float
    air_k: Mapping[str, Array]
    slab_k: Mapping[str, Array]
    after: Mapping[str, Any]
    """Where the stream of draws went on."""
    marks: Mapping[str, Mark]
    """By room: tells slabs that err alike."""

    def random(self) -> np.random.Generator:
        """The stream of draws, as the sky left it."""
        found = np.random.default_rng()
        found.bit_generator.state = self.after
        return found


@dataclass(slots=True)
class Draws:
    """What nights of one job have in common, for several looks at its schedules."""

    _answers: dict[object, RoomAnswer] = field(init=False, default_factory=dict)
    _sky: dict[tuple[int, float], _Sky] = field(init=False, default_factory=dict)

    def sky(
        self,
        job: Job,
        conditions: Mapping[str, RoomConditions],
        *,
        members: int,
        issued_s: float,
        silent: Collection[str],
    ) -> _Sky:
        """Weather and slabs; drawn anew where they are not as unsure as can be."""
        key, unsure = (members, issued_s), {"weather", "slab"} - set(silent)
        if key in self._sky and "weather" in unsure:
            sky = self._sky[key]
            if "slab" in unsure:
                return sky
            none_k = {room: 0.0 * slab_k for room, slab_k in sky.slab_k.items()}
            marks = {room: mark_of(mark, "known") for room, mark in sky.marks.items()}
            return replace(sky, slab_k=none_k, marks=marks)
        like = [(r.name, r.climate, r.slab_thickness_m, r.insulation_m) for r in job.rooms]
        hours_s = _hours(job, conditions, issued_s)
        of = job.seed, job.building, like, conditions, hours_s
        sky = kept(
            lambda: self._drawn(job, conditions, *key, hours_s, silent),
            "sky", *key, sorted(unsure), *of,
        )  # fmt: skip
        if len(unsure) == 2:
            # One at a time: for many rooms they are large.
            self._sky = {key: sky}
        return sky

    def _drawn(
        self,
        job: Job,
        conditions: Mapping[str, RoomConditions],
        members: int,
        issued_s: float,
        hours_s: Array,
        silent: Collection[str],
    ) -> _Sky:
        random = np.random.default_rng(job.seed)
        # The order of these draws is part of the answer: append, never insert.
        columns = random.standard_normal((4, members))
        shape = (members, hours_s.size)

        def lingers(e_fold_s: float) -> Array:
            normal = random.standard_normal(shape)
            return lingering(normal, step_s=HOUR_S, e_fold_s=e_fold_s)

        lead_s = np.maximum(hours_s - issued_s, 0.0)
        spread_k = np.where(hours_s > issued_s, forecast_sd_k(lead_s), 0.0)
        weather, slabs = _heard(silent, "weather"), _heard(silent, "slab")
        outdoor_k = weather * spread_k * lingers(FORECAST_E_FOLD_S)
        indoor_k = weather * INDOOR_SD_K * lingers(TAU_S)
        shared = random.standard_normal(shape)
        drawn = mark_of("drawn", members, issued_s, weather, job.seed, job.building, hours_s)
        answered = self._answered(job, outdoor_k, indoor_k, drawn)
        slab_k, marks = {}, {}
        for number, room in enumerate(job.rooms):
            own = np.sqrt(1.0 - SLAB_SHARED) * random.standard_normal(shape)
            misread = random.standard_normal(members)
            here, (_, slab_mark, answer_k) = conditions[room.name], answered[room.name]
            off = partial(_slab_off_k, slabs, answer_k, shared, own, misread, hours_s, here)
            marks[room.name] = mark_of(slab_mark, number, here, slabs)
            slab_k[room.name] = kept(off, marks[room.name])
        return _Sky(
            columns=columns,
            first_s=float(hours_s[0]),
            air_k={name: air_k for name, (air_k, _, _) in answered.items()},
            slab_k=slab_k,
            after=random.bit_generator.state,
            marks=marks,
        )

    def _answered(
        self, job: Job, outdoor_k: Array, indoor_k: Array, drawn: Mark
    ) -> dict[str, tuple[Array, Mark, Array]]:
        """Errors of each room's air and slab for errors outdoors; like rooms share one."""
        hours = outdoor_k.shape[1]
        found: dict[object, tuple[Array, Mark, Array]] = {}
        rooms = {}
        for room in job.rooms:
            like = (room.climate, room.slab_thickness_m, room.insulation_m, hours)
            if like not in self._answers:
                self._answers[like] = room_answer(room, job.building, hours=hours)
            answer = self._answers[like]
            if like not in found:
                mark = mark_of(drawn, like)
                off = partial(_answer_k, answer, outdoor_k, indoor_k)
                air_k, slab_k = kept(off, mark)
                found[like] = air_k, mark, slab_k
            rooms[room.name] = found[like]
        return rooms


def _heard(silent: Collection[str], term: str) -> float:
    return float(term not in silent)


def draw_nights(
    job: Job,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    *,
    members: int,
    issued_s: float,
    silent: Collection[str] = (),
    heavy_tails: bool = False,
    draws: Draws | None = None,
) -> Nights:
    """Draw as many nights as asked, the same for the same seed.

    What stands in `silent`, of `TERMS`, is known exactly; all else falls out as with it.
    With heavy tails materials, ice, halves of rooms, stops and lateness keep their spread,
    but fall out far off more often; weather and slabs stay as they are verified.
    """

    def heard(term: str) -> float:
        return _heard(silent, term)

    conditions = {room.name: pours[room.name].conditions for room in job.rooms}
    sky = (draws or Draws()).sky(
        job, conditions, members=members, issued_s=issued_s, silent=silent
    )
    random, columns = sky.random(), sky.columns
    pouring = [(poured.begins_s, poured.end_s, poured.room) for poured in schedule.pours]
    coating = [(c.begins_s, c.end_s, (c.room, c.coat)) for c in schedule.coats]
    crews = heard("crew")
    odd = Tails(random=random, heavy=heavy_tails)

    def visits(tasks: Sequence[tuple[float, float, _Key]]) -> dict[_Key, Visit]:
        again_s = job.crew.again_s
        return _visits(tasks, odd, members, size=crews, known_s=issued_s, again_s=again_s)

    pour_visit, coat_visit = visits(pouring), visits(coating)
    primed = [(p.begins_s, p.end_s, p.room) for p in schedule.primers]
    primer_columns = random.standard_normal((2, members if primed else 0))
    primer_visit = visits(primed)
    # A stream of its own, so that the draws above fall out as they did before it.
    others = Tails(random=np.random.default_rng([job.seed, 1]), heavy=heavy_tails)
    scatter = Scatter(
        random=others,
        members=members,
        pallet=job.doubt.pallet,
        pallet_share=job.doubt.pallet_share,
        batch=heard("batch"),
        kit_sd=heard("kit") * job.doubt.kit,
    )
    slurry_sd = heard("slurry times") * job.times_sd("slurry")
    coat_sd = heard("coat times") * job.times_sd("topcoat")
    primer_sd = heard("coat times") * job.times_sd("primer") if primed else 0.0
    placed_by_kind: tuple[tuple[float, list[Laid]], ...] = (
        (
            slurry_sd,
            [poured_kits(pours[p.room], p, pour_visit[p.room]) for p in schedule.pours],
        ),
        (
            coat_sd,
            [coated_kits(pours[c.room], c, coat_visit[c.room, c.coat]) for c in schedule.coats],
        ),
        (
            primer_sd,
            [coated_kits(pours[p.room], p, primer_visit[p.room]) for p in schedule.primers],
        ),
    )
    kit_ln: dict[tuple[str, str], Array] = {}
    for sd, laid in placed_by_kind:
        kit_ln |= scatter.draw(laid, times_sd=sd)
    iced = np.abs(others.normal(members))
    energies = heard("energy")
    stops = heard("stops")
    stop_s = _stops(job, pours, schedule, others, members, size=stops, known_s=issued_s)
    halves = heard("half a room")
    return Nights(
        members=members,
        energy={
            "slurry": energies * columns[1],
            "topcoat": energies * columns[3],
            "primer": energies * primer_columns[1],
        },
        kit_ln=kit_ln,
        iced_k=heard("ice") * iced * _iced_sd_k(job),
        stop_s=stop_s,
        half_k={
            room.name: halves * pours[room.name].conditions.half_k(job) * _half(others, members)
            for room in job.rooms
        },
        known_s=issued_s,
        slab_marks=sky.marks,
        first_s=sky.first_s,
        air_k=sky.air_k,
        slab_k=sky.slab_k,
        pour_visit=pour_visit,
        coat_visit=coat_visit,
        primer_visit=primer_visit,
    )


def _iced_sd_k(job: Job) -> float:
    """How far iced liquids may be off: what a probe is, where one was held in a pail."""
    if job.materials.liquids_measured_c is not None:
        return min(PROBE_SD_K, job.doubt.iced_k)
    return job.doubt.iced_k


def _stops(
    job: Job,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    random: Tails,
    members: int,
    *,
    size: float,
    known_s: float,
) -> dict[str, Array]:
    """How long the mixing stops before each bucket that is still to come."""
    found = {}
    for poured in sorted(schedule.pours, key=lambda poured: poured.start_s):
        pour_s = poured.start_s + pours[poured.room].plan(poured.option).times.pour_s
        shape = (members, pour_s.size)
        stops = random.random.random(shape) < 1.0 / job.doubt.stop_every
        lasts_s = job.doubt.stop_lasts_s * random.lasting(*shape)
        found[poured.room] = size * stops * lasts_s * (pour_s > known_s)
    return found


def _half(random: Tails, members: int) -> Array:
    """One half of a room, drawn which, off the other by a normal draw; shape (nights, 2)."""
    off = random.normal(members)
    last = random.random.random(members) < 0.5
    return np.stack([np.where(last, 0.0, off), np.where(last, off, 0.0)], axis=1)


def _hours(job: Job, conditions: Mapping[str, RoomConditions], issued_s: float) -> Array:
    """Whole hours from the forecast, the access or the first reading to the last hour."""
    some = next(iter(conditions.values()))
    readings_s = [one.read[0] for one in conditions.values() if one.read is not None]
    first_s = min([issued_s, job.access.begins.timestamp(), *readings_s])
    last_s = min(some.last_s, job.access.open_by.timestamp() + HOUR_S)
    return np.asarray(
        np.arange(np.floor(first_s / HOUR_S), np.ceil(last_s / HOUR_S) + 1.0) * HOUR_S
    )


def _answer_k(answer: RoomAnswer, outdoor_k: Array, indoor_k: Array) -> tuple[Array, Array]:
    """What a room's air and slab err by for errors outdoors."""
    return answer.after(outdoor_k, answer.air) + indoor_k, answer.after(outdoor_k, answer.slab)


def _slab_off_k(
    size: float,
    answer_k: Array,
    shared: Array,
    own: Array,
    misread: Array,
    hours_s: Array,
    here: RoomConditions,
) -> Array:
    """What a slab errs by: as the weather does, and by itself, once it was read."""
    # What it errs by itself fades as a reading of it does: by all its modes.
    lasts = here.reading_left(hours_s - hours_s[0])
    own_k = SLAB_OWN_SD_K * fading(np.sqrt(SLAB_SHARED) * shared + own, lasts)
    return size * _as_read(answer_k + own_k, hours_s, here, misread)


def _as_read(
    error_k: Array, hours_s: Array, conditions: RoomConditions, misread: Array
) -> Array:
    """What error is left once a reading has bent the plan's curve to itself."""
    if conditions.read is None:
        return error_k
    read_s, sd_k = conditions.read
    at = np.clip((read_s - hours_s[0]) / HOUR_S, 0.0, hours_s.size - 1.001)
    hour, part = int(at), at - int(at)
    seen_k = (1.0 - part) * error_k[:, hour] + part * error_k[:, hour + 1] + sd_k * misread
    kept = conditions.reading_share(hours_s, reading_s=read_s, until_s=read_s)
    return np.asarray(error_k - seen_k[:, None] * kept)


def _visits(
    tasks: Sequence[tuple[float, float, _Key]],
    random: Tails,
    members: int,
    *,
    size: float,
    known_s: float,
    again_s: float,
) -> dict[_Key, Visit]:
    """A crew that is here is not late any more; it may still drag."""
    found: dict[_Key, Visit] = {}
    visit: Visit | None = None
    free_s = -np.inf
    for begins_s, ends_s, key in sorted(tasks, key=lambda task: task[0]):
        if visit is None or begins_s > free_s + again_s:
            late, slow = size * np.abs(random.normal(2, members))
            visit = Visit(
                begins_s=max(begins_s, known_s),
                late_s=LATE_SD_S * late * (begins_s > known_s),
                slow_frac=RHYTHM_SD_FRAC * slow,
            )
        found[key] = visit
        free_s = max(free_s, ends_s)
    return found


def hour_of(at_s: Array, first_s: float, table: Array) -> tuple[NDArray[np.int64], Array]:
    """Which column of a table of hours an instant follows, and how far it is from it."""
    where = np.clip((at_s - first_s) / HOUR_S, 0.0, table.shape[1] - 1.001)
    hour = where.astype(np.int64)
    return hour, where - hour


def around_of(table: Array, hour: NDArray[np.int64]) -> tuple[Array, Array]:
    """What stands in a row's columns before and after instants of shape (nights, N)."""
    place = hour + table.shape[1] * np.arange(table.shape[0])[:, None]
    return table.take(place), table.take(place + 1)
