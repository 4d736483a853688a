"""Spoiled logs of a night: read, or refused in one line."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st
from spoiling import (
    LONGEST_S,
    TABLE_EDITS,
    characters,
    many,
    other_cell,
    outcomes,
    refused,
    some,
    spoiled,
    within,
)

from cureplan.core.errors import CurePlanError
from cureplan.inputs.tables.night_log import EVENTS, NightSite, read_night_log_text

SITE = NightSite(
    zone=ZoneInfo("America/New_York"),
    kits={"Cook line": 26, "Corridor": 8},
    begins=datetime(2013, 7, 17, 23, tzinfo=UTC),
    open_by=datetime(2013, 7, 20, 10, tzinfo=UTC),
)
LOG = """\
# the night of the seventeenth; invented
at,event,room,bucket,value,note
2013-07-17T19:45,slab reads,Cook line,,88 F,by the drain
2013-07-17T19:53,poured,Cook line,1,,
2013-07-17T19:57,poured,Cook line,2,,
2013-07-17T20:06-04:00,wet edge ended,Cook line,1,,
2013-07-18T00:09Z,working time ended,Cook line,1,,
2013-07-17T20:15,surface closed,Cook line,1,,
2013-07-17T20:16,bucket reads,Cook line,2,25 C,
2013-07-17T20:17,Drill down,,,,
2013-07-17T20:18,short of,,,rake,
2013-07-17T20:19,room added,Pot wash,,"12 ft x 10 ft, storage, through Corridor",
2013-07-17T20:20,room dropped,Pot wash,,,
2013-07-17T20:21,wait until,,,2013-07-17T21:00,rain
"""
CELLS = [
    *sorted(EVENTS), "Cook line", "Corridor", "Nowhere", "rake", "12 ft x",
    "1 ft x 1 ft, storage",
    "0 ft x 0 ft, storage", "9999 ft x 9999 ft, service", "99 F", "-300 F", "26", "27",
    "2013-07-17T18:00", "2013-07-25T19:00", "2013-11-03T01:30", "24:00", "\x00", "é" * 300,
]  # fmt: skip
OWN_EDITS = st.one_of(
    TABLE_EDITS,
    st.builds(other_cell, st.integers(0, 500), st.sampled_from(CELLS)),
    st.builds(
        characters, st.integers(0, 900), st.integers(0, 2), st.sampled_from("0123456789")
    ),
)


def read(text: str) -> int:
    return len(read_night_log_text(text, source=Path("log.csv"), site=SITE))


def test_the_sound_one_is_read():
    assert read(LOG) == 12


@many(800)
@given(edits=some(OWN_EDITS, 3))
def test_spoiled_logs(edits):
    with within(LONGEST_S):
        try:
            count = read(spoiled(LOG, edits))
        except CurePlanError as error:
            refused(error, "night logs")
            return
        outcomes["night logs read"] += 1
        assert count > 0
