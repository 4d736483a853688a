"""Work done beside this process: its answer comes back, its end never shows."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest

from cureplan.core.beside import beside

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="copies are made on Linux")


@pytest.fixture
def two_cores(monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0, 1})


def said_by(code: str) -> str:
    """What a process of its own says: a test runner may have threads, beside which nothing
    is copied."""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


ALONE = """
import os
from cureplan.core.beside import beside
os.sched_getaffinity = lambda _: {0, 1}
with beside(os.getpid) as found:
    there = found()
assert there != os.getpid()
try:
    os.waitpid(there, 0)
except ChildProcessError:
    print("another, and it is gone")
"""


def test_it_is_done_in_another_process_and_once():
    assert said_by(ALONE) == "another, and it is gone"


def test_with_one_core_it_is_done_here(monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0})
    with beside(os.getpid) as found:
        assert found() == os.getpid()


@pytest.mark.usefixtures("two_cores")
def test_a_copy_that_is_killed_costs_no_answer():
    here = os.getpid()

    def work():
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        return "done"

    with beside(work) as found:
        assert found() == "done"


@pytest.mark.usefixtures("two_cores")
def test_what_it_raises_is_raised_here_and_says_nothing_twice(capfd):
    def work():
        raise RuntimeError("no ink")

    print("said once", end="")
    with beside(work) as found, pytest.raises(RuntimeError, match="no ink"):
        found()
    sys.stdout.flush()
    said = capfd.readouterr()
    assert said.out == "said once"
    assert said.err == ""


UNASKED = """
import os, signal
from cureplan.core.beside import beside
os.sched_getaffinity = lambda _: {0, 1}
read_end, write_end = os.pipe()
def work():
    os.write(write_end, str(os.getpid()).encode())
    signal.pause()
try:
    with beside(work):
        copy = int(os.read(read_end, 20))
        assert copy != os.getpid()
        raise KeyError
except KeyError:
    pass
try:
    os.kill(copy, 0)
except ProcessLookupError:
    print("nobody is left")
"""


def test_nobody_asks_and_no_process_is_left():
    assert said_by(UNASKED) == "nobody is left"
