"""More hands at a pour: where they are given, how many, and when more yet are tried."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from cureplan.api import read_job
from cureplan.core.messages import Message
from cureplan.planning.plan.ways import _Looking
from cureplan.planning.plan.worth import each_once, in_vain
from cureplan.planning.schedule.changes import (
    OPENING,
    also,
    hands,
    kind_of,
    more_hands,
    more_hands_yet,
)
from cureplan.planning.schedule.floor_model import Tables
from cureplan.planning.schedule.outcome import Relaxation, never
from tests.commands.steady import write_job
from tests.planning.test_ways import PLANNED_S, kitchen, tried

__all__ = ["kitchen"]


def test_more_hands_are_given_where_the_crew_is_slowest_then(kitchen):
    # By hand (`tests.commands.steady`): two stations a bucket every 210 s, hauling 120 s, and
    # raking at 0.75 m2/min 240 s. A second rake takes 120 s, a third station then 140 s.
    job = read_job(write_job(kitchen[0]))
    job = replace(job, pace=replace(job.pace, rake_m2_s=0.75 / 60.0))

    def told(count: int, task: str = "rake") -> tuple[Message, float]:
        change = hands(task).make(job, count)
        assert change is not None
        return change.say, change.effort_min

    assert told(1) == (Message("relax.more_rake", {}), 75.0)
    assert told(2) == (Message("relax.more_hands", {"hands": "mixing; rake"}), 165.0)
    assert told(3) == (Message("relax.more_hands", {"hands": "mixing.2; rake"}), 255.0)
    assert told(2, "topcoat") == (Message("relax.more_hands", {"hands": "topcoat.2"}), 150.0)
    assert hands("rake").make(job, 4) is None
    # One at a time: what is told is all of them, what it costs is the last.
    one = more_hands(job, "rake").job
    two = more_hands_yet(job, one)
    assert two is not None
    assert (two.say, two.effort_min) == (told(2)[0], 90.0)
    assert two.job == hands("rake").make(job, 2).job
    assert more_hands_yet(job, job) is None
    films = more_hands(job, "topcoat").job
    assert more_hands_yet(job, films) is None
    assert more_hands_yet(job, more_hands(films, "primer").job) is None
    assert more_hands_yet(job, hands("rake").make(job, 3).job) is None


def test_a_station_for_a_mixer_who_stands_idle_is_told_as_that(kitchen):
    job = read_job(write_job(kitchen[0]))
    idle = replace(job, crew=replace(job.crew, mixer=3))
    told = [hands("mixing").make(idle, count).say for count in (1, 2)]
    assert told[0].code == "relax.more_station"
    assert told[1].values == {"hands": "mixing; station"}
    assert {kind_of(say) for say in told} == {"relax.more_mixing"}
    assert (
        kind_of(Message("relax.more_hands", {"hands": "rake.2; mixing"})) == "relax.more_rake"
    )
    assert kind_of(Message("relax.remedies", {})) == "relax.remedies"


@pytest.mark.parametrize(
    ("seen", "lost", "stations"),
    [
        ((0.3, 0.4, 0.5), "buckets_frac", [2, 3, 4]),
        ((0.3, 0.31, 0.5), "buckets_frac", [2, 3]), ((0.3, 0.4, 0.5), "coats_frac", [2]),
        ((0.3, 0.4, 0.41), "shifts_frac", [2, 3, 4]),
    ],
)  # fmt: skip
def test_hands_are_added_while_that_gains_and_buckets_are_lost(kitchen, seen, lost, stations):
    # A bucket every 420 s with one station: it is slowest until there are four.
    swaps = ("stations = 2", "stations = 1"), ("mixer = 2", "mixer = 1")
    job = read_job(write_job(kitchen[0], *swaps, name="slow.toml"))
    kept = dict.fromkeys(
        ("buckets_frac", "coats_frac", "shifts_frac", "opening_frac", "limits_frac"), 0.9
    )
    odds = SimpleNamespace(**{**kept, lost: 0.5})
    look = _Looking(
        job=job, tables=Tables(pours={}), chosen=None, issued_s=PLANNED_S, progress=None,
        stop=never, budget_s=100.0,
    )  # fmt: skip
    one, later = more_hands(job, "mixing"), OPENING.make(job, 60)
    assert later is not None
    for way in (
        Relaxation(job=one.job, say=one.say, also=also(later.say), effort_min=150.0),
        Relaxation(job=one.job, say=later.say, also=also(one.say), effort_min=150.0),
    ):
        tried = []
        for step, frac in zip(look._steps_and_hands(way), seen, strict=False):
            tried.append(step)
            best = SimpleNamespace(chance_frac=frac, odds=odds)
            look.step = SimpleNamespace(best=best)
        assert [step.job.crew.stations for step in tried] == stations
        for n, step in enumerate(tried, start=1):
            said = {kind_of(say): say for say in (step.say, step.also)}
            assert said.keys() == {"relax.more_mixing", "relax.open_later"}
            assert step.effort_min == 60.0 + 90.0 * n
            assert n == 1 or said["relax.more_mixing"].values["hands"] == f"mixing.{n}"


def test_a_limit_is_taken_further_only_where_it_comes_near_the_best_seen(kitchen):
    job = read_job(write_job(kitchen[0]))
    day, two = (OPENING.make(job, 1440 * days) for days in (1, 2))
    assert day is not None
    assert two is not None
    last = Relaxation(job=two.job, say=two.say, also=None, effort_min=2880.0)
    next_ = Relaxation(job=day.job, say=day.say, also=None, effort_min=1440.0, further=last)
    way = Relaxation(job=job, say=day.say, also=None, effort_min=60.0, further=next_)
    look = _Looking(
        job=job, tables=Tables(pours={}), chosen=None, issued_s=PLANNED_S, progress=None,
        stop=never, budget_s=100.0, best_frac=0.6,
    )  # fmt: skip

    def steps(frac: float) -> int:
        count = 0
        for _ in look._steps_and_hands(way):
            count += 1
            look.step = SimpleNamespace(best=SimpleNamespace(chance_frac=frac, odds=None))
        return count

    assert (steps(0.1), steps(0.2)) == (1, 2)


def test_two_more_stations_ask_for_more_than_one():
    one, two, both = (
        tried(frac, code, effort_min=effort_min)
        for frac, code, effort_min in (
            (0.6, "relax.more_mixing", 90.0),
            (0.61, "relax.more_hands", 180.0),
            (0.7, "relax.more_hands", 180.0),
        )
    )
    say = Message("relax.more_hands", {"hands": "mixing.2"})
    two, both = (other._replace(way=replace(other.way, say=say)) for other in (two, both))
    assert in_vain(two, one)
    assert not in_vain(both, one)
    # Of more at one task the likeliest is told, of two tasks each.
    rake = tried(0.5, "relax.more_rake", effort_min=75.0)
    assert each_once([both, one, rake]) == [both, rake]
