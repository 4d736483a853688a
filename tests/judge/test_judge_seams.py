"""Rooms that meet along an open edge, and hands that several tasks share, made up by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import NIGHT_S, at, floor_of

from cureplan.judge import outlines, seams, shared_hands
from cureplan.judge.seams import Seam

# Which floors meet, and where


def grouped(name: str, begins_s: float, group: str | None, *, bays: int = 1) -> Made:
    """Two rows of one bucket in each bay, each raked a minute after the one before."""
    places = [(bay, row) for bay in range(1, bays + 1) for row in (1, 2)]
    raked_s = begins_s + 60.0 * np.arange(1, len(places) + 1)
    floor = floor_of(
        room=Made(group=group, outline=None), begins_s=begins_s,
        planned=Made(raked_s=raked_s, smoothed_s=raked_s + 30.0),
        met_elsewhere=np.zeros(len(places), dtype=bool),
    )  # fmt: skip
    floor.name = name
    floor.buckets = [Made(bay=bay, row=row, number=n) for n, (bay, row) in enumerate(places, 1)]
    return floor


@pytest.mark.parametrize(
    ("groups", "met"),
    [
        (("a", "a", "a"), [("1", "2"), ("2", "3")]), (("a", "a", "b"), [("1", "2")]),
        (("a", "b", "a"), []), ((None, None, None), []), ((None, "a", "a"), [("2", "3")]),
        (("a", None, "a"), []),
    ],
)  # fmt: skip
def test_floors_of_a_group_meet_where_one_follows_the_other(groups, met):
    floors = [grouped(str(n), 1000.0 * n, group) for n, group in enumerate(groups, start=1)]
    found = list(seams.seams_of(Made(floors=floors[::-1])))
    assert [(seam.before.name, seam.after.name) for seam in found] == met


def test_a_floor_is_met_along_its_last_rows_by_the_first_rows_of_the_next():
    before, after = grouped("1", 0.0, "a", bays=3), grouped("2", 1000.0, "a", bays=3)
    (seam,) = seams.seams_of(Made(floors=(before, after)))
    assert seam.edge.tolist() == [1, 3, 5]
    # Its first rows are raked last in its last bay, after five minutes; smooth half one later.
    assert (seam.closed_by, seam.ready_s) == (4, 1330.0)
    assert not seam.wet
    before.met_elsewhere[5] = True
    assert seam.wet


@pytest.mark.parametrize(
    ("low_m", "high_m", "first", "final"),
    [
        # Two bays of two rows, 2 m each, on one wall and up to one edge.
        ([0, 2, 0, 2], [2, 4, 2, 4], [0, 2], [1, 3]),
        # A bay that begins or ends within half a row of the others does so with them.
        ([0, 2, 1, 2], [2, 4, 2, 3], [0, 2], [1, 3]),
        ([0, 2, 1.25, 2], [2, 4, 2, 2.75], [0], [1]),
        # A bay is as near to the wall as its nearest patch, as far as its farthest.
        ([0.5, 0, 1, 2], [4, 2, 3, 2], [0, 2], [1, 3]),
    ],
)
def test_where_a_floor_has_an_outline_its_ends_are_those_along_its_walls(
    monkeypatch, low_m, high_m, first, final
):
    monkeypatch.setattr(outlines, "along_m", lambda *_: (np.array(low_m), np.array(high_m)))
    floor = grouped("1", 0.0, "a", bays=2)
    floor.room.outline, floor.plan = Made(), Made(patches=(), row_depth_m=2.0)
    assert [part.tolist() for part in seams._ends(floor)] == [first, final]


@pytest.mark.parametrize(
    ("claimed", "group", "off_by"),
    [
        ((), "a", None), ((1, 3), "a", None), ((1,), "a", 1.0), ((1, 2), "a", 2.0),
        ((1, 2, 3), "a", 3.0), ((1, 3), "b", 2.0),
    ],
)  # fmt: skip
def test_who_is_met_is_met_all_along_its_edge(monkeypatch, claimed, group, off_by):
    monkeypatch.setattr(seams, "_check_met", lambda _: ())
    monkeypatch.setattr(seams, "_check_said", lambda _: ())
    before, after = grouped("1", 0.0, "a", bays=2), grouped("2", 1000.0, group, bays=2)
    before.met_elsewhere[list(claimed)] = True
    found = [each.off_by for each in seams.check_seams(Made(floors=(before, after)))]
    assert found == ([] if off_by is None else [off_by])


def seam_of(*, wet: bool = True, end: float = 10.0, codes: tuple = (), **changed) -> Seam:
    """The second of two buckets is met when the other room rakes its first, at 20:12; that
    is smooth at 20:14, and the first room at 20:10."""
    planned = {
        "tied_s": NIGHT_S + np.array([300.0, 720.0]),
        "broadcast_s": NIGHT_S + np.array([500.0, 900.0]),
        "smoothed_s": NIGHT_S + np.array([400.0, 600.0]), **changed,
    }  # fmt: skip
    before = Made(
        name="Bar", planned=Made(**planned), plan=Made(pour_end=at(end)),
        met_elsewhere=np.array([False, wet]),
    )  # fmt: skip
    reasons = [Made(code=code, values={"before": room}) for code, room in codes]
    after = Made(
        name="Hall", plan=Made(reasons=reasons),
        planned=Made(
            raked_s=NIGHT_S + np.array([720.0, 900.0]),
            smoothed_s=NIGHT_S + np.array([840.0, 999.0]),
        ),
    )  # fmt: skip
    return Seam(before=before, after=after, edge=np.array([1]), closed_by=0)


def seconds(*given: float) -> np.ndarray:
    return NIGHT_S + np.array(given)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, None),
        # Six seconds are let pass.
        ({"tied_s": seconds(300, 726)}, None),
        ({"tied_s": seconds(300, 714)}, None),
        ({"tied_s": seconds(300, 727)}, ("is tied in", 7.0)),
        ({"tied_s": seconds(300, 713)}, ("is tied in", 7.0)),
        ({"tied_s": seconds(0, 720)}, None),
        ({"broadcast_s": seconds(500, 834)}, None),
        ({"broadcast_s": seconds(500, 828)}, ("has its grains", 12.0)),
        ({"smoothed_s": seconds(400, 606)}, None),
        ({"smoothed_s": seconds(400, 612)}, ("is left before", 12.0)),
        ({"smoothed_s": seconds(612, 600)}, ("is left before", 12.0)),
        ({"end": 9.0}, ("is left before", 60.0)),
        ({"end": 11.0}, None),
        ({"tied_s": seconds(300, math.nan)}, ("is tied in", None)),
    ],
)
def test_an_edge_is_met_when_the_other_row_is_raked(changed, said):
    found = list(seams._check_met(seam_of(**changed)))
    assert [said[0] in each.what for each in found] == ([] if said is None else [True])
    if said and said[1]:
        assert found[0].off_by == pytest.approx(said[1] / 60)


@pytest.mark.parametrize(
    ("wet", "codes", "found"),
    [
        (True, [("pour.seam_wet", "Bar")], 0), (False, [("pour.seam_line", "Bar")], 0),
        (False, [("pour.seam_wet", "Bar")], 1), (True, [("pour.seam_line", "Bar")], 1),
        (True, [], 1), (False, [], 1), (True, [("pour.seam_wet", "Store")], 1),
        (True, [("pour.seam_wet", "Bar"), ("pour.seam_line", "Bar")], 1),
        (True, [("pour.seam_wet", "Bar"), ("pour.seam_line", "Store")], 0),
        (True, [("pour.seam_wet", "Bar"), ("pour.first", "Bar")], 0),
    ],
)  # fmt: skip
def test_a_plan_says_wet_where_an_edge_is_tied_in_and_stop_line_where_not(wet, codes, found):
    said = list(seams._check_said({"Bar": seam_of(wet=wet, codes=codes)}))
    assert len(said) == found


# Hands that several tasks share


@pytest.mark.parametrize(
    ("role", "people", "hands"),
    [("rake", 2, 2), ("rake", 0, 1), ("mixer", 3, 3)],
)
def test_hands_at_a_role_are_heads_where_nobody_is_named(role, people, hands):
    case = Made(plan=Made(job=Made(crew=Made(people=(), **{role: people}))))
    assert shared_hands.hands_at(case, floor_of(), role) == hands


def test_hands_at_a_role_are_those_called_to_the_floors_pour():
    calls = [
        Made(room=room, stage=stage, role="rake", names=names)
        for room, stage, names in (
            ("Bar", "pour", ("ana", "bo")), ("Hall", "pour", ("cy",)), ("Bar", "cove", ("dee",))
        )
    ]  # fmt: skip
    case = Made(plan=Made(job=Made(crew=Made(people=(Made(),))), calls=calls))
    assert shared_hands.hands_at(case, floor_of(), "rake") == 2
    assert shared_hands.hands_at(case, floor_of(), "smoother") == 1
    assert shared_hands._names(case, floor_of()) == {"rake": ("ana", "bo")}


@pytest.mark.parametrize(
    ("rake", "smoother", "off_min"),
    [
        # Ana rakes from 20:00 to 20:01 and from 20:05 on, and smooths in between.
        ([(0, 60), (300, 360)], [(60, 200)], None),
        ([(0, 60), (300, 360)], [(60, 306)], None),
        ([(0, 60), (300, 360)], [(60, 315)], 0.25),
        ([(0, 60), (300, 360)], [(30, 200)], 0.5),
        ([(0, 60), (300, 360)], [(100, 200), (330, 400)], 0.5),
        ([(0, 60)], [], None),
    ],
)
def test_nobody_is_at_two_tasks_at_once(monkeypatch, rake, smoother, off_min):
    spans = {"rake": rake, "smoother": smoother, "mixer": [(0, 999)]}
    monkeypatch.setattr(
        shared_hands, "_names",
        lambda *_: {"rake": ("ana",), "smoother": ("ana",), "mixer": ("bo",)},
    )  # fmt: skip
    monkeypatch.setattr(
        shared_hands, "_times",
        lambda _, __, role, *___: tuple(
            np.array([float(span[end]) for span in spans[role]]) for end in (0, 1)
        ),
    )  # fmt: skip
    case = Made(plan=Made(job=Made(crew=Made(shares=True))))
    found = list(shared_hands.check_shared_hands(case, floor_of()))
    assert [each.off_by for each in found] == ([] if off_min is None else [off_min])
    case.plan.job.crew.shares = False
    assert list(shared_hands.check_shared_hands(case, floor_of())) == []


def test_a_station_takes_its_mixer_for_both_stirrings_and_the_turning_round():
    card = Made(liquids_mix_s=180.0, filler_mix_s=120.0, turnaround_s=45.0)
    pace = Made(haul_s=30.0, rake_m2_s=0.1, smooth_m2_s=0.05, broadcast_m2_s=0.2, edge_m_s=0.5)
    case = Made(plan=Made(job=Made(cards=Made(slurry=card), pace=pace)))
    floor = floor_of(4, bucket_area_m2=np.full(4, 2.0), edge_m=12.0)
    # 12 m of edge over four buckets: 3 m each.
    assert shared_hands.work_of_bucket_s(case, floor) == pytest.approx(
        {"mixer": 345, "runner": 60, "rake": 20, "smoother": 40, "broadcaster": 10, "edge": 6}
    )
