"""Material cards: the shipped ones, and what a sound one of one's own is read as."""

from __future__ import annotations

import copy
from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest

from cureplan.core.errors import InputError
from cureplan.inputs.cards.model import SLURRY_MILESTONES, TOPCOAT_MILESTONES, TemperatureLimits
from cureplan.inputs.cards.reader import read_card, read_card_text, shipped_cards

POUND_KG = 0.45359237
SQ_FT_M2 = 0.09290304
GALLON_M3 = 0.003785411784

ORIGINS = ("common practice", "from memory", "invented")


def test_the_shipped_slurry():
    # Common practice, no source: 1/8 in thick, liquids mixed 2-3 min, filler 3 min; the
    # rest is invented in round numbers. Expected values worked by hand.
    card = read_card("fast-slurry")
    assert card.kit_mass_kg == pytest.approx(2.5 + 2.5 + 14.0)
    assert card.mixed_yield_m3 == pytest.approx(0.0095)
    assert card.thickness_m == pytest.approx(0.003175)
    assert 120 <= card.liquids_mix_s <= 180
    assert (card.filler_mix_s, card.turnaround_s) == (180, 90)
    assert [part.name for part in card.liquids] == ["resin", "hardener"]
    assert [part.name for part in card.filler] == ["filler"]
    # 2.5 * 1.9 + 2.5 * 1.6 + 14 * 0.84 = 20.51 kJ/K.
    assert card.kit_heat_capacity_j_k == pytest.approx(20_510)
    assert card.bucket_heat_rise_k == pytest.approx(8.0)
    assert card.prior.mean_j_mol == 50_000
    assert card.prior.sd_j_mol == 10_000
    assert card.generic


def test_the_parts_of_the_shipped_slurry_fill_its_yield():
    # The densities are from memory; a mix holds a few percent of air at the most.
    card = read_card("fast-slurry")
    volume_m3 = sum(part.mass_kg / part.density_kg_m3 for part in card.parts)
    assert card.mixed_yield_m3 == pytest.approx(volume_m3, rel=0.05)


def minutes_at_reference(card):
    return {
        name: (milestone.points[0].after_s / 60, milestone.points[0].after_late_s / 60)
        for name, milestone in card.milestones.items()
    }


def test_milestones_of_the_shipped_slurry():
    card = read_card("fast-slurry")
    assert {p.at_c for m in card.milestones.values() for p in m.points} == {21.0}
    assert {m.clock_starts for m in card.milestones.values()} == {"filler_in"}
    assert minutes_at_reference(card) == {
        "wet_edge": (16, 16),
        "working_time": (20, 20),
        "broadcast_closes": (26, 26),
        "foot_traffic": (300, 300),
        "topcoat_opens": (300, 300),
        "topcoat_closes": (1440, 1440),
    }
    assert set(card.milestones) == set(SLURRY_MILESTONES) - {"broadcast_opens"}


def test_the_shipped_topcoat():
    # Common practice, no source: 1:1 by volume, mixed 2 min, second coat after 3.5-4 h.
    card = read_card("clear-topcoat")
    assert card.ratio == (1.0, 1.0)
    assert card.mix_s == 120
    assert card.batch_m3 == pytest.approx(2 * GALLON_M3)
    assert card.spread_first_m2_m3 == pytest.approx(90 * SQ_FT_M2 / GALLON_M3)
    assert {m.clock_starts for m in card.milestones.values()} == {"mixed"}
    assert minutes_at_reference(card) == {
        "working_time": (20, 20),
        "recoat_opens": (210, 240),
        "recoat_closes": (1080, 1080),
        "foot_traffic": (300, 300),
        "wheels": (1440, 1440),
        "wash_down": (2880, 2880),
    }
    assert tuple(card.milestones) == TOPCOAT_MILESTONES


def test_the_shipped_aggregate_and_primer():
    quartz, primer = read_card("quartz"), read_card("slab-primer")
    assert quartz.kept_kg_m2 == pytest.approx(0.5 * POUND_KG / SQ_FT_M2)
    assert quartz.swept_kg_m2 == quartz.kept_kg_m2
    assert quartz.bag_kg == pytest.approx(50 * POUND_KG)
    assert primer.spread_m2_m3 == pytest.approx(200 * SQ_FT_M2 / GALLON_M3)


@pytest.mark.parametrize("name", shipped_cards())
def test_every_shipped_value_says_where_it_comes_from(name):
    card = read_card(name)
    assert card.generic
    assert card.provenance
    for origin in card.provenance.values():
        assert origin.startswith(ORIGINS)
    for milestone in getattr(card, "milestones", {}).values():
        assert f"milestones.{milestone.name}.points" in card.provenance
        assert f"milestones.{milestone.name}.spread" in card.provenance
        assert all(point.provenance.startswith(ORIGINS) for point in milestone.points)


def test_common_practice_is_told_from_memory():
    slurry, topcoat = read_card("fast-slurry"), read_card("clear-topcoat")
    assert slurry.provenance["kit.thickness"] == "common practice"
    assert slurry.provenance["mixing.filler"] == "common practice"
    assert slurry.provenance["kit.yield"] == "invented"
    assert slurry.provenance["bucket.heat_rise"].startswith("invented")
    assert topcoat.milestones["recoat_opens"].points[0].provenance == "common practice"
    assert topcoat.milestones["recoat_closes"].points[0].provenance == "invented"


@pytest.mark.parametrize("name", shipped_cards())
def test_cards_are_frozen_and_can_be_copied(name):
    card = read_card(name)
    assert is_dataclass(card)
    assert copy.deepcopy(card) == card
    with pytest.raises(AttributeError):
        setattr(card, fields(card)[0].name, "other")


def test_points_at_several_temperatures_and_humidities(topcoat_text):
    text = topcoat_text.replace(
        'points = [{ at = "21 C", after = "18 h" }]',
        """points = [
            { at = "70 F", humidity = "50 %", after = "18 h", source = "sheet, row 1" },
            { at = "90 F", humidity = "50 %", after = "9-10 h" },
            { at = "70 F", humidity = "80 %", after = "12 h" },
        ]""",
    )
    card = read_card_text(text, source=Path("mine.toml"))
    points = card.milestones["recoat_closes"].points
    assert [round(point.at_c, 4) for point in points] == [21.1111, 32.2222, 21.1111]
    assert [point.humidity_frac for point in points] == [0.5, 0.5, 0.8]
    assert [(point.after_s, point.after_late_s) for point in points] == [
        (64_800, 64_800),
        (32_400, 36_000),
        (43_200, 43_200),
    ]
    assert [point.provenance for point in points] == [
        "sheet, row 1",
        "invented",
        "invented",
    ]
    assert card.key == "mine"


def test_what_a_card_leaves_out_says_so(slurry_text):
    text = slurry_text.replace('spread = "10 %"\n', "").partition("[provenance]")[0]
    text = text.replace('[rate]\nmean = "50 kJ/mol"', '[rate]\nmean = "55 kJ/mol"')
    text = text.replace('sd = "10 kJ/mol"', "").replace("generic = true ", "")
    text = text.replace('source = "invented"             #', 'source = "data sheet in hand" #')
    card = read_card_text(text, source=Path("mine.toml"))
    assert not card.generic
    assert card.milestones["wet_edge"].spread_frac == 0.1
    assert card.provenance["milestones.wet_edge.spread"] == "default: invented"
    assert card.provenance["rate.sd"] == "default: from memory"
    assert card.provenance["rate.mean"] == "data sheet in hand"
    assert card.provenance["kit.yield"] == "data sheet in hand"
    assert card.prior.mean_j_mol == 55_000


def test_a_milestone_may_start_its_clock_elsewhere(slurry_text):
    text = slurry_text.replace(
        "[milestones.foot_traffic]", '[milestones.foot_traffic]\nclock = "mixed"'
    )
    card = read_card_text(text, source=Path("mine.toml"))
    assert card.milestones["foot_traffic"].clock_starts == "mixed"
    assert card.milestones["wet_edge"].clock_starts == "filler_in"


def test_a_card_by_path_may_lie_anywhere(tmp_path, slurry_text):
    (tmp_path / "mine.toml").write_text(slurry_text, encoding="utf-8")
    named = read_card("mine.toml", folder=tmp_path)
    assert named == read_card(tmp_path / "mine.toml")
    assert named.key == "mine"


def test_a_card_without_limits_takes_those_from_memory():
    shipped = (
        Path(__file__).parents[2] / "cureplan/inputs/cards/shipped/fast-slurry.toml"
    ).read_text()
    first, _, rest = shipped.replace('limits = "from memory"\n', "").partition("[limits]")
    card = read_card_text(first + rest.partition("\n\n")[2], source=Path("own.toml"))
    # 45 to 100 °F for slab and air, 50 to 100 °F for material and mix.
    assert card.limits.slab_c == card.limits.air_c == pytest.approx((65 / 9, 340 / 9))
    assert card.limits.material_c == card.limits.mixed_c == pytest.approx((10.0, 340 / 9))
    assert card.limits == TemperatureLimits()
    assert "from memory" in card.provenance["limits.lowest_slab"]


def test_a_card_of_ones_own_keeps_its_limits():
    text = (
        Path(__file__).parents[2] / "cureplan/inputs/cards/shipped/clear-topcoat.toml"
    ).read_text()
    own = text.replace('lowest_slab = "40 F"', 'lowest_slab = "-10 C"')
    assert read_card_text(own, source=Path("own.toml")).limits.slab_c[0] == pytest.approx(-10.0)


PRINTED = {
    "16 to 18 h at 70 F, 50 % RH": (16, 18, 21.111, 0.5),
    "16-18 h @ 70°F (21°C), 50% RH": (16, 18, 21.111, 0.5),
    "16 – 18 hours at 70 degrees F and 50 % R.H.": (16, 18, 21.111, 0.5),
    "16-1/2 to 18 hrs. at 21 C": (16.5, 18, 21.0, None),
    "18 h at 21,5 °C / 55 %": (18, 18, 21.5, 0.55),
    "16 to 18 horas @ 70℉/50%RH": (16, 18, 21.111, 0.5),
    '{ after = "16h30 @ 70F (21C)" }': (16.5, 16.5, 21.111, None),
    '{ at = "70˚F (21 ℃)", after = "16⅓ h", humidity = "50 %" }': (49 / 3, 49 / 3, 21.111, 0.5),
    '{ at = "21 C", after = "18 h at 70 F/50 %" }': (18, 18, 21.0, 0.5),
}
CONTRADICTING = {
    '{ at = "75° F (20° C)", after = "18 h" }': "75° F is not 20° C",
    '{ at = "21 C", after = "18 h @ 80F" }': "80F is not the 21 C of at",
    '{ after = "18 h at 70 F / 55 %", humidity = "50 %" }': "55 % is not the 50 % of humidity",
}


def written(text):
    return text if text.startswith("{") else f'"{text}"'


@pytest.mark.parametrize("text", CONTRADICTING)
def test_two_conditions_that_contradict_each_other_are_asked_about(topcoat_text, text):
    card = topcoat_text.replace('{ at = "21 C", after = "18 h" }', text)
    with pytest.raises(InputError, match=CONTRADICTING[text]) as caught:
        read_card_text(card, source=Path("mine.toml"))
    assert "leave the right one of the two" in str(caught.value)


@pytest.mark.parametrize("text", PRINTED)
def test_what_a_sheet_prints_is_typed_as_printed(topcoat_text, text):
    # By hand: 70 °F is 21.111 °C.
    card = read_card_text(
        topcoat_text.replace('{ at = "21 C", after = "18 h" }', written(text)),
        source=Path("mine.toml"),
    )
    (point,) = card.milestones["recoat_closes"].points
    soonest_h, latest_h, at_c, share = PRINTED[text]
    assert (point.after_s, point.after_late_s) == pytest.approx(
        (3600 * soonest_h, 3600 * latest_h)
    )
    assert point.at_c == pytest.approx(at_c, abs=1e-3)
    assert point.humidity_frac == share
