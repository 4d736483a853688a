"""What ticks say of coves, primers and coats, and what would help, worked out by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made
from typing import Any

import numpy as np
import pytest

from cureplan.core.errors import InputError
from cureplan.inputs.tables.night_log import NightEvent
from cureplan.planning.replan import coats, record
from cureplan.planning.replan import help as helping

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


def line(minutes, event, room="Bar", coat=None, number=0):
    return NightEvent(
        source="log.csv", line=number, at=at(minutes), event=event, room=room, coat=coat
    )


def told(state):
    """Begun and laid in minutes of the night, and whether somebody said so."""
    laid = None if state.laid_s is None else (state.laid_s - NIGHT.timestamp()) / 60.0
    return ((state.begun_s - NIGHT.timestamp()) / 60.0, laid, state.ticked)


def a_coat(number, start, room="Bar"):
    """Laid in half an hour."""
    return Made(room=room, coat=number, start=at(start), end=at(start + 30))


def states(*lines, now=0.0):
    plan = Made(coats=[a_coat(2, 400), a_coat(1, 100)])
    found = coats.coat_states(plan, lines, now_s=at(now).timestamp())
    return {number: told(state) for (_, number), state in found.items()}


@pytest.mark.parametrize(
    ("lines", "now", "found"),
    [
        # Nobody says anything: begun when the plan says so.
        ((), 99, {}), ((), 100, {1: (100, None, False)}),
        ((), 400, {1: (100, None, False), 2: (400, None, False)}),
        # From the first line on only what is ticked, or lies under it, is begun.
        ((line(90, "vacuumed"),), 400, {}),
        ((line(110, "coat begun", coat=1),), 400, {1: (110, None, True)}),
        ((line(110, "batch mixed", coat=1), line(112, "coat begun", coat=1)), 400,
         {1: (110, None, True)}),
        ((line(150, "coat laid", coat=1),), 400, {1: (120, 150, True)}),
        ((line(110, "coat begun", coat=1), line(111, "coat laid", coat=1)), 400,
         {1: (110, 111, True)}),
        # Half an hour before what lies on it, if not as planned before that.
        ((line(410, "coat begun", coat=2),), 420,
         {2: (410, None, True), 1: (100, None, False)}),
        ((line(120, "coat begun", coat=2),), 420, {2: (120, None, True), 1: (90, None, False)}),
        ((line(410, "coat begun", coat=2), line(150, "coat laid", coat=1)), 420,
         {2: (410, None, True), 1: (120, 150, True)}),
        # Another room's tick says nothing of this one's but that somebody ticks.
        ((line(110, "vacuumed", room="Hall"),), 400, {}),
        # Of two lines alike the first counts.
        ((line(110, "coat begun", coat=1), line(115, "coat begun", coat=1)), 400,
         {1: (110, None, True)}),
    ],
)  # fmt: skip
def test_a_coat_is_begun_as_ticked_or_as_planned(lines, now, found):
    assert states(*lines, now=now) == found


@pytest.mark.parametrize(
    ("lines", "key", "words"),
    [
        ((line(110, "coat begun", coat=3),), "value", "no such coat"),
        ((line(110, "coat begun", "Hall", coat=1),), "value", "no such coat on Hall"),
        ((line(110, "coat begun", coat=1), line(110, "coat laid", coat=1)), "at", "after that"),
        ((line(110, "coat begun", coat=2, number=7), line(110, "coat begun", coat=1)), "at",
         "line 7 says that coat 2"),
        ((line(110, "coat begun", coat=2), line(105, "coat begun", coat=1),
          line(111, "coat laid", coat=1)), "at", "begun before it"),
        ((line(130, "coat laid", coat=2), line(110, "batch mixed", coat=2, number=5),
          line(120, "coat laid", coat=1)), "at", "line 5 says that coat 2"),
    ],
)  # fmt: skip
def test_ticks_that_cannot_be_are_refused(lines, key, words):
    with pytest.raises(InputError, match=words) as refused:
        states(*lines, now=500)
    assert refused.value.key == key


def test_the_coat_below_may_end_a_moment_before_the_next_begins():
    found = states(
        line(110, "coat begun", coat=2), line(50, "coat begun", coat=1),
        line(109, "coat laid", coat=1), now=500,
    )  # fmt: skip
    assert found == {2: (110, None, True), 1: (50, 109, True)}


def test_lines_used_before_count_and_each_once():
    used = [
        Made(at=at(5), event="coat begun", room="Bar", value="2"),
        Made(at=at(4), event="vacuumed", room="Bar", value="2"),
        Made(at=at(3), event="primer begun", room="Bar", value=""),
    ]
    new = [
        line(6, "coat laid", coat=2), line(5, "coat begun", coat=2), line(1, "primer laid"),
    ]  # fmt: skip
    found = coats.coat_lines(Made(night=Made(log=used)), new)
    assert [(one.at, one.event, one.coat, one.source) for one in found] == [
        (at(4), "vacuumed", None, "plan.json"), (at(5), "coat begun", 2, "plan.json"),
        (at(6), "coat laid", 2, "log.csv"),
    ]  # fmt: skip
    assert coats.coat_lines(Made(night=None), new[2:]) == []


@pytest.mark.parametrize(
    ("lines", "now", "found"),
    [
        ((), 9, {}), ((), 10, {"Bar": (10, None, False)}),
        ((), 20, {"Bar": (10, None, False), "Hall": (20, None, False)}),
        ((line(15, "primer begun"),), 30, {"Bar": (15, None, True)}),
        # Twenty minutes long, as planned.
        ((line(55, "primer laid"),), 60, {"Bar": (35, 55, True)}),
        ((line(15, "primer begun"), line(16, "primer laid")), 60, {"Bar": (15, 16, True)}),
        ((line(15, "primer begun", "Hall"), line(36, "primer laid")), 60,
         {"Bar": (16, 36, True), "Hall": (15, None, True)}),
        ((line(15, "vacuumed"),), 10, {"Bar": (10, None, False)}),
    ],
)  # fmt: skip
def test_a_primer_is_begun_as_ticked_or_as_planned(lines, now, found):
    primers = [
        Made(room="Bar", start=at(10), end=at(30)), Made(room="Hall", start=at(20), end=at(40)),
    ]  # fmt: skip
    plan = Made(night=None, primers=primers)
    got = coats.primer_states(plan, lines, now_s=at(now).timestamp())
    assert {room: told(state) for room, state in got.items()} == found


def test_a_primer_laid_before_it_was_begun_or_where_none_is_is_refused():
    plan = Made(night=None, primers=[Made(room="Bar", start=at(10), end=at(30))])
    for lines, key, words in (
        ((line(15, "primer begun"), line(15, "primer laid")), "at", "primer of Bar was begun"),
        ((line(15, "primer begun", "Hall"),), "room", "the plan has no primer there"),
    ):
        with pytest.raises(InputError, match=words) as refused:
            coats.primer_states(plan, lines, now_s=0.0)
        assert refused.value.key == key


@pytest.mark.parametrize(
    ("again", "cove", "found"),
    [
        (False, True, {"Bar": 10}),
        (True, False, {"Bar": 10}),
        # A plan made again at 0 has no call for what is up.
        (True, True, {"Bar": 10, "Hall": 0}),
    ],
)
def test_a_cove_without_a_call_is_up_in_a_plan_made_again(again, cove, found):
    rooms = [Made(name="Bar"), Made(name="Hall"), Made(name="Yard")]
    plan = Made(
        calls=[
            Made(room="Bar", stage="cove", first_task=at(10), last_task=at(30)),
            Made(room="Yard", stage="pour", first_task=at(10), last_task=at(30)),
        ],
        night=Made(log=()) if again else None, decisions=Made(made_at=at(0)),
        job=Made(
            cove=Made() if cove else None, rooms=rooms,
            cove_m=lambda room: 0.0 if room.name == "Yard" else 5.0,
        ),
    )  # fmt: skip
    got = coats.cove_states(plan, (), now_s=at(60).timestamp())
    assert {room: told(state)[0] for room, state in got.items()} == found


# What would help


def short_buckets(margins_s, done):
    floors = {"Bar": Made(done=done)} if done else {}
    poured = Made(clocks=Made(margin_s=np.array([margins_s], float)))
    return helping.help_for_short_buckets(
        {"Bar": Made()}, {"Bar": poured}, Made(floors=floors), before=None
    )


@pytest.mark.parametrize(
    ("margins_s", "done", "bucket"),
    [
        ([5, -30, -60, 9], 0, 3),
        ([-90, 5, -60, -30], 1, 3),
        ([0, 5], 0, None),
        ([-90, -90], 2, None),
        ([-90, 5], 1, None),
    ],
)
def test_the_worst_bucket_still_to_come_is_told(monkeypatch, margins_s, done, bucket):
    monkeypatch.setattr(helping, "_lost_edges", lambda *_: [])
    monkeypatch.setattr(helping, "_would_help", lambda *_: [])
    found = short_buckets(margins_s, done)
    assert [one.values["bucket"] for one in found] == ([] if bucket is None else [bucket])


def would_help(monkeypatch, *, done, chilled, bays=(0, 0, 1, 1), gain=None):
    """Codes, each with the minutes it buys; `gain` by chilled, stations, bays [s]."""
    gain = gain or (lambda chilled, stations, bays: 60.0 * (chilled + stations + bays))

    @dataclass(frozen=True)
    class Option:
        chilled: bool
        bays: int

    @dataclass(frozen=True)
    class Pours:
        job: Any
        settled: Any
        room: Any

        def plan(self, _):
            return Made(layout=Made(bay=np.array(bays), kits=len(bays)))

        def run(self, option, start_s):
            began.append(start_s)
            bought = gain(option.chilled, self.job.crew, option.bays)
            # What is on the floor already was the worst.
            return Made(margin_s=np.array([[-999.0] * done + [bought, bought + 7.0]]))

    @dataclass(frozen=True)
    class Job:
        crew: int

    def floor_of(crew):
        return Pours(Job(crew), Made(poured=None), Made(name="Bar"))

    began: list[float] = []
    monkeypatch.setattr(helping, "with_one_more", lambda crew, _: crew + 1)

    def rest_of_floor(*_, free_s, crew, before):
        # Nothing holds the crew up; it has a station more.
        assert (free_s, crew, before) == (-math.inf, 1, None)
        return "rest", 77.0

    monkeypatch.setattr(helping, "rest_of_floor", rest_of_floor)
    monkeypatch.setattr(
        helping, "_as", lambda _, plan, **__: floor_of(1 if plan == "rest" else 0)
    )
    poured = Made(
        option=Option(chilled, 1), start_s=55.0,
        clocks=Made(margin_s=np.array([[-999.0] * done + [60.0, 90.0]])),
    )  # fmt: skip
    state = Made(crew=0, floors={"Bar": None})
    found = helping._would_help(floor_of(0), poured, done, state, None)
    told = [(m.code.removeprefix("replan.help_"), m.values.get("buys_min")) for m in found]
    return told, began


def test_what_would_help_before_a_floor_is_begun(monkeypatch):
    # As it is 60 s: ice makes 120 of it, a station too, another bay as well.
    told, began = would_help(monkeypatch, done=0, chilled=False)
    assert told == [("ice", 1.0), ("station", 1.0), ("bays", 1.0)]
    assert began == [55.0] * 3
    told, _ = would_help(monkeypatch, done=0, chilled=True)
    # Ice is in already: its pails only have to go in, and the rest buys on top of it.
    assert told == [("ice_in", None), ("station", 2.0), ("bays", 2.0)]
    told, _ = would_help(monkeypatch, done=0, chilled=False, gain=lambda *_: 60.0)
    assert told == []


@pytest.mark.parametrize(("done", "stop"), [(1, True), (2, False), (3, True), (4, False)])
def test_what_would_help_on_a_begun_floor(monkeypatch, done, stop):
    # A square end is offered in a bay that is begun; two of its buckets make a bay here.
    told, began = would_help(monkeypatch, done=done, chilled=False)
    assert told == [("ice", 1.0), ("station", 1.0)] + [("stop", None)] * stop
    assert began == [55.0, 77.0]


# The record


@pytest.mark.parametrize(("ticked", "laid_s"), [(True, 1500.0), (True, None), (False, None)])
def test_a_record_holds_the_coats_that_were_ticked(ticked, laid_s):
    begun_s = NIGHT.timestamp()
    known = Made(
        begun_s=begun_s, laid_s=None if laid_s is None else begun_s + laid_s, ticked=ticked
    )
    plan = Made(
        coats=[a_coat(1, 100), a_coat(2, 400)], night=None, job=Made(site=Made(zone=UTC))
    )
    events = [
        line(1, "batch mixed", coat=1), line(2, "batch mixed", coat=1),
        line(3, "batch mixed", coat=2), line(4, "coat laid", coat=1),
    ]  # fmt: skip
    found = record._coats(plan, Made(coats={("Bar", 1): known}), events)
    assert len(found) == ticked
    for one in found:
        assert (one.coat, one.begun, one.batches, one.expected_s) == (1, NIGHT, 2, 1800.0)
        assert math.isnan(one.took_s) if laid_s is None else one.took_s == laid_s


def test_a_clock_is_recorded_with_nine_cases_in_ten_round_what_was_expected(monkeypatch):
    # By hand: the plan's 0.03 and a watch's 0.04 make 0.05 of the logarithm together, and
    # nine cases in ten lie within 1.6449 of those.
    # It shares its batch with nothing else that was read.
    monkeypatch.setattr(
        record, "watched_sd",
        lambda _, *, batch, after_s: 0.04 if batch < 0 and after_s == 600.0 else 0.4,
    )  # fmt: skip
    bucket = Made(room="Bar", along=0.5, liquids_c=20.0, filler_c=21.0, air_c=22.0, slab_c=23.0)
    measured = Made(as_planned_s=lambda *_: 600.0, kit_k=2.0, slab=lambda *_, **__: (-3.0, 0.1))
    seen = Made(buckets=[None, bucket], keys=[None, ("Bar", 7)])
    end = Made(bucket=1, milestone="wet_edge", after_s=650.04)
    found = record._outcome(end, seen, poured_s=90.0, measured=measured, sd_frac=0.03)
    spread = math.exp(1.6448536 * 0.05)
    assert found.soonest_s == pytest.approx(600.0 / spread, abs=0.06)
    assert found.latest_s == pytest.approx(600.0 * spread, abs=0.06)
    assert (found.place, found.batch, found.expected_s, found.watched_s) == (
        "Bar", 7, 600.0, 650.0,
    )  # fmt: skip
    assert (found.liquids_c, found.filler_c, found.air_c, found.slab_c) == (22, 23, 22, 20)
    assert found.poured_s == 90.0


@pytest.mark.parametrize(
    ("product", "card"), [("House slurry", "House slurry"), ("", "fast-slurry")]
)
def test_a_record_names_the_product_and_counts_the_mixing_and_the_carrying(
    monkeypatch, product, card
):
    # 75 s from the filler until it is mixed, 45 s to carry it: poured after two minutes.
    clocks = Made(kit=Made(filler_mix_s=75.0))
    seen = Made(rooms=(), buckets=(), slabs=(), mixes=(), ends=[Made(bucket=0)], keys=["k"])
    poured = []
    for name, given in {
        "plan_rate": Made(of=lambda _: clocks, card_doubt_frac=0.1),
        "plan_conditions": None, "seen_in": seen, "night_prior": None, "fit_night": None,
        "refuse_wild_ends": None,
    }.items():  # fmt: skip
        monkeypatch.setattr(record, name, lambda *_, given=given, **__: given)

    def outcome(*_, poured_s, **__):
        poured.append(poured_s)

    monkeypatch.setattr(record, "_outcome", outcome)
    asked, end = [], next(iter(record.ENDS))
    monkeypatch.setattr(
        record, "night_state", lambda *_, now: asked.append(now) or Made(now_s=0.0, coats={})
    )
    job = Made(
        pace=Made(haul_s=45.0), site=Made(name="Bar", zone=UTC),
        cards=Made(slurry=Made(product=product, key="fast-slurry")),
    )  # fmt: skip
    bucket = Made(room="k", number=0, clocks_sd_frac=0.1)
    seen.keys = [("k", 0)]
    plan = Made(job=job, buckets=[bucket], coats=[], night=None)
    found = record.night_record(plan, [line(1, end), line(2, "poured"), line(5.5, "poured")])
    assert (found.card, found.job, found.finished) == (card, "Bar", at(5.5))
    assert (poured, found.holds_frac) == ([120.0], 0.9)
    logs = [replace(line(5, "poured"), source=name) for name in ("a.csv", "b.csv", "c.csv")]
    for events, source in ((logs, "c.csv"), ([], None)):
        with pytest.raises(InputError, match="no clock was seen to end") as refused:
            record.night_record(plan, events)
        assert refused.value.source == source
    assert asked == [at(5.5)]
