"""Write notebooks/checks.md, the register of checks, from data/checks.csv.

    python data/make_checks_page.py

One row of the register is one value that a test holds cureplan to. Columns:

- subject, quantity, inputs: what was asked; inputs are the arguments of `computed_by`
- expected, tolerance: a number with a plain or "%" tolerance, a range "4..7", or ">= 3"
- kind: published, reference library, open data, common practice, from memory, computed
- source: who says so; "computed" values were worked apart from the code under test
- computed_by: the function of check_values*.py that gives ours; may be empty
- test: path::name of the test, from the repository's top

tests/test_register.py keeps register, tests and page in step. Needs the extra `test`.
"""

from __future__ import annotations

import ast
import csv
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

DATA = Path(__file__).resolve().parent
sys.path.insert(0, str(DATA))

from check_values import VALUES as PLAIN_VALUES  # noqa: E402
from check_values_floor import VALUES as FLOOR_VALUES  # noqa: E402
from check_values_heat import VALUES as HEAT_VALUES  # noqa: E402
from check_values_kit import VALUES as KIT_VALUES  # noqa: E402
from check_values_order import VALUES as ORDER_VALUES  # noqa: E402

REGISTER = DATA / "checks.csv"
PAGE = DATA.parent / "notebooks" / "checks.md"
VALUES: dict[str, Callable[..., float]] = {
    **PLAIN_VALUES,
    **HEAT_VALUES,
    **FLOOR_VALUES,
    **KIT_VALUES,
    **ORDER_VALUES,
}
KINDS = (
    "published",
    "reference library",
    "open data",
    "common practice",
    "from memory",
    "computed",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One row of the register."""

    subject: str
    quantity: str
    inputs: str
    expected: str
    tolerance: str
    unit: str
    kind: str
    source: str
    computed_by: str
    test: str

    def arguments(self) -> dict[str, object]:
        """Inputs as keyword arguments; what is no number or list stays text."""
        found: dict[str, object] = {}
        for part in filter(None, (text.strip() for text in self.inputs.split(";"))):
            name, _, value = part.partition("=")
            try:
                found[name.strip()] = ast.literal_eval(value)
            except (ValueError, SyntaxError):
                found[name.strip()] = value
        return found

    def ours(self) -> float | None:
        """What cureplan answers now; None where only the test can say."""
        return VALUES[self.computed_by](**self.arguments()) if self.computed_by else None

    def limits(self) -> tuple[float, float]:
        """Lowest and highest value that agrees."""
        if ".." in self.expected:
            low, high = self.expected.split("..")
            return float(low), float(high)
        if self.expected.startswith(">="):
            return float(self.expected[2:]), float("inf")
        middle = float(self.expected)
        if self.tolerance.endswith("%"):
            wide = abs(middle) * float(self.tolerance[:-1]) / 100
        else:
            wide = float(self.tolerance or 0)
        return middle - wide, middle + wide


def checks() -> list[Check]:
    """All rows, in the register's order."""
    with REGISTER.open(encoding="utf-8", newline="") as handle:
        return [Check(**row) for row in csv.DictReader(handle)]


def _shown(check: Check) -> str:
    ours = check.ours()
    if ours is None:
        return "in the test"
    # One digit more than what it is compared with, so that agreement can be seen.
    numbers = check.expected.lstrip(">= ").split("..")
    decimals = 1 + max(len(number.partition(".")[2]) for number in numbers)
    shown = f"{ours:.{decimals}f}"
    return shown.removeprefix("-") if float(shown) == 0 else shown


def _row(check: Check) -> str:
    within = f"± {check.tolerance}" if check.tolerance else ""
    path, _, name = check.test.partition("::")
    cells = [
        check.quantity,
        check.inputs,
        f"{check.expected} {check.unit}".strip(),
        _shown(check),
        within,
        check.kind if check.source == check.kind else f"{check.kind}: {check.source}",
        f"[{name}](../{path})",
    ]
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def page() -> str:
    """The whole page as text."""
    rows = checks()
    counts = ", ".join(
        f"{sum(row.kind == kind for row in rows)} {kind}"
        for kind in KINDS
        if any(row.kind == kind for row in rows)
    )
    lines = [
        "# Register of checks",
        "",
        "Every value that a test holds cureplan to and that comes from outside the code under",
        "test. Made by `python data/make_checks_page.py` from `data/checks.csv`; do not edit.",
        "",
        f"{len(rows)} values: {counts}.",
        "",
        "*Published* values were seen in a copy that names the source, not always in the",
        "printed original. *From memory* ones were not seen at all. *Computed* ones were",
        "worked apart from the code under test, by hand or by another formula. *Common",
        "practice* has no source.",
    ]
    for subject in dict.fromkeys(row.subject for row in rows):
        lines += [
            "",
            f"## {subject}",
            "",
            "| quantity | inputs | expected | ours | within | source | test |",
            "|---|---|---|---|---|---|---|",
            *(_row(row) for row in rows if row.subject == subject),
        ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
    print(f"{PAGE}: {len(checks())} rows")
