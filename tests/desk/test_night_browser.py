"""Two phones and a desk in real browsers: one log, out of reach and back, a desk killed."""

from __future__ import annotations

import json
import re
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote
from urllib.request import urlopen

import pytest
from chromium import DESKTOP, PHONE, axe
from output import sheet_sample

from cureplan.desk import share
from cureplan.inputs.tables.night_log import read_night_log
from cureplan.planning.plan.model import Plan, plan_id
from cureplan.planning.replan.replan import night_site
from desk.conftest import Served, Server
from desk.nights import JOB, put_plan

pytestmark = pytest.mark.browser
BASE = f"/jobs/{quote(JOB)}/night"
MINUTE = timedelta(minutes=1)
# A desk as the command starts it, but its local network is this machine.
COMMAND = """
import sys
sys.path.insert(0, {tests!r})
from output import sheet_sample
from cureplan.desk import share
share.local_addresses = lambda: {{"127.0.0.1": ""}}
from cureplan.cli import main
sys.argv = ["cureplan", "desk", sys.argv[1], "--no-browser", "--port", sys.argv[2]]
with sheet_sample.words_of_sample():
    main()
"""


@pytest.fixture(scope="module", autouse=True)
def sample_words() -> Iterator[None]:
    with sheet_sample.words_of_sample():
        yield


@pytest.fixture
def plan() -> Plan:
    return sheet_sample.sample_plan()


class DeskProcess:
    """A desk in a process of its own, which can be killed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        code = COMMAND.format(tests=str(Path(__file__).parents[1]))
        self.process = subprocess.Popen(
            [sys.executable, "-c", code, str(self.folder), str(self.port)]
        )
        for _ in range(600):
            try:
                urlopen(self.url, timeout=5).close()  # noqa: S310
            except OSError:
                time.sleep(0.05)
            else:
                return
        raise AssertionError("the desk does not answer")

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)


@pytest.fixture
def mortal(tmp_path: Path, plan: Plan) -> Iterator[DeskProcess]:
    """A desk that can be killed."""
    put_plan(tmp_path / "jobs", plan)
    running = DeskProcess(tmp_path / "jobs")
    running.start()
    yield running
    running.kill()


Serves = Callable[[Path, Plan], Served]


@pytest.fixture
def desk_of(desk_on: Server, monkeypatch: pytest.MonkeyPatch) -> Serves:
    """Serves a folder with a plan in this process, by its clock: far sooner there."""
    monkeypatch.setattr(share, "local_addresses", lambda: {"127.0.0.1": ""})

    def serves(folder: Path, plan: Plan) -> Served:
        put_plan(folder, plan)
        return desk_on(folder, now=datetime.now(UTC))

    return serves


@pytest.fixture
def desk(tmp_path: Path, plan: Plan, desk_of: Serves) -> Served:
    return desk_of(tmp_path / "jobs", plan)


AnyDesk = Served | DeskProcess


class Page:
    """A page in a context of its own, and what it complained of."""

    def __init__(self, browser: Any, size: dict[str, int]) -> None:
        self.context = browser.new_context(viewport=size)
        self.page = self.context.new_page()
        self.page.set_default_timeout(20_000)
        self.complaints: list[str] = []
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", lambda message: self._heard(message.text))

    def _heard(self, text: str) -> None:
        # A desk that is out of reach is no fault of the page.
        if "net::ERR_" not in text:
            self.complaints.append(text)

    def bar(self) -> Any:
        return self.page.locator(".desk-bar:visible")

    def row(self, index: int) -> Any:
        return self.page.locator(f"#sheet-en tr[data-bucket='{index}'] [data-tick]")

    def sees(self, what: str) -> None:
        self.bar().get_by_text(re.compile(what)).first.wait_for()


Opener = Callable[..., Page]


@pytest.fixture
def opened(chromium: Any) -> Iterator[Opener]:
    pages: list[Page] = []

    def open_page(size: dict[str, int] = PHONE) -> Page:
        pages.append(Page(chromium, size))
        return pages[-1]

    yield open_page
    for each in pages:
        each.context.close()
    assert [each.complaints for each in pages if each.complaints] == []


def shared(desk: AnyDesk, opened: Opener) -> Page:
    screen = opened(DESKTOP)
    screen.page.goto(desk.url + BASE)
    screen.page.get_by_role("button", name="Share with phones").click()
    screen.page.locator("#night-code").wait_for()
    return screen


def joined(screen: Page, opened: Opener, plan: Plan, name: str, minutes: float = 9) -> Page:
    """A phone that scanned the picture: its address holds the code."""
    phone = opened(PHONE)
    phone.page.clock.set_fixed_time(plan.buckets[0].pour + minutes * MINUTE)
    code = screen.page.locator("#night-code").inner_text()
    url = screen.page.locator("#night-url").inner_text()
    phone.page.goto(f"{url}?code={code.replace(' ', '')}")
    phone.page.get_by_label(re.compile("name|nombre")).fill(name)
    phone.page.get_by_role("button").click()
    phone.sees(f"In step with the desk as {name}")
    # The next phone needs the next code.
    screen.page.wait_for_function(
        "was => document.getElementById('night-code').textContent !== was", arg=code
    )
    return phone


def checked(phone: Page, index: int, *, is_: bool = True) -> None:
    phone.page.wait_for_function(
        "([index, is]) => document.querySelector("
        "`#sheet-en tr[data-bucket='${index}'] [data-tick]`).checked === is",
        arg=[index, is_],
        timeout=20_000,
    )


def log_of(desk: AnyDesk, plan: Plan) -> list[tuple[str, int | None]]:
    path = desk.folder / f"{JOB}-plan" / "night-log.csv"
    return [(e.event, e.bucket) for e in read_night_log(path, site=night_site(plan))]


def test_two_phones_and_a_desk_see_one_state(desk: Served, opened: Opener, plan: Plan) -> None:
    screen = shared(desk, opened)
    ana = joined(screen, opened, plan, "Ana")
    luis = joined(screen, opened, plan, "Luis")
    ana.row(0).check()
    checked(luis, 0)
    screen.page.get_by_text("The log (1)").wait_for()
    # The other phone says whose entry it is, and takes it back; both are without it.
    luis.page.locator("#sheet-en .log-part summary").click()
    row = luis.page.locator("#sheet-en .log li").first
    assert "Ana" in row.inner_text()
    row.get_by_role("button", name=re.compile("Delete")).click()
    checked(ana, 0, is_=False)
    screen.page.get_by_text("deleted by Luis").wait_for()
    # The desk puts it back.
    screen.page.get_by_role("button", name=re.compile("Put back")).click()
    checked(ana, 0)
    checked(luis, 0)
    # Undo on a phone takes back its own last tap and nothing of the others.
    ana.row(1).check()
    checked(luis, 1)
    luis.page.locator("#sheet-en .short-mark[data-short='0']").click()
    ana.page.wait_for_function(
        "() => document.querySelector(\"#sheet-en .short-mark[data-short='0']\")"
        ".ariaPressed === 'true'"
    )
    ana.page.get_by_role("button", name="Undo").first.click()
    checked(luis, 1, is_=False)
    assert (
        luis.page.locator("#sheet-en .short-mark[data-short='0']").get_attribute("aria-pressed")
        == "true"
    )
    assert log_of(desk, plan) == [("poured", 1), ("ran short", 1)]


def stored(phone: Page, plan: Plan) -> dict[str, Any]:
    """What the sheet itself keeps."""
    text = phone.page.evaluate(f"() => localStorage.getItem('cureplan:{plan_id(plan)}')")
    found: dict[str, Any] = json.loads(text)
    return found


def keeps(phone: Page, plan: Plan, what: str) -> None:
    """Wait until what the sheet itself keeps is so."""
    phone.page.wait_for_function(
        f"(key) => {{ const kept = JSON.parse(localStorage.getItem(key)); return {what}; }}",
        arg=f"cureplan:{plan_id(plan)}",
    )


@pytest.mark.thorough
def test_lateness_and_losses_go_from_phone_to_phone_and_back(
    desk: Served, opened: Opener, plan: Plan
) -> None:
    screen = shared(desk, opened)
    ana = joined(screen, opened, plan, "Ana", minutes=-8)
    luis = joined(screen, opened, plan, "Luis", minutes=-8)
    ana.page.locator(".sheet:visible").get_by_role("button", name="5 min more").click()
    screen.page.get_by_text("late by 5 min").wait_for()
    keeps(luis, plan, "kept.late_s === 300")
    assert stored(ana, plan)["late_s"] == 300
    # The list moved: taps rest for a second. The lost bucket makes the rest later again.
    for phone in (ana, luis):
        phone.page.clock.set_fixed_time(plan.buckets[0].pour + 6 * MINUTE)
    luis.page.wait_for_timeout(1200)
    for phone in (ana, luis):
        phone.page.clock.set_fixed_time(plan.buckets[0].pour + 6.1 * MINUTE)
    luis.page.locator(".sheet:visible [data-lost='0']").first.click()
    screen.page.get_by_role("cell", name="lost").wait_for()
    keeps(ana, plan, "'0' in kept.lost && kept.late_s > 300")
    shown = [stored(phone, plan) for phone in (ana, luis)]
    for key in ("late_s", "poured", "lost", "fixed"):
        assert shown[0][key] == shown[1][key], key
    assert shown[0]["late_s"] > 300
    assert [list(each["lost"]) for each in shown] == [["0"], ["0"]]
    # Luis's undo takes both back, everywhere.
    luis.page.get_by_role("button", name="Undo").first.click()
    for phone in (ana, luis):
        keeps(phone, plan, "!('0' in kept.lost) && kept.late_s === 300")
    shown = [stored(phone, plan) for phone in (ana, luis)]
    assert [(each["late_s"], each["lost"]) for each in shown] == [(300, {}), (300, {})]
    # A held press on "clear" takes away one's own and no one else's.
    ana.page.clock.set_fixed_time(plan.buckets[0].pour + 8 * MINUTE)
    ana.row(0).check()
    checked(luis, 0)
    luis.page.evaluate(
        "() => { const b = document.querySelector('.sheet [data-hold]');"
        "b.dispatchEvent(new PointerEvent('pointerdown', { bubbles: true })); }"
    )
    luis.page.wait_for_timeout(1500)
    checked(luis, 0)
    checked(ana, 0)


@pytest.mark.thorough
def test_out_of_reach_the_phone_keeps_and_sends_when_it_is_back(
    mortal: DeskProcess, opened: Opener, plan: Plan
) -> None:
    screen = shared(mortal, opened)
    ana = joined(screen, opened, plan, "Ana")
    luis = joined(screen, opened, plan, "Luis")
    ana.row(0).check()
    checked(luis, 0)
    address = luis.page.url
    mortal.kill()
    ana.sees("out of reach")
    luis.sees("out of reach")
    ana.row(1).check()
    luis.row(2).check()
    ana.sees("1 to send")
    # Closed by mistake, the sheet opens again without the desk, with its ticks.
    luis.page.goto("about:blank")
    luis.page.goto(address)
    luis.sees("out of reach")
    checked(luis, 2)
    mortal.start()
    # What was shared when the desk was killed is shared again, at the same address.
    for phone in (ana, luis):
        phone.sees("In step with the desk")
        for index in range(3):
            checked(phone, index)
    assert {bucket for _, bucket in log_of(mortal, plan)} == {
        plan.buckets[n].number for n in range(3)
    }
    # A reload finds the same state.
    luis.page.reload()
    luis.sees("In step with the desk as Luis")
    checked(luis, 1)


@pytest.mark.thorough
def test_a_contradiction_is_shown_on_every_phone_and_settled_on_one(
    desk: Served, opened: Opener, plan: Plan
) -> None:
    screen = shared(desk, opened)
    ana = joined(screen, opened, plan, "Ana", minutes=9)
    luis = joined(screen, opened, plan, "Luis", minutes=19)
    ana.context.set_offline(True)
    ana.sees("out of reach")
    luis.row(0).check()
    screen.page.get_by_text("The log (1)").wait_for()
    ana.row(0).check()
    ana.context.set_offline(False)
    ana.sees("Delete the wrong one")
    luis.sees("Ana says .*, Luis says|Luis says .*, Ana says")
    luis.bar().get_by_role("button", name="Delete Luis's").click()
    luis.page.wait_for_function("() => !document.querySelector('.desk-told')")
    ana.page.wait_for_function("() => !document.querySelector('.desk-told')")
    assert log_of(desk, plan) == [("poured", 1)]
    checked(luis, 0)


@pytest.mark.thorough
def test_the_new_plan_comes_to_the_phone_with_its_ticks(
    tmp_path: Path, opened: Opener, room_plan: Plan, desk_of: Serves
) -> None:
    desk = desk_of(tmp_path / "room", room_plan)
    screen = shared(desk, opened)
    first = room_plan.buckets[0]
    ana = joined(screen, opened, room_plan, "Ana", minutes=4)
    ana.row(0).check()
    ana.row(0).page.locator("#sheet-en .short-mark[data-short='0']").click()
    screen.page.get_by_text("The log (2)").wait_for()
    ana.page.clock.set_fixed_time(first.pour + 5 * MINUTE)
    screen.page.get_by_role("button", name="Plan again").click()
    ana.bar().get_by_text("There is a new plan").wait_for(timeout=90_000)
    # Ticked on the old sheet when the new one was made already.
    ana.row(1).check()
    ana.bar().get_by_role("button", name="Open the new sheet").click()
    ana.sees("This is the new plan. What changed")
    checked(ana, 0)
    checked(ana, 1)
    checked(ana, 2, is_=False)
    short = ana.page.locator("#sheet-en .short-mark[data-short='0']")
    assert short.get_attribute("aria-pressed") == "true"
    ana.bar().get_by_role("button", name="Seen").click()
    assert ana.bar().get_by_text("This is the new plan").count() == 0
    # The log of the night is whole, once.
    assert log_of(desk, room_plan) == [("poured", 1), ("ran short", 1), ("poured", 2)]
    # The sheet before it is still to be had.
    screen.page.get_by_role("link", name=re.compile("before: ")).click()
    screen.page.get_by_text("There is a new plan").first.wait_for()


@pytest.mark.thorough
def test_a_saved_copy_works_alone(desk: Served, opened: Opener, plan: Plan) -> None:
    alone = opened(PHONE)
    alone.page.clock.set_fixed_time(plan.buckets[0].pour + 9 * MINUTE)
    alone.page.goto((desk.folder / f"{JOB}-plan" / "sheet.html").as_uri())
    alone.row(0).check()
    assert alone.page.locator(".desk-bar").count() == 0
    with alone.page.expect_download() as saved:
        alone.page.locator(".sheet:visible").get_by_role("button", name="Save the log").click()
    # The file it saves joins the night on the desk.
    screen = opened(DESKTOP)
    screen.page.goto(desk.url + BASE)
    saved.value.save_as(desk.folder / "phone.csv")
    screen.page.locator("#night-file").set_input_files(desk.folder / "phone.csv")
    screen.page.get_by_text("The log (1)").wait_for()
    assert log_of(desk, plan) == [("poured", 1)]


@pytest.mark.thorough
def test_the_pages_are_accessible(desk: Served, opened: Opener, plan: Plan) -> None:
    screen = shared(desk, opened)
    url = screen.page.locator("#night-url").inner_text()
    joined(screen, opened, plan, "Ana").row(0).check()
    screen.page.get_by_text("The log (1)").wait_for()
    stranger = opened(DESKTOP)
    stranger.page.goto(url)
    for page in (screen.page, stranger.page):
        for size in (DESKTOP, PHONE):
            page.set_viewport_size(size)
            assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
        found = axe().run(page)
        assert found.violations_count == 0, found.generate_report()


@pytest.mark.thorough
def test_a_phone_an_hour_ahead_is_asked_by_its_own_ticks_and_moves_no_others(
    desk: Served, opened: Opener, plan: Plan
) -> None:
    # The sample pours its first buckets 3.5 min apart; Luis's phone is an hour ahead.
    screen = shared(desk, opened)
    ana = joined(screen, opened, plan, "Ana", minutes=0)
    ana.row(0).check()
    luis = joined(screen, opened, plan, "Luis", minutes=63.5)
    checked(luis, 0)
    luis.row(1).check()
    checked(ana, 1)
    asked = ".behind:visible"
    assert ana.page.locator(asked).count() == 0
    luis.page.locator(asked).get_by_role("button", name="Set this sheet −1 h").click()
    when = plan.buckets[1].pour.timestamp()
    keeps(ana, plan, f"Math.abs(kept.poured[1] - {when}) < 60")
    assert stored(ana, plan)["poured"]["0"] == stored(luis, plan)["poured"]["0"]
    assert abs(stored(luis, plan)["poured"]["0"] - plan.buckets[0].pour.timestamp()) < 60
    assert luis.page.locator(asked).count() == 0
