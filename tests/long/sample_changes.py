"""Change one token of the package at random, in a copy: do the tests of its folder notice?

    python tests/long/sample_changes.py            forty changes
    python tests/long/sample_changes.py 200 7      two hundred, drawn by the seed 7

Prints a row for each change, and last the share noticed. Each that is not is to be read:
a line without a test, or one that means the same either way. Ends with 0.
"""

from __future__ import annotations

import ast
import io
import random
import sys
import tempfile
import tokenize
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from mutating import TOP, copied, first_failure

SWAPS = {
    "<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==",
    "+": "-", "-": "+", "+=": "-=", "-=": "+=", "and": "or", "or": "and",
}  # fmt: skip
# Where changes are drawn, and the tests that ought to notice, quickest first.
TESTS = {
    "planning/floor": "cureplan/planning/floor tests/planning",
    "planning/schedule": "tests/schedule tests/planning/test_choose.py",
    "planning/odds": (
        "tests/planning/test_margins.py tests/schedule/test_nights_drawn.py "
        "tests/schedule/test_odds_of_materials.py tests/schedule/test_odds_of_people.py "
        "tests/schedule/test_odds_are_honest.py tests/planning"
    ),
    "planning/plan": "tests/planning tests/judge tests/output",
    "planning/replan": "tests/replan",
    "judge": "tests/judge",
    "weather": "tests/weather",
    "inputs/job": "tests/inputs tests/commands",
    "output/sheet": "tests/output",
}


class Change(NamedTuple):
    """A token of a file, and what stands there instead."""

    path: str
    row: int
    column: int
    before: str
    after: str
    tests: str


def changes(top: Path) -> Iterator[Change]:
    """Every change that can be drawn, in an order of its own."""
    for folder, tests in TESTS.items():
        for path in sorted((top / "cureplan" / folder).rglob("*.py")):
            name = path.relative_to(top).as_posix()
            for found in sorted(set(_in_text(path.read_text("utf-8")))):
                yield Change(name, *found, tests)


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


def noticed_by(folder: Path, change: Change) -> str | None:
    """Name of a test that fails with the change; None if all pass."""
    path = folder / change.path
    sound = path.read_text("utf-8")
    lines = sound.splitlines(keepends=True)
    line, end = lines[change.row - 1], change.column + len(change.before)
    assert line[change.column : end] == change.before, change
    lines[change.row - 1] = line[: change.column] + change.after + line[end:]
    path.write_text("".join(lines), "utf-8")
    try:
        return first_failure(folder, change.tests)
    finally:
        path.write_text(sound, "utf-8")


def main(count: int = 40, seed: int = 1) -> None:
    """Draw, try and tell."""
    places = list(changes(TOP))
    drawn = random.Random(seed).sample(places, count)
    missed = 0
    print(f"{count} of {len(places)} places, seed {seed}", flush=True)
    with tempfile.TemporaryDirectory() as name:
        folder = copied(Path(name))
        for number, change in enumerate(drawn, 1):
            test = noticed_by(folder, change)
            missed += test is None
            line = (TOP / change.path).read_text("utf-8").splitlines()[change.row - 1].strip()
            print(
                f"{number} {change.path}:{change.row}:{change.column} "
                f"{change.before} -> {change.after} | {line} | {test or 'NO TEST'}",
                flush=True,
            )
    print(f"noticed: {count - missed} of {count}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
