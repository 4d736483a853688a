"""What became of the spoiled files, at the end of a run."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import core
from spoiling import outcomes, scale

SEED = 20_261_128
"""What is drawn, unless `--hypothesis-seed` asks for something else."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """How many processes `test_killed_runs` kills, and the share of inputs the fuzz draws."""
    parser.addoption("--kills", type=int, default=36)
    parser.addoption("--inputs", type=float, default=1.0)


def pytest_configure(config: pytest.Config) -> None:
    """Before the modules are read, which name their counts as they are."""
    scale["inputs"] = config.getoption("--inputs")
    if config.getoption("--hypothesis-seed") is None:
        core.global_force_seed = SEED


@pytest.fixture(scope="session")
def kills(pytestconfig: pytest.Config) -> int:
    """As asked for on the command line."""
    return int(pytestconfig.getoption("--kills"))


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """One line per kind of outcome."""
    for what, count in sorted(outcomes.items()):
        terminalreporter.write_line(f"{count:6d} {what}")
