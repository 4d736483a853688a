"""`cureplan new`: the questions, and the job file made of the answers."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from cureplan.core import quantities as q
from cureplan.core.clock import parse_clock_minutes
from cureplan.core.errors import CurePlanError, InputError

__all__ = [
    "JOB_QUESTIONS",
    "ROOM_QUESTIONS",
    "Ask",
    "Question",
    "check_answer",
    "follow_ups",
    "new_job_text",
]

USES = ("food preparation", "dish washing", "service", "storage", "passage", "other")
STAMP = "%Y-%m-%d %H:%M"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question: where its answer goes, how it is put, what is usual, what is allowed."""

    key: str
    ask: str
    usual: str
    to_toml: Callable[[str], str]
    comment: str = ""


def check_answer(question: Question, answer: str) -> str:
    """The TOML for an answer.

    Not for checks between answers; the reader makes those.
    """
    try:
        return question.to_toml(answer.strip())
    except (CurePlanError, ValueError) as error:
        raise InputError(
            str(error),
            cure=f"answer like {question.usual!r}",
            source="answers",
            key=question.key,
            value=answer,
        ) from None


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _name(text: str) -> str:
    if not text:
        raise ValueError("a name is needed")
    return _quoted(text)


def _as(parse: Callable[[str], object], *, also: Sequence[str] = ()) -> Callable[[str], str]:
    def to_toml(text: str) -> str:
        if text not in also:
            parse(text)
        return _quoted(text)

    return to_toml


def _one_of(*allowed: str) -> Callable[[str], str]:
    def to_toml(text: str) -> str:
        if text not in allowed:
            raise ValueError(f"not one of {', '.join(allowed)}")
        return _quoted(text)

    return to_toml


def _count(text: str) -> str:
    if not (text.isdigit() and 1 <= int(text) <= 50):
        raise ValueError("not a whole number from 1 to 50")
    return text


def _degrees(most: float) -> Callable[[str], str]:
    def to_toml(text: str) -> str:
        value = float(text)
        if not -most <= value <= most:
            raise ValueError(f"not a number from {-most:g} to {most:g}")
        return repr(value)

    return to_toml


def _instant(text: str) -> str:
    return datetime.strptime(text, STAMP).isoformat()  # noqa: DTZ007  the site's own time


def _shift(text: str) -> str:
    begins, _, ends = text.partition(" to ")
    parse_clock_minutes(begins)
    parse_clock_minutes(ends)
    return f"[{{ from = {_quoted(begins)}, to = {_quoted(ends)} }}]"


def _zone(text: str) -> str:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError):
        raise ValueError("no such time zone") from None
    return _quoted(text)


def _floors(text: str) -> str:
    names = [part.strip() for part in text.split(",") if part.strip()]
    return "[" + ", ".join(_quoted(name) for name in names if name != "none") + "]"


def _people(role: str, ask: str, usual: str) -> Question:
    return Question(key=f"crew.{role}", ask=ask, usual=usual, to_toml=_count)


JOB_QUESTIONS = (
    Question(key="site.name", ask="Which kitchen is it?", usual="Test kitchen", to_toml=_name),
    Question(
        key="site.latitude", ask="Its latitude, degrees", usual="40.78", to_toml=_degrees(90)
    ),
    Question(
        key="site.longitude",
        ask="Its longitude, degrees; west is negative",
        usual="-73.88",
        to_toml=_degrees(180),
    ),
    Question(
        key="site.elevation",
        ask="How high above the sea?",
        usual="3 m",
        to_toml=_as(q.parse_elevation_m),
    ),
    Question(
        key="site.time_zone", ask="Its time zone", usual="America/New_York", to_toml=_zone
    ),
    Question(
        key="access.from",
        ask="From when may you be in? Year-month-day hour:minute",
        usual="2026-07-17 19:00",
        to_toml=_instant,
    ),
    Question(
        key="access.open_by",
        ask="By when must it be open?",
        usual="2026-07-20 06:00",
        to_toml=_instant,
    ),
    Question(
        key="weather.source",
        ask="Weather from a file, from stations nearby, or a point forecast?",
        usual="station",
        to_toml=_one_of("file", "station", "forecast"),
        comment="file | station | forecast",
    ),
    Question(
        key="building.climate",
        ask="Is the air held by a plant, drifting after the weather, or are doors open?",
        usual="drifting",
        to_toml=_one_of("held", "drifting", "open"),
        comment="held | drifting | open; a room may override",
    ),
    Question(
        key="building.slab_thickness",
        ask="How thick is the slab?",
        usual="6 in",
        to_toml=_as(q.parse_length_m),
    ),
    Question(
        key="building.ground",
        ask="How warm is the ground below? About the mean of the year, warmer in a city",
        usual="62 F",
        to_toml=_as(q.parse_temperature_c),
    ),
    Question(
        key="materials.storage",
        ask='How warm do the kits reach the mixer? Or "room"',
        usual="room",
        to_toml=_as(q.parse_temperature_c, also=("room",)),
        comment='what the kits reach the mixer at; or "room"',
    ),
    Question(
        key="crew.stations",
        ask="How many mixing stations?",
        usual="2",
        to_toml=_count,
        comment="each needs a mixer",
    ),
    _people("mixer", "How many mix?", "2"),
    _people("runner", "How many carry buckets?", "1"),
    _people("rake", "How many rake?", "1"),
    _people("smoother", "How many smooth?", "1"),
    _people("broadcaster", "How many throw the stone?", "2"),
    _people("edge", "How many at the edges?", "1"),
    _people("topcoat", "How many in the topcoat crew?", "3"),
    Question(
        key="crew.setup",
        ask="How long to set up?",
        usual="45 min",
        to_toml=_as(q.parse_duration_s),
    ),
    Question(
        key="crew.changeover",
        ask="How long from one room to the next?",
        usual="15 min",
        to_toml=_as(q.parse_duration_s),
    ),
    Question(
        key="crew.pour_shifts",
        ask="When may the pour crew work?",
        usual="19:00 to 05:00",
        to_toml=_shift,
    ),
    Question(
        key="crew.topcoat_shifts",
        ask="When may the topcoat crew work?",
        usual="05:00 to 17:00",
        to_toml=_shift,
    ),
    Question(
        key="policy.margin",
        ask="How much time in hand must every bucket keep?",
        usual="2 min",
        to_toml=_as(q.parse_duration_s),
    ),
    Question(
        key="policy.confidence",
        ask="In what share of nights must it hold?",
        usual="90 %",
        to_toml=_as(q.parse_fraction),
    ),
)

ROOM_QUESTIONS = (
    Question(
        key="rooms.length",
        ask="  Its length, from the back wall to the way out",
        usual="30 ft",
        to_toml=_as(q.parse_length_m),
    ),
    Question(
        key="rooms.width",
        ask="  Its width, the front that must stay wet",
        usual="20 ft",
        to_toml=_as(q.parse_length_m),
    ),
    Question(
        key="rooms.use",
        ask=f"  What for? ({', '.join(USES)})",
        usual="food preparation",
        to_toml=_one_of(*USES),
    ),
    Question(
        key="rooms.way_out",
        ask="  Which floors must the crew cross to leave it? Names with commas, or none",
        usual="none",
        to_toml=_floors,
    ),
)


def follow_ups(key: str, answer: str) -> tuple[Question, ...]:
    """The further questions an answer calls for."""
    if key == "weather.source" and answer == "file":
        return (
            Question(
                key="weather.file",
                ask="Which CSV file? It holds time with offset, temp_f or temp_c, dew_f",
                usual="weather.csv",
                to_toml=_name,
            ),
        )
    if key == "weather.source" and answer == "forecast":
        return (
            Question(
                key="weather.contact",
                ask="An e-mail or web address of yours: the open forecast asks for one",
                usual="foreman@example.com",
                to_toml=_name,
            ),
        )
    if key == "building.climate" and answer == "held":
        return (
            Question(
                key="building.set_point",
                ask="Held at what temperature?",
                usual="72 F",
                to_toml=_as(q.parse_temperature_c),
            ),
        )
    if key == "building.climate" and answer == "drifting":
        return (
            Question(
                key="building.lag",
                ask="How far does the air inside trail the air outside?",
                usual="5 h",
                to_toml=_as(q.parse_duration_s),
            ),
            Question(
                key="building.gain",
                ask="How much warmer is it inside? A difference",
                usual="2 F",
                to_toml=_as(q.parse_temperature_difference_k),
            ),
        )
    return ()


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
    """Ask everything and return the text of a sound job file."""
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
    from cureplan.inputs.job.reader import read_job_text

    try:
        read_job_text(text, source=folder / "answers")
    except InputError as error:
        # The weather may well be fetched or saved after the job file is written.
        if error.key != "weather.file":
            raise
