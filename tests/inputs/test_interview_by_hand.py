"""Which questions follow which answers, and what an older job file proposes."""

from __future__ import annotations

from datetime import datetime
from itertools import islice
from pathlib import Path
from types import SimpleNamespace as Made

import pytest

from cureplan.core.errors import InputError
from cureplan.inputs.job import interview

ROOMS = {
    0: {"rooms[1].name": ""},
    1: {"rooms[1].name": "Bar", "rooms[2].name": ""},
    2: {"rooms[1].name": "Bar", "rooms[2].name": "Hall", "rooms[3].name": ""},
}


def asked(rooms=1, **answers):
    said = {key.replace("__", "."): text for key, text in answers.items()}
    # All but rooms is at most some sixty; no end of rooms would be no end of questions.
    return list(islice(interview._keys({**ROOMS[rooms], **said}), 200))


@pytest.mark.parametrize(
    ("answers", "more"),
    [
        ({}, []),
        ({"rooms": 2}, ["rooms.group", "rooms.open_by", "rooms.heat"]),
        ({"rooms": 2, "building__climate": "held"},
         ["building.set_point", "rooms.group", "rooms.open_by"]),
        ({"rooms": 2, "building__climate": "drifting"},
         ["building.lag", "building.gain", "rooms.group", "rooms.open_by", "rooms.heat"]),
        ({"rooms": 2, "rooms__group": "Bar + Hall"},
         ["rooms.group", "crew.group_changeover", "rooms.open_by", "rooms.heat"]),
        ({"rooms": 2, "rooms__open_by": "Bar 2026-07-18 06:00"},
         ["rooms.group", "rooms.open_by", "rooms.heat"]),
        ({"building__climate": "held"}, ["building.set_point"]),
        ({"materials__primer": "slab-primer"}, ["crew.primer"]),
        ({"materials__primer": "none"}, []),
        ({"cove__height": "4 in"}, ["cove.material", "cove.pace", "cove.when"]),
        ({"people": "Ana: foreman"}, ["crew.longest_shift", "crew.rest"]),
        ({"weather__source": "file"}, ["weather.file"]),
        ({"weather__source": "forecast"}, ["weather.contact"]),
        ({"weather__source": "station"}, []),
    ],
)  # fmt: skip
def test_an_answer_calls_for_further_questions(answers, more):
    found = asked(**answers)
    own = [key for key in found if not key.startswith("rooms[")]
    assert [key for key in own if key not in interview._ASKED] == more
    # Who has names is not counted; held air needs no heaters.
    gone = set(interview._ASKED) - {*own}
    assert gone == (
        {*interview._HEADS}
        if "people" in answers
        else {"building.heat"}
        if answers.get("building__climate") == "held"
        else set()
    )
    for number in range(1, answers.get("rooms", 1) + 1):
        of_room = [key for key in found if key.startswith(f"rooms[{number}].")]
        assert of_room == [f"rooms[{number}].{key}" for key in interview._OF_ROOM]


def test_a_question_more_stands_behind_the_one_that_calls_for_it():
    found = asked(
        2, people="Ana: foreman", cove__height="4 in", rooms__group="Bar + Hall",
        materials__primer="slab-primer",
    )  # fmt: skip
    for before, after in (
        ("crew.changeover", "crew.longest_shift"), ("cove.height", "cove.material"),
        ("rooms.group", "crew.group_changeover"),
    ):  # fmt: skip
        assert found.index(after) == found.index(before) + 1
    # Nobody named counts heads, so nobody counts those of the primer either.
    assert "crew.primer" not in found
    counted = asked(materials__primer="slab-primer")
    assert counted.index("crew.primer") == counted.index("crew.topcoat") + 1


def test_rooms_are_named_from_the_first_until_there_are_no_more():
    assert interview._room_names(ROOMS[2]) == ["Bar", "Hall"]
    assert interview._room_names(ROOMS[1]) == ["Bar"]
    assert interview._room_names(ROOMS[0]) == []


OLDER = """
people = [
  7, { name = "Ana", roles = ["foreman", "mixer"] }, { name = "Bo", roles = "rake" },
  { name = "", roles = ["edge"] }, { roles = ["edge"] }, { name = "Cy", roles = ["rake"] },
]
building = 3
[site]
name = true
latitude = 40.5
time_zone = ""
[crew]
stations = 2
pour_shifts = [{ from = "19:00", to = "05:00" }, { from = "20:00" }, 7,
  { from = "06:00", to = "10:00", note = "x" }]
topcoat_shifts = [{ to = "05:00" }]
"""


def test_an_older_file_proposes_what_it_says_and_no_nonsense(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(OLDER, encoding="utf-8")
    assert interview.last_answers(path) == {
        "people": "Ana: foreman, mixer; Cy: rake",
        "site.latitude": "40.5",
        "crew.stations": "2",
        "crew.pour_shifts": "19:00 to 05:00, 06:00 to 10:00",
    }


# One answer among the others


SEVEN = datetime.fromisoformat("2026-07-17T19:00")
OPEN = "4 m, left 3 m, left 4 m, left 1 m"


@pytest.mark.parametrize(
    ("key", "answer", "value"),
    [
        # Too little for a walk's side, and a corner of two that is not one.
        ("rooms[1].length", "4 m, 3 m, left 4 m", "3 m"),
        ("rooms[1].length", OPEN, OPEN),
        ("rooms[1].islands", "2 m x 1 m; 3 m", "2 m x 1 m"),
        ("site.latitude", "95", "95"), ("site.name", "", ""),
    ],
)  # fmt: skip
def test_a_refusal_shows_what_it_is_about(key, answer, value):
    with pytest.raises(InputError) as refused:
        interview.read_answer(interview._question(key, {}), answer)
    assert (refused.value.key, refused.value.value) == (key, value)


@pytest.mark.parametrize(
    ("path", "text", "value"),
    [
        (("rooms", 0, "heat"), "60 F from 2026-07-17 19:00",
         {"to": "60 F", "from": SEVEN}),
        (("building", "heat"), "60 F from then", {"to": "60 F", "from": "then"}),
        # A date alone is no hour.
        (("access", "from"), "2026-07-17", "2026-07-17"),
        (("access", "from"), "2026-07-17 19", SEVEN),
        (("crew", "pour_shifts"), "19:00 - 05:00, 06:00 to 10:00",
         [{"from": "19:00", "to": "05:00"}, {"from": "06:00", "to": "10:00"}]),
        (("people",), "Ana: Mixer, , runner; Bo: rake",
         [{"name": "Ana", "roles": ["mixer", "runner"]}, {"name": "Bo", "roles": ["rake"]}]),
        (("people",), "none", []),
        (("rooms", 0, "way_out"), "Hall, None, Bar", ["Hall", "Bar"]),
        (("crew", "rake"), "2", 2), (("crew", "rake"), "2.5", "2.5"),
        (("site", "longitude"), "−73.88", -73.88), (("site", "longitude"), "west", "west"),
    ],
)  # fmt: skip
def test_an_answer_is_written_as_the_file_holds_it(path, text, value):
    assert interview.value_of(path, text) == value


def taken(key, answer, answers=None):
    """The answers with one more, or the key of what is refused."""
    said = dict(answers or {})
    try:
        interview._take(interview._question(key, said), answer, said, Path())
    except InputError as error:
        return error.key
    return said[key]


CROSSED = "0 ft, 0 ft; 24 ft, 0 ft; 0 ft, 20 ft; 24 ft, 20 ft"
EAST = {"site.latitude": "40.78", "site.longitude": "73.88"}


@pytest.mark.parametrize(
    ("key", "answer", "answers", "found"),
    [
        ("rooms.group", "Bar + Hall", ROOMS[2], "Bar + Hall"),
        ("rooms.group", "none", ROOMS[2], ""),
        ("rooms.group", "Bar + Attic", ROOMS[2], "rooms.group"),
        ("rooms.heat", "Bar 60 F from 2026-07-17 20:00", ROOMS[2],
         "Bar 60 F from 2026-07-17 20:00"),
        ("rooms.open_by", "Hall 2026-07-10 06:00", ROOMS[2], "rooms[2].open_by"),
        ("site.name", "none", None, "none"), ("site.name", "", None, "site.name"),
        ("rooms[1].name", "", None, "rooms.name"), ("rooms[2].name", "", ROOMS[1], ""),
        ("rooms[1].length", "24 ft", ROOMS[1], "24 ft"),
        ("rooms[1].length", CROSSED, ROOMS[1], "rooms[1].outline"),
        # New York's clock and a town in Asia: refused at the last of the three.
        ("site.longitude", "73.88", EAST, "73.88"),
        ("site.time_zone", "America/New_York", EAST, "site.longitude"),
        ("access.open_by", "2026-07-10 06:00", {"access.from": "2026-07-17 19:00"},
         "access.open_by"),
    ],
)  # fmt: skip
def test_an_answer_is_judged_with_those_it_belongs_to(key, answer, answers, found):
    assert taken(key, answer, answers) == found


# The whole


class OverError(Exception):
    """Nothing more is said."""


def talk(*said, patient=True, answers=None, proposed=None):
    """What was proposed at each question, what was told and what is kept of the answers."""
    left, usuals, told, kept = list(said), [], [], []
    answers = dict(answers or {})

    def ask(question, usual):
        usuals.append((question, usual))
        if not left:
            raise OverError
        return left.pop(0)

    with pytest.raises((OverError, InputError)):
        interview.interview(
            ask, tell=told.append, patient=patient, folder=Path(), answers=answers,
            keep=lambda now: kept.append(dict(now)), proposed=proposed,
        )  # fmt: skip
    return usuals, told, kept


def test_what_belongs_together_is_offered_again_but_for_what_is_wrong():
    usuals, told, kept = talk("Bar", "40.7", "74", "3 m", "America/New_York", "", "")
    # The longitude is refused at the zone: again come latitude, as it was said, longitude, as
    # is usual, and zone.
    assert [said for _, said in usuals[5:]] == ["40.7", "-73.88", "America/New_York"]
    assert len(told) == 1
    assert "south and west of Greenwich are negative" in told[0]
    rest = {"site.name": "Bar", "site.elevation": "3 m"}
    assert kept[4] == rest
    assert kept[-1] == {**rest, "site.latitude": "40.7", "site.longitude": "-73.88"}


def test_a_town_is_told_and_stands_for_three_answers(monkeypatch):
    town = Made(latitude_deg=41.85, longitude_deg=-87.65, time_zone="America/Chicago")
    monkeypatch.setattr(interview, "town_of", lambda _: town)
    usuals, told, kept = talk("Bar", "Chicago")
    assert usuals[1][0] == "Its latitude, degrees, or the town"
    # No height is proposed of another place's.
    assert usuals[2][1] == ""
    assert told == ["  41.85, -87.65, America/Chicago"]
    assert kept[-1] == {
        "site.name": "Bar", "site.latitude": "41.85", "site.longitude": "-87.65",
        "site.time_zone": "America/Chicago",
    }  # fmt: skip
    # One answer alone is not said again.
    assert talk("Bar", "40.7")[1] == []


def test_a_height_is_proposed_where_it_is_the_same_place():
    height = interview._question("site.elevation", {}).usual
    last = {"site.latitude": "40.7", "site.elevation": "12 m"}
    for said, proposed, usual in (
        ("", None, height), ("40.7", None, ""), ("", last, "12 m"), ("40.8", last, ""),
    ):  # fmt: skip
        usuals, _, _ = talk("Bar", said, "-74", proposed=proposed)
        assert usuals[-1][1] == usual, (said, proposed)


def test_who_is_not_patient_is_refused_at_once():
    usuals, told, kept = talk("Bar", "95", patient=False)
    assert (len(usuals), told, kept) == (2, [], [{"site.name": "Bar"}] * 2)
    again, told, _ = talk("Bar", "95")
    assert (len(again), len(told)) == (3, 1)


@pytest.mark.parametrize(
    ("key", "answer", "words"),
    [
        ("rooms.heat", "Hall 600 F from 2026-07-17 20:00", "lies between"),
        ("rooms.heat", "Hall 60 F", "not a date and time"),
        ("rooms.open_by", "Hall tomorrow", "not a date and time"),
        ("rooms.group", "Hall", "two or more"),
    ],
)
def test_a_slip_in_what_some_rooms_have_is_told_as_what_it_is(key, answer, words):
    with pytest.raises(InputError, match=words):
        interview._said_of(key, answer, ROOMS[2])


@pytest.mark.parametrize(
    ("key", "again"),
    [
        ("rooms[2].open_by", ["rooms.open_by"]), ("rooms[2].heat.to", ["rooms.heat"]),
        ("rooms[2].length", ["rooms[2].length"]), ("rooms", []), (None, []),
        ("crew.pour_shifts[1].to", ["crew.pour_shifts"]),
    ],
)  # fmt: skip
def test_what_lies_at_a_room_is_asked_again_where_all_rooms_were_asked(key, again):
    answers = dict.fromkeys(
        ("rooms[1].length", "rooms[2].length", "rooms[2].name", "rooms.open_by", "rooms.heat",
         "rooms.group", "crew.pour_shifts"), "",
    )  # fmt: skip
    wrong = InputError("wrong", cure="mend it", key=key)
    assert interview._concerned(wrong, None, answers) == again


def test_every_room_that_was_named_is_written():
    text = interview.job_text({**ROOMS[2], "rooms.group": "Bar + Hall"})
    rooms = text.split("[[rooms]]")[1:]
    assert [part.strip().splitlines()[0] for part in rooms] == ['name = "Bar"', 'name = "Hall"']
    assert all('group = "Bar"' in part for part in rooms)
    assert interview.job_text(ROOMS[1]).count("[[rooms]]") == 1
