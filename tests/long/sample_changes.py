"""Change one token of the package at random, in a copy: do the fast tests notice?

    python tests/long/sample_changes.py                 forty changes
    python tests/long/sample_changes.py 200 7           two hundred, drawn by the seed 7
    python tests/long/sample_changes.py 200 7 FOLDER    what is seen is kept there, and a run
                                                        that was ended goes on

Needs `coverage`: one run of the fast tests, but for the desk's and the browser's, tells which
of them run which line. A change is then shown to those that run its line, quickest first, for
some seconds, and if none fails to the others of their files. A test notices a change where it
fails by itself with it and passes by itself without: no other test is to blame. A line that no
test runs is missed at once. Prints a row for each change, and last the share noticed, with the
interval that holds it nineteen times in twenty. Each that is missed is to be read: a line
without a test, or one that means the same either way, and then it belongs in `EQUAL`. Ends
with 0.
"""

from __future__ import annotations

import ast
import gc
import io
import json
import os
import random
import re
import resource
import signal
import subprocess
import sys
import tempfile
import time
import tokenize
from collections.abc import Iterable, Iterator, Mapping
from contextlib import nullcontext
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any, NamedTuple

import pytest
from equal_changes import EQUAL
from mutating import TOP, copied

SWAPS = {
    "<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==",
    "+": "-", "-": "+", "+=": "-=", "-=": "+=", "and": "or", "or": "and",
}  # fmt: skip
PLACES = (
    "planning/floor", "planning/schedule", "planning/odds", "planning/plan",
    "planning/replan", "judge", "weather", "inputs/job", "output/sheet",
)  # fmt: skip
"""Where changes are drawn."""
RECORDED = (
    "tests/schedule cureplan/planning cureplan/judge cureplan/weather cureplan/inputs",
    "tests/judge", "tests/planning", "tests/weather tests/inputs", "tests/replan",
    "tests/output cureplan/output", "tests/commands", "tests/pinned",
)  # fmt: skip
FIRST_S, THEN_S, LAST_S, PATIENCE_S, MOST_CPU_S = 15.0, 20.0, 60.0, 1800, 120
"""Of tests that run the line; of others in their files; of whole plans as they were; by the
clock and of the processor, before a change counts as one that never ends."""
USUAL = ("-q", "-p", "no:cacheprovider", "--no-header", "--timeout=0", "-m", "not thorough")


class Change(NamedTuple):
    """A token of a file, and what stands there instead."""

    path: str
    row: int
    column: int
    before: str
    after: str


def changes(top: Path) -> Iterator[Change]:
    """Every change that can be drawn, in an order of its own."""
    for folder in PLACES:
        for path in sorted((top / "cureplan" / folder).rglob("*.py")):
            name = path.relative_to(top).as_posix()
            for found in sorted(set(_in_text(path.read_text("utf-8")))):
                yield Change(name, *found)


def _in_text(text: str) -> Iterator[tuple[int, int, str, str]]:
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.string in SWAPS and token.type in (tokenize.OP, tokenize.NAME):
            yield (*token.start, token.string, SWAPS[token.string])
    for node in ast.walk(ast.parse(text)):
        edges: list[ast.expr | None] = []
        if isinstance(node, ast.Slice):
            edges = [node.lower, node.upper]
        elif isinstance(node, ast.Call) and ast.unparse(node.func) == "range":
            edges = [*node.args]
        for edge in edges:
            if isinstance(edge, ast.Constant) and isinstance(edge.value, int):
                # Columns of the tree count bytes; code here is plain ASCII up to its edges.
                yield edge.lineno, edge.col_offset, str(edge.value), str(edge.value + 1)


class Record:
    """Which test runs which line, and what it costs."""

    def __init__(self, folder: Path) -> None:
        import coverage

        self.tests: dict[str, Any] = {}
        self.fixture_s: dict[str, float] = {}
        self.runs = []
        self.by_file: dict[str, dict[int, set[str]]] = {}
        for told in sorted(folder.glob("*/tests.json")):
            seen = json.loads(told.read_text("utf-8"))
            self.tests |= {name: test for name, test in seen["tests"].items() if test["passed"]}
            self.fixture_s |= seen["fixtures"]
            data = coverage.CoverageData(str(told.parent / "coverage"))
            data.read()
            self.runs.append((data, seen["tests"]))

    def lines(self, path: str) -> dict[int, set[str]]:
        """Tests by line of a file; a line that only an import runs has none."""
        if path not in self.by_file:
            self.by_file[path] = by_line = {}
            for data, tests in self.runs:
                for name in (each for each in data.measured_files() if each.endswith(path)):
                    for line, contexts in data.contexts_by_lineno(name).items():
                        by_line.setdefault(line, set()).update(_tests_of(set(contexts), tests))
        return self.by_file[path]

    def who(self, change: Change) -> set[str] | None:
        """Tests that run a change's statement; None where nothing at all does."""
        lines = self.lines(change.path)
        text = (TOP / change.path).read_text("utf-8")
        span = [line for line in _statement(text, change.row) if line in lines]
        if not span and _function(text, change.path, change.row) is not None:
            return None
        found = set().union(*(lines[line] for line in span))
        # What an import runs shows in whatever else of the file is run.
        return (found or set().union(*lines.values())) & self.tests.keys()

    def quickest(self, names: Iterable[str], most_s: float) -> list[str]:
        """Some of these tests, quickest first, `most_s` of them at most."""
        paid: set[str] = set()
        chosen, took_s = [], 0.0
        cost = {name: self._cost_s(name, set()) for name in names}
        for name in sorted(cost, key=lambda each: (cost[each], each)):
            own_s = self._cost_s(name, paid)
            if took_s + own_s <= most_s:
                chosen.append(name)
                took_s += own_s
                paid.update(self.tests[name]["fixtures"])
        return chosen

    def _cost_s(self, name: str, paid: set[str]) -> float:
        test = self.tests[name]
        wide = set(test["fixtures"]) - paid
        return float(test["s"] + 0.002 + sum(self.fixture_s.get(each, 0.0) for each in wide))


def _tests_of(contexts: set[str], tests: dict[str, Any]) -> set[str]:
    wide = {name for name in contexts if name.startswith("fixture ")}
    users = (
        {n for n, t in tests.items() if not wide.isdisjoint(t["fixtures"])} if wide else set()
    )
    return (contexts & tests.keys()) | users


def _statement(text: str, row: int) -> range:
    """Lines of the statement around a row; of one that holds others, of its head."""
    found = range(row, row + 1)
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.stmt) and node.lineno <= row <= (node.end_lineno or 0):
            body = getattr(node, "body", None)
            end = body[0].lineno if body else (node.end_lineno or row) + 1
            if row < end:
                found = range(node.lineno, end)
    return found


def recorded(copy: Path, folder: Path) -> Record:
    """The record, made where the folder has none."""
    for number, words in enumerate(RECORDED):
        place = folder / str(number)
        if not (place / "tests.json").exists():
            place.mkdir(parents=True, exist_ok=True)
            run = _pytest(copy, words.split(), RECORD=str(place))
            print(f"{words}: {run.stdout.strip().splitlines()[-1]}", flush=True)
            if run.returncode:
                raise SystemExit(f"they fail before anything is changed\n{run.stdout[-3000:]}")
    return Record(folder)


def _pytest(
    copy: Path, words: Iterable[str], **environ: str
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pytest", *USUAL, "-p", "who_runs", *words],
        cwd=copy, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(copy), *sys.path]), **environ},
    )  # fmt: skip


class Sampler:
    """A plugin of pytest that shows each change to collected tests, each in a child."""

    def __init__(self, copy: Path, drawn: list[Change], record: Record, kept: Path) -> None:
        self.copy, self.drawn, self.record, self.kept = copy, drawn, record, kept
        self.seen: dict[str, str | None] = {}
        self.sound: dict[str, bool] = {}
        if kept.exists():
            self.seen = json.loads(kept.read_text("utf-8"))

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """In place of running all of them."""
        items = {item.nodeid: item for item in session.items}
        for number, change in enumerate(self.drawn, 1):
            name = " ".join(map(str, change))
            if name in self.seen:
                continue
            self.seen[name] = self.noticed_by(session, items, change)
            self.kept.write_text(json.dumps(self.seen, indent=1), "utf-8")
            with self.shown(session):
                print(number, self.row(change), flush=True)
        return True

    def row(self, change: Change) -> str:
        """A change, and who noticed it."""
        line = _line(change)
        equal = EQUAL.get(_line(change, changed=True))
        told = self.seen[" ".join(map(str, change))] or (
            "NO TEST" if equal is None else f"equal: {equal}"
        )
        where = f"{change.path}:{change.row}:{change.column}"
        return f"{where} {change.before} -> {change.after} | {line} | {told}"

    @staticmethod
    def shown(session: pytest.Session) -> Any:
        """What is printed meanwhile is not caught by pytest."""
        manager = session.config.pluginmanager.getplugin("capturemanager")
        return manager.global_and_fixture_disabled() if manager else nullcontext()

    def noticed_by(
        self, session: pytest.Session, items: Mapping[str, pytest.Item], change: Change
    ) -> str | None:
        """Name of a test that fails with the change; None if all pass."""
        who = self.record.who(change)
        if not who:
            return None
        first = self.record.quickest(who & items.keys(), FIRST_S)
        files = {name.partition("::")[0] for name in who}
        others = {name for name in self.record.tests if name.partition("::")[0] in files}
        then = self.record.quickest((others & items.keys()) - set(first), THEN_S)
        whole = {name for name in who if name.startswith("tests/pinned")} - {*first, *then}
        last = self.record.quickest(whole & items.keys(), LAST_S)
        names = [name for name in (*first, *then, *last) if self.sound.get(name, True)]
        while names:
            found = self.failing(session, items, change, names)
            if found not in items or (
                self.by_itself(session, items[found])
                and self.failing(session, items, change, [found])
            ):
                return found
            names.remove(found)
        return None

    def by_itself(self, session: pytest.Session, item: pytest.Item) -> bool:
        """Whether a test passes alone, nothing changed."""
        name = item.nodeid
        if name not in self.sound:
            self.sound[name] = _in_child(self.copy, session, [item], None, []) is None
        return self.sound[name]

    def failing(
        self,
        session: pytest.Session,
        items: Mapping[str, pytest.Item],
        change: Change,
        names: list[str],
    ) -> str | None:
        """The first of these tests that fails with the change; None if all pass."""
        path = self.copy / change.path
        sound = path.read_text("utf-8")
        changed = _changed(sound, change)
        path.write_text(changed, "utf-8")
        try:
            code = _function(changed, str(path), change.row)
            live = [] if code is None else _alike(code)
            if code is None or not live:
                return _afresh(self.copy, names)
            tests = [items[name] for name in names]
            return _in_child(self.copy, session, tests, code, live)
        finally:
            path.write_text(sound, "utf-8")


def _line(change: Change, *, changed: bool = False) -> str:
    text = (TOP / change.path).read_text("utf-8")
    text = _changed(text, change) if changed else text
    return text.splitlines()[change.row - 1].strip()


def _changed(sound: str, change: Change) -> str:
    lines = sound.splitlines(keepends=True)
    line, end = lines[change.row - 1], change.column + len(change.before)
    if line[change.column : end] != change.before:
        raise SystemExit(f"{change} does not stand in the copy")
    lines[change.row - 1] = line[: change.column] + change.after + line[end:]
    return "".join(lines)


def _function(text: str, path: str, row: int) -> CodeType | None:
    """Code of the outermost function whose body holds a row; None where an import runs it."""
    codes = [compile(text, path, "exec")]
    for code in codes:
        codes += [each for each in code.co_consts if isinstance(each, CodeType)]
    nodes: list[ast.AST] = [ast.parse(text)]
    for node in nodes:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            if node.body[0].lineno <= row <= (node.end_lineno or 0):
                begins = min([node.lineno, *(each.lineno for each in node.decorator_list)])
                found = (
                    c for c in codes if (c.co_name, c.co_firstlineno) == (node.name, begins)
                )
                return next(found, None)
        else:
            nodes += ast.iter_child_nodes(node)
    return None


def _alike(code: CodeType) -> list[FunctionType]:
    """The functions at hand that are to run this code."""
    what = (code.co_filename, code.co_qualname, code.co_firstlineno)
    return [
        each
        for each in gc.get_objects()
        if type(each) is FunctionType
        and (each.__code__.co_filename, each.__code__.co_qualname, each.__code__.co_firstlineno)
        == what
    ]


def _in_child(
    copy: Path,
    session: pytest.Session,
    tests: list[pytest.Item],
    code: CodeType | None,
    live: list[FunctionType],
) -> str | None:
    """The first of these tests that fails with the new code, in a child of this process."""
    told = copy / "told.txt"
    told.write_text("", "utf-8")
    child = os.fork()
    if child == 0:
        ended = 3
        try:
            os.setsid()
            resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))
            if code is not None:
                for each in live:
                    each.__code__ = code
            reporter = session.config.pluginmanager.getplugin("terminalreporter")
            reporter._tw._file = io.StringIO()  # type: ignore[union-attr]
            for test, after in zip(tests, [*tests[1:], None], strict=True):
                told.write_text(test.nodeid, "utf-8")
                test.config.hook.pytest_runtest_protocol(item=test, nextitem=after)
                if session.testsfailed:
                    break
            ended = min(session.testsfailed, 1)
        finally:
            os._exit(ended)
    until = time.monotonic() + PATIENCE_S
    done, status = 0, 0
    while not done:
        done, status = os.waitpid(child, os.WNOHANG)
        if time.monotonic() > until:
            os.killpg(child, signal.SIGKILL)
            done, status = os.waitpid(child, 0)
        time.sleep(0.02)
    return None if status == 0 else told.read_text("utf-8")


def _afresh(copy: Path, tests: list[str]) -> str | None:
    """The same in a process that imports what was changed."""
    chosen = copy / "chosen.txt"
    chosen.write_text("\n".join(tests), "utf-8")
    files = dict.fromkeys(name.partition("::")[0] for name in tests)
    run = _pytest(copy, ["-x", "-rfE", *files], CHOSEN=str(chosen))
    if run.returncode == 0:
        return None
    found = re.search(r"^(?:FAILED|ERROR) (\S+)", run.stdout, re.MULTILINE)
    return found[1] if found else "it cannot be imported"


def interval(noticed: int, count: int) -> tuple[float, float]:
    """Shares between which the true one lies, 95 % (Clopper and Pearson 1934)."""
    from scipy.stats import beta

    low = beta.ppf(0.025, noticed, count - noticed + 1) if noticed else 0.0
    high = beta.ppf(0.975, noticed + 1, count - noticed) if noticed < count else 1.0
    return float(low), float(high)


def main(count: int = 40, seed: int = 1, folder: str = "") -> None:
    """Draw, try and tell."""
    places = list(changes(TOP))
    drawn = random.Random(seed).sample(places, count)
    print(f"{count} of {len(places)} places, seed {seed}", flush=True)
    with tempfile.TemporaryDirectory() as name:
        copy = copied(Path(name))
        kept = Path(folder or name)
        record = recorded(copy, kept / "record")
        sampler = Sampler(copy, drawn, record, kept / f"seen-{seed}.json")
        os.chdir(copy)
        sys.path.insert(0, str(copy))
        files = {name.partition("::")[0] for name in record.tests}
        pytest.main([*USUAL, "--basetemp", str(copy / "made"), *sorted(files)], [sampler])
    seen = [change for change in drawn if " ".join(map(str, change)) in sampler.seen]
    missed = [each for each in seen if sampler.seen[" ".join(map(str, each))] is None]
    equal = sum(_line(each, changed=True) in EQUAL for each in missed)
    low, high = interval(len(seen) - len(missed), len(seen))
    print(
        f"noticed: {len(seen) - len(missed)} of {len(seen)} ({low:.0%} to {high:.0%}), ", end=""
    )
    print(f"{equal} of the others mean the same")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]), *sys.argv[3:4])
