"""One floor under each thing that might be done for it, and its table of margins."""

from dataclasses import replace

import numpy as np
import pytest

from cureplan.planning.floor.limits import limits_of
from cureplan.planning.floor.pour import (
    AS_IS,
    BINDINGS,
    PourOption,
    RoomPours,
    bucket_clocks,
    kit_temperatures,
)
from cureplan.planning.odds.margins import _energy_at_reference
from cureplan.planning.schedule.construct import prepare_pours
from cureplan.science.kit import run_bucket

ICED = PourOption(chilled=True, cool_filler=False, bays=1)


@pytest.fixture(scope="module")
def pours(demo_job, demo_weather):
    return prepare_pours(demo_job, demo_weather)


@pytest.fixture(scope="module")
def cook_line(pours):
    return pours["Cook line"]


@pytest.fixture(scope="module")
def begins_s(demo_job):
    return demo_job.access.begins.timestamp()


def test_an_option_runs_the_job_as_written(cook_line, demo_job, begins_s):
    plan = cook_line.plan(ICED)
    found = cook_line.run(ICED, begins_s + 3600)
    expected = bucket_clocks(
        begins_s + 3600,
        plan.times,
        clocks=cook_line.clocks,
        conditions=cook_line.conditions,
        temperatures=kit_temperatures(demo_job.materials, chilled=True, cool_filler=False),
        haul_s=demo_job.pace.haul_s,
        speed=1.0,
        slab_shift_k=0.0,
        air_shift_k=0.0,
    )
    assert found.margins_s == pytest.approx(expected.margins_s)
    assert cook_line.plan(ICED) is plan


def test_remedies_in_the_trades_words():
    assert AS_IS.remedies() == ()
    assert ICED.remedies() == ("chill",)
    everything = PourOption(chilled=True, cool_filler=True, bays=3)
    assert everything.remedies() == ("chill", "cool filler", "bays")


def test_each_remedy_lengthens_what_is_short(cook_line, begins_s):
    start_s = begins_s + 3600
    as_is = cook_line.run(AS_IS, start_s).least_s[0]
    for better in (ICED, replace(AS_IS, cool_filler=True), replace(AS_IS, bays=2)):
        assert cook_line.run(better, start_s).least_s[0] > as_is


def test_a_third_station_quickens_the_same_floor(cook_line, demo_job):
    crew = replace(demo_job.crew, stations=3, mixer=3)
    assert (
        cook_line.plan(AS_IS, crew).cadence.interval_s
        < cook_line.plan(AS_IS).cadence.interval_s
    )
    # The job's own plan is not touched by trying another crew.
    assert cook_line.plan(AS_IS).cadence.mixing_s == pytest.approx(210.0)


def test_a_read_slab_is_surer_than_one_that_was_not(pours, begins_s):
    read, unread = pours["Cook line"], pours["Preparation"]
    assert read.wet_factors(begins_s)[0] < unread.wet_factors(begins_s)[0]
    wait, close = read.wet_factors(begins_s)
    assert wait * close == pytest.approx(1.0)
    # Waiting for hours, nobody counts on the reading any more.
    assert read.long_factors(read.tasks[0][-1], begins_s)[0] > wait


def test_a_slab_stays_farther_from_its_limits_the_surer_it_is_to_keep_them(cook_line):
    # Percentiles of the normal law, from its printed table: 90 % lie below 1.282, 99.3 %
    # below 2.457 standard deviations.
    layer = cook_line.tasks[0][-1]
    asked, surer = (cook_line.limits(layer, confidence=at) for at in (0.9, 0.993))
    for name in ("slab_guard_k", "air_guard_k"):
        ratio = getattr(surer, name) / getattr(asked, name)
        assert ratio == pytest.approx(2.457 / 1.282, rel=1e-3)


def test_curves_are_of_the_right_card(cook_line, begins_s):
    # Both shipped cards share one energy, so at one instant both age alike.
    span = {"start_s": begins_s, "age_s": 3600.0}
    assert cook_line.slurry_curve.lit.when(**span) == pytest.approx(
        cook_line.topcoat_curve.lit.when(**span)
    )
    other = RoomPours(
        cook_line.room,
        cook_line.job,
        cook_line.clocks,
        replace(
            cook_line.topcoat,
            fit=replace(cook_line.topcoat.fit, activation_energy_j_mol=80e3),
        ),
        cook_line.conditions,
    )
    assert other.topcoat_curve.lit.when(**span) < other.slurry_curve.lit.when(**span)


def test_while_it_cures_a_floor_is_held_to_the_cold_ends_of_slab_and_air_alone(cook_line):
    layer, here = cook_line.tasks[0][-1], cook_line.conditions
    card = limits_of(cook_line.job, layer)
    spare_k = np.minimum(here.shade.slab_c - card.slab_c[0], here.air_c - card.air_c[0])
    assert cook_line.limits(layer, confidence=0.5).cures_k == pytest.approx(spare_k)


def test_what_the_rate_does_as_timed_is_made_up_for_by_the_batch(cook_line):
    # By definition: 1 kJ/mol more, and a batch slower by what is said of it, end together.
    clocks = cook_line.clocks
    more = _energy_at_reference(cook_line)
    for name, per_j_mol in zip(BINDINGS, more, strict=True):
        ends_s = [
            run_bucket(
                *(clocks.kit.reference_c,) * 4,
                cook_line.job.cards.slurry.reference_haul_s,
                kit=replace(
                    clocks.kit,
                    activation_energy_j_mol=clocks.kit.activation_energy_j_mol + energy_j_mol,
                ),
                speed=float(np.exp(-per_j_mol * energy_j_mol)),
                film_m=clocks.film_m,
                slab_effusivity=clocks.slab_effusivity,
            ).when_s(clocks.age_s[name]).item()
            for energy_j_mol in (0.0, 1000.0)
        ]  # fmt: skip
        assert ends_s[1] == pytest.approx(ends_s[0], rel=2e-4)
        assert abs(per_j_mol) > 1e-7
