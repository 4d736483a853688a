"""A desk of its own for a test: served on a free port, asked by a plain HTTP client."""

from __future__ import annotations

import asyncio
import http.client
import json
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("starlette")
uvicorn = pytest.importorskip("uvicorn")

from cureplan.desk.app import make_app  # noqa: E402
from cureplan.desk.folder import JobFolder  # noqa: E402
from cureplan.desk.pages import Desk  # noqa: E402
from cureplan.desk.worker import Worker, _hang_up  # noqa: E402

Process = subprocess.Popen[str]
DEMO = Path(__file__).parents[2] / "cureplan" / "demo_data"
# The evening before the demo's night.
EVENING_BEFORE = datetime(2013, 7, 17, 0, tzinfo=UTC)


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")

    @property
    def json(self) -> dict[str, Any]:
        found = json.loads(self.body)
        assert isinstance(found, dict)
        return found


@dataclass
class Served:
    """A running desk."""

    folder: Path
    port: int
    desk: Desk
    server: Any = field(repr=False)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def ask(
        self,
        path: str,
        *,
        method: str = "GET",
        body: bytes | None = None,
        headers: dict[str, str] | None = None,
    ) -> Answer:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            connection.putrequest(method, path, skip_host="Host" in (headers or {}))
            sent = dict(headers or {})
            if body is not None:
                sent.setdefault("Content-Length", str(len(body)))
            for name, value in sent.items():
                connection.putheader(name, value)
            connection.endheaders()
            if body is not None:
                with suppress(OSError):  # it may be refused before it is read
                    connection.send(body)
            got = connection.getresponse()
            return Answer(got.status, {k.lower(): v for k, v in got.getheaders()}, got.read())
        finally:
            connection.close()

    def post(self, path: str, data: Any) -> Answer:
        headers = {"Origin": self.url, "Content-Type": "application/json"}
        return self.ask(path, method="POST", body=json.dumps(data).encode(), headers=headers)


def serve(folder: Path, *, now: datetime = EVENING_BEFORE) -> tuple[Served, threading.Thread]:
    desk = Desk(folder=JobFolder(folder), now=lambda: now)
    config = uvicorn.Config(
        make_app(desk), host="127.0.0.1", port=0, log_level="warning", ws="none",
        timeout_graceful_shutdown=2,
    )  # fmt: skip
    server = uvicorn.Server(config)
    thread = threading.Thread(target=lambda: asyncio.run(server.serve()), daemon=True)
    thread.start()
    while not server.started:
        thread.join(0.01)
        assert thread.is_alive()
    port = server.servers[0].sockets[0].getsockname()[1]
    desk.admitted.hosts.add(f"127.0.0.1:{port}")
    return Served(folder=folder, port=port, desk=desk, server=server), thread


Server = Callable[..., Served]


@pytest.fixture
def desk_on() -> Iterator[Server]:
    """Serves a folder until the test ends."""
    running: list[tuple[Served, threading.Thread]] = []

    def start(folder: Path, **options: Any) -> Served:
        running.append(serve(folder, **options))
        return running[-1][0]

    yield start
    for served, thread in running:
        for leave in served.desk.leaving:
            leave()
        served.server.should_exit = True
        thread.join(15)


@pytest.fixture(scope="session")
def idle() -> Iterator[list[Process]]:
    """Working processes that wait for another desk."""
    found: list[Process] = []
    yield found
    for process in found:
        process.kill()
        process.wait()
        _hang_up(process)


@pytest.fixture
def hired(idle: list[Process], monkeypatch: pytest.MonkeyPatch) -> None:
    """Working processes go from desk to desk: each takes a second to come up."""
    running, close = Worker._running, Worker.close

    def take(worker: Worker) -> Process:
        if worker._process is None and idle:
            worker._process = worker._hears = idle.pop()
        return running(worker)

    def leave(worker: Worker) -> None:
        process, task = worker._process, worker.task
        waits = process is not None and process is worker._hears and process.poll() is None
        if process is not None and waits and task is not None and task.done.is_set():
            worker._process = None
            idle.append(process)
        close(worker)

    monkeypatch.setattr(Worker, "_running", take)
    monkeypatch.setattr(Worker, "close", leave)


@pytest.fixture
def demo_folder(tmp_path: Path) -> Path:
    folder = tmp_path / "jobs"
    folder.mkdir()
    for name in ("school-kitchen.toml", "heat-wave.csv"):
        shutil.copy(DEMO / name, folder)
    return folder


@pytest.fixture
def demo_desk(desk_on: Server, demo_folder: Path) -> Served:
    return desk_on(demo_folder)
