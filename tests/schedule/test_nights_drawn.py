"""The nights behind the odds: what is known errs less, crews come late, rooms err alike."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rooms import few_rooms, pours_of

from cureplan.core.kept import keep_results
from cureplan.planning.floor.layers import Layer
from cureplan.planning.floor.pour import PourOption
from cureplan.planning.odds.ages import DrawnAges
from cureplan.planning.odds.nights import (
    INDOOR_SD_K,
    RHYTHM_SD_FRAC,
    SLAB_SHARED,
    draw_nights,
)
from cureplan.planning.odds.risk import Looked, assess, known_until
from cureplan.planning.replan.estimate import night_prior
from cureplan.planning.schedule.construct import construct
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import place_layer, place_pour
from cureplan.science.rate import AgeCurve
from cureplan.science.slab_reading import READING_SD_K

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


def test_ages_kept_of_slabs_that_err_are_none_of_slabs_that_are_known(planned):
    pours, schedule = planned
    gained_s = []
    for most_bytes in (0, 50_000_000):
        keep_results(most_bytes)
        try:
            looked = Looked()
            for silent in ((), ("slab",)):
                drawn = draw_nights(
                    JOB, pours, schedule, members=20, issued_s=ISSUED_S, silent=silent,
                    draws=looked.draws,
                )  # fmt: skip
                layer, span = Layer(kind="slurry", crew="pour"), (ISSUED_S, ISSUED_S + HOUR_S)
                shade, _ = looked.ages(pours["Corridor"], layer, drawn, span)
                gained_s.append(shade.gained_s)
        finally:
            keep_results(0)
    unsure, known, unsure_kept, known_kept = gained_s
    assert np.array_equal(unsure_kept, unsure)
    assert np.array_equal(known_kept, known)
    assert not np.array_equal(known, unsure)


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


def test_a_nights_fit_believes_what_is_drawn_of_slabs_and_kits():
    # A day ahead rooms that drift share the weather's whole error and half of their own:
    # what a night's fit takes one floor's reading to say of the next is what is drawn here.
    # Two kits of a night and a pallet differ by what each has of its own, twice in squares.
    unread = replace(JOB, rooms=tuple(replace(r, slab_reading=None) for r in JOB.rooms))
    pours = pours_of(unread)
    drawn = draw_nights(
        unread, pours, construct(unread, pours), members=NIGHTS, issued_s=BEGINS_S - 24 * HOUR_S
    )
    rooms = ("Cook line", "Corridor")
    at = hour(drawn, BEGINS_S)
    one, two = (drawn.slab_k[name][:, at] for name in rooms)
    prior = night_prior(
        unread,
        pours["Corridor"].clocks,
        {name: pours[name].conditions for name in rooms},
        rooms,
        at_s=BEGINS_S,
        doubt_left=1.0,
    )
    shared = np.divide(prior.slab_shared_k, prior.slab_sd_k) ** 2
    # Of 4000 draws a correlation errs by 0.01; SLAB_SD_K is the whole within a tenth.
    assert np.corrcoef(one, two)[0, 1] == pytest.approx(shared[0], abs=0.06)
    assert shared[0] == pytest.approx(shared[1])
    kits = drawn.kit_ln["Corridor", "pour"]
    assert np.std(kits[:, 1] - kits[:, 0]) == pytest.approx(2**0.5 * prior.kit_sd, rel=0.05)


def test_a_slab_errs_hour_by_hour_as_a_reading_of_it_fades(planned):
    # One rule for both: what a reading leaves after some hours is what its error has left.
    # Known hours, an unread room: nothing but the slab's own error. 4000 draws: SD 0.016.
    pours, schedule = planned
    drawn = draw_nights(JOB, pours, schedule, members=NIGHTS, issued_s=BEGINS_S + 40 * HOUR_S)
    own = drawn.slab_k["Corridor"]
    hours = np.array([1, 3, 6, 12, 24])
    kept = [np.corrcoef(own[:, 0], own[:, lag])[0, 1] for lag in hours]
    assert kept == pytest.approx(
        pours["Corridor"].conditions.reading_left(hours * HOUR_S), abs=0.065
    )


def test_a_reading_is_trusted_less_from_hour_to_hour(nights):
    # Read at 16:30: close to it the slab is known to the reading, two days on as if unread.
    read, unread = (nights.slab_k[name].std(axis=0) for name in ("Cook line", "Corridor"))
    # At its instant what is unsure of the slab is the reading; a tenth of a draw in 4000.
    read_s = np.full((NIGHTS, 1), BEGINS_S - 2.5 * HOUR_S)
    then_k = nights.error_k(nights.slab_k["Cook line"], read_s)
    assert then_k.std() == pytest.approx(READING_SD_K, rel=0.045)
    at = hour(nights, BEGINS_S - 2.5 * HOUR_S)
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


def test_what_is_begun_is_neither_late_nor_stopped_any_more(planned):
    # Half of the first floor is poured, as the schedule says, to the second: its hours
    # are facts. What is still to come may drag and stop, but its crew is here.
    pours, schedule = planned
    job = replace(JOB, doubt=replace(JOB.doubt, stop_every=2))
    first = min(schedule.pours, key=lambda p: p.start_s)
    pour_s = first.start_s + pours[first.room].plan(first.option).times.pour_s
    half = pour_s.size // 2
    drawn = draw_nights(job, pours, schedule, members=400, issued_s=float(pour_s[half]))
    visit = drawn.pour_visit[first.room]
    come_s = visit.at_s(pour_s) + drawn.stop_s[first.room].cumsum(axis=1)
    assert np.array_equal(come_s[:, : half + 1], np.tile(pour_s[: half + 1], (400, 1)))
    assert np.all(visit.late_s == 0.0)
    assert np.mean(come_s[:, -1] > pour_s[-1] + 1.0) > 0.9
    # A crew that is yet to come may still be late.
    last = max(schedule.coats, key=lambda c: c.begins_s)
    assert np.mean(drawn.coat_visit[last.room, last.coat].late_s > 0.0) > 0.9


def test_half_of_a_room_lies_off_the_other_by_what_the_job_says(planned):
    job = replace(JOB, doubt=replace(JOB.doubt, half_k=3.0))
    drawn = draw_nights(job, *planned, members=NIGHTS, issued_s=ISSUED_S)
    patches_k = drawn.patches_k("Cook line", 7)
    # One half is as the room is, the other off by a normal draw with that SD: 4000 draws
    # know it to 1.1 %, four of them.
    assert np.all((patches_k[:, :4].any(axis=1)) != (patches_k[:, 4:].any(axis=1)))
    assert (patches_k[:, 0] + patches_k[:, -1]).std() == pytest.approx(3.0, rel=0.045)
    silent = draw_nights(job, *planned, members=50, issued_s=ISSUED_S, silent=("half a room",))
    assert not silent.patches_k("Cook line", 7).any()


def test_what_a_night_leaves_unsure_of_a_slab_is_drawn_and_fades(planned):
    # A room nobody read, of which the readings elsewhere leave 2.5 K: that much it errs
    # then, and two days on as if nothing had been read.
    pours, schedule = planned
    corridor = pours["Corridor"]
    left = replace(corridor.conditions, night_slab=(ISSUED_S, 2.5))
    unsure = {**pours, "Corridor": replace(corridor, conditions=left)}
    drawn = draw_nights(JOB, unsure, schedule, members=NIGHTS, issued_s=ISSUED_S)
    plain = draw_nights(JOB, pours, schedule, members=NIGHTS, issued_s=ISSUED_S)
    at = hour(drawn, ISSUED_S)
    assert drawn.slab_k["Corridor"][:, at].std() == pytest.approx(2.5, rel=0.045)
    later = hour(drawn, ISSUED_S + 48 * HOUR_S)
    assert drawn.slab_k["Corridor"][:, later].std() == pytest.approx(
        plain.slab_k["Corridor"][:, later].std(), rel=0.1
    )


def test_whoever_vacuums_waits_for_a_floor_that_bears_feet():
    # By construction: one floor, its coat three hours after it may be laid, and feet borne
    # long before that, or long after.
    job = few_rooms("Corridor")
    (plain,) = pours_of(job).values()
    option = PourOption(chilled=False, cool_filler=False, bays=1)
    begins_s, no_wait = None, []
    for share in (0.5, 3.0):
        age_s = {**plain.clocks.age_s}
        age_s["foot_traffic"] = share * age_s["topcoat_opens"]
        clocks = replace(plain.clocks, age_s=age_s)
        room = type(plain)(plain.room, job, clocks, plain.topcoat, plain.conditions)
        poured = place_pour(room, option, BEGINS_S + HOUR_S)
        work = poured.over[0]
        assert any(done.bears for done, _ in work.steps)
        if begins_s is None:
            window = place_layer(room, work, poured, poured.end_s).window
            begins_s = window.opens_s + 3 * HOUR_S
        coat = place_layer(room, work, poured, begins_s)
        schedule = Schedule(pours=(poured,), coats=(coat,), failures=(), required_s=120.0)
        odds = assess(
            job, {"Corridor": room}, schedule, issued_s=BEGINS_S - HOUR_S, members=100
        )
        no_wait.append(odds.no_wait_frac)
    assert no_wait[0] > 0.9
    assert no_wait[1] < 0.1


@pytest.mark.parametrize("pace", [0.5, 1.0, 2.0])
def test_ages_around_a_floor_are_those_of_all_hours(pace):
    # Computed apart: at 21 C a reference hour is an hour, and a night at twice the pace
    # gains two; the hours a floor is asked for lie well inside four weeks.
    hours_s = HOUR_S * np.arange(28 * 24 + 1)
    curve = AgeCurve(
        hours_s, np.full(hours_s.size, 21.0), activation_energy_j_mol=50e3, reference_c=21.0,
        piece_s=HOUR_S,
    )  # fmt: skip
    rate = np.full((2, hours_s.size), pace)
    ages = DrawnAges(
        curve=curve, hours_s=hours_s, expected_s=hours_s, pace=rate, gained_s=rate * hours_s
    )
    laid_s = HOUR_S * np.array([[200.25, 203.5]] * 2)
    around = ages.around(laid_s.min(), laid_s.max(), most_s=48 * HOUR_S)
    assert around.hours_s.size < hours_s.size / 2
    # As late as a crew may come, and as long as what is asked for may take from there.
    for after_s in (0.0, 24 * HOUR_S, (24 + 2 * 48 / pace) * HOUR_S):
        gained_s = around.between(laid_s, laid_s + after_s)
        assert gained_s == pytest.approx(pace * after_s, abs=1.0)
    assert around.pace_at(laid_s) == pytest.approx(pace)
