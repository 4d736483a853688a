"""The plan beside the form in a real Chromium: made, stopped, moved, pinned, compared."""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest

from cureplan.api import read_plan
from cureplan.desk.folder import file_mark
from desk.conftest import Server
from desk.test_form_page import (
    Opener,
    fits_and_is_free_of_faults_of_access,
    is_saved,
    open_page,
    until,
)
from desk.test_plans import JOB, planned

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("hired")]
__all__ = ["open_page", "planned"]


@pytest.fixture
def url(planned: Path, tmp_path: Path, desk_on: Server) -> str:
    folder = tmp_path / "jobs"
    shutil.copytree(planned, folder)
    return f"{desk_on(folder).url}/jobs/{JOB}"


def moved(page: object) -> None:
    """Wait until the chance of what was moved is shown."""
    until(
        page,
        "document.getElementById('play-found').textContent.includes('of nights')"
        " && !document.getElementById('keep-what-if').disabled",
        90,
    )


@pytest.mark.thorough
def test_a_plan_is_moved_by_slider_and_switch_and_kept_beside_others(
    url: str, open_page: Opener, tmp_path: Path
) -> None:
    page = open_page(url)
    moved(page)
    plan = read_plan(tmp_path / "jobs" / f"{JOB}-plan")
    least = min(room.margin_min for room in plan.rooms)
    assert f"{round(least, 1):g} min in hand" in page.inner_text("#play-found")
    page.click("#keep-what-if")
    first = page.locator("#play-found dd").nth(2)
    planned_at = first.inner_text()
    page.fill("#play-minutes", "30")
    page.select_option("#play-stations", "3")
    # The first bucket comes at once, and the chance in its stead of the one that stood there.
    shown = "document.querySelectorAll('#play-found dd')[2].textContent"
    until(page, f"{shown} !== {planned_at!r}", 30)
    moved(page)
    page.click("#keep-what-if")
    # Let go, it is planned anew, and stands beside what was moved.
    until(page, "document.getElementById('anew-found').textContent.includes('of nights')", 60)
    rows = page.locator("#what-ifs tbody tr")
    assert rows.count() == 2
    anew = page.locator("#anew-found dd").all_inner_texts()
    assert anew[2] in rows.nth(1).inner_text()
    page.reload()
    until(page, "document.querySelectorAll('#what-ifs tbody tr').length === 2")
    assert "as planned" in rows.nth(0).inner_text()
    assert "+0 h 30 min; Mixing stations: 3" in rows.nth(1).inner_text()
    # On a phone each stands by itself, nothing to push sideways.
    page.set_viewport_size({"width": 360, "height": 800})
    wide = "[document.getElementById('what-ifs'), document.documentElement]"
    assert page.evaluate(f"{wide}.every((one) => one.scrollWidth <= one.clientWidth)")
    # Moving is a question, not a change: the plan that lies there is the same.
    assert read_plan(tmp_path / "jobs" / f"{JOB}-plan") == plan


@pytest.mark.thorough
def test_news_of_the_weather_come_by_themselves_and_the_plan_alone_is_printed(
    url: str, open_page: Opener, tmp_path: Path
) -> None:
    page = open_page("about:blank")
    page.clock.install()
    page.goto(url)
    news = page.get_by_role("region", name="News of the weather")
    assert page.locator("#plan-part .answer").count() == 3
    # As the desk leaves it when its hour to look has come, with no page asking.
    jobs = tmp_path / "jobs"
    found = {
        "plan": file_mark(jobs / f"{JOB}-plan" / "plan.json"),
        "at": "2013-07-17T00:00:00+00:00",
        "fault": "no weather can be had",
    }
    (jobs / ".cureplan-desk" / f"{JOB}.news.json").write_text(json.dumps(found), "utf-8")
    assert news.count() == 0
    page.clock.fast_forward(31_000)
    news.get_by_text("no weather can be had").wait_for()

    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    seen = (
        "(which) => [...document.querySelectorAll(which)].map((one) => one.checkVisibility())"
    )
    assert set(page.evaluate(seen, ".form, #plan, #play, #plan-part .button")) == {False}
    # What is said with care is on paper too, and whose map it is.
    told = page.evaluate(seen, "#plan-part :is(.answer, .news, .lines li, h3, figure)")
    assert len(told) > 15
    assert all(told)
    titles = page.locator("#plan-part details h3").all_inner_texts()
    assert titles == [room.room for room in read_plan(jobs / f"{JOB}-plan").rooms]
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert page.locator("#plan-part details[open]").count() == 0


@pytest.mark.thorough
def test_a_pour_is_moved_by_the_keys_and_pinned_as_a_line_of_the_job_file(
    url: str, open_page: Opener, tmp_path: Path
) -> None:
    page = open_page(url)
    moved(page)
    bar = page.locator("[data-pour='Dish room']")
    before = page.locator("[data-pour='Dish room']").get_attribute("aria-valuetext")
    bar.focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    until(
        page,
        "document.querySelector(\"[data-pour='Dish room']\").getAttribute('aria-valuetext')"
        f" !== {before!r} && document.activeElement.dataset.pour === 'Dish room'",
        60,
    )
    moved(page)
    page.get_by_role("button", name="Hold Dish room until").click()
    is_saved(page)
    job = tomllib.loads((tmp_path / "jobs" / f"{JOB}.toml").read_text("utf-8"))
    plan = read_plan(tmp_path / "jobs" / f"{JOB}-plan")
    planned_at = next(r.pour_start for r in plan.rooms if r.room == "Dish room")
    later = job["rooms"][0]["not_before"] - planned_at.replace(tzinfo=None)
    assert "plan stays until you plan anew" in page.inner_text("#plan-part")
    # Half an hour later, to the full minute.
    assert 29 * 60 <= later.total_seconds() <= 30 * 60
    assert page.locator("#faults-part").is_hidden()


@pytest.mark.thorough
def test_a_pour_and_a_coat_are_dragged_and_the_coat_pinned(
    url: str, open_page: Opener, tmp_path: Path
) -> None:
    page = open_page(url)
    moved(page)

    def drag(key: str, by: int) -> tuple[float, float]:
        """Where its bar was, and where it comes to rest."""
        bar = page.locator(f"[data-pour='{key}']")
        # The bars are drawn anew when an answer comes: none is waited for to stand still.
        bar.evaluate("node => node.scrollIntoView({ block: 'center' })")
        before, at = float(bar.get_attribute("x")), bar.bounding_box()
        x, y = at["x"] + at["width"] / 2, at["y"] + at["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + by, y, steps=5)
        page.mouse.up()
        drawn = f"document.querySelector(\"[data-pour='{key}'][aria-valuenow]\")"
        until(page, f"{drawn}.getAttribute('aria-valuenow') !== '0'", 30)
        moved(page)
        return before, float(bar.get_attribute("x"))

    before, after = drag("Corridor", 30)
    assert after > before + 10
    assert page.get_by_role("button", name="Hold Corridor until").is_visible()
    before, after = drag("Dish room|1", 12)
    assert after > before + 3
    page.click("#keep-what-if")
    assert "Dish room, topcoat 1 +" in page.locator("#what-ifs tbody tr").inner_text()
    shown = page.locator("[data-pour='Dish room|1']").get_attribute("aria-valuetext")
    page.get_by_role("button", name="Hold topcoat 1 of Dish room until").click()
    is_saved(page)
    held = tomllib.loads((tmp_path / "jobs" / f"{JOB}.toml").read_text("utf-8"))["rooms"][0]
    assert f"from {held['topcoat_1_not_before']:%H:%M}" in shown
    assert "not_before" not in held


@pytest.mark.thorough
def test_a_plan_made_anew_begins_unmoved(url: str, open_page: Opener) -> None:
    page = open_page(url)
    moved(page)
    bar = page.locator("[data-pour='Dish room']")
    bar.focus()
    page.keyboard.press("ArrowRight")
    page.select_option("#play-bays", "2")
    moved(page)
    # The plan is made at once, and is the one that lies there.
    ended = {"running": False, "number": 7, "job": JOB, "what": "plan", "plan": {}}
    page.route("**/planning", lambda route: route.fulfill(json=ended))

    def begun(route: Any) -> None:
        if route.request.method == "POST":
            route.fulfill(json={"number": 7})
        else:
            route.continue_()

    page.route(f"**/jobs/{JOB}/plan", begun)
    page.click("#plan")
    still = "document.querySelector(\"[data-pour='Dish room']\").getAttribute('aria-valuenow')"
    until(page, f"{still} === '0' && document.getElementById('play-bays').value === ''")
    assert page.locator("#pins button").count() == 0


def test_a_planned_job_fits_and_is_free_of_faults_of_access(
    url: str, open_page: Opener
) -> None:
    page = open_page(url)
    moved(page)
    page.click("#keep-what-if")
    fits_and_is_free_of_faults_of_access(page)
