"""Cards written back: the same card comes out of the file."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cureplan.inputs.cards.model import MilestonePoint
from cureplan.inputs.cards.reader import read_card, read_card_text
from cureplan.inputs.cards.write import card_text, origin_text
from cureplan.science.clocks import topcoat_clocks

# Twelve decimals of the unit a card is written in: far below any reading.
SAME = {"rel": 1e-9, "abs": 1e-10}


def numbers(item, path=""):
    """Every number, text and None in a card, by its path."""
    if hasattr(item, "__dataclass_fields__"):
        for field in fields(item):
            yield from numbers(getattr(item, field.name), f"{path}.{field.name}")
    elif hasattr(item, "items"):
        for key, value in item.items():
            yield from numbers(value, f"{path}.{key}")
    elif isinstance(item, tuple):
        for place, value in enumerate(item):
            yield from numbers(value, f"{path}[{place}]")
    else:
        yield path, item


def assert_same(one, other):
    mine, theirs = dict(numbers(one)), dict(numbers(other))
    assert mine.keys() == theirs.keys()
    for path, value in mine.items():
        if isinstance(value, float):
            assert theirs[path] == pytest.approx(value, **SAME), path
        else:
            assert theirs[path] == value, path


@pytest.mark.parametrize("name", ["fast-slurry", "clear-topcoat"])
def test_shipped_cards_come_back_whole(name):
    card = read_card(name)
    assert_same(card, read_card_text(card_text(card), source=Path(f"{name}.toml")))


@settings(max_examples=40)
@given(
    title=st.text(st.characters(categories=("L", "N", "P", "S")), min_size=1, max_size=60),
    minutes=st.floats(5.5, 60.0),
    at_c=st.floats(0.5, 59.0),
    rise_k=st.floats(0.0, 35.0),
    spread=st.floats(0.001, 0.6),
    coldest_c=st.floats(-5.0, 20.0),
)  # fmt: skip
def test_any_slurry_card_comes_back(title, minutes, at_c, rise_k, spread, coldest_c):
    card = read_card("fast-slurry")
    point = MilestonePoint(
        at_c=at_c, humidity_frac=None, after_s=60 * minutes, after_late_s=66 * minutes,
        provenance='a sheet that says "so"',
    )  # fmt: skip
    edge = replace(card.milestones["wet_edge"], points=(point,), spread_frac=spread)
    name = " ".join(title.split()) or "x"
    made = replace(
        card,
        title=name,
        bucket_heat_rise_k=rise_k,
        coldest_liquids_c=coldest_c,
        milestones={**card.milestones, "wet_edge": edge},
    )
    again = read_card_text(card_text(made), source=Path("fast-slurry.toml"))
    assert again.title == made.title
    assert again.bucket_heat_rise_k == pytest.approx(rise_k, **SAME)
    assert again.coldest_liquids_c == pytest.approx(coldest_c, **SAME)
    mine, theirs = edge.points[0], again.milestones["wet_edge"].points[0]
    assert theirs.at_c == pytest.approx(mine.at_c, **SAME)
    assert theirs.after_s == pytest.approx(mine.after_s, **SAME)
    assert theirs.after_late_s == pytest.approx(mine.after_late_s, **SAME)
    assert theirs.provenance == mine.provenance
    assert again.milestones["wet_edge"].spread_frac == pytest.approx(spread, **SAME)


def test_points_at_several_humidities_come_back_and_clocks_take_their_middle():
    card = read_card("clear-topcoat")
    opens = card.milestones["recoat_opens"]
    point = opens.points[0]
    damp = tuple(
        replace(point, humidity_frac=share, after_s=hours * 3600, after_late_s=hours * 3600)
        for share, hours in ((0.3, 5.0), (0.7, 3.2))
    )
    made = replace(
        card, milestones={**card.milestones, "recoat_opens": replace(opens, points=damp)}
    )
    again = read_card_text(card_text(made), source=Path("x.toml"))
    points = again.milestones["recoat_opens"].points
    assert [one.humidity_frac for one in points] == pytest.approx([0.3, 0.7])
    middle = topcoat_clocks(again).age_s["recoat_opens"]
    assert middle == pytest.approx(3600 * math.sqrt(5.0 * 3.2))


def test_heading_cannot_break_out_of_its_comment():
    text = card_text(read_card("clear-topcoat"), heading=["a\nkind = 'x'\x07"])
    assert read_card_text(text, source=Path("x.toml")).title.startswith("Clear")


@given(first=st.text(max_size=200), rest=st.text(st.characters(categories=["L"]), max_size=40))
def test_an_origin_is_always_short_enough_for_a_card(first, rest):
    made = origin_text(first, rest)
    assert len(made) <= 80
    assert made.isprintable()
    assert made.endswith(rest)
