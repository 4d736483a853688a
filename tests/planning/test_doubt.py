"""Doubts add in squares and move ages as far as the job asks for: worked by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import OutOfRangeError
from cureplan.planning.floor.conditions import TAU_S
from cureplan.planning.floor.doubt import (
    FORECAST_SD_K,
    READING_SD_K,
    SLAB_SD_K,
    Doubt,
    doubt_at,
    slab_sd_k,
    time_factors,
)
from cureplan.science.fit import KineticFit


def fit_with(energy_j_mol=50e3, sd_j_mol=10e3, reference_c=21.0):
    return KineticFit(
        activation_energy_j_mol=energy_j_mol,
        reference_c=reference_c,
        ln_reference_s=np.array([6.9]),
        covariance=np.diag([sd_j_mol**2, 0.01]),
        residual_ln=np.zeros(1),
    )


def test_factors_by_hand():
    # Nine nights in ten are 1.2816 standard deviations one-sided (normal tables); with
    # 0.1, 0.1 and 0.05 together 0.15: exp(1.2816 * 0.15) = 1.2120.
    doubt = Doubt(batch=0.1, card=0.1, temperature=0.05)
    assert doubt.total == pytest.approx(0.15)
    wait, close = time_factors(doubt, confidence=0.9)
    assert wait == pytest.approx(1.2120, abs=1e-4)
    assert close == pytest.approx(1 / 1.2120, abs=1e-4)


def test_an_even_chance_changes_nothing():
    assert time_factors(
        Doubt(batch=0.3, card=0.2, temperature=0.1), confidence=0.5
    ) == pytest.approx((1.0, 1.0))


def test_doubt_at_32_degrees_by_hand():
    # 1/294.15 - 1/305.15 = 1.22549e-4 per K: times 10 kJ/mol / R is 0.1474. And 1.6 K of
    # forecast error move ln(rate) by 50e3/(8.3145 * 305.15²) * 1.6 = 0.1033.
    doubt = doubt_at(32.0, fit=fit_with(), spread_frac=0.1, temp_sd_k=FORECAST_SD_K)
    assert doubt.batch == 0.1
    assert doubt.card == pytest.approx(0.1474, abs=1e-4)
    assert doubt.temperature == pytest.approx(0.1033, abs=1e-4)


def test_at_the_reference_the_energy_is_not_in_doubt():
    assert doubt_at(21.0, fit=fit_with(), spread_frac=0.1, temp_sd_k=0.0).total == 0.1


def test_a_fresh_reading_is_worth_half_a_degree_and_fades(weather_of):
    # A reading's own SD at its instant; where half the correction is left, the squares of
    # both doubts weigh a quarter and three quarters.
    unread = weather_of(28.0, hours=600)
    read_s = unread.first_s + 24 * 3600.0
    read = replace(unread, reading_s=read_s)
    assert slab_sd_k(read_s, read) == pytest.approx(READING_SD_K)
    half_s = next(s for s in range(0, 86400, 60) if float(read.reading_left(s)) <= 0.5)
    expected = math.sqrt(0.25 * READING_SD_K**2 + 0.75 * SLAB_SD_K**2)
    for at_s in (read_s + half_s, read_s - half_s):
        assert slab_sd_k(at_s, read) == pytest.approx(expected, abs=0.002)
    assert slab_sd_k(read_s + 30 * TAU_S, read) == pytest.approx(SLAB_SD_K, abs=0.001)
    assert slab_sd_k(read_s, unread) == SLAB_SD_K


def test_a_slab_on_ground_remembers_for_about_fifteen_hours():
    # Computed apart for 150 mm of concrete under 7 W/m²K: 15 h.
    assert abs(TAU_S / 3600 - 15.0) < 0.5


@given(
    temp_c=st.floats(0, 45),
    spread=st.floats(0.01, 0.5),
    sd_k=st.floats(0, 3),
    confidence=st.floats(0.5, 0.99),
    surer=st.floats(0, 0.009),
)
def test_more_doubt_or_more_caution_never_narrows(temp_c, spread, sd_k, confidence, surer):
    def factors(spread, sd_k, confidence):
        doubt = doubt_at(temp_c, fit=fit_with(), spread_frac=spread, temp_sd_k=sd_k)
        return time_factors(doubt, confidence=confidence)

    wait, close = factors(spread, sd_k, confidence)
    assert wait >= 1 - 1e-12
    assert wait * close == pytest.approx(1.0)
    for more in (
        factors(spread * 1.1, sd_k, confidence),
        factors(spread, sd_k + 0.5, confidence),
        factors(spread, sd_k, confidence + surer),
    ):
        assert more[0] >= wait - 1e-12


def test_the_stated_share_of_batches_is_done_by_then():
    # 20,000 seeded batches with ln(time) scattered as the doubt says: nine in ten must
    # be within the factor; a binomial SD is 0.2 %, and four of them are allowed.
    doubt = Doubt(batch=0.1, card=0.08, temperature=0.06)
    wait, close = time_factors(doubt, confidence=0.9)
    rng = np.random.default_rng(5)
    ln_time = sum(rng.normal(0, sd, 20_000) for sd in (0.1, 0.08, 0.06))
    assert np.mean(np.exp(ln_time) <= wait) == pytest.approx(0.9, abs=0.0085)
    assert np.mean(np.exp(ln_time) >= close) == pytest.approx(0.9, abs=0.0085)


@pytest.mark.parametrize("confidence", [0.0, 0.49, 1.0, 1.5, math.nan])
def test_refuses_a_confidence_nobody_can_have(confidence):
    doubt = Doubt(batch=0.1, card=0.0, temperature=0.0)
    with pytest.raises(OutOfRangeError, match="confidence"):
        time_factors(doubt, confidence=confidence)


@pytest.mark.parametrize(
    "changed", [{"temp_c": -300.0}, {"spread_frac": -0.1}, {"temp_sd_k": math.nan}]
)
def test_refuses_doubts_that_are_none(changed):
    asked = {"temp_c": 25.0, "spread_frac": 0.1, "temp_sd_k": 1.0, **changed}
    at_c = asked.pop("temp_c")
    with pytest.raises(OutOfRangeError):
        doubt_at(at_c, fit=fit_with(), **asked)
