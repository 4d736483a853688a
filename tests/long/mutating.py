"""Break one line of the package at a time, in a copy, and see which test notices.

A mutation names a text that stands once in the package, or once under `within`: it finds
its line wherever the file has been moved to.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Mutation", "report", "run"]

TOP = Path(__file__).resolve().parents[2]
COPIED = ("cureplan", "tests", "data", "demo", "notebooks", "pyproject.toml", "README.md")
PATIENCE_S = 900


@dataclass(frozen=True, slots=True)
class Mutation:
    """One text, what it becomes, and the tests that ought to notice."""

    name: str
    before: str
    after: str
    tests: str
    within: str = ""
    """Part of the path below `cureplan/`, where the text alone is not enough."""

    def places(self, top: Path) -> list[Path]:
        """Files that hold the text, one entry per occurrence."""
        package = top / "cureplan"
        return [
            path
            for path in sorted(package.rglob("*.py"))
            if self.within in path.relative_to(package).as_posix()
            for _ in range(path.read_text("utf-8").count(self.before))
        ]


def stale(mutations: Sequence[Mutation]) -> list[str]:
    """Mutations whose text does not stand exactly once."""
    found = {m.name: len(m.places(TOP)) for m in mutations}
    return [f"{name} ({count} times)" for name, count in found.items() if count != 1]


def copied(folder: Path) -> Path:
    """The repository without its bulk."""
    leave = shutil.ignore_patterns("__pycache__", "*.pyc", ".*")
    for name in COPIED:
        source = TOP / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=leave)
        else:
            shutil.copy2(source, folder / name)
    return folder


def first_failure(folder: Path, tests: str) -> str | None:
    """Name of a test that fails in the copy; None if all pass."""
    words = ["-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--no-header", "-rfE"]
    try:
        run = subprocess.run(
            [sys.executable, *words, *tests.split()],
            cwd=folder, capture_output=True, text=True, timeout=PATIENCE_S, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return f"{tests} no longer end"
    if run.returncode == 0:
        return None
    found = re.search(r"^(?:FAILED|ERROR) (\S+)", run.stdout, re.MULTILINE)
    if found is None:
        raise SystemExit(f"{tests}: no verdict\n{run.stdout[-2000:]}{run.stderr[-2000:]}")
    return found[1]


def noticed_by(folder: Path, mutation: Mutation) -> str | None:
    """Name of a test that fails on the broken copy; None if all pass."""
    (path,) = mutation.places(folder)
    sound = path.read_text("utf-8")
    path.write_text(sound.replace(mutation.before, mutation.after), "utf-8")
    try:
        return first_failure(folder, mutation.tests)
    finally:
        path.write_text(sound, "utf-8")


def report(mutations: Sequence[Mutation]) -> int:
    """Break each in turn, print a row of it; how many no test noticed."""
    missed = 0
    with tempfile.TemporaryDirectory() as name:
        folder = copied(Path(name))
        print("| broken line | file | noticed by |\n|---|---|---|", flush=True)
        for mutation in mutations:
            (path,) = mutation.places(folder)
            test = noticed_by(folder, mutation)
            missed += test is None
            where = path.relative_to(folder / "cureplan").as_posix()
            print(f"| {mutation.name} | {where} | {test or 'NO TEST'} |", flush=True)
    return missed


def run(mutations: Sequence[Mutation], words: Sequence[str]) -> int:
    """Those whose name holds a word, or all; 0 if every one was noticed."""
    chosen = [m for m in mutations if not words or any(word in m.name for word in words)]
    gone = stale(chosen)
    if gone:
        print("not found exactly once in the package: " + "; ".join(gone))
        return 2
    with tempfile.TemporaryDirectory() as name:
        tests = " ".join(sorted({test for m in chosen for test in m.tests.split()}))
        fails = first_failure(copied(Path(name)), tests)
    if fails is not None:
        print(f"{fails} fails before anything is broken")
        return 2
    return 1 if report(chosen) else 0
