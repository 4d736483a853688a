"""What to load on the truck, worked by hand."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.inputs.cards.model import PrimerCard
from cureplan.planning.floor.layers import (
    Layer,
    coat_work,
    floor_layers,
    floor_tasks,
    primer_work,
)
from cureplan.planning.floor.layout import lay_out
from cureplan.planning.floor.takeoff import room_takeoff, total_takeoff

SQ_FT_PER_GAL_M2_M3 = 0.09290304 / 0.003785411784


def works_of(room, job, coats=2):
    _, *tasks = floor_tasks(floor_layers(replace(room, topcoats=coats), primed=False))
    primer = job.cards.primer
    primed = [] if primer is None else [
        primer_work(
            room, primer, crew=job.crew, pace=job.pace,
            layer=Layer(kind="primer", crew="primer"), patches=19,
        )
    ]  # fmt: skip
    return primed + [
        coat_work(
            room, job.cards.topcoat, crew=job.crew, pace=job.pace, layer=task[-1], patches=19
        )
        for task in tasks
    ]


def takeoff_of(room, job, ice_kg=0.0, coats=2):
    layout = lay_out(room, job, bays=1)
    alone = room_takeoff(
        room, job, layout=layout, works=works_of(room, job, coats), ice_kg=ice_kg
    )
    return total_takeoff([alone], job).rooms[0]


def test_one_room_by_hand(plain_room, plain_job):
    # 45 m². Slurry: 0.17325 m³ in 19 kits of 9.5 L leaves 7.25 L. Quartz: 0.5 lb/sq ft
    # kept and as much swept up is 4.8824 kg/m²: 219.7 kg, 9.69 bags of 50 lb: 10.
    # First coat 90 sq ft/gal: 484.4/90 = 5.382 gal, 3 batches of 2 gal; second 150:
    # 3.229 gal, 2 batches.
    need = takeoff_of(plain_room, plain_job, ice_kg=12.5)
    assert (need.room, need.kits) == ("Cook line", 19)
    assert need.slurry_needed_m3 == pytest.approx(0.17325)
    assert need.slurry_left_m3 == pytest.approx(0.00725, abs=1e-6)
    assert need.aggregate_kg == pytest.approx(219.71, abs=0.01)
    assert need.aggregate_swept_kg == pytest.approx(219.71 / 2, abs=0.01)
    assert need.aggregate_bags == 10
    assert need.coat_batches == (3, 2)
    assert [volume / 0.003785411784 for volume in need.coat_volume_m3] == pytest.approx(
        [5.382, 3.229], abs=0.001
    )
    assert (need.primer_batches, need.ice_kg) == (0, 12.5)


def test_a_primer_is_mixed_in_whole_batches(plain_room, plain_job):
    # 250 sq ft/gal over 484.4 sq ft is 1.94 gal: 4 batches of half a gallon.
    primer = PrimerCard(
        key="p", title="p", generic=True, batch_m3=0.003785411784 / 2,
        spread_m2_m3=250 * SQ_FT_PER_GAL_M2_M3, mix_s=180.0, broadcast_kg_m2=0.5,
        prior=plain_job.cards.topcoat.prior, milestones={}, provenance={},
    )  # fmt: skip
    job = replace(plain_job, cards=replace(plain_job.cards, primer=primer))
    need = takeoff_of(plain_room, job)
    assert need.primer_batches == 4
    # Half a kilogram a square metre is thrown into it besides the floor's own 219.7 kg.
    assert need.aggregate_kg == pytest.approx(219.71 + 22.5, abs=0.01)


def test_the_job_counts_bags_once_and_batches_per_floor(plain_room, plain_job):
    # Eight floors of 9.687 bags are 77.5: 78, where room by room it would be 80.
    rooms = [takeoff_of(plain_room, plain_job, ice_kg=10.0) for _ in range(8)]
    total = total_takeoff(rooms, plain_job)
    assert total.kits == 8 * 19
    assert total.aggregate_bags == 78
    # As they are poured 9.69, 19.37, 29.06, 38.75, 48.43, 58.12, 67.81, 77.50 bags are begun.
    assert [room.aggregate_bags for room in total.rooms] == [10, 10, 10, 9, 10, 10, 9, 10]
    assert total.topcoat_batches == 8 * 5
    assert total.topcoat_m3 == pytest.approx(8 * 5 * 2 * 0.003785411784)
    assert total.ice_kg == 80.0


def test_the_rest_of_a_bag_goes_on_to_the_room_poured_next(plain_room, plain_job):
    # 9.69 bags, and 0.1 in a closet of 5 sq ft: ten hold both. Poured first, it begins one.
    floors = {"Hall": plain_room.length_m, "Closet": 5 * 0.09290304 / plain_room.width_m}
    rooms = [
        takeoff_of(replace(plain_room, name=name, length_m=length_m), plain_job)
        for name, length_m in floors.items()
    ]
    for poured, bags in ((("Hall", "Closet"), [10, 0]), (("Closet", "Hall"), [9, 1])):
        total = total_takeoff(rooms, plain_job, poured=poured)
        assert [room.aggregate_bags for room in total.rooms] == bags
        assert total.aggregate_bags == 10


@given(length_m=st.floats(1, 40), width_m=st.floats(1, 20), coats=st.integers(1, 2))
def test_enough_is_loaded_and_not_a_whole_unit_too_much(
    plain_room, plain_job, length_m, width_m, coats
):
    room = replace(plain_room, length_m=length_m, width_m=width_m)
    need = takeoff_of(room, plain_job, coats=coats)
    cards = plain_job.cards
    assert need.aggregate_bags * cards.aggregate.bag_kg >= need.aggregate_kg - 1e-6
    assert (need.aggregate_bags - 1) * cards.aggregate.bag_kg < need.aggregate_kg
    assert -1e-9 <= need.slurry_left_m3 < cards.slurry.mixed_yield_m3
    assert len(need.coat_batches) == coats
    for batches, volume_m3 in zip(need.coat_batches, need.coat_volume_m3, strict=True):
        assert batches * cards.topcoat.batch_m3 >= volume_m3 - 1e-9
        assert (batches - 1) * cards.topcoat.batch_m3 < volume_m3


def ordered(rooms, job):
    return {line.code: line.values for line in total_takeoff(rooms, job).order}


def test_the_order_by_hand(plain_room, plain_job):
    # As above. Topcoat: 8.611 gal and 10 % waste are 9.47 gal, 5 batches of 2 gal, as many as
    # are mixed. 12.5 kg of ice are 2.76 bags of 10 lb.
    order = ordered([takeoff_of(plain_room, plain_job, ice_kg=12.5)], plain_job)
    counts = {code: values["packages"] for code, values in order.items()}
    assert counts == {
        "buy.kits": 19,
        "buy.topcoat": 5,
        "buy.aggregate": 10,
        "buy.ice": 3,
    }
    assert order["buy.ice"]["amount_kg"] == 12.5


def test_waste_is_ordered_where_the_batches_leave_none(plain_room, plain_job):
    # 2 gal in one coat of a floor of 180 sq ft: one batch is mixed, and with 10 % waste two
    # are ordered.
    room = replace(plain_room, length_m=180 * 0.09290304 / 4.0, width_m=4.0)
    one = takeoff_of(room, plain_job, coats=1)
    assert one.coat_batches == (1,)
    assert ordered([one], plain_job)["buy.topcoat"]["packages"] == 2
    assert "buy.ice" not in ordered([one], plain_job)


def test_ice_is_the_same_total_everywhere(demo_plan):
    rooms = {room.room: room.ice_kg for room in demo_plan.chill.rooms}
    taken = {room.room: room.ice_kg for room in demo_plan.takeoff.rooms if room.ice_kg}
    assert taken == rooms
    (ice,) = [line for line in demo_plan.takeoff.order if line.code == "buy.ice"]
    assert (
        ice.values["amount_kg"]
        == pytest.approx(demo_plan.chill.ice_kg, abs=1e-9)
        == pytest.approx(demo_plan.takeoff.ice_kg, abs=1e-9)
    )
