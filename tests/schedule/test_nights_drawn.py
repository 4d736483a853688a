"""The nights behind the odds: what is known errs less, crews come late, rooms err alike."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rooms import few_rooms, pours_of

from cureplan.planning.odds.nights import (
    INDOOR_SD_K,
    RHYTHM_SD_FRAC,
    SLAB_SHARED,
    draw_nights,
)
from cureplan.planning.odds.risk import assess, known_until
from cureplan.planning.schedule.construct import construct

HOUR_S, NIGHTS = 3600.0, 4000
JOB = few_rooms("Cook line", "Corridor")
BEGINS_S = JOB.access.begins.timestamp()
ISSUED_S = BEGINS_S + 6 * HOUR_S


@pytest.fixture(scope="module")
def planned():
    pours = pours_of(JOB)
    return pours, construct(JOB, pours)


@pytest.fixture(scope="module")
def nights(planned):
    return draw_nights(JOB, *planned, members=NIGHTS, issued_s=ISSUED_S)


def hour(nights, at_s):
    return round((at_s - nights.first_s) / HOUR_S)


def test_hours_already_known_err_by_the_room_alone(nights):
    # Sampling error of an SD over 4000 draws: 1.1 %; four of them.
    known = nights.air_k["Corridor"][:, : hour(nights, ISSUED_S) + 1].std(axis=0)
    assert known == pytest.approx(INDOOR_SD_K, rel=0.045)
    a_day_on = nights.air_k["Corridor"][:, hour(nights, ISSUED_S + 24 * HOUR_S)].std()
    assert a_day_on > 1.15 * INDOOR_SD_K


def test_slabs_of_two_rooms_share_half_of_their_own_error(nights):
    # Before the forecast sets in, and far from the cook line's reading at 16:30, what is
    # left is each slab's own error; SLAB_SHARED of its variance is common to both.
    assert JOB.room("Corridor").slab_reading is None
    unread = replace(JOB, rooms=tuple(replace(r, slab_reading=None) for r in JOB.rooms))
    pours = pours_of(unread)
    drawn = draw_nights(
        unread, pours, construct(unread, pours), members=NIGHTS, issued_s=ISSUED_S
    )
    first = hour(drawn, BEGINS_S)
    one, two = (drawn.slab_k[name][:, first] for name in ("Cook line", "Corridor"))
    assert np.corrcoef(one, two)[0, 1] == pytest.approx(SLAB_SHARED, abs=0.06)
    assert one.std() == pytest.approx(two.std(), rel=0.07)


def test_a_reading_is_trusted_less_from_hour_to_hour(nights):
    # Read at 16:30: close to it the slab is known to the reading, two days on as if unread.
    read, unread = (nights.slab_k[name].std(axis=0) for name in ("Cook line", "Corridor"))
    at = hour(nights, BEGINS_S - 2.5 * HOUR_S)
    assert read[at] < 0.75 * unread[at]
    assert read[at + 1] < read[at + 6] < read[at + 12]
    assert read[-1] == pytest.approx(unread[-1], rel=0.1)


def test_crews_come_late_and_drag_from_when_they_come(nights):
    visit = nights.pour_visit["Cook line"]
    assert visit.late_s.min() >= 0.0
    assert visit.slow_frac.min() >= 0.0
    # By hand: at its begin a visit is late by its lateness alone, an hour on by
    # RHYTHM_SD_FRAC of an hour more for a crew that drags by one SD.
    planned_s = visit.begins_s + np.array([0.0, HOUR_S])
    slow = replace(visit, late_s=np.array([60.0]), slow_frac=np.array([RHYTHM_SD_FRAC]))
    assert slow.at_s(planned_s)[0] - planned_s == pytest.approx([60.0, 60.0 + 180.0])


def test_all_of_it_holds_no_more_often_than_any_part(planned):
    pours, schedule = planned
    odds = assess(JOB, pours, schedule, issued_s=BEGINS_S - 12 * HOUR_S)
    assert odds.buckets_frac <= min(odds.room_frac.values())
    for room, share in odds.room_frac.items():
        assert share <= odds.bucket_frac[room].min()
    assert odds.coats_frac <= min(odds.coat_frac.values())
    assert odds.all_frac <= min(odds.buckets_frac, odds.coats_frac, odds.opening_frac)
    # Some bucket is at risk here, else the first line would say nothing.
    assert odds.room_frac["Cook line"] < 1.0


def test_a_job_of_the_past_was_decided_the_morning_before():
    assert known_until(JOB, now_s=BEGINS_S - 60.0) == BEGINS_S - 60.0
    # By hand: access from 19:00 on, so at 7:00.
    assert known_until(JOB, now_s=BEGINS_S + 900 * HOUR_S) == BEGINS_S - 12 * HOUR_S
