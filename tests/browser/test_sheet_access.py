"""The sheet for tired eyes: contrast as drawn, zoom, motion, and where the focus is."""

from __future__ import annotations

from typing import Any

import pytest
from chromium import PHONE
from output.sheet_sample import after

from browser.conftest import Opener

pytestmark = pytest.mark.browser

# Of every text as drawn: its colour, its size, and all that lies under it from the ground up.
# A text in a picture is tried at its middle and near its ends, as shapes end anywhere.
AS_DRAWN = """() => {
  const solid = (colour) => colour && colour !== "none" && !colour.startsWith("url")
    && colour !== "rgba(0, 0, 0, 0)";
  const paints = (node) => {
    const style = getComputedStyle(node);
    const shape = node.tagName === "path";
    const drawn = solid(style.fill) ? style.fill : style.stroke;
    const fill = shape ? drawn : style.backgroundColor;
    return solid(fill) ? [[fill, shape ? Number(style.opacity) : 1]] : [];
  };
  const found = [];
  const add = (node, text, box, x) => {
    const under = document.elementsFromPoint(x, box.top + box.height / 2)
      .filter((other) => other !== node && !other.closest(".bar") && other.tagName !== "text");
    const style = getComputedStyle(node);
    const ground = [...paints(node), ...under.filter((other) => !node.contains(other))
      .flatMap(paints)].reverse();
    found.push({ text, ground, colour: node.tagName === "text" ? style.fill : style.color,
      size: parseFloat(style.fontSize), bold: Number(style.fontWeight) >= 700 });
  };
  const own = (node) => [...node.childNodes]
    .filter((child) => child.nodeType === 3).map((child) => child.data.trim()).join(" ").trim();
  for (const node of document.querySelectorAll(".sheet:not([hidden]) *")) {
    if (!own(node) || !node.checkVisibility({ visibilityProperty: true })) continue;
    if (node.closest(".unseen") || node.closest(".bar")) continue;
    node.scrollIntoView({ block: "center", inline: "center", behavior: "instant" });
    const box = [...node.getClientRects()][0];
    if (!box || box.width < 1) continue;
    const places = node.tagName === "text" ? [0.05, 0.5, 0.95] : [0.5];
    for (const place of places) add(node, own(node), box, box.left + place * box.width);
  }
  return found;
}"""


def rgb(colour: str) -> tuple[float, ...]:
    parts = colour[colour.index("(") + 1 : -1].replace("/", ",").split(",")
    return tuple(float(part) for part in parts)


def blended(ground: list[tuple[str, float]]) -> tuple[float, ...]:
    below: tuple[float, ...] = (255.0, 255.0, 255.0)
    for colour, opacity in ground:
        red, green, blue, *alpha = rgb(colour)
        share = opacity * (alpha[0] if alpha else 1.0)
        pairs = zip((red, green, blue), below, strict=True)
        below = tuple(share * over + (1 - share) * under for over, under in pairs)
    return below


def luminance(colour: tuple[float, ...]) -> float:
    # Published: WCAG 2.2, relative luminance (from memory). Worked apart from the palette's.
    linear = [
        part / 255 / 12.92 if part / 255 <= 0.04045 else ((part / 255 + 0.055) / 1.055) ** 2.4
        for part in colour[:3]
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: tuple[float, ...], second: tuple[float, ...]) -> float:
    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


def least_wanted(drawn: dict[str, Any]) -> float:
    # Published: WCAG 2.2, 1.4.3: 4.5 to 1, or 3 to 1 from 24 px, bold from 18.66 px on
    # (from memory).
    large = drawn["size"] >= 24 or (drawn["bold"] and drawn["size"] >= 18.66)
    return 3.0 if large else 4.5


@pytest.mark.thorough
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_as_drawn_stands_out_also_in_the_pictures(open_sheet: Opener, scheme: str):
    sheet = open_sheet(at=after(9), color_scheme=scheme)
    sheet.row(0).locator("[data-tick]").check()
    sheet.press("5 min more")
    sheet.page.evaluate(
        "for (const part of document.querySelectorAll('details')) part.open = true"
    )
    drawn = sheet.page.evaluate(AS_DRAWN)
    assert len(drawn) > 300
    weak = [
        (one["text"][:40], round(ratio, 2))
        for one in drawn
        if (ratio := contrast(rgb(one["colour"]), blended(one["ground"]))) < least_wanted(one)
    ]
    assert weak == []


CUT = """() => {
  const wide = document.documentElement.clientWidth;
  // Tables and the row of roles scroll by themselves; whatever is drawn is scaled.
  const free = (node) => !node.closest("svg, .wide, .roles, .unseen, .pick-language");
  return [...document.querySelectorAll("#sheet-en *")].filter(free)
    .filter((node) => node.checkVisibility()).filter((node) => {
      const box = node.getBoundingClientRect();
      const hides = getComputedStyle(node).overflowX !== "visible";
      return box.width && (box.right > wide + 1 || box.left < -1
        || (hides && node.scrollWidth > node.clientWidth + 1));
    }).map((node) => node.className + ": " + node.textContent.trim().slice(0, 40));
}"""


@pytest.mark.thorough
@pytest.mark.parametrize("how", ["page", "text"])
@pytest.mark.parametrize("language", ["en", "es"])
def test_at_twice_the_size_a_phone_cuts_nothing(open_sheet: Opener, how: str, language: str):
    # Published: WCAG 2.2, 1.4.4: text up to 200 % without loss (from memory). A page zoomed
    # to 200 % has half the width to stand on.
    half = {"width": PHONE["width"] // 2, "height": PHONE["height"] // 2}
    sheet = open_sheet(at=after(9), size=half if how == "page" else PHONE)
    if how == "text":
        sheet.page.evaluate("document.documentElement.style.fontSize = '200%'")
    if language == "es":
        sheet.page.locator("#sheet-en .languages").get_by_text("Español").click()
    sheet.page.evaluate(
        "for (const part of document.querySelectorAll('details')) part.open = true"
    )
    assert sheet.page.evaluate(CUT.replace("sheet-en", f"sheet-{language}")) == []
    wide = sheet.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= sheet.page.evaluate("document.documentElement.clientWidth")


@pytest.mark.thorough
def test_nothing_moves_for_those_who_ask_for_rest(open_sheet: Opener):
    sheet = open_sheet(at=after(9), reduced_motion="reduce")
    moving = sheet.page.evaluate(
        """() => [...document.querySelectorAll("*")].filter((node) => {
          const style = getComputedStyle(node);
          return style.animationName !== "none" || style.scrollBehavior === "smooth"
            || style.transitionDuration.split(", ").some((time) => parseFloat(time) > 0);
        }).length"""
    )
    assert moving == 0
    assert sheet.page.evaluate("document.getAnimations().length") == 0


FOCUS = """() => {
  const on = document.activeElement;
  // Hidden boxes and buttons show it on what stands for them.
  const shows = [on, on.nextElementSibling, document.querySelector(".for-" + on.value)]
    .filter((node) => node && getComputedStyle(node).outlineStyle === "solid"
      && parseFloat(getComputedStyle(node).outlineWidth) >= 2);
  const bar = [...document.querySelectorAll(".bar")].find((node) => node.checkVisibility());
  const at = (shows[0] || on).getBoundingClientRect();
  const under = !on.closest(".bar") && at.bottom > bar.getBoundingClientRect().top + 1;
  const style = shows[0] && getComputedStyle(shows[0]);
  return { name: on.outerHTML.slice(0, 80), end: on === document.body,
    shown: shows.length > 0, under, colour: style && style.outlineColor };
}"""


@pytest.mark.thorough
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_focus_is_seen_wherever_it_is_and_never_under_the_bar(
    open_sheet: Opener, scheme: str
):
    # Published: WCAG 2.2, 2.4.7 and 2.4.11, and 3 to 1 after 1.4.11 (from memory).
    page = open_sheet(at=after(9), color_scheme=scheme).page
    ground = rgb(page.evaluate("getComputedStyle(document.body).backgroundColor"))
    seen = 0
    for _ in range(120):
        page.keyboard.press("Tab")
        focus = page.evaluate(FOCUS)
        if focus["end"]:
            break
        seen += 1
        assert focus["shown"], focus["name"]
        assert not focus["under"], focus["name"]
        assert contrast(rgb(focus["colour"]), ground) >= 3, focus["name"]
    assert seen > 20
