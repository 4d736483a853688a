"""Time and memory of a call, or of a command in a process of its own."""

from __future__ import annotations

import os
import re
import resource
import runpy
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
COMPILED = tempfile.mkdtemp(prefix="cureplan-bench-")


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A process that has ended; `processor_s` is what all its threads worked."""

    seconds: float
    processor_s: float
    output: str


def best_s(call: Callable[[], object], *, times: int) -> float:
    """Shortest of some calls, in processor time [s]: others on the machine matter least."""
    return min(_once_s(call) for _ in range(times))


def _once_s(call: Callable[[], object]) -> float:
    began = time.process_time()
    call()
    return time.process_time() - began


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def command(*words: str) -> Run:
    """Run Python with these words, in an empty folder."""
    # Compiled once and kept, as an installed package's files are.
    environment = {**os.environ, "PYTHONPATH": str(TOP), "PYTHONPYCACHEPREFIX": COMPILED}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    with tempfile.TemporaryDirectory() as folder:
        began, worked = time.perf_counter(), _children_s()
        child = subprocess.run(
            [sys.executable, *words],
            cwd=folder, env=environment, capture_output=True, text=True, check=False,
        )  # fmt: skip
        seconds = time.perf_counter() - began
    if child.returncode not in (0, 1) or "Traceback" in child.stderr:
        raise SystemExit(f"{words} ended with {child.returncode}:\n{child.stderr}")
    return Run(seconds=seconds, processor_s=_children_s() - worked, output=child.stdout)


def middle(*words: str, times: int) -> Run:
    """The run of middle processor time of some."""
    runs = sorted((command(*words) for _ in range(times)), key=lambda run: run.processor_s)
    return runs[len(runs) // 2]


def peak_mb() -> float:
    """Most memory this process has held [MB].

    A child's `ru_maxrss` would count its parent's as well, from before the exec.
    """
    status = Path("/proc/self/status")
    if status.exists():
        found = re.search(r"VmHWM:\s+(\d+) kB", status.read_text("ascii"))
        if found is not None:
            return int(found[1]) / 1e3
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def peak_of(*words: str) -> float:
    """Most memory held by `python` with these words, which begin with -c or -m [MB]."""
    run = command(str(Path(__file__).resolve()), *words)
    return float(run.output.split()[-1])


def _main(kind: str, what: str, *words: str) -> None:
    sys.argv = [what, *words]
    try:
        if kind == "-c":
            exec(what, {})  # noqa: S102
        else:
            runpy.run_module(what, run_name="__main__", alter_sys=True)
    except SystemExit as ended:
        if ended.code not in (0, 1, None):
            raise
    print(f"\n{peak_mb():.1f}")


if __name__ == "__main__":
    # The measured program's own folder, not this one, comes first.
    sys.path.pop(0)
    _main(*sys.argv[1:])
