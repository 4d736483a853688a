"""Spoiled tables of readings and records of finished jobs: read, or refused in one line."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from spoiling import (
    LONGEST_S,
    TABLE_EDITS,
    TOML_EDITS,
    many,
    outcomes,
    refused,
    some,
    spoiled,
    within,
)

from cureplan.core.errors import CurePlanError
from cureplan.inputs.cards.model import SlurryCard
from cureplan.inputs.cards.reader import read_card
from cureplan.inputs.tables.readings import read_readings_text
from cureplan.inputs.tables.record import (
    ClockOutcome,
    FinishedJob,
    read_record_text,
    record_text,
)

CARD = read_card("fast-slurry")
READINGS = """\
# Two afternoons with a thermometer; invented.
kind,batch,milestone,minutes,temp_f,mass_kg,liquids_f,filler_f,air_f,slab_f,poured_min,note
sheet,,working_time,20,70,,,,,,,from the data sheet
sheet,,wet_edge,16,70,,,,,,,
cup,1,working_time,21,70,0.2,,,,,,
bucket,2,working_time,11.5,,,40,88,90,87,4,
bucket,2,wet_edge,9.5,,,40,88,90,87,4,
bucket,3,working_time,8,,,84,88,90,87,4,hot
probe,3,,0,84,,84,88,90,87,,
probe,3,,3,93,,84,88,90,87,,
"""
RECORD = record_text(
    FinishedJob(
        job="A school",
        card="fast-slurry",
        holds_frac=0.9,
        finished=datetime(2013, 7, 20, 10, tzinfo=UTC),
        clocks=tuple(
            ClockOutcome(
                milestone="working_time", place="Cook line", batch=batch, expected_s=672.0,
                soonest_s=540.0, latest_s=834.0, watched_s=600.0 + 20 * batch, at_c=math.nan,
                liquids_c=4.0, filler_c=29.0, air_c=31.0, slab_c=31.5, poured_s=240.0,
                humidity_frac=math.nan,
            )
            for batch in (1, 2, 3)
        ),
    )
)  # fmt: skip


def test_the_sound_ones_are_read():
    assert isinstance(CARD, SlurryCard)
    found = read_readings_text(
        READINGS, source=Path("x.csv"), milestones=tuple(CARD.milestones)
    )
    assert len(found.rows) == 8
    assert len(read_record_text(RECORD, source=Path("x.toml")).clocks) == 3


@many(1000)
@given(edits=some(TABLE_EDITS, 3))
def test_spoiled_readings(edits):
    assert isinstance(CARD, SlurryCard)
    with within(LONGEST_S):
        try:
            found = read_readings_text(
                spoiled(READINGS, edits),
                source=Path("x.csv"),
                milestones=tuple(CARD.milestones),
            )
        except CurePlanError as error:
            refused(error, "readings")
            return
        outcomes["readings read"] += 1
        assert found.rows
        for row in found.rows:
            assert row.kind
            assert not row.after_s < 0


@many(600)
@given(edits=some(TOML_EDITS, 4))
def test_spoiled_records(edits):
    with within(LONGEST_S):
        try:
            found = read_record_text(spoiled(RECORD, edits), source=Path("x.toml"))
        except CurePlanError as error:
            refused(error, "records")
            return
        outcomes["records read"] += 1
        again = read_record_text(record_text(found), source=Path("x.toml"))
        assert len(again.clocks) == len(found.clocks)


@many(300)
@given(text=st.text(max_size=300))
def test_any_text_at_all(text):
    for read in (
        lambda: read_readings_text(text, source=Path("x.csv"), milestones=("working_time",)),
        lambda: read_record_text(text, source=Path("x.toml")),
    ):
        with within(LONGEST_S), pytest.raises(CurePlanError) as caught:
            read()
        refused(caught.value, "any text")
