"""Learning batch speed and slab from a few buckets: by hand, and on nights of known truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from effort import drawn, examples
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from cureplan.core.errors import OutOfRangeError
from cureplan.inputs.cards.reader import read_card
from cureplan.science.clocks import slurry_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.kit import run_bucket
from cureplan.science.learning.setup import EYE_SD
from cureplan.science.learning.tonight import (
    NightPrior,
    SeenEnd,
    SeenMix,
    SeenSlab,
    WatchedBucket,
    fit_night,
)

HAUL_S = 60.0
ENDS = ("wet_edge", "working_time", "broadcast_closes")
CARD = read_card("fast-slurry")
CLOCKS = slurry_clocks(CARD, film_m=0.0032, slab_effusivity=SLAB_EFFUSIVITY)
# An iced kit on a hot night, and one poured as it is.
ICED = WatchedBucket(room=0, liquids_c=4.0, filler_c=29.0, air_c=32.0, slab_c=30.0)
AS_IS = replace(ICED, liquids_c=29.0)
# One kit and the eye together scatter by a tenth.
KIT_SD = (0.10**2 - EYE_SD**2) ** 0.5
PRIOR = NightPrior(ln_speed_sd=0.15, kit_sd=KIT_SD, slab_sd_k=(1.0,), slab_shared_k=(0.7,))


def fit(buckets=(), ends=(), slabs=(), mixes=(), prior=PRIOR):
    return fit_night(
        clocks=CLOCKS,
        haul_s=HAUL_S,
        prior=prior,
        buckets=buckets,
        ends=ends,
        slabs=slabs,
        mixes=mixes,
    )


def true_ends_s(buckets, *, speed, slab_k):
    """Ends of every clock after filler-in, straight from the bucket model: (bucket, clock)."""
    path = run_bucket(
        [b.liquids_c for b in buckets],
        [b.filler_c for b in buckets],
        [b.air_c for b in buckets],
        [b.slab_c + slab_k for b in buckets],
        HAUL_S,
        kit=CLOCKS.kit,
        speed=speed,
        film_m=CLOCKS.film_m,
        slab_effusivity=CLOCKS.slab_effusivity,
    )
    return np.stack([path.when_s(CLOCKS.age_s[name]) for name in ENDS], axis=1)


def test_slab_readings_update_as_by_hand():
    # By hand: priors N(0, 1) with half their variance in common, one reading of +0.5 K in
    # the floor's middle with SD 0.5 K. Gain 1/(1 + 0.25) = 0.8 here and 0.5/1.25 = 0.4
    # next door; what is left is sqrt(1 - 0.8) and sqrt(1 - 0.5 * 0.4). Six readings' worth
    # of freedom behind the scatter widen that by Student's t, a tenth at most.
    prior = NightPrior(
        ln_speed_sd=0.15, kit_sd=KIT_SD, slab_sd_k=(1.0, 1.0), slab_shared_k=(0.5**0.5,) * 2
    )
    found = fit(slabs=[SeenSlab(room=0, excess_k=0.5, along=0.0)], prior=prior)
    warmer_k, sd_k = zip(*(found.slab(room) for room in (0, 1)), strict=True)
    assert warmer_k == pytest.approx([0.4, 0.2], abs=0.01)
    assert np.sqrt(0.2) - 0.01 < sd_k[0] < 1.15 * np.sqrt(0.2)
    assert sd_k[1] == pytest.approx(np.sqrt(0.8), rel=0.05)
    assert found.speed == pytest.approx(1.0)
    assert found.ln_speed_sd == pytest.approx(0.15)


def test_two_buckets_update_the_speed_as_by_hand():
    # By hand: with the slab known, one unknown x = ln(speed) and two straight readings of
    # -0.01 in ln(time), x = sum(d r / s²) / (1/0.15² + sum(d² / s²)), d from the bucket
    # model's own runs; a single end of a kit, seen by eye, scatters by 10 %, a watch by 20 s.
    # What is left is multiplied by the factor on the scatter, sqrt(6 / (6 + 2 - own words)).
    buckets = (ICED, AS_IS)
    known = NightPrior(ln_speed_sd=0.15, kit_sd=KIT_SD, slab_sd_k=(1e-9,), slab_shared_k=(0.0,))
    base_s = true_ends_s(buckets, speed=1.0, slab_k=0.0)[:, 0]
    up, down = (true_ends_s(buckets, speed=np.exp(h), slab_k=0.0) for h in (0.01, -0.01))
    slope = np.log(up / down)[:, 0] / 0.02
    sd = np.hypot(0.10, 20.0 / base_s)
    weight = np.sum((slope / sd) ** 2)
    by_hand = np.sum(slope * -0.01 / sd**2) / (1 / 0.15**2 + weight)
    ends = [
        SeenEnd(bucket=i, milestone="wet_edge", after_s=float(base_s[i]) * np.exp(-0.01))
        for i in (0, 1)
    ]
    found = fit(buckets, ends, prior=known)
    assert np.log(found.speed) == pytest.approx(by_hand, rel=0.08)
    own_words = weight / (1 / 0.15**2 + weight)
    factor2 = 6.0 / (6.0 + 2.0 - own_words)
    left = (1 / 0.15**2 + weight / factor2) ** -0.5
    assert found.found.covariance[place(found, "night")] == pytest.approx(left**2, rel=0.02)


def place(found, name):
    return (found.model.layout.at(name),) * 2


def test_a_warm_batch_moves_the_kits_and_not_the_slab():
    cool_c = fit((ICED,), mixes=[SeenMix(bucket=0, temp_c=20.0)])
    warm_c = fit((ICED,), mixes=[SeenMix(bucket=0, temp_c=26.0)])
    assert warm_c.kit_k > cool_c.kit_k + 3.0
    assert warm_c.slab(0)[0] == pytest.approx(0.0, abs=1e-6)
    assert fit().kit_k == 0.0


KIT_SD = np.sqrt(0.75) * 0.10
EYE_SD = np.sqrt(0.25) * 0.10


def simulated(random, *, ln_speed, slab_k, slope_k=0.0, drift=0.0):
    """A night's fit from three logged buckets and a slab reading, and the next one's truth."""
    buckets = [
        replace(ICED, slab_c=ICED.slab_c + 0.05 * i, along=-0.4 + 0.1 * i, poured_h=0.06 * i)
        for i in range(4)
    ]
    usual_s = np.concatenate(
        [
            true_ends_s(
                [b], speed=np.exp(ln_speed + drift * (b.poured_h - buckets[2].poured_h)),
                slab_k=slab_k + slope_k * b.along,
            )
            for b in buckets
        ]
    )  # fmt: skip
    own = KIT_SD * random.standard_normal(4)
    ends = []
    for i in range(3):
        kit_s = true_ends_s(
            [buckets[i]], speed=np.exp(ln_speed + own[i]),
            slab_k=slab_k + slope_k * buckets[i].along,
        )[0]  # fmt: skip
        for name, t in zip(ENDS, kit_s, strict=True):
            seen_s = (
                t * np.exp(EYE_SD * random.standard_normal()) + 20 * random.standard_normal()
            )
            ends.append(SeenEnd(bucket=i, milestone=name, after_s=float(seen_s)))
    read_k = slab_k + 0.5 * random.standard_normal()
    found = fit(buckets, ends, [SeenSlab(room=0, excess_k=read_k, along=0.0)], prior=PRIOR)
    warmer_k, _ = found.slab(0, along=buckets[3].along)
    told_s = true_ends_s([buckets[3]], speed=found.speed, slab_k=warmer_k)[0]
    return found, told_s, usual_s[3]


@pytest.mark.thorough
def test_three_buckets_bring_the_next_within_a_minute():
    # The hidden truth is a fifth faster than the card, on a slab 3 K warmer than computed.
    random = np.random.default_rng(20)
    before = true_ends_s([ICED], speed=1.0, slab_k=0.0)
    wrong_s = before - true_ends_s([ICED], speed=1.2, slab_k=3.0)
    assert wrong_s.min() > 120.0, "the night must be worth correcting"
    worst_s = []
    for _ in range(drawn(20)):
        _, told_s, truth_s = simulated(random, ln_speed=np.log(1.2), slab_k=3.0)
        worst_s.append(np.abs(told_s - truth_s).max())
    # Three kits that differ by 9 % each leave the usual one unsure by some 5 %: 40 s.
    assert np.median(worst_s) < 45.0
    assert np.quantile(worst_s, 0.9) < 100.0


@pytest.mark.thorough
def test_intervals_cover_the_truth_as_often_as_they_claim():
    # Kits of one night run together and each has its own; nine in ten hold, within what
    # falls out so once in a thousand times on either side.
    random = np.random.default_rng(7)
    nights = drawn(30)
    held = np.zeros(2)
    for _ in range(nights):
        ln_speed = PRIOR.ln_speed_sd * random.standard_normal()
        slab_k = PRIOR.slab_sd_k[0] * random.standard_normal()
        slope_k = 1.0 * random.standard_normal()
        drift = 0.03 * random.standard_normal()
        found, *_ = simulated(
            random, ln_speed=ln_speed, slab_k=slab_k, slope_k=slope_k, drift=drift
        )
        low, high = found.speed_interval(confidence=0.9)
        warmer_k, sd_k = found.slab(0)
        held += (low <= np.exp(ln_speed) <= high, abs(warmer_k - slab_k) <= 1.6449 * sd_k)
    low, high = binom.ppf((0.001, 0.999), nights, 0.9)
    assert np.all((held >= low) & (held <= high)), held / nights


def test_an_interval_widens_with_its_confidence():
    found = fit()
    narrow, wide = (np.log(found.speed_interval(confidence=c)) for c in (0.5, 0.9))
    # Computed apart: statistics.NormalDist().inv_cdf(0.95) is 1.6449.
    assert wide == pytest.approx((-1.6449 * 0.15, 1.6449 * 0.15), rel=1e-4)
    assert wide[0] < narrow[0] < narrow[1] < wide[1]


def ends_of(buckets, seen_s):
    return [
        SeenEnd(bucket=i, milestone=name, after_s=float(t))
        for i in range(len(buckets))
        for name, t in zip(ENDS, seen_s[i], strict=True)
    ]


@pytest.mark.thorough
def test_a_half_of_a_room_that_runs_warmer_is_seen():
    # The second half of a floor lies on a slab 4 K warmer, and an infrared
    # gun says so on four patches. One offset for the room would leave 2 K at either end.
    buckets = [replace(ICED, along=-0.4 + 0.2 * i, poured_h=0.1 * i) for i in range(5)]
    slabs_k = [0.0, 0.0, 2.0, 4.0, 4.0]
    seen_s = [true_ends_s([b], speed=1.0, slab_k=k)[0]
              for b, k in zip(buckets, slabs_k, strict=True)]  # fmt: skip
    reads = [
        SeenSlab(room=0, excess_k=k, along=b.along)
        for b, k in zip(buckets, slabs_k, strict=True)
    ]
    found = fit(buckets, ends_of(buckets, seen_s), reads)
    assert 2.0 < found.slope_k(0) < 6.0
    assert found.slab(0, along=0.5)[0] - found.slab(0, along=-0.5)[0] > 2.0
    even = fit(buckets, ends_of(buckets, [seen_s[2]] * 5),
               [replace(r, excess_k=2.0) for r in reads])  # fmt: skip
    assert even.slope_k(0) == 0.0


def test_a_batch_that_drifts_is_seen_or_doubted():
    # 15 % faster with every hour; the kits still to come are faster yet.
    buckets = [replace(ICED, poured_h=0.5 * i) for i in range(7)]
    drifting = [true_ends_s([b], speed=np.exp(0.15 * b.poured_h), slab_k=0.0)[0]
                for b in buckets]  # fmt: skip
    found = fit(buckets, ends_of(buckets, drifting))
    assert found.drift_per_h > 0.0
    assert found.later(1.0)[0] > found.speed > 1.1
    steady_s = true_ends_s(buckets, speed=1.0, slab_k=0.0)
    steady = fit(buckets, ends_of(buckets, steady_s))
    assert steady.drift_per_h == 0.0
    assert steady.later(4.0)[1] > steady.ln_speed_sd


@pytest.mark.thorough
def test_kits_that_quicken_fast_or_a_slab_that_steps_up_are_not_averaged_away():
    # Within half an hour a quarter faster: the next kit is not of the mean of all.
    buckets = [replace(ICED, poured_h=0.06 * i) for i in range(9)]
    speeds = np.exp(0.5 * np.array([b.poured_h for b in buckets]))
    seen_s = [true_ends_s([b], speed=v, slab_k=0.0)[0]
              for b, v in zip(buckets, speeds, strict=True)]  # fmt: skip
    found = fit(buckets, ends_of(buckets, seen_s))
    low, high = found.speed_interval(confidence=0.9)
    assert low < speeds[-1] < high
    assert found.speed > speeds[5]
    # The third and fourth of ten patches 4 K warmer: so is what follows, not twice that.
    buckets = [replace(ICED, along=-0.45 + 0.1 * i, poured_h=0.05 * i) for i in range(4)]
    slabs_k = [0.0, 0.0, 4.0, 4.0]
    seen_s = [true_ends_s([b], speed=1.0, slab_k=k)[0]
              for b, k in zip(buckets, slabs_k, strict=True)]  # fmt: skip
    reads = [SeenSlab(room=0, excess_k=k, along=b.along)
             for b, k in zip(buckets, slabs_k, strict=True)]  # fmt: skip
    warmer_k, sd_k = fit(buckets, ends_of(buckets, seen_s), reads).slab(0, along=0.2)
    assert abs(warmer_k - 4.0) < 1.645 * sd_k
    assert 3.0 < warmer_k < 6.0


def test_a_lot_far_from_the_others_is_believed_sooner_where_their_scatter_is_not_known():
    # One kit a third late, and lots that scatter by 10 or by 30 %, believed alike: by the
    # wider half the lot is late, not the kit, and it is less sure than if 10 % were known.
    wide = replace(
        PRIOR,
        ln_speed_sd=0.1,
        slab_sd_k=(1e-9,),
        slab_shared_k=(0.0,),
        lots=((0.1, 0.0), (0.3, 0.0)),
    )
    late_s = 1.35 * true_ends_s([ICED], speed=1.0, slab_k=0.0)
    known = fit([ICED], ends_of([ICED], late_s), prior=replace(wide, lots=()))
    found = fit([ICED], ends_of([ICED], late_s), prior=wide)
    assert 0.65 < found.speed < known.speed - 0.03
    assert found.ln_speed_sd > known.ln_speed_sd
    # Computed apart (statistics.NormalDist, scipy's brentq): the even mixture of N(0, 0.1)
    # and N(0, 0.3) lies to nine tenths within 0.3846.
    assert wide.doubt_sd == pytest.approx(0.3846 / 1.6449, abs=2e-3)


def test_ends_that_contradict_each_other_widen_the_doubt():
    buckets = [replace(ICED, poured_h=0.05 * i) for i in range(6)]
    usual_s = true_ends_s(buckets, speed=1.0, slab_k=0.0)
    agree = fit(buckets, ends_of(buckets, usual_s))
    wild_s = usual_s * np.array([0.7, 1.4, 0.75, 1.35, 0.7, 1.4])[:, None]
    assert fit(buckets, ends_of(buckets, wild_s)).ln_speed_sd > 1.3 * agree.ln_speed_sd


@pytest.mark.thorough
@examples(30)
@given(
    st.lists(
        st.tuples(st.integers(0, 1), st.sampled_from(ENDS), st.floats(0.8, 1.25)),
        min_size=1,
        max_size=6,
    )
)
def test_the_order_of_readings_does_not_matter(rows):
    buckets = (ICED, AS_IS)
    card_s = true_ends_s(buckets, speed=1.0, slab_k=0.0)
    ends = [
        SeenEnd(bucket=i, milestone=name, after_s=factor * float(card_s[i, ENDS.index(name)]))
        for i, name, factor in rows
    ]
    whole, turned = fit(buckets, ends), fit(buckets, ends[::-1])
    assert whole.speed == pytest.approx(turned.speed, abs=1e-4)
    assert whole.slab(0) == pytest.approx(turned.slab(0), abs=1e-3)


@pytest.mark.parametrize(
    ("prior", "after_s", "words"),
    [
        (replace(PRIOR, ln_speed_sd=0.0), 600.0, "SD"),
        (replace(PRIOR, slab_sd_k=(float("nan"),)), 600.0, "SD"),
        (PRIOR, 0.0, "after_s"),
        (PRIOR, float("nan"), "after_s"),
    ],
)
def test_nonsense_is_refused(prior, after_s, words):
    ends = [SeenEnd(bucket=0, milestone="wet_edge", after_s=after_s)]
    with pytest.raises(OutOfRangeError, match=words):
        fit((ICED,), ends, prior=prior)


@pytest.mark.parametrize("confidence", [0.0, 1.0, float("nan")])
def test_a_confidence_out_of_range_is_refused(confidence):
    with pytest.raises(OutOfRangeError, match="confidence"):
        fit().speed_interval(confidence=confidence)
