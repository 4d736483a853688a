"""The folder a desk stands on: its jobs by name, and no other file of the machine."""

from __future__ import annotations

import hashlib
import json
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from cureplan.core.errors import CurePlanError, InputError, OutputError
from cureplan.core.writing import write_atomically
from cureplan.output.language.clean import one_line

__all__ = ["OWN", "JobFolder", "NoSuchJobError", "file_mark", "fingerprint", "said"]

OWN = ".cureplan-desk"
"""The desk's own corner of the folder: its lock, and what was undone."""
_HEAD = 65_536
"""Characters of a file that are looked at to tell a job from a card."""
LONGEST_NAME = 60
MOST_UNDONE = 60
PLAN = "-plan"
_NOT_IN_NAMES = frozenset('/\\:*?"<>|')
_DEVICES = frozenset(
    {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
)
"""What Windows takes for a device, with any ending."""


class NoSuchJobError(CurePlanError):
    """No job of this name stands in the folder."""


def fingerprint(text: str) -> str:
    """By which two browsers tell whether they speak of the same text."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:24]


def file_mark(path: Path) -> str:
    """The same of a file, whatever bytes stand in it."""
    return fingerprint(path.read_text("utf-8", errors="replace"))


def said(error: CurePlanError, folder: Path) -> str:
    """An error in its own words, without a path of this machine."""
    text = str(error)
    for path in sorted({str(folder), str(folder.resolve())}, key=len, reverse=True):
        text = text.replace(path + os.sep, "").replace(path, "this folder")
    return text


def _everywhere(name: str) -> bool:
    """Whether a file may be called so on any system: folders are carried between them."""
    device = name.split(".")[0].rstrip().casefold() in _DEVICES
    return bool(name) and not (device or name[-1] in ". " or _NOT_IN_NAMES & {*name})


def _is_job(path: Path) -> bool:
    # A card says of what kind it is; a job has rooms, or will have.
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            head = file.read(_HEAD)
    except OSError:
        # Shown, so that opening it says what is wrong.
        return True
    return not any(line.startswith("kind") for line in head.splitlines()[:40])


class JobFolder:
    """The jobs of one folder."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.lock = threading.RLock()
        self._held: IO[str] | None = None

    # Names

    def names(self) -> list[str]:
        """Every job's name, in order; a file that is no TOML counts, a card does not."""
        found = [path for path in self.path.glob("*.toml") if self._sound(path.stem)]
        return sorted((path.stem for path in found if _is_job(path)), key=str.casefold)

    def left_off(self) -> list[str]:
        """Why files that look like jobs are no jobs here, a line for each."""
        found = []
        for path in self.path.iterdir():
            ending = path.suffix == ".toml"
            linked = path.is_symlink()
            if path.suffix.casefold() != ".toml" or path.name[0] == ".":
                continue
            if (ending and self._sound(path.stem)) or not (linked or path.is_file()):
                continue
            if not linked and not _is_job(path):
                continue
            if linked:
                why = "it is a link; put the file itself here"
            elif not ending and self._allowed(path.stem):
                why = f'a job\'s file ends in ".toml"; rename it to "{path.stem}.toml"'
            else:
                why = (
                    "a job is called as its file is; rename the file with letters, digits, "
                    f"spaces and hyphens, {LONGEST_NAME} at most"
                )
            found.append(f'"{one_line(path.name)}" is left off this list: {why}')
        return sorted(found, key=str.casefold)

    def _sound(self, name: str) -> bool:
        try:
            self.job_path(name)
        except CurePlanError:
            return False
        return True

    def _allowed(self, name: str) -> bool:
        try:
            self.place_for(name)
        except CurePlanError:
            return False
        return True

    def job_path(self, name: str) -> Path:
        """The file of a job that stands here: no link, no other folder."""
        path = self.place_for(name)
        if path.is_symlink() or not path.is_file():
            raise NoSuchJobError(f"no job is called {name!r} here; go back to the list")
        return path

    def place_for(self, name: str) -> Path:
        """Where a job of this name stands or would stand."""
        if name != name.strip() or not name or len(name) > LONGEST_NAME:
            raise InputError(
                "this cannot be a job's name",
                cure=f"write 1 to {LONGEST_NAME} letters, digits, spaces or hyphens",
                key="name",
                value=name,
            )
        if name[0] == "." or not name.isprintable() or not _everywhere(name):
            raise InputError(
                "a job's name is the name of its file",
                cure="write letters, digits, spaces and hyphens",
                key="name",
                value=name,
            )
        return self.path / f"{name}.toml"

    def plan_path(self, name: str) -> Path:
        """The folder in which a job's plan and sheets lie or would lie."""
        path = self.place_for(name).with_name(f"{name}{PLAN}")
        if path.is_symlink():
            raise NoSuchJobError(f"the plan of {name!r} is a link; put a folder there")
        return path

    def beside(self, name: str) -> Path:
        """A file of the folder that a job may name, such as dropped weather."""
        sound = name.isprintable() and _everywhere(name) and name == Path(name).name
        if not sound or name[0] == ".":
            raise InputError(
                "this cannot be a file's name here",
                cure="rename the file",
                key="file",
                value=name,
            )
        path = self.path / name
        if path.is_symlink():
            raise InputError("this is a link", cure="drop the file itself", value=name)
        return path

    # Texts

    def read(self, name: str) -> str:
        """A job's text as it stands, whatever stands in it."""
        from cureplan.inputs.files import Wanted, read_text

        wanted = Wanted(name="job file", content="write a job file into it")
        return read_text(self.job_path(name), wanted=wanted).text

    def write(self, name: str, text: str, *, before: str | None) -> None:
        """Put a job's new text in place; the one before can be had again."""
        with self.lock:
            write_atomically(self.place_for(name), text)
            kept = self._kept(name) if before is not None else []
            if before is not None and kept[-1:] != [before]:
                kept.append(before)
            # Saved it is; without room for its history it counts as changed by hand.
            with suppress(OutputError):
                self._keep(name, [*kept, text][-MOST_UNDONE:])

    def undo(self, name: str) -> str | None:
        """The text before the last change, back in its place; None where none is known.

        Where a hand has changed the file since, that is taken back first, and kept beside.
        """
        with self.lock:
            path = self.job_path(name)
            kept = self._kept(name)
            if not self._is_last(name, kept):
                write_atomically(self.own() / f"{name}.by-hand.toml", path.read_bytes())
            else:
                kept = kept[:-1]
            if not kept:
                return None
            self._keep(name, kept)
            write_atomically(path, kept[-1])
            return kept[-1]

    def can_undo(self, name: str) -> bool:
        """Whether a change is remembered."""
        kept = self._kept(name)
        return len(kept) > 1 or (bool(kept) and not self._is_last(name, kept))

    def _is_last(self, name: str, kept: list[str]) -> bool:
        """Whether the file still is as the desk left it."""
        try:
            return not kept or self.read(name) == kept[-1]
        except InputError:
            return False

    def _kept(self, name: str) -> list[str]:
        with suppress(OSError, ValueError, RecursionError):
            found = json.loads((self.own() / f"{name}.undo.json").read_text("utf-8"))
            if isinstance(found, list):
                return [text for text in found if isinstance(text, str)]
        return []

    def _keep(self, name: str, kept: list[str]) -> None:
        write_atomically(self.own() / f"{name}.undo.json", json.dumps(kept))

    # The desk's own corner

    def own(self) -> Path:
        """The desk's own corner, made if missing."""
        path = self.path / OWN
        try:
            path.mkdir(exist_ok=True)
        except OSError as error:
            raise OutputError(
                f"{OWN}: no such folder can be made here ({error.strerror}); make room and "
                "rights in the folder"
            ) from error
        if path.is_symlink():
            raise OutputError(f"{OWN}: this is a link; put a folder there")
        return path

    @contextmanager
    def held(self, address: str) -> Iterator[None]:
        """One desk at a time on a folder; a second is told where the first is."""
        path = self.own() / "desk.lock"
        if path.is_symlink() or (path.exists() and not path.is_file()):
            raise OutputError(f"{OWN}/desk.lock: this is no file of the desk's; take it away")
        try:
            file = path.open("a+", encoding="utf-8")
        except OSError as error:
            raise OutputError(
                f"{OWN}/desk.lock: could not be written ({error.strerror}); make room and "
                "rights in the folder"
            ) from error
        try:
            if not _alone(file):
                file.seek(0)
                where = file.read(200).strip() or "another window"
                raise InputError(
                    f"a desk stands on this folder already, at {where}",
                    cure="open that address, or end that desk first",
                    source=self.path,
                )
            # On a full disk a second desk is not told where this one is.
            with suppress(OSError):
                os.truncate(path, 0)
                os.write(file.fileno(), address.encode())
            yield
        finally:
            file.close()


def _alone(file: IO[str]) -> bool:
    """Whether the lock is ours now; it goes with the process, however that ends."""
    try:
        import fcntl
    except ImportError:
        import msvcrt

        try:
            file.seek(1 << 20)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError:
            return False
        return True
    try:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
