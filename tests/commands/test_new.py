"""`cureplan new`, answered by a script, as a user would run it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from cureplan.core.errors import InputError
from cureplan.inputs.job.interview import (
    JOB_QUESTIONS,
    ROOM_QUESTIONS,
    check_answer,
    follow_ups,
    new_job_text,
)
from cureplan.inputs.job.reader import read_job

USUAL = [""] * (len(JOB_QUESTIONS) + 2)  # lag and gain follow the usual climate
ROOMS = [
    *("Corridor", "34 ft", "6 ft", "passage", "none"),
    *("Cook line", "", "", "", "Corridor"),
    "",
]


def new(folder: Path, lines: list[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "cureplan", "new", "job.toml"],
        cwd=folder,
        input="\n".join(lines) + "\n",
        capture_output=True,
        text=True,
        timeout=60,
    )


def test_usual_answers_make_a_job_that_reads(tmp_path: Path) -> None:
    done = new(tmp_path, [*USUAL, *ROOMS])
    assert done.returncode == 0, done.stderr
    job = read_job(tmp_path / "job.toml")
    assert [room.name for room in job.rooms] == ["Corridor", "Cook line"]
    assert job.rooms[1].way_out == ("Corridor",)
    # 30 ft x 20 ft, at 0.3048 m the foot (exact).
    assert job.rooms[1].area_m2 == pytest.approx(600 * 0.3048**2)
    assert job.weather.source == "station"
    assert "#" in (tmp_path / "job.toml").read_text(encoding="utf-8")


def test_a_held_kitchen_is_asked_for_its_set_point(tmp_path: Path) -> None:
    answers = ["held" if q.key == "building.climate" else "" for q in JOB_QUESTIONS]
    answers.insert([q.key for q in JOB_QUESTIONS].index("building.climate") + 1, "70 F")
    done = new(tmp_path, [*answers, *ROOMS])
    assert done.returncode == 0, done.stderr
    # 70 °F = 21.1 °C.
    assert read_job(tmp_path / "job.toml").building.set_point_c == pytest.approx(
        21.111, abs=0.01
    )


@pytest.mark.parametrize(
    ("place", "answer", "says"),
    [
        ("site.name", "", None),
        ("site.latitude", "95", "site.latitude"),
        ("site.time_zone", "Mars/Olympus", "no such time zone"),
        ("access.from", "tomorrow", "access.from"),
        ("building.slab_thickness", "6", "bare number"),
        ("crew.mixer", "two", "whole number"),
        ("crew.pour_shifts", "19:00", "crew.pour_shifts"),
        ("policy.confidence", "90", "policy.confidence"),
    ],
)
def test_a_wrong_answer_is_one_line_and_nothing_is_written(
    place: str, answer: str, says: str | None, tmp_path: Path
) -> None:
    answers = list(USUAL)
    answers[[q.key for q in JOB_QUESTIONS].index(place)] = answer
    if place in ("crew.mixer", "crew.pour_shifts", "policy.confidence"):
        answers = [*answers[:-2], "", ""]
        index = [q.key for q in JOB_QUESTIONS].index(place)
        answers[index], answers[index + 2] = "", answer
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


def test_at_the_keyboard_a_wrong_answer_is_asked_again(tmp_path: Path) -> None:
    rooms = iter(ROOMS)
    latitudes = iter(["95", "40.78"])
    told: list[str] = []

    def ask(question: str, usual: str) -> str:
        if question.startswith("Its latitude"):
            return next(latitudes)
        return next(rooms) if question.startswith(("Room", "  ")) else usual

    text = new_job_text(ask, tell=told.append, patient=True, folder=tmp_path)
    assert "latitude = 40.78" in text
    assert any("from -90 to 90" in words for words in told)


def test_contradicting_answers_are_refused_whole(tmp_path: Path) -> None:
    rooms = [*ROOMS[:9], "Nowhere", ""]
    done = new(tmp_path, [*USUAL, *rooms])
    assert done.returncode == 2
    assert "Nowhere" in done.stderr


def test_every_usual_answer_is_accepted() -> None:
    for question in (*JOB_QUESTIONS, *ROOM_QUESTIONS):
        assert check_answer(question, question.usual)
    for key, answer in (
        ("weather.source", "file"),
        ("weather.source", "forecast"),
        ("building.climate", "held"),
        ("building.climate", "drifting"),
    ):
        for question in follow_ups(key, answer):
            assert check_answer(question, question.usual)
    with pytest.raises(InputError, match="answer like"):
        check_answer(JOB_QUESTIONS[1], "north")
