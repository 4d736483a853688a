"""The judge's own models against sources outside the project."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.api import demo_job_path, read_job
from cureplan.core.errors import OutOfRangeError
from cureplan.inputs.cards.model import Milestone, MilestonePoint, RatePrior
from cureplan.judge.ageing import RoomHours, SlabAge, fit_rate, read_card
from cureplan.judge.kit import Kits, calibrate, procedure_kits, run_kits, scaled_erfc

CARD = read_job(demo_job_path("school-kitchen")).cards.slurry
MODEL = calibrate(CARD, thickness_m=0.003575)
RATE = MODEL.rate
VAGUE = RatePrior(mean_j_mol=50e3, sd_j_mol=1e9)


def milestone(name: str, *points: tuple[float, float], spread_frac: float = 0.1) -> Milestone:
    return Milestone(
        name=name,
        clock_starts="filler_in",
        spread_frac=spread_frac,
        points=tuple(
            MilestonePoint(
                at_c=at_c,
                humidity_frac=None,
                after_s=after_s,
                after_late_s=after_s * 1.1,
                provenance="invented",
            )
            for at_c, after_s in points
        ),
    )


def with_points(card, minutes: dict[str, tuple[float, ...]], *, at_c: tuple[float, ...]):
    """A card with no belief about its energy and points at several temperatures."""
    rows = {
        name: milestone(name, *((t, 60 * m) for t, m in zip(at_c, after, strict=True)))
        for name, after in minutes.items()
    }
    return replace(card, prior=VAGUE, milestones={**card.milestones, **rows})


def kit(stage_s: tuple[float, float, float], liquids_c: float, filler_c: float, room_c: float):
    liquids_s, filler_s, haul_s = stage_s
    values = {
        "liquids_s": liquids_s,
        "filler_s": filler_s,
        "haul_s": haul_s,
        "liquids_c": liquids_c,
        "filler_c": filler_c,
        "air_c": room_c,
        "slab_c": room_c,
    }
    return Kits(**{name: np.array([value]) for name, value in ({"pace": 1.0} | values).items()})


@pytest.mark.parametrize(
    ("x", "published"),
    # Abramowitz & Stegun table 7.1 prints erf: 0.5204998778 at 0.5, 0.8427007929 at 1,
    # 0.9953222650 at 2; times exp(x²). At 50, 1/(x·sqrt(pi)) is high by 1/(2x²) = 2e-4.
    [
        (0.0, 1.0),
        (0.5, (1 - 0.5204998778) * math.exp(0.25)),
        (1.0, (1 - 0.8427007929) * math.exp(1)),
        (2.0, (1 - 0.9953222650) * math.exp(4)),
        (50.0, (1 - 2e-4) / (50 * math.sqrt(math.pi))),
    ],
)
def test_scaled_erfc_is_as_printed(x, published):
    # Ten printed digits of erf leave 1e-8 of erfc at 2; the last value is a bound to 1e-7.
    assert scaled_erfc(x) == pytest.approx(published, rel=2e-7)


def test_scaled_erfc_joins_its_far_form_without_a_step():
    # The four terms leave out 105/16·x^-8, 6.6e-8 at the joint.
    assert scaled_erfc(10.0) == pytest.approx(scaled_erfc(np.nextafter(10, 0)), rel=1e-7)


def test_ten_kelvin_double_the_rate():
    # Common practice: time halves every 10 °C. 51.2 kJ/mol gives that near 25 °C, by
    # arithmetic: R·ln 2 / (1/293.15 - 1/303.15) = 51.2 kJ/mol.
    card = read_card(RatePrior(mean_j_mol=51.2e3, sd_j_mol=1e3), {"a": milestone("a", (20, 1))})
    assert float(card.speed(30.0)) == pytest.approx(2.0, rel=2e-3)


def test_two_points_and_a_vague_belief_give_the_energy_between_them():
    # By hand: 40 min at 10 °C, 10 min at 30 °C: R·ln 4 / (1/283.15 - 1/303.15).
    edge = milestone("wet_edge", (10, 2400), (30, 600))
    card = read_card(VAGUE, {"wet_edge": edge})
    by_hand = 8.314462618 * math.log(4) / (1 / 283.15 - 1 / 303.15)
    assert card.energy_j_mol == pytest.approx(by_hand, rel=1e-6)
    assert card.ref_s["wet_edge"] == pytest.approx(2400, rel=1e-6)
    # Two points of spread s: the slope's own sd is s·sqrt(2) over their distance.
    assert card.energy_sd_j_mol == pytest.approx(
        0.1 * math.sqrt(2) * 8.314462618 / (1 / 283.15 - 1 / 303.15), rel=1e-4
    )


def test_closing_times_take_the_sooner_end_of_a_range_and_waits_the_later():
    names = ("wet_edge", "foot_traffic")
    card = read_card(VAGUE, {name: milestone(name, (21, 1000)) for name in names})
    assert card.ref_s == pytest.approx({"wet_edge": 1000, "foot_traffic": 1100})


@given(
    points=st.lists(st.tuples(st.floats(0, 40), st.floats(60, 1e5)), min_size=1, max_size=4),
    sd=st.floats(100, 20_000),
)
def test_points_never_make_the_energy_less_certain(points, sd):
    prior = RatePrior(mean_j_mol=50e3, sd_j_mol=sd)
    card = read_card(prior, {"wet_edge": milestone("wet_edge", *points)})
    assert card.energy_sd_j_mol <= sd * (1 + 1e-9)


def minutes_of_the_procedure(model, at_c: float, name: str) -> float:
    """From filler to a milestone, when the card's trials are run again at a temperature."""
    run = run_kits(model, procedure_kits(model.card, np.array([at_c])))
    return float(run.reached(model.rate.ref_s[name])[0]) / 60


def test_the_procedure_returns_the_points_of_the_card():
    # The card's points are the expectation: minutes from filler at the reference.
    for name in ("wet_edge", "working_time", "broadcast_closes"):
        after_min = CARD.milestones[name].points[0].after_s / 60
        assert minutes_of_the_procedure(MODEL, 21.0, name) == pytest.approx(
            after_min, abs=0.002
        )


def test_the_procedure_returns_points_at_two_temperatures():
    # The points are the expectation. With no belief about the energy, two points per
    # milestone, alike in ratio, leave it little to miss: the procedure's minutes are not
    # quite alike in ratio, so the one energy of three milestones is a compromise.
    points = {"wet_edge": (16, 11), "working_time": (20, 13.75), "broadcast_closes": (26, 17.9)}
    model = calibrate(with_points(CARD, points, at_c=(21.0, 30.0)), thickness_m=0.003575)
    for name, wanted_min in points.items():
        for at_c, after_min in zip((21.0, 30.0), wanted_min, strict=True):
            got_min = minutes_of_the_procedure(model, at_c, name)
            assert got_min == pytest.approx(after_min, abs=0.1)


def test_minutes_in_the_liquids_count_towards_a_points_age():
    # By hand, for a batch with no heat of its own: at T it has gained k(T)·(0.2·2.5 + t)
    # by t minutes after the filler, and 16 min at 21 °C, 11 min at 30 °C give the energy
    # R·ln(16.5 / 11.5) / (1/294.15 - 1/303.15) and the age 16.5 min.
    two = with_points(CARD, {"wet_edge": (16, 11)}, at_c=(21.0, 30.0))
    cold = replace(two, bucket_heat_rise_k=0.0, mixing_power_w=0.0)
    rate = calibrate(cold, thickness_m=0.003575).rate
    by_hand = 8.314462618 * math.log(16.5 / 11.5) / (1 / 294.15 - 1 / 303.15)
    assert rate.energy_j_mol == pytest.approx(by_hand, rel=1e-4)
    assert rate.ref_s["wet_edge"] == pytest.approx(60 * 16.5, rel=1e-6)


def test_a_batchs_own_warmth_does_not_pass_for_the_reaction():
    # Minutes of a batch whose energy is known, 50 kJ/mol, and that warms itself, taken
    # for points: the energy is found again, though 1/T against them gives more.
    at_c = (21.0, 30.0)
    after = tuple(minutes_of_the_procedure(MODEL, t, "working_time") for t in at_c)
    plain = 8.314462618 * math.log(after[0] / after[1]) / (1 / 294.15 - 1 / 303.15)
    assert plain > 55e3
    two = with_points(CARD, {"working_time": after}, at_c=at_c)
    found = calibrate(two, thickness_m=0.003575).rate
    # The grids of the two runs alone stand between them.
    assert found.energy_j_mol == pytest.approx(RATE.energy_j_mol, rel=1e-3)
    assert found.ref_s["working_time"] == pytest.approx(RATE.ref_s["working_time"], rel=1e-4)


def test_a_mix_that_boils_at_once_has_no_rate():
    # 80 K of its own warmth speed a batch a hundredfold; no age ends at 20 min then.
    hot = replace(CARD, bucket_heat_rise_k=80.0)
    with pytest.raises(OutOfRangeError, match="do not settle"):
        calibrate(hot, thickness_m=0.003575)


def test_a_film_is_followed_for_four_hours():
    # 14 400 s are 120 in roots of a second, in steps of a tenth.
    model = calibrate(CARD, thickness_m=0.003575)
    assert model.film.size == model.roots.size == 1201
    assert (model.roots[0], model.roots[-1]) == (0.0, pytest.approx(120.0))


def test_a_bucket_left_standing_warms_by_the_rise_on_its_card():
    # The card's own definition: no power, no exchange, reference start, until its
    # working time ends. Liquids stirred for no time, so that all heat meets the kit.
    bare = replace(CARD, mixing_power_w=0.0, bucket_exchange_w_k=0.0)
    model = calibrate(bare, thickness_m=0.003575)
    age_s = model.rate.ref_s["working_time"]
    standing = run_kits(model, kit((0.0, 180.0, 7200.0), RATE.ref_c, RATE.ref_c, RATE.ref_c))
    assert float(standing.reached(age_s)[0]) < 7200
    warmed_k = float(standing.pour_c[0]) - RATE.ref_c
    rise_k = CARD.bucket_heat_rise_k * float(standing.pour_age_s[0]) / age_s
    assert warmed_k == pytest.approx(rise_k, rel=1e-6)


def test_a_dead_bucket_cools_as_newton_says():
    # Newton's law of cooling: exp(-U t / C) of the difference is left.
    dead = replace(CARD, bucket_heat_rise_k=0.0, mixing_power_w=0.0, bucket_exchange_w_k=20.0)
    model = calibrate(dead, thickness_m=0.003575)
    run = run_kits(model, kit((0.0, 0.0, 900.0), 40.0, 40.0, 20.0))
    left = math.exp(-20.0 * 900.0 / CARD.kit_heat_capacity_j_k)
    assert float(run.pour_c[0]) == pytest.approx(20 + 20 * left, abs=1e-6)


def test_parts_meet_at_their_heat_weighted_mean():
    # By hand: 5 kg of liquids hold 2.5·1900 + 2.5·1600 = 8750 J/K, 14 kg of filler
    # 14·840 = 11760 J/K; (8750·4 + 11760·30) / 20510 = 18.908 °C.
    cold = replace(CARD, mixing_power_w=0.0, bucket_heat_rise_k=0.0, bucket_exchange_w_k=0.0)
    model = calibrate(cold, thickness_m=0.003575)
    run = run_kits(model, kit((150.0, 180.0, 45.0), 4.0, 30.0, 25.0))
    assert float(run.mixed_c[0]) == pytest.approx(18.908, abs=5e-4)


def test_on_a_slab_of_its_own_warmth_a_film_ages_at_one_rate():
    # Exact: at 31 °C throughout, so many seconds on the floor are k(31) as many of age.
    still = replace(CARD, mixing_power_w=0.0, bucket_heat_rise_k=0.0)
    model = calibrate(still, thickness_m=0.003575)
    run = run_kits(model, kit((0.0, 0.0, 0.0), 31.0, 31.0, 31.0))
    assert float(run.reached(3000.0)[0]) == pytest.approx(
        3000.0 / float(RATE.speed(31.0)), rel=1e-5
    )


def test_a_warmer_slab_is_older():
    at_s = np.arange(0, 25 * 3600.0, 3600.0)
    flat = np.full_like(at_s, 20.0)
    hours = RoomHours(at_s=at_s, air_c=flat, slab_c=flat + 6.0, shade_c=flat, dew_c=flat - 5.0)
    # Exact at a constant temperature: a day of it is a day times the rate. What closes is
    # timed on the slab in the sun, what is waited for on the shade.
    closes, waits = (SlabAge.of(hours, RATE, closing=closing) for closing in (True, False))
    assert float(closes.gathered(86_400.0)) == pytest.approx(86_400 * float(RATE.speed(26.0)))
    assert float(waits.gathered(86_400.0)) == pytest.approx(86_400 * float(RATE.speed(20.0)))
    assert float(closes.gathered(86_400.0)) > float(waits.gathered(86_400.0))
    for age in (closes, waits):
        assert float(age.reached(age.age_s[-1] + 1)) == math.inf


@given(liquids_c=st.floats(2, 35), filler_c=st.floats(10, 40), room_c=st.floats(10, 40))
def test_a_hastened_batch_never_lasts_longer(liquids_c, filler_c, room_c):
    one = kit((150.0, 180.0, 45.0), liquids_c, filler_c, room_c)
    age_s = RATE.ref_s["wet_edge"]
    plain_s = float(run_kits(MODEL, one).reached(age_s)[0])
    fast_s = float(run_kits(replace(MODEL, age_factor=1.2), one).reached(age_s)[0])
    assert fast_s < plain_s


def test_the_judges_rate_is_the_one_of_least_squares():
    # Two unknowns, ln(time) over heat and over humidity, and a prior on the first: as
    # numpy's least squares finds them with the prior as one more row.
    where = [(18.0, 0.3), (18.0, 0.6), (24.0, 0.7), (30.0, 0.4)]
    hours = [4.1, 3.2, 2.4, 2.3]
    points = tuple(
        MilestonePoint(
            at_c=c,
            humidity_frac=share,
            after_s=3600 * h,
            after_late_s=3600 * h,
            provenance="invented",
        )
        for (c, share), h in zip(where, hours, strict=True)
    )
    dry = Milestone(name="recoat", clock_starts="coat_end", points=points, spread_frac=0.2)
    found = fit_rate(
        RatePrior(mean_j_mol=50e3, sd_j_mol=10e3), {"recoat": dry},
        {"recoat": 3600 * np.array(hours)},
    )  # fmt: skip
    mean = np.mean([share for _, share in where])
    rows = np.array([[1 / (c + 273.15) / 8.314462618, share - mean] for c, share in where])
    sides = np.log(3600 * np.array(hours))
    rows, sides = (rows - rows.mean(axis=0)) / 0.2, (sides - sides.mean()) / 0.2
    (energy, slope), *_ = np.linalg.lstsq(
        # In kJ/mol, or the two would differ by too much.
        np.vstack([rows * [1e3, 1.0], [1.0 / 10.0, 0.0]]), np.append(sides, 50.0 / 10.0),
        rcond=None,
    )  # fmt: skip
    assert found.energy_j_mol == pytest.approx(1e3 * energy, rel=1e-6)
    assert found.humidity_slope is not None
    assert found.humidity_slope.slope == pytest.approx(slope, rel=1e-6)
