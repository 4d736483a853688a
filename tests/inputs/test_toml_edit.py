"""Keys changed in a TOML text: the values read as wanted, all else stands as it stood."""

from __future__ import annotations

import random
import tomllib
from pathlib import Path

import pytest

import cureplan
from cureplan.core.errors import InputError
from cureplan.inputs.toml_edit import added, removed, with_value

DEMO = (Path(cureplan.__file__).parent / "demo_data" / "school-kitchen.toml").read_text("utf-8")


def comments(text: str) -> list[str]:
    return sorted(line.split("#", 1)[1].strip() for line in text.splitlines() if "#" in line)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("site", "name"), 'The "old" mill # 2'),
        (("rooms", 0, "length"), "31 ft 6 in"),
        (("rooms", 0, "slab_reading", "temp"), "88 F"),
        (("rooms", 4, "way_out"), ["Dish room"]),
        (("rooms", 4, "slab_reading"), {"temp": "80 F"}),
        (("rooms", 1, "slab_reading", "temp"), "80 F"),
        (("crew", "pour_shifts"), [{"from": "20:00", "to": "04:00"}]),
        (("crew", "pour_shifts", 0, "to"), "04:00"),
        (("pace", "rake"), "22 sq ft/min"),
        (("seed",), 7),
        (("rooms", 2, "islands"), [[["1 ft", "1 ft"], ["2 ft", "1 ft"], ["2 ft", "2 ft"]]]),
    ],
)
def test_one_key_is_changed_and_every_comment_stays(path: tuple, value: object) -> None:
    text = with_value(DEMO, path, value)
    found = tomllib.loads(text)
    for step in path:
        found = found[step]
    assert found == value
    assert comments(text) == comments(DEMO) or "mill # 2" in text
    changed = set(text.splitlines()) - set(DEMO.splitlines())
    assert len(changed) <= 2


def test_a_comment_beside_a_value_keeps_its_column() -> None:
    text = with_value(DEMO, ("rooms", 0, "length"), "7 ft")
    line = next(line for line in text.splitlines() if "along the retreat" in line)
    before = next(line for line in DEMO.splitlines() if "along the retreat" in line)
    assert line.index("#") == before.index("#")


def test_a_room_goes_with_its_own_lines_and_no_others() -> None:
    text = removed(DEMO, ("rooms", 1))
    assert [room["name"] for room in tomllib.loads(text)["rooms"]] == [
        "Cook line", "Dish room", "Servery", "Corridor",
    ]  # fmt: skip
    gone = [line for line in DEMO.splitlines() if line and line not in text.splitlines()]
    # Its use and way out stand in others' lines too, the use with a comment there.
    assert gone == [
        'name = "Preparation"',
        'length = "26 ft"',
        'width = "18 ft"',
        'use = "food preparation"',
    ]


def test_a_room_is_added_behind_the_last() -> None:
    room = {
        "name": "Annex",
        "length": "10 ft",
        "width": "9 ft",
        "use": "storage",
        "way_out": [],
    }
    text = added(DEMO, ("rooms",), room)
    assert text.startswith(DEMO.rstrip("\n"))
    assert tomllib.loads(text)["rooms"][-1] == room


WRITINGS = {
    "headers": (
        '[a]\nx = 1 # one\n\n# lead\n[[r]]\nn = "p"\n[r.s]\nt = "q" # two\n\n[[r]]\nn = "z"\n'
    ),
    "inline": 'a = { x = 1 } # one\nr = [{ n = "p", s = { t = "q" } }, { n = "z" }] # two\n',
    "dotted": 'a.x = 1 # one\nr = [\n  { n = "p", s.t = "q" }, # two\n  { n = "z" },\n]\n',
    "strings": (
        "[a]\nx = 1\n[[r]]\nn = '''p\n[a]\n# no'''\ns.t = \"\"\"q\"\"\" # two\n[[r]]\nn='z'"
    ),
}


@pytest.mark.parametrize("writing", WRITINGS)
@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("a", "x"), 2), (("a", "y"), "new"), (("r", 0, "n"), "k"), (("r", 0, "s", "t"), "k"),
        (("r", 0, "s", "u"), "k"), (("r", 1, "s"), {"t": "k"}), (("r", 1, "s", "t"), "k"),
        (("b", "c"), ["1 ft"]), (("r",), [{"n": "only"}]), (("a",), {"x": 5}), (("top",), True),
    ],
)  # fmt: skip
def test_any_way_of_writing_is_changed_or_refused_never_spoiled(
    writing: str, path: tuple, value: object
) -> None:
    before = tomllib.loads(WRITINGS[writing])
    text = with_value(WRITINGS[writing], path, value)
    found = tomllib.loads(text)
    at = found
    for step in path:
        at = at[step]
    assert at == value
    assert {k: v for k, v in found.items() if k != path[0]} == {
        k: v for k, v in before.items() if k != path[0]
    }


@pytest.mark.parametrize("writing", WRITINGS)
@pytest.mark.parametrize(
    "path", [("a", "x"), ("a",), ("r", 0), ("r", 1), ("r", 0, "s"), ("r",)]
)
def test_any_way_of_writing_loses_what_is_removed_alone(writing: str, path: tuple) -> None:
    before = tomllib.loads(WRITINGS[writing])
    try:
        text = removed(WRITINGS[writing], path)
    except InputError:
        # What cannot be done is said, and only where a whole table is spread about.
        assert len(path) == 1
        return
    at = found = tomllib.loads(text)
    for key in before:
        if key != path[0]:
            assert found[key] == before[key]
    for step in path[:-1]:
        at = at.get(step, {}) if isinstance(at, dict) else at[step]
    if isinstance(path[-1], int):
        assert [e["n"] for e in found["r"]] == [
            e["n"] for i, e in enumerate(before["r"]) if i != path[-1]
        ]
    else:
        assert path[-1] not in at


def test_a_hundred_changes_one_after_the_other_keep_every_comment() -> None:
    rng = random.Random(18)
    text = DEMO
    wanted = comments(DEMO)
    for turn in range(100):
        values = tomllib.loads(text)
        table = rng.choice(["site", "building", "crew", "policy", "materials"])
        key = rng.choice(sorted(values[table]))
        if isinstance(values[table][key], str):
            text = with_value(text, (table, key), f"v{turn}" * rng.randint(1, 9))
        else:
            text = with_value(text, ("rooms", rng.randrange(5), "length"), f"{turn + 2} ft")
    assert comments(text) == wanted
