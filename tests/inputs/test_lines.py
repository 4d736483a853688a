"""Where keys stand in a TOML text."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.inputs.files import line_of, locate

TEXT = '''# a comment with = and [brackets]
title = "x = [1]  # no comment"
a.b . "c d" = 1

[site]        # header
name = """
[not a table]
key = 1
"""
note = \'\'\'
it''s
\'\'\'
where = "C:\\\\" # an escaped backslash ends the string

[[rooms]]
name = "A"
way_out = [
    "B",  # first
    "C",
]
[rooms.sun]
from = "14:00"

[[rooms]]
name = "B"
sun = { from = "14:00", share = "5 %" }
points = [{ at = "21 C", after = "5 h" },
          { at = "30 C", after = "3 h" }]
when = 2013-07-17T19:00:00

[[rooms.marks]]
x = 1
[[rooms.marks]]
x = 2
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        # Counted by hand in the text above.
        (("title",), 2),
        (("a", "b", "c d"), 3),
        (("a",), 3),
        (("site",), 5),
        (("site", "name"), 6),
        (("site", "note"), 10),
        (("site", "where"), 13),
        (("rooms", 0), 15),
        (("rooms", 0, "name"), 16),
        (("rooms", 0, "way_out"), 17),
        (("rooms", 0, "way_out", 0), 18),
        (("rooms", 0, "way_out", 1), 19),
        (("rooms", 0, "sun"), 21),
        (("rooms", 0, "sun", "from"), 22),
        (("rooms", 1), 24),
        (("rooms", 1, "sun", "share"), 26),
        (("rooms", 1, "points", 1, "after"), 28),
        (("rooms", 1, "when"), 29),
        (("rooms", 1, "marks", 0), 31),
        (("rooms", 1, "marks", 1, "x"), 34),
        # What is not there is looked for in the table around it.
        (("rooms", 1, "sun", "to"), 26),
        (("rooms", 0, "width"), 15),
    ],
)
def test_finds_the_line_of_a_key(path, line):
    assert line_of(path, locate(TEXT)) == line


def test_what_is_nowhere_has_no_line():
    assert line_of(("weather", "source"), locate(TEXT)) is None


def test_a_table_stands_where_its_own_header_is():
    lines = locate("[a.b]\nx = 1\n[a]\ny = 2\n")
    assert (lines[("a",)], lines["a", "b"]) == (3, 1)


@pytest.mark.parametrize("quote", ['"', "'"])
def test_a_long_string_may_end_in_quotes_of_its_own(quote):
    text = f"[t]\nx = {quote * 3}he said {quote}yes{quote * 5}\ny = 2\n"
    assert locate(text) == {("t",): 1, ("t", "x"): 2, ("t", "y"): 3}
    assert tomllib.loads(text)["t"]["y"] == 2


def paths(value, above=()):
    """Every key path of a value the standard reader gave."""
    if isinstance(value, dict):
        inner = value.items()
    elif isinstance(value, list):
        inner = enumerate(value)
    else:
        return
    for key, entry in inner:
        yield (*above, key)
        yield from paths(entry, (*above, key))


def test_knows_every_key_the_standard_reader_knows():
    assert set(locate(TEXT)) == set(paths(tomllib.loads(TEXT)))


KEYS = st.sampled_from(["a", "b-1", '"c d"', "e.f"])
SCALARS = st.sampled_from(
    ['"x # y"', "'z = [1]'", "3", "true", '"""1\n]\n2"""', "1979-05-27", "[]"]
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda vs: "[ # c ]\n" + ",\n".join(vs) + "]"),
        inner.map(lambda v: "{ k = " + v + " }"),
    ),
    max_leaves=5,
)


@given(entries=st.lists(st.tuples(KEYS, VALUES), max_size=5, unique_by=lambda e: e[0]))
def test_keys_and_lines_of_any_text_agree_with_the_standard_reader(entries):
    text = "[[t]]\n" + "".join(f"{key} = {value}\n" for key, value in entries)
    values = tomllib.loads(text)
    lines = locate(text)
    assert set(lines) == set(paths(values))
    rows = text.splitlines()
    for key, _ in entries:
        first = key.partition(".")[0].strip('"')
        assert rows[lines["t", 0, first] - 1].startswith(key)


@given(text=st.text(alphabet="[]{}\"'=.,# \n\\ab1", max_size=60))
def test_the_scan_ends_on_any_text(text):
    assert all(line >= 1 for line in locate(text).values())
