"""A night's plan put together, each step seen alone and worked out by hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.core.errors import InputError, NoFeasiblePlanError
from cureplan.core.messages import Message
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.planning.replan import job, replan

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()
H = 3600.0


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


# What is planned again


def test_a_plan_without_rooms_or_hours_is_not_planned_again():
    for hours, rooms in (((), ("Bar",)), (("20:00",), ()), ((), ())):
        with pytest.raises(InputError, match="no rooms or no hours"):
            replan.replan(Made(hours=hours, rooms=rooms), [], now=NIGHT)


@pytest.mark.parametrize(
    ("floors", "added", "left"),
    [(("Bar",), (), True), ((), ("New",), True), ((), (), False), (("Bar",), ("New",), True)],
)
def test_a_night_is_planned_again_where_anything_is_left(monkeypatch, floors, added, left):
    class GoesOnError(Exception):
        pass

    def conditions(_):
        raise GoesOnError

    state = Made(floors=floors, added=added)
    monkeypatch.setattr(replan, "night_state", lambda *_, **__: state)
    monkeypatch.setattr(replan, "plan_conditions", conditions)
    with pytest.raises(GoesOnError if left else NoFeasiblePlanError):
        replan.replan(Made(hours=("20:00",), rooms=("Bar",)), [], now=NIGHT)


@dataclass(frozen=True)
class Settled:
    known_s: float = 0.0


@dataclass(frozen=True)
class Pours:
    settled: Settled = Settled()
    room: object = None
    job: object = None

    def under(self, room, _job):
        return room


def test_the_weather_is_known_to_an_hour_after_the_last_room_opens(monkeypatch):
    monkeypatch.setattr(replan, "Tables", lambda **given: given)
    best = Made(rooms=[Made(name="Bar")])
    chosen = Made(schedule=Made(opens_s=7200.0))
    monkeypatch.setattr(replan, "_better", lambda *_: (chosen, best, True, 1.0))
    monkeypatch.setattr(replan, "_offers", lambda *_: ["offer"])
    got = replan._decided(best, None, None, {"Bar": Pours()})
    assert got.pours["Bar"].settled.known_s == 7200.0 + H
    assert (got.pours["Bar"].room, got.offers) == (best.rooms[0], ["offer"])


@pytest.mark.parametrize(
    ("lost", "frac", "beatable", "offered"),
    [
        ((0, 0), 0.9, True, False), ((0, 0), 0.89, True, True), ((0, 0), 0.89, False, False),
        ((1, 0), 0.95, False, True), ((0, 2), 0.95, True, True), ((0, 0), 0.95, True, False),
    ],
)  # fmt: skip
def test_what_can_be_changed_is_looked_for_where_something_is_lost(
    monkeypatch, lost, frac, beatable, offered
):
    monkeypatch.setattr(replan, "could_be_beaten", lambda *_: beatable)
    monkeypatch.setattr(replan, "ways_out", lambda _: ["way"])
    monkeypatch.setattr(replan, "Ways", lambda **given: given)
    chosen = Made(odds=Made(all_frac=frac), lost=lambda _: lost)
    one = Made(policy=Made(confidence=0.9))
    got = replan._offers(one, None, None, None, chosen, 1.0)
    assert got == (["way"] if offered else [])


# In which order it is told


@dataclass(frozen=True)
class TheNight:
    changes: tuple
    log: object = None


@pytest.mark.parametrize(
    ("stated", "told"),
    [
        # The next bucket, with what is said ahead of it, comes before how the night goes on.
        (("next", "faster", "shift"),
         "first next carry_on offer help faster shift"),
        (("hour_late", "next_coat", "next", "faster", "shift"),
         "first hour_late next_coat next carry_on offer help faster shift"),
        (("next", "hour_late"), "first next carry_on offer help hour_late"),
    ],
)  # fmt: skip
def test_what_comes_next_is_told_first(monkeypatch, stated, told):
    def say(code):
        return Message(f"replan.{code}", {})

    first, help_ = say("first"), say("help")
    plan = Made()
    for name, value in {
        "assemble": plan, "with_doubt": plan, "plan_series": None, "Tables": None,
        "try_others": None, "help_for_short_buckets": [first, help_],
        "first_minutes": [first], "runs_fast": False, "require_confirmed": None,
        "changes_of": [say(code) for code in stated], "_carry_on": [say("carry_on")],
        "log_of": "the log",
    }.items():  # fmt: skip
        monkeypatch.setattr(replan, name, lambda *_, value=value, **__: value)
    nights = []
    monkeypatch.setattr(replan, "night_of", lambda *given, **_: TheNight(given[4]))
    monkeypatch.setattr(replan, "_finished", lambda *given: nights.append(given[3]) or plan)
    found = replan._Decided(
        job=Made(site=Made(zone=UTC)), pours={}, carried_on=True, offers=[say("offer")],
        chosen=Made(schedule=Made(pours=[]), left_out=(), odds=None),
    )  # fmt: skip
    old = Made(job=Made(crew=None))
    got = replan._put_together(old, [], Made(now_s=NIGHT_S), Made(fit=None), None, found)
    codes = [one.code.removeprefix("replan.") for one in got.changes]
    assert " ".join(codes) == told
    assert [(night.changes, night.log) for night in nights] == [(got.changes, "the log")]


@dataclass(frozen=True)
class Decisions:
    status: str = "as asked"


@dataclass(frozen=True)
class Plan:
    rooms: tuple
    coats: tuple
    hours: tuple
    decisions: Decisions = Decisions()
    primers: tuple = ()
    warnings: tuple = ()
    sources: tuple = ()
    night: object = None


@pytest.mark.parametrize(
    ("closes", "opens", "given", "status"),
    [
        (100, 600, {}, "as asked"), (99, 600, {}, "short of policy"),
        (100, 601, {}, "short of policy"), (101, 599, {"past": True}, "short of policy"),
        (101, 599, {"outlived": True}, "short of policy"),
        (99, 600, {"left_out": ("Hall",)}, "no feasible plan"),
    ],
)  # fmt: skip
def test_a_night_that_ends_late_falls_short(monkeypatch, closes, opens, given, status):
    # A coat begins at 100 min, the kitchen is to open at 600.
    monkeypatch.setattr(replan, "past_shift", lambda *_: given.get("past"))
    monkeypatch.setattr(replan, "_outlived", lambda *_: given.get("outlived", False))
    rooms = (Made(opens=at(opens), open_by=at(600)),)
    new = Plan(rooms, (Made(start=at(100), closes=at(closes)),), (Made(at=NIGHT),))
    old = Made(hours=(Made(at=NIGHT),), warnings=(), sources=())
    night = Made(left_out=given.get("left_out", ()), changes=(), readings=0)
    got = replan._finished(old, new, Made(floors={}), night)
    assert (got.decisions.status, got.night) == (status, night)


@pytest.mark.parametrize(
    ("known_h", "opens_min", "last_h"),
    [
        # To an hour after the last room opens; the hours that were known stay.
        (1, 300, 6),
        (1, 299, 5),
        (8, 300, 8),
        (1, 361, 7),
        (0, 60, 2),
    ],
)
def test_hours_reach_an_hour_past_the_last_opening(monkeypatch, known_h, opens_min, last_h):
    monkeypatch.setattr(replan, "past_shift", lambda *_: None)
    rooms = (Made(opens=at(30), open_by=at(9e3)), Made(opens=at(opens_min), open_by=at(9e3)))
    new = Plan(rooms, (), tuple(Made(at=at(60 * hour)) for hour in range(12)))
    old = Made(
        hours=(Made(at=NIGHT), Made(at=at(-60)), Made(at=at(60 * known_h))), warnings=(),
        sources=(),
    )  # fmt: skip
    night = Made(left_out=(), changes=(), readings=0)
    got = replan._finished(old, new, Made(floors={}), night)
    assert got.hours[-1].at == at(60 * last_h)


def test_warnings_stay_that_somebody_can_act_on():
    def say(code, room="Bar"):
        return Message(code, {"room": room})

    old = Made(warnings=[say("warn.gap"), say("warn.short"), say("warn.ice_call")])
    new = Made(
        warnings=[
            say("warn.short"), say("warn.short", "Hall"), say("warn.ice_call"),
            say("warn.ice_outside", "Hall"), say("warn.dew"),
        ]
    )  # fmt: skip
    floors = {"Bar": Made(complete=True, done=3), "Hall": Made(complete=False, done=0)}
    got = replan._warnings(old, new, Made(floors=floors))
    assert [(one.code, one.values["room"]) for one in got] == [
        ("warn.short", "Hall"), ("warn.dew", "Bar"), ("warn.gap", "Bar"),
    ]  # fmt: skip


# The job the night has made


def test_the_plans_own_hours_are_told_by_where_they_came_from(monkeypatch):
    monkeypatch.setattr(job, "BEYOND_H", 2)
    hours = [
        Made(at=at(60 * n), origin=origin, kind=kind, outdoor_c=20.0 + n, dew_c=dew_c)
        for n, (origin, kind, dew_c) in enumerate(
            (("a", "measured", 9.0), ("a", "forecast", None), ("b", "forecast", 11.0))
        )
    ]
    got = job.plan_series(Made(hours=hours))
    assert [(one.label, one.kind) for one in got.origins] == [
        ("a", "measured"), ("a", "forecast"), ("b", "forecast"),
    ]  # fmt: skip
    # Two hours more are as the last are: repeated, and from where the last came.
    assert got.origin.tolist() == [0, 1, 2, 2, 2]
    assert got.temp_c.tolist() == [20.0, 21.0, 22.0, 20.0, 21.0]
    assert np.isnan(got.dew_c).tolist() == [False, True, False, False, True]
    assert np.isnan(got.cloud_frac).all()
    assert got.epoch_s.tolist() == [NIGHT_S + H * n for n in range(5)]


def test_the_half_of_a_slab_that_was_sunny_is_moved_by_what_was_read_of_it(monkeypatch):
    # The last half lies in the sun, 3 K over the first at 17 °C. It was read 3 K warmer than
    # that, the first 1 K: 23 and 18 °C. 1 K of both fades as a reading, 2 K are between them.
    away = []

    def halves_left(_, away_s):
        away.append(away_s.tolist())
        return np.ones(away_s.shape)

    monkeypatch.setattr(RoomConditions, "halves_left", halves_left)
    base = RoomConditions(
        room="Bar", epoch_s=NIGHT_S + H * np.arange(3), slab_c=np.full(3, 20.0),
        air_c=np.full(3, 19.0), dew_c=np.full(3, np.nan), reading_s=None,
        sun_k=np.full(3, 3.0), warm_parts=("last",),
    )  # fmt: skip
    seen = Made(
        parts_of=lambda _: ("last",), halves_k=lambda _: (1.0, 3.0), halves_sd_k=lambda _: 0.3,
        first_s=NIGHT_S + H / 2,
    )  # fmt: skip
    got = job._halved(base, base, seen, np.array([1.0, 0.5, 0.25]), NIGHT_S + H)
    assert got.slab_c.tolist() == [23.0, 22.5, 22.25]
    assert got.sun_k.tolist() == [5.0, 5.0, 5.0]
    assert (got.warm_parts, got.half_sd_k) == (("last",), pytest.approx(0.3))
    # Half an hour before the first reading, at it or after it, an hour after now.
    assert away == [[-H / 2, 0.0, H]]


@dataclass(frozen=True)
class Room:
    name: str
    way_out: tuple = ()


@dataclass(frozen=True)
class Job:
    rooms: tuple
    materials: object = None

    def crossed_from(self, name):
        return {"Bar": ("Hall", "Yard"), "Yard": ()}[name]


@pytest.mark.parametrize(("read", "kits"), [(0, "as they were"), (2, "2.5 K, 21.0 °C")])
def test_rooms_are_dropped_and_added(monkeypatch, read, kits):
    monkeypatch.setattr(job, "_with_reading", lambda room, *_: room)
    monkeypatch.setattr(job, "_new_room", lambda _, added: Room(added))
    monkeypatch.setattr(job, "_corrected_kits", lambda _, k, air_c: f"{k} K, {air_c} °C")
    one = Job((Room("Bar"), Room("Hall"), Room("Yard")), "as they were")
    got = job.corrected_job(
        one, Made(dropped=("Hall",), added=("Den", "Loft"), now_s=5.0),
        Made(fit=Made(readings=read, kit_k=2.5)),
        conditions={"Bar": Made(air_at=lambda _: 20.0), "Yard": Made(air_at=lambda _: 22.0)},
    )  # fmt: skip
    assert [room.name for room in got.rooms] == ["Bar", "Yard", "Den", "Loft"]
    assert [room.way_out for room in got.rooms] == [("Yard",), (), (), ()]
    assert got.materials == kits
