"""What the pictures show, before anything is drawn."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from output import sheet_sample

from cureplan.output.charts.layout import (
    buckets_chart,
    rooms_chart,
    temperature_chart,
    ticks,
    windows_chart,
)
from cureplan.output.language import Voice
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.model import Plan

ENGLISH = Voice(language="en", display="us", zone=ZoneInfo("America/New_York"))


def test_a_room_is_drawn_without_gaps_from_pour_to_opening(plan: Plan):
    chart = rooms_chart(plan)
    for row, room in enumerate(plan.rooms):
        spans = sorted(
            (span for span in chart.spans if span.row == row), key=lambda span: span.begins
        )
        assert spans[0].begins == room.pour_start
        assert all(a.ends == b.begins for a, b in pairwise(spans))
        kinds = [span.kind for span in spans]
        coats = sum(coat.room == room.room for coat in plan.coats)
        assert kinds.count("coat") == coats
        assert kinds[:3] == ["pour", "setting", "walk"]
        assert kinds[-1] == "open"


def test_rooms_stand_in_the_order_they_are_poured(plan: Plan):
    turned = replace(plan, rooms=plan.rooms[::-1])
    assert rooms_chart(turned).rows == ("Cook line", "Corridor")


def test_bucket_clocks_count_from_the_filler(plan: Plan):
    chart = buckets_chart(plan, "Cook line", voice_of(plan))
    assert chart.numbers == ("1", "2")
    assert chart.starts == ("21:02", "21:06")
    ends = {span.kind: span.ends_min for span in chart.spans if span.row == 0}
    assert ends == pytest.approx({"wet": 11.5, "work": 13.0, "surface": 17.1})
    due = {mark.kind: mark.at_min for mark in chart.marks if mark.row == 1}
    # The last row of a room is tied into by nothing.
    assert due == pytest.approx({"smooth": 8.4, "broadcast": 14.5})


def test_every_coat_is_laid_inside_its_window(plan: Plan):
    chart = windows_chart(plan, voice_of(plan))
    assert chart.rows[0] == "Cook line: Topcoat 1"
    for row in range(len(chart.rows)):
        window, laid = (span for span in chart.spans if span.row == row)
        assert window.begins <= laid.begins <= window.ends


def test_temperatures_follow_the_display_and_keep_their_gaps(plan: Plan):
    us = temperature_chart(plan)
    metric = temperature_chart(sheet_sample.sample_plan(display="metric"))
    assert (us.unit, metric.unit) == ("°F", "°C")
    outdoor = us.lines[0].points[0][1]
    assert outdoor == pytest.approx(31.8 * 1.8 + 32)  # the scale's definition
    assert [value for _, value in us.lines[1].points].count(None) == 1


def test_a_plan_without_rooms_or_hours_has_empty_charts(plan: Plan):
    empty = replace(plan, rooms=(), buckets=(), coats=(), hours=())
    assert rooms_chart(empty).rows == ()
    assert windows_chart(empty, voice_of(plan)).rows == ()
    assert temperature_chart(empty).lines[0].points == ()


@given(
    start_min=st.integers(0, 500_000),
    length_min=st.integers(1, 6000),
    most=st.integers(4, 16),
)
def test_ticks_are_few_and_on_round_times_of_the_sites_clock(start_min, length_min, most):
    begins = datetime(2013, 7, 1, tzinfo=UTC) + timedelta(minutes=start_min)
    ends = begins + timedelta(minutes=length_min)
    found = ticks(begins, ends, ENGLISH, most=most)
    assert len(found) <= most + 1
    assert all(begins <= tick.at <= ends for tick in found)
    assert all(int(tick.clock[3:]) % 5 == 0 for tick in found)
    days = [tick.day for tick in found if tick.day]
    assert len(set(days)) == len(days)


@pytest.mark.parametrize("day", [datetime(2013, 3, 10), datetime(2013, 11, 3)])  # noqa: DTZ001
def test_ticks_stay_on_round_hours_over_the_night_clocks_change(day: datetime):
    begins = day.replace(tzinfo=ENGLISH.zone) - timedelta(hours=20)
    found = ticks(begins, begins + timedelta(hours=60), ENGLISH, most=6)
    assert len(found) >= 4
    assert {tick.clock for tick in found} <= {"00:00", "12:00"}
