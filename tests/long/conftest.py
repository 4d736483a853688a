"""What became of the spoiled files, at the end of a run."""

from __future__ import annotations

from typing import Any

from spoiling import outcomes


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """One line per kind of outcome."""
    for what, count in sorted(outcomes.items()):
        terminalreporter.write_line(f"{count:6d} {what}")
