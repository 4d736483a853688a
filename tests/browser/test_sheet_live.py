"""The live part of the sheet: clock, ticks, lateness, marks, roles."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from chromium import DESKTOP
from output import sheet_sample
from output.sheet_sample import after

from browser.conftest import Opener

pytestmark = pytest.mark.browser

# By hand, from the sample: bucket 1 of the Cook line has its filler in at 2.5 min, is
# poured at 6.5, smoothed by 10.9, tied in by 10, has its stone by 17; its clocks end at
# 14 (wet edge), 15.5 (working time) and 19.6 min (stone). Bucket 2 follows 3.5 min later.


def card(sheet, language: str, bucket: str):
    return sheet.page.locator(f"#sheet-{language} .in-hand", has_text=bucket)


def test_the_clock_is_the_sites_wherever_the_phone_thinks_it_is(open_sheet: Opener):
    sheet = open_sheet(at=after(9), timezone_id="Asia/Tokyo")
    assert sheet.page.locator("#sheet-en .clock").inner_text() == "Wed 21:09:00 site time"
    sheet.wait(1.5)
    assert sheet.page.locator("#sheet-en .clock").inner_text() == "Wed 21:10:30 site time"


@pytest.mark.thorough
def test_minutes_left_on_each_clock_are_rounded_down(open_sheet: Opener):
    sheet = open_sheet(at=after(9.2))
    shown = card(sheet, "en", "Cook line, bucket 1").locator(".meters li").all_inner_texts()
    assert [" ".join(text.split()) for text in shown] == [
        "Wet edge 4 min left",
        "Working time 6 min left",
        "Quartz beds 10 min left",
    ]
    sheet.wait(6)
    shown = card(sheet, "en", "Cook line, bucket 1").locator(".meter-left").all_inner_texts()
    assert shown == ["▲ over by 2 min", "◆ 0 min left", "4 min left"]


def test_each_bucket_says_what_is_due(open_sheet: Opener):
    sheet = open_sheet(at=after(5))
    assert "Pour 21:06, in 1:30" in card(sheet, "en", "Cook line, bucket 1").inner_text()
    second = card(sheet, "en", "Cook line, bucket 2").inner_text()
    assert "In the mixer" in second
    assert "Filler in 21:06, in 1:00" in second
    assert "station 2, iced" in second


def test_next_lists_what_comes_with_its_waiting_time(open_sheet: Opener):
    sheet = open_sheet(at=after(-180))
    lines = sheet.page.locator("#sheet-en .events").last.locator("li").all_inner_texts()
    assert " ".join(lines[0].split()) == "20:15 Crew there: Cook line in 2 h 15 min"
    assert len(lines) == 5


def test_a_coat_on_the_floor_is_in_hand_until_it_is_laid(open_sheet: Opener):
    # Laid from 560 to 595 min after 21:00, so from 06:20 to 06:55.
    sheet = open_sheet(at=after(570))
    task = sheet.page.locator("#sheet-en .task", has_text="Topcoat 1: Cook line")
    assert "until 06:55" in task.inner_text()
    sheet.wait(26)
    assert "until 06:55" not in sheet.page.locator("#sheet-en .live").inner_text()


def test_what_is_still_in_the_mixer_cannot_be_ticked_as_poured(open_sheet: Opener):
    sheet = open_sheet(at=after(2))
    first = card(sheet, "en", "Cook line, bucket 1")
    assert first.locator("[data-pour]").is_hidden()
    # The filler went in at 2.5 min, but it is poured at 6.5 only.
    sheet.wait(2)
    assert "In the mixer" in first.inner_text()
    assert first.locator("[data-pour]").is_visible()
    sheet.wait(2)
    assert "In the pail: pour it" in first.inner_text()


def test_the_hour_that_comes_twice_is_told_apart(open_sheet: Opener):
    # Clocks in New York went back at 06:00 UTC on 3 November 2013. First liquids 01:20.
    by = datetime(2013, 11, 3, 5, 20, tzinfo=UTC) - after(0)
    sheet = open_sheet(sheet_sample.moved(sheet_sample.sample_plan(), by), at=after(1) + by)
    assert sheet.row(0).locator("[data-task='filler']").inner_text() == "01:22 EDT"
    # Rooms are an hour apart: the clock shows the same time again.
    assert sheet.row(2).locator("[data-task='filler']").inner_text() == "01:22 EST"
    assert (
        "Filler in 01:22 EDT, in 1:30" in card(sheet, "en", "Cook line, bucket 1").inner_text()
    )
    assert "in 59:00" not in sheet.page.locator("#sheet-en .live").inner_text()
    assert "01:20 EST" in sheet.page.locator("#sheet-en .events").last.inner_text()


def test_after_the_last_time_the_sheet_says_so(open_sheet: Opener):
    sheet = open_sheet(at=after(60 * 24 * 400))
    assert "lies behind us" in sheet.page.locator("#sheet-en .live").inner_text()


def test_a_tick_survives_a_reload_and_shows_in_both_languages(open_sheet: Opener):
    sheet = open_sheet(at=after(7))
    sheet.row(0).locator("[data-tick]").check()
    sheet.page.reload()
    assert sheet.row(0).locator("[data-tick]").is_checked()
    assert sheet.row(0, "es").locator("[data-tick]").is_checked()
    assert not sheet.row(1).locator("[data-tick]").is_checked()
    sheet.row(0).locator("[data-tick]").uncheck()
    sheet.page.reload()
    assert not sheet.row(0).locator("[data-tick]").is_checked()


@pytest.mark.thorough
def test_ticks_of_one_plan_stay_off_another(open_sheet: Opener):
    first = open_sheet(at=after(7))
    first.row(0).locator("[data-tick]").check()
    other = open_sheet(sheet_sample.sample_plan(("Grill", "Corridor")), at=after(7))
    assert not other.row(0).locator("[data-tick]").is_checked()


def test_late_after_the_filler_is_in_costs_that_bucket_its_margin(open_sheet: Opener):
    sheet = open_sheet(at=after(5))
    assert (sheet.margin(0), sheet.margin(1)) == ("● 2", "◆ 1")
    sheet.press("5 min more")
    # 2.6 - 5 = -2.4 for what is mixed; what is not yet mixed only moves.
    assert (sheet.margin(0), sheet.margin(1)) == ("▲ -3", "◆ 1")
    effects = sheet.page.locator("#sheet-en .effects").inner_text()
    assert "▲ Cook line, bucket 1: 3 min short" in effects
    assert "bucket 2" not in effects
    assert sheet.row(1).locator("[data-task='pour']").inner_text() == "21:15"
    assert sheet.row(0).locator("[data-task='filler']").inner_text() == "21:02"
    # Mixed material is never held: it keeps its time, and so does what follows from it.
    assert sheet.row(0).locator("[data-task='pour']").inner_text() == "21:06"
    assert sheet.row(0).locator("[data-task='smooth']").inner_text() == "21:10"
    assert sheet.row(0).locator("[data-task='tie']").inner_text() == "21:15"


def test_lateness_is_kept_over_a_reload_and_can_be_taken_back(open_sheet: Opener):
    sheet = open_sheet(at=after(5))
    sheet.press("5 min more")
    sheet.press("1 min less")
    sheet.page.reload()
    assert sheet.page.locator("#sheet-en .late-text").inner_text() == "4 min late"
    assert sheet.margin(0) == "▲ -2"
    sheet.press("Back to plan")
    assert sheet.margin(0) == "● 2"
    assert sheet.page.locator("#sheet-en .effects li").count() == 0


def test_late_before_anything_is_mixed_costs_no_bucket_and_moves_the_coats(open_sheet: Opener):
    sheet = open_sheet(at=after(-30))
    for _ in range(7):
        sheet.press("5 min more")
    effects = sheet.page.locator("#sheet-en .effects").inner_text()
    assert "No bucket loses its margin" in effects
    # The window opens 20.5 min before the coat; 35 min late moves it by 14.5.
    assert "Topcoat 1, Cook line: not before Thu 06:35" in effects
    assert "make the plan again" in effects


def test_a_coat_that_can_no_longer_meet_its_window_is_named(open_sheet: Opener):
    sheet = open_sheet(at=after(64))
    for _ in range(5):
        sheet.press("5 min more")
    effects = sheet.page.locator("#sheet-en .effects").inner_text()
    assert "Corridor, bucket 1" in effects
    # Bucket 2 of the corridor was not mixed: its floor opens 25 min later, the coat waits.
    assert "Topcoat 1, Corridor: not before Thu 07:25" in effects


def test_a_late_tick_offers_to_say_so(open_sheet: Opener):
    sheet = open_sheet(at=after(10.2))
    sheet.row(0).locator("[data-tick]").check()
    behind = sheet.page.locator("#sheet-en .behind:visible")
    assert "4 min behind" in behind.inner_text()
    behind.get_by_role("button").click()
    assert sheet.page.locator("#sheet-en .late-text").inner_text() == "4 min late"
    assert not behind.is_visible()


def test_a_short_bucket_is_marked_and_saved_in_the_log(open_sheet: Opener):
    sheet = open_sheet(at=after(7))
    sheet.row(0).locator("[data-tick]").check()
    sheet.row(1).locator("[data-short]").click()
    sheet.page.reload()
    assert sheet.row(1).locator("[data-short]").get_attribute("aria-pressed") == "true"
    with sheet.page.expect_download() as saved:
        sheet.press("Save the log")
    log = Path(saved.value.path()).read_text(encoding="utf-8").splitlines()
    # A bucket that was never ticked as poured is left out by a "#".
    assert log[1:] == [
        "at,event,room,bucket,value,note",
        "2013-07-17T21:07:00-04:00,poured,Cook line,1,,",
        "# not poured: 2013-07-17T21:07:00-04:00,ran short,Cook line,2,,",
    ]


def test_ticks_are_cleared_by_a_held_press_and_can_be_had_back(open_sheet: Opener):
    sheet = open_sheet(at=after(7))
    tick = sheet.row(0).locator("[data-tick]")
    tick.check()
    clear = sheet.page.locator("#sheet-en [data-hold]")
    clear.scroll_into_view_if_needed()
    clear.click()
    sheet.wait(0.1)
    assert tick.is_checked()
    clear.hover()
    sheet.page.mouse.down()
    sheet.wait(0.02)
    sheet.page.mouse.up()
    assert not tick.is_checked()
    sheet.press("Undo the last tap")
    assert tick.is_checked()


@pytest.mark.thorough
def test_a_role_sees_its_own_tasks_and_calls(open_sheet: Opener):
    sheet = open_sheet(at=after(5), size=DESKTOP)
    sheet.page.locator("#sheet-en").get_by_label("Runner", exact=True).check()
    heads = sheet.page.locator("#en-room-0 thead th:visible").all_inner_texts()
    assert heads == ["No.", "Filler in", "Pour", "Min to spare", "Ran short"]
    calls = sheet.page.locator("#sheet-en .calls li:visible").all_inner_texts()
    assert len(calls) == 1
    assert "Runner × 1" in calls[0]
    panel = sheet.page.locator("#sheet-en .live").inner_text()
    assert "Next for: Runner" in panel
    assert "Pour: Cook line, bucket 1" in panel
    mine = sheet.page.locator("#sheet-en .events").nth(0)
    sheet.page.clock.set_fixed_time(after(-46))
    sheet.wait(0.1)
    # Called 45 min ahead of a first task 5 min after the first liquids.
    assert "20:20 Runner × 1 there: Cook line" in " ".join(mine.inner_text().split())
    sheet.page.reload()
    assert sheet.page.locator("#sheet-en [data-role='runner']").is_checked()


def test_a_rehearsal_runs_the_first_pour_and_leaves_no_ticks(open_sheet: Opener):
    sheet = open_sheet(at=after(-60 * 24 * 5))
    sheet.press("Rehearse the first pour")
    assert sheet.page.locator("#sheet-en .clock").inner_text() == "Wed 20:59:00 site time"
    assert sheet.page.locator("#sheet-en .rehearsal").is_visible()
    sheet.row(0).locator("[data-tick]").check()
    sheet.press("Stop the rehearsal")
    assert not sheet.row(0).locator("[data-tick]").is_checked()


def test_without_storage_the_sheet_still_works_and_says_so(open_sheet: Opener):
    deny = "Storage.prototype.setItem = () => { throw new Error('denied'); };"
    sheet = open_sheet(at=after(7), prepare=deny)
    sheet.row(0).locator("[data-tick]").check()
    assert sheet.row(0).locator("[data-tick]").is_checked()
    assert "keeps no ticks" in sheet.page.locator("#sheet-en .live").inner_text()
