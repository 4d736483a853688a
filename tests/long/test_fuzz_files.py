"""Nearly ten thousand spoiled files: each is read, or refused in one clear line; none hangs.

    python -m pytest -o addopts= tests/long/test_fuzz_files.py

What is read must then compute: a refusal by the models still counts as one, anything
else is a fault of ours. Runs differ; Hypothesis prints what reproduces a failure.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from spoiling import (
    LONGEST_S,
    NUMBER_EDITS,
    TABLE_EDITS,
    TOML_EDITS,
    many,
    outcomes,
    refused,
    some,
    spoiled,
    within,
)

import cureplan
from cureplan.api import demo_job_path, get_weather, read_job
from cureplan.core.errors import CurePlanError
from cureplan.inputs.cards.model import SlurryCard, TopcoatCard
from cureplan.inputs.cards.reader import read_card_text, shipped_cards
from cureplan.inputs.job.reader import read_job_text
from cureplan.planning.floor.ice import IceBath
from cureplan.planning.floor.pour import AS_IS, PourOption
from cureplan.planning.schedule.construct import prepare_pours
from cureplan.planning.studies.quick import card_clock, chill_answer
from cureplan.weather.hours.csv_file import weather_from_text

PACKAGE = Path(cureplan.__file__).parent
DEMO = demo_job_path("school-kitchen")
JOB = DEMO.read_text(encoding="utf-8")
CARDS = {
    name: (PACKAGE / "inputs" / "cards" / "shipped" / f"{name}.toml").read_text(
        encoding="utf-8"
    )
    for name in shipped_cards()
}
WEATHER = "\n".join((DEMO.parent / "heat-wave.csv").read_text("utf-8").splitlines()[:40]) + "\n"
NOW = datetime(2013, 7, 17, 12, tzinfo=UTC)


@many(3000)
@given(edits=st.one_of(some(TOML_EDITS, 4), some(NUMBER_EDITS, 6)))
def test_spoiled_jobs(edits):
    with within(LONGEST_S):
        try:
            job = read_job_text(spoiled(JOB, edits), source=DEMO)
        except CurePlanError as error:
            refused(error, "jobs")
            return
        outcomes["jobs read"] += 1
        if job.weather.source != "file":
            return
        try:
            pours = prepare_pours(job, get_weather(job, now=NOW))
            starts = [job.access.begins.timestamp()]
            for one in pours.values():
                for option in (AS_IS, PourOption(chilled=True, cool_filler=True, bays=2)):
                    found = one.run(option, starts)
                    assert np.all(np.isfinite(found.ends_s))
                    assert not np.any(np.isnan(found.margins_s))
        except CurePlanError as error:
            refused(error, f"jobs read, then ({type(error).__name__})")


@many(2500)
@given(
    name=st.sampled_from([*CARDS, "fast-slurry", "clear-topcoat"]),
    edits=st.one_of(some(TOML_EDITS, 4), some(NUMBER_EDITS, 5)),
    at_c=st.sampled_from([-5.0, 4.0, 21.0, 33.0, 45.0]),
)
def test_spoiled_cards(name, edits, at_c):
    with within(LONGEST_S):
        try:
            card = read_card_text(spoiled(CARDS[name], edits), source=Path("spoiled.toml"))
        except CurePlanError as error:
            refused(error, "cards")
            return
        outcomes["cards read"] += 1
        try:
            if isinstance(card, (SlurryCard, TopcoatCard)):
                for time in card_clock(card, at_c=at_c):
                    assert math.isfinite(time.after_s)
                    assert math.isfinite(time.sure_s)
            if isinstance(card, SlurryCard):
                coldest_c = card.coldest_liquids_c + 2.0
                answers = chill_answer(
                    card, air_c=33.0, slabs_c=[20.0, 40.0], liquids_c=coldest_c,
                    filler_c=33.0, bath=IceBath(cooler_loss=0.3, water_m3=0.004, water_c=20.0),
                )  # fmt: skip
                for answer in answers:
                    assert math.isfinite(answer.chilled_mixed_c)
                    assert all(math.isfinite(found.gained_s) for found in answer.milestones)
        except CurePlanError as error:
            refused(error, f"cards read, then ({type(error).__name__})")


@many(2000)
@given(edits=some(TABLE_EDITS, 3))
def test_spoiled_weather(edits):
    with within(LONGEST_S):
        try:
            series = weather_from_text(spoiled(WEATHER, edits), source=Path("spoiled.csv"))
        except CurePlanError as error:
            refused(error, "weather")
            return
        outcomes["weather read"] += 1
        known = series.temp_c[~np.isnan(series.temp_c)]
        assert np.all((known > -90) & (known < 70))
        steps_s = np.diff(series.epoch_s)
        assert np.all(steps_s == 3600.0)
        damp = series.dew_c > series.temp_c + 1e-6
        assert not np.any(damp)


@many(600)
@given(
    temps=st.lists(st.floats(-30, 50), min_size=30, max_size=30),
    warmer=st.floats(-60, 60),
)
def test_any_believable_weather_makes_a_finite_night(temps, warmer):
    job = read_job(DEMO)
    series = get_weather(job, now=NOW)
    wild = np.interp(
        np.arange(series.temp_c.size), np.linspace(0, series.temp_c.size, 30), temps
    )
    temp_c = np.clip(wild + warmer, -40, 50)
    changed = replace(series, temp_c=temp_c, dew_c=temp_c - 5)
    with within(LONGEST_S):
        try:
            for one in prepare_pours(job, changed).values():
                found = one.run(AS_IS, [job.access.begins.timestamp()])
                assert np.all(np.isfinite(found.ends_s))
        except CurePlanError as error:
            refused(error, "nights")
            return
        outcomes["nights computed"] += 1
