"""What a few logged buckets say about tonight's batch, kits and slabs.

The same rows, scatter and search as a card's fit (`setup`, `least_squares`), with the card
held as it is and other unknowns free: how fast tonight's kits run against the card and how
that drifts, how far they lie off their planned temperature, and how far each slab lies off
the computed one, from its first patch to its last.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.clocks import SlurryClocks
from cureplan.science.learning.least_squares import (
    PRIOR_FREEDOM,
    SharedScatter,
    Solution,
    interval,
    normal_sd,
    with_scale,
)
from cureplan.science.learning.procedure_readings import (
    POURED,
    PROBE,
    SLAB,
    Layout,
    ReadingsModel,
    Row,
    row_table,
)
from cureplan.science.learning.setup import (
    EYE_SD,
    THERMOMETER_SD_K,
    Believed,
    pose,
    watched_sd,
)
from cureplan.science.slab_reading import READING_SD_K

__all__ = [
    "NightFit",
    "NightPrior",
    "SeenEnd",
    "SeenMix",
    "SeenSlab",
    "WatchedBucket",
    "fit_night",
]

KIT_SD_K = 1.5
"""Kits against the temperature planned for them, 1 SD [K]: invented."""
DRIFT_SD_PER_H = 0.03
"""How the night's speed changes in an hour, 1 SD of its logarithm: invented."""
FASTEST_DRIFT = 0.5
"""However plain it looks, no more than this is believed of a drift, 1 SD: invented."""
FEWEST_TO_CONTRADICT = 4
"""Buckets, or places read, that can show a drift or a slope nobody expected: invented."""
PLAIN = 2.5
"""Standard deviations at which a drift or a slope that readings alone show is let be as
large as they show it, whatever was believed: invented; a steady night looks so once in 80."""
ANYTHING = 100.0
"""A drift per hour or a slope [K] of which nothing is believed."""
CLEAR = 2.0
"""Standard deviations from nothing at which a drift or a slope is said: invented."""
_NINE_IN_TEN = NormalDist().inv_cdf(0.95)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchedBucket:
    """A bucket as planned, at the times it really had."""

    room: int
    liquids_c: float
    filler_c: float
    air_c: float
    slab_c: float
    """Computed slab under it when it landed, before tonight's correction."""
    rate_factor: float = 1.0
    """How many times faster than the card its air's humidity lets it age."""
    along: float = 0.0
    """In which half of its floor its patch lies, -0.5 or 0.5."""
    poured_h: float = 0.0
    """When it was poured, in hours of any clock all buckets share."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenEnd:
    """A clock of a watched bucket ended so long after its filler went in."""

    bucket: int
    milestone: str
    after_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenSlab:
    """A slab was read so much warmer than computed."""

    room: int
    excess_k: float
    along: float | None = None
    """Where on its floor; None where nobody says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenMix:
    """A batch temperature right after mixing."""

    bucket: int
    temp_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NightPrior:
    """What was believed before, 1 SD: ln(speed) of all kits, and of one against the rest of
    the night, each slab [K]."""

    ln_speed_sd: float
    kit_sd: float
    slab_sd_k: tuple[float, ...]
    slab_shared_k: tuple[float, ...]
    """What of it all slabs have in common."""
    slope_sd_k: float = 1.0
    """One half of a floor against the other: invented."""
    lots: tuple[tuple[float, float], ...] = ()
    """1 SD of ln(speed) of all kits for each scatter lots may have, and ln of its belief."""

    @property
    def doubt_sd(self) -> float:
        """SD of the normal distribution whose nine in ten are as wide as ln(speed)'s."""
        if not self.lots:
            return self.ln_speed_sd
        return normal_sd(*np.array(self.lots).T)


@dataclass(frozen=True, slots=True, kw_only=True)
class NightFit:
    """Best values and how unsure they are."""

    model: ReadingsModel
    found: Solution
    milestones: tuple[str, ...]
    haul_s: float
    readings: int
    prior: NightPrior
    now_h: float
    """The hour its speed is of, by the clock of its buckets."""
    watched_h: float
    """Hours from the first bucket to the last."""
    places: tuple[tuple[float, float], ...]
    """Of each floor, from where to where its readings lie."""
    turns: tuple[float, ...]
    """Of each floor, about where its slope turns."""

    @property
    def speed(self) -> float:
        """Of tonight's kits against their card [-]; 1.2 is a fifth faster."""
        return float(np.exp(self._at("night")))

    @property
    def ln_speed_sd(self) -> float:
        """What remains unsure of ln(speed)."""
        return self._sd(night=1.0)

    def speed_interval(self, *, confidence: float) -> tuple[float, float]:
        """Limits between which the speed lies with a confidence."""
        if not 0.0 < confidence < 1.0:
            raise OutOfRangeError(f"confidence must be above 0, below 1, got {confidence:g}")
        low, high = interval(self.found, self._along(night=1.0), share=confidence)
        middle = self._at("night")
        return float(np.exp(middle + low)), float(np.exp(middle + high))

    @property
    def drift_per_h(self) -> float:
        """Change of ln(speed) in an hour, 0 where none is clear."""
        return self._clear(self._at("drift"), self._sd(drift=1.0))

    @property
    def kit_k(self) -> float:
        """How much warmer the kits are than planned [K]; 0 where no batch was read."""
        return self._at("kits")

    def later(self, hours: float) -> tuple[float, float]:
        """Speed so many hours later, and what is unsure of its logarithm.

        A drift that is not clear widens the doubt and moves nothing; a clear one is taken
        to go on for as long as it was watched.
        """
        ln_speed = self._at("night") + min(hours, self.watched_h) * self.drift_per_h
        return float(np.exp(ln_speed)), self._sd(night=1.0, drift=hours)

    def slab(self, room: int, *, along: float = 0.0) -> tuple[float, float]:
        """How much warmer than computed a slab is at a place [K], and the doubt of it.

        Beyond the places read, a clear slope goes no further.
        """
        slope_k = self._clear(self._at("slope", room), self._sd(slope=1.0, room=room))
        shared_k = self.model.slabs_k[room]
        (low, high), turn = self.places[room], self.turns[room]
        held = min(max(along, low), high) - turn
        warmer_k = shared_k * self._at("slabs") + self._at("slab", room) + held * slope_k
        return warmer_k, self._sd(slabs=shared_k, slab=1.0, slope=along - turn, room=room)

    def slope_k(self, room: int) -> float:
        """How much warmer the half at 0.5 was read than the other [K]; 0 unless clear."""
        low, high = self.places[room]
        slope_k = self._clear(self._at("slope", room), self.slope_sd_k(room))
        return (high - low) * slope_k

    def slope_sd_k(self, room: int) -> float:
        """What is unsure of that [K]."""
        return self._sd(slope=1.0, room=room)

    def plainness(self, room: int) -> float:
        """Standard deviations by which the halves of a floor differ."""
        low, high = self.places[room]
        sd_k = self.slope_sd_k(room)
        return abs(self._at("slope", room)) / sd_k if high > low and sd_k else 0.0

    def as_planned_s(self, bucket: WatchedBucket, milestone: str) -> float:
        """When a clock of a bucket ends as the card leads to, with nothing learned [s]."""
        row = _poured(bucket, self.haul_s, now_h=self.now_h)
        row = replace(row, milestone=self.milestones.index(milestone))
        model = replace(self.model, rows=row_table([row]))
        return float(np.exp(model.expected(self.found.problem.prior_mean)[0]))

    def _at(self, name: str, number: int = 0) -> float:
        return float(self.found.value[self.model.layout.at(name, number)])

    def _along(self, room: int = 0, **weights: float) -> Array:
        along = np.zeros(self.model.layout.size)
        for name, weight in weights.items():
            number = room if name in ("slab", "slope") else 0
            along[self.model.layout.at(name, number)] = weight
        return along

    def _sd(self, room: int = 0, **weights: float) -> float:
        return self._doubt(self._along(room, **weights))

    def _doubt(self, along: Array) -> float:
        """SD of the normal distribution whose nine in ten are as wide as Student's here."""
        free = np.where(self.model.held, 0.0, along)
        low, high = interval(self.found, free, share=0.9)
        return 0.5 * (high - low) / _NINE_IN_TEN

    @staticmethod
    def _clear(value: float, sd: float) -> float:
        return value if abs(value) > CLEAR * sd else 0.0


def fit_night(
    *,
    clocks: SlurryClocks,
    haul_s: float,
    prior: NightPrior,
    buckets: Sequence[WatchedBucket],
    ends: Sequence[SeenEnd],
    slabs: Sequence[SeenSlab],
    mixes: Sequence[SeenMix],
    now_h: float | None = None,
) -> NightFit:
    """Correct tonight's speed, slabs and kits by what was seen.

    Not for kits of more than one lot: they differ, and each wants a fit of its own.
    """
    of_slabs = zip(prior.slab_sd_k, prior.slab_shared_k, strict=True)
    if not (prior.ln_speed_sd > 0 and all(sd > 0 and sd >= part >= 0 for sd, part in of_slabs)):
        raise OutOfRangeError(
            "every prior SD must be above 0, and what slabs share no more than theirs"
        )
    if not all(0 < end.after_s < np.inf for end in ends):
        raise OutOfRangeError("after_s of every end must be above 0 s and finite")
    latest_h = max((bucket.poured_h for bucket in buckets), default=0.0)
    now_h = latest_h if now_h is None else now_h
    milestones = tuple(clocks.age_s)
    # A bucket read once needs no speed of its own: its scatter holds it.
    seen = Counter(end.bucket for end in ends)
    own = [n for n, count in seen.items() if count > 1]
    batches = list(dict.fromkeys([*own, *(mix.bucket for mix in mixes)]))
    templates = [
        replace(
            _poured(bucket, haul_s, now_h=now_h),
            batch=batches.index(number) if number in batches else -1,
        )
        for number, bucket in enumerate(buckets)
    ]
    rows = [
        *(_end(end, templates[end.bucket], milestones, prior.kit_sd) for end in ends),
        *(_mix(mix, templates[mix.bucket]) for mix in mixes),
        *(_slab(slab, prior.slope_sd_k) for slab in slabs),
    ]
    places = tuple(_read_from_to(rows, room) for room in range(len(prior.slab_sd_k)))
    # A slope turns about the middle of what was read: there the slab itself is known.
    middles = _turns(places, np.zeros(len(places), dtype=bool))[0]
    layout = Layout(
        milestones=len(milestones),
        batches=len(batches),
        nights=1,
        rooms=len(prior.slab_sd_k),
    )
    sd_k, shared_k = np.array(prior.slab_sd_k), prior.slab_shared_k
    own_k = np.sqrt(sd_k**2 - np.square(shared_k))

    def solved(
        drift_sd: float, slope_sd_k: Array, turns: tuple[float, ...] = middles
    ) -> tuple[ReadingsModel, Solution]:
        turned = [replace(row, along=row.along - turns[row.room]) for row in rows]
        believed = Believed(layout)
        believed.of_kit(clocks.kit, clocks.age_s)
        believed.says("night", 0.0, prior.ln_speed_sd)
        believed.says("drift", 0.0, drift_sd)
        believed.says("kits", 0.0, KIT_SD_K if mixes else 0.0)
        believed.says("slabs", 0.0, 1.0)
        believed.says("slab", 0.0, own_k)
        believed.says("slope", 0.0, slope_sd_k)
        believed.of_batches(turned, [prior.kit_sd] * len(milestones), {})
        model, problem = pose(
            turned,
            believed,
            kit=clocks.kit,
            reference_c=clocks.kit.reference_c,
            working=milestones.index("working_time"),
            film_m=clocks.film_m,
            slab_effusivity=clocks.slab_effusivity,
            slabs_k=shared_k,
            lots=_lots(layout, prior),
        )
        return model, with_scale(problem, prior_freedom=PRIOR_FREEDOM)

    drift_sd, slope_sd_k = DRIFT_SD_PER_H, np.full(sd_k.size, prior.slope_sd_k)
    model, found = solved(drift_sd, slope_sd_k)
    # One at a time: ends alone hardly tell a drift from a slope, and thermometers do.
    read = sum(slab.along is not None for slab in slabs) >= FEWEST_TO_CONTRADICT
    watched = len(seen) >= FEWEST_TO_CONTRADICT
    sloped = solved(drift_sd, np.full(sd_k.size, ANYTHING))[1] if read or watched else found
    if read:
        slope_sd_k = _plainly(sloped, layout.span("slope"), slope_sd_k)
    if watched:
        drifted = solved(ANYTHING, slope_sd_k)[1]
        plain = [
            max(_plainness(free, layout.span(name)))
            for free, name in ((drifted, "drift"), (sloped, "slope"))
        ]
        if read or plain[0] >= plain[1]:
            drift = _plainly(drifted, layout.span("drift"), drift_sd)
            drift_sd = min(FASTEST_DRIFT, float(drift[0]))
        else:
            slope_sd_k = _plainly(sloped, layout.span("slope"), slope_sd_k)
    turns, freed = middles, slope_sd_k > prior.slope_sd_k
    if drift_sd > DRIFT_SD_PER_H or np.any(freed):
        ways = _turns(places, freed)
        tried = [solved(drift_sd, slope_sd_k, at) for at in ways]
        best = int(np.argmin([_unlikely(one) for _, one in tried]))
        turns, (model, found) = ways[best], tried[best]
    return NightFit(
        model=model,
        found=found,
        milestones=milestones,
        haul_s=haul_s,
        readings=len(rows),
        prior=prior,
        now_h=now_h,
        watched_h=latest_h - min((bucket.poured_h for bucket in buckets), default=latest_h),
        places=places,
        turns=turns,
    )


def _lots(layout: Layout, prior: NightPrior) -> SharedScatter | None:
    if not prior.lots:
        return None
    night = np.zeros(layout.size, dtype=bool)
    night[layout.at("night")] = True
    sd, ln_belief = np.array(prior.lots).T
    return SharedScatter(parameter=night, sd=sd, ln_belief=ln_belief)


def _plainly(free: Solution, which: slice, believed: ArrayLike) -> Array:
    """What is believed of terms, widened to what readings alone say plainly of them."""
    value = np.abs(free.value[which])
    plain = _plainness(free, which) > PLAIN
    return np.where(plain, np.maximum(believed, value), believed)


def _turns(
    places: Sequence[tuple[float, float]], freed: NDArray[np.bool_]
) -> list[tuple[float, ...]]:
    """About where slopes may turn: in the middle of what was read; or, where one shows
    plainly, at either end too, as one half may be as computed and the other alone off."""
    shares = (0.5, 0.0, 1.0) if np.any(freed) else (0.5,)
    return [
        tuple(
            low + (share if free else 0.5) * (high - low)
            for (low, high), free in zip(places, freed, strict=True)
        )
        for share in shares
    ]


def _unlikely(found: Solution) -> float:
    """What rows and beliefs are off by, squared, in their standard deviations."""
    problem = found.problem
    believed = (problem.prior_sd > 0) & np.isfinite(problem.prior_sd)
    of_beliefs = (found.value - problem.prior_mean)[believed] / problem.prior_sd[believed]
    of_rows = found.residual / problem.row_sd
    return float(np.sum(found.weight * of_rows**2) + np.sum(of_beliefs**2))


def _plainness(free: Solution, which: slice) -> Array:
    """Of how many standard deviations terms are."""
    return np.abs(free.value[which]) / np.sqrt(np.diag(free.covariance)[which])


def _read_from_to(rows: Sequence[Row], room: int) -> tuple[float, float]:
    """Where on a floor readings begin and end; its middle where none says."""
    places = [row.along for row in rows if row.room == room]
    return min(places, default=0.0), max(places, default=0.0)


def _poured(bucket: WatchedBucket, haul_s: float, *, now_h: float) -> Row:
    return Row(
        kind=POURED,
        liquids_c=bucket.liquids_c,
        filler_c=bucket.filler_c,
        air_c=bucket.air_c,
        slab_c=bucket.slab_c,
        haul_s=haul_s,
        ln_speed=math.log(bucket.rate_factor),
        room=bucket.room,
        along=bucket.along,
        later_h=bucket.poured_h - now_h,
        tonight=0,
    )


def _end(end: SeenEnd, poured: Row, milestones: Sequence[str], kit_sd: float) -> Row:
    # Of a bucket read more than once, its own speed is an unknown.
    own_sd = 0.0 if poured.batch >= 0 else kit_sd
    return replace(
        poured,
        milestone=milestones.index(end.milestone),
        observed=math.log(end.after_s),
        sd=math.hypot(own_sd, watched_sd(EYE_SD, batch=-1, after_s=end.after_s)),
        reading=end.bucket,
    )


def _mix(mix: SeenMix, poured: Row) -> Row:
    return replace(
        poured, kind=PROBE, observed=mix.temp_c, sd=THERMOMETER_SD_K, haul_s=0.0,
        slab_c=math.nan, reading=mix.bucket,
    )  # fmt: skip


def _slab(slab: SeenSlab, slope_sd_k: float) -> Row:
    # Wherever on the floor it was, should nobody say.
    somewhere_k = slope_sd_k / math.sqrt(12.0) if slab.along is None else 0.0
    return Row(
        kind=SLAB,
        observed=slab.excess_k,
        sd=math.hypot(READING_SD_K, somewhere_k),
        room=slab.room,
        along=slab.along or 0.0,
        tonight=0,
        reading=0,
    )
