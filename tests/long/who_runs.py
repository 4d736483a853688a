"""A plugin of pytest for `sample_changes.py`: which test runs which line, and some tests again.

With RECORD set to a folder, coverage writes there which line each test runs, and how long it
takes; what a fixture of a module or of the whole run does counts for all who use it. With
CHOSEN set to a file, only the tests it names are run, in its order.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

RECORD, CHOSEN = os.environ.get("RECORD"), os.environ.get("CHOSEN")


class Recorder:
    """Tells coverage whose lines run now."""

    def __init__(self, folder: Path) -> None:
        import coverage

        self.folder = folder
        self.cover = coverage.Coverage(
            data_file=folder / "coverage", source=["cureplan"], config_file=False
        )
        self.now = [""]
        self.tests: dict[str, Any] = {}
        self.fixtures: dict[str, float] = {}
        self.cover.start()

    def _enter(self, context: str) -> None:
        self.now.append(context)
        self.cover.switch_context(context)

    def _leave(self) -> None:
        self.now.pop()
        self.cover.switch_context(self.now[-1])

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        known = getattr(getattr(item, "_fixtureinfo", None), "name2fixturedefs", {})
        wide = [_named(each[-1]) for each in known.values() if each[-1].scope != "function"]
        self.tests[item.nodeid] = {"s": 0.0, "fixtures": wide, "passed": True}
        self._enter(item.nodeid)
        try:
            return (yield)
        finally:
            self._leave()

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Iterator[None]:
        if fixturedef.scope == "function":
            return (yield)
        name, began = _named(fixturedef), time.perf_counter()
        self._enter(name)
        try:
            return (yield)
        finally:
            self._leave()
            took_s = time.perf_counter() - began
            self.fixtures[name] = self.fixtures.get(name, 0.0) + took_s

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        test = self.tests[report.nodeid]
        test["passed"] = test["passed"] and report.passed
        if report.when == "call":
            test["s"] = report.duration

    def pytest_sessionfinish(self) -> None:
        self.cover.stop()
        self.cover.save()
        seen = {"tests": self.tests, "fixtures": self.fixtures}
        (self.folder / "tests.json").write_text(json.dumps(seen), "utf-8")


def _named(fixturedef: Any) -> str:
    return f"fixture {fixturedef.baseid}::{fixturedef.argname}"


def pytest_configure(config: pytest.Config) -> None:
    if RECORD:
        config.pluginmanager.register(Recorder(Path(RECORD)))


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    if CHOSEN:
        wanted = Path(CHOSEN).read_text("utf-8").splitlines()
        known = {item.nodeid: item for item in items}
        items[:] = [known[name] for name in wanted if name in known]
