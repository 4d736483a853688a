"""A log that is at odds with its plan is refused, and one an hour off is asked about."""

from __future__ import annotations

from datetime import timedelta

import pytest
from log_lines import said

from cureplan.core.errors import InputError
from cureplan.planning.replan.changes import hour_off
from cureplan.planning.replan.replan import replan

SECOND = timedelta(seconds=1)


def codes(found):
    return [change.code for change in found.changes]


FAULTS = {
    "later than now": lambda r, b: ([said(b[5].pour, "poured", r.room, 6)], "--now"),
    "poured twice": lambda r, b: (
        [said(b[0].pour, "poured", r.room, 1), said(b[3].pour, "poured", r.room, 1)],
        "keep the one that is true",
    ),
    "wrong order": lambda r, b: (
        [said(b[0].pour, "poured", r.room, 2), said(b[1].pour, "poured", r.room, 1)],
        "poured before",
    ),
    "at once": lambda r, b: (
        [said(b[0].pour, "poured", r.room, 1), said(b[0].pour, "poured", r.room, 2)],
        "no time between",
    ),
    "end before pour": lambda r, b: (
        [
            said(b[1].pour, "poured", r.room, 2),
            said(b[0].pour, "wet edge ended", r.room, 2),
        ],
        "before the bucket was poured",
    ),
    "end of no bucket": lambda r, b: (
        [said(b[1].pour, "wet edge ended", r.room, 7)],
        'no line "poured"',
    ),
    "end beyond belief": lambda r, b: (
        [
            said(b[0].pour, "poured", r.room, 1),
            said(b[0].pour, "wet edge ended", r.room, 1, late_s=1),
        ],
        "cannot be",
    ),
    "slab beyond belief": lambda r, b: (
        [said(b[0].pour, "slab reads", r.room, value="60 C")],
        "off the computed slab",
    ),
    "dropped and poured": lambda r, b: (
        [said(b[0].pour, "poured", r.room, 1), said(b[1].pour, "room dropped", r.room)],
        "poured already",
    ),
}


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_a_log_at_odds_with_the_plan_is_refused_in_one_line(small_plan, first, log_of, fault):
    room, buckets = first
    lines, words = fault(room, buckets)
    with pytest.raises(InputError) as caught:
        replan(small_plan, log_of(*lines), now=buckets[4].pour)
    assert str(caught.value).startswith("log.csv:")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.thorough
def test_a_log_that_lies_an_hour_off_asks_about_the_clock(small_plan, first, log_of):
    # A phone on Central time writes 20:05 where New York has 21:05.
    room, buckets = first
    # The same 18 min late as well: 78 min, at which the lines keep step.
    late, early = "replan.hour_late", "replan.hour_early"
    for hours, code in ((1, late), (1.3, late), (-1, early), (-0.7, early)):
        events = log_of(
            *(said(b.pour, "poured", room.room, b.number, late_s=3600.0 * hours + 40.0 * i)
              for i, b in enumerate(buckets[:3]))
        )  # fmt: skip
        off = hour_off(small_plan, events)
        assert (off.code, off.values) == (code, {"zone": "EDT", "lines": 3})
    again = replan(small_plan, log_of(*(
        said(b.pour, "poured", room.room, b.number, late_s=3600.0) for b in buckets[:3]
    )), now=buckets[3].pour + timedelta(hours=1))  # fmt: skip
    assert "replan.hour_late" in codes(again)
    # Asked first, and the next bucket follows at once.
    assert codes(again)[:2] == ["replan.hour_late", "replan.next"]
    for minutes in (0, 20, 100):
        events = log_of(
            *(said(b.pour, "poured", room.room, b.number, late_s=60.0 * minutes)
              for b in buckets[:3])
        )  # fmt: skip
        assert hour_off(small_plan, events) is None


def test_a_refused_line_speaks_site_time_and_suggests_the_clock(small_plan, first, log_of):
    # A log of New York was answered in UTC. 40 min before planning, but written
    # by a clock an hour ahead.
    room, buckets = first
    events = log_of(said(buckets[0].pour, "poured", room.room, 1, late_s=3600.0))
    now = buckets[0].pour + timedelta(minutes=40)
    with pytest.raises(InputError) as caught:
        replan(small_plan, events, now=now)
    assert "-04:00" in str(caught.value)
    assert "an hour ahead of site time (EDT)" in str(caught.value)
