"""What a finding says it is off by, and tolerances at their very edge, worked by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.judge import (
    arrival_rules,
    bucket_rules,
    coat_rules,
    kit,
    outlines,
    people_rules,
    shared_hands,
    stated_rules,
    takeoff_rules,
    verdict,
)

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()
H = 3600.0


def test_what_is_left_out_though_it_comes_in_time_is_off_by_the_time_left():
    case = Made(plan=Made(hours=[Made(at=NIGHT + timedelta(hours=h)) for h in (0, 1, 2, 9)]))
    floor = Made(name="Hall")
    # 9 h after the first row the hours end; the floor opens 2 h before that, 120 min.
    (found,) = coat_rules._check_unknown(case, floor, "wheels", NIGHT_S + 7 * H)
    assert found.off_by == 120.0
    assert not [*coat_rules._check_unknown(case, floor, "wheels", NIGHT_S + 9 * H)]


@pytest.mark.parametrize(("over_k", "told"), [(2.5, False), (2.375, True)])
def test_a_slab_that_is_short_of_the_dew_margin_by_its_tolerance_is_let_pass(
    over_k, told, monkeypatch
):
    monkeypatch.setattr(coat_rules, "DEW_TOL_K", 0.5)
    monkeypatch.setattr(
        coat_rules, "dew_curve", lambda _: (np.array([0.0, 9e9]), np.array([10.0, 10.0]))
    )
    case = Made(plan=Made(hours=(), job=Made(policy=Made(dew_margin_k=3.0))))
    floor = Made(
        name="Hall", zone=UTC, hours=Made(shade=lambda at_s: np.full_like(at_s, 10.0 + over_k))
    )
    found = [*coat_rules.check_dry(case, floor, "coat 1", "dew", NIGHT_S, NIGHT_S + 600)]
    assert [round(each.off_by, 3) for each in found] == [0.625] * told


def test_the_hands_of_several_tasks_are_as_busy_as_these_together(monkeypatch):
    work_s = {"mixer": 300.0, "runner": 60.0, "rake": 100.0, "smoother": 90.0}
    names = {"mixer": ["Ana", "Bo"], "runner": ["Bo"], "rake": ["Cy"], "smoother": ["Cy"]}
    monkeypatch.setattr(shared_hands, "work_of_bucket_s", lambda *_: work_s)
    monkeypatch.setattr(shared_hands, "_names", lambda *_: names)
    # Bo mixes every second bucket, 150 s of each, and carries each, 60 s; Cy has 100 and 90.
    assert shared_hands.busiest_s(None, None) == 210.0


@pytest.mark.parametrize(("kits", "short_m3"), [(10, 0.0), (9, 0.006)])
def test_a_bay_needs_its_area_times_thickness_and_what_the_texture_takes(kits, short_m3):
    # 10 m² of 5 mm and 1 mm for the texture of the slab: 0.06 m³, ten kits of 6 L.
    materials = Made(thickness_m=0.005, profile_allowance_m=0.001, waste=0.0)
    case = Made(
        plan=Made(job=Made(materials=materials, cards=Made(slurry=Made(mixed_yield_m3=0.006))))
    )
    floor = Made(
        name="Hall", room=Made(area_m2=10.0, outline=None), plan=Made(bays=1, kits=kits),
        buckets=[Made(bay=1)] * kits,
    )  # fmt: skip
    found = [*bucket_rules._check_bays(case, floor)]
    assert [each.off_by for each in found] == pytest.approx([short_m3] if short_m3 else [])


def test_a_stage_in_the_bucket_ends_when_it_lasts():
    model = Made(
        card=Made(bucket_exchange_w_k=0.0), heat_j=0.0, rate_at=lambda temp: np.ones_like(temp)
    )
    kits = Made(pace=np.ones(2), air_c=np.full(2, 20.0))
    lasts_s = np.array([60.0, 90.0])
    times, _, ages = kit._stage(
        model, kits, np.full(2, 20.0), np.zeros(2), lasts_s, 1e4, 0.0, 1.0
    )
    # At a rate of one, age is the time since.
    assert times[:, 0].tolist() == [0.0, 0.0]
    assert times[:, -1] == pytest.approx(lasts_s)
    assert ages == pytest.approx(times)


@pytest.mark.parametrize(("rises_k", "told"), [(0.75, False), (0.8125, True)])
def test_a_slab_said_to_fall_may_rise_by_the_two_tolerances(rises_k, told, monkeypatch):
    monkeypatch.setattr(stated_rules, "LEVEL_K", 0.5)
    monkeypatch.setattr(stated_rules, "TEMP_TOL_K", 0.25)
    slab = {0.0: 20.0, 100.0: 20.0 + rises_k}
    hours = Made(
        air=lambda _: 25.0,
        slab=lambda at_s: np.vectorize(slab.get)(at_s),
    )
    floor = Made(
        name="Hall", begins_s=0.0, ends_pour_s=100.0, hours=hours,
        plan=Made(air_c=25.0, slab_c=20.0, slab_falling=True),
    )  # fmt: skip
    found = [each for each in stated_rules._check_air_and_slab(floor) if each.unit == "K"]
    assert [each.off_by for each in found] == [0.3125] * told


@pytest.mark.parametrize(
    ("apart", "told"), [((0,), True), ((0, 1), False), ((0, 1, 3), True), ((0, 1, 2), False)]
)
def test_hours_are_two_at_least_and_an_hour_apart(apart, told, monkeypatch):
    monkeypatch.setattr(verdict, "room_hours", lambda *_: ())
    hours = [Made(at=NIGHT + timedelta(hours=each)) for each in apart]
    rooms, plan = [Made(room="Hall", name="Hall")], None
    plan = Made(
        rooms=rooms, job=Made(rooms=rooms), buckets=[Made(room="Hall")], coats=[], primers=[],
        calls=[], hours=hours, buckets_of=lambda _: [],
    )  # fmt: skip
    said = [each.what for each in verdict._check_hours(plan)]
    assert any("an hour apart" in each for each in said) == told


@pytest.mark.parametrize(
    ("called_min", "told"),
    # Set-up takes 30 min and a changeover 10; a call may come 5 min sooner for its rounding.
    [
        (-30, False),
        (-34, False),
        (-10, False),
        (-14, False),
        (-20, True),
        (-40, True),
        (0, True),
    ],
)
def test_a_call_comes_a_set_up_or_a_changeover_ahead(called_min, told):
    crew = Made(setup_s=1800.0, changeover_s=600.0, group_changeover_s=None)
    job = Made(crew=crew, site=Made(zone=UTC))
    case = Made(plan=Made(job=job), floor=lambda _: None)
    call = Made(room="Hall", role="topcoat", stage="coat 1")
    found = [*people_rules._check_lead(case, call, NIGHT_S + 60 * called_min, NIGHT_S)]
    assert bool(found) == told


def test_how_far_patches_lie_from_a_back_wall_anywhere_on_the_paper():
    # A 4 m by 3 m room whose back wall runs from (1, 1) to (5, 1), the floor above it.
    room = Made(
        corners_m=((1.0, 1.0), (5.0, 1.0), (5.0, 4.0), (1.0, 4.0)), islands_m=(),
        back_wall=(0, 1),
    )  # fmt: skip
    near = ((1.0, 1.0), (5.0, 1.0), (5.0, 2.5), (1.0, 2.5))
    begins_m, ends_m = outlines.along_m(room, ((near,),))
    assert (begins_m.tolist(), ends_m.tolist()) == ([0.0], [1.5])


def test_a_call_between_two_hours_is_off_by_the_way_to_the_nearer():
    # 20 min ahead: 5 min later than the set-up's latest is 10 away, the changeover's soonest,
    # 14 min 59 s ahead, 5 min and 1 s.
    crew = Made(setup_s=1800.0, changeover_s=600.0, group_changeover_s=None)
    case = Made(plan=Made(job=Made(crew=crew, site=Made(zone=UTC))), floor=lambda _: None)
    call = Made(room="Hall", role="topcoat", stage="coat 1")
    (found,) = people_rules._check_lead(case, call, NIGHT_S - 1200, NIGHT_S)
    assert found.off_by == pytest.approx(301 / 60, abs=0.01)


@pytest.mark.parametrize(("apart_s", "told"), [(560.0, False), (540.0, True)])
def test_a_station_is_free_when_its_batch_is_mixed_and_it_is_cleaned(apart_s, told):
    # Liquids 200 s, filler 300 s, turned round in 60 s: free again after 560 s.
    card = Made(liquids_mix_s=200.0, filler_mix_s=300.0, turnaround_s=60.0)
    job = Made(
        cards=Made(slurry=card), crew=Made(stations=1, mixer=0, runner=0),
        pace=Made(haul_s=60.0),
    )  # fmt: skip
    liquids_s = NIGHT_S + np.array([0.0, apart_s])
    floor = Made(
        name="Hall", zone=UTC, buckets=[Made(station=1, number=1), Made(station=1, number=2)],
        planned=Made(
            liquids_s=liquids_s, filler_s=liquids_s + 200.0, pour_s=liquids_s + 560.0
        ),
    )  # fmt: skip
    found = [*bucket_rules._check_stations(Made(plan=Made(job=job)), floor)]
    assert bool(found) == told


def test_cove_mortar_is_bought_with_what_is_wasted_of_it(monkeypatch):
    monkeypatch.setattr(takeoff_rules, "cove_m", lambda _: 20.0)
    job = Made(cove=Made(material_kg_m=2.0), materials=Made(waste=0.1))
    floor = Made(name="Hall")
    # 20 m at 2 kg/m and a tenth more: 44 kg.
    case, said = Made(plan=Made(job=job)), Made(cove_m=20.0, cove_kg=44.0)
    assert not [*takeoff_rules._check_cove(case, floor, said)]
    assert [*takeoff_rules._check_cove(case, floor, Made(cove_m=20.0, cove_kg=36.0))]


@pytest.mark.parametrize(("over_s", "told"), [(1.5, False), (2.0, True), (0.0, False)])
def test_a_stay_may_be_longer_than_allowed_by_rounding_alone(over_s, told):
    leaves = NIGHT + timedelta(seconds=8 * H + over_s)
    came = Made(who="Ana", call=NIGHT, leaves=leaves, stops=[], roles=("mixer",))
    crew = Made(people=(), most_s=lambda _: 8 * H, setup_s=0.0, changeover_s=0.0, rest_s=0.0)
    case = Made(plan=Made(job=Made(crew=crew)))
    found = [*arrival_rules._check_stays(case, "Ana", [came])]
    assert [each.off_by for each in found] == pytest.approx([over_s / 60] * told)
