"""What the three answers of a plan say, of rooms, calls and coats made up by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import pytest

from cureplan.core.messages import Message
from cureplan.planning.plan import answers

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
ODDS = Made(buckets_frac=0.9, coats_frac=0.8, opening_frac=0.7)


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


def iso(minutes: float) -> str:
    return at(minutes).isoformat()


def room(name="Bar", *, order=1, margin=5.0, falling=True, opens=600, **more):
    given = {
        "kits": 3, "pour_start": at(60 * order), "pour_end": at(60 * order + 30),
        "reasons": (Message(f"why.{name}", {}),), "open_for": "wheels", "open_by": at(900),
    }  # fmt: skip
    return Made(
        room=name, order=order, margin_min=margin, slab_falling=falling, opens=at(opens),
        **{**given, **more},
    )  # fmt: skip


def call(stage, called, *, role="mixer", name="Bar", first=0, last=0):
    return Made(
        stage=stage, role=role, room=name, call=at(called), first_task=at(first),
        last_task=at(last),
    )  # fmt: skip


def job(**more):
    given = {"rooms": (), "access": Made(begins=NIGHT), "crossed_from": lambda _: ()}
    return Made(**{**given, **more})


def order(rooms, calls=(), *, of=None, primers=(), gap=None):
    calls = [call("pour", 40), call("pour", 30), call("coat 1", 10), *calls]
    return answers.order_answer(
        of or job(), rooms, calls, ODDS, primers=primers, gap_frac=gap
    )  # fmt: skip


def codes(messages):
    return [message.code for message in messages]


def test_the_order_begins_with_the_first_call_for_a_pour_and_gives_each_room_its_line():
    got = order([room(margin=0.0), room("Hall", order=2, margin=-0.1)])
    assert codes(got.headline) == ["order.first", "order.room", "order.room_short"]
    assert got.headline[0].values == {"call_at": iso(30), "start_at": iso(60), "room": "Bar"}
    assert got.headline[2].values == {
        "order": 2, "room": "Hall", "kits": 3, "start_at": iso(120), "end_at": iso(150),
        "margin_min": -0.1,
    }  # fmt: skip
    assert got.doubt.values == {"keeps_frac": 0.9}


def test_reasons_are_those_of_the_tightest_room_and_the_seams_of_the_others():
    seams = [Message(f"pour.seam_{word}", {}) for word in ("wet", "stop")]
    rooms = [
        room(margin=5.0, reasons=(Message("pour.binds", {}), seams[0])),
        room("Hall", order=2, margin=4.9, reasons=(Message("pour.short", {}), seams[1])),
    ]
    assert codes(order(rooms).reasons) == ["pour.short", "pour.seam_stop", "pour.seam_wet"]


@pytest.mark.parametrize(
    ("falling", "rising"),
    [((True, True), None), ((True, False), "Hall"), ((False, False), "Bar; Hall")],
)
def test_rooms_whose_slab_warms_as_they_are_poured_are_named(falling, rising):
    rooms = [room(falling=falling[0]), room("Hall", order=2, falling=falling[1])]
    said = [m.values["rooms"] for m in order(rooms).reasons if m.code == "order.rising_slab"]
    assert said == ([rising] if rising else [])


@pytest.mark.parametrize(
    ("gap", "told_min"), [(None, None), (0.0, None), (0.0099, None), (0.01, 7.0), (0.1, 70.0)]
)
def test_an_order_that_could_open_a_hundredth_of_the_time_sooner_is_told(gap, told_min):
    # The last of the rooms opens 700 minutes after the access begins.
    got = order([room(opens=700), room("Hall", order=2, opens=600)], gap=gap)
    said = [m.values["gap_min"] for m in got.reasons if m.code == "order.gap"]
    assert said == ([] if told_min is None else [pytest.approx(told_min)])


def test_primer_goes_before_the_pour_from_its_first_call_to_its_last_end():
    primers = [
        Made(stage="primer", start=at(5), end=at(50)),
        Made(stage="primer", start=at(20), end=at(40)),
    ]
    calls = [call("primer", -10), call("primer", -20), call("cove", -30)]
    got = order([room()], calls, primers=primers)
    assert codes(got.headline) == ["order.primer", "order.first", "order.room"]
    assert got.headline[0].values == {
        "call_at": iso(-20), "start_at": iso(5), "end_at": iso(50)
    }  # fmt: skip


def test_a_cove_goes_with_the_answer_of_who_puts_it_up():
    calls = [
        call("cove", 1, role="edge", first=2, last=3),
        call("cove", 4, role="primer", name="Hall", first=5, last=6),
        call("cove", 7, role="topcoat", name="Hut", first=8, last=9),
        call("coat 1", 7, role="edge", name="Yard"),
    ]
    said = [m.values for m in order([room()], calls).reasons if m.code == "order.cove"]
    assert said == [
        {"room": "Bar", "call_at": iso(1), "start_at": iso(2), "end_at": iso(3)},
        {"room": "Hall", "call_at": iso(4), "start_at": iso(5), "end_at": iso(6)},
    ]
    back = way_back([coat(1, 0)], calls=calls)
    assert [m.values["room"] for m in back.reasons if m.code == "order.cove"] == ["Hut"]


def test_parts_of_a_room_are_told_under_its_name():
    names = (("Bar east", "Bar"), ("Hall", None), ("Bar west", "Bar"))
    of = job(rooms=[Made(name=name, part_of=part) for name, part in names])
    reasons = order([room(name, order=n) for n, (name, _) in enumerate(names)], of=of).reasons
    (said,) = [m.values for m in reasons if m.code == "order.split"]
    assert said == {"room": "Bar", "rooms": "Bar east; Bar west"}


# The way back


def coat(number, starts, *, name="Bar", lasts=30, opens=-10, closes=60):
    return Made(
        coat=number, room=name, start=at(starts), lay_at=at(starts + 1), end=at(starts + lasts),
        opens=at(starts + opens), closes=at(starts + closes),
    )  # fmt: skip


def way_back(coats, rooms=None, *, calls=(), unsure=()):
    calls = [call("coat 1", -15), call("coat 1", -20), call("coat 2", 200), *calls]
    return answers.way_back_answer(rooms or [room()], coats, calls, ODDS, unsure=unsure)


def test_each_coat_has_its_call_its_first_room_and_its_last_end():
    coats = [
        coat(2, 300), coat(1, 0, lasts=90), coat(1, 40, name="Hall"), coat(2, 400, name="Hall"),
    ]  # fmt: skip
    got = way_back(coats)
    assert codes(got.headline) == ["back.coat_1", "back.coat_2", "back.opens"]
    assert got.headline[0].values == {
        "call_at": iso(-20), "start_at": iso(1), "end_at": iso(90), "rooms": "Bar; Hall"
    }  # fmt: skip
    assert got.headline[1].values == {
        "call_at": iso(200), "start_at": iso(301), "end_at": iso(430), "rooms": "Bar; Hall"
    }  # fmt: skip
    assert got.doubt.values == {"coats_frac": 0.8, "opening_frac": 0.7}


def test_the_tightest_coat_has_the_least_time_after_its_start():
    coats = [coat(1, 0, closes=60), coat(2, 100, name="Hall", opens=-99, closes=59)]
    got = way_back(coats, unsure=(Message("back.unsure", {}),))
    assert codes(got.reasons) == ["back.unsure", "back.tightest", "back.last_room"]
    assert got.reasons[1].values == {
        "room": "Hall", "coat": 2, "opens_at": iso(1), "closes_at": iso(159),
        "spare_s": 59 * 60.0,
    }  # fmt: skip


def test_the_last_room_to_open_says_what_it_is_open_for():
    rooms = [room(opens=600), room("Hall", opens=601, open_for="foot"), room("Hut", opens=5)]
    got = way_back([coat(1, 0)], rooms)
    assert got.reasons[-1].values == {
        "room": "Hall", "open_for": "open_for.foot", "open_at": iso(601)
    }  # fmt: skip
    assert got.headline[-1].values == {"open_at": iso(601), "spare_s": 299 * 60.0}
