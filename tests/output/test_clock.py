"""AM and PM on a US sheet, 24 hours where the job says so; dates where a day is unclear."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from cureplan.inputs.job.reader import read_job_text
from cureplan.output.charts.drawing import bucket_picture, job_pictures
from cureplan.output.language import Voice
from cureplan.output.text.terminal import terminal_text
from cureplan.output.text.weather import weather_text
from cureplan.output.view.view import voice_of
from cureplan.planning.floor.weather_hours import weather_hours
from cureplan.planning.plan.model import Plan, plan_from_json, plan_to_json
from cureplan.weather.hours.series import Gap

JOBS = Path(__file__).parents[1] / "pinned" / "jobs"


def job_of(**said: str):
    """One room, with other lines at the top; its own `clock = "24 h"` is taken away."""
    text = (JOBS / "one-room.toml").read_text(encoding="utf-8")
    for line in ('display = "us"\n', 'clock = "24 h"\n'):
        assert line in text
        text = text.replace(line, "")
    lines = "".join(f'{key} = "{value}"\n' for key, value in said.items())
    return read_job_text(lines + text, source=JOBS / "job.toml")


@pytest.mark.parametrize(
    ("said", "clock"),
    [
        ({}, "12 h"),
        ({"display": "us"}, "12 h"),
        ({"display": "us", "clock": "24 h"}, "24 h"),
        ({"display": "metric"}, "24 h"),
        ({"display": "metric", "clock": "12 h"}, "12 h"),
    ],
)
def test_a_us_job_tells_am_and_pm_unless_it_says_24_h(said: dict[str, str], clock: str):
    assert job_of(**said).clock == clock


def test_noon_and_midnight_and_the_rounding_of_times(plan: Plan):
    # By hand: 00:00 is 12:00 AM, 12:00 is 12:00 PM, 19:08:30 is 7:08 PM down and 7:09 PM up.
    voice = replace(voice_of(plan), clock="12 h")
    day = plan.job.access.begins.astimezone(voice.zone).replace(hour=0, minute=0, second=0)
    at = {h: voice.at(day + timedelta(hours=h), "time") for h in (0, 1, 11, 12, 13, 23)}
    assert [*at.values()] == [
        "12:00 AM",
        "1:00 AM",
        "11:00 AM",
        "12:00 PM",
        "1:00 PM",
        "11:00 PM",
    ]
    late = day + timedelta(hours=19, minutes=8, seconds=30)
    assert (voice.at(late, "time"), voice.at(late, "time_up")) == ("7:08 PM", "7:09 PM")
    assert voice.fill(
        "until {clock}, {shifts}", {"clock": "05:30", "shifts": "19:00-05:00"}
    ) == ("until 5:30 AM, 7:00 PM-5:00 AM")


def test_a_day_more_than_six_days_off_has_its_date(plan: Plan):
    # "Tue" a week later would be taken for the nearest one, in either clock and language.
    for language, said in (("en", "Jul"), ("es", "jul")):
        voice = replace(voice_of(plan, language), clock="12 h")
        begins = plan.job.access.begins
        assert said in voice.at(begins + timedelta(days=6, hours=1))
        assert said not in voice.at(begins + timedelta(hours=20))


def test_sheets_of_both_clocks_say_the_same_and_the_plan_keeps_it(plan: Plan):
    twelve = replace(plan, job=replace(plan.job, clock="12 h"))
    assert plan_from_json(plan_to_json(twelve)).job.clock == "12 h"
    assert "clock" not in json.loads(plan_to_json(plan))["job"]
    text, other = (terminal_text(p, width=100, colour=False) for p in (plan, twelve))
    assert "21:00" in text
    assert "9:00 PM" in other
    assert "21:00" not in other
    assert Voice(language="en", display="us", zone=plan.job.site.zone).clock == "24 h"


def test_pictures_of_twelve_hours_tell_the_half_of_the_day(plan: Plan):
    # Asked: a job that says 12 h shows no hour that could be either half of a day.
    twelve = replace(plan, job=replace(plan.job, clock="12 h"))
    voice = voice_of(twelve)
    room = plan.rooms[0].room
    pictures = [bucket_picture(twelve, room, voice), *job_pictures(twelve, voice)]
    for picture in pictures:
        texts = [text.text for text in picture.drawing.texts]
        assert any(re.search(r"\d [AP]M$", text) for text in texts)
        assert not any(re.fullmatch(r"\d+:00", text) for text in texts)
    starts = [t.text for t in pictures[0].drawing.texts if ":" in t.text]
    assert len(starts) == len(plan.buckets_of(room))
    assert all(re.fullmatch(r"\d+:\d\d [AP]M", start) for start in starts)


def test_hours_and_gaps_of_the_weather_go_by_the_jobs_clock(demo_job, demo_weather):
    # By hand: New York is 4 h behind UTC in July, so 19:00 UTC is 15:00, 3:00 PM.
    at = demo_weather.starts.replace(hour=19)
    gap = Gap(what="dew point", starts=at, ends=at, hours=1, mended="no")
    series = replace(demo_weather, gaps=(gap,))
    told = {}
    for clock in ("12 h", "24 h"):
        job = replace(demo_job, clock=clock)
        told[clock] = weather_text(job, weather_hours(job, series), now=at, width=100)
    assert re.search(r"dew point: \w+ \d\d \w+ 3:00 PM to", told["12 h"])
    assert re.search(r"dew point: \w+ \d\d \w+ 15:00 to", told["24 h"])
    assert re.search(r"\n\w{3} \d\d 9:00 PM ", told["12 h"])
    assert not re.search(r"\b(1[3-9]|2[0-3]):00\b", told["12 h"])
