"""The sample sheet opened in a real Chromium at a chosen instant."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from chromium import PHONE, Contexts
from output import sheet_sample

from cureplan.api import make_plan
from cureplan.inputs.job.model import Job
from cureplan.output.sheet.page import sheet_html
from cureplan.planning.plan.model import Plan
from cureplan.weather.hours.series import HourlySeries


@pytest.fixture(scope="module", autouse=True)
def sample_words() -> Iterator[None]:
    with sheet_sample.words_of_sample():
        yield


@pytest.fixture(scope="session")
def night_plan(demo_job: Job, demo_weather: HourlySeries, kept: Callable[..., Any]) -> Plan:
    """The demo's longest pour and the way out of it, for nights that are lived through."""
    rooms = tuple(demo_job.room(name) for name in ("Cook line", "Corridor"))
    job = replace(demo_job, rooms=rooms)
    made_at = datetime(2013, 7, 17, 12, tzinfo=UTC)
    return kept(
        "night",
        lambda: make_plan(job, now=made_at, weather=demo_weather, what_helps=False),
    )


@cache
def sample_html() -> str:
    """The sheet of the plan made by hand, which most tests open."""
    return sheet_html(sheet_sample.sample_plan())


@dataclass
class Sheet:
    """An open sheet and whatever it complained of or asked for."""

    page: Any
    url: str
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def row(self, bucket: int, language: str = "en") -> Any:
        return self.page.locator(f"#sheet-{language} tr[data-bucket='{bucket}']")

    def margin(self, bucket: int) -> str:
        return self.row(bucket).locator("[data-margin]").inner_text().strip()

    def press(self, name: str) -> None:
        self.page.locator(".sheet:visible").get_by_role("button", name=name, exact=True).click()

    def wait(self, minutes: float) -> None:
        """Jump to the last seconds of it: the page looks at the clock, it counts no beats."""
        wanted, lived = round(minutes * 60_000), 3_000
        if wanted > lived:
            self.page.clock.fast_forward(wanted - lived)
        self.page.clock.run_for(min(wanted, lived))


Opener = Callable[..., Sheet]


@pytest.fixture
def open_sheet(contexts: Contexts, tmp_path: Path) -> Iterator[Opener]:
    """Opens a sheet; whatever it complains of fails the test at the end."""
    opened: list[Sheet] = []
    with ExitStack() as stack:

        def opener(
            plan: Plan | None = None,
            *,
            at: datetime | None = None,
            size: dict[str, int] = PHONE,
            prepare: str = "",
            file: Path | None = None,
            beside: Sheet | None = None,
            **options: Any,
        ) -> Sheet:
            path = file or tmp_path / f"sheet-{len(opened)}.html"
            if file is None:
                html = sample_html() if plan is None else sheet_html(plan)
                path.write_text(html, encoding="utf-8")
            if beside is not None:
                # The same browser, with what it has stored.
                page = beside.page.context.new_page()
            else:
                # Another phone, which has stored nothing yet.
                page = contexts.page_of(
                    len(opened), clock=at is not None, viewport=size, **options
                )
                if prepare:
                    # What a page was given before its start it never loses.
                    page = page.context.new_page()
            stack.callback(contexts.leave, page)
            page.set_default_timeout(30_000)
            sheet = Sheet(page=page, url=path.as_uri())
            heard = {
                "console": lambda message: sheet.complaints.append(message.text),
                "pageerror": lambda error: sheet.complaints.append(str(error)),
                "dialog": lambda dialog: sheet.complaints.append(dialog.message),
                "request": lambda request: sheet.requests.append(request.url),
            }
            for event, hear in heard.items():
                page.on(event, hear)
                stack.callback(page.remove_listener, event, hear)
            if prepare:
                page.add_init_script(prepare)
            if at is not None:
                # Far enough before that a slow machine has loaded the page by then.
                page.clock.install(time=at - timedelta(seconds=20))
            page.goto(sheet.url)
            if at is not None:
                page.clock.pause_at(at)
            opened.append(sheet)
            return sheet

        yield opener
        assert [sheet.complaints for sheet in opened if sheet.complaints] == []
        # A blob is made inside the page; nothing else may be asked for but the file itself.
        asked = [url for s in opened for url in s.requests if not url.startswith("blob:")]
        assert set(asked) <= {sheet.url for sheet in opened}
