"""Pictures inside the sheet: everything inside the frame, nothing lost."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.output.charts.drawing import (
    Drawing,
    lay_out_buckets,
    lay_out_rows,
    lay_out_temperatures,
)
from cureplan.output.charts.layout import (
    buckets_chart,
    rooms_chart,
    temperature_chart,
    windows_chart,
)
from cureplan.output.charts.svg import shapes_of
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.model import Plan


def starts_of(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"M(-?[\d.]+) (-?[\d.]+)", path)]


def drawings(plan: Plan) -> dict[str, Drawing]:
    voice = voice_of(plan)
    return {
        "rooms": lay_out_rows(rooms_chart(plan), voice),
        "windows": lay_out_rows(windows_chart(plan, voice), voice),
        "buckets": lay_out_buckets(buckets_chart(plan, "Cook line", voice), voice),
        "temperatures": lay_out_temperatures(temperature_chart(plan), voice),
    }


@pytest.mark.parametrize("name", ["rooms", "windows", "buckets", "temperatures"])
def test_everything_lies_inside_the_frame(plan: Plan, name: str):
    drawing = drawings(plan)[name]
    for shape in shapes_of(drawing):
        for x, y in starts_of(shape.path):
            assert 0 <= x <= drawing.width
            assert -10 <= y <= drawing.height
    for text in drawing.texts:
        assert 0 <= text.x <= drawing.width
        assert 0 < text.y <= drawing.height


def test_each_kind_is_one_path_holding_all_of_its_bars(plan: Plan):
    shapes = {shape.kind: shape.path for shape in shapes_of(drawings(plan)["buckets"])}
    assert shapes["wet"].count("M") == 2
    assert shapes["smooth"].count("M") == 2
    assert shapes["tie"].count("M") == 1  # the last row is tied into by nothing


def test_bars_are_as_long_as_their_minutes(plan: Plan):
    chart = buckets_chart(plan, "Cook line", voice_of(plan))
    shapes = {shape.kind: shape.path for shape in shapes_of(drawings(plan)["buckets"])}
    drawn = [
        float(width)
        for kind in ("wet", "work")
        for width in re.findall(r"h(\d[\d.]*)v", shapes[kind])
    ]
    minutes = [
        span.ends_min for kind in ("wet", "work") for span in chart.spans if span.kind == kind
    ]
    scales = {round(width / length, 1) for width, length in zip(drawn, minutes, strict=True)}
    assert len(scales) == 1


def test_a_gap_in_a_line_lifts_the_pen(plan: Plan):
    shapes = {shape.kind: shape.path for shape in shapes_of(drawings(plan)["temperatures"])}
    assert shapes["line-dew"].count("M") == 2
    assert shapes["line-outdoor"].count("M") == 1


@given(hours=st.floats(0.01, 300))
def test_any_length_of_job_keeps_its_order_from_left_to_right(plan: Plan, hours: float):
    room = replace(
        plan.rooms[0],
        walkable=plan.rooms[0].pour_end + timedelta(hours=hours),
        opens=plan.rooms[0].pour_end + timedelta(hours=3 * hours),
    )
    alone = replace(plan, rooms=(room,), coats=())
    drawing = lay_out_rows(rooms_chart(alone), voice_of(plan))
    first = {shape.kind: starts_of(shape.path)[0][0] for shape in shapes_of(drawing)}
    assert first["pour"] <= first["setting"]
    assert first["setting"] <= first["open"] <= drawing.width


def test_long_names_are_whole_and_lie_over_nothing(plan: Plan):
    # Asked: no cut names and no overlaps; 80 signs are the most a phone's report takes.
    name = "Banquet kitchen, cold storage and dish room of the west wing, second phase of it"
    rooms = tuple(replace(room, room=name) for room in plan.rooms)
    chart = rooms_chart(replace(plan, rooms=rooms, job=replace(plan.job, rooms=())))
    drawing = lay_out_rows(chart, voice_of(plan))
    told = [text for text in drawing.texts if text.kind == "name"]
    assert " ".join(text.text for text in told) == " ".join([name] * len(rooms))
    # Bold signs of 12 are about 7.5 wide at most.
    assert max(len(text.text) for text in told) * 7.5 < drawing.width
    ys = sorted(text.y for text in told)
    assert min(b - a for a, b in pairwise(ys)) >= 14
    for bar in drawing.bars:
        assert all(bar.y > text.y or bar.y + bar.height < text.y - 11 for text in told)
