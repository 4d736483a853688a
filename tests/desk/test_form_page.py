"""The jobs and the form in a real Chromium, by hand as a foreman would."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from chromium import DESKTOP, PHONE, axe

from cureplan.core.errors import OutputError
from cureplan.desk import folder as files
from desk.conftest import DEMO, Served

pytestmark = pytest.mark.browser

JOB = "school-kitchen"
LOOK_MS = 50
# A refusal is an answer the page is meant to get.
EXPECTED = ("422", "409", "507", "404", "ERR_")
Opener = Callable[..., Any]


@pytest.fixture
def open_page(chromium: Any) -> Iterator[Opener]:
    """Opens a page in a browser of its own; complaints fail the test at its end."""
    opened, complaints = [], []

    def opener(url: str, size: dict[str, int] = DESKTOP, beside: Any = None) -> Any:
        context = beside.context if beside else chromium.new_context(viewport=size)
        if beside is None:
            opened.append(context)
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
        page.goto(url)
        return page

    yield opener
    for context in opened:
        context.close()
    assert [words for words in complaints if not any(e in words for e in EXPECTED)] == []


def fits_and_is_free_of_faults_of_access(page: Any) -> None:
    """On a wide screen and on a phone; what has access on the narrow one has it on the wide."""
    page.evaluate(
        "document.querySelectorAll('details').forEach((node) => { node.open = true; })"
    )
    for size in (DESKTOP, PHONE):
        page.set_viewport_size(size)
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    violations = axe().run(page).response["violations"]
    assert [(v["id"], [n["html"][:90] for n in v["nodes"][:3]]) for v in violations] == []


def values(served: Served, name: str = JOB) -> dict[str, Any]:
    return tomllib.loads((served.folder / f"{name}.toml").read_text("utf-8"))


def until(page: Any, script: str, seconds: float = 20) -> None:
    """Wait for a script to be true; the page's policy forbids it to be waited for inside."""
    comes_true(page, lambda: page.evaluate(script), script, seconds)


def comes_true(page: Any, is_true: Callable[[], object], words: str, seconds: float) -> None:
    """Look again and again, as many times as go into the seconds."""
    from playwright.sync_api import Error

    for _ in range(int(seconds * 1000 / LOOK_MS)):
        try:
            if is_true():
                return
        except Error:
            pass  # the page was on its way to another
        page.wait_for_timeout(LOOK_MS)
    pytest.fail(f"never came true: {words}")


def is_saved(page: Any) -> None:
    until(
        page,
        "document.getElementById('saved').textContent.startsWith('Saved in')"
        " && !busy && queue.length === 0",
    )


def leave(page: Any, field: str, text: str) -> None:
    page.fill(field, text)
    page.press(field, "Tab")


def test_a_wrong_field_says_why_as_it_is_left_and_a_right_one_is_saved(
    demo_desk: Served, open_page: Opener
) -> None:
    page = open_page(f"{demo_desk.url}/jobs/{JOB}")
    leave(page, "#f-crew-setup", "45")
    page.wait_for_selector("#f-crew-setup-fault:not([hidden])")
    assert "a bare number is not a duration" in page.inner_text("#f-crew-setup-fault")
    assert values(demo_desk)["crew"]["setup"] == "30 min"
    leave(page, "#f-crew-setup", "40 min")
    is_saved(page)
    assert page.locator("#f-crew-setup-fault").is_hidden()
    assert values(demo_desk)["crew"]["setup"] == "40 min"
    page.click("#undo")
    until(page, "document.getElementById('f-crew-setup').value === '30 min'")
    assert values(demo_desk)["crew"]["setup"] == "30 min"


@pytest.mark.thorough
def test_what_was_typed_wrong_is_there_again_after_the_page_was_killed(
    demo_desk: Served, open_page: Opener
) -> None:
    page = open_page(f"{demo_desk.url}/jobs/{JOB}")
    leave(page, "#f-policy-margin", "2 minuts")
    page.wait_for_selector("#f-policy-margin-fault:not([hidden])")
    page.close(run_before_unload=False)
    after = open_page(f"{demo_desk.url}/jobs/{JOB}", beside=page)
    after.wait_for_selector("#f-policy-margin-fault:not([hidden])")
    assert after.input_value("#f-policy-margin") == "2 minuts"


def full(path: Path, _: object) -> None:
    raise OutputError(f"{path}: could not be written (No space left on device)")


@pytest.mark.thorough
def test_what_is_typed_while_the_desk_is_away_or_full_is_saved_when_it_is_not(
    demo_desk: Served, open_page: Opener, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = open_page(f"{demo_desk.url}/jobs/{JOB}")
    page.context.set_offline(True)
    leave(page, "#f-crew-setup", "35 min")
    leave(page, "#f-policy-margin", "3 min")
    page.wait_for_selector("#away:not([hidden])")
    assert "out of reach" in page.inner_text("#away")
    assert values(demo_desk)["crew"]["setup"] == "30 min"
    # Back, but for a disk that is full.
    with monkeypatch.context() as patch:
        patch.setattr(files, "write_atomically", full)
        page.context.set_offline(False)
        until(page, "document.getElementById('away').textContent.includes('No space left')")
        assert "saved when there is room" in page.inner_text("#away")
    page.wait_for_selector("#away", state="hidden")
    is_saved(page)
    found = values(demo_desk)
    assert (found["crew"]["setup"], found["policy"]["margin"]) == ("35 min", "3 min")


@pytest.mark.thorough
def test_the_second_browser_chooses_between_theirs_and_its_own(
    demo_desk: Served, open_page: Opener
) -> None:
    first = open_page(f"{demo_desk.url}/jobs/{JOB}")
    second = open_page(f"{demo_desk.url}/jobs/{JOB}")
    leave(first, "#f-crew-setup", "40 min")
    is_saved(first)
    leave(second, "#f-policy-margin", "3 min")
    second.wait_for_selector("#elsewhere:not([hidden])")
    table = second.inner_text("#elsewhere-table")
    # In the words of the form, not the file's.
    assert "Crew: How long to set up?" in table
    assert "Policy: How much time in hand" in table
    assert "crew.setup" not in table
    assert "40 min" in table
    assert "3 min" in table
    second.click("#put-mine")
    until(second, "document.getElementById('f-crew-setup').value === '40 min'")
    found = values(demo_desk)
    assert (found["crew"]["setup"], found["policy"]["margin"]) == ("40 min", "3 min")


@pytest.mark.thorough
def test_a_file_changed_by_hand_while_open_is_noticed(
    demo_desk: Served, open_page: Opener
) -> None:
    page = open_page(f"{demo_desk.url}/jobs/{JOB}")
    path = demo_desk.folder / f"{JOB}.toml"
    path.write_text(path.read_text("utf-8").replace('"30 min"', '"30 min'), encoding="utf-8")
    page.wait_for_selector("#away:not([hidden]) button")
    page.click("#away button")
    page.wait_for_selector("#whole")
    assert "cannot be read" in page.inner_text("main")
    assert 'setup = "30 min' in page.inner_text(".around .here")


@pytest.mark.thorough
def test_a_corner_is_dragged_and_the_file_says_so(demo_desk: Served, open_page: Opener) -> None:
    page = open_page(f"{demo_desk.url}/jobs/{JOB}")
    room = page.locator("article[data-room='1']")
    grip = room.get_by_role("button", name="Corner 3", exact=True)
    box = grip.bounding_box()
    # 30 ft of the room are drawn between corners 2 and 3.
    above = room.get_by_role("button", name="Corner 2", exact=True).bounding_box()
    foot = (box["y"] - above["y"]) / 30
    at = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.move(*at)
    page.mouse.down()
    page.mouse.move(at[0] - 1 * foot, at[1] - 3 * foot, steps=6)
    page.mouse.move(at[0] - 2 * foot, at[1] - 6 * foot, steps=6)
    page.mouse.up()
    is_saved(page)
    found = values(demo_desk)["rooms"][0]
    assert (found["width"], found["length"]) == ("20 ft", "24 ft")
    assert "outline" not in found


@pytest.mark.thorough
def test_an_l_is_made_by_typing_sides_with_an_island_and_a_drain(
    demo_desk: Served, open_page: Opener
) -> None:
    page = open_page(f"{demo_desk.url}/jobs/{JOB}")
    room = page.locator("article[data-room='2']")
    room.get_by_role("button", name="L-shape").click()
    # Sides of an L, clockwise from the back wall: 20 + 10 down, in 8, 12 down.
    for side, text in (("A", "20 ft"), ("B", "10 ft"), ("C", "8 ft"), ("D", "12 ft 6 in")):
        field = room.get_by_label(f"Side {side}", exact=True)
        field.fill(text)
        field.press("Tab")
        is_saved(page)
    room.get_by_role("button", name="Add an island").click()
    room.get_by_role("button", name="Add a drain or joint").click()
    is_saved(page)
    assert page.locator("#faults-part").is_hidden()
    found = values(demo_desk)["rooms"][1]
    assert found["outline"] == [
        ["0 in", "0 in"], ["20 ft", "0 in"], ["20 ft", "10 ft"], ["12 ft", "10 ft"],
        ["12 ft", "22 ft 6 in"], ["0 in", "22 ft 6 in"],
    ]  # fmt: skip
    assert len(found["islands"]) == len(found["stop_lines"]) == 1
    field = room.get_by_label("Side A", exact=True)
    field.fill("22")
    field.press("Tab")
    until(page, "[...document.querySelectorAll('.shape-fault')].some((one) => !one.hidden)")
    assert "a bare number is not a length" in room.locator(".shape-fault").inner_text()


@pytest.mark.thorough
def test_a_corner_moves_by_the_arrow_keys(demo_desk: Served, open_page: Opener) -> None:
    page = open_page(f"{demo_desk.url}/jobs/{JOB}")
    room = page.locator("article[data-room='1']")
    room.get_by_role("button", name="Corner 3", exact=True).focus()
    for _ in range(4):
        page.keyboard.press("ArrowDown")
    # What is shown while it is saved may have gone again before it can be seen.
    comes_true(
        page,
        lambda: values(demo_desk)["rooms"][0]["length"] == "31 ft",
        "the corner's move is saved",
        20,
    )
    is_saved(page)


@pytest.mark.thorough
def test_weather_is_dropped_and_told(demo_desk: Served, open_page: Opener) -> None:
    page = open_page(f"{demo_desk.url}/jobs/{JOB}")
    page.set_input_files("#drop-file", files=[
        {"name": "photo.jpg", "mimeType": "image/jpeg", "buffer": b"\xff\xd8\xff\xe0" * 999}
    ])  # fmt: skip
    page.wait_for_selector("#drop-fault:not([hidden])")
    assert "this is a picture" in page.inner_text("#drop-fault")
    data = (DEMO / "heat-wave.csv").read_bytes()
    page.set_input_files("#drop-file", files=[
        {"name": "mine.csv", "mimeType": "text/csv", "buffer": data}
    ])  # fmt: skip
    until(page, "document.getElementById('hours').textContent.includes('hours:')")
    assert values(demo_desk)["weather"]["file"] == "mine.csv"
    assert page.input_value("#f-weather-file") == "mine.csv"


@pytest.mark.thorough
@pytest.mark.parametrize("path", ["/", f"/jobs/{JOB}", "/jobs/none"])
def test_pages_fit_and_are_free_of_faults_of_access(
    demo_desk: Served, open_page: Opener, path: str
) -> None:
    fits_and_is_free_of_faults_of_access(open_page(f"{demo_desk.url}{path}"))
