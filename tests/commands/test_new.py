"""`cureplan new`, answered by a script, as a user would run it."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import pytest
import typer
from command_line import run_here

from cureplan.core.errors import InputError
from cureplan.inputs.faults import field_at
from cureplan.inputs.fields import facts_of
from cureplan.inputs.job.interview import (
    Answers,
    Question,
    interview,
    job_text,
    last_answers,
    next_question,
    next_weekend,
    read_answer,
)
from cureplan.inputs.job.reader import read_job
from cureplan.inputs.job.schema import JobFile


def asked(**said: str) -> list[Question]:
    """Every question up to the rooms, where the rest is answered as usual."""
    answers: Answers = {}
    found = []
    while (question := next_question(answers)) is not None and question.path[0] != "rooms":
        found.append(question)
        answers[question.key] = said.get(question.key.replace(".", "_"), question.usual)
    return found


ALL = asked()
USUAL = [""] * len(ALL)
ROOMS = [
    *("Corridor", "34 ft", "6 ft", "passage", "carts", "none"),
    *("Cook line", "", "", "", "", "Corridor"),
    "",
]


def new(folder: Path, lines: list[str]) -> subprocess.CompletedProcess[str]:
    return run_here("new", "job.toml", folder=folder, typed="\n".join(lines) + "\n")


@pytest.mark.thorough
def test_usual_answers_make_a_job_that_reads(tmp_path: Path) -> None:
    done = new(tmp_path, [*USUAL, *ROOMS])
    assert done.returncode == 0, done.stderr
    job = read_job(tmp_path / "job.toml")
    assert [room.name for room in job.rooms] == ["Corridor", "Cook line"]
    assert job.rooms[1].way_out == ("Corridor",)
    # 30 ft x 20 ft, at 0.3048 m the foot (exact).
    assert job.rooms[1].area_m2 == pytest.approx(600 * 0.3048**2)
    assert [room.open_for for room in job.rooms] == ["carts", "wash-down"]
    assert job.cards.primer is None
    assert job.weather.source == "station"
    written = tmp_path / "job.toml"
    assert "#" in written.read_text(encoding="utf-8")
    # A night to come is proposed.
    assert written.stat().st_mtime < job.access.begins.timestamp()


@pytest.mark.parametrize(
    ("now", "begins", "open_by"),
    [
        ("2026-11-29 02:33", "2026-12-04 19:00", "2026-12-07 06:00"),
        ("2026-12-03 23:59", "2026-12-04 19:00", "2026-12-07 06:00"),
        # On the day itself it is too late to plan the night before.
        ("2026-12-04 00:00", "2026-12-11 19:00", "2026-12-14 06:00"),
        ("2026-12-26 12:00", "2027-01-01 19:00", "2027-01-04 06:00"),
    ],
)
def test_the_next_weekend_goes_from_friday_evening_to_monday_morning(
    now: str, begins: str, open_by: str
) -> None:
    # By the calendar: 4 and 11 December 2026 and 1 January 2027 are Fridays.
    said = next_weekend(datetime.fromisoformat(now))
    assert said == {"access.from": begins, "access.open_by": open_by}


def test_a_held_kitchen_is_asked_for_its_set_point(tmp_path: Path) -> None:
    said = {"building.climate": "held", "building.set_point": "70 F"}
    answers = [said.get(question.key, "") for question in asked(building_climate="held")]
    done = new(tmp_path, [*answers, *ROOMS])
    assert done.returncode == 0, done.stderr
    # 70 °F = 21.1 °C.
    assert read_job(tmp_path / "job.toml").building.set_point_c == pytest.approx(
        21.111, abs=0.01
    )


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("place", "answer", "says"),
    [
        ("site.name", "", None),
        ("site.latitude", "95", "site.latitude"),
        ("site.time_zone", "Mars/Olympus", "no such time zone"),
        ("site.elevation", "9500 m", "site.elevation"),
        ("site.name", "x" * 81, "80 characters"),
        ("access.from", "tomorrow", "not a date and time"),
        ("access.open_by", "2026-07-16 06:00", "before the crew may be in"),
        ("site.time_zone", "America", "no such time zone"),
        ("site.time_zone", "Europe/Madrid", "does not lie in"),
        ("building.slab_thickness", "60 ft", "at most 2 m"),
        ("building.ground", "500 F", "building.ground"),
        ("building.gain", "72 F", "how much warmer"),
        ("crew.mixer", "1", "crew.stations"),
        ("crew.setup", "9 h", "at most 8 h"),
        ("crew.pour_shifts", "19:00 to 19:00", "zero length"),
        ("policy.confidence", "20 %", "at least 50 %"),
        ("building.slab_thickness", "6", "bare number"),
        ("crew.mixer", "two", "whole number"),
        ("crew.pour_shifts", "19:00", "crew.pour_shifts"),
        ("policy.confidence", "90", "policy.confidence"),
    ],
)
def test_a_wrong_answer_is_one_line_and_nothing_is_written(
    place: str, answer: str, says: str | None, tmp_path: Path
) -> None:
    answers = [answer if question.key == place else "" for question in ALL]
    done = new(tmp_path, [*answers, *ROOMS])
    if says is None:
        assert done.returncode == 0, done.stderr
        return
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "job.toml").exists()


def test_a_job_file_that_stands_is_never_overwritten(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("mine", encoding="utf-8")
    done = new(tmp_path, [*USUAL, *ROOMS])
    assert done.returncode == 2
    assert (tmp_path / "job.toml").read_text(encoding="utf-8") == "mine"


def at_the_keyboard(*wrong: tuple[str, str]) -> tuple[str, list[str], Answers]:
    """The usual answers, but each of `wrong` given once where its question is put."""
    left = list(wrong)
    rooms = iter(ROOMS)
    told: list[str] = []
    answers: Answers = {}

    def ask(question: str, usual: str) -> str:
        if left and question.startswith(left[0][0]):
            return left.pop(0)[1]
        return next(rooms) if question.startswith(("Room", "  ")) else usual

    text = interview(ask, tell=told.append, patient=True, folder=Path(), answers=answers)
    assert not left
    return text, told, answers


def test_at_the_keyboard_a_wrong_answer_is_asked_again() -> None:
    text, told, _ = at_the_keyboard(("Its latitude", "95"), ("Its latitude", "40.78"))
    assert "latitude = 40.78" in text
    assert any("between -90 and 90" in words for words in told)


def test_answers_that_contradict_each_other_are_asked_again_together() -> None:
    text, told, _ = at_the_keyboard(
        ("Its longitude", "73.88"), ("Its time zone", "America/New_York"),
        ("Its longitude", "-73.88"), ("By when must it", "2026-07-10 06:00"),
    )  # fmt: skip
    assert "longitude = -73.88" in text
    assert [("west" in words, "open" in words) for words in told] == [
        (True, False),
        (False, True),
    ]


def test_a_room_that_is_not_there_is_refused_at_its_question() -> None:
    text, told, _ = at_the_keyboard(("  Which floors", "Nowhere"))
    assert "Nowhere" not in text
    assert len(told) == 1


def test_contradicting_answers_are_refused_whole(tmp_path: Path) -> None:
    rooms = [*ROOMS[:11], "Nowhere", ""]
    done = new(tmp_path, [*USUAL, *rooms])
    assert done.returncode == 2
    assert "Nowhere" in done.stderr


def test_every_usual_answer_is_accepted_and_every_question_stands_at_its_key() -> None:
    for said in (
        {}, {"weather_source": "file"}, {"weather_source": "forecast"},
        {"building_climate": "held"}, {"building_climate": "open"},
    ):  # fmt: skip
        for question in asked(**said):
            read_answer(question, question.usual)
            info = field_at(question.path, JobFile)
            assert info is not None
            assert facts_of(info).ask == question.ask
            # The JSON Schema says the question too.
            assert info.description == question.ask
    with pytest.raises(InputError, match="not a number"):
        read_answer(ALL[1], "north")


@pytest.mark.thorough
@pytest.mark.parametrize("after", [1, 9, 20, len(ALL), len(ALL) + 3])
def test_an_interview_that_ends_early_goes_on_where_it_was(after: int, tmp_path: Path) -> None:
    answers = ["Blue kitchen", *USUAL[1:], *ROOMS]
    done = new(tmp_path, answers[:after])
    assert done.returncode == 2
    assert "answers" in done.stderr
    assert not (tmp_path / "job.toml").exists()
    done = new(tmp_path, answers[after:])
    assert done.returncode == 0, done.stderr
    job = read_job(tmp_path / "job.toml")
    assert (job.site.name, len(job.rooms)) == ("Blue kitchen", 2)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job.toml"]


def test_a_script_mended_at_its_fault_is_read_from_its_start(tmp_path: Path) -> None:
    answers = ["Blue kitchen", "95", "", "3 m", *USUAL[4:], *ROOMS]
    assert new(tmp_path, answers).returncode == 2
    answers[1] = "40.7"
    done = new(tmp_path, answers)
    assert done.returncode == 0, done.stderr
    assert read_job(tmp_path / "job.toml").site.latitude_deg == pytest.approx(40.7)


@pytest.mark.parametrize("draft", ["", "nonsense = [", 'site.name = "x"', "x" * 2_000_000])
def test_a_draft_that_says_nothing_is_one_line_or_no_matter(draft: str, tmp_path: Path) -> None:
    (tmp_path / "job.toml.draft").write_text(draft)
    done = new(tmp_path, [*USUAL, *ROOMS])
    assert "Traceback" not in done.stderr
    assert (done.returncode == 0) == (tmp_path / "job.toml").exists()
    assert done.returncode in (0, 2)


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_ctrl_c_keeps_what_was_answered(tmp_path: Path) -> None:
    import pty

    master, slave = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "cureplan", "new", "job.toml"],
        cwd=tmp_path, stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
    )  # fmt: skip
    os.close(slave)
    seen = ""
    for wait_for, typed in (
        ("Which kitchen", "Blue kitchen\n"),
        ("latitude", "95\n"),
        ("between -90 and 90", "40.7\n"),
        ("longitude", None),
    ):
        while wait_for not in seen:
            seen += os.read(master, 4096).decode()
        if typed is not None:
            os.write(master, typed.encode())
    # A signal that comes just before the prompt begins to read waits for the next key, so
    # it is given again, as a person would.
    for _ in range(60):
        process.send_signal(signal.SIGINT)
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(timeout=2)
        if process.returncode is not None:
            break
    assert process.returncode == 130
    os.close(master)
    assert "Traceback" not in seen
    draft = (tmp_path / "job.toml.draft").read_text(encoding="utf-8")
    assert '"site.name" = "Blue kitchen"' in draft
    done = new(tmp_path, ["", "3 m", *USUAL[4:], *ROOMS])
    assert done.returncode == 0, done.stderr
    assert read_job(tmp_path / "job.toml").site.name == "Blue kitchen"


@pytest.mark.thorough
def test_a_primer_asks_for_its_hands_and_none_does_not(tmp_path: Path) -> None:
    assert "crew.primer" not in {question.key for question in ALL}
    said = {"materials.primer": "slab-primer", "crew.primer": "3"}
    with_primer = asked(materials_primer="slab-primer")
    assert "crew.primer" in {question.key for question in with_primer}
    done = new(tmp_path, [*(said.get(q.key, "") for q in with_primer), *ROOMS])
    assert done.returncode == 0, done.stderr
    job = read_job(tmp_path / "job.toml")
    assert job.cards.primer is not None
    assert job.crew.primer == 3


def test_a_primer_nobody_ships_is_refused(tmp_path: Path) -> None:
    answers = ["tar" if q.key == "materials.primer" else "" for q in ALL]
    done = new(tmp_path, [*answers, *ROOMS])
    assert done.returncode == 2
    assert "materials.primer" in done.stderr


@pytest.mark.thorough
def test_what_the_last_job_said_is_proposed(tmp_path: Path) -> None:
    said = {
        "site.name": "Blue kitchen",
        "crew.runner": "2",
        "crew.pour_shifts": "20:00 to 04:00",
    }
    assert new(tmp_path, [*(said.get(q.key, "") for q in ALL), *ROOMS]).returncode == 0
    (tmp_path / "job.toml").rename(tmp_path / "monday.toml")
    done = new(tmp_path, [*USUAL, *ROOMS])
    assert done.returncode == 0, done.stderr
    assert "monday.toml" in done.stderr
    job = read_job(tmp_path / "job.toml")
    assert (job.site.name, job.crew.runner) == ("Blue kitchen", 2)
    assert f"{job.crew.pour_shifts[0].begins:%H:%M}" == "20:00"


def test_a_card_beside_it_proposes_nothing(tmp_path: Path) -> None:
    (tmp_path / "card.toml").write_text('kind = "slurry"', encoding="utf-8")
    (tmp_path / "torn.toml").write_text("kind = [", encoding="utf-8")
    done = new(tmp_path, [*USUAL, *ROOMS])
    assert done.returncode == 0, done.stderr
    assert "In brackets" not in done.stderr


@pytest.mark.thorough
@pytest.mark.parametrize("after", range(0, len(ALL) + len(ROOMS), 3))
def test_ctrl_c_at_any_prompt_is_quiet_and_keeps_the_answers(
    after: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = iter([*USUAL, *ROOMS][:after])

    def prompt(_question: str, *, default: str, **_more: object) -> str:
        for answer in said:
            return answer or default
        raise typer.Abort from KeyboardInterrupt()

    # A person at the keyboard, who gives up at one of the questions.
    monkeypatch.setattr(typer, "prompt", prompt)
    monkeypatch.setattr("cureplan.output.commands.new._at_a_terminal", lambda: True)
    done = new(tmp_path, [])
    assert done.returncode == 130
    assert done.stdout == ""
    kept = f"\nThe {after} answers so far are kept in job.toml.draft; run it again to go on.\n"
    assert done.stderr == (kept if after else "")
    assert (tmp_path / "job.toml.draft").exists() == (after > 0)
    assert not (tmp_path / "job.toml").exists()


@pytest.mark.thorough
def test_a_town_gives_coordinates_and_time_zone() -> None:
    text, told, answers = at_the_keyboard(
        ("Its latitude", "Portland"), ("Its latitude", "portland, or"), ("How high", "15 m")
    )  # fmt: skip
    assert ["Oregon" in words and "Maine" in words for words in told] == [True, False]
    # From memory: it lies 45.5 north and 122.7 west.
    assert float(answers["site.latitude"]) == pytest.approx(45.5, abs=0.1)
    assert float(answers["site.longitude"]) == pytest.approx(-122.7, abs=0.1)
    assert 'time_zone = "America/Los_Angeles"' in text


@pytest.mark.thorough
def test_a_town_in_a_script_stands_for_three_answers(tmp_path: Path) -> None:
    left_out = ("site.latitude", "site.longitude", "site.time_zone")
    rest = ["" for question in ALL if question.key not in left_out]
    script = ["Blue kitchen", "Halifax, NS", "20 m", *rest[2:], *ROOMS]
    done = new(tmp_path, [*script[:9], "nonsense", *script[10:]])
    assert done.returncode == 2
    # From its start again, mended: the draft is of the same answers.
    done = new(tmp_path, script)
    assert done.returncode == 0, done.stderr
    site = read_job(tmp_path / "job.toml").site
    assert (site.time_zone, round(site.latitude_deg)) == ("America/Halifax", 45)
    # The height that is proposed is the proposed kitchen's, no other town's.
    done = run_here("new", "c.toml", folder=tmp_path, typed="Blue\nDenver\n" + "\n" * 40)
    assert done.returncode == 2
    assert "site.elevation = '': this is not an elevation; write" in done.stderr
    done = run_here("new", "b.toml", folder=tmp_path, typed="Blue\nHalifaks\n")
    assert done.returncode == 2
    assert 'did you mean "Halifax"' in done.stderr


def test_people_are_asked_before_heads_and_heads_only_where_nobody_is_named(tmp_path: Path):
    keys = [question.key for question in ALL]
    assert keys.index("people") < keys.index("crew.stations") < keys.index("crew.mixer")
    assert not {"crew.longest_shift", "crew.rest"} & {*keys}
    who = "Ana: foreman, mixer, runner; Bo: rake, smoother, topcoat; Cy: broadcaster, Edge"
    named = asked(people=who)
    assert not {"crew.mixer", "crew.topcoat"} & {question.key for question in named}
    said = {"people": who, "crew.stations": "1"}
    done = new(tmp_path, [*(said.get(question.key, "") for question in named), *ROOMS])
    assert done.returncode == 0, done.stderr
    crew = read_job(tmp_path / "job.toml").crew
    assert [(person.name, len(person.roles)) for person in crew.people] == [
        ("Ana", 3), ("Bo", 3), ("Cy", 2),
    ]  # fmt: skip
    # The usual answers: 12 h and 8 h.
    assert (crew.longest_shift_s, crew.rest_s) == (43200, 28800)
    # The next job is offered what this one said.
    assert last_answers(tmp_path / "job.toml")["people"] == who.replace("Edge", "edge")


def test_a_slip_among_the_people_is_refused_at_their_question(tmp_path: Path):
    who = "Ana: foreman, mixer, runner; Bo: raker, smoother, topcoat; Cy: broadcaster, edge"
    named = asked(people=who)
    said = [{"people": who}.get(question.key, "") for question in named]
    done = new(tmp_path, [*said, *ROOMS])
    assert done.returncode == 2
    assert "answers: people" in done.stderr
    assert 'did you mean "rake"?' in done.stderr


WALKED = {
    "building.heat": "65 F from 2026-07-17 19:00",
    "cove.height": "4 in",
    "rooms[1].name": "Kitchen",
    "rooms[1].length": "24 ft, left 30 ft, left 10 ft, left 12 ft, right 14 ft, left 18 ft",
    "rooms[1].islands": "4 ft by 3 ft at 8 ft, 6 ft",
    "rooms[1].stop_lines": "15 ft",
    "rooms[2].name": "",
}


@pytest.mark.parametrize("turned", [False, True])
def test_a_room_is_walked_round_and_cove_and_heaters_are_asked(tmp_path: Path, turned: bool):
    swap = str.maketrans({"l": "r"}) if turned else {}
    walk = "24 ft, l 30 ft, l 10 ft, l 12 ft, R 14 ft, l 18 ft".translate(swap)
    said = {**WALKED, "rooms[1].length": walk.replace("R", "l" if turned else "r")}
    answers: Answers = {}
    while (question := next_question(answers)) is not None:
        answers[question.key] = said.get(question.key, question.usual)
        if answers[question.key]:
            read_answer(question, answers[question.key])
    assert "rooms[1].width" not in answers
    (tmp_path / "job.toml").write_text(job_text(answers), encoding="utf-8")
    job = read_job(tmp_path / "job.toml")
    room = job.rooms[0]
    # By hand: 24 x 18 + 10 x 12 - 4 x 3 = 540 sq ft, whichever way the walk turns.
    assert room.area_m2 == pytest.approx(540 * 0.3048**2)
    assert room.outline is not None
    assert room.length_m == pytest.approx(30 * 0.3048)
    assert [y for _, y in room.outline.stop_lines_m[0]] == pytest.approx([15 * 0.3048] * 2)
    # Walked with the room on the right, 8 ft from the corner are 24 - 8 - 4 from the other.
    along_ft = 12 if turned else 8
    assert room.outline.islands_m[0][0] == pytest.approx((along_ft * 0.3048, 6 * 0.3048))
    corner_ft = 0 if turned else 24
    assert (corner_ft * 0.3048, 30 * 0.3048) in [
        pytest.approx(corner) for corner in room.outline.corners_m
    ]
    assert job.cove is not None
    assert (job.cove.when, job.policy.remedies[-1]) == ("before", "heat")


SOME = {
    "access.from": "2026-07-17 19:00",
    "access.open_by": "2026-07-20 06:00",
    "rooms[1].name": "Hall",
    # A corner is cut off at 45°: 3 m by 3 m less a triangle of 1 m by 1 m, its slope 1.414 m.
    "rooms[1].length": "3 m, left 2 m, left 45° 1.414 m, left 45 deg 2 m, left 3 m",
    "rooms[2].name": "Bay",
    # The back wall runs up the page, 5 m; slanted from 4 m to 3 m away.
    "rooms[2].length": "0 m, 0 m; 0 m, 5 m; 3 m, 5 m; 4 m, 0 m",
    "rooms[3].name": "Store",
    "rooms[4].name": "",
    "rooms.group": "hall + BAY",
    "rooms.open_by": "Store 2026-07-18 20:00",
    "rooms.heat": "bay: 60 F from 2026-07-17 20:00",
}


def some_asked(**other: str) -> tuple[Answers, list[str], str]:
    """An interview of three rooms, what it told, and the file's text."""
    answers: Answers = {}
    told: list[str] = []
    once = {key.replace("__", "."): said for key, said in other.items()}

    def ask(_: str, usual: str) -> str:
        question = next_question(answers)
        assert question is not None
        return once.pop(question.key, None) or SOME.get(question.key, usual)

    text = interview(ask, tell=told.append, patient=True, folder=Path(), answers=answers)
    return answers, told, text


def test_what_some_rooms_have_of_their_own_is_asked_once_for_all(tmp_path: Path):
    _, told, text = some_asked()
    assert told == []
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    job = read_job(tmp_path / "job.toml")
    hall, bay, store = job.rooms
    assert [room.area_m2 for room in (hall, bay)] == pytest.approx([8.5, 17.5], abs=0.01)
    assert (hall.group, bay.group, store.group) == ("Hall", "Hall", None)
    assert job.crew.in_group_s == 0.0
    assert store.open_by is not None
    assert store.open_by.isoformat()[:13] == "2026-07-19T00"
    assert bay.heat is not None
    assert bay.heat.to_c == pytest.approx(15.56, abs=0.01)
    assert job.policy.remedies[-1] == "heat"
    # The back wall of the Bay is its first: it is turned, not mirrored.
    assert bay.outline is not None
    sides = [round(abs(b[1] - a[1]), 2) for a, b in pairwise(bay.outline.corners_m)]
    assert sides == [0.0, 3.0, 1.0]
    # One room is asked for none of it.
    assert "rooms.group" not in {question.key for question in ALL}


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("key", "answer", "problem"),
    [
        ("rooms.group", "Hall + Bar", "no room is named so"),
        ("rooms.group", "Hall", "two or more"),
        ("rooms.group", "Hall + Bay; Bay + Store", "two or more"),
        ("rooms.open_by", "Store tomorrow", "not a date and time"),
        ("rooms.open_by", "Store 2026-07-10 06:00", "opens after access begins"),
        ("rooms.heat", "Store 60 F", "not a date and time"),
        ("rooms.heat", "Store 600 F from 2026-07-17 20:00", "lies between"),
        ("rooms.heat", "Store 60 F from 2026-07-17 20:00; store 50 F", "stands twice"),
        ("building.heat", "65 F from tomorrow at six", "date"),
    ],
)
def test_a_slip_in_what_some_rooms_have_is_asked_again(key: str, answer: str, problem: str):
    _, told, _ = some_asked(**{key.replace(".", "__"): answer})
    assert len(told) == 1
    assert problem in told[0]


@pytest.mark.parametrize(
    ("key", "answer", "problem"),
    [
        ("length", "24 ft, left 200° 30 ft, left 10 ft", "between 0° and 180°"),
        ("length", "0 ft, 0 ft; 4 ft; 3 ft, 3 ft", "no corner"),
        ("length", "24 ft, left 30 ft, left 10 ft", "do not come back to the first corner"),
        ("length", "24 ft, 30 ft", "begins with its turn"),
        ("length", "24 ft, left 30", "bare number"),
        ("islands", "4 ft at 8 ft, 6 ft", "no size at a place"),
        ("stop_lines", "15", "bare number"),
    ],
)
def test_a_walk_that_cannot_be_is_refused_at_its_question(key: str, answer: str, problem: str):
    question = Question(path=("rooms", 0, key), ask="", usual="")
    with pytest.raises(InputError, match=problem) as refused:
        read_answer(question, answer)
    assert refused.value.key == f"rooms[1].{key}"


def test_a_held_kitchen_needs_no_heaters() -> None:
    assert "building.heat" not in {q.key for q in asked(building_climate="held")}
