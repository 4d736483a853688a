"""Floors cut to shape, hands that share the work, and what is settled of a floor, by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.inputs.job.model import Outline
from cureplan.planning.floor import crew, outline, pour, sharing, split, takeoff
from cureplan.planning.floor.layers import Layer, Lead, Work
from cureplan.planning.floor.pour import FREE, PourOption, Settled
from cureplan.planning.floor.sharing import Tasks, _Turn

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


# Settled floors


def work(kind, lead_s=0.0, stage="coat 1"):
    layer = Layer(kind="topcoat", crew="topcoat")
    leads = (Lead(layer=Layer(kind=kind, crew="topcoat", leads=True), lasts_s=lead_s),)
    return Work(
        layer=layer, leads=leads, duration_s=1.0, offset_s=np.zeros(1), batches=1,
        volume_m3=1.0, batch_s=1.0,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "from_s", "held_s", "begins_s"),
    [
        # Half an hour leads up: vacuuming may be under way by now, a cove is known.
        ("vacuum", 1000.0, None, -800.0), ("cove", 1000.0, None, 1000.0),
        ("cove", 1000.0, 5000.0, 3200.0), ("vacuum", 1000.0, 5000.0, 3200.0),
    ],
)  # fmt: skip
def test_a_crew_begins_ahead_of_what_a_layer_is_held_to(kind, from_s, held_s, begins_s):
    held = {} if held_s is None else {"coat 1": held_s}
    one = Settled(from_s=from_s, not_before_s=held)
    assert one.begins_from_s(work(kind, 1800.0)) == begins_s


def test_nothing_is_settled_of_a_floor_that_is_free():
    assert FREE.soonest_s("pour") == -math.inf
    assert FREE.known_s == -math.inf
    later = Settled(from_s=5.0, not_before_s={"pour": 9.0, "coat 1": 1.0}).later({"pour": 7.0})
    assert (later.soonest_s("pour"), later.soonest_s("coat 1")) == (9.0, 5.0)
    assert FREE.later({"pour": 7.0}).soonest_s("pour") == 7.0


@pytest.mark.parametrize(
    ("chilled", "cool", "bays", "words"),
    [(False, False, 1, ()), (True, False, 1, ("chill",)), (False, True, 1, ("cool filler",)),
     (False, False, 2, ("bays",)), (True, True, 3, ("chill", "cool filler", "bays"))],
)  # fmt: skip
def test_an_option_uses_its_remedies(chilled, cool, bays, words):
    option = PourOption(chilled=chilled, cool_filler=cool, bays=bays)
    assert option.remedies() == words


def floor(**more):
    given = {"settled": FREE, "job": None, "room": None, "pour_task": 0}
    return Made(**{**given, **more})


def test_a_cove_and_a_vacuum_are_as_far_as_the_night_says(monkeypatch):
    cove = Layer(kind="cove", crew="pour", leads=True)
    vacuum = Layer(kind="vacuum", crew="topcoat", leads=True)
    leads = (Lead(layer=cove, lasts_s=100.0), Lead(layer=vacuum, lasts_s=50.0))
    monkeypatch.setattr(pour, "lead_works", lambda *_: leads)
    monkeypatch.setattr(
        pour, "coat_work", lambda *_, layer, leads, **__: replace(work("vacuum"), layer=layer,
        leads=leads, duration_s=200.0, offset_s=np.array([0.0, 100.0])),
    )  # fmt: skip
    monkeypatch.setattr(
        pour, "primer_work", lambda *_, layer, **__: replace(work("vacuum"), layer=layer,
        leads=(), duration_s=400.0, offset_s=np.array([0.0, 200.0])),
    )  # fmt: skip
    job = Made(cards=Made(primer=1, topcoat=2), crew=None, pace=None)
    plan = Made(layout=Made(kits=2))

    def of(layer, **settled):
        here = floor(job=job, settled=Settled(**settled), _pour_work=lambda *_: work("vacuum"))
        return pour.RoomPours._work(here, (layer,), plan)

    coat, primer = Layer(kind="topcoat", crew="topcoat"), Layer(kind="primer", crew="primer")
    slurry = Layer(kind="slurry", crew="pour")
    assert [lead.lasts_s for lead in of(coat).leads] == [100.0, 50.0]
    assert [lead.lasts_s for lead in of(coat, coved_s=30.0).leads] == [70.0, 50.0]
    assert [lead.lasts_s for lead in of(coat, coved_s=130.0).leads] == [0.0, 50.0]
    assert of(coat, vacuumed=True).leads == ()
    assert len(of(slurry).leads) == 2
    assert of(slurry, begun_s={"pour": 0.0}).leads == ()
    assert (of(primer).duration_s, len(of(primer).leads)) == (400.0, 2)
    long = of(coat, lasted_s={"coat 1": 300.0})
    assert (long.duration_s, long.offset_s.tolist()) == (300.0, [0.0, 150.0])


def test_a_layer_is_of_its_own_material():
    here = floor(
        clocks="slurry", slurry_curve=1, topcoat="coat", topcoat_curve=2, primer=("primer", 3)
    )
    found = [
        pour.RoomPours.material(here, Made(kind=kind))
        for kind in ("slurry", "primer", "topcoat", "vacuum")
    ]
    assert found == [("slurry", 1), ("primer", 3), ("coat", 2), ("coat", 2)]
    here.primer = None
    assert pour.RoomPours.material(here, Made(kind="primer")) == ("coat", 2)


def test_a_begun_rhythm_is_that_of_its_own_option_alone(monkeypatch):
    begun, other = (PourOption(chilled=c, cool_filler=False, bays=1) for c in (True, False))
    monkeypatch.setattr(pour, "lay_out", lambda *_, **__: "layout")
    monkeypatch.setattr(pour, "cadence_of", lambda *_, **__: Made(stations=lambda _: 1))
    monkeypatch.setattr(pour, "relative_times", lambda *_, **__: "times")
    monkeypatch.setattr(pour, "PourPlan", lambda **given: Made(**given))
    poured = Made(option=begun)
    job = Made(crew="crew", cards=Made(slurry=None), pace=Made(bay_turn_s=0.0))
    here = floor(job=job, settled=Made(poured=poured), _plans={})
    assert pour.RoomPours.plan(here, begun) is poured
    assert pour.RoomPours.plan(here, other).layout == "layout"
    assert pour.RoomPours.plan(here, other) is pour.RoomPours.plan(here, other)


def test_what_a_pour_takes_by_its_own_times():
    times = Made(
        last_s=900.0, pour_s=np.array([5.0]), smoothed_s=np.array([80.0]),
        liquids_in_s=np.array([20.0]),
    )  # fmt: skip
    plan = Made(times=times, layout=Made(kits=3, slurry_needed_m3=0.5))
    got = pour.RoomPours._pour_work(Layer(kind="slurry", crew="pour"), plan)
    assert (got.duration_s, got.batch_s, got.batches) == (900.0, 60.0, 3)


# Hands that share


def test_tasks_of_the_same_hands_never_overlap():
    # Every bucket, or every second one, in a rhythm of 100 s.
    def turn(begins_s, lasts_s, every=1, first=0):
        return _Turn(begins_s, lasts_s, every, first)

    assert not turn(0, 40).clashes(turn(40, 60), 100.0)
    assert turn(0, 41).clashes(turn(40, 60), 100.0)
    assert turn(0, 40).clashes(turn(40, 61), 100.0)
    assert turn(0, 40).clashes(turn(139, 10), 100.0)
    assert not turn(0, 40).clashes(turn(140, 10), 100.0)
    # Of two who take turns each has 200 s.
    assert not turn(0, 90, 2, 0).clashes(turn(90, 110, 2, 0), 100.0)
    assert turn(0, 90, 2, 0).clashes(turn(90, 111, 2, 0), 100.0)
    assert turn(0, 110, 2, 0).clashes(turn(0, 40, 2, 1), 100.0)
    assert not turn(0, 100, 2, 0).clashes(turn(0, 100, 2, 1), 100.0)
    assert not turn(0, 30, 2, 0).clashes(turn(30, 70), 100.0)
    assert turn(0, 31, 2, 0).clashes(turn(30, 70), 100.0)


TASKS = Tasks(
    mix_s=60.0, turnaround_s=20.0, haul_s=15.0, rake_s=40.0, smooth_s=50.0, broadcast_s=30.0,
    edge_s=10.0,
)  # fmt: skip


def test_a_role_takes_its_way_back_and_its_turnaround():
    assert [TASKS.of(role) for role in sharing.TASKS] == [80.0, 30.0, 40.0, 50.0, 30.0, 10.0]


@pytest.mark.parametrize(
    ("busy", "from_s", "openings"),
    [
        ([], 70.0, [70.0]), ([(0.0, 80.0)], 70.0, [70.0, 80.0]),
        ([(0.0, 60.0)], 70.0, [70.0, 160.0]), ([(0.0, 170.0)], 70.0, [70.0]),
    ],
)  # fmt: skip
def test_a_task_begins_at_once_or_as_its_hands_are_free(busy, from_s, openings):
    turns = {"Ana": [_Turn(begins_s, lasts_s, 1, 0) for begins_s, lasts_s in busy]}
    got = sharing._openings("rake", from_s, {"rake": ("Ana",)}, 100.0, turns)
    assert got == openings


@pytest.mark.parametrize(
    ("role", "names", "interval_s", "taken"),
    [
        ("rake", ("Ana",), 40.0, True), ("rake", ("Ana",), 39.0, False),
        ("rake", ("Ana", "Bo"), 20.0, True), ("mixer", ("Ana", "Bo"), 40.0, True),
        ("mixer", ("Ana", "Bo"), 39.0, False), ("mixer", ("Ana",), 79.0, False),
    ],
)  # fmt: skip
def test_hands_take_what_their_rhythm_holds(role, names, interval_s, taken):
    assert sharing._take(role, 0.0, {role: names}, TASKS, interval_s, {}) == taken


def test_edges_are_trimmed_beside_what_hands_do_besides():
    # Who does nothing else may trim whenever he likes.
    division = {"edge": ("Ana",)}
    busy = {}
    assert sharing._take("edge", 0.0, division, TASKS, 5.0, busy)
    assert busy == {}
    busy = {"Ana": [_Turn(0.0, 95.0, 1, 0)]}
    assert not sharing._take("edge", 0.0, division, TASKS, 100.0, busy)
    busy = {"Ana": [_Turn(0.0, 90.0, 1, 0)]}
    assert sharing._take("edge", 90.0, division, TASKS, 100.0, busy)


def test_one_pair_of_hands_after_the_other():
    # 80 and 30 s for a bucket: mixed from -20 to 60, carried to 90; on the floor at 75.
    alone = {role: (role,) for role in sharing.TASKS}
    got = sharing._offsets(alone, TASKS, 80.0)
    assert got == {"rake": 75.0, "smoother": 115.0, "broadcaster": 165.0, "edge": 75.0}
    # Who mixes also smooths: from -20 to 60, and again from 110 of 130 on.
    both = {**alone, "smoother": ("mixer",)}
    got = sharing._offsets(both, TASKS, 130.0)
    assert got["smoother"] == 190.0
    assert sharing._offsets(both, TASKS, 129.0) is None
    assert sharing._offsets({**alone, "mixer": ("runner",)}, TASKS, 109.0) is None


def search(best=None):
    one = sharing._Search.__new__(sharing._Search)
    one.tasks, one.best = TASKS, best
    return one


def rhythm(interval_s, broadcast_at_s=0.0):
    hands = {role: (role,) for role in sharing.TASKS}
    return sharing.Rhythm(
        interval_s=interval_s, limit="rake", hands=hands, rake_at_s=0.0, smooth_at_s=0.0,
        broadcast_at_s=broadcast_at_s,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("found", "beats"),
    [
        (rhythm(79.0, 99.0), True), (rhythm(80.0, 99.0), False), (rhythm(80.0, 49.0), True),
        (rhythm(80.0, 50.0), False), (rhythm(81.0, 49.0), True),
    ],
)  # fmt: skip
def test_a_rhythm_beats_another_where_buckets_come_or_are_done_sooner(found, beats):
    assert search(rhythm(80.0, 50.0))._beats(found) == beats
    assert search()._beats(found)
    assert search()._done_s(found) == found.broadcast_at_s + 30.0


def test_the_busiest_hands_and_their_longest_task_set_the_rhythm():
    division = {
        "mixer": ("Ana", "Bo"), "runner": ("Ana",), "rake": ("Bo", "Cy"), "smoother": ("Cy",)
    }  # fmt: skip
    one = search()
    # 40 + 30; 40 + 20; 20 + 50.
    assert one.loads(division) == {"Ana": 70.0, "Bo": 60.0, "Cy": 70.0}
    assert one._limit(division) == "mixing"
    assert one._limit({**division, "runner": ("Bo",)}) == "mixing"
    assert one._limit({**division, "edge": ("Cy",)}) == "smooth"


# Crew


def test_one_more_at_the_mixing_is_what_idles():
    def more(mixer, stations, task="mixing"):
        return crew.what_is_more(Made(mixer=mixer, stations=stations), task)

    assert more(2, 2) == "mixing"
    assert (more(1, 2), more(3, 2), more(1, 2, "rake")) == ("mixer", "station", "rake")


def test_the_task_that_sets_the_rhythm_on_most_floors():
    plans = [Made(cadence=Made(limit=limit)) for limit in ("rake", "haul", "haul", "mixing")]
    assert crew.bottleneck(plans) == "haul"
    assert crew.bottleneck(plans[:2]) == "rake"


# Parts of rooms


@dataclass(frozen=True)
class Part:
    name: str
    area_m2: float
    part_of: str | None = None
    outline: object = None


@pytest.mark.parametrize(
    ("whole_s", "part_s", "parts"),
    [(3601.0, 3600.0, 2), (3600.0, 9.0, 1), (3601.0, 3601.0, 1)],
)
def test_a_room_that_no_shift_holds_is_split_where_its_parts_fit(
    monkeypatch, whole_s, part_s, parts
):
    room = Part("Hall", 9.0, outline=1)
    halves = Made(rooms=(Part("a", 4.0, "Hall", 1), Part("b", 5.0, "Hall", 1)))
    monkeypatch.setattr(split, "longest_shift_s", lambda _: 3600.0)
    monkeypatch.setattr(split, "pour_lasts_s", lambda _, r: part_s if r.part_of else whole_s)
    monkeypatch.setattr(split, "ways_to_split", lambda *_: [halves])
    assert len(split.split_long(Made(rooms=(room,))).rooms) == parts
    plain = Made(rooms=(replace(room, outline=None),))
    assert split.split_long(plain) is plain


def test_a_room_is_parted_in_as_few_parts_as_may_be(monkeypatch):
    cuts = {
        ("x",): (4.0, 5.0), ("y",): (2.0, 7.0), ("z",): (9.0,), ("x", "y"): (3.0, 3.0, 3.0)
    }  # fmt: skip

    def parted(_job, _room, lines):
        areas = cuts.get(lines, (9.0,))
        return Made(rooms=[Part(str(n), a, "Hall") for n, a in enumerate(areas)])

    monkeypatch.setattr(split, "split_room", parted)
    room = Part("Hall", 9.0, outline=Made(stop_lines_m=("x", "y", "z")))
    job = Made(rooms=[room])
    got = [[p.area_m2 for p in way.rooms] for way in split.ways_to_split(job, room)]
    assert got == [[4.0, 5.0], [2.0, 7.0], [3.0, 3.0, 3.0]]
    monkeypatch.setattr(split, "MOST_ROOMS", 2)
    got = [[p.area_m2 for p in way.rooms] for way in split.ways_to_split(job, room)]
    assert got == [[4.0, 5.0], [2.0, 7.0]]
    assert list(split.ways_to_split(job, replace(room, part_of="All"))) == []


@pytest.mark.parametrize(
    ("cove", "primer", "lasts_s"),
    [
        (None, None, 100.0),
        ("before", None, 130.0),
        ("after", None, 100.0),
        ("before", 1, 100.0),
    ],
)
def test_a_cove_ahead_of_a_pour_is_the_pouring_crews(monkeypatch, cove, primer, lasts_s):
    monkeypatch.setattr(split, "lay_out", lambda *_, **__: None)
    monkeypatch.setattr(split, "cadence_of", lambda *_, **__: None)
    monkeypatch.setattr(split, "relative_times", lambda *_, **__: Made(last_s=100.0))
    monkeypatch.setattr(split, "cove_lasts_s", lambda *_, **__: 30.0)
    job = Made(
        crew=Made(stations=1, mixer=1, edge=1), cards=Made(slurry=None, primer=primer),
        pace=Made(bay_turn_s=0.0), cove=None if cove is None else Made(when=cove),
    )  # fmt: skip
    assert split.pour_lasts_s(job, None) == lasts_s


# Takeoff


@dataclass(frozen=True)
class Room:
    room: str
    aggregate_kg: float
    aggregate_bags: int = 0


def test_the_rest_of_a_bag_goes_on_to_the_next_floor_poured():
    # Bags of 25 kg: 30, then 45, then 25 kg more.
    rooms = [Room("A", 25.0), Room("B", 30.0), Room("C", 45.0)]
    got = takeoff._bags_shared(rooms, 25.0, ("B", "C", "A"))
    assert [(one.room, one.aggregate_bags) for one in got] == [("A", 1), ("B", 2), ("C", 1)]
    assert [takeoff._whole(count) for count in (2.0, 2.0 + 1e-12, 2.001)] == [2, 2, 3]


def test_mortar_for_a_cove_is_taken_with_its_waste():
    # 10 m at half a kilo, a tenth of it lost.
    job = Made(
        cove=Made(material_kg_m=0.5), cove_m=lambda _: 10.0, materials=Made(waste=0.1)
    )  # fmt: skip
    assert takeoff._cove_kg(None, job) == pytest.approx(5.5)
    job.cove = None
    assert takeoff._cove_kg(None, job) == 0.0


# Outlines


def shape(*corners, islands=(), lines=(), back_wall=(0, 1)):
    return Outline(
        corners_m=corners, islands_m=islands, stop_lines_m=lines, back_wall=back_wall
    )


L_SHAPE = ((0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 2.0), (2.0, 4.0), (0.0, 4.0))


def test_a_floor_is_cut_in_rows_of_whole_buckets():
    # 12 m² in kits of 2 m²: 4 m wide each is half a metre deep, so two make a row of a metre.
    cut = outline.cut_outline(shape(*L_SHAPE), bays=1, kit_m2=2.0, row_depth_min_m=1.0)
    assert cut.row.tolist() == [0, 0, 1, 1, 2, 3]
    assert (cut.bays, cut.buckets_per_row, cut.divided) == (1, 2, ())
    assert cut.row_depth_m == pytest.approx(1.0)
    assert (cut.strip_row_m, cut.front_m) == (pytest.approx(1.0), pytest.approx(4.0))
    # The leg stands over the left patch alone.
    assert cut.met.tolist() == [2, 3, 4, -1, 5, -1]
    assert cut.area_m2 == pytest.approx([2.0] * 6)
    exact = outline.cut_outline(shape(*L_SHAPE), bays=1, kit_m2=1.99, row_depth_min_m=1.0)
    assert exact.bay.size == 7


def test_a_floor_that_is_turned_is_cut_alike():
    # By a quarter, its back wall now along y; and by thirty degrees.
    for turn in (math.pi / 2, math.pi / 6):
        cos, sin = math.cos(turn), math.sin(turn)
        turned = [(x * cos - y * sin, x * sin + y * cos) for x, y in L_SHAPE]
        cut = outline.cut_outline(shape(*turned), bays=1, kit_m2=2.0, row_depth_min_m=1.0)
        assert cut.met.tolist() == [2, 3, 4, -1, 5, -1]
        # The first patch is 2 m wide and 1 m deep, at the corner.
        corners = {(round(x * cos + y * sin, 2) + 0.0, round(y * cos - x * sin, 2) + 0.0)
                   for x, y in cut.patches[0][0]}  # fmt: skip
        assert corners == {(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0)}
        # Nought is written without a sign.
        every = [
            at for patch in cut.patches for ring in patch for point in ring for at in point
        ]
        assert all(math.copysign(1.0, at) == 1.0 for at in every if at == 0.0)


def test_bays_of_one_area_lie_side_by_side():
    cut = outline.cut_outline(shape(*L_SHAPE), bays=2, kit_m2=2.0, row_depth_min_m=1.0)
    # The leg is 6 of 12 m² from the wall at x = 1.5 on: 1.5 * 4.
    assert cut.bay.tolist() == [0, 0, 0, 1, 1, 1]
    assert max(x for x, _ in cut.patches[0][0]) == pytest.approx(1.5)
    assert cut.met[2] == -1
    seams = outline.bay_seams(cut.patches, cut.bay.tolist())
    assert [sorted(line) for line in seams] == [[(1.5, 0.0), (1.5, 4.0)]]
    assert outline.bay_seams(cut.patches, [0] * 6) == ()


@pytest.mark.parametrize("turn", [0.0, math.pi / 2])
def test_parts_at_a_stop_line_are_floors_of_their_own(turn):
    cos, sin = round(math.cos(turn), 9), round(math.sin(turn), 9)

    def turned(*points):
        return tuple((x * cos - y * sin, x * sin + y * cos) for x, y in points)

    across, other = turned((0.5, 2.0), (1.5, 2.0)), turned((3.0, 0.0), (3.0, 2.0))
    whole = shape(*turned(*L_SHAPE), lines=(across, other))
    front, leg = outline.parts_at(whole, [across])
    assert (front.area_m2, leg.area_m2) == (pytest.approx(8.0), pytest.approx(4.0))
    assert front.back_wall == (0, 1)
    assert front.turn_rad == pytest.approx(turn)
    # The other line runs over the front part alone.
    assert (len(front.stop_lines_m), leg.stop_lines_m) == (1, ())
    assert leg.size_m == (pytest.approx(2.0), pytest.approx(2.0))
    assert outline.parts_at(whole, [other])[0].area_m2 == pytest.approx(10.0)


def test_bays_lie_between_stop_lines_where_some_are_named():
    near, far = ((0.0, 1.0), (4.0, 1.0)), ((0.0, 2.0), (2.0, 2.0))
    floor_ = shape(*L_SHAPE, lines=(near, far))
    cut = outline.cut_outline(floor_, bays=2, kit_m2=2.0, row_depth_min_m=1.0)
    # At 2 m: 8 and 4 m²; at 1 m 4 and 8 as well, and the first is tried first.
    assert np.bincount(cut.bay).tolist() == [2, 4]
    three = outline.cut_outline(floor_, bays=3, kit_m2=2.0, row_depth_min_m=1.0)
    assert np.bincount(three.bay).tolist() == [2, 2, 2]


def test_a_column_is_gone_round_and_its_area_taken_off():
    column = ((1.0, 1.0), (2.0, 1.0), (2.0, 2.0), (1.0, 2.0))
    one = shape((0.0, 0.0), (3.0, 0.0), (3.0, 3.0), (0.0, 3.0), islands=(column,))
    cut = outline.cut_outline(one, bays=1, kit_m2=8.0, row_depth_min_m=0.5)
    (ring,) = cut.patches[0]
    area = sum(
        a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, (*ring[1:], ring[0]), strict=True)
    )
    assert abs(area) / 2.0 == pytest.approx(8.0)
    # Of its nine points four are the column's, one of them twice, and one corner comes twice.
    assert len(ring) == 4 + 4 + 2
    halved = outline.cut_outline(one, bays=1, kit_m2=1.0, row_depth_min_m=0.5)
    assert halved.divided


def test_a_pour_may_last_the_longest_shift_less_its_set_up(monkeypatch):
    hours = [(20, 23), (20, 26), (20, 24)]
    windows = [
        Made(begins=NIGHT + timedelta(hours=a), ends=NIGHT + timedelta(hours=b))
        for a, b in hours
    ]
    monkeypatch.setattr(split, "shift_windows", lambda *_, **__: windows)
    job = Made(
        crew=Made(pour_shifts=(), setup_s=1800.0), site=Made(zone=UTC),
        access=Made(begins=None, open_by=None),
    )  # fmt: skip
    assert split.longest_shift_s(job) == 5.5 * 3600
