"""What the command line gives for the pinned cases is what it gave before.

A commit that means to change one runs ``python tests/pinned/rewrite.py`` and says so.
The values are the program's own, from an earlier commit: they show that behaviour
stays, never that it is right.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pinned_cases import CASES, EXPECTED, digests, plain_value, workshop

pytestmark = pytest.mark.usefixtures("in_full")

Outputs = Callable[[str], dict[str, str]]
CURE = "if that is meant, run tests/pinned/rewrite.py and say so in the commit"


@pytest.fixture(scope="module")
def outputs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Outputs]:
    with workshop(tmp_path_factory.mktemp("pinned")) as found:
        yield found


# Those that take longest.
THOROUGH = {
    "metric-spanish",
    "night-fast-warm",
    "night-mixer-down",
    "no-plan",
    "short-of-policy",
    "ten-rooms",
}


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=[pytest.mark.thorough] if name in THOROUGH else [])
        for name in CASES
    ],
)
def test_regression_case_gives_what_it_gave(name: str, outputs: Outputs) -> None:
    found = outputs(name)
    before = (EXPECTED / f"{name}.txt").read_text(encoding="utf-8")
    shown = difflib.unified_diff(
        before.splitlines(), found["terminal"].splitlines(), "before", "now", "", "", 1, ""
    )
    wanted, now = json.loads((EXPECTED / f"{name}.json").read_text("utf-8")), digests(found)
    parts = [part for part in {**wanted, **now} if wanted.get(part) != now.get(part)]
    assert not parts, "\n".join([f"{name}: {', '.join(parts)} changed; {CURE}", *shown])


def test_nothing_expected_is_without_a_case() -> None:
    assert {path.stem for path in EXPECTED.iterdir()} == set(CASES)


def test_only_paths_the_time_made_and_the_last_digits_are_left_out(tmp_path: Path) -> None:
    weather = str(tmp_path / "mild.csv")
    plan = {"made_at": "now", "file": weather, "x": 0.1 + 0.2, "n": 7, "say": f"in {weather}"}
    assert plain_value(plan, tmp_path) == {
        "file": "mild.csv", "x": 0.3, "n": 7, "say": "in mild.csv"
    }  # fmt: skip
    assert plain_value({"x": 1.00001}, tmp_path) != plain_value({"x": 1.00002}, tmp_path)
