"""``cureplan new``: ask in plain words, write a commented job file."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cureplan.core.errors import CurePlanError, InputError, OutputError, harmless

if TYPE_CHECKING:
    from cureplan.inputs.job.interview import Answers

__all__ = ["new"]

_DRAFT = b"# Answers so far"


def new(
    job_file: Annotated[Path, typer.Argument(metavar="JOB.toml", help="File to write.")],
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON instead of text.")
    ] = False,
) -> None:
    """Ask for a job in plain words and write its file.

    What is the same on every job of yours may stand in a file defaults.toml in your folder
    of settings (`cureplan check` names it), in tables as in a job file: [site], [crew],
    [pace], [[people]]. It is proposed here, and fills in what a job file leaves out.

    Answers may also come from a script, one a line on standard input; an empty line takes
    the answer shown in brackets. An interview that ends early is kept in JOB.toml.draft,
    and the same command goes on from there.
    """
    from cureplan.core.writing import refuse_target, write_atomically
    from cureplan.inputs.job.interview import interview, next_weekend
    from cureplan.output.commands.common import print_text

    if _stands(job_file):
        raise InputError(
            "stands already", cure="choose another name, or edit the file", source=job_file
        )
    if not job_file.parent.is_dir():
        raise OutputError(f"{job_file.parent}: no such folder; make it first")
    draft = job_file.with_name(f"{job_file.name}.draft")
    refuse_target(
        draft, option="JOB.toml", ours=lambda head: head.startswith(_DRAFT) or not head
    )
    answers = _read_draft(draft)
    begins = next_weekend(datetime.now().astimezone())["access.from"]
    # By when it must be open is proposed by what is said of its beginning.
    proposed = {"access.from": begins} | _usual(job_file)
    script = None if _at_a_terminal() else _Script(answers, proposed)
    if answers:
        kept = harmless(draft)
        _tell(f"Going on from {kept}, {len(answers)} answers; delete it to begin anew.")
    # Asked for first, so that nobody answers thirty questions for a folder that is full.
    _write_draft(draft, answers)
    try:
        text = interview(
            _at_the_keyboard if script is None else script.answer,
            tell=_tell,
            patient=script is None,
            folder=job_file.parent,
            answers=answers,
            keep=lambda kept: _write_draft(draft, kept),
            proposed=proposed,
        )
        write_atomically(job_file, text)
    except (typer.Abort, KeyboardInterrupt):
        _keep_or_drop(draft, answers)
        raise KeyboardInterrupt from None
    except BaseException:
        _keep_or_drop(draft, answers)
        raise
    _drop(draft)
    if as_json:
        print_text(json.dumps({"job": str(job_file)}), asked=True)
    else:
        named = harmless(job_file)
        print_text(f"{named} is written. Now: cureplan plan {named}")


def _stands(path: Path) -> bool:
    """Whether something stands there, a link to nowhere too."""
    try:
        return path.exists() or path.is_symlink()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{path}: cannot be written ({reason}); name another file") from error


def _drop(draft: Path) -> None:
    # What cannot be taken away any more costs nobody the job file.
    with suppress(OSError):
        draft.unlink()


def _at_a_terminal() -> bool:
    return sys.stdin.isatty()


def _usual(job_file: Path) -> Answers:
    """What the user's own defaults say, else what the latest job beside the new one said."""
    from cureplan.inputs.job.interview import last_answers
    from cureplan.inputs.job.own import own_file

    last, own = _last_job(job_file), own_file()
    if own is None:
        return last
    said = last_answers(own)
    _tell(f"In brackets stands what {harmless(own)} says.")
    # A site is one place, and so are heads that are counted or named.
    whole = [table for table in ("site.", "people") if any(k.startswith(table) for k in said)]
    return {k: v for k, v in last.items() if not k.startswith(tuple(whole))} | said


def _last_job(job_file: Path) -> Answers:
    """What the latest job beside the new one said; nothing where none can be read."""
    from cureplan.inputs.job.interview import last_answers

    try:
        found = [path for path in job_file.parent.glob("*.toml") if path.is_file()]
        latest = max(found, key=lambda path: path.stat().st_mtime, default=None)
    except OSError:
        return {}
    if latest is None:
        return {}
    try:
        said = last_answers(latest)
    except CurePlanError:
        return {}
    if said.get("site.time_zone") is None:
        # A card, or a file of something else.
        return {}
    _tell(f"In brackets stands what {harmless(latest.name)} said.")
    return said


def _tell(words: str) -> None:
    sys.stderr.write(f"{words}\n")
    sys.stderr.flush()


def _keep_or_drop(draft: Path, answers: Answers) -> None:
    if answers:
        _tell(
            f"\nThe {len(answers)} answers so far are kept in {harmless(draft)}; "
            "run it again to go on."
        )
    else:
        _drop(draft)


def _read_draft(draft: Path) -> Answers:
    """The answers of an interview that ended early, as far as they are still sound."""
    from cureplan.inputs.files import read_document
    from cureplan.inputs.job.interview import next_question, read_answer

    answers: Answers = {}
    if not draft.exists():
        return answers
    said = read_document(draft, what="draft").values
    while (question := next_question(answers)) is not None:
        answer = said.get(question.key)
        if not isinstance(answer, str):
            break
        is_end = not answer and not question.usual and question.path != ("rooms", 0, "name")
        try:
            if not is_end:
                read_answer(question, answer)
        except InputError:
            break
        answers[question.key] = answer
    return answers


def _write_draft(draft: Path, answers: Answers) -> None:
    from cureplan.core.writing import write_atomically
    from cureplan.inputs.toml_text import key_line

    lines = [f"{_DRAFT.decode()}; `cureplan new {harmless(draft.stem)}` goes on from here."]
    lines += [key_line(key, answer) for key, answer in answers.items()]
    write_atomically(draft, "\n".join(lines) + "\n")


def _at_the_keyboard(question: str, usual: str) -> str:
    return str(typer.prompt(question, default=usual, show_default=bool(usual), err=True))


class _Script:
    """Answers from standard input, one a line."""

    def __init__(self, answers: Answers, proposed: Answers) -> None:
        """A script that begins as the draft does is the whole interview once more."""
        said = sys.stdin.buffer.read().decode("utf-8-sig", "replace").splitlines()
        if answers and _begins_as(said, answers, proposed):
            answers.clear()
        self._lines: Iterator[str] = iter(said)

    def answer(self, question: str, usual: str) -> str:
        line = next(self._lines, None)
        if line is None and usual:
            raise InputError(
                "the answers end here",
                cure="give one line an answer, an empty one for the usual",
                source="answers",
                key=question.strip(),
            )
        return line or usual


def _begins_as(said: list[str], answers: Answers, proposed: Answers) -> bool:
    from cureplan.inputs.job.interview import given_by, next_question

    known: Answers = {}
    for line in said:
        question = next_question(known)
        if question is None or question.key not in answers:
            break
        try:
            usual = proposed.get(question.key) or question.usual
            given = given_by(question, line.strip() or usual)
        except InputError:
            return False
        if any(answers.get(key) != answer for key, answer in given.items()):
            return False
        known |= given
    return known == answers
