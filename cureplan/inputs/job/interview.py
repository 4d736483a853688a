"""`cureplan new`: the questions of the job file's own keys, and the file made of the answers.

What a key asks, offers and allows stands at the key in `job/schema`; here are only their
order, which answer calls for which further question, and what is checked together.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from difflib import get_close_matches
from pathlib import Path
from types import GenericAlias
from typing import Any

from cureplan.core.errors import InputError
from cureplan.inputs.faults import Fault, field_at, key_text, value_fault
from cureplan.inputs.fields import facts_of, reads_of
from cureplan.inputs.files import KeyPath, read_document
from cureplan.inputs.job.reader import job_text_faults
from cureplan.inputs.job.schema import ROOM_USES, JobFile
from cureplan.inputs.job.towns import town_of
from cureplan.inputs.job.walked import (
    WALK,
    drains_said,
    groups_said,
    is_walk,
    islands_said,
    of_rooms_said,
    on_site,
    walked,
)
from cureplan.inputs.toml_text import key_line, value_text

__all__ = [
    "Answers",
    "Ask",
    "Question",
    "given_by",
    "interview",
    "job_text",
    "last_answers",
    "next_question",
    "next_weekend",
    "read_answer",
    "value_of",
]

Answers = dict[str, str]
"""What was said, by key path as messages show it: `site.name`, `rooms[1].length`."""
Ask = Callable[[str, str], str]
"""Puts a question with its usual answer, and returns what is said."""

_ASKED = (
    *("site.name", "site.latitude", "site.longitude", "site.elevation", "site.time_zone"),
    *("access.from", "access.open_by", "weather.source"),
    *("building.climate", "building.heat", "building.slab_thickness", "building.ground"),
    *("materials.primer", "cove.height", "materials.storage"),
    *("people", "crew.stations", "crew.mixer", "crew.runner", "crew.rake", "crew.smoother"),
    *("crew.broadcaster", "crew.edge", "crew.topcoat", "crew.setup", "crew.changeover"),
    *("crew.pour_shifts", "crew.topcoat_shifts", "policy.margin", "policy.confidence"),
)
_OF_ROOM = ("name", "length", "width", "use", "open_for", "way_out")
_OF_WALKED = ("name", "length", "islands", "stop_lines", "use", "open_for", "way_out")
"""The same of a room whose sides are given in the place of its length."""
_OF_SOME = {
    "rooms.group": "Which rooms meet along an open edge and are poured in one go (Hall + Bay; "
    "Prep + Servery)? Empty: none",
    "rooms.open_by": "Which rooms must be open at another time (Bar 2026-07-18 06:00; ...)? "
    "Empty: none",
    "rooms.heat": "Which rooms have heaters of their own, how warm and from when (Vestibule "
    "60 F from 2026-07-17 19:00; ...)? Empty: none",
}
"""Asked once for all rooms, where there are two or more."""
_OF_COVE = ("cove.material", "cove.pace", "cove.when")
_FOLLOW_UPS = {
    ("weather.source", "file"): ("weather.file",),
    ("weather.source", "forecast"): ("weather.contact",),
    ("building.climate", "held"): ("building.set_point",),
    ("building.climate", "drifting"): ("building.lag", "building.gain"),
}
_TOGETHER = {
    "site.latitude": (),
    "site.longitude": (),
    "site.time_zone": ("site.longitude", "site.latitude", "site.time_zone"),
    "access.from": (),
    "access.open_by": ("access.from", "access.open_by"),
    "crew.stations": (),
    "crew.mixer": ("crew.stations", "crew.mixer"),
}
"""Keys that can only be judged together, at the last of them; others are by themselves."""
_TABLES = ("site", "weather", "building", "access", "materials", "cove", "crew", "policy")
_OPTIONAL = ("materials.primer", "building.heat", "cove.height")
"""Where none is an answer, and then the key is left out."""
_HEADS = (
    *("crew.mixer", "crew.runner", "crew.rake", "crew.smoother", "crew.broadcaster"),
    *("crew.edge", "crew.topcoat"),
)
_OF_NAMED = ("crew.longest_shift", "crew.rest")
"""Asked where people have names."""
_FIXED = {
    "materials.slurry": "fast-slurry",
    "materials.topcoat": "clear-topcoat",
    "materials.aggregate": "quartz",
    "policy.remedies": ["hour", "chill", "bays"],
}
_DATES = (("access", "from"), ("access", "open_by"))
_WEEKEND = timedelta(days=2, hours=11)
_STAMP = "%Y-%m-%d %H:%M"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question: the key its answer goes to, how it is put, and what is usual."""

    path: KeyPath
    ask: str
    usual: str

    @property
    def key(self) -> str:
        """The key as messages show it."""
        return key_text(self.path)


def next_weekend(now: datetime) -> Answers:
    """The dates of a job to come, as a rule: Friday evening to Monday morning."""
    day = now.replace(hour=19, minute=0, second=0, microsecond=0, tzinfo=None)
    friday = day + timedelta(days=(4 - day.weekday()) % 7 or 7)
    night = (friday, friday + _WEEKEND)
    return {".".join(key): at.strftime(_STAMP) for key, at in zip(_DATES, night, strict=True)}


def next_question(answers: Answers) -> Question | None:
    """The first question not yet answered, None where all are."""
    for key in _keys(answers):
        if key not in answers:
            return _question(key, answers)
    return None


def _keys(answers: Answers) -> Iterator[str]:
    """Every key to be asked, as far as the answers say which."""
    named = _laid(answers.get("people", ""))
    for key in _ASKED:
        if named and key in _HEADS:
            continue
        if key == "building.heat" and answers.get("building.climate") == "held":
            continue
        yield key
        if key == "cove.height" and _laid(answers.get(key, "")):
            yield from _OF_COVE
        if named and key == "crew.changeover":
            yield from _OF_NAMED
        if key == "crew.topcoat" and _laid(answers.get("materials.primer", "")):
            yield "crew.primer"
        yield from _FOLLOW_UPS.get((key, answers.get(key, "")), ())
    number = 1
    while answers.get(f"rooms[{number}].name", "?"):
        yield from (f"rooms[{number}].{key}" for key in _of_room(number, answers))
        number += 1
    if number > 2:
        yield from _of_some(answers)


def _of_some(answers: Answers) -> Iterator[str]:
    for key in _OF_SOME:
        if key == "rooms.heat" and answers.get("building.climate") == "held":
            continue
        yield key
        if key == "rooms.group" and answers.get(key, ""):
            yield "crew.group_changeover"


def _room_names(answers: Answers) -> list[str]:
    names = (answers.get(f"rooms[{number}].name", "") for number in range(1, len(answers)))
    return [name for name in names if name]


def _of_room(number: int, answers: Answers) -> tuple[str, ...]:
    walked = is_walk(answers.get(f"rooms[{number}].length", ""))
    return _OF_WALKED if walked else _OF_ROOM


def _laid(primer: str) -> bool:
    """Whether an answer names a primer, people, heaters or cove."""
    return primer.strip().lower() not in ("", "none", "no")


def last_answers(path: Path) -> Answers:
    """What a job file said, as answers to propose; its dates and rooms are its own."""
    said = read_document(path, what="job").values
    found: Answers = {}
    follow_ups = (k for ks in _FOLLOW_UPS.values() for k in ks)
    found["people"] = _people_said(said.get("people"))
    own = ("crew.primer", "crew.group_changeover")
    for key in (*_ASKED, *own, *_OF_COVE, *_OF_NAMED, *follow_ups):
        table, _, name = key.partition(".")
        if not name:
            continue
        value = said.get(table, {}).get(name) if isinstance(said.get(table), dict) else None
        if isinstance(value, list):
            spans = [s for s in value if isinstance(s, dict) and {"from", "to"} <= s.keys()]
            found[key] = ", ".join(f"{span['from']} to {span['to']}" for span in spans)
        elif isinstance(value, str | int | float) and not isinstance(value, bool):
            found[key] = str(value)
    return {key: text for key, text in found.items() if text}


def _people_said(value: object) -> str:
    """People of a file as they would be answered."""
    listed = value if isinstance(value, list) else []
    return "; ".join(
        f"{one['name']}: {', '.join(map(str, one['roles']))}"
        for one in listed
        if isinstance(one, dict) and isinstance(one.get("roles"), list) and one.get("name")
    )


def _path(key: str) -> KeyPath:
    if "." not in key:
        return (key,)
    table, _, name = key.partition(".")
    if key in _OF_SOME:
        return (table, name)
    if table.startswith("rooms["):
        return ("rooms", int(table[6:-1]) - 1, name)
    return (table, name)


def _question(key: str, answers: Answers) -> Question:
    path = _path(key)
    if key in _OF_SOME:
        return Question(path=path, ask=_OF_SOME[key], usual="")
    info = field_at(path, JobFile)
    if info is None:
        raise TypeError(f"{key} is no key of the job file")
    facts = facts_of(info)
    ask, usual = facts.ask, facts.usual
    if path[-1] == "name" and path[0] == "rooms":
        ask, usual = f"Room {int(path[1]) + 1}, its name (empty: no more)", ""
    elif path[0] == "rooms" and path[-1] == "length":
        ask = (
            f"{ask}; or its sides in turn from the back wall ({WALK}; slanted: left 45° 7 ft); "
            "or its corners (0 ft, 0 ft; 24 ft, 0 ft; ...)"
        )
    elif path[-1] == "use":
        ask = f"{ask} ({', '.join(ROOM_USES)})"
    elif key == "access.open_by" and "access.from" in answers:
        begins = value_of(_path("access.from"), answers["access.from"])
        if isinstance(begins, datetime):
            usual = (begins + _WEEKEND).strftime(_STAMP)
    return Question(path=path, ask=ask, usual=usual)


# One answer


def read_answer(question: Question, answer: str) -> Any:
    """The value of an answer, as it stands in the file; refused where the file would be.

    Not for checks between answers; `interview` makes those.
    """
    if question.key in _OPTIONAL and not _laid(answer):
        return None
    if question.key in _OF_SOME:
        # Until the rooms are known, a slip in a name is not seen.
        return answer
    if question.path[0] == "rooms" and question.path[-1] in ("islands", "stop_lines"):
        return _placed(question, answer)
    if question.path[0] == "rooms" and question.path[-1] == "length" and is_walk(answer):
        return _refused_at(question, answer, walked)
    value = value_of(question.path, answer.strip())
    fault = value_fault(question.path, value, JobFile)
    if fault is None and question.key == "site.time_zone":
        fault = _no_zone(answer.strip())
    if fault is not None:
        problem, cure = fault.problem, fault.cure.replace(", without quotes", "")
        if question.path in _DATES and isinstance(value, str):
            problem, cure = "not a date and time", "write it like 2026-07-17 19:00"
        raise InputError(problem, cure=cure, source="answers", key=question.key, value=answer)
    return value


def _placed(question: Question, answer: str) -> Any:
    """What stands in a room, or the drains across it, as far as one answer shows."""
    read = islands_said if question.path[-1] == "islands" else drains_said
    return _refused_at(question, answer, read) if _laid(answer) else []


def _refused_at(question: Question, answer: str, read: Callable[[str], Any]) -> Any:
    try:
        return read(answer)
    except InputError as error:
        raise InputError(
            error.problem,
            cure=error.cure,
            source="answers",
            key=question.key,
            value=error.value or answer,
        ) from None


def _no_zone(name: str) -> Fault | None:
    from zoneinfo import available_timezones

    zones = available_timezones()
    if name in zones:
        return None
    near = get_close_matches(name.replace(" ", "_"), zones, n=1)
    return Fault(
        path=("site", "time_zone"),
        problem="no such time zone is known",
        cure=f'write a region and city, like "{near[0] if near else "America/New_York"}"',
    )


def value_of(path: KeyPath, text: str) -> Any:
    """An answer as TOML would hold it; what cannot be one stays text, to be refused."""
    if path[-1] in ("pour_shifts", "topcoat_shifts"):
        return [_shift(part) for part in text.split(",")]
    if path == ("people",):
        return [_person(part) for part in text.split(";")] if _laid(text) else []
    if path[-1] == "heat":
        to, _, begins = text.partition(" from ")
        return {"to": to.strip(), "from": _instant(begins.strip())}
    info = field_at(path, JobFile)
    if info is not None and isinstance(info.annotation, GenericAlias):
        names = (part.strip() for part in text.split(","))
        return [name for name in names if name and name.lower() != "none"]
    reads = reads_of(info) if info else None
    shape: Mapping[str, Any] = reads.shape if reads else {}
    try:
        if shape.get("type") == "integer":
            return int(text)
        if shape.get("type") == "number":
            return float(text.replace("−", "-"))
        if shape.get("format") == "date-time":
            return _instant(text)
    except ValueError:
        pass
    return text


def _person(text: str) -> dict[str, Any]:
    name, _, roles = text.partition(":")
    said = [role.strip().lower() for role in roles.split(",")]
    return {"name": name.strip(), "roles": [role for role in said if role]}


def _shift(text: str) -> dict[str, str]:
    begins, _, ends = text.replace(" - ", " to ").replace("–", " to ").partition(" to ")
    return {"from": begins.strip(), "to": ends.strip()}


def _instant(text: str) -> datetime | str:
    # A date alone would count as its midnight.
    with suppress(ValueError):
        return datetime.fromisoformat(text) if len(text) > len("2026-07-17") else text
    return text


# The whole


def interview(
    ask: Ask,
    *,
    tell: Callable[[str], None],
    patient: bool,
    folder: Path,
    answers: Answers,
    keep: Callable[[Answers], None] = lambda _: None,
    proposed: Answers | None = None,
) -> str:
    """Ask what `answers` does not hold yet, and return the text of a sound job file.

    A patient interview asks again after a wrong answer; else it is raised. `keep` is called
    with the sound answers after each of them; `proposed` stands in for the usual ones.
    """
    last: Answers = dict(proposed or {})
    while True:
        question = next_question(answers)
        try:
            if question is None:
                text = job_text(answers)
                for fault in _relevant(job_text_faults(text, source=folder / "answers")):
                    raise fault
                return text
            usual = _proposed(question, answers, last)
            answer = ask(_put(question), usual).strip() or usual
            given = given_by(question, answer)
            if len(given) > 1:
                tell(f"  {', '.join(given.values())}")
            answer = given.pop(question.key)
            answers |= given
            _take(question, answer, answers, folder)
        except InputError as error:
            concerned = _concerned(error, question, answers)
            said = {key: answers.pop(key) for key in concerned if key in answers}
            # What the fault does not lie on is offered once more.
            last |= {k: v for k, v in said.items() if not _is_under(error.key or k, k)}
            keep(answers)
            if not patient or not concerned:
                raise
            tell(f"  {error.problem}; {error.cure}")
        else:
            keep(answers)


def _proposed(question: Question, answers: Answers, last: Answers) -> str:
    """What stands in brackets; no height where it would be another place's: degrees of the
    forecast hang on it."""
    if question.key == "site.elevation":
        key = "site.latitude"
        there = last.get(key) or _question(key, answers).usual
        if answers.get(key, there) != there:
            return ""
    return last.get(question.key) or question.usual


def _put(question: Question) -> str:
    """A question as it is asked: where coordinates are, a town will do."""
    return f"{question.ask}, or the town" if question.key == "site.latitude" else question.ask


def given_by(question: Question, answer: str) -> Answers:
    """The answers that one answer gives, its own first: a town gives three."""
    if question.key != "site.latitude" or not answer[:1].isalpha():
        return {question.key: answer}
    town = town_of(answer)
    return {
        question.key: f"{town.latitude_deg:g}",
        "site.longitude": f"{town.longitude_deg:g}",
        "site.time_zone": town.time_zone,
    }


def _concerned(error: InputError, question: Question | None, answers: Answers) -> list[str]:
    """The questions to be asked again."""
    if question is not None:
        return list(_TOGETHER.get(question.key) or (question.key,))
    # What all rooms were asked at once lies at each of them.
    at = re.sub(r"^rooms\[\d+\]", "rooms", error.key or "")
    return [
        key
        for key in answers
        if _is_under(error.key or "", key) or (key in _OF_SOME and _is_under(at, key))
    ]


def _take(question: Question, answer: str, answers: Answers, folder: Path) -> None:
    """Put an answer among the others, or raise what is wrong with it."""
    if question.key in _OF_SOME and not _laid(answer):
        answers[question.key] = ""
        return
    if question.path[0] == "rooms" and question.path[-1] == "name" and not answer:
        if question.path[1] == 0:
            raise InputError(
                "no room was named",
                cure="name at least one",
                source="answers",
                key="rooms.name",
            )
        answers[question.key] = ""
        return
    read_answer(question, answer)
    if question.key in _OF_SOME:
        said = _refused_at(question, answer, lambda text: _said_of(question.key, text, answers))
        rooms = _room_names(answers)
        _, name = question.path
        group = tuple(f"rooms[{rooms.index(room) + 1}].{name}" for room in said)
    else:
        group = _TOGETHER.get(question.key, (question.key,))
    answers[question.key] = answer
    if question.path[-1] == "length":
        group = (question.key, question.key.replace(".length", ".outline"))
    for fault in _relevant(job_text_faults(job_text(answers), source=folder / "answers")):
        if any(_is_under(fault.key or "", key) for key in group):
            raise InputError(
                fault.problem,
                cure=fault.cure,
                source="answers",
                key=fault.key,
                value=fault.value,
            )


def _said_of(key: str, answer: str, answers: Answers) -> dict[str, Any]:
    """What some rooms have of their own, by name, as it stands in the file."""
    names = _room_names(answers)
    if not _laid(answer):
        return {}
    if key == "rooms.group":
        return groups_said(answer, names)

    def read(text: str) -> Any:
        value = value_of(("rooms", 0, key.partition(".")[2]), text)
        fault = value_fault(("rooms", 0, key.partition(".")[2]), value, JobFile)
        if fault is not None:
            problem, cure = fault.problem, fault.cure
            if fault.path[-1] == "from" or key == "rooms.open_by":
                problem, cure = "not a date and time", "write it like 2026-07-18 06:00"
            raise InputError(problem, cure=cure, value=text)
        return value

    return of_rooms_said(answer, names, read)


def _is_under(key: str, above: str) -> bool:
    return key == above or key.startswith((f"{above}.", f"{above}["))


def _relevant(faults: Sequence[InputError]) -> list[InputError]:
    """The weather may well be fetched or saved after the job file is written."""
    return [fault for fault in faults if fault.key != "weather.file"]


def job_text(answers: Answers) -> str:
    """The job file of the answers; what is not yet answered is as usual."""
    return "\n".join(_lines(answers)) + "\n"


def _lines(answers: Answers) -> Iterator[str]:
    yield "# Quantities carry their units, in quotes; times are the site's own."
    yield _line("display", "us")
    yield _line("languages", ["en"])
    full = dict(answers)
    while (question := next_question(full)) is not None:
        full[question.key] = question.usual or _stand_in(question)
    fixed = dict(_FIXED)
    if any(_laid(full.get(key, "")) for key in ("building.heat", "rooms.heat")):
        fixed["policy.remedies"] = ["hour", "chill", "bays", "heat"]
    values = {
        key: value_of(_path(key), text) for key, text in full.items() if key not in _OF_SOME
    } | fixed
    for table in _TABLES:
        if table == "cove" and not _laid(full["cove.height"]):
            continue
        yield from ("", f"[{table}]")
        ordered = [key for key in (*_FIXED, *_keys(full)) if key.startswith(f"{table}.")]
        yield from (
            _line(key, values[key])
            for key in ordered
            if key not in _OPTIONAL or _laid(full[key])
        )
    for person in values["people"]:
        yield from ("", "[[people]]", key_line("name", person["name"]))
        yield key_line("roles", person["roles"])
    yield from _room_lines(full, values)


def _room_lines(full: Answers, values: Mapping[str, Any]) -> Iterator[str]:
    own = {key: _said_of(key, full.get(key, ""), full) for key in _OF_SOME}
    number = 1
    while name := full.get(f"rooms[{number}].name"):
        yield from ("", "[[rooms]]")
        said = {part: full[f"rooms[{number}].{part}"] for part in _of_room(number, full)}
        shape = _shape_lines(said) if "islands" in said else {}
        for part in said:
            if not shape or part not in ("length", "islands", "stop_lines"):
                yield key_line(part, values[f"rooms[{number}].{part}"])
            elif part == "length":
                yield from (key_line(key, value) for key, value in shape.items())
        for key, of_room in own.items():
            if name in of_room:
                yield key_line(key.partition(".")[2], of_room[name])
        yield "# Read the slab on the day, it pays:"
        begins = value_text(values["access.from"]).strip('"')
        yield f'# slab_reading = {{ temp = "86 F", at = {begins} }}'
        number += 1


def _shape_lines(said: Mapping[str, str]) -> dict[str, Any]:
    """Outline, islands and drains of a room that was walked round."""
    islands = islands_said(said["islands"]) if _laid(said["islands"]) else []
    drains = drains_said(said["stop_lines"]) if _laid(said["stop_lines"]) else []
    feet = any(unit in said["length"] for unit in ("ft", "in", "'"))
    return on_site(walked(said["length"]), islands, drains, feet=feet)


def _stand_in(question: Question) -> str:
    """A name for the first room as long as it has none; there are no more rooms."""
    info = field_at(question.path, JobFile)
    return facts_of(info).usual if info and question.path[1] == 0 else ""


def _line(key: str, value: Any) -> str:
    path = _path(key) if "." in key else (key,)
    info = field_at(path, JobFile)
    return key_line(str(path[-1]), value, facts_of(info).note if info else "")
