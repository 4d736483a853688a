"""Sums and choices of the judge that are read off by hand, each from what it is made of."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.judge import (
    bucket_rules,
    coat_rules,
    ice_rules,
    kit,
    milestones,
    people_rules,
    stated_rules,
)
from cureplan.judge.case import Floor

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


def test_a_rectangle_has_two_lengths_and_two_widths_of_edge():
    room = Made(outline=None, length_m=5.0, width_m=3.0)
    assert Floor.edge_m.fget(Made(room=room)) == 16.0


def judged(*log, primer=None):
    """A hall of 60 m²: rolled in 12 min, coated in 6, both mixed in 3."""
    cards = Made(topcoat=Made(mix_s=180.0), primer=primer)
    pace = Made(topcoat_m2_s=0.1, primer_m2_s=0.1, broadcast_m2_s=0.1)
    job = Made(cards=cards, pace=pace, crew=Made(topcoat=2, primer=1))
    night = Made(log=[Made(event=e, room="Hall", value=v, at=when) for e, v, when in log])
    case = Made(plan=Made(job=job, night=night), primer=primer)
    floor = Made(
        name="Hall", room=Made(area_m2=60.0), buckets=[None] * 3,
        coats=[Made(coat=2, start=at(100)), Made(coat=1, start=at(10))],
    )  # fmt: skip
    return case, floor


def test_a_coat_takes_its_mixing_and_spreading_or_what_the_log_says():
    # 60 m² by two hands of 0.1 m²/s each: 300 s, and 180 s before.
    assert milestones.lasts_s(*judged(), 1) == pytest.approx(480.0)
    assert milestones.lasts_s(*judged(("coat laid", "1", at(31))), 1) == 21 * 60.0
    assert milestones.lasts_s(*judged(("coat laid", "2", at(31))), 1) == pytest.approx(480.0)


PRIMER = Made(mix_s=180.0, broadcast_kg_m2=0.0)


def test_a_primer_takes_its_mixing_and_rolling_or_what_the_log_says(monkeypatch):
    case, floor = judged(primer=PRIMER)
    rolled = Made(start=at(0))
    assert milestones.primer_s(case, floor, rolled, PRIMER) == pytest.approx(780.0)
    told, _ = judged(("primer laid", "", at(26)), primer=PRIMER)
    assert milestones.primer_s(told, floor, rolled, PRIMER) == 1560.0
    # It comes to three patches after the mixing, then after each third of the rolling; a
    # night that took twice as long comes to each twice as late.
    given = {}
    monkeypatch.setattr(milestones, "_film_when", lambda *_, **more: given.update(more))
    milestones._primer_when(case, floor, rolled, "strict")
    assert given["laid_s"] - NIGHT_S == pytest.approx([180.0, 380.0, 580.0])
    milestones._primer_when(told, floor, rolled, "strict")
    assert given["laid_s"] - NIGHT_S == pytest.approx([360.0, 760.0, 1160.0])


def test_a_clock_from_the_mixed_batch_counts_the_mixing_with_filler(monkeypatch):
    monkeypatch.setattr(kit, "written_s", lambda _: np.array([600.0, 900.0]))
    card = Made(filler_mix_s=90.0)
    for starts, seconds in (("mixed", [690.0, 990.0]), ("filler in", [600.0, 900.0])):
        assert kit._since_filler_s(card, Made(clock_starts=starts)).tolist() == seconds


def test_a_primer_ties_its_crew_from_the_work_that_leads_up_to_it(monkeypatch):
    monkeypatch.setattr(people_rules, "lead_s", lambda *_: 300.0)
    floor = Made(primers=[Made(stage="primer", start=at(60), end=at(75))])
    (task,) = people_rules._primer_tasks(None, floor)
    assert (task.begins_s - NIGHT_S, task.ends_s - NIGHT_S) == (3300.0, 4500.0)


@pytest.mark.parametrize(
    ("slab_c", "off_k"), [(19.0, None), (18.0, None), (16.0, 2.0), (14.5, 3.5)]
)
def test_a_slab_too_near_the_dew_point_is_off_by_what_it_lacks(monkeypatch, slab_c, off_k):
    # 3 K above a dew point of 15 °C are asked.
    hours_s = NIGHT_S + np.array([0.0, 7200.0])
    monkeypatch.setattr(coat_rules, "dew_curve", lambda _: (hours_s, np.full(2, 15.0)))
    case = Made(plan=Made(hours=(), job=Made(policy=Made(dew_margin_k=3.0))))
    floor = Made(
        name="Bar", zone=UTC, hours=Made(shade=lambda at_s: np.full(at_s.shape, slab_c))
    )
    told = list(coat_rules.check_dry(case, floor, "coat 1", "coats", NIGHT_S, NIGHT_S + 1800.0))
    assert [finding.off_by for finding in told] == ([] if off_k is None else [off_k])


@pytest.mark.parametrize(
    ("iced", "answer", "found"),
    [
        (("Bar",), True, False), (("Bar",), False, True), (("Hall",), True, True),
        ((), True, True), ((), False, True), (("Bar", "Hall"), True, True),
    ],
)  # fmt: skip
def test_ice_is_planned_for_the_chilled_floors_and_the_answer_says_so(
    monkeypatch, iced, answer, found
):
    monkeypatch.setattr(ice_rules, "_check_ice_of", lambda *_: ())
    monkeypatch.setattr(ice_rules, "_check_amounts", lambda _: ())
    floors = [
        Made(
            name=name, buckets=[Made(chilled=cold)],
            plan=Made(chilled=cold, remedies=("chill",) if cold else ()),
        )
        for name, cold in (("Bar", True), ("Hall", False))
    ]  # fmt: skip
    chill = Made(rooms=[Made(room=name) for name in iced], iced=answer)
    case = Made(plan=Made(chill=chill), floors=floors)
    told = [finding.what for finding in ice_rules.check_ice(case)]
    assert [what.startswith("chilled floors are") for what in told] == [True] * found


@pytest.mark.parametrize(("lost", "found"), [(0.1, 0), (0.1005, 0), (0.103, 1), (0.9, 1)])
def test_a_stop_loses_no_more_nights_than_buckets_do(monkeypatch, lost, found):
    monkeypatch.setattr(stated_rules, "check_doubt", lambda _: ())
    risk = Made(
        seed=1, batch_sd_frac=0.1, members=9, stop_lost_frac=lost, cut_frac=0.0,
        as_planned_frac=None, all_keep_frac=0.9, buckets_keep_frac=0.9, no_wait_frac=0.9,
        coats_keep_frac=1.0, shifts_keep_frac=1.0, limits_keep_frac=1.0,
        opens_on_time_frac=1.0,
    )  # fmt: skip
    job = Made(seed=1, policy=Made(confidence=0.8))
    plan = Made(risk=risk, job=job, status="within policy", coats=(), primers=())
    floors = [Made(name="Bar", plan=Made(keeps_frac=0.9), buckets=[Made(keeps_frac=0.9)])]
    case = Made(plan=plan, slurry=Made(batch_frac=0.1), floors=floors)
    assert len(list(stated_rules.check_risk(case))) == found


@pytest.mark.parametrize(
    ("bucket", "clock", "off_min"),
    [
        (12, "wet_edge", None),
        (11, "wet_edge", 5.0),
        (12, "working_time", 15.0),
        (9, None, None),
    ],
)
def test_the_bucket_said_to_bind_is_the_one_with_the_least_left(
    monkeypatch, bucket, clock, off_min
):
    margins_s = {
        "wet_edge": np.array([600.0, 900.0, 300.0]), "working_time": np.full(3, 1200.0)
    }  # fmt: skip
    floor = Made(
        name="Bar", buckets=[Made(number=10 + n) for n in (1, 0, 2)], ends_s=None,
        margins_s=lambda _: margins_s,
        plan=Made(
            margin_min=5.0, binding_bucket=bucket, binding=clock, sure_margin_min=2.0
        ),
    )  # fmt: skip
    monkeypatch.setattr(bucket_rules, "_sure", lambda *_: 120.0)
    told = [f.off_by for f in bucket_rules._check_room(floor)]
    if bucket == 9:
        assert told == [np.inf]
    else:
        assert told == ([] if off_min is None else [off_min])
