"""The sheet's own night of thirty mishaps, on two phones that are in step with a desk."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from browser.conftest import Sheet, night_plan
from browser.test_sheet_night import HOUR, MINUTE, MISHAPS, NEAR, Night, Phone
from chromium import DESKTOP, PHONE, launched
from desk.nights import JOB
from desk.test_night_browser import BASE, DeskProcess, desk_of

from cureplan.inputs.tables.night_log import read_night_log
from cureplan.inputs.tables.record import read_records
from cureplan.planning.plan.model import Plan
from cureplan.planning.replan.replan import night_site

__all__ = ["night_plan"]
pytestmark = pytest.mark.browser


class NightOnADesk(Night):
    """What differs where the second phone knows what the first has said."""

    def in_step(self) -> None:
        """What is on its way arrives: the phones' own hours stand still."""
        for phone in (self.first, self.second):
            if phone is not None:
                for _ in range(4):
                    phone.page.clock.run_for(500)
                    phone.page.wait_for_timeout(250)

    def a_second_phone_an_hour_ahead(self) -> None:
        self.second = self.opened(self.due(15) + HOUR - 2 * MINUTE, 1)
        self.second.off = HOUR
        self.in_step()
        self.second.at(self.due(15))
        # It has the first one's ticks and lateness.
        assert self.second.box(14).is_checked()
        self.second.box(15).check()
        offer = self.second.page.locator("#sheet-en .behind:visible")
        assert "ahead?" in offer.inner_text()
        offer.get_by_role("button", name="Set this sheet").click()
        self.true(15, self.due(15))

    def both_tick_one_bucket(self) -> None:
        super().both_tick_one_bucket()
        self.in_step()

    def the_second_phone_reloads(self) -> None:
        assert self.second is not None
        self.second.page.reload()
        self.in_step()
        assert self.second.box(18).is_checked()
        assert self.second.box(0).is_checked()


@pytest.fixture
def desk(tmp_path: Path, night_plan: Plan) -> Iterator[DeskProcess]:
    with desk_of(tmp_path / "jobs", night_plan) as running:
        yield running


def test_thirty_mishaps_on_two_phones_end_in_one_log_and_one_record(
    desk: DeskProcess, night_plan: Plan
) -> None:
    with launched() as browser:
        screen = browser.new_context(viewport=DESKTOP).new_page()
        screen.set_default_timeout(60_000)
        screen.goto(desk.url + BASE)
        screen.get_by_role("button", name="Share with phones").click()
        screen.locator("#night-code").wait_for()

        def opened(at: datetime, number: int) -> Phone:
            page = browser.new_context(viewport=PHONE).new_page()
            page.set_default_timeout(60_000)
            page.clock.install(time=at - 5 * MINUTE)
            code = screen.locator("#night-code").inner_text().replace(" ", "")
            url = screen.locator("#night-url").inner_text()
            page.goto(f"{url}?code={code}")
            page.get_by_label(re.compile("name|nombre")).fill(("Ana", "Luis")[number])
            page.get_by_role("button").click()
            page.locator("#sheet-en").wait_for(state="attached")
            page.locator(".desk-bar:visible").get_by_text(
                re.compile("In step")
            ).first.wait_for()
            page.clock.pause_at(at)
            return Phone(Sheet(page=page, url=url))

        night = NightOnADesk(night_plan, desk.folder, opened)
        came_to: dict[str, str] = {}
        for name in MISHAPS:
            try:
                getattr(night, name)()
            except Exception as error:  # noqa: BLE001
                came_to[name] = str(error)[:300]
            night.in_step()
        ticked: list[list[Any]] = [
            [phone.box(index).is_checked() for index in range(len(night.buckets))]
            for phone in (night.first, night.second)
            if phone is not None
        ]
        screen.get_by_role("button", name=re.compile("End the night")).click()
        screen.get_by_text(re.compile("record is written")).wait_for()
    assert came_to == {}
    assert ticked[0] == ticked[1]
    told: dict[tuple[Any, ...], datetime] = {}
    others = []
    path = desk.folder / f"{JOB}-plan" / "night-log.csv"
    for event in read_night_log(path, site=night_site(night_plan)):
        if event.bucket is None:
            others.append((event.event, event.room))
            continue
        key = (event.event, event.bucket)
        told[("lost again", event.bucket) if key in told else key] = event.at
    assert told.keys() == night.truth.keys()
    wrong = {k: str(told[k] - at) for k, at in night.truth.items() if abs(told[k] - at) > NEAR}
    assert wrong == {}
    assert others == night.others
    assert len(read_records(desk.folder / "records")) == 1
