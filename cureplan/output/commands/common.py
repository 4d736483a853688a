"""What commands share: their options, the time of planning, text on the terminal."""

from __future__ import annotations

import inspect
import os
import stat
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cureplan.core.errors import InputError, QuantityError, harmless

if TYPE_CHECKING:
    from cureplan.inputs.job.model import Job

__all__ = [
    "ForceOption",
    "be_quiet",
    "in_colour",
    "job_inputs",
    "note",
    "print_text",
    "print_written",
    "progress",
    "progress_line",
    "records_in",
    "refuse_folder",
    "terminal_width",
    "time_given",
    "wipe_progress",
    "with_quiet",
]

WIDEST = 200
_quiet = False


QuietOption = Annotated[
    bool,
    typer.Option(
        "--quiet", "-q", help="Say nothing but errors; files, JSON and the exit code tell."
    ),
]


ForceOption = Annotated[
    bool, typer.Option("--force", help="Write over files there that are no plan's.")
]


def with_quiet(command: Callable[..., None]) -> Callable[..., None]:
    """A command that takes ``--quiet`` besides its own options."""

    @wraps(command)
    def run(*, quiet: bool, **named: Any) -> None:
        be_quiet(quiet)
        command(**named)

    own = inspect.signature(command, eval_str=True)
    more = inspect.Parameter(
        "quiet", inspect.Parameter.KEYWORD_ONLY, default=False, annotation=QuietOption
    )
    run.__signature__ = own.replace(  # type: ignore[attr-defined]
        parameters=[*own.parameters.values(), more]
    )
    run.__annotations__ = {
        **{name: one.annotation for name, one in own.parameters.items()},
        "quiet": QuietOption,
    }
    return run


def be_quiet(quiet: bool = True) -> None:
    """Whether this run of the command says only what it must."""
    global _quiet
    _quiet = quiet


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


def job_inputs(job: Job) -> tuple[Path, ...]:
    """Every file a job was read from: itself, weather, defaults, records, cards."""
    from cureplan.inputs.files import read_document
    from cureplan.inputs.job.own import own_file

    try:
        named = read_document(job.source, what="job file").values.get("materials", {})
    except InputError:
        named = {}
    cards = (job.source.parent / name for name in named.values() if isinstance(name, str))
    one_each = (job.source, job.weather.file, own_file())
    files = (*(path for path in one_each if path is not None), *records_in(job.records))
    return (*files, *(card for card in cards if card.is_file()))


def records_in(folder: Path | None) -> list[Path]:
    """The finished jobs that are read where a folder of them is named."""
    with suppress(OSError, ValueError):
        return [] if folder is None else list(folder.glob("*.toml"))
    return []


def refuse_folder(folder: Path, *, inputs: Iterable[Path], force: bool = False) -> None:
    """Raise where a plan's files would replace one that is not theirs, or have no place.

    Not a promise: what can only be seen by writing is refused then.
    """
    try:
        found = _why_no_place(folder, inputs, force=force)
    except (OSError, ValueError) as error:
        found = f"no folder can be made there ({getattr(error, 'strerror', None) or error})", ""
    if found is not None:
        problem, more = found
        raise InputError(problem, cure=f"choose another{more}", key="--out", value=str(folder))


def _why_no_place(
    folder: Path, inputs: Iterable[Path], *, force: bool
) -> tuple[str, str] | None:
    """What is wrong with a folder for a plan's files, and what more can be done about it."""
    from cureplan.output.sheet.write import FILES, ROLE_FILES, foreign_file

    try:
        if not stat.S_ISDIR(folder.stat().st_mode):
            return "this is no folder", ""
    except FileNotFoundError:
        return ("this is a link that leads nowhere", "") if folder.is_symlink() else None
    read = [path for path in inputs if path.exists()]
    for name in (*FILES, *ROLE_FILES):
        target = folder / name
        if target.exists() and any(target.samefile(path) for path in read):
            return f"{name} in it is a file the command reads", " folder"
    if not force and (foreign := foreign_file(folder)) is not None:
        more = " folder, or give --force to write over it"
        return f"{foreign} in it is no file of a plan's", more
    return None


def terminal_width() -> int:
    """Columns of the terminal; 100 where there is none."""
    import shutil

    return min(WIDEST, shutil.get_terminal_size((100, 24)).columns)


def in_colour() -> bool:
    """Whether standard output is a terminal whose user has not asked for plain text."""
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return sys.stdout.isatty() and not plain


def print_text(text: str, *, asked: bool = False) -> None:
    """Text to standard output, ending in a line feed; `asked` for JSON, which always comes."""
    if asked or not _quiet:
        sys.stdout.write(text if text.endswith("\n") else text + "\n")


def print_written(paths: Iterable[Path]) -> None:
    """The files a command has written, a line each."""
    print_text("\n" + "\n".join(harmless(path) for path in paths))


def note(text: str) -> None:
    """A line beside the answer, on standard error."""
    if not _quiet:
        # Not by typer, which writes UTF-8 to a stream that asks for ASCII.
        sys.stderr.write(f"{harmless(text)}\n")


def _writes_over() -> bool:
    return sys.stderr.isatty() and os.environ.get("TERM") != "dumb"


def wipe_progress() -> None:
    """Clear the line of progress, where there is one."""
    if not _quiet and _writes_over():
        sys.stderr.write("\r\x1b[K")
        sys.stderr.flush()


def _now_and_then() -> Callable[[str], None]:
    """Says what is new in a line of its own, no more often than every `SELDOM_S`."""
    last_s = time.monotonic()

    def tell(words: str) -> None:
        nonlocal last_s
        if time.monotonic() - last_s >= SELDOM_S:
            last_s = time.monotonic()
            note(f"searching: {words}")

    return tell


SELDOM_S = 10.0
"""What is over sooner needs no word of how far it is."""


@contextmanager
def progress_line(*, long: bool = False) -> Iterator[Callable[[str], None] | None]:
    """One line on standard error that is written over, and gone before the answer comes.

    Where no terminal can write over a line, a line now and then of what takes long; else
    None.
    """
    if _quiet or not _writes_over():
        yield _now_and_then() if long and not _quiet else None
        return

    def tell(words: str) -> None:
        room = max(20, terminal_width() - 1)
        sys.stderr.write(f"\r\x1b[K{f'searching: {words}'[:room]}")
        sys.stderr.flush()

    try:
        yield tell
    finally:
        wipe_progress()


@contextmanager
def progress(length: int, label: str) -> Iterator[Callable[[], None]]:
    """A progress bar on standard error, silent where that is not a terminal."""
    if _quiet or not _writes_over():
        yield lambda: None
        return
    bar: Any
    with typer.progressbar(length=length, label=label, file=sys.stderr) as bar:
        yield lambda: bar.update(1)
