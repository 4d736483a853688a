"""Learning batch speed and slab from a few buckets: by hand, and on nights of known truth."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from cureplan.core.errors import OutOfRangeError
from cureplan.inputs.cards.reader import read_card
from cureplan.science.clocks import slurry_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.kit import run_bucket
from cureplan.science.learning.tonight import (
    NightPrior,
    SeenEnd,
    SeenMix,
    SeenSlab,
    WatchedBucket,
    end_sd_s,
    fit_night,
)

HAUL_S = 60.0
ENDS = ("wet_edge", "working_time", "broadcast_closes")
CARD = read_card("fast-slurry")
CLOCKS = slurry_clocks(CARD, film_m=0.0032, slab_effusivity=SLAB_EFFUSIVITY)
# An iced kit on a hot night, and one poured as it is.
ICED = WatchedBucket(room=0, liquids_c=4.0, filler_c=29.0, air_c=32.0, slab_c=30.0)
AS_IS = replace(ICED, liquids_c=29.0)
PRIOR = NightPrior(ln_speed_sd=0.15, slab_sd_k=(1.0,))


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
    # By hand: priors N(0, 1) with half their variance in common, one reading of +2 K with
    # SD 0.5 K. Gain 1/(1 + 0.25) = 0.8 here and 0.5/1.25 = 0.4 next door; what is left is
    # sqrt(1 - 0.8) and sqrt(1 - 0.5 * 0.4).
    prior = NightPrior(ln_speed_sd=0.15, slab_sd_k=(1.0, 1.0))
    found = fit(slabs=[SeenSlab(room=0, excess_k=2.0)], prior=prior)
    assert found.slab_k == pytest.approx([1.6, 0.8], abs=1e-6)
    assert found.slab_sd_k == pytest.approx([np.sqrt(0.2), np.sqrt(0.8)], abs=1e-6)
    assert found.speed == pytest.approx(1.0)
    assert found.ln_speed_sd == pytest.approx(0.15)


def test_two_buckets_update_the_speed_as_by_hand():
    # By hand: with the slab known, one unknown x = ln(speed) and two straight readings,
    # x = sum(d r / s²) / (1/0.15² + sum(d² / s²)), d from the bucket model's own runs.
    # The ends are seen 3 s early, so that curvature is below the tolerance of 1 %.
    buckets = (ICED, AS_IS)
    known = NightPrior(ln_speed_sd=0.15, slab_sd_k=(1e-9,))
    base_s = true_ends_s(buckets, speed=1.0, slab_k=0.0)[:, 0]
    up, down = (true_ends_s(buckets, speed=np.exp(h), slab_k=0.0) for h in (0.01, -0.01))
    slope = (up - down)[:, 0] / 0.02
    sd = np.hypot(20.0, 0.05 * base_s)
    information = 1 / 0.15**2 + np.sum((slope / sd) ** 2)
    by_hand = np.sum(slope * -3.0 / sd**2) / information
    ends = [
        SeenEnd(bucket=i, milestone="wet_edge", after_s=float(base_s[i]) - 3.0) for i in (0, 1)
    ]
    found = fit(buckets, ends, prior=known)
    assert found.mean[0] == pytest.approx(by_hand, rel=0.01)
    assert found.ln_speed_sd == pytest.approx(information**-0.5, rel=0.01)


def test_one_bucket_read_exactly_halves_the_way_by_weights():
    # Two identical readings weigh as one with its SD over sqrt(2): by hand from the test
    # above, the information of both is the prior's plus twice one reading's.
    base_s = float(true_ends_s((ICED,), speed=1.0, slab_k=0.0)[0, 0])
    end = SeenEnd(bucket=0, milestone="wet_edge", after_s=base_s)
    known = NightPrior(ln_speed_sd=0.15, slab_sd_k=(1e-9,))
    once, twice = fit((ICED,), [end], prior=known), fit((ICED,), [end, end], prior=known)
    gained = [1 / f.ln_speed_sd**2 - 1 / 0.15**2 for f in (once, twice)]
    assert gained[1] == pytest.approx(2 * gained[0], rel=1e-4)


def test_a_warm_batch_moves_the_kits_and_not_the_slab():
    cool_c = fit((ICED,), mixes=[SeenMix(bucket=0, temp_c=20.0)])
    warm_c = fit((ICED,), mixes=[SeenMix(bucket=0, temp_c=26.0)])
    assert warm_c.kit_k > cool_c.kit_k + 3.0
    assert warm_c.slab_k == pytest.approx([0.0], abs=1e-6)
    assert fit().kit_k == 0.0


def simulated(random, *, ln_speed, slab_k):
    """A night's fit from three logged buckets and a slab reading, and the next one's truth."""
    buckets = [replace(ICED, slab_c=ICED.slab_c + 0.05 * i) for i in range(4)]
    truth_s = true_ends_s(buckets, speed=np.exp(ln_speed), slab_k=slab_k)
    ends = [
        SeenEnd(
            bucket=i,
            milestone=name,
            after_s=float(t + end_sd_s(t) * random.standard_normal()),
        )
        for i in range(3)
        for name, t in zip(ENDS, truth_s[i], strict=True)
    ]
    read_k = slab_k + 0.5 * random.standard_normal()
    found = fit(buckets, ends, [SeenSlab(room=0, excess_k=read_k)], prior=PRIOR)
    told = [found.predict(buckets[3], name, clocks=CLOCKS, haul_s=HAUL_S) for name in ENDS]
    return found, np.array(told), truth_s[3]


def test_three_buckets_bring_the_next_within_a_minute():
    # The hidden truth is a fifth faster than the card, on a slab 3 K warmer than computed.
    random = np.random.default_rng(20)
    before = true_ends_s([ICED], speed=1.0, slab_k=0.0)
    wrong_s = before - true_ends_s([ICED], speed=1.2, slab_k=3.0)
    assert wrong_s.min() > 120.0, "the night must be worth correcting"
    worst_s = []
    for _ in range(100):
        _, told, truth_s = simulated(random, ln_speed=np.log(1.2), slab_k=3.0)
        worst_s.append(np.abs(told[:, 0] - truth_s).max())
    # Of 100 nights at most 5: watches and eyes err by about a minute each.
    assert np.sum(np.array(worst_s) > 60.0) <= 5
    assert np.median(worst_s) < 30.0


def test_intervals_cover_the_truth_as_often_as_they_claim():
    random = np.random.default_rng(7)
    nights = 300
    deviations = []
    for _ in range(nights):
        ln_speed = PRIOR.ln_speed_sd * random.standard_normal()
        slab_k = PRIOR.slab_sd_k[0] * random.standard_normal()
        found, told, truth_s = simulated(random, ln_speed=ln_speed, slab_k=slab_k)
        unknown = np.array([ln_speed, slab_k])
        sd = np.array([found.ln_speed_sd, found.slab_sd_k[0]])
        deviations.append(
            np.concatenate(
                [(found.mean[:2] - unknown) / sd, (told[:, 0] - truth_s) / told[:, 1]]
            )
        )
    for claimed in (0.5, 0.9):
        reach = NormalDist().inv_cdf(0.5 + claimed / 2)
        held = np.sum(np.abs(deviations) <= reach, axis=0)
        # 1 in 1000 either way for each of the five, if the claim is true.
        low, high = binom.ppf([0.001, 0.999], nights, claimed)
        assert np.all((held >= low) & (held <= high)), (claimed, held, low, high)


def test_an_interval_widens_with_its_confidence():
    found = fit()
    narrow, wide = (found.interval(0, confidence=c) for c in (0.5, 0.9))
    # Published: the normal distribution's 95 % point is 1.6449 (any table).
    assert wide == pytest.approx((-1.6449 * 0.15, 1.6449 * 0.15), rel=1e-4)
    assert wide[0] < narrow[0] < narrow[1] < wide[1]


@examples(30)
@given(
    st.lists(
        st.tuples(st.integers(0, 1), st.sampled_from(ENDS), st.floats(0.7, 1.3)),
        min_size=1,
        max_size=6,
    )
)
def test_a_reading_more_never_leaves_more_doubt_and_order_does_not_matter(rows):
    buckets = (ICED, AS_IS)
    card_s = true_ends_s(buckets, speed=1.0, slab_k=0.0)
    ends = [
        SeenEnd(bucket=i, milestone=name, after_s=factor * float(card_s[i, ENDS.index(name)]))
        for i, name, factor in rows
    ]
    whole, turned = fit(buckets, ends), fit(buckets, ends[::-1])
    assert whole.mean == pytest.approx(turned.mean, abs=1e-5)
    assert whole.ln_speed_sd <= PRIOR.ln_speed_sd + 1e-12
    assert whole.slab_sd_k[0] <= PRIOR.slab_sd_k[0] + 1e-12


@pytest.mark.parametrize(
    ("prior", "after_s", "words"),
    [
        (NightPrior(ln_speed_sd=0.0, slab_sd_k=(1.0,)), 600.0, "SD"),
        (NightPrior(ln_speed_sd=0.1, slab_sd_k=(float("nan"),)), 600.0, "SD"),
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
        fit().interval(0, confidence=confidence)
