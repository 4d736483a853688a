"""What a new plan says it has learnt and changed, on both sides of what is worth a word."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cureplan.core.messages import Message
from cureplan.planning.replan import changes

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


def codes(messages):
    return [message.code.removeprefix("replan.") for message in messages]


def bucket(number, pour=0.0, *, room="Bar", margin=5.0):
    return Made(
        room=room, number=number, pour=at(pour), liquids_in=at(pour - 8), margin_min=margin
    )


def coat(start, *, number=1, room="Bar", closes=900.0, lay=None):
    return Made(
        room=room, coat=number, start=at(start), end=at(start + 20), closes=at(closes),
        lay_at=at(start if lay is None else lay),
    )  # fmt: skip


def room(name="Bar", **more):
    given = {
        "room": name, "bays": 1, "pour_start": at(0), "pour_end": at(60), "order": 1,
        "reasons": (), "opens": at(1000), "open_by": at(1000), "kits": 9,
    }  # fmt: skip
    return Made(**{**given, **more})


def plan(*rooms, buckets=(), coats=(), primers=(), **more):
    return Made(
        rooms=rooms, buckets=buckets, coats=coats, primers=primers,
        buckets_of=lambda name: [b for b in buckets if b.room == name], **more,
    )  # fmt: skip


def state(now=0.0, *, done=None, **more):
    floors = {
        name: Made(done=count, complete=False, assumed=())
        for name, count in (done or {}).items()
    }
    given = {
        "now_s": at(now).timestamp(), "floors": floors, "coats": {}, "halted": (), "added": (),
        "dropped": (), "wait_s": -math.inf, "crew": Made(stations=2, rake=1),
    }  # fmt: skip
    return Made(**{**given, **more})


# What comes next


@pytest.mark.parametrize(
    ("done", "told"),
    [
        ({}, ["next"]), ({"Bar": 1}, ["next"]), ({"Bar": 2}, ["next_coat", "all_poured"]),
        ({"Bar": 0}, ["next"]),
    ],
)  # fmt: skip
def test_the_next_bucket_is_told_or_the_next_coat(done, told):
    new = plan(room(), buckets=(bucket(2, 6), bucket(1)), coats=(coat(200), coat(100)))
    found = changes._next(new, state(done=done))
    assert codes(found) == told
    if told == ["next"]:
        assert found[0].values["bucket"] == 1 + done.get("Bar", 0)
    else:
        assert found[0].values["start_at"] == at(100).isoformat()


@pytest.mark.parametrize(("now", "told"), [(99.0, ["next_coat"]), (100.0, []), (101.0, [])])
def test_a_coat_that_begins_now_is_no_longer_the_next(now, told):
    found = changes._next(plan(coats=(coat(100),)), state(now))
    assert codes(found) == [*told, "all_poured"]


@pytest.mark.parametrize(
    ("start", "now", "told"),
    [(10, 0, True), (10, 10, False), (30, 0, False), (29, 28, True), (31, 0, False)],
)
def test_a_primer_before_the_next_bucket_is_told_first(start, now, told):
    primers = (Made(room="Hall", start=at(29.5)), Made(room="Bar", start=at(start)))
    new = plan(room(), buckets=(bucket(1, 30),), primers=primers[1:])
    assert (codes(changes._next(new, state(now)))[0] == "next_primer") == told
    both = changes._next(plan(room(), buckets=(bucket(1, 30),), primers=primers), state(0))
    assert len(both) == 2
    first = both[0]
    assert first.values["room"] == ("Bar" if start < 29.5 else "Hall")


# What was learned


def fit(**more):
    given = {
        "readings": 3, "speed": 1.0, "now_h": (1.0,), "kit_k": 0.0, "ln_speed_sd": 0.05,
        "drift_per_h": None,
    }  # fmt: skip
    return Made(**{**given, **more})


@pytest.mark.parametrize(
    ("speed", "code", "off"),
    [
        (1.0, "as_card", 0.0), (1.0099, "as_card", 0.01), (1.0101, "faster", 0.01),
        (0.9899, "slower", 0.01), (1.2, "faster", 0.2),
    ],
)  # fmt: skip
def test_kits_off_by_a_hundredth_are_told(speed, code, off):
    (said,) = changes._batch(fit(speed=speed))
    assert said.code == f"replan.{code}"
    assert said.values["off_frac"] == off
    # 1.645 standard deviations hold nine in ten between both sides: e^0.0822 is 1.086.
    assert said.values["doubt_frac"] == pytest.approx(0.09 * speed, abs=0.012)
    assert changes._batch(fit(speed=speed, ln_speed_sd=1e-4))[0].values["doubt_frac"] == 0.01
    assert changes.runs_fast(fit(speed=speed)) == (code == "faster")
    assert changes._batch(fit(now_h=())) == []


@pytest.mark.parametrize(
    ("kit_k", "code"),
    [(0.29, None), (0.3, "kits_warmer"), (-0.29, None), (-0.3, "kits_cooler"), (0.0, None)],
)
def test_kits_off_by_a_third_of_a_kelvin_are_told(kit_k, code):
    found = codes(changes._batch(fit(kit_k=kit_k)))
    assert found[1:] == ([] if code is None else [code])
    assert changes.runs_fast(fit(kit_k=kit_k)) == (code == "kits_warmer")


@pytest.mark.parametrize(
    ("per_h", "code", "rate"),
    [(0.2, "quickens", 0.22), (-0.2, "slows", 0.18), (0.001, "quickens", 0.01)],
)
def test_a_drift_is_told_by_the_hour(per_h, code, rate):
    (said,) = changes._drift(Made(fit=fit(drift_per_h=per_h)))
    assert (said.code, said.values["rate_frac"]) == (f"replan.{code}", rate)
    assert changes._drift(Made(fit=fit(drift_per_h=0.0))) == []


def test_what_was_learnt_is_told_where_anything_was_read():
    none = Made(fit=fit(readings=0))
    assert codes(changes._learned(plan(), none)) == ["no_readings"]
    seen = readings()
    seen.fit = fit()
    assert codes(changes._learned(plan(room()), seen)) == ["as_card"]


def readings(shift=0.0, slope=0.0, *, halves=(0.0, 0.0), parts=("first",), read=("Bar",)):
    shifts = shift if isinstance(shift, dict) else {"Bar": shift}
    return Made(
        rooms=tuple(shifts), read_in=read, slab_k=shifts.get, slab_sd_k=lambda _: 0.4,
        slope_k=lambda _: slope, halves_k=lambda _: halves, parts_of=lambda _: parts,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("slope", "parts", "said"),
    [
        (0.29, ("first",), None), (0.3, ("first",), ("half_warmer", "half.first", 0.3)),
        (-0.3, ("first",), ("half_warmer", "half.last", 0.3)),
        (0.5, ("first", "back"), ("either_half", "half.first", 0.5)),
        (-0.5, ("first", "back"), ("either_half", "half.last", 0.5)),
        (-0.29, ("first",), None),
    ],
)  # fmt: skip
def test_a_half_that_is_warmer_is_told(slope, parts, said):
    found = changes._slopes(plan(room()), readings(slope=slope, parts=parts))
    if said is None:
        assert found == []
        return
    code, half, off_k = said
    assert (found[0].code, found[0].values["half"]) == (f"replan.{code}", half)
    assert found[0].values["off_k"] == off_k
    if code == "either_half":
        assert found[0].values["other"] == ("half.back" if slope > 0 else "half.front")


@pytest.mark.parametrize(
    ("shift", "slope", "said"),
    [
        (0.3, 0.0, ("slab_warmer", 0.3)), (0.24, 0.0, None), (-0.3, 0.0, ("slab_cooler", 0.3)),
        (-0.24, 0.0, None), (2.0, 0.3, ("slab_warmer", 0.4)), (2.0, 0.29, ("slab_warmer", 2.0)),
        (2.0, -0.3, ("slab_warmer", 0.4)),
    ],
)  # fmt: skip
def test_a_slab_off_by_a_third_of_a_kelvin_is_told(shift, slope, said):
    # Where one half is off by its own, the lesser of both halves is the slab's.
    found = changes._slabs(plan(room()), readings(shift, slope, halves=(1.4, 0.4)))
    told = [(f.code.removeprefix("replan."), f.values["off_k"]) for f in found]
    assert told == ([] if said is None else [said])
    assert all(f.values["doubt_k"] == 0.7 for f in found)  # 1.645 times 0.4 K


def test_slabs_that_moved_alike_share_a_line():
    seen = readings({"Bar": 1.0, "Hall": 1.04, "Yard": 1.0, "Gone": 3.0}, read=("Bar", "Hall"))
    found = changes._slabs(plan(room("Bar"), room("Hall"), room("Yard")), seen)
    assert [(f.values["room"], f.values["basis"]) for f in found] == [
        ("Bar; Hall", "read"), ("Yard", "inferred"),
    ]  # fmt: skip


# The clock of a log


def hour_off(*late_min, near_min=10.0, more=(), zone=UTC, called="UTC"):
    events = [
        Made(event="poured", room="Bar", bucket=n, at=at(6 * n + late))
        for n, late in enumerate(late_min, 1)
    ]
    night = plan(
        buckets=[bucket(n, 6 * n) for n in range(1, 9)],
        rules=Made(clock_near_s=60 * near_min),
        job=Made(site=Made(zone=zone, time_zone="Etc/UTC")),
    )  # fmt: skip
    found = changes.hour_off(night, [*events, *more])
    assert found is None or found.values["zone"] == called
    return (
        None if found is None else (found.code.removeprefix("replan."), found.values["lines"])
    )


@pytest.mark.parametrize(
    ("late_min", "said"),
    [
        ((60, 60), ("hour_late", 2)), ((-60, -60), ("hour_early", 2)), ((60,), None),
        ((0, 0), None), ((60, -60), None), ((70, 70), ("hour_late", 2)),
        ((50, 50), ("hour_late", 2)), ((-70, -70), ("hour_early", 2)), ((49, 49), None),
        # In step the crew may be 25 min late besides; lines may lie 5 min from their middle.
        ((85, 85), ("hour_late", 2)), ((86, 86), None), ((75, 85), ("hour_late", 2)),
        ((60, 80), ("hour_late", 2)), ((74, 86), None), ((60, 100), None),
        ((40, 80), ("hour_late", 2)), ((38, 82), None),
        ((-45, -45), ("hour_early", 2)), ((-35, -35), ("hour_early", 2)), ((-34, -34), None),
        ((0, 120), None), ((-51, -51, -51), ("hour_early", 3)),
    ],
)  # fmt: skip
def test_a_log_an_hour_off_is_asked_about(late_min, said):
    assert hour_off(*late_min) == said


def test_only_planned_buckets_with_a_line_tell_of_the_clock():
    extra = [
        Made(event="poured", room="Bar", bucket=99, at=at(0)),
        Made(event="poured", room=None, bucket=1, at=at(0)),
        Made(event="poured", room="Bar", bucket=None, at=at(0)),
        Made(event="lost", room="Bar", bucket=1, at=at(0)),
    ]
    assert hour_off(60, 60, more=extra) == ("hour_late", 2)
    # The clock is called as it is at the last line: in Rome winter time begins on 25 October.
    late = Made(event="lost", room="Bar", bucket=1, at=datetime(2026, 10, 25, 1, tzinfo=UTC))
    rome = ZoneInfo("Europe/Rome")
    assert hour_off(60, 60, zone=rome, called="CEST") == ("hour_late", 2)
    assert hour_off(60, 60, more=[late], zone=rome, called="CET") == ("hour_late", 2)


# What was reported


def test_what_was_lost_and_reported_is_told_once():
    def event(kind, role=None, until=None, **more):
        none = {"shift_at": None, "opens_at": None, "more_s": None, "room": None}
        return Made(event=kind, role=role, until=until, bucket=None, **{**none, **more})

    new = plan(room("Bar", kits=7), job=Made(site=Made(zone=UTC)))
    here = state(wait_s=at(30).timestamp())
    said = codes(changes._reported(new, here, [event("wait", until=at(30))]))
    assert said == ["wait"]
    now = state(30, wait_s=at(30).timestamp())
    assert changes._reported(new, now, [event("wait", until=at(30))]) == []
    lost = [event("drill down"), event("short of", "rake")]
    assert codes(changes._reported(new, state(), lost)) == ["stations", "short_of"]
    halted = state(halted=(lost[0],), wait_s=at(60).timestamp())
    assert codes(changes._reported(new, halted, lost)) == ["halted", "short_of"]
    halted = state(halted=(lost[1],), wait_s=at(60).timestamp())
    assert codes(changes._reported(new, halted, lost)) == ["halted", "stations"]
    added = (Made(name="Bar", way_out=("Hall",)), Made(name="Yard", way_out=()))
    found = changes._reported(new, state(added=added, dropped=("Hall",)), [])
    assert codes(found) == ["dropped", "added", "added_no_way"]
    assert [f.values.get("kits") for f in found] == [None, 7, 0]
    moved = event("pour shift until", shift_at=at(330))
    (told,) = changes._reported(new, state(wait_s=at(-1).timestamp()), [moved])
    assert told.values == {"shift": "pour shift until", "shift_at": at(330).isoformat()}
    moved = [
        event("opens by", opens_at=at(900)),
        event("opens by", opens_at=at(800), room="Bar"),
        event("stay longer", more_s=900.0),
    ]
    told = changes._reported(new, state(wait_s=at(-1).timestamp()), moved)
    assert codes(told) == ["opens", "room_opens", "stays"]
    assert [say.values for say in told] == [
        {"open_at": at(900).isoformat()},
        {"room": "Bar", "open_at": at(800).isoformat()},
        {"more_s": 900.0},
    ]


def test_pails_that_would_not_be_cold_standing_are_to_be_stirred():
    # It is 60 min past; as planned, Bar's and Hall's pails were to go into ice later.
    def chill(**rooms):
        iced = [Made(room=name, in_ice_by=at(minutes)) for name, minutes in rooms.items()]
        return plan(chill=Made(rooms=iced))

    before = chill(Bar=90, Hall=61, Yard=60)
    for now, told in (
        (chill(Bar=59, Hall=59, Yard=59), "Bar; Hall"), (chill(Bar=60, Hall=61, Yard=10), None),
        (chill(Hall=-30), "Hall"), (chill(New=10), None),
    ):  # fmt: skip
        found = changes._into_ice_now(before, now, state(60))
        assert [say.values["rooms"] for say in found] == ([] if told is None else [told])


def test_spoiled_kits_are_told_room_by_room():
    lines = [
        Made(event=kind, room=where, bucket=number)
        for kind, where, number in (
            ("lost", "Bar", 3), ("lost", "Hall", 1), ("lost", "Bar", 2), ("lost", "Bar", None),
            ("ran short", "Bar", 5), ("lost", "Bar", 3),
        )
    ]  # fmt: skip
    found = changes._spoiled(lines, "lost", "replan.lost")
    assert [(f.values["room"], f.values["buckets"], f.values["kits"]) for f in found] == [
        ("Bar", "2-3", 3), ("Hall", "1", 1),
    ]  # fmt: skip
    assert changes._numbers([]) == ""


# What is other than planned


@pytest.mark.parametrize(
    ("now", "known", "said"),
    [
        (99, None, []), (100, None, ["coat_not_begun"]), (101, None, ["coat_not_begun"]),
        (200, True, ["coat_begun"]), (200, False, ["coat_assumed"]),
    ],
)  # fmt: skip
def test_coats_are_told_as_ticked_or_where_they_were_due(now, known, said):
    told = {} if known is None else {("Bar", 1): Made(ticked=known)}
    old, new = plan(coats=(coat(100),)), plan(coats=(coat(150), coat(150, room="New")))
    assert codes(changes._coats(old, new, state(now, coats=told))) == said


@pytest.mark.parametrize(
    ("margin", "bays", "said"),
    [
        (5.5, 1, ["margin_more"]), (5.49, 1, []), (4.5, 1, ["margin_less"]), (4.51, 1, []),
        (0.0, 1, ["margin_less"]), (-0.1, 1, []), (9.0, 2, []),
    ],
)  # fmt: skip
def test_a_margin_half_a_minute_off_is_told_of_the_tightest_bucket_left(margin, bays, said):
    old = plan(room(), buckets=(bucket(1), bucket(2)))
    new = plan(
        room(bays=bays),
        buckets=(bucket(1, margin=-9.0), bucket(2, margin=margin), bucket(3, margin=20.0)),
    )
    found = changes._margins(old, new, state(done={"Bar": 1}))
    assert codes(found) == said
    for one in found:
        assert (one.values["bucket"], one.values["change_min"]) == (2, abs(margin - 5.0))
    assert changes._margins(old, new, state(done={"Bar": 3})) == []


def test_a_bucket_that_is_new_has_no_margin_to_compare():
    old = plan(room(), buckets=(bucket(1),))
    new = plan(room(), buckets=(bucket(1, margin=9.0), bucket(2, margin=3.0)))
    assert changes._margins(old, new, state()) == []


def test_an_order_is_told_where_floors_of_both_plans_changed_theirs():
    def ordered(*names):
        return plan(*(room(name, order=n) for n, name in enumerate(names)))

    assert changes._reordered(ordered("A", "B", "C"), ordered("A", "C")) == []
    (said,) = changes._reordered(ordered("A", "B", "C"), ordered("D", "C", "A"))
    assert said.values["rooms"] == "C, A"
    later = plan(room("A", order=2), room("B", order=1))
    assert [s.values["rooms"] for s in changes._reordered(ordered("A", "B"), later)] == ["B, A"]


@pytest.mark.parametrize(
    ("done", "start", "end", "said"),
    [
        (None, 1.0, 60.0, ["moved"]), (None, 0.99, 60.0, []), (None, -1.0, 60.0, ["moved"]),
        (0, 1.0, 60.0, ["moved"]), (1, 1.0, 60.0, []), (1, 1.0, 61.0, ["ends"]),
        (1, 0.0, 60.99, []), (None, 0.0, 99.0, []), (1, 0.0, 59.0, ["ends"]),
    ],
)  # fmt: skip
def test_a_pour_moved_by_a_minute_is_told(done, start, end, said):
    new = plan(room(pour_start=at(start), pour_end=at(end)), room("New"))
    here = state(done={} if done is None else {"Bar": done})
    assert codes(changes._moved(plan(room()), new, here)) == said


@pytest.mark.parametrize(
    ("was", "now", "said"),
    [(2, 1, ["one_bay"]), (1, 2, ["bays"]), (3, 2, ["bays"]), (2, 2, [])],
)
def test_bays_are_told_where_there_are_more_or_fewer(was, now, said):
    found = changes._moved(plan(room(bays=was)), plan(room(bays=now)), state())
    assert codes(found) == said


def test_a_seam_is_told_where_it_is_met_otherwise_than_stated():
    def met(*seams):
        reasons = tuple(Message(code, {"before": before}) for before, code in seams)
        return plan(room("Hall", reasons=(*reasons, Message("pour.hour", {}))))

    old = met(("Bar", "pour.seam_wet"))
    assert changes._seams(old, old) == []
    (said,) = changes._seams(old, met(("Bar", "pour.seam_line")))
    assert said.code == "pour.seam_line"
    assert [s.code for s in changes._seams(met(), old)] == ["pour.seam_wet"]
    assert changes._seams(old, met()) == []


@pytest.mark.parametrize(
    ("start", "end", "limit"),
    [
        (0, 60, None), (0, 480, None), (0, 481, 480), (-1, 60, -900), (-1, 480, -900),
        (-1, 490, 480),
        (-1000, -900, None), (600, 700, 480), (-2000, -1600, None),
    ],
)  # fmt: skip
def test_a_pour_that_no_shift_holds_runs_over_the_last_that_ended(
    monkeypatch, start, end, limit
):
    spans = [
        Made(begins_s=at(b).timestamp(), ends_s=at(e).timestamp())
        for b, e in ((-1440, -900), (0, 480))
    ]
    monkeypatch.setattr(changes, "crew_spans", lambda *_: spans)
    night = plan(job=Made(crew=Made(pour_shifts=()), site=Made(zone=UTC)))
    found = changes.past_shift(night, room(pour_start=at(start), pour_end=at(end)))
    assert found == (None if limit is None else at(limit))
    night.rooms = (room(pour_start=at(start), pour_end=at(end)),)
    for complete in (False, True):
        here = state(done={"Bar": 1})
        here.floors["Bar"].complete = complete
        told = limit is not None and not complete
        assert bool(changes._past_shift(night, here)) == told
    assert bool(changes._past_shift(night, state())) == (limit is not None)


@pytest.mark.parametrize(
    ("start", "said"),
    [(110.0, ["coat_1"]), (109.9, []), (90.0, ["coat_1"]), (90.1, []), (100.0, [])],
)
def test_the_first_coat_moved_by_ten_minutes_is_told(start, said):
    old = plan(coats=(coat(100), coat(300)))
    new = plan(coats=(coat(start), coat(350), coat(500, number=2)))
    assert codes(changes._way_back(old, new)) == said
    both = plan(coats=(coat(100), coat(500, number=2)))
    later = plan(coats=(coat(100), coat(520, number=2)))
    assert codes(changes._way_back(both, later)) == ["coat_2"]


@pytest.mark.parametrize(
    ("moved", "pour", "said"),
    [
        (1.0, 0, ["primer"]), (0.9, 0, []), (-1.0, 0, ["primer"]), (0.0, 100, []),
        (0.0, 101, ["primer_old"]), (0.0, 99, []),
    ],
)  # fmt: skip
def test_a_primer_is_told_where_it_moved_or_grew_old(moved, pour, said):
    def rolled(minutes, name="Bar"):
        return Made(room=name, start=at(minutes), slurry_closes=at(100))

    old = plan(primers=(rolled(-60),))
    new = plan(
        room(pour_start=at(pour)), room("Hall", pour_start=at(999)),
        primers=(rolled(moved - 60), rolled(5, "New")),
    )  # fmt: skip
    assert codes(changes._way_back(old, new)) == said


@pytest.mark.parametrize(
    ("closes", "opens", "said"),
    [(100, 1000, []), (99, 1000, ["coat_late"]), (100, 1001, ["opens_late"]), (101, 999, [])],
)
def test_a_coat_over_its_window_and_a_late_opening_are_told(closes, opens, said):
    new = plan(room(opens=at(opens)), coats=(coat(100, closes=closes),))
    assert codes(changes._way_back(plan(), new)) == said


def test_a_log_keeps_each_line_once_in_the_order_of_the_clock():
    def event(minutes, note="", **more):
        given = {"event": "poured", "room": "Bar", "bucket": 1, "value": ""}
        return Made(**{**given, **more}, at=at(minutes), note=note)

    old = Made(night=Made(log=(event(10),)))
    found = changes.log_of(
        old, [event(10, note="again"), event(5, bucket=2), event(10, value="x")]
    )
    assert [(line.at, line.bucket, line.value) for line in found] == [
        (at(5), 2, ""), (at(10), 1, ""), (at(10), 1, "x"),
    ]  # fmt: skip
    assert len(changes.log_of(Made(night=None), [event(1)])) == 1
    assert np.all([line.note == "" for line in found])
