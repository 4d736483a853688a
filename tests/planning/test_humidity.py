"""Cards that speak of humidity: clocks that follow the room's air, hour by hour."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.api import make_plan
from cureplan.core.errors import InputError, OutOfRangeError
from cureplan.inputs.cards.reader import read_card
from cureplan.judge import judge
from cureplan.planning.plan import kits
from cureplan.planning.plan.kits import _shares
from cureplan.planning.plan.model import plan_from_json, plan_to_json
from cureplan.science.clocks import slurry_clocks, topcoat_clocks
from cureplan.science.fit import fit_kinetics
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.humidity import HumidityRate, carries_factor
from cureplan.science.rate import AgeCurve

SLURRY, TOPCOAT = read_card("fast-slurry"), read_card("clear-topcoat")
NIGHT_BEFORE = timedelta(hours=23)


def damp(card, slope, *, dry=0.4, wet=0.6):
    """The card with each point split in two, drier and damper, `slope` apart in ln(time)."""
    middle, milestones = (dry + wet) / 2.0, {}
    for name, milestone in card.milestones.items():
        points = []
        for share in (dry, wet):
            factor = math.exp(slope * (share - middle))
            points += [
                replace(
                    point,
                    humidity_frac=share,
                    after_s=point.after_s * factor,
                    after_late_s=point.after_late_s * factor,
                )
                for point in milestone.points
            ]
        milestones[name] = replace(milestone, points=tuple(points))
    return replace(card, milestones=milestones)


def slurry(card):
    return slurry_clocks(card, film_m=0.003175, slab_effusivity=SLAB_EFFUSIVITY)


def test_a_topcoats_factor_is_the_one_its_points_were_made_with():
    # By hand: ln(time) falls by 1.2 per unit of humidity, so a fifth of it apart the
    # times differ by exp(0.24); half way between them they are the plain card's.
    clocks = topcoat_clocks(damp(TOPCOAT, -1.2))
    assert clocks.humidity.slope == pytest.approx(-1.2, rel=1e-9)
    assert clocks.humidity.reference_frac == pytest.approx(0.5)
    plain = topcoat_clocks(TOPCOAT)
    assert plain.humidity is None
    for name, age_s in plain.age_s.items():
        assert clocks.age_s[name] == pytest.approx(age_s, rel=1e-9)
    assert clocks.fit.energy_sd_j_mol == pytest.approx(plain.fit.energy_sd_j_mol, rel=1e-6)


def test_at_a_steady_humidity_waits_are_as_by_hand():
    # By hand: at 21 °C throughout, 60 % against a reference of 50 %, slope -1.2: k is
    # exp(0.12) = 1.12750, so 3.5 h of age at the reference pass in 3.5 / 1.1275 = 3.1042 h.
    pace = HumidityRate(slope=-1.2, reference_frac=0.5, low_frac=0.3, high_frac=0.7)
    hours_s = np.arange(0.0, 11 * 3600.0, 3600.0)
    curve = AgeCurve(
        hours_s, np.full(11, 21.0), activation_energy_j_mol=50e3, reference_c=21.0,
        piece_s=120.0, rate_factors=pace.at(np.full(11, 0.6)),
    )  # fmt: skip
    assert float(curve.when(start_s=0.0, age_s=3.5 * 3600.0)) / 3600.0 == pytest.approx(
        3.1042, abs=1e-4
    )


def test_a_slurrys_procedure_passes_through_its_points_at_each_humidity():
    from cureplan.science.kit import run_bucket

    # Tolerance: one factor serves seven milestones, and a hastened batch warms itself a
    # little differently, so the fit passes within 1 % of each.
    card = damp(SLURRY, -1.0)
    clocks = slurry(card)
    for name in ("wet_edge", "working_time", "broadcast_closes"):
        for point in card.milestones[name].points:
            path = run_bucket(
                point.at_c, point.at_c, point.at_c, point.at_c, card.reference_haul_s,
                kit=clocks.kit, speed=clocks.humidity.at(point.humidity_frac),
                film_m=clocks.film_m, slab_effusivity=clocks.slab_effusivity,
            )  # fmt: skip
            assert float(path.when_s(clocks.age_s[name])[0]) == pytest.approx(
                point.after_s, rel=0.01
            )


def test_a_card_without_humidity_is_as_it_was():
    # One humidity for all points says nothing of its effect.
    milestones = {
        name: replace(m, points=tuple(replace(point, humidity_frac=0.5) for point in m.points))
        for name, m in SLURRY.milestones.items()
    }
    told, plain = slurry(replace(SLURRY, milestones=milestones)), slurry(SLURRY)
    assert told.humidity is None
    assert told.age_s == plain.age_s
    assert told.fit.activation_energy_j_mol == plain.fit.activation_energy_j_mol


def only(card, name, slope):
    """The card with humidities on one milestone's points alone."""
    told = damp(card, slope, dry=0.35, wet=0.75)
    return replace(card, milestones={**card.milestones, name: told.milestones[name]})


@pytest.mark.parametrize("slope", [-1.5, 1.5])
def test_humidity_on_one_milestone_opens_no_other_sooner_and_closes_none_later(slope):
    # The bare points were taken at the labelled ones' mean, and a second
    # coat's window closed hours after the sheet's own time.
    plain, told = topcoat_clocks(TOPCOAT), topcoat_clocks(only(TOPCOAT, "recoat_opens", slope))
    assert told.humidity.slope == pytest.approx(slope, rel=1e-9)
    for share in (0.2, 0.35, 0.5, 0.75, 0.95):
        rate = float(told.humidity.at(share))
        for name in set(TOPCOAT.milestones) - {"recoat_opens"}:
            after_s, printed_s = told.age_s[name] / rate, plain.age_s[name]
            closes = name in ("working_time", "recoat_closes")
            assert (
                after_s <= printed_s * 1.0000001 if closes else after_s >= printed_s * 0.99999
            )


def test_a_slurrys_bare_milestones_stay_on_the_cautious_side_of_their_points():
    from cureplan.science.kit import run_bucket

    card = only(SLURRY, "foot_traffic", -1.5)
    clocks = slurry(card)
    for share in (0.3, 0.55, 0.8):
        path = run_bucket(
            21.0, 21.0, 21.0, 21.0, card.reference_haul_s, kit=clocks.kit,
            speed=clocks.humidity.at(share), film_m=clocks.film_m,
            slab_effusivity=clocks.slab_effusivity,
        )  # fmt: skip
        for name in ("wet_edge", "working_time", "broadcast_closes"):
            printed_s = SLURRY.milestones[name].points[0].after_s
            assert float(path.when_s(clocks.age_s[name])[0]) <= printed_s * 1.001


def test_a_milestone_with_and_without_humidity_is_refused():
    told = damp(TOPCOAT, -1.0).milestones["recoat_opens"]
    bare = replace(told.points[0], humidity_frac=None, at_c=30.0, after_s=6000.0)
    mixed = replace(told, points=(*told.points, bare))
    card = replace(TOPCOAT, milestones={**TOPCOAT.milestones, "recoat_opens": mixed})
    with pytest.raises(InputError, match="every point of this milestone") as caught:
        topcoat_clocks(card)
    assert caught.value.key == "milestones.recoat_opens.points"


def test_heat_and_humidity_together_do_not_become_energy():
    # 30 °C at 80 % against 21 °C at 40 % says nothing of heat alone.
    first = TOPCOAT.milestones["recoat_opens"].points[0]
    points = (
        replace(first, at_c=21.0, humidity_frac=0.4),
        replace(first, at_c=30.0, humidity_frac=0.8, after_s=first.after_s / 4,
                after_late_s=first.after_late_s / 4),
    )  # fmt: skip
    told = replace(TOPCOAT.milestones["recoat_opens"], points=points)
    card = replace(TOPCOAT, milestones={**TOPCOAT.milestones, "recoat_opens": told})
    with pytest.raises(InputError, match="heat and in humidity together"):
        topcoat_clocks(card)


@given(slope=st.floats(-2.0, 2.0), one=st.floats(0.0, 1.0), other=st.floats(0.0, 1.0))
def test_damper_air_never_slows_what_moisture_hastens(slope, one, other):
    pace = HumidityRate(slope=slope, reference_frac=0.5, low_frac=0.2, high_frac=0.8)
    drier, damper = sorted((one, other))
    gained = float(pace.at(damper) - pace.at(drier))
    assert gained * -slope >= -1e-12


@given(shift=st.floats(-0.3, 0.3), slope=st.floats(-2, 2))
def test_the_reference_humidity_is_only_a_convention(shift, slope):
    at_c, damper = [15.0, 30.0, 21.0, 21.0], np.array([0.0, 0.0, -0.15, 0.15])
    times = [3000.0, 1500.0, 2200.0 * math.exp(-0.15 * slope), 2200.0 * math.exp(0.15 * slope)]
    fits = [
        fit_kinetics(
            at_c, times, [0] * 4, spread_frac=0.1, reference_c=21.0,
            prior_mean_j_mol=50e3, prior_sd_j_mol=10e3, humidity_above_frac=damper + moved,
        )
        for moved in (0.0, shift)
    ]  # fmt: skip
    assert fits[1].humidity_slope == pytest.approx(fits[0].humidity_slope, abs=1e-8)
    assert fits[0].humidity_slope == pytest.approx(slope, abs=1e-8)
    assert fits[1].activation_energy_j_mol == pytest.approx(fits[0].activation_energy_j_mol)
    lower = fits[1].ln_reference_s[0] + fits[1].humidity_slope * shift
    assert lower == pytest.approx(fits[0].ln_reference_s[0], abs=1e-8)


def test_nonsense_is_refused():
    pace = HumidityRate(slope=-1.0, reference_frac=0.5, low_frac=0.2, high_frac=0.8)
    for humidity in (-0.01, 1.01, 55.0):
        with pytest.raises(OutOfRangeError, match="humidity_frac"):
            pace.at(humidity)
    with pytest.raises(OutOfRangeError, match="rate_factors"):
        AgeCurve([0, 1], [20, 20], activation_energy_j_mol=5e4, reference_c=21, piece_s=60,
                 rate_factors=[1.0, 0.0])  # fmt: skip
    with pytest.raises(OutOfRangeError, match="humidity"):
        fit_kinetics(
            [21.0, 21.0], [1000.0, 1200.0], [0, 1], spread_frac=0.1, reference_c=21.0,
            prior_mean_j_mol=50e3, prior_sd_j_mol=10e3, humidity_above_frac=[-0.1, 0.1],
        )  # fmt: skip
    assert not carries_factor([21.0, 21.0], [0.5, math.nan], [0, 0])


@pytest.fixture(scope="module")
def small_job(demo_job):
    rooms = tuple(demo_job.room(name) for name in ("Dish room", "Corridor"))
    return replace(demo_job, rooms=rooms)


def planned(job, weather, *, slurry_slope=0.0, coat_slope=0.0):
    cards = job.cards
    if slurry_slope:
        cards = replace(cards, slurry=damp(cards.slurry, slurry_slope, dry=0.3, wet=0.7))
    if coat_slope:
        cards = replace(cards, topcoat=damp(cards.topcoat, coat_slope, dry=0.3, wet=0.7))
    now = job.access.begins - NIGHT_BEFORE
    return make_plan(replace(job, cards=cards), now=now, weather=weather, what_helps=False)


def codes(plan):
    told = [source.detail.code for source in plan.sources if source.detail is not None]
    return {*told, *(warning.code for warning in plan.warnings)}


@pytest.fixture(scope="module")
def damp_plan(small_job, demo_weather):
    return planned(small_job, demo_weather, slurry_slope=-0.6, coat_slope=-1.0)


@pytest.mark.thorough
def test_a_plan_with_damp_cards_is_confirmed_and_says_so(damp_plan, small_job, demo_weather):
    # `make_plan` shows nothing the judge, which has humidity by its own road, refuses.
    assert judge(damp_plan) == ()
    assert "source.humidity" in codes(damp_plan)
    plain = planned(small_job, demo_weather)
    assert "source.humidity" not in codes(plain)
    assert plan_from_json(plan_to_json(damp_plan)).job.cards == damp_plan.job.cards


@pytest.mark.thorough
def test_the_judge_finds_a_factor_left_out(damp_plan, small_job, demo_weather):
    # A plan made without the factor, given the card that has one.
    plain = planned(small_job, demo_weather)
    cards = replace(plain.job.cards, topcoat=damp_plan.job.cards.topcoat)
    told = replace(plain, job=replace(plain.job, cards=cards))
    assert {finding.rule for finding in judge(told)} >= {"opening"}
    cards = replace(plain.job.cards, slurry=damp_plan.job.cards.slurry)
    told = replace(plain, job=replace(plain.job, cards=cards))
    assert {finding.rule for finding in judge(told)} >= {"margins"}


@pytest.mark.thorough
def test_a_bare_closing_is_judged_as_planned_and_pot_life_follows_the_air(
    small_job, demo_weather
):
    cards = small_job.cards
    told = replace(cards, topcoat=only(cards.topcoat, "recoat_opens", -1.5))
    now = small_job.access.begins - NIGHT_BEFORE
    plan = make_plan(
        replace(small_job, cards=told), now=now, weather=demo_weather, what_helps=False
    )
    assert judge(plan) == ()
    fit = topcoat_clocks(cards.topcoat).fit
    order = list(cards.topcoat.milestones).index("working_time")
    printed_min = [float(fit.time_s(coat.slab_c, order)) / 60.0 for coat in plan.coats]
    working_min = [coat.batch_working_min for coat in plan.coats]
    assert all(w <= p + 0.01 for w, p in zip(working_min, printed_min, strict=True))
    assert min(w / p for w, p in zip(working_min, printed_min, strict=True)) < 0.95


@pytest.mark.thorough
def test_weather_without_humidity_or_beyond_the_points_is_told(small_job, demo_weather):
    dry = replace(demo_weather, dew_c=np.full_like(demo_weather.dew_c, np.nan))
    assert "warn.humidity_unknown" in codes(planned(small_job, dry, coat_slope=-1.0))
    arid = replace(demo_weather, dew_c=np.full_like(demo_weather.dew_c, -10.0))
    assert "warn.humidity_beyond" in codes(planned(small_job, arid, coat_slope=-1.0))


def test_the_air_of_a_job_is_that_of_its_hours_first_and_last_among_them():
    hours_s = np.arange(-1.0, 4.0) * 3600.0
    air = SimpleNamespace(epoch_s=hours_s, humidity_at=lambda at_s: at_s / 36_000.0)
    at = [datetime(1970, 1, 1, hour, tzinfo=UTC) for hour in (0, 2)]
    job = SimpleNamespace(access=SimpleNamespace(begins=at[0], open_by=at[1]))
    shares = _shares(job, {"room": SimpleNamespace(conditions=air)})
    assert shares.tolist() == [0.0, 0.1, 0.2]


@pytest.mark.parametrize(
    ("shares", "told"),
    # The card's points go from 0.5 to 0.75; up to 1/64 beyond nothing is said.
    [((0.484375, 0.765625), False), ((0.46875, 0.6), True), ((0.6, 0.78125), True)],
)
def test_air_a_little_beyond_a_cards_points_is_let_pass(shares, told, monkeypatch):
    monkeypatch.setattr(kits, "BEYOND_FRAC", 1 / 64)
    monkeypatch.setattr(kits, "_shares", lambda *_: np.array(shares))
    rate = SimpleNamespace(low_frac=0.5, high_frac=0.75, reference_frac=0.5)
    card = SimpleNamespace(title="Card")
    monkeypatch.setattr(kits, "_cards", lambda *_: [(card, rate)])
    said = kits.humidity_warnings(None, {})
    assert [each.code for each in said] == ["warn.humidity_beyond"] * told
