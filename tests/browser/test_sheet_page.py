"""The sheet as a page: sizes, languages, print, scripts off, reading aids, hostile names."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from chromium import DESKTOP, PHONE, axe
from output import sheet_sample
from output.sheet_sample import after

from browser.conftest import Opener
from cureplan.output.charts.palette import LIGHT
from cureplan.output.sheet.page import sheet_html
from cureplan.planning.plan.model import Plan

pytestmark = pytest.mark.browser

SMALLEST_TARGET_PX = 24  # WCAG 2.2, success criterion 2.5.8 (from memory)


@pytest.mark.parametrize(
    ("size", "scheme"), [(PHONE, "light"), (DESKTOP, "dark")], ids=["phone", "desktop"]
)
def test_the_page_fits_its_window_and_opens_on_the_answers(open_sheet: Opener, size, scheme):
    # A good while before the first ice; later it opens on what is to be done.
    sheet = open_sheet(at=after(-400), size=size, color_scheme=scheme)
    wide = sheet.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= size["width"]
    for headline in ("Cook line first, Wed 21:00", "Ice 4 kits: in the ice by Wed 15:30"):
        box = sheet.page.locator("#sheet-en").get_by_text(headline).first.bounding_box()
        assert box["y"] + box["height"] <= size["height"] - 50


@pytest.mark.thorough
def test_dark_and_light_differ(open_sheet: Opener):
    grounds = {
        open_sheet(color_scheme=scheme).page.evaluate(
            "getComputedStyle(document.body).backgroundColor"
        )
        for scheme in ("light", "dark")
    }
    assert len(grounds) == 2


@pytest.mark.thorough
def test_whatever_is_tapped_is_large_enough(open_sheet: Opener):
    sheet = open_sheet(at=after(5))
    sheet.row(0).locator("[data-tick]").check()
    for part in (".report", ".log-part"):
        sheet.page.locator(f"#sheet-en {part} summary").click()
    small = sheet.page.evaluate(
        """least => [...document.querySelectorAll(
             "#sheet-en button, #sheet-en .field, #sheet-en .tick, #sheet-en .role, "
             + "#sheet-en .languages label, #sheet-en .bar a, #sheet-en summary")]
           .filter(node => node.offsetParent !== null)
           .map(node => [node.textContent, node.getBoundingClientRect()])
           .filter(([, box]) => box.width && (box.width < least || box.height < least))
           .map(([text, box]) => text + " " + box.width + " x " + box.height)""",
        SMALLEST_TARGET_PX,
    )
    assert small == []


def test_the_language_can_be_switched_by_tap_and_by_key(open_sheet: Opener):
    sheet = open_sheet(at=after(5))
    page = sheet.page
    page.locator("#sheet-en .languages").get_by_text("Español").click()
    assert page.locator("#sheet-es").is_visible()
    assert not page.locator("#sheet-en").is_visible()
    assert page.evaluate("document.documentElement.lang") == "es"
    assert "Orden y arranque" in page.locator("body").inner_text()
    page.reload()
    assert page.locator("#sheet-es").is_visible()
    page.locator("#pick-es").focus()
    page.keyboard.press("ArrowLeft")
    assert page.locator("#sheet-en").is_visible()


def test_the_live_part_speaks_the_chosen_language(open_sheet: Opener):
    sheet = open_sheet(at=after(5))
    sheet.page.locator("#sheet-en .languages").get_by_text("Español").click()
    panel = sheet.page.locator("#sheet-es .live").inner_text()
    assert "Cook line, cubeta 1" in panel
    assert sheet.page.locator("#sheet-es .clock").inner_text() == (
        "mié 21:05:00 hora de la obra"
    )
    assert not re.search(r"\b(in|left|Next|bucket|Poured)\b", panel)


def test_with_scripts_off_it_is_a_plain_sheet(open_sheet: Opener):
    sheet = open_sheet(java_script_enabled=False)
    page = sheet.page
    text = page.locator("#sheet-en").inner_text().replace("\u00a0", " ")
    for part in ("Cook line first, Wed 21:00", "21:06", "Topcoat 1", "Silica dust", "5.1 lb"):
        assert part in text
    assert "The live clock and the ticks need scripts" in text
    page.locator("#sheet-en").get_by_label("Runner", exact=True).check()
    assert page.locator("#en-room-0 td:nth-child(4):visible").count() == 2
    assert page.locator("#en-room-0 td:nth-child(6):visible").count() == 0
    page.locator("#sheet-en .languages").get_by_text("Español").click()
    assert "Primero Cook line" in page.locator("#sheet-es").inner_text()
    assert not page.locator("#sheet-en").is_visible()


@pytest.mark.thorough
def test_everything_can_be_reached_by_key(open_sheet: Opener):
    sheet = open_sheet(at=after(5), size=DESKTOP)
    page = sheet.page
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate(
                """() => { const on = document.activeElement;
                return on.dataset.do || (on.dataset.tick && "tick")
                  || (on.dataset.role && "role") || (on.dataset.short && "short")
                  || (on.name === "language" && "language") || on.tagName; }"""
            )
        )
    assert {"language", "role", "more", "more5", "less", "tick", "short", "A"} <= reached


def test_focus_can_be_seen(open_sheet: Opener):
    page = open_sheet(at=after(5)).page
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    outline = page.evaluate(
        """() => { const on = document.activeElement;
        return getComputedStyle(on.nextElementSibling || on).outlineStyle
          + getComputedStyle(on).outlineStyle; }"""
    )
    assert "solid" in outline


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("paper", "points"),
    # Letter is 8.5 by 11 in, A4 210 by 297 mm (ISO 216), at 72 points to the inch.
    [("Letter", (612, 792)), ("A4", (595, 842))],
)
def test_it_prints_on_the_paper_at_hand(open_sheet: Opener, paper: str, points):
    sheet = open_sheet(at=after(5), size=DESKTOP, color_scheme="dark")
    document = sheet.page.pdf(format=paper)
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", document)
    assert boxes
    assert {(round(float(w)), round(float(h))) for w, h in boxes} <= {
        (points[0] + dx, points[1] + dy) for dx in (-1, 0, 1) for dy in (-1, 0, 1)
    }
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", document)) <= 6


@pytest.mark.thorough
def test_the_demo_takes_six_pages_of_letter_paper(
    open_sheet: Opener, demo_plan: Plan, tmp_path: Path
):
    # Asked: at most six pages, in a file of less than 350 kB.
    file = tmp_path / "demo.html"
    file.write_text(sheet_html(demo_plan), encoding="utf-8")
    assert file.stat().st_size < 350_000
    sheet = open_sheet(file=file, at=demo_plan.buckets[0].liquids_in, size=DESKTOP)
    document = sheet.page.pdf(format="Letter")
    assert len(re.findall(rb"/Type\s*/Page\b", document)) <= 6
    # A head, and so the room's name in it, is repeated where a table goes over a page.
    sheet.page.emulate_media(media="print")
    rooms = [room.room for room in sorted(demo_plan.rooms, key=lambda room: room.order)]
    shown = sheet.page.locator("#sheet-en .buckets thead .only-print:visible")
    assert shown.all_inner_texts() == rooms


def test_print_is_light_and_leaves_the_buttons_out(open_sheet: Opener):
    page = open_sheet(at=after(5), size=DESKTOP, color_scheme="dark").page
    page.emulate_media(media="print")
    style = page.evaluate(
        "(({backgroundColor, color}) => [backgroundColor, color])"
        "(getComputedStyle(document.body))"
    )
    ink = tuple(int(LIGHT["ink"][place : place + 2], 16) for place in (1, 3, 5))
    assert style == ["rgb(255, 255, 255)", f"rgb{ink}"]
    for hidden in (".bar", ".live", ".short-mark", ".languages"):
        assert page.locator(f"#sheet-en {hidden}:visible").count() == 0
    assert page.locator("#en-room-0 td[data-task='tie']:visible").count() == 2
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= DESKTOP["width"]


@pytest.mark.thorough
@pytest.mark.parametrize(
    "names", list(zip(sheet_sample.HOSTILE[::2], sheet_sample.HOSTILE[1::2], strict=True))
)
def test_hostile_names_run_nothing_and_break_no_layout(open_sheet: Opener, names):
    # A dialog, a script error or a request would fail in `open_sheet`.
    sheet = open_sheet(sheet_sample.sample_plan(names, site=names[0]), at=after(5))
    sheet.press("5 min more")
    assert sheet.page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert sheet.page.locator("#sheet-en .in-hand:not(.task)").count() == 2
    assert sheet.page.locator("#sheet-en b").count() == 0


@pytest.mark.parametrize(
    ("size", "language", "scheme", "forced"),
    [
        (PHONE, "en", "light", "none"),
        pytest.param(DESKTOP, "es", "dark", "none", marks=pytest.mark.thorough),
        pytest.param(PHONE, "en", "dark", "active", marks=pytest.mark.thorough),
    ],
    ids=["phone en light", "desktop es dark", "phone en forced colours"],
)
def test_the_accessibility_engine_finds_nothing(
    open_sheet: Opener, size, language, scheme, forced
):
    sheet = open_sheet(
        at=after(9), size=size, color_scheme=scheme, forced_colors=forced, bypass_csp=True
    )
    sheet.row(0).locator("[data-tick]").check()
    sheet.press("5 min more")
    for part in (".report", ".log-part"):
        sheet.page.locator(f"#sheet-{language} {part}").evaluate("part => part.open = true")
    if language == "es":
        sheet.page.locator("#sheet-en .languages").get_by_text("Español").click()
    # The engine waits on timers, which stand still under the installed clock.
    sheet.page.clock.resume()
    found = axe().run(sheet.page)
    faults = [
        f"{fault['id']}: {node['html']}: {node['failureSummary']}"
        for fault in found.response["violations"]
        for node in fault["nodes"]
    ]
    assert faults == []


@pytest.mark.parametrize("media", ["screen", "print"])
def test_the_lists_to_tick_before_a_pour_name_their_rooms(open_sheet: Opener, media: str):
    sheet = open_sheet(at=after(-400), size=DESKTOP)
    sheet.page.emulate_media(media=media)
    names = sheet.page.locator("#sheet-en .ready summary:visible").all_inner_texts()
    assert names == ["Cook line", "Corridor"]


def test_no_time_lies_over_a_name_on_a_phone(open_sheet: Opener):
    # With AM and PM a time is as wide as can be: late on Wednesday.
    plan = sheet_sample.sample_plan()
    job = replace(plan.job, display="us", clock="12 h")
    sheet = open_sheet(replace(plan, job=job), size={"width": 360, "height": 740})
    over = sheet.page.evaluate(
        """() => [...document.querySelectorAll("#sheet-en .calls li, #sheet-en .room-rows li")]
        .flatMap((line) => [...line.children].map((a, n, all) => [a, all[n + 1]]).slice(0, -1))
        .map((pair) => pair.map((node) => {
          const text = document.createRange();
          text.selectNodeContents(node);
          return text.getBoundingClientRect();
        }))
        .filter(([a, b]) => a.right > b.left + 0.5)
        .filter(([a, b]) => a.bottom > b.top + 0.5 && a.top < b.bottom)
        .length"""
    )
    assert over == 0
    # Nor is a bucket's last button to be looked for beyond the edge.
    wide = """() => [...document.querySelectorAll("#sheet-en .buckets-of")]
        .map((table) => table.scrollWidth - table.clientWidth)"""
    assert max(sheet.page.evaluate(wide)) <= 0
