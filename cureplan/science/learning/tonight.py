"""What a few logged buckets say about tonight's batch and slab.

Unknown are the batch's speed against its card, how far each room's slab lies off the
computed one, and, once a batch temperature was read, how far the kits lie off theirs.
All start from what was believed before (normal, see `doubt`), and every reading pulls
on them through the bucket model, taken as straight around the best values
(Gauss-Newton), so that what remains unsure is a covariance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import OutOfRangeError
from cureplan.science.clocks import SlurryClocks
from cureplan.science.kit import run_bucket
from cureplan.science.slab_reading import READING_SD_K

__all__ = [
    "NightFit",
    "NightPrior",
    "SeenEnd",
    "SeenMix",
    "SeenSlab",
    "WatchedBucket",
    "end_sd_s",
    "fit_night",
]

END_SD_S = 20.0
"""Reading a watch at the end of a clock, 1 SD [s]: invented."""
END_SD_FRAC = 0.05
"""Seeing that end, and one kit against another of its batch, 1 SD: invented."""
MIX_SD_K = 1.0
"""A thermometer in a fresh batch, 1 SD [K]: invented."""
KIT_SD_K = 1.5
"""Kits against the temperature planned for them, 1 SD [K]: invented."""
SHARED_SLAB = 0.5
"""Share of the slab error's variance that all rooms have in common: invented."""

ROUNDS = 25
SETTLED = 1e-7
_STEP = 1e-3

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


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenMix:
    """A batch temperature right after mixing."""

    bucket: int
    temp_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NightPrior:
    """What was believed before: SD of ln(speed), and of each room's slab [K]."""

    ln_speed_sd: float
    slab_sd_k: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NightFit:
    """Best values and their covariance: ln(speed), slab offset of each room, kits."""

    mean: Array
    """Shape (rooms + 2,): ln(speed) [-], slab offsets [K], kit offset [K]."""
    covariance: Array
    prior: NightPrior
    readings: int

    @property
    def speed(self) -> float:
        """Of the batch against its card [-]; 1.2 is a fifth faster."""
        return float(np.exp(self.mean[0]))

    @property
    def ln_speed_sd(self) -> float:
        """What remains unsure of ln(speed)."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def slab_k(self) -> Array:
        """How much warmer each room's slab is than computed [K], shape (rooms,)."""
        return self.mean[1:-1]

    @property
    def slab_sd_k(self) -> Array:
        """What remains unsure of that [K], shape (rooms,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)[1:-1]))

    @property
    def kit_k(self) -> float:
        """How much warmer the kits are than planned [K]; 0 where no batch was read."""
        return float(self.mean[-1])

    def interval(self, order: int, *, confidence: float) -> tuple[float, float]:
        """Limits between which an unknown lies with a confidence."""
        if not 0.0 < confidence < 1.0:
            raise OutOfRangeError(f"confidence must be above 0, below 1, got {confidence:g}")
        reach = NormalDist().inv_cdf(0.5 + confidence / 2.0)
        half = reach * float(np.sqrt(self.covariance[order, order]))
        return float(self.mean[order]) - half, float(self.mean[order]) + half

    def predict(
        self,
        bucket: WatchedBucket,
        milestone: str,
        *,
        clocks: SlurryClocks,
        haul_s: float,
    ) -> tuple[float, float]:
        """When a clock of a bucket will end, and how unsure that is."""
        model = _Model(clocks, haul_s, (bucket,))
        value, slope = model.linear(self.mean, [(0, milestone)])
        return float(value[0]), float(np.sqrt(slope[0] @ self.covariance @ slope[0]))


def end_sd_s(after_s: float) -> float:
    """How unsure the seen end of a clock is [s], `after_s` after filler-in.

    >>> end_sd_s(300.0)
    25.0
    """
    return float(np.hypot(END_SD_S, END_SD_FRAC * after_s))


def fit_night(
    *,
    clocks: SlurryClocks,
    haul_s: float,
    prior: NightPrior,
    buckets: Sequence[WatchedBucket],
    ends: Sequence[SeenEnd],
    slabs: Sequence[SeenSlab],
    mixes: Sequence[SeenMix],
) -> NightFit:
    """Correct batch speed, slabs and kits by what was seen.

    Not for more than one batch number: they differ, and each wants a fit of its own.

    Source: Gelman et al., Bayesian Data Analysis, 3rd ed., section 4.1 (normal approximation at
    the mode); from memory.
    """
    if not (prior.ln_speed_sd > 0 and all(sd > 0 for sd in prior.slab_sd_k)):
        raise OutOfRangeError("every prior SD must be above 0")
    if not all(0 < end.after_s < np.inf for end in ends):
        raise OutOfRangeError("after_s of every end must be above 0 s and finite")
    from_draws = _from_draws(prior, kits_read=bool(mixes))
    asked = [(end.bucket, end.milestone) for end in ends] + [(m.bucket, "mix") for m in mixes]
    seen = np.array(
        [end.after_s for end in ends]
        + [mix.temp_c for mix in mixes]
        + [slab.excess_k for slab in slabs]
    )
    other_sd = [MIX_SD_K] * len(mixes) + [READING_SD_K] * len(slabs)
    model = _Model(clocks, haul_s, tuple(buckets))
    direct = np.zeros((len(slabs), from_draws.shape[0]))
    for row, slab in enumerate(slabs):
        direct[row, 1 + slab.room] = 1.0
    draws = np.zeros(from_draws.shape[1])
    information = np.eye(draws.size)
    for _ in range(ROUNDS):
        mean = from_draws @ draws
        value, slope = model.linear(mean, asked)
        # By the predicted times: by the seen ones, those seen early would weigh more.
        sd = np.array([end_sd_s(after_s) for after_s in value[: len(ends)]] + other_sd)
        miss = (seen - np.concatenate([value, direct @ mean])) / sd
        pull = np.vstack([slope, direct]) @ from_draws / sd[:, None]
        information = np.eye(draws.size) + pull.T @ pull
        step = np.linalg.solve(information, pull.T @ miss - draws)
        # A wild reading must not throw a step out of the model's range.
        step *= min(1.0, 3.0 / max(float(np.abs(step).max()), 1e-12))
        draws = draws + step
        if float(np.abs(step).max()) < SETTLED:
            break
    return NightFit(
        mean=from_draws @ draws,
        covariance=from_draws @ np.linalg.inv(information) @ from_draws.T,
        prior=prior,
        readings=len(seen),
    )


def _from_draws(prior: NightPrior, *, kits_read: bool) -> Array:
    """Unknowns from independent standard normal ones: speed, shared slab, rooms, kits."""
    rooms = len(prior.slab_sd_k)
    matrix = np.zeros((rooms + 2, rooms + 3))
    matrix[0, 0] = prior.ln_speed_sd
    sd_k = np.array(prior.slab_sd_k)
    matrix[1:-1, 1] = np.sqrt(SHARED_SLAB) * sd_k
    matrix[1:-1, 2:-1] = np.diag(np.sqrt(1.0 - SHARED_SLAB) * sd_k)
    matrix[-1, -1] = KIT_SD_K if kits_read else 0.0
    return matrix


@dataclass(frozen=True, slots=True)
class _Model:
    """The bucket model around some values of the unknowns."""

    clocks: SlurryClocks
    haul_s: float
    buckets: tuple[WatchedBucket, ...]

    def linear(self, mean: Array, asked: Sequence[tuple[int, str]]) -> tuple[Array, Array]:
        """Predicted values, shape (asked,), and their slopes, shape (asked, unknowns)."""
        if not asked:
            return np.zeros(0), np.zeros((0, mean.size))
        used = sorted({bucket for bucket, _ in asked})
        # Each bucket feels the speed, its own slab and the kits: central differences.
        shifts = np.zeros((7, 3))
        for unknown in range(3):
            shifts[1 + 2 * unknown, unknown], shifts[2 + 2 * unknown, unknown] = _STEP, -_STEP
        runs = self._run(mean, used, shifts, sorted({name for _, name in asked}))
        value = np.zeros(len(asked))
        slope = np.zeros((len(asked), mean.size))
        for row, (bucket, name) in enumerate(asked):
            found = runs[name][:, used.index(bucket)]
            value[row] = found[0]
            change = (found[1::2] - found[2::2]) / (2.0 * _STEP)
            slope[row, [0, 1 + self.buckets[bucket].room, -1]] = change
        return value, slope

    def _run(
        self, mean: Array, used: Sequence[int], shifts: Array, names: Sequence[str]
    ) -> dict[str, Array]:
        """Every asked quantity of the used buckets, shape (shifts, used) each."""
        buckets = [self.buckets[i] for i in used]

        def column(values: Sequence[float], of: int | None, base: float | Array) -> Array:
            moved = 0.0 if of is None else shifts[:, of : of + 1]
            return np.asarray(np.array(values)[None, :] + base + moved)

        nothing = np.zeros((len(shifts), len(used)))
        liquids_c = column([b.liquids_c for b in buckets], 2, float(mean[-1]))
        filler_c = column([b.filler_c for b in buckets], 2, float(mean[-1]))
        slab_c = column([b.slab_c for b in buckets], 1, mean[[1 + b.room for b in buckets]])
        speed = np.exp(nothing + float(mean[0]) + shifts[:, :1])
        speed = speed * np.array([b.rate_factor for b in buckets])
        path = run_bucket(
            liquids_c.ravel(),
            filler_c.ravel(),
            (nothing + np.array([b.air_c for b in buckets])).ravel(),
            slab_c.ravel(),
            self.haul_s,
            kit=self.clocks.kit,
            speed=speed.ravel(),
            film_m=self.clocks.film_m,
            slab_effusivity=self.clocks.slab_effusivity,
        )
        mixed_share = self.clocks.kit.filler_mix_s / (
            self.clocks.kit.filler_mix_s + self.haul_s
        )
        # Mixing ends between the two temperatures that are kept; nearly straight.
        mix_c = path.mixed_c + mixed_share * (path.pour_c - path.mixed_c)
        found = {
            name: mix_c if name == "mix" else path.when_s(self.clocks.age_s[name])
            for name in names
        }
        return {name: values.reshape(nothing.shape) for name, values in found.items()}
