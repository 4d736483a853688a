"""Which schedule is taken and which change is told, on both sides of each limit."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.core.messages import Message
from cureplan.planning.plan import choose, climb, worth
from cureplan.planning.plan.choose import Chosen, _Choosing
from cureplan.planning.schedule.outcome import Relaxation
from cureplan.planning.schedule.placing import Span
from cureplan.planning.schedule.tables import Sureness

S = datetime(2026, 7, 17, 20, tzinfo=UTC).timestamp()
H = 3600.0
JOB = Made(policy=Made(confidence=0.9), rooms=[None] * 3)

pytestmark = pytest.mark.usefixtures("in_full")


# Which plan


def chosen(frac, *, margins=True, odds=None, **more):
    schedule = Made(keeps_margins_as_expected=margins, **more)
    return Chosen(schedule=schedule, odds=odds or Made(all_frac=frac))


@pytest.mark.parametrize(
    ("frac", "margins", "kept"),
    [(0.9, True, True), (0.899, True, False), (0.95, False, False)],
)
def test_a_policy_is_kept_by_margins_and_by_how_often_all_of_it_holds(frac, margins, kept):
    assert chosen(frac, margins=margins).keeps_policy(JOB) == kept
    assert Chosen(schedule=Made(), odds=None).chance_frac == 0.0


@pytest.mark.parametrize(
    ("one", "other", "beats"),
    [
        (0.90, 0.89, True), (0.89, 0.90, False), (0.95, 0.90, False), (0.85, 0.80, True),
        (0.8125, 0.8, True), (0.809, 0.8, False), (0.80, 0.85, False),
    ],
)  # fmt: skip
def test_a_schedule_beats_another_by_more_than_the_drawings_doubt(one, other, beats):
    assert _Choosing._beats(Made(job=JOB), chosen(one), chosen(other)) == beats


def vars_of(one):
    return {name: getattr(one, name) for name in getattr(one, "__slots__", None) or vars(one)}


def steps(*found, new=True, begun=-1, work=1.0, walk=_Choosing._surer):
    """Confidences tried, given what each step finds: a chance, or nothing."""
    tried, answers, seen = [], iter(found), {}

    def step(confidence, **more):
        tried.append((round(confidence, 4), *more.values()))
        frac = next(answers, found[-1])
        if new:
            seen[len(seen)] = None
        if frac is None:
            return None
        one = chosen(frac)
        here.best = one
        return one

    here = Made(
        job=JOB, begun=begun, seen=seen, _step=step, stop=lambda: False, best=None,
        surest=None, _work_left=lambda: work, _temperatures_surer=lambda: iter(()),
    )  # fmt: skip
    for _ in walk(here):
        if len(tried) > 20:
            break
    return [at[0] for at in tried], here


# Shares 0.7, 0.5, 0.3, 0.15, 0.07, 0.03 and 0.015 of a doubt of 0.1.
EACH = [0.93, 0.95, 0.97, 0.985, 0.993, 0.997, 0.9985]


@pytest.mark.parametrize(
    ("found", "new", "tried"),
    [
        # What finds the same again costs nothing; three that gain nothing are given up.
        ((0.89,), False, EACH), ((0.89,), True, EACH[:4]),
        # What gains more than a hundredth begins the count anew.
        ((0.88, 0.885, 0.885, 0.899, 0.899, 0.899, 0.899), True, EACH[:7]),
        ((0.88, 0.885, 0.885, 0.888), True, EACH[:4]),
        # Worse by more than a hundredth ends it; at the first step nothing is worse.
        ((0.89, 0.879), False, EACH[:2]), ((0.89, 0.881), False, EACH),
        # Half of the nights lost: 0.8 of what is allowed is aimed at, a share of 0.112.
        ((0.5, 0.88), False, [EACH[0], *EACH[4:]]),
        ((0.5, 0.86, 0.89), False, [EACH[0], EACH[4], EACH[5], EACH[6]]),
        # By just a hundredth is not worse; shares of 0.06 and 0.011, the next is the last.
        ((0.5, 0.49), False, [EACH[0], EACH[4], EACH[6]]),
        ((0.05, 0.05), False, [EACH[0], EACH[5], EACH[6]]),
        # 0.87 is near enough to go on step by step, less is not.
        ((0.87, 0.89), False, EACH), ((0.866, 0.89), False, [EACH[0], *EACH[2:]]),
        # Nothing found: half-way back, and no farther than that.
        ((0.5, None, 0.89), False, [EACH[0], EACH[4], EACH[2], EACH[3]]),
        ((None,), False, EACH[:1]), ((0.89, None), False, EACH[:2]),
    ],
)  # fmt: skip
def test_limits_are_kept_surer_step_by_step(found, new, tried):
    assert steps(*found, new=new)[0] == tried


def test_surer_steps_begin_after_what_was_planned_and_end_with_the_work():
    assert steps(0.89, new=False, begun=3)[0] == EACH[4:]
    assert steps(0.89, new=False, work=0.0)[0] == EACH[:1]


def test_a_search_has_the_limits_and_the_looks_it_is_given_else_its_own(monkeypatch):
    monkeypatch.setattr(choose, "_Choosing", lambda **given: Made(run=lambda: given))
    asked = {"issued_s": 0.0, "stop": lambda: False}
    given = choose.choose(JOB, None, limits="some", looked="seen", **asked)
    assert (given["limits"], given["looked"]) == ("some", "seen")
    given = choose.choose(JOB, None, **asked)
    assert given["limits"] == choose.limits_for(3)
    assert isinstance(given["looked"], choose.Looked)


def test_nothing_is_planned_surer_before_the_first_step(monkeypatch):
    tried = []
    monkeypatch.setattr(_Choosing, "_step", lambda _, sure: tried.append(round(sure, 4)))
    one = _Choosing(
        job=JOB, tables=None, issued_s=0.0, limits=Made(work=1.0), progress=None,
        stop=lambda: False,
    )  # fmt: skip
    # What cannot be had even there is not asked for any surer.
    assert [*one._surer()] == [None]
    assert tried == EACH[:1]


@pytest.mark.parametrize(
    ("holds_after", "stopped", "steps", "near"),
    [(0, False, 1, True), (1, False, 2, True), (9, False, 3, True), (9, True, 3, False)],
)
def test_steps_end_where_all_of_it_is_kept(monkeypatch, holds_after, stopped, steps, near):
    done = []

    def walk(self):
        for number in range(2):
            yield
            done.append(number)
            self.best = chosen(0.95 if number >= holds_after - 1 else 0.5, name="later")

    first = Made(failures=(), held_frac=None, sure_known="known", worked=7.0, name="first")
    monkeypatch.setattr(choose, "construct", lambda *_, **__: first)
    monkeypatch.setattr(
        choose, "replace", lambda one, **given: Made(**{**vars_of(one), **given})
    )
    for name in ("_temperatures_surer", "_buckets_surer", "_settled", "_walked_sooner"):
        monkeypatch.setattr(_Choosing, name, lambda _: iter(()))
    monkeypatch.setattr(_Choosing, "_surer", walk)
    looked = []
    monkeypatch.setattr(_Choosing, "_looked_near", lambda _: looked.append("near"))
    monkeypatch.setattr(
        _Choosing, "_assessed", lambda *_: chosen(0.95 if holds_after == 0 else 0.5)
    )
    one = _Choosing(
        job=JOB, tables=Made(pours=None), issued_s=0.0, limits=None, progress=None,
        stop=lambda: stopped,
    )  # fmt: skip
    found = one.run()
    # A first schedule that does ends it before the first step is made.
    assert len(done) == steps - 1
    assert (one.worked, found.schedule.worked) == (7.0, 7.0)
    # The first kept its windows as surely as asked.
    assert found.schedule.sure_known == "found"
    assert looked == ["near"] * near


@pytest.mark.parametrize(
    ("best", "sure"), [(None, 1), (Made(odds=None), 1), (Made(odds=1), None), (None, None)]
)
def test_without_odds_no_limit_is_kept_by_itself(best, sure):
    here = Made(best=best, sure=sure, job=JOB)
    assert [*_Choosing._temperatures_surer(here)] == []


@pytest.mark.parametrize(("best", "stop"), [(None, False), (None, True), (1, False), (1, True)])
def test_the_best_so_far_is_waited_for_where_there_is_one(best, stop):
    here = Made(best=best, stop=lambda: stop)
    assert _Choosing._ends(here) is (best is not None and stop)


def test_windows_are_had_as_surely_as_can_be_between_even_odds_and_what_was_asked():
    tried, here = steps(0.8, None, 0.8, walk=_Choosing._between)
    assert tried == [0.7, 0.8, 0.75]
    assert here.surest == 0.75
    tried, here = steps(None, walk=_Choosing._between)
    assert tried == [0.7, 0.6, 0.55]
    assert here.surest is None


@pytest.mark.parametrize(("frac", "tried"), [(0.85, 0), (0.839, 1), (0.5, 1)])
def test_where_it_falls_far_short_crews_begin_sooner(frac, tried):
    asked = []
    here = Made(job=JOB, best=chosen(frac), _step=lambda c, **_: asked.append(c))
    list(_Choosing._walked_sooner(here))
    # Two fifths of the way from even odds to what was asked.
    assert asked == [pytest.approx(0.66)] * tried


@pytest.mark.parametrize(("rooms", "begins"), [(12, None), (24, 3), (48, 4), (500, 6)])
def test_a_job_of_many_rooms_shares_its_doubt_out(monkeypatch, rooms, begins):
    monkeypatch.setattr(choose, "MANY_ROOMS", 24)
    asked = []
    job = Made(policy=JOB.policy, rooms=[None] * rooms)

    def step(confidence):
        asked.append(round(confidence, 4))
        return Made(schedule="it")

    here = Made(job=job, _step=step, begun=-1)
    got = _Choosing._of_many(here)
    # Four of 24 rooms' doubt is a share of 0.167, of 48 half as much.
    assert (got, here.begun) == ((None, -1) if begins is None else ("it", begins))
    assert asked == ([] if begins is None else [EACH[begins]])
    here._step = lambda _: None
    assert _Choosing._of_many(here) is None


@pytest.mark.parametrize(
    ("rooms", "frac", "near"),
    [(5, 0.841, True), (5, 0.839, False), (1, 0.841, True), (10, 0.886, True),
     (10, 0.884, False), (10, 0.885, True)],
)  # fmt: skip
def test_a_quick_schedule_near_what_was_asked_is_worth_the_solver(rooms, frac, near):
    job = Made(policy=JOB.policy, rooms=[None] * rooms)
    quick = Made(pours=(), coats=(), primers=())
    here = Made(
        job=job, _ends=lambda: False, _assessed=lambda _: chosen(frac), quick={},
        stop=lambda: False,
    )  # fmt: skip
    # By 0.06 it may fall short; of ten rooms, by a quarter of that.
    assert _Choosing._promising(here, quick) == near
    here.stop = lambda: True
    assert not _Choosing._promising(here, quick)


def test_what_a_schedule_is_worth_by_its_own_nights_and_others():
    judged = Made(weight=2, frac=0.6)
    assert _Choosing._agreed(Made(job=JOB), chosen(0.9), judged) == (True, pytest.approx(0.7))


def quick(frac=0.5, **more):
    schedule = Made(pours=(), coats=(), primers=(), **more)
    return Chosen(schedule=schedule, odds=Made(all_frac=frac))


@pytest.mark.parametrize(
    ("rooms", "confidence", "known", "settles"),
    [
        (5, 0.97, True, "step"), (6, 0.97, True, None), (6, None, True, "first"),
        (5, 0.97, False, None), (99, None, True, None),
    ],
)  # fmt: skip
def test_a_schedule_no_solver_has_seen_is_settled(rooms, confidence, known, settles):
    done = []
    one = quick()

    def step(asked, *, quickly):
        assert (asked, quickly) == (confidence, False)
        done.append("step")

    here = Made(
        job=Made(rooms=[None] * rooms), best=one, stop=lambda: False,
        quick={choose.starts_of(one.schedule): confidence} if known else {},
        _step=step,
        _first=lambda _: "it", _weigh=lambda _: done.append("first"),
    )  # fmt: skip
    list(_Choosing._settled(here))
    assert done == ([] if settles is None else [settles])
    here.best = None
    assert list(_Choosing._settled(here)) == []


def cooler(limits=0.8, buckets=0.9, *, cool=None, found=(None, 0.85), sure=True):
    """Confidences at which limits of temperature are tried by themselves."""
    tried, answers = [], iter(found)

    def planned(sure):
        tried.append(round(sure.limits, 3))
        frac = next(answers, None)
        return None if frac is None else Made(odds=Made(limits_frac=frac))

    odds = Made(limits_frac=limits, buckets_frac=buckets, coats_frac=0.95, shifts_frac=0.95)
    here = Made(
        job=JOB, best=Made(odds=odds), cool=cool, _planned_at=planned,
        sure=Sureness(windows=0.9, margins=0.9) if sure else None,
    )  # fmt: skip
    list(_Choosing._temperatures_surer(here))
    return tried, here.cool


def test_limits_of_temperature_are_kept_by_themselves_where_they_fail_most():
    # A tenth of the doubt, 0.01; then 0.3 of it, where the first finds nothing.
    assert cooler() == ([0.99, 0.97], 0.97)
    assert cooler(found=(0.8,)) == ([0.99], None)
    assert cooler(found=(0.81,)) == ([0.99], 0.99)
    assert cooler(found=(None,) * 4) == ([0.99, 0.97, 0.94, 0.9], None)
    assert cooler(limits=0.9) == ([], None)
    assert cooler(cool=0.99) == ([], 0.99)
    assert cooler(cool=0.98, found=(None, 0.85)) == ([0.99], 0.98)
    assert cooler(sure=False) == ([], None)


def margins(*found, buckets=0.5, new=True):
    """Confidences of buckets alone, given how often what each finds holds."""
    tried, seen, answers = [], {}, iter(found)

    def step(windows, *, margins):
        assert windows == 0.9
        tried.append(round(margins, 4))
        frac = next(answers, found[-1])
        if new:
            seen[len(seen)] = None
        if frac is None:
            return None
        here.best = chosen(frac, odds=Made(all_frac=frac, buckets_frac=buckets))
        return here.best

    best = chosen(0.5, odds=Made(all_frac=0.5, buckets_frac=buckets))
    here = Made(job=JOB, best=best, seen=seen, _step=step)
    list(_Choosing._margins_surer(here, 0.9))
    return tried


@pytest.mark.parametrize(
    ("asked", "margins", "kept"),
    [(0.9, None, 0.9), (0.5, None, 0.9), (0.97, None, 0.97), (0.9, 0.8, 0.8)],
)
def test_limits_leave_room_for_who_is_late(asked, margins, kept):
    here = Made(job=Made(policy=JOB.policy, times_sd=lambda _: 0.05), cool=None)
    got = _Choosing._sureness(here, asked, margins)
    assert (got.windows, got.margins) == (asked, kept)
    assert got.times_sd == (0.05 if margins else 0.0)
    # Both ways off: 1.645 standard deviations at 0.9, 0.674 at even odds, 2.170 at 0.97.
    behind = {0.9: 1.6449, 0.5: 0.6745, 0.97: 2.1701}[asked]
    assert got.late_s == pytest.approx(behind * choose.LATE_SD_S, rel=1e-3)
    assert got.drag_frac == pytest.approx(behind * choose.RHYTHM_SD_FRAC, rel=1e-3)


def test_buckets_alone_are_kept_surer_while_that_gains():
    # As asked, then the shares of a doubt of 0.1; three that gain nothing are given up.
    assert margins(0.8, 0.7, 0.7, 0.7) == [0.9, *EACH[:3]]
    assert margins(0.8, 0.8, 0.85, 0.8, 0.8, 0.8) == [0.9, *EACH[:5]]
    assert margins(None) == [0.9]
    # Where the same is found far below what is asked, the next two are left out.
    assert margins(0.6, new=False) == [0.9, EACH[2], EACH[5]]
    assert margins(0.66, new=False) == [0.9, *EACH]
    # What buckets keep already is not asked for: all but the last two shares.
    assert margins(0.66, buckets=0.996, new=False) == EACH[5:]


# Near the best


def test_what_is_lost_next_to_never_is_left_alone():
    assert climb._worst({"a": 0.9905, "b": 0.5, "c": 0.98, "d": 1.0}) == ["b", "c"]


@pytest.mark.parametrize(
    ("frac", "worked", "stop", "enough", "over"),
    [
        (0.91, 1.0, False, True, True), (0.909, 1.0, False, True, False),
        (0.91, 1.0, False, False, False), (0.5, 2.0, False, False, False),
        (0.5, 2.1, False, False, True), (0.5, 1.0, True, False, True),
    ],
)  # fmt: skip
def test_climbing_is_over_where_it_is_sure_or_has_worked_enough(
    frac, worked, stop, enough, over
):
    here = Made(
        near=Made(worked=worked - 0.5, job=Made(policy=Made(confidence=0.9))),
        nights=Made(worked=0.5), stop=lambda: stop, work=2.0, enough=lambda _: enough,
        best=Made(frac=frac, schedule=None),
    )  # fmt: skip
    assert climb._Climb.over.fget(here) == over


@pytest.mark.parametrize(
    ("first", "whole", "beyond"),
    [
        (0.8, 0.81, True),
        (0.791, 0.81, True),
        (0.79, 0.81, False),
        (0.7875, 0.81, False),
        (0.8, 0.8, False),
    ],
)
def test_a_schedule_unlucky_by_a_hundredth_is_asked_on_all_nights(first, whole, beyond):
    other = Made(odds=Made(all_frac=0.8), frac=0.8)
    here = Made(first_frac=lambda _: first, judged=lambda _: Made(frac=whole))
    assert (climb.Nights.beyond(here, None, other) is not None) == beyond


@pytest.mark.parametrize(("fracs", "weight"), [((0.8, 0.6), 2), ((0.8,), 0)])
def test_all_nights_count_alike(fracs, weight):
    odds = [Made(all_frac=frac) for frac in fracs]
    got = climb.Nights.judged(Made(_draws=[None] * len(fracs), _odds=lambda *_: odds), Made())
    assert (got.frac, got.weight) == (pytest.approx(sum(fracs) / len(fracs)), weight)


@pytest.mark.parametrize(
    ("frac", "least", "gains"),
    [(0.81, 0.0, True), (0.8, 0.0, False), (0.802, 0.003, False), (0.804, 0.003, True)],
)
def test_a_way_gains_by_more_than_the_least(frac, least, gains):
    found = Made(frac=frac)
    here = Made(
        _seen=set(), over=False, near=Made(placed=lambda _: "it"), way=None,
        nights=Made(beyond=lambda *_: found), best=Made(frac=0.8),
    )  # fmt: skip
    way = Made(key=1)
    assert climb._Climb.gains(here, way, least=least) == gains
    assert (here.best is found) == gains
    assert not climb._Climb.gains(here, way, least=least)
    fresh = Made(**{**vars(here), "_seen": set(), "over": True})
    assert not climb._Climb.gains(fresh, way)


@pytest.mark.parametrize(
    ("gains", "tried"),
    [
        # Later as long as that gains; sooner only where it never did.
        ([True, True, False], [600, 600, 600]), ([False, True, False], [600, -600, -600]),
        ([False, False], [600, -600]),
    ],
)  # fmt: skip
def test_pours_are_moved_as_long_as_that_gains(gains, tried):
    answers, moved = iter(gains), []
    here = Made(
        way=Made(moved=lambda _rooms, by_s: moved.append(by_s)),
        gains=lambda _way, **_: next(answers),
    )
    climb._Climb._moves(here, ("Bar",), 600.0)
    assert moved == tried


@pytest.mark.parametrize(
    ("better", "together", "asked"),
    [
        # All at once; one by one where that gains nothing, or where there is but one.
        (("A", "B"), True, [("A", "B")]), (("A", "B"), False, [("A", "B"), ("A",), ("B",)]),
        (("A",), False, [("A",)]), ((), False, []),
    ],
)  # fmt: skip
def test_floors_are_poured_as_they_hold_most_often(better, together, asked):
    pours = [Made(room=name, option=1) for name in ("B", "A", "C")]
    tried = []

    def poured(options):
        tried.append(tuple(sorted(options)))
        return together

    here = Made(
        best=Made(schedule=Made(pours=pours), worst_rooms=lambda: ["A", "B"]),
        _beside=lambda _: [1, 2],
        _of_floor=lambda pour: lambda option: option * (1 if pour.room in better else -1),
        _poured=poured,
    )  # fmt: skip
    climb._Climb._floors(here)
    assert tried == asked


# Which change


def change(code="relax.more", *, second=None, effort=60.0, **values):
    return Made(
        say=Message(code, values), also=None if second is None else Message(second, {}),
        effort_min=effort,
    )  # fmt: skip


def tried(frac, *, reaches=False, full=True, glance=None, lost=None, **way):
    lost = np.zeros(100) if lost is None else np.asarray(lost, float)
    odds = Made(all_frac=frac, members=lost.size, lost=lost)
    best = None if glance is None else Made(chance_frac=glance)
    return worth.Tried(
        way=change(**way), chosen=Made(chance_frac=frac, odds=odds), glance=Made(best=best),
        reaches=reaches, full=full,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("keeps", "frac", "says"),
    [
        # All of it as often as the 0.9 asked, and yet short: then a margin is what is short.
        ("more", 0.9, "but_margins"), ("plan", 0.97, "but_margins"), ("more", 0.899, "more"),
        ("plan", 0.5, "plan"), ("chance", 0.95, "chance"), ("more", None, "more"),
    ],
)  # fmt: skip
def test_what_holds_as_often_as_asked_is_not_told_as_short_of_it(keeps, frac, says):
    job = Made(policy=Made(confidence=0.9))
    say = Message("relax.stored", {"temp_c": 21.0})
    way = Relaxation(job=job, say=say, also=None, effort_min=1.0, chance_frac=frac)
    assert worth.said(way, keeps).say == Message(say.code, {**say.values, "keeps": says})


@pytest.mark.parametrize(
    ("found", "told", "vain"),
    [
        # The same for more effort: 0.02 more often is nothing, more than that is something.
        ({"frac": 0.82}, {"frac": 0.8}, True), ({"frac": 0.83}, {"frac": 0.8}, False),
        ({"frac": 0.82, "reaches": True}, {"frac": 0.8}, False),
        ({"frac": 0.7, "effort": 59.0}, {"frac": 0.8}, False),
        ({"frac": 0.7, "code": "relax.other"}, {"frac": 0.8}, False),
        ({"frac": 0.7, "second": "relax.other"}, {"frac": 0.8}, True),
        ({"frac": 0.7}, {"frac": 0.8, "second": "relax.other"}, False),
        # At a glance it is held against what the other was at a glance.
        ({"frac": 0.82, "full": False}, {"frac": 0.9, "glance": 0.8}, True),
        ({"frac": 0.83, "full": False}, {"frac": 0.9, "glance": 0.8}, False),
        # Ten of a hundred nights lost by one alone: 0.063 may be luck.
        ({"frac": 0.86, "lost": [1.0] * 10 + [0.0] * 90}, {"frac": 0.8}, True),
        ({"frac": 0.87, "lost": [1.0] * 10 + [0.0] * 90}, {"frac": 0.8}, False),
    ],
)  # fmt: skip
def test_a_way_that_asks_for_more_must_hold_more_often(found, told, vain):
    assert worth.in_vain(tried(**found), tried(**told)) == vain


def test_plans_whose_nights_are_not_the_same_are_told_apart_by_a_fiftieth():
    one, other = tried(0.8), tried(0.8, lost=np.ones(50))
    assert worth._doubt_frac(one.chosen, other.chosen) == 0.02
    assert worth._doubt_frac(one.chosen, Made(odds=None)) == 0.02
    assert worth._doubt_frac(one.chosen, one.chosen) == 0.0


def test_two_changes_stand_behind_one_that_gives_as_much():
    ways = [tried(0.81, second="relax.b"), tried(0.8), tried(0.83, second="relax.b")]
    assert sorted(ways, key=worth.weaker) == [ways[2], ways[1], ways[0]]


@pytest.mark.parametrize(
    ("code", "work_h", "near"),
    [
        # A shift from 0 to 10: work begun within 4 h of its begin, or ended of its end.
        ("relax.pour_sooner", (0, 5), True), ("relax.pour_sooner", (3.9, 5), True),
        ("relax.pour_sooner", (4, 5), False), ("relax.pour_sooner", (-0.1, 5), False),
        ("relax.pour_longer", (0, 10), True), ("relax.pour_longer", (0, 6.1), True),
        ("relax.pour_longer", (0, 6), False), ("relax.pour_longer", (0, 10.1), False),
        ("relax.coat_longer", (0, 10), False), ("relax.more_topcoat", (0, 5), True),
    ],
)  # fmt: skip
def test_a_shift_may_change_anything_that_work_stands_near_its_end(
    monkeypatch, code, work_h, near
):
    monkeypatch.setattr(worth, "crew_spans", lambda *_: [Span(begins_s=S, ends_s=S + 10 * H)])
    job = Made(crew=Made(pour_shifts=(), topcoat_shifts=()))
    begins_h, ends_h = work_h
    pour = Made(start_s=S + begins_h * H, end_s=S + ends_h * H)
    plan = Made(schedule=Made(pours=[pour], coats=[]), odds=Made(opening_frac=1.0))
    assert worth.binds(code, job, plan) == near
    assert worth.binds(code, job, Made(schedule=plan.schedule, odds=None))


@pytest.mark.parametrize(
    ("opens_h", "holds", "near"),
    [(20.0, 1.0, False), (20.1, 1.0, True), (0.0, 0.98, True), (0.0, 0.981, False)],
)
def test_an_opening_four_hours_off_that_nearly_always_holds_need_not_move(opens_h, holds, near):
    job = Made(access=Made(open_by=datetime.fromtimestamp(S + 24 * H, UTC)))
    plan = Made(schedule=Made(opens_s=S + opens_h * H), odds=Made(opening_frac=holds))
    assert worth.binds(worth.OPENS, job, plan) == near


def test_of_two_changes_one_that_does_by_itself_makes_the_other_needless():
    both = change("relax.a", second="relax.b")
    assert not worth.needless(change("relax.a"), [change("relax.a")])
    assert not worth.needless(both, [])
    assert worth.needless(both, [change("relax.a")])
    assert worth.needless(both, [change("relax.b")])
    assert not worth.needless(both, [change("relax.c")])
    assert worth.needless(both, [], [change("relax.a", minutes=9)])
    assert not worth.needless(both, [change("relax.a", second="relax.c")])


def test_the_part_lost_most_often_and_each_kind_once():
    odds = Made(
        buckets_frac=0.9, coats_frac=0.8, shifts_frac=0.95, opening_frac=1.0, limits_frac=0.85
    )
    assert worth.lost_first(odds) == "coats"
    ways = [tried(0.8, rooms="A"), tried(0.9, rooms="A"), tried(0.7, rooms="B"),
            tried(0.6, rooms="A", second="relax.b")]  # fmt: skip
    assert worth.each_once(ways) == [ways[0], ways[2], ways[3]]
