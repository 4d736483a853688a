"""What commands share: the time of planning, whole files, text on the terminal."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Any

from cureplan.core.errors import InputError, QuantityError

if TYPE_CHECKING:
    from collections.abc import Callable

    from cureplan.inputs.job.model import Job

__all__ = ["print_text", "progress", "terminal_width", "time_given"]

WIDEST = 200


def time_given(job: Job, text: str) -> datetime:
    """The instant a user wrote after ``--now``; without an offset, by the site's clock."""
    from cureplan.core.clock import local_instant
    from cureplan.core.quantities import split_refusal

    try:
        written = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            "not a date and time", cure="write it as 2026-07-17T20:00", key="--now", value=text
        ) from None
    try:
        return local_instant(written, job.site.zone)
    except QuantityError as error:
        problem, cure = split_refusal(error, written.isoformat())
        raise InputError(problem, cure=cure, key="--now", value=text) from None


def terminal_width() -> int:
    """Columns of the terminal; 100 where there is none."""
    import shutil

    return min(WIDEST, shutil.get_terminal_size((100, 24)).columns)


def print_text(text: str) -> None:
    """Text to standard output, ending in a line feed."""
    sys.stdout.write(text if text.endswith("\n") else text + "\n")


@contextmanager
def progress(length: int, label: str) -> Iterator[Callable[[], None]]:
    """A progress bar on standard error, silent where that is not a terminal."""
    if not sys.stderr.isatty():
        yield lambda: None
        return
    import typer

    bar: Any
    with typer.progressbar(length=length, label=label, file=sys.stderr) as bar:
        yield lambda: bar.update(1)
