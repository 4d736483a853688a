"""``cureplan new``: ask in plain words, write a commented job file."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from cureplan.core.errors import InputError, OutputError

__all__ = ["new"]


def new(
    job_file: Annotated[Path, typer.Argument(metavar="JOB.toml", help="File to write.")],
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON instead of text.")
    ] = False,
) -> None:
    """Ask for a job in plain words and write its file.

    Answers may also come from a script, one a line on standard input; an empty line takes
    the answer shown in brackets.
    """
    from cureplan.core.writing import write_atomically
    from cureplan.inputs.job.interview import new_job_text

    if job_file.exists():
        raise InputError(
            "stands already",
            cure="choose another name, or edit the file",
            source=job_file,
        )
    if not job_file.parent.is_dir():
        raise OutputError(f"{job_file.parent}: no such folder; make it first")
    said = _Script() if not sys.stdin.isatty() else None
    text = new_job_text(
        _at_the_keyboard if said is None else said.answer,
        tell=lambda words: typer.echo(words, err=True),
        patient=said is None,
        folder=job_file.parent,
    )
    write_atomically(job_file, text)
    if as_json:
        typer.echo(json.dumps({"job": str(job_file)}))
    else:
        typer.echo(f"{job_file} is written. Now: cureplan plan {job_file}")


def _at_the_keyboard(question: str, usual: str) -> str:
    return str(typer.prompt(question, default=usual, show_default=bool(usual), err=True))


class _Script:
    """Answers from standard input, one a line."""

    def __init__(self) -> None:
        self._lines = iter(sys.stdin.read().splitlines())

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
