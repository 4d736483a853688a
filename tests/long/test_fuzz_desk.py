"""Whatever a page, a phone or a hand in the folder sends the desk: an answer, never a fault.

    python -m pytest -o addopts= tests/long/test_fuzz_desk.py

The desk's application is asked in this process, without a socket. A page that is refused is
told so by a status below 500, and what it was refused for is on the disk as it was.
"""

from __future__ import annotations

import asyncio
import copy
import json
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from hypothesis import given
from hypothesis import strategies as st
from spoiling import NUMBER_EDITS, TOML_EDITS, many, outcomes, some, spoiled, within

from cureplan.api import get_weather, make_plan, read_job
from cureplan.core.errors import CurePlanError
from cureplan.desk.app import make_app
from cureplan.desk.folder import OWN, JobFolder, fingerprint
from cureplan.desk.pages import Desk
from cureplan.output.sheet.write import render_sheets
from cureplan.planning.plan.model import Plan, plan_id

PINNED = Path(__file__).parents[1] / "pinned" / "jobs"
JOB = (PINNED / "one-room.toml").read_text("utf-8")
NOW = datetime(2026, 6, 10, 13, tzinfo=UTC)
HOST = "127.0.0.1:8480"
LONGEST_S = 60.0
ODD = [
    None, True, 0, -1, 1e308, 10**30, float("nan"), "", "x", "82 F", "x" * 3000, "\x1b[31m",
    "\ud800", "a\u2028b", "\0", [], {}, [[]], [None], {"text": 1}, "../job", "rooms[1].name",
    "rooms", "rooms[9].length", "people[1].hours", "crew.mixer", "site", "2026-06-11T22:00",
]  # fmt: skip
KEYS = [
    "rooms[1].length", "rooms[1].name", "rooms[1].way_out", "rooms[1].open_for", "rooms[2].use",
    "rooms", "rooms[1]", "people[1].name", "people", "crew.mixer", "crew.pour_shifts", "site",
    "site.name", "weather.file", "policy.margin", "materials.slurry", "access.from", "", ".",
    "rooms[0].use", "rooms[1].slab_reading.temp", "building.lag",
]  # fmt: skip
DOES = [
    "set", "add room", "remove room", "shape", "list people", "add person",
    "remove person", "?",
]  # fmt: skip


async def _asked(app: Any, path: str, body: bytes | None, query: str = "") -> tuple[int, bytes]:
    """One request through the whole application: its status and body."""
    sent: list[dict[str, Any]] = []
    parts = [b"" if body is None else body]

    async def receive() -> dict[str, Any]:
        if parts:
            return {"type": "http.request", "body": parts.pop()}
        return {"type": "http.disconnect"}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    headers = [("host", HOST), ("origin", f"http://{HOST}")]
    if body is not None:
        headers.append(("content-length", str(len(body))))
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "scheme": "http",
        "method": "GET" if body is None else "POST", "path": path, "root_path": "",
        "raw_path": quote(path).encode(), "query_string": query.encode(),
        "headers": [(k.encode(), v.encode()) for k, v in headers], "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 8480),
    }  # fmt: skip
    await app(scope, receive, send)
    status = next(m["status"] for m in sent if m["type"] == "http.response.start")
    return status, b"".join(m.get("body", b"") for m in sent)


class Folder:
    """A folder with a desk on it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        desk = Desk(folder=JobFolder(path), now=lambda: NOW)
        desk.admitted.hosts.add(HOST)
        self.app = make_app(desk)

    def ask(self, path: str, data: Any = None, *, what: str, query: str = "") -> int:
        """The status, below 500; nothing lies in the folder that a fault has left."""
        body = data if isinstance(data, bytes) else None if data is None else _json(data)
        with within(LONGEST_S):
            status, said = asyncio.run(_asked(self.app, path, body, query))
        assert status < 500, (path, data, said[:300])
        assert b"Traceback" not in said
        assert str(self.path).encode() not in said
        outcomes[f"desk, {what}: {status}"] += 1
        return status


def _json(data: Any) -> bytes:
    return json.dumps(data).encode("utf-8", "surrogatepass")


class Sheets:
    """A plan and what `cureplan plan` leaves of it."""

    def __init__(self, plan: Plan) -> None:
        self.ident = plan_id(plan)
        self.files = render_sheets(plan, pictures=False)


@pytest.fixture(scope="module")
def sheets() -> Sheets:
    job = read_job(PINNED / "one-room.toml")
    found = make_plan(job, now=NOW, weather=get_weather(job, now=NOW), what_helps=False)
    return Sheets(found)


def beside(folder: Path, text: str = JOB) -> Path:
    for name in ("mild.csv", "hot.csv"):
        (folder / name).write_bytes((PINNED / name).read_bytes())
    (folder / "kitchen.toml").write_text(text, encoding="utf-8", errors="surrogatepass")
    return folder


VALUE = st.sampled_from(ODD)
CHANGE = st.fixed_dictionaries(
    {},
    optional={
        "do": st.sampled_from(DOES),
        "key": st.sampled_from(KEYS),
        "text": st.one_of(VALUE, st.text(max_size=8), st.sampled_from(["10 ft", "3", "19:00"])),
        "shape": st.one_of(
            VALUE,
            st.fixed_dictionaries(
                {}, optional={"length": VALUE, "outline": VALUE, "islands": VALUE}
            ),
        ),
    },
)


@many(2500)
@given(
    edits=st.one_of(st.just([]), some(TOML_EDITS, 2), some(NUMBER_EDITS, 2)),
    changes=st.lists(CHANGE, min_size=1, max_size=3),
    known=st.sampled_from([True, True, True, False]),
)
def test_a_job_of_any_text_is_shown_and_changed(edits, changes, known):
    with tempfile.TemporaryDirectory() as name:
        text = spoiled(JOB, edits)
        desk = Folder(beside(Path(name), text))
        path = desk.path / "kitchen.toml"
        desk.ask("/jobs/kitchen", what="page of a job")
        before = path.read_bytes()
        sent = {
            "rev": fingerprint(path.read_text("utf-8")) if known else "0",
            "changes": changes,
        }
        if desk.ask("/jobs/kitchen/change", sent, what="change") != 200:
            assert path.read_bytes() == before
        elif path.read_bytes() != before:
            rev = fingerprint(path.read_text("utf-8"))
            assert desk.ask("/jobs/kitchen/undo", {"rev": rev}, what="undo") == 200
            assert path.read_bytes().decode().split() == before.decode().split()
        desk.ask("/", what="list")


@many(1500)
@given(
    path=st.sampled_from(
        ["/jobs", "/jobs/kitchen/copy", "/jobs/kitchen/text", "/jobs/kitchen/undo", "/length",
         "/towns", "/jobs/kitchen/hours", "/jobs/nothing/change", "/jobs/kitchen/weather",
         "/jobs/kitchen/night/log", "/jobs/kitchen/night", "/stop", "/jobs/..%2f/text"]
    ),
    sent=st.one_of(
        VALUE,
        st.dictionaries(st.sampled_from(["name", "text", "rev", "changes", "file"]), VALUE),
        st.binary(max_size=20),
    ),
    file=st.sampled_from(["", "hours.csv", "kitchen.toml", "..", "a/b", ".x", "mild.csv"]),
)  # fmt: skip
def test_any_body_at_all(path, sent, file):
    with tempfile.TemporaryDirectory() as name:
        desk = Folder(beside(Path(name)))
        mild = (desk.path / "mild.csv").read_bytes()
        desk.ask(path, sent, what="any body", query=f"file={quote(file)}")
        assert (desk.path / "mild.csv").read_bytes() == mild


def _cells(draw_odd: Any) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries(
        {},
        optional={
            "id": st.sampled_from(["phone-a1", "phone-a2", "phone-a3", "x", "é" * 9, 5]),
            "kind": st.sampled_from(["add", "add", "strike", "back", "?", 3]),
            "event": st.one_of(
                draw_odd, st.sampled_from(["poured", "lost", "late", "slab reads", "short of"])
            ),
            "at": st.sampled_from(
                ["2026-06-10T22:30:00-04:00", "2026-06-11T02:31Z", "now", "9999-12-31T23:59", 7]
            ),
            "room": st.one_of(draw_odd, st.sampled_from(["Kitchen", "kitchen"])),
            "bucket": st.one_of(draw_odd, st.integers(-1, 12)),
            "value": st.one_of(draw_odd, st.sampled_from(["88 F", "300", "-5", "5m"])),
            "note": draw_odd,
        },
    )


HAND = ["# struck by Ana: ", "# late: ", "# contradicts the log: ", "", "# "]


@many(1500)
@given(
    ops=st.lists(_cells(VALUE), max_size=4),
    lines=st.lists(
        st.tuples(
            st.sampled_from(HAND),
            st.lists(st.sampled_from(
                ["late", "poured", "x", "1", "Kitchen", "2026-06-10T22:30", '"', "a" * 140_000]
            ), max_size=9),
        ),
        max_size=3,
    ),
    ours=st.booleans(),
    news=st.sampled_from(["", "", "[" * 9999, "{}", "null", '{"plan": 3}', "\xff"]),
)  # fmt: skip
def test_a_night_whose_log_somebody_has_written_in(sheets, ops, lines, ours, news):
    with tempfile.TemporaryDirectory() as name:
        desk = Folder(beside(Path(name)))
        home = desk.path / "kitchen-plan"
        home.mkdir()
        for file, content in sheets.files.items():
            (home / file).write_bytes(content)
        written = "\n".join(head + ",".join(cells) for head, cells in lines)
        if lines:
            head = "at,event,room,bucket,value,note\n"
            (home / "night-log.csv").write_text(f"# kitchen\n{head}{written}\n", "utf-8")
        (desk.path / OWN).mkdir()
        for ending in ("news", "share", "undo") if news else ():
            (desk.path / OWN / f"kitchen.{ending}.json").write_text(news, "latin-1")
        desk.ask("/jobs/kitchen/plan", what="plan shown")
        desk.ask("/jobs/kitchen/night", what="night shown")
        ident = sheets.ident if ours else "0" * 16
        sent = {"night": ident, "plan": ident, "ops": copy.deepcopy(ops), "since": 0}
        desk.ask("/jobs/kitchen/night/log", sent, what="entries")
        desk.ask("/jobs/kitchen/night/part", what="night shown")
        file = {"name": "ana.csv", "text": written}
        desk.ask("/jobs/kitchen/night/file", file, what="a file of a phone")


@many(800)
@given(
    sent=st.dictionaries(
        st.sampled_from(["minutes", "rooms", "coats", "bays", "ice", "chance", "mixer"]), VALUE
    )
)
def test_any_change_of_a_plan_in_hand_is_read_or_refused(sent):
    from cureplan.desk.moved import change_of

    try:
        change_of(sent)
    except CurePlanError:
        outcomes["desk, move: refused"] += 1
    else:
        outcomes["desk, move: read"] += 1
