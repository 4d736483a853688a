"""What a question of the interview says and takes, and the shape an answer gives a room."""

from __future__ import annotations

from types import SimpleNamespace as Made

import pytest

from cureplan.core.errors import InputError
from cureplan.inputs.job import build, interview
from cureplan.inputs.job.model import Room


@pytest.mark.parametrize(
    ("key", "words", "usual"),
    [
        ("rooms[1].name", "Room 1, its name (empty: no more)", ""),
        ("rooms[3].name", "Room 3, its name (empty: no more)", ""),
        ("rooms[2].length", "or its sides in turn from the back wall", None),
        ("rooms[2].use", "storage", None), ("access.open_by", "", "2026-07-19 06:00"),
    ],
)  # fmt: skip
def test_what_a_question_says_of_its_room(key, words, usual):
    # Of 19:00 on a Friday the weekend ends 2 d 11 h later.
    question = interview._question(key, {"access.from": "2026-07-16 19:00"})
    assert words in question.ask
    assert usual is None or question.usual == usual
    assert question.key == key


def test_the_weekend_follows_a_beginning_that_is_known():
    usual = interview._question("access.open_by", {}).usual
    assert interview._question("access.open_by", {"access.from": "soon"}).usual == usual
    for key in ("access.from", "site.name", "rooms[1].width"):
        told = interview._question(key, {"access.from": "2026-07-16 19:00"})
        assert "its name (empty: no more)" not in told.ask
        assert "or its sides in turn" not in told.ask
        assert told.usual == interview._question(key, {}).usual


@pytest.mark.parametrize(
    ("key", "answer", "value"),
    [
        ("rooms[1].length", "24 ft", "24 ft"), ("rooms[1].width", "20 ft", "20 ft"),
        ("rooms[1].islands", "", []), ("rooms[1].stop_lines", "", []),
    ],
)  # fmt: skip
def test_an_answer_is_read_as_it_stands(key, answer, value):
    assert interview.read_answer(interview._question(key, {}), answer) == value


def test_the_sides_of_a_room_may_stand_for_its_length_and_for_nothing_else():
    length = interview._question("rooms[1].length", {})
    assert len(interview.read_answer(length, "0 ft, 0 ft; 24 ft, 0 ft; 24 ft, 20 ft")) == 3
    width = interview._question("rooms[1].width", {})
    with pytest.raises(InputError):
        interview.read_answer(width, "0 ft, 0 ft; 24 ft, 0 ft; 24 ft, 20 ft")


@pytest.mark.parametrize(
    ("key", "answer", "keys"),
    [
        ("site.latitude", "40.7", 1), ("site.latitude", "-33.9", 1), ("site.latitude", "", 1),
        ("site.longitude", "Chicago", 1), ("site.latitude", "Chicago", 3),
        ("rooms[1].name", "Chicago", 1),
    ],
)  # fmt: skip
def test_a_town_gives_its_coordinates_and_its_clock(key, answer, keys):
    given = interview.given_by(interview._question(key, {}), answer)
    assert (next(iter(given)), len(given)) == (key, keys)
    if keys == 3:
        # Chicago lies at 41.9 degrees north and 87.6 west.
        assert float(given["site.latitude"]) == pytest.approx(41.9, abs=0.2)
        assert float(given["site.longitude"]) == pytest.approx(-87.6, abs=0.2)
        assert given["site.time_zone"] == "America/Chicago"


def test_a_letter_is_enough_for_a_town(monkeypatch):
    asked = []
    monkeypatch.setattr(
        interview, "town_of",
        lambda name: asked.append(name)
        or Made(latitude_deg=1.0, longitude_deg=2.0, time_zone="UTC"),
    )  # fmt: skip
    question = interview._question("site.latitude", {})
    given = {"site.latitude": "1", "site.longitude": "2", "site.time_zone": "UTC"}
    assert interview.given_by(question, "Y") == given
    assert interview.given_by(question, "O'Fallon") == given
    # What does not begin with a letter is a number, if a wrong one.
    assert interview.given_by(question, "4x") == {"site.latitude": "4x"}
    assert asked == ["Y", "O'Fallon"]


@pytest.mark.parametrize(
    ("back_wall", "places"),
    [
        (None, (0, 1)), ((1, 2), (0, 1)), ((2, 1), (0, 1)), ((3, 2), (1, 2)), ((3, 4), (2, 3)),
        # The last corner and the first are neighbours, and it runs from the last.
        ((1, 4), (3, 0)), ((4, 1), (3, 0)),
    ],
)  # fmt: skip
def test_a_back_wall_runs_from_a_corner_to_the_next(back_wall, places):
    corners_m = ((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0))
    entry = Made(
        has_outline=True, corners_m=corners_m, islands_m=(), stop_lines_m=(),
        back_wall=back_wall,
    )  # fmt: skip
    outline = build.outline_of(entry)
    assert outline.back_wall == places
    assert build.outline_of(Made(has_outline=False)) is None


def test_a_plain_floor_has_two_lengths_and_two_widths_of_edge():
    assert Room.edge_m.fget(Made(outline=None, length_m=5.0, width_m=3.0)) == 16.0
    assert Room.edge_m.fget(Made(outline=Made(edge_m=7.0))) == 7.0
