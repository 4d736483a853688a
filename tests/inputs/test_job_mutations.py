"""Whatever happens to a job file, reading it ends in a job or in one clear error."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cureplan.core.errors import InputError
from cureplan.inputs.cards.reader import read_card_text
from cureplan.inputs.job.model import Job
from cureplan.inputs.job.reader import read_job_text

OTHER_LINES = st.sampled_from(
    [
        "",
        "[rooms]",
        "[[rooms]]",
        "[[site]]",
        "name = 3",
        "name = []",
        'name = ""',
        "from = 2013-07-17",
        "from = 9999-12-31T23:59:59",
        "open_by = 0001-01-01T00:00:00+14:00",
        "open_by = 19:00:00",
        'length = "1e9 ft"',
        "latitude = nan",
        "latitude = 1e400",
        "way_out = [[]]",
        'way_out = ["Cook line", "Corridor", 3]',
        "rooms.name = 1",
        "slab_reading = { temp = true, at = 1 }",
        'sun = { from = "1:00", to = "25:00", share = "" }',
        'slurry = "../"',
        'slurry = "\\u0000.toml"',
        'file = "\\u0000"',
        'file = "."',
        'time_zone = "\\u0000"',
        'time_zone = ""',
        'time_zone = "posix"',
        "languages = [{}]",
        "seed = -1",
        "pour_shifts = [[[[]]]]",
        'remedies = [["hour"]]',
        "remedies = 1979-05-27T07:32:00Z",
        "=",
        '"""',
        "\x00",
    ]
)
ODD = st.text(
    alphabet="[]{}\"'=.,#\\\n \t09-:TZeE+\x00\ufeff\u00bd\ud7ff", min_size=1, max_size=3
)


@st.composite
def edits(draw):
    """A few edits of lines and characters, each by its place in the file."""
    kinds = st.sampled_from(["delete", "double", "replace", "swap", "cut", "insert"])
    return [
        (draw(kinds), draw(st.floats(0, 1, exclude_max=True)), draw(OTHER_LINES), draw(ODD))
        for _ in range(draw(st.integers(1, 4)))
    ]


def edited(text, steps):
    for kind, place, line, characters in steps:
        rows = text.split("\n")
        row = int(place * len(rows))
        at = int(place * len(text))
        if kind == "delete":
            del rows[row]
        elif kind == "double":
            rows.insert(row, rows[row])
        elif kind == "replace":
            rows[row] = line
        elif kind == "swap":
            rows[row], rows[-row] = rows[-row], rows[row]
        else:
            rows = [text[:at], text[at + 2 :]] if kind == "cut" else [text[:at], text[at:]]
            text = (characters if kind == "insert" else "").join(rows)
            continue
        text = "\n".join(rows)
    return text


RELAXED = settings(
    max_examples=200,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@pytest.mark.thorough
@RELAXED
@given(steps=edits())
def test_a_mutated_job_is_read_or_refused(steps, demo_text, folder):
    source = folder / "job.toml"
    text = edited(demo_text, steps)
    try:
        job = read_job_text(text, source=source)
    except InputError as error:
        shown = str(error)
        lines = (error.line, text.count("\n") + 2)
    else:
        assert isinstance(job, Job)
        return
    assert "\n" not in shown
    assert "; " in shown
    assert lines[0] is None or 1 <= lines[0] <= lines[1]


@pytest.mark.thorough
@RELAXED
@given(steps=edits())
def test_a_mutated_card_is_read_or_refused(steps, slurry_text, folder):
    try:
        read_card_text(edited(slurry_text, steps), source=folder / "card.toml")
    except InputError as error:
        shown = str(error)
    else:
        return
    assert shown.startswith(str(folder))
    assert "\n" not in shown


@pytest.mark.parametrize("steps", [[("delete", 0.0, "", "")]])
def test_a_harmless_edit_still_reads(steps, demo_text, folder):
    """The comment on top may go; without this the tests above could pass on errors alone."""
    assert read_job_text(edited(demo_text, steps), source=folder / "job.toml").rooms
