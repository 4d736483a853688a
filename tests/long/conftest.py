"""What became of the spoiled files, at the end of a run."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import core
from spoiling import outcomes, scale

SEED = 20_261_128
"""What is drawn, unless `--hypothesis-seed` asks for something else."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """How many processes are killed, the share of inputs that is drawn, and which cases."""
    parser.addoption("--kills", type=int, default=36)
    parser.addoption("--inputs", type=float, default=1.0)
    parser.addoption("--cases", default="0:2000")


def pytest_configure(config: pytest.Config) -> None:
    """Before the modules are read, which name their counts as they are."""
    scale["inputs"] = config.getoption("--inputs")
    if config.getoption("--hypothesis-seed") is None:
        core.global_force_seed = SEED


@pytest.fixture(scope="session")
def kills(pytestconfig: pytest.Config) -> int:
    """As asked for on the command line."""
    return int(pytestconfig.getoption("--kills"))


@pytest.fixture(scope="session")
def cases(pytestconfig: pytest.Config) -> tuple[int, int]:
    """Numbers of the first case of the command line's fuzz, and of the one after the last."""
    first, _, end = str(pytestconfig.getoption("--cases")).partition(":")
    return int(first), int(end)


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """One line per kind of outcome."""
    for what, count in sorted(outcomes.items()):
        terminalreporter.write_line(f"{count:6d} {what}")
