"""What became of the spoiled files, at the end of a run."""

from __future__ import annotations

from typing import Any

import pytest
from spoiling import outcomes


def pytest_addoption(parser: pytest.Parser) -> None:
    """How many processes `test_killed_runs` kills."""
    parser.addoption("--kills", type=int, default=36)


@pytest.fixture(scope="session")
def kills(pytestconfig: pytest.Config) -> int:
    """As asked for on the command line."""
    return int(pytestconfig.getoption("--kills"))


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """One line per kind of outcome."""
    for what, count in sorted(outcomes.items()):
        terminalreporter.write_line(f"{count:6d} {what}")
