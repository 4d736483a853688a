"""What comes before a pour: ice, coves, primers, and what the first bucket waits for."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from output import sheet_sample
from output.sheet_sample import after, sample_primer

from browser.conftest import Opener
from browser.test_sheet_log import saved_log
from browser.test_sheet_mishaps import edges
from cureplan.core.rows import Rows
from cureplan.planning.plan.model import Plan

pytestmark = pytest.mark.browser


def primed_sample() -> Plan:
    """The sample with a primer under its first floor; all hours invented."""
    plan = sheet_sample.sample_plan()
    primer = sample_primer(
        "Cook line", after(-270), 10, walks=after(-100), opens=after(-60), closes=after(240)
    )
    return replace(plan, primers=(primer,))


def test_ice_that_was_missed_stays_and_says_from_when_to_stir(open_sheet: Opener):
    # By hand: pails go in 330 min ahead, at 15:30; stirred ones 75 min ahead, at 19:45.
    sheet = open_sheet(at=after(-200))
    task = sheet.page.locator("#sheet-en .task", has_text="Cook line")
    assert "by 15:30, 2 h 10 min ago" in task.inner_text()
    assert "stir from 19:45 on" in task.inner_text()
    assert "is-late" in (task.get_attribute("class") or "")
    task.get_by_role("button", name="Done:").click()
    # In it, they still want stirring, as they came into it too late to be left standing.
    assert "in since 17:40: stir from 19:45 on" in task.inner_text()
    assert "is-late" not in (task.get_attribute("class") or "")
    sheet.page.reload()
    sheet.page.clock.pause_at(after(1))
    assert task.count() == 0


def test_a_primer_is_ticked_and_says_when_its_floor_may_be_poured(
    open_sheet: Opener, tmp_path: Path
):
    # By hand: rolled 16:30 to 16:40, poured over from 20:00 on. Begun 20 min late and done 70
    # min late, it is dry at 21:10, after its first bucket at 21:06.
    sheet = open_sheet(primed_sample(), at=after(-250))
    task = sheet.page.locator("#sheet-en .task", has_text="Primer: Cook line")
    assert "is-late" in str(task.get_attribute("class"))
    assert "pour over it not before 20:00, not after Thu 01:00" in task.inner_text()
    task.get_by_role("button", name="Primer begun:").click()
    sheet.page.clock.pause_at(after(-190))
    task.get_by_role("button", name="Primer done:").click()
    assert "pour over it not before 21:10, not after Thu 01:20" in task.inner_text()
    assert "still wet when its first bucket is due" in task.inner_text()
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8").splitlines()
    assert [line.split(",")[1] for line in lines[2:]] == ["primer begun", "primer laid"]


def test_the_first_bucket_waits_for_its_primer_and_its_ice(open_sheet: Opener, tmp_path: Path):
    # By hand: the pails were due in the ice at 15:30, or stirred from 19:45 on; the first
    # liquids at 21:00, so stirred they need 75 min. Primed until 18:50 instead of 16:40 its
    # slab is dry at 22:10 instead of 20:00, and bucket 1 is poured at 21:06:30.
    sheet = open_sheet(primed_sample(), at=after(-140))
    sheet.press("Primer begun: Primer: Cook line")
    sheet.page.clock.pause_at(after(-130))
    sheet.press("Primer done: Primer: Cook line")
    sheet.page.clock.pause_at(after(-10))
    wet, warm = edges(sheet)
    assert "Cook line: its primer is wet until 22:10" in wet
    assert "Cook line: its pails are not in the ice" in warm
    assert "they are cold at 22:05" in warm
    sheet.wait(0.02)
    sheet.press("Done: Pails in the ice: Cook line")
    assert "came into the ice late. Stirred, they are cold at 22:06" in edges(sheet)[1]
    # A second into 20:50 they came in: 65 min and a second after the first liquids.
    assert (
        "Cook line must wait 66 min"
        in sheet.page.locator("#sheet-en .behind:visible").inner_text()
    )
    sheet.wait(0.02)
    sheet.press("Shift the plan 66 min")
    assert edges(sheet) == []
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8")
    assert "wait until,,,2013-07-17T22:06:00-04:00,late by 66 min" in lines


def test_who_is_late_with_primers_to_come_waits_with_them_first(
    open_sheet: Opener, tmp_path: Path
):
    # By hand: the primer is due at 16:30, the first bucket at 21:00.
    sheet = open_sheet(primed_sample(), at=after(-300))
    for _ in range(4):
        sheet.press("5 min more")
    asked = sheet.page.locator("#sheet-en .task", has_text="Primer: Cook line")
    assert "16:50" in asked.inner_text()
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8")
    assert "wait until,,,2013-07-17T16:50:00-04:00,late by 20 min" in lines
    # Begun by the plan so late as was said then, it is moved by nothing said later.
    sheet.page.clock.pause_at(after(-240))
    sheet.press("5 min more")
    assert "until 17:00" in asked.inner_text()


def test_a_cove_is_ticked_until_it_is_done(open_sheet: Opener, tmp_path: Path):
    # Put up from 16:40 to 18:40 by plan; begun 16:50, it is due at 18:50 and done at 18:30.
    plan = sheet_sample.sample_plan()
    edge = plan.calls[0]
    cove = replace(
        edge, stage="cove", role="edge", first_task=after(-260), last_task=after(-140)
    )
    plan = replace(plan, calls=Rows([*plan.calls, cove]))
    sheet = open_sheet(plan, at=after(-250))
    task = sheet.page.locator("#sheet-en .task", has_text="Cove base: Cook line")
    task.get_by_role("button", name="Cove begun:").click()
    assert "until 18:50" in task.inner_text()
    sheet.page.clock.pause_at(after(-150))
    task.get_by_role("button", name="Cove done:").click()
    task.wait_for(state="detached")
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8").splitlines()
    assert [line.split(",")[1] for line in lines[2:]] == ["cove begun", "cove done"]
