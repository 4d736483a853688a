"""Which changes are tried, how far and how long, of jobs and chances made up by hand."""

from __future__ import annotations

from itertools import islice
from types import SimpleNamespace as Made

import pytest

from cureplan.core.messages import Message
from cureplan.planning.plan import ways
from cureplan.planning.plan.ways import _Looking
from cureplan.planning.schedule.changes import Change
from tests.planning.made_odds import odds

CONFIDENCE = 0.9


def looking(*, planned=True, **more):
    job = Made(policy=Made(confidence=CONFIDENCE, remedies=()), rooms=[Made(heat=None)])
    chosen = Made(
        chance_frac=0.5 if planned else 0.0, odds=odds() if planned else None,
        schedule=Made(opens_s=9.0, worked=2.0),
    )  # fmt: skip
    given = {
        "job": job, "chosen": chosen, "reach": [], "more": [], "weak": [], "tried": [],
        "left_s": 9.0, "kept_s": 0.0, "_may_plan": lambda: True, "stop": lambda: False,
        "best_frac": 0.0, "step": None, "_over": lambda _: False, "issued_s": 0.0,
        "_cure_frac": lambda: 0.0 if planned else 0.45, "_as_is": lambda: None,
        "_gains": lambda _: True,
    }  # fmt: skip
    return Made(**{**given, **more})


def way(job="job", *, code="relax.a", also=None, effort=1.0, further=None):
    return Made(
        job=job, say=Message(code, {}), also=also, effort_min=effort, further=further
    )  # fmt: skip


# What is hardly a cure


@pytest.mark.parametrize(
    ("frac", "planned", "weak"),
    [
        # A cure holds 0.45, half of 0.9; what holds half of that is kept, hardly a cure.
        (0.225, False, True), (0.2249, False, False), (0.34, False, True),
        (0.36, False, False), (0.3, True, False), (0.0, True, False),
    ],
)  # fmt: skip
def test_what_is_hardly_a_cure_at_a_glance_is_kept_aside(frac, planned, weak):
    here = looking(
        planned=planned, _glance=lambda *_: Made(best=Made(chance_frac=frac)),
        _may_plan=lambda: False,
    )  # fmt: skip
    _Looking._tried(here, way())
    assert [(one.full, one.reaches) for one in here.weak] == [(False, False)] * weak


@pytest.mark.parametrize(
    ("frac", "planned", "weak"),
    [
        (0.225, False, True), (0.2249, False, False), (0.449, False, True),
        (0.45, False, False), (0.3, True, False), (0.0, True, False),
    ],
)  # fmt: skip
def test_what_is_hardly_a_cure_planned_in_full_is_kept_aside(monkeypatch, frac, planned, weak):
    monkeypatch.setattr(ways, "replace", lambda one, **more: Made(**{**vars(one), **more}))
    full = Made(
        odds=1, chance_frac=frac, schedule=Made(opens_s=9.0), keeps_policy=lambda _: False
    )
    here = looking(planned=planned, _planned=lambda _: full)
    got = _Looking._in_full(here, way(), None)
    assert [(one.full, one.reaches) for one in here.weak] == [(True, False)] * weak
    assert (got is None) == (frac < 0.45)


def test_of_two_changes_the_second_adds_a_fiftieth_to_the_first():
    # The first holds 0.6: together they hold 0.62 at least.
    first = Made(chosen=Made(chance_frac=0.6), glance="its glance")
    besides = []

    def glance(frac):
        return lambda _job, beside: besides.append(beside) or Made(
            best=Made(chance_frac=frac)
        )  # fmt: skip

    for frac, kept in ((0.6201, True), (0.6199, False)):
        got = _Looking._tried(looking(_glance=glance(frac)), way(), first)
        assert (got is not None) == kept
    assert besides == ["its glance"] * 2
    _Looking._tried(looking(_glance=glance(0.7), step="step"), way())
    _Looking._tried(looking(_glance=glance(0.7), _as_is=lambda: "as is"), way())
    assert besides[2:] == ["step", "as is"]


def test_at_a_glance_just_near_enough_is_planned_and_just_better_is_kept():
    def tried(frac, *, gains=True):
        best = Made(best=Made(chance_frac=frac))
        here = looking(_glance=lambda *_: best, _in_full=lambda *_: "planned")
        here._gains = lambda _: gains
        return _Looking._tried(here, way())

    assert tried(CONFIDENCE - ways.SHORT_OF_FRAC) == "planned"
    assert not tried(CONFIDENCE - ways.SHORT_OF_FRAC, gains=False).full
    # As it is it holds 0.5.
    assert tried(0.5 + ways.WORTH_FRAC / 2).chosen.chance_frac == 0.5 + ways.WORTH_FRAC / 2


@pytest.mark.parametrize(
    ("as_is", "gains"),
    [(None, True), (Made(best=None), True), (Made(best=Made(chance_frac=0.7)), False),
     (Made(best=Made(chance_frac=0.69)), True)],
)  # fmt: skip
def test_a_change_gains_where_it_holds_more_often_at_a_glance_than_the_job_as_it_is(
    as_is, gains
):
    assert _Looking._gains(Made(as_is=as_is), Made(chance_frac=0.7)) == gains


# How far a limit is moved


def moved(fracs, *, hands=(), best_frac=0.0, needs=True, asked=0.0, steps="abc", monkeypatch):
    """The steps that are tried, of chances given one after the other; None for none."""
    seen = iter(fracs)
    more = iter(hands)
    here = looking(best_frac=best_frac)
    here.job.policy.confidence = asked
    here._steps = lambda _: list(steps)
    here._seen = lambda: here.step
    monkeypatch.setattr(ways, "one_hand_more", lambda _job, _best: next(more, None))
    monkeypatch.setattr(ways, "needs_hands", lambda _: needs)
    got = []
    for step in _Looking._steps_and_hands(here, way()):
        got.append(step)
        frac = next(seen)
        here.step = None if frac is None else Made(chance_frac=frac)
    return "".join(got)


@pytest.mark.parametrize(
    ("fracs", "best_frac", "steps"),
    [
        # No further where it holds less than a quarter of the best that was seen.
        ((0.2, 0.3, 0.4), 0.8, "abc"), ((0.199, 0.3, 0.4), 0.8, "a"),
        ((0.3, 0.199, 0.4), 0.8, "ab"), ((None, 0.3, 0.4), 0.8, "abc"),
    ],
)  # fmt: skip
def test_a_limit_is_moved_no_further_where_it_is_hopeless(monkeypatch, fracs, best_frac, steps):
    assert moved(fracs, best_frac=best_frac, monkeypatch=monkeypatch) == steps


@pytest.mark.parametrize(
    ("fracs", "steps", "tried"),
    [
        # 0.9 is asked: from less than 0.8 a little further does not do, the furthest may.
        ((0.79, 0.9), "abc", "ac"), ((0.81, 0.9, 0.9), "abc", "abc"),
        ((0.79, 0.9), "ab", "ab"), ((None, 0.79, 0.9), "abcd", "abd"),
    ],
)  # fmt: skip
def test_far_from_what_is_asked_the_next_step_is_passed_over(monkeypatch, fracs, steps, tried):
    got = moved(fracs, asked=0.9, steps=steps, needs=False, monkeypatch=monkeypatch)
    assert got == tried


@pytest.mark.parametrize(
    ("fracs", "needs", "steps"),
    [
        # One hand more as long as each gives a fiftieth more than the one before.
        ((0.3, 0.3, 0.3, 0.33, 0.36, 0.37), True, "abcxyz"),
        ((0.3, 0.3, 0.3, 0.319, 0.4), True, "abcx"), ((0.3, 0.3, 0.3), False, "abc"),
        ((None, None, None), True, "abc"), ((0.3, 0.3, 0.3, None), True, "abcx"),
        ((0.3, 0.35, 0.35, 0.36), True, "abcx"),
        ((0.3, 0.3, 0.3, 0.3 + ways.WORTH_FRAC, 0.9), True, "abcx"),
        ((0.3, 0.3, 0.3, 0.33, 0.34, 0.9), True, "abcxy"), ((0.0,) * 4, True, "abc"),
    ],
)  # fmt: skip
def test_then_hands_are_added_while_that_gains(monkeypatch, fracs, needs, steps):
    got = moved(fracs, hands="xyz", needs=needs, monkeypatch=monkeypatch)
    assert got == steps
    assert moved(fracs[:3], hands="", monkeypatch=monkeypatch) == "abc"


@pytest.mark.parametrize(
    ("lost", "needs"),
    [({"buckets_frac": 0.1}, True), ({"shifts_frac": 0.1}, True), ({}, False)],
)
def test_hands_are_what_lost_buckets_and_shifts_need(lost, needs):
    assert ways.needs_hands(Made(odds=odds(**lost))) == needs
    assert not ways.needs_hands(Made(odds=None))


# Which changes come first


@pytest.mark.parametrize(
    ("planned", "margins", "lost", "first"),
    [
        # What mends a limit comes first, unless margins are kept and buckets are lost most.
        (True, True, {"buckets_frac": 0.1}, "chance"), (True, True, {}, "mend"),
        (True, False, {"buckets_frac": 0.1}, "mend"), (False, True, {}, "mend"),
    ],
)  # fmt: skip
def test_which_changes_come_first(planned, margins, lost, first):
    here = looking(planned=planned)
    here.chosen.schedule.keeps_margins_as_expected = margins
    here.chosen.odds = odds(**lost) if planned else None
    here._mending = lambda: iter(["mend"])
    here._by_chance = lambda *_: [Change(job="job", say=Message("relax.a", {}), effort_min=3.0)]
    got = [next(turn) for turn in _Looking._in_turn(here)]
    assert len(got) == 2
    mend, change = got if first == "mend" else got[::-1]
    assert (mend, change.job, change.effort_min) == ("mend", "job", 3.0)


# How much is taken


def test_after_the_first_full_plan_of_a_job_without_one_there_is_time_for_a_second(monkeypatch):
    for name, value in (("MOST_HELP", 2.0), ("START_S", 1.0), ("MOST_S", 26.0)):
        monkeypatch.setattr(ways, name, value)

    class Looking(Made):
        @property
        def left_s(self):
            return self.budget_s - self.worked

    def plan(*, planned, worked, full_s=0.0, budget_s=30.0, stop=False):
        found = Made(schedule=Made(worked=worked))
        given = vars(looking(planned=planned)) | {"worked": 1.0, "stop": lambda: stop}
        del given["left_s"]
        here = Looking(**given, full_s=full_s, budget_s=budget_s, _rest_s=4.0)
        got = _Looking._planned(here, Made(in_full=lambda **_: found))
        assert (got is None) == stop
        return here.worked, here.full_s, here.budget_s

    # It takes 5 s, with 1 s to start and 4 s for its sheet 10 s: twice that is 20 s, and of
    # these 14 s are left, enough for another.
    assert plan(planned=False, worked=5.0, budget_s=6.0) == (6.0, 5.0, 20.0)
    # Of 30 s 4 s are left once 25 s went: 21 s more, for as much again.
    assert plan(planned=False, worked=25.0) == (26.0, 25.0, 51.0)
    # Of 30 s 1 s is left once 28 s went: 25 s more, as none is given more than 26 s.
    assert plan(planned=False, worked=28.0) == (29.0, 28.0, 55.0)
    # Later ones, and those beside a plan, give no more.
    assert plan(planned=False, worked=25.0, full_s=3.0) == (26.0, 25.0, 30.0)
    assert plan(planned=False, worked=25.0, full_s=27.0) == (26.0, 27.0, 30.0)
    assert plan(planned=True, worked=25.0, stop=True) == (26.0, 25.0, 30.0)


def test_what_is_left_is_what_neither_tables_nor_search_took_since_the_plan():
    # 60 s to spend; tables took 7 s before the plan and 4 s since, the search 5 times 2 s.
    tabled = Made(with_search_s=lambda worked: 11.0 + 2.0 * worked)
    here = Made(budget_s=60.0, tabled_s=7.0, worked=5.0, tables=Made(tabled=tabled))
    assert _Looking.left_s.fget(here) == 46.0


def ran(monkeypatch, *, planned=True, found=0, budget_s=100.0):
    """What is kept of the budget as ways, pairs and ways are looked at, what the budget is in
    the end, how many are wanted of the ways that fall short, and how many ways are told."""
    monkeypatch.setattr(ways, "each_once", list)
    monkeypatch.setattr(ways, "said", lambda *_: Made(effort_min=1.0))
    kept, wanted = [], []

    def look(_ways, of_it):
        kept.append(of_it)
        here.reach = [Made(way="way", reaches=True)] * found

    here = Made(
        budget_s=budget_s, _rest_s=10.0, _candidates=lambda: iter(()), _look=look,
        chosen=Made(odds=1 if planned else None, schedule=Made(worked=3.0)),
        tables=Made(tabled=Made(with_search_s=lambda worked: 5.0 * worked)),
        reach=[], more=[], _pairs=lambda _reach, _best, of_it: kept.append(of_it) or [],
        _still=lambda full_s: full_s,
        _best_of=lambda _more, many, _reach: wanted.append(many) or [],
        _hardly=lambda: [Made(way="weak", reaches=False)],
    )  # fmt: skip
    told = _Looking.run(here)
    return kept, here.budget_s, *wanted, len(told)


def test_so_much_of_the_work_is_kept_for_full_plans_and_pairs(monkeypatch):
    given = {
        "FULL": 1.2, "FULL_SHARE": 0.7, "FULL_NO_PLAN": 0.2, "REST": 0.4, "REST_PAIRED": 0.15,
        "MOST_HELP": 2.0, "MOST_S": 110.0,
    }  # fmt: skip
    for name, value in given.items():
        monkeypatch.setattr(ways, name, value)
    # Two plans of 1.2 times 15 s are 36 s; of the other 64 s, 0.4 and 0.15.
    kept, budget_s, *_ = ran(monkeypatch)
    assert (kept, budget_s) == (pytest.approx([36 + 25.6, 36 + 9.6, 36]), 100.0)
    # No more than 0.7 of all: 14 s of 20 s, and of the 6 s that are left.
    assert ran(monkeypatch, budget_s=20.0)[0] == pytest.approx([14 + 2.4, 14 + 0.9, 14])
    # Without a plan 0.2 of all; then two sheets more, as far as it goes.
    kept, budget_s, *_ = ran(monkeypatch, planned=False)
    assert (kept, budget_s) == (pytest.approx([20.0, 20 + 12.0, 20.0]), 110.0)
    assert ran(monkeypatch, planned=False, budget_s=50.0)[1] == 70.0


@pytest.mark.parametrize(("full", "still_s"), [(0, 10.0), (1, 5.0), (2, 0.0), (3, 0.0)])
def test_for_two_full_plans_no_more_is_kept_than_those_to_come(full, still_s):
    found = [Made(full=True)] * full
    here = Made(reach=found[:1], more=[*found[1:], Made(full=False)])
    assert _Looking._still(here, 10.0) == still_s


@pytest.mark.parametrize(
    ("planned", "found", "looks", "wanted"),
    [(False, 1, 3, 1), (False, 2, 1, 0), (True, 1, 3, 1), (True, 2, 3, 0)],
)
def test_where_two_make_a_plan_nothing_more_is_looked_at(
    monkeypatch, planned, found, looks, wanted
):
    kept, _, many, told = ran(monkeypatch, planned=planned, found=found)
    assert (len(kept), many, told) == (looks, wanted, found)


def test_where_no_way_is_found_what_is_hardly_a_cure_is_told(monkeypatch):
    assert [ran(monkeypatch, planned=planned)[-1] for planned in (True, False)] == [1, 1]


@pytest.mark.parametrize(
    ("full", "better", "told"),
    [(False, "better", ["better"]), (False, None, []), (True, "better", [0.3])],
)
def test_the_likeliest_of_what_is_hardly_a_cure_is_planned_in_full(full, better, told):
    weak = [
        Made(way=way(f"{frac}"), chosen=Made(chance_frac=frac), glance=None, full=full)
        for frac in (0.2, 0.3, 0.25)
    ]
    here = looking(planned=False, weak=weak)
    here._in_full = lambda one, _: better if one.job == "0.3" else "another"
    got = _Looking._hardly(here)
    assert [one if isinstance(one, str) else one.chosen.chance_frac for one in got] == told
    assert _Looking._hardly(looking(planned=False)) == []


def test_a_plan_takes_a_sheet_and_its_rooms_besides(monkeypatch):
    monkeypatch.setattr(ways, "SHEET_S", 2.0)
    monkeypatch.setattr(ways, "ROOM_S", 3.0)
    assert _Looking._rest_s.fget(Made(job=Made(rooms=("a", "b")))) == 8.0


@pytest.mark.parametrize(
    ("stop", "full_s", "left_s", "may"),
    [
        (False, 0.0, 0.0, True), (False, 4.0, 2.0, True), (False, 4.0, 1.9, False),
        (True, 0.0, 9.0, False),
    ],
)  # fmt: skip
def test_half_of_the_last_full_plan_may_be_overrun(stop, full_s, left_s, may):
    here = Made(stop=lambda: stop, full_s=full_s, left_s=left_s)
    assert _Looking._may_plan(here) == may


def test_nobody_is_asked_for_more_that_gives_no_more():
    # Further steps are kept where they give a fiftieth more; none after one that reaches.
    def look(*found):
        kept, left = [], iter(found)
        here = looking()
        here._over = lambda _: False
        here._steps_and_hands = lambda _: islice("abcd", len(found))
        here._tried = lambda _: next(left)
        here._keep = kept.append
        _Looking._look(here, iter([way()]), 3.0)
        assert here.kept_s == 3.0
        return [one.seen_frac for one in kept]

    def one(frac, *, reaches=False):
        return Made(seen_frac=frac, reaches=reaches)

    assert look(one(0.6), one(0.625), one(0.64)) == [0.6, 0.625]
    assert look(one(0.6), None, one(0.615), one(0.7)) == [0.6, 0.7]
    assert look(one(0.6), one(0.5, reaches=True), one(0.9)) == [0.6, 0.5]
    just = 0.6 + ways.WORTH_FRAC
    assert look(one(0.6), one(just)) == [0.6, just]


@pytest.mark.parametrize(
    ("wanted", "full", "may", "told"),
    [
        (0, True, True, []), (1, True, True, [0.8]), (2, True, True, [0.8, 0.7]),
        (9, True, True, [0.8, 0.7, 0.6]), (2, False, True, [0.81, 0.71]),
        (2, False, False, []), (2, True, False, [0.8, 0.7]),
    ],
)  # fmt: skip
def test_of_what_falls_short_so_many_are_told_as_are_wanted(
    monkeypatch, wanted, full, may, told
):
    def found(frac, *, full):
        return Made(
            way=way(f"{frac}", code=f"relax.{frac}"), chosen=Made(chance_frac=frac), full=full,
            glance=frac,
        )  # fmt: skip

    monkeypatch.setattr(ways, "in_vain", lambda *_: False)
    here = looking(_may_plan=lambda: may, _little=lambda *_: False)
    # A full plan holds a hundredth more often than at a glance.
    here._in_full = lambda _, glance: found(round(glance + 0.01, 2), full=True)
    short = [found(frac, full=full) for frac in (0.6, 0.8, 0.7)]
    got = _Looking._best_of(here, short, wanted)
    assert [one.chosen.chance_frac for one in got] == told


def test_where_no_work_is_left_for_another_full_plan_one_that_is_made_is_told(monkeypatch):
    monkeypatch.setattr(ways, "in_vain", lambda *_: False)
    here = looking(_may_plan=lambda: False, _little=lambda *_: False)
    found = [
        Made(way=way(f"{frac}", code=f"relax.{frac}"), chosen=Made(chance_frac=frac), full=full)
        for frac, full in ((0.9, False), (0.8, True), (0.7, False))
    ]
    got = _Looking._best_of(here, found, 2)
    assert [one.chosen.chance_frac for one in got] == [0.8]


def test_what_asks_for_more_and_gives_no_more_is_not_told(monkeypatch):
    def found(frac, **more):
        given = {"way": way(code=f"relax.{frac}"), "full": True, "glance": None, **more}
        return Made(chosen=Made(chance_frac=frac), **given)

    vain = set()
    monkeypatch.setattr(
        ways, "in_vain",
        lambda one, other: (one.chosen.chance_frac, other.chosen.chance_frac) in vain,
    )  # fmt: skip
    here = looking(_little=lambda one, _: one.chosen.chance_frac == 0.1)

    def told(*pairs, reach=()):
        vain.clear()
        vain.update(pairs)
        got = _Looking._best_of(here, [found(f) for f in (0.8, 0.7, 0.6, 0.1)], 3, reach)
        return [one.chosen.chance_frac for one in got]

    # A tenth is little beside any other.
    assert told() == [0.8, 0.7, 0.6]
    assert told((0.7, 0.8)) == [0.8, 0.6]
    assert told((0.8, 0.7)) == [0.7, 0.6]
    assert told((0.7, 0.9), reach=[found(0.9)]) == [0.8, 0.6]
    # Nor what makes no plan in full.
    here._in_full, here._may_plan = lambda *_: None, lambda: True
    assert _Looking._best_of(here, [found(0.8, full=False), found(0.7)], 3)[0].full


def test_two_kinds_of_change_that_bind_are_tried_with_others(monkeypatch):
    firsts = []
    monkeypatch.setattr(ways, "binds", lambda code, _job, _chosen: code != "relax.loose")
    here = looking(_over=lambda _: False)
    here._beside = lambda one, _: firsts.append(one.way.job) or iter([])
    more = [
        Made(way=way("a")), Made(way=way("a again")),
        Made(way=way("loose", code="relax.loose")),
        Made(way=way("both", code="relax.b", also="relax.c")),
        Made(way=way("c", code="relax.c")), Made(way=way("d", code="relax.d")),
    ]  # fmt: skip
    assert list(_Looking._pairs(here, [], more, 0.0)) == []
    assert firsts == ["a", "c"]


@pytest.mark.parametrize(
    ("planned", "over_at", "looked", "asked"),
    [
        # Four ways that reach are a choice, without a plan two; once there are two of them,
        # what is kept for other work is theirs as well.
        (True, None, 4, [3, 3, 0, 0, 0]), (False, None, 2, [3, 3, 0]), (True, 3, 0, [3]),
        (True, 0, 2, [3, 3, 0]),
    ],
)  # fmt: skip
def test_enough_ways_that_reach_are_a_choice(planned, over_at, looked, asked):
    asked_of, tried = [], []
    here = looking(planned=planned)

    def over(kept):
        asked_of.append(kept)
        return kept == over_at

    here._over, here._keep = over, here.reach.append
    here._steps_and_hands = lambda one: [one]
    here._tried = lambda one: (
        tried.append(one) or Made(way=one, reaches=True, seen_frac=0.9)
    )  # fmt: skip
    _Looking._look(here, iter([way(f"{n}") for n in range(6)]), 3)
    assert (len(tried), asked_of) == (looked, asked)


def test_looking_ends_where_there_are_no_more_ways():
    here = looking(_steps_and_hands=lambda one: [one], _keep=lambda _: None)
    here._tried = lambda _: None
    _Looking._look(here, iter([way()]), 3)
    assert here.kept_s == 3


def test_two_changes_ask_for_the_effort_of_both(monkeypatch):
    monkeypatch.setattr(ways, "replace", lambda one, **more: Made(**{**vars(one), **more}))
    monkeypatch.setattr(ways, "binds", lambda *_: True)
    tried = []
    here = looking(_over=lambda _: False, tried=["tried before"])
    first = Made(way=way("a", effort=60.0))

    def change(job, code="relax.b"):
        return Made(job=job, say=Message(code, {}), effort_min=45.0)

    here._beside = lambda one, _: iter(
        [(one, change("tried before")), (one, change("c", "relax.done")), (one, change("d"))]
    )
    here._tried = lambda both, beside: tried.append((both, beside)) or "together"
    reach = [Made(way=way(code="relax.done"))]
    # None where two reach already, or no work is left.
    assert list(_Looking._pairs(here, reach * 2, [first], 0.0)) == []
    over = Made(**{**vars(here), "_over": lambda kept: kept == 3.0})
    assert list(_Looking._pairs(over, reach, [first], 3.0)) == []
    assert tried == []
    assert list(_Looking._pairs(here, reach, [first], 0.0)) == ["together"]
    ((both, beside),) = tried
    assert (both.job, both.effort_min, both.say.code) == ("d", 105.0, "relax.a")
    assert (both.also.code, both.further, beside) == ("relax.b", None, first)


def test_beside_a_change_goes_one_of_each_other_kind_that_binds(monkeypatch):
    monkeypatch.setattr(ways, "binds", lambda code, *_: code != "relax.loose")
    first = Made(way=way(code="relax.a"), chosen="chosen")
    changes = [
        Change(job=job, say=Message(code, {}), effort_min=1.0, also=second)
        for job, code, second in (
            ("1", "relax.a", None), ("2", "relax.loose", None),
            ("3", "relax.b", Message("relax.c", {})), ("4", "relax.b", None),
            ("5", "relax.b", None), ("6", "relax.remedies", None), ("7", "relax.c", None),
        )
    ]  # fmt: skip
    here = looking(_by_chance=lambda *_, far: changes if far else [])

    def beside(best, firsts):
        monkeypatch.setattr(ways, "remedies_of", lambda *_: best)
        return [change.job for _, change in _Looking._beside(here, first, firsts)]

    assert beside(None, {}) == ["4", "6", "7"]
    # Of remedies the best of them alone is kept, where there is one.
    best = Change(job="best", say=Message("relax.remedies", {}), effort_min=1.0)
    firsts = {"relax.remedies": Made(way=way())}
    assert beside(best, firsts) == ["4", "best", "7"]
    assert beside(None, firsts) == ["4", "6", "7"]
    assert beside(best, {}) == ["4", "6", "7"]
