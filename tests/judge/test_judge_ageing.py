"""The judge's ageing of buckets, films and slabs, each step worked by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import at

from cureplan.inputs.cards.model import Milestone, MilestonePoint, RatePrior
from cureplan.judge import kit
from cureplan.judge.ageing import (
    CardRate,
    HumiditySlope,
    RoomHours,
    cumulate,
    dew_curve,
    fit_rate,
    room_hours,
)
from cureplan.judge.kit import KitRuns, scaled_erfc

GAS = 8.314462618


def rate_of(**changed: object) -> CardRate:
    given = {
        "ref_c": 20.0, "energy_j_mol": 50e3, "energy_sd_j_mol": 5e3, "batch_frac": 0.3,
        "ref_s": {"wet_edge": 100.0, "foot_traffic": 200.0}, **changed,
    }  # fmt: skip
    return CardRate(**given)


# Rates


def test_a_rate_is_one_at_its_reference_and_as_arrhenius_says_elsewhere():
    rate = rate_of()
    assert float(rate.inverse_k(20.0)) == 0.0
    inverse_k = 1 / 303.15 - 1 / 293.15
    assert float(rate.inverse_k(30.0)) == pytest.approx(inverse_k, rel=1e-12)
    assert float(rate.speed(30.0)) == pytest.approx(math.exp(-50e3 / GAS * inverse_k))


def test_doubts_of_batch_card_and_temperature_add_as_squares():
    # A batch of 0.3, a card of 0.4, a slab of 1.2: the root of 0.09 + 0.16 + 1.44 is 1.3.
    rate = rate_of(
        energy_sd_j_mol=0.4 * GAS / (1 / 293.15 - 1 / 303.15),
        energy_j_mol=1.2 * GAS * 303.15**2 / 2.0,
    )
    assert rate.doubt_frac(30.0, temp_sd_k=2.0) == pytest.approx(1.3)


def point(at_c: float, after_s: float, humidity: float | None = None) -> MilestonePoint:
    return MilestonePoint(
        at_c=at_c, humidity_frac=humidity, after_s=after_s, after_late_s=after_s,
        provenance="invented",
    )  # fmt: skip


def milestone(name: str, *points: MilestonePoint) -> Milestone:
    return Milestone(name=name, clock_starts="coat_end", points=points, spread_frac=0.1)


def test_points_without_humidity_are_taken_to_the_mean_of_those_with_it():
    # Twice as long in air 40 points damper: ln 2 over 0.4. At the mean of 0.5 it takes the
    # root of 100 times 200 s; what is waited for was tried in the driest air, 20 points
    # below, and takes a root of 2 longer there, what closes in the dampest, as much less.
    rows = {
        "recoat": milestone("recoat", point(20.0, 100.0, 0.3), point(20.0, 200.0, 0.7)),
        "foot_traffic": milestone("foot_traffic", point(20.0, 1000.0)),
        "topcoat_closes": milestone("topcoat_closes", point(20.0, 1000.0)),
    }
    held_s = {name: np.array([p.after_s for p in row.points]) for name, row in rows.items()}
    rate = fit_rate(RatePrior(mean_j_mol=50e3, sd_j_mol=5e3), rows, held_s)
    root = math.sqrt(2.0)
    assert rate.ref_s == pytest.approx(
        {"recoat": 100 * root, "foot_traffic": 1000 * root, "topcoat_closes": 1000 / root}
    )
    slope = HumiditySlope(slope=math.log(2) / 0.4, mean=0.5, driest=0.3, dampest=0.7)
    assert vars_of(rate.humidity_slope) == pytest.approx(vars_of(slope))


def vars_of(slope: HumiditySlope) -> list[float]:
    return [slope.slope, slope.mean, slope.driest, slope.dampest]


# Sums and hours


def test_areas_under_lines_are_sums_of_trapezoids():
    # 2 to 4 over one, 4 to 6 over two: 3 and 10.
    assert cumulate(np.array([0.0, 1.0, 3.0]), np.array([2.0, 4.0, 6.0])).tolist() == [0, 3, 13]
    both = cumulate(np.array([0.0, 1.0, 3.0]), np.array([[2.0, 4.0, 6.0], [1.0, 1.0, 1.0]]))
    assert both.tolist() == [[0, 3, 13], [0, 1, 3]]


def test_the_air_of_a_room_is_as_humid_as_its_dew_point_says():
    hours = RoomHours(
        at_s=np.array([0.0, 3600.0]), air_c=np.array([20.0, 10.0]), slab_c=np.zeros(2),
        shade_c=np.zeros(2), dew_c=np.array([10.0, 12.0]),
    )  # fmt: skip
    # Magnus: exp(176.25 / 253.04) over exp(352.5 / 263.04) is exp(0.69653 - 1.34010).
    assert float(hours.humidity(0.0)) == pytest.approx(math.exp(-0.64357), rel=1e-4)
    assert float(hours.humidity(3600.0)) == 1.0


def test_hours_of_a_room_are_its_own_or_none():
    def row(minutes, *rooms, dew_c=9.0):
        return Made(at=at(minutes), rooms=rooms, dew_c=dew_c)

    bar = Made(room="Bar", air_c=25.0, slab_c=24.0, shade_c=None)
    hall = Made(room="Hall", air_c=18.0, slab_c=17.0, shade_c=16.0)
    rows = (row(0, bar, hall), row(60, hall, bar, dew_c=None))
    found = room_hours(rows, "Bar")
    assert (found.air_c.tolist(), found.slab_c.tolist()) == ([25.0, 25.0], [24.0, 24.0])
    assert found.shade_c.tolist() == [24.0, 24.0]
    assert room_hours(rows, "Hall").shade_c.tolist() == [16.0, 16.0]
    assert room_hours((), "Bar") is None
    assert room_hours((row(0, bar), row(60, hall)), "Bar") is None
    at_s, dew_c = dew_curve(rows)
    assert np.diff(at_s).tolist() == [3600.0]
    assert dew_c[0] == 9.0
    assert math.isnan(dew_c[1])


# Buckets


def test_far_out_the_film_follows_four_terms():
    # 1 - 1/200 + 3/200² - 15/200³ over 10 roots of pi; what is left out is 7e-8 of it.
    assert scaled_erfc(10.0) == pytest.approx(0.995073125 / (10 * math.pi**0.5), rel=1e-10)


def test_past_its_grid_a_kit_gathers_age_at_its_slabs_speed():
    nothing = np.zeros(2)
    runs = KitRuns(
        mixed_c=nothing, pour_c=nothing, pour_age_s=nothing, pour_since_s=nothing,
        since_s=np.array([[0.0, 10.0, 20.0], [0.0, 10.0, 30.0]]),
        age_s=np.array([[0.0, 5.0, 10.0], [0.0, 8.0, 16.0]]), excess_age_s=np.zeros((2, 1)),
    )  # fmt: skip
    for row, since_s, age_s in (
        (0, 15, 7.5),
        (0, 20, 10),
        (0, 25, 20),
        (1, 20, 12),
        (1, 30, 16),
    ):
        assert runs.age_after(row, since_s, 2.0) == age_s


def stage_of(lasts_s: float, *, share: float = 1.0, **given: float):
    """One stage of a kit that holds 1000 J/K and ages by its kelvins above nothing."""
    given = {"heat_j": 0.0, "exchange": 0.0, "power_w": 0.0, **given}
    model = Made(
        card=Made(bucket_exchange_w_k=given["exchange"]), heat_j=given["heat_j"],
        rate_at=lambda temp: temp,
    )  # fmt: skip
    kits = Made(pace=np.ones(1), air_c=np.zeros(1))
    temp, age = np.array([16.0]), np.array([3.0])
    return kit._stage(
        model, kits, temp, age, np.array([lasts_s]), 1000.0, given["power_w"], share
    )


def test_steps_in_the_bucket_are_of_the_fourth_order():
    # 100 W/K from 1000 J/K: a tenth is lost each second, and steps are of ten seconds. What
    # is left is the series of exp(-1) to its fourth term, 0.375; the sum of the kelvins,
    # ten times that of (1 - exp(-1)), 0.625.
    times, temps, ages = (part[0] for part in stage_of(20.0, exchange=100.0))
    assert times == pytest.approx([0.0, 10.0, 20.0])
    assert temps == pytest.approx([16.0, 6.0, 2.25])
    assert ages == pytest.approx([3.0, 103.0, 140.5])
    # Of a share of the ageing, as large a share.
    assert stage_of(20.0, exchange=100.0, share=0.5)[2][0] == pytest.approx([3.0, 53.0, 71.75])


def test_stirring_and_ageing_warm_a_bucket():
    # 500 W into 1000 J/K for 20 s: 10 K.
    assert stage_of(20.0, power_w=500.0)[1][0] == pytest.approx([16.0, 21.0, 26.0])
    # 10 J for each second of age into 1000 J/K: a hundredth each second, a tenth a step:
    # 1 + 0.1 + 0.005 + 0.001/6 + 0.0001/24.
    grows = 1 + 0.1 + 0.01 / 2 + 0.001 / 6 + 0.0001 / 24
    assert stage_of(20.0, heat_j=10.0)[1][0] == pytest.approx([16.0, 16 * grows, 16 * grows**2])


def test_stages_follow_each_other_in_the_bucket_and_on_the_floor():
    # Ageing at a rate of one, half of it in the liquids, 4 J a second of it; 100 W of
    # stirring. The liquids hold 8 kJ/K, all of it 20.
    model = Made(
        card=Made(liquid_stage_share=0.5, mixing_power_w=100.0, bucket_exchange_w_k=0.0),
        liquids_j_k=8000.0, kit_j_k=20_000.0, heat_j=4.0, rate_at=np.ones_like,
        film=np.full(5, 0.5), roots=np.arange(5.0),
    )  # fmt: skip
    kits = kit.Kits(
        liquids_s=np.array([160.0, 80.0]), filler_s=np.array([200.0, 100.0]),
        haul_s=np.array([50.0, 25.0]), liquids_c=np.array([4.0, 10.0]),
        filler_c=np.array([30.0, 30.0]), air_c=np.zeros(2), slab_c=np.full(2, 20.0),
        pace=np.ones(2),
    )  # fmt: skip
    runs = kit.run_kits(model, kits)
    # 160 s of 102 W into 8 kJ/K are 2.04 K: 2/5 of 6.04 and 3/5 of 30 °C. The other's 80 s:
    # 1.02 K, 2/5 of 11.02 °C.
    assert runs.mixed_c == pytest.approx([20.416, 22.408])
    # 200 s of 104 W into 20 kJ/K: 1.04 K; 50 s of 4 W: 0.01 K.
    assert runs.pour_c == pytest.approx([20.416 + 1.05, 22.408 + 0.525])
    assert runs.pour_since_s.tolist() == [250.0, 125.0]
    assert runs.pour_age_s == pytest.approx([80 + 250, 40 + 125])
    # 20 steps and the start, 5 steps of the haul, and 4 of the floor's roots.
    assert runs.since_s.shape == runs.age_s.shape == (2, 21 + 5 + 4)
    assert runs.since_s[0, 20:27] == pytest.approx([200, 210, 220, 230, 240, 250, 251])
    assert runs.since_s[:, -3:] == pytest.approx(np.array([[254, 259, 266], [129, 134, 141]]))
    # Age runs as time does, half the liquids' time ahead.
    assert runs.age_s == pytest.approx(runs.since_s + np.array([[80.0], [40.0]]))
    assert runs.excess_age_s == pytest.approx(np.zeros((2, 5)))


def test_a_film_ages_by_what_is_left_of_its_warmth():
    # Half of 10 K is left on a slab of 20 °C: 25 K of age each second at a rate of the
    # degrees, twice that in damp air; after u² seconds 50 u², of which 10 u² is its warmth.
    model = Made(film=np.full(3, 0.5), roots=np.arange(3.0), rate_at=lambda temp: temp)
    kits = Made(slab_c=np.array([20.0]), pace=np.array([2.0]))
    age_s, excess_s = kit._film(model, kits, np.array([30.0]), np.array([7.0]))
    assert age_s.tolist() == [[7.0, 57.0, 207.0]]
    assert excess_s.tolist() == [[0.0, 10.0, 40.0]]


HUMID = HumiditySlope(slope=1.0, mean=0.5, driest=0.3, dampest=0.7)


@pytest.mark.parametrize(
    ("changed", "moved"),
    [
        ({}, 0.0),
        ({"ref_s": {"wet_edge": 101.0, "foot_traffic": 200.0}}, 0.01),
        ({"ref_s": {"wet_edge": 100.0, "foot_traffic": 190.0}}, 0.05),
        ({"energy_j_mol": 55e3}, 0.1),
        ({"energy_j_mol": 40e3}, 0.2),
        ({"humidity_slope": HUMID}, 0.0),
    ],
)
def test_a_rate_has_moved_by_the_largest_of_its_changes(changed, moved):
    assert kit._moved(rate_of(), rate_of(**changed)) == pytest.approx(moved)
    assert kit._moved(rate_of(**changed), rate_of(**changed)) == 0.0


def test_a_rate_has_moved_by_its_slope_as_well():
    steeper = HumiditySlope(slope=1.25, mean=0.5, driest=0.3, dampest=0.7)
    was, now = rate_of(humidity_slope=HUMID), rate_of(humidity_slope=steeper)
    assert kit._moved(was, now) == 0.25
    assert kit._moved(was, rate_of()) == 0.0
