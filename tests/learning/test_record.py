"""Finished jobs: open files that come back whole, teach the fit, and tell how it fared."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path

import pytest
from effort import examples
from fit_builders import NAN, fitted
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import InputError
from cureplan.inputs.tables.record import (
    ClockOutcome,
    FinishedJob,
    past_scores,
    read_record,
    read_record_text,
    read_records,
    readings_of,
    record_name,
    record_text,
)

NIGHT = datetime(2013, 7, 20, 10, tzinfo=UTC)


def clock(batch, watched_min, *, expected_min=12.0, milestone="working_time", **rest):
    plain = {
        "at_c": NAN, "liquids_c": 4.0, "filler_c": 29.0, "air_c": 31.0, "slab_c": 31.5,
        "poured_s": 245.0, "humidity_frac": NAN,
    }  # fmt: skip
    return ClockOutcome(
        milestone=milestone, place="Cook line", batch=batch, expected_s=60 * expected_min,
        soonest_s=60 * (expected_min - 2), latest_s=60 * (expected_min + 2),
        watched_s=60 * watched_min, **(plain | rest),
    )  # fmt: skip


def job(*clocks, name="School kitchen", card="fast-slurry"):
    return FinishedJob(job=name, card=card, finished=NIGHT, holds_frac=0.9, clocks=clocks)


def test_scores_are_the_arithmetic_of_the_clocks():
    # By hand: errors -1, +1, -3, +1 min; three of four inside ±2; Wilson's 95 % interval of
    # 3 in 4 is 0.301 to 0.954 (R: prop.test(3, 4, correct = FALSE); from memory).
    done = job(clock(1, 11), clock(2, 13), clock(3, 9), clock(4, 13, milestone="wet_edge"))
    score = past_scores([done])
    assert score is not None
    assert score.overall.mean_error_s == pytest.approx(-30.0)
    assert score.overall.mean_miss_s == pytest.approx(90.0)
    assert score.overall.inside_frac == 0.75
    assert score.overall.inside_low_frac == pytest.approx(0.301, abs=0.001)
    assert score.overall.inside_high_frac == pytest.approx(0.954, abs=0.001)
    assert score.milestones["wet_edge"].count == 1
    assert (score.jobs, score.holds_frac) == (1, pytest.approx(0.9))
    assert past_scores([]) is None


@examples(50)
@given(
    name=st.text(st.characters(categories=["L", "N", "P"]), min_size=1, max_size=40),
    watched_min=st.floats(0.5, 3000.0),
    slab_c=st.one_of(st.just(NAN), st.floats(-10.0, 75.0)),
    humidity=st.one_of(st.just(NAN), st.floats(0.01, 1.0)),
)
def test_a_record_comes_back_whole(name, watched_min, slab_c, humidity):
    done = job(clock(7, watched_min, slab_c=slab_c, humidity_frac=humidity), name=name)
    again = read_record_text(record_text(done), source=Path("x.toml"))
    assert (again.job, again.card, again.finished) == (name, "fast-slurry", NIGHT)
    mine, theirs = done.clocks[0], again.clocks[0]
    for field in mine.__slots__:
        value = getattr(mine, field)
        if isinstance(value, float):
            assert getattr(theirs, field) == pytest.approx(value, abs=1e-6, nan_ok=True)
        else:
            assert getattr(theirs, field) == value
    assert record_name(done).startswith("2013-07-20-")
    assert "/" not in record_name(done)


def test_a_folder_of_records_is_read_by_name(tmp_path):
    for name, watched in (("b", 11.0), ("a", 10.0)):
        done = job(clock(1, watched), name=name)
        (tmp_path / record_name(done)).write_text(record_text(done), encoding="utf-8")
    (tmp_path / "notes.txt").write_text("not a record", encoding="utf-8")
    assert [one.job for one in read_records(tmp_path)] == ["a", "b"]
    assert read_records(tmp_path / "..") is not None
    with pytest.raises(InputError, match="no such folder"):
        read_records(tmp_path / "none")


GOOD = record_text(job(clock(3, 11.0)))
WRONG = [
    (("finished = 2013-07-20T10:00:00+00:00", "finished = 2013-07-20T10:00:00"), "offset"),
    (("finished = 2013-07-20T10:00:00+00:00", 'finished = "July"'), "not a date"),
    (('holds = "90 %"', 'holds = "9 %"'), "at least 50 %"),
    (('watched = "11 min"', 'watched = "11"'), "min"),
    (('watched = "11 min"', 'wached = "11 min"'), 'did you mean "watched"'),
    (('soonest = "10 min"', 'soonest = "13 min"'), "between soonest and latest"),
    (('liquids = "4 C"', 'liquids = "-40 C"'), "at least -5 C"),
    (('[[clocks]]', "[clocks]"), "not a list"),
    (("batch = 3", 'batch = "3"'), "whole number"),
]  # fmt: skip


@pytest.mark.parametrize(("swap", "word"), WRONG, ids=lambda item: str(item)[:30])
def test_a_wrong_record_is_refused_in_one_line(swap, word, tmp_path):
    assert swap[0] in GOOD
    path = tmp_path / "job.toml"
    path.write_text(GOOD.replace(*swap), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_record(path)
    assert word in str(caught.value)
    assert str(caught.value).startswith(f"{path}:")
    assert "\n" not in str(caught.value)


@examples(100)
@given(
    start=st.integers(0, len(GOOD)),
    length=st.integers(0, 15),
    new=st.one_of(st.text(max_size=5), st.sampled_from(["=", '"', "[", "-", "nan", "1e99"])),
)
def test_a_mutated_record_is_read_or_refused(start, length, new):
    text = GOOD[:start] + new + GOOD[start + length :]
    try:
        found = read_record_text(text, source=Path("x.toml"))
    except InputError:
        return
    assert found.clocks


def test_records_teach_a_card_what_happened(slurry):
    # Twelve kits that all lasted 10 min, where the card expects some 14: the fit expects
    # 10 as well, to what is left of the card's pull.
    night = [job(*(clock(n, 10.0) for n in range(1, 13)))]
    readings = readings_of(night, card=["fast-slurry"], milestones=tuple(slurry.milestones))
    assert {one.kind for one in readings} == {"bucket"}
    assert len({one.batch for one in readings}) == 12
    found = fitted(slurry, readings)
    assert found.milestones[1].was_s > 1.2 * found.milestones[1].time.value
    assert all(one.expected == pytest.approx(600.0, rel=0.05) for one in found.readings)


def test_only_readings_of_this_card_with_a_temperature_count(slurry):
    names = tuple(slurry.milestones)
    jobs = [
        job(clock(1, 10.0), card="other"),
        job(clock(2, 10.0, milestone="wash_down"), clock(3, 10.0, slab_c=math.nan)),
        job(clock(4, 10.0, at_c=21.0, slab_c=math.nan)),
    ]
    found = readings_of(jobs, card=["fast-slurry"], milestones=names)
    assert [(one.kind, one.temp_c) for one in found] == [("cup", 21.0)]
