"""What to do on a night, and whether another way beats carrying on, at their limits."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Shift
from cureplan.planning.replan import carry_on, estimate
from cureplan.planning.replan import help as helping

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


# What to do


def said(messages):
    return [
        (message.code.removeprefix("replan."), message.values.get("room"))
        for message in messages
    ]


def floor(done, kits=5):
    return Made(done=done, room=Made(kits=kits), complete=done == kits)


def night(*, now=0.0, wait=None, **done):
    floors = {name: floor(count) for name, count in done.items()}
    return Made(
        now_s=at(now).timestamp(), floors=floors, done=lambda name: done.get(name, 0),
        wait_s=-np.inf if wait is None else at(wait).timestamp(),
        still_to_pour=lambda job: [r.name for r in job.rooms if not done.get(r.name)],
    )  # fmt: skip


def to_do(here, help_=(), *, fast=False, chilled=(), left_out=(), buckets=(), **more):
    new = Made(
        rooms=[Made(room=name, chilled=True, opens=at(0), open_by=at(0)) for name in chilled],
        coats=more.get("coats", ()), buckets=buckets,
        job=Made(cards=Made(slurry=Made(limits=Made(slab_c=(5.0, 30.0))))),
    )  # fmt: skip
    new.rooms += list(more.get("rooms", ()))
    return said(
        helping.first_minutes(
            new, here, [Message(code, {"room": room}) for code, room in help_],
            fast=fast, left_out=left_out,
        )
    )  # fmt: skip


def test_who_stands_stops_at_the_last_bucket():
    assert to_do(night(now=5, wait=5, Bar=2)) == []
    # Seen fault: of a crew that waits it was said that something is lost.
    waits = [("ten_minutes_wait", None), ("now_stop", "Bar")]
    assert to_do(night(now=4, wait=5, Bar=2)) == waits
    assert to_do(night(now=4, wait=5, Bar=2), [("replan.short", "Bar")])[0][0] == "ten_minutes"
    assert to_do(night(now=4, wait=5, Bar=0, Hall=5)) == []
    short = [("replan.short", "Bar")]
    assert to_do(night(Bar=2, Hall=2), short) == [("ten_minutes", None), ("now_stop", "Bar")]
    dead = [("replan.edge_lost", "Bar")]
    assert to_do(night(Bar=2, Hall=2), dead) == [("ten_minutes", None), ("edge_lost", "Bar")]
    assert to_do(night(Bar=2), [("replan.help_ice", "Bar")]) == []


def test_ice_is_stirred_where_kits_run_fast_and_something_falls_short():
    short, stir = [("replan.short", "Bar")], ("now_stir", None)
    assert stir in to_do(night(), short, fast=True, chilled=("Hall",))
    assert stir not in to_do(night(), short, fast=False, chilled=("Hall",))
    assert stir not in to_do(night(), short, fast=True)
    assert stir not in to_do(night(), (), fast=True, chilled=("Hall",))
    assert stir not in to_do(night(Hall=1), short, fast=True, chilled=("Hall",))


def test_who_must_hear_of_it():
    late = [
        Made(room=name, coat=1, start=at(start), opens=at(0), closes=at(closes))
        for name, start, closes in (("Bar", 100, 100), ("Hall", 100, 99), ("Yard", 100, 90))
    ]
    ten = ("ten_minutes", None)
    assert to_do(night(), coats=late[:1]) == []
    assert to_do(night(), coats=late) == [ten, ("now_call_coats", "Yard")]
    # Nobody is called for hours that are past.
    for now, name in ((89.9, "Yard"), (90, "Hall"), (98.9, "Hall"), (99, None)):
        called = [ten, ("now_call_coats", name)] if name else []
        assert to_do(night(now=now), coats=late) == called
    opens = [
        Made(room=name, chilled=False, opens=at(opens), open_by=at(100))
        for name, opens in (("Bar", 100), ("Hall", 101), ("Yard", 120))
    ]
    assert to_do(night(), rooms=opens[:1]) == []
    assert to_do(night(), rooms=opens) == [ten, ("now_call_late", "Yard")]
    assert to_do(night(), left_out=("Yard",)) == [ten, ("now_call_left", None)]


@pytest.mark.parametrize(
    ("slab_c", "limit_c"), [(30.0, None), (30.1, 30.0), (5.0, None), (4.9, 5.0), (20.0, None)]
)
def test_the_next_bucket_meets_a_slab_its_card_allows(slab_c, limit_c):
    buckets = [
        Made(room="Bar", number=3, pour=at(20), slab_c=99.0),
        Made(room="Bar", number=2, pour=at(10), slab_c=slab_c),
        Made(room="Bar", number=1, pour=at(0), slab_c=99.0),
    ]
    here = night(Bar=1)
    limits = Made(cards=Made(slurry=Made(limits=Made(slab_c=(5.0, 30.0)))))
    found = helping._too_hot_or_cold(Made(buckets=buckets, job=limits), here)
    assert [one.values["limit_c"] for one in found] == ([] if limit_c is None else [limit_c])


def test_what_to_do_where_nothing_fits():
    job = Made(rooms=[Made(name=name) for name in ("Bar", "Hall", "Yard")])
    assert said(helping.when_nothing_fits(job, night(Bar=5, Hall=2))) == [
        ("nothing_fits", None), ("ten_minutes", None), ("now_stop", "Hall"),
        ("now_keep_off", None), ("now_call_left", None),
    ]  # fmt: skip
    assert said(helping.when_nothing_fits(job, night(Bar=5, Hall=5, Yard=5)))[2:] == [
        ("now_keep_off", None)
    ]


@pytest.mark.parametrize(("gained_s", "says"), [(15.0, True), (14.0, False), (-90.0, False)])
def test_a_quarter_of_a_minute_is_worth_a_word(gained_s, says):
    assert bool(helping._buys("replan.help_ice", "Bar", gained_s)) == says


@pytest.mark.parametrize(
    ("margins_s", "tied_min", "done", "lost"),
    [
        ([-1, -1, 5], [30, 40, 50], 2, "1; 2"), ([0, -1, 5], [30, 40, 50], 2, "2"),
        ([-1, -1, 5], [20, 40, 50], 2, "2"), ([-1, -1, -1], [30, 40, 50], 2, "1; 2"),
        ([-1, -1, 5], [30, 40, 50], 0, None), ([5, 5, 5], [30, 40, 50], 3, None),
    ],
)  # fmt: skip
def test_an_edge_is_lost_whose_next_row_comes_too_late(margins_s, tied_min, done, lost):
    poured = Made(
        start_s=NIGHT_S, times=Made(tied_in_s=60.0 * np.array(tied_min, float)),
        clocks=Made(
            margins_s=np.array([[margins_s]], float),
            ends_s=NIGHT_S + 60.0 * np.array([[[21.0, 22.0, 23.0]]]),
        ),
    )  # fmt: skip
    pours = Made(room=Made(name="Bar"), job=Made(site=Made(zone=UTC)))
    found = helping._lost_edges(pours, poured, done, Made(now_s=at(20).timestamp()))
    assert [one.values["buckets"] for one in found] == ([] if lost is None else [lost])
    if lost is not None:
        assert found[0].values["wet_at"] == at(22 if lost == "2" else 21).isoformat()


# Carrying on


@pytest.mark.parametrize(
    ("begins", "ends", "then"),
    [
        ((8, 0), (16, 0), (16, 15)), ((22, 0), (6, 0), (6, 15)), ((0, 0), (0, 0), (0, 0)),
        ((6, 10), (6, 0), (6, 0)), ((6, 15), (6, 0), (6, 0)), ((6, 16), (6, 0), (6, 15)),
        ((8, 0), (23, 50), (0, 5)),
    ],
)  # fmt: skip
def test_shifts_are_a_quarter_of_an_hour_longer_unless_they_meet(begins, ends, then):
    shift = Shift(begins=time(*begins), ends=time(*ends))
    assert carry_on._longer(shift) == Shift(begins=time(*begins), ends=time(*then))


@pytest.mark.parametrize(("gap", "meant"), [(17.0, False), (17.1, True), (0.0, False)])
def test_a_gap_of_two_minutes_beyond_the_changeover_was_meant(gap, meant):
    rooms = [
        Made(room="Bar", order=1, pour_start=at(0), pour_end=at(60), remedies=()),
        Made(room="Hall", order=2, pour_start=at(60 + gap), pour_end=at(99), remedies=()),
    ]
    old = Made(
        rooms=rooms[::-1], primers=[Made(room="Bar", stage="primer", start=at(-90))],
        coats=[Made(room="Hall", stage="coat 1", start=at(500))],
        job=Made(crew=Made(changeover_s=900.0)),
    )  # fmt: skip
    found = carry_on._planned_s(old, held=True, waits=True)
    assert found["Bar"] == {"pour": NIGHT_S, "primer": at(-90).timestamp()}
    assert ("pour" in found["Hall"]) == meant
    assert found["Hall"]["coat 1"] == at(500).timestamp()
    assert "coat 1" not in carry_on._planned_s(old, held=False, waits=True)["Hall"]


def s(minutes):
    return at(minutes).timestamp()


def schedule(*coats_, pours=(), opens=1000.0):
    return Made(
        coats=[
            Made(
                room="Bar", start_s=s(start), after=Made(opens_s=s(opens)),
                window=Made(closes_s=s(closes)),
            )
            for start, closes in coats_
        ],
        pours=[
            Made(room=name, start_s=s(start), window=Made(closes_s=s(closes)))
            for name, start, closes in pours
        ],
    )  # fmt: skip


@pytest.mark.parametrize(
    ("made", "late"),
    [
        (schedule((100, 100)), (0, 0)), (schedule((100, 100 - 1 / 60)), (0, 0)),
        (schedule((100, 99.9), (200, 300)), (1, 0)),
        (schedule((1, 2), pours=[("Bar", 50, 49), ("Gone", 50, 49)]), (1, 0)),
        (schedule((1, 2), opens=1000.1), (0, 1)), (schedule((1, 2), opens=1010), (0, 1)),
        (schedule((1, 2), opens=1010.1), (0, 2)), (schedule((1, 2), opens=900), (0, 0)),
    ],
)  # fmt: skip
def test_what_comes_too_late_of_a_jobs_rooms(made, late):
    job = Made(rooms=[Made(name="Bar")], due=lambda _: at(1000))
    assert carry_on.lateness(job, made) == late


def candidate(*, left=0, late=(0, 0), chance=0.9, lost=(0.0,) * 4, nights=1, **more):
    odds = Made(
        all_frac=chance, members=1000, lost=np.array(lost, float), bucket_frac={},
        room_lost={}, begun_frac=more.get("begun", chance),
    )  # fmt: skip
    lost_for_sure = (left, *late)
    return Made(
        odds=odds, nights=nights, lost=lambda _: lost_for_sure, expected_lost=odds.lost.mean(),
        lost_of=lambda _: odds.lost,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("other", "carried", "better"),
    [
        ({"left": 0}, {"left": 1}, True), ({"left": 1}, {"left": 0}, False),
        ({"late": (1, 0)}, {}, False), ({"late": (0, 1)}, {"late": (0, 0)}, False),
        # 0.9 against 0.7 is more than twice 0.0173 and 0.06; 0.78 against 0.7 is not.
        ({"chance": 0.9}, {"chance": 0.7}, True), ({"chance": 0.78}, {"chance": 0.7}, False),
        ({"chance": 0.9, "lost": (1,) * 4}, {"chance": 0.7, "lost": (1,) * 4}, True),
        ({"chance": 0.9, "lost": (1.1,) * 4}, {"chance": 0.7, "lost": (1,) * 4}, False),
        # Only things: six tenths fewer in every night; or a half; or six tenths unevenly.
        ({}, {"lost": (0.6,) * 4}, True), ({}, {"lost": (0.5,) * 4}, False),
        ({}, {"lost": (2.4, 0, 0, 0)}, False), ({"nights": 2}, {"lost": (0.6,) * 4}, False),
        ({"chance": 0.7, "lost": (0,) * 4}, {"chance": 0.9, "lost": (9,) * 4}, False),
        # One late coat saved counts as one, however often it would have bonded.
        ({}, {"late": (1, 0), "lost": (0.2,) * 4}, True),
        ({"late": (0, 1)}, {"late": (0, 2)}, True), ({"late": (0, 1)}, {"late": (1, 0)}, False),
        ({"lost": (1.6,) * 4}, {"late": (1, 0)}, False),
    ],
)  # fmt: skip
def test_a_way_beats_carrying_on_by_more_than_is_doubtful(other, carried, better):
    job = Made(policy=Made(confidence=0.95))
    assert carry_on.beats(job, candidate(**other), candidate(**carried)) == better


@pytest.mark.parametrize(
    ("theirs", "ours", "gain"),
    [
        # Twice the error of a difference over a thousand nights, and 0.06.
        (0.90, 0.80, 0.10), (0.88, 0.80, 0.0), (0.80, 0.90, -0.10), (0.82, 0.90, 0.0),
        (0.99, 0.80, 0.10), (0.99, 0.92, 0.0),
    ],
)  # fmt: skip
def test_a_chance_gains_up_to_what_was_asked(theirs, ours, gain):
    job = Made(policy=Made(confidence=0.9))
    got = carry_on._gain(job, Made(all_frac=ours, members=1000), theirs)
    assert got == pytest.approx(gain)


@pytest.mark.parametrize(
    ("carried", "could"),
    [
        ({"late": (1, 0)}, True), ({}, False), ({"lost": (0.6,) * 4}, True),
        ({"lost": (0.5,) * 4}, False), ({"chance": 0.5, "begun": 0.9}, True),
        ({"chance": 0.5, "begun": 0.5}, False),
    ],
)  # fmt: skip
def test_nothing_could_be_better_where_nothing_is_to_lose(carried, could):
    job = Made(policy=Made(confidence=0.95))
    assert carry_on.could_be_beaten(job, candidate(**carried), night()) == could
    begun_ = candidate(lost=(1.0,) * 4)
    begun_.odds.bucket_frac = {"Bar": np.array([0.4, 1.0, 0.0])}
    # Of one thing lost on the mean night six tenths lie on the floor.
    assert not carry_on.could_be_beaten(job, begun_, night(Bar=1))
    assert carry_on.could_be_beaten(job, begun_, night(Bar=0))


def test_the_order_is_the_begun_ones_then_as_planned_with_what_was_added():
    def order(*added, begun_=("Hall", "Bar"), gone=()):
        floors = {
            name: Made(done=1, poured_s=[n], room=Made(room=name))
            for n, name in enumerate(begun_)
        }
        names = ["Bar", "Hall", "Yard", "Den", *(one.name for one in added)]
        job = Made(rooms=[Made(name=name) for name in names if name not in gone])
        old = Made(
            rooms=[
                Made(room=name, order=n)
                for n, name in enumerate(["Bar", "Hall", "Yard", "Den"])
            ]
        )
        return carry_on._order(job, old, Made(floors=floors, added=added))

    assert order() == ["Hall", "Bar", "Yard", "Den"]
    assert order(gone=("Hall", "Yard")) == ["Bar", "Den"]
    assert order(Made(name="New", way_out=())) == ["Hall", "Bar", "Yard", "Den", "New"]
    assert order(Made(name="New", way_out=("Den", "Yard")))[2] == "New"
    assert order(Made(name="New", way_out=("Den",)))[3] == "New"
    # Nothing goes before what is begun.
    assert order(Made(name="New", way_out=("Bar",)))[-1] == "New"


@pytest.mark.parametrize(("gap_h", "nights"), [(1.0, 1), (30.0, 2)])
def test_pours_a_day_apart_are_in_two_nights(gap_h, nights):
    pours = [Made(start_s=NIGHT_S + 3600.0 * gap_h), Made(start_s=NIGHT_S)]
    one = carry_on.Candidate(schedule=Made(pours=pours), odds=None)
    assert one.nights == nights


# Readings


def test_halves_of_a_floor_are_named_and_told_apart():
    halves = [estimate._across(deep, late) for deep in (True, False) for late in (True, False)]
    assert halves == ["front", "back", "last", "first"]
    four = Made(bay=np.array([0, 0, 1, 1]), row=np.array([0, 1, 0, 1]), complete=False, done=1)
    assert estimate._along(four, deep=True).tolist() == [-0.5, 0.5, -0.5, 0.5]
    assert estimate._along(four, deep=False).tolist() == [-0.5, -0.5, 0.5, 0.5]
    assert estimate._rest_along(four, deep=False) == pytest.approx(0.5 / 3)
    four.complete = True
    assert estimate._rest_along(four, deep=False) == 0.0


@pytest.mark.parametrize(
    ("now", "ends", "read_h", "rest_h"),
    [
        (60, [180], (1.0,), 1.0), (60, [120, 180], (1.0,), 1.0), (200, [180], (1.0,), 7 / 3),
        (60, [], (1.0,), 0.0), (60, [180], (), 0.0), (60, [180], (3.0,), 0.0),
    ],
)  # fmt: skip
def test_the_rest_of_a_night_lies_half_way_to_its_last_bucket(now, ends, read_h, rest_h):
    floors = {n: Made(complete=False, room=Made(pour_end=at(e))) for n, e in enumerate(ends)}
    floors["done"] = Made(complete=True, room=Made(pour_end=at(999)))
    # The fit counts in hours since 1970, and the last bucket was read an hour after 20:00.
    now_h = NIGHT_S / 3600.0 + read_h[0] if read_h else 0.0
    got = estimate._rest_h(Made(floors=floors, now_s=at(now).timestamp()), Made(now_h=now_h))
    assert got == pytest.approx(rest_h)


@pytest.mark.parametrize(
    ("factor", "refused"), [(1.0, False), (2.5, False), (2.6, True), (0.4, False), (0.39, True)]
)
def test_an_end_beyond_belief_is_refused(factor, refused):
    seen = Made(
        ends=[Made(bucket=0, milestone="wet_edge", after_s=factor * 600.0)], buckets=[None],
        end_events=[Made(at=at(0), fault=lambda *said: ValueError(said[1]))],
    )  # fmt: skip
    fit = Made(as_planned_s=lambda *_: 600.0)
    if refused:
        with pytest.raises(ValueError, match="cannot be"):
            estimate.refuse_wild_ends(seen, fit)
    else:
        estimate.refuse_wild_ends(seen, fit)
