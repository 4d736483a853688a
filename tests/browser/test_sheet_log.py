"""From the sheet to `replan` and back: the log as the page saves it, and the new sheet."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
import typer
from chromium import PHONE
from output.sheet_sample import after
from typer.testing import CliRunner

from browser.conftest import Opener, Sheet
from cureplan.inputs.tables.night_log import read_night_log
from cureplan.output.commands.night import replan
from cureplan.output.sheet.page import sheet_html
from cureplan.planning.plan.model import Plan, plan_from_json, plan_id, plan_to_json
from cureplan.planning.replan.replan import night_site
from cureplan.planning.replan.replan import replan as plan_again

pytestmark = pytest.mark.browser

MINUTE = timedelta(minutes=1)


def saved_log(sheet: Sheet, folder: Path, language: str = "en") -> Path:
    name = {"en": "Save the log", "es": "Guardar el registro"}[language]
    with sheet.page.expect_download() as saved:
        sheet.press(name)
    path = folder / "log.csv"
    saved.value.save_as(path)
    return path


def report(sheet: Sheet, what: str, language: str = "en", **fields: Any) -> str:
    """Writes down what happened; returns what the sheet answers."""
    box = sheet.page.locator(f"#sheet-{language} .report")
    if box.get_attribute("open") is None:
        box.locator("summary").click()
    box.locator("[data-field='what']").select_option(label=what)
    for name, value in fields.items():
        control = box.locator(f"[data-field='{name}']")
        if control.evaluate("node => node.tagName") == "SELECT":
            control.select_option(label=str(value))
        else:
            control.fill(str(value))
    box.locator("[data-do='report']").click()
    return str(box.locator(".report-said").inner_text())


def run_replan(folder: Path, log: Path, *options: str) -> tuple[int, Plan]:
    app = typer.Typer()
    app.command()(replan)
    out = folder / "again"
    ran = CliRunner().invoke(
        app, [str(folder / "plan.json"), str(log), "--out", str(out), *options]
    )
    assert ran.exception is None or isinstance(ran.exception, SystemExit), ran.output
    return ran.exit_code, plan_from_json((out / "plan.json").read_text(encoding="utf-8"))


def write_plan(plan: Plan, folder: Path) -> Path:
    """Plan and sheet of a folder, without the pictures."""
    text = plan_to_json(plan)
    (folder / "plan.json").write_text(text, encoding="utf-8")
    sheet = folder / "sheet.html"
    sheet.write_text(html_of(text), encoding="utf-8")
    return sheet


@lru_cache(maxsize=4)
def html_of(text: str) -> str:
    return sheet_html(plan_from_json(text))


def ticked(sheet: Sheet, count: int) -> list[bool]:
    return [sheet.row(n).locator("[data-tick]").is_checked() for n in range(count)]


def lines_of(log: Path) -> list[str]:
    return [line for line in log.read_text(encoding="utf-8").splitlines() if line[0] != "#"]


def work_the_first_minutes(sheet: Sheet, plan: Plan) -> None:
    """Four buckets ticked a minute late, one short; a slab, a batch and an edge read."""
    room = plan.buckets[0].room
    buckets = plan.buckets_of(room)
    report(sheet, "Slab read", room=room, temp="88", ago="5")
    steps = [(b.pour + MINUTE, n) for n, b in enumerate(buckets[:4])]
    for at, number in sorted([*steps, (buckets[0].wet_edge_end, -1)]):
        sheet.page.clock.pause_at(at)
        if number >= 0:
            sheet.row(number).locator("[data-tick]").check()
        else:
            report(sheet, "Wet edge went dead", room=room, bucket="1")
    sheet.row(1).locator("[data-short]").click()
    report(sheet, "Batch read, right after mixing", room=room, bucket="4", temp="75")


@pytest.mark.thorough
def test_the_night_goes_from_sheet_to_replan_to_the_next_sheet(
    open_sheet: Opener, night_plan: Plan, tmp_path: Path
):
    old = night_plan.buckets_of(night_plan.buckets[0].room)
    room = old[0].room
    sheet = open_sheet(at=old[0].pour, file=write_plan(night_plan, tmp_path))
    work_the_first_minutes(sheet, night_plan)
    log = saved_log(sheet, tmp_path)

    # The command reads the file as the page wrote it, and moves nothing that is poured:
    # each was ticked a minute after the plan's instant, in whole seconds.
    code, second = run_replan(tmp_path, log)
    assert code in (0, 1)
    pours = [bucket.pour.replace(microsecond=0) + MINUTE for bucket in old[:4]]
    assert [bucket.pour for bucket in second.buckets_of(room)[:4]] == pours
    assert second.night is not None
    assert second.night.readings == 3
    assert "replan.ran_short" in {change.code for change in second.night.changes}
    assert [(p.room, p.buckets, p.assumed) for p in second.night.poured] == [(room, 4, ())]

    # On another phone, where nothing is stored, the plan alone tells what is poured.
    new_file = tmp_path / "again" / "sheet.html"
    elsewhere = open_sheet(at=old[3].pour + 2 * MINUTE, file=new_file)
    assert ticked(elsewhere, 6) == [True] * 4 + [False] * 2
    assert elsewhere.row(1).locator("[data-short]").get_attribute("aria-pressed") == "true"
    assert "what was poured by then is ticked" in (
        elsewhere.page.locator("#sheet-en .live").inner_text()
    )
    assert lines_of(saved_log(elsewhere, tmp_path / "again")) == lines_of(log)

    # On the same phone, what was ticked on the old sheet since then is taken over as well.
    sheet.page.clock.pause_at(old[4].pour + 9 * MINUTE)
    sheet.row(4).locator("[data-tick]").check()
    new = open_sheet(at=old[4].pour + 10 * MINUTE, file=new_file, beside=sheet)
    assert ticked(new, 6) == [True] * 5 + [False]
    events = read_night_log(saved_log(new, tmp_path / "again"), site=night_site(second))
    third = plan_again(second, events, now=events[-1].at).plan
    fifth = old[4].pour.replace(microsecond=0) + 9 * MINUTE
    assert [bucket.pour for bucket in third.buckets_of(room)[:5]] == [*pours, fifth]
    # The readings were used by the plan before; they are not used twice.
    assert third.night is not None
    assert third.night.readings == 0
    assert len(third.night.log) == len(second.night.log) + 1

    # A phone that was set an hour back on the old sheet stays so on the new one.
    shown = new.page.locator("#sheet-en .clock").inner_text()
    new.page.evaluate(
        """before => {
        for (const [name, text] of Object.entries(localStorage)) {
          const kept = { ...JSON.parse(text), clock_s: -3600 };
          if (kept.plan === before) localStorage.setItem(name, JSON.stringify(kept));
          else if (kept.plan) localStorage.removeItem(name);
        } }""",
        plan_id(night_plan),
    )
    new.page.reload()
    back = new.page.locator("#sheet-en .clock").inner_text()
    hours = [int(re.search(r"(\d\d):\d\d:\d\d", text)[1]) for text in (back, shown)]
    assert (hours[0] + 1) % 24 == hours[1]


REPORTS = {
    "en": (
        ("A drill is down", {}, "drill down", ""),
        ("Short one person", {"role": "Rake"}, "short of", "rake"),
        ("A room is dropped", {"room": "Corridor"}, "room dropped", ""),
        (
            "A room is added",
            {"name": "Pot wash", "length": "12", "width": "9.5", "use": "storage"},
            "room added",
            "12 ft x 9.5 ft, storage",
        ),
        ("Rain or a wait: nothing is mixed", {"wait": "45"}, "wait until", "21:50"),
        ("The pour shift runs until", {"clock": "05:30"}, "pour shift until", "18T05:30:00-04"),
        (
            "The topcoat shift begins",
            {"clock": "23:00"},
            "topcoat shift from",
            "17T23:00:00-04",
        ),
        ("It opens by another hour", {"day": "2013-07-20T09:30"}, "opens by", "20T09:30:00-04"),
        (
            "It opens by another hour",
            {"opens": "Corridor", "day": "2013-07-19T06:00"},
            "opens by",
            "19T06:00:00-04",
        ),
        ("The crew may stay longer", {"more": "45"}, "stay longer", "45 min"),
    ),
    "es": (
        ("Falló un taladro", {}, "drill down", ""),
        ("Falta una persona", {"role": "Rastrillador"}, "short of", "rake"),
        ("Lectura de la losa", {"room": "Corridor", "temp": "88.5"}, "slab reads", "88.5 F"),
    ),
}


@pytest.mark.thorough
@pytest.mark.parametrize("language", REPORTS)
def test_every_event_can_be_written_down(
    open_sheet: Opener, night_plan: Plan, tmp_path: Path, language: str
):
    sheet = open_sheet(at=after(5), file=write_plan(night_plan, tmp_path))
    if language == "es":
        sheet.page.locator("#sheet-en .languages").get_by_text("Español").click()
    for what, fields, _, _ in REPORTS[language]:
        said = report(sheet, what, language, **fields)
        assert what in said
    assert sheet.page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    sheet.page.reload()
    events = read_night_log(saved_log(sheet, tmp_path, language), site=night_site(night_plan))
    assert [e.event for e in events] == [event for _, _, event, _ in REPORTS[language]]
    for event, (_, _, _, value) in zip(events, REPORTS[language], strict=True):
        assert value in event.value


@pytest.mark.thorough
def test_a_report_that_cannot_be_is_refused_and_not_logged(open_sheet: Opener):
    sheet = open_sheet(at=after(7))
    assert "Write the number" in report(sheet, "Slab read", room="Corridor", temp="")
    assert "Write the number" in report(sheet, "Slab read", room="Corridor", temp="400")
    assert "At what time" in report(sheet, "The pour shift runs until", clock="")
    assert "Open by" in report(sheet, "It opens by another hour", day="")
    assert "Tick the bucket" in report(sheet, "Wet edge went dead")
    assert "a name" in report(sheet, "A room is added", name="corridor", length="9", width="9")
    sheet.row(0).locator("[data-tick]").check()
    assert "not poured yet" in report(sheet, "Wet edge went dead", room="Cook line", ago="1")
    assert sheet.page.locator("#sheet-en .log-part summary").inner_text().endswith("(1)")


@pytest.mark.thorough
def test_an_entry_can_be_put_right_and_struck(open_sheet: Opener, tmp_path: Path):
    sheet = open_sheet(at=after(7))
    sheet.row(0).locator("[data-tick]").check()
    report(sheet, "A drill is down")
    sheet.page.locator("#sheet-en .log-part summary").click()
    rows = sheet.page.locator("#sheet-en .log li")
    poured, drill = rows.filter(has_text="Poured"), rows.filter(has_text="drill")
    poured.get_by_role("button", name="−1 min").click()
    # Nothing can have happened later than now.
    poured.get_by_role("button", name="+1 min").click()
    poured.get_by_role("button", name="+1 min").click()
    poured.get_by_role("button", name="−1 min").click()
    drill.get_by_role("button", name="Delete").click()
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8").splitlines()
    assert lines[2:] == ["2013-07-17T21:06:00-04:00,poured,Cook line,1,,"]


@pytest.mark.thorough
def test_a_clock_that_went_is_noted_by_its_button(open_sheet: Opener, tmp_path: Path):
    sheet = open_sheet(at=after(7))
    card = sheet.page.locator("#sheet-en .in-hand", has_text="Cook line, bucket 1")
    assert card.locator("[data-went]:visible").count() == 0
    sheet.row(0).locator("[data-tick]").check()
    sheet.page.clock.pause_at(after(11))
    card.locator("[data-went='wet']").click()
    card.locator("[data-went='work']").click()
    card.locator("[data-went='work']").click()
    assert card.locator("[data-went='wet']").inner_text() == "went 21:11"
    # Seen dead it is dead, whatever the plan has left: 21:14.
    sheet.page.clock.pause_at(after(12.5))
    assert "over by 2 min" in card.locator(".meters li").first.inner_text()
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8").splitlines()
    assert lines[3:] == ["2013-07-17T21:11:00-04:00,wet edge ended,Cook line,1,,"]
    # Of several buckets the last is offered, though the first was the only one for a while.
    sheet.row(1).locator("[data-tick]").check()
    assert sheet.page.locator("#sheet-en [data-field='bucket']").input_value() == "2"


@pytest.mark.thorough
def test_what_is_ticked_late_may_have_been_done_in_time(open_sheet: Opener, tmp_path: Path):
    # By hand, from the sample: pails in by 15:30; coat 1 from 06:20 to 06:55.
    sheet = open_sheet(at=after(-290))
    sheet.press("Done 15:30: Pails in the ice: Cook line")
    assert sheet.page.locator("#sheet-en .task", has_text="Cook line").count() == 0
    sheet.page.clock.pause_at(after(620))
    coat = sheet.page.locator("#sheet-en .task", has_text="Topcoat 1: Cook line")
    for name, before in (("Coat begun 06:20", "06:20"), ("Coat done 06:55", "06:55")):
        sheet.wait(0.02)
        coat.get_by_role("button", name=name).click()
        assert f"T{before}:00-04:00,coat" in saved_log(sheet, tmp_path).read_text()
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8").splitlines()
    assert "2013-07-17T15:30:00-04:00,pails in ice,Cook line,,," in lines


@pytest.mark.thorough
def test_buckets_that_are_long_set_are_asked_about_in_one_line(open_sheet: Opener):
    # By hand: bucket 2 of the Cook line is set by 21:25, both of the Corridor by 22:25.
    sheet = open_sheet(at=after(7))
    sheet.row(0).locator("[data-tick]").check()
    sheet.page.clock.pause_at(after(150))
    assert sheet.page.locator("#sheet-en .is-late:not(.task)").count() == 0
    asked = sheet.page.locator("#sheet-en .older")
    assert "Not ticked: 3." in asked.inner_text()
    # What lies before a tick of its floor is in; nobody will mix it any more.
    assert asked.get_by_role("button", name="Not mixed yet").is_visible()
    for index in (3, 1):
        sheet.row(index).locator("[data-tick]").check()
    assert "Not ticked: 1." in asked.inner_text()
    assert not asked.get_by_role("button", name="Not mixed yet").is_visible()


@pytest.mark.thorough
def test_no_tick_changes_another_and_no_two_share_an_instant(
    open_sheet: Opener, tmp_path: Path
):
    # By hand: both are ticked at 21:12; a log that says so twice in a second is no log.
    sheet = open_sheet(at=after(12))
    sheet.row(0).locator("[data-tick]").check()
    sheet.row(1).locator("[data-tick]").check()
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8").splitlines()
    assert [line[:19] for line in lines[2:]] == ["2013-07-17T21:12:00", "2013-07-17T21:12:01"]


@pytest.mark.thorough
def test_late_before_the_first_bucket_is_told_as_a_wait(open_sheet: Opener, tmp_path: Path):
    sheet = open_sheet(at=after(-3))
    for _ in range(4):
        sheet.press("5 min more")
    lines = saved_log(sheet, tmp_path).read_text(encoding="utf-8").splitlines()
    # Liquids of the first bucket were to go in at 21:00.
    assert lines[2:] == [
        "2013-07-17T20:57:00-04:00,wait until,,,2013-07-17T21:20:00-04:00,late by 20 min"
    ]


def test_the_report_can_be_written_by_key_alone(open_sheet: Opener):
    sheet = open_sheet(at=after(7))
    page = sheet.page
    page.locator("#sheet-en .report summary").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("A drill")
    for _ in range(2):
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert "A drill is down" in page.locator("#sheet-en .report-said").inner_text()


def test_a_log_of_a_hostile_name_stays_a_table(open_sheet: Opener, tmp_path: Path):
    from output import sheet_sample

    name = 'Bar, "hot" line'
    plan = sheet_sample.sample_plan((name, "Corridor"))
    sheet = open_sheet(plan, at=after(7))
    sheet.row(0).locator("[data-tick]").check()
    events = read_night_log(saved_log(sheet, tmp_path), site=night_site(plan))
    assert [(event.room, event.bucket) for event in events] == [(name, 1)]
    assert json.dumps(name) not in saved_log(sheet, tmp_path).read_text(encoding="utf-8")
