"""A night on a desk for tests: a folder with a planned job, phones as plain HTTP clients."""

from __future__ import annotations

import http.client
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from cureplan.output.sheet.page import sheet_html
from cureplan.planning.plan.model import Plan, plan_id, plan_to_json
from desk.conftest import Answer, Served

JOB = "Blue kitchen"


def put_plan(folder: Path, plan: Plan, name: str = JOB) -> Path:
    """A job's file and plan as `cureplan plan` leaves them, without the pictures."""
    folder.mkdir(exist_ok=True)
    (folder / f"{name}.toml").write_text("[site]\n", encoding="utf-8")
    home = folder / f"{name}-plan"
    home.mkdir(exist_ok=True)
    (home / "plan.json").write_text(plan_to_json(plan), encoding="utf-8")
    (home / "sheet.html").write_text(sheet_html(plan), encoding="utf-8")
    return home


@dataclass
class Phone:
    """A phone without a browser: it joins, says and hears."""

    port: int
    plan: str
    night: str = ""
    address: str = "127.0.0.1"
    cookie: str = ""
    count: int = 0
    name: str = ""
    heard: dict[str, dict[str, Any]] = field(default_factory=dict)
    version: int = 0
    boot: str = ""

    def ask(
        self, path: str, *, method: str = "GET", body: bytes | None = None,
        headers: dict[str, str] | None = None,
    ) -> Answer:  # fmt: skip
        connection = http.client.HTTPConnection(self.address, self.port, timeout=30)
        sent = {"Host": f"{self.address}:{self.port}"}
        if method == "POST":
            sent["Origin"] = f"http://{self.address}:{self.port}"
        if self.cookie:
            sent["Cookie"] = self.cookie
        try:
            connection.putrequest(method, path, skip_host=True)
            for name, value in {**sent, **(headers or {})}.items():
                connection.putheader(name, value)
            if body is not None and "Content-Length" not in (headers or {}):
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders()
            if body is not None:
                with suppress(OSError):
                    connection.send(body)
            got = connection.getresponse()
            headers_ = {k.lower(): v for k, v in got.getheaders()}
            return Answer(got.status, headers_, got.read())
        finally:
            connection.close()

    def post(self, path: str, data: Any, **headers: str) -> Answer:
        return self.ask(path, method="POST", body=json.dumps(data).encode(), headers=headers)

    def join(self, code: str, name: str) -> Answer:
        answer = self.post("/join", {"code": code, "name": name})
        self.cookie = answer.headers.get("set-cookie", "").split(";")[0]
        self.name = name
        return answer

    def say(self, *ops: dict[str, Any]) -> Answer:
        sent = []
        for op in ops:
            self.count += 1
            sent.append({"kind": "add", "id": f"{self.name}-{self.count:06}", **op})
        answer = self.post(
            "/log",
            {"night": self.night or self.plan, "plan": self.plan, "boot": self.boot,
             "since": self.version, "ops": sent},
        )  # fmt: skip
        if answer.status == 200:
            self.take(answer.json)
        return answer

    def take(self, said: dict[str, Any]) -> None:
        if said["boot"] != self.boot:
            self.heard = {}
        self.boot, self.version = said["boot"], said["version"]
        self.heard |= {entry["id"]: entry for entry in said["entries"]}

    @contextmanager
    def feed(self) -> Iterator[Callable[[], dict[str, Any]]]:
        """Messages of the feed, one at each call."""
        connection = http.client.HTTPConnection(self.address, self.port, timeout=10)
        connection.request(
            "GET",
            f"/feed?boot={self.boot}&since={self.version}",
            headers={"Host": f"{self.address}:{self.port}", "Cookie": self.cookie},
        )
        got = connection.getresponse()

        def following() -> dict[str, Any]:
            while True:
                line = got.readline()
                if not line:
                    raise EOFError
                if line.startswith(b"data: {"):
                    said: dict[str, Any] = json.loads(line[6:])
                    self.take(said)
                    return said

        try:
            yield following
        finally:
            got.close()
            connection.close()


def poured(plan: Plan, index: int, *, late: float = 0.0, **more: Any) -> dict[str, Any]:
    """Bucket `index` of the plan as poured, some minutes later than planned."""
    bucket = plan.buckets[index]
    at = (bucket.pour + timedelta(minutes=late)).replace(microsecond=0)
    said = {"event": "poured", "room": bucket.room, "bucket": bucket.number}
    return said | {"at": at.isoformat()} | more


def share(served: Served, name: str = JOB) -> tuple[int, Callable[[], str]]:
    """Lets phones in; the port they find, and the code of the moment."""
    from urllib.parse import quote

    base = f"/jobs/{quote(name)}/night"
    answer = served.post(f"{base}/share", {"on": True})
    assert answer.status == 200, answer.text
    import re

    page = served.ask(base).text
    port = int(re.search(r'night-url">http://[\d.]+:(\d+)/', page)[1])  # type: ignore[index]

    def code() -> str:
        found = re.search(r'night-code">([^<]+)<', served.ask(base).text)
        assert found is not None
        return found[1]

    return port, code


def instant(text: str) -> datetime:
    return datetime.fromisoformat(text)


def ident(plan: Plan) -> str:
    return plan_id(plan)
