"""Terminal text: three answers first, aligned, within any width."""

from __future__ import annotations

from pathlib import Path

import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st

from cureplan.output.language import LANGUAGES
from cureplan.output.language.clean import display_width
from cureplan.output.text.terminal import Column, table_lines, terminal_text
from cureplan.planning.plan.model import Plan
from output import sheet_sample

GOLDEN = Path(__file__).with_name("golden")


def test_the_three_answers_come_first(plan: Plan):
    text = terminal_text(plan, width=80, colour=False)
    places = [
        text.index(word) for word in ("ORDER AND START", "ICE OR NOT", "TOPCOATS AND REOPENING")
    ]
    assert places == sorted(places)
    assert places[-1] < text.index("Rooms\n")
    assert "Corridor, 22:00" in text
    assert "in the ice by Wed 15:30" in text


def test_every_part_is_there(plan: Plan):
    text = terminal_text(plan, width=100, colour=False)
    for title in (
        "Rooms",
        "Topcoats and reopening",
        "Who comes when",
        "Ice",
        "What to load",
        "What else would help",
        "How sure",
        "What this rests on",
        "Watch out",
    ):
        assert f"\n{title}\n" in text
    assert "generic material values" in text


def test_what_falls_short_is_marked_by_a_shape_and_words(plan: Plan):
    text = terminal_text(plan, width=100, colour=False)
    assert "▲ 1 min short" in text
    assert "◆ 1 min to spare" in text


def test_no_colour_where_none_is_wanted(plan: Plan):
    assert "\x1b" not in terminal_text(plan, width=80, colour=False)
    assert "\x1b[1m" in terminal_text(plan, width=80, colour=True)


@pytest.mark.parametrize("language", LANGUAGES)
def test_regression_terminal_text(plan: Plan, language: str):
    golden = GOLDEN / f"terminal_{language}.txt"
    text = terminal_text(plan, width=80, colour=False, language=language)
    assert text == golden.read_text(encoding="utf-8")


@examples(15)
@given(width=st.integers(1, 160), hostile=st.sampled_from(sheet_sample.HOSTILE))
def test_no_line_is_wider_than_the_terminal(width: int, hostile: str):
    plan = sheet_sample.sample_plan((hostile, "Corridor"), site=hostile)
    lines = terminal_text(plan, width=width, colour=False).splitlines()
    assert max(display_width(line) for line in lines) <= max(width, 40)
    assert not any(sign in line for line in lines for sign in "\x1b\x07\t\r\u2028\u202e")


def test_columns_line_up():
    columns = [
        Column(title="Room", cells=("Cook line", "厨房"), shrinks=True),
        Column(title="Kits", cells=("21", "8"), right=True),
    ]
    lines = table_lines(columns, 40)
    assert {display_width(line) for line in lines} == {15}


@given(width=st.integers(24, 90))
def test_a_narrow_table_keeps_its_first_column_and_loses_the_least_important(width: int):
    columns = [
        Column(title="Room", cells=("Preparation",), shrinks=True),
        Column(title="Start", cells=("Wed 21:40",)),
        Column(title="Area", cells=("468 sq ft",), rank=2),
        Column(title="Kits", cells=("18",), rank=1),
    ]
    head = table_lines(columns, width)[0].split()
    assert head[:2] == ["Room", "Start"]
    assert "Area" not in head or "Kits" in head
