"""Which changes mend a limit, and how a change is looked at, made up by hand."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace as Made

import pytest

from cureplan.core.messages import Message
from cureplan.planning.plan import ways
from cureplan.planning.plan.ways import _Looking
from tests.planning.made_odds import odds


def way(job="job", code="relax.a", *, effort=1.0, second=None):
    also = None if second is None else Message(second, {})
    return Made(job=job, say=Message(code, {}), also=also, effort_min=effort)


# At a glance


def test_the_job_as_it_is_is_looked_at_once_and_only_where_there_is_a_plan():
    looked = []
    here = Made(as_is=None, chosen=Made(odds=None), job="job", _glance=looked.append)
    assert _Looking._as_is(here) is None
    assert looked == []
    here.chosen.odds = "odds"
    here._glance = lambda job: looked.append(job) or "its glance"
    assert [_Looking._as_is(here) for _ in range(2)] == ["its glance"] * 2
    assert looked == ["job"]


@pytest.mark.parametrize(
    ("policy", "timed", "beside"),
    [("p", "t", True), ("q", "t", False), ("p", "u", False), ("q", "u", False)],
)
def test_a_change_of_hours_alone_is_looked_at_beside_another(
    monkeypatch, policy, timed, beside
):
    seen = []

    def at(job, tables, **given):
        seen.append((job, tables, given))
        return Made(worked=2.0)

    monkeypatch.setattr(ways, "Glance", Made(at=at))
    monkeypatch.setattr(ways, "timeless", lambda job: job.timed)
    said = []
    here = Made(
        progress=said.append, job="as it is", issued_s=5.0, stop=None, worked=1.0,
        tables=Made(of_changed=lambda job, was: (job.name, was)), chosen=Made(odds="odds"),
        _cure_frac=lambda: 0.45,
    )  # fmt: skip
    job = Made(name="changed", policy=policy, timed=timed)
    other = Made(job=Made(policy="p", timed="t"))
    _Looking._glance(here, job, other)
    ((_, tables, given),) = seen
    assert tables == ("changed", "as it is")
    assert given["beside"] is (other if beside else None)
    assert given["enough_frac"] is None
    assert here.worked == 3.0
    assert len(said) == 1
    # Where there is no plan, what is a cure is enough; and nobody need be told.
    here.chosen.odds, here.progress = None, None
    _Looking._glance(here, job)
    assert (seen[-1][2]["beside"], seen[-1][2]["enough_frac"]) == (None, 0.45)
    assert (here.worked, len(said)) == (5.0, 1)


def test_a_change_is_tried_once():
    turns = [iter([way("a"), way("b")]), iter([way("a", "relax.b"), way("c")])]
    here = Made(tried=["b"], _in_turn=lambda: turns)
    assert [one.job for one in _Looking._candidates(here)] == ["a", "c"]
    assert here.tried == ["b", "a", "c"]


# What mends a limit


def mended(monkeypatch, *found, planned=True, kept=False, margins=False, **lost):
    """The changes that mend a limit in their turn, and what was asked for."""
    asked = []

    def quick_ways(*_, margins_alone):
        asked.append((_[4], margins_alone))
        return list(found), 3.0

    monkeypatch.setattr(ways, "quick_ways", quick_ways)
    monkeypatch.setattr(ways, "QUICK", 0.5)
    monkeypatch.setattr(ways, "QUICK_NO_PLAN", 0.25)
    here = Made(
        job="job", tables=None, stop=None, left_s=10.0, kept_s=2.0, worked=1.0,
        chosen=Made(
            schedule=Made(keeps_limits=kept, keeps_margins=margins),
            odds=odds(**lost) if planned else None,
        ),
    )  # fmt: skip
    got = [one.job for one in _Looking._mending(here)]
    assert here.worked == (1.0 if kept else 4.0)
    return got, asked


def test_limits_are_mended_in_a_share_of_what_is_left(monkeypatch):
    one = way("a")
    assert mended(monkeypatch, one, kept=True) == ([], [])
    # Half of the 8 s that are not kept for other work, without a plan a quarter.
    assert mended(monkeypatch, one) == (["a"], [(4.0, False)])
    assert mended(monkeypatch, one, planned=False) == (["a"], [(2.0, False)])


@pytest.mark.parametrize(
    ("margins", "buckets", "planned", "alone"),
    [
        (False, 0.1, True, True), (True, 0.1, True, False), (False, 1.0, True, False),
        (False, 0.1, False, False),
    ],
)  # fmt: skip
def test_margins_alone_are_mended_where_buckets_are_lost_most(
    monkeypatch, margins, buckets, planned, alone
):
    _, asked = mended(
        monkeypatch, margins=margins, planned=planned, buckets_frac=buckets
    )  # fmt: skip
    assert [only for _, only in asked] == [alone]


def test_what_acts_on_the_part_lost_most_comes_first_then_what_costs_least(monkeypatch):
    # Remedies act on buckets and temperatures, a later opening on coats and the opening.
    found = [
        way("opens", "relax.open_later", effort=5.0),
        way("remedy", "relax.remedies", effort=9.0),
        way("dear", "relax.stay_longer", effort=3.0),
        way("both", "relax.stay_longer", second="relax.remedies", effort=8.0),
        way("any", "relax.other", effort=10.0),
    ]  # fmt: skip
    given = {"buckets_frac": 0.3, "coats_frac": 0.5, "opening_frac": 0.6, "shifts_frac": 0.9}
    got, _ = mended(monkeypatch, *found, limits_frac=1.0, **given)
    assert got == ["both", "remedy", "any", "opens", "dear"]


def test_without_a_plan_a_later_opening_is_the_second_at_last(monkeypatch):
    found = [
        way("a", effort=1.0), way("b", effort=2.0),
        way("later", "relax.open_later", effort=3.0),
        way("later still", "relax.open_later", effort=4.0),
    ]  # fmt: skip
    got, _ = mended(monkeypatch, *found, planned=False)
    # It comes in its own turn as well, where it was tried by then.
    assert got == ["a", "later", "b", "later", "later still"]
    assert mended(monkeypatch, *found[:2], planned=False)[0] == ["a", "b"]


# What acts on the chance


def acted(*, far=False, best=0.0, confidence=0.9, all_frac=0.5, **kept):
    """The parts that are acted on, those in capitals of which much is lost, and the efforts
    of what is tried for the first."""
    asked = []

    def acting(part, *_, much):
        asked.append(part.upper() if much else part)
        return [Made(effort_min=2.0), Made(effort_min=1.0)]

    every = dict.fromkeys(("buckets", "coats", "shifts", "opening", "limits"), 1.0) | kept
    found = Made(all_frac=all_frac, **{f"{part}_frac": frac for part, frac in every.items()})
    job = Made(policy=Made(confidence=confidence))
    here = Made(best_frac=best, _acting_on=acting)
    given = job, Made(odds=found, schedule=None)
    efforts = [one.effort_min for one in _Looking._by_chance(here, *given, far=far)][:2]
    return " ".join(asked), efforts


@pytest.mark.parametrize(
    ("given", "parts"),
    [
        # A part that loses a hundredth and a half is left alone where a fiftieth is wanted.
        ({"coats": 0.8, "buckets": 0.9}, "coats buckets"),
        ({"coats": 0.8, "buckets": 0.985}, "coats"),
        # Nor can more be won at one than the others leave: 0.515 and 0.52 of 0.5.
        ({"coats": 0.515, "buckets": 0.521}, "coats"),
        # Half a hundredth is wanted where no more is short of what is asked.
        ({"coats": 0.91, "buckets": 0.99, "all_frac": 0.895}, "coats buckets"),
        ({"coats": 0.91, "buckets": 0.99, "all_frac": 0.87}, "coats"),
        # Half of the 0.3 that another gave, where one is found.
        ({"coats": 0.8, "buckets": 0.86, "best": 0.8}, "coats"),
        ({"coats": 0.8, "buckets": 0.84, "best": 0.8}, "coats buckets"),
        # More than a quarter is much, beside another change alone.
        ({"coats": 0.7, "buckets": 0.9, "far": True}, "COATS buckets"),
        ({"coats": 0.75, "buckets": 0.9, "far": True}, "coats buckets"),
        ({"coats": 0.7, "buckets": 0.9}, "coats buckets"),
    ],
)  # fmt: skip
def test_parts_are_acted_on_as_far_as_something_can_be_won(given, parts):
    asked, efforts = acted(**given)
    assert asked == parts
    # Cheapest first, but as they come where much is lost.
    assert efforts == ([2.0, 1.0] if parts[0] == "C" else [1.0, 2.0])


def test_what_can_just_be_won_is_worth_it(monkeypatch):
    # Quarters, for the sake of whole binary fractions.
    monkeypatch.setattr(ways, "WORTH_FRAC", 0.25)
    assert acted(coats=0.75, buckets=0.5, all_frac=0.25)[0] == "buckets coats"
    assert acted(coats=0.76, buckets=0.5, all_frac=0.25)[0] == "buckets"


# More margin


@dataclass(frozen=True)
class Policy:
    margin_s: float = 0.0


@dataclass(frozen=True)
class Job:
    name: str = "job"
    policy: Policy = field(default_factory=Policy)


def test_the_fewest_remedies_that_give_more_margin_are_sought(monkeypatch):
    asked = []

    def relaxations(job, tables, **given):
        asked.append((job.policy.margin_s, tables, given))
        return [
            way(Job(name, Policy(999.0)), code, effort=7.0, second=second)
            for name, code, second in (
                ("a", "relax.remedies", None), ("b", "relax.remedies", "another"),
                ("c", "relax.other", None),
            )
        ], 3.0  # fmt: skip

    monkeypatch.setattr(ways, "relaxations", relaxations)
    monkeypatch.setattr(ways, "MORE_MARGIN_S", 120.0)
    monkeypatch.setattr(ways, "QUICK", 0.5)
    here = Made(
        job="as it is", stop=None, left_s=10.0, kept_s=2.0, worked=1.0,
        tables=Made(of_changed=lambda job, was: (job.name, was)),
    )  # fmt: skip
    schedule = Made(pours=[Made(margin_s=400.0), Made(margin_s=250.0)])
    job = Job(policy=Policy(240.0))
    (got,) = _Looking._with_more_margin(here, job, schedule)
    # 250 s are left at least: two minutes more, in whole minutes, are 360 s.
    ((margin_s, tables, given),) = asked
    assert (margin_s, tables, given["budget_s"]) == (360.0, ("job", "as it is"), 4.0)
    assert (got.job.name, got.job.policy.margin_s, got.effort_min) == ("a", 240.0, 7.0)
    assert here.worked == 4.0
