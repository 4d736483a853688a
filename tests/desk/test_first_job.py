"""Somebody who has never seen TOML gets from an empty folder to a sheet, by the page alone."""

from __future__ import annotations

import time
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from cureplan.api import read_plan
from desk.conftest import DEMO, Server
from desk.test_form_page import Opener, is_saved, leave, open_page, until

pytestmark = [pytest.mark.thorough, pytest.mark.browser, pytest.mark.usefixtures("hired")]
__all__ = ["open_page"]

# Two days before the night of the weather that is dropped.
NOW = datetime(2013, 7, 15, 12, tzinfo=UTC)
MOST_S = 240
"""For the plan itself on a machine that does much else."""


def test_from_an_empty_folder_to_the_sheet_of_an_l_shaped_kitchen(
    desk_on: Server, tmp_path: Path, open_page: Opener, record_property: Any
) -> None:
    served = desk_on(tmp_path, now=NOW)
    steps: dict[str, float] = {}
    began = time.monotonic()

    def step(name: str) -> None:
        steps[name] = round(time.monotonic() - began, 1)
        record_property(name, steps[name])

    page = open_page(served.url)
    assert "No job lies in this folder yet" in page.inner_text("main")
    page.get_by_label("A new job").fill("Corner cafe")
    page.get_by_role("button", name="Begin").click()
    page.wait_for_selector("#job")
    step("a job is begun")

    # Where and when.
    leave(page, "#f-site-name", "Corner cafe")
    leave(page, "#town", "Queens, New York")
    page.locator("#towns button").first.click()
    is_saved(page)
    assert page.input_value("#f-site-time_zone") == "America/New_York"
    assert "without their height" in page.inner_text(".field[data-key='site.elevation']")
    leave(page, "#f-site-elevation", "5 m")
    is_saved(page)
    assert "without" not in page.inner_text(".field[data-key='site.elevation']")
    page.fill("#f-access-from", "2013-07-17T19:00")
    page.dispatch_event("#f-access-from", "change")
    page.fill("#f-access-open_by", "2013-07-20T06:00")
    page.dispatch_event("#f-access-open_by", "change")
    is_saved(page)
    # What can be had on such a night: nearly all of the search is for more than that.
    leave(page, "#f-policy-confidence", "50 %")
    is_saved(page)
    step("where, when and how surely")

    # An L: 18 ft along the back wall, 14 ft down, 8 ft in, 10 ft down.
    room = page.locator("article[data-room='1']")
    room.get_by_role("button", name="L-shape").click()
    for side, text in (("A", "18 ft"), ("B", "14 ft"), ("C", "8 ft"), ("D", "10 ft")):
        field = room.get_by_label(f"Side {side}", exact=True)
        field.fill(text)
        field.press("Tab")
        is_saved(page)
    step("the L is drawn")

    data = (DEMO / "heat-wave.csv").read_bytes()
    page.set_input_files(
        "#drop-file", files=[{"name": "july.csv", "mimeType": "text/csv", "buffer": data}]
    )
    until(page, "document.getElementById('hours').textContent.includes('hours:')")
    assert page.locator("#faults-part").is_hidden()
    step("the weather is dropped")

    page.click("#plan")
    until(page, "document.querySelector('#plan-part .answers') !== null", MOST_S)
    step("planned")
    assert page.locator("#plan-part .answer").count() == 3

    with page.context.expect_page() as opened:
        page.get_by_role("link", name="Open the sheet").click()
    sheet = opened.value
    sheet.wait_for_selector("#sheet-en")
    assert "Corner cafe" in sheet.inner_text("#sheet-en")
    printed = sheet.pdf()
    assert printed.startswith(b"%PDF")
    step("the sheet is open and prints")
    print(steps)

    # What was drawn is what was planned: 18 x 14 and 10 x 10 ft, in square metres.
    plan = read_plan(tmp_path / "Corner cafe-plan")
    assert plan.rooms[0].area_m2 == pytest.approx((18 * 14 + 10 * 10) * 0.3048**2, rel=1e-3)
    written = tomllib.loads((tmp_path / "Corner cafe.toml").read_text("utf-8"))
    assert written["rooms"][0]["outline"] == [
        ["0 in", "0 in"], ["18 ft", "0 in"], ["18 ft", "14 ft"],
        ["10 ft", "14 ft"], ["10 ft", "24 ft"], ["0 in", "24 ft"],
    ]  # fmt: skip
