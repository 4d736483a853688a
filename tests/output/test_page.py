"""The sheet as HTML text: whole, safe, self-contained, readable."""

from __future__ import annotations

import base64
import hashlib
import itertools
import json
import re
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import html

from cureplan.output.charts.palette import DARK, LIGHT, contrast_ratio
from cureplan.output.language.catalogue import catalogue
from cureplan.output.sheet.page import sheet_html
from cureplan.output.sheet.page_data import _bucket, embedded_json
from cureplan.planning.plan.model import Plan, plan_id
from output import sheet_sample

# What stands on what: (text, ground). Every pair the style sheet uses.
GROUNDS = ("paper", "card")
TEXT_PAIRS = [
    *itertools.product(("ink", "soft", "accent", "kept", "tight", "short"), GROUNDS),
    ("kept", "kept-paper"),
    ("tight", "tight-paper"),
    ("short", "short-paper"),
    ("ink", "accent-paper"),
    ("kept", "accent-paper"),
    ("tight", "accent-paper"),
    ("short", "accent-paper"),
    ("on-accent", "accent"),
]
SHAPE_PAIRS = list(
    itertools.product(("wet", "work", "surface", "walk", "coat", "setting"), GROUNDS)
)


@pytest.fixture(scope="module")
def page(plan: Plan) -> Any:
    return html.fromstring(sheet_html(plan))


def data_of(page: Any) -> Any:
    return json.loads(page.get_element_by_id("plan-data").text)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_every_text_stands_out_from_its_ground(palette: dict[str, str]):
    # Published: WCAG 2.1, success criterion 1.4.3, at least 4.5 to 1 (from memory).
    weak = {p: contrast_ratio(palette[p[0]], palette[p[1]]) for p in TEXT_PAIRS}
    assert {pair: ratio for pair, ratio in weak.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_every_shape_stands_out_from_its_ground(palette: dict[str, str]):
    # Published: WCAG 2.1, success criterion 1.4.11, at least 3 to 1 (from memory).
    weak = {p: contrast_ratio(palette[p[0]], palette[p[1]]) for p in SHAPE_PAIRS}
    assert {pair: ratio for pair, ratio in weak.items() if ratio < 3} == {}


def test_contrast_agrees_with_known_pairs():
    # From memory: #777777 on white is the well-known near miss at 4.48 to 1.
    assert contrast_ratio("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)
    assert contrast_ratio("#ffffff", "#ffffff") == 1


def test_each_language_holds_the_whole_sheet(page: Any):
    sheets = page.find_class("sheet")
    assert [sheet.get("lang") for sheet in sheets] == ["en", "es"]
    for sheet in sheets:
        assert len(sheet.xpath(".//tr[@data-bucket]")) == 4
        assert len(sheet.xpath(".//ol[@class='answers']/li")) == 3
        text = sheet.text_content()
        for title, body in catalogue(sheet.get("lang")).cautions:
            assert title in text
            assert body in text


def test_the_first_thing_on_the_sheet_is_the_three_answers(page: Any):
    header, answers, *_ = page.find_class("scroll")[0]
    assert (header.tag, answers.get("id")) == ("header", "en-answers")
    titles = [item.text_content().split(None, 1)[1] for item in answers.xpath(".//li/h2")]
    assert titles == ["Order and start", "Ice or not", "Topcoats and reopening"]


def test_a_job_in_one_language_has_no_switch():
    plan = sheet_sample.sample_plan(languages=("es",))
    page = html.fromstring(sheet_html(plan))
    assert page.get("lang") == "es"
    assert page.find_class("pick-language") == []
    assert len(page.find_class("sheet")) == 1
    assert "Order and start" not in page.text_content()


def test_ids_are_unique_and_every_reference_lands(page: Any):
    ids = Counter(page.xpath("//@id"))
    assert [name for name, count in ids.items() if count > 1] == []
    wanted = page.xpath("//@aria-labelledby") + page.xpath("//@for")
    wanted += [href.removeprefix("#") for href in page.xpath("//a/@href")]
    assert wanted
    assert set(wanted) <= ids.keys()


def test_the_sheet_asks_the_network_for_nothing(page: Any):
    assert page.xpath("//@src | //link | //iframe | //img | //form | //base") == []
    assert all(href.startswith("#") for href in page.xpath("//@href"))
    policy = page.xpath("//meta[@http-equiv]/@content")[0]
    assert "default-src 'none'" in policy
    style = page.xpath("//style")[0].text
    assert "@import" not in style
    assert "url(" not in style.replace("url(#", "")


def test_the_policy_admits_exactly_the_sheets_own_script_and_style(page: Any):
    policy = page.xpath("//meta[@http-equiv]/@content")[0]
    for text in (page.xpath("//style")[0].text, page.xpath("//script[not(@type)]")[0].text):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy
    assert page.xpath("//@style | //@onclick | //@onload") == []


@pytest.mark.thorough
@pytest.mark.parametrize("name", sheet_sample.HOSTILE)
def test_hostile_names_stay_text(name: str):
    plan = sheet_sample.sample_plan((name, "Corridor"), site=name)
    text = sheet_html(plan)
    page = html.fromstring(text)
    assert len(page.xpath("//script")) == 2
    assert page.xpath("//main//b | //main//script | //header//script") == []
    assert data_of(page)["rooms"][0]["name"]
    assert "\u2028" not in text
    assert "\u202e" not in text
    plain = sheet_html(sheet_sample.sample_plan())
    # Which words of a picture differ by language may change with a name.
    outside = "//*[not(ancestor-or-self::g)]"
    assert len(page.xpath(outside)) == len(html.fromstring(plain).xpath(outside))


@given(st.recursive(st.text(), lambda inner: st.dictionaries(st.text(), inner, max_size=3)))
def test_embedded_json_comes_back_and_never_ends_its_element(value: Any):
    text = embedded_json(value)
    assert json.loads(text) == value
    assert text.isascii()
    assert not set("<>&") & set(text)


def test_instants_for_the_script_are_rounded_to_the_safe_side(page: Any, plan: Plan):
    data = data_of(page)
    names, rows = data["buckets"]["names"], data["buckets"]["rows"]
    bucket, coat = dict(zip(names, rows[0], strict=True)), data["coats"][0]
    assert bucket["wet_end"] <= plan.buckets[0].wet_edge_end.timestamp()
    assert coat["opens"] >= plan.coats[0].opens.timestamp()
    assert dict(zip(names, rows[1], strict=True))["tie"] is None


def test_ticks_of_one_plan_are_not_shown_on_another(plan: Plan):
    other = sheet_sample.sample_plan(("Grill", "Corridor"))
    assert plan_id(plan) == plan_id(sheet_sample.sample_plan())
    assert plan_id(plan) != plan_id(other)


def test_units_follow_the_display():
    us, metric = (
        html.fromstring(sheet_html(sheet_sample.sample_plan(display=display))).text_content()
        for display in ("us", "metric")
    )
    assert "°F" in us
    assert "°C" not in us
    assert "°C" in metric
    assert "°F" not in metric
    assert "gal" not in metric


def test_numbers_are_not_torn_from_their_units(page: Any):
    text = page.text_content()
    for kept in ("Wed 21:00", "5.1 lb", "10.1 lb", "1 min to spare", "89 °F"):
        first, second = kept.split(" ", 1)
        assert f"{first}\u00a0{second}" in text
        assert kept not in text


def test_every_state_is_told_by_shape_and_word_as_well_as_colour(page: Any):
    for marked in page.xpath("//*[contains(@class, 'state-')]"):
        assert set("●◆▲") & set(marked.text_content()), marked.text_content()
        assert len(marked.text_content().strip()) > 1


def test_the_generic_notice_goes_once_the_cards_are_replaced(plan: Plan):
    from dataclasses import replace

    own = tuple(replace(source, generic=False) for source in plan.sources)
    assert "generic material values" in sheet_html(plan)
    assert "generic material values" not in sheet_html(replace(plan, sources=own))


def test_a_plan_without_rooms_still_makes_a_sheet(plan: Plan):
    from dataclasses import replace

    empty = replace(
        plan,
        rooms=(),
        buckets=(),
        coats=(),
        calls=(),
        hours=(),
        chill=replace(plan.chill, rooms=(), iced=False),
        takeoff=replace(plan.takeoff, rooms=()),
    )
    page = html.fromstring(sheet_html(empty))
    assert re.search("No ice is planned", page.text_content())


def test_a_coat_at_the_last_moment_never_reads_as_too_late(plan: Plan):
    # Opens 06:00, laid at 06:10:20, shut at 06:10:50: rounded outwards it would be laid at
    # 06:11 in a window that is shut from 06:10 on.
    coat = replace(
        plan.coats[0],
        opens=datetime(2013, 7, 18, 10, 0, tzinfo=UTC),
        start=datetime(2013, 7, 18, 10, 10, 20, tzinfo=UTC),
        closes=datetime(2013, 7, 18, 10, 10, 50, tzinfo=UTC),
    )
    assert coat.lay_at == datetime(2013, 7, 18, 10, 10, tzinfo=UTC)
    # Nor ever as too early: before the window is open.
    early = replace(coat, opens=coat.start)
    assert early.lay_at == datetime(2013, 7, 18, 10, 11, tzinfo=UTC)
    text = sheet_html(replace(plan, coats=(coat,)))
    assert "06:11" not in text


def test_a_margin_in_minutes_is_all_its_seconds(demo_plan):
    # 4.35 minutes are 261 s, and 260.99999999999994 as a computer multiplies them.
    bucket = replace(demo_plan.buckets[0], margin_min=4.35)
    assert _bucket(bucket, {bucket.room: 0})["margin_s"] == 261
