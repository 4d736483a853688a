"""Which floor comes next on the night: the old order, unless it keeps less than another."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from log_lines import said

from cureplan.planning.floor.pour import PourOption
from cureplan.planning.replan.order import best_order, orders_of
from cureplan.planning.replan.replan import replan


class Night:
    """Floors of an hour each; one of them has a margin only if it comes first."""

    def __init__(self, job, *, picky, iced=()):
        self.job, self.picky, self.iced, self.timed = job, picky, iced, 0

    def place(self, order):
        self.timed += 1
        begins_s = self.job.access.begins.timestamp()
        placed = {}
        for number, name in enumerate(order):
            tight = name == self.picky and number > 0
            placed[name] = SimpleNamespace(
                start_s=begins_s + 3600.0 * number,
                planning_margin_s=-300.0 if tight else 600.0,
                option=PourOption(chilled=name in self.iced, cool_filler=False, bays=1),
            )
        return placed, ()

    def coats(self, job, _pours):
        opens = SimpleNamespace(opens_s=job.access.begins.timestamp())
        window = SimpleNamespace(closes_s=1.0)
        return [SimpleNamespace(start_s=0.0, window=window, after=opens)]

    def best(self, names):
        return best_order(self.job, names, place=self.place, coats=self.coats)


@pytest.fixture(scope="module")
def job(small_plan):
    return small_plan.job


def names_of(job):
    return [room.name for room in job.rooms]


def test_an_order_that_keeps_everything_stays_and_nothing_else_is_timed(job):
    night = Night(job, picky=names_of(job)[0])
    assert night.best(names_of(job)) == tuple(names_of(job))
    assert night.timed == 1


def test_a_floor_that_must_come_first_is_put_first(job):
    names = names_of(job)
    night = Night(job, picky=names[2])
    assert night.best(names) == (names[2], names[0], names[1])


def test_pails_in_ice_are_not_wanted_sooner(job):
    names = names_of(job)
    night = Night(job, picky=names[2], iced=(names[2],))
    assert night.best(names) == tuple(names)


@pytest.mark.parametrize(("sooner_s", "stays"), [(240.0, False), (360.0, True)])
def test_an_order_that_wants_pails_before_they_are_cold_is_not_taken(job, sooner_s, stays):
    # The iced floor stays last, but without a wait before it; five minutes are allowed.
    names = names_of(job)
    night = Night(job, picky=names[1], iced=(names[2],))
    plain = night.place

    def place(order):
        placed, left_out = plain(order)
        if tuple(order) != tuple(names):
            placed[names[2]].start_s -= sooner_s
        return placed, left_out

    night.place = place
    assert (night.best(names) == tuple(names)) == stays


def test_floors_poured_in_one_go_are_not_torn_apart(job):
    names = names_of(job)
    grouped = tuple(
        replace(room, group="one" if room.name in names[:2] else None) for room in job.rooms
    )
    night = Night(replace(job, rooms=grouped), picky=names[1])
    assert night.best(names)[:2] == (names[1], names[0])


def test_a_floor_is_not_put_first_out_of_its_group(job):
    names = names_of(job)
    grouped = tuple(
        replace(room, group="one" if room.name in names[1:] else None) for room in job.rooms
    )
    best = Night(replace(job, rooms=grouped), picky=names[2]).best(names)
    assert abs(best.index(names[1]) - best.index(names[2])) == 1


@given(st.integers(2, 8), st.sets(st.integers(0, 7)))
def test_every_order_has_each_floor_once_and_no_iced_one_sooner(count, iced):
    names = list(range(count))
    for order in orders_of(names, iced=iced):
        assert sorted(order) == names
        assert order != tuple(names)
        assert all(order.index(name) >= name for name in iced if name < count)


def test_a_new_order_is_told_and_confirmed(small_plan, first, log_of, monkeypatch):
    # The judge sees the whole plan; only the choice of the order is forced here.
    import cureplan.planning.replan.replan as module

    room, buckets = first
    left = [r.room for r in small_plan.rooms if r.room != room.room]
    monkeypatch.setattr(module, "best_order", lambda _, names, **__: tuple(names)[::-1])
    monkeypatch.setattr(module, "carries_on", lambda *_, **__: False)
    lines = [said(b.pour, "poured", room.room, b.number) for b in buckets]
    lines.append(said(buckets[-1].pour + timedelta(minutes=1), "wait until", value=(
        buckets[-1].pour + timedelta(minutes=30)).isoformat()))  # fmt: skip
    found = replan(small_plan, log_of(*lines), now=buckets[-1].pour + timedelta(minutes=2))
    order = [r.room for r in sorted(found.plan.rooms, key=lambda r: r.order)]
    assert order[1:] == left[::-1]
    told = {change.code: change for change in found.changes}
    assert told["replan.order"].values["rooms"] == ", ".join(order)
