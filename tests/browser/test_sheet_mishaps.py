"""The sheet when the night goes wrong: late, lost, dead edges, double taps, bad storage."""

from __future__ import annotations

import json
import random
from datetime import timedelta
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from chromium import PHONE
from effort import drawn
from output.sheet_sample import after

from browser.conftest import Opener, Sheet
from browser.test_sheet_log import saved_log, write_plan
from cureplan.inputs.tables.night_log import read_night_log, read_night_logs
from cureplan.planning.plan.model import Plan
from cureplan.planning.replan.replan import night_site
from cureplan.planning.replan.replan import replan as plan_again
from cureplan.planning.replan.state import _between_lines

pytestmark = [pytest.mark.thorough, pytest.mark.browser]

# By hand, from the sample: bucket 1 of the Cook line is poured at 6.5 min and its wet edge
# ends at 14; bucket 2, poured at 10, ties into it. Clocks of bucket 2 end at 23.1.


def first_card(sheet: Sheet) -> Any:
    return sheet.page.locator("#sheet-en .hands").first.locator("li.in-hand").first


def edges(sheet: Sheet) -> list[str]:
    return list(sheet.page.locator("#sheet-en .edges li").all_inner_texts())


def test_a_bucket_past_its_time_is_asked_about_until_somebody_says_so(open_sheet: Opener):
    sheet = open_sheet(at=after(9))
    assert (
        "2 min late: poured? lost?"
        in sheet.page.locator("#sheet-en .in-hand.is-late:not(.task)").inner_text()
    )
    sheet.row(1).locator("[data-tick]").check()
    sheet.wait(40)
    # The other is ticked, so this phone is where the night is written down.
    late = sheet.page.locator("#sheet-en .is-late:not(.task)", has_text="Cook line, bucket 1")
    assert "42 min late: poured? lost?" in late.first.inner_text()
    late.first.get_by_role("button", name="Poured at 21:06").click()
    assert sheet.row(0).locator("[data-tick]").is_checked()


def test_the_card_shows_where_the_bucket_goes_on_the_rooms_map(open_sheet: Opener):
    # By hand: the Cook line is 4 m long, 1.5 m wide and cut into two rows of 2 m; its map runs
    # to the right, so bucket 2 takes its right half: as wide as it is high, times 2 / 1.5.
    sheet = open_sheet(at=after(9.5))
    sheet.row(0).locator("[data-tick]").check()
    card = first_card(sheet)
    assert "bucket 2" in card.inner_text()
    patch = card.locator(".here-patch").bounding_box()
    whole = card.locator(".here use").bounding_box()
    assert patch["width"] / patch["height"] == pytest.approx(2 / 1.5, rel=0.05)
    assert patch["x"] > whole["x"] + whole["width"] * 0.4


def test_mixed_material_is_to_be_poured_now_whatever_the_lateness(open_sheet: Opener):
    sheet = open_sheet(at=after(6))
    assert "Pour it now 21:06, in 0:30" in first_card(sheet).inner_text()
    for _ in range(3):
        sheet.press("5 min more")
    assert "Pour it now 21:06, in 0:30" in first_card(sheet).inner_text()
    assert "bay 1, row 1" in first_card(sheet).inner_text()


def test_an_open_edge_says_what_to_do_before_and_after_it_is_dead(open_sheet: Opener):
    sheet = open_sheet(at=after(6.5))
    sheet.row(0).locator("[data-tick]").check()
    assert edges(sheet) == []
    sheet.page.clock.pause_at(after(12.5))
    (line,) = edges(sheet)
    assert "1 min left. Tie in bucket 2 now" in line
    wide = sheet.page.locator("#sheet-en .edges li").bounding_box()["width"]
    assert wide > PHONE["width"] - 40
    sheet.page.clock.pause_at(after(16.5))
    assert "dead 3 min ago: cut a stop line here before bucket 2" in edges(sheet)[0]
    # The row tells it as well: 14 - 16.5 is 2.5 min too late, and it was 4 to spare.
    sheet.wait(0.2)
    assert sheet.margin(0).startswith("▲ -")
    sheet.row(1).locator("[data-tick]").check()
    assert "look at the seam" in edges(sheet)[0]
    assert sheet.margin(0).startswith("▲ -")


def test_a_lost_bucket_gives_its_place_to_the_next_kit_and_reaches_replan(
    open_sheet: Opener, night_plan: Plan, tmp_path: Path
):
    old = night_plan.buckets_of(night_plan.buckets[0].room)
    sheet = open_sheet(at=old[0].pour, file=write_plan(night_plan, tmp_path))
    sheet.row(0).locator("[data-tick]").check()
    sheet.page.clock.pause_at(old[1].pour)
    card = sheet.page.locator("#sheet-en .in-hand", has_text="bucket 2").first
    sheet.wait(0.02)
    card.get_by_role("button", name="Lost").click()
    assert "next kit goes in its place" in sheet.page.locator("#sheet-en .effects").inner_text()
    # Bucket 2 is poured when bucket 3 was to be.
    shown = sheet.row(1).locator("[data-task='pour']").inner_text()
    zone = night_plan.job.site.zone
    assert shown == f"{old[2].pour.astimezone(zone):%H:%M}"
    events = read_night_log(saved_log(sheet, tmp_path), site=night_site(night_plan))
    assert [(e.event, e.bucket) for e in events] == [("poured", 1), ("lost", 2)]
    new = plan_again(night_plan, events, now=old[4].pour).plan
    assert new.night is not None
    # Four buckets would be due by now, but nothing after a loss is taken as poured.
    assert [p.buckets for p in new.night.poured] == [1]
    assert "replan.lost" in {change.code for change in new.night.changes}


def test_taps_right_after_the_list_has_moved_do_nothing(open_sheet: Opener):
    sheet = open_sheet(at=after(6.3))
    sheet.wait(0.02)
    first_card(sheet).locator("[data-pour]").click()
    assert sheet.row(0).locator("[data-tick]").is_checked()
    # The next bucket has moved under the finger; it is still mixing.
    first_card(sheet).locator("[data-pour]").click()
    assert not sheet.row(1).locator("[data-tick]").is_checked()
    sheet.wait(0.02)
    first_card(sheet).locator("[data-pour]").click()
    assert sheet.row(1).locator("[data-tick]").is_checked()


def test_the_last_tap_can_be_taken_back_for_ten_seconds(open_sheet: Opener):
    sheet = open_sheet(at=after(7))
    sheet.row(0).locator("[data-tick]").check()
    undo = sheet.page.locator("#sheet-en .undo")
    box = undo.bounding_box()
    assert box["height"] >= 48
    undo.click()
    assert not sheet.row(0).locator("[data-tick]").is_checked()
    sheet.row(0).locator("[data-tick]").check()
    sheet.wait(0.2)
    assert not undo.is_visible()


def test_what_is_struck_is_gone_everywhere(open_sheet: Opener, tmp_path: Path):
    sheet = open_sheet(at=after(7))
    sheet.row(0).locator("[data-tick]").check()
    sheet.row(0).locator("[data-short]").click()
    sheet.page.locator("#sheet-en .log-part summary").click()
    rows = sheet.page.locator("#sheet-en .log li")
    rows.filter(has_text="Poured").get_by_role("button", name="Delete").click()
    assert rows.count() == 0
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8").splitlines()
    assert lines[2:] == []
    sheet.page.reload()
    assert sheet.row(0).locator("[data-short]").get_attribute("aria-pressed") == "false"


def test_a_coat_waits_for_its_floor_and_for_its_window_and_is_ticked(
    open_sheet: Opener, tmp_path: Path
):
    # By hand: the window is open from 539.5 to 1160.5, the coat planned from 560 to 595; it is
    # begun at 565, a second after 06:25, and takes 35 minutes.
    sheet = open_sheet(at=after(520))
    task = sheet.page.locator("#sheet-en .task", has_text="Topcoat 1: Cook line")
    assert "not before 06:00" in task.inner_text()
    assert "not after 16:20" in task.inner_text()
    assert "Waiting is better" in task.inner_text()
    sheet.wait(45)
    task.get_by_role("button", name="Vacuumed").click()
    sheet.wait(0.02)
    task.get_by_role("button", name="Coat begun:").click()
    # By hand: the sample's batches stay workable for 15.5 minutes.
    for minute in (0, 9):
        sheet.page.clock.pause_at(after(566 + minute))
        task.get_by_role("button", name="Batch mixed").click()
    assert "Batch 2 (1 planned): spread it by 06:50, in 15 min" in task.inner_text()
    sheet.wait(16)
    assert "Batch 2 (1 planned) is past its time" in task.inner_text()
    sheet.wait(16)
    assert "▲ Topcoat 1: Cook line" in task.inner_text()
    assert "until 07:01" in task.inner_text()
    task.get_by_role("button", name="Coat done:").click()
    assert task.count() == 0
    log = saved_log(sheet, tmp_path).read_text(encoding="utf-8").splitlines()
    assert "2013-07-18T06:25:01-04:00,coat begun,Cook line,,1," in log
    told = ["vacuumed", "coat begun", "batch mixed", "batch mixed", "coat laid"]
    assert [line.split(",")[1] for line in log[2:]] == told


def test_a_coat_that_nobody_ticks_is_asked_about_and_holds_up_what_waits(open_sheet: Opener):
    # By hand: the coat of the Cook line is planned from 560 to 595 minutes.
    sheet = open_sheet(at=after(550))
    task = sheet.page.locator("#sheet-en .task", has_text="Topcoat 1: Cook line")
    task.get_by_role("button", name="Vacuumed").click()
    sheet.page.clock.pause_at(after(620))
    assert "Due 06:20: begun?" in task.inner_text()
    assert "is-late" in (task.get_attribute("class") or "")
    effects = sheet.page.locator("#sheet-en .effects").inner_text()
    assert "Topcoat 1, Cook line: not before 07:20" in effects


def test_the_sheet_opens_on_what_is_to_be_done_and_nothing_lies_under_the_bar(
    open_sheet: Opener,
):
    sheet = open_sheet(at=after(6))
    sheet.page.reload()
    card = first_card(sheet).bounding_box()
    bar = sheet.page.locator("#sheet-en .bar").bounding_box()
    assert 0 <= card["y"] < PHONE["height"] / 3
    assert card["y"] + card["height"] <= bar["y"]
    assert bar["y"] + bar["height"] <= PHONE["height"] + 1
    scrolled = sheet.page.locator("#sheet-en .scroll").bounding_box()
    assert scrolled["y"] + scrolled["height"] <= bar["y"] + 1
    # Nothing else scrolls, so the bar stays where it is.
    high = sheet.page.evaluate("document.documentElement.scrollHeight")
    assert high == PHONE["height"]


TARGETS = """() => {
  const wanted = "button, a, summary, select, input, .role, label";
  const seen = [...document.querySelectorAll(".sheet")].find((node) => node.checkVisibility());
  return [...seen.querySelectorAll(wanted)].filter((node) => node.checkVisibility())
    // A box is tapped by its label; a field's label is no target of its own.
    .filter((node) => !(node.matches("input") && node.closest("label.tick, label.role")))
    .filter((node) => !node.matches("label.field"))
    .map((node) => [node, node.getBoundingClientRect()]).filter(([, box]) => box.width > 0)
    .map(([node, { x, y, width, height }]) => ({ x, y, width, height,
      bar: !!node.closest(".bar"),
      name: (node.textContent || node.dataset.field || "").trim().slice(0, 30) }));
}"""


def too_small_or_near(sheet: Sheet) -> list[str]:
    """Asked: whatever is tapped is at least 48 px large, and 8 px from what else is."""
    boxes = sheet.page.evaluate(TARGETS)
    assert len(boxes) > 40
    found = [
        f"{b['name']}: {b['width']:.0f} x {b['height']:.0f}"
        for b in boxes
        if b["width"] < 47.9 or b["height"] < 47.9
    ]
    for one, other in combinations(boxes, 2):
        if one["bar"] != other["bar"]:
            # The bar has a place of its own; what is scrolled away below lies not beside it.
            continue
        apart = max(
            max(one[at], other[at]) - min(one[at] + one[size], other[at] + other[size])
            for at, size in (("x", "width"), ("y", "height"))
        )
        if apart < 7.9:
            found.append(f"{one['name']} and {other['name']}: {apart:.1f} px")
    return found


@pytest.mark.parametrize("minute", [-200, 9, 570])
def test_whatever_is_tapped_is_large_and_stands_apart(open_sheet: Opener, minute: int):
    sheet = open_sheet(at=after(minute))
    sheet.row(0).locator("[data-tick]").check()
    sheet.page.locator("#sheet-en [data-do='alerts']").click()
    sheet.page.evaluate(
        "for (const part of document.querySelectorAll('details')) part.open = true"
    )
    sheet.wait(0.05)
    assert too_small_or_near(sheet) == []


def test_alerts_are_off_until_they_are_asked_for(open_sheet: Opener):
    spy = "window.buzzed = []; navigator.vibrate = (how) => { buzzed.push(how); return true; };"
    sheet = open_sheet(at=after(5), prepare=spy)
    sheet.wait(2)
    assert sheet.page.evaluate("buzzed.length") == 0
    sheet.page.locator("#sheet-en [data-do='alerts']").click()
    told = sheet.page.locator("#sheet-en .alerts").inner_text()
    assert "Next alert 21:10: Pour: Cook line, bucket 2." in told
    assert sheet.page.evaluate("buzzed.length") == 1
    sheet.page.clock.pause_at(after(10.1))
    assert sheet.page.evaluate("buzzed.length") == 2
    sheet.page.locator("#sheet-en [data-do='ring']").click()
    assert sheet.page.evaluate("buzzed.length") == 3
    # A reload silences every browser until it is tapped again.
    sheet.page.reload()
    toggle = sheet.page.locator("#sheet-en [data-do='alerts']")
    assert toggle.inner_text() == "Alerts: tap to turn them on again"
    sheet.page.locator("#sheet-en .clock").click()
    toggle.filter(has_text="Alerts are on").wait_for()
    # By hand: coat 1 of the Cook line is due at 560 min. What was ticked before moves nobody's
    # alert on and on.
    sheet.page.clock.pause_at(after(550))
    sheet.wait(0.02)
    sheet.page.locator("#sheet-en [data-task-done^='vacuumed']").first.click()
    before = sheet.page.evaluate("buzzed.length")
    sheet.page.clock.pause_at(after(560.1))
    assert sheet.page.evaluate("buzzed.length") == before + 1


NONSENSE = (
    {
        "poured": {"9999": 1374109800, "0": None, "x": 5, "1": "late"},
        "short": [1],
        "late_s": "7",
    },
    {"fixed": {"0": None, "1": {"pour": "NaN"}}, "events": [None, 5, {"at": 1e300}], "lost": 3},
    {
        "events": [
            {"at": 1374109800, "event": "no such"},
            {"at": 1374109800, "event": "short of"},
        ]
    },
    {"done": {"ice:99": 1374109800, "begun:7:7": 1374109800}, "lost": {"0": [None]}, "keys": 4},
)


@pytest.mark.parametrize("kept", NONSENSE)
def test_storage_that_holds_nonsense_never_stops_the_page(open_sheet: Opener, kept, tmp_path):
    sheet = open_sheet(at=after(7))
    sheet.page.evaluate(
        """kept => { const names = Object.keys(localStorage);
        const name = names.find((key) => key !== "cureplan:choice");
        const own = JSON.parse(localStorage.getItem(name));
        localStorage.setItem(name, JSON.stringify({ ...own, ...kept }));
        const choice = JSON.stringify({ role: '"]', language: "'" });
        localStorage.setItem("cureplan:choice", choice); }""",
        kept,
    )
    sheet.page.reload()
    sheet.wait(0.1)
    sheet.row(0).locator("[data-tick]").check()
    assert sheet.page.locator("#sheet-en .clock").inner_text() == "Wed 21:07:06 site time"
    assert "2013-07-17T21:07:06-04:00,poured,Cook line,1,," in saved_log(
        sheet, tmp_path
    ).read_text(encoding="utf-8")


def test_storage_that_is_no_object_never_stops_the_page(open_sheet: Opener):
    sheet = open_sheet(at=after(7))
    for text in ("5", "null", "[]", '"x"', "{"):
        sheet.page.evaluate(
            """text => {
            for (const name of Object.keys(localStorage)) localStorage.setItem(name, text);
            localStorage.setItem("cureplan:choice", text); }""",
            text,
        )
        sheet.page.reload()
        assert sheet.page.locator("#sheet-en .live").is_visible()


def test_a_forgotten_tick_is_taken_as_replan_takes_it(
    open_sheet: Opener, night_plan: Plan, tmp_path
):
    # The page and `replan` each have the rule; random nights hold them together.
    room = night_plan.buckets[0].room
    buckets = night_plan.buckets_of(room)
    planned_s = np.array([bucket.pour.timestamp() for bucket in buckets])
    sheet = open_sheet(at=buckets[-1].pour, file=write_plan(night_plan, tmp_path))
    draw = random.Random(7)
    for _ in range(drawn(6)):
        first, gone, last = sorted(draw.sample(range(1, len(buckets) + 1), 3))
        late_s = {n: draw.randint(-120, 600) for n in (first, last)}
        lines = {n: round(planned_s[n - 1]) + late_s[n] for n in (first, last)}
        expected, _ = _between_lines(planned_s, lines)
        name = sheet.page.evaluate(
            "Object.keys(localStorage).find((key) => !key.endsWith('choice'))"
        )
        kept = json.loads(sheet.page.evaluate("name => localStorage.getItem(name)", name))
        kept["poured"] = {str(n - 1): at for n, at in lines.items()}
        sheet.page.evaluate(
            "([name, text]) => localStorage.setItem(name, text)", [name, json.dumps(kept)]
        )
        sheet.page.reload()
        sheet.row(gone - 1).locator("[data-tick]").check()
        after_s = json.loads(sheet.page.evaluate("name => localStorage.getItem(name)", name))
        assert after_s["poured"][str(gone - 1)] == pytest.approx(expected[gone - 1], abs=1)


def test_a_clock_that_is_an_hour_off_is_noticed_and_can_be_set(
    open_sheet: Opener, tmp_path: Path
):
    # By hand: bucket 1 is due at 21:06:30; this phone says 22:07 when it is poured.
    sheet = open_sheet(at=after(67))
    sheet.row(0).locator("[data-tick]").check()
    offer = sheet.page.locator("#sheet-en .behind:visible")
    assert "due at 21:06, was poured 1 h late" in offer.inner_text()
    assert "Does its clock run 1 h ahead?" in offer.inner_text()
    sheet.press("Set this sheet −1 h")
    assert sheet.page.locator("#sheet-en .behind:visible").count() == 0
    assert "21:07:00" in sheet.page.locator("#sheet-en .clock").inner_text()
    assert "site time" in sheet.page.locator("#sheet-en .clock").inner_text()
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8").splitlines()
    assert lines[2:] == ["2013-07-17T21:07:00-04:00,poured,Cook line,1,,"]
    # Kept over a reload.
    sheet.page.reload()
    assert "21:07" in sheet.page.locator("#sheet-en .clock").inner_text()


def test_a_crew_that_is_late_by_no_whole_hour_is_not_blamed_on_the_clock(open_sheet: Opener):
    sheet = open_sheet(at=after(6.5 + 35))
    sheet.row(0).locator("[data-tick]").check()
    assert "Shift the plan" in sheet.page.locator("#sheet-en .behind:visible").inner_text()
    sheet = open_sheet(at=after(-50))
    sheet.row(0).locator("[data-tick]").check()
    assert "1 h behind?" in sheet.page.locator("#sheet-en .behind:visible").inner_text()


def test_a_clock_an_hour_off_is_noticed_where_the_crew_is_late_as_well(open_sheet: Opener):
    # By hand: an hour ahead and 18 min late is 78 min, no whole hour; the next keeps step with
    # it. Told that the clock is right, the sheet believes it.
    sheet = open_sheet(at=after(6.5 + 78))
    asked = sheet.page.locator("#sheet-en .behind:visible")
    sheet.row(0).locator("[data-tick]").check()
    assert "78 min behind. Shift the plan?" in asked.inner_text()
    sheet.page.clock.pause_at(after(10 + 78))
    sheet.row(1).locator("[data-tick]").check()
    assert "Does its clock run 1 h ahead?" in asked.inner_text()
    sheet.press("No, we are late or early")
    assert "78 min behind. Shift the plan?" in asked.inner_text()
    sheet.page.reload()
    assert "clock" not in asked.inner_text()


def test_a_clock_half_an_hour_off_is_noticed_once_three_ticks_keep_step(open_sheet: Opener):
    # By hand: the sample pours buckets 1, 2 and 3 at 6.5, 10 and 66.5 min.
    sheet = open_sheet(at=after(6.5 + 31))
    asked = sheet.page.locator("#sheet-en .behind:visible")
    for index, (pour, late) in enumerate([(6.5, 31), (10, 33), (66.5, 32)]):
        sheet.page.clock.pause_at(after(pour + late))
        assert "clock" not in "".join(asked.all_inner_texts())
        sheet.row(index).locator("[data-tick]").check()
    assert "was poured ½ h late" in asked.inner_text()
    sheet.press("Set this sheet −½ h")
    assert "22:08:30" in sheet.page.locator("#sheet-en .clock").inner_text()


def test_what_was_never_mixed_is_said_and_taken_as_poured_by_nobody(
    open_sheet: Opener, night_plan: Plan, tmp_path: Path
):
    # The crew begins nine minutes late and says so only then.
    room = night_plan.buckets[0].room
    old = night_plan.buckets_of(room)
    at = old[0].liquids_in + timedelta(minutes=9)
    sheet = open_sheet(at=at, file=write_plan(night_plan, tmp_path))
    sheet.wait(0.02)
    card = sheet.page.locator("#sheet-en .in-hand", has_text="bucket 1").first
    card.get_by_role("button", name="Not mixed yet").click()
    zone = night_plan.job.site.zone
    shown = sheet.row(0).locator("[data-task='liquids']").text_content()
    assert shown == f"{at.astimezone(zone):%H:%M}"
    # Bucket 2, which was due for mixing by now as well, keeps its distance.
    second = old[1].liquids_in + timedelta(minutes=9)
    assert sheet.row(1).locator("[data-task='liquids']").text_content() == (
        f"{second.astimezone(zone):%H:%M}"
    )
    now = at + timedelta(minutes=1)
    events = read_night_log(saved_log(sheet, tmp_path), site=night_site(night_plan))
    assert [e.event for e in events] == ["wait until"]
    assert events[0].until in (at, at + timedelta(seconds=1))
    new = plan_again(night_plan, events, now=now).plan
    assert new.night is not None
    assert [floor.buckets for floor in new.night.poured] in ([], [0])
    # Taken back within ten seconds, nothing is written down.
    sheet.press("Undo the last tap")
    assert "wait until" not in saved_log(sheet, tmp_path).read_text(encoding="utf-8")


def test_the_log_leaves_the_phone_without_a_file(open_sheet: Opener):
    # A browser that shares, and one whose share fails: the text is copied then.
    prepare = """
      window.shared = [];
      navigator.canShare = () => false;
      navigator.share = async (what) => { window.shared.push(what); };
      document.execCommand = () => {
        window.copied = document.activeElement.value;
        return true;
      };
    """
    sheet = open_sheet(at=after(7), prepare=prepare)
    sheet.row(0).locator("[data-tick]").check()
    sheet.press("Share the log")
    [what] = sheet.page.evaluate("window.shared")
    assert ",poured,Cook line,1,," in what["text"]
    sheet.page.evaluate("() => { navigator.share = async () => { throw new Error('no'); }; }")
    sheet.press("Share the log")
    sheet.page.get_by_role("button", name="Copied").first.wait_for()
    assert ",poured,Cook line,1,," in sheet.page.evaluate("window.copied")


def test_logs_of_two_phones_are_read_as_one(
    open_sheet: Opener, night_plan: Plan, tmp_path: Path
):
    old = night_plan.buckets_of(night_plan.buckets[0].room)
    file = write_plan(night_plan, tmp_path)
    logs = []
    for phone, buckets in (("a", (0, 1)), ("b", (1, 2))):
        sheet = open_sheet(at=old[2].pour, file=file)
        for index in buckets:
            sheet.row(index).locator("[data-tick]").check()
        (tmp_path / phone).mkdir()
        logs.append(saved_log(sheet, tmp_path / phone))
    events = read_night_logs(logs, site=night_site(night_plan))
    assert [(e.event, e.bucket) for e in events] == [("poured", n) for n in (1, 2, 3)]
