"""Which schedules are tried beside the first, and which of them is taken, by hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from types import SimpleNamespace as Made

import pytest

from cureplan.planning.plan import choose
from cureplan.planning.plan.choose import Chosen, Glance, _Choosing
from cureplan.planning.schedule.lexicographic import Limits
from cureplan.planning.schedule.tables import Sureness

JOB = Made(policy=Made(confidence=0.9), rooms=[None] * 3)

pytestmark = pytest.mark.usefixtures("in_full")


# At a glance


def glanced(monkeypatch, held, *, beside=None, enough=None) -> tuple[list[int], tuple, list]:
    """Which of the glances are looked at, what they held, and what the solver looks for."""
    looked, solved = [], []

    class Choosing:
        def __init__(self, **_):
            self.best, self.worked, self.looked, self.seen_frac = None, 0.0, "seen", 0.0

        def glance(self, windows, margins, *, work=0.0):
            if work:
                solved.append(work)
                return None
            n = choose.GLANCES.index((windows, margins))
            looked.append(n)
            if held[n] is not None:
                self.best, self.seen_frac = "best", max(self.seen_frac, held[n])
            return held[n]

    monkeypatch.setattr(choose, "_Choosing", Choosing)
    before = None if beside is None else Made(held=beside)
    got = Glance.at(
        JOB, None, issued_s=0.0, stop=lambda: False, beside=before, enough_frac=enough
    )
    return looked, got.held, solved


@pytest.mark.parametrize(
    ("held", "beside", "enough", "looked"),
    [
        ((0.5, 0.6, 0.4, 0.3), None, None, [0, 1, 2, 3]),
        # Best before is looked at first; as long as it gains, so are the others.
        ((0.5, 0.8, 0.4, 0.3), (0.5, 0.7, 0.2, 0.6), None, [1, 3]),
        ((0.6, 0.8, 0.4, 0.7), (0.5, 0.7, 0.2, 0.6), None, [1, 3, 0, 2]),
        # No more than half of a hundredth is no gain; what was not to be had is looked at.
        ((0.9, 0.705, 0.9, 0.9), (0.5, 0.7, 0.2, 0.6), None, [1]),
        ((0.9, 0.706, 0.4, 0.5), (0.5, 0.7, 0.2, 0.6), None, [1, 3]),
        ((0.9, 0.7, 0.9, 0.9), (None, 0.7, None, 0.6), None, [1, 0, 2]),
        ((None, 0.7, 0.3, None), (None, 0.6, None, 0.6), None, [1, 3, 0, 2]),
        ((0.5, None, 0.9, 0.9), (0.5, 0.7, None, 0.6), None, [1, 2]),
        # Nothing after one that is enough.
        ((0.5, 0.95, 0.4, 0.3), None, 0.9, [0, 1]), ((0.9, 0.95, 0.4, 0.3), None, 0.9, [0]),
        ((0.5, 0.89, 0.4, 0.3), None, 0.9, [0, 1, 2, 3]),
    ],
)  # fmt: skip
def test_a_change_is_looked_at_where_it_gains(monkeypatch, held, beside, enough, looked):
    got, kept, solved = glanced(monkeypatch, held, beside=beside, enough=enough)
    assert got == looked
    assert kept == tuple(held[n] if n in looked else None for n in range(len(held)))
    assert solved == []


def test_where_forward_timing_finds_nothing_the_solver_looks_once(monkeypatch):
    none = (None,) * len(choose.GLANCES)
    assert glanced(monkeypatch, none, enough=0.9)[2] == [choose.GLANCE_WORK]
    assert glanced(monkeypatch, none)[2] == []
    assert glanced(monkeypatch, (0.1, None, None, None), enough=0.9)[2] == []


# Planned with limits kept more surely


def schedule(name, *, wet=False, known="found", **more):
    pours = (Made(seam=Made(wet=wet)),) if wet else ()
    given = {"keeps_margins_as_expected": True, "held_frac": None, "pours": pours, **more}

    class One(Made):
        def __hash__(self):
            return hash(self.name)

    return One(name=name, known=known, coats=(), primers=(), **given)


def tried(
    monkeypatch, *, found, quick=(), fracs=None, best=None, rooms=3, left=5.0, stops=False,
    ends=False, **more,
):  # fmt: skip
    """What is asked of the search, which schedules are weighed and which is worth most."""
    asked, weighed = {}, []
    fracs = fracs or {}

    def construct_at(_job, _tables, sure, **given):
        asked.update(given, sure=sure)
        for one in quick:
            asked.setdefault("near", []).append(given["promising"](one))
        return found, 2.5

    def weigh(one):
        weighed.append((one.name, one.known))
        got = Chosen(schedule=one, odds=Made(all_frac=fracs.get(one.name, 0.0)))
        if here.best is None or got.chance_frac > here.best.chance_frac:
            here.best = got
        return got

    monkeypatch.setattr(choose, "construct_at", construct_at)
    monkeypatch.setattr(choose, "replace", lambda one, **changed: (
        Made(**{**vars(one), **changed}) if isinstance(one, Made) else replace(one, **changed)
    ))  # fmt: skip
    here = Made(
        job=Made(policy=JOB.policy, rooms=[None] * rooms), tables=None, worked=1.0, sure=None,
        best=best and Chosen(schedule=schedule("best"), odds=Made(all_frac=best)),
        limits=Limits(work=3.0), stop=lambda: stops, _ends=lambda: ends,
        _work_left=lambda: left, _order=lambda: "order", _weigh=weigh,
        _promising=lambda one, confidence: (one.name, confidence),
    )  # fmt: skip
    sure = Sureness(windows=0.95, margins=0.9)
    got = _Choosing._planned_at(here, sure, **more)
    return got and got.schedule.name, weighed, here, asked


def test_what_is_found_for_surer_limits_is_not_proven_best_of_all(monkeypatch):
    got, weighed, here, asked = tried(
        monkeypatch, found=schedule("it", known="proven"), fracs={"it": 0.5}
    )
    assert (got, weighed) == ("it", [("it", "found")])
    assert here.worked == 3.5
    assert here.sure == asked["sure"]
    assert (asked["order"], asked["alone"]) == ("order", False)
    got, weighed, *_ = tried(monkeypatch, found=schedule("it", known="out of work"))
    assert weighed == [("it", "out of work")]


@pytest.mark.parametrize(("left", "work"), [(5.0, 3.0), (2.0, 2.0), (3.0, 3.0)])
def test_a_step_takes_no_more_than_is_left(monkeypatch, left, work):
    *_, asked = tried(monkeypatch, found=schedule("it"), left=left)
    assert asked["limits"].work == work


@pytest.mark.parametrize(
    "more", [{"stops": True}, {"left": 0.0}, {"left": -1.0}, {"ends": True}]
)
def test_nothing_is_tried_any_more_where_it_is_to_end(monkeypatch, more):
    got, weighed, here, asked = tried(monkeypatch, found=schedule("it"), **more)
    assert (got, weighed, here.sure) == (None, [], None)
    assert bool(asked) == ("ends" in more)
    assert tried(monkeypatch, found=None)[:2] == (None, [])


def test_the_best_of_the_quick_and_the_solvers_is_worth_most(monkeypatch):
    quick = (schedule("one"), schedule("two"))
    for fracs, name in (
        ({"one": 0.3, "two": 0.6, "it": 0.5}, "two"),
        ({"one": 0.3, "two": 0.4, "it": 0.5}, "it"),
        ({"one": 0.5, "two": 0.4, "it": 0.5}, "it"),
    ):
        got, weighed, _, asked = tried(
            monkeypatch, found=schedule("it"), quick=quick, fracs=fracs
        )
        assert got == name
        assert [name for name, _ in weighed] == ["it", "one", "two"]
        assert asked["near"] == [("one", 0.95), ("two", 0.95)]
    # What keeps the best as it was is no new way to keep limits.
    *_, here, _ = tried(monkeypatch, found=schedule("it"), fracs={"it": 0.5}, best=0.8)
    assert here.sure is None


@pytest.mark.parametrize(
    ("rooms", "best", "quickly", "alone"),
    [(5, 0.5, True, False), (6, 0.5, True, True), (6, None, True, False),
     (6, 0.5, False, False)],
)  # fmt: skip
def test_of_many_rooms_forward_timing_is_enough_once_there_is_a_plan(
    monkeypatch, rooms, best, quickly, alone
):
    *_, asked = tried(
        monkeypatch, found=schedule("it"), rooms=rooms, best=best, quickly=quickly
    )
    assert asked["alone"] == alone
    assert (asked["promising"] is None) == (not quickly)


# Assessed once


def assessing(monkeypatch, fracs, *, square=True) -> tuple[Made, list[str]]:
    """By name, how often a schedule holds; one with stop lines has a name of its own."""
    asked: list[str] = []

    def assess(_job, _pours, one, **_):
        asked.append(one.name)
        return Made(all_frac=fracs[one.name])

    monkeypatch.setattr(choose, "assess", assess)
    monkeypatch.setattr(choose, "starts_of", lambda one: one.name)
    said: list[str] = []
    here = Made(
        job=JOB, tables=Made(pours=None), issued_s=0.0, looked=None, worked=0.0, seen={},
        progress=said.append, said=said,
    )  # fmt: skip
    here._square = lambda one: schedule(f"{one.name} square") if one.pours and square else one
    here._beats = lambda one, other: _Choosing._beats(here, one, other)
    here._stopped = lambda one: _Choosing._stopped(here, one)
    return here, asked


def names(found: Iterator[Chosen]) -> list[tuple[str, float]]:
    return [(one.schedule.name, one.chance_frac) for one in found]


def test_a_schedule_like_one_seen_is_not_drawn_again(monkeypatch):
    here, asked = assessing(monkeypatch, {"it": 0.5})
    found = [_Choosing._assessed(here, schedule("it")) for _ in range(2)]
    assert names(found) == [("it", 0.5)] * 2
    assert asked == ["it"]
    assert here.worked == choose.ODDS_WORK * 3
    assert here.said == ["holds on 50% of nights"]
    here.progress = None
    assert _Choosing._assessed(here, schedule("it")).chance_frac == 0.5


@pytest.mark.parametrize(
    ("wet", "square", "taken", "drawn"),
    [
        # Met wet it holds as asked: no line is drawn. Else where a line makes it hold.
        (0.9, 0.99, "it", ["it"]), (0.89, 0.9, "it square", ["it", "it square"]),
        (0.5, 0.52, "it square", ["it", "it square"]), (0.5, 0.51, "it", ["it", "it square"]),
        (0.5, 0.4, "it", ["it", "it square"]),
    ],
)  # fmt: skip
def test_seams_are_stop_lines_where_that_holds_more_often(
    monkeypatch, wet, square, taken, drawn
):
    here, asked = assessing(monkeypatch, {"it": wet, "it square": square})
    for _ in range(2):
        got = _Choosing._assessed(here, schedule("it", wet=True))
        assert got.schedule.name == taken
        assert got.chance_frac == (wet if taken == "it" else square)
    assert asked == drawn


# Looked near


def near(monkeypatch, seen, others, end, *, begun=False, rooms=3, worked=10.0, best="one"):
    """By name the chance of each schedule seen and what other nights say of it; the climb
    ends at one of `end`: its name, its chance and what other nights say."""
    asked = {}

    class Nights:
        worked = 0.5

        def __init__(self, *_):
            asked["judged"] = []

        def judged(self, one):
            asked["judged"].append(one.name)
            return Made(weight=1.0, frac=others[one.name], schedule=one)

    def climb(near, start, _nights, *, work, **_):
        asked.update(near=near, start=start.schedule.name, work=work)
        if end is None:
            return start
        name, frac, other = end
        fracs[name] = frac
        return Made(schedule=schedule(name), weight=1.0, frac=other)

    monkeypatch.setattr(choose, "Nights", Nights)
    monkeypatch.setattr(choose, "Near", lambda **given: Made(worked=0.25, **given))
    monkeypatch.setattr(choose, "climb", climb)
    monkeypatch.setattr(choose, "replace", lambda one, **changed: Made(
        **{**vars(one), **changed}
    ))  # fmt: skip
    fracs = dict(seen)

    def assessed(one):
        return Chosen(schedule=one, odds=Made(all_frac=fracs[one.name]))

    here = Made(
        job=Made(policy=JOB.policy, rooms=[None] * rooms), worked=worked, issued_s=0.0,
        looked=None, cool=0.97, stop=None, _enough=None, _assessed=assessed,
        tables=Made(pours={"Bar": Made(settled=Made(begun_s={"pour": 1} if begun else {}))}),
        seen={name: Made(schedule=schedule(name)) for name in seen},
    )  # fmt: skip
    here.best = best and assessed(here.seen[best].schedule)
    here._worth = lambda one: _Choosing._worth(here, one)
    here._agreed = lambda one, judged: _Choosing._agreed(here, one, judged)
    _Choosing._looked_near(here)
    return here.best and here.best.schedule.name, asked, here.worked


@pytest.mark.parametrize(
    ("seen", "others", "starts"),
    [
        # Of those within a fiftieth of the best seen, three at most, what both nights say.
        ({"one": 0.70, "two": 0.69}, {"one": 0.60, "two": 0.65}, "two"),
        ({"one": 0.70, "two": 0.69}, {"one": 0.60, "two": 0.60}, "one"),
        ({"one": 0.70, "two": 0.67}, {"one": 0.60, "two": 0.99}, "one"),
        ({"one": 0.70, "two": 0.69, "three": 0.69, "four": 0.685},
         {"one": 0.60, "two": 0.61, "three": 0.65, "four": 0.99}, "three"),
        ({"one": 0.50, "two": 0.70}, {"one": 0.99, "two": 0.60}, "two"),
    ],
)  # fmt: skip
def test_luck_of_the_nights_drawn_is_asked_of_others(monkeypatch, seen, others, starts):
    best, asked, worked = near(monkeypatch, seen, others, None)
    assert (best, asked["start"]) == (starts, starts)
    assert worked == 10.0 + 0.25 + 0.5


@pytest.mark.parametrize(
    ("end", "best"),
    [
        # On both nights together more than it was, by more than nothing.
        (("end", 0.80, 0.80), "end"), (("end", 0.70, 0.60), "one"),
        (("end", 0.60, 0.70), "one"), (("end", 0.69, 0.60), "one"),
        (("end", 0.9, 0.1), "end"), (("end", 0.899, 0.1), "one"),
        (("end", 0.70, 0.64), "end"),
    ],
)  # fmt: skip
def test_what_lies_near_is_taken_where_it_holds_more_often(monkeypatch, end, best):
    got, asked, _ = near(monkeypatch, {"one": 0.7}, {"one": 0.6}, end)
    assert got == best
    sure = asked["near"].sure
    assert (sure.windows, sure.margins, sure.limits) == (0.9, 0.9, 0.97)


@pytest.mark.parametrize(("rooms", "share"), [(3, False), (choose.MANY_ROOMS, True)])
def test_looking_near_costs_a_share_of_what_was_worked(monkeypatch, rooms, share):
    _, asked, _ = near(monkeypatch, {"one": 0.7}, {"one": 0.6}, None, rooms=rooms)
    assert asked["work"] == choose.NEAR_WORK + choose.NEAR_SHARES[share] * 10.0


def test_nothing_near_is_looked_at_where_it_holds_or_has_begun(monkeypatch):
    for more in ({"begun": True}, {"best": None}):
        assert near(monkeypatch, {"one": 0.7}, {"one": 0.6}, None, **more)[1] == {}
    assert near(monkeypatch, {"one": 0.9}, {"one": 0.6}, None)[1] == {}
    assert near(monkeypatch, {"one": 0.899}, {"one": 0.6}, None)[1]["start"] == "one"
