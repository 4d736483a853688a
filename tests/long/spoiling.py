"""Ways to spoil a sound file: as a tired hand would, and as chance would."""

from __future__ import annotations

import re
import signal
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

Edit = Callable[[str], str]
outcomes: Counter[str] = Counter()
"""What became of the spoiled files; shown at the end of a run."""
LONGEST_S = 10.0
WAITS = 30.0
"""How many times as long may pass by the wall clock."""
scale = {"inputs": 1.0}
"""How many times as many inputs as a test names; `--inputs` sets it."""

VALUES = [
    "0", "-1", "1", "24", "1e9", "nan", "inf", "true", "[]", "{}", '""', '"0"', '"82"',
    '"0 ft"', '"0.001 in"', '"400 ft"', '"9999 ft"', '"22 ft"', '"3 mm"', '"-3 ft"',
    '"-40 F"', '"0 F"', '"32 F"', '"84 F"', '"120 F"', '"212 F"', '"28 C"', '"60 C"',
    '"room"', '"0 min"', '"1 s"', '"1 min"', '"20 min"', '"3 h"', '"48 h"', '"30 d"',
    '"4-3 h"', '"3.5-4 h"', '"0 %"', '"1 %"', '"50 %"', '"100 %"', '"120 %"', '"0 kg"',
    '"1 g"', '"9000 kg"', '"0.1 L"', '"500 gal"', '"1:1"', '"0:1"', '"1 kJ/mol"',
    '"500 kJ/mol"', '"0.1 kJ/kg K"', '"9 W/K"', '"10 kW"', '"0.01 W/m K"', '"held"', '"open"',
    '"drifting"', '"station"', '"America/Phoenix"', '"Nowhere/City"', '"food preparation"',
    '"Corridor"', '["Corridor"]', '["Cook line"]', '["hour"]', '["bays", "chill", "hour"]',
    "2013-07-17T19:00:00", "2013-07-17T18:59:00", "2013-07-20T06:00:00",
    "2013-07-21T23:00:00", "2013-11-03T01:30:00", "2013-03-10T02:30:00", "1900-01-01",
    '{ temp = "86 F", at = 2013-07-17T16:30:00 }', '[{ from = "19:00", to = "05:00" }]',
    '[{ from = "05:00", to = "05:00" }]', '[{ from = "04:59", to = "05:00" }]',
    '[{ at = "21 C", after = "20 min" }]',
    '[{ at = "21 C", after = "20 min" }, { at = "32 C", after = "9 min" }]',
    '[{ at = "21 C", after = "20 min" }, { at = "32 C", after = "90 h" }]',
    '[{ at = "5 C", after = "30 s" }]',
]  # fmt: skip
NUMBERS = [
    "0", "0.001", "0.5", "1", "2", "3", "7.5", "12", "40", "99", "1000", "1/8", "1 1/2",
]  # fmt: skip
CELLS = [
    "", "0", "-1", "1e9", "nan", "inf", "NA", "72.5", "-80", "212", "1e400", "72,5", "72 F",
    "0x1f", "2013-07-17T19:00:00-04:00", "2013-07-17T19:00:00", "2013-07-17T25:00:00-04:00",
    "2013-02-30", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "2013-07-17T19:00:00+99:00",
    "bucket", "probe", "cup", "sheet", "working_time", "wet_edge", "recoat_opens", "20",
    "0.01", "100000", "\u0661",
]  # fmt: skip
CHARACTERS = st.text(
    alphabet="[]{}\"'=.,;:#\\/\n\t 0189-+eETZ%F\x00\ufeff½°\u0661", min_size=1, max_size=3
)


def many(count: int) -> settings:
    """So many examples times `--inputs`, and no clock but `within`."""
    return settings(
        max_examples=max(1, round(count * scale["inputs"])),
        deadline=None,
        derandomize=False,
        database=None,
        suppress_health_check=list(HealthCheck),
    )


def some(edits: st.SearchStrategy[Edit], most: int) -> st.SearchStrategy[list[Edit]]:
    """One edit or a few."""
    return st.lists(edits, min_size=1, max_size=most)


def refused(error: Any, what: str) -> None:
    """Count a refusal, which must be one short line."""
    said = str(error)
    assert said
    assert "\n" not in said
    assert "Traceback" not in said
    assert len(said) < 2000, said
    outcomes[f"{what} refused"] += 1


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Raise if what is inside takes more processor time, or waits for far longer.

    By the processor's clock, so that a busy machine does not fail what is sound.
    """

    def ring(_number: int, _frame: object) -> None:
        raise TimeoutError(f"still running after {seconds:g} s")

    clocks = (
        (signal.ITIMER_PROF, signal.SIGPROF, seconds),
        (signal.ITIMER_REAL, signal.SIGALRM, WAITS * seconds),
    )
    before = [signal.signal(sign, ring) for _, sign, _ in clocks]
    for clock, _, limit_s in clocks:
        signal.setitimer(clock, limit_s)
    try:
        yield
    finally:
        for (clock, sign, _), handler in zip(clocks, before, strict=True):
            signal.setitimer(clock, 0.0)
            signal.signal(sign, handler)


def _replaced(text: str, found: re.Match[str], new: str) -> str:
    return text[: found.start(1)] + new + text[found.end(1) :]


def _nth(pattern: str, text: str, place: int) -> re.Match[str] | None:
    found = list(re.finditer(pattern, text, re.MULTILINE))
    return found[place % len(found)] if found else None


def other_value(place: int, value: str) -> Edit:
    """Another value for some key, often one of another kind."""

    def edit(text: str) -> str:
        found = _nth(r"^[\w\". ]+? = (.+?)(?:  +#.*)?$", text, place)
        return _replaced(text, found, value) if found else text

    return edit


def other_number(place: int, number: str) -> Edit:
    """Another number before the same unit: still written well, perhaps not believable."""

    def edit(text: str) -> str:
        found = _nth(r"\"(\d[\d./ ]*?) ?[A-Za-z%]", text, place)
        return _replaced(text, found, number) if found else text

    return edit


def other_cell(place: int, cell: str) -> Edit:
    """Another cell in a table."""

    def edit(text: str) -> str:
        found = _nth(r"(?:^|,)([^,\n#]*)(?=,|$)", text, place)
        return _replaced(text, found, cell) if found else text

    return edit


def moved_line(place: int, to: int, keep: bool) -> Edit:
    """A line moved, doubled, or (moved onto itself) deleted."""

    def edit(text: str) -> str:
        lines = text.splitlines()
        if not lines:
            return text
        line = lines[place % len(lines)]
        if not keep:
            del lines[place % len(lines)]
        if keep or place % 2:
            lines.insert(to % (len(lines) + 1), line)
        return "\n".join(lines) + "\n"

    return edit


def characters(place: int, cut: int, put: str) -> Edit:
    """A few characters cut and others put in."""

    def edit(text: str) -> str:
        at = place % (len(text) + 1)
        return text[:at] + put + text[at + cut :]

    return edit


PLACES = st.integers(0, 100_000)
TOML_EDITS = st.one_of(
    st.builds(other_value, PLACES, st.sampled_from(VALUES)),
    st.builds(other_number, PLACES, st.sampled_from(NUMBERS)),
    st.builds(moved_line, PLACES, PLACES, st.booleans()),
    st.builds(characters, PLACES, st.integers(0, 4), CHARACTERS),
)
NUMBER_EDITS = st.builds(other_number, PLACES, st.sampled_from(NUMBERS))
TABLE_EDITS = st.one_of(
    st.builds(other_cell, PLACES, st.sampled_from(CELLS)),
    st.builds(moved_line, PLACES, PLACES, st.booleans()),
    st.builds(characters, PLACES, st.integers(0, 8), CHARACTERS),
)


def spoiled(text: str, edits: list[Edit]) -> str:
    """The text after all the edits."""
    for edit in edits:
        text = edit(text)
    return text
