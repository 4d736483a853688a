"""Hostile requests: other names, other pages, too much, and paths that lead out."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
import urllib.request
from contextlib import suppress
from pathlib import Path

import pytest

from desk.conftest import Served

INSIDE = "school-kitchen"


def fetched(site: str, mode: str, dest: str) -> dict[str, str]:
    return {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": mode, "Sec-Fetch-Dest": dest}


def test_the_list_is_shown_to_its_own_address(demo_desk: Served) -> None:
    got = demo_desk.ask("/")
    assert got.status == 200
    assert INSIDE in got.text
    assert "default-src 'none'" in got.headers["content-security-policy"]


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1.evil.example:{port}", ""],
)
def test_another_name_is_told_nothing(demo_desk: Served, host: str) -> None:
    # A page elsewhere whose name is made to lead here still sends its own name.
    got = demo_desk.ask("/", headers={"Host": host.format(port=demo_desk.port)})
    assert got.status in (400, 421)
    assert INSIDE not in got.text


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1"},
        {
            "Sec-Fetch-Site": "cross-site",
            "Sec-Fetch-Mode": "no-cors",
            "Sec-Fetch-Dest": "script",
        },
        {"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "cors", "Sec-Fetch-Dest": "empty"},
        {
            "Sec-Fetch-Site": "cross-site",
            "Sec-Fetch-Mode": "navigate",
            "Sec-Fetch-Dest": "iframe",
        },
    ],
)
def test_a_page_from_elsewhere_reads_nothing(
    demo_desk: Served, headers: dict[str, str]
) -> None:
    got = demo_desk.ask("/", headers=headers)
    assert got.status == 403
    assert INSIDE not in got.text


@pytest.mark.parametrize(
    "origin", [None, "null", "http://evil.example", "https://127.0.0.1:{port}"]
)
def test_a_page_from_elsewhere_changes_nothing(demo_desk: Served, origin: str | None) -> None:
    headers = {"Content-Type": "text/plain"}
    if origin is not None:
        headers["Origin"] = origin.format(port=demo_desk.port)
    before = sorted(path.name for path in demo_desk.folder.iterdir())
    got = demo_desk.ask("/jobs", method="POST", body=b'{"name": "x"}', headers=headers)
    assert got.status == 403
    assert sorted(path.name for path in demo_desk.folder.iterdir()) == before


def test_a_body_said_to_be_a_hundred_megabytes_is_not_read(demo_desk: Served) -> None:
    headers = {"Origin": demo_desk.url, "Content-Length": "100000000"}
    got = demo_desk.ask("/jobs", method="POST", body=b"x", headers=headers)
    assert got.status == 413


def test_a_body_that_does_not_say_how_long_it_is_is_cut_off(demo_desk: Served) -> None:
    piece = b"x" * 65_536
    body = b"".join(f"{len(piece):x}\r\n".encode() + piece + b"\r\n" for _ in range(16))
    assert _chunked(demo_desk, body) == 413


def _chunked(served: Served, body: bytes) -> int:
    import socket

    head = (
        f"POST /jobs HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nOrigin: {served.url}\r\n"
        "Transfer-Encoding: chunked\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", served.port), timeout=20) as wire:
        with suppress(OSError):  # it may hang up
            wire.sendall(head.encode() + body + b"0\r\n\r\n")
        return int(wire.recv(4096).split(b" ")[1])


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/..%2fapp.py",
        "/static/%2e%2e/app.py",
        "/static//etc/passwd",
        "/jobs/..%2f..%2fetc%2fpasswd",
        "/jobs/%2fetc%2fpasswd",
        "/jobs/.cureplan-desk%2fx",
        "/jobs/%00",
        "/jobs/" + "a" * 5000,
    ],
)
def test_a_path_leads_nowhere_else(demo_desk: Served, path: str) -> None:
    got = demo_desk.ask(path)
    assert got.status in (400, 404, 422)
    assert "root:" not in got.text
    assert "from __future__" not in got.text
    assert str(demo_desk.folder.parent) not in got.text


@pytest.mark.thorough
def test_two_desks_on_one_folder_are_told_apart_and_one_ends_at_ctrl_c(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "cureplan", "desk", str(tmp_path), "--no-browser"]
    first = subprocess.Popen([*command, "--port", "0"], stderr=subprocess.PIPE, text=True)
    try:
        assert first.stderr is not None
        line = first.stderr.readline()
        address = next(word for word in line.split() if word.startswith("http://"))
        second = subprocess.run(
            [*command, "--port", "0"], capture_output=True, text=True, timeout=60
        )
        assert second.returncode == 2
        assert address in second.stderr
        assert second.stderr.count("\n") == 1
        deadline = time.monotonic() + 20
        while time.monotonic() < deadline:
            try:
                with urllib.request.urlopen(address, timeout=5) as got:  # noqa: S310
                    assert got.status == 200
                break
            except OSError:
                time.sleep(0.1)
        first.send_signal(signal.SIGINT)
        assert first.wait(20) == 0
        rest = first.stderr.read()
        assert "Traceback" not in rest
        assert "closed" in rest
    finally:
        if first.poll() is None:
            first.kill()
            first.wait()
        if first.stderr is not None:
            first.stderr.close()


def test_a_desk_opens_on_a_disk_without_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from cureplan.desk import folder as files

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "write", full)
    with files.JobFolder(tmp_path).held("http://127.0.0.1:1/"):
        pass


def test_without_the_optional_part_one_line_says_what_to_install(tmp_path: Path) -> None:
    code = (
        "import sys; sys.modules['starlette'] = None; from cureplan.cli import main; "
        f"sys.argv = ['cureplan', 'desk', {str(tmp_path)!r}, '--no-browser']; main()"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60
    )
    assert ran.returncode == 2
    assert ran.stderr.count("\n") == 1
    assert "pip install 'cureplan[desk]'" in ran.stderr
