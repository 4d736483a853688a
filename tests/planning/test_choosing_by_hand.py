"""How surely limits are kept while a plan is chosen, worked out by hand."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace as Made

import pytest

from cureplan.planning.plan import choose
from cureplan.planning.plan.choose import _Choosing

pytestmark = pytest.mark.usefixtures("in_full")

JOB = Made(policy=Made(confidence=0.9), rooms=[None] * 3)


@pytest.mark.parametrize(
    ("surest", "held", "asked"),
    [
        (0.7, 0.6, [0.7, 0.5]), (None, 0.6, [0.6, 0.5]), (None, None, [0.9, 0.5]),
        (0.7, None, [0.7, 0.5]), (0.5, 0.6, [0.5]),
    ],
)  # fmt: skip
def test_buckets_are_kept_surer_by_windows_as_sure_as_can_be_had(surest, held, asked):
    windows = []
    here = Made(
        job=JOB, surest=surest, best=Made(schedule=Made(held_frac=held)),
        _margins_surer=lambda sure: windows.append(sure) or [],
    )  # fmt: skip
    assert [*_Choosing._buckets_surer(here)] == []
    assert windows == asked
    if held is None:
        here.best = None
        windows.clear()
        assert [*_Choosing._buckets_surer(here)] == []
        assert windows == asked


def margins(buckets, *, gains=(), found=True, odds=True, confidence=0.5, new=True, chance=0.4):
    """At what sureness margins are tried; doubts of a half, so that shares are exact."""
    tried, seen, gain = [], {}, iter(gains)

    def step(windows, *, margins):
        assert windows == 0.8
        tried.append(round(margins, 4))
        here.best.chance_frac += next(gain, 0.0)
        if new:
            seen[len(seen)] = None
        return Made() if found else None

    best = Made(odds=Made(buckets_frac=buckets) if odds else None, chance_frac=chance)
    here = Made(job=Made(policy=Made(confidence=confidence)), best=best, seen=seen, _step=step)
    for _ in _Choosing._margins_surer(here, 0.8):
        pass
    return tried


# One less a half of 1, 0.7, 0.5, 0.3, 0.15, 0.07, 0.03 and 0.015.
SHARES = [0.5, 0.65, 0.75, 0.85, 0.925, 0.965, 0.985, 0.9925]


@pytest.mark.parametrize(
    ("buckets", "more", "tried"),
    [
        # What is as sure already is left out; three steps in vain end it.
        (0.4, {}, SHARES[:3]), (0.75, {}, SHARES[2:5]), (0.76, {}, SHARES[3:6]),
        (0.4, {"gains": [0.0, 0.01]}, SHARES[:5]), (0.4, {"gains": [0.01] * 8}, SHARES),
        # Nothing new is no step in vain; nothing found, or no odds, ends it.
        (0.4, {"new": False}, SHARES), (0.4, {"found": False}, SHARES[:1]),
        (0.4, {"odds": False}, []),
    ],
)  # fmt: skip
def test_margins_are_kept_surer_while_that_gains(buckets, more, tried):
    assert margins(buckets, **more) == tried


def test_far_from_what_is_asked_two_steps_are_left_out_after_one_that_changes_nothing():
    # 0.4 falls short of 0.9 by more than a quarter: shares of a tenth then.
    assert margins(0.4, confidence=0.9, new=False) == [0.9, 0.97, 0.997]
    assert margins(0.4, confidence=0.9) == [0.9, 0.93, 0.95]
    # By just a quarter is not far.
    assert margins(0.4, chance=0.25, new=False) == SHARES
    assert margins(0.4, chance=0.249, new=False) == [SHARES[0], SHARES[3], SHARES[6]]


@pytest.mark.parametrize(("chance", "steps"), [(0.79, []), (0.789, [0.64]), (None, [])])
def test_floors_are_walked_sooner_where_it_falls_short_by_more_than_six_in_a_hundred(
    chance, steps
):
    tried = []
    here = Made(
        job=Made(policy=Made(confidence=0.85)),
        best=None if chance is None else Made(chance_frac=chance),
        _step=lambda sure: tried.append(round(sure, 4)),
    )
    # Two fifths of the way from even odds to what is asked.
    assert len([*_Choosing._walked_sooner(here)]) == len(steps)
    assert tried == steps


def test_without_a_best_no_margins_are_kept_surer():
    assert [*_Choosing._margins_surer(Made(job=JOB, best=None), 0.8)] == []


@pytest.mark.parametrize(
    ("work", "worked", "left"), [(3.0, 1.0, 8.0), (5.0, 1.0, 12.0), (4.0, 0.0, 12.0)]
)
def test_all_steps_together_take_twice_the_first_ones_work_more_or_eight(work, worked, left):
    here = Made(limits=Made(work=work), worked=worked)
    assert _Choosing._work_left(here) == left


@pytest.mark.parametrize(
    ("chances", "asked"),
    [
        # By just a fiftieth it is no luckier; of three at most that is asked.
        ([0.479, 0.5, 0.48], [0.5, 0.48]), ([0.5, 0.49, 0.499, 0.498], [0.5, 0.499, 0.498]),
        ([0.3, 0.5], [0.5]),
    ],
)  # fmt: skip
def test_what_is_about_as_good_as_the_best_is_judged_by_other_nights(
    monkeypatch, chances, asked
):
    judged = []

    def judge(schedule):
        judged.append(schedule.frac)
        return Made(schedule=schedule, worth=-schedule.frac)

    nights = Made(judged=judge, worked=0.5)
    near = Made(worked=2.0)
    monkeypatch.setattr(choose, "Nights", lambda *_: nights)
    monkeypatch.setattr(choose, "Near", lambda **_: near)
    monkeypatch.setattr(choose, "climb", lambda _, start, *__, **___: start)
    seen = {
        frac: Made(
            schedule=Made(frac=frac, held_frac=None), chance_frac=frac,
            keeps_policy=lambda _: False,
        )
        for frac in chances
    }  # fmt: skip
    here = Made(
        job=JOB, tables=Made(pours={}), issued_s=0.0, looked=None, seen=seen, cool=None,
        best=seen[max(chances)], worked=4.0, stop=None, _enough=None,
        _assessed=lambda schedule: seen[schedule.frac],
        _worth=lambda one: (False, one.chance_frac),
        _agreed=lambda _, start: (False, start.worth),
    )  # fmt: skip
    _Choosing._looked_near(here)
    assert judged == asked
    # By the other nights the last of these holds most often.
    assert here.best is seen[asked[-1]]
    assert here.worked == 6.5


@dataclass(frozen=True)
class Limits:
    work: float


def searched(monkeypatch, found, **more):
    """One that is choosing, and what the search is asked."""
    asked = {}

    def construct_at(_job, _tables, sure, **given):
        asked.update(given, sure=sure)
        for quick in more.get("quick", ()):
            given["promising"](quick)
        return found, 2.0

    monkeypatch.setattr(choose, "construct_at", construct_at)
    monkeypatch.setattr(choose, "replace", lambda one, **given: Made(**{**vars(one), **given}))
    here = Made(
        job=Made(policy=JOB.policy, rooms=[None] * more.get("rooms", 3)), tables=None,
        limits=Limits(5.0), worked=1.0, best=more.get("best"), sure=None, looked=[],
        stop=lambda: more.get("stop", False), _ends=lambda: more.get("ends", False),
        _sureness=lambda windows, margins: (windows, margins), _order=lambda: "order",
        _work_left=lambda: more.get("left", 3.0),
        _promising=lambda *_: True,
        _weigh=lambda one: Made(schedule=one, chance_frac=one.frac),
    )  # fmt: skip
    return here, asked


@pytest.mark.parametrize(
    ("windows", "margins", "work", "sure", "limit"),
    [
        (None, None, 0.0, (0.5, None), 5.0), (0.3, None, 0.6, (0.97, None), 0.6),
        (None, 0.07, 0.0, (0.5, 0.993), 5.0),
    ],
)  # fmt: skip
def test_a_glance_leaves_the_solver_out_unless_it_may_work(
    monkeypatch, windows, margins, work, sure, limit
):
    here, asked = searched(monkeypatch, Made(frac=0.7))
    assert _Choosing.glance(here, windows, margins, work=work) == 0.7
    assert asked["sure"] == pytest.approx(sure)
    assert (asked["limits"].work, asked["alone"], here.worked) == (limit, work == 0.0, 3.0)
    here, asked = searched(monkeypatch, None)
    assert _Choosing.glance(here, windows, margins, work=work) is None
    here, asked = searched(monkeypatch, Made(frac=0.7), stop=True)
    assert _Choosing.glance(here, windows, margins, work=work) is None
    assert asked == {}


@pytest.mark.parametrize(
    ("rooms", "best", "quickly", "alone"),
    [
        (6, 1, True, True), (5, 1, True, False), (6, None, True, False), (6, 1, False, False),
    ],
)  # fmt: skip
def test_of_many_rooms_what_was_found_is_bettered_without_the_solver(
    monkeypatch, rooms, best, quickly, alone
):
    sure = Made(windows=0.9)
    found = Made(known="proven", frac=0.7)
    quick = [Made(frac=0.8), Made(frac=0.6)] * quickly
    here, asked = searched(monkeypatch, found, rooms=rooms, best=best, quick=quick)
    got = _Choosing._planned_at(here, sure, quickly=quickly)
    assert asked["alone"] is alone
    assert (asked["limits"].work, here.worked) == (3.0, 3.0)
    # The best of all that was tried; proven best it is not for what was asked.
    assert got.chance_frac == (0.8 if quickly else 0.7)
    assert quickly or got.schedule.known == "found"


@pytest.mark.parametrize(
    ("more", "asks", "gets"),
    [
        ({}, True, True), ({"left": 9.0}, True, True), ({"left": 0.0}, False, False),
        ({"stop": True}, False, False), ({"ends": True}, True, False),
        ({"none": True}, True, False),
    ],
)  # fmt: skip
def test_nothing_more_is_planned_where_no_work_is_left(monkeypatch, more, asks, gets):
    found = None if more.pop("none", False) else Made(known="found", frac=0.7)
    here, asked = searched(monkeypatch, found, **more)
    got = _Choosing._planned_at(here, Made(windows=0.9))
    assert (bool(asked), got is not None) == (asks, gets)
    if asks:
        assert asked["limits"].work == min(5.0, more.get("left", 3.0))
