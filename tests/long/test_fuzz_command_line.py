"""Spoiled files through the command line: exit codes 0 to 4, one line, no traceback.

    python -m pytest -o addopts= tests/long/test_fuzz_command_line.py

In this process, to be fast; a user's mistake may end it in no other way than with
SystemExit and, past 1, exactly one line on the error stream.
"""

from __future__ import annotations

import contextlib
import io
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from spoiling import (
    NUMBER_EDITS,
    TABLE_EDITS,
    TOML_EDITS,
    many,
    outcomes,
    some,
    spoiled,
    within,
)
from test_fuzz_files import CARDS, DEMO, JOB

from cureplan.cli import main

WEATHER = (DEMO.parent / "heat-wave.csv").read_text(encoding="utf-8")
PLANNED = ("plan.json", "sheet.html", "buckets.csv", "calls.csv", "coats.csv", "crew.ics")
LONGEST_S = 90.0


def run(folder: Path, *words: str) -> tuple[int, str, str]:
    """Exit code, output and errors of one command in a folder."""
    out, err = io.StringIO(), io.StringIO()
    with (
        pytest.MonkeyPatch.context() as patch,
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        within(LONGEST_S),
    ):
        patch.setattr(sys, "argv", ["cureplan", *words])
        patch.chdir(folder)
        with pytest.raises(SystemExit) as ended:
            main()
    code = ended.value.code
    assert isinstance(code, int)
    return code, out.getvalue(), err.getvalue()


def judged(found: tuple[int, str, str], what: str) -> int:
    """The exit code, once it has been found to be one that was designed."""
    code, out, err = found
    assert code in (0, 1, 2, 3, 4), (code, err)
    assert "Traceback" not in out + err
    # A plan of ours that our own judge refuses is a fault of ours, not of the file.
    assert "was checked and is refused" not in err, err
    if code >= 2:
        last = [line for line in err.splitlines() if line.startswith("cureplan: ")]
        assert len(last) == 1, err
    outcomes[f"{what}: exit {code}"] += 1
    return code


@many(200)
@given(
    edits=st.one_of(some(TOML_EDITS, 2), some(NUMBER_EDITS, 2), some(NUMBER_EDITS, 2)),
    rows=st.one_of(st.just([]), st.just([]), some(TABLE_EDITS, 1)),
)
def test_check_and_plan(edits, rows):
    # One number or two changed leave many jobs that can be read, and so must be planned.
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "job.toml").write_text(spoiled(JOB, edits), encoding="utf-8")
        (folder / "heat-wave.csv").write_text(spoiled(WEATHER, rows), encoding="utf-8")
        if judged(run(folder, "check", "job.toml"), "check") != 0:
            # What cannot be read is not planned either.
            assert judged(run(folder, "plan", "job.toml"), "plan") >= 2
            assert not (folder / "night-plan").exists()
            return
        code = judged(run(folder, "plan", "job.toml", "--now", "2013-07-17T12:00"), "plan")
        written = folder / "night-plan"
        if code <= 1:
            assert all((written / file).stat().st_size > 0 for file in PLANNED)
        else:
            assert not written.exists()


@many(280)
@given(
    edits=st.one_of(some(TOML_EDITS, 2), some(NUMBER_EDITS, 3)),
    name=st.sampled_from(["fast-slurry", "clear-topcoat"]),
    at=st.sampled_from(["90 F", "21 C", "0 C", "130 F", "90", "", "-- F"]),
    json=st.booleans(),
)
def test_clock_and_chill(edits, name, at, json):
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "card.toml").write_text(spoiled(CARDS[name], edits), encoding="utf-8")
        more = ["--json"] if json else []
        judged(run(folder, "clock", "card.toml", "--at", at, *more), "clock")
        words = ["chill", "card.toml", "--air", at, "--slab", "88 F", *more]
        judged(run(folder, *words), "chill")


WORDS = [
    "plan", "check", "clock", "chill", "schema", "demo?", "--json", "--help", "--at", "90 F",
    "fast-slurry", "nothing.toml", "", "job", "-", "--now", "yesterday", "\x00", "..", "é",
]  # fmt: skip


@many(200)
@given(words=st.lists(st.sampled_from(WORDS), max_size=5))
def test_any_words_at_all(words):
    with tempfile.TemporaryDirectory() as place:
        code, out, err = run(Path(place), *words)
        # Options that do not exist are the shell's to refuse, in its own form.
        assert code in (0, 2, 4)
        assert "Traceback" not in out + err
        if err.startswith("cureplan: "):
            assert err.count("\n") == 1
        outcomes[f"any words: exit {code}"] += 1
