"""Answers to a commented job file that the reader accepts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from cureplan.errors import InputError
from cureplan.job.questions import (
    JOB_QUESTIONS,
    ROOM_QUESTIONS,
    Question,
    check_answer,
    follow_ups,
)

__all__ = ["Ask", "new_job_text"]

Ask = Callable[[str, str], str]
"""Puts a question with its usual answer, and returns what is said."""

_TABLES = ("site", "weather", "building", "access", "materials", "crew", "policy")
_FIXED = {
    "materials": {
        "slurry": ('"fast-slurry"', "a shipped card, or a path to your own"),
        "topcoat": ('"clear-topcoat"', ""),
        "aggregate": ('"quartz"', ""),
    },
    "policy": {
        "remedies": (
            '["hour", "chill", "bays"]',
            "what the plan may adopt by itself, in this order",
        )
    },
}


@dataclass(slots=True)
class _Draft:
    tables: dict[str, dict[str, tuple[str, str]]] = field(
        default_factory=lambda: {name: dict(_FIXED.get(name, {})) for name in _TABLES}
    )
    rooms: list[dict[str, str]] = field(default_factory=list)

    def text(self) -> str:
        """The job file."""
        return "\n".join(self._lines()) + "\n"

    def _lines(self) -> Iterator[str]:
        yield "# Quantities carry their units, in quotes; times are the site's own."
        yield 'display = "us"                      # what sheets show: us | metric'
        yield 'languages = ["en"]                  # add "es" for Spanish on the sheet'
        for name in _TABLES:
            yield ""
            yield f"[{name}]"
            for key, (value, comment) in self.tables[name].items():
                line = f"{key} = {value}"
                yield f"{line:<35} # {comment}" if comment else line
        for room in self.rooms:
            yield ""
            yield "[[rooms]]"
            yield from (f"{key} = {value}" for key, value in room.items())
            yield "# Read the slab on the day, it pays:"
            yield '# slab_reading = { temp = "86 F", at = 2026-07-17T16:30:00 }'


def new_job_text(ask: Ask, *, tell: Callable[[str], None], patient: bool, folder: Path) -> str:
    """Ask everything and return the text of a sound job file.

    Parameters
    ----------
    ask : callable
        Puts one question.
    tell : callable
        Says what was wrong with an answer, before it is asked again.
    patient : bool
        Ask again after a wrong answer; a script gets the error instead.
    folder : Path
        Where the file will stand; file names in it start there.

    Returns
    -------
    str
        TOML that `read_job` accepts, but for a weather file that is not there yet.

    Raises
    ------
    InputError
        An answer is wrong and `patient` is false, or the answers contradict each other.
    """
    draft = _Draft()
    for question in JOB_QUESTIONS:
        _put(draft, question, ask, tell, patient=patient)
    tell("Now the rooms. Begin with the floor nearest the way out; an empty name ends.")
    while name := ask(f"Room {len(draft.rooms) + 1}, its name (empty: no more)", "").strip():
        room = {"name": check_answer(_ROOM_NAME, name)}
        for question in ROOM_QUESTIONS:
            _, room[question.key.partition(".")[2]] = _answered(
                question, ask, tell, patient=patient
            )
        draft.rooms.append(room)
    if not draft.rooms:
        raise InputError(
            "no room was named", cure="name at least one", source="answers", key="rooms.name"
        )
    text = draft.text()
    _must_be_sound(text, folder)
    return text


_ROOM_NAME = Question(
    key="rooms.name", ask="", usual="Cook line", to_toml=JOB_QUESTIONS[0].to_toml
)


def _put(
    draft: _Draft, question: Question, ask: Ask, tell: Callable[[str], None], *, patient: bool
) -> None:
    answer, toml = _answered(question, ask, tell, patient=patient)
    table, _, key = question.key.partition(".")
    draft.tables[table][key] = (toml, question.comment)
    for further in follow_ups(question.key, answer):
        _put(draft, further, ask, tell, patient=patient)


def _answered(
    question: Question, ask: Ask, tell: Callable[[str], None], *, patient: bool
) -> tuple[str, str]:
    while True:
        answer = ask(question.ask, question.usual).strip() or question.usual
        try:
            return answer, check_answer(question, answer)
        except InputError as error:
            if not patient:
                raise
            tell(f"  {error.problem}; {error.cure}")


def _must_be_sound(text: str, folder: Path) -> None:
    from cureplan.job.reader import read_job_text

    try:
        read_job_text(text, source=folder / "answers")
    except InputError as error:
        # The weather may well be fetched or saved after the job file is written.
        if error.key != "weather.file":
            raise
