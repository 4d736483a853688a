"""Files whole or not at all, one or several: never onto what is not ours to write.

A writer holds a lock on the folder while its unfinished files stand there, so whoever
has the lock next knows that any it finds were left by a killed run. Several files that
belong together are first written into a hidden folder beside them; one rename declares
them complete, and from then on they are moved into place, by the next run or reader if
not by this one.
"""

from __future__ import annotations

import errno
import os
import secrets
import shutil
import signal
import stat
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from cureplan.core.errors import InputError, OutputError

__all__ = [
    "refuse_target",
    "settle",
    "whole_file",
    "write_all",
    "write_atomically",
    "write_together",
]

_PART = ".cureplan-part-"
_READY = ".cureplan-ready-"
_GONE = ".gone"
_LOCK_WAIT_S = 10.0
# Where folders cannot be locked, only age tells a dead writer from a live one.
_DEAD_AFTER_S = 3600.0
_HEAD_BYTES = 4096


def refuse_target(
    path: Path,
    *,
    option: str,
    inputs: Iterable[Path | None] = (),
    ours: Callable[[bytes], bool] | None = None,
    force: bool = False,
) -> None:
    """Raise unless a file may be written to `path`.

    Links are followed. `ours` tells by its first bytes a file that may be replaced
    unasked; without it any that stands there needs `force`. An input is never replaced.
    """

    def refused(problem: str, cure: str) -> InputError:
        return InputError(problem, cure=cure, key=option, value=str(path))

    try:
        target = path.resolve()
        if any(other is not None and _same(target, other) for other in inputs):
            raise refused("this is a file the command reads", "choose another name")
        if not target.parent.is_dir():
            raise OutputError(
                f"{path}: could not be written (No such file or directory); make the folder "
                "first, or choose another name"
            )
        if target.is_symlink():
            # Only a circle is left; some Pythons say so no earlier.
            raise refused("cannot be written (a link that leads in a circle)", "choose another")
        if not target.exists():
            return
        if not target.is_file():
            what = "a folder" if target.is_dir() else "not a regular file"
            raise refused(f"this is {what}", "choose another name")
        if not (force or (ours is not None and ours(_head(target)))):
            raise refused(
                "another file stands there" if ours else "stands already",
                "choose another name, or give --force to write over it",
            )
    except (OSError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refused(f"cannot be written ({reason})", "choose another name") from None


def _same(target: Path, other: Path) -> bool:
    try:
        return target.samefile(other)
    except OSError:
        return target == other.absolute()


def _head(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(_HEAD_BYTES)


def write_atomically(path: Path, content: str | bytes) -> None:
    """Replace a file by new content in one step, safe against a crash at any moment.

    Follows links; keeps the mode of a file that stands there. Not for appending: the
    last of several writers wins, whole.
    """
    part: Path | None = None
    try:
        target = Path(path).resolve()
        _require_regular(target)
        with _locked(target.parent) as alone:
            _clean(target.parent, alone=alone)
            part = target.parent / f"{_PART}{secrets.token_hex(6)}"
            _write_new(part, content.encode("utf-8") if isinstance(content, str) else content)
            _take_mode(part, target)
            part.replace(target)
            _sync_folder(target.parent)
    except (OSError, RuntimeError) as error:
        if part is not None:
            with suppress(OSError):
                part.unlink(missing_ok=True)
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{path}: could not be written ({reason})") from error


def write_together(
    folder: Path, contents: Mapping[str, bytes], *, gone: Iterable[str] = ()
) -> None:
    """Put files into a folder all together or not at all, and take those named `gone` away.

    Raises OSError; what stood there before then still stands.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with _locked(folder) as alone:
        if alone is None:
            raise OSError(errno.EBUSY, "another run is writing there", str(folder))
        _settle(folder, alone=alone)
        for name in contents:
            _require_regular(folder / name, links=False)
        part = folder / f"{_PART}{secrets.token_hex(6)}"
        try:
            part.mkdir()
            for name, content in contents.items():
                _write_new(part / name, content)
                _take_mode(part / name, folder / name)
            _write_new(part / _GONE, "\n".join(gone).encode())
            _sync_folder(part)
            _swap(folder, part, contents)
        except OSError:
            shutil.rmtree(part, ignore_errors=True)
            raise


def write_all(contents: Mapping[Path, str | bytes]) -> None:
    """Write several files, each whole, and none of them where one cannot be written.

    In one folder they come all together, whatever happens. In several folders a kill between
    two renames may leave a new file in one and an old one in another; a fault does not.
    """
    targets: dict[Path, dict[str, bytes]] = {}
    try:
        for path, content in contents.items():
            target = Path(path).resolve()
            _require_regular(target)
            raw = content.encode("utf-8") if isinstance(content, str) else content
            targets.setdefault(target.parent, {})[target.name] = raw
        if len(targets) == 1:
            ((folder, files),) = targets.items()
            write_together(folder, files)
        elif targets:
            _write_in_folders(targets)
    except (OSError, RuntimeError) as error:
        named = " and ".join(str(path) for path in contents)
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{named}: could not be written ({reason})") from error


def _write_in_folders(targets: Mapping[Path, Mapping[str, bytes]]) -> None:
    """Files of several folders: all are on the disk before the first takes its name."""
    staged: list[tuple[Path, Path, Path]] = []
    try:
        for folder, files in targets.items():
            for name, content in files.items():
                part = folder / f"{_PART}{secrets.token_hex(6)}"
                staged.append((part, folder / f"{part.name}-old", folder / name))
                _write_new(part, content)
                _take_mode(part, folder / name)
                _keep(folder / name, staged[-1][1])
        with _undisturbed():
            try:
                for part, _, target in staged:
                    part.replace(target)
            except OSError:
                for part, old, target in staged:
                    if old.exists():
                        old.replace(target)
                    elif not part.exists():
                        target.unlink(missing_ok=True)
                raise
    finally:
        for part, old, target in staged:
            for left in (part, old):
                with suppress(OSError):
                    left.unlink(missing_ok=True)
            _sync_folder(target.parent)


def settle(folder: Path) -> None:
    """Finish what a killed run had complete, and take away what it had not.

    For readers of several files that belong together; does nothing where there is
    nothing to do. Raises OSError where a complete set cannot be moved into place.
    """
    if not any(_left(folder)):
        return
    with _locked(folder) as alone:
        _settle(folder, alone=alone)


def whole_file(source: Path, *, largest_bytes: int) -> bytes | None:
    """The bytes of a regular file, None of anything else; one byte more where it is larger.

    What is opened is looked at, not what bore the name before; and a system's own files say
    that they hold nothing, and never end.
    """
    handle = os.open(source, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    with os.fdopen(handle, "rb") as file:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            return None
        return file.read(largest_bytes + 1)


def _left(folder: Path) -> Iterator[Path]:
    try:
        with os.scandir(folder) as entries:
            found = [Path(e.path) for e in entries if e.name.startswith((_PART, _READY))]
    except OSError:
        return
    yield from found


def _settle(folder: Path, *, alone: bool | None) -> None:
    for left in _left(folder):
        if not (left.name.startswith(_READY) and _is_dead(left, alone=alone)):
            continue
        if left.is_dir() and not left.is_symlink():
            _move_in(folder, left)
        else:
            # Nothing of ours, but in the way of every reader.
            left.unlink(missing_ok=True)
    _clean(folder, alone=alone)


def _clean(folder: Path, *, alone: bool | None) -> None:
    for left in _left(folder):
        if not left.name.startswith(_PART) or not _is_dead(left, alone=alone):
            continue
        with suppress(OSError):
            if left.is_dir() and not left.is_symlink():
                shutil.rmtree(left)
            else:
                left.unlink()


def _is_dead(left: Path, *, alone: bool | None) -> bool:
    try:
        return alone is True or time.time() - left.lstat().st_mtime > _DEAD_AFTER_S
    except OSError:
        return False


def _swap(folder: Path, part: Path, names: Iterable[str]) -> None:
    """Declare the files in `part` complete and move them in; put all back on a fault."""
    old = folder / f"{part.name}-old"
    ready = folder / f"{_READY}{part.name.removeprefix(_PART)}"
    try:
        old.mkdir()
        for name in names:
            _keep(folder / name, old / f"{name}.old")
        with _undisturbed():
            part.replace(ready)
            try:
                _move_in(folder, ready)
            except OSError:
                for name in names:
                    if (old / f"{name}.old").exists():
                        (old / f"{name}.old").replace(folder / name)
                    elif not (ready / name).exists():
                        (folder / name).unlink(missing_ok=True)
                shutil.rmtree(ready, ignore_errors=True)
                raise
            _sync_folder(folder)
    finally:
        shutil.rmtree(old, ignore_errors=True)


def _move_in(folder: Path, ready: Path) -> None:
    """Move every file of a complete set into place; may be begun again at any point."""
    gone = ready / _GONE
    for name in sorted(item.name for item in ready.iterdir() if item.name != _GONE):
        (ready / name).replace(folder / name)
    if gone.exists():
        for name in gone.read_text(encoding="utf-8").splitlines():
            (folder / Path(name).name).unlink(missing_ok=True)
        gone.unlink()
    ready.rmdir()


def _keep(path: Path, kept: Path) -> None:
    """A second name for the old file, so that it never leaves its place."""
    if not path.exists():
        return
    try:
        os.link(path, kept)
    except OSError:
        # Some file systems have no links.
        kept.write_bytes(path.read_bytes())


def _require_regular(path: Path, *, links: bool = True) -> None:
    """Never onto a folder, a device, a pipe; nor, where `links` says so, onto a link."""
    try:
        mode = path.stat().st_mode if links else path.lstat().st_mode
    except FileNotFoundError:
        return
    if stat.S_ISLNK(mode):
        raise OSError(errno.ELOOP, "a link of that name is in the way", str(path))
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, "a folder of that name is in the way", str(path))
    if not stat.S_ISREG(mode):
        raise OSError(errno.EINVAL, "what stands there is not a regular file", str(path))


def _write_new(path: Path, content: bytes) -> None:
    """A new file through to the disk; its mode follows the umask."""
    with path.open("xb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())


def _take_mode(path: Path, before: Path) -> None:
    with suppress(OSError):
        path.chmod(stat.S_IMODE(before.stat().st_mode))


def _sync_folder(folder: Path) -> None:
    """So that a rename outlives a power cut, where the system can promise that."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextmanager
def _locked(folder: Path) -> Iterator[bool | None]:
    """True with the lock of a folder, False where there are no locks, None if it is taken."""
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, PermissionError):
        yield False
        return
    try:
        yield _lock(fcntl.flock, handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    finally:
        os.close(handle)


def _lock(flock: Callable[[int, int], None], handle: int, how: int) -> bool | None:
    until = time.monotonic() + _LOCK_WAIT_S
    while True:
        try:
            flock(handle, how)
        except BlockingIOError:
            if time.monotonic() > until:
                return None
            time.sleep(0.02)
        except OSError:
            return False
        else:
            return True


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Signals that can wait do, for the instant in which names change."""
    mask = getattr(signal, "pthread_sigmask", None)
    if mask is None:
        yield
        return
    held = mask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM, signal.SIGHUP})
    try:
        yield
    finally:
        mask(signal.SIG_SETMASK, held)
