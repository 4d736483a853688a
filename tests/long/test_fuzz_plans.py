"""Spoiled plan.json, and what lies about in a folder of sheets: one line, or no matter.

A plan says by its digest that it was changed. Half of them are sealed anew, so that whatever
stands in them is read; what is then done with a forged one is not ours to promise.
"""

from __future__ import annotations

import copy
import json
import tempfile
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st
from spoiling import (
    CHARACTERS,
    PLACES,
    characters,
    many,
    outcomes,
    refused,
    some,
    spoiled,
    within,
)

from cureplan.api import get_weather, make_plan, read_job, read_plan
from cureplan.core.errors import CurePlanError
from cureplan.output.sheet.write import FILES, ROLE_FILES, WORKBOOK, write_sheets
from cureplan.planning.plan.model import Plan, plan_to_json

JOB = Path(__file__).parents[1] / "pinned" / "jobs" / "one-room.toml"
NOW = datetime.fromisoformat("2026-06-10T13:00+00:00")
LONGEST_S = 30.0
VALUES = [
    None, True, -1, 0, 1, 3, 1e-300, 0.5, 1e9, 1e308, 10**30, -1e9, "", "x", "Kitchen", "82 F",
    "x" * 3000, "\x1b[31m", "\ud800", "1900-01-01T00:00:00Z", "9999-12-31T23:59:59Z",
    "2026-06-11T00:00:00", "0001-01-01T00:00:00+14:00", "America", "localtime", "P1D", "PT0S",
    [], {}, [[]], [None] * 3, "../../job.toml", "/dev/zero",
]  # fmt: skip


class Parts(NamedTuple):
    """The plan, and the same as a JSON value."""

    plan: Plan
    data: dict[str, Any]

    def __repr__(self) -> str:
        return "Parts()"


@pytest.fixture(scope="module")
def parts() -> Parts:
    job = read_job(JOB)
    plan = make_plan(job, now=NOW, weather=get_weather(job, now=NOW), what_helps=False)
    return Parts(plan, json.loads(plan_to_json(plan)))


def places(node: Any) -> list[tuple[Any, Any]]:
    """Every place in a JSON value that could hold something else."""
    keys = list(node) if isinstance(node, dict) else range(len(node))
    found = []
    for key in keys:
        found.append((node, key))
        if isinstance(node[key], dict | list):
            found += places(node[key])
    return found


def spoil(data: dict[str, Any], place: int, value: Any, how: str) -> None:
    """One place changed, taken away, or its row many times over; the job's more often."""
    job = data.get("job")
    # It may be gone already.
    within_it = job if place % 2 and isinstance(job, dict) and job else data
    holder, key = (found := places(within_it))[place // 2 % len(found)]
    if how == "more" and isinstance(holder, list):
        holder.extend([holder[key]] * 5000)
    elif how == "away":
        del holder[key]
    elif how == "times" and isinstance(holder[key], int | float):
        holder[key] *= value if isinstance(value, int | float) else 100
    else:
        holder[key] = copy.deepcopy(value)


def spoil_all(data: dict[str, Any], spoils: list[tuple[int, Any, str]]) -> None:
    """All of them, what makes it long last and once."""
    for one in (
        *(s for s in spoils if s[2] != "more"),
        *[s for s in spoils if s[2] == "more"][:1],
    ):
        spoil(data, *one)


SPOILS = st.lists(
    st.tuples(
        st.integers(0, 10**6),
        st.sampled_from(VALUES),
        st.sampled_from(["value", "value", "times", "times", "away", "more"]),
    ),
    min_size=1,
    max_size=3,
)


@many(5000)
@given(spoils=SPOILS, forged=st.booleans())
def test_spoiled_plans(parts, sealed, spoils, forged):
    data = copy.deepcopy(parts.data)
    spoil_all(data, spoils)
    changed = json.dumps(data) != json.dumps(parts.data)
    with tempfile.TemporaryDirectory() as name, within(LONGEST_S):
        folder = Path(name)
        (folder / "plan.json").write_text(sealed(data) if forged else json.dumps(data))
        try:
            read_plan(folder)
        except CurePlanError as error:
            refused(error, "forged plans" if forged else "plans")
            return
        # Who forges the digest too may still be read; nobody who changes a plan by hand.
        assert forged or not changed
        outcomes["forged plans read" if forged else "unchanged plans read"] += 1


@many(600)
@given(
    spoils=SPOILS,
    edits=some(st.builds(characters, PLACES, st.integers(0, 40), CHARACTERS), 3),
    calendar=st.booleans(),
)
def test_what_lies_there_never_blocks_a_new_plan(parts, sealed, spoils, edits, calendar):
    plan, data = parts.plan, copy.deepcopy(parts.data)
    spoil_all(data, spoils)
    with tempfile.TemporaryDirectory() as name, within(LONGEST_S):
        folder = Path(name)
        (folder / "plan.json").write_text(sealed(data))
        if calendar:
            write_sheets(plan, folder, pictures=False)
            ics = folder / "crew.ics"
            text = spoiled(ics.read_text("utf-8"), edits)
            ics.write_text(text, encoding="utf-8", errors="surrogatepass")
        written = write_sheets(plan, folder, pictures=False)
        names = {path.name for path in written} - set(ROLE_FILES)
        left_out = (WORKBOOK, "primers.csv", "plan.png", "plan.pdf")
        assert names == {f for f in FILES if f not in left_out}
        assert read_plan(folder) == plan
        outcomes["folders with leftovers written"] += 1
