"""What a plan states of itself, where its buckets lie, and what a night excuses."""

from __future__ import annotations

from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import NIGHT_S, floor_of

from cureplan.judge import case, shared_hands, stated_rules
from cureplan.judge.finding import Finding
from cureplan.judge.night_rules import unexcused
from cureplan.judge.outlines import rectangle_off_m

# What a plan states


@pytest.mark.parametrize(
    ("rises_k", "falling", "found"),
    [(0.0, True, False), (0.34, True, False), (0.36, True, True), (-2.0, True, False),
     (1.0, False, False), (0.26, False, False), (0.24, False, True), (-1.0, False, True)],
)  # fmt: skip
def test_a_slab_that_warms_by_less_than_a_third_of_a_kelvin_is_level(rises_k, falling, found):
    hours = Made(
        air=lambda _: 20.0,
        slab=lambda at_s: 20.0 + rises_k * (np.asarray(at_s) - NIGHT_S) / 3600,
    )
    floor = floor_of(
        hours=hours, begins_s=NIGHT_S, ends_pour_s=NIGHT_S + 3600.0,
        plan=Made(air_c=20.0, slab_c=20.0, slab_falling=falling),
    )  # fmt: skip
    told = list(stated_rules._check_air_and_slab(floor))
    assert bool(told) == found
    if told:
        assert f"{rises_k:+.1f} K" in told[0].what
        assert told[0].off_by == pytest.approx(abs(rises_k - 0.3))


@pytest.mark.parametrize(
    ("shade_k", "sun", "halved", "found"),
    [
        (0.0, False, False, False), (-0.1, False, False, True), (0.1, False, False, True),
        (-0.1, True, False, False), (0.1, True, False, True), (-0.1, False, True, False),
        (0.05, True, False, False), (0.0625, True, False, True),
    ],
)  # fmt: skip
def test_a_shade_is_cooler_where_a_floor_has_a_warmer_part(shade_k, sun, halved, found):
    slabs = (Made(room="Bar", warm_parts=("last",)), Made(room="Hall", warm_parts=("first",)))
    night = Made(slab=slabs if halved else slabs[1:])
    hours = Made(shade_c=np.array([0.0, shade_k]), slab_c=np.zeros(2))
    floor = floor_of(hours=hours, room=Made(sun_patch=Made() if sun else None))
    assert bool(list(stated_rules._check_shade(Made(plan=Made(night=night)), floor))) == found
    if not halved:
        judged = Made(plan=Made(night=None))
        assert bool(list(stated_rules._check_shade(judged, floor))) == found


@pytest.mark.parametrize(
    ("shade_c", "sun", "off_k"),
    [(20.0, False, None), (19.0, False, 1.0), (21.0, False, 1.0), (19.0, True, None),
     (22.0, True, 2.0)],
)  # fmt: skip
def test_a_shade_is_off_by_what_it_is_warmer_or_apart_from_a_plain_floor(shade_c, sun, off_k):
    hours = Made(shade_c=np.full(2, shade_c), slab_c=np.full(2, 20.0))
    floor = floor_of(hours=hours, room=Made(sun_patch=Made() if sun else None))
    found = stated_rules._check_shade(Made(plan=Made(night=None)), floor)
    assert [each.off_by for each in found] == ([] if off_k is None else [off_k])


@pytest.mark.parametrize(
    ("cadence_min", "apart_min", "count"),
    [(5.0, 5.0, 0), (4.91, 5.0, 0), (4.89, 5.0, 1), (5.0, 4.91, 0), (5.0, 4.89, 1),
     (9.0, 9.0, 0)],
)  # fmt: skip
def test_buckets_follow_no_sooner_than_the_busiest_hands(
    monkeypatch, cadence_min, apart_min, count
):
    monkeypatch.setattr(stated_rules, "busiest_s", lambda *_: 300.0)
    liquids_s = NIGHT_S + 60.0 * apart_min * np.arange(3)
    floor = floor_of(planned=Made(liquids_s=liquids_s), plan=Made(cadence_min=cadence_min))
    assert len(list(stated_rules._check_shared_rhythm(Made(), floor))) == count


@pytest.mark.parametrize(
    ("whole", "parts", "count"),
    [
        (0.7, [0.9, 0.8], 0), (0.6981, [0.9, 0.8], 0), (0.697, [0.9, 0.8], 1),
        (0.8009, [0.9, 0.8], 0), (0.8011, [0.9, 0.8], 1), (0.0, [0.2, 0.3], 0),
        (-0.01, [0.2, 0.3], 1), (1.0, [], 0), (0.99, [], 1), (1.0, [1.01], 1),
        (0.0, [-0.01], 2),
    ],
)  # fmt: skip
def test_a_whole_holds_no_more_often_than_a_part_and_no_less_than_all_of_them(
    whole, parts, count
):
    # At the least each part fails in other nights: 1 - 0.1 - 0.2, a thousandth each rounded.
    assert len(list(stated_rules._check_whole("Bar", "coats", whole, parts))) == count


@pytest.mark.parametrize(("got", "count"), [(0.0, 0), (0.5, 0), (0.5009, 0), (0.502, 1),
                                            (-0.001, 0), (-0.002, 1)])  # fmt: skip
def test_shares_lie_within_what_they_are_shares_of(got, count):
    assert len(list(stated_rules._check_shares([("a stop", got, 0.5)]))) == count


# Where buckets lie


def buckets_of(*rows):
    """Buckets of rows, each a bay, a row and how many it holds."""
    return tuple(
        Made(bay=bay, row=row, number=number)
        for number, (bay, row) in enumerate(
            ((bay, row) for bay, row, many in rows for _ in range(many)), start=1
        )
    )


@pytest.mark.parametrize(
    ("rows", "per_row", "partners"),
    [
        ([(1, 1, 2), (1, 2, 2)], 2, (2, 3, None, None)),
        # Three shares against two: the first third ends before the second half begins.
        ([(1, 1, 3), (1, 2, 2)], 3, (3, 4, 4, None, None)),
        ([(1, 1, 3), (1, 2, 1)], 3, (3, 3, 3, None)),
        ([(1, 1, 1), (1, 2, 1), (2, 1, 1), (2, 2, 1)], 1, (1, None, 3, None)),
        ([(1, 1, 2)], 0, (1, None)),
    ],
)
def test_an_edge_is_met_by_the_last_of_the_next_row_that_begins_before_it_ends(
    rows, per_row, partners
):
    assert case._partners(buckets_of(*rows), per_row) == partners


@pytest.mark.parametrize(
    ("parts", "warm"),
    [
        ((), [1, 1, 1, 1]), (("last",), [0, 0, 1, 1]), (("first",), [1, 1, 0, 0]),
        (("front",), [0, 1, 0, 1]), (("back",), [1, 0, 1, 0]),
        (("last", "front"), [0, 0.5, 0.5, 1]),
    ],
)  # fmt: skip
def test_the_half_that_a_night_finds_warmer_begins_in_the_middle(parts, warm):
    # Two bays of two rows: the second bay is poured last, each second row lies in front.
    buckets = buckets_of((1, 1, 1), (1, 2, 1), (2, 1, 1), (2, 2, 1))
    hours = Made(
        slab=lambda at_s: np.full(at_s.size, 30.0), shade=lambda at_s: np.full(at_s.size, 26.0)
    )
    night = Made(
        slab=(Made(room="Hall", warm_parts=("last",)), Made(room="Bar", warm_parts=parts))
    )
    planned = Made(pour_s=np.zeros(4))
    got_c = case._under_c(night, "Bar", buckets, planned, hours)
    assert got_c.tolist() == [26.0 + 4.0 * share for share in warm]
    assert case._under_c(None, "Bar", buckets, planned, hours).tolist() == [30.0] * 4


def test_the_half_in_front_is_that_of_each_bays_own_rows():
    # Two rows, and four: of the second bay rows three and four lie in front.
    buckets = buckets_of((1, 1, 1), (1, 2, 1), *((2, row, 1) for row in (1, 2, 3, 4)))
    hours = Made(
        slab=lambda at_s: np.full(at_s.size, 30.0), shade=lambda at_s: np.full(at_s.size, 26.0)
    )
    night = Made(slab=(Made(room="Bar", warm_parts=("front",)),))
    got_c = case._under_c(night, "Bar", buckets, Made(pour_s=np.zeros(6)), hours)
    assert got_c.tolist() == [26.0, 30.0, 26.0, 26.0, 30.0, 30.0]


def rectangle(*, off_m=0.0):
    """Two bays of a 4 m front: rows of 2 and 1 patches, and of one, 3 m deep."""
    rings = [
        [(0, 0), (1, 0), (1, 2), (0, 2)], [(1, 0), (2, 0), (2, 2), (1, 2)],
        [(0, 2), (2, 2), (2, 3), (0, 3)], [(2, 0), (4, 0), (4, 3), (2, 3 + off_m)],
    ]  # fmt: skip
    return [[ring] for ring in rings]


def test_corners_of_a_rectangle_are_measured_against_rows_of_equal_shares():
    size = {"length_m": 3.0, "width_m": 4.0, "counts": [[2, 1], [1]]}
    assert rectangle_off_m(rectangle(), **size) == 0.0
    assert rectangle_off_m(rectangle(off_m=0.25), **size) == 0.25
    assert rectangle_off_m(rectangle()[:3], **size) == 4.0
    assert rectangle_off_m([], length_m=3.0, width_m=4.0, counts=[]) == 0.0


# Hands, and the night


def test_work_of_hands_by_role():
    planned = Made(
        filler_s=np.array([180.0, 380.0, 580.0]), liquids_s=np.array([0.0, 200.0, 400.0]),
        pour_s=np.array([420.0, 620.0, 820.0]), raked_s=np.array([500.0, 700.0, 900.0]),
        smoothed_s=np.array([600.0, 800.0, 1000.0]),
    )  # fmt: skip
    card = Made(liquids_mix_s=180.0, filler_mix_s=180.0, turnaround_s=60.0)
    pace = Made(haul_s=30.0, rake_m2_s=0.1, smooth_m2_s=0.05, broadcast_m2_s=0.1, edge_m_s=0.1)
    judged = Made(plan=Made(job=Made(cards=Made(slurry=card), pace=pace)))
    floor = floor_of(planned=planned, bucket_area_m2=np.array([4.0] * 3), edge_m=12.0)
    for number, bucket in enumerate(floor.buckets):
        bucket.station = 1 + number % 2
    for role, place, hands, begins, ends in (
        ("mixer", 0, 2, [0.0, 400.0], [360.0, 760.0]), ("mixer", 1, 2, [200.0], [560.0]),
        ("runner", 0, 2, [390.0, 790.0], [450.0, 850.0]), ("runner", 1, 2, [590.0], [650.0]),
        ("rake", 0, 1, [460.0, 660.0, 860.0], [500.0, 700.0, 900.0]),
        ("smoother", 0, 2, [560.0, 760.0, 960.0], [600.0, 800.0, 1000.0]),
        ("edge", 0, 1, [], []),
    ):  # fmt: skip
        got = shared_hands._times(judged, floor, role, place, hands)
        assert [part.tolist() for part in got] == [begins, ends]
    assert shared_hands.work_of_bucket_s(judged, floor) == pytest.approx(
        {"mixer": 420, "runner": 60, "rake": 40, "smoother": 80, "broadcaster": 40, "edge": 40}
    )


@pytest.mark.parametrize(
    ("rule", "room", "kept"),
    [
        ("pours", "Bar", True), ("pours", "Hall", False), ("pours", None, True),
        ("coats", "Bar", False), ("coats", "Hall", True), ("ice", "Hall", True),
        ("people", "Bar", True),
    ],
)  # fmt: skip
def test_a_night_excuses_what_it_says_of_a_room_and_what_is_begun_there(rule, room, kept):
    found = Finding(rule=rule, room=room, what="", off_by=1.0, unit="min")
    night = Made(
        poured=(Made(room="Hall"),),
        changes=(Made(code="replan.coat_late", values={"room": "Bar"}),),
    )
    plan = Made(night=night, warnings=())
    assert (unexcused(plan, [found]) == (found,)) == kept
    assert unexcused(Made(night=None), [found]) == (found,)
    warned = Made(night=night, warnings=(Made(code="warn.over_stay"),))
    assert (unexcused(warned, [found]) == (found,)) == (kept and rule != "people")
