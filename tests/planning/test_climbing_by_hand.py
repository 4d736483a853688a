"""Which schedules near the best are looked at, and on which nights, made up by hand."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import SimpleNamespace as Made

import pytest

from cureplan.planning.floor.pour import PourOption
from cureplan.planning.plan import climb
from cureplan.planning.plan.climb import Nights, _Climb

AS_IS = PourOption(chilled=False, cool_filler=False, bays=2)


@dataclass(frozen=True)
class Way:
    """What a schedule is held to, as far as it is looked at here."""

    order: tuple = ("A", "B", "C")
    windows: float = 0.9
    way_last: bool = False
    clear: bool = True
    from_s: dict = field(default_factory=dict)
    coats_s: dict = field(default_factory=dict)
    swaps: tuple = ()

    def swapped(self, one, other):
        return replace(self, swaps=(one, other))


def climbing(**more):
    """A climb that keeps the ways it asks for; none of them gains."""
    asked = []

    def gains(way, **least):
        asked.append((way, *least.values()))
        return False

    given = {
        "near": Made(job=Made(policy=Made(confidence=0.9)), may_wait=True), "way": Way(),
        "gains": gains, "over": False, "asked": asked,
    }  # fmt: skip
    return Made(**{**given, **more})


# On which nights


@pytest.mark.parametrize(("rooms", "seeds"), [(2, [8, 9]), (3, [7]), (4, [7])])
def test_nights_of_their_own_but_for_many_rooms(monkeypatch, rooms, seeds):
    @dataclass
    class Job:
        rooms: list
        seed: int = 7

    monkeypatch.setattr(climb, "MANY_ROOMS", 3)
    looked = Made(tables="tables")
    monkeypatch.setattr(climb, "Looked", Made)
    nights = Nights(Job([None] * rooms), {}, 0.0, looked)
    assert [job.seed for job, _ in nights._draws] == seeds
    assert [one.tables for _, one in nights._draws] == ["tables"] * len(seeds)
    assert (nights._draws[0][1] is looked) == (rooms >= 3)


def test_each_lot_of_nights_is_looked_at_once_and_costs_its_rooms(monkeypatch):
    asked = []

    def assess(job, _pours, schedule, *, issued_s, looked):
        asked.append((job.name, len(schedule.pours), issued_s, looked))
        return Made(all_frac=0.5, buckets_frac=0.25 * job.name)

    monkeypatch.setattr(climb, "assess", assess)
    draws = [(Made(name=n, rooms=[None] * 3), f"nights {n}") for n in (1, 2)]
    here = Made(
        _draws=draws, _known={}, _floors={}, pours={}, issued_s=5.0, worked=1.0, job=None
    )
    here._odds = lambda *given: Nights._odds(here, *given)
    here.first = lambda schedule: Nights.first(here, schedule)
    pour = Made(room="Bar", start_s=0.0, option=AS_IS, begins_s=0.0)
    schedule = Made(pours=(pour, pour), coats=(), primers=())
    assert Nights.first_frac(here, schedule) == 0.5
    assert asked == [(1, 2, 5.0, "nights 1")]
    # The second lot alone is new; a lot of nights costs 0.015 a room.
    assert Nights.judged(here, schedule).weight == 2
    assert asked[1:] == [(2, 2, 5.0, "nights 2")]
    assert here.worked == pytest.approx(1.0 + 2 * 3 * climb.LOOK_WORK)
    assert Nights.judged(here, schedule).frac == 0.5
    assert len(asked) == 2
    # One floor by itself: a quarter and two quarters of its nights.
    assert Nights.of_floor(here, pour) == Nights.of_floor(here, pour) == 0.75
    assert [one[1] for one in asked[2:]] == [1, 1]
    assert here.worked == pytest.approx(1.0 + (2 * 3 + 2) * climb.LOOK_WORK)


@pytest.mark.parametrize(("frac", "worst"), [(0.75, []), (0.74, ["A"]), (0.5, ["A"])])
def test_what_is_lost_no_more_than_next_to_never_is_none_of_the_worst(monkeypatch, frac, worst):
    # A quarter, for the sake of a whole binary fraction.
    monkeypatch.setattr(climb, "NEXT_TO_NONE", 0.25)
    assert climb._worst({"A": frac, "B": 0.9}) == worst


# How


def test_a_climb_goes_on_as_long_as_some_look_gains():
    done = []

    def look(name, gains=()):
        def run():
            done.append(name)
            if len(done) in gains:
                here.best = object()

        return run

    def ran(*, over_at=99):
        done.clear()
        names = (
            "timed_alike",
            "coats_held",
            "coats_timed",
            "surer",
            "evenings",
            "orders",
            "coats",
        )
        for name in names:
            setattr(here, f"_{name}", look(name))
        # The twelfth look gains, so all are gone through once more.
        here._floors = look("floors", (9, 12))
        _Climb.run(here)
        return list(done)

    class Here(Made):
        @property
        def over(self):
            return len(done) >= self.over_at

    here = Here(best=None, over_at=99)
    once = ["evenings", "orders", "coats", "floors"]
    begun = ["timed_alike", "coats_held", "coats_timed", "surer", "floors"]
    assert ran() == [*begun, *once, *once]
    here.over_at = 5
    assert ran() == begun


@pytest.mark.parametrize(
    ("windows", "tried"),
    # As surely as asked, then half-way to even odds; never less surely than it was found.
    [(0.9, []), (0.7, [0.9]), (0.5, [0.9, 0.7]), (0.8, [0.9])],
)
def test_windows_are_stated_half_as_surely_where_they_are_not_kept_so(
    monkeypatch, windows, tried
):
    held = []
    monkeypatch.setattr(climb, "starts_of", lambda schedule: schedule.starts)

    def placed(way):
        held.append(way)
        return None if way.windows == 0.9 else Made(starts="others")

    pour, coat = Made(room="A", begins_s=5.0), Made(room="A", coat=1, begins_s=9.0)
    best = Made(schedule=Made(pours=[pour], coats=[coat], starts="its own"))
    here = climbing(best=best, way=Way(windows=windows))
    here.near.placed = placed
    assert _Climb.as_sure_as_it_is(here) is best
    assert [one.windows for one in held] == pytest.approx(tried)
    assert all((w.from_s, w.coats_s) == ({"A": 5.0}, {("A", 1): 9.0}) for w in held)


def test_a_schedule_that_comes_out_alike_is_stated_as_surely(monkeypatch):
    @dataclass(frozen=True)
    class Pour:
        room: str
        begins_s: float
        delayed: bool

    @dataclass(frozen=True)
    class Placed:
        pours: tuple
        coats: tuple = ()
        windows: float = 0.5

    @dataclass(frozen=True)
    class Best:
        schedule: Placed

    monkeypatch.setattr(climb, "starts_of", lambda one: [p.begins_s for p in one.pours])
    best = Best(Placed((Pour("A", 5.0, True),)))
    here = climbing(best=best, way=Way(windows=0.5))

    def placed(begins):
        return lambda way: Placed(
            (Pour("A", begins[round(way.windows, 3)], False),), windows=way.windows
        )

    here.near.placed = placed({0.9: 5.0, 0.7: 5.0})
    # Whether it waits for its hour stays as it was found.
    found = _Climb.as_sure_as_it_is(here).schedule
    assert (found.windows, found.pours[0].delayed) == (0.9, True)
    here.near.placed = placed({0.9: 6.0, 0.7: 5.0})
    assert _Climb.as_sure_as_it_is(here).schedule.windows == pytest.approx(0.7)
    here.near.placed = placed({0.9: 6.0, 0.7: 6.0})
    assert _Climb.as_sure_as_it_is(here) is best


@pytest.mark.parametrize(
    ("fracs", "found"),
    [
        # None at all of what holds never is taken all the same.
        ({0.9: 0.0, 0.7: 0.5}, 0.9), ({0.9: -1.0, 0.7: 0.0}, 0.7), ({0.5: 0.3}, 0.5),
        ({}, 0.9),
    ],
)  # fmt: skip
def test_windows_kept_less_surely_are_gone_on_from_where_none_comes_out(fracs, found):
    here = climbing(_looser=(0.7, 0.5))
    here._first_frac = lambda way: fracs.get(way.windows, -1.0)
    _Climb._timed_alike(here)
    assert here.way.windows == found


@pytest.mark.parametrize(
    ("due", "held", "over", "windows"),
    [
        # The best holds on 0.8 of nights. Falling due its coats hold so often but for a
        # hundredth, or less, and then as they are held, with windows as sure as may be.
        (0.8, {0.9: 0.8}, False, None), (0.79, {0.9: 0.8}, False, 0.9),
        (0.3, {0.9: 0.8}, False, 0.9), (0.3, {0.9: 0.79, 0.7: 0.8}, False, 0.7),
        (-1.0, {0.5: 0.8}, False, 0.5), (0.3, {0.5: 0.5}, False, None),
        (0.3, {0.9: 0.8}, True, None),
    ],
)  # fmt: skip
def test_coats_are_held_where_falling_due_they_hold_less_often(due, held, over, windows):
    coats = [Made(room="A", coat=1, begins_s=7.0)]
    here = climbing(
        _looser=(0.7, 0.5), over=over,
        best=Made(odds=Made(all_frac=0.8), schedule=Made(coats=coats)),
    )  # fmt: skip
    here.near.own = Way()
    here._first_frac = lambda way: held.get(way.windows, -1.0) if way.coats_s else due
    way = here.way
    _Climb._coats_held(here)
    if windows is None:
        assert here.way is way
    else:
        assert (here.way.windows, here.way.coats_s) == (windows, {("A", 1): 7.0})


def test_a_schedule_that_breaks_a_rule_is_worse_than_one_that_never_holds():
    here = climbing(nights=Made(first_frac=lambda _: 0.0))
    here.near.placed = lambda way: None if way.clear else "schedule"
    assert _Climb._first_frac(here, Way(clear=True)) == -1.0
    assert _Climb._first_frac(here, Way(clear=False)) == 0.0
    # Half-way between even odds and nine in ten.
    assert _Climb._looser.fget(here) == (pytest.approx(0.7), 0.5)


@pytest.mark.parametrize(
    ("evenings", "order", "may_wait", "moved"),
    [
        ([["A", "B"], ["C"]], "ABC", True,
         ["ABC 1800", "AB 1800", "C 1800", "ABC 600", "AB 600", "C 600", "B 1800", "A 1800"]),
        # One evening is moved as all of it is, one floor as its evening is.
        ([["A", "B"]], "AB", True, ["AB 1800", "AB 600", "B 1800", "A 1800"]),
        ([["A"]], "A", True, ["A 1800", "A 600"]), ([["A"], ["B"]], "AB", False, []),
    ],
)  # fmt: skip
def test_all_evenings_are_moved_then_each_then_the_worst_floors(
    evenings, order, may_wait, moved
):
    got = []
    here = climbing(
        way=Made(order=tuple(order), evenings=lambda: evenings),
        best=Made(worst_rooms=lambda: ["B", "A"] if len(order) > 1 else ["A"]),
        _moves=lambda rooms, by_s: got.append(f"{''.join(rooms)} {by_s:.0f}"),
    )
    here.near.may_wait = may_wait
    _Climb._evenings(here)
    assert got == moved


def test_of_the_worst_floors_three_are_moved_by_themselves():
    got = []
    here = climbing(
        way=Made(order=tuple("ABCDE"), evenings=lambda: [list("ABCDE")]),
        best=Made(worst_rooms=lambda: list("EDCBA")),
        _moves=lambda rooms, _: got.append("".join(rooms)),
    )
    _Climb._evenings(here)
    assert got == ["ABCDE", "ABCDE", "E", "D", "C"]


def test_the_two_worst_floors_change_places_with_every_other():
    here = climbing(best=Made(worst_rooms=lambda: ["B", "A", "C"]))
    _Climb._orders(here)
    assert [way.swaps for (way,) in here.asked] == [(1, 0), (1, 2), (0, 1), (0, 2)]


def test_the_two_worst_coats_are_moved_by_half_an_hour_two_hours_and_sooner():
    coats = [Made(room=name, coat=1, begins_s=at) for name, at in (("A", 1e4), ("B", 2e4))]
    worst = [("B", 1), ("A", 1), ("A", 2)]
    here = climbing(best=Made(schedule=Made(coats=coats), worst_coats=lambda: worst))
    _Climb._coats(here)
    got = [(way.coats_s["A", 1], way.coats_s["B", 1]) for (way,) in here.asked]
    assert got == [
        (1e4, 2e4 + 1800), (1e4, 2e4 + 7200), (1e4, 2e4 - 1200),
        (1e4 + 1800, 2e4), (1e4 + 7200, 2e4), (1e4 - 1200, 2e4),
    ]  # fmt: skip


def test_beside_a_floors_own_way_stand_those_that_differ_in_one_thing():
    def of(*ladder):
        here = climbing()
        here.near.ladder = lambda _: list(ladder)
        return _Climb._beside(here, Made(room="A", option=AS_IS))

    more, less = replace(AS_IS, bays=3), replace(AS_IS, bays=1)
    iced, cool = replace(AS_IS, chilled=True), replace(AS_IS, cool_filler=True)
    both = replace(iced, cool_filler=True)
    assert of(both, cool, iced, less, more, AS_IS) == [AS_IS, more, less, iced, cool]
    assert of(less) == [AS_IS, less]
    # Its own way is looked at even where it is not open any more.
    assert of() == [AS_IS]


def test_coats_are_timed_in_the_other_order_and_less_surely():
    here = climbing(_looser=(0.7, 0.5))
    _Climb._coats_timed(here)
    got = [(way.windows, way.way_last, way.clear) for (way,) in here.asked]
    assert got == [
        (0.9, True, True), (0.9, False, False), (0.9, False, True), (0.7, False, True),
        (0.5, False, True),
    ]  # fmt: skip


def test_all_floors_are_poured_with_the_most_margin():
    pours = [Made(room=name) for name in "AB"]
    here = climbing(
        best=Made(schedule=Made(pours=pours)), way=Made(poured=lambda options: options)
    )
    here.near.surest = lambda pour: f"surest {pour.room}"
    here._poured = here.gains
    _Climb._surer(here)
    assert here.asked == [({"A": "surest A", "B": "surest B"},)]


@dataclass(frozen=True)
class Poured:
    """Floors poured otherwise, two evenings of them."""

    begun: str = "as it was"

    def evenings(self):
        return [["A", "B"], ["C"]]

    def moved(self, rooms, by_s):
        return replace(self, begun=f"{''.join(rooms)} {by_s:.0f}")


def of_nights(buckets, shifts):
    return Made(buckets_frac=buckets, shifts_frac=shifts)


@pytest.mark.parametrize(
    ("options", "gains", "odds", "asked"),
    [
        # Buckets hold more often and the shift ends first: half an hour sooner is tried, of
        # the evenings that are poured otherwise alone.
        ("B", "AB -1800", of_nights(0.9, 0.5), ["as it was", "AB -1800"]),
        ("BC", None, of_nights(0.9, 0.5), ["as it was", "ABC -1800"]),
        ("C", None, None, ["as it was", "C -1800"]),
        ("C", "as it was", of_nights(0.9, 0.5), ["as it was"]),
        ("C", None, of_nights(0.9, 0.99), ["as it was"]),
        ("C", None, of_nights(0.8, 0.5), ["as it was"]),
    ],
)
def test_what_takes_longer_by_more_bays_is_begun_sooner(options, gains, odds, asked):
    got = []

    def gained(way):
        got.append(way.begun)
        return way.begun == gains

    here = climbing(
        way=Made(poured=lambda _: Poured()), gains=gained,
        best=Made(odds=of_nights(0.8, 1.0)), nights=Made(first=lambda _: odds),
    )  # fmt: skip
    here.near.placed = lambda _: odds
    here._ends_late = lambda way: _Climb._ends_late(here, way)
    told = dict.fromkeys(options, "more bays")
    assert _Climb._poured(here, told) == (gains is not None)
    assert got == asked
    # Whoever may not stand by begins as soon as may be already.
    here.near.may_wait = False
    assert not _Climb._ends_late(here, Poured())
    here.near.may_wait, here.over = True, True
    assert not _Climb._ends_late(here, Poured())
