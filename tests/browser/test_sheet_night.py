"""A whole night of mishaps on two phones: in the end the joined log tells what happened."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from browser.conftest import Opener, Sheet
from browser.test_sheet_log import saved_log, write_plan
from cureplan.inputs.tables.night_log import read_night_logs
from cureplan.planning.plan.model import BucketPlan, Plan
from cureplan.planning.replan.replan import night_site

pytestmark = pytest.mark.browser

NEAR = timedelta(seconds=90)
SECOND = timedelta(seconds=1)


class Phone:
    """A phone in somebody's hand, and what has really happened by then."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.truth: dict[tuple[str, int], datetime] = {}

    def at(self, instant: datetime) -> None:
        self.sheet.page.clock.pause_at(instant)
        # Past the second in which taps are ignored because the list has moved.
        self.sheet.page.clock.run_for(2000)

    def box(self, index: int):
        return self.sheet.row(index).locator("[data-tick]")

    def tick(self, index: int, bucket: BucketPlan, at: datetime) -> None:
        self.at(at)
        self.box(index).check()
        self.truth["poured", bucket.number] = at


def test_a_night_of_mishaps_ends_in_a_log_that_tells_the_truth(
    open_sheet: Opener, demo_plan: Plan, tmp_path: Path
):
    room = demo_plan.buckets[0].room
    buckets = demo_plan.buckets_of(room)
    file = write_plan(demo_plan, tmp_path)
    ice = min(each.in_ice_by for each in demo_plan.chill.rooms)
    first = Phone(open_sheet(at=ice + timedelta(minutes=1), file=file))
    page = first.sheet.page
    mishaps = 0

    # Missed ice, done nine minutes late.
    first.at(ice + timedelta(minutes=9))
    task = page.locator("#sheet-en .task.is-late").first
    assert "stir from" in task.inner_text()
    task.get_by_role("button", name="Done").click()
    mishaps += 1

    # Twelve buckets, some late, with double taps, reloads, a tick taken back, a short one.
    late_s = [0, 20, 150, 30, 240, 60, 0, 90, 300, 120, 30, 0]
    for index, (bucket, late) in enumerate(zip(buckets, late_s, strict=False)):
        at = bucket.pour + timedelta(seconds=late)
        first.tick(index, bucket, at)
        mishaps += late >= 60
        if index in (1, 5):  # a double tap: the second hits the box again, and is put right
            first.box(index).uncheck()
            first.box(index).check()
            mishaps += 1
        if index in (2, 7):
            page.reload()
            mishaps += 1
        if index == 3:
            first.sheet.row(index).locator("[data-short]").click()
            first.truth["ran short", bucket.number] = at
            mishaps += 1
        if index == 4:  # ticked for a bucket that still stands there, and taken back
            first.box(index + 1).check()
            page.locator("#sheet-en .undo").click()
            assert not first.box(index + 1).is_checked()
            mishaps += 1

    # The thirteenth slips out of the hand; the next kit goes in its place three minutes on.
    lost = buckets[12]
    first.at(lost.pour)
    card = page.locator("#sheet-en .in-hand", has_text=f"bucket {lost.number}").first
    card.get_by_role("button", name="Lost").click()
    first.truth["lost", lost.number] = lost.pour
    mishaps += 1
    again = buckets[13].pour
    first.tick(12, lost, again)

    # A gap of twelve minutes: the edge dies, and the sheet says so before and after.
    edge = buckets[13]
    first.tick(13, edge, again + timedelta(minutes=4))
    by = edge.wet_edge_end + timedelta(minutes=7)
    first.at(max(by, again + timedelta(minutes=13)))
    assert "cut a stop line here" in page.locator("#sheet-en .edges").inner_text()
    mishaps += 1

    # Two buckets go without a tick. The second phone runs an hour ahead; it is put right
    # before it is believed.
    mishaps += 2
    true_at = buckets[16].pour + timedelta(minutes=4)
    second = Phone(open_sheet(at=true_at + timedelta(hours=1), file=file))
    assert not second.box(0).is_checked()
    second.box(16).check()
    offer = second.sheet.page.locator("#sheet-en .behind:visible")
    assert "ahead?" in offer.inner_text()
    offer.get_by_role("button").click()
    second.truth["poured", buckets[16].number] = true_at
    mishaps += 1
    for number in (17, 18, 19, 20):
        true_at += timedelta(minutes=4)
        second.at(true_at + timedelta(hours=1))
        second.box(number).check()
        second.truth["poured", buckets[number].number] = true_at
        mishaps += 1
    # Both saw two of these; each ticks at its own glance.
    for number in (17, 18):
        first.at(second.truth["poured", buckets[number].number] + timedelta(seconds=50))
        first.box(number).check()
        mishaps += 1

    # A coat before its window opens, and one whose end nobody ticks.
    coat = next(each for each in demo_plan.coats if each.room == room and each.coat == 1)
    first.at(coat.start)
    task = page.locator("#sheet-en .task", has_text=f"Topcoat 1: {room}")
    for name in ("Vacuumed", "Coat begun"):
        page.clock.run_for(1500)
        task.get_by_role("button", name=name).click()
    mishaps += 1
    assert "outside" in task.inner_text() or "until" in task.inner_text()
    # Shown in the list twice over, struck once, ticked again.
    page.reload()
    mishaps += 1

    logs = []
    for name, phone in (("a", first), ("b", second)):
        (tmp_path / name).mkdir()
        logs.append(saved_log(phone.sheet, tmp_path / name))
    events = read_night_logs(logs, site=night_site(demo_plan))
    told = {(e.event, e.bucket): e.at for e in events if e.bucket is not None}
    truth = first.truth | second.truth
    assert told.keys() == truth.keys()
    wrong = {key: told[key] - at for key, at in truth.items() if abs(told[key] - at) > NEAR}
    assert wrong == {}
    others = [(e.event, e.room) for e in events if e.bucket is None]
    iced = min(demo_plan.chill.rooms, key=lambda each: each.in_ice_by).room
    assert others == [("pails in ice", iced), ("vacuumed", room), ("coat begun", room)]
    assert mishaps >= 25
