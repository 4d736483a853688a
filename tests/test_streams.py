"""Streams that are closed, full, cut off or of an old code page: a real process each."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from cureplan import cli
from cureplan.api import demo_job_path
from cureplan.output.commands.streams import plain

# The cheapest command that prints as all do.
VERSION = "--version"
SAY = """
from cureplan.output.commands.common import print_text
from cureplan.output.commands.streams import Output

Output()
print_text("● 90 °F – válvula")
"""


def shell(line: str, **env: str) -> subprocess.CompletedProcess[bytes]:
    """One line for bash, with `cureplan` standing for this package."""
    line = line.replace("cureplan", f"{sys.executable} -m cureplan")
    return subprocess.run(
        ["bash", "-c", line], env={**os.environ, **env}, capture_output=True, timeout=120
    )


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [
        # What each code page has of it.
        ("cp1252", "* 90 °F – válvula"),
        ("latin-1", "* 90 °F - válvula"),
        ("ascii", "* 90  F - valvula"),
        ("utf-8", "● 90 °F – válvula"),
    ],
)
def test_signs_a_stream_cannot_hold_become_plain_ones(encoding: str, shown: str) -> None:
    said = subprocess.run(
        [sys.executable, "-c", SAY],
        env={**os.environ, "PYTHONIOENCODING": encoding, "LC_ALL": "C"},
        capture_output=True,
        timeout=120,
    )
    assert said.stderr == b""
    assert said.stdout.decode(encoding) == f"{shown}\n"


def test_a_command_speaks_ascii_where_it_must() -> None:
    done = shell('cureplan clock fast-slurry --at "90 F"; cureplan trial -h',
                 PYTHONIOENCODING="ascii", LC_ALL="C")  # fmt: skip
    assert done.returncode == 0
    assert done.stderr == b""
    assert "90  F" in done.stdout.decode("ascii")


def test_plain_signs_keep_columns_in_line() -> None:
    text = "● 86 °F – válvula … 漢"
    assert plain(text).isascii()
    assert len(plain(text)) == len(text)


# What a shell reports of a process ended by SIGPIPE (141); the plain exit code where
# nobody was to read; 2 for a device that is full, as for every file not written.
@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        (f"cureplan {VERSION} >&-", 0, b""),
        (f"cureplan {VERSION} <&-", 0, b""),
        (f"cureplan {VERSION} 2>&- >&-", 0, b""),
        (f"cureplan {VERSION} > /dev/full", 2, b"No space left"),
        # More than a pipe holds, read by one who is content with a line of it.
        ("cureplan schema plan | head -1 >&2; exit ${PIPESTATUS[0]}", 141, b"{\n"),
        ("cureplan schema job | true; exit ${PIPESTATUS[0]}", 141, b""),
        ("cureplan --help | true; exit ${PIPESTATUS[0]}", 141, b""),
        ('cd "$(mktemp -d)" && cureplan new job.toml <&-', 2, b"the answers end here"),
        ("cureplan clock 2>/dev/full", 2, b""),
    ],
)
def test_closed_full_and_cut_off(line: str, code: int, says: bytes) -> None:
    done = shell(line)
    assert done.returncode == code, done.stderr
    assert done.stderr.count(b"\n") <= 1, done.stderr
    assert says in done.stderr
    assert says or done.stderr == b""


@pytest.mark.thorough
@pytest.mark.parametrize("after_s", [0.02, 0.06, 0.1, 0.2, 0.3, 0.4, 0.8])
def test_ctrl_c_ends_quietly_from_the_start(tmp_path: Path, after_s: float) -> None:
    # By 0.8 s a plan is searched for, which would go on for seconds.
    words = ["demo"] if after_s > 0.5 else ["check", str(demo_job_path("school-kitchen"))]
    running = subprocess.Popen(
        [sys.executable, "-m", "cureplan", *words, "--quiet"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    # The interpreter itself has to be up: before, nothing of ours runs.
    time.sleep(0.15 + after_s)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    # Interrupted in its search, it goes on with the best it has found, which may fall short.
    assert running.returncode in (130, -signal.SIGINT, *((0, 1) if after_s > 0.5 else (0,))), (
        err
    )
    assert (out, err) == (b"", b"")


def test_a_fault_of_ours_has_a_code_and_one_line(tmp_path: Path) -> None:
    broken = (
        "import cureplan.cli; from cureplan.inputs.job import reader;"
        "reader.read_own_job = lambda *_: 1 / 0;"
    )
    run = f"{broken} import sys; sys.argv = ['cureplan', 'plan', 'x']; cureplan.cli.main()"
    done = subprocess.run([sys.executable, "-c", run], capture_output=True, cwd=tmp_path)
    assert done.returncode == 70
    assert done.stderr.count(b"\n") == 1
    assert b"report it" in done.stderr
    assert b"ZeroDivisionError" in done.stderr


def test_ctrl_c_told_by_a_part_being_loaded_is_ctrl_c(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def loading(**_: object) -> None:
        # As a compiled part says it.
        raise ImportError("Traceback: ... KeyboardInterrupt (a part may failed to import)")

    monkeypatch.setattr(cli, "app", loading)
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == cli.INTERRUPTED
    assert capsys.readouterr().err == ""
