"""Coats, openings and limits of floors made up by hand, and what a plan must hold at all."""

from __future__ import annotations

from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import NIGHT_S, at, floor_of

from cureplan.judge import coat_rules, limit_rules, primer_rules, stated_rules, verdict
from cureplan.judge.finding import Finding
from cureplan.judge.milestones import Window
from cureplan.judge.night_rules import unexcused


def told(found, words: list[str]) -> bool:
    """Whether as many findings as words, each with its own."""
    whats = [each.what for each in found]
    return len(whats) == len(words) and all(
        word in what for word, what in zip(words, whats, strict=True)
    )


def window(opens: float, closes: float) -> Window:
    return Window(opens_s=NIGHT_S + 60 * opens, closes_s=NIGHT_S + 60 * closes)


# Coats


@pytest.mark.parametrize(
    ("coats", "off_by"),
    [
        ((1, 2), None), ((1,), 1.0), ((), 2.0), ((2, 1), 1.0), ((1, 3), 1.0),
        ((1, 2, 3, 4), 2.0),
    ],
)  # fmt: skip
def test_each_coat_is_laid_once_and_in_order(monkeypatch, coats, off_by):
    monkeypatch.setattr(
        coat_rules, "floor_steps", lambda *_: [Made(coat=number) for number in (0, 1, 0, 2)]
    )
    for rule in ("_check_windows", "check_dry"):
        monkeypatch.setattr(coat_rules, rule, lambda *_: ())
    laid = [Made(coat=number, stage="", start=at(0), end=at(1)) for number in coats]
    case = Made(plan=Made(job=None), floors=(floor_of(coats=laid, room=None),))
    found = [each.off_by for each in coat_rules.check_coats(case, {"Bar": 1}, {"Bar": 1})]
    assert found == ([] if off_by is None else [off_by])


def coat_of(**changed: object) -> Made:
    """The first coat, from 21:00 to 21:10, in its window of 20:50 to 22:00."""
    given = {
        "coat": 1, "stage": "coat 1", "start": at(60.0), "end": at(70.0), "opens": at(50.0),
        "closes": at(120.0), **changed,
    }  # fmt: skip
    return Made(**given)


@pytest.mark.parametrize(
    ("changed", "held", "words"),
    [
        ({}, (None, None), []),
        # Two minutes of a window are let pass, of work six seconds.
        ({"start": at(48.0), "end": at(58.0)}, (None, None), []),
        ({"start": at(47.9), "end": at(57.9)}, (None, None), ["not before 17 Jul 20:50:00"]),
        ({"start": at(122.0), "end": at(132.0)}, (None, None), []),
        ({"start": at(122.1), "end": at(132.1)}, (None, None), ["not after 17 Jul 22:00:00"]),
        ({"end": at(70.1)}, (None, None), []),
        ({"end": at(70.2)}, (None, None), ["coat 1 ends at"]),
        ({"end": at(50.0)}, (None, None), ["re-derived as 17 Jul 21:10:00"]),
        ({"opens": at(47.9)}, (None, None), ["coat 1 opens at"]),
        ({"closes": at(125.0)}, (None, None), ["coat 1 closes at"]),
        # Between the two bounds, 21:52 and 22:00, anything may be said.
        ({"closes": at(110.0)}, (None, None), []),
        ({"closes": at(109.9)}, (None, None), ["coat 1 closes at"]),
        ({}, (at(60.0), None), []),
        ({}, (at(61.0), None), ["not before 17 Jul 21:01:00"]),
        ({}, (None, at(900.0)), []),
        ({"coat": 2}, (at(900.0), at(60.0)), []),
        ({"coat": 2}, (None, at(61.0)), ["not before 17 Jul 21:01:00"]),
        ({"stage": "coat 9", "start": at(0.0)}, (None, None), []),
    ],
)
def test_a_coat_is_laid_in_its_window_and_not_before_its_hour(
    monkeypatch, changed, held, words
):
    monkeypatch.setattr(coat_rules, "lasts_s", lambda *_: 600.0)
    room = Made(topcoat_1_not_before=held[0], topcoat_2_not_before=held[1])
    floor = floor_of(coats=(coat_of(**changed),), room=room)
    near = Made(windows={"coat 1": window(50.0, 120.0)})
    far = Made(windows={"coat 1": window(50.0, 112.0)})
    assert told(coat_rules._check_windows(None, floor, near, far), words)


@pytest.mark.parametrize(
    ("begins", "said", "words"),
    [
        (60.0, {}, []),
        (48.0, {}, []),
        (47.9, {}, ["not before"]),
        (122.0, {}, []),
        (122.1, {}, ["not after"]),
        (60.0, {"slurry_opens": at(47.0)}, ["slurry opens"]),
        (60.0, {"slurry_closes": at(123.0)}, ["slurry closes"]),
        (60.0, {"walkable": at(45.0)}, ["primer bears feet"]),
        (60.0, {"walkable": at(38.0)}, []),
    ],
)
def test_a_slurry_is_poured_in_its_primers_window(begins, said, words):
    given = {
        "stage": "primer", "slurry_opens": at(50.0), "slurry_closes": at(120.0),
        "walkable": at(40.0), **said,
    }  # fmt: skip
    cured = Made(
        windows={"pour": window(50.0, 120.0)},
        walkable_by_stage_s={"primer": NIGHT_S + 2400.0, "pour": 0.0},
    )
    floor = floor_of(begins_s=NIGHT_S + 60 * begins)
    assert told(primer_rules._check_window(floor, Made(**given), cured, cured), words)


# Openings


def opened(*, open_for="carts", room=None, job=None, behind=None, **changed) -> list[Finding]:
    """A floor that bears feet at 22:00 and wheels at 23:00, and is to be open by midnight."""
    given = {
        "open_for": "carts", "foot_traffic": at(120.0), "wheels": at(180.0),
        "wash_down": at(400.0), "opens": at(180.0), "open_by": at(240.0), **changed,
    }  # fmt: skip
    rooms = [
        Made(name="Bar", way_out=(), open_by=room),
        Made(name="Store", way_out=("Bar",), open_by=behind),
    ]
    access = Made(open_by=at(240.0) if job is None else job)
    case = Made(plan=Made(job=Made(rooms=rooms, access=access)))
    floor = floor_of(
        plan=Made(**given), room=Made(name="Bar", way_out=(), open_by=room, open_for=open_for)
    )
    return list(coat_rules._check_open(case, floor))


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, []),
        ({"open_for": "feet"}, ["what it opens for", "opens at"]),
        ({"open_for": "wash-down"}, ["what it opens for", "opens at"]),
        ({"opens": at(180.2)}, ["opens at"]),
        ({"opens": at(179.8)}, ["opens at"]),
        ({"opens": at(180.1)}, []),
        ({"wheels": at(240.1), "opens": at(240.1)}, []),
        ({"wheels": at(240.2), "opens": at(240.2)}, ["opens at 18 Jul 00:00:12, not after"]),
        ({"wheels": None}, ["re-derived as never"]),
        # The job's hour, the room's own, or that of a room whose way leads over it.
        ({"job": at(239.0)}, ["to be open"]),
        ({"room": at(230.0)}, ["to be open"]),
        ({"room": at(240.0), "job": at(900.0), "behind": at(900.0)}, []),
        ({"behind": at(230.0)}, ["to be open"]),
        ({"behind": at(900.0)}, []),
    ],
)
def test_a_room_opens_when_it_bears_what_it_opens_for(given, words):
    assert told(opened(**given), words)


# Limits

LIMITS = Made(
    slab_c=(5.0, 30.0), air_c=(5.0, 30.0), material_c=(5.0, 30.0), mixed_c=(5.0, 30.0)
)


@pytest.mark.parametrize(
    ("laid_c", "later_c", "words"),
    [
        (5.0, 5.0, []), (4.5, 4.5, []), (4.5, 4.0, ["slab is 4.0"]),
        (20.0, 4.0, ["slab is 4.0"]),
        # What was too cold to be laid on is told once.
        (4.25, 4.0, ["slab is 4.2"]), (30.5, 20.0, []), (31.0, 20.0, ["slab is 31.0"]),
    ],
)  # fmt: skip
def test_a_slab_is_looked_at_until_it_bears_or_the_hours_end(
    monkeypatch, laid_c, later_c, words
):
    monkeypatch.setattr(limit_rules, "TOL_K", 0.5)

    def slab(at_s):
        return np.where(np.asarray(at_s) <= NIGHT_S + 600.0, laid_c, later_c)

    hours = Made(
        shade=slab, slab=slab, air=lambda at_s: np.full(np.shape(at_s), 20.0),
        at_s=NIGHT_S + np.array([-3600.0, 0.0, 3600.0, 7200.0]),
    )  # fmt: skip
    case = Made(plan=Made(job=Made(materials=Made(storage_c=None))))
    for bears_s in (3600.0, 9e9):
        span_s = (NIGHT_S, NIGHT_S + 600.0, NIGHT_S + bears_s)
        floor = floor_of(hours=hours)
        found = limit_rules._check_layer(case, floor, "pour", LIMITS, span_s)
        assert told(found, words)


# What a plan states


@pytest.mark.parametrize(
    ("cadence_min", "apart_s", "words"),
    [
        # The busiest hands take 5 min a bucket, and 7.5 s are let pass.
        (5.0, [300.0], []), (4.875, [300.0], []), (4.75, [300.0], ["rhythm"]),
        (5.0, [292.5], []), (5.0, [292.0], ["interval between buckets"]), (5.0, [], []),
        (6.0, [360.0], []), (5.0, [300.0, 285.0], ["interval between buckets"]),
    ],
)  # fmt: skip
def test_buckets_follow_as_the_busiest_hands_allow(monkeypatch, cadence_min, apart_s, words):
    monkeypatch.setattr(stated_rules, "MINUTES_TOL", 0.125)
    monkeypatch.setattr(stated_rules, "busiest_s", lambda *_: 300.0)
    liquids_s = NIGHT_S + np.cumsum([0.0, *apart_s])
    floor = floor_of(planned=Made(liquids_s=liquids_s), plan=Made(cadence_min=cadence_min))
    assert told(stated_rules._check_shared_rhythm(Made(), floor), words)


def tried(*, remedies=("chill",), bays=1, margin=9.0, buys=4.0, adopted=True) -> Made:
    return Made(remedies=remedies, bays=bays, margin_min=margin, buys_min=buys, adopted=adopted)


PLAIN = tried(remedies=(), margin=5.0, buys=0.0, adopted=False)


@pytest.mark.parametrize(
    ("tries", "words"),
    [
        ((), []),
        ((PLAIN, tried()), []),
        ((PLAIN, tried(adopted=False)), ["tries adopted"]),
        ((PLAIN, tried(), tried()), ["tries adopted"]),
        ((PLAIN, tried(buys=3.9)), ["chill in 1 bays buys"]),
        ((PLAIN, tried(margin=8.0, buys=3.0)), ["margin of a try"]),
        ((PLAIN, tried(bays=2)), ["bays adopted"]),
        ((PLAIN, tried(bays=2, adopted=False), tried()), []),
        ((tried(remedies=(), bays=2, margin=5.0, buys=0.0, adopted=False), tried()),
         ["bays without a remedy"]),
        ((tried(remedies=(), margin=6.0, buys=1.0, adopted=False), tried()),
         ["margin of a try"]),
    ],
)  # fmt: skip
def test_the_try_that_was_adopted_is_the_floors_own(tries, words):
    plan = Made(tries=tries, as_is_margin_min=5.0, margin_min=9.0, bays=1)
    assert told(stated_rules._check_tries(floor_of(plan=plan)), words)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        # 6 L in batches of 2: three, each for 4 m²: a minute of mixing and 4 of spreading.
        ({}, []),
        ({"batches": 4}, ["coat 1, batches"]),
        ({"volume_m3": 0.0061}, ["coat 1 is given"]),
        ({"batch_minutes": 3.0}, ["a batch"]),
        ({"batch_working_min": 19.0}, ["working time"]),
    ],
)
def test_a_coat_is_mixed_in_whole_batches(monkeypatch, changed, words):
    monkeypatch.setattr(stated_rules, "coat_volume_m3", lambda *_: 0.006)
    given = {
        "coat": 1, "stage": "coat 1", "start": at(0.0), "batches": 3, "volume_m3": 0.006,
        "batch_minutes": 5.0, "batch_working_min": 20.0, **changed,
    }  # fmt: skip
    job = Made(
        cards=Made(topcoat=Made(batch_m3=0.002, mix_s=60.0)), crew=Made(topcoat=2),
        pace=Made(topcoat_m2_s=1 / 120),
    )  # fmt: skip
    rate = Made(speed=lambda _: 4.0, pace=lambda _: 0.5, ref_s={"working_time": 2400.0})
    hours = Made(slab=lambda _: 18.0, humidity=lambda _: 0.5)
    floor = floor_of(hours=hours, room=Made(area_m2=12.0))
    case = Made(plan=Made(job=job), topcoat=rate)
    assert told(stated_rules._check_batches(case, floor, Made(**given)), words)


@pytest.mark.parametrize(
    ("said_c", "then_c", "words"),
    [
        (9.0, 9.0, []), (9.06, 9.0, ["dew point"]), (None, None, []),
        (None, 9.0, ["its dew point is given where"]),
        (9.0, None, ["its dew point is given where"]),
    ],
)  # fmt: skip
def test_a_coats_dew_point_is_that_of_the_hours_or_not_known(said_c, then_c, words):
    rows = tuple(Made(at=at(60 * n), dew_c=then_c) for n in (0, 1))
    floor = floor_of(hours=Made(slab=lambda _: 18.0))
    coat = Made(stage="coat 1", start=at(30.0), slab_c=18.0, dew_c=said_c)
    case = Made(plan=Made(hours=rows))
    assert told(stated_rules._check_coat_air(case, floor, coat), words)


RISK = {
    "seed": 1, "batch_sd_frac": 0.1, "members": 9, "stop_lost_frac": 0.0, "cut_frac": 0.0,
    "as_planned_frac": None, "all_keep_frac": 0.8, "buckets_keep_frac": 0.9,
    "no_wait_frac": 0.9, "coats_keep_frac": 0.9, "shifts_keep_frac": 1.0,
    "limits_keep_frac": 1.0, "opens_on_time_frac": 1.0,
}  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "status", "laid", "words"),
    [
        ({}, "within policy", ((0.9,), (0.95,)), []),
        ({"all_keep_frac": 0.75}, "within policy", ((0.9,), ()), ["all hold, in a plan"]),
        ({"all_keep_frac": 0.75}, "short of policy", ((0.9,), ()), ["everything hold"]),
        ({"all_keep_frac": 0.81}, "within policy", ((0.9,), ()), []),
        ({"members": 1}, "within policy", ((0.9,), ()), []),
        ({"members": 0}, "within policy", ((0.9,), ()), ["nights drawn"]),
        ({"seed": 2}, "within policy", ((0.9,), ()), ["seed"]),
        ({"batch_sd_frac": 0.2}, "within policy", ((0.9,), ()), ["spread of batches"]),
        # As planned no more often than all of it; no share of coats above that of a primer.
        ({"as_planned_frac": 0.8}, "within policy", ((0.9,), ()), []),
        ({"as_planned_frac": 0.85}, "within policy", ((0.9,), ()), ["as planned"]),
        ({}, "within policy", ((0.95,), (0.5,)), ["all coats hold"]),
        ({}, "within policy", ((0.95,), (0.9,)), []),
    ],
)
def test_a_plan_states_its_odds_as_shares_of_each_other(
    monkeypatch, changed, status, laid, words
):
    monkeypatch.setattr(stated_rules, "check_doubt", lambda _: ())
    coats, primers = ([Made(keeps_frac=share) for share in shares] for shares in laid)
    asked = {"within policy": 0.8, "short of policy": 0.8}[status]
    plan = Made(
        risk=Made(**{**RISK, **changed}), job=Made(seed=1, policy=Made(confidence=asked)),
        status=status, coats=coats, primers=primers,
    )  # fmt: skip
    floors = [Made(name="Bar", plan=Made(keeps_frac=0.9), buckets=[Made(keeps_frac=0.9)])]
    found = list(
        stated_rules.check_risk(Made(plan=plan, slurry=Made(batch_frac=0.1), floors=floors))
    )
    assert [words[0] in found[0].what] == [True] if words else found == []


@pytest.mark.parametrize(
    ("got", "low_parts", "found"),
    [
        # 0.7 at the least, of two parts; each and the whole are rounded to a thousandth.
        (0.69775, [0.85, 0.85], 1), (0.698046875, [0.85, 0.85], 0), (0.8505, [0.85, 0.85], 0),
        (0.852, [0.85, 0.85], 1),
    ],
)  # fmt: skip
def test_each_part_is_rounded(got, low_parts, found):
    assert len(list(stated_rules._check_whole(None, "coats", got, low_parts))) == found


def rhythm(limit: str, cadence_min: float, **crew: int) -> list[str]:
    """Two of the rake, two stations, one of all others: smoothing takes 300 s a bucket."""
    hands = {
        "stations": 2, "mixer": 2, "runner": 1, "rake": 2, "smoother": 1, "broadcaster": 1,
        "edge": 1, "people": (), "shares": False, **crew,
    }  # fmt: skip
    card = Made(liquids_mix_s=180.0, filler_mix_s=180.0, turnaround_s=120.0)
    pace = Made(
        haul_s=60.0, rake_m2_s=0.02, smooth_m2_s=0.02, broadcast_m2_s=0.06, edge_m_s=1.0
    )
    job = Made(crew=Made(**hands), cards=Made(slurry=card), pace=pace)
    floor = floor_of(
        4, bucket_area_m2=np.full(4, 6.0), edge_m=24.0,
        plan=Made(cadence_min=cadence_min, cadence_limit=limit),
    )  # fmt: skip
    found = stated_rules._check_rhythm(Made(plan=Made(job=job, calls=())), floor)
    return [each.what.split(" is given")[0] for each in found]


@pytest.mark.parametrize(
    ("limit", "cadence_min", "crew", "words"),
    [
        ("smooth", 5.0, {}, []), ("smooth", 5.2, {}, ["Bar: rhythm"]),
        ("smooth", 4.8, {}, ["Bar: rhythm"]), ("rake", 5.0, {}, ["Bar: its slowest task"]),
        # One mixer, or one station: 480 s a batch; two of both 240.
        ("mixing", 8.0, {"mixer": 1}, []), ("mixing", 8.0, {"stations": 1}, []),
        ("mixing", 4.0, {"smoother": 2, "edge": 1}, []),
        ("rake", 5.0, {"rake": 1, "smoother": 2}, []), ("haul", 2.0, {"runner": 1}, [
            "Bar: rhythm", "Bar: its slowest task"]),
    ],
)  # fmt: skip
def test_a_floors_rhythm_is_that_of_its_slowest_task(limit, cadence_min, crew, words):
    assert rhythm(limit, cadence_min, **crew) == words


# What a night excuses, and what can be judged at all


@pytest.mark.parametrize(
    ("rule", "room", "warns", "kept"),
    [
        ("pours", "Hall", (), False), ("pours", None, (), True), ("pours", "Bar", (), True),
        ("people", None, ("warn.over_stay",), False), ("people", "Bar", (), True),
        ("people", None, ("warn.other",), True), ("ice", "Hall", ("warn.over_stay",), True),
    ],
)  # fmt: skip
def test_only_rules_of_a_begun_floor_or_of_a_warning_are_excused(rule, room, warns, kept):
    found = Finding(rule=rule, room=room, what="", off_by=1.0, unit="min")
    night = Made(poured=(Made(room="Hall"),), changes=())
    plan = Made(night=night, warnings=[Made(code=code) for code in warns])
    assert (unexcused(plan, [found]) == (found,)) == kept


def held(**changed: object) -> Made:
    """Two rooms of a bucket each, from 20:00 on, in hours from 19:00 to 23:00."""
    names = ("Bar", "Hall")
    given = {
        "rooms": [Made(room=name) for name in names],
        "buckets": [
            Made(room=name, liquids_in=at(0.0), broadcast_by=at(60.0)) for name in names
        ],
        "coats": [], "primers": [], "calls": [],
        "hours": [
            Made(at=at(60 * n), rooms=[Made(room=name) for name in names], dew_c=None)
            for n in range(-1, 4)
        ],
        **changed,
    }  # fmt: skip
    plan = Made(job=Made(rooms=[Made(name=name) for name in names]), **given)
    plan.buckets_of = lambda name: [each for each in plan.buckets if each.room == name]
    return plan


def coat(room: str, start: float, end: float) -> Made:
    return Made(room=room, start=at(start), end=at(end))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({}, []),
        ({"rooms": [Made(room="Bar")]}, ["rooms of plan and job differ by ['Hall']"]),
        ({"rooms": [Made(room=name) for name in ("Bar", "Hall", "Hall")]},
         ["rooms of plan and job differ by ['Hall']"]),
        ({"rooms": [Made(room=name) for name in ("Bar", "Store")]},
         ["rooms of plan and job differ by ['Hall', 'Store']"]),
        ({"coats": [coat("Bar", 60, 90)]}, []),
        ({"coats": [coat("Bar", 60, 180)]}, []),
        ({"coats": [coat("Bar", 60, 181)]}, ["Bar: work lies 1 min outside"]),
        ({"coats": [coat("Bar", -61, 90)]}, ["Bar: work lies 1 min outside"]),
        ({"coats": [coat("Hall", 60, 190)]}, ["Hall: work lies 10 min outside"]),
        ({"primers": [coat("Bar", -60, -50)]}, []),
        ({"primers": [coat("Bar", -62, -50)]}, ["Bar: work lies 2 min outside"]),
        ({"primers": [coat("Hall", -62, -50)]}, ["Hall: work lies 2 min outside"]),
        ({"calls": [Made(room="Store")]}, ["rooms ['Store'] are not in the job"]),
        ({"coats": [coat("Store", 60, 900)]}, ["rooms ['Store'] are not in the job"]),
        ({"primers": [coat("Store", 60, 900)]}, ["rooms ['Store'] are not in the job"]),
        ({"buckets": [Made(room="Bar", liquids_in=at(0.0), broadcast_by=at(60.0))]},
         ["Hall has no buckets"]),
    ],
)  # fmt: skip
def test_a_plan_holds_what_it_takes_to_judge_it(monkeypatch, changed, words):
    monkeypatch.setattr(verdict, "room_hours", lambda *_: ())
    assert told(verdict._check_hours(held(**changed)), words)


def test_a_room_that_an_hour_does_not_name_cannot_be_judged(monkeypatch):
    monkeypatch.setattr(verdict, "room_hours", lambda _, name: None if name == "Bar" else ())
    assert told(verdict._check_hours(held()), ["Bar is missing from an hourly row"])


@pytest.mark.parametrize(
    ("first", "last", "off_min"),
    [
        # Poured from 20:00 to 21:00.
        (0.0, 60.0, None), (-9.0, 99.0, None), (5.0, 60.0, 5.0), (0.0, 50.0, 10.0),
        (5.0, 50.0, 10.0),
    ],
)  # fmt: skip
def test_no_work_lies_outside_the_hours_given(first, last, off_min):
    found = verdict._check_covered(held(), "Bar", at(first).timestamp(), at(last).timestamp())
    assert [each.off_by for each in found] == ([] if off_min is None else [off_min])
