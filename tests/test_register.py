"""The register of checks keeps step with the tests, with the code, and with its page.

A test carries a value from outside when a comment in it, or on its decorators, says
where the value comes from in one of the words of `PROVENANCE`: house rule for such
values anyway. It must then have a row in data/checks.csv, and every row a test. Tests of
the oracles themselves, in tests/oracles, have none: the register is of shipped code, and
what it calls a command or the library must reach.
"""

from __future__ import annotations

import ast
import io
import re
import sys
import tokenize
from functools import cache
from pathlib import Path
from typing import Any

import pytest

TOP = Path(__file__).parents[1]
PROVENANCE = re.compile(
    r"published|from memory|common practice|worked apart|computed apart|computed from"
    r"|as quoted|handbook",
    re.IGNORECASE,
)


@pytest.fixture(scope="module")
def register() -> Any:
    pytest.importorskip("psychrolib", reason="the register's page needs the extra `test`")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "path", [str(TOP / "data"), *sys.path])
        import make_checks_page

    return make_checks_page


def commented_tests(text: str) -> dict[str, str]:
    """Test functions by name, with the words of their comments."""
    comments = [
        (token.start[0], token.string.lstrip("# "))
        for token in tokenize.generate_tokens(io.StringIO(text).readline)
        if token.type == tokenize.COMMENT
    ]
    found = {}
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            first = min([node.lineno, *(mark.lineno for mark in node.decorator_list)])
            last = node.end_lineno or node.lineno
            found[node.name] = " ".join(said for row, said in comments if first <= row <= last)
    return found


@cache
def all_tests() -> dict[str, str]:
    """Every test of the suite as path::name, with the words of its comments."""
    return {
        f"{path.relative_to(TOP).as_posix()}::{name}": said
        for path in sorted((TOP / "tests").rglob("test_*.py"))
        for name, said in commented_tests(path.read_text(encoding="utf-8")).items()
    }


def test_every_row_has_its_test(register):
    named = {check.test for check in register.checks()}
    assert sorted(named - set(all_tests())) == [], "rows whose test is gone or renamed"


def test_every_value_from_outside_has_its_row(register):
    rows = {check.test for check in register.checks()}
    carrying = {name for name, said in all_tests().items() if PROVENANCE.search(said)}
    carrying = {name for name in carrying if not name.startswith("tests/oracles/")}
    assert sorted(carrying - rows) == [], (
        "tests that name a source without a row: add one to data/checks.csv, then run "
        "python data/make_checks_page.py"
    )


def test_the_scan_sees_decorators_and_bodies_and_not_its_neighbours():
    text = (
        "# Published: the heading's, not a test's\n"
        "@mark([\n    (1, 2),  # From memory of a book\n])\n"
        "def test_one(a):\n    assert a\n\n\n"
        "def test_two():\n    # Tolerance: half a digit\n    assert True\n"
    )
    carrying = {name for name, said in commented_tests(text).items() if PROVENANCE.search(said)}
    assert carrying == {"test_one"}


def test_ours_agree_with_every_row_that_can_be_computed_alone(register):
    off = []
    for check in register.checks():
        ours = check.ours()
        low, high = check.limits()
        # 1e-9 of the value: an exact row is one of arithmetic, not of binary digits.
        slack = 1e-9 * max(abs(low), 1.0)
        if ours is not None and not low - slack <= ours <= high + slack:
            off.append(f"{check.quantity} ({check.inputs}): {ours} for {check.expected}")
    assert off == []


def test_a_wrong_value_would_be_seen(register):
    # Two rows of ours, one of them wrong by just more than it allows.
    common = {
        "subject": "s", "quantity": "q", "unit": "", "kind": "computed", "source": "s",
        "computed_by": "celsius", "inputs": "text=95 F", "test": "t",
    }  # fmt: skip
    right = register.Check(expected="35.1", tolerance="0.1", **common)
    wrong = register.Check(expected="35.2", tolerance="0.5 %", **common)
    assert right.limits()[0] - 1e-9 <= right.ours() <= right.limits()[1]
    assert not wrong.limits()[0] <= wrong.ours() <= wrong.limits()[1]
    assert register.Check(expected="4..7", tolerance="", **common).limits() == (4, 7)
    assert register.Check(expected=">= 3", tolerance="", **common).limits()[0] == 3


def test_rows_are_complete_and_no_two_alike(register):
    rows = register.checks()
    assert len(rows) >= 60
    for check in rows:
        assert check.kind in register.KINDS, check
        assert check.subject, check
        assert check.quantity, check
        assert check.source, check
        assert not check.computed_by or check.computed_by in register.VALUES, check
        ranged = ".." in check.expected or check.expected.startswith(">=")
        assert ranged or not check.computed_by or check.tolerance, check
    keys = [(row.test, row.quantity, row.inputs, row.expected, row.tolerance) for row in rows]
    assert len(keys) == len(set(keys))
    computed = sum(bool(row.computed_by) for row in rows)
    assert computed > 0.8 * len(rows), "most rows must show a value of ours"


def test_the_page_is_up_to_date(register):
    written = register.PAGE.read_text(encoding="utf-8")
    assert written == register.page(), "run python data/make_checks_page.py"


Key = tuple[str, str]


def names_in(node: ast.AST) -> set[str]:
    return {
        part.id if isinstance(part, ast.Name) else part.attr
        for part in ast.walk(node)
        if isinstance(part, ast.Name | ast.Attribute)
    }


def definitions(path: Path) -> dict[Key, set[str]]:
    """What each name at a file's top, and each method, speaks of."""
    found: dict[Key, set[str]] = {}
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef):
            found[path.as_posix(), node.name] = names_in(node)
        elif isinstance(node, ast.ClassDef):
            methods = [
                part
                for part in node.body
                if isinstance(part, ast.FunctionDef) and not part.name.startswith("__")
            ]
            found[path.as_posix(), node.name] = set().union(
                *(names_in(part) for part in [*node.body, *node.bases] if part not in methods),
                *(names_in(mark) for part in methods for mark in part.decorator_list),
            )
            for part in methods:
                found[path.as_posix(), part.name] = names_in(part)
        elif isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
            for target in node.targets if isinstance(node, ast.Assign) else [node.target]:
                for name in names_in(target):
                    found[path.as_posix(), name] = names_in(node.value)
    return found


@cache
def reached() -> frozenset[str]:
    """Names that the command line and the library reach, function by function.

    By name alone: two functions of one name count as both reached.
    """
    package = TOP / "cureplan"
    speaks: dict[str, set[str]] = {}
    begin: set[str] = set()
    for path in package.rglob("*.py"):
        for (file, name), others in definitions(path).items():
            speaks.setdefault(name, set()).update(others)
            if file.endswith(("cureplan/cli.py", "cureplan/api.py", "cureplan/__main__.py")):
                begin.add(name)
        # Commands are registered by decorators.
        if path.parent.name == "commands":
            begin |= {name for _, name in definitions(path)}
    seen: set[str] = set()
    while begin:
        name = begin.pop()
        if name not in seen:
            seen.add(name)
            begin |= speaks.get(name, set())
    return frozenset(seen)


@pytest.mark.thorough
def test_what_the_register_calls_is_reached_by_a_command():
    called = {
        alias.name
        for path in sorted((TOP / "data").glob("check_values*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("cureplan.")
        for alias in node.names
        if not alias.name[0].isupper()
    } - {"heat", "quantities"}
    assert len(called) > 20
    assert sorted(called - reached()) == [], "rows rest on code that no command runs"


def test_the_science_wing_holds_nothing_that_no_command_reaches():
    dead = [
        f"{Path(file).name}: {name}"
        for path in sorted((TOP / "cureplan" / "science").rglob("*.py"))
        for file, name in definitions(path)
        if name not in reached() and name != "__all__"
    ]
    assert dead == [], "move it to tests/oracles, or let it go"


def test_no_row_rests_on_a_page_of_questions_and_answers(register):
    # The search knows the kind of page it is to find.
    loose = re.compile(r"stack ?(exchange|overflow)|quora|reddit|forum|blog|\bQ&A\b|@\w", re.I)
    assert loose.search("a chemistry forum")
    assert [row.quantity for row in register.checks() if loose.search(row.source)] == []


def test_the_demo_names_no_real_school_and_says_whose_its_coordinates_are():
    # The register as it is.
    for path in (TOP / "cureplan" / "demo_data").glob("*.toml"):
        text = path.read_text(encoding="utf-8")
        head = " ".join(text[: text.index("[weather]")].replace("#", "").split())
        assert 'name = "Example ' in head
        assert "the weather station's: no kitchen stands there" in head
