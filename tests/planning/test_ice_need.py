"""Ice: how much by the heat it melts with, how long, and what it buys where."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import InputError
from cureplan.inputs.cards.model import Part
from cureplan.planning.floor.ice import IceBath, gain_from_ice, ice_need, steady_run
from cureplan.planning.plan.answers import _no_ice_reason, _un_iced


def bath_of(loss, *, litres=0.0, water_c=0.0):
    return IceBath(cooler_loss=loss, water_m3=litres / 1000.0, water_c=water_c)


@pytest.fixture(scope="module")
def two_pails(slurry_card):
    """The pails of the checks: 2 x 2.5 kg, 1.9 kJ/kgK; the filler is the card's."""
    liquid = Part(
        name="liquid", kind="liquid", mass_kg=2.5, specific_heat_j_kg_k=1900.0,
        density_kg_m3=1100.0, provenance="from memory",
    )  # fmt: skip
    return replace(slurry_card, parts=(liquid, replace(liquid, name="b"), *slurry_card.filler))


@pytest.mark.parametrize(("loss", "expected_kg"), [(0.0, 0.88), (0.3, 1.148), (1.0, 1.766)])
def test_ice_for_two_pails(two_pails, loss, expected_kg):
    # Computed: 2 * 2.5 kg * 1.9 kJ/kgK * 31 K / 333.55 kJ/kg = 0.883 kg without losses;
    # printed 0.88. What the cooler loses comes on top, as a share.
    need = ice_need(two_pails, from_c=35.0, to_c=4.0, bath=bath_of(loss))
    assert need.ice_per_kit_kg == pytest.approx(expected_kg, abs=0.005)


@pytest.mark.parametrize(
    ("litres", "water_c", "expected_kg"),
    [(75.0, 20.0, 18.8), (75.0, 0.0, 0.0), (0.0, 30.0, 0.0)],
)
def test_water_of_the_bath_takes_ice_of_its_own(two_pails, litres, water_c, expected_kg):
    # 75 L at 20 °C by hand: 75 * 4.186 * 20 / 333.55 = 18.8 kg that were missing.
    need = ice_need(
        two_pails, from_c=35.0, to_c=4.0, bath=bath_of(0, litres=litres, water_c=water_c)
    )
    assert need.for_water_kg == pytest.approx(expected_kg, abs=0.05)
    assert need.ice_per_kit_kg == pytest.approx(0.883 + expected_kg, abs=0.05)
    # Half as much again where the cooler loses half: the water's share too.
    leaky = ice_need(
        two_pails, from_c=35.0, to_c=4.0, bath=bath_of(0.5, litres=litres, water_c=water_c)
    )
    assert leaky.for_water_kg == pytest.approx(1.5 * need.for_water_kg)


def test_time_in_ice_is_the_slower_pails(two_pails):
    # Computed: 5.0 to 6.1 h standing and 11 to 74 min stirred, for a 165 mm pail of
    # 2.5 kg and 200 to 30 W/m²K outside; real ice water lies within.
    need = ice_need(two_pails, from_c=35.0, to_c=4.0, bath=bath_of(0.3))
    assert 5.0 * 3600 < need.standing_s < 6.1 * 3600
    assert 11 * 60 < need.stirred_s < 74 * 60
    assert need.in_ice_s(stirred=False) == need.standing_s
    assert need.in_ice_s(stirred=True) == need.stirred_s
    heavy = replace(two_pails.parts[0], mass_kg=5.0)
    slower = replace(two_pails, parts=(heavy, *two_pails.parts[1:]))
    longer = ice_need(slower, from_c=35.0, to_c=4.0, bath=bath_of(0.3))
    assert longer.standing_s > need.standing_s
    assert longer.stirred_s > need.stirred_s
    # And the other way round: the order of the pails does not matter.
    swapped = replace(slower, parts=slower.parts[::-1])
    assert ice_need(swapped, from_c=35.0, to_c=4.0, bath=bath_of(0.3)) == longer


@pytest.mark.parametrize("from_c", [4.0, 3.0])
def test_liquids_that_are_cold_already_need_no_ice(two_pails, from_c):
    need = ice_need(two_pails, from_c=from_c, to_c=4.0, bath=bath_of(0.3))
    assert (need.ice_per_kit_kg, need.standing_s, need.stirred_s) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize("to_c", [1.0, 0.0, -2.0])
def test_refuses_liquids_below_the_cards_minimum_with_the_cure(two_pails, to_c):
    with pytest.raises(InputError) as caught:
        ice_need(two_pails, from_c=30.0, to_c=to_c, bath=bath_of(0.3))
    assert "minimum" in str(caught.value)
    assert caught.value.key == "materials.iced"
    assert "4 C or warmer" in str(caught.value.cure)


@examples(12)
@given(from_c=st.floats(10, 40), warmer_k=st.floats(0, 10), loss=st.floats(0, 1))
def test_warmer_liquids_need_more_ice_and_time(two_pails, from_c, warmer_k, loss):
    as_is = ice_need(two_pails, from_c=from_c, to_c=5.0, bath=bath_of(loss))
    warmer = ice_need(two_pails, from_c=from_c + warmer_k, to_c=5.0, bath=bath_of(loss))
    assert warmer.ice_per_kit_kg >= as_is.ice_per_kit_kg
    assert warmer.standing_s >= as_is.standing_s - 1e-6
    assert warmer.stirred_s >= as_is.stirred_s
    assert as_is.standing_s > as_is.stirred_s


def both_runs(slurry, slab_c, iced_c=4.0):
    at = {"filler_c": 33.0, "air_c": 33.0, "slab_c": slab_c, "haul_s": 60.0}
    return (
        steady_run(slurry, liquids_c=33.0, **at),
        steady_run(slurry, liquids_c=iced_c, **at),
    )


@given(slab_c=st.floats(10, 45), iced_c=st.floats(2, 30))
def test_what_ice_gains_is_gained_in_the_bucket_or_on_the_floor(slurry, slab_c, iced_c):
    as_is, iced = both_runs(slurry, slab_c, iced_c)
    for name in ("wet_edge", "working_time", "broadcast_closes"):
        gain = gain_from_ice(slurry, name, as_is=as_is, chilled=iced, slab_c=slab_c)
        total_s = iced.when_s(slurry.age_s[name]) - as_is.when_s(slurry.age_s[name])
        assert gain.total_s == pytest.approx(total_s, abs=1e-9)
        assert gain.bucket_s + gain.floor_s == pytest.approx(total_s, abs=1e-9)
        assert gain.total_s >= -1e-3
        assert gain.bucket_s >= 0


def test_the_bucket_gains_the_most_and_a_hot_slab_takes_it_back(slurry):
    # 60 to 110 °F, the slabs of the sheet's table.
    slabs_c = (np.array([60.0, 75, 90, 110]) - 32) / 1.8
    as_is, iced = both_runs(slurry, slabs_c)
    gain = gain_from_ice(slurry, "working_time", as_is=as_is, chilled=iced, slab_c=slabs_c)
    assert np.all(np.diff(gain.total_s) < 0)
    assert np.all(np.diff(gain.bucket_s) < 0)
    # Computed apart with a conducted film: 5.8 of 6.9 min are made in the bucket; with
    # the lumped film the floor's part is larger.
    assert np.all(gain.bucket_s > 2 * np.abs(gain.floor_s))


def test_bucket_gain_is_the_age_saved_at_the_slabs_own_rate(slurry):
    # Worked apart: Arrhenius of 50 kJ/mol between 21 and 32 °C.
    as_is, iced = both_runs(slurry, 32.0)
    rate = np.exp(-50e3 / 8.314462618 * (1 / 305.15 - 1 / 294.15))
    gain = gain_from_ice(slurry, "wet_edge", as_is=as_is, chilled=iced, slab_c=32.0)
    assert gain.bucket_s == pytest.approx((as_is.pour_age_s - iced.pour_age_s) / rate)


@pytest.mark.parametrize(
    ("margin_min", "remedies", "said"),
    [
        (5.0, (), "ice.not_needed"),
        (4.9, (), "ice.not_allowed"),
        (4.9, ("chill",), "ice.no_help"),
    ],
)
def test_no_ice_has_a_reason_of_its_own(demo_job, margin_min, remedies, said):
    policy = replace(demo_job.policy, margin_s=300.0, remedies=remedies)
    least = SimpleNamespace(room="Bar", margin_min=margin_min)
    assert _no_ice_reason(replace(demo_job, policy=policy), least).code == said


@pytest.mark.parametrize(
    ("margin_min", "said"), [(-0.1, "short"), (0.0, "tight"), (4.9, "tight"), (5.0, "unsure")]
)
def test_what_a_room_is_without_ice(demo_job, margin_min, said):
    policy = replace(demo_job.policy, margin_s=300.0)
    assert _un_iced(replace(demo_job, policy=policy), margin_min) == said
