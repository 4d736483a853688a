"""Quick answers: the same minutes as the planner's, with their doubt and their split."""

import math
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import InputError, OutOfRangeError
from cureplan.core.messages import Message
from cureplan.output.language import Voice
from cureplan.planning.floor.ice import IceBath
from cureplan.planning.studies.quick import (
    WET_MILESTONES,
    card_clock,
    cautions,
    chill_answer,
    early_cautions,
)
from cureplan.science.kit import run_bucket

DRY = IceBath(cooler_loss=0.3, water_m3=0.0, water_c=0.0)
SUMMER = {"air_c": 35.0, "liquids_c": 3.3, "filler_c": 32.2, "bath": DRY}
# 60 to 110 °F: the slabs that the command shows.
SLABS_C = tuple((f - 32) / 1.8 for f in (60, 70, 80, 90, 100, 110))


def test_at_the_cards_own_temperature_its_own_minutes(slurry_card, topcoat_card):
    for card in (slurry_card, topcoat_card):
        for time in card_clock(card, at_c=21.0):
            given_point = card.milestones[time.milestone].points[0]
            careful_s = given_point.after_s if time.closes else given_point.after_late_s
            assert time.after_s == pytest.approx(careful_s, abs=1e-4)
            # Nine in ten: 1.2816 standard deviations of a tenth (normal tables).
            factor = math.exp(-0.12816 if time.closes else 0.12816)
            assert time.sure_s == pytest.approx(careful_s * factor, rel=1e-5)


def test_away_from_the_point_the_energy_adds_its_doubt(topcoat_card):
    # 1/294.15 - 1/305.15 = 1.22549e-4; 10 kJ/mol / R makes 0.1474; with a tenth 0.1781.
    foot = next(t for t in card_clock(topcoat_card, at_c=32.0) if t.milestone == "foot_traffic")
    assert math.log(foot.sure_s / foot.after_s) == pytest.approx(1.28155 * 0.1781, abs=2e-4)


@examples(15)
@given(at_c=st.floats(5, 40), warmer_k=st.floats(0, 8))
def test_hotter_is_never_slower(slurry_card, topcoat_card, at_c, warmer_k):
    for card in (slurry_card, topcoat_card):
        cool, warm = card_clock(card, at_c=at_c), card_clock(card, at_c=at_c + warmer_k)
        for one, other in zip(cool, warm, strict=True):
            assert other.after_s <= one.after_s + 1e-3
            assert (one.sure_s < one.after_s) == one.closes


@pytest.fixture(scope="module")
def answers(slurry_card):
    return chill_answer(slurry_card, slabs_c=SLABS_C, **SUMMER)


def test_chilling_is_worked_out_on_the_planners_own_path(slurry_card, slurry, answers):
    for liquids_c, name in ((32.2, "as_is"), (3.3, "chilled")):
        path = run_bucket(
            liquids_c, 32.2, 35.0, np.array(SLABS_C), slurry_card.reference_haul_s,
            kit=slurry.kit, speed=1.0, film_m=slurry.film_m,
            slab_effusivity=slurry.slab_effusivity,
        )  # fmt: skip
        for milestone, age_s in slurry.age_s.items():
            if milestone not in WET_MILESTONES:
                continue
            shown = [
                getattr(found, f"{name}_s")
                for answer in answers
                for found in answer.milestones
                if found.milestone == milestone
            ]
            assert shown == pytest.approx(path.when_s(age_s), abs=1e-6)
        mixed = [getattr(answer, f"{name}_mixed_c") for answer in answers]
        assert mixed == pytest.approx(path.mixed_c)


def test_gains_add_up_and_shrink_on_hotter_slabs(answers):
    for answer in answers:
        for found in answer.milestones:
            split_s = found.gained_bucket_s + found.gained_floor_s
            assert split_s == pytest.approx(found.gained_s, abs=1e-6)
            assert found.gained_s == found.chilled_s - found.as_is_s > 0
    by_slab = [[m.gained_s for m in answer.milestones] for answer in answers]
    assert np.all(np.diff(by_slab, axis=0) < 0)
    assert [answer.slab_c for answer in answers] == list(SLABS_C)


def test_mixed_temperatures_by_hand(answers):
    # Liquids 8.75 kJ/K, filler 11.76 kJ/K. As is: 150 W for 150 s warm the liquids by
    # 2.6 K, and their share of reaction by a few tenths: 33.4 to 33.8 °C. Iced: less
    # than 0.1 K of reaction, and 0.5 K from the air: 3.3 + 3.1 = 6.4 °C into 32.2.
    as_is, chilled = answers[0].as_is_mixed_c, answers[0].chilled_mixed_c
    assert 33.3 < as_is < 33.9
    assert chilled == pytest.approx((8.75 * 6.4 + 11.76 * 32.2) / 20.51, abs=0.15)


def test_ice_comes_with_the_answer(answers):
    # By hand: 8.75 kJ/K * 28.9 K * 1.3 / 333.55 kJ/kg = 0.9856 kg.
    assert answers[0].ice.ice_per_kit_kg == pytest.approx(0.9856, abs=0.001)
    assert answers[0].ice.standing_s > answers[0].ice.stirred_s > 0


def test_nothing_to_chill_gains_nothing(slurry_card):
    [same] = chill_answer(
        slurry_card, air_c=30.0, slabs_c=[30.0], liquids_c=25.0, filler_c=25.0, bath=DRY
    )
    assert same.ice.ice_per_kit_kg == 0.0
    assert [found.gained_s for found in same.milestones] == pytest.approx([0.0] * 3, abs=1e-9)


def test_refuses_liquids_below_the_cards_minimum(slurry_card):
    with pytest.raises(InputError, match="minimum"):
        chill_answer(slurry_card, slabs_c=[30.0], **{**SUMMER, "liquids_c": 1.0})


@pytest.mark.parametrize("at_c", [-60.0, 130.0, math.nan])
def test_refuses_temperatures_no_floor_has(slurry_card, topcoat_card, at_c):
    for card in (slurry_card, topcoat_card):
        with pytest.raises(OutOfRangeError):
            card_clock(card, at_c=at_c)


def test_a_card_of_ones_own_changes_its_own_answer_only(slurry_card):
    slower = replace(
        slurry_card.milestones["wet_edge"],
        points=(replace(slurry_card.milestones["wet_edge"].points[0], after_s=1080.0),),
    )
    card = replace(slurry_card, milestones={**slurry_card.milestones, "wet_edge": slower})
    shipped = {t.milestone: t.after_s for t in card_clock(slurry_card, at_c=30.0)}
    own = {t.milestone: t.after_s for t in card_clock(card, at_c=30.0)}
    changed = {name for name in own if abs(own[name] - shipped[name]) > 1e-6}
    assert changed == {"wet_edge"}
    assert own["wet_edge"] > shipped["wet_edge"]


@pytest.mark.parametrize(
    ("at_c", "codes"),
    [
        # The generic card: one point at 21 °C, slab 45 to 100 °F.
        (21.1, set()),
        (16.0, {"quick.one_point"}),
        (-1.0, {"quick.one_point", "quick.too_cold"}),
        (40.0, {"quick.one_point", "quick.too_hot"}),
    ],
)
def test_a_temperature_outside_points_or_limits_is_said(slurry_card, at_c, codes):
    assert {m.code for m in cautions(slurry_card, slab=at_c, air=at_c)} == codes


@pytest.mark.parametrize(
    ("temp_c", "limit_c", "display", "shown"),
    [
        # 38 °C is 100.4 °F; 44.6 °F is 7.00 °C against 45 °F, 7.22 °C; 7.19 °C is 44.94 °F.
        (38.0, 37.7778, "us", "100.4 °F"),
        (7.0, 7.2222, "metric", "7.0 °C"),
        (7.19, 7.2222, "metric", "7.19 °C"),
        (7.19, 7.2222, "us", "44.9 °F"),
    ],
)
def test_a_temperature_is_not_shown_as_the_limit_it_breaks(temp_c, limit_c, display, shown):
    voice = Voice(language="en", display=display, zone=ZoneInfo("UTC"), around=None)
    values = {"what": "limited.slab", "temp_c": temp_c, "limit_c": limit_c}
    assert voice.say(Message("quick.too_hot", values)).startswith(f"{shown} is above")


def test_a_card_with_two_points_names_both_ends(slurry_card):
    points = slurry_card.milestones["wet_edge"].points
    wet = replace(
        slurry_card.milestones["wet_edge"],
        points=(replace(points[0], at_c=10.0), replace(points[0], at_c=30.0, after_s=480.0)),
    )
    card = replace(slurry_card, milestones={"wet_edge": wet})
    assert cautions(card, slab=20.0) == ()
    (said,) = cautions(card, slab=35.0)
    assert (said.code, said.values["low_c"], said.values["high_c"]) == ("quick.points", 10, 30)


def test_a_clock_that_ends_in_the_bucket_is_said(slurry_card):
    # Poured 4 min after the filler; doubling for each 10 K, 16 min at 21 °C are 3 min at 45 °C.
    at_c = dict.fromkeys(("liquids_c", "filler_c", "air_c", "slab_c"), 45.0)
    early = early_cautions(slurry_card, **at_c)
    assert "wet_edge" in {said.values["clock"] for said in early}
    assert all(said.values["ends_s"] <= 240.0 == said.values["poured_s"] for said in early)
    assert early_cautions(slurry_card, **dict.fromkeys(at_c, 30.0)) == ()
